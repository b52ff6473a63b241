"""Tops that close a V, and what opens it. Worked by hand; the trade's figures are common practice, no source."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.escape import closed_v
from habitatlint.measures.openings import strips
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.units import FOOT, YARD

ReportOf = Callable[..., Report]

#: reaches 12.3 yd (36.9 ft), its crown from 5 ft off the stump on
LOW = "  method hinge\n  tree-height 40ft\n  crown-ratio 80%\n  crown-width 12ft\n"
#: reaches 54.8 ft; the stem is bare for 30.8 ft and over 30 in high for the first 27.4
HIGH = "  method hinge\n  cut-height 5ft\n  tree-height 60ft\n  crown-ratio 40%\n  crown-width 15ft\n"


def pair(
    first: tuple[float, float, str], second: tuple[float, float, str], tree: str = LOW, second_tree: str = ""
) -> str:
    trees = zip(("left", "right"), (first, second), (tree, second_tree or tree), strict=True)
    return "".join(f"tree {name}\n  at {x},{y}\n  fall {fall}\n{what}" for name, (x, y, fall), what in trees)


def measure(report: Report, way: float = 3, swapped: bool = False) -> Measured:
    first, second = (np.array([1]), np.array([0])) if swapped else (np.array([0]), np.array([1]))
    found = closed_v(
        report.scene, Rows("trees", first), Rows("trees", second), Column("length", np.array([way * FOOT]))
    )
    assert isinstance(found, Measured)
    return found


def depth(report: Report, way: float = 3, swapped: bool = False) -> float:
    return float(measure(report, way, swapped).value.values[0]) / YARD


V = pair((20, 10, "N30E"), (32, 10, "N30W"))


def test_two_tops_turned_toward_each_other_close_a_v(report_of: ReportOf) -> None:
    report = report_of(V)
    found = measure(report)
    # stumps 12 yd apart, each turned 30 degrees in: they meet 6 / tan 30 ahead
    assert depth(report) == pytest.approx(6 / np.tan(np.radians(30)))
    here = np.array([0])
    apex = found.parts["place"](here).values[0]
    assert (apex.x / YARD, apex.y / YARD) == (pytest.approx(26), pytest.approx(10 + 6 / np.tan(np.radians(30))))
    assert found.parts["mouth"](here).values[0] / YARD == pytest.approx(12)
    assert found.parts["angle"](here).values[0] == pytest.approx(60)
    assert found.parts["ahead"](here).values[0] % 360 == pytest.approx(0, abs=1e-6)


def test_it_is_the_same_v_from_either_tree_and_turned_any_way(report_of: ReportOf) -> None:
    wanted = 6 / np.tan(np.radians(30))
    for turn in (0, 37, 180, 301):
        angle = np.radians(turn)
        spots = [
            (x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle))
            for x, y in ((20, 10), (32, 10))
        ]
        plan = pair(
            (round(spots[0][0], 6), round(spots[0][1], 6), f"{(30 + turn) % 360}deg"),
            (round(spots[1][0], 6), round(spots[1][1], 6), f"{(330 + turn) % 360}deg"),
        )
        report = report_of(plan)
        assert depth(report) == pytest.approx(wanted, abs=1e-4)
        assert depth(report, swapped=True) == pytest.approx(wanted, abs=1e-4)


@pytest.mark.parametrize(
    ("plan", "why"),
    [
        (pair((20, 10, "N"), (24, 10, "N")), "parallel falls"),
        (pair((20, 10, "E"), (36, 10, "W")), "head on"),
        (pair((20, 10, "N9E"), (28, 10, "N9W")), "turned by 18 degrees only"),
        (pair((20, 10, "N62E"), (31, 10, "N62W")), "turned by 124 degrees"),
        (pair((20, 10, "N30W"), (24, 10, "N30E")), "away from each other"),
        (pair((20, 10, "N30E"), (21.9, 10, "N30W")), "no mouth of 2 yd"),
        (pair((20, 10, "N30E"), (40, 10, "N30W")), "tops that do not meet"),
    ],
)
def test_what_closes_none(report_of: ReportOf, plan: str, why: str) -> None:
    assert depth(report_of(plan)) == 0, why


def test_just_inside_those_limits_they_do(report_of: ReportOf) -> None:
    for plan in (
        pair((20, 10, "N11E"), (24, 10, "N11W")), pair((20, 10, "N58E"), (31, 10, "N58W")),
        pair((20, 10, "N30E"), (22.1, 10, "N30W")),
    ):  # fmt: skip
        assert depth(report_of(plan)) > 0


def test_how_wide_the_way_between_two_tops_must_be(report_of: ReportOf) -> None:
    # crowns 12 ft wide whose tips are 14 yd of stump line apart: 2.07 ft of ground between them
    plan = pair((20, 10, "N30E"), (34, 10, "N30W"))
    tops = report_of(plan).scene.trees.top
    gap = float(tops[0].distance(tops[1])) / FOOT
    assert gap == pytest.approx(2.07, abs=0.01)
    assert depth(report_of(plan), way=gap + 0.1) > 0
    assert depth(report_of(plan), way=gap - 0.1) == 0


def test_a_stem_to_pass_under_opens_it(report_of: ReportOf) -> None:
    far = ((20, 10, "N30E"), (36, 10, "N30W"))
    assert depth(report_of(pair(*far, HIGH))) == 0
    # the same stems cut at 3 ft stand under 30 in where it would matter
    assert depth(report_of(pair(*far, HIGH.replace("cut-height 5ft", "cut-height 3ft")))) > 0
    # one high stem is enough, whichever it is
    low = HIGH.replace("cut-height 5ft", "cut-height 3ft")
    assert depth(report_of(pair(*far, HIGH, low))) == 0
    assert depth(report_of(pair(*far, low, HIGH))) == 0
    # a blown tree lies from its root
    assert depth(report_of(pair(*far, HIGH.replace("method hinge", "state blown")))) > 0


def test_a_high_stem_under_the_other_top_is_no_way_out(report_of: ReportOf) -> None:
    # a high stem whose way out is filled by the other tree's broad top
    broad = "  method hinge\n  tree-height 60ft\n  crown-ratio 95%\n  crown-width 40ft\n"
    assert depth(report_of(pair((20, 10, "N30E"), (30, 10, "N30W"), HIGH, broad))) > 0
    slim = broad.replace("40ft", "3ft")
    assert depth(report_of(pair((20, 10, "N30E"), (30, 10, "N30W"), HIGH, slim))) == 0


APEX = 10 + 6 / np.tan(np.radians(30))


@pytest.mark.parametrize(
    ("at", "width", "toward", "opened"),
    [
        (f"26,{APEX:.2f}", "3ft", "N", True),
        (f"26,{APEX:.2f}", "3ft", "S", True),  # sawn both ways
        ("26,15", "3ft", "N", True),  # from the clear ground inside, on to the tops
        (f"26,{APEX:.2f}", "2.9ft", "N", False),  # no way for a deer
        (f"26,{APEX:.2f}", "3ft", "E", False),  # across the point, through the far ends only
        ("60,60", "3ft", "N", False),  # somewhere else
    ],
)
def test_an_opening_through_the_point_opens_it(
    report_of: ReportOf, at: str, width: str, toward: str, opened: bool
) -> None:
    plan = V + f"opening gap\n  at {at}\n  width {width}\n  toward {toward}\n"
    assert (depth(report_of(plan)) == 0) is opened


def test_a_corridor_through_the_point_opens_it_and_a_line_of_travel_does_not(report_of: ReportOf) -> None:
    way = f"path through\n  use {{}}\n  line 26,5 26,{APEX + 20:.2f}\n"
    assert depth(report_of(V + way.format("corridor"))) == 0
    assert depth(report_of(V + way.format("travel"))) > 0


def test_in_done_work_only_a_done_opening_counts(report_of: ReportOf) -> None:
    head = 'plan "As it was cut"\n  stage as-built\n  units yd\n'
    done = V.replace("  method hinge\n", "  method hinge\n  done 2026-01-05\n")
    opening = f"opening gap\n  at 26,{APEX:.2f}\n  width 3ft\n  toward N\n"
    assert depth(report_of(head + done)) > 0
    assert depth(report_of(head + done + opening)) > 0
    assert depth(report_of(head + done + opening + "  done 2026-01-20\n")) == 0
    assert depth(report_of(head + V)) == 0  # nothing lies yet


def test_an_opening_is_sawn_until_all_its_width_is_clear(report_of: ReportOf) -> None:
    tree = "tree thrown\n  at 0,0\n  state blown\n  fall N\n  tree-height 60ft\n  crown-ratio 50%\n  crown-width 18ft\n"
    report = report_of(tree + "opening gap\n  at 0,18\n  width 2yd\n  toward E\n")
    (strip,) = strips(report.scene, 3 * FOOT).shapes
    left = report.scene.trees.top[0].difference(strip)
    # below the cut and above it nothing of the top is left beside the strip
    south, north = strip.bounds[1], strip.bounds[3]
    assert all(part.bounds[3] <= south + 0.01 or part.bounds[1] >= north - 0.01 for part in left.geoms)


def told(report: Report) -> list[tuple[str, int]]:
    found = [f for f in report.findings if f.rule == "escape/closed-v"]
    return [(str(next(iter(sorted(f.names)))), int(f.facts["count"].value) if "count" in f.facts else 1) for f in found]  # type: ignore[call-overload]


def test_it_is_told_once_a_pocket_with_the_count_of_pairs(report_of: ReportOf) -> None:
    two = V + V.replace("left", "far-left").replace("right", "far-right").replace("at 20,", "at 50,").replace(
        "at 32,", "at 62,"
    )
    pocket = "pocket k\n  outline 0,0 90,0 90,60 0,60\n"
    assert [count for _, count in told(report_of(pocket + two))] == [2]
    assert [count for _, count in told(report_of(two))] == [1, 1]  # in no pocket, block by block
    # one tree with two others: two pairs, though one tree is in both
    three = V + "tree mid\n  at 31,13\n  fall N35W\n" + LOW
    assert [count for _, count in told(report_of(pocket + three))] == [2]


def test_a_pair_is_a_finding_on_both_trees_and_on_their_pocket(report_of: ReportOf) -> None:
    (finding,) = [
        f for f in report_of("pocket k\n  outline 0,0 90,0 90,60 0,60\n" + V).findings if f.rule == "escape/closed-v"
    ]
    assert finding.names == {"left", "right", "k"}
    assert finding.related[-1].what == "the other side of the V"


#: its top is 4 yd wide and its crown's middle 7 yd north of the stump: it ends near x = 2
TOP = "tree oak\n  at 0,0\n  fall N\n" + LOW


@pytest.mark.parametrize(
    ("x", "cut"),
    [(0, True), (2, True), (2.4, True), (2.6, False), (4, False)],  # under it, at its edge, half its width off, beside
)
def test_an_opening_under_touching_and_beside_a_top_it_does_not_cross(report_of: ReportOf, x: float, cut: bool) -> None:
    # it runs along the top, a yard wide: half a yard from the top's edge it cuts nothing any more
    report = report_of(TOP + f"opening gap\n  at {x},7\n  width 1yd\n  toward N\n")
    assert len(strips(report.scene, 3 * FOOT).shapes) == int(cut)
    assert not any(f.rule == "record/not-judged" and "cannot be worked out" in str(f.facts) for f in report.findings)


TWO_VS = (
    "pocket k\n  outline 0,0 300,0 300,100 0,100\ntrees\n  method hinge\n  dbh 8in\n  in k\n"
    + "".join(
        f"tree {name}\n  at {x},20\n  fall {fall}\n"
        for name, x, fall in (("a", 20, "N35E"), ("b", 36, "N35W"), ("c", 120, "N45E"), ("d", 134, "N45W"))
    )
)  # fmt: skip


def closed_vs(report: Report) -> tuple[list[frozenset[str]], list[frozenset[str]]]:
    return tuple([f.names for f in some if f.rule == "escape/closed-v"] for some in (report.findings, report.waived))  # type: ignore[return-value]


@pytest.mark.parametrize(("on", "accepted"), [("k", True), ("a and b", False), ("c and d", False)])
def test_a_waiver_accepts_a_pockets_vs_and_not_one_of_them_for_all(
    report_of: ReportOf, on: str, accepted: bool
) -> None:
    waiver = f'waive closed-v on {on} until 2027-01-01 because "one"\n'
    found, waived = closed_vs(report_of(TWO_VS + waiver))
    assert (found, waived) == (([], [{"k"}]) if accepted else ([{"k"}], []))


def test_a_waiver_on_any_pocket_accepts_what_is_told_of_several(report_of: ReportOf) -> None:
    plan = (
        "boundary\n  outline 0,0 400,0 400,400 0,400\npocket west\n  outline 140,180 180,180 180,220 140,220\n"
        "pocket east\n  outline 220,180 260,180 260,220 220,220\n"
        "row thicket\n  method hinge\n  stumps 150,200 250,200\n  spacing 90\n  fall N\n"
    )
    (found,) = (f for f in report_of(plan).findings if f.rule == "layout/several-core-pockets")
    assert found.names == {"west", "east"}
    for name in ("west", "east"):
        report = report_of(plan + f'waive several-core-pockets on {name} until 2027-01-01 because "old"\n')
        assert [f.rule for f in report.waived] == ["layout/several-core-pockets"]
