"""Slips of a plan as a document, seen once it is on the ground."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise, zip_longest
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.findings import Fact, Related, Slip
from habitatlint.ground import curves
from habitatlint.ground.columns import alike
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_pockets
from habitatlint.language.blocks import (
    Block,
    Boundary,
    Cutting,
    Inspection,
    Opening,
    Patch,
    Path,
    Planting,
    Pocket,
    Release,
    Row,
    Stand,
    Task,
    Timber,
    Treatment,
    Tree,
    Winds,
    Work,
)  # fmt: skip
from habitatlint.reading.grammar import did_you_mean, near
from habitatlint.source import Span
from habitatlint.units import TOLERANCE, YARD, show

#: how well a boundary is known where the plan does not say
USUAL_ACCURACY = YARD
#: shares that add up to one within this do so; how far off a record may be is its rule's limit
ROUNDING = 1e-9
#: what does not stop at the property line, and is known for what it does to it
BEYOND = ("boundary", "hazard", "slope", "drain", "setback")
#: blocks that are work and belong to a step
WORK = (Row, Patch, Tree, Release, Opening, Planting, Task, Treatment, Inspection)


def record(scene: Scene) -> list[Slip]:
    """Every slip of the plan as a document, in no order that matters."""
    found: list[Slip] = []
    for judge in (
        _off_property, _cut_pockets, _outside_pockets, _beds, _cut_heights, _dates, _winds, _entries, _steps, _species,
    ):  # fmt: skip
        found += judge(scene)
    return found


def _slip(kind: str, block: Block, at: object = None, **facts: object) -> Slip:
    return Slip(kind, block.span(at), thing=block.label, name=block.name, **facts)  # type: ignore[arg-type]


def _off_property(scene: Scene) -> Iterator[Slip]:
    ground = scene.property_
    if ground is None:
        return
    boundary, *more = scene.plan.of(Boundary)
    # a boundary too many is told as that: what lies within it is not told once more
    ground = shapely.union_all([ground, *(shape for one in more if (shape := scene.shape_of(one)) is not None)])
    accuracy = scene.placer.metres(boundary.accuracy) if boundary.accuracy else USUAL_ACCURACY
    grown = ground.buffer(accuracy + TOLERANCE, quad_segs=16)
    shapely.prepare(grown)
    for block in scene.plan.blocks:
        shape = scene.shape_of(block) if not block.broken else None
        if shape is None or block.noun in BEYOND or scene.plan.word(block, "offsite") == "yes" or grown.covers(shape):
            continue
        corners = _outside(shape, ground)
        distances = shapely.distance(corners, ground)
        worst = int(np.argmax(distances))
        yield _slip(
            "off-property", block, block.first("outline") or block.first("line") or block.first("stumps") or block.first("at"),  # noqa: E501
            size=Fact(float(distances[worst]), "length"), limit=Fact(accuracy, "length"),
            place=(corners[worst].x, corners[worst].y),
        )  # fmt: skip


def _outside(shape: Any, ground: Any) -> Any:
    """Points by which to tell how far a shape goes beyond the ground: its own corners, then points along
    what of it lies outside, and the middle of such a piece, which may be a hole of the ground that it fills."""
    corners = shapely.points(shapely.get_coordinates(shape))
    if isinstance(shape, Point):
        return corners
    beyond = shapely.difference(shape, ground)
    along = shapely.get_coordinates(shapely.segmentize(beyond, max(YARD, shapely.length(beyond) / 2000)))
    middles = [
        shapely.get_point(shapely.maximum_inscribed_circle(piece, TOLERANCE), 0)
        for piece in shapely.get_parts(beyond)
        if isinstance(piece, Polygon)
    ]
    more = np.concatenate([shapely.points(along), np.array(middles, object)])
    # a corner of its own is the place a person looks for: others only where they lie farther out
    farthest = shapely.distance(corners, ground).max()
    return np.concatenate([corners, more[shapely.distance(more, ground) > farthest + TOLERANCE]])


def _cut_pockets(scene: Scene) -> Iterator[Slip]:
    for pocket, cut in zip(scene.plan.of(Pocket), cut_pockets(scene), strict=True):
        cover = pocket.cover
        if cover is not None and cover.value == "cut" and not cut:
            yield _slip("cut-pocket-without-cut", pocket, pocket.first("cover"))


def _outside_pockets(scene: Scene) -> Iterator[Slip]:
    trees = scene.trees
    placed = [(one, ground) for one in scene.plan.of(Pocket) if (ground := scene.shape_of(one)) is not None]
    index = shapely.STRtree([ground for _, ground in placed])
    for block in scene.plan.blocks:
        if not isinstance(block, Row | Tree | Patch) or block.broken:
            continue
        pocket = scene.plan.names.get(scene.plan.word(block, "in"))
        ground = scene.shape_of(pocket) if isinstance(pocket, Pocket) else None
        if pocket is None or ground is None:
            continue
        if isinstance(block, Patch):
            shape = scene.shape_of(block)
            corners = [] if shape is None else list(dict.fromkeys(map(tuple, shapely.get_coordinates(shape))))
            points = shapely.points(np.array(corners, float).reshape(-1, 2))
        else:
            points = trees.stump[trees.rows_of(block)]
        distances = shapely.distance(points, ground)
        out = int(np.sum(distances > TOLERANCE))
        if out:
            worst = int(np.argmax(distances))
            here = Related(pocket.span(), f"the pocket {pocket.name}")
            what = f"{out} of {len(points)} {'corners' if isinstance(block, Patch) else 'stumps'}"
            yield _slip("row-outside-pocket", block, block.first("in"), found=what, size=Fact(float(distances[worst]), "length"),  # noqa: E501
                        why=pocket.label, place=(points[worst].x, points[worst].y), related=(here,),
                        hint=did_you_mean(_other_pocket(block, points, placed, index)))  # fmt: skip


def _other_pocket(
    block: Block, points: Any, placed: Sequence[tuple[Pocket, BaseGeometry]], index: shapely.STRtree
) -> str:
    """The `in` of the one pocket that a cut lies in all through, where it names another itself; "" for none."""
    if block.first("in") is None:
        return ""
    near = (placed[at] for at in sorted(index.query(points[0], predicate="dwithin", distance=TOLERANCE).tolist()))
    names = [pocket.name for pocket, ground in near if shapely.dwithin(points, ground, TOLERANCE).all()]
    return f"in {names[0]}" if len(names) == 1 and names[0] else ""


def _beds(scene: Scene) -> Iterator[Slip]:
    for pocket in scene.plan.of(Pocket):
        ground = scene.shape_of(pocket)
        placed = [(bed, at) for bed in pocket.bed for at in scene.placer.points(pocket, [bed])]
        if ground is None or not placed:
            continue
        distances = shapely.distance(shapely.points(np.array([at for _, at in placed])), ground)
        for index in np.flatnonzero(distances > TOLERANCE):
            bed, at = placed[index]
            yield _slip("bed-outside-pocket", pocket, bed, size=Fact(float(distances[index]), "length"), place=at)


def _cut_heights(scene: Scene) -> Iterator[Slip]:
    trees = scene.trees
    high = (trees.cut_height > trees.height / 2 + TOLERANCE) & np.isin(trees.method, ("hinge", "fell"))
    too_high = np.flatnonzero(high)
    for index, rows in alike(trees.block[too_high]):
        block, row = trees.blocks[int(index)], int(too_high[rows[0]])
        owner = scene.plan.owner(block, "cut-height")
        span = owner[0].span(owner[1]) if owner else block.span()
        cut, height = float(trees.cut_height[row]), float(trees.height[row])
        judged = "" if trees.height_written[row] else ", by published curves"
        yield Slip(
            "cut-too-high", span, thing=block.label, name=block.name, size=Fact(cut / height, "share"),
            found=f"{show(cut, 'length', unit='ft')} up on trees {show(height, 'length', unit='ft')} tall{judged}",
        )  # fmt: skip


def _dates(scene: Scene) -> Iterator[Slip]:
    """A step may begin with the one before it, never earlier."""
    for work in scene.plan.of(Work):
        dated = sorted((step.number, step.first, step.line) for step in work.steps if step.first is not None)
        for (number, before, first), (later, day, line) in pairwise(dated):
            if later > number and day < before:
                yield _slip("dates-out-of-order", work, line, found=f"step {later:g} begins on {day}",
                            why=f"step {number:g} on {before}",
                            related=(Related(work.span(first), f"step {number:g}"),))  # fmt: skip


def _winds(scene: Scene) -> Iterator[Slip]:
    for winds in scene.plan.of(Winds):
        total = sum(line.values[1].value.size for line in winds.from_)
        total += winds.calm.value.size if winds.calm else 0.0
        if winds.from_ and abs(total - 1) > ROUNDING:
            yield _slip("winds-do-not-add", winds, size=Fact(total, "share"))


def _entries(scene: Scene) -> Iterator[Slip]:
    used = {
        str(name.value)
        for stand in scene.plan.of(Stand)
        for word in ("reach", "leave")
        for name in scene.plan.values(stand, word)
    }
    for path in scene.plan.of(Path):
        ours = scene.plan.word(path, "offsite") != "yes"
        if ours and scene.plan.word(path, "use") in ("entry", "exit") and path.name not in used:
            yield _slip("unused-entry", path, found=scene.plan.word(path, "use"))


def _steps(scene: Scene) -> Iterator[Slip]:
    """Where a plan has an order of work: work that is in no step, and steps without work."""
    steps = [(work, step) for work in scene.plan.of(Work) for step in work.steps]
    if not steps:
        return
    known = {step.number for _, step in steps}
    # a broken line of the order of work may be any step, and a broken `step` may be work of any
    some_unread = any("step" in block.parsed.broken for block in scene.plan.blocks if isinstance(block, Work))
    some_unplaced = False
    used = set()
    for block in scene.plan.blocks:
        if not isinstance(block, WORK):
            continue
        step = scene.plan.value(block, "step")
        if step is not None:
            used.add(step.value.number)
        some_unplaced |= step is None and scene.plan.gives(block, "step")
        if block.broken:
            continue
        leaves = isinstance(block, Cutting) and scene.plan.word(block, "method") in ("leave", "")
        if isinstance(block, Inspection) or scene.plan.word(block, "offsite") == "yes" or leaves:
            continue
        if step is None and not scene.plan.gives(block, "step") and not scene.plan.finished(block):
            yield _slip("work-without-step", block, why="it has no `step`")
        elif step is not None and step.value.number not in known and not some_unread:
            yield _slip("work-without-step", block, block.first("step"),
                        why=f"the order of work has no step {step.value.number:g}")  # fmt: skip
    for work, one in steps:
        if one.number not in used and not some_unplaced:
            yield _slip("step-without-work", work, one.line, found=f"step {one.number:g}")


def _to_end(first: Span, last: Span) -> Span:
    return Span(first.source, first.start, last.end)


def _species(scene: Scene) -> Iterator[Slip]:
    """Species that no curve is known for: a usual hardwood's sizes are taken."""
    for block in scene.plan.blocks:
        if not isinstance(block, Cutting | Timber) or block.broken:
            continue
        for name, after in zip_longest(block.species, block.species[1:]):
            species = str(name.value)
            if species not in curves.KNOWN:
                both = f"{species}-{after.value}" if after else ""  # `red maple` for `red-maple`
                apart = both in curves.KNOWN
                hint = did_you_mean(both if apart else near(species, curves.KNOWN))
                slip = _slip("unknown-species", block, name, found=species, hint=hint)
                yield slip._replace(span=_to_end(slip.span, block.span(after))) if apart else slip
