"""The rule language as a page: every line that a rule, its examples and a pack may have, by the grammar's own text."""

from __future__ import annotations

from habitatlint import files
from habitatlint.editor.rulefiles import HEADS, PACK_LINES, RULE_LINES
from habitatlint.outputs.words import rule_lines
from habitatlint.rulebook.rules import EXAMPLES, PACK_WORDS, RULE_WORDS

PAGE = rule_lines(files.grammar_texts()["rules"], RULE_LINES, PACK_LINES, HEADS)


def test_every_line_that_the_grammar_knows_is_told_once_with_what_it_is() -> None:
    words = [line.split()[0] for line in PAGE.splitlines() if line.startswith("  ") and line[2] != " "]
    assert sorted(words) == sorted([*RULE_WORDS, "rule", "pack", *EXAMPLES, *PACK_WORDS])


def test_a_line_is_written_as_the_grammar_reads_it() -> None:
    for form in (
        'limit NAME VALUE [RANGE] EVIDENCE ["..."]',
        "each NAME in PLURAL [, NAME in PLURAL [within FIGURE of THING] ...]",
        "per FIGURE [, FIGURE ...]",
        'report (error or warning or note) [when COMPARISON] [say "..." [many "..."]]',
        'also THING ["..."]',
        "split THING",
        "formerly NAME",
        'broken [on DATE [with set RULE.LIMIT VALUE ...] or with set RULE.LIMIT VALUE ...] [left "..."]',
        "set RULE.LIMIT VALUE",
    ):
        assert f"  {form}\n" in PAGE
