"""What a stand looks at, and how much of its walk lies in the core.

Every distance here is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, Indices, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Food, Path, Stand
from habitatlint.measures.core import NO_CORE, core_ground
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.measures.walk import ways_of
from habitatlint.units import TOLERANCE


def _chosen(scene: Scene, stands: Rows) -> list[Stand]:
    every = scene.plan.of(Stand)
    return [every[int(row)] for row in stands.rows]


@measure("to-deer", ("stands",), "length", parts={"place": "place"})
def to_deer(scene: Scene, stands: Rows) -> Measured:
    """How far a stand is from the nearest line of travel or food of any kind, in metres: to the line,
    and to the food's edge; 0 in food. `place` is that nearest place. A neighbour's count, for deer
    that come from there pass. Unknown where neither is placed."""
    lines = [path for path in scene.plan.of(Path) if scene.plan.word(path, "use") == "travel"]
    shapes_ = [shape for one in (*lines, *scene.plan.of(Food)) if (shape := scene.shape_of(one)) is not None]
    places = [scene.shape_of(stand) for stand in _chosen(scene, stands)]
    nearest = np.full(len(places), None, object)
    placed = np.flatnonzero([place is not None for place in places])
    if shapes_ and len(placed):
        here = np.array(places, object)[placed]
        index = shapely.STRtree(shapes_).nearest(here)
        nearest[placed] = shapely.shortest_line(here, np.array(shapes_, object)[index])
    value = column("length", [None if line is None else line.length for line in nearest])

    def place(rows: Indices) -> Column:
        return column("place", [None if line is None else shapely.get_point(line, 1) for line in nearest[rows]])

    return Measured(value, {"place": place})


@measure("shot", ("stands", "length"), "length")
def shot(scene: Scene, stands: Rows, usual: Column) -> Column:
    """How far is shot from a stand, in metres: its `range`, or `usual` where it gives none."""
    ranges = [stand.range for stand in _chosen(scene, stands)]
    pairs = zip(ranges, usual.values, strict=True)
    return column("length", [scene.placer.metres(one) if one else float(most) for one, most in pairs])


@measure("walked-in-core", ("stands",), "length", parts={"place": "place"})
def walked_in_core(scene: Scene, stands: Rows) -> Measured:
    """How much of the walk to a stand or from it lies in the core, in metres: the longer of the two
    ways, each whole. A stand that stands in the core is walked to through at least as much of it as
    lies between the stand and the core's edge, whether a walk is drawn or not. `place` is where
    the walk first comes into the core, or the stand. Unknown where neither boundary nor core is given;
    0 for a stand without a walk that lies outside the core."""
    core = core_ground(scene)
    values: list[float | None] = []
    places: list[BaseGeometry | None] = []
    for stand in _chosen(scene, stands):
        at, ways = scene.shape_of(stand), ways_of(scene, stand)
        if core is None or core.is_empty or at is None:
            values.append(None if core is None and ways else 0.0)
            places.append(None)
            continue
        least = core.boundary.distance(at) if core.covers(at) else 0.0
        parts = [(float(way.intersection(core).length), way) for way in ways]
        most, way = max(parts, key=lambda part: part[0], default=(0.0, None))
        values.append(max(least, most))
        places.append(_enters(way, core) if way is not None and most > TOLERANCE else at)

    def place(rows: Indices) -> Column:
        return column("place", [places[int(row)] for row in rows])

    return Measured(column("length", values, NO_CORE), {"place": place})


def _enters(way: BaseGeometry, core: BaseGeometry) -> Point:
    """The place at which a way first comes into the core."""
    parts = shapely.get_coordinates(way.intersection(core))
    at = shapely.line_locate_point(way, shapely.points(parts))
    return Point(parts[int(np.argmin(at))])
