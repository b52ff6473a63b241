"""Survey: traverses, ways, and what lies beside them.

Lengths are metres, bearings degrees clockwise from true north, points arrays of
shape (n, 2), east and north. A way is a shapely LineString that runs from its
first point to its last; left and right are those of a person who walks it so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Literal, NamedTuple, overload

import numpy as np
import numpy.typing as npt
import shapely
from shapely import LineString, MultiPolygon, Polygon
from shapely.ops import substring

from habitatlint.units import TOLERANCE, YARD, show

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

#: How far before and after a place the chord runs that gives a way's bearing there.
CHORD = 5 * YARD


class Unplaceable(ValueError):
    """A place that cannot be: words, with braces for lengths in metres."""

    def __init__(self, words: str, *lengths: float) -> None:
        super().__init__(words)
        self.words, self.lengths = words, lengths

    def said(self, unit: str) -> str:
        """The words with the lengths in a plan's unit."""
        return self.words.format(*(show(length, "length", unit) for length in self.lengths))

    def __str__(self) -> str:
        return self.said("yd")


class Closure(NamedTuple):
    """A traverse closed by the compass rule.

    `points` (n, 2) are the adjusted corners, the first not repeated. `dx` and
    `dy` are how far east and north of the first point the last one fell, and
    `misclosure` their length. `precision` is the N of 1:N, the perimeter over
    the misclosure: infinite where it closes exactly.
    """

    points: FloatArray
    misclosure: float
    dx: float
    dy: float
    perimeter: float
    precision: float


def walk(start: tuple[float, float], legs: Iterable[tuple[float, float]]) -> FloatArray:
    """The points of a compass traverse, (legs + 1, 2), the start first.

    Each leg is a bearing and a distance: east += d sin(b), north += d cos(b).
    Without legs, the start alone.
    """
    table = np.array(list(legs), dtype=np.float64).reshape(-1, 2)
    angle = np.radians(table[:, 0])
    steps = table[:, 1:] * np.stack([np.sin(angle), np.cos(angle)], axis=-1)
    return np.asarray(np.cumsum(np.vstack([np.asarray(start, dtype=np.float64), steps]), axis=0))


def close(points: FloatArray) -> Closure:
    """Close a traverse whose last point should fall on its first, by the compass (Bowditch) rule.

    Each point is moved back by the misclosure times the share of the perimeter
    walked to it. `points` has shape (n + 1, 2) for n corners.
    Raises ValueError for fewer than three legs, or legs of no length at all.
    """
    corners = np.asarray(points, dtype=np.float64)
    if len(corners) < 4:
        raise ValueError("a traverse of fewer than three legs encloses nothing")
    walked = _cumulative(corners)
    perimeter = float(walked[-1])
    if perimeter == 0:
        raise ValueError("a traverse of no length encloses nothing")
    gap = corners[-1] - corners[0]
    adjusted = corners - walked[:, None] / perimeter * gap
    misclosure = float(math.hypot(*gap))
    precision = perimeter / misclosure if misclosure > 0 else math.inf
    return Closure(adjusted[:-1], misclosure, float(gap[0]), float(gap[1]), perimeter, precision)


def along(line: LineString, distance: float) -> tuple[float, float]:
    """The place `distance` along a way from its first point.

    Raises ValueError for a place before the way's first point or past its last
    by more than 1 cm; within that it is the end itself.
    """
    length = float(line.length)
    if not -TOLERANCE <= distance <= length + TOLERANCE:
        raise Unplaceable("{} along is not on a way that is {} long", distance, length)
    # a negative distance would be taken from the far end
    place = line.interpolate(min(max(distance, 0.0), length))
    return float(place.x), float(place.y)


def bearing_at(line: LineString, points: FloatArray, chord: float = CHORD) -> FloatArray:
    """The way's bearing at the place nearest each of n points, shape (n,), 0 to 360.

    It is that of the chord from `chord` before that place to `chord` after it,
    clamped at the way's ends, so that it turns smoothly through a bend. Where
    the chord comes back on itself (a loop) or has no length, the bearing is that
    of the leg on which the place lies. Of several nearest places the first
    counts. A way of no length has no bearing: NaN.
    """
    places = np.atleast_2d(np.asarray(points, dtype=np.float64))
    coordinates = _distinct(line)
    if len(coordinates) < 2:
        return np.full(len(places), np.nan)
    at = shapely.line_locate_point(line, shapely.points(places))
    length = float(line.length)
    behind = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(at - chord, 0.0)))
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(line, np.minimum(at + chord, length)))
    vector = ahead - behind
    short = np.hypot(vector[:, 0], vector[:, 1]) < TOLERANCE
    if short.any():
        vector[short] = _leg_directions(coordinates)[_legs_at(coordinates, at[short])]
    return np.asarray(np.degrees(np.arctan2(vector[:, 0], vector[:, 1])) % 360, dtype=np.float64)


def beside(
    line: LineString,
    side: Literal["left", "right"],
    offset: float,
    start: float = 0.0,
    end: float | None = None,
) -> LineString:
    """A parallel of the part of a way from `start` to `end` metres, on the walker's left or right.

    It runs as the way does, with mitred corners, square to the way at both ends;
    `end` left out, or past the way's last point, is that point. Where a bend is
    tighter than the offset the parallel breaks, and its longest piece counts.
    Outside a bend sharper than some 23 degrees the mitre is cut off, at five
    offsets from the way.
    Raises ValueError where nothing remains, or for a negative offset.
    """
    if side not in ("left", "right"):
        raise ValueError(f"a side is left or right, not {side}")
    if offset < 0:
        raise Unplaceable("an offset is not negative: take the other side")
    length = float(line.length)
    first, last = max(start, 0.0), length if end is None else min(end, length)
    if last - first < TOLERANCE:
        far = length if end is None else end
        raise Unplaceable("nothing of a way {} long lies between {} and {}", length, start, far)
    part = substring(line, first, last)
    if offset == 0:
        return part
    parallel = shapely.offset_curve(part, offset if side == "left" else -offset, join_style="mitre")
    pieces = [piece for piece in shapely.get_parts(parallel) if piece.length >= TOLERANCE]
    if not pieces:
        raise Unplaceable(f"no parallel remains {{}} to the {side}: the way bends more tightly than that", offset)
    # GEOS 3.11 and later keep the way's direction on both sides
    return max(pieces, key=lambda piece: float(piece.length))


def around(polygon: Polygon, distance: float) -> Polygon:
    """The outline grown by `distance` metres (shrunk by a negative one), with rounded corners.

    Rounded corners are of eight pieces a quarter turn, so that the outline lies
    up to 0.5% of the distance inside the true arc there. Of several pieces left
    by shrinking the largest counts. Raises ValueError where nothing remains.
    """
    grown = polygon.buffer(distance)
    if isinstance(grown, MultiPolygon):
        grown = max(grown.geoms, key=lambda piece: float(piece.area))
    if grown.is_empty:
        raise Unplaceable("nothing of the outline remains when it is moved in by {}", -distance)
    return grown


def side_of(line: LineString, points: FloatArray) -> IntArray:
    """On which side of a way n points lie, shape (n,): 1 left, -1 right, 0 on it.

    The side is that at the nearest place of the way. What lies beyond an end
    counts on the side of the end leg produced; a loop has no ends. On it means
    within 1 cm of the way, or beyond an end of the leg produced. A point off a
    corner is judged by the mean direction of the corner's two legs. A way that
    has no length has no sides: all 0.
    """
    places = np.atleast_2d(np.asarray(points, dtype=np.float64))
    coordinates = _distinct(line)
    if len(coordinates) < 2:
        return np.zeros(len(places), dtype=np.int64)
    spots = shapely.points(places)
    at = shapely.line_locate_point(line, spots)
    walked = _cumulative(coordinates)
    directions = _leg_directions(coordinates)
    leg = _legs_at(coordinates, at)
    near = 1e-9 * max(1.0, float(walked[-1]))
    from_corner = at - walked[leg] <= near
    to_corner = walked[leg + 1] - at <= near

    # what is seen from a corner: the legs before and after it, one of them alone at an end
    corner = leg + np.where(to_corner, 1, 0)
    before, after = corner - 1, corner
    count = len(directions)
    looped = bool(np.hypot(*(coordinates[-1] - coordinates[0])) < TOLERANCE)
    if looped:
        before, after = before % count, after % count
    tangent = directions[leg]
    at_corner = from_corner | to_corner
    first = np.clip(before, 0, count - 1)
    second = np.clip(after, 0, count - 1)
    mean = directions[first] + directions[second]
    doubled = np.hypot(mean[:, 0], mean[:, 1]) < 1e-9
    tangent = np.where((at_corner & ~doubled)[:, None], mean, tangent)

    foot = np.where(
        at_corner[:, None],
        coordinates[corner % len(coordinates)],
        coordinates[leg],
    )
    away = places - foot
    tangent = tangent / np.hypot(tangent[:, 0], tangent[:, 1])[:, None]
    cross = tangent[:, 0] * away[:, 1] - tangent[:, 1] * away[:, 0]
    beyond = at_corner & ((before < 0) | (after >= count))
    on_it = np.where(beyond, np.abs(cross), shapely.distance(line, spots)) <= TOLERANCE
    return np.where(on_it, 0, np.sign(cross)).astype(np.int64)


@overload
def angle_between(a: float, b: float) -> float: ...
@overload
def angle_between(a: FloatArray, b: float | FloatArray) -> FloatArray: ...
@overload
def angle_between(a: float, b: FloatArray) -> FloatArray: ...
def angle_between(a: float | FloatArray, b: float | FloatArray) -> float | FloatArray:
    """The smallest angle between two lines of bearings a and b, modulo 180: 0 to 90 degrees."""
    apart = (np.asarray(a, dtype=np.float64) - b) % 180
    return _as_given(np.minimum(apart, 180 - apart))


@overload
def turn(a: float, b: float) -> float: ...
@overload
def turn(a: FloatArray, b: float | FloatArray) -> FloatArray: ...
@overload
def turn(a: float, b: FloatArray) -> FloatArray: ...
def turn(a: float | FloatArray, b: float | FloatArray) -> float | FloatArray:
    """The turn from bearing a to bearing b, either way, modulo 360: 0 to 180 degrees."""
    apart = (np.asarray(a, dtype=np.float64) - b) % 360
    return _as_given(np.minimum(apart, 360 - apart))


def _as_given(values: FloatArray) -> float | FloatArray:
    return values if np.ndim(values) else float(values)


def _distinct(line: LineString) -> FloatArray:
    """The way's points, each but once where it stands twice running."""
    coordinates = shapely.get_coordinates(line)
    moved = np.ones(len(coordinates), dtype=bool)
    moved[1:] = (np.diff(coordinates, axis=0) != 0).any(axis=1)
    return np.asarray(coordinates[moved], dtype=np.float64)


def _cumulative(coordinates: FloatArray) -> FloatArray:
    steps = np.diff(coordinates, axis=0)
    return np.concatenate([[0.0], np.cumsum(np.hypot(steps[:, 0], steps[:, 1]))])


def _leg_directions(coordinates: FloatArray) -> FloatArray:
    steps = np.diff(coordinates, axis=0)
    return np.asarray(steps / np.hypot(steps[:, 0], steps[:, 1])[:, None], dtype=np.float64)


def _legs_at(coordinates: FloatArray, distance: FloatArray) -> IntArray:
    """The leg on which each distance lies; at a corner, the leg that starts there."""
    walked = _cumulative(coordinates)
    leg = np.searchsorted(walked, distance, side="right") - 1
    return np.clip(leg, 0, len(coordinates) - 2).astype(np.int64)
