"""The pipeline: limits and levels as the plan sets them, waivers in the open, stage, what is not judged."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest

from habitatlint.check import Report
from habitatlint.findings import Fact, Level, Policy
from habitatlint.outputs import Style
from habitatlint.outputs.text import render
from habitatlint.review import Review
from habitatlint.source import Source

PLAN = """\
plan "One row too near"
boundary
  outline 0,0 400,0 400,400 0,400
path lane
  use entry
  line 0,20 400,20
stand seat
  at 398,22
  reach lane
row cover
  method hinge
  stumps 100,38 200,38
  spacing 20
  fall N
  dbh 8in
"""
NEAR = "entry/live-hinge-near-entry"


def rules_of(report: Report) -> set[str]:
    return {finding.rule for finding in report.findings}


def test_a_limit_set_by_the_plan_counts_within_its_range(report_of: Callable[..., Report]) -> None:
    assert NEAR in rules_of(report_of(PLAN))  # 18 yd, wanted 20
    assert NEAR not in rules_of(report_of(PLAN + "set live-hinge-near-entry.clearance 15yd\n"))
    assert NEAR not in rules_of(report_of(PLAN + "set entry/live-hinge-near-entry.clearance 45ft\n"))


def test_a_limit_beyond_its_range_is_told_and_the_default_used(report_of: Callable[..., Report]) -> None:
    for line in ("2yd", "80yd", "25%", "20"):
        report = report_of(PLAN + f"set live-hinge-near-entry.clearance {line}\n")
        assert {NEAR, "record/limit-out-of-range"} <= rules_of(report), line


@pytest.mark.parametrize(
    ("line", "nearest"),
    [
        ("live-hinge-near-entry.clearance 2yd", "5yd"),
        ("live-hinge-near-entry.clearance 800ft", "60yd"),
        ("hinge-too-small.least 9in", "6in"),
        ("roofed-pocket.most 99%", "60%"),
        ("upkeep-due.corridors 12 years", "10 years"),
        ("no-release.residual 10sqft/ac", "20sqft/ac"),
        ("few-clean-hours.calm 1mph", "2mph"),
        ("fall-onto-hazard.swing 120deg", "90deg"),
        ("live-hinge-near-entry.clearance 25%", ""),
    ],
)
def test_the_end_of_the_range_that_is_nearest_is_offered(
    report_of: Callable[..., Report], line: str, nearest: str
) -> None:
    told = [one for one in report_of(PLAN + f"set {line}\n").findings if one.rule == "record/limit-out-of-range"]
    offered = [change.texts[0] for one in told for mend in one.mends for change in mend.changes]
    assert offered == ([nearest] if nearest else [])
    for text in offered:  # and it is within the range
        again = report_of(PLAN + f"set {line.partition(' ')[0]} {text}\n")
        assert "record/limit-out-of-range" not in rules_of(again)


def test_settings_that_name_nothing_are_told_with_a_suggestion(told: Callable[..., list[str]]) -> None:
    lines = told(
        PLAN
        + "set live-hinge-near-entri.clearance 25yd\nset live-hinge-near-entry.clearence 25yd\nlevel core-beding off\n"
    )
    assert any("live-hinge-near-entri" in line and "live-hinge-near-entry" in line for line in lines)
    assert any("clearence" in line and "clearance" in line for line in lines)
    assert any("core-beding" in line and "core-bedding" in line for line in lines)


def test_a_level_changes_severity_and_off_silences(report_of: Callable[..., Report]) -> None:
    report = report_of(PLAN + "level live-hinge-near-entry note\n")
    assert [f.level for f in report.findings if f.rule == NEAR] == [Level.note]
    assert NEAR not in rules_of(report_of(PLAN + "level live-hinge-near-entry off\n"))


def test_a_level_caps_a_rule_of_several(report_of: Callable[..., Report]) -> None:
    big = PLAN.replace("dbh 8in", "dbh 14in")
    some = big + "row other\n  method hinge\n  stumps 100,300 200,300\n  spacing 20\n  fall N\n  dbh 11in\n"
    plain = [f.level.name for f in report_of(some).findings if f.rule == "felling/hinge-too-big"]
    assert plain == ["error", "note"]
    capped = [
        f.level.name
        for f in report_of(some + "level hinge-too-big warning\n").findings
        if f.rule == "felling/hinge-too-big"
    ]
    assert capped == ["warning", "note"]


def test_slips_of_reading_are_neither_lowered_nor_waived(report_of: Callable[..., Report]) -> None:
    broken = PLAN.replace("method hinge", "method hing")
    text = (
        broken + 'level unknown-word off\nwaive unknown-word on cover until 2030-01-01 because "it is only a letter"\n'
    )
    report = report_of(text)
    assert [f.level for f in report.findings if f.rule == "record/unknown-word"] == [Level.error]
    assert report.waived == ()
    assert "record/waiver-idle" in rules_of(report)


def test_a_waiver_accepts_findings_until_its_day_included(report_of: Callable[..., Report]) -> None:
    text = PLAN + 'waive live-hinge-near-entry on cover until 2026-03-01 because "the lane moves"\n'
    for day, waived in ((date(2026, 3, 1), True), (date(2026, 3, 2), False)):
        report = report_of(text, today=day)
        assert (NEAR not in rules_of(report)) is waived
        assert bool(report.waived) is waived
        assert ("record/waiver-stale" in rules_of(report)) is not waived
    assert report_of(text).waived[0].waived == "the lane moves"


def test_a_waiver_names_what_it_is_on(report_of: Callable[..., Report]) -> None:
    def waived(on: str) -> bool:
        line = f'waive live-hinge-near-entry {on}until 2030-01-01 because "x"\n'
        return bool(report_of(PLAN + line).waived)

    assert waived("on cover ") and waived("on lane ") and waived("on cover and lane ") and waived("on lane and cover ")
    assert not waived("")  # without `on`, only findings on the plan as a whole
    assert not waived("on seat ")
    assert not waived("on cover and seat ")


def test_an_idle_waiver_is_told_and_one_of_nothing_too(
    report_of: Callable[..., Report], told: Callable[..., list[str]]
) -> None:
    sound = PLAN.replace("38 200,38", "90 200,90")
    assert "record/waiver-idle" in rules_of(
        report_of(sound + 'waive live-hinge-near-entry on cover until 2030-01-01 because "x"\n')
    )
    lines = told(PLAN + 'waive live-hinge-near-entry on covr until 2030-01-01 because "x"\n')
    assert any("covr" in line and "cover" in line for line in lines)


def test_a_design_is_judged_as_it_will_be_and_an_as_built_as_it_is(report_of: Callable[..., Report]) -> None:
    built = PLAN.replace('too near"\n', 'too near"\n  stage as-built\n')
    assert NEAR not in rules_of(report_of(built))
    assert NEAR in rules_of(report_of(built.replace("dbh 8in", "dbh 8in\n  done 2026-02-01")))
    planned = PLAN.replace("dbh 8in", "dbh 8in\n  stump-treatment planned")
    assert NEAR not in rules_of(report_of(planned))
    built_planned = built.replace("dbh 8in", "dbh 8in\n  done yes\n  stump-treatment planned")
    assert NEAR in rules_of(report_of(built_planned))
    assert NEAR not in rules_of(report_of(built_planned.replace("planned", "done")))


def test_what_rows_share_counts_for_each_of_them(report_of: Callable[..., Report]) -> None:
    shared = PLAN.replace("  method hinge\n", "").replace("  fall N\n", "") + "trees\n  method hinge\n  fall N\n"
    (finding,) = [f for f in report_of(shared).findings if f.rule == NEAR]
    assert finding.span.text == "method hinge" and finding.span.line > 13
    assert any("cover" in related.what for related in finding.related)


def test_a_project_sets_limits_and_levels_and_the_plan_stands_above(review: Review) -> None:
    policy = Policy(
        date(2026, 2, 10),
        {NEAR: Level.warning},
        {f"{NEAR}.clearance": Fact(25 * 0.9144, "length", "yd")},
        fragment=True,
    )
    (finding,) = [f for f in review.check(Source("x", PLAN), policy).findings if f.rule == NEAR]
    assert finding.level is Level.warning and finding.wanted.value == 25 * 0.9144
    own = PLAN + "set live-hinge-near-entry.clearance 15yd\n"
    assert NEAR not in rules_of(review.check(Source("x", own), policy))


def test_a_missing_thing_is_told_once_for_all_the_rules_that_need_it(told: Callable[..., list[str]]) -> None:
    lines = [line for line in told(PLAN.replace("  dbh 8in\n", "")) if "not-judged" in line]
    assert sum("`dbh`" in line for line in lines) == 1
    assert sum("`fall`" in line for line in told(PLAN.replace("  fall N\n", "")) if "not-judged" in line) <= 1


def test_what_a_slip_has_told_is_not_told_again(told: Callable[..., list[str]]) -> None:
    for line in ("  stumps 100,38 200, 38\n", "  stumps 100,38\n"):
        lines = told(PLAN.replace("  stumps 100,38 200,38\n", line))
        assert len([one for one in lines if "cover" in one or "stumps" in one or "point" in one]) == 1, lines


def test_findings_stand_in_the_order_of_their_places(report_of: Callable[..., Report]) -> None:
    report = report_of(PLAN + "pocket a\n  outline 0,0 10,10\npocket b\n  outline 1,1 2,2\n")
    places = [finding.span.order for finding in report.findings]
    assert places == sorted(places)


def test_what_no_rule_and_no_measure_reads_is_said(report_of: Callable[..., Report]) -> None:
    others = (
        "sign rub\n  at 50,60\n  kind rub\ncrew ridge\n  people 2\nhazard creek\n  kind water\n  line 0,90 400,90\n"
        "drain run\n  line 0,95 400,95\nplace gate\n  kind gate\n  at 0,20\nstorm 2026-01-05\n"
    )
    report = report_of(PLAN + others)
    assert report.unjudged == ["sign"]
    # a rule that names them looks at them
    each = next(rule for rule in report.rules if rule.slug == "stand-not-reached").each[0]
    signs = each._replace(plural=each.plural._replace(value=each.plural.value._replace(parts=("signs",))))
    assert report._replace(rules=(report.rules[0]._replace(each=(signs,)),)).unjudged == []


def test_what_is_kept_quiet_about_peoples_safety_is_said(report_of: Callable[..., Report]) -> None:
    plan = "row hinges\n  method hinge\n  stumps 0,60 40,60\n  spacing 20\n  fall N\n  dbh {dbh}\n  cut-height {cut}\n{last}\n"
    off = report_of(plan.format(dbh="14in", cut="3ft", last="level hinge-too-big off"))
    assert [rule.slug for rule in off.silenced] == ["hinge-too-big"]
    assert "people's safety, switched off or lowered: hinge-too-big" in render([off.verdict], Style())
    waive = 'waive hinge-overhead on hinges until 2027-12-31 because "one tall hand"'
    waived = report_of(plan.format(dbh="8in", cut="5.5ft", last=waive))
    assert waived.silenced == ()
    assert "people's safety, waived: " in render([waived.verdict], Style())
    assert "(one tall hand)" in render([waived.verdict], Style())
    plain = report_of(plan.format(dbh="8in", cut="3ft", last=""))
    assert "people's safety" not in render([plain.verdict], Style())
