"""Rule pages: what they offer to write in a plan can be written there."""

from __future__ import annotations

import re
from collections.abc import Callable

from habitatlint import files
from habitatlint.check import Report
from habitatlint.outputs.rules import page
from habitatlint.review import Review, pack_reader
from habitatlint.rulebook.rules import rule_grammar
from habitatlint.source import Source


def test_the_line_that_a_page_offers_to_set_a_limit_is_one_of_the_plan_language(
    review: Review, report_of: Callable[..., Report]
) -> None:
    lines = []
    for rule in review.rulebook.rules:
        shown = " ".join(page(rule, review.rulebook).split())
        lines += re.findall(r"in a plan: `(set [^`]+)`", shown)
    assert any(" days" in line for line in lines)
    slips = [finding.span.source.line(finding.span.line) for finding in report_of("\n".join(lines) + "\n").findings]
    assert slips == []


RULE = """rule narrow
  title "Narrow"
  each k in pockets
  report note say "{k}"
  mark k.outline
  because "of this"
  mend "leave it uncut"
    set k.method leave
  mend "or draw it wider"
broken left "a person decides"
  pocket one
broken
  pocket two
"""


def test_a_page_tells_which_mends_edit_the_plan_and_which_examples_no_edit_mends(review: Review) -> None:
    read = pack_reader(review.plan_grammar, lambda: files.grammar("rules", rule_grammar))
    (rule,) = read("own", [Source("own.rules", RULE)]).rules
    shown = page(rule, review.rulebook)
    assert "leave it uncut (edits the plan)" in shown
    assert "or draw it wider (by hand)" in shown
    headings = [line for line in shown.splitlines() if line.startswith("A plan")]
    assert headings == ["A plan that breaks it, and that no edit mends: a person decides", "A plan that breaks it:"]
