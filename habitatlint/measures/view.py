"""Screens beside a walk: the holes in them, and what of the walk is seen through and past them.

Sight lines run 3 ft above ground that is taken as level, with the leaves off. Screens are rows cut with
`purpose screen`, which stand half their crowns' width high, and plantings of `kind screen`; buildings hide
too. Standing timber lets exp(-N d L) through: the chance that no stem of N an area, d wide, stands on a
line L long, for stems placed by chance. Reaches and heights are limits of rules or common practice, no
source; published hiding cover (90% of a standing deer hidden at 200 ft: USDA Forest Service, Agriculture
Handbook 553, 1979) is a figure of another kind, of cover and not of a walk.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.ground import curves
from habitatlint.ground.columns import Array, Column, Indices, Mask, Place, Table, column, distinct
from habitatlint.ground.cuts import KILLING, LAYING, USUAL_DBH
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import cut_blocks
from habitatlint.language.blocks import Block, Food, Hazard, Path, Planting, Pocket, Release, Timber
from habitatlint.measures.vocabulary import Measured, Rows, measure, plural
from habitatlint.measures.walk import Walk, deer_sides, walks_of
from habitatlint.units import FOOT, TOLERANCE, YARD, Quantity

#: a walk is looked at every so far
WALK_STEP = 4 * YARD
#: an outline is looked from every so far, at its corners, and at its place nearest the walk
OUTLINE_STEP = 12 * YARD
#: tops lying within this of a walk are its screen
SCREEN_REACH = 20 * YARD
#: a planted screen, or what else bars deer, stands before a walk within this
PLANTED_REACH = 60 * YARD
#: so many neighbours of a hole are looked at on either side, for screens of several rows
NEIGHBOURS = 6
#: and among so many a screen is looked for
LOOKED_AT = 50
#: what is seen of a walk is measured to this share of it, or to 2 cm at each end of a stretch
SURE = 0.01
#: so many neighbouring tops are looked past together
TOGETHER = 12
#: most segments times edges that are worked out in one go
_AT_ONCE = 2_000_000


def is_screen(scene: Scene, block: Block) -> bool:
    """A row, patch or tree cut as a screen, or a screen that is planted; as the plan's stage counts it."""
    if not scene.plan.counted(block):
        return False
    return scene.plan.word(block, "kind" if block.noun == "planting" else "purpose") == "screen"


def _screen_trees(scene: Scene) -> Mask:
    """For every cut tree whether it lies as part of a screen."""
    cut = scene.trees
    screens = np.array([is_screen(scene, block) for block in cut.blocks], bool)
    return np.asarray(screens[cut.block] & cut.lies) if len(cut) else np.zeros(0, bool)


def _screen_patches(scene: Scene) -> list[tuple[Block, BaseGeometry]]:
    """Patches cut as a screen, with their ground: nobody knows where their trees come to lie."""
    found: list[tuple[Block, BaseGeometry]] = []
    blocks = cut_blocks(scene)
    for block, shape in zip(blocks, scene.table("cuts").column("shape").values, strict=True):
        laid = block.noun == "patch" and scene.plan.word(block, "method") in LAYING
        if laid and shape is not None and is_screen(scene, block):
            found.append((block, shape))
    return found


# -- through standing timber -------------------------------------------------------------------------------


def stem_width(basal_area: float, dbh: float) -> float:
    """N d: how much width of stem stands on an area, in metres a square metre, by its basal area (sq m a
    sq m) and DBH (m): of N stems of d, basal area is N pi d^2 / 4."""
    return 4 * basal_area / (math.pi * dbh)


def let_through(width: float, length: float) -> float:
    """The share of sight that timber lets through: exp(-N d L), for N d as `stem_width` and L in metres."""
    return math.exp(-width * length)


class _Wood(NamedTuple):
    """Ground under one timber, or where a release thins it: its edges (E, 2, 2), outlines anticlockwise and
    holes clockwise, its bounds, and the least and the most width of stem that it adds there, less than
    nothing for a release."""

    edges: Array
    bounds: tuple[float, float, float, float]
    least: float
    most: float


def _woods(scene: Scene) -> list[_Wood]:
    """Standing timber as it is once what the plan's stage counts has been released, felled or taken out.
    Where a release does not say what it takes, or a timber what stands in it, least and most differ."""
    releases: list[tuple[float, BaseGeometry, float | None]] = []
    for release in scene.plan.of(Release):
        shape = scene.shape_of(release)
        if shape is None or not scene.plan.counted(release) or scene.plan.word(release, "method") in KILLING:
            continue
        takes = _takes(release)
        releases.append((math.inf if takes is None else takes, shape, takes))
    releases.sort(key=lambda one: -one[0])
    index = shapely.STRtree([shape for _, shape, _ in releases])
    found: list[_Wood] = []
    for timber in scene.plan.of(Timber):
        ground = scene.shape_of(timber)
        if ground is None:
            continue
        stems = _stems(timber)
        least, most = _width(stems, 0.0, False)
        found += _wood(ground, least, most)
        if stems is None:
            continue
        done: list[BaseGeometry] = []  # where releases overlap, the one that takes most counts
        for number in np.sort(index.query(ground, predicate="intersects")).tolist():
            _, shape, takes = releases[number]
            left = ground.intersection(shape)
            for other in done:
                left = left.difference(other) if left.intersects(other) else left
            done.append(shape)
            thin, thick = _width(stems, takes or 0.0, takes is None)
            found += _wood(left, thin - least, thick - most)
    return found


def _takes(release: Release) -> float | None:
    if not release.basal_area:
        return None
    written = release.basal_area[0].values
    first, last = written[0].value, written[-1].value
    # `110 to 50 sqft/ac` says the unit once
    return max(0.0, float(Quantity(first.number, first.unit or last.unit).size - last.size))


def _stems(timber: Timber) -> list[tuple[float, float]] | None:
    """DBH and basal area of what stands, by class, the largest first; None where a timber does not say."""
    found = [
        (float(line.values[0].value.middle), float(line.values[1].value.size))
        for line in timber.class_
        if line.values[0].value.middle > 0
    ]
    if not found and timber.basal_area is not None and timber.dbh is not None:
        dbh = timber.dbh.value
        found = [(float(getattr(dbh, "middle", None) or dbh.size), float(timber.basal_area.value.size))]
    return sorted(found, reverse=True) if found and all(dbh > 0 for dbh, _ in found) else None


def _width(stems: list[tuple[float, float]] | None, taken: float, unsaid: bool) -> tuple[float, float]:
    """The least and most width of stem on an area once so much basal area is taken, the largest first."""
    if stems is None:
        return 0.0, math.inf
    width = 0.0
    for dbh, basal_area in stems:
        gone = min(basal_area, taken)
        taken -= gone
        width += stem_width(basal_area - gone, dbh)
    return (0.0 if unsaid else width), width


def _wood(ground: BaseGeometry, least: float, most: float) -> list[_Wood]:
    parts = [part for part in shapely.get_parts(ground) if isinstance(part, Polygon) and part.area > TOLERANCE]
    if not parts or least == most == 0:
        return []
    edges = []
    for part in parts:
        for ring, inner in ((part.exterior, False), *((one, True) for one in part.interiors)):
            corners = shapely.get_coordinates(ring)
            if bool(shapely.is_ccw(ring)) is inner:
                corners = corners[::-1]
            edges.append(np.stack([corners[:-1], corners[1:]], axis=1))
    return [_Wood(np.concatenate(edges), ground.bounds, least, most)]


def share_inside(starts: Array, ends: Array, edges: Array) -> Array:
    """The share of n segments (n, 2), (n, 2) that lies in an area of edges (E, 2, 2), outlines
    anticlockwise and holes clockwise: the sum over edges crossed of where, leaving counted up and
    entering down."""
    found = np.empty(len(starts))
    size = max(1, _AT_ONCE // max(1, len(edges)))
    a, b = edges[:, 0], edges[:, 1]
    for first in range(0, len(starts), size):
        part = slice(first, first + size)
        x, y = starts[part, 0, None], starts[part, 1, None]
        run_x, run_y = ends[part, 0, None] - x, ends[part, 1, None] - y
        side_a = run_x * (a[:, 1] - y) - run_y * (a[:, 0] - x)
        side_b = run_x * (b[:, 1] - y) - run_y * (b[:, 0] - x)
        crossed = (side_a > 0) != (side_b > 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            along = side_a / (side_a - side_b)
            met_x = a[:, 0] + along * (b[:, 0] - a[:, 0]) - x
            met_y = a[:, 1] + along * (b[:, 1] - a[:, 1]) - y
            at = np.clip((met_x * run_x + met_y * run_y) / (run_x**2 + run_y**2), 0.0, 1.0)
        found[part] = np.where(crossed, np.where(side_a > 0, -at, at), 0.0).sum(axis=1)
    return np.clip(found, 0.0, 1.0)


# -- what is seen of a walk --------------------------------------------------------------------------------


class _Eyes:
    """The places deer look from: outlines of pockets and food, with points along them."""

    def __init__(self, scene: Scene) -> None:
        things = [
            (block, shape)
            for block in (*scene.plan.of(Pocket), *scene.plan.of(Food))
            if isinstance(shape := scene.shape_of(block), Polygon)
        ]
        self.labels = [block.label for block, _ in things]
        self.shapes = np.array([shape for _, shape in things] or [None], object)[: len(things)]
        self.index = shapely.STRtree(self.shapes)
        points, outward, counts = [], [], []
        for shape in self.shapes:
            ring = shapely.get_coordinates(shapely.segmentize(shape.exterior, OUTLINE_STEP))
            run = np.diff(ring, axis=0)
            normal = np.column_stack([run[:, 1], -run[:, 0]]) * (1 if shapely.is_ccw(shape.exterior) else -1)
            points.append(ring[:-1])
            # a corner looks out over either of its sides
            outward.append(np.stack([np.roll(normal, 1, axis=0), normal], axis=1))
            counts.append(len(run))
        self.points = np.concatenate(points) if points else np.empty((0, 2))
        self.outward = np.concatenate(outward) if outward else np.empty((0, 2, 2))
        self.first = np.concatenate([[0], np.cumsum(counts)]).astype(np.intp)


class _Looked(NamedTuple):
    """The walks of a scene looked at: how much of each is seen, the middle of the longest stretch, and the
    eyes that see most of it (-1 for none)."""

    lengths: Array
    places: Array
    by: Array


class _Sight:
    """What stands in the way of sight on a plan, and where one can see from."""

    def __init__(self, scene: Scene, reach: float, through: float, high: float) -> None:
        self.reach = reach
        #: the most N d L that lets enough through
        self.most = -math.log(through)
        self.eyes = _Eyes(scene)
        self.woods = _woods(scene)
        self.screens: list[BaseGeometry] = []
        #: what of them is convex: tops, and the legs of planted lines
        self.walls: list[BaseGeometry] = []
        #: what may hide or not, for want of a height or of places
        self.doubtful: list[BaseGeometry] = []
        #: what is not known, in words
        self.reasons: list[str] = []
        #: screens whose size is estimated; plantings that have still to grow, by the year
        self.estimated: list[BaseGeometry] = []
        self.growing: list[tuple[int, BaseGeometry]] = []
        self._lay(scene, high)
        #: corners of what of the screens is convex, as many for each: the last stands for those it has not
        walls = np.array(self.walls, object)
        points, of = shapely.get_coordinates(walls, return_index=True)
        counts = np.bincount(of, minlength=len(walls))
        most = int(counts.max()) if len(walls) else 1
        self.corners = points[(np.cumsum(counts) - counts)[:, None] + np.minimum(np.arange(most), counts[:, None] - 1)]
        self.wall_index = shapely.STRtree(walls)
        if any(wood.least != wood.most for wood in self.woods):
            self.reasons.append("a timber has no `class`, or a release over it no `basal-area`")

    def _lay(self, scene: Scene, high: float) -> None:
        cut = scene.trees
        tall = _screen_trees(scene) & (cut.crown_width / 2 >= high - TOLERANCE)
        lying = np.flatnonzero(tall)
        self.walls += list(cut.top[lying])
        # a few neighbours together: one by one they are many, and a whole row is in the way of every line
        lots = np.arange(len(lying)) // TOGETHER
        self.screens += list(shapely.multipolygons(cut.top[lying], indices=lots)) if len(lying) else []
        for lot in distinct(lots[cut.estimated[lying]]):
            self.estimated.append(self.screens[lot])
        for planting in scene.plan.of(Planting):
            shape = scene.shape_of(planting)
            if shape is None or not is_screen(scene, planting):
                continue
            if not planting.height:
                self.doubtful.append(shape)
                self.reasons.append(f"{planting.label} has no `height`")
                continue
            values = planting.height[0].values
            year = next((int(value.value.number) for value in values if value.kind == "number"), None)
            grown = scene.design or year is None or _grown(scene, year)
            if values[0].value.size < high - TOLERANCE or grown is False:
                continue
            if grown is None:
                self.doubtful.append(shape)
                self.reasons.append(f"the plan has no `date`, and {planting.label} is grown from {year}")
                continue
            self.screens.append(shape)
            if isinstance(shape, LineString):
                self.walls += list(map(LineString, pairwise(shape.coords)))
            if year is not None:
                self.growing.append((year, shape))
        for hazard in scene.plan.of(Hazard):
            shape = scene.shape_of(hazard)
            if isinstance(shape, Polygon) and scene.plan.word(hazard, "kind") == "building":
                self.screens.append(shape)
        for patch, ground in _screen_patches(scene):
            self.doubtful.append(ground)
            self.reasons.append(f"{patch.label} lays no trees, so nobody knows where they hide the walk")

    def clear(self, starts: Array, ends: Array, doubt_hides: bool) -> Mask:
        """Whether one sees along n segments; what is doubtful hides, or does not."""
        run = ends - starts
        length = np.hypot(run[:, 0], run[:, 1])
        clear = self._through_timber(starts, ends, length, doubt_hides)
        hiding = [*self.screens, *self.doubtful] if doubt_hides else self.screens
        if hiding and clear.any():
            rows = np.flatnonzero(clear & (length > TOLERANCE))
            lines = shapely.linestrings(np.stack([starts[rows], ends[rows]], axis=1))
            _, hidden = shapely.STRtree(lines).query(np.array(hiding, object), predicate="intersects")
            clear[rows[hidden]] = False
        return clear

    def _through_timber(self, starts: Array, ends: Array, length: Array, doubt_hides: bool) -> Mask:
        """Whether enough sight comes through the timber on n segments."""
        widths = [wood.most if doubt_hides else wood.least for wood in self.woods]
        dense = np.zeros(len(starts))
        # what is too short to be hidden by all the timber there is needs no looking
        long = np.flatnonzero((length > TOLERANCE) & (length * sum(max(0.0, one) for one in widths) > self.most))
        low, high = np.minimum(starts, ends)[long], np.maximum(starts, ends)[long]
        for wood, width in zip(self.woods, widths, strict=True):
            if width == 0:
                continue
            west, south, east, north = wood.bounds
            near = long[(low[:, 0] <= east) & (high[:, 0] >= west) & (low[:, 1] <= north) & (high[:, 1] >= south)]
            within = share_inside(starts[near], ends[near], wood.edges) * length[near]
            within[within < TOLERANCE] = 0.0  # past a corner, or along an edge
            dense[near] += within * (width if math.isfinite(width) else 1e9)
        return dense <= self.most + 1e-9

    def _walled(self, points: Array, off: Array, place: Indices, goals: Array) -> Mask:
        """For sight lines from places (numbers of n points) to goals, whether a screen nearer than all that
        looks at the place stands before the goal; `off` is how near that is. Exact, as a line to what lies
        beyond a convex thing meets it just where its bearing lies between those of the thing's corners; what
        it leaves open is for `clear` to tell."""
        if not len(self.walls) or not len(place):
            return np.zeros(len(place), bool)
        asked = distinct(place)
        spot, wall = self.wall_index.query(shapely.points(points[asked]), predicate="dwithin", distance=off[asked])
        spot = asked[spot]
        corners = self.corners[wall] - points[spot][:, None, :]
        before = np.max(corners[..., 0] ** 2 + corners[..., 1] ** 2, axis=1) < off[spot] ** 2
        spot, wall, corners = spot[before], wall[before], corners[before]
        bearing = np.arctan2(corners[..., 1], corners[..., 0])
        first = bearing[:, :1]
        turned = (bearing - first + math.pi) % (2 * math.pi) - math.pi
        left, right = np.min(turned, axis=1), np.max(turned, axis=1)
        sound = right - left < math.pi - 1e-6  # else the place lies within it
        spot, begin = spot[sound], (first[:, 0] + left)[sound]
        wide = (right - left)[sound]
        begin = begin % (2 * math.pi)
        # bearings of all places on one scale, a turn and more apart; what runs over north is laid at both ends
        over = np.flatnonzero(begin + wide > 2 * math.pi)
        begin = np.concatenate([begin, begin[over] - 2 * math.pi]) + 20.0 * np.concatenate([spot, spot[over]])
        wide = np.concatenate([wide, wide[over]])
        order = np.argsort(begin, kind="stable")
        begin, until = begin[order], np.maximum.accumulate((begin + wide)[order]) if len(order) else wide
        run = goals - points[place]
        at = np.arctan2(run[:, 1], run[:, 0]) % (2 * math.pi) + 20.0 * place
        number = np.searchsorted(begin, at, side="right") - 1
        held = number >= 0
        held[held] = at[held] <= until[number[held]]
        return np.asarray(held)

    def seen_by(self, points: Array, doubt_hides: bool) -> Indices:
        """For n places the nearest eyes that see each, -1 where none do."""
        found = np.full(len(points), -1, np.intp)
        if not len(points):
            return found
        spots = shapely.points(points)
        place, eyes = self.eyes.index.query(spots, predicate="dwithin", distance=self.reach + TOLERANCE)
        if not len(place):
            return found
        line = shapely.shortest_line(spots[place], self.eyes.shapes[eyes])
        nearest, off = shapely.get_coordinates(line)[1::2], np.round(shapely.length(line), 3)
        order = np.lexsort((eyes, off, place))
        place, eyes, nearest, off = place[order], eyes[order], nearest[order], off[order]
        # most of what is open is seen from the nearest place of all
        first = np.concatenate([[True], place[1:] != place[:-1]])
        seen = self.clear(nearest[first], points[place[first]], doubt_hides)
        found[place[first][seen]] = eyes[first][seen]
        closest = np.zeros(len(points))
        closest[place[first]] = off[first]
        again = found[place] < 0
        first, place, eyes, nearest = first[again], place[again], eyes[again], nearest[again]
        counts = self.eyes.first[eyes + 1] - self.eyes.first[eyes]
        pair = np.repeat(np.arange(len(place)), counts)
        at = np.arange(len(pair)) - np.repeat(np.cumsum(counts) - counts, counts) + self.eyes.first[eyes[pair]]
        out = points[place[pair]] - self.eyes.points[at]
        near = out[:, 0] ** 2 + out[:, 1] ** 2 <= (self.reach + TOLERANCE) ** 2
        # what is seen past the far side of an outline is seen from its near side too
        near &= ((self.eyes.outward[at] * out[:, None]).sum(axis=2) > 0).any(axis=1)
        pair, at = pair[near], at[near]
        starts = np.concatenate([nearest[~first], self.eyes.points[at]])
        place = np.concatenate([place[~first], place[pair]])
        eyes = np.concatenate([eyes[~first], eyes[pair]])
        run = starts - points[place]
        far = np.hypot(run[:, 0], run[:, 1])
        open_ = np.flatnonzero(~self._walled(points, closest, place, starts))
        # a screen stands near its walk: past it, whatever else looks from nearer
        past = far[open_] > SCREEN_REACH * 2
        open_ = open_[
            ~past | ~self._walled(points, np.full(len(points), SCREEN_REACH * 2), place[open_], starts[open_])
        ]
        open_ = open_[self.clear(starts[open_], points[place[open_]], doubt_hides)]
        # farthest first: of what is noted for a place the last stays, the nearest or, of several, the first
        order = open_[np.lexsort((eyes[open_], np.round(far[open_], 3)))[::-1]]
        found[place[order]] = eyes[order]
        return found

    def look(self, walks: list[Walk], last: float, doubt_hides: bool) -> _Looked:
        """What is seen of walks, but for the last stretch to their stands."""
        lines, owner = [], []
        for number, walk in enumerate(walks):
            for part in shapely.get_parts(walk.line):
                if isinstance(part, LineString) and part.length > TOLERANCE:
                    lines.append(part)
                    owner.append(number)
        sizes = np.array([line.length for line in lines])
        # a hair less than the step, so that a length of whole steps is cut alike however it lies
        counts = np.maximum(1, np.ceil(sizes / WALK_STEP - 1e-6)).astype(int)
        part = np.repeat(np.arange(len(lines)), counts + 1)
        number_in = np.arange(len(part)) - np.repeat(np.cumsum(counts + 1) - counts - 1, counts + 1)
        at = number_in * (sizes / counts)[part]
        line_of, of = np.array(lines, object), np.array(owner, np.intp)
        wholes = np.array([walk.whole for walk in walks], object)
        until = np.array([walk.whole.length - (last if walk.stand else 0.0) for walk in walks])
        until[until < TOLERANCE] = -1.0

        def seen(part: Indices, at: Array) -> Indices:
            spots = shapely.line_interpolate_point(line_of[part], at)
            walk = of[part]
            ahead = shapely.line_locate_point(wholes[walk], spots) <= until[walk] + TOLERANCE / 10
            found = np.full(len(part), -1, np.intp)
            found[ahead] = self.seen_by(shapely.get_coordinates(spots[ahead]), doubt_hides)
            return found

        by = seen(part, at) if len(part) else np.zeros(0, np.intp)
        node = np.flatnonzero(number_in < counts[part]) if len(part) else np.zeros(0, np.intp)
        open_here, open_next = by[node] >= 0, by[node + 1] >= 0
        begin, end = at[node].copy(), at[node + 1].copy()
        # where sight begins or ends between two places, halve what lies between
        turn = np.flatnonzero(open_here != open_next)
        lit = np.where(open_here[turn], at[node[turn]], at[node[turn] + 1])
        dark = np.where(open_here[turn], at[node[turn] + 1], at[node[turn]])
        whole = np.bincount(of[part[node]], weights=np.where(open_here & open_next, end - begin, 0.0), minlength=len(walks))  # noqa: E501  # fmt: skip
        turn_of = of[part[node[turn]]]
        for _ in range(7):
            doubt = np.bincount(turn_of, weights=np.abs(dark - lit), minlength=len(walks))
            more = np.flatnonzero((doubt > SURE * whole)[turn_of])
            if not len(more):
                break
            middle = (lit[more] + dark[more]) / 2
            on = seen(part[node[turn[more]]], middle) >= 0
            lit[more[on]], dark[more[~on]] = middle[on], middle[~on]
        lit = np.where(np.abs(dark - lit) > 2 * TOLERANCE, (lit + dark) / 2, lit)
        end[turn] = np.where(open_here[turn], lit, end[turn])
        begin[turn] = np.where(open_here[turn], begin[turn], lit)
        shown = open_here | open_next
        return _summed(walks, self.eyes, of[part[node]][shown], line_of[part[node]][shown], begin[shown], end[shown],
                       np.where(open_here, by[node], by[node + 1])[shown])  # fmt: skip


def _summed(walks: list[Walk], eyes: _Eyes, of: Indices, lines: Array, begin: Array, end: Array,
            by: Indices) -> _Looked:  # fmt: skip
    lengths, places = np.zeros(len(walks)), np.full(len(walks), None, object)
    shares: list[dict[int, float]] = [{} for _ in walks]
    longest = np.zeros(len(walks))
    run_from = 0.0
    for index in range(len(of)):
        walk, size = int(of[index]), float(end[index] - begin[index])
        lengths[walk] += size
        shares[walk][int(by[index])] = shares[walk].get(int(by[index]), 0.0) + size
        joined = index > 0 and lines[index] is lines[index - 1] and begin[index] <= end[index - 1] + TOLERANCE / 10
        run_from = run_from if joined else float(begin[index])
        if end[index] - run_from > longest[walk] + TOLERANCE:
            longest[walk] = end[index] - run_from
            places[walk] = lines[index].interpolate((run_from + float(end[index])) / 2)
    most = [max(share, key=lambda one: (round(share[one], 1), -one)) if share else -1 for share in shares]
    return _Looked(lengths, places, np.array(most, np.intp))


def _grown(scene: Scene, year: int) -> bool | None:
    """Whether a planting is grown by the day of the plan; None where the plan has no date."""
    head = scene.plan.head
    return bool(head.date.value.year >= year) if head is not None and head.date is not None else None


@measure(
    "in-view",
    ("walks", "length", "length", "share", "length", "length"),
    "length",
    parts={"place": "place", "by": "text"},
)
def in_view(scene: Scene, walks: Rows, allowed: Column, reach: Column, through: Column, last: Column,
            high: Column) -> Measured:  # fmt: skip
    """How much of a walk, in metres, lies open to view from some point of the outline of a pocket or food no
    farther off than `reach`, the last stretch of `last` to a stand left out.

    A sight line is 3 ft above ground that is taken as level, leaf off. Screens (rows cut with `purpose
    screen`, lying half their crowns' width high, and plantings of `kind screen`) hide while they are `high`;
    so do buildings. Timber lets exp(-N d L) through, N d being 4 / pi times basal area over DBH summed over
    its classes (or by its `basal-area` and `dbh`), as what the plan's stage counts leaves it, releases
    taking the largest first; seen is what `through` or more reaches. In a design a planting counts as grown.
    The walk is looked at every 4 yd (what is seen, to 1%), outlines every 12 yd, at
    their corners and at their place nearest the walk; a stretch shorter than the step may be missed.

    `place` is the middle of the longest stretch, `by` what sees most of the walk, with the year from which
    planted screens before it count. Unknown where it hangs on what is not given whether more than `allowed`
    is seen: the height of a planted screen, what stands in a timber, or where a patch's trees lie."""
    every = walks_of(scene)
    asked = (round(float(column.values[0]), 4) if len(column) else 0.0 for column in (reach, through, last, high))
    far, share, ending, tall = asked
    key = ("in view", far, share, ending, tall)
    found = scene.memo.get(key)
    if found is None:
        sight = _Sight(scene, far, min(max(share, 1e-6), 1.0), tall)
        hidden = sight.look(every, ending, True)
        found = scene.memo[key] = (sight, hidden, sight.look(every, ending, False) if sight.reasons else hidden)
    sight, hidden, shown = found
    rows = walks.rows
    known = (hidden.lengths[rows] > allowed.values + TOLERANCE) | (shown.lengths[rows] <= allowed.values + TOLERANCE)
    near = shapely.STRtree([every[row].line for row in rows])
    estimated = np.zeros(len(rows), bool)
    estimated[near.query(np.array(sight.estimated, object), predicate="dwithin", distance=far)[1]] = True
    value = Column("length", hidden.lengths[rows], None if known.all() else known, estimated,
                   "; ".join(dict.fromkeys(sight.reasons)))  # fmt: skip

    def by(which: Indices) -> Column:
        said = []
        for row in rows[which]:
            years = [year for year, shape in sight.growing if shape.distance(every[row].line) <= far]
            grown = f", even with what is planted as a screen grown, from {max(years)} on" if years else ""
            eyes = hidden.by[row]
            said.append(f"{sight.eyes.labels[eyes]}{grown}" if eyes >= 0 else None)
        return column("text", said)

    return Measured(value, {"place": lambda which: Column("place", hidden.places[rows[which]]), "by": by})


# -- holes in a screen -------------------------------------------------------------------------------------


class _Piece(NamedTuple):
    """What bars deer beside a walk: its shape, its tree (-1 for what is planted or built), its block, whether
    it is of a screen, how long one tree is, and how near a walk it counts."""

    shape: BaseGeometry
    tree: int
    block: Block
    screen: bool
    tree_length: float
    reach: float


class _Hole(NamedTuple):
    """A gap between two pieces beside a walk: between their nearest points. Without `line`, a patch of which
    nobody knows."""

    walk: int
    block: Block
    line: LineString | None
    tree: int
    estimated: bool


def _pieces(scene: Scene, walks: list[Walk]) -> list[_Piece]:
    """Everything near a walk that bars deer, if any of it is a screen."""
    cut, lines = scene.trees, [walk.line for walk in walks]
    screens = _screen_trees(scene)
    planted = [
        (planting, shape)
        for planting in scene.plan.of(Planting)
        if (shape := scene.shape_of(planting)) is not None and is_screen(scene, planting)
    ]
    if not lines or not (screens.any() or planted):
        return []
    near = distinct(cut.barrier_index.query(np.array(lines, object), predicate="dwithin", distance=SCREEN_REACH)[1])
    found = [
        _Piece(cut.barrier[row], int(row), cut.blocks[cut.block[row]], bool(screens[row]), float(cut.height[row]),
               SCREEN_REACH)
        for row in near
    ]  # fmt: skip
    usual = float(curves.height((), np.array(USUAL_DBH)))
    found += [_Piece(shape, -1, planting, True, usual, PLANTED_REACH) for planting, shape in planted]
    for hazard in scene.plan.of(Hazard):
        shape = scene.shape_of(hazard)
        if shape is not None and scene.plan.word(hazard, "barrier") == "yes":
            found.append(_Piece(shape, -1, hazard, False, 0.0, PLANTED_REACH))
    return found if any(piece.screen for piece in found) else []


def holes_of(scene: Scene) -> list[_Hole]:
    """The gaps in the screens beside the walks of a plan, each once, and the patches cut as screens there.

    On the deer's side of a walk, or on both sides where nobody knows, what bars deer is laid off along it,
    square to its legs and fanned round the outside of its bends; a gap is a stretch that nothing bars, with
    screens on both hands no farther apart than one tree is long, and as wide as its neighbours are apart. A
    stretch that a path of the plan crosses is meant, be it deer's or people's."""
    walks = walks_of(scene)
    pieces = _pieces(scene, walks)
    found: dict[tuple[int, int], tuple[float, _Hole]] = {}
    for walk, laid in _laid_off(walks, pieces, deer_sides(scene) if pieces else []):
        for left, right in _gaps(pieces, laid):
            line = shapely.shortest_line(pieces[left].shape, pieces[right].shape)
            if line.length <= TOLERANCE or _crossed(scene, line):
                continue
            owner = left if pieces[left].screen else right if pieces[right].screen else left
            trees = [pieces[one].tree for one in (left, right) if pieces[one].tree >= 0]
            tree = pieces[owner].tree if pieces[owner].tree >= 0 else (trees or [-1])[0]
            guessed = bool(scene.trees.estimated[trees].any()) if trees else False
            hole = _Hole(walk, pieces[owner].block, line, tree, guessed)
            key, off = (min(left, right), max(left, right)), round(line.distance(walks[walk].line), 2)
            if key not in found or off < found[key][0]:
                found[key] = (off, hole)
    holes = [hole for _, hole in found.values()]
    patches = _screen_patches(scene)
    if patches and walks:
        grounds, lines = ([shape for _, shape in patches], np.array([walk.line for walk in walks], object))
        beside, near = shapely.STRtree(grounds).query(lines, predicate="dwithin", distance=SCREEN_REACH)
        first: dict[int, int] = {}
        for number, one in sorted(zip(beside.tolist(), near.tolist(), strict=True)):
            first.setdefault(one, number)
        holes += [_Hole(first[one], patches[one][0], None, -1, False) for one in sorted(first)]
    return holes


class _Strips(NamedTuple):
    """Strips of ground beside a walk's legs, and fans round the outside of its bends: the shape; the side of
    which part of which walk; where along it the strip begins; its corner, its direction or first bearing,
    and whether it is a fan."""

    shapes: list[Polygon]
    keys: list[tuple[int, int, int]]
    begins: list[float]
    corners: list[Array]
    turned: list[Array]
    fans: list[bool]


def _strips(walks: list[Walk], asked: set[int], sides: list[int]) -> _Strips:
    found = _Strips([], [], [], [], [], [])

    def add(shape: Polygon, key: tuple[int, int, int], begins: float, corner: Array, turned: Array, fan: bool) -> None:
        found.shapes.append(shape)
        found.keys.append(key)
        found.begins.append(begins)
        found.corners.append(corner)
        found.turned.append(turned)
        found.fans.append(fan)

    for number in sorted(asked):
        for which, part in enumerate(shapely.get_parts(walks[number].line)):
            if not isinstance(part, LineString) or part.length <= TOLERANCE:
                continue
            points = shapely.get_coordinates(part)
            points = points[np.concatenate([[True], np.hypot(*np.diff(points, axis=0).T) > TOLERANCE])]
            runs = np.diff(points, axis=0)
            sizes = np.hypot(*runs.T)
            ahead = runs / sizes[:, None]
            for side in (sides[number],) if sides[number] else (1, -1):
                key, begins = (number, which, side), 0.0
                aside = np.column_stack([-ahead[:, 1], ahead[:, 0]]) * side
                for leg in range(len(runs)):
                    a, b, off = points[leg], points[leg + 1], aside[leg] * PLANTED_REACH
                    add(Polygon([a, b, b + off, a + off]), key, begins, a, ahead[leg], False)
                    begins += float(sizes[leg])
                    if leg + 1 == len(runs):
                        break
                    cross = float(ahead[leg, 0] * ahead[leg + 1, 1] - ahead[leg, 1] * ahead[leg + 1, 0])
                    turn = math.atan2(cross, float(ahead[leg] @ ahead[leg + 1]))
                    if turn * side < -1e-3:  # the outside of the bend
                        first = math.atan2(aside[leg, 1], aside[leg, 0])
                        angles = first + np.linspace(0, turn, 2 + int(abs(turn) / 0.15))
                        arc = b + PLANTED_REACH * np.column_stack([np.cos(angles), np.sin(angles)])
                        add(Polygon([b, *arc]), key, begins, b, np.array([first, math.copysign(1.0, turn)]), True)
                        begins += abs(turn) * PLANTED_REACH
    return found


class _Laid(NamedTuple):
    """From where to where along a side of a walk a piece bars, in metres."""

    begins: float
    ends: float
    piece: int


def _laid_off(walks: list[Walk], pieces: list[_Piece], deer: list[int]) -> list[tuple[int, list[_Laid]]]:
    """By side of each walk that has a screen: what bars there, in order."""
    if not pieces:
        return []
    shapes = np.array([piece.shape for piece in pieces], object)
    lines = np.array([walk.line for walk in walks], object)
    reach = np.array([piece.reach for piece in pieces]) + TOLERANCE
    piece, walk = shapely.STRtree(lines).query(shapes, predicate="dwithin", distance=reach)
    by = set(zip(walk.tolist(), piece.tolist(), strict=True))
    strips = _strips(walks, {number for number, one in by if pieces[one].screen}, deer)
    if not strips.shapes:
        return []
    grounds = np.array(strips.shapes, object)
    piece, strip = shapely.STRtree(grounds).query(shapes, predicate="intersects")
    keep = np.array([(strips.keys[one][0], other) in by for one, other in zip(strip, piece.tolist(), strict=True)], bool)  # noqa: E501  # fmt: skip
    piece, strip = piece[keep], strip[keep]
    points, of = shapely.get_coordinates(shapely.intersection(shapes[piece], grounds[strip]), return_index=True)
    off = points - np.array(strips.corners)[strip[of]]
    turned = np.array(strips.turned)[strip[of]]
    along = (off * turned).sum(axis=1)
    round_ = (np.arctan2(off[:, 1], off[:, 0]) - turned[:, 0]) * turned[:, 1]
    round_ = np.maximum((round_ + 1) % (2 * math.pi) - 1, 0.0) * PLANTED_REACH
    at = np.where(np.array(strips.fans)[strip[of]], round_, along) + np.array(strips.begins)[strip[of]]
    first, last = np.full(len(piece), np.inf), np.full(len(piece), -np.inf)
    np.minimum.at(first, of, at)
    np.maximum.at(last, of, at)
    sides: dict[tuple[int, int, int], list[_Laid]] = {}
    for index in np.flatnonzero(np.isfinite(first)):
        laid = _Laid(float(first[index]), float(last[index]), int(piece[index]))
        sides.setdefault(strips.keys[strip[index]], []).append(laid)
    return [(key[0], sorted(sides[key])) for key in sorted(sides)]


def _gaps(pieces: list[_Piece], laid: list[_Laid]) -> list[tuple[int, int]]:
    """The pieces on both hands of each gap in a screen that is no wider than one tree is long."""
    found = []
    until, by_end = -math.inf, sorted(laid, key=lambda one: (one.ends, one.piece))
    passed = 0
    for index, one in enumerate(laid):
        if index and one.begins > until + TOLERANCE:
            while passed < len(by_end) and by_end[passed].ends <= until + TOLERANCE / 10:
                passed += 1
            before = [one.piece for one in by_end[max(0, passed - LOOKED_AT) : passed]][::-1]
            after = [one.piece for one in laid[index : index + LOOKED_AT]]
            screens = [[one for one in some if pieces[one].screen][:NEIGHBOURS] for some in (before, after)]
            if all(screens):
                left, right, apart = _nearest(pieces, *screens)
                if apart <= max(pieces[left].tree_length, pieces[right].tree_length) + TOLERANCE:
                    found.append(_nearest(pieces, before[:NEIGHBOURS], after[:NEIGHBOURS])[:2])
        until = max(until, one.ends)
    return found


def _nearest(pieces: list[_Piece], first: list[int], second: list[int]) -> tuple[int, int, float]:
    """The two nearest pieces of two lots, and how far apart they are."""
    shapes = [np.array([pieces[one].shape for one in some], object) for some in (first, second)]
    apart = np.round(shapely.distance(shapes[0][:, None], shapes[1][None, :]), 4)
    one, other = np.unravel_index(int(np.argmin(apart)), apart.shape)
    return first[int(one)], second[int(other)], float(apart[one, other])


def _along(shape: BaseGeometry, line: LineString) -> float:
    """How far a shape reaches from end to end in the direction of a line, in metres."""
    (x, y), (end_x, end_y) = line.coords[0], line.coords[-1]
    found = shapely.get_coordinates(shape) @ (np.array([end_x - x, end_y - y]) / line.length)
    return float(np.ptp(found)) if len(found) else 0.0


def _crossed(scene: Scene, gap: LineString) -> bool:
    """Whether a path of the plan runs through a gap."""
    found = scene.memo.get("path index")
    if found is None:
        lines = [(shape, scene.width_of(path)) for path in scene.plan.of(Path)
                 if isinstance(shape := scene.shape_of(path), LineString)]  # fmt: skip
        lines += [(line, 0.0) for some in scene.corridors for _, line in some]
        widest = max((width for _, width in lines), default=0.0)
        found = scene.memo["path index"] = (shapely.STRtree([line for line, _ in lines]), lines, widest)
    index, lines, widest = found
    return any(
        lines[number][0].distance(gap) <= lines[number][1] / 2 + TOLERANCE
        for number in index.query(gap, predicate="dwithin", distance=widest / 2 + TOLERANCE).tolist()
    )


@plural(
    "holes",
    {
        "block": "name", "walk": "thing:walks", "gap": "length", "shape": "shape", "filler": "place",
        "fall": "bearing", "name": "name", "tree": "thing:trees", "crown-width": "length", "closer": "length",
        "fillers": "shape", "fill": "count",
    },
)  # fmt: skip
def _holes_table(scene: Scene) -> Table:
    """Holes in screens beside walks: gaps between what bars deer, up to one tree's length wide."""
    holes, cut, walks = holes_of(scene), scene.trees, walks_of(scene)

    def label(row: int) -> str:
        hole = holes[row]
        return f"a hole in {hole.block.label}" if hole.line is not None else hole.block.label

    def written(row: int, field: str) -> Place | None:
        block = holes[row].block
        statement = (block.first("spacing") or block.first("count")) if field == "spacing" else None
        return Place(block.span(statement), False) if statement is not None else None

    table = Table("holes", len(holes), label, lambda row: holes[row].block.name, lambda row: holes[row].block.span())
    table.written = written
    table.names = lambda row: frozenset({holes[row].block.name, *(path.name for path in walks[holes[row].walk].paths)})
    table.add("name", lambda: column("name", [hole.block.name for hole in holes]))
    table.add("block", lambda: column("name", [hole.block.name for hole in holes]))
    table.add("walk", lambda: column("thing:walks", [hole.walk for hole in holes]))
    table.add("shape", lambda: column("shape", [hole.line for hole in holes]))

    def gap() -> Column:
        sizes = np.array([hole.line.length if hole.line is not None else np.nan for hole in holes], float)
        estimated = np.array([hole.estimated for hole in holes], bool)
        why = "a patch lays no trees, so nobody knows where they come to lie"
        return Column("length", sizes, np.isfinite(sizes), estimated, why)

    def filler() -> Column:
        """Where a tree like the hole's neighbour stands that, laid as it is, has its top in the hole."""
        places: list[Any] = []
        for hole in holes:
            if hole.tree < 0 or hole.line is None:
                places.append(None)
                continue
            middle, top = hole.line.interpolate(0.5, normalized=True), cut.top[hole.tree].centroid
            places.append(Point(cut.x[hole.tree] + middle.x - top.x, cut.y[hole.tree] + middle.y - top.y))
        return column("place", places)

    def several() -> list[int]:
        """How many trees like the hole's neighbour fill it, each top reaching the next; 0 where nobody knows."""
        counts = []
        for hole in holes:
            reach = _along(cut.top[hole.tree], hole.line) if hole.tree >= 0 and hole.line is not None else 0.0
            counts.append(math.ceil(hole.line.length / reach - 1e-6) if hole.line is not None and reach > 0 else 0)
        return counts

    def fill() -> Column:
        return column("count", [one if one > 1 else None for one in several()], "one tree fills it")

    def fillers() -> Column:
        """From where to where stand the trees of a row that, laid as its neighbour is, have their tops in the hole."""
        lines: list[LineString | None] = []
        for hole, count in zip(holes, several(), strict=True):
            if count < 2 or hole.line is None:
                lines.append(None)
                continue
            top = cut.top[hole.tree].centroid
            off = np.array([cut.x[hole.tree] - top.x, cut.y[hole.tree] - top.y])
            ends = (hole.line.interpolate(share, normalized=True) for share in (0.5 / count, 1 - 0.5 / count))
            lines.append(LineString([np.array(end.coords[0]) + off for end in ends]))
        return column("shape", lines, "one tree fills it")

    def crown_width() -> Column:
        """How wide its neighbour's crown is, where the plan says so."""
        rows = [hole.tree if hole.tree >= 0 and cut.crown_written[hole.tree] else None for hole in holes]
        return column("length", [None if row is None else float(cut.crown_width[row]) for row in rows])

    def closer() -> Column:
        """How far apart the stumps of its row may stand for each top to reach the next: the row's spacing less
        the hole, to the whole foot or decimetre below; not known where that leaves less than half of it."""
        step = 0.1 if scene.units == "m" else FOOT
        sizes: list[float | None] = []
        for hole in holes:
            spacing = hole.block.first("spacing")
            apart = scene.placer.metres(spacing.values[0]) if spacing is not None else 0.0
            left = math.floor((apart - hole.line.length) / step) * step if hole.line is not None else 0.0
            sizes.append(left if left >= apart / 2 and left > 0 else None)
        return column("length", sizes, "its stumps are not set by a `spacing` that closer stumps would mend",
                      "" if scene.units == "m" else "ft")  # fmt: skip

    table.add("gap", gap)
    table.add("filler", filler)
    table.add("fillers", fillers)
    table.add("fill", fill)
    table.add("crown-width", crown_width)
    table.add("closer", closer)
    trees = [hole.tree if hole.tree >= 0 else None for hole in holes]
    table.add("tree", lambda: column("thing:trees", trees))
    table.add("fall", lambda: column("bearing", [cut.bearing[one.tree] if one.tree >= 0 else None for one in holes]))
    return table
