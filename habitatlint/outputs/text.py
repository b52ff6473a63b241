"""Findings laid out for a person: the place, the plan's own words, then measured, wanted, because, mend."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from habitatlint.findings import Fact, Finding, Level
from habitatlint.outputs import Style
from habitatlint.outputs.gnu import line as first_line
from habitatlint.outputs.sentences import clean, message, related_line, rows, shown, width, wrapped
from habitatlint.source import Span
from habitatlint.verdict import Verdict

if TYPE_CHECKING:  # few are held to pins
    from habitatlint.rulebook.pinning import Since

#: longest stretch of a plan's line that is shown
LONGEST_LINE = 160
#: where the text of the four kinds of line begins, and how wide the page is
INDENT, WIDTH = 14, 110

_COLOURS = {Level.error: "31", Level.warning: "33", Level.note: "36"}


def render(verdicts: Sequence[Verdict], style: Style) -> str:
    blocks = [block(finding, verdict, style) for verdict in verdicts for finding in verdict.findings]
    page = "\n".join(blocks)
    read = overview(verdicts[0]) if len(verdicts) == 1 else ""
    hushed = "".join(f"{line}\n" for verdict in verdicts for line in safety(verdict))
    hushed += "".join(f"{line}\n" for line in since_pins(one.since for one in verdicts if one.since))
    gone = f"{clean(style.run.baseline)}: note: {style.run.stale}\n" if style.run.stale else ""
    return (f"{page}\n" if page else "") + read + hushed + gone + summary(verdicts, style)


def safety(verdict: Verdict) -> list[str]:
    """What is kept quiet about people's safety: rules switched off or lowered, findings waived or in a baseline."""
    lines = [f"people's safety, switched off or lowered: {', '.join(verdict.silenced)}"] if verdict.silenced else []
    waived = [finding for finding in verdict.waived if finding.safety]
    lines += [f"people's safety, waived: {message(one, verdict.units)} ({clean(one.waived)})" for one in waived]
    known = [finding for finding in verdict.known if finding.safety]
    lines += [f"people's safety, in the baseline: {message(one, verdict.units)}" for one in known]
    return [f"{clean(verdict.source.name)}: {line}" for line in lines]


def since_pins(differing: Iterable[Since]) -> list[str]:
    """What has come, changed or gone of the rules since they were pinned, each line once."""
    lines = []
    for since in differing:
        kinds = (
            (since.new, "new since the pins, and judged as notes at most"),
            (since.changed, "changed since the pins"),
            (since.gone, "pinned, and no longer in force"),
        )
        lines += [f"{_number(len(names), 'rule')} {what}: {_few(names)}" for names, what in kinds if names]
    return [f"{clean(line)}; `habitatlint pack pin` pins them as they are" for line in dict.fromkeys(lines)]


def _few(names: Sequence[str], most: int = 6) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def overview(verdict: Verdict) -> str:
    """What was read of a plan, so that a slip in a unit or a corner shows, and what no rule judges."""
    units, extent = verdict.units, verdict.extent
    parts = []
    if extent.area is not None:
        parts.append(shown(extent.area, units))
    elif verdict.headed:
        parts.append("no boundary, so that nothing is judged by the property line")
    for noun, count, length in extent.counts:
        size = f" ({shown(Fact(length, 'length'), units, 0)})" if length is not None else ""
        parts.append(_number(count, noun) + size)
    lines = [f"read: {', '.join(parts)}"] if parts else []
    if verdict.unjudged:
        lines.append(f"no rule in force looks at: {', '.join(verdict.unjudged)}")
    return "".join(f"{line}\n" for line in lines)


def block(finding: Finding, verdict: Verdict, style: Style) -> str:
    """One finding, closed by a line end."""
    head = first_line(finding, verdict.units)
    if style.colour:
        level = finding.level.name
        head = head.replace(f" {level}: ", f" \x1b[1;{_COLOURS[finding.level]}m{level}\x1b[0m: ", 1)
    lines = [head, *excerpt(finding.span)]
    others = ", ".join(related_line(related, finding.span.source.name) for related in finding.related)
    for word, told in rows(finding, verdict.units, others):
        lines += wrapped(told, f"    {word:<10}", INDENT, WIDTH)
    return "\n".join(lines) + "\n"


def excerpt(span: Span) -> list[str]:
    """The text's own line, and carets under what is marked; the line's tabs become single blanks."""
    source = span.source
    number, column = source.line_column(span.start)
    text = source.line(number)
    if not text.strip():
        return []
    end = min(span.end, span.start - column + 1 + len(text))
    start = max(0, column - 1 - LONGEST_LINE // 2) if len(text) > LONGEST_LINE else 0
    shown = clean(text.replace("\t", " "))[start : start + LONGEST_LINE]
    before = width(shown[: column - 1 - start])
    marked = width(shown[column - 1 - start : column - 1 - start + max(1, end - span.start)])
    cut = len(shown) - len(shown.lstrip())
    body = shown[cut:]
    return [f"    {body}", f"    {' ' * (before - cut)}{'^' * max(1, marked)}"]


def summary(verdicts: Sequence[Verdict], style: Style) -> str:
    """Files, findings by level, rules run, time."""
    counts = dict.fromkeys((Level.error, Level.warning, Level.note), 0)
    for verdict in verdicts:
        for finding in verdict.findings:
            counts[finding.level] += 1
    waived = sum(len(verdict.waived) for verdict in verdicts)
    rules = max((len(verdict.rules) for verdict in verdicts), default=0)
    found = ", ".join(_number(count, level.name) for level, count in counts.items() if count)
    found = found or ("nothing new" if style.run.baseline else "nothing found")
    parts = [_number(len(verdicts), "plan"), found]
    if waived:
        parts.append(f"{waived} waived")
    if style.run.baseline:
        parts.append(f"{sum(len(verdict.known) for verdict in verdicts)} in the baseline")
    parts.append(_number(rules, "rule"))
    if style.seconds is not None:
        parts.append(f"{style.seconds:.2f} s")
    return ", ".join(parts) + "\n"


def _number(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
