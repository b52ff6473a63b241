"""The trees that a plan cuts, by piece of work, size and pocket, and the basal area that stands before and after."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple, TypeGuard

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Patch, Pocket, Release, Timber
from habitatlint.language.plan import LYING
from habitatlint.measures.timber import Class, Timbers, classes_of, timbers_of, when_of
from habitatlint.measures.volume import basal_area
from habitatlint.units import TOLERANCE
from habitatlint.work.cutlist import Piece, Sizes

#: ground smaller than this is none, in square metres: what two outlines that touch have in common by rounding
_SLIVER = 0.05
#: figures of basal area that differ by less are the same, as a fraction: a thousandth of a sq ft an acre
_SAME = 2e-8


class Stems(NamedTuple):
    """Trees of one piece of work, of one size, in one pocket ("" for none).

    `dbh` is None where nobody knows of which size they are, and then `number` is None too. `basal_area` is in square
    metres, of stems of the middle DBH; `counted` where the trees are laid out one by one, and not reckoned. `timber`
    and `height` are given of what a release takes."""

    piece: Piece
    pocket: str
    species: tuple[str, ...]
    dbh: Sizes | None
    number: float | None
    basal_area: float
    counted: bool
    done: bool
    ground: BaseGeometry | None = None
    timber: Timber | None = None


class Unknown(NamedTuple):
    """What could not be worked out: of which block, and what is missing."""

    block: Block
    why: str


class Standing(NamedTuple):
    """Basal area on the ground of a pocket or a timber (sq m of stems a sq m) before any work, and after all that the
    plan's stage counts; None with `why` where it is not known. `over` says that more is cut there than the plan says
    stands: `after` is 0 then, or too small."""

    block: Pocket | Timber
    area: float
    before: float | None
    after: float | None
    why: str = ""
    over: bool = False


class Tallied(NamedTuple):
    """Trees by piece, and what nobody can tell of them."""

    stems: tuple[Stems, ...]
    unknown: tuple[Unknown, ...]


def is_over(scene: Scene, piece: Piece) -> bool:
    """The work is done, or the tree lies already."""
    return piece.finished or piece.state in LYING


def stems_of(scene: Scene, pieces: Sequence[Piece]) -> Tallied:
    """The trees of every piece of work, in the order of the pieces.

    Rows and trees are counted as they are laid out; of a patch it is density times ground. A release takes, from
    `A to B`, the largest classes of the timber there first, each class by stems of its middle DBH; where an earlier
    release has been, what that left is where it begins."""
    unknown: list[Unknown] = []
    found: list[Stems] = []
    taken = {id(part.piece.block): part for part in _releases(scene, pieces)}
    for piece in pieces:
        if isinstance(piece.block, Release):
            part = taken[id(piece.block)]
            found += part.stems
            unknown += part.unknown
        elif piece.dbh is not None and piece.method:
            found += _cut(scene, piece, unknown)
    return Tallied(tuple(found), tuple(unknown))


# -- cuts ------------------------------------------------------------------------------------------------


def _cut(scene: Scene, piece: Piece, unknown: list[Unknown]) -> Iterator[Stems]:
    """The trees of a row, patch or tree, by the pocket that each belongs to."""
    size = piece.dbh
    assert size is not None
    each = float(basal_area((size.least + size.largest) / 2))
    over = is_over(scene, piece)

    def stems(pocket: str, number: float) -> Stems:
        return Stems(piece, pocket, piece.species, size, number, number * each, piece.laid_out, over, piece.ground)

    rows = scene.trees.rows_of(piece.block)
    if piece.laid_out and len(rows):
        names = [pocket.name for pocket in scene.plan.of(Pocket)]
        of = scene.trees.pocket[rows]
        for pocket in sorted(set(of.tolist()), key=lambda one: (one < 0, one)):
            yield stems(names[pocket] if pocket >= 0 else "", float((of == pocket).sum()))
    elif piece.trees is not None:
        yield stems(piece.pockets[0] if piece.pockets else "", piece.trees)
    else:
        what = "`density` or ground" if isinstance(piece.block, Patch) else "place on the ground"
        unknown.append(Unknown(piece.block, f"it has no {what} that can be read, so its trees are not counted"))


# -- releases --------------------------------------------------------------------------------------------


class _Taken(NamedTuple):
    """What one release takes."""

    piece: Piece
    stems: list[Stems]
    unknown: list[Unknown]


class _Cell(NamedTuple):
    """Ground on which the same timbers, pockets and earlier releases lie."""

    ground: BaseGeometry
    of: tuple[int, ...]


def cells_of(ground: BaseGeometry, shapes: Sequence[BaseGeometry]) -> list[_Cell]:
    """A ground cut up by shapes: pieces that share no place, each with the shapes (by number) that lie over it."""
    cells = [_Cell(ground, ())]
    for number in sorted(shapely.STRtree(list(shapes)).query(ground, predicate="intersects").tolist()):
        split = []
        for cell in cells:
            within, without = cell.ground.intersection(shapes[number]), cell.ground.difference(shapes[number])
            split += [_Cell(within, (*cell.of, number))] if within.area > _SLIVER else []
            split += [_Cell(without, cell.of)] if without.area > _SLIVER else []
        cells = split
    return cells


_UNSAID = "it does not say by `basal-area` what it takes"
_UNCLASSED = "no `timber` with `class` lines is given where it stands, so its trees are not counted"


def _releases(scene: Scene, pieces: Sequence[Piece]) -> Iterator[_Taken]:
    own = [piece for piece in pieces if isinstance(piece.block, Release)]
    before: list[tuple[BaseGeometry, float, float]] = []  # ground, from what, to what, of earlier releases
    over = timbers_of(scene)
    pockets = [(pocket.name, shape) for pocket in scene.plan.of(Pocket) if (shape := scene.shape_of(pocket))]

    def order(piece: Piece) -> tuple[bool, float, float]:
        when = when_of(scene, piece.block)
        return not when.finished, when.day.toordinal() if when.day else 0.0, when.step if when.step else np.inf

    for piece in sorted(own, key=order):
        found = _Taken(piece, [], [])
        shape = piece.ground
        if shape is None or piece.basal_area is None:
            why = _UNSAID if piece.basal_area is None else "it has no place on the ground"
            found.unknown.append(Unknown(piece.block, why))
            yield found
            continue
        had, left = piece.basal_area
        earlier = [one[0] for one in before]
        shapes = [*over.shapes, *(ground for _, ground in pockets), *earlier]
        sums: dict[tuple[str, int, Class], tuple[float, list[BaseGeometry]]] = {}
        beyond = unclassed = 0.0
        for cell in cells_of(shape, shapes):
            timbers = [number for number in cell.of if number < len(over.shapes)]
            inside = [number - len(over.shapes) for number in cell.of if number >= len(over.shapes)]
            pocket = next((pockets[number][0] for number in inside if number < len(pockets)), "")
            met = [before[number - len(pockets)] for number in inside if number >= len(pockets)]
            top = max([had, *(one[1] for one in met)])
            now = min([had if not met else top, *(one[2] for one in met)])
            take = max(0.0, now - left)
            classes = sorted(
                ((one, number) for number in timbers for one in classes_of(over.timbers[number])),
                key=lambda one: -one[0].largest,
            )
            if not classes:
                unclassed += take * cell.ground.area
                continue
            gone = top - now
            for one, number in classes:
                spared = min(one.basal_area, gone)
                gone -= spared
                part = min(one.basal_area - spared, take)
                take -= part
                if part > _SAME:
                    area, grounds = sums.get((pocket, number, one), (0.0, []))
                    sums[(pocket, number, one)] = area + part * cell.ground.area, [*grounds, cell.ground]
            beyond += take * cell.ground.area if take > _SAME else 0.0
        done = is_over(scene, piece)
        for (pocket, number, one), (area, grounds) in sums.items():
            timber = over.timbers[number]
            species = tuple(dict.fromkeys(str(name.value) for name in timber.species))
            each = float(basal_area((one.least + one.largest) / 2))
            found.stems.append(Stems(
                piece, pocket, species, Sizes(one.least, one.largest, False), area / each if each > 0 else None, area,
                False, done, shapely.union_all(grounds), timber,
            ))  # fmt: skip
        if unclassed > TOLERANCE:
            found.stems.append(Stems(piece, "", (), None, None, unclassed, False, done))
            found.unknown.append(Unknown(piece.block, _UNCLASSED))
        if beyond > TOLERANCE:
            found.stems.append(Stems(piece, "", (), None, None, beyond, False, done))
            why = "it takes more than the `class` lines of its timber hold, so some of its trees are of no known size"
            found.unknown.append(Unknown(piece.block, why))
        before.append((shape, had, left))
        yield found


# -- what stands -----------------------------------------------------------------------------------------


def basal_area_of(timber: Timber) -> float | None:
    """Basal area of a timber as it is written: of all of it, else of its classes together; None without either."""
    if timber.basal_area is not None:
        return float(timber.basal_area.value.size)
    classes = classes_of(timber)
    return sum(one.basal_area for one in classes) if classes else None


def standing(scene: Scene, stems: Sequence[Stems]) -> tuple[Standing, ...]:
    """Basal area over every pocket and in every timber of ours, before any work and after what the stage counts."""
    gone = [one for one in stems if scene.plan.counted(one.piece.block)]
    over = timbers_of(scene)
    found = []
    for pocket in scene.plan.of(Pocket):
        ground = scene.shape_of(pocket)
        if _is_ground(ground) and scene.plan.word(pocket, "offsite") != "yes":
            before, why = _over(ground, over)
            cut = [_cut_in_pocket(scene, one, pocket, ground) for one in gone]
            found.append(_standing(pocket, ground, before, why, cut))
    for timber, ground in zip(over.timbers, over.shapes, strict=True):
        if _is_ground(ground) and scene.plan.word(timber, "offsite") != "yes":
            why = "it has no `class` and no `basal-area`"
            cut = [_cut_in_timber(scene, one, timber, over) for one in gone]
            found.append(_standing(timber, ground, basal_area_of(timber), why, cut))
    return tuple(found)


def _is_ground(ground: BaseGeometry | None) -> TypeGuard[BaseGeometry]:
    return ground is not None and ground.area > _SLIVER


def _standing(
    block: Pocket | Timber, ground: BaseGeometry, before: float | None, why: str, cut: Sequence[float]
) -> Standing:
    if before is None:
        return Standing(block, ground.area, None, None, why)
    after = before - sum(cut) / ground.area
    return Standing(block, ground.area, before, max(0.0, after), "", after < -1e-6)


def _over(ground: BaseGeometry, over: Timbers) -> tuple[float | None, str]:
    """Basal area over a ground: of each timber by the share of the ground it covers."""
    total, met = 0.0, False
    for timber, shape in zip(over.timbers, over.shapes, strict=True):
        share = shape.intersection(ground).area / ground.area
        if share <= 1e-6:
            continue
        figure = basal_area_of(timber)
        if figure is None:
            return None, "a `timber` over it has no `class` and no `basal-area`"
        total, met = total + share * figure, True
    return (total, "") if met else (None, "no `timber` is given over it")


def _cut_in_pocket(scene: Scene, stems: Stems, pocket: Pocket, ground: BaseGeometry) -> float:
    """Basal area that some trees take from a pocket, in square metres."""
    if not isinstance(stems.piece.block, Release) and stems.pocket:
        return stems.basal_area if stems.pocket == pocket.name else 0.0
    return stems.basal_area * _share(scene, stems, ground)


def _cut_in_timber(scene: Scene, stems: Stems, timber: Timber, over: Timbers) -> float:
    """Basal area that some trees take from a timber, in square metres."""
    if stems.timber is not None:
        return stems.basal_area if stems.timber is timber else 0.0
    ground: BaseGeometry = Polygon()
    taken: list[BaseGeometry] = []
    # where timbers lie over one another a tree is of the first that has its size
    order = sorted(range(len(over.timbers)), key=lambda number: not _has_size(over.timbers[number], stems.dbh))
    for number in order:
        if over.timbers[number] is timber:
            ground = over.shapes[number]
            break
        taken.append(over.shapes[number])
    for other in taken:
        if other.intersects(ground):
            ground = ground.difference(other)
    return stems.basal_area * _share(scene, stems, ground)


def _has_size(timber: Timber, dbh: Sizes | None) -> bool:
    middle = 0.0 if dbh is None else (dbh.least + dbh.largest) / 2
    return any(one.least <= middle <= one.largest for one in classes_of(timber))


def _share(scene: Scene, stems: Stems, ground: BaseGeometry) -> float:
    """The share of some trees that stands on a ground: of those laid out by their stumps, of others by area."""
    if stems.counted:
        rows = scene.trees.rows_of(stems.piece.block)
        names = [pocket.name for pocket in scene.plan.of(Pocket)]
        of = np.array([names[one] if one >= 0 else "" for one in scene.trees.pocket[rows]], object)
        own = rows[of == stems.pocket]
        return float(shapely.dwithin(ground, scene.trees.stump[own], TOLERANCE).mean()) if len(own) else 0.0
    shape = stems.ground if stems.ground is not None else stems.piece.ground
    if shape is None or shape.area <= 0:
        return 0.0
    return float(shape.intersection(ground).area / shape.area)
