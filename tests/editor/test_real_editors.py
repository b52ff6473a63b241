"""Real editors with their own clients, set up by the lines that ship: a finding appears, its mend is chosen, the
buffer is mended, the finding is gone."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from real_parts import missing, program

HERE = Path(__file__).resolve().parent
EDITORS = HERE.parents[1] / "examples" / "editors"
PLAN = """plan "Lane"
path lane "South \U0001f98c lane"
  use entry
  line 0,0 100,0
row cover
  method hinge
  stumps 10,5 90,5
  spacing 10
  fall N
  dbh 8in
"""
STEPS = ["the finding appears", "the buffer is mended", "the finding is gone"]


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "lane.habitat"
    path.write_text(PLAN, encoding="utf-8")
    return path


def run(command: list[str], **more: str) -> str:
    """What an editor prints; `habitatlint` is that of these tests."""
    environment = {**os.environ, "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}", **more}
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False, env=environment)
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"
    return done.stdout


def mended(said: str) -> list[str]:
    """The buffer as it ended, behind the steps that came."""
    lines = said.splitlines()
    assert [line for line in lines if line in STEPS] == STEPS
    return lines[lines.index(STEPS[-1]) + 1 :]


@pytest.mark.skipif(sys.platform == "win32", reason="the editors are those of Debian")
def test_neovim_mends_a_finding(plan: Path) -> None:
    nvim = program("nvim")
    said = run([nvim, "--headless", "--clean", "-c", f"source {EDITORS}/neovim.lua", "-c", f"edit {plan}",
                "-c", f"luafile {HERE}/neovim_mends.lua"])  # fmt: skip
    after = mended(said)
    assert "  method fell" in after and "  fall along lane" in after
    assert "offered: cut them through, along the path, and treat the stumps" in said
    assert plan.read_text(encoding="utf-8") == PLAN  # nothing is saved behind the writer's back


def test_emacs_mends_a_finding(plan: Path) -> None:
    emacs = program("emacs")
    if subprocess.run([emacs, "--batch", "-q", "-l", "eglot"], capture_output=True, check=False).returncode:
        missing("eglot")
    said = run([emacs, "--batch", "-q", "-L", str(EDITORS / "emacs"), "-l", str(HERE / "emacs_mends.el")],
               PLAN=str(plan), EDITOR_LINES=str(EDITORS / "emacs.el"))  # fmt: skip
    after = mended(said)
    assert "  method fell" in after and "  fall along lane" in after
