"""A baseline lets an old repository of plans fail only on what is new."""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest
from click.testing import CliRunner

from habitatlint.check import Report
from habitatlint.cli.main import main
from habitatlint.findings import Level
from habitatlint.outputs.baseline import BaselineTrouble, Content, Entry, content, entries_of, held, read, written

ROOT = Path(__file__).resolve().parent.parent
HEAD = 'plan "Invented"\n\nboundary\n  outline 0,0 400,0 400,400 0,400\n'
LANE = "\npath lane\n  use entry\n  line 0,20 300,20\n\nstand seat\n  at 302,22\n  reach lane\n"


def row(name: str, east: int = 40, north: int = 28, dbh: int = 8) -> str:
    """Four hinges beside the lane."""
    return f"\nrow {name}\n  method hinge\n  stumps {east},{north} {east + 60},{north}\n  spacing 20\n  fall N\n  dbh {dbh}in\n"


class Done(NamedTuple):
    returncode: int
    stdout: str
    stderr: str


OLD = HEAD + LANE + row("screen")


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    (tmp_path / "old.habitat").write_text(OLD, encoding="utf-8")
    done = check(tmp_path, ".", "--write-baseline", "known.json")
    assert done.returncode == 0, done.stdout + done.stderr
    return tmp_path


def check(folder: Path, *arguments: str, stdin: str | None = None) -> Done:
    """The command as it is run in a folder."""
    with contextlib.chdir(folder):
        done = CliRunner().invoke(main, ["check", "--today", "2026-02-10", *arguments], input=stdin)
    return Done(done.exit_code, done.stdout, done.stderr)


def new(folder: Path, *arguments: str) -> list[str]:
    """What is told beside the baseline: `rule on` for each finding."""
    done = check(folder, ".", "--baseline", "known.json", "--as", "json", *arguments)
    assert done.returncode in (0, 1), done.stderr
    return sorted(one["rule"].split("/")[1] for plan in json.loads(done.stdout)["plans"] for one in plan["findings"])


def test_what_was_accepted_no_longer_fails(farm: Path) -> None:
    assert check(farm, ".").returncode == 1
    done = check(farm, ".", "--baseline", "known.json", "--fail-on", "note")
    assert (done.returncode, done.stderr) == (0, "")
    assert re.search(r"\n1 plan, nothing new, \d+ in the baseline, \d+ rules\n$", done.stdout)


def test_a_row_more_is_new(farm: Path) -> None:
    (farm / "old.habitat").write_text(OLD + row("second", 150), encoding="utf-8")
    done = check(farm, ".", "--baseline", "known.json")
    assert done.returncode == 1
    told = re.findall(r"^old.habitat:(\d+):\d+: error: .*live hinges lie too near", done.stdout, re.MULTILINE)
    assert told == ["22"]  # `method hinge` of the second row


@pytest.mark.parametrize(
    "text",
    [
        "# A comment, and lines between.\n\n\n" + OLD,
        HEAD + row("screen") + LANE,
        HEAD + LANE + row("screen", north=29),
        HEAD + LANE + row("screen", north=21).replace("spacing 20", "spacing 5"),
        OLD.replace("\n", "\r\n"),
        HEAD + LANE + row("screen").replace("row screen", 'row screen "The screen"'),
    ],
    ids=[
        "lines moved",
        "blocks in another order",
        "a figure changed",
        "more trees and nearer",
        "line ends",
        "a title given",
    ],
)
def test_what_is_not_of_the_content_makes_nothing_new(farm: Path, text: str) -> None:
    (farm / "old.habitat").write_text(text, encoding="utf-8", newline="")
    assert new(farm) == []
    assert check(farm, ".", "--baseline", "known.json", "--fail-on", "note").returncode == 0  # nor anything gone


def test_a_graver_finding_than_the_one_accepted_is_new(farm: Path) -> None:
    (farm / "old.habitat").write_text(HEAD + LANE + row("screen", dbh=11), encoding="utf-8")
    assert check(farm, ".", "--write-baseline", "known.json").returncode == 0
    assert '"felling/hinge-too-big", "level": "note"' in (farm / "known.json").read_text(encoding="utf-8")
    (farm / "old.habitat").write_text(HEAD + LANE + row("screen", dbh=14), encoding="utf-8")
    assert new(farm) == ["hinge-too-big"]
    # and a lesser one is not
    assert check(farm, ".", "--write-baseline", "known.json").returncode == 0
    (farm / "old.habitat").write_text(HEAD + LANE + row("screen", dbh=11), encoding="utf-8")
    assert new(farm) == []


def test_it_says_when_it_is_stale(farm: Path) -> None:
    (farm / "old.habitat").write_text(HEAD, encoding="utf-8")
    held = len(json.loads((farm / "known.json").read_text(encoding="utf-8"))["findings"])
    said = f"{held} findings of the baseline are gone: write it again"
    done = check(farm, ".", "--baseline", "known.json")
    assert done.returncode == 0 and f"known.json: note: {said}\n" in done.stdout
    assert check(farm, ".", "--baseline", "known.json", "--fail-on", "note").returncode == 1
    gnu = check(farm, ".", "--baseline", "known.json", "--as", "gnu").stdout
    assert gnu == f"known.json:1:1: note: {said} (baseline/stale)\n"
    told = json.loads(check(farm, ".", "--baseline", "known.json", "--as", "json").stdout)
    assert told["baseline"] == {"path": "known.json", "gone": held}
    log = json.loads(check(farm, ".", "--baseline", "known.json", "--as", "sarif").stdout)
    (note,) = log["runs"][0]["invocations"][0]["toolExecutionNotifications"]
    assert (note["level"], note["message"]["text"]) == ("note", said)
    assert check(farm, ".", "--write-baseline", "known.json").returncode == 0
    assert "gone" not in check(farm, ".", "--baseline", "known.json").stdout


def test_what_is_new_is_mended_before_the_baseline_is_written_again(farm: Path) -> None:
    near = HEAD + row("second", 150) + LANE
    (farm / "old.habitat").write_text(near, encoding="utf-8")
    gone = json.loads(check(farm, ".", "--baseline", "known.json", "--as", "json").stdout)["baseline"]["gone"]
    said = f"{gone} findings of the baseline are gone: mend what is new first, then write it again"
    for form in ("text", "gnu", "sarif"):
        done = check(farm, ".", "--baseline", "known.json", "--as", form)
        assert done.returncode == 1 and said in done.stdout
    # what is new and fails nothing is no reason to wait
    lesser = check(farm, ".", "--baseline", "known.json", "--as", "gnu")
    (farm / "old.habitat").write_text(near + "level live-hinge-near-entry note\n", encoding="utf-8")
    calm = check(farm, ".", "--baseline", "known.json", "--as", "gnu")
    assert calm.returncode == 0 < lesser.returncode and "are gone: write it again" in calm.stdout


def test_a_further_row_that_is_not_judged_makes_nothing_gone_of_the_first(farm: Path) -> None:
    bare = [
        row(name, east, 120).replace("  dbh 8in\n", "") for name, east in (("one", 40), ("two", 150), ("three", 260))
    ]
    plan = farm / "old.habitat"
    plan.write_text(HEAD + LANE + bare[0], encoding="utf-8")
    assert check(farm, ".", "--write-baseline", "known.json").returncode == 0
    plan.write_text(HEAD + LANE + "".join(bare), encoding="utf-8")
    done = check(farm, ".", "--baseline", "known.json")
    assert "could not judge row one, row two and row three: no `dbh` is given" in done.stdout  # two are new
    assert "gone" not in done.stdout
    assert check(farm, ".", "--write-baseline", "known.json").returncode == 0
    on = [one["on"] for one in json.loads((farm / "known.json").read_text(encoding="utf-8"))["findings"]
          if "no `dbh` is given" in one.get("words", ())]  # fmt: skip
    assert on == [["one"], ["three"], ["two"]]
    assert new(farm) == []
    plan.write_text(HEAD + LANE + bare[2] + bare[0], encoding="utf-8")
    assert new(farm) == [] and "gone" in check(farm, ".", "--baseline", "known.json").stdout


def test_plans_that_were_not_looked_at_are_not_stale_but_those_taken_away_are(farm: Path) -> None:
    (farm / "other.habitat").write_text(HEAD, encoding="utf-8")
    assert "gone" not in check(farm, "other.habitat", "--baseline", "known.json").stdout
    (farm / "old.habitat").rename(farm / "renamed.habitat")
    assert "gone" in check(farm, "other.habitat", "--baseline", "known.json").stdout
    assert "live-hinge-near-entry" in new(farm)  # another path is another plan


def test_writing_keeps_what_it_says_of_plans_that_were_not_looked_at(farm: Path) -> None:
    (farm / "other.habitat").write_text(OLD, encoding="utf-8")
    before = json.loads((farm / "known.json").read_text(encoding="utf-8"))["findings"]
    assert check(farm, "other.habitat", "--write-baseline", "known.json").returncode == 0
    after = json.loads((farm / "known.json").read_text(encoding="utf-8"))["findings"]
    assert after == [*before, *({**one, "plan": "other.habitat"} for one in before)]
    (farm / "old.habitat").unlink()
    assert check(farm, "other.habitat", "--write-baseline", "known.json").returncode == 0
    assert {one["plan"] for one in json.loads((farm / "known.json").read_text(encoding="utf-8"))["findings"]} == {"other.habitat"}  # fmt: skip


def test_it_holds_wherever_the_command_is_run_and_for_text_from_an_editor(farm: Path) -> None:
    below = farm / "below"
    below.mkdir()
    done = check(below, "../old.habitat", "--baseline", "../known.json")
    assert done.returncode == 0 and "nothing new" in done.stdout
    assert check(below, str(farm), "--baseline", str(farm / "known.json")).returncode == 0
    typed = check(farm, "-", "--name", "old.habitat", "--baseline", "known.json", stdin=OLD + row("second", 150))
    assert typed.returncode == 1 and "1 error" not in check(farm, "-", "--baseline", "known.json", stdin=HEAD).stdout


def test_waivers_and_peoples_safety_are_told_all_the_same(farm: Path) -> None:
    big = row("giants", 200, 28, dbh=14)
    waiver = 'waive hinge-overhead on screen until 2027-12-31 because "one tall hand"\n'
    (farm / "old.habitat").write_text(OLD + "  cut-height 6ft\n" + big + waiver, encoding="utf-8")
    assert check(farm, ".", "--write-baseline", "known.json").returncode == 0
    done = check(farm, ".", "--baseline", "known.json")
    assert done.returncode == 0
    assert "old.habitat: people's safety, in the baseline: row giants hinges stems up to 14 in thick" in done.stdout
    assert "people's safety, waived: " in done.stdout and "(one tall hand)" in done.stdout
    assert "1 waived" in done.stdout
    assert "hinge-overhead" not in (farm / "known.json").read_text(encoding="utf-8")


def test_a_log_shows_what_the_baseline_holds_as_suppressed_outside_the_source(farm: Path) -> None:
    (farm / "old.habitat").write_text(OLD + row("second", 150), encoding="utf-8")
    log = json.loads(check(farm, ".", "--baseline", "known.json", "--as", "sarif").stdout)["runs"][0]
    assert log["invocations"][0]["exitCode"] == 1
    states = {(one["baselineState"], *(how["kind"] for how in one["suppressions"])) for one in log["results"]}
    assert states == {("new",), ("unchanged", "external")}


RULE = """rule few-beds
  title "Few beds"
  each k in pockets
  measure beds = count of b in beds (b.pocket is k)
  report warning when beds < 2
    say "{k} has {beds}"
  mark k.outline
  because "so"
"""
SEAT = """rule seat-alone
  title "Stand"
  FORMERLY
  each s in stands
  report warning
    say "{s}"
  mark s
  because "so"
"""


@pytest.mark.parametrize(
    ("head", "then", "told"),
    [
        ("", RULE.replace("rule few-beds", "rule bed-count\n  formerly few-beds"), []),
        ("", RULE.replace("rule few-beds", "rule bed-count\n  formerly fewest-beds\n  formerly few-beds"), []),
        ("", RULE.replace("rule few-beds", "rule bed-count"), ["bed-count"]),
        # in the place of a rule of another pack that it leaves
        ("  builds-on layout\n  leaves stand-off-travel\n", RULE + SEAT.replace("FORMERLY", "formerly stand-off-travel"), []),
        ("  builds-on layout\n  leaves stand-off-travel\n", RULE + SEAT.replace("  FORMERLY\n", ""), ["seat-alone"]),
    ],
    ids=["renamed", "renamed twice", "another rule", "in the place of another", "beside another"],
)  # fmt: skip
def test_a_rule_that_was_renamed_is_known_by_what_it_was_called(
    farm: Path, head: str, then: str, told: list[str]
) -> None:
    own = farm / "own"
    own.mkdir()
    (own / "pack.rules").write_text("pack own\n", encoding="utf-8")
    (own / "a.rules").write_text(RULE, encoding="utf-8")
    pocket = "\npocket oak\n  outline 300,300 390,300 390,390 300,390\n  bed 350,350\n"
    (farm / "old.habitat").write_text(OLD + pocket + 'use pack "own"\n', encoding="utf-8")
    assert check(farm, ".", "--write-baseline", "known.json").returncode == 0
    before = (farm / "known.json").read_text(encoding="utf-8")
    assert "own/few-beds" in before and "layout/stand-off-travel" in before
    (own / "pack.rules").write_text(f"pack own\n{head}", encoding="utf-8")
    (own / "a.rules").write_text(then, encoding="utf-8")
    assert new(farm) == told
    assert ("gone" in check(farm, ".", "--baseline", "known.json").stdout) is bool(told)


def test_a_rule_of_an_unrelated_pack_is_not_known_by_a_name_that_it_claims(farm: Path) -> None:
    for name, rule in (("own", RULE), ("other", RULE.replace("rule few-beds", "rule no-pond\n  formerly few-beds"))):
        (farm / name).mkdir()
        (farm / name / "pack.rules").write_text(f"pack {name}\n", encoding="utf-8")
        (farm / name / "a.rules").write_text(rule, encoding="utf-8")
    plan = f"{OLD}\npocket oak\n  outline 300,300 390,300 390,390 300,390\n  bed 350,350\n"
    (farm / "old.habitat").write_text(f'{plan}use pack "own"\n', encoding="utf-8")
    assert check(farm, ".", "--write-baseline", "known.json").returncode == 0
    (farm / "old.habitat").write_text(f'{plan}use pack "other"\n', encoding="utf-8")
    assert new(farm) == ["no-pond"]


def test_an_unrelated_pack_does_not_claim_what_was_accepted_of_one_that_is_gone(farm: Path) -> None:
    pocket = "\npocket oak\n  outline 300,300 390,300 390,390 300,390\n  bed 350,350\n"
    for name, text in (("base", RULE), ("y", RULE.replace("rule few-beds", "rule no-pond\n  formerly few-beds"))):
        (farm / name).mkdir()
        (farm / name / "pack.rules").write_text(f"pack {name}\n", encoding="utf-8")
        (farm / name / "a.rules").write_text(text, encoding="utf-8")
    (farm / "old.habitat").write_text(OLD + pocket + 'use pack "base"\n', encoding="utf-8")
    assert check(farm, ".", "--write-baseline", "known.json").returncode == 0
    (farm / "old.habitat").write_text(OLD + pocket + 'use pack "y"\n', encoding="utf-8")
    assert new(farm) == ["no-pond"]
    (farm / "y" / "pack.rules").write_text("pack y\n  builds-on base\n  leaves few-beds\n", encoding="utf-8")
    (farm / "old.habitat").write_text(OLD + pocket + 'use pack "base"\nuse pack "y"\n', encoding="utf-8")
    assert new(farm) == []


def test_two_of_one_content_are_two(report_of: Callable[..., Report]) -> None:
    text = "task fence\n  txet 1\n  txet 1\n"
    report = report_of(text)
    assert [content(one) for one in report.findings[:2]] == [content(report.findings[0])] * 2
    entries = entries_of([report.verdict], str)
    assert len(set(entries)) < len(entries)
    assert held([report.verdict], entries, str, set()).verdicts[0].findings == ()
    (left,) = held([report.verdict], entries[1:], str, set()).verdicts[0].findings
    assert content(left) == entries[0].content
    one_less = report_of(text.replace("  txet 1\n", "", 1))
    assert len(held([one_less.verdict], entries, str, set()).gone) >= 1


@pytest.mark.parametrize("path", sorted((ROOT / "examples").glob("*.habitat")), ids=lambda path: path.stem)
def test_lines_moved_change_no_content_of_any_example(path: Path, report_of: Callable[..., Report]) -> None:
    text = path.read_text(encoding="utf-8")
    report = report_of(text, f"examples/{path.name}", fragment=False)
    entries = entries_of([report.verdict], str)
    assert read(written(entries)) == sorted(entries)
    moved = report_of("# One line more.\n\n" + text, f"examples/{path.name}", fragment=False)
    assert sorted(entries_of([moved.verdict], str)) == sorted(entries)
    sifted = held([moved.verdict], entries, str, set())
    assert (sifted.verdicts[0].findings, sifted.gone) == ((), ())


def test_the_file_is_one_finding_a_line_and_sorted(farm: Path) -> None:
    text = (farm / "known.json").read_text(encoding="utf-8")
    first, *lines, last = text.splitlines()
    assert (first, last) == ('{"version": 1, "findings": [', "]}")
    whole = json.loads(text)["findings"]
    assert [json.loads(line.rstrip(",")) for line in lines] == whole
    assert [one["rule"] for one in whole] == sorted(one["rule"] for one in whole)
    check(farm, ".", "--write-baseline", "known.json")
    assert (farm / "known.json").read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "known.json:1: no baseline: not JSON"),
        (b'{"version": 1, "findings": [\n<<<<<<< ours\n]}', "known.json:2: no baseline: not JSON"),
        (b"[" * 200_000, "known.json: no baseline: a number or a nesting beyond measure"),
        (b'{"version": ' + b"1" * 5000 + b"}", "known.json: no baseline: a number or a nesting beyond measure"),
        (b"[]", "known.json: no baseline"),
        (b'{"version": true, "findings": []}', "known.json: no baseline"),
        (b'{"version": 2, "findings": []}', "known.json: a baseline of version 2, and this program reads version 1"),
        (b'{"version": 1, "findings": [7]}', "known.json: finding 1 of the baseline is not such as this program writes"),
        (
            b'{"version": 1, "findings": [{"plan": "a", "rule": "b/c", "level": "grave", "on": []}]}',
            "known.json: finding 1 of the baseline is not such as this program writes",
        ),
        (
            b'{"version": 1, "findings": [{"plan": "a", "rule": "b/c", "level": ["note"], "on": "lane"}]}',
            "known.json: finding 1 of the baseline is not such as this program writes",
        ),
        (b"\xff\xfe", "known.json:1: not UTF-8 text (byte 0)"),
        (b"\0", "known.json: a binary file, not a plan"),
    ],
    ids=["empty", "merge mark", "deep", "long number", "list", "truth", "version", "number", "level", "kinds", "bytes", "nul"],
)  # fmt: skip
def test_a_broken_baseline_is_told_in_one_line_and_never_written_over(farm: Path, data: bytes, said: str) -> None:
    (farm / "known.json").write_bytes(data)
    line = f"habitatlint: {said}; take the file away and write it with --write-baseline\n"
    for option in ("--baseline", "--write-baseline"):
        done = check(farm, ".", option, "known.json")
        assert (done.returncode, done.stdout, done.stderr) == (2, "", line)
    assert (farm / "known.json").read_bytes() == data


def test_a_hostile_path_in_a_baseline_leads_nowhere(farm: Path) -> None:
    paths = ["\0", "../" * 50 + "etc", "x" * 10_000, "a\x1b[31m", "\ud800"]
    entries = [{"plan": path, "rule": "a/b", "level": "note", "on": []} for path in paths]
    (farm / "known.json").write_text(json.dumps({"version": 1, "findings": entries}), encoding="utf-8")
    done = check(farm, ".", "--baseline", "known.json")
    assert done.returncode == 1 and done.stderr == "" and "\x1b" not in done.stdout


def test_a_plan_is_never_taken_for_a_baseline(farm: Path) -> None:
    done = check(farm, ".", "--write-baseline", "old.habitat")
    assert done.returncode == 2 and "old.habitat:1: no baseline: not JSON" in done.stderr
    assert (farm / "old.habitat").read_text(encoding="utf-8") == OLD
    missing = check(farm, ".", "--baseline", "nowhere.json")
    assert missing.stderr == "habitatlint: nowhere.json: no such baseline; write it with --write-baseline\n"
    assert check(farm, ".", "--baseline", "a", "--write-baseline", "b").returncode == 2
    assert check(farm, ".", "--write-baseline", "no/folder/known.json").returncode == 2


def test_what_cannot_be_read_keeps_a_baseline_from_being_written(farm: Path) -> None:
    before = (farm / "known.json").read_bytes()
    (farm / "junk.habitat").write_bytes(b"\0")
    done = check(farm, ".", "--write-baseline", "known.json")
    assert done.returncode == 2 and "junk.habitat" in done.stderr
    assert (farm / "known.json").read_bytes() == before


def test_text_that_is_no_baseline_is_told_with_its_line() -> None:
    with pytest.raises(BaselineTrouble) as told:
        read('{\n"version" 1}')
    assert told.value.line == 2
    assert read(written([])) == []
    entry = Entry("a.habitat", Content("record/unknown-word", (), ("é\u202e",)), Level.note)
    assert written([entry]).isascii() and read(written([entry])) == [entry]
