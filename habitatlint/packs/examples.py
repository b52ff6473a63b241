"""Proves the examples of a rule: each broken plan breaks it where its carets say, each kept one keeps it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

from habitatlint.findings import Fact, Finding, Policy
from habitatlint.language.plan import LAYOUT
from habitatlint.outputs.sentences import measured_and_wanted, message
from habitatlint.reading.blocks import read
from habitatlint.review import Review
from habitatlint.rulebook.rules import Caret, Example, Rule
from habitatlint.source import Source

#: the day that examples are judged by where they name none
EXAMPLE_DAY = date(2026, 2, 10)


class Fault(NamedTuple):
    """An example that does not show what it should: where in the rule file, and why."""

    line: int
    why: str


def prove(rule: Rule, review: Review) -> list[Fault]:
    """What is wrong with a rule's examples; nothing when every one shows what it should.

    A rule needs at least one broken and one kept example. The mended text is that of the broken
    plan with the blocks of `mended` in the place of those of their name.
    """
    faults = []
    kinds = [example.kind for example in rule.examples]
    for kind in ("broken", "kept"):
        if kind not in kinds:
            faults.append(Fault(rule.span().line, f"rule {rule.slug} has no `{kind}` example"))
    for example in rule.examples:
        faults += list(_prove(rule, example, review))
    return faults


def policy_of(rule: Rule, example: Example) -> Policy:
    """The day and the limits that an example is judged by."""
    limits = {}
    for name, value in example.settings:
        constant = value.value
        limits[f"{rule.pack}/{name}" if "/" not in name else name] = Fact(constant.value, constant.kind, constant.unit)
    return Policy(example.today or EXAMPLE_DAY, limits=limits, fragment=True)


def findings_of(rule: Rule, example: Example, text: str, review: Review) -> list[Finding]:
    """What the rule finds in a text, by the example's day and limits."""
    report = review.check(Source("example.habitat", text), policy_of(rule, example))
    return [finding for finding in report.findings if finding.rule == rule.name]


def _prove(rule: Rule, example: Example, review: Review) -> Iterator[Fault]:
    head = example.span.line
    report = review.check(Source("example.habitat", example.text), policy_of(rule, example))
    found = [finding for finding in report.findings if finding.rule == rule.name]
    if example.kind == "kept":
        for finding in found:
            yield Fault(_line(example, finding), f"the kept plan breaks the rule: {message(finding, report.units)}")
        return
    yield from _carets(example, found, report.units, head)
    if not rule.name.startswith("record/"):
        for finding in report.findings:
            if finding.firm and finding.level.name == "error":
                yield Fault(_line(example, finding), f"the example has a slip: {message(finding, report.units)}")
    if example.mended:
        mended = merged(example.text, example.mended, review)
        for finding in findings_of(rule, example, mended, review):
            yield Fault(head, f"the mended plan still breaks the rule: {message(finding, report.units)}")


def _carets(example: Example, found: list[Finding], units: str, head: int) -> Iterator[Fault]:
    left = list(found)
    if not example.carets and not found:
        yield Fault(head, "the broken plan keeps the rule, and no caret says what should be found")
    for caret in example.carets:
        here = [finding for finding in left if _under(finding, caret)]
        if not here and (near := next((one for one in left if one.span.line == caret.line), None)):
            left.remove(near)
            text = near.span.source.line(caret.line)
            under, meant = text[caret.start : caret.end].strip(), near.span.text.partition("\n")[0]
            yield Fault(head + caret.line, f"the carets stand under `{under}`: put them under `{meant}`")
            continue
        if not here:
            places = ", ".join(
                f"{f.span.line}:{f.span.column}-{f.span.column + f.span.end - f.span.start}" for f in found
            )
            where = f"{caret.line}:{caret.start + 1}-{caret.end + 1}"
            found_at = f"at the caret ({where}); found at {places}" if places else "here, nor elsewhere in this plan"
            yield Fault(head + caret.line, f"nothing is found {found_at}")
            continue
        left.remove(here[0])
        yield from (Fault(head + caret.line, why) for why in _unsaid(here[0], caret.says, units))
    for finding in left:
        yield Fault(_line(example, finding), f"found without a caret: {message(finding, units)}")


def _under(finding: Finding, caret: Caret) -> bool:
    span = finding.span
    length = min(span.end, span.start + len(span.source.line(span.line)) - span.column + 1) - span.start
    return (span.line, span.column - 1, span.column - 1 + max(1, length)) == (
        caret.line,
        caret.start,
        caret.end,
    )


def _unsaid(finding: Finding, says: str, units: str) -> Iterator[str]:
    """What a caret line claims of a finding and is not so: its level, figures, or words."""
    measured, wanted = measured_and_wanted(finding, units)
    wanted = re.sub(r"^(more|less) than | or (more|less)$", "", wanted)
    for claim in filter(None, (part.strip() for part in says.split(", "))):
        word, _, rest = claim.partition(" ")
        if word in ("error", "warning", "note") and not rest:
            if finding.level.name != word:
                yield f"the level is {finding.level.name}, not {word}"
        elif word == "measured":
            if rest != measured:
                yield f"measured {measured or 'nothing'}, not {rest}"
        elif word == "wanted":
            if rest != wanted:
                yield f"wanted {wanted or 'nothing'}, not {rest}"
        elif claim not in message(finding, units):
            yield f"the message has no `{claim}`: {message(finding, units)}"


def _line(example: Example, finding: Finding) -> int:
    return example.first_line + finding.span.line - 1


def merged(text: str, changed: str, review: Review) -> str:
    """A plan with the blocks of another in the place of those of the same noun and name; new ones last."""
    ours = read(Source("ours", text), review.plan_grammar, LAYOUT)
    theirs = read(Source("theirs", changed), review.plan_grammar, LAYOUT)

    def key(placed: object) -> tuple[str, ...]:
        parsed = placed.parsed  # type: ignore[attr-defined]
        values = parsed.head.values if parsed.head else ()
        return (parsed.noun, *(str(value.value) for value in values if value.kind in ("name", "date")))

    bodies = {key(one): changed[one.offset : one.offset + one.length] for one in theirs}
    parts = [bodies.pop(key(one), text[one.offset : one.offset + one.length]) for one in ours]
    return "".join(part if part.endswith("\n") else part + "\n" for part in (*parts, *bodies.values()))
