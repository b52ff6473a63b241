"""Commands of packs and rules stand under the settings of their folder, as `check` does."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from habitatlint import files
from habitatlint.cli.main import main
from habitatlint.cli.project import forget
from habitatlint.editor.desk import Desk
from habitatlint.findings import Policy
from habitatlint.measures import every_measure
from habitatlint.packs.measures import joined
from habitatlint.review import Review
from habitatlint.rulebook.book import below
from habitatlint.rulebook.rules import Pack
from habitatlint.source import Source

MEASURES = """
from habitatlint.ground.columns import column


def measures(vocabulary):
    @vocabulary.measure("letters", ("pockets",), "count")
    def letters(scene, pockets):
        "How many letters the name of a pocket has."
        names = scene.table("pockets").column("name").values
        return column("count", [len(str(names[row])) for row in pockets.rows])
"""
LETTERS = """rule long-name
  title "A name too long to call out"
  limit most 6  2..20  common-practice "the test's own"
  each k in pockets
  measure size = letters(k)
  report warning when size > most
    say "{k} has {size} letters"
  mark k.outline
  because "it is called out over the radio"

broken
  pocket thicket
    outline 0,0 90,0 90,90
    ^^^^^^^^^^^^^^^^^^^^^^ warning, measured 7

kept
  pocket burrow
    outline 0,0 90,0 90,90
"""
BASE = """rule few-beds
  title "Few beds"
  limit least 2  1..9  common-practice "the test's own"
  each k in pockets
  measure beds = count of b in beds (b.pocket is k)
  report warning when beds < least
    say "{k} has {beds}"
  mark k.outline
  because "so"

broken
  pocket oak
    outline 0,0 90,0 90,90
    ^^^^^^^^^^^^^^^^^^^^^^ warning, measured 1
    bed 60,20

kept
  pocket oak
    outline 0,0 90,0 90,90
    bed 60,20
    bed 70,20
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A project whose settings name measures of a distribution, which is installed."""
    site = tmp_path / "site"
    info = site / "creek_measures-1.0.dist-info"
    info.mkdir(parents=True)
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: creek-measures\nVersion: 1.0\n", encoding="utf-8")
    points = "[habitatlint.measures]\nletters = creek_measures_s:measures\n"
    (info / "entry_points.txt").write_text(points, encoding="utf-8")
    (site / "creek_measures_s.py").write_text(MEASURES, encoding="utf-8")
    monkeypatch.syspath_prepend(str(site))
    farm = tmp_path / "farm"
    (farm / "packs").mkdir(parents=True)
    monkeypatch.chdir(farm)
    return farm


def pack(folder: Path, head: str = "", rule: str = "") -> None:
    folder.mkdir(exist_ok=True)
    text = f'pack {folder.name} "Own"\n  version "1.0"\n{head}'
    (folder / "pack.rules").write_text(text, encoding="utf-8")
    if rule:
        (folder / "own.rules").write_text(rule, encoding="utf-8")


def settings(folder: Path, text: str) -> None:
    (folder / "habitatlint.toml").write_text(text, encoding="utf-8")


def run(*words: str) -> Result:
    forget()
    return CliRunner().invoke(main, list(words))


# -- measures --------------------------------------------------------------------------------------------------


def test_a_pack_may_measure_what_the_settings_over_it_bring(here: Path) -> None:
    pack(here / "packs" / "radio", rule=LETTERS)
    alone = run("pack", "check", "packs/radio", "--as", "gnu")
    assert alone.exit_code == 1 and "`letters`" in alone.output
    settings(here, 'measures = ["creek-measures"]\n')
    done = run("pack", "check", "packs/radio", "--fail-on", "note")
    assert done.exit_code == 0 and done.output.endswith("pack radio 1.0, 1 rule: nothing to tell\n"), done.output
    assert run("pack", "wrap", "packs/radio", "-o", "packs/radio.pack").exit_code == 0
    assert run("pack", "check", "packs/radio.pack", "--fail-on", "note").output == done.output


def test_the_words_of_rules_are_those_of_the_settings(here: Path) -> None:
    assert "letters(" not in run("words", "--rules").output
    settings(here, 'measures = ["creek-measures"]\n')
    assert (
        "letters(pockets): a count\n      How many letters the name of a pocket has.\n"
        in run("words", "--rules").output
    )


def test_words_of_rules_need_neither_packs_nor_limits_of_the_settings(here: Path) -> None:
    settings(here, 'packs = ["gone"]\n[limits]\n"stand-not-reached.reach" = "9000yd"\n')
    done = run("words", "--rules")
    assert done.exit_code == 0 and "distance(" in done.output


def test_an_editor_reads_rules_by_the_measures_of_the_settings(here: Path, review: Review) -> None:
    pack(here / "packs" / "radio", rule=LETTERS)
    path = str(here / "packs" / "radio" / "own.rules")
    whole = joined(every_measure(), {"creek": _note})
    for vocabulary, told in ((every_measure(), 1), (whole, 0)):
        desk = Desk(Review(review.plan_grammar, review.rulebook, vocabulary=vocabulary))
        judgement = desk.judge_rules(Source(path, LETTERS), Policy(_day()), lambda: False)
        assert len([*judgement.reading, *judgement.telling]) == told


def _note(vocabulary: object) -> None:
    held: dict[str, object] = {}
    exec(MEASURES, held)
    held["measures"](vocabulary)  # type: ignore[operator]


def _day() -> object:
    from datetime import date

    return date(2026, 2, 10)


# -- packs -----------------------------------------------------------------------------------------------------


def test_a_pack_stands_upon_the_packs_that_the_settings_name(here: Path) -> None:
    pack(here / "packs" / "base", rule=BASE)
    pack(here / "packs" / "over", "  builds-on base\n  set few-beds.least 3\n")
    assert run("pack", "check", "packs/over").exit_code == 1
    settings(here, 'packs = ["packs/base"]\n')
    assert run("pack", "check", "packs/over", "--fail-on", "note").output.endswith("nothing to tell\n")


def test_a_pack_stands_in_the_place_of_what_the_settings_name_by_its_name(here: Path) -> None:
    """Its faults are told, where `check` cannot go on for them; and what is wrapped already is the version before."""
    pack(here / "packs" / "base", rule=BASE)
    settings(here, 'packs = ["packs/base"]\n')
    (here / "packs" / "base" / "own.rules").write_text(BASE.replace("measured 1", "measured 7"), encoding="utf-8")
    assert "measured 1, not 7" in run("pack", "check", "packs/base").output
    (here / "packs" / "base" / "own.rules").write_text(BASE.replace("beds < least", "bedds < least"), encoding="utf-8")
    done = run("pack", "check", "packs/base", "--as", "gnu")
    assert done.exit_code == 1 and done.output.startswith("packs/base/own.rules:6:"), done.output
    (here / "packs" / "base" / "own.rules").write_text(BASE, encoding="utf-8")
    settings(here, 'packs = ["packs/base-1.0.pack"]\n')
    assert run("pack", "wrap", "packs/base", "-o", "packs/base-1.0.pack").exit_code == 0
    (here / "packs" / "base" / "own.rules").write_text(BASE + "\n# more\n", encoding="utf-8")
    assert run("pack", "check", "packs/base", "--fail-on", "note").exit_code == 0


def test_what_builds_on_a_pack_has_no_say_in_how_it_is_looked_at(here: Path) -> None:
    pack(here / "packs" / "base", rule=BASE)
    pack(here / "packs" / "over", "  builds-on base\n  leaves few-beds\n")
    pack(here / "packs" / "top", "  builds-on over\n")
    settings(here, 'packs = ["packs/base", "packs/over", "packs/top"]\n')
    assert run("pack", "check", "packs/base", "--fail-on", "note").output.endswith("1 rule: nothing to tell\n")


def test_what_changes_a_pack_without_building_on_it_has_no_say_either(here: Path) -> None:
    pack(here / "packs" / "base", rule=BASE)
    pack(here / "packs" / "x", "  set few-beds.least 3\n  level few-beds note\n")
    settings(here, 'packs = ["packs/base", "packs/x"]\n')
    assert run("pack", "check", "packs/base", "--fail-on", "note").output.endswith("1 rule: nothing to tell\n")
    # but it has where the pack stands on it
    pack(here / "packs" / "top", "  builds-on x\n")
    assert run("pack", "check", "packs/top", "--fail-on", "note").output.endswith("0 rules: nothing to tell\n")


def test_a_pack_that_is_given_and_cannot_be_looked_at_beside_is_told(here: Path) -> None:
    (here / "other").mkdir()
    pack(here / "packs" / "base", rule=BASE)
    pack(here / "other" / "base", rule=BASE.replace("few-beds", "many-beds"))
    pack(here / "other" / "entry", rule=BASE)
    done = run("pack", "check", "packs/base", "--with", "other/base")
    assert done.exit_code == 1 and "another pack called `base` is in force" in done.output
    pack(here / "packs" / "over", "  builds-on base\n  leaves few-beds\n")
    pack(here / "packs" / "x", "  set few-beds.least 3\n")
    for name in ("over", "x"):
        done = run("pack", "check", "packs/base", "--with", f"packs/{name}")
        assert done.exit_code == 2 and done.output.startswith(f"habitatlint: packs/{name}: builds on base or changes")
    for names in (["other/entry"], ["packs/base", "--with", "other/base"]):
        done = run("pack", "check", "packs/over", "--with", *names)
        assert done.exit_code == 2 and "is in force; give this one another name" in done.output, done.output


def test_a_circle_is_told_by_every_command(here: Path) -> None:
    for name, other in ("ab", "ba"):
        pack(here / "packs" / name, f"  builds-on {other}\n")
    settings(here, 'packs = ["packs/a", "packs/b"]\n')
    told = "packs/a/pack.rules:3:13: error: a circle: a builds on b, b builds on a; take one of these"
    assert told in run("pack", "check", "packs/a").output
    done = run("settings")
    assert done.exit_code == 2 and "packs/a/pack.rules:3: a circle: a builds on b" in done.output


def test_two_packs_of_one_name_are_told_to_a_pack_that_builds_on_them(here: Path) -> None:
    (here / "other").mkdir()
    pack(here / "packs" / "base", rule=BASE)
    pack(here / "other" / "base", rule=BASE.replace("few-beds", "many-beds"))
    pack(here / "packs" / "top", "  builds-on base\n")
    pack(here / "packs" / "alone", rule=BASE.replace("few-beds", "no-beds"))
    settings(here, 'packs = ["packs/base", "other/base"]\n')
    done = run("pack", "check", "packs/top")
    assert done.exit_code == 2 and "habitatlint.toml:1: pack `other/base`: another pack called `base`" in done.output
    assert run("pack", "check", "packs/top", "--with", "packs/base").exit_code == 0
    assert run("pack", "check", "packs/alone").exit_code == 0


def test_packs_that_stand_one_on_another_in_a_circle_are_all_left_out() -> None:
    from habitatlint.cli.assembly import pack_texts_reader, review

    read = pack_texts_reader(review())

    def on(name: str, other: str) -> Pack:
        return read(name, [Source(f"{name}/pack.rules", f"pack {name}\n  builds-on {other}\n")])

    packs = (on("a", "b"), on("b", "c"), on("c", "a"), on("d", "e"))
    assert [one.name for one in below(packs, "a")] == ["d"]
    assert [one.name for one in below(packs, "e")] == ["a", "b", "c"]


def test_what_changes_a_pack_has_no_say_in_it_though_it_does_not_build_on_it(here: Path) -> None:
    pack(here / "packs" / "base", rule=BASE)
    pack(here / "packs" / "x", "  set few-beds.least 3\n  level few-beds note\n")
    settings(here, 'packs = ["packs/base", "packs/x"]\n')
    assert run("pack", "check", "packs/base", "--fail-on", "note").output.endswith("1 rule: nothing to tell\n")


def test_a_pack_given_beside_another_is_never_passed_over(here: Path) -> None:
    pack(here / "packs" / "base", rule=BASE)
    pack(here / "base", rule=BASE.replace("Few beds", "Too few beds"))
    done = run("pack", "check", "packs/base", "--with", "base")
    assert done.exit_code == 1 and "another pack called `base` is in force" in done.output
    pack(here / "packs" / "over", "  builds-on base\n")
    done = run("pack", "check", "packs/base", "--with", "packs/over")
    assert done.exit_code == 2 and "over: builds on base" in done.output


def test_a_circle_of_packs_is_told(here: Path) -> None:
    pack(here / "packs" / "base", "  builds-on over\n", rule=BASE)
    pack(here / "packs" / "over", "  builds-on base\n")
    settings(here, 'packs = ["packs/base", "packs/over"]\n')
    done = run("pack", "check", "packs/base")
    assert done.exit_code == 1 and "a circle: base builds on over, over builds on base" in done.output
    pack(here / "packs" / "base", "  builds-on base\n", rule=BASE)
    done = run("pack", "check", "packs/base")
    assert done.exit_code == 1 and "a pack cannot build on itself" in done.output


def test_two_packs_of_one_name_in_the_settings_stop_who_builds_on_them(here: Path) -> None:
    pack(here / "packs" / "base", rule=BASE)
    pack(here / "base", rule=BASE.replace("Few beds", "Too few beds"))
    pack(here / "packs" / "over", "  builds-on base\n")
    settings(here, 'packs = ["packs/base", "base"]\n')
    assert run("pack", "check", "packs/over").exit_code == 2


def test_the_words_of_rules_need_no_more_of_the_settings_than_the_measures(here: Path) -> None:
    settings(here, 'packs = ["gone"]\n[limits]\n"live-hinge-near-entry.clearance" = "9000yd"\n')
    assert run("words", "--rules").exit_code == 0


def test_what_the_settings_name_and_there_is_not_matters_to_a_pack_that_builds_on_it(here: Path) -> None:
    pack(here / "packs" / "alone", rule=BASE)
    pack(here / "packs" / "over", "  builds-on base\n")
    settings(here, 'packs = ["packs/base"]\n')
    assert run("pack", "check", "packs/alone").exit_code == 0
    done = run("pack", "check", "packs/over")
    assert (done.exit_code, done.output) == (
        2, "habitatlint: habitatlint.toml:1: pack `packs/base`: there is no such folder; a pack is a folder of .rules "
        "files, or an archive ending in .pack\n",
    )  # fmt: skip
    pack(here / "packs" / "base", rule="rule broken\n  each k in pocketts\n")
    done = run("pack", "check", "packs/over")
    assert done.exit_code == 2 and done.output.startswith("habitatlint: packs/base/own.rules:"), done.output
    pack(here / "base", rule=BASE)
    assert run("pack", "check", "packs/over", "--with", "base").exit_code == 0  # given by name, it goes before


def test_levels_limits_and_pins_of_a_project_are_no_part_of_a_pack(here: Path) -> None:
    pack(here / "packs" / "base", rule=BASE)
    settings(here, '[limits]\n"few-beds.least" = "7"\n[levels]\nfew-beds = "off"\n')
    (here / files.PINS).write_text('{"format": "habitatlint-pins 1", "packs": {}, "rules": {}}\n', encoding="utf-8")
    assert run("pack", "check", "packs/base", "--fail-on", "note").output.endswith("nothing to tell\n")


def test_pins_are_of_the_plans_that_the_settings_let_in(here: Path) -> None:
    for name, text in (("farm", 'plan "Farm"\n'), ("draft", 'plan "Draft"\nuse pack "nowhere"\n')):
        (here / f"{name}.habitat").write_text(text, encoding="utf-8")
    settings(here, 'exclude = ["draft.habitat"]\n')
    done = run("pack", "pin")
    assert done.exit_code == 0, done.output
    done = run("pack", "pin", "draft.habitat")
    assert done.exit_code == 2 and "do not exclude" in done.output and done.output.count("\n") == 1
