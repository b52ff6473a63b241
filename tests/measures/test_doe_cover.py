"""Cover for does by the food, and what is cut first. Worked by hand; common practice, no source."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.units import YARD

ReportOf = Callable[..., Report]

SQUARE = "boundary\n  outline 0,0 600,0 600,600 0,600\n"
CLOVER = "food clover\n  outline 20,20 80,20 80,60 20,60\n"


def pocket(name: str, x: float, y: float, more: str = "", wide: float = 60, high: float = 40) -> str:
    corners = f"{x},{y} {x + wide},{y} {x + wide},{y + high} {x},{y + high}"
    return f"pocket {name}\n{more}  outline {corners}\n"


def row(name: str, of: str, more: str = "", count: int = 4) -> str:
    return (
        f"row {name}\n  in {of}\n  method hinge\n  stumps {of} 2yd {of} 12yd\n".replace(
            f"stumps {of} 2yd {of} 12yd", f"stumps {PLACES[of]}"
        )
        + f"  count {count}\n  fall N\n  dbh 8in\n{more}"
    )


PLACES = {"edge": "30,90 60,90", "other": "30,95 60,95", "middle": "280,310 300,310", "second": "370,310 390,310"}
EDGE, MIDDLE = pocket("edge", 20, 80, "  for does\n"), pocket("middle", 260, 300)


def told(report: Report, rule: str) -> list[float]:
    found = [f for f in report.findings if f.rule == f"layout/{rule}"]
    return [float(f.measured.value) if f.measured else -1 for f in found]  # type: ignore[arg-type]


def unjudged(report: Report, rule: str) -> list[str]:
    return [
        str(f.facts["x.why"].value)
        for f in report.findings
        if f.rule == "record/not-judged" and rule in str(f.facts["x.found"].value)
    ]


# -- how near it is ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("gap", "found"), [(39, 0), (41, 1)])
@pytest.mark.parametrize("whose", ["", "  for does\n", "  for any\n", "  offsite yes\n", "  cover natural\n"])
def test_cover_that_does_may_use_counts_however_it_came_to_be(
    report_of: ReportOf, gap: float, found: int, whose: str
) -> None:
    report = report_of(CLOVER + pocket("k", 20, 60 + gap, whose))
    assert len(told(report, "food-without-cover")) == found
    assert told(report, "food-without-cover") == pytest.approx([gap * YARD] * found)


def test_each_plot_and_crop_wants_its_own_and_mast_wants_none(report_of: ReportOf) -> None:
    foods = CLOVER + "".join(
        f"food {kind}\n  kind {kind}\n  at {x},40\n  radius 20\n"
        for kind, x in (("crop", 300), ("mast", 400), ("browse", 500))
    )
    found = [f for f in report_of(foods + EDGE).findings if f.rule == "layout/food-without-cover"]
    assert [f.names for f in found] == [frozenset({"crop"})]
    bucks = report_of(foods + EDGE.replace("does", "bucks"))
    assert len(told(bucks, "food-without-cover")) == 2
    assert (
        told(report_of(foods.replace("  kind crop\n", "  kind crop\n  offsite yes\n") + EDGE), "food-without-cover")
        == []
    )


def test_a_pocket_that_cannot_be_placed_has_been_told_by_its_slip(report_of: ReportOf) -> None:
    report = report_of(CLOVER + "pocket k\n  outline 0,0 10,0\n")
    assert told(report, "food-without-cover") == [] and unjudged(report, "food-without-cover") == []


# -- how much there is ------------------------------------------------------------------------------------


def test_the_balance_counts_all_doe_cover_by_the_food_and_only_cut_cover_elsewhere(report_of: ReportOf) -> None:
    cut = row("in-middle", "middle")
    assert told(report_of(SQUARE + CLOVER + EDGE + MIDDLE + cut), "outer-cover-small") == []
    small = pocket("edge", 20, 80, "  for does\n", high=39)
    (area,) = told(report_of(SQUARE + CLOVER + small + MIDDLE + cut), "outer-cover-small")
    assert area == pytest.approx(60 * 39 * YARD**2, abs=0.5)
    # a neighbour's cover by the food holds does too; his cover elsewhere is his
    neighbours = pocket("south", 20, -30, "  offsite yes\n", high=20)
    assert told(report_of(SQUARE + CLOVER + small + neighbours + MIDDLE + cut), "outer-cover-small") == []
    assert (
        told(
            report_of(SQUARE + CLOVER + MIDDLE.replace("middle\n", "middle\n  offsite yes\n") + cut),
            "outer-cover-small",
        )
        == []
    )
    assert told(report_of(SQUARE + CLOVER + MIDDLE), "outer-cover-small") == []
    assert told(report_of(SQUARE + MIDDLE + cut), "outer-cover-small") == []


def test_pockets_that_overlap_count_their_ground_once(report_of: ReportOf) -> None:
    scene = report_of(SQUARE + CLOVER + EDGE + pocket("again", 20, 90, "  for does\n")).scene
    area = scene.table("plans").column("outer-cover").values[0]
    assert area == pytest.approx(60 * 50 * YARD**2, abs=0.5)


def test_the_balance_is_told_once_for_the_plan(report_of: ReportOf) -> None:
    plan = SQUARE + CLOVER + MIDDLE + pocket("second", 350, 300) + row("a", "middle") + row("b", "second")
    assert len(told(report_of(plan), "outer-cover-small")) == 1


# -- what is cut first ------------------------------------------------------------------------------------


def early(report: Report) -> list[float]:
    return told(report, "core-before-edge")


def ordered(edge: str, middle: str, *more: str, head: str = "") -> str:
    return head + SQUARE + CLOVER + EDGE + MIDDLE + row("a", "edge", edge) + row("b", "middle", middle) + "".join(more)


@pytest.mark.parametrize(
    ("edge", "middle", "found"),
    [
        ("  step 1\n", "  step 2\n", []),
        ("  step 2\n", "  step 2\n", []),
        ("  step 3\n", "  step 2\n", [1]),
        ("  step 3\n", "  step 2\n  done yes\n", [1]),
        ("  step 3\n  done yes\n", "  step 2\n", []),  # it is done, whatever its number
        ("  done 2026-01-20\n", "  done 2026-01-10\n", [1]),
        ("  done 2026-01-10\n", "  done 2026-01-20\n", []),
        ("  step 1\n  done 2026-01-20\n", "  step 2\n  done 2026-01-10\n", [1]),  # what is done goes by its days
    ],
)
def test_by_steps_and_by_what_is_done(report_of: ReportOf, edge: str, middle: str, found: list[float]) -> None:
    assert early(report_of(ordered(edge, middle))) == found


def test_without_steps_nobody_knows_and_it_is_said_once(report_of: ReportOf) -> None:
    why = ["it or the cover by a plot or crop has no `step`, so nobody knows which is cut first"]
    report = report_of(ordered("", "  step 1\n"))
    assert early(report) == [] and unjudged(report, "core-before-edge") == why
    assert unjudged(report_of(ordered("  step 1\n", "  step x\n")), "core-before-edge") == []
    # what is done comes before what is not: no step is asked for
    assert unjudged(report_of(ordered("  done yes\n", "")), "core-before-edge") == []


def test_cover_is_there_once_half_its_trees_are_cut(report_of: ReportOf) -> None:
    for first, later, found in ((5, 5, []), (4, 5, [1])):
        rows = row("early", "edge", "  step 1\n", first).replace("30,90", "30,92") + row(
            "late", "edge", "  step 3\n", later
        )
        plan = SQUARE + CLOVER + EDGE + MIDDLE + rows + row("b", "middle", "  step 2\n")
        assert early(report_of(plan)) == found
    # of a patch as many as its density asks: some 30 of 34 trees come late
    patch = "patch late\n  in edge\n  method hinge\n  density 60 per acre\n  step 3\n"
    assert early(report_of(ordered("  step 1\n", "  step 2\n", patch))) == [1]
    assert early(report_of(ordered("  step 1\n", "  step 2\n", patch.replace("60 per acre", "6 per acre")))) == []


def test_the_first_cut_in_the_core_counts(report_of: ReportOf) -> None:
    report = report_of(ordered("  step 2\n", "  step 3\n", row("snip", "middle", "  step 1\n", 1)))
    (found,) = (f for f in report.findings if f.rule == "layout/core-before-edge")
    assert found.span.source.line(found.span.line).strip() == "step 1"


@pytest.mark.parametrize("standing", ["  cover natural\n", "  cover planted\n", "  offsite yes\n"])
def test_cover_that_stands_already_is_there_from_the_start(report_of: ReportOf, standing: str) -> None:
    plan = ordered("  step 3\n", "  step 2\n").replace("  for does\n", "  for does\n" + standing)
    assert early(report_of(plan)) == []


def test_one_pocket_by_the_plot_is_enough_and_each_plot_has_its_own(report_of: ReportOf) -> None:
    other = pocket("other", 20, 85, "  for any\n")
    plan = ordered("  step 3\n", "  step 2\n", other, row("c", "other", "  step 1\n"))
    assert early(report_of(plan)) == []
    rye = "food rye\n  outline 500,500 560,500 560,540 500,540\n" + pocket("rye-edge", 500, 550, "  for does\n")
    late = "row d\n  in rye-edge\n  method hinge\n  stumps 510,560 540,560\n  count 4\n  fall N\n  dbh 8in\n  step 9\n"
    assert early(report_of(ordered("  step 1\n", "  step 2\n", rye, late))) == [1]
    assert early(report_of(ordered("  step 3\n", "  step 2\n", rye, late))) == [2]
    # without any cover by it a plot is no matter of order: another rule tells that
    bare = "food rye\n  outline 500,500 560,500 560,540 500,540\n"
    assert early(report_of(ordered("  step 1\n", "  step 2\n", bare))) == []


def test_in_an_as_built_only_what_is_done_in_the_core_counts(report_of: ReportOf) -> None:
    head = 'plan "X"\n  stage as-built\n'
    assert early(report_of(ordered("  step 1\n", "  step 2\n  done yes\n", head=head))) == [1]
    assert early(report_of(ordered("  step 2\n", "  step 1\n", head=head))) == []


def test_a_plan_without_a_core_pocket_hears_nothing(report_of: ReportOf) -> None:
    report = report_of(SQUARE + CLOVER + EDGE + row("a", "edge"))
    assert early(report) == [] and unjudged(report, "core-before-edge") == []
