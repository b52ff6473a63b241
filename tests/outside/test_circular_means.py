"""Means of directions against worked examples and a second library.

Source: Zar, Biostatistical Analysis (2010), examples 26.4 and 26.5, as carried in the tests of pycircstat2; to more
figures computed from the same data. The second library is scipy (circmean, and circvar for the length).
"""

from __future__ import annotations

import numpy as np
import pytest
from real_parts import library

from habitatlint.measures.winds import mean_direction

SINGLE = (45, 55, 81, 96, 110, 117, 132, 154)
CENTRES = tuple(range(15, 360, 30))
COUNTS = (0, 6, 9, 13, 15, 22, 17, 12, 8, 3, 0, 0)


def test_eight_directions_one_by_one() -> None:
    found = mean_direction(SINGLE)
    assert found.bearing == pytest.approx(99, abs=0.05)  # the book's figures
    assert found.bearing == pytest.approx(98.988, abs=0.0005)
    assert found.steadiness == pytest.approx(0.82522, abs=1e-5)


def test_a_hundred_and_five_directions_in_classes() -> None:
    assert sum(COUNTS) == 105
    found = mean_direction(CENTRES, COUNTS)
    assert found.bearing == pytest.approx(162, abs=0.5)  # the book rounds to a degree
    assert found.bearing == pytest.approx(161.565, abs=0.0005)
    assert found.steadiness == pytest.approx(0.550635, abs=1e-6)
    corrected = mean_direction(CENTRES, COUNTS, 30)
    assert corrected.bearing == found.bearing
    assert corrected.steadiness / found.steadiness == pytest.approx(1.01152, abs=5e-6)
    assert corrected.steadiness == pytest.approx(0.55698, abs=1e-5)


@pytest.mark.parametrize("seed", range(6))
def test_scipy_says_the_same(seed: int) -> None:
    stats = library("scipy.stats")
    chance = np.random.default_rng(seed)
    bearings = (chance.uniform(0, 360) + chance.normal(0, 40, 30)) % 360
    found = mean_direction(bearings)
    turn = (found.bearing - stats.circmean(bearings, high=360, low=0) + 180) % 360 - 180
    assert turn == pytest.approx(0, abs=1e-9)
    assert 1 - found.steadiness == pytest.approx(stats.circvar(bearings, high=360, low=0), abs=1e-9)
    counts = chance.integers(1, 5, 30)
    repeated = mean_direction(np.repeat(bearings, counts))
    weighted = mean_direction(bearings, counts)
    assert weighted.bearing == pytest.approx(repeated.bearing, abs=1e-9)
    assert weighted.steadiness == pytest.approx(repeated.steadiness, abs=1e-12)
