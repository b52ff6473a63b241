"""Angles, distances, sides and parallels against sympy.geometry, in exact arithmetic."""

import math
from itertools import pairwise
from typing import Literal

import numpy as np
import pytest
import shapely
import sympy
from sympy import Rational
from sympy.geometry import Line, Point, Ray, Segment
from sympy.geometry import Polygon as Figure

from habitatlint.ground.survey import along, angle_between, around, bearing_at, beside, side_of, turn

# steps east and north, and the bearings they run in
STEPS = [(3, 4), (-2, 7), (5, -1), (-6, -6), (1, 0), (0, -1), (8, 3), (-9, 2)]
#: a bent way, and places about it
CORNERS = [(0, 0), (40, 10), (55, 60), (20, 90)]
WAY = shapely.LineString(CORNERS)
PLACES = [(10, 20), (30, -8), (70, 40), (44, 44), (30, 95), (52, 20), (35, 60)]


def bearing_of_step(step: tuple[int, int]) -> float:
    return math.degrees(math.atan2(*step)) % 360


@pytest.mark.parametrize("one", STEPS)
@pytest.mark.parametrize("other", STEPS)
def test_angles_between_lines_and_turns_between_rays(one: tuple[int, int], other: tuple[int, int]) -> None:
    lines = Line(Point(0, 0), Point(*one)), Line(Point(0, 0), Point(*other))
    smallest = math.degrees(float(lines[0].smallest_angle_between(lines[1])))
    b, c = bearing_of_step(one), bearing_of_step(other)
    assert angle_between(b, c) == pytest.approx(smallest, abs=1e-6)
    rays = Ray(Point(0, 0), Point(*one)), Ray(Point(0, 0), Point(*other))
    assert turn(b, c) == pytest.approx(math.degrees(float(rays[0].angle_between(rays[1]))), abs=1e-6)


@pytest.mark.parametrize("step", STEPS)
def test_a_straight_way_s_bearing_is_its_line_s_angle_from_north(step: tuple[int, int]) -> None:
    north = Ray(Point(0, 0), Point(0, 1))
    angle = math.degrees(float(north.angle_between(Ray(Point(0, 0), Point(*step)))))
    expected = 360 - angle if step[0] < 0 else angle
    line = shapely.LineString([(0, 0), (step[0] * 10, step[1] * 10)])
    assert bearing_at(line, np.array([[7.0, 3.0]]))[0] == pytest.approx(expected % 360, abs=1e-9)


@pytest.mark.parametrize("place", PLACES)
def test_the_side_is_the_sign_of_the_triangle_on_the_nearest_leg(place: tuple[float, float]) -> None:
    segments = [Segment(Point(*p), Point(*q)) for p, q in pairwise(CORNERS)]
    point = Point(*place)
    nearest = min(segments, key=lambda segment: segment.distance(point))
    area = Figure(nearest.p1, nearest.p2, point).area  # positive where the corners run anticlockwise
    assert side_of(WAY, np.array([place], dtype=float))[0] == sympy.sign(area)


def test_a_place_along_a_way_is_the_walked_distance_from_its_first_point() -> None:
    # 25 along the second leg from (40, 10) to (55, 60), exactly
    first = Point(*CORNERS[0]).distance(Point(*CORNERS[1]))
    leg = Point(*CORNERS[1]).distance(Point(*CORNERS[2]))
    share = 25 / leg
    exact = Point(40, 10) + (Point(55, 60) - Point(40, 10)) * share
    assert along(WAY, float(first) + 25) == pytest.approx((float(exact.x), float(exact.y)))


@pytest.mark.parametrize(("side", "turned"), [("left", 1), ("right", -1)])
def test_corners_of_a_parallel_are_where_the_legs_parallels_meet(side: Literal["left", "right"], turned: int) -> None:
    offset = Rational(6)
    shifted = []
    for p, q in pairwise(CORNERS):
        step = Point(*q) - Point(*p)
        normal = Point(-step.y, step.x) * (turned * offset / step.distance(Point(0, 0)))
        shifted.append(Line(Point(*p) + normal, Point(*q) + normal))
    expected = [shifted[0].p1]
    expected += [one.intersection(other)[0] for one, other in pairwise(shifted)]
    expected += [shifted[-1].p2]
    parallel = shapely.get_coordinates(beside(WAY, side, 6.0))
    exact = np.array([[float(point.x), float(point.y)] for point in expected])
    assert parallel == pytest.approx(exact, abs=1e-6)


def test_a_grown_outline_lies_at_its_distance_from_the_old_one() -> None:
    corners = [(0, 0), (40, 5), (35, 50), (-10, 30)]
    figure = Figure(*(Point(*corner) for corner in corners))
    grown = around(shapely.Polygon(corners), 10.0)
    for x, y in shapely.get_coordinates(grown)[:-1:4]:
        distance = float(figure.distance(Point(Rational(float(x)), Rational(float(y)))))
        assert distance == pytest.approx(10, abs=1e-6)
