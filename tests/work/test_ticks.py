"""Ticks on the sheet become the ground as it was built, and nothing else of the plan changes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest

from habitatlint.check import Report
from habitatlint.language.editing import applied
from habitatlint.work.cutlist import mark_of, pieces_of
from habitatlint.work.order import order_of
from habitatlint.work.ticks import Built, Untickable, as_built, ticks_of

Check = Callable[..., Report]
DAY = date(2026, 3, 12)

PLAN = """\
# The hedge of thorns, an invented property.
plan "Thorn Hedge"  # as drawn in January
  stage design
  date 2026-02-10

trees
  species red-maple  # what stands there
  stump-treatment planned
  mix stump-mix

row thicket
  method hinge
  stumps 0,0 40,0
  spacing 10  # paced
  fall N
  stump-treatment none
  step 1

# the big ones
row screen-tops
  method fell
  stumps 0,50 40,50
  spacing 10
  fall E
  step 1

task walk
  text "Walk it."  # in June
  step 2
work
  step 1 "Cut" 2026-03-01..2026-03-20
  step 2 "Walk" 2026-06-01
mix stump-mix
  label "an invented label, 0000-0"
"""


def built(report: Report, said: str) -> Built:
    return as_built(report.plan, ticks_of(pieces_of(report), said), DAY)


def boxes(report: Report, said: str) -> list[int]:
    return [tick.box for tick in ticks_of(pieces_of(report), said)]


@pytest.mark.parametrize(
    ("said", "ticked"),
    [
        ("1", [1]), ("1,3", [1, 3]), ("2-4", [2, 3, 4]), ("2..4", [2, 3, 4]), ("4, 1 2", [1, 2, 4]), ("3-3,3", [3]),
        ("thicket", [1]), ("screen-tops,walk", [2, 4]),
    ],
)  # fmt: skip
def test_boxes_are_named_by_number_by_run_or_by_the_name_of_the_work(
    report_of: Check, said: str, ticked: list[int]
) -> None:
    assert boxes(report_of(PLAN), said) == ticked


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("5", "there is no box 5: the sheet has boxes 1 to 4"),
        ("0", "there is no box 0"),
        ("3-9", "there is no box 9"),
        ("4-2", "`4-2` runs backward"),
        ("thickets", "no work is called `thickets`; did you mean `thicket`?"),
        ("1-2-3", "no work is called `1-2-3`; give numbers such as 3,7-9"),
        ("stump-mix", "no work is called `stump-mix`"),
        (", ,", "no box is named"),
        ("9" * 4000, "no work is called"),
    ],
)
def test_a_box_that_is_not_there_is_told_with_what_is(report_of: Check, said: str, told: str) -> None:
    with pytest.raises(Untickable) as trouble:
        ticks_of(pieces_of(report_of(PLAN)), said)
    assert told in str(trouble.value) and "\n" not in str(trouble.value)


def test_a_plan_without_work_has_no_boxes(report_of: Check) -> None:
    with pytest.raises(Untickable, match="no work, and so no boxes"):
        ticks_of(pieces_of(report_of('plan "Empty"\n')), "1")


def test_a_tick_writes_the_day_into_its_block_and_the_stage_into_the_head(report_of: Check) -> None:
    report = report_of(PLAN)
    text = applied(PLAN, built(report, "1").edits)
    assert text == PLAN.replace("stage design", "stage as-built").replace(
        "  stump-treatment none\n  step 1\n", "  stump-treatment none\n  step 1\n  done 2026-03-12\n"
    )


def test_stumps_have_a_box_of_their_own_which_leaves_the_cut_undone(report_of: Check) -> None:
    report = report_of(PLAN)
    text = applied(PLAN, built(report, "3").edits)
    # what the shared `trees` says of all stumps is said of this row by itself
    assert text == PLAN.replace("stage design", "stage as-built").replace(
        "  fall E\n  step 1\n", "  fall E\n  step 1\n  stump-treatment done\n"
    )


def test_line_ends_and_comments_stay(report_of: Check) -> None:
    crlf = PLAN.replace("\n", "\r\n")
    report = report_of(crlf)
    text = applied(crlf, built(report, "1-4").edits)
    assert "\n" not in text.replace("\r\n", "")
    assert [line for line in crlf.split("\r\n") if "#" in line] == [line for line in text.split("\r\n") if "#" in line]
    assert text.count("done 2026-03-12") == 3 and text.count("stump-treatment done") == 1


def test_the_copy_has_the_same_boxes_and_can_be_ticked_further(report_of: Check) -> None:
    first = applied(PLAN, built(report_of(PLAN), "2").edits)
    once = report_of(first)
    assert once.plan.stage == "as-built"
    assert mark_of(pieces_of(once)) == mark_of(pieces_of(report_of(PLAN)))
    again = built(once, "1,2,3")
    assert [tick.box for tick in again.done] == [1, 3] and [tick.box for tick in again.before] == [2]
    # the stumps of what is done already can still be ticked
    second = report_of(applied(first, again.edits))
    done = {piece.block.name: (piece.finished, piece.stump_treatment) for piece in pieces_of(second)}
    assert done == {"thicket": (True, "none"), "screen-tops": (True, "done"), "walk": (False, "")}


def test_what_is_all_done_already_is_told(report_of: Check) -> None:
    once = report_of(applied(PLAN, built(report_of(PLAN), "2").edits))
    with pytest.raises(Untickable, match="all of that is done in the plan already"):
        built(once, "2")


def test_a_plan_without_a_head_is_told_what_to_write(report_of: Check) -> None:
    with pytest.raises(Untickable, match='begin it with `plan "TITLE"`'):
        built(report_of('task walk\n  text "Walk it."\n'), "1")


def test_a_stage_that_cannot_be_read_is_not_written_over(report_of: Check) -> None:
    with pytest.raises(Untickable, match="`stage` cannot be read"):
        built(report_of(PLAN.replace("stage design", "stage half-built")), "1")


HUNG = PLAN + "tree elm\n  of screen-tops 2\n  state hung\n"


def test_a_hung_tree_that_comes_down_hangs_no_more_and_keeps_its_box(report_of: Check) -> None:
    report = report_of(HUNG)
    number = {piece.block.name: piece.box for piece in pieces_of(report)}
    assert order_of(report).dangers
    after = report_of(applied(HUNG, built(report, str(number["elm"])).edits))
    assert order_of(after).dangers == ()
    assert mark_of(pieces_of(after)) == mark_of(pieces_of(report))


def test_a_hung_tree_is_not_down_because_its_row_is(report_of: Check) -> None:
    report = report_of(HUNG)
    once = built(report, "screen-tops")
    assert once.along == ()
    after = report_of(applied(HUNG, once.edits))
    assert {piece.block.name: piece.finished for piece in pieces_of(after)}["elm"] is False
    assert order_of(after).dangers
    assert [tick.piece.block.name for tick in built(after, "elm").done] == ["elm"]


def test_a_tree_of_a_row_that_was_not_ticked_with_it_is_told_of(report_of: Check) -> None:
    own = PLAN + "tree leaner\n  of thicket 3\n  method fell\n  fall S\n  step 1\n"
    report = report_of(own)
    number = {piece.block.name: piece.box for piece in pieces_of(report)}
    assert [piece.block.name for piece in built(report, "thicket").along] == ["thicket"]
    assert built(report, f"thicket,{number['leaner']}").along == ()
    assert built(report, "leaner").along == ()
    # one that is left standing is no work, and none of the row's
    assert built(report_of(own.replace("method fell\n  fall S", "method leave")), "thicket").along == ()
