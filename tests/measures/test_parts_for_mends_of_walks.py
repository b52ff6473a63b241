"""What is told of walks, screens and setbacks so that a mend can write it: lines drawn on, other ways, rows, outlines."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, Polygon

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.vocabulary import VOCABULARY, Measured, Rows
from habitatlint.units import YARD

ReportOf = Callable[..., Report]


def measured(name: str, report: Report, *plurals: str) -> Measured:
    """A measure of the first thing of each plural."""
    rows = [Rows(plural, np.array([0])) for plural in plurals]
    found = VOCABULARY.measures[name].function(report.scene, *rows)
    assert isinstance(found, Measured)
    return found


def part(found: Measured, name: str) -> Column:
    return found.parts[name](np.array([0]))


def field(report: Report, plural: str, name: str) -> Any:
    column = report.scene.table(plural).column(name)
    return column.values[0] if column.mask[0] else column.why


# -- paths that do not join ---------------------------------------------------------------------------------

LANE = "path lane\n  use entry\n  line 0,0 100,0\n"
OAK = "stand oak\n  at 103,60\n  reach lane spur\n"


@pytest.mark.parametrize(
    ("spur", "line"),
    [
        ("100,6 100,60", ("100,0", "100,6", "100,60")),
        ("100,60 100,6", ("100,60", "100,6", "100,0")),
        ("60.24,-9 100,-60", ("60.2,0", "60.24,-9", "100,-60")),
    ],
)
def test_a_path_is_drawn_on_to_the_other_from_the_end_that_is_nearer(
    report_of: ReportOf, spur: str, line: tuple[str, ...]
) -> None:
    report = report_of(f"{LANE}path spur\n  use entry\n  line {spur}\n{OAK}")
    found = measured("breach", report, "stands")
    assert part(found, "line").values[0] == line
    assert report.scene.table("paths").name(int(part(found, "path").values[0])) == "spur"


@pytest.mark.parametrize(
    ("spur", "why"),
    [("line 100,41 100,90", "far"), ("line 160,-40 140,0 160,40", "a bend"), ("line 100,6 100,60\n  offsite yes", "")],
)
def test_a_path_is_not_drawn_on_far_nor_from_a_bend_nor_by_a_neighbour(
    report_of: ReportOf, spur: str, why: str
) -> None:
    lane = LANE if why != "a bend" else "path lane\n  use entry\n  line 100,-40 120,0 100,40\n"
    found = measured("breach", report_of(f"{lane}path spur\n  use entry\n  {spur}\n{OAK}"), "stands")
    if why:
        assert not part(found, "line").mask[0] and not part(found, "path").mask[0]
    else:  # ours is drawn on to theirs
        assert part(found, "line").values[0] == ("0,0", "100,0", "100,6")


# -- another way to walk in ---------------------------------------------------------------------------------

WAYS = (
    "path lane\n  use entry\n  line 0,0 100,0\n"
    "path spur\n  use entry\n  line 50,0 100,5\n"
    "path ridge\n  use entry\n  line 200,90 100,8\n"
    "stand oak\n  at 100,2\n  reach lane\n"
)
GROUND = "boundary\n  outline -100,-100 {0},-100 {0},100 -100,100\n"


def test_another_way_in_begins_at_no_path_that_is_walked(report_of: ReportOf) -> None:
    # the spur passes nearer, but it is come to by the lane
    assert field(report_of(WAYS), "stands", "passing") == ("spur", "ridge")
    assert field(report_of(WAYS), "stands", "other-ways") == ("ridge",)


def test_where_the_property_line_or_a_gate_is_drawn_another_way_comes_from_there(report_of: ReportOf) -> None:
    assert field(report_of(WAYS + GROUND.format(203)), "stands", "other-ways") == ("ridge",)
    far = WAYS + GROUND.format(300)
    assert field(report_of(far), "stands", "other-ways") == "no other path that leads in passes it"
    gate = "place road-gate\n  kind gate\n  at 201,92\n"
    assert field(report_of(far + gate), "stands", "other-ways") == ("ridge",)


# -- a hole that takes several trees ------------------------------------------------------------------------

SCREEN = "  purpose screen\n  method fell\n  fall E\n  tree-height 40ft\n  crown-ratio 30%\n  crown-width 12ft\n"


@pytest.mark.parametrize(("east", "count"), [(28.0, None), (28.2, 2), (33.0, 3), (37.2, 4)])
def test_a_wide_hole_takes_a_row_whose_tops_reach_each_other(
    report_of: ReportOf, east: float, count: int | None
) -> None:
    # the tops are 4 yd long and begin 9 1/3 yd from their stumps
    trees = f"tree west\n  at 20,8\n{SCREEN}tree east\n  at {east},8\n{SCREEN}"
    report = report_of(LANE + trees)
    if count is None:
        assert field(report, "holes", "fill") == field(report, "holes", "fillers") == "one tree fills it"
        return
    assert field(report, "holes", "fill") == count
    first, last = (x / YARD for x, _ in field(report, "holes", "fillers").coords)
    tops = np.linspace(first, last, count) + 28 / 3
    assert tops[0] <= 33.34 and np.diff(tops).max() <= 4 and tops[-1] + 4 >= east + 28 / 3 - 0.01


# -- ground that a setback takes ----------------------------------------------------------------------------

BROOK = "hazard brook\n  kind water\n  {0}\n"
SIDE = 'setback brook-side\n  from brook\n  distance 20yd\n  source "an ordinance"\n'
PATCH = "patch brush\n  method girdle\n  outline {0}\n  density 40 per acre\n"


def drawn_back(report_of: ReportOf, brook: str, outline: str) -> Column:
    report = report_of(BROOK.format(brook) + SIDE + PATCH.format(outline))
    return part(measured("setback-gap", report, "tree-works", "setbacks"), "outline")


def test_a_patch_is_drawn_back_in_the_order_of_its_corners(report_of: ReportOf) -> None:
    for outline in ("10,10 60,10 60,60 10,60", "10,10 10,60 60,60 60,10"):
        line = drawn_back(report_of, "line 0,0 100,0", outline).values[0]
        corners = [(x / YARD, y / YARD) for x, y in line.coords]
        assert corners[0] == pytest.approx((10, 20.6), abs=0.1) and len(corners) == 4
        assert corners[1] == pytest.approx((60, 20.6) if "60,10 60,60" in outline else (10, 60), abs=0.1)


def test_round_the_end_of_a_brook_too_all_of_it_is_far_enough_off(report_of: ReportOf) -> None:
    line = drawn_back(report_of, "line -50,0 0,0", "-10,5 60,5 60,60 -10,60").values[0]
    assert isinstance(line, LineString) and len(line.coords) > 5
    left = Polygon(line.coords)
    off = left.distance(LineString([(-50 * YARD, 0), (0, 0)])) / YARD
    assert 20.1 < off < 20.8
    assert not left.contains(Point(0, 19 * YARD)) and shapely.is_valid(left)


@pytest.mark.parametrize("outline", ["10,-80 60,-80 60,60 10,60", "10,10 60,10 60,40 10,40", "10,2 60,2 60,18 10,18"])
def test_a_patch_is_not_drawn_back_to_pieces_or_less_than_half(report_of: ReportOf, outline: str) -> None:
    found = drawn_back(report_of, "line 0,0 100,0", outline)
    # 10 to 40 yd off the brook 19.4 of 30 yd are left
    assert found.mask[0] == ("60,40" in outline)
    assert found.mask[0] or found.why == "what it would leave is in pieces, or less than half"


def test_a_row_has_no_outline_to_draw_back(report_of: ReportOf) -> None:
    row = "row cover\n  method hinge\n  stumps 10,5 90,5\n  spacing 10\n  fall N\n  dbh 8in\n"
    report = report_of(BROOK.format("line 0,0 100,0") + SIDE + row)
    found = part(measured("setback-gap", report, "tree-works", "setbacks"), "outline")
    assert not found.mask[0] and found.why == "it has no outline to draw back"


# -- the plan's one mix -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("labels", "only"),
    [(("none", "no. 00000"), "mix-1"), (("no. 00000", "no. 00001"), ""), (("none", "home-made"), "")],
)
def test_the_one_mix_of_a_plan_is_the_one_with_a_label(report_of: ReportOf, labels: tuple[str, ...], only: str) -> None:
    text = "".join(f'mix mix-{number}\n  label "{label}"\n' for number, label in enumerate(labels))
    report = report_of(f'plan "Two mixes"\n{text}')
    column = report.scene.table("plans").column("mix")
    found = report.scene.table("mixes").name(int(column.values[0])) if column.mask[0] else ""
    assert found == only
