"""Verdicts as JSON, version 1: `{"version", "plans": [{"path", "findings": [...], "waived": [...]}]}`.

A finding has `rule` (pack/slug), `level`, `message`, `path` (that of an included file, where it stands
there), `safety`, `line`, `column`, `end-line`, `end-column` (from
1, in code points), `measured` and `wanted` (`value` in base units, `kind`, `text`; null where the
rule's filters decide), `place` (east and north in metres, or null), `evidence`, `source`, `because`,
`related`, `mends` with their edits, and under `waived` the waiver's reason. Held to a baseline, a plan has the
findings that the baseline holds under `known`, and the whole a `baseline`: its `path`, and how many of its findings are
`gone`. Where rules are not as the pins have them that they are held to, a plan says so under `since-pins`: the names of
those `new`, `changed` and `gone`. Paths and words of a plan stand as they are, but for what would steer a terminal,
which is escaped.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from habitatlint.findings import Fact, Finding
from habitatlint.outputs import Style
from habitatlint.outputs.sentences import json_text, measured_and_wanted, message, worded
from habitatlint.source import Span
from habitatlint.verdict import Verdict

if TYPE_CHECKING:  # few are held to pins
    from habitatlint.rulebook.pinning import Since

VERSION = 1


def render(verdicts: Sequence[Verdict], style: Style) -> str:
    run = style.run
    plans = [
        {
            "path": verdict.source.name,
            "findings": [_finding(finding, verdict.units) for finding in verdict.findings],
            "waived": [_finding(finding, verdict.units) for finding in verdict.waived],
            **({"since-pins": _since(verdict.since)} if verdict.since else {}),
            **({"known": [_finding(finding, verdict.units) for finding in verdict.known]} if run.baseline else {}),
        }
        for verdict in verdicts
    ]
    held_to = {"baseline": {"path": run.baseline, "gone": run.gone}} if run.baseline else {}
    return json_text({"version": VERSION, **held_to, "plans": plans})


def _since(since: Since) -> dict[str, list[str]]:
    return {"new": list(since.new), "changed": list(since.changed), "gone": list(since.gone)}


def _place(span: Span) -> dict[str, Any]:
    line, column = span.source.line_column(span.start)
    end_line, end_column = span.source.line_column(span.end)
    return {"line": line, "column": column, "end-line": end_line, "end-column": end_column}


def _fact(fact: Fact | None, text: str) -> dict[str, Any] | None:
    if fact is None:
        return None
    value = fact.value if isinstance(fact.value, bool | int | float | str) else str(fact.value)
    if isinstance(value, float):
        value = round(value, 6)
    return {"value": value, "kind": fact.kind, "text": text, "estimated": fact.estimated}


def _finding(finding: Finding, units: str) -> dict[str, Any]:
    measured, wanted = measured_and_wanted(finding, units)
    return {
        "rule": finding.rule,
        "level": finding.level.name,
        "message": message(finding, units),
        "path": finding.span.source.name,
        **_place(finding.span),
        "measured": _fact(finding.measured, measured),
        "wanted": _fact(finding.wanted, wanted),
        "place": None if finding.place is None else [round(part, 3) for part in finding.place],
        "evidence": finding.evidence,
        "source": finding.source,
        "because": worded(finding.because, finding, units),
        "safety": finding.safety,
        "related": [
            {"path": related.span.source.name, **_place(related.span), "what": related.what}
            for related in finding.related
        ],
        "mends": [
            {
                "say": worded(mend.say, finding, units),
                "proof": mend.proof,
                "edits": [{**_place(edit.span), "text": edit.text} for edit in mend.edits],
            }
            for mend in finding.mends
        ],
        **({"waived": finding.waived} if finding.waived else {}),
    }
