"""Cover laid in a pocket: how much of the ground tops lie over, how the falls agree, tops by a plot's edge.

How much of a bedding pocket may be roofed is common practice, no source. Mule deer beds were found under
30 to 44% cover (Southwestern Naturalist 46:354-357, 2001): an analogue, no limit.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Array, Column, Indices, column
from habitatlint.ground.cuts import middle_tree
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_blocks
from habitatlint.language.blocks import Block, Patch, Pocket
from habitatlint.language.plan import LYING
from habitatlint.measures.free_ground import crowding
from habitatlint.measures.together import for_each
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.measures.ways_out import patches_of
from habitatlint.units import TOLERANCE

#: cells that hold less than this share of their ground are left out
LEAST_CELL = 0.25
#: tops lie in a heap where the box of one meets more boxes than this on average
_HEAPED = 16


class Cover(NamedTuple):
    """Shares of a pocket's ground: under two tops or more, under one or more, and of its worst cell under two
    or more, with that cell's middle; the size of a cell in metres."""

    roof: float
    shade: float
    worst: float
    worst_at: BaseGeometry | None


def expected(mean: float) -> tuple[float, float]:
    """Shares of ground under one top or more, and under two or more, where trees stand anyhow and `mean` tops
    lie over a place on average (n trees to the area, tops of area a: n a). The number over a place is then
    Poisson's: 1 - exp(-n a), and 1 - (1 + n a) exp(-n a)."""
    none = math.exp(-mean)
    return 1 - none, 1 - (1 + mean) * none


def cover_of(scene: Scene, pocket: int, cell: float, *, now: bool = False) -> Cover | None:
    """The cover laid in a pocket once the work is done that the plan's stage counts, or `now`, by what lies
    already; None where it has no outline."""
    key = ("cover", pocket, cell, now)
    if key not in scene.memo:
        outline = scene.shape_of(scene.plan.of(Pocket)[pocket])
        scene.memo[key] = None if outline is None else _cover(scene, pocket, outline, cell, now)
    return scene.memo[key]  # type: ignore[no-any-return]


def _cover(scene: Scene, pocket: int, outline: BaseGeometry, cell: float, now: bool) -> Cover:
    cut = scene.trees
    rows = np.sort(cut.barrier_index.query(outline, predicate="intersects"))
    if now:
        done = np.array([scene.plan.finished(block) for block in cut.blocks], bool)
        rows = rows[np.isin(cut.state[rows], LYING) | done[cut.block[rows]]]
    tops = cut.top[rows]
    tops = tops[~shapely.is_empty(tops)]
    once, twice = map(_Covers, _laid(tops))
    cells = _cells(outline, scene.corners_of(scene.plan.of(Pocket)[pocket], outline), cell)
    areas = shapely.area(cells)
    patches = [one for one in patches_of(scene)[pocket] if not now or scene.plan.finished(one)]
    grounds = _patch_grounds(scene, patches, outline)
    roofs = _roofs(cells, areas, once, twice, grounds)
    # the cells are all of the pocket, so what lies over them adds up to what lies over it
    over_two, over_one = float((roofs * areas).sum() / outline.area), _shade(outline, once, grounds)
    large = np.flatnonzero(areas >= LEAST_CELL * cell**2)
    if not len(large):
        return Cover(over_two, over_one, 0.0, None)
    worst = large[int(np.argmax(np.round(roofs[large], 9)))]
    return Cover(over_two, over_one, float(roofs[worst]), cells[worst].centroid)


def _laid(tops: Array) -> tuple[Array, Array]:
    """The ground under one top or more, and under two or more, in pieces that share no ground.

    Tops that meet no other are pieces themselves. The others are joined two by two, then those pairs two by two
    and so on: under two tops of both halves lies what does so in either, and what the two have in common."""
    index = shapely.STRtree(tops)
    if crowding(tops, index) > _HEAPED:  # to tell who meets whom would take the square of them
        alone = np.zeros(len(tops), bool)
    else:
        one, other = index.query(tops, predicate="intersects")
        alone = np.bincount(one[one != other], minlength=len(tops)) == 0
    once = tops[~alone]
    once = once[np.argsort(shapely.get_x(shapely.centroid(once)), kind="stable")]
    twice = np.full(len(once), Polygon(), object)
    while len(once) > 1:
        if len(once) % 2:
            once, twice = np.append(once, Polygon()), np.append(twice, Polygon())
        both = shapely.intersection(once[::2], once[1::2])
        twice = shapely.union(shapely.union(twice[::2], twice[1::2]), both)
        once = shapely.union(once[::2], once[1::2])
    pieces = [shapely.get_parts(one) for one in (once, twice)]
    once, twice = (one[shapely.area(one) > 0] for one in pieces)
    return np.concatenate([tops[alone], once]), twice


class _Covers:
    """Covers that lie over ground, in pieces that share none (n,)."""

    def __init__(self, pieces: Array) -> None:
        self.pieces, self.index = pieces, shapely.STRtree(pieces)

    def over(self, grounds: Array) -> Array:
        """The area of each ground that lies under the covers."""
        ground, piece = self.index.query(grounds, predicate="intersects")
        areas = shapely.area(self.pieces[piece])
        shapely.prepare(grounds)
        cut = ~shapely.covers(grounds[ground], self.pieces[piece])
        areas[cut] = shapely.area(shapely.intersection(grounds[ground[cut]], self.pieces[piece[cut]]))
        return np.bincount(ground, areas, minlength=len(grounds))


def _cells(outline: BaseGeometry, corners: Array, size: float) -> Array:
    """What square cells hold of a pocket, laid from its outline's first point along its first side."""
    start = corners[0]
    along = next(side for side in corners[1:] - start if np.hypot(*side) > TOLERANCE)
    along = along / np.hypot(*along)
    turn = np.array([along, [-along[1], along[0]]])
    (west, south), (east, north) = (corner((corners - start) @ turn.T, axis=0) for corner in (np.min, np.max))
    # a side that ends on a line of the grid, but for a hair, opens no further cells
    columns = np.arange(math.floor((west + TOLERANCE) / size), math.ceil((east - TOLERANCE) / size))
    rows = np.arange(math.floor((south + TOLERANCE) / size), math.ceil((north - TOLERANCE) / size))
    if not len(columns) or not len(rows):
        return np.empty(0, object)
    feet = np.stack(np.meshgrid(columns, rows, indexing="ij"), axis=-1).reshape(-1, 1, 2)
    squares = (feet + np.array([(0, 0), (1, 0), (1, 1), (0, 1)])) * size
    held = shapely.intersection(shapely.polygons(squares @ turn + start), outline)
    return np.asarray(held[shapely.area(held) > 0])


class _PatchGround(NamedTuple):
    """Ground of a patch in a pocket, and how many tops lie over a place of it, by expectation."""

    ground: BaseGeometry
    mean: float


def _patch_grounds(scene: Scene, patches: list[Patch], outline: BaseGeometry) -> list[_PatchGround]:
    """Grounds that share no place, each with the tops that its patches lay over a place, together."""
    grounds: list[_PatchGround] = []
    for patch in patches:
        mean = tops_of_patch(scene, patch)
        shape = scene.shape_of(patch)
        left = (shape if shape is not None else outline).intersection(outline)
        split: list[_PatchGround] = []
        for other in grounds:
            both = other.ground.intersection(left)
            if both.area > 0:
                split += [
                    _PatchGround(both, other.mean + mean),
                    _PatchGround(other.ground.difference(left), other.mean),
                ]
                left = left.difference(other.ground)
            else:
                split.append(other)
        grounds = [one for one in [*split, _PatchGround(left, mean)] if one.ground.area > 0]
    return grounds


def tops_of_patch(scene: Scene, patch: Patch) -> float:
    """How many tops lie over a place of a patch, by expectation: its density times the area of a middle top.
    0 where it has no density."""
    density = patch.density
    return 0.0 if density is None else density.value.size * middle_tree(scene.plan, scene.placer, patch).top


def _roofs(cells: Array, areas: Array, once: _Covers, twice: _Covers, patches: list[_PatchGround]) -> Array:
    """The share of each cell under two tops or more: under two that are laid, under one and one of a patch, or
    under two of a patch."""
    under = twice.over(cells)
    for ground, mean in patches:
        one, two = expected(mean)
        inside = shapely.intersection(cells, ground)
        roofed, laid = twice.over(inside), once.over(inside)
        under = under + (laid - roofed) * one + (shapely.area(inside) - laid) * two
    return np.asarray(under / areas)


def _shade(outline: BaseGeometry, once: _Covers, patches: list[_PatchGround]) -> float:
    """The share of a pocket under one top or more."""
    under = once.over(np.array([outline]))[0]
    for ground, mean in patches:
        under += (ground.area - once.over(np.array([ground]))[0]) * expected(mean)[0]
    return float(under / outline.area)


@measure(
    "roof", ("pockets", "length"), "share",
    parts={
        "shade": "share", "worst": "share", "place": "place", "row": "thing:cuts", "patch": "thing:cuts",
        "spacing": "length", "density": "density",
    },
)  # fmt: skip
def roof(scene: Scene, pockets: Rows, cell: Column) -> Measured:
    """The share of a pocket's ground under two tops or more, by exact union and overlap of the tops that lie.

    `shade` is the share under one top or more, `worst` the roof of the worst square cell of side `cell`, laid
    from the outline's first point along its first side (cells with less than a quarter of their ground in
    the pocket left out), `place` that cell's middle. `row` and its `spacing`, or `patch` and its `density`, is
    what lays the most of the tops there. For the trees of a patch, which have no places, by
    expectation: 1 - exp(-n a) under one and 1 - (1 + n a) exp(-n a) under two or more, n trees to the area
    with tops of area a; tops that lie beyond a patch's edge are not taken off. Sixty 8-in hinges an acre put
    some 33% of the ground under a top and 6% under two; 150 put 65% and 27%. 0 where nothing lies."""
    patches_of(scene), scene.trees.barrier_index.query(Point())  # asked before they are asked by several at once
    asked = list(zip(pockets.rows.tolist(), cell.values.tolist(), strict=True))
    found = for_each(lambda one: cover_of(scene, *one), asked)
    cut = scene.trees
    guessed = {int(row) for row in cut.pocket[cut.estimated & cut.lies]}
    estimated = np.array([int(row) in guessed for row in pockets.rows], bool)

    def part(name: str, rows: Indices) -> Column:
        values = [None if found[row] is None else getattr(found[row], name) for row in rows]
        made = column("place" if name == "worst_at" else "share", values)
        return made if name == "worst_at" else Column(made.kind, made.values, made.known, estimated[rows])

    most = [_most_tops(scene, int(row)) for row in pockets.rows]

    def said(word: str, kind: str, rows: Indices) -> Column:
        whys = {"spacing": "no row that is set by `spacing` lays the most of the tops", "density": "no patch lays them"}
        blocks = [block if block is not None and block.has(word) else None for block in (most[row] for row in rows)]
        if kind == "thing:cuts":
            every = {id(block): row for row, block in enumerate(cut_blocks(scene))}
            return column(kind, [every.get(id(block)) for block in blocks], whys[word])
        written = [None if block is None else block.first(word).values[0] for block in blocks]
        if kind == "length":
            return column(kind, [None if one is None else scene.placer.metres(one) for one in written])
        return column(kind, [None if one is None else one.value.size for one in written])

    every = np.arange(len(pockets), dtype=np.intp)
    return Measured(
        part("roof", every),
        {
            "row": lambda rows: said("spacing", "thing:cuts", rows),
            "patch": lambda rows: said("density", "thing:cuts", rows),
            "spacing": lambda rows: said("spacing", "length", rows),
            "density": lambda rows: said("density", "density", rows),
            "shade": lambda rows: part("shade", rows),
            "worst": lambda rows: part("worst", rows),
            "place": lambda rows: part("worst_at", rows),
        },
    )


def _most_tops(scene: Scene, pocket: int) -> Block | None:
    """The row, tree or patch whose tops cover the most ground in a pocket, by the sum of their areas."""
    cut, outline = scene.trees, scene.shape_of(scene.plan.of(Pocket)[pocket])
    if outline is None:
        return None
    sums: list[tuple[float, Block]] = []
    rows = np.flatnonzero(cut.lies & (cut.pocket == pocket))
    areas = np.bincount(cut.block[rows], shapely.area(cut.top[rows]), minlength=len(cut.blocks))
    sums += [(float(area), block) for area, block in zip(areas, cut.blocks, strict=True) if area > 0]
    sums += [(tops_of_patch(scene, patch) * outline.area, patch) for patch in patches_of(scene)[pocket]]
    return max(sums, key=lambda one: round(one[0], 3))[1] if sums else None


#: a tree turned by more from how the trees of its pocket lie, lies against them
AGAINST = 45.0


@measure(
    "agreement", ("pockets",), "number", parts={"count": "count", "most": "bearing", "against": "things:trees"}
)  # fmt: skip
def agreement(scene: Scene, pockets: Rows) -> Measured:
    """How far the falls in a pocket agree: the length of the mean of unit vectors along them, 1 where all
    trees lie alike, near 0 where they cancel (the mean resultant of circular statistics). `count` is how many
    trees that lie it is the mean of, `most` the bearing of that mean, `against` the trees turned from it by more
    than 45 degrees (common practice, no source). Unknown where there are none."""
    cut = scene.trees
    turned = np.radians(np.where(cut.lies, cut.bearing, 0.0))
    of = np.where(cut.lies, cut.pocket, -1) + 1
    number = len(scene.plan.of(Pocket)) + 1
    counts = np.bincount(of, minlength=number)[1:]
    east = np.bincount(of, np.sin(turned), minlength=number)[1:]
    north = np.bincount(of, np.cos(turned), minlength=number)[1:]
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.hypot(east, north) / counts
    rows = pockets.rows
    why = "no tree that lies in it has a `fall`"
    value = Column("number", np.round(means[rows], 9), counts[rows] > 0, None, why)
    bearings = np.degrees(np.arctan2(np.round(east, 9), np.round(north, 9))) % 360
    # where all cancel there is no bearing that most lie by
    most = Column("bearing", bearings, np.nan_to_num(means) > 0.01, None, "as many lie one way as the other")

    def against(chosen: Indices) -> Column:
        found = np.full(len(chosen), None, object)
        for index, pocket in enumerate(rows[chosen].tolist()):
            off = np.abs((cut.bearing - bearings[pocket] + 180) % 360 - 180)
            found[index] = np.flatnonzero(cut.lies & (cut.pocket == pocket) & (off > AGAINST))
        return Column("things:trees", found)

    return Measured(
        value,
        {
            "count": lambda chosen: Column("count", counts[rows][chosen].astype(float)),
            "most": lambda chosen: most.take(rows[chosen]),
            "against": against,
        },
    )
