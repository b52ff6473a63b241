"""The standard form of a plan's text. Only blanks, line breaks and empty lines change: words, order and comments stay.

One blank line between blocks, two where the writer left more; two blanks before a property, four before a line that
goes on; one blank between words; comments behind lines in one column. A writer's own line breaks stay, but a line of
points, names or bearings that grew too long is broken anew. Blocks that cannot be read whole are left as they are.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from itertools import zip_longest
from typing import Any, NamedTuple

from habitatlint.language.plan import LAYOUT
from habitatlint.reading.blocks import Memory, Parsed, Placed, read
from habitatlint.reading.grammar import Grammar, Statement
from habitatlint.reading.values import Written
from habitatlint.source import Source

#: a line of points, names or bearings longer than this is broken
WIDTH = 110
#: before a property, and before a line that goes on
INDENT, DEEPER = "  ", "    "
#: comments behind lines longer than this stand in no column
_SHORT = 60

_PIECE = re.compile(
    r"""(?P<word>[^\s#\\"][^\s#\\]*)
      | (?P<blank>[ \t]+)
      | (?P<line>\n)
      | (?P<comment>\#[^\n]*)
      | (?P<text>"(?:[^"\\\n]|\\[ \t]*\n|\\[^\n])*")
      | (?P<on>\\[ \t]*\n)""",
    re.VERBOSE,
)
#: where prose in quotes goes on in the next line
_BREAK = re.compile(r"[ \t]*\\[ \t]*\n[ \t]*")
_LEG = re.compile(r" (?=then )")


def formatted(source: Source, grammar: Grammar) -> str:
    """A plan's text in the standard form, with one kind of line end throughout: that of most of its lines.

    What comes out is read again: a block that would then say anything else stays as it was. Never raises for what
    the text says. A text with a carriage return before a line end (`\\r\\r\\n`) or at its end comes back untouched.
    """
    if "\r\r\n" in source.text or source.text.endswith("\r"):
        return source.text
    text = source.text.replace("\r\n", "\n")
    laid = _proven(source.name, text, grammar)
    carriage_returns = len(source.text) - len(text)
    return laid.replace("\n", "\r\n") if 2 * carriage_returns > text.count("\n") else laid


def _proven(name: str, text: str, grammar: Grammar) -> str:
    memory: Memory = {}
    before = read(Source(name, text), grammar, LAYOUT, memory)
    kept = {index for index, placed in enumerate(before) if not _whole(placed.parsed)}
    for _ in range(3):
        laid = _laid(text, before, kept)
        if laid == text:
            return laid
        if _ink(laid) != _ink(text):  # never, unless by a fault of this file: no word of a plan is lost by it
            return text
        after = read(Source(name, laid), grammar, LAYOUT, memory)
        changed = {index for index, pair in enumerate(zip_longest(before, after)) if not _says_the_same(*pair)}
        if not changed:
            return laid
        kept |= changed
    return text


def _ink(text: str) -> str:
    """All that is to be seen of a text, but for the backslashes of lines that go on."""
    return "".join(text.split()).replace("\\", "")


def _whole(parsed: Parsed) -> bool:
    return parsed.head is not None and all(trouble.kind == "mixed-indent" for trouble in parsed.troubles)


def _says_the_same(one: Placed | None, other: Placed | None) -> bool:
    """Two blocks as read have the same values and the same troubles, wherever they stand."""
    if one is None or other is None:
        return False
    a, b = one.parsed, other.parsed
    if a is b:
        return True
    if (a.noun, a.broken, _told(a)) != (b.noun, b.broken, _told(b)):
        return False
    return _alike(a.head, b.head) and _alike(a.statements, b.statements)


def _told(parsed: Parsed) -> list[tuple[str, str, str, str]]:
    return [
        (trouble.kind, trouble.found, trouble.expected, trouble.suggestion)
        for trouble in parsed.troubles
        if trouble.kind != "mixed-indent"
    ]


def _alike(one: Any, other: Any) -> bool:
    """Whether two values are the same but for their places."""
    if type(one) is not type(other):
        return False
    if isinstance(one, Written):
        return one.kind == other.kind and _alike(one.value, other.value)
    if isinstance(one, Statement):
        return (one.word, one.rule) == (other.word, other.rule) and _alike(one.values, other.values)
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(_alike, one, other))
    return bool(one == other)


def _laid(text: str, blocks: list[Placed], kept: set[int]) -> str:
    """The text laid out, but for the blocks that are kept as they are and the lines above them."""
    first = blocks[0].offset if blocks else len(text)
    out: list[str] = []
    #: what stands above the next block: as written, and its lines without blanks; and whether the next block may
    #: stand close to the one before, whatever it is, or where it is one line too
    above, free, close = text[:first], True, False
    lines = [line.strip(" \t\r") for line in above.removesuffix("\n").split("\n")] if above else []
    for index, placed in enumerate(blocks):
        end = placed.offset + placed.length
        body = text[placed.offset : end]
        block = None if index in kept else _block(body, placed)
        if block is None:
            out += [above, body]
            above, lines, free = "", [], True
            continue
        least = 0 if free or (close and block.close) else 1
        out += [f"{line}\n" for line in _between(lines, least, not out)]
        out += [f"{line}\n" for line in block.lines]
        above, lines, free, close = body[block.end :], block.below, False, block.close
    lines = list(_between(lines, 0 if free or close else 1, not out))
    while lines and not lines[-1]:
        del lines[-1]
    laid = "".join([*out, *(f"{line}\n" for line in lines)])
    return laid if laid.endswith("\n") or not laid else f"{laid}\n"


def _between(lines: Iterable[str], least: int, at_top: bool) -> Iterator[str]:
    """The comments and empty lines above a block: at least so many empty lines first, never more than two in a row,
    never more than one between a comment and its block, and none at the top of the file."""
    empty, comments = 0, 0
    for line in lines:
        if not line:
            empty += 1
            continue
        yield from [""] * (0 if at_top and not comments else max(min(empty, 2), 0 if comments else least))
        yield line
        empty, comments = 0, comments + 1
    yield from [""] * (0 if at_top and not comments else min(empty, 1) if comments else max(min(empty, 2), least))


class _Block(NamedTuple):
    """A block laid out: its lines; where in its text they end; the comments and empty lines below, without blanks."""

    lines: list[str]
    end: int
    below: list[str]

    @property
    def close(self) -> bool:
        """It is one line, and may stand close to another of one line."""
        return len(self.lines) == 1


class _Row:
    """A line while it is laid out. `joined` says how it follows the line above: not, by a deeper indent, or by the
    backslash of the line above, within prose or between words."""

    __slots__ = ("comment", "end", "indented", "joined", "statement", "words")

    def __init__(self, joined: str = "", statement: Statement | None = None) -> None:
        self.words: list[str] = []
        self.comment = ""
        self.joined = joined
        self.statement = statement
        #: a comment's own line does not begin at the margin
        self.indented = False
        self.end = 0


def _block(body: str, placed: Placed) -> _Block | None:
    """A block laid out; None where its text holds what this file does not know."""
    rows = _rows(body, placed)
    if rows is None:
        return None
    last = max(index for index, row in enumerate(rows) if row.words)
    for index in range(last + 1, len(rows)):  # indented comments below the last property are the block's own
        if rows[index].comment and not rows[index].indented:
            break
        last = index if rows[index].comment else last
    end, below = rows[last].end, [row.comment for row in rows[last + 1 :]]
    return _Block(_behind(_written(rows[: last + 1], placed)), end, below)


def _rows(body: str, placed: Placed) -> list[_Row] | None:
    """The lines of a block in words and comments."""
    head = placed.parsed.head
    assert head is not None
    base = placed.parsed.base
    coming = iter([*sorted(placed.parsed.statements, key=lambda one: one.start)])
    following = next(coming, None)
    statement = head
    rows = [_Row("", head)]
    row, position = rows[0], 0
    while position < len(body):
        found = _PIECE.match(body, position)
        if found is None:
            return None
        kind, piece = found.lastgroup, found[0]
        if kind == "word" or kind == "text":
            if following is not None and position + base >= following.start:
                statement, following = following, next(coming, None)
                row.statement, row.joined = statement, ""
            first, *more = _BREAK.split(piece) if kind == "text" else [piece]
            row.words.append(first)
            for part in more:
                row = _Row("prose", statement)
                row.words.append(part)
                rows.append(row)
        elif kind == "comment":
            row.comment = piece.rstrip(" \t\r")
            row.indented = position > 0 and body[position - 1] != "\n"
        position = found.end()
        row.end = position
        if kind == "on" and row.words:
            row = _Row("backslash", statement)
            rows.append(row)
        elif kind == "line":
            inside = position + base < statement.end
            row = _Row("deeper" if inside else "", statement)
            rows.append(row)
    return _tidied(rows)


def _tidied(rows: list[_Row]) -> list[_Row]:
    """Without the rest of a line that goes on and says no more; its comment stands behind the line above."""
    tidy: list[_Row] = []
    for row in rows:
        if row.words or not row.joined:
            tidy.append(row)
        elif row.comment and row.joined == "backslash":
            tidy[-1].comment, tidy[-1].end = row.comment, row.end
        elif row.comment:
            tidy.append(row)
        else:
            tidy[-1].end = row.end
    if not (tidy[-1].words or tidy[-1].comment):  # what follows the last line end is no line
        del tidy[-1]
    return tidy


class _Line(NamedTuple):
    """A line as it will stand, and the comment behind it."""

    text: str
    comment: str = ""


def _written(rows: list[_Row], placed: Placed) -> list[_Line]:
    noun = placed.parsed.noun
    lines: list[_Line] = []
    at = 0
    while at < len(rows):
        row = rows[at]
        if not row.words:
            if row.comment:
                lines.append(_Line(INDENT + row.comment))
            elif len(lines) > 1 and lines[-1].text:
                lines.append(_Line(""))
            at += 1
            continue
        end = at + 1
        while end < len(rows) and rows[end].joined:
            end += 1
        lines += _statement(rows[at:end], placed, noun)
        at = end
    return lines


def _statement(rows: list[_Row], placed: Placed, noun: str) -> list[_Line]:
    """The lines of a head or a property."""
    statement = rows[0].statement
    assert statement is not None
    margin = "" if statement is placed.parsed.head else INDENT
    runs_on = bool(margin) and LAYOUT.runs_on(noun, statement.word)
    lines = []
    for row, below in zip_longest(rows, rows[1:]):
        text = (DEEPER if row.joined else margin) + " ".join(row.words)
        if row.words and below is not None and below.words and not (runs_on and not _begins(noun, below.words[0])):
            text += " \\"
        lines.append(_Line(text, row.comment) if row.words else _Line(DEEPER + row.comment))
    if runs_on and any(len(line.text) > WIDTH for line in lines) and not any(row.comment for row in rows[:-1]):
        lines = [*map(_Line, _filled(margin + statement.word, _atoms(statement, placed)))]
        lines[-1] = lines[-1]._replace(comment=rows[-1].comment)
    return lines


def _begins(noun: str, word: str) -> bool:
    """A line that begins with this word would be a property or a block, and not go on."""
    return word in LAYOUT.words[noun] or word in LAYOUT.nouns


def _atoms(statement: Statement, placed: Placed) -> list[str]:
    """What a line of points, names or bearings may be broken between."""
    atoms: list[str] = []
    for value in statement.values:
        text = " ".join(placed.span(value.start, value.end).text.replace("\\\n", " ").split())
        for piece in _LEG.split(text) if value.kind == "traverse" else [text]:
            if atoms and _begins(placed.parsed.noun, piece.partition(" ")[0]):
                atoms[-1] += f" {piece}"
            else:
                atoms.append(piece)
    return atoms


def _filled(first: str, atoms: list[str]) -> Iterator[str]:
    line, empty = first, True
    for atom in atoms:
        if not empty and len(line) + 1 + len(atom) > WIDTH:
            yield line
            line, empty = DEEPER + atom, False
        else:
            line, empty = f"{line} {atom}", False
    yield line


def _behind(lines: list[_Line]) -> list[str]:
    """The lines with their comments behind them: in one column where short lines that have one follow each other."""
    out: list[str] = []
    run: list[_Line] = []

    def stand() -> None:
        column = max((len(line.text) for line in run), default=0)
        out.extend(f"{line.text:{column}}  {line.comment}" for line in run)
        run.clear()

    for line in lines:
        if line.comment and len(line.text) <= _SHORT:
            run.append(line)
            continue
        stand()
        out.append(f"{line.text}  {line.comment}" if line.comment else line.text)
    stand()
    return out
