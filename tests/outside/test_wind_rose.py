"""Hours and sectors of a wind record against published examples.

Sources: USDA-NRCS National Water and Climate Center, Wind Rose Example (Fresno, April): 6% of the month's 720 hours are
0.06 x 720 = 43.2. NOAA NCDC, help_wind.html: sixteen sectors by whole degrees, N 349 to 011, NNE 012 to 033, NE 034 to
056 and so on, the direction a wind blows from, from true north.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.measures.winds import WINDS, sector

ReportOf = Callable[..., Report]


def test_six_percent_of_april_are_its_hours(report_of: ReportOf) -> None:
    scene = report_of("winds april\n  from NW 6% 8mph\n  from W 94% 8mph\n  period 04-01..04-30\n").scene
    time = scene.table("recorded-winds").column("time")
    assert time.kind == "duration" and time.values[0] == pytest.approx(43.2) and time.values.sum() == pytest.approx(720)


@pytest.mark.parametrize(
    ("degrees", "wind"), [(348, "NNW"), (349, "N"), (0, "N"), (360, "N"), (11, "N"), (12, "NNE"), (33, "NNE"), (34, "NE"),
                          (56, "NE"), (57, "ENE")],
)  # fmt: skip
def test_a_bearing_lies_in_its_sector(degrees: float, wind: str) -> None:
    assert WINDS[sector(degrees)] == wind


def test_every_degree_of_the_rose_has_the_sector_whose_middle_is_nearest() -> None:
    for degrees in range(360):
        off = [abs((degrees - index * 22.5 + 180) % 360 - 180) for index in range(16)]
        assert sector(degrees) == off.index(min(off))
