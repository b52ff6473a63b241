"""The README says what is so: its commands are those of CI, its first plan gives the finding it shows."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
from click.testing import CliRunner
from PIL import Image, ImageFilter

from habitatlint.check import Report
from habitatlint.cli.main import main
from habitatlint.outputs import Style, render
from habitatlint.rulebook.versions import is_stretch, takes

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```\n(.*?)```", README, re.DOTALL)


def test_the_test_command_is_the_one_that_ci_runs() -> None:
    commands = re.findall(r"^    (python3 -m venv .*)$", README, re.MULTILINE)
    assert len(commands) == 2
    assert commands[1] in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    example = re.search(r"check (examples/\S+)", commands[0])
    assert example and (ROOT / example[1]).is_file()


def test_the_first_plan_gives_the_finding_that_is_shown(report_of: Callable[..., Report]) -> None:
    plan = next(block for block in BLOCKS if block.startswith('plan "'))
    shown = next(block for block in BLOCKS if "pine-knob.habitat:" in block)
    assert shown in render("text", [report_of(plan, "pine-knob.habitat", fragment=False).verdict], Style())


def test_every_command_it_names_is_there() -> None:
    assert set(re.findall(r"^    habitatlint ([\w-]+)", README, re.MULTILINE)) == set(main.commands)


def test_the_hooks_it_shows_are_there_and_take_what_it_gives_them() -> None:
    shown = next(block for block in BLOCKS if block.startswith("repos:"))
    hooks = (ROOT / ".pre-commit-hooks.yaml").read_text(encoding="utf-8")
    wanted = re.findall(r"- id: (\S+)", shown)
    assert wanted and set(wanted) <= set(re.findall(r"^- id: (\S+)", hooks, re.MULTILINE))
    (arguments,) = re.findall(r"- id: habitatlint-check\n +args: \[(.+)\]", shown)
    assert arguments.split(", ")[0] in {option for one in main.commands["check"].params for option in one.opts}
    assert {"`pip install pre-commit`", "`pre-commit install`", "`git add`"} <= set(re.findall(r"`[^`\n]+`", README))


def test_the_stretch_of_versions_it_shows_is_one() -> None:
    stretches = re.findall(r'`version "([0-9.]+)"`', README)
    assert "0.1..0.3" in stretches and all(is_stretch(one) and takes(one, "0.1.0") for one in stretches)


def test_the_map_it_shows_is_the_one_the_command_makes(tmp_path: Path) -> None:
    command = re.search(r"^    habitatlint (map examples/\S+ -o )(\S+)( .*)$", README, re.MULTILINE)
    shown = re.search(r"^!\[.+\]\((\S+)\)$", README, re.MULTILINE)
    assert command and shown
    plan = command[1].split()[1]
    made = CliRunner().invoke(main, ["map", str(ROOT / plan), "-o", str(tmp_path / command[2]), *command[3].split()])
    assert made.exit_code == 0, made.output
    # soft edges, for another version of a library may set a letter a hair's breadth off
    one, other = (
        np.asarray(Image.open(path).convert("L").filter(ImageFilter.GaussianBlur(4)), float)
        for path in (ROOT / shown[1], tmp_path / command[2])
    )
    assert one.shape == other.shape and np.abs(one - other).max() < 40
