"""The tally as people read it: in words, as numbers for a spreadsheet, in print and as a page."""

from __future__ import annotations

import csv
import io
import re
import subprocess
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from hedge import HEDGE
from real_parts import program

from habitatlint.check import Report
from habitatlint.cli.main import main
from habitatlint.findings import Policy
from habitatlint.outputs.papers.as_csv import as_csv
from habitatlint.outputs.papers.as_text import as_text
from habitatlint.outputs.papers.chart import LOOKS, Bar, chart
from habitatlint.outputs.papers.findings import findings_left
from habitatlint.outputs.papers.paper import Paper, Picture, Table
from habitatlint.outputs.papers.tally import MOST_BARS, grouped, paper, sections
from habitatlint.outputs.papers.tally_table import HEADS, as_table
from habitatlint.review import Review
from habitatlint.work.tally import tally_of
from habitatlint.work.worth import worth_of

ROOT = Path(__file__).resolve().parents[2]
Check = Callable[..., Report]
TODAY = date(2026, 2, 10)

PLAN = """\
plan "Thorn Acre"
  date 2026-02-10
  units ft
  anchor 44.1000N,92.3000W
  log-rule doyle

timber woods
  outline 0,0 660,0 660,660 0,660
  species red-oak
  height 60ft
  class 12in..16in 60 sqft/ac
  class 6in..10in 40 sqft/ac
  market from 2034

pocket thicket
  outline 0,0 330,0 330,132 0,132

release light
  outline 0,0 330,0 330,132 0,132
  basal-area 100 to 70 sqft/ac
  wood firewood
  step 1

row hinges
  method hinge
  stumps 10,20 300,20
  spacing 29
  species red-maple sugar-maple
  dbh 6in..9in
  fall N
  step 2

patch poles
  outline 0,132 330,132 330,264 0,264
  method hack-and-squirt
  density 50 per acre
  dbh 4in
  mix hack-mix
  step 3

mix hack-mix
  label "0-0, invented"
  part concentrate 50%
  per-hack 1 mL
  most 5 floz/ac

work
  step 1 "Release" 2026-02-15..2026-02-20
  step 2 "Hinge" 2026-02-21..2026-02-25
  step 3 "Poles" 2026-09-01..2026-09-03

rates county
  year 2025
  source "an invented list"
  currency "US dollars"
  cost 4 per tree hinge
  pays 40 per cord
"""


def text_of(report: Report) -> str:
    return " ".join(as_text(paper(tally_of(report), None, report, TODAY)).split())


def numbers(report: Report) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(as_csv(as_table(tally_of(report), None, report)))))


def test_sections_stand_in_one_order(report_of: Check) -> None:
    report = report_of(PLAN)
    names = [one.name for one in sections(tally_of(report), None, report)]
    assert names == ["tally-trees", "tally-ground", "tally-wood", "tally-herbicide", "tally-hours", "tally-money",
                     "tally-figures"]  # fmt: skip


@pytest.mark.parametrize(
    "said",
    [
        "About 89 trees: about 28 released, 11 hinged, about 50 killed standing.",
        "hinged 6 to 9 in red maple or sugar maple 11 3 sqft",
        "step 1, Release released, felled about 28 30 sqft",
        "pocket thicket 1 ac 100 sqft/ac 67 sqft/ac 33 sqft/ac",
        "release light firewood about 28 about 1,300 6.7 to 11.4 cords none woods: from 2034",
        "Log rule: Doyle, as the plan names it.",
        "Mix 6.8 floz for 200 cuts",
        "5 floz/ac a year; so much mix is for 1.35 ac of ground or more",
        "6.8 floz/ac: more than the label allows, by 1.4 times",
        "patch poles 3 1 ac 2.0 to 5.0 Mississippi State University Extension P3673",
        "No rate of such work has been published. So no hours are told of what is hinged: row hinges.",
        "In US dollars of 2025, by an invented list, for what is still to do.",
        "row hinges 2 11 trees 4.00 per tree 44.00",
        "release light 1 6.67 to 11.39 cords 40.00 per cord 267 to 456",
        "No price: release light and patch poles; no line is for such work.",
    ],
)
def test_what_a_person_reads(report_of: Check, said: str) -> None:
    assert said in text_of(report_of(PLAN))


def test_a_metric_plan_is_told_in_metric_units(report_of: Check) -> None:
    metric = PLAN.replace("units ft", "units m").replace("0,0 330,0 330,132 0,132", "0,0 100,0 100,40 0,40")
    metric = metric.replace("0,132 330,132 330,264 0,264", "0,40 100,40 100,80 0,80").replace("660", "200")
    metric = metric.replace("10,20 300,20", "3,6 93,6").replace("spacing 29", "spacing 9")
    text = text_of(report_of(metric))
    assert all(said in text for said in ("hinged 15 to 23 cm", "23.9 to 40.8 stacked", "sqm/ha", "198 mL for 198 cuts"))
    assert not re.search(r"\b(ac|sqft|floz) ", text.partition("Log rule")[0])


def test_without_rates_nothing_is_said_of_money(report_of: Check) -> None:
    text = text_of(report_of(PLAN.partition("rates county")[0]))
    assert "Nothing is said of money: the plan has no `rates`" in text
    assert not re.search(r"[$€£]|dollars", text)


def test_every_sum_of_money_stands_with_its_year_and_its_source(report_of: Check) -> None:
    report = report_of(PLAN)
    money = next(one for one in sections(tally_of(report), None, report) if one.name == "tally-money")
    for part in money.parts:
        if hasattr(part, "rows"):
            assert "an invented list" in part.title and "2025" in part.title


def test_steps_pockets_and_the_whole_come_to_the_same(report_of: Check) -> None:
    stems = tally_of(report_of((ROOT / "examples" / "ambry-eighty.habitat").read_text(encoding="utf-8"))).stems
    sums = []
    for key in (lambda one: one.piece.step, lambda one: one.pocket, lambda one: one.dbh, lambda one: 0):
        groups = grouped(stems, key).values()
        sums.append((sum(one.number for one in groups), sum(one.basal_area for one in groups)))
    assert all(one == pytest.approx(sums[0]) for one in sums) and sums[0][0] > 300


def test_numbers_have_a_row_each_with_their_unit(report_of: Check) -> None:
    rows = numbers(report_of(PLAN))
    assert tuple(rows[0]) == HEADS
    found = {(row["of"], row["name"], row["what"], row["class"]): (row["value"], row["unit"]) for row in rows}
    assert found["row", "hinges", "trees", "hinge red-maple sugar-maple 6..9in"] == ("11", "trees")
    assert found["step", "2", "trees", "hinge red-maple sugar-maple 6..9in"] == ("11", "trees")
    assert found["pocket", "thicket", "basal area", "before"] == ("100", "sqft/ac")
    assert found["patch", "poles", "hours", "least"] == ("2", "hours")
    assert found["release", "light", "all stacked", "most"] == ("11.39", "cords")
    assert found["mix", "hack-mix", "volume of concentrate", "2026"] == ("3.381", "floz")
    assert found["rates", "county", "cost of row hinges by the tree", ""] == ("44", "US dollars of 2025")
    assert all(float(value) >= 0 for value, _ in found.values())


def test_a_plan_that_cannot_be_counted_says_so(report_of: Check) -> None:
    empty = text_of(report_of('plan "Nothing"\n'))
    assert "The plan cuts no trees that can be counted." in empty and "No work on trees is left to do." in empty
    broken = text_of(report_of('plan "Broken"\nrelease light\n  outline 0,0 10,0 10,10 0,10\n'))
    assert "Not counted: release light; it does not say by `basal-area` what it takes." in broken


def test_words_of_a_plan_steer_no_terminal(report_of: Check) -> None:
    evil = (
        PLAN.replace("US dollars", "\u202eUS\x1b[31m")
        .replace("an invented list", "a\u200blist")
        .replace('"Hinge"', '"Hin\x1bge"')
    )
    text = as_text(paper(tally_of(report_of(evil)), None, report_of(evil), TODAY))
    assert not re.search("[\x1b\u202e\u200b]", text)


# -- pictures --------------------------------------------------------------------------------------------------------


def test_pictures_say_in_words_what_they_show(report_of: Check) -> None:
    report = report_of(PLAN)
    pictures = [
        part for one in sections(tally_of(report), None, report) for part in one.parts if isinstance(part, Picture)
    ]
    assert len(pictures) == 2
    assert "4 in: 50 killed standing; 6 to 9 in: 11 hinged; 12 to 16 in: 28 released" in pictures[0].words


def test_bars_are_as_long_as_their_figures() -> None:
    picture = chart(
        [Bar("a", (("hinged", 30.0),), "30"), Bar("b & <c>", (("felled", 10.0), ("hinged", 5.0)), "15")], "bars"
    )
    assert picture is not None
    root = ElementTree.fromstring(picture.svg)
    space = "{http://www.w3.org/2000/svg}"
    one, other = (group.findall(f"{space}rect") for group in root.findall(f"{space}g")[:2])
    wide = [float(box.get("width", "")) for box in (one[0], other[0], other[1])]
    assert wide[0] == pytest.approx(3 * wide[1], rel=1e-3) and wide[1] == pytest.approx(2 * wide[2], rel=1e-3)
    assert "b & <c>" in [text.text for text in root.iter(f"{space}text")]


def test_no_two_kinds_of_bar_are_alike_in_grey() -> None:
    drawn = [(LOOKS[kind].ground, LOOKS[kind].strokes) for kind in LOOKS]
    assert len(set(drawn)) == len(drawn)
    patterns = [look.strokes for look in LOOKS.values() if look.strokes]
    assert len(set(patterns)) == len(patterns)


def test_nothing_to_draw_is_no_picture() -> None:
    assert chart([], "none") is None and chart([Bar("a", (("hinged", 0.0),), "0")], "none") is None


def test_a_chart_is_never_taller_than_a_page(report_of: Check) -> None:
    report = report_of((ROOT / "examples" / "lesson-quarter.habitat").read_text(encoding="utf-8"))
    tally = tally_of(report)
    assert len(tally.standing) > MOST_BARS
    for one in sections(tally, None, report):
        for part in one.parts:
            assert not isinstance(part, Picture) or part.height < 200


# -- the command -------------------------------------------------------------------------------------------------------


def run(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, ["tally", *words])
    return result.exit_code, result.output


@pytest.fixture
def plan(tmp_path: Path) -> str:
    path = tmp_path / "thorn.habitat"
    path.write_text(PLAN, encoding="utf-8")
    return str(path)


def test_the_command_tells_what_each_step_clears_unless_it_is_to_be_quick(plan: str) -> None:
    status, told = run(plan, "--today", "2026-02-10")
    assert status == 0 and "What each step clears" in told and "How this is worked out" in told
    status, quick = run(plan, "--today", "2026-02-10", "--quick")
    assert status == 0 and "What each step clears" not in quick
    assert run(plan, "--today", "2026-02-10", "--quick") == (0, quick)


def test_the_command_gives_numbers(plan: str) -> None:
    status, told = run(plan, "--quick", "--as", "csv")
    assert status == 0 and told.splitlines()[0] == ",".join(HEADS)


def test_it_is_printed(plan: str, tmp_path: Path) -> None:
    pdftotext = program("pdftotext")
    out = tmp_path / "tally.pdf"
    status, told = run(plan, "--quick", "-o", str(out))
    assert status == 0 and "written" in told
    words = subprocess.run([pdftotext, "-layout", str(out), "-"], capture_output=True, text=True, check=True).stdout
    assert "About 89 trees" in words and "Log rule: Doyle" in words
    before = out.read_bytes()
    run(plan, "--quick", "-o", str(out))
    assert out.read_bytes() == before


def test_it_is_a_page(plan: str, tmp_path: Path) -> None:
    out = tmp_path / "tally.html"
    assert run(plan, "--quick", "-o", str(out))[0] == 0
    page = out.read_text(encoding="utf-8")
    assert 'id="tally-trees"' in page and "<svg" in page and "About 89 trees" in page


@pytest.mark.parametrize("words", [["--today", "soon"], ["-o", "tally.xyz"], ["--paper", "napkin"]])
def test_what_it_cannot_do_is_told_in_one_line(plan: str, words: list[str]) -> None:
    status, told = run(plan, "--quick", *words)
    assert status == 2 and "Traceback" not in told


def test_a_plan_that_is_not_there(tmp_path: Path) -> None:
    status, told = run(str(tmp_path / "none.habitat"))
    assert status == 2 and "none.habitat" in told


def test_a_count_of_findings_names_them_by_their_rule_and_says_until_when(report_of: Check, review: Review) -> None:
    report = report_of(HEDGE)
    tally = tally_of(report)
    worth = worth_of(report, tally, lambda source: review.check(source, Policy(TODAY)))
    text = " ".join(as_text(paper(tally, worth, report, TODAY)).split())
    number = re.search(r"Found then [- ]*step 1, Plant nothing nothing .*warnings? \(([\d, ]+)\)", text)
    assert number is not None
    rows = next(
        part.rows for section in sections(tally, worth, report) for part in section.parts
        if isinstance(part, Table) and part.title == "What is counted"
    )  # fmt: skip
    row = next(row for row in rows if "entry/entry-in-view" in row[3])
    assert row[0] in number[1].split(", ") and row[2] == "Walk in view of a pocket or food"
    assert "lie open to view, most of it from food clover" in row[3]
    assert row[4] == "found until 2031, when what is planted has grown"
    assert f"no. {row[0]} from 2031 on" in text


def test_findings_left_say_that_a_design_counts_plantings_as_grown(report_of: Check) -> None:
    told = " ".join(as_text(Paper("", "", (), (findings_left(report_of(HEDGE)),))).split())
    assert "planting hedge from 2031 on" in told and "kept only from then on" in told
    grown = report_of(HEDGE.replace(" from 2031", ""))
    assert "from then on" not in as_text(Paper("", "", (), (findings_left(grown),)))


def test_sun_is_not_known_where_no_timber_is_drawn(report_of: Check) -> None:
    far = PLAN + "\nboundary\n  outline 0,0 4000,0 4000,4000 0,4000\n\npocket far\n"
    far += "  outline 3000,3000 3300,3000 3300,3132 3000,3132\n"
    report = report_of(far)
    sun = {one.block.name: one for one in tally_of(report).sun}
    assert sun["far"].now is None and sun["far"].after is None and sun["thicket"].now is not None
    assert "Sun is not known on pocket far: no `timber` is drawn on it or near it." in text_of(report)


def test_one_tree_is_told_as_one(report_of: Check) -> None:
    text = 'plan "P"\ntree elm\n  at 0,0\n  method fell\n  fall N\n  dbh 12in\n  done 2026-01-10\n'
    report = report_of(text)
    page = as_text(paper(tally_of(report), None, report, TODAY))
    assert "1 tree: 1 felled. Of them 1 is cut or killed already." in page and "1 trees" not in page
