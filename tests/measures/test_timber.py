"""Overstory over cuts: what is taken first, and whether it is down in time. Worked by hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.measures.timber import overstory, overstory_of
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.units import ACRE, FOOT

ReportOf = Callable[..., Report]

SQFT_ACRE = FOOT * FOOT / ACRE
WOODS = "timber woods\n  outline 0,0 200,0 200,200 0,200\n  class 6in..12in 40 sqft/ac\n  class 12in..22in 70 sqft/ac\n"
RELEASE = "release canopy\n  outline 40,40 160,40 160,160 40,160\n  basal-area 110 to {left} sqft/ac\n  method {method}\n"
HINGES = "row thicket\n  method hinge\n  stumps 60,100 140,100\n  spacing 20\n  fall N\n  dbh {dbh}\n"
WORK = 'work\n  step 1 "Release" 2026-02-15..2026-03-01\n  step 2 "Hinge" {hinge}\n'


def plan(
    *, released: str = "  step 1\n", cut: str = "  step 2\n", method: str = "fell", left: float = 50, dbh: str = "8in",
    hinge: str = "2026-03-02..2026-03-20",
) -> str:  # fmt: skip
    return WOODS + RELEASE.format(left=left, method=method) + released + HINGES.format(dbh=dbh) + cut + WORK.format(hinge=hinge)


def measure(report: Report) -> Measured:
    found = overstory(report.scene, Rows("cuts", np.array([0])))
    assert isinstance(found, Measured)
    return found


def over(report: Report) -> float:
    found = measure(report).value
    assert found.mask[0], found.why
    return float(found.values[0]) / SQFT_ACRE


def told(report: Report) -> set[str]:
    return {finding.rule.split("/")[1] for finding in report.findings if finding.rule.startswith("order/")}


@pytest.mark.parametrize(
    ("released", "standing"),
    [("  step 1\n", 10), ("  step 2\n", 70), ("  step 3\n", 70)],
)
def test_a_release_counts_before_the_hinging_not_with_it_nor_after(
    report_of: ReportOf, released: str, standing: float
) -> None:
    # 110 down to 50: the big class gives 60 of its 70
    report = report_of(plan(released=released))
    assert over(report) == pytest.approx(standing)
    assert ("hinge-before-release" in told(report)) is (standing > 60)


@pytest.mark.parametrize(("left", "standing"), [(110, 70), (100, 60), (40, 0), (20, 0)])
def test_the_largest_class_is_taken_first(report_of: ReportOf, left: float, standing: float) -> None:
    assert over(report_of(plan(left=left))) == pytest.approx(standing)


@pytest.mark.parametrize(
    ("dbh", "standing"),
    [("8in", 70), ("12in", 70), ("8in..13in", 63), ("17in", 35), ("22in", 0)],
)
def test_overstory_is_over_12_inches_and_over_the_largest_hinged(report_of: ReportOf, dbh: str, standing: float) -> None:
    # a class the DBH falls into counts by the share of its range above: 9, 5 and 0 of its 10 inches
    assert over(report_of(plan(left=110, dbh=dbh))) == pytest.approx(standing)


@pytest.mark.parametrize("method", ["girdle", "frill", "hack-and-squirt"])
@pytest.mark.parametrize(
    ("hinge", "standing"),
    [
        ("2026-03-02..2026-03-20", 70),  # the same winter: the crowns still shade
        ("2026-05-14..2026-05-20", 70),
        ("2026-05-15..2026-05-20", 10),  # leaf-out is taken as 15 May
        ("2027-02-01..2027-03-01", 10),
    ],
)
def test_what_is_killed_standing_is_released_at_the_next_leaf_out(
    report_of: ReportOf, method: str, hinge: str, standing: float
) -> None:
    assert over(report_of(plan(method=method, hinge=hinge))) == pytest.approx(standing)


def test_the_plans_own_leaf_out_stands_above_the_usual(report_of: ReportOf) -> None:
    text = 'plan "Late"\n  units yd\n  leaf-out 06-10\n' + plan(method="girdle", hinge="2026-05-20..2026-05-30")
    assert over(report_of(text)) == pytest.approx(70)


def test_killed_standing_in_steps_without_days_is_not_known(report_of: ReportOf) -> None:
    text = plan(method="girdle").split("work\n")[0]
    found = measure(report_of(text)).value
    assert not found.mask[0] and "no dates" in found.why
    assert over(report_of(plan(method="fell").split("work\n")[0])) == pytest.approx(10)


def test_without_a_step_it_is_not_judged_but_only_where_it_matters(report_of: ReportOf) -> None:
    for text in (plan(cut=""), plan(released="")):
        report = report_of(text)
        assert not measure(report).value.mask[0]
        found = [f for f in report.findings if f.rule == "record/not-judged"]
        assert any("hinge-before-release" in str(fact.value) for f in found for fact in f.facts.values())
    # no release at all: it stands whatever the step
    report = report_of(WOODS + HINGES.format(dbh="8in"))
    assert over(report) == pytest.approx(70) and "hinge-before-release" in told(report)
    # and where no overstory stands nobody asks for a step
    thin = (WOODS + HINGES.format(dbh="8in")).replace("70 sqft/ac", "30 sqft/ac")
    assert [f for f in report_of(thin).findings if f.rule.startswith("order/") or f.rule == "record/not-judged"] == []


def test_the_worst_place_of_a_row_counts(report_of: ReportOf) -> None:
    beyond = plan().replace("stumps 60,100 140,100", "stumps 60,100 180,100")
    assert over(report_of(beyond)) == pytest.approx(70)


def test_a_stump_on_the_edge_of_a_release_is_inside(report_of: ReportOf) -> None:
    assert over(report_of(plan().replace("stumps 60,100 140,100", "stumps 40,100 160,100"))) == pytest.approx(10)


def test_what_was_before_any_release_is_told_beside_it(report_of: ReportOf) -> None:
    before = measure(report_of(plan())).parts["before"](np.array([0]))
    assert before.values[0] / SQFT_ACRE == pytest.approx(70)


def test_without_classes_nothing_is_known(report_of: ReportOf) -> None:
    bare = plan().replace("  class 6in..12in 40 sqft/ac\n  class 12in..22in 70 sqft/ac\n", "  basal-area 110 sqft/ac\n")
    found = measure(report_of(bare)).value
    assert not found.mask[0] and "class" in found.why


def test_what_is_done_goes_by_its_days(report_of: ReportOf) -> None:
    head = 'plan "As it was cut"\n  stage as-built\n  units yd\n'
    early = plan(released="  done 2026-01-05\n", cut="  done 2026-01-20\n")
    late = plan(released="  done 2026-01-20\n", cut="  done 2026-01-05\n")
    undone = plan(released="", cut="  done 2026-01-20\n")
    assert over(report_of(head + early)) == pytest.approx(10)
    assert over(report_of(head + late)) == pytest.approx(70)
    assert over(report_of(head + undone)) == pytest.approx(70)
    # in a design, what is done already comes before what is not
    assert over(report_of(plan(released="  done yes\n", cut=""))) == pytest.approx(10)


POCKET = "pocket k\n  outline 60,60 140,60 140,140 60,140\n"


def test_overstory_of_a_pocket_is_the_mean_over_its_ground(report_of: ReportOf) -> None:
    half = WOODS.replace("outline 0,0 200,0 200,200 0,200", "outline 0,0 100,0 100,200 0,200")
    for woods, standing in ((WOODS, 70), (half, 35)):
        report = report_of(woods + POCKET)
        found = overstory_of(report.scene, Rows("pockets", np.array([0])))
        assert isinstance(found.values[0], float) and found.values[0] / SQFT_ACRE == pytest.approx(standing)  # type: ignore[union-attr]


def test_a_cut_pocket_under_big_trees_needs_a_release(report_of: ReportOf) -> None:
    hinges = HINGES.format(dbh="8in") + "  step 2\n"
    assert told(report_of(WOODS + POCKET + hinges)) == {"no-release", "hinge-before-release"}
    assert told(report_of(WOODS + POCKET)) == set()  # nothing is cut there
    released = RELEASE.format(left=50, method="fell")
    assert told(report_of(WOODS + POCKET + hinges + released + "  step 1\n")) == set()
    # a release that only meets its edge is none over it
    aside = released.replace("40,40 160,40 160,160 40,160", "140,40 160,40 160,160 140,160")
    assert told(report_of(WOODS + POCKET + hinges + aside + "  step 1\n")) == {"no-release", "hinge-before-release"}
