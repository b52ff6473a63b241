"""What work takes and gives, as facts: wood of releases, herbicide, and hours by published rates."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from habitatlint.check import Report
from habitatlint.ground.cuts import LAYING
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Cutting, Mix, Release, Timber, Treatment
from habitatlint.language.plan import PlanText
from habitatlint.measures.rates import CROP_TREE_RELEASE, INJECTION, Hours, Rate
from habitatlint.measures.timber import OVERSTORY_DBH, last_day
from habitatlint.measures.volume import Spread, basal_area, board_feet, height_in, over, stacked_cords
from habitatlint.units import INCH, Quantity
from habitatlint.work.cutlist import Piece, limit_of
from habitatlint.work.stems import Stems, is_over

#: what is a saw log where the rule of that name says nothing else (common practice, no source)
SAWLOG = 12 * INCH


class Wood(NamedTuple):
    """What a release brings down, as saw logs and as firewood, both worked out whatever the plan says of it.

    `logs` is board feet of trees of saw-log size, `log_trees` how many those are, `cords` all of it stacked, stems
    alone, and `rest` the stems too small for a log, which are left for the stack where logs are sold (the tops of log
    trees are in neither); None where none of its trees are counted.
    `uncounted` is the share of the basal area taken whose trees are of no known size, and that is in no figure.
    `markets` is what the plan says of the timbers it comes from, as written; `estimated` where heights are those of
    the published curves."""

    piece: Piece
    wood: str
    logs: float | None
    log_trees: float
    cords: Spread | None
    rest: Spread | None
    uncounted: float
    markets: tuple[tuple[str, str], ...]
    estimated: bool
    done: bool


class Dose(NamedTuple):
    """A mix on one piece of ground: litres of it, and square metres."""

    piece: Piece
    volume: float
    area: float


class MixUse(NamedTuple):
    """A mix in one year (None: nobody knows in which): its volume in litres as far as the label's figure tells, the
    volume of each part, the most a year that its label allows in litres a square metre, and the ground that this much
    needs at that most; the doses of pieces that have an area; stumps to be treated, for which a plan has no dose; and
    pieces whose volume is not known."""

    name: str
    block: Mix | None
    year: int | None
    hacks: float
    volume: float | None
    parts: tuple[tuple[str, float, float | None], ...]
    most: float | None
    ground: float | None
    doses: tuple[Dose, ...]
    stumps: float
    unreckoned: tuple[Piece, ...]
    done: bool


class Worked(NamedTuple):
    """Hours of one piece of work by a published rate; `rate` None and no hours where none is published for it."""

    piece: Piece
    rate: Rate | None
    hours: Hours | None
    why: str


# -- wood ------------------------------------------------------------------------------------------------


def wood_of(report: Report, pieces: Sequence[Piece], stems: Sequence[Stems], rule: str) -> Iterator[Wood]:
    """The wood of releases that bring trees down; of what is killed standing there is none."""
    limit = limit_of(report, "market-timber", "sawlog", SAWLOG)
    for piece in pieces:
        if not isinstance(piece.block, Release) or piece.method not in (*LAYING, "logger"):
            continue
        own = [one for one in stems if one.piece is piece]
        known = [one for one in own if one.timber is not None and one.dbh is not None]
        timbers = list({id(one.timber): one.timber for one in known if one.timber is not None}.values())
        logs = trees = 0.0
        whole, rest = Spread(0.0, 0.0), Spread(0.0, 0.0)
        for one in known:
            assert one.timber is not None and one.dbh is not None
            middle = (one.dbh.least + one.dbh.largest) / 2
            whole = plus(whole, stacked_cords(one.basal_area, height_in(one.timber, middle)))
            left = one.basal_area
            for share, dbh in over(one.dbh.least, one.dbh.largest, limit):
                number = share * one.basal_area / float(basal_area(dbh))
                feet = board_feet(dbh, height_in(one.timber, dbh), rule)
                if feet > 0:
                    logs, trees, left = logs + number * feet, trees + number, left - share * one.basal_area
            rest = plus(rest, stacked_cords(left, height_in(one.timber, middle)))
        counted, taken = bool(known), sum(one.basal_area for one in own)
        yield Wood(
            piece, report.plan.word(piece.block, "wood"), logs if counted else None, trees,
            whole if counted else None, rest if counted else None,
            sum(one.basal_area for one in own if one.timber is None) / taken if taken > 0 else 0.0,
            tuple((timber.name, _market(timber)) for timber in timbers),
            any(timber.height is None for timber in timbers), is_over(report.scene, piece),
        )  # fmt: skip


def _market(timber: Timber) -> str:
    """What a plan says of selling a timber: "yes", "no", "from 2034", or ""."""
    line = timber.first("market")
    if line is None:
        return ""
    year = next((value.value.number for value in line.values if isinstance(value.value, Quantity)), None)
    return f"from {year:g}" if year is not None else str(line.values[0].value)


def plus(one: Spread, other: Spread) -> Spread:
    return Spread(one.least + other.least, one.most + other.most)


# -- herbicide -------------------------------------------------------------------------------------------


def mixes_of(scene: Scene, pieces: Sequence[Piece], stems: Sequence[Stems]) -> Iterator[MixUse]:
    """Every mix by the year of its work; what is done, and stumps that are treated already, apart from what is to
    come."""
    plan = scene.plan
    used: dict[tuple[str, int | None, bool], list[Piece]] = {}
    for piece in pieces:
        if piece.herbicide:
            day = last_day(scene, piece.block)
            done = piece.finished and piece.stump_treatment != "planned"
            used.setdefault((piece.mix, day.year if day else None, done), []).append(piece)
    for (name, year, done), own in sorted(used.items(), key=lambda one: (one[0][0], one[0][1] or 0, one[0][2])):
        block = plan.names.get(name)
        mix = block if isinstance(block, Mix) else None
        by_hacks = [piece for piece in own if piece.method == "hack-and-squirt"]
        reckoned = [piece for piece in by_hacks if piece.volume is not None]
        volume = sum(piece.volume or 0.0 for piece in reckoned) if reckoned else None
        most = float(mix.most.value.size) if mix is not None and mix.most is not None else None
        cut = {id(piece) for piece in own if piece.stump_treatment in ("planned", "done")}
        stumps = sum(one.number or 0.0 for one in stems if id(one.piece) in cut)
        stumps += sum(trees_of(plan, pieces, piece.block) for piece in own if isinstance(piece.block, Treatment))
        yield MixUse(
            name, mix, year, sum(piece.hacks or 0.0 for piece in by_hacks), volume,
            tuple(
                (str(line.values[0].value), share, None if volume is None else volume * share)
                for line in (mix.part if mix is not None else ())
                for share in (float(line.values[1].value.size),)
            ),
            most, None if volume is None or not most else volume / most,
            tuple(Dose(one, one.volume, one.area) for one in reckoned if one.volume is not None and one.area),
            stumps,
            tuple(one for one in own if one.volume is None), done,
        )  # fmt: skip


def trees_of(plan: PlanText, pieces: Sequence[Piece], treatment: Treatment) -> float:
    """How many trees a treatment is of."""
    names = {str(name.value) for name in treatment.of}
    return sum(piece.trees or 0.0 for piece in pieces if piece.block.name in names and isinstance(piece.block, Cutting))


# -- hours -----------------------------------------------------------------------------------------------

_NONE_BY_LENGTH = "its rate is published by the acre, and a row or a tree has no ground of its own"
_NONE_FOR = "no rate of such work has been published"
_NONE_SO_BIG = "the rate that is published is of young trees, up to some 12 in, and bigger ones are taken"
_NO_SIZES = "nobody knows how big the trees are that it takes"


def hours_of(pieces: Sequence[Piece], stems: Sequence[Stems]) -> Iterator[Worked]:
    """Hours of the work on trees that is still to do."""
    for piece in pieces:
        if piece.finished or not piece.method:
            continue
        if piece.method == "hack-and-squirt":
            rate, why = (INJECTION, "") if piece.area else (None, _NONE_BY_LENGTH)
        elif isinstance(piece.block, Release) and piece.method == "fell":
            sizes = [one.dbh for one in stems if one.piece is piece]
            small = sizes and all(size is not None and size.largest <= OVERSTORY_DBH + 1e-9 for size in sizes)
            known = bool(sizes) and all(size is not None for size in sizes)
            why = "" if small else _NONE_SO_BIG if known else _NO_SIZES
            rate = CROP_TREE_RELEASE if small and piece.area else None
        else:
            rate, why = None, _NONE_FOR
        yield Worked(piece, rate, rate.hours(piece.area) if rate is not None and piece.area else None, why)
