"""The core of a property against exact geometry (Euclid): the circle inscribed in a rectangle has half its shorter
side for radius, that in a right triangle (a + b - c) / 2, and what lies d in from the sides of a triangle is the
triangle shrunk by 1 - d / r."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.measures.core import core_ground, core_pockets
from habitatlint.units import YARD

ReportOf = Callable[..., Report]


def boundary(*corners: tuple[float, float]) -> str:
    return "boundary\n  outline " + " ".join(f"{x},{y}" for x, y in corners) + "\n"


def core_area(report: Report) -> float:
    core = core_ground(report.scene)
    assert core is not None
    return float(core.area / YARD**2)


@pytest.mark.parametrize(("wide", "high"), [(1000, 600), (440, 880), (500, 500)])
def test_the_core_of_a_rectangle_lies_a_quarter_of_its_shorter_side_in(
    report_of: ReportOf, wide: float, high: float
) -> None:
    depth = max(min(wide, high) / 4, 100)  # half the inscribed radius; 100 yd at least
    report = report_of(boundary((0, 0), (wide, 0), (wide, high), (0, high)))
    # the circle is found to 0.1 m: that much of the core's outline is open
    assert core_area(report) == pytest.approx((wide - 2 * depth) * (high - 2 * depth), abs=0.1 * 2 * (wide + high))


@pytest.mark.parametrize(("a", "b"), [(900, 1200), (1000, 2400), (1500, 800)])
def test_the_core_of_a_right_triangle_is_the_triangle_halved(report_of: ReportOf, a: float, b: float) -> None:
    radius = (a + b - math.hypot(a, b)) / 2
    depth = max(radius / 2, 100)
    report = report_of(boundary((0, 0), (a, 0), (0, b)))
    exact = a * b / 2 * (1 - depth / radius) ** 2
    assert core_area(report) == pytest.approx(exact, abs=0.1 * (a + b + math.hypot(a, b)))


@pytest.mark.parametrize("off", [-2.0, 2.0])
def test_a_pocket_is_core_from_half_the_way_in(report_of: ReportOf, off: float) -> None:
    a, b = 900.0, 1200.0
    depth = (a + b - math.hypot(a, b)) / 4  # 150 yd
    x, y = depth + off, 400.0  # the nearest side is the one along x = 0
    corners = " ".join(f"{x + east},{y + north}" for east, north in ((-5, -5), (5, -5), (5, 5), (-5, 5)))
    report = report_of(boundary((0, 0), (a, 0), (0, b)) + f"pocket k\n  outline {corners}\n")
    assert core_pockets(report.scene) == [off > 0]
