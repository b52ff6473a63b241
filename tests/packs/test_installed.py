"""Packs and measures of installed distributions: packs are read as data, measures only where settings say so."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from habitatlint import files
from habitatlint.cli.assembly import review as assembled
from habitatlint.findings import Policy
from habitatlint.measures import every_measure
from habitatlint.measures.vocabulary import Vocabulary
from habitatlint.packs.measures import MeasureTrouble, joined

WORDS = every_measure()
RULES = 'pack creek-bottoms "Creek"\n  version "1.2.0"\n'
Install = Callable[..., Path]


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Install:
    """Puts a distribution where Python finds it, as an installer would: a package and its metadata."""

    def put(name: str, points: str, package: dict[str, str]) -> Path:
        site = tmp_path / "site"
        info = site / f"{name.replace('-', '_')}-1.0.dist-info"
        info.mkdir(parents=True)
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n", encoding="utf-8")
        (info / "entry_points.txt").write_text(points, encoding="utf-8")
        for path, text in package.items():
            (site / path).parent.mkdir(parents=True, exist_ok=True)
            (site / path).write_text(text, encoding="utf-8")
        monkeypatch.syspath_prepend(str(site))
        return site

    return put


def test_a_plan_takes_in_an_installed_pack_by_its_name_and_none_of_its_code_is_run(
    install: Install, told: Callable[..., list[str]]
) -> None:
    trap = 'raise SystemExit("code of a pack was run")\n'
    install(
        "creek-pack", "[habitatlint.packs]\ncreek-bottoms = creek_pack_a.rules\n",
        {"creek_pack_a/__init__.py": trap, "creek_pack_a/rules/__init__.py": trap, "creek_pack_a/rules/pack.rules": RULES},
    )  # fmt: skip
    assert told('use pack creek-bottoms version "1.2"\n') == []
    assert told('use pack creek-bottoms version "2"\n') == [
        "1:32 pack-trouble: pack creek-bottoms: version 2 is asked for, and this is 1.2.0"
    ]
    assert "creek_pack_a" not in sys.modules


def test_a_name_that_is_not_installed_is_told_with_those_that_are(
    install: Install, told: Callable[..., list[str]]
) -> None:
    install("creek-pack", "[habitatlint.packs]\ncreek-bottoms = creek_pack_b\n", {"creek_pack_b/pack.rules": RULES})
    (words,) = told("use pack creek-bottom\n")
    assert words.endswith("no installed pack is called so; did you mean `creek-bottoms`?")
    (words,) = told("use pack ridges\n")
    assert words.endswith("installed are creek-bottoms")


@pytest.mark.parametrize(
    "value", ["creek_pack_c", "creek_pack_c.nowhere", "no_such_package_at_all", "os;system", "../.."]
)
def test_an_installed_pack_that_is_not_where_it_says_is_told(
    install: Install, told: Callable[..., list[str]], value: str
) -> None:
    install("creek-pack", f"[habitatlint.packs]\ncreek-bottoms = {value}\n", {"creek_pack_c/__init__.py": ""})
    (words,) = told("use pack creek-bottoms\n")
    assert "tell its maker" in words and "pack-trouble" in words


def test_a_folder_beside_the_plan_goes_before_what_is_installed(
    install: Install, tmp_path: Path, told: Callable[..., list[str]]
) -> None:
    install("creek-pack", "[habitatlint.packs]\ncreek-bottoms = creek_pack_d\n", {"creek_pack_d/pack.rules": RULES})
    own = tmp_path / "creek-bottoms"
    own.mkdir()
    (own / "pack.rules").write_text(RULES.replace("1.2.0", "7.0"), encoding="utf-8")
    assert told('use pack creek-bottoms version "7"\n', name=str(tmp_path / "a.habitat")) == []


# -- measures --------------------------------------------------------------------------------------------------

MEASURES = """
import numpy as np
from habitatlint.ground.columns import column


def measures(vocabulary):
    @vocabulary.measure("letters", ("pockets",), "count")
    def letters(scene, pockets):
        "How many letters the name of a pocket has."
        names = scene.table("pockets").column("name").values
        return column("count", [len(str(names[row])) for row in pockets.rows])
"""


def test_measures_are_loaded_by_the_name_of_their_distribution(install: Install) -> None:
    points = "[habitatlint.measures]\nletters = creek_measures_a:measures\n"
    install("Creek_Measures", points, {"creek_measures_a.py": MEASURES})
    whole = files.load_measures(["creek-measures"], WORDS)
    assert whole.measures.keys() - WORDS.measures.keys() == {"letters"}
    assert whole.fingerprint != WORDS.fingerprint and "letters" not in every_measure().measures


def test_nothing_of_a_distribution_is_loaded_that_the_settings_do_not_name(install: Install) -> None:
    points = "[habitatlint.measures]\nletters = creek_measures_b:measures\n"
    install("creek-measures", points, {"creek_measures_b.py": 'raise SystemExit("run")\n'})
    assembled().check(files.Source("a.habitat", 'plan "A"\nuse pack creek-measures\n'), Policy(files_day()))
    assert files.load_measures([], WORDS).measures == WORDS.measures
    assert "creek_measures_b" not in sys.modules
    with pytest.raises(
        files.FileTrouble, match="no installed distribution called `ridge-measures` brings measures; installed are"
    ):
        files.load_measures(["ridge-measures"], WORDS)


def files_day() -> object:
    from datetime import date

    return date(2026, 2, 10)


@pytest.mark.parametrize(
    "text", ["import no_such_module_of_any_kind\n", "x = 1\n", "def measures(vocabulary):\n    1 / 0\n", "(\n"]
)
def test_measures_that_cannot_be_loaded_are_told_in_one_line(install: Install, text: str) -> None:
    points = "[habitatlint.measures]\nletters = creek_measures_c:measures\n"
    install("creek-measures", points, {"creek_measures_c.py": text})
    sys.modules.pop("creek_measures_c", None)
    with pytest.raises(files.FileTrouble) as told:
        files.load_measures(["creek-measures"], WORDS)
    assert "\n" not in str(told.value) and "creek-measures" in str(told.value)


def notes(kind: str, name: str) -> Callable[[Vocabulary], object]:
    def note(vocabulary: Vocabulary) -> None:
        if kind == "measure":
            vocabulary.measure(name, ("pockets",), "count")(lambda scene, pockets: None)  # type: ignore[arg-type,return-value]
        elif kind == "plural":
            vocabulary.plural(name, {"shape": "shape"})(lambda scene: None)  # type: ignore[arg-type,return-value]
        else:
            plural, _, field = name.partition(".")
            vocabulary.field(plural, field, "length")(lambda scene: None)  # type: ignore[arg-type,return-value]

    return note


@pytest.mark.parametrize(
    ("kind", "name", "owner"),
    [
        ("measure", "distance", "habitatlint itself"), ("plural", "walks", "habitatlint itself"),
        ("plural", "pockets", "habitatlint itself"), ("field", "pockets.name", "habitatlint itself"),
        ("field", "trees.fallen", "habitatlint itself"),
    ],
)  # fmt: skip
def test_no_measure_takes_the_place_of_one_of_ours(kind: str, name: str, owner: str) -> None:
    with pytest.raises(MeasureTrouble, match=f"`{name}` is there already, from {owner}"):
        joined(WORDS, {"creek": notes(kind, name)})


def test_two_distributions_may_not_bring_one_name() -> None:
    with pytest.raises(MeasureTrouble, match="from creek"):
        joined(WORDS, {"creek": notes("measure", "letters"), "ridge": notes("measure", "letters")})


def test_a_name_that_no_rule_could_write_is_refused() -> None:
    with pytest.raises(MeasureTrouble, match="no name that a rule could write"):
        joined(WORDS, {"creek": notes("measure", "__class__")})


def test_further_fields_and_plurals_are_taken_in_beside_ours() -> None:
    whole = joined(WORDS, {"creek": notes("plural", "gauges"), "ridge": notes("field", "pockets.flood-depth")})
    assert whole.fields["gauges"] == {"shape": "shape"} and whole.fields["pockets"]["flood-depth"] == "length"
    assert "flood-depth" not in WORDS.fields["pockets"] and "gauges" not in WORDS.tables
