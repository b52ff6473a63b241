"""Direct sun on the ground: where the sun stands, and what timber keeps of it.

The ground is taken as level, a timber as a wall of its height all over its outline. The sun's place is that
of the library `ephem`. Hours are those of the 15th of a month, reckoned every 15 minutes, with the sun 5 degrees
up or more: lower down it comes through so much air and so many trunks that it is no direct light to speak of
(common practice, no source). A sky without clouds is meant.
"""

from __future__ import annotations

import math
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Array, Column, Indices, column
from habitatlint.ground.cuts import KILLING, LAYING
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_blocks
from habitatlint.language.blocks import Block, Food, Patch, Release, Timber
from habitatlint.measures.core import is_field
from habitatlint.measures.edge import depth_for_light
from habitatlint.measures.timber import basal_areas, points_in
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.measures.works import height_of
from habitatlint.units import FOOT

#: minutes from one place of the sun to the next, and the day of the month they are reckoned on
EVERY = 15
DAY = 15
#: the year stands for all: from one to another the sun's height on a day differs by a tenth of a degree or so
YEAR = 2026
#: degrees above the level from which the sun counts
LOWEST = 5.0
#: latitudes that stand for a plan which does not say its own: between them deer are hunted
LATITUDES = (25.0, 40.0, 55.0)
#: timber whose height nothing tells is taken so tall where the question is whether it could matter
TALLEST = 100 * FOOT
#: outlines are taken to this, in metres: a twig's width of light
FINE = 0.5
#: ground of more corners than this is cut down to what lies near before it is looked at
MANY = 100
#: points a plot or floor is judged by, along each side of its box
POINTS = 7


def sun_place(
    latitude: float,
    longitude: float,
    when: datetime,
    *,
    elevation: float = 0.0,
    pressure: float = 0.0,
    temperature: float = 15.0,
) -> tuple[float, float]:
    """Altitude and azimuth of the sun's middle in degrees, azimuth from true north, at a moment of universal
    time. `elevation` is metres above the sea; `pressure` millibars and `temperature` degrees Celsius bend the
    light (0 millibars: not at all). Raises ImportError where `ephem` is not installed."""
    import ephem

    observer, sun = ephem.Observer(), ephem.Sun()
    observer.lat, observer.lon, observer.elevation = math.radians(latitude), math.radians(longitude), elevation
    observer.pressure, observer.temp, observer.date = pressure, temperature, when
    sun.compute(observer)
    return math.degrees(sun.alt), math.degrees(sun.az)


@lru_cache(maxsize=64)
def sun_track(latitude: float, month: int) -> Array:
    """The sun over one day, (n, 2): altitude and azimuth in degrees every 15 minutes that it is 5 degrees up
    or more, on the 15th of a month. Local sun time: the longitude makes no difference that counts."""
    start = datetime(YEAR, month, DAY) + timedelta(minutes=EVERY / 2)
    places = [sun_place(latitude, 0.0, start + timedelta(minutes=EVERY * n)) for n in range(24 * 60 // EVERY)]
    track = np.array(places)
    track = track[track[:, 0] >= LOWEST]
    track.setflags(write=False)
    return track


# -- what keeps the sun off ------------------------------------------------------------------------------


class Shade(NamedTuple):
    """Ground with trees of a height on it, in metres, that let a share of the sun through."""

    ground: BaseGeometry
    height: float
    passes: float


class Rays:
    """The rays of a day's sun to n points (n, 2): one for each point and moment of a track (`sun_track`)."""

    def __init__(self, points: Array, track: Array) -> None:
        self.points = points
        angle, steep = np.radians(track[:, 1]), np.tan(np.radians(track[:, 0]))
        self._along = np.column_stack([np.sin(angle), np.cos(angle)]) / steep[:, None]
        self._lines: dict[float, Array] = {}

    def over(self, height: float) -> Array:
        """What lies under the rays until they are so high: a line from its point for each."""
        lines = self._lines.get(height)
        if lines is None:
            ends = self.points + (self._along * height)[:, None]
            pairs = np.stack([np.broadcast_to(self.points, ends.shape), ends], axis=2)
            lines = self._lines[height] = np.asarray(shapely.linestrings(pairs.reshape(-1, 2, 2)))
        return lines

    def light(self, shades: list[Shade], before: Array | None = None) -> Array:
        """What share of each ray the shades let through together (and those `before`): a shade keeps it off
        where it meets the shade's ground before it is over its trees."""
        light = np.ones(len(self.points) * len(self._along)) if before is None else before.copy()
        # what lets nothing through first: the fewer rays are left to look at
        for shade in sorted(self._near(shades), key=lambda one: one.passes):
            left = np.flatnonzero(light)
            shapely.prepare(shade.ground)
            light[left[shapely.intersects(shade.ground, self.over(shade.height)[left])]] *= shade.passes
        return light

    def _near(self, shades: list[Shade]) -> list[Shade]:
        """The shades that lie so near, by their boxes, that a ray may meet them, and of those of many corners
        what lies so near: most of a large plan does not."""
        if not shades:
            return []
        far = np.array([_reach(shade.height) for shade in shades])[:, None]
        bounds = shapely.bounds([shade.ground for shade in shades])
        low, high = self.points.min(axis=0) - far, self.points.max(axis=0) + far
        # of ground that is empty the bounds are no numbers, and nothing meets it
        near = np.flatnonzero((bounds[:, :2] <= high).all(axis=1) & (bounds[:, 2:] >= low).all(axis=1))
        found = [shades[row] for row in near.tolist()]
        return [
            shade
            if shapely.get_num_coordinates(shade.ground) <= MANY
            else shade._replace(ground=shade.ground.intersection(shapely.box(*low[row], *high[row])))
            for row, shade in zip(near.tolist(), found, strict=True)
        ]

    def hours(self, light: Array) -> float:
        """Hours of direct sun a day, the mean of the points."""
        return float(light.sum() / len(self.points) * EVERY / 60)


def day_hours(latitude: float, month: int) -> float:
    """Hours that the sun is 5 degrees up or more on the 15th of a month, over level ground without a tree, by
    its declination (the short equation of NOAA's Global Monitoring Division): within minutes of the track, and
    without a library."""
    day = (date(YEAR, month, DAY) - date(YEAR, 1, 1)).days + 0.5
    turn, north = 2 * math.pi * day / 365, math.radians(latitude)
    declination = (
        0.006918 - 0.399912 * math.cos(turn) + 0.070257 * math.sin(turn) - 0.006758 * math.cos(2 * turn)
        + 0.000907 * math.sin(2 * turn) - 0.002697 * math.cos(3 * turn) + 0.00148 * math.sin(3 * turn)
    )  # fmt: skip
    low = math.sin(math.radians(LOWEST)) - math.sin(north) * math.sin(declination)
    across = math.cos(north) * math.cos(declination)
    return math.degrees(math.acos(min(1.0, max(-1.0, low / across)))) / 7.5 if across > 0 else 0.0


class _Standing(NamedTuple):
    """A timber: its ground without the plots and crops drawn in it, its height (0 where nothing tells)."""

    ground: BaseGeometry
    height: float
    estimated: bool
    ours: bool


class _Opened(NamedTuple):
    """Ground that a release or an edge cut opens: the share of the sun it lets through (None where a release
    does not say), and whether that is done already."""

    ground: BaseGeometry
    passes: float | None
    done: bool


class _Lit:
    """The timbers of a scene and what opens them, with their indexes, made once."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        fields = [
            shape
            for food in scene.plan.of(Food)
            if is_field(scene, food) and (shape := scene.shape_of(food)) is not None
        ]
        index = shapely.STRtree(fields)
        self.timbers: list[_Standing] = []
        for timber in scene.plan.of(Timber):
            ground = scene.shape_of(timber)
            if ground is None:
                continue
            for field in np.sort(index.query(ground, predicate="intersects")):
                ground = ground.difference(fields[field])
            height, estimated = height_of(scene, timber)
            ours = scene.plan.word(timber, "offsite") != "yes"
            self.timbers.append(_Standing(ground.simplify(FINE), height, estimated, ours))
        self.index = shapely.STRtree([timber.ground for timber in self.timbers])
        self.tallest = max((timber.height or TALLEST for timber in self.timbers), default=0.0)
        self.opened = _opened(scene)
        self.opened_index = shapely.STRtree([opened.ground for opened in self.opened])
        self.made: dict[tuple[int, bool], tuple[list[Shade], bool]] = {}
        head = scene.placer.frame
        self.latitude = None if head is None else head.latitude

    def near(self, ground: BaseGeometry) -> list[int]:
        """Timbers that can shade a ground, those of no known height taken as tall as can be."""
        found = np.sort(self.index.query(ground, predicate="dwithin", distance=_reach(self.tallest)))
        return [row for row in map(int, found) if self._reaches(row, ground)]

    def _reaches(self, row: int, ground: BaseGeometry) -> bool:
        timber = self.timbers[row]
        return bool(timber.ground.distance(ground) <= _reach(timber.height or TALLEST))

    def shades(self, row: int, after: bool) -> tuple[list[Shade], bool]:
        """A timber as it shades, once its releases and edge cuts are made or (`after` no) as it stands now;
        and whether a release over it leaves unsaid what it takes, which is then taken for nothing."""
        found = self.made.get((row, after))
        if found is None:
            found = self.made[(row, after)] = self._shades(row, after)
        return found

    def _shades(self, row: int, after: bool) -> tuple[list[Shade], bool]:
        timber = self.timbers[row]
        height, left = timber.height or TALLEST, timber.ground
        met = [self.opened[one] for one in self.opened_index.query(left, predicate="intersects")]
        met = [opened for opened in met if after or opened.done]
        unsaid = any(opened.passes is None for opened in met)
        shades: list[Shade] = []
        # where several open one ground, what lets most through counts
        for opened in sorted(met, key=lambda one: -(one.passes or 0.0)):
            if opened.passes:
                part = left.intersection(opened.ground)
                left = left.difference(opened.ground)
                if opened.passes < 1:
                    shades.append(Shade(part, height, opened.passes))
        return [Shade(left, height, 0.0), *shades], unsaid


def _reach(height: float) -> float:
    """How far trees of a height shade, while the sun is 5 degrees up or more."""
    return height / math.tan(math.radians(LOWEST))


def _opened(scene: Scene) -> list[_Opened]:
    plan = scene.plan
    found = []
    for release in plan.of(Release):
        shape = scene.shape_of(release)
        if shape is not None and plan.counted(release):
            written = basal_areas(release)
            before, left = written or (0.0, 0.0)
            passes = None if written is None else 1 - left / before if before > 0 else 0.0
            found.append(_Opened(shape, passes, plan.finished(release)))
    shapes = scene.table("cuts").column("shape").values
    for row, block in enumerate(cut_blocks(scene)):
        shape = shapes[row]
        cuts = plan.word(block, "purpose") == "edge" and plan.word(block, "method") in (*LAYING, *KILLING)
        if shape is not None and cuts and plan.counted(block):
            found.append(_Opened(_edge_ground(scene, block, shape), 1.0, plan.finished(block)))
    return found


def _edge_ground(scene: Scene, block: Block, shape: BaseGeometry) -> BaseGeometry:
    """What an edge cut opens: a patch its ground, a row or tree a crown's width along its stumps."""
    if isinstance(block, Patch):
        return shape
    rows = scene.trees.rows_of(block)
    crown = float(scene.trees.crown_width[rows].mean()) if len(rows) else 0.0
    cap = "flat" if isinstance(shape, LineString) else "round"
    return shape.buffer(max(crown, FINE) / 2, cap_style=cap)


def _lit(scene: Scene) -> _Lit:
    found = scene.memo.get("light")
    if not isinstance(found, _Lit):
        found = scene.memo["light"] = _Lit(scene)
    return found


_NO_ANCHOR = "the plan has no `anchor`, so nobody knows how high the sun stands there"
_NO_HEIGHT = "timber beside it has no `height`, `class` or `dbh`, so nobody knows how tall it is"
_UNSAID = "a release beside it has no `basal-area`, so nobody knows how much light it lets in"
_NO_LIBRARY = "the library ephem, which tells where the sun stands, is not installed"


@measure("sun-hours", ("shape", "number", "duration"), "duration", parts={"before": "duration", "open": "duration"})
def hours_of_sun(scene: Scene, ground: Column, month: Column, enough: Column) -> Measured:
    """Hours of direct sun a day on a plot or floor on the 15th of a month (1 to 12) from a clear sky, the mean
    of up to 49 points, once the plan's releases and edge cuts (`purpose edge`) are made; in an as-built those
    that are done. A timber is a wall of its height (written, or by the published curves from its largest
    class), but for plots and crops drawn in it. A release lets through the share of basal area it takes; an
    edge cut opens its patch, or a crown's width along its row. The sun counts from 5 degrees up, in steps of
    15 minutes; the ground is level. Common practice, no source, but for the sun's place (ephem).

    `before` is the same as the woods stand now, `open` as if no timber stood there. Held to `enough`: what
    is not known (the latitude for want of an `anchor`, a height, what a release takes) leaves it unknown only
    where it could fall short, from 25 to 55 degrees north and under trees of 100 ft."""
    lit = _lit(scene)
    size = len(ground)
    values, known, estimated = np.zeros(size), np.ones(size, bool), np.zeros(size, bool)
    reasons: set[str] = set()
    latitudes = LATITUDES if lit.latitude is None else (lit.latitude,)
    for index, shape in enumerate(ground.values):
        if shape is None or not ground.mask[index]:
            known[index] = False
            continue
        rows = lit.near(shape)
        whole = [lit.shades(row, True) for row in rows]
        why = {_NO_ANCHOR} if lit.latitude is None else set()
        why |= {_NO_HEIGHT} if any(not lit.timbers[row].height for row in rows) else set()
        why |= {_UNSAID} if any(unsaid for _, unsaid in whole) else set()
        shades = [shade for some, _ in whole for shade in some]
        least = math.inf
        try:
            for latitude in latitudes:
                least = min(least, _hours(shape, shades, latitude, int(month.values[index])))
                if why and least < enough.values[index]:
                    break  # it could fall short: nothing more can be said
        except ImportError:
            least, why = 0.0, {_NO_LIBRARY}
        values[index] = least
        estimated[index] = any(lit.timbers[row].estimated for row in rows)
        if rows and why and values[index] < enough.values[index] + 1e-9:
            known[index] = False
            reasons |= why

    def otherwise(rows: Indices, *, bare: bool) -> Column:
        hours = [
            _hours(
                shape,
                [] if bare else [shade for timber in lit.near(shape) for shade in lit.shades(timber, False)[0]],
                lit.latitude,
                int(month.values[row]),
            )
            if (shape := ground.values[row]) is not None and known[row] and lit.latitude is not None
            else None
            for row in rows
        ]
        return column("duration", hours, _NO_ANCHOR)

    return Measured(
        Column("duration", values, None if known.all() else known, estimated, "; or ".join(sorted(reasons))),
        {"before": lambda rows: otherwise(rows, bare=False), "open": lambda rows: otherwise(rows, bare=True)},
    )


def _hours(ground: BaseGeometry, shades: list[Shade], latitude: float, month: int) -> float:
    if not shades:
        return day_hours(latitude, month)
    rays = _rays(ground, latitude, month)
    return rays.hours(rays.light(shades))


def _rays(ground: BaseGeometry, latitude: float, month: int) -> Rays:
    return Rays(np.asarray(points_in(ground, POINTS)), sun_track(round(latitude, 2), month))


# -- what an edge cut would gain -----------------------------------------------------------------------------

#: sides of a plot, by the bearing from its middle
SIDES = ("north", "east", "south", "west")


@measure(
    "sun-with-edge-cut",
    ("foods", "number"),
    "duration",
    parts={"depth": "length", "side": "text", "one-side": "duration"},
)
def sun_with_edge_cut(scene: Scene, foods: Rows, month: Column) -> Measured:
    """Hours of direct sun a day on a plot as `sun-hours` has it, if an edge were cut into the timber all round
    besides what the plan cuts: `depth` deep, 1.5 times the height of the tallest timber that stands so near
    and 50 ft at least (USDA-NRCS New Hampshire, NH-647), but not into `offsite` timber or beyond the
    boundary. `side` is the side whose edge alone gains most, by the quarter it lies in from the plot's
    middle, and `one-side` the hours with that edge. Without timber of ours so near, the depth is 0 and
    nothing is gained. Not known without an `anchor`."""
    lit = _lit(scene)
    shapes = scene.table("foods").column("shape").values[foods.rows]
    size = len(foods)
    hours, depths, one_side = np.full(size, np.nan), np.zeros(size), np.full(size, np.nan)
    best = np.full(size, "no", object)
    estimated = np.zeros(size, bool)
    for index, shape in enumerate(shapes):
        if shape is None or lit.latitude is None:
            continue
        rows = lit.near(shape)
        ours = [row for row in rows if lit.timbers[row].ours]
        tall = [lit.timbers[row].height or TALLEST for row in ours]
        near = [
            height
            for row, height in zip(ours, tall, strict=True)
            if lit.timbers[row].ground.distance(shape) < depth_for_light(height)
        ]
        depth = depth_for_light(max(near)) if near else 0.0
        strip = shape.buffer(depth, quad_segs=8)
        if scene.property_ is not None:
            strip = strip.intersection(scene.property_)
        estimated[index] = any(lit.timbers[row].estimated for row in rows)

        try:
            rays = _rays(shape, lit.latitude, int(month.values[index]))
        except ImportError:
            continue
        cut: list[Shade] = []
        kept: list[Shade] = []
        for row in rows:
            for shade in lit.shades(row, True)[0]:
                (cut if lit.timbers[row].ours and shade.ground.intersects(strip) else kept).append(shade)
        rest = rays.light(kept)

        def with_cut(strip: BaseGeometry, rays: Rays = rays, cut: list[Shade] = cut, rest: Array = rest) -> float:
            return rays.hours(rays.light([one._replace(ground=one.ground.difference(strip)) for one in cut], rest))

        hours[index] = with_cut(strip)
        each = [with_cut(strip.intersection(_quarter(shape, number))) for number in range(4)] if near else [0.0]
        depths[index] = depth
        # of two sides that gain alike the first, not the one a rounding favours
        most = next(number for number, gained in enumerate(each) if gained > max(each) - EVERY / 60)
        one_side[index] = each[most] if near else hours[index]
        best[index] = SIDES[most] if near else "no"
    known = np.isfinite(hours)
    why = _NO_ANCHOR if lit.latitude is None else _NO_LIBRARY
    return Measured(
        Column("duration", hours, None if known.all() else known, estimated, why),
        {
            "depth": lambda rows: Column("length", depths[rows]),
            "side": lambda rows: Column("text", best[rows]),
            "one-side": lambda rows: Column("duration", one_side[rows], known[rows], estimated[rows], why),
        },
    )


def _quarter(shape: BaseGeometry, number: int) -> Polygon:
    """The quarter of the ground around a shape's middle that looks north, east, south or west."""
    middle, far = shape.centroid, 2 * math.hypot(*np.subtract(shape.bounds[2:], shape.bounds[:2])) + 10 * TALLEST
    east, north = (math.sin(math.radians(90 * number)), math.cos(math.radians(90 * number)))
    ahead, aside = np.array([east, north]) * far, np.array([-north, east]) * far
    here = np.array([middle.x, middle.y])
    return Polygon([here, here + ahead + aside, here + ahead - aside])
