"""Findings on paper: what is left to decide, gravest first, and what was accepted and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from habitatlint.check import Report
from habitatlint.findings import Finding
from habitatlint.outputs.papers.paper import Column, Part, Section, Table, Words
from habitatlint.outputs.sentences import at, measured_line, message, rule_and_evidence, wanted_line, worded
from habitatlint.work.worth import growing


def findings_left(report: Report) -> Section:
    """What was found and is not waived, gravest first; or that nothing was."""
    ordered = sorted(report.findings, key=lambda one: -one.level)
    parts: tuple[Part, ...] = (_table(ordered, report),) if ordered else (
        Words(f"Nothing was found by {len(report.rules)} rules."),
    )  # fmt: skip
    return Section("findings", "Findings left", (*parts, *_kept_later(report)))


def _kept_later(report: Report) -> Iterator[Part]:
    """A design counts what is planted as grown: from when that is so."""
    years = growing(report) if report.scene.design else {}
    if years:
        told = ", ".join(f"{one.label} from {year} on" for year, some in years.items() for one in some)
        yield Words(
            f"This is judged with what is planted as high as it is to be: {told}. What it hides lies open until then, "
            "and whatever rests on it is kept only from then on."
        )


def waivers(report: Report) -> Section | None:
    """What was found and accepted in the open, with the plan's own reasons; None where nothing was."""
    if not report.waived:
        return None
    columns = (Column("Level"), Column("What was found", share=3), Column("Accepted because", share=2))
    rows = tuple((one.level.name, _told(one, report), one.waived) for one in report.waived)
    return Section("waivers", "Findings accepted, and why", (Table(columns, rows),))


def _table(findings: Sequence[Finding], report: Report) -> Table:
    columns = (
        Column("Level"),
        Column("Found", share=3),
        Column("Measured and wanted", share=3),
        Column("Why", share=4),
    )
    return Table(columns, tuple(_row(one, report) for one in findings))


def _row(one: Finding, report: Report) -> tuple[str, ...]:
    wanted = wanted_line(one, report.units)
    measured = measured_line(one, report.units)
    told = "; wanted ".join(part for part in (measured, wanted) if part)
    because = worded(one.because, one, report.units)
    why = because if wanted else f"{because} ({rule_and_evidence(one)})"
    line = f"line {one.span.line}"
    if one.span.source.name != report.source.name:
        line = f"{one.span.source.name}:{one.span.line}"
    return one.level.name, f"{message(one, report.units)} ({line})", told, why


def _told(one: Finding, report: Report) -> str:
    place = f" (at {at(one.place, report.units)})" if one.place is not None else ""
    return f"{message(one, report.units)}{place}"
