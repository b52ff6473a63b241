"""One scanner for both languages, with keywords told by the parser's state.

Lark's contextual lexer compiles a scanner for each set of terminals that a
parser state accepts, some hundreds for these grammars and most of a cold
start. Values here tell themselves apart by their looks, so one scanner does,
and a word is a keyword exactly where the grammar wants that keyword: a pocket
may be called `edge`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from lark.exceptions import UnexpectedCharacters
from lark.lexer import Lexer, PatternStr


class Lexeme:
    """A token: lark asks no more of one than its type, and lines are counted elsewhere."""

    __slots__ = ("end_pos", "start_pos", "type", "value")
    line = column = end_line = end_column = None

    def __init__(self, type: str, value: str, start_pos: int, end_pos: int) -> None:
        self.type = type
        self.value = value
        self.start_pos = start_pos
        self.end_pos = end_pos


def _order(terminal: Any) -> tuple[int, int, str]:
    """Longer signs before shorter ones, so that `<=` is not read as `<`."""
    sign = -len(terminal.pattern.value) if isinstance(terminal.pattern, PatternStr) else 0
    return -terminal.priority, sign, terminal.name


class WordLexer(Lexer):
    __future_interface__ = 2

    def __init__(self, lexer_conf: Any) -> None:
        #: word as written -> the keyword's terminal
        self.keywords: dict[str, str] = {}
        patterns, ignored = [], []
        for terminal in sorted(lexer_conf.terminals, key=_order):
            value = terminal.pattern.value
            if terminal.name in lexer_conf.ignore:
                ignored.append(terminal.pattern.to_regexp())
            elif isinstance(terminal.pattern, PatternStr) and value[0].isalpha():
                self.keywords[value] = terminal.name
            else:
                patterns.append(f"(?P<{terminal.name}>{terminal.pattern.to_regexp()})")
        # possessive: blanks and lines that go on can be cut up in so many ways that trying all would never end
        skipped = f"(?:{'|'.join(ignored)})*+"
        self.match = re.compile(f"{skipped}(?:{'|'.join(patterns)})").match
        self.skip = re.compile(skipped).match

    def lex(self, lexer_state: Any, parser_state: Any) -> Iterator[Any]:
        text, position, end = lexer_state.text.text, lexer_state.text.start, lexer_state.text.end
        match, keywords = self.match, self.keywords
        states, stack = parser_state.parse_conf.states, parser_state.state_stack
        while position < end:
            found = match(text, position, end)
            if found is None:
                skipped = self.skip(text, position, end)
                assert skipped
                if skipped.end() == end:
                    return
                raise UnexpectedCharacters(text, skipped.end(), 0, 0, state=parser_state)  # type: ignore[no-untyped-call]
            kind = found.lastgroup
            assert kind is not None
            start, position = found.span(kind)
            value = text[start:position]
            if kind == "NAME" and value in keywords:
                keyword = keywords[value]
                accepted = states[stack[-1]]
                if keyword in accepted or "NAME" not in accepted:
                    kind = keyword
            yield Lexeme(kind, value, start, position)
