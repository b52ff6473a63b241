"""Walks: where they begin and end, whose side the deer are on, and how stems lie across them.

Expected figures are worked by hand from the drawing; joins and reaches are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import read_plan
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.measures.walk import (
    abreast,
    breach,
    deer_sides,
    lie,
    nearest_walk,
    passes,
    side,
    top_onto,
    walks_of,
    ways_of,
)
from habitatlint.review import Review
from habitatlint.source import Source
from habitatlint.units import YARD

ReportOf = Callable[..., Report]

LANE = "path lane\n  use entry\n  line 0,0 100,0\n"


def walk_lengths(scene: Scene) -> list[float]:
    return [round(walk.line.length / YARD, 2) for walk in walks_of(scene)]


def all_trees(scene: Scene, walk: int = 0) -> tuple[Rows, Rows]:
    count = len(scene.trees)
    return Rows("trees", np.arange(count)), Rows("walks", np.full(count, walk))


def test_a_walk_runs_from_the_gate_to_the_place_nearest_the_stand(report_of: ReportOf) -> None:
    plan = LANE + "place gate\n  kind gate\n  at 10,2\nstand oak\n  at 70,6\n  reach lane\n"
    (walk,) = walks_of(report_of(plan).scene)
    assert [(x / YARD, y / YARD) for x, y in walk.whole.coords] == [pytest.approx((10, 0)), pytest.approx((70, 0))]


def test_without_a_gate_a_walk_runs_from_the_boundary(report_of: ReportOf) -> None:
    plan = "boundary\n  outline -50,-50 103,-50 103,50 -50,50\n" + LANE + "stand oak\n  at 40,3\n  reach lane\n"
    (walk,) = walks_of(report_of(plan).scene)
    assert [x / YARD for x, _ in walk.whole.coords] == pytest.approx([100, 40])


def test_with_neither_a_walk_begins_at_the_first_point(report_of: ReportOf) -> None:
    (walk,) = walks_of(report_of(LANE + "stand oak\n  at 40,3\n  reach lane\n").scene)
    assert [x / YARD for x, _ in walk.whole.coords] == pytest.approx([0, 40])


def test_a_walk_goes_over_two_joined_paths(report_of: ReportOf) -> None:
    plan = LANE + "path spur\n  use entry\n  line 100,4 100,60\nstand oak\n  at 103,60\n  reach lane spur\n"
    scene = report_of(plan).scene
    assert walk_lengths(scene) == [160]  # 100 of lane, 4 across, 56 of spur
    assert [path.name for path in walks_of(scene)[0].paths] == ["lane", "spur"]


def test_paths_meet_at_their_crossing_not_only_at_their_ends(report_of: ReportOf) -> None:
    plan = LANE + "path cross\n  use entry\n  line 60,-40 60,40\nstand oak\n  at 60,41\n  reach lane cross\n"
    assert walk_lengths(report_of(plan).scene) == [100]  # 60 of lane, 40 of the other


def test_paths_that_do_not_join_are_judged_whole_and_the_stand_is_told(report_of: ReportOf) -> None:
    plan = LANE + "path spur\n  use entry\n  line 100,6 100,60\nstand oak\n  at 103,60\n  reach lane spur\n"
    report = report_of(plan)
    assert walk_lengths(report.scene) == [100, 54]
    assert breach(report.scene, Rows("stands", np.array([0]))).value.values[0] == pytest.approx(6 * YARD)
    assert [f.rule for f in report.findings if f.rule.startswith("entry/")] == ["entry/stand-not-reached"]


def test_the_trunk_of_two_walks_is_judged_once_and_belongs_to_both(report_of: ReportOf) -> None:
    plan = LANE + "stand near\n  at 40,3\n  reach lane\nstand far\n  at 90,3\n  reach lane\n"
    scene = report_of(plan).scene
    assert walk_lengths(scene) == [90]
    stands = scene.blocks_of("stands")
    assert [[round(way.length / YARD) for way in ways_of(scene, stand)] for stand in stands] == [[40], [90]]  # type: ignore[arg-type]


def test_a_stand_without_reach_has_no_walk_and_its_path_is_judged_whole(report_of: ReportOf) -> None:
    (walk,) = walks_of(report_of(LANE + "stand oak\n  at 40,3\n").scene)
    assert walk.stand is None
    assert walk.line.length == pytest.approx(100 * YARD)


def test_how_near_a_path_passes(report_of: ReportOf) -> None:
    plan = (
        LANE
        + "path other\n  use entry\n  line 0,90 100,90\nstand oak\n  at 40,7\n  reach other\nstand elm\n  at 40,7\n"
    )
    near = passes(report_of(plan).scene, Rows("stands", np.array([0, 1]))).value.values / YARD
    assert near == pytest.approx([83, 7])  # the path that is named; where none is, the nearest


COVER = "row cover\n  method hinge\n  stumps 20,{y} 80,{y}\n  spacing 30\n  fall N\n  dbh 8in\n"


@pytest.mark.parametrize(
    ("things", "deer"),
    [
        ("", 0),
        ("food clover\n  outline 20,30 80,30 80,60 20,60\n", 1),
        ("food clover\n  outline 20,-60 80,-60 80,-30 20,-30\n", -1),
        ("food a\n  outline 20,30 80,30 80,60 20,60\nfood b\n  outline 20,-60 80,-60 80,-30 20,-30\n", 0),
        ("path run\n  use travel\n  line 0,100 100,100\n", 1),
        ("pocket far\n  outline 20,151 80,151 80,190 20,190\n", 0),
        ("pocket far\n  outline 20,149 80,149 80,190 20,190\n", 1),
        # beyond the end it counts on the side of the end leg produced
        ("food clover\n  outline 130,5 180,5 180,40 130,40\n", 1),
        # a ribbon on the other side is less than a quarter of what is near
        ("food clover\n  outline 20,-2 80,-2 80,90 20,90\n", 1),
        # core that is worked out: 400 yd square, the walk 90 yd from its south side
        ("boundary\n  outline -150,-90 250,-90 250,310 -150,310\n", 1),
    ],
)  # fmt: skip
def test_the_side_the_deer_are_on(report_of: ReportOf, things: str, deer: int) -> None:
    scene = report_of(LANE + things + COVER.format(y=10)).scene
    assert deer_sides(scene) == [deer]
    words = {1: "deer", 0: "deer", -1: "away"}
    assert set(side(scene, *all_trees(scene)).values) == {words[deer]}


def test_with_deer_on_both_sides_no_hinge_is_outside(report_of: ReportOf) -> None:
    both = "food a\n  outline 20,60 80,60 80,90 20,90\npocket b\n  outline 20,-90 80,-90 80,-60 20,-60\n"
    found = [f.rule for f in report_of(LANE + both + COVER.format(y=-10)).findings]
    assert "entry/hinge-outside-entry" not in found and "entry/live-hinge-near-entry" in found
    one = both.split("pocket")[0]
    found = [f.rule for f in report_of(LANE + one + COVER.format(y=-10)).findings]
    assert "entry/hinge-outside-entry" in found and "entry/live-hinge-near-entry" not in found


@pytest.mark.parametrize("turn", [20, 45, 90, 120, 160])
def test_a_screen_along_a_bend_is_never_across(report_of: ReportOf, turn: int) -> None:
    angle = np.radians(90 - turn)
    bend = f"{60 + 60 * np.cos(angle):.3f},{60 * np.sin(angle):.3f}"
    plan = (
        f"path lane\n  use entry\n  line 0,0 60,0 {bend}\n"
        "row screen\n  method fell\n  stumps beside lane left 8yd from 2yd to 118yd\n  spacing 2\n  fall along lane\n  dbh 8in\n"
    )  # fmt: skip
    report = report_of(plan)
    trees, walks = all_trees(report.scene)
    assert len(trees) > 20
    assert lie(report.scene, trees, walks).values.max() < 0.01
    assert "entry/screen-across-entry" not in [f.rule for f in report.findings]


def test_how_a_stem_lies_is_told_modulo_half_a_turn(report_of: ReportOf) -> None:
    falls = {"E": 0, "W": 0, "N": 90, "S": 90, "60deg": 30, "240deg": 30, "300deg": 30}
    plan = LANE + "".join(
        f"tree t{number}\n  at {10 * number + 10},8\n  method fell\n  fall {fall}\n  dbh 8in\n"
        for number, fall in enumerate(falls)
    )
    scene = report_of(plan).scene
    assert lie(scene, *all_trees(scene)).values == pytest.approx(list(falls.values()), abs=1e-6)


def test_stumps_beyond_an_end_are_not_beside_the_walk(report_of: ReportOf) -> None:
    plan = LANE + "".join(f"tree t{x}\n  at {x},6\n  method fell\n  fall N\n  dbh 8in\n" for x in (0, 50, 100, 101))
    plan += "tree before\n  at -1,6\n  method fell\n  fall N\n  dbh 8in\n"
    scene = report_of(plan).scene
    assert abreast(scene, *all_trees(scene)).values.tolist() == [True, True, True, False, False]


THROWN = "tree thrown\n  at 50,13\n  state blown\n  fall S\n  tree-height 54ft\n  crown-ratio 40%\n  crown-width 18ft\n"


def clear(report: Report) -> Measured:
    found = top_onto(report.scene, *all_trees(report.scene))
    assert isinstance(found, Measured)
    return found


def test_a_top_on_the_path_is_sawn_free_by_an_opening_as_wide_as_the_path(report_of: ReportOf) -> None:
    opening = "opening gap\n  at 50,0\n  width {}yd\n  toward E\n"
    assert clear(report_of(LANE + THROWN)).value.values[0] == pytest.approx(1 * YARD)  # half of its 2 yd
    assert clear(report_of(LANE + THROWN + opening.format(1))).value.values[0] == pytest.approx(0.5 * YARD)
    assert clear(report_of(LANE + THROWN + opening.format(2))).value.values[0] == pytest.approx(0, abs=0.01)


def test_a_corridor_clears_a_walk_whatever_else_is_sawn(report_of: ReportOf) -> None:
    corridor = "path through\n  use corridor\n  line 0,0 100,0\n  width 2\n"
    far = "opening far\n  at 500,500\n  width 3ft\n  toward E\n"
    for more in ("", far):
        assert clear(report_of(LANE + THROWN + corridor + more)).value.values[0] == pytest.approx(0, abs=0.01)


def test_a_neighbours_way_is_no_walk_unless_a_stand_of_ours_uses_it(told: Callable[..., list[str]]) -> None:
    theirs = LANE + "  offsite yes\n"
    hinge = "tree one\n  at 50,5\n  method hinge\n  fall N\n  dbh 8in\n"
    near = [line for line in told(theirs + hinge) if "near-entry" in line or "unused-entry" in line]
    assert near == []
    assert any(
        "live-hinge-near-entry" in line for line in told(theirs + hinge + "stand oak\n  at 99,2\n  reach lane\n")
    )
    blind = "stand oak\n  at 99,2\n  reach lane\n  offsite yes\n"
    assert not [line for line in told(theirs + hinge + blind) if "near-entry" in line]


def test_where_a_top_lies_on_the_path_is_the_middle_of_the_stretch_under_it(report_of: ReportOf) -> None:
    found = clear(report_of(LANE + THROWN))
    place = found.parts["place"](np.array([0])).values[0]
    assert (place.x / YARD, place.y / YARD) == pytest.approx((50, 0), abs=1e-6)
    assert found.parts["bearing"](np.array([0])).values[0] == pytest.approx(90)


SPUR = "path spur\n  use entry\n  line 50,0 50,60\n"
SCREEN = "row screen\n  method fell\n  stumps 54,8 54,40\n  spacing 8\n  fall along spur\n  dbh 8in\n"


def test_a_stump_is_judged_by_the_walk_that_is_nearest_it(report_of: ReportOf) -> None:
    report = report_of(LANE + SPUR + SCREEN)
    scene = report.scene
    names = [walk.paths[0].name for walk in walks_of(scene)]
    by_lane, by_spur = (nearest_walk(scene, *all_trees(scene, names.index(name))) for name in ("lane", "spur"))
    assert not by_lane.values.any() and by_spur.values.all()  # type: ignore[union-attr]
    assert not any(f.rule == "entry/screen-across-entry" for f in report.findings)


def test_a_stump_beyond_the_end_of_the_nearest_walk_is_judged_by_the_next(report_of: ReportOf) -> None:
    plan = LANE + "path spur\n  use entry\n  line 50,60 50,20\ntree t\n  at 50,11\n  method fell\n  fall N\n  dbh 8in\n"
    assert any(f.rule == "entry/screen-across-entry" for f in report_of(plan).findings)


def test_what_only_touches_another_walk_keeps_all_of_its_line(report_of: ReportOf) -> None:
    # the same walks whatever is far from them: each keeps its own length
    paths = "".join(f"path p{i}\n  use entry\n  line 0,{i * 30} {100 + i},{i * 30}\n" for i in range(20))
    assert sorted(walk_lengths(report_of(paths).scene)) == [100 + i for i in range(20)]


PATCH = "patch brush\n  outline 0,{y} 100,{y} 100,{top} 0,{top}\n  method {method}\n  density 60 per acre\n  dbh 8in\n"


def unjudged_patches(report: Report) -> list[str]:
    return [
        str(f.facts["x.found"].value) for f in report.findings
        if f.rule == "record/not-judged" and "lays no trees" in str(f.facts["x.why"].value)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("y", "method", "entry"),
    [(-20, "hinge", True), (15, "hinge", True), (60, "hinge", False), (-20, "fell", True), (-20, "girdle", False)],
)
def test_what_needs_places_is_not_judged_on_a_patch_and_says_so(
    report_of: ReportOf, y: float, method: str, entry: bool
) -> None:
    told = unjudged_patches(report_of(LANE + PATCH.format(y=y, top=y + 40, method=method)))
    assert len(told) == (0 if method == "girdle" else 1)  # once, with the rules it concerns
    assert any("entry/" in one for one in told) is entry
    assert any("live-hinge-near-entry" in one for one in told) is (entry and method == "hinge")


def test_a_stand_with_a_way_in_that_is_broken_is_not_told_that_there_is_none(report_of: ReportOf) -> None:
    def told(text: str) -> list[str]:
        return [f.say for f in report_of(text).findings if f.rule == "entry/stand-not-reached"]

    stand = "stand oak\n  at 50,4\n"
    assert any("no entry path" in say for say in told(stand))
    assert told(LANE.replace("100,0", "100;0") + stand) == []
    assert told(LANE.replace("entry", "entri") + stand) == []
    assert told("path run\n  use travel\n  line 0,60 100,60\n" + stand + "  reach run\n") == ["no path passes {s}"]


def test_a_top_that_reaches_onto_the_walk_is_told_in_positive_figures(report_of: ReportOf) -> None:
    (found,) = (f for f in report_of(LANE + THROWN).findings if f.rule == "entry/tops-on-entry")
    assert found.measured is not None and found.measured.value == pytest.approx(1 * YARD)
    assert found.wanted is not None and found.wanted.value == 0 and found.sense == ">"


def test_a_blown_tree_is_no_hinge_beside_the_walk(report_of: ReportOf) -> None:
    blown = "tree t\n  at 50,5\n  method hinge\n  state blown\n  fall N\n  dbh 8in\n"
    for sides in ("", "food clover\n  outline 20,-60 80,-60 80,-30 20,-30\n"):
        assert [
            f.rule for f in report_of(LANE + sides + blown).findings if "hinge" in f.rule and f.rule[:5] == "entry"
        ] == []
    assert any(
        f.rule == "entry/live-hinge-near-entry" for f in report_of(LANE + blown.replace("  state blown\n", "")).findings
    )


def test_four_hundred_stands_on_spurs_of_one_lane_take_little_time(review: Review) -> None:
    plan = "path lane\n  use entry\n  line 0,0 10000,0\n" + "".join(
        f"path p{i}\n  use entry\n  line {i * 20},0 {i * 20},60\nstand s{i}\n  at {i * 20 + 3},60\n  reach lane p{i}\n"
        for i in range(400)
    )
    scene = Scene(read_plan(Source("plan", plan), review.plan_grammar, fragment=True))
    start = perf_counter()
    walks = walks_of(scene)
    assert perf_counter() - start < 4  # some 0.8 s
    # the longest has the lane, each other what is its own: its spur
    assert sorted(round(walk.line.length / YARD) for walk in walks) == [60] * 399 + [399 * 20 + 60]
