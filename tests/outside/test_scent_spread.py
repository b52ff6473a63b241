"""The spread of scent against published figures.

Sources: Briggs (1973), open country, doi 10.2172/5118833: sigma_y = 0.08 x / sqrt(1 + 0.0001 x) in class D, stated
for about 100 m to 10 km (the range from memory). The figure at 1.2 m is a test value of GasDispersion.jl, which
computes the same curve. Pasquill-Gifford, another fit to the trials: Fundamentals of Air Pollution, 3rd edition,
sigma_y = 465.116 x tan T with T = 8.3333 - 0.72382 ln x degrees in class D, x in km; 184.6 m at 3 km.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.geometry import Point

from habitatlint.measures.scent import EDGE, REACH, plume, spread


@pytest.mark.parametrize(("distance", "sigma"), [(100, 7.96), (200, 15.84), (500, 39.04)])
def test_the_spread_is_that_of_the_briggs_table(distance: float, sigma: float) -> None:
    assert float(spread(distance)) == pytest.approx(sigma, abs=0.005)


def test_the_spread_is_another_programs_to_ten_figures() -> None:
    assert float(spread(1.2)) == pytest.approx(0.0959942405, abs=5e-11)


def gifford(kilometres: float) -> float:
    angle = 8.3333 - 0.72382 * math.log(kilometres)
    return 465.116 * kilometres * math.tan(math.radians(angle))


def test_another_fit_to_the_same_trials_gives_nearly_the_same() -> None:
    assert gifford(3) == pytest.approx(184.6, abs=0.05)  # the formula as it is printed there
    for distance in (100, 150, 200, 300, 500):
        assert float(spread(distance)) == pytest.approx(gifford(distance / 1000), rel=0.1)


@pytest.mark.parametrize("wind", [0, 22.5, 135, 300])
def test_a_plume_is_as_wide_as_its_spread_or_its_sector_where_that_is_wider(wind: float) -> None:
    ground = plume(10, 20, wind)
    toward = math.radians(wind + 180)
    ahead = np.array([math.sin(toward), math.cos(toward)])
    aside = np.array([ahead[1], -ahead[0]])
    for distance in np.linspace(5, REACH - 1, 12):
        half = max(EDGE * float(spread(distance)), distance * math.tan(math.radians(11.25)))
        for sign in (-1, 1):
            inner, outer = (
                Point(np.array([10, 20]) + distance * ahead + sign * half * share * aside) for share in (0.99, 1.01)
            )
            assert ground.covers(inner) and not ground.covers(outer)
