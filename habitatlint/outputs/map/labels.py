"""Labels that do not collide: each in the first free place about what it names, else letters and a key.

Candidates stand in the order in which cartographers prefer them for a point: right above, right below, left,
over and under it (E. Imhof, "Positioning Names on Maps", The American Cartographer 2:128, 1975; from
memory); an area's name stands in its middle if it fits there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import count
from typing import NamedTuple

from habitatlint.outputs.map.lettering import CAPITALS, advance

#: type sizes in millimetres: 8.5 and 8 points, to be read at arm's length
SIZE, SMALLER = 3.0, 2.83
#: clear space kept about a label, and between a label and what it names, in millimetres
CLEAR, GAP = 0.5, 1.1
#: longest label that is written out; a longer one is cut with an ellipsis
LONGEST = 34

Box = tuple[float, float, float, float]


class Wanted(NamedTuple):
    """A label that wants a place. `x`, `y` is the place of what it names, right and down in millimetres, `room` how
    far the thing itself reaches about that place; `inside` asks for the middle; the lower `rank` comes first."""

    text: str
    x: float
    y: float
    room: float = 1.0
    inside: bool = False
    bold: bool = False
    rank: int = 0
    colour: str = "#000000"
    #: other places along the same thing, tried after the first
    more: tuple[tuple[float, float], ...] = ()


class Placed(NamedTuple):
    """A label in its place: its text (or its letters in the key), the left end of its base line, its size, whether
    it is bold, and whether it was too long or too crowded and stands in the key."""

    wanted: Wanted
    text: str
    x: float
    y: float
    size: float
    bold: bool
    keyed: bool


class Crowd:
    """Boxes that are taken, in a grid so that a question costs what is near and no more."""

    def __init__(self, cell: float = 12.0) -> None:
        self.cell = cell
        self._cells: dict[tuple[int, int], list[Box]] = {}

    def _over(self, box: Box) -> Iterator[tuple[int, int]]:
        left, top, right, bottom = (int(value // self.cell) for value in box)
        return ((column, row) for column in range(left, right + 1) for row in range(top, bottom + 1))

    def take(self, box: Box) -> None:
        for cell in self._over(box):
            self._cells.setdefault(cell, []).append(box)

    def is_free(self, box: Box) -> bool:
        left, top, right, bottom = box
        return not any(
            left < other[2] and other[0] < right and top < other[3] and other[1] < bottom
            for cell in self._over(box)
            for other in self._cells.get(cell, ())
        )


def place(wanted: Iterable[Wanted], width: float, height: float, crowd: Crowd) -> list[Placed]:
    """Places labels on a window of a size in millimetres, in the order of their ranks; `crowd` holds what they
    must keep off, and holds them too afterwards. A label that finds no place gets letters that nothing is called
    by: A, B ... AA; these stand at the thing itself whatever lies there."""
    placed: list[Placed] = []
    ordered = sorted(wanted, key=lambda one: (one.rank, one.y, one.x, one.text))
    names = {one.text for one in ordered}
    unused = (text for number in count() if (text := letters(number)) not in names)
    for one in ordered:
        text = one.text if len(one.text) <= LONGEST else one.text[: LONGEST - 1].rstrip() + "…"
        size = SIZE if one.bold else SMALLER
        found = _free(one, text, size, width, height, crowd)
        if found is None:
            text = next(unused)
            one = one._replace(bold=True)
            found = _free(one, text, size, width, height, crowd) or _at(one, text, size)
        box, x, y = found
        crowd.take(box)
        placed.append(Placed(one, text, x, y, size, one.bold, text != one.text))
    return placed


def letters(number: int) -> str:
    """The letters of a key: 0 is A, 25 Z, 26 AA."""
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _free(
    one: Wanted, text: str, size: float, width: float, height: float, crowd: Crowd
) -> tuple[Box, float, float] | None:
    spots = ((one.x, one.y), *one.more)
    for x, y in (place for spot in spots for place in _candidates(one, *spot, text, size)):
        box = _box(x, y, text, size, one.bold)
        inside = box[0] >= 0 and box[1] >= 0 and box[2] <= width and box[3] <= height
        if inside and crowd.is_free(box):
            return box, x, y
    return None


def _at(one: Wanted, text: str, size: float) -> tuple[Box, float, float]:
    x, y = one.x - advance(text, size, one.bold) / 2, one.y + CAPITALS * size / 2
    return _box(x, y, text, size, one.bold), x, y


def _box(x: float, y: float, text: str, size: float, bold: bool) -> Box:
    """A label's box from the left end of its base line: its capitals, its descenders and the clear space."""
    wide = advance(text, size, bold)
    return x - CLEAR, y - CAPITALS * size - CLEAR, x + wide + CLEAR, y + 0.22 * size + CLEAR


def _candidates(one: Wanted, x: float, y: float, text: str, size: float) -> Iterator[tuple[float, float]]:
    """Places for the left end of a label's base line about a spot, best first."""
    wide, high = advance(text, size, one.bold), CAPITALS * size
    middle_x, middle_y = x - wide / 2, y + high / 2
    if one.inside:
        yield middle_x, middle_y
        for shift in (1.6, -1.6, 3.2, -3.2):
            yield middle_x, middle_y + shift * high
        for shift in (0.5, -0.5):
            yield middle_x + shift * wide, middle_y
    off = one.room + GAP
    for far in (off, off + 2.2):
        diagonal = 0.7 * far
        yield x + diagonal, y - diagonal
        yield x + diagonal, y + diagonal + high
        yield x - diagonal - wide, y - diagonal
        yield x - diagonal - wide, y + diagonal + high
        yield x + far, middle_y
        yield x - far - wide, middle_y
        yield middle_x, y - far
        yield middle_x, y + far + high
