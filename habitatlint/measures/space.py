"""Distances, sizes and overlaps of anything placed."""

from __future__ import annotations

import numpy as np
import shapely

from habitatlint.ground.columns import Column, Indices, either_estimated
from habitatlint.ground.scene import Scene
from habitatlint.measures.vocabulary import Measured, Rows, measure, shapes


def _nearest(first: Column, second: Column) -> dict[str, object]:
    """The part `place`: the point of the first thing nearest the second."""

    def place(rows: Indices) -> Column:
        lines = shapely.shortest_line(shapes(first)[rows], shapes(second)[rows])
        return Column("place", shapely.get_point(lines, 0))

    return {"place": place}


@measure("distance", ("shape", "shape"), "length", parts={"place": "place"})
def distance(scene: Scene, first: Column, second: Column) -> Measured:
    """How far one thing is from another: between their nearest points, in metres; 0 where they
    touch or overlap. To a path it is to its line. Unknown where either has no place.
    `place` is the point of the first thing nearest the second."""
    sizes = shapely.distance(shapes(first), shapes(second))
    known = np.isfinite(sizes)
    value = Column("length", sizes, None if known.all() else known, either_estimated(first, second),
                   first.why or second.why)  # fmt: skip
    return Measured(value, _nearest(first, second))  # type: ignore[arg-type]


@measure("clear", ("shape", "walks"), "length", parts={"place": "place"})
def clear(scene: Scene, first: Column, walks: Rows) -> Measured:
    """How far a thing is from the edge of a walk, in metres: the distance to its line less half its
    width. Negative where the thing lies on it."""
    table = scene.table(walks.plural)
    line = table.column("shape").take(walks.rows)
    width = table.column("width").take(walks.rows).values
    found = distance(scene, first, line)
    assert isinstance(found, Measured)
    column = Column("length", found.value.values - width / 2, found.value.known, found.value.estimated, found.value.why)
    return Measured(column, found.parts)


@measure("area", ("shape",), "area")
def area(scene: Scene, first: Column) -> Column:
    """The area of a thing, in square metres; 0 for lines and points."""
    return Column("area", shapely.area(shapes(first)), first.known, first.estimated, first.why)


@measure("length", ("shape",), "length")
def length(scene: Scene, first: Column) -> Column:
    """The length of a line, or of an outline all round, in metres; 0 for points."""
    return Column("length", shapely.length(shapes(first)), first.known, first.estimated, first.why)


@measure("covered", ("shape", "shape"), "share")
def covered(scene: Scene, first: Column, second: Column) -> Column:
    """The share of the first thing's ground that the second covers; unknown for a thing without area."""
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = shapely.area(shapely.intersection(shapes(first), shapes(second))) / shapely.area(shapes(first))
    known = np.isfinite(shares)
    return Column("share", shares, None if known.all() else known, None, "a thing has no area")
