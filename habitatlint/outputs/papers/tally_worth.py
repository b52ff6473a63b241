"""What each step of the work clears and brings, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from habitatlint.findings import Finding, Level
from habitatlint.outputs.papers.paper import Column, Items, Part, Section, Table, Words
from habitatlint.outputs.papers.tally_words import step_called
from habitatlint.outputs.sentences import clean, message
from habitatlint.work.worth import LEVELS, Gain, Worth

Key = tuple[str, Level, tuple[str, ...]]


class Steps:
    """The section of what steps clear; `titles` are those of rules, by pack and slug."""

    def __init__(self, units: str, titles: Mapping[str, str]) -> None:
        self.units, self.titles = units, titles
        #: every finding that is counted, by its number in the list below the table
        self.numbers: dict[Key, int] = {}
        self.listed: list[Finding] = []

    def worth(self, worth: Worth) -> Section:
        if worth.why:
            parts: tuple[Part, ...] = (Words(f"What each step clears cannot be told: {clean(worth.why)}."),)
            return Section("tally-worth", "What each step clears", parts)
        lead = f"As the ground is now, `check` finds of it: {self._levels(worth.found)}."
        return Section("tally-worth", "What each step clears", (
            Words(lead, "lead"), *self._ranked(worth), self._in_order(worth.gains), *self._details(worth),
            Words(
                "How this is worked out: the plan is judged as built, with what is done now, then with its first "
                "step done too, then its second, each on the last day of its step, and so on; what is planted counts "
                "as it has grown by the plan's date, and not as it is to be. A step clears what "
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
            f"{step_called(gain.step, gain.title)}: clears {self._levels(gain.cleared)}"
            + (f", brings {self._levels(gain.brought)}" if gain.brought else "")
            for gain in worth.ranked
        ), numbered=True)  # fmt: skip

    def _in_order(self, gains: Sequence[Gain]) -> Table:
        columns = (Column("Step", share=4), Column("Clears", share=2), Column("Brings", share=2),
                   Column("Found then", share=2))  # fmt: skip
        rows = tuple(
            (step_called(gain.step, gain.title), *map(self._levels, (gain.cleared, gain.brought, gain.then)))
            for gain in gains
        )
        return Table(columns, rows, "In the order of work")

    def _details(self, worth: Worth) -> Iterator[Part]:
        """Each finding that was counted, by its number: what its rule is called, and what is found."""
        if not self.listed:
            return
        years = {_key(one): year for one, year in worth.grown}
        last = {_key(one) for one in worth.gains[-1].then}
        rows = tuple(
            (str(number), one.level.name, self.titles.get(one.rule, one.rule),
             f"{message(one, self.units)} ({one.rule})",
             f"found until {years[_key(one)]}, when what is planted has grown" if _key(one) in years
             else "found still" if _key(one) in last else "found no more")
            for number, one in enumerate(self.listed, 1)
        )  # fmt: skip
        columns = (Column("No.", right=True), Column("Level"), Column("Rule", share=2), Column("Found", share=4),
                   Column("When all is done", share=2))  # fmt: skip
        yield Table(columns, rows, "What is counted")
        if worth.grown:
            since = ", ".join(f"no. {self.numbers[key]} from {year} on" for key, year in years.items())
            yield Words(
                f"The plan as a whole counts what is planted as grown, so that it is said there to be kept. It is kept "
                f"only from then on: {since}."
            )

    def _levels(self, findings: Sequence[Finding]) -> str:
        """`1 error (2), 2 warnings (1, 4)`: how many of each level, and their numbers in the list below."""
        told = []
        for level in LEVELS:
            some = [self._number(one) for one in findings if one.level is level]
            if some:
                numbers = ", ".join(map(str, sorted(set(some))))
                told.append(f"{len(some)} {level.name}{'' if len(some) == 1 else 's'} ({numbers})")
        return ", ".join(told) or "nothing"

    def _number(self, finding: Finding) -> int:
        if _key(finding) not in self.numbers:
            self.listed.append(finding)
            self.numbers[_key(finding)] = len(self.listed)
        return self.numbers[_key(finding)]


def _key(finding: Finding) -> Key:
    return finding.rule, finding.level, tuple(sorted(finding.names))
