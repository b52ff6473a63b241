"""The trees that a plan cuts, laid out and laid down, as arrays.

Rows lay their trees along a line; a `tree` stands by itself, or is one of a
row. A patch lays no trees. Everything is in metres and degrees from true north.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from habitatlint.findings import Fact, Related, Slip
from habitatlint.ground import curves, survey, trees
from habitatlint.ground.columns import Array, Indices, Mask
from habitatlint.ground.placing import Placer
from habitatlint.language.blocks import Block, Pocket, Row, Treatment, Tree
from habitatlint.language.plan import LYING, PlanText
from habitatlint.reading.values import Direction, Written
from habitatlint.units import FOOT, INCH, TOLERANCE, Range, show

#: most trees of one plan that are laid out
MOST_TREES = 200_000
#: trees of a row stand no nearer to each other than this (common practice, no source)
LEAST_SPACING = 1 * FOOT
#: DBH where none is written: the middle of what can be hinged (6 to 10 in; common practice, no source)
USUAL_DBH = 8 * INCH
#: cut heights where none is written (common practice, no source)
CUT_HEIGHTS = {"hinge": 3 * FOOT, "fell": 1 * FOOT}
#: methods that lay a tree on the ground
LAYING = ("hinge", "fell")
#: methods that kill a tree standing
KILLING = ("girdle", "frill", "hack-and-squirt")
#: states that keep a tree from lying, in a plan of the ground as it is
UPRIGHT = ("standing", "hung", "dead")
#: how much taller than its middle a tree is taken where people could be hit
TALLER = 1.10


@dataclass(frozen=True, eq=False)
class CutTrees:
    """n trees as arrays of shape (n,), laid out block by block in the order of the plan.

    Lengths are metres, bearings degrees from true north (NaN where no fall is written).
    `dbh`, `height` and `crown_width` are middles; `largest_*` are for people's safety.
    `lies`: on the ground once the work that the plan's stage counts is done.
    """

    blocks: tuple[Block, ...]
    block: Array
    number: Array
    x: Array
    y: Array
    bearing: Array
    method: Array
    state: Array
    dbh: Array
    least_dbh: Array
    largest_dbh: Array
    dbh_written: Mask
    height: Array
    largest_height: Array
    height_written: Mask
    crown_ratio: Array
    crown_width: Array
    crown_written: Mask
    cut_height: Array
    counted: Mask
    #: kept from lying by its state now; in a design a counted cut lies whatever that is
    upright: Mask
    treated: Mask
    step: Array
    lean: Array
    pocket: Array

    def __len__(self) -> int:
        return len(self.x)

    @cached_property
    def _rows(self) -> dict[int, list[Indices]]:
        """The rows of each block, by its identity: blocks are laid out one after another."""
        edges = np.searchsorted(self.block, np.arange(len(self.blocks) + 1))
        rows: dict[int, list[Indices]] = {}
        for index, block in enumerate(self.blocks):
            rows.setdefault(id(block), []).append(np.arange(edges[index], edges[index + 1]))
        return rows

    def rows_of(self, block: Block) -> Indices:
        """The rows of a block's trees; none for one that lays none."""
        runs = self._rows.get(id(block), [])
        return np.concatenate(runs) if runs else np.zeros(0, np.intp)

    @cached_property
    def estimated(self) -> Mask:
        """The size on the ground rests on a published curve or a default."""
        return ~(self.dbh_written & self.height_written & self.crown_written)

    @cached_property
    def lies(self) -> Mask:
        laid = np.isin(self.method, LAYING) & self.counted & ~self.upright
        return (laid | np.isin(self.state, LYING)) & np.isfinite(self.bearing)

    @cached_property
    def hinged(self) -> Mask:
        return np.asarray((self.method == "hinge") & self.counted & self.lies)

    @cached_property
    def live(self) -> Mask:
        """A hinge lives until its stump is treated; a dead or blown tree makes none, nor one that stands uncut."""
        none = np.isin(self.state, ("blown", "dead")) | (self.upright & (self.state == "standing"))
        return np.asarray((self.method == "hinge") & self.counted & ~self.treated & ~none)

    @cached_property
    def reach(self) -> Array:
        """From stump to tip on the ground; a blown tree lies from its root."""
        cut = np.where(self.state == "blown", 0.0, self.cut_height)
        return trees.reach(self.height, cut)

    @cached_property
    def stump(self) -> Array:
        return np.asarray(shapely.points(self.x, self.y))

    @cached_property
    def stem(self) -> Array:
        return trees.stems(self.x, self.y, self.bearing, np.where(self.lies, self.reach, np.nan))

    @cached_property
    def top(self) -> Array:
        return trees.tops(self.x, self.y, self.bearing, np.where(self.lies, self.reach, np.nan),
                          self.height, self.crown_ratio, self.crown_width)  # fmt: skip

    @cached_property
    def fallen(self) -> Array:
        """Stem and top from the stump; empty where the tree does not lie."""
        return trees.fallen(self.stem, self.top)

    @cached_property
    def barrier(self) -> Array:
        """What a deer in flight does not pass."""
        cut = np.where(self.state == "blown", 0.0, self.cut_height)
        return trees.barriers(self.x, self.y, self.bearing, self.reach, cut, self.top)

    @cached_property
    def fallen_index(self) -> STRtree:
        return STRtree(self.fallen)

    @cached_property
    def barrier_index(self) -> STRtree:
        return STRtree(self.barrier)


class _Stretch:
    """The trees of one block: stumps, and what they share."""

    def __init__(self, block: Block, points: Array) -> None:
        self.block = block
        self.points = points
        self.numbers = np.arange(1, len(points) + 1)


def lay_out(plan: PlanText, placer: Placer) -> tuple[CutTrees, list[Slip]]:
    """Every tree that rows and trees cut, and the slips found on the way."""
    slips: list[Slip] = []
    stretches: list[_Stretch] = []
    moved: dict[tuple[int, int], Block] = {}
    laid = 0
    for block in plan.blocks:
        points: Array | None = None
        if block.broken:
            continue
        if isinstance(block, Row):
            points = _stumps(plan, placer, block, slips, MOST_TREES - laid)
        elif isinstance(block, Tree):
            if (of := block.first("of")) is not None:
                _of_row(plan, block, of, moved, slips)
                continue
            shape = placer.shape(block)
            points = np.array([[shape.x, shape.y]]) if isinstance(shape, Point) else None
        if points is not None and len(points):
            laid += len(points)
            stretches.append(_Stretch(block, points))
    return _arrays(plan, placer, stretches, moved, slips), slips


def _stumps(plan: PlanText, placer: Placer, row: Row, slips: list[Slip], room: int) -> Array | None:
    """The stumps of a row: each spacing along its line as far as it goes, or `count` end to end."""
    line = placer.shape(row)
    if not isinstance(line, LineString):
        return None
    spacing, count = row.spacing, row.count
    if (spacing is None) == (count is None):
        return None

    def refuse(why: str) -> None:
        slips.append(Slip("bad-value", row.span(row.first("spacing") or row.first("count")), thing=row.label,
                          name=row.name, why=why))  # fmt: skip

    if spacing is not None:
        step = placer.metres(spacing)
        if step < LEAST_SPACING - TOLERANCE:
            refuse(f"trees stand {show(LEAST_SPACING, 'length', plan.units)} apart or more")
            return None
        number = int((line.length + TOLERANCE) / step) + 1
        if number > room:
            refuse(f"a plan lays out {MOST_TREES} trees at most, and this would be {number} in one row")
            return None
        distances = np.arange(number) * step
    else:
        assert count is not None
        written = count.value.number
        number = int(written)
        if number != written or number < 1:
            refuse("a count is a whole number, one or more")
            return None
        if number > room:
            refuse(f"a plan lays out {MOST_TREES} trees at most")
            return None
        if (number - 1) * LEAST_SPACING > line.length + TOLERANCE:
            refuse(f"so many would stand less than {show(LEAST_SPACING, 'length', plan.units)} apart")
            return None
        distances = np.linspace(0, line.length, number)
    places = shapely.line_interpolate_point(line, np.minimum(distances, line.length))
    return np.asarray(shapely.get_coordinates(places))


def _of_row(plan: PlanText, tree: Tree, of: Any, moved: dict[tuple[int, int], Block], slips: list[Slip]) -> None:
    """`of thicket-1 3`: the third tree of that row is this tree."""
    row = plan.names.get(str(of.values[0].value))
    number = of.values[1].value.number
    if isinstance(row, Row):
        if number == int(number) and number >= 1:
            first = moved.setdefault((id(row), int(number)), tree)
            if first is not tree:
                slips.append(Slip("name-used-twice", tree.span(of), thing=tree.label, name=tree.name,
                                  found=f"of {row.name} {number:g}", why=f"it is {first.label} already",
                                  related=(Related(first.span(), first.label),)))  # fmt: skip
        else:
            slips.append(Slip("bad-value", tree.span(of.values[1]), thing=tree.label, name=tree.name,
                              why="the trees of a row are numbered 1, 2, 3 and so on"))  # fmt: skip


def _sizes(written: Written | None) -> tuple[float, float, float] | None:
    """Least, middle and largest in metres of a length or a range."""
    if written is None:
        return None
    if isinstance(written.value, Range):
        return written.value.least.size, written.value.middle, written.value.largest.size
    size = written.value.size
    return size, size, size


class _Said:
    """What a block says of its trees, the shared `trees` (and for a tree of a row, the row) counted."""

    def __init__(self, plan: PlanText, placer: Placer, block: Block) -> None:
        self.plan, self.placer, self.block = plan, placer, block
        self.method = plan.word(block, "method")
        self.state = plan.word(block, "state")
        self.dbh = _sizes(plan.value(block, "dbh"))
        self.height = _sizes(plan.value(block, "tree-height"))
        self.species = tuple(str(name.value) for name in plan.values(block, "species"))
        ratio = plan.value(block, "crown-ratio")
        self.crown_ratio = min(max(ratio.value.size, 0.0), 1.0) if ratio else curves.DEFAULT_CROWN_RATIO
        width = plan.value(block, "crown-width")
        self.crown_width = width.value.size if width else None
        cut = plan.value(block, "cut-height")
        self.cut_height = cut.value.size if cut else CUT_HEIGHTS.get(self.method, 0.0)
        step = plan.value(block, "step")
        self.step = float(step.value.number) if step else np.nan
        design = plan.stage == "design"
        self.counted = plan.counted(block)
        self.upright = not design and self.state in UPRIGHT
        treatment = plan.word(block, "stump-treatment")
        self.treated = treatment == "done" or (design and treatment == "planned")
        lean = block.first("lean")
        self.lean = lean.values[1].value.degrees if lean else 0.0
        self.pocket = plan.word(block, "in")

    def fall(self, points: Array) -> Array:
        """Bearings of the falls of trees that stand at these points; NaN where none is written."""
        owner = self.plan.owner(self.block, "fall")
        if owner is None:
            return np.full(len(points), np.nan)
        fall = owner[1].values[0]
        if not isinstance(fall.value, Direction):
            return np.full(len(points), self.placer.bearing(self.block, fall))
        return falls_by(fall.value.word, self.placer.reached(owner[0], fall.value.thing), points)


class MiddleTree(NamedTuple):
    """The middle tree of a block that lays none by itself, in metres: as `CutTrees` has those of rows."""

    height: float
    crown_ratio: float
    crown_width: float
    #: from stump to tip on the ground
    reach: float

    @property
    def top(self) -> float:
        """The ground that its top lies on, in square metres."""
        return float(trees.tops(0.0, 0.0, 0.0, self.reach, self.height, self.crown_ratio, self.crown_width)[0].area)


def middle_tree(plan: PlanText, placer: Placer, block: Block) -> MiddleTree:
    """The middle tree of a patch, its sizes as written or by the published curves."""
    said = _Said(plan, placer, block)
    dbh = np.array([said.dbh or (USUAL_DBH,) * 3], float)
    ratio = np.array([said.crown_ratio], float)
    height = float(_heights([said], dbh)[0][0])
    width = float(_widths([said], dbh, ratio)[0])
    return MiddleTree(height, said.crown_ratio, width, float(trees.reach(height, said.cut_height)))


def falls_by(word: str, shape: BaseGeometry | None, points: Array) -> Array:
    """Bearings of falls `along`, `against`, `toward` or `away` from a shape, at n stumps (n, 2).

    Along a way is its bearing at the place nearest the stump. Toward a thing is to the place of
    it nearest the stump, or to its middle where the stump stands on it; NaN where the thing has
    no place, or `along` is of no line.
    """
    if shape is None or shape.is_empty:
        return np.full(len(points), np.nan)
    if word in ("along", "against"):
        if not isinstance(shape, LineString):
            return np.full(len(points), np.nan)
        bearings = survey.bearing_at(shape, points)
        return bearings if word == "along" else (bearings + 180) % 360
    stumps = shapely.points(points)
    nearest = shapely.get_coordinates(shapely.get_point(shapely.shortest_line(stumps, shape), -1))
    on = np.hypot(*(nearest - points).T) <= TOLERANCE
    nearest[on] = shapely.get_coordinates(shape.centroid)[0]
    east, north = (nearest - points).T
    bearings = np.degrees(np.arctan2(east, north))
    bearings[np.hypot(east, north) <= TOLERANCE] = np.nan
    return np.asarray((bearings if word == "toward" else bearings + 180) % 360)


def _arrays(
    plan: PlanText,
    placer: Placer,
    stretches: list[_Stretch],
    moved: dict[tuple[int, int], Block],
    slips: list[Slip],
) -> CutTrees:
    runs: list[tuple[_Said, Array, Array]] = []
    for stretch in stretches:
        own = [moved.get((id(stretch.block), int(number))) for number in stretch.numbers] if moved else []
        plain = np.array([one is None for one in own], bool)
        if plain.all():
            runs.append((_Said(plan, placer, stretch.block), stretch.points, stretch.numbers))
            continue
        if plain.any():
            runs.append((_Said(plan, placer, stretch.block), stretch.points[plain], stretch.numbers[plain]))
        for index in np.flatnonzero(~plain):
            tree = own[index]
            assert tree is not None
            one = _Said(plan, placer, tree)
            runs.append((one, stretch.points[index : index + 1], stretch.numbers[index : index + 1]))
    _told_of_no_row(moved, stretches, slips)

    counts = np.array([len(points) for _, points, _ in runs], int)

    def each(values: list[Any], dtype: Any = float) -> Array:
        array = np.empty(len(values), dtype)
        array[:] = values
        return np.repeat(array, counts)

    said = [one for one, _, _ in runs]
    points = np.concatenate([points for _, points, _ in runs]) if runs else np.empty((0, 2))
    dbh = np.array([one.dbh or (USUAL_DBH,) * 3 for one in said], float).reshape(-1, 3)
    ratio = np.array([one.crown_ratio for one in said], float)
    height, largest = _heights(said, dbh)
    width = _widths(said, dbh, ratio)
    pockets = {pocket.name: index for index, pocket in enumerate(plan.of(Pocket))}
    in_pocket = each([pockets.get(one.pocket, -1) for one in said], np.intp)
    in_pocket = _found_pockets(plan, placer, points, in_pocket)
    later = _treated_later(plan)
    treated = each([one.treated or not later.isdisjoint(_called(one)) for one in said], bool)
    return CutTrees(
        blocks=tuple(one.block for one in said),
        block=each(list(range(len(said))), np.intp),
        number=np.concatenate([numbers for _, _, numbers in runs]) if runs else np.empty(0, int),
        x=points[:, 0],
        y=points[:, 1],
        bearing=np.concatenate([one.fall(at) for one, at, _ in runs]) if runs else np.empty(0),
        method=each([one.method for one in said], object),
        state=each([one.state for one in said], object),
        dbh=np.repeat(dbh[:, 1], counts),
        least_dbh=np.repeat(dbh[:, 0], counts),
        largest_dbh=np.repeat(dbh[:, 2], counts),
        dbh_written=each([one.dbh is not None for one in said], bool),
        height=np.repeat(height, counts),
        largest_height=np.repeat(largest, counts),
        height_written=each([one.height is not None for one in said], bool),
        crown_ratio=np.repeat(ratio, counts),
        crown_width=np.repeat(width, counts),
        crown_written=each([one.crown_width is not None for one in said], bool),
        cut_height=each([one.cut_height for one in said]),
        counted=each([one.counted for one in said], bool),
        upright=each([one.upright for one in said], bool),
        treated=treated,
        step=each([one.step for one in said]),
        lean=each([one.lean for one in said]),
        pocket=in_pocket,
    )


def _told_of_no_row(moved: dict[tuple[int, int], Block], stretches: list[_Stretch], slips: list[Slip]) -> None:
    if not moved:
        return
    known = {(id(stretch.block), int(number)) for stretch in stretches for number in stretch.numbers}
    for key, tree in moved.items():
        if key not in known and any(id(stretch.block) == key[0] for stretch in stretches):
            of = tree.first("of")
            assert of is not None
            most = max(number for row, number in known if row == key[0])
            slips.append(
                Slip("bad-value", tree.span(of), thing=tree.label, name=tree.name,
                     why=f"row {of.values[0].value} has {most} trees, and no tree {key[1]}", size=Fact(most, "count"))
            )  # fmt: skip


def _by_species(said: list[_Said]) -> dict[tuple[str, ...], list[int]]:
    """Which blocks are of each species."""
    found: dict[tuple[str, ...], list[int]] = {}
    for index, one in enumerate(said):
        found.setdefault(one.species, []).append(index)
    return found


def _heights(said: list[_Said], dbh: Array) -> tuple[Array, Array]:
    """Middle heights, and the largest with a tenth more, by what is written or the published curves."""
    middle, largest = np.empty(len(said)), np.empty(len(said))
    for species, of in _by_species(said).items():
        middle[of] = curves.height(species, dbh[of, 1])
        largest[of] = curves.height(species, dbh[of, 2])
    for index, one in enumerate(said):
        if one.height is not None:
            middle[index], largest[index] = one.height[1], one.height[2]
    return middle, largest * TALLER


def _widths(said: list[_Said], dbh: Array, ratio: Array) -> Array:
    width = np.empty(len(said))
    for species, of in _by_species(said).items():
        width[of] = curves.crown_width(species, dbh[of, 1], ratio[of])
    for index, one in enumerate(said):
        if one.crown_width is not None:
            width[index] = one.crown_width
    return width


#: so many pockets are asked first for the trees they hold; then twice as many for those that are left, and so on, for
#: many pockets may lie one upon the other
FIRST_POCKETS = 64


def _found_pockets(plan: PlanText, placer: Placer, points: Array, named: Array) -> Array:
    """The pocket each stump belongs to: the one named by `in`, else the first it stands in; -1 for none."""
    shapes = [placer.shape(pocket) for pocket in plan.of(Pocket)]
    placed = np.array([index for index, shape in enumerate(shapes) if shape is not None], np.intp)
    found = named.copy()
    start, many = 0, FIRST_POCKETS
    while start < len(placed) and len(left := np.flatnonzero(found < 0)):
        asked = placed[start : start + many]
        index = STRtree([shapes[number] for number in asked])
        stump, pocket = index.query(shapely.points(points[left]), predicate="dwithin", distance=TOLERANCE)
        # an index answers in an order of its own: the last one written is the first of the plan
        last_first = np.argsort(-pocket, kind="stable")
        found[left[stump[last_first]]] = asked[pocket[last_first]]
        start, many = start + many, 2 * many
    return found


def _treated_later(plan: PlanText) -> set[str]:
    """The names in each `treatment`: any in a design, only a done one in an as-built."""
    return {str(name.value) for treatment in plan.of(Treatment) if plan.counted(treatment) for name in treatment.of}


def _called(said: _Said) -> set[str]:
    """What a treatment may call a block's trees by: its name, or for a tree of a row the row's."""
    of = said.block.first("of") if isinstance(said.block, Tree) else None
    return {said.block.name} | ({str(of.values[0].value)} if of is not None else set())
