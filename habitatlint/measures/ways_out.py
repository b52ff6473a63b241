"""Ways out of a pocket: the open arc of a bed, and dead ends.

What bars deer are the tops of trees that lie, bare stems too high to step over and too low to pass
under, and hazards with `barrier yes`. Sizes are common practice, no source; for how high a deer
steps and how low it passes only fence figures are published (16 to 18 in under, 40 to 42 over).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.ground import trees as fallen
from habitatlint.ground.columns import Array, Column, Indices, Table, column
from habitatlint.ground.cuts import LAYING
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Hazard, Patch, Pocket
from habitatlint.measures.free_ground import (
    DIRECTIONS,
    LEAST_STRIP,
    MARGIN,
    SNAP,
    SWEEPS,
    FreeGround,
    grown,
    grown_together,
    in_pieces,
)
from habitatlint.measures.openings import OPENING_REACH, Strip, ahead_of, sawn, strips, thrown
from habitatlint.measures.together import for_each
from habitatlint.measures.travel import unsaid_falls
from habitatlint.measures.vocabulary import Measured, Rows, measure, plural
from habitatlint.source import Span
from habitatlint.units import TOLERANCE, YARD


class Bars(NamedTuple):
    """What is a barrier to deer: the width of a way, and the heights of a bare stem from which it is no
    longer stepped over and can be passed under, in metres."""

    way: float
    over: float = fallen.STEP_OVER
    under: float = fallen.WALK_UNDER


def barriers(scene: Scene, bars: Bars) -> tuple[Array, STRtree]:
    """What bars deer of each tree, and its index, for stems stepped over and passed under so high."""
    cut = scene.trees
    if (bars.over, bars.under) == (fallen.STEP_OVER, fallen.WALK_UNDER):
        return cut.barrier, cut.barrier_index
    key = ("barriers", bars.over, bars.under)
    found = scene.memo.get(key)
    if found is None:
        high = np.where(cut.state == "blown", 0.0, cut.cut_height)
        bearing = np.where(cut.lies, cut.bearing, np.nan)
        shapes = fallen.barriers(cut.x, cut.y, bearing, cut.reach, high, cut.top, bars.over, bars.under)
        shapes[~cut.lies] = Polygon()
        found = scene.memo[key] = (shapes, STRtree(shapes))
    return found


def ground_within(scene: Scene, outline: BaseGeometry, bars: Bars) -> FreeGround:
    """The free ground of an outline: itself grown by the margin, less what bars deer grown by half a way, with
    the strips of openings and corridors; those that were sawn before a storm do not open what it threw."""
    whole = outline.buffer(MARGIN, quad_segs=8)
    shapes, index = barriers(scene, bars)
    # in their own order, so that the same plan always gives the same ground
    rows = np.sort(index.query(whole, predicate="dwithin", distance=bars.way / 2))

    def left(these: Array, sawn_: list[Strip]) -> BaseGeometry:
        barred = grown_together(these, bars.way / 2)
        cuts = [strip.line.buffer(max(strip.width - bars.way, LEAST_STRIP) / 2, cap_style="square") for strip in sawn_]
        return barred.difference(shapely.union_all(cuts)) if cuts else barred

    every, blown = _sawn_in(scene, whole, bars.way), thrown(scene)[rows]
    barred = left(shapes[rows[~blown]], every)
    if blown.any():
        barred = shapely.union(barred, left(shapes[rows[blown]], [strip for strip in every if strip.through]))
    shut = [shape for shape in _shut(scene) if shape.distance(whole) <= bars.way / 2]
    if shut:  # no saw goes through a fence or water
        barred = shapely.union_all([barred, *grown(shut, bars.way / 2)])
    return FreeGround(in_pieces(whole.difference(barred)), whole)


def _sawn_in(scene: Scene, ground: BaseGeometry, way: float) -> list[Strip]:
    """The openings and corridors a way wide whose line meets a ground, in order; by an index."""
    key = ("sawn index", round(way, 4))
    found = scene.memo.get(key)
    if found is None:
        every = sawn(scene, way)
        found = scene.memo[key] = (every, STRtree([strip.line for strip in every]))
    every, index = found
    return [every[number] for number in np.sort(index.query(ground, predicate="intersects"))]


def _shut(scene: Scene) -> list[BaseGeometry]:
    """The hazards that deer cannot pass."""
    if "shut" not in scene.memo:
        scene.memo["shut"] = [
            shape
            for hazard in scene.plan.of(Hazard)
            if scene.plan.word(hazard, "barrier") == "yes" and (shape := scene.shape_of(hazard)) is not None
        ]
    return scene.memo["shut"]  # type: ignore[no-any-return]


def ground_of(scene: Scene, pocket: int, bars: Bars) -> FreeGround | None:
    """The free ground of a pocket, by its row; None for one without outline."""
    key = ("free ground", pocket, bars)
    if key not in scene.memo:
        _prepare(scene, pocket, bars)
    return scene.memo[key]  # type: ignore[no-any-return]


def _prepare(scene: Scene, pocket: int, bars: Bars) -> None:
    """Works out the free ground of a pocket, and of every cut pocket with it: who asks for one asks for all."""
    cut = scene.table("pockets").column("cut").values
    missing = [
        row for row, block in enumerate(scene.plan.of(Pocket))
        if (row == pocket or cut[row]) and ("free ground", row, bars) not in scene.memo
    ]  # fmt: skip
    outlines = [scene.shape_of(scene.plan.of(Pocket)[row]) for row in missing]
    # what all of them ask is worked out, and its index trees are built, before they are asked at once
    barriers(scene, bars)[1].query(Point())
    _sawn_in(scene, Point(), bars.way)

    def ground(outline: BaseGeometry | None) -> FreeGround | None:
        if outline is None:
            return None
        found = ground_within(scene, outline, bars)
        found.depths(sweep_from(outline))
        return found

    for row, found in zip(missing, for_each(ground, outlines), strict=True):
        scene.memo[("free ground", row, bars)] = found


def bearing(start: BaseGeometry, end: BaseGeometry) -> float:
    """The bearing from one point to another, in degrees; north between points that are one."""
    east, north = end.x - start.x, end.y - start.y
    return math.degrees(math.atan2(east, north)) % 360 if math.hypot(east, north) > TOLERANCE else 0.0


def sweep_from(outline: BaseGeometry) -> float:
    """The bearing that a pocket's sweeps are set off from: from its middle to its outline's first point."""
    return bearing(outline.centroid, first_point(outline))


def first_point(outline: BaseGeometry) -> Point:
    return Point(shapely.get_coordinates(outline)[0])


def patches_of(scene: Scene) -> list[list[Patch]]:
    """For each pocket the patches that lay trees in it: those that name it by `in`, or whose ground meets it."""
    found = scene.memo.get("laying patches")
    if found is not None:
        return found  # type: ignore[no-any-return]
    pockets = scene.plan.of(Pocket)
    found = scene.memo["laying patches"] = [[] for _ in pockets]
    grounds = np.array([scene.shape_of(pocket) for pocket in pockets], object)
    index, numbers = STRtree(grounds), {pocket.name: number for number, pocket in enumerate(pockets)}
    for patch in scene.plan.of(Patch):
        if scene.plan.word(patch, "method") not in LAYING or not scene.plan.counted(patch):
            continue
        named, shape = scene.plan.word(patch, "in"), scene.shape_of(patch)
        near = index.query(shape, predicate="intersects") if shape is not None else np.empty(0, np.intp)
        met = set(near[shapely.area(shapely.intersection(grounds[near], shape)) > 0].tolist())
        for number in sorted(met | ({numbers[named]} if named and named in numbers else set())):
            found[number].append(patch)
    return found


def unlaid(scene: Scene) -> list[str]:
    """For each pocket why nobody knows how all its trees will lie, which are cut by a patch or have no `fall`;
    empty where all is known."""
    found = scene.memo.get("unlaid")
    if found is None:
        loose = set(scene.trees.pocket[unsaid_falls(scene)].tolist())
        found = scene.memo["unlaid"] = [
            NO_TREES if patches else NO_FALL if pocket in loose else ""
            for pocket, patches in enumerate(patches_of(scene))
        ]
    return found


def why_unlaid(scene: Scene, pockets: Iterable[int]) -> str:
    """Why nobody knows of some pockets how their trees will lie, in words."""
    return "; ".join(dict.fromkeys(why for pocket in pockets if (why := unlaid(scene)[pocket])))


NO_TREES = "a patch lays no trees: how they will lie is not known"
NO_FALL = "no `fall` is given: how its trees will lie is not known"


# -- the open arc of a bed ---------------------------------------------------------------------------------


class _Bed(NamedTuple):
    """What is known of one bed: its open arc in degrees, whether it lies under a top, which of the directions
    are open, and the bearing they are set off from."""

    arc: float
    under: bool
    open: Array
    first: float


class Bedding(NamedTuple):
    """Where deer may bed in a pocket: a bed that is written, or for a cut pocket with none the spots beside its
    tops that are looked at instead. `row` is the bed's in its table, -1 for spots."""

    pocket: int
    row: int
    spots: tuple[Point, ...]


#: of the trees of a pocket without beds, the spots on both sides of so many are looked at
SAMPLED = 6


def beddings(scene: Scene) -> list[Bedding]:
    """Every written bed, and the spots of cut pockets that have none."""
    found = scene.memo.get("beddings")
    if found is not None:
        return found  # type: ignore[no-any-return]
    beds = scene.table("beds")
    pockets, places = beds.column("pocket").values, beds.column("at").values
    found = [
        Bedding(int(pocket), row, (place,)) for row, (pocket, place) in enumerate(zip(pockets, places, strict=True))
    ]
    cut = scene.table("pockets").column("cut").values
    for index, pocket in enumerate(scene.plan.of(Pocket)):
        if cut[index] and not pocket.has("bed") and (outline := scene.shape_of(pocket)) is not None:
            spots = tuple(_beside_tops(scene, index, outline))
            if spots or unlaid(scene)[index]:  # where no top lies there is nothing to look at
                found.append(Bedding(index, -1, spots))
    scene.memo["beddings"] = found
    return found


def _beside_tops(scene: Scene, pocket: int, outline: BaseGeometry) -> list[Point]:
    """Spots a yard off the middle of a top, on both its sides, in the pocket and under no top; of a few trees,
    picked evenly."""
    cut = scene.trees
    rows = np.flatnonzero((cut.pocket == pocket) & cut.lies & ~shapely.is_empty(cut.top))
    rows = rows[np.linspace(0, len(rows) - 1, min(SAMPLED, len(rows))).round().astype(int)] if len(rows) else rows
    turned = np.radians(cut.bearing[rows])
    middles = shapely.get_coordinates(shapely.centroid(cut.top[rows])).reshape(-1, 2)
    aside = np.column_stack([np.cos(turned), -np.sin(turned)]) * (cut.crown_width[rows] / 2 + YARD)[:, None]
    spots = shapely.points(np.concatenate([middles + aside, middles - aside]))
    spots = spots[shapely.covers(outline, spots)]
    under, _ = cut.barrier_index.query(spots, predicate="intersects")
    return list(np.delete(spots, under))


@plural(
    "bed-places", {"pocket": "thing:pockets", "at": "place", "shape": "shape", "inside": "truth", "sampled": "truth"}
)
def _bed_places(scene: Scene) -> Table:
    """Beds, and for each cut pocket without any the ground beside its tops (`is sampled`)."""
    every, beds, pockets = beddings(scene), scene.table("beds"), scene.plan.of(Pocket)

    def label(row: int) -> str:
        one = every[row]
        return beds.label(one.row) if one.row >= 0 else f"{pockets[one.pocket].label} (no `bed` given)"

    def span(row: int) -> Span:
        one = every[row]
        return beds.span(one.row) if one.row >= 0 else pockets[one.pocket].span()

    table = Table("bed-places", len(every), label, lambda row: pockets[every[row].pocket].name, span)
    outlines = [scene.shape_of(pocket) for pocket in pockets]
    inside = [
        (outline := outlines[one.pocket]) is not None and all(outline.distance(spot) <= TOLERANCE for spot in one.spots)
        for one in every
    ]
    places = [one.spots[0] if one.row >= 0 else outlines[one.pocket].centroid for one in every]  # type: ignore[union-attr]
    table.add("pocket", lambda: column("thing:pockets", [one.pocket for one in every]))
    table.add("at", lambda: column("place", places))
    table.add("shape", lambda: column("shape", places))
    table.add("inside", lambda: column("truth", inside))
    table.add("sampled", lambda: column("truth", [one.row < 0 for one in every]))
    return table


def bed_of(scene: Scene, pocket: int, place: Point, bars: Bars) -> _Bed | None:
    """The open arc of a bed in a pocket; None where the pocket has no outline."""
    key = ("bed", pocket, place.x, place.y, bars)
    if key in scene.memo:
        return scene.memo[key]  # type: ignore[no-any-return]
    ground = ground_of(scene, pocket, bars)
    outline = scene.shape_of(scene.plan.of(Pocket)[pocket])
    found = None
    if ground is not None and outline is not None:
        under = _under(scene, place, bars)
        first = bearing(place, first_point(outline))
        directions = np.zeros(DIRECTIONS, bool) if under else ground.open_directions(place, first)
        found = _Bed(360 / DIRECTIONS * float(directions.sum()), under, directions, first)
    scene.memo[key] = found
    return found


def open_arcs(scene: Scene, pocket: int, place: Point, bars: Bars) -> list[tuple[float, float]]:
    """The bearings between which trouble may come and leave a bed of a pocket a way out: pairs clockwise, in
    degrees from true north, the second beyond the first; (0, 360) where all are open, none where none is."""
    bed = bed_of(scene, pocket, place, bars)
    if bed is None or not bed.open.any():
        return []
    if bed.open.all():
        return [(0.0, 360.0)]
    step = 360 / DIRECTIONS
    begins = np.flatnonzero(bed.open & ~np.roll(bed.open, 1))
    ends = np.flatnonzero(bed.open & ~np.roll(bed.open, -1))
    arcs = []
    for begin in begins:
        end = ends[np.searchsorted(ends, begin) % len(ends)]
        wide = (end - begin) % DIRECTIONS + 1
        start = (bed.first + begin * step) % 360
        arcs.append((float(start), float(start + wide * step)))
    return arcs


def _under(scene: Scene, place: Point, bars: Bars) -> bool:
    """Whether a top lies over a place that no opening or corridor clears."""
    over = scene.trees.barrier_index.query(place, predicate="intersects")
    over = over[[scene.trees.top[row].covers(place) for row in over]] if len(over) else over
    if not len(over):
        return False
    sawn_ = strips(scene, bars.way)
    here = shapely.covers(sawn_.shapes, place)
    return not (here & sawn_.through).any() and (bool(thrown(scene)[over].any()) or not here.any())


@measure(
    "open-arc",
    ("bed-places", "length", "length", "length"),
    "angle",
    parts={
        "place": "place", "told": "text", "out": "bearing", "across": "bearing", "over": "things:trees",
        "better": "shape",
    },
)  # fmt: skip
def open_arc(scene: Scene, places: Rows, way: Column, over: Column, under: Column) -> Measured:
    """Out of how many degrees of the compass a predator may come and still leave a bed a way out.

    In direction u a deer may use free ground x with (x - bed).u <= 1 yd, that is, ground that does not lead
    toward the predator; u is open if free ground within 2 yd of the bed is joined there to the rim, 20 yd
    beyond the pocket's outline. Of 72 directions, 5 degrees each. Free ground is all ground but barriers
    grown by half of `way`, with openings and corridors; a bare stem bars from `over` (higher is not
    stepped over) to `under` (higher is passed under). Sealed gives 0; a wall with one gap 190 to 215
    degrees, up to 250 for a wide one; two gaps at right angles 275 to 305; two opposite ones 360. A bed under a
    top has 0, unless in an opening's strip. A wall beyond the margin is not seen. An added top never raises
    it, an added opening never lowers it (where the top makes no opening longer).

    In a cut pocket without beds spots beside its tops are looked at, on both sides of six trees at most, and
    the middle one of what they have is told. `told` says it in words, with the ways out: the gaps by which the
    ground of the bed leaves the hull of what lies in the pocket, counted there and not at the rim, where
    they join. `out` is the bearing away from the middle of the widest stretch of directions that are not open,
    by which another way out would help most; `across` the bearing opposite to it; `over` the trees whose tops
    lie over the bed. `better` are the places in the pocket, nearest first, to which the bed could be moved and be
    left whichever way trouble comes, as points; in a design alone, for in a plan as built beds lie where deer
    bed. Unknown where trees are cut by a patch, which lays no trees, or have no `fall`, unless those that are laid
    shut it already."""
    every, unknown = beddings(scene), unlaid(scene)
    found: list[tuple[Point, _Bed] | None] = []
    for row, *sizes in zip(places.rows, way.values, over.values, under.values, strict=True):
        found.append(_middle(scene, every[int(row)], Bars(*map(float, sizes))))
    known = np.array(
        [
            one is not None and (one[1].arc < 360 or not unknown[every[int(row)].pocket])
            for one, row in zip(found, places.rows, strict=True)
        ],
        bool,
    )
    arcs = np.array([one[1].arc if one is not None else np.nan for one in found], float)
    estimated = np.array([_estimated(scene, every[int(row)].pocket) for row in places.rows], bool)

    def told(rows: Indices) -> Column:
        words = []
        for row in rows:
            one, bedding = found[row], every[int(places.rows[row])]
            bars = Bars(float(way.values[row]), float(over.values[row]), float(under.values[row]))
            words.append("" if one is None else _told(scene, bedding, one[0], one[1], bars))
        return column("text", words)

    def place(rows: Indices) -> Column:
        return column("place", [one and one[0] for one in (found[row] for row in rows)])

    why = why_unlaid(scene, [every[int(row)].pocket for row in places.rows])

    def out(rows: Indices, turned: float) -> Column:
        ways = [one and _way_that_lacks(one[1]) for one in (found[row] for row in rows)]
        return column("bearing", [None if way is None else (way + turned) % 360 for way in ways])

    def better(rows: Indices) -> Column:
        found_there = []
        for row in rows:
            bedding, sizes = every[int(places.rows[row])], (way.values[row], over.values[row], under.values[row])
            movable = bedding.row >= 0 and scene.design
            bars = Bars(*map(float, sizes))
            found_there.append(_better(scene, bedding.pocket, bedding.spots[0], bars) if movable else None)
        why = "no place with ways out on every side is found" if scene.design else "beds lie where deer bed"
        return column("shape", found_there, why)

    def over_it(rows: Indices) -> Column:
        lists = np.full(len(rows), None, object)
        for index, one in enumerate(found[row] for row in rows):
            near = scene.trees.barrier_index.query(one[0], predicate="intersects") if one is not None else []
            lists[index] = np.array([row for row in sorted(near) if scene.trees.top[row].covers(one[0])], np.intp)
        return Column("things:trees", lists, None, None, "it lies under no top")

    return Measured(
        Column("angle", arcs, known, estimated, why),
        {
            "place": place,
            "told": told,
            "out": lambda rows: out(rows, 0.0),
            "across": lambda rows: out(rows, 180.0),
            "over": over_it,
            "better": better,
        },
    )


#: a better place for a bed is looked for so far off it, on as many bearings as it is looked out from there
_RINGS = np.array([3, 6, 9, 12, 16, 20, 25, 30, 40, 50, 65, 80]) * YARD
_BEARINGS = 24
#: so many of them are told
_BETTER = 4


def _better(scene: Scene, pocket: int, bed: Point, bars: Bars) -> BaseGeometry | None:
    """Places for a bed that can be left whichever way trouble comes, nearest first; None where none is found.

    From each straight lines over free ground to the rim lead out on all sides: no two that follow each other are
    turned by more than half a circle. Ground left only by turns is not found so."""
    ground, outline = ground_of(scene, pocket, bars), scene.shape_of(scene.plan.of(Pocket)[pocket])
    if ground is None or outline is None:
        return None
    ahead = np.array([ahead_of(turned) for turned in np.arange(_BEARINGS) * 360 / _BEARINGS])
    west, south, east, north = ground.whole.bounds
    inner, barred = outline.buffer(-SNAP), ground.barred
    shapely.prepare(inner)
    better: list[Point] = []
    for ring in _RINGS:
        spots = shapely.points(np.array([bed.x, bed.y]) + ahead * ring)
        spots = spots[shapely.covers(inner, spots) & ~shapely.intersects(barred, spots)]
        here = shapely.get_coordinates(spots)
        ends = here[:, None] + ahead * math.hypot(east - west, north - south)
        lines = shapely.linestrings(np.stack([np.broadcast_to(here[:, None], ends.shape), ends], axis=2))
        out = ~shapely.intersects(barred, lines)
        better += [spot for spot, clear in zip(spots, out, strict=True) if _on_all_sides(clear)]
        if len(better) >= _BETTER:
            break
    return shapely.multipoints(better[:_BETTER]) if better else None


def _on_all_sides(clear: Array) -> bool:
    """Whether bearings that are clear, of as many all round, leave no more than half a circle between two."""
    at = np.flatnonzero(clear)
    return len(at) > 1 and bool(np.diff(np.append(at, at[0] + len(clear))).max() <= len(clear) / 2)


def _way_that_lacks(bed: _Bed) -> float | None:
    """The bearing away from the middle of the widest stretch of directions that are not open; None where all
    are. Where none is, away from the first."""
    if bed.open.all():
        return None
    step = 360 / DIRECTIONS
    shut = np.flatnonzero(~bed.open)
    begins = [int(one) for one in shut if bed.open[one - 1]] or [0]
    widths = [int(np.argmax(np.roll(bed.open, -begin))) or DIRECTIONS for begin in begins]
    widest = int(np.argmax(widths))
    middle = bed.first + (begins[widest] + (widths[widest] - 1) / 2) * step
    return float((middle + 180) % 360)


def _middle(scene: Scene, bedding: Bedding, bars: Bars) -> tuple[Point, _Bed] | None:
    """The bed, or of several spots the one in the middle by its open arc; None where there is none."""
    looked_at = [
        (spot, bed) for spot in bedding.spots if (bed := bed_of(scene, bedding.pocket, spot, bars)) is not None
    ]
    looked_at.sort(key=lambda one: one[1].arc)
    return looked_at[(len(looked_at) - 1) // 2] if looked_at else None


def _told(scene: Scene, bedding: Bedding, place: Point, bed: _Bed, bars: Bars) -> str:
    before = "" if bedding.row >= 0 else "has a spot beside its tops that "
    if bed.under:
        return before + "lies under a top"
    if not bed.arc:
        return before + "has no way out"
    ways = ways_out(scene, bedding.pocket, place, bars)
    return before + (f"has {ways} way{'' if ways == 1 else 's'} out" if ways else "is cut off on one side")


def ways_out(scene: Scene, pocket: int, place: Point, bars: Bars) -> int:
    """How many gaps lead out from a bed: separate stretches in which its free ground leaves the convex hull
    of what bars deer in the pocket; 0 for a bed that lies beside it."""
    ground = ground_of(scene, pocket, bars)
    outline = scene.shape_of(scene.plan.of(Pocket)[pocket])
    if ground is None or outline is None:
        return 0
    shapes, index = barriers(scene, bars)
    rows = index.query(outline, predicate="intersects")
    walls = [*shapes[rows], *(shape.intersection(ground.whole) for shape in _shut(scene))]
    hull = shapely.geometrycollections(walls).convex_hull
    if not isinstance(hull, Polygon) or not hull.covers(place):
        return 0
    near = [
        part for part in shapely.get_parts(ground.joined.intersection(hull))
        if isinstance(part, Polygon) and part.distance(place) <= SNAP
    ]  # fmt: skip
    gaps = shapely.line_merge(shapely.union_all([part.boundary.intersection(hull.exterior) for part in near]))
    return sum(1 for part in shapely.get_parts(gaps) if isinstance(part, LineString) and part.length > TOLERANCE)


def _estimated(scene: Scene, pocket: int) -> bool:
    cut = scene.trees
    return bool((cut.estimated & (cut.pocket == pocket)).any())


# -- dead ends -----------------------------------------------------------------------------------------------


class _DeadEnd(NamedTuple):
    """The deepest dead end of a pocket: depth in metres, its low, the shortest cut to ground that leads on,
    and the tree that the cut goes through. `sealed` is the widest ground that nothing leads out of; where the
    pocket has no dead end to speak of, the cut leads out of that."""

    depth: float
    place: Point | None
    cut: LineString | None
    row: int
    sealed: float
    sealed_at: Point | None


def dead_end_of(scene: Scene, pocket: int, bars: Bars) -> _DeadEnd | None:
    """The deepest dead end of a pocket; None where it has no outline."""
    key = ("dead end", pocket, bars)
    if key not in scene.memo:
        ground = ground_of(scene, pocket, bars)
        scene.memo[key] = None if ground is None else _dead_end(scene, pocket, ground, bars)
    return scene.memo[key]  # type: ignore[no-any-return]


def _dead_end(scene: Scene, pocket: int, ground: FreeGround, bars: Bars) -> _DeadEnd:
    outline = scene.shape_of(scene.plan.of(Pocket)[pocket])
    assert outline is not None
    first = sweep_from(outline)
    depths = ground.depths(first)
    sealed, sealed_at, piece = _sealed(scene, pocket, outline, ground, bars)
    out = None
    if piece is not None and sealed_at is not None:
        out = _way_through(scene, piece, sealed_at, shapely.get_parts(ground.joined), bars)
    deep = np.where(np.isfinite(depths.depth) & depths.lows, depths.depth, 0.0)
    deep_ones = np.flatnonzero(deep > TOLERANCE)
    for flat in deep_ones[np.argsort(-deep.ravel()[deep_ones], kind="stable")]:
        corner, sweep = divmod(int(flat), deep.shape[1])
        depth = float(deep[corner, sweep])
        if depth <= TOLERANCE:
            break
        place = Point(ground.corners[corner])
        row = _wall(scene, place, bars)
        if _belongs(scene, pocket, outline, place, row):
            toward = _sweep(first, sweep, deep.shape[1])
            level = float(ground.corners[corner] @ toward) + depth
            cut = out if out is not None and depth < _SHALLOW else _cut(scene, ground, place, toward, level, bars)
            return _DeadEnd(depth, place, cut, row, sealed, sealed_at)
    return _DeadEnd(0.0, None, out, -1, sealed, sealed_at)


def _sweep(first: float, sweep: int, sweeps: int) -> Array:
    turned = math.radians(first + (sweep + 0.5) * 360 / sweeps)
    return np.array([math.sin(turned), math.cos(turned)])


def _wall(scene: Scene, place: Point, bars: Bars) -> int:
    """The tree whose barrier is nearest a place, -1 where none is as near as ground is to what shuts it."""
    shapes, index = barriers(scene, bars)
    near = np.sort(index.query(place, predicate="dwithin", distance=bars.way))
    return int(near[np.argmin(shapely.distance(shapes[near], place))]) if len(near) else -1


def _belongs(scene: Scene, pocket: int, outline: BaseGeometry, place: Point, row: int) -> bool:
    """Whether a dead end is this pocket's and not its neighbour's: by the tree at its point, else by the ground."""
    of = int(scene.trees.pocket[row]) if row >= 0 else -1
    return of == pocket if of >= 0 else outline.distance(place) <= TOLERANCE


def _cut(scene: Scene, ground: FreeGround, place: Point, toward: Array, level: float, bars: Bars) -> LineString | None:
    """The shortest line from a low to ground that leads on, through what can be sawn: ground joined to the rim, no
    higher than the way out of the dead end, and no part of it."""
    below = _below(ground.whole, toward, level - TOLERANCE)
    pieces = shapely.get_parts(ground.joined.intersection(below))
    others = [piece for piece in pieces if isinstance(piece, Polygon) and piece.distance(place) > TOLERANCE]
    return _way_through(scene, place, place, others, bars)


def _way_through(
    scene: Scene, start: BaseGeometry, middle: Point, others: Sequence[BaseGeometry], bars: Bars
) -> LineString | None:
    """The shortest line from ground to others; where no saw goes there, for a fence or water, the shortest straight
    away from a place in it that meets none, no longer than an opening."""
    if not len(others):
        return None
    goal = shapely.multipolygons(np.array(others, object))
    cut = shapely.shortest_line(start, goal)
    shut = [shape for shape in _shut(scene) if shape.distance(middle) <= OPENING_REACH + bars.way]
    walls = shapely.union_all(grown(shut, bars.way / 2 - TOLERANCE)) if shut else Point()
    if cut.length > TOLERANCE and not cut.intersects(walls):
        return cut
    if not shut:
        return None
    lines = []
    for turned in np.arange(DIRECTIONS) * 360 / DIRECTIONS:
        here = shapely.get_coordinates(middle)[0]
        there = LineString([here, here + ahead_of(float(turned)) * OPENING_REACH]).intersection(goal)
        if not there.is_empty:
            line = shapely.shortest_line(middle, there)
            if line.length > TOLERANCE and not line.intersects(walls):
                lines.append(line)
    return min(lines, key=lambda line: round(line.length, 3), default=None)


def _below(whole: BaseGeometry, toward: Array, level: float) -> Polygon:
    """The ground x with x.toward <= level, as far as a place reaches."""
    reach = 2 * math.hypot(whole.bounds[2] - whole.bounds[0], whole.bounds[3] - whole.bounds[1]) + 1
    middle = np.array([(whole.bounds[0] + whole.bounds[2]) / 2, (whole.bounds[1] + whole.bounds[3]) / 2])
    foot = middle + (level - middle @ toward) * toward
    aside = np.array([-toward[1], toward[0]]) * reach
    return Polygon([foot + aside, foot - aside, foot - aside - toward * reach, foot + aside - toward * reach])


def _sealed(
    scene: Scene, pocket: int, outline: BaseGeometry, ground: FreeGround, bars: Bars
) -> tuple[float, Point | None, BaseGeometry | None]:
    """The widest ground that is never joined to the rim: the greatest circle that fits between what shuts
    it, its middle, and that ground; 0 for none."""
    widest, at, ground_there = 0.0, None, None
    for piece in ground.sealed:
        line = shapely.maximum_inscribed_circle(piece, TOLERANCE)
        middle, wide = Point(line.coords[0]), 2 * line.length + bars.way
        if wide > widest and (outline.distance(middle) <= TOLERANCE or pocket in _shutting(scene, piece, bars)):
            widest, at, ground_there = float(wide), middle, piece
    return widest, at, ground_there


def _shutting(scene: Scene, piece: BaseGeometry, bars: Bars) -> set[int]:
    """The pockets of the trees that shut a piece of ground."""
    _, index = barriers(scene, bars)
    return set(scene.trees.pocket[index.query(piece, predicate="dwithin", distance=bars.way)].tolist())


@measure(
    "dead-end",
    ("pockets", "length", "length", "length"),
    "length",
    parts={
        "place": "place", "pressed": "length", "sealed": "length", "cut": "length", "at": "place",
        "ahead": "bearing", "row": "name", "tree": "thing:trees",
    },
)  # fmt: skip
def dead_end(scene: Scene, pockets: Rows, way: Column, over: Column, under: Column) -> Measured:
    """Depth in metres of a pocket's deepest dead end; 0 where there is none.

    In direction u the free ground (as `open-arc` has it) is swept by x.u: a low that is not joined to the rim
    is a bay, and its depth is the height at which it joins ground that is, less its low: how far a deer that
    ran in has to turn back. The greatest over 24 directions, set off from the bearing of the pocket's
    middle to its outline's first point. It sees two, three and many tops, of any rows, and hazards that bar.
    Not monotone: an added top may shut a deep bay off, or an opening make another.

    `place` is the low, `cut` the shortest way from it to ground that leads on, through what stands between and no
    hazard that bars, `at` that way's middle and `ahead` its bearing (where an opening would go), `tree` the tree at
    the point and `row` its block. `pressed` is the depth where some bed of the pocket has an open arc below 360
    degrees, else 0. `sealed` is the width of the widest ground that nothing leads out of, which is no bay; `place`
    is there where the pocket has no bay. A dead end is the pocket's whose tree shuts it. Unknown where trees are cut
    by a patch, which lays no trees, or have no `fall`, unless those that are laid make one already."""
    found: list[_DeadEnd | None] = []
    sizes = list(zip(way.values, over.values, under.values, strict=True))
    for row, size in zip(pockets.rows, sizes, strict=True):
        found.append(dead_end_of(scene, int(row), Bars(*map(float, size))))
    unknown, why = unlaid(scene), why_unlaid(scene, [int(row) for row in pockets.rows])
    depth = np.array([end.depth if end is not None else np.nan for end in found], float)
    known = np.array(
        [
            end is not None and not (unknown[int(row)] and end.depth < _SHALLOW)
            for end, row in zip(found, pockets.rows, strict=True)
        ],
        bool,
    )
    estimated = np.array([_estimated(scene, int(row)) for row in pockets.rows], bool)

    def lengths(rows: Indices, of: Any) -> Column:
        values = [of(found[row]) if found[row] is not None else None for row in rows]
        return column("length", values, why)

    def place(rows: Indices) -> Column:
        return column("place", [end and (end.place or end.sealed_at) for end in (found[row] for row in rows)])

    def pressed(rows: Indices) -> Column:
        shut = [
            known[row] and depth[row] > 0 and _is_pressed(scene, int(pockets.rows[row]), Bars(*sizes[row]))
            for row in rows
        ]
        return Column("length", np.where(shut, depth[rows], 0.0), known[rows], estimated[rows], why)

    def cuts(rows: Indices) -> list[LineString | None]:
        return [end.cut if end is not None else None for end in (found[row] for row in rows)]

    def tree(rows: Indices) -> Array:
        return np.array([end.row if end is not None else -1 for end in (found[row] for row in rows)], np.intp)

    def block(rows: Indices) -> Column:
        cut = scene.trees
        return column("name", [cut.blocks[int(cut.block[row])].name if row >= 0 else None for row in tree(rows)])

    return Measured(
        Column("length", depth, known, estimated, why),
        {
            "place": place,
            "pressed": pressed,
            "sealed": lambda rows: lengths(rows, lambda end: end.sealed),
            "cut": lambda rows: column("length", [cut and cut.length for cut in cuts(rows)]),
            "at": lambda rows: column(
                "place",
                [cut and cut.interpolate(0.5, normalized=True) for cut in cuts(rows)],
                "no way out is found that could be sawn",
            ),
            "ahead": lambda rows: column(
                "bearing",
                [cut and bearing(*map(Point, cut.coords)) for cut in cuts(rows)],
                "no way out is found that could be sawn",
            ),
            "row": block,
            "tree": lambda rows: Column(
                "thing:trees", tree(rows), tree(rows) >= 0, None, "no tree stands at its point"
            ),
        },
    )


#: no dead end to speak of: trees that nobody knows the lie of may make one where those that are laid make none as
#: deep as this, and ground that is sealed is opened first
_SHALLOW = 5 * YARD


def _is_pressed(scene: Scene, pocket: int, bars: Bars) -> bool:
    beds = scene.table("beds")
    outline = scene.shape_of(scene.plan.of(Pocket)[pocket])
    places = beds.column("at").values[beds.column("pocket").values == pocket]
    inside = [place for place in places if outline is not None and outline.distance(place) <= TOLERANCE]
    return any((bed := bed_of(scene, pocket, place, bars)) is not None and bed.arc < 360 for place in inside)


#: a sweep looks into a V where it runs from its apex toward its mouth within so many degrees (common practice, no
#: source)
_INTO = 45.0


def depths_at(ground: FreeGround, apexes: Array, mouths: Array, inner: Array, first: float) -> Array:
    """How deep a dead end is within each V (`inner`, by its apex and the middle of its mouth), in metres: the deepest
    of those corners of its free ground that lie shut in for a sweep that rises from apex toward mouth; infinite where
    that ground is sealed, 0 where there is none. Ground beyond the tips falls away from the mouth, and counts
    nothing."""
    found = np.zeros(len(inner))
    if not len(inner) or not len(ground.corners):
        return found
    vee, corner = ground.corner_index.query(inner, predicate="dwithin", distance=TOLERANCE)
    rise = np.degrees(np.arctan2(*(mouths - apexes).T))
    sweeps = first + (np.arange(SWEEPS) + 0.5) * 360 / SWEEPS
    looks_in = np.abs((sweeps[None, :] - rise[:, None] + 180) % 360 - 180) <= _INTO
    deep = ground.depths(first).depth[corner]
    is_shut = np.where(looks_in[vee], deep, 0.0).max(axis=1, initial=0.0) > 0
    np.maximum.at(found, vee[is_shut], deep[is_shut].max(axis=1, initial=0.0))
    return found
