"""Plans judged by the settings they stand under, through the commands."""

from __future__ import annotations

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
