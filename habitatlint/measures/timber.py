"""Standing timber over what is cut: basal area of the overstory, before and after releases.

Basal area is 0.005454154 sq ft times DBH in inches squared, a stem (USDA Forest Service, FVS; U.
Missouri Forestry Functions); plans give it by class of diameter.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, column
from habitatlint.ground.cuts import KILLING
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_blocks
from habitatlint.language.blocks import Block, Cutting, Release, Timber
from habitatlint.language.plan import LYING
from habitatlint.measures.season import in_year, leaf_out, steps_of
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.units import INCH, TOLERANCE, Quantity

#: stems over this are overstory (common practice, no source)
OVERSTORY_DBH = 12 * INCH
#: points an area is judged by, along each side of its box
SAMPLES = 9


class Class(NamedTuple):
    """Basal area in a range of diameters: metres, and a fraction (sq m of stem a sq m of ground)."""

    least: float
    largest: float
    basal_area: float


def classes_of(timber: Timber) -> tuple[Class, ...]:
    """Classes of a timber, the largest first."""
    found = [
        Class(line.values[0].value.least.size, line.values[0].value.largest.size, line.values[1].value.size)
        for line in timber.class_
    ]
    return tuple(sorted(found, key=lambda one: -one.largest))


def above(classes: Iterable[Class], dbh: float, taken: float) -> float:
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


class When(NamedTuple):
    """When something is done: its step, whether it is over, and on which day if that is written."""

    step: float | None
    finished: bool
    day: date | None


def when_of(scene: Scene, block: Block) -> When:
    """When the work on a block is done; a tree that lies already is cut already."""
    step, done = scene.plan.value(block, "step"), scene.plan.value(block, "done")
    day = done.value if done is not None and done.kind == "date" else None
    lies = isinstance(block, Cutting) and scene.plan.word(block, "state") in LYING
    return When(step.value.number if step else None, lies or scene.plan.finished(block), day)


def comes_before(first: When, second: When) -> bool | None:
    """Whether one work is over when another begins: what is done comes before what is not, what is done on
    two days goes by them, all else by steps, and in one step neither comes first. None where nobody can
    tell, for want of a step."""
    if first.finished != second.finished:
        return first.finished
    if first.day and second.day:
        return first.day < second.day
    if first.step is None or second.step is None:
        return None
    return first.step < second.step


class Released(NamedTuple):
    """A release: its ground, what it takes and of how much (None where it does not say), and when."""

    shape: BaseGeometry
    takes: float | None
    of: float | None
    when: When
    kills_standing: bool


def releases_of(scene: Scene) -> list[Released]:
    """The releases that the plan's stage counts and that have a place."""
    found = []
    for release in scene.plan.of(Release):
        shape = scene.shape_of(release)
        if shape is None or not scene.plan.counted(release):
            continue
        before, left = basal_areas(release) or (None, None)
        takes = None if before is None or left is None else max(0.0, before - left)
        kills = scene.plan.word(release, "method") in KILLING
        found.append(Released(shape, takes, before, when_of(scene, release), kills))
    return found


def basal_areas(release: Release) -> tuple[float, float] | None:
    """Basal area before a release and after it, as fractions; None where it does not say."""
    if not release.basal_area:
        return None
    written = release.basal_area[0].values
    first, last = written[0].value, written[-1].value
    # `110 to 50 sqft/ac` says the unit once
    return Quantity(first.number, first.unit or last.unit).size, last.size


def _in_time(scene: Scene, released: Released, cut: When) -> bool | None:
    """Whether a release is over when a cut begins, as `comes_before` has it; and where it kills standing, a
    leaf-out between. None where nobody can tell, for want of a step, or for what is killed standing of
    dates."""
    release = released.when
    steps = [_dates(scene, step) if step is not None else None for step in (release.step, cut.step)]
    last = release.day or (steps[0][1] if steps[0] else None)
    first = cut.day or (steps[1][0] if steps[1] else None)
    earlier = comes_before(release, cut)
    if not earlier or not released.kills_standing:
        return earlier
    if last is None or first is None:
        return None
    comes = leaf_out(scene)
    return any(last < in_year(comes, year) <= first for year in range(last.year, first.year + 1))


def _dates(scene: Scene, step: float) -> tuple[date, date] | None:
    """First and last day of a step, None where it has none."""
    one = steps_of(scene).get(step)
    return (one[1].first, one[1].last) if one is not None and one[1].first and one[1].last else None


def last_day(scene: Scene, block: Block) -> date | None:
    """The day the work on a block is over: that of its `done`, else the last of its step; None without."""
    when = when_of(scene, block)
    dates = _dates(scene, when.step) if when.step is not None else None
    return when.day or (dates[1] if dates else None)


class Timbers(NamedTuple):
    """The timbers of a scene that have a place, in the order of the plan, with their ground and its index."""

    timbers: list[Timber]
    shapes: list[BaseGeometry]
    index: shapely.STRtree


def timbers_of(scene: Scene) -> Timbers:
    found: Timbers | None = scene.memo.get("timbers")
    if found is None:
        placed = [(timber, shape) for timber in scene.plan.of(Timber) if (shape := scene.shape_of(timber)) is not None]
        shapes = [shape for _, shape in placed]
        found = scene.memo["timbers"] = Timbers([timber for timber, _ in placed], shapes, shapely.STRtree(shapes))
    return found


def timbers_over(scene: Scene, ground: BaseGeometry) -> list[Timber]:
    """The timbers that stand on a ground, in the order of the plan. One that an area only touches at its edge
    stands beside it; of stumps and of lines what they touch counts."""
    inner = ground.buffer(-TOLERANCE) if ground.area > 0 else ground
    every = timbers_of(scene)
    found = every.index.query(ground if inner.is_empty else inner, predicate="intersects")
    return [every.timbers[row] for row in np.sort(found)]


class _Stand(NamedTuple):
    """A timber: its ground and its classes, none where they are not given."""

    shape: BaseGeometry
    classes: tuple[Class, ...]


class _Woods:
    """The timbers and releases of a scene with their indexes, made once."""

    def __init__(self, scene: Scene) -> None:
        self.timbers = [
            _Stand(shape, classes_of(timber))
            for timber, shape in zip(timbers_of(scene).timbers, timbers_of(scene).shapes, strict=True)
        ]
        self.releases = releases_of(scene)
        self.timber_index = timbers_of(scene).index
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

    def classes_of(self, timbers: tuple[int, ...]) -> list[Class]:
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


@measure("basal-area-of", ("timbers",), "basal-area")
def basal_area_of(scene: Scene, timbers: Rows) -> Column:
    """The basal area that a timber is said to hold: its `basal-area`, or the sum of its classes if that is more;
    unknown where it says neither."""
    values: list[float | None] = []
    every = scene.plan.of(Timber)
    for row in timbers.rows:
        timber = every[int(row)]
        said = [one.value.size for one in (timber.basal_area,) if one is not None]
        classes = [float(line.values[1].value.size) for line in timber.class_]
        values.append(max([*said, *([sum(classes)] if classes else [])], default=None))
    return column("basal-area", values)


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
        when = when_of(scene, blocks[row])
        met = {number for _, releases in places for number in releases}
        in_time = {number: _in_time(scene, woods.releases[number], when) for number in met}
        most, least, first = [], [], []
        for timbers, releases in places:
            classes = woods.classes_of(timbers)
            first.append(above(classes, dbh, 0.0))
            sure = [woods.releases[number].takes or 0.0 for number in releases if in_time[number]]
            perhaps = [
                math.inf if (takes := woods.releases[number].takes) is None else takes
                for number in releases if in_time[number] is not False
            ]  # fmt: skip
            most.append(above(classes, dbh, max(sure, default=0.0)))
            least.append(above(classes, dbh, max(perhaps, default=0.0)))
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


def points_in(shape: BaseGeometry, samples: int = SAMPLES) -> Any:
    """Points that stand for a shape: of an area a lattice laid from its box, of a line its length."""
    if shape.area == 0:
        return shapely.get_coordinates(shapely.segmentize(shape, 10.0))
    west, south, east, north = shape.bounds
    lattice = np.stack(
        np.meshgrid(
            west + (np.arange(samples) + 0.5) / samples * (east - west),
            south + (np.arange(samples) + 0.5) / samples * (north - south),
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
                total += share * above(classes, OVERSTORY_DBH, 0.0)
                known[index] = True
        values[index] = total
    return Column("basal-area", values, known, None, "no `timber` with `class` lines is given over it")
