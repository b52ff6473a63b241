"""How far one sees through standing stems, against published hiding cover and against stems placed by chance.

Hiding cover: USDA Forest Service, Agriculture Handbook 553 (1979), as quoted in Colorado DRMS file C1981010,
p. 38-39 (read in that second text): 90 percent of a standing deer or elk hidden at 61 m (200 ft) or less; the
least patch that hides is 2 sight distances and 200 ft across. Basal area of a stem: 0.005454154 sq ft times
DBH in inches squared (U. Missouri, Forestry Functions).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from habitatlint.measures.view import let_through, stem_width
from habitatlint.units import ACRE, FOOT, INCH


def sight_distance(width: float, left: float = 0.1) -> float:
    """How far off a share of sight is left, by halving, in metres."""
    near, far = 0.0, 10_000.0
    while far - near > 1e-6:
        middle = (near + far) / 2
        near, far = (middle, far) if let_through(width, middle) > left else (near, middle)
    return near


def patch(sight: float) -> float:
    """The least patch that hides, in feet, by the handbook: two sight distances and 200 ft."""
    return 2 * sight / FOOT + 200


@pytest.mark.parametrize(("sight", "across"), [(200, 600), (50, 300)])
def test_timber_of_a_sight_distance_asks_for_the_handbooks_patch(sight: float, across: float) -> None:
    # as many stems as hide nine parts of ten at that distance
    width = -math.log(0.1) / (sight * FOOT)
    assert patch(sight_distance(width)) == pytest.approx(across, abs=0.01)


def test_ninety_percent_hidden_at_61_metres_takes_the_stems_of_a_thicket() -> None:
    width = math.log(10) / 61
    assert let_through(width, 61) == pytest.approx(0.1)
    assert sight_distance(width) == pytest.approx(61, abs=1e-3)
    # in stems of 4 in that is some 1,500 an acre: pole timber of 8 in at 300 an acre does not come near
    assert width / (4 * INCH) * ACRE == pytest.approx(1504, abs=1)
    poles = stem_width(300 * 0.005454154 * 8**2 * FOOT**2 / ACRE, 8 * INCH)
    assert poles == pytest.approx(300 * 8 * INCH / ACRE, rel=1e-6)
    assert sight_distance(poles) > 2 * 61
    # and it lets 0.3 through as far as half of that
    assert let_through(width, 61 / 2) == pytest.approx(math.sqrt(0.1))


@pytest.mark.parametrize(
    ("stems", "inches", "length"), [(200, 10, 60.0), (600, 6, 40.0), (300, 14, 30.0), (1500, 4, 30.0)]
)
def test_what_stems_placed_by_chance_let_through_is_the_formula(stems: float, inches: float, length: float) -> None:
    """Monte Carlo: stems an acre placed by chance over ground as long as the line and wide enough that each
    line has its own; the share of lines that meet no stem."""
    chance = np.random.default_rng(1979)
    lines, apart, dbh = 6000, 1.0, inches * INCH
    ground = (length + 2 * dbh) * lines * apart
    count = chance.poisson(ground * stems / ACRE)
    trunks = shapely.points(chance.uniform(-dbh, length + dbh, count), chance.uniform(0, lines * apart, count))
    at = (np.arange(lines) + 0.5) * apart
    starts = np.column_stack([np.zeros(lines), at])
    ends = np.column_stack([np.full(lines, length), at])
    sights = shapely.linestrings(np.stack([starts, ends], axis=1))
    met = shapely.STRtree(trunks).query(sights, predicate="dwithin", distance=dbh / 2)[0]
    through = 1 - len(np.unique(met)) / lines
    expected = let_through(stem_width(stems * math.pi * dbh**2 / 4 / ACRE, dbh), length)
    assert 0.05 < expected < 0.95
    # the ends of a line are half-circles of stem more: pi d^2 / 4 N, and three standard errors
    slack = expected * stems / ACRE * math.pi * dbh**2 / 4 + 3 * math.sqrt(expected * (1 - expected) / lines)
    assert through == pytest.approx(expected, abs=slack)
