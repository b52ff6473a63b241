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
import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from click.testing import CliRunner, Result

from habitatlint import check
from habitatlint.check import Report
from habitatlint.cli.main import FAILED, main
from habitatlint.findings import Policy
from habitatlint.ground.record import record
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Pocket
from habitatlint.language.plan import read_plan
from habitatlint.measures.corridors import to_next_corridor
from habitatlint.measures.vocabulary import Rows
from habitatlint.measures.walk import breach, walks_of
from habitatlint.reading.blocks import Parsed, Placed
from habitatlint.reading.grammar import Statement
from habitatlint.review import Review
from habitatlint.source import Source
from habitatlint.units import YARD

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


# -- what is long -----------------------------------------------------------------------------------------------

Ask = Callable[[Scene], object]


def square(at: int, side: int) -> str:
    return f"{at},{at} {at + side},{at} {at + side},{at + side} {at},{at + side}"


def many(number: int, line: str) -> str:
    return "".join(line.replace("#", str(each)) for each in range(number))


POCKET = f"pocket k\n  outline {square(0, 300)}\n"
POCKETS = "pocket k#\n  outline #,0 #,9 0,9\n"
ROWS = "row r#\n  method hinge\n  stumps #,0 #,9\n  count 1\n  dbh 8in\n"
MIX = 'mix m "M"\n  label "1-2"\n'
FOOD = "food f\n  outline 1400,0 1500,0 1500,9 1400,9\n"


def walked(scene: Scene) -> object:
    return breach(scene, Rows("stands", np.array([0]))).value.values[0]


def apart(scene: Scene) -> object:
    return to_next_corridor(scene, Rows("corridors", np.arange(scene.table("corridors").size))).value.values.max()


#: what is written so many times over, and what is asked of it
LONG: dict[str, tuple[Callable[[int], str], Ask]] = {
    "paths of one walk": (
        lambda n: many(n, "path p#\n  use entry\n  line #,0 #,5\n") + "stand s\n  at 9,9\n  reach " + many(n, "p# "),
        walked,
    ),
    "corridors of one pocket": (
        lambda n: f"{FOOD}pocket k\n  outline {square(0, n)}\n  corridors every 1yd off f width 3ft\n", apart,
    ),
    "paths through pockets": (
        lambda n: many(n, "pocket k#\n  outline #0,0 #9,0 #9,9 #0,9\npath p#\n  use corridor\n  line #5,-9 #5,19\n"),
        lambda scene: scene.table("corridors").size,
    ),
    "treatments": (
        lambda n: many(n, ROWS) + MIX + many(n, "treatment t#\n  of r#\n  mix m\n"),
        lambda scene: scene.trees.treated.sum(),
    ),
    "shared trees": (
        lambda n: many(n, 'trees\n  note "x"\n') + many(n, ROWS),
        lambda scene: len(scene.trees),
    ),
    "patches in pockets": (
        lambda n: many(n, POCKETS) + many(n, "patch p#\n  method hinge\n  density 20/ac\n  outline -9,0 0,0 0,9\n"),
        lambda scene: scene.table("pockets").column("cut").values.sum(),
    ),
    "stands, each with its gate and path": (
        lambda n: many(n, "place g#\n  kind gate\n  at #000,0\npath p#\n  use entry\n  line #000,0 #000,5\n"
                          "stand s#\n  at #000,9\n  reach p#\n"),
        lambda scene: [walks_of(scene), *(scene.table("stands").column(one) for one in ("passing", "other-ways"))],
    ),
    "foods between roads": (
        lambda n: f"boundary\n  outline {square(0, 9999)}\n"
                  + many(n, "hazard h#\n  kind road\n  line #0,0 #0,99\nfood f#\n  at #0,50\n  radius 2\n"),
        lambda scene: scene.table("foods").column("core"),
    ),
    "rows outside of their pocket": (
        lambda n: many(n, POCKETS) + many(n, ROWS.replace("#,0 #,9", "-9,-9 0,-9") + "  in k1\n"),
        lambda scene: len(record(scene)),
    ),
}  # fmt: skip


@pytest.fixture
def scene_of(review: Review) -> Callable[[str], Scene]:
    def lay_out(text: str) -> Scene:
        scene = Scene(read_plan(Source("a.habitat", HEAD + text), review.plan_grammar))
        review.vocabulary.attach(scene)
        return scene

    return lay_out


def calls(work: Callable[[], object]) -> int:
    """How many functions are called: the same on any machine, busy or not."""
    count = 0

    def one_more(frame: object, event: str, argument: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(one_more)
    try:
        work()
    finally:
        sys.setprofile(before)
    return count


@pytest.mark.parametrize("what", LONG)
def test_work_grows_with_the_length_of_a_plan_and_not_with_its_square(
    scene_of: Callable[[str], Scene], what: str
) -> None:
    text, ask = LONG[what]
    ask(scene_of(text(3)))  # what is read only once is read
    few, lots = (calls(lambda number=number: ask(scene_of(text(number)))) for number in (12, 96))
    assert lots < 8.5 * few


def test_waivers_grow_with_their_number(report_of: Callable[..., Report], review: Review) -> None:
    def waived(number: int) -> int:
        waivers = many(number, 'waive unused-entry on p# until 2027-01-01 because "later"\n')
        report = report_of(many(number, "path p#\n  use entry\n  line #,0 #,5\n") + waivers)
        assert len(report.waived) == number
        kept: list[int] = []
        policy = Policy(date(2026, 2, 10))
        count = calls(
            lambda: kept.append(len(check._waive(report.plan, review.rulebook, list(report.waived), policy)[0]))
        )
        assert kept == [0]
        return count

    few, lots = waived(10), waived(160)
    assert lots < 16 * few * 1.2


def test_lines_of_one_property_parcels_and_stands_of_one_path_cost_little_each(
    scene_of: Callable[[str], Scene],
) -> None:
    """What a count of calls does not see; a tenth of a second each, where it took seconds."""
    bed = Statement("bed", "bed", (), 0, 3)
    parcels = "boundary\n" + "".join(f"  outline {square(-side, 2 * side)}\n" for side in range(1, 201))
    stands = scene_of("path lane\n  use entry\n  line 0,0 900,0\n" + many(1000, "stand s#\n  at 9,9\n  reach lane\n"))
    started = time.process_time()
    pocket = Pocket(Placed(Parsed("pocket", bed, (bed,) * 60_000, (), frozenset()), Source("a.habitat", ""), 0, 0))
    assert len(pocket.all("bed")) == 60_000
    enclosed = sum((-1) ** side * (2 * side * YARD) ** 2 for side in range(1, 201))
    ground = scene_of(parcels).property_
    assert ground is not None and ground.area == pytest.approx(enclosed)
    assert len(walks_of(stands)) == 1
    assert time.process_time() - started < 2


def test_places_that_hang_on_one_another_without_end_are_told(scene_of: Callable[[str], Scene]) -> None:
    """Written last first, or in a circle; where each is written before those that hang on it, all are placed."""

    def path(number: int, on: int) -> str:
        return f"path p{number}\n  use entry\n  line p{on} 1yd 900,{number}\n"

    first, *others = [
        "path p0\n  use entry\n  line 0,0 900,0\n",
        *(path(number, number - 1) for number in range(1, 400)),
    ]
    scene = scene_of("".join([first, *others]))
    assert not scene.slips and None not in scene.table("paths").column("shape").values
    for lines in ([*reversed(others), first], [path(0, 399), *others]):
        slips = scene_of("".join(lines)).slips
        assert slips and {slip.kind for slip in slips} == {"bad-value"}
        assert "more than 50 places hang on one another" in slips[0].why


def test_too_many_parcels_are_told_and_none_is_drawn(told: Callable[..., list[str]]) -> None:
    parcels = "boundary\n" + many(1001, "  outline #0,0 #9,0 #9,9 #0,9\n")
    (line,) = [line for line in told(parcels) if "outlines" in line]
    assert line.startswith("1002:3 bad-value: more than 1,000 outlines in one boundary")


def test_after_a_thousand_unknown_names_the_number_of_those_left_is_told(scene_of: Callable[[str], Scene]) -> None:
    path = "path lane\n  use entry\n  line 0,0 9,9\n"
    for text in ("stand s\n  reach lane " + many(1234, "far-# "), many(1234, "place p#\n  by far-#\n")):
        slips = [slip for slip in scene_of(path + text + "\n").plan.slips if slip.found.startswith("far-")]
        *names, rest = slips
        assert [slip.kind for slip in names] == ["unknown-name"] * 1000
        assert (rest.kind, rest.found) == ("bad-value", "far-1000")
        assert "no more are told: 234 more names stand for nothing from here on" in rest.why
    few = scene_of(path + "stand s\n  reach lane " + many(1000, "far-# ") + "\n").plan.slips
    assert not any(slip.kind == "bad-value" for slip in few)


def test_after_the_most_packs_the_number_of_those_left_is_told(
    report_of: Callable[..., Report], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check, "MOST_PACKS", 3)
    found = report_of(many(30, 'use pack "gone-#"\n')).findings
    assert [finding.rule for finding in found] == ["record/pack-trouble"] * 4
    assert found[-1].facts["x.why"].value == "a plan uses 3 packs at most, and 27 from here on are not read"


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
