"""Pull: how deer come from cover to food, and whether that way leads through the core.

A way costs its length in metres: on a line of travel half of it, over plots and crops twice, elsewhere
once; what is no plot and no crop is taken for ground with some cover. Hazards that are barriers are shut
but for lines of travel drawn across them. The costs and the distances here are common practice, no
source.

Most foods lie so near cover that no way through the core can be shorter, or so that a straight way is
the best; both are told by geometry alone. Only for the others a raster is laid: cells of 4 yd or more,
so that there are some 25,000 (6 yd for 160 acres), square to the property's sides and about its middle;
each cell joined to sixteen neighbours, lines of travel as chains of places of their own. Ways found on
it (by scipy's shortest path) are drawn taut, round the very corners, before they are measured.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Array, Column, Indices, Mask, distinct
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Food, Hazard, Path, Pocket
from habitatlint.measures.core import NO_CORE, core_ground, food_side, is_field
from habitatlint.measures.vocabulary import Measured, Rows, measure
from habitatlint.units import TOLERANCE, YARD

#: what a metre costs on a line of travel, and over a plot or crop; elsewhere 1
EASY, OPEN = 0.5, 2.0
#: cells of the raster: the least side, and how many there are at most
LEAST_CELL = 4 * YARD
MOST_CELLS = 25_000
#: how far the raster reaches beyond what lies in it, and how far off the property that may be
MARGIN = 60 * YARD
FAR_OFF = 1000 * YARD
#: corners that are looked at where a way bends, at most
MOST_CORNERS = 80
#: ways on the raster within this of the cheapest are drawn taut and compared
NEARLY = 1.05
#: a cell's neighbours, one of each two directions
_NEIGHBOURS = ((0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, 1), (1, -2), (2, -1))
#: shares of a step at which the ground is looked at
_BETWEEN = (0.1, 0.3, 0.5, 0.7, 0.9)


class _Way(NamedTuple):
    """A way from a food to a pocket: its cost, its line, and how much of that lies in the core."""

    cost: float
    line: BaseGeometry
    in_core: float
    pocket: int

    @property
    def rank(self) -> tuple[float, float]:
        """Cheaper first; of two as cheap within a centimetre, the one less in the core."""
        return round(self.cost, 2), self.in_core


class _Ground:
    """What ways are judged by: pockets, plots and crops, lines of travel, barriers, the core."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        beside = food_side(scene)
        placed = [
            (row, shape) for row, pocket in enumerate(scene.plan.of(Pocket))
            if (shape := scene.shape_of(pocket)) is not None
        ]  # fmt: skip
        self.pocket_rows = np.array([row for row, _ in placed], np.intp)
        self.pockets = _objects([shape for _, shape in placed])
        self.beside = np.array([beside[row] for row, _ in placed], bool)
        self.pocket_index = shapely.STRtree(self.pockets)
        foods = scene.plan.of(Food)
        self.fields = {row: shape for row, food in enumerate(foods) if (shape := scene.shape_of(food)) is not None
                       and is_field(scene, food)}  # fmt: skip
        self.open = _objects(list(self.fields.values()))
        self.open_index = shapely.STRtree(self.open)
        self.travel = [
            shape
            for path in scene.plan.of(Path)
            if scene.plan.word(path, "use") == "travel" and isinstance(shape := scene.shape_of(path), LineString)
        ]
        self.travel_index = shapely.STRtree(self.travel)
        self.barriers = [
            shape
            for hazard in scene.plan.of(Hazard)
            if scene.plan.word(hazard, "barrier") == "yes" and (shape := scene.shape_of(hazard)) is not None
        ]
        self.barrier_index = shapely.STRtree(self.barriers)
        self.core = core_ground(scene)

    @cached_property
    def corners(self) -> tuple[Array, shapely.STRtree]:
        """Where a way may bend: the corners of fields, and those of barriers a centimetre out; with an index."""
        found = [shapely.get_coordinates(self.open), np.empty((0, 2))]
        for line in (line for barrier in self.barriers for line in _lines(barrier)):
            points = shapely.get_coordinates(line)
            if len(points) > 1:
                found.append(points + TOLERANCE * _outward(points))
        corners = np.concatenate(found)
        return corners, shapely.STRtree(shapely.points(corners))

    @cached_property
    def raster(self) -> _Raster:
        return _Raster(self)

    def shut(self, lines: Array) -> Mask:
        """Whether each of n lines meets a barrier."""
        found = np.zeros(len(lines), bool)
        if self.barriers:
            found[self.barrier_index.query(lines, predicate="intersects")[0]] = True
        return found

    def costs(self, lines: Array, own: BaseGeometry) -> Array:
        """What each of n lines costs off lines of travel; over the food it comes from no more than its length."""
        costs = shapely.length(lines)
        over, field = self.open_index.query(lines, predicate="intersects")
        if len(over):
            lengths = shapely.length(shapely.intersection(lines[over], self.open[field]))
            lengths[self.open[field] == own] = 0.0
            costs += (OPEN - 1) * np.bincount(over, weights=lengths, minlength=len(lines))
        return np.asarray(costs)

    def straight(self, food: BaseGeometry, pockets: Indices) -> list[_Way]:
        """The straight ways from a food to pockets, where no barrier shuts them. Where sides face each other
        many are as short: of those the cheapest counts, and the one least in the core."""
        found = []
        lines = shapely.shortest_line(food, self.pockets[pockets])
        free, costs = ~self.shut(lines), self.costs(lines, food)
        for line, pocket, passes, cost in zip(lines, pockets, free, costs, strict=True):
            ways = [self.way(float(cost), line, int(pocket))] if passes else []
            if not ways or ways[0].in_core > TOLERANCE or cost > line.length + TOLERANCE:
                others = self._as_short(food, line, int(pocket))
                costs_ = self.costs(others, food)
                ways += [self.way(float(one), other, int(pocket)) for one, other in zip(costs_, others, strict=True)]
            found += sorted(ways, key=lambda way: way.rank)[:1]
        return found

    def _as_short(self, food: BaseGeometry, line: LineString, pocket: int) -> Array:
        """Straight ways as short as this one, within a centimetre, from the ends of where a food faces a pocket."""
        ground = self.pockets[pocket]
        facing = food.intersection(ground.buffer(line.length + TOLERANCE, quad_segs=16))
        lines = np.asarray(shapely.shortest_line(shapely.points(shapely.get_coordinates(facing)), ground))
        return np.asarray(lines[(shapely.length(lines) <= line.length + 2 * TOLERANCE) & ~self.shut(lines)])

    def way(self, cost: float, line: BaseGeometry, pocket: int) -> _Way:
        in_core = 0.0 if self.core is None else float(line.intersection(self.core).length)
        return _Way(cost, line, in_core, pocket)

    def judged(self, food: BaseGeometry, crossing: float) -> _Way | None:
        """The way that pulls deer through the core: of the cheapest way to cover, and those to food-side
        cover that are shorter, the one least in the core. None where it surely runs less than `crossing`
        there, or where no way leads to cover."""
        if self.surely_clear(food, crossing):
            return None
        best = self._nearest(food)
        if best is None:
            return None
        for way in self._shorter(food, best):
            if way.in_core < best.in_core:
                best = way
        return best

    def surely_clear(self, food: BaseGeometry, crossing: float) -> bool:
        """Whether cover is so near, by a straight way, that no way with so much in the core is cheaper; or
        food-side cover so near that none is shorter."""
        if not len(self.pockets) or (self.core is not None and self.core.is_empty):
            return True
        least = crossing + (food.distance(self.core) if self.core is not None else 0.0)
        near = np.sort(self.pocket_index.query(food, predicate="dwithin", distance=least))
        return any(
            way.cost < EASY * least or (self.beside[way.pocket] and way.line.length < least and way.in_core < crossing)
            for way in self.straight(food, near)
        )

    def _nearest(self, food: BaseGeometry) -> _Way | None:
        """The cheapest way from a food to a pocket, None where none leads to one."""
        nearest = np.sort(self.pocket_index.query_nearest(food))
        ways = sorted(self.straight(food, nearest), key=lambda way: way.rank)
        if ways and ways[0].cost <= ways[0].line.length + TOLERANCE:
            # straight, over no open ground: only a line of travel nearer than that could be cheaper
            ridden = self.travel_index.query(food, predicate="dwithin", distance=ways[0].line.length)
            if not len(ridden):
                return ways[0]
        ways = self.raster.ways(food, NEARLY, math.inf)
        return min(ways, key=lambda way: way.rank, default=None)

    def _shorter(self, food: BaseGeometry, best: _Way) -> list[_Way]:
        """The ways to food-side pockets that are shorter than a way: straight where no barrier shuts them,
        else as the raster finds them."""
        most = best.line.length - TOLERANCE
        if most <= 0:
            return []
        near = np.sort(self.pocket_index.query(food, predicate="dwithin", distance=most))
        near = near[self.beside[near]]
        found = self.straight(food, near)
        rest = set(near.tolist()) - {way.pocket for way in found}
        if rest:
            found += [way for way in self.raster.ways(food, math.inf, OPEN * most) if way.pocket in rest]
        return [way for way in found if way.line.length < most]


def _objects(shapes: list[BaseGeometry]) -> Array:
    found = np.empty(len(shapes), object)
    found[:] = shapes
    return found


class _Raster:
    """Places that deer walk over, and what it costs to go from one to the next.

    First come the cells, then the places of lines of travel, then pockets and plots and crops, each of
    which is joined to the places within a cell and a half of its edge: foods outward, pockets inward,
    so that no way leads through one.
    """

    def __init__(self, ground: _Ground) -> None:
        self.ground = ground
        self.foods = list(ground.fields.values())
        turn, middle, box = self._frame()
        self.cell = max(LEAST_CELL, math.sqrt((box[2] - box[0]) * (box[3] - box[1]) / MOST_CELLS))
        self._cells(turn, middle, box)
        self._chains(box, turn, middle)
        self.xy = np.concatenate([self.cells, self.stops])
        self.points = np.asarray(shapely.points(self.xy))
        self.index = shapely.STRtree(self.points)
        self.dear = self._dear(self.xy)
        self.first_pocket = len(self.xy)
        self.first_food = self.first_pocket + len(ground.pockets)
        self.size = self.first_food + len(self.foods)
        self.graph = self._graph()
        #: cost and way back from each food, worked out when asked for
        self._searched: dict[int, tuple[Array, Array]] = {}

    # -- what it is laid over -------------------------------------------------------------------------

    def _frame(self) -> tuple[Array, Array, Array]:
        """The raster's axes, its middle, and its box in them: along the sides of the property (or the
        core), by the mean of four times their bearings, about its centroid."""
        scene, ground = self.ground.scene, self.ground
        base = scene.property_ or ground.core
        assert base is not None
        sides = np.concatenate([np.diff(shapely.get_coordinates(ring), axis=0) for ring in _rings(base)])
        lengths = np.hypot(*sides.T)
        bearings = 4 * np.arctan2(sides[:, 1], sides[:, 0])
        angle = math.atan2(float(lengths @ np.sin(bearings)), float(lengths @ np.cos(bearings))) / 4
        turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
        middle = shapely.get_coordinates(base.centroid)[0]

        def box(shapes: list[BaseGeometry]) -> Array:
            points = (shapely.get_coordinates(shapes) - middle) @ turn
            return np.concatenate([points.min(axis=0), points.max(axis=0)])

        inner = box([base])
        outer = box([base, *ground.pockets, *self.foods, *ground.travel])
        low = np.maximum(outer[:2], inner[:2] - FAR_OFF) - MARGIN
        high = np.minimum(outer[2:], inner[2:] + FAR_OFF) + MARGIN
        return turn, middle, np.concatenate([low, high])

    def _cells(self, turn: Array, middle: Array, box: Array) -> None:
        first, last = np.floor(box[:2] / self.cell).astype(int), np.ceil(box[2:] / self.cell).astype(int)
        self.shape = tuple(int(side) for side in last - first + 1)
        steps = [np.arange(low, high + 1) * self.cell for low, high in zip(first, last, strict=True)]
        lattice = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 2)
        self.cells = lattice @ turn.T + middle

    def _chains(self, box: Array, turn: Array, middle: Array) -> None:
        """The places of lines of travel: their corners and others a cell apart at most, within the box."""
        stops: list[Array] = [np.empty((0, 2))]
        chain: list[Array] = [np.empty(0, int)]
        for number, line in enumerate(self.ground.travel):
            # a hair more than a cell, so that a line of just so many cells has as many places however it lies
            points = shapely.get_coordinates(shapely.segmentize(line, self.cell * 1.000123))
            local = (points - middle) @ turn
            if ((local >= box[:2]) & (local <= box[2:])).all() and len(points) <= MOST_CELLS:
                stops.append(points)
                chain.append(np.full(len(points), number))
        self.stops, self.chain = np.concatenate(stops), np.concatenate(chain)

    def _dear(self, places: Array) -> Array:
        """What a metre costs at n places (n, 2) off lines of travel."""
        dear = np.ones(len(places))
        x, y = places.T
        for field in self.foods:
            west, south, east, north = field.bounds
            near = np.flatnonzero((x >= west) & (x <= east) & (y >= south) & (y <= north))
            dear[near[shapely.contains_xy(field, x[near], y[near])]] = OPEN
        return dear

    # -- how it is joined -----------------------------------------------------------------------------

    def _graph(self) -> Any:
        from scipy.sparse import coo_matrix

        near = self._near(self.ground.barriers)
        by_fields = self._near([field.boundary for field in self.foods])
        starts, ends, costs = [], [], []

        def join(one: Array, two: Array, cost: Array) -> None:
            starts.append(one)
            ends.append(two)
            costs.append(cost)

        def walk(one: Array, two: Array) -> None:
            """Both ways between places that no barrier parts, at the mean of what their ground costs."""
            free = self._unbarred(one, two, near)
            one, two = one[free], two[free]
            cost = np.hypot(*(self.xy[one] - self.xy[two]).T) * self._dearness(one, two, by_fields)
            join(one, two, cost)
            join(two, one, cost)

        for one, two in self._pairs():
            walk(one, two)
        first = len(self.cells)
        stops = np.arange(len(self.stops))
        if len(stops):
            at, to = self.index.query(self.points[first:], predicate="dwithin", distance=1.5 * self.cell)
            along = stops[:-1][self.chain[:-1] == self.chain[1:]]
            # each pair of stops once, and those next to each other on a line below
            next_to = np.isin(at, along) & (to == at + first + 1)
            other = (to < first) | ((to > at + first) & ~next_to)
            walk(at[other] + first, to[other])
            cost = EASY * np.hypot(*(self.stops[along] - self.stops[along + 1]).T)
            join(first + along, first + along + 1, cost)
            join(first + along + 1, first + along, cost)
        for shapes, begin, inward in (
            (self.ground.pockets, self.first_pocket, True), (_objects(self.foods), self.first_food, False),
        ):  # fmt: skip
            at, to = self.index.query(shapes, predicate="dwithin", distance=1.5 * self.cell)
            lines = shapely.shortest_line(self.points[to], shapes[at])
            free = ~self.ground.shut(lines)
            at, to = at[free] + begin, to[free]
            cost = np.maximum(shapely.length(lines[free]), 1e-6)  # a cost of nothing would be no join
            join(to, at, cost) if inward else join(at, to, cost)
        row, column, data = (np.concatenate(parts) for parts in (starts, ends, costs))
        return coo_matrix((data, (row, column)), shape=(self.size, self.size)).tocsr()

    def _pairs(self) -> list[tuple[Array, Array]]:
        """Cells and their neighbours, each pair once."""
        wide, high = self.shape
        number = np.arange(wide * high).reshape(wide, high)
        pairs = []
        for east, north in _NEIGHBOURS:
            one = number[: wide - east, max(0, -north) : high - max(0, north)]
            two = number[east:, max(0, north) : high - max(0, -north)]
            pairs.append((one.ravel(), two.ravel()))
        return pairs

    def _near(self, shapes: list[BaseGeometry]) -> Mask:
        """The places from which a step may meet any of these shapes."""
        near = np.zeros(len(self.xy), bool)
        if shapes:
            near[self.index.query(_objects(shapes), predicate="dwithin", distance=2.5 * self.cell)[1]] = True
        return near

    def _dearness(self, one: Array, two: Array, by_fields: Mask) -> Array:
        """What a metre costs between places: the mean of their ground, and by the edge of a field of what
        lies between them too."""
        dear = (self.dear[one] + self.dear[two]) / 2
        asked = np.flatnonzero(by_fields[one] & by_fields[two])
        if len(asked):
            first, last = self.xy[one[asked]], self.xy[two[asked]]
            dear[asked] = np.mean([self._dear(first + share * (last - first)) for share in _BETWEEN], axis=0)
        return dear

    def _unbarred(self, one: Array, two: Array, near: Mask) -> Mask:
        free = np.ones(len(one), bool)
        asked = np.flatnonzero(near[one] & near[two])
        if len(asked):
            free[asked] = ~self.ground.shut(shapely.linestrings(self.xy[np.stack([one[asked], two[asked]], axis=1)]))
        return free

    # -- ways over it ---------------------------------------------------------------------------------

    def ways(self, food: BaseGeometry, nearly: float, most: float) -> list[_Way]:
        """The ways from a food to pockets, drawn taut: those that cost no more than `nearly` times the
        cheapest, and no more than `most`."""
        number = next(index for index, one in enumerate(self.foods) if one is food)
        if number not in self._searched:
            from scipy.sparse.csgraph import dijkstra

            found = dijkstra(self.graph, directed=True, indices=self.first_food + number, return_predecessors=True)
            self._searched[number] = found
        costs, back = self._searched[number]
        to_pockets = costs[self.first_pocket : self.first_food]
        cheapest = to_pockets.min(initial=math.inf)
        if not math.isfinite(cheapest):
            return []
        limit = min(max(cheapest * nearly, cheapest + self.cell), most * NEARLY + self.cell)
        return [self._taut(food, int(pocket), back) for pocket in np.flatnonzero(to_pockets <= limit)]

    def _taut(self, food: BaseGeometry, pocket: int, back: Array) -> _Way:
        """The way to a pocket, each stretch off a line of travel drawn as straight as the ground lets it."""
        nodes = []
        at = int(back[self.first_pocket + pocket])
        while at < self.first_pocket:
            nodes.append(at)
            at = int(back[at])
        nodes.reverse()
        coordinates: list[Any] = []
        cost = 0.0
        here: BaseGeometry = food
        loose: list[int] = []
        for ridden in self._rides(nodes):
            if isinstance(ridden, int):
                loose.append(ridden)
                continue
            ride = self.xy[ridden]
            piece, spent = self._drawn(food, here, loose, Point(ride[0]))
            coordinates += [*piece, *ride]
            cost += spent + EASY * float(np.hypot(*np.diff(ride, axis=0).T).sum())
            here, loose = Point(ride[-1]), []
        piece, spent = self._drawn(food, here, loose, self.ground.pockets[pocket])
        way = self.ground.way(cost + spent, LineString([*coordinates, *piece]), pocket)
        plain = self.ground.straight(food, np.array([pocket]))
        return plain[0] if plain and plain[0].cost <= way.cost + TOLERANCE else way

    def _rides(self, nodes: list[int]) -> list[int | list[int]]:
        """The places of a way, those along one line of travel, two or more, together."""
        found: list[int | list[int]] = []
        first = len(self.cells)
        run: list[int] = []
        for node in (*nodes, -1):
            goes_on = (
                bool(run) and node >= first and abs(node - run[-1]) == 1
                and self.chain[node - first] == self.chain[run[-1] - first]
            )  # fmt: skip
            if not goes_on:
                found += [run] if len(run) > 1 else run
                run = []
            if node >= first:
                run.append(node)
            elif node >= 0:
                found.append(node)
        return found

    def _drawn(
        self, food: BaseGeometry, here: BaseGeometry, loose: list[int], there: BaseGeometry
    ) -> tuple[list[Any], float]:
        """A stretch off lines of travel from one thing to another by way of places: straight where that is
        open and costs no more, else taut from place to place."""
        line = shapely.shortest_line(here, there)
        if not loose:
            return list(line.coords), float(self.ground.costs(_objects([line]), food)[0])
        middles = self.xy[loose]
        start = shapely.get_coordinates(shapely.shortest_line(here, Point(middles[0])))[:1]
        end = shapely.get_coordinates(shapely.shortest_line(Point(middles[-1]), there))[1:]
        points = np.concatenate([start, middles, end])
        steps = self.ground.costs(shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1)), food)
        spent = np.concatenate([[0.0], np.cumsum(steps)])
        one = _objects([line])
        straight = float(self.ground.costs(one, food)[0])
        if not self.ground.shut(one)[0] and straight <= spent[-1] + TOLERANCE:
            return list(line.coords), straight
        at, bends = 0, [points[0]]
        while at < len(points) - 1:
            ahead = np.arange(at + 1, len(points))
            from_here = np.repeat(points[at : at + 1], len(ahead), axis=0)
            lines = shapely.linestrings(np.stack([from_here, points[ahead]], axis=1))
            costs = self.ground.costs(lines, food)
            fit = np.flatnonzero(~self.ground.shut(lines) & (costs <= spent[ahead] - spent[at] + 1e-6))
            at = int(ahead[fit[-1]]) if len(fit) else at + 1
            bends.append(points[at])
        return self._round_corners(food, here, np.array(bends), there)

    def _round_corners(
        self, food: BaseGeometry, here: BaseGeometry, bends: Array, there: BaseGeometry
    ) -> tuple[list[Any], float]:
        """The cheapest way by straight pieces from one thing to another, over any of the places at which a way
        found on cells begins, bends and ends (n, 2) and the corners of barriers and fields beside them."""
        corners, index = self.ground.corners
        near = index.query(shapely.points(bends), predicate="dwithin", distance=2.5 * self.cell)[1]
        nodes = np.concatenate([bends, corners[distinct(near)][:MOST_CORNERS]])
        places = np.asarray(shapely.points(nodes))
        count = len(nodes)
        one, two = np.divmod(np.arange(count * count), count)
        lines = np.concatenate(
            [
                shapely.shortest_line(places, here),
                shapely.shortest_line(places, there),
                shapely.linestrings(np.stack([nodes[one], nodes[two]], axis=1)),
            ]
        )
        costs = np.where(self.ground.shut(lines), math.inf, self.ground.costs(lines, food))
        best, to_end, between = costs[:count], costs[count : 2 * count], costs[2 * count :].reshape(count, count)
        best = best.copy()
        before = np.full(count, -1)
        for _ in range(count):
            through = best[:, None] + between
            by = through.argmin(axis=0)
            least = through[by, np.arange(count)]
            better = least < best - 1e-9
            if not better.any():
                break
            best[better], before[better] = least[better], by[better]
        at = int(np.argmin(best + to_end))
        drawn = list(shapely.get_coordinates(lines[count + at])[::-1])
        cost = float((best + to_end)[at])
        while before[at] >= 0:
            drawn.append(nodes[at])
            at = int(before[at])
        drawn += list(shapely.get_coordinates(lines[at]))
        return drawn[::-1], cost


def _lines(shape: BaseGeometry) -> list[BaseGeometry]:
    """A line, or the rings of an outline; nothing of a point."""
    return [part for part in shapely.get_parts(shape if shape.area == 0 else shapely.boundary(shape)) if part.length]


def _outward(points: Array) -> Array:
    """At each corner of a line or ring the way off it on its outer side, of length 1; at an end straight on."""
    legs = np.diff(points, axis=0)
    legs = legs / np.maximum(np.hypot(*legs.T), 1e-12)[:, None]
    ring = bool((points[0] == points[-1]).all())
    coming = np.concatenate([legs[-1:] if ring else np.zeros((1, 2)), legs])
    going = np.concatenate([legs, legs[:1] if ring else np.zeros((1, 2))])
    off = coming - going
    return np.asarray(off / np.maximum(np.hypot(*off.T), 1e-12)[:, None])


def _rings(shape: BaseGeometry) -> list[BaseGeometry]:
    return list(shapely.get_parts(shapely.boundary(shape)))


@measure(
    "pull",
    ("foods", "length"),
    "length",
    parts={"place": "place", "cover": "thing:pockets", "way": "length"},
)
def pull(scene: Scene, foods: Rows, crossing: Column) -> Measured:
    """How much of the deer's way from a plot or crop to its nearest cover lies in the core, in metres.

    The nearest cover is the pocket, of any kind, a neighbour's too, to whose edge the way from the food's
    edge costs least: its length, half of it on lines of travel and twice over plots and crops, with
    hazards that are barriers shut. Where a food-side pocket lies nearer in metres, by a way less in the
    core, that way counts. 0 where that is surely less than `crossing`, where no way leads to cover or
    the plan has none, and for mast and browse. `cover` is that pocket, `way` the whole way's length,
    `place` the middle of its longest stretch in the core. On a raster for what is not plain from straight
    ways; a way along a line of travel joins it within a cell of the best place. Unknown where cover is
    not plainly near and neither boundary nor core is given. Common practice, no source."""
    ground = scene.memo.get("pull")
    if ground is None:
        ground = scene.memo["pull"] = _Ground(scene)
    values, known = np.zeros(len(foods)), np.ones(len(foods), bool)
    ways: list[_Way | None] = []
    for index, (row, least) in enumerate(zip(foods.rows, crossing.values, strict=True)):
        ways.append(_asked(ground, int(row), float(least)))
        way = ways[-1]
        known[index] = way is None or ground.core is not None
        values[index] = way.in_core if way is not None else 0.0

    def place(rows: Indices) -> Column:
        places = np.full(len(rows), None, object)
        for index, row in enumerate(rows):
            if (way := ways[int(row)]) is not None and ground.core is not None and way.in_core > TOLERANCE:
                parts = shapely.get_parts(way.line.intersection(ground.core))
                places[index] = max(parts, key=lambda part: round(part.length, 3)).interpolate(0.5, normalized=True)
        return Column("place", places)

    pockets = np.array([ground.pocket_rows[way.pocket] if way is not None else -1 for way in ways], np.intp)
    lengths = np.array([way.line.length if way is not None else 0.0 for way in ways], float)
    return Measured(
        Column("length", values, None if known.all() else known, None, NO_CORE),
        {
            "place": place,
            "cover": lambda rows: Column("thing:pockets", pockets[rows], pockets[rows] >= 0),
            "way": lambda rows: Column("length", lengths[rows], pockets[rows] >= 0),
        },
    )


def _asked(ground: _Ground, row: int, crossing: float) -> _Way | None:
    """The way judged for a food; what is not plain without a core is asked no further."""
    food = ground.fields.get(row)
    if food is None:
        return None
    if ground.core is None:
        if ground.surely_clear(food, crossing):
            return None
        return ground.way(0.0, shapely.shortest_line(food, ground.pockets[int(ground.pocket_index.nearest(food))]),
                          int(ground.pocket_index.nearest(food)))  # fmt: skip
    return ground.judged(food, crossing)
