"""Lines of travel: where they end, and tops that lie in the deer's way.

Distances here are limits of rules, common practice, no source.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, Mask, distinct
from habitatlint.ground.cuts import LAYING
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Path
from habitatlint.measures.vocabulary import Rows, measure
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
    unsaid = np.isin(cut.method[rows], LAYING) & cut.counted[rows] & ~np.isfinite(cut.bearing[rows])
    return Column("truth", found & cut.lies[rows], ~unsaid if unsaid.any() else None, None, "no `fall` is given")


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


@measure("end-gap", ("paths", "foods"), "length")
def end_gap(scene: Scene, paths: Rows, foods: Rows) -> Column:
    """How far the nearer end of a path is from a food, in metres; 0 for an end in it."""
    values: list[float | None] = []
    for line, field in _pairs(scene, paths, foods):
        if line is None or field is None:
            values.append(None)
        else:
            ends = shapely.points([line.coords[0], line.coords[-1]])
            values.append(float(shapely.distance(ends, field).min()))
    return _lengths(values)


@measure("inside", ("paths", "foods"), "length")
def inside(scene: Scene, paths: Rows, foods: Rows) -> Column:
    """The length of a path that runs inside a food, in metres."""
    values = [
        None if line is None or field is None else float(line.intersection(field).length)
        for line, field in _pairs(scene, paths, foods)
    ]
    return _lengths(values)


@measure("onward", ("paths", "foods", "length"), "length")
def onward(scene: Scene, paths: Rows, foods: Rows, near: Column) -> Column:
    """How far a path runs on past a food, in metres: the shorter of its two parts beyond the places
    within `near` of the food. The whole length for a path that never comes so near."""
    values: list[float | None] = []
    for (line, field), reach in zip(_pairs(scene, paths, foods), near.values, strict=True):
        if line is None or field is None:
            values.append(None)
            continue
        touching = line.intersection(field.buffer(reach, quad_segs=32))
        if touching.is_empty:
            values.append(float(line.length))
            continue
        places = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(touching)))
        values.append(float(min(places.min(), line.length - places.max())))
    return _lengths(values)
