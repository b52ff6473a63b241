"""What is seen of a walk, and the holes in its screens.

Expected figures are worked by hand from the drawing, or a second way; reaches and heights are common
practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from time import process_time

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, Polygon

from habitatlint.check import Report
from habitatlint.findings import Finding
from habitatlint.ground.columns import Column
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import read_plan
from habitatlint.measures import every_measure, view
from habitatlint.measures.view import holes_of, in_view, let_through, share_inside, stem_width
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.measures.walk import deer_sides, walks_of
from habitatlint.outputs.sentences import message
from habitatlint.review import Review
from habitatlint.source import Source
from habitatlint.units import FOOT, YARD

ReportOf = Callable[..., Report]

LANE = "path lane\n  use entry\n  line 0,0 100,0\n"
FOOD = "food clover\n  outline 20,60 80,60 80,100 20,100\n"
SIZE = "  tree-height 40ft\n  crown-ratio 30%\n  crown-width 12ft\n"


def top(name: str, x: float, y: float, more: str = "  purpose screen\n", fall: str = "E") -> str:
    """A tree whose top, 4 yd long and wide, begins some 9 yd from its stump."""
    return f"tree {name}\n  at {x},{y}\n  method fell\n  fall {fall}\n{more}{SIZE}"


def of_rule(report: Report, slug: str) -> list[Finding]:
    return [finding for finding in report.findings if finding.rule == f"entry/{slug}"]


def unjudged(report: Report, slug: str) -> list[str]:
    return [
        message(finding, "yd") for finding in report.findings
        if finding.rule == "record/not-judged" and slug in message(finding, "yd")
    ]  # fmt: skip


def measured(scene: Scene, allowed: float = 10, reach: float = 150, last: float = 30) -> Measured:
    """What is seen of every walk of a scene, by the rule's own limits."""
    rows = np.arange(len(walks_of(scene)))

    def column(kind: str, size: float) -> Column:
        return Column(kind, np.full(len(rows), size))

    found = in_view(scene, Rows("walks", rows), column("length", allowed * YARD), column("length", reach * YARD),
                    column("share", 0.3), column("length", last * YARD), column("length", 4 * FOOT))  # fmt: skip
    assert isinstance(found, Measured)
    return found


def seen(scene: Scene) -> float:
    """How much of the first walk is seen, in yards."""
    return float(measured(scene).value.values[0]) / YARD


# -- through timber --------------------------------------------------------------------------------------


def test_what_timber_lets_through_is_the_same_by_stems_and_by_basal_area() -> None:
    stems, dbh = 0.03, 0.25  # a square metre, and metres
    width = stem_width(stems * math.pi * dbh**2 / 4, dbh)
    assert width == pytest.approx(stems * dbh)
    assert let_through(width, 40.0) == pytest.approx(math.exp(-0.03 * 0.25 * 40))


@pytest.mark.parametrize("seed", range(6))
def test_how_much_of_a_line_lies_in_the_timber_is_what_shapely_says(seed: int) -> None:
    chance = np.random.default_rng(seed)
    angles = np.sort(chance.uniform(0, 2 * math.pi, 9))
    radii = chance.uniform(30, 80, 9)
    ring = np.column_stack([radii * np.cos(angles), radii * np.sin(angles)])
    ground = Polygon(ring).difference(Point(5, -8).buffer(12, quad_segs=3)).union(Polygon([(90, 0), (99, 0), (95, 9)]))
    (wood,) = view._wood(ground, 1.0, 1.0)
    starts, ends = chance.uniform(-110, 110, (2, 400, 2))
    exact = [
        LineString([a, b]).intersection(ground).length / math.dist(a, b) for a, b in zip(starts, ends, strict=True)
    ]
    assert 0 < np.mean(exact) < 1
    assert share_inside(starts, ends, wood.edges) == pytest.approx(exact, abs=1e-9)


def test_a_release_lets_deer_see_farther_and_takes_the_largest_first(report_of: ReportOf) -> None:
    woods = "timber woods\n  outline -200,10 300,10 300,130 -200,130\n  class 6in..6in 40 sqft/ac\n  class 20in..20in 100 sqft/ac\n"
    pocket = "pocket thicket\n  outline 0,120 100,120 100,160 0,160\n"
    release = (
        "release light\n  outline -200,10 300,10 300,130 -200,130\n  basal-area 140 to {left} sqft/ac\n  method {how}\n"
    )

    def width(plan: str) -> float:
        return sum(wood.most for wood in view._woods(report_of(plan).scene))

    small, large = (stem_width(ba * FOOT**2 / 43560 / FOOT**2, dbh * 0.0254) for ba, dbh in ((40, 6), (100, 20)))
    assert width(woods) == pytest.approx(small + large)
    assert width(woods + release.format(left=60, how="fell")) == pytest.approx(small + 0.2 * large)
    assert width(woods + release.format(left=20, how="fell")) == pytest.approx(0.5 * small)
    # what is killed standing stands in the way as before
    assert width(woods + release.format(left=20, how="girdle")) == pytest.approx(small + large)
    assert seen(report_of(LANE + pocket + woods).scene) == 0
    assert seen(report_of(LANE + pocket + woods + release.format(left=20, how="fell")).scene) == pytest.approx(100)


# -- what is seen ------------------------------------------------------------------------------------------


def brute(scene: Scene, step: float = 1.0) -> float:
    """How much of the first walk is seen, in yards, by looking at it every yard from every 2 yd of every
    outline, one line at a time."""
    (walk, *_) = walks_of(scene)
    cut = scene.trees
    tops = [
        cut.top[row] for row in range(len(cut))
        if scene.plan.word(cut.blocks[cut.block[row]], "purpose") == "screen" and cut.crown_width[row] / 2 >= 4 * FOOT
    ]  # fmt: skip
    hedges = [scene.shape_of(one) for one in scene.blocks_of("plantings")]
    hiding = shapely.union_all([*tops, *hedges])
    shapely.prepare(hiding)
    woods = [(scene.shape_of(one), one) for one in scene.blocks_of("timbers")]
    eyes = np.concatenate([
        shapely.get_coordinates(shapely.segmentize(shape.exterior, 2 * YARD))
        for plural in ("pockets", "foods") for one in scene.blocks_of(plural) if (shape := scene.shape_of(one))
    ])  # fmt: skip
    total = 0
    places = np.arange(step / 2, walk.line.length / YARD, step) * YARD
    for at in places:
        if walk.stand and at > walk.whole.length - 30 * YARD:
            continue
        place = np.array(walk.line.interpolate(at).coords[0])
        near = eyes[np.hypot(*(eyes - place).T) <= 150 * YARD]
        lines = shapely.linestrings(np.stack([np.broadcast_to(place, near.shape), near], axis=1))
        dense = np.zeros(len(lines))
        for ground, timber in woods:
            width = math.fsum(
                stem_width(line.values[1].value.size, line.values[0].value.middle)
                for line in timber.class_  # type: ignore[attr-defined]
            )
            dense += width * shapely.length(shapely.intersection(lines, ground))
        total += int((~shapely.intersects(hiding, lines) & (np.exp(-dense) >= 0.3)).any())
    return total * step


@pytest.mark.parametrize("seed", [1, 3, 6, 8])
def test_what_is_seen_is_what_looking_yard_by_yard_sees(report_of: ReportOf, seed: int) -> None:
    chance = np.random.default_rng(seed)
    plan = f"path lane\n  use entry\n  line 0,0 120,{chance.uniform(-20, 20):.0f} 240,0\nstand seat\n  at 240,4\n  reach lane\n"
    for number in range(2):
        x, y, size = chance.uniform(-60, 260), chance.uniform(50, 110), chance.uniform(20, 60)
        plan += f"pocket p{number}\n  outline {x:.1f},{y:.1f} {x + size:.1f},{y:.1f} {x + size:.1f},{y + 30:.1f} {x:.1f},{y + 30:.1f}\n"
    for number, begin in enumerate((-5.0, 75.0, 150.0)):
        begin += chance.uniform(5, 15)
        end = begin + chance.uniform(50, 75)
        plan += (
            f"row r{number}\n  purpose screen\n  method fell\n  fall along lane\n"
            f"  stumps beside lane left 8yd from {begin:.0f}yd to {end:.0f}yd\n  spacing {chance.choice([3.5, 9])}\n{SIZE}"
        )
    plan += f"planting hedge\n  kind screen\n  line {chance.uniform(0, 90):.0f},40 {chance.uniform(90, 240):.0f},35\n  height 6ft\n"
    plan += "timber woods\n  outline -90,30 130,30 160,70 -90,90\n  class 6in..10in 80 sqft/ac\n"
    scene = report_of(plan).scene
    exact = brute(scene)
    assert 3 < exact < 205
    assert seen(scene) == pytest.approx(exact, abs=8)  # a stretch shorter than the step may be missed


def test_the_walk_is_seen_to_the_yard(report_of: ReportOf) -> None:
    # from x = 0 to where the corner at 20,60 is 150 yd off
    scene = report_of("path lane\n  use entry\n  line 80,0 400,0\n" + FOOD).scene
    reach = math.sqrt(150**2 - 60**2) + 80 - 80
    assert seen(scene) == pytest.approx(reach, rel=0.01)
    place = measured(scene).parts["place"](np.array([0])).values[0]
    assert (place.x / YARD, place.y / YARD) == pytest.approx((80 + reach / 2, 0), abs=1)


def test_a_walk_inside_food_is_seen_and_one_far_from_all_is_not(report_of: ReportOf) -> None:
    assert seen(report_of(LANE + "food f\n  outline 20,-20 60,-20 60,20 20,20\n").scene) == pytest.approx(100)
    assert seen(report_of(LANE + "food f\n  outline 20,200 60,200 60,240 20,240\n").scene) == 0
    assert not of_rule(report_of(LANE), "entry-in-view")


def test_a_hill_of_woods_between_hides_but_not_beside(report_of: ReportOf) -> None:
    woods = "timber w\n  outline {} -50,55 -50,5\n  class 3in..5in 130 sqft/ac\n"
    assert seen(report_of(LANE + FOOD + woods.format("150,5 150,55")).scene) == 0
    half = seen(report_of(LANE + FOOD + woods.format("50,5 50,55")).scene)
    assert 45 < half < 80


def test_a_building_hides(report_of: ReportOf) -> None:
    barn = "hazard barn\n  kind building\n  outline -40,5 140,5 140,12 -40,12\n"
    assert seen(report_of(LANE + FOOD + barn).scene) == 0


def test_the_last_stretch_to_the_stand_is_left_out_in_and_out(report_of: ReportOf) -> None:
    stand = "stand oak\n  at 100,3\n  reach lane\n"
    assert seen(report_of(LANE + FOOD + stand).scene) == pytest.approx(70, rel=0.01)
    # passing by another's stand one is in view all the same
    both = stand + "stand near\n  at 40,3\n  reach lane\n"
    assert seen(report_of(LANE + FOOD + both).scene) == pytest.approx(70, rel=0.01)


HEDGE = "planting hedge\n  kind screen\n  line -20,10 120,10\n"


def test_a_hedge_of_no_height_leaves_the_view_not_judged_only_where_it_hangs_on_it(report_of: ReportOf) -> None:
    report = report_of(LANE + FOOD + HEDGE)
    assert not of_rule(report, "entry-in-view")
    (told,) = unjudged(report, "entry-in-view")
    assert "planting hedge has no `height`" in told
    # seen past it anyhow
    short = HEDGE.replace("-20,10 120,10", "50,10 55,10")
    report = report_of(LANE + FOOD + short)
    assert of_rule(report, "entry-in-view") and not unjudged(report, "entry-in-view")
    # hidden anyhow
    report = report_of(LANE + FOOD + HEDGE + HEDGE.replace("hedge", "old").replace(",10", ",12") + "  height 6ft\n")
    assert not of_rule(report, "entry-in-view") and not unjudged(report, "entry-in-view")


def test_timber_that_does_not_say_what_stands_in_it_leaves_the_view_not_judged(report_of: ReportOf) -> None:
    woods = "timber w\n  outline -50,5 150,5 150,55 -50,55\n"
    (told,) = unjudged(report_of(LANE + FOOD + woods), "entry-in-view")
    assert "a timber has no `class`" in told
    assert not unjudged(report_of(LANE + FOOD + woods.replace(",5 ", ",105 ").replace("55", "155")), "entry-in-view")


def test_a_patch_cut_as_a_screen_leaves_the_view_and_its_holes_not_judged(report_of: ReportOf) -> None:
    patch = "patch brush\n  purpose screen\n  outline -20,5 120,5 120,15 -20,15\n  method fell\n  density 90 per acre\n  dbh 4in\n"
    report = report_of(LANE + FOOD + patch)
    assert not of_rule(report, "entry-in-view") and not of_rule(report, "screen-hole")
    assert len(unjudged(report, "entry-in-view")) == 1 and len(unjudged(report, "screen-hole")) == 1


AS_BUILT = 'plan "As built"\n  stage as-built\n  units yd\n{}'


@pytest.mark.parametrize(
    ("height", "day", "done", "hidden"),
    [
        ("6ft from 2030", "", "", True),  # a design: it counts as grown
        ("3ft", "", "", False),
        ("6ft from 2030", AS_BUILT.format("  date 2027-06-01\n"), "  done 2026-04-01\n", False),
        ("6ft from 2027", AS_BUILT.format("  date 2027-06-01\n"), "  done 2026-04-01\n", True),
        ("6ft from 2027", AS_BUILT.format("  date 2027-06-01\n"), "", False),  # not planted
        ("6ft from 2027", AS_BUILT.format(""), "  done 2026-04-01\n", None),  # nobody knows the day
        ("6ft", AS_BUILT.format(""), "  done 2026-04-01\n", True),
    ],
)
def test_when_a_hedge_hides(report_of: ReportOf, height: str, day: str, done: str, hidden: bool | None) -> None:
    report = report_of(day + LANE + FOOD + HEDGE + f"  height {height}\n{done}")
    found = bool(of_rule(report, "entry-in-view"))
    assert found is (hidden is False)
    assert bool(unjudged(report, "entry-in-view")) is (hidden is None)


def test_a_finding_that_counts_on_a_hedge_says_from_when(report_of: ReportOf) -> None:
    (found,) = of_rule(
        report_of(LANE + FOOD + HEDGE.replace("120,10", "50,10") + "  height 6ft from 2030\n"), "entry-in-view"
    )
    assert "from food clover, even with what is planted as a screen grown, from 2030 on" in message(found, "yd")


# -- holes -----------------------------------------------------------------------------------------------


def gaps(scene: Scene) -> list[float]:
    return sorted(round(hole.line.length / YARD, 2) for hole in holes_of(scene) if hole.line is not None)


def test_a_hole_is_as_wide_as_its_tops_are_apart(report_of: ReportOf) -> None:
    assert gaps(report_of(LANE + top("a", 10, 8) + top("b", 16, 8) + top("c", 22.5, 8)).scene) == [2, 2.5]
    # one set back: measured from point to point, not along the walk
    scene = report_of(LANE + top("a", 10, 8) + top("b", 16, 11)).scene
    one, other = scene.trees.top
    assert gaps(scene) == [round(one.distance(other) / YARD, 2)]
    assert gaps(scene)[0] > 2


def test_tops_side_by_side_in_two_rows_leave_no_hole(report_of: ReportOf) -> None:
    rows = top("a", 10, 6) + top("b", 17, 6) + top("c", 13.5, 11) + top("d", 20.5, 11)
    assert gaps(report_of(LANE + rows).scene) == []


@pytest.mark.parametrize("turn", [30, 60, 90, 120])
def test_round_the_outside_of_a_bend_a_hole_is_found_and_a_closed_screen_has_none(
    report_of: ReportOf, turn: int
) -> None:
    angle = math.radians(turn)
    end = (60 + 60 * math.cos(angle), 60 * math.sin(angle))  # to the left: the outside is on the right
    lane = f"path lane\n  use entry\n  line 0,0 60,0 {end[0]:.3f},{end[1]:.3f}\n"
    hedge = "planting {}\n  kind screen\n  height 6ft\n  line beside lane right 8yd from {}yd to {}yd\n"
    assert gaps(report_of(lane + hedge.format("whole", 0, 120)).scene) == []
    # what is left out around the corner is an arc and two legs of 2 yd
    scene = report_of(lane + hedge.format("first", 0, 58) + hedge.format("second", 62, 120)).scene
    ends = [scene.shape_of(block) for block in scene.blocks_of("plantings")]
    assert ends[0] is not None and ends[1] is not None
    apart = ends[0].distance(ends[1]) / YARD
    assert gaps(scene) == ([round(apart, 2)] if apart <= 18 else [])
    assert apart > 4


def test_inside_a_bend_a_closed_screen_has_no_hole(report_of: ReportOf) -> None:
    lane = "path lane\n  use entry\n  line 0,0 60,0 60,60\n"
    screen = f"row s\n  purpose screen\n  method fell\n  stumps 0,8 52,8\n  spacing 3.8\n  fall E\n{SIZE}"
    more = f"row t\n  purpose screen\n  method fell\n  stumps 52,0 52,50\n  spacing 3.8\n  fall N\n{SIZE}"
    assert gaps(report_of(lane + screen + more).scene) == []


def test_a_hole_is_told_once_though_two_walks_run_by_it(report_of: ReportOf) -> None:
    spur = "path spur\n  use entry\n  line 60,0 60,60\n"
    report = report_of(LANE + spur + top("a", 10, 8) + top("b", 18, 8))
    assert len(of_rule(report, "screen-hole")) == 1
    # where the spur leaves the lane the screen has to be open
    assert gaps(report_of(LANE + spur + top("a", 45, 8) + top("b", 53, 8)).scene) == []


@pytest.mark.parametrize(
    ("way", "count"),
    [
        ("path run\n  use travel\n  line 25,60 25,-60\n", 0),
        ("path run\n  use travel\n  line 45,60 45,-60\n", 1),
        ("path road\n  use vehicle\n  line 25,60 25,-60\n", 0),
    ],
)
def test_a_way_through_the_screen_is_meant(report_of: ReportOf, way: str, count: int) -> None:
    report = report_of(LANE + way + top("a", 10, 8) + top("b", 18, 8))
    assert len(of_rule(report, "screen-hole")) == count


@pytest.mark.parametrize(
    "fill",
    [
        top("c", 14, 12, "  purpose bedding\n"),
        "planting hedge\n  kind screen\n  line 15,40 40,40\n",
        "hazard fence\n  kind fence\n  line 15,12 40,12\n  barrier yes\n",
    ],
)
def test_what_bars_deer_behind_a_hole_fills_it(report_of: ReportOf, fill: str) -> None:
    assert gaps(report_of(LANE + top("a", 10, 8) + top("b", 18, 8)).scene) == [4]
    assert gaps(report_of(LANE + top("a", 10, 8) + top("b", 18, 8) + fill).scene) == []


def test_a_hole_half_filled_is_what_is_left(report_of: ReportOf) -> None:
    half = top("c", 15, 8, "  purpose bedding\n")
    assert gaps(report_of(LANE + top("a", 10, 8) + top("b", 20, 8) + half).scene) == [1, 1]


def test_only_screens_have_holes_and_only_on_the_side_of_the_deer(report_of: ReportOf) -> None:
    assert gaps(report_of(LANE + top("a", 10, 8, "") + top("b", 18, 8, "")).scene) == []
    pair = top("a", 10, 8) + top("b", 18, 8)
    assert gaps(report_of(LANE + FOOD + pair).scene) == [4]
    away = "food clover\n  outline 20,-60 80,-60 80,-100 20,-100\n"
    assert gaps(report_of(LANE + away + pair).scene) == []


def test_the_end_of_a_screen_is_no_hole(report_of: ReportOf) -> None:
    assert gaps(report_of(LANE + top("a", 10, 8)).scene) == []
    assert gaps(report_of(LANE + top("a", 10, 8) + top("b", 30, 8)).scene) == []


def test_the_tree_laid_in_by_the_mend_closes_the_hole(report_of: ReportOf) -> None:
    plan = LANE + top("a", 10, 8) + top("b", 18, 8)
    table = report_of(plan).scene.table("holes")
    place, fall = table.column("filler").values[0], table.column("fall").values[0]
    fill = f"tree fill\n  at {place.x / YARD:.4f},{place.y / YARD:.4f}\n  method fell\n  fall {fall:.3f}deg\n{SIZE}"
    assert of_rule(report_of(plan), "screen-hole") and not of_rule(report_of(plan + fill), "screen-hole")


def test_a_hole_between_trees_of_estimated_size_says_so(report_of: ReportOf) -> None:
    bare = "row s\n  purpose screen\n  method fell\n  stumps 10,8 60,8\n  spacing 10\n  fall along lane\n"
    (found,) = of_rule(report_of(LANE + bare), "screen-hole")
    assert found.measured is not None and found.measured.estimated


# -- any plan ------------------------------------------------------------------------------------------------

MINE = ("entry-in-view", "screen-hole")


@pytest.mark.parametrize(
    "plan",
    [
        LANE,
        FOOD,
        "path lane\n  use entry\n  line 0,0 0,0\n" + FOOD,
        "path lane\n  use entry\n  line 0,0 0.005,0\n" + FOOD,
        LANE + "row s\n  purpose screen\n  method fell\n  stumps 10,8 60,8\n  spacing 10\n",  # no fall
        LANE + top("a", 10, 8) + top("b", 10, 8),  # both at one place
        LANE + "stand oak\n  at 50,4\n  reach lane\npocket all\n  outline -500,-500 500,-500 500,500 -500,500\n",
        LANE + "food f\n  at 50,0\n  radius 300\n",
    ],
)
def test_odd_plans_are_judged_without_a_stumble(report_of: ReportOf, plan: str) -> None:
    for finding in report_of(plan).findings:
        assert "worked out" not in message(finding, "yd")


def test_a_plan_without_walks_or_screens_is_told_nothing(report_of: ReportOf) -> None:
    pocket = "pocket p\n  outline 0,30 40,30 40,60 0,60\n"
    for plan in (pocket + FOOD + HEDGE, LANE + HEDGE, pocket + top("a", 10, 8) + top("b", 18, 8)):
        report = report_of(plan)
        assert not any(of_rule(report, slug) or unjudged(report, slug) for slug in MINE)


@pytest.mark.parametrize(("turn", "mirrored"), [(0, True), (37, False), (90, False), (211.3, True)])
def test_turning_and_mirroring_change_nothing(report_of: ReportOf, turn: float, mirrored: bool) -> None:
    angle = math.radians(turn)

    def at(x: float, y: float) -> str:
        x = -x if mirrored else x
        return f"{x * math.cos(angle) + y * math.sin(angle):.6f},{y * math.cos(angle) - x * math.sin(angle):.6f}"

    def plan(at: Callable[[float, float], str], fall: Callable[[float], float]) -> str:
        def line(*points: tuple[float, float]) -> str:
            return " ".join(at(*point) for point in points)

        text = f"path lane\n  use entry\n  line {line((0, 0), (70, 10), (150, -20))}\n"
        text += f"pocket p\n  outline {line((20, 60), (90, 70), (80, 100), (10, 95))}\n"
        text += f"food f\n  outline {line((130, 40), (190, 40), (190, 90), (130, 90))}\n"
        text += (
            f"timber w\n  outline {line((-20, 30), (100, 30), (100, 58), (-20, 58))}\n  class 6in..12in 90 sqft/ac\n"
        )
        for number, (x, y) in enumerate(((5, 9), (10, 9.5), (18, 10), (23, 11), (31, 12))):
            text += (
                f"tree t{number}\n  at {at(x, y)}\n  method fell\n  fall {fall(82) % 360:.6f}deg\n  purpose screen\n"
                + SIZE
            )
        return text

    plain = plan(lambda x, y: f"{x:.6f},{y:.6f}", lambda bearing: bearing)
    moved = plan(at, lambda bearing: (-bearing if mirrored else bearing) + turn)
    one, other = report_of(plain).scene, report_of(moved).scene
    assert len(gaps(one)) >= 3
    assert gaps(other) == pytest.approx(gaps(one), abs=0.01)
    assert seen(one) > 40
    assert seen(other) == pytest.approx(seen(one), rel=1e-3)


def test_a_quarter_section_with_screened_walks_takes_little_time(review: Review) -> None:
    chance = np.random.default_rng(3)
    plan = "boundary\n  outline 0,0 880,0 880,880 0,880\ntimber w\n  outline 0,0 880,0 880,880 0,880\n  class 6in..12in 80 sqft/ac\n"
    for number in range(40):
        x, y = chance.uniform(40, 780, 2)
        plan += f"pocket p{number}\n  outline {x:.1f},{y:.1f} {x + 60:.1f},{y:.1f} {x + 60:.1f},{y + 40:.1f} {x:.1f},{y + 40:.1f}\n"
    for number in range(10):
        y = 30 + 85 * number
        plan += f"path lane{number}\n  use entry\n  line 0,{y} 120,{y + 20} 240,{y - 10} 420,{y + 5}\n"
        for side in ("left", "right"):
            plan += (
                f"row s{number}{side}\n  purpose screen\n  method fell\n  spacing 6\n  dbh 8in\n  fall along lane{number}\n"
                f"  stumps beside lane{number} {side} 8yd from 0yd to 420yd\n"
            )
    scene = Scene(read_plan(Source("plan", plan), review.plan_grammar, fragment=True))
    every_measure().attach(scene)
    walks_of(scene), scene.trees.barrier_index, deer_sides(scene)
    start = process_time()
    sizes = measured(scene).value.values
    holes_of(scene)
    assert process_time() - start < 2  # some 0.2 s
    assert len(scene.trees) > 1300 and 0 < sizes.sum() < 10 * 420 * YARD
