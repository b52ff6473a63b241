"""Mends of the shipped rules, tried on the rules' own broken examples."""

from __future__ import annotations

from collections import Counter

import pytest

from habitatlint.check import Report
from habitatlint.cli.assembly import review as assembled
from habitatlint.findings import Level, Policy
from habitatlint.mending import mended, proven
from habitatlint.packs.examples import policy_of
from habitatlint.rulebook.rules import Example, Rule
from habitatlint.source import Source

ALL = assembled()
RULES = [rule for rule in ALL.rulebook.rules if any(remedy.actions for remedy in rule.remedies)]


def alone(rule: Rule, policy: Policy) -> Policy:
    """A policy by which one rule and the record judge: what other rules say of a fragment is not asked here."""
    others = (one.name for one in ALL.rulebook.rules if one.name != rule.name and one.pack != "record")
    return policy._replace(levels=dict.fromkeys(others, Level.off))


def reports(rule: Rule) -> list[tuple[Example, Report, Policy]]:
    found = []
    for example in rule.examples:
        if example.kind == "broken":
            policy = alone(rule, policy_of(rule, example))
            found.append((example, ALL.check(Source("example.habitat", example.text), policy), policy))
    return found


def counted(report: Report, least: Level, rule: Rule) -> Counter[tuple[str, frozenset[str]]]:
    """What is told at a level or above; of a mended slip only other slips, for what it hid is judged once it is read."""
    return Counter(
        (finding.rule, finding.names)
        for finding in report.findings
        if finding.level >= least and (rule.pack != "record" or finding.rule.startswith("record/"))
    )


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.slug)
def test_every_mend_with_edits_clears_a_broken_example(rule: Rule) -> None:
    cleared = set()
    for _, report, policy in reports(rule):
        for finding in report.findings:
            if finding.rule == rule.name:
                for mend in ALL.mends(report, finding, policy):
                    if mend.proof == "clears":
                        cleared.add(mend.say)
                    assert mend.proof == "clears" or mend.proof == "advice" or mend.why, mend
    assert cleared == {remedy.say for remedy in rule.remedies if remedy.actions}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.slug)
def test_mending_a_broken_example_leaves_it_clean_or_the_example_says_why_not(rule: Rule) -> None:
    for example, report, policy in reports(rule):
        where = f"{rule.placed.source.name}:{example.span.line}"
        own = [finding for finding in report.findings if finding.rule == rule.name]
        assert own, where
        after = mended(report, ALL.judges(policy))
        stay = [finding for finding in after.findings if finding.rule == rule.name]
        if example.left:
            assert stay, f"{where}: it is mended, and yet it says why not"
        else:
            assert not stay, f"{where}: it is not mended, and does not say why (`broken left`)"
        for finding in stay:
            for mend in proven(after, finding, ALL.judges(policy)):
                assert mend.proof == "advice" or (mend.proof == "withheld" and mend.why), f"{where}: {mend}"
        least = min(finding.level for finding in own)
        fresh = counted(after, least, rule) - counted(report, least, rule)
        assert not fresh, f"{where}: mending it brings {fresh}"
        again = mended(after, ALL.judges(policy))
        assert again.source.text == after.source.text, where


def test_only_a_rule_whose_mends_edit_says_of_an_example_why_it_is_left() -> None:
    others = [rule for rule in ALL.rulebook.rules if rule not in RULES]
    assert not [rule.name for rule in others for example in rule.examples if example.left]


def test_few_broken_examples_are_left_to_a_person() -> None:
    broken = [example for rule in RULES for example in rule.examples if example.kind == "broken"]
    left = [example for example in broken if example.left]
    assert len(left) * 8 < len(broken), f"{len(left)} of {len(broken)}"
