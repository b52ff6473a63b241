"""The README says what is so: its commands are those of CI, its first plan gives the finding it shows."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from habitatlint.check import Report
from habitatlint.cli.main import main
from habitatlint.outputs import Style, render

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
    assert shown in render("text", [report_of(plan, "pine-knob.habitat", fragment=False)], Style())


def test_every_command_it_names_is_there() -> None:
    assert set(re.findall(r"^    habitatlint (\w+)", README, re.MULTILINE)) == set(main.commands)
