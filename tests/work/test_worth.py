"""Which step clears the gravest findings: the plan judged as built after each step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest
from hedge import HEDGE

from habitatlint.check import Report
from habitatlint.findings import Level, Policy
from habitatlint.review import Review
from habitatlint.source import Source
from habitatlint.work.tally import tally_of
from habitatlint.work.worth import Worth, of_the_ground, worth_of

Judged = Callable[[str], Worth]
TODAY = date(2026, 2, 10)

#: hinges along the lane are live until their stumps are treated
PLAN = """\
plan "Hinges along a lane"
  date 2026-02-10

boundary
  outline 0,0 400,0 400,400 0,400

path lane
  use entry
  line 0,20 300,20

stand seat
  at 302,22
  reach lane

row lane-hinges
  method hinge
  stumps 40,28 120,28
  spacing 20
  fall along lane
  dbh 8in
  step 1

mix stump-mix
  label "0-0, invented"

treatment late
  of lane-hinges
  mix stump-mix
  step 2

task walk
  text "Walk it."
  step 3

work
  step 1 "Hinge" 2026-02-15..2026-02-20
  step 2 "Treat" 2026-02-21..2026-02-25
  step 3 "Walk" 2026-06-01..2026-06-02
"""


@pytest.fixture
def judged(review: Review) -> Judged:
    def worth(text: str) -> Worth:
        report = review.check(Source("plan.habitat", text), Policy(TODAY))
        return worth_of(report, tally_of(report), lambda source: review.check(source, Policy(TODAY)))

    return worth


def slugs(findings: tuple[object, ...]) -> set[str]:
    return {one.rule.partition("/")[2] for one in findings}  # type: ignore[attr-defined]


def test_a_step_brings_what_a_later_one_clears(judged: Judged) -> None:
    hinge, treat, walk = judged(PLAN).gains
    assert (hinge.step, hinge.title, treat.step, walk.step) == (1, "Hinge", 2, 3)
    assert "live-hinge-near-entry" in slugs(hinge.brought) and not hinge.cleared
    assert "live-hinge-near-entry" in slugs(treat.cleared)
    assert walk.cleared == walk.brought == () and walk.left == treat.left


def test_the_step_that_clears_the_gravest_stands_first(judged: Judged) -> None:
    worth = judged(PLAN)
    assert [gain.step for gain in worth.ranked] == [2]
    assert dict(worth.before)[Level.error] == 0
    assert dict(worth.gains[0].left)[Level.error] == 1 and dict(worth.gains[1].left)[Level.error] == 0


def test_what_is_done_already_is_where_it_begins(judged: Judged) -> None:
    worth = judged(PLAN.replace("  step 1\n\nmix", "  step 1\n  done 2026-02-05\n\nmix"))
    assert [gain.step for gain in worth.gains] == [2, 3]
    assert dict(worth.before)[Level.error] == 1


def test_the_doing_counts_for_nothing_or_dangerous_work_would_be_worth_most(judged: Judged) -> None:
    # stems too big to hinge: found before the step, and not after it, for the danger is over
    worth = judged(PLAN.replace("dbh 8in", "dbh 16in"))
    assert all("hinge-too-big" not in slugs((*gain.cleared, *gain.brought)) for gain in worth.gains)
    assert not of_the_ground("felling/hinge-too-big") and not of_the_ground("order/hinge-before-release")
    assert not of_the_ground("record/off-property") and of_the_ground("felling/dead-standing-near-way")
    assert of_the_ground("escape/dead-end") and of_the_ground("mine/anything")


def test_the_end_is_the_design_itself(judged: Judged, review: Review) -> None:
    design = review.check(Source("plan.habitat", PLAN), Policy(TODAY))
    last = judged(PLAN).gains[-1]
    found = [one for one in design.findings if of_the_ground(one.rule)]
    assert dict(last.left) == {level: sum(one.level is level for one in found) for level in dict(last.left)}


def test_work_in_no_step_is_judged_last(judged: Judged) -> None:
    worth = judged(PLAN.replace("  mix stump-mix\n  step 2\n", "  mix stump-mix\n"))
    assert [gain.step for gain in worth.gains] == [1, 3, None]


def test_why_it_cannot_be_told(judged: Judged, report_of: Callable[..., Report]) -> None:
    empty = judged('plan "Nothing"\n')
    assert empty.gains == () and empty.why == "no work is left to do"
    headless = report_of("row a\n  method hinge\n  stumps 0,0 40,0\n  spacing 20\n")
    told = worth_of(headless, tally_of(headless), lambda source: headless)
    assert told.gains == () and told.why == "the plan has no head"


def test_work_in_an_included_file_is_not_told_of(review: Review) -> None:
    cuts = Source("cuts.habitat", "row far\n  method hinge\n  stumps 40,60 80,60\n  spacing 20\n  step 1\n")
    beside = replace(review, find=lambda path, source: cuts)
    report = beside.check(Source("plan.habitat", PLAN + 'include "cuts.habitat"\n'), Policy(TODAY))
    worth = worth_of(report, tally_of(report), lambda source: beside.check(source, Policy(TODAY)))
    assert worth.gains == () and "cuts.habitat, an included file" in worth.why


#: a hedge that is to hide the lane from the clover, some years on


def test_what_only_a_grown_planting_clears_is_told_with_its_year(judged: Judged) -> None:
    worth = judged(HEDGE)
    assert "entry-in-view" in slugs(worth.gains[-1].then)
    assert [(one.rule, year) for one, year in worth.grown] == [("entry/entry-in-view", 2031)]
    # one that is high enough from its first day clears it as it is planted
    worth = judged(HEDGE.replace("6ft from 2031", "6ft"))
    assert "entry-in-view" in slugs(worth.found) and "entry-in-view" not in slugs(worth.gains[-1].then)
    assert not worth.grown
