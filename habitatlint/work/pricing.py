"""What work costs and wood pays, by the price lists of the plan alone: its `rates`, each with its year and source.

There is no price in this package, and none is taken from one year to another.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from habitatlint.language.blocks import Block, Rates, Treatment
from habitatlint.language.plan import PlanText
from habitatlint.measures.rates import Hours
from habitatlint.measures.volume import Spread
from habitatlint.reading.grammar import Statement
from habitatlint.units import ACRE, HECTARE, UNITS
from habitatlint.work.cutlist import Piece
from habitatlint.work.stems import Stems, Unknown
from habitatlint.work.yields import MixUse, Wood, Worked, plus, trees_of


class Charge(NamedTuple):
    """A line of a price list applied: to which work or stuff, by what, how much of it, and the price of one."""

    what: str
    step: float | None
    by: str
    amount: Spread
    price: float

    @property
    def money(self) -> Spread:
        return Spread(self.amount.least * self.price, self.amount.most * self.price)


class Choice(NamedTuple):
    """What the wood of a release pays as saw logs (with what is too small for one as firewood, where that has a
    price) and all of it as firewood; None for what has no price."""

    wood: Wood
    logs: Spread | None
    firewood: Spread | None


class Priced(NamedTuple):
    """A price list of the plan on the work that is still to do: what it costs, what wood pays as the plan means it,
    and logs or firewood side by side; work that no line of it fits, with why, and lines that fit nothing."""

    block: Block
    year: int
    source: str
    currency: str
    costs: tuple[Charge, ...]
    pays: tuple[Charge, ...]
    choices: tuple[Choice, ...]
    unpriced: tuple[Unknown, ...]
    idle: tuple[str, ...]

    @property
    def cost(self) -> Spread:
        return _sum(charge.money for charge in self.costs)

    @property
    def income(self) -> Spread:
        return _sum(charge.money for charge in self.pays)


def _sum(spreads: Iterable[Spread]) -> Spread:
    total = Spread(0.0, 0.0)
    for one in spreads:
        total = plus(total, one)
    return total


class _Line(NamedTuple):
    """A `cost` line: what it is by ("hour", "tree", "acre", "ha", "gal" ...), the price of one, and the work or the
    part of a mix that it is for."""

    by: str
    price: float
    words: frozenset[str]
    statement: Statement

    def fits(self, piece: Piece) -> bool:
        return self.by == "hour" or _kind(piece) in self.words


def _kind(piece: Piece) -> str:
    """The word by which a price list calls a piece of work."""
    return {"release": "release", "treatment": "treatment"}.get(piece.block.noun, piece.method)


def _line(statement: Statement) -> _Line:
    price, *rest = statement.values
    words = [str(value.value) for value in rest]
    if price.kind == "density":
        by = price.value.unit.removeprefix("per ")
        return _Line(by, float(price.value.number), frozenset(words), statement)
    return _Line(words[1], float(price.value.number), frozenset(words[2:]), statement)


def priced(
    plan: PlanText,
    pieces: Sequence[Piece],
    stems: Sequence[Stems],
    wood: Sequence[Wood],
    mixes: Sequence[MixUse],
    worked: Sequence[Worked],
) -> Iterator[Priced]:
    """Every price list of the plan that says its year, its source and its currency."""
    for block in plan.of(Rates):
        if block.year is None or block.source is None or block.currency is None:
            continue
        lines = [_line(statement) for statement in block.cost]
        costs, unpriced, used = _costs(plan, pieces, stems, worked, lines)
        stuff, of_stuff = _stuff(mixes, lines)
        pays, paid = _income(wood, block.pays)
        idle = [_as_written(line.statement) for line in lines if line not in used and line not in of_stuff]
        choices = tuple(_choices(wood, block.pays))
        first = _first_of_each(block.pays)
        idle += [_as_written(one) for one in block.pays if one not in first or (id(one) not in paid and not choices)]
        yield Priced(
            block, int(block.year.value.number), str(block.source.value), str(block.currency.value),
            (*costs, *stuff), pays, choices, unpriced, tuple(idle),
        )  # fmt: skip


def _as_written(statement: Statement) -> str:
    return " ".join([statement.word, *(str(value.value) for value in statement.values)])


def _costs(
    plan: PlanText, pieces: Sequence[Piece], stems: Sequence[Stems], worked: Sequence[Worked], lines: Sequence[_Line]
) -> tuple[list[Charge], tuple[Unknown, ...], list[_Line]]:
    """Each piece by the first of tree, ground and hour that a line gives and that it has."""
    hours = {id(one.piece): one.hours for one in worked}
    costs: list[Charge] = []
    unpriced: list[Unknown] = []
    used: list[_Line] = []
    for piece in pieces:
        if piece.finished or not _kind(piece):
            continue
        found: Charge | None = None
        for line in sorted((one for one in lines if one.fits(piece)), key=lambda one: _RANK.get(one.by, 9)):
            amount = _amount(plan, pieces, stems, hours.get(id(piece)), piece, line.by)
            if amount is not None:
                found = Charge(piece.block.label, piece.step, line.by, amount, line.price)
                used.append(line)
                break
        if found is not None:
            costs.append(found)
        else:
            unpriced.append(Unknown(piece.block, _why_not(piece, lines)))
    return costs, tuple(unpriced), used


def _why_not(piece: Piece, lines: Sequence[_Line]) -> str:
    fitting = sorted({line.by for line in lines if line.by in _RANK and line.fits(piece)})
    if not fitting:
        return "no line is for such work"
    if fitting == ["hour"]:
        return "its price is by the hour, and nobody has published how long it takes"
    return f"its price is by the {' or '.join(one for one in fitting if one != 'hour')}, and nobody knows how many"


_RANK = {"tree": 0, "acre": 1, "ha": 1, "hour": 2}


def _amount(
    plan: PlanText, pieces: Sequence[Piece], stems: Sequence[Stems], hours: Hours | None, piece: Piece, by: str
) -> Spread | None:
    """How much of a piece there is to pay for; None where nobody knows."""
    if by == "hour":
        return Spread(hours.least, hours.most) if hours is not None else None
    if by in ("acre", "ha"):
        size = piece.area / (ACRE if by == "acre" else HECTARE) if piece.area else None
    elif by == "tree" and isinstance(piece.block, Treatment):
        size = trees_of(plan, pieces, piece.block) or None
    elif by == "tree":
        own = [one.number for one in stems if one.piece is piece]
        size = sum(one for one in own if one is not None) if own and None not in own else None
    else:
        return None
    return None if size is None else Spread(size, size)


def _stuff(mixes: Sequence[MixUse], lines: Sequence[_Line]) -> tuple[list[Charge], list[_Line]]:
    """The parts of mixes that lines price by the volume."""
    costs, used = [], []
    for line in lines:
        if line.by in _RANK:
            continue
        (name,) = line.words
        litres = [
            volume
            for mix in mixes
            if not mix.done
            for part, _, volume in mix.parts
            if part == name and volume is not None
        ]
        if litres:
            size = sum(litres) / UNITS["L" if line.by == "litre" else line.by][1]
            costs.append(Charge(name, None, line.by, Spread(size, size), line.price))
            used.append(line)
    return costs, used


def _income(wood: Sequence[Wood], pays: Sequence[Statement]) -> tuple[tuple[Charge, ...], set[int]]:
    """What wood pays that the plan means for logs or for firewood; by the first line of a kind, for it is sold once."""
    found, used = [], set()
    for statement in _first_of_each(pays):
        price, by = float(statement.values[0].value.number), str(statement.values[2].value)
        for one in wood:
            if one.done:
                continue
            amount = None
            if by == "cord":
                amount = {"firewood": one.cords, "logs": one.rest}.get(one.wood)
            elif one.wood == "logs" and one.logs is not None:
                amount = Spread(one.logs / 1000, one.logs / 1000)
            if amount is not None and amount.most > 0:
                found.append(Charge(one.piece.block.label, one.piece.step, by, amount, price))
                used.add(id(statement))
    return tuple(found), used


def _first_of_each(pays: Sequence[Statement]) -> list[Statement]:
    """The first line of each unit that wood is paid by."""
    first: dict[str, Statement] = {}
    for statement in pays:
        first.setdefault(str(statement.values[2].value), statement)
    return list(first.values())


def _choices(wood: Sequence[Wood], pays: Sequence[Statement]) -> Iterator[Choice]:
    """Logs or firewood, for each release that is still to come; the first line of a kind is its price."""
    price: dict[str, float] = {}
    for statement in _first_of_each(pays):
        price[str(statement.values[2].value)] = float(statement.values[0].value.number)
    feet, cord = price.get("thousand-board-feet"), price.get("cord")
    for one in wood:
        if one.done or one.logs is None or one.cords is None or one.rest is None or not price:
            continue
        logs = None if feet is None else Spread(one.logs / 1000 * feet, one.logs / 1000 * feet)
        if logs is not None and cord is not None:
            logs = plus(logs, Spread(one.rest.least * cord, one.rest.most * cord))
        stacked = None if cord is None else Spread(one.cords.least * cord, one.cords.most * cord)
        yield Choice(one, logs, stacked)
