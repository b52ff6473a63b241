"""Standing timber over what is cut: basal area of the overstory, before and after releases.

Basal area is 0.005454154 sq ft times DBH in inches squared, a stem (USDA Forest Service, FVS; U.
Missouri Forestry Functions); plans give it by class of diameter.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, distinct
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Release, Timber, Work
from habitatlint.measures.vocabulary import Rows, measure
from habitatlint.reading.values import Day
from habitatlint.units import INCH

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


class _Released(NamedTuple):
    shape: BaseGeometry
    left: float
    step: float | None
    release: Release


def _releases(scene: Scene) -> list[_Released]:
    found = []
    for release in scene.plan.of(Release):
        shape = scene.shape_of(release)
        if shape is None or not (scene.design or release.has("done")):
            continue
        lines = release.basal_area
        left = lines[0].values[-1].value.size if lines else 0.0
        step = scene.plan.value(release, "step")
        found.append(_Released(shape, left, step.value.number if step else None, release))
    return found


def _in_time(scene: Scene, released: _Released, step: float | None) -> bool:
    """Whether a release is over when a cut of a step begins: an earlier step, and where it kills
    standing, a leaf-out between. A release without a step, or a cut without, is not known to be."""
    if step is None:  # not asked in time: any release counts
        return True
    if released.step is None or not released.step < step:
        return False
    if scene.plan.word(released.release, "method") not in KILLED_STANDING:
        return True
    first, then = _dates(scene, released.step), _dates(scene, step)
    if first is None or then is None:
        return False
    head = scene.plan.head
    leaf_out = head.leaf_out.value if head and head.leaf_out else USUAL_LEAF_OUT
    return any(
        first[1].replace(year=year, month=leaf_out.month, day=min(leaf_out.day, 28)) > first[1]
        and first[1].replace(year=year, month=leaf_out.month, day=min(leaf_out.day, 28)) <= then[0]
        for year in range(first[1].year, then[0].year + 1)
    )


def _dates(scene: Scene, step: float) -> Any:
    """First and last day of a step, None where it has none."""
    for work in scene.plan.of(Work):
        for line in work.step:
            if line.values[0].value.number == step:
                when = next((value.value for value in line.values if value.kind in ("period", "date")), None)
                if when is None:
                    return None
                return when if isinstance(when, tuple) else (when, when)
    return None


def overstory_at(scene: Scene, points: Any, dbh: float, step: float | None) -> tuple[np.ndarray, np.ndarray]:
    """Basal area over a DBH at n points (n, 2) when a step begins (None: when all is done), and
    whether each is known: timber with classes stands there, or none stands there at all."""
    places = shapely.points(points)
    over = np.zeros(len(points))
    known = np.ones(len(points), bool)
    covered = np.zeros(len(points), bool)
    left = np.full(len(points), np.inf)
    for released in _releases(scene):
        if _in_time(scene, released, step):
            here = shapely.covers(released.shape, places)
            left[here] = np.minimum(left[here], released.left)
    for timber in scene.plan.of(Timber):
        shape = scene.shape_of(timber)
        if shape is None:
            continue
        here = shapely.covers(shape, places)
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


@measure("overstory", ("cuts",), "basal-area")
def overstory(scene: Scene, cuts: Rows) -> Column:
    """Basal area of the overstory over a cut when its step begins: stems over 12 in and over the
    largest that is cut, at the worst of its places. A release of an earlier step takes the largest
    class first, down to what it leaves; one that kills standing counts from the leaf-out after.
    Unknown where no timber with classes is given."""
    table = scene.table("cuts")
    steps, largest = table.column("step"), table.column("largest-dbh")
    values, known = np.full(len(cuts), np.nan), np.zeros(len(cuts), bool)
    for index, row in enumerate(cuts.rows):
        points = _places(scene, int(row))
        if not len(points):
            continue
        dbh = max(OVERSTORY_DBH, float(largest.values[row]) if largest.mask[row] else 0.0)
        step = float(steps.values[row]) if steps.mask[row] else np.inf
        over, certain = overstory_at(scene, points, dbh, step)
        known[index] = bool(certain.any())
        values[index] = float(over[certain].max()) if certain.any() else np.nan
    return Column("basal-area", values, known, None, _UNKNOWN)


def _places(scene: Scene, row: int) -> Any:
    """The places of a cut: its stumps, or points all over its outline."""
    shape = scene.table("cuts").column("shape").values[row]
    if shape is None:
        return np.empty((0, 2))
    return points_in(shape)


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
