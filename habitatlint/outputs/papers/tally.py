"""The tally as a paper: what a plan takes and gives, counted, with what nobody can count said beside it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from datetime import date
from typing import NamedTuple, TypeVar

from habitatlint.check import Report
from habitatlint.findings import Fact
from habitatlint.language.blocks import Pocket, Release
from habitatlint.outputs.papers.chart import Bar, chart
from habitatlint.outputs.papers.cut_list import plainly
from habitatlint.outputs.papers.heading import heading
from habitatlint.outputs.papers.paper import Column, Paper, Part, Section, Table, Words
from habitatlint.outputs.papers.tally_words import (
    Quantities,
    about,
    counted_out,
    few,
    how_of,
    reasons,
    step_called,
    untold,
)
from habitatlint.outputs.papers.tally_worth import Steps
from habitatlint.outputs.papers.tally_yields import Yields
from habitatlint.outputs.sentences import CAUTION, shown
from habitatlint.work.cutlist import Piece, Sizes
from habitatlint.work.stems import Standing, Stems
from habitatlint.work.tally import Covered, Sun, Tally
from habitatlint.work.worth import Worth

Key = TypeVar("Key", bound=Hashable)
#: so many bars at most stand in a chart, which would be taller than a page else
MOST_BARS = 24


def paper(tally: Tally, worth: Worth | None, report: Report, today: date) -> Paper:
    """The tally of one plan by itself. `worth` is None where nobody asked for it."""
    title, subtitle, facts = heading(report, today, "Tally")
    return Paper(title, subtitle, facts, sections(tally, worth, report), CAUTION)


def sections(tally: Tally, worth: Worth | None, report: Report) -> tuple[Section, ...]:
    """Trees, what stands and lies, wood, herbicide, hours, money and what each step is worth; last how it was
    counted."""
    trees, yields = _Trees(report), Yields(report)
    found = [trees.trees(tally), trees.ground(tally)]
    found += [yields.wood(tally)] if tally.wood else []
    found += [yields.herbicide(tally)] if tally.mixes else []
    found.append(yields.hours(tally))
    found += yields.money(tally)
    titles = {rule.name: rule.title for rule in report.rules}
    found += [Steps(report.units, titles).worth(worth)] if worth is not None else []
    found.append(_figures())
    return tuple(found)


class Group(NamedTuple):
    """Some trees added up; `exact` where all are laid out one by one, `unsized` basal area of trees not counted."""

    number: float
    basal_area: float
    done: float
    exact: bool
    unsized: float


def grouped(stems: Iterable[Stems], key: Callable[[Stems], Key]) -> dict[Key, Group]:
    """Trees added up by a key, in the order in which the keys come."""
    found: dict[Key, Group] = {}
    for one in stems:
        had = found.get(key(one), Group(0.0, 0.0, 0.0, True, 0.0))
        number = one.number or 0.0
        found[key(one)] = Group(
            had.number + number, had.basal_area + one.basal_area, had.done + (number if one.done else 0.0),
            had.exact and one.counted, had.unsized + (one.basal_area if one.number is None else 0.0),
        )  # fmt: skip
    return found


def kind_of(piece: Piece) -> str:
    """The kind of work by what it leaves: `hinged`, `felled`, `killed standing`, `released`."""
    if isinstance(piece.block, Release):
        return "released"
    return {"hinge": "hinged", "fell": "felled"}.get(piece.method, "killed standing")


class _Trees(Quantities):
    """The sections of trees, and of what stands and lies."""

    # -- trees ---------------------------------------------------------------------------------

    def trees(self, tally: Tally) -> Section:
        if not tally.stems:
            parts: tuple[Part, ...] = (Words("The plan cuts no trees that can be counted."), *untold(tally.unknown))
            return Section("tally-trees", "Trees", parts)
        by_kind = grouped(tally.stems, lambda one: kind_of(one.piece))
        whole = _sum(by_kind.values())
        told = ", ".join(f"{_count(group)} {kind}" for kind, group in by_kind.items() if group.number > 0)
        one = counted_out(whole.number) == "1"
        lead = f"{_count(whole).capitalize()} tree{'' if one else 's'}: {told}."
        if whole.done:
            done = counted_out(whole.done)
            lead += f" Of them {done} {'is' if done == '1' else 'are'} cut or killed already."
        parts = (
            Words(lead, "lead"),
            *self._size_chart(tally),
            self._property(tally, whole),
            *self._by_step(tally),
            *self._by_pocket(tally),
            *untold(tally.unknown),
        )
        return Section("tally-trees", "Trees", parts)

    def _size_chart(self, tally: Tally) -> Iterator[Part]:
        sizes = sorted({one.dbh for one in tally.stems if one.dbh is not None}, key=lambda one: (one[0] + one[1], one))
        by_size = grouped(tally.stems, lambda one: (one.dbh, kind_of(one.piece)))
        bars = []
        for size in sizes:
            groups = {kind: group for (one, kind), group in by_size.items() if one == size}
            number = sum(group.number for group in groups.values())
            bars.append(Bar(self.dbh(size), tuple((kind, group.number) for kind, group in groups.items()),
                            counted_out(number)))  # fmt: skip
        said = "; ".join(
            f"{bar.name}: {' and '.join(f'{counted_out(n)} {kind}' for kind, n in bar.parts)}" for bar in bars
        )
        if (picture := chart(bars, f"trees by diameter and by what is done to them: {said}")) is not None:
            yield picture

    def _property(self, tally: Tally, whole: Group) -> Table:
        groups = grouped(tally.stems, lambda one: (how_of(one.piece), one.dbh, one.species))
        rows = tuple(
            (how, self.dbh(size), _species(species), *self._figures(group)) for (how, size, species), group in
            sorted(groups.items(), key=lambda one: (one[0][0], _middle(one[0][1]), one[0][2]))
        )  # fmt: skip
        columns = (Column("How", share=2), Column("Diameter", share=2), Column("Species", share=3), *self._heads)
        return Table(columns, rows, "On the whole property", total=("all", "", "", *self._figures(whole)))

    @property
    def _heads(self) -> tuple[Column, ...]:
        return Column("Trees", right=True), Column("Basal area", right=True)

    def _figures(self, group: Group) -> tuple[str, str]:
        uncounted = group.unsized > 0 and group.number == 0
        return "not known" if uncounted else _count(group), self.stems_area(group.basal_area)

    def _by_step(self, tally: Tally) -> Iterator[Part]:
        groups = grouped(tally.stems, lambda one: (one.piece.step, how_of(one.piece)))
        rows = []
        for number, title in tally.steps:
            for (step, how), group in groups.items():
                if step == number:
                    done = counted_out(group.done) if group.done else ""
                    rows.append((step_called(number, title), how, *self._figures(group), done))
        if len({row[0] for row in rows}) < 2:
            return
        columns = (Column("Step", share=4), Column("How", share=2), *self._heads)
        if not any(row[-1] for row in rows):
            yield Table(columns, tuple(row[:-1] for row in rows), "By step")
        else:
            yield Table((*columns, Column("Done", right=True)), tuple(rows), "By step")

    def _by_pocket(self, tally: Tally) -> Iterator[Part]:
        groups = grouped(tally.stems, lambda one: (one.pocket, how_of(one.piece), one.dbh, one.species))
        names = [pocket.name for pocket in self.report.plan.of(Pocket)]
        if not any(one.pocket for one in tally.stems):
            return
        rows = []
        for name in (*dict.fromkeys(names), ""):
            for (pocket, how, size, species), group in sorted(groups.items(), key=_by_how):
                if pocket == name:
                    where = name or "in no pocket"
                    rows.append((where, how, self.dbh(size), _species(species), *self._figures(group)))
        columns = (Column("Pocket", share=2), Column("How", share=2), Column("Diameter", share=2),
                   Column("Species", share=3), *self._heads)  # fmt: skip
        yield Table(columns, tuple(rows), "By pocket")

    # -- what stands and lies --------------------------------------------------------------------

    def ground(self, tally: Tally) -> Section:
        parts: list[Part] = []
        parts += self._standing(tally.standing)
        parts += self._covered(tally.covered)
        parts += self._sun(tally.sun)
        if not parts:
            parts.append(Words("The plan has no pocket and no timber with a place, and so nothing to tell of."))
        return Section("tally-ground", "What stands, lies and lets light in", tuple(parts))

    def _standing(self, standing: Sequence[Standing]) -> Iterator[Part]:
        known = [one for one in standing if one.before is not None and one.after is not None]
        told = [one for one in known if isinstance(one.block, Pocket) or one.after != one.before]
        if told:
            after = "as built" if not self.report.scene.design else "when all is done"
            rows = tuple(
                (one.block.label, self.area(one.area), self.basal_area(one.before), self.basal_area(one.after),
                 self.basal_area((one.before or 0.0) - (one.after or 0.0)))
                for one in told
            )  # fmt: skip
            columns = (Column("On", share=3), Column("Ground", right=True), Column("Before", right=True),
                       Column(after.capitalize(), right=True), Column("Taken", right=True))  # fmt: skip
            yield Table(columns, rows, "Basal area that stands; what is hinged or killed stands no more")
            yield from self._standing_chart(known)
        for one in (one for one in known if one.over):
            yield Words(f"More is cut in {one.block.label} than the plan says stands there: one of the two is wrong.")
        yield from reasons([(one.block.label, one.why) for one in standing if one.before is None],
                            "Basal area is not known of")  # fmt: skip

    def _standing_chart(self, known: Sequence[Standing]) -> Iterator[Part]:
        pockets = [one for one in known if isinstance(one.block, Pocket)]
        most = sorted(pockets, key=lambda one: (one.after or 0.0) - (one.before or 0.0))[: MOST_BARS // 2]
        bars = []
        for one in (one for one in pockets if one in most):
            bars.append(Bar(one.block.name, (("before", one.before or 0.0),), self.basal_area(one.before)))
            bars.append(Bar("", (("after", one.after or 0.0),), self.basal_area(one.after)))
        which = "each pocket" if len(most) == len(pockets) else f"the {len(most)} pockets where most is taken"
        if (
            bars
            and (picture := chart(bars, f"basal area of {which}, before and after, as in the table above")) is not None
        ):
            yield picture

    def _covered(self, covered: Sequence[Covered]) -> Iterator[Part]:
        if not covered:
            return
        now = any(one.shade_now > 0 for one in covered) and self.report.scene.design
        columns = [Column("Pocket", share=3)]
        if now:
            columns += [Column("Shade now", right=True), Column("Roof now", right=True)]
        columns += [Column("Shade", right=True), Column("Roof", right=True), Column("Sizes", share=1)]
        rows = []
        for one in covered:
            figures = [one.shade_now, one.roof_now] if now else []
            shares = (shown(Fact(share, "share"), self.units) for share in (*figures, one.shade, one.roof))
            rows.append((one.pocket.label, *shares, "estimated" if one.estimated else "given"))
        when = "when all is done" if self.report.scene.design else "as built"
        title = f"Ground under fallen tops {when}: shade is under one or more, roof under two or more"
        yield Table(tuple(columns), tuple(rows), title)
        if not now and self.report.scene.design:
            yield Words("Nothing lies in them now.")

    def _sun(self, sun: Sequence[Sun]) -> Iterator[Part]:
        known = [one for one in sun if one.now is not None and one.after is not None]
        if known:
            title = "Direct sun a day in mid June, under a clear sky on level ground"
            heads = ("Hours now", "after", "gained") if self.report.scene.design else ("Hours as built",)
            columns = (Column("On", share=3), *(Column(head, right=True) for head in heads), Column("Heights", share=1))
            rows, dark = [], []
            for one in known:
                if max(one.now or 0.0, one.after or 0.0) < 0.05:
                    dark.append(one.block.label)
                    continue
                hours = (one.now, one.after, one.gained) if self.report.scene.design else (one.after,)
                told = (f"{figure or 0.0:.1f}" for figure in hours)
                rows.append((one.block.label, *told, "estimated" if one.estimated else "given"))
            if rows:
                yield Table(columns, tuple(rows), title)
            if dark:
                when = "now or after" if self.report.scene.design else "as built"
                yield Words(f"No direct sun in mid June, {when}: {few(dark)}.")
        yield from reasons([(one.block.label, one.why) for one in sun if one.now is None], "Sun is not known on")


def _figures() -> Section:
    told = (
        "Basal area is 0.005454154 sq ft by the inch of diameter squared (U. Missouri, Forestry Functions), of the "
        "middle diameter where the plan gives a range. Trees of rows are counted as they are laid out; those of a "
        "patch are its density times its ground; of a release, what it takes of the timber's `class` lines, the "
        "largest class first. Tops lie as their curves have it: the crown width and height of a species by its "
        "diameter (USDA Forest Service, FVS) where the plan gives none. What is called about is reckoned."
    )
    return Section("tally-figures", "How it was counted", (Words(told, "small"),))


def _species(species: Sequence[str]) -> str:
    if not species:
        return "not given"
    named = [plainly(one) for one in species]
    return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} or {named[-1]}"


def _by_how(one: tuple[tuple[str, str, Sizes | None, tuple[str, ...]], Group]) -> tuple[str, float, tuple[str, ...]]:
    _, how, size, species = one[0]
    return how, _middle(size), species


def _middle(size: Sizes | None) -> float:
    return float("inf") if size is None else size.least + size.largest


def _count(group: Group) -> str:
    """How many trees; `about` where some are reckoned."""
    if group.number == 0:
        return "not known" if group.unsized else "none"
    return counted_out(group.number) if group.exact else about(group.number)


def _sum(groups: Iterable[Group]) -> Group:
    every = list(groups)
    return Group(
        sum(one.number for one in every), sum(one.basal_area for one in every), sum(one.done for one in every),
        all(one.exact for one in every), sum(one.unsized for one in every),
    )  # fmt: skip
