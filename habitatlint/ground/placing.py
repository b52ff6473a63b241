"""Puts what is written on the ground: points, lines and outlines in metres.

Where the text names something that has no place, or an outline that cannot be,
it is a slip, and the thing is placed nowhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.validation import explain_validity

from habitatlint.findings import Fact, Related, Slip
from habitatlint.ground import survey
from habitatlint.ground.frame import Frame, FrameUnavailable, declination
from habitatlint.language.blocks import PLACED, Block
from habitatlint.language.plan import PlanText
from habitatlint.reading.grammar import Statement
from habitatlint.reading.values import Around, Beside, EarthPoint, Station, Traverse, Written
from habitatlint.units import TOLERANCE, UNITS, YARD

#: a traverse that comes this near its start, as a share of its length, was meant to close
MEANT_TO_CLOSE = 0.05
#: one that ends farther off than this was never meant to come back by itself
LEFT_OPEN = 0.2
#: farther than this from its anchor, in metres, a point is no part of the property
MOST_DISTANT = 100_000.0
#: most points of one line or outline
MOST_POINTS = 20_000
#: most parcels and holes of one boundary
MOST_PARCELS = 1_000
#: so many things whose places hang on one another in turn are placed, where the last is not placed yet
MOST_IN_TURN = 50
#: a way's width where none is given, by its use, in metres
WIDTHS = {"entry": 2 * YARD, "exit": 2 * YARD, "travel": YARD, "vehicle": 4 * YARD, "corridor": YARD}


class _Nowhere(Exception):
    """What is written cannot be placed; the slip has told it, or a slip of reading has."""


class Placer:
    """Works out the place of every block of a plan, each once, in metres of one flat frame."""

    def __init__(self, plan: PlanText) -> None:
        self.plan = plan
        self.unit = UNITS[plan.units][1]
        self.slips: list[Slip] = []
        #: blocks whose outline is written clockwise, by identity: its shape runs the other way round
        self.clockwise: set[int] = set()
        self._shapes: dict[int, Any] = {}
        self._underway: set[int] = set()
        self.frame = self._frame()
        self.to_true = self._to_true()

    # -- the frame -----------------------------------------------------------------------------

    def _frame(self) -> Frame | None:
        head = self.plan.head
        anchor = head.anchor if head else None
        return Frame(*anchor.value) if anchor else None

    def _to_true(self) -> float:
        """Degrees to add to a written bearing to have it from true north."""
        head = self.plan.head
        if head is None or self.plan.word(head, "north", "true") == "true":
            return 0.0
        written = head.declination
        if written is not None and written.kind == "declination":
            return float(written.value)
        day = head.date
        if self.frame is not None and day is not None:
            try:
                return declination(self.frame.latitude, self.frame.longitude, day.value)
            except FrameUnavailable as error:
                if "declination" not in head.parsed.broken:
                    self._slip("bad-value", head, written or head.north, why=str(error))
                return 0.0
        if head.parsed.broken & {"declination", "anchor", "date"}:
            return 0.0  # what is missing may stand on the broken line, and that is told
        need = "`declination` such as `2.5W`, or `declination computed` with `anchor` and `date`"
        self._slip("missing-property", head, written or head.north, expected=need)
        return 0.0

    def true(self, degrees: float) -> float:
        """A written bearing from true north."""
        return (degrees + self.to_true) % 360

    def metres(self, length: Written) -> float:
        return float(length.value.size_in(self.plan.units))

    # -- slips ---------------------------------------------------------------------------------

    def _slip(self, kind: str, block: Block, at: Written | Statement | None, **facts: Any) -> None:
        self.slips.append(Slip(kind, block.span(at), thing=block.label, name=block.name, **facts))

    # -- shapes --------------------------------------------------------------------------------

    def shape(self, block: Block) -> Any:
        """A block's geometry in metres, or None where it has no place. Each slip is told once."""
        key = id(block)
        if key in self._shapes:
            return self._shapes[key]
        if key in self._underway:
            why = f"the place of `{block.name}` leads back to itself"
            self._slip("bad-value", block, None, why=why)
            return None
        if len(self._underway) >= MOST_IN_TURN:
            why = f"more than {MOST_IN_TURN} places hang on one another down to this one"
            why += ": write those first that others hang on"
            self._slip("bad-value", block, None, why=why)
            self._shapes[key] = None
            return None
        self._underway.add(key)
        try:
            shape = self._shape(block)
        except _Nowhere:
            shape = None
        finally:
            self._underway.discard(key)
        self._shapes[key] = shape
        return shape

    def _shape(self, block: Block) -> Any:
        if block.broken:
            return None
        if block.noun == "tree" and block.first("of") is not None:
            return None  # it stands where its row lays it
        outlines = block.all("outline")
        if outlines:
            # only the boundary may have several; a second elsewhere is a slip, and the first counts
            repeats = block.properties["outline"].repeats
            return self._outlines(block, outlines if repeats else outlines[:1])
        for word in ("line", "stumps"):
            statement = block.first(word)
            if statement is not None:
                return self._line(block, statement)
        statement = block.first("at")
        if statement is not None:
            point = Point(self.point(block, statement.values[0]))
            radius = block.first("radius")
            if radius is not None:
                return point.buffer(self._positive(block, radius.values[0]), quad_segs=16)
            return point
        return None

    def _positive(self, block: Block, length: Written) -> float:
        metres = self.metres(length)
        if metres <= 0:
            self._slip("bad-value", block, length, why="a length here is more than nothing")
            raise _Nowhere
        return metres

    def named(self, block: Block, name: Written) -> Any:
        """The shape of the thing that a name stands for."""
        shape = self.reached(block, name)
        if shape is None:
            raise _Nowhere
        return shape

    def reached(self, block: Block, name: Written) -> Any:
        """The shape of the thing that a name stands for, or None; told where it can have no place."""
        thing = self.plan.names.get(str(name.value))
        if thing is None or thing.noun not in PLACED:
            return None
        shape = self.shape(thing)
        if shape is None and not any(thing.has(word) for word in ("outline", "line", "stumps", "at")):
            self._slip("bad-value", block, name, why=f"`{name.value}` has no place of its own in the plan")
        return shape

    def _way(self, block: Block, name: Written) -> LineString:
        shape = self.named(block, name)
        if not isinstance(shape, LineString):
            self._slip("bad-value", block, name, why=f"`{name.value}` is no line")
            raise _Nowhere
        return shape

    def point(self, block: Block, place: Written) -> tuple[float, float]:
        """A point, an earth point or a place on a way, in metres east and north."""
        if place.kind == "point":
            return place.value.east * self.unit, place.value.north * self.unit
        if place.kind == "earth":
            return self._earth(block, place, place.value)
        station: Station = place.value
        return self._on(block, self._way(block, station.way), place, self.metres(station.distance))

    def _on(self, block: Block, way: LineString, place: Written, distance: float) -> tuple[float, float]:
        """The place so far along a way; told where the way does not reach so far."""
        try:
            return survey.along(way, distance)
        except survey.Unplaceable as error:
            self._slip("bad-value", block, place, why=error.said(self.plan.units))
            raise _Nowhere from None

    def _earth(self, block: Block, place: Written, point: EarthPoint) -> tuple[float, float]:
        if self.frame is None:
            self._slip("bad-value", block, place, why="a point in degrees needs `anchor` in the plan's head")
            raise _Nowhere
        try:
            east, north = self.frame.to_local(point.latitude, point.longitude)
        except FrameUnavailable as error:
            self._slip("bad-value", block, place, why=str(error))
            raise _Nowhere from None
        if not math.hypot(east, north) <= MOST_DISTANT:  # not a number is no distance either
            self._slip("bad-value", block, place, why="this point is too far from the plan's anchor")
            raise _Nowhere
        return float(east), float(north)

    def points(self, block: Block, places: Iterable[Written]) -> list[tuple[float, float]]:
        """Those of several places that can be placed."""
        placed = []
        for place in places:
            try:
                placed.append(self.point(block, place))
            except _Nowhere:
                continue
        return placed

    def bearing(self, block: Block, written: Written) -> float:
        """A written bearing, from true north."""
        return self.true(written.value.degrees)

    def _pieces(self, block: Block, statement: Statement) -> list[tuple[float, float]]:
        """The points of a line, its pieces one after another."""
        points: list[tuple[float, float]] = []
        for piece in statement.values:
            if piece.kind == "traverse":
                points += self._traverse(block, piece.value)
            elif piece.kind == "beside":
                points += self._beside(block, piece, piece.value)
            elif piece.kind == "around":
                points += self._around(block, piece, piece.value)
            else:
                points.append(self.point(block, piece))
        if len(points) > MOST_POINTS:
            self._slip("bad-value", block, statement, why=f"more than {MOST_POINTS} points in one line")
            raise _Nowhere
        return points

    def _traverse(self, block: Block, traverse: Traverse) -> list[tuple[float, float]]:
        legs = [(self.bearing(block, bearing), self.metres(length)) for bearing, length in traverse.legs]
        walked = survey.walk(self.point(block, traverse.start), legs)
        return [(float(east), float(north)) for east, north in walked]

    def _beside(self, block: Block, piece: Written, beside: Beside) -> list[tuple[float, float]]:
        way = self._way(block, beside.way)
        for stretch in (beside.start, beside.end):
            if stretch is not None:
                self._on(block, way, stretch, self.metres(stretch))
        start = 0.0 if beside.start is None else self.metres(beside.start)
        end = None if beside.end is None else self.metres(beside.end)
        try:
            parallel = survey.beside(way, beside.side, self.metres(beside.offset), start, end)  # type: ignore[arg-type]
        except survey.Unplaceable as error:
            self._slip("bad-value", block, piece, why=error.said(self.plan.units))
            raise _Nowhere from None
        return [(float(east), float(north)) for east, north in shapely.get_coordinates(parallel)]

    def _around(self, block: Block, piece: Written, around: Around) -> list[tuple[float, float]]:
        try:
            grown = survey.around(self.named(block, around.thing), self.metres(around.distance))
        except survey.Unplaceable as error:
            self._slip("bad-value", block, piece, why=error.said(self.plan.units))
            raise _Nowhere from None
        ring = shapely.get_coordinates(grown.exterior)
        return [(float(east), float(north)) for east, north in ring]

    def _line(self, block: Block, statement: Statement) -> LineString:
        points = self._pieces(block, statement)
        distinct = _without_repeats(points)
        if len(distinct) < 2:
            self._slip(
                "open-outline",
                block,
                statement,
                why=f"a line needs two points; this one has {len(distinct)}",
                size=Fact(len(distinct), "count"),
            )
            raise _Nowhere
        return LineString(distinct)

    # -- outlines ------------------------------------------------------------------------------

    def _outlines(self, block: Block, statements: tuple[Statement, ...]) -> Polygon | MultiPolygon:
        """One outline; of several, each is a parcel, and one inside another a hole."""
        if len(statements) > MOST_PARCELS:
            why = f"more than {MOST_PARCELS:,} outlines in one {block.noun}"
            self._slip("bad-value", block, statements[MOST_PARCELS], why=why)
            raise _Nowhere
        drawn: list[Polygon] = []
        #: what is drawn, by its bounds: two that are the same have the same
        alike: dict[tuple[float, ...], list[tuple[Polygon, Statement]]] = {}
        for statement in statements:
            try:
                polygon = self._outline(block, statement)
            except _Nowhere:
                continue
            known = alike.setdefault(polygon.bounds, [])
            first = next((before for other, before in known if polygon.equals(other)), None)
            if first is None:
                known.append((polygon, statement))
                drawn.append(polygon)
            else:
                self._slip("name-used-twice", block, statement, found="outline", why="it is a parcel that stands above",
                           related=(Related(block.span(first), "the parcel"),))  # fmt: skip
        if not drawn:
            raise _Nowhere
        return _ground_of(drawn)

    def _outline(self, block: Block, statement: Statement) -> Polygon:
        points = self._pieces(block, statement)
        traverses = [piece for piece in statement.values if piece.kind == "traverse"]
        if len(traverses) == len(statement.values) == 1:
            points = self._closed_traverse(block, statement, points)
        distinct = _without_repeats(points)
        if len(distinct) > 1 and math.dist(distinct[0], distinct[-1]) <= TOLERANCE:
            distinct = distinct[:-1]
        if len(distinct) < 3:
            why = f"an outline needs three points; this one has {len(distinct)}"
            self._slip("open-outline", block, statement, why=why)
            raise _Nowhere
        polygon = Polygon(distinct)
        if not polygon.is_valid:
            self._crossed(block, statement, polygon)
        if polygon.area <= TOLERANCE * polygon.length:
            self._slip("open-outline", block, statement, why="its points lie on one line and enclose nothing")
            raise _Nowhere
        self._repeats(block, statement, points)
        if polygon.exterior.is_ccw:
            return polygon
        self.clockwise.add(id(block))
        return polygon.reverse()

    def _crossed(self, block: Block, statement: Statement, polygon: Polygon) -> None:
        ring = polygon.exterior
        if ring.convex_hull.area <= TOLERANCE * ring.length:
            self._slip("open-outline", block, statement, why="its points lie on one line and enclose nothing")
            raise _Nowhere
        reason = explain_validity(polygon)
        place = None
        if "[" in reason:
            east, north = reason[reason.index("[") + 1 : reason.index("]")].split()[:2]
            place = (float(east), float(north))
        self._slip("crossed-outline", block, statement, place=place)
        raise _Nowhere

    def _repeats(self, block: Block, statement: Statement, points: list[tuple[float, float]]) -> None:
        """A point typed twice in a row is a slip that changes nothing; told once a line."""
        if any(piece.kind not in ("point", "earth") for piece in statement.values):
            return
        pairs = zip(points, points[1:], statement.values[1:], strict=False)
        again = [piece for first, second, piece in pairs if first == second]
        if again:
            more = f", and so do {len(again) - 1} more" if len(again) > 1 else ""
            self._slip("bad-value", block, again[0], why=f"this point repeats the one before it{more}")

    def _closed_traverse(
        self, block: Block, statement: Statement, points: list[tuple[float, float]]
    ) -> list[tuple[float, float]]:
        """An outline walked back to its start is closed by the compass rule, and its misclosure told."""
        if len(points) < 4:
            return points
        closure = survey.close(np.array(points))
        if closure.misclosure > LEFT_OPEN * closure.perimeter:
            return points  # the last leg was left out: the outline closes itself
        adjusts = closure.misclosure <= MEANT_TO_CLOSE * closure.perimeter
        if closure.misclosure > TOLERANCE:
            how = "is closed by the compass rule" if adjusts else "is closed by a straight side: look at every leg"
            self._slip(
                "traverse-misclosure", block, statement, size=Fact(closure.misclosure, "length"),
                found=f"1:{round(closure.precision)}", why=how,
            )  # fmt: skip
        if not adjusts:
            return points
        return [(float(east), float(north)) for east, north in closure.points]


def _ground_of(outlines: list[Polygon]) -> Polygon | MultiPolygon:
    """What outlines enclose, the largest first: one on ground already enclosed is a hole, any other a parcel."""
    first, *others = sorted(outlines, key=lambda outline: -outline.area)
    parts = np.array([first], object)  # apart from one another, so that each outline concerns few of them
    for outline in others:
        around = np.flatnonzero(shapely.covers(parts, outline))[:1]
        touched = around if len(around) else np.flatnonzero(shapely.intersects(parts, outline))
        changed = (
            shapely.difference(parts[around[0]], outline)
            if len(around)
            else shapely.union_all([outline, *parts[touched]])
        )
        parts = np.concatenate([np.delete(parts, touched), shapely.get_parts([changed])])
    return shapely.union_all(parts) if len(parts) > 1 else parts[0]


def _without_repeats(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    kept: list[tuple[float, float]] = []
    for point in points:
        if not kept or point != kept[-1]:
            kept.append(point)
    return kept
