"""The paper of winds: what a person reads of a stand, and the sixteen small maps."""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from datetime import date

import pytest

from habitatlint.check import Report
from habitatlint.outputs.map.signs import GREY, PALETTE, WHITE
from habitatlint.outputs.papers.as_csv import as_csv
from habitatlint.outputs.papers.as_text import as_text
from habitatlint.outputs.papers.paper import Picture
from habitatlint.outputs.papers.winds import as_table, named, paper, sections
from habitatlint.work.winds import wind_table

Reports = Callable[..., Report]
TODAY = date(2026, 2, 10)
SVG = "{http://www.w3.org/2000/svg}"

PLAN = """\
plan "Sedge Corner"
  units {units}
boundary
  outline -400,-400 400,-400 400,400 -400,400
pocket thicket
  outline -19,100 19,100 19,140 -19,140
food clover "Clover <b>"
  outline -200,-60 -100,-60 -100,60 -200,60
path lane
  use entry
  line 0,-400 0,-10
stand oak "Over the clover"
  at 0,0
  reach lane
  winds S NE
  sit evening
winds november
  from S 20% 9mph
  from W 30% 8mph
  from NNE 25% 7mph
  from E 15% 3mph
  calm 10%
"""


@pytest.fixture
def report(report_of: Reports) -> Report:
    return report_of(PLAN.format(units="yd"), fragment=False)


def lines_of(report: Report) -> list[str]:
    return as_text(paper(wind_table(report), report, TODAY)).splitlines()


def test_a_stand_is_told_wind_by_wind(report: Report) -> None:
    lines = lines_of(report)
    assert "Over the clover (oak), in the evening" in lines
    assert any(re.fullmatch(r"oak +evening +NE, S +NE +.*55% +20% +25%", line) for line in lines), "at a glance"
    (south,) = [line for line in lines if line.startswith("S ")]
    assert re.fullmatch(r"S +20% +hunted +the stand: thicket 100 yd \(line 5\)", south)
    (north_east,) = [line for line in lines if line.startswith("NE ")]
    assert re.fullmatch(r"NE +0% +hunted +clean", north_east)


def test_metric_plans_read_metres(report_of: Reports) -> None:
    report = report_of(PLAN.format(units="m"), fragment=False)
    assert any("thicket 100 m (line 5)" in line for line in lines_of(report))


def test_it_says_what_nobody_knows(report: Report) -> None:
    text = " ".join(" ".join(lines_of(report)).split())
    assert "none has been published for deer" in text
    assert "calm hours are lost" in text and "under 4 mph" in text


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("stand oak\n  at 0,0\n  sit evening\n", "stand oak: no walk to it is drawn"),
        ("stand oak\n  at 0,0\n", "stand oak: the plan does not say when it is sat in"),
        ("stand oak\n  at 0,0\n  sit evening\n", "hours are not counted, because the plan has no `winds` record"),
        ("stand oak\n  at 0,0\n  offsite yes\n", "stand oak (line 1) is a neighbour's, and is not in the table"),
        ("stand oak\n  at lane 5\n", "stand oak (line 1) has no place, and is not in the table"),
        ("", "The plan has no stand of its own that has a place"),
    ],
)
def test_what_is_left_out_is_said(report_of: Reports, said: str, told: str) -> None:
    assert told in " ".join(" ".join(lines_of(report_of(said))).split())


def test_light_air_is_told_beside_the_winds(report_of: Reports) -> None:
    text = (
        "drain gully\n  line 0,400 0,-400\npocket thicket\n  outline 10,-350 60,-350 60,-280 10,-280\n"
        "stand oak\n  at 20,0\n  sit evening\n"
    )
    told = " ".join(" ".join(lines_of(report_of(text))).split())
    assert (
        "In light evening air, whatever wind was forecast, scent from the stand drains down drain gully to pocket "
        "thicket, 280 yd along it (line 3)." in told
    )


@pytest.mark.parametrize(
    ("winds", "words"),
    [
        ([], "none"), (range(16), "all sixteen"), ([0], "N"), ([0, 1], "N, NNE"), ([2, 3, 4], "NE to E"),
        ([14, 15, 0, 1], "NW to NNE"), ([15, 0], "NNW, N"), ([0, 4, 5, 6, 12], "N, E to SE, W"),
    ],
)  # fmt: skip
def test_winds_are_named_round_the_compass(winds: list[int], words: str) -> None:
    assert named(winds) == words


def test_the_csv_has_a_row_for_each_stand_sit_and_wind(report: Report) -> None:
    rows = list(csv.DictReader(io.StringIO(as_csv(as_table(wind_table(report), report)))))
    assert [row["wind"] for row in rows][:3] == ["N", "NNE", "NE"] and len(rows) == 16
    south = next(row for row in rows if row["wind"] == "S")
    assert (south["stand"], south["sit"], south["hunted"], south["clean"]) == ("oak", "evening", "yes", "no")
    assert (south["nearest"], south["distance"], south["unit"]) == ("pocket thicket", "100", "yd")
    assert (south["from"], south["north"]) == ("the stand", "100") and -19 <= float(south["east"]) <= 19
    assert south["hours (%)"] == "20" and south["bearing (deg true)"] == "180"


def pictures_of(report: Report) -> list[Picture]:
    return [
        part for section in sections(wind_table(report), report) for part in section.parts if isinstance(part, Picture)
    ]


def test_a_stand_has_sixteen_small_maps_with_words_under_each(report: Report) -> None:
    (picture,) = pictures_of(report)
    drawn = ElementTree.fromstring(picture.svg)
    texts = ["".join(text.itertext()) for text in drawn.iter(f"{SVG}text")]
    assert [text for text in texts if re.fullmatch("[NESW]{1,3}", text)] == [
        "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
    ]  # fmt: skip
    assert "to thicket" in texts and "clean" in texts and "to clover" in texts
    assert "20% of hours, hunted" in texts
    assert picture == pictures_of(report)[0]


def test_no_map_is_coloured_good_or_bad(report: Report) -> None:
    """Between a clean map and another there is no colour that only one of them has."""
    (picture,) = pictures_of(report)
    maps = re.split(r'(?=<g transform="translate\([^"]*\)"><text y="3.3")', picture.svg)[1:17]
    colours = [frozenset(re.findall(r"#[0-9A-Fa-f]{6}", part.split('<path d="M0-1.7')[0])) for part in maps]
    assert len(maps) == 16 and len(set(colours)) == 1
    known = {*PALETTE.values(), GREY, WHITE, "#8A8100", "#9C3F74"}
    assert colours[0] <= {colour.upper() for colour in known}


def test_what_scent_comes_to_has_a_heavy_black_edge(report: Report) -> None:
    (picture,) = pictures_of(report)
    clean = sum(1 for sit in wind_table(report).sits for one in sit.winds if not one.reaches)
    edged = picture.svg.count('stroke="#000000" stroke-linejoin="round" stroke-width=".75"')
    assert edged == sum(len(one.reaches) for sit in wind_table(report).sits for one in sit.winds) + 1  # the legend's
    assert clean > 0
