"""Setbacks, big trees over hinges, and the way out for wood."""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.findings import Finding
from habitatlint.ground.columns import Column
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import read_plan
from habitatlint.measures import every_measure
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.measures.works import over_hinges
from habitatlint.outputs.sentences import message
from habitatlint.review import Review
from habitatlint.source import Source
from habitatlint.units import FOOT, INCH

ReportOf = Callable[..., Report]


def found(report: Report, slug: str) -> list[Finding]:
    return [finding for finding in report.findings if finding.rule == f"order/{slug}"]


def levels(report: Report, slug: str) -> list[str]:
    return [finding.level.name for finding in found(report, slug)]


def not_judged(report: Report, slug: str) -> str:
    told = [" ".join(str(fact.value) for fact in f.facts.values()) for f in report.findings
            if f.rule == "record/not-judged"]  # fmt: skip
    return " ".join(text for text in told if slug in text)


# -- setbacks ------------------------------------------------------------------------------------------------

BROOK = "hazard brook\n  kind water\n  line 0,0 100,0\n"
SETBACK = 'setback side\n  from brook\n  distance 50ft\n  source "an invented ordinance"\n'
ROW = "row cover\n  method hinge\n  stumps 10,{y} 90,{y}\n  spacing 10\n  fall N\n  dbh 8in\n"


@pytest.mark.parametrize(
    ("y", "levels_"), [(0, ["error"]), (16, ["error"]), (16.6, ["error"]), (17, []), (-16, ["error"])]
)
def test_stumps_are_held_to_the_distance_on_both_sides(report_of: ReportOf, y: float, levels_: list[str]) -> None:
    assert levels(report_of(BROOK + SETBACK + ROW.format(y=y)), "within-setback") == levels_


def test_the_finding_names_the_setbacks_own_source(report_of: ReportOf) -> None:
    report = report_of(BROOK + SETBACK + ROW.format(y=5))
    (finding,) = found(report, "within-setback")
    assert "an invented ordinance" in message(finding, "yd") and finding.evidence == ""
    assert finding.measured is not None and finding.measured.value == pytest.approx(15 * FOOT)
    assert finding.names == {"cover", "side"}


def test_it_goes_by_the_stumps_and_not_by_the_line(report_of: ReportOf) -> None:
    # the line ends at the brook, and its last stump stands 30 yd before
    row = "row cover\n  method hinge\n  stumps 50,100 50,0\n  spacing 35\n  fall N\n  dbh 8in\n"
    assert levels(report_of(BROOK + SETBACK + row), "within-setback") == []
    one = "tree last\n  of cover 3\n  method leave\n"
    near = row.replace("spacing 35", "spacing 45")
    assert levels(report_of(BROOK + SETBACK + near), "within-setback") == ["error"]
    assert levels(report_of(BROOK + SETBACK + near + one), "within-setback") == []


@pytest.mark.parametrize(
    ("forbids", "method", "told"),
    [("", "hinge", True), ("", "leave", False), ("", "girdle", True), ("fell", "hinge", False),
     ("fell girdle", "girdle", True), ("hack-and-squirt", "hack-and-squirt", True)],
)  # fmt: skip
def test_what_is_forbidden(report_of: ReportOf, forbids: str, method: str, told: bool) -> None:
    setback = SETBACK + (f"  forbids {forbids}\n" if forbids else "")
    report = report_of(BROOK + setback + ROW.format(y=5).replace("hinge", method))
    assert bool(levels(report, "within-setback")) is told


@pytest.mark.parametrize(("method", "told"), [("", True), ("  method logger\n", True), ("  method girdle\n", False)])
def test_a_loggers_release_fells(report_of: ReportOf, method: str, told: bool) -> None:
    release = "release canopy\n  outline 10,10 60,10 60,60 10,60\n  basal-area 110 to 50 sqft/ac\n" + method
    assert bool(levels(report_of(BROOK + SETBACK + "  forbids fell\n" + release), "within-setback")) is told


def test_setbacks_from_a_plot_a_path_and_the_boundary(report_of: ReportOf) -> None:
    things = (
        "food clover\n  outline 0,-40 100,-40 100,0 0,0\n",
        "path lane\n  use entry\n  line 0,0 100,0\n",
        "boundary\n  outline 0,0 100,0 100,300 0,300\n",
    )
    for thing, name in zip(things, ("clover", "lane", "boundary"), strict=True):
        setback = SETBACK.replace("brook", name)
        inner = ROW.replace("10,{y} 90,{y}", "40,{y} 60,{y}")
        assert levels(report_of(thing + setback + inner.format(y=10)), "within-setback") == ["error"]
        assert levels(report_of(thing + setback + inner.format(y=20)), "within-setback") == []


def test_without_a_boundary_it_is_not_judged_and_without_work_not_told(report_of: ReportOf) -> None:
    setback = SETBACK.replace("brook", "boundary")
    assert "boundary" in not_judged(report_of(setback + ROW.format(y=5)), "within-setback")
    assert not not_judged(report_of(setback), "within-setback")
    # what `from` misnames is a slip of its own
    report = report_of(SETBACK.replace("brook", "broook") + BROOK + ROW.format(y=5))
    assert not not_judged(report, "within-setback") and not found(report, "within-setback")


def test_what_is_not_ours_or_not_counted_is_not_held(report_of: ReportOf) -> None:
    assert not found(report_of(BROOK + SETBACK + ROW.format(y=5) + "  offsite yes\n"), "within-setback")
    head = 'plan "As it was cut"\n  stage as-built\n  units yd\n'
    assert not found(report_of(head + BROOK + SETBACK + ROW.format(y=5)), "within-setback")
    assert found(report_of(head + BROOK + SETBACK + ROW.format(y=5) + "  done yes\n"), "within-setback")


# -- big trees over hinges -----------------------------------------------------------------------------------

HINGES = "row thicket\n  method hinge\n  stumps 0,14 20,14\n  spacing 5\n  fall E\n  dbh 8in\n"
OAK = "tree oak\n  at 10,0\n  method fell\n  fall N\n  dbh 14in\n  tree-height 60ft\n"


@pytest.mark.parametrize(
    ("hinged", "felled", "levels_"),
    [
        ("  step 1\n", "  step 2\n", ["error"]),
        ("  step 2\n", "  step 2\n", []),
        ("  step 3\n", "  step 2\n", []),
        ("  done 2026-02-01\n", "  step 1\n", ["error"]),
        ("  done yes\n", "", ["error"]),
        ("  step 1\n", "  done 2026-02-01\n", []),
        ("  done 2026-02-01\n", "  done 2026-02-03\n", ["error"]),
        ("  done 2026-02-03\n", "  done 2026-02-01\n", []),
        ("  step 2\n  done 2026-02-01\n", "  step 2\n  done 2026-02-03\n", ["error"]),
        ("  state down\n", "  step 1\n", ["error"]),
    ],
)
def test_which_comes_first(report_of: ReportOf, hinged: str, felled: str, levels_: list[str]) -> None:
    report = report_of(HINGES + hinged + OAK + felled)
    assert levels(report, "felling-over-hinges") == levels_
    assert not not_judged(report, "felling-over-hinges")


def test_it_counts_the_hinges_under_it(report_of: ReportOf) -> None:
    # 60 ft of tree reach 19.7 yd north, its top 8 yd of that: the hinges lie at 14 yd from 0 to 39 yd east
    report = report_of(HINGES + "  step 1\n" + OAK + "  step 2\n")
    (finding,) = found(report, "felling-over-hinges")
    fallen = report.scene.trees.fallen
    across = sum(fallen[5].intersects(one) for one in fallen[:5])
    assert finding.measured is not None and finding.measured.value == across == 3


@pytest.mark.parametrize(("words", "why"), [("  step 2\n", "step"), ("", "step")])
def test_without_a_step_it_is_not_judged(report_of: ReportOf, words: str, why: str) -> None:
    report = report_of(HINGES + OAK + words)
    assert not found(report, "felling-over-hinges") and why in not_judged(report, "felling-over-hinges")


def test_without_a_dbh_or_a_fall_it_is_not_judged_where_hinges_lie_in_reach(report_of: ReportOf) -> None:
    for line, why in (("  dbh 14in\n", "`dbh`"), ("  fall N\n", "`fall`")):
        report = report_of(HINGES + "  step 1\n" + OAK.replace(line, "") + "  step 2\n")
        assert not found(report, "felling-over-hinges") and why in not_judged(report, "felling-over-hinges")
        far = OAK.replace(line, "").replace("10,0", "10,-60")
        assert not not_judged(report_of(HINGES + "  step 1\n" + far + "  step 2\n"), "felling-over-hinges")


def test_treated_hinges_dead_trees_and_small_ones_are_another_matter(report_of: ReportOf) -> None:
    for hinged, oak in (
        (HINGES + "  stump-treatment planned\n", OAK),
        (HINGES, OAK.replace("14in", "10in")),
        (HINGES, OAK.replace("method fell", "method frill")),
        (HINGES, OAK.replace("method fell", "method hinge").replace("14in", "12in")),
        (HINGES.replace("method hinge", "method fell"), OAK),
    ):
        assert not found(report_of(hinged + "  step 1\n" + oak + "  step 2\n"), "felling-over-hinges")


WOODS = "timber woods\n  outline 0,0 200,0 200,200 0,200\n  height 70ft\n  class 12in..22in 70 sqft/ac\n"
RELEASE = "release canopy\n  outline 40,40 160,40 160,160 40,160\n  basal-area 70 to 30 sqft/ac\n  step 2\n"


def hinges_at(y: float) -> str:
    return (
        f"row thicket\n  method hinge\n  stumps 60,{y} 140,{y}\n  spacing 20\n  fall N\n  dbh 8in\n  tree-height 56ft\n"
        "  step 1\n"
    )


@pytest.mark.parametrize(
    ("y", "level"), [(100, ["error"]), (25, ["error"]), (15, ["warning"]), (0, ["warning"]), (-12, [])]
)
def test_a_release_fells_in_its_outline_and_a_trees_length_about_it(
    report_of: ReportOf, y: float, level: list[str]
) -> None:
    # 56 ft lie 17.6 yd north of their stumps, and 70 ft reach 23 yd beyond the outline, which begins at 40
    assert levels(report_of(WOODS + RELEASE + hinges_at(y)), "felling-over-hinges") == level


def test_how_tall_a_released_tree_is(report_of: ReportOf) -> None:
    for woods, level in (
        (WOODS, ["warning"]),
        (WOODS.replace("70ft", "20ft"), []),
        (WOODS.replace("  height 70ft\n", ""), ["warning"]),
        ("", []),  # nothing tells: the outline alone counts
    ):
        assert levels(report_of(woods + RELEASE + hinges_at(10)), "felling-over-hinges") == level


def test_a_release_that_kills_standing_drops_nothing(report_of: ReportOf) -> None:
    girdled = RELEASE.replace("  step 2\n", "  method girdle\n  step 2\n")
    assert not found(report_of(WOODS + girdled + hinges_at(100)), "felling-over-hinges")


PATCH = "patch brush\n  method {method}\n  outline 80,80 120,80 120,120 80,120\n  density 50 per acre\n  step {step}\n"


def test_patches_are_judged_by_their_ground(report_of: ReportOf) -> None:
    report = report_of(WOODS + RELEASE + PATCH.format(method="hinge", step=1))
    (finding,) = found(report, "felling-over-hinges")
    # 1600 sq yd of 50 an acre are 17
    assert finding.measured is not None and finding.measured.value == round(1600 / 4840 * 50)
    felled = PATCH.format(method="fell", step=2)
    assert levels(report_of(felled + "  dbh 14in\n" + hinges_at(100)), "felling-over-hinges") == ["error"]
    assert levels(report_of(felled + "  dbh 14in\n" + hinges_at(50)), "felling-over-hinges") == ["warning"]
    assert levels(report_of(felled + "  dbh 8in\n" + hinges_at(100)), "felling-over-hinges") == []
    assert "`dbh`" in not_judged(report_of(felled + hinges_at(100)), "felling-over-hinges")


def test_four_hundred_releases_rows_and_trees_take_no_second(review: Review) -> None:
    parts = []
    for number in range(400):
        x, y = number % 20 * 100, number // 20 * 100
        box = f"  outline {x},{y} {x + 90},{y} {x + 90},{y + 90} {x},{y + 90}\n"
        parts.append(
            f"release c{number}\n{box}  basal-area 110 to 50 sqft/ac\n  step 2\n"
            f"row r{number}\n  method hinge\n  stumps {x + 10},{y + 40} {x + 80},{y + 40}\n  spacing 10\n  fall N\n"
            f"  dbh 8in\n  step 1\nrow f{number}\n  method fell\n  stumps {x + 10},{y + 30} {x + 80},{y + 30}\n"
            "  spacing 10\n  fall N\n  dbh 14in\n  step 2\n"
        )
    scene = Scene(read_plan(Source("plan", "".join(parts)), review.plan_grammar, fragment=True))
    every_measure().attach(scene)
    size = scene.table("tree-works").size
    scene.trees.fallen_index  # noqa: B018
    start = perf_counter()
    measured = over_hinges(scene, Rows("tree-works", np.arange(size)), Column("length", np.full(size, 12 * INCH)))
    assert perf_counter() - start < 2  # some 0.3 s
    assert isinstance(measured, Measured) and (measured.value.values > 0).sum() == 800


# -- the way out for wood ------------------------------------------------------------------------------------

WOOD = "release canopy\n  outline 0,0 60,0 60,60 0,60\n  method fell\n  wood firewood\n"


@pytest.mark.parametrize(
    ("way", "level"),
    [
        ("path skid\n  use vehicle\n  line 121,0 121,60\n", ["note"]),
        ("path skid\n  use vehicle\n  line 119,0 119,60\n", []),
        ("path skid\n  use entry\n  line 30,-20 30,20\n", ["note"]),
        ("hazard lane\n  kind road\n  line 100,0 100,60\n", []),
        ("hazard line\n  kind wire\n  line 100,0 100,60\n", ["note"]),
        ("place yard\n  kind landing\n  at 70,30\n", []),
        ("place gate\n  kind gate\n  at 70,30\n", ["note"]),
        ("", ["note"]),
        ("path skid\n  use vehicl\n  line 121,0 121,60\n", []),  # its slip has told of it
    ],
)
def test_wood_leaves_by_a_way_that_vehicles_use(report_of: ReportOf, way: str, level: list[str]) -> None:
    assert levels(report_of(WOOD + way), "no-way-out-for-wood") == level


@pytest.mark.parametrize(
    "line", ["  wood leave\n", "", "  wood firewood\n  done yes\n", "  wood logs\n  offsite yes\n"]
)
def test_wood_that_stays_or_is_gone_needs_none(report_of: ReportOf, line: str) -> None:
    assert levels(report_of(WOOD.replace("  wood firewood\n", line)), "no-way-out-for-wood") == []
