"""Feathered edges: what the job sheets ask of them.

They differ. USDA-NRCS Ohio, *Edge Feathering Job Sheet (647)*, January 2015: patches 30 to 50 ft in, 50 to
100 ft long, with 100 to 150 ft left between. USDA-NRCS New Hampshire, *Feathered Edge Job Sheet NH-647*: 50
ft wide at least, and for light 1.5 times the height of the trees at least. Both were read in mirrors.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, Indices
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Patch
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.units import FOOT, TOLERANCE

#: how far in, how long, and how far apart at least (NRCS Ohio)
DEPTH = (30 * FOOT, 50 * FOOT)
LENGTH = (50 * FOOT, 100 * FOOT)
APART = 100 * FOOT
#: how deep at least, and by the height of the trees (NRCS New Hampshire)
LEAST_FOR_LIGHT = 50 * FOOT
BY_HEIGHT = 1.5


def depth_for_light(height: float) -> float:
    """How deep in metres an edge is cut for light, by the height of the trees: 1.5 times it, 50 ft at least
    (NRCS New Hampshire, NH-647)."""
    return max(LEAST_FOR_LIGHT, BY_HEIGHT * height)


def edge_feathering(depth: float, length: float, apart: float) -> str:
    """What a patch of feathered edge, sizes in metres, has against the Ohio sheet: `shallow`, `deep`,
    `short`, `long`, `close` to the next, or `sized` where it has nothing. The first of them is told."""
    if depth < DEPTH[0] - TOLERANCE:
        return "shallow"
    if depth > DEPTH[1] + TOLERANCE:
        return "deep"
    if length < LENGTH[0] - TOLERANCE:
        return "short"
    if length > LENGTH[1] + TOLERANCE:
        return "long"
    return "close" if apart < APART - TOLERANCE else "sized"


def sides(shape: BaseGeometry) -> tuple[float, float]:
    """The short and the long side in metres of the least rectangle around a shape."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))
    lengths = np.sort(np.hypot(*np.diff(corners[:3], axis=0).T))
    return float(lengths[0]), float(lengths[-1])


@measure(
    "edge-feathering",
    ("patches",),
    "word",
    parts={"depth": "length", "length": "length", "apart": "length"},
    words=("sized", "shallow", "deep", "short", "long", "close"),
)
def feathering(scene: Scene, patches: Rows) -> Measured:
    """Whether a patch is sized as NRCS Ohio's job sheet 647 asks of a feathered edge: 30 to 50 ft in, 50 to
    100 ft long, 100 ft or more from the next patch of `purpose edge`; `sized`, or the first of `shallow`,
    `deep`, `short`, `long` and `close`. The short side of the least rectangle around it is taken for its
    `depth`, the other for its `length`; `apart` is not known for the only one. Unknown for a patch without
    an outline of its own, and of another purpose."""
    edges: list[tuple[int, BaseGeometry]] = [
        (row, shape)
        for row, patch in enumerate(scene.plan.of(Patch))
        if scene.plan.word(patch, "purpose") == "edge" and (shape := scene.shape_of(patch)) is not None
    ]
    number = len(scene.plan.of(Patch))
    sizes = np.full((3, number), np.nan)
    words = np.full(number, "", object)
    if edges:
        shapes = [shape for _, shape in edges]
        index = shapely.STRtree(shapes)
        for at, (row, shape) in enumerate(edges):
            others, gaps = index.query_nearest(shape, exclusive=True, return_distance=True)
            apart = float(gaps[0]) if len(others) else np.inf
            # a second patch on the very same ground is left out by the index
            if any(other != at and shapes[other].equals(shape) for other in index.query(shape, predicate="covers")):
                apart = 0.0
            depth, length = sides(shape)
            sizes[:, row] = depth, length, apart
            words[row] = edge_feathering(depth, length, apart)
    known = words != ""

    def part(which: int) -> Column:
        return Column("length", sizes[which][patches.rows], np.isfinite(sizes[which][patches.rows]), None, "", "ft")

    def taken(which: int, rows: Indices) -> Column:
        return part(which).take(rows)

    return Measured(
        Column(
            "word", words[patches.rows], known[patches.rows], None, "it is no patch of `purpose edge` with an outline"
        ),
        {
            name: (lambda rows, which=which: taken(which, rows))  # type: ignore[misc]
            for which, name in enumerate(("depth", "length", "apart"))
        },
    )
