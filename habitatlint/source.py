"""Text and places in it: the one converter of positions.

Offsets count code points from 0; lines and columns count from 1, columns in
code points. UTF-16 columns, which editors speak, count from 0.
"""

from __future__ import annotations

from bisect import bisect_right
from functools import cached_property
from typing import NamedTuple


class Source:
    """A named text. `name` is the path as the person gave it, with forward slashes."""

    def __init__(self, name: str, text: str) -> None:
        self.name = name
        self.text = text

    def __repr__(self) -> str:
        return f"Source({self.name!r}, {len(self.text)} characters)"

    @cached_property
    def line_starts(self) -> list[int]:
        starts = [0]
        find = self.text.find
        at = find("\n")
        while at >= 0:
            starts.append(at + 1)
            at = find("\n", at + 1)
        return starts

    def line_column(self, offset: int) -> tuple[int, int]:
        """Line and column (both from 1) of an offset."""
        line = bisect_right(self.line_starts, offset)
        return line, offset - self.line_starts[line - 1] + 1

    def line(self, number: int) -> str:
        """The text of a line (from 1), without its line end."""
        start = self.line_starts[number - 1]
        end = self.line_starts[number] if number < len(self.line_starts) else len(self.text)
        return self.text[start:end].rstrip("\r\n")

    def offset(self, line: int, column: int) -> int:
        """The offset of a line and column (both from 1), held to the line."""
        return self.line_starts[line - 1] + min(column - 1, len(self.line(line)))

    def utf16_column(self, offset: int) -> int:
        """The UTF-16 column (from 0) of an offset."""
        line, column = self.line_column(offset)
        before = self.line(line)[: column - 1]
        return len(before) + sum(1 for character in before if ord(character) > 0xFFFF)


class Span(NamedTuple):
    """A stretch of a source, from `start` up to `end`."""

    source: Source
    start: int
    end: int

    @property
    def text(self) -> str:
        return self.source.text[self.start : self.end]

    @property
    def line(self) -> int:
        return self.source.line_column(self.start)[0]

    @property
    def column(self) -> int:
        return self.source.line_column(self.start)[1]

    @property
    def order(self) -> tuple[str, int, int]:
        """For sorting: by file, then place."""
        return self.source.name, self.start, self.end


class IncludeTrouble(Exception):
    """A text that another names (a file it includes, a pack it uses) and that cannot be had, and why; raised by
    whoever finds it."""
