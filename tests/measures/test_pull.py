"""Food that pulls deer through the core. Worked by hand; common practice, no source."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.outputs.sentences import message
from habitatlint.units import YARD

ReportOf = Callable[..., Report]

#: its core is the 200 yd in the middle
SQUARE = "boundary\n  outline 0,0 400,0 400,400 0,400\n"
CLOVER = "food clover\n  outline 180,60 220,60 220,90 180,90\n"


def pocket(name: str, x: float, y: float, more: str = "", half: float = 20) -> str:
    return (
        f"pocket {name}\n{more}  outline {x - half},{y - half} {x + half},{y - half} "
        f"{x + half},{y + half} {x - half},{y + half}\n"
    )


def travel(name: str, line: str) -> str:
    return f"path {name}\n  use travel\n  line {line}\n"


def barrier(line: str) -> str:
    return f"hazard creek\n  kind water\n  barrier yes\n  line {line}\n"


def told(report: Report) -> list[float]:
    """How much of each way told lies in the core, in yards."""
    return [
        round(float(f.measured.value) / YARD, 1)  # type: ignore[arg-type, union-attr]
        for f in report.findings
        if f.rule == "layout/bedding-pulls-through"
    ]


def said(report: Report) -> str:
    return next(message(f, "yd") for f in report.findings if f.rule == "layout/bedding-pulls-through")


NORTH = pocket("north", 200, 340)


def test_cover_across_the_core_and_cover_in_it(report_of: ReportOf) -> None:
    assert told(report_of(SQUARE + CLOVER + NORTH)) == [200]
    assert told(report_of(SQUARE + CLOVER + pocket("middle", 200, 200))) == [80]
    assert "pocket middle, 90 yd off" in said(report_of(SQUARE + CLOVER + NORTH + pocket("middle", 200, 200)))
    assert told(report_of(SQUARE + CLOVER + pocket("west", 40, 75))) == []


def test_the_place_is_the_middle_of_what_lies_in_the_core(report_of: ReportOf) -> None:
    (found,) = (f for f in report_of(SQUARE + CLOVER + NORTH).findings if f.rule == "layout/bedding-pulls-through")
    # a straight way may run anywhere between the two sides
    assert found.place is not None and found.place[1] == pytest.approx(200 * YARD, abs=0.1)


def test_mast_browse_and_a_neighbours_field_pull_nobody(report_of: ReportOf) -> None:
    for more in ("kind mast", "kind browse", "kind crop\n  offsite yes"):
        assert told(report_of(SQUARE + CLOVER.replace("clover\n", f"clover\n  {more}\n") + NORTH)) == []
    assert told(report_of(SQUARE + CLOVER.replace("clover\n", "clover\n  kind crop\n") + NORTH)) == [200]


def test_any_cover_by_the_food_will_do(report_of: ReportOf) -> None:
    for more in ("", "  for bucks\n", "  cover natural\n"):
        assert told(report_of(SQUARE + CLOVER + NORTH + pocket("south", 200, 25, more))) == []
    assert told(report_of(SQUARE + CLOVER + NORTH + pocket("south", 200, -30, "  offsite yes\n"))) == []


def test_a_line_of_travel_pulls_deer_past_farther_cover_but_not_past_cover_by_the_food(report_of: ReportOf) -> None:
    through = travel("run", "200,90 200,320")  # 230 yd that cost 115
    assert told(report_of(SQUARE + CLOVER + NORTH + pocket("west", 70, 75, half=10) + through)) == []  # 100 yd off
    assert told(report_of(SQUARE + CLOVER + NORTH + pocket("west", 40, 75, half=10) + through)) == [200]  # 130 yd
    # food-side cover (of the rye) that is nearer in yards takes the pull off, though the line costs less
    rye = "food rye\n  outline 5,110 45,110 45,140 5,140\n"
    assert told(report_of(SQUARE + CLOVER + rye + NORTH + pocket("west", 40, 75, half=10) + through)) == []


def test_a_line_of_travel_around_the_core_leads_them_around(report_of: ReportOf) -> None:
    around = travel("run", "170,75 90,90 90,325 180,340")
    assert told(report_of(SQUARE + CLOVER + NORTH + around)) == []
    assert told(report_of(SQUARE + CLOVER + NORTH + around.replace("travel", "vehicle"))) == [200]


def test_a_barrier_shuts_the_way_but_for_a_line_of_travel_across_it(report_of: ReportOf) -> None:
    plan = SQUARE + CLOVER + NORTH + barrier("-700,250 1100,250")
    assert told(report_of(plan)) == []
    assert told(report_of(plan + travel("ford", "200,240 200,260"))) == [200]
    # its end is walked around, by way of the core's west: from 180,90 to 50,250 and on to 180,320
    half_shut = SQUARE + CLOVER + NORTH + barrier("50,250 1100,250")
    assert told(report_of(half_shut)) == pytest.approx([162.7], rel=0.03)
    # cover by the food beyond a creek is no cover by the food
    near = SQUARE + CLOVER + pocket("south", 200, 25) + pocket("middle", 200, 200) + barrier("-700,55 1100,55")
    assert told(report_of(near)) == [80]


def test_an_open_field_is_walked_around(report_of: ReportOf) -> None:
    west = pocket("west", 60, 75)  # 100 yd off
    plan = SQUARE + CLOVER + west + pocket("middle", 200, 215)  # 105 yd off, 95 of them in the core
    assert told(report_of(plan)) == []
    # 20 yd of beans between cost as much again, and are too long to be walked around
    beans = "food beans\n  kind crop\n  outline 150,-100 170,-100 170,200 150,200\n"
    assert told(report_of(plan + beans)) == [95]


def test_the_owners_own_core_needs_no_boundary(report_of: ReportOf) -> None:
    core = "core quiet\n  outline 100,100 300,100 300,300 100,300\n"
    assert told(report_of(core + CLOVER + NORTH)) == [200]
    assert told(report_of(core + CLOVER + NORTH + travel("run", "170,75 90,90 90,325 180,340"))) == []


def unjudged(report: Report) -> list[str]:
    return [
        str(f.facts["x.thing"].value)
        for f in report.findings
        if f.rule == "record/not-judged" and "bedding-pulls-through" in str(f.facts["x.found"].value)
    ]


def test_without_boundary_or_core_only_food_far_from_cover_is_not_judged(report_of: ReportOf) -> None:
    assert unjudged(report_of(CLOVER + NORTH)) == ["food clover"]
    assert unjudged(report_of(CLOVER + NORTH + pocket("south", 200, 25))) == []
    assert unjudged(report_of(CLOVER)) == []
    assert unjudged(report_of(SQUARE + CLOVER + NORTH)) == []


@pytest.mark.parametrize(
    "plan",
    [
        SQUARE + CLOVER,
        SQUARE + NORTH,
        "boundary\n  outline 0,0 400,0 400,150 0,150\n" + CLOVER + pocket("far", 20, 130),  # too narrow for a core
        SQUARE + CLOVER + pocket("whole", 200, 200, half=200),
        SQUARE + CLOVER + pocket("far-off", 90000, 90000),
        SQUARE + CLOVER + pocket("far-off", 90000, 90000) + travel("run", "200,95 200,300"),
        SQUARE + "food clover\n  outline 0,0 0.1,0 0.1,0.1\n" + pocket("k", 0, 0, half=0.05),
        SQUARE + CLOVER + "pocket k\n  outline 180,60 220,60\n",
        SQUARE + CLOVER + NORTH + barrier("170,50 230,50 230,100 170,100 170,50"),  # the food is shut in
        SQUARE + CLOVER + NORTH + barrier("0,0 0,0.01"),
    ],
)  # fmt: skip
def test_odd_plans_raise_nothing(report_of: ReportOf, plan: str) -> None:
    report = report_of(plan)
    assert all(math.isfinite(one) and one >= 60 for one in told(report))
    assert unjudged(report) == []


def turned(plan: str, degrees: float, mirrored: bool) -> str:
    """The plan with every point turned about 150,-70 and perhaps mirrored."""
    sine, cosine = math.sin(math.radians(degrees)), math.cos(math.radians(degrees))

    def move(word: str) -> str:
        x, y = map(float, word.split(","))
        x, y = (-x if mirrored else x) - 150, y + 70
        return f"{150 + x * cosine - y * sine:.6f},{-70 + x * sine + y * cosine:.6f}"

    return "\n".join(" ".join(move(w) if "," in w else w for w in line.split(" ")) for line in plan.split("\n"))


@pytest.mark.parametrize("degrees", [0, 13, 45, 90, 200.5])
@pytest.mark.parametrize("mirrored", [False, True])
def test_turning_and_mirroring_change_no_figure(report_of: ReportOf, degrees: float, mirrored: bool) -> None:
    bent = "boundary\n  outline 0,0 400,0 430,180 400,400 60,420 0,200\n"
    things = CLOVER + NORTH + pocket("west", 20, 130) + pocket("east", 360, 300)
    things += travel("run", "210,100 260,170 240,250 210,300") + barrier("60,40 110,190")
    plain = told(report_of(bent + things))
    assert len(plain) == 1
    assert told(report_of(turned(bent + things, degrees, mirrored))) == pytest.approx(plain, abs=0.1)


def test_a_raster_is_laid_only_where_a_way_may_bend(report_of: ReportOf) -> None:
    def laid(plan: str) -> bool:
        return "raster" in report_of(plan).scene.memo["pull"].__dict__

    run = travel("run", "200,95 200,300")
    assert not laid(SQUARE + CLOVER + NORTH)  # a straight way, and plainly the cheapest
    assert not laid(SQUARE + CLOVER + NORTH + pocket("south", 200, 25) + run)  # cover by the food
    assert laid(SQUARE + CLOVER + NORTH + run)


def test_scipy_comes_in_with_the_raster_and_not_with_the_measures() -> None:
    script = (
        "import sys; from habitatlint.measures import every_measure; every_measure(); print('scipy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_of_ways_as_short_the_one_least_in_the_core_counts(report_of: ReportOf) -> None:
    # the plot's north side faces the pocket's south side for 60 yd; 20 of them lie west of the core
    plot = "food clover\n  outline 80,100 140,100 140,110 80,110\n"
    cover = "pocket north\n  outline 80,180 140,180 140,220 80,220\n"
    assert told(report_of(SQUARE + plot + cover)) == []
    assert told(report_of(SQUARE + turned(plot + cover, 0.0, False))) == []
    assert told(report_of(SQUARE + plot.replace("80,", "101,") + cover.replace("80,", "101,"))) == [70]
