"""Where light air drifts with a hunter's scent: down drains and slopes in the evening, up them in the morning.

That cooling air drains downhill and warming air climbs is known to everyone who hunts hills; how far it
carries scent is not. The distances here are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Array, Column, Indices, Place, Table, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Drain, Food, Pocket, Slope, Stand
from habitatlint.measures.scent import WITHOUT_SIT, sources, whence
from habitatlint.measures.sweep import Along, least_along, smoothed
from habitatlint.measures.vocabulary import Measured, Rows, measure, plural
from habitatlint.units import TOLERANCE, YARD

Floats = npt.NDArray[np.float64]

#: whether air runs down, up or both in the hours of a sit; both for all day, and where none is given
_HOURS = {"evening": (True,), "morning": (False,)}


def haunt_blocks(scene: Scene) -> list[Block]:
    """Where deer bed and where they feed: the rows of `haunts`."""
    return [*scene.plan.of(Pocket), *scene.plan.of(Food)]


@plural("haunts", {"name": "name", "shape": "shape", "food": "truth"})
def _haunts(scene: Scene) -> Table:
    """Where deer bed and where they feed: pockets and food."""
    blocks = haunt_blocks(scene)
    table = Table("haunts", len(blocks), lambda row: blocks[row].label, lambda row: blocks[row].name,
                  lambda row: blocks[row].span())  # fmt: skip
    shapes = [scene.shape_of(block) for block in blocks]

    def written(row: int, field: str) -> Place | None:
        statement = blocks[row].first(field)
        return Place(blocks[row].span(statement), False) if statement is not None else None

    table.written = written
    table.unplaced = np.array([shape is None for shape in shapes], bool)
    table.add("name", lambda: column("name", [block.name for block in blocks]))
    table.add("shape", lambda: column("shape", shapes))
    table.add("food", lambda: column("truth", [isinstance(block, Food) for block in blocks]))
    return table


class _Course(NamedTuple):
    """What light air runs along: a drain or slope, and its ground with what lies near it."""

    block: Block
    ground: BaseGeometry
    around: BaseGeometry


class Drift(NamedTuple):
    """How far light air carries from a stand to a haunt, along what, in the evening or in the morning, from
    which part of the stand, and where it comes to."""

    run: float
    course: Block | None
    evening: bool
    part: int
    place: BaseGeometry | None


_NONE = Drift(np.inf, None, True, 0, None)


def _courses(scene: Scene, near: float) -> list[_Course]:
    found: list[_Course] | None = scene.memo.get(("courses of air", near))
    if found is None:
        blocks = [*scene.plan.of(Drain), *scene.plan.of(Slope)]
        placed = [(block, shape) for block in blocks if (shape := scene.shape_of(block)) is not None]
        found = [_Course(block, smoothed(shape), smoothed(shape).buffer(near)) for block, shape in placed]
        scene.memo[("courses of air", near)] = found
    return found


def drifts(scene: Scene, near: float, far: float) -> dict[tuple[int, int], Drift]:
    """By the rows of stand and haunt, where light air carries: within `near` of a drain or slope, `far` along it."""
    found: dict[tuple[int, int], Drift] | None = scene.memo.get(("drifts", near, far))
    if found is not None:
        return found
    found = scene.memo[("drifts", near, far)] = {}
    blocks, stands, source = haunt_blocks(scene), scene.plan.of(Stand), sources(scene)
    haunts = np.array(
        [None if (shape := scene.shape_of(block)) is None else smoothed(shape) for block in blocks], object
    )
    for course in _courses(scene, near):
        legs = np.flatnonzero(shapely.intersects(source.shapes, course.around))
        close = np.flatnonzero(shapely.intersects(haunts, course.around))
        # what of a walk or a haunt lies near a course is the same for all it is asked of
        whence_, where = (shapely.intersection(of, course.around) for of in (source.shapes[legs], haunts[close]))
        pairs = [
            (one, two, evening)
            for one, two in shapely.STRtree(where).query(whence_, predicate="dwithin", distance=far + near).T.tolist()
            for evening in _HOURS.get(scene.plan.word(stands[source.stand[legs[one]]], "sit"), (True, False))
            if evening or not isinstance(blocks[close[two]], Food)
        ]
        if not pairs:
            continue
        ones, twos, evenings = (np.array(one) for one in zip(*pairs, strict=True))
        if isinstance(course.block, Slope):
            run = _down_slope(scene, course.block, whence_[ones], where[twos], evenings, near, far)
        else:
            stations = [[_stations(course.ground, one) for one in of] for of in (whence_, where)]
            run = _down_drain([stations[0][one] for one in ones], [stations[1][two] for two in twos], evenings, far)
        for index in np.flatnonzero(run.sizes <= far + TOLERANCE):
            leg, haunt = legs[ones[index]], int(close[twos[index]])
            key = (int(source.stand[leg]), haunt)
            size = max(0.0, float(run.sizes[index]))
            if size < found.get(key, _NONE).run - TOLERANCE:
                place = shapely.points(run.places[index])
                found[key] = Drift(size, course.block, bool(evenings[index]), int(source.part[leg]), place)
    return found


def _down_slope(scene: Scene, slope: Slope, sources_: Array, things: Array, evening: Array, near: float,
                far: float) -> Along:  # fmt: skip
    """Air runs straight down a slope in the evening, straight up in the morning, `near` to either side."""
    falls = slope.first("falls")
    bearing = scene.placer.bearing(slope, falls.values[0]) if falls is not None else np.nan
    toward = np.radians(bearing + np.where(evening, 0, 180))
    ahead = np.stack([np.sin(toward), np.cos(toward)], axis=1)
    aside = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1) * near
    outlines = np.stack([aside, -aside, far * ahead - aside, far * ahead + aside], axis=1)
    return least_along(sources_, things, outlines, ahead)


class _Stations(NamedTuple):
    """How far down a drain the places of a shape lie, in metres, and these places (n, 2)."""

    at: Floats
    places: Floats


def _stations(line: BaseGeometry, shape: BaseGeometry) -> _Stations:
    points = shapely.get_coordinates(shapely.segmentize(shape, YARD))
    return _Stations(np.asarray(shapely.line_locate_point(line, shapely.points(points))), points)


def _down_drain(starts: list[_Stations], ends: list[_Stations], evening: Array, far: float) -> Along:
    """Air runs along a drain; a place lies on it where the drain is nearest, looked at a yard apart."""
    sizes, places = np.full(len(starts), np.inf), np.full((len(starts), 2), np.nan)
    for index, ((at_start, _), (at_end, points)) in enumerate(zip(starts, ends, strict=True)):
        sign = 1 if evening[index] else -1
        begin, at = np.sort(sign * at_start), sign * at_end
        behind = np.searchsorted(begin, at + TOLERANCE, side="right") - 1
        runs = np.where(behind >= 0, at - begin[np.maximum(behind, 0)], np.inf)
        least = int(np.argmin(np.round(runs, 3)))
        if runs[least] <= far + TOLERANCE:
            sizes[index], places[index] = runs[least], points[least]
    return Along(sizes, places)


@measure(
    "drift",
    ("stands", "haunts", "length", "length"),
    "length",
    parts={"place": "place", "from": "text", "goes": "text", "hour": "text", "course": "text", "sit": "word"},
)
def drift(scene: Scene, stands: Rows, haunts: Rows, near: Column, far: Column) -> Measured:
    """How far light air carries scent from a stand, or the walk to it or from it, to a haunt, in metres along
    a drain or slope that comes within `near` of stand or walk. Infinite where none carries there within `far`.

    In the evening air runs down, in the morning up; a sit all day has both. It keeps within `near` of the
    drain's line, or of the fall line from where the hunter is, on the slope and `near` beyond its outline.
    Morning air is not looked at for food, which deer leave then. Along a drain places are looked at a
    yard apart. `from` is what it comes from, `goes` "drains down" or "climbs", `hour` when, `course` the
    drain or slope, `place` where it comes to; `sit` when the stand is sat in: not known for one that does not say, to
    whose haunt some air carries."""
    every = scene.plan.of(Stand)
    rows = stands.rows.tolist()
    reaches = zip(near.values.astype(float), far.values.astype(float), strict=True)
    found = [
        drifts(scene, close, most).get((row, haunt), _NONE)
        for row, haunt, (close, most) in zip(rows, haunts.rows.tolist(), reaches, strict=True)
    ]

    def said(words: Callable[[int, Drift], str]) -> Callable[[Indices], Column]:
        return lambda of: column("text", [words(rows[row], found[row]) for row in of.tolist()])

    def sit(of: Indices) -> Column:
        sits = [scene.plan.word(every[rows[row]], "sit") for row in of.tolist()]
        known = [bool(one) or found[row].course is None for one, row in zip(sits, of.tolist(), strict=True)]
        return Column(
            "word", np.array([one or "all" for one in sits], object), np.array(known, bool), None, WITHOUT_SIT
        )

    return Measured(
        column("length", [one.run for one in found]),
        {
            "place": lambda of: column("place", [found[row].place for row in of.tolist()]),
            "from": said(lambda row, one: whence(every[row], one.part)),
            "goes": said(lambda row, one: "drains down" if one.evening else "climbs"),
            "hour": said(lambda row, one: "evening" if one.evening else "morning"),
            "course": said(lambda row, one: one.course.label if one.course else "nothing"),
            "sit": sit,
        },
    )
