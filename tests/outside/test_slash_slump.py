"""How long a screen of tops stands, by the nearest thing that was measured.

Source: the Cornell study of slash walls (abstract): walls of 3.1 m slump 37 cm a year, 8 to 14%. A screen
of tops is no slash wall: this is an analogue, and the rule says so. That a screen is opaque while 4 ft high
is common practice, no source.
"""

from __future__ import annotations

import pytest

from habitatlint.review import Review
from habitatlint.units import FOOT, UNITS

SLUMP = 0.37
OPAQUE = 4 * FOOT


def stands(years: float) -> float:
    """Height in metres of a wall that was 10 ft high."""
    return 10 * FOOT - SLUMP * years


def test_after_three_years_a_ten_foot_wall_stands_under_two_metres() -> None:
    assert stands(3) == pytest.approx(1.94, abs=0.005)


def test_screens_are_due_in_the_first_year_in_which_such_a_wall_can_be_seen_over(review: Review) -> None:
    (rule,) = [rule for rule in review.rulebook.rules if rule.slug == "upkeep-due"]
    limit = rule.limits["screens"]
    years = float(str(limit.value)) / UNITS["years"][1]
    assert stands(years) < OPAQUE <= stands(years - 1)
    assert limit.evidence == "analogue" and "37 cm" in limit.source
