"""On which winds a stand is clean, what share of its hours that is, and the deer's wind. Worked by hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.clean import clean_winds, deer_wind, wind_to_hunt
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.measures.winds import WINDS
from habitatlint.units import MILE, YARD

ReportOf = Callable[..., Report]
Told = Callable[..., list[str]]

#: every wind blows a sixteenth of the time
ROSE = "winds rose\n" + "".join(f"  from {wind} 6.25% 9mph\n" for wind in WINDS)
THICKET = "pocket thicket\n  outline -60,60 60,60 60,100 -60,100\n"
STAND = "stand oak\n  at 0,0\n  sit evening\n"


def clean(report: Report, row: int = 0) -> Measured:
    reach, calm = Column("length", np.array([150 * YARD])), Column("speed", np.array([4 * MILE / 3600]))
    found = clean_winds(report.scene, Rows("stands", np.array([row])), reach, calm)
    assert isinstance(found, Measured)
    return found


def part(found: Measured, name: str) -> object:
    return found.parts[name](np.array([0])).values[0]


def about(lines: list[str], slug: str) -> list[str]:
    return [line for line in lines if slug in line]


def test_the_winds_that_carry_to_a_thicket_are_foul(report_of: ReportOf) -> None:
    found = clean(report_of(STAND + THICKET + ROSE))
    # 45 degrees to either side of north, and half a sector more: five winds reach it
    assert found.value.values[0] == 11 and part(found, "blowing") == 16
    assert part(found, "hours") == pytest.approx(11 / 16)
    assert part(found, "reached") == "pocket thicket on 5 of 16 winds"
    assert part(found, "winds") == "N, NNE, NE, ENE, E, ESE, WSW, W, WNW, NW or NNW"


def test_calm_hours_and_winds_under_the_limit_are_lost(report_of: ReportOf) -> None:
    record = "winds w\n  from N 30% 9mph\n  from NNE 30% 3mph\n  from S 20% 9mph\n  calm 20%\n"
    found = clean(report_of(STAND + THICKET + record))
    assert part(found, "hours") == pytest.approx(0.3) and part(found, "blowing") == 2
    assert part(found, "winds") == "N"


def test_the_walk_in_and_the_walk_out_must_be_clean_too(report_of: ReportOf) -> None:
    lanes = "path east-lane\n  use entry\n  line 300,80 300,0 0,0\npath south-lane\n  use exit\n  line 0,-300 0,0\n"
    alone = part(clean(report_of(STAND + THICKET + ROSE + lanes)), "hours")
    walked = part(clean(report_of(STAND + "  reach south-lane\n" + THICKET + ROSE + lanes)), "hours")
    left = part(clean(report_of(STAND + "  reach south-lane\n  leave east-lane\n" + THICKET + ROSE + lanes)), "hours")
    assert alone == walked == pytest.approx(11 / 16)
    assert isinstance(left, float) and left < 11 / 16


def test_food_counts_in_the_evening_and_travel_by_the_hour(report_of: ReportOf) -> None:
    food = "food clover\n  outline -60,60 60,60 60,100 -60,100\n"
    run = "path run\n  use travel\n  line 30,200 30,-200\n"
    for sit, on_food, on_run in (("evening", 5, "NW"), ("morning", 0, "SW"), ("all", 5, "")):
        stand = f"stand oak\n  at 0,0\n  sit {sit}\n"
        assert clean(report_of(stand + food + ROSE)).value.values[0] == 16 - on_food
        winds = str(part(clean(report_of(stand + run + ROSE)), "winds")).replace(" or ", ", ").split(", ")
        # scent to the north-east meets deer that come from the north, in the evening
        assert ("SW" in winds, "NW" in winds) == {"NW": (False, True), "SW": (True, False), "": (False, False)}[on_run]


def test_a_stand_that_does_not_say_when_is_known_where_it_does_not_matter(told: Told) -> None:
    stand = "stand oak\n  at 0,0\n"
    food = "food clover\n  outline -60,60 60,60 60,100 -60,100\n"
    lines = told(stand + food + ROSE)
    assert len(about(lines, "could not judge stand oak: no `sit` is given")) == 1
    lines = told(stand + THICKET + ROSE)
    assert not about(lines, "clean")


# -- without a record -----------------------------------------------------------------------------------------


def test_one_note_tells_that_there_is_no_record(told: Told) -> None:
    two = STAND + STAND.replace("oak", "elm").replace("0,0", "10,0")
    lines = about(told(two + THICKET), "no `winds` record")
    assert len(lines) == 1 and "stand oak" in lines[0] and "stand elm" in lines[0]
    assert "few-clean-hours" in lines[0] and "no-clean-wind" in lines[0]


@pytest.mark.parametrize("stand", ["stand oak\n  at 0,0\n", "stand oak\n  at 0,900\n  sit evening\n  winds N\n"])
def test_nothing_is_said_where_nobody_asks_or_nothing_is_near(told: Told, stand: str) -> None:
    assert not about(told(stand + THICKET), "`winds` record")


def test_a_record_that_does_not_add_up_leaves_the_hours_unjudged_but_not_the_winds(told: Told) -> None:
    record = "winds w\n  from N 60% 9mph\n  from S 70% 9mph\n"
    lines = told(STAND + THICKET + record)
    assert about(lines, "few-clean-hours could not judge stand oak: the shares of winds w do not add up")
    assert about(lines, "winds-do-not-add")
    south = "winds w\n  from SSW 60% 9mph\n  from S 70% 9mph\n"
    assert about(told(STAND + THICKET + south), "no-clean-wind: no wind leaves stand oak")


def test_a_record_of_calms_alone_has_no_wind_to_blame(told: Told) -> None:
    lines = told(STAND + THICKET + "winds w\n  from NNE 50% 2mph\n  calm 50%\n")
    assert not about(lines, "no-clean-wind")
    (line,) = about(lines, "few-clean-hours")
    assert "clean in 0% of the evening hours" in line
    assert line.endswith("scent comes to nothing, the other hours being calm")


# -- the deer's wind ----------------------------------------------------------------------------------------------


def angle(report: Report) -> float:
    found = deer_wind(report.scene, Rows("stands", np.array([0])), Rows("paths", np.array([0])))
    assert isinstance(found, Column)
    return float(found.values[0])


RUN = "path run\n  use travel\n  line 0,300 0,-300\n"


@pytest.mark.parametrize(
    ("sit", "winds", "expected"),
    [("evening", "S", 0), ("evening", "SW", 45), ("evening", "W", 90), ("evening", "NW", 135), ("evening", "N", 180),
     ("morning", "N", 0), ("morning", "NW", 45), ("morning", "S", 180), ("all", "N", 0), ("evening", "N NE E", 90)],
)  # fmt: skip
def test_the_angle_between_the_deers_way_and_the_wind(
    report_of: ReportOf, sit: str, winds: str, expected: float
) -> None:
    plan = RUN + f"stand oak\n  at 20,0\n  sit {sit}\n  winds {winds}\n"
    assert angle(report_of(plan)) == pytest.approx(expected)


def test_only_legs_in_range_count(report_of: ReportOf) -> None:
    bent = "path run\n  use travel\n  line 0,300 0,-40 -300,-40\n"
    stand = "stand oak\n  at 20,0\n  sit evening\n  winds N\n"
    assert angle(report_of(bent + stand)) == pytest.approx(180)
    assert angle(report_of(bent + stand + "  range 60yd\n")) == pytest.approx(90)


def test_a_stand_without_travel_in_range_or_without_winds(told: Told) -> None:
    far = RUN + "stand oak\n  at 60,0\n  sit evening\n"
    assert not about(told(far), "wind-wrong-for-deer")
    near = RUN + "stand oak\n  at 20,0\n  sit evening\n"
    (line,) = about(told(near), "wind-wrong-for-deer")
    assert "could not judge stand oak: no `winds` are listed" in line


def wind_to_hunt_of(report: Report) -> tuple[object, str]:
    across, reach = Column("angle", np.array([135.0])), Column("length", np.array([150 * YARD]))
    calm = Column("speed", np.array([4 * MILE / 3600]))
    found = wind_to_hunt(report.scene, Rows("stands", np.array([0])), across, reach, calm)
    return (found.values[0] if found.mask[0] else None), found.why


RUN = "path run\n  use travel\n  line 0,300 0,-300\n"
BY_RUN = "stand oak\n  at -20,0\n  winds N\n  sit evening\n"


@pytest.mark.parametrize(
    ("record", "wind"),
    [
        # deer go south: N is behind them; the wind from W carries to their way, that from E keeps off it
        ("from N 30% 9mph\n  from E 15% 9mph\n  from W 35% 9mph\n  from ENE 20% 9mph", "ENE"),
        ("from N 30% 9mph\n  from E 25% 9mph\n  from W 25% 9mph\n  from ENE 20% 9mph", "E"),
        ("from N 60% 9mph\n  from W 40% 9mph\n  from WSW 0% 9mph", None),
        # a wind under 4 mph is none
        ("from N 60% 9mph\n  from E 39% 3mph\n  from ENE 1% 9mph", "ENE"),
    ],
)
def test_of_winds_that_keep_off_the_deer_and_suit_them_the_one_that_blows_most(
    report_of: ReportOf, record: str, wind: str | None
) -> None:
    assert wind_to_hunt_of(report_of(RUN + BY_RUN + f"winds november\n  {record}\n"))[0] == wind


def test_without_a_record_no_wind_is_offered(report_of: ReportOf) -> None:
    assert wind_to_hunt_of(report_of(RUN + BY_RUN)) == (None, "the plan has no `winds` record")
