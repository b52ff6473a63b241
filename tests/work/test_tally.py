"""What a plan takes and gives, counted: nothing twice, nothing left out, and what is not known said."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable

import numpy as np
import pytest
import shapely

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.measures.volume import LOG_RULES, Spread, saw_logs
from habitatlint.units import ACRE, FOOT, INCH
from habitatlint.work.stems import Stems, cells_of
from habitatlint.work.tally import Tally, tally_of

Check = Callable[..., Report]
HEAD = 'plan "Tallied"\n  units ft\n  date 2026-02-10\n'
#: ten acres of timber
WOODS = """\
timber woods
  outline 0,0 660,0 660,660 0,660
  species red-oak
  height 60ft
  class 12in..16in 60 sqft/ac
  class 6in..10in 40 sqft/ac
"""
#: the acre of the south-west corner, and the two acres that it is the western half of
ACRE_ONE = "0,0 330,0 330,132 0,132"
TWO_ACRES = "0,0 660,0 660,132 0,132"
ROW = "row {name}\n  method {method}\n  stumps {stumps}\n  spacing 20\n  dbh 8in\n  fall N\n"
SQUARE_FOOT = FOOT**2


def release(name: str, outline: str, basal_area: str, more: str = "") -> str:
    return f"release {name}\n  outline {outline}\n  basal-area {basal_area} sqft/ac\n{more}"


def count(stems: Iterable[Stems], key: Callable[[Stems], Hashable]) -> dict[Hashable, float]:
    found: dict[Hashable, float] = {}
    for one in stems:
        found[key(one)] = found.get(key(one), 0.0) + (one.number or 0.0)
    return found


def taken(tally: Tally, name: str) -> float:
    """Square feet of stems that a release takes."""
    return sum(one.basal_area for one in tally.stems if one.piece.block.name == name) / SQUARE_FOOT


def acre(figure: float | None) -> float:
    assert figure is not None
    return figure * ACRE / SQUARE_FOOT


# -- trees ---------------------------------------------------------------------------------------------------------


def test_a_row_that_runs_through_two_pockets_is_counted_in_each_by_its_stumps(report_of: Check) -> None:
    pockets = "pocket west\n  outline 0,0 100,0 100,50 0,50\npocket east\n  outline 120,0 200,0 200,50 120,50\n"
    tally = tally_of(report_of(HEAD + pockets + ROW.format(name="hinges", method="hinge", stumps="10,25 210,25")))
    # stumps at 10, 30, 50, 70, 90; 110 between them; 130, 150, 170, 190; 210 beyond
    assert count(tally.stems, lambda one: one.pocket) == {"west": 5, "east": 4, "": 2}
    assert all(one.counted for one in tally.stems)


def test_a_tree_of_a_row_is_counted_once_with_its_own_size_and_not_with_its_row(report_of: Check) -> None:
    rows = ROW.format(name="hinges", method="hinge", stumps="10,25 110,25")
    own = "tree big\n  of hinges 3\n  dbh 14in\n  method fell\ntree kept\n  of hinges 5\n  method leave\n"
    tally = tally_of(report_of(HEAD + rows + own))
    found = count(tally.stems, lambda one: (one.piece.method, round(one.dbh.largest / INCH) if one.dbh else None))
    assert found == {("hinge", 8): 4, ("fell", 14): 1}


def test_trees_of_a_patch_are_its_density_times_its_ground(report_of: Check) -> None:
    patch = f"patch cut\n  outline {TWO_ACRES}\n  method hinge\n  density 35 per acre\n  dbh 6in..10in\n"
    (stems,) = tally_of(report_of(HEAD + patch)).stems
    assert stems.number == pytest.approx(70) and not stems.counted


def test_a_patch_in_a_pocket_without_an_outline_of_its_own_has_the_pocket_s_ground(report_of: Check) -> None:
    plan = f"pocket thicket\n  outline {ACRE_ONE}\npatch cut\n  in thicket\n  method hinge\n  density 35 per acre\n"
    tally = tally_of(report_of(HEAD + plan))
    assert count(tally.stems, lambda one: one.pocket) == {"thicket": pytest.approx(35)}
    assert tally.stems[0].dbh is not None and tally.stems[0].dbh.estimated  # no `dbh` is given


def test_what_is_ours_no_more_and_what_is_left_is_no_cut(report_of: Check) -> None:
    rows = ROW.format(name="far", method="hinge", stumps="10,25 110,25") + "  offsite yes\n"
    rows += ROW.format(name="kept", method="leave", stumps="10,45 110,45")
    assert tally_of(report_of(HEAD + rows)).stems == ()


# -- releases --------------------------------------------------------------------------------------------------------


def test_a_release_takes_the_largest_class_first(report_of: Check) -> None:
    tally = tally_of(report_of(HEAD + WOODS + release("light", ACRE_ONE, "100 to 20")))
    by_size = {round(one.dbh.largest / INCH): one.basal_area / SQUARE_FOOT for one in tally.stems if one.dbh}
    assert by_size == {16: pytest.approx(60, abs=0.01), 10: pytest.approx(20, abs=0.01)}


def test_a_second_release_begins_where_the_first_left_off(report_of: Check) -> None:
    plan = release("first", TWO_ACRES, "100 to 70", "  step 1\n") + release(
        "second", ACRE_ONE, "70 to 40", "  step 2\n"
    )
    tally = tally_of(report_of(HEAD + WOODS + plan))
    assert taken(tally, "first") == pytest.approx(60, abs=0.01)
    assert taken(tally, "second") == pytest.approx(30, abs=0.01)


def test_a_later_release_takes_of_the_class_that_an_earlier_one_left(report_of: Check) -> None:
    plan = release("first", ACRE_ONE, "100 to 60", "  step 1\n") + release("second", ACRE_ONE, "60 to 20", "  step 2\n")
    tally = tally_of(report_of(HEAD + WOODS + plan))
    sizes = {
        (one.piece.block.name, round(one.dbh.largest / INCH)): one.basal_area / SQUARE_FOOT
        for one in tally.stems if one.dbh is not None
    }  # fmt: skip
    # 40 of the 60 of the large class, then the 20 that are left of it and 20 of the small one
    assert sizes == {
        ("first", 16): pytest.approx(40, abs=0.01), ("second", 16): pytest.approx(20, abs=0.01),
        ("second", 10): pytest.approx(20, abs=0.01),
    }  # fmt: skip


def test_two_releases_of_the_same_take_it_once(report_of: Check) -> None:
    plan = release("first", ACRE_ONE, "100 to 70", "  step 1\n") + release(
        "again", TWO_ACRES, "100 to 70", "  step 2\n"
    )
    tally = tally_of(report_of(HEAD + WOODS + plan))
    assert taken(tally, "first") == pytest.approx(30, abs=0.01)
    assert taken(tally, "again") == pytest.approx(30, abs=0.01)  # of its second acre alone


def test_timber_over_timber_gives_its_classes_together(report_of: Check) -> None:
    split = WOODS.replace("  class 6in..10in 40 sqft/ac\n", "") + (
        "timber poles\n  outline 0,0 660,0 660,660 0,660\n  class 6in..10in 40 sqft/ac\n"
    )
    one, two = (tally_of(report_of(HEAD + woods + release("light", ACRE_ONE, "100 to 20"))) for woods in (WOODS, split))
    assert sum(stems.number or 0 for stems in one.stems) == pytest.approx(sum(stems.number or 0 for stems in two.stems))


def test_what_a_release_takes_is_parted_among_the_pockets_it_lies_over(report_of: Check) -> None:
    pocket = f"pocket thicket\n  outline {ACRE_ONE}\n"
    tally = tally_of(report_of(HEAD + WOODS + pocket + release("light", TWO_ACRES, "100 to 70")))
    by_pocket = count(tally.stems, lambda one: one.pocket)
    assert by_pocket["thicket"] == pytest.approx(by_pocket[""], rel=1e-6)


@pytest.mark.parametrize(
    ("plan", "why"),
    [
        (f"release light\n  outline {ACRE_ONE}\n", "does not say by `basal-area`"),
        (release("light", "2000,0 2330,0 2330,132 2000,132", "100 to 70"), "no `timber` with `class` lines"),
        (release("light", ACRE_ONE, "150 to 20"), "takes more than the `class` lines"),
    ],
)
def test_what_a_release_leaves_untold_is_said(report_of: Check, plan: str, why: str) -> None:
    (unknown,) = tally_of(report_of(HEAD + WOODS + plan)).unknown
    assert unknown.block.name == "light" and why in unknown.why


def test_wood_is_told_of_what_is_counted_with_the_share_that_is_not(report_of: Check) -> None:
    half_off = release("light", "330,0 990,0 990,132 330,132", "100 to 70", "  wood firewood\n")
    (wood,) = tally_of(report_of(HEAD + WOODS + half_off)).wood
    assert wood.cords == pytest.approx((6.667, 11.392), abs=0.01)
    assert wood.uncounted == pytest.approx(0.5, abs=0.001)


def test_of_what_is_killed_standing_there_is_no_wood(report_of: Check) -> None:
    assert tally_of(report_of(HEAD + WOODS + release("light", ACRE_ONE, "100 to 70", "  method girdle\n"))).wood == ()


@pytest.mark.parametrize("rule", LOG_RULES)
def test_board_feet_are_those_that_the_rule_of_market_timber_finds(report_of: Check, rule: str) -> None:
    sold = WOODS + "  market yes\n"
    report = report_of(
        HEAD + f"  log-rule {rule}\n" + sold + release("light", ACRE_ONE, "100 to 60", "  wood firewood\n")
    )
    works = Rows("tree-works", np.arange(1, dtype=np.intp))
    found = saw_logs(report.scene, works, Column("length", np.array([12 * INCH])))
    assert isinstance(found, Measured)
    (wood,) = tally_of(report).wood
    assert wood.logs == pytest.approx(float(found.value.values[0]), rel=1e-6) and wood.logs > 0


def test_ground_is_cut_up_without_a_gap_or_an_overlap() -> None:
    ground = shapely.box(0, 0, 100, 100)
    shapes = [shapely.box(-10, -10, 60, 60), shapely.box(40, 40, 120, 120), shapely.Point(50, 50).buffer(30)]
    cells = cells_of(ground, shapes)
    assert sum(cell.ground.area for cell in cells) == pytest.approx(ground.area)
    assert shapely.union_all([cell.ground for cell in cells]).area == pytest.approx(ground.area)
    for cell in cells:
        inside = cell.ground.representative_point()
        assert cell.of == tuple(number for number, shape in enumerate(shapes) if shape.contains(inside))


# -- what stands and lies ----------------------------------------------------------------------------------------------


def standing(report: Report, name: str) -> tuple[float, float]:
    one = next(one for one in tally_of(report).standing if one.block.name == name)
    return acre(one.before), acre(one.after)


PLANNED = f"pocket thicket\n  outline {ACRE_ONE}\n" + release("light", ACRE_ONE, "100 to 70", "  step 1\n")


def test_a_design_counts_all_and_an_as_built_what_is_done(report_of: Check) -> None:
    built = HEAD + "  stage as-built\n" + WOODS
    assert standing(report_of(HEAD + WOODS + PLANNED), "thicket") == pytest.approx((100, 70), abs=0.01)
    assert standing(report_of(built + PLANNED), "thicket") == pytest.approx((100, 100), abs=0.01)
    done = PLANNED + "  done 2026-02-01\n"
    assert standing(report_of(built + done), "thicket") == pytest.approx((100, 70), abs=0.01)


def test_a_pocket_half_under_timber_has_half_its_basal_area(report_of: Check) -> None:
    half = "pocket half\n  outline 495,0 825,0 825,132 495,132\n"
    assert standing(report_of(HEAD + WOODS + half), "half") == pytest.approx((50, 50), abs=0.01)


def test_what_nobody_gives_is_not_known_and_why(report_of: Check) -> None:
    bare = "pocket far\n  outline 900,0 1000,0 1000,100 900,100\ntimber brush\n  outline 0,700 100,700 100,800 0,800\n"
    tally = tally_of(report_of(HEAD + bare))
    assert {one.block.name: one.why for one in tally.standing} == {
        "far": "no `timber` is given over it", "brush": "it has no `class` and no `basal-area`",
    }  # fmt: skip


def test_more_cut_than_stands_is_told(report_of: Check) -> None:
    thin = "timber brush\n  outline 0,0 330,0 330,132 0,132\n  class 6in..10in 1 sqft/ac\n"
    rows = f"pocket thicket\n  outline {ACRE_ONE}\n" + ROW.format(name="hinges", method="hinge", stumps="10,25 310,25")
    found = tally_of(report_of(HEAD + thin + rows)).standing
    assert [(one.block.name, one.over, one.after) for one in found] == [("thicket", True, 0.0), ("brush", True, 0.0)]


def test_shade_and_roof_now_are_of_what_lies_already(report_of: Check) -> None:
    pocket = f"pocket thicket\n  outline {ACRE_ONE}\n"
    done = ROW.format(name="done-row", method="hinge", stumps="10,25 310,25") + "  done 2026-01-20\n"
    more = ROW.format(name="more", method="hinge", stumps="10,65 310,65")
    (covered,) = tally_of(report_of(HEAD + pocket + done + more)).covered
    (alone,) = tally_of(report_of(HEAD + pocket + done)).covered
    assert 0 < covered.shade_now < covered.shade
    assert covered.shade_now == pytest.approx(alone.shade) == pytest.approx(alone.shade_now)
    (planned,) = tally_of(report_of(HEAD + pocket + more)).covered
    assert planned.shade_now == planned.roof_now == 0 < planned.shade


def test_sun_gained_by_a_release_and_why_it_is_not_known_without_an_anchor(report_of: Check) -> None:
    plan = WOODS + "food clover\n  kind plot\n  outline 250,250 330,250 330,330 250,330\n"
    light = release("light", "250,100 330,100 330,250 250,250", "100 to 0")
    anchored = HEAD.replace("  units", "  anchor 43.7120N,90.6210W\n  units")
    (sun,) = tally_of(report_of(anchored + plan + light)).sun
    assert sun.gained is not None and sun.gained > 0.2
    (unknown,) = tally_of(report_of(HEAD + plan + light)).sun
    assert unknown.gained is None and "no `anchor`" in unknown.why


# -- herbicide, hours, money -----------------------------------------------------------------------------------------------

HACKED = """\
patch poles
  outline 0,0 330,0 330,132 0,132
  method hack-and-squirt
  density 50 per acre
  dbh 4in
  mix hack-mix
"""
MIX = 'mix hack-mix\n  label "0-0, invented"\n  part concentrate 50%\n  per-hack 1 mL\n'


def test_without_the_label_s_own_figure_there_is_no_quantity(report_of: Check) -> None:
    (mix,) = tally_of(report_of(HEAD + HACKED + MIX.replace("  per-hack 1 mL\n", ""))).mixes
    assert mix.volume is None and mix.parts == (("concentrate", 0.5, None),)
    assert [piece.block.name for piece in mix.unreckoned] == ["poles"]


def test_mix_is_held_to_the_label_year_by_year(report_of: Check) -> None:
    second = HACKED.replace("patch poles", "patch more").replace(
        "0,0 330,0 330,132 0,132", "0,200 330,200 330,332 0,332"
    )
    days = 'work\n  step 1 "A" 2026-03-01..2026-03-02\n  step 2 "B" 2027-03-01..2027-03-02\n'
    plan = HACKED + "  step 1\n" + second + "  step 2\n" + MIX + "  most 5 floz/ac\n" + days
    mixes = tally_of(report_of(HEAD + plan)).mixes
    assert [(mix.year, round(mix.volume or 0, 4)) for mix in mixes] == [(2026, 0.2), (2027, 0.2)]


def test_stumps_are_counted_for_they_have_no_dose(report_of: Check) -> None:
    row = ROW.format(name="tops", method="fell", stumps="10,25 110,25") + "  stump-treatment planned\n  mix hack-mix\n"
    treatment = ROW.format(name="old", method="hinge", stumps="10,65 110,65") + "  done 2025-02-01\n"
    treatment += "treatment late\n  of old\n  mix hack-mix\n"
    mixes = tally_of(report_of(HEAD + row + treatment + MIX)).mixes
    assert sum(mix.stumps for mix in mixes) == 12 and all(mix.volume is None for mix in mixes)


def test_hours_are_told_by_a_published_rate_or_not_at_all(report_of: Check) -> None:
    young = WOODS.replace("class 12in..16in 60", "class 8in..12in 60")
    plan = (
        young + release("young", ACRE_ONE, "100 to 70", "  method fell\n") + HACKED.replace("0,0 330", "0,300 330", 1)
    )
    plan += ROW.format(name="hinges", method="hinge", stumps="10,25 110,25")
    plan = plan.replace("0,300 330,0 330,132 0,132", "0,300 330,300 330,432 0,432") + MIX
    hours = {one.piece.block.name: one.hours for one in tally_of(report_of(HEAD + plan)).worked}
    # Silva Fennica 54(3) 10205: 0.22 to 0.47 ha an hour, and an acre has 0.4047 ha
    assert hours["young"] == pytest.approx((0.861, 1.839), abs=0.001)
    assert hours["poles"] == pytest.approx((2.0, 5.0), abs=0.001)
    assert hours["hinges"] is None
    big = tally_of(report_of(HEAD + plan.replace("8in..12in", "12in..16in"))).worked
    assert {one.piece.block.name: one.hours for one in big}["young"] is None


RATES = 'rates list\n  year 2025\n  source "invented"\n  currency "crowns"\n'


def test_there_is_no_price_without_year_source_and_currency(report_of: Check) -> None:
    row = ROW.format(name="hinges", method="hinge", stumps="10,25 110,25")
    assert tally_of(report_of(HEAD + row)).priced == ()
    whole = RATES + "  cost 5 per tree hinge\n"
    assert len(tally_of(report_of(HEAD + row + whole)).priced) == 1
    for line in ("  year 2025\n", '  source "invented"\n', '  currency "crowns"\n'):
        assert tally_of(report_of(HEAD + row + whole.replace(line, ""))).priced == ()


def test_work_is_priced_by_the_tree_before_its_ground_and_by_its_ground_before_the_hour(report_of: Check) -> None:
    def cost(lines: str) -> tuple[str, Spread]:
        (priced,) = tally_of(report_of(HEAD + HACKED + MIX + RATES + lines)).priced
        (charge,) = priced.costs
        return charge.by, charge.money

    hour, ground, tree = (
        "  cost 60 per hour\n",
        "  cost 300 per acre hack-and-squirt\n",
        "  cost 2 per tree hack-and-squirt\n",
    )
    assert cost(hour + ground + tree) == ("tree", pytest.approx((100, 100)))
    assert cost(hour + ground) == ("acre", pytest.approx((300, 300)))
    assert cost(hour) == ("hour", pytest.approx((120, 300)))
    hectare = cost("  cost 741.316 per ha hack-and-squirt\n")
    assert hectare == ("ha", pytest.approx((300, 300), abs=0.01))


def test_what_has_no_price_and_what_fits_nothing_is_said(report_of: Check) -> None:
    rows = ROW.format(name="hinges", method="hinge", stumps="10,25 110,25")
    lines = "  cost 60 per hour\n  cost 9 per tree girdle\n  cost 95 per gal concentrate\n  pays 40 per cord\n"
    (priced,) = tally_of(report_of(HEAD + rows + RATES + lines)).priced
    (unpriced,) = priced.unpriced
    assert unpriced.block.name == "hinges" and "nobody has published how long it takes" in unpriced.why
    assert priced.idle == (
        "cost 60 per hour", "cost 9 per tree girdle", "cost 95 per gal concentrate", "pays 40 per cord",
    )  # fmt: skip
    assert priced.cost == priced.income == (0.0, 0.0)


def test_wood_is_sold_once_by_the_first_line_of_its_unit(report_of: Check) -> None:
    wood = WOODS + release("light", ACRE_ONE, "100 to 70", "  wood firewood\n  step 1\n")
    (priced,) = tally_of(report_of(HEAD + wood + RATES + "  pays 40 per cord\n  pays 50 per cord\n")).priced
    (charge,) = priced.pays
    assert charge.price == 40 and "pays 50 per cord" in priced.idle


def test_of_logs_only_the_rest_is_paid_by_the_cord(report_of: Check) -> None:
    wood = WOODS + release("light", ACRE_ONE, "100 to 20", "  wood logs\n  step 1\n")
    tally = tally_of(report_of(HEAD + wood + RATES + "  pays 40 per cord\n  pays 350 per thousand-board-feet\n"))
    ((one,), (priced,)) = tally.wood, tally.priced
    by = {charge.by: charge.amount for charge in priced.pays}
    assert one.rest is not None and one.cords is not None and one.logs is not None
    assert by["cord"] == one.rest and 0 < one.rest.most < one.cords.most
    assert by["thousand-board-feet"].least == pytest.approx(one.logs / 1000)


def test_what_is_done_is_paid_for(report_of: Check) -> None:
    rows = ROW.format(name="hinges", method="hinge", stumps="10,25 110,25") + "  done 2026-01-20\n"
    (priced,) = tally_of(report_of(HEAD + rows + RATES + "  cost 5 per tree hinge\n")).priced
    assert priced.costs == () and priced.unpriced == ()


def test_two_price_lists_are_never_mixed(report_of: Check) -> None:
    rows = ROW.format(name="hinges", method="hinge", stumps="10,25 110,25")
    other = RATES.replace("list", "later").replace("2025", "2026") + "  cost 6 per tree hinge\n"
    first, second = tally_of(report_of(HEAD + rows + RATES + "  cost 5 per tree hinge\n" + other)).priced
    assert (first.year, first.cost.least, second.year, second.cost.least) == (2025, 30, 2026, 36)


def test_a_plan_of_nothing_has_an_empty_tally(report_of: Check) -> None:
    tally = tally_of(report_of(HEAD))
    assert (
        tally.stems == tally.standing == tally.covered == tally.wood == tally.mixes == tally.sun == tally.priced == ()
    )
