"""What a person who never programmed does wrong in a first pack, and what is told: the place, and what to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from habitatlint.cli.assembly import pack_texts_reader
from habitatlint.cli.assembly import review as assembled
from habitatlint.cli.main import main
from habitatlint.findings import Policy
from habitatlint.measures import every_measure
from habitatlint.outputs.sentences import message, rows
from habitatlint.packs.soundness import UNSAID, look
from habitatlint.rulebook.book import Rulebook
from habitatlint.source import Source

SHIPPED = assembled()
READ = pack_texts_reader(SHIPPED)
WORDS = every_measure()
#: what tells of slips, alone: other rules have nothing to say of these examples
RECORD = replace(SHIPPED, rulebook=Rulebook(tuple(one for one in SHIPPED.rulebook.packs if one.name == "record")))

Told = Callable[..., list[str]]


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The texts of a pack as `pack new` begins it."""
    folder = tmp_path_factory.mktemp("packs") / "creek"
    assert CliRunner().invoke(main, ["pack", "new", str(folder)]).exit_code == 0
    return {path.name: path.read_text(encoding="utf-8") for path in sorted(folder.iterdir())}


@pytest.fixture(scope="module")
def told(begun: dict[str, str]) -> Told:
    """What `pack check` tells of a begun pack in which stretches of the rule are written otherwise: the line, what is
    marked, and the words."""
    head = begun["pack.rules"]
    for said, _ in UNSAID.values():
        head = head.replace(said, "said")

    def of(*changes: tuple[str, str]) -> list[str]:
        rule = begun["bed-near-walk.rules"]
        for written, otherwise in changes:
            assert written in rule
            rule = rule.replace(written, otherwise, 1)
        pack = READ("creek", [Source("pack.rules", head), Source("own.rules", rule)])
        return [
            f"{one.span.source.line(one.span.line).strip()} | {one.span.text} | {one.words}"
            for one in look(pack, RECORD, WORDS).remarks
        ]

    return of


BECAUSE = '"a deer that lies within hearing of the walk is up before the hunter sits down"'
CARETS = "        ^^^^^^ warning, measured 38 yd, wanted 40 yd\n"
SAY = 'say "a bed of {b.pocket} lies too near {w}" many "{count} beds of {b.pocket} lie too near {w}"'
SIZED = 'common-practice "our own; no figure for this is published"'
OUTLINE = "    outline 80,20 160,20 160,90 80,90\n"


def test_a_begun_pack_whose_head_is_filled_in_leaves_nothing_to_tell(told: Told) -> None:
    assert told() == []


#: what is written in a begun rule, and otherwise; the line that is told then, what is marked of it, and the words
ONE_SLIP = [
    # tabs
    ("    use entry", "\tuse entry", "use entry", "use entry",
     "this line begins with a tab: indent it by spaces, not tabs"),
    (CARETS, "\t\t" + CARETS.lstrip(), CARETS.strip(), CARETS.strip(),
     "this line begins with a tab: indent it by spaces, not tabs"),
    ("    use entry\n    line 0,0", "\tuse entry\n\tline 0,0", "use entry", "use entry",
     "this line begins with a tab: indent it by spaces, not tabs (and so does line 31)"),
    # misspelt words, what follows from one told no more
    ("\nbroken\n", "\nbrocken\n", "brocken", "brocken", "broken: `brocken` is not a word known here; did you mean `broken`?"),
    ("report warning", "report warn", "report warn when gap < room", "warn",
     "rule: `warn` is not a word known here; did you mean `warning`?"),
    # a line that is not there
    ("  report warning when gap < room\n", "", SAY, SAY,
     "rule: `say` stands below a line `report`, and none is above it: write one, such as `report warning when gap < room`"),
    (f"  because {BECAUSE}\n", "", "rule bed-near-walk", "rule bed-near-walk",
     "rule bed-near-walk: it needs a line `because` with the reason in double quotes"),
    # comparisons in words
    ("gap < room", "gap less than room", "report warning when gap less than room", "less",
     "rule: expected `<` in the place of `less than`, not `less`"),
    ("gap < room", "gap is not more than room", "report warning when gap is not more than room", "is",
     "rule: expected `<=` in the place of `is not more than`, not `is`"),
    # units
    ("room 40yd", "room 40", f"limit room 40  10yd..150yd  {SIZED}", "40",
     "rule: the limit `40` has no unit, and its range `10yd..150yd` has: write `40yd`"),
    ("10yd..150yd", "10..150", f"limit room 40yd  10..150  {SIZED}", "10..150",
     "rule: the range `10..150` has no unit, and the limit `40yd` has: write `10yd..150yd`"),
    ("40yd  10yd..150yd", "40  10..150", f"limit room 40  10..150  {SIZED}", f"limit room 40  10..150  {SIZED}",
     "rule bed-near-walk: the limit `room` has no unit, and a length is wanted of it: write it with one, such as "
     "`40yd`, and its range too (where it is wanted: own.rules:12)"),
    ("10yd..150yd", "10ft..150", f"limit room 40yd  10ft..150  {SIZED}", "10ft..150",
     "rule: `10ft..150` needs one unit for both ends, as in `6in..10in`"),
    ("room 40yd", "room 40in", f"limit room 40in  10yd..150yd  {SIZED}", "40in",
     "rule: the limit `40in` (1.1 yd) lies outside its own range `10yd..150yd`"),
    ("room 40yd", "room 40%", f"limit room 40%  10yd..150yd  {SIZED}", "40%",
     "rule: the limit `40%` and its range `10yd..150yd` measure different things: write both in one unit"),
    ("room 40yd", "room 40yds", f"limit room 40yds  10yd..150yd  {SIZED}", "40yds",
     "rule: expected a length in `yd`, `ft`, `in`, `m` or `cm`, such as `20yd`, not `40yds`"),
    # quotes
    (BECAUSE, "a deer is up", "because a deer is up", "a",
     'rule: expected words in double quotes such as `"South lane"`, not `a`'),
    # carets
    ("^^^^^^ warning", "warning", "bed 120,38", "120,38",
     "no carets stand before the words below this line: put `^^^^^^` there, under `120,38`"),
    (CARETS, "", "bed 120,38", "120,38",
     "found without carets: a bed of pocket oak lies too near entry path lane; measured 38 yd, wanted 40 yd or more; "
     "put `^^^^^^` in a line below, under `120,38`"),
    (f"{OUTLINE}    bed 120,38\n{CARETS}", f"{OUTLINE}{CARETS}    bed 120,38\n", OUTLINE.strip(), OUTLINE[8:14],
     "nothing is found above these carets; it is found in line 35: put them below that, under `120,38`"),
    # examples that show something else
    ("bed 120,38", "bed 120,58", "bed 120,58", "120,58",
     "nothing is found here: none of the walks come within 40 yd; nearest is bed 1 of oak and entry path lane, 58 yd "
     "apart; change the plan until it breaks the rule, or take the carets away"),
    (f"bed 120,38\n{CARETS}", "bed 120,58\n", "broken", "broken",
     "the broken plan keeps the rule: none of the walks come within 40 yd; nearest is bed 1 of oak and entry path "
     "lane, 58 yd apart; change the plan until it breaks it"),
    ("bed 120,42", "bed 120,30", "bed 120,30", "120,30",
     "the kept plan breaks the rule: a bed of pocket oak lies too near entry path lane; measured 30 yd, wanted 40 yd "
     "or more"),
    ("# A `kept` plan", f"mended\n  pocket oak\n{OUTLINE}    bed 120,39\n\n# A `kept` plan", "mended", "mended",
     "the mended plan still breaks the rule: a bed of pocket oak lies too near entry path lane; measured 39 yd, "
     "wanted 40 yd or more"),
    ("bed 120,42", "bed 120;42", "bed 120;42", "120;42",
     "this line of the example has a slip: expected a point such as `120,45`, not `120;42`"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("written", "otherwise", "line", "marked", "words"), ONE_SLIP, ids=[slip[4][:40] for slip in ONE_SLIP]
)
def test_one_slip_is_told_once_where_it_stands_with_what_to_do(
    told: Told, written: str, otherwise: str, line: str, marked: str, words: str
) -> None:
    assert told((written, otherwise)) == [f"{line} | {marked} | {words}"]


def test_a_line_of_a_broken_plan_that_cannot_be_read_is_told_and_not_what_follows_from_it(told: Told) -> None:
    (words,) = told(("    bed 120,38", "    bedd 120,38"))
    assert words.startswith("bedd 120,38 | bedd | this line of the example has a slip: `bedd` is not a word known here")


def test_a_filter_that_leaves_an_example_out_is_named(told: Told) -> None:
    (words,) = told(("  measure gap", "  where w.use is exit\n  measure gap"))
    assert "nothing is found here: it does not meet `w.use is exit`" in words, words


def test_what_a_begun_pack_says_is_told_until_its_maker_says_it(begun: dict[str, str]) -> None:
    sources = [Source(name, text) for name, text in begun.items()]
    remarks = look(READ("creek", sources), RECORD, WORDS).remarks
    assert [(one.span.text.strip('"'), one.level.name, one.kind) for one in remarks] == [
        (said, "note", "unsaid") for said, _ in UNSAID.values()
    ]


def test_wrapping_tells_what_a_begun_pack_still_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    CliRunner().invoke(main, ["pack", "new", "creek"])
    done = CliRunner().invoke(main, ["pack", "wrap", "creek"])
    assert done.exit_code == 0 and "note: `licence` says what `pack new` wrote there" in done.output


# -- plans that use a pack -----------------------------------------------------------------------------------------

PLAN = 'plan "Small"\n{}boundary\n  outline 0,0 400,0 400,400 0,400\n'


@pytest.fixture
def found(begun: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], dict[str, str]]:
    """What a plan beside a begun pack is told: each message with its mends."""
    monkeypatch.chdir(tmp_path)
    Path("creek").mkdir()
    for name, text in begun.items():
        Path("creek", name).write_text(text, encoding="utf-8")

    def of(lines: str) -> dict[str, str]:
        report = SHIPPED.check(Source("own.habitat", PLAN.format(lines)), Policy(date(2026, 2, 10)))
        return {
            message(one, "yd"): "; ".join(words for word, words in rows(one, "yd") if word.startswith("mend"))
            for one in report.findings
        }

    return of


def test_a_pack_of_another_version_is_mended_by_version_and_a_path_by_path(
    found: Callable[[str], dict[str, str]],
) -> None:
    assert found('use pack "creek" version "0.3"\n') == {
        "pack creek: version 0.3 is asked for, and this is 0.1.0": "ask for the one that is there, `version "
        '"0.1.0"`, or take in the pack of the version that is asked for'
    }
    (mend,) = found('use pack "./creak"\n').values()
    assert mend == "write the folder's path as seen from the plan, with forward slashes"


def test_a_rule_of_a_pack_that_is_not_taken_in_says_so(found: Callable[[str], dict[str, str]]) -> None:
    (told,) = found("set bed-near-walk.room 60yd\n")
    assert told.endswith(
        "`set` takes the name of a rule, and no pack in force has that one: take in its pack by `use pack`"
    )
    assert found('use pack "creek"\nset bed-near-walk.room 60yd\n') == {}


def test_a_limit_without_its_unit_is_told_the_unit(found: Callable[[str], dict[str, str]]) -> None:
    (told,) = found('use pack "creek"\nset bed-near-walk.room 60\n')
    assert "expected a unit too, such as `60yd` (10 yd to 150 yd)" in told
