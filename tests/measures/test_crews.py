"""Work at hand, crews on the same days, trees that come down first, gear and training."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.crews import apart, below, duties_of, encounters_of
from habitatlint.measures.vocabulary import Rows
from habitatlint.units import FOOT, YARD

ReportOf = Callable[..., Report]
Told = Callable[..., list[str]]

CREWS = "crew saws\n  people 2\ncrew hands\n  people 2\n"
ROW = "row {name}\n  method {method}\n  stumps {x},{y} {x},{top}\n  spacing 10\n  fall N\n  tree-height 60ft\n  by {by}\n  step {step}\n"
HEDGE = "planting hedge\n  line {x},0 {x},40\n  by hands\n  step {step}\n"
WORK = 'work\n  step 1 "One" {one}\n  step 2 "Two" {two}\n'


def row(name: str = "west", x: float = 10, y: float = 0, by: str = "saws", step: int = 1, method: str = "fell") -> str:
    return ROW.format(name=name, x=x, y=y, top=y + 40, by=by, step=step, method=method)


def slugs(lines: list[str]) -> set[str]:
    return {line.split()[1].rstrip(":") for line in lines}


def test_the_crew_of_the_block_stands_before_that_of_its_step(report_of: ReportOf) -> None:
    work = 'work\n  step 1 "One" 2026-03-01..2026-03-05 by hands\n'
    own = duties_of(report_of(CREWS + row() + work).scene)[0]
    theirs = duties_of(report_of(CREWS + row().replace("  by saws\n", "") + work).scene)[0]
    assert (own.crew, theirs.crew) == (0, 1)
    assert (own.first, own.last) == (date(2026, 3, 1), date(2026, 3, 5))


def test_what_is_done_left_or_offsite_is_no_work_at_hand(report_of: ReportOf) -> None:
    for more in ("  done yes\n", "  offsite yes\n"):
        assert duties_of(report_of(CREWS + row() + more).scene) == []
    assert duties_of(report_of(CREWS + row(method="leave")).scene) == []


@pytest.mark.parametrize(
    ("method", "more", "saw", "felling", "herbicide"),
    [
        ("hinge", "", True, True, False),
        ("fell", "  stump-treatment planned\n", True, True, True),
        ("fell", "  mix m\n", True, True, True),
        ("fell", "  mix m\n  stump-treatment none\n", True, True, False),
        ("girdle", "", True, False, False),
        ("frill", "", False, False, False),
        ("frill", "  mix m\n", False, False, True),
        ("hack-and-squirt", "", False, False, True),
        ("fell", "  state down\n", True, False, False),
    ],
)
def test_what_work_takes(
    report_of: ReportOf, method: str, more: str, saw: bool, felling: bool, herbicide: bool
) -> None:
    (duty,) = duties_of(report_of(CREWS + 'mix m\n  label "x"\n' + row(method=method) + more).scene)
    assert (duty.saw, duty.felling, duty.herbicide) == (saw, felling, herbicide)


@pytest.mark.parametrize(
    ("one", "two", "met"),
    [
        ("2026-03-01..2026-03-05", "2026-03-05..2026-03-09", True),
        ("2026-03-01..2026-03-05", "2026-03-06..2026-03-09", False),
        ("2026-03-05..2026-03-09", "2026-03-01", False),
        ("2026-03-05..2026-03-09", "2026-03-07", True),
        ("", "", False),
        ("2026-03-01..2026-03-05", "", False),
    ],
)
def test_days_overlap_by_dates(report_of: ReportOf, one: str, two: str, met: bool) -> None:
    text = CREWS + row() + HEDGE.format(x=20, step=2) + WORK.format(one=one, two=two)
    assert bool(encounters_of(report_of(text).scene)) is met


def test_without_dates_a_step_is_its_days(report_of: ReportOf) -> None:
    assert len(encounters_of(report_of(CREWS + row() + HEDGE.format(x=20, step=1)).scene)) == 1
    assert not encounters_of(report_of(CREWS + row(method="girdle") + HEDGE.format(x=20, step=1)).scene)


def test_the_nearest_is_so_by_tree_lengths_as_when_all_are_compared_with_all(report_of: ReportOf) -> None:
    """A second way: every felling with every other work, and the least share of its height."""
    generator = np.random.default_rng(11)
    text, spots = CREWS, {"saws": [], "hands": []}
    for number in range(30):
        x, y = generator.uniform(0, 400, 2).round(1)
        height = int(generator.integers(30, 90))
        crew = ("saws", "hands")[number % 2]
        spots[crew].append((x, y, height * 1.1 * FOOT / YARD))
        text += (
            f"tree t{number}\n  at {x},{y}\n  method fell\n  fall N\n  tree-height {height}ft\n  by {crew}\n  step 1\n"
        )
    report = report_of(text)
    pairs = [
        (np.hypot(a - c, b - d) / tall, np.hypot(a - c, b - d))
        for first, second in (("saws", "hands"), ("hands", "saws"))
        for a, b, tall in spots[first] for c, d, _ in spots[second]
    ]  # fmt: skip
    found = apart(report.scene, Rows("encounters", np.array([0])), Column("number", np.array([2.0])))
    assert found.value.values[0] / YARD == pytest.approx(min(pairs)[1])


def test_one_crew_in_two_steps_at_once_is_told_only_where_they_lie_apart(told: Told) -> None:
    days = {"one": "2026-03-01..2026-03-09", "two": "2026-03-05..2026-03-12"}
    near = CREWS + row() + row("east", x=40, step=2) + WORK.format(**days)
    assert "crews-too-close" not in slugs(told(near))
    assert "crews-too-close" in slugs(told(near.replace("40,0 40,40", "140,0 140,40")))


@pytest.mark.parametrize(
    ("falls", "x", "y", "metres"),
    [
        ("S 15%", 100, 100, 40 * YARD),
        ("S 15%", 130, 100, 50 * YARD),
        ("S 15%", 145, 100, None),  # 45 yd aside, two lengths of 66 ft are 44
        ("S 15%", 100, 200, None),  # above
        ("N 15%", 100, 200, 20 * YARD),
        ("S 5%", 100, 100, None),  # hardly a slope
        ("S45E 15%", 130, 110, np.hypot(30, 30) * YARD),
    ],
)
def test_below_is_down_the_fall_line(report_of: ReportOf, falls: str, x: float, y: float, metres: float | None) -> None:
    slope = f"slope hill\n  outline 0,0 300,0 300,300 0,300\n  falls {falls}\n"
    text = slope + CREWS + row(x=100, y=140) + f"task digging\n  at {x},{y}\n  by hands\n  step 1\n"
    report = report_of(text)
    one = [Column(kind, np.array([size])) for kind, size in (("number", 2.0), ("length", 100 * YARD), ("share", 0.1))]
    found = below(report.scene, Rows("encounters", np.array([0])), *one).value.values[0]
    assert found == (pytest.approx(metres) if metres is not None else np.inf)


def test_an_area_below_is_met_by_its_nearest_edge(told: Told) -> None:
    text = (
        "slope hill\n  outline 0,0 300,0 300,300 0,300\n  falls S 15%\n" + CREWS
        + "release canopy\n  outline 100,150 140,150 140,200 100,200\n  method fell\n  by saws\n  step 1\n"
        + "task digging\n  outline {}\n  by hands\n  step 1\n"
    )  # fmt: skip
    assert "below-the-feller" in slugs(told(text.format("0,0 300,0 300,60 0,60")))
    assert "below-the-feller" not in slugs(told(text.format("0,0 300,0 300,40 0,40")))
    assert "below-the-feller" not in slugs(told(text.replace("slope", "core", 1).replace("  falls S 15%\n", "")
                                                .format("0,0 300,0 300,60 0,60")))  # fmt: skip


def test_a_danger_tree_without_a_step_is_not_judged(told: Told) -> None:
    tree = "tree ash\n  at 20,20\n  method fell\n  fall N\n  state dead\n  tree-height 60ft\n"
    lines = told(CREWS + tree + row())
    assert [line for line in lines if "felling/danger-tree-first" in line and "which comes first" in line]
    assert "danger-tree-first" in slugs(told(CREWS + tree.replace("method fell", "method leave") + row()))


def test_taking_danger_trees_down_is_no_work_near_them(told: Told) -> None:
    tree = "tree {}\n  at {},20\n  method fell\n  fall N\n  state dead\n  tree-height 60ft\n  step 1\n"
    assert "danger-tree-first" not in slugs(told(tree.format("ash", 20) + tree.format("elm", 30)))


@pytest.mark.parametrize(
    ("crew", "alone"),
    [("  people 1\n", True), ("  people 2\n", False), ("  alone yes\n  people 4\n", True), ("  alone no\n", False),
     ("  alone no\n  people 1\n", False), ("", None)],
)  # fmt: skip
def test_who_works_alone(told: Told, crew: str, alone: bool | None) -> None:
    lines = told("crew saws\n" + crew + row())
    assert ("working-alone" in slugs(lines)) is bool(alone)
    unsaid = [line for line in lines if "not-judged" in line and "neither `people` nor `alone` is given" in line]
    assert bool(unsaid) is (alone is None)


def test_a_broken_line_for_the_crew_counts_as_given(told: Told) -> None:
    lines = told(row().replace("by saws", "by 5"))
    assert "work-without-crew" not in slugs(lines)
    assert "work-without-crew" in slugs(told(row().replace("  by saws\n", "")))


def test_work_without_a_step_asks_for_no_crew(told: Told) -> None:
    assert "work-without-crew" not in slugs(told(row().replace("  by saws\n", "").replace("  step 1\n", "")))


def test_gear_goes_by_its_usual_names(told: Told) -> None:
    gear = "crew saws\n  people 2\n  gear {}\n"
    assert "gear-missing" not in slugs(
        told(gear.format("forestry-helmet gloves saw-chaps logging-boots first-aid-kit") + row())
    )
    (line,) = [
        one
        for one in told(gear.format("helmet visor earmuffs gloves boots first-aid") + row())
        if "gear-missing" in one
    ]
    assert "saws without leg-protection" in line
