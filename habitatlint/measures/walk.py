"""Ways of people: the walk to a stand and back, whose side things lie on, how stems lie across it.

Widths, joins and reaches here are common practice, no source.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from habitatlint.ground import survey
from habitatlint.ground.columns import Column, Indices, Table, column, distinct
from habitatlint.ground.columns import Place as Written
from habitatlint.ground.scene import Scene
from habitatlint.language import writing
from habitatlint.language.blocks import Food, Opening, Path, Place, Pocket, Stand
from habitatlint.measures.core import core_ground
from habitatlint.measures.openings import OPENING_REACH, goes_through, opening_bearing, strips, thrown
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural, plural
from habitatlint.units import TOLERANCE, YARD

#: paths that come within this of each other are joined, and a walk begins at a gate this near
JOINED = 5 * YARD
#: how far from a walk a thing shows where the deer are
DEER_REACH = 150 * YARD
#: a thing lies on a side when this much of what is near the walk lies there
SIDE_SHARE = 0.25


class Walk(NamedTuple):
    """One way of a hunter to a stand or from it.

    `whole` runs from gate or boundary to the place nearest the stand; `line` is the part of it
    that no walk before it has, so that a shared trunk is judged once. `sharing` are the whole ways of
    other walks that run along it.
    """

    paths: tuple[Path, ...]
    stand: Stand | None
    whole: LineString
    line: BaseGeometry
    width: float
    out: bool
    sharing: tuple[LineString, ...] = ()


def walks_of(scene: Scene) -> list[Walk]:
    """Every walk of a plan, the longest first; entry and exit paths that no stand uses count whole. A
    neighbour's stands and, unless a stand of ours uses them, paths (`offsite`) are no walks of ours."""
    found = scene.memo.get("walks")
    if found is None:
        found = scene.memo["walks"] = _walks(scene)
    return found


def _walks(scene: Scene) -> list[Walk]:
    ways: list[tuple[tuple[Path, ...], Stand | None, LineString, bool]] = []
    used: set[str] = set()
    for stand in scene.plan.of(Stand):
        if scene.plan.word(stand, "offsite") == "yes":
            continue
        reach = _paths(scene, stand, "reach")
        leave = _paths(scene, stand, "leave")
        for word, paths, out in (("reach", reach, False), ("leave", leave if leave != reach else [], True)):
            line = way_of(scene, stand, word) if paths else None
            if line is not None:  # paths that make no walk are judged whole, each by itself
                used |= {path.name for path in paths}
                ways.append((tuple(paths), stand, line, out))
    for path in scene.plan.of(Path):
        shape = scene.shape_of(path)
        if (
            scene.plan.word(path, "use") in ("entry", "exit")
            and path.name not in used
            and scene.plan.word(path, "offsite") != "yes"
            and isinstance(shape, LineString)
        ):
            ways.append(((path,), None, shape, scene.plan.word(path, "use") == "exit"))
    ways.sort(key=lambda way: -round(way[2].length, 2))
    walks: list[Walk] = []
    places: list[int] = []
    strips = shapely.buffer([way[2] for way in ways], TOLERANCE, quad_segs=2)
    index = shapely.STRtree(strips)
    kept = np.zeros(len(ways), bool)
    sharing: dict[int, list[LineString]] = {}
    for number, (used_paths, chosen, whole, out) in enumerate(ways):
        left: BaseGeometry = whole
        near = index.query(whole)
        near = np.sort(near[kept[near]])
        for other in near[shapely.intersects(strips[near], whole)].tolist():
            if left.intersects(strips[other]):
                rest = left.difference(strips[other])
                if rest.length < left.length - JOINED:  # no mere crossing
                    sharing.setdefault(other, []).append(whole)
                left = rest
        if left.length > TOLERANCE:
            kept[number] = True
            width = max(scene.width_of(path) for path in used_paths)
            walks.append(Walk(used_paths, chosen, whole, left, width, out))
            places.append(number)
    return [walk._replace(sharing=tuple(sharing.get(number, ()))) for walk, number in zip(walks, places, strict=True)]


def _paths(scene: Scene, stand: Stand, word: str) -> list[Path]:
    names = dict.fromkeys(str(name.value) for name in scene.plan.values(stand, word))  # each once, however often named
    blocks = [scene.plan.names.get(name) for name in names]
    return [path for path in blocks if isinstance(path, Path) and isinstance(scene.shape_of(path), LineString)]


def ways_of(scene: Scene, stand: Stand) -> list[LineString]:
    """The whole ways walked to a stand and from it, also where another walk shares all of them."""
    ways = [way_of(scene, stand, word) for word in ("reach", "leave")]
    return [way for way in ways if way is not None]


def way_of(scene: Scene, stand: Stand, word: str) -> LineString | None:
    """The whole way that the paths a stand names by `reach` or `leave` make; None where they make none."""
    key = ("way of", id(stand), word)
    if key not in scene.memo:
        scene.memo[key] = way_to(scene, _paths(scene, stand, word), scene.shape_of(stand))
    found: LineString | None = scene.memo[key]
    return found


def way_to(scene: Scene, paths: list[Path], stand: BaseGeometry | None) -> LineString | None:
    """The shortest way along joined paths from gate or boundary to the place nearest a stand.

    With neither gate nor boundary near them, the walk begins at the first path's first point.
    None for no paths, no stand, or paths that do not join.
    """
    lines = [shape for path in paths if isinstance(shape := scene.shape_of(path), LineString)]
    if not lines or stand is None:
        return None
    goal = min(range(len(lines)), key=lambda index: (round(lines[index].distance(stand), 3), index))
    goal_at = lines[goal].project(stand)
    start, start_at = _beginning(scene, lines)
    if len(lines) == 1:
        way = substring(lines[0], start_at, goal_at)
        return way if isinstance(way, LineString) and way.length > TOLERANCE else None
    return _shortest(lines, (start, start_at), (goal, goal_at))


def _beginning(scene: Scene, lines: list[LineString]) -> tuple[int, float]:
    """Where a walk begins: at a gate, else where a path ends at the boundary, else at the first point."""
    gates = _gates(scene)
    near = [
        (round(lines[index].distance(gates.geometries[gate]), 3), index, lines[index].project(gates.geometries[gate]))
        for index, gate in gates.query(lines, predicate="dwithin", distance=JOINED).T.tolist()
    ]
    if near:
        _, index, at = min(near)
        return index, at
    edge = _edge(scene)
    if edge is not None:
        for index, line in enumerate(lines):
            for at, end in ((0.0, line.coords[0]), (line.length, line.coords[-1])):
                if shapely.dwithin(edge, Point(end), JOINED):
                    return index, at
    return 0, 0.0


def _gates(scene: Scene) -> shapely.STRtree:
    """The plan's gates, to be asked which are near."""
    if "gates" not in scene.memo:
        gates = [place for place in scene.plan.of(Place) if scene.plan.word(place, "kind") == "gate"]
        shapes = [shape for gate in gates if (shape := scene.shape_of(gate)) is not None]
        scene.memo["gates"] = shapely.STRtree(shapes)
    found: shapely.STRtree = scene.memo["gates"]
    return found


def _edge(scene: Scene) -> BaseGeometry | None:
    """The property line, prepared to be asked what is near; None where there is no boundary."""
    if "property line" not in scene.memo:
        edge = scene.property_.boundary if scene.property_ is not None else None
        shapely.prepare(edge)
        scene.memo["property line"] = edge
    found: BaseGeometry | None = scene.memo["property line"]
    return found


def _shortest(lines: list[LineString], start: tuple[int, float], goal: tuple[int, float]) -> LineString | None:
    """The shortest way over lines joined where they come within 5 yd of each other."""
    stops: list[set[float]] = [{0.0, line.length} for line in lines]
    stops[start[0]].add(start[1])
    stops[goal[0]].add(goal[1])
    joins: list[tuple[tuple[int, float], tuple[int, float], float]] = []
    near = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=JOINED)
    for first, second in sorted((one, two) for one, two in near.T.tolist() if one < two):
        one, two = lines[first], lines[second]
        meeting = shapely.get_parts(one.intersection(two))
        points = [part for part in meeting if isinstance(part, Point)] or [
            Point(shapely.shortest_line(one, two).coords[0])
        ]
        for point in points:
            here = one.project(point)
            there = two.project(point)
            stops[first].add(here)
            stops[second].add(there)
            joins.append(((first, here), (second, there), one.interpolate(here).distance(two.interpolate(there))))
    edges: dict[tuple[int, float], list[tuple[tuple[int, float], float]]] = {}
    for index, places in enumerate(stops):
        ordered = sorted(places)
        joins += [((index, a), (index, b), b - a) for a, b in itertools.pairwise(ordered)]
    for a, b, cost in joins:
        edges.setdefault(a, []).append((b, cost))
        edges.setdefault(b, []).append((a, cost))
    best: dict[tuple[int, float], float] = {}
    queue: list[tuple[float, tuple[int, float], tuple[tuple[int, float], ...]]] = [(0.0, start, (start,))]
    while queue:
        cost, here_, way = heapq.heappop(queue)
        if here_ in best:
            continue
        best[here_] = cost
        if here_ == goal:
            return _joined(lines, way)
        for there_, step in edges.get(here_, []):
            if there_ not in best:
                heapq.heappush(queue, (cost + step, there_, (*way, there_)))
    return None


def _joined(lines: list[LineString], way: tuple[tuple[int, float], ...]) -> LineString | None:
    points: list[tuple[float, ...]] = []
    for (index, here), (other, there) in itertools.pairwise(way):
        piece = (
            substring(lines[index], here, there)
            if index == other
            else LineString([lines[index].interpolate(here), lines[other].interpolate(there)])
        )
        points += list(piece.coords)
    kept = [point for number, point in enumerate(points) if number == 0 or point != points[number - 1]]
    return LineString(kept) if len(kept) > 1 else None


@plural(
    "walks",
    {"name": "name", "shape": "shape", "whole": "shape", "width": "length", "stand": "thing:stands", "use": "word",
     "path": "thing:paths"},
)  # fmt: skip
def _walks_table(scene: Scene) -> Table:
    walks = walks_of(scene)

    def label(row: int) -> str:
        walk = walks[row]
        if len(walk.paths) == 1 or walk.stand is None:
            return f"{'exit' if walk.out else 'entry'} path {walk.paths[0].name}"
        return f"the walk {'out from' if walk.out else 'to'} {walk.stand.label}"

    table = Table(
        "walks",
        len(walks),
        label,
        lambda row: walks[row].paths[0].name,
        lambda row: walks[row].paths[0].span(),
    )
    table.names = lambda row: frozenset(path.name for path in walks[row].paths)
    table.written = lambda row, field: _drawn(walks[row].paths[0]) if field == "line" else None
    table.add("name", lambda: column("name", [walk.paths[0].name for walk in walks]))
    table.add("shape", lambda: column("shape", [walk.line for walk in walks]))
    table.add("whole", lambda: column("shape", [walk.whole for walk in walks]))
    table.add("width", lambda: column("length", [walk.width for walk in walks]))
    stands = [scene.row_of("stands", walk.stand.name) if walk.stand else None for walk in walks]
    table.add("stand", lambda: column("thing:stands", stands, "no stand uses it"))
    table.add("use", lambda: column("word", ["exit" if walk.out else "entry" for walk in walks]))
    table.add("path", lambda: column("thing:paths", [scene.row_of("paths", walk.paths[0].name) for walk in walks]))
    return table


def _drawn(path: Path) -> Written | None:
    """Where a path's line is written."""
    line = path.first("line")
    return Written(path.span(line), False) if line is not None else None


# -- whether a walk comes to its stand -------------------------------------------------------------------


@measure("passes", ("stands",), "length", parts={"nearest": "place"})
def passes(scene: Scene, stands: Rows) -> Measured:
    """How near a way in comes to a stand, in metres: from the stand to the nearest of the paths that
    its `reach` names; where it names none, to the nearest entry path of the plan. `nearest` is the place of that
    path nearest the stand. Unknown without such a path, or where the stand or every such path has no place."""
    entries = [
        shape
        for path in scene.plan.of(Path)
        if scene.plan.word(path, "use") == "entry" and (shape := scene.shape_of(path)) is not None
    ]
    found: list[LineString | None] = []
    for stand, place in _stands(scene, stands):
        named = [shape for path in _paths(scene, stand, "reach") if (shape := scene.shape_of(path)) is not None]
        ways = named if stand.reach else entries
        links = [shapely.shortest_line(place, way) for way in ways] if place is not None else []
        found.append(min(links, key=lambda link: link.length, default=None))

    def place_of(rows: Indices) -> Column:
        links = (found[row] for row in rows)
        return column("place", [link and shapely.get_point(link, 1) for link in links])

    # what has no place has been told as a slip, and without entry paths the rule says so itself
    return Measured(column("length", [link and link.length for link in found]), {"nearest": place_of})


#: a path leads by a stand that is no farther from it (common practice, no source)
BY_A_STAND = 10 * YARD


@of_plural("stands", "passing", "list")
def _passing(scene: Scene) -> Column:
    """The paths that people walk, entry and exit, which come within 10 yd of it, the nearest first; those that
    its `reach` or `leave` names are left out."""
    ways = [
        (path, shape)
        for path in scene.plan.of(Path)
        if scene.plan.word(path, "use") in ("entry", "exit") and (shape := scene.shape_of(path)) is not None
    ]
    return _by_stands(scene, ways, "no other path passes it")


@of_plural("stands", "other-ways", "list")
def _other_ways(scene: Scene) -> Column:
    """Those of `passing` by which one can come from outside: that come to a gate, or end at the property line;
    where the plan draws neither, that begin at no other path that people walk."""
    lines = [
        (path, shape)
        for path in scene.plan.of(Path)
        if scene.plan.word(path, "use") in ("entry", "exit") and isinstance(shape := scene.shape_of(path), LineString)
    ]
    gates, edge, index = _gates(scene), _edge(scene), shapely.STRtree([line for _, line in lines])

    def from_outside(number: int) -> bool:
        line = lines[number][1]
        begins, ends = Point(line.coords[0]), Point(line.coords[-1])
        if len(gates) or edge is not None:
            at_edge = edge is not None and bool(shapely.dwithin(edge, [begins, ends], JOINED).any())
            return at_edge or len(gates.query(line, predicate="dwithin", distance=JOINED)) > 0
        joined = index.query(begins, predicate="dwithin", distance=JOINED)
        return not any(lines[other][0] is not lines[number][0] for other in joined)

    ways = [way for number, way in enumerate(lines) if from_outside(number)]
    return _by_stands(scene, ways, "no other path that leads in passes it")


def _by_stands(scene: Scene, ways: Sequence[tuple[Path, BaseGeometry]], why: str) -> Column:
    """For each stand, those of some paths that pass it and that it does not name, the nearest first."""
    lists: list[tuple[str, ...] | None] = []
    index = shapely.STRtree([shape for _, shape in ways])
    for stand in scene.plan.of(Stand):
        place = scene.shape_of(stand)
        if place is None:
            lists.append(None)
            continue
        named = {str(one.value) for word in ("reach", "leave") for one in scene.plan.values(stand, word)}
        near = [
            (round(shape.distance(place), 2), path.name)
            for path, shape in map(ways.__getitem__, index.query(place, "dwithin", BY_A_STAND + TOLERANCE))
            if path.name not in named
        ]
        lists.append(tuple(name for _, name in sorted(near)) or None)
    return column("list", lists, why)


@measure("ways", ("stands",), "count")
def ways(scene: Scene, stands: Rows) -> Column:
    """How many ways in a plan has for a stand: the paths that its `reach` names, else the entry paths of
    the plan. What is written broken counts as given: its slip has told of it."""
    lost = len(scene.plan.ghosts)
    entries = sum(
        scene.plan.word(path, "use") == "entry" or "use" in path.parsed.broken for path in scene.plan.of(Path)
    )
    counts = [len(scene.plan.values(stand, "reach")) or ("reach" in stand.parsed.broken) or entries or lost
              for stand, _ in _stands(scene, stands)]  # fmt: skip
    return column("count", counts)


#: a path is drawn on to another over so much ground and no more, for it may be no ground to walk (common practice, no
#: source)
DRAWN_ON = 40 * YARD


@measure("breach", ("stands",), "length", parts={"path": "thing:paths", "line": "list"})
def breach(scene: Scene, stands: Rows) -> Measured:
    """The widest gap between the paths that a stand's `reach` names, in metres: the longest link of
    the shortest tree of links that joins them all (Prim). 0 for one path, or for none. `path` is one of the two
    that this link joins, of ours and with an end there, and `line` that path as it is written with the link's other
    end added; unknown where neither ends there, and for a link of more than 40 yd."""
    sizes: list[float] = []
    links: list[tuple[Path, Path] | None] = []
    for stand, _ in _stands(scene, stands):
        paths = [(path, shape) for path in _paths(scene, stand, "reach") if (shape := scene.shape_of(path)) is not None]
        lines = np.array([line for _, line in paths], object)
        # of each path: how far it lies from those that are joined, and from which of them
        gaps, beside = np.full(len(paths), np.inf), np.zeros(len(paths), int)
        left = np.arange(len(paths)) > 0
        widest, link, joined = 0.0, None, 0
        while left.any():
            away = shapely.distance(lines, lines[joined])
            nearer = left & (away < gaps)
            gaps[nearer], beside[nearer] = away[nearer], joined
            joined = int(np.flatnonzero(left)[np.argmin(gaps[left])])
            left[joined] = False
            if gaps[joined] > widest:
                widest, link = float(gaps[joined]), (paths[joined][0], paths[beside[joined]][0])
        sizes.append(widest)
        links.append(link)

    def drawn_on(rows: Indices) -> list[tuple[Path, tuple[str, ...]] | None]:
        return [link and _drawn_on(scene, link) for link in (links[row] for row in rows)]

    why = "neither path ends there, or not within 40 yd of the other"

    def path_of(rows: Indices) -> Column:
        found = (one and scene.row_of("paths", one[0].name) for one in drawn_on(rows))
        return column("thing:paths", list(found), why)

    return Measured(
        column("length", sizes),
        {"path": path_of, "line": lambda rows: column("list", [one and one[1] for one in drawn_on(rows)], why)},
    )


def _drawn_on(scene: Scene, paths: tuple[Path, Path]) -> tuple[Path, tuple[str, ...]] | None:
    """The first of two paths that ends where they are nearest, and its line as written, drawn on to the other."""
    for path, other in (paths, paths[::-1]):
        line, onto, statement = scene.shape_of(path), scene.shape_of(other), path.first("line")
        if not isinstance(line, LineString) or onto is None or statement is None:
            continue
        here, there = (Point(one) for one in shapely.get_coordinates(shapely.shortest_line(line, onto)))
        said = [path.span(value).text for value in statement.values]
        ours = scene.plan.word(path, "offsite") != "yes" and all(value.kind == "point" for value in statement.values)
        if not ours or here.distance(there) > DRAWN_ON:
            continue
        added = writing.point(there.x, there.y, scene.units)
        if here.distance(Point(line.coords[-1])) <= TOLERANCE:
            return path, (*said, added)
        if here.distance(Point(line.coords[0])) <= TOLERANCE:
            return path, (added, *said)
    return None


def _stands(scene: Scene, stands: Rows) -> list[tuple[Stand, BaseGeometry | None]]:
    every = scene.blocks_of("stands")
    chosen = [every[row] for row in stands.rows]
    return [(stand, scene.shape_of(stand)) for stand in chosen if isinstance(stand, Stand)]


# -- the deer's side -----------------------------------------------------------------------------------


def deer_sides(scene: Scene) -> list[int]:
    """For each walk the side the deer are on: 1 left, -1 right, 0 both or nobody knows.

    Deer are where core (worked out, or the plan's own), pockets, lines of travel and food lie
    within 150 yd of the walk. A thing counts on a side when a quarter or more of what of it is so
    near lies there; what lies beyond an end counts on the side of the end leg produced.
    """
    found = scene.memo.get("deer sides")
    if found is None:
        things = _where_deer_are(scene)
        index = shapely.STRtree(things)
        found = scene.memo["deer sides"] = [_deer_side(walk.whole, things, index) for walk in walks_of(scene)]
    return found


def _sides_of_sharing(scene: Scene) -> list[list[int]]:
    """For each walk the deer's sides of the walks that share it, as `deer_sides` has them."""
    found = scene.memo.get("sides of sharing")
    if found is None:
        things = _where_deer_are(scene)
        index = shapely.STRtree(things)
        found = scene.memo["sides of sharing"] = [
            [_deer_side(way, things, index) for way in walk.sharing] for walk in walks_of(scene)
        ]
    return found


def _where_deer_are(scene: Scene) -> list[BaseGeometry]:
    """Core, pockets, lines of travel and food."""
    things: list[BaseGeometry] = []
    for block in (*scene.plan.of(Pocket), *scene.plan.of(Food)):
        shape = scene.shape_of(block)
        if shape is not None:
            things.append(shape)
    for path in scene.plan.of(Path):
        shape = scene.shape_of(path)
        if shape is not None and scene.plan.word(path, "use") == "travel":
            things.append(shape)
    core = core_ground(scene)
    if core is not None and not core.is_empty:
        things.append(core)
    return things


def _deer_side(whole: LineString, things: list[BaseGeometry], index: shapely.STRtree) -> int:
    near = whole.buffer(DEER_REACH, quad_segs=16)
    left = right = False
    for number in np.sort(index.query(near, predicate="intersects")):
        part = things[number].intersection(near)
        if part.is_empty:
            continue
        samples = _samples(part)
        side = survey.side_of(whole, samples)
        left = left or bool(np.mean(side > 0) >= SIDE_SHARE)
        right = right or bool(np.mean(side < 0) >= SIDE_SHARE)
    return 0 if left == right else (1 if left else -1)


def _samples(part: BaseGeometry) -> Any:
    """Points that stand for a geometry: along its lines and outlines, 5 yd apart at most."""
    return shapely.get_coordinates(shapely.segmentize(part, 5 * YARD))


@measure("side", ("trees", "walks"), "word", words=("deer", "away"))
def side(scene: Scene, trees: Rows, walks: Rows) -> Column:
    """Whether a tree's stump stands on the deer's side of a walk (`deer`) or on the other (`away`).

    The deer's side is a side of the walk as a whole: that on which core, pockets, lines of travel
    and food lie within 150 yd. Where they lie on both, or nothing is placed, both are the deer's.
    A stump on the line itself is on the deer's side. On a trunk that several walks share a stump is away
    where it is for any of them."""
    sides = deer_sides(scene)
    shared = _sides_of_sharing(scene)
    found = np.full(len(trees), "deer", object)
    cut = scene.trees
    all_walks = walks_of(scene)
    for walk in distinct(walks.rows):
        rows = np.flatnonzero(walks.rows == walk)
        stumps = np.column_stack([cut.x[trees.rows[rows]], cut.y[trees.rows[rows]]])
        one = all_walks[walk]
        if sides[walk]:
            found[rows[survey.side_of(one.whole, stumps) == -sides[walk]]] = "away"
        for way, side in zip(one.sharing, shared[walk], strict=True):
            if side:
                feet = shapely.get_point(shapely.shortest_line(one.line, shapely.points(stumps)), 0)
                along = shapely.distance(feet, way) <= 2 * TOLERANCE
                found[rows[along & (survey.side_of(way, stumps) == -side)]] = "away"
    return Column("word", found)


# -- how stems lie ---------------------------------------------------------------------------------------


@measure("lie", ("trees", "walks"), "angle")
def lie(scene: Scene, trees: Rows, walks: Rows) -> Column:
    """The acute angle in degrees between a tree's fall and a walk: 0 along it, 90 across.

    The walk's bearing is that of its chord from 5 yd before to 5 yd after the place nearest the
    stump, the same that `fall along` a path uses, so that a screen laid along a bend lies along.
    Unknown where the tree has no fall."""
    cut = scene.trees
    angles = np.full(len(trees), np.nan)
    all_walks = walks_of(scene)
    for walk in distinct(walks.rows):
        rows = np.flatnonzero(walks.rows == walk)
        chosen = trees.rows[rows]
        stumps = np.column_stack([cut.x[chosen], cut.y[chosen]])
        bearings = survey.bearing_at(all_walks[walk].whole, stumps)
        angles[rows] = survey.angle_between(cut.bearing[chosen], bearings)
    known = np.isfinite(angles)
    return Column("angle", angles, None if known.all() else known, None, "no `fall` is given")


@measure("abreast", ("trees", "walks"), "truth")
def abreast(scene: Scene, trees: Rows, walks: Rows) -> Column:
    """Whether a tree's stump stands beside a walk and not beyond one of its ends."""
    cut = scene.trees
    found = np.zeros(len(trees), bool)
    all_walks = walks_of(scene)
    for walk in distinct(walks.rows):
        rows = np.flatnonzero(walks.rows == walk)
        chosen = trees.rows[rows]
        found[rows] = _beside_ends(all_walks[walk].whole, np.column_stack([cut.x[chosen], cut.y[chosen]]))
    return Column("truth", found)


@measure("nearest-walk", ("trees", "walks"), "truth")
def nearest_walk(scene: Scene, trees: Rows, walks: Rows) -> Column:
    """Whether no other walk that a tree's stump stands beside is nearer the stump than this one, so that
    a screen laid along a spur is judged by the spur and not by the lane it leaves."""
    cut, all_walks = scene.trees, walks_of(scene)
    stumps = cut.stump[trees.rows]
    lines = np.array([walk.line for walk in all_walks], object)
    far = shapely.distance(stumps, lines[walks.rows])
    asked, other = shapely.STRtree(lines).query(stumps, predicate="dwithin", distance=far)
    beside = np.asarray(abreast(scene, Rows("trees", trees.rows[asked]), Rows("walks", other)).values)  # type: ignore[union-attr]
    nearer = beside & (shapely.distance(stumps[asked], lines[other]) < far[asked] - TOLERANCE)
    return Column("truth", np.bincount(asked[nearer], minlength=len(trees)) == 0)


def _beside_ends(line: LineString, points: Any) -> Any:
    """Whether the place of a line nearest each point is no end that the point lies beyond."""
    at = shapely.line_locate_point(line, shapely.points(points))
    coordinates = np.asarray(line.coords)
    beside = np.ones(len(points), bool)
    for end, inner, here in ((coordinates[0], coordinates[1], at <= TOLERANCE),
                             (coordinates[-1], coordinates[-2], at >= line.length - TOLERANCE)):  # fmt: skip
        outward = (end - inner) / np.hypot(*(end - inner))
        beside &= ~(here & ((points - end) @ outward > TOLERANCE))
    return beside


@measure("top-onto", ("trees", "walks"), "length", parts={"place": "place", "bearing": "bearing"})
def top_onto(scene: Scene, trees: Rows, walks: Rows) -> Measured:
    """How far a fallen top reaches onto a walk from its edge, in metres: half the walk's width less the
    distance from its line to what openings and corridors leave of the top. 0 or less leaves the walk free; a top that
    crosses the line reaches half the width. A top that an opening takes away whole, or a tree without a
    top, reaches as far as its stump.
    `place` is the middle of the first stretch of the walk under the top, or the place of the top
    nearest the walk; `bearing` that of the walk there."""
    cut, table = scene.trees, scene.table(walks.plural)
    lines = table.column("shape").values[walks.rows]
    widths = table.column("width").values[walks.rows]
    tops = cut.top[trees.rows]
    # openings and corridors are sawn through a top wherever they meet it, however narrow
    sawn = strips(scene, 0.0)
    for one, other in sawn.crossing(tops, thrown(scene)[trees.rows]):
        tops[one] = shapely.difference(tops[one], sawn.shapes[other])
    gone = shapely.is_empty(tops)
    tops[gone] = cut.stump[trees.rows[gone]]
    sizes = widths / 2 - shapely.distance(tops, lines)

    def place(rows: Indices) -> Column:
        under = shapely.intersection(lines[rows], tops[rows])
        points = shapely.get_point(shapely.shortest_line(tops[rows], lines[rows]), 0)
        for number, part in enumerate(under):
            stretches = [one for one in shapely.get_parts(part) if isinstance(one, LineString) and not one.is_empty]
            if stretches:
                points[number] = stretches[0].interpolate(0.5, normalized=True)
        return Column("place", points)

    def bearing(rows: Indices) -> Column:
        at = shapely.get_coordinates(place(rows).values)
        ways = [_one_line(line) for line in lines[rows]]
        bearings = [float(survey.bearing_at(way, point)[0]) for way, point in zip(ways, at, strict=True)]
        return Column("bearing", np.array(bearings, float))

    known = np.isfinite(sizes) & cut.lies[trees.rows]
    value = Column("length", sizes, None if known.all() else known, cut.estimated[trees.rows], "it does not lie")
    return Measured(value, {"place": place, "bearing": bearing})


@measure("stem-onto", ("trees", "walks"), "length", parts={"place": "place", "bearing": "bearing"})
def stem_onto(scene: Scene, trees: Rows, walks: Rows) -> Measured:
    """How far the bare stem of a tree that lies reaches onto a walk from its edge, in metres: half the walk's
    width less the distance of the stem from its line. The stem is what its top leaves of it, less what openings
    and corridors are sawn out of it; an opening whose place lies within its width of the stem is sawn there along
    its `toward`, 15 yd each way, though nothing bars deer. 0 or less leaves the walk free; where the tree's top
    reaches onto it too (see `top-onto`), the stem is not told again and counts as far as the stump lies off.
    `place` is the middle of the first stretch of the walk's line under the stem, or the place of the stem nearest
    it; `bearing` that of the walk there."""
    cut, table = scene.trees, scene.table(walks.plural)
    lines = table.column("shape").values[walks.rows]
    widths = table.column("width").values[walks.rows]
    stems = shapely.difference(cut.stem[trees.rows], cut.top[trees.rows])
    blown, sawn = thrown(scene), strips(scene, 0.0)
    for one, other in sawn.crossing(stems, blown[trees.rows]):
        stems[one] = shapely.difference(stems[one], sawn.shapes[other])
    for place, wide, through, strip in _sawn_through(scene):
        here = (shapely.distance(stems, place) <= wide + TOLERANCE) & (through | ~blown[trees.rows])
        stems[here] = shapely.difference(stems[here], strip)
    told = np.nan_to_num(np.asarray(top_onto(scene, trees, walks).value.values, float)) > TOLERANCE  # type: ignore[union-attr]
    stems[told | shapely.is_empty(stems)] = shapely.Point()
    off = shapely.distance(stems, lines)
    gone = ~np.isfinite(off)
    off[gone] = np.maximum(shapely.distance(cut.stump[trees.rows[gone]], lines[gone]), widths[gone])
    sizes = widths / 2 - off

    def place_of(rows: Indices) -> Column:
        shown = np.where(shapely.is_empty(stems[rows]), cut.stump[trees.rows[rows]], stems[rows])
        return Column("place", shapely.get_point(shapely.shortest_line(lines[rows], shown), 0))

    def bearing(rows: Indices) -> Column:
        at = shapely.get_coordinates(place_of(rows).values)
        ways = [_one_line(line) for line in lines[rows]]
        bearings = [float(survey.bearing_at(way, point)[0]) for way, point in zip(ways, at, strict=True)]
        return Column("bearing", np.array(bearings, float))

    known = np.isfinite(sizes) & cut.lies[trees.rows]
    value = Column("length", sizes, None if known.all() else known, cut.estimated[trees.rows], "it does not lie")
    return Measured(value, {"place": place_of, "bearing": bearing})


def _sawn_through(scene: Scene) -> list[tuple[Point, float, bool, BaseGeometry]]:
    """Openings that the plan's stage counts: place, width in metres, whether they go through what the wind threw,
    and the ground sawn along them by people who make a way."""
    found = []
    for opening in scene.plan.of(Opening):
        place, width = scene.shape_of(opening), opening.width
        if not isinstance(place, Point) or width is None or not scene.plan.counted(opening):
            continue
        along = opening_bearing(scene, opening, place)
        if along is not None:
            here, wide = np.array([place.x, place.y]), scene.placer.metres(width)
            line = LineString([here - along * OPENING_REACH, here + along * OPENING_REACH])
            through = goes_through(scene, opening)
            found.append((place, wide, through, line.buffer(wide / 2 + TOLERANCE, cap_style="flat")))
    return found


def _one_line(line: BaseGeometry) -> LineString:
    """A walk's line, the longest piece where another walk has taken part of it."""
    if isinstance(line, LineString):
        return line
    return max((part for part in shapely.get_parts(line) if isinstance(part, LineString)), key=lambda one: one.length)
