"""Magnetic bearings of the cut list against the World Magnetic Model's own values.

Source: NOAA NCEI and BGS, WMM2025_TEST_VALUES.txt. Three of its values at sea level stand here; the whole file is read
where the folder that holds it lies beside this checkout.
"""

from __future__ import annotations

import calendar
import csv
import io
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest

from habitatlint.check import Report
from habitatlint.ground.north import magnetic_north
from habitatlint.outputs.papers.as_csv import as_csv
from habitatlint.outputs.papers.work import table
from habitatlint.work.order import order_of

Check = Callable[..., Report]
PUBLISHED = Path(__file__).resolve().parent.parent.parent.parent / "shared" / "data" / "WMM2025_TEST_VALUES.txt"

PLAN = """\
plan "P"
  date {day}
  anchor {latitude},{longitude}
  declination computed
tree oak
  at 0,0
  method fell
  fall E
  step 1
"""


def degrees(size: float, signs: str) -> str:
    return f"{abs(size):.4f}{signs[size < 0]}"


def plan(latitude: float, longitude: float, day: date) -> str:
    east = longitude - 360 if longitude > 180 else longitude
    return PLAN.format(day=day.isoformat(), latitude=degrees(latitude, "NS"), longitude=degrees(east, "EW"))


@pytest.mark.parametrize(
    ("latitude", "longitude", "day", "declination"),
    [
        (80, 0, date(2025, 1, 1), 1.28),
        (0, 120, date(2025, 1, 1), -0.16),
        (-80, 240, date(2025, 1, 1), 68.78),
        # 2027.5 is noon of 2 July
        (0, 120, date(2027, 7, 2), -0.24),
    ],
)
def test_a_tree_laid_east_reads_ninety_degrees_less_the_declination(
    report_of: Check, latitude: float, longitude: float, day: date, declination: float
) -> None:
    report = report_of(plan(latitude, longitude, day))
    (row,) = csv.DictReader(io.StringIO(as_csv(table(order_of(report), report))))
    assert row["fall true degrees"] == "90"
    assert float(row["fall magnetic degrees"]) == pytest.approx((90 - declination) % 360, abs=0.06)  # shown to a tenth
    north = magnetic_north(report.plan, report.scene.placer.frame)
    assert north is not None and not north.stated
    assert north.declination == pytest.approx(declination, abs=0.008)


def test_the_whole_file_of_values_up_to_eight_kilometres_agrees_to_a_tenth_of_a_degree(report_of: Check) -> None:
    if not PUBLISHED.exists():
        pytest.skip("the folder with the published values is not beside this checkout")
    checked = 0
    for line in PUBLISHED.read_text(encoding="utf-8").splitlines():
        if line.startswith("#") or not line.strip():
            continue
        year, altitude, latitude, longitude, declination = map(float, line.split()[:5])
        # a plan lies on the ground: a field is weaker aloft, by 0.011 degrees a km here
        if altitude > 8 or year >= 2030:
            continue
        whole = int(year)
        day = date(whole, 1, 1) + timedelta(days=round((year - whole) * (366 if calendar.isleap(whole) else 365)))
        report = report_of(plan(latitude, longitude, day))
        north = magnetic_north(report.plan, report.scene.placer.frame)
        assert north is not None
        assert north.declination == pytest.approx(declination, abs=0.1), line
        checked += 1
    assert checked >= 5
