"""Draws marks by their signs on a window, as SVG."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPoint, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.outputs.map.drawing import Mark
from habitatlint.outputs.map.lettering import advance
from habitatlint.outputs.map.signs import BLACK, SIGNS, WHITE, Along, Hatch, Scatter, Sign
from habitatlint.outputs.map.tags import dashes, figure, group, hundredths, path, steps_written, tag, words
from habitatlint.outputs.map.window import Window

Objects = npt.NDArray[np.object_]

#: a strip of true width is drawn no narrower than this, in millimetres
_LEAST_STRIP = 0.7
#: from this scale on the stumps of a row would run together, and are drawn smaller
_CROWDED = 2000.0
#: most lines of a hatch, and most marks of a scatter or along a line; what would take more is drawn without
_MOST_LINES, _MOST_MARKS = 4000, 200_000
#: half the height of a finding's badge, in millimetres
BADGE = 1.9
#: size of the letters in a badge: 8 points
NUMBERS = 2.83
#: radius at which open arcs are drawn about a bed, in millimetres
ARC = 3.2


class Pen:
    """Draws marks by their signs on a window. On the page (`live`) lines keep their weight at any zoom, and signs
    are groups that can be scaled about their own place."""

    def __init__(self, window: Window, live: bool) -> None:
        self.window = window
        self.live = live
        self.thin = "non-scaling-stroke" if live else None
        #: such lines count in pixels, of which 96 make an inch
        self._unit = 96 / 25.4 if live else 1.0
        #: hatches and scatters are drawn this far beyond the window and no farther
        self._about = None if live else window.box(4)
        #: in millimetres, where marks are set along lines: on the page farther, for it can be moved into view
        far = max(window.width, window.height) if live else 4
        self._along_in = shapely.box(-far, -far, window.width + far, window.height + far)

    def drawn(self, mark: Mark, sign: Sign | None = None) -> Iterator[str]:
        """A mark by its sign, or by another."""
        sign = sign or SIGNS[mark.sign]
        if sign.kind == "point":
            yield from self._glyphs(sign, mark)
        elif sign.kind == "arc" and mark.span is not None and isinstance(mark.shape, Point):
            yield self.at(mark.shape, arc(sign, mark.span))
        elif sign.kind == "tree":
            yield from self._trees(sign, mark.shape)
        elif sign.kind == "dots":
            yield path(self.path(mark.shape), stroke=sign.stroke, stroke_linecap="round", **self.line(sign.weight))
        elif sign.kind == "line":
            yield from self._lines(sign, mark.shape)
        elif sign.kind == "area":
            yield from self._areas(sign, mark)

    def at(self, place: Point, glyph: str, turn: float = 0.0) -> str:
        """A glyph at a place on the ground, turned by a bearing."""
        return group(self.fixed(glyph), *self.window.on_paper(place.x, place.y), turn)

    def fixed(self, glyph: str) -> str:
        """A glyph that on the page keeps its size at any zoom."""
        return tag("g", glyph, class_="sign") if self.live else glyph

    def line(self, weight: float, dash: Sequence[float] = ()) -> dict[str, object]:
        """How heavy and how broken a line is, in millimetres; on the page at any zoom."""
        return {
            "stroke_width": weight * self._unit,
            "stroke_dasharray": dashes([length * self._unit for length in dash]),
            "vector_effect": self.thin,
        }

    # -- signs at a place ----------------------------------------------------------------------

    def _glyphs(self, sign: Sign, mark: Mark) -> Iterator[str]:
        glyph = sign.glyph
        if mark.sign in ("stump", "stump-treated", "uncut", "down") and self.window.scale > _CROWDED:
            glyph = tag("g", glyph, transform=f"scale({figure(max(_CROWDED / self.window.scale, 0.4))})")
        for place in shapely.get_parts(mark.shape):
            yield self.at(place, glyph, mark.turn or 0.0)

    def _trees(self, sign: Sign, shape: BaseGeometry) -> Iterator[str]:
        """Stems and tops at their true size, one path each."""
        stems, tops = shape.geoms
        yield path(
            self.path(tops), class_="tops", fill=sign.fill, fill_opacity=sign.fill_opacity, stroke=sign.stroke,
            **self.line(sign.weight, sign.dash),
        )  # fmt: skip
        yield path(self.path(stems), class_="stems", stroke=sign.stroke, **self.line(2 * sign.weight))

    # -- lines ---------------------------------------------------------------------------------

    def _lines(self, sign: Sign, shape: BaseGeometry) -> Iterator[str]:
        d = self.path(shape)
        if sign.casing is not None:
            colour, weight = sign.casing
            yield path(d, stroke=colour, stroke_linejoin="round", **self.line(weight))
        yield path(
            d, stroke=sign.stroke, stroke_linejoin="round", stroke_linecap="round" if sign.round else None,
            **self.line(sign.weight, sign.dash),
        )  # fmt: skip
        if sign.along is not None:
            yield from self._along(sign, sign.along, shape)

    def _along(self, sign: Sign, along: Along, shape: BaseGeometry) -> Iterator[str]:
        """Small marks set along a line, turned with it."""
        colour = BLACK if sign.stroke == WHITE else sign.stroke
        fill = colour if along.solid or along.mark.endswith("z") else "none"
        weight = max(sign.weight * 0.8, 0.3)
        glyph = self.fixed(path(along.mark, fill=fill, stroke=colour, stroke_width=weight, stroke_linejoin="round"))
        for line in shapely.get_parts(shape):
            on_paper = LineString(self.window.points(shapely.get_coordinates(line)))
            for far in _steps_along(on_paper, along, self._along_in):
                here, there = (on_paper.interpolate(max(far + step, 0)).coords[0] for step in (-0.3, 0.3))
                turn = math.degrees(math.atan2(there[1] - here[1], there[0] - here[0]))
                x, y = on_paper.interpolate(far).coords[0]
                yield group(glyph, x, y, turn)

    # -- areas ---------------------------------------------------------------------------------

    def _areas(self, sign: Sign, mark: Mark) -> Iterator[str]:
        shape = mark.shape
        if mark.sign in ("opening", "corridor"):
            shape = _wide_enough(shape, _LEAST_STRIP / self.window.per_metre)
        yield path(
            self.path(shape), fill=sign.fill, fill_opacity=sign.fill_opacity, fill_rule="evenodd", stroke=sign.stroke,
            stroke_linejoin="round", stroke_linecap="round" if sign.round else None,
            **self.line(sign.weight, sign.dash),
        )  # fmt: skip
        inner = shape if self._about is None else shape.intersection(self._about)
        if sign.hatch is not None and inner.area:
            yield self._hatched(sign.hatch, inner)
        if sign.scatter is not None and inner.area:
            yield self._scattered(sign.scatter, inner)

    def _hatched(self, hatch: Hatch, shape: BaseGeometry) -> str:
        """Parallel lines, set off from the plan's origin so that they go on from sheet to sheet."""
        apart = hatch.apart / self.window.per_metre
        turned = math.radians(hatch.bearing)
        along = np.array([math.sin(turned), math.cos(turned)])
        across = np.array([along[1], -along[0]])
        corners = shapely.get_coordinates(shapely.envelope(shape))
        off, run = corners @ across, corners @ along
        first, last = math.ceil(off.min() / apart), math.floor(off.max() / apart)
        if not 0 <= last - first < _MOST_LINES:
            return ""
        feet = np.arange(first, last + 1)[:, None] * apart * across
        lines = shapely.linestrings(np.stack([feet + along * (run.min() - 1), feet + along * (run.max() + 1)], axis=1))
        cut = shapely.get_parts(MultiLineString(list(lines)).intersection(shape))
        d = self.path(MultiLineString([line for line in cut if isinstance(line, LineString)]))
        return path(d, stroke=hatch.colour, **self.line(hatch.weight))

    def _scattered(self, scatter: Scatter, shape: BaseGeometry) -> str:
        """Small marks in rows offset by half, set off from the plan's origin, whole within the area."""
        apart = scatter.apart / self.window.per_metre
        west, south, east, north = shape.bounds
        first, last = math.floor(south / apart), math.ceil(north / apart)
        left, right = math.floor(west / apart) - 1, math.ceil(east / apart)
        inner = shape.buffer(-0.7 / self.window.per_metre)
        if inner.is_empty or (last - first + 1) * (right - left + 1) > _MOST_MARKS:
            return ""
        rows, columns = np.arange(first, last + 1), np.arange(left, right + 1)
        row, column = (grid.ravel() for grid in np.meshgrid(rows, columns, indexing="ij"))
        places = np.column_stack([(column + 0.5 * (row % 2)) * apart, row * apart])
        shapely.prepare(inner)
        points = self.window.points(places[shapely.contains_xy(inner, places)])
        d = "".join(f"M{figure(x)} {figure(y)}{scatter.mark}" for x, y in points.tolist())
        fill = scatter.colour if scatter.solid else "none"
        return path(d, fill=fill, stroke=scatter.colour, stroke_width=scatter.weight, class_="scatter")

    # -- geometry as strokes -------------------------------------------------------------------

    def path(self, shape: BaseGeometry) -> str:
        """A geometry as strokes in hundredths of a millimetre, each part by steps from its first point on."""
        parts = shapely.get_parts(shape)
        polygons = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
        return self._strokes(shapely.get_rings(parts[polygons]), True) + self._strokes(parts[~polygons], False)

    def _strokes(self, lines: Objects, closed: bool) -> str:
        """Lines or rings, all at once: tops by the ten thousand are drawn this way."""
        places, line = shapely.get_coordinates(lines, return_index=True)
        if not len(places):
            return ""
        points = np.rint(self.window.points(places) * 100).astype(np.int64)
        steps = np.diff(points, axis=0)
        kept = (line[1:] == line[:-1]) & (steps != 0).any(axis=1)
        starts = np.flatnonzero(np.diff(line, prepend=-1))
        if closed:  # the last step, back to the start, goes without saying
            kept[np.append(starts[1:], len(points)) - 2] = False
        written = steps_written(steps[kept].ravel().tolist())
        edges = (2 * np.searchsorted(line[:-1][kept], np.arange(line[-1] + 2))).tolist()
        close = "z" if closed else ""
        strokes = []
        for (x, y), of in zip(points[starts].tolist(), line[starts].tolist(), strict=True):
            run = "".join(written[edges[of] : edges[of + 1]])
            strokes.append(f"M{hundredths(x)} {hundredths(y)}{'l' + run.lstrip() if run else 'h0'}{close}")
        return "".join(strokes)


def _wide_enough(strip: BaseGeometry, least: float) -> BaseGeometry:
    """A strip of true width, or one so wide in metres that it can be seen."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(strip))
    if len(corners) < 5:
        return strip
    sides = corners[1:3] - corners[0:2]
    lengths = np.hypot(*sides.T)
    grown = (least - lengths.min()) / 2
    if grown <= 0 or not lengths.max():
        return strip
    along = sides[np.argmax(lengths)] / lengths.max()
    across = np.array([-along[1], along[0]]) * grown
    places = shapely.get_coordinates(strip)
    return MultiPoint(np.concatenate([places + across, places - across])).convex_hull


def _steps_along(line: LineString, along: Along, box: Polygon) -> list[float]:
    """How far along a line on paper its marks stand, in millimetres: of all from its first point on, those within a
    box."""
    points = shapely.get_coordinates(line)
    before = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    legs = shapely.intersection(shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1)), box)
    places, leg = shapely.get_coordinates(legs, return_index=True)
    reached = (before[leg] + np.hypot(*(places - points[leg]).T)) / along.apart - along.first
    legs_begin = np.flatnonzero(np.diff(leg, prepend=-1))
    if not len(legs_begin):
        return []
    first = np.ceil(np.minimum.reduceat(reached, legs_begin) - 1e-9)
    counts = np.maximum(np.floor(np.maximum.reduceat(reached, legs_begin) + 1e-9) - first + 1, 0).astype(np.int64)
    if counts.sum() > _MOST_MARKS:
        return []
    within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    numbers = np.unique(np.repeat(first, counts) + within)
    steps: list[float] = ((along.first + numbers[numbers >= 0]) * along.apart).tolist()
    return [step for step in steps if step < line.length]


# -- signs that are worked out -----------------------------------------------------------------------------


def arc(sign: Sign, span: Sequence[float]) -> str:
    """A heavy arc between two bearings about a place, a whole ring where all is open."""
    first, last = span
    if last - first >= 360:
        return tag("circle", r=ARC, fill="none", stroke=sign.stroke, stroke_width=sign.weight)
    ends = [(ARC * math.sin(math.radians(turn)), -ARC * math.cos(math.radians(turn))) for turn in (first, last)]
    start, end = (f"{figure(x)} {figure(y)}" for x, y in ends)
    large = int(last - first > 180)
    return path(f"M{start}A{ARC} {ARC} 0 {large} 1 {end}", stroke=sign.stroke, stroke_width=sign.weight)


def half_badge(number: int) -> float:
    """Half the width of a badge with a number."""
    return max(BADGE, advance(str(number), NUMBERS, True) / 2 + 0.8)


def badge(level: str, number: int) -> str:
    """A finding's number: errors white on a black square, warnings in a heavy frame, notes in a thin round one."""
    sign = SIGNS[level]
    half = half_badge(number)
    corner = BADGE if level == "note" else 0.3
    frame = tag("rect", x=-half, y=-BADGE, width=2 * half, height=2 * BADGE, rx=corner, fill=sign.fill,
                stroke=sign.stroke, stroke_width=sign.weight)  # fmt: skip
    colour = WHITE if level == "error" else BLACK
    return frame + words(str(number), y=0.97, font_size=NUMBERS, font_weight="700", text_anchor="middle", fill=colour)
