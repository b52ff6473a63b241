"""A language's grammar, ready to parse: texts in, statements or one trouble out."""

from __future__ import annotations

import contextlib
import re
import unicodedata
from collections.abc import Iterable
from typing import Any, NamedTuple

import lark
from lark import Lark
from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from habitatlint.reading.lexer import WordLexer
from habitatlint.reading.values import PHRASES, WINDS, BadValue, Written, written

#: kept tables are good for one version of the parser
PARSER_VERSION: str = lark.__version__


class Statement(NamedTuple):
    """A line as it was written: its first word, the grammar's rule for it, its values, its place.

    Offsets count in the block's text. `values` leave the first word out.
    """

    word: str
    rule: str
    values: tuple[Written, ...]
    start: int
    end: int


class Trouble(NamedTuple):
    """A line that cannot be read: what kind of slip, where, what was found and what was expected.

    `found` is a bare word where the kind is "unknown-word"; else it is said as a person would, an
    excerpt in backticks. Where the kind is "bad-value", `expected` is a whole clause.
    """

    kind: str
    start: int
    end: int
    found: str
    expected: str
    suggestion: str

    @property
    def told(self) -> str:
        """What is wrong, as a clause; for an unknown word only what was expected."""
        if self.kind != "syntax":
            return self.expected
        if self.expected == PHRASES["$END"]:
            return f"{self.found} does not belong here: nothing more stands on this line"
        return f"expected {self.expected}, not {self.found}"

    @property
    def way_out(self) -> str:
        """What to write instead, to be put right after a sentence."""
        if self.suggestion:
            return did_you_mean(self.suggestion)
        return f"; expected {self.expected}" if self.expected else ""


class Unreadable(Exception):
    """A text that the grammar does not know; carries the one trouble."""

    def __init__(self, trouble: Trouble) -> None:
        super().__init__(trouble.kind)
        self.trouble = trouble


class _Inlined:
    """What lark dissolves into the rule above: rules whose name begins with `_`."""

    __slots__ = ("children",)

    def __init__(self, children: list[Any]) -> None:
        self.children = children


class _Statements:
    """Builds a statement from any rule's tokens and nodes. Its repr is fixed, as is lark's cache key."""

    def __repr__(self) -> str:
        return "statements"

    def __call__(self, rule: str, children: list[Any]) -> Statement | _Inlined:
        if rule[0] == "_":
            return _Inlined(children)
        first = children[0]
        values = tuple([child if type(child) is Written else written(child) for child in children[1:]])
        end = values[-1].end if values else first.end_pos
        return Statement(first.value, rule, values, first.start_pos, end)


class Shape:
    """Builders for the rules that are not plain statements; one method a rule of the grammar."""

    def text(self, children: list[Any]) -> list[Any]:
        return children

    def block(self, children: list[Any]) -> list[Any]:
        return children


class Grammar:
    """A parser for one language, built from its grammar's text.

    `texts` has the grammar under its own name and what it imports ("plan", "values"). `cache` is
    a path, in a folder of the user's own, where the built tables may be kept; None to build anew.
    `shape` has one method for each rule whose node is no plain statement.
    """

    def __init__(self, name: str, texts: dict[str, str], shape: Shape, cache: str | None = None) -> None:
        self.name = name
        text = texts[name]
        self._lark = Lark(
            text,
            parser="lalr",
            lexer=WordLexer,
            start="text",
            source_path=f"{name}.lark",
            import_paths=[_Imports(texts)],
            maybe_placeholders=False,
            transformer=shape,
            tree_class=_Statements(),
            cache=cache or False,
        )
        strings = {t.pattern.value: t.name for t in self._lark.terminals if t.pattern.type == "str"}
        #: keyword terminal -> the word
        self.words = {terminal: word for word, terminal in strings.items()}

    def parse(self, text: str) -> list[list[Statement]]:
        """The blocks of `text`, each its head and properties; raises Unreadable with what is wrong
        and where."""
        try:
            return self._lark.parse(text)  # type: ignore[return-value]
        except UnexpectedInput as error:
            raise Unreadable(self._trouble(text, error)) from None
        except BadValue as error:
            raise Unreadable(Trouble("bad-value", error.start, error.end, "", error.message, "")) from None

    def words_under(self, head: str) -> frozenset[str]:
        """The words that may begin a line under a block's head; without a head, those of blocks."""
        return self.words_after(f"{head}\n  " if head else "")

    def words_after(self, text: str) -> frozenset[str]:
        """The words that may come next after a text that is no whole block yet; none after one that cannot be."""
        parser = self._lark.parse_interactive(f"{text} \0")
        try:
            with contextlib.suppress(UnexpectedCharacters):  # nothing reads the null: there it stops
                parser.exhaust_lexer()
        except UnexpectedToken:
            return frozenset()
        accepted = parser.accepts()  # type: ignore[no-untyped-call]
        return frozenset(self.words[name] for name in accepted if name in self.words)

    def _trouble(self, text: str, error: UnexpectedInput) -> Trouble:
        if isinstance(error, UnexpectedToken):
            token = error.token
            start, end = token.start_pos or 0, token.end_pos or 0
            ended = token.type in ("$END", "_NL", "_MARGIN")
            if ended:
                start = end = len(text[:start].rstrip()) if token.type != "$END" else len(text.rstrip())
            kind_found = token.type
            if token.type == "NUMBER" and text[end : end + 1] == ",":
                end = start + len(_stretch(text, start))  # a point with a slip in it is shown whole
        else:
            assert isinstance(error, UnexpectedCharacters)
            start = error.pos_in_stream or 0
            if text[start] == "," and "NUMBER" in error.interactive_parser.accepts():  # type: ignore[no-untyped-call]
                start -= len(text[:start]) - len(text[:start].rstrip(_POINT_CHARACTERS))
            end = start + len(_stretch(text, start))
            kind_found, ended = "", False
        raw = text[start:end]
        found = excerpt(raw)
        accepted: set[str] = set(error.interactive_parser.accepts())  # type: ignore[no-untyped-call]
        words = sorted(self.words[name] for name in accepted if name in self.words)
        suggestion = _meant(found, words) if found and not ended else ""
        expected = self._expected(found, accepted, words, suggestion)
        said = f"`{found}`" if found and not ended else "the end of the line"
        if hint := _hint(text, start, raw, accepted):
            if raw.startswith('"') and raw.count('"') == 1:
                said = "the end of the line"
            elif text[start : start + 1] == "\r" and not ended:
                said = "a carriage return alone"
            elif not raw.strip() and not ended:
                said = "another kind of blank"
            return Trouble("syntax", start, end, said, hint, suggestion)
        if kind_found == "NAME" and "NAME" not in accepted and words:
            return Trouble("unknown-word", start, end, found, expected, suggestion)
        if kind_found in PHRASES and kind_found not in ("NAME", "$END", "_NL", "_MARGIN", "STRING"):
            return Trouble("bad-value", start, end, said, f"expected {expected}, not {said}", suggestion)
        return Trouble("syntax", start, end, said, expected, suggestion)

    def _expected(self, found: str, accepted: set[str], words: list[str], suggestion: str) -> str:
        if suggestion:
            return f"`{suggestion}`"
        if {"LENGTH", "AREA", "DENSITY", "DOSE"} <= accepted:
            return "a value such as `25yd`, `25%` or `110 sqft/ac`"
        phrases: list[str] = []
        for name in PHRASES:
            if name in accepted and PHRASES[name] not in phrases:
                phrases.append(PHRASES[name])
        if "POINT" in accepted:
            phrases = [phrase for phrase in phrases if phrase not in (PHRASES["NAME"], PHRASES["EARTH"])]
        if len(phrases) > 1 and PHRASES["$END"] in phrases:
            phrases.remove(PHRASES["$END"])
        if PHRASES["WIND"] in phrases and PHRASES["QUADRANT"] in phrases:
            phrases.remove(PHRASES["WIND"])
            if PHRASES["DEGREES"] in phrases:
                phrases.remove(PHRASES["DEGREES"])
        phrases += [f"`{word}`" for word in words]
        return listed(phrases[:8], "or") if phrases else PHRASES["$END"]


class _Imports:
    """Hands grammars to lark by name. Its text is fixed so that lark's cache key is."""

    def __init__(self, texts: dict[str, str]) -> None:
        self._texts = texts

    def __call__(self, base: str, path: str) -> tuple[str, str]:
        name = path.removesuffix(".lark")
        if name not in self._texts:
            raise OSError(path)
        return f"<{path}>", self._texts[name]

    def __repr__(self) -> str:
        return "imports:" + "".join(sorted(self._texts.values()))


def listed(items: Iterable[str], word: str) -> str:
    """`a, b or c`."""
    items = list(items)
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} {word} {items[-1]}"


def did_you_mean(likely: str) -> str:
    """An offer to put right after a sentence; "" for nothing to offer."""
    return f"; did you mean `{likely}`?" if likely else ""


def near(word: str, words: Iterable[str]) -> str:
    """The one of `words` that `word` was probably meant to be, or ""."""
    if len(word) > 60:
        return ""
    written, words = word.lower().replace("_", "-"), list(words)
    import difflib  # felt at every start, and wanted only where something is misspelt

    matches = difflib.get_close_matches(written, words, 1, 0.7)
    if not matches:  # a short word with its letters in the wrong order
        matches = [one for one in words if len(one) == len(written) and sorted(one) == sorted(written)]
    return matches[0] if matches and matches[0] != word else ""


#: so many words that are not known are told with what they were probably meant to be
MOST_HINTS = 30


class Guesses:
    """How many words that are not known are still looked for among those that are, for it takes time."""

    def __init__(self) -> None:
        self.left = MOST_HINTS

    def another(self) -> bool:
        """Whether one more is looked for."""
        self.left -= 1
        return self.left >= 0


def _meant(found: str, words: list[str]) -> str:
    """The word of the language that is meant: a unit written out, or a near miss."""
    unit = _WRITTEN_OUT.get(found.lower(), "")
    return unit if unit in words else near(found, words)


#: longest stretch of a text that is shown in a sentence
LONGEST_EXCERPT = 40


#: where words in quotes go on in the next line
_LINE_BREAK = re.compile(r"[ \t]*\\?[ \t]*\r?\n[ \t]*")


def excerpt(found: str) -> str:
    """A stretch of text on one line, no more of it than a person would want shown."""
    found = _LINE_BREAK.sub(" ", found)
    return found if len(found) <= LONGEST_EXCERPT else found[: LONGEST_EXCERPT - 3] + "..."


_STRETCH = re.compile(r'"[^"\n\r]*|[^\s#]+|.', re.DOTALL)


def _stretch(text: str, start: int) -> str:
    """What stands at `start`, up to the next blank."""
    found = _STRETCH.match(text, start)
    return found[0].rstrip("\r\n") if found else ""


#: what points are written with, and the words that stand for no number
_POINT_CHARACTERS = "-.0123456789abcdefghijklmnopqrstuvwxyz"
_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_NOT_PLAIN = re.compile(r"-?[0-9.]+[eE][0-9+-]|-?(inf|nan|infinity)\b", re.IGNORECASE)
_WITH_UNIT = re.compile(r"-?[0-9]+(\.[0-9]+)?['\"\u2018-\u201f\u2032\u2033A-Za-z]+")
#: units written out, and the language's own
_WRITTEN_OUT = {
    **dict.fromkeys(("yard", "yards", "yds"), "yd"),
    **dict.fromkeys(("foot", "feet"), "ft"),
    **dict.fromkeys(("inch", "inches"), "in"),
    **dict.fromkeys(("meter", "meters", "metre", "metres"), "m"),
    **dict.fromkeys(("degree", "degrees"), "deg"),
    **dict.fromkeys(("acre", "acres"), "ac"),
    "percent": "%",
}
_WINDS = {"north": "N", "northeast": "NE", "east": "E", "southeast": "SE", "south": "S", "southwest": "SW",
          "west": "W", "northwest": "NW", **{wind.lower(): wind for wind in WINDS}}  # fmt: skip
#: the two ends of a range written in another way, on a line that takes one
_RANGE_IN_WORDS = re.compile(
    r"[ \t]*(?:dbh|tree-height|class)[ \t]+(-?[0-9.]+)[ \t]*([a-z]*)[ \t]*"
    r"(?:to|and|-|\u2013|\.\.+)[ \t]*([0-9.]+)[ \t]*([a-z]+)"
)
#: comparisons as they are said, and the signs that are written
_SIGNS = {
    **dict.fromkeys(("less", "fewer", "smaller", "shorter", "nearer", "closer", "lower", "under", "below"), "<"),
    **dict.fromkeys(("more", "greater", "larger", "longer", "farther", "further", "higher", "over", "above"), ">"),
    **dict.fromkeys(("at most", "=<", "\u2264"), "<="),
    **dict.fromkeys(("at least", "=>", "\u2265"), ">="),
}
_OPPOSITE = {"<": ">=", ">=": "<", ">": "<=", "<=": ">"}
_IN_WORDS = re.compile(
    r"(?<!\S)(?:is[ \t]+)?(not[ \t]+)?("
    + "|".join(word.replace(" ", r"[ \t]+") for word in _SIGNS)
    + r")(?:[ \t]+than)?(?!\S)"
)
_NAMED = re.compile(r"(?:^|\n)[a-z]+[ \t]+([a-z][a-z0-9-]*)[ \t]+$")
#: words of the language after which a length stands
_BEFORE_A_LENGTH = frozenset({"left", "right", "from", "to", "every", "width"})


def _hint(text: str, start: int, found: str, accepted: set[str]) -> str:
    """A plainer word for the slips that people make most."""
    return (
        _hint_of_signs(text, start, found, accepted)
        or _hint_of_ranges(text, start)
        or _hint_of_comparisons(text, start, accepted)
        or _hint_of_bearings(found, accepted)
        or _hint_of_units(found, accepted)
        or _hint_of_names(text, start, found, accepted)
    )


def _hint_of_signs(text: str, start: int, found: str, accepted: set[str]) -> str:
    if found.startswith('"'):
        return "a closing quotation mark after these words" if "STRING" in accepted and found.count('"') == 1 else ""
    if text[start : start + 1] == "\r" and text[start : start + 2] != "\r\n":
        return "line ends of LF or CRLF (save the file with those)"
    if text[start : start + 1].isspace() and text[start] not in " \t\r\n":
        return "a plain blank"
    if "STRING" in accepted and found[:1] in ("'", "\u2018", "\u2019", "\u201c", "\u201d", "\u201e", "\u00ab"):
        return 'words in plain double quotes such as `"South lane"`'
    if any(character.isdigit() and not character.isascii() for character in found):
        return "digits from 0 to 9"
    if re.match("[\u2010-\u2015\u2212][0-9]", found):
        return "a plain hyphen `-` for the minus"
    if "EARTH" in accepted and re.match(r"-?[0-9.]+[NSns]", found):
        return "an earth point such as `43.7120N,90.6210W`, without a blank"
    if "POINT" in accepted and re.match(r"-?[0-9.]+,\s", text[start : start + LONGEST_EXCERPT]):
        return "a point without a blank after its comma, such as `120,45`"
    if _NOT_PLAIN.match(found):
        return "a number in plain digits"
    if re.match(r"-?(\.[0-9]|[0-9]+\.(\D|$))", found):
        return "a digit before and after the decimal point"
    if "POINT" in accepted and re.match(r"-?[0-9.]+(,|$)", found):
        return "a point such as `120,45` (east, a comma, north)"
    return ""


def _hint_of_ranges(text: str, start: int) -> str:
    line = text.rfind("\n", 0, start) + 1
    found = _RANGE_IN_WORDS.match(text, line)
    if found is None or not found.start(1) <= start < found.end():
        return ""
    least, unit, largest, last = found.groups()
    return f"`{least}{unit}..{largest}{last}`"


def _hint_of_comparisons(text: str, start: int, accepted: set[str]) -> str:
    """A comparison in words, or with its sign turned about, on a line of a rule."""
    if not accepted & {"LESSTHAN", "OR"}:
        return ""
    line = text.rfind("\n", 0, start) + 1
    for found in _IN_WORDS.finditer(text, line):
        if found.start() > start:
            break
        if start < found.end():
            sign = _SIGNS[" ".join(found[2].split())]
            sign = _OPPOSITE[sign] if found[1] else sign
            return f"`{sign}` in the place of `{' '.join(found[0].split())}`"
    return ""


def _hint_of_bearings(found: str, accepted: set[str]) -> str:
    if "DEGREES" in accepted and "NUMBER" not in accepted and re.fullmatch(r"[0-9]{1,3}(\.[0-9]+)?", found):
        return f"the {'bearing' if 'QUADRANT' in accepted else 'angle'} as `{found}deg`"
    if "QUADRANT" not in accepted and "WIND" not in accepted:
        return ""
    wind = _WINDS.get(found.lower().replace("-", ""))
    if wind and wind != found:
        return f"the bearing as `{wind}`"
    if "QUADRANT" in accepted and re.match(r"[NSns][0-9.]+[EWew]$", found):
        return f"the bearing in capitals, `{found.upper()}`"
    if "QUADRANT" in accepted and re.match(r"[NSns][0-9.]+$", found):
        return f"a bearing with its `E` or `W`, such as `{found.upper()}E`"
    return ""


def _hint_of_units(found: str, accepted: set[str]) -> str:
    if found in _WRITTEN_OUT and accepted & {"_NL", "_MARGIN", "$END"}:
        return f"the unit as `{_WRITTEN_OUT[found]}`"
    if "LENGTH" in accepted and _WITH_UNIT.fullmatch(found):
        return "a length in `yd`, `ft`, `in`, `m` or `cm`, such as `20yd`"
    return ""


def _hint_of_names(text: str, start: int, found: str, accepted: set[str]) -> str:
    before = text[max(0, start - 100) : start]
    head = _NAMED.search(before) if "STRING" in accepted else None
    if head and _NAME.fullmatch(found) and len(found) <= LONGEST_EXCERPT:
        return f"a name in one word, such as `{head[1]}-{found}`, or a title in double quotes"
    words = before.rpartition("\n")[2].split()
    after_a_name = len(words) > 1 and words[-2] != "around" and words[-1] not in _BEFORE_A_LENGTH
    if after_a_name and accepted == {"NUMBER", "LENGTH"} and _NAME.fullmatch(words[-1]):
        return f"how far along `{words[-1]}` it is, such as `{words[-1]} 40yd`"
    if "NAME" in accepted and found and not _NAME.fullmatch(found) and len(found) <= LONGEST_EXCERPT:
        plain = unicodedata.normalize("NFKD", found).encode("ascii", "ignore").decode().lower()
        name = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")
        if _NAME.fullmatch(name):
            return f"a name in lower-case words with hyphens, such as `{name}`"
    return ""
