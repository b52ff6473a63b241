"""On whose word the figures of a paper stand: published sources of the rules that judged, and what has none."""

from __future__ import annotations

from habitatlint.check import Report
from habitatlint.findings import Level
from habitatlint.outputs.papers.paper import Column, Section, Table, Words

#: what is computed with, beside the rules' limits
_COMPUTED = (
    ("Height and crown by diameter, where the plan gives none", "USDA Forest Service, Forest Vegetation Simulator: "
     "height and crown-width equations"),
    ("How scent widens with distance", "Briggs (1973), open country; used below its stated range and over woods. No "
     "distance at which deer smell people has been published"),
    ("Basal area", "U. Missouri, Forestry Functions: 0.005454154 D²"),
    ("Board feet", "Purdue Extension FNR-191 (Doyle); U. Missouri (Scribner); Michigan Compiled Laws 290.401 "
     "(International 1/4-inch)"),
    ("Cord", "NIST Handbook 130, 2.4.1"),
)  # fmt: skip


def sources(report: Report) -> Section:
    """The published sources behind the limits of the rules that judged, and how many limits have none."""
    found: dict[str, list[str]] = {}
    without, limits = 0, 0
    for rule in report.rules:
        on_word = [(one.evidence, one.source) for one in rule.limits.values()]
        on_word += [(one.evidence, one.source) for one in rule.lists.values()]
        for evidence, source in on_word:
            limits += 1
            if evidence == "common-practice" or not source:
                without += 1
            else:
                found.setdefault(f"{source} ({evidence})", []).append(rule.title)
    rows = tuple((source, "; ".join(dict.fromkeys(titles))) for source, titles in sorted(found.items()))
    told = (
        f"{len(report.rules)} rules judged this plan. Of their {limits} limits and lists {limits - without} stand on "
        f"the sources below, the other {without} on common practice: nobody has published a figure."
    )
    whence = Table((Column("Source", share=3), Column("Behind", share=2)), rows)
    by = Table((Column("Computed", share=2), Column("By", share=3)), _COMPUTED)
    loud = any(one.level >= Level.warning for one in report.findings)
    last = "`habitatlint rules NAME` shows a rule whole, with its reason, its limits and plans that break and keep it."
    return Section("sources", "Sources", (Words(told), whence, by, *((Words(last),) if loud else ())))
