"""Forestry arithmetic: basal area, stand density, board feet by three log rules, cords; and saw logs that a
plan is about to kill.

A figure of board feet rests on what no plan says, how tall the logs of a tree are. It is assumed that saw
logs of 16 ft are taken from half the tree's height at most, down to 8 in; that the butt log's small end is
0.78 of DBH (form class 78, from memory) and each log above it 2 in thinner (common practice, no source).
So it is an estimate, to tell whether a forester is worth asking, never a price.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground import curves
from habitatlint.ground.columns import Array, Column, Indices
from habitatlint.ground.cuts import KILLING
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Patch, Release, Timber
from habitatlint.measures.timber import Class, basal_areas, classes_of, last_day, timbers_over
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural
from habitatlint.measures.works import tree_works
from habitatlint.units import ACRE, FOOT, INCH, Quantity, Range

#: square feet of stem at breast height, by DBH in inches squared (U. Missouri, Forestry Functions)
SQUARE_FEET = 0.005454154
#: a standard cord in cubic feet, ranked and well stowed (NIST Handbook 130, 2.4.1)
CORD = 128 * FOOT**3
#: small end of the butt log over DBH (form class 78, from memory)
FORM = 0.78
#: what each further log is thinner, and the thinnest small end, in inches (common practice, no source)
THINNER, THINNEST = 2.0, 8.0
#: saw logs are taken from this share of a tree's height at most (common practice, no source)
SAW_SHARE = 0.5
#: length of a saw log, in feet
LOG = 16.0


def basal_area(dbh: float | Array) -> float | Array:
    """Area of a stem at breast height in square metres, by its DBH in metres: 0.005454154 sq ft by inches
    squared (U. Missouri, Forestry Functions)."""
    return SQUARE_FEET * (np.asarray(dbh) / INCH) ** 2 * FOOT**2


def mean_dbh(area: float, stems: float) -> float:
    """Quadratic mean DBH in metres, the DBH of the tree of mean basal area: of `area` sq m and `stems` on
    the same ground (U. Missouri, Forestry Functions: sqrt((BA/TPA)/0.005454154)). 0 without stems."""
    return math.sqrt(area / FOOT**2 / stems / SQUARE_FEET) * INCH if stems > 0 else 0.0


def stand_density(stems: float, dbh: float) -> float:
    """Stand density index, trees an acre of 10 in that crowd as much: stems an acre by (QMD / 10)^1.605
    (Reineke 1933, as at larsendr.github.io/sdi.html). `stems` a square metre, `dbh` in metres."""
    return float(stems * ACRE * (dbh / INCH / 10) ** 1.605)


# -- log rules -------------------------------------------------------------------------------------------


def doyle(inches: float, feet: float) -> float:
    """Board feet of a log by its small end inside bark and its length: (D - 4)^2 L / 16 (Purdue Extension
    FNR-191). 0 up to 4 in."""
    return max(0.0, inches - 4) ** 2 * feet / 16


def scribner(inches: float, feet: float) -> float:
    """Board feet of a log by Scribner's formula, (0.79 D^2 - 2 D - 4) L / 16 (U. Missouri, Forestry
    Functions). Not Decimal C, which is a table of its own: a log of 12 in by 16 ft is 85.8 here, and 80
    there."""
    return max(0.0, 0.79 * inches**2 - 2 * inches - 4) * feet / 16


def international(inches: float, feet: float) -> float:
    """Board feet of a log by the International 1/4-inch rule, as Michigan Compiled Laws 290.401 has it:
    (0.22 D^2 - 0.71 D) 0.904762 for each section of 4 ft, each 1/2 in thicker than the one above it. Of a
    last part section its share counts."""
    board, left, thick = 0.0, feet, inches
    while left > 1e-9:
        board += max(0.0, 0.22 * thick**2 - 0.71 * thick) * 0.904762 * min(left, 4.0) / 4
        left, thick = left - 4, thick + 0.5
    return board


#: the log rules that a plan may name, and what they are called
LOG_RULES: dict[str, tuple[str, Callable[[float, float], float]]] = {
    "doyle": ("Doyle", doyle),
    "scribner": ("Scribner", scribner),
    "international": ("International 1/4-inch", international),
}
#: the rule where a plan names none: of the three, the nearest to what is sawn
USUAL_RULE = "international"


def cords(stacked: float) -> float:
    """Standard cords of a stack of so many cubic metres, outside measure: 128 cu ft each (NIST Handbook 130,
    2.4.1)."""
    return stacked / CORD


class Spread(NamedTuple):
    """The least and the most that a figure can be."""

    least: float
    most: float


#: cubic metres of solid wood in a standard cord: 79 to 90 cu ft (pages that name no source)
SOLID = Spread(79 * FOOT**3, 90 * FOOT**3)
#: a stem's volume over basal area times height: between a cone's and a paraboloid's (common practice, no source)
SHAPES = Spread(1 / 3, 1 / 2)


def stacked_cords(basal_area: float, height: float) -> Spread:
    """Standard cords that stems of so much basal area in square metres and of a height in metres make, stacked:
    stems alone, without limbs. As wide as what is known of the shape of a stem and of the wood in a cord."""
    solid = basal_area * height
    return Spread(solid * SHAPES.least / SOLID.most, solid * SHAPES.most / SOLID.least)


def logs(dbh: float, height: float) -> list[float]:
    """Small ends in inches of the 16-ft saw logs of a tree, the butt log first, by its DBH and height in
    metres; on the assumptions that stand at the head of this file."""
    most = int(SAW_SHARE * height / FOOT / LOG)
    ends = [FORM * dbh / INCH - THINNER * number for number in range(most)]
    return [end for end in ends if end >= THINNEST - 1e-9]


def board_feet(dbh: float, height: float, rule: str) -> float:
    """Board feet of a tree, by its DBH and height in metres and a rule of `LOG_RULES`. 0 for one too small."""
    return sum(LOG_RULES[rule][1](end, LOG) for end in logs(dbh, height))


# -- timbers as stands -------------------------------------------------------------------------------------


class _Stocked(NamedTuple):
    """Trees of one class: how many a square metre, and their DBH in metres."""

    stems: float
    dbh: float


def _stocked(one: Class) -> _Stocked:
    dbh = (one.least + one.largest) / 2
    return _Stocked(one.basal_area / float(basal_area(dbh)) if dbh > 0 else 0.0, dbh)


_NO_CLASS = "no `class` lines are given"


def _of_timbers(scene: Scene, kind: str, figure: Callable[[tuple[Class, ...]], float]) -> Column:
    classes = [classes_of(timber) for timber in scene.plan.of(Timber)]
    known = np.array([any(one.basal_area > 0 for one in each) for each in classes], bool)
    values = np.array([figure(each) if there else np.nan for each, there in zip(classes, known, strict=True)], float)
    return Column(kind, values, known, known.copy(), _NO_CLASS, "in" if kind == "length" else "")


@of_plural("timbers", "stems", "density")
def _stems(scene: Scene) -> Column:
    """Trees on the ground by a timber's classes: of each its basal area over that of a stem of its middle
    DBH."""
    return _of_timbers(scene, "density", lambda classes: sum(_stocked(one).stems for one in classes))


@of_plural("timbers", "mean-dbh", "length")
def _mean_dbh(scene: Scene) -> Column:
    """Quadratic mean DBH of a timber, by its classes."""
    return _of_timbers(scene, "length", _mean_of)


def _mean_of(classes: tuple[Class, ...]) -> float:
    return mean_dbh(sum(one.basal_area for one in classes), sum(_stocked(one).stems for one in classes))


@of_plural("timbers", "stand-density", "number")
def _stand_density(scene: Scene) -> Column:
    """Stand density index of a timber (Reineke), by the stems and quadratic mean DBH of its classes."""
    return _of_timbers(
        scene,
        "number",
        lambda classes: stand_density(sum(_stocked(one).stems for one in classes), _mean_of(classes)),
    )


# -- saw logs about to be killed -----------------------------------------------------------------------------


class _Lost(NamedTuple):
    """Trees of one size that a work kills: how many, their DBH and height in metres."""

    number: float
    dbh: float
    height: float


_UNSAID = "it does not say by `basal-area` what it takes from timber that can be sold"
_UNDATED = "neither its step nor the plan has a date, so nobody knows whether its timber can be sold by then"
_UNCLASSED = "the timber that can be sold has no `class` lines"
_UNSIZED = "no `dbh` is given of trees cut in timber that can be sold"


@measure(
    "saw-logs", ("tree-works", "length"), "count", parts={"rule": "text", "about": "count", "timber": "thing:timbers"}
)
def saw_logs(scene: Scene, works: Rows, sawlog: Column) -> Measured:
    """Board feet of saw logs that a cut or release kills or leaves lying in timber that can be sold: whose
    `market` is `yes`, or `from` a year that has come by the last day of the work (without one, by the plan's
    date). It is of trees over `sawlog` DBH that are hinged, killed standing, felled for a screen or a
    block, or released with the wood for `firewood` or to `leave`. By the plan's log rule, International
    1/4-inch where it names none. A release takes the largest class first; logs are as `volume` assumes:
    16 ft, from half the height at most, down to 8 in, form class 78 (from memory).

    `rule` is the log rule, `about` the figure to two places, `timber` the first such timber. Not known
    where the release does not say what it takes, the timber has no classes, or cut trees no DBH."""
    values, known = np.zeros(len(works)), np.ones(len(works), bool)
    first = np.full(len(works), -1, np.intp)
    reasons: set[str] = set()
    every = tree_works(scene)
    head = scene.plan.head
    rule = (scene.plan.word(head, "log-rule") if head else "") or USUAL_RULE
    for index, work in enumerate(works.rows):
        block, shape = every.blocks[work], every.shapes[work]
        if shape is None or not _loses(scene, block, every.methods[work]):
            continue
        markets = [(timber, _sold(scene, timber, block)) for timber in timbers_over(scene, shape)]
        sold = [timber for timber, can in markets if can]
        if not sold:
            known[index] = all(can is not None for _, can in markets)
            reasons |= set() if known[index] else {_UNDATED}
            continue
        first[index] = scene.row_of("timbers", sold[0].name) or 0
        limit = float(sawlog.values[index])
        if isinstance(block, Release):
            lost, why = _released(scene, block, shape, sold, limit)
        else:
            lost, why = _cut(scene, block, shape, sold, limit, every.trees(scene, int(work)))
        if why:
            known[index] = False
            reasons.add(why)
        values[index] = sum(one.number * board_feet(one.dbh, one.height, rule) for one in lost)
    name = LOG_RULES[rule][0]
    words = np.empty(len(works), object)
    words[:] = name
    return Measured(
        Column(
            "count", values, None if known.all() else known, np.ones(len(works), bool), "; or ".join(sorted(reasons))
        ),
        {
            "rule": lambda rows: Column("text", words[rows]),
            "about": lambda rows: Column("count", np.array([_rounded(one) for one in values[rows]], float)),
            "timber": lambda rows: Column("thing:timbers", first[rows], first[rows] >= 0),
        },
    )


def _rounded(number: float) -> float:
    """To two places, for nobody knows more."""
    return round(number, 1 - math.floor(math.log10(number))) if number >= 10 else round(number)


def _sold(scene: Scene, timber: Timber, block: Block) -> bool | None:
    """Whether a timber can be sold when a work begins: `yes`, or from a year that has come by the last day of
    the work, or else by the plan's date. None where neither is given."""
    market = timber.first("market")
    if market is None:
        return False
    year = next((value.value.number for value in market.values if isinstance(value.value, Quantity)), None)
    if year is None:
        return str(market.values[0].value) == "yes"
    day = last_day(scene, block)
    if day is None and scene.plan.head is not None and scene.plan.head.date is not None:
        day = scene.plan.head.date.value
    return None if day is None else bool(day.year >= year)


def _loses(scene: Scene, block: Block, method: str) -> bool:
    """Whether logs are lost by a work: killed standing, hinged, or felled and left or burnt."""
    if isinstance(block, Release):
        return method in KILLING or scene.plan.word(block, "wood") in ("firewood", "leave")
    lying = scene.plan.word(block, "purpose") in ("screen", "block")
    return method in (*KILLING, "hinge") or (method == "fell" and lying)


def _released(
    scene: Scene, release: Release, shape: BaseGeometry, sold: list[Timber], limit: float
) -> tuple[list[_Lost], str]:
    """What a release takes of saw-log size, the largest class of the timber first."""
    written = basal_areas(release)
    if written is None:
        return [], _UNSAID
    lost: list[_Lost] = []
    for timber in sold:
        classes, ground = classes_of(timber), scene.shape_of(timber)
        area = shape.intersection(ground).area if ground is not None else 0.0
        if area <= 0:
            continue
        if not classes:
            return [], _UNCLASSED
        taken = written[0] - written[1]
        for one in classes:
            gone = min(one.basal_area, max(0.0, taken))
            taken -= gone
            for part, dbh in over(one.least, one.largest, limit):
                number = part * gone / float(basal_area(dbh)) * area
                lost.append(_Lost(number, dbh, height_in(timber, dbh)))
    return lost, ""


def over(least: float, largest: float, limit: float) -> Iterator[tuple[float, float]]:
    """The share of a range of DBH over a limit and the middle of that part; nothing where none is."""
    if largest > limit + 1e-9:
        low = max(least, limit)
        yield ((largest - low) / (largest - least) if largest > least else 1.0), (low + largest) / 2


def height_in(timber: Timber, dbh: float) -> float:
    """Height in metres of a tree of a timber by its DBH: as written, else by the published curves."""
    if timber.height is not None:
        return float(timber.height.value.size)
    return float(curves.height(tuple(str(name.value) for name in timber.species), np.array(dbh)))


def _cut(
    scene: Scene, block: Block, shape: BaseGeometry, sold: list[Timber], limit: float, rows: Indices
) -> tuple[list[_Lost], str]:
    """The trees of a row, patch or tree that stand in such timber and are over the limit."""
    grounds = [(timber, ground) for timber in sold if (ground := scene.shape_of(timber)) is not None]
    if isinstance(block, Patch):
        density = scene.plan.value(block, "density")
        each = density.value.size if density is not None else 0.0
        numbers = [(timber, each * shape.intersection(ground).area) for timber, ground in grounds]
    else:
        stumps = scene.trees.stump[rows]
        numbers = [(timber, float(shapely.covers(ground, stumps).sum())) for timber, ground in grounds]
    numbers = [(timber, number) for timber, number in numbers if number > 0]
    written = scene.plan.value(block, "dbh")
    if not numbers or written is None:
        return [], _UNSIZED if numbers else ""
    size = written.value
    least, largest = (size.least.size, size.largest.size) if isinstance(size, Range) else (size.size, size.size)
    return [
        _Lost(share * number, dbh, height_in(timber, dbh))
        for timber, number in numbers
        for share, dbh in over(least, largest, limit)
    ], ""
