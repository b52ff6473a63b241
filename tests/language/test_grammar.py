"""The grammar and the classes of blocks say the same words, and the language reads as it is described."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from habitatlint import files
from habitatlint.language.blocks import BLOCKS, RESERVED, SINGLES
from habitatlint.language.plan import LAYOUT, plan_grammar, read_plan
from habitatlint.reading.grammar import Grammar, Unreadable
from habitatlint.reading.values import PHRASES, Bearing, Period, Point, Window
from habitatlint.rulebook import rules as rule_language
from habitatlint.source import Source
from habitatlint.units import UNITS, Quantity, Range

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return files.grammar("plan", plan_grammar)


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: block.noun)
def test_a_block_has_the_properties_that_the_grammar_gives_it(block: type, grammar: Grammar) -> None:
    head = LAYOUT.heads[block.noun]
    assert grammar.words_under(head) == frozenset(block.properties)


def test_the_grammar_begins_blocks_with_the_nouns_of_the_classes(grammar: Grammar) -> None:
    assert grammar.words_under("") == {block.noun for block in (*BLOCKS, *SINGLES)}


def test_rules_have_the_words_that_their_grammar_gives_them() -> None:
    grammar = files.grammar("rules", rule_language.rule_grammar)
    assert grammar.words_under("rule x") == rule_language.RULE_WORDS
    assert grammar.words_under("pack x") == rule_language.PACK_WORDS
    assert grammar.words_under("") == rule_language.LAYOUT.nouns


def test_every_value_has_words_for_people() -> None:
    text = (ROOT / "grammar" / "values.lark").read_text(encoding="utf-8")
    terminals = set(re.findall(r"^([A-Z][A-Z_]+)(?:\.\d+)?:", text, re.MULTILINE))
    assert terminals - {"CONTINUATION", "BLANK", "COMMENT"} <= PHRASES.keys()


def test_every_unit_of_the_grammar_is_known() -> None:
    text = (ROOT / "grammar" / "values.lark").read_text(encoding="utf-8")
    named = set()
    for group in re.findall(r"/\[ \\t\]\?\(([^)]*)\)/", text):
        named |= {unit.replace("\\/", "/") for unit in group.split("|")}
    assert named and named <= UNITS.keys()


def test_the_sample_is_read_without_a_slip(grammar: Grammar) -> None:
    text = (ROOT / "examples" / "fallow-ridge.habitat").read_text(encoding="utf-8")
    plan = read_plan(Source("sample", text), grammar)
    assert plan.slips == ()
    assert len(plan.blocks) == 19


def value_of(grammar: Grammar, line: str, head: str = "row x") -> object:
    blocks = grammar.parse(f"{head}\n  {line}\n")
    return blocks[0][1].values[0].value


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("spacing 20yd", Quantity(20, "yd")),
        ("spacing 4 in", Quantity(4, "in")),
        ("spacing 14.5m", Quantity(14.5, "m")),
        ("spacing 6", Quantity(6, "")),
        ("dbh 6in..10in", Range(Quantity(6, "in"), Quantity(10, "in"))),
        ("dbh 6..10in", Range(Quantity(6, "in"), Quantity(10, "in"))),
        ("dbh 6..10 in", Range(Quantity(6, "in"), Quantity(10, "in"))),
        ("stumps -3.5,40 1,2", Point(-3.5, 40)),
        ("fall 135deg", Bearing(135, "135deg")),
        ("fall N45E", Bearing(45, "N45E")),
        ("fall SSW", Bearing(202.5, "SSW")),
        ("crown-ratio 40%", Quantity(40, "%")),
    ],
)
def test_values_are_read_as_they_are_written(grammar: Grammar, line: str, value: object) -> None:
    assert value_of(grammar, line) == value


@pytest.mark.parametrize(
    ("written", "degrees"),
    [
        ("N68d05'35\"W", 360 - (68 + 5 / 60 + 35 / 3600)),
        ("N68-05-35W", 360 - (68 + 5 / 60 + 35 / 3600)),
        ("S68d05'35\"W", 180 + 68 + 5 / 60 + 35 / 3600),
        ("N26.6E", 26.6),
        ("S20E", 160),
        ("N90W", 270),
        ("30deg", 30),
        ("360deg", 360),
    ],
)
def test_bearings_as_surveyors_write_them(grammar: Grammar, written: str, degrees: float) -> None:
    value = value_of(grammar, f"fall {written}")
    assert isinstance(value, Bearing)
    assert value.degrees == pytest.approx(degrees, abs=1e-9)


def test_dates_periods_and_windows(grammar: Grammar) -> None:
    hunted = value_of(grammar, "hunted 2026-11-07..2027-01-18", 'plan "x"')
    assert hunted == Period(date(2026, 11, 7), date(2027, 1, 18))
    over_new_year = value_of(grammar, "period 11-01..03-31", "winds x")
    assert isinstance(over_new_year, Window)
    assert date(2027, 1, 15) in over_new_year and date(2026, 11, 1) in over_new_year
    assert date(2026, 3, 31) in over_new_year and date(2026, 6, 1) not in over_new_year


def test_a_line_may_mix_its_four_ways_of_writing(grammar: Grammar) -> None:
    line = "stumps 1,2 from 3,4 then N85W 140 then S80W 60yd beside lane left 12yd from 20yd to 140yd around bench 30yd lane 40yd"
    statement = grammar.parse(f"row x\n  {line}\n")[0][1]
    assert [value.kind for value in statement.values] == ["point", "traverse", "beside", "around", "station"]
    last = grammar.parse("row x\n  stumps 1,2 beside lane right 8\n")[0][1].values[-1].value
    assert (last.side, last.start, last.end) == ("right", None, None)
    with pytest.raises(Unreadable):
        grammar.parse("row x\n  stumps beside lane right 8 1,2\n")


def test_names_may_be_any_words_but_the_reserved(grammar: Grammar) -> None:
    plan = read_plan(Source("x", "pocket edge\n  outline 0,0 9,0 9,9\nrow hinge\n  in edge\n"), grammar, fragment=True)
    assert plan.names["edge"].noun == "pocket" and plan.names["hinge"].noun == "row"
    for word in sorted(RESERVED):
        told = read_plan(Source("x", f"pocket {word}\n  outline 0,0 9,0 9,9\n"), grammar, fragment=True)
        assert [slip.kind for slip in told.slips] == ["syntax"]


def test_long_lines_go_on_by_backslash_and_by_deeper_indent(grammar: Grammar) -> None:
    text = (
        'pocket a "A \\\n   title"\n  outline 0,0 10,0   # a corner\n    10,10\n    # nothing here\n    0,10\n'
        "  bed 1,1 \\\n   2,2\n"
    )
    plan = read_plan(Source("x", text), grammar, fragment=True)
    assert plan.slips == ()
    (block,) = plan.blocks
    assert block.title == "A title"
    assert len(block.first("outline").values) == 4
    assert len(block.first("bed").values) == 2


def test_an_edit_reads_again_only_the_blocks_it_changed(grammar: Grammar) -> None:
    text = (ROOT / "examples" / "fallow-ridge.habitat").read_text(encoding="utf-8")
    memory: dict[tuple[str, str], object] = {}
    read_plan(Source("x", text), grammar, memory=memory)
    before = set(memory)
    edited = text.replace("fall away from doe-run", "fall N20E").replace("# Fallow", "# Once more, Fallow")
    plan = read_plan(Source("x", edited), grammar, memory=memory)
    assert len(set(memory) - before) == 1
    row = plan.names["thicket-1"]
    fall = row.first("fall")
    assert row.span(fall).text == "fall N20E"


def test_crlf_and_an_encoding_mark_change_nothing(grammar: Grammar) -> None:
    text = (ROOT / "examples" / "fallow-ridge.habitat").read_text(encoding="utf-8")
    plain = read_plan(Source("x", text), grammar)
    other = read_plan(Source("x", files.decode(("\ufeff" + text.replace("\n", "\r\n")).encode(), "x")), grammar)
    assert other.slips == ()
    assert [block.label for block in plain.blocks] == [block.label for block in other.blocks]
    assert [block.span().line for block in plain.blocks] == [block.span().line for block in other.blocks]
