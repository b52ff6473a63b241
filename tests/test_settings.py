"""A project's settings: found upward from the plan, read strictly, told in one line where they are wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from habitatlint.settings import Handover, Settings, SettingsTrouble, settings_for


def plan_in(folder: Path, settings: str = "", name: str = "habitatlint.toml") -> str:
    below = folder / "plans" / "north"
    below.mkdir(parents=True, exist_ok=True)
    if settings:
        (folder / name).write_text(settings, encoding="utf-8")
    return str(below / "farm.habitat")


def test_without_a_file_all_is_as_usual(tmp_path: Path) -> None:
    assert settings_for(plan_in(tmp_path)) == Settings()


def test_settings_are_found_upward_from_the_plan(tmp_path: Path) -> None:
    plan = plan_in(tmp_path, '[handover]\nsections = ["map", "work"]\npreface = "words.txt"\npaper = "a4"\n')
    found = settings_for(plan)
    assert found.path == str(tmp_path / "habitatlint.toml")
    assert found.handover == Handover(("map", "work"), str(tmp_path / "words.txt"), "a4")


def test_a_shared_file_holds_them_in_a_table_of_its_own(tmp_path: Path) -> None:
    plan = plan_in(tmp_path, '[project]\nname = "x"\n[tool.habitatlint.handover]\npaper = "legal"\n', "pyproject.toml")
    assert settings_for(plan).handover.paper == "legal"


def test_a_shared_file_without_the_table_is_passed_over(tmp_path: Path) -> None:
    (tmp_path / "habitatlint.toml").write_text('[handover]\npaper = "a4"\n', encoding="utf-8")
    plan = plan_in(tmp_path)
    (tmp_path / "plans" / "pyproject.toml").write_text("[tool.other]\n", encoding="utf-8")
    assert settings_for(plan).handover.paper == "a4"


def test_the_nearest_file_is_taken_whole(tmp_path: Path) -> None:
    plan = plan_in(tmp_path, '[handover]\npaper = "a4"\npreface = "words.txt"\n')
    (tmp_path / "plans" / "habitatlint.toml").write_text('[handover]\npaper = "legal"\n', encoding="utf-8")
    assert settings_for(plan).handover == Handover(paper="legal")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[handover]\nsectoins = []\n", "no setting is called `handover.sectoins`; did you mean `sections`?"),
        ("handovr = 1\n", "no setting is called `handovr`; did you mean `handover`?"),
        ("[handover]\npaper = 4\n", "`handover.paper`: input should be 'letter', 'legal' or 'a4'"),
        ('[handover]\npaper = "b5"\n', "`handover.paper`: input should be 'letter', 'legal' or 'a4'"),
        ('[handover]\nsections = "map"\n', "`handover.sections`: input should be a valid list"),
        ("[handover\n", "not TOML"),
        ('[levels]\nunused-entry = "of"\n', ":2: `levels.unused-entry`: input should be"),
        ("today = 2026-13-01\n", "not TOML"),
        ("packs = [1]\n", ":1: `packs`: input should be a valid string"),
        # what a person writes who does not know that values and names stand in quotes
        (
            '[limits]\n"live-hinge-near-entry.clearance" = 25\n',
            ":2: `limits.live-hinge-near-entry.clearance`: input should be a valid string; put it in double quotes with "
            'its unit, as a plan writes it: "25yd"',
        ),
        (
            '[limits]\nlive-hinge-near-entry.clearance = "25yd"\n',
            'put the whole name in double quotes: "live-hinge-near-entry.clearance" = "25yd"',
        ),
        (
            '[limits]\n"live-hinge-near-entry.clearance" = 25yd\n',
            "habitatlint.toml:2:39: not TOML: expected newline or end of document after a statement; put the value in "
            'double quotes: "live-hinge-near-entry.clearance" = "25yd"',
        ),
        (
            "[levels]\nunused-entry = off  # for now\n",
            'habitatlint.toml:2:16: not TOML: invalid value; put the value in double quotes: unused-entry = "off"',
        ),
        (
            '[levels]\nentry/unused-entry = "off"\n',
            "habitatlint.toml:2:6: not TOML: expected '=' after a key in a key/value pair; a name with other signs than "
            'letters, digits and hyphens stands in double quotes: "entry/unused-entry"',
        ),
        ('today = "2026-02-10"\n', ":1: `today`: input should be a valid date; write it without quotes: today = 2026"),
        ("[handover", "habitatlint.toml:1:10: not TOML: expected ']'"),
    ],
)
def test_what_is_wrong_is_told_in_one_line(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(SettingsTrouble) as trouble:
        settings_for(plan_in(tmp_path, text))
    assert told in str(trouble.value) and "habitatlint.toml" in str(trouble.value)
    assert "\n" not in str(trouble.value)


@pytest.mark.parametrize(
    ("pattern", "plan", "passed_over"),
    [
        ("plans/old", "plans/old/a.habitat", True),
        ("plans/old", "plans/older/a.habitat", False),
        ("*.habitat", "plans/a.habitat", False),
        ("**/*.habitat", "a.habitat", True),
        ("**/draft-?.habitat", "plans/north/draft-2.habitat", True),
        ("**/draft-?.habitat", "plans/north/draft-22.habitat", False),
        ("plans/**", "plans/north/a.habitat", True),
        ("a.b", "aXb", False),
    ],
)
def test_plans_are_passed_over_by_pattern(tmp_path: Path, pattern: str, plan: str, passed_over: bool) -> None:
    (tmp_path / "habitatlint.toml").write_text(f'exclude = ["{pattern}"]\n', encoding="utf-8")
    assert settings_for(str(tmp_path / "x.habitat")).excludes(str(tmp_path / plan)) is passed_over
