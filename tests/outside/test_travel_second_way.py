"""Chains of travel lines, and how they run by food, worked out a second way: distances of segments by hand, chains
by closing a table of neighbours (Warshall 1962, from memory), lengths by stepping along the line."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from habitatlint.check import Report
from habitatlint.language.blocks import Pocket
from habitatlint.measures.leading import leads
from habitatlint.measures.travel import inside, onward
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.units import YARD

ReportOf = Callable[..., Report]
Points = npt.NDArray[np.float64]


def from_segment(point: Points, start: Points, end: Points) -> float:
    run = end - start
    share = min(1.0, max(0.0, float((point - start) @ run / (run @ run))))
    return float(np.hypot(*(start + share * run - point)))


def turn(a: Points, b: Points, c: Points) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def apart(first: Points, second: Points) -> float:
    """Distance of two segments (2, 2): 0 where they cross, else from an end of one to the other."""
    (a, b), (c, d) = first, second
    if turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0:
        return 0.0
    return min(from_segment(a, c, d), from_segment(b, c, d), from_segment(c, a, b), from_segment(d, a, b))


def sides(corner: Points, size: float) -> list[Points]:
    corners = corner + size * np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]], float)
    return [corners[index : index + 2] for index in range(4)]


def from_square(segment: Points, corner: Points, size: float) -> float:
    within = bool(((segment[0] > corner) & (segment[0] < corner + size)).all())
    return 0.0 if within else min(apart(segment, side) for side in sides(corner, size))


def drawn(points: Points) -> str:
    return " ".join(f"{x:.3f},{y:.3f}" for x, y in points)


@pytest.mark.parametrize("seed", range(8))
def test_chains_lead_where_a_table_of_neighbours_says(report_of: ReportOf, seed: int) -> None:
    chance = np.random.default_rng(seed)
    gap, size = 20.0, 30.0
    starts = chance.uniform(0, 220, (14, 2))
    lines = np.round(np.stack([starts, starts + chance.uniform(-90, 90, (14, 2))], axis=1), 3)
    pockets = np.round(chance.uniform(0, 220, (8, 2)), 3)
    foods = np.round(chance.uniform(0, 220, (2, 2)), 3)
    text = "".join(f"path p{i}\n  use travel\n  line {drawn(line)}\n" for i, line in enumerate(lines))
    for noun, more, corners in (("pocket", "", pockets), ("food", "  kind mast\n", foods)):
        for i, corner in enumerate(corners):
            outline = np.array([side[0] for side in sides(corner, size)])
            text += f"{noun} {noun}-{i}\n{more}  outline {drawn(outline)}\n"
    near = np.array([[apart(one, other) <= gap for other in lines] for one in lines])
    for middle in range(len(lines)):
        near |= near[:, [middle]] & near[[middle], :]
    begins = np.array([[from_square(line, corner, size) <= gap for line in lines] for corner in pockets])
    ends = np.array([any(from_square(line, corner, size) <= gap for corner in foods) for line in lines])
    expected = [bool((near[mine].any(axis=0) & ends).any()) for mine in begins]
    scene = report_of(text).scene
    assert [leads(scene, pocket, gap * YARD) for pocket in scene.plan.of(Pocket)] == expected


def test_both_answers_come_up_among_those_layouts(report_of: ReportOf) -> None:
    text = "path run\n  use travel\n  line 0,0 100,0\nfood acorns\n  kind mast\n  outline 110,-5 130,-5 130,15 110,15\n"
    squares = {"near": 15, "far": 25}
    text += "".join(f"pocket {n}\n  outline 0,{y} 30,{y} 30,{y + 30} 0,{y + 30}\n" for n, y in squares.items())
    scene = report_of(text).scene
    assert [leads(scene, pocket, 20 * YARD) for pocket in scene.plan.of(Pocket)] == [True, False]


@pytest.mark.parametrize("seed", range(12))
def test_what_runs_in_food_and_on_past_it_is_what_stepping_along_finds(report_of: ReportOf, seed: int) -> None:
    chance = np.random.default_rng(100 + seed)
    low, high = np.array([40.0, 0.0]), np.array([80.0, 30.0])
    through = chance.uniform(low + 3, high - 3)  # the line bends in the food, so that it surely meets it
    line = np.round(np.array([through - chance.uniform(30, 90, 2), through, through + chance.uniform(30, 90, 2)]), 3)
    legs = np.hypot(*np.diff(line, axis=0).T)
    at = np.arange(0, legs.sum(), 0.005)
    along = np.concatenate([[0.0], np.cumsum(legs)])
    steps = np.stack([np.interp(at, along, line[:, axis]) for axis in (0, 1)], axis=1)
    within = ((steps >= low) & (steps <= high)).all(axis=1)
    food = "food clover\n  outline 40,0 80,0 80,30 40,30\n"
    scene = report_of(f"path run\n  use travel\n  line {drawn(line)}\n" + food).scene
    path, clover = Rows("paths", np.array([0])), Rows("foods", np.array([0]))
    lengths = []
    for found in (inside(scene, path, clover), onward(scene, path, clover)):
        assert not isinstance(found, Measured)
        lengths.append(float(found.values[0]) / YARD)
    assert lengths[0] == pytest.approx(within.sum() * 0.005, abs=0.02)
    assert lengths[1] == pytest.approx(min(at[within][0], legs.sum() - at[within][-1]), abs=0.02)
