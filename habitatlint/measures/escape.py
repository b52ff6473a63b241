"""Ways out of a pocket: tops that close a V.

Sizes here are limits of rules or, where a rule does not set them, common practice, no source. No
published figure exists for how wide a way a deer in flight needs.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon

from habitatlint.ground.columns import Array, Column, Indices, column, distinct
from habitatlint.ground.scene import Scene
from habitatlint.ground.trees import WALK_UNDER
from habitatlint.language.blocks import Pocket
from habitatlint.measures.openings import ahead_of, strips, thrown
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural
from habitatlint.measures.ways_out import Bars, bearing, depths_at, ground_of, ground_within, sweep_from
from habitatlint.units import TOLERANCE, YARD

#: two falls that make a V are turned from each other by these
LEAST_ANGLE, LARGEST_ANGLE = 20.0, 120.0
#: narrower than this between the stumps is no mouth
LEAST_MOUTH = 2 * YARD


@measure(
    "closed-v",
    ("trees", "trees", "length"),
    "length",
    parts={"place": "place", "mouth": "length", "angle": "angle", "ahead": "bearing", "trap": "length"},
)
def closed_v(scene: Scene, first: Rows, second: Rows, way: Column) -> Measured:
    """Depth in metres of the V that two fallen trees close; 0 for a pair that closes none.

    Their barriers, grown by half a way, meet, and no opening or corridor parts them; their falls are
    turned from each other by 20 to 120 degrees and their lines meet ahead of both stumps, which
    stand 2 yd or more apart (the mouth). Depth is from the line between the stumps to where the
    falls' lines meet (the apex), along the line that halves the falls. Stems are walls as tops are,
    for a deer checked for a second is caught; but a stem in the inner half of a side that stands 30
    in high or more for the width of a way, clear of the other top, lets a deer out. A top that lies on
    the other's bare stem closes none, though it shuts the corner as well: it is tops that meet. So
    rows of parallel falls and head-on pairs close none. `place` is the apex, `mouth` its width at the
    stumps, `angle` the turn, `ahead` the bearing of the line that halves the falls: the way out that a
    deer looks for. `trap` is the depth of the dead end at the apex (as `dead-end` has it), no more than the V's
    own: 0 where another way leads out of it."""
    cut = scene.trees
    a, b = first.rows, second.rows
    stump_a, stump_b = (np.column_stack([cut.x[rows], cut.y[rows]]) for rows in (a, b))
    fall_a, fall_b = (np.column_stack([np.sin(t), np.cos(t)]) for t in (np.radians(cut.bearing[a]), np.radians(cut.bearing[b])))  # noqa: E501  # fmt: skip
    between = stump_b - stump_a
    mouth = np.hypot(*between.T)
    turned = np.abs((cut.bearing[a] - cut.bearing[b] + 180) % 360 - 180)
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = _cross(fall_a, fall_b)
        ahead_a = _cross(between, fall_b) / crossing
        ahead_b = _cross(between, fall_a) / crossing
        apex = stump_a + ahead_a[:, None] * fall_a
        half = fall_a + fall_b
        half = half / np.hypot(*half.T)[:, None]
        depth = _cross(apex - stump_a, between) / _cross(half, between)
        shaped = (
            (turned >= LEAST_ANGLE) & (turned <= LARGEST_ANGLE) & (ahead_a > 0) & (ahead_b > 0)
            & (mouth >= LEAST_MOUTH - TOLERANCE) & (depth > 0) & cut.lies[a] & cut.lies[b]
        )  # fmt: skip
    for rows, ahead, others in ((a, ahead_a, b), (b, ahead_b, a)):
        at = np.flatnonzero(shaped)
        shaped[at] = ~_passes_under(cut, rows[at], ahead[at], others[at], way.values[at])
    shaped[shaped] = _hold_together(scene, a[shaped], b[shaped], way.values[shaped])
    depths = np.where(shaped, depth, 0.0)
    estimated = cut.estimated[a] | cut.estimated[b]
    value = Column("length", depths, None, estimated)

    def trap(rows: Indices) -> Column:
        deep = np.zeros(len(rows))
        vees = np.flatnonzero(depths[rows] > 0)
        chosen = rows[vees]
        behind = _traps(scene, a[chosen], b[chosen], apex[chosen], way.values[chosen])
        deep[vees] = np.minimum(depths[chosen], behind)
        return Column("length", deep, None, estimated[rows])

    return Measured(
        value,
        {
            "place": lambda rows: Column("place", np.asarray(shapely.points(apex[rows]))),
            "mouth": lambda rows: Column("length", mouth[rows]),
            "angle": lambda rows: Column("angle", turned[rows]),
            "ahead": lambda rows: Column("bearing", np.degrees(np.arctan2(half[rows, 0], half[rows, 1])) % 360),
            "trap": trap,
        },
    )


@of_plural("plans", "lie", "text")
def _plan_lie(scene: Scene) -> Column:
    """How the trees of a plan lie, in words: `as laid out` in a design, `as it lies` in an as-built."""
    return column("text", ["as laid out" if scene.design else "as it lies"])


def _traps(scene: Scene, a: Indices, b: Indices, apex: Array, way: Array) -> Array:
    """How deep the dead end in each V is, on the ground of the pocket, or of the two trees where they
    lie in none or beyond its ground."""
    cut, pockets = scene.trees, scene.plan.of(Pocket)
    found = np.zeros(len(a))
    corners = np.stack([np.column_stack([cut.x[a], cut.y[a]]), apex, np.column_stack([cut.x[b], cut.y[b]])], axis=1)
    inner = shapely.polygons(corners) if len(a) else np.empty(0, object)
    mouths = (corners[:, 0] + corners[:, 2]) / 2
    own = np.ones(len(a), bool)
    for pocket in distinct(cut.pocket[a][cut.pocket[a] >= 0]):
        rows = np.flatnonzero((cut.pocket[a] == pocket) & (way == way[0]))
        outline, ground = scene.shape_of(pockets[int(pocket)]), ground_of(scene, int(pocket), Bars(float(way[0])))
        if outline is None or ground is None:
            continue
        shapely.prepare(ground.whole)
        within = shapely.covers(ground.whole, inner[rows])
        for side in (a, b):
            within &= shapely.covers(ground.whole, cut.fallen[side[rows]])
        rows = rows[within]
        own[rows] = False
        found[rows] = depths_at(ground, apex[rows], mouths[rows], inner[rows], sweep_from(outline))
    for row in np.flatnonzero(own):
        lying = shapely.geometrycollections([inner[row], cut.fallen[a[row]], cut.fallen[b[row]]]).convex_hull
        ground = ground_within(scene, lying, Bars(float(way[row])))
        first = bearing(inner[row].centroid, Point(apex[row]))
        found[row] = depths_at(ground, apex[[row]], mouths[[row]], inner[[row]], first)[0]
    return found


def _cross(first: Array, second: Array) -> Array:
    return np.asarray(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])


def _passes_under(cut: Any, rows: Indices, side: Array, others: Indices, way: Array) -> Array:
    """Whether a deer passes under each stem: its bare part in the half of a side toward the apex stands
    high enough, a way wide, and no top stops the way there from the mouth."""
    reach = cut.reach[rows]
    crown = np.minimum(cut.crown_ratio[rows] * cut.height[rows], reach)
    high = np.where(cut.state[rows] == "blown", 0.0, cut.cut_height[rows])
    with np.errstate(divide="ignore", invalid="ignore"):
        last_clear = np.where(high > WALK_UNDER, reach * (1 - WALK_UNDER / high), 0.0)
    last = np.minimum(np.minimum(last_clear, reach - crown), side)
    under = last - side / 2 >= way
    # the middle of the way keeps half its width from both ends of that part
    for index in np.flatnonzero(under):
        half, row, other = way[index] / 2, rows[index], others[index]
        stump, along = np.array([cut.x[row], cut.y[row]]), ahead_of(cut.bearing[row])
        middles = LineString([stump + along * (side[index] / 2 + half), stump + along * (last[index] - half)])
        mouth = LineString([stump, (cut.x[other], cut.y[other])])
        inner = Polygon([*mouth.coords, stump + along * side[index]])
        # what a deer that has come in by the mouth can walk, tops grown by half a way
        barred = shapely.union_all(shapely.buffer(cut.barrier[[row, other]], half - TOLERANCE / 2, quad_segs=8))
        walked = [part for part in shapely.get_parts(inner.difference(barred)) if part.distance(mouth) <= TOLERANCE]
        free = middles.difference(barred)
        under[index] = not free.is_empty and any(part.distance(free) <= TOLERANCE for part in walked)
    return np.asarray(under)


def _hold_together(scene: Scene, a: Indices, b: Indices, way: Array) -> Array:
    """Whether the grown barriers of each pair meet, and one piece of them, openings taken out, still
    holds the stumpward ends of both tops."""
    if not len(a):
        return np.zeros(0, bool)
    cut = scene.trees
    grown_a = shapely.buffer(cut.barrier[a], way / 2, quad_segs=8)
    grown_b = shapely.buffer(cut.barrier[b], way / 2, quad_segs=8)
    meets = shapely.intersects(grown_a, grown_b)
    sawn = strips(scene, float(way[0]))
    if not len(sawn.shapes) or not meets.any():
        return np.asarray(meets)
    blown = thrown(scene)
    left: dict[int, dict[bool, set[int]]] = {}
    for which, (grown_, rows) in enumerate(((grown_a, a), (grown_b, b))):
        for pair, strip in sawn.crossing(grown_[meets], blown[rows[meets]]):
            left.setdefault(pair, {False: set(), True: set()})[bool(which)].add(strip)
    rows_of = np.flatnonzero(meets)
    for pair in sorted(left):
        row = rows_of[pair]
        ends = [_stumpward(cut, int(rows[row])) for rows in (a, b)]
        both = shapely.union_all([
            grown_[row].difference(shapely.union_all(sawn.shapes[sorted(left[pair][which])]))
            for which, grown_ in ((False, grown_a), (True, grown_b))
        ])  # fmt: skip
        meets[row] = any(all(piece.distance(end) <= TOLERANCE for end in ends) for piece in shapely.get_parts(both))
    return np.asarray(meets)


def _stumpward(cut: Any, row: int) -> Point:
    """The end of a top that is nearest its stump."""
    return Point(shapely.shortest_line(cut.top[row], cut.stump[row]).coords[0])
