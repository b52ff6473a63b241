"""`map` as people run it: files, names, what is told, and files left alone."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from habitatlint.files import FileTrouble, write_files

ROOT = Path(__file__).resolve().parent.parent

PLAN = """\
plan "Long reach"

boundary
  outline 0,0 880,0 880,440 0,440

pocket cover
  outline 60,60 160,60 160,120 60,120

path lane
  use entry
  line 0,20 300,20

stand seat
  at 302,22
  reach lane
  winds W NW
"""

SIGNATURES = {".pdf": b"%PDF-", ".png": b"\x89PNG\r\n", ".svg": b"<svg ", ".html": b"<!DOCTYPE html>"}


def run(*arguments: str, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """`map` in a process of its own, as from a shell, off a terminal."""
    return subprocess.run(
        [sys.executable, "-m", "habitatlint", "map", *arguments], cwd=cwd, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "reach.habitat").write_text(PLAN, encoding="utf-8")
    return tmp_path


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()} - {"reach.habitat"}


@pytest.mark.parametrize("ending", SIGNATURES)
def test_the_files_ending_says_what_is_written(folder: Path, ending: str) -> None:
    done = run("reach.habitat", "-o", f"map{ending}", "--today", "2026-02-10", cwd=folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert names(folder) == {f"map{ending}"}
    assert (folder / f"map{ending}").read_bytes().startswith(SIGNATURES[ending])
    assert done.stdout.startswith(f"map{ending}: ") and done.stdout.count("\n") == 1


def test_what_was_printed_is_told_with_paper_and_scale(folder: Path) -> None:
    done = run("reach.habitat", "-o", "map.pdf", "--paper", "legal", "--scale", "1 in = 400 ft", cwd=folder)
    assert "1 sheet of legal, " in done.stdout and "1 in = 400 ft, 1:4800" in done.stdout


def test_several_sheets_are_numbered_files_of_pictures_and_one_pdf(folder: Path) -> None:
    for ending in (".png", ".svg", ".pdf"):
        done = run("reach.habitat", "-o", f"map{ending}", "--scale", "1:3000", cwd=folder)
        assert done.returncode == 0, done.stderr
    pages = {name for name in names(folder) if name.endswith(".png")}
    assert {"map-1.png", "map-2.png"} <= pages and "map.png" not in pages
    assert {name.replace(".png", ".svg") for name in pages} == {name for name in names(folder) if name.endswith(".svg")}
    assert {name for name in names(folder) if name.endswith(".pdf")} == {"map.pdf"}


def test_a_map_is_written_over_an_older_one(folder: Path) -> None:
    (folder / "map.svg").write_text("older", encoding="utf-8")
    done = run("reach.habitat", "-o", "map.svg", cwd=folder)
    assert done.returncode == 0 and (folder / "map.svg").read_bytes().startswith(b"<svg ")
    umask = os.umask(0)
    os.umask(umask)
    assert stat.S_IMODE((folder / "map.svg").stat().st_mode) == 0o666 & ~umask


def test_one_wind_is_drawn_and_named(folder: Path) -> None:
    plain, windy = (folder / "plain.svg", folder / "windy.svg")
    assert run("reach.habitat", "-o", plain.name, cwd=folder).returncode == 0
    assert run("reach.habitat", "-o", windy.name, "--wind-from", "nw", cwd=folder).returncode == 0
    assert len(windy.read_bytes()) > len(plain.read_bytes())


def test_the_same_bytes_whatever_the_seed_of_hashes(folder: Path) -> None:
    for seed in ("1", "2"):
        run("reach.habitat", "-o", f"{seed}.pdf", "--today", "2026-02-10", cwd=folder, PYTHONHASHSEED=seed)
    assert (folder / "1.pdf").read_bytes() == (folder / "2.pdf").read_bytes()


def test_a_plan_with_errors_draws_what_is_whole(folder: Path) -> None:
    (folder / "half.habitat").write_text(PLAN + "\nfood plot\n  kind plot\n  outline 1,1 9,\n", encoding="utf-8")
    done = run("half.habitat", "-o", "map.svg", cwd=folder)
    assert done.returncode == 0
    assert b">cover<" in (folder / "map.svg").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("-o", "map.gif"), "map.gif: no map is written so; end the file in .pdf, .svg, .png or .html"),
        (("-o", "map"), "map: no map is written so"),
        (("-o", "map.pdf", "--paper", "foolscap"), "paper `foolscap` is not known: it is letter, legal, tabloid"),
        (("-o", "map.pdf", "--scale", "big"), "scale `big` cannot be read: write it as '1:2400'"),
        (("-o", "map.pdf", "--scale", "1:20"), "1:20 takes more than 40 sheets of letter: give a coarser scale"),
        (("-o", "map.pdf", "--pocket", "cove"), "no pocket is called `cove`; did you mean `cover`?"),
        (("-o", "map.pdf", "--wind-from", "NNN"), "no wind is called `NNN`; "),
        (("-o", "map.html", "--paper", "a4"), "a page has no sheets"),
        (("-o", "away/map.pdf"), "away/map.pdf: cannot be written: no such file or directory"),
        (("-o", "reach.habitat/map.pdf"), "reach.habitat/map.pdf: cannot be written: not a directory"),
    ],
)
def test_what_cannot_be_done_is_told_in_one_line_and_nothing_written(
    folder: Path, arguments: tuple[str, ...], said: str
) -> None:
    done = run("reach.habitat", *arguments, cwd=folder)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith(f"habitatlint: {said}") and done.stderr.count("\n") == 1
    assert names(folder) == set()
    assert (folder / "reach.habitat").read_text(encoding="utf-8") == PLAN


def test_a_plan_that_is_not_there_is_told(folder: Path) -> None:
    done = run("gone.habitat", "-o", "map.pdf", cwd=folder)
    assert done.returncode == 2 and done.stderr.startswith("habitatlint: gone.habitat: no such file")


# -- files -------------------------------------------------------------------------------------------------


def test_a_set_of_files_is_written_whole_or_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk gives out at the second of three."""
    paths = [str(tmp_path / f"{number}.png") for number in (1, 2, 3)]
    replace, calls = os.replace, []

    def failing(source: str, target: str) -> None:
        calls.append(target)
        if len(calls) == 2:
            raise OSError(28, "No space left on device")
        replace(source, target)

    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(
        FileTrouble,
        match=r"2\.png: cannot be written: no space left on device; give another folder or name \(written already: .*1\.png\)",
    ):
        write_files(dict.fromkeys(paths, b"data"))
    assert {path.name for path in tmp_path.iterdir()} == {"1.png"}


def test_no_file_of_a_set_is_written_where_one_cannot_be(tmp_path: Path) -> None:
    (tmp_path / "2.png").mkdir()
    with pytest.raises(FileTrouble, match=r"2\.png: a folder; give the name of a file"):
        write_files({str(tmp_path / "1.png"): b"one", str(tmp_path / "2.png"): b"two"})
    assert {path.name for path in tmp_path.iterdir()} == {"2.png"}
