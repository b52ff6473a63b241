"""Ways sawn through what lies: openings and corridors.

Sizes are common practice, no source.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Array
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Opening, Path, Pocket
from habitatlint.measures.free_ground import grown
from habitatlint.reading.grammar import Statement
from habitatlint.units import FOOT, TOLERANCE, YARD

#: an opening is sawn at most this far each way
OPENING_REACH = 15 * YARD
#: a corridor that stops in a top is sawn on through it, at most this far
CORRIDOR_REACH = 5 * YARD


class Strip(NamedTuple):
    """A way sawn through what lies: its middle line, its width in metres, and the opening, path or pocket that
    says so."""

    line: LineString
    width: float
    block: Block


def sawn(scene: Scene, way: float) -> list[Strip]:
    """The openings and corridors that are a way wide or more.

    An opening is a cut of its width through its place, along `toward`, both ways until all its width
    (or a way's, if that is more) stands clear of what bars, 15 yd at most each way. Where its place
    is clear it first runs along `toward` to the first barrier within 15 yd. A corridor runs along its line,
    and on at an end that stops in a top where it comes clear of it within 5 yd: nobody leaves the last tip."""
    key = ("sawn", round(way, 4))
    found = scene.memo.get(key)
    if found is None:
        found = scene.memo[key] = [*_openings(scene, way), *_corridors(scene, way)]
    return list(found)


def strips(scene: Scene, way: float) -> list[BaseGeometry]:
    """The strips of `sawn`, in their full width, as polygons."""
    key = ("strips", round(way, 4))
    found = scene.memo.get(key)
    if found is None:
        found = scene.memo[key] = [strip.line.buffer(strip.width / 2, cap_style="flat") for strip in sawn(scene, way)]
    return found


def _corridors(scene: Scene, way: float) -> list[Strip]:
    cut: list[Strip] = []
    for path in scene.plan.of(Path):
        line, width = scene.shape_of(path), scene.width_of(path)
        wide = width >= way - TOLERANCE
        if isinstance(line, LineString) and scene.plan.word(path, "use") == "corridor" and wide:
            cut.append(Strip(_sawn_clear(scene, line, max(way, width)), width, path))
    for pocket, lines in zip(scene.plan.of(Pocket), scene.corridors, strict=True):
        for statement, line in lines:
            width = corridor_width(scene, statement)
            if width >= way - TOLERANCE:
                cut.append(Strip(_sawn_clear(scene, line, max(way, width)), width, pocket))
    return cut


def _sawn_clear(scene: Scene, line: LineString, wide: float) -> LineString:
    """A corridor's line, run on straight at each end that stops in what bars, if it comes clear within 5 yd."""
    points = shapely.get_coordinates(line)
    start, end = _clear_end(scene, points[1], points[0], wide), _clear_end(scene, points[-2], points[-1], wide)
    return LineString([*start, *points, *end])


def _clear_end(scene: Scene, before: Array, end: Array, wide: float) -> list[Array]:
    """Where beyond its end a line over a width stands clear of what bars; none where it does so at its end, or
    not within 5 yd."""
    run = end - before
    if np.hypot(*run) <= TOLERANCE:
        return []
    along = run / np.hypot(*run)
    ahead = LineString([end, end + along * CORRIDOR_REACH])
    stopped = [last for first, last in _runs(ahead, _barred(scene, ahead, wide)) if first <= TOLERANCE]
    clear = max(stopped, default=0.0)
    return [end + along * clear] if TOLERANCE < clear < CORRIDOR_REACH - TOLERANCE else []


def corridor_width(scene: Scene, statement: Statement) -> float:
    """How wide a line `corridors every ...` has them, in metres; 3 ft where it does not say."""
    lengths = [value for value in statement.values if value.kind in ("length", "number")]
    return scene.placer.metres(lengths[1]) if len(lengths) > 1 else 3 * FOOT


def _openings(scene: Scene, way: float) -> list[Strip]:
    cut: list[Strip] = []
    for opening in scene.plan.of(Opening):
        place = scene.shape_of(opening)
        width = opening.width
        if not isinstance(place, Point) or width is None or not scene.plan.counted(opening):
            continue
        wide = scene.placer.metres(width)
        if wide >= way - TOLERANCE and (line := _opening(scene, opening, place, max(way, wide))) is not None:
            cut.append(Strip(line, wide, opening))
    return cut


def _opening(scene: Scene, opening: Opening, place: Point, wide: float) -> LineString | None:
    """The middle line of an opening, which is to stand clear over a width."""
    toward = opening.toward
    here = np.array([place.x, place.y])
    if toward is None or toward.kind == "name":
        goal = scene.plan.names.get(str(toward.value)) if toward is not None else None
        shape = scene.shape_of(goal) if goal is not None else _nearest_edge(scene, place)
        if shape is None:
            return None
        there = np.array(shapely.shortest_line(place, shape).coords[-1])
        if np.hypot(*(there - here)) <= TOLERANCE:
            there = np.array(shape.centroid.coords[0])
        run = there - here
        if np.hypot(*run) <= TOLERANCE:
            return None
        along = run / np.hypot(*run)
    else:
        along = ahead_of(scene.placer.bearing(opening, toward))
    line = LineString([here - along * OPENING_REACH, here + along * 2 * OPENING_REACH])
    runs = sorted(_runs(line, _barred(scene, line, wide)))
    start = OPENING_REACH
    for first, last in runs:
        if first - TOLERANCE <= start <= last + TOLERANCE:
            return _part(here, along, max(first, 0.0), min(last, 2 * OPENING_REACH))
    for first, last in runs:
        if start < first <= 2 * OPENING_REACH:
            return _part(here, along, start, min(last, first + OPENING_REACH))
    return None


def _nearest_edge(scene: Scene, place: Point) -> BaseGeometry | None:
    """The outline of the pocket a place stands in."""
    for pocket in scene.plan.of(Pocket):
        shape = scene.shape_of(pocket)
        if isinstance(shape, Polygon) and shape.covers(place):
            return shape.exterior
    return None


def _barred(scene: Scene, line: LineString, wide: float) -> BaseGeometry:
    """Where what bars leaves no room for a width, by a line: grown as free ground has it and a centimetre more,
    so that what is sawn to its edge comes out into free ground."""
    near = np.sort(scene.trees.barrier_index.query(line, predicate="dwithin", distance=wide))
    return shapely.union_all(grown(scene.trees.barrier[near], wide / 2 + TOLERANCE))


def _runs(line: LineString, barred: BaseGeometry) -> list[tuple[float, float]]:
    """The stretches of a line that lie in what bars, as distances from its first point."""
    found = []
    for part in shapely.get_parts(line.intersection(barred)):
        if isinstance(part, LineString) and not part.is_empty:
            ends = shapely.line_locate_point(line, shapely.points(part.coords))
            found.append((float(ends.min()), float(ends.max())))
    return found


def _part(here: Array, along: Array, first: float, last: float) -> LineString:
    return LineString([here + along * (first - OPENING_REACH), here + along * (last - OPENING_REACH)])


def ahead_of(bearing: float) -> Array:
    """The unit vector of a bearing in degrees."""
    turned = math.radians(bearing)
    return np.array([math.sin(turned), math.cos(turned)])
