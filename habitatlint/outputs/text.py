"""Findings laid out for a person: the place, the plan's own words, then measured, wanted, because, mend."""

from __future__ import annotations

from collections.abc import Sequence

from habitatlint.check import Report
from habitatlint.findings import Fact, Finding, Level
from habitatlint.language.blocks import Path, Pocket, Row
from habitatlint.outputs import Style
from habitatlint.outputs.gnu import line as first_line
from habitatlint.outputs.sentences import clean, message, related_line, rows, shown, width, wrapped
from habitatlint.rulebook.pinning import Since
from habitatlint.source import Span

#: longest stretch of a plan's line that is shown
LONGEST_LINE = 160
#: where the text of the four kinds of line begins, and how wide the page is
INDENT, WIDTH = 14, 110

_COLOURS = {Level.error: "31", Level.warning: "33", Level.note: "36"}


def render(reports: Sequence[Report], style: Style) -> str:
    blocks = [block(finding, report, style) for report in reports for finding in report.findings]
    page = "\n".join(blocks)
    read = overview(reports[0]) if len(reports) == 1 else ""
    hushed = "".join(f"{line}\n" for report in reports for line in safety(report))
    hushed += "".join(f"{line}\n" for line in dict.fromkeys(line for one in reports for line in since_pins(one.since)))
    gone = f"{clean(style.run.baseline)}: note: {style.run.stale}\n" if style.run.stale else ""
    return (f"{page}\n" if page else "") + read + hushed + gone + summary(reports, style)


def safety(report: Report) -> list[str]:
    """What is kept quiet about people's safety: rules switched off or lowered, findings waived or in a baseline."""
    slugs = [rule.slug for rule in report.silenced]
    lines = [f"people's safety, switched off or lowered: {', '.join(slugs)}"] if slugs else []
    waived = [finding for finding in report.waived if finding.safety]
    lines += [f"people's safety, waived: {message(one, report.units)} ({clean(one.waived)})" for one in waived]
    known = [finding for finding in report.known if finding.safety]
    lines += [f"people's safety, in the baseline: {message(one, report.units)}" for one in known]
    return [f"{clean(report.source.name)}: {line}" for line in lines]


def since_pins(since: Since) -> list[str]:
    """What has come, changed or gone of the rules since they were pinned."""
    kinds = (
        (since.new, "new since the pins, and judged as notes at most"),
        (since.changed, "changed since the pins"),
        (since.gone, "pinned, and no longer in force"),
    )
    lines = [f"{_number(len(names), 'rule')} {what}: {_few(names)}" for names, what in kinds if names]
    return [f"{clean(line)}; `habitatlint pack pin` pins them as they are" for line in lines]


def _few(names: Sequence[str], most: int = 6) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def overview(report: Report) -> str:
    """What was read of a plan, so that a slip in a unit or a corner shows, and what no rule judges."""
    scene, units = report.scene, report.units
    parts = []
    if scene.property_ is not None:
        parts.append(shown(Fact(scene.property_.area, "area"), units))
    elif scene.plan.head is not None:
        parts.append("no boundary, so that nothing is judged by the property line")
    for noun, kind in (("pocket", Pocket), ("path", Path), ("row", Row)):
        blocks = scene.plan.of(kind)
        if blocks:
            lengths = [shape.length for block in blocks if (shape := scene.shape_of(block)) is not None]
            size = f" ({shown(Fact(sum(lengths), 'length'), units, 0)})" if noun == "path" else ""
            parts.append(_number(len(blocks), noun) + size)
    if len(scene.trees):
        parts.append(_number(len(scene.trees), "tree"))
    lines = [f"read: {', '.join(parts)}"] if parts else []
    if report.unjudged:
        lines.append(f"no rule in force looks at: {', '.join(report.unjudged)}")
    return "".join(f"{line}\n" for line in lines)


def block(finding: Finding, report: Report, style: Style) -> str:
    """One finding, closed by a line end."""
    head = first_line(finding, report.units)
    if style.colour:
        level = finding.level.name
        head = head.replace(f" {level}: ", f" \x1b[1;{_COLOURS[finding.level]}m{level}\x1b[0m: ", 1)
    lines = [head, *excerpt(finding.span)]
    others = ", ".join(related_line(related, finding.span.source.name) for related in finding.related)
    for word, told in rows(finding, report.units, others):
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


def summary(reports: Sequence[Report], style: Style) -> str:
    """Files, findings by level, rules run, time."""
    counts = dict.fromkeys((Level.error, Level.warning, Level.note), 0)
    for report in reports:
        for finding in report.findings:
            counts[finding.level] += 1
    waived = sum(len(report.waived) for report in reports)
    rules = max((len(report.rules) for report in reports), default=0)
    found = ", ".join(_number(count, level.name) for level, count in counts.items() if count)
    found = found or ("nothing new" if style.run.baseline else "nothing found")
    parts = [_number(len(reports), "plan"), found]
    if waived:
        parts.append(f"{waived} waived")
    if style.run.baseline:
        parts.append(f"{sum(len(report.known) for report in reports)} in the baseline")
    parts.append(_number(rules, "rule"))
    if style.seconds is not None:
        parts.append(f"{style.seconds:.2f} s")
    return ", ".join(parts) + "\n"


def _number(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
