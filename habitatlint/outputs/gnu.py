"""One line a finding in the GNU error form, closed by the rule in parentheses.

Every line has a place that is wrong. What is told of the run as a whole, such as rules that differ from their pins, is
for the other forms; a baseline that is stale is itself such a place.
"""

from __future__ import annotations

from collections.abc import Sequence

from habitatlint.findings import Finding
from habitatlint.outputs import Style
from habitatlint.outputs.sentences import clean, message
from habitatlint.verdict import Verdict


def render(verdicts: Sequence[Verdict], style: Style) -> str:
    lines = [f"{line(finding, verdict.units)} ({finding.rule})" for verdict in verdicts for finding in verdict.findings]
    if style.run.stale:
        lines.append(f"{clean(style.run.baseline)}:1:1: note: {style.run.stale} (baseline/stale)")
    return "".join(f"{one}\n" for one in lines)


def line(finding: Finding, units: str) -> str:
    """`path:line:column: level: message`."""
    span = finding.span
    return f"{clean(span.source.name)}:{span.line}:{span.column}: {finding.level.name}: {message(finding, units)}"
