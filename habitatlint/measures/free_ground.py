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

import math
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
#: a piece of free ground with more holes than this is cut into tiles of about as many first, for cutting a
#: piece into triangles takes the square of its holes
_TILE_HOLES = 48
#: arcs round a grown corner have so many chords to a quarter; grown by a little more, so that no point is
#: off by more than the tolerance
_CHORDS, _CHORD_LOSS = 4, 1.02


def grown(shapes: Any, by: float) -> Any:
    """Shapes grown by a distance in metres, corners by chords that err to both sides alike (1 cm at 3 ft)."""
    return shapely.buffer(shapes, by * _CHORD_LOSS, quad_segs=_CHORDS)


def in_pieces(ground: BaseGeometry) -> BaseGeometry:
    """The polygons of a geometry that have an area; an empty multipolygon where it has none."""
    return shapely.multipolygons(np.array([part for part in shapely.get_parts(ground) if part.area > 0], object))


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
    def _triangles(self) -> tuple[Array, Array, Array]:
        """Corners of the triangles by number (n, 3), places of the corners (m, 2), and the piece of free
        ground each triangle is of (n,). Pieces share no corner, not even where they touch in a point."""
        parts, of_part = _tiled(shapely.get_parts(self.free))
        cut = shapely.constrained_delaunay_triangles(parts)
        counts = shapely.get_num_geometries(cut)
        if not counts.sum():
            return np.empty((0, 3), np.intp), np.empty((0, 2)), np.empty(0, np.intp)
        piece = np.repeat(of_part, counts)
        places = shapely.get_coordinates(shapely.get_parts(cut)).reshape(-1, 4, 2)[:, :3].reshape(-1, 2)
        order = np.lexsort((places[:, 1], places[:, 0], np.repeat(piece, 3)))
        ordered, of = places[order], np.repeat(piece, 3)[order]
        new = np.ones(len(order), bool)
        new[1:] = (ordered[1:] != ordered[:-1]).any(axis=1) | (of[1:] != of[:-1])
        number = np.empty(len(order), np.intp)
        number[order] = np.cumsum(new) - 1
        return number.reshape(-1, 3), ordered[new], piece

    @property
    def corners(self) -> Array:
        """Places of the corners, (m, 2) in metres."""
        return self._triangles[1]

    @cached_property
    def corner_index(self) -> shapely.STRtree:
        """The corners that are the ground's own; those of tiles are empty points, which nothing meets."""
        own, places = shapely.get_coordinates(self.free), self.corners
        points = np.asarray(shapely.points(places))
        points[~np.isin(places[:, 0] + 1j * places[:, 1], own[:, 0] + 1j * own[:, 1])] = Point()
        return shapely.STRtree(points)

    @property
    def triangles(self) -> Array:
        """The corners of each triangle, by number, (n, 3)."""
        return self._triangles[0]

    @property
    def sides(self) -> Array:
        """The two corners of each side, by number, (k, 2)."""
        return self._sides[1]

    @cached_property
    def _sides(self) -> tuple[Array, Array, Array]:
        """Sides between triangles: their two triangles (k, 2; -1 for none), their two corners (k, 2), and
        whether they lie on the rim (k,)."""
        triangles, places, _ = self._triangles
        first, second = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
        low, high = np.minimum(first, second), np.maximum(first, second)
        order = np.argsort(low * (len(places) + 1) + high, kind="stable")
        low, high, of = low[order], high[order], order // 3
        same = np.zeros(len(order), bool)
        same[1:] = (low[1:] == low[:-1]) & (high[1:] == high[:-1])
        kept = np.flatnonzero(~same)
        twice = np.zeros(len(order) + 1, bool)
        twice[: len(order)] = same
        across = np.where(twice[kept + 1], of[np.minimum(kept + 1, len(of) - 1)], -1)
        ends = np.column_stack([low[kept], high[kept]])
        edge = self.whole.boundary
        shapely.prepare(edge)
        rim = across < 0
        rim[rim] = shapely.dwithin(edge, shapely.points(places[ends[rim]].mean(axis=1)), TOLERANCE)
        return np.column_stack([of[kept], across]), ends, rim

    @cached_property
    def _chains(self) -> tuple[Array, Array, Array]:
        """The triangles in runs: those with two neighbours only pass on what comes to them, so a whole run
        of them is one link. Gives, run after run, the triangles (from one end to the other), the sides
        between them, and where in these each run starts."""
        triangles, _, _ = self._triangles
        pairs, _, rim = self._sides
        inner = np.flatnonzero(pairs[:, 1] >= 0)
        degree = np.bincount(pairs[inner].ravel(), minlength=len(triangles))
        beside: list[list[tuple[int, int]]] = [[] for _ in range(len(triangles))]
        for side, (here, there) in zip(inner.tolist(), pairs[inner].tolist(), strict=True):
            beside[here].append((side, there))
            beside[there].append((side, here))
        end = degree != 2
        end[pairs[rim, 0]] = True
        ends = end.tolist()
        used = [False] * len(pairs)
        nodes: list[int] = []
        sides: list[int] = []
        starts: list[int] = []

        def walk(start: int) -> None:
            for side, other in beside[start]:
                if used[side]:
                    continue
                starts.append(len(nodes))
                nodes.append(start)
                while True:
                    used[side] = True
                    sides.append(side)
                    nodes.append(other)
                    if ends[other] or other == start:
                        break
                    one, two = beside[other]
                    side, other = two if one[0] == side else one
                sides.append(-1)  # no side follows the last triangle of a run

        for triangle in np.flatnonzero(end).tolist():
            walk(triangle)
        for triangle in range(len(triangles)):  # rings that no end breaks
            if beside[triangle] and not used[beside[triangle][0][0]]:
                walk(triangle)
        return np.array(nodes, np.intp), np.array(sides, np.intp), np.array(starts, np.intp)

    def open_directions(self, bed: Point, first: float) -> Array:
        """Of 72 directions a predator may come from, which leave the bed a way out: (72,) of truths.

        `first` is the bearing in degrees that directions are set off from: first + 2.5, 7.5 ... In
        direction u a deer may use ground x with (x - bed).u <= 1 yd; u is open if free ground within 2 yd
        of the bed is joined there to the rim. A side of a triangle lets u pass where one of its ends does,
        so masks of 72 bits, spread over the triangles until nothing changes, give the answer exactly."""
        triangles, places, _ = self._triangles
        toward = _ahead((first + (np.arange(DIRECTIONS) + 0.5) * 360 / DIRECTIONS) % 360)
        here = np.array([bed.x, bed.y])
        begin = self._begin(bed, toward)
        if not len(begin):
            return np.zeros(DIRECTIONS, bool)
        allowed = _packed((places - here) @ toward.T <= SLACK)
        pairs, ends, rim = self._sides
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
        triangles, _, _ = self._triangles
        begins = np.zeros(len(nodes) + 1, bool)
        begins[runs] = begins[-1] = True
        final = begins[1:]
        starting = np.zeros(len(triangles), bool)
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
        triangles, places, _ = self._triangles
        corners = places[triangles]
        reach = np.abs(corners.mean(axis=1) - here) <= SNAP + np.ptp(corners, axis=1)
        near = np.flatnonzero(reach.all(axis=1))
        shapes = shapely.polygons(corners[near])
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
        pairs, _, rim = self._sides
        joined = np.zeros(pieces, bool)
        joined[self._triangles[2][pairs[rim, 0]]] = True
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
        _, places, _ = self._triangles
        _, ends, rim = self._sides
        count = len(places)
        toward = _ahead((first + (np.arange(SWEEPS) + 0.5) * 360 / SWEEPS) % 360)
        if not count:
            return Depths(np.zeros((0, SWEEPS)), np.zeros((0, SWEEPS), bool))
        # sweep by sweep, each in one stretch of memory; `of_sweep` is where that of each begins
        heights = np.ascontiguousarray((places @ toward.T).T)
        of_sweep = (np.arange(SWEEPS) * count)[:, None]
        order = np.argsort(heights, axis=1, kind="stable")
        rank = np.empty((SWEEPS, count), np.int32)
        rank.ravel()[order + of_sweep] = np.arange(count, dtype=np.int32)
        # each corner's lowest neighbour, itself included
        source = np.concatenate([ends[:, 0], ends[:, 1], np.arange(count)])
        target = np.concatenate([ends[:, 1], ends[:, 0], np.arange(count)])
        by_source = np.argsort(source, kind="stable")
        begins = np.searchsorted(source[by_source], np.arange(count))
        lowest = np.minimum.reduceat(np.ascontiguousarray(rank.T)[target[by_source]], begins, axis=0)
        lower = order.ravel()[np.ascontiguousarray(lowest.T) + of_sweep]
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


def _tiled(pieces: Array) -> tuple[Array, Array]:
    """The pieces of free ground, those with many holes in tiles that meet side to side, and the number of the
    piece that each is of. What is worked out on the triangles does not hang on how the ground is cut."""
    holes = shapely.get_num_interior_rings(pieces)
    few = np.flatnonzero(holes <= _TILE_HOLES)
    parts, of = [pieces[few]], [few]
    for number in np.flatnonzero(holes > _TILE_HOLES).tolist():
        piece = pieces[number]
        west, south, east, north = piece.bounds
        side = math.sqrt((east - west) * (north - south) * _TILE_HOLES / holes[number])
        lines = [[(x, south - side), (x, north + side)] for x in np.arange(west + side / 2, east, side)]
        lines += [[(west - side, y), (east + side, y)] for y in np.arange(south + side / 2, north, side)]
        # joined in one go, so that tiles share the very corners
        joined = shapely.union_all([piece.boundary, *shapely.linestrings(lines)])
        tiles = shapely.get_parts(shapely.polygonize(shapely.get_parts(joined)))
        shapely.prepare(piece)
        tiles = tiles[shapely.covers(piece, shapely.point_on_surface(tiles))]
        parts.append(tiles)
        of.append(np.full(len(tiles), number))
    return np.concatenate(parts), np.concatenate(of)


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
