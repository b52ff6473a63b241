"""Cuts round a stem, by a published rule.

Source: Penn State Extension, *Using Hack-and-Squirt Herbicide Applications to Control Unwanted Trees*, read
in a mirror: cuts "evenly spaced around the stem, one per inch of diameter (two cuts minimum)",
"approximately 2 inches long and spaced 1 to 2 inches apart".
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from habitatlint.measures.herbicide import hacks
from habitatlint.units import INCH


@pytest.mark.parametrize(("inches", "cuts"), [(9.0, 9), (1.4, 2), (0.8, 2), (2.0, 2), (3.0, 3), (12.0, 12)])
def test_one_cut_an_inch_and_two_at_least(inches: float, cuts: int) -> None:
    assert hacks(np.array([inches * INCH]))[0] == cuts


@pytest.mark.parametrize("inches", range(2, 25))
def test_cuts_two_inches_long_leave_gaps_that_the_source_allows(inches: int) -> None:
    # a stem is 3.14 in round for each inch of diameter: a cut of 2 in and a gap of 1.14
    cuts = hacks(np.array([inches * INCH]))[0]
    gap = math.pi * inches / cuts - 2.0
    assert gap == pytest.approx(1.14, abs=0.005)
    assert 1.0 <= gap <= 2.0


def test_a_part_of_an_inch_counts_as_a_whole_one_and_unknown_stays_unknown() -> None:
    # common practice, no source: the bulletin speaks of whole inches
    assert list(hacks(np.array([8.1, 8.9]) * INCH)) == [9, 9]
    assert np.isnan(hacks(np.array([np.nan]))[0])
