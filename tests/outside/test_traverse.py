"""Compass traverses against worked examples of surveying texts.

G1 to G3 and G5: open-access surveying text of a US university instructor
(retired), jerrymahun.com, traverse computations chapters F and I, and COGO
chapter H. G4: lecture sheet, scribd 493615208. Feet throughout.
"""

import math

import numpy as np
import pytest
from shapely import Polygon

from habitatlint.ground.survey import Closure, close, walk
from habitatlint.units import FOOT


def bearing(north: str, degrees: float, minutes: float, seconds: float, east: str) -> float:
    angle = degrees + minutes / 60 + seconds / 3600
    if north == "S":
        angle = 180 - angle
    return angle if east == "E" else 360 - angle


# A = 500.000 N, 2000.000 E; AB, BC, CD, DA
FIRST = [
    (bearing("S", 68, 5, 35, "W"), 472.68),
    (bearing("N", 19, 46, 0, "W"), 216.13),
    (bearing("N", 45, 55, 20, "E"), 276.52),
    (bearing("S", 54, 59, 15, "E"), 382.24),
]
SECOND = [
    (bearing("N", 76, 0, 0, "E"), 80.40),
    (bearing("S", 36, 0, 0, "E"), 46.30),
    (bearing("S", 61, 0, 0, "W"), 72.80),
    (bearing("N", 38, 0, 0, "W"), 68.00),
]


def closure(start: tuple[float, float], legs: list[tuple[float, float]]) -> Closure:
    feet = walk((start[0] * FOOT, start[1] * FOOT), [(angle, length * FOOT) for angle, length in legs])
    return close(feet)


def test_first_traverse_sums_and_precision_as_printed() -> None:
    closed = closure((2000, 500), FIRST)
    assert closed.perimeter / FOOT == pytest.approx(1347.57, abs=0.005)
    # printed to three places as +0.083 and +0.075; the sums of exact latitudes and departures
    assert closed.dy / FOOT == pytest.approx(0.083, abs=0.001)
    assert closed.dx / FOOT == pytest.approx(0.075, abs=0.001)
    assert closed.misclosure / FOOT == pytest.approx(0.111, abs=0.002)
    # worked from the exact sums, 1 : 12,116; the misclosure's last printed digit is worth 1%
    assert closed.precision == pytest.approx(12_116, rel=0.001)


def test_first_traverse_adjusted_latitudes_and_departures_as_printed() -> None:
    corners = closure((2000, 500), FIRST).points / FOOT
    steps = np.diff(np.vstack([corners, corners[:1]]), axis=0)
    printed = [
        (-176.386, -438.574),
        (203.382, -73.105),
        (192.340, 198.635),
        (-219.336, 313.044),
    ]
    for (east, north), (latitude, departure) in zip(steps, printed, strict=True):
        assert (north, east) == pytest.approx((latitude, departure), abs=0.002)


def test_first_traverse_adjusted_corners_and_area() -> None:
    corners = closure((2000, 500), FIRST).points / FOOT
    expected = [(500.000, 2000.000), (323.614, 1561.426), (526.996, 1488.321), (719.336, 1686.956)]
    for (east, north), (y, x) in zip(corners, expected, strict=True):
        assert (north, east) == pytest.approx((y, x), abs=0.002)
    area = Polygon(corners).area
    assert area == pytest.approx(102_936, abs=5)
    assert area / 43_560 == pytest.approx(2.3631, abs=0.0005)


def test_first_traverse_line_across_from_a_to_c() -> None:
    corners = closure((2000, 500), FIRST).points / FOOT
    east, north = corners[2] - corners[0]
    assert math.hypot(east, north) == pytest.approx(512.39, abs=0.005)
    # N86d58'48"W
    assert math.degrees(math.atan2(-east, north)) == pytest.approx(86 + 58 / 60 + 48 / 3600, abs=0.0003)
    # and walked by that bearing and distance it comes back to C
    again = walk(tuple(corners[0]), [(bearing("N", 86, 58, 48, "W"), 512.39)])[-1]
    assert again == pytest.approx(corners[2], abs=0.005)


def test_second_traverse_closure_and_first_leg() -> None:
    closed = closure((0, 0), SECOND)
    # printed CL 0.285 and CD -0.311 from rounded lines; the exact sums are 0.2836 and -0.3111
    assert closed.dy / FOOT == pytest.approx(0.285, abs=0.002)
    assert closed.dx / FOOT == pytest.approx(-0.311, abs=0.002)
    east, north = (closed.points[1] - closed.points[0]) / FOOT
    assert (north, east) == pytest.approx((19.3653, 78.1055), abs=0.001)


def test_area_of_a_lot_walked_from_corner_to_corner() -> None:
    # north, east; C, D, E, A, B
    lot = [(406.31, 1259.97), (235.12, 1489.47), (65.81, 1126.40), (317.89, 942.04), (675.32, 1282.54)]
    legs = []
    for (north, east), (next_north, next_east) in zip(lot, [*lot[1:], lot[0]], strict=True):
        rise, run = next_north - north, next_east - east
        legs.append((math.degrees(math.atan2(run, rise)), math.hypot(run, rise)))
    closed = closure((lot[0][1], lot[0][0]), legs)
    assert closed.misclosure < 1e-9
    # the printed sums of cross products; another copy misprints one product
    assert Polygon(closed.points / FOOT).area == pytest.approx((2_190_612 - 1_909_624) / 2, abs=1)
    assert Polygon(closed.points / FOOT).area / 43_560 == pytest.approx(3.2253, abs=0.0001)
