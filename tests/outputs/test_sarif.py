"""SARIF 2.1.0, held to the schema that OASIS publishes with the standard (Errata 01, 28 August 2023)."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from habitatlint.check import Report
from habitatlint.findings import Edit, Policy
from habitatlint.outputs import Run, Style, render
from habitatlint.outputs.sarif import SCHEMA
from habitatlint.outputs.sentences import message
from habitatlint.review import Review
from habitatlint.rulebook.pinning import Since
from habitatlint.source import Source, Span

ROOT = Path(__file__).resolve().parent.parent.parent
PUBLISHED = ROOT.parent / "shared" / "data" / "sarif-schema-2.1.0.json"
TODAY = date(2026, 2, 10)
#: an emoji beyond the basic plane, marks that turn the reading direction, and what would be a link or markup
HOSTILE = '"🌲 \u202elane\u202c [open](https://bad.example) <script>x</script> {0} \x07"'
PLAN = f"""\
plan {HOSTILE}
path lane {HOSTILE}
  use entry
  line 0,0 100,0
row cover {HOSTILE}
  method hinge
  stumps 10,5 90,5
  spacing 10
  fall N
  dbh 8in
"""


@pytest.fixture(scope="session")
def fault_of() -> Callable[[Any], str]:
    """The first fault that the published schema finds in a log, with its place; "" for none."""
    if not PUBLISHED.is_file():
        pytest.skip("the folder with the published schema is not beside this checkout")
    schema = json.loads(PUBLISHED.read_text(encoding="utf-8"))
    checker = jsonschema.Draft4Validator.FORMAT_CHECKER
    assert {"uri", "uri-reference"} <= set(jsonschema.FormatChecker.checkers)  # else addresses would go unread
    validator = jsonschema.Draft4Validator(schema, format_checker=checker)

    def fault(log: Any) -> str:
        found = jsonschema.exceptions.best_match(validator.iter_errors(log))
        return f"{found.json_path}: {found.message}" if found else ""

    return fault


def log_of(*reports: Report, run: Run = Run()) -> dict[str, Any]:
    log: dict[str, Any] = json.loads(page_of(*reports, run=run))
    return log


def page_of(*reports: Report, run: Run = Run()) -> str:
    rules = {rule.name: rule for report in reports for rule in report.rules}
    return render("sarif", [report.verdict for report in reports], Style(run=run._replace(rules=rules)))


def results(log: dict[str, Any], rule: str = "") -> list[dict[str, Any]]:
    return [result for result in log["runs"][0]["results"] if rule in ("", result["ruleId"])]


def marked(region: dict[str, int], source: Source) -> str:
    """What a region of the standard covers: lines and columns from 1, columns in code points, its end not in it."""
    lines = source.text.split("\n")
    start, end = region["startLine"] - 1, region["endLine"] - 1
    if start == end:
        return lines[start][region["startColumn"] - 1 : region["endColumn"] - 1]
    middle = lines[start + 1 : end]
    return "\n".join([lines[start][region["startColumn"] - 1 :], *middle, lines[end][: region["endColumn"] - 1]])


def test_the_log_names_the_schema_that_it_is_held_to(
    report_of: Callable[..., Report], fault_of: Callable[[Any], str]
) -> None:
    log = log_of(report_of(PLAN))
    assert json.loads(PUBLISHED.read_text(encoding="utf-8"))["id"] == log["$schema"] == SCHEMA
    assert fault_of(log) == ""
    log["runs"][0]["results"][0]["level"] = "grave"
    assert fault_of(log)  # the schema can find fault


@pytest.mark.parametrize("path", sorted((ROOT / "examples").glob("*.habitat")), ids=lambda path: path.stem)
def test_every_example_is_valid_and_marks_what_is_marked(
    path: Path, review: Review, fault_of: Callable[[Any], str]
) -> None:
    source = Source(f"examples/{path.name}", path.read_text(encoding="utf-8"))
    report = review.check(source, Policy(TODAY))
    log = log_of(report)
    assert fault_of(log) == ""
    assert len(results(log)) == len(report.findings) + len(report.waived)
    for result in results(log):
        place = result["locations"][0]["physicalLocation"]
        assert place["artifactLocation"] == {"uri": source.name, "uriBaseId": "%SRCROOT%"}
        assert marked(place["region"], source) == place["region"]["snippet"]["text"]
        assert log["runs"][0]["tool"]["driver"]["rules"][result["ruleIndex"]]["id"] == result["ruleId"]


def test_hostile_titles_stay_words(report_of: Callable[..., Report], fault_of: Callable[[Any], str]) -> None:
    report = report_of(PLAN, "öak knob/50% #1?.habitat")
    page = page_of(report)
    log = json.loads(page)
    assert page.isascii() and fault_of(log) == ""
    texts = [result["message"]["text"] for result in results(log)]
    texts += [one["message"]["text"] for result in results(log) for one in result.get("relatedLocations", [])]
    assert not any("](" in text or "\u202e" in text or "\x07" in text for text in texts)
    assert not any("markdown" in result["message"] for result in results(log))
    # the letters of RFC 3986, and UTF-8 in percents for all others
    uris = {result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] for result in results(log)}
    assert uris == {"%C3%B6ak%20knob/50%25%20%231%3F.habitat"}
    (hinge,) = results(log, "entry/live-hinge-near-entry")
    region = hinge["locations"][0]["physicalLocation"]["region"]
    assert marked(region, report.source) == region["snippet"]["text"] == "method hinge"


def test_columns_count_code_points(report_of: Callable[..., Report]) -> None:
    report = report_of('task "🌲🌲" fence\n  text "Mend."\n')
    log = log_of(report)
    assert log["runs"][0]["columnKind"] == "unicodeCodePoints"
    (slip,) = results(log, "record/syntax")
    region = slip["locations"][0]["physicalLocation"]["region"]
    assert marked(region, report.source) == region["snippet"]["text"] != ""
    assert region["startColumn"] == report.findings[0].span.column


@pytest.mark.parametrize(
    ("name", "uri"),
    [
        ("/farms/a b.habitat", "file:///farms/a%20b.habitat"),
        ("C:/farms/a.habitat", "file:///C:/farms/a.habitat"),
        ("../a.habitat", "../a.habitat"),
        ("a:b.habitat", "a%3Ab.habitat"),
        ("\udcff.habitat", "%FF.habitat"),
    ],
)
def test_paths_are_addresses(
    name: str, uri: str, report_of: Callable[..., Report], fault_of: Callable[[Any], str]
) -> None:
    log = log_of(report_of(PLAN, name))
    assert fault_of(log) == ""
    (artifact,) = log["runs"][0]["artifacts"]
    assert artifact["location"]["uri"] == uri
    assert ("uriBaseId" in artifact["location"]) is not uri.startswith("file:")


def test_the_message_is_the_sentence_of_all_forms_with_its_figures(report_of: Callable[..., Report]) -> None:
    report = report_of(PLAN.replace(HOSTILE, '"Plain"'))
    (finding,) = [one for one in report.findings if one.rule == "entry/live-hinge-near-entry"]
    (result,) = results(log_of(report), finding.rule)
    first, *rest = result["message"]["text"].split("\n")
    assert first == message(finding, report.units)
    assert "measured: 5 yd, at 10,5 (tree 1 of cover), tree sizes estimated" in rest
    assert "wanted: 20 yd or more (entry/live-hinge-near-entry; common practice)" in rest
    (related,) = result["relatedLocations"]
    assert related["message"] == {"text": "the way in"}
    assert related["physicalLocation"]["region"]["startLine"] == 2


def test_the_rule_table_says_why_and_on_whose_word(report_of: Callable[..., Report], review: Review) -> None:
    report = report_of(PLAN)
    table = log_of(report)["runs"][0]["tool"]["driver"]["rules"]
    assert [rule["id"] for rule in table] == sorted(rule.name for rule in report.rules)
    rules = {rule["id"]: rule for rule in table}
    for rule in report.rules:
        told = rules[rule.name]
        assert told["defaultConfiguration"]["level"] == rule.worst.name
        assert (told["properties"]["evidence"], told["properties"]["source"]) == rule.evidence
        assert ("safety" in told["properties"]["tags"]) is rule.safety
    assert "limit     clearance: 20 yd, from 5 yd to 60 yd" in rules["entry/live-hinge-near-entry"]["help"]["text"]


def test_a_waived_finding_is_suppressed_with_the_waivers_reason(
    report_of: Callable[..., Report], fault_of: Callable[[Any], str]
) -> None:
    waiver = 'waive live-hinge-near-entry on cover until 2027-12-31 because "hunted from the road side"\n'
    log = log_of(report_of(PLAN + waiver))
    (waived,) = results(log, "entry/live-hinge-near-entry")
    assert waived["suppressions"] == [
        {"kind": "inSource", "status": "accepted", "justification": "hunted from the road side"}
    ]
    # SARIF 2.1.0, 3.27.23: present on all results or on none (from memory)
    assert all("suppressions" in result for result in results(log))
    assert sum(bool(result["suppressions"]) for result in results(log)) == 1
    assert fault_of(log) == ""


def test_only_mends_that_clear_are_fixes_and_their_regions_make_the_text(
    report_of: Callable[..., Report], review: Review, fault_of: Callable[[Any], str]
) -> None:
    text = 'task fence\n  txet "Mend the fence."\ntask gate "🌲"\n  text "Hang it."\n  text "Hang it."\n'
    report = report_of(text)
    assert not any("fixes" in result for result in results(log_of(report)))  # none was tried
    policy = Policy(TODAY, fragment=True)
    proven = report._replace(
        findings=tuple(one._replace(mends=review.mends(report, one, policy)) for one in report.findings)
    )
    log = log_of(proven)
    assert fault_of(log) == ""
    (misspelt,) = results(log, "record/unknown-word")
    (fix,) = misspelt["fixes"]
    ((replacement,),) = [change["replacements"] for change in fix["artifactChanges"]]
    assert marked(replacement["deletedRegion"], report.source) == "txet"
    assert replacement["insertedContent"] == {"text": "text"}


def test_a_fix_may_put_in_and_take_out(report_of: Callable[..., Report], fault_of: Callable[[Any], str]) -> None:
    report = report_of(PLAN)
    finding = next(one for one in report.findings if one.mends)
    source = report.source
    edits = (Edit(Span(source, 0, 0), "# first\n"), Edit(Span(source, 5, 9), ""))
    mend = finding.mends[0]._replace(edits=edits, proof="clears")
    log = log_of(report._replace(findings=(finding._replace(mends=(mend,)),)))
    assert fault_of(log) == ""
    (result,) = results(log)
    put_in, taken_out = result["fixes"][0]["artifactChanges"][0]["replacements"]
    assert put_in["deletedRegion"] == {"startLine": 1, "startColumn": 1, "endLine": 1, "endColumn": 1}
    assert "insertedContent" not in taken_out


def test_the_run_says_how_it_ended(report_of: Callable[..., Report], fault_of: Callable[[Any], str]) -> None:
    log = log_of(report_of(PLAN), run=Run(2, ("gone.habitat: no such file",), "known findings.json", 3))
    assert fault_of(log) == ""
    (invocation,) = log["runs"][0]["invocations"]
    assert (invocation["executionSuccessful"], invocation["exitCode"]) == (False, 2)
    failed, stale = invocation["toolExecutionNotifications"]
    assert (failed["level"], failed["message"]["text"]) == ("error", "gone.habitat: no such file")
    assert (stale["level"], stale["message"]["text"]) == ("note", "3 findings of the baseline are gone: write it again")
    assert stale["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == "known%20findings.json"
    assert fault_of(log_of()) == ""  # nothing could be read at all


def test_the_run_says_what_differs_from_the_pins(
    report_of: Callable[..., Report], fault_of: Callable[[Any], str]
) -> None:
    report = report_of(PLAN)
    new, changed, *others = [rule.name for rule in report.rules]
    since = Since((new,), (changed,), ("creek/o\u202eld",), (("creek", "1", "2"),))
    log = log_of(report._replace(since=since), report)
    assert fault_of(log) == ""
    (invocation,) = log["runs"][0]["invocations"]
    told = invocation["toolConfigurationNotifications"]
    assert {note["level"] for note in told} == {"note"}
    assert [note["message"]["text"].partition(";")[0] for note in told] == [
        f"1 rule new since the pins, and judged as notes at most: {new}",
        f"1 rule changed since the pins: {changed}",
        "1 rule pinned, and no longer in force: creek/o?ld",
    ]
    rules = {rule["id"]: rule["properties"] for rule in log["runs"][0]["tool"]["driver"]["rules"]}
    assert (rules[new]["sincePins"], rules[changed]["sincePins"]) == ("new", "changed")
    assert not any("sincePins" in rules[name] for name in others)
    plain = log_of(report)["runs"][0]
    assert "toolConfigurationNotifications" not in plain["invocations"][0] and "sincePins" not in json.dumps(plain)


def test_the_fingerprint_is_of_the_content_and_not_of_the_place(report_of: Callable[..., Report]) -> None:
    moved = "# a line more\n\n" + PLAN.replace("stumps 10,5 90,5", "stumps 10,6 80,6")

    def prints(text: str) -> dict[str, str]:
        return {one["ruleId"]: one["partialFingerprints"]["content/v1"] for one in results(log_of(report_of(text)))}

    assert prints(PLAN) == prints(moved)
    other = prints(PLAN.replace("row cover", "row screen"))
    assert other["entry/live-hinge-near-entry"] != prints(PLAN)["entry/live-hinge-near-entry"]
