"""Corridors through a pocket: how far apart they run, whether both ends are open, how far a spot is from a way.

Every size is common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from habitatlint.findings import Related
from habitatlint.ground.columns import Array, Column, Indices, Table, column, distinct
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Food, Path, Pocket, Row
from habitatlint.measures.core import is_field
from habitatlint.measures.free_ground import LEAST_STRIP, grown, in_pieces
from habitatlint.measures.openings import corridor_width, strips, thrown
from habitatlint.measures.together import for_each
from habitatlint.measures.triangles import even_triangles_of
from habitatlint.measures.vocabulary import Measured, Rows, measure, plural
from habitatlint.measures.ways_out import Bars, barriers, ground_of, unlaid, why_unlaid
from habitatlint.reading.grammar import Statement
from habitatlint.units import TOLERANCE, YARD

#: sides of a pocket's ground, and ways out of it, are cut into pieces this long for walking distances
PIECE = 2 * YARD
#: so far beyond a pocket's outline a corridor runs
BEYOND = 3 * YARD


class Corridor(NamedTuple):
    """A way cut through a pocket: its line in metres, and what wrote it."""

    pocket: int
    line: LineString
    width: float
    block: Block
    said: Statement | None
    number: int


def corridors_of(scene: Scene) -> list[Corridor]:
    """Every corridor of every pocket: the lines of `corridors every ...`, and the paths of use `corridor` that
    run in it."""
    found = scene.memo.get("corridors")
    if found is not None:
        return found  # type: ignore[no-any-return]
    found = scene.memo["corridors"] = []
    paths = [
        (path, line)
        for path in scene.plan.of(Path)
        if scene.plan.word(path, "use") == "corridor" and isinstance(line := scene.shape_of(path), LineString)
    ]
    drawn = shapely.STRtree([line for _, line in paths])
    for index, pocket in enumerate(scene.plan.of(Pocket)):
        outline = scene.shape_of(pocket)
        found += [
            Corridor(index, line, corridor_width(scene, said), pocket, said, number)
            for number, (said, line) in enumerate(scene.corridors[index], 1)
        ]
        if outline is not None:
            found += [
                Corridor(index, line, scene.width_of(path), path, None, 0)
                for path, line in (paths[at] for at in sorted(drawn.query(outline, predicate="intersects").tolist()))
                if line.intersection(outline).length > TOLERANCE
            ]
    return found


def corridors_in(scene: Scene, pocket: int) -> list[Corridor]:
    """The corridors of a pocket, by its row."""
    found = scene.memo.get("corridors by pocket")
    if found is None:
        found = scene.memo["corridors by pocket"] = {}
        for one in corridors_of(scene):
            found.setdefault(one.pocket, []).append(one)
    return found.get(pocket, [])  # type: ignore[no-any-return]


def _lines_in(scene: Scene, pocket: int) -> shapely.STRtree:
    """The lines of a pocket's corridors, in their order, to be asked which are near."""
    key = ("lines of corridors", pocket)
    if key not in scene.memo:
        scene.memo[key] = shapely.STRtree([one.line for one in corridors_in(scene, pocket)])
    found: shapely.STRtree = scene.memo[key]
    return found


@plural(
    "corridors",
    {
        "pocket": "thing:pockets", "shape": "shape", "width": "length", "drawn": "name", "path": "thing:paths",
        "every": "length", "off": "thing:foods",
    },
)  # fmt: skip
def _corridors_table(scene: Scene) -> Table:
    corridors = corridors_of(scene)

    def label(row: int) -> str:
        one = corridors[row]
        return f"corridor {one.number} of {one.block.name}" if one.said is not None else f"corridor {one.block.name}"

    table = Table("corridors", len(corridors), label, lambda row: corridors[row].block.name,
                  lambda row: corridors[row].block.span(corridors[row].said))  # fmt: skip
    pockets = scene.plan.of(Pocket)

    def related(row: int) -> tuple[Related, ...]:
        one = corridors[row]
        pocket = pockets[one.pocket]
        return () if one.block is pocket else (Related(pocket.span(), f"through {pocket.label}"),)

    table.related = related
    table.add("pocket", lambda: column("thing:pockets", [one.pocket for one in corridors]))
    table.add("shape", lambda: column("shape", [one.line for one in corridors]))
    # the block that draws it: its own path, or the pocket that says `corridors every ...`
    table.add("drawn", lambda: column("name", [one.block.name for one in corridors]))
    table.add("width", lambda: Column("length", np.array([one.width for one in corridors], float), unit="ft"))
    laid = [_laid(scene, one.said) if one.said is not None else (None, None) for one in corridors]
    drawn = [scene.row_of("paths", one.block.name) if one.said is None else None for one in corridors]
    # a corridor is a path of its own, or laid by its pocket, so far apart and off that food
    table.add("path", lambda: column("thing:paths", drawn, "the pocket's `corridors` lay it"))
    table.add("every", lambda: column("length", [every for every, _ in laid], "it is a path of its own"))
    table.add("off", lambda: column("thing:foods", [food for _, food in laid], "it is a path of its own"))
    return table


def _laid(scene: Scene, said: Statement) -> tuple[float | None, int | None]:
    """How far apart a line `corridors every ...` lays them, in metres, and the row of the food it lays them off."""
    every = next((scene.placer.metres(one) for one in said.values if one.kind in ("length", "number")), None)
    food = next((scene.row_of("foods", str(one.value)) for one in said.values if one.kind == "name"), None)
    return every, food


#: a corridor that is a path of its own is set so far from the next one
APART = 20 * YARD


@measure("to-next-corridor", ("corridors",), "length", parts={"place": "place", "apart": "shape"})
def to_next_corridor(scene: Scene, corridors: Rows) -> Measured:
    """How far a corridor runs from the next one of its pocket, in metres: the mean distance of its course
    within the pocket from the nearest other, so that two that meet at one end, or cross, are told by how
    they run and not by where they touch. `apart` is the corridor's line moved sideways, off the nearest other or
    toward it, until they run 20 yd apart; by half of what is missing where that other is a path of its own too, for
    it is moved as well. Unknown for the only one of a pocket."""
    every = corridors_of(scene)
    shapes = [scene.shape_of(pocket) for pocket in scene.plan.of(Pocket)]
    gaps: list[float | None] = []
    places: list[Point | None] = []
    nearest: list[Corridor | None] = []
    for row in corridors.rows:
        one = every[int(row)]
        outline = shapes[one.pocket]
        within = one.line.intersection(outline) if outline is not None else one.line
        gap, other = _next_to(scene, one, within)
        gaps.append(gap)
        places.append(within.centroid if other is not None else None)
        nearest.append(other)

    def apart(rows: Indices) -> Column:
        moved = [_set_apart(every[int(corridors.rows[row])], nearest[row], gaps[row], places[row]) for row in rows]
        return column("shape", moved, "it runs across the next one")

    return Measured(
        column("length", gaps),
        {"place": lambda rows: column("place", [places[row] for row in rows]), "apart": apart},
    )


def _next_to(scene: Scene, one: Corridor, within: BaseGeometry) -> tuple[float | None, Corridor | None]:
    """The corridor of its pocket that one runs nearest to, and the mean distance of its course from that one."""
    beside = corridors_in(scene, one.pocket)
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(within, PIECE)))
    if not len(points):
        return None, None
    # what lies farther off than a mean distance runs farther off: only those within it are looked at
    far = PIECE
    while True:
        near = np.sort(_lines_in(scene, one.pocket).query(within, predicate="dwithin", distance=far + TOLERANCE))
        others = [beside[at] for at in near if beside[at].line is not one.line]
        means = [float(np.mean(shapely.distance(points, other.line))) for other in others]
        if len(near) == len(beside) or (means and min(means) <= far):
            return (min(means), others[int(np.argmin(means))]) if means else (None, None)
        far = max(2 * far, min(means, default=0.0))


def _set_apart(one: Corridor, other: Corridor | None, gap: float | None, middle: Point | None) -> LineString | None:
    """A corridor's line moved straight off the next one's, or toward it; None where they touch beside its middle."""
    if other is None or gap is None or middle is None:
        return None
    start, end = shapely.get_coordinates(shapely.shortest_line(other.line, middle))
    far = float(np.hypot(*(end - start)))
    if far <= TOLERANCE:
        return None
    by = (APART - gap) * (0.5 if other.said is None else 1.0)
    return LineString(shapely.get_coordinates(one.line) + (end - start) / far * by)


@measure("shut-ends", ("corridors", "length", "length"), "count", parts={"place": "place", "line": "shape"})
def shut_ends(scene: Scene, corridors: Rows, reach: Column, way: Column) -> Measured:
    """How many ends of a corridor are shut: 0, 1 or 2.

    An end is open where, within `reach` of it, there is free ground outside the pocket that is joined to the
    rim (as for the ways out of a bed, a way `way` wide), or another corridor or line of travel; so one that stops
    inside the pocket has a shut end. `place` is the first shut end, `line` the corridor run on straight from
    each shut end that lies in the pocket, to 3 yd beyond its outline."""
    every = corridors_of(scene)
    links = [
        shape
        for path in scene.plan.of(Path)
        if scene.plan.word(path, "use") in ("travel", "corridor") and (shape := scene.shape_of(path)) is not None
    ]
    index = shapely.STRtree(links)
    counts: list[float] = []
    places: list[Point | None] = []
    through: list[LineString | None] = []
    for row, near, wide in zip(corridors.rows, reach.values, way.values, strict=True):
        one = every[int(row)]
        shut = [
            end
            for end in (Point(one.line.coords[0]), Point(one.line.coords[-1]))
            if all(
                links[other] is one.line
                for other in index.query(end, predicate="dwithin", distance=float(near) + TOLERANCE)
            )
            and not _leads_on(scene, one, end, float(near), Bars(float(wide)))
        ]
        counts.append(float(len(shut)))
        places.append(shut[0] if shut else None)
        through.append(_run_through(scene, one, shut))
    return Measured(
        Column("count", np.array(counts, float)),
        {
            "place": lambda rows: column("place", [places[row] for row in rows]),
            "line": lambda rows: column("shape", [through[row] for row in rows], "it does not stop in the pocket"),
        },
    )


@measure("thrown-across", ("corridors", "length"), "count", parts={"place": "place"})
def thrown_across(scene: Scene, corridors: Rows, way: Column) -> Measured:
    """How many trees that the wind threw, or that lie by no work of the plan, shut a corridor: 0 where between
    them a way `way` wide is left from end to end of its strip, else those whose tops, grown by half a way, lie
    on it. What an opening or the corridor itself was sawn through afterwards (see `openings`) shuts nothing, and
    in a design nothing does, for there every way is still to be sawn. `place` is the middle of the first stretch
    of its line that is barred. Common practice, no source."""
    every, blown = corridors_of(scene), thrown(scene)
    counts, places = np.zeros(len(corridors)), []
    for index, (row, wide) in enumerate(zip(corridors.rows, way.values, strict=True)):
        one = every[int(row)]
        places.append(one.line.interpolate(0.5, normalized=True))
        if not blown.any() or one.line.length <= TOLERANCE:
            continue
        half = max(one.width - float(wide), LEAST_STRIP) / 2
        middle = one.line.buffer(half, cap_style="flat")
        shapes, tree_index = barriers(scene, Bars(float(wide)))
        near = np.sort(tree_index.query(middle, predicate="dwithin", distance=float(wide) / 2))
        near = near[blown[near]]
        sawn = strips(scene, float(wide))
        opened = shapely.union_all(sawn.shapes[sawn.through])
        lying = shapely.difference(grown(shapes[near], float(wide) / 2), opened)
        bars = shapely.union_all(lying)
        ends = [Point(one.line.coords[0]), Point(one.line.coords[-1])]
        left = shapely.get_parts(in_pieces(middle.difference(bars)))
        if any(all(piece.distance(end) <= half + TOLERANCE for end in ends) for piece in left):
            continue
        counts[index] = int(shapely.intersects(lying, middle).sum())
        barred = one.line.intersection(bars)
        stretches = [part for part in shapely.get_parts(barred) if isinstance(part, LineString) and part.length > 0]
        if stretches:
            first = min(stretches, key=lambda part: one.line.project(Point(part.coords[0])))
            places[-1] = first.interpolate(0.5, normalized=True)
    return Measured(Column("count", counts), {"place": lambda rows: column("place", [places[row] for row in rows])})


#: a row's stumps are moved on along its line by a half of its spacing first, then by other parts of it
_SHIFTS = (1 / 2, 1 / 4, 3 / 4, 1 / 8, 3 / 8, 5 / 8, 7 / 8)


@measure(
    "in-corridor",
    ("trees", "corridors", "angle"),
    "length",
    parts={"place": "place", "stump": "length", "beside": "shape"},
)
def in_corridor(scene: Scene, trees: Rows, corridors: Rows, along: Column) -> Measured:
    """How much of a fallen stem, in metres, lies lengthwise in a corridor: what of it is within the corridor's
    strip, where the two run within `along` of each other (the corridor's bearing is that of the leg of it nearest
    the stump); 0 where it lies across. `stump` is how far its stump stands inside the strip's edge, below 0 where
    it stands outside. `place` is the stump, or the middle of what lies in the strip. `beside` is the line of its
    row's stumps begun farther on, by a half of its spacing or another part of it, so that no stump of the row stands
    in a corridor; unknown for a single tree, a row that is not written as two points with a spacing, and where no
    such line is found."""
    every, cut = corridors_of(scene), scene.trees
    named = distinct(corridors.rows)
    strips_ = np.full(len(every), None, object)
    strips_[named] = [every[row].line.buffer(every[row].width / 2, cap_style="flat") for row in named]
    lines = np.array([one.line for one in every], object)[corridors.rows]
    widths = np.array([one.width for one in every])[corridors.rows]
    stumps = cut.stump[trees.rows]
    inside = widths / 2 - shapely.distance(lines, stumps)
    within = shapely.intersection(cut.stem[trees.rows], strips_[corridors.rows])
    lying = shapely.length(within)
    met = np.flatnonzero(lying > 0)
    turned = np.array([leg_bearing(line, stump) for line, stump in zip(lines[met], stumps[met], strict=True)])
    apart = np.abs((cut.bearing[trees.rows[met]] - turned + 90) % 180 - 90)
    lying[met[apart >= along.values[met]]] = 0
    places = stumps.copy()
    middles = np.flatnonzero(
        (lying > 0) & (inside <= TOLERANCE) & (shapely.get_type_id(within) == shapely.GeometryType.LINESTRING)
    )
    places[middles] = shapely.line_interpolate_point(within[middles], 0.5, normalized=True)

    def beside(rows: Indices) -> Column:
        found = {
            block: _stumps_beside(scene, block) for block in {cut.blocks[cut.block[trees.rows[row]]] for row in rows}
        }
        lines = [found[cut.blocks[cut.block[trees.rows[row]]]] for row in rows]
        return column("shape", lines, "its stumps are not two points and a spacing, or no other part of it is clear")

    estimated = cut.estimated[trees.rows]
    return Measured(
        Column("length", lying, None, estimated),
        {
            "place": lambda rows: column("place", [places[row] for row in rows]),
            "stump": lambda rows: Column("length", inside[rows]),
            "beside": beside,
        },
    )


def leg_bearing(line: LineString, near: Point) -> float:
    """The bearing of the leg of a line that is nearest a point, in degrees."""
    points = shapely.get_coordinates(line)
    legs = shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))
    east, north = (points[1:] - points[:-1])[int(np.argmin(np.round(shapely.distance(legs, near), 6)))]
    return float(np.degrees(np.arctan2(east, north)) % 360)


def _stumps_beside(scene: Scene, block: Block) -> LineString | None:
    """The line of a row's stumps begun farther on, so that none of them stands in a corridor."""
    line, spacing = scene.shape_of(block), block.spacing if isinstance(block, Row) else None
    statement = block.first("stumps")
    if spacing is None or statement is None or not isinstance(line, LineString) or len(line.coords) != 2:
        return None
    if any(value.kind != "point" for value in statement.values):
        return None
    step = scene.placer.metres(spacing)
    strips_ = shapely.union_all([one.line.buffer(one.width / 2 + TOLERANCE) for one in corridors_of(scene)])
    for share in _SHIFTS:
        begin = round(step * share / YARD) * YARD or step * share
        if not TOLERANCE < begin < min(step, line.length):
            continue
        stumps = line.interpolate(np.arange(begin, line.length + TOLERANCE, step))
        if not shapely.intersects(strips_, stumps).any():
            return LineString([line.interpolate(begin), line.coords[-1]])
    return None


def _run_through(scene: Scene, one: Corridor, shut: list[Point]) -> LineString | None:
    """A corridor's line with each shut end in its pocket run on straight to 3 yd beyond the outline; None where
    no end of it lies there."""
    outline = scene.shape_of(scene.plan.of(Pocket)[one.pocket])
    points = [tuple(point) for point in shapely.get_coordinates(one.line).tolist()]
    whole = list(points)
    for at, before, end in ((0, points[1], points[0]), (len(points), points[-2], points[-1])):
        if outline is None or Point(end) not in shut or not outline.covers(Point(end)):
            continue
        run = np.array(end) - np.array(before)
        along = run / max(float(np.hypot(*run)), TOLERANCE)
        west, south, east, north = outline.bounds
        ray = LineString([end, np.array(end) + along * (east - west + north - south)])
        # the first place where it leaves the pocket
        out = min((Point(end).distance(part) for part in shapely.get_parts(ray.intersection(outline.boundary))),
                  default=0.0)  # fmt: skip
        beyond = (*(np.array(end) + along * (out + BEYOND)).tolist(),)
        whole = [beyond, *whole[1:]] if at == 0 else [*whole[:-1], beyond]
    return LineString(whole) if whole != points else None


def _leads_on(scene: Scene, one: Corridor, end: Point, near: float, bars: Bars) -> bool:
    """Whether free ground that is joined to the rim lies outside the pocket and near a corridor's end, besides
    what the pocket's corridors clear by themselves."""
    ground, outline = ground_of(scene, one.pocket, bars), scene.shape_of(scene.plan.of(Pocket)[one.pocket])
    if ground is None or outline is None:
        return False
    reach = near + 2 * TOLERANCE
    beside = corridors_in(scene, one.pocket)
    here = shapely.clip_by_rect(ground.joined, end.x - reach, end.y - reach, end.x + reach, end.y + reach)
    own = [
        beside[at].line.buffer(beside[at].width / 2 + TOLERANCE)
        for at in sorted(_lines_in(scene, one.pocket).query(end, predicate="dwithin", distance=reach).tolist())
    ]
    left = here.difference(shapely.union_all([outline, *own]))
    return not left.is_empty and bool(left.distance(end) <= near + TOLERANCE)


# -- the way to a way out --------------------------------------------------------------------------------------


@measure("to-way-out", ("pockets", "length", "length"), "length", parts={"place": "place", "food": "thing:foods"})
def to_way_out(scene: Scene, pockets: Rows, way: Column, near: Column) -> Measured:
    """How far the worst spot of a pocket is from a way out, walked over its free ground, in metres.

    A way out is a corridor, a line of travel, or a piece of the outline where nothing bars a way `way` wide.
    Spots are the corners of the free ground's triangles (sides cut to 2 yd), and the middles of the greatest
    circles between the ways. No walk is shorter than the straight line: where that is longer than `near`
    already, it is what is told, for the farthest spot by it. Otherwise a way is taken along the sides of the
    triangles, and straightened where the straight line is free; what is no farther than `near` is told as
    no more than it may be. Ground that no way leads to is left out: it is sealed, which `dead-end` tells.
    `place` is the worst spot, `food` the plot or crop nearest the pocket, off which corridors would be laid.
    Unknown where trees are cut by a patch, which lays no trees."""
    unknown = unlaid(scene)
    asked = list(zip(pockets.rows.tolist(), way.values.tolist(), near.values.tolist(), strict=True))
    for row, wide, _ in asked:  # worked out before several ask at once
        corridors_in(scene, row), ground_of(scene, row, Bars(wide))
    found = for_each(lambda one: None if unknown[one[0]] else _worst_spot(scene, one[0], Bars(one[1]), one[2]), asked)
    value = column("length", [one and one[0] for one in found], why_unlaid(scene, pockets.rows.tolist()))
    return Measured(
        value,
        {
            "place": lambda rows: column("place", [(found[row] or (0, None))[1] for row in rows]),
            "food": lambda rows: _nearest_field(scene, pockets.rows[rows].tolist()),
        },
    )


def _nearest_field(scene: Scene, pockets: list[int]) -> Column:
    """The plot or crop of the plan nearest each of some pockets."""
    fields = [
        (row, shape) for row, food in enumerate(scene.plan.of(Food))
        if is_field(scene, food) and food.name and (shape := scene.shape_of(food)) is not None
    ]  # fmt: skip
    outlines = [scene.shape_of(scene.plan.of(Pocket)[row]) for row in pockets]
    nearest = [
        min(fields, key=lambda one: round(one[1].distance(outline), 2))[0] if fields and outline is not None else None
        for outline in outlines
    ]
    return column("thing:foods", nearest, "the plan has no plot or crop that corridors could be laid off")


def _worst_spot(scene: Scene, pocket: int, bars: Bars, near: float) -> tuple[float, Point | None] | None:
    ground, outline = ground_of(scene, pocket, bars), scene.shape_of(scene.plan.of(Pocket)[pocket])
    if ground is None or outline is None:
        return None
    lines = [one.line.buffer(one.width / 2, cap_style="flat") for one in corridors_in(scene, pocket)]
    lines += [
        line.buffer(scene.width_of(path) / 2, cap_style="flat")
        for path in scene.plan.of(Path)
        if scene.plan.word(path, "use") == "travel"
        and (line := scene.shape_of(path)) is not None
        and line.intersects(outline)
    ]
    between = outline.difference(shapely.union_all(lines)) if lines else outline
    circles = [shapely.maximum_inscribed_circle(part, TOLERANCE) for part in shapely.get_parts(in_pieces(between))]
    middles = [(circle.length, Point(circle.coords[0])) for circle in circles]
    far = [(reach, middle) for reach, middle in middles if reach > near + TOLERANCE and ground.joined.covers(middle)]
    if far:
        return max(far, key=lambda one: one[0])
    left = shapely.segmentize(ground.joined.intersection(between), PIECE)
    # the middle of open ground is no corner of anything: it is put in as one
    left = left.difference(shapely.union_all(shapely.buffer([middle for _, middle in middles], TOLERANCE, quad_segs=1)))
    return _walked(in_pieces(left), shapely.union_all([outline.boundary, *lines]), near)


def _walked(free: BaseGeometry, ways: BaseGeometry, near: float) -> tuple[float, Point | None]:
    """The spot of free ground that is farthest from the ways, and how far it is to walk; where none is
    farther than `near`, how far it is at most."""
    cut = even_triangles_of(shapely.get_parts(free))
    places, ends = cut.places, cut.ends
    if not len(places):
        return 0.0, None
    points = shapely.points(places)
    # a way out is reached where free ground meets it, and nowhere through what bars
    start = shapely.dwithin(ways, points, TOLERANCE)
    walked, toward = np.where(start, 0.0, np.inf), np.where(start, np.arange(len(places)), -1)
    _relax(places, ends, walked, toward)
    shapely.prepare(free)
    # corners from which the straight line is free are as near as that, and so are others by way of them
    beyond = np.flatnonzero(np.isfinite(walked) & (walked > near / 2))
    lines = shapely.shortest_line(points[beyond], ways)
    seen = shapely.covers(free, lines)
    walked[beyond[seen]], toward[beyond[seen]] = shapely.length(lines[seen]), beyond[seen]
    _relax(places, ends, walked, toward)
    far = np.flatnonzero(np.isfinite(walked) & (walked > near))
    if not len(far):
        known = np.where(np.isfinite(walked), walked, -1.0)
        return max(float(known.max()), 0.0), Point(places[int(np.argmax(known))])
    straight = shapely.distance(points[far], ways)
    farthest = int(np.argmax(straight))
    best, best_at = float(straight[farthest]), Point(places[far[farthest]])
    for corner in far[np.argsort(-walked[far], kind="stable")]:
        if best > near + TOLERANCE:
            break
        length = _straightened(free, places, ways, int(corner), toward)
        if length > best:
            best, best_at = length, Point(places[corner])
    return best, best_at


def _relax(places: Array, ends: Array, walked: Array, toward: Array) -> None:
    """Makes every corner as near as its neighbours allow, along the sides; `toward` is the next corner."""
    steps = np.hypot(*(places[ends[:, 0]] - places[ends[:, 1]]).T)
    one, other = np.concatenate([ends[:, 0], ends[:, 1]]), np.concatenate([ends[:, 1], ends[:, 0]])
    both = np.concatenate([steps, steps])
    while True:
        offered = walked[one] + both
        better = offered < walked[other] - 1e-9
        if not better.any():
            return
        np.minimum.at(walked, other[better], offered[better])
        took = better & (offered <= walked[other] + 1e-12)
        toward[other[took]] = one[took]


def _straightened(free: BaseGeometry, places: Array, ways: BaseGeometry, corner: int, toward: Array) -> float:
    """The length of a walk over free ground from a corner along others to a way out, each stretch drawn straight as
    far as the straight line is free, and straight from the last corner."""
    chain = [places[corner]]
    while toward[corner] != corner:
        corner = int(toward[corner])
        chain.append(places[corner])
    length, here = float(Point(chain[-1]).distance(ways)), 0
    while here < len(chain) - 1:
        lines = shapely.linestrings([[chain[here], end] for end in chain[here + 1 :]])
        seen = np.flatnonzero(shapely.covers(free, lines))
        there = here + 1 + (int(seen[-1]) if len(seen) else 0)
        length += float(np.hypot(*(chain[there] - chain[here])))
        here = there
    return length
