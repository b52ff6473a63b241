"""Wind records: which one a stand goes by, and what it says. Worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.assembly import review as assembled
from habitatlint.findings import Policy
from habitatlint.language.blocks import Stand
from habitatlint.measures.winds import WINDS, Air, Unrecorded, air_of, named, speeds_in
from habitatlint.outputs.sentences import message
from habitatlint.review import Review, pack_reader
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import rule_grammar
from habitatlint.source import Source
from habitatlint.units import MILE

ReportOf = Callable[..., Report]

STAND = "stand oak\n  at 0,0\n"
EIGHT = "winds {}\n  from N 50% 9mph\n  from S 40% 9mph\n  calm 10%\n"
SIXTEEN = "winds {}\n  from N 50% 9mph\n  from NNE 40% 9mph\n  calm 10%\n"


def air(report: Report) -> Air:
    return air_of(report.scene, report.scene.plan.of(Stand)[0])


def shares(found: Air) -> dict[str, float]:
    sums = np.bincount(found.blowing.winds, found.blowing.shares, 16)
    return {WINDS[wind]: round(float(sums[wind]), 4) for wind in np.flatnonzero(sums)}


# -- sectors ------------------------------------------------------------------------------------------------


def test_a_record_of_eight_winds_is_spread_over_sixteen(report_of: ReportOf) -> None:
    assert shares(air(report_of(STAND + EIGHT.format("w")))) == {
        "NNW": 0.125, "N": 0.25, "NNE": 0.125, "SSE": 0.1, "S": 0.2, "SSW": 0.1,
    }  # fmt: skip


def test_a_record_of_sixteen_is_taken_as_it_is(report_of: ReportOf) -> None:
    assert shares(air(report_of(STAND + SIXTEEN.format("w")))) == {"N": 0.5, "NNE": 0.4}


def test_winds_are_named_with_or() -> None:
    assert named([0, 1, 15]) == "N, NNE or NNW" and named([4]) == "E" and named([]) == "no side"


# -- which record ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("sit", "record"), [("morning", "all-day"), ("evening", "dusk"), ("all", "all-day")])
def test_a_record_of_the_sits_hours_stands_before_one_for_all(report_of: ReportOf, sit: str, record: str) -> None:
    plan = STAND + f"  sit {sit}\n" + SIXTEEN.format("all-day") + SIXTEEN.format("dusk") + "  hours evening\n"
    assert air(report_of(plan)).records == (f"winds {record}",)


def test_for_all_day_morning_and_evening_are_taken_together(report_of: ReportOf) -> None:
    dawn = "winds dawn\n  from ENE 100% 9mph\n  hours morning\n"
    dusk = "winds dusk\n  from WSW 100% 9mph\n  hours evening\n"
    assert shares(air(report_of(STAND + "  sit all\n" + dawn + dusk))) == {"ENE": 0.5, "WSW": 0.5}
    with pytest.raises(Unrecorded, match="its hours"):
        air(report_of(STAND + "  sit all\n" + dawn))


def test_a_record_of_other_hours_says_nothing(report_of: ReportOf) -> None:
    with pytest.raises(Unrecorded, match="no `winds` record is for its hours"):
        air(report_of(STAND + "  sit morning\n" + SIXTEEN.format("dusk") + "  hours evening\n"))


def test_without_a_record_nobody_knows(report_of: ReportOf) -> None:
    with pytest.raises(Unrecorded, match="the plan has no `winds` record"):
        air(report_of(STAND))


SEASON = 'plan "Season"\n  hunted 2026-11-21..2026-12-10\n'


def test_records_count_by_their_days_in_the_hunted_season(report_of: ReportOf) -> None:
    november = "winds november\n  from ENE 100% 9mph\n  period 11-01..11-30\n"
    december = "winds december\n  from WSW 100% 9mph\n  period 12-01..12-31\n"
    march = "winds march\n  from NNE 100% 9mph\n  period 03-01..03-31\n"
    found = air(report_of(SEASON + STAND + november + december + march, fragment=False))
    assert found.records == ("winds november", "winds december")
    assert shares(found) == {"ENE": 0.5, "WSW": 0.5}  # ten days of each
    with pytest.raises(Unrecorded, match="hunted season"):
        air(report_of(SEASON + STAND + march, fragment=False))
    assert air(report_of(STAND + march)).records == ("winds march",)


def test_a_period_over_the_new_year_reaches_into_january(report_of: ReportOf) -> None:
    head = 'plan "Season"\n  hunted 2027-01-02..2027-01-20\n'
    winter = "winds winter\n  from ENE 100% 9mph\n  period 11-07..01-18\n"
    assert air(report_of(head + STAND + winter, fragment=False)).records == ("winds winter",)


def test_a_season_may_end_on_the_29th_of_february(report_of: ReportOf) -> None:
    head = 'plan "Season"\n  hunted 12-01..02-29\n'
    of = "winds {}\n  from {} 100% 9mph\n  period {}\n"
    # January has 31 of its days, and the 28th and 29th of February are two
    records = of.format("winter", "NNE", "01-01..01-31") + of.format("last", "SSW", "02-28..02-29")
    report = report_of(head + STAND + records, fragment=False)
    assert shares(air(report)) == {"NNE": pytest.approx(31 / 33, abs=1e-4), "SSW": pytest.approx(2 / 33, abs=1e-4)}


def test_shares_that_do_not_add_up_are_told_and_rounding_is_not(report_of: ReportOf) -> None:
    plan = STAND + "winds november\n  from NNE 60% 9mph\n  from N {}% 9mph\n"
    assert "winds november do not add up" in air(report_of(plan.format(70))).uneven
    found = air(report_of(plan.format(41)))
    assert found.uneven == "" and shares(found)["NNE"] == pytest.approx(0.6 / 1.01, abs=1e-4)


def test_a_broken_record_is_told_as_that_alone(report_of: ReportOf) -> None:
    report = report_of(STAND + "  sit evening\nwinds november\n  from NNX 60% 9mph\n  from N 40% 9mph\n")
    with pytest.raises(Unrecorded, match=r"^$"):
        air(report)
    assert not any("clean" in str(finding.facts) for finding in report.findings)


def test_the_mean_speed_of_a_wind_goes_by_its_shares(report_of: ReportOf) -> None:
    report = report_of(STAND + "winds w\n  from NNE 30% 4mph\n  from NNE 60% 10mph\n  calm 10%\n")
    assert speeds_in(report.scene, "all") == {1: pytest.approx(8 * MILE / 3600)}


# -- records as rules see them ----------------------------------------------------------------------------------


def test_rules_may_look_at_the_winds_of_a_record() -> None:
    shipped = assembled()
    read = pack_reader(shipped.plan_grammar, lambda: files.grammar("rules", rule_grammar))
    body = (
        'rule strong-winds\n  title "Strong winds"\n  because "it is a test"\n  limit strong 12mph 1mph..40mph common-practice\n'
        "  each w in winds, f in w.from\n  where f.share >= 5%\n"
        '  report note when f.speed > strong\n    say "{f} blows from {f.bearing}, {f.share} of {f.time}"\n  mark f.wind\n'
    )
    pack = read("test", [Source("test/strong-winds.rules", body)])
    assert not pack.slips
    plan = (
        "winds november\n  from NW 40% 14mph\n  from S 4% 20mph\n  from E 56% 5mph\n  period 11-01..11-30\n"
        "winds evenings\n  from W 100% 13mph\n  hours evening\n"
    )
    policy = Policy(date(2026, 2, 10), fragment=True)
    report = Review(shipped.plan_grammar, Rulebook((pack,))).check(Source("w.habitat", plan), policy)
    told = [(finding.span.line, message(finding, "yd")) for finding in report.findings]
    assert told == [
        (2, "NW of winds november blows from 315 deg, 40% of 12 days"),
        (7, "W of winds evenings blows from 270 deg, 100% of none"),
    ]


def test_the_prevailing_wind_is_the_mean_and_calm_is_left_out(report_of: ReportOf) -> None:
    scene = report_of("winds w\n  from N 30% 9mph\n  from E 30% 9mph\n  calm 40%\nwinds still\n  calm 100%\n").scene
    prevailing, steadiness = (scene.table("winds").column(field) for field in ("prevailing", "steadiness"))
    assert prevailing.values[0] == pytest.approx(45) and prevailing.mask.tolist() == [True, False]
    # sectors 45 degrees wide: 0.7071 x 1.0262
    assert steadiness.values[0] == pytest.approx(0.70711 * 0.39270 / 0.38268, abs=1e-4)
