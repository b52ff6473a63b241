"""What trees can reach while they are cut, and while they stand dead: people's safety.

Heights here are the largest a plan gives and a tenth more; without a height, a published curve by the
largest diameter, and the figure counts as estimated. A tree may come down short, long or aside of its
planned fall, so its whole height is taken for its reach. Sizes that no rule sets are common practice, no
source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground import curves
from habitatlint.ground.columns import Array, Column, Indices, Mask, Place, Table, column, distinct
from habitatlint.ground.cuts import KILLING, LAYING, TALLER, USUAL_DBH, falls_by
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_blocks
from habitatlint.language.blocks import Block, Boundary, Cutting, Food, Hazard, Patch, Path, Release, Stand, Timber
from habitatlint.language.blocks import Place as Spot
from habitatlint.language.plan import LYING, PlanText
from habitatlint.measures.timber import OVERSTORY_DBH, above, classes_of, timbers_of, timbers_over
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural, plural
from habitatlint.reading.values import Direction
from habitatlint.units import FOOT, INCH, TOLERANCE

#: DBH of the trees of a release over which no timber says how tall they are (common practice, no source)
RELEASED_DBH = 20 * INCH
#: how far to either side of its planned fall a tree may go (common practice, no source)
SWING = 45.0
#: how trees stand that can come down by themselves
DANGEROUS = ("dead", "hung", "blown")
#: releases that bring trees down; one without a method is taken for such
FELLING = ("fell", "logger", "")
#: what a tree can hit whichever way it goes, along its planned fall, and along it with less harm
AROUND, AHEAD, ASIDE = ("building", "road"), ("neighbour", "boundary", "fence", "stand"), ("water", "food")
#: where people walk, sit or wait
PEOPLED = ("path", "road", "building", "place", "stand")
_NO_FALL = "no `fall` is given, and it stands within a tree length of what it could hit"


def property_at(plan: PlanText, block: Block, word: str) -> Place | None:
    """Where a block's property is written, and whether another block says it for this one."""
    owner = plan.owner(block, word) if word in block.properties else None
    return Place(owner[0].span(owner[1]), owner[0] is not block) if owner else None


def offsite(plan: PlanText, block: Block) -> bool:
    return plan.word(block, "offsite") == "yes"


# -- how tall --------------------------------------------------------------------------------------------


class Tall(NamedTuple):
    """A height in metres, and whether it is estimated."""

    height: float
    estimated: bool


def tallest(scene: Scene, block: Block) -> Tall:
    """The tallest tree of a cut or release, a tenth added. Of a release it is that of the timber over it
    (its height, else a curve by its largest diameter); without such timber, a curve at 20 in."""
    found: dict[int, Tall] = scene.memo.setdefault("tallest", {})
    if id(block) not in found:
        found[id(block)] = _tallest(scene, block)
    return found[id(block)]


def _tallest(scene: Scene, block: Block) -> Tall:
    if isinstance(block, Release):
        return _over(scene, block)
    rows = scene.trees.rows_of(block)
    if len(rows):
        return Tall(float(scene.trees.largest_height[rows].max()), not scene.trees.height_written[rows].all())
    return _said(scene.plan, block, "tree-height", USUAL_DBH)


def _said(plan: PlanText, block: Block, word: str, usual: float) -> Tall:
    """The largest height that a block says, else the curve's of its largest diameter."""
    height, dbh = _largest(plan, block, word), _largest(plan, block, "dbh")
    if height is not None:
        return Tall(height * TALLER, False)
    species = tuple(str(name.value) for name in plan.values(block, "species"))
    return Tall(float(curves.height(species, np.array(usual if dbh is None else dbh))) * TALLER, True)


def _largest(plan: PlanText, block: Block, word: str) -> float | None:
    value = plan.value(block, word)
    return None if value is None else most(value.value)


def most(size: Any) -> float:
    """The size of a quantity, the largest of a range."""
    return float(size.largest.size if hasattr(size, "largest") else size.size)


def _over(scene: Scene, release: Release) -> Tall:
    ground = scene.shape_of(release)
    heights = [
        _said(scene.plan, timber, "height", _largest_class(timber) or RELEASED_DBH)
        for timber in ([] if ground is None else timbers_over(scene, ground))
    ]
    return max(heights) if heights else Tall(float(curves.height((), np.array(RELEASED_DBH))) * TALLER, True)


def _largest_class(timber: Timber) -> float | None:
    return max((most(line.values[0].value) for line in timber.class_), default=None)


# -- grown by what falls ---------------------------------------------------------------------------------


def swept(shape: BaseGeometry, corners: Array) -> Array:
    """Every place that a convex outline (k, 2) covers when its origin is moved over a shape, as pieces:
    for a line or the edge of an outline the hull at both ends of each leg, and the outline itself."""
    pieces: list[Any] = []
    for part in shapely.get_parts(shape):
        coordinates = shapely.get_coordinates(part)
        if part.geom_type == "Polygon":
            pieces.append(part)
            rings = [shapely.get_coordinates(ring) for ring in (part.exterior, *part.interiors)]
        else:
            rings = [coordinates]
        for ring in rings:
            legs = np.stack([ring[:-1], ring[1:]], axis=1) if len(ring) > 1 else ring[:, None, :]
            grown = (legs[:, :, None, :] + corners).reshape(len(legs), -1, 2)
            pieces += list(shapely.convex_hull(shapely.multipoints(grown)))
    return np.array(pieces, object)


def sectors(bearings: Array, radii: Array, swing: float) -> Array:
    """Corners (n, k, 2) of what lies within `swing` degrees of each of n bearings, to its radius or a
    little beyond, seen from the origin."""
    steps = max(2, math.ceil(2 * swing / 5)) + 1
    turned = np.radians(bearings[:, None] + np.linspace(-swing, swing, steps))
    # the arc's corners stand out by so much that its chords keep outside the radius
    far = radii[:, None] / math.cos(math.radians(swing / (steps - 1)))
    arc = np.stack([far * np.sin(turned), far * np.cos(turned)], axis=-1)
    return np.concatenate([np.zeros((len(bearings), 1, 2)), arc], axis=1)


# -- trees that come down --------------------------------------------------------------------------------


class Fellings(NamedTuple):
    """Trees that people will bring down, n rows; a patch or a release that lays no trees is one row.

    `tree` is the row among the scene's trees, -1 for an area; `shape` its stump or its ground; `bearing`
    that of its planned fall, NaN where none is written."""

    blocks: list[Block]
    owner: Indices
    tree: Indices
    shape: Array
    height: Array
    estimated: Mask
    bearing: Array

    def block(self, row: int) -> Block:
        return self.blocks[int(self.owner[row])]


def fellings_of(scene: Scene) -> Fellings:
    """What is still to be brought down: hinged or felled by a row, a patch, a tree or a release that is not
    done. What lies already, and what is a neighbour's, is left out."""
    found = scene.memo.get("fellings")
    if found is None:
        found = scene.memo["fellings"] = _fellings(scene)
    return found


def _fellings(scene: Scene) -> Fellings:
    plan, trees = scene.plan, scene.trees
    ahead = np.array([not plan.finished(block) and not offsite(plan, block) for block in trees.blocks], bool)
    comes = np.isin(trees.method, LAYING) & ~np.isin(trees.state, LYING)
    rows = np.flatnonzero(comes & ahead[trees.block]) if len(trees) else np.zeros(0, np.intp)
    areas: list[tuple[Block, BaseGeometry]] = []
    for block in plan.blocks:
        if block.broken or not isinstance(block, Patch | Release) or plan.finished(block) or offsite(plan, block):
            continue
        method = plan.word(block, "method")
        comes_down = method in LAYING if isinstance(block, Patch) else method in FELLING
        ground = ground_of(scene, block)
        if comes_down and ground is not None and plan.word(block, "state") not in LYING:
            areas.append((block, ground))
    talls = [tallest(scene, block) for block, _ in areas]
    shapes = np.empty(len(areas), object)
    shapes[:] = [ground for _, ground in areas]
    return Fellings(
        [*trees.blocks, *(block for block, _ in areas)],
        np.concatenate([trees.block[rows], len(trees.blocks) + np.arange(len(areas))]).astype(np.intp),
        np.concatenate([rows, np.full(len(areas), -1)]).astype(np.intp),
        np.concatenate([trees.stump[rows], shapes]) if len(trees) else shapes,
        np.concatenate([trees.largest_height[rows], [tall.height for tall in talls]]),
        np.concatenate([~trees.height_written[rows], [tall.estimated for tall in talls]]).astype(bool),
        np.concatenate([trees.bearing[rows], [fall_over(scene, block, ground) for block, ground in areas]]),
    )


def ground_of(scene: Scene, block: Block) -> BaseGeometry | None:
    """The ground on which a block's trees stand: stumps of a row or tree, else its outline or its pocket's."""
    rows = scene.trees.rows_of(block)
    if len(rows):
        return shapely.multipoints(np.column_stack([scene.trees.x[rows], scene.trees.y[rows]]))
    shape = scene.shape_of(block)
    if shape is None and isinstance(block, Patch):
        pocket = scene.plan.names.get(scene.plan.word(block, "in"))
        shape = scene.shape_of(pocket) if pocket is not None else None
    return shape


def fall_over(scene: Scene, block: Block, ground: BaseGeometry) -> float:
    """The bearing of a patch's falls, from its middle; NaN for none, and for a release, which has none."""
    owner = scene.plan.owner(block, "fall")
    if owner is None:
        return math.nan
    fall = owner[1].values[0]
    if not isinstance(fall.value, Direction):
        return scene.placer.bearing(block, fall)
    middle = shapely.get_coordinates(ground.centroid)
    return float(falls_by(fall.value.word, scene.placer.reached(owner[0], fall.value.thing), middle)[0])


def _pocket_rows(scene: Scene, blocks: list[Block]) -> list[int | None]:
    return [scene.row_of("pockets", name) if (name := scene.plan.word(one, "in")) else None for one in blocks]


def _tree_label(scene: Scene, block: Block, tree: int) -> str:
    return scene.table("trees").label(tree) if tree >= 0 else block.label


@plural("fellings", {"block": "name", "shape": "shape", "height": "length", "step": "number", "pocket": "thing:pockets",
                     "method": "word", "fall": "bearing"})  # fmt: skip
def _fellings_table(scene: Scene) -> Table:
    """Trees that are still to be brought down, each by itself; of a patch or release, all as one."""
    felled = fellings_of(scene)
    table = Table(
        "fellings",
        len(felled.owner),
        lambda row: _tree_label(scene, felled.block(row), int(felled.tree[row])),
        lambda row: felled.block(row).name,
        lambda row: felled.block(row).span(),
    )
    table.written = lambda row, word: property_at(scene.plan, felled.block(row), word)
    _of_blocks(table, scene, felled.blocks, felled.owner)
    table.add("shape", lambda: Column("shape", felled.shape))
    table.add("height", lambda: Column("length", felled.height, None, felled.estimated))
    known = np.isfinite(felled.bearing)
    table.add("fall", lambda: Column("bearing", felled.bearing, known, None, "no `fall` is given"))
    return table


def _of_blocks(table: Table, scene: Scene, blocks: list[Block], owner: Indices) -> None:
    """Adds what each row has of its block: its name, method, step and pocket."""
    plan = scene.plan
    steps = [value.value.number if (value := plan.value(block, "step")) is not None else None for block in blocks]
    for field, kind, values, why in (
        ("block", "name", [block.name for block in blocks], ""),
        ("method", "word", [plan.word(block, "method") or None for block in blocks], "no `method` is given"),
        ("step", "number", steps, "no `step` is given"),
        ("pocket", "thing:pockets", _pocket_rows(scene, blocks), "it belongs to no pocket"),
    ):
        table.add(field, lambda kind=kind, values=values, why=why: column(kind, values, why).take(owner))  # type: ignore[misc]


# -- what can be hit --------------------------------------------------------------------------------------


class Target(NamedTuple):
    """Something that a tree can hit: its block, what it is ("" where nobody says), its place."""

    block: Block
    kind: str
    shape: BaseGeometry


def targets_of(scene: Scene) -> list[Target]:
    """Hazards but banks, the boundary, stands, plots and crops, places, and ways that people use."""
    found = scene.memo.get("targets")
    if found is None:
        found = scene.memo["targets"] = list(_targets(scene))
    return found


def _targets(scene: Scene) -> Any:
    plan = scene.plan
    for block in plan.blocks:
        shape = None if block.broken else scene.shape_of(block)
        if shape is None:
            continue
        if isinstance(block, Hazard):
            if (kind := plan.word(block, "kind")) != "bank":
                yield Target(block, kind, shape)
        elif isinstance(block, Boundary):
            yield Target(block, "boundary", shape.boundary)
        elif isinstance(block, Path):
            if plan.word(block, "use") in ("entry", "exit", "vehicle"):
                yield Target(block, "path", shape)
        elif isinstance(block, Food):
            if plan.word(block, "kind", "plot") in ("plot", "crop"):
                yield Target(block, "food", shape)
        elif isinstance(block, Stand | Spot):
            yield Target(block, block.noun, shape)


@plural("targets", {"name": "name", "kind": "word", "shape": "shape", "peopled": "truth"})
def _targets_table(scene: Scene) -> Table:
    """What a falling tree can hit: hazards, boundary, stands, fields, places and people's paths."""
    targets = targets_of(scene)
    table = Table("targets", len(targets), lambda row: _called(targets[row]),
                  lambda row: targets[row].block.name, lambda row: targets[row].block.span())  # fmt: skip
    table.written = lambda row, word: property_at(scene.plan, targets[row].block, word)
    table.add("name", lambda: column("name", [target.block.name for target in targets]))
    table.add("kind", lambda: column("word", [target.kind or None for target in targets], "no `kind` is given"))
    table.add("shape", lambda: column("shape", [target.shape for target in targets]))
    table.add("peopled", lambda: column("truth", [target.kind in PEOPLED for target in targets]))
    return table


def _called(target: Target) -> str:
    """`wire north-line`, as a person would say it; `the boundary`."""
    if target.kind == "boundary":
        return "the boundary"
    return (
        f"{target.kind} {target.block.name}" if isinstance(target.block, Hazard) and target.kind else target.block.label
    )


@measure(
    "can-hit", ("fellings", "targets", "angle", "number"), "length",
    parts={"place": "place", "wire": "length", "around": "length", "ahead": "length", "aside": "length"},
)  # fmt: skip
def can_hit(scene: Scene, fellings: Rows, targets: Rows, swing: Column, lengths: Column) -> Measured:
    """How far, in metres, a tree that is to come down stands from what it can hit; endless where it
    cannot, whatever its height. A patch or release is measured from its outline.

    `wire` is the distance to a wire, `around` to a building or road, whichever way the tree may go;
    `ahead` that to the boundary, a neighbour, a fence or a stand, and `aside` to water, a plot or a crop,
    within `swing` of its planned fall and so many of its lengths. Each is endless for what is of another
    kind. Unknown where a hazard has no kind, and where nobody knows which way a tree falls that has these
    in its reach; but a release is felled tree by tree, as its feller sees fit, so nothing is said of it
    there. `place` is the nearest place that can be hit."""
    felled, things = fellings_of(scene), targets_of(scene)
    kinds = np.array([things[row].kind for row in targets.rows], object)
    shapes = np.array([things[row].shape for row in targets.rows], object)
    stumps, heights = felled.shape[fellings.rows], felled.height[fellings.rows]
    bearings, estimated = felled.bearing[fellings.rows], felled.estimated[fellings.rows]
    straight = shapely.distance(stumps, shapes)
    directed = np.isin(kinds, (*AHEAD, *ASIDE))
    far = heights * lengths.values
    near = directed & (straight <= far + TOLERANCE)
    hit = np.array(shapes, object)
    hit[directed] = shapely.Point()
    at = np.flatnonzero(near & np.isfinite(bearings))
    hit[at] = _within_swing(felled, fellings.rows[at], shapes[at], swing.values[at], far[at])
    releases = np.array([isinstance(block, Release) for block in felled.blocks], bool)
    release = releases[felled.owner[fellings.rows]]
    unsaid = near & ~np.isfinite(bearings) & ~release
    distances = np.where(shapely.is_empty(hit), np.inf, shapely.distance(stumps, hit))

    def of(these: Mask, unknown: Mask, why: str) -> Column:
        known = None if not unknown.any() else ~unknown
        return Column("length", np.where(these, distances, np.inf), known, estimated, why)

    def place(rows: Indices) -> Column:
        lines = shapely.shortest_line(stumps[rows], np.where(shapely.is_empty(hit[rows]), shapes[rows], hit[rows]))
        return Column("place", shapely.get_point(lines, -1))

    return Measured(
        of(np.isin(kinds, (*AROUND, "wire")) | directed, unsaid, _NO_FALL),
        {
            "place": place,
            "wire": lambda rows: of(kinds == "wire", np.zeros(len(kinds), bool), "").take(rows),
            "around": lambda rows: of(np.isin(kinds, AROUND), kinds == "", "no `kind` is given").take(rows),
            "ahead": lambda rows: of(np.isin(kinds, AHEAD), unsaid & np.isin(kinds, AHEAD), _NO_FALL).take(rows),
            "aside": lambda rows: of(np.isin(kinds, ASIDE), unsaid & np.isin(kinds, ASIDE), _NO_FALL).take(rows),
        },
    )


def _within_swing(felled: Fellings, rows: Indices, shapes: Array, swing: Array, far: Array) -> Array:
    """What of each shape lies within the swing of a felling's fall, so far off; empty for nothing."""
    found = np.full(len(rows), shapely.Point(), object)
    for angle in distinct(np.asarray(swing, float)):
        of = np.flatnonzero(swing == angle)
        corners = sectors(felled.bearing[rows[of]], far[of], float(angle))
        single = felled.tree[rows[of]] >= 0
        if single.any():
            stumps = shapely.get_coordinates(felled.shape[rows[of[single]]])
            fans = shapely.polygons(corners[single] + stumps[:, None, :])
            found[of[single]] = shapely.intersection(fans, shapes[of[single]])
        for index in np.flatnonzero(~single):
            pieces = swept(felled.shape[rows[of[index]]], corners[index])
            met = shapely.intersection(pieces, shapes[of[index]])
            found[of[index]] = shapely.geometrycollections(met[~shapely.is_empty(met)])
    return found


# -- crowns left standing in a fall's way --------------------------------------------------------------


@measure("hung", ("fellings", "basal-area"), "share", parts={"place": "place"})
def hung(scene: Scene, fellings: Rows, residual: Column) -> Measured:
    """The share of a fall's corridor, a crown wide and the reach long, that lies under big crowns left
    standing: timber with more than a residual basal area of stems over 12 in and over the largest that
    the block cuts, less the ground of releases of the same or an earlier step that bring trees down.
    Among poles no bigger than itself, and in woods as open as a release leaves them, a tree is not told
    to hang.

    Timber without classes counts by its diameters, else where it is taller than the tree, and all of its
    `basal-area` if that is given. 0 for a tree
    that stays clear of such timber, and for a release, which opens its own way. Unknown in such timber
    for a patch, for a tree without `fall`, and where it hangs on a step or a size that is not given.
    `place` is the stump."""
    felled = fellings_of(scene)
    values, known = np.zeros(len(fellings)), np.ones(len(fellings), bool)
    estimated = np.zeros(len(fellings), bool)
    owners = felled.owner[fellings.rows]
    order = np.argsort(owners, kind="stable")
    starts = np.flatnonzero(np.diff(owners[order], prepend=-1))
    reasons: set[str] = set()
    alike: dict[int, tuple[_Crowns, list[Indices]]] = {}
    for at in np.split(order, starts[1:]) if scene.plan.of(Timber) else []:
        if not len(at):
            continue
        block = felled.blocks[int(owners[at[0]])]
        crowns = _crowns(scene, block, float(residual.values[at[0]])) if not isinstance(block, Release) else None
        if crowns is None or crowns.most is None:
            continue
        if isinstance(block, Patch):
            known[at] = ~shapely.intersects(crowns.most, felled.shape[fellings.rows[at]])
            reasons |= set() if known[at].all() else {"a patch lays no trees, so nobody knows which way they fall"}
        else:
            alike.setdefault(id(crowns), (crowns, []))[1].append(at)
    for crowns, parts in alike.values():
        at = np.concatenate(parts)
        tree, cut = felled.tree[fellings.rows[at]], scene.trees
        sure = _shares(cut, tree, crowns.least)
        maybe = sure if crowns.most is crowns.least else _shares(cut, tree, crowns.most)
        blind = np.flatnonzero(~np.isfinite(cut.bearing[tree]))
        here = np.zeros(len(at), bool)
        here[blind] = shapely.dwithin(cut.stump[tree[blind]], crowns.most, cut.height[tree[blind]])
        values[at], known[at] = sure, ~here & (np.abs(maybe - sure) <= 1e-9)
        estimated[at] = cut.estimated[tree]
        reasons |= {"no `fall` is given"} if here.any() else set()
        reasons |= {crowns.why} if (~known[at] & ~here).any() else set()
    column_ = Column("share", values, None if known.all() else known, estimated, "; or ".join(sorted(reasons)))

    def place(rows: Indices) -> Column:
        return Column("place", shapely.centroid(felled.shape[fellings.rows[rows]]))

    return Measured(column_, {"place": place})


def _shares(cut: Any, tree: Indices, ground: BaseGeometry | None) -> Array:
    """The share of each tree's corridor that lies on a ground; 0 without a fall or a reach."""
    shares = np.zeros(len(tree))
    if ground is None or ground.is_empty:
        return shares
    turned = np.radians(cut.bearing[tree])
    ahead = np.column_stack([np.sin(turned), np.cos(turned)]) * cut.reach[tree][:, None]
    side = np.column_stack([np.cos(turned), -np.sin(turned)]) * cut.crown_width[tree][:, None] / 2
    stump = np.column_stack([cut.x[tree], cut.y[tree]])
    corners = np.stack([stump + side, stump - side, stump - side + ahead, stump + side + ahead], axis=1)
    at = np.flatnonzero(np.isfinite(corners).all(axis=(1, 2)) & (cut.reach[tree] > 0))
    if not len(at):
        return shares
    corridors = shapely.polygons(corners[at])
    shapely.prepare(ground)
    inside = shapely.covers(ground, corridors)
    shares[at[inside]] = 1.0
    edge = np.flatnonzero(~inside & shapely.intersects(ground, corridors))
    shares[at[edge]] = shapely.area(shapely.intersection(corridors[edge], ground)) / shapely.area(corridors[edge])
    return shares


class _Crowns(NamedTuple):
    """The ground of big crowns that stand when a block is cut: surely, and perhaps; and why nobody knows."""

    least: BaseGeometry | None
    most: BaseGeometry | None
    why: str


def _crowns(scene: Scene, block: Block, residual: float) -> _Crowns:
    plan = scene.plan
    dbh = max(OVERSTORY_DBH, _largest(plan, block, "dbh") or USUAL_DBH)
    height = tallest(scene, block).height / TALLER
    # only what stands about the block: woods and releases far off would be joined in vain
    about = _about(scene, block)
    every, releases = timbers_of(scene), _felling_releases(scene)
    near, opening = (np.sort(index.query(about)).tolist() for index in (every.index, releases.index))
    woods = {row: _is_big(plan, every.timbers[row], dbh, height, residual) for row in near}
    over = {row: _opened(plan, releases.blocks[row], block) for row in opening if woods}
    key = ("crowns", tuple(woods.items()), tuple(over.items()))
    found: _Crowns | None = scene.memo.get(key)
    if found is None:
        surely = [every.shapes[row] for row, big in woods.items() if big]
        perhaps = [every.shapes[row] for row, big in woods.items() if big is not False]
        opened: dict[bool | None, list[BaseGeometry]] = {True: [], False: [], None: []}
        for row, is_open in over.items():
            opened[is_open].append(releases.shapes[row])
        widest = _less(perhaps, opened[True])
        same = len(surely) == len(perhaps) and not opened[None]
        least = widest if same else _less(surely, [*opened[True], *opened[None]])
        why = (
            "it or a release there has no `step`, so nobody knows which comes first" if opened[None]
            else "a `timber` there has no `class`, `dbh` or `height`"
        )  # fmt: skip
        found = scene.memo[key] = _Crowns(least, widest, why)
    return found


def _about(scene: Scene, block: Block) -> BaseGeometry:
    """A box that holds the corridors of all falls of a block; of a patch its ground."""
    rows, cut = scene.trees.rows_of(block), scene.trees
    if not len(rows):
        ground = ground_of(scene, block)
        return shapely.Point() if ground is None else shapely.box(*ground.bounds)
    far = float((np.maximum(cut.height[rows], cut.reach[rows]) + cut.crown_width[rows]).max())
    return shapely.box(
        cut.x[rows].min() - far, cut.y[rows].min() - far, cut.x[rows].max() + far, cut.y[rows].max() + far
    )


class _Releases(NamedTuple):
    """Releases of ours that bring trees down and have a place, with their ground and its index."""

    blocks: list[Release]
    shapes: list[BaseGeometry]
    index: shapely.STRtree


def _felling_releases(scene: Scene) -> _Releases:
    found: _Releases | None = scene.memo.get("felling releases")
    if found is None:
        plan = scene.plan
        placed = [
            (release, shape)
            for release in plan.of(Release)
            if (shape := scene.shape_of(release)) is not None
            and plan.word(release, "method") in FELLING
            and not offsite(plan, release)
        ]
        shapes = [shape for _, shape in placed]
        found = scene.memo["felling releases"] = _Releases([one for one, _ in placed], shapes, shapely.STRtree(shapes))
    return found


def _less(grounds: list[BaseGeometry], taken: list[BaseGeometry]) -> BaseGeometry | None:
    if not grounds:
        return None
    whole = shapely.union_all(grounds)
    return whole.difference(shapely.union_all(taken)) if taken else whole


def _is_big(plan: PlanText, timber: Timber, dbh: float, height: float, residual: float) -> bool | None:
    """Whether a timber has crowns that catch a tree of a DBH and a height; None where nobody knows."""
    if timber.class_:
        return above(classes_of(timber), dbh, 0.0) > residual
    whole = plan.value(timber, "basal-area")
    if whole is not None and whole.value.size <= residual:
        return False
    largest, tall = _largest(plan, timber, "dbh"), _largest(plan, timber, "height")
    if largest is not None:
        return largest > dbh + 1e-9
    return None if tall is None else tall > height + TOLERANCE


def _opened(plan: PlanText, release: Release, block: Block) -> bool | None:
    """Whether a release is over when a block is cut, or belongs to the same step; None where nobody knows."""
    if plan.finished(release):
        return True
    steps = [plan.value(one, "step") for one in (release, block)]
    if steps[0] is None or steps[1] is None:
        return None
    return bool(steps[0].value.number <= steps[1].value.number)


# -- trees that stand dead ---------------------------------------------------------------------------------


class Snags(NamedTuple):
    """Trees that can come down by themselves, n rows; a patch or release that kills standing is one row.

    `danger`: dead, hung or blown now, by its `state`. `killed`: by the plan, standing."""

    blocks: list[Block]
    owner: Indices
    tree: Indices
    shape: Array
    height: Array
    estimated: Mask
    dbh: Array
    danger: Mask
    killed: Mask
    finished: Mask

    def block(self, row: int) -> Block:
        return self.blocks[int(self.owner[row])]


def snags_of(scene: Scene) -> Snags:
    """Trees whose `state` is dead, hung or blown and that are not down yet, and trees that the plan
    girdles, frills or hacks, done or to be done. A neighbour's count where they stand dead."""
    found = scene.memo.get("snags")
    if found is None:
        found = scene.memo["snags"] = _snags(scene)
    return found


def _snags(scene: Scene) -> Snags:
    plan, trees = scene.plan, scene.trees
    done = np.array([plan.finished(block) for block in trees.blocks], bool)
    theirs = np.array([offsite(plan, block) for block in trees.blocks], bool)
    none = np.zeros(0, bool)
    finished, away = (done[trees.block], theirs[trees.block]) if len(trees) else (none, none)
    down = finished & np.isin(trees.method, LAYING) & ~trees.upright & (trees.state != "hung")
    dealt = finished & (trees.state == "blown")
    danger = np.isin(trees.state, DANGEROUS) & ~down & ~dealt
    killed = np.isin(trees.method, KILLING) & ~danger & (trees.state != "down") & (~away | finished)
    rows = np.flatnonzero(danger | killed)
    areas: list[tuple[Block, BaseGeometry, bool]] = []
    for block in plan.blocks:
        if block.broken or not isinstance(block, Patch | Release) or offsite(plan, block):
            continue
        ground = ground_of(scene, block)
        laid = plan.finished(block) and plan.word(block, "method") in LAYING
        stands_dead = plan.word(block, "state") in DANGEROUS and not laid
        if ground is not None and (stands_dead or plan.word(block, "method") in KILLING):
            areas.append((block, ground, stands_dead))
    talls = [tallest(scene, block) for block, _, _ in areas]
    shapes = np.empty(len(areas), object)
    shapes[:] = [ground for _, ground, _ in areas]
    dead = np.array([stands for _, _, stands in areas], bool)
    sizes = [
        (RELEASED_DBH if isinstance(block, Release) else _largest(plan, block, "dbh") or USUAL_DBH)
        for block, _, _ in areas
    ]
    return Snags(
        [*trees.blocks, *(block for block, _, _ in areas)],
        np.concatenate([trees.block[rows], len(trees.blocks) + np.arange(len(areas))]).astype(np.intp),
        np.concatenate([rows, np.full(len(areas), -1)]).astype(np.intp),
        np.concatenate([trees.stump[rows], shapes]) if len(trees) else shapes,
        np.concatenate([trees.largest_height[rows], [tall.height for tall in talls]]),
        np.concatenate([~trees.height_written[rows], [tall.estimated for tall in talls]]).astype(bool),
        np.concatenate([trees.largest_dbh[rows], sizes]),
        np.concatenate([danger[rows], dead]).astype(bool),
        np.concatenate([killed[rows], ~dead]).astype(bool),
        np.concatenate([finished[rows], [plan.finished(block) for block, _, _ in areas]]).astype(bool),
    )


def comes_down(plan: PlanText, block: Block) -> bool:
    """Whether the plan will bring a block's trees down."""
    return isinstance(block, Cutting) and plan.word(block, "method") in LAYING and not plan.finished(block)


@plural("snags", {"block": "name", "state": "word", "method": "word", "shape": "shape", "height": "length",
                  "dbh": "length", "step": "number", "pocket": "thing:pockets", "danger": "truth", "killed": "truth",
                  "finished": "truth"})  # fmt: skip
def _snags_table(scene: Scene) -> Table:
    """Trees that stand dead, hang or are thrown, and those that are killed standing; an area as one."""
    snags, plan = snags_of(scene), scene.plan
    table = Table("snags", len(snags.owner), lambda row: _tree_label(scene, snags.block(row), int(snags.tree[row])),
                  lambda row: snags.block(row).name, lambda row: snags.block(row).span())  # fmt: skip
    table.written = lambda row, word: property_at(plan, snags.block(row), word)
    _of_blocks(table, scene, snags.blocks, snags.owner)
    states = [plan.word(block, "state") or None for block in snags.blocks]
    table.add("state", lambda: column("word", states, "no `state` is given").take(snags.owner))
    table.add("shape", lambda: Column("shape", snags.shape))
    table.add("height", lambda: Column("length", snags.height, None, snags.estimated))
    table.add("dbh", lambda: Column("length", snags.dbh, unit="in"))
    for field in ("danger", "killed", "finished"):
        table.add(field, lambda field=field: Column("truth", getattr(snags, field)))  # type: ignore[misc]
    return table


@measure(
    "under-snag",
    ("snags", "targets"),
    "length",
    parts={"place": "place", "made": "length", "left": "length", "hung": "length"},
)
def under_snag(scene: Scene, snags: Rows, targets: Rows) -> Measured:
    """How far, in metres, a tree stands from a place of people, endless where this is not to be told.

    `made` is so for one that the plan kills standing; `left` for one that is dead already (by a road or a building
    that is for `danger-reach`), and `hung` for one that hangs in another, where nothing in the plan brings it down.
    A stand by a tree that is dead or hangs
    already, or is killed and done, is for `bad-tree` to tell. `place` is the nearest place of people."""
    dead, things = snags_of(scene), targets_of(scene)
    shapes = np.array([things[row].shape for row in targets.rows], object)
    stands = np.array([things[row].kind == "stand" for row in targets.rows], bool)
    trees = dead.shape[snags.rows]
    distances = shapely.distance(trees, shapes)
    plan = scene.plan
    states = ["" if comes_down(plan, block) else plan.word(block, "state") for block in dead.blocks]
    state = np.array(states, object)[dead.owner[snags.rows]]
    made = dead.killed[snags.rows] & ~(stands & dead.finished[snags.rows])
    hazards = np.array([things[row].kind in AROUND for row in targets.rows], bool)
    left = dead.danger[snags.rows] & (state == "dead") & ~stands & ~hazards
    hung = dead.danger[snags.rows] & (state == "hung") & ~stands

    def of(these: Mask) -> Column:
        return Column("length", np.where(these, distances, np.inf), None, dead.estimated[snags.rows])

    def place(rows: Indices) -> Column:
        return Column("place", shapely.get_point(shapely.shortest_line(shapes[rows], trees[rows]), 0))

    parts: dict[str, Callable[[Indices], Column]] = {
        "place": place,
        "made": lambda rows: of(made).take(rows),
        "left": lambda rows: of(left).take(rows),
        "hung": lambda rows: of(hung).take(rows),
    }
    return Measured(of(made | left | hung), parts)


@measure(
    "danger-reach", ("snags", "targets"), "length",
    parts={"place": "place", "wire": "length", "thrown": "length", "struck": "length"},
)  # fmt: skip
def danger_reach(scene: Scene, snags: Rows, targets: Rows) -> Measured:
    """How far, in metres, a tree that can come down by itself is from a wire, a road or a building, endless
    from all else, and where the plan still fells it, which is for `can-hit` to tell.

    `wire` is the distance of one that stands, dead, hung or killed by the plan, from a wire; `struck` that of one
    that stands dead from a road or a building (one that hangs or is killed there is for `under-snag`); `thrown` that
    of a blown tree as it lies, with its top, from any of them: of its stump where nobody says how it fell. Each is
    endless for what is of another kind. `place` is the nearest place of the hazard."""
    dead, things, plan = snags_of(scene), targets_of(scene), scene.plan
    kinds = np.array([things[row].kind for row in targets.rows], object)
    shapes = np.array([things[row].shape for row in targets.rows], object)
    states = ["" if comes_down(plan, block) else plan.word(block, "state") for block in dead.blocks]
    owners, trees = dead.owner[snags.rows], dead.tree[snags.rows]
    state = np.array(states, object)[owners]
    blown = dead.danger[snags.rows] & (state == "blown")
    lying = np.array(dead.shape[snags.rows], object)
    fell = blown & (trees >= 0)
    fallen = scene.trees.fallen[trees[fell]]
    lying[fell] = np.where(shapely.is_empty(fallen), lying[fell], fallen)
    distances = shapely.distance(lying, shapes)
    stands = ~blown & (dead.killed[snags.rows] | (state != ""))
    parts = {
        "wire": (kinds == "wire") & stands,
        "struck": np.isin(kinds, AROUND) & dead.danger[snags.rows] & (state == "dead"),
        "thrown": np.isin(kinds, (*AROUND, "wire")) & blown,
    }

    def of(these: Mask) -> Column:
        return Column("length", np.where(these, distances, np.inf), None, dead.estimated[snags.rows])

    def place(rows: Indices) -> Column:
        return Column("place", shapely.get_point(shapely.shortest_line(shapes[rows], lying[rows]), 0))

    return Measured(
        of(parts["wire"] | parts["struck"] | parts["thrown"]),
        {"place": place, **{name: lambda rows, these=these: of(these).take(rows) for name, these in parts.items()}},  # type: ignore[misc]
    )


#: a tree near a wire keeps so far off it besides its height (see `fall-onto-hazard`); road and building want so many
#: heights (common practice)
WIRES_OFF, AROUND_LENGTHS = 10 * FOOT, 1.5


def reached_by(scene: Scene, snags: Indices) -> tuple[str, ...]:
    """The wires, roads and buildings that any of some snags can come down on or near, as `wire north-line`."""
    dead = snags_of(scene)
    found = []
    for target in targets_of(scene):
        if target.kind in (*AROUND, "wire"):
            heights = dead.height[snags]
            far = heights + WIRES_OFF if target.kind == "wire" else AROUND_LENGTHS * heights
            if (shapely.distance(dead.shape[snags], target.shape) < far).any():
                found.append(_called(target))
    return tuple(dict.fromkeys(found))


# -- trees about a stand ------------------------------------------------------------------------------------


class Perils(NamedTuple):
    """What is bad to sit in or by, n rows: `kind` is "snag", "work" (still to be cut) or "hinge" (one that
    was cut); `row` its row among snags, fellings or trees."""

    kind: Array
    row: Indices
    shape: Array
    height: Array
    estimated: Mask
    blocks: list[Block]
    tree: Indices


def perils_of(scene: Scene) -> Perils:
    found = scene.memo.get("perils")
    if found is None:
        found = scene.memo["perils"] = _perils(scene)
    return found


def _perils(scene: Scene) -> Perils:
    snags, felled, trees = snags_of(scene), fellings_of(scene), scene.trees
    # what the plan only means to kill is told where it is made; a blown tree lies, and is no tree to sit by
    blown = np.array([scene.plan.word(block, "state") == "blown" for block in snags.blocks], bool)[snags.owner]
    dead = np.flatnonzero((snags.danger & ~blown) | (snags.killed & snags.finished))
    hinged = np.flatnonzero(trees.hinged & ~np.isin(np.arange(len(trees)), felled.tree))
    work = np.arange(len(felled.owner))
    kind = np.repeat(np.array(["snag", "work", "hinge"], object), [len(dead), len(work), len(hinged)])
    return Perils(
        kind,
        np.concatenate([dead, work, hinged]).astype(np.intp),
        np.concatenate([snags.shape[dead], felled.shape, trees.stump[hinged] if len(trees) else np.zeros(0, object)]),
        np.concatenate([snags.height[dead], felled.height, trees.largest_height[hinged]]),
        np.concatenate([snags.estimated[dead], felled.estimated, ~trees.height_written[hinged]]).astype(bool),
        [
            *(snags.block(int(row)) for row in dead),
            *(felled.block(int(row)) for row in work),
            *(trees.blocks[int(trees.block[row])] for row in hinged),
        ],
        np.concatenate([snags.tree[dead], felled.tree, hinged]).astype(np.intp),
    )


@plural("perils", {"block": "name", "shape": "shape", "height": "length", "pocket": "thing:pockets"})
def _perils_table(scene: Scene) -> Table:
    """What is bad to sit in or by: dead and hung trees, trees still to be cut, hinges that were cut."""
    perils = perils_of(scene)
    table = Table("perils", len(perils.row),
                  lambda row: _tree_label(scene, perils.blocks[row], int(perils.tree[row])),
                  lambda row: perils.blocks[row].name, lambda row: perils.blocks[row].span())  # fmt: skip
    table.written = lambda row, word: property_at(scene.plan, perils.blocks[row], word)
    table.add("block", lambda: column("name", [block.name for block in perils.blocks]))
    table.add("pocket", lambda: column("thing:pockets", _pocket_rows(scene, perils.blocks), "it belongs to no pocket"))
    table.add("shape", lambda: Column("shape", perils.shape))
    table.add("height", lambda: Column("length", perils.height, None, perils.estimated))
    return table


@measure(
    "bad-tree", ("stands", "perils"), "length",
    parts={"place": "place", "snag": "length", "own": "length", "work": "length"},
)  # fmt: skip
def bad_tree(scene: Scene, stands: Rows, perils: Rows) -> Measured:
    """How far, in metres, a stand is from a tree that is bad to sit in or by, endless where it is not.

    `snag` is so for a tree that is dead or hangs, or was killed standing; `own` for one that is hinged
    or felled, done or not; `work` for one that is still to be cut, and for a patch or release that is,
    where its planned fall with 45 degrees either side does not reach the stand (that is for `can-hit`
    to tell). `place` is the stand."""
    found = perils_of(scene)
    places = scene.table(stands.plural).column("shape").values[stands.rows]
    kinds, shapes = found.kind[perils.rows], found.shape[perils.rows]
    distances = shapely.distance(places, shapes)
    felled = fellings_of(scene)
    work = kinds == "work"
    at = np.flatnonzero(work)
    rows = found.row[perils.rows[at]]
    aimed = np.flatnonzero(np.isfinite(felled.bearing[rows]) & (distances[at] <= felled.height[rows] + TOLERANCE))
    met = _within_swing(felled, rows[aimed], places[at[aimed]], np.full(len(aimed), SWING), felled.height[rows[aimed]])
    work[at[aimed[~shapely.is_empty(met)]]] = False
    single = found.tree[perils.rows] >= 0

    def of(these: Mask) -> Column:
        return Column("length", np.where(these, distances, np.inf), None, found.estimated[perils.rows])

    own = (kinds != "snag") & single
    parts: dict[str, Callable[[Indices], Column]] = {
        "place": lambda rows: Column("place", places[rows]),
        "snag": lambda rows: of(kinds == "snag").take(rows),
        "own": lambda rows: of(own).take(rows),
        "work": lambda rows: of(work).take(rows),
    }
    return Measured(of(work | own | (kinds == "snag")), parts)


# -- fields of cuts -------------------------------------------------------------------------------------------


@of_plural("cuts", "lean", "angle")
def _lean(scene: Scene) -> Column:
    """How far its tree leans from upright; 0 where nothing is said."""
    leans = [block.first("lean") for block in cut_blocks(scene)]
    return column("angle", [0.0 if lean is None else lean.values[1].value.degrees for lean in leans])


@of_plural("cuts", "traits", "list")
def _traits(scene: Scene) -> Column:
    """Its species, its condition and its state, as words of one list."""
    plan = scene.plan
    return column("list", [
        (
            *(str(name.value) for name in plan.values(block, "species")),
            *(word for property_ in ("condition", "state") if (word := plan.word(block, property_))),
        )
        for block in cut_blocks(scene)
    ])  # fmt: skip
