"""Ground that a convex shape sweeps when it is carried along lines and outlines, and how far along it they lie."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Array, Indices
from habitatlint.units import YARD

Floats = npt.NDArray[np.float64]

#: lines and outlines of many points are taken as straight within this: less than half a path's width
ROUGH = 0.25 * YARD
_MANY = 12


def smoothed(shape: BaseGeometry) -> BaseGeometry:
    """A shape of many points without those that lie within a quarter yard of the lines between others."""
    return shape if shapely.get_num_coordinates(shape) <= _MANY else shape.simplify(ROUGH)


class Groups(NamedTuple):
    """Things to be swept: points (p, 2) in groups (p,), each swept as its hull; the thing of each group; and the
    things that are shifted whole besides, for theirs are only the edges."""

    things: Array
    points: Floats
    group: Indices
    thing: Indices
    shifted: Indices


def grouped(things: Array) -> Groups:
    """Things (geometries, none of them empty) in the convex pieces that are swept: convex outlines whole,
    other outlines and lines edge by edge."""
    points: list[Floats] = []
    sizes: list[Indices] = []
    of: list[Indices] = []
    shifted: list[int] = []
    parts, thing_of = shapely.get_parts(things, return_index=True)
    areal = shapely.get_dimensions(parts) == 2
    hulls = shapely.convex_hull(parts)
    convex = areal & (shapely.area(hulls) - shapely.area(parts) <= 1e-9 * shapely.area(hulls))
    lines = np.where(convex, hulls, np.where(areal, shapely.boundary(parts), parts))
    for line, index, whole, area in zip(lines, thing_of.tolist(), convex.tolist(), areal.tolist(), strict=True):
        if area and not whole:
            shifted.append(index)
        for piece in [line] if whole else shapely.get_parts(line):
            corners = shapely.get_coordinates(piece)
            count = 1 if whole or len(corners) < 2 else len(corners) - 1
            if count > 1:
                corners = np.stack([corners[:-1], corners[1:]], axis=1).reshape(-1, 2)
            points.append(corners)
            sizes.append(np.full(count, len(corners) // count))
            of.append(np.full(count, index))
    none = np.zeros(0, np.intp)
    counts = np.concatenate([none, *sizes])
    return Groups(things, np.concatenate([np.zeros((0, 2)), *points]), np.repeat(np.arange(len(counts)), counts),
                  np.concatenate([none, *of]), np.array(sorted(set(shifted)), np.intp))  # fmt: skip


def swept(groups: Groups, outlines: Floats) -> tuple[Array, Indices, Indices]:
    """The sums of things with convex shapes, whose outlines are given (k, c, 2): pieces that cover them, the
    thing of each, and the shape of each.

    The sum of a set with a convex shape is that of its boundary, edge by edge, and the set itself shifted to
    any point of the shape; that of a convex set is the hull of the sums of its corners."""
    shapes, corners = outlines.shape[:2]
    count = len(groups.thing)
    points = (outlines[:, None, :, :] + groups.points[None, :, None, :]).reshape(-1, 2)
    of = np.repeat(np.arange(shapes)[:, None] * count + groups.group[None], corners)
    pieces = shapely.convex_hull(shapely.linestrings(points, indices=of)) if count else np.zeros(0, object)
    thing, shape = np.tile(groups.thing, shapes), np.repeat(np.arange(shapes), count)
    for number, outline in enumerate(outlines if len(groups.shifted) else ()):
        moved = groups.things[groups.shifted].copy()
        shapely.set_coordinates(moved, shapely.get_coordinates(moved) + outline.mean(axis=0))
        pieces, thing = np.concatenate([pieces, moved]), np.concatenate([thing, groups.shifted])
        shape = np.concatenate([shape, np.full(len(moved), number)])
    return np.asarray(pieces), thing, shape


class Along(NamedTuple):
    """How far along a direction n things first lie from n sources, in metres, infinite where they do not lie
    ahead; and the places of the things that do, as points (n, 2)."""

    sizes: Floats
    places: Floats


def least_along(sources: Array, things: Array, outlines: Floats, ahead: Floats) -> Along:
    """For each source (a point or a line) and thing, the least distance along `ahead` (n, 2), from any point of
    the source to any point of the thing that lies in a convex shape about it, whose outline is given (n, c, 2).

    The least lies at a corner of source or thing: were it between corners of both, it could be made less by
    moving along both. So it is looked for in the shapes about corners of the source, and in the shapes turned
    about that reach back from corners of the thing."""
    count = len(sources)
    sizes, places = np.full(count, np.inf), np.full((count, 2), np.nan)
    widest = np.hypot(outlines[:, :, 0], outlines[:, :, 1]).max(axis=1)
    asked: list[Indices] = []
    runs: list[Floats] = []
    found: list[Floats] = []
    for here, there, sign in ((sources, things, 1.0), (things, sources, -1.0)):
        corners, of = shapely.get_coordinates(here, return_index=True)
        near = np.flatnonzero(shapely.dwithin(shapely.points(corners), there[of], widest[of]))
        corners, of = corners[near], of[near]
        around = shapely.polygons(corners[:, None, :] + sign * outlines[of])
        met, which = shapely.get_coordinates(shapely.intersection(there[of], around), return_index=True)
        asked.append(of[which])
        runs.append(sign * ((met - corners[which]) * ahead[of[which]]).sum(axis=1))
        found.append(met if sign > 0 else corners[which])
    asking, run, place = np.concatenate(asked), np.concatenate(runs), np.concatenate(found)
    order = np.lexsort((place[:, 1], place[:, 0], np.round(run, 4), asking))
    first = order[np.flatnonzero(np.diff(asking[order], prepend=-1))]
    sizes[asking[first]], places[asking[first]] = run[first], place[first]
    return Along(sizes, places)
