"""How far a cut tree reaches, by trigonometry worked by hand and by turning the stem bit by bit."""

import math

import numpy as np
import pytest
import shapely

from habitatlint.ground.trees import reach, stem_height_at, stems, tops
from habitatlint.units import FOOT


# The stem above the cut is the long side of a right triangle, the stump's height
# one short side, the reach along the ground the other (the theorem of Pythagoras).
@pytest.mark.parametrize(
    ("height", "cut", "expected"),
    [
        (8.0, 3.0, 4.0),  # 5 of stem over a stump of 3: 3-4-5
        (18.0, 5.0, 12.0),  # 13 of stem over a stump of 5: 5-12-13
        (25.0, 8.0, 15.0),  # 17 of stem over a stump of 8: 8-15-17
        (50 * FOOT, 3 * FOOT, 46.904 * FOOT),  # 47^2 - 3^2 = 2209 - 9 = 2200, its root 46.904
        (60 * FOOT, 4 * FOOT, 55.857 * FOOT),  # 56^2 - 4^2 = 3136 - 16 = 3120, its root 55.857
    ],
)
def test_reach_is_the_third_side_of_the_triangle(height: float, cut: float, expected: float) -> None:
    assert float(reach(height, cut)) == pytest.approx(expected, abs=0.0005 * FOOT)


def pivoted(height: float, cut: float) -> tuple[float, float]:
    """Turn the stem about its cut until its tip is on the ground: (reach, angle off upright)."""
    stem = height - cut
    upright, down = 0.0, math.pi
    for _ in range(200):
        middle = (upright + down) / 2
        if cut + stem * math.cos(middle) > 0:
            upright = middle
        else:
            down = middle
    return stem * math.sin(upright), upright


@pytest.mark.parametrize("height", [5.0, 12.0, 18.3, 30.0])
@pytest.mark.parametrize("share", [0.02, 0.05, 0.1, 0.25, 0.45])
def test_reach_is_where_the_turning_tip_comes_to_the_ground(height: float, share: float) -> None:
    cut = share * height
    far, angle = pivoted(height, cut)
    assert float(reach(height, cut)) == pytest.approx(far, rel=1e-9)
    # and the stem, followed from the pivot, is as high as is told at each place along it
    for part in np.linspace(0, height - cut, 9):
        along_ground, high = part * math.sin(angle), cut + part * math.cos(angle)
        assert float(stem_height_at(along_ground, cut, far)) == pytest.approx(high, abs=1e-9)


def test_a_tip_that_cannot_come_down_has_no_reach() -> None:
    # 3 m of stem over a stump of 4 m: hanging straight down, the tip is still 1 m up
    assert min(4.0 + 3.0 * math.cos(angle) for angle in np.linspace(0, math.pi, 181)) > 0
    assert reach(7.0, 4.0) == 0


def test_tip_and_crown_of_a_tree_fallen_north_east_worked_by_hand() -> None:
    # height 18, cut 5: reach 12 (5-12-13). Bearing 30 degrees from (100, 200): the tip lies at
    # 100 + 12 x 1/2 = 106 east, 200 + 12 x 0.8660254 = 210.3923048 north. With a crown of a third
    # of the height the top is 6 long: its lower end is 6 from the stump, at 103 east, 205.1961524
    # north. At its middle, 9 out (104.5, 207.7942286), it is 4 wide: 2 to the right, bearing 120
    # degrees, is 106.2320508, 206.7942286.
    far = reach(18.0, 5.0)
    top = tops(100.0, 200.0, 30.0, far, 18.0, 1 / 3, 4.0)[0]
    tip = shapely.get_coordinates(stems(100.0, 200.0, 30.0, far)[0])[-1]
    assert tip == pytest.approx([106, 210.3923048], abs=1e-6)
    corners = shapely.get_coordinates(top)
    for corner in ([106, 210.3923048], [103, 205.1961524], [106.2320508, 206.7942286]):
        assert np.hypot(*(corners - corner).T).min() < 1e-6
    # twelve sides in an ellipse of half-axes 3 and 2: 12/2 x sin 30 x 3 x 2 = 18
    assert top.area == pytest.approx(18)
