"""The order of work and the cut list: what comes first, who is warned of what, sizes and falls by hand."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.units import FOOT, INCH, YARD
from habitatlint.work.cutlist import Piece, mark_of, pieces_of
from habitatlint.work.order import Order, StepWork, Wanted, order_of

Check = Callable[..., Report]

CREW = """
crew saws
  people 2
  training felling
  gear helmet face-screen earmuffs gloves chaps boots
"""


def by_name(report: Report) -> dict[str, Piece]:
    return {piece.block.name: piece for piece in pieces_of(report)}


def step(order: Order, number: float | None) -> StepWork:
    return next(one for one in order.steps if one.number == number)


# -- what comes first ------------------------------------------------------------------------------------------

ORDERED = """
row thicket
  method hinge
  stumps 0,0 40,0
  spacing 10
  fall N
  step 2
task walk
  text "Walk it."
row hedge-cut
  method fell
  stumps 0,50 40,50
  spacing 10
  fall N
  stump-treatment planned
  step 2
release light
  outline 0,60 40,60 40,100 0,100
  method fell
  step 2
tree hung-oak
  at 200,200
  method fell
  state hung
  step 2
tree first
  at 300,300
  method fell
  fall E
  step 1
"""


def test_work_goes_by_steps_danger_trees_first_then_releases_and_what_is_in_no_step_last(report_of: Check) -> None:
    names = [piece.block.name for piece in pieces_of(report_of(ORDERED))]
    assert names == ["first", "hung-oak", "light", "thicket", "hedge-cut", "walk"]


def test_boxes_run_in_that_order_with_one_more_for_stumps_that_are_treated(report_of: Check) -> None:
    pieces = by_name(report_of(ORDERED))
    assert [pieces[name].box for name in ("first", "hung-oak", "light", "thicket", "hedge-cut", "walk")] == [
        1,
        2,
        3,
        4,
        5,
        7,
    ]
    assert pieces["hedge-cut"].stumps_box == 6
    assert all(not piece.stumps_box for name, piece in pieces.items() if name != "hedge-cut")


def test_a_box_keeps_its_number_when_work_is_done_and_whatever_is_printed(report_of: Check) -> None:
    before = pieces_of(report_of(ORDERED))
    done = ORDERED.replace("  step 1\n", "  step 1\n  done 2026-02-01\n").replace("planned", "done")
    after = pieces_of(report_of(done))
    assert [(one.box, one.stumps_box, one.block.name) for one in before] == [
        (one.box, one.stumps_box, one.block.name) for one in after
    ]
    assert mark_of(before) == mark_of(after)
    part = order_of(report_of(done), Wanted(step=2.0, left=True))
    assert [piece.box for piece in part.steps[0].pieces] == [2, 3, 4, 5]
    assert part.mark == mark_of(before)


def test_another_numbering_of_boxes_has_another_mark(report_of: Check) -> None:
    one = mark_of(pieces_of(report_of(ORDERED)))
    other = mark_of(pieces_of(report_of(ORDERED.replace("row thicket", "row copse"))))
    assert re.fullmatch("[0-9A-F]{4}", one) and one != other


def test_only_one_step_only_one_crew_and_only_what_is_left(report_of: Check) -> None:
    text = ORDERED.replace("  step 1\n", "  step 1\n  by saws\n  done 2026-02-01\n") + CREW
    assert [one.number for one in order_of(report_of(text), Wanted(step=2.0)).steps] == [2]
    ours = order_of(report_of(text), Wanted(crew="saws"))
    assert [(one.number, [piece.block.name for piece in one.done]) for one in ours.steps] == [(1, ["first"])]
    assert [one.number for one in order_of(report_of(text), Wanted(left=True)).steps] == [2, None]


def test_what_a_neighbour_does_and_what_is_left_standing_is_no_work(report_of: Check) -> None:
    text = """
row theirs
  method fell
  stumps 0,0 40,0
  spacing 10
  fall N
  offsite yes
tree kept
  at 0,30
  method leave
tree dead-elm
  at 0,60
  state dead
"""
    assert pieces_of(report_of(text)) == ()
    assert [(one.block.name, one.comes_down) for one in order_of(report_of(text)).dangers] == [("dead-elm", False)]


# -- the cut list ------------------------------------------------------------------------------------------------


def test_a_row_says_how_many_how_thick_and_how_tall_as_it_is_written(report_of: Check) -> None:
    text = """
trees
  species red-maple
  dbh 6in..9in
row thicket
  method hinge
  stumps 0,0 40,0
  spacing 10
  tree-height 40ft..50ft
  fall N
tree leaner
  of thicket 2
  method leave
row plain
  method fell
  stumps 0,80 40,80
  spacing 20
  fall N
"""
    pieces = by_name(report_of(text))
    row = pieces["thicket"]
    assert (row.trees, row.laid_out, row.species, row.stays) == (4.0, True, ("red-maple",), (2,))
    assert row.dbh == pytest.approx((6 * INCH, 9 * INCH, False))
    assert row.height == pytest.approx((40 * FOOT, 50 * FOOT, False))
    assert (row.cut_height, row.cut_height_given) == (3 * FOOT, False)
    # by the Central States curve of red maple, 4.5 + exp(4.3379 - 3.8214/(D+1)): 48.84 ft at 6 in, 56.72 at 9
    assert pieces["plain"].height == pytest.approx((48.84 * FOOT, 56.72 * FOOT, True), abs=0.01)


def test_without_a_diameter_the_usual_one_is_taken_and_said_to_be(report_of: Check) -> None:
    text = "row plain\n  method fell\n  stumps 0,0 40,0\n  spacing 20\n  fall N\n"
    assert by_name(report_of(text))["plain"].dbh == pytest.approx((8 * INCH, 8 * INCH, True))


def test_a_patch_is_reckoned_from_its_density_and_says_what_it_keeps(report_of: Check) -> None:
    # 44 yd by 55 yd is half an acre: 25 of 50 an acre
    text = """
patch brush
  method hinge
  outline 0,0 44,0 44,55 0,55
  density 50 per acre
  keep white-oak beech
"""
    piece = by_name(report_of(text))["brush"]
    assert piece.trees == pytest.approx(25.0)
    assert (piece.laid_out, piece.keep, piece.fall) == (False, ("white-oak", "beech"), None)
    assert piece.area == pytest.approx(2420 * YARD**2)


# -- which way they fall -----------------------------------------------------------------------------------------


def test_a_fall_is_told_by_what_it_turns_from_and_what_lies_ahead(report_of: Check) -> None:
    text = """
path doe-run
  use travel
  line 0,0 100,0
hazard mill-creek
  kind water
  line 0,60 100,60
row thicket
  method hinge
  stumps 40,20 60,20
  spacing 10
  fall away from doe-run
"""
    fall = by_name(report_of(text))["thicket"].fall
    assert fall is not None
    assert (fall.word, fall.of, fall.ahead) == ("away", "doe-run", "water mill-creek")
    assert fall.middle == pytest.approx(0.0, abs=1e-6) and fall.spread == pytest.approx(0.0, abs=1e-6)
    assert fall.off == pytest.approx(40 * YARD)


def test_what_lies_aside_of_a_fall_or_too_far_ahead_is_not_told(report_of: Check) -> None:
    text = """
hazard mill-creek
  kind water
  line 0,{north} 100,{north}
hazard barn
  kind building
  outline 90,10 95,10 95,30 90,30
tree oak
  at 50,20
  method fell
  fall N
"""
    fall = by_name(report_of(text.format(north=119)))["oak"].fall
    assert fall is not None and fall.ahead == "water mill-creek" and fall.off == pytest.approx(99 * YARD)
    fall = by_name(report_of(text.format(north=121)))["oak"].fall
    assert fall is not None and fall.ahead == ""


def test_a_thing_is_ahead_by_its_nearest_place_up_to_thirty_degrees_off_the_fall(report_of: Check) -> None:
    text = """
hazard mill-creek
  kind water
  line 0,60 100,60
tree oak
  at 50,20
  method fell
  fall N{degrees}E
"""
    for degrees, ahead in ((29, "water mill-creek"), (31, "")):
        fall = by_name(report_of(text.format(degrees=degrees)))["oak"].fall
        assert fall is not None and fall.ahead == ahead


def test_trees_that_fall_every_way_are_told_one_by_one(report_of: Check) -> None:
    text = """
sign bed
  kind bed
  at 50,50
row ring
  method hinge
  stumps 50,55 55,50 50,45 45,50
  count 4
  fall away from bed
"""
    fall = by_name(report_of(text))["ring"].fall
    assert fall is not None and not fall.alike
    assert fall.bearings[0] == pytest.approx(0.0, abs=1e-6) and len(fall.bearings) == 4


def test_magnetic_bearings_are_those_of_a_compass_and_none_without_a_declination(report_of: Check) -> None:
    # a compass 2.5 degrees west of true reads 2.5 more
    head = 'plan "P"\n  declination 2.5W\n'
    tree = "tree oak\n  at 0,0\n  method fell\n  fall E\n"
    north = order_of(report_of(head + tree)).north
    assert north is not None and north.magnetic(90.0) == 92.5 and north.stated
    assert north.magnetic(359.0) == pytest.approx(1.5)
    assert order_of(report_of('plan "P"\n' + tree)).north is None


# -- people -----------------------------------------------------------------------------------------------------


REACHED = """
hazard thing
  kind {kind}
  line {east},-50 {east},50
tree oak
  at 0,0
  method fell
  fall W
  tree-height 60ft
"""


@pytest.mark.parametrize(
    ("kind", "told", "kept"),
    [
        # sixty feet and a tenth more is 22 yd: one and a half of it for roads and buildings, one for water and a fence,
        # and ten feet beyond one for a wire
        ("road", 32.9, 33.1), ("building", 32.9, 33.1), ("water", 21.9, 22.1), ("fence", 21.9, 22.1),
        ("wire", 25.3, 25.4),
    ],
)  # fmt: skip
def test_what_a_tree_can_reach_is_told_whichever_way_it_is_laid(
    report_of: Check, kind: str, told: float, kept: float
) -> None:
    near = by_name(report_of(REACHED.format(kind=kind, east=told)))["oak"].near
    assert [(one.name, one.kind) for one in near] == [(f"{kind} thing", kind)]
    assert near[0].distance == pytest.approx(told * YARD)
    assert by_name(report_of(REACHED.format(kind=kind, east=kept)))["oak"].near == ()


def test_a_tree_that_is_killed_standing_reaches_nothing_while_it_is_cut(report_of: Check) -> None:
    text = REACHED.format(kind="road", east=10).replace("fell", "girdle")
    assert by_name(report_of(text))["oak"].near == ()


@pytest.mark.parametrize(
    ("lines", "reasons"),
    [
        ("dbh 12.1in", ("big",)),
        ("dbh 12in", ()),
        ("lean S 10deg", ("leans",)),
        ("lean S 9deg", ()),
        ("condition hollow", ("hollow",)),
        ("condition split", ("split",)),
        ("species white-ash", ("splits",)),
        ("state dead", ("dead",)),
        ("state hung", ("hung",)),
    ],
)
def test_what_a_hinge_must_not_be_is_for_a_trained_feller(
    report_of: Check, lines: str, reasons: tuple[str, ...]
) -> None:
    text = f"tree one\n  at 0,0\n  method hinge\n  fall N\n  {lines}\n"
    assert by_name(report_of(text))["one"].feller == reasons


def test_size_and_splitting_wood_forbid_a_hinge_and_not_a_felling(report_of: Check) -> None:
    text = "tree one\n  at 0,0\n  method fell\n  fall N\n  dbh 20in\n  species white-ash\n"
    assert by_name(report_of(text))["one"].feller == ()


DANGER = """
tree hung-oak
  at 50,10
  state hung
  method fell
  tree-height 60ft
  step 1
row thicket
  method hinge
  stumps 50,{north} 50,80
  spacing 10
  fall N
  step 2
"""


def test_work_within_two_heights_of_a_danger_tree_is_told_of_it(report_of: Check) -> None:
    # two of sixty feet and a tenth are 44 yd
    near = step(order_of(report_of(DANGER.format(north=53.9))), 2.0).dangers
    assert [(one.block.name, one.state, one.step) for one in near] == [("hung-oak", "hung", 1.0)]
    assert near[0].nearest == pytest.approx(43.9 * YARD)
    assert step(order_of(report_of(DANGER.format(north=54.1))), 2.0).dangers == ()


def test_who_treats_stumps_under_a_hung_tree_is_told_of_it(report_of: Check) -> None:
    cut = DANGER.format(north=20).replace("  step 2\n", "  step 2\n  done 2026-01-20\n  stump-treatment planned\n")
    work = step(order_of(report_of(cut)), 2.0)
    assert not work.pieces and len(work.waiting) == 1
    assert [one.block.name for one in work.dangers] == ["hung-oak"]


def test_a_tree_that_hangs_is_still_to_do_whatever_day_is_written(report_of: Check) -> None:
    done = DANGER.format(north=20).replace("  state hung\n", "  state hung\n  done 2026-01-20\n")
    assert [piece.block.name for piece in step(order_of(report_of(done)), 1.0).pieces] == ["hung-oak"]
    (danger,) = order_of(report_of(done)).dangers
    assert (danger.comes_down, danger.step) == (True, 1.0)
    down = done.replace("state hung", "state down")
    assert [piece.block.name for piece in step(order_of(report_of(down)), 1.0).done] == ["hung-oak"]


def test_the_felling_of_a_danger_tree_is_not_warned_of_itself(report_of: Check) -> None:
    assert step(order_of(report_of(DANGER.format(north=20))), 1.0).dangers == ()


def test_a_dangerous_tree_that_nothing_brings_down_is_listed_as_that(report_of: Check) -> None:
    (danger,) = order_of(report_of(DANGER.format(north=20).replace("  method fell\n", "", 1))).dangers
    assert (danger.comes_down, danger.step) == (False, None)


def test_two_tree_lengths_are_those_of_the_tallest_that_is_left_to_fell(report_of: Check) -> None:
    text = """
tree tall
  at 0,0
  method fell
  fall N
  tree-height 60ft
  step 1
  {done}
tree low
  at 50,0
  method fell
  fall N
  tree-height 30ft
  step 1
"""
    assert step(order_of(report_of(text.format(done=""))), 1.0).tall.height == pytest.approx(66 * FOOT)
    left = order_of(report_of(text.format(done="done 2026-01-01")))
    assert step(left, 1.0).tall.height == pytest.approx(33 * FOOT)


CONCERNED = """
row thicket
  method hinge
  stumps 0,0 40,0
  spacing 10
  fall N
  dbh 13in
  by saws
  step 1
row other
  method hinge
  stumps 0,200 40,200
  spacing 10
  fall N
  by saws
  step 2
"""


def test_a_waived_finding_about_people_stands_on_the_sheet_with_its_reason(report_of: Check) -> None:
    waived = 'waive hinge-too-big on thicket until 2026-12-31 because "the feller has looked at them"\n'
    order = order_of(report_of(CONCERNED + CREW + waived))
    told = {one.finding.rule: one for one in order.concerns}
    big = told["felling/hinge-too-big"]
    assert big.quiet == "waived: the feller has looked at them" and big.steps == {1.0}
    # gear is the crew's, and the crew has two steps
    assert told["felling/gear-missing"].steps == {1.0, 2.0} and told["felling/gear-missing"].quiet == ""
    assert [one.number for one in order.concerns] == list(range(1, len(order.concerns) + 1))
    # and the row of step 2 gives no `dbh`: whether it may be hinged nobody judged
    (gap,) = order.gaps
    assert [one.rule for one in gap.unjudged] == ["felling/hinge-too-big"] and gap.number == len(order.concerns) + 1
    assert step(order, 2.0).concerns == (told["felling/gear-missing"].number, gap.number)
    assert step(order, 1.0).gaps == () and gap.boxes == (by_name(report_of(CONCERNED + CREW))["other"].box,)


def test_what_a_safety_rule_that_is_switched_off_finds_stands_on_the_sheet(report_of: Check) -> None:
    off = "level hinge-too-big off\n"
    report = report_of(CONCERNED + CREW + off)
    assert not any(one.rule == "felling/hinge-too-big" for one in report.findings)
    (told,) = (one for one in order_of(report).concerns if one.finding.rule == "felling/hinge-too-big")
    (loud,) = (one for one in report_of(CONCERNED + CREW).findings if one.rule == "felling/hinge-too-big")
    assert told.quiet == "switched off" and told.steps == {1.0}
    assert (told.finding.level, told.finding.measured) == (loud.level, loud.measured)
    # and what it could not judge is told as if it were on
    assert [gap.boxes for gap in order_of(report).gaps] == [
        gap.boxes for gap in order_of(report_of(CONCERNED + CREW)).gaps
    ]


GAPS = """
path lane
  use travel
  line 0,300 400,300
row thicket
  method hinge
  stumps 0,0 40,0
  spacing 10
  fall N
  dbh 8in
  step 1
release light
  outline 100,100 200,100 200,200 100,200
  basal-area 110 to 50 sqft/ac
  method fell
  step 2
tree old-elm
  at 300,300
  state hung
"""


@pytest.mark.parametrize(
    ("was", "now", "rule", "steps"),
    [
        # what may lie beside any work concerns all of it
        ("", 'include "hazards.habitat"\n', "include-trouble", {1.0, 2.0}),
        ("", 'use pack "creek"\n', "pack-trouble", {1.0, 2.0}),
        ("", "hazard power\n  kind wire\n  line beside pole-lane left 10yd from 0yd to 90yd\n", "unknown-name",
         {1.0, 2.0}),
        ("", "hazard house\n  kind building\n  outline 0,0 10,10 10,0 0,10\n", "crossed-outline", {1.0, 2.0}),
        ("", "hazard house\n  kind building\n  outline 0,0 10,10\n", "open-outline", {1.0, 2.0}),
        ("line 0,300 400,300", "lin 0,300 400,300", "unknown-word", {1.0, 2.0}),
        # a tree that is no work may be the one that hangs
        ("state hung", "state hugn", "unknown-word", {1.0, 2.0}),
        # what is on a piece of work is of its step
        ("200,100 200,200 100,200", "200,200 200,100 100,200", "crossed-outline", {2.0}),
        ("dbh 8in", "dbh 8inn", "syntax", {1.0}),
        ("  spacing 10\n", "", "spacing-or-count", {1.0}),
    ],
)  # fmt: skip
def test_what_was_not_read_stands_beside_what_could_hurt_people(
    report_of: Check, was: str, now: str, rule: str, steps: set[float]
) -> None:
    assert order_of(report_of(GAPS)).gaps == ()
    order = order_of(report_of(GAPS.replace(was, now, 1) if was else GAPS + now))
    gap = next(one for one in order.gaps if one.finding is not None and one.finding.rule == f"record/{rule}")
    assert gap.steps == steps and gap.number > len(order.concerns)
    assert {one.number for one in order.steps if gap.number in one.concerns} == steps


def test_a_name_that_only_a_waiver_has_wrong_hides_nothing(report_of: Check) -> None:
    assert (
        order_of(report_of(GAPS + 'waive no-such-rule until 2027-01-01 because "x"\nlevel no-such-rule off\n')).gaps
        == ()
    )


def test_the_box_of_work_whose_outline_nobody_can_draw_is_named(report_of: Check) -> None:
    report = report_of(GAPS.replace("200,100 200,200 100,200", "200,200 200,100 100,200"))
    (gap,) = order_of(report).gaps
    assert gap.boxes == (by_name(report)["light"].box,)


def test_a_safety_rule_that_is_switched_off_is_named(report_of: Check) -> None:
    order = order_of(report_of(CONCERNED + CREW + "level hinge-too-big off\n"))
    assert [rule.slug for rule in order.silenced] == ["hinge-too-big"]
    assert by_name(report_of(CONCERNED + CREW + "level hinge-too-big off\n"))["thicket"].feller == ("big",)


def test_a_crew_is_asked_for_gear_by_clause_and_told_what_it_lacks(report_of: Check) -> None:
    (hands,) = step(order_of(report_of(CONCERNED + CREW)), 1.0).hands
    assert hands.by_clause == ("leg-protection", "boots", "eye-protection")
    assert (hands.saw, hands.herbicide, hands.lacking) == (True, False, ("first-aid",))


# -- herbicide ----------------------------------------------------------------------------------------------------

MIXED = """
mix hack-mix
  label "an invented label, 0000-0"
  part concentrate 20%
  part water 80%
  per-hack 1 mL
  reentry 12 hours
  gear gloves
mix other-mix
  label "an invented label, 0000-1"
  {reentry}
row poles
  method hack-and-squirt
  stumps 0,0 80,0
  spacing 10
  dbh 9in
  mix hack-mix
  step 1
treatment sprouts
  of stumps
  mix other-mix
  step 1
row stumps
  method fell
  stumps 0,200 40,200
  spacing 10
  fall N
  done 2026-01-05
"""


def test_a_mix_is_reckoned_by_cuts_and_the_labels_own_figure_part_by_part(report_of: Check) -> None:
    # nine trees of 9 in take nine cuts each, one an inch (Penn State Extension): 81 of 1 mL, of which a fifth is 16.2 mL
    bottles = {
        one.name: one for one in step(order_of(report_of(MIXED.format(reentry="reentry 48 hours"))), 1.0).bottles
    }
    hack = bottles["hack-mix"]
    assert (hack.hacks, hack.volume) == (81.0, pytest.approx(0.081))
    assert [(one.name, one.volume) for one in hack.parts] == [
        ("concentrate", pytest.approx(0.0162)),
        ("water", pytest.approx(0.0648)),
    ]
    assert bottles["other-mix"].volume is None and len(bottles["other-mix"].unreckoned) == 1


def test_others_stay_out_for_the_longest_of_its_mixes_and_unknown_where_one_does_not_say(report_of: Check) -> None:
    # 40 CFR 170.112 (the number before 2017): twelve hours and forty-eight are forty-eight
    assert step(order_of(report_of(MIXED.format(reentry="reentry 48 hours"))), 1.0).reentry == 48.0
    assert step(order_of(report_of(MIXED.format(reentry="aquatic no"))), 1.0).reentry is None


def test_stumps_that_wait_for_their_treatment_are_still_to_do_though_the_cut_is_done(report_of: Check) -> None:
    text = ORDERED.replace("  stump-treatment planned\n", "  stump-treatment planned\n  done 2026-02-01\n")
    part = step(order_of(report_of(text), Wanted(left=True)), 2.0)
    assert [piece.stumps_box for piece in part.waiting] == [6] and part.herbicide
    treated = step(order_of(report_of(text.replace("planned", "done")), Wanted(left=True)), 2.0)
    assert treated.waiting == () and not treated.herbicide


# -- where, and the way in -------------------------------------------------------------------------------------------


def test_the_way_in_begins_at_the_end_that_is_nearer_to_a_gate_or_a_road(report_of: Check) -> None:
    text = """
path wood-road
  use vehicle
  line 300,300 300,10
  width 4
place lane-gate
  kind gate
  at 300,2
hazard town-road
  kind road
  line 0,-30 600,-30
"""
    (way,) = order_of(report_of(text)).ways
    assert way.ends[0] == pytest.approx((300 * YARD, 10 * YARD))
    assert way.near[0] == ("place lane-gate", pytest.approx(8 * YARD))
    assert (way.length, way.width) == (pytest.approx(290 * YARD), pytest.approx(4 * YARD))


def test_corridors_of_a_pocket_that_is_cut_in_are_kept_open(report_of: Check) -> None:
    text = """
food clover
  kind plot
  outline 0,0 100,0 100,20 0,20
pocket cover
  outline 0,30 100,30 100,90 0,90
  corridors every 20yd off clover width 4ft
row thicket
  in cover
  method hinge
  stumps 5,40 95,40
  spacing 10
  fall N
  step 1
"""
    (way,) = step(order_of(report_of(text)), 1.0).open
    # the first half a spacing from the end of 100 yd, and each 20 yd on: five
    assert (way.pocket, way.off, way.ways, way.width) == ("cover", "clover", 5, pytest.approx(4 * FOOT))
