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
