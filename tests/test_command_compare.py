"""`compare` as people run it."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from real_parts import program

from habitatlint.cli.main import main

ROOT = Path(__file__).resolve().parent.parent
BEFORE, AFTER = (str(ROOT / "examples" / f"{name}.habitat") for name in ("thrennow-poles", "thrennow-poles-built"))


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["compare", *arguments, "--today", "2027-08-10"])


def test_a_file_beside_itself_has_changed_in_nothing() -> None:
    done = run(AFTER, AFTER)
    assert done.exit_code == 0 and "Nothing changed; 11 findings stayed." in done.output


def test_it_tells_what_became_of_a_design() -> None:
    done = run(BEFORE, AFTER)
    assert done.exit_code == 0
    for told in (
        "Before: ", "a design, of 2026-01-20", "as built, of 2027-08-02",
        "Blocks: 5 new, 1 gone, 7 changed. Trees: 14 came out otherwise than planned. Findings: 11 came, 5 went, 0",
        "error, new: tree hung-maple hangs, and can come down on path east-lane",
        "fell toward 180 deg (S), planned 0 deg (N): off by 180 deg",
        "path culvert-lane     was called south-lane",
        "moved 5.4 yd NNE",
    ):  # fmt: skip
        assert told in done.output


def test_it_prints_csv() -> None:
    done = run(BEFORE, AFTER, "--as", "csv")
    assert done.exit_code == 0 and done.output.startswith("what,kind,name,")
    assert "block,path,culvert-lane,south-lane,renamed" in done.output


def test_small_changes_of_place_can_be_left_aside() -> None:
    done = run(BEFORE, AFTER, "--least", "6yd")
    assert done.exit_code == 0 and "moved 5.4 yd" not in done.output
    assert "As was asked, it is not told that one block lies less than 6 yd off." in done.output


@pytest.mark.parametrize("ending", [".pdf", ".html"])
def test_on_paper_it_has_a_map_of_both(tmp_path: Path, ending: str) -> None:
    file = tmp_path / f"both{ending}"
    assert run(BEFORE, AFTER, "-o", str(file)).exit_code == 0
    written = file.read_bytes()
    assert written.startswith(b"%PDF-" if ending == ".pdf" else b"<!DOCTYPE html>")
    if ending == ".html":
        assert written.count(b'<figure class="sheet">') >= 3, "the whole, and two pockets enlarged"
        return
    pages = subprocess.run([program("pdfinfo"), str(file)], capture_output=True, text=True, check=True).stdout
    text = subprocess.run([program("pdftotext"), str(file), "-"], capture_output=True, text=True, check=True).stdout
    assert int(pages.split("Pages:")[1].split()[0]) >= 6
    assert "how a tree lay before" in text and "where something stood before" in text and "new since" in text


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((BEFORE, "nowhere.habitat"), "nowhere.habitat"),
        ((BEFORE, AFTER, "--least", "far"), "`far` is no length: write it as 5 or 5yd"),
        ((BEFORE, AFTER, "-o", "both.doc"), "both.doc: it is not written so"),
    ],
)
def test_what_cannot_be_done_is_told_in_one_line(arguments: tuple[str, ...], told: str) -> None:
    done = run(*arguments)
    assert done.exit_code == 2 and told in done.output and len(done.output.splitlines()) == 1
