"""The sun's place against the published algorithm's example, sunrise tables, and a second library.

NREL/TP-560-34302 (rev. 2008), worked example: 17 October 2003 12:30:30 MST, 39.742476 N, 105.1786 W, 1830.14 m,
820 mbar, 11 C: zenith 50.11162, azimuth 194.340241. NREL's sunrise and sunset for Golden, Colorado (in the tests
of pvlib): 2 January 2015 07:21:55 and 16:47:43, 2 August 2015 05:00:27 and 19:13:58 MST. They are of a day of
universal time: the last is 02:13:58 of 2 August there, so the evening of 1 August in Colorado (on 2 August the
sun sets a minute earlier, as both libraries have it). pvlib is the second library.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas
import pvlib
import pytest

from habitatlint.measures.light import DAY, LOWEST, YEAR, day_hours, sun_place, sun_track

GOLDEN = (39.742476, -105.1786)
#: what ephem and the algorithm differ by here is under a hundredth of a degree; the sun is half a degree wide
CLOSE = 0.01


def test_the_worked_example() -> None:
    when = datetime(2003, 10, 17, 19, 30, 30)
    altitude, azimuth = sun_place(*GOLDEN, when, elevation=1830.14, pressure=820, temperature=11)
    assert 90 - altitude == pytest.approx(50.11162, abs=CLOSE)
    assert azimuth == pytest.approx(194.340241, abs=CLOSE)


@pytest.mark.parametrize(
    "moment",
    [
        datetime(2015, 1, 2, 7, 21, 55),
        datetime(2015, 1, 2, 16, 47, 43),
        datetime(2015, 8, 2, 5, 0, 27),
        datetime(2015, 8, 1, 19, 13, 58),
    ],
)
def test_at_sunrise_and_sunset_the_suns_upper_edge_meets_the_level(moment: datetime) -> None:
    # by the usual convention the middle stands 50 minutes of arc below it; 0.02 degrees are some 7 seconds
    altitude, _ = sun_place(*GOLDEN, moment + timedelta(hours=7))
    assert altitude == pytest.approx(-50 / 60, abs=0.02)


def test_a_second_library_at_many_times_and_places() -> None:
    random = np.random.default_rng(7)
    times = [
        datetime(2026, 1, 1) + timedelta(minutes=int(minutes)) for minutes in random.integers(0, 365 * 24 * 60, 20)
    ]
    for latitude, longitude in ((43.7, -90.6), (30.1, -97.9), (25.0, -81.0), (55.0, -110.0)):
        theirs = pvlib.solarposition.get_solarposition(
            pandas.DatetimeIndex([time.replace(tzinfo=UTC) for time in times]), latitude, longitude, altitude=0
        )
        for time, zenith, azimuth in zip(times, theirs["zenith"], theirs["azimuth"], strict=True):
            mine = sun_place(latitude, longitude, time)
            assert 90 - mine[0] == pytest.approx(zenith, abs=CLOSE)
            # near the top of the sky an azimuth turns fast
            turned = abs((mine[1] - azimuth + 180) % 360 - 180) * np.sin(np.radians(zenith))
            assert turned == pytest.approx(0, abs=CLOSE)


@pytest.mark.parametrize("latitude", [25.0, 35.0, 45.0, 55.0])
@pytest.mark.parametrize("month", [1, 4, 6, 10])
def test_a_days_track_by_the_second_library(latitude: float, month: int) -> None:
    day = pandas.date_range(f"{YEAR}-{month:02}-{DAY}", periods=1440, freq="1min", tz="UTC")
    zenith = pvlib.solarposition.get_solarposition(day, latitude, 0.0, altitude=0)["zenith"]
    hours = float((zenith <= 90 - LOWEST).sum()) / 60
    assert len(sun_track(latitude, month)) * 15 / 60 == pytest.approx(hours, abs=0.25)
    # and by the declination alone
    assert day_hours(latitude, month) == pytest.approx(hours, abs=0.1)


def test_the_highest_sun_of_a_day_stands_south_at_what_the_declination_leaves() -> None:
    # mid June the sun stands 23.3 degrees north of the equator (from memory)
    track = sun_track(43.7, 6)
    highest = track[np.argmax(track[:, 0])]
    assert highest[0] == pytest.approx(90 - 43.7 + 23.3, abs=0.3)
    assert highest[1] == pytest.approx(180, abs=6)
