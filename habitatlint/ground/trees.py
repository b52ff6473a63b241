"""Trees as arrays, standing and down.

A tree of height H cut at height h pivots at the cut: its tip comes to the
ground sqrt((H - h)^2 - h^2) from the stump, and its stem slopes evenly from h
at the stump to 0 at the tip. Its top is what the crown covers, a twelve-sided
ellipse inscribed in the crown's outline over the last part of that reach.

Everything is in metres; bearings are degrees clockwise from true north. Each
argument is a number or an array, and they are broadcast to one row of n trees.
Nothing here raises for a tree without size: what has no reach has a stem of no
length, standing at its stump (so that a distance to it can still be asked),
and what has no crown has an empty top.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from habitatlint.units import INCH

FloatArray = npt.NDArray[np.float64]
GeometryArray = npt.NDArray[np.object_]
Numbers = float | FloatArray

#: A bare stem lower than this is stepped over (common practice, no source).
STEP_OVER = 30 * INCH
#: A bare stem higher than this is walked under (common practice, no source).
WALK_UNDER = 30 * INCH

#: Sides of a top.
SIDES = 12
_HALF_ROOT_3 = np.sqrt(3) / 2
# written out, not computed, so that a top is exactly symmetric and its corner lies at the tip
_COSINES = np.array([1, _HALF_ROOT_3, 0.5, 0, -0.5, -_HALF_ROOT_3, -1, -_HALF_ROOT_3, -0.5, 0, 0.5, _HALF_ROOT_3])
_SINES = np.roll(_COSINES, 3)


def reach(height: Numbers, cut_height: Numbers) -> FloatArray:
    """How far from the stump the tip comes to the ground: sqrt((H - h)^2 - h^2).

    A stem cut at half its height or above cannot bring its tip to the ground:
    it stays hung on its stump, its lie is not known, and its reach is 0. (A cut
    as high as that is a finding of its own.) So is that of a tree of no height.
    """
    tall = np.maximum(np.asarray(height, dtype=np.float64), 0.0)
    # (H - h)^2 - h^2 = H (H - 2h): no loss of digits, and no root of a negative
    return np.asarray(np.sqrt(np.maximum(tall * (tall - 2 * np.asarray(cut_height)), 0.0)), dtype=np.float64)


def stem_height_at(distance: Numbers, cut_height: Numbers, reach: Numbers) -> FloatArray:
    """Height of a fallen stem above the ground, `distance` from its stump: h (1 - d / reach).

    Behind the stump it is the cut's height, past the tip 0. A stem without reach
    has its cut's height at the stump and none away from it.
    """
    far, high, long = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in (distance, cut_height, reach))
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(long > 0, far / long, np.where(far > 0, 1.0, 0.0))
    return np.asarray(high * (1 - np.clip(share, 0.0, 1.0)), dtype=np.float64)


def stems(x: Numbers, y: Numbers, bearing: Numbers, reach: Numbers) -> GeometryArray:
    """Fallen stems, n LineStrings from stump to tip.

    A reach of 0 gives a line of no length at the stump (not valid in the strict
    sense, but it has a place, and distances to it can be taken); a place or
    bearing that is not finite gives LINESTRING EMPTY.
    """
    east, north, turned, long = _row(x, y, bearing, reach)
    tips = _ahead(east, north, turned, long)
    ends = np.stack([np.stack([east, north], axis=-1), np.stack(tips, axis=-1)], axis=1)
    finite = np.isfinite(ends).all(axis=(1, 2))
    lines = np.full(len(east), shapely.LineString(), dtype=np.object_)
    lines[finite] = shapely.linestrings(ends[finite])
    return lines


def tops(
    x: Numbers,
    y: Numbers,
    bearing: Numbers,
    reach: Numbers,
    height: Numbers,
    crown_ratio: Numbers,
    crown_width: Numbers,
) -> GeometryArray:
    """What the crowns of fallen trees cover, n twelve-sided Polygons.

    Each is inscribed in the ellipse of the crown, with a corner at the tip (the
    very point where `stems` ends) and one at the crown's lower end: as long as
    the crown, min(crown_ratio H, reach), and `crown_width` wide. Its area is
    3 a b for half-axes a and b, 95.5% of the ellipse's. Corners run
    anticlockwise. A top without length or width, or not finite, is POLYGON EMPTY.
    """
    east, north, turned, far, tall, ratio, width = _row(x, y, bearing, reach, height, crown_ratio, crown_width)
    half_long = np.minimum(ratio * tall, far) / 2
    half_wide = width / 2
    known = np.isfinite(east + north + turned + far + half_long + half_wide)
    there = known & (half_long > 0) & (half_wide > 0)
    polygons = np.full(len(east), shapely.Polygon(), dtype=np.object_)
    if not there.any():
        return polygons
    east, north, turned, far = (column[there, None] for column in (east, north, turned, far))
    half_long, half_wide = half_long[there, None], half_wide[there, None]
    ahead = far - half_long * (1 - _COSINES)
    left = half_wide * _SINES
    angle = np.radians(turned)
    sine, cosine = np.sin(angle), np.cos(angle)
    corners = np.empty((len(far), SIDES + 1, 2))
    corners[:, :SIDES, 0] = east + ahead * sine - left * cosine
    corners[:, :SIDES, 1] = north + ahead * cosine + left * sine
    corners[:, SIDES] = corners[:, 0]
    polygons[there] = shapely.polygons(corners)
    return polygons


def fallen(stems: GeometryArray, tops: GeometryArray) -> GeometryArray:
    """Each stem with its top, n GeometryCollections: the tree from its stump, for distances."""
    return np.asarray(shapely.geometrycollections(np.stack([stems, tops], axis=-1)), dtype=np.object_)


def barriers(
    x: Numbers,
    y: Numbers,
    bearing: Numbers,
    reach: Numbers,
    cut_height: Numbers,
    tops: GeometryArray,
    step_over: float = STEP_OVER,
    walk_under: float = WALK_UNDER,
    hanging: Numbers = 0.0,
) -> GeometryArray:
    """What a deer in flight does not pass of n fallen trees.

    The top, and of the bare stem (stump to crown) the part too high to step over
    and too low to walk under: step_over <= height <= walk_under + `hanging`, the
    depth to which branches hang below the stem. At equal limits and nothing
    hanging a bare stem bars nowhere. Where the stem bars, a GeometryCollection
    of that part and the top (the part alone where the top is empty), else the
    top as it was given. The part is a line, without width: callers grow it.
    """
    east, north, turned, long, high, hung = _row(x, y, bearing, reach, cut_height, hanging)
    lowest_clear = walk_under + hung
    with np.errstate(divide="ignore", invalid="ignore"):
        start = np.where(high > lowest_clear, long * (1 - lowest_clear / high), 0.0)
        end = long if step_over <= 0 else np.where(high > step_over, long * (1 - step_over / high), 0.0)
    # the crown's lower end is the corner of the top nearest the stump
    bare = shapely.distance(shapely.points(east, north), tops)
    end = np.minimum(end, np.where(np.isnan(bare), long, bare))
    barred = end > start
    whole: GeometryArray = np.array(tops, dtype=np.object_)
    if not barred.any():
        return whole
    at = np.flatnonzero(barred)
    near = _ahead(east[at], north[at], turned[at], start[at])
    far = _ahead(east[at], north[at], turned[at], end[at])
    parts = shapely.linestrings(np.stack([np.stack(near, axis=-1), np.stack(far, axis=-1)], axis=1))
    bushy = ~shapely.is_empty(whole[at])
    both = shapely.geometrycollections(np.stack([parts[bushy], whole[at][bushy]], axis=-1))
    whole[at[bushy]] = both
    whole[at[~bushy]] = parts[~bushy]
    return whole


def _row(*values: Numbers) -> tuple[FloatArray, ...]:
    arrays = np.broadcast_arrays(*(np.atleast_1d(np.asarray(value, dtype=np.float64)) for value in values))
    return tuple(arrays)


def _ahead(x: FloatArray, y: FloatArray, bearing: FloatArray, distance: FloatArray) -> tuple[FloatArray, FloatArray]:
    angle = np.radians(bearing)
    return x + distance * np.sin(angle), y + distance * np.cos(angle)
