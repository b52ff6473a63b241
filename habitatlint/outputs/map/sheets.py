"""Paper, scale and sheets: how a drawing is laid out on what a printer prints.

A sheet bears the map in a window, a strip under it, and a panel beside or below, whichever leaves the property more.
All sizes are millimetres on paper, those of the ground metres.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.language.blocks import Pocket
from habitatlint.outputs.map.drawing import Drawing, Mark
from habitatlint.outputs.map.svg import EDGE
from habitatlint.outputs.map.window import Window
from habitatlint.outputs.sentences import clean
from habitatlint.reading.grammar import did_you_mean, listed, near
from habitatlint.units import FOOT, INCH, MILE, UNITS, YARD, plain

#: width and height upright: ISO 216 for A4 and A3, the sizes of ANSI/ASME Y14.1 for letter and tabloid, and legal
PAPERS = {
    "letter": (215.9, 279.4),
    "legal": (215.9, 355.6),
    "tabloid": (279.4, 431.8),
    "a4": (210.0, 297.0),
    "a3": (297.0, 420.0),
}
#: bare paper all round, between map and panel; the strip's height; the panel's width beside and height below
MARGIN, GAP, STRIP, SIDE, BELOW = 9.0, 3.0, 9.0, 70.0, 74.0
#: about how wide a column of the panel is
COLUMN = 62.0
#: the least paper between what is drawn and the window's edge
ROOM = 3.0
#: how far a match line runs within the window: neighbours share twice as much
LAP = 8.0
#: most sheets of one map
MOST_SHEETS = 40
_MOST_LOOKED_INTO = 40_000
#: the finest and the coarsest scale, as denominators
FINEST, COARSEST = 5.0, 1_000_000.0
#: the window's scale where nothing has a place
EMPTY_SCALE = {"yd": 1200.0, "ft": 1200.0, "m": 1000.0}

#: scales that an engineer's rule reads, in feet to the inch, and that whole millimetres make round metres
_FEET = (1, 2, 3, 4, 5, 6)
_METRIC = (1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7.5)
_SCALE = re.compile(
    r"1\s*:\s*(?P<ratio>[0-9][0-9,]*(?:\.[0-9]+)?)"
    r"|1\s*(?P<paper>in|cm|\")\s*=\s*(?P<number>[0-9][0-9,]*(?:\.[0-9]+)?)\s*(?P<ground>ft|yd|mi|m|km|')"
)
_LENGTHS = {"in": INCH, '"': INCH, "cm": 0.01, "ft": FOOT, "'": FOOT, "yd": YARD, "mi": MILE, "m": 1.0, "km": 1000.0}


class Unprintable(Exception):
    """A map that cannot be laid out as it is asked for; one line, with the remedy."""


class Box(NamedTuple):
    """A box on paper: its upper left corner from that of the paper, and its size."""

    x: float
    y: float
    width: float
    height: float


class Page(NamedTuple):
    """A paper, which way it lies, and whether the panel stands beside the map or below it."""

    paper: str
    landscape: bool
    beside: bool

    @property
    def size(self) -> tuple[float, float]:
        width, height = PAPERS[self.paper]
        return (height, width) if self.landscape else (width, height)

    @property
    def panel(self) -> Box:
        width, height = self.size
        if self.beside:
            return Box(width - MARGIN - SIDE, MARGIN, SIDE, height - 2 * MARGIN)
        return Box(MARGIN, height - MARGIN - BELOW, width - 2 * MARGIN, BELOW)

    @property
    def frame(self) -> Box:
        """The window with the `EDGE` round it."""
        panel = self.panel
        if self.beside:
            return Box(MARGIN, MARGIN, panel.x - GAP - MARGIN, panel.height - STRIP)
        return Box(MARGIN, MARGIN, panel.width, panel.y - GAP - STRIP - MARGIN)

    @property
    def columns(self) -> int:
        """How many columns the panel has."""
        return max(1, int((self.panel.width + GAP) // COLUMN))

    @property
    def window(self) -> tuple[float, float]:
        return self.frame.width - 2 * EDGE, self.frame.height - 2 * EDGE


class Sheet(NamedTuple):
    """One sheet: its number, its window, and which sheet goes on at which side."""

    number: int
    window: Window
    joins: Mapping[str, int]


class Layout(NamedTuple):
    """The sheets of a map; `pocket` is the name of the pocket that is enlarged, "" for the whole property."""

    page: Page
    scale: float
    sheets: tuple[Sheet, ...]
    pocket: str = ""


class _Extent(NamedTuple):
    west: float
    south: float
    east: float
    north: float


# -- scales ------------------------------------------------------------------------------------------------


def read_scale(text: str) -> float:
    """The denominator of a scale as people write it: `1:2400`, `1 in = 200 ft`, `1 cm = 25 m`.

    Raises Unprintable for what is no scale, or finer or coarser than a map can be.
    """
    found = _SCALE.fullmatch(text.strip())
    if found is None:
        raise Unprintable(f"scale `{clean(text)[:60]}` cannot be read: write it as '1:2400' or '1 in = 200 ft'")
    number = float((found["ratio"] or found["number"]).replace(",", ""))
    scale = number if found["ratio"] else number * _LENGTHS[found["ground"]] / _LENGTHS[found["paper"]]
    if not FINEST <= scale <= COARSEST:
        raise Unprintable(
            f"scale `{clean(text)[:60]}` is out of range: a map goes from 1:{FINEST:.0f} to 1:{COARSEST:,.0f}"
        )
    return round(scale, 6)


def scale_words(scale: float, units: str) -> str:
    """A scale in words, as the users of the plan's unit say it.

    >>> scale_words(4800, "yd")
    '1 in = 400 ft, 1:4800'
    >>> scale_words(2500, "m")
    '1 cm = 25 m, 1:2500'
    """
    ratio = plain(scale, 1) if scale < 10_000 else f"{scale:,.0f}"
    if units == "m":
        return f"1 cm = {plain(scale / 100, 3)} m, 1:{ratio}"
    return f"1 in = {plain(scale / 12, 1)} ft, 1:{ratio}"


def round_scales(units: str) -> Iterator[float]:
    """Denominators of round scales, the finest first."""
    steps, one, power = (_METRIC, 10.0, 0) if units == "m" else (_FEET, 12.0, 0)
    while True:
        for step in steps:
            scale = step * one * 10.0**power
            if scale > COARSEST:
                return
            yield scale
        power += 1


def bar(scale: float, units: str, longest: float = 52.0) -> tuple[float, float]:
    """A bar scale of four parts no longer than `longest` on paper: a part in the unit, and on paper."""
    one = UNITS[units][1] * 1000 / scale
    power = 10.0 ** math.floor(math.log10(longest / 4 / one))
    part = next(step for step in (5, 2.5, 2, 1) if step * power * one * 4 <= longest + 1e-9) * power
    return part, part * one


# -- sheets ------------------------------------------------------------------------------------------------


def lay_out(
    drawing: Drawing, paper: str = "", landscape: bool | None = None, scale: float | None = None, pocket: str = ""
) -> Layout:
    """The sheets of a drawing.

    What is left out is chosen: letter paper for plans in yards and feet and A4 for metres, the finest round scale
    that fits on one sheet, the orientation that has the finer scale or fewer sheets. Sheets of a given scale that
    would hold nothing of the property are left out. Raises Unprintable.
    """
    units = drawing.report.units
    paper = paper or ("a4" if units == "m" else "letter")
    if paper not in PAPERS:
        hint = did_you_mean(near(paper, PAPERS)) or f": it is {listed(PAPERS, 'or')}"
        raise Unprintable(f"paper `{clean(paper)[:60]}` is not known{hint}")
    ways = [way for way in (False, True) if landscape in (None, way)]
    pages = [Page(paper, way, beside) for way in ways for beside in (True, False)]
    marks = _of_pocket(drawing, pocket) if pocket else drawing.marks
    extent = _extent(marks) if pocket else _Extent(*drawing.bounds) if drawing.bounds else None
    if extent is None:
        page, scale = pages[-2], scale or EMPTY_SCALE[units]
        return Layout(page, scale, (Sheet(1, _window(page, scale, 0, 0), {}),))
    wide = extent.east - extent.west > extent.north - extent.south
    # of those that serve alike the first is taken: a long panel, and paper that lies as the property does
    pages.sort(key=lambda page: (page.landscape == page.beside, page.landscape != wide))
    ground = None if pocket else _ground(drawing)
    if scale is None:
        scale, page = min(((_fitting(extent, page, units), page) for page in pages), key=lambda one: one[0])
        return Layout(page, scale, _tiled(extent, page, scale, ground).sheets(), pocket)
    tiling = min((_tiled(extent, page, scale, ground) for page in pages), key=lambda one: len(one.wanted))
    if len(tiling.wanted) > MOST_SHEETS:
        coarser = (one for one in round_scales(units) if one > scale)
        fewer = (one for one in coarser if len(_tiled(extent, tiling.page, one, ground).wanted) <= MOST_SHEETS)
        words = scale_words(next(fewer, COARSEST), units).partition(",")[0]
        raise Unprintable(
            f"1:{plain(scale, 1)} takes more than {MOST_SHEETS} sheets of {paper}: "
            f"give a coarser scale, such as '{words}'"
        )
    return Layout(tiling.page, scale, tiling.sheets(), pocket)


def _of_pocket(drawing: Drawing, name: str) -> list[Mark]:
    """The marks of a pocket and of what is cut in it; raises Unprintable where there is none to draw."""
    plan = drawing.report.plan
    names = [one.name for one in plan.of(Pocket) if one.name]
    if name not in names:
        likely = near(name, names)
        known = f"; the plan's pockets are {listed(names, 'and')}" if names and len(names) <= 12 else ""
        raise Unprintable(f"no pocket is called `{clean(name)[:60]}`{did_you_mean(likely) or known}")
    found = [
        mark for mark in drawing.marks
        if mark.block is not None and mark.layer not in _WIDE
        and ((mark.block.noun == "pocket" and mark.block.name == name) or plan.word(mark.block, "in") == name)
    ]  # fmt: skip
    if not any(mark.block is not None and mark.block.noun == "pocket" for mark in found):
        raise Unprintable(f"pocket `{name}` has no place on the ground: mend its outline first")
    return found


#: layers that reach beyond what the property's sheets must hold
_WIDE = frozenset({"picture", "scent"})


def _extent(marks: list[Mark] | tuple[Mark, ...]) -> _Extent:
    return _Extent(*(float(side) for side in shapely.total_bounds(np.array([mark.shape for mark in marks]))))


def _ground(drawing: Drawing) -> shapely.STRtree:
    """What a sheet must hold something of: the property and all that is drawn."""
    shapes: list[BaseGeometry] = [mark.shape for mark in drawing.marks if mark.layer not in _WIDE]
    if drawing.report.scene.property_ is not None:
        shapes.append(drawing.report.scene.property_)
    return shapely.STRtree(shapes)


def _fits(extent: _Extent, page: Page, scale: float) -> bool:
    width, height = ((side - 2 * ROOM) * scale / 1000 for side in page.window)
    return extent.east - extent.west <= width and extent.north - extent.south <= height


def _fitting(extent: _Extent, page: Page, units: str) -> float:
    """The finest round scale in which all goes on one sheet."""
    for scale in round_scales(units):
        if _fits(extent, page, scale):
            return scale
    raise Unprintable("the plan is too wide for a map on this paper: look for a place that lies far off")


def _window(page: Page, scale: float, east: float, north: float) -> Window:
    """A window about a place."""
    width, height = page.window
    metres = scale / 1000
    return Window(east - width * metres / 2, north - height * metres / 2, width, height, scale)


class _Tiling(NamedTuple):
    """Windows side by side, evenly about the middle of what is drawn: how many, and those that are wanted, counted
    from the north-west as one reads."""

    page: Page
    scale: float
    middle: tuple[float, float]
    columns: int
    rows: int
    wanted: Sequence[int]

    def window(self, cell: int) -> Window:
        row, column = divmod(cell, self.columns)
        across, down = ((side - 2 * LAP) * self.scale / 1000 for side in self.page.window)
        east = self.middle[0] + (column - (self.columns - 1) / 2) * across
        north = self.middle[1] + ((self.rows - 1) / 2 - row) * down
        return _window(self.page, self.scale, east, north)

    def holds(self, ground: shapely.STRtree) -> list[int]:
        """The cells that hold something of the ground. What lies beyond a match line is on the neighbour; an outer
        window holds all up to its edge."""
        row, column = np.divmod(np.arange(self.columns * self.rows), self.columns)
        lap = LAP * self.scale / 1000
        across, down = (side * self.scale / 1000 for side in self.page.window)
        west = self.middle[0] + (column - (self.columns - 1) / 2) * (across - 2 * lap) - across / 2
        south = self.middle[1] + ((self.rows - 1) / 2 - row) * (down - 2 * lap) - down / 2
        inner = shapely.box(
            west + lap * (column > 0), south + lap * (row < self.rows - 1),
            west + across - lap * (column < self.columns - 1), south + down - lap * (row > 0),
        )  # fmt: skip
        return sorted({int(cell) for cell in ground.query(inner, predicate="intersects")[0]})

    def sheets(self) -> tuple[Sheet, ...]:
        numbers = {cell: number for number, cell in enumerate(self.wanted, 1)}
        found = []
        for cell, number in numbers.items():
            row, column = divmod(cell, self.columns)
            joins = {
                side: numbers[(row + down) * self.columns + column + right]
                for side, (down, right) in _SIDES.items()
                if 0 <= column + right < self.columns and (row + down) * self.columns + column + right in numbers
            }
            found.append(Sheet(number, self.window(cell), joins))
        return tuple(found)


_SIDES = {"north": (-1, 0), "east": (0, 1), "south": (1, 0), "west": (0, -1)}


def _tiled(extent: _Extent, page: Page, scale: float, ground: shapely.STRtree | None) -> _Tiling:
    """Windows over all that is drawn; those that hold nothing of the `ground` are not wanted, unless there are too
    many to look into."""
    counts = []
    for side, span in zip(page.window, (extent.east - extent.west, extent.north - extent.south), strict=True):
        over = span * 1000 / scale + 2 * ROOM - side
        counts.append(1 + max(0, math.ceil(over / (side - 2 * LAP) - 1e-9)))
    columns, rows = counts
    middle = ((extent.west + extent.east) / 2, (extent.south + extent.north) / 2)
    tiling = _Tiling(page, scale, middle, columns, rows, range(columns * rows))
    if ground is not None and 1 < len(tiling.wanted) <= _MOST_LOOKED_INTO:
        return tiling._replace(wanted=tiling.holds(ground))
    return tiling
