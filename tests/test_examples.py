"""The example plans, each held to its key: what is to be told of it, what may be, and what must not.

A key stands beside its plan and was written from the definitions, not from what the tool printed. It is
plain text, one line each, `#` for comments:

    today 2026-02-10                     the day to judge by
    must RULE [on NAME [and NAME]] [LEVEL]     is told, and at that level
    must RULE at "WORDS OF THE LINE" [LEVEL]   is told, at a line of the plan that holds these words
    may RULE ...                         is allowed to be told
    must-not RULE ...                    is not told, waived or otherwise
    waived RULE ...                      is accepted by one of the plan's waivers
    nothing else                         what no `must` and no `may` names is not told

`on plan` is a finding on the plan as a whole. Without `on` and `at` a line is for the rule, wherever it is told.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import NamedTuple

import pytest

from habitatlint import files
from habitatlint.check import Report
from habitatlint.findings import Finding, Level, Policy
from habitatlint.outputs.sentences import message
from habitatlint.review import Review
from habitatlint.source import Source

ROOT = Path(__file__).parent.parent
PLANS = sorted((ROOT / "examples").glob("*.habitat"))
KEYED = [plan for plan in PLANS if plan.with_suffix(".key").exists()]
TODAY = date(2026, 2, 10)

_LINE = re.compile(
    r"(?P<what>must|may|must-not|waived) (?P<rule>[a-z][a-z0-9-]*)"
    r'(?: on (?P<names>[a-z0-9-]+(?: and [a-z0-9-]+)?)| at "(?P<words>(?:\\"|[^"])+)")?'
    r"(?: (?P<level>error|warning|note))?"
)


class Line(NamedTuple):
    """One line of a key: what is asked, of which rule, and where."""

    what: str
    rule: str
    names: frozenset[str] | None
    words: str
    level: Level | None
    text: str

    def fits(self, finding: Finding) -> bool:
        """Whether a finding is one that this line speaks of, its level apart."""
        if finding.rule.partition("/")[2] != self.rule:
            return False
        if self.names is not None:
            return self.names <= finding.names if self.names else not finding.names
        return not self.words or self.words in finding.span.source.line(finding.span.line)


class Key(NamedTuple):
    today: date
    lines: tuple[Line, ...]
    closed: bool


def read_key(text: str) -> Key:
    """A key from its text; raises ValueError for a line that is no key's."""
    today, lines, closed = TODAY, [], False
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.strip()
        if not line or line.startswith("#"):
            continue
        if line == "nothing else":
            closed = True
        elif line.startswith("today "):
            today = date.fromisoformat(line.removeprefix("today "))
        elif found := _LINE.fullmatch(line):
            names = found["names"]
            on = None if names is None else frozenset(names.split(" and ")) - {"plan"}
            level = Level[found["level"]] if found["level"] else None
            words = (found["words"] or "").replace('\\"', '"')
            lines.append(Line(found["what"], found["rule"], on, words, level, line))
        else:
            raise ValueError(f"line {number} of the key is none: {line}")
    return Key(today, tuple(lines), closed)


def faults(key: Key, report: Report) -> list[str]:
    """Where a report and a key differ, in words."""

    def told(findings: Iterable[Finding]) -> str:
        return "; ".join(f"line {finding.span.line}: {message(finding, report.units)}" for finding in findings)

    found: list[str] = []
    for line in key.lines:
        told_here = [finding for finding in report.findings if line.fits(finding)]
        waived_here = [finding for finding in report.waived if line.fits(finding)]
        if line.what == "must":
            if not told_here:
                found.append(f"`{line.text}`: not told")
            elif line.level is not None and not all(finding.level is line.level for finding in told_here):
                found.append(f"`{line.text}`: told as {', '.join(finding.level.name for finding in told_here)}")
        elif line.what == "must-not" and (told_here or waived_here):
            found.append(f"`{line.text}`: told: {told([*told_here, *waived_here])}")
        elif line.what == "waived" and (told_here or not waived_here):
            found.append(f"`{line.text}`: {'told: ' + told(told_here) if told_here else 'not found at all'}")
    if key.closed:
        allowed = [line for line in key.lines if line.what in ("must", "may")]
        for finding in report.findings:
            if not any(line.fits(finding) for line in allowed):
                names = " and ".join(sorted(finding.names)) or "plan"
                found.append(f"not in the key: {finding.rule} on {names}, {finding.level.name}; {told([finding])}")
        accepted = [line for line in key.lines if line.what == "waived"]
        for finding in report.waived:
            if not any(line.fits(finding) for line in accepted):
                found.append(f"not in the key, and waived: {finding.rule}; {told([finding])}")
    return found


def checked(review: Review, plan: Path, today: date) -> Report:
    return review.check(files.read_source(str(plan)), Policy(today))


def rules_named(key: Key) -> set[str]:
    return {line.rule for line in key.lines}


@pytest.mark.parametrize("plan", KEYED, ids=lambda plan: plan.stem)
def test_an_example_is_told_what_its_key_says(plan: Path, review: Review) -> None:
    key = read_key(plan.with_suffix(".key").read_text(encoding="utf-8"))
    assert key.closed, "a key says `nothing else`"
    assert faults(key, checked(review, plan, key.today)) == []


@pytest.mark.parametrize("plan", KEYED, ids=lambda plan: plan.stem)
def test_a_key_names_rules_that_there_are(plan: Path, review: Review) -> None:
    known = {rule.name.partition("/")[2] for rule in review.rulebook.rules}
    assert rules_named(read_key(plan.with_suffix(".key").read_text(encoding="utf-8"))) - known == set()


def test_the_lesson_plants_every_rule_that_ships(review: Review) -> None:
    key = read_key((ROOT / "examples" / "lesson-quarter.key").read_text(encoding="utf-8"))
    planted = {line.rule for line in key.lines if line.what == "must"}
    assert {rule.name.partition("/")[2] for rule in review.rulebook.rules} - planted == set()


@pytest.mark.parametrize("name", ["crews", "mixes"])
def test_a_shared_file_can_be_checked_by_itself(name: str, review: Review) -> None:
    assert checked(review, ROOT / "examples" / "shared" / f"{name}.habitat", TODAY).findings == ()


def test_a_key_finds_what_is_missing_and_what_is_too_much(review: Review) -> None:
    plan = ROOT / "examples" / "lesson-quarter.habitat"
    report = checked(review, plan, TODAY)
    wrong = read_key(
        "must live-hinge-near-entry on lane-hinges note\n"
        "must live-hinge-near-entry on lane-hinges-far\n"
        "must-not live-hinge-near-entry on lane-hinges\n"
        "waived live-hinge-near-entry on lane-hinges\n"
    )
    assert len(faults(wrong, report)) == 4
    assert len(faults(read_key("nothing else"), report)) == len(report.findings) + len(report.waived)
    right = read_key("must live-hinge-near-entry on lane-hinges and south-lane error\n")
    assert faults(right, report) == []


#: what is changed in the lesson's text, from what to what, and the line of a key that it makes true
NUDGES = [
    # near misses moved just over their limits
    ("stumps 600,8 560,8", "stumps 600,17 560,17", "must hinge-outside-entry on outside-hinges-far"),
    ("stumps 700,54.6 660,54.6", "stumps 700,53.9 660,53.9", "must live-hinge-near-entry on lane-hinges-far"),
    ("stumps 500,54.6 460,54.6", "stumps 500,53.9 460,53.9", "must treated-hinge-near-entry on treated-hinges-far"),
    ("fall N65W", "fall N59W", "must screen-across-entry on along-screen"),
    ("at 170,40", "at 170,36.5", "must tops-on-entry on lane-top-clear"),
    ("at 100,43.5", "at 100,44.1", "must stand-not-reached on lane-stand"),
    ("leave way-out", "leave south-lane", "must unused-entry on way-out"),
    ("line 820,330 790,215 605,215", "line 820,330 790,209 645,209", "must travel-into-food on bean-run"),
    ("line 820,330 790,215 605,215", "line 820,330 790,215 645,209", "must travel-into-food on bean-run"),
    ("kind mast", "kind plot", "must travel-into-food on oak-trail"),
    ("bed 140,280 ", "bed 140,280.1 ", 'must bed-outside-pocket at "bed 140,280.1"'),
    ("stumps 110,262 150,262", "stumps 109.9,262 150,262", "must row-outside-pocket on edge-row"),
    ("  toward N\n", "  toward E\n", "waived closed-v on opened-thicket"),
    ("stumps 145,600 145,615\n  count 2", "stumps 145,600 145,615\n  count 4", "must fall-toward-travel on few-thicket"),
    ("145.5,660 145.5,710", "144.5,660 144.5,710", "must pocket-unconnected on edge-thicket"),
    ("in patch-thicket\n  method hinge", "in patch-thicket\n  method leave", "must cut-pocket-without-cut on patch-thicket"),
    ('step 1 "Release the ready', 'step 9 "Release the ready', "must work-without-step on ready-light"),
    ("wood firewood\n  step 1", "wood firewood\n  step 3", "must hinge-before-release on ready-hinges"),
    ("line 375,585 180,585", "line 375,585 190,585", "must core-bedding on core-three"),
    ("date 2024-02-29", "date 2023-02-29", 'must bad-value at "date 2023-02-29"'),
    ("cut-height 3.5ft", "cut-height 4.1ft", "must cut-too-high on not-too-high"),
    ("species ironwood", "species ironwud", "must unknown-species on folk-row"),
    ("at 880.5,720", "at 881.1,720", "must off-property on line-rub"),
    ("then S 60 then W 40", "then S 60 then W 39.9", "must traverse-misclosure on walked-well"),
    ("from N 11% 7mph", "from N 13% 7mph", "must winds-do-not-add on november"),
    ("done 2026-02-09", "note \"none left\"", "must work-without-step on fuel"),
    ("mix stump-mix\n  by quarter-crew\n  step 8", "mix stump-mix\n  by quarter-crew\n  step 7", 'must step-without-work at "step 8"'),
    ('thickets" 2026-02-23..', 'thickets" 2026-02-22..', 'must dates-out-of-order at "step 3"'),
    ("until 2026-12-31 because \"the top", "until 2026-02-09 because \"the top", "must tops-on-entry on lane-top-agreed"),
    # faults put right
    ("stumps 700,22 660,22", "stumps 700,8 660,8", "must-not hinge-outside-entry"),
    ("stumps 800,44 760,44", "stumps 800,56.1 760,56.1", "must-not live-hinge-near-entry"),
    ("line 560,260 600,190 660,165", "line 560,260 600,190 600,100", "must-not travel-into-food"),
    ("stumps 190,262 235,262", "stumps 185,262 230,262", "must-not row-outside-pocket"),
    ("dbh 8in..13in", "dbh 8in..10in", "must-not hinge-too-big"),
    ("fall toward west-run", "fall along west-run", "must-not fall-toward-travel"),
    ("outline 40,770 140,770 140,820 40,820", "outline 53,770 153,770 153,820 53,820", "must-not pocket-unconnected"),
    ("wood firewood\n  step 4", "wood firewood\n  step 2", "must-not hinge-before-release on early-hinges"),
    ("outline around early-thicket 10", "outline 695,350 835,350 835,585 695,585", "must-not no-release"),
    ("line 465,440 495,440", "line 465,440 380,480 375,585", "must-not several-core-pockets"),
    ("90yd", "25yd", "must-not limit-out-of-range"),
]  # fmt: skip


@pytest.mark.parametrize(("before", "after", "line"), NUDGES, ids=[line for _, _, line in NUDGES])
def test_the_lessons_near_misses_are_near_and_its_faults_can_be_mended(
    before: str, after: str, line: str, review: Review
) -> None:
    plan = files.read_source(str(ROOT / "examples" / "lesson-quarter.habitat"))
    assert plan.text.count(before) == 1
    changed = Source(plan.name, plan.text.replace(before, after))
    assert faults(read_key(line), review.check(changed, Policy(TODAY))) == []


def test_a_line_that_is_no_keys_is_refused() -> None:
    with pytest.raises(ValueError, match="line 2"):
        read_key("nothing else\nmust be good\n")
