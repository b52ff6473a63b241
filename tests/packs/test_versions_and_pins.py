"""Versions of packs as people write them, and rules held as they were on the day they were pinned."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from habitatlint import files
from habitatlint.cli.assembly import pack_texts_reader
from habitatlint.cli.assembly import review as assembled
from habitatlint.findings import Level, Policy
from habitatlint.outputs.text import since_pins
from habitatlint.packs.pins import PinsTrouble, read, written
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.pinning import Pins, Since
from habitatlint.rulebook.rules import Pack
from habitatlint.rulebook.versions import is_stretch, older, takes
from habitatlint.source import Source

SHIPPED = assembled()
READ = pack_texts_reader(SHIPPED)
PLAN = 'plan "Small"\nboundary\n  outline 0,0 400,0 400,400 0,400\npocket oak\n  outline 20,20 90,20 90,90 20,90\n  bed 50,50\n'


@pytest.mark.parametrize(
    ("stretch", "version", "fits"),
    [
        ("1.2", "1.2", True), ("1.2", "1.2.5", True), ("1.2", "1.3", False), ("1.2.0", "1.2", True),
        ("1.2.0", "1.2.3", False), ("1.2..2", "1.2", True), ("1.2..2", "1.10", True), ("1.2..2", "2.9.1", True),
        ("1.2..2", "3", False), ("1.2..2", "1.1.9", False), ("1.2..", "40.0", True), ("..1", "1.9", True),
        ("..1", "2", False), ("soon", "1", False), ("1", "soon", False),
    ],
)  # fmt: skip
def test_each_end_of_a_stretch_of_versions_stands_for_all_that_begin_with_it(
    stretch: str, version: str, fits: bool
) -> None:
    assert takes(stretch, version) is fits


def test_a_stretch_that_runs_backward_or_names_nothing_is_none() -> None:
    assert not any(is_stretch(text) for text in ("2..1", "..", "1..x", "1,2", "", "1." + "9" * 40))
    assert older("1.9", "1.10") and not older("1.2", "1.2.0") and not older("1.2.0", "1.2")


# -- pins ------------------------------------------------------------------------------------------------------


def pack(rule: str = "", head: str = "", name: str = "own") -> Pack:
    return READ(name, [Source(f"{name}/pack.rules", f'pack {name}\n  version "1.0"\n{head}'),
                       Source(f"{name}/a.rules", rule or bed_rule())])  # fmt: skip


def bed_rule(slug: str = "few-beds", least: str = "3", comment: str = "", example: str = "", more: str = "") -> str:
    return (
        f'rule {slug}\n  title "Few beds"\n  limit least {least}  1..9  common-practice "the test\'s own"\n{comment}'
        "  each k in pockets\n  measure beds = count of b in beds (b.pocket is k)\n"
        f'  report error when beds < least\n    say "{{k}} has {{beds}}"\n  mark k.outline\n  because "so"\n{more}{example}'
    )


def book(own: Pack) -> Rulebook:
    assert not own.slips, own.slips
    return Rulebook((own,))


def test_a_comment_a_blank_or_an_example_changes_no_pin_and_a_figure_or_a_word_does() -> None:
    pins = book(pack()).as_pins
    example = "kept\n  pocket oak\n    outline 0,0 9,0 9,9\n    bed 1,1\n    bed 2,1\n    bed 3,1\n"
    for same in (
        bed_rule(comment="  # why three\n\n"),
        bed_rule(example=example),
        bed_rule().replace("  each", "    each"),
    ):
        assert book(pack(same)).as_pins == pins
    for other in (
        bed_rule(least="4"),
        bed_rule().replace('because "so"', 'because "it is so"'),
        bed_rule(more="  safety\n"),
    ):
        assert book(pack(other)).pinned(pins).since_pins == Since(changed=("own/few-beds",))


def test_a_limit_or_a_level_that_another_pack_sets_changes_the_pin() -> None:
    base, pins = pack(), book(pack()).as_pins
    for line in ("set few-beds.least 4", "level few-beds warning"):
        over = READ("over", [Source("over/pack.rules", f'pack over\n  version "1"\n  builds-on own\n  {line}\n')])
        since = Rulebook((base, over)).pinned(pins).since_pins
        assert since.changed == ("own/few-beds",) and since.packs == (("over", "", "1"),)


def judged(checker: Review, rulebook: Rulebook) -> list[tuple[str, Level]]:
    report = Review(checker.plan_grammar, rulebook).check(Source("a.habitat", PLAN), Policy(date(2026, 2, 10)))
    return [(finding.rule, finding.level) for finding in report.findings]


def test_a_rule_that_is_new_since_the_pins_is_a_note_and_breaks_no_build() -> None:
    own = pack(bed_rule() + "\n" + bed_rule("fewer-beds"))
    pins = Pins({"own": "1.0"}, {"own/few-beds": book(pack()).as_pins.rules["own/few-beds"]})
    pinned = book(own).pinned(pins)
    assert judged(SHIPPED, book(own)) == [("own/few-beds", Level.error), ("own/fewer-beds", Level.error)]
    assert judged(SHIPPED, pinned) == [("own/few-beds", Level.error), ("own/fewer-beds", Level.note)]
    assert pinned.since_pins == Since(new=("own/fewer-beds",))


def test_a_new_rule_has_its_own_level_once_it_is_pinned_or_a_plan_gives_it_one() -> None:
    own = pack()
    held = book(own).pinned(Pins({}, {}))
    assert judged(SHIPPED, held) == [("own/few-beds", Level.note)]
    assert judged(SHIPPED, held.pinned(held.as_pins)) == [("own/few-beds", Level.error)]
    report = Review(SHIPPED.plan_grammar, held).check(
        Source("a.habitat", PLAN + "level few-beds error\n"), Policy(date(2026, 2, 10))
    )
    assert [finding.level for finding in report.findings] == [Level.error]


def test_a_new_rule_about_peoples_safety_is_told_as_lowered() -> None:
    held = book(pack(bed_rule(more="  safety\n"))).pinned(Pins({}, {}))
    report = Review(SHIPPED.plan_grammar, held).check(Source("a.habitat", PLAN), Policy(date(2026, 2, 10)))
    assert [rule.slug for rule in report.silenced] == ["few-beds"]


def test_a_renamed_rule_is_held_to_what_was_pinned_by_its_old_name() -> None:
    pins = book(pack()).as_pins
    renamed = book(pack(bed_rule("enough-beds", more="  formerly few-beds\n"))).pinned(pins)
    assert renamed.since_pins == Since(changed=("own/enough-beds",))
    assert judged(SHIPPED, renamed) == [("own/enough-beds", Level.error)]


def test_a_rule_of_an_unrelated_pack_is_new_though_it_claims_a_pinned_name() -> None:
    pins = book(pack()).as_pins
    other = READ("other", [Source("other/a.rules", bed_rule("no-pond", more="  formerly few-beds\n"))])
    since = Rulebook((other,)).pinned(pins).since_pins
    assert (since.new, since.changed, since.gone) == (("other/no-pond",), (), ("own/few-beds",))


def test_what_is_no_longer_in_force_is_told_as_gone() -> None:
    pins = Pins({"own": "0.9"}, {**book(pack()).as_pins.rules, "own/old-one": "0" * 32})
    since = book(pack()).pinned(pins).since_pins
    assert since == Since(gone=("own/old-one",), packs=(("own", "0.9", "1.0"),))
    assert since_pins([since, since]) == [
        "1 rule pinned, and no longer in force: own/old-one; `habitatlint pack pin` pins them as they are"
    ]


def test_pins_come_back_from_their_text_as_they_were() -> None:
    pins = SHIPPED.rulebook.as_pins
    assert read(written(pins)) == pins
    assert len(pins.rules) == len(SHIPPED.rulebook.rules) > 100
    assert written(pins).count("\n") > len(pins.rules)  # a line a rule, so that a change reads as one


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("{", "not JSON"), ("[]", "its form is not"), ('{"format": "habitatlint-pins 9"}', "its form is not"),
        ('{"format": "habitatlint-pins 1", "packs": {}}', "it lacks"),
        ('{"format": "habitatlint-pins 1", "packs": {"a": 1}, "rules": {}}', "it lacks"),
        ('{"format": "habitatlint-pins 1", "packs": {}, "rules": {"a/b": "short"}}', "a hash in it is none"),
        ("[" * 100_000, "nests too deeply"),
    ],
)  # fmt: skip
def test_what_holds_no_pins_is_told_in_one_line(text: str, why: str) -> None:
    with pytest.raises(PinsTrouble, match=why):
        read(text)


def test_pins_are_found_upward_from_the_plan(tmp_path: Path) -> None:
    below = tmp_path / "a" / "b"
    below.mkdir(parents=True)
    assert files.pins_for(str(below / "x.habitat")) == ""
    (tmp_path / files.PINS).write_text(written(Pins({}, {})), encoding="utf-8")
    assert files.pins_for(str(below / "x.habitat")) == str(tmp_path / files.PINS)
    assert files.read_pins(str(tmp_path / files.PINS)) == Pins({}, {})
    (tmp_path / files.PINS).write_text("no", encoding="utf-8")
    with pytest.raises(files.FileTrouble, match="pack pin"):
        files.read_pins(str(tmp_path / files.PINS))


# -- versions in plans -----------------------------------------------------------------------------------------


def test_a_plan_asks_for_versions_and_is_told_where_a_pack_is_another(
    tmp_path: Path, told: Callable[..., list[str]]
) -> None:
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "pack.rules").write_text('pack own\n  version "1.4"\n', encoding="utf-8")
    plan = str(tmp_path / "a.habitat")

    def lines(asked: str) -> list[str]:
        return told(f'use pack "own" version "{asked}"\n', name=plan)

    assert lines("1.2..2") == [] == lines("1")
    assert lines("2..") == ["1:24 pack-trouble: pack own: version 2.. is asked for, and this is 1.4"]
    assert lines("new")[0].startswith("1:24 pack-trouble: pack own: `new` is no version; write")


def test_a_pack_that_builds_on_another_asks_for_its_versions_too() -> None:
    over = READ("over", [Source("over/pack.rules", 'pack over\n  version "1"\n  builds-on own "2..3"\n')])
    told = [slip.why for slip in Rulebook((pack(), over)).faults(over)]
    assert told == ["version 2..3 is asked for, and this is 1.0"]
