"""What every form of exchange is turned into and made from: things with a shape in degrees of WGS 84."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

FloatArray = npt.NDArray[np.float64]

#: the largest file that is read, in bytes, and the most points in one
LARGEST_FILE, MOST_POINTS = 32 * 1024 * 1024, 500_000
#: most things in one file, but for what a plan works out itself; and most rings of one area
MOST_FEATURES, MOST_RINGS = 20_000, 2_000
#: decimals of a degree that are written: 1.1 mm on the ground
DECIMALS = 8
#: pieces of a track no farther apart than this are one walk, in metres (common practice, no source)
LOST_FIX = 50.0
#: a degree of latitude, in metres, near enough to tell a lost fix from another walk
DEGREE = 111_000.0
#: marks what this program wrote: the name space of its elements in XML
NAMESPACE = "urn:x-habitatlint:exchange:1"
#: and before a property where a form has one name space for all
PREFIX = "habitatlint:"
#: what a plan works out itself: marked when it is written, and passed over when it is read
DERIVED = ("trees", "corridor", "findings")


class ExchangeTrouble(Exception):
    """A file that cannot be read or made, in one line that says why and what to do."""


class Feature(NamedTuple):
    """One thing of a file.

    `shape` is a Point, LineString, Polygon or MultiPolygon with x the longitude and y the latitude, in WGS 84
    degrees. `name` is what people call it; `kinds` are words of what it is (a type, a symbol, a category), the
    most telling first; `folder` is the innermost folder it lies in. `properties` are of the plan language, by
    their words, several lines parted by line ends; those with a `noun` say themselves what they are. `walked`
    says that it was recorded point by point, and may be thinned. `where` is its place in the file, for messages.
    """

    shape: BaseGeometry
    name: str = ""
    kinds: tuple[str, ...] = ()
    folder: str = ""
    description: str = ""
    properties: Mapping[str, str] = {}
    walked: bool = False
    where: str = ""

    @property
    def form(self) -> str:
        """`point`, `line` or `area`."""
        return {"Point": "point", "LineString": "line"}.get(self.shape.geom_type, "area")


class Contents(NamedTuple):
    """All of a file: its title, the plan's head where this program wrote it, its things, and what is to be told."""

    title: str
    features: tuple[Feature, ...]
    head: Mapping[str, str] = {}
    told: tuple[str, ...] = ()


class Gathering:
    """Takes the things of a file one by one, counts what cannot be placed, and holds to the caps."""

    def __init__(self) -> None:
        self.features: list[Feature] = []
        self.told: list[str] = []
        self._points = 0
        self._derived = 0
        self._bad: list[str] = []
        self._metres = False

    @property
    def without_place(self) -> int:
        """How many points were left out so far; they are told with their place in the file."""
        return len(self._bad)

    def points(self, numbers: Iterable[Sequence[object]], where: str) -> FloatArray:
        """Longitudes and latitudes (n, 2) of what are points of the earth; the others are counted, with their place."""
        good: list[tuple[float, float]] = []
        for at, pair in enumerate(numbers, 1):
            place = degrees(pair)
            if place is None:
                self._none(pair, f"point {at} of {where}")
            else:
                good.append(place)
        self._count(len(good))
        return np.array(good, dtype=np.float64).reshape(-1, 2)

    def point(self, pair: Sequence[object], where: str) -> Point | None:
        """One point; None, and told, where it is none of the earth."""
        place = degrees(pair)
        if place is None:
            self._none(pair, where)
            return None
        self._count(1)
        return Point(place)

    def _none(self, pair: Sequence[object], where: str) -> None:
        self._bad.append(where)
        numbers = [part for part in pair[:2] if isinstance(part, int | float)]
        self._metres = self._metres or any(1000 < abs(number) < 1e8 for number in numbers)

    def _count(self, points: int) -> None:
        self._points += points
        if self._points > MOST_POINTS:
            raise ExchangeTrouble(f"more than {MOST_POINTS} points; take out what lies off the property first")

    def add(self, feature: Feature) -> None:
        if "derived" in feature.properties:  # of a plan of ten thousand trees there are more than of anything else
            self._derived += 1
            self._points -= len(shapely.get_coordinates(feature.shape))
            return
        if len(self.features) >= MOST_FEATURES:
            raise ExchangeTrouble(f"more than {MOST_FEATURES} things; take out what lies off the property first")
        self.features.append(feature)

    def contents(self, title: str, head: Mapping[str, str] | None = None) -> Contents:
        told = list(self.told)
        if self._derived:
            things = counted(self._derived, "thing")
            told.append(f"{things} passed over that a plan works out itself: findings, trees of rows")
        if self._bad:
            grid = "; they look like metres of a map grid: save it in WGS 84 degrees" if self._metres else ""
            left_out = f"{counted(len(self._bad), 'point')} left out, without a place on the earth"
            told.insert(0, f"{left_out}: {few(self._bad)}{grid}")
        return Contents(plain_text(title, 120), tuple(self.features), dict(head or {}), tuple(told))


def degrees(pair: Sequence[object]) -> tuple[float, float] | None:
    """A longitude and a latitude as numbers; None where they are no place on the earth."""
    try:
        if len(pair) < 2 or any(isinstance(part, bool) for part in pair[:2]):
            return None
        longitude, latitude = float(pair[0]), float(pair[1])  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return None
    if not (math.isfinite(longitude) and math.isfinite(latitude)):
        return None
    # 180 to 360 is how some write the west; a degree over is a slip, and told
    if 180 < longitude <= 360:
        longitude -= 360
    return (longitude, latitude) if abs(latitude) <= 90 and abs(longitude) <= 180 else None


def line_of(points: FloatArray) -> BaseGeometry | None:
    """A line through points; one alone is a point, none nothing."""
    if len(points) == 0:
        return None
    kept = points[np.concatenate([[True], (np.diff(points, axis=0) != 0).any(axis=1)])]
    return Point(kept[0]) if len(kept) == 1 else LineString(kept)


def joined(pieces: Iterable[FloatArray]) -> Iterator[FloatArray]:
    """The pieces of a walk, those that follow each other within a lost fix as one."""
    held: FloatArray | None = None
    for piece in pieces:
        if not len(piece):
            continue
        if held is None:
            held = piece
            continue
        east, north = (piece[0] - held[-1]) * (math.cos(math.radians(piece[0][1])), 1.0) * DEGREE
        if math.hypot(east, north) <= LOST_FIX:
            held = np.vstack([held, piece])
        else:
            yield held
            held = piece
    if held is not None:
        yield held


def area_of(rings: Iterable[FloatArray]) -> BaseGeometry | None:
    """An area of its rings: each is a piece of ground, and one inside another a hole. None of none that has room."""
    drawn = [Polygon(ring) for ring in rings if len(ring) >= 3]
    drawn = sorted((ring for ring in drawn if ring.area > 0), key=lambda ring: -ring.area)
    if not drawn:
        return None
    if len(drawn) == 1 or not all(ring.is_valid for ring in drawn):
        return drawn[0]
    if len(drawn) > MOST_RINGS:
        raise ExchangeTrouble(f"an area in it has more than {MOST_RINGS} rings; take out those that are of no account")
    within, around = shapely.STRtree(drawn).query(drawn, predicate="covered_by")
    deep = np.bincount(within[around < within], minlength=len(drawn))  # a ring lies in larger ones alone
    rings = np.array(drawn, object)
    whole: BaseGeometry = shapely.union_all(rings[deep == 0])
    for depth in range(1, int(deep.max()) + 1):
        level = shapely.union_all(rings[deep == depth])
        whole = whole.difference(level) if depth % 2 else whole.union(level)
    return whole


def rings_of(shape: BaseGeometry) -> list[FloatArray]:
    """Every ring (n, 2) of an area, the first point again at the end: outlines counter-clockwise, holes clockwise,
    as RFC 7946, section 3.1.6, asks."""
    rings: list[FloatArray] = []
    for polygon in polygons_of(shape):
        turned = shapely.orient_polygons(polygon)
        rings += [shapely.get_coordinates(ring) for ring in (turned.exterior, *turned.interiors)]
    return rings


def polygons_of(shape: BaseGeometry) -> list[Polygon]:
    return [part for part in (shape.geoms if isinstance(shape, MultiPolygon) else [shape]) if isinstance(part, Polygon)]


# -- words ---------------------------------------------------------------------------------------------------

#: what no XML may hold, and what could steer a terminal or turn a line about
_UNPRINTED = {
    *range(0x00, 0x20), *range(0x7F, 0xA0), *range(0x200B, 0x2010), *range(0x2028, 0x202F), *range(0x2060, 0x206A),
    *range(0xD800, 0xE000), 0xFEFF, 0xFFFE, 0xFFFF,
}  # fmt: skip
_BLANKED = dict.fromkeys(_UNPRINTED, " ")


def plain_text(text: object, most: int = 400) -> str:
    """Words from a file on one line, without control characters, not longer than so many."""
    words = " ".join(str(text or "")[: 4 * most].translate(_BLANKED).split())
    return words if len(words) <= most else words[: most - 3].rstrip() + "..."


def plain_lines(text: object, most: int = 4000) -> str:
    """A property's lines, each without control characters."""
    lines = (plain_text(line, most) for line in str(text or "")[: 4 * most].splitlines())
    return "\n".join(line for line in lines if line)


def counted(count: int, thing: str) -> str:
    return f"{count} {thing}{'' if count == 1 else 's'}"


def few(names: Sequence[str], most: int = 5) -> str:
    """The first few of a list, and how many more."""
    shown = ", ".join(names[:most])
    return f"{shown} and {len(names) - most} more" if len(names) > most else shown
