"""Work on trees of every kind, cuts and releases alike: what a setback forbids, what comes down across
hinges, and whether wood has a way out.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry import LinearRing, LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.ground import curves
from habitatlint.ground import trees as standing
from habitatlint.ground.columns import Array, Column, Indices, Mask, Table, column, distinct
from habitatlint.ground.cuts import CUT_HEIGHTS, KILLING, LAYING
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_blocks
from habitatlint.language.blocks import Block, Boundary, Hazard, Patch, Path, Release, Setback, Timber
from habitatlint.language.blocks import Place as PlaceBlock
from habitatlint.measures.jobs import earlier_steps, later_steps, steps_around
from habitatlint.measures.reach import most, property_at
from habitatlint.measures.timber import When, classes_of, comes_before, timbers_over, when_of
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural, plural
from habitatlint.reading.values import Written
from habitatlint.units import TOLERANCE, YARD

_SETBACK_WHY = "the plan has no `boundary`"


class Works(NamedTuple):
    """Every row, patch, tree and release, whole heads only, in the order of the plan."""

    blocks: list[Block]
    shapes: list[BaseGeometry | None]
    methods: list[str]

    def trees(self, scene: Scene, row: int) -> Indices:
        """The rows of the trees that a block lays out; none for a patch or a release."""
        return scene.trees.rows_of(self.blocks[row])


def tree_works(scene: Scene) -> Works:
    found = scene.memo.get("tree works")
    if isinstance(found, Works):
        return found
    cuts = {id(block): row for row, block in enumerate(cut_blocks(scene))}
    of_cuts = scene.table("cuts").column("shape").values
    blocks = [
        block for block in scene.plan.blocks if id(block) in cuts or (isinstance(block, Release) and not block.broken)
    ]
    shapes = [of_cuts[cuts[id(block)]] if id(block) in cuts else scene.shape_of(block) for block in blocks]
    found = scene.memo["tree works"] = Works(blocks, shapes, [_method(scene, block) for block in blocks])
    return found


def _method(scene: Scene, block: Block) -> str:
    """How trees are cut, in the words of a cut: a release that does not say, or a logger's, fells. What
    the wind has thrown is cut by nobody."""
    method = scene.plan.word(block, "method")
    if isinstance(block, Release):
        return "fell" if method in ("", "logger") else method
    return "" if scene.plan.word(block, "state") == "blown" else method


@plural(
    "tree-works",
    {"name": "name", "shape": "shape", "method": "word", "step": "number", "pocket": "thing:pockets",
     "cut": "truth", "counted": "truth", "finished": "truth", "offsite": "truth"},
)  # fmt: skip
def _tree_works(scene: Scene) -> Table:
    works = tree_works(scene)
    blocks, plan = works.blocks, scene.plan
    table = Table("tree-works", len(blocks), lambda row: blocks[row].label, lambda row: blocks[row].name,
                  lambda row: blocks[row].span())  # fmt: skip
    table.written = lambda row, field: property_at(plan, blocks[row], field)
    table.unplaced = np.array([shape is None for shape in works.shapes], bool)
    steps = [when_of(scene, block).step for block in blocks]
    pockets = scene.table("cuts").column("pocket")
    of_cut = {id(block): row for row, block in enumerate(cut_blocks(scene))}
    in_pocket = [
        int(pockets.values[row]) if (row := of_cut.get(id(block))) is not None and pockets.mask[row] else None
        for block in blocks
    ]
    for field, kind, values, why in (
        ("name", "name", [block.name for block in blocks], ""),
        ("shape", "shape", works.shapes, ""),
        ("method", "word", [method or None for method in works.methods], "no `method` is given"),
        ("step", "number", steps, "no `step` is given"),
        ("pocket", "thing:pockets", in_pocket, "it belongs to no pocket"),
        ("cut", "truth", [method in (*LAYING, *KILLING) for method in works.methods], ""),
        ("counted", "truth", [plan.counted(block) for block in blocks], ""),
        ("finished", "truth", [when_of(scene, block).finished for block in blocks], ""),
        ("offsite", "truth", [plan.word(block, "offsite") == "yes" for block in blocks], ""),
    ):
        table.add(field, lambda kind=kind, values=values, why=why: column(kind, values, why))  # type: ignore[misc]
    return table


# -- other steps -----------------------------------------------------------------------------------------


@of_plural("tree-works", "earlier-steps", "list")
def _earlier_steps(scene: Scene) -> Column:
    """Earlier steps in which its crew cuts, the nearest first."""
    return earlier_steps(steps_around(scene, block) for block in tree_works(scene).blocks)


@of_plural("cuts", "later-steps", "list")
def _later_steps(scene: Scene) -> Column:
    """Later steps in which its crew cuts, the nearest first; without an order of work also one after the last."""
    return later_steps(steps_around(scene, block) for block in cut_blocks(scene))


# -- setbacks --------------------------------------------------------------------------------------------


@of_plural("setbacks", "ground", "shape")
def _setback_ground(scene: Scene) -> Column:
    """What a setback is measured from, as it lies: the thing that `from` names, or the property line."""
    shapes: list[BaseGeometry | None] = []
    homeless = False
    for setback in scene.plan.of(Setback):
        name = scene.plan.word(setback, "from")
        if name == "boundary":
            edge = scene.property_
            shapes.append(None if edge is None else edge.boundary)
            homeless |= not scene.plan.of(Boundary) and edge is None
        else:
            thing = scene.plan.names.get(name)
            shapes.append(scene.shape_of(thing) if thing is not None else None)
    # what has no place for another reason has been told as a slip
    return column("shape", shapes, _SETBACK_WHY if homeless else "")


@of_plural("setbacks", "distance", "length")
def _setback_distance(scene: Scene) -> Column:
    """How far a setback reaches; shown in feet where feet are what setbacks are written in."""
    written: list[Written | None] = [setback.distance for setback in scene.plan.of(Setback)]
    units = {one.value.unit or scene.units for one in written if one is not None}
    sizes = [None if one is None else scene.placer.metres(one) for one in written]
    return column("length", sizes, "no `distance` is given", "ft" if units == {"ft"} else "")


@measure("forbidden", ("setbacks", "tree-works"), "truth")
def forbidden(scene: Scene, setbacks: Rows, works: Rows) -> Column:
    """Whether a setback forbids what a cut or release does: its method is one of those that `forbids`
    lists, or is any cut where nothing is listed. A logger's release, or one that does not say how, fells;
    what is left standing, or thrown by the wind, is forbidden by none."""
    every, all_works = scene.plan.of(Setback), tree_works(scene)
    listed = [{str(value.value) for value in setback.forbids} for setback in every]
    broken = ["forbids" in setback.parsed.broken for setback in every]
    found = []
    for setback, work in zip(setbacks.rows, works.rows, strict=True):
        method = all_works.methods[work]
        some = listed[setback] or (set() if broken[setback] else {*LAYING, *KILLING})
        found.append(method in some)
    return Column("truth", np.array(found, bool))


#: a work that is drawn back from a setback keeps so much more off it
_SPARE = 0.5 * YARD
#: its outline then follows the setback's rounded edge to within this
_SMOOTH = 0.2 * YARD
#: quarter circles are drawn in so many pieces
_PIECES = 8


@measure(
    "setback-gap", ("tree-works", "setbacks"), "length",
    parts={"place": "place", "inside": "count", "outline": "shape"},
)  # fmt: skip
def setback_gap(scene: Scene, works: Rows, setbacks: Rows) -> Measured:
    """How far the stumps of a cut, or the ground of a patch or release, are from what a setback is measured
    from, in metres, at their nearest; to a path it is to its line. `inside` is how many stumps stand nearer
    than the setback allows (0 for a patch or release, which lay no trees), `place` the nearest of them.
    `outline` is that of a patch or release drawn back from it, half a yard to spare; unknown where what is left
    of it is in pieces or less than half."""
    every, trees = tree_works(scene), scene.trees
    table = scene.table("setbacks")
    grounds, allowed = table.column("ground").values, table.column("distance").values
    sizes, inside = np.full(len(works), np.nan), np.zeros(len(works))
    places: list[Any] = [None] * len(works)
    for index, (work, setback) in enumerate(zip(works.rows, setbacks.rows, strict=True)):
        ground, shape, rows = grounds[setback], every.shapes[work], every.trees(scene, int(work))
        if ground is None or shape is None:
            continue
        if len(rows):
            gaps = shapely.distance(trees.stump[rows], ground)
            sizes[index], inside[index] = gaps.min(), np.sum(gaps < allowed[setback] - TOLERANCE)
            places[index] = trees.stump[rows[int(np.argmin(gaps))]]
        elif isinstance(every.blocks[work], Patch | Release):
            sizes[index] = shape.distance(ground)
            places[index] = shapely.get_point(shapely.shortest_line(shape, ground), 0)
    known = np.isfinite(sizes)

    def outline(rows: Indices) -> Column:
        lines: list[LineString | None] = []
        why = "it has no outline to draw back"
        for row in rows:
            work, setback = int(works.rows[row]), setbacks.rows[row]
            ground, shape = grounds[setback], every.shapes[work]
            drawn = isinstance(every.blocks[work], Patch | Release) and ground is not None and shape is not None
            left = _drawn_back(shape, ground, float(allowed[setback])) if drawn else None
            lines.append(left and _as_written(every.blocks[work], left))
            why = "what it would leave is in pieces, or less than half" if drawn and left is None else why
        return column("shape", lines, why)

    return Measured(
        Column("length", sizes, None if known.all() else known),
        {
            "outline": outline,
            "place": lambda rows: column("place", [places[row] for row in rows]),
            "inside": lambda rows: Column("count", inside[rows]),
        },
    )


def _drawn_back(shape: BaseGeometry, ground: BaseGeometry, off: float) -> LineString | None:
    """The corners of what of an area lies so far off a thing; None for pieces, a hole, or less than half of it."""
    if not isinstance(shape, Polygon):
        return None
    round_ = (off + _SPARE) / math.cos(math.pi / 4 / _PIECES)  # the sides of the drawn circle lie within it
    left = shape.difference(ground.buffer(round_, quad_segs=_PIECES)).simplify(_SMOOTH)
    if not isinstance(left, Polygon) or left.interiors or left.area < shape.area / 2:
        return None
    corners, first = left.exterior.coords[:-1], Point(shape.exterior.coords[0])
    at = min(range(len(corners)), key=lambda index: Point(corners[index]).distance(first))
    return LineString([*corners[at:], *corners[:at]])


def _as_written(block: Block, corners: LineString) -> LineString:
    """The corners of an area round the way that its plan goes, if that gives them as points; the first stays."""
    outline = block.first("outline")
    points = [(one.value.east, one.value.north) for one in outline.values if one.kind == "point"] if outline else []
    if len(points) < 3 or LinearRing(points).is_ccw == LinearRing(corners.coords).is_ccw:
        return corners
    first, *others = corners.coords
    return LineString([first, *others[::-1]])


# -- what comes down across hinges -------------------------------------------------------------------------


class _Hinges(NamedTuple):
    """Live hinges: trees as they lie, and of patches the ground they may lie on, with their density there."""

    shapes: Array
    owners: list[Block]
    density: Array
    places: Array
    index: shapely.STRtree

    def met(self, shapes: Array) -> Indices:
        """The hinges that any of some shapes touches, in order."""
        shapes = shapes[~shapely.is_empty(shapes)]
        return distinct(self.index.query(shapes, predicate="dwithin", distance=TOLERANCE)[1])

    def how_many(self, rows: Indices, ground: Array) -> float:
        """How many hinges these are; a patch counts by its density over the ground it shares, one at least."""
        laid = self.density[rows] == 0
        some = float(laid.sum())
        for row in rows[~laid]:
            shared = shapely.area(shapely.union_all(shapely.intersection(ground, self.shapes[row])))
            some += max(1.0, round(float(shared) * self.density[row]))
        return some


def _live_hinges(scene: Scene) -> _Hinges:
    trees, plan = scene.trees, scene.plan
    live = np.flatnonzero(trees.live & trees.lies)
    treated = ("done", "planned") if scene.design else ("done",)
    patches = [
        (block, shape)
        for block, shape, method in zip(*tree_works(scene), strict=True)
        if isinstance(block, Patch)
        and method == "hinge"
        and shape is not None
        and plan.counted(block)
        and plan.word(block, "stump-treatment") not in treated
    ]
    shapes = _objects([*trees.fallen[live], *(shape for _, shape in patches)])
    densities = [plan.value(block, "density") for block, _ in patches]
    return _Hinges(
        shapes,
        [*(trees.blocks[index] for index in trees.block[live]), *(block for block, _ in patches)],
        # a patch whose density is written broken still hinges
        np.array([0.0] * len(live) + [one.value.size if one else 1e-9 for one in densities], float),
        _objects([*trees.stump[live], *(shape.representative_point() for _, shape in patches)]),
        shapely.STRtree(shapes),
    )


def _objects(shapes: list[Any]) -> Array:
    found = np.empty(len(shapes), object)
    found[:] = shapes
    return found


class _Fell(NamedTuple):
    """What comes down of a block: where it surely lies or stands, all that it can reach, and what can be
    reached by trees of which something is not known, with what that is."""

    core: Array
    reach: Array
    unsure: Array
    why: str
    estimated: bool


_NO_STEP = "it or the hinges under it have no `step`, so nobody knows which comes first"
_NO_DBH = "no `dbh` is given, so nobody knows whether what comes down over hinges is big"
_NO_FALL = "no `fall` is given, and live hinges lie in its reach"
_NONE = _objects([])


def _fell_trees(scene: Scene, rows: Indices, big: float) -> _Fell:
    trees = scene.trees
    sized = trees.dbh_written[rows]
    over = sized & (trees.largest_dbh[rows] > big + 1e-9)
    lies = trees.lies[rows]
    surely = trees.fallen[rows[over & lies]]
    aimless = over & ~np.isfinite(trees.bearing[rows])
    around = shapely.buffer(trees.stump[rows[aimless]], np.maximum(trees.reach[rows[aimless]], TOLERANCE))
    unsized = trees.fallen[rows[~sized & lies]]
    unsure = _objects([*around, *unsized])
    why = _NO_DBH if len(unsized) else _NO_FALL if aimless.any() else ""
    return _Fell(surely, surely, unsure, why, bool(trees.estimated[rows[over & lies]].any()))


def _fell_ground(scene: Scene, block: Block, ground: BaseGeometry, big: float) -> _Fell:
    if isinstance(block, Release):
        tall, estimated = _tallest_over(scene, ground)
    else:
        dbh = scene.plan.value(block, "dbh")
        if dbh is None:
            return _Fell(_NONE, _NONE, _objects([ground]), _NO_DBH, False)
        thick = most(dbh.value)
        if thick <= big + 1e-9:
            return _Fell(_NONE, _NONE, _NONE, "", False)
        written = scene.plan.value(block, "tree-height")
        species = tuple(str(name.value) for name in scene.plan.values(block, "species"))
        tall = most(written.value) if written else float(curves.height(species, np.array(thick)))
        estimated = written is None
    reach = float(standing.reach(tall, CUT_HEIGHTS["fell"]))
    return _Fell(_objects([ground]), _objects([ground.buffer(reach, quad_segs=8)]), _NONE, "", estimated)


def _tallest_over(scene: Scene, ground: BaseGeometry) -> tuple[float, bool]:
    """Height in metres of the tallest timber that a release takes from, and whether it is estimated; 0
    where no timber there gives a height, a class or a DBH."""
    heights = [height_of(scene, timber) for timber in timbers_over(scene, ground)]
    return max(heights, default=(0.0, False))


def height_of(scene: Scene, timber: Timber) -> tuple[float, bool]:
    """Height of a timber in metres, and whether it is estimated: what is written, else by the published
    curves from the largest DBH of its largest class or of its `dbh`; 0 where nothing is given."""
    if timber.height is not None:
        return float(timber.height.value.size), False
    classes = classes_of(timber)
    thick = classes[0].largest if classes else most(timber.dbh.value) if timber.dbh is not None else 0.0
    species = tuple(str(name.value) for name in timber.species)
    return (float(curves.height(species, np.array(thick))), True) if thick else (0.0, False)


@measure("over-hinges", ("tree-works", "length"), "count",
         parts={"under": "count", "place": "place", "of": "name"})  # fmt: skip
def over_hinges(scene: Scene, works: Rows, big: Column) -> Measured:
    """How many live hinges of earlier work lie where the big trees of a cut or release can come down: of
    felled trees over `big` DBH, under stem and top as they fall; of a release or a felled patch, within its
    outline grown by the reach of its largest tree. That of a release is the tallest of the timber it takes
    from: by its height, or by the published curves from its largest class; where no timber tells, the
    outline alone counts. What is killed standing is not dropped. What is done comes before what is not, two
    days stand above steps, else the lower step comes first; in one step neither does.

    `under` counts those that lie in the outline itself, or under a tree as it falls; `of` is whose hinges
    the first of them are, `place` its stump. A hinged patch counts by its density over the ground it
    shares, one at least. Not known for want of a step, a DBH or a fall, where hinges lie in reach. Common
    practice, no source."""
    size = len(works)
    whole, under = np.zeros(size), np.zeros(size)
    known, estimated = np.ones(size, bool), np.zeros(size, bool)
    first: list[tuple[Any, str] | None] = [None] * size
    reasons: set[str] = set()
    every, hinges = tree_works(scene), _live_hinges(scene)
    owners = {id(block): block for block in hinges.owners}
    told = {key: when_of(scene, block) for key, block in owners.items()}
    for index, work in enumerate(works.rows if len(hinges.shapes) else ()):
        block, shape, rows = every.blocks[work], every.shapes[work], every.trees(scene, int(work))
        if every.methods[work] != "fell" or shape is None:
            continue
        limit = float(big.values[index])
        if len(rows):
            fell = _fell_trees(scene, rows, limit)
        elif isinstance(block, Patch | Release):
            fell = _fell_ground(scene, block, shape, limit)
        else:
            continue
        when = when_of(scene, block)
        order: dict[int, bool | None] = {}

        def earlier(
            found: Indices, when: When = when, order: dict[int, bool | None] = order
        ) -> tuple[Indices, Indices]:
            """Those cut before it, and those of which nobody knows."""
            keys = [id(hinges.owners[row]) for row in found]
            order.update((key, comes_before(told[key], when)) for key in set(keys) - order.keys())
            return found[[order[key] is True for key in keys]], found[[order[key] is None for key in keys]]

        near, unsure = earlier(hinges.met(fell.reach))
        inside = near if fell.core is fell.reach else earlier(hinges.met(fell.core))[0]
        if len(near):
            whole[index] = hinges.how_many(near, fell.reach)
            under[index] = whole[index] if inside is near else hinges.how_many(inside, fell.core)
            one = int(inside[0] if len(inside) else near[0])
            first[index] = hinges.places[one], hinges.owners[one].name
            estimated[index] = fell.estimated or not len(rows)
            continue
        perhaps = np.concatenate([*earlier(hinges.met(fell.unsure))])
        known[index] = not len(unsure) and not len(perhaps)
        if not known[index]:
            reasons.add(_NO_STEP if len(unsure) else fell.why)
    why = "; or ".join(sorted(reasons))
    places = _objects([one[0] if one else None for one in first])
    names = _objects([one[1] if one else None for one in first])
    return Measured(
        Column("count", whole, None if known.all() else known, estimated, why),
        {
            "under": lambda rows: Column("count", under[rows], known[rows], estimated[rows], why),
            "place": lambda rows: column("place", list(places[rows])),
            "of": lambda rows: column("name", list(names[rows])),
        },
    )


# -- the way out for wood ------------------------------------------------------------------------------------


@of_plural("releases", "finished", "truth")
def _release_finished(scene: Scene) -> Column:
    """The release is done, be it without a date."""
    return column("truth", [scene.plan.finished(release) for release in scene.plan.of(Release)])


@measure("to-vehicle-way", ("releases",), "length", parts={"place": "place"})
def to_vehicle_way(scene: Scene, releases: Rows) -> Measured:
    """How far a release is from the nearest way that wood can leave by, in metres: from its outline to a
    path of use `vehicle`, a road or a landing; 0 where one touches it. Unknown where the plan has none.
    `place` is the point of the release nearest to it. Slope, streams and the carrying of wood are not
    looked at. Common practice, no source."""
    ways = _vehicle_ways(scene)
    shapes = scene.table("releases").column("shape").values[releases.rows]
    sizes, places = np.full(len(releases), np.nan), _objects([None] * len(releases))
    if ways:
        index = shapely.STRtree(ways)
        there = np.array([shape is not None for shape in shapes], bool)
        asked, found = index.query_nearest(shapes[there], all_matches=False)
        nearest = _objects([ways[way] for way in found])
        rows = np.flatnonzero(there)[asked]
        sizes[rows] = shapely.distance(shapes[rows], nearest)
        places[rows] = shapely.get_point(shapely.shortest_line(shapes[rows], nearest), 0)
    known: Mask = np.isfinite(sizes)
    return Measured(
        Column("length", sizes, None if known.all() else known, None, "" if ways else "the plan has no vehicle path"),
        {"place": lambda rows: column("place", list(places[rows]))},
    )


@of_plural("plans", "vehicle-ways", "count")
def _vehicle_way_count(scene: Scene) -> Column:
    """How many ways a plan has that wood can leave by: vehicle paths, roads and landings, placed or written
    broken."""
    plan = scene.plan
    broken = sum("use" in path.parsed.broken for path in plan.of(Path)) + len(plan.ghosts)
    rows = scene.table("plans").size
    return Column("count", np.full(rows, float(len(_vehicle_ways(scene)) + broken)))


def _vehicle_ways(scene: Scene) -> list[BaseGeometry]:
    plan = scene.plan
    blocks: list[Block] = [path for path in plan.of(Path) if plan.word(path, "use") == "vehicle"]
    blocks += [hazard for hazard in plan.of(Hazard) if plan.word(hazard, "kind") == "road"]
    blocks += [place for place in plan.of(PlaceBlock) if plan.word(place, "kind") == "landing"]
    return [shape for block in blocks if (shape := scene.shape_of(block)) is not None]
