"""Plans, settings and titles that mean harm, each with what must happen: nothing outside the plan's folder is read,
nothing hangs, nothing steers a terminal, a browser or a spreadsheet, and each is told in a line with its place.

Circles of includes, junk of megabytes and files that are no text stand in `test_command_bad_input`, entities that swell
in `exchange/test_bad_input`, archives in `test_hostile_archives`, titles set in type in `outputs/test_press`.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import time
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from habitatlint.cli.main import FAILED, main

HEAD = 'plan "X"\n'
SECRET = "0b5c-the-secret-of-another"

Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs a command in a folder of its own with the files given; beside it lies what must not be read."""
    folder = tmp_path / "plans"
    folder.mkdir()
    (tmp_path / "secret.habitat").write_text(f'place p "{SECRET}"\n  at 1,1\n')
    (tmp_path / "secret.rules").write_text(f'rule x\n  title "{SECRET}"\n')
    (tmp_path / "secret.png").write_text(SECRET)
    monkeypatch.chdir(folder)

    def invoke(files: dict[str, str], *arguments: str) -> Result:
        for name, text in files.items():
            Path(name).parent.mkdir(parents=True, exist_ok=True)
            Path(name).write_text(text, encoding="utf-8")
        result = CliRunner().invoke(
            main, list(arguments) or ["check", "--as", "gnu", "--today", "2026-02-10", "a.habitat"]
        )
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        assert "a fault of this program" not in result.output and "Traceback" not in result.output
        assert SECRET not in result.output
        return result

    return invoke


# -- what a plan names ----------------------------------------------------------------------------------------

#: ways out of a folder, devices, and what other systems take for either
ELSEWHERE = [
    "../secret.habitat", "a/../../secret.habitat", "./../secret.habitat", "/etc/passwd", "//etc/passwd",
    "..\\\\secret.habitat", "C:secret.habitat", "file:///etc/passwd", "~/secret.habitat", "$HOME/secret.habitat",
    "/dev/zero", "/dev/stdin", "/proc/self/environ", "CON", "NUL", "con.habitat", "COM1", "out", "pipe", "loop",
    "folder", "", ".", "..", "-",
]  # fmt: skip


def _traps() -> None:
    os.symlink("../secret.habitat", "out")
    os.symlink("loop", "loop")
    os.mkfifo("pipe")
    os.mkdir("folder")


@pytest.mark.parametrize("line", ['include "{}"', '  picture "{}" at 0,0 100,100'], ids=["include", "picture"])
def test_no_name_leads_out_of_the_folder_or_to_a_device(run: Run, line: str) -> None:
    """All in one plan, so that what one name does to the next shows too."""
    _traps()
    started = time.perf_counter()
    for name in ELSEWHERE:
        result = run({"a.habitat": HEAD + line.format(name) + "\n"})
        if line.startswith("include"):
            assert re.search(r"^a\.habitat:2:\d+: error: ", result.output, re.M), name
    assert time.perf_counter() - started < 10  # a pipe or /dev/zero would be waited for


def test_no_picture_from_elsewhere_is_drawn(run: Run) -> None:
    _traps()
    for name in ("../secret.png", "/etc/passwd", "/dev/zero", "pipe", "folder", "CON"):
        plan = f'{HEAD}  picture "{name}" at 0,0 100,100\nboundary\n  outline 0,0 100,0 100,100 0,100\n'
        result = run({"a.habitat": plan}, "map", "a.habitat", "-o", "a.html", "--today", "2026-02-10")
        assert "picture" in result.output, name
        assert SECRET not in Path("a.html").read_text()


@pytest.mark.parametrize("name", ["../secret.rules", "/dev/zero", "pipe", "loop", "CON", "a.habitat", "..\\\\x", "c:x"])
def test_no_pack_is_read_that_is_none(run: Run, name: str) -> None:
    _traps()
    result = run({"a.habitat": f'{HEAD}use pack "{name}"\n'})
    assert re.search(r"^a\.habitat:2:\d+: error: .*\(record/pack-trouble\)$", result.output, re.M), result.output


def test_includes_that_go_on_and_on_come_to_an_end(run: Run) -> None:
    files = {f"f{number}.habitat": f'include "f{number + 1}.habitat"\n' for number in range(400)}
    result = run({**files, "f400.habitat": "place end\n  at 1,1\n", "a.habitat": f'{HEAD}include "f0.habitat"\n'})
    assert result.exit_code in (0, 1)  # read to the end, or told where it was given up


# -- what nests, repeats or swells ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("brackets", "place a\n  at " + "(" * 200_000 + "\n"),
        ("indent", "  " * 200_000 + "x\n"),
        ("quotes", 'place a\n  note "' + '\\"' * 100_000 + '"\n  at 1,1\n'),
        ("an open quote", 'place a\n  note "' + "a " * 200_000 + "\n  at 1,1\n"),
        ("lines that go on", "place a\n  at 1,1 \\\n" + " \\\n" * 20_000),
        ("blanks before lines that go on", "place a\n  at 1,1" + (" " * 40 + "\\\n") * 500 + " x\n"),
        ("a name a hundred thousand times", "path lane\n  use entry\n  line 0,0 9,9\nstand s\n  at 10,10\n  reach "
         + "lane " * 100_000 + "\n"),
        ("winds", "stand s\n  at 1,1\n  winds " + "N " * 100_000 + "\n"),
        ("points", "pocket k\n  outline " + " ".join(f"{n % 300},{n // 300}" for n in range(20_000)) + "\n"),
        ("trees", "row r\n  method hinge\n  stumps 0,0 900000,0\n  spacing 0.4\n  fall N\n  dbh 8in\n"),
        ("corridors", "food f\n  outline 200,0 300,0 300,100 200,100\npocket k\n  outline 0,0 100,0 100,100 0,100\n"
         "  corridors every 0.001yd off f width 3ft\n"),
        ("numbers of four hundred digits", f"pocket k\n  outline 0,0 {'9' * 400},0 0,{'9' * 400}\n"),
        ("waivers", "".join(f'waive live-hinge-near-entry on x{n} until 2027-01-01 because "x"\n' for n in range(1500))),
    ],
)  # fmt: skip
def test_what_nests_or_repeats_without_end_is_told_in_seconds(run: Run, what: str, text: str) -> None:
    started = time.process_time()
    result = run({"a.habitat": HEAD + text})
    assert result.exit_code in (0, 1), what
    assert time.process_time() - started < 8, what


# -- what steers a terminal -----------------------------------------------------------------------------------

#: an escape that clears a screen, a bell, a carriage return's way back, marks that turn text about, an invisible blank
STEERING = "\x1b[2J\x07\x9b31m\u202egnp.exe\u2066\u200b\u2028"
RAW = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]")
FARM = (
    'plan "{say}"\n  anchor 43.7120N,90.6210W\nboundary\n  outline 0,0 440,0 440,440 0,440\n  note "{say}"\npath lane "{say}"\n  use entry\n'
    '  line 0,40 300,40\nstand oak "{say}"\n  at 300,40\n  reach lane\n  winds N\ncrew saws "{say}"\n  people 2\n'
    'pocket thicket "{say}"\n  outline 100,200 200,200 200,300 100,300\n  bed 150,250\n'
    'row screen "{say}"\n  method hinge\n  stumps 60,46 180,46\n  spacing 10\n  fall N\n  dbh 6in..9in\n  note "{say}"\n'
    'work\n  step 1 2026-02-10..2026-02-12 "{say}"\n    cut screen\n'
    'waive live-hinge-near-entry on screen until 2027-01-01 because "{say}"\n'
)
PAGES = [
    ["check", "a.habitat"], ["check", "--as", "gnu", "a.habitat"], ["rules", "--at", "a.habitat:20"],
    ["rules", "live-hinge-near-entry", "--at", "a.habitat:20"], ["mend", "--patch", "a.habitat"],
    ["mend", "--why", "a.habitat"], ["work", "a.habitat"], ["tally", "--quick", "a.habitat"], ["winds", "a.habitat"],
    ["compare", "a.habitat", "b.habitat"], ["handover", "a.habitat"], ["work", "--as", "csv", "a.habitat"],
]  # fmt: skip


def test_no_word_of_a_plan_steers_a_terminal(run: Run) -> None:
    farm = FARM.format(say=STEERING)
    run({"a.habitat": farm, "b.habitat": farm.replace("46 180,46", "50 180,50")})
    for command in PAGES:
        result = run({}, *command, "--today", "2026-02-10")
        assert result.output, command
        patch = command[:2] == ["mend", "--patch"]  # a patch must hold the plan's bytes, or git would not take it
        assert patch or not RAW.search(result.output), (command, RAW.search(result.output))


def test_no_path_or_option_steers_a_terminal(run: Run) -> None:
    for command in (["check", STEERING], ["rules", STEERING], ["words", STEERING], ["rules", "--at", f"{STEERING}:3"],
                    ["map", STEERING, "-o", "x.pdf"], ["check", "--baseline", STEERING, "a.habitat"]):  # fmt: skip
        result = run({"a.habitat": HEAD}, *command)
        assert result.exit_code == FAILED, command
        assert not RAW.search(result.output), (command, result.output)


# -- what runs in a browser, a drawing or a spreadsheet ----------------------------------------------------------

MARKUP = "</title></script><script>alert(1)</script><img src=x onerror=alert(1)>&lt;]]>#eval(1)$x$"


@pytest.mark.parametrize("command", ["map", "handover", "work", "tally", "winds"])
def test_a_title_is_no_markup_of_a_page(run: Run, command: str) -> None:
    run({"a.habitat": FARM.format(say=MARKUP)})
    quick = ["--quick"] if command == "tally" else []
    result = run({}, command, "a.habitat", "-o", "a.html", "--today", "2026-02-10", *quick)
    assert result.exit_code == 0, result.output
    page = Path("a.html").read_text(encoding="utf-8")
    assert "alert(1)" in page  # the words are there
    assert "<script>alert" not in page and "<img src=x" not in page


def test_a_title_is_no_markup_of_a_drawing_or_an_export(run: Run) -> None:
    run({"a.habitat": FARM.format(say=MARKUP)})
    for form in ("svg", "gpx", "kml"):
        command = "map" if form == "svg" else "export"
        assert run({}, command, "a.habitat", "-o", f"a.{form}", "--today", "2026-02-10").exit_code == 0
        written = sorted(Path().glob(f"a*.{form}"))  # a map of long titles takes several sheets
        tags = {one.tag.rpartition("}")[2] for path in written for one in ElementTree.parse(path).iter()}
        assert len(tags) > 3 and not tags & {"script", "img", "foreignObject"}
    run({}, "export", "a.habitat", "-o", "a.geojson", "--today", "2026-02-10")
    assert "alert(1)" in json.dumps(json.loads(Path("a.geojson").read_text(encoding="utf-8")))


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t=", " ="])
def test_no_cell_of_a_table_is_a_formula(run: Run, sign: str) -> None:
    farm = FARM.format(say=f"{sign}HYPERLINK(1)")
    run({"a.habitat": farm, "b.habitat": farm.replace("46 180,46", "50 180,50")})
    seen = 0
    for command in (["work", "a.habitat"], ["tally", "--quick", "a.habitat"], ["winds", "a.habitat"],
                    ["compare", "a.habitat", "b.habitat"]):  # fmt: skip
        table = run({}, *command, "--as", "csv", "--today", "2026-02-10").output
        cells = [cell for row in csv.reader(io.StringIO(table)) for cell in row]
        assert cells
        seen += sum("HYPERLINK" in cell for cell in cells)
        # a figure may be less than nothing; anything else that begins so is not read as a formula
        bad = [cell for cell in cells if cell.lstrip()[:1] in tuple("=+-@") and not re.fullmatch(r"[+-]?[\d.]+", cell)]
        assert not bad, (command, bad)
    assert seen


# -- settings --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        'packs = ["../secret.rules"]\n',
        'packs = ["/dev/zero"]\n',
        'packs = ["pipe"]\n',
        f'packs = ["{chr(0x202E)}x"]\n',
        'levels = { "a\\u001b[2Jb" = "off" }\n',
        'limits = { "live-hinge-near-entry.clearance" = "1yd\\nlevel stand-in-bad-tree off" }\n',
        "exclude = " + "[" * 5000 + "]" * 5000 + "\n",
        'today = "\\u001b[2J"\n',
        "a = " + "{b = " * 3000 + "1" + "}" * 3000 + "\n",
    ],
    ids=["out", "device", "pipe", "bidi", "control", "a line more", "lists in lists", "day", "tables in tables"],
)
def test_settings_that_mean_harm_are_told_in_one_line(run: Run, text: str) -> None:
    _traps()
    result = run({"habitatlint.toml": text, "a.habitat": HEAD}, "rules")
    assert result.exit_code == FAILED
    assert result.stdout == "" and result.stderr.count("\n") == 1
    assert not RAW.search(result.output), result.output


def test_a_pattern_of_settings_is_matched_at_once(run: Run) -> None:
    from habitatlint.settings import Settings

    started = time.process_time()
    pattern = "**/" * 12 + "*a" * 12 + "b"
    assert not Settings(path=os.path.abspath("habitatlint.toml"), exclude=(pattern,)).excludes("a/" * 30 + "a" * 60)
    assert time.process_time() - started < 2
