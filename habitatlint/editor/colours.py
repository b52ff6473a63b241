"""Semantic colours: the tokens of `language.highlight` as types that the protocol names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from habitatlint.editor.places import Places
from habitatlint.language.highlight import CSS_CLASSES, PlanLexer, RuleLexer

#: token by its short name in `highlight` -> type and whether it declares; what is not here is left plain
TYPES: Mapping[str, tuple[str, bool]] = {
    "kd": ("keyword", False), "na": ("property", False), "kc": ("enumMember", False), "ow": ("operator", False),
    "nl": ("variable", True), "nv": ("variable", False), "nf": ("function", False), "s2": ("string", False),
    "ld": ("number", False), "no": ("number", False), "m": ("number", False), "mf": ("number", False),
    "c1": ("comment", False), "cs": ("comment", False), "o": ("operator", False),
}  # fmt: skip
LEGEND = tuple(dict.fromkeys(kind for kind, _ in TYPES.values()))


def coloured(places: Places, rules: bool, first: int = 0, last: int | None = None) -> Iterator[int]:
    """Five numbers a token, as the protocol has them: lines down, characters along, length, type, declares.

    Only tokens on lines from `first` to `last`; a token of several lines is told line by line.
    """
    lexer = RuleLexer() if rules else PlanLexer()
    before_line = before_character = 0
    for offset, kind, text in lexer.get_tokens_unprocessed(places.text):
        named = TYPES.get(CSS_CLASSES[kind])
        if named is None:
            continue
        number, declares = LEGEND.index(named[0]), named[1]
        for piece in text.splitlines(keepends=True):
            written = piece.rstrip("\r\n")
            (line, character), end = places.position(offset), places.position(offset + len(written)).character
            offset += len(piece)
            if not written or line < first:
                continue
            if last is not None and line > last:
                return
            yield line - before_line
            yield character - (before_character if line == before_line else 0)
            yield end - character
            yield number
            yield int(declares)
            before_line, before_character = line, character
