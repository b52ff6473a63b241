"""The command as people run it: exit status, streams, order, forms, and files left alone."""

from __future__ import annotations

import json
import os
import re
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from habitatlint.cli.main import main

ROOT = Path(__file__).resolve().parent.parent

FAULTY = """\
plan "Two faults"

boundary
  outline 0,0 400,0 400,400 0,400

path lane "Lane"
  use entry
  line 0,20 300,20

stand seat
  at 302,22
  reach lane

pocket cover
  outline 60,60 160,60 160,120 60,120

row screen
  method hinge
  stumps 40,28 120,28
  spacing 20
  fall N
  dbh 8in
  step 1
"""

SOUND = 'plan "Sound"\n\nboundary\n  outline 0,0 400,0 400,400 0,400\n'


def run(
    *arguments: str, cwd: Path, stdin: str | bytes | None = None, **environment: str
) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own, as from a shell, off a terminal."""
    data = stdin.encode() if isinstance(stdin, str) else stdin
    done = subprocess.run(
        [sys.executable, "-m", "habitatlint", *arguments], cwd=cwd, input=data, capture_output=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )  # fmt: skip
    return subprocess.CompletedProcess(done.args, done.returncode, done.stdout.decode(), done.stderr.decode())


@pytest.fixture
def plans(tmp_path: Path) -> Path:
    (tmp_path / "faulty.habitat").write_text(FAULTY, encoding="utf-8")
    (tmp_path / "sound.habitat").write_text(SOUND, encoding="utf-8")
    below = tmp_path / "below"
    below.mkdir()
    (below / "a.habitat").write_text(FAULTY, encoding="utf-8")
    (below / "notes.txt").write_text("no plan", encoding="utf-8")
    return tmp_path


def test_a_sound_plan_ends_with_status_0_and_a_summary(plans: Path) -> None:
    done = run("check", "sound.habitat", cwd=plans)
    assert (done.returncode, done.stderr) == (0, "")
    assert re.fullmatch(r"read: 33.1 ac\n1 plan, nothing found, \d+ rules\n", done.stdout)


def test_findings_end_with_status_1_and_stand_on_standard_output(plans: Path) -> None:
    done = run("check", "faulty.habitat", cwd=plans)
    assert (done.returncode, done.stderr) == (1, "")
    assert "faulty.habitat:18:3: error: " in done.stdout
    assert "\x1b" not in done.stdout


def test_the_failing_level_can_be_lowered(plans: Path) -> None:
    noted = FAULTY.replace("row screen\n  method hinge", "row screen\n  method fell").replace("28 120,28", "75 120,75")
    (plans / "noted.habitat").write_text(noted.replace("  reach lane\n", ""), encoding="utf-8")
    plain = run("check", "noted.habitat", "--as", "json", cwd=plans)
    levels = {finding["level"] for plan in json.loads(plain.stdout)["plans"] for finding in plan["findings"]}
    assert "note" in levels
    assert run("check", "noted.habitat", "--fail-on", "note", cwd=plans).returncode == 1


def test_what_cannot_be_done_ends_with_status_2_on_standard_error(plans: Path) -> None:
    done = run("check", "missing.habitat", cwd=plans)
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr == "habitatlint: missing.habitat: no such file; give the path of a plan or a folder of plans\n"
    assert run("check", cwd=plans).returncode == 2
    assert run("chekc", "x", cwd=plans).returncode == 2


def test_a_missing_file_does_not_silence_the_others(plans: Path) -> None:
    done = run("check", "missing.habitat", "faulty.habitat", cwd=plans)
    assert done.returncode == 2
    assert "faulty.habitat:18:3: error: " in done.stdout and "missing.habitat" in done.stderr


def test_folders_are_searched_and_files_told_in_the_order_of_their_names(plans: Path) -> None:
    whole = run("check", ".", cwd=plans, PYTHONHASHSEED="1")
    named = run("check", "sound.habitat", "faulty.habitat", "below/a.habitat", "--as", "gnu", cwd=plans)
    again = run("check", "below", "faulty.habitat", "sound.habitat", "--as", "gnu", cwd=plans)
    assert whole.stdout.index("below/a.habitat:") < whole.stdout.index("faulty.habitat:18")
    assert named.stdout == again.stdout
    assert named.stdout.startswith("below/a.habitat:")


def test_the_same_bytes_come_out_under_every_hash_seed(plans: Path) -> None:
    for form in ("text", "gnu", "json"):
        outputs = {run("check", ".", "--as", form, cwd=plans, PYTHONHASHSEED=seed).stdout for seed in ("0", "1", "77")}
        assert len(outputs) == 1


def test_a_plan_is_read_from_standard_input_under_a_given_name(plans: Path) -> None:
    done = run("check", "-", "--name", "typed.habitat", "--as", "gnu", cwd=plans, stdin=FAULTY)
    assert done.returncode == 1
    assert "typed.habitat:18:3: error: " in done.stdout


def test_every_gnu_line_has_place_level_and_rule(plans: Path) -> None:
    done = run("check", ".", "--as", "gnu", cwd=plans)
    lines = done.stdout.splitlines()
    assert lines
    for line in lines:
        assert re.fullmatch(r"[^:]+:\d+:\d+: (error|warning|note): .+ \([a-z-]+/[a-z-]+\)", line), line


def test_json_is_versioned_and_says_all_of_a_finding(plans: Path) -> None:
    done = run("check", "faulty.habitat", "--as", "json", cwd=plans)
    told = json.loads(done.stdout)
    assert told["version"] == 1
    (plan,) = told["plans"]
    assert plan["path"] == "faulty.habitat" and plan["waived"] == []
    (finding,) = [one for one in plan["findings"] if one["rule"] == "entry/live-hinge-near-entry"]
    assert (finding["level"], finding["line"], finding["column"]) == ("error", 18, 3)
    assert (finding["end-line"], finding["end-column"]) == (18, 15)
    assert finding["measured"]["text"] == "8 yd" and finding["wanted"]["text"] == "20 yd or more"
    assert finding["measured"]["value"] == pytest.approx(8 * 0.9144, abs=1e-6)
    assert finding["evidence"] == "common-practice"
    assert finding["mends"] and finding["mends"][0]["proof"] == "untried"
    assert finding["related"][0]["line"] == 6


def test_a_waived_finding_stands_only_among_the_waived(plans: Path) -> None:
    waiver = '\nwaive live-hinge-near-entry on screen until 2099-12-31 because "the lane moves next year"\n'
    (plans / "faulty.habitat").write_text(FAULTY + waiver, encoding="utf-8")
    (plan,) = json.loads(run("check", "faulty.habitat", "--as", "json", cwd=plans).stdout)["plans"]
    assert "entry/live-hinge-near-entry" not in {finding["rule"] for finding in plan["findings"]}
    (waived,) = plan["waived"]
    assert waived["rule"] == "entry/live-hinge-near-entry" and waived["waived"] == "the lane moves next year"


def test_nothing_is_written_where_plans_are_checked(plans: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in plans.rglob("*")}
    run("check", ".", cwd=plans)
    assert {path: path.stat().st_mtime_ns for path in plans.rglob("*")} == before


def test_control_characters_of_a_plan_do_not_reach_the_terminal(plans: Path) -> None:
    nasty = SOUND + 'pocket oak "\x1b[31mred\u202e"\n  outline 0,0 10,10\n  bed 1,1 \x1b[2J\n'
    (plans / "nasty.habitat").write_text(nasty, encoding="utf-8")
    done = run("check", "nasty.habitat", cwd=plans)
    assert done.returncode == 1
    assert "\x1b" not in done.stdout and "\u202e" not in done.stdout


def test_rules_lists_every_rule_and_shows_one_whole(plans: Path) -> None:
    listed = run("rules", cwd=plans)
    assert listed.returncode == 0 and "live-hinge-near-entry" in listed.stdout
    page = run("rules", "live-hinge-near-entry", cwd=plans)
    assert page.returncode == 0
    for piece in (
        "because",
        "clearance: 20 yd, from 5 yd to 60 yd (common practice)",
        "mend 1",
        "breaks it",
        "keeps it",
    ):
        assert piece in page.stdout
    assert run("rules", "entry/live-hinge-near-entry", cwd=plans).stdout == page.stdout
    wrong = run("rules", "live-hinge-near-entri", cwd=plans)
    assert wrong.returncode == 2 and "did you mean `live-hinge-near-entry`?" in wrong.stderr


def test_new_writes_a_plan_that_checks_clean_and_never_overwrites(tmp_path: Path) -> None:
    made = run("new", "hill-farm", "--title", 'The "Hill" farm', cwd=tmp_path)
    assert made.returncode == 0, made.stderr
    plan = tmp_path / "hill-farm.habitat"
    text = plan.read_text(encoding="utf-8")
    assert text.count("#") > 10 and 'plan "The Hill farm"' in text
    checked = run("check", "hill-farm.habitat", cwd=tmp_path)
    assert checked.returncode == 0 and "nothing found" in checked.stdout, checked.stdout
    if os.name == "posix":
        assert stat.S_IMODE(plan.stat().st_mode) & 0o600 == 0o600
    again = run("new", "hill-farm", cwd=tmp_path)
    assert again.returncode == 2 and "is there already" in again.stderr
    assert plan.read_text(encoding="utf-8") == text
    nowhere = run("new", "no/such/folder/x", cwd=tmp_path)
    assert nowhere.returncode == 2 and nowhere.stderr.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["hill-farm.habitat"]


def test_colour_is_for_terminals_and_obeys_no_color(plans: Path) -> None:
    pty = pytest.importorskip("pty")

    def on_a_terminal(**environment: str) -> str:
        parent, child = pty.openpty()
        process = subprocess.Popen(
            [sys.executable, "-m", "habitatlint", "check", "faulty.habitat"], cwd=plans, stdout=child,
            env={**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm", **environment},
        )  # fmt: skip
        os.close(child)
        shown = b""
        while True:
            try:
                more = os.read(parent, 65536)
            except OSError:
                break
            if not more:
                break
            shown += more
        process.wait()
        os.close(parent)
        return shown.decode()

    assert "\x1b[1;31merror\x1b[0m" in on_a_terminal(NO_COLOR="")
    assert "\x1b" not in on_a_terminal(NO_COLOR="1")


def test_a_cache_that_nobody_can_write_or_read_is_done_without(plans: Path) -> None:
    plain = run("check", "faulty.habitat", cwd=plans)
    blocked = plans / "blocked"
    blocked.write_text("a file where a folder should be", encoding="utf-8")
    done = run("check", "faulty.habitat", cwd=plans, XDG_CACHE_HOME=str(blocked))
    assert (done.returncode, done.stdout) == (plain.returncode, plain.stdout)
    cache = plans / "cache"
    run("check", "faulty.habitat", cwd=plans, XDG_CACHE_HOME=str(cache))
    kept = [path for path in (cache / "habitatlint").rglob("*") if path.is_file()]
    assert kept
    for path in kept:
        path.write_bytes(b"\x80\x05garbage")
    again = run("check", "faulty.habitat", cwd=plans, XDG_CACHE_HOME=str(cache))
    assert (again.returncode, again.stdout) == (plain.returncode, plain.stdout)
    if os.name == "posix":
        assert stat.S_IMODE((cache / "habitatlint").stat().st_mode) == 0o700
        (cache / "habitatlint").chmod(0o777)
        (cache / "habitatlint").joinpath("packs-planted").write_bytes(b"")
        shared = run("check", "faulty.habitat", cwd=plans, XDG_CACHE_HOME=str(cache))
        assert (shared.returncode, shared.stdout) == (plain.returncode, plain.stdout)


def test_words_lists_the_blocks_and_shows_one_whole(tmp_path: Path) -> None:
    listed = run("words", cwd=tmp_path)
    assert listed.returncode == 0 and "pocket" in listed.stdout and "waive" in listed.stdout
    row = run("words", "row", cwd=tmp_path)
    assert "`fell`, `frill`, `girdle`, `hack-and-squirt`, `hinge` or `leave`" in row.stdout
    assert "must be there" in row.stdout
    wrong = run("words", "pokcet", cwd=tmp_path)
    assert wrong.returncode == 2 and "did you mean `pocket`?" in wrong.stderr
    waive = run("words", "waive", cwd=tmp_path)
    assert waive.returncode == 0 and waive.stdout.startswith("waive RULE on NAME until ")
    rules = run("words", "--rules", cwd=tmp_path)
    assert "beds" in rules.stdout and "distance(shape, shape)" in rules.stdout and "is missing" in rules.stdout
    assert "  needs THING\n      what the plan must say of it" in rules.stdout


def test_what_was_read_stands_below_and_what_no_rule_looks_at(tmp_path: Path) -> None:
    plan = (
        SOUND + "sign rub\n  at 50,60\n  kind rub\ncrew ridge\n  people 2\npath lane\n  use entry\n  line 0,20 100,20\n"
    )
    (tmp_path / "one.habitat").write_text(plan, encoding="utf-8")
    done = run("check", "one.habitat", cwd=tmp_path)
    assert "read: 33.1 ac, 1 path (100 yd)\n" in done.stdout
    assert "no rule in force looks at: sign\n" in done.stdout


def test_a_folder_judges_what_a_plan_includes_with_that_plan(tmp_path: Path) -> None:
    (tmp_path / "farm.habitat").write_text(SOUND + 'include "crews.habitat"\n', encoding="utf-8")
    (tmp_path / "crews.habitat").write_text("crew ridge\n  people 2\n", encoding="utf-8")
    whole = run("check", ".", cwd=tmp_path)
    assert whole.returncode == 0 and "1 plan, nothing found" in whole.stdout
    assert run("check", "crews.habitat", cwd=tmp_path).returncode == 1  # by itself it is no plan


@pytest.mark.parametrize(
    ("noun", "head"),
    [
        ("storm", 'storm DATE ["TITLE"], such as `storm 2027-05-14`'), ("row", 'row NAME ["TITLE"]'),
        ("plan", 'plan "TITLE"'), ("boundary", 'boundary ["TITLE"]'),
    ],
)  # fmt: skip
def test_words_tells_how_a_block_begins(noun: str, head: str) -> None:
    page = CliRunner().invoke(main, ["words", noun]).output
    assert f"It begins with: {head}\n" in page


def test_words_lists_what_any_block_may_say_only_where_it_is_work() -> None:
    assert "the crew that does it" in CliRunner().invoke(main, ["words", "row"]).output
    crew = CliRunner().invoke(main, ["words", "crew"]).output
    assert "the crew that does it" not in crew and "As any block it may also say `note`" in crew
    assert "Release the overstory" in CliRunner().invoke(main, ["words", "work"]).output
