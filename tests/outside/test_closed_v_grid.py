"""Closed V against a grid: the two trees drawn cell by cell, and a flood fill that looks for a way out.

A second way to the same answer, sharing no geometry with the measure: tops are drawn from their
formula by half-planes, the ground is flooded run by run, and what is asked is whether a deer that
stands between the two stumps comes to the open ground ahead of the point. The way between the
stumps, by which it came in, is shut, for it is checked, not penned.
"""

from __future__ import annotations

from collections import Counter
from datetime import date
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pytest

from habitatlint.findings import Policy
from habitatlint.ground.columns import Column
from habitatlint.measures.escape import closed_v
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.review import Review
from habitatlint.source import Source
from habitatlint.units import FOOT, INCH, YARD

Points = npt.NDArray[np.float64]
Cells = npt.NDArray[np.bool_]

WAY = 3 * FOOT
CELL = 0.2
#: a pair counts where a way narrower and wider by this gives the same answer: a grid cannot tell the rest
EITHER_WAY = 0.3
PAIRS = 320


class Tree(NamedTuple):
    """A hinge, in metres and degrees: stump, fall, height, crown ratio, crown width, cut height."""

    x: float
    y: float
    fall: float
    height: float
    ratio: float
    width: float
    cut: float

    @property
    def ahead(self) -> Points:
        return np.array([np.sin(np.radians(self.fall)), np.cos(np.radians(self.fall))])

    @property
    def stump(self) -> Points:
        return np.array([self.x, self.y])

    @property
    def reach(self) -> float:
        return float(np.sqrt((self.height - self.cut) ** 2 - self.cut**2))

    @property
    def bare(self) -> float:
        """Length of the bare stem on the ground."""
        return max(0.0, self.reach - self.ratio * self.height)

    def top(self) -> Points:
        """Corners of the twelve-sided ellipse, going round one way."""
        turns = np.radians(np.arange(0, 360, 30))
        along = (self.reach + self.bare) / 2 + (self.reach - self.bare) / 2 * np.cos(turns)
        aside = self.width / 2 * np.sin(turns)
        left = np.array([-self.ahead[1], self.ahead[0]])
        return np.asarray(self.stump + along[:, None] * self.ahead + aside[:, None] * left, dtype=np.float64)

    def text(self, name: str) -> str:
        return (
            f"tree {name}\n  at {self.x:.6f},{self.y:.6f}\n  method hinge\n  fall {self.fall:.6f}deg\n"
            f"  tree-height {self.height:.6f}m\n  crown-ratio {self.ratio:.6f}\n  crown-width {self.width:.6f}m\n"
            f"  cut-height {self.cut:.6f}m\n  dbh 8in\n"
        )


def to_segment(points: Points, start: Points, end: Points) -> npt.NDArray[np.float64]:
    """Distances of points (..., 2) from a segment."""
    run = end - start
    share = np.clip((points - start) @ run / max(float(run @ run), 1e-12), 0, 1)
    away = points - start - share[..., None] * run
    return np.asarray(np.hypot(away[..., 0], away[..., 1]), dtype=np.float64)


def near_top(points: Points, corners: Points, by: float) -> Cells:
    """Which points lie in a convex polygon, or within a distance of it."""
    inside = np.ones(points.shape[:-1], bool)
    edge = np.full(points.shape[:-1], np.inf)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        run = end - start
        inside &= run[0] * (points[..., 1] - start[1]) - run[1] * (points[..., 0] - start[0]) >= 0
        edge = np.minimum(edge, to_segment(points, start, end))
    return np.asarray(inside | (edge <= by))


def flooded(free: Cells, seed: tuple[int, int]) -> Cells:
    """The free cells joined to one by steps to the four sides: runs of each row, joined by union-find."""
    above: list[int] = []

    def root(run: int) -> int:
        while above[run] != run:
            above[run] = above[above[run]]
            run = above[run]
        return run

    labels = np.full(free.shape, -1)
    for row, cells in enumerate(free):
        steps = np.flatnonzero(np.diff(np.concatenate([[0], cells.astype(np.int8), [0]])))
        for first, last in zip(steps[::2], steps[1::2], strict=True):
            number = len(above)
            above.append(number)
            labels[row, first:last] = number
            if row:
                touching = labels[row - 1, first:last]
                for other in set(touching[touching >= 0].tolist()):
                    above[root(other)] = root(number)
    roots = np.array([root(run) for run in range(len(above))])
    found = np.where(labels >= 0, roots[labels], -1)
    return np.asarray((found == found[seed]) & free)


def near_stumps(points: Points, pair: Pair) -> Cells:
    return np.asarray(
        np.minimum(*(np.hypot(*np.moveaxis(points - tree.stump, -1, 0)) for tree in (pair.first, pair.second))) < 1.0
    )


class Pair(NamedTuple):
    first: Tree
    second: Tree
    apex: Points
    sides: tuple[float, float]


def random_pair(random: np.random.Generator) -> Pair:
    """Two trees whose falls meet ahead of both, turned 24 to 116 degrees from each other."""
    half = random.uniform(12, 58)
    middle = random.uniform(0, 360)
    apex = random.uniform(-5, 5, 2)
    sides = random.uniform(3, 16), random.uniform(3, 16)
    trees = []
    for sign, side in zip((1, -1), sides, strict=True):
        fall = (middle + sign * half) % 360
        ahead = np.array([np.sin(np.radians(fall)), np.cos(np.radians(fall))])
        stump = apex - side * ahead
        height = random.uniform(8, 20)
        trees.append(
            Tree(stump[0], stump[1], fall, height, random.uniform(0.3, 0.85), random.uniform(2.5, 7.0),
                 random.choice([1.0, 3.0, 4.0, 5.5]) * FOOT)
        )  # fmt: skip
    return Pair(trees[0], trees[1], apex, sides)


def ways_under(tree: Tree, side: float) -> tuple[float, float]:
    """The stretch of a stem, in the half of a side toward the apex, that is bare and stands over 30 in."""
    high = tree.reach * (1 - 30 * INCH / tree.cut) if tree.cut > 30 * INCH else 0.0
    return side / 2, min(high, tree.bare, side)


def shut_in(pair: Pair, way: float) -> bool | None:
    """Whether a deer between the stumps is shut in by the two trees; None where a top lies across the
    mouth, so that nothing can come in, or no cell is free inside."""
    first, second = pair.first, pair.second
    corners = np.vstack([first.top(), second.top(), first.stump, second.stump])
    low, top = corners.min(axis=0) - 2, corners.max(axis=0) + 2
    east, north = (np.arange(low[axis], top[axis], CELL) for axis in (0, 1))
    points = np.stack(np.meshgrid(east, north), axis=-1)
    wall = near_top(points, first.top(), way / 2) | near_top(points, second.top(), way / 2)
    thin = 0.75 * CELL
    for tree, side in zip((first, second), pair.sides, strict=True):
        stretches = [(0.0, tree.bare)]
        under = ways_under(tree, side)
        if under[1] - under[0] >= way:
            # where the middle of a way may pass, the wall's own thickness taken off
            stretches = [(0.0, under[0] + way / 2 - thin), (under[1] - way / 2 + thin, tree.bare)]
        for start, end in stretches:
            if end > start:
                wall |= to_segment(points, tree.stump + start * tree.ahead, tree.stump + end * tree.ahead) <= thin
    mouth = to_segment(points, first.stump, second.stump) <= thin
    if (mouth & wall & ~near_stumps(points, pair)).any():
        return None
    wall |= mouth
    # the deer stands at the free place inside nearest the middle of the mouth
    triangle = np.array([first.stump, second.stump, pair.apex])
    run, across = triangle[1] - triangle[0], triangle[2] - triangle[0]
    if run[0] * across[1] - run[1] * across[0] < 0:
        triangle = triangle[::-1]
    free = near_top(points, triangle, -1.0) & ~wall
    if not free.any():
        return None
    away = np.hypot(*np.moveaxis(points - (first.stump + second.stump) / 2, -1, 0))
    seed = np.unravel_index(int(np.argmin(np.where(free, away, np.inf))), free.shape)
    ground = flooded(~wall, (int(seed[0]), int(seed[1])))
    return not bool(ground[0].any() or ground[-1].any() or ground[:, 0].any() or ground[:, -1].any())


def told(review: Review, pairs: list[Pair]) -> Measured:
    """What the measure says of every pair, all in one plan."""
    lines = ['plan "Pairs"\n  units m\n']
    for number, pair in enumerate(pairs):
        # each pair on ground of its own, so that none meddles with another
        by = 200.0 * number
        for name, tree in zip("ab", (pair.first, pair.second), strict=True):
            lines.append(tree._replace(x=tree.x + by).text(f"{name}-{number}"))
    scene = review.check(Source("pairs.habitat", "".join(lines)), Policy(date(2026, 2, 10))).scene
    rows = np.arange(len(pairs)) * 2
    found = closed_v(scene, Rows("trees", rows), Rows("trees", rows + 1), Column("length", np.full(len(pairs), WAY)))
    assert isinstance(found, Measured)
    return found


def grid_says(pair: Pair) -> bool | None:
    """Whether the grid shuts a pair; None where it cannot tell."""
    narrow = shut_in(pair, WAY * (1 - EITHER_WAY))
    return narrow if narrow is not None and narrow == shut_in(pair, WAY * (1 + EITHER_WAY)) else None


def kind_of(pair: Pair) -> str:
    """What meets: the tops alone, or a top and the other's bare stem, or two bare stems."""
    if all(side < tree.bare for tree, side in zip((pair.first, pair.second), pair.sides, strict=True)):
        return "bare stems"
    for tree, other in ((pair.first, pair.second), (pair.second, pair.first)):
        stem = tree.stump + np.linspace(0, tree.bare, 200)[:, None] * tree.ahead
        if near_top(stem, other.top(), WAY / 2 * (1 + EITHER_WAY) + CELL).any():
            return "top on a bare stem"
    return "tops"


@pytest.fixture(scope="module")
def judged(review: Review) -> tuple[list[Pair], list[bool], Measured]:
    """Random pairs that the grid can tell, what it says of each, and what the measure says."""
    random = np.random.default_rng(20260210)
    pairs: list[Pair] = []
    shut: list[bool] = []
    while len(pairs) < PAIRS:
        pair = random_pair(random)
        wide = np.hypot(*(pair.first.stump - pair.second.stump)) > 2.5 * YARD
        if wide and (answer := grid_says(pair)) is not None:
            pairs.append(pair)
            shut.append(answer)
    return pairs, shut, told(review, pairs)


def test_tops_that_meet_shut_a_deer_in_where_the_grid_says_so(judged: tuple[list[Pair], list[bool], Measured]) -> None:
    pairs, shut, found = judged
    closed = found.value.values > 0
    table = Counter(
        (kind_of(pair), grid, bool(measure)) for pair, grid, measure in zip(pairs, shut, closed, strict=True)
    )
    assert table["tops", True, True] > 80 and table["tops", False, False] > 30, table
    assert table["tops", True, False] == table["tops", False, True] == 0, table
    # a top across the other's bare stem shuts the corner too, and is no closed V: it is tops that meet
    assert all(grid or not measure for (_, grid, measure), _ in table.items()), table


def test_the_depth_of_a_v_is_measured_along_its_middle(judged: tuple[list[Pair], list[bool], Measured]) -> None:
    pairs, _, found = judged
    seen = 0
    for index in np.flatnonzero(found.value.values > 0):
        pair = pairs[index]
        middle = pair.first.ahead + pair.second.ahead
        middle /= np.hypot(*middle)
        # walk back from the apex until the line between the stumps is crossed
        back = pair.apex - np.linspace(0, 40, 40_001)[:, None] * middle
        run = pair.second.stump - pair.first.stump
        beyond = run[0] * (back[:, 1] - pair.first.stump[1]) - run[1] * (back[:, 0] - pair.first.stump[0])
        crossed = int(np.flatnonzero(np.sign(beyond) != np.sign(beyond[0]))[0])
        assert found.value.values[index] == pytest.approx(crossed / 1000, abs=0.002)
        seen += 1
    assert seen > 80
