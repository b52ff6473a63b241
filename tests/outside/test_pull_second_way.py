"""The way from food to cover worked out a second way: known answers of straight ways and of a way bent like light
at a line of travel (Snell's law, from memory), and a plain Dijkstra (1959, from memory) over every pair of places that
see each other, crossings of segments by hand."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from habitatlint.check import Report
from habitatlint.measures.pull import EASY, OPEN, _Ground
from habitatlint.units import YARD

ReportOf = Callable[..., Report]
Points = npt.NDArray[np.float64]

SQUARE = "boundary\n  outline 0,0 600,0 600,600 0,600\n"
#: a food and pockets so small that they are points: 0.2 yd across
HALF = 0.1


def outline(x: float, y: float, half: float = HALF) -> str:
    return " ".join(f"{x + dx * half:.4f},{y + dy * half:.4f}" for dx, dy in ((-1, -1), (1, -1), (1, 1), (-1, 1)))


def food(x: float, y: float) -> str:
    return f"food clover\n  outline {outline(x, y)}\n"


def pocket(name: str, x: float, y: float) -> str:
    return f"pocket {name}\n  outline {outline(x, y)}\n"


def line(noun: str, name: str, more: str, points: Points) -> str:
    return f"{noun} {name}\n  {more}\n  line " + " ".join(f"{x:.4f},{y:.4f}" for x, y in points) + "\n"


def found(report: Report) -> tuple[str, float, float, float]:
    """The cheapest way from the food: to which pocket, its cost, its length and how much lies in the core, in yards.
    Asked of the raster even where a straight way is plain."""
    ground = _Ground(report.scene)
    clover = ground.fields[0]
    way = min(ground.raster.ways(clover, 1.05, math.inf), key=lambda one: one.rank)
    names = [block.name for block in report.scene.blocks_of("pockets")]
    name = names[int(ground.pocket_rows[way.pocket])]
    return name, way.cost / YARD, way.line.length / YARD, way.in_core / YARD


@pytest.mark.parametrize("degrees", range(0, 360, 24))
def test_a_way_over_free_ground_is_straight_in_every_direction(report_of: ReportOf, degrees: float) -> None:
    far = 210.0
    x, y = 300 + far * math.cos(math.radians(degrees)), 300 + far * math.sin(math.radians(degrees))
    name, cost, length, in_core = found(report_of(SQUARE + food(300, 300) + pocket("k", x, y)))
    assert name == "k" and cost == pytest.approx(far, abs=0.3) and length == pytest.approx(cost)
    # the core is the square 150 yd in: a straight way leaves it where it comes to its side
    out = 150 / max(abs(math.cos(math.radians(degrees))), abs(math.sin(math.radians(degrees))))
    assert in_core == pytest.approx(min(far, out) - HALF, abs=0.3)


@pytest.mark.parametrize("off", [10.0, 20.0, 35.0])
@pytest.mark.parametrize("turn", [0.0, 17.0, 63.0])
def test_a_way_bends_at_a_line_of_travel_as_light_does(report_of: ReportOf, off: float, turn: float) -> None:
    """It meets the line at the angle whose cosine is what the line costs: 60 degrees for half."""
    along = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
    aside = np.array([-along[1], along[0]])
    middle, apart = np.array([300.0, 300.0]), 240.0
    start, end = middle - along * apart / 2 + aside * off, middle + along * apart / 2 + aside * off
    run = np.array([middle - along * 150, middle + along * 150])
    plan = SQUARE + food(*start) + pocket("k", *end) + line("path", "run", "use travel", run)
    _, cost, length, _ = found(report_of(plan))
    # by Snell: a length of h / sin 60 on either side, and what is left of the line between
    sine = math.sqrt(1 - EASY**2)
    known = EASY * apart + 2 * off * sine
    assert known <= cost + 0.3 and cost == pytest.approx(known, rel=0.01)
    assert length == pytest.approx(2 * off / sine + apart - 2 * off * EASY / sine, rel=0.03)


def test_a_field_is_walked_around_where_that_is_cheaper(report_of: ReportOf) -> None:
    beans = "food beans\n  kind crop\n  outline {w},{s} {e},{s} {e},{n} {w},{n}\n"
    ends = food(300, 200) + pocket("k", 300, 400)
    # a strip 20 yd deep and very wide is walked through: it costs as much again as it is deep
    wide = SQUARE + ends + beans.format(w=10, e=590, s=290, n=310)
    _, cost, length, _ = found(report_of(wide))
    assert length == pytest.approx(200, abs=0.5) and cost == pytest.approx(200 + 20 * (OPEN - 1), rel=0.01)
    # a block 100 yd deep and 60 wide: round its corners is shorter than through
    block = SQUARE + ends + beans.format(w=270, e=330, s=250, n=350)
    _, cost, length, _ = found(report_of(block))
    around = 2 * math.hypot(30, 50) + 100
    assert length == pytest.approx(around, rel=0.03) and cost == pytest.approx(around, rel=0.03)


# -- a plain Dijkstra over every pair of places that see each other --------------------------------------


def turns(a: Points, b: Points, c: Points) -> Points:
    return (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])


def seen(one: Points, two: Points, walls: list[Points]) -> npt.NDArray[np.bool_]:
    """Whether places (n, 2) and (n, 2) see each other past walls of single segments."""
    clear = np.ones(len(one), bool)
    for c, d in walls:
        crosses = (turns(one, two, c) * turns(one, two, d) < 0) & (turns(c, d, one) * turns(c, d, two) < 0)
        clear &= ~crosses
    return clear


def least(start: Points, ends: Points, runs: list[Points], walls: list[Points]) -> Points:
    """The least cost from a place to each of several: a step every 2 yd of a line of travel, and the ends of walls."""
    steps = [p + np.linspace(0, 1, int(np.hypot(*(q - p)) / 2) + 2)[:, None] * (q - p) for p, q in runs]
    corners = [wall + (wall - wall[::-1]) / np.hypot(*(wall[1] - wall[0])) * 1e-6 for wall in walls]
    places = np.concatenate([[start], ends, *steps, *corners])
    number = len(places)
    one, two = np.divmod(np.arange(number * number), number)
    costs = np.hypot(*(places[one] - places[two]).T)
    costs[~seen(places[one], places[two], walls)] = math.inf
    table = costs.reshape(number, number)
    first = 1 + len(ends)
    for step in steps:
        at = np.arange(first, first + len(step) - 1)
        ride = EASY * np.hypot(*(step[1:] - step[:-1]).T)
        table[at, at + 1] = table[at + 1, at] = ride  # a line of travel leads through walls
        first += len(step)
    best, done = np.full(number, math.inf), np.zeros(number, bool)
    best[0] = 0.0
    for _ in range(number):
        here = int(np.argmin(np.where(done, math.inf, best)))
        done[here] = True
        best = np.minimum(best, best[here] + table[here])
    return best[1 : 1 + len(ends)]


@pytest.mark.parametrize("seed", range(14))
def test_the_cheapest_way_is_what_a_plain_search_finds(report_of: ReportOf, seed: int) -> None:
    chance = np.random.default_rng(seed)
    start, ends = chance.uniform(150, 450, 2), chance.uniform(60, 540, (4, 2))
    runs = [chance.uniform(60, 540, (2, 2)) for _ in range(seed % 3)]
    walls = [chance.uniform(60, 540, (2, 2)) for _ in range(seed // 3 % 4)]
    plan = SQUARE + food(*start) + "".join(pocket(f"k{number}", *end) for number, end in enumerate(ends))
    plan += "".join(line("path", f"run-{number}", "use travel", run) for number, run in enumerate(runs))
    plan += "".join(
        line("hazard", f"wall-{number}", "kind fence\n  barrier yes", wall) for number, wall in enumerate(walls)
    )
    costs = least(start, ends, runs, walls)
    name, cost, _, _ = found(report_of(plan))
    assert cost == pytest.approx(costs.min(), rel=0.02, abs=1.0)
    assert costs[int(name.removeprefix("k"))] <= costs.min() * 1.02 + 1
