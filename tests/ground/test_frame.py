"""The flat frame on the earth, and where a compass points."""

import datetime
import math
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from habitatlint.ground.frame import Frame, FrameUnavailable, declination

metres = st.floats(-3000, 3000)
DAY = datetime.date(2026, 2, 10)


def test_the_anchor_is_the_origin_and_north_is_up() -> None:
    frame = Frame(43.712, -90.621)
    assert frame.to_local(43.712, -90.621) == pytest.approx((0, 0), abs=1e-9)
    x, y = frame.to_local(43.713, -90.621)
    assert x == pytest.approx(0, abs=1e-6) and 111.0 < y < 111.2
    x, y = frame.to_local(43.712, -90.620)
    assert 80.0 < x < 81.0 and y == pytest.approx(0, abs=1e-3)


@given(st.floats(-80, 80), st.floats(-179, 179), metres, metres)
def test_what_goes_out_comes_back(latitude: float, longitude: float, x: float, y: float) -> None:
    frame = Frame(latitude, longitude)
    back = frame.to_local(*frame.to_earth(x, y))
    # the projection takes what lies within 0.64 mm of the anchor for the anchor
    assert back == pytest.approx((x, y), abs=1e-6 if math.hypot(x, y) > 1e-3 else 1e-3)


def test_many_points_are_turned_at_once() -> None:
    frame = Frame(43.712, -90.621)
    x = np.array([0.0, 100.0, -250.0])
    y = np.array([0.0, 40.0, 900.0])
    latitude, longitude = frame.to_earth(x, y)
    assert latitude.shape == longitude.shape == (3,)
    back = frame.to_local(latitude, longitude)
    assert back[0] == pytest.approx(x, abs=1e-6) and back[1] == pytest.approx(y, abs=1e-6)


@pytest.mark.parametrize("place", [(91, 0), (-91, 0), (0, 181), (float("nan"), 0)])
def test_an_anchor_off_the_earth_is_refused(place: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="no place on the earth"):
        Frame(*place)
    with pytest.raises(ValueError, match="no place on the earth"):
        declination(*place, DAY)


def test_without_its_library_a_frame_says_what_to_do_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyproj", None)
    with pytest.raises(FrameUnavailable, match="install it") as told:
        Frame(43.712, -90.621).to_local(43.713, -90.621)
    assert "\n" not in str(told.value)


def test_without_its_library_a_declination_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pygeomag", None)
    with pytest.raises(FrameUnavailable, match="write the declination in the plan"):
        declination(43.712, -90.621, DAY)


@pytest.mark.parametrize("year", [2009, 2031])
def test_a_day_that_no_model_spans_is_told_not_guessed(year: int) -> None:
    with pytest.raises(FrameUnavailable, match=f"no magnetic model spans {year}-06-01"):
        declination(43.712, -90.621, datetime.date(year, 6, 1))


@pytest.mark.parametrize("year", [2015, 2020, 2025])
def test_from_one_model_to_the_next_the_compass_does_not_jump(year: int) -> None:
    last = declination(43.712, -90.621, datetime.date(year - 1, 12, 31))
    first = declination(43.712, -90.621, datetime.date(year, 1, 1))
    assert first == pytest.approx(last, abs=0.3)
