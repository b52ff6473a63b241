"""Chutes: stretches of a line of travel with a wall on either hand.

Every length and share here is a limit of the rule or common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from habitatlint.ground.columns import Array, Column, Indices, Mask
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import patches_as_trees
from habitatlint.language.blocks import Hazard
from habitatlint.measures.openings import Strips, strips, thrown
from habitatlint.measures.travel import unsaid_falls
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.units import TOLERANCE, YARD

#: a line is looked at in steps of this
STEP = 0.25 * YARD
#: an opening this wide lets deer out through a wall
WAY = 1 * YARD

_NO_FALL = "a tree beside it has no `fall`"
_NO_TREES = "a patch lays no trees, so nobody knows where they come to lie"


class _Walls:
    """What bars deer, as the sides of lines and outlines, to be met by what is square to a way."""

    def __init__(self, shapes: list[BaseGeometry]) -> None:
        # a stem and its top lie together in one shape, and either may be in pieces
        self.parts = shapely.get_parts(shapely.get_parts(_objects(shapes)))
        self.index = shapely.STRtree(self.parts)
        self.closed = shapely.get_dimensions(self.parts) == 2
        rings, of = shapely.get_rings(self.parts[self.closed], return_index=True)
        owner = np.concatenate([np.flatnonzero(self.closed)[of], np.flatnonzero(~self.closed)])
        points, ring = shapely.get_coordinates(np.concatenate([rings, self.parts[~self.closed]]), return_index=True)
        side = np.flatnonzero(ring[:-1] == ring[1:])
        side = side[np.argsort(owner[ring[side]], kind="stable")]
        self.starts, self.ends = points[side], points[side + 1]
        self.first = np.searchsorted(owner[ring[side]], np.arange(len(self.parts) + 1))

    def hands(self, line: LineString, reach: float) -> Array:
        """How far what bars is on the left and on the right of each station of a line: (2, n), infinite
        where a hand is free as far as `reach`, 0 where the line lies under it."""
        legs = _Legs(line)
        left, right = np.full(legs.stations, np.inf), np.full(legs.stations, np.inf)
        leg, part = self.index.query(legs.lines, predicate="dwithin", distance=reach)
        sides = self.first[part + 1] - self.first[part]
        pair = np.repeat(np.arange(len(part)), sides)
        side = np.arange(len(pair)) - np.repeat(np.cumsum(sides) - sides, sides) + self.first[part][pair]
        (u, v), (u_end, v_end) = legs.local(self.starts[side], leg[pair]), legs.local(self.ends[side], leg[pair])
        first, last = legs.span(np.minimum(u, u_end), np.maximum(u, u_end), leg[pair])
        one = np.repeat(np.arange(len(pair)), last - first)
        station = np.arange(len(one)) - np.repeat(np.cumsum(last - first) - (last - first), last - first) + first[one]
        share = (legs.at(station) - u[one]) / (u_end - u)[one]
        off = v[one] + share * (v_end - v)[one]
        for hand, far in ((left, off), (right, -off)):
            here = (far >= 0) & (far <= reach)
            np.minimum.at(hand, station[here], far[here])
        # a station under an outline has an odd number of its sides on one hand
        over = self.closed[part[pair[one]]] & (off > 0)
        met = np.sort(station[over] * len(self.parts) + part[pair[one[over]]])
        starts = np.flatnonzero(np.diff(met, prepend=-1))
        odd = np.diff(starts, append=len(met)) % 2 == 1
        under = met[starts[odd]] // max(1, len(self.parts))
        left[under] = right[under] = 0.0
        return np.stack([left, right])


class _Legs:
    """The legs of a line and the stations along it: a step apart, the first half a step in."""

    def __init__(self, line: LineString) -> None:
        corners = shapely.get_coordinates(line)
        run = np.diff(corners, axis=0)
        lengths = np.hypot(*run.T)
        self.starts, self.along = corners[:-1], run / np.maximum(lengths, 1e-9)[:, None]
        self.before = np.cumsum(lengths) - lengths
        self.lines = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
        self.stations = max(1, int(line.length / STEP + 1e-6))
        edges = np.clip(self._number(np.append(self.before, lengths.sum())), 0, self.stations)
        self.least, self.most = edges[:-1], edges[1:]

    def _number(self, distance: Array) -> Array:
        """The first station at or beyond a distance along the line."""
        return np.asarray(np.ceil(distance / STEP - 0.5).astype(int))

    def at(self, station: Array) -> Array:
        """How far along the line stations are."""
        return np.asarray((station + 0.5) * STEP)

    def local(self, points: Array, leg: Array) -> tuple[Array, Array]:
        """How far along the line points lie, by a leg of it produced, and how far to its left."""
        from_start, along = points - self.starts[leg], self.along[leg]
        u = (from_start * along).sum(axis=1) + self.before[leg]
        return u, along[:, 0] * from_start[:, 1] - along[:, 1] * from_start[:, 0]

    def span(self, low: Array, high: Array, leg: Array) -> tuple[Array, Array]:
        """The stations of a leg from one distance along to another, the second left out."""
        first = np.clip(self._number(low), self.least[leg], self.most[leg])
        return first, np.clip(self._number(high), first, self.most[leg])


def _objects(shapes: Sequence[BaseGeometry]) -> Array:
    found = np.empty(len(shapes), object)
    found[:] = shapes
    return found


class _Ground:
    """What bars deer on a plan: fallen trees' barriers less what openings take of them, and hazards that are
    barriers; and what may come to bar them."""

    def __init__(self, scene: Scene) -> None:
        self.trees = scene.trees
        hazards = [
            shape
            for hazard in scene.plan.of(Hazard)
            if scene.plan.word(hazard, "barrier") == "yes" and (shape := scene.shape_of(hazard)) is not None
        ]
        lies = scene.trees.lies
        self.walls = _Walls([*_left_of(scene.trees.barrier[lies], thrown(scene)[lies], strips(scene, WAY)), *hazards])
        patches = patches_as_trees(scene)
        laid = np.flatnonzero(patches.column("lying").values) if patches.size else np.zeros(0, np.intp)
        self.patches = [(patches.column("stump").values[row], patches.column("barrier").values[row]) for row in laid]
        self.laid = shapely.STRtree([lying for _, lying in self.patches])
        self.loose = np.flatnonzero(unsaid_falls(scene))

    def unsure(self, line: LineString, reach: float) -> list[tuple[str, float, list[BaseGeometry]]]:
        """What may come to be walls though nobody knows where it lies, each kind with why and how far off it
        is looked for: trees without a fall by all the ground they can reach, and trees of patches by
        where they stand, on both hands of the line."""
        trees = self.trees
        found: list[tuple[str, float, list[BaseGeometry]]] = []
        if len(self.loose):
            stumps, long = trees.stump[self.loose], trees.reach[self.loose]
            close = shapely.distance(stumps, line) <= long + reach
            if close.any():
                found.append((_NO_FALL, reach, list(shapely.buffer(stumps[close], long[close], quad_segs=4))))
        near = np.sort(self.laid.query(line, predicate="dwithin", distance=reach))
        patches = [self.patches[row] for row in near]
        if patches:
            farther = reach + max(stand.bounds[0] - lying.bounds[0] for stand, lying in patches)
            found.append((_NO_TREES, farther, [stand for stand, _ in patches]))
        return found


def _left_of(walls: Array, blown: Mask, sawn: Strips) -> Array:
    """What openings leave of fallen trees: stems and tops, each less the strips that open it."""
    parts, of = shapely.get_parts(walls, return_index=True)
    for one, other in sawn.crossing(parts, blown[of]):
        parts[one] = shapely.difference(parts[one], sawn.shapes[other])
    return np.asarray(parts[~shapely.is_empty(parts)])


def _most(barred: Mask, window: float) -> tuple[float, int]:
    """The greatest share of any window that is barred, and the station in the middle of what is."""
    size = max(1, round(window / STEP))
    sums = np.concatenate([[0], np.cumsum(barred)])
    ends = np.minimum(np.arange(len(barred)) + size, len(barred))
    counts = sums[ends] - sums[:-1]
    start = int(np.argmax(counts))
    shut = start + np.flatnonzero(barred[start : ends[start]])
    return float(counts[start] / size), int(shut[len(shut) // 2]) if len(shut) else 0


@measure(
    "chute",
    ("paths", "length", "length", "share"),
    "share",
    parts={"place": "place", "clear": "length", "hand": "things:trees"},
)
def chute(scene: Scene, paths: Rows, window: Column, clear: Column, shut: Column) -> Measured:
    """The greatest share of any stretch of a path, `window` long, that has a wall on either hand with less
    than `clear` between: a chute, where that share is large.

    Walls are what bars deer: fallen tops (and stems too high to step over and too low to walk under),
    less what openings a yard wide and corridors take of them, and hazards with `barrier yes`. What is
    clear is measured square to the line, every quarter of a yard; 0 where a wall lies on the line itself.
    In a path shorter than the stretch the share is of the stretch all the same. `place` is the middle of what is
    barred there, `clear` the least way between, `hand` the trees that lie by such stretches on one hand, that
    with fewer of them. Unknown where trees beside it have no `fall`, or stand
    in a patch, unless `shut` is barred without them. Common practice, no source."""
    lines = scene.table(paths.plural).column("shape").values[paths.rows]
    ground = scene.memo.get("chutes")
    if ground is None:
        ground = scene.memo["chutes"] = _Ground(scene)
    shares, least = np.zeros(len(paths)), np.full(len(paths), np.inf)
    known = np.ones(len(paths), bool)
    places = np.full(len(paths), None, object)
    why = ""
    for row, line in enumerate(lines):
        if not isinstance(line, LineString):
            known[row] = False
            continue
        reach, stretch = float(clear.values[row]), float(window.values[row])
        between = ground.walls.hands(line, reach).sum(axis=0)
        barred = between < reach - TOLERANCE
        shares[row], at = _most(barred, stretch)
        if barred.any():
            places[row] = shapely.line_interpolate_point(line, (at + 0.5) * STEP)
            least[row] = between[barred].min()
        if shares[row] >= shut.values[row] - 1e-9:
            continue
        for reason, farther, more in ground.unsure(line, reach):
            hands = np.minimum(ground.walls.hands(line, farther), _Walls(more).hands(line, farther))
            perhaps = np.isfinite(hands.sum(axis=0))
            if _most(perhaps | barred, stretch)[0] >= shut.values[row] - 1e-9:
                known[row] = False
                why = reason

    def hand(rows: Indices) -> Column:
        """The trees that make the wall on one hand there, the one with fewer of them."""
        lists = np.full(len(rows), None, object)
        for index, row in enumerate(rows):
            line, at = lines[row], places[row]
            lists[index] = np.zeros(0, np.intp)
            if isinstance(line, LineString) and at is not None:
                reach, stretch = float(clear.values[row]), float(window.values[row])
                barred = ground.walls.hands(line, reach).sum(axis=0) < reach - TOLERANCE
                walled = _walled(barred, stretch, float(shut.values[row]))
                lists[index] = _one_hand(scene, line, walled, reach)
        return Column("things:trees", lists, None, None, "no trees wall it in on one side")

    return Measured(
        Column("share", shares, None if known.all() else known, None, why),
        {
            "hand": hand,
            "place": lambda rows: Column("place", places[rows]),
            "clear": lambda rows: Column("length", least[rows], np.isfinite(least[rows])),
        },
    )


def _walled(barred: Mask, window: float, shut: float) -> Mask:
    """The stations of every stretch, a window long, of which at least so large a share is barred."""
    size = max(1, round(window / STEP))
    sums = np.concatenate([[0], np.cumsum(barred)])
    ends = np.minimum(np.arange(len(barred)) + size, len(barred))
    chutes = np.flatnonzero((sums[ends] - sums[:-1]) / size >= shut - 1e-9)
    found = np.zeros(len(barred), bool)
    for start in chutes:
        found[start : ends[start]] = True
    return found


def _one_hand(scene: Scene, line: LineString, walled: Mask, reach: float) -> Indices:
    """The trees that lie by the walled stations of a line, on the hand on which fewer of them do."""
    trees = scene.trees
    at = np.flatnonzero(walled)
    runs = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1) if len(at) else []
    parts = [substring(line, run[0] * STEP, min((run[-1] + 1) * STEP, line.length)) for run in runs]
    hands: list[Indices] = []
    for side in (reach, -reach):
        ground = shapely.union_all([part.buffer(side, cap_style="flat", single_sided=True) for part in parts])
        near = np.sort(trees.barrier_index.query(ground, predicate="intersects"))
        hands.append(near[trees.lies[near]])
    return min((hand for hand in hands if len(hand)), key=len, default=np.zeros(0, np.intp))
