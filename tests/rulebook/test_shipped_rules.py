"""Every rule that ships: its pack is sound, and its examples show what they should."""

from __future__ import annotations

import pytest

from habitatlint.cli.assembly import review as assembled
from habitatlint.outputs.sentences import clean
from habitatlint.packs.examples import prove
from habitatlint.review import Review
from habitatlint.rulebook.rules import Pack, Rule

REVIEW = assembled()
RULES = REVIEW.rulebook.rules


@pytest.mark.parametrize("pack", REVIEW.rulebook.packs, ids=lambda pack: pack.name)
def test_a_shipped_pack_has_no_slips(pack: Pack) -> None:
    slips = [f"{s.span.source.name}:{s.span.line}: {s.kind} {s.found!r}: {s.why}{s.hint}" for s in pack.slips]
    assert slips == []
    assert pack.version and pack.author and pack.licence and pack.requires


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_the_examples_of_a_rule_show_what_they_should(rule: Rule, review: Review) -> None:
    faults = [f"{rule.placed.source.name}:{fault.line}: {fault.why}" for fault in prove(rule, review)]
    assert faults == []


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_a_rule_is_told_in_clean_words(rule: Rule) -> None:
    for text in (rule.title, rule.because, *(report.say for report in rule.reports)):
        assert text == clean(text) and text.strip() == text != ""
