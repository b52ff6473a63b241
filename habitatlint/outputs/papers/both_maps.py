"""The map of two plans: the later one as it is drawn, and dashed and grey beneath it what was otherwise before."""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Set as AbstractSet

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.language.blocks import Cutting, Pocket
from habitatlint.outputs.map.drawing import Drawing, Mark, place_of
from habitatlint.work.comparison import SAME, Change, Comparison

#: what lies farther from the map of the later plan than this share of its size is not made room for
_FAR = 0.25


def drawing_of_both(after: Drawing, comparison: Comparison, came: AbstractSet[int]) -> Drawing | None:
    """The later plan's drawing with what was otherwise before; of its findings those that came, by their identities.
    None where nothing that has a place changed."""
    marks = tuple(mark for change in comparison.changes for mark in _marks(change, after))
    marks += tuple(_trees(comparison))
    if not marks or after.bounds is None:
        return None
    numbered = tuple(one for one in after.numbered if id(one.finding) in came)
    bounds = _bounds(after.bounds, marks)
    return after._replace(marks=(*marks, *after.marks), numbered=numbered, bounds=bounds)


def pockets_touched(drawing: Drawing) -> tuple[str, ...]:
    """The pockets in which anything lay otherwise before, or is new, by their names."""
    scene = drawing.report.scene
    shapes = [
        part for mark in drawing.marks
        if mark.layer == "before" or mark.sign == "added"
        for part in (mark.shape.geoms if mark.sign == "was-tree" else (mark.shape,))
    ]  # fmt: skip
    placed = [(pocket.name, shape) for pocket in scene.plan.of(Pocket) if pocket.name
              and (shape := scene.shape_of(pocket)) is not None]  # fmt: skip
    return tuple(name for name, shape in placed if any(shape.intersects(part) for part in shapes))


def _marks(change: Change, after: Drawing) -> Iterator[Mark]:
    """Where a block was, the way from there to where it is, and that it is new."""
    report = after.report
    if change.after is not None and change.before is None:
        place = place_of(report.scene, change.after)
        if place is not None:
            yield Mark("added", "notes", place, change.after)
        return
    # rows and trees that only changed are shown tree by tree
    by_tree = change.after is not None and isinstance(change.block, Cutting) and change.block.noun != "patch"
    if change.was is None or change.was.is_empty or by_tree or (change.shape is None and change.after is not None):
        return
    yield Mark(_sign(change.was), "before", change.was)
    here = report.scene.shape_of(change.after) if change.after is not None else None
    if change.shape is not None and here is not None and change.shape.moved > SAME:
        ways = [_middle(shape) for shape in (change.was, here)]
        yield Mark("moved", "notes", LineString(ways))


def _sign(shape: BaseGeometry) -> str:
    return "was-point" if isinstance(shape, Point) else "was-area" if shape.area else "was-line"


def _middle(shape: BaseGeometry) -> Point:
    return shape.interpolate(0.5, normalized=True) if isinstance(shape, LineString) else shape.centroid


def _trees(comparison: Comparison) -> Iterator[Mark]:
    """How trees lay that lie otherwise now, all as one mark."""
    stems = [stem for stem, _ in comparison.was if isinstance(stem, LineString) and not stem.is_empty]
    tops = [top for _, top in comparison.was if isinstance(top, Polygon) and not top.is_empty]
    if stems:
        yield Mark("was-tree", "before", shapely.geometrycollections([MultiLineString(stems), MultiPolygon(tops)]))


def _bounds(bounds: tuple[float, float, float, float], marks: tuple[Mark, ...]) -> tuple[float, float, float, float]:
    """The map's bounds with what was, where that is not far off."""
    west, south, east, north = bounds
    far = _FAR * max(east - west, north - south)
    near = shapely.box(west - far, south - far, east + far, north + far)
    shapes = [shapely.box(*bounds), *(mark.shape for mark in marks if near.covers(mark.shape))]
    west, south, east, north = (float(value) for value in shapely.total_bounds(np.array(shapes, object)))
    return west, south, east, north
