"""Paper, scale and sheets of a map."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
import shapely

from habitatlint.check import Report
from habitatlint.outputs.map.drawing import Drawing, draw
from habitatlint.outputs.map.sheets import (
    LAP,
    MARGIN,
    MOST_SHEETS,
    PAPERS,
    Layout,
    Page,
    Unprintable,
    bar,
    lay_out,
    read_scale,
    round_scales,
    scale_words,
)
from habitatlint.outputs.map.svg import EDGE
from habitatlint.units import FOOT, UNITS

Draw = Callable[..., Drawing]


@pytest.fixture
def drawing_of(report_of: Callable[..., Report]) -> Draw:
    """The drawing of a property with these corners, in a unit, and what else is written."""

    def drawn(outline: str, units: str = "yd", more: str = "") -> Drawing:
        head = f'plan "Paper"\n  units {units}\n'
        return draw(report_of(f"{head}\nboundary\n  outline {outline}\n{more}", fragment=False))

    return drawn


def ground(layout: Layout) -> list[shapely.Polygon]:
    return [sheet.window.box() for sheet in layout.sheets]


# -- scales ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "denominator"),
    [
        ("1:2400", 2400),
        ("1 : 2,400", 2400),
        ("1 in = 200 ft", 2400),
        ("1in=200ft", 2400),
        ("1 in = 100 yd", 3600),
        ("1 cm = 25 m", 2500),
        ("1 cm = 1 km", 100_000),
        # an inch to the mile: 63,360 inches (a mile of 5,280 feet, NIST Handbook 44, Appendix C)
        ("1 in = 1 mi", 63_360),
    ],
)
def test_a_scale_is_read_as_people_write_it(written: str, denominator: float) -> None:
    assert read_scale(written) == pytest.approx(denominator, rel=1e-9)


@pytest.mark.parametrize(
    "written", ["", "2400", "1:0", "1:2", "1:9000000", "1 in = 200", "1 ft = 2 in", "2:1", "1:1e9"]
)
def test_what_is_no_scale_is_told_in_one_line_with_the_remedy(written: str) -> None:
    with pytest.raises(Unprintable) as trouble:
        read_scale(written)
    said = str(trouble.value)
    assert "\n" not in said and ("write it as '1:2400'" in said or "goes from 1:5 to" in said)


@pytest.mark.parametrize("units", ["yd", "ft", "m"])
def test_a_scale_in_words_reads_back_as_itself(units: str) -> None:
    for scale in round_scales(units):
        for words in scale_words(scale, units).split(", "):
            assert read_scale(words) == pytest.approx(scale, rel=1e-9), words


def test_round_scales_of_feet_are_those_of_an_engineers_rule() -> None:
    """Its six sides: 10, 20, 30, 40, 50 and 60 parts to the inch (common practice, no source)."""
    feet = {round(scale / 12, 6) for scale in round_scales("yd") if 10 <= scale / 12 <= 600}
    assert feet == {10, 20, 30, 40, 50, 60, 100, 200, 300, 400, 500, 600}


@pytest.mark.parametrize("units", ["yd", "ft", "m"])
def test_a_bar_scale_is_as_long_as_it_says_and_fits_its_column(units: str) -> None:
    for scale in round_scales(units):
        part, length = bar(scale, units)
        assert length * scale / 1000 == pytest.approx(part * UNITS[units][1])
        assert 20 < 4 * length <= 52 + 1e-6


# -- paper -------------------------------------------------------------------------------------------------


def test_papers_have_their_published_sizes() -> None:
    """ISO 216: A4 is 210 by 297 mm, A3 297 by 420; ANSI/ASME Y14.1: A is 8.5 by 11 in, B 11 by 17; legal paper is
    8.5 by 14 in (common practice, no source)."""
    inches = {"letter": (8.5, 11), "legal": (8.5, 14), "tabloid": (11, 17)}
    in_millimetres = {name: (w * 25.4, h * 25.4) for name, (w, h) in inches.items()}
    assert {**in_millimetres, "a4": (210, 297), "a3": (297, 420)} == {
        name: (pytest.approx(width), pytest.approx(height)) for name, (width, height) in PAPERS.items()
    }


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("landscape", [False, True])
@pytest.mark.parametrize("beside", [False, True])
def test_map_and_panel_lie_on_the_paper_and_apart(paper: str, landscape: bool, beside: bool) -> None:
    page = Page(paper, landscape, beside)
    width, height = page.size
    frame, panel = (shapely.box(b.x, b.y, b.x + b.width, b.y + b.height) for b in (page.frame, page.panel))
    printable = shapely.box(MARGIN, MARGIN, width - MARGIN, height - MARGIN).buffer(1e-9)
    assert printable.covers(frame) and printable.covers(panel)
    assert frame.distance(panel) >= 2.9
    assert page.window == (page.frame.width - 2 * EDGE, page.frame.height - 2 * EDGE)
    assert min(page.window) > 90


@pytest.mark.parametrize(("units", "paper"), [("yd", "letter"), ("ft", "letter"), ("m", "a4")])
def test_paper_is_what_the_users_of_the_plans_unit_have(drawing_of: Draw, units: str, paper: str) -> None:
    assert lay_out(drawing_of("0,0 300,0 300,300 0,300", units)).page.paper == paper


@pytest.mark.parametrize("outline", ["0,0 440,0 440,440 0,440", "0,0 1760,0 1760,440 0,440", "0,0 90,0 90,900 0,900"])
def test_the_scale_is_the_finest_round_one_that_fits_a_sheet(drawing_of: Draw, outline: str) -> None:
    drawing = drawing_of(outline)
    layout = lay_out(drawing)
    assert drawing.bounds is not None and len(layout.sheets) == 1
    assert ground(layout)[0].covers(shapely.box(*drawing.bounds))
    finer = max(scale for scale in round_scales("yd") if scale < layout.scale)
    for way in (False, True):
        assert len(lay_out(drawing, landscape=way, scale=finer).sheets) > 1


def test_a_long_property_turns_the_paper_its_own_way(drawing_of: Draw) -> None:
    wide, high = drawing_of("0,0 1760,0 1760,440 0,440"), drawing_of("0,0 440,0 440,1760 0,1760")
    assert lay_out(wide, "legal").page.landscape
    assert not lay_out(high, "legal").page.landscape
    assert not lay_out(wide, "legal", landscape=False).page.landscape


@pytest.mark.parametrize("side", [1, 30_000])
def test_a_property_of_a_metre_and_one_of_thirty_kilometres_go_on_one_sheet(drawing_of: Draw, side: int) -> None:
    drawing = drawing_of(f"0,0 {side},0 {side},{side} 0,{side}", "m")
    layout = lay_out(drawing)
    assert drawing.bounds is not None and len(layout.sheets) == 1
    assert ground(layout)[0].covers(shapely.box(*drawing.bounds))


def test_a_plan_with_nothing_placed_has_one_sheet(report_of: Callable[..., Report]) -> None:
    assert len(lay_out(draw(report_of('plan "Bare"\n', fragment=False))).sheets) == 1


def test_the_panel_stands_where_it_leaves_the_property_more(drawing_of: Draw) -> None:
    """Beside a narrow strip that runs north, below one that runs east, whichever way the paper lies."""
    north, east = drawing_of("0,0 200,0 200,900 0,900"), drawing_of("0,0 900,0 900,200 0,200")
    assert all(lay_out(north, landscape=way).page.beside for way in (False, True))
    assert not any(lay_out(east, landscape=way).page.beside for way in (False, True))


def test_a_paper_that_is_not_known_is_told_with_what_was_meant(drawing_of: Draw) -> None:
    with pytest.raises(Unprintable, match="paper `leter` is not known; did you mean `letter`"):
        lay_out(drawing_of("0,0 9,0 9,9 0,9"), "leter")
    with pytest.raises(Unprintable, match="letter, legal, tabloid, a4 or a3"):
        lay_out(drawing_of("0,0 9,0 9,9 0,9"), "vellum")


# -- several sheets ----------------------------------------------------------------------------------------


def test_sheets_of_a_given_scale_hold_the_whole_property(drawing_of: Draw) -> None:
    drawing = drawing_of("0,0 880,0 880,880 0,880")
    layout = lay_out(drawing, scale=2400)
    assert len(layout.sheets) > 1 and [sheet.number for sheet in layout.sheets] == list(
        range(1, len(layout.sheets) + 1)
    )
    assert drawing.bounds is not None
    assert shapely.union_all(ground(layout)).covers(shapely.box(*drawing.bounds))


def test_neighbours_name_each_other_and_meet_at_one_match_line(drawing_of: Draw) -> None:
    layout = lay_out(drawing_of("0,0 880,0 880,880 0,880"), scale=2400)
    sheets = {sheet.number: sheet for sheet in layout.sheets}
    lap = LAP * layout.scale / 1000
    seen = 0
    for sheet in layout.sheets:
        for side, back in (("east", "west"), ("south", "north")):
            if side not in sheet.joins:
                continue
            other = sheets[sheet.joins[side]]
            assert other.joins[back] == sheet.number
            here, there = sheet.window.box().bounds, other.window.box().bounds
            if side == "east":
                assert here[2] - lap == pytest.approx(there[0] + lap)
            else:
                assert here[1] + lap == pytest.approx(there[3] - lap)
            seen += 1
    assert seen >= 4


def test_sheets_that_hold_nothing_of_the_property_are_left_out(drawing_of: Draw) -> None:
    """An L of two arms 200 yd wide: the corner between them is the neighbour's."""
    drawing = drawing_of("0,0 1500,0 1500,200 200,200 200,1500 0,1500")
    layout = lay_out(drawing, scale=2400)
    held = ground(layout)
    whole = drawing.report.scene.property_
    assert whole is not None and all(box.intersects(whole) for box in held)
    assert shapely.union_all(held).covers(whole)
    assert drawing.bounds is not None
    west, south, east, north = drawing.bounds
    assert len(held) < math.ceil((east - west) / (held[0].bounds[2] - held[0].bounds[0])) * math.ceil(
        (north - south) / (held[0].bounds[3] - held[0].bounds[1])
    )


def test_a_large_property_keeps_the_sheets_in_its_middle(drawing_of: Draw) -> None:
    """Nothing is drawn there, and yet it is the property's."""
    layout = lay_out(drawing_of("0,0 1760,0 1760,1760 0,1760"), scale=2400)
    middle = shapely.Point(880 * 3 * FOOT, 880 * 3 * FOOT)
    assert any(box.covers(middle) for box in ground(layout))


def test_too_many_sheets_are_refused_with_a_scale_that_serves(drawing_of: Draw) -> None:
    drawing = drawing_of("0,0 5000,0 5000,5000 0,5000")
    with pytest.raises(Unprintable, match=f"more than {MOST_SHEETS} sheets of letter") as trouble:
        lay_out(drawing, scale=600)
    offered = str(trouble.value).split("'")[1]
    assert len(lay_out(drawing, scale=read_scale(offered)).sheets) <= MOST_SHEETS


# -- one pocket --------------------------------------------------------------------------------------------

POCKET = """
pocket thicket "North thicket"
  outline 400,700 460,700 460,740 400,740

row hinges
  in thicket
  purpose bedding
  method hinge
  stumps 410,710 450,710
  spacing 10
  fall S
  tree-height 30ft
  dbh 6in..8in

pocket broken
  outline 1,1 2,
"""


def test_a_pocket_is_enlarged_with_what_is_cut_in_it(drawing_of: Draw) -> None:
    drawing = drawing_of("0,0 880,0 880,880 0,880", more=POCKET)
    layout = lay_out(drawing, pocket="thicket")
    (window,) = ground(layout)
    trees = [mark for mark in drawing.marks if mark.layer == "trees"]
    assert trees and all(window.covers(mark.shape) for mark in trees)
    assert window.covers(drawing.report.scene.shape_of(drawing.report.plan.names["thicket"]))
    assert layout.scale < lay_out(drawing).scale / 4


def test_a_pocket_that_cannot_be_enlarged_is_told(drawing_of: Draw) -> None:
    drawing = drawing_of("0,0 880,0 880,880 0,880", more=POCKET)
    with pytest.raises(Unprintable, match="no pocket is called `thickett`; did you mean `thicket`"):
        lay_out(drawing, pocket="thickett")
    with pytest.raises(Unprintable, match="pocket `broken` has no place"):
        lay_out(drawing, pocket="broken")
