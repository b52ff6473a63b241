"""What a stand looks at, and walks through the core. Worked by hand; common practice, no source."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.units import YARD

ReportOf = Callable[..., Report]

SQUARE = "boundary\n  outline 0,0 400,0 400,400 0,400\n"
RUN = "path run\n  use travel\n  line 0,0 100,0\n"
LANE = "path lane\n  use entry\n  line {line}\n"
STAND = "stand oak\n  at {at}\n"


def told(report: Report, rule: str) -> list[float]:
    """What was measured, in yards."""
    return [
        round(float(f.measured.value) / YARD, 1) for f in report.findings if f.rule == f"layout/{rule}" and f.measured
    ]  # type: ignore[arg-type]


def unjudged(report: Report) -> list[str]:
    return [str(f.facts["x.found"].value) for f in report.findings if f.rule == "record/not-judged"]


@pytest.mark.parametrize(
    ("more", "measured"),
    [
        (RUN, [50.0]),
        (RUN.replace("travel", "corridor") + "food acorns\n  kind mast\n  at 50,100\n  radius 10\n", [40.0]),
        (RUN + "food acorns\n  kind mast\n  at 50,89\n  radius 10\n", []),  # 29 yd off
        (RUN + "food corn\n  kind crop\n  offsite yes\n  outline 0,70 100,70 100,90 0,90\n", []),
        (RUN + "food corn\n  kind crop\n  outline 40,40 60,40 60,60 40,60\n", []),  # it stands in it
    ],
)
def test_a_stand_looks_at_travel_or_at_food_of_any_kind(report_of: ReportOf, more: str, measured: list[float]) -> None:
    assert told(report_of(more + STAND.format(at="50,50")), "stand-off-travel") == measured


def test_a_stand_in_a_plan_with_nothing_to_look_at_is_told_so(report_of: ReportOf) -> None:
    (found,) = (f for f in report_of(STAND.format(at="50,50")).findings if f.rule == "layout/stand-off-travel")
    assert "no line of travel and no food" in found.say
    assert told(report_of(STAND.format(at="50,50") + "  offsite yes\n"), "stand-off-travel") == []
    # a line of travel that cannot be placed has been told as a slip: no word of the stand
    broken = "path run\n  use travel\n  line 0,0\n"
    assert told(report_of(STAND.format(at="50,50") + broken), "stand-off-travel") == []


def test_the_longer_of_the_ways_in_and_out_counts_and_each_as_a_whole(report_of: ReportOf) -> None:
    # in by 20 yd of the core, out by 100
    ways = LANE.format(line="200,0 200,120") + "path out\n  use exit\n  line 200,120 300,120 400,120\n"
    stand = STAND.format(at="203,120") + "  reach lane\n"
    assert told(report_of(SQUARE + ways + stand), "stand-in-core") == [20]
    assert told(report_of(SQUARE + ways + stand + "  leave out\n"), "stand-in-core") == pytest.approx([97], abs=4)
    # another stand's longer walk takes in all of this one's: each is judged by its own
    far = "stand far\n  at 203,190\n  reach long\npath long\n  use entry\n  line 200,0 200,190\n"
    assert told(report_of(SQUARE + ways + stand + far), "stand-in-core") == [20, 90]


def test_a_stand_in_the_core_is_told_without_a_walk_and_one_outside_is_not(report_of: ReportOf) -> None:
    assert told(report_of(SQUARE + STAND.format(at="200,130")), "stand-in-core") == [30]
    assert told(report_of(SQUARE + STAND.format(at="200,90")), "stand-in-core") == []
    # a walk that begins in the core comes in by some way all the same
    begun = LANE.format(line="200,150 200,160") + STAND.format(at="202,160") + "  reach lane\n"
    assert told(report_of(SQUARE + begun), "stand-in-core") == [60]


def test_without_boundary_or_core_a_walk_is_not_judged(report_of: ReportOf) -> None:
    walk = LANE.format(line="200,0 200,120") + STAND.format(at="203,120") + "  reach lane\n"
    assert any("stand-in-core" in found for found in unjudged(report_of(walk)))
    assert not any("stand-in-core" in found for found in unjudged(report_of(STAND.format(at="203,120"))))
    # too narrow for any core
    narrow = "boundary\n  outline 0,0 400,0 400,150 0,150\n"
    report = report_of(narrow + walk)
    assert told(report, "stand-in-core") == [] and not any("stand-in-core" in found for found in unjudged(report))
