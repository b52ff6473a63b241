"""Hours of work against the spreads that are published: as wide as they are, and never a target.

Tree injection 0.2 to 0.5 acre an hour (Mississippi State University Extension P3673); crop-tree release in
hardwoods 0.22 to 0.47 ha an hour (Silva Fennica 54(3), 10205, 2020); slash walls 32 to 77 m an hour (Cornell
slash-wall study, abstract).
"""

from __future__ import annotations

import pytest

from habitatlint.measures.rates import CROP_TREE_RELEASE, INJECTION, SLASH_WALL, Rate
from habitatlint.units import ACRE


@pytest.mark.parametrize(
    ("rate", "amount", "least", "most"),
    [
        (INJECTION, 5 * ACRE, 10.0, 25.0),
        (CROP_TREE_RELEASE, 5 * ACRE, 4.31, 9.20),
        (SLASH_WALL, 100.0, 1.30, 3.13),
    ],
)
def test_hours_as_published(rate: Rate, amount: float, least: float, most: float) -> None:
    assert rate.hours(amount) == pytest.approx((least, most), abs=0.01)


def test_no_work_takes_no_time_and_less_is_no_work() -> None:
    assert INJECTION.hours(0) == (0, 0)
    with pytest.raises(ValueError, match="less than nothing"):
        INJECTION.hours(-1)
