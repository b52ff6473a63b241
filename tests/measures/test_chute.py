"""Chutes on lines of travel. Worked by hand, and a second time by sampling; common practice, no source."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.chute import STEP, _Walls, chute
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.units import YARD

ReportOf = Callable[..., Report]

RUN = "path run\n  use travel\n  line {line}\n"
FENCE = "hazard {name}\n  kind fence\n  barrier yes\n  line {line}\n"
#: 50 ft tall: it reaches 15.6 yd, its crown the last 6.7 of them and 5 wide
TREE = "  method hinge\n  tree-height 50ft\n  crown-ratio 40%\n  crown-width 15ft\n  cut-height 3ft\n"


def measured(report: Report, window: float = 20, clear: float = 5, shut: float = 0.7) -> Measured:
    rows = Rows("paths", np.array([0]))
    lengths = (Column("length", np.array([one * YARD])) for one in (window, clear))
    found = chute(report.scene, rows, *lengths, Column("share", np.array([shut])))
    assert isinstance(found, Measured)
    return found


def share(report: Report, **how: float) -> float:
    return round(float(measured(report, **how).value.values[0]), 3)


def told(report: Report) -> list[str]:
    return [f.rule for f in report.findings if f.rule == "layout/chute-on-travel"]


def fences(upper: str, lower: str, line: str = "0,0 100,0") -> str:
    return RUN.format(line=line) + FENCE.format(name="upper", line=upper) + FENCE.format(name="lower", line=lower)


def test_the_share_of_twenty_yards_that_is_walled_on_both_sides(report_of: ReportOf) -> None:
    # one from 30 to 45, one from 40 to 60: both only from 40 to 45
    found = measured(report_of(fences("30,1 45,1", "40,-2 60,-2")))
    assert found.value.values[0] == pytest.approx(5 / 20)
    assert found.parts["clear"](np.array([0])).values[0] == pytest.approx(3 * YARD)
    place = found.parts["place"](np.array([0])).values[0]
    assert place.y == 0 and 40 * YARD < place.x < 45 * YARD


def test_two_short_chutes_far_apart_are_not_added_up(report_of: ReportOf) -> None:
    plan = fences("10,1 18,1", "10,-1 18,-1") + FENCE.format(name="a", line="60,1 68,1")
    assert share(report_of(plan + FENCE.format(name="b", line="60,-1 68,-1"))) == 0.4
    # 10 yd apart they lie in one stretch of 20 with a gap of 4 between
    near = fences("10,1 18,1", "10,-1 18,-1") + FENCE.format(name="a", line="22,1 30,1")
    assert share(report_of(near + FENCE.format(name="b", line="22,-1 30,-1"))) == 0.8


@pytest.mark.parametrize(("line", "expected"), [("0,0 100,0", 1.0), ("100,0 0,0", 1.0), ("40,0 50,0", 0.5)])
def test_it_is_the_same_drawn_the_other_way_and_a_short_line_is_measured_against_the_stretch(
    report_of: ReportOf, line: str, expected: float
) -> None:
    assert share(report_of(fences("20,1 80,1", "20,-1 80,-1", line))) == expected


def test_where_a_wall_lies_on_the_line_nothing_is_clear(report_of: ReportOf) -> None:
    plan = RUN.format(line="0,0 100,0") + "hazard pond\n  kind water\n  barrier yes\n  outline 30,-3 46,-3 46,3 30,3\n"
    found = measured(report_of(plan))
    assert found.value.values[0] == pytest.approx(16 / 20)
    assert found.parts["clear"](np.array([0])).values[0] == 0


def test_a_pond_that_bends_around_the_line_is_a_wall_on_both_sides_and_not_on_it(report_of: ReportOf) -> None:
    pond = "hazard pond\n  kind water\n  barrier yes\n  outline 30,-9 60,-9 60,9 30,9 30,2 50,2 50,-2 30,-2\n"
    found = measured(report_of(RUN.format(line="0,0 48,0") + pond))
    assert found.value.values[0] == pytest.approx(18 / 20)
    assert found.parts["clear"](np.array([0])).values[0] == pytest.approx(4 * YARD)


def rows(fall: str, y: float = 4) -> str:
    return "".join(
        f"row {name}\n  stumps 20,{at} 74,{at}\n  spacing 6\n  fall {fall}\n" + TREE
        for name, at in (("up", y), ("down", -y))
    )


def test_tops_laid_along_both_sides_make_a_chute_and_an_opening_does_not_mend_all_of_it(report_of: ReportOf) -> None:
    run = RUN.format(line="0,0 110,0")
    whole = share(report_of(run + rows("E")))
    assert whole >= 0.7 and told(report_of(run + rows("E"))) != []
    sawn = "".join(f"opening o{x}\n  at {x},4\n  width 3ft\n  toward N\n" for x in range(38, 84, 6))
    assert whole - 0.3 < share(report_of(run + rows("E") + sawn)) < whole
    assert share(report_of(run + rows("E", 9))) == 0
    standing = report_of('plan "X"\n  stage as-built\n' + run + rows("E"))
    assert share(standing) == 0


def test_hunters_paths_corridors_and_a_neighbours_are_left_out(report_of: ReportOf) -> None:
    plan = fences("20,1 80,1", "20,-1 80,-1")
    assert told(report_of(plan)) != []
    for use in ("entry", "exit", "corridor", "vehicle"):
        assert told(report_of(plan.replace("use travel", f"use {use}"))) == []
    assert told(report_of(plan.replace("use travel", "use travel\n  offsite yes"))) == []


def unjudged(report: Report) -> list[str]:
    return [
        str(finding.facts["x.why"].value)
        for finding in report.findings
        if finding.rule == "record/not-judged" and "chute-on-travel" in str(finding.facts["x.found"].value)
    ]


def test_trees_without_a_fall_beside_the_line_are_not_passed_over(report_of: ReportOf) -> None:
    loose = "row loose\n  stumps 20,4 74,4\n  spacing 6\n" + TREE
    assert unjudged(report_of(RUN.format(line="0,0 110,0") + loose)) == ["a tree beside it has no `fall`"]
    assert unjudged(report_of(RUN.format(line="0,60 110,60") + loose)) == []
    # what is a chute without them is told
    assert told(report_of(fences("20,1 80,1", "20,-1 80,-1") + loose)) != []
    assert unjudged(report_of(fences("20,1 80,1", "20,-1 80,-1") + loose)) == []


def test_a_patch_counts_only_where_its_trees_stand_on_both_sides(report_of: ReportOf) -> None:
    patch = "patch cut\n  method hinge\n  density 60 per acre\n  outline 0,{south} 100,{south} 100,40 0,40\n"
    run = RUN.format(line="0,0 100,0")
    why = ["a patch lays no trees, so nobody knows where they come to lie"]
    assert unjudged(report_of(run + patch.format(south=-40))) == why
    assert unjudged(report_of(run + patch.format(south=3))) == []
    assert unjudged(report_of(run + patch.format(south=-40).replace("method hinge", "method girdle"))) == []


def test_nothing_is_asked_where_nothing_bars(report_of: ReportOf) -> None:
    assert share(report_of(RUN.format(line="0,0 100,0"))) == 0
    assert unjudged(report_of(RUN.format(line="0,0 100,0"))) == []


@pytest.mark.parametrize("seed", range(6))
def test_hands_are_what_rays_find(seed: int) -> None:
    """The clear way on either hand a second way: rays and their crossings by the geometry library."""
    chance = np.random.default_rng(seed)
    line = LineString(np.cumsum(chance.uniform(5, 30, (5, 2)), axis=0))
    shapes = [
        *(Point(at).buffer(size, quad_segs=3) for at, size in zip(chance.uniform(0, 120, (30, 2)), chance.uniform(1, 6, 30), strict=True)),
        *(LineString(at + chance.uniform(-9, 9, (2, 2))) for at in chance.uniform(0, 120, (10, 1, 2))),
        Point(50, 50).buffer(40).difference(Point(50, 50).buffer(25)),
    ]  # fmt: skip
    reach = 6.0
    hands = _Walls(shapes).hands(line, reach)
    whole = shapely.geometrycollections(shapes)
    at = (np.arange(hands.shape[1]) + 0.5) * STEP
    for station, along in enumerate(at):
        here = np.array(line.interpolate(along).coords[0])
        ahead, behind = (np.array(line.interpolate(along + step).coords[0]) for step in (1e-5, -1e-5))
        heading = (ahead - behind) / np.hypot(*(ahead - behind))
        for hand, square in enumerate((np.array([-heading[1], heading[0]]), np.array([heading[1], -heading[0]]))):
            ray = LineString([here, here + square * reach])
            expected = min(
                (Point(here).distance(shape.intersection(ray)) for shape in shapes if shape.intersects(ray)),
                default=np.inf,
            )
            assert hands[hand, station] == pytest.approx(expected, abs=2e-3), (station, whole.distance(Point(here)))
