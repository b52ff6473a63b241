"""Mends are edits with a proof: they clear, they bring nothing, they keep what the writer wrote."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from layouts import Layout, Motion, layouts
from real_parts import program

from habitatlint.check import Report
from habitatlint.cli.main import main
from habitatlint.findings import Change, Edit, Fact, Finding, Level, Mend, Policy
from habitatlint.language.editing import Unwritable, applied, comments, edits_of, overlap
from habitatlint.mending import Judges, mended, proven, together, tried
from habitatlint.outputs.diff import diff
from habitatlint.review import Review
from habitatlint.source import Source, Span

TODAY = date(2026, 2, 10)
POLICY = Policy(TODAY)
HEAD = 'plan "Mended"\n'
GROUND = """boundary
  outline 0,0 400,0 400,400 0,400
path lane
  use entry
  line 0,40 300,40
"""
SCREEN = """row screen "A screen"   # along the lane
  purpose screen
  method fell     # through
  stumps 60,46 180,46
  spacing 10
  fall N
  dbh 8in
  stump-treatment planned
  mix stumps
mix stumps
  label "EPA 000-000"
"""

Reports = Callable[..., Report]


def changed(report: Report, *changes: Change, way: int = 0) -> str:
    return applied(report.source.text, edits_of(report.plan, changes, way))


def head(report: Report, name: str) -> Span:
    return report.plan.names[name].span()


# -- edits -------------------------------------------------------------------------------------------------


def test_a_property_that_is_there_is_written_anew_and_its_comment_stays(report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    text = changed(report, Change("set", head(report, "screen"), "method", ("hinge",)))
    assert text == report.source.text.replace("method fell     # through", "method hinge     # through")


def test_a_property_that_is_not_there_comes_last_in_the_blocks_own_indent_and_line_ends(report_of: Reports) -> None:
    plan = "pocket west\r\n    outline 0,0 40,0 40,40   # three corners\r\n\r\n# the next\r\nplace gate\r\n  at 1,1\r\n"
    report = report_of(plan)
    text = changed(report, Change("set", head(report, "west"), "cover", ("natural",)))
    assert text == plan.replace("# three corners\r\n", "# three corners\r\n    cover natural\r\n")
    last = report_of("place gate\n  at 1,1")
    assert changed(last, Change("set", head(last, "gate"), "kind", ("gate",))) == "place gate\n  at 1,1\n  kind gate"


def test_one_tree_of_a_row_gets_a_block_of_its_own_once(report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    row = head(report, "screen")
    text = changed(report, Change("set", row, "fall", ("E",), 3), Change("set", row, "method", ("hinge",), 3))
    assert "  mix stumps\n\ntree screen-3\n  of screen 3\n  fall E\n  method hinge\nmix stumps\n" in text
    again = report_of(text, fragment=False)
    assert "screen-3" in again.plan.names and not [
        one for one in again.findings if one.level is Level.error and one.firm
    ]
    assert changed(again, Change("set", head(again, "screen"), "fall", ("W",), 3)) == text.replace("fall E", "fall W")


def test_a_block_that_is_added_takes_a_free_name(report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    opening = Change(
        "add", head(report, "screen"), noun="opening", name="lane", lines=(("at", "1,1"), ("width", "3ft"))
    )
    text = changed(report, opening, opening._replace(lines=(("at", "9,9"), ("width", "3ft"))))
    assert "\n\nopening lane-2\n  at 1,1\n  width 3ft\n\nopening lane-3\n  at 9,9\n" in text


def test_a_line_or_a_block_is_taken_out_unless_a_comment_stands_there(report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    text = changed(report, Change("remove", head(report, "screen"), "mix"))
    assert text == report.source.text.replace("  mix stumps\n", "")
    with pytest.raises(Unwritable, match="a comment stands there"):
        changed(report, Change("remove", head(report, "screen"), "method"))


def test_what_is_done_or_included_is_left(report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + SCREEN.replace("  dbh 8in", "  dbh 8in\n  done 2026-01-20"), fragment=False)
    with pytest.raises(Unwritable, match="row screen is done already"):
        changed(report, Change("set", head(report, "screen"), "fall", ("E",)))
    with pytest.raises(Unwritable, match="row screen is done already"):
        changed(report, Change("set", head(report, "screen"), "fall", ("E",), 2))
    other = Source("crews.habitat", "crew saws\n")
    with pytest.raises(Unwritable, match="an included file"):
        changed(report, Change("set", Span(other, 0, 4), "people", ("2",)))


def test_a_tree_of_a_row_that_an_included_file_has_is_left_there(review: Review) -> None:
    trees = Source("trees.habitat", "tree third\n  of screen 3\n  fall N\n")
    including = replace(review, find=lambda path, source: trees)
    report = including.check(Source("plan.habitat", HEAD + GROUND + SCREEN + 'include "trees.habitat"\n'), POLICY)
    with pytest.raises(Unwritable, match=r"would change trees\.habitat, an included file"):
        changed(report, Change("set", head(report, "screen"), "fall", ("E",), 3))
    assert "tree screen-4\n" in changed(report, Change("set", head(report, "screen"), "fall", ("E",), 4))


def test_a_file_without_a_last_line_end_gets_the_line_ends_it_has(report_of: Reports) -> None:
    report = report_of("place gate\r\n  at 1,1")
    assert changed(report, Change("set", head(report, "gate"), "kind", ("gate",))).endswith("at 1,1\r\n  kind gate")


def test_a_property_comes_after_an_empty_line_that_the_last_one_goes_on_in(report_of: Reports) -> None:
    report = report_of('mix stumps\n  label "X" \\\n\nplace gate\n  at 1,1\n')
    text = changed(report, Change("set", head(report, "stumps"), "aquatic", ("no",)))
    assert text == report.source.text.replace("\\\n\n", "\\\n\n  aquatic no\n")
    assert report_of(text).plan.word(report_of(text).plan.names["stumps"], "aquatic") == "no"


def test_two_changes_of_one_place_do_not_pass(report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    one = edits_of(report.plan, [Change("set", head(report, "screen"), "fall", ("E",))])
    other = edits_of(report.plan, [Change("set", head(report, "screen"), "fall", ("W",))])
    assert overlap(one, other) and not overlap(
        one, edits_of(report.plan, [Change("set", head(report, "lane"), "use", ("exit",))])
    )


def test_comments_are_told_from_signs_in_quotes() -> None:
    assert comments('a # one\nb "no # comment"  # two\n  "open # still text\n#three') == ["one", "two", "three"]
    assert comments("  stumps from 1,1 then N68d05'35\"W 9 # by compass\n") == ["by compass"]
    assert comments('  why "one \\\n  # and two" # three\n') == ["three"]


# -- proofs ------------------------------------------------------------------------------------------------

ACROSS = SCREEN.replace("along the lane", "across")


def test_a_mend_that_clears_is_shown_as_such_and_one_that_does_not_says_why(review: Review, report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + ACROSS, fragment=False)
    across = next(one for one in report.findings if one.rule == "entry/screen-across-entry")
    proofs = {mend.proof for mend in review.mends(report, across, POLICY)}
    assert "clears" in proofs
    broken = report_of(HEAD + GROUND + ACROSS + "pokcet west\n  outline 0,0 1,0 1,1\n", fragment=False)
    again = next(one for one in broken.findings if one.rule == "entry/screen-across-entry")
    assert {mend.why for mend in review.mends(broken, again, POLICY) if mend.proof == "withheld"} == {
        "the plan has lines that cannot be read: mend them first"
    }
    word = next(one for one in broken.findings if one.rule == "record/unknown-word")
    (first, *_) = review.mends(broken, word, POLICY)
    assert first.proof == "clears" and [edit.text for edit in first.edits] == ["pocket"]


def test_mends_tried_together_are_those_that_pass(review: Review, report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + ACROSS, fragment=False)
    judges = review.judges(POLICY)
    looked: list[Source] = []

    def whole(source: Source) -> Report:
        looked.append(source)
        return judges.whole(source)

    tried = together(report, judges._replace(whole=whole), 3)
    across = next(one for one in tried.findings if one.rule == "entry/screen-across-entry")
    assert [mend.proof for mend in across.mends if mend.changes][:1] == ["clears"] and 1 <= len(looked) <= 3


AIM = Finding("view/aim", Level.warning, Span(Source("", ""), 0, 0), "")
OTHER = AIM._replace(rule="felling/other", names=frozenset({"screen"}))
NEAR = OTHER._replace(safety=True, sense="<", measured=Fact(20.0, "length"))
HIGH = NEAR._replace(sense=">")


@pytest.mark.parametrize(
    ("aim", "besides", "left", "why"),
    [
        (AIM, (), (), ""),
        (AIM, (OTHER,), (OTHER,), ""),
        (AIM, (OTHER,), (OTHER._replace(level=Level.error),), "another finding: felling/other"),
        # of several that are new the first by name is told
        (AIM, (), (OTHER, OTHER._replace(rule="felling/also")), "another finding: felling/also"),
        (AIM, (NEAR,), (NEAR._replace(measured=Fact(19.0, "length")),), "a danger worse: felling/other"),
        (AIM, (NEAR,), (NEAR._replace(measured=Fact(21.0, "length")),), ""),
        (AIM, (HIGH,), (HIGH._replace(measured=Fact(21.0, "length")),), "a danger worse: felling/other"),
        (AIM, (HIGH,), (HIGH._replace(measured=Fact(19.0, "length")),), ""),
        *((AIM, (one._replace(sense=f"{one.sense}="),), (one._replace(sense=f"{one.sense}=", measured=Fact(size, "length")),),
           "a danger worse: felling/other") for one, size in ((NEAR, 19.0), (HIGH, 21.0))),
        # what is as it was is no worse, at nothing too
        *((AIM, (one,), (one,), "") for danger in (NEAR, HIGH, NEAR._replace(sense=""))
          for one in (danger, danger._replace(measured=Fact(0.0, "length")))),
        (AIM, (), (AIM._replace(rule="record/not-judged", level=Level.note),), "could no longer be judged"),
        # told of two rows apart and not together, it is there still
        (
            AIM._replace(names=frozenset({"a", "b"})), (),
            (AIM._replace(names=frozenset({"a"})), AIM._replace(names=frozenset({"b"}))), "another finding: view/aim",
        ),
        # what was told of two rows one by one and is told of both together is nothing new
        (
            AIM, (OTHER._replace(names=frozenset({"a"})), OTHER._replace(names=frozenset({"b"}))),
            (OTHER._replace(names=frozenset({"a", "b"})),), "",
        ),
        # what was told of two and is told of one of them is nothing new; told of that one twice, it is
        (AIM, (OTHER._replace(names=frozenset({"a", "b"})),), (OTHER._replace(names=frozenset({"a"})),), ""),
        (
            AIM, (OTHER._replace(names=frozenset({"a", "b"})),), (OTHER._replace(names=frozenset({"a"})),) * 2,
            "another finding: felling/other",
        ),
        # what a slip of reading hid is judged once it can be read; a row in the wrong pocket hid nothing
        (AIM._replace(rule="record/unknown-word", firm=True), (), (OTHER,), ""),
        (AIM._replace(rule="record/row-outside-pocket"), (), (OTHER,), "another finding: felling/other"),
    ],
)  # fmt: skip
def test_a_finding_does_not_go_at_the_cost_of_another(
    report_of: Reports, aim: Finding, besides: tuple[Finding, ...], left: tuple[Finding, ...], why: str
) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    aim = aim._replace(mends=(Mend("", changes=(Change("set", head(report, "screen"), "fall", ("E",)),)),))
    before = report._replace(findings=(aim, *besides))
    judges = Judges(lambda source, rule: report._replace(findings=()), lambda source: report._replace(findings=left))
    (mend,) = proven(before, aim, judges)
    assert (mend.proof, mend.why) == (("withheld", f"it would bring {why}") if why.startswith("another") else
                                      ("withheld", f"it would make {why}") if why.startswith("a danger") else
                                      ("withheld", f"it {why}") if why else ("clears", mend.why))  # fmt: skip
    # what is only told in other groups is not brought
    assert why or mend.why == ("it brings what is less grave: felling/other" if aim.firm else "")


def test_each_way_of_a_mend_is_tried_until_one_clears(report_of: Reports) -> None:
    """One that leaves the finding there, one that brings another, and the third clears."""
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    aim = AIM._replace(mends=(Mend("", changes=(Change("set", head(report, "screen"), "fall", ("E", "W", "S")),)),))
    before = report._replace(findings=(aim,))

    def glance(source: Source, rule: str) -> Report:
        return report._replace(findings=(aim,) if "fall E" in source.text else ())

    def whole(source: Source) -> Report:
        return report._replace(findings=(OTHER,) if "fall W" in source.text else ())

    (mend,) = proven(before, aim, Judges(glance, whole))
    assert (mend.proof, [edit.text for edit in mend.edits]) == ("clears", ["fall S"])


def test_after_three_ways_that_bring_the_same_no_more_are_tried(report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    ways = ("E", "W", "S", "NE", "NW")
    aim = AIM._replace(mends=(Mend("", changes=(Change("set", head(report, "screen"), "fall", ways),)),))
    looked: list[str] = []

    def whole(source: Source) -> Report:
        looked.append(source.text)
        return report._replace(findings=(OTHER,))

    judges = Judges(lambda source, rule: report._replace(findings=()), whole)
    (mend,) = proven(report._replace(findings=(aim,)), aim, judges)
    assert mend.proof == "withheld" and len(looked) == 3


@pytest.mark.parametrize("most", [0, 1, 2, 3, 4, 9])
def test_mends_tried_together_are_halved_in_so_many_trials_at_most(report_of: Reports, most: int) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    wanted = {"screen": ("fall", "E"), "lane": ("use", "exit"), "stumps": ("label", '"X"')}
    aims = tuple(
        AIM._replace(names=frozenset({name}), mends=(Mend("", changes=(Change("set", head(report, name), word, (said,)),)),))
        for name, (word, said) in wanted.items()
    )  # fmt: skip
    looked: list[str] = []

    def whole(source: Source) -> Report:
        """None goes by but the one of the lane, by itself."""
        looked.append(source.text)
        alone = "use exit" in source.text and "fall E" not in source.text and '"X"' not in source.text
        return report._replace(findings=(aims[0], aims[2]) if alone else aims)

    judges = Judges(lambda source, rule: report._replace(findings=()), whole)
    found = together(report._replace(findings=aims), judges, most)
    # all three; the first; the other two; each of these
    assert len(looked) == min(most, 5)
    proofs = [one.mends[0].proof for one in found.findings]
    assert proofs == ["untried", "clears" if most >= 4 else "untried", "untried"]
    assert [one.mends[0].edits != () for one in found.findings] == [False, most >= 4, False]


def test_mends_of_one_place_are_not_tried_together_nor_one_whose_finding_stays(report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    asked = (("one", "screen", "fall", "E"), ("two", "screen", "fall", "W"), ("stays", "lane", "use", "exit"))
    aims = tuple(
        AIM._replace(rule=rule, mends=(Mend("", changes=(Change("set", head(report, name), word, (said,)),)),))
        for rule, name, word, said in asked
    )
    looked: list[str] = []

    def whole(source: Source) -> Report:
        looked.append(source.text)
        return report._replace(findings=aims[1:])

    def glance(source: Source, rule: str) -> Report:
        return report._replace(findings=tuple(one for one in aims if one.rule == rule == "stays"))

    found = together(report._replace(findings=aims), Judges(glance, whole), 9)
    assert looked == [report.source.text.replace("fall N", "fall E")]
    assert [one.mends[0].proof for one in found.findings] == ["clears", "untried", "untried"]


def test_of_mends_made_at_once_the_least_grave_finding_must_go_too(report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    grave = OTHER._replace(level=Level.error)
    before = report._replace(findings=(AIM, grave))
    for left, failed in (((), False), ((AIM,), True), ((grave,), True)):
        judges = Judges(lambda source, rule: report, lambda source, left=left: report._replace(findings=left))
        assert bool(tried(before, [(AIM, ()), (grave, ())], judges).failed) is failed


def test_the_gravest_of_several_is_mended_first(report_of: Reports) -> None:
    report = report_of(HEAD + GROUND + SCREEN, fragment=False)
    slip = AIM._replace(rule="record/unknown-word", firm=True)
    ways = ((Level.note, "W"), (Level.error, "E"), (Level.warning, "S"))
    aims = tuple(
        slip._replace(level=level, names=frozenset({fall}),
                      mends=(Mend("", changes=(Change("set", head(report, "screen"), "fall", (fall,)),)),))
        for level, fall in ways
    )  # fmt: skip

    def whole(source: Source) -> Report:
        return report._replace(source=source, findings=aims if "fall N" in source.text else ())

    after = mended(whole(report.source), Judges(lambda source, rule: whole(source), whole))
    assert after.source.text == report.source.text.replace("fall N", "fall E")


def test_of_slips_too_only_those_that_are_chosen_are_mended(review: Review) -> None:
    text = HEAD + GROUND + "crwe saws\nplcae gate\n  at 1,1\n"
    judges = review.judges(POLICY)
    before = judges.whole(Source("plan.habitat", text))
    for word, mend in (("crwe", "crew"), ("plcae", "place")):
        after = mended(before, judges, lambda finding, word=word: finding.span.text == word)
        assert after.source.text == text.replace(word, mend)


def test_mends_that_undo_each_other_come_to_an_end(report_of: Reports) -> None:
    looks = 0

    def judged(source: Source) -> Report:
        nonlocal looks
        looks += 1
        assert looks < 40, "round in circles"
        report = report_of(source.text, fragment=False)
        slip, fall = AIM._replace(rule="record/unknown-word", firm=True, level=Level.note), "N"
        if "fall N" in source.text:
            slip, fall = AIM._replace(level=Level.error), "E"
        mend = Mend("", changes=(Change("set", head(report, "screen"), "fall", (fall,)),))
        return report._replace(findings=(slip._replace(mends=(mend,)),))

    judges = Judges(lambda source, rule: judged(source)._replace(findings=()), judged)
    assert mended(judged(Source("plan.habitat", HEAD + GROUND + SCREEN)), judges).source.text


@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
)
@given(layout=layouts)
def test_no_mend_adds_a_finding_loses_a_comment_or_goes_round_in_circles(review: Review, layout: Layout) -> None:
    text = layout.text(Motion()).replace("  spacing", "  spacing", 1).replace("boundary\n", "boundary # the line\n")

    judges = review.judges(POLICY)
    before = judges.whole(Source("layout.habitat", text))
    after = mended(before, judges)
    for level in (Level.error, Level.warning, Level.note):
        was, now = (
            Counter((one.rule, one.names) for one in report.findings if one.level >= level)
            for report in (before, after)
        )
        if level is Level.error:
            # what is told of fewer things than before, for some of them are mended, is nothing new
            gone = was - now
            assert all(any(rule == other and names < all_ for other, all_ in gone) for rule, names in now - was)
    assert sum(one.level is Level.error for one in after.findings) <= sum(
        one.level is Level.error for one in before.findings
    )
    assert comments(after.source.text) == comments(text)
    assert mended(after, judges).source.text == after.source.text
    one_by_one = [mend for finding in before.findings[:3] for mend in review.mends(before, finding, POLICY)]
    for mend in one_by_one:
        assert mend.proof in ("clears", "withheld", "advice") and (mend.why or mend.proof != "withheld")
        starts = [edit.span.start for edit in mend.edits]
        assert starts == sorted(starts)


# -- the command -------------------------------------------------------------------------------------------


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "screen.habitat"
    path.write_text(HEAD + GROUND + ACROSS, encoding="utf-8")
    return path


def run(*arguments: str, answers: str = "") -> tuple[int, str]:
    done = CliRunner().invoke(main, [*arguments, "--today", "2026-02-10"], input=answers)
    return done.exit_code, done.output


def test_all_makes_every_proven_mend_and_twice_is_once(plan: Path) -> None:
    code, _ = run("mend", "--all", str(plan))
    text = plan.read_text(encoding="utf-8")
    assert code == 1 and "  fall along lane\n" in text and "# through" in text
    assert run("mend", "--all", str(plan))[0] == 0 and plan.read_text(encoding="utf-8") == text


def test_one_by_one_it_shows_and_asks(plan: Path) -> None:
    before = plan.read_text(encoding="utf-8")
    code, shown = run("mend", "--rule", "screen-across-entry", str(plan), answers="n\nn\nn\n")
    assert code == 0 and "-  fall N\n+  fall along lane\n" in shown and plan.read_text(encoding="utf-8") == before
    assert run("mend", "--rule", "screen-across-entry", str(plan), answers="y\n")[0] == 1  # and no more is answered
    assert plan.read_text(encoding="utf-8") == before.replace("fall N", "fall along lane")


def test_a_slip_after_one_that_was_passed_by_is_asked_about_too(plan: Path) -> None:
    plan.write_text(HEAD + GROUND + "crwe saws\nplcae gate\n  at 1,1\n", encoding="utf-8")
    _, shown = run("mend", "--rule", "unknown-word", str(plan), answers="n\ny\nq\n")
    text = plan.read_text(encoding="utf-8")
    assert "crwe saws\n" in text and "place gate\n" in text, shown


@pytest.mark.parametrize("from_the_root", [False, True])
def test_a_patch_changes_nothing_and_git_takes_it(plan: Path, from_the_root: bool) -> None:
    git = program("git")
    folder, path = plan.parent, str(plan) if from_the_root else plan.name
    subprocess.run([git, "init", "-q"], cwd=folder, check=True)
    before = plan.read_text(encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "habitatlint", "mend", "--patch", "--today", "2026-02-10", path],
        cwd=folder, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1 and plan.read_text(encoding="utf-8") == before, done.stderr
    subprocess.run([git, "apply", "-"], cwd=folder, input=done.stdout, text=True, check=True)
    assert "fall along lane" in plan.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("before", "after"), [("a\nb", "a\nc"), ("a\r\nb\r\n", "a\r\nc\r\n"), ("a\n", "a\nb"), ("", "x\n")]
)
def test_patches_of_odd_line_ends_apply(tmp_path: Path, before: str, after: str) -> None:
    git = program("git")
    subprocess.run([git, "init", "-q"], cwd=tmp_path, check=True)
    for name in ("p", "a plan", 'a\t"plan"'):
        (tmp_path / name).write_bytes(before.encode())
        change = "".join(diff(name, before, after)).encode()
        subprocess.run([git, "apply", "-"], cwd=tmp_path, input=change, check=True)
        assert (tmp_path / name).read_bytes() == after.encode()


def test_why_tells_of_each_mend(plan: Path) -> None:
    code, shown = run("mend", "--why", str(plan))
    assert code == 0 and "     clears it\n" in shown and "     advice\n" in shown


def test_a_file_without_a_head_is_left_to_the_plan_that_includes_it(tmp_path: Path) -> None:
    path = tmp_path / "rows.habitat"
    path.write_text(
        "crew saws\n  people 2\nrow one\n  method fell\n  stumps 0,0 9,0\n  spacing 3\n  by sawz\n", encoding="utf-8"
    )
    before = path.read_bytes()
    code, shown = run("mend", "--all", str(path))
    assert code == 0 and "mend the plan that includes it" in shown and path.read_bytes() == before


def test_a_plan_that_cannot_be_read_does_not_keep_the_others_from_being_mended(plan: Path) -> None:
    (plan.parent / "a.habitat").write_bytes(b"plan \xff\n")
    code, shown = run("mend", "--all", str(plan.parent), str(plan.parent / "none.habitat"))
    assert code == 2 and "a.habitat:1: not UTF-8 text" in shown and "none.habitat: " in shown
    assert "fall along lane" in plan.read_text(encoding="utf-8")


def test_where_no_mend_is_made_the_way_to_learn_why_is_told(tmp_path: Path) -> None:
    path = tmp_path / "open.habitat"
    path.write_text(
        'plan "Open"\nfood clover\n  outline 20,60 80,60 80,100 20,100\npath lane\n  use entry\n  line 0,0 100,0\n'
        "stand seat\n  at 102,2\n  reach lane\n", encoding="utf-8",
    )  # fmt: skip
    code, shown = run("mend", "--all", str(path))
    assert code == 0 and "no mend is made" in shown and "; `habitatlint mend --why` tells why of each" in shown


def test_an_unknown_rule_is_told(plan: Path) -> None:
    code, shown = run("mend", "--rule", "nonsense", str(plan))
    assert code == 2 and "no rule is called `nonsense`" in shown


def test_edits_are_made_from_the_front() -> None:
    source = Source("t", "abcdef")
    edits = [Edit(Span(source, 1, 2), "X"), Edit(Span(source, 3, 3), "YY"), Edit(Span(source, 5, 6), "")]
    assert applied(source.text, edits) == "aXcYYde"
