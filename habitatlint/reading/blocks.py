"""Cuts a text into blocks and reads each by itself.

A block starts at the left margin; one broken line costs that line. A block
whose text is known from an earlier reading is not parsed again: parsed blocks
hold offsets within their own text, and a `Placed` block says where it stands.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, MutableMapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from habitatlint.reading.grammar import Grammar, Statement, Trouble, Unreadable, excerpt, listed, near
from habitatlint.reading.values import PHRASES, Written
from habitatlint.source import Source, Span


class Parsed(NamedTuple):
    """A block as read, at no place yet: offsets count as they did in the text it was read in, where
    it began at `base`."""

    noun: str
    head: Statement | None
    statements: tuple[Statement, ...]
    troubles: tuple[Trouble, ...]
    #: properties whose line is broken: present, and so not missing
    broken: frozenset[str]
    base: int = 0


class Placed(NamedTuple):
    """A parsed block and where it stands."""

    parsed: Parsed
    source: Source
    offset: int
    length: int

    def span(self, start: int, end: int) -> Span:
        """The span of a stretch of the block's text."""
        by = self.offset - self.parsed.base
        return Span(self.source, start + by, end + by)


@dataclass(frozen=True)
class Layout:
    """What the cutter must know of a language: no more than its words.

    `nouns` begin blocks (those without properties in `singles`); `words` has each noun's
    properties; `runs_on` those that may go on in a deeper-indented line.
    """

    nouns: frozenset[str]
    singles: frozenset[str]
    words: Mapping[str, frozenset[str]]
    runs_on: Callable[[str, str], bool]
    #: a head for each noun under which one of its properties can be read by itself
    heads: Mapping[str, str]
    #: deeper indents mean something to the reader of a text, and nothing to the language
    nested: bool = False
    #: what is said to be wanted at the margin
    wanted: str = "a block's noun"

    @cached_property
    def any_word(self) -> frozenset[str]:
        """Every property's word, whatever its block."""
        return frozenset().union(*self.words.values())


class _Line(NamedTuple):
    """A logical line: its stretch in the text and its indent."""

    start: int
    end: int
    indent: str
    word: str


class _Cut:
    """A block while it is cut."""

    __slots__ = ("given", "indent", "joins", "lines", "noun", "start", "stray", "troubles")

    def __init__(self, start: int, noun: str) -> None:
        self.start = start
        self.noun = noun
        self.lines: list[_Line] = []
        self.indent: str | None = None
        #: properties that stand at the margin: given, though broken
        self.given: set[str] = set()
        self.troubles: list[tuple[str, int, int, str, str, str]] = []
        #: stretches of line ends that are read as blanks, for lines that run on
        self.joins: list[tuple[int, int]] = []
        #: the head itself stands wrong (indented), or is no noun of the language
        self.stray = False


_WORD = re.compile(r"[^\s#\"(),]+")
_TWO_WORDS = re.compile(r"([A-Za-z]+)[ \t]+([A-Za-z]+)")
_BLANKS = re.compile(r"[ \t]*")

#: after so many lines of a text that cannot be read, no more are read: each costs time, and it is no plan
MOST_BROKEN = 1000

#: of a text longer than this its beginning is read first, and the rest only if that is worth it
LONG, BEGINNING = 1_000_000, 100_000

#: a language's parsed blocks by their text
Memory = MutableMapping[tuple[str, str], Parsed]


def read(source: Source, grammar: Grammar, layout: Layout, memory: Memory | None = None) -> list[Placed]:
    """Every block of a source in order, each with its troubles. Never raises for what the text says."""
    text = source.text
    beginning = text.find("\n", BEGINNING) + 1
    if len(text) > LONG and beginning < len(text) // 2:  # one line may be nearly all of it
        placed, whole = _read(source, text[:beginning], grammar, layout, {})
        if not whole:
            return placed
    return _read(source, text, grammar, layout, memory if memory is not None else {})[0]


def _read(source: Source, text: str, grammar: Grammar, layout: Layout, known: Memory) -> tuple[list[Placed], bool]:
    """The blocks of a source's text or of its beginning, and whether all of it was worth reading."""
    cuts, last = _cut(text, layout)
    ends = [cut.start for cut in cuts[1:]] + [last]
    bodies = [text[cut.start : end] for cut, end in zip(cuts, ends, strict=False)]
    keys = [(cut.noun, body) for cut, body in zip(cuts, bodies, strict=True)]
    if last == len(text) and not any(key in known for key in keys):
        known.update(zip(keys, _all_at_once(text, cuts, grammar), strict=False))
    placed = []
    broken = 0
    for cut, key, body, end in zip(cuts, keys, bodies, ends, strict=False):
        parsed = known.get(key)
        if parsed is None:
            parsed = known[key] = _parse(cut, body, grammar, layout)
        placed.append(Placed(parsed, source, cut.start, end - cut.start))
        own = [trouble for trouble in parsed.troubles if trouble.kind != "mixed-indent"]
        broken += len(own)
        if broken >= MOST_BROKEN:
            last = end
            if len(own) >= MOST_BROKEN:  # its own lines were not all read
                newline = text.find("\n", placed[-1].span(own[-1].end, own[-1].end).start)
                last = newline + 1 if newline >= 0 else len(text)
            break
    whole = broken < MOST_BROKEN and last == len(text)
    if not whole and source.text[last:].strip():
        placed.append(_unread(source, last))
    return placed, whole


def _unread(source: Source, start: int) -> Placed:
    """What is left of a text of which too many lines cannot be read, as one trouble on its first line."""
    rest = source.text[start:]
    lines = rest.count("\n") + (not rest.endswith("\n"))
    line = rest.split("\n", 1)[0].rstrip()
    begins, end = len(line) - len(line.lstrip()), len(line)
    more = f"{lines:,} more lines" if lines > 1 else "one more line"
    why = f"so many lines above cannot be read that this looks like no plan: {more} from here on are not read"
    trouble = Trouble("bad-value", begins, max(end, begins + 1), "", why, "")
    return Placed(Parsed("", None, (), (trouble,), frozenset()), source, start, len(rest))


def _all_at_once(text: str, cuts: list[_Cut], grammar: Grammar) -> list[Parsed]:
    """Every block by one parse, where the text has no slip at all; else none, to be read apart."""
    if any(cut.stray or cut.troubles for cut in cuts):
        return []
    text = _joined(text, [join for cut in cuts for join in cut.joins], 0)
    try:
        nodes = grammar.parse(text if text.endswith("\n") else text + "\n")
    except Unreadable:
        return []
    return [
        Parsed(cut.noun, node[0], tuple(node[1:]), (), frozenset(), cut.start)
        for cut, node in zip(cuts, nodes, strict=True)
    ]


def _joined(text: str, joins: list[tuple[int, int]], base: int) -> str:
    """The text with the line ends of lines that run on as blanks, of the same length."""
    pieces, position = [], 0
    for start, end in joins:
        pieces += [text[position : start - base], " " * (end - start)]
        position = end - base
    return "".join([*pieces, text[position:]])


def _cut(text: str, layout: Layout) -> tuple[list[_Cut], int]:
    """The blocks of a text, and how far it was cut: to its end, unless too much of it is broken."""
    cuts: list[_Cut] = []
    block: _Cut | None = None
    broken = 0
    for start, end in _logical_lines(text):
        blanks = _BLANKS.match(text, start)
        assert blanks
        first = blanks.end()
        if first >= end or text[first] in "#\r\n":
            continue
        found = _WORD.match(text, first)
        word = found[0] if found else text[first]
        indent = text[start:first]
        line = _Line(first, end, indent, word)
        above, told = (cuts[-1], len(cuts[-1].troubles)) if cuts else (None, 0)
        if not indent:
            block = _at_margin(line, block, cuts, layout)
        elif block is None:
            block = _indented_noun(line, cuts) if word in layout.nouns else _before_any_block(line, cuts, layout)
        else:
            block = _indented(line, block, cuts, layout, text)
        now = cuts[-1].troubles
        if len(now) > (told if cuts[-1] is above else 0) and now[-1][0] != "mixed-indent":
            broken += 1
            if broken >= MOST_BROKEN:
                return cuts, min(end + 1, len(text))
    return cuts, len(text)


def _logical_lines(text: str) -> list[tuple[int, int]]:
    """Stretches of lines, those that end in a backslash joined to the next; without the line end."""
    lines = []
    position, length = 0, len(text)
    while position < length:
        start = position
        while True:
            newline = text.find("\n", position)
            end = newline if newline >= 0 else length
            position = end + 1
            if newline < 0 or not _goes_on(text, start, end):
                break
        lines.append((start, end - 1 if end > start and text[end - 1] == "\r" else end))
    return lines


def _goes_on(text: str, start: int, end: int) -> bool:
    tail = end
    while tail > start and text[tail - 1] in " \t\r":
        tail -= 1
    if tail == start or text[tail - 1] != "\\":
        return False
    return "#" not in text[start:tail] or not _comment_in(text[start:tail])


def _comment_in(line: str) -> bool:
    quoted, escaped = False, False
    for character in line:
        if escaped:
            escaped = False
        elif character == "\\":
            escaped = quoted
        elif character == '"':
            quoted = not quoted
        elif character == "#" and not quoted:
            return True
    return False


def _begin(line: _Line, noun: str, cuts: list[_Cut]) -> _Cut:
    block = _Cut(line.start - len(line.indent), noun)
    block.lines.append(line)
    cuts.append(block)
    return block


def _at_margin(line: _Line, block: _Cut | None, cuts: list[_Cut], layout: Layout) -> _Cut:
    if line.word in layout.nouns:
        return _begin(line, line.word, cuts)
    if block is not None and line.word in layout.any_word:
        block.given.add(line.word)
        block.troubles.append(
            ("syntax", line.start, line.start + len(line.word), "at the left margin",
             f"`{line.word}` indented below the first line of its block", "")
        )  # fmt: skip
        return block
    if line.word.isspace():
        block = _begin(line, "", cuts)
        block.stray = True
        block.troubles.append(("syntax", line.start, line.start + 1, "another kind of blank", "plain blanks", ""))
        return block
    suggestion = near(line.word, layout.nouns)
    block = _begin(line, suggestion, cuts)
    block.stray = True
    expected = f"`{suggestion}`" if suggestion else layout.wanted
    block.troubles.append(
        ("unknown-word", line.start, line.start + len(line.word), excerpt(line.word), expected, suggestion)
    )
    return block


def _before_any_block(line: _Line, cuts: list[_Cut], layout: Layout) -> _Cut | None:
    block = _begin(line, "", cuts)
    block.stray = True
    block.troubles.append(
        (
            "syntax",
            line.start,
            line.end,
            f"`{excerpt(line.word)}`",
            f"{layout.wanted} at the left margin before anything else",
            "",
        )
    )
    return None


def _indented_noun(line: _Line, cuts: list[_Cut]) -> _Cut:
    below = _begin(line, line.word, cuts)
    below.stray = True
    below.troubles.append(
        ("syntax", line.start, line.start + len(line.word), "indented",
         f"`{line.word}` at the left margin, where a block begins", "")
    )  # fmt: skip
    return below


def _indented(line: _Line, block: _Cut, cuts: list[_Cut], layout: Layout, text: str) -> _Cut:
    words = layout.words.get(block.noun, frozenset())
    known = line.word in words
    pair = _pair(text, line.start, line.end)
    if not known and line.word in layout.nouns and pair not in words and not (block.stray and not block.noun):
        return _indented_noun(line, cuts)
    last = block.lines[-1]
    deeper = len(line.indent.expandtabs(8)) > len((block.indent or "").expandtabs(8))
    if (
        block.indent is not None
        and deeper
        and not known
        and len(block.lines) > 1
        and layout.runs_on(block.noun, last.word)
    ):
        block.joins.append((_end_of_words(text, last), line.start))
        block.lines[-1] = _Line(last.start, line.end, last.indent, last.word)
        return block
    if block.indent is None:
        block.indent = line.indent
    if (
        block.noun
        and not layout.nested
        and (line.indent != block.indent or (" " in line.indent and "\t" in line.indent))
    ):
        block.troubles.append(
            (
                "mixed-indent",
                line.start,
                line.start + len(line.word),
                line.word,
                "the indent of the lines above",
                "",
            )
        )
    block.lines.append(line)
    return block


def _pair(text: str, start: int, end: int) -> str:
    """The first two words of a line as one, as a property of two words is written."""
    found = _TWO_WORDS.match(text, start, end)
    return f"{found[1]}-{found[2]}".lower() if found else ""


def _end_of_words(text: str, line: _Line) -> int:
    """Where a line's words end and its comment, if any, begins (lines that run on hold no quotes)."""
    last = max(text.rfind("\n", line.start, line.end), line.start)
    comment = text.rfind("#", last, line.end)
    return comment if comment >= 0 else line.end


def _parse(cut: _Cut, body: str, grammar: Grammar, layout: Layout) -> Parsed:
    base = cut.start
    troubles = [Trouble(kind, start - base, end - base, *rest) for kind, start, end, *rest in cut.troubles]
    if cut.stray and not cut.noun:
        return Parsed("", None, (), tuple(troubles), frozenset())
    text = _joined(body, cut.joins, base)
    if not cut.stray and not any(trouble.kind != "mixed-indent" for trouble in troubles):
        try:
            (nodes,) = grammar.parse(text if text.endswith("\n") else text + "\n")
            return Parsed(cut.noun, nodes[0], tuple(nodes[1:]), tuple(troubles), frozenset())
        except Unreadable:
            pass  # one line or more is broken: read them one by one
    return _line_by_line(cut, text, troubles, grammar, layout)


def _line_by_line(cut: _Cut, text: str, troubles: list[Trouble], grammar: Grammar, layout: Layout) -> Parsed:
    base = cut.start
    head: Statement | None = None
    statements: list[Statement] = []
    broken = set(cut.given)
    told = {trouble.start for trouble in troubles if trouble.kind != "mixed-indent"}
    words = layout.words.get(cut.noun, frozenset())
    unread = len(told)
    for number, line in enumerate(cut.lines):
        if unread >= MOST_BROKEN:
            break  # whoever reads the whole text tells that the rest was not read
        start, end = line.start - base, line.end - base
        if number == 0 and cut.stray:
            continue
        above = f"{layout.heads[cut.noun]}\n  " if number else ""
        try:
            node = grammar.parse(f"{above}{text[start:end]}\n")[0][1 if number else 0]
        except Unreadable as error:
            trouble = error.trouble._replace(start=error.trouble.start - len(above), end=error.trouble.end - len(above))
            broken.add(line.word)
            pair = _pair(text, start, end) if number else ""
            likely = near(line.word, words) if number else ""
            if pair in words and line.word not in words:
                length = len(_TWO_WORDS.match(text, start)[0])  # type: ignore[index]
                trouble = Trouble("unknown-word", 0, length, text[start : start + length], f"`{pair}`", pair)
            elif likely and line.word not in words:
                trouble = Trouble("unknown-word", 0, len(line.word), line.word, f"`{likely}`", likely)
            elif (word := _begins_a_line(text, start + trouble.start, words)) and _takes_no_more(trouble, number):
                broken.add(word)
                expected = f"`{word}` on a line of its own, indented below the first line of its block"
                trouble = trouble._replace(kind="syntax", found="behind other words", expected=expected, suggestion="")
            if trouble.start == 0 and trouble.suggestion:
                broken.add(trouble.suggestion)
            if start + trouble.start not in told:
                troubles.append(_at(trouble, start, line, layout, cut.noun))
                unread += 1
            continue
        node = _moved(node, start - len(above))
        if number == 0:
            head = node
        else:
            statements.append(node)
    troubles.sort(key=lambda trouble: trouble.start)
    return Parsed(cut.noun, head, tuple(statements), tuple(troubles), frozenset(broken))


def _begins_a_line(text: str, start: int, words: frozenset[str]) -> str:
    """The property whose word stands there, "" for none."""
    found = _WORD.match(text, start)
    return found[0] if found and found[0] in words else ""


def _takes_no_more(trouble: Trouble, number: int) -> bool:
    """The line could have ended before what is wrong in it."""
    return trouble.start > 0 and (trouble.expected == PHRASES["$END"] or number == 0)


def _at(trouble: Trouble, start: int, line: _Line, layout: Layout, noun: str) -> Trouble:
    words = sorted(layout.words.get(noun, ()))
    if trouble.start == 0 and words and not trouble.suggestion and line.word not in words:
        # whatever stands first on the line is no property here: all that may stand there is said
        article = "an" if noun[0] in "aeiou" else "a"
        expected = f"a property of {article} {noun}: {listed([f'`{word}`' for word in words], 'or')}"
        trouble = trouble._replace(kind="unknown-word", found=excerpt(line.word), expected=expected)
    return trouble._replace(start=trouble.start + start, end=trouble.end + start)


def _moved(node: Statement, by: int) -> Statement:
    """A statement read by itself, put at its place in the block."""
    return node._replace(
        values=tuple(_moved_value(value, by) for value in node.values),
        start=node.start + by,
        end=node.end + by,
    )


def _moved_value(value: Any, by: int) -> Any:
    if isinstance(value, Written):
        return Written(_moved_value(value.value, by), value.kind, value.start + by, value.end + by)
    if isinstance(value, tuple):
        moved = [_moved_value(item, by) for item in value]
        return type(value)(*moved) if hasattr(value, "_fields") else tuple(moved)
    return value
