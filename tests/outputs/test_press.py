"""The printed map: measured on the print itself, as a person would with a ruler."""

from __future__ import annotations

import math
import re
import subprocess
import zlib
from collections.abc import Callable, Iterable
from datetime import date
from io import BytesIO
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image, ImageFilter
from real_parts import library, program

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.assembly import print_assets
from habitatlint.findings import Fact
from habitatlint.ground.frame import declination
from habitatlint.measures.scent import bearings
from habitatlint.measures.winds import WINDS
from habitatlint.outputs.map.drawing import Drawing, draw
from habitatlint.outputs.map.picture import PictureFile
from habitatlint.outputs.map.press import FINENESS, Printed, press
from habitatlint.outputs.map.sheets import LAP, Layout, lay_out
from habitatlint.outputs.map.svg import EDGE
from habitatlint.outputs.sentences import CAUTION, shown
from habitatlint.source import Source
from habitatlint.units import YARD, plain

ROOT = Path(__file__).resolve().parent.parent.parent
TODAY = date(2026, 2, 10)

PLAN = """\
plan "Two seats"
  date 2026-01-05
  north magnetic
  declination 2.5W

boundary
  outline 0,0 400,0 400,400 0,400

path lane "Lane"
  use entry
  line 0,20 300,20

stand seat "Seat"
  at 302,22
  reach lane
  winds W

pocket thicket "The thicket"
  outline 100,200 200,200 200,260 100,260
  bed 140,230

row screen "Screen by the lane"
  method hinge
  stumps 40,28 120,28
  spacing 20
  fall N
  dbh 8in
"""

Check = Callable[..., Report]


def printed(report: Report, form: str, **how: object) -> tuple[Drawing, Layout, Printed]:
    drawing = draw(report)
    layout = lay_out(drawing, **how)  # type: ignore[arg-type]
    return drawing, layout, press(drawing, layout, form, print_assets(), TODAY)


def words_of(pdf: bytes) -> str:
    """The text of a PDF as a reader copies it, its line ends as blanks."""
    done = subprocess.run([program("pdftotext"), "-", "-"], input=pdf, capture_output=True, check=True)
    return " ".join(done.stdout.decode().replace("\u200b", "").split())


def picture_of(pdf: bytes, fineness: int, page: int = 1) -> npt.NDArray[np.float64]:
    """A page of a PDF as pdftoppm draws it: grey from 0 to 255, rows by columns."""
    done = subprocess.run([program("pdftoppm"), "-gray", "-r", str(fineness), "-f", str(page), "-l", str(page)],
                          input=pdf, capture_output=True, check=True)  # fmt: skip
    return np.asarray(Image.open(BytesIO(done.stdout)).convert("L"), float)


def runs(dark: Iterable[bool]) -> list[tuple[int, int]]:
    """Where stretches of dark begin and end."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.asarray(dark, int), [0]])))
    return [(int(start), int(end)) for start, end in zip(edges[::2], edges[1::2], strict=True)]


# -- a ruler -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", ["letter", "a3"])
def test_the_test_line_measures_100_mm_on_the_print(report_of: Check, paper: str) -> None:
    """From tick to tick, at 600 dots to the inch: 0.04 mm each."""
    _, layout, made = printed(report_of(PLAN, fragment=False), "pdf", paper=paper)
    picture, per_mm = picture_of(made.pages[0], 600), 600 / 25.4
    frame = layout.page.frame
    # the strip of paper on which the line stands: under the map, over its words
    top, bottom = (round((frame.y + frame.height + down) * per_mm) for down in (1.5, 4.1))
    strip = picture[top:bottom, round(frame.x * per_mm) : round((frame.x + 110) * per_mm)] < 128
    ticks = [(start + end) / 2 for start, end in runs(strip.mean(axis=0) > 0.7)]
    assert len(ticks) == 2
    assert (ticks[1] - ticks[0]) / per_mm == pytest.approx(100.0, abs=0.05)
    line = max(runs(strip[strip.mean(axis=1).argmax()]), key=lambda run: run[1] - run[0])
    assert (line[1] - line[0]) / per_mm == pytest.approx(100.0, abs=0.3)  # half a tick wider at each end


def test_the_pdf_itself_has_a_line_of_100_mm(report_of: Check) -> None:
    """283.46 points of 1/72 in (ISO 32000-1, 8.3.2.3), in a page's content."""
    _, _, made = printed(report_of(PLAN, fragment=False), "pdf")
    contents = b"\n".join(
        zlib.decompress(one) for one in re.findall(rb"/FlateDecode[^>]*>>\s*stream\r?\n(.*?)\r?\nendstream", made.pages[0], re.DOTALL)
        if one[:1] == b"\x78"
    )  # fmt: skip
    lengths = [float(x) for x in re.findall(rb"0 0 m\s+([0-9.]+) 0 l", contents)]
    assert any(length == pytest.approx(100 / 25.4 * 72, abs=0.001) for length in lengths)


@pytest.mark.parametrize("scale", [2400.0, 4800.0])
def test_a_ruler_on_the_property_lines_confirms_the_scale(report_of: Check, scale: float) -> None:
    """Two property lines 400 yd apart."""
    plan = PLAN[: PLAN.index("path lane")]
    _, layout, made = printed(report_of(plan, fragment=False), "pdf", scale=scale)
    picture, per_mm = picture_of(made.pages[0], 600), 600 / 25.4
    frame = layout.page.frame
    left, top = (round((side + EDGE + 1) * per_mm) for side in (frame.x, frame.y))
    right, bottom = (round((side - EDGE - 1) * per_mm) for side in (frame.x + frame.width, frame.y + frame.height))
    dark = picture[top:bottom, left:right] < 100
    # a dashed line fills a good part of its column; nothing else here does
    lines = [(start + end) / 2 for start, end in runs(dark.mean(axis=0) > 0.15)]
    assert len(lines) == 2
    measured = (lines[1] - lines[0]) / per_mm * layout.scale / 1000
    assert measured == pytest.approx(400 * YARD, abs=0.05 * layout.scale / 1000)


# -- words -------------------------------------------------------------------------------------------------


def test_the_words_of_the_print_can_be_read_back(report_of: Check) -> None:
    report = report_of(PLAN, fragment=False)
    drawing, _, made = printed(report, "pdf")
    words = words_of(made.pages[0])
    for wanted in (
        "Two seats", "design", "2026-01-05", "2026-02-10", "1 in = 200 ft, 1:2400", "Seat", "The thicket", "plan.habitat",
        "Magnetic north is 2.5° west of it", "a compass reads 2.5° more", "property line", "way in", CAUTION,
    ):  # fmt: skip
        assert wanted in words, wanted
    assert "food plot" not in words  # the legend tells what is on the sheet only
    assert report.findings and all(f"line {one.span.line})" in words for one in report.findings)
    assert made.numbered == sum(one.place is not None for one in drawing.numbered) > 0


def test_findings_without_a_place_are_told_too(report_of: Check) -> None:
    report = report_of('plan "Bare"\n\nfood plot\n  kind plot\n  outline 1,1 9,\n', fragment=False)
    _, _, made = printed(report, "pdf")
    words = words_of(made.pages[0])
    assert "Nothing in this plan has a place yet" in words
    assert "Findings without a place on the map" in words and "line 5)" in words


def test_magnetic_north_is_left_out_where_the_plan_gives_none(report_of: Check) -> None:
    plan = PLAN.replace("  north magnetic\n  declination 2.5W\n", "")
    assert "the plan gives no declination" in words_of(printed(report_of(plan, fragment=False), "pdf")[2].pages[0])


def test_a_declination_east_of_true_is_taken_off_a_bearing(report_of: Check) -> None:
    """A compass bearing is the true one less an easterly declination: what walkers learn as "east is least"
    (common practice, no source)."""
    plan = PLAN.replace("2.5W", "7E")
    words = words_of(printed(report_of(plan, fragment=False), "pdf")[2].pages[0])
    assert "Magnetic north is 7° east of it" in words and "a compass reads 7° less" in words


def test_a_declination_of_nothing_is_told_and_no_second_arrow_drawn(report_of: Check) -> None:
    plan = PLAN.replace("2.5W", "0E")
    words = words_of(printed(report_of(plan, fragment=False), "pdf")[2].pages[0])
    assert "True north is up, and magnetic north with it, as the plan states." in words and "MN" not in words


def test_a_declination_is_worked_out_where_the_plan_asks_for_it(report_of: Check) -> None:
    """By the World Magnetic Model, to whose own test values `tests/outside/` holds it."""
    library("pygeomag")
    plan = PLAN.replace("2.5W", "computed\n  anchor 47.6N,122.3W")
    words = words_of(printed(report_of(plan, fragment=False), "pdf")[2].pages[0])
    degrees = plain(declination(47.6, -122.3, date(2026, 1, 5)), 1)
    assert f"Magnetic north is {degrees}° east of it, by the World Magnetic Model for the plan's date" in words


@pytest.mark.parametrize(
    "title",
    [
        '#read(/etc/passwd) #panic() $x^2$ *bold* _slanted_ @ref [a](b) // ? ',
        "<script>alert(1)</script> &amp; <b>bold</b>",
        "]]> --> `raw` ~ \\\\ {json}",
    ],
)  # fmt: skip
def test_a_title_is_words_and_never_markup(report_of: Check, title: str) -> None:
    plan = PLAN.replace("Two seats", title)
    words = words_of(printed(report_of(plan, fragment=False), "pdf")[2].pages[0])
    read = title.replace("\\\\", "\\")
    assert " ".join(read.split()) in words or " ".join(title.split()) in words


@pytest.mark.parametrize(
    "title", ["w" * 4000, "very " * 800, "\x1b[31m\x07\u202eabc\u2066", "القطعة الشمالية", "北の森"]
)
@pytest.mark.parametrize("form", ["pdf", "svg", "png"])
def test_titles_of_every_length_and_script_are_printed(report_of: Check, title: str, form: str) -> None:
    plan = PLAN.replace("Two seats", title).replace('"The thicket"', f'"{title}"')
    _, _, made = printed(report_of(plan, fragment=False), form)
    assert all(len(page) > 5000 for page in made.pages) and len(made.pages) <= 2
    if form == "svg":
        for page in made.pages:
            ElementTree.fromstring(page)


def test_a_long_title_leaves_the_panel_whole(report_of: Check) -> None:
    """Cut, so that what follows it still has room."""
    plan = PLAN.replace("Two seats", "very " * 800)
    words = words_of(printed(report_of(plan, fragment=False), "pdf")[2].pages[0])
    assert "very…" in words and "1 in = 200 ft, 1:2400" in words and CAUTION in words


@pytest.mark.parametrize("wind", range(16))
def test_a_wind_is_called_what_it_was_asked_for_by(report_of: Check, wind: int) -> None:
    """In a plan off magnetic north winds are by the compass too, here 15 degrees west."""
    report = report_of(PLAN.replace("2.5W", "15W"), fragment=False)
    drawing = draw(report, bearings(report.scene)[wind])
    assert drawing.wind_name == WINDS[wind]
    if wind == 14:
        made = press(drawing, lay_out(drawing), "pdf", print_assets(), TODAY)
        assert "Scent on a wind from NW" in words_of(made.pages[0])


def test_the_sheet_of_a_pocket_bears_the_pockets_title(report_of: Check) -> None:
    """Though a path that stands before it has its name by mistake."""
    plan = PLAN.replace("path lane", 'path thicket "Not this"\n  use exit\n  line 0,0 9,9\n\npath lane')
    words = words_of(printed(report_of(plan, fragment=False), "pdf", pocket="thicket")[2].pages[0])
    assert "Pocket The thicket" in words


def test_the_sheet_of_a_pocket_says_the_pockets_own_area_and_of_what_the_other_is(report_of: Check) -> None:
    report = report_of(PLAN, fragment=False)
    assert report.scene.property_ is not None
    area = shown(Fact(report.scene.property_.area, "area"), report.units)
    whole = words_of(printed(report, "pdf")[2].pages[0])
    assert "Area" in whole and area in whole and "Property" not in whole
    pocket = next(block for block in report.plan.blocks if block.name == "thicket")
    shape = report.scene.shape_of(pocket)
    assert shape is not None
    words = words_of(printed(report, "pdf", pocket="thicket")[2].pages[0])
    own = shown(Fact(shape.area, "area"), report.units, 2)
    assert own in words and "Property" in words and area in words and "Area" not in words and own != area


# -- the same at every run, and in every viewer ------------------------------------------------------------


@pytest.mark.parametrize("form", ["pdf", "svg", "png"])
def test_the_same_plan_gives_the_same_bytes(report_of: Check, form: str) -> None:
    first, second = (printed(report_of(PLAN, fragment=False), form)[2].pages for _ in range(2))
    assert first == second
    other = PLAN.replace("Two seats", "Two stands")
    assert printed(report_of(other, fragment=False), form)[2].pages != first


def test_svg_is_well_formed_and_whole_in_itself(report_of: Check) -> None:
    _, layout, made = printed(report_of(PLAN, fragment=False), "svg")
    root = ElementTree.fromstring(made.pages[0])
    width, height = layout.page.size
    assert float(root.attrib["width"].removesuffix("pt")) == pytest.approx(width / 25.4 * 72, abs=0.01)
    assert float(root.attrib["height"].removesuffix("pt")) == pytest.approx(height / 25.4 * 72, abs=0.01)
    names = [element.attrib["id"] for element in root.iter() if "id" in element.attrib]
    assert len(names) == len(set(names))
    for element in root.iter():
        for name, value in element.attrib.items():
            if name.endswith("href"):
                assert value[0] == "#" and value[1:] in names
            for used in re.findall(r"url\(#([^)]*)\)", value):
                assert used in names
    # what the map says is text that can be found, in the type that it brings along
    texts = {"".join(element.itertext()) for element in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {"Seat", "The thicket"} <= texts
    assert made.pages[0].count(b"@font-face") == 2 and b"http://" not in re.sub(
        rb'xmlns[:a-z0-9]*="[^"]*"', b"", made.pages[0]
    )


def test_words_that_look_like_a_reference_are_left_alone(report_of: Check) -> None:
    report = report_of(PLAN.replace('"The thicket"', '"url(#x)"'), fragment=False)
    root = ElementTree.fromstring(printed(report, "svg")[2].pages[0])
    texts = {"".join(element.itertext()) for element in root.iter("{http://www.w3.org/2000/svg}text")}
    assert "url(#x)" in texts


def unlike(one: Image.Image, other: Image.Image) -> float:
    """How far two pictures differ at the worst, of 255, once edges a pixel wide are smoothed away."""
    soft = [np.asarray(picture.convert("L").filter(ImageFilter.GaussianBlur(3)), float) for picture in (one, other)]
    return float(np.abs(soft[0] - soft[1]).max())


def test_the_svg_is_drawn_in_a_browser_as_the_pdf_is_printed(report_of: Check, tmp_path: Path) -> None:
    chromium = program("chromium", "chromium-browser")
    report = report_of((ROOT / "examples" / "tavrish-road.habitat").read_text(encoding="utf-8"), fragment=False)
    _, layout, made = printed(report, "svg", paper="a3")
    (tmp_path / "map.svg").write_bytes(made.pages[0])
    width, height = (math.ceil(side / 25.4 * 96) for side in layout.page.size)
    subprocess.run(
        [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--force-device-scale-factor=1",
         f"--user-data-dir={tmp_path / 'profile'}", f"--window-size={width},{height}",
         f"--screenshot={tmp_path / 'seen.png'}", (tmp_path / "map.svg").as_uri()],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    seen = Image.open(tmp_path / "seen.png").convert("L")
    pdf = Image.fromarray(picture_of(printed(report, "pdf", paper="a3")[2].pages[0], 96).astype(np.uint8))
    assert seen.size == pdf.size == (width, height)
    assert unlike(seen, pdf) < 45
    # a stand more or less would be seen
    plan = re.sub(r"\nstand .*?\n\n", "\n", report.source.text, count=1, flags=re.DOTALL)
    fewer = printed(report_of(plan, fragment=False), "pdf", paper="a3")[2].pages[0]
    assert unlike(seen, Image.fromarray(picture_of(fewer, 96).astype(np.uint8))) > 90


# -- several sheets ----------------------------------------------------------------------------------------

CROSSING = """\
plan "Two sheets"

boundary
  outline 0,0 900,0 900,400 0,400

hazard run
  kind water
  line 0,90 900,60

hazard brook
  kind water
  line 0,240 900,300

hazard beck
  kind water
  line 0,330 900,330
"""
#: the blue that streams are drawn in, and nothing else here
STREAM = np.array([0x00, 0x72, 0xB2])


def test_what_runs_up_to_a_match_line_goes_on_there_on_the_next_sheet(report_of: Check) -> None:
    """The sheets laid over each other by their ground: 1.5 mm within its own side of the line, each has the streams
    at the same norths, but for what they climb between."""
    _, layout, made = printed(report_of(CROSSING, fragment=False), "png", paper="legal", landscape=True, scale=2400.0)
    east_of = {sheet.number: sheet.joins["east"] for sheet in layout.sheets if "east" in sheet.joins}
    per_mm, frame, (wide, high) = FINENESS / 25.4, layout.page.frame, layout.page.window
    pages = [np.asarray(Image.open(BytesIO(page)).convert("RGB"), float) for page in made.pages]

    def streams(number: int, across: float) -> list[float]:
        """Norths, in metres, of the streams at a column of the window, in millimetres from its left."""
        window = layout.sheets[number - 1].window
        column = pages[number - 1][:, round((frame.x + EDGE + across) * per_mm)]
        blue = np.abs(column - STREAM).max(axis=1) < 40
        middles = ((start + end) / 2 / per_mm - frame.y - EDGE for start, end in runs(blue))
        return [window.south + (high - down) * window.scale / 1000 for down in middles if 0 < down < high]

    seen = 0
    for west, east in east_of.items():
        here, there = streams(west, wide - LAP - 1.5), streams(east, LAP + 1.5)
        # the steepest climbs 60 yd in 900; half a dot either way
        climb, dot = 3 * 60 / 900, 1 / per_mm
        assert len(here) == len(there) and np.allclose(here, there, atol=(climb + dot) * layout.scale / 1000)
        seen += len(here)
    assert seen == 3


def test_the_sheets_name_their_neighbours_and_their_count(report_of: Check) -> None:
    _, layout, made = printed(report_of(CROSSING, fragment=False), "pdf", paper="legal", landscape=True, scale=2400.0)
    count = len(layout.sheets)
    words = words_of(made.pages[0])
    assert count >= 2
    for number in range(1, count + 1):
        assert f"{number} of {count}" in words
    assert "match line: goes on at sheet 2" in words and "match line: goes on at sheet 1" in words


def test_a_key_that_finds_no_room_goes_on_a_page_of_its_own(report_of: Check) -> None:
    report = report_of((ROOT / "examples" / "sallow-fork.habitat").read_text(encoding="utf-8"), fragment=False)
    drawing, layout, made = printed(report, "png")
    assert len(made.pages) > len(layout.sheets) == 1
    words = words_of(printed(report, "pdf")[2].pages[0])
    assert "Key to the map: Sallow Fork" in words
    for one in drawing.numbered:
        assert f"line {one.finding.span.line})" in words


# -- the picture beneath -----------------------------------------------------------------------------------


def test_a_picture_that_is_none_is_told_and_the_map_printed(report_of: Check) -> None:
    plan = PLAN.replace("  north magnetic\n", '  picture "aerial.png" at 0,0 400,400\n  north magnetic\n')
    drawing = draw(report_of(plan, fragment=False))
    layout = lay_out(drawing)

    def find(path: str, source: Source) -> PictureFile:
        return PictureFile(b"no picture")

    made = press(drawing, layout, "pdf", print_assets(), TODAY, find)
    assert made.pages[0].startswith(b"%PDF") and len(made.told) == 1
    assert "aerial.png" in str(made.told[0]) and "the map is drawn without it" in str(made.told[0])


def test_a_picture_lies_beneath_the_map(report_of: Check) -> None:
    plan = PLAN.replace("  north magnetic\n", '  picture "aerial.png" at 0,0 400,400\n  north magnetic\n')
    drawing = draw(report_of(plan, fragment=False))
    layout = lay_out(drawing)
    dark = BytesIO()
    Image.new("RGB", (400, 400), (20, 60, 20)).save(dark, "PNG")
    made = press(drawing, layout, "png", print_assets(), TODAY, lambda path, source: PictureFile(dark.getvalue()))
    without = press(draw(report_of(PLAN, fragment=False)), layout, "png", print_assets(), TODAY)
    assert made.told == ()
    tones = [np.asarray(Image.open(BytesIO(one.pages[0])).convert("L"), float).mean() for one in (made, without)]
    assert tones[0] < tones[1] - 10


# -- type --------------------------------------------------------------------------------------------------


def test_no_type_on_the_sheet_is_smaller_than_8_points() -> None:
    template = files.asset("sheet.typ").decode()
    sizes = [float(size) for size in re.findall(r"([0-9.]+)pt[,)]", " ".join(re.findall(r"text\([^\n]*", template)))]
    assert sizes and min(sizes) >= 8
