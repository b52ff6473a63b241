"""`winds` as people run it."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from habitatlint.cli.main import main

ROOT = Path(__file__).resolve().parent.parent
PLAN = str(ROOT / "examples" / "thrennow-poles.habitat")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["winds", *arguments, "--today", "2026-02-10"])


def test_it_prints_every_stand() -> None:
    done = run(PLAN)
    assert done.exit_code == 0
    assert "East of the clover (east-stand), in the evening" in done.output
    assert "Where the run turns (south-stand), in the evening" in done.output


def test_one_stand_can_be_asked_for_and_every_sit() -> None:
    done = run(PLAN, "--stand", "east-stand", "--every-sit")
    assert done.exit_code == 0 and "south-stand" not in done.output
    titles = [line for line in done.output.splitlines() if line.startswith("East of the clover (east-stand), ")]
    assert [title.partition("), ")[2] for title in titles] == ["in the morning", "in the evening", "all day"]


def test_it_prints_csv() -> None:
    done = run(PLAN, "--as", "csv")
    assert done.exit_code == 0 and len(done.output.splitlines()) == 1 + 2 * 16


@pytest.mark.parametrize(("ending", "begins"), [(".txt", b"Thrennow"), (".csv", b"stand,"), (".pdf", b"%PDF-"),
                                                (".html", b"<!DOCTYPE html>")])  # fmt: skip
def test_the_files_ending_says_what_is_written(tmp_path: Path, ending: str, begins: bytes) -> None:
    file = tmp_path / f"winds{ending}"
    done = run(PLAN, "-o", str(file), "--stand", "east-stand")
    assert done.exit_code == 0 and file.read_bytes().startswith(begins)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((PLAN, "--stand", "east-stend"), "no stand is called `east-stend`; did you mean `east-stand`?"),
        ((PLAN, "--stand", "\x1b[31m"), "no stand is called `?[31m`; the plan's stands are"),
        ((PLAN, "-o", "winds.docx"), "winds.docx: it is not written so"),
        (("nowhere.habitat",), "nowhere.habitat"),
    ],
)
def test_what_cannot_be_done_is_told_in_one_line(arguments: tuple[str, ...], told: str) -> None:
    done = run(*arguments)
    assert done.exit_code == 2 and told in done.output and len(done.output.splitlines()) == 1
