"""Overstory over cuts: what is taken first, and whether it is down in time. Worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import read_plan
from habitatlint.measures import every_measure
from habitatlint.measures.timber import overstory, overstory_of
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.review import Review
from habitatlint.source import Source
from habitatlint.units import ACRE, FOOT

ReportOf = Callable[..., Report]

SQFT_ACRE = FOOT * FOOT / ACRE
WOODS = "timber woods\n  outline 0,0 200,0 200,200 0,200\n  class 6in..12in 40 sqft/ac\n  class 12in..22in 70 sqft/ac\n"
RELEASE = (
    "release canopy\n  outline 40,40 160,40 160,160 40,160\n  basal-area 110 to {left} sqft/ac\n  method {method}\n"
)
HINGES = "row thicket\n  method hinge\n  stumps 60,100 140,100\n  spacing 20\n  fall N\n  dbh {dbh}\n"
WORK = 'work\n  step 1 "Release" 2026-02-15..2026-03-01\n  step 2 "Hinge" {hinge}\n'


def plan(
    *, released: str = "  step 1\n", cut: str = "  step 2\n", method: str = "fell", left: float = 50, dbh: str = "8in",
    hinge: str = "2026-03-02..2026-03-20",
) -> str:  # fmt: skip
    return (
        WOODS
        + RELEASE.format(left=left, method=method)
        + released
        + HINGES.format(dbh=dbh)
        + cut
        + WORK.format(hinge=hinge)
    )


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
def test_overstory_is_over_12_inches_and_over_the_largest_hinged(
    report_of: ReportOf, dbh: str, standing: float
) -> None:
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


def test_a_release_takes_what_it_says_and_not_down_to_what_is_listed(report_of: ReportOf) -> None:
    # only the big class is listed, 70 of the 110 that stand: 60 are taken all the same
    listed = plan().replace("  class 6in..12in 40 sqft/ac\n", "")
    assert over(report_of(listed)) == pytest.approx(10)


def test_of_two_timbers_at_a_place_the_largest_of_both_goes_first(report_of: ReportOf) -> None:
    # 60 of 30 in stand among them: these are the 60 that go, and the 70 of 12 to 22 in stay
    veterans = "timber veterans\n  outline 0,0 200,0 200,200 0,200\n  class 28in..30in 60 sqft/ac\n"
    assert over(report_of(veterans + plan())) == pytest.approx(70)
    assert over(report_of(plan() + veterans)) == pytest.approx(70)


def test_a_release_that_does_not_say_what_it_takes_leaves_it_unknown(report_of: ReportOf) -> None:
    silent = plan().replace("  basal-area 110 to 50 sqft/ac\n", "")
    found = measure(report_of(silent)).value
    assert not found.mask[0] and "`basal-area`" in found.why
    late = silent.replace("  step 1\nrow", "  step 3\nrow")
    assert over(report_of(late)) == pytest.approx(70)  # too late whatever it takes


@pytest.mark.parametrize(
    ("leaf_out", "hinged", "is_released"),
    [("04-30", "2026-04-29", False), ("04-30", "2026-04-30", True), ("02-29", "2026-02-27", False),
     ("02-29", "2026-02-28", True)],
)  # fmt: skip
def test_leaf_out_is_the_day_that_is_written(
    report_of: ReportOf, leaf_out: str, hinged: str, is_released: bool
) -> None:
    text = plan(method="girdle", hinge=hinged).replace("2026-02-15..2026-03-01", "2026-02-15..2026-02-20")
    report = report_of(f'plan "Girdled"\n  units yd\n  leaf-out {leaf_out}\n' + text)
    assert over(report) == pytest.approx(10 if is_released else 70)


def test_four_hundred_timbers_releases_and_rows_take_no_second(review: Review) -> None:
    parts = ['work\n  step 1 "a" 2026-02-15..2026-03-01\n  step 2 "b" 2027-03-02..2027-03-20\n']
    for number in range(400):
        x, y = number % 20 * 100, number // 20 * 100
        box = f"  outline {x},{y} {x + 90},{y} {x + 90},{y + 90} {x},{y + 90}\n"
        parts.append(
            f"timber w{number}\n{box}  class 6in..12in 40 sqft/ac\n  class 12in..22in 70 sqft/ac\n"
            f"release c{number}\n{box}  basal-area 110 to 50 sqft/ac\n  method girdle\n  step 1\n"
            f"row r{number}\n  method hinge\n  stumps {x + 10},{y + 40} {x + 80},{y + 40}\n  spacing 10\n  fall N\n"
            "  dbh 8in\n  step 2\n"
        )
    scene = Scene(read_plan(Source("plan", "".join(parts)), review.plan_grammar, fragment=True))
    every_measure().attach(scene)
    scene.table("cuts").column("shape")
    start = perf_counter()
    found = overstory(scene, Rows("cuts", np.arange(400)))
    assert perf_counter() - start < 1  # some 0.1 s
    assert isinstance(found, Measured) and found.value.values / SQFT_ACRE == pytest.approx(np.full(400, 10.0))
