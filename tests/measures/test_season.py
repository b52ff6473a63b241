"""Days of work by the calendar. Counted a second way, day by day."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from habitatlint.check import Report
from habitatlint.ground.columns import Column, column
from habitatlint.measures.season import (
    days_in,
    days_in_leaf,
    days_of,
    days_of_sap,
    hunted_days,
    in_year,
    steps_of,
    until_hunting,
)
from habitatlint.measures.vocabulary import Measured
from habitatlint.reading.values import Day, Period, Window

ReportOf = Callable[..., Report]

some_days = st.dates(date(1998, 1, 1), date(2032, 12, 31))
# 29 February has a test of its own
days_of_year = some_days.map(lambda day: Day(day.month, day.day)).filter(lambda day: day != (2, 29))
windows = st.builds(Window, days_of_year, days_of_year)


def dates(*days: str) -> Column:
    return Column("date", np.array([date.fromisoformat(day).toordinal() for day in days], float))


def durations(days: float) -> Column:
    return Column("duration", np.array([days * 24.0]))


def in_days(found: Measured | Column) -> float:
    days = found if isinstance(found, Column) else found.value
    assert days.mask[0]
    return float(days.values[0]) / 24


def told(report: Report, rule: str) -> list[str]:
    return [finding.rule for finding in report.findings if finding.rule == f"order/{rule}"]


def every_day(first: date, last: date) -> list[date]:
    return [first + timedelta(days=number) for number in range((last - first).days + 1)]


@given(window=windows, first=some_days, length=st.integers(0, 900))
def test_days_of_a_window_are_those_that_a_calendar_shows(window: Window, first: date, length: int) -> None:
    last = first + timedelta(days=length)
    assert days_of(first, last, [window]) == sum(day in window for day in every_day(first, last))


@given(seasons=st.lists(windows, max_size=3), first=some_days, length=st.integers(0, 400))
def test_a_day_in_two_seasons_counts_once(seasons: list[Window], first: date, length: int) -> None:
    last = first + timedelta(days=length)
    whole = days_of(first, last, seasons)
    assert whole <= length + 1
    assert max((days_of(first, last, [one]) for one in seasons), default=0) <= whole
    assert whole <= sum(days_of(first, last, [one]) for one in seasons)


def test_a_window_runs_over_the_new_year_and_a_period_comes_once() -> None:
    season = Window(Day(11, 7), Day(1, 18))
    assert days_of(date(2027, 1, 18), date(2027, 1, 25), [season]) == 1
    assert days_of(date(2027, 1, 19), date(2027, 11, 6), [season]) == 0
    once = Period(date(2026, 11, 7), date(2027, 1, 18))
    assert days_of(date(2026, 11, 1), date(2026, 11, 7), [once]) == 1
    assert days_of(date(2027, 11, 1), date(2027, 11, 30), [once]) == 0


def test_the_29th_of_february_is_the_28th_where_there_is_none() -> None:
    assert in_year(Day(2, 29), 2028) == date(2028, 2, 29)
    assert in_year(Day(2, 29), 2027) == date(2027, 2, 28)


def test_leaves_come_by_the_plan_or_on_15_may(report_of: ReportOf) -> None:
    leaf_fall = column("window", [Day(10, 15)])
    south = report_of('plan "South"\n  leaf-out 04-01\n').scene
    assert in_days(days_in_leaf(south, dates("2026-03-30"), dates("2026-04-02"), leaf_fall)) == 2
    unsaid = report_of("").scene
    assert in_days(days_in_leaf(unsaid, dates("2026-05-14"), dates("2026-05-15"), leaf_fall)) == 1
    # to the day before the leaves fall
    assert in_days(days_in_leaf(unsaid, dates("2026-10-14"), dates("2026-12-31"), leaf_fall)) == 1


@pytest.mark.parametrize(
    ("first", "last", "days"),
    [("2026-04-01", "2026-05-19", 49), ("2026-03-31", "2026-04-01", 1), ("2026-05-20", "2026-06-30", 0),
     ("2026-01-01", "2027-12-31", 98)],
)  # fmt: skip
def test_sap_flows_so_long_before_leaf_out(report_of: ReportOf, first: str, last: str, days: int) -> None:
    scene = report_of('plan "North"\n  leaf-out 05-20\n').scene
    assert in_days(days_of_sap(scene, dates(first), dates(last), durations(49))) == days


def test_sap_that_flows_so_long_before_leaf_out_begins_in_the_year_before(report_of: ReportOf) -> None:
    scene = report_of('plan "North"\n  leaf-out 05-20\n').scene
    # 200 days before 20 May 2027 is 1 November 2026
    assert in_days(days_of_sap(scene, dates("2026-10-01"), dates("2026-12-31"), durations(200))) == 61


def test_of_days_of_which_one_is_not_known_nothing_is_counted(report_of: ReportOf) -> None:
    scene = report_of('plan "P"\n  hunted 11-07..01-18\n').scene
    known, unknown = dates("2026-11-10"), Column("date", np.array([np.nan]), np.array([False]), None, "no dates")
    for first, last in ((known, unknown), (unknown, known)):
        found = hunted_days(scene, first, last)
        assert not found.mask[0] and found.why == "no dates"
        assert not days_of_sap(scene, first, last, durations(49)).mask[0]


def test_a_season_to_come_is_the_next_one_after_the_day(report_of: ReportOf) -> None:
    scene = report_of('plan "P"\n  hunted 10-01..10-10\n  hunted 2026-11-07..2027-01-18\n').scene
    found = until_hunting(scene, dates("2026-10-05"))
    assert isinstance(found, Measured)
    assert in_days(found) == 33
    assert found.parts["season"](np.array([0])).values[0] == date(2026, 11, 7).toordinal()
    assert in_days(until_hunting(scene, dates("2026-11-07"))) == (date(2027, 10, 1) - date(2026, 11, 7)).days
    assert in_days(hunted_days(scene, dates("2026-10-09"), dates("2026-11-08"))) == 4


def test_where_no_season_comes_after_there_is_no_end_to_the_time_before_it(report_of: ReportOf) -> None:
    scene = report_of('plan "P"\n  hunted 2026-11-07..2027-01-18\n').scene
    assert in_days(until_hunting(scene, dates("2027-02-01"))) == np.inf


def test_of_several_spans_those_are_counted_whose_days_are_known(report_of: ReportOf) -> None:
    scene = report_of('plan "P"\n  leaf-out 05-20\n  hunted 11-07..01-18\n').scene
    known = dates("2026-05-01", "2026-05-01", "2026-11-01")
    last = Column(
        "date", dates("2026-05-03", "2026-05-03", "2026-11-08").values, np.array([True, False, True]), None, "?"
    )
    season = column("window", [Window(Day(5, 2), Day(11, 2)), Window(Day(5, 2), Day(11, 2)), Day(11, 1)])
    leaf_fall = column("window", [Day(10, 15)] * 3)
    for found, days in (
        (days_in(scene, known, last, season), [2, 1]),
        (days_in_leaf(scene, known, last, leaf_fall), [0, 0]),
        (days_of_sap(scene, known, last, Column("duration", np.full(3, 49.0 * 24))), [3, 0]),
        (hunted_days(scene, known, last), [0, 2]),
    ):
        assert isinstance(found, Column) and found.kind == "duration"
        assert found.mask.tolist() == [True, False, True] and found.why == "?"
        assert (found.values[[0, 2]] / 24).tolist() == days
    whole = hunted_days(scene, known, dates("2026-05-03", "2026-05-03", "2026-11-08"))
    assert isinstance(whole, Column) and whole.mask.all()


def test_a_span_from_the_last_day_of_a_season_to_the_first_of_the_next_counts_both() -> None:
    season = Window(Day(11, 7), Day(1, 18))
    assert days_of(date(2026, 1, 18), date(2026, 11, 7), [season]) == 2
    # three that meet, overlap and repeat: from the 1st to the 20th, each day once
    parts = [Window(Day(7, 1), Day(7, 10)), Window(Day(7, 11), Day(7, 20)), Window(Day(7, 5), Day(7, 8))]
    assert days_of(date(2026, 6, 1), date(2026, 8, 1), [*parts, parts[0]]) == 20


def test_leaves_that_fall_on_the_day_they_come_are_never_there(report_of: ReportOf) -> None:
    scene = report_of('plan "South"\n  leaf-out 03-02\n').scene
    year = dates("2027-01-01"), dates("2027-12-31")
    assert in_days(days_in_leaf(scene, *year, column("window", [Day(3, 2)]))) == 0
    # from 2 March to the last day of February, which is the 29th where there is one
    assert in_days(days_in_leaf(scene, *year, column("window", [Day(3, 1)]))) == 364
    leap = dates("2028-01-01"), dates("2028-12-31")
    assert in_days(days_in_leaf(scene, *leap, column("window", [Day(3, 1)]))) == 365
    assert in_days(days_in_leaf(scene, *leap, column("window", [Day(2, 29)]))) == 364
    assert in_days(days_in_leaf(scene, *year, column("window", [Window(Day(3, 4), Day(6, 1))]))) == 2


def test_sap_of_no_days_and_of_part_days(report_of: ReportOf) -> None:
    scene = report_of('plan "North"\n  leaf-out 05-20\n').scene
    year = dates("2026-01-01"), dates("2026-12-31")
    for length, days in ((0.0, 0), (0.4, 0), (0.6, 1), (1.0, 1), (6.6, 7)):
        assert in_days(days_of_sap(scene, *year, durations(length))) == days


def test_the_season_to_come_is_known_of_known_days_and_of_seasons_that_come(report_of: ReportOf) -> None:
    scene = report_of('plan "P"\n  hunted 2026-11-07..2027-01-18\n').scene
    days = Column(
        "date", dates("2026-11-06", "2026-11-07", "2026-11-01").values, np.array([True, True, False]), None, "?"
    )
    found = until_hunting(scene, days)
    assert isinstance(found, Measured)
    assert found.value.mask.tolist() == [True, True, False] and found.value.why == "?"
    assert (found.value.values[:2] / 24).tolist() == [1, np.inf]
    opens = found.parts["season"](np.arange(3))
    assert opens.mask.tolist() == [True, False, False] and opens.values[0] == date(2026, 11, 7).toordinal()
    yearly = report_of('plan "P"\n  hunted 11-07..01-18\n').scene
    assert in_days(until_hunting(yearly, dates("2027-01-05"))) == (date(2027, 11, 7) - date(2027, 1, 5)).days
    assert in_days(until_hunting(yearly, dates("2026-12-31"))) == (date(2027, 11, 7) - date(2026, 12, 31)).days


@pytest.mark.parametrize(
    ("head", "said"),
    [("", False), ('plan "P"\n', False), ('plan "P"\n  hunted 11-07..01-18\n', True)],
)
def test_a_plan_says_when_it_is_hunted_or_it_does_not(report_of: ReportOf, head: str, said: bool) -> None:
    found = report_of(head).scene.table("plans").column("hunted")
    assert found.values.tolist() == [said] and found.mask.all()


def test_of_two_steps_of_one_number_the_first_counts(report_of: ReportOf) -> None:
    scene = report_of(
        'work\n  step 1 "July" 2026-07-01\n  step 2 "May" 2026-05-01\n  step 1 "August" 2026-08-01\n'
    ).scene
    found = steps_of(scene)
    assert {number: row for number, (row, _) in found.items()} == {1: 0, 2: 1}
    assert steps_of(scene) is found


# -- what the rules make of it -----------------------------------------------------------------------------

HINGES = "row thicket\n  method hinge\n  stumps 10,10 50,10\n  spacing 10\n  fall N\n  dbh 8in\n  species red-oak\n"
SEASONS = ("season-of-cut", "roost-season", "wilt-season", "work-in-season", "season-of-herbicide")


def unjudged(report: Report) -> str:
    return " ".join(
        f"{finding.facts['x.found'].value} {finding.facts['x.thing'].value} {finding.facts['x.why'].value}"
        for finding in report.findings
        if finding.rule == "record/not-judged" and "order/" in str(finding.facts["x.found"].value)
    )


def test_a_plan_without_an_order_of_work_is_asked_no_dates(report_of: ReportOf) -> None:
    report = report_of('plan "P"\n  hunted 11-07..01-18\n' + HINGES)
    assert not any(season in unjudged(report) for season in SEASONS)


def test_a_step_without_dates_is_not_judged_and_told_as_that(report_of: ReportOf) -> None:
    report = report_of('plan "P"\n  hunted 11-07..01-18\n' + HINGES + '  step 1\nwork\n  step 1 "Some day"\n')
    found = unjudged(report)
    assert "step 1 the step has no dates" in found
    for rule in ("season-of-cut", "roost-season", "wilt-season", "work-in-season"):
        assert rule in found


def test_a_step_whose_work_is_done_is_no_matter_of_seasons(report_of: ReportOf) -> None:
    work = 'work\n  step 1 "July" 2026-07-01..2026-07-03\n'
    still = report_of(HINGES + "  step 1\n" + work)
    assert told(still, "season-of-cut") and told(still, "wilt-season") and told(still, "roost-season")
    done = report_of(HINGES + "  step 1\n  done yes\n" + work)
    assert not any(told(done, rule) for rule in SEASONS)


def test_a_season_is_told_once_a_step(report_of: ReportOf) -> None:
    again = HINGES.replace("thicket", "second").replace(",10", ",30")
    work = 'work\n  step 1 "July" 2026-07-01..2026-07-03\n  step 2 "August" 2026-08-01..2026-08-03\n'
    report = report_of(HINGES + "  step 1\n" + again + "  step 1\n" + work)
    (finding,) = [one for one in report.findings if one.rule == "order/season-of-cut"]
    assert finding.names == {"thicket", "second"}
    assert "step 1" in finding.span.source.line(finding.span.line)


def test_without_species_wilt_is_not_judged_in_its_months_and_only_there(report_of: ReportOf) -> None:
    bare = HINGES.replace("  species red-oak\n", "") + "  step 1\n"
    july = report_of(bare + 'work\n  step 1 "July" 2026-07-01\n')
    assert "order/wilt-season step 1 no `species` is given" in unjudged(july)
    march = report_of(bare + 'work\n  step 1 "March" 2026-03-01\n')
    assert "wilt-season" not in unjudged(march)


def test_species_that_cannot_be_read_are_told_as_a_slip_alone(report_of: ReportOf) -> None:
    broken = HINGES.replace("red-oak", "Red!") + '  step 1\nwork\n  step 1 "July" 2026-07-01\n'
    report = report_of(broken)
    assert any(finding.firm for finding in report.findings)
    assert not told(report, "wilt-season") and "wilt-season" not in unjudged(report)


def test_a_step_that_hunts_nothing_says_nothing(report_of: ReportOf) -> None:
    task = 'task walk\n  text "Walk it."\n  step 1\nwork\n  step 1 "Walk" 2026-11-10\n'
    report = report_of('plan "P"\n  hunted 11-07..01-18\n' + task)
    assert not any(told(report, rule) for rule in SEASONS) and not unjudged(report)
