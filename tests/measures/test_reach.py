"""What trees can reach: sizes worked by hand, and a second way of computing where there is one."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
import shapely

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.language.blocks import Timber
from habitatlint.language.plan import PlanText
from habitatlint.measures import reach
from habitatlint.measures.reach import can_hit, fellings_of, sectors, snags_of, swept, tallest
from habitatlint.measures.vocabulary import Rows
from habitatlint.units import FOOT, YARD

ReportOf = Callable[..., Report]
Told = Callable[..., list[str]]

TREE = "tree oak\n  at 50,50\n  method fell\n  fall {fall}\n  tree-height 60ft\n"
WIRE = "hazard north-line\n  kind wire\n  line 0,{north} 100,{north}\n"
LANE = "path lane\n  use entry\n  line 0,0 100,0\n"
#: 60 ft and a tenth more
TALL = 66 * FOOT


def felling(told: list[str]) -> set[str]:
    return {line.split()[1].rstrip(":") for line in told}


def hits(report: Report, swing: float = 45.0) -> dict[str, float]:
    """The distances of the first felling from the first target, by part, in yards."""
    rows = Rows("fellings", np.array([0])), Rows("targets", np.array([0]))
    one = np.array([0])
    found = can_hit(report.scene, *rows, Column("angle", np.array([swing])), Column("number", np.ones(1)))
    return {part: float(found.parts[part](one).values[0]) / YARD for part in ("wire", "around", "ahead", "aside")}


def test_people_are_judged_by_the_tallest_tree_and_a_tenth_more(report_of: ReportOf) -> None:
    report = report_of("row oaks\n  method fell\n  stumps 0,0 20,0\n  spacing 10\n  fall N\n  tree-height 40ft..60ft\n")
    assert tallest(report.scene, report.plan.names["oaks"]) == pytest.approx((TALL, False))


@pytest.mark.parametrize(
    ("timber", "height", "estimated"),
    [
        ("", None, True),  # no timber there: a curve at 20 in
        ("timber woods\n  outline 0,0 90,0 90,90 0,90\n  height 70ft\n", 77 * FOOT, False),
        ("timber woods\n  outline 0,0 90,0 90,90 0,90\n  species red-maple\n  class 6in..10in 40 sqft/ac\n",
         1.1 * 58.58 * FOOT, True),
        ("timber far\n  outline 200,0 290,0 290,90 200,90\n  height 20ft\n", None, True),
    ],
)  # fmt: skip
def test_a_release_is_as_tall_as_the_timber_over_it(
    report_of: ReportOf, timber: str, height: float | None, estimated: bool
) -> None:
    report = report_of(timber + "release canopy\n  outline 10,10 50,10 50,50 10,50\n  method fell\n")
    found = tallest(report.scene, report.plan.names["canopy"])
    assert found.estimated is estimated
    if height is not None:
        assert found.height == pytest.approx(height, rel=1e-4)
    else:
        assert 70 * FOOT < found.height < 110 * FOOT


def test_a_wire_is_measured_whichever_way_the_tree_falls(report_of: ReportOf) -> None:
    for fall in ("N", "S", "E"):
        found = hits(report_of(WIRE.format(north=70) + TREE.format(fall=fall)))
        assert found == {"wire": pytest.approx(20), "around": math.inf, "ahead": math.inf, "aside": math.inf}


def test_a_fence_is_measured_along_the_fall_and_45_degrees_beside_it(report_of: ReportOf) -> None:
    fence = WIRE.format(north=60).replace("wire", "fence")
    assert hits(report_of(fence + TREE.format(fall="N")))["ahead"] == pytest.approx(10)
    # 60 degrees off: the nearest that is left lies at 15 degrees from the line's normal
    aside = hits(report_of(fence + TREE.format(fall="60deg")))["ahead"]
    assert aside == pytest.approx(10 / math.cos(math.radians(15)), abs=0.001)
    assert hits(report_of(fence + TREE.format(fall="S")))["ahead"] == math.inf
    assert hits(report_of(fence + TREE.format(fall="S")), swing=90)["ahead"] == math.inf


def test_what_lies_in_a_sector_is_what_is_near_enough_and_turned_little_enough() -> None:
    """A second way: points are in a sector by their own distance and bearing."""
    generator = np.random.default_rng(4)
    points = generator.uniform(-30, 30, (400, 2))
    (corners,) = sectors(np.array([70.0]), np.array([20.0]), 45.0)
    inside = shapely.covers(shapely.Polygon(corners), shapely.points(points))
    far = np.hypot(*points.T)
    turned = np.abs((np.degrees(np.arctan2(points[:, 0], points[:, 1])) - 70 + 180) % 360 - 180)
    meant = (far <= 20) & (turned <= 45)
    assert inside[meant].all()
    assert not inside[(far > 20 / math.cos(math.radians(2.5)) + 0.01) | (turned > 45.01)].any()
    assert 20 < meant.sum() < 200


def test_a_swept_outline_is_every_place_that_its_corners_reach() -> None:
    """A second way: points of the ground, each moved by points of what is swept."""
    generator = np.random.default_rng(7)
    ground = shapely.Polygon([(0, 0), (40, 0), (40, 30), (20, 8), (0, 30)])
    (corners,) = sectors(np.array([200.0]), np.array([15.0]), 45.0)
    covered = shapely.union_all(swept(ground, corners)).buffer(1e-6)
    bounds = shapely.points(generator.uniform((0, 0), (40, 30), (200, 2)))
    start = shapely.get_coordinates(bounds[shapely.covers(ground, bounds)])
    moves = shapely.points(generator.uniform(-16, 16, (400, 2)))
    moves = shapely.get_coordinates(moves[shapely.covers(shapely.Polygon(corners), moves)])
    moved = (start[:, None] + moves[None]).reshape(-1, 2)
    assert len(moved) > 1000 and shapely.covers(covered, shapely.points(moved)).all()
    assert not covered.covers(shapely.Point(20, 60))


def test_a_tree_with_no_fall_is_not_judged_where_it_matters_and_passed_over_elsewhere(told: Told) -> None:
    fence = WIRE.format(north=60).replace("wire", "fence")
    lines = told(fence + TREE.format(fall="N").replace("  fall N\n", ""))
    assert [line for line in lines if "no `fall` is given, and it stands within a tree length" in line]
    far = told(fence.replace("60", "90") + TREE.format(fall="N").replace("  fall N\n", ""))
    assert not [line for line in far if "fall-onto-hazard" in line]


def test_a_hazard_of_no_kind_is_not_judged(told: Told) -> None:
    lines = told("hazard thing\n  at 50,60\n" + TREE.format(fall="N"))
    assert [line for line in lines if "fall-onto-hazard" in line and "no `kind` is given" in line]


def test_a_release_by_the_boundary_is_its_fellers_business(told: Told) -> None:
    text = "boundary\n  outline 0,0 99,0 99,99 0,99\nrelease canopy\n  outline 1,1 50,1 50,50 1,50\n  method fell\n"
    assert "fall-onto-hazard" not in felling(told(text))


def test_what_is_done_or_a_neighbours_is_no_felling(report_of: ReportOf) -> None:
    for more in ("  done 2026-01-02\n", "  state down\n", "  offsite yes\n"):
        assert not len(fellings_of(report_of(TREE.format(fall="N") + more).scene).owner)
    assert len(fellings_of(report_of(TREE.format(fall="N")).scene).owner) == 1


@pytest.mark.parametrize(
    ("tree", "danger", "killed"),
    [
        ("  state dead\n", True, False),
        ("  method fell\n  state hung\n", True, False),
        ("  state hung\n  method fell\n  done 2026-01-02\n", True, False),
        ("  state dead\n  method fell\n  done 2026-01-02\n", None, None),
        ("  state blown\n  done yes\n", None, None),
        ("  method girdle\n", False, True),
        ("  method girdle\n  done 2026-01-02\n", False, True),
        ("  method girdle\n  state dead\n  done 2024-01-02\n", True, False),
        ("  state standing\n", None, None),
        ("  method hinge\n", None, None),
        ("  method girdle\n  offsite yes\n", None, None),
        ("  state dead\n  offsite yes\n", True, False),
    ],
)
def test_snags(report_of: ReportOf, tree: str, danger: bool | None, killed: bool | None) -> None:
    snags = snags_of(report_of("tree ash\n  at 9,9\n" + tree).scene)
    assert list(zip(snags.danger, snags.killed, strict=True)) == ([] if danger is None else [(danger, killed)])


def test_a_tree_may_hang_only_under_timber_that_is_big_and_not_opened(told: Told) -> None:
    row = "row poles\n  method fell\n  stumps 40,10 60,10\n  spacing 10\n  fall {fall}\n  dbh 8in\n  step 1\n"
    woods = "timber woods\n  outline 0,12 100,12 100,99 0,99\n  {what}\n"
    big, small = woods.format(what="class 12in..22in 90 sqft/ac"), woods.format(what="class 4in..11in 90 sqft/ac")
    north, south = row.format(fall="N"), row.format(fall="S")
    assert "hung-tree" in felling(told(big + north))
    assert "hung-tree" in felling(told(woods.format(what="dbh 10in..20in") + north))
    assert "hung-tree" in felling(told(woods.format(what="height 80ft") + north))
    for quiet in (small + north, big + south, woods.format(what="height 30ft") + north,
                  woods.format(what="dbh 20in\n  basal-area 50 sqft/ac") + north, north):  # fmt: skip
        assert "hung-tree" not in felling(told(quiet))
    release = "release canopy\n  outline 0,0 100,0 100,60 0,60\n  method {method}\n{step}"
    assert "hung-tree" not in felling(told(big + north + release.format(method="fell", step="  step 1\n")))
    assert "hung-tree" in felling(told(big + north + release.format(method="girdle", step="  step 1\n")))
    unsaid = told(big + north + release.format(method="fell", step=""))
    assert [line for line in unsaid if "not-judged" in line and "which comes first" in line]


def test_woods_far_off_are_not_looked_at(report_of: ReportOf, monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[Timber] = []
    is_big = reach._is_big

    def noted(plan: PlanText, timber: Timber, dbh: float, height: float, residual: float) -> bool | None:
        looked.append(timber)
        return is_big(plan, timber, dbh, height, residual)

    monkeypatch.setattr(reach, "_is_big", noted)
    many = "".join(
        f"timber t{x}\n  outline {x},0 {x + 200},0 {x + 200},200 {x},200\n  class 12in..22in 90 sqft/ac\n"
        f"row r{x}\n  method hinge\n  stumps {x + 80},100 {x + 120},100\n  spacing 10\n  fall N\n  dbh 8in\n  step 1\n"
        for x in range(0, 6000, 300)
    )
    report = report_of(many)
    assert len(looked) == 20
    assert sum(finding.rule == "felling/hung-tree" for finding in report.findings) == 20


def test_timber_that_says_no_size_is_not_judged(told: Told) -> None:
    text = "timber woods\n  outline 0,0 99,0 99,99 0,99\n" + TREE.format(fall="N")
    assert [line for line in told(text) if "felling/hung-tree" in line and "`class`, `dbh` or `height`" in line]


def test_snags_near_a_path_a_stand_and_a_deers_way(told: Told) -> None:
    girdled = "tree ash\n  at 50,15\n  method girdle\n  tree-height 60ft\n"
    assert "dead-standing-near-way" in felling(told(LANE + girdled))
    assert "dead-standing-near-way" not in felling(told(LANE.replace("entry", "travel") + girdled))
    stand = "stand seat\n  at 50,25\n"
    assert felling(told(stand + girdled)) >= {"dead-standing-near-way"}
    done = felling(told(stand + girdled + "  done 2026-01-02\n"))
    assert "stand-in-bad-tree" in done and "dead-standing-near-way" not in done


def test_a_plan_without_trees_hears_nothing(told: Told) -> None:
    text = (
        "boundary\n  outline 0,0 99,0 99,99 0,99\nhazard thing\n  at 50,60\n"
        + LANE
        + "stand seat\n  at 50,2\n  reach lane\n"
    )
    assert not [line for line in told(text) if "felling" in line]
