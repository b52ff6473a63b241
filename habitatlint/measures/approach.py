"""Ways of people against ways of deer: the walk by cover, across lines of travel, past food.

Every distance here is common practice, no source.
"""

from __future__ import annotations

import heapq
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from habitatlint.ground.columns import Array, Column, column
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_blocks
from habitatlint.language.blocks import Path, Stand
from habitatlint.measures.leading import USUAL_RANGE
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural
from habitatlint.measures.walk import walks_of, way_of
from habitatlint.units import TOLERANCE

#: conifers that grow no sprouts from a cut stump (from memory; pitch pine, shortleaf pine and baldcypress,
#: which do, are left out)
SPROUTLESS = frozenset(
    (
        "balsam-fir cedar eastern-hemlock eastern-redcedar eastern-white-pine hemlock jack-pine loblolly-pine "
        "northern-white-cedar norway-spruce pine red-pine red-spruce redcedar spruce tamarack virginia-pine "
        "white-cedar white-pine white-spruce"
    ).split()
)


# -- stumps beside the walk ------------------------------------------------------------------------------


@measure("sprouts", ("trees",), "truth")
def sprouts(scene: Scene, trees: Rows) -> Column:
    """Whether the stump of a tree that is cut through will sprout: it lived, is cut, and is not treated.
    Stumps of sugar maple and of oaks sprout, the small ones most (Can. J. For. Res. 13(3):390-394, 1983;
    Forest Science 21(4):413-418, 1975); aspen suckers from its roots. Conifers do not, but for a few: a
    tree whose species are all known as such has no sprouts (from memory); one of no or unknown species is
    taken for a hardwood. A hinge is no stump, and a tree that is dead or thrown leaves none that lives."""
    cut = scene.trees
    lived = (cut.method == "fell") & cut.counted & ~cut.treated & ~np.isin(cut.state, ("dead", "blown"))
    lived &= ~(cut.upright & (cut.state == "standing"))
    said = [{str(name.value) for name in scene.plan.values(block, "species")} for block in cut.blocks]
    barren = np.array([bool(names) and names <= SPROUTLESS for names in said], bool)
    return Column("truth", (lived & ~barren[cut.block])[trees.rows])


# -- the walk and cover ----------------------------------------------------------------------------------


@of_plural("stands", "way-in", "shape")
def _way_in(scene: Scene) -> Column:
    """The whole way that the paths of its `reach` make, from gate or boundary."""
    return column("shape", [way_of(scene, stand, "reach") for stand in scene.plan.of(Stand)])


@of_plural("stands", "way-out", "shape")
def _way_out(scene: Scene) -> Column:
    """The whole way that the paths of its `leave` make; left out, the way in."""
    stands = scene.plan.of(Stand)
    return column("shape", [way_of(scene, stand, "leave" if stand.has("leave") else "reach") for stand in stands])


def range_of(scene: Scene, stand: Stand) -> float:
    """How far is shot from a stand, in metres; 30 yd where it does not say."""
    return scene.placer.metres(stand.range) if stand.range else USUAL_RANGE


def within_from(whole: LineString, place: BaseGeometry, radius: float) -> float:
    """The place on a way, in metres from its start, from which on it stays within a radius of a point; its
    length where its end lies farther off."""
    points = shapely.get_coordinates(whole)
    off = points - np.array([place.centroid.x, place.centroid.y])
    near = np.hypot(*off.T) <= radius + TOLERANCE
    if not near[-1]:
        return float(whole.length)
    outside = np.flatnonzero(~near)
    if not len(outside):
        return 0.0
    last = int(outside[-1])  # the leg from it crosses the circle once, coming in
    run = off[last + 1] - off[last]
    a, b, c = float(run @ run), float(2 * off[last] @ run), float(off[last] @ off[last]) - radius**2
    share = (-b - np.sqrt(max(b * b - 4 * a * c, 0.0))) / (2 * a)
    before = float(np.hypot(*np.diff(points[: last + 1], axis=0).T).sum())
    return before + min(max(float(share), 0.0), 1.0) * float(np.sqrt(a))


class _Near(NamedTuple):
    """How a way comes by a thing: how near, how much of it inside, and where."""

    gap: float
    inside: float
    place: Point


def _comes_by(line: BaseGeometry, thing: BaseGeometry, whole: LineString, seat: BaseGeometry | None,
              radius: float) -> _Near:  # fmt: skip
    """How near a line, part of a whole way to a stand, comes to a thing. Where its last stretch within a
    radius of the stand comes no nearer to the thing than the stand, it is left out."""
    judged = line
    if seat is not None:
        start = within_from(whole, seat, radius)
        if start < whole.length - TOLERANCE:
            last = substring(whole, start, whole.length)
            if last.distance(thing) >= seat.distance(thing) - TOLERANCE:
                first = substring(whole, 0, start)
                judged = first if line is whole else line.difference(last.buffer(TOLERANCE / 2, cap_style="flat"))
    if judged.is_empty or judged.length <= TOLERANCE:
        return _Near(np.inf, 0.0, Point(line.coords[0]) if isinstance(line, LineString) else line.centroid)
    met = judged.intersection(thing)
    stretches = [part for part in shapely.get_parts(met) if isinstance(part, LineString) and part.length > TOLERANCE]
    if stretches:
        longest = max(stretches, key=lambda part: round(part.length, 2))
        return _Near(0.0, float(met.length), longest.interpolate(0.5, normalized=True))
    nearest = shapely.shortest_line(judged, thing)
    return _Near(float(nearest.length), 0.0, Point(nearest.coords[0]))


def _measured(found: list[_Near | None], known: Array | None = None, why: str = "") -> Measured:
    gaps = np.array([np.nan if one is None else one.gap for one in found], float)
    inside = np.array([np.nan if one is None else one.inside for one in found], float)
    places = np.full(len(found), None, object)
    places[:] = [None if one is None else one.place for one in found]
    told = ~np.isnan(gaps) if known is None else ~np.isnan(gaps) & known
    return Measured(
        Column("length", gaps, None if told.all() else told, None, why),
        {
            "inside": lambda rows: Column("length", inside[rows], told[rows], None, why),
            "place": lambda rows: Column("place", places[rows]),
        },
    )


@measure("by-cover", ("walks", "pockets", "length"), "length", parts={"inside": "length", "place": "place"})
def by_cover(scene: Scene, walks: Rows, pockets: Rows, beyond: Column) -> Measured:
    """How near a walk comes to a pocket, in metres: from its line to the outline, 0 inside it. The last
    stretch to a stand, within its range (30 yd where it does not say) and `beyond` more, is left out where
    it comes no nearer to the pocket than the stand itself, unless the stand lies in it; a walk that is left out
    whole comes infinitely far.

    `inside` is the length of the walk within the pocket, `place` the middle of the longest stretch inside,
    or the place of the walk nearest the pocket. Unknown where the pocket has no place."""
    every, grounds = walks_of(scene), scene.table(pockets.plural).column("shape").values
    found: list[_Near | None] = []
    for row, pocket, more in zip(walks.rows, pockets.rows, beyond.values, strict=True):
        walk, ground = every[row], grounds[pocket]
        if ground is None:
            found.append(None)
            continue
        seat = scene.shape_of(walk.stand) if walk.stand else None
        amid = seat is not None and ground.distance(seat) <= TOLERANCE
        radius = range_of(scene, walk.stand) + float(more) if walk.stand and not amid else 0.0
        found.append(_comes_by(walk.line, ground, walk.whole, seat, radius))
    return _measured(found)


@measure("by-food", ("stands", "foods", "length"), "length", parts={"inside": "length", "place": "place"})
def by_food(scene: Scene, stands: Rows, foods: Rows, near: Column) -> Measured:
    """How near the way out from a stand comes to a food, in metres; 0 where it crosses it. The stretch
    within the stand's range (30 yd where it does not say) is left out where it comes no nearer to the food
    than the stand.

    The way out is that of `leave`, else of `reach`. `inside` is the length of it in the food, `place` where
    it is nearest. Unknown without a way or a place; and, where it comes nearer than `near`, for a stand
    that does not say when it is sat in."""
    return _by_food(scene, stands, foods, near, "way-out")


@measure("by-food-in", ("stands", "foods", "length"), "length", parts={"inside": "length", "place": "place"})
def by_food_in(scene: Scene, stands: Rows, foods: Rows, near: Column) -> Measured:
    """How near the way in to a stand, that of `reach`, comes to a food, in metres; 0 where it crosses it.
    As `by-food` in all else."""
    return _by_food(scene, stands, foods, near, "way-in")


def _by_food(scene: Scene, stands: Rows, foods: Rows, near: Column, word: str) -> Measured:
    ways, every = scene.table("stands").column(word).values, scene.plan.of(Stand)
    fields = scene.table(foods.plural).column("shape").values
    found: list[_Near | None] = []
    for row, food in zip(stands.rows, foods.rows, strict=True):
        way, field, seat = ways[row], fields[food], scene.shape_of(every[row])
        if way is None or field is None:
            found.append(None)
        elif "sit" in every[row].parsed.broken:  # a slip has told that nobody knows when
            found.append(_Near(np.inf, 0.0, Point(way.coords[0])))
        else:
            found.append(_comes_by(way, field, way, seat, range_of(scene, every[row])))
    unsaid = np.array([not every[row].has("sit") for row in stands.rows], bool)
    close = np.array([one is not None and one.gap < limit - TOLERANCE
                      for one, limit in zip(found, near.values, strict=True)], bool)  # fmt: skip
    return _measured(found, ~(unsaid & close), "no `sit` is given")


# -- feathered edge by the walk ----------------------------------------------------------------------------


@of_plural("cuts", "cover", "shape")
def _cover(scene: Scene) -> Column:
    """Where what it cuts stands and lies: the line of its stumps with every tree that lies from them, the
    place of a tree, the ground of a patch."""
    blocks = cut_blocks(scene)
    stood = scene.table("cuts").column("shape").values
    cut = scene.trees
    found: list[BaseGeometry | None] = []
    for block, shape in zip(blocks, stood, strict=True):
        rows = cut.rows_of(block)
        lying = cut.fallen[rows[cut.lies[rows]]]
        parts = [one for one in (shape, *shapely.get_parts(lying)) if one is not None and not one.is_empty]
        found.append(shapely.geometrycollections(parts) if parts else None)
    return column("shape", found)


# -- across the deer's way ---------------------------------------------------------------------------------


class _Above(NamedTuple):
    """Deer that are on a line before a place, in metres from its first point, come on to the stand; how far
    it is from that place."""

    at: float
    onward: float


class _Travel:
    """The lines of travel as deer walk them toward food in the evening (`forward`) or back to bed: which of
    them bring deer into a stand's range, and from how far."""

    def __init__(self, scene: Scene, chain: float) -> None:
        self.chain = chain + TOLERANCE
        self.lines: list[Any] = []
        #: the line of each path, by the path's row
        self.number: dict[int, int] = {}
        for row, path in enumerate(scene.plan.of(Path)):
            shape = scene.shape_of(path)
            if scene.plan.word(path, "use") == "travel" and isinstance(shape, LineString):
                self.number[row] = len(self.lines)
                self.lines.append(shape)
        self.index = shapely.STRtree(self.lines)
        self.feeders: dict[bool, list[list[tuple[int, float, float]]]] = {}

    def feeding(self, forward: bool) -> list[list[tuple[int, float, float]]]:
        """For each line those that end within a chain's gap of it: which, where on it, and the gap."""
        found = self.feeders.get(forward)
        if found is None:
            found = self.feeders[forward] = [[] for _ in self.lines]
            ends = [Point(line.coords[-1 if forward else 0]) for line in self.lines]
            feeder, fed = self.index.query(np.array(ends, object), predicate="dwithin", distance=self.chain)
            for one, other in sorted(zip(feeder.tolist(), fed.tolist(), strict=True)):
                if one != other:
                    line = self.lines[other]
                    found[other].append((one, float(line.project(ends[one])), float(line.distance(ends[one]))))
        return found

    def above(self, seat: BaseGeometry, reach: float, forward: bool) -> dict[int, list[_Above]]:
        """For each line from which deer come into range of a stand, the places they come to first."""
        queue: list[tuple[float, int, float]] = []
        for number in self.index.query(seat, predicate="dwithin", distance=reach + TOLERANCE).tolist():
            queue.append((0.0, number, float(self.lines[number].project(seat))))
        heapq.heapify(queue)
        found: dict[int, list[_Above]] = {}
        while queue:
            onward, number, at = heapq.heappop(queue)
            before = found.setdefault(number, [])
            # a place that deer pass on their way to one already known says nothing more
            if any((one.at >= at if forward else one.at <= at) and one.onward <= onward for one in before):
                continue
            before.append(_Above(at, onward))
            for feeder, join, gap in self.feeding(forward)[number]:
                ahead = at - join if forward else join - at
                if ahead > -TOLERANCE and feeder not in found:
                    end = float(self.lines[feeder].length) if forward else 0.0
                    heapq.heappush(queue, (onward + max(ahead, 0.0) + gap, feeder, end))
        return found


@measure("crosses-above", ("stands", "paths", "length"), "length", parts={"place": "place"})
def crosses_above(scene: Scene, stands: Rows, paths: Rows, chain: Column) -> Measured:
    """How far above a stand, along the deer's way, the way in to it crosses a line of travel, in metres: from
    the crossing that lies farthest up to the place nearest the stand. 0 where it crosses only below.

    Travel is drawn from bed to food: above is toward its first point in the evening, toward its last in the
    morning, and either for a stand that is sat in all day. A line counts where it comes within the stand's
    range (30 yd where it does not say), or where it ends within `chain` of one that counts, above the stand;
    then the way is along both. `place` is that crossing. Unknown without a way in; and, where it would be
    above by one sit or the other, for a stand that does not say when it is sat in."""
    every, ways = scene.plan.of(Stand), scene.table("stands").column("way-in").values
    sizes, known = np.zeros(len(stands)), np.ones(len(stands), bool)
    places = np.full(len(stands), None, object)
    for index, (row, path, gap) in enumerate(zip(stands.rows, paths.rows, chain.values, strict=True)):
        travel = _travel(scene, float(gap))
        stand, way, seat = every[row], ways[row], scene.shape_of(every[row])
        number = travel.number.get(int(path))
        if way is None or seat is None or number is None:
            known[index] = way is not None and seat is not None
            continue
        line = travel.lines[number]
        ends = shapely.get_coordinates(way.intersection(line))
        crossings = shapely.line_locate_point(line, shapely.points(ends)) if len(ends) else np.zeros(0)
        sit = scene.plan.word(stand, "sit")
        for forward in {"evening": (True,), "morning": (False,)}.get(sit, (True, False)):
            for at in crossings:
                far = _far_above(travel, scene, stand, seat, forward, number, float(at))
                if far > sizes[index]:
                    sizes[index], places[index] = far, line.interpolate(float(at))
        known[index] = sit != "" or sizes[index] <= TOLERANCE or "sit" in stand.parsed.broken
        if sit == "" and "sit" in stand.parsed.broken:
            sizes[index] = 0.0  # a slip has told that nobody knows when
    value = Column("length", sizes, None if known.all() else known, None, "no `sit` is given")
    return Measured(value, {"place": lambda rows: Column("place", places[rows])})


def _travel(scene: Scene, chain: float) -> _Travel:
    key = ("lines of travel", chain)
    found: _Travel | None = scene.memo.get(key)
    if found is None:
        found = scene.memo[key] = _Travel(scene, chain)
    return found


def _far_above(travel: _Travel, scene: Scene, stand: Stand, seat: BaseGeometry, forward: bool, number: int,
               at: float) -> float:  # fmt: skip
    """How far along the deer's way a place on a line lies before a stand; 0 where it does not."""
    key = ("above", id(stand), forward, travel.chain)
    above = scene.memo.get(key)
    if above is None:
        above = scene.memo[key] = travel.above(seat, range_of(scene, stand), forward)
    ahead = [(one.at - at if forward else at - one.at, one.onward) for one in above.get(number, [])]
    return min((far + onward for far, onward in ahead if far > TOLERANCE), default=0.0)
