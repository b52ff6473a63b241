"""`handover`: the whole deliverable, as a page, as a print, and in sections that are chosen."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from real_parts import program

from habitatlint.check import Report
from habitatlint.cli.main import main
from habitatlint.outputs.map.drawing import draw
from habitatlint.outputs.map.press import find_no_picture
from habitatlint.outputs.papers import work
from habitatlint.outputs.papers.handover import SECTIONS, Wanted, handover
from habitatlint.work.order import order_of

ROOT = Path(__file__).parent.parent
SMALL = ROOT / "examples" / "tavrish-road.habitat"
DAY = ("--today", "2026-02-10")
TODAY = date(2026, 2, 10)


def run(*words: object) -> Result:
    return CliRunner().invoke(main, ["handover", *map(str, words), *DAY])


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    return Path(shutil.copy(SMALL, tmp_path / "farm.habitat"))


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The small example as a page and as a print."""
    folder = tmp_path_factory.mktemp("handover")
    page, printed = folder / "h.html", folder / "h.pdf"
    for file in (page, printed):
        result = run(SMALL, "-o", file)
        assert result.exit_code == 0, result.output
    return page, printed


def said_in(printed: Path) -> str:
    told = subprocess.run([program("pdftotext"), "-layout", str(printed), "-"], capture_output=True, check=True)
    return told.stdout.decode()


def test_a_print_holds_every_section_and_the_map_at_its_scale(pages: tuple[Path, Path]) -> None:
    said = said_in(pages[1])
    for heading in (
        "The property", "People first", "What is done where, and why", "Order of work and cut list", "Emergency card",
        "Tally", "Winds", "Findings left", "Words used here", "Sources",
    ):  # fmt: skip
        assert heading in said, heading
    assert "1 in = 400 ft, 1:4800" in said
    assert "The does' own cover, at the food." in said  # the plan's own why
    assert "a trained feller decides tree by tree" in " ".join(said.split())


def test_what_could_hurt_people_stands_before_map_and_work(pages: tuple[Path, Path]) -> None:
    said = said_in(pages[1])
    assert said.index("People first") < said.index("1 in = 400 ft") < said.index("Order of work and cut list")
    assert "hinges stems up to 14 in thick" in said[: said.index("1 in = 400 ft")]


def test_pages_of_a_print_can_be_drawn(pages: tuple[Path, Path], tmp_path: Path) -> None:
    subprocess.run([program("pdftoppm"), "-r", "20", "-png", str(pages[1]), str(tmp_path / "p")], check=True)
    drawn = sorted(tmp_path.glob("p-*.png"))
    assert len(drawn) > 10
    assert all(one.stat().st_size > 500 for one in drawn)


def test_a_page_is_whole_and_asks_no_network(pages: tuple[Path, Path], browser: Any) -> None:
    asked: list[str] = []
    said: list[str] = []
    page = browser.new_page(viewport={"width": 1000, "height": 800})
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto(pages[0].as_uri())
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert said == []  # nothing is refused by the page's own policy
    for link in page.locator("nav a").all():
        assert page.locator(str(link.get_attribute("href"))).count() == 1
    widths = page.eval_on_selector_all("figure.sheet img", "images => images.map(one => one.naturalWidth)")
    assert len(widths) >= 4 and min(widths) > 0
    page.close()


def test_the_same_plan_gives_the_same_bytes(pages: tuple[Path, Path], tmp_path: Path) -> None:
    for before in pages:
        again = tmp_path / before.name
        assert run(SMALL, "-o", again).exit_code == 0
        assert again.read_bytes() == before.read_bytes()


def test_sections_are_chosen_and_safety_is_told_all_the_same(plan: Path) -> None:
    result = run(plan, "--sections", "findings, sources")
    assert result.exit_code == 0
    lines = result.output.splitlines()
    heads = [before for before, rule in pairwise(lines) if rule and set(rule) == {"="}]
    assert heads == ["People first", "Findings left", "Sources"]


def test_a_section_that_is_not_known_is_told_with_those_that_are(plan: Path) -> None:
    result = run(plan, "--sections", "finding")
    assert result.exit_code == 2
    assert result.output == "habitatlint: no section of a handover is called `finding`; did you mean `findings`?\n"


def test_settings_choose_and_the_preface_is_the_consultants_own(plan: Path) -> None:
    plan.with_name("habitatlint.toml").write_text(
        '[handover]\nsections = ["preface", "property"]\npreface = "words.txt"\n', encoding="utf-8"
    )
    plan.with_name("words.txt").write_text("We walked it in March.\nThe creek was high.\n\nYours.\n", encoding="utf-8")
    result = run(plan)
    assert result.exit_code == 0
    assert "We walked it in March. The creek was high.\n\nYours.\n" in result.output
    assert "Sources" not in result.output


def test_a_preface_that_is_not_there_is_told(plan: Path) -> None:
    result = run(plan, "--preface", plan.with_name("none.txt"))
    assert result.exit_code == 2 and "no such file" in result.output


@pytest.mark.parametrize("name", ["h.doc", "h"])
def test_an_ending_that_is_not_known_is_told_before_anything_is_written(plan: Path, name: str) -> None:
    result = run(plan, "--sections", "property", "-o", plan.with_name(name))
    assert result.exit_code == 2 and ".txt, .pdf or .html" in result.output
    assert not plan.with_name(name).exists()


def test_a_plan_with_nothing_in_it_is_handed_over_as_such(tmp_path: Path) -> None:
    bare = tmp_path / "bare.habitat"
    bare.write_text('plan "Bare Ground"\n', encoding="utf-8")
    for ending in ("html", "pdf"):
        assert run(bare, "-o", tmp_path / f"h.{ending}").exit_code == 0
    assert "Bare Ground" in run(bare).output


def test_markup_in_a_plan_stays_text(tmp_path: Path) -> None:
    evil = tmp_path / "evil.habitat"
    evil.write_text(
        'plan "<script>alert(1)</script> #panic()"\nboundary\n  outline 0,0 400,0 400,400 0,400\n'
        'pocket knob "<b>*x*</b>"\n  outline 20,20 90,20 90,90 20,90\n  why "<img src=x onerror=y> $a$ @b"\n',
        encoding="utf-8",
    )
    for ending in ("html", "pdf"):
        assert run(evil, "-o", tmp_path / f"h.{ending}").exit_code == 0
    page = (tmp_path / "h.html").read_text(encoding="utf-8")
    assert "<script" not in page and "<img src=x" not in page


def test_every_section_is_listed() -> None:
    assert run("--list").output.split() == list(SECTIONS)


def test_steps_follow_one_another_in_the_handover_and_begin_pages_on_the_crews_sheet(
    report_of: Callable[..., Report],
) -> None:
    report = report_of((ROOT / "examples" / "tavrish-road.habitat").read_text(encoding="utf-8"), fragment=False)
    wanted = Wanted(report, draw(report), TODAY, find_no_picture)
    (order,) = (one for one in handover(wanted, ["work"]).sections if one.name == "work")
    steps = [one for one in order.sections if one.name.startswith("step-")]
    assert len(steps) > 1 and not any(one.apart for one in order.sections)
    alone = work.sections(order_of(report), report)
    assert all(one.apart for one in alone if one.name.startswith("step-"))
