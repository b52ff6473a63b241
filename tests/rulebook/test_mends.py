"""Mends of the shipped rules, tried on the rules' own broken examples."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from habitatlint.check import Report
from habitatlint.cli.assembly import review as assembled
from habitatlint.findings import Policy
from habitatlint.mending import mended, proven
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import Example, Rule
from habitatlint.source import Source

ALL = assembled()
RULES = [rule for rule in ALL.rulebook.rules if any(remedy.actions for remedy in rule.remedies)]


def alone(rule: Rule) -> Review:
    """A review that judges by one rule and the record: what other rules say of a fragment is not asked here."""
    packs = tuple(
        pack._replace(rules=tuple(one for one in pack.rules if one.name == rule.name or pack.name == "record"))
        for pack in ALL.rulebook.packs
    )
    return replace(ALL, rulebook=Rulebook(packs))


def reports(rule: Rule, review: Review) -> list[tuple[Example, Report, Policy]]:
    found = []
    for example in rule.examples:
        if example.kind == "broken" and not example.settings:
            policy = Policy(example.today or date(2026, 2, 10), fragment=True)
            found.append((example, review.check(Source("example.habitat", example.text), policy), policy))
    return found


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.slug)
def test_every_mend_with_edits_clears_a_broken_example(rule: Rule) -> None:
    review = alone(rule)
    cleared = set()
    for _, report, policy in reports(rule, review):
        for finding in report.findings:
            if finding.rule == rule.name:
                for mend in review.mends(report, finding, policy):
                    if mend.proof == "clears":
                        cleared.add(mend.say)
                    assert mend.proof == "clears" or mend.proof == "advice" or mend.why, mend
    assert cleared == {remedy.say for remedy in rule.remedies if remedy.actions}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.slug)
def test_mending_a_broken_example_leaves_it_clean_or_says_why(rule: Rule) -> None:
    review = alone(rule)
    for example, report, policy in reports(rule, review):
        after = mended(report, review.judges(policy))
        for finding in after.findings:
            if finding.rule == rule.name:
                mends = proven(after, finding, review.judges(policy))
                assert all(mend.why or mend.proof == "advice" for mend in mends), example.first_line
        again = mended(after, review.judges(policy))
        assert again.source.text == after.source.text
