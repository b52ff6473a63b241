"""Ground cut into triangles that meet side to side.

For most of what is asked any cutting will do: it does not hang on how the ground is cut. The quick one goes
by ears (the library mapbox_earcut), whose work is not guaranteed, so it is proved each time: the triangles
cover what the ground covers, every corner of it is one of theirs, and the sides that only one triangle has
are as long together as the ground's outline. Where that fails, and for walks along the sides, which should be
short, GEOS cuts it.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import shapely

Array = npt.NDArray[Any]

#: a piece of ground with more holes than this is cut into tiles of about as many first, for cutting a piece
#: into triangles takes the square of its holes: by ears, and by GEOS
_EAR_HOLES, _GEOS_HOLES = 200, 48
#: ears are cut of ground turned by so many radians, so that places of a straight line are not straight to the last
#: digit: such places are dropped, also where a triangle beside has them for a corner
_TURN = 0.7
#: what a proof may be off by, as a share, for sums of many small numbers
_PROOF = 1e-7


class Triangles(NamedTuple):
    """Triangles of pieces of ground. Pieces share no corner, not even where they touch in a point.

    `corners` are the corners of each triangle by number (n, 3), `places` the corners (m, 2) in metres, `piece`
    the piece that each triangle is of (n,). `own` tells the corners that are the ground's own and not a
    tile's (m,), `outer` those that may lie on the outer ring of a piece (m,). `ends` are the two corners of each
    side (k, 2), `pairs` its two triangles (k, 2), the second -1 where the ground ends."""

    corners: Array
    places: Array
    piece: Array
    own: Array
    outer: Array
    ends: Array
    pairs: Array


def triangles_of(pieces: Array) -> Triangles:
    """The triangles of pieces of ground, polygons (n,) in metres, quickly."""
    made = _by_ears(*_tiled(pieces, _EAR_HOLES))
    return made if made is not None and _proved(made, pieces) else even_triangles_of(pieces)


def even_triangles_of(pieces: Array) -> Triangles:
    """The triangles of pieces of ground, polygons (n,) in metres, with as short sides as may be: Delaunay's."""
    return _by_geos(*_tiled(pieces, _GEOS_HOLES))


def _proved(made: Triangles, pieces: Array) -> bool:
    """Whether triangles are the ground's, no more and no less, and meet side to side."""
    one, two, three = (made.places[made.corners[:, number]] for number in range(3))
    doubled = np.abs((two - one)[:, 0] * (three - one)[:, 1] - (two - one)[:, 1] * (three - one)[:, 0])
    alone = made.ends[made.pairs[:, 1] < 0]
    outline = np.hypot(*(made.places[alone[:, 0]] - made.places[alone[:, 1]]).T).sum()
    area, length = shapely.area(pieces).sum(), shapely.length(pieces).sum()
    is_whole = math.isclose(doubled.sum() / 2, area, rel_tol=_PROOF)
    # a side of three triangles is told twice, and then there are more ends of triangles than sides have
    meets = (made.pairs >= 0).sum() == made.corners.size
    # a corner on a straight line may be dropped on both sides of it, which neither area nor outline tells
    every = np.bincount(made.corners.ravel(), minlength=len(made.places)).all()
    return is_whole and bool(meets) and bool(every) and math.isclose(outline, length, rel_tol=_PROOF)


def _by_ears(parts: Array, of_part: Array, own: Array | None) -> Triangles | None:
    """Triangles cut ear by ear; None where a part gives none."""
    from mapbox_earcut import triangulate_float64

    rings, of_ring = shapely.get_rings(parts, return_index=True)
    if not len(rings):
        return _joined(np.empty((0, 3), np.intp), np.empty((0, 2)), np.empty(0, np.intp), np.empty(0, bool), own)
    closed = shapely.get_num_coordinates(rings)
    kept = np.ones(closed.sum(), bool)
    kept[np.cumsum(closed) - 1] = False  # a ring's last place is its first again
    places = shapely.get_coordinates(rings)[kept]
    ends = np.cumsum(closed - 1)
    first = np.append(True, of_ring[1:] != of_ring[:-1])
    rings_from = np.append(np.flatnonzero(first), len(rings))
    turned = places @ np.array([(math.cos(_TURN), math.sin(_TURN)), (-math.sin(_TURN), math.cos(_TURN))])
    cut, begin = [], 0
    for here, there in zip(rings_from[:-1].tolist(), rings_from[1:].tolist(), strict=True):
        end = int(ends[there - 1])
        found = triangulate_float64(turned[begin:end], (ends[here:there] - begin).astype(np.uint32))
        if not len(found):
            return None
        cut.append(found.astype(np.intp) + begin)
        begin = end
    piece_of_place = np.repeat(of_part[of_ring], closed - 1)
    corners = np.concatenate(cut).reshape(-1, 3)
    return _joined(corners, places, piece_of_place, np.repeat(first, closed - 1), own)


def _by_geos(parts: Array, of_part: Array, own: Array | None) -> Triangles:
    cut = shapely.constrained_delaunay_triangles(parts)
    piece = np.repeat(of_part, shapely.get_num_geometries(cut))
    places = shapely.get_coordinates(shapely.get_parts(cut)).reshape(-1, 4, 2)[:, :3].reshape(-1, 2)
    corners = np.arange(len(places)).reshape(-1, 3)
    return _joined(corners, places, np.repeat(piece, 3), np.ones(len(places), bool), own)


def _joined(corners: Array, places: Array, piece: Array, outer: Array, own: Array | None) -> Triangles:
    """Triangles whose corners at one place of a piece are one corner, and their sides."""
    order = np.lexsort((places[:, 1], places[:, 0], piece))
    ordered, of = places[order], piece[order]
    new = np.ones(len(order), bool)
    new[1:] = (ordered[1:] != ordered[:-1]).any(axis=1) | (of[1:] != of[:-1])
    number = np.empty(len(order), np.intp)
    number[order] = np.cumsum(new) - 1
    outer = np.logical_or.reduceat(outer[order], np.flatnonzero(new)) if len(order) else outer
    corners, piece = number[corners], piece[corners[:, 0]]
    ends, pairs = _sides(corners)
    places = ordered[new]
    is_own = np.ones(len(places), bool) if own is None else np.isin(_whole_numbers(places), own)
    return Triangles(corners, places, piece, is_own, outer, ends, pairs)


def _sides(corners: Array) -> tuple[Array, Array]:
    """The two corners of each side (k, 2), and its two triangles (k, 2; -1 for none)."""
    first, second = corners.ravel(), corners[:, [1, 2, 0]].ravel()
    low, high = np.minimum(first, second), np.maximum(first, second)
    order = np.argsort(low * (int(high.max(initial=0)) + 1) + high, kind="stable")
    low, high, of = low[order], high[order], order // 3
    same = np.zeros(len(order) + 1, bool)
    same[1:-1] = (low[1:] == low[:-1]) & (high[1:] == high[:-1])
    kept = np.flatnonzero(~same[:-1])
    across = np.where(same[kept + 1], of[np.minimum(kept + 1, len(of) - 1)], -1)
    return np.column_stack([low[kept], high[kept]]), np.column_stack([of[kept], across])


def _whole_numbers(places: Array) -> Array:
    """Places (n, 2) as one number each, to be looked up."""
    return np.asarray(places[:, 0] + 1j * places[:, 1])


def _tiled(pieces: Array, most: int) -> tuple[Array, Array, Array | None]:
    """The pieces of ground, those with more holes than `most` in tiles that meet side to side; the number of
    the piece that each is of; and, where there are tiles, the corners that are the ground's own as whole numbers."""
    holes = shapely.get_num_interior_rings(pieces)
    few = np.flatnonzero(holes <= most)
    parts, of = [pieces[few]], [few]
    for number in np.flatnonzero(holes > most).tolist():
        piece = pieces[number]
        west, south, east, north = piece.bounds
        side = math.sqrt((east - west) * (north - south) * most / holes[number])
        lines = [[(x, south - side), (x, north + side)] for x in np.arange(west + side / 2, east, side)]
        lines += [[(west - side, y), (east + side, y)] for y in np.arange(south + side / 2, north, side)]
        # joined in one go, so that tiles share the very corners
        joined = shapely.union_all([piece.boundary, *shapely.linestrings(lines)])
        tiles = shapely.get_parts(shapely.polygonize(shapely.get_parts(joined)))
        shapely.prepare(piece)
        tiles = tiles[shapely.covers(piece, shapely.point_on_surface(tiles))]
        parts.append(tiles)
        of.append(np.full(len(tiles), number))
    tiled = len(few) < len(pieces)
    own = _whole_numbers(shapely.get_coordinates(pieces)) if tiled else None
    return np.concatenate(parts), np.concatenate(of), own
