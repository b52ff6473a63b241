"""What was walked since leaf-out and storms, what lives, and what is due to be seen to again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest

from habitatlint.check import Report

ReportOf = Callable[..., Report]

POCKET = "pocket thicket\n  outline 0,0 60,0 60,40 0,40\n"
ROW = "row {name}\n  method {method}\n  stumps 10,{y} 50,{y}\n  spacing 10\n  fall N\n  dbh 8in\n{more}"
JULY = date(2026, 7, 20)


def row(name: str = "cover", method: str = "hinge", y: int = 10, more: str = "  done 2026-02-01\n") -> str:
    return ROW.format(name=name, method=method, y=y, more=more)


def found(report: Report, rule: str) -> list[str]:
    """When it was last seen to or since when it was not, by the rule's own words."""
    dates = ("idle.since", "late.due")
    return [
        date.fromordinal(int(fact.value)).isoformat()  # type: ignore[call-overload]
        for finding in report.findings
        if finding.rule == f"order/{rule}"
        for name, fact in finding.facts.items()
        if name in dates
    ]


def unjudged(report: Report) -> str:
    return " ".join(f"{finding.facts['x.found'].value}: {finding.facts['x.why'].value}" for finding in report.findings
                    if finding.rule == "record/not-judged")  # fmt: skip


def leaf_out(report: Report) -> list[str]:
    return found(report, "not-walked-after-leaf-out")


def storm(report: Report) -> list[str]:
    """The storms that it tells of."""
    return [
        str(finding.facts["idle.told"].value)
        for finding in report.findings
        if finding.rule == "order/not-walked-after-storm"
    ]


# -- leaf-out --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inspection", "walked"),
    [
        ("inspection 2026-06-01\n  of thicket\n", True),
        ("inspection 2026-06-01\n  of cover\n", True),
        ("inspection 2026-06-01\n", True),
        ("inspection 2026-05-15\n  of thicket\n", True),
        # leaves came early
        ("inspection 2026-05-02\n  of thicket\n  after leaf-out\n", True),
        ("inspection 2026-05-02\n  of thicket\n", False),
        ("inspection 2026-01-02\n  of thicket\n  after leaf-out\n", False),
        ("inspection 2025-06-01\n  of thicket\n  after leaf-out\n", False),
        # to come
        ("inspection 2026-08-01\n  of thicket\n", False),
        ("inspection 2026-06-01\n  of other\n", False),
    ],
)
def test_which_inspections_are_a_walk_after_leaf_out(report_of: ReportOf, inspection: str, walked: bool) -> None:
    other = "pocket other\n  outline 100,0 160,0 160,40 100,40\n"
    report = report_of(POCKET + other + row() + inspection, today=JULY)
    assert leaf_out(report) == ([] if walked else ["2026-05-15"])


def test_each_done_cut_of_a_pocket_is_to_be_walked(report_of: ReportOf) -> None:
    two = POCKET + row() + row("second", y=30)
    assert leaf_out(report_of(two + "inspection 2026-06-01\n  of cover\n", today=JULY)) == ["2026-05-15"]
    assert leaf_out(report_of(two + "inspection 2026-06-01\n  of cover second\n", today=JULY)) == []


def test_in_spring_the_leaves_of_last_year_still_count(report_of: ReportOf) -> None:
    last_year = POCKET + row(more="  done 2025-02-01\n")
    assert leaf_out(report_of(last_year, today=date(2026, 4, 1))) == ["2025-05-15"]
    assert leaf_out(report_of(POCKET + row(), today=date(2026, 4, 1))) == []


def test_a_cut_done_nobody_knows_when_is_not_judged(report_of: ReportOf) -> None:
    plan = POCKET + row(more="  done yes\n")
    report = report_of(plan, today=JULY)
    assert leaf_out(report) == [] and "not-walked-after-leaf-out: a cut in it is `done yes`" in unjudged(report)
    assert "not-walked" not in unjudged(report_of(plan + "inspection 2026-06-01\n  of thicket\n", today=JULY))
    work = '  step 1\nwork\n  step 1 "Cut" 2026-02-01..2026-02-03\n'
    assert leaf_out(report_of(plan + work, today=JULY)) == ["2026-05-15"]


def test_a_day_that_cannot_be_read_is_told_as_a_slip_alone(report_of: ReportOf) -> None:
    report = report_of(POCKET + row(more="  done 2026-02-30\n") + 'storm 2026-05-01 "wind"\n', today=JULY)
    assert any(finding.rule == "record/bad-value" for finding in report.findings)
    assert leaf_out(report) == [] and storm(report) == [] and "not-walked" not in unjudged(report)


@pytest.mark.parametrize("cut", ["", row(more=""), row(method="leave"), row(more="  done 2026-02-01\n  state blown\n")])
def test_a_pocket_without_a_cut_that_is_done_is_not_asked_for(report_of: ReportOf, cut: str) -> None:
    report = report_of(POCKET + cut + 'storm 2026-05-01 "wind"\n', today=JULY)
    assert leaf_out(report) == [] and storm(report) == [] and "not-walked" not in unjudged(report)


def test_a_patch_is_a_cut_of_the_pocket_it_stands_in(report_of: ReportOf) -> None:
    patch = "patch brush\n  outline 5,5 50,5 50,35 5,35\n  method hinge\n  density 40 per acre\n  done 2026-02-01\n"
    assert leaf_out(report_of(POCKET + patch, today=JULY)) == ["2026-05-15"]


# -- storms ----------------------------------------------------------------------------------------------


def test_it_is_the_first_storm_since_the_last_look_that_counts(report_of: ReportOf) -> None:
    plan = POCKET + row() + 'storm 2026-03-01 "one"\nstorm 2026-04-01 "two"\nstorm 2026-07-18 "three"\n'
    assert storm(report_of(plan, today=JULY)) == ["3 storms, the last of them on 2026-07-18"]
    assert storm(report_of(plan + "inspection 2026-03-02\n  of thicket\n", today=JULY)) == [
        "2 storms, the last of them on 2026-07-18"
    ]
    # seen on the day of the second; the third is two days ago
    assert storm(report_of(plan + "inspection 2026-04-01\n", today=JULY)) == []


def test_a_storm_before_the_cut_or_still_to_come_is_no_matter(report_of: ReportOf) -> None:
    storms = 'storm 2026-01-20 "before"\nstorm 2026-09-01 "to come"\n'
    assert storm(report_of(POCKET + row() + storms, today=JULY)) == []


def test_without_storms_nothing_is_said_of_storms(report_of: ReportOf) -> None:
    report = report_of(POCKET + row(more="  done yes\n"), today=JULY)
    assert "after-storm" not in unjudged(report)
    report = report_of(POCKET + row(more="  done yes\n") + 'storm 2026-03-01 "one"\n', today=JULY)
    assert "not-walked-after-storm" in unjudged(report)


# -- what lives ------------------------------------------------------------------------------------------


def test_an_inspection_that_counts_nothing_is_not_judged_for_it(report_of: ReportOf) -> None:
    report = report_of(POCKET + "inspection 2026-06-01\n  of thicket\n", today=JULY)
    assert not [finding for finding in report.findings if finding.rule == "order/hinges-died"]
    assert "hinges-died" not in unjudged(report)


def test_a_later_count_of_everything_stands_above_all(report_of: ReportOf) -> None:
    plan = POCKET + "inspection 2026-05-20\n  of thicket\n  alive 1 of 10\n"
    told = [finding.rule for finding in report_of(plan, today=JULY).findings]
    assert "order/hinges-died" in told
    later = report_of(plan + "inspection 2026-06-01\n  alive 90%\n", today=JULY)
    assert not [finding for finding in later.findings if finding.rule == "order/hinges-died"]


# -- upkeep ----------------------------------------------------------------------------------------------


def upkeep(report: Report) -> list[str]:
    return found(report, "upkeep-due")


GATE = "opening gate\n  at 30,20\n  width 3ft\n  toward N\n"
LATER = date(2030, 6, 1)


def test_an_opening_is_seen_to_by_who_looks_at_it_or_works_around_it(report_of: ReportOf) -> None:
    plan = POCKET + GATE + "  done 2026-02-01\n"
    assert upkeep(report_of(plan, today=LATER)) == ["2029-02-01"]
    assert upkeep(report_of(plan + "inspection 2028-06-01\n  of gate\n", today=LATER)) == []
    assert upkeep(report_of(plan + "inspection 2028-06-01\n  of thicket\n  after work\n", today=LATER)) == []
    assert upkeep(report_of(plan + "inspection 2028-06-01\n  of thicket\n  after leaf-out\n", today=LATER)) == [
        "2029-02-01"
    ]
    assert upkeep(report_of(plan + "inspection 2031-06-01\n  of gate\n", today=LATER)) == ["2029-02-01"]


def test_a_pockets_corridors_go_by_the_last_of_its_cuts(report_of: ReportOf) -> None:
    plot = "food plot\n  kind plot\n  outline 0,-60 60,-60 60,-20 0,-20\n"
    pocket = POCKET + "  corridors every 20yd off plot width 3ft\n"
    cuts = row() + row("second", y=30, more="  done 2027-03-01\n")
    assert upkeep(report_of(plot + pocket + cuts, today=LATER)) == ["2029-03-01"]
    assert upkeep(report_of(plot + pocket + row(more=""), today=LATER)) == []
    # walked is not yet cleared
    walked = plot + pocket + cuts + "inspection 2029-06-01\n  of thicket\n  after {what}\n"
    assert upkeep(report_of(walked.format(what="leaf-out"), today=LATER)) == ["2029-03-01"]
    assert upkeep(report_of(walked.format(what="work"), today=LATER)) == []


def test_what_is_done_nobody_knows_when_is_not_judged(report_of: ReportOf) -> None:
    report = report_of(GATE + "  done yes\n", today=LATER)
    assert upkeep(report) == [] and "upkeep-due" in unjudged(report)
    looked = report_of(GATE + "  done yes\ninspection 2029-06-01\n  of gate\n", today=LATER)
    assert "upkeep-due" not in unjudged(looked)


def test_what_is_not_done_or_no_screen_of_tops_is_not_asked_for(report_of: ReportOf) -> None:
    plan = (
        GATE
        + row()
        + row("poles", "fell", 30)
        + "planting hedge\n  kind screen\n  line 0,50 50,50\n  done 2020-01-01\n"
    )
    report = report_of(plan, today=date(2040, 1, 1))
    assert upkeep(report) == [] and "upkeep" not in unjudged(report)


def test_a_year_is_one_of_the_calendar(report_of: ReportOf) -> None:
    plan = GATE + "  done 2028-02-29\n"
    assert upkeep(report_of(plan, today=date(2031, 2, 28))) == []
    assert upkeep(report_of(plan, today=date(2031, 3, 1))) == ["2031-02-28"]
    days = "set upkeep-due.openings 400 days\n" + plan
    assert upkeep(report_of(days, today=date(2029, 4, 5))) == ["2029-04-04"]
