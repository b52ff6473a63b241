"""The same input gives the same bytes: under five hash seeds, in whatever order files are named or stand, and by however
many processes it is judged."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SEEDS = ("0", "1", "2", "3", "4294967295")
TODAY = ("--today", "2026-02-10")
#: each run does all of these, for what costs is the start of a process
COMMANDS = (
    ("check", "--as", "json", *TODAY, "."),
    ("rules", "--at", "ondrey-knob.habitat:40", *TODAY),
    ("work", "ondrey-knob.habitat", *TODAY),
    ("map", "ondrey-knob.habitat", "-o", "map.html", *TODAY),
    ("export", "fallow-ridge.habitat", "-o", "out.geojson", *TODAY),
)
PROGRAM = """
import sys
from click.testing import CliRunner
from habitatlint.cli.main import main
for line in sys.stdin.read().splitlines():
    result = CliRunner().invoke(main, line.split(chr(9)))
    assert result.exit_code in (0, 1), result.output
    sys.stdout.write(result.stdout)
"""


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plans")
    for name in ("ondrey-knob.habitat", "marrowby-forty.habitat", "fallow-ridge.habitat"):
        shutil.copy(ROOT / "examples" / name, folder)
    shutil.copytree(ROOT / "examples" / "shared", folder / "shared")
    return folder


def begin(folder: Path, seed: str) -> subprocess.Popen[bytes]:
    environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen([sys.executable, "-c", PROGRAM], cwd=folder, env=environment,
                            stdin=subprocess.PIPE, stdout=subprocess.PIPE)  # fmt: skip


def test_five_hash_seeds_give_the_same_bytes(plans: Path, tmp_path: Path) -> None:
    asked = "\n".join("\t".join(command) for command in COMMANDS).encode()
    outcomes = set()
    for number, seed in enumerate(SEEDS):
        folder = tmp_path / str(number) / "plans"
        shutil.copytree(plans, folder)
        running = begin(folder, seed)
        printed, _ = running.communicate(asked, timeout=120)
        assert running.returncode == 0 and len(printed) > 10_000
        outcomes.add((printed, (folder / "map.html").read_bytes(), (folder / "out.geojson").read_bytes()))
    assert len(outcomes) == 1


def test_files_in_any_order_and_by_any_number_of_processes_give_the_same_bytes(
    plans: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from click.testing import CliRunner

    from habitatlint.cli.main import main

    monkeypatch.chdir(plans)
    names = sorted(path.name for path in plans.glob("*.habitat"))
    orders = [names, names[::-1], [names[1], names[2], names[0]]]
    # in one process, anew in two, and out of what was kept
    ways = (["--jobs", "1"], ["--jobs", "2", "--no-cache"], [])
    named = {
        CliRunner().invoke(main, ["check", "--as", "json", *way, *TODAY, *order]).stdout
        for way, order in zip(ways, orders, strict=True)
    }
    assert len(named) == 1 and len(named.pop()) > 10_000
    walk = os.walk
    listed = set()
    for turned in (False, True):
        monkeypatch.setattr(os, "walk", lambda path, turned=turned: (
            (top, sorted(folders, reverse=turned), sorted(files, reverse=turned)) for top, folders, files in walk(path)
        ))  # fmt: skip
        listed.add(CliRunner().invoke(main, ["check", "--as", "gnu", *TODAY, "."]).stdout)
    assert len(listed) == 1
