"""`rules`: the rules in force as one page, and where a rule is that is not in force."""

from __future__ import annotations

import contextlib
import os
import re
from dataclasses import replace

from habitatlint import files
from habitatlint.check import Report
from habitatlint.findings import Finding
from habitatlint.outputs.in_force import Said
from habitatlint.outputs.rules_page import Assets, rules_page
from habitatlint.outputs.sentences import clean
from habitatlint.packs.examples import policy_of
from habitatlint.review import Review
from habitatlint.rulebook.rules import Example, Rule
from habitatlint.source import IncludeTrouble, Source

#: a plan's line that takes in a pack, by its path or by the name of an installed one
_USE = re.compile(r'^use[ \t]+pack[ \t]+(?:"([^"\n]+)"|([a-z][a-z0-9-]*))', re.MULTILINE)


def write_page(path: str, checker: Review, said: Said) -> str:
    """Writes the page of the rules in force to a file; what is to be said of it. `said` is what settings say of the
    rules."""
    shown = clean(files.shown(path))
    if os.path.splitext(path)[1].lower() not in (".html", ".htm"):
        raise files.FileTrouble(f"{shown}: the rules are written as a page; end the file in .html")
    files.write_files({path: page_of(checker, said).encode()})
    return f"{shown}: {len(checker.rulebook.rules)} rules"


def page_of(checker: Review, said: Said = Said()) -> str:
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

    return rules_page(book, judge, Assets(paper, style, regular, bold), said)


def used_by_a_plan(name: str, checker: Review) -> str:
    """Where a rule stands that is of a pack which only plans take in, of those here and below, and how to ask for it;
    "" where none has it."""
    try:
        paths = files.plans_in(os.curdir)
    except files.FileTrouble:  # no plans here
        return ""
    for path in paths:
        with contextlib.suppress(files.FileTrouble):
            source = files.read_source(path)
            for use in _USE.finditer(source.text):
                with contextlib.suppress(IncludeTrouble):
                    pack = checker.find_pack(use[1] or use[2], source)
                    if any(name in (rule.slug, rule.name) for rule in pack.rules):
                        line = source.text.count("\n", 0, use.start()) + 1
                        plan = clean(source.name)
                        return (
                            f" here; pack {clean(pack.name)} has it, which {plan}:{line} uses: ask for it at a line "
                            f"of that plan, `habitatlint rules {clean(name)} --at {plan}:LINE`, or name the pack in "
                            "`packs` of the settings"
                        )
    return ""
