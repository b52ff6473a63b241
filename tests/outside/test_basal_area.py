"""Basal area, mean DBH and stand density against published examples.

U. Missouri, *Forestry Functions* (code LarsenDR/forfuncPython, 2020): basal area 0.005454154 D^2, its example of
seven trees, quadratic mean DBH; larsendr.github.io/sdi.html (after Reineke 1933): 200 trees an acre of 12.3 in,
"Answer = 278.8". The metric example of the same page (680.2) is left out: what it was worked out from is not
known here.
"""

from __future__ import annotations

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.measures.volume import basal_area, mean_dbh, stand_density
from habitatlint.units import ACRE, FOOT, INCH

SQUARE_FOOT = FOOT * FOOT


def test_a_tree_of_ten_inches() -> None:
    assert float(basal_area(10 * INCH)) / SQUARE_FOOT == pytest.approx(0.5454, abs=1e-4)


def test_it_is_the_area_of_the_circle() -> None:
    dbh = np.array([1, 8, 12.3, 26]) * INCH
    assert np.asarray(basal_area(dbh)) == pytest.approx(np.pi / 4 * dbh**2, rel=1e-6)


def test_seven_trees_ten_of_each_an_acre() -> None:
    dbh = np.array([8, 6, 8, 5, 4, 6, 7]) * INCH
    assert float(np.sum(basal_area(dbh)) * 10) / SQUARE_FOOT == pytest.approx(15.81705, abs=1e-4)


def test_mean_dbh_of_eighty_square_feet_and_two_hundred_trees() -> None:
    assert mean_dbh(80 * SQUARE_FOOT, 200) / INCH == pytest.approx(8.5638, abs=1e-4)
    assert mean_dbh(80 * SQUARE_FOOT, 0) == 0


def test_stand_density_of_two_hundred_trees_of_twelve_inches() -> None:
    assert stand_density(200 / ACRE, 12.3 * INCH) == pytest.approx(278.82, abs=0.05)
    # trees of ten inches count one each
    assert stand_density(137 / ACRE, 10 * INCH) == pytest.approx(137)


def test_a_timber_of_one_class(report_of: object) -> None:
    report: Report = report_of("timber woods\n  outline 0,0 9,0 9,9 0,9\n  class 8in..12in 54.54154 sqft/ac\n")  # type: ignore[operator]
    table = report.scene.table("timbers")
    assert table.column("stems").values[0] * ACRE == pytest.approx(100, rel=1e-6)
    assert table.column("mean-dbh").values[0] / INCH == pytest.approx(10)
    assert table.column("stand-density").values[0] == pytest.approx(100, rel=1e-6)
