"""Lines of travel: what lies toward them, and where they end. Worked by hand; common practice, no source."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.travel import end_gap, inside, onward, toward_travel
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.units import YARD

ReportOf = Callable[..., Report]

RUN = "path run\n  use travel\n  line 0,0 100,0\n"
#: reaches 15 yd: 50 ft tall, cut at 3 ft, it reaches 46.9 ft, its crown the last 20
TREE = "  method hinge\n  tree-height 50ft\n  crown-ratio 40%\n  crown-width 15ft\n"


def toward(report: Report, near: float = 10) -> list[bool]:
    count = len(report.scene.trees)
    found = toward_travel(report.scene, Rows("trees", np.arange(count)), Column("length", np.full(count, near * YARD)))
    return found.values.tolist()


@pytest.mark.parametrize(
    ("y", "fall", "is_toward"),
    [
        (20, "S", True),  # its tip 4.4 yd from the line
        (20, "N", False),
        (24, "S", True),  # 8.4 yd
        (26, "S", False),  # 10.4 yd
        (10, "S", True),  # across the line
        (4, "N", False),
        (6, "E", False),  # along the line, though its crown is nearer than its stump
        (6, "100deg", True),  # a little toward it: the crown's middle is nearer than the stump
    ],
)
def test_a_top_laid_toward_the_line_of_travel(report_of: ReportOf, y: float, fall: str, is_toward: bool) -> None:
    assert toward(report_of(RUN + f"tree oak\n  at 50,{y}\n  fall {fall}\n" + TREE)) == [is_toward]


def test_a_stem_on_the_width_of_the_line_is_toward_it_whichever_way_it_points(report_of: ReportOf) -> None:
    plan = RUN.replace("travel\n", "travel\n  width 6yd\n")
    assert toward(report_of(plan + "tree oak\n  at 50,2.9\n  fall N\n" + TREE)) == [True]
    assert toward(report_of(plan + "tree oak\n  at 50,3.1\n  fall N\n" + TREE)) == [False]


def test_only_lines_of_travel_count(report_of: ReportOf) -> None:
    tree = "tree oak\n  at 50,20\n  fall S\n" + TREE
    assert toward(report_of(RUN.replace("travel", "corridor") + tree)) == [False]
    assert toward(report_of(RUN.replace("travel", "entry") + tree)) == [False]


def test_a_hinge_without_a_fall_is_not_passed_over_in_silence(report_of: ReportOf) -> None:
    report = report_of(RUN + "tree oak\n  at 50,20\n" + TREE)
    count = Rows("trees", np.array([0])), Column("length", np.array([10 * YARD]))
    found = toward_travel(report.scene, *count)
    assert not found.mask[0] and found.why == "no `fall` is given"


def told(report: Report) -> list[str]:
    return [f.span.source.line(f.span.line).strip() for f in report.findings if f.rule == "escape/fall-toward-travel"]


def row(name: str, count: int, y: float, fall: str, x: float = 5) -> str:
    return f"row {name}\n  stumps {x},{y} {x + 40},{y}\n  count {count}\n  fall {fall}\n" + TREE


def test_a_pocket_is_told_when_three_and_over_a_quarter_lie_so(report_of: ReportOf) -> None:
    pocket = "pocket k\n  outline 0,10 100,10 100,60 0,60\n"
    assert told(report_of(RUN + pocket + row("a", 3, 20, "S") + row("b", 8, 20, "N", 50))) == ["fall S"]
    assert told(report_of(RUN + pocket + row("a", 3, 20, "S") + row("b", 9, 20, "N", 50))) == []
    assert told(report_of(RUN + pocket + row("a", 2, 20, "S"))) == []
    # felled and dead trees are no hinges
    felled = row("b", 9, 20, "N", 50).replace("hinge", "fell")
    assert told(report_of(RUN + pocket + row("a", 3, 20, "S") + felled)) == ["fall S"]


def test_leaners_are_left_to_who_fells_them(report_of: ReportOf) -> None:
    lean = "tree {0}\n  at {1},20\n  fall S\n  lean S {2}deg\n" + TREE
    leaners = "".join(lean.format(f"t{x}", x, 12) for x in (20, 50, 80))
    assert told(report_of(RUN + "pocket k\n  outline 0,10 100,10 100,60 0,60\n" + leaners)) == []
    upright = "".join(lean.format(f"t{x}", x, 8) for x in (20, 50, 80))
    assert told(report_of(RUN + "pocket k\n  outline 0,10 100,10 100,60 0,60\n" + upright)) == ["fall S"]


def test_a_single_tree_is_told_only_where_it_lies_on_the_line(report_of: ReportOf) -> None:
    assert told(report_of(RUN + "tree oak\n  at 50,12\n  fall S\n" + TREE)) == ["fall S"]
    assert told(report_of(RUN + "tree oak\n  at 50,20\n  fall S\n" + TREE)) == []


PLOT = "food clover\n  outline 40,0 80,0 80,30 40,30\n"


def lengths(report: Report) -> tuple[float, float, float]:
    path, food = Rows("paths", np.array([0])), Rows("foods", np.array([0]))
    found = (
        end_gap(report.scene, path, food), inside(report.scene, path, food), onward(report.scene, path, food),
    )  # fmt: skip
    values = [one.value if isinstance(one, Measured) else one for one in found]
    gap, within, on = (round(float(one.values[0]) / YARD, 2) for one in values)
    return gap, within, on


@pytest.mark.parametrize(
    ("line", "gap", "within", "on"),
    [
        ("60,120 60,42", 12, 0, 0),  # ends short of it: nothing runs on
        ("60,120 60,35", 5, 0, 0),
        ("60,120 60,20", 0, 10, 0),
        ("60,120 60,-60", 60, 30, 60),  # straight through
        ("60,-60 60,120", 60, 30, 60),  # and drawn the other way
        ("0,25 130,25", 40, 40, 40),  # the shorter of 40 before and 50 beyond
        (
            "0,38 130,38",
            round(float(np.hypot(40, 8)), 2),
            0,
            40,
        ),  # past it, 8 yd off: from where it comes abreast of it
    ],
)
def test_where_a_line_ends_how_much_lies_in_food_and_how_far_it_runs_on(
    report_of: ReportOf, line: str, gap: float, within: float, on: float
) -> None:
    found = lengths(report_of(f"path run\n  use travel\n  line {line}\n" + PLOT))
    assert found == pytest.approx((gap, within, on), abs=0.05)


@pytest.mark.parametrize(
    ("line", "kind", "found"),
    [
        ("60,120 60,35", "plot", 1), ("60,120 60,35", "crop", 1), ("60,120 60,35", "mast", 0),
        ("0,25 130,25", "plot", 0), ("0,25 105,25", "plot", 1), ("0,38 130,38", "plot", 0),
    ],
)  # fmt: skip
def test_a_line_of_travel_runs_past_food_not_into_it(report_of: ReportOf, line: str, kind: str, found: int) -> None:
    plan = f"path run\n  use travel\n  line {line}\n" + PLOT.replace("clover\n", f"clover\n  kind {kind}\n")
    assert sum(f.rule == "layout/travel-into-food" for f in report_of(plan).findings) == found


def test_trees_of_a_row_are_judged_with_the_row(report_of: ReportOf) -> None:
    wide = row("r", 10, 24, "N").replace("45,24", "195,24")
    turned = "".join(f"tree t{number}\n  of r {number}\n  fall S\n" for number in (3, 4, 5))
    report = report_of(RUN.replace("100,0", "200,0") + wide + turned)
    (found,) = (f for f in report.findings if f.rule == "escape/fall-toward-travel")
    assert (found.facts["laid.some"].value, found.facts["laid.all"].value) == (3, 10)
    assert found.facts["g"].value == "row r"


def test_the_end_by_the_food_is_the_place_of_a_line_that_ends_in_it(report_of: ReportOf) -> None:
    for line in ("60,120 60,35", "60,35 60,120"):
        report = report_of(f"path run\n  use travel\n  line {line}\n" + PLOT)
        (found,) = (f for f in report.findings if f.rule == "layout/travel-into-food")
        assert found.place == pytest.approx((60 * YARD, 35 * YARD))


def test_a_pocket_without_travel_is_told_at_its_place_nearest_the_line(report_of: ReportOf) -> None:
    pocket = (
        "pocket k\n  outline 0,0 40,0 40,40 0,40\nrow r\n  in k\n  stumps 10,20 30,20\n  count 2\n  fall N\n" + TREE
    )
    for runs, place in (("", None), ("path run\n  use travel\n  line 10,70 80,50\n", (40, 40))):
        (found,) = (f for f in report_of(pocket + runs).findings if f.rule == "layout/pocket-unconnected")
        assert found.place == (place if place is None else pytest.approx((place[0] * YARD, place[1] * YARD)))
