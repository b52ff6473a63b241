"""Texts made from the grammars themselves, and a fuzzer of them: `python tests/fuzz/grammar.py plan --minutes 10`.

A text follows the grammar file from rule to rule, by hypothesis; its values are of the kinds the grammar wants, names
come from a small pool, so that many stand for something. Others are
sound texts with a few lines made so. Some are then spoilt in a few places. As values end at
blanks, every word is written with one before it.
"""

from __future__ import annotations

import argparse
import hashlib
import re
import sys
import tempfile
import time
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from hypothesis.extra.lark import from_lark
from lark import Lark

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from fuzz import running, seeds, truths

from habitatlint import files

NAMES = "oak elm lane high plot first m in from edge ridge mix-a glyphosate k t".split()
_sizes = st.sampled_from(["0", "1", "2", "8", "12.5", "40", "100", "399.9", "-3", "5000", "0.001", "99999999", "007"])
_points = st.sampled_from(
    ["0,0", "40,0", "40,40", "0,40", "20,20", "60,60", "100,0", "120.5,44", "-20,-7", "200,200", "400,0", "0.01,0.01",
     "9999,9999", "1000000,0"]
)  # fmt: skip
_dates = st.sampled_from("2026-02-10 2026-11-07 2024-02-29 2027-01-18 2025-02-29 0001-01-01 9999-12-31".split())
_days = st.sampled_from(["11-07", "02-28", "02-29", "12-31", "01-01", "13-01"])
_plurals = st.sampled_from(
    "pockets trees stands paths foods rows steps walks beds works treatments mixes crews".split()
)


def _sized(*units: str) -> st.SearchStrategy[str]:
    return st.tuples(_sizes, st.sampled_from(units)).map("".join)


def _rarely(*pieces: str) -> st.SearchStrategy[str]:
    return st.sampled_from([" "] * 12 + [*pieces])


#: terminal -> what stands for it
PLAIN: dict[str, st.SearchStrategy[str]] = {
    "STRING": st.sampled_from(['"x"', '"Two words"', '""', '"a \\\n   b"', '"{k} {measured}"', '"\u202e{"', '"1.0"', '"=1+1"']),
    "NAME": st.sampled_from(NAMES) | _plurals,
    "PACKED": st.sampled_from(["entry/tops-on-entry", "escape/closed-v", "record/syntax", "a/b"]),
    "RULE_LIMIT": st.sampled_from(
        ["k.bed", "t.fall", "k.name", "k.at", "t.dbh", "a-rule.limit", "closed-v.least", "plan.hunted", "k.outline", "k.trees"]
    ),
    "POINT": _points,
    "EARTH": st.sampled_from(["41.8830N,91.2260W", "0N,0E", "90N,180W", "44 6.3275N,92 17.9018W", "91N,0E"]),
    "NUMBER": _sizes,
    "LENGTH": _sized("yd", "ft", "in", "m", "cm", " yd", " in"),
    "AREA": _sized("ac", "ha", "sqft", " sqm"),
    "SHARE": _sized("%", " %"),
    "PART": st.tuples(_sizes, _sizes).map(" of ".join),
    "DENSITY": _sized(" per acre", " per ha"),
    "BASAL_AREA": _sized("sqft/ac", " sqm/ha"),
    "VOLUME": _sized("floz", "gal", "mL", " L"),
    "DOSE": _sized("qt/ac", "L/ha"),
    "SPEED": _sized("mph", "m/s", "kn"),
    "DURATION": _sized(" hours", " day", " weeks", " years"),
    "RANGE": st.tuples(_sizes, st.sampled_from(["in..", "..", "ft..", "cm.."]), _sized("in", "ft", "cm", "", " in")).map("".join),
    "DATE": _dates,
    "PERIOD": st.tuples(_dates, _dates).map("..".join),
    "DAY": _days,
    "WINDOW": st.tuples(_days, _days).map("..".join),
    "WIND": st.sampled_from("N NNE NE E SE S SSW W NW".split()),
    "QUADRANT": st.sampled_from(["N45E", "S0W", "N90E", "S12-30W", "N12d30'15\"E", "N91E"]),
    "DEGREES": _sized("deg", " deg"),
    "DECLINATION": st.sampled_from(["1.5W", "0E", "12.25E", "99W"]),
    "CONTINUATION": _rarely(" \\\n    ", "\\ \r\n\t"),
    "BLANK": st.sampled_from([" ", "  ", "\t"]),
    "COMMENT": _rarely(" # c\n   "),
    "_NL": st.sampled_from(["\n  ", "\n\t", "\n\n  # c\n  ", "\r\n  "]),
    "_MARGIN": st.sampled_from(["\n", "\n\n", "\n# c\n", "\r\n"]),
}  # fmt: skip
#: terminals that are not written with a blank before them
UNSPACED = ("_NL", "_MARGIN", "CONTINUATION", "BLANK", "COMMENT")
SPOILING = (
    "\t", "\n", "\n  ", "#", '"', "\\", ",", "..", "(", ")", "-", "%", "\u202e", "\ufeff", "é", "１", "\r", " from ", " of ",
)  # fmt: skip
_spoilt = st.lists(st.tuples(st.floats(0, 1), st.sampled_from(SPOILING), st.integers(0, 6)), max_size=3)


#: sound texts, of which some lines are exchanged
SEEDS = {"plan": seeds.plan_seeds, "rules": seeds.rule_seeds}
#: what half of the texts begin with, so that names stand for something and rules have a subject
FRAMES = {
    "plan": truths.SMALL,
    "rules": 'rule a-rule\n  title "A rule"\n  because "so"\n  limit least 20yd 1yd..90yd common-practice\n',
}


@cache
def texts(language: str) -> st.SearchStrategy[str]:
    """Texts of the plan language ("plan") or of the rule language ("rules"): some blocks, each a head with properties, as
    the grammar's rule `block` pairs them."""
    grammar = files.grammar_texts()
    heads = dict(_pairs(grammar[language]))
    lark = Lark(
        grammar[language], parser="lalr", start=["block", *heads, *filter(None, heads.values())],
        source_path=f"{language}.lark", import_paths=[lambda _, path: (f"<{path}>", grammar[path.removesuffix(".lark")])],
    )  # fmt: skip

    def written(terminal: Any) -> st.SearchStrategy[str]:
        plain = PLAIN[terminal.name] if terminal.name in PLAIN else st.just(terminal.pattern.value)
        return plain if terminal.name in UNSPACED else plain.map(" {}".format)

    @cache
    def of(rule: str) -> st.SearchStrategy[str]:
        terminals, _, _ = lark.grammar.compile([rule], ())
        explicit = {terminal.name: written(terminal) for terminal in terminals}
        return from_lark(lark, start=rule, explicit=explicit).map(str.strip)

    def block(head: str, own: str) -> st.SearchStrategy[str]:
        properties = st.lists(of(own), max_size=9) if own else st.just([])
        return st.tuples(of(head), st.lists(PLAIN["_NL"], min_size=9, max_size=9), properties).map(
            lambda parts: parts[0] + "".join(map("".join, zip(parts[1], parts[2], strict=False)))
        )

    # each kind of block is drawn by itself, so that none is rare
    blocks = st.one_of([block(head, heads[head]) for head in sorted(heads)])
    rest = st.lists(st.tuples(blocks, PLAIN["_MARGIN"]).map("".join), min_size=1, max_size=8).map("".join)
    framed = st.sampled_from(["", FRAMES[language]])
    properties = st.one_of([of(own) for own in sorted(set(heads.values()) - {""})])
    sound = st.sampled_from([one.decode() for one in SEEDS[language]()])
    grafts = st.lists(st.tuples(st.floats(0, 1), properties, st.booleans()), min_size=1, max_size=3)
    return st.tuples(framed, rest).map("".join) | st.tuples(sound, grafts).map(_grafted)


def _grafted(parts: tuple[str, list[tuple[float, str, bool]]]) -> str:
    """A sound text with some of its lines in the place of others, or beside them."""
    text, grafts = parts
    lines = text.splitlines()
    for where, line, instead in grafts:
        at = int(where * (len(lines) - 1)) + 1
        lines[at : at + instead] = [f"  {line}"]
    return "\n".join([*lines, ""])


def _pairs(grammar: str) -> list[tuple[str, str]]:
    """The heads of blocks in a grammar's text, each with the rule of its properties, "" for a line by itself."""
    own = re.search(r"(?m)^block:((?:.|\n(?= ))*)", grammar)
    assert own is not None
    return re.findall(r"(\w+) +(?:\(_NL (\w+)\)\* +)?_MARGIN", own[1])


@st.composite
def spoilt(draw: st.DrawFn, language: str) -> str:
    """Texts of a language, some of them with slips of the pen."""
    text = draw(texts(language))
    for where, piece, gone in draw(_spoilt):
        at = int(where * len(text))
        text = text[:at] + piece + text[at + gone :]
    return text


def main() -> None:
    parser = argparse.ArgumentParser(description="fuzzes a language by its grammar")
    parser.add_argument("language", choices=["plan", "rules"])
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--work", type=Path, help="the folder to work in, a new one if none is given")
    parser.add_argument("--keep", action="store_true", help="distil what was reached into the corpus")
    asked = parser.parse_args()
    work = asked.work or Path(tempfile.mkdtemp(prefix="fuzz-"))
    grown, run = work / "grown", work / "run-grammar"
    for folder in (grown, run):
        folder.mkdir(parents=True, exist_ok=True)
    truth = truths.plan if asked.language == "plan" else truths.rules
    catch = running.Catch(truth, run)
    end = time.monotonic() + asked.minutes * 60
    number = asked.seed
    while time.monotonic() < end:

        @seed(number)
        @settings(
            max_examples=100,
            deadline=None,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(text=spoilt(asked.language))
        def once(text: str) -> None:
            if time.monotonic() < end:
                data = text.encode()
                catch(data)
                if len(data) <= running.LARGEST:
                    (grown / hashlib.sha256(data).hexdigest()[:16]).write_bytes(data)

        once()
        number += 1
    catch.tell()
    running.end_of(truth, asked.language, work, asked.keep)


if __name__ == "__main__":
    main()
