"""A language's grammar, ready to parse: texts in, statements or one trouble out."""

from __future__ import annotations

import contextlib
import difflib
import re
from collections.abc import Iterable
from typing import Any, NamedTuple

import lark
from lark import Lark
from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from habitatlint.reading.lexer import WordLexer
from habitatlint.reading.values import PHRASES, BadValue, Written, written

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
    def way_out(self) -> str:
        """What to write instead, to be put right after a sentence."""
        if self.suggestion:
            return f"; did you mean `{self.suggestion}`?"
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
        """The words that may come next after a text that is no whole block yet."""
        parser = self._lark.parse_interactive(f"{text} \0")
        with contextlib.suppress(UnexpectedCharacters):  # nothing reads the null: there it stops
            parser.exhaust_lexer()
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
        else:
            assert isinstance(error, UnexpectedCharacters)
            start = error.pos_in_stream or 0
            end = start + len(_stretch(text, start))
            kind_found, ended = "", False
        raw = text[start:end]
        found = _excerpt(raw)
        accepted: set[str] = set(error.interactive_parser.accepts())  # type: ignore[no-untyped-call]
        words = sorted(self.words[name] for name in accepted if name in self.words)
        suggestion = near(found, words) if found and not ended else ""
        expected = self._expected(found, accepted, words, suggestion)
        said = f"`{found}`" if found and not ended else "the end of the line"
        if hint := _hint(text, start, raw, accepted):
            unclosed = raw.startswith('"')
            return Trouble("syntax", start, end, "the end of the line" if unclosed else said, hint, suggestion)
        if kind_found == "NAME" and "NAME" not in accepted and words:
            return Trouble("unknown-word", start, end, found, expected, suggestion)
        if kind_found in PHRASES and kind_found not in ("NAME", "$END", "_NL", "_MARGIN", "STRING"):
            return Trouble("bad-value", start, end, said, f"expected {expected} here, not {said}", suggestion)
        return Trouble("syntax", start, end, said, expected, suggestion)

    def _expected(self, found: str, accepted: set[str], words: list[str], suggestion: str) -> str:
        if suggestion:
            return f"`{suggestion}`"
        phrases: list[str] = []
        for name in PHRASES:
            if name in accepted and PHRASES[name] not in phrases:
                phrases.append(PHRASES[name])
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


def near(word: str, words: Iterable[str]) -> str:
    """The one of `words` that `word` was probably meant to be, or ""."""
    if len(word) > 60:
        return ""
    matches = difflib.get_close_matches(word.lower().replace("_", "-"), list(words), 1, 0.7)
    return matches[0] if matches and matches[0] != word else ""


#: longest stretch of a text that is shown in a sentence
LONGEST_EXCERPT = 40


def _excerpt(found: str) -> str:
    """A stretch of text, no more than a person would want shown."""
    return found if len(found) <= LONGEST_EXCERPT else found[: LONGEST_EXCERPT - 3] + "..."


_STRETCH = re.compile(r'"[^"\n\r]*|[^\s#]+|.', re.DOTALL)


def _stretch(text: str, start: int) -> str:
    """What stands at `start`, up to the next blank."""
    found = _STRETCH.match(text, start)
    return found[0].rstrip("\r\n") if found else ""


def _hint(text: str, start: int, found: str, accepted: set[str]) -> str:
    """A plainer word for the slips that people make most."""
    if found.startswith('"'):
        return "a closing quotation mark after these words" if "STRING" in accepted and found.count('"') == 1 else ""
    if found and any(character.isdigit() and not character.isascii() for character in found):
        return "digits from 0 to 9"
    if "POINT" in accepted and re.match(r"-?[0-9.]+,\s", text[start:]):
        return "a point without a blank after its comma, such as `120,45`"
    if "POINT" in accepted and re.match(r"-?[0-9.]+$", found):
        return "a point such as `120,45` (east, a comma, north)"
    if re.match(r"-?[0-9.]+[eE][0-9+-]", found) or re.match(r"-?(inf|nan)\b", found, re.IGNORECASE):
        return "a number in plain digits"
    if re.match(r"-?(\.[0-9]|[0-9]+\.(\D|$))", found):
        return "a digit before and after the decimal point"
    if "NAME" in accepted and re.match(r"[A-Za-z0-9_.-]+$", found) and (found != found.lower() or "_" in found):
        return "a name in lower-case words with hyphens, such as `south-lane`"
    return ""
