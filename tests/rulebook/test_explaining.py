"""Why a rule did or did not fire: what is told agrees with what was judged, on every example plan."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.main import FAILED, main
from habitatlint.findings import Finding, Policy
from habitatlint.outputs.explanations import because
from habitatlint.review import Review
from habitatlint.rulebook.explaining import Asked, Compared, Explanation, Inquiry, Looked
from habitatlint.source import Source

TODAY = date(2026, 2, 10)
EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.habitat"))

Explain = Callable[[str, str, str], Explanation]


@pytest.fixture(scope="module", params=EXAMPLES, ids=lambda plan: plan.stem)
def judged(request: pytest.FixtureRequest, review: Review) -> tuple[Report, Inquiry]:
    """An example's report, and an inquiry that heard all of its judging."""
    inquiry = Inquiry()
    report = review.inquired(files.read_source(str(request.param)), Policy(TODAY), inquiry)
    return report, inquiry


def _alike(one: Finding, other: Finding) -> bool:
    return (one.order, one.level, one.measured, one.wanted, one.waived) == (
        other.order, other.level, other.measured, other.wanted, other.waived,
    )  # fmt: skip


def test_of_each_finding_the_rule_is_said_to_fire_at_its_line_with_its_figure(
    judged: tuple[Report, Inquiry],
) -> None:
    report, inquiry = judged
    for finding, fate in [*((one, "told") for one in report.findings), *((one, "waived") for one in report.waived)]:
        block = report.plan.block_at(finding.span)
        rule = inquiry.rulebook.find(finding.rule)
        assert block is not None and rule is not None
        answer = inquiry.answer(rule, block)
        assert any(found.fate == fate and _alike(found.finding, finding) for found in answer.found), finding
        assert answer.verdict == ("fires" if any(one.fate == "told" for one in answer.found) else "waived")
        told = [step for step in answer.steps if isinstance(step, Compared) and step.true]
        if finding.measured is not None and answer.stands:  # the worst of what was compared is what was measured
            figures = {case.said[0].fact for step in told for case in step.cases}
            groups = {one.finding.measured for one in answer.found}
            assert figures & groups, finding


def test_where_nothing_was_found_a_filter_or_a_limit_says_why(judged: tuple[Report, Inquiry]) -> None:
    report, inquiry = judged
    found = {(one.rule, id(report.plan.block_at(one.span))) for one in (*report.findings, *report.waived)}
    seen = 0
    for number, block in enumerate(report.plan.blocks):
        for rule in inquiry.rulebook.rules[number % 12 :: 12]:
            answer = inquiry.answer(rule, block)
            if answer.verdict in ("fires", "waived", "off"):
                continue
            assert (rule.name, id(block)) not in found
            if answer.verdict != "not":
                continue
            seen += 1
            step = answer.last
            assert step is not None or answer.lacking is not None, (rule.name, block)
            if isinstance(step, Asked):
                assert step.passed == 0 < step.put
            elif isinstance(step, Looked):
                assert step.bindings == 0
            elif isinstance(step, Compared):
                assert step.true == 0 < step.put
                _outside(step)
            assert because(answer, report.units)
    assert seen > 10


def _outside(step: Compared) -> None:
    """Every figure that is told lies on the right side of its limit, but for what is the same to a centimetre."""
    assert step.report.when is not None
    sign = step.report.when.value.sign
    for case in step.cases:
        measured, wanted = (float(said.fact.value) for said in case.said if said.fact is not None)  # type: ignore[arg-type]
        assert measured >= wanted - 0.011 if sign in ("<", "<=") else measured <= wanted + 0.011


# -- a walk, and what stands beside it ------------------------------------------------------------------------

WALK = """\
path lane
  use entry
  line 0,0 100,0
row cover
  method hinge
  stumps 10,{north} 90,{north}
  spacing 10
  fall N
  dbh 8in
row dead
  method girdle
  stumps 10,-5 90,-5
  spacing 10
"""


@pytest.fixture
def explain(review: Review) -> Explain:
    """What is told of a rule at the block of a name in a fragment."""

    def of(text: str, rule: str, name: str) -> Explanation:
        source = Source("plan.habitat", text)
        inquiry = Inquiry(rule)
        report = review.inquired(source, Policy(TODAY, fragment=True), inquiry)
        return inquiry.answers(report.plan.names[name])[0]

    return of


def test_a_hinge_that_is_too_near_is_told_with_figure_limit_and_pairs(explain: Explain) -> None:
    answer = explain(WALK.format(north=15), "live-hinge-near-entry", "cover")
    assert answer.verdict == "fires"
    pairs = [step for step in answer.steps if isinstance(step, Looked)][1]
    assert (pairs.bindings, len(pairs.nearest)) == (9, 3)
    compared = next(step for step in answer.steps if isinstance(step, Compared))
    assert (compared.true, compared.put) == (9, 9)
    gap, limit = (said.fact for said in compared.cases[0].said)
    assert gap is not None and limit is not None
    assert gap.value == pytest.approx(15 * 0.9144)
    assert limit.value == pytest.approx(20 * 0.9144)
    assert answer.limits["clearance"][1].by == "rule"


def test_one_that_stands_far_enough_is_told_with_what_it_came_nearest_to(explain: Explain) -> None:
    answer = explain(WALK.format(north=34), "live-hinge-near-entry", "cover")
    assert answer.verdict == "not"
    assert because(answer, "yd") == (
        "none of the walks come within 20 yd; nearest is tree 1 of cover and entry path lane, 34 yd apart"
    )


def test_the_walk_is_told_what_it_is_paired_with(explain: Explain) -> None:
    answer = explain(WALK.format(north=34), "live-hinge-near-entry", "lane")
    assert because(answer, "yd") == (
        "none of the walks come within 20 yd; nearest is tree 1 of cover and entry path lane, 34 yd apart"
    )
    hinged = next(step for step in answer.steps if isinstance(step, Asked))
    assert (hinged.partners, hinged.put, hinged.passed) == (True, 18, 9)


def test_what_a_filter_leaves_out_is_told_with_its_value(explain: Explain) -> None:
    answer = explain(WALK.format(north=15), "live-hinge-near-entry", "dead")
    assert because(answer, "yd") == ("none of 9 meets `t.method is hinge`: tree 1 of dead (`t.method` is girdle)")


def test_how_far_a_rule_looks_is_told_in_the_unit_of_the_distances_beside_it(explain: Explain) -> None:
    far = "row tall\n  method fell\n  stumps 0,0 10,0\n  spacing 10\n  tree-height 60ft\nstand corner\n  at 0,90\n"
    told = because(explain(far, "fall-onto-hazard", "tall"), "yd")
    apart = r"nearest is tree 1 of tall and stand corner, 90 yd apart"
    assert re.fullmatch(rf"none of the targets come within [0-9.]+ yd; {apart}", told), told


def test_a_measure_that_finds_nothing_is_told_as_that(explain: Explain) -> None:
    calm = (
        "pocket oak\n  outline 0,100 40,100 40,140 0,140\n  bed 20,120\nstand corner\n  at 20,0\n  winds N\n"
        "path lane\n  use entry\n  line 0,0 20,0\n"
    )
    told = because(explain(calm, "scent-on-bedding", "corner"), "yd")
    assert told == ("`faint` (`scent(s, k, far)`) finds nothing to measure here; less than 300 yd would be a fault")


def test_a_rule_over_slips_says_that_there_are_none_of_its_kind(explain: Explain) -> None:
    told = because(explain(WALK.format(north=34), "bad-value", "lane"), "yd")
    assert told == "it tells of slips in what is written or drawn, and path lane has none of the kind"


def test_what_is_missing_is_told_as_not_judged(explain: Explain) -> None:
    answer = explain(WALK.format(north=15).replace("  dbh 8in\n", ""), "hinge-too-big", "cover")
    assert answer.verdict == "not judged"
    assert "no `dbh` is given" in because(answer, "yd")


@pytest.mark.parametrize(
    ("line", "verdict", "by"),
    [
        ("set live-hinge-near-entry.clearance 12yd", "not", "plan"),
        ('waive live-hinge-near-entry on cover until 2027-01-01 because "agreed"', "waived", "rule"),
        ("level live-hinge-near-entry off", "off", "rule"),
    ],
)
def test_who_quieted_a_rule_is_told(explain: Explain, line: str, verdict: str, by: str) -> None:
    answer = explain(f"{WALK.format(north=15)}{line}\n", "live-hinge-near-entry", "cover")
    assert (answer.verdict, answer.limits["clearance"][1].by) == (verdict, by)
    if verdict == "waived":
        (found,) = answer.found
        assert (found.finding.waived, found.waiver.line if found.waiver else 0) == ("agreed", 14)
    if verdict == "off":
        assert answer.level_by.by == "plan" and answer.level_by.span is not None and answer.level_by.span.line == 14
        (found,) = answer.found  # what it would say is told all the same
        assert found.finding.measured is not None


def test_a_limit_of_the_settings_and_of_a_pack_is_told_as_theirs(review: Review) -> None:
    from dataclasses import replace

    from habitatlint.findings import Fact
    from habitatlint.rulebook.expressions import Constant
    from habitatlint.rulebook.rules import Pack, Saying

    source = Source("plan.habitat", WALK.format(north=15))
    span = review.rulebook.rules[0].span()
    saying = Saying("set", "live-hinge-near-entry.clearance", Constant("length", 12 * 0.9144, "yd"), None, span)
    with_pack = replace(review, rulebook=review.rulebook.with_packs([Pack("wetter", says=(saying,))]))
    for checker, policy, by in (
        (with_pack, Policy(TODAY, fragment=True), "pack"),
        (review, Policy(TODAY, limits={"entry/live-hinge-near-entry.clearance": Fact(11.0, "length")}, fragment=True),
         "settings"),
    ):  # fmt: skip
        inquiry = Inquiry("live-hinge-near-entry")
        report = checker.inquired(source, policy, inquiry)
        answer = inquiry.answers(report.plan.names["cover"])[0]
        assert (answer.verdict, answer.limits["clearance"][1].by) == ("not", by)


# -- the command ----------------------------------------------------------------------------------------------

Ask = Callable[..., Result]


@pytest.fixture
def ask(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ask:
    """Runs `rules` beside a plan of a walk."""
    monkeypatch.chdir(tmp_path)
    plan = f'plan "Pine Knob"\ninclude "beside/row.habitat"\n# a remark\n{WALK.format(north=15)}'
    (tmp_path / "pine.habitat").write_text(plan)
    (tmp_path / "beside").mkdir()
    (tmp_path / "beside" / "row.habitat").write_text(
        "row far\n  method hinge\n  stumps 10,40 90,40\n  spacing 10\n  dbh 9in\n  fall N\n"
    )

    def run(*arguments: str) -> Result:
        return CliRunner().invoke(main, ["rules", *arguments, "--today", "2026-02-10"])

    return run


def test_one_rule_is_told_step_by_step(ask: Ask) -> None:
    result = ask("live-hinge-near-entry", "--at", "pine.habitat:7")
    assert result.exit_code == 0
    assert (
        result.stdout
        == """\
entry/live-hinge-near-entry at pine.habitat:7, row cover: fires

  why         9 of 9 live hinges lie too near entry path lane: 15 yd, wanted 20 yd or more
  found       line 8, error: 9 of 9 live hinges lie too near entry path lane; measured 15 yd, wanted
              20 yd or more
  looks at    `t in trees`: 9 of 27 in the plan stand here
  where       `t.method is hinge`: 9 of 9 pass
  where       `t is live`: 9 of 9 pass
  needs       `t.fall`: 9 of 9 pass
  looks at    `w in walks within clearance of t.fallen`, 20 yd: 9 pairs; nearest tree 1 of cover and
              entry path lane, 15 yd apart; tree 2 of cover and entry path lane, 15 yd apart; tree 3
              of cover and entry path lane, 15 yd apart
  where       `side(t, w) is deer`: 9 of 9 pass
  reports     error when `gap < clearance`: true of 9 of 9; tree 1 of cover and entry path lane: 15
              yd; tree 2 of cover and entry path lane: 15 yd; tree 3 of cover and entry path lane:
              15 yd and 6 more
  limit       clearance 20 yd: the rule's own (common practice)
  level       error: the rule's own
"""
    )


def test_every_rule_that_looked_is_told_in_a_line(ask: Ask) -> None:
    result = ask("--at", "pine.habitat:8:3:")  # as a finding begins
    lines = result.stdout.splitlines()
    assert result.exit_code == 0
    assert lines[0].startswith("pine.habitat:8, row cover: ") and " rules looked here, " in lines[0]
    assert any(line.startswith("  fires ") and "entry/live-hinge-near-entry" in line for line in lines)
    assert any(line.startswith("  not ") and "felling/hinge-too-big" in line for line in lines)


def test_a_line_of_an_included_file_is_judged_in_its_plan(ask: Ask) -> None:
    result = ask("live-hinge-near-entry", "--at", "beside/row.habitat:2", "--as", "json")
    told = json.loads(result.stdout)
    assert (told["path"], told["line"], told["block"]) == ("beside/row.habitat", 2, "row far")
    (rule,) = told["rules"]
    assert (rule["verdict"], rule["limits"]["clearance"]["value"]) == ("not", "20 yd")
    assert "nearest is tree 1 of far and entry path lane, 40 yd apart" in rule["why"]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--at", "pine.habitat"), "`pine.habitat` is no place; give a plan and a line of it, such as my-farm.habitat:12"),
        (("--at", "pine.habitat:0"), "`pine.habitat:0` is no place"),
        (("--at", "pine.habitat:99"), "pine.habitat has 16 lines, and no line 99"),
        (("--at", "none.habitat:1"), "none.habitat: no such file; give the path of a plan or a folder of plans"),
        (("--at", "beside:1"), "beside: a folder, not a file"),
        (("live-hinge-near-entri", "--at", "pine.habitat:7"),
         "no rule is called `live-hinge-near-entri`; did you mean `live-hinge-near-entry`?"),
        (("--at", "\x1b[31m:x"), "`?[31m:x` is no place"),
    ],
)  # fmt: skip
def test_a_question_without_an_answer_is_one_line(ask: Ask, arguments: tuple[str, ...], told: str) -> None:
    result = ask(*arguments)
    assert result.exit_code == FAILED
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    assert result.stderr.startswith(f"habitatlint: {told}")


def test_a_line_above_every_block_is_no_block(ask: Ask, tmp_path: Path) -> None:
    (tmp_path / "pine.habitat").write_text('# a remark\n\nplan "Pine Knob"\n')
    result = ask("--at", "pine.habitat:1")
    assert result.exit_code == FAILED
    assert result.stderr == "habitatlint: pine.habitat:1: no block stands on this line; line 3 begins the nearest\n"
