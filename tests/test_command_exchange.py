"""`import`, `export` and `new --from` as people run them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from habitatlint.cli.main import main

ROOT = Path(__file__).resolve().parent.parent
WALK = ROOT / "examples" / "withy-bend.gpx"
PLAN = ROOT / "examples" / "sallow-fork.habitat"


def run(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "habitatlint", *arguments], cwd=cwd, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip


def test_from_a_walk_to_a_plan_to_a_phone_and_back(tmp_path: Path) -> None:
    begun = run("new", "farm", "--from", str(WALK), "--template", "creek-bottom", cwd=tmp_path)
    assert (begun.returncode, begun.stdout) == (
        0, "farm.habitat is begun; open it in an editor, then: habitatlint check farm.habitat\n",
    )  # fmt: skip
    thinned, *guessed = begun.stderr.splitlines()
    assert thinned == "withy-bend.gpx: 2958 points thinned to 56, each within 3 yd"
    assert "withy-bend.gpx: waypoint 15 `Old well`: no word says what it is: place old-well" in guessed
    before = (tmp_path / "farm.habitat").read_bytes()
    again = run("import", str(WALK), "--into", "farm.habitat", cwd=tmp_path)
    assert (
        again.returncode == 0 and again.stdout == "farm.habitat: nothing to add; 23 blocks of it stood there already\n"
    )
    out = run("export", "farm.habitat", "-o", "farm.geojson", "--today", "2026-03-01", cwd=tmp_path)
    assert out.returncode == 0 and out.stderr == "" and out.stdout.startswith("farm.geojson: ")
    back = run("import", "farm.geojson", "--into", "farm.habitat", cwd=tmp_path)
    assert back.returncode == 0 and "nothing to add; 23 blocks" in back.stdout
    assert (tmp_path / "farm.habitat").read_bytes() == before
    kinds = {
        one["properties"].get("noun") or one["properties"]["derived"]
        for one in json.loads((tmp_path / "farm.geojson").read_text())["features"]
    }
    assert {"boundary", "food", "path", "stand", "findings"} <= kinds


def test_an_import_without_a_place_to_go_prints_the_plan(tmp_path: Path) -> None:
    done = run("import", str(WALK), "--title", "My bend", "--units", "m", "--tolerance", "5m", cwd=tmp_path)
    assert done.returncode == 0 and done.stdout.startswith(
        '# From withy-bend.gpx.\nplan "My bend"\n  stage design\n  units m\n'
    )
    assert "each within 5 m" in done.stderr
    assert list(tmp_path.iterdir()) == []


def ran(*arguments: str) -> Result:
    """The command in this process, which begins faster."""
    return CliRunner().invoke(main, arguments)


@pytest.mark.parametrize("ending", ["gpx", "kml", "geojson"])
def test_findings_go_by_the_numbers_of_the_map_and_can_be_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    monkeypatch.chdir(tmp_path)
    plan = tmp_path / "two.habitat"
    plan.write_text(
        'plan "Two faults"\n  anchor 40.0N,93.0W\nboundary\n  outline 0,0 400,0 400,400 0,400\npath lane\n  use entry\n'
        "  line 0,20 300,20\nrow screen\n  method hinge\n  stumps 40,28 120,28\n  spacing 20\n  fall N\n  dbh 8in\n",
        encoding="utf-8",
    )
    ran("export", "two.habitat", "-o", f"a.{ending}", "--today", "2026-02-10")
    told = ran("check", "--as", "gnu", "--today", "2026-02-10", "two.habitat").stdout.splitlines()
    text = (tmp_path / f"a.{ending}").read_text(encoding="utf-8")
    assert "entry/live-hinge-near-entry" in text and "too near entry path lane" in text
    first = next(line for line in told if "too near entry path lane" in line)
    assert f"error {told.index(first) + 1}" in text
    assert "screen 1, fallen" in text and "falls 0 degrees from true north, DBH 8 in" in text
    ran("export", "two.habitat", "-o", f"b.{ending}", "--no-findings", "--only", "paths,boundary")
    bare = (tmp_path / f"b.{ending}").read_text(encoding="utf-8")
    assert "too near" not in bare and "screen" not in bare and "lane" in bare
    both = ran("export", "two.habitat", "-o", f"a.{ending}", "--today", "2026-02-10")
    assert both.exit_code == 0 and (tmp_path / f"a.{ending}").read_text(encoding="utf-8") == text


def test_an_export_says_what_stays_behind_and_spares_what_it_did_not_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = 'plan "Few"\n  anchor 40.0N,93.0W\nplace gate\n  at 1,2\n  kind gate\n'
    (tmp_path / "a.habitat").write_text(
        f'{text}crew saws\n  people 2\nwork\n  step 1 "Cut" 2026-02-01..2026-02-03\n', encoding="utf-8"
    )
    done = ran("export", "a.habitat", "-o", "a.gpx")
    assert done.exit_code == 0 and "a.gpx: without crews, the order of work, which have no place" in done.stdout
    for ending in ("gpx", "kml", "geojson"):
        assert ran("export", "a.habitat", "-o", f"a.{ending}").exit_code == 0
        assert ran("export", "a.habitat", "-o", f"a.{ending}").exit_code == 0  # its own it writes over
    walk = tmp_path / "walk.gpx"
    walk.write_bytes(WALK.read_bytes())
    done = ran("export", "a.habitat", "-o", "walk.gpx")
    assert done.exit_code == 2 and "walk.gpx: is there already, and `export` did not write it" in done.stderr
    assert walk.read_bytes() == WALK.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            ("export", "no.habitat", "-o", "a.gpx"),
            "no.habitat: says nowhere on the earth that it lies; add to its head",
        ),
        (
            ("export", "no.habitat", "-o", "a.xyz"),
            "a.xyz: nothing is exported so; end the file in .gpx, .kml, .geojson",
        ),
        (
            ("export", "no.habitat", "-o", "a.gpx", "--only", "stnad"),
            "nothing of a kind `stnad` is exported; did you mean `stand`?",
        ),
        (("import", "none.gpx"), "none.gpx: no such file; give what a receiver"),
        (("import", "bad.gpx"), "bad.gpx:1 cannot be read: no whole XML"),
        (("import", "bad.xyz"), "bad.xyz: it is not known what this is"),
        (("import", str(WALK), "--into", "no.habitat"), "no.habitat: says nowhere on the earth that it lies"),
        (("import", str(WALK), "--into", "no.habitat", "-o", "x"), "give --into or -o, not both"),
        (("import", str(WALK), "--into", "no.habitat", "--units", "m"), "has its own units and title"),
        (("import", str(WALK), "-o", "no.habitat"), "no.habitat: is there already; give another name"),
        (("import", str(WALK), "--tolerance", "wide"), "`wide` is no tolerance; give a length such as 3yd or 2m"),
        (
            ("new", "x", "--template", "crek-bottom"),
            "no template is called `crek-bottom`; did you mean `creek-bottom`?",
        ),
        (("new", "x", "--from", "bad.gpx"), "bad.gpx:1 cannot be read: no whole XML"),
    ],
    ids=lambda value: " ".join(Path(part).name for part in value) if isinstance(value, tuple) else "",
)
def test_what_cannot_be_done_is_one_line_and_status_2(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "no.habitat").write_text('plan "Nowhere"\n', encoding="utf-8")
    (tmp_path / "bad.gpx").write_text("<<", encoding="utf-8")
    (tmp_path / "bad.xyz").write_text("?", encoding="utf-8")
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    done = ran(*arguments)
    assert done.exit_code == 2 and done.stdout == "", done.stderr
    assert said in done.stderr and done.stderr.count("\n") == 1 and "Traceback" not in done.stderr
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_the_words_of_the_naming_rule_and_the_templates_are_listed(tmp_path: Path) -> None:
    assert "place gate\n  point: gate, entrance gate\n" in run("import", "--words", cwd=tmp_path).stdout
    assert run("new", "--list", cwd=tmp_path).stdout.startswith("forty-acres ")
