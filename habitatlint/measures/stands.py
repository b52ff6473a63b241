"""What a stand looks at, and how much of its walk lies in the core.

Every distance here is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Array, Column, Indices, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Food, Path, Stand
from habitatlint.measures.core import NO_CORE, core_ground
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.measures.walk import ways_of
from habitatlint.units import TOLERANCE, YARD

_TOO_FAR = "it is too far from where deer pass to be set nearer without a look at the ground"


def _chosen(scene: Scene, stands: Rows) -> list[Stand]:
    every = scene.plan.of(Stand)
    return [every[int(row)] for row in stands.rows]


@measure("to-deer", ("stands",), "length", parts={"place": "place"})
def to_deer(scene: Scene, stands: Rows) -> Measured:
    """How far a stand is from the nearest line of travel or food of any kind, in metres: to the line,
    and to the food's edge; 0 in food. `place` is that nearest place. A neighbour's count, for deer
    that come from there pass. Unknown where neither is placed."""
    nearest = _to_deer(scene, stands)
    value = column("length", [None if line is None else line.length for line in nearest])

    def place(rows: Indices) -> Column:
        return column("place", [None if line is None else shapely.get_point(line, 1) for line in nearest[rows]])

    return Measured(value, {"place": place})


def _to_deer(scene: Scene, stands: Rows) -> Array:
    """For each stand the shortest line to a line of travel or food; None where either has no place."""
    index = _deer(scene)
    places = [scene.shape_of(stand) for stand in _chosen(scene, stands)]
    nearest = np.full(len(places), None, object)
    placed = np.flatnonzero([place is not None for place in places])
    if len(index) and len(placed):
        here = np.array(places, object)[placed]
        nearest[placed] = shapely.shortest_line(here, index.geometries[index.nearest(here)])
    return nearest


def _deer(scene: Scene) -> shapely.STRtree:
    """Lines of travel and foods, to be asked for the nearest."""
    if "lines of travel and foods" not in scene.memo:
        lines = [path for path in scene.plan.of(Path) if scene.plan.word(path, "use") == "travel"]
        shapes = [shape for one in (*lines, *scene.plan.of(Food)) if (shape := scene.shape_of(one)) is not None]
        scene.memo["lines of travel and foods"] = shapely.STRtree(shapes)
    found: shapely.STRtree = scene.memo["lines of travel and foods"]
    return found


@measure("shot", ("stands", "length"), "length", parts={"nearer": "place"})
def shot(scene: Scene, stands: Rows, usual: Column) -> Measured:
    """How far is shot from a stand, in metres: its `range`, or `usual` where it gives none.

    `nearer` is the place straight toward the nearest line of travel or food from which it is in range, by a yard
    to spare; for a stand from which that is no farther than it shoots, or farther off than that again, unknown."""
    ranges = [stand.range for stand in _chosen(scene, stands)]
    pairs = zip(ranges, usual.values, strict=True)
    reaches = [scene.placer.metres(one) if one else float(most) for one, most in pairs]

    def nearer(rows: Indices) -> Column:
        lines = _to_deer(scene, Rows(stands.plural, stands.rows[rows]))
        found = [
            line.interpolate(line.length - max(reach - YARD, 0.0))
            if line is not None and reach < line.length <= 2 * reach
            else None
            for line, reach in zip(lines, (reaches[row] for row in rows), strict=True)
        ]
        far = any(line is not None for line in lines)
        return column("place", found, _TOO_FAR if far else "the plan draws nothing that deer pass by")

    return Measured(column("length", reaches), {"nearer": nearer})


@measure("walked-in-core", ("stands",), "length", parts={"place": "place", "edge": "place"})
def walked_in_core(scene: Scene, stands: Rows) -> Measured:
    """How much of the walk to a stand or from it lies in the core, in metres: the longer of the two
    ways, each whole. A stand that stands in the core is walked to through at least as much of it as
    lies between the stand and the core's edge, whether a walk is drawn or not. `place` is where
    the walk first comes into the core, or the stand; `edge` the place at the core's edge to which the stand could go
    back: where the walk first comes in, or without one a yard beyond the nearest. Unknown where neither boundary
    nor core is given; 0 for a stand without a walk that lies outside the core."""
    core = core_ground(scene)
    values: list[float | None] = []
    places: list[BaseGeometry | None] = []
    edges: list[BaseGeometry | None] = []
    for stand in _chosen(scene, stands):
        at, ways = scene.shape_of(stand), ways_of(scene, stand)
        if core is None or core.is_empty or at is None:
            values.append(None if core is None and ways else 0.0)
            places.append(None)
            edges.append(None)
            continue
        least = core.boundary.distance(at) if core.covers(at) else 0.0
        parts = [(float(way.intersection(core).length), way) for way in ways]
        most, way = max(parts, key=lambda part: part[0], default=(0.0, None))
        values.append(max(least, most))
        walked = way is not None and most > TOLERANCE
        places.append(_enters(way, core) if walked else at)
        edges.append(places[-1] if walked else _beyond(core, at))

    def part(of: list[BaseGeometry | None]) -> Callable[[Indices], Column]:
        return lambda rows: column("place", [of[int(row)] for row in rows])

    return Measured(column("length", values, NO_CORE), {"place": part(places), "edge": part(edges)})


def _beyond(core: BaseGeometry, at: Point) -> Point:
    """The place a yard beyond the core's edge, straight from a place in it."""
    edge = shapely.shortest_line(at, core.boundary)
    start, end = shapely.get_coordinates(edge)
    far = float(np.hypot(*(end - start)))
    return Point(end + (end - start) / far * YARD) if far > TOLERANCE else Point(end)


def _enters(way: BaseGeometry, core: BaseGeometry) -> Point:
    """The place at which a way first comes into the core."""
    parts = shapely.get_coordinates(way.intersection(core))
    at = shapely.line_locate_point(way, shapely.points(parts))
    return Point(parts[int(np.argmin(at))])
