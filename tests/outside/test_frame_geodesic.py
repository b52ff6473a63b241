"""The flat frame against the geodesic, and declinations against the model's own test values."""

import datetime
import math

import numpy as np
import pytest
from pyproj import Geod

from habitatlint.ground.frame import Frame, declination
from habitatlint.ground.survey import walk

#: geodesics by the algorithms of J. Geodesy 87:43-55 (2013), as in pyproj
GEOD = Geod(ellps="WGS84")
ANCHORS = [(43.712, -90.621), (25.0, -81.0), (60.0, -150.0), (-35.0, 140.0)]


@pytest.mark.parametrize("anchor", ANCHORS)
def test_bearing_and_distance_from_the_anchor_are_the_geodesic_s(anchor: tuple[float, float]) -> None:
    frame = Frame(*anchor)
    for bearing in range(0, 360, 15):
        for distance in (10.0, 500.0, 3000.0):
            east, north = walk((0.0, 0.0), [(bearing, distance)])[-1]
            latitude, longitude = frame.to_earth(float(east), float(north))
            azimuth, _, length = GEOD.inv(anchor[1], anchor[0], longitude, latitude)
            # exact from the anchor, by the projection's definition; 1 in 10^6 would not tell it from others
            assert length == pytest.approx(distance, abs=1e-6)
            assert math.remainder(azimuth - bearing, 360) == pytest.approx(0, abs=1e-5)


@pytest.mark.parametrize("anchor", ANCHORS)
def test_distances_within_three_kilometres_agree_to_one_part_in_a_million(
    anchor: tuple[float, float],
) -> None:
    number = np.random.default_rng(20)
    # both within 3 km of the anchor, up to 6 km apart
    far, turned = 3000 * np.sqrt(number.uniform(0, 1, (2, 500))), number.uniform(0, 2 * np.pi, (2, 500))
    x, y = far * np.sin(turned), far * np.cos(turned)
    latitude, longitude = Frame(*anchor).to_earth(x, y)
    _, _, length = GEOD.inv(longitude[0], latitude[0], longitude[1], latitude[1])
    flat = np.hypot(x[1] - x[0], y[1] - y[0])
    assert np.abs(flat / length - 1).max() < 1e-6


@pytest.mark.parametrize("anchor", ANCHORS)
def test_small_steps_agree_with_the_radii_of_curvature(anchor: tuple[float, float]) -> None:
    # WGS 84 half-axis and flattening, and the textbook radii of curvature: from memory
    a, f = 6_378_137.0, 1 / 298.257223563
    square = f * (2 - f)
    sine = math.sin(math.radians(anchor[0]))
    prime = a / math.sqrt(1 - square * sine**2)
    meridian = a * (1 - square) / (1 - square * sine**2) ** 1.5
    step = 1e-4  # degrees, some 10 m
    x, y = Frame(*anchor).to_local(anchor[0] + step, anchor[1] + step)
    assert y == pytest.approx(meridian * math.radians(step), rel=1e-5)
    assert x == pytest.approx(prime * math.cos(math.radians(anchor[0])) * math.radians(step), rel=1e-5)


# NOAA NCEI / BGS, WMM2025_TEST_VALUES.txt, at 0 km: latitude, longitude, declination
@pytest.mark.parametrize(
    ("latitude", "longitude", "in_2025", "in_mid_2027"),
    [(80, 0, 1.28, 2.59), (0, 120, -0.16, -0.24), (-80, 240, 68.78, 68.49)],
)
def test_declination_is_that_of_the_model_s_test_values(
    latitude: float, longitude: float, in_2025: float, in_mid_2027: float
) -> None:
    longitude = longitude - 360 if longitude > 180 else longitude
    assert declination(latitude, longitude, datetime.date(2025, 1, 1)) == pytest.approx(in_2025, abs=0.0051)
    # 2027.5 is noon of 2 July; a day is worth 0.002 degrees at most here
    mid = declination(latitude, longitude, datetime.date(2027, 7, 2))
    assert mid == pytest.approx(in_mid_2027, abs=0.008)
