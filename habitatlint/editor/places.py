"""Places as an editor counts them: lines and characters from 0, characters in the units that it chose."""

from __future__ import annotations

import re
from bisect import bisect_right
from itertools import accumulate
from typing import Literal, NamedTuple

#: units of a character, by the names that the protocol gives them
Encoding = Literal["utf-8", "utf-16", "utf-32"]

_LINE_END = re.compile(r"\r\n|\n|\r")


class Position(NamedTuple):
    """A line and a character, both from 0."""

    line: int
    character: int


class Places:
    """The places of one text. Lines end as the protocol has it: LF, CRLF, or CR alone, and nothing else."""

    def __init__(self, text: str, encoding: Encoding = "utf-16") -> None:
        self.text = text
        self._encoding = encoding
        self._plain = encoding == "utf-32" or text.isascii()
        if "\r" in text:
            self._starts = [0, *(found.end() for found in _LINE_END.finditer(text))]
        else:  # felt at every key
            self._starts = list(accumulate((len(line) + 1 for line in text.split("\n")[:-1]), initial=0))

    def position(self, offset: int) -> Position:
        """The place of an offset in code points."""
        line = bisect_right(self._starts, offset) - 1
        start = self._starts[line]
        return Position(line, offset - start if self._plain else self._units(self.text[start:offset]))

    def offset(self, line: int, character: int) -> int:
        """The offset of a place; one beyond its line is the line's end, one beyond the text the text's."""
        if line >= len(self._starts):
            return len(self.text)
        start = self._starts[line]
        end = self._starts[line + 1] if line + 1 < len(self._starts) else len(self.text)
        whole = self.text[start:end].rstrip("\r\n")
        if self._plain:
            return start + min(character, len(whole))
        units = 0
        for number, letter in enumerate(whole):
            if units >= character:
                return start + number
            units += self._units(letter)
        return start + len(whole)

    def _units(self, text: str) -> int:
        if self._encoding == "utf-8":
            return len(text.encode("utf-8", "surrogatepass"))
        return len(text) + sum(1 for letter in text if ord(letter) > 0xFFFF)


class Change(NamedTuple):
    """A stretch of a text, and how long what stands there now is; in code points."""

    start: int
    end: int
    length: int

    def moved(self, start: int, end: int) -> tuple[int, int] | None:
        """Where a stretch of the text before stands after the change; None where it was taken away.

        A stretch that the change touches keeps what is left of it.
        """
        by = self.length - (self.end - self.start)
        if end <= self.start and not (start == end == self.start == self.end):
            return start, end
        if start >= self.end:
            return start + by, end + by
        if self.start <= start and end <= self.end and (self.length == 0 or (start, end) != (self.start, self.end)):
            return None
        begins = min(start, self.start) if start <= self.start else self.start + self.length
        ends = end + by if end >= self.end else self.start
        return begins, max(begins, ends)


def difference(before: str, after: str) -> Change:
    """The one stretch by which two texts differ."""
    most = min(len(before), len(after))
    start = _alike(before, after, most)
    end = _alike(before[: start - len(before) - 1 : -1], after[: start - len(after) - 1 : -1], most - start)
    return Change(start, len(before) - end, len(after) - end - start)


def _alike(one: str, other: str, most: int) -> int:
    """How many characters two texts begin with alike, found by halving."""
    low, high = 0, most
    while low < high:
        middle = (low + high + 1) // 2
        if one[low:middle] == other[low:middle]:
            low = middle
        else:
            high = middle - 1
    return low
