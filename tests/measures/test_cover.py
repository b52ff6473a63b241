"""Cover laid in a pocket, and corridors through it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.corridors import shut_ends, to_next_corridor, to_way_out
from habitatlint.measures.cover import _laid, agreement, cover_of, expected
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.units import FOOT, YARD

Reports = Callable[..., Report]
CELL = 20 * YARD
POCKET = "pocket thicket\n  outline 0,0 60,0 60,60 0,60\n"


def tree(name: str, x: float, y: float, fall: str = "N") -> str:
    """A top 10 yd long and 6 yd wide, from 5 to 15 yd from its stump (a cut at the ground)."""
    return (
        f"tree {name}\n  at {x},{y}\n  method hinge\n  fall {fall}\n  cut-height 0ft\n  tree-height 15yd\n"
        "  crown-ratio 66.6667%\n  crown-width 6yd\n  dbh 8in\n"
    )


#: a twelve-sided ellipse of half-axes 5 and 3 yd, in square yards
TOP = 3 * 5 * 3


def test_one_top_shades_its_own_ground_and_roofs_none(report_of: Reports) -> None:
    cover = cover_of(report_of(POCKET + tree("one", 30, 20)).scene, 0, CELL)
    assert cover is not None
    assert cover.shade * 3600 == pytest.approx(TOP, abs=0.01)
    assert cover.roof == 0


def test_two_tops_on_the_same_ground_roof_it(report_of: Reports) -> None:
    cover = cover_of(report_of(POCKET + tree("one", 30, 20) + tree("two", 30, 20)).scene, 0, CELL)
    assert cover is not None
    assert cover.shade * 3600 == pytest.approx(TOP, abs=0.01)
    assert cover.roof * 3600 == pytest.approx(TOP, abs=0.01)
    # it lies over the two cells on both sides of 30,30: of the middle one 20..40 by 20..40
    assert cover.worst * 400 == pytest.approx(TOP, abs=0.01)


def test_three_tops_on_one_ground_count_no_more_than_two(report_of: Reports) -> None:
    trees = [tree(name, 30, 20) for name in ("one", "two", "three")]
    cover = cover_of(report_of(POCKET + "".join(trees)).scene, 0, CELL)
    assert cover is not None and cover.roof * 3600 == pytest.approx(TOP, abs=0.01)


@pytest.mark.parametrize("spread", [4.0, 15.0, 40.0, 200.0])
@pytest.mark.parametrize("heaped", [2, 16])
def test_ground_under_one_top_and_under_two_is_that_of_all_tops_joined_and_of_all_pairs(
    spread: float, heaped: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("habitatlint.measures.cover._HEAPED", heaped)
    places = np.random.default_rng(int(spread)).uniform(0, spread, (37, 2))
    tops = shapely.buffer(shapely.points(np.concatenate([places, places[:3]])), 3, quad_segs=3)
    pairs = [one.intersection(other) for at, one in enumerate(tops) for other in tops[at + 1 :]]
    for pieces, whole in zip(_laid(tops), (shapely.union_all(tops), shapely.union_all(pairs)), strict=True):
        assert shapely.area(pieces).sum() == pytest.approx(whole.area)
        assert shapely.union_all(pieces).symmetric_difference(whole).area < 1e-6
    assert [len(pieces) for pieces in _laid(tops[:0])] == [0, 0]


def test_a_thousand_tops_on_one_spot_are_laid_quickly(report_of: Reports) -> None:
    """Pairs of pairs of them would not end."""
    scene = report_of(POCKET + tree("one", 30, 20)).scene
    tops = np.repeat(scene.trees.top, 1000)
    once, twice = _laid(tops)
    assert shapely.area(once).sum() == pytest.approx(shapely.area(twice).sum())
    assert shapely.area(once).sum() / YARD**2 == pytest.approx(TOP, abs=0.01)


def test_what_lies_outside_the_pocket_does_not_count(report_of: Reports) -> None:
    cover = cover_of(report_of(POCKET + tree("one", 30, 58)).scene, 0, CELL)
    assert cover is not None and cover.shade == 0


def test_a_patch_is_taken_by_expectation(report_of: Reports) -> None:
    patch = (
        "patch brush\n  in thicket\n  method hinge\n  density 60 per acre\n  fall N\n  cut-height 0ft\n"
        "  tree-height 15yd\n  crown-ratio 66.6667%\n  crown-width 6yd\n  dbh 8in\n"
    )
    mean = 60 / 4840 * TOP
    cover = cover_of(report_of(POCKET + patch).scene, 0, CELL)
    assert cover is not None
    assert cover.shade == pytest.approx(1 - np.exp(-mean), abs=1e-4)
    assert cover.roof == pytest.approx(1 - (1 + mean) * np.exp(-mean), abs=1e-4)
    # a top that is laid on it by a row as well: its ground is shaded surely, and roofed where one more falls
    both = cover_of(report_of(POCKET + patch + tree("one", 30, 20)).scene, 0, CELL)
    assert both is not None
    share = TOP / 3600
    assert both.shade == pytest.approx(share + (1 - share) * expected(mean)[0], abs=1e-4)
    assert both.roof == pytest.approx(share * expected(mean)[0] + (1 - share) * expected(mean)[1], abs=1e-4)


def test_sixty_and_a_hundred_and_fifty_hinges_an_acre_cover_what_the_definition_expects(report_of: Reports) -> None:
    """Eight-inch hinges: sixty an acre put some 33% of the ground under a top and 6% under two; 150 put 65% and 27%."""
    for density, shade, roof in ((60, 0.33, 0.06), (150, 0.65, 0.27)):
        patch = f"patch brush\n  in thicket\n  method hinge\n  density {density} per acre\n  fall N\n  dbh 8in\n"
        cover = cover_of(report_of(POCKET + patch).scene, 0, CELL)
        assert cover is not None
        assert cover.shade == pytest.approx(shade, abs=0.05)
        assert cover.roof == pytest.approx(roof, abs=0.04)


def lie(report: Report) -> float:
    found = agreement(report.scene, Rows("pockets", np.array([0], np.intp)))
    assert isinstance(found, Measured)
    return float(found.value.values[0])


def test_falls_agree_or_cancel(report_of: Reports) -> None:
    alike = POCKET + tree("one", 20, 20) + tree("two", 40, 20)
    assert lie(report_of(alike)) == pytest.approx(1)
    assert lie(report_of(POCKET + tree("one", 20, 20) + tree("two", 40, 20, "S"))) == pytest.approx(0)
    assert lie(report_of(POCKET + tree("one", 20, 20) + tree("two", 40, 20, "E"))) == pytest.approx(np.sqrt(0.5))


# -- corridors -----------------------------------------------------------------------------------------------

CLOVER = "food clover\n  outline 0,-40 60,-40 60,-10 0,-10\n"


def _lengths(*sizes: float) -> list[Column]:
    return [Column("length", np.array([size])) for size in sizes]


def next_one(report: Report, row: int = 0) -> float:
    found = to_next_corridor(report.scene, Rows("corridors", np.array([row], np.intp)))
    assert isinstance(found, Measured)
    return float(found.value.values[0]) / YARD


def test_corridors_that_meet_are_told_by_how_they_run(report_of: Reports) -> None:
    two = (
        "path west\n  use corridor\n  line 10,-3 10,63\npath east\n  use corridor\n  line 10,-3 50,63\n"
        "tree t\n  at 1,1\n  method hinge\n  fall N\n"
    )
    # 0 yd apart at the foot, and 37 yd square to the other where it leaves the pocket
    assert 12 < next_one(report_of(POCKET + two)) < 24


def test_an_end_is_shut_where_it_stops_in_the_cover(report_of: Reports) -> None:
    def shut(line: str) -> float:
        report = report_of(POCKET + f"path ride\n  use corridor\n  line {line}\n  width 3ft\n")
        found = shut_ends(report.scene, Rows("corridors", np.array([0], np.intp)), *_lengths(5 * YARD, 3 * FOOT))
        assert isinstance(found, Measured)
        return float(found.value.values[0])

    assert shut("30,-3 30,63") == 0
    assert shut("30,-3 30,40") == 1
    assert shut("30,20 30,40") == 2


def worst(report: Report, near: float = 0.0) -> float:
    found = to_way_out(report.scene, Rows("pockets", np.array([0], np.intp)), *_lengths(3 * FOOT, near * YARD))
    assert isinstance(found, Measured)
    return float(found.value.values[0]) / YARD


def test_the_middle_of_open_ground_is_as_far_as_its_edge(report_of: Reports) -> None:
    assert worst(report_of(POCKET)) == pytest.approx(30, abs=0.6)
    assert worst(report_of("pocket thicket\n  outline 0,0 20,0 20,90 0,90\n")) == pytest.approx(10, abs=0.3)


def test_corridors_bring_the_way_out_near(report_of: Reports) -> None:
    text = CLOVER + POCKET + "  corridors every 20yd off clover width 3ft\n"
    # half of the 20 yd less half a corridor's width
    assert worst(report_of(text)) == pytest.approx(9.5, abs=0.6)


def test_a_way_leads_round_what_bars(report_of: Reports) -> None:
    """In a strip 12 yd wide the edge is 6 yd off at most; with one side fenced the far side is the way."""
    strip = "pocket thicket\n  outline 0,0 12,0 12,60 0,60\n"
    fence = "hazard wire\n  line -1,-30 -1,90\n  kind fence\n  barrier yes\n"
    assert worst(report_of(strip)) == pytest.approx(6, abs=0.3)
    assert worst(report_of(strip + fence)) == pytest.approx(6, abs=0.3)
    shut = "hazard wire\n  line 0.2,-30 0.2,90\n  kind fence\n  barrier yes\n"
    # the straight line to the shut side is short, and what is told once it does not decide is the walk
    assert worst(report_of(strip + shut), near=8) == pytest.approx(11.3, abs=0.4)


def test_mirroring_a_pocket_mirrors_its_corridors_and_its_cells(report_of: Reports) -> None:
    # half a spacing from the end of the side that is written first, whichever way round the outline runs
    plan = (
        "food clover\n  outline 0,-60 {0}100,-60 {0}100,-20 0,-20\n"
        "pocket thicket\n  outline 0,0 {0}110,0 {0}90,60 {0}30,70\n  corridors every 20yd off clover width 3ft\n"
        "tree one\n  at {0}42,40\n  method hinge\n  fall {1}\n  dbh 8in\n"
        "tree two\n  at {0}44,40\n  method hinge\n  fall {1}\n  dbh 8in\n"
    )
    plain, mirrored = (report_of(plan.format(*how)).scene for how in (("", "N30E"), ("-", "N30W")))
    feet = [[line.coords[0][0] / YARD for _, line in scene.corridors[0]] for scene in (plain, mirrored)]
    assert feet[0] == pytest.approx([10, 30, 50, 70, 90])
    assert feet[1] == pytest.approx([-10, -30, -50, -70, -90])
    cells = [cover_of(scene, 0, CELL) for scene in (plain, mirrored)]
    assert cells[0] is not None and cells[1] is not None and cells[0].worst > 0
    assert cells[1].worst == pytest.approx(cells[0].worst)


def test_corridors_as_wide_as_the_pocket_leave_no_spot_between(told: Callable[..., list[str]]) -> None:
    plan = (
        "food clover\n  outline 0,-60 60,-60 60,-20 0,-20\n"
        "pocket thicket\n  outline 0,0 60,0 60,60 0,60\n  corridors every 1yd off clover width 10yd\n"
    )
    lines = told(plan + tree("one", 30, 20))
    assert not [line for line in lines if "far-from-corridor" in line]
