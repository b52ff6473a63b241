"""The standard form: laid out as a person would, said the same, stable, and broken blocks left alone."""

from __future__ import annotations

import re
import time
from collections import Counter
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from habitatlint.cli.starter import starter
from habitatlint.language.formatting import WIDTH, formatted
from habitatlint.language.plan import LAYOUT
from habitatlint.outputs.sentences import message
from habitatlint.reading.blocks import read
from habitatlint.reading.grammar import Grammar
from habitatlint.reading.values import Written
from habitatlint.review import Review
from habitatlint.source import Source

ROOT = Path(__file__).resolve().parent.parent.parent
EXAMPLES = sorted((ROOT / "examples").rglob("*.habitat"))
#: the example whose layout has planted slips
PLANTED = "lesson-quarter.habitat"
SAMPLE = (ROOT / "examples" / "fallow-ridge.habitat").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def grammar(review: Review) -> Grammar:
    return review.plan_grammar


@pytest.fixture(scope="module")
def laid(grammar: Grammar) -> Callable[[str], str]:
    return lambda text: formatted(Source("plan.habitat", text), grammar)


def bare(value: Any) -> Any:
    """A value with its places left out."""
    if isinstance(value, Written):
        return value.kind, bare(value.value)
    if isinstance(value, tuple):
        return type(value).__name__, *map(bare, value)
    return value


def said(text: str, grammar: Grammar) -> list[Any]:
    """What a text says: every block with its values and its slips, without places and the notes on indents."""
    return [
        (
            one.parsed.noun,
            [(line.rule, bare(line.values)) for line in (one.parsed.head, *one.parsed.statements) if line],
            [(slip.kind, slip.found, slip.expected) for slip in one.parsed.troubles if slip.kind != "mixed-indent"],
            one.parsed.broken,
        )
        for one in read(Source("plan.habitat", text), grammar, LAYOUT)
    ]


def comments(text: str) -> list[str]:
    """Comments in order; of texts that have no such sign in prose."""
    return [found.rstrip() for found in re.findall("#[^\n]*", text)]


def test_most_examples_stand_in_the_form_already(laid: Callable[[str], str]) -> None:
    changed = [path.name for path in EXAMPLES if laid(text := path.read_text(encoding="utf-8")) != text]
    assert changed == [PLANTED] and len(EXAMPLES) > 10
    begun = starter("My farm")
    assert laid(begun) == begun


FORMS = {
    "indents of any kind are two blanks": (
        "core a\n\toutline 0,0 9,0 9,9\n\twhy \"x\"\npath b\n      use entry\n   line 0,0 9,9\n",
        "core a\n  outline 0,0 9,0 9,9\n  why \"x\"\n\npath b\n  use entry\n  line 0,0 9,9\n",
    ),
    "one blank parts words, within a quantity too, and prose keeps its own": (
        'timber   a\t"Two  words"  \n  outline 0,0\t9,0   9,9  \n  class  6in..9in\t50\tsqft/ac\n',
        'timber a "Two  words"\n  outline 0,0 9,0 9,9\n  class 6in..9in 50 sqft/ac\n',
    ),
    "what prose is written against is parted from it": (
        'work\n  step 1 "Cut"by crew\n',
        'work\n  step 1 "Cut" by crew\n',
    ),
    "a blank line parts blocks, two stay where they part sections, more are two": (
        "place a\n  at 0,0\nplace b\n  at 0,0\n\n\nplace c\n  at 0,0\n\n\n\n\n\nplace d\n  at 0,0\n\n\n",
        "place a\n  at 0,0\n\nplace b\n  at 0,0\n\n\nplace c\n  at 0,0\n\n\nplace d\n  at 0,0\n",
    ),
    "blocks of one line may stand together": (
        'use pack "a"\ninclude "b"\n\n\n\nlevel core-bedding off\nstorm 2027-05-14\nstorm 2027-06-14\nplace a\n  at 0,0\n',
        'use pack "a"\ninclude "b"\n\n\nlevel core-bedding off\nstorm 2027-05-14\nstorm 2027-06-14\n\nplace a\n  at 0,0\n',
    ),
    "comments stay with the block below": (
        "\n\n# of the file\n\n\n\n  # of a\nplace a\n  at 0,0\n# of b\n\n\nplace b\n  at 0,0\n# the end",
        "# of the file\n\n\n# of a\nplace a\n  at 0,0\n\n# of b\n\nplace b\n  at 0,0\n\n# the end\n",
    ),
    "comments in a block are indented with it, and so are indented ones at its end": (
        "place a\n\n# where\n     at 0,0\n\n\n\n      # what\n  kind gate\n    # more\n\n# of b\nplace b\n  at 0,0\n",
        "place a\n  # where\n  at 0,0\n\n  # what\n  kind gate\n  # more\n\n# of b\nplace b\n  at 0,0\n",
    ),
    "comments behind lines stand in one column, unless a line is long": (
        "pocket a # head\n  outline 0,0 9,0 9,9\n  bed 1,1# one   \n  bed 10,10       #two\n\n  bed 2,2 # three\n",
        "pocket a  # head\n  outline 0,0 9,0 9,9\n  bed 1,1    # one\n  bed 10,10  #two\n\n  bed 2,2  # three\n",
    ),
    "a long line takes its comment behind it and moves no other": (
        f"pocket a\n  bed 1,1 # one\n  why \"{'long ' * 12}\" # two\n",
        f"pocket a\n  bed 1,1  # one\n  why \"{'long ' * 12}\"  # two\n",
    ),
    "a writer's own breaks stay, four blanks deep, with the backslash only where it is wanted": (
        "core a\n  outline 0,0 \\\n 9,0\n      9,9\n  why \"some \\\n      words\"\n  note \\\n\"x\"\n",
        "core a\n  outline 0,0\n    9,0\n    9,9\n  why \"some \\\n    words\"\n  note \\\n    \"x\"\n",
    ),
    "a line that would begin with a property's word keeps the backslash before it": (
        "path a\n  line 0,0 \\\n from 1,1 \\\n then N 4\n",
        "path a\n  line 0,0 \\\n    from 1,1\n    then N 4\n",
    ),
    "comments within a line that goes on stay where they are": (
        "core a\n  outline 0,0   # a corner\n\n   # and then\n     9,0 # another\n    9,9\n",
        "core a\n  outline 0,0  # a corner\n    # and then\n    9,0  # another\n    9,9\n",
    ),
    "a backslash that leads nowhere goes, and its comment stays": (
        "place a\n  at 0,0 \\\n\nplace b\n  at 0,0 \\\n   # here\n  kind gate\n",
        "place a\n  at 0,0\n\nplace b\n  at 0,0  # here\n  kind gate\n",
    ),
}  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
def test_the_form(form: str, laid: Callable[[str], str], grammar: Grammar) -> None:
    before, after = FORMS[form]
    assert laid(before) == after
    assert laid(after) == after
    assert said(before, grammar) == said(after, grammar)


@pytest.mark.parametrize(
    "line",
    [
        "  outline " + " ".join(f"{n}.5,{n * 7}.25" for n in range(40)),
        "  outline " + " ".join("44 6.3275N,92 17.9018W" for _ in range(9)),
        "  outline from 0,0" + " then N45E 40 then S80W 12 yd" * 9,
        "  outline " + " ".join(f"around thing-{n} 30 yd beside way-{n} left 4 from 20 to 140" for n in range(6)),
    ],
    ids=["points", "earth points", "a traverse", "pieces"],
)
def test_long_lines_are_broken_between_what_belongs_together(
    line: str, laid: Callable[[str], str], grammar: Grammar
) -> None:
    for head in ("core a", "hazard a"):
        before = f"{head}\n{line}  # behind\n"
        after = laid(before)
        lines = after.splitlines()
        assert len(lines) > 2 and all(len(one.partition("  #")[0]) <= WIDTH for one in lines)
        assert all(one.startswith("    ") for one in lines[2:]) and lines[-1].endswith("  # behind")
        assert not any(re.match(r"\s+(yd|[NS]\d|left|to)\b|\s+[\d.]+[NS],", one) for one in lines[2:])
        assert said(before, grammar) == said(after, grammar) and laid(after) == after
        # filled: the first word of a line would not have stood on the one above
        for above, below in pairwise(lines[1:]):
            assert len(above) + 1 + len(below.partition("  #")[0].strip()) > WIDTH


def test_a_long_list_of_points_in_a_path_is_never_broken_before_a_propertys_word(
    laid: Callable[[str], str], grammar: Grammar
) -> None:
    before = "path a\n  line " + " ".join(f"{n},0 from {n},1 then N 40" for n in range(20)) + "\n"
    after = laid(before)
    assert said(before, grammar) == said(after, grammar) and laid(after) == after and after.count("\n") > 4
    assert not re.search(r"\n +from", after)


BROKEN = "pocket  b\n      outline 0,0   9,0 9,,9 \n\tbed 1,1   # no\n\n   \n# above d \n"


def test_a_broken_block_is_left_as_it_is_and_the_others_are_laid_out(laid: Callable[[str], str]) -> None:
    text = f"place   a\n\tat 0,0\n\n\n\n\n{BROKEN}place  d\n at 1,1\n"
    assert laid(text) == f"place a\n  at 0,0\n\n\n\n\n{BROKEN}place d\n  at 1,1\n"
    junk = "not a plan\n   at all\n\n\n\n  1,2  3\nrow\n"
    assert laid(junk) == junk
    assert laid(junk.rstrip("\n")) == junk


def test_two_blanks_that_keep_a_name_from_being_a_unit_stay(laid: Callable[[str], str], grammar: Grammar) -> None:
    """`40  m 30` is forty along the way before, then thirty along a way called `m`; `40 m` would be metres."""
    text = "place a\n\tat 0,0\n\ntask b\n\tline lane 40  m 30\n"
    assert laid(text) == "place a\n  at 0,0\n\ntask b\n\tline lane 40  m 30\n"
    assert said(laid(text), grammar) == said(text, grammar)


def test_no_word_is_lost_by_a_fault_of_the_layout(laid: Callable[[str], str], monkeypatch: pytest.MonkeyPatch) -> None:
    text = "place a\n\tat 0,0 # here\n"
    monkeypatch.setattr("habitatlint.language.formatting._laid", lambda *_: "place a\n  at 0,0\n")
    assert laid(text) == text
    monkeypatch.setattr("habitatlint.language.formatting._laid", lambda *_: "place a\n  at 0,0# here\nplace b")
    assert laid(text) == text


def test_line_ends_are_those_of_most_lines(laid: Callable[[str], str]) -> None:
    lines = ["place a", "  at 0,0", "  kind gate"]
    assert laid("\r\n".join([*lines, ""])) == "\r\n".join([*lines, ""])
    assert laid("place a\r\n  at 0,0\r\n  kind gate\n") == "\r\n".join([*lines, ""])
    assert laid("place a\r\n  at 0,0\n  kind gate\n") == "\n".join([*lines, ""])
    assert laid("place a\r\n  at 0,,0\n  kind gate\r\n") == "place a\r\n  at 0,,0\r\n  kind gate\r\n"
    strange = "place a\r\r\n\tat 0,0\n"
    assert laid(strange) == strange


@pytest.mark.parametrize(
    ("text", "after"),
    [
        ("", ""),
        ("\n \n\n", ""),
        ("# x", "# x\n"),
        ("# x \n# y", "# x\n# y\n"),
        ("\n\n  # x \n\n\n\n# y\n\n", "# x\n\n\n# y\n"),
        ("\\", "\\\n"),
    ],
)
def test_texts_without_blocks(text: str, after: str, laid: Callable[[str], str]) -> None:
    assert laid(text) == after == laid(after)


# -- any layout -------------------------------------------------------------------------------------------------

#: words before which a second blank would part a quantity from its unit
UNITS = re.compile(r"(sqft/ac|hours|mL|of|per)$")
RUNS = ("outline", "line", "stumps", "gear", "training", "species", "winds", "bed")


def tokens(line: str) -> list[str]:
    return re.findall(r'"[^"]*"|[^ ]+', line)


def relaid(text: str, random: Random, *, breaks: bool) -> str:
    """A text in some other layout that says the same; with `breaks` with other line breaks and more comments too."""
    out: list[str] = []
    indent = "  "
    for number, line in enumerate(text.splitlines()):
        tail = random.choice(["", "", " ", "\t", "   "])
        if not line:
            kept = breaks or not out or random.random() < 0.5
            out += [random.choice(["", "", " ", "\t"])] * (random.randint(1, 4 if breaks else 1) if kept else 0)
            continue
        if line.startswith("#"):
            out.append(line + tail)
            continue
        if not line.startswith(" "):
            indent = random.choice([" ", "  ", "\t", "    ", "  \t", "      "])
        words = tokens(line.strip())
        laid = (indent if line.startswith(" ") else "") + words[0]
        for before, word in pairwise(words):
            close = bool(UNITS.match(word) or UNITS.match(before))
            part = " " if close else random.choice([" ", " ", " ", "  ", "\t", " \t "])
            if breaks and not close and random.random() < 0.15:
                runs = line.startswith(" ") and words[0] in RUNS and word not in ("from", "to")
                deeper = indent + random.choice([" ", "\t", "     "])
                ways = [" \\\n" + deeper, " \\ \n"] + ([f"\n{deeper}", f" # in {number}\n{deeper}"] if runs else [])
                part = random.choice(ways)
            laid += part + word
        if breaks and random.random() < 0.1:
            tail = random.choice([" # behind", "#x", "   # behind it  ", " \\\n", " \\\n  # far"])
        out.append(laid + tail)
        if breaks and random.random() < 0.1:
            out += random.choice([[""], ["", "", " "], [f"{indent}# below {number}"], ["# at the margin"]])
    ends = random.choice([["\n"], ["\r\n"], ["\n", "\r\n"], ["\n", "\n", "\r\n"]])
    body = "\n".join(out) + random.choice(["", "\n", "\n\n \n"])
    return re.sub("\n", lambda _: random.choice(ends), body)


def findings(review: Review, text: str) -> Counter[tuple[str, str, str]]:
    from datetime import date

    from habitatlint.findings import Policy

    review.memory.clear()
    report = review.check(Source("plan.habitat", text), Policy(date(2026, 2, 10)))
    return Counter(
        (one.rule, one.level.name, message(one, report.units))
        for one in (*report.findings, *report.waived)
        if one.rule != "record/mixed-indent"
    )


ANY = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@ANY
@given(seed=st.integers(0, 2**32))
def test_however_it_was_laid_out_it_comes_out_in_the_one_form(grammar: Grammar, seed: int) -> None:
    text = relaid(SAMPLE, Random(seed), breaks=False)
    assert formatted(Source("x", text), grammar).replace("\r\n", "\n") == SAMPLE


@ANY
@given(seed=st.integers(0, 2**32))
def test_no_layout_loses_a_value_or_a_comment_and_twice_is_once(grammar: Grammar, seed: int) -> None:
    text = relaid(SAMPLE, Random(seed), breaks=True)
    after = formatted(Source("x", text), grammar)
    assert said(text, grammar) == said(SAMPLE, grammar)  # the layouts tried say what the sample says
    assert said(after, grammar) == said(text, grammar)
    assert comments(after) == comments(text)
    assert formatted(Source("x", after), grammar) == after
    assert not re.search(r"[ \t]\r?$", after, re.MULTILINE) and "\t" not in after and after.endswith("\n")


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_example_in_any_layout_is_judged_the_same(path: Path, review: Review, grammar: Grammar) -> None:
    original = path.read_text(encoding="utf-8")
    random = Random(path.stem)
    text = relaid(original, random, breaks=path.name != PLANTED)
    after = formatted(Source("x", text), grammar)
    assert said(after, grammar) == said(text, grammar)
    assert formatted(Source("x", after), grammar) == after
    assert comments(after) == comments(text)
    assert findings(review, after) == findings(review, text)


odd = st.sampled_from(
    ["\t", "  ", "#", '"', "\\", "\\\n", "\n", "\n\n\n", "\r", "\r\n", ",", "..", "°", "é", "\u00a0", "\x0c", "\u2028",
     "\ufeff", "\x00", "from", "then", "row", "place x", "0,0", "4  in", "'", '"x"', " # c", "\n# c\n", "\n   # c\n"]
)  # fmt: skip


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(pieces=st.lists(st.tuples(st.floats(0, 1), odd), min_size=1, max_size=10), begin=st.floats(0, 0.7))
def test_slips_of_the_pen_change_nothing_of_this(
    grammar: Grammar, pieces: list[tuple[float, str]], begin: float
) -> None:
    text = SAMPLE[int(begin * len(SAMPLE)) :][:900]
    for where, piece in pieces:
        at = int(where * len(text))
        text = text[:at] + piece + text[at:]
    after = formatted(Source("x", text), grammar)
    assert said(after, grammar) == said(text.replace("\r\n", "\n"), grammar)
    assert formatted(Source("x", after), grammar) == after
    assert re.sub(r"[\s\\]", "", after) == re.sub(r"[\s\\]", "", text)  # only blanks and breaks ever change


@settings(max_examples=200, deadline=None)
@given(text=st.text(alphabet='ab0,1 \t\n\r\\"#.-N%\u00a0', max_size=80).map(lambda text: f"place a\n at 0,0{text}"))
def test_any_text_is_laid_out_or_left(grammar: Grammar, text: str) -> None:
    after = formatted(Source("x", text), grammar)
    assert formatted(Source("x", after), grammar) == after
    assert said(after, grammar) == said(text if after == text else text.replace("\r\n", "\n"), grammar)


def test_laying_out_takes_time_in_step_with_the_lines(grammar: Grammar) -> None:
    blocks = [f"\nrow  row-{n}\n\tmethod   hinge\n    stumps 0,{n}   9,{n} # {n}\n\tspacing 3\n" for n in range(4000)]

    def seconds(count: int) -> float:
        source = Source("x", "".join(blocks[:count]))
        start = time.process_time()
        formatted(source, grammar)
        return time.process_time() - start

    seconds(50)
    few, many = min(seconds(400) for _ in range(3)), seconds(4000)
    print(f"\n{4000 * 5 / many:,.0f} lines a second")
    assert many < 30 * few
