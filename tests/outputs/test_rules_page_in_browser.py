"""The page of rules in a real browser, wide, on a phone and printed: no entry and no figure is torn apart, and examples
are printed though they are closed."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from real_parts import program

from habitatlint.cli.ruling import page_of
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook

KEPT = {"entry", "felling"}
TORN = """selector => [...document.querySelectorAll(selector)].filter(one => {
  const range = document.createRange();
  range.selectNodeContents(one);
  return new Set([...range.getClientRects()].map(box => Math.round(box.bottom))).size > 1;
}).length"""


@pytest.fixture(scope="module")
def written(review: Review, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of two packs, with the first examples of each rule: enough to fill columns and sheets."""
    packs = [
        pack._replace(rules=tuple(rule._replace(examples=rule.examples[:2]) for rule in pack.rules))
        for pack in review.rulebook.packs
        if pack.name in KEPT
    ]
    path = tmp_path_factory.mktemp("rules") / "rules.html"
    page = page_of(Review(review.plan_grammar, Rulebook(tuple(packs)), review.find, review.find_pack))
    path.write_text(page, encoding="utf-8")
    return path


@pytest.fixture(params=[1400, 400])
def tab(request: pytest.FixtureRequest, browser: Any, written: Path) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": request.param, "height": 900})
    page = context.new_page()
    page.goto(written.as_uri())
    yield page
    context.close()


def test_no_entry_of_the_index_is_in_two_columns_and_no_range_on_two_lines(tab: Any) -> None:
    in_two = tab.evaluate("""() => [...document.querySelectorAll('nav li')].filter(one =>
      one.getClientRects().length > 1).length""")
    assert in_two == 0
    assert tab.evaluate(TORN, ".limits tr:not(.words) td:nth-child(3)") == 0
    assert tab.evaluate("() => document.documentElement.scrollWidth - innerWidth") <= 0


def test_a_rule_is_printed_with_its_table_and_its_examples(browser: Any, written: Path, review: Review) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(written.as_uri())
    printed = page.pdf(format="Letter")
    context.close()
    read = subprocess.run([program("pdftotext"), "-layout", "-", "-"], input=printed, capture_output=True, check=True)
    sheets = read.stdout.decode().split("\f")
    assert sum(sheet.count("A plan that breaks it") for sheet in sheets) >= sum(
        example.kind == "broken" for rule in review.rulebook.rules if rule.pack in KEPT for example in rule.examples[:2]
    )
    for rule in review.rulebook.rules:
        if rule.pack in KEPT and rule.limits:
            (sheet,) = (sheet for sheet in sheets if f"{rule.name}\n" in sheet)
            own = sheet.partition(f"{rule.name}\n")[2]
            assert all(limit in own for limit in rule.limits), rule.name
