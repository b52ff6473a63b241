"""`work` as people run it: forms, ticks into a copy of the plan, and what is told where something is not to be had."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from habitatlint.cli.main import main

PLAN = """\
# An invented property.
plan "Thorn Hedge"
  stage design
row thicket
  method hinge
  stumps 0,0 40,0
  spacing 10  # paced
  fall N
  step 1
  by saws
task walk
  text "Walk it."
  step 2
crew saws
  people 2
work
  step 1 "Cut" 2026-03-01..2026-03-20 by saws
  step 2 "Walk" 2026-06-01
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "hedge.habitat").write_text(PLAN, encoding="utf-8", newline="")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["work", "hedge.habitat", "--today", "2026-02-10", *arguments])


def told(result: Result) -> str:
    """The one line of trouble, and nothing written but the plan."""
    assert result.exit_code == 2, result.output
    assert os.listdir() == ["hedge.habitat"]
    (line,) = result.stderr.splitlines()
    return line


def test_the_sheet_is_printed_and_findings_do_not_fail_the_command(folder: Path) -> None:
    result = run()
    assert result.exit_code == 0
    assert result.stdout.startswith("Thorn Hedge\nOrder of work and cut list\n")
    assert run("--as", "csv").stdout.startswith("box,stumps box,step,")


@pytest.mark.parametrize(
    ("ending", "begins"),
    [(".txt", b"Thorn Hedge\n"), (".csv", b"box,"), (".ics", b"BEGIN:VCALENDAR\r\n"), (".html", b"<!DOCTYPE html>"), (".pdf", b"%PDF-")],
)  # fmt: skip
def test_the_files_ending_says_what_is_written(folder: Path, ending: str, begins: bytes) -> None:
    result = run("-o", f"sheet{ending}")
    assert (result.exit_code, result.stderr) == (0, "")
    assert (folder / f"sheet{ending}").read_bytes().startswith(begins)


def test_one_step_one_crew_what_is_left(folder: Path) -> None:
    assert "Step 2" not in run("--step", "1").stdout
    assert "Step 2" not in run("--crew", "saws").stdout
    assert "step 1, saws, what is left to do" in run("--step", "1", "--crew", "saws", "--left").stdout


def test_a_step_or_a_crew_that_is_not_there_is_told_with_those_that_are(folder: Path) -> None:
    assert told(run("--step", "7")) == "habitatlint: the plan has no step 7: its steps are 1, 2"
    assert told(run("--crew", "saw")) == "habitatlint: no crew of the plan is called `saw`; did you mean `saws`?"


def test_ticks_go_into_a_copy_and_the_plan_stays_as_it_is(folder: Path) -> None:
    mark = next(line for line in run().stdout.splitlines() if line.startswith("Sheet: ")).split()[1].rstrip(",")
    result = run("--ticked", "1", "--on", "2026-03-12", "--today", "2026-03-14", "-o", "built.habitat")
    assert (result.exit_code, result.stderr) == (0, "")
    # with or without --sheet it is told by which numbers the boxes went
    assert result.stdout.splitlines()[:2] == [f"by the boxes of sheet {mark}", "box 1: row thicket, done 2026-03-12"]
    assert (folder / "hedge.habitat").read_text(encoding="utf-8") == PLAN
    assert (folder / "built.habitat").read_text(encoding="utf-8") == PLAN.replace("design", "as-built").replace(
        "  by saws\ntask", "  by saws\n  done 2026-03-12\ntask"
    )


def test_the_encoding_mark_and_the_line_ends_of_the_plan_are_those_of_the_copy(folder: Path) -> None:
    (folder / "hedge.habitat").write_bytes(b"\xef\xbb\xbf" + PLAN.replace("\n", "\r\n").encode())
    assert run("--ticked", "1", "-o", "built.habitat").exit_code == 0
    data = (folder / "built.habitat").read_bytes()
    assert data.startswith(b"\xef\xbb\xbf# An") and data.count(b"\n") == data.count(b"\r\n") == PLAN.count("\n") + 1


def test_without_a_day_it_is_the_day_that_was_judged_by(folder: Path) -> None:
    assert "box 1: row thicket, done 2026-02-10" in run("--ticked", "1", "-o", "built.habitat").stdout


def test_nothing_is_written_over(folder: Path) -> None:
    (folder / "built.habitat").write_text("mine", encoding="utf-8")
    result = run("--ticked", "1", "-o", "built.habitat")
    assert result.exit_code == 2 and "built.habitat: is there already" in result.stderr
    assert (folder / "built.habitat").read_text(encoding="utf-8") == "mine"


def test_a_sheet_of_another_numbering_is_not_ticked(folder: Path) -> None:
    assert "the boxes of sheet 0000 are not those of this plan" in told(
        run("--ticked", "1", "--sheet", "0000", "-o", "built.habitat")
    )
    mark = next(line for line in run().stdout.splitlines() if line.startswith("Sheet: ")).split()[1].rstrip(",")
    assert run("--ticked", "1", "--sheet", mark.lower(), "-o", "built.habitat").exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["--ticked", "9", "-o", "built.habitat"], "there is no box 9: the sheet has boxes 1 to 2"),
        (["--ticked", "1"], "ticks are written into a copy of the plan: give it with -o, ending in .habitat"),
        (["--ticked", "1", "-o", "built.txt"], "ticks are written into a copy of the plan"),
        (["-o", "built.habitat"], "a plan is written of ticks; say which boxes, such as --ticked 3,7-9"),
        (["-o", "sheet.docx"], "end the file in"),
        (["--ticked", "1\x1b[2J", "-o", "built.habitat"], "no work is called `1?[2J`"),
    ],
)
def test_what_is_not_to_be_had_is_told_in_one_line(folder: Path, arguments: list[str], line: str) -> None:
    assert line in told(run(*arguments))


def test_a_day_that_is_none_is_told(folder: Path) -> None:
    result = run("--ticked", "1", "--on", "2026-02-30", "-o", "built.habitat")
    assert result.exit_code == 2 and "`2026-02-30` is no date" in result.stderr


@pytest.mark.parametrize(
    ("day", "why"),
    [("2999-01-01", "that day is after 2026-02-10"), ("2026-02-11", "after"), ("1800-01-01", "no day before 1900")],
)
def test_work_is_done_on_no_day_to_come_and_on_none_that_a_plan_cannot_write(folder: Path, day: str, why: str) -> None:
    assert why in told(run("--ticked", "1", "--on", day, "-o", "built.habitat"))


STUMPS = PLAN.replace("  fall N\n", "  fall N\n  stump-treatment planned\n").replace("method hinge", "method fell")


def test_stumps_that_are_ticked_are_told_without_a_day_and_an_uncut_row_is_told_of(folder: Path) -> None:
    (folder / "hedge.habitat").write_text(STUMPS, encoding="utf-8", newline="")
    lines = run("--ticked", "2", "-o", "built.habitat").stdout.splitlines()
    assert lines[1] == "box 2: stumps of row thicket, done"
    assert lines[2] == "row thicket: its stumps are treated, and nothing says that it is cut; if it is, tick box 1 too"
    assert "nothing says" not in run("--ticked", "1,2", "-o", "both.habitat").stdout


def test_of_two_rows_of_one_name_each_is_ticked_by_its_box(folder: Path) -> None:
    second = "row thicket\n  method hinge\n  stumps 0,90 40,90\n  spacing 10\n  fall N\n  step 1\n"
    (folder / "hedge.habitat").write_text(PLAN + second, encoding="utf-8", newline="")
    assert "the plan has `thicket` more than once, as boxes 1 and 2: give the number" in told(
        run("--ticked", "thicket", "-o", "built.habitat")
    )
    for box in ("1", "2"):
        result = run("--ticked", box, "-o", f"built-{box}.habitat")
        assert (result.exit_code, result.stderr) == (0, "")
    first, other = ((folder / f"built-{box}.habitat").read_text(encoding="utf-8") for box in "12")
    assert first.count("done 2026-02-10") == other.count("done 2026-02-10") == 1
    assert first.index("done 2026-02-10") < first.index("task walk") < other.index("done 2026-02-10")


def test_a_hung_tree_that_is_ticked_is_written_as_down(folder: Path) -> None:
    hung = "tree elm\n  at 90,90\n  state hung\n  method fell\n  step 1\n"
    (folder / "hedge.habitat").write_text(PLAN + hung, encoding="utf-8", newline="")
    result = run("--ticked", "elm", "-o", "built.habitat")
    assert "box 1: tree elm, done 2026-02-10; it hung, and is written as down" in result.stdout
    assert "state down\n  method fell\n  step 1\n  done 2026-02-10" in (folder / "built.habitat").read_text(
        encoding="utf-8"
    )


def test_work_of_an_included_file_is_ticked_there_by_hand(folder: Path) -> None:
    (folder / "hedge.habitat").write_text(PLAN + 'include "more.habitat"\n', encoding="utf-8")
    (folder / "more.habitat").write_text('task mow\n  text "Mow."\n  step 2\n', encoding="utf-8")
    result = run("--ticked", "mow", "-o", "built.habitat")
    assert result.exit_code == 2 and not (folder / "built.habitat").exists()
    assert "it would change more.habitat, an included file; write `done 2026-02-10` there yourself" in result.stderr


def test_a_copy_stays_beside_the_files_that_the_plan_takes_in(folder: Path) -> None:
    (folder / "hedge.habitat").write_text(PLAN + 'include "more.habitat"\n', encoding="utf-8")
    (folder / "more.habitat").write_text('task mow\n  text "Mow."\n', encoding="utf-8")
    (folder / "built").mkdir()
    result = run("--ticked", "1", "-o", "built/hedge.habitat")
    assert result.exit_code == 2 and "write the copy there" in result.stderr
    assert os.listdir("built") == []
