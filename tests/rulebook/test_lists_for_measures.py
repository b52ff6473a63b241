"""A rule hands a `list` to a measure, and a report stands on the evidence of the list its measure was handed."""

from __future__ import annotations

from datetime import date

from habitatlint import files
from habitatlint.cli.assembly import review as assembled
from habitatlint.findings import Finding, Policy
from habitatlint.review import Review, pack_reader
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import Pack, rule_grammar
from habitatlint.source import Source

SHIPPED = assembled()
READ = pack_reader(SHIPPED.plan_grammar, lambda: files.grammar("rules", rule_grammar))

RULE = """\
rule gear
  title "Gear"
  because "it is a test"
  list first = hard-hat boots regulation "a rule of law"
  list second = whistle common-practice
  each k in kits
  measure one = lacking(k, first)
  measure two = lacking(k, {second})
  report error when one > 0
    say "no {{one.what}}"
  report warning when two > 0
    say "no {{two.what}}"
"""
PLAN = """\
plan "Small"
crew ridge
  people 2
  gear {gear}
row first
  method hinge
  stumps 60,60 140,60
  spacing 20
  fall N
  by ridge
"""


def pack_of(second: str = "second") -> Pack:
    return READ("test", [Source("test/gear.rules", RULE.format(second=second))])


def found(gear: str) -> list[Finding]:
    pack = pack_of()
    assert pack.slips == ()
    review = Review(SHIPPED.plan_grammar, Rulebook((pack,)))
    return list(review.check(Source("small.habitat", PLAN.format(gear=gear)), Policy(date(2026, 2, 10))).findings)


def test_a_measure_takes_a_list() -> None:
    (finding,) = found("boots")
    assert finding.facts["one.what"].value == "hard-hat"
    assert found("boots hard-hat whistle") == []


def test_a_report_stands_on_the_list_that_its_measure_was_handed() -> None:
    (law,) = found("boots whistle")
    assert (law.evidence, law.source) == ("regulation", "a rule of law")
    (usual,) = found("boots hard-hat")
    assert (usual.evidence, usual.source) == ("common-practice", "")


def test_a_list_that_is_misspelt_is_told_with_an_offer() -> None:
    slip, *_ = pack_of("secont").slips
    assert slip.kind == "unknown-name" and "second" in slip.hint
