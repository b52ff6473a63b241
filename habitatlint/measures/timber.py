"""Standing timber over what is cut: basal area of the overstory, before and after releases.

Basal area is 0.005454154 sq ft times DBH in inches squared, a stem (USDA Forest Service, FVS; U.
Missouri Forestry Functions); plans give it by class of diameter.
"""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, distinct
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_blocks
from habitatlint.language.blocks import Block, Release, Timber, Work
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.reading.values import Day
from habitatlint.units import INCH, TOLERANCE

#: stems over this are overstory (common practice, no source)
OVERSTORY_DBH = 12 * INCH
#: leaf-out where the plan does not say
USUAL_LEAF_OUT = Day(5, 15)
#: releases that kill the overstory standing: it shades until the season after
KILLED_STANDING = ("girdle", "frill", "hack-and-squirt")
#: points an area is judged by, along each side of its box
SAMPLES = 9


class _Class(NamedTuple):
    """Basal area in a range of diameters: metres, and a fraction (sq m of stem a sq m of ground)."""

    least: float
    largest: float
    basal_area: float


def _classes(timber: Timber) -> list[_Class]:
    """Classes of a timber, the largest first."""
    found = [
        _Class(line.values[0].value.least.size, line.values[0].value.largest.size, line.values[1].value.size)
        for line in timber.class_
    ]
    return sorted(found, key=lambda one: -one.largest)


def _above(classes: list[_Class], dbh: float, left: float | None) -> float:
    """Basal area of stems over a DBH, once the largest have been taken until `left` remains in all.

    A class that the DBH falls into counts by the share of its range above it."""
    total = sum(one.basal_area for one in classes)
    taken = max(0.0, total - left) if left is not None else 0.0
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
    shape: BaseGeometry
    left: float
    when: _When
    release: Release


def _releases(scene: Scene) -> list[_Released]:
    found = []
    for release in scene.plan.of(Release):
        shape = scene.shape_of(release)
        if shape is None or not (scene.design or release.has("done")):
            continue
        lines = release.basal_area
        left = lines[0].values[-1].value.size if lines else 0.0
        found.append(_Released(shape, left, _when(scene, release), release))
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
    if not earlier or scene.plan.word(released.release, "method") not in KILLED_STANDING:
        return earlier
    if last is None or first is None:
        return None
    head = scene.plan.head
    leaf_out = head.leaf_out.value if head and head.leaf_out else USUAL_LEAF_OUT
    leaves = [date(year, leaf_out.month, min(leaf_out.day, 28)) for year in range(last.year, first.year + 1)]
    return any(last < day <= first for day in leaves)


def _dates(scene: Scene, step: float) -> tuple[date, date] | None:
    """First and last day of a step, None where it has none."""
    for work in scene.plan.of(Work):
        for line in work.step:
            if line.values[0].value.number == step:
                when = next((value.value for value in line.values if value.kind in ("period", "date")), None)
                if isinstance(when, date):
                    return when, when
                return (when[0], when[1]) if when is not None else None
    return None


def overstory_at(scene: Scene, points: Any, dbh: float, releases: list[_Released]) -> tuple[np.ndarray, np.ndarray]:
    """Basal area over a DBH at n points (n, 2) once some releases are over, and whether each is
    known: timber with classes stands there. Where releases overlap, what leaves least counts."""
    places = shapely.points(points)
    over = np.zeros(len(points))
    known = np.ones(len(points), bool)
    covered = np.zeros(len(points), bool)
    left = np.full(len(points), np.inf)
    for released in releases:
        here = shapely.dwithin(released.shape, places, TOLERANCE)
        left[here] = np.minimum(left[here], released.left)
    for timber in scene.plan.of(Timber):
        shape = scene.shape_of(timber)
        if shape is None:
            continue
        here = shapely.dwithin(shape, places, TOLERANCE)
        covered |= here
        classes = _classes(timber)
        if not classes:
            known[here] = False
            continue
        for remaining in distinct(left[here]):
            at = here & (left == remaining)
            over[at] += _above(classes, dbh, None if np.isinf(remaining) else float(remaining))
    return over, known & covered


_UNKNOWN = "no `timber` with `class` lines is given where it stands"


_UNTIMED = "it or a release over it has no `step`, or a step no dates, so nobody knows which comes first"


@measure("overstory", ("cuts",), "basal-area", parts={"before": "basal-area"})
def overstory(scene: Scene, cuts: Rows) -> Measured:
    """Basal area of the overstory over a cut when its step begins: stems over 12 in and over the
    largest that is cut, at the worst of its places. A release of an earlier step takes the largest
    class first, down to what it leaves; one of the same step, or a later one, comes too late; one that
    kills standing counts from the leaf-out after. In an as-built only releases that are done count,
    and what is done goes by its days.

    `before` is the same as if nothing were ever released. Unknown where no timber with classes is
    given, and where it hangs on a step or a date that is not given."""
    table, blocks = scene.table("cuts"), cut_blocks(scene)
    shapes_, largest = table.column("shape"), table.column("largest-dbh")
    values, before = np.full(len(cuts), np.nan), np.full(len(cuts), np.nan)
    known, timbered = np.zeros(len(cuts), bool), np.zeros(len(cuts), bool)
    releases_ = _releases(scene)
    for index, row in enumerate(cuts.rows):
        points = points_in(shapes_.values[row]) if shapes_.values[row] is not None else np.empty((0, 2))
        if not len(points):
            continue
        dbh = max(OVERSTORY_DBH, float(largest.values[row]) if largest.mask[row] else 0.0)
        when = _when(scene, blocks[row])
        in_time = [(released, _in_time(scene, released, when)) for released in releases_]

        def worst(releases: list[_Released], points: Any = points, dbh: float = dbh) -> float:
            over, certain = overstory_at(scene, points, dbh, releases)
            return float(over[certain].max()) if certain.any() else np.nan

        before[index] = values[index] = worst([])
        timbered[index] = known[index] = np.isfinite(before[index])
        if not in_time or not timbered[index]:
            continue
        values[index] = worst([released for released, over in in_time if over])
        # what nobody can tell makes a difference only where it would change the figure
        known[index] = values[index] == worst([released for released, over in in_time if over is not False])
    why = _UNKNOWN if (known == timbered).all() else _UNTIMED
    first = Column("basal-area", before, timbered, None, _UNKNOWN)
    return Measured(Column("basal-area", values, known, None, why), {"before": lambda rows: first.take(rows)})


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
    shapes_ = scene.table("pockets").column("shape").values
    values, known = np.full(len(pockets), np.nan), np.zeros(len(pockets), bool)
    for index, row in enumerate(pockets.rows):
        ground = shapes_[row]
        if ground is None:
            continue
        total = 0.0
        for timber in scene.plan.of(Timber):
            shape, classes = scene.shape_of(timber), _classes(timber)
            if shape is not None and classes and (share := shape.intersection(ground).area / ground.area) > 0:
                total += share * _above(classes, OVERSTORY_DBH, None)
                known[index] = True
        values[index] = total
    return Column("basal-area", values, known, None, "no `timber` with `class` lines is given over it")
