"""Where light air drifts with a hunter's scent. Worked by hand; common practice, no source."""

from __future__ import annotations

from collections.abc import Callable

import pytest

Told = Callable[..., list[str]]

GULLY = "drain gully\n  line 0,400 0,-400\n"
THICKET = "pocket thicket\n  outline 10,{0} 60,{0} 60,{1} 10,{1}\n"
CLOVER = "food clover\n  outline 10,{0} 60,{0} 60,{1} 10,{1}\n"


def stand(sit: str = "evening", x: float = 20, y: float = 0, *more: str) -> str:
    said = f"  sit {sit}\n" if sit else ""
    return f"stand oak\n  at {x},{y}\n{said}" + "".join(f"  {line}\n" for line in more)


def drains(lines: list[str]) -> list[str]:
    return [line.partition("evening-drain: ")[2] for line in lines if "evening-drain: " in line]


def test_in_the_evening_air_runs_down_and_in_the_morning_up(told: Told) -> None:
    below, above = THICKET.format(-200, -150), THICKET.format(150, 200)
    down = "in light evening air, scent from stand oak drains down drain gully to pocket thicket"
    up = "in light morning air, scent from stand oak climbs drain gully to pocket thicket"
    assert drains(told(GULLY + below + stand())) == [down]
    assert drains(told(GULLY + above + stand())) == []
    assert drains(told(GULLY + below + stand("morning"))) == []
    assert drains(told(GULLY + above + stand("morning"))) == [up]
    assert drains(told(GULLY + below + stand("all"))) == [down]
    assert drains(told(GULLY + above + stand("all"))) == [up]


def test_who_does_not_say_when_is_not_judged(told: Told) -> None:
    lines = told(GULLY + THICKET.format(-200, -150) + stand(""))
    assert not drains(lines)
    assert any("evening-drain could not judge stand oak: no `sit` is given" in line for line in lines)


def test_morning_air_is_no_matter_for_food(told: Told) -> None:
    assert len(drains(told(GULLY + CLOVER.format(-200, -150) + stand()))) == 1
    assert drains(told(GULLY + CLOVER.format(150, 200) + stand("morning"))) == []
    assert drains(told(GULLY + CLOVER.format(150, 200) + stand("all"))) == []


@pytest.mark.parametrize(("x", "found"), [(29, 1), (31, 0)])
def test_the_drain_must_be_near_the_stand(told: Told, x: float, found: int) -> None:
    assert len(drains(told(GULLY + THICKET.format(-200, -150) + stand("evening", x)))) == found


def test_it_is_as_far_as_the_drain_runs_and_not_as_a_bird_flies(told: Told) -> None:
    # a hairpin: 40 yd across to the thicket, 320 along the drain
    bent = "drain gully\n  line 0,160 0,0 60,0 60,160\n"
    thicket = "pocket thicket\n  outline 40,130 90,130 90,150 40,150\n"
    assert drains(told(bent + thicket + stand("evening", -20, 150))) == []
    assert len(drains(told(bent + thicket + stand("evening", -20, 60)))) == 1


def test_the_walk_drifts_too(told: Told) -> None:
    lane = "path lane\n  use entry\n  line -200,60 200,60\n"
    lines = told(GULLY + THICKET.format(-200, -150) + lane + stand("evening", 200, 62, "reach lane"))
    assert drains(lines) == [
        "in light evening air, scent from the walk to stand oak drains down drain gully to pocket thicket"
    ]


def test_down_a_slope_it_runs_straight_and_stays_on_it(told: Told) -> None:
    slope = "slope hill\n  outline -100,-100 100,-100 100,200 -100,200\n  falls S 12%\n"
    assert len(drains(told(slope + THICKET.format(-90, -50) + stand("evening", 20, 100)))) == 1
    assert drains(told(slope + THICKET.format(-90, -50) + stand("evening", -30, 100))) == []
    assert drains(told(slope + THICKET.format(-200, -140) + stand("evening", 20, 100))) == []
    assert len(drains(told(slope + THICKET.format(120, 180) + stand("morning", 20, 0)))) == 1


def test_a_slope_may_fall_by_any_bearing(told: Told) -> None:
    slope = "slope hill\n  outline -200,-200 200,-200 200,200 -200,200\n  falls {} 12%\n"
    thicket = "pocket thicket\n  outline 90,-110 110,-110 110,-90 90,-90\n"
    assert len(drains(told(slope.format("SE") + thicket + stand("evening", 0, 0)))) == 1
    assert drains(told(slope.format("SW") + thicket + stand("evening", 0, 0))) == []


@pytest.mark.parametrize(
    "text",
    [
        GULLY + stand(),
        GULLY + THICKET.format(-200, -150),
        "drain gully\n  line 0,0 0,0\n" + THICKET.format(-20, 20) + stand(),
        "drain gully\n  line somewhere\n" + THICKET.format(-20, 20) + stand(),
        GULLY + "pocket thicket\n  outline 0,0 10,10\n" + stand(),
        "slope hill\n  outline -100,-100 100,-100 100,200 -100,200\n" + THICKET.format(-20, 20) + stand(),
    ],
)
def test_odd_plans_say_nothing_of_drains(told: Told, text: str) -> None:
    assert drains(told(text)) == []
