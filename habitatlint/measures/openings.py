"""Ways sawn through what lies: openings and corridors.

In a design all of them will be sawn, through all that lies then. In a plan of the ground as built a way opens
what the wind threw only where it was sawn afterwards. Nobody writes down which storm threw a tree, so each may be
the last one's: a corridor goes through what was thrown where its path, or its pocket, is `done` on a day that no
storm of the plan follows, and the plan tells of a storm; an opening, which is drawn through what lies, unless a
storm follows the day on which it was done. All of them go through what was cut.

Sizes are common practice, no source.
"""

from __future__ import annotations

import math
from datetime import date
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Array, Mask
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Opening, Path, Pocket, Storm
from habitatlint.measures.free_ground import grown
from habitatlint.reading.grammar import Statement
from habitatlint.units import FOOT, TOLERANCE, YARD

#: an opening is sawn at most this far each way
OPENING_REACH = 15 * YARD
#: a corridor that stops in a top is sawn on through it, at most this far
CORRIDOR_REACH = 5 * YARD
#: how trees come down, or hang, that no work of the plan has laid
THROWN = ("blown", "down", "hung")


class Strip(NamedTuple):
    """A way sawn through what lies: its middle line, its width in metres, the opening, path or pocket that
    says so, and whether it goes through what the wind threw as well."""

    line: LineString
    width: float
    block: Block
    through: bool = True


class Strips(NamedTuple):
    """Strips in their full width, as n polygons, and which of them go through what the wind threw."""

    shapes: Array
    through: Mask

    def crossing(self, shapes: Array, thrown: Mask) -> list[tuple[int, int]]:
        """Pairs of a fallen shape and a strip that opens it, in order; `thrown` tells the shapes that the wind
        threw."""
        if not len(self.shapes):
            return []
        shape, strip = shapely.STRtree(self.shapes).query(shapes, predicate="intersects")
        opens = self.through[strip] | ~thrown[shape]
        return sorted(zip(shape[opens].tolist(), strip[opens].tolist(), strict=True))


def thrown(scene: Scene) -> Mask:
    """The trees that the wind threw, or that lie by no work of the plan: those that not every strip opens. None in
    a design, whose ways are sawn when all lies."""
    found = scene.memo.get("thrown")
    if found is None:
        found = scene.memo["thrown"] = np.isin(scene.trees.state, THROWN) & (not scene.design)
    return np.asarray(found, bool)


def goes_through(scene: Scene, block: Block) -> bool:
    """Whether a way that a block says goes through what the wind threw."""
    if scene.design:
        return True
    storms = [value.value for storm in scene.plan.of(Storm) for value in storm.head if value.kind == "date"]
    done = scene.plan.value(block, "done")
    day = done.value if done is not None and isinstance(done.value, date) else None
    if isinstance(block, Opening):
        return day is None or all(storm <= day for storm in storms)
    return day is not None and bool(storms) and all(storm <= day for storm in storms)


def sawn(scene: Scene, way: float) -> list[Strip]:
    """The openings and corridors that are a way wide or more.

    An opening is a cut of its width through its place, along `toward`, both ways until all its width
    (or a way's, if that is more) stands clear of what bars, 15 yd at most each way. Where its place
    is clear it first runs along `toward` to the first barrier within 15 yd. A corridor runs along its line,
    and on at an end that stops in a top where it comes clear of it within 5 yd: nobody leaves the last tip. What a
    strip does not go through is no matter to how far it is sawn."""
    key = ("sawn", round(way, 4))
    found = scene.memo.get(key)
    if found is None:
        found = scene.memo[key] = [*_openings(scene, way), *_corridors(scene, way)]
    return list(found)


def strips(scene: Scene, way: float) -> Strips:
    """The strips of `sawn`, in their full width."""
    key = ("strips", round(way, 4))
    found = scene.memo.get(key)
    if found is None:
        every = sawn(scene, way)
        shapes = np.empty(len(every), object)
        shapes[:] = [strip.line.buffer(strip.width / 2, cap_style="flat") for strip in every]
        found = scene.memo[key] = Strips(shapes, np.array([strip.through for strip in every], bool))
    assert isinstance(found, Strips)
    return found


def _corridors(scene: Scene, way: float) -> list[Strip]:
    cut: list[Strip] = []
    for path in scene.plan.of(Path):
        line, width = scene.shape_of(path), scene.width_of(path)
        wide = width >= way - TOLERANCE
        if isinstance(line, LineString) and scene.plan.word(path, "use") == "corridor" and wide:
            through = goes_through(scene, path)
            cut.append(Strip(_sawn_clear(scene, line, max(way, width), through), width, path, through))
    for pocket, lines in zip(scene.plan.of(Pocket), scene.corridors, strict=True):
        for statement, line in lines:
            width = corridor_width(scene, statement)
            if width >= way - TOLERANCE:
                through = goes_through(scene, pocket)
                cut.append(Strip(_sawn_clear(scene, line, max(way, width), through), width, pocket, through))
    return cut


def _sawn_clear(scene: Scene, line: LineString, wide: float, through: bool) -> LineString:
    """A corridor's line, run on straight at each end that stops in what bars, if it comes clear within 5 yd."""
    points = shapely.get_coordinates(line)
    start, end = (_clear_end(scene, points[a], points[b], wide, through) for a, b in ((1, 0), (-2, -1)))
    return LineString([*start, *points, *end])


def _clear_end(scene: Scene, before: Array, end: Array, wide: float, through: bool) -> list[Array]:
    """Where beyond its end a line over a width stands clear of what bars; none where it does so at its end, or
    not within 5 yd."""
    run = end - before
    if np.hypot(*run) <= TOLERANCE:
        return []
    along = run / np.hypot(*run)
    ahead = LineString([end, end + along * CORRIDOR_REACH])
    stopped = [last for first, last in _runs(ahead, _barred(scene, ahead, wide, through)) if first <= TOLERANCE]
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
        through = goes_through(scene, opening)
        if wide >= way - TOLERANCE and (line := _opening(scene, opening, place, max(way, wide), through)) is not None:
            cut.append(Strip(line, wide, opening, through))
    return cut


def _opening(scene: Scene, opening: Opening, place: Point, wide: float, through: bool) -> LineString | None:
    """The middle line of an opening, which is to stand clear over a width."""
    along = opening_bearing(scene, opening, place)
    if along is None:
        return None
    here = np.array([place.x, place.y])
    line = LineString([here - along * OPENING_REACH, here + along * 2 * OPENING_REACH])
    runs = sorted(_runs(line, _barred(scene, line, wide, through)))
    start = OPENING_REACH
    for first, last in runs:
        if first - TOLERANCE <= start <= last + TOLERANCE:
            return _part(here, along, max(first, 0.0), min(last, 2 * OPENING_REACH))
    for first, last in runs:
        if start < first <= 2 * OPENING_REACH:
            return _part(here, along, start, min(last, first + OPENING_REACH))
    return None


def opening_bearing(scene: Scene, opening: Opening, place: Point) -> Array | None:
    """The unit vector along which an opening is sawn: its `toward`, else to the nearest edge of the pocket it
    stands in; None where nobody knows."""
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
        return np.asarray(run / np.hypot(*run))
    return ahead_of(scene.placer.bearing(opening, toward))


def _nearest_edge(scene: Scene, place: Point) -> BaseGeometry | None:
    """The outline of the pocket a place stands in."""
    for pocket in scene.plan.of(Pocket):
        shape = scene.shape_of(pocket)
        if isinstance(shape, Polygon) and shape.covers(place):
            return shape.exterior
    return None


def _barred(scene: Scene, line: LineString, wide: float, through: bool) -> BaseGeometry:
    """Where what bars leaves no room for a width, by a line: grown as free ground has it and a centimetre more,
    so that what is sawn to its edge comes out into free ground. Without `through`, by what was cut alone."""
    near = np.sort(scene.trees.barrier_index.query(line, predicate="dwithin", distance=wide))
    near = near if through else near[~thrown(scene)[near]]
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
