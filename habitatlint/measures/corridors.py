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
from habitatlint.ground.columns import Array, Column, Table, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Path, Pocket
from habitatlint.measures.free_ground import FreeGround
from habitatlint.measures.openings import corridor_width
from habitatlint.measures.vocabulary import Measured, Rows, measure, plural
from habitatlint.measures.ways_out import NO_TREES, Bars, ground_of, patches_of
from habitatlint.reading.grammar import Statement
from habitatlint.units import TOLERANCE, YARD

#: sides of a pocket's ground, and ways out of it, are cut into pieces this long for walking distances
PIECE = 2 * YARD
#: spots between the corners of free ground stand no farther apart than this
BETWEEN = 2 * YARD


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
    for index, pocket in enumerate(scene.plan.of(Pocket)):
        outline = scene.shape_of(pocket)
        lines = scene.corridors[pocket.name]
        widths = [corridor_width(scene, statement) for statement in pocket.corridors]
        if lines:
            said = pocket.corridors[0]
            found += [Corridor(index, line, widths[0], pocket, said, number) for number, line in enumerate(lines, 1)]
        if outline is not None:
            found += [
                Corridor(index, line, scene.width_of(path), path, None, 0)
                for path, line in paths
                if line.intersection(outline).length > TOLERANCE
            ]
    return found


@plural(
    "corridors",
    {"pocket": "thing:pockets", "shape": "shape", "width": "length"},
)
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
    table.add("width", lambda: Column("length", np.array([one.width for one in corridors], float), unit="ft"))
    return table


@measure("to-next-corridor", ("corridors",), "length", parts={"place": "place"})
def to_next_corridor(scene: Scene, corridors: Rows) -> Measured:
    """How far a corridor runs from the next one of its pocket, in metres: the mean distance of its course
    within the pocket from the nearest other, so that two that meet at one end, or cross, are told by how
    they run and not by where they touch. Unknown for the only one of a pocket."""
    every = corridors_of(scene)
    shapes = [scene.shape_of(pocket) for pocket in scene.plan.of(Pocket)]
    of: dict[int, list[LineString]] = {}
    for one in every:
        of.setdefault(one.pocket, []).append(one.line)
    gaps: list[float | None] = []
    places: list[Point | None] = []
    for row in corridors.rows:
        one = every[int(row)]
        others = [line for line in of[one.pocket] if line is not one.line]
        outline = shapes[one.pocket]
        within = one.line.intersection(outline) if outline is not None else one.line
        points = shapely.points(shapely.get_coordinates(shapely.segmentize(within, PIECE)))
        if not others or not len(points):
            gaps.append(None)
            places.append(None)
            continue
        distances = [float(np.mean(shapely.distance(points, line))) for line in others]
        gaps.append(min(distances))
        places.append(within.centroid)
    return Measured(column("length", gaps), {"place": lambda rows: column("place", [places[row] for row in rows])})


@measure("shut-ends", ("corridors", "length", "length"), "count", parts={"place": "place"})
def shut_ends(scene: Scene, corridors: Rows, reach: Column, way: Column) -> Measured:
    """How many ends of a corridor are shut: 0, 1 or 2.

    An end is open where, within `reach` of it, there is free ground outside the pocket that is joined to the
    rim (as for the ways out of a bed, a way `way` wide), or another corridor or line of travel; so one that stops
    inside the pocket has a shut end. `place` is the first shut end."""
    every = corridors_of(scene)
    links = [
        shape
        for path in scene.plan.of(Path)
        if scene.plan.word(path, "use") in ("travel", "corridor") and (shape := scene.shape_of(path)) is not None
    ]
    counts: list[float] = []
    places: list[Point | None] = []
    for row, near, wide in zip(corridors.rows, reach.values, way.values, strict=True):
        one = every[int(row)]
        outside = _outside(scene, one.pocket, Bars(float(wide)))
        others = [link for link in links if link is not one.line]
        shut = [
            end
            for end in (Point(one.line.coords[0]), Point(one.line.coords[-1]))
            if not (
                (outside is not None and outside.distance(end) <= near + TOLERANCE)
                or any(other.distance(end) <= near + TOLERANCE for other in others)
            )
        ]
        counts.append(float(len(shut)))
        places.append(shut[0] if shut else None)
    return Measured(
        Column("count", np.array(counts, float)),
        {"place": lambda rows: column("place", [places[row] for row in rows])},
    )


def _outside(scene: Scene, pocket: int, bars: Bars) -> BaseGeometry | None:
    """The free ground round a pocket that is joined to the rim, but for what its corridors clear by themselves."""
    key = ("outside", pocket, bars)
    if key not in scene.memo:
        ground, outline = ground_of(scene, pocket, bars), scene.shape_of(scene.plan.of(Pocket)[pocket])
        own = [one.line.buffer(one.width / 2 + TOLERANCE) for one in corridors_of(scene) if one.pocket == pocket]
        if ground is not None and outline is not None:
            scene.memo[key] = ground.joined.difference(shapely.union_all([outline, *own]))
        else:
            scene.memo[key] = None
    return scene.memo[key]


# -- the way to a way out --------------------------------------------------------------------------------------


@measure("to-way-out", ("pockets", "length"), "length", parts={"place": "place"})
def to_way_out(scene: Scene, pockets: Rows, way: Column) -> Measured:
    """How far the worst spot of a pocket is from a way out, walked over its free ground, in metres.

    A way out is a corridor, a line of travel, or a piece of the outline where nothing bars a way `way` wide.
    Spots are the corners of the free ground's triangles, and between them so that none are more than 2 yd
    apart, and the middles of the greatest circles between the ways; a way is first taken along the sides of the triangles, then straightened where the straight line
    is free: it is never too short, and too long by little. Ground that no way leads to is left out: it
    is sealed, which `dead-end` tells. `place` is the worst spot. Unknown where trees are cut by a patch, which
    lays no trees."""
    patches = patches_of(scene)
    found = [
        None if patches[int(row)] else _worst_spot(scene, int(row), Bars(float(wide)))
        for row, wide in zip(pockets.rows, way.values, strict=True)
    ]
    value = column("length", [one and one[0] for one in found], NO_TREES)
    return Measured(value, {"place": lambda rows: column("place", [(found[row] or (0, None))[1] for row in rows])})


def _worst_spot(scene: Scene, pocket: int, bars: Bars) -> tuple[float, Point | None] | None:
    ground, outline = ground_of(scene, pocket, bars), scene.shape_of(scene.plan.of(Pocket)[pocket])
    if ground is None or outline is None:
        return None
    inside = ground.joined.intersection(outline)
    lines = [one.line.buffer(one.width / 2, cap_style="flat") for one in corridors_of(scene) if one.pocket == pocket]
    lines += [
        line.buffer(scene.width_of(path) / 2, cap_style="flat")
        for path in scene.plan.of(Path)
        if scene.plan.word(path, "use") == "travel"
        and (line := scene.shape_of(path)) is not None
        and line.intersects(outline)
    ]
    ways = shapely.union_all([outline.boundary, *lines])
    left = shapely.segmentize(inside.difference(shapely.union_all(lines)), PIECE)
    # the middle of open ground is no corner of anything: it is put in as one
    for part in shapely.get_parts(outline.difference(shapely.union_all(lines))):
        middle = Point(shapely.maximum_inscribed_circle(part, TOLERANCE).coords[0])
        left = left.difference(middle.buffer(TOLERANCE, quad_segs=1))
    spots = FreeGround(shapely.multipolygons([part for part in shapely.get_parts(left) if part.area > 0]), outline)
    return _walked(spots, ways)


def _walked(ground: FreeGround, ways: BaseGeometry) -> tuple[float, Point | None]:
    """The spot that is farthest from the ways, and how far it is to walk."""
    places, ends = ground.corners, ground.sides
    if not len(places):
        return 0.0, None
    points = shapely.points(places)
    # a way out is reached where free ground meets it, and nowhere through what bars
    start = shapely.distance(points, ways) <= TOLERANCE
    steps = np.hypot(*(places[ends[:, 0]] - places[ends[:, 1]]).T)
    walked = np.where(start, 0.0, np.inf)
    toward = np.where(start, np.arange(len(places)), -1)
    one, other = np.concatenate([ends[:, 0], ends[:, 1]]), np.concatenate([ends[:, 1], ends[:, 0]])
    both = np.concatenate([steps, steps])
    while True:
        offered = walked[one] + both
        better = offered < walked[other] - 1e-9
        if not better.any():
            break
        np.minimum.at(walked, other[better], offered[better])
        took = better & (offered <= walked[other] + 1e-12)
        toward[other[took]] = one[took]
    spots, far, first = _spots(ground, walked)
    order = np.argsort(-far, kind="stable")
    shapely.prepare(ground.free)
    best, best_at = 0.0, None
    for spot in order:
        if far[spot] <= best + TOLERANCE:
            break
        straight = _straightened(ground, ways, spots[spot], int(first[spot]), toward, places)
        if straight > best:
            best, best_at = straight, Point(spots[spot])
    return best, best_at


def _spots(ground: FreeGround, walked: Array) -> tuple[Array, Array, Array]:
    """Corners that a way leads to, and spots between them: their places, how far they are to walk along the
    sides, and the corner that each walks by first."""
    reached = np.flatnonzero(np.isfinite(walked))
    spots, far, first = [ground.corners[reached]], [walked[reached]], [reached]
    corners = ground.triangles
    corners = corners[np.isfinite(walked[corners]).all(axis=1)]
    shapes = ground.corners[corners]
    longest = np.hypot(*np.moveaxis(shapes - np.roll(shapes, 1, axis=1), -1, 0)).max(axis=1)
    parts = np.ceil(longest / BETWEEN - 1e-9).astype(int)
    for number in range(2, int(parts.max(initial=0)) + 1):
        chosen = np.flatnonzero(parts == number)
        if not len(chosen):
            continue
        weights = np.array([(i, j, number - i - j) for i in range(number + 1) for j in range(number + 1 - i)]) / number
        weights = weights[weights.max(axis=1) < 1]
        places = np.einsum("wk,tkd->twd", weights, shapes[chosen]).reshape(-1, 2)
        by = np.repeat(corners[chosen], len(weights), axis=0)
        ways = walked[by] + np.hypot(*np.moveaxis(ground.corners[by] - places[:, None], -1, 0))
        nearest = ways.argmin(axis=1)
        spots.append(places)
        far.append(ways.min(axis=1))
        first.append(by[np.arange(len(by)), nearest])
    return np.concatenate(spots), np.concatenate(far), np.concatenate(first)


def _straightened(
    ground: FreeGround, ways: BaseGeometry, spot: Array, first: int, toward: Array, places: Array
) -> float:
    """The length of a walk from a spot along corners to a way out, each stretch drawn straight as far as the
    straight line is free."""
    end = shapely.shortest_line(Point(spot), ways)
    if ground.free.covers(end):
        return float(end.length)
    chain = [spot]
    corner = first
    if np.hypot(*(places[corner] - spot)) > 0:
        chain.append(places[corner])
    while toward[corner] != corner:
        corner = int(toward[corner])
        chain.append(places[corner])
    length, here = 0.0, 0
    while here < len(chain) - 1:
        end = shapely.shortest_line(Point(chain[here]), ways)
        if here and ground.free.covers(end):
            return length + float(end.length)
        there = len(chain) - 1
        while there > here + 1 and not ground.free.covers(LineString([chain[here], chain[there]])):
            there -= 1
        length += float(np.hypot(*(chain[there] - chain[here])))
        here = there
    return length
