"""Ways of people against ways of deer: stumps, cover, lines of travel and food beside a walk.

Expected figures are worked by hand from the drawing, or by stepping along the way; distances are common
practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from shapely.geometry import LineString, Point

from habitatlint.check import Report
from habitatlint.findings import Finding
from habitatlint.ground.columns import Column
from habitatlint.ground.scene import Scene
from habitatlint.measures.approach import by_cover, crosses_above, sprouts, within_from
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.outputs.sentences import message
from habitatlint.units import YARD

ReportOf = Callable[..., Report]

LANE = "path lane\n  use entry\n  line 0,0 100,0\n"
FOOD = "food clover\n  outline 20,25 80,25 80,60 20,60\n"
MINE = (
    "sprouts-near-entry",
    "edge-cover-near-entry",
    "entry-through-cover",
    "entry-across-travel",
    "exit-through-food",
)


def of_rule(report: Report, slug: str) -> list[Finding]:
    return [finding for finding in report.findings if finding.rule == f"entry/{slug}"]


def unjudged(report: Report, slug: str) -> list[str]:
    return [
        message(finding, "yd") for finding in report.findings
        if finding.rule == "record/not-judged" and slug in message(finding, "yd")
    ]  # fmt: skip


# -- stumps ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "will"),
    [
        ("", True),
        ("  species red-maple\n", True),
        ("  species quaking-aspen\n", True),
        ("  species white-pine\n", False),
        ("  species pitch-pine\n", True),  # one of the few that do
        ("  species white-pine red-maple\n", True),
        ("  stump-treatment planned\n", False),
        ("  state dead\n", False),
        ("  state hung\n", True),
        ("  state blown\n", False),
    ],
)
def test_which_stumps_will_sprout(report_of: ReportOf, more: str, will: bool) -> None:
    scene = report_of("tree t\n  at 50,5\n  method fell\n  fall E\n" + more).scene
    found = sprouts(scene, Rows("trees", np.array([0])))
    assert isinstance(found, Column) and found.values.tolist() == [will]


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ("  done 2026-02-01\n", True),
        ("", False),  # not cut yet
        ("  done 2026-02-01\n  state standing\n", False),
        ("  done 2026-02-01\n  stump-treatment planned\n", True),
        ("  done 2026-02-01\n  stump-treatment done\n", False),
    ],
)
def test_on_the_ground_what_is_cut_and_not_treated_sprouts(report_of: ReportOf, more: str, told: bool) -> None:
    head = 'plan "As built"\n  stage as-built\n  units yd\n'
    report = report_of(head + LANE + "tree t\n  at 50,5\n  method fell\n  fall E\n  dbh 8in\n" + more)
    assert bool(of_rule(report, "sprouts-near-entry")) is told


def test_a_stump_and_a_hinge_are_told_by_one_rule_each(report_of: ReportOf) -> None:
    hinge = "tree t\n  at 50,5\n  method hinge\n  fall N\n  dbh 8in\n"
    rules = {finding.rule for finding in report_of(LANE + hinge).findings if finding.rule.startswith("entry/")}
    assert rules == {"entry/live-hinge-near-entry"}
    rules = {finding.rule for finding in report_of(LANE + hinge.replace("hinge", "fell")).findings}
    assert "entry/sprouts-near-entry" in rules and "entry/live-hinge-near-entry" not in rules


def test_stumps_of_a_patch_by_the_walk_are_not_judged(report_of: ReportOf) -> None:
    patch = "patch brush\n  outline 0,5 100,5 100,30 0,30\n  method fell\n  density 60 per acre\n  dbh 4in\n"
    report = report_of(LANE + patch)
    assert not of_rule(report, "sprouts-near-entry") and len(unjudged(report, "sprouts-near-entry")) == 1
    assert not unjudged(report_of(LANE + patch + "  stump-treatment planned\n"), "sprouts-near-entry")


# -- the last stretch, and cover ---------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(20))
def test_where_the_last_stretch_begins_is_where_stepping_back_leaves_the_circle(seed: int) -> None:
    chance = np.random.default_rng(seed)
    way = LineString(np.cumsum(chance.uniform(-30, 40, (8, 2)), axis=0))
    place = Point(np.array(way.coords[-1]) + chance.uniform(-10, 10, 2))
    radius = float(chance.uniform(15, 90))
    at = way.length
    while at > 0 and way.interpolate(at).distance(place) <= radius:
        at -= 0.01
    assert within_from(way, place, radius) == pytest.approx(max(at, 0.0), abs=0.03)


def test_a_stand_that_its_way_never_comes_near_has_no_last_stretch() -> None:
    assert within_from(LineString([(0, 0), (100, 0)]), Point(100, 60), 50) == 100
    assert within_from(LineString([(0, 0), (100, 0)]), Point(50, 0), 80) == 0


def cover(scene: Scene, beyond: float = 20) -> tuple[float, float]:
    found = by_cover(
        scene,
        Rows("walks", np.array([0])),
        Rows("pockets", np.array([0])),
        Column("length", np.array([beyond * YARD])),
    )
    assert isinstance(found, Measured)
    inside = found.parts["inside"](np.array([0])).values[0]
    return float(found.value.values[0]) / YARD, float(inside) / YARD


def test_how_a_walk_comes_by_a_pocket(report_of: ReportOf) -> None:
    pocket = "pocket p\n  outline 40,{low} 60,{low} 60,90 40,90\n"
    assert cover(report_of(LANE + pocket.format(low=12)).scene) == pytest.approx((12, 0))
    assert cover(report_of(LANE + pocket.format(low=-12)).scene) == pytest.approx((0, 20))


def test_along_an_outline_a_walk_is_close_and_not_inside(report_of: ReportOf) -> None:
    report = report_of(LANE + "pocket p\n  outline 20,0 80,0 80,40 20,40\n")
    (found,) = of_rule(report, "entry-through-cover")
    assert found.level.name == "error"


STAND = "stand oak\n  at 90,{y}\n  reach lane\n  range {reach}yd\n"


@pytest.mark.parametrize(
    ("pocket", "y", "reach", "gap"),
    [
        # the pocket lies by the last stretch alone, and the stand as near: nothing of the walk counts but its start
        ("80,20 120,20 120,60 80,60", 5, 30, math.hypot(80 - (90 - math.sqrt(50**2 - 5**2)), 20)),
        # the walk comes nearer than the stand, which sits on its far side
        ("80,20 120,20 120,60 80,60", -5, 30, 20),
        # at the start of the walk nothing is left out
        ("0,20 20,20 20,60 0,60", 5, 30, 20),
    ],
)
def test_the_last_stretch_may_come_as_near_as_the_stand(
    report_of: ReportOf, pocket: str, y: float, reach: float, gap: float
) -> None:
    plan = LANE + f"pocket p\n  outline {pocket}\n" + STAND.format(y=y, reach=reach)
    found, inside = cover(report_of(plan).scene)
    assert found == pytest.approx(gap, abs=0.05) and inside == 0


def test_a_stand_in_the_pocket_leaves_nothing_out(report_of: ReportOf) -> None:
    plan = LANE + "pocket p\n  outline 60,-20 120,-20 120,40 60,40\n" + STAND.format(y=5, reach=30)
    assert cover(report_of(plan).scene) == pytest.approx((0, 30), abs=0.05)


def test_passing_a_nearer_stand_on_the_way_to_another_is_no_last_stretch(report_of: ReportOf) -> None:
    lane = LANE.replace("100,0", "200,0")
    pocket = "pocket p\n  outline 70,10 110,10 110,60 70,60\n"
    one = "stand near\n  at 90,4\n  reach lane\n  range 60yd\n"
    assert not of_rule(report_of(lane + pocket + one), "entry-through-cover")
    both = one + "stand far\n  at 198,4\n  reach lane\n  range 30yd\n"
    (found,) = of_rule(report_of(lane + pocket + both), "entry-through-cover")
    assert found.measured is not None and found.measured.value == pytest.approx(10 * YARD)


def test_a_short_walk_that_is_all_last_stretch_is_quiet(report_of: ReportOf) -> None:
    plan = "path lane\n  use entry\n  line 60,0 100,0\npocket p\n  outline 60,15 120,15 120,60 60,60\n"
    assert not of_rule(report_of(plan + STAND.format(y=5, reach=40)), "entry-through-cover")


# -- feathered edges -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("  method fell\n  fall N\n", True),
        ("  method hinge\n  fall N\n", True),
        ("  method girdle\n", True),
        ("  method leave\n", False),
        ("  method fell\n  fall N\n  offsite yes\n", False),
    ],
)
def test_an_edge_feathered_by_the_walk_is_told_however_it_is_cut(report_of: ReportOf, row: str, told: bool) -> None:
    feather = "row feather\n  purpose edge\n  stumps 30,18 70,18\n  spacing 8\n  dbh 6in\n" + row
    assert bool(of_rule(report_of(LANE + FOOD + feather), "edge-cover-near-entry")) is told
    assert not of_rule(report_of(LANE + feather), "edge-cover-near-entry")


# -- across the deer's way --------------------------------------------------------------------------------------


RUN = "path run\n  use travel\n  line 0,0 200,0\n"


def way(x: float, stand: float = 100) -> str:
    return f"path lane\n  use entry\n  line {x},-60 {x},20 {stand},20\n"


def above(scene: Scene, path: str, stand: int = 0, chain: float = 20) -> float | None:
    row = scene.row_of("paths", path)
    assert row is not None
    found = crosses_above(scene, Rows("stands", np.array([stand])), Rows("paths", np.array([row])),
                          Column("length", np.array([chain * YARD])))  # fmt: skip
    assert isinstance(found, Measured)
    return float(found.value.values[0]) / YARD if found.value.mask[0] else None


def seat(sit: str, more: str = "") -> str:
    return "stand oak\n  at 100,18\n  reach lane\n" + (f"  sit {sit}\n" if sit else "") + more


@pytest.mark.parametrize(
    ("x", "sit", "far"),
    [
        (40, "evening", 60),
        (40, "morning", 0),
        (150, "evening", 0),
        (150, "morning", 50),
        (40, "all", 60),
        (150, "all", 50),
        (40, "", None),
        (100.0, "", 0),  # at the stand it is above by no sit
    ],
)
def test_how_far_above_the_stand_a_walk_crosses(report_of: ReportOf, x: float, sit: str, far: float | None) -> None:
    found = above(report_of(RUN + way(x) + seat(sit)).scene, "run")
    assert found == (None if far is None else pytest.approx(far, abs=1e-6))


def test_a_stand_that_does_not_say_when_is_not_judged_only_where_it_matters(report_of: ReportOf) -> None:
    (told,) = unjudged(report_of(RUN + way(40) + seat("")), "entry-across-travel")
    assert "no `sit` is given" in told
    away = RUN.replace("0,0 200,0", "0,-25 200,-25")
    report = report_of(away + way(40) + seat("", "  range 30yd\n"))
    assert not unjudged(report, "entry-across-travel") and not of_rule(report, "entry-across-travel")
    broken = report_of(RUN + way(40) + seat("noon"))
    assert not unjudged(broken, "entry-across-travel") and not of_rule(broken, "entry-across-travel")


def test_a_walk_that_crosses_twice_is_told_by_the_farther(report_of: ReportOf) -> None:
    lane = "path lane\n  use entry\n  line 20,20 20,-20 60,-20 60,20 100,20\n"
    assert above(report_of(RUN + lane + seat("evening")).scene, "run") == pytest.approx(80)


def test_the_farthest_of_a_chain_counts_along_its_way(report_of: ReportOf) -> None:
    # three lines, each ending on the next; the walk crosses the first of them
    chain = (
        "path first\n  use travel\n  line -100,-90 -20,-90 -20,-40\n"
        "path second\n  use travel\n  line -60,-30 30,-30 30,-10\n"
    )
    lane = "path lane\n  use entry\n  line -60,-120 -60,-70 -90,-70 -90,80 100,80 100,20\n"
    scene = report_of(RUN + chain + lane + seat("evening")).scene
    # 40 + 50 on the first, 10 yd over to the second, 50 + 20 on it, 10 over, 70 on the run
    assert above(scene, "first") == pytest.approx(40 + 50 + 10 + 50 + 20 + 10 + 70)
    assert above(scene, "second") == 0
    assert above(scene, "first", chain=9) == 0
    # in the morning deer leave the run by its first point, and never come along the others to the stand
    morning = report_of(RUN + chain + lane + seat("morning")).scene
    assert above(morning, "first") == 0


def test_lines_that_feed_each_other_in_a_ring_come_to_an_end(report_of: ReportOf) -> None:
    ring = "path a\n  use travel\n  line 0,0 0,90 -90,90\npath b\n  use travel\n  line -90,90 -90,0 0,0\n"
    lane = "path lane\n  use entry\n  line -60,-30 -60,30\n"
    scene = report_of(ring + lane + "stand oak\n  at 8,60\n  reach lane\n  sit evening\n").scene
    assert above(scene, "b") == pytest.approx(60 + 60)


def test_a_shared_trunk_is_judged_for_each_stand(report_of: ReportOf) -> None:
    lane = "path lane\n  use entry\n  line 40,-60 40,20 300,20\n"
    far = "stand far\n  at 298,24\n  reach lane\n  sit evening\n"
    report = report_of(RUN + lane + seat("evening") + far)
    (found,) = of_rule(report, "entry-across-travel")
    assert "stand oak" in message(found, "yd")


def test_a_line_along_which_the_walk_runs_is_crossed_too(report_of: ReportOf) -> None:
    lane = "path lane\n  use entry\n  line 30,-60 30,0 70,0 70,20 100,20\n"
    assert above(report_of(RUN + lane + seat("evening")).scene, "run") == pytest.approx(70)


# -- out past food ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("sit", "told"), [("evening", True), ("all", True), ("morning", False)])
def test_the_way_out_is_judged_for_the_evening(report_of: ReportOf, sit: str, told: bool) -> None:
    stand = f"stand oak\n  at 98,2\n  reach lane\n  range 10yd\n  sit {sit}\n"
    assert bool(of_rule(report_of(LANE + FOOD + stand), "exit-through-food")) is told


def test_a_stand_without_a_sit_is_not_judged_only_where_its_way_comes_near(report_of: ReportOf) -> None:
    stand = "stand oak\n  at 98,2\n  reach lane\n  range 10yd\n"
    (told,) = unjudged(report_of(LANE + FOOD + stand), "exit-through-food")
    assert "no `sit` is given" in told
    for food in (FOOD.replace(",25", ",35"), FOOD.replace("clover\n", "clover\n  kind mast\n"), ""):
        assert not unjudged(report_of(LANE + food + stand), "exit-through-food")
    # as near as the stand: all of it within range
    assert not unjudged(
        report_of(LANE + FOOD + stand.replace("98,2", "60,2").replace("10yd", "120yd")), "exit-through-food"
    )
    assert not unjudged(report_of(LANE + FOOD + stand + "  sit noon\n"), "exit-through-food")


# -- any plan ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "plan",
    [
        LANE,
        FOOD,
        RUN,
        "stand oak\n  at 0,0\n",
        "stand oak\n  at 0,0\n  reach lane\n" + LANE,
        "stand oak\n  at 0,0\n  reach lane\n  leave gone\n  sit evening\n" + LANE + FOOD,
        "path lane\n  use entry\n  line 0,0 0,0\n" + FOOD + RUN,
        LANE + RUN + "path run2\n  use travel\n  line 5,5 5,5\n" + "stand oak\n  at 90,4\n  reach lane\n  sit all\n",
        LANE + "pocket all\n  outline -500,-500 500,-500 500,500 -500,500\nstand oak\n  at 90,4\n  reach lane\n",
        LANE + FOOD + "row r\n  purpose edge\n  method fell\n  stumps 20,20 60,20\n  spacing 5\n",
        LANE + FOOD + "patch r\n  purpose edge\n  in nowhere\n  method fell\n  density 50 per acre\n",
    ],
)
def test_odd_plans_are_judged_without_a_stumble(report_of: ReportOf, plan: str) -> None:
    for finding in report_of(plan).findings:
        assert "worked out" not in message(finding, "yd")


def test_a_plan_without_the_things_is_told_nothing(report_of: ReportOf) -> None:
    for plan in (LANE, LANE + STAND.format(y=4, reach=30), FOOD + RUN + "pocket p\n  outline 0,0 9,0 9,9 0,9\n"):
        report = report_of(plan)
        assert not any(of_rule(report, slug) or unjudged(report, slug) for slug in MINE)
