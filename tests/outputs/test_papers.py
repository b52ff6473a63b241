"""A paper in its four forms: text, CSV, print and page."""

from __future__ import annotations

import csv
import html
import re
import subprocess
from datetime import date
from pathlib import Path

import pytest
from real_parts import program

from habitatlint.cli.assembly import paper_assets, paper_page_assets
from habitatlint.outputs.papers.as_csv import as_csv
from habitatlint.outputs.papers.as_page import as_page
from habitatlint.outputs.papers.as_print import as_print
from habitatlint.outputs.papers.as_text import WIDTH, as_text
from habitatlint.outputs.papers.paper import (
    Cautions,
    Column,
    Items,
    Paper,
    Picture,
    Section,
    Table,
    Terms,
    Words,
    texts,
)  # fmt: skip

LONG = "cut them through along the lane and treat the stumps the same hour with the mix that the label allows " * 2
TABLE = Table(
    (Column("No.", right=True), Column("Cut", share=1), Column("How", share=3)),
    (("1", "thicket-1", LONG), ("20", "lane-screen", "fell")),
    "What is cut",
    ticks=True,
    total=("", "In all", "2"),
)
SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="10mm" viewBox="0 0 40 10"><defs><pattern id="h"/></defs><rect fill="url(#h)" width="40" height="10"/></svg>'
PAPER = Paper(
    "Sorrel Bench",
    "Order of work",
    (("Plan", "sorrel-bench.habitat"),),
    (
        Section(
            "first",
            "First things",
            (
                Words("Five days, two people.", "lead"),
                Cautions("Read this first", ("Two tree lengths from anyone.",)),
                TABLE,
                Items(("hard hat", "gloves"), ticks=True),
                Items(("walk in", "look up"), numbered=True),
                Terms((("label", "as the product says"),)),
                Words("So that does have no cause to cross.", "why"),
                Picture(SVG, 40, 10, "a hatched bar"),
            ),
            (Section("inner", "Inside", (Words("deeper"),)),),
        ),
        Section("second", "Second things", (Words("more"),), apart=True),
    ),
    "Local codes stand above this paper.",
)


def words_of(text: str) -> set[str]:
    return set(re.findall(r"\w+", text))


def test_text_holds_every_word_and_is_no_wider_than_a_page() -> None:
    page = as_text(PAPER)
    assert words_of(" ".join(texts(PAPER.sections))) <= words_of(page)
    assert max(map(len, page.splitlines())) <= WIDTH
    assert "[ ]   1  thicket-1" in page and "[ ] hard hat" in page and "2. look up" in page


def test_columns_of_text_stand_under_their_heads() -> None:
    lines = as_text(PAPER).splitlines()
    head = next(line for line in lines if "No." in line)
    row = next(line for line in lines if "lane-screen" in line)
    assert head.index("Cut") == row.index("lane-screen") and head.index("How") == row.index("fell")
    assert row.index("20") + 2 == head.index("No.") + 3  # figures end where their head ends


def test_text_keeps_what_steers_a_terminal_out() -> None:
    page = as_text(PAPER._replace(title="A\x1b[31mB\u202eC", facts=(("Plan", "x\x07y"),)))
    assert "\x1b" not in page and "\u202e" not in page and "\x07" not in page


def test_csv_is_read_back_and_runs_no_formula() -> None:
    """Cells that begin with = + - @ are worked out by spreadsheets (OWASP, "CSV Injection"; from memory)."""
    table = TABLE._replace(rows=(("=1+1", 'say "no", twice', "-12"), ("-x", "@a", "+b")))
    rows = list(csv.reader(as_csv(table).splitlines()))
    assert rows == [["No.", "Cut", "How"], ["'=1+1", 'say "no", twice', "-12"], ["'-x", "'@a", "'+b"]]


def test_a_page_escapes_what_a_plan_says_and_has_no_script() -> None:
    evil = '<script>alert("x")</script>'
    page = as_page(PAPER._replace(title=evil, sections=(Section("a", evil, (Words(evil),)),)), paper_page_assets())
    assert "<script" not in page
    assert page.count(html.escape(evil)) == 4
    assert "default-src 'none'" in page and "http:" not in page.replace("http://www.w3.org/", "")


def test_pictures_on_a_page_keep_their_own_names() -> None:
    other = PAPER.sections[0]._replace(parts=(Picture(SVG.replace("40mm", "50mm"), 50, 10, "another"),), sections=())
    page = as_page(PAPER._replace(sections=(*PAPER.sections, other)), paper_page_assets())
    names = re.findall(r'<pattern id="([^"]+)"', page)
    assert len(names) == 2 and len(set(names)) == 2
    assert all(f"url(#{name})" in page for name in names)


@pytest.mark.parametrize(("on", "size"), [("letter", "612 x 792"), ("a4", "595.276 x 841.89")])
def test_print_holds_every_word_at_the_size_of_its_paper(tmp_path: Path, on: str, size: str) -> None:
    pdf = as_print(PAPER, paper_assets(), on)
    assert as_print(PAPER, paper_assets(), on) == pdf
    file = tmp_path / "paper.pdf"
    file.write_bytes(pdf)
    said = subprocess.run([program("pdftotext"), "-layout", str(file), "-"], capture_output=True, text=True, check=True)
    wanted = words_of(" ".join(text for text in texts(PAPER.sections) if text != "a hatched bar"))
    assert wanted - words_of(said.stdout) == set()
    told = subprocess.run([program("pdfinfo"), str(file)], capture_output=True, text=True, check=True).stdout
    assert f"Page size:       {size} pts" in told
    assert "Pages:           2" in told


def test_nothing_of_a_plan_is_set_as_markup() -> None:
    """typst would take these for code, emphasis, a heading and a reference."""
    said = '#panic("run") *b* = h @ref $x$ \\ //'
    assert as_print(PAPER._replace(title=said, sections=(Section("a", said, (Words(said),)),)), paper_assets())


def test_a_page_is_readable_on_a_telephone(browser: object, tmp_path: Path) -> None:
    file = tmp_path / "paper.html"
    file.write_text(as_page(PAPER, paper_page_assets()), encoding="utf-8")
    page = browser.new_page(viewport={"width": 400, "height": 800})  # type: ignore[attr-defined]
    page.goto(file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 400
    assert page.locator("h1").inner_text() == "Sorrel Bench"
    page.close()


def test_the_day_of_a_paper_is_the_one_it_was_judged_by() -> None:
    from habitatlint.cli.assembly import review
    from habitatlint.findings import Policy
    from habitatlint.outputs.papers.heading import heading
    from habitatlint.source import Source

    text = 'plan "Sorrel Bench"\n  date 2026-02-10\n  stage as-built\nboundary\n  outline 0,0 9,0 9,9 0,9\nbad line\n'
    report = review().check(Source("s.habitat", text), Policy(date(2026, 3, 1)))
    facts = dict(heading(report, date(2026, 3, 1), "Tally").facts)
    assert facts["Plan"] == "s.habitat, of 2026-02-10"
    assert facts["Judged as of"] == "2026-03-01"
    assert facts["Stage"] == "the ground as it was built"
    assert facts["Not read"].startswith("1 line of the plan cannot be read")
