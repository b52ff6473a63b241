"""Plans judged by the settings they stand under, through the commands."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from habitatlint.cli.main import main
from habitatlint.cli.project import forget

ROOT = Path(__file__).parent.parent
PLAN = """plan "Teasel Flat"
boundary
  outline 0,0 440,0 440,440 0,440
path lane
  use entry
  line 0,40 300,40
row screen
  method hinge
  stumps 60,62 180,62
  spacing 10
  fall N
  dbh 6in..9in
"""


@pytest.fixture(autouse=True)
def afresh() -> None:
    forget()


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    (tmp_path / "plans").mkdir()
    (tmp_path / "plans" / "farm.habitat").write_text(PLAN, encoding="utf-8")
    return tmp_path


def run(*words: object) -> Result:
    forget()
    return CliRunner().invoke(main, [*map(str, words)])


def settings(farm: Path, text: str) -> None:
    (farm / "habitatlint.toml").write_text(text, encoding="utf-8")


def check(farm: Path, *words: object) -> Result:
    return run("check", "--as", "gnu", *words, farm / "plans")


def test_without_settings_the_hinges_are_far_enough(farm: Path) -> None:
    assert "live-hinge-near-entry" not in check(farm).output


def test_a_limit_of_the_settings_holds_until_the_plan_says_otherwise(farm: Path) -> None:
    settings(farm, '[limits]\n"live-hinge-near-entry.clearance" = "30yd"\n')
    result = check(farm)
    assert "live-hinge-near-entry" in result.output and result.exit_code == 1
    plan = farm / "plans" / "farm.habitat"
    plan.write_text(PLAN + "set live-hinge-near-entry.clearance 20yd\n", encoding="utf-8")
    assert "live-hinge-near-entry" not in check(farm).output


def test_a_level_of_the_settings_lowers_and_the_command_line_fails(farm: Path) -> None:
    settings(
        farm, '[limits]\n"live-hinge-near-entry.clearance" = "30yd"\n[levels]\nlive-hinge-near-entry = "warning"\n'
    )
    assert check(farm).exit_code == 0
    assert check(farm, "--fail-on", "warning").exit_code == 1
    settings(farm, 'fail-on = "warning"\n' + (farm / "habitatlint.toml").read_text(encoding="utf-8"))
    assert check(farm).exit_code == 1
    assert check(farm, "--fail-on", "error").exit_code == 0


def test_the_day_of_the_settings_is_the_day_judged_by(farm: Path) -> None:
    waiver = 'waive live-hinge-near-entry on screen until 2026-03-01 because "agreed"\n'
    (farm / "plans" / "farm.habitat").write_text(PLAN.replace("62", "46") + waiver, encoding="utf-8")
    settings(farm, "today = 2026-02-10\n")
    assert "live-hinge-near-entry" not in check(farm).output
    settings(farm, "today = 2026-03-02\n")
    assert "live-hinge-near-entry" in check(farm).output
    assert "live-hinge-near-entry)" not in check(farm, "--today", "2026-02-10").output


def test_plans_that_are_excluded_are_passed_over_by_name_too(farm: Path) -> None:
    settings(farm, 'exclude = ["plans/farm.habitat"]\n')
    result = run("check", farm / "plans" / "farm.habitat")
    assert result.exit_code == 0 and "live" not in result.output
    assert run("format", "--check", farm / "plans").exit_code == 0
    assert run("mend", "--all", farm / "plans").exit_code == 0
    assert (farm / "plans" / "farm.habitat").read_text(encoding="utf-8") == PLAN


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[limits]\n"live-hinge-near-entry.clearence" = "25yd"\n', "did you mean `clearance`"),
        ('[limits]\n"live-hinge-near-entry.clearance" = "25in"\n', "beyond its permitted range"),
        ('[limits]\n"live-hinge-near-entry.clearance" = "25%"\n', "of another kind than the limit"),
        (
            '[limits]\n"live-hinge-near-entry.clearance" = "a\\nlevel unused-entry off"\n',
            "write a value as a plan would",
        ),
        ('[levels]\nlive-hinge-near-entri = "off"\n', "did you mean `live-hinge-near-entry`"),
        ('[levels]\nsyntax = "off"\n', "cannot be changed"),
        ('packs = ["packs/none"]\n', "there is no such folder"),
        ('packs = ["packs/none.pack"]\n', "there is no such file; a pack is a folder of .rules files"),
        ('measures = ["no-such-thing"]\n', "brings measures"),
    ],
)
def test_what_settings_name_that_there_is_not_is_told_in_one_line(farm: Path, text: str, told: str) -> None:
    settings(farm, text)
    result = check(farm)
    assert result.exit_code == 2
    assert result.output.count("\n") == 1 and told in result.output, result.output
    assert "habitatlint.toml:" in result.output


@pytest.mark.parametrize(
    "text", ['[levels]\nnosuch = "off"\n', '[limits]\n"live-hinge-near-entry.clearence" = "25yd"\n']
)
def test_what_was_expected_is_told_once(farm: Path, text: str) -> None:
    settings(farm, text)
    said = check(farm).output
    assert said.count("the name of a rule") + said.count("no such limit") == 1 and "a limit of" not in said, said


def test_a_group_judges_its_plans_with_its_own_pack() -> None:
    result = run("check", "--as", "gnu", "--baseline", ROOT / "examples/group/known.json", ROOT / "examples/group")
    assert result.exit_code in (0, 1), result.output
    told = run("rules", "plot-by-water", "--at", f"{ROOT / 'examples/group/plans/sedge-bend.habitat'}:1")
    assert "no rule is called" not in told.output


def test_settings_are_shown_with_their_origin(farm: Path) -> None:
    settings(farm, 'fail-on = "note"\n[limits]\n"live-hinge-near-entry.clearance" = "30yd"\n')
    said = run("settings", farm / "plans" / "farm.habitat").output
    lines = {line.split()[0]: " ".join(line.split()[1:]) for line in said.splitlines()}
    assert lines["fail-on"].startswith("note") and lines["fail-on"].endswith("habitatlint.toml:1")
    assert lines["today"] == "the day it is as is usual"
    clearance = lines["limits.entry/live-hinge-near-entry.clearance"]
    assert clearance.startswith("30 yd") and clearance.endswith("habitatlint.toml:3; its own is 20 yd")


def test_rules_pinned_before_a_rule_came_make_a_note_of_it(farm: Path) -> None:
    assert run("pack", "pin", farm / "plans", "-o", farm / "habitatlint.pins").exit_code == 0
    settings(farm, '[limits]\n"live-hinge-near-entry.clearance" = "30yd"\n')
    pins = (farm / "habitatlint.pins").read_text(encoding="utf-8")
    assert "live-hinge-near-entry" in pins
    assert check(farm).exit_code == 1
    without = "".join(line for line in pins.splitlines(keepends=True) if "live-hinge-near-entry" not in line)
    (farm / "habitatlint.pins").write_text(without, encoding="utf-8")
    result = check(farm)
    assert result.exit_code == 0, result.output
    assert "note:" in result.output and "live-hinge-near-entry" in result.output


def test_a_rule_that_changed_since_the_pins_is_judged_as_it_reads_and_told(
    farm: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(farm)
    (farm / "own").mkdir()
    rule = (
        'rule few-rows\n  title "Few rows"\n  each k in paths\n  measure rows = count of r in rows\n'
        '  limit least 2  1..4  common-practice\n  report error when rows < least\n    say "few"\n  mark k\n  because "so"\n'
    )
    (farm / "own" / "a.rules").write_text(rule.replace("least 2", "least 1"), encoding="utf-8")
    settings(farm, 'packs = ["own"]\n')
    assert run("pack", "pin", "plans").exit_code == 0 and check(farm).exit_code == 0
    (farm / "own" / "a.rules").write_text(rule, encoding="utf-8")
    told = run("check", "plans")
    assert told.exit_code == 1 and "error: few\n" in told.output
    assert "1 rule changed since the pins: own/few-rows" in told.output


# -- what holds, told where a person asks ----------------------------------------------------------------------


def said_of(result: Result) -> dict[str, str]:
    """What `settings` says, by key."""
    assert result.exit_code == 0, result.output
    return {line.split()[0]: " ".join(line.split()[1:]) for line in result.output.splitlines()}


IN_FORCE = '[limits]\n"live-hinge-near-entry.clearance" = "25yd"\n[levels]\nunused-entry = "off"\n'


def test_what_a_plan_says_itself_stands_above_its_settings(farm: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(farm)
    settings(farm, IN_FORCE)
    own = 'use pack "../creek-bottoms"\nset live-hinge-near-entry.clearance 30yd\nlevel unused-entry warning\n'
    (farm / "plans" / "own.habitat").write_text(PLAN + own, encoding="utf-8")
    assert run("pack", "new", "creek-bottoms").exit_code == 0
    said = said_of(run("settings", "plans/own.habitat"))
    assert said["packs"] == "../creek-bottoms plans/own.habitat:13"
    clearance = said["limits.entry/live-hinge-near-entry.clearance"]
    assert clearance == "30 yd plans/own.habitat:14, above habitatlint.toml:2; its own is 20 yd"
    assert (
        said["levels.record/unused-entry"] == "warning plans/own.habitat:15, above habitatlint.toml:4; its own is note"
    )
    assert "wanted    30 yd" in run("check", "plans/own.habitat").output  # as it is judged
    other = said_of(run("settings", "plans/farm.habitat"))
    assert other["limits.entry/live-hinge-near-entry.clearance"].startswith("25 yd habitatlint.toml:2;")
    assert other["packs"] == "none as is usual" and other == said_of(run("settings", "plans"))
    missing = run("settings", "plans/none.habitat")
    assert missing.exit_code == 2 and "no such file" in missing.output


def test_a_pack_that_a_plan_cannot_take_in_is_told_as_such(farm: Path) -> None:
    (farm / "plans" / "farm.habitat").write_text(PLAN + 'use pack "nowhere"\n', encoding="utf-8")
    assert said_of(run("settings", farm / "plans" / "farm.habitat"))["packs"].endswith(
        "farm.habitat:13; not as it should be, which `check` tells"
    )


def test_limits_of_a_plan_in_metres_are_told_in_metres(farm: Path) -> None:
    text = PLAN.replace('Flat"\n', 'Flat"\n  units m\n') + "set live-hinge-near-entry.clearance 25m\n"
    (farm / "plans" / "farm.habitat").write_text(text, encoding="utf-8")
    said = said_of(run("settings", farm / "plans" / "farm.habitat"))
    clearance = said["limits.entry/live-hinge-near-entry.clearance"]
    assert clearance.startswith("25 m ") and clearance.endswith("its own is 18.3 m")


def test_settings_say_that_pins_make_a_note_of_a_rule_that_came_later(farm: Path) -> None:
    assert run("pack", "pin", farm / "plans", "-o", farm / "habitatlint.pins").exit_code == 0
    pins = (farm / "habitatlint.pins").read_text(encoding="utf-8")
    without = "".join(line for line in pins.splitlines(keepends=True) if "closed-v" not in line)
    (farm / "habitatlint.pins").write_text(without, encoding="utf-8")
    said = said_of(run("settings", farm / "plans" / "farm.habitat"))
    assert said["levels.escape/closed-v"].startswith("note the pins, for it is new since; its own is ")


def test_rules_show_the_limits_and_levels_that_are_in_force(farm: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(farm)
    settings(farm, IN_FORCE)
    one = " ".join(run("rules", "live-hinge-near-entry").output.split())
    assert "limit clearance: 25 yd, by habitatlint.toml:2; the rule's own 20 yd, from 5 yd to 60 yd" in one
    assert "`set live-hinge-near-entry.clearance 25yd`" in one
    off = " ".join(run("rules", "unused-entry").output.split())
    assert "level off, by habitatlint.toml:4; the rule's own note" in off and "`level unused-entry note`" in off
    lines = run("rules").output.splitlines()
    (listed,) = (line for line in lines if " unused-entry " in line)
    assert listed.split()[0] == "off" and listed.endswith("(by habitatlint.toml:4; its own note)")
    rules = {one["rule"]: one for one in json.loads(run("rules", "--as", "json").output)["rules"]}
    assert rules["entry/live-hinge-near-entry"]["limits"]["clearance"] == {
        "value": "25 yd", "own": "20 yd", "by": "habitatlint.toml:2", "least": "5 yd", "largest": "60 yd",
        "evidence": "common-practice", "source": "",
    }  # fmt: skip
    unused = rules["record/unused-entry"]
    assert (unused["level"], unused["own-level"], unused["level-by"]) == ("off", "note", "habitatlint.toml:4")
    assert rules["escape/closed-v"]["level-by"] is None


def test_a_limit_that_a_pack_changes_is_shown_with_the_pack(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT / "examples" / "group")
    told = " ".join(run("rules", "pocket-unconnected").output.split())
    assert "limit touch: 30 yd, by pack river-bottoms; the rule's own 20 yd" in told


def test_a_rule_of_a_pack_that_only_a_plan_uses_is_found_with_that_plan(
    farm: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(farm)
    assert run("pack", "new", "creek-bottoms").exit_code == 0
    plan = farm / "plans" / "farm.habitat"
    plan.write_text(PLAN + 'use pack "../creek-bottoms"\n', encoding="utf-8")
    told = run("rules", "bed-near-walk")
    assert told.exit_code == 2 and told.output.count("\n") == 1
    assert "pack creek-bottoms has it, which plans/farm.habitat:13 uses" in told.output
    assert "`habitatlint rules bed-near-walk --at plans/farm.habitat:LINE`" in told.output
    assert "bed-near-walk" in run("rules", "bed-near-walk", "--at", "plans/farm.habitat:4").output
    settings(farm, 'packs = ["creek-bottoms"]\n')
    assert run("rules", "bed-near-walk").exit_code == 0
    assert "did you mean `closed-v`" in run("rules", "closed-w").output
    assert "`habitatlint rules` lists them" in run("rules", "xyzzy").output
