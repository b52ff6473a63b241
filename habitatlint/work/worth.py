"""Which step of the work clears the gravest findings: the plan judged as the ground will be after each step.

A plan judged as a design is judged as if all were done. Here it is judged as built: with what is done now, then with
its first step done besides, its second, and so on to its last. What was found before a step and is found no more
after it, that step clears; what is found only after it, it brings. It is held to the rules of the ground and of how
it is hunted; those of the doing (people's safety, order and season of work, the plan as a document) are left out, for
dangerous work would seem to be worth most.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from habitatlint.check import Report
from habitatlint.findings import Change, Finding, Level
from habitatlint.language.blocks import Planting, Task
from habitatlint.language.editing import Unwritable, applied, edits_of
from habitatlint.measures.season import steps_of
from habitatlint.source import Source
from habitatlint.work.cutlist import Piece
from habitatlint.work.tally import Tally

#: judges a text as of the day of the report: handed in, for what is in force is not known here
Judge = Callable[[Source], Report]
#: packs whose rules judge the doing and the document, and of those the rules that judge the ground all the same
OF_THE_DOING = frozenset({"felling", "order", "record"})
OF_THE_GROUND = frozenset({"felling/dead-standing-near-way", "felling/stand-in-bad-tree"})


class Gain(NamedTuple):
    """What a step clears and brings; `then` is all that is found once it is done, and `left` counts it by level."""

    step: float | None
    title: str
    cleared: tuple[Finding, ...]
    brought: tuple[Finding, ...]
    then: tuple[Finding, ...]

    @property
    def left(self) -> tuple[tuple[Level, int], ...]:
        return _levels(self.then)

    @property
    def rank(self) -> tuple[int, ...]:
        """Sorts the step that clears the gravest first: by errors cleared less those brought, then warnings, notes."""
        return tuple(_count(self.brought, level) - _count(self.cleared, level) for level in LEVELS)


class Worth(NamedTuple):
    """The steps still to do, in their order; what is found before them; and why it cannot be told ("" where it
    can). `grown` has what is found still after the last step and is found no more once what is planted has grown,
    with the year; a design counts it as grown."""

    found: tuple[Finding, ...]
    gains: tuple[Gain, ...]
    why: str = ""
    grown: tuple[tuple[Finding, int], ...] = ()

    @property
    def before(self) -> tuple[tuple[Level, int], ...]:
        return _levels(self.found)

    @property
    def ranked(self) -> tuple[Gain, ...]:
        """The gravest first, the earlier of two alike; steps that clear nothing are left out."""
        return tuple(sorted((gain for gain in self.gains if gain.cleared), key=lambda gain: gain.rank))


LEVELS = (Level.error, Level.warning, Level.note)


def worth_of(report: Report, tally: Tally, judge: Judge, tell: Callable[[str], None] = lambda what: None) -> Worth:
    """What every step still to do clears. Judges the plan once more for each, and once before; `tell` hears what is
    judged. A plan whose work stands in an included file, or whose head is missing, is not told of."""
    steps = [(number, title) for number, title in tally.steps if _to_do(tally.pieces, number)]
    if not steps:
        return Worth((), (), "no work is left to do")
    if report.plan.head is None:
        return Worth((), (), "the plan has no head")
    try:
        texts = [
            applied(report.source.text, edits_of(report.plan, changes, recorded=True))
            for changes in _changes(report, tally.pieces, steps)
        ]
    except Unwritable as trouble:
        return Worth((), (), str(trouble))
    found: list[list[Finding]] = []
    for number, text in enumerate(texts):
        if number and all(isinstance(piece.block, Task) for piece in _to_do(tally.pieces, steps[number - 1][0])):
            found.append(found[-1])  # a task changes nothing on the ground
            continue
        tell("the ground as it is" if number == 0 else f"the ground after {_called(steps[number - 1][0])}")
        judged = judge(Source(report.source.name, text))
        found.append([one for one in judged.findings if of_the_ground(one.rule)])
    gains = [
        Gain(number, title, tuple(_less(before, after)), tuple(_less(after, before)), tuple(after))
        for (number, title), (before, after) in zip(steps, pairwise(found), strict=True)
    ]
    grown = tuple(_grown(report, tally.pieces, steps, found[-1], judge, tell))
    return Worth(tuple(found[0]), tuple(gains), grown=grown)


def growing(report: Report) -> dict[int, list[Planting]]:
    """What is planted and has still to grow on the day of the plan, by the year from which it is grown."""
    head = report.plan.head
    now = head.date.value.year if head is not None and head.date is not None else 0
    found: dict[int, list[Planting]] = {}
    for planting in report.plan.of(Planting):
        for statement in planting.height if not planting.broken else ():
            years = [int(value.value.number) for value in statement.values if value.kind == "number"]
            if years and years[0] > now:
                found.setdefault(years[0], []).append(planting)
    return dict(sorted(found.items()))


def _grown(
    report: Report, pieces: Sequence[Piece], steps: Sequence[tuple[float | None, str]], left: Sequence[Finding],
    judge: Judge, tell: Callable[[str], None],
) -> Iterator[tuple[Finding, int]]:  # fmt: skip
    """What is left after the last step and goes as what is planted grows, with the year: the ground after the last step
    is judged once more for each year of growth, with that planting as high as it is to be."""
    *_, changes = _changes(report, pieces, steps)
    for year, plantings in growing(report).items():
        if not left:
            return
        for planting in plantings:
            high = planting.span(planting.height[0].values[0]).text
            changes.append(Change("set", planting.span(), "height", (high,)))
        tell(f"the ground of {year}")
        try:
            text = applied(report.source.text, edits_of(report.plan, changes, recorded=True))
        except Unwritable:
            return
        after = [one for one in judge(Source(report.source.name, text)).findings if of_the_ground(one.rule)]
        gone = list(_less(left, after))
        yield from ((one, year) for one in gone)
        left = [one for one in left if one not in gone]


def _called(step: float | None) -> str:
    return "what is in no step" if step is None else f"step {step:g}"


def _to_do(pieces: Sequence[Piece], step: float | None) -> list[Piece]:
    return [piece for piece in pieces if piece.step == step and not piece.finished]


def _changes(
    report: Report, pieces: Sequence[Piece], steps: Sequence[tuple[float | None, str]]
) -> Iterator[list[Change]]:
    """What makes the plan one of the ground as it is, and then as it is after each step."""
    head = report.plan.head
    assert head is not None
    changes = [Change("set", head.span(), "stage", ("as-built",))]
    yield list(changes)
    days = {number: step.last for number, (_, step) in steps_of(report.scene).items()}
    for number, _ in steps:
        day = days.get(number) if number is not None else None
        for piece in _to_do(pieces, number):
            said = day.isoformat() if day is not None else "yes"
            changes.append(Change("set", piece.block.span(), "done", (said,)))
            if piece.stumps_box and piece.stump_treatment == "planned":
                changes.append(Change("set", piece.block.span(), "stump-treatment", ("done",)))
        yield list(changes)


def of_the_ground(rule: str) -> bool:
    """A rule, by pack and slug, judges the ground and how it is hunted, and not the doing."""
    return rule.partition("/")[0] not in OF_THE_DOING or rule in OF_THE_GROUND


def _less(some: Sequence[Finding], others: Sequence[Finding]) -> Iterator[Finding]:
    """The findings that are not among others: of another rule, on other blocks, or of another level."""
    there = Counter(map(_key, others))
    for one in some:
        if there[_key(one)] > 0:
            there[_key(one)] -= 1
        else:
            yield one


def _key(finding: Finding) -> tuple[str, Level, tuple[str, ...]]:
    return finding.rule, finding.level, tuple(sorted(finding.names))


def _count(findings: Sequence[Finding], level: Level) -> int:
    return sum(one.level is level for one in findings)


def _levels(findings: Sequence[Finding]) -> tuple[tuple[Level, int], ...]:
    return tuple((level, _count(findings, level)) for level in LEVELS)
