"""The lexers know the words of the grammars, and colour each token as the reader reads it."""

from __future__ import annotations

import contextlib
import random
import re
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lark.exceptions import UnexpectedInput
from pygments.lexers import get_lexer_by_name, get_lexer_for_filename
from pygments.token import STANDARD_TYPES, Comment, Error, Keyword, Literal, Name, Number, Operator, Punctuation, String

from habitatlint import files
from habitatlint.language.blocks import RESERVED
from habitatlint.language.highlight import (
    CSS_CLASSES,
    EXAMPLES,
    PLAN_FOLLOWS,
    RULE_FOLLOWS,
    RULE_LINES,
    PlanLexer,
    RuleLexer,
    highlighted,
)
from habitatlint.language.plan import LAYOUT, plan_grammar
from habitatlint.reading.blocks import _cut, _joined
from habitatlint.reading.grammar import Grammar
from habitatlint.reading.lexer import Lexeme as Token
from habitatlint.reading.values import BadValue
from habitatlint.rulebook.rules import _without_examples, rule_grammar
from habitatlint.source import Source
from habitatlint.units import UNITS

ROOT = Path(__file__).resolve().parents[2]
PLANS = sorted((ROOT / "examples").rglob("*.habitat"))
RULES = sorted((ROOT / "rules").rglob("*.rules"))

#: terminal of `grammar/values.lark` -> the types its tokens may have
KINDS: dict[str, tuple[Any, ...]] = {
    "STRING": (String.Double,),
    "NAME": (Name.Label, Name.Variable, Name.Function),
    "PACKED": (Name.Variable,),
    "RULE_LIMIT": (Name.Variable,),
    **dict.fromkeys(["POINT", "EARTH"], (Number.Float,)),
    **dict.fromkeys(["WIND", "QUADRANT", "DEGREES", "DECLINATION"], (Name.Constant,)),
    **dict.fromkeys(["DATE", "PERIOD", "DAY", "WINDOW"], (Literal.Date,)),
    **dict.fromkeys(
        "NUMBER LENGTH AREA SHARE PART DENSITY BASAL_AREA VOLUME DOSE SPEED DURATION RANGE".split(), (Number,)
    ),
}


class Lexeme(NamedTuple):
    """A token of the reader: its terminal, whether that is a keyword, its place, whether a line begins with it."""

    terminal: str
    word: bool
    start: int
    end: int
    first: bool


@pytest.fixture(scope="module")
def plans() -> Grammar:
    return files.grammar("plan", plan_grammar)


@pytest.fixture(scope="module")
def rules() -> Grammar:
    return files.grammar("rules", rule_grammar)


def text_of(path: Path) -> str:
    return files.read_source(str(path)).text


def words_of(grammar: Grammar) -> set[str]:
    return {word for word in grammar.words.values() if word[0].isalpha()}


def read(grammar: Grammar, text: str) -> list[Lexeme]:
    """The reader's own tokens, as far as the text can be read."""
    parser = grammar._lark.parse_interactive(text)
    found: list[Lexeme] = []
    first = True
    with contextlib.suppress(UnexpectedInput, BadValue):
        for token in parser.lexer_thread.lex(parser.parser_state):
            parser.feed_token(token)
            if token.type not in ("_NL", "_MARGIN"):
                word = grammar.words.get(token.type, "?")[0].isalpha()
                found.append(Lexeme(token.type, word, token.start_pos, token.end_pos, first))
            first = token.type in ("_NL", "_MARGIN")
    return found


def read_plan_tokens(grammar: Grammar, text: str) -> list[Lexeme]:
    """The reader's tokens of a plan, block by block and line by line where a line is broken."""
    found: list[Lexeme] = []
    cuts, _ = _cut(text, LAYOUT)
    for cut in cuts:
        if cut.stray and not cut.noun:
            continue
        whole = _joined(text, cut.joins, 0)
        for number, line in enumerate(cut.lines):
            above = f"{LAYOUT.heads[cut.noun]}\n  " if number else ""
            by = line.start - len(above)
            tokens = read(grammar, f"{above}{whole[line.start : line.end]}\n")
            found += [
                token._replace(start=token.start + by, end=token.end + by, first=token.start == len(above))
                for token in tokens
                if token.start >= len(above)
            ]
    return found


class Colours:
    """The tokens of a lexer by their places; together they are the text."""

    def __init__(self, lexer: PlanLexer | RuleLexer, text: str) -> None:
        self.text = text
        self.at: dict[int, tuple[int, Any]] = {}
        position = 0
        for start, kind, written in lexer.get_tokens_unprocessed(text):
            assert start == position and written
            position += len(written)
            self.at[start] = (position, kind)
            assert text[start:position] == written
        assert position == len(text)

    @property
    def errors(self) -> list[str]:
        return [self.text[start:end] for start, (end, kind) in self.at.items() if kind is Error]

    def differ(self, lexemes: list[Lexeme]) -> list[str]:
        """Where the lexer differs from the reader."""
        return [
            f"{self.text[one.start : one.end]!r} at {one.start}: {one.terminal}, not {self.at.get(one.start)}"
            for one in lexemes
            if not self._agrees(one)
        ]

    def _agrees(self, one: Lexeme) -> bool:
        end, kind = self.at.get(one.start, (0, None))
        if one.first:
            wanted: tuple[Any, ...] = (Keyword.Declaration, Name.Attribute)
        elif one.word:
            wanted = (Keyword.Constant, Operator.Word)
        else:
            wanted = KINDS.get(one.terminal, (Operator, Punctuation))
        return end == one.end and kind in wanted


# The words of the grammars


class Pairs:
    """Which terminals may follow which within a statement of a grammar, worked out from its rules."""

    def __init__(self, grammar: Grammar) -> None:
        self.words = grammar.words
        self.rules: dict[str, list[list[tuple[str, bool]]]] = defaultdict(list)
        for rule in grammar._lark.rules:
            self.rules[rule.origin.name].append([(symbol.name, symbol.is_term) for symbol in rule.expansion])
        empty = {origin for origin, many in self.rules.items() if [] in many}
        # what may be left out whole stands last, and so parts no neighbours
        assert not any(empty & {symbol for symbol, _ in one[:-1]} for many in self.rules.values() for one in many)
        self.first = self._ends(0)
        self.last = self._ends(-1)

    def _ends(self, which: int) -> dict[str, set[str]]:
        found: dict[str, set[str]] = defaultdict(set)
        size = -1
        while size != (size := sum(map(len, found.values()))):
            for origin, many in self.rules.items():
                for expansion in filter(None, many):
                    symbol, terminal = expansion[which]
                    found[origin] |= {symbol} if terminal else found[symbol]
        return found

    def _shown(self, terminal: str) -> str:
        named = {"NAME": "name", "PACKED": "name", "RULE_LIMIT": "name", "STRING": "text"}
        return self.words.get(terminal) or named.get(terminal, "value")

    def below(self, origin: str) -> set[str]:
        found, waiting = set(), [origin]
        while waiting:
            one = waiting.pop()
            if one not in found:
                found.add(one)
                waiting += [symbol for many in self.rules[one] for symbol, terminal in many if not terminal]
        return found

    def follows(self, statement: str) -> dict[str, frozenset[str]]:
        """What stands before -> the keywords that may follow, in a statement."""
        found: dict[str, set[str]] = defaultdict(set)
        for origin in self.below(statement):
            for expansion in self.rules[origin]:
                for (left, is_left), (right, is_right) in pairwise(expansion):
                    for before in {left} if is_left else self.last[left]:
                        words = {self.words.get(one, "") for one in ({right} if is_right else self.first[right])}
                        found[self._shown(before)] |= {word for word in words if word[:1].isalpha()}
        return {before: frozenset(words) for before, words in found.items() if words}

    def statements(self) -> Iterator[tuple[str, str, str]]:
        """Noun, word and rule of every statement; a single line's or a head's noun is its own word."""
        for expansion in self.rules["block"]:
            head = expansion[0][0]
            noun = self.words[next(iter(self.first[head]))] if len(self.first[head]) == 1 else ""
            for origin in [head, *(symbol for symbol, terminal in expansion[1:] if not terminal)]:
                for statement in self._plain(origin):
                    for first in self.first[statement]:
                        word = self.words.get(first, "")
                        yield (word if origin == head else noun), word, statement

    def _plain(self, origin: str) -> set[str]:
        """The statements that a choice of statements, or a run of such, comes to."""
        if not re.fullmatch(r"__block_.*|.*_property|single|common|cutting|action", origin) or self._says(origin):
            return {origin}
        return {
            one
            for expansion in self.rules[origin]
            for symbol, terminal in expansion
            if not terminal and symbol != origin
            for one in self._plain(symbol)
        }

    def _says(self, origin: str) -> bool:
        """The rule itself has a word: it is a statement."""
        return any(terminal and symbol != "_NL" for many in self.rules[origin] for symbol, terminal in many)


def table(grammar: Grammar, known: dict[str, Any]) -> dict[str, dict[str, frozenset[str]]]:
    """What the table of a lexer must hold, its keys `noun word` where the lexer has such a key."""
    pairs = Pairs(grammar)
    found: dict[str, dict[str, frozenset[str]]] = defaultdict(dict)
    for noun, word, statement in pairs.statements():
        key = f"{noun} {word}" if f"{noun} {word}" in known else word or "a property"
        for before, words in pairs.follows(statement).items():
            found[key][before] = found[key].get(before, frozenset()) | words
    return {key: row for key, row in found.items() if row}


def test_plans_have_the_keywords_of_their_grammar_and_no_other(plans: Grammar) -> None:
    assert table(plans, dict(PLAN_FOLLOWS)) == PLAN_FOLLOWS


def test_rules_have_the_keywords_of_their_grammar_and_no_other(rules: Grammar) -> None:
    assert table(rules, dict(RULE_FOLLOWS)) == RULE_FOLLOWS


def test_lines_of_rules_begin_with_the_words_of_the_grammar(rules: Grammar) -> None:
    assert RULE_LINES.keys() == rules.words_under("")
    assert set(EXAMPLES) == {noun for noun, words in RULE_LINES.items() if not words}
    for noun in ("rule", "pack"):
        assert RULE_LINES[noun] == rules.words_under(f"{noun} x")


def test_every_keyword_has_its_place(plans: Grammar, rules: Grammar) -> None:
    followed = [
        {word for row in follows.values() for words in row.values() for word in words}
        for follows in (PLAN_FOLLOWS, RULE_FOLLOWS)
    ]
    begins = [LAYOUT.nouns | LAYOUT.any_word, frozenset(RULE_LINES).union(*RULE_LINES.values())]
    for grammar, words, first in zip((plans, rules), followed, begins, strict=True):
        assert words | first == words_of(grammar)


# Values by their looks


def terminals(grammar: Grammar) -> dict[str, str]:
    return {
        terminal.name: terminal.pattern.to_regexp()
        for terminal in grammar._lark.terminals
        if terminal.name in KINDS and terminal.name != "NAME"
    }


END = "(?![^\\s#(),\\\\])"


@pytest.mark.parametrize("name", sorted(KINDS.keys() - {"NAME"}))
def test_every_value_has_the_colour_of_its_terminal(name: str, plans: Grammar) -> None:
    pattern = terminals(plans)[name].replace("(?:" + END + ")", "").replace(END, "")
    pattern = pattern.replace("(?![^\\s#()\\\\])", "")
    assert "(?!" not in pattern

    @settings(deadline=None)
    @given(st.from_regex(pattern, fullmatch=True))
    def holds(written: str) -> None:
        text = f"pocket x {written}\n"
        ((start, (end, kind)),) = [(at, one) for at, one in Colours(PlanLexer(), text).at.items() if at == 9]
        assert text[start:end] == written and kind in KINDS[name]

    holds()


# What the reader reads


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.stem)
def test_an_example_plan_is_coloured_as_it_is_read(path: Path, plans: Grammar) -> None:
    text = text_of(path)
    colours = Colours(PlanLexer(), text)
    lexemes = read_plan_tokens(plans, text)
    assert len(lexemes) > 20
    assert colours.differ(lexemes) == []
    if path.stem == "lesson-quarter":  # its slips are its lesson
        assert colours.errors == ["txet"]
    else:
        assert colours.errors == []


def example_tokens(grammar: Grammar, source: Source, first: int, last: int) -> list[Lexeme]:
    """The reader's tokens of the plan that stands in these lines of a rule file."""
    lines = ["" if line.startswith("#") else line for line in map(source.line, range(first, last + 1))]
    indent = min((len(line) - len(line.lstrip(" ")) for line in lines if line.strip()), default=0)
    plan = Source("", "\n".join("" if line.lstrip().startswith("^") else line[indent:] for line in lines) + "\n")

    def moved(offset: int) -> int:
        line, column = plan.line_column(offset)
        return source.offset(first + line - 1, column + indent)

    return [one._replace(start=moved(one.start), end=moved(one.end)) for one in read_plan_tokens(grammar, plan.text)]


@pytest.mark.parametrize("path", RULES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_a_rule_file_is_coloured_as_it_is_read_its_examples_as_plans(
    path: Path, plans: Grammar, rules: Grammar
) -> None:
    source = Source("", text_of(path))
    colours = Colours(RuleLexer(), source.text)
    body, bodies = _without_examples(source)
    lexemes = read(rules, body)
    assert lexemes[-1].end == len(body.rstrip()) or "#" in body[lexemes[-1].end :]
    assert colours.differ(lexemes) == []
    in_examples = [one for body in bodies for one in example_tokens(plans, source, body.first_line, body.last_line)]
    assert bool(in_examples) == bool(bodies)
    assert colours.differ(in_examples) == []
    assert colours.errors == (["outlin", "pokcet", "colour"] if path.stem == "unknown-word" else [])
    carets = sum(1 for line in source.text.split("\n") if line.lstrip().startswith("^"))
    assert carets == sum(1 for _, kind in colours.at.values() if kind is Comment.Special)


SAMPLES = {
    "STRING": '"a # \\" b"', "PACKED": "entry/tops-on-entry", "RULE_LIMIT": "closed-v.depth", "POINT": "-3.5,40",
    "EARTH": "43 42.720N,90 37.260W", "NUMBER": "7", "LENGTH": "20yd", "AREA": "2.5ac", "SHARE": "25%", "PART": "7 of 10",
    "DENSITY": "50 per acre", "BASAL_AREA": "110 sqft/ac", "VOLUME": "12 floz", "DOSE": "64 floz/ac", "SPEED": "7mph",
    "DURATION": "12 hours", "RANGE": "6in..10in", "DATE": "2026-02-10", "PERIOD": "2026-02-15..2026-03-10",
    "DAY": "05-20", "WINDOW": "11-01..03-31", "WIND": "SSW", "QUADRANT": "N68d05'35\"W", "DEGREES": "135deg",
    "DECLINATION": "2.5W", "_NL": "\n  ", "_MARGIN": "\n",
}  # fmt: skip


def walk(grammar: Grammar, names: list[str], chance: random.Random, length: int) -> str:
    """A text made by the grammar alone: at each place one of the terminals that may stand there."""
    parser = grammar._lark.parse_interactive("")
    pieces: list[str] = []
    while len(pieces) < length:
        terminals = sorted(name for name in parser.choices() if name.isupper() and name != "$END")
        chance.shuffle(terminals)
        if chance.random() < 0.75:  # keep lines long enough to be worth reading
            terminals.sort(key=lambda name: name in ("_NL", "_MARGIN"))
        for name in terminals:
            sample = SAMPLES.get(name) or grammar.words.get(name) or chance.choice(names)
            if name == "NAME" and any(grammar.words.get(other) == sample for other in terminals):
                continue
            ahead = parser.copy(deepcopy_values=False)
            try:
                ahead.feed_token(Token(name, sample, 0, 0))
            except UnexpectedInput:
                continue
            parser = ahead
            pieces.append(sample)
            break
        else:
            return ""
    return "".join(piece if piece in ("\n", "\n  ") else f"{piece} " for piece in pieces)


@pytest.mark.parametrize("seed", range(60))
def test_whatever_the_grammar_lets_stand_in_a_plan_is_coloured_so(seed: int, plans: Grammar) -> None:
    names = sorted(words_of(plans) - RESERVED - UNITS.keys() | {"lane", "oak-bench"})  # keywords are good names
    text = walk(plans, names, random.Random(seed), 200)
    lexemes = read(plans, text)
    assert lexemes[-1].end == len(text.rstrip())
    assert Colours(PlanLexer(), text).differ(lexemes) == []


@pytest.mark.parametrize("seed", range(60))
def test_whatever_the_grammar_lets_stand_in_a_rule_is_coloured_so(seed: int, plans: Grammar, rules: Grammar) -> None:
    # any word is a good name but those that expressions are made of
    made_of = {word for words in RULE_FOLLOWS["turn"].values() for word in words}
    names = sorted((words_of(plans) | words_of(rules)) - UNITS.keys() - made_of)
    text = walk(rules, names, random.Random(seed), 200)
    lexemes = read(rules, text)
    assert lexemes[-1].end == len(text.rstrip())
    # a property of a mend stands below `add` only; that is not the grammar's to say
    lexemes = [one for one in lexemes if not (one.first and one.terminal == "NAME")]
    assert Colours(RuleLexer(), text).differ(lexemes) == []


# Names, continued lines, broken text


def kinds(text: str, lexer: PlanLexer | RuleLexer | None = None) -> list[tuple[str, str]]:
    """What is written, with its short class; blanks left out."""
    return [
        (written, STANDARD_TYPES[kind])
        for _, kind, written in (lexer or PlanLexer()).get_tokens_unprocessed(text)
        if written.strip()
    ]


def test_a_noun_is_a_keyword_at_the_margin_and_a_name_elsewhere() -> None:
    assert kinds("row row\n  in edge\n  purpose edge\n  species hinge\n  fall along along\n") == [
        ("row", "kd"), ("row", "nl"), ("in", "na"), ("edge", "nv"), ("purpose", "na"), ("edge", "kc"),
        ("species", "na"), ("hinge", "nv"), ("fall", "na"), ("along", "ow"), ("along", "nv"),
    ]  # fmt: skip
    assert kinds("path p\n  from boundary\n")[-1] == ("boundary", "nv")
    assert kinds("setback s\n  from boundary\n")[-1] == ("boundary", "kc")


def test_all_that_a_rule_asks_something_to_be_are_names() -> None:
    rule = "rule x\n  where p.for is not does or any and count of t in trees > 3\n"
    assert kinds(rule, RuleLexer())[3:] == [
        ("p.for", "nv"), ("is", "ow"), ("not", "ow"), ("does", "nv"), ("or", "ow"), ("any", "nv"), ("and", "ow"),
        ("count", "ow"), ("of", "ow"), ("t", "nv"), ("in", "ow"), ("trees", "nv"), (">", "o"), ("3", "m"),
    ]  # fmt: skip


def test_lines_go_on_by_backslash_and_by_deeper_indent() -> None:
    text = 'row a\n  stumps beside edge \\\n left 8   # on\n    from 20 to 40\n  why "one \\\n two"\n    spacing 6\n'
    assert [one for one in kinds(text) if one[1] != "m"] == [
        ("row", "kd"), ("a", "nl"), ("stumps", "na"), ("beside", "ow"), ("edge", "nv"), ("\\\n ", "p"), ("left", "kc"),
        ("# on", "c1"), ("from", "ow"), ("to", "ow"), ("why", "na"), ('"one \\\n two"', "s2"), ("spacing", "na"),
    ]  # fmt: skip


def test_a_broken_line_costs_that_line() -> None:
    text = 'pokcet west\n  outlin 0,0\n  why "open\nrow a\n  Dbh 8"\n  spacing 6yards\n  method hing\n  method hinge\n'
    assert kinds(text) == [
        ("pokcet", "err"), ("west", "nv"), ("outlin", "err"), ("0,0", "mf"), ("why", "na"), ('"open', "s2"),
        ("row", "kd"), ("a", "nl"), ("Dbh", "err"), ("8", "err"), ('"', "s2"), ("spacing", "na"), ("6yards", "err"),
        ("method", "na"), ("hing", "nv"), ("method", "na"), ("hinge", "kc"),
    ]  # fmt: skip


def test_tree_height_in_two_words_begins_no_tree() -> None:
    assert kinds("row a\n  tree height 9ft\n  spacing 6\n")[2:5] == [("tree", "err"), ("height", "nv"), ("9ft", "m")]


def test_a_part_of_a_plan_is_coloured_without_its_block() -> None:
    assert kinds("  method hinge\n  spacing 6\n")[::2] == [("method", "na"), ("spacing", "na")]


ODD = st.sampled_from(
    ["row", "pocket", "rule", "broken", "mended", "outline", "stumps", "0,0", "N45E", "6in..", '"', "\\", "\\\n", "\n", "\r",
     "\r\n", "\t", "  ", " ", "#", "^", ",", "(", "..", "-", "°", "１", "é", "\u202e", "\x00", "\x0b", "\u2028", "\x85", "from", "is", "or"]
)  # fmt: skip
TEXTS = st.lists(ODD | st.text(max_size=3), max_size=40).map("".join)


@settings(deadline=None)
@given(TEXTS)
def test_whatever_is_typed_is_coloured_whole(text: str) -> None:
    Colours(PlanLexer(), text)
    Colours(RuleLexer(), text)


@settings(deadline=None)
@given(TEXTS)
def test_a_pages_lines_are_those_of_the_source(text: str) -> None:
    source = Source("x", text)
    lines = ["".join(written for _, written in line) for line in highlighted(text)]
    assert lines == [source.line(number) for number in range(1, len(source.line_starts) + 1)]


def test_a_page_gets_a_class_for_each_piece() -> None:
    assert highlighted('row a  # x\r\n  why "one \\\n two"\r\n') == [
        [("kd", "row"), ("", " "), ("nl", "a"), ("", "  "), ("c1", "# x")],
        [("", "  "), ("na", "why"), ("", " "), ("s2", '"one \\')],
        [("s2", ' two"')],
        [],
    ]
    assert all(re.fullmatch("[a-z][a-z0-9]*|", name) for name in CSS_CLASSES.values())
    assert len(set(CSS_CLASSES.values())) == len(CSS_CLASSES)


@pytest.mark.parametrize(
    "piece",
    ["a", "1", '"', "\\", '\\"', "1 ", "1 of ", "6..", "a-", "a.", "a/", "(", ",", "1,", "^", "#", " ", "\r", "N1", "a ", "row ",
     '"a\\\n', "row a\n", "\n", "  line\n    0,0\n", "1d1'", '" \\ '],
)  # fmt: skip
def test_a_long_line_of_anything_takes_no_more_than_its_length(piece: str) -> None:
    text = "row a\n  stumps 1" + piece * (250_000 // len(piece)) + "!"
    for lexer in (PlanLexer(), RuleLexer()):
        began = time.process_time()
        assert sum(len(written) for _, _, written in lexer.get_tokens_unprocessed(text)) == len(text)
        # were it quadratic, it would be 30 billion steps
        assert time.process_time() - began < 8


@pytest.mark.parametrize("piece", ["a", "1", '"', "# ", "a-", '\\"'])
def test_a_megabyte_in_one_line_is_coloured(piece: str) -> None:
    text = f'row a\n  why "{piece * (1_000_000 // len(piece))}\n  spacing 6\n'
    lines = highlighted(text)
    assert "".join(written for line in lines for _, written in line) == text.replace("\n", "")
    assert lines[2][1] == ("na", "spacing")


# In Pygments


def test_pygments_finds_the_lexers_by_name_and_by_file() -> None:
    assert isinstance(get_lexer_by_name("habitat"), PlanLexer)
    assert isinstance(get_lexer_by_name("habitat-rules"), RuleLexer)
    assert isinstance(get_lexer_for_filename("ridge.habitat"), PlanLexer)
    assert isinstance(get_lexer_for_filename("closed-v.rules"), RuleLexer)


def test_pygmentize_colours_a_plan() -> None:
    plan = ROOT / "examples" / "fallow-ridge.habitat"
    run = subprocess.run(
        [sys.executable, "-m", "pygments", "-f", "html", str(plan)], capture_output=True, text=True, check=True
    )
    assert '<span class="kd">pocket</span><span class="w"> </span><span class="nl">clover-side</span>' in run.stdout
    assert 'class="err"' not in run.stdout
