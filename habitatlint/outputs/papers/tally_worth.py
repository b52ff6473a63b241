"""What each step of the work clears and brings, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from habitatlint.findings import Finding, Level
from habitatlint.outputs.papers.paper import Column, Items, Part, Section, Table, Words
from habitatlint.outputs.papers.tally_words import step_called
from habitatlint.outputs.sentences import clean, message
from habitatlint.work.worth import LEVELS, Gain, Worth


class Steps:
    """The section of what steps clear."""

    def __init__(self, units: str) -> None:
        self.units = units

    def worth(self, worth: Worth) -> Section:
        if worth.why:
            parts: tuple[Part, ...] = (Words(f"What each step clears cannot be told: {clean(worth.why)}."),)
            return Section("tally-worth", "What each step clears", parts)
        lead = f"As the ground is now, `check` finds of it: {_levels(worth.before)}."
        return Section("tally-worth", "What each step clears", (
            Words(lead, "lead"), *self._ranked(worth), self._in_order(worth.gains), *self._details(worth.gains),
            Words(
                "How this is worked out: the plan is judged as built, with what is done now, then with its first "
                "step done too, then its second, each on the last day of its step, and so on. A step clears what "
                "was found before it and is found no more after it, and brings what is found only after it. Only "
                "rules of the ground and of how it is hunted count here; those of people's safety while working, "
                "of order and season and of the plan as a document do not, for doing dangerous work would seem to "
                "clear its danger.", "small",
            ),
        ))  # fmt: skip

    def _ranked(self, worth: Worth) -> Iterator[Part]:
        if not worth.ranked:
            yield Words("No step clears anything that is found before it.")
            return
        yield Words("The gravest first:")
        yield Items(tuple(
            f"{step_called(gain.step, gain.title)}: clears {_levels(_by_level(gain.cleared))}"
            + (f", brings {_levels(_by_level(gain.brought))}" if gain.brought else "")
            for gain in worth.ranked
        ), numbered=True)  # fmt: skip

    def _in_order(self, gains: Sequence[Gain]) -> Table:
        columns = (Column("Step", share=4), Column("Clears", share=2), Column("Brings", share=2),
                   Column("Found then", share=2))  # fmt: skip
        rows = tuple(
            (step_called(gain.step, gain.title), _levels(_by_level(gain.cleared)), _levels(_by_level(gain.brought)),
             _levels(gain.left))
            for gain in gains
        )  # fmt: skip
        return Table(columns, rows, "In the order of work")

    def _details(self, gains: Sequence[Gain]) -> Iterator[Part]:
        lines = [
            f"{step_called(gain.step, '')} {verb} {one.level.name}: {message(one, self.units)}"
            for gain in gains
            for verb, some in (("clears", gain.cleared), ("brings", gain.brought))
            for one in some
        ]
        if lines:
            yield Items(tuple(lines))


def _by_level(findings: Sequence[Finding]) -> tuple[tuple[Level, int], ...]:
    return tuple((level, sum(one.level is level for one in findings)) for level in LEVELS)


def _levels(counts: Sequence[tuple[Level, int]]) -> str:
    told = [f"{count} {level.name}{'' if count == 1 else 's'}" for level, count in counts if count]
    return ", ".join(told) or "nothing"
