"""Shade by expectation against simulation: tops thrown at random, and points counted under them.

The expectation (Poisson's: 1 - exp(-n a) under one or more, 1 - (1 + n a) exp(-n a) under two or more) is
held to what comes of throwing the tops themselves, by a count of points that shares no code with it.
"""

from __future__ import annotations

import numpy as np
import pytest

from habitatlint.measures.cover import expected


@pytest.mark.parametrize("mean", [0.1, 0.4, 1.05, 2.0])
def test_thrown_tops_cover_what_is_expected(mean: float) -> None:
    random = np.random.default_rng(int(mean * 100))
    long, wide, side = 6.0, 2.5, 500.0
    number = random.poisson(mean / (np.pi * long * wide) * side**2)
    middles, turned = random.uniform(0, side, (number, 2)), random.uniform(0, np.pi, number)
    points = random.uniform(20, side - 20, (6000, 2))
    over = np.zeros(len(points), int)
    for middle, turn in zip(middles, turned, strict=True):
        away = points - middle
        along = away @ [np.cos(turn), np.sin(turn)]
        aside = away @ [-np.sin(turn), np.cos(turn)]
        over += (along / long) ** 2 + (aside / wide) ** 2 <= 1
    one, two = expected(mean)
    assert np.mean(over >= 1) == pytest.approx(one, abs=0.03)
    assert np.mean(over >= 2) == pytest.approx(two, abs=0.03)
