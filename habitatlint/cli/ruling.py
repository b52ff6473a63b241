"""`rules --page`: the rules in force as one page."""

from __future__ import annotations

import os
from dataclasses import replace

from habitatlint import files
from habitatlint.check import Report
from habitatlint.findings import Finding
from habitatlint.outputs.rules_page import Assets, rules_page
from habitatlint.outputs.sentences import clean
from habitatlint.packs.examples import policy_of
from habitatlint.review import Review
from habitatlint.rulebook.rules import Example, Rule
from habitatlint.source import Source


def write_page(path: str, checker: Review) -> str:
    """Writes the page of the rules in force to a file; what is to be said of it."""
    shown = clean(files.shown(path))
    if os.path.splitext(path)[1].lower() not in (".html", ".htm"):
        raise files.FileTrouble(f"{shown}: the rules are written as a page; end the file in .html")
    files.write_files({path: page_of(checker).encode()})
    return f"{shown}: {len(checker.rulebook.rules)} rules"


def page_of(checker: Review) -> str:
    """The page, each example judged by its rule."""
    names = ("fonts/AtkinsonHyperlegibleNext-Regular.woff2", "fonts/AtkinsonHyperlegibleNext-Bold.woff2")
    paper, style = (files.asset(name).decode() for name in ("paper.css", "rules.css"))
    regular, bold = (files.asset(name) for name in names)
    book = checker.rulebook
    narrow: dict[str, Review] = {}

    def judge(rule: Rule, example: Example) -> tuple[Report, list[Finding]]:
        if rule.name not in narrow:
            narrow[rule.name] = replace(checker, rulebook=replace(book.only(rule.name), pins=None))
        report = narrow[rule.name].check(Source("example.habitat", example.text), policy_of(rule, example))
        return report, [finding for finding in report.findings if finding.rule == rule.name]

    return rules_page(book, judge, Assets(paper, style, regular, bold))
