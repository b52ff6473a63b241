"""Bad files: the command says in one line what is wrong and what to do, and never fails by itself."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from habitatlint.cli.main import FAILED, FOUND, main

HEAD = b'plan "X"\n'
POCKET = b"pocket west\n  outline 0,0 40,0 40,40\n"

Check = Callable[..., Result]


@pytest.fixture
def check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Check:
    """Runs `check` in a folder that has the files given, on those or on what is named."""
    monkeypatch.chdir(tmp_path)

    def run(files: dict[str, bytes], *paths: str) -> Result:
        for name, data in files.items():
            (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / name).write_bytes(data)
        arguments = ["check", "--as", "gnu", "--today", "2026-02-10", *(paths or files)]
        result = CliRunner().invoke(main, arguments)
        assert not isinstance(result.exception, Exception) or isinstance(result.exception, SystemExit)
        assert "Traceback" not in result.output and "a fault of this program" not in result.output
        return result

    return run


def errors(result: Result) -> list[str]:
    return [line for line in result.stdout.splitlines() if ": error: " in line]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (
            HEAD + 'place gate "Grüner Weg"\n'.encode("latin-1"),
            "a.habitat:2: not UTF-8 text (byte 23); save it as UTF-8",
        ),
        ((HEAD + POCKET).decode().encode("utf-16"), "a.habitat:1: not UTF-8 text (byte 0); save it as UTF-8"),
        (bytes(range(256)) * 20, "a.habitat: a binary file, not a plan"),
        (HEAD + b"\0\0\0", "a.habitat: a binary file, not a plan"),
        (HEAD + b"# words\n" * 1_300_000, "a.habitat: larger than 8 MB; split it with `include`"),
    ],
    ids=["latin-1", "utf-16", "binary", "null", "10 MB"],
)
def test_a_file_that_is_no_text_of_a_plan(check: Check, data: bytes, said: str) -> None:
    result = check({"a.habitat": data})
    assert result.exit_code == FAILED
    assert result.stdout == ""
    assert result.stderr.startswith("habitatlint: a.habitat") and said in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_missing_file_and_a_folder_without_plans(check: Check, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    result = check({}, "nowhere.habitat", "empty")
    assert result.exit_code == FAILED
    assert result.stderr.splitlines() == [
        "habitatlint: nowhere.habitat: no such file; give the path of a plan or a folder of plans",
        "habitatlint: empty: no plans here; plans end in .habitat",
    ]


def test_one_bad_file_keeps_no_other_from_being_checked(check: Check) -> None:
    result = check({"good.habitat": HEAD + b"pocket west\n", "bad.habitat": b"\xff\xfe"})
    assert result.exit_code == FAILED
    assert errors(result) == [
        "good.habitat:2:1: error: pocket west needs `outline`, its outline (record/missing-property)"
    ]
    assert "bad.habitat:1: not UTF-8 text" in result.stderr


def test_an_empty_file_is_a_finding(check: Check) -> None:
    result = check({"a.habitat": b""})
    assert result.exit_code == FOUND
    assert errors(result) == [
        'a.habitat:1:1: error: this file, which is empty, needs a head that begins it: `plan "TITLE"` '
        "(record/missing-property)"
    ]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "marked"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"], ids=["lf", "crlf"])
def test_encoding_marks_and_line_ends_move_no_place(check: Check, mark: bytes, end: bytes) -> None:
    text = (HEAD + POCKET + b"  fro does\n").replace(b"\n", end)
    result = check({"a.habitat": mark + text})
    assert errors(result) == [
        "a.habitat:4:3: error: `fro` is not a word known here; did you mean `for`? (record/unknown-word)"
    ]


def test_includes_that_go_in_a_circle_or_out_of_the_folder(check: Check, tmp_path: Path) -> None:
    (tmp_path / "plans").mkdir()
    os.symlink(tmp_path, tmp_path / "plans" / "way-out")
    files = {
        "outside.habitat": b"place gate\n  at 0,0\n",
        "plans/a.habitat": HEAD
        + b'include "b.habitat"\ninclude "../outside.habitat"\ninclude "way-out/outside.habitat"\ninclude "/etc/hosts"\n'
        + b'include "nowhere.habitat"\ninclude "binary.habitat"\n',
        "plans/b.habitat": b'include "a.habitat"\n',
        "plans/binary.habitat": b"\0",
    }
    result = check(files, "plans/a.habitat")
    assert result.exit_code == FOUND
    said = [line.replace("cannot be brought in", "-") for line in errors(result)]
    assert said[0] == (
        "plans/a.habitat:3:9: error: `../outside.habitat` -: it leads out of the plan's folder (record/include-trouble)"
    )
    assert said[1].startswith(
        "plans/a.habitat:4:9: error: `way-out/outside.habitat` -: it leads out of the plan's folder"
    )
    assert said[2].startswith(
        "plans/a.habitat:5:9: error: `/etc/hosts` -: an include is a path from this file's folder"
    )
    assert said[3].startswith("plans/a.habitat:6:9: error: `nowhere.habitat` -: there is no such file")
    assert said[4].startswith("plans/a.habitat:7:9: error: `binary.habitat` -: a binary file, not a plan")
    assert said[5] == (
        "plans/b.habitat:1:9: error: `a.habitat` -: the files include each other in a circle (record/include-trouble)"
    )
    assert len(said) == 6


def test_a_file_that_includes_itself_and_one_of_other_units(check: Check) -> None:
    files = {"a.habitat": HEAD + b'include "a.habitat"\ninclude "b.habitat"\n', "b.habitat": b'plan "Y"\n  units m\n'}
    result = check(files, "a.habitat")
    assert errors(result) == [
        "a.habitat:2:9: error: `a.habitat` cannot be brought in: the files include each other in a circle "
        "(record/include-trouble)",
        "a.habitat:3:9: error: `b.habitat` cannot be brought in as it is: its units are m and the plan's yd, so its "
        "lengths without a unit are read in yd (record/include-trouble)",
    ]


MEGABYTE = 1_000_000


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b"  outline " + b"0,0 " * (MEGABYTE // 4), "3:3: error: more than 20000 points in one line"),
        (
            b"  outline " + b"(" * MEGABYTE,
            "3:11: error: expected a point such as `120,45`, `around`, `beside` or `from`",
        ),
        (
            b"  outline " + b"9" * MEGABYTE,
            "3:11: error: expected a point such as `120,45` (east, a comma, north), not `999",
        ),
        (b'  note "' + b"x" * MEGABYTE, "3:8: error: expected a closing quotation mark after these words"),
        (b"x" * MEGABYTE, "3:1: error: `xxx"),
    ],
    ids=["points", "brackets", "digits", "quote", "word"],
)
def test_one_line_of_a_megabyte(check: Check, line: bytes, said: str) -> None:
    start = time.perf_counter()
    result = check({"a.habitat": HEAD + b"pocket west\n" + line + b"\n"})
    assert time.perf_counter() - start < 60  # slow is borne, a hang is not
    found = [one for one in errors(result) if one.startswith(f"a.habitat:{said}")]
    assert len(found) == 1
    assert all(len(one) < 300 for one in result.stdout.splitlines())


def test_an_included_head_without_units_fits_any_plan(check: Check) -> None:
    files = {"a.habitat": b'plan "X"\n  units m\ninclude "b.habitat"\n', "b.habitat": b'plan "Y"\n' + POCKET}
    assert errors(check(files, "a.habitat")) == []


UNREAD = (
    "so many lines above cannot be read that this looks like no plan: {} more lines from here on are not read "
    "(record/bad-value)"
)


def test_a_thousand_broken_lines_are_told_and_the_rest_as_one(check: Check) -> None:
    result = check({"a.habitat": HEAD + POCKET + b"  qqq\n" * 1500})
    assert len([line for line in errors(result) if "`qqq` is not a word known here" in line]) == 1000
    assert errors(result)[-1] == f"a.habitat:1004:3: error: {UNREAD.format(500)}"
    whole = check({"a.habitat": HEAD + POCKET + b"  qqq\n" * 1000})
    assert len(errors(whole)) == 1000 and "looks like no plan" not in whole.stdout


@pytest.mark.parametrize(
    "lines",
    ["the deer lie in oak tops\n", "  the deer lie in oak tops\n", "outline 0,0 1,1\n", "row 8in\n  dbh x\n"],
    ids=["margin", "indented", "properties at the margin", "heads"],
)
def test_eight_megabytes_of_junk_do_not_take_minutes(check: Check, lines: str) -> None:
    junk = lines.encode() * (7_900_000 // len(lines))
    start = time.perf_counter()
    found = errors(check({"a.habitat": HEAD + POCKET + junk}))
    assert time.perf_counter() - start < 10
    assert len([line for line in found if "this looks like no plan" in line]) == 1


def test_many_lines_that_run_on_are_read_in_step_with_their_number(check: Check) -> None:
    start = time.perf_counter()
    result = check({"a.habitat": HEAD + b"pocket west\n  outline 0,0\n" + b"    1,1 2,2\n" * 60_000})
    assert time.perf_counter() - start < 20
    assert "a.habitat:3:3: error: more than 20000 points in one line" in result.stdout
