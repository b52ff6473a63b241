"""Lines of travel: where they end, and tops that lie in the deer's way.

Distances here are limits of rules, common practice, no source.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, Indices, Mask, column, distinct
from habitatlint.ground.cuts import LAYING
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Path
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.units import TOLERANCE


def _lines_of_travel(scene: Scene) -> list[tuple[LineString, float]]:
    """The lines of travel and their widths, in metres."""
    return [
        (shape, scene.width_of(path))
        for path in scene.plan.of(Path)
        if scene.plan.word(path, "use") == "travel" and isinstance(shape := scene.shape_of(path), LineString)
    ]


@measure("toward-travel", ("trees", "length"), "truth")
def toward_travel(scene: Scene, trees: Rows, near: Column) -> Column:
    """Whether a fallen tree's top lies within a distance of a line of travel and its middle nearer
    the line than the stump is, or whether the tree lies on the line's width.

    The middle of the top and not its edge is compared, so that a tree laid along the line, whose
    crown is a little wide, is not taken for one laid toward it. Unknown for a tree that is to be laid
    and has no `fall`; no for one that does not lie."""
    cut, rows = scene.trees, trees.rows
    found = np.zeros(len(rows), bool)
    for reach in distinct(near.values.astype(float)):
        asked = near.values == reach
        found[asked] = _toward(scene, float(reach))[rows[asked]]
    unsaid = unsaid_falls(scene)[rows]
    return Column("truth", found & cut.lies[rows], ~unsaid if unsaid.any() else None, None, "no `fall` is given")


def unsaid_falls(scene: Scene) -> Mask:
    """For every tree whether it is to be laid and has no `fall`; one whose `fall` is written and leads nowhere
    is none, for a slip has told it."""
    cut = scene.trees
    found = np.isin(cut.method, LAYING) & cut.counted & ~np.isfinite(cut.bearing)
    if found.any():
        written = np.array([scene.plan.gives(block, "fall") for block in cut.blocks], bool)
        found &= ~written[cut.block]
    return np.asarray(found)


def _toward(scene: Scene, near: float) -> Mask:
    """For every tree whether it lies toward a line of travel; lines and trees by the index."""
    found = scene.memo.get(("toward travel", near))
    if found is None:
        cut = scene.trees
        found = np.zeros(len(cut), bool)
        for line, width in _lines_of_travel(scene):
            rows = np.sort(cut.fallen_index.query(line, predicate="dwithin", distance=max(near, width / 2) + TOLERANCE))
            tops, stumps = cut.top[rows], cut.stump[rows]
            nearer = shapely.distance(shapely.centroid(tops), line) < shapely.distance(stumps, line) - TOLERANCE
            close = shapely.distance(tops, line) <= near + TOLERANCE
            on = shapely.distance(cut.fallen[rows], line) <= width / 2
            found[rows[(nearer & close) | on]] = True
        scene.memo[("toward travel", near)] = found
    return np.asarray(found)


def _pairs(scene: Scene, paths: Rows, foods: Rows) -> list[tuple[BaseGeometry | None, BaseGeometry | None]]:
    lines = scene.table(paths.plural).column("shape").values
    fields = scene.table(foods.plural).column("shape").values
    return [(lines[path], fields[food]) for path, food in zip(paths.rows, foods.rows, strict=True)]


def _lengths(values: list[float | None]) -> Column:
    sizes = np.array([np.nan if value is None else value for value in values], float)
    known = np.isfinite(sizes)
    return Column("length", sizes, None if known.all() else known)


@measure("end-gap", ("paths", "foods"), "length", parts={"place": "place"})
def end_gap(scene: Scene, paths: Rows, foods: Rows) -> Measured:
    """How far the nearer end of a path is from a food, in metres; 0 for an end in it. `place` is that
    end; the first one where both are as near."""
    values: list[float | None] = []
    places = np.full(len(paths), None, object)
    for index, (line, field) in enumerate(_pairs(scene, paths, foods)):
        if line is None or field is None:
            values.append(None)
            continue
        ends = shapely.points([line.coords[0], line.coords[-1]])
        gaps = shapely.distance(ends, field)
        places[index] = ends[int(np.argmin(gaps))]
        values.append(float(gaps.min()))
    return Measured(_lengths(values), {"place": lambda rows: Column("place", places[rows])})


@measure("inside", ("paths", "foods"), "length")
def inside(scene: Scene, paths: Rows, foods: Rows) -> Column:
    """The length of a path that runs inside a food, in metres."""
    values = [
        None if line is None or field is None else float(line.intersection(field).length)
        for line, field in _pairs(scene, paths, foods)
    ]
    return _lengths(values)


@measure("onward", ("paths", "foods"), "length")
def onward(scene: Scene, paths: Rows, foods: Rows) -> Column:
    """How far a path runs on past a food, in metres: the shorter of its two parts beyond the food's own
    edge, or, where it runs by without touching it, beyond its place nearest the food."""
    values: list[float | None] = []
    for line, field in _pairs(scene, paths, foods):
        if line is None or field is None:
            values.append(None)
            continue
        met = line.intersection(field)
        if met.is_empty:  # a line along an edge is near it for a stretch, one at a corner in a point
            # a hair more than the distance: a centimetre more would reach on round a corner
            near = field.buffer(line.distance(field) + 1e-6, quad_segs=32)
            point = shapely.get_point(shapely.shortest_line(line, field), 0)
            met = shapely.geometrycollections([line.intersection(near), point])
        places = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(met)))
        values.append(float(min(places.min(), line.length - places.max())))
    return _lengths(values)


@measure("to-travel", ("pockets",), "length", parts={"place": "place"})
def to_travel(scene: Scene, pockets: Rows) -> Measured:
    """How far a pocket is from the nearest line of travel, in metres; 0 where one touches it. `place` is
    the place of the pocket nearest that line. Unknown where no line of travel is placed."""
    lines = np.array([line for line, _ in _lines_of_travel(scene)], object)
    grounds = scene.table(pockets.plural).column("shape").values[pockets.rows]
    nearest = np.full(len(pockets), None, object)
    placed = np.array([ground is not None for ground in grounds], bool)
    if len(lines) and placed.any():
        index = shapely.STRtree(lines).nearest(grounds[placed])
        nearest[placed] = shapely.shortest_line(grounds[placed], lines[index])
    value = _lengths([None if line is None else float(line.length) for line in nearest])

    def place(rows: Indices) -> Column:
        return Column("place", shapely.get_point(nearest[rows], 0))

    return Measured(value, {"place": place})


@measure(
    "laid-toward",
    ("cuttings", "length", "angle"),
    "share",
    parts={
        "place": "place", "some": "count", "all": "count", "first": "thing:trees", "toward": "things:trees",
        "line": "thing:paths",
    },
)  # fmt: skip
def laid_toward(scene: Scene, cuttings: Rows, near: Column, leaning: Column) -> Measured:
    """The share of a cutting's hinges that are laid toward a line of travel, as `toward-travel` tells it
    by `near`; stems that lean `leaning` or more are not counted among them, and a tree in no pocket and
    no row only where it lies on the line's width.

    `some` is how many they are, `all` how many hinges there are, `toward` they themselves, `first` the first
    of them, `place` its stump and `line` the line of travel nearest it. Unknown where a hinge that counts has no
    `fall`; the share also where there are no hinges."""
    table, cut, unsaid = scene.table(cuttings.plural), scene.trees, unsaid_falls(scene)
    hinges, single = table.column("hinges").values, table.column("single").values
    some, every = np.zeros(len(cuttings)), np.zeros(len(cuttings))
    known = np.zeros(len(cuttings), bool)
    first = np.full(len(cuttings), -1, np.intp)
    toward_it = np.full(len(cuttings), None, object)
    for index, row in enumerate(cuttings.rows):
        rows = hinges[row]
        toward = _toward(scene, 0.0 if single[row] else float(near.values[index]))[rows] & cut.lies[rows]
        upright = cut.lean[rows] < leaning.values[index] - 1e-9
        laid = toward & upright & ~unsaid[rows]
        some[index], every[index], toward_it[index] = laid.sum(), len(rows), rows[laid]
        known[index] = not (unsaid[rows] & upright).any()
        if laid.any():
            first[index] = rows[laid][0]
    shares = some / np.maximum(every, 1)

    def place(rows: Indices) -> Column:
        return column("place", [cut.stump[one] if one >= 0 else None for one in first[rows]])

    def line(rows: Indices) -> Column:
        paths = [
            (row, shape) for row, path in enumerate(scene.plan.of(Path))
            if scene.plan.word(path, "use") == "travel" and (shape := scene.shape_of(path)) is not None
        ]  # fmt: skip
        nearest = [
            min(paths, key=lambda one: one[1].distance(cut.stump[tree]))[0] if tree >= 0 and paths else None
            for tree in first[rows]
        ]
        return column("thing:paths", nearest)

    return Measured(
        Column("share", shares, known & (every > 0), None, "no `fall` is given"),
        {
            "place": place,
            "line": line,
            "toward": lambda rows: Column("things:trees", toward_it[rows]),
            "first": lambda rows: Column("thing:trees", first[rows], first[rows] >= 0),
            "some": lambda rows: Column("count", some[rows], known[rows], None, "no `fall` is given"),
            "all": lambda rows: Column("count", every[rows]),
        },
    )
