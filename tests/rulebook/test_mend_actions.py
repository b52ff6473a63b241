"""What the actions of a mend write: on which trees, which values, and why not."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import pytest

from habitatlint import files
from habitatlint.check import Report
from habitatlint.findings import Mend
from habitatlint.language.editing import Unwritable, applied, edits_of
from habitatlint.review import Review, pack_reader
from habitatlint.rulebook.rules import rule_grammar
from habitatlint.source import Source

ReportOf = Callable[..., Report]

LANE = "path lane\n  use entry\n  line 0,0 100,0\n"
HINGES = "row cover\n  method hinge\n  stumps 50,8 50,48\n  spacing 10\n  fall N\n  dbh 8in\n"


def mends_of(report: Report, rule: str) -> tuple[Mend, ...]:
    return next(finding for finding in report.findings if finding.rule == rule).mends


def written(report: Report, rule: str, number: int, way: int = 0) -> str:
    """The plan with one way of a rule's mend made, tried or not."""
    mend = mends_of(report, rule)[number]
    assert mend.changes, mend.why
    return applied(report.source.text, edits_of(report.plan, mend.changes, way))


def test_only_the_trees_at_fault_change_where_a_row_is_split(report_of: ReportOf) -> None:
    text = written(report_of(LANE + HINGES), "entry/live-hinge-near-entry", 0)
    for number in (1, 2):
        added = (
            f"tree cover-{number}\n  of cover {number}\n  method fell\n  fall along lane\n  stump-treatment planned\n"
        )
        assert added in text + "\n"
    assert HINGES.rstrip() in text and "cover-3" not in text


def test_a_row_is_moved_off_by_what_is_missing(report_of: ReportOf) -> None:
    # the nearest stump is 8 yd off and 20 are wanted: 12 yd and half a yard
    assert "  stumps 50,20.5 50,60.5\n" in written(report_of(LANE + HINGES), "entry/live-hinge-near-entry", 1)


def test_a_row_beside_the_walk_is_set_farther_from_it(report_of: ReportOf) -> None:
    beside = HINGES.replace("50,8 50,48", "beside lane left 12yd from 10yd to 60yd")
    text = written(report_of(LANE + beside), "entry/live-hinge-near-entry", 1)
    assert "  stumps beside lane left 20.5yd from 10yd to 60yd\n" in text


def test_a_tree_is_moved_by_its_at(report_of: ReportOf) -> None:
    tree = "tree cover\n  at 50,-12\n  method hinge\n  fall S\n  dbh 8in\n"
    assert "  at 50,-20.5\n" in written(report_of(LANE + tree), "entry/live-hinge-near-entry", 1)


PEN = """pocket thicket
  outline 0,0 60,0 60,60 0,60
  bed 30,30
  bed 5,55
tree corner
  at 1,1
  method hinge
  fall S
  dbh 6in
hazard wall
  line 10,10 50,10 50,50 10,50 10,10
  kind fence
  barrier yes
"""


def moved_bed(report: Report) -> Mend:
    return next(mend for mend in mends_of(report, "escape/open-arc") if "move the bed" in mend.say)


def test_of_a_bed_that_is_moved_its_point_alone_is_written_otherwise(report_of: ReportOf) -> None:
    report = report_of(PEN)
    mend = moved_bed(report)
    text = applied(report.source.text, edits_of(report.plan, mend.changes))
    before, after = PEN.splitlines(), text.splitlines()
    changed = [number for number, (one, other) in enumerate(zip(before, after, strict=True)) if one != other]
    assert changed == [before.index("  bed 30,30")]
    east, north = (float(one) for one in after[changed[0]].split()[1].split(","))
    assert not (10 <= east <= 50 and 10 <= north <= 50) and 0 < east < 60 and 0 < north < 60


def test_the_beds_of_a_plan_as_built_are_not_moved(report_of: ReportOf) -> None:
    mend = moved_bed(
        report_of(
            'plan "As it was cut"\n  stage as-built\n  units yd\n'
            + PEN.replace("dbh 6in", "dbh 6in\n  done 2026-02-01")
        )
    )
    assert (mend.changes, mend.why) == ((), "beds lie where deer bed")


def test_a_bed_that_nobody_wrote_is_not_moved(report_of: ReportOf) -> None:
    unsaid = PEN.replace("  bed 30,30\n  bed 5,55\n", "").replace("at 1,1", "at 30,30")
    assert moved_bed(report_of(unsaid)).why == "no bed is written that could be moved"


def test_a_stand_is_set_nearer_only_where_that_is_no_farther_than_it_shoots(report_of: ReportOf) -> None:
    run = "path run\n  use travel\n  line 0,0 100,0\n"
    near = run + "stand oak\n  at 50,44\n  range 25yd\n"
    assert "  at 50,24\n" in written(report_of(near), "layout/stand-off-travel", 1)
    far = mends_of(report_of(near.replace("50,44", "50,51")), "layout/stand-off-travel")[1]
    assert not far.changes and far.why.startswith("it is too far from where deer pass")


def test_a_stand_goes_back_to_where_its_way_comes_into_the_core(report_of: ReportOf) -> None:
    land = "core quiet\n  outline 100,100 300,100 300,300 100,300\npath lane\n  use entry\n  line 200,0 200,395\n"
    through = written(report_of(land + "stand oak\n  at 203,390\n  reach lane\n"), "layout/stand-in-core", 1)
    assert "  at 200,100\n" in through
    inside = written(report_of(land + "stand oak\n  at 140,200\n"), "layout/stand-in-core", 1)
    assert "  at 99,200\n" in inside


def test_two_corridors_that_run_too_close_both_give_way_and_one_beside_laid_ones_alone(report_of: ReportOf) -> None:
    pocket = "pocket thicket\n  outline 0,0 60,0 60,40 0,40\n"
    ride = "path {name}\n  use corridor\n  line {at},-3 {at},43\n"
    both = pocket + ride.format(name="west", at=20) + ride.format(name="east", at=30)
    text = written(report_of(both), "escape/corridor-spacing", 1)
    assert "  line 15,-3 15,43\n" in text and "  line 35,-3 35,43\n" in text
    food = "food clover\n  outline 0,-40 60,-40 60,-10 0,-10\n"
    laid = food + pocket + "  corridors every 60yd off clover width 3ft\n" + ride.format(name="east", at=40)
    assert "  line 50,-3 50,43\n" in written(report_of(laid), "escape/corridor-spacing", 1)


def test_several_falls_are_ways_tried_in_turn(report_of: ReportOf) -> None:
    screen = "row screen\n  method fell\n  stumps 10,8 90,8\n  spacing 10\n  fall N\n  dbh 8in\n"
    report = report_of(LANE + screen)
    ways = [written(report, "entry/screen-across-entry", 0, way) for way in (0, 1)]
    assert ["  fall along lane\n" in ways[0], "  fall against lane\n" in ways[1]] == [True, True]
    with pytest.raises(IndexError):
        written(report, "entry/screen-across-entry", 0, 2)


def test_a_tree_that_lies_already_is_not_turned(report_of: ReportOf) -> None:
    blown = LANE + "tree thrown\n  at 50,13\n  state blown\n  fall S\n  dbh 8in\n"
    with pytest.raises(Unwritable, match="tree thrown lies already"):
        written(report_of(blown), "entry/tops-on-entry", 0)


def test_what_a_new_tree_need_not_say_is_left_out_where_nobody_knows(report_of: ReportOf) -> None:
    west = "tree west\n  purpose screen\n  method fell\n  at 20,8\n  fall E\n  crown-width 12ft\n  tree-height 40ft\n  crown-ratio 30%\n"
    report = report_of(LANE + west + west.replace("west", "east").replace("20,8", "28,8"))
    text = written(report, "entry/screen-hole", 1)
    assert "tree west-fill\n  at 24,8\n" in text
    assert "  tree-height 40ft\n  crown-ratio 30%\n  crown-width 12ft\n" in text.partition("west-fill")[2]
    assert "dbh" not in text and "species" not in text and "mix" not in text


def test_what_a_block_must_say_is_a_reason_where_nobody_knows(report_of: ReportOf) -> None:
    stem = "tree stem\n  at 50,6\n  method fell\n  fall E\n  dbh 8in\n"
    mend = mends_of(report_of(LANE + stem), "entry/sprouts-near-entry")[1]
    assert (mend.proof, mend.why) == ("withheld", "the plan has no mix with a label, or several")


def test_a_mix_that_the_row_names_stays_where_the_plan_has_several(report_of: ReportOf) -> None:
    mixes = "".join(f'mix {name}\n  label "as the product\'s label says"\n' for name in ("one", "other"))
    stem = "tree stem\n  at 50,6\n  method fell\n  fall E\n  dbh 8in\n"
    text = written(report_of(LANE + mixes + stem + "  mix other\n"), "entry/sprouts-near-entry", 0)
    assert text.endswith("  mix other\n  stump-treatment planned\n")
    assert not mends_of(report_of(LANE + mixes + stem), "entry/sprouts-near-entry")[0].changes


def test_what_the_shared_trees_say_already_is_not_written_again(report_of: ReportOf) -> None:
    mix = 'mix stump-mix\n  label "as the product\'s label says"\n'
    stem = "trees\n  mix stump-mix\ntree stem\n  at 50,6\n  method fell\n  fall E\n  dbh 8in\n"
    text = written(report_of(LANE + mix + stem), "entry/sprouts-near-entry", 0)
    assert text.count("mix stump-mix") == 2 and text.endswith("  dbh 8in\n  stump-treatment planned\n")


RULE = """rule narrow
  title "Narrow"
  each k in pockets
  measure dead = dead-end(k, 3ft, 30in, 30in)
  report error
    say "{k}"
  mark k.outline
  because "of this"
  mend "so"
"""


@pytest.mark.parametrize(
    ("action", "why"),
    [
        ("set dead.tree.method leave", None),
        ("split dead.tree", None),
        ("turn dead.tree.fall to dead.ahead", None),
        ("set dead.method leave", "a thing of the plan, or a property of one"),
        ("set dead.at.method leave", "a thing of the plan, or a property of one"),
        ("set dead.tree.metod leave", "a property of a plan's block"),
        ("set dad.tree.method leave", "a variable or a measure of the rule"),
        ("turn dead.tree.fall to dead.ahed", "a part of `dead`"),
        ('add opening "{k}-gap" after k\n      at dead.att', "a part of `dead`"),
    ],
)
def test_an_action_is_on_a_thing_that_the_rule_knows(action: str, why: str | None, review: Review) -> None:
    read = pack_reader(review.plan_grammar, lambda: files.grammar("rules", rule_grammar))
    slips = read("own", [Source("own.rules", f"{RULE}    {action}\n")]).slips
    told: Iterable[str] = [slip.expected or slip.why for slip in slips]
    assert (not told) if why is None else any(why in one for one in told), told
