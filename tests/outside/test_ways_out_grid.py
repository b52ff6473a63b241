"""Ways out against a fine grid: the ground drawn cell by cell, and a flood fill.

A second way to the same answers, sharing no geometry with the measures: tops are drawn from their formula
by half-planes, how far a cell is from what bars comes of a distance
transform, and what is joined to what of labelled floods (scipy.ndimage, a reference library). A hundred and twenty
pockets, more than half of them walled or ringed. An answer counts where a way two cells narrower and one
two cells wider give the same: the rest a grid cannot tell.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pytest
from effort import times
from scipy import ndimage
from shapely.geometry import Point

from habitatlint import files
from habitatlint.findings import Policy
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import plan_grammar
from habitatlint.measures.free_ground import SWEEPS, FreeGround
from habitatlint.measures.ways_out import Bars, bed_of, ground_of
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook
from habitatlint.source import Source
from habitatlint.units import FOOT, YARD

Points = npt.NDArray[np.float64]
Cells = npt.NDArray[np.bool_]

WAY = 3 * FOOT
CELL = 0.25
EITHER_WAY = 2 * CELL
#: two cells narrower, as it is, two cells wider
WAYS = np.array([WAY - EITHER_WAY, WAY, WAY + EITHER_WAY])
MARGIN = 20 * YARD
POCKETS = times(120, 200)
#: and for depths, which a grid is slow to tell
DEEP_POCKETS = times(9, 20)
#: each sixth of the 72 directions, from one pocket to the next another one: they differ by a turn and nothing else
EVERY = 6


class Tree(NamedTuple):
    """A hinge, in metres and degrees."""

    x: float
    y: float
    fall: float
    height: float
    ratio: float
    width: float

    def text(self, name: str) -> str:
        return (
            f"tree {name}\n  at {self.x:.6f},{self.y:.6f}\n  method hinge\n  fall {self.fall:.6f}deg\n"
            f"  tree-height {self.height:.6f}m\n  crown-ratio {self.ratio:.6f}\n  crown-width {self.width:.6f}m\n"
            "  cut-height 1m\n  dbh 8in\n"
        )

    def top(self) -> Points:
        """Corners of the twelve-sided ellipse on the last part of the reach."""
        ahead = np.array([np.sin(np.radians(self.fall)), np.cos(np.radians(self.fall))])
        left = np.array([-ahead[1], ahead[0]])
        reach = np.sqrt((self.height - 1) ** 2 - 1)
        crown = self.ratio * self.height
        turns = np.radians(np.arange(0, 360, 30))
        along = reach - crown / 2 + crown / 2 * np.cos(turns)
        return np.asarray([self.x, self.y] + along[:, None] * ahead + (self.width / 2 * np.sin(turns))[:, None] * left)


class Opening(NamedTuple):
    x: float
    y: float
    toward: float
    width: float

    def text(self, name: str) -> str:
        return (
            f"opening {name}\n  at {self.x:.6f},{self.y:.6f}\n  width {self.width:.6f}m\n"
            f"  toward {self.toward:.6f}deg\n"
        )


class Layout(NamedTuple):
    """A pocket from 0,0, with its trees, openings and fences (lines of two points)."""

    wide: float
    high: float
    bed: Points
    trees: list[Tree]
    openings: list[Opening]
    fences: list[Points]
    walled: bool

    def text(self) -> str:
        lines = [
            'plan "Pocket"\n  units m',
            f"pocket thicket\n  outline 0,0 {self.wide},0 {self.wide},{self.high} 0,{self.high}",
            f"  bed {self.bed[0]:.6f},{self.bed[1]:.6f}",
        ]
        lines += [tree.text(f"tree-{number}") for number, tree in enumerate(self.trees)]
        lines += [opening.text(f"gap-{number}") for number, opening in enumerate(self.openings)]
        for number, (start, end) in enumerate(self.fences):
            lines.append(
                f"hazard fence-{number}\n  line {start[0]:.6f},{start[1]:.6f} {end[0]:.6f},{end[1]:.6f}\n"
                "  kind fence\n  barrier yes"
            )
        return "\n".join(lines) + "\n"


def layout(random: np.random.Generator) -> Layout:
    wide, high = (round(float(size), 1) for size in random.uniform(24, 40, 2))
    middle = np.array([wide, high]) / 2
    bed = middle + random.uniform(-5, 5, 2)
    kind = random.integers(4)

    def tree(x: float, y: float, fall: float) -> Tree:
        return Tree(x, y, fall % 360, random.uniform(9, 14), random.uniform(0.4, 0.7), random.uniform(3, 6))

    trees = [
        tree(*(random.uniform(1, size - 1) for size in (wide, high)), random.uniform(0, 360))
        for _ in range(int(random.integers(4, 26 if kind == 0 else 10)))
    ]
    openings: list[Opening] = []
    fences: list[Points] = []
    gaps = random.uniform(0, 360, int(random.integers(0, 3)))
    if kind in (1, 2):  # a ring of tops, each laid on along the ring, but for gaps
        round_ = random.uniform(9, 13)
        for turn in np.arange(0, 360, 360 / int(random.integers(16, 26))):
            if np.any(np.abs((gaps - turn + 180) % 360 - 180) < 18):
                continue
            stump = middle + round_ * np.array([np.sin(np.radians(turn)), np.cos(np.radians(turn))])
            trees.append(tree(float(stump[0]), float(stump[1]), turn + 90 + random.uniform(-15, 15)))
    if kind == 3:  # four walls, with gaps in some
        half = random.uniform(6, 10)
        corners = middle + half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
        for number in range(4):
            start, end = corners[number], corners[(number + 1) % 4]
            if random.random() < 0.4:
                gap = random.uniform(0.6, 4)
                at = start + (end - start) * random.uniform(0.25, 0.75)
                along = (end - start) / np.hypot(*(end - start)) * gap / 2
                fences += [np.array([start, at - along]), np.array([at + along, end])]
            else:
                fences.append(np.array([start, end]))
    for _ in range(int(random.integers(0, 3))):
        chosen = trees[int(random.integers(len(trees)))]
        place = chosen.top().mean(axis=0)
        openings.append(Opening(float(place[0]), float(place[1]), random.uniform(0, 360), random.uniform(1.6, 3)))
    return Layout(wide, high, bed, trees, openings, fences, kind != 0)


# -- the grid ------------------------------------------------------------------------------------------------


class Grid(NamedTuple):
    """Cells of a layout's ground: their middles, which are of it, which are its rim; how far each is from a top,
    from a fence, and from the edge of what openings clear (below nought inside)."""

    places: Points
    ground: Cells
    rim: Cells
    from_tops: npt.NDArray[np.float64]
    from_fences: npt.NDArray[np.float64]
    from_sawn: npt.NDArray[np.float64]

    def free(self, way: float) -> Cells:
        """Where the middle of a deer may be, for a way so wide. No saw goes through a fence."""
        clear = (self.from_tops > way / 2) | (self.from_sawn <= -way / 2)
        return self.ground & clear & (self.from_fences > way / 2)


def to_segment(points: Points, start: Points, end: Points) -> npt.NDArray[np.float64]:
    run = end - start
    share = np.clip((points - start) @ run / max(float(run @ run), 1e-12), 0, 1)
    away = points - start - share[..., None] * run
    return np.asarray(np.hypot(away[..., 0], away[..., 1]))


def inside(points: Points, corners: Points) -> Cells:
    """Which points lie in a convex polygon, whichever way round its corners run."""
    signs = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        run = end - start
        signs.append(run[0] * (points[..., 1] - start[1]) - run[1] * (points[..., 0] - start[0]))
    return np.asarray((np.min(signs, axis=0) >= 0) | (np.max(signs, axis=0) <= 0))


def grid(one: Layout) -> Grid:
    edge = MARGIN + 3 * CELL
    xs = np.arange(-edge, one.wide + edge, CELL)
    ys = np.arange(-edge, one.high + edge, CELL)
    places = np.stack(np.meshgrid(xs, ys, indexing="ij"), axis=-1)
    beyond = np.maximum(0, np.maximum(-places, places - [one.wide, one.high]))
    away = np.hypot(beyond[..., 0], beyond[..., 1])
    ground = away <= MARGIN
    rim = ground & (away > MARGIN - 1.5 * CELL)
    barred = np.zeros(ground.shape, bool)
    for tree in one.trees:
        corners = tree.top()
        low = np.floor((corners.min(axis=0) + edge) / CELL).astype(int)
        last = np.ceil((corners.max(axis=0) + edge) / CELL).astype(int) + 1
        window = tuple(slice(max(0, int(a)), max(0, int(b))) for a, b in zip(low, last, strict=True))
        barred[window] |= inside(places[window], corners)
    from_tops = ndimage.distance_transform_edt(~barred) * CELL
    from_fences = np.full(ground.shape, np.inf)
    for start, end in one.fences:
        from_fences = np.minimum(from_fences, to_segment(places, start, end))
    from_sawn = np.full(ground.shape, np.inf)
    for opening in one.openings:
        start, end = sawn_line(from_tops, opening, edge)
        from_sawn = np.minimum(from_sawn, to_segment(places, start, end) - opening.width / 2)
    return Grid(places, ground, rim, from_tops, from_fences, from_sawn)


def sawn_line(free: npt.NDArray[np.float64], opening: Opening, edge: float) -> tuple[Points, Points]:
    """The ends of an opening: along its line both ways until all its width is clear of tops, 15 yd at most."""
    here = np.array([opening.x, opening.y])
    along = np.array([np.sin(np.radians(opening.toward)), np.cos(np.radians(opening.toward))])

    def run(sign: int) -> Points:
        far = 0.0
        while far < 15 * YARD:
            cell = np.round((here + sign * far * along + edge) / CELL).astype(int)
            if not (0 <= cell[0] < free.shape[0] and 0 <= cell[1] < free.shape[1]):
                break
            if free[tuple(cell)] > opening.width / 2:
                break
            far += CELL / 2
        return here + sign * min(far, 15 * YARD) * along

    return run(1), run(-1)


def joined(free: Cells, seeds: Cells, goal: Cells) -> bool:
    """Whether free cells at the seeds are joined to the goal by steps to four sides."""
    labels, count = ndimage.label(free)
    reached = np.zeros(count + 1, bool)
    reached[labels[seeds]] = True
    reached[0] = False
    return bool(reached[labels[goal]].any())


def open_ways(one: Grid, bed: Points, bearing: float, ways: Points) -> set[bool]:
    """Whether a direction is open, for ways of several widths."""
    toward = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    away = one.places - bed
    allowed = one.ground & (away @ toward <= YARD)
    seeds = np.hypot(away[..., 0], away[..., 1]) <= 2 * YARD
    return {joined(allowed & one.free(way), seeds, one.rim) for way in ways}


def sweep(one: Grid, bearing: float, way: float, step: float = 1.0) -> float:
    """Depth of the deepest bay in a direction, to within a step: at each level, ground below it that is not
    joined to the rim, and how far its low lies below. What never is joined is no bay."""
    toward = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    heights = one.places @ toward
    free = one.free(way)
    pieces, _ = ndimage.label(free)
    free &= np.isin(pieces, np.unique(pieces[one.rim & free]))
    deepest = 0.0
    for level in np.arange(heights[free].min(), heights[free].max() + step, step):
        labels, count = ndimage.label(free & (heights <= level))
        out = np.zeros(count + 1, bool)
        out[np.unique(labels[one.rim])] = True
        lows = ndimage.minimum(heights, labels, np.arange(1, count + 1))
        shut = level - np.asarray(lows)[~out[1:]]
        deepest = max(deepest, float(shut.max(initial=0.0)))
    return deepest


# -- what is compared ---------------------------------------------------------------------------------------


def scene_of(review: Review, one: Layout) -> Scene:
    return review.check(Source("pocket.habitat", one.text()), Policy(date(2026, 2, 10), fragment=True)).scene


def ground(scene: Scene) -> FreeGround:
    found = ground_of(scene, 0, Bars(WAY))
    assert found is not None
    return found


def under(one: Layout) -> bool:
    return any(inside(one.bed, tree.top()) for tree in one.trees)


@pytest.fixture(scope="module")
def bare() -> Review:
    """A review that judges by no rule: the scene alone is wanted."""
    return Review(files.grammar("plan", plan_grammar), Rulebook(()))


def test_directions_are_open_where_the_grid_says_so(bare: Review) -> None:
    random = np.random.default_rng(20260210)
    compared = agreed = shut = walled = 0
    for number in range(POCKETS):
        one = layout(random)
        walled += one.walled
        if under(one):
            one = one._replace(trees=[tree for tree in one.trees if not inside(one.bed, tree.top())], openings=[])
        scene = scene_of(bare, one)
        first = float(np.degrees(np.arctan2(-one.bed[0], -one.bed[1])) % 360)
        found = ground(scene).open_directions(Point(one.bed), first)
        cells = grid(one)
        for direction in range(number % EVERY, 72, EVERY):
            bearing = first + (direction + 0.5) * 5
            answers = open_ways(cells, one.bed, bearing, WAYS)
            if len(answers) == 1:
                compared += 1
                shut += not found[direction]
                told = answers == {bool(found[direction])}
                agreed += told
                assert told, f"pocket {number}, direction {bearing:.1f}\n{one.text()}"
    assert walled >= POCKETS / 2
    assert compared >= 0.7 * POCKETS * 72 / EVERY
    assert shut >= 0.15 * compared
    assert agreed == compared


def test_dead_ends_are_as_deep_as_on_the_grid(bare: Review) -> None:
    random = np.random.default_rng(20260211)
    compared = deep = 0
    for number in range(DEEP_POCKETS):
        one = layout(random)
        found = ground(scene_of(bare, one))
        depths = found.depths(0.0)
        finite = np.where(np.isfinite(depths.depth) & depths.lows, depths.depth, 0.0).max(axis=0)
        cells = grid(one)
        for chosen in (int(np.argmax(finite)), int(random.integers(SWEEPS))):
            bearing = (chosen + 0.5) * 360 / SWEEPS
            answers = [sweep(cells, bearing, way) for way in WAYS]
            if max(answers) - min(answers) <= 1.5:
                compared += 1
                deep += answers[1] > 3
                assert finite[chosen] == pytest.approx(answers[1], abs=1.8), f"pocket {number}, {bearing}\n{one.text()}"
    assert compared >= 0.7 * DEEP_POCKETS
    assert deep >= 0.3 * DEEP_POCKETS


def test_a_bed_counts_as_open_as_its_directions(bare: Review) -> None:
    random = np.random.default_rng(7)
    one = layout(random)._replace(trees=[], fences=[np.array([[0.0, 20.0], [30.0, 20.0]])], openings=[])
    scene = scene_of(bare, one)
    bed = bed_of(scene, 0, Point(one.bed), Bars(WAY))
    assert bed is not None and not bed.under
    first = float(np.degrees(np.arctan2(-one.bed[0], -one.bed[1])) % 360)
    assert bed.arc == 5 * ground(scene).open_directions(Point(one.bed), first).sum() > 0
