"""Words and quantities of a tally, in the plan's units."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from habitatlint.check import Report
from habitatlint.findings import Fact
from habitatlint.language.blocks import Release
from habitatlint.measures.volume import Spread
from habitatlint.outputs.papers.cut_list import joined
from habitatlint.outputs.papers.paper import Words
from habitatlint.outputs.sentences import clean, shown
from habitatlint.units import FOOT, show
from habitatlint.work.cutlist import Piece, Sizes
from habitatlint.work.stems import Unknown

#: so many names are listed, and then how many more
MOST = 8
#: cubic metres of a stacked cord
STERES = 128 * FOOT**3
#: how a method is said of what it was done to
DONE_TO = {
    "hinge": "hinged", "fell": "felled", "girdle": "girdled", "frill": "frilled",
    "hack-and-squirt": "hacked and squirted", "logger": "by a logger",
}  # fmt: skip
#: what a plan means wood for
WOOD_FOR = {"logs": "saw logs", "firewood": "firewood", "leave": "left lying"}


class Quantities:
    """Sizes as a person reads them, in the units of a plan."""

    def __init__(self, report: Report) -> None:
        self.report, self.units = report, report.units
        self.metric = report.units == "m"

    def area(self, size: float) -> str:
        return show(size, "area", self.units, 2)

    def stems_area(self, size: float) -> str:
        """Basal area in all: square feet, or square metres."""
        return show(size, "area", self.units, 1 if self.metric else 0, "sqm" if self.metric else "sqft")

    def basal_area(self, size: float | None) -> str:
        return "not known" if size is None else show(size, "basal-area", self.units, 1 if self.metric else 0)

    def dbh(self, sizes: Sizes | None) -> str:
        if sizes is None:
            return "not known"
        least, largest = (shown(Fact(one, "length", "in"), self.units, 0) for one in sizes[:2])
        if sizes.estimated:
            return f"not given ({largest} taken)"
        return largest if least == largest else f"{least.rpartition(' ')[0]} to {largest}"

    def dose(self, size: float) -> str:
        return show(size, "dose", self.units, 2 if self.metric else 1)

    def cords(self, spread: Spread) -> str:
        if self.metric:
            return f"{least_to_most(spread.least * STERES, spread.most * STERES, 1)} stacked cu m"
        return f"{least_to_most(spread.least, spread.most, 1)} cords"


def how_of(piece: Piece) -> str:
    """How trees are cut, in a word or two: `hinged`; `released, felled`."""
    done_to = DONE_TO.get(piece.method, piece.method)
    return f"released, {done_to}" if isinstance(piece.block, Release) else done_to


def step_called(number: float | None, title: str) -> str:
    if number is None:
        return "in no step"
    return f"step {number:g}{f', {clean(title)}' if title else ''}"


def counted_out(count: float) -> str:
    """Trees to the whole one, with commas."""
    return f"{count:,.0f}"


def about(count: float) -> str:
    return f"about {count:,.0f}" if count > 0 else "none"


def least_to_most(least: float, most: float, places: int) -> str:
    one, other = (f"{size:,.{places}f}" for size in (least, most))
    return one if one == other else f"{one} to {other}"


def two_figures(number: float) -> float:
    """To two figures, for nobody knows more."""
    return float(f"{number:.2g}") if number >= 10 else round(number)


def few(labels: Sequence[str]) -> str:
    more = len(labels) - MOST
    return joined([*labels[:MOST], *([f"{more} more"] if more > 0 else [])])


def reasons(pairs: Sequence[tuple[str, str]], words: str) -> Iterator[Words]:
    """Things of which something is not known, gathered by why."""
    for why in dict.fromkeys(why for _, why in pairs):
        yield Words(f"{words} {few([label for label, one in pairs if one == why])}: {why}.")


def untold(unknown: Sequence[Unknown], words: str = "Not counted") -> Iterator[Words]:
    for why in dict.fromkeys(one.why for one in unknown):
        yield Words(f"{words}: {few([one.block.label for one in unknown if one.why == why])}; {why}.")
