"""Crown width and height from DBH against published equations.

USDA Forest Service, Forest Vegetation Simulator: crowns `ls/cwcalc.f` (from
South. J. Appl. For. 27(4):269-278, 2003), heights `cs/blkdat.f`, `cs/htdbh.f`
and `ne/htdbh.f`. The columns were worked from those equations by hand, apart
from this project.
"""

import numpy as np
import pytest

from habitatlint.ground.curves import CurtisArney, crown_width, height, height_curtis_arney
from habitatlint.units import FOOT, INCH


@pytest.mark.parametrize(
    ("slug", "cap", "feet"),
    [
        ("red-maple", None, 17.18),
        ("sugar-maple", 54, 17.91),
        ("white-oak", 69, 17.24),
        ("red-oak", 82, 16.72),
        ("black-oak", 52, 16.54),
        ("shagbark-hickory", 54, 17.24),
        ("quaking-aspen", 39, 15.14),
        ("american-elm", 50, 20.68),
        ("hackberry", 51, 19.36),
        ("white-ash", 62, 16.32),
        ("black-cherry", 52, 16.37),
        ("black-locust", 48, 15.11),
        ("hophornbeam", 39, 18.08),
        ("american-beech", 80, 18.08),
        ("osage-orange", 29, 14.97),
    ],
)
def test_forest_grown_crown_at_eight_inches_and_its_cap(slug: str, cap: float | None, feet: float) -> None:
    width = crown_width((slug,), np.array([8, 200]) * INCH, np.array(0.4)) / FOOT
    # the column is printed to two places
    assert width[0] == pytest.approx(feet, abs=0.0051)
    if cap is not None:
        assert width[1] == pytest.approx(cap)


def test_a_red_maple_of_three_inches() -> None:
    assert crown_width(("red-maple",), np.array(3 * INCH), np.array(0.4)) / FOOT == pytest.approx(8.086, abs=0.005)


@pytest.mark.parametrize(
    ("slug", "feet"),
    [
        ("red-maple", (48.84, 54.56, 58.58)),
        ("sugar-maple", (50.76, 57.94, 63.08)),
        ("white-oak", (49.17, 57.24, 63.11)),
        ("red-oak", (50.18, 57.85, 63.39)),
        ("black-oak", (48.27, 55.59, 60.87)),
        ("hickory", (49.19, 56.86, 62.42)),
        ("shagbark-hickory", (49.19, 56.86, 62.42)),
        ("aspen", (49.19, 56.86, 62.42)),
        ("american-elm", (39.73, 48.87, 55.90)),
        ("white-ash", (43.93, 52.89, 59.62)),
        ("black-cherry", (46.77, 52.63, 56.78)),
        ("boxelder", (44.95, 52.84, 58.64)),
        ("osage-orange", (40.80, 44.53, 47.10)),
        ("hophornbeam", (40.80, 44.53, 47.10)),
    ],
)
def test_height_at_six_eight_and_ten_inches(slug: str, feet: tuple[float, ...]) -> None:
    assert height((slug,), np.array([6, 8, 10]) * INCH) / FOOT == pytest.approx(np.array(feet), abs=0.0051)


@pytest.mark.parametrize(
    ("p2", "p3", "p4", "feet"),
    [
        (209.8555, 2.9528, -0.36788, 63.68),  # sugar maple
        (268.556, 3.11433, -0.29411, 59.70),  # red maple
        (700.064, 4.10607, -0.21393, 61.45),  # northern red oak
    ],
)
def test_curtis_arney_height_at_ten_inches(p2: float, p3: float, p4: float, feet: float) -> None:
    curve = CurtisArney(p2, p3, p4, bud=0.2)
    assert height_curtis_arney(curve, np.array(10 * INCH)) / FOOT == pytest.approx(feet, abs=0.05)
