"""Free ground of a pocket: where the middle of a deer in flight may be, cut into triangles.

Ground D is the pocket's outline grown by a margin; free ground F is D less every barrier grown by
half a way, plus the strips of openings and corridors. It is fixed by the pocket and by what bars deer,
never by where tops happen to end. Two questions are answered on it: out of how many directions a
predator may come and still leave a bed a way out (`open_directions`), and how deep the ground runs into
points without a way on (`depths`).

Every size is common practice, no source; published work says no more than that elk are warier near
what hinders escape (Oecologia 2008, doi 10.1007/s00442-007-0956-z).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import distinct
from habitatlint.measures.triangles import Triangles, triangles_of
from habitatlint.units import TOLERANCE, YARD

Array = npt.NDArray[Any]

#: how far beyond its outline a pocket's ground is looked at
MARGIN = 20 * YARD
#: ground that leads toward a predator by no more than this may be used
SLACK = 1 * YARD
#: a bedded deer gets to free ground this near
SNAP = 2 * YARD
#: directions a predator may come from, and directions in which ground is swept for dead ends
DIRECTIONS = 72
SWEEPS = 24
#: an opening or corridor just a way wide leaves a strip this wide to the middle of a deer
LEAST_STRIP = 2 * TOLERANCE
#: arcs round a grown corner have so many chords to a quarter; grown by a little more, so that no point is
#: off by more than the tolerance
_CHORDS, _CHORD_LOSS = 4, 1.02
#: shapes lie in a heap where the box of one meets more boxes than this on average, its own among them
_HEAPED = 5
#: so many shapes are asked how crowded they lie, to twice as many
_SAMPLE = 64


def grown(shapes: Any, by: float) -> Any:
    """Shapes grown by a distance in metres, corners by chords that err to both sides alike (1 cm at 3 ft)."""
    return shapely.buffer(shapes, by * _CHORD_LOSS, quad_segs=_CHORDS)


def grown_together(shapes: Array, by: float) -> Any:
    """Shapes (n,) grown by a distance in metres, as one. Those that are grown are united with it, which is quick
    where few lie over one another; where many do, they are united before."""
    heaped = crowding(shapes, shapely.STRtree(shapes)) > _HEAPED
    return grown(shapely.union_all(shapes) if heaped else shapely.geometrycollections(shapes), by)


def in_pieces(ground: BaseGeometry) -> BaseGeometry:
    """The polygons of a geometry that have an area; an empty multipolygon where it has none."""
    return shapely.multipolygons(np.array([part for part in shapely.get_parts(ground) if part.area > 0], object))


def crowding(shapes: Array, index: shapely.STRtree) -> float:
    """How many boxes of shapes (n,) the box of one meets on average, its own among them, by a few of them: to ask all
    would take the square of those that lie in a heap. 0 where there are none."""
    few = shapes[:: max(1, len(shapes) // _SAMPLE)]
    return len(index.query(few)[0]) / len(few) if len(few) else 0.0


class Depths(NamedTuple):
    """How far each corner of the ground lies below the way out, for each sweep: (n, SWEEPS) in metres,
    0 where a way leads on, infinity where none does. `lows` tells the corners that a sweep runs down to
    (n, SWEEPS)."""

    depth: Array
    lows: Array


@dataclass(frozen=True, eq=False)
class FreeGround:
    """Free ground `free` of the ground `whole`, both polygons in metres, as triangles that meet side to side."""

    free: BaseGeometry
    whole: BaseGeometry
    _swept: dict[float, Depths] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def _triangles(self) -> Triangles:
        return triangles_of(shapely.get_parts(self.free))

    @property
    def corners(self) -> Array:
        """Places of the corners, (m, 2) in metres."""
        return self._triangles.places

    @cached_property
    def corner_index(self) -> shapely.STRtree:
        """The corners that are the ground's own; those of tiles are empty points, which nothing meets."""
        points = np.asarray(shapely.points(self.corners))
        points[~self._triangles.own] = Point()
        return shapely.STRtree(points)

    @property
    def triangles(self) -> Array:
        """The corners of each triangle, by number, (n, 3)."""
        return self._triangles.corners

    @property
    def sides(self) -> Array:
        """The two corners of each side, by number, (k, 2)."""
        return self._triangles.ends

    @cached_property
    def _rim(self) -> Array:
        """Which sides lie on the rim (k,)."""
        cut = self._triangles
        edge = self.whole.boundary
        shapely.prepare(edge)
        rim = cut.pairs[:, 1] < 0
        if not shapely.get_num_interior_rings(shapely.get_parts(self.whole)).any():
            rim &= cut.outer[cut.ends].all(axis=1)  # a hole of free ground lies along no rim, unless that has holes too
        rim[rim] = shapely.dwithin(edge, shapely.points(cut.places[cut.ends[rim]].mean(axis=1)), TOLERANCE)
        return np.asarray(rim)

    @cached_property
    def _boxes(self) -> tuple[Array, Array]:
        """The least and the greatest coordinates of each triangle, (n, 2) each."""
        one, two, three = (self.corners[self.triangles[:, number]] for number in range(3))
        return np.minimum(np.minimum(one, two), three), np.maximum(np.maximum(one, two), three)

    @cached_property
    def _chains(self) -> tuple[Array, Array, Array]:
        """The triangles in runs: those with two neighbours only pass on what comes to them, so a whole run
        of them is one link. Gives, run after run, the triangles (from one end to the other), the sides
        between them (-1 after the last triangle), and where in these each run starts.

        A step goes over a side from one triangle to the other. From a triangle within a run each step has one
        that follows; jumping twice as far each time, all steps find the last of their run together."""
        pairs = self._triangles.pairs
        inner = np.flatnonzero(pairs[:, 1] >= 0)
        steps = np.arange(2 * len(inner))
        came, to = pairs[inner].ravel(), pairs[inner][:, ::-1].ravel()
        degree = np.bincount(came, minlength=len(self.triangles))
        end = degree != 2
        end[pairs[self._rim, 0]] = True
        # of the two steps that leave a triangle, the one that does not go back
        leaving = np.bincount(came, steps, minlength=len(self.triangles)).astype(np.intp)
        last = np.where(end[to], steps, leaving[to] - (steps ^ 1))
        left = (last != steps).astype(np.intp)
        for _ in range(len(steps).bit_length()):
            further = last[last]
            if np.array_equal(further, last):
                break
            left, last = left + left[last], further
        ring = ~end[to[last]]  # in rings that no end breaks each step is a run
        last[ring], left[ring] = steps[ring], 0
        order = np.lexsort((-left, last))
        starts = np.flatnonzero(np.append(True, last[order][1:] != last[order][:-1])) if len(order) else order
        firsts, lasts = order[starts], last[order[starts]]
        # of the two ways through a run one is kept
        kept = (firsts >> 1 < lasts >> 1) | ((firsts == lasts) & (firsts % 2 == 0))
        counts = np.diff(np.append(starts, len(order)))
        order, firsts, counts = order[np.repeat(kept, counts)], firsts[kept], counts[kept]
        runs = np.cumsum(counts + 1) - (counts + 1)
        nodes = np.insert(to[order], np.cumsum(counts) - counts, came[firsts])
        sides = np.insert(inner[order >> 1], np.cumsum(counts), -1)
        return nodes, sides, runs

    def open_directions(self, bed: Point, first: float) -> Array:
        """Of 72 directions a predator may come from, which leave the bed a way out: (72,) of truths.

        `first` is the bearing in degrees that directions are set off from: first + 2.5, 7.5 ... In
        direction u a deer may use ground x with (x - bed).u <= 1 yd; u is open if free ground within 2 yd
        of the bed is joined there to the rim. A side of a triangle lets u pass where one of its ends does,
        so masks of 72 bits, spread over the triangles until nothing changes, give the answer exactly."""
        triangles, places = self.triangles, self.corners
        toward = _ahead((first + (np.arange(DIRECTIONS) + 0.5) * 360 / DIRECTIONS) % 360)
        here = np.array([bed.x, bed.y])
        begin = self._begin(bed, toward)
        if not len(begin):
            return np.zeros(DIRECTIONS, bool)
        allowed = _packed((places - here) @ toward.T <= SLACK)
        pairs, ends, rim = self._triangles.pairs, self.sides, self._rim
        passes = allowed[ends[:, 0]] | allowed[ends[:, 1]]
        reached = [0] * len(triangles)
        for row, mask in zip(begin, _whole(_packed(np.array(list(begin.values())))), strict=True):
            reached[row] = mask
        beside: dict[int, list[tuple[int, int]]] = {}
        one, other, masks = self._links(np.array(list(begin), np.intp), passes)
        for a, b, mask in zip(one.tolist(), other.tolist(), _whole(masks), strict=True):
            beside.setdefault(a, []).append((b, mask))
            beside.setdefault(b, []).append((a, mask))
        # masks spread by a list of what has changed: plain numbers, for the steps are many and small
        changed = deque(begin)
        while changed:
            here_ = changed.popleft()
            mine = reached[here_]
            for there, mask in beside.get(here_, ()):
                new = mine & mask & ~reached[there]
                if new:
                    reached[there] |= new
                    changed.append(there)
        out = 0
        for triangle, mask in zip(pairs[rim, 0].tolist(), _whole(passes[rim]), strict=True):
            out |= reached[triangle] & mask
        return np.array([out >> direction & 1 for direction in range(DIRECTIONS)], bool)

    def _links(self, starts: Array, passes: Array) -> tuple[Array, Array, Array]:
        """The runs as links between their end triangles, with the mask that each lets through (m, 2). Runs
        are cut at the triangles where the deer starts, so that these are ends as well."""
        nodes, sides, runs = self._chains
        if not len(nodes):
            return nodes, nodes, np.zeros((0, 2), np.uint64)
        begins = np.zeros(len(nodes) + 1, bool)
        begins[runs] = begins[-1] = True
        final = begins[1:]
        starting = np.zeros(len(self.triangles), bool)
        starting[starts] = True
        cuts = np.flatnonzero(begins[:-1] | (starting[nodes] & ~final))
        through = np.where((sides >= 0)[:, None], passes[np.maximum(sides, 0)], ~np.uint64(0))
        masks = np.bitwise_and.reduceat(through, cuts, axis=0)
        following = np.append(cuts[1:], len(nodes))
        ends = np.where(begins[following], following - 1, following)
        return nodes[cuts], nodes[ends], masks

    def _begin(self, bed: Point, toward: Array) -> dict[int, Array]:
        """Triangles that a bedded deer gets to, and in which directions: (72,) of truths each."""
        disc = bed.buffer(SNAP, quad_segs=16)
        begin: dict[int, Array] = {}
        here = np.array([bed.x, bed.y])
        # few triangles are near: to keep a shape of every one, or a tree of them, would take more than all the rest
        low, high = self._boxes
        near = np.flatnonzero(((low <= here + SNAP) & (high >= here - SNAP)).all(axis=1))
        shapes = shapely.polygons(self.corners[self.triangles[near]])
        met = shapely.intersects(shapes, disc)
        parts = shapely.intersection(shapes[met], disc)
        for row, part in zip(near[met].tolist(), parts, strict=True):
            heights = (shapely.get_coordinates(part) - here) @ toward.T
            if len(heights):
                begin[row] = heights.min(axis=0) <= SLACK
        return begin

    @cached_property
    def barred(self) -> BaseGeometry:
        """The ground that is not free, prepared to be asked of many lines."""
        barred = self.whole.difference(self.free)
        shapely.prepare(barred)
        return barred

    @cached_property
    def joined(self) -> BaseGeometry:
        """The free ground that is joined to the rim."""
        pieces = shapely.get_parts(self.free)
        return shapely.multipolygons(pieces[self._is_joined(len(pieces))])

    @cached_property
    def sealed(self) -> list[BaseGeometry]:
        """The pieces of free ground that are never joined to the rim."""
        pieces = shapely.get_parts(self.free)
        return list(pieces[~self._is_joined(len(pieces))])

    def _is_joined(self, pieces: int) -> Array:
        """Whether each piece has a side on the rim; one that only touches it in a point has none."""
        joined = np.zeros(pieces, bool)
        joined[self._triangles.piece[self._triangles.pairs[self._rim, 0]]] = True
        return joined

    def depths(self, first: float) -> Depths:
        """`Depths` of the ground, worked out once for a bearing."""
        if first not in self._swept:
            self._swept[first] = self._depths(first)
        return self._swept[first]

    def _depths(self, first: float) -> Depths:
        """How deep the ground lies below its way out, swept in 24 directions, set off from the bearing `first`.

        In direction u ground x lies at the height x.u. From each corner the ground falls to a low; the
        way out from there climbs no higher than it must (the height at which the low joins ground that is
        joined to the rim). Heights are straight on each triangle, so corners and sides alone decide: each
        corner runs down to its low, and lows are joined over the lowest sides between them."""
        places, ends, rim = self.corners, self.sides, self._rim
        count = len(places)
        toward = _ahead((first + (np.arange(SWEEPS) + 0.5) * 360 / SWEEPS) % 360)
        if not count:
            return Depths(np.zeros((0, SWEEPS)), np.zeros((0, SWEEPS), bool))
        # sweep by sweep, each in one stretch of memory; `of_sweep` is where that of each begins
        heights = np.ascontiguousarray((places @ toward.T).T)
        of_sweep = (np.arange(SWEEPS) * count)[:, None]
        # each corner's lowest neighbour, itself included; of several alike the first
        source = np.concatenate([ends[:, 0], ends[:, 1], np.arange(count)])
        target = np.concatenate([ends[:, 1], ends[:, 0], np.arange(count)])
        by_source = np.argsort(source, kind="stable")
        source, target = source[by_source], target[by_source]
        begins = np.searchsorted(source, np.arange(count))
        lower = np.empty((SWEEPS, count), np.intp)
        for height, lowest in zip(heights, lower, strict=True):
            beside = height[target]
            least = np.minimum.reduceat(beside, begins)
            lowest[:] = np.minimum.reduceat(np.where(beside == least[source], target, count), begins)
        outside = distinct(ends[rim].ravel())
        lower[:, outside] = outside
        down = (lower + of_sweep).ravel()
        while True:
            further = down[down]
            if np.array_equal(further, down):
                break
            down = further
        lows = np.zeros((SWEEPS, count), bool)
        lows.ravel()[down] = True
        lows[:, outside] = False
        # lows, one number for all that is outside, joined over the lowest side between each two
        out = np.zeros(count, bool)
        out[outside] = True
        down = down.reshape(SWEEPS, count) - of_sweep
        basin = np.where(out[down], count, down)
        one, other = basin[:, ends[:, 0]], basin[:, ends[:, 1]]
        sweep, side = np.nonzero(one != other)
        height = np.maximum(heights[sweep, ends[side, 0]], heights[sweep, ends[side, 1]])
        a = one[sweep, side] + sweep * (count + 1)
        b = other[sweep, side] + sweep * (count + 1)
        a, b, height = _lowest(a, b, height, (count + 1) * SWEEPS)
        leave = np.full((count + 1) * SWEEPS, np.inf)
        leave[np.arange(SWEEPS) * (count + 1) + count] = -np.inf
        while True:
            before = leave[np.concatenate([a, b])]
            np.minimum.at(leave, a, np.maximum(height, leave[b]))
            np.minimum.at(leave, b, np.maximum(height, leave[a]))
            if np.array_equal(before, leave[np.concatenate([a, b])]):
                break
        joins = leave[basin + (np.arange(SWEEPS) * (count + 1))[:, None]]
        return Depths(np.ascontiguousarray(np.maximum(joins - heights, 0.0).T), np.ascontiguousarray(lows.T))


def _lowest(a: Array, b: Array, height: Array, size: int) -> tuple[Array, Array, Array]:
    """Of the links between each two nodes, the lowest."""
    if not len(a):
        return a, b, height
    low, high = np.minimum(a, b), np.maximum(a, b)
    key = low.astype(np.int64) * size + high
    order = np.argsort(key, kind="stable")
    begins = np.flatnonzero(np.append(True, key[order][1:] != key[order][:-1]))
    return low[order][begins], high[order][begins], np.minimum.reduceat(height[order], begins)


def _ahead(bearings: Array) -> Array:
    """Unit vectors (n, 2) of bearings in degrees."""
    turned = np.radians(bearings)
    return np.column_stack([np.sin(turned), np.cos(turned)])


def _packed(masks: Array) -> Array:
    """Truths (n, 72) as two 64-bit words (n, 2)."""
    packed = np.packbits(masks, axis=-1, bitorder="little")
    padded = np.zeros((len(masks), 16), np.uint8)
    padded[:, : packed.shape[-1]] = packed
    return padded.view(np.uint64)


def _whole(words: Array) -> list[int]:
    """Pairs of 64-bit words (n, 2) as n whole numbers of 128 bits."""
    return [low | high << 64 for low, high in words.tolist()]
