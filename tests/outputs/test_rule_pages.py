"""Rule pages: what they offer to write in a plan can be written there."""

from __future__ import annotations

import re
from collections.abc import Callable

from habitatlint.check import Report
from habitatlint.outputs.rules import page
from habitatlint.review import Review


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
