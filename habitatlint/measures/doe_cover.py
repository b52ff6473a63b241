"""Cover for does by the food: how far it is, how much there is of it, and whether it is cut first.

A pocket that does not say whose bed it is meant to be is for any deer, does among them. Every
distance and share here is common practice, no source.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, Indices, column
from habitatlint.ground.cuts import KILLING, LAYING
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_blocks, cut_pockets
from habitatlint.language.blocks import Block, Food, Patch, Pocket
from habitatlint.language.plan import LYING
from habitatlint.measures.core import food_side, is_field
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural
from habitatlint.units import TOLERANCE

#: a pocket is cover once this share of its trees is cut
COVER_FROM = 0.5


def for_does(scene: Scene, pocket: Pocket) -> bool:
    """Whether a pocket is cover for does: meant for them, for any deer, or for nobody in particular."""
    return scene.plan.word(pocket, "for") != "bucks"


def _doe_pockets(scene: Scene) -> tuple[list[int], list[BaseGeometry]]:
    """The rows and grounds of the pockets that are cover for does."""
    found = [
        (row, shape)
        for row, pocket in enumerate(scene.plan.of(Pocket))
        if for_does(scene, pocket) and (shape := scene.shape_of(pocket)) is not None
    ]
    return [row for row, _ in found], [shape for _, shape in found]


@measure("to-doe-cover", ("foods",), "length", parts={"place": "place"})
def to_doe_cover(scene: Scene, foods: Rows) -> Measured:
    """How far a food is from the nearest pocket that is cover for does, or for any deer, in metres,
    edge to edge; 0 where they touch. A neighbour's pocket counts: deer mind no line. `place` is the
    place of the food nearest that pocket. Unknown where no such pocket is placed."""
    _, pockets = _doe_pockets(scene)
    grounds = scene.table(foods.plural).column("shape").values[foods.rows]
    nearest = np.full(len(foods), None, object)
    placed = np.array([ground is not None for ground in grounds], bool)
    if pockets and placed.any():
        index = shapely.STRtree(pockets).nearest(grounds[placed])
        nearest[placed] = shapely.shortest_line(grounds[placed], np.array(pockets, object)[index])

    def place(rows: Indices) -> Column:
        return column("place", [None if line is None else shapely.get_point(line, 0) for line in nearest[rows]])

    return Measured(column("length", [None if line is None else line.length for line in nearest]), {"place": place})


# -- how much of it there is ---------------------------------------------------------------------------


def _area(scene: Scene, pockets: list[Pocket]) -> float:
    """The ground of pockets together, to the square metre; what two share counts once."""
    shapes = [shape for pocket in pockets if (shape := scene.shape_of(pocket)) is not None]
    return float(round(shapely.union_all(shapes).area)) if shapes else 0.0


@of_plural("plans", "outer-cover", "area")
def _outer(scene: Scene) -> Column:
    """Ground of all food-side pockets that are cover for does, cut, natural or planted, a neighbour's among them."""
    pockets = [
        pocket
        for pocket, beside in zip(scene.plan.of(Pocket), food_side(scene), strict=True)
        if beside and for_does(scene, pocket)
    ]
    return column("area", [_area(scene, pockets)] * scene.table("plans").size)


@of_plural("plans", "inner-cover", "area")
def _inner(scene: Scene) -> Column:
    """Ground of all cut pockets that are cover for does and not food-side, a neighbour's left out."""
    pockets = [
        pocket
        for pocket, beside, cut in zip(scene.plan.of(Pocket), food_side(scene), cut_pockets(scene), strict=True)
        if cut and not beside and for_does(scene, pocket) and scene.plan.word(pocket, "offsite") != "yes"
    ]
    return column("area", [_area(scene, pockets)] * scene.table("plans").size)


# -- whether it is cut first ---------------------------------------------------------------------------


class _When(NamedTuple):
    """When a cut is made: whether it is over, on which day if that is written, and in which step."""

    finished: bool
    day: date | None
    step: float | None


def _before(first: _When, second: _When) -> bool | None:
    """Whether a cut is made before another: what is done before what is not, what is done by its days,
    all else by steps; what is cut in the same step is not. None where nobody can tell."""
    if first.finished != second.finished:
        return first.finished
    if first.day and second.day:
        return first.day < second.day
    if first.step is None or second.step is None:
        return None
    return first.step < second.step


class _Cut(NamedTuple):
    """Trees of one block that are cut in a pocket: when, and how many (of a patch as many as it asks)."""

    block: Block
    when: _When
    trees: float


def _when(scene: Scene, block: Block) -> _When:
    step, done = scene.plan.value(block, "step"), scene.plan.value(block, "done")
    finished = scene.plan.finished(block) or scene.plan.word(block, "state") in LYING
    day = done.value if done is not None and done.kind == "date" else None
    return _When(finished, day, step.value.number if step else None)


def _cuts(scene: Scene) -> dict[int, list[_Cut]]:
    """By the row of a pocket, all that is cut in it, in order of the plan, whatever the plan's stage counts."""
    found = scene.memo.get("cuts of pockets")
    if found is not None:
        return found  # type: ignore[no-any-return]
    cuts: dict[int, list[_Cut]] = {}
    trees = scene.trees
    rows = np.flatnonzero((trees.pocket >= 0) & np.isin(trees.method, (*LAYING, *KILLING)) & (trees.state != "blown"))
    pairs = trees.pocket[rows] * len(trees.blocks) + trees.block[rows]
    order = np.sort(pairs)
    starts = np.flatnonzero(np.diff(order, prepend=-1))
    for pair, count in zip(order[starts], np.diff(starts, append=len(order)), strict=True):
        pocket, number = divmod(int(pair), len(trees.blocks))
        block = trees.blocks[number]
        cuts.setdefault(pocket, []).append(_Cut(block, _when(scene, block), float(count)))
    for pocket, patch, count in _patches(scene):
        cuts.setdefault(pocket, []).append(_Cut(patch, _when(scene, patch), count))
    scene.memo["cuts of pockets"] = cuts
    return cuts


def _patches(scene: Scene) -> list[tuple[int, Patch, float]]:
    """Patches that are cut, each with the row of a pocket it is in (the one named, else those its middle
    stands in), and about how many trees it takes."""
    pockets = scene.plan.of(Pocket)
    shapes = [scene.shape_of(pocket) for pocket in pockets]
    index = shapely.STRtree([shape if shape is not None else shapely.Point() for shape in shapes])
    found: list[tuple[int, Patch, float]] = []
    for patch in scene.plan.of(Patch):
        if scene.plan.word(patch, "method") not in (*LAYING, *KILLING):
            continue
        ground, named = scene.shape_of(patch), scene.plan.word(patch, "in")
        rows = [row for row, pocket in enumerate(pockets) if pocket.name == named] if named else []
        if not named and ground is not None:
            rows = sorted(index.query(ground.centroid, predicate="intersects").tolist())
        density = scene.plan.value(patch, "density")
        for row in rows:
            over = ground if ground is not None else shapes[row]
            many = density.value.size * over.area if density is not None and over is not None else 1.0
            found.append((row, patch, float(many)))
    return found


def _early(scene: Scene, begun: list[_Cut], cover: int) -> tuple[bool | None, _Cut | None]:
    """Whether any of these cuts is made before a pocket is cover, and which; None where nobody can tell."""
    pocket = scene.plan.of(Pocket)[cover]
    made = _cuts(scene).get(cover, [])
    standing = scene.plan.word(pocket, "cover") in ("natural", "planted") or scene.plan.word(pocket, "offsite") == "yes"
    if standing or not made:
        return False, None
    trees: dict[_When, float] = {}
    for cut in made:
        trees[cut.when] = trees.get(cut.when, 0.0) + cut.trees
    enough = sum(trees.values()) * (1 - COVER_FROM) + 1e-9
    verdict: bool | None = False
    asked: dict[_When, bool | None] = {}
    for cut in begun:
        if cut.when not in asked:
            later = [(_before(cut.when, when), count) for when, count in trees.items()]
            if sum(count for before, count in later if before) > enough:
                return True, cut
            asked[cut.when] = None if sum(count for before, count in later if before is not False) > enough else False
        verdict = None if asked[cut.when] is None else verdict
    return verdict, None


_UNTIMED = "it or the cover by a plot or crop has no `step`, so nobody knows which is cut first"


@measure(
    "ahead-of-cover",
    ("pockets", "length"),
    "count",
    parts={
        "food": "thing:foods", "cover": "thing:pockets", "first": "thing:cuts", "begun": "things:cuts",
        "until": "number",
    },
)  # fmt: skip
def ahead_of_cover(scene: Scene, pockets: Rows, reach: Column) -> Measured:
    """The number of plots and crops whose own cover for does is cut only after cutting begins in a pocket.

    A plot's own cover is every pocket for does, or for any deer, within `reach` of it; it is there
    once half the trees of one of them are cut, and from the start where one is natural, planted, a
    neighbour's or has nothing to be cut. What is done comes before what is not, what is done goes by
    its days, all else by steps; the same step is not before. A plot without such cover is no matter
    of order, and a pocket that is itself a plot's cover is not ahead of it. `food` is the first such
    plot, `cover` its cover, `first` the cut that comes too soon. `until` is the step by which every such plot has
    cover whole, `begun` the cuts of the pocket that come before it and are not done. Unknown where it hangs on a step
    that is not given. Common practice, no source."""
    fields = [
        (row, shape) for row, food in enumerate(scene.plan.of(Food))
        if is_field(scene, food) and (shape := scene.shape_of(food)) is not None
    ]  # fmt: skip
    rows_of_does, grounds = _doe_pockets(scene)
    within = float(reach.values.max(initial=0.0)) + TOLERANCE
    near: list[list[int]] = [[] for _ in fields]
    if fields and grounds:
        tree = shapely.STRtree(grounds)
        asked, met = tree.query([shape for _, shape in fields], predicate="dwithin", distance=within)
        for field, pocket in sorted(zip(asked.tolist(), met.tolist(), strict=True)):
            near[field].append(rows_of_does[pocket])
    cut_rows = {id(block): row for row, block in enumerate(cut_blocks(scene))}
    values: list[int | None] = []
    foods, covers, firsts = (np.full(len(pockets), -1, np.intp) for _ in range(3))
    until = np.full(len(pockets), np.nan)
    begins: list[list[_Cut]] = []
    for index, row in enumerate(pockets.rows):
        begun = [cut for cut in _cuts(scene).get(int(row), []) if scene.plan.counted(cut.block)]
        late, unsure, ready = 0, False, [-np.inf]
        for (food, _), own in zip(fields, near, strict=True):
            told = [_early(scene, begun, cover) for cover in own] if row not in own else []
            if not told or any(early is False for early, _ in told):
                continue
            if any(early is None for early, _ in told):
                cuts = [*begun, *(cut for cover in own for cut in _cuts(scene).get(cover, []))]
                # a step on a broken line has been told by its slip
                unsure = unsure or not any(
                    scene.plan.gives(cut.block, "step") and cut.when.step is None for cut in cuts
                )
                continue
            if not late and (cut := told[0][1]) is not None:
                foods[index], covers[index] = food, own[0]
                firsts[index] = cut_rows.get(id(cut.block), -1)
            late += 1
            ready.append(min(_whole_by(scene, cover) for cover in own))
        values.append(late if late or not unsure else None)
        until[index] = max(ready)
        begins.append([cut for cut in begun if not cut.when.finished and (cut.when.step or 0.0) < until[index]])

    def part(plural: str, found: Indices) -> object:
        return lambda rows: Column(f"thing:{plural}", found[rows], found[rows] >= 0)

    def begun_of(rows: Indices) -> Column:
        lists = np.full(len(rows), None, object)
        lists[:] = [np.array([cut_rows[id(cut.block)] for cut in begins[row]], np.intp) for row in rows]
        return Column("things:cuts", lists, None, None, "what is cut too soon is done already")

    parts = {
        "food": part("foods", foods),
        "cover": part("pockets", covers),
        "first": part("cuts", firsts),
        "begun": begun_of,
        "until": lambda rows: Column("number", until[rows], np.isfinite(until[rows]), None, "no step is given"),
    }
    return Measured(column("count", values, _UNTIMED), parts)  # type: ignore[arg-type]


def _whole_by(scene: Scene, pocket: int) -> float:
    """The step by which all that is to be cut in a pocket is cut; infinite where nobody can tell."""
    steps = [cut.when.step for cut in _cuts(scene).get(pocket, []) if not cut.when.finished]
    return max((np.inf if step is None else step for step in steps), default=-np.inf)
