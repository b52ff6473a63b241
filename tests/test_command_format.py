"""`format` as people run it: in place, as a diff, through a pipe, on files of every kind."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest
from real_parts import program
from test_command import run

ROUGH = b'plan "A farm"\n\tstage   design\nplace gate\n   at 1,2 # here\n'
NEAT = b'plan "A farm"\n  stage design\n\nplace gate\n  at 1,2  # here\n'


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    path = tmp_path / "farm.habitat"
    path.write_bytes(ROUGH)
    return path


def test_plans_are_laid_out_in_place_and_neat_ones_not_touched(farm: Path) -> None:
    below = farm.parent / "below"
    below.mkdir()
    neat = below / "neat.habitat"
    neat.write_bytes(NEAT)
    (below / "notes.txt").write_bytes(ROUGH)
    os.utime(neat, ns=(10**18, 10**18))
    done = run("format", ".", cwd=farm.parent)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "farm.habitat: laid out\n")
    assert farm.read_bytes() == NEAT and neat.stat().st_mtime_ns == 10**18
    assert (below / "notes.txt").read_bytes() == ROUGH
    again = run("format", ".", cwd=farm.parent)
    assert (again.returncode, again.stdout, again.stderr) == (0, "", "")


def test_check_changes_nothing_and_shows_what_would_change(farm: Path) -> None:
    before = farm.stat().st_mtime_ns, farm.stat().st_ino
    done = run("format", "--check", "farm.habitat", cwd=farm.parent)
    assert done.returncode == 1 and done.stderr == ""
    assert done.stdout.startswith("--- a/farm.habitat\n+++ b/farm.habitat\n@@ ")
    assert "-\tstage   design\n+  stage design\n+\n" in done.stdout
    assert (farm.stat().st_mtime_ns, farm.stat().st_ino) == before and farm.read_bytes() == ROUGH
    farm.write_bytes(NEAT)
    done = run("format", "--check", "farm.habitat", cwd=farm.parent)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@pytest.mark.parametrize("rough", [ROUGH, ROUGH.replace(b"\n", b"\r\n"), b"\xef\xbb\xbf" + ROUGH, ROUGH[:-1]])
def test_the_diff_is_one_that_git_applies(farm: Path, rough: bytes) -> None:
    program("git")
    farm.write_bytes(rough)
    subprocess.run(["git", "init", "-q"], cwd=farm.parent, check=True)
    diff = run_bytes("format", "--check", "farm.habitat", cwd=farm.parent)
    applied = subprocess.run(["git", "apply"], cwd=farm.parent, input=diff, capture_output=True, check=False)
    assert applied.returncode == 0, applied.stderr
    patched = farm.read_bytes()
    farm.write_bytes(rough)
    run("format", "farm.habitat", cwd=farm.parent)
    assert farm.read_bytes() == patched != rough


def run_bytes(*arguments: str, cwd: Path, stdin: bytes = b"") -> bytes:
    import sys

    root = Path(__file__).resolve().parent.parent
    return subprocess.run(
        [sys.executable, "-m", "habitatlint", *arguments], cwd=cwd, input=stdin, capture_output=True, check=False,
        env={**os.environ, "PYTHONPATH": str(root)},
    ).stdout  # fmt: skip


def test_a_plan_goes_through_a_pipe_byte_for_byte(tmp_path: Path) -> None:
    for rough, neat in ((ROUGH, NEAT), (NEAT, NEAT), (b"", b"")):
        assert run_bytes("format", "-", cwd=tmp_path, stdin=rough) == neat
    marked, ends = b"\xef\xbb\xbf" + ROUGH, NEAT.replace(b"\n", b"\r\n")
    assert run_bytes("format", "-", cwd=tmp_path, stdin=marked) == b"\xef\xbb\xbf" + NEAT
    assert run_bytes("format", "-", cwd=tmp_path, stdin=ROUGH.replace(b"\n", b"\r\n")) == ends
    done = run("format", "--check", "-", cwd=tmp_path, stdin=ROUGH)
    assert done.returncode == 1 and done.stdout.startswith("--- a/standard-input.habitat\n")
    assert list(tmp_path.iterdir()) == []


def test_encoding_mark_line_ends_and_mode_are_kept(farm: Path) -> None:
    lines = ROUGH.split(b"\n")
    mixed = b"\xef\xbb\xbf" + b"\r\n".join(lines[:3]) + b"\n" + b"\r\n".join(lines[3:])
    farm.write_bytes(mixed)
    farm.chmod(0o604)
    assert run("format", "farm.habitat", cwd=farm.parent).returncode == 0
    assert farm.read_bytes() == b"\xef\xbb\xbf" + NEAT.replace(b"\n", b"\r\n")
    assert farm.stat().st_mode & 0o777 == 0o604


def test_a_broken_block_is_left_and_the_rest_laid_out(farm: Path) -> None:
    broken = b"pocket   oak\n\toutline 0,0  1,,1\n"
    farm.write_bytes(broken + ROUGH)
    assert run("format", "farm.habitat", cwd=farm.parent).returncode == 0
    assert farm.read_bytes() == broken + NEAT


def test_a_link_is_followed_and_stays(farm: Path) -> None:
    link = farm.parent / "link.habitat"
    link.symlink_to("farm.habitat")
    assert run("format", "link.habitat", cwd=farm.parent).returncode == 0
    assert link.is_symlink() and farm.read_bytes() == NEAT


def test_what_cannot_be_rewritten_is_told_in_a_line_each_and_the_rest_is_done(farm: Path) -> None:
    folder = farm.parent
    for name in ("locked", "linked"):
        (folder / f"{name}.habitat").write_bytes(ROUGH)
    (folder / "locked.habitat").chmod(0o444)
    os.link(folder / "linked.habitat", folder / "other")
    os.mkfifo(folder / "pipe.habitat")
    (folder / "latin.habitat").write_bytes(b'plan "\xe9"\n')
    (folder / "empty").mkdir()
    asked = ["missing", "empty", "/dev/null", "pipe", "locked", "linked", "latin", "farm"]
    done = run("format", *(name if "/" in name or name == "empty" else f"{name}.habitat" for name in asked), cwd=folder)
    assert done.returncode == 2 and done.stdout == ""
    assert sorted(done.stderr.splitlines()) == sorted(
        [
            "farm.habitat: laid out",
            "habitatlint: missing.habitat: no such file; give the path of a plan or a folder of plans",
            "habitatlint: empty: no plans here; plans end in .habitat",
            "habitatlint: /dev/null: not a plain file; give a plan, a folder, or - for standard input",
            "habitatlint: pipe.habitat: not a plain file; give a plan, a folder, or - for standard input",
            "habitatlint: locked.habitat: may not be written; make it writable, or work on a copy",
            "habitatlint: linked.habitat: has other names (hard links) that would keep the old text; give it one name",
            "habitatlint: latin.habitat:1: not UTF-8 text (byte 6); save it as UTF-8",
        ]
    )
    assert farm.read_bytes() == NEAT and (folder / "locked.habitat").read_bytes() == ROUGH
    assert not [path for path in folder.iterdir() if path.name.startswith(".habitatlint-")]
    checked = run("format", "--check", "missing.habitat", "locked.habitat", cwd=folder)
    assert checked.returncode == 2 and "+++ b/locked.habitat" in checked.stdout
