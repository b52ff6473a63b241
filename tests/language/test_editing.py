"""Changes as edits of a plan's text, written by themselves."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.findings import Change, Edit
from habitatlint.language.editing import Unwritable, applied, edits_of, overlap
from habitatlint.source import Source, Span

ReportOf = Callable[..., Report]

GATE = "place gate\n  kind gate\n  at 0,0\n"


def setting(report: Report, head: str, word: str, *texts: str) -> Change:
    at = report.source.text.index(head)
    return Change("set", Span(report.source, at, at + len(head)), word, texts)


def test_where_one_change_has_several_ways_the_others_keep_their_last(report_of: ReportOf) -> None:
    report = report_of(GATE + "place lot\n  kind paking\n  at 9,9\n")
    at = report.source.text.index("paking")
    slip = Change("set", Span(report.source, at, at + 6), "", ("parking", "landing"))
    changes = [setting(report, "place gate", "at", "1,1", "2,2"), setting(report, "place lot", "at", "8,8"), slip]
    for way, (place, kind) in enumerate((("1,1", "parking"), ("2,2", "landing"))):
        text = applied(report.source.text, edits_of(report.plan, changes, way))
        assert text == f"place gate\n  kind gate\n  at {place}\nplace lot\n  kind {kind}\n  at 8,8\n"
    with pytest.raises(IndexError):
        edits_of(report.plan, changes, 2)


def test_the_last_property_is_written_otherwise_and_another_put_below_it(report_of: ReportOf) -> None:
    report = report_of(GATE)
    changes = [setting(report, "place gate", "at", "5,5"), setting(report, "place gate", "note", '"x"')]
    assert applied(GATE, edits_of(report.plan, changes)) == 'place gate\n  kind gate\n  at 5,5\n  note "x"\n'


def test_a_line_is_taken_out_whole_and_nothing_of_the_next(report_of: ReportOf) -> None:
    report = report_of(GATE + "place lot\n  at 9,9\n")
    kind = Change("remove", Span(report.source, 0, 10), "kind")
    assert applied(report.source.text, edits_of(report.plan, [kind])) == ("place gate\n  at 0,0\nplace lot\n  at 9,9\n")
    block = Change("remove", Span(report.source, 0, 10))
    assert applied(report.source.text, edits_of(report.plan, [block])) == "place lot\n  at 9,9\n"


def test_a_new_block_takes_the_first_number_that_is_free(report_of: ReportOf) -> None:
    report = report_of(GATE + "place gate-2\n  at 9,9\n")
    after = Span(report.source, 0, 10)
    new = [Change("add", after, noun="place", name="gate", lines=(("at", place),)) for place in ("1,1", "2,2")]
    text = applied(report.source.text, edits_of(report.plan, new))
    assert text.startswith(GATE + "\nplace gate-3\n  at 1,1\n\nplace gate-4\n  at 2,2\nplace gate-2\n")


@pytest.mark.parametrize(
    ("one", "other", "meet"),
    [((0, 4), (2, 6), True), ((0, 4), (4, 6), False), ((4, 6), (0, 4), False), ((3, 3), (3, 3), True),
     ((3, 3), (3, 5), True), ((5, 5), (3, 5), False), ((0, 9), (2, 3), True), ((0, 1), (5, 9), False)],
)  # fmt: skip
def test_edits_overlap_where_they_touch_the_same_text_or_begin_at_one_place(
    one: tuple[int, int], other: tuple[int, int], meet: bool
) -> None:
    source = Source("x", "0123456789")
    first, second = (Edit(Span(source, *place), "") for place in (one, other))
    assert overlap([first], [second]) is overlap([second], [first]) is meet
    far = Edit(Span(source, 9, 10), "")
    assert overlap([far, first], [second]) is meet and not overlap([], [second])


ROW = "row cover\n  method hinge\n  stumps 50,8 50,48\n  spacing 10\n  fall N\n  dbh 8in\n"


def of_a_tree(report: Report, number: int, word: str, *texts: str) -> Change:
    return setting(report, "row cover", word, *texts)._replace(number=number)


def test_one_tree_of_a_row_is_written_in_its_own_block_once(report_of: ReportOf) -> None:
    report = report_of(ROW)
    changes = [
        of_a_tree(report, 2, "method", "fell", "leave"),
        of_a_tree(report, 2, "fall", "E"),
        of_a_tree(report, 3, "fall", "N"),  # as its row has it: nothing to write
    ]
    for way, method in enumerate(("fell", "leave")):
        text = applied(ROW, edits_of(report.plan, changes, way))
        assert text.rstrip("\n") == f"{ROW}\ntree cover-2\n  of cover 2\n  method {method}\n  fall E"


def test_a_tree_of_a_row_that_has_a_block_is_changed_there(report_of: ReportOf) -> None:
    trees = ROW + "tree one\n  of cover 1\n  fall W\ntree two\n  of cover 2\n  fall W\n"
    report = report_of(trees)
    text = applied(trees, edits_of(report.plan, [of_a_tree(report, 2, "fall", "E")]))
    assert text == ROW + "tree one\n  of cover 1\n  fall W\ntree two\n  of cover 2\n  fall E\n"


def test_a_tree_of_no_row_and_one_that_leaves_out_what_its_row_says_cannot_be_written(report_of: ReportOf) -> None:
    report = report_of(ROW + GATE)
    gate = setting(report, "place gate", "at", "1,1")._replace(number=1)
    with pytest.raises(Unwritable, match="cannot be named"):
        edits_of(report.plan, [gate])
    out = Change("remove", Span(report.source, 0, 9), "fall", number=1)
    with pytest.raises(Unwritable, match="cannot leave out"):
        edits_of(report.plan, [out])
