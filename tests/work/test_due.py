"""What falls due: steps and tasks by their days, walks after leaf-out and storm, treatments, upkeep."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from habitatlint.check import Report
from habitatlint.work.due import Due, due_of
from habitatlint.work.order import Wanted, order_of

Check = Callable[..., Report]
TODAY = date(2026, 2, 10)

PLAN = """
plan "P"
  leaf-out 05-20
pocket cover
  outline 0,0 100,0 100,60 0,60
row thicket
  in cover
  method hinge
  stumps 5,30 95,30
  spacing 10
  fall N
  step 1
task walk
  text "Walk it."
  step 2
work
  step 1 "Cut" 2026-03-01..2026-03-20
  step 2 "Walk" 2026-06-01
  step 3 "Some day"
"""


def due(report_of: Check, text: str, today: date = TODAY, wanted: Wanted = Wanted()) -> list[Due]:
    report = report_of(text, today=today)
    return list(due_of(report, order_of(report, wanted), today))


def of(found: list[Due], kind: str) -> list[tuple[str, str, bool]]:
    return [(one.first.isoformat(), one.last.isoformat(), one.overdue) for one in found if one.kind == kind]


def test_steps_and_tasks_stand_on_their_days_and_a_step_without_days_on_none(report_of: Check) -> None:
    found = due(report_of, PLAN)
    assert of(found, "step") == [("2026-03-01", "2026-03-20", False), ("2026-06-01", "2026-06-01", False)]
    assert of(found, "task") == [("2026-06-01", "2026-06-01", False)]


def test_a_step_that_is_all_done_is_due_no_more(report_of: Check) -> None:
    done = PLAN.replace("  fall N\n", "  fall N\n  done 2026-02-01\n")
    assert of(due(report_of, done), "step") == [("2026-06-01", "2026-06-01", False)]
    assert of(due(report_of, done, wanted=Wanted(left=True)), "step") == [("2026-06-01", "2026-06-01", False)]


def test_a_cut_pocket_is_walked_within_thirty_days_of_the_next_leaf_out(report_of: Check) -> None:
    assert of(due(report_of, PLAN), "leaf-out") == [("2026-05-20", "2026-06-19", False)]


def test_a_cut_after_the_leaves_is_walked_in_the_next_year(report_of: Check) -> None:
    later = PLAN.replace("2026-03-01..2026-03-20", "2026-08-01..2026-08-05")
    assert of(due(report_of, later), "leaf-out") == [("2027-05-20", "2027-06-19", False)]


DONE = PLAN.replace("  fall N\n", "  fall N\n  done 2025-03-01\n")


def test_a_pocket_not_walked_in_time_is_overdue_today(report_of: Check) -> None:
    assert of(due(report_of, DONE), "leaf-out") == [("2026-02-10", "2026-02-10", True)]


def test_a_pocket_that_was_walked_is_due_at_the_next_leaf_out(report_of: Check) -> None:
    walked = DONE + "inspection 2025-06-10\n  of cover\n  after leaf-out\n"
    assert of(due(report_of, walked), "leaf-out") == [("2026-05-20", "2026-06-19", False)]


def test_a_storm_asks_for_a_walk_within_a_week(report_of: Check) -> None:
    storm = DONE + "inspection 2025-06-10\n  of cover\n  after leaf-out\nstorm 2026-02-08\n"
    assert of(due(report_of, storm), "storm") == [("2026-02-08", "2026-02-15", False)]
    assert of(due(report_of, storm, date(2026, 2, 16)), "storm") == [("2026-02-16", "2026-02-16", True)]
    seen = storm + "inspection 2026-02-09\n  of cover\n  after storm\n"
    assert of(due(report_of, seen), "storm") == []


def test_stumps_of_a_cut_wait_thirty_days_at_most_for_their_treatment(report_of: Check) -> None:
    text = """
row poles
  method fell
  stumps 0,0 40,0
  spacing 10
  fall N
  stump-treatment planned
  done 2026-01-20
"""
    assert of(due(report_of, text), "treatment") == [("2026-02-19", "2026-02-19", False)]
    assert of(due(report_of, text, date(2026, 3, 1)), "treatment") == [("2026-03-01", "2026-03-01", True)]
    assert of(due(report_of, text.replace("planned", "done")), "treatment") == []


def test_an_opening_is_seen_to_after_three_years(report_of: Check) -> None:
    text = "opening gap\n  at 10,10\n  width 3ft\n  done 2025-02-20\n"
    assert of(due(report_of, text), "upkeep") == [("2028-02-20", "2028-02-20", False)]


def test_only_the_wanted_step_stands_in_it(report_of: Check) -> None:
    found = due(report_of, PLAN, wanted=Wanted(step=2.0))
    assert [(one.kind, one.first.isoformat()) for one in found] == [("step", "2026-06-01"), ("task", "2026-06-01")]
