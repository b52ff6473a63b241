"""Distances that rules of law ask between people and trees that are felled.

Their figures are worked from heights in whole feet. This project adds a tenth to the largest height that a
plan gives, so the trees here are given as 10/11 of the rule's, and stand at the rule's height then.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.findings import Fact
from habitatlint.units import FOOT

ReportOf = Callable[..., Report]

TREE = "tree oak\n  at 0,0\n  method fell\n  fall {fall}\n  tree-height {height:.6f}ft\n  by saws\n  step 1\n"
CREWS = "crew saws\n  people 2\ncrew hands\n  people 2\n"


def found(report: Report, slug: str) -> list[tuple[Fact | None, Fact | None]]:
    return [(one.measured, one.wanted) for one in report.findings if one.rule == f"felling/{slug}"]


def plan(text: str, height: float, fall: str = "N") -> str:
    return 'plan "Feet"\n  units ft\n' + CREWS + TREE.format(height=height * 10 / 11, fall=fall) + text


# Washington WAC 296-305-07016: "The distance between work areas is at least two tree lengths of the trees
# being fell". Trees of 60 ft: 120 ft.
@pytest.mark.parametrize(("feet", "told"), [(119, True), (120, False), (121, False)])
def test_work_areas_lie_two_tree_lengths_apart(report_of: ReportOf, feet: float, told: bool) -> None:
    hedge = f"planting hedge\n  line {feet},0 {feet},40\n  by hands\n  step 1\n"
    faults = found(report_of(plan(hedge, 60), fragment=False), "crews-too-close")
    assert bool(faults) is told
    for measured, wanted in faults:
        assert measured is not None and wanted is not None
        assert measured.value == pytest.approx(119 * FOOT) and wanted.value == pytest.approx(120 * FOOT)


# Michigan MIOSHA R 408.15336: bystanders at "twice the height of the tree". North Carolina Department of
# Labor, Tree Harvesting: nobody "closer than two tree lengths". The two say the same for every height.
@pytest.mark.parametrize("height", [30, 45, 75, 100])
def test_twice_the_height_and_two_lengths_are_one(report_of: ReportOf, height: float) -> None:
    for feet, told in ((2 * height - 1, True), (2 * height, False)):
        spot = f"task digging\n  at {feet},0\n  by hands\n  step 1\n"
        assert bool(found(report_of(plan(spot, height), fragment=False), "crews-too-close")) is told


# North Carolina Department of Labor, Tree Harvesting: danger trees, "including lodged trees, must be felled or
# removed before other work is commenced in the area"; within two tree lengths by 29 CFR 1910.266(h)(1)(vi),
# seen in an excerpt only.
@pytest.mark.parametrize(("feet", "step", "told"), [(119, 2, False), (119, 0, True), (120, 0, False)])
def test_a_lodged_tree_comes_down_before_other_work(report_of: ReportOf, feet: float, step: int, told: bool) -> None:
    hung = plan("", 60).replace("  fall N\n", "  fall N\n  state hung\n")
    text = hung + f"row later\n  method hinge\n  stumps {feet},0 {feet},40\n  spacing 20\n  fall N\n  step {step}\n"
    assert bool(found(report_of(text, fragment=False), "danger-tree-first")) is told


# 29 CFR 1910.333(c)(3), seen in an excerpt only: unqualified people keep 10 ft off overhead lines of up to
# 50 kV, with whatever they handle: a tree of 60 ft stands 70 ft off.
@pytest.mark.parametrize(("feet", "told"), [(69, True), (70, False)])
@pytest.mark.parametrize("fall", ["N", "S", "W"])
def test_a_tree_keeps_its_height_and_ten_feet_off_wires(
    report_of: ReportOf, feet: float, told: bool, fall: str
) -> None:
    wire = f"hazard line\n  kind wire\n  line -200,{feet} 200,{feet}\n"
    assert bool(found(report_of(plan(wire, 60, fall), fragment=False), "fall-onto-hazard")) is told


# Woodland Stewardship, University of Minnesota Extension, chapter 5: "trees that could fall across roads or
# trails or on buildings should be felled rather than killed standing".
@pytest.mark.parametrize("what", ["path way\n  use entry\n  line -200,{0} 200,{0}\n",
                                  "hazard way\n  kind road\n  line -200,{0} 200,{0}\n",
                                  "hazard way\n  kind building\n  outline -9,{0} 9,{0} 9,300 -9,300\n"])  # fmt: skip
@pytest.mark.parametrize(("feet", "told"), [(59, True), (60.1, False)])
def test_a_tree_killed_standing_falls_across_no_trail_road_or_building(
    report_of: ReportOf, what: str, feet: float, told: bool
) -> None:
    text = plan(what.format(feet), 60).replace("method fell", "method girdle")
    assert bool(found(report_of(text, fragment=False), "dead-standing-near-way")) is told
