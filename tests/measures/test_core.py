"""What is core, what is food-side, and what a pocket leads to. Worked by hand; common practice, no source."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.core import core_ground, core_pockets, food_side
from habitatlint.measures.leading import leads_to
from habitatlint.measures.vocabulary import Rows
from habitatlint.units import YARD

ReportOf = Callable[..., Report]

SQUARE = "boundary\n  outline 0,0 400,0 400,400 0,400\n"
POCKET = "pocket {name}\n  outline {west},{south} {east},{south} {east},{north} {west},{north}\n"


def pocket(name: str, x: float, y: float, half: float = 20) -> str:
    return POCKET.format(name=name, west=x - half, east=x + half, south=y - half, north=y + half)


def yards(shape: object) -> tuple[float, ...]:
    return tuple(round(side / YARD, 1) for side in shape.bounds)  # type: ignore[attr-defined]


def test_the_core_of_a_square_is_the_square_half_as_wide(report_of: ReportOf) -> None:
    core = core_ground(report_of(SQUARE).scene)
    assert core is not None and yards(core) == (100, 100, 300, 300)


def test_a_narrow_property_has_no_ground_a_hundred_yards_in(report_of: ReportOf) -> None:
    plan = "boundary\n  outline 0,0 800,0 800,198 0,198\n" + pocket("middle", 400, 99)
    scene = report_of(plan).scene
    core = core_ground(scene)
    assert core is not None and core.is_empty and core_pockets(scene) == [False]


def test_a_road_shrinks_the_core_and_a_path_does_not(report_of: ReportOf) -> None:
    road = "hazard road\n  kind road\n  line 0,200 400,200\n"
    lane = "path lane\n  use entry\n  line 0,200 400,200\npath trail\n  use vehicle\n  line 200,0 200,400\n"
    middle = pocket("middle", 200, 205)
    assert core_pockets(report_of(SQUARE + middle).scene) == [True]
    assert core_pockets(report_of(SQUARE + lane + middle).scene) == [True]
    scene = report_of(SQUARE + road + middle).scene
    assert core_pockets(scene) == [False]
    core = core_ground(scene)
    # a hundred yards from the road on both sides is a hundred from the line: nothing but an edge is left
    assert core is not None and core.area == pytest.approx(0, abs=1)


def test_the_plans_own_core_stands_above_the_one_worked_out(report_of: ReportOf) -> None:
    own = "core quiet\n  outline 0,0 80,0 80,80 0,80\n"
    scene = report_of(SQUARE + own + pocket("corner", 40, 40) + pocket("middle", 200, 200)).scene
    assert core_pockets(scene) == [True, False]


@pytest.mark.parametrize(("x", "core"), [(99, False), (101, True)])
def test_food_lies_in_the_core_as_a_pocket_does(report_of: ReportOf, x: float, core: bool) -> None:
    clover = f"food clover\n  at {x},200\n  radius 20\n"
    report = report_of(SQUARE + clover)
    assert report.scene.table("foods").column("core").values.tolist() == [core]
    assert [f.rule for f in report.findings if f.rule == "layout/food-in-core"] == ["layout/food-in-core"] * core
    for kind in ("mast", "browse", "crop"):
        other = report_of(SQUARE + clover + f"  kind {kind}\n")
        assert "layout/food-in-core" not in [f.rule for f in other.findings]
    unplaced = report_of(clover)
    assert not unplaced.scene.table("foods").column("core").mask[0]


def test_without_boundary_or_core_nobody_knows(report_of: ReportOf) -> None:
    plan = pocket("middle", 200, 200) + "row cut\n  method hinge\n  stumps 190,200 210,200\n  spacing 10\n  fall N\n"
    report = report_of(plan)
    assert core_pockets(report.scene) == [None]
    unjudged = [f for f in report.findings if f.rule == "record/not-judged"]
    assert any("core-bedding" in str(fact.value) for f in unjudged for fact in f.facts.values())


@pytest.mark.parametrize(("x", "core"), [(99, False), (101, True)])
def test_how_deep_core_begins(report_of: ReportOf, x: float, core: bool) -> None:
    assert core_pockets(report_of(SQUARE + pocket("k", x, 200)).scene) == [core]


def test_a_bent_pocket_is_judged_by_its_place_nearest_its_middle(report_of: ReportOf) -> None:
    # a horseshoe around the property's middle: its centroid lies in the open, its ground does not
    shoe = "pocket shoe\n  outline 60,60 340,60 340,340 330,340 330,70 70,70 70,340 60,340\n"
    assert core_pockets(report_of(SQUARE + shoe).scene) == [False]


@pytest.mark.parametrize(("gap", "beside"), [(49, True), (51, False)])
def test_food_side_cover_has_a_quarter_within_60_yards_and_is_never_core(
    report_of: ReportOf, gap: float, beside: bool
) -> None:
    # 40 yd deep: a quarter of it lies within 60 yd of a plot 50 yd off
    plot = "food clover\n  kind plot\n  outline 150,50 250,50 250,100 150,100\n"
    plan = SQUARE + plot + pocket("k", 200, 100 + gap + 20)
    scene = report_of(plan).scene
    assert food_side(scene) == [beside]
    assert core_pockets(scene) == [not beside]
    assert food_side(report_of(plan.replace("kind plot", "kind mast")).scene) == [False]


def leads(report: Report, gap: float = 20) -> list[bool]:
    rows = np.arange(len(report.scene.blocks_of("pockets")))
    return leads_to(
        report.scene, Rows("pockets", rows), Column("length", np.full(len(rows), gap * YARD))
    ).values.tolist()


@pytest.mark.parametrize(("gap", "led"), [(19, True), (21, False)])
@pytest.mark.parametrize("where", ["pocket", "middle", "food"])
def test_a_chain_has_no_gap_over_20_yards(report_of: ReportOf, gap: float, led: bool, where: str) -> None:
    gaps = dict.fromkeys(["pocket", "middle", "food"], 5.0) | {where: gap}
    first_end = 180 - gaps["pocket"]
    joint = 130 - gaps["middle"]
    plan = pocket("k", 200, 200) + "food clover\n  outline 180,0 220,0 220,40 180,40\n"
    plan += f"path upper\n  use travel\n  line 200,{first_end} 200,130\n"
    plan += f"path lower\n  use corridor\n  line 200,{joint} 200,{40 + gaps['food']}\n"
    assert leads(report_of(plan)) == [led]


def test_the_chain_may_be_drawn_either_way_and_needs_a_link(report_of: ReportOf) -> None:
    plan = pocket("k", 200, 200) + "food clover\n  outline 180,0 220,0 220,40 180,40\n"
    assert leads(report_of(plan + "path run\n  use travel\n  line 200,45 200,175\n")) == [True]
    assert leads(report_of(plan + "path lane\n  use entry\n  line 200,45 200,175\n")) == [False]
    assert leads(report_of(plan)) == [False]


def test_corridors_of_a_pocket_are_links(report_of: ReportOf) -> None:
    plan = "food clover\n  outline 180,100 220,100 220,140 180,140\n" + pocket("k", 200, 180, 15)
    assert leads(report_of(plan)) == [False]
    corridors = plan.replace("pocket k\n", "pocket k\n  corridors every 15yd off clover width 3ft\n")
    # the corridor runs 3 yd beyond the outline: 22 yd from the food
    assert leads(report_of(corridors), 21) == [False]
    assert leads(report_of(corridors), 23) == [True]


STAND = "stand oak\n  at 200,32\n  reach lane\n  winds {wind}\n"
TO_STAND = SQUARE + pocket("k", 200, 200) + "path run\n  use travel\n  line 200,170 200,60\n"


@pytest.mark.parametrize(
    ("lane", "wind", "led"),
    [
        ("0,30 200,30", "N", True),  # the scent goes south, off the property
        ("0,30 200,30", "S", False),  # onto the pocket
        ("0,30 200,30", "S N", True),  # one clean wind is enough
        ("200,400 200,30", "N", False),  # walked to through the core
    ],
)
def test_a_stand_counts_where_it_is_walked_to_outside_the_core_on_a_clean_wind(
    report_of: ReportOf, lane: str, wind: str, led: bool
) -> None:
    plan = TO_STAND + STAND.format(wind=wind) + f"path lane\n  use entry\n  line {lane}\n"
    assert leads(report_of(plan)) == [led]


def test_a_stand_nobody_walks_to_is_no_goal_and_a_shared_walk_is_one(report_of: ReportOf) -> None:
    lane = "path lane\n  use entry\n  line 0,30 300,30\n"
    unreached = TO_STAND + STAND.format(wind="N").replace("  reach lane\n", "") + lane
    assert leads(report_of(unreached)) == [False]
    # a farther stand's walk takes in all of this one's
    shared = TO_STAND + STAND.format(wind="N") + lane + "stand far\n  at 290,32\n  reach lane\n"
    assert leads(report_of(shared)) == [True]


@pytest.mark.parametrize(("off", "led"), [(29, True), (31, False)])
def test_a_stand_reaches_as_far_as_it_shoots(report_of: ReportOf, off: float, led: bool) -> None:
    run = f"path run\n  use travel\n  line 200,170 200,{32 + off}\n"
    plan = (
        SQUARE + pocket("k", 200, 200) + run + STAND.format(wind="N") + "path lane\n  use entry\n  line 0,30 200,30\n"
    )
    assert leads(report_of(plan)) == [led]


def test_a_pocket_by_the_food_is_a_goal_for_another_but_not_for_itself(report_of: ReportOf) -> None:
    plot = "food clover\n  outline 180,0 220,0 220,30 180,30\n"
    plan = plot + pocket("k", 200, 200) + pocket("edge", 200, 70) + "path run\n  use travel\n  line 200,175 200,95\n"
    report = report_of(plan)
    assert food_side(report.scene) == [False, True]
    assert leads(report)[0] is True
    assert shapely.distance(*(report.scene.shape_of(report.scene.plan.names[name]) for name in ("edge", "clover"))) > 18


def test_a_stump_in_two_pockets_belongs_to_the_first_of_the_plan(report_of: ReportOf) -> None:
    pockets = "".join(pocket(f"k{number}", 200 + number, 200) for number in range(12))
    row = "row cut\n  method hinge\n  stumps 200,190 200,210\n  spacing 2\n  fall N\n  dbh 8in\n"
    assert set(report_of(pockets + row).scene.trees.pocket.tolist()) == {0}
