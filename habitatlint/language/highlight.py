"""Colours for texts: Pygments lexers for plans and rules, and a plan's lines in pieces for a page.

A word is a keyword where the grammar lets it stand and a name elsewhere, so a
pocket may be called `edge`. `PLAN_FOLLOWS` and `RULE_FOLLOWS` say which
keywords may follow what; tests work them out anew from the grammars and hold
these tables to the outcome. Broken text is coloured as far as it can be read,
each line by itself; what no value looks like is an error token.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple

from pygments.lexer import Lexer  # type: ignore[import-untyped,unused-ignore]
from pygments.token import (  # type: ignore[import-untyped,unused-ignore]
    STANDARD_TYPES,
    Comment,
    Error,
    Keyword,
    Literal,
    Name,
    Number,
    Operator,
    Punctuation,
    String,
    Whitespace,
)

from habitatlint.language.plan import LAYOUT
from habitatlint.reading.values import WINDS
from habitatlint.units import UNITS

Kind = Any  #: a token type of Pygments, which comes without type hints
#: a line's word (`noun word` where blocks differ) -> what stands before -> keywords that may follow;
#: before stands the line's own word, a keyword, a sign, or any "name", "text" or (other) "value"
Follows = Mapping[str, Mapping[str, frozenset[str]]]


def _follows(table: dict[str, dict[str, str] | str]) -> Follows:
    """The table from words in a row; where only the line's own word has followers, those alone."""
    return {
        word: {
            before: frozenset(words.split())
            for before, words in (row if isinstance(row, dict) else {word.split()[-1]: row}).items()
        }
        for word, row in table.items()
    }


_LEVELS = "error warning note"
_CUTS = "hinge fell girdle frill hack-and-squirt"
_WORK = f"release {_CUTS} treatment"
_LINE = "from beside around"
_PIECES = {"name": "left right", "value": f"{_LINE} then to"}

PLAN_FOLLOWS: Follows = _follows(
    {
        "after": "leaf-out storm work",
        "alone": "yes no",
        "aquatic": "yes no",
        "barrier": "yes no",
        "basal-area": {"value": "to"},
        "condition": "sound hollow split",
        "corridors": {"corridors": "every", "value": "off", "name": "width"},
        "cover": "cut natural planted",
        "cost": {
            "value": f"per {_WORK}",
            "per": "hour tree gal qt pt floz litre",
            **dict.fromkeys(["tree", *_WORK.split()], _WORK),
        },
        "declination": "computed",
        "done": "yes",
        "fall": {"fall": "along against away toward", "away": "from"},
        "for": "does bucks any",
        "forbids": dict.fromkeys(["forbids", *_CUTS.split()], _CUTS),
        "height": {"value": "from"},
        "hours": "morning evening all",
        "kind": "plot mast crop browse screen cover road building wire water fence neighbour bank gate parking "
        "landing meeting bed rub scrape trail crossing",
        "level": {"name": f"{_LEVELS} off"},
        "line": {"line": _LINE, **_PIECES},
        "log-rule": "doyle scribner international",
        "market": "yes no from",
        "method": f"{_CUTS} leave logger",
        "north": "true magnetic",
        "offsite": "yes no",
        "outline": {"outline": _LINE, **_PIECES},
        "pays": {"value": "per", "per": "thousand-board-feet cord"},
        "picture": {"text": "at"},
        "purpose": "bedding screen edge block canopy",
        "setback from": "boundary",
        "side": "left right",
        "sit": "morning evening all",
        "stage": "design as-built",
        "state": "standing down hung dead blown",
        "stump-treatment": "none planned done",
        "stumps": {"stumps": _LINE, **_PIECES},
        "units": "yd ft m",
        "use": {"use": "pack entry exit travel corridor vehicle", **dict.fromkeys(["name", "text"], "version")},
        "waive": {"name": "on and until", "value": "because"},
        "wood": "logs firewood leave",
        "work step": {"value": "by", "text": "by"},
    }
)

_AMOUNT = "count share smallest largest sum"
_TEST = f"{_AMOUNT} not no any every"
_AFTER = "and or is of for"
_WRITTEN = f"{_AMOUNT} along against away toward"
_EVIDENCE = "regulation extension journal analogue common-practice"
_EXPRESSION = {
    **dict.fromkeys("+ - * < <= > >= , within smallest largest sum".split(), _AMOUNT),
    **dict.fromkeys(["(", "and", "or", "not"], _TEST),
    **dict.fromkeys(["count", "share"], "of"),
    **dict.fromkeys([")", "value"], _AFTER),
    "name": f"{_AFTER} in within",
    "is": "not",
}
_ASSIGNED = {
    **_EXPRESSION,
    **dict.fromkeys([")", "value"], f"{_AFTER} {_WRITTEN}"),
    "name": f"{_EXPRESSION['name']} {_WRITTEN}",
    "text": _WRITTEN,
    "away": "from",
}
_EXAMPLE = {"value": "with", "with": "set"}

RULE_FOLLOWS: Follows = _follows(
    {
        "a property": _ASSIGNED,  # one that a mend adds, whatever its word
        "add": {"text": "after"},
        "broken": {"broken": "on with left", "value": "with left", "with": "set"},
        "each": _EXPRESSION,
        "kept": {"kept": "on with", **_EXAMPLE},
        "level": {"name": f"{_LEVELS} off"},
        "limit": {"value": _EVIDENCE},
        "list": {"name": _EVIDENCE},
        "measure": {"=": _AMOUNT, **_EXPRESSION},
        "move": {"name": "along clear to", "clear": "of"},
        "per": {"per": _AMOUNT, **_EXPRESSION},
        "report": {
            **_EXPRESSION,
            **dict.fromkeys([")", "value"], f"{_AFTER} say"),
            "name": f"{_EXPRESSION['name']} say",
            "report": _LEVELS,
            **dict.fromkeys(_LEVELS.split(), "when say"),
            "when": _AMOUNT,
            "text": "many",
        },
        "say": {"text": "many"},
        "rule set": _ASSIGNED,
        "turn": {**_ASSIGNED, "to": _WRITTEN, "name": f"{_ASSIGNED['name']} to"},
        "where": {"where": _TEST, **_EXPRESSION},
    }
)

EXAMPLES = ("broken", "kept", "mended")
#: noun at the margin -> the words that may begin a line below it; example plans have a plan's
RULE_LINES: Mapping[str, frozenset[str]] = {
    "rule": frozenset(
        "title limit list each where needs measure per report say many mark also because mend set remove turn move "
        "split add formerly safety".split()
    ),
    "pack": frozenset("version author licence requires builds-on takes leaves set level about".split()),
    **dict.fromkeys(EXAMPLES, frozenset[str]()),
}
_ANY_RULE_LINE = frozenset[str]().union(*RULE_LINES.values())

# Values by their looks, as in `grammar/values.lark`: tests hold them to its terminals.
_NUM = r"-?[0-9]+(?:\.[0-9]+)?"
_END = r"(?![^\s#(),\\])"
_DAY = "[0-9]{2}-[0-9]{2}"
_DATE = f"[0-9]{{4}}-{_DAY}"
_DEGREES = r"[0-9]+(?:\.[0-9]+)?(?:[ \t]+[0-9]+(?:\.[0-9]+)?)?"
_MINUTES = r"""[d°][0-9]+(?:'[0-9]+(?:\.[0-9]+)?"?|')?|-[0-9]+(?:-[0-9]+(?:\.[0-9]+)?)?"""
_QUADRANT = rf"[NS][0-9]+(?:\.[0-9]+)?(?:{_MINUTES})?[EW]"
_APART = [unit for unit, (kind, _) in UNITS.items() if kind == "duration"]  # written with a blank before them
_CLOSE = [unit for unit, (kind, _) in UNITS.items() if unit and kind not in ("duration", "density", "angle")]
_QUANTITY = rf"{_NUM}(?:[ \t]?(?:{'|'.join(_CLOSE)})|[ \t]+(?:per[ \t]+(?:acre|ha)|{'|'.join(_APART)})|)"
_RANGE = rf"{_NUM}[ \t]?(?:%|[a-zA-Z][a-zA-Z/]*)?\.\.{_NUM}(?:[ \t]?%|[ \t]?[a-zA-Z][a-zA-Z/]*)?"
_WORD = "[a-z][a-z0-9-]*"

# The kinds of token, each a group of a scanner's one pattern; none looks farther than a blank or two
# ahead but along what it takes, so that time is linear in the text.
_BLANKS = r"(?P<blank>[ \t]+)|(?P<newline>\r?\n)|(?P<comment>\#[^\n]*)|(?P<continuation>\\[ \t]*\r?\n[ \t]*)"
# a string that nothing closes ends with its line, or where a last backslash stops it
_STRING = r"""(?P<text>"[^"\\\r\n]*(?:(?:\\[ \t]*\r?\n|\\[^\n\r])[^"\\\r\n]*)*"?)"""
_DATES = rf"(?P<date>(?:{_DATE}(?:\.\.{_DATE})?|{_DAY}(?:\.\.{_DAY})?){_END})"
_BEARING = rf"(?P<bearing>(?:{'|'.join(WINDS)}|{_QUADRANT}|{_NUM}[ \t]?deg){_END})"
_AMOUNTS = rf"(?P<amount>(?:{_RANGE}|{_QUANTITY}){_END})"
_NAMES = rf"(?P<name>[a-z][a-z0-9]*(?:-[a-z0-9]+)*{_END})"
_DOTTED = rf"(?P<dotted>{_WORD}(?:/{_WORD}(?:\.{_WORD})*|(?:\.{_WORD})+){_END})"
_STRETCH = r'[^\s#"(),\\]+'
_REST = rf"(?P<strange>{_STRETCH}|.)"
_PLACES = rf"(?P<place>(?:{_NUM},{_NUM}(?!,)|{_DEGREES}[NS],{_DEGREES}[EW]){_END})"
_COUNTED = rf"(?P<counted>(?:{_NUM}[ \t]+of[ \t]+{_NUM}){_END})|(?P<declination>[0-9]+(?:\.[0-9]+)?[EW]{_END})"
_SIGNS = r"(?P<sign>[<>]=?|[=+*-])|(?P<mark>[(),])"


def _scanner(*patterns: str) -> Callable[[str, int], re.Match[str] | None]:
    return re.compile("|".join(patterns)).match


_NOUN, _PROPERTY, _CARETS = Keyword.Declaration, Name.Attribute, Comment.Special
_KINDS: Mapping[str, Kind] = {
    "blank": Whitespace, "newline": Whitespace, "continuation": Punctuation, "comment": Comment.Single,
    "text": String.Double, "date": Literal.Date, "bearing": Name.Constant, "declination": Name.Constant,
    "amount": Number, "counted": Number, "place": Number.Float, "dotted": Name.Variable, "name": Name.Variable,
    "sign": Operator, "mark": Punctuation, "strange": Error,
}  # fmt: skip
_SKIPPED = frozenset(["blank", "newline", "continuation", "comment"])
#: what stands before the next token, where that is no "value"
_BEFORE = {"text": "text", "dotted": "name"}
_IN_A_LIST = frozenset([("is", "not"), ("listed", "or")])
#: token type -> its CSS class in a page (the short names that Pygments' own HTML has); "" for blanks
CSS_CLASSES: Mapping[Kind, str] = {
    kind: "" if kind is Whitespace else STANDARD_TYPES[kind]
    for kind in (
        *_KINDS.values(), _NOUN, _PROPERTY, _CARETS, Keyword.Constant, Operator.Word, Name.Label, Name.Function,
    )
}  # fmt: skip

_INDENT = re.compile(r"[ \t]*").match
_FIRST = re.compile(rf"({_STRETCH}|[^\s#])(?:[ \t]+([a-z]+))?").match


class _Language(NamedTuple):
    """The scanner of its tokens, and those of its keywords that are choices; the others join words."""

    match: Callable[[str, int], re.Match[str] | None]
    choices: frozenset[str]


_JOINING = (
    "from then to beside around along against away toward at every off width by on and until because pack version"
)
_PLAN = _Language(
    _scanner(_BLANKS, _NAMES, _PLACES, _STRING, _DATES, _BEARING, _COUNTED, _AMOUNTS, _DOTTED, _REST),
    frozenset(word for row in PLAN_FOLLOWS.values() for words in row.values() for word in words)
    - frozenset(_JOINING.split()),
)
_RULES = _Language(
    _scanner(_BLANKS, _NAMES, _STRING, _DATES, _BEARING, _AMOUNTS, _DOTTED, _SIGNS, _REST),
    frozenset(f"{_EVIDENCE} {_LEVELS}".split()),
)


class _Line(NamedTuple):
    """A line as its first word has it: that word's type (None where it goes on with the line above, or
    begins with no word), its language, and which keywords may follow what on it."""

    kind: Kind | None
    language: _Language
    follows: Mapping[str, frozenset[str]]
    #: what its first word is to the token behind it
    before: str = ""
    #: it is a block's head, and says the block's name
    names: bool = False


class _PlanLines:
    """Follows a plan from line to line: which block it is in, and which property."""

    def __init__(self) -> None:
        self.noun = self.word = ""
        #: how far the block's first property is indented, in columns
        self.indent: int | None = None
        self.line = _Line(None, _PLAN, {})

    def begin(self, indent: str, word: str, second: str) -> _Line:
        """A line that begins with `word`, and `second` behind it. Blocks and the lines that go on are
        told as the reader tells them (`reading.blocks`)."""
        words = LAYOUT.words.get(self.noun, LAYOUT.any_word)
        known = word in words
        if word in LAYOUT.nouns and (not indent or not (known or f"{word}-{second}" in words)):
            self.noun, self.indent = word, None
            return self._line(word, _NOUN, word, word not in LAYOUT.singles)
        if not indent:
            known = word in LAYOUT.any_word
            if not known:
                self.noun, self.indent = "", None
        elif self.indent is None:
            self.indent = _width(indent)
        elif not known and LAYOUT.runs_on(self.noun, self.word) and _width(indent) > self.indent:
            return self.line._replace(kind=None)
        return self._line(word, _PROPERTY if known else _unknown(word), f"{self.noun} {word}")

    def _line(self, word: str, kind: Kind | None, key: str, names: bool = False) -> _Line:
        self.word = word
        self.line = _Line(kind, _PLAN, PLAN_FOLLOWS.get(key) or PLAN_FOLLOWS.get(word, {}), word, names)
        return self.line


class _RuleLines:
    """Follows a file of rules from line to line, and the plan of an example within it."""

    def __init__(self) -> None:
        self.noun = ""
        self.adds = False
        self.plan: _PlanLines | None = None
        #: how far the example's plan is indented
        self.margin: int | None = None

    def begin(self, indent: str, word: str, second: str) -> _Line:
        if not indent:
            self.noun, self.adds, self.margin = word, False, None
            self.plan = _PlanLines() if word in EXAMPLES else None
            kind = _NOUN if word in RULE_LINES else _unknown(word)
            return _Line(kind, _RULES, RULE_FOLLOWS.get(word, {}), word, True)
        if self.plan is not None:
            if word[0] == "^":
                return _Line(_CARETS, _PLAN, {})
            if self.margin is None:
                self.margin = len(indent)
            return self.plan.begin(indent[self.margin :], word, second)
        if word in RULE_LINES.get(self.noun, _ANY_RULE_LINE):
            self.adds = word == "add"
            follows = RULE_FOLLOWS.get(f"{self.noun} {word}") or RULE_FOLLOWS.get(word, {})
            return _Line(_PROPERTY, _RULES, follows, word)
        return _Line(_PROPERTY if self.adds else _unknown(word), _RULES, RULE_FOLLOWS["a property"], "name")


def _width(indent: str) -> int:
    return len(indent.expandtabs(8))


def _unknown(word: str) -> Kind | None:
    """A word where none is known is wrong; what is no word at all is left to be read by its looks."""
    return Error if word[0].isalpha() else None


def _tokens(text: str, lines: _PlanLines | _RuleLines) -> Iterator[tuple[int, Kind, str]]:
    """Offset, type and text of every token; their texts together are the text."""
    position, length = 0, len(text)
    line, before = _Line(None, _PLAN, {}), ""
    while position < length:
        blanks = _INDENT(text, position)
        assert blanks
        indent, start = blanks[0], blanks.end()
        if indent:
            yield position, Whitespace, indent
        position = start
        if first := _FIRST(text, start):
            line = lines.begin(indent, first[1], first[2] or "")
            if line.kind is not None:
                position = first.end(1)
                if line.kind is _CARETS:
                    newline = text.find("\n", start)
                    position = newline if newline >= 0 else length
                else:
                    before = line.before
                yield start, line.kind, text[start:position]
        while position < length:
            found = line.language.match(text, position)
            assert found and found.lastgroup
            group, start, position = found.lastgroup, position, found.end()
            value, kind = text[start:position], _KINDS[group]
            if group == "name":
                if value in line.follows.get("name" if before == "listed" else before, ()):
                    kind = Keyword.Constant if value in line.language.choices else Operator.Word
                    # all that follows `is` and its `or` are names: `cover is natural or any`
                    before = "is not" if (before, value) in _IN_A_LIST else value
                else:
                    if line.names and before == line.before:
                        kind = Name.Label
                    elif text.startswith("(", position):
                        kind = Name.Function
                    before = "listed" if before in ("is", "is not") else "name"
            elif group not in _SKIPPED:
                before = value if group in ("sign", "mark") else _BEFORE.get(group, "value")
            yield start, kind, value
            if group == "newline":
                break


class PlanLexer(Lexer):  # type: ignore[misc,unused-ignore]
    """Plans, for Pygments."""

    name = "habitat plan"
    aliases = ["habitat"]
    filenames = ["*.habitat"]

    def get_tokens_unprocessed(self, text: str) -> Iterator[tuple[int, Kind, str]]:
        """Offset, type and text of each token. Never raises for what the text says; time is linear in it."""
        return _tokens(text, _PlanLines())


class RuleLexer(Lexer):  # type: ignore[misc,unused-ignore]
    """Files of rules with the plans of their examples, for Pygments."""

    name = "habitat rules"
    aliases = ["habitat-rules"]
    filenames = ["*.rules"]

    def get_tokens_unprocessed(self, text: str) -> Iterator[tuple[int, Kind, str]]:
        """Offset, type and text of each token. Never raises for what the text says; time is linear in it."""
        return _tokens(text, _RuleLines())


def highlighted(text: str) -> list[list[tuple[str, str]]]:
    """A plan's lines in pieces of (CSS class, text), the class "" for blanks.

    Lines are those of `Source`: the pieces of one make its text without the line end, and a text that
    ends with a line end has an empty last line. The texts are as written, and so to be escaped.
    """
    lines: list[list[tuple[str, str]]] = [[]]
    for _, kind, written in _tokens(text, _PlanLines()):
        first, *more = written.split("\n")
        if first:
            lines[-1].append((CSS_CLASSES[kind], first))
        for piece in more:
            lines.append([(CSS_CLASSES[kind], piece)] if piece else [])
    return [_without_end(line) for line in lines]


def _without_end(line: list[tuple[str, str]]) -> list[tuple[str, str]]:
    while line and line[-1][1].endswith("\r"):
        kind, written = line.pop()
        if kept := written.rstrip("\r"):
            line.append((kind, kept))
    return line
