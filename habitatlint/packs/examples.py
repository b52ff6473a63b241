"""Proves the examples of a rule: each broken plan breaks it where its carets say, each kept one keeps it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

from habitatlint.findings import Fact, Finding, Policy
from habitatlint.language.plan import LAYOUT
from habitatlint.outputs.explanations import because
from habitatlint.outputs.sentences import clean, measured_and_wanted, message
from habitatlint.reading.blocks import read
from habitatlint.reading.grammar import listed
from habitatlint.review import Review
from habitatlint.rulebook.explaining import Inquiry, Unanswerable
from habitatlint.rulebook.rules import Caret, Example, Rule
from habitatlint.source import Source

#: the day that examples are judged by where they name none
EXAMPLE_DAY = date(2026, 2, 10)
#: so many lines are told by their numbers
_FEW = 6


class Fault(NamedTuple):
    """An example that does not show what it should: on which line of the rule file, and why. `start` and `end` are the
    columns that are meant, from 0; the same for the whole line."""

    line: int
    why: str
    start: int = 0
    end: int = 0


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
    if example.tabs:
        first, *more = example.tabs
        others = f" (and so {_lines(more)})" if more else ""
        yield Fault(first, f"this line begins with a tab: indent it by spaces, not tabs{others}")
        return  # where each line begins cannot be told: what follows from that is not worth telling
    report = review.check(Source("example.habitat", example.text), policy_of(rule, example))
    found = [finding for finding in report.findings if finding.rule == rule.name]
    slips = [] if rule.name.startswith("record/") else [
        finding for finding in report.findings if finding.firm and finding.level.name == "error"
    ]  # fmt: skip
    for finding in slips:
        yield _at(example, finding, f"this line of the example has a slip: {message(finding, report.units)}")
    if example.kind == "kept":
        for finding in found:
            yield _at(example, finding, f"the kept plan breaks the rule: {_told(finding, report.units)}")
        return
    yield from _carets(rule, example, found, report.units, None if slips else review)
    if example.mended:
        mended = merged(example.text, example.mended, review)
        for finding in findings_of(rule, example, mended, review):
            line = example.mended_line or example.span.line
            yield Fault(line, f"the mended plan still breaks the rule: {_told(finding, report.units)}")


def _lines(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"does line {numbers[0]}"
    return f"do lines {listed(map(str, numbers), 'and')}" if len(numbers) <= _FEW else f"do {len(numbers)} more lines"


def _told(finding: Finding, units: str) -> str:
    """A finding with its figure."""
    measured, wanted = measured_and_wanted(finding, units)
    return f"{message(finding, units)}{f'; measured {measured}, wanted {wanted}' if measured else ''}"


def _carets(rule: Rule, example: Example, found: list[Finding], units: str, review: Review | None) -> Iterator[Fault]:
    """What the caret lines of a broken plan do not say as it is found. Without a review a line of the plan is not read:
    that nothing is found follows from that, and is not told."""
    left = list(found)
    if not example.carets and not found and review is not None:
        why = _why_nothing(rule, example, 0, units, review)
        yield Fault(example.span.line, f"the broken plan keeps the rule{why}; change the plan until it breaks it")
    astray: list[Caret] = []
    for caret in example.carets:
        here = next((one for one in left if _under(one, caret)), None)
        here = here or next((one for one in left if one.span.line == caret.line and not _claimed(one, example)), None)
        if here is None:
            astray.append(caret)
            continue
        left.remove(here)
        meant = _marked(here)
        if caret.start == caret.end:
            yield _at(example, here, f"no carets stand before the words below this line: put `{'^' * len(meant)}` "
                                     f"there, under `{meant}`")  # fmt: skip
        elif not _under(here, caret):
            under = here.span.source.line(caret.line)[caret.start : caret.end].strip()
            yield _at(example, here, f"the carets stand under `{under}`: put them under `{meant}`")
        else:
            yield from (_of_caret(example, caret, why) for why in _unsaid(here, caret.says, units))
    for caret in astray:
        if left:
            here = left.pop(0)
            words = "carets" if caret.start < caret.end else "words"
            there = f"line {_line(example, here)}: put them below that, under `{_marked(here)}`"
            yield _of_caret(example, caret, f"nothing is found above these {words}; it is found in {there}")
        elif review is not None:
            why = _why_nothing(rule, example, caret.line, units, review) or ", nor elsewhere in this plan"
            yield _of_caret(example, caret, f"nothing is found here{why}; change the plan until it breaks the rule, "
                                            "or take the carets away")  # fmt: skip
    for finding in left:
        meant = _marked(finding)
        yield _at(example, finding, f"found without carets: {_told(finding, units)}; put `{'^' * len(meant)}` in a "
                                    f"line below, under `{meant}`")  # fmt: skip


def _why_nothing(rule: Rule, example: Example, line: int, units: str, review: Review) -> str:
    """Why a rule finds nothing on a line of a plan, or on any of it: what was measured, or the filter that failed."""
    inquiry = Inquiry(rule.name, "example.habitat", line)
    try:
        review.inquired(Source("example.habitat", example.text), policy_of(rule, example), inquiry)
    except Unanswerable:
        return ""
    every = [one for block in inquiry.blocks for one in inquiry.answers(block) if not one.found]
    every = [one for one in every if line or one.stands or one.lacking is not None]
    told = max(every, key=lambda one: (one.stands, len(one.steps)), default=None)
    return f": {clean(because(told, units))}" if told is not None else ""


def _claimed(finding: Finding, example: Example) -> bool:
    """Whether carets stand right where a finding is."""
    return any(_under(finding, caret) for caret in example.carets)


def _columns(finding: Finding) -> tuple[int, int]:
    """The columns of a finding on its first line, from 0."""
    span = finding.span
    length = min(span.end, span.start + len(span.source.line(span.line)) - span.column + 1) - span.start
    return span.column - 1, span.column - 1 + max(1, length)


def _marked(finding: Finding) -> str:
    """What a finding marks on its first line."""
    start, end = _columns(finding)
    return finding.span.source.line(finding.span.line)[start:end]


def _under(finding: Finding, caret: Caret) -> bool:
    return (finding.span.line, *_columns(finding)) == (caret.line, caret.start, caret.end)


def _at(example: Example, finding: Finding, why: str) -> Fault:
    """A fault at what a finding marks."""
    start, end = _columns(finding)
    return Fault(_line(example, finding), why, start + example.indent, end + example.indent)


def _of_caret(example: Example, caret: Caret, why: str) -> Fault:
    """A fault at what carets mark."""
    line = example.first_line + caret.line - 1
    return Fault(line, why, caret.start + example.indent, caret.end + example.indent)


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
