"""Standing timber over what is cut: basal area of the overstory, before and after releases.

Basal area is 0.005454154 sq ft times DBH in inches squared, a stem (USDA Forest Service, FVS; U.
Missouri Forestry Functions); plans give it by class of diameter.
"""

from __future__ import annotations

import math
from calendar import isleap
from collections.abc import Iterable
from datetime import date
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column
from habitatlint.ground.cuts import KILLING
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_blocks
from habitatlint.language.blocks import Block, Release, Timber, Work
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.reading.values import Day
from habitatlint.units import INCH, TOLERANCE, Quantity

#: stems over this are overstory (common practice, no source)
OVERSTORY_DBH = 12 * INCH
#: leaf-out where the plan does not say
USUAL_LEAF_OUT = Day(5, 15)
#: points an area is judged by, along each side of its box
SAMPLES = 9


class _Class(NamedTuple):
    """Basal area in a range of diameters: metres, and a fraction (sq m of stem a sq m of ground)."""

    least: float
    largest: float
    basal_area: float


def _classes(timber: Timber) -> tuple[_Class, ...]:
    """Classes of a timber, the largest first."""
    found = [
        _Class(line.values[0].value.least.size, line.values[0].value.largest.size, line.values[1].value.size)
        for line in timber.class_
    ]
    return tuple(sorted(found, key=lambda one: -one.largest))


def _above(classes: Iterable[_Class], dbh: float, taken: float) -> float:
    """Basal area of stems over a DBH, once so much has been taken, the largest class first.

    A class that the DBH falls into counts by the share of its range above it."""
    over = 0.0
    for one in classes:
        gone = min(one.basal_area, taken)
        taken -= gone
        width = one.largest - one.least
        share = (one.largest - max(one.least, dbh)) / width if width > 0 else float(one.largest > dbh)
        over += max(0.0, min(1.0, share) * one.basal_area - gone)
    return over


class _When(NamedTuple):
    """When something is done: its step, whether it is over, and on which day if that is written."""

    step: float | None
    finished: bool
    day: date | None


def _when(scene: Scene, block: Block) -> _When:
    step, done = scene.plan.value(block, "step"), scene.plan.value(block, "done")
    day = done.value if done is not None and done.kind == "date" else None
    return _When(step.value.number if step else None, done is not None, day)


class _Released(NamedTuple):
    """A release: its ground, what it takes (None where it does not say), and when."""

    shape: BaseGeometry
    takes: float | None
    when: _When
    kills_standing: bool


def _releases(scene: Scene) -> list[_Released]:
    found = []
    for release in scene.plan.of(Release):
        shape = scene.shape_of(release)
        if shape is None or not scene.plan.counted(release):
            continue
        takes = None
        if release.basal_area:
            written = release.basal_area[0].values
            first, last = written[0].value, written[-1].value
            # `110 to 50 sqft/ac` says the unit once
            takes = max(0.0, Quantity(first.number, first.unit or last.unit).size - last.size)
        kills = scene.plan.word(release, "method") in KILLING
        found.append(_Released(shape, takes, _when(scene, release), kills))
    return found


def _in_time(scene: Scene, released: _Released, cut: _When) -> bool | None:
    """Whether a release is over when a cut begins: what is done comes before what is not, what is done
    goes by its days, all else by steps; and where it kills standing, a leaf-out between. None where
    nobody can tell, for want of a step, or for what is killed standing of dates."""
    release = released.when
    steps = [_dates(scene, step) if step is not None else None for step in (release.step, cut.step)]
    last = release.day or (steps[0][1] if steps[0] else None)
    first = cut.day or (steps[1][0] if steps[1] else None)
    if release.finished != cut.finished:
        earlier = release.finished
    elif release.day and cut.day:
        earlier = release.day < cut.day
    elif release.step is None or cut.step is None:
        return None
    else:
        earlier = release.step < cut.step
    if not earlier or not released.kills_standing:
        return earlier
    if last is None or first is None:
        return None
    head = scene.plan.head
    leaf_out = head.leaf_out.value if head and head.leaf_out else USUAL_LEAF_OUT
    return any(last < _in_year(leaf_out, year) <= first for year in range(last.year, first.year + 1))


def _in_year(day: Day, year: int) -> date:
    """A day of each year in one of them; 29 February is the 28th where there is none."""
    short = (day.month, day.day) == (2, 29) and not isleap(year)
    return date(year, day.month, 28 if short else day.day)


def _dates(scene: Scene, step: float) -> tuple[date, date] | None:
    """First and last day of a step, None where it has none."""
    found = scene.memo.get("step dates")
    if found is None:
        found = scene.memo["step dates"] = {}
        for work in scene.plan.of(Work):
            for one in work.steps:
                dates = (one.first, one.last) if one.first and one.last else None
                found.setdefault(one.number, dates)
    return found.get(step)


class _Stand(NamedTuple):
    """A timber: its ground and its classes, none where they are not given."""

    shape: BaseGeometry
    classes: tuple[_Class, ...]


class _Woods:
    """The timbers and releases of a scene with their indexes, made once."""

    def __init__(self, scene: Scene) -> None:
        self.timbers = [
            _Stand(shape, _classes(timber))
            for timber in scene.plan.of(Timber)
            if (shape := scene.shape_of(timber)) is not None
        ]
        self.releases = _releases(scene)
        self.timber_index = shapely.STRtree([timber.shape for timber in self.timbers])
        self.release_index = shapely.STRtree([released.shape for released in self.releases])

    def places(self, points: Any) -> set[tuple[tuple[int, ...], tuple[int, ...]]]:
        """What stands over n points (n, 2) and what is released there: the different pairs of timbers and
        releases; points under no timber, or under one without classes, are left out."""
        places = shapely.points(points)
        over: list[tuple[list[int], list[int]]] = [([], []) for _ in places]
        for which, index in enumerate((self.timber_index, self.release_index)):
            at, numbers = index.query(places, predicate="dwithin", distance=TOLERANCE)
            for place, number in zip(at.tolist(), numbers.tolist(), strict=True):
                over[place][which].append(number)
        return {
            (tuple(sorted(timbers)), tuple(sorted(releases)))
            for timbers, releases in over
            if timbers and all(self.timbers[number].classes for number in timbers)
        }

    def classes_of(self, timbers: tuple[int, ...]) -> list[_Class]:
        """The classes of all timbers at a place together, the largest first."""
        found = [one for number in timbers for one in self.timbers[number].classes]
        return sorted(found, key=lambda one: -one.largest)


def _woods(scene: Scene) -> _Woods:
    found = scene.memo.get("woods")
    if found is None:
        found = scene.memo["woods"] = _Woods(scene)
    return found


_UNKNOWN = "no `timber` with `class` lines is given where it stands"


_UNTIMED = "it or a release over it has no `step`, or a step no dates, so nobody knows which comes first"


_UNSAID = "a release over it has no `basal-area`, so nobody knows what it takes"


@measure("overstory", ("cuts",), "basal-area", parts={"before": "basal-area"})
def overstory(scene: Scene, cuts: Rows) -> Measured:
    """Basal area of the overstory over a cut when its step begins: stems over 12 in and over the
    largest that is cut, at the worst of its places. A release `A to B` of an earlier step takes A - B,
    the largest class of all timber there first, and where releases overlap the one that takes most
    counts; one of the same step, or a later one, comes too late; one that kills standing counts from
    the leaf-out after. In an as-built only releases that are done count, and what is done goes by its
    days.

    `before` is the same as if nothing were ever released. Unknown where no timber with classes is
    given, and where it hangs on a step, a date or what a release takes that is not given."""
    table, blocks, woods = scene.table("cuts"), cut_blocks(scene), _woods(scene)
    shapes_, largest = table.column("shape"), table.column("largest-dbh")
    values, before = np.full(len(cuts), np.nan), np.full(len(cuts), np.nan)
    known, timbered = np.zeros(len(cuts), bool), np.zeros(len(cuts), bool)
    reasons: set[str] = set()
    for index, row in enumerate(cuts.rows):
        points = points_in(shapes_.values[row]) if shapes_.values[row] is not None else np.empty((0, 2))
        places = woods.places(points) if len(points) else set()
        if not places:
            continue
        dbh = max(OVERSTORY_DBH, float(largest.values[row]) if largest.mask[row] else 0.0)
        when = _when(scene, blocks[row])
        met = {number for _, releases in places for number in releases}
        in_time = {number: _in_time(scene, woods.releases[number], when) for number in met}
        most, least, first = [], [], []
        for timbers, releases in places:
            classes = woods.classes_of(timbers)
            first.append(_above(classes, dbh, 0.0))
            sure = [woods.releases[number].takes or 0.0 for number in releases if in_time[number]]
            perhaps = [
                math.inf if (takes := woods.releases[number].takes) is None else takes
                for number in releases if in_time[number] is not False
            ]  # fmt: skip
            most.append(_above(classes, dbh, max(sure, default=0.0)))
            least.append(_above(classes, dbh, max(perhaps, default=0.0)))
        before[index], values[index] = max(first), max(most)
        timbered[index] = True
        # what nobody can tell makes a difference only where it would change the figure
        known[index] = max(most) == max(least)
        if not known[index]:
            untimed = any(over is None for over in in_time.values())
            unsaid = any(over is not False and woods.releases[number].takes is None for number, over in in_time.items())
            reasons |= ({_UNTIMED} if untimed else set()) | ({_UNSAID} if unsaid else set())
    why = "; or ".join(sorted(reasons, reverse=True)) or _UNKNOWN
    column_before = Column("basal-area", before, timbered, None, _UNKNOWN)
    return Measured(Column("basal-area", values, known, None, why), {"before": lambda rows: column_before.take(rows)})


def points_in(shape: BaseGeometry) -> Any:
    """Points that stand for a shape: of an area a lattice laid from its box, of a line its length."""
    if shape.area == 0:
        return shapely.get_coordinates(shapely.segmentize(shape, 10.0))
    west, south, east, north = shape.bounds
    lattice = np.stack(
        np.meshgrid(
            west + (np.arange(SAMPLES) + 0.5) / SAMPLES * (east - west),
            south + (np.arange(SAMPLES) + 0.5) / SAMPLES * (north - south),
        ),
        axis=-1,
    ).reshape(-1, 2)
    inner = lattice[shapely.covers(shape, shapely.points(lattice))]
    return inner if len(inner) else shapely.get_coordinates(shape.representative_point())


@measure("overstory-of", ("pockets",), "basal-area")
def overstory_of(scene: Scene, pockets: Rows) -> Column:
    """Basal area of stems over 12 in over a pocket as it stands before any release: the mean of what
    each timber with classes has over it, by the share of the pocket it covers. Unknown where no such
    timber is given."""
    shapes_, woods = scene.table("pockets").column("shape").values, _woods(scene)
    values, known = np.full(len(pockets), np.nan), np.zeros(len(pockets), bool)
    for index, row in enumerate(pockets.rows):
        ground = shapes_[row]
        if ground is None:
            continue
        total = 0.0
        for number in np.sort(woods.timber_index.query(ground, predicate="intersects")):
            shape, classes = woods.timbers[number]
            if classes and (share := shape.intersection(ground).area / ground.area) > 0:
                total += share * _above(classes, OVERSTORY_DBH, 0.0)
                known[index] = True
        values[index] = total
    return Column("basal-area", values, known, None, "no `timber` with `class` lines is given over it")
