"""What measures tell besides their figure, so that a mend can write it: places, bearings, trees at fault."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.vocabulary import VOCABULARY, Measured, Rows
from habitatlint.units import FOOT, YARD

ReportOf = Callable[..., Report]

POCKET = "pocket thicket\n  outline 0,0 60,0 60,60 0,60\n"
TREE = "  method hinge\n  tree-height 40ft\n  crown-ratio 80%\n  crown-width 12ft\n"
CLOVER = "food clover\n  outline 0,-40 60,-40 60,-10 0,-10\n"


def measured(name: str, report: Report, plural: str, *sizes: float, row: int = 0) -> Measured:
    """A measure of one thing; sizes in metres, or shares or degrees as the measure takes them."""
    kinds = VOCABULARY.measures[name].takes[1:]
    columns = [Column(kind, np.array([size])) for kind, size in zip(kinds, sizes, strict=True)]
    found = VOCABULARY.measures[name].function(report.scene, Rows(plural, np.array([row])), *columns)
    assert isinstance(found, Measured)
    return found


def part(found: Measured, name: str) -> Any:
    column = found.parts[name](np.array([0]))
    assert column.mask[0], column.why
    return column.values[0]


def unknown(found: Measured, name: str) -> str:
    column = found.parts[name](np.array([0]))
    assert not column.mask[0]
    return column.why


def test_the_place_of_a_path_nearest_a_stand(report_of: ReportOf) -> None:
    report = report_of("path lane\n  use entry\n  line 0,0 100,0\nstand oak\n  at 40,12\n  reach lane\n")
    place = part(measured("passes", report, "stands"), "nearest")
    assert (place.x / YARD, place.y / YARD) == pytest.approx((40, 0))


def test_paths_that_pass_a_stand_are_those_of_people_that_it_does_not_name_nearest_first(report_of: ReportOf) -> None:
    paths = "".join(
        f"path {name}\n  use {use}\n  line 0,{y} 100,{y}\n"
        for name, use, y in (("lane", "entry", 0), ("far", "exit", 9), ("near", "entry", 4), ("run", "travel", 1))
    )
    column = report_of(paths + "stand oak\n  at 40,2\n  reach lane\n").scene.table("stands").column("passing")
    assert column.values[0] == ("near", "far")
    apart = report_of(paths + "stand oak\n  at 40,40\n").scene.table("stands").column("passing")
    assert not apart.mask[0] and apart.why == "no other path passes it"


def test_a_corridor_is_run_on_straight_out_of_its_pocket(report_of: ReportOf) -> None:
    ride = "path ride\n  use corridor\n  line 30,-3 30,40\n  width 3ft\n"
    line = part(measured("shut-ends", report_of(POCKET + ride), "corridors", 5 * YARD, 3 * FOOT), "line")
    ends = [value / YARD for value in line.bounds]
    assert ends == pytest.approx([30, -3, 30, 63])
    through = ride.replace("30,40", "30,63")
    told = unknown(measured("shut-ends", report_of(POCKET + through), "corridors", 5 * YARD, 3 * FOOT), "line")
    assert told == "it does not stop in the pocket"


def test_a_corridor_knows_what_lays_it(report_of: ReportOf) -> None:
    laid = POCKET + "  corridors every 30yd off clover width 3ft\n" + CLOVER
    table = report_of(laid).scene.table("corridors")
    assert table.column("every").values[0] == pytest.approx(30 * YARD)
    assert table.column("off").values[0] == 0 and not table.column("path").mask[0]
    table = report_of(POCKET + "path ride\n  use corridor\n  line 30,-3 30,40\n").scene.table("corridors")
    assert table.column("path").values[0] == 0 and not table.column("off").mask[0]


def test_corridors_are_laid_off_the_nearest_plot_or_crop(report_of: ReportOf) -> None:
    foods = (
        CLOVER + "food acorns\n  kind mast\n  at 30,65\n  radius 2\nfood beans\n  kind crop\n  at 30,-300\n  radius 9\n"
    )
    cut = POCKET + "tree corner\n  at 1,1\n  fall S\n" + TREE
    found = measured("to-way-out", report_of(cut + foods), "pockets", 3 * FOOT, 14 * YARD)
    assert part(found, "food") == 0
    assert "no plot or crop" in unknown(
        measured("to-way-out", report_of(cut), "pockets", 3 * FOOT, 14 * YARD), "food"
    )  # fmt: skip


def test_hinges_laid_toward_a_line_of_travel_and_the_line(report_of: ReportOf) -> None:
    plan = "path run\n  use travel\n  line 0,0 100,0\npath other-run\n  use travel\n  line 0,200 100,200\n"
    plan += (
        "row cover\n  stumps 10,20 50,20\n  spacing 20\n  fall S\n" + TREE + "tree cover-2\n  of cover 2\n  fall N\n"
    )
    report = report_of(plan)
    found = measured("laid-toward", report, "cuttings", 10 * YARD, 10)
    assert part(found, "line") == 0
    assert sorted(report.scene.trees.number[part(found, "toward")]) == [1, 3]


def test_the_way_most_trees_lie_and_those_that_do_not(report_of: ReportOf) -> None:
    trees = "".join(
        f"tree t{i}\n  at {10 * i},30\n  fall {fall}\n{TREE}" for i, fall in enumerate(("N", "N", "N", "S"), 1)
    )
    found = measured("agreement", report_of(POCKET + trees), "pockets")
    assert part(found, "most") == pytest.approx(0)
    assert list(part(found, "against")) == [3]
    cancel = "".join(f"tree t{i}\n  at {10 * i},30\n  fall {fall}\n{TREE}" for i, fall in enumerate("NS", 1))
    assert (
        unknown(measured("agreement", report_of(POCKET + cancel), "pockets"), "most")
        == "as many lie one way as the other"
    )


WALL = "hazard wall\n  line 27,50 10,50 10,10 50,10 50,50 33,50\n  kind fence\n  barrier yes\n"
WAY = (3 * FOOT, 30 * 0.0254, 30 * 0.0254)


def test_another_way_out_leads_away_from_where_none_is(report_of: ReportOf) -> None:
    corner = "tree corner\n  at 1,1\n  fall S\n" + TREE
    bed = POCKET.replace("0,60\n", "0,60\n  bed 30,30\n")
    # the one gap lies north: trouble from there shuts the deer in, and another gap helps in the south
    found = measured("open-arc", report_of(bed + corner + WALL), "bed-places", *WAY)
    assert part(found, "out") == pytest.approx(180, abs=5)
    assert part(found, "across") == pytest.approx(0, abs=5) or part(found, "across") == pytest.approx(360, abs=5)
    assert not len(part(found, "over"))
    open_ = measured("open-arc", report_of(bed + corner), "bed-places", *WAY)
    assert unknown(open_, "out") == ""


def test_the_trees_that_lie_over_a_bed(report_of: ReportOf) -> None:
    bed = POCKET.replace("0,60\n", "0,60\n  bed 30,30\n")
    trees = f"tree over\n  at 30,21\n  fall N\n{TREE}tree beside\n  at 45,21\n  fall N\n{TREE}"
    found = measured("open-arc", report_of(bed + trees), "bed-places", *WAY)
    assert list(part(found, "over")) == [0]


def test_the_trees_of_a_chute_on_the_hand_with_fewer(report_of: ReportOf) -> None:
    plan = "path run\n  use travel\n  line 0,0 200,0\n" + "".join(
        f"row {name}\n  stumps 20,{y} 68,{y}\n  spacing {apart}\n  fall E\n{TREE}"
        for name, y, apart in (("upper", 3, 4), ("lower", -3, 6))
    )
    plan += "tree far\n  at 150,3\n  fall E\n" + TREE  # by the line, but on no chute
    report = report_of(plan)
    found = measured("chute", report, "paths", 20 * YARD, 5 * YARD, 0.7)
    trees = report.scene.trees
    hand = part(found, "hand")
    assert {trees.blocks[int(trees.block[row])].name for row in hand} == {"lower"}


def test_what_is_cut_before_the_cover_by_the_food_and_by_when_that_is_there(report_of: ReportOf) -> None:
    def row(name: str, x: float, y: float, step: int, more: str = "") -> str:
        return (
            f"row {name}\n  method hinge\n  stumps {x},{y} {x + 20},{y}\n  spacing 10\n  fall N\n  step {step}\n{more}"
        )

    plan = "boundary\n  outline 0,0 400,0 400,400 0,400\nfood clover\n  outline 10,10 60,10 60,40 10,40\n"
    plan += "pocket edge\n  for does\n  outline 10,60 60,60 60,90 10,90\npocket middle\n  outline 180,180 220,180 220,220 180,220\n"
    plan += row("edge-row", 20, 75, 3) + row("late", 190, 190, 4)
    found = measured("ahead-of-cover", report_of(plan + row("early", 190, 205, 1)), "pockets", 40 * YARD, row=1)
    assert part(found, "until") == 3
    assert list(part(found, "begun")) == [2]
    over = report_of(plan + row("early", 190, 205, 1, "  done 2026-02-01\n"))
    assert not len(part(measured("ahead-of-cover", over, "pockets", 40 * YARD, row=1), "begun"))


def test_what_lays_the_most_tops_over_a_pocket(report_of: ReportOf) -> None:
    row = "row heap\n  stumps 5,5 55,5\n  spacing 2\n  fall N\n" + TREE
    patch = "patch brush\n  in thicket\n  density {n} per acre\n" + TREE
    found = measured("roof", report_of(POCKET + row), "pockets", 20 * YARD)
    assert part(found, "spacing") == pytest.approx(2 * YARD)
    assert "no patch" in unknown(found, "patch")
    found = measured("roof", report_of(POCKET + row + patch.format(n=400)), "pockets", 20 * YARD)
    assert part(found, "patch") == 1
    assert part(found, "density") == pytest.approx(400 / 4046.8564224)
    found = measured("roof", report_of(POCKET + row + patch.format(n=2)), "pockets", 20 * YARD)
    assert part(found, "row") == 0


def test_how_close_stumps_stand_for_each_top_to_reach_the_next(report_of: ReportOf) -> None:
    screen = (
        "path lane\n  use entry\n  line 0,0 100,0\nrow screen\n  purpose screen\n  method fell\n  stumps 20,8 60,8\n"
    )
    tops = "  fall along lane\n  tree-height 40ft\n  crown-ratio 30%\n  crown-width 12ft\n"
    table = report_of(screen + "  spacing 5.02\n" + tops).scene.table("holes")
    # tops of 4 yd: 5.02 yd less the hole of 1.02 yd, to the whole foot
    assert table.column("closer").values[0] / FOOT == pytest.approx(12)
    assert table.column("crown-width").values[0] == pytest.approx(12 * FOOT)
    counted = report_of(screen + "  count 8\n" + tops).scene.table("holes").column("closer")
    assert not counted.mask.any()
