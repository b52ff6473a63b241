"""The paper of two plans: what a person reads of what changed, and the map of both."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import date

import pytest

from habitatlint.check import Report
from habitatlint.outputs.map.drawing import Drawing, draw
from habitatlint.outputs.map.press import find_no_picture
from habitatlint.outputs.map.signs import SIGNS
from habitatlint.outputs.papers.as_csv import as_csv
from habitatlint.outputs.papers.as_text import as_text
from habitatlint.outputs.papers.both_maps import drawing_of_both, pockets_touched
from habitatlint.outputs.papers.compare import Compared, compared, numbers_of, paper
from habitatlint.outputs.papers.compare_table import as_table
from habitatlint.work.comparison import compare

Reports = Callable[..., Report]
Two = Callable[..., Compared]
TODAY = date(2027, 8, 10)

PLAN = """\
plan "Sedge Corner"
  stage {stage}
  units {units}
boundary
  outline 0,0 400,0 400,400 0,400
pocket thicket
  for does
  outline 100,100 160,100 160,150 100,150
path run
  use travel
  line 90,95 170,95
path lane
  use entry
  line 0,10 90,10
row hinges
  in thicket
  method hinge
  stumps 105,110 155,110
  spacing 10
  fall N
  dbh {dbh}
  tree-height 40ft
"""
BEFORE = PLAN.format(stage="design", units="yd", dbh="8in")


@pytest.fixture
def two(report_of: Reports) -> Two:
    def of(before: str, after: str) -> Compared:
        one, other = (report_of(text, f"{name}.habitat", today=TODAY)
                      for text, name in ((before, "before"), (after, "after")))  # fmt: skip
        return compared(one, other, compare(one, other))

    return of


def text_of(both: Compared) -> str:
    return as_text(paper(both, TODAY, find_no_picture))


def flat(both: Compared) -> str:
    return " ".join(text_of(both).split())


def test_nothing_is_said_in_one_line(two: Two) -> None:
    both = two(BEFORE, BEFORE)
    assert both.same and f"Nothing changed; {len(both.findings)} findings stayed." in text_of(both)
    assert "Map of both" not in text_of(both)


def test_findings_came_went_and_stayed(two: Two) -> None:
    """Stems of 8 to 14 in are too big to hinge, and 13 in are so too; that nobody is named for the work stays."""
    both = two(BEFORE, BEFORE.replace("dbh 8in", "dbh 8in..14in"))
    of = {one.finding.rule.partition("/")[2]: one.what for one in both.findings}
    assert of["hinge-too-big"] == "came"
    assert {what for rule, what in of.items() if rule != "hinge-too-big"} == {"stayed"}
    back = two(BEFORE.replace("dbh 8in", "dbh 8in..14in"), BEFORE)
    assert {one.finding.rule.partition("/")[2]: one.what for one in back.findings}["hinge-too-big"] == "went"


def test_a_finding_that_is_graver_stayed_and_says_what_it_was(two: Two) -> None:
    note, error = (BEFORE.replace("dbh 8in", f"dbh 8in..{size}in") for size in (11, 14))
    both = two(note, error)
    (one,) = [one for one in both.findings if one.finding.rule.endswith("hinge-too-big")]
    assert one.what == "stayed" and one.graver and not both.same
    assert "error, was note" in flat(both)


def test_a_renamed_block_takes_its_findings_along(two: Two) -> None:
    both = two(
        BEFORE.replace("dbh 8in", "dbh 14in"), BEFORE.replace("dbh 8in", "dbh 14in").replace("hinges", "big-ones")
    )
    assert {one.what for one in both.findings} == {"stayed"}
    assert "row big-ones was called hinges" in flat(both)


def test_findings_about_people_stand_first_though_they_are_waived(two: Two) -> None:
    after = BEFORE.replace("dbh 8in", "dbh 14in") + (
        'waive hinge-too-big on hinges until 2027-12-31 because "two fellers look at each"\n'
    )
    both = two(BEFORE, after)
    text = text_of(both)
    first = text.index("People first")
    assert first < text.index("Blocks: ")
    assert "error, new: row hinges hinges stems up to 14 in thick" in flat(both)
    assert "waived: two fellers look at each" in flat(both)


def test_hung_and_blown_trees_have_their_caution(two: Two) -> None:
    after = BEFORE.replace("design", "as-built") + "tree elm\n  at 120,120\n  state hung\n  dbh 14in\n"
    assert "elm: hung and blown trees lie under tension" in flat(two(BEFORE, after))
    assert "lie under tension" not in flat(two(BEFORE, BEFORE + "sign rub\n  at 9,9\n"))


def test_trees_are_told_against_the_plan_or_against_last_year(two: Two) -> None:
    after = BEFORE.replace("fall N", "fall N30E").replace("design", "as-built") + "  done 2027-03-01\n"
    assert "fell toward 30 deg (NNE), planned 0 deg (N): off by 30 deg clockwise" in flat(two(BEFORE, after))
    again = after.replace("fall N30E", "fall E")
    assert "fell toward 90 deg (E), before 30 deg (NNE): off by 60 deg clockwise" in flat(two(after, again))


def test_lengths_are_told_in_the_later_plans_unit(two: Two) -> None:
    """100 yd are 91.44 m: the same ground in metres, but for the sign, which has gone 3 m north."""
    one = 'plan "x"\n  units yd\nsign rub\n  at 100,0\n'
    other = 'plan "x"\n  units m\nsign rub\n  at 91.44,3\n'
    assert "sign rub moved 3 m N" in flat(two(one, other))


def test_what_a_plan_says_cannot_steer_a_terminal_or_a_spreadsheet(two: Two) -> None:
    after = BEFORE + 'row evil "\x1b[31m=1+1"\n  method fell\n  stumps 0,0 9,0\n  spacing 3\n  note "=cmd()"\n'
    both = two(BEFORE, after)
    assert "\x1b" not in text_of(both)
    both = two(after, after.replace('"=cmd()"', '"=other()"'))
    assert "\n=" not in as_csv(as_table(both)) and ",=" not in as_csv(as_table(both))


def test_the_csv_has_a_row_for_each_change(two: Two) -> None:
    after = BEFORE.replace("100,100 160,100 160,150 100,150", "103,104 163,104 163,154 103,154")
    rows = list(csv.DictReader(io.StringIO(as_csv(as_table(two(BEFORE, after))))))
    (moved,) = [row for row in rows if row["change"] == "moved"]
    assert (moved["what"], moved["kind"], moved["name"]) == ("block", "pocket", "thicket")
    assert (moved["amount"], moved["unit"], moved["toward (deg true)"]) == ("5", "yd", "37")
    assert {row["change"] for row in rows if row["what"] == "finding"} <= {"came", "went", "stayed"}


@pytest.mark.parametrize(
    ("numbers", "words"), [((), ""), ((4,), "4"), ((1, 2), "1, 2"), ((1, 2, 3, 7), "1 to 3, 7"), ((2, 4, 5, 6), "2, 4 to 6")]
)  # fmt: skip
def test_numbers_of_trees_are_told_in_runs(numbers: tuple[int, ...], words: str) -> None:
    assert numbers_of(numbers) == words


# -- the map of both ---------------------------------------------------------------------------------------


def drawn(both: Compared) -> Drawing:
    came = {id(one.after) for one in both.findings if one.what == "came"}
    drawing = drawing_of_both(draw(both.after), both.comparison, came)
    assert drawing is not None
    return drawing


def test_the_map_shows_where_things_were_beneath_where_they_are(two: Two) -> None:
    after = (
        BEFORE.replace("line 0,10 90,10", "line 0,20 90,30").replace("fall N", "fall S")
        .replace("150,150 100,150", "150,150 100,150") + "stand oak\n  at 200,200\n"
    )  # fmt: skip
    before = BEFORE + "sign rub\n  at 50,50\n"
    marks = [
        mark
        for mark in drawn(two(before, after)).marks
        if mark.sign in ("was-line", "was-tree", "was-point", "added", "moved")
    ]
    signs = {mark.sign for mark in marks}
    assert signs == {"was-line", "was-tree", "was-point", "added", "moved"}
    (trees,) = [mark for mark in marks if mark.sign == "was-tree"]
    assert len(trees.shape.geoms[0].geoms) == 6, "all six trees lie the other way"
    assert all(SIGNS[sign].legend for sign in signs)


def test_only_findings_that_came_are_numbered_on_it(two: Two) -> None:
    drawing = drawn(two(BEFORE, BEFORE.replace("dbh 8in", "dbh 14in").replace("fall N", "fall N20E")))
    assert {one.finding.rule for one in drawing.numbered} == {"felling/hinge-too-big"}


def test_pockets_in_which_something_changed_are_enlarged(two: Two) -> None:
    other = "pocket far\n  outline 300,300 350,300 350,350 300,350\n"
    both = two(BEFORE + other, (BEFORE + other).replace("fall N", "fall S"))
    assert pockets_touched(drawn(both)) == ("thicket",)


def test_a_change_of_words_alone_has_no_map(two: Two) -> None:
    both = two(BEFORE, BEFORE.replace("dbh 8in", "dbh 9in"))
    came = {id(one.after) for one in both.findings}
    assert drawing_of_both(draw(both.after), both.comparison, came) is None and "Map of both" not in text_of(both)


def test_two_plans_that_are_not_of_one_place_are_told_so_at_their_head(two: Two) -> None:
    apart = BEFORE.replace("0,0 400,0 400,400 0,400", "900,0 1300,0 1300,400 900,400")
    said = "These are not two plans of one place"
    parts = paper(two(BEFORE, apart), TODAY, find_no_picture).sections[0].parts
    assert str(parts[0]).find(said) > 0
    assert said not in as_text(paper(two(BEFORE, BEFORE.replace("8in", "9in")), TODAY, find_no_picture))
