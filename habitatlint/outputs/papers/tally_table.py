"""The tally as one long table for a spreadsheet: of what, its name, what is counted, its class, a value and a unit."""

from __future__ import annotations

from collections.abc import Iterator

from habitatlint.check import Report
from habitatlint.language.blocks import Block
from habitatlint.measures.volume import Spread
from habitatlint.outputs.papers.paper import Column, Table
from habitatlint.outputs.papers.tally_words import STERES
from habitatlint.units import UNITS, plain
from habitatlint.work.cutlist import Sizes
from habitatlint.work.pricing import Priced
from habitatlint.work.stems import Stems
from habitatlint.work.tally import Tally
from habitatlint.work.worth import Worth
from habitatlint.work.yields import MixUse, Wood

Row = tuple[str, ...]
HEADS = ("of", "name", "what", "class", "value", "unit")


def as_table(tally: Tally, worth: Worth | None, report: Report) -> Table:
    """All figures of a tally, one a row. What is not known has no row; a spread has two, `least` and `most`."""
    return Table(tuple(map(Column, HEADS)), tuple(_Long(report).rows(tally, worth)))


class _Long:
    def __init__(self, report: Report) -> None:
        self.metric = report.units == "m"
        self.thick, self.ground, self.stems = ("cm", "ha", "sqm") if self.metric else ("in", "ac", "sqft")
        self.dense, self.bottle, self.dose = ("sqm/ha", "L", "L/ha") if self.metric else ("sqft/ac", "floz", "floz/ac")

    def rows(self, tally: Tally, worth: Worth | None) -> Iterator[Row]:
        for one in tally.stems:
            yield from self._trees(one)
        for standing in tally.standing:
            if standing.before is not None and standing.after is not None:
                of = _of(standing.block)
                yield (*of, "ground", "", *self._size(standing.area, self.ground))
                yield (*of, "basal area", "before", *self._size(standing.before, self.dense))
                yield (*of, "basal area", "after", *self._size(standing.after, self.dense))
        for covered in tally.covered:
            of = _of(covered.pocket)
            for what, now, after in (
                ("shade", covered.shade_now, covered.shade),
                ("roof", covered.roof_now, covered.roof),
            ):
                yield (*of, what, "now", *self._size(now, "%"))
                yield (*of, what, "after", *self._size(after, "%"))
        for sun in tally.sun:
            if sun.now is not None and sun.after is not None:
                yield (*_of(sun.block), "sun in June", "now", plain(sun.now, 2), "hours a day")
                yield (*_of(sun.block), "sun in June", "after", plain(sun.after, 2), "hours a day")
        for wood in tally.wood:
            yield from self._wood(wood, tally.log_rule)
        for mix in tally.mixes:
            yield from self._mix(mix)
        for worked in tally.worked:
            if worked.hours is not None:
                yield from _least_and_most(
                    (*_of(worked.piece.block), "hours"), worked.hours.least, worked.hours.most, "hours"
                )
        for priced in tally.priced:
            yield from _money(priced)
        for gain in worth.gains if worth is not None else ():
            step = "" if gain.step is None else f"{gain.step:g}"
            for what, some in (("cleared", gain.cleared), ("brought", gain.brought)):
                for level in dict.fromkeys(one.level for one in some):
                    count = sum(one.level is level for one in some)
                    yield "step", step, f"findings {what}", level.name, str(count), "findings"

    def _trees(self, one: Stems) -> Iterator[Row]:
        piece = one.piece
        step = "" if piece.step is None else f"{piece.step:g}"
        kind = " ".join(part for part in (piece.method, " ".join(one.species), self._dbh(one.dbh)) if part)
        for of, name in ((piece.block.noun, piece.block.name), ("step", step), ("pocket", one.pocket)):
            if of in ("step", "pocket") and not name:
                continue
            if one.number is not None:
                yield of, name, "trees, done" if one.done else "trees", kind, plain(one.number, 2), "trees"
            yield (of, name, "basal area cut", kind, *self._size(one.basal_area, self.stems))

    def _dbh(self, sizes: Sizes | None) -> str:
        if sizes is None:
            return ""
        one = UNITS[self.thick][1]
        return f"{plain(sizes.least / one, 1)}..{plain(sizes.largest / one, 1)}{self.thick}"

    def _wood(self, wood: Wood, rule: str) -> Iterator[Row]:
        of = _of(wood.piece.block)
        if wood.logs is None or wood.cords is None or wood.rest is None:
            return
        yield (*of, "saw logs", rule, plain(wood.logs, 0), "board feet")
        yield (*of, "trees of saw-log size", "", plain(wood.log_trees, 1), "trees")
        for what, spread in (("all stacked", wood.cords), ("too small for logs", wood.rest)):
            stacked = Spread(spread.least * STERES, spread.most * STERES) if self.metric else spread
            yield from _least_and_most((*of, what), *stacked, "stacked cubic metres" if self.metric else "cords")

    def _mix(self, mix: MixUse) -> Iterator[Row]:
        when = "" if mix.year is None else str(mix.year)
        if mix.volume is not None:
            yield "mix", mix.name, "cuts", when, plain(mix.hacks, 0), "cuts"
            yield ("mix", mix.name, "volume", when, *self._size(mix.volume, self.bottle))
        for part, _, volume in mix.parts:
            if volume is not None:
                yield ("mix", mix.name, f"volume of {part}", when, *self._size(volume, self.bottle))
        if mix.most is not None and mix.volume is not None:
            yield ("mix", mix.name, "most by label", when, *self._size(mix.most, self.dose))
        for dose in mix.doses:
            yield (*_of(dose.piece.block), f"dose of {mix.name}", when, *self._size(dose.volume / dose.area, self.dose))
        if mix.stumps:
            yield "mix", mix.name, "stumps to treat", when, plain(mix.stumps, 0), "stumps"

    def _size(self, size: float, unit: str) -> tuple[str, str]:
        return plain(size / UNITS[unit][1], 3), unit


def _money(priced: Priced) -> Iterator[Row]:
    unit = f"{priced.currency} of {priced.year}"
    for kind, charges in (("cost", priced.costs), ("pays", priced.pays)):
        for charge in charges:
            what = f"{kind} of {charge.what} by the {charge.by}"
            yield from _least_and_most(("rates", priced.block.name, what), *charge.money, unit)


def _least_and_most(of: tuple[str, str, str], least: float, most: float, unit: str) -> Iterator[Row]:
    if least == most:
        yield *of, "", plain(least, 2), unit
    else:
        yield *of, "least", plain(least, 2), unit
        yield *of, "most", plain(most, 2), unit


def _of(block: Block) -> tuple[str, str]:
    return block.noun, block.name
