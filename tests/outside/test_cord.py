"""The cord: 128 cubic feet of wood "ranked and well stowed" (NIST Handbook 130, 2.4.1, as state agencies quote it)."""

from __future__ import annotations

import pytest

from habitatlint.measures.volume import cords
from habitatlint.units import FOOT


@pytest.mark.parametrize("stack", [(4, 4, 8), (24, 4, 16 / 12)])
def test_a_stack_of_128_cubic_feet_is_one_cord(stack: tuple[float, float, float]) -> None:
    long, wide, high = stack
    assert cords(long * wide * high * FOOT**3) == pytest.approx(1.0, abs=0.0005)


def test_a_cord_in_cubic_metres() -> None:
    # 128 cubic feet of 0.3048 m, worked out apart: 3.6246 cubic metres
    assert cords(3.6246) == pytest.approx(1.0, abs=1e-4)
