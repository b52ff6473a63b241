"""Price lists in a plan: how they are written, read aloud, and told where they lack something."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from habitatlint import files
from habitatlint.check import Report
from habitatlint.language.blocks import Rates
from habitatlint.language.formatting import formatted
from habitatlint.language.plan import plan_grammar
from habitatlint.source import Source
from habitatlint.units import Quantity

Told = Callable[..., list[str]]
LIST = """\
rates county-2025 "County price list"
  year 2025
  source "the county's price list"
  currency "US dollars"
"""


@pytest.mark.parametrize(
    "line",
    [
        "cost 65 per hour",
        "cost 4.50 per tree hinge",
        "cost 4.50 per tree hinge fell girdle frill hack-and-squirt release treatment",
        "cost 900 per acre release",
        "cost 2200 per ha release hack-and-squirt",
        "cost 95 per gal concentrate",
        "cost 25 per litre concentrate",
        "pays 350 per thousand-board-feet",
        "pays 40 per cord",
        'note "asked by telephone"',
    ],
)
def test_a_line_of_a_price_list_is_read_as_it_is_said(told: Told, line: str) -> None:
    assert told(LIST + f"  {line}\n") == []


def test_its_figures_are_kept_as_they_are_written(report_of: Callable[..., Report]) -> None:
    report = report_of(LIST + "  cost 4.50 per tree hinge fell\n  cost 900 per acre release\n  pays 40 per cord\n")
    (rates,) = report.plan.of(Rates)
    assert rates.year is not None and rates.year.value == Quantity(2025, "")
    trees, ground = rates.cost
    assert [value.value for value in trees.values] == [Quantity(4.5, ""), "per", "tree", "hinge", "fell"]
    assert [value.value for value in ground.values] == [Quantity(900, "per acre"), "release"]
    assert [value.value for value in rates.pays[0].values] == [Quantity(40, ""), "per", "cord"]


@pytest.mark.parametrize(
    ("without", "says"),
    [
        ("year 2025", "rates county-2025 needs `year`, the year of the figures"),
        ('source "the county\'s price list"', "rates county-2025 needs `source`, whose figures they are"),
        ('currency "US dollars"', "rates county-2025 needs `currency`, the money they are in"),
    ],
)
def test_a_price_is_nothing_without_its_year_its_source_and_its_money(told: Told, without: str, says: str) -> None:
    lines = told(LIST.replace(f"  {without}\n", ""))
    assert len(lines) == 1 and says in lines[0]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("cost 65 an hour", "`an` is not a word known here; expected `per`"),
        ("cost -3 per tree hinge", "`-3` is less than nothing"),
        ("cost 5 per tree hing", "`hing` is not a word known here; did you mean `hinge`?"),
        ("cost 5 per tree", "expected"),
        ("pays 40", "expected `per`"),
        ("pays 40 per bushel", "expected `cord` or `thousand-board-feet`"),
        ("cost 1e9 per hour", "`1e9`"),
    ],
)
def test_what_is_wrong_in_a_line_is_told_at_its_word(told: Told, line: str, says: str) -> None:
    lines = told(LIST + f"  {line}\n")
    assert len(lines) == 1 and says in lines[0], lines


@pytest.mark.parametrize("year", ["25", "2025.5", "99999", "-2025"])
def test_a_year_has_four_figures(told: Told, year: str) -> None:
    (line,) = told(LIST.replace("year 2025", f"year {year}"))
    assert f"`{year}` is no year: write all of it, as in `2026`" in line


def test_it_is_laid_out_like_any_block() -> None:
    grammar = files.grammar("plan", plan_grammar)
    messy = LIST.replace("  year 2025", "     year   2025").replace("currency ", "currency     ")
    assert formatted(Source("x", messy), grammar) == LIST
