"""Where scent goes from stand and walk, and what it comes to. Worked by hand, and a second time by steps; common
practice, no source, but for the spread of a plume (see tests/outside/test_dispersion.py)."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from datetime import date
from functools import cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pytest
import shapely

from habitatlint.check import Report
from habitatlint.findings import Policy
from habitatlint.ground.columns import Column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Stand
from habitatlint.measures.dispersion import noon, sideways
from habitatlint.measures.scent import (
    REACH,
    Asked,
    Reached,
    airs_of,
    bearings,
    carried,
    deer_come,
    ground_reached,
    listed_winds,
    plume,
    reached,
    scent,
    sources,
)
from habitatlint.measures.sweep import grouped, least_along, smoothed
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.measures.winds import WINDS
from habitatlint.review import Review
from habitatlint.source import Source
from habitatlint.units import YARD

ReportOf = Callable[..., Report]
Told = Callable[..., list[str]]
Floats = npt.NDArray[np.float64]

LANE = "path lane\n  use entry\n  line {}\n"


def square(name: str, x: float, y: float, half: float = 20, noun: str = "pocket") -> str:
    corners = [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]
    return f"{noun} {name}\n  outline {' '.join(f'{east:.3f},{north:.3f}' for east, north in corners)}\n"


def stand(x: float, y: float, *lines: str) -> str:
    return f"stand oak\n  at {x:.3f},{y:.3f}\n" + "".join(f"  {line}\n" for line in lines)


def gap(scene: Scene, reach: float = 150, thing: str = "pockets") -> Measured:
    rows = np.array([0])
    shape = scene.table(thing).column("shape")
    found = scent(scene, Rows("stands", rows), Column("shape", shape.values[:1]), Column("length", rows + reach * YARD))
    assert isinstance(found, Measured)
    return found


def yards(found: Measured) -> float:
    return float(found.value.values[0]) / YARD


def part(found: Measured, name: str) -> object:
    return found.parts[name](np.array([0])).values[0]


# -- how far, from what, on which wind ---------------------------------------------------------------------


def test_it_is_carried_straight_downwind(report_of: ReportOf) -> None:
    found = gap(report_of(square("k", 0, 100) + stand(0, 0, "winds S")).scene)
    assert yards(found) == pytest.approx(80) and part(found, "winds") == "S"


def test_on_the_opposite_wind_it_is_carried_away(report_of: ReportOf) -> None:
    assert yards(gap(report_of(square("k", 0, 100) + stand(0, 0, "winds N")).scene)) == np.inf


def test_of_several_winds_the_nearest_is_told_and_all_that_reach_it(report_of: ReportOf) -> None:
    found = gap(report_of(square("k", 10, 100, 45) + stand(0, 0, "winds SSW N S SSE")).scene)
    assert part(found, "winds") == "SSW, S or SSE" and part(found, "wind") in ("SSW", "S", "SSE")
    assert yards(found) == pytest.approx(55 * np.cos(np.radians(11.25)) ** 2, abs=3)


def test_the_nearest_part_of_a_walk_is_told(report_of: ReportOf) -> None:
    plan = square("k", 200, 100) + LANE.format("400,0 0,0") + stand(0, 3, "reach lane", "winds S")
    found = gap(report_of(plan).scene)
    assert yards(found) == pytest.approx(80) and part(found, "from") == "the walk to stand oak"


def test_walking_out_another_way_is_told_as_that(report_of: ReportOf) -> None:
    out = "path way-out\n  use exit\n  line 400,0 0,0\n"
    plan = square("k", 200, 100) + LANE.format("0,-300 0,0") + out
    found = gap(report_of(plan + stand(0, 3, "reach lane", "leave way-out", "winds S")).scene)
    assert yards(found) == pytest.approx(80) and part(found, "from") == "the walk from stand oak"


def test_a_stand_without_reach_has_no_walk(report_of: ReportOf) -> None:
    plan = square("k", 200, 100) + LANE.format("400,0 0,0") + stand(0, 3, "winds S")
    assert yards(gap(report_of(plan).scene)) == np.inf


def test_a_walk_beside_cover_is_told_only_where_the_wind_blows_to_it(report_of: ReportOf) -> None:
    plan = square("k", 200, 24) + LANE.format("400,0 0,0")
    assert yards(gap(report_of(plan + stand(0, 3, "reach lane", "winds N")).scene)) == np.inf
    assert yards(gap(report_of(plan + stand(0, 3, "reach lane", "winds S")).scene)) == pytest.approx(4)


def test_in_cover_it_is_told_on_every_wind(report_of: ReportOf) -> None:
    for wind in WINDS:
        assert yards(gap(report_of(square("k", 0, 0) + stand(0, 0, f"winds {wind}")).scene)) == 0


def test_a_stand_just_inside_an_edge_leaves_it_clean_on_a_wind_that_blows_off_it(report_of: ReportOf) -> None:
    for off, expected in ((4.9, np.inf), (5.1, 0)):
        plan = square("k", 0, 100, 100) + stand(0, off, "winds N")
        assert yards(gap(report_of(plan).scene)) == pytest.approx(expected)


def test_without_winds_nobody_knows_where_some_wind_would_carry(report_of: ReportOf) -> None:
    near = gap(report_of(square("k", 0, 100) + stand(0, 0)).scene)
    assert not near.value.mask[0] and "`winds`" in near.value.why
    far = gap(report_of(square("k", 0, 300) + stand(0, 0)).scene)
    assert far.value.mask[0] and yards(far) == np.inf


def test_bearings_from_magnetic_north_are_turned(report_of: ReportOf) -> None:
    head = 'plan "M"\n  north magnetic\n  declination {}\n'
    aside = square("k", 40, 100, 10)
    assert yards(gap(report_of(aside + stand(0, 0, "winds S")).scene)) == np.inf
    turned = report_of(head.format("20E") + aside + stand(0, 0, "winds S"), fragment=False).scene
    assert yards(gap(turned)) < 120


def test_winds_are_counted_once(report_of: ReportOf) -> None:
    scene = report_of(stand(0, 0, "winds N NW N")).scene
    assert [WINDS[wind] for wind in listed_winds(scene, scene.plan.of(Stand)[0])] == ["N", "NW"]


# -- a second way: by steps -------------------------------------------------------------------------------------


def stepped(walk: Floats, corners: Floats, wind: float, reach: float) -> float:
    """The least distance downwind, in yards, by looking from every half yard of a walk at every half yard of an
    outline, and at the places in it 5 yd downwind."""

    def along(line: Floats) -> Floats:
        runs = np.hypot(*np.diff(line, axis=0).T)
        return np.concatenate(
            [a + (b - a) * np.linspace(0, 1, int(run * 2) + 2)[:, None]
             for a, b, run in zip(line[:-1], line[1:], runs, strict=True)]
        )  # fmt: skip

    places, edge = along(walk), along(np.vstack([corners, corners[:1]]))
    ahead = -np.array([np.sin(np.radians(wind)), np.cos(np.radians(wind))])
    off = edge[None] - places[:, None]
    run, aside = off @ ahead, np.abs(off @ np.array([-ahead[1], ahead[0]]))
    meets = (run >= 5) & (run <= reach) & (aside <= run * np.tan(np.radians(11.25)))
    least = float(run[meets].min()) if meets.any() else np.inf
    there = shapely.contains_xy(shapely.Polygon(corners), places + 5 * ahead)
    least = 5.0 if there.any() else least
    beside = float(np.hypot(*np.moveaxis(off, 2, 0)).min())
    beside = 0.0 if shapely.Polygon(corners).intersects(shapely.LineString(walk)) else beside
    return beside if beside < 5 and least < np.inf else least


def layout(seed: int) -> tuple[Floats, Floats, int]:
    """A walk of three legs, a pocket of six corners, a wind."""
    chance = np.random.default_rng(seed)
    turns = (np.arange(6) + chance.uniform(0, 0.9, 6)) * np.pi / 3
    radii = chance.uniform(10, 60, 6)
    corners = chance.uniform(-120, 120, 2) + radii[:, None] * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    return np.round(chance.uniform(-120, 120, (4, 2)), 3), np.round(corners, 3), int(chance.integers(16))


@cache
def expected(seed: int) -> float:
    walk, corners, wind = layout(seed)
    return stepped(walk, corners, wind * 22.5, 120)


@pytest.mark.parametrize("seed", range(60))
def test_stepping_along_walk_and_outline_finds_the_same(report_of: ReportOf, seed: int) -> None:
    walk, corners, wind = layout(seed)
    line, outline = (" ".join(f"{x},{y}" for x, y in points) for points in (walk, corners))
    plan = f"pocket k\n  outline {outline}\n" + LANE.format(line)
    found = gap(report_of(plan + stand(*walk[-1], "reach lane", f"winds {WINDS[wind]}")).scene, 120)
    assert min(yards(found), 500) == pytest.approx(min(expected(seed), 500), abs=1.5)


def test_every_answer_comes_up_among_those_layouts() -> None:
    kinds = [0 if size < 5 else 1 if size < np.inf else 2 for size in map(expected, range(60))]
    assert min(kinds.count(kind) for kind in range(3)) >= 8


def test_a_bent_thing_is_swept_as_itself_and_not_as_its_hull() -> None:
    bent = shapely.Polygon([(0, 0), (100, 0), (100, 10), (10, 10), (10, 100), (0, 100)])
    small = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float)
    pieces, thing, shape = sweep_of([bent], small)
    assert shapely.union_all(pieces).equals(bent.buffer(1, cap_style="square", join_style="mitre"))
    assert set(thing.tolist()) == {0} and set(shape.tolist()) == {0}


def test_a_hole_stays_open_and_a_far_shift_covers_the_inside() -> None:
    ring = shapely.Point(0, 0).buffer(50).difference(shapely.Point(0, 0).buffer(20))
    outline = np.array([[199, -1], [201, -1], [201, 1], [199, 1]], float)
    pieces, _, _ = sweep_of([ring], outline)
    whole = shapely.union_all(pieces)
    assert whole.covers(shapely.Point(235, 0)) and not whole.intersects(shapely.Point(200, 0))


def sweep_of(things: list[object], outline: Floats) -> tuple[object, npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    from habitatlint.measures.sweep import swept as sum_of

    array = np.empty(len(things), object)
    array[:] = things
    return sum_of(grouped(array), outline[None])


def test_the_least_lies_at_a_corner_of_one_or_the_other() -> None:
    wedge = np.array([[[0, 0], [-20, 100], [20, 100]]], float)
    ahead = np.array([[0.0, 1.0]])
    line, roof = shapely.LineString([(-50, 0), (50, 0)]), shapely.LineString([(-60, 60), (0, 30), (60, 60)])
    found = least_along(np.array([line]), np.array([roof]), wedge, ahead)
    assert found.sizes[0] == pytest.approx(30) and found.places[0] == pytest.approx([0, 30])
    beyond = shapely.LineString([(-10, 101), (10, 101)])
    assert least_along(np.array([line]), np.array([beyond]), wedge, ahead).sizes[0] == np.inf


def test_only_lines_of_many_points_are_smoothed() -> None:
    few = shapely.LineString([(0, 0), (5, 0.1), (10, 0)])
    assert smoothed(few) is few
    track = shapely.LineString([(x, 0.1 * (x % 2)) for x in range(100)])
    assert shapely.get_num_coordinates(smoothed(track)) == 2


# -- the ground reached, for the map ---------------------------------------------------------------------------


def track(seed: int, count: int) -> str:
    """A walk as a receiver records it: so many points, 8 yd apart, that wander."""
    turns = np.cumsum(np.random.default_rng(seed).normal(0, 0.25, count))
    points = np.cumsum(8 * np.stack([np.cos(turns), np.sin(turns)], axis=1), axis=0)
    return " ".join(f"{east:.2f},{north:.2f}" for east, north in points - points.mean(axis=0))


HEAD = 'plan "G"\n  anchor 43N,90W\n  hunted 2026-11-07..2026-12-20\n  north magnetic\n  declination 4E\n'
GROUND = (
    HEAD
    + LANE.format("-250,-40 -120,-90 0,0 60,80")
    + "path way-out\n  use exit\n  line 40,-50 130,-60 140,40 60,80\n"
    + "stand oak\n  at 60,83\n  reach lane\n  leave way-out\n  winds S\n  sit all\n"
    + "stand elm\n  at -60,20\n  winds N\n"
    + "winds november\n  from S 50% 5mph\n  from N 50% 12mph\n"
)


@pytest.fixture(scope="module")
def ground(review: Review) -> Scene:
    return review.check(Source("plan.habitat", GROUND), Policy(date(2026, 2, 10))).scene


@pytest.fixture(scope="module")
def told_by_rules(ground: Scene) -> tuple[Floats, list[npt.NDArray[np.bool_]]]:
    """Points in a grid over the ground; and for each stand what the rules say of them, by part and wind."""
    east, north = (axis.ravel() for axis in np.meshgrid(np.arange(-400, 320, 13.0), np.arange(-260, 260, 13.0)))
    points = shapely.points(east, north)
    stands = [np.full(len(points), row) for row in range(2)]
    return points, [reached(ground, Asked(rows, points), REACH, airs_of(ground)) for rows in stands]


@pytest.mark.parametrize("wind", range(16))
def test_a_place_lies_in_the_ground_reached_exactly_where_the_rules_say_that_scent_comes(
    ground: Scene, told_by_rules: tuple[Floats, list[npt.NDArray[np.bool_]]], wind: int
) -> None:
    assert airs_of(ground)[0, 8] != airs_of(ground)[1, 8]  # the one sits all day, in the air of noon
    found = ground_reached(ground, bearings(ground)[wind])
    assert [(one.stand.name, one.part) for one in found] == [("oak", 0), ("oak", 1), ("oak", 2), ("elm", 0)]
    points, by_stand = told_by_rules
    for one in found:
        comes = by_stand[ground.plan.of(Stand).index(one.stand)][:, one.part, wind]
        clear = shapely.distance(points, one.ground.boundary) > 0.5
        inside = shapely.contains(one.ground, points)
        assert (inside == comes)[clear].all()
        assert inside[clear].sum() > 15 and clear.mean() > 0.95


def test_the_ground_of_a_stand_is_its_plume_without_what_is_at_hand(report_of: ReportOf) -> None:
    (found,) = ground_reached(report_of(stand(10, 20)).scene, 225.0)
    whole = plume(10 * YARD, 20 * YARD, 225.0)
    near = plume(10 * YARD, 20 * YARD, 225.0, 5 * YARD)
    assert found.ground.symmetric_difference(whole.difference(near)).area < 1
    # worked by hand: a wedge of half a sixteenth to either side, from 5 to 150 yd
    assert found.ground.area == pytest.approx((150**2 - 5**2) * math.tan(math.radians(11.25)) * YARD**2)


@pytest.mark.parametrize("declination", ["0E", "15E", "15W"])
def test_the_ground_of_a_stand_has_the_air_of_its_wind_wherever_north_is(report_of: ReportOf, declination: str) -> None:
    head = HEAD.replace("4E", declination) + "winds november\n  from S 50% 5mph\n  from N 50% 12mph\n"
    scene = report_of(head + stand(0, 0, "sit all"), fragment=False).scene
    # a record of eight winds shares each out to its neighbours
    for wind, air in (("SE", "D"), ("SSE", "C"), ("S", "C"), ("SSW", "C"), ("SW", "D"), ("N", "D")):
        blows = bearings(scene)[WINDS.index(wind)]
        (found,) = ground_reached(scene, blows)
        there = plume(0, 0, blows, REACH, air).difference(plume(0, 0, blows, 5 * YARD, air))
        assert found.ground.symmetric_difference(there).area < 0.01 * there.area  # a class wider is a fifth more


def test_what_has_no_place_has_no_ground(report_of: ReportOf) -> None:
    scene = report_of("stand oak\n  at here\n" + LANE.format("0,0 50,0") + "stand elm\n  at 0,0\n  reach gone\n").scene
    assert [(one.stand.name, one.part) for one in ground_reached(scene, 0.0)] == [("elm", 0)]
    assert ground_reached(scene, 0.0, 4 * YARD) == ()
    assert ground_reached(report_of(LANE.format("0,0 50,0")).scene, 0.0) == ()


def test_sixteen_winds_of_ten_stands_are_quick_and_small(report_of: ReportOf) -> None:
    blocks = [
        f"path lane-{one}\n  use entry\n  line {track(one, 60)}\n"
        f"path out-{one}\n  use exit\n  line {track(one + 50, 60)}\n"
        f"stand stand-{one}\n  at {one * 40},0\n  reach lane-{one}\n  leave out-{one}\n"
        for one in range(10)
    ]
    scene = report_of("".join(blocks)).scene
    sources(scene)
    seconds, found = [math.inf], list[Reached]()
    while len(seconds) < 4 and min(seconds) >= 1.0:  # half of that is asked for; a busy machine needs room, and tries
        start = time.process_time()
        found = [one for wind in bearings(scene) for one in ground_reached(scene, wind)]
        seconds.append(time.process_time() - start)
    assert min(seconds) < 1.0
    assert len(found) == 16 * 30 and all(one.ground.is_valid for one in found)
    assert sum(int(shapely.get_num_coordinates(one.ground)) for one in found) < 16 * 30 * 60


# -- the deer's way -------------------------------------------------------------------------------------------

RUN = "path run\n  use travel\n  line 0,300 0,-300\n"


@pytest.mark.parametrize(
    ("sit", "wind", "told_of"),
    [("evening", "SE", True), ("evening", "NE", False), ("morning", "SE", False), ("morning", "NE", True),
     ("all", "SE", True), ("all", "NE", True), ("evening", "W", False)],
)  # fmt: skip
def test_deer_come_from_bed_in_the_evening_and_from_food_in_the_morning(
    told: Told, sit: str, wind: str, told_of: bool
) -> None:
    lines = told(RUN + stand(40, 0, f"winds {wind}", f"sit {sit}"))
    assert any("scent-on-travel" in line for line in lines) == told_of


def test_a_stand_that_does_not_say_when_is_not_judged_where_it_matters(told: Told) -> None:
    lines = told(RUN + stand(40, 0, "winds SE"))
    assert any("scent-on-travel could not judge stand oak: no `sit` is given" in line for line in lines)
    assert not any("scent-on-travel" in line for line in told(RUN + stand(40, 0, "winds W")))
    # straight across, it is reached by either sit
    straight = told(RUN + stand(40, 0, "winds E"))
    assert any("scent-on-travel: with wind from E" in line for line in straight)


def test_the_part_by_which_deer_come_ends_at_the_stand(report_of: ReportOf) -> None:
    scene = report_of(RUN + stand(40, 100)).scene
    seat, line = scene.plan.of(Stand)[0], scene.table("paths").column("shape").values[0]
    lengths = [deer_come(scene, seat, line, evening=evening) for evening in (True, False)]
    assert [round(one.length / YARD) for one in lengths if one is not None] == [200, 400]
    scene = report_of(RUN + stand(40, 400)).scene
    assert deer_come(scene, scene.plan.of(Stand)[0], line, evening=True) is None


def test_food_matters_when_deer_feed(told: Told) -> None:
    plan = square("clover", 0, 100, noun="food") + "{}"
    for sit, expected in (("evening", True), ("all", True), ("morning", False)):
        lines = told(plan.format(stand(0, 0, "winds S", f"sit {sit}")))
        assert any("scent-on-food: with wind from S" in line for line in lines) == expected
    lines = told(plan.format(stand(0, 0, "winds S")))
    assert any("scent-on-food could not judge stand oak: no `sit` is given" in line for line in lines)
    assert not any("scent-on-food" in line for line in told(plan.format(stand(0, 0, "winds N"))))


# -- the air ------------------------------------------------------------------------------------------------


def record(mph: float) -> str:
    return f"winds november\n  from S 50% {mph}mph\n  from N 50% {mph}mph\n"


def test_an_all_day_sit_has_the_air_of_noon(report_of: ReportOf) -> None:
    head = 'plan "A"\n  anchor {},90W\n  hunted 2026-11-07..2026-12-20\n'

    def air(latitude: str, sit: str, mph: float, winds: str = "") -> float:
        text = head.format(latitude) + stand(0, 0, "winds S", f"sit {sit}") + (winds or record(mph))
        return float(airs_of(report_of(text, fragment=False).scene)[0, WINDS.index("S")])

    # the end of November at 43 N: noon stands 25 degrees high, slight sun
    assert air("43N", "all", 5) == sideways("C")
    assert air("43N", "all", 12) == sideways("D")
    assert air("28N", "all", 5) == sideways("B")  # 40 degrees: moderate
    assert air("43N", "evening", 5) == air("43N", "morning", 5) == sideways("D")


def test_without_anchor_season_or_record_the_air_is_the_usual(report_of: ReportOf) -> None:
    usual = sideways("D")
    for head in ('plan "A"\n  hunted 2026-11-07..2026-12-20\n', 'plan "A"\n  anchor 43N,90W\n'):
        scene = report_of(head + stand(0, 0, "winds S", "sit all") + record(5), fragment=False).scene
        assert (airs_of(scene) == usual).all()


# -- the outline of a plume, by other arithmetic ---------------------------------------------------------------

#: Briggs 1973, open country (doi 10.2172/5118833): sigma-y = a x / sqrt(1 + 0.0001 x), by class
BRIGGS = {"A": 0.22, "C": 0.11, "D": 0.08, "F": 0.04}


def half_width(metres: float, air: str) -> float:
    """2.15 standard deviations, or half a sixteenth of the winds where that is more."""
    return max(2.15 * BRIGGS[air] * metres / math.sqrt(1 + 0.0001 * metres), metres * math.tan(math.pi / 16))


def downwind(wind: float) -> complex:
    """A step of a metre with a wind, east and north as a complex number; its product with i points to its left."""
    return -(math.sin(math.radians(wind)) + 1j * math.cos(math.radians(wind)))


@pytest.mark.parametrize("air", BRIGGS)
@pytest.mark.parametrize("wind", [0.0, 22.5, 100.0, 225.0, 337.5])
def test_a_plume_is_drawn_through_its_edges_at_each_quarter_of_its_length(wind: float, air: str) -> None:
    ahead, place = downwind(wind), complex(30, -40)
    quarters = [60.0, 120.0, 180.0, 240.0]
    corners = [place] + [
        place + ahead * (x + side * 1j * half_width(x, air)) for x in quarters for side in (-1, 1)
    ]  # fmt: skip
    drawn = plume(30, -40, wind, 240, air)
    found = {(round(east, 6), round(north, 6)) for east, north in drawn.exterior.coords}
    assert found == {(round(one.real, 6), round(one.imag, 6)) for one in corners}
    widths = [0.0, *(half_width(x, air) for x in quarters)]
    assert drawn.is_valid and drawn.area == pytest.approx(60 * sum(a + b for a, b in pairwise(widths)))


@pytest.mark.parametrize(
    ("run", "aside", "comes"),
    [(4.98, 0, False), (5.02, 0, True), (149.98, 0, True), (150.02, 0, False), (-20, 0, False), (0, 0, False),
     (80, 0.98, True), (80, -0.98, True), (80, 1.02, False), (80, -1.02, False), (149.9, 0.998, True),
     (6, 0.98, True), (6, -1.02, False)],
)  # fmt: skip
@pytest.mark.parametrize("air", ["A", "D"])
def test_scent_comes_to_what_lies_in_the_plume_and_to_nothing_beside_it(
    report_of: ReportOf, run: float, aside: float, comes: bool, air: str
) -> None:
    scene = report_of(stand(10, 20)).scene
    far = run * YARD
    # between its corners the edge is drawn straight, and a wide plume's own edge bends outward by less than a hundredth
    offs = [downwind(wind * 22.5) * (far + 1j * aside * half_width(far, air)) for wind in range(16)]
    points = shapely.points([[10 * YARD + off.real, 20 * YARD + off.imag] for off in offs])
    found = reached(scene, Asked(np.zeros(16, np.intp), points), REACH, np.full((1, 16), BRIGGS[air]))
    assert found.shape == (16, 3, 16)
    assert [bool(found[wind, 0, wind]) for wind in range(16)] == [comes] * 16
    assert not found[:, 1:].any()  # no walk leads to it


def test_within_a_reach_of_five_yards_scent_comes_to_nothing(report_of: ReportOf) -> None:
    scene = report_of(stand(0, 0)).scene
    for off in (3, 4.2, 5):
        things = np.array([shapely.Point(0, off * YARD).buffer(0.1)], object)
        for reach in (4, 5):
            assert not reached(scene, Asked(np.zeros(1, np.intp), things), reach * YARD, airs_of(scene)).any()


def test_of_no_askings_nothing_is_carried(report_of: ReportOf) -> None:
    scene, none = report_of(stand(0, 0)).scene, np.zeros(0, np.intp)
    found = carried(scene, Asked(none, np.zeros(0, object)), none, none, REACH, airs_of(scene))
    assert len(found.gaps) == len(found.places) == 0


@pytest.mark.parametrize("yards_long", [10, 74.9, 75.1, 450, 451, 455])
def test_a_walk_is_looked_up_in_as_few_pieces_of_75_yd_as_it_needs(report_of: ReportOf, yards_long: float) -> None:
    plan = LANE.format(f"{yards_long},0 0,0") + stand(0, 0, "reach lane")
    source = sources(report_of(plan).scene)
    pieces = source.pieces[source.of_piece == 1]
    assert len(pieces) == math.ceil(yards_long / 75)
    assert shapely.length(pieces) == pytest.approx(np.full(len(pieces), yards_long * YARD / len(pieces)))
    assert shapely.union_all(pieces).length == pytest.approx(yards_long * YARD)


@pytest.mark.parametrize("bend", [0.3, 0.45, 0.52, 0.54, 0.7])
def test_the_ground_of_a_walk_is_drawn_within_half_a_metre_and_no_finer(report_of: ReportOf, bend: float) -> None:
    line = f"-60,0 0,{bend / YARD} 60,0"
    scene = report_of(LANE.format(line) + stand(60, 0, "reach lane")).scene
    found = next(one.ground for one in ground_reached(scene, 180.0) if one.part == 1)
    far_edge = found.intersection(shapely.LineString([(0, 0), (0, 200)])).bounds[3]
    assert far_edge == pytest.approx(REACH + bend, abs=0.5)  # the walk bends by so much, and so does the edge
    assert (far_edge == pytest.approx(REACH)) == (bend < 0.5)


# -- the day that stands for a season --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seasons", "middle"),
    [
        (("10-08..10-08",), "10-08"),
        (("11-07..12-20",), "11-29"),  # of 44 days the 23rd
        (("2026-10-01..2026-10-09",), "10-05"),
        (("12-20..02-10",), "01-15"),  # the 27th of 53 days over the new year
        (("09-15..09-30", "12-01..12-09"), "09-27"),  # days count, not the pause between them
        (("11-20..11-29", "02-01..02-05"), "11-27"),  # the new year lies in the shorter pause
        (("02-27..03-01",), "02-29"),
        # pauses of 180 days in summer and 181 over the new year: the year begins in March
        (("03-01..03-03", "08-30..09-02"), "08-30"),
        # both of 181 days: one of them must do, and it is the first of the year
        (("03-01..03-03", "08-31..09-02"), "03-01"),
    ],
)
def test_the_middle_day_of_the_hunted_season_stands_for_it(
    report_of: ReportOf, seasons: tuple[str, ...], middle: str
) -> None:
    # told by the sun: at the one latitude where it stands 35 degrees high on that noon, slight sun turns moderate
    day = date.fromisoformat(f"2028-{middle}").timetuple().tm_yday
    latitude = 45 + noon(45.0, day) - 35
    for off, air in ((-0.02, "B"), (0.02, "C")):
        head = f'plan "A"\n  anchor {latitude + off:.4f}N,90W\n' + "".join(f"  hunted {one}\n" for one in seasons)
        scene = report_of(head + stand(0, 0, "winds S", "sit all") + record(5), fragment=False).scene
        assert airs_of(scene)[0, WINDS.index("S")] == sideways(air)
        assert airs_of(scene)[0, WINDS.index("E")] == sideways("D")  # no record tells of that wind


# -- what is told of each asking ---------------------------------------------------------------------------------


def test_of_several_stands_those_are_known_that_list_their_winds_or_lie_far_off(report_of: ReportOf) -> None:
    three = "".join(stand(x, 0, *lines).replace("oak", name) for name, x, lines in
                    (("oak", 0, ["winds S"]), ("elm", 30, []), ("ash", 900, [])))  # fmt: skip
    scene = report_of(square("k", 0, 100) + three).scene
    rows = np.arange(3)
    pocket = scene.table("pockets").column("shape").values
    found = scent(scene, Rows("stands", rows), Column("shape", pocket[rows * 0]), Column("length", rows * 0 + REACH))
    assert isinstance(found, Measured)
    assert found.value.mask.tolist() == [True, False, True] and "`winds`" in found.value.why
    assert found.value.values[[0, 2]] / YARD == pytest.approx([80, np.inf])
    known = scent(scene, Rows("stands", rows[:1]), Column("shape", pocket), Column("length", rows[:1] + REACH))
    assert isinstance(known, Measured) and known.value.mask.all()


def test_things_are_asked_each_within_its_own_reach(report_of: ReportOf) -> None:
    scene = report_of(square("k", 0, 100) + square("far", 0, 160) + stand(0, 0, "winds S W")).scene
    pockets = scene.table("pockets").column("shape").values
    rows = Rows("stands", np.zeros(4, np.intp))
    things = Column("shape", pockets[np.array([0, 0, 1, 1])])
    found = scent(scene, rows, things, Column("length", np.array([79.0, 81, 150, 100]) * YARD))
    assert found.value.values / YARD == pytest.approx([np.inf, 80, 140, np.inf])
    every = np.arange(4)
    assert found.parts["winds"](every[1:3]).values.tolist() == ["S", "S"]
    assert found.parts["wind"](every).values.tolist() == [None, "S", "S", None]
    assert found.parts["wind"](every).mask.tolist() == [False, True, True, False]
    places = found.parts["place"](every).values
    assert [places[0], places[3]] == [None, None]
    assert shapely.get_y(places[1:3]) / YARD == pytest.approx([80, 140])


@pytest.mark.parametrize("off", [23, 50, 100])
def test_scent_is_so_much_stronger_than_at_150_yd(report_of: ReportOf, off: float) -> None:
    def thin(metres: float) -> float:
        """sigma-y times sigma-z in class D (Briggs 1973, open country), up to a factor."""
        return metres**2 / math.sqrt((1 + 0.0001 * metres) * (1 + 0.0015 * metres))

    found = gap(report_of(square("k", 0, off) + stand(0, 0, "winds S")).scene)
    near = max(off - 20, 5) * YARD  # within 5 yd it is as strong as there
    assert part(found, "strength") == pytest.approx(thin(150 * YARD) / thin(near), abs=0.005)


def test_what_lies_just_as_far_on_two_winds_is_told_by_the_first_that_is_listed(report_of: ReportOf) -> None:
    for winds in ("SSW SSE", "SSE SSW"):
        found = gap(report_of(square("k", 0, 100, 45) + stand(0, 0, f"winds {winds}")).scene)
        assert part(found, "wind") == winds.split()[0]


# -- bad input ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        stand(0, 0, "winds N"),
        square("k", 0, 0, 1000) + stand(0, 0, "winds N", "sit evening"),
        RUN + "stand oak\n  at here\n  winds N\n",
        RUN + stand(0, 0, "winds NNX", "sit evening"),
        square("k", 0, 40) + LANE.format("0,0 0,0") + stand(0, 0, "reach lane", "winds S"),
        "path run\n  use travel\n  line 0,0 0,0\n" + stand(0, 0, "winds N", "sit evening"),
        square("k", 0, 40) + stand(0, 0, "reach gone", "winds S"),
    ],
)
def test_odd_plans_are_judged_without_a_fault(told: Told, text: str) -> None:
    told(text)


def test_sources_are_stands_and_two_walks_at_most(report_of: ReportOf) -> None:
    plan = LANE.format("400,0 0,0") + stand(0, 3, "reach lane", "leave lane")
    source = sources(report_of(plan).scene)
    assert source.part.tolist() == [0, 1] and len(source.pieces) == 1 + 6


@pytest.mark.parametrize(
    ("winds", "clean"),
    [
        ("winds S NW", ("NW",)),
        ("winds W S NW S N W", ("W", "NW", "N")),
        ("winds NW N", ("NW", "N")),
        ("winds S SSW", ()),
    ],
)
def test_winds_that_keep_off_are_told_as_they_are_written(
    report_of: ReportOf, winds: str, clean: tuple[str, ...]
) -> None:
    scene = report_of(square("thicket", 0, 100) + stand(0, 0, winds, "sit evening")).scene
    found = gap(scene).parts["clean"](np.array([0]))
    assert (tuple(found.values[0]) if found.mask[0] else ()) == clean
