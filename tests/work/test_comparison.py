"""What became of one plan in another: told in full, by how much, and nothing that did not change."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
import shapely
from pyproj import Geod
from shapely import affinity

from habitatlint.check import Report
from habitatlint.findings import Policy
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook
from habitatlint.source import Source
from habitatlint.units import ACRE, YARD
from habitatlint.work.comparison import Change, Comparison, Shape, compare, shape_change

Reports = Callable[..., Report]
Compare = Callable[..., Comparison]
ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = sorted((ROOT / "examples").glob("*.habitat"))


@pytest.fixture
def read(review: Review) -> Reports:
    """A plan read and placed; no rule is asked, for none has a part in this."""
    bare = replace(review, rulebook=Rulebook(()))

    def check(text: str, name: str = "plan.habitat") -> Report:
        return bare.check(Source(name, text), Policy(date(2027, 8, 10), fragment=True))

    return check


@pytest.fixture
def told(read: Reports) -> Compare:
    return lambda before, after, least=0.0: compare(read(before), read(after), least)


def changed(comparison: Comparison, name: str) -> Change:
    return next(one for one in comparison.changes if one.block.name == name)


def shape_of(comparison: Comparison, name: str) -> Shape:
    shape = changed(comparison, name).shape
    assert shape is not None
    return shape


def said(comparison: Comparison, name: str) -> dict[str, tuple[str, str]]:
    return {one.word: (one.before, one.after) for one in changed(comparison, name).properties}


# -- nothing -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("plan", EXAMPLES, ids=lambda plan: plan.stem)
def test_a_plan_beside_itself_has_changed_in_nothing(plan: Path, read: Reports) -> None:
    report = read(plan.read_text(encoding="utf-8"), str(plan))
    comparison = compare(report, report)
    assert comparison.nothing and comparison.trees == () and comparison.changes == ()


def test_another_unit_another_order_and_other_words_for_the_same_are_no_change(told: Compare) -> None:
    before = (
        "path lane\n  use entry\n  line 0,0 30,60\n  width 2\n"
        "row tops\n  method fell\n  stumps beside lane left 6 from 0 to 30\n  spacing 3\n  fall along lane\n  dbh 8in\n"
        "  species red-maple sugar-maple\n"
        "trees\n  cut-height 1ft\n"
    )
    after = (
        'plan "in feet"\n  units ft\n'
        "trees\n  cut-height 12in\n"
        "row tops\n  species sugar-maple red-maple\n  fall along lane\n  dbh 20.32cm\n  spacing 1yd\n  method fell\n"
        "  stumps beside lane left 6 from 0 to 30\n  spacing 9\n"
        "path lane\n  line 0,0 90,180\n  width 2yd\n  use entry\n"
    ).replace("  spacing 1yd\n", "").replace("left 6 from 0 to 30", "left 18 from 0 to 90")  # fmt: skip
    comparison = told(before, after)
    assert [(one.kind, one.block.noun) for one in comparison.changes] == [("added", "plan")]
    assert comparison.trees == ()


def test_what_came_one_way_went_the_other(told: Compare) -> None:
    one, two = "stand oak\n  at 0,0\nsign rub\n  at 5,5\n", "stand oak\n  at 0,0\nsign bed\n  at 9,5\n"
    there, back = told(one, two), told(two, one)
    assert [(c.kind, c.block.name) for c in there.changes] == [("added", "bed"), ("gone", "rub")]
    assert [(c.kind, c.block.name) for c in back.changes] == [("added", "rub"), ("gone", "bed")]


# -- places and shapes -------------------------------------------------------------------------------------


def test_how_far_a_stand_moved_and_which_way(told: Compare) -> None:
    """3 east and 4 north are 5, at 36.87 degrees."""
    shape = shape_of(told("stand oak\n  at 10,10\n", "stand oak\n  at 13,14\n"), "oak")
    assert shape.moved == pytest.approx(5 * YARD) and shape.toward == pytest.approx(36.87, abs=0.01)
    assert shape.turned is None and not shape.resized and shape.rigid


def test_a_line_that_was_swung_about_its_middle_is_told_in_degrees(told: Compare) -> None:
    shape = shape_of(
        told("path run\n  use travel\n  line 0,-50 0,50\n", "path run\n  use travel\n  line -50,0 50,0\n"), "run"
    )
    assert shape.turned == pytest.approx(90) and shape.moved == pytest.approx(0, abs=1e-9) and shape.rigid
    assert not shape.resized


def test_a_pocket_of_another_size_is_told_in_both(told: Compare) -> None:
    """40 by 121 yd are an acre of 4840 square yards; half as long again is an acre and a half."""
    before = "pocket thicket\n  outline 0,0 40,0 40,121 0,121\n"
    after = "pocket thicket\n  outline 0,0 60,0 60,121 0,121\n"
    shape = shape_of(told(before, after), "thicket")
    assert shape.resized and (shape.before, shape.after) == pytest.approx((ACRE, 1.5 * ACRE))
    assert shape.moved == pytest.approx(10 * YARD) and shape.off == pytest.approx(20 * YARD) and not shape.rigid


def test_a_line_that_runs_the_other_way_is_told_though_it_lies_the_same(told: Compare) -> None:
    shape = shape_of(
        told("path run\n  use travel\n  line 0,0 50,0 90,40\n", "path run\n  use travel\n  line 90,40 50,0 0,0\n"),
        "run",
    )
    assert (shape.turned, shape.moved, shape.resized) == (180.0, 0.0, False)


def test_an_outline_may_begin_at_another_corner(told: Compare) -> None:
    one, two = "pocket p\n  outline 0,0 40,0 40,30\n", "pocket p\n  outline 40,30 0,0 40,0\n"
    assert told(one, two).nothing
    assert told(one, "pocket p\n  outline 40,30 40,0 0,0\n").nothing, "and run the other way round"


@pytest.mark.parametrize("seed", range(12))
def test_a_motion_is_told_as_what_it_was(seed: int) -> None:
    """Against the affine motions of another library: an outline turned about its middle and moved is told as turned
    and moved by so much, whatever its form."""
    dice = random.Random(seed)
    corners = [(dice.uniform(20, 60) * math.sin(turn), dice.uniform(20, 60) * math.cos(turn))
               for turn in (0.3, 1.4, 2.6, 3.9, 5.2)]  # fmt: skip
    was = shapely.Polygon(corners)
    degrees, east, north = dice.uniform(-170, 170), dice.uniform(-80, 80), dice.uniform(-80, 80)
    here = affinity.translate(affinity.rotate(was, -degrees, origin="centroid"), east, north)
    shape = shape_change(was, here)
    assert shape is not None and shape.rigid and shape.turned is not None
    assert shape.turned == pytest.approx(degrees, abs=1e-6)
    assert shape.moved == pytest.approx(math.hypot(east, north)) and not shape.resized
    assert shape.toward == pytest.approx(math.degrees(math.atan2(east, north)) % 360)


def test_what_is_less_off_than_asked_is_only_counted(told: Compare) -> None:
    before = "stand oak\n  at 0,0\nstand elm\n  at 50,0\n"
    after = "stand oak\n  at 3,0\nstand elm\n  at 60,0\n"
    comparison = told(before, after, 5 * YARD)
    assert [one.block.name for one in comparison.changes] == ["elm"] and comparison.slight == 1
    assert not comparison.nothing


def test_a_block_that_lost_its_place_is_told(told: Compare) -> None:
    comparison = told("stand oak\n  at 0,0\n", "stand oak\n  at lane 5\n")
    assert said(comparison, "oak")["place"] == ("has a place", "has none")


# -- on the earth ------------------------------------------------------------------------------------------


def test_plans_with_other_anchors_are_laid_over_each_other_on_the_earth(told: Compare) -> None:
    """The same stand by the phone, from two anchors: it has not moved. And one at both origins: as far as the geodesic
    between the anchors, by the library of geodesics."""
    head = 'plan "x"\n  anchor {}\n'
    one, two = "43.6000N,91.5000W", "43.6020N,91.4970W"
    stand = "stand oak\n  at 43.6010N,91.4990W\nsign rub\n  at 0,0\n"
    comparison = told(head.format(one) + stand, head.format(two) + stand)
    assert comparison.laid.on_earth
    assert {one.block.name for one in comparison.changes} == {"", "rub"}
    turn, _, far = Geod(ellps="WGS84").inv(-91.5, 43.6, -91.497, 43.602)
    shape = shape_of(comparison, "rub")
    assert shape.moved == pytest.approx(far, abs=0.01) and shape.toward == pytest.approx(turn % 360, abs=0.01)
    assert comparison.laid.apart == pytest.approx(far, abs=0.01)


def test_with_one_anchor_plans_are_laid_by_their_own_places(told: Compare) -> None:
    comparison = told("stand oak\n  at 5,5\n", 'plan "x"\n  anchor 43.6N,91.5W\nstand oak\n  at 5,5\n')
    assert not comparison.laid.on_earth and comparison.laid.one_anchor
    assert [one.block.noun for one in comparison.changes] == ["plan"]


def test_plans_of_two_ends_of_the_earth_are_not_dragged_together(told: Compare) -> None:
    stand = "stand oak\n  at 5,5\n"
    comparison = told(f'plan "x"\n  anchor 43.6N,91.5W\n{stand}', f'plan "x"\n  anchor 43.6S,91.5E\n{stand}')
    assert not comparison.laid.on_earth and comparison.laid.apart is not None
    assert [one.block.noun for one in comparison.changes] == ["plan"]


# -- names -------------------------------------------------------------------------------------------------


def test_a_block_of_another_name_in_the_same_place_is_renamed(told: Compare) -> None:
    before = (
        "path south-lane\n  use entry\n  line 0,0 50,0\nstand oak\n  at 51,0\n  reach south-lane\n"
        "row tops\n  method fell\n  stumps beside south-lane left 8 from 0 to 40\n  spacing 5\n  fall along south-lane\n"
    )
    comparison = told(before, before.replace("south-lane", "culvert-lane"))
    (one,) = comparison.changes
    assert one.renamed and (one.before and one.before.name, one.block.name) == ("south-lane", "culvert-lane")
    assert comparison.names["south-lane"] == "culvert-lane" and comparison.trees == ()


def test_what_has_no_place_is_known_again_by_what_it_says(told: Compare) -> None:
    before = (
        'mix stump-mix\n  label "x-1"\n  part water 80%\ncrew old-crew\n  people 2\n  training felling\n'
        "row tops\n  method fell\n  stumps 0,0 40,0\n  spacing 5\n  mix stump-mix\n  by old-crew\n"
        "treatment spray\n  of tops\n  mix stump-mix\n"
    )
    after = before.replace("stump-mix", "new-mix").replace("old-crew", "new-crew").replace("spray", "painting")
    comparison = told(before, after)
    assert {(one.before and one.before.name, one.block.name) for one in comparison.changes} == {
        ("stump-mix", "new-mix"), ("old-crew", "new-crew"), ("spray", "painting"),
    }  # fmt: skip
    assert all(one.renamed and not one.properties for one in comparison.changes)


def test_of_two_in_one_place_the_one_that_says_the_same_is_it(told: Compare) -> None:
    row = "row {}\n  method {}\n  stumps 0,0 40,0\n  spacing 5\n"
    before = row.format("first", "hinge") + row.format("second", "fell")
    after = row.format("felled", "fell") + row.format("hinged", "hinge")
    assert {(one.before and one.before.name, one.block.name) for one in told(before, after).changes} == {
        ("first", "hinged"), ("second", "felled"),
    }  # fmt: skip


def test_a_name_that_is_another_kind_of_block_now_is_told(told: Compare) -> None:
    comparison = told("pocket p\n  outline 0,0 9,0 9,9\n", "planting p\n  outline 0,0 9,0 9,9\n  kind cover\n")
    assert said(comparison, "p")["kind of block"] == ("pocket", "planting")


# -- what blocks say ---------------------------------------------------------------------------------------


def test_properties_are_told_as_both_plans_write_them(told: Compare) -> None:
    before = "row tops\n  method hinge\n  stumps 0,0 40,0\n  spacing 5\n  dbh 6in..9in\n  fall N\n"
    after = 'row tops\n  method hinge\n  stumps 0,0 40,0\n  spacing 5\n  dbh 8in..14in\n  fall S\n  note "big"\n'
    assert said(told(before, after), "tops") == {
        "dbh": ("6in..9in", "8in..14in"), "fall": ("N", "S"), "note": ("", '"big"'),
    }  # fmt: skip


def test_what_the_shared_trees_say_is_told_once_there(told: Compare) -> None:
    plan = "trees\n  dbh {}\n" + "".join(
        f"row r{number}\n  method fell\n  stumps 0,{number} 40,{number}\n  spacing 5\n" for number in range(3)
    )
    comparison = told(plan.format("8in"), plan.format("9in"))
    assert [(one.block.noun, one.properties) for one in comparison.changes] == [("trees", (("dbh", "8in", "9in"),))]


def test_a_row_that_says_itself_what_the_trees_said_is_no_change(told: Compare) -> None:
    row = "row r\n  method fell\n  stumps 0,0 40,0\n  spacing 5\n"
    assert told("trees\n  dbh 8in\n" + row, "trees\n  dbh 8in\n" + row + "  dbh 8in\n").nothing


def test_bearings_off_two_norths_are_the_same_where_they_point_the_same_way(told: Compare) -> None:
    row = "row r\n  method fell\n  stumps 0,0 40,0\n  spacing 5\n  fall {}\n"
    head = 'plan "x"\n  north magnetic\n  declination 2.5E\n'
    comparison = told('plan "x"\n' + row.format("12.5deg"), head + row.format("10deg"))
    assert [one.block.noun for one in comparison.changes] == ["plan"] and comparison.trees == ()


def test_steps_of_work_are_told_one_by_one(told: Compare) -> None:
    before = 'work\n  step 1 "Release" 2026-02-15..2026-02-20\n  step 2 "Hinge"\n'
    after = 'work\n  step 1 "Release" 2026-03-01..2026-03-05\n  step 3 "Walk"\n'
    (one,) = told(before, after).changes
    assert one.properties == (
        ("step 1", '"Release" 2026-02-15..2026-02-20', '"Release" 2026-03-01..2026-03-05'),
        ("step 2", '"Hinge"', ""), ("step 3", "", '"Walk"'),
    )  # fmt: skip


def test_limits_and_waivers_that_changed_are_told(told: Compare) -> None:
    comparison = told(
        "set closed-v.depth 4yd\n",
        'set closed-v.depth 5yd\nwaive closed-v until 2027-12-31 because "agreed"\n',
    )
    assert [(one.kind, one.block.noun) for one in comparison.changes] == [("changed", "set"), ("added", "waive")]


# -- trees -------------------------------------------------------------------------------------------------

DESIGN = (
    'plan "x"\n  stage design\n'
    "row tops\n  method {method}\n  stumps 0,0 40,0\n  spacing 10\n  dbh 8in\n  tree-height 40ft\n  fall N\n"
    "tree snag\n  at 90,90\n  state standing\n  dbh 8in\n"
)
BUILT = DESIGN.replace("design", "as-built").replace("  fall N\n", "  fall N\n  done 2027-03-01\n")


def outcomes(comparison: Comparison) -> list[tuple[str, tuple[int, ...], str, str, str]]:
    return [(one.block.name, one.numbers, one.what, one.before, one.after) for one in comparison.trees]


def test_a_row_cut_as_planned_is_not_told(told: Compare) -> None:
    comparison = told(DESIGN.format(method="hinge"), BUILT.format(method="hinge"))
    assert comparison.trees == () and [one.block.name for one in comparison.done] == ["tops"]


def test_trees_that_fell_another_way_are_told_by_number_and_degrees(told: Compare) -> None:
    after = BUILT + "tree second\n  of tops 2\n  fall N40E\ntree third\n  of tops 3\n  fall N50E\n"
    (one,) = told(DESIGN.format(method="hinge"), after.format(method="hinge")).trees
    assert (one.block.name, one.numbers, one.what) == ("tops", (2, 3), "fall")
    assert one.planned == (0.0, 0.0) and one.fell == pytest.approx((40, 50)) and one.turns == pytest.approx((40, 50))


def test_a_fall_that_follows_a_path_is_compared_where_it_points(told: Compare) -> None:
    """The row still says `along run`; the run was moved, and the trees lie with it."""
    plan = (
        "path run\n  use travel\n  line {}\nrow r\n  method fell\n  stumps 0,5 40,5\n  spacing 20\n  fall along run\n"
    )
    (one,) = told(plan.format("0,0 50,0"), plan.format("0,0 50,50")).trees
    assert one.what == "fall" and one.turns == pytest.approx((-45, -45))


def test_what_the_wind_and_the_saw_made_of_trees_is_told(told: Compare) -> None:
    after = (
        BUILT.format(method="fell").replace("state standing", "state blown\n  fall S")
        + "tree first\n  of tops 1\n  state hung\ntree last\n  of tops 5\n  method leave\n"
    )
    assert outcomes(told(DESIGN.format(method="fell"), after)) == [
        ("tops", (1,), "state", "", "hung"), ("tops", (5,), "method", "fell", "leave"), ("snag", (), "state", "standing", "blown"),
    ]  # fmt: skip


def test_a_row_of_more_or_fewer_trees_is_told_by_their_numbers(told: Compare) -> None:
    longer = BUILT.replace("0,0 40,0", "0,0 60,0")
    there = told(DESIGN.format(method="fell"), longer.format(method="fell"))
    assert outcomes(there) == [("tops", (6, 7), "more", "", "")]
    back = told(longer.format(method="fell"), BUILT.format(method="fell"))
    assert outcomes(back) == [("tops", (6, 7), "fewer", "", "")]


def test_trees_of_a_block_that_came_or_went_whole_are_not_told_one_by_one(told: Compare) -> None:
    assert told('plan "x"\n', DESIGN.format(method="fell")).trees == ()


# -- storms, inspections and work --------------------------------------------------------------------------


def test_storms_and_inspections_since_stand_apart(told: Compare) -> None:
    before = 'storm 2026-07-19 "a squall"\npocket p\n  outline 0,0 9,0 9,9\n'
    after = before + "storm 2027-05-30\ninspection 2027-06-12\n  of p\n"
    comparison = told(before, after)
    assert [one.noun for one in comparison.events] == ["storm", "inspection"] and comparison.changes == ()


def test_work_that_is_done_and_work_that_is_left(told: Compare) -> None:
    row = "row {}\n  method fell\n  stumps 0,{} 40,{}\n  spacing 10\n"
    before = 'plan "x"\n' + row.format("one", 0, 0) + row.format("two", 9, 9)
    after = before.replace('"x"\n', '"x"\n  stage as-built\n').replace("row two", "  done 2027-01-09\nrow two")
    comparison = told(before, after)
    assert [(one.block.name, one.before, one.after) for one in comparison.done] == [("one", "", "2027-01-09")]
    assert [block.name for block in comparison.left] == ["two"]
    assert [(one.after, one.before) for one in told(after, before).done] == [("", "2027-01-09")]


def test_a_tree_that_is_only_noted_is_no_work_left(told: Compare) -> None:
    after = 'plan "x"\n  stage as-built\ntree snag\n  at 0,0\n  state dead\n'
    assert told('plan "x"\n', after).left == ()


def test_broken_lines_hurt_nothing(told: Compare) -> None:
    comparison = told(
        "row r\n  method fell\n  stumps 0,0 nowhere\n  spacing 5\npocket\n", "row r\n  method zap\npocket p\n"
    )
    assert [one.block.name for one in comparison.changes][:1] == ["r"]


def test_a_large_plan_of_new_names_is_compared_in_a_moment(read: Reports) -> None:
    """Three hundred rows, all renamed: each is found again by its place."""
    row = "row {}-{}\n  method fell\n  stumps {},{} {},{}\n  spacing 5\n"
    plans = ["".join(row.format(name, n, n % 20 * 50, n // 20 * 20, n % 20 * 50 + 30, n // 20 * 20) for n in range(300))
             for name in ("old", "new")]  # fmt: skip
    comparison = compare(*(read(plan) for plan in plans))
    assert len(comparison.changes) == 300 and all(one.renamed for one in comparison.changes)


def test_beds_seen_from_another_anchor_are_the_same_beds(told: Compare, read: Reports) -> None:
    """Forty beds by the phone, from two anchors and each rounded to a hundredth: none has changed. One that was put a
    yard farther has."""
    place = random.Random(7)
    beds = [(round(place.uniform(10, 110), 2), round(place.uniform(10, 110), 2)) for _ in range(40)]
    head = 'plan "x"\n  anchor {}\n'
    pocket = "pocket p\n  for does\n  outline {}\n"
    one = head.format("43.7120N,90.6210W")
    frame, turned = (read(text).scene.placer.frame for text in (one, head.format("43.7115N,90.6220W")))

    def seen(points: list[tuple[float, float]]) -> str:
        earth = [frame.to_earth(east * YARD, north * YARD) for east, north in points]
        local = [turned.to_local(*where) for where in earth]
        return " ".join(f"{east / YARD:.2f},{north / YARD:.2f}" for east, north in local)

    def lines(points: list[str]) -> str:
        return "".join(f"  bed {point}\n" for point in points)

    square = [(0.0, 0.0), (120.0, 0.0), (120.0, 120.0), (0.0, 120.0)]
    before = one + pocket.format(" ".join(f"{east},{north}" for east, north in square))
    before += lines([f"{east},{north}" for east, north in beds])
    after = head.format("43.7115N,90.6220W") + pocket.format(seen(square))
    comparison = told(before, after + lines(seen(beds).split()))
    assert [change.block.noun for change in comparison.changes if change.properties] == ["plan"]
    beds[3] = (beds[3][0] + 1, beds[3][1])
    assert list(said(told(before, after + lines(seen(beds).split())), "p")) == ["bed"]


def test_properties_without_ground_in_common_are_no_two_plans_of_one_place(told: Compare) -> None:
    plan = "boundary\n  outline {0},0 {1},0 {1},99 {0},99\n"
    assert told(plan.format(0, 99), plan.format(200, 299)).laid.strangers
    assert not told(plan.format(0, 99), plan.format(90, 189)).laid.strangers
    assert not told(plan.format(0, 99), "stand oak\n  at 5,5\n").laid.strangers
