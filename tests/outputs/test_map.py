"""What the map shows, and that it shows it where and as large as it is."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from itertools import combinations
from pathlib import Path

import pytest
import shapely
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point

from habitatlint.check import Report
from habitatlint.language.blocks import PLACED
from habitatlint.measures.ways_out import Bars, bed_of
from habitatlint.outputs.map.drawing import LAYERS, Drawing, draw
from habitatlint.outputs.map.labels import CLEAR, Crowd, Wanted, letters, place
from habitatlint.outputs.map.lettering import CAPITALS, advance
from habitatlint.outputs.map.signs import SIGNS, Sign
from habitatlint.outputs.map.svg import ROOM, frame, swatch
from habitatlint.outputs.map.tags import figure
from habitatlint.outputs.map.window import Window
from habitatlint.units import FOOT, YARD

Reports = Callable[..., Report]
ROOT = Path(__file__).resolve().parents[2]
FONTS = ROOT / "habitatlint" / "assets" / "fonts"

HEAD = 'plan "Larch Bottom"\n  units yd\n'
BOUNDARY = "boundary\n  outline 0,0 400,0 400,400 0,400\n"
#: one block of every kind that has a place, beyond the boundary
BLOCKS = {
    "core": "core middle\n  outline 150,150 250,150 250,250 150,250\n",
    "food": "food clover\n  kind plot\n  outline 20,20 100,20 100,60 20,60\n",
    "pocket": "pocket thicket\n  for does\n  outline 120,120 180,120 180,180 120,180\n  bed 150,150\n",
    "path": "path lane\n  use entry\n  line 0,200 110,200\n",
    "stand": "stand oak\n  at 112,201\n  reach lane\n  winds NW W\n  sit evening\n  range 30yd\n  shoot E\n",
    "timber": "timber woods\n  outline 0,250 200,250 200,400 0,400\n  class 12in..20in 60 sqft/ac\n",
    "release": "release light\n  outline 0,250 90,250 90,400 0,400\n  basal-area 100 to 50 sqft/ac\n  method fell\n",
    "row": "row hinges\n  in thicket\n  method hinge\n  stumps 125,130 175,130\n  spacing 10\n  fall N\n  dbh 7in\n",
    "patch": "patch few\n  outline 300,300 350,300 350,350 300,350\n  method fell\n  density 50 per acre\n",
    "tree": "tree elm\n  at 300,200\n  method girdle\n  dbh 14in\n",
    "opening": "opening gap\n  at 145,138\n  width 4ft\n  toward N\n",
    "planting": "planting hedge\n  line 0,190 110,190\n  kind screen\n  height 6ft from 2030\n",
    "hazard": "hazard wires\n  kind wire\n  line 0,390 400,390\n",
    "slope": "slope hill\n  outline 250,300 390,300 390,390 250,390\n  falls S 15%\n",
    "drain": "drain draw\n  line 300,300 300,100\n",
    "place": "place gate\n  kind gate\n  at 0,200\n",
    "sign": "sign rub-one\n  kind rub\n  at 200,120\n",
    "task": 'task look\n  at 210,130\n  text "Look for tracks"\n',
}  # fmt: skip


@pytest.fixture
def drawn(report_of: Reports) -> Callable[[str], Drawing]:
    return lambda text: draw(report_of(HEAD + text, fragment=False))


def windowed(drawing: Drawing, scale: float = 2400) -> Window:
    assert drawing.bounds is not None
    west, south, east, north = drawing.bounds
    return Window(west, south, (east - west) * 1000 / scale, (north - south) * 1000 / scale, scale)


# -- what is drawn -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("noun", [noun for noun in PLACED if noun != "boundary"])
def test_every_block_with_a_place_is_drawn(drawn: Callable[[str], Drawing], noun: str) -> None:
    drawing = drawn(BOUNDARY + "".join(BLOCKS.values()))
    marks = [mark for mark in drawing.marks if mark.block is not None and mark.block.noun == noun]
    if noun == "core":  # the core is one ground, whoever drew it
        marks = [mark for mark in drawing.marks if mark.sign == "core"]
    assert marks
    assert {mark.layer for mark in marks} <= {layer.name for layer in LAYERS}
    assert {mark.sign for mark in marks} <= SIGNS.keys()


def test_every_example_is_drawn_by_known_signs_and_is_sound_svg(report_of: Reports) -> None:
    for path in sorted((ROOT / "examples").glob("*.habitat")):
        drawing = draw(report_of(path.read_text(encoding="utf-8"), str(path), fragment=False), 135)
        assert {mark.sign for mark in drawing.marks} <= SIGNS.keys()
        window = windowed(drawing, 4800)
        for live in (False, True):
            made = frame(drawing, window, live=live)
            ElementTree.fromstring(made.svg)
            assert set(made.signs) <= SIGNS.keys() and {"boundary", "pocket"} <= set(made.signs)
            assert made == frame(drawing, window, live=live)


@pytest.mark.parametrize(
    ("said", "sign"),
    [
        ("method hinge\n  fall N", "hinge"), ("method hinge\n  fall N\n  stump-treatment done\n  mix m", "hinge-dead"),
        ("method fell\n  fall N", "fell"), ("method fell", "stump"), ("method fell", "down"), ("method hinge", "down"),
        ("state blown", "down"), ("state down", "down"), ("method girdle", "girdle"),
        ("method frill", "frill"), ("method hack-and-squirt", "hack-and-squirt"), ("state hung", "hung"),
        ("state dead", "snag"), ("state blown\n  fall N", "blown"), ("method leave", "uncut"),
    ],
)  # fmt: skip
def test_a_tree_is_drawn_by_what_becomes_of_it(drawn: Callable[[str], Drawing], said: str, sign: str) -> None:
    drawing = drawn(f'{BOUNDARY}mix m\n  label "EPA 000-000"\ntree one\n  at 100,100\n  dbh 8in\n  {said}\n')
    assert sign in {mark.sign for mark in drawing.marks}


@pytest.mark.parametrize("said", ["state blown", "state down", "method fell\n  stump-treatment done\n  mix m"])
def test_a_tree_that_is_down_is_never_shown_as_standing_nor_its_stump_twice(
    drawn: Callable[[str], Drawing], said: str
) -> None:
    drawing = drawn(f'{BOUNDARY}mix m\n  label "EPA 000-000"\ntree one\n  at 100,100\n  dbh 8in\n  {said}\n')
    signs = [mark.sign for mark in drawing.marks if mark.layer == "trees"]
    assert signs == (["down", "stump-treated"] if "method" in said else ["down"])


def test_a_patch_is_shown_as_cut_once_it_is(report_of: Reports) -> None:
    for stage, said, sign in (
        ("design", "", "patch-fell"), ("as-built", "", "patch-uncut"), ("as-built", "  done 2026-01-10\n", "patch-fell"),
    ):  # fmt: skip
        drawing = draw(report_of(f"{HEAD}  stage {stage}\n{BOUNDARY}{BLOCKS['patch']}{said}", fragment=False))
        assert [mark.sign for mark in drawing.marks if mark.layer == "trees"] == [sign]


@pytest.mark.parametrize(
    ("place", "kind", "legend"),
    [
        ("line 50,50 90,50", "screen", "screen planted"), ("line 50,50 90,50", "cover", "cover planted along a line"),
        ("outline 50,50 90,50 90,90", "cover", "cover planted"),
        ("outline 50,50 90,50 90,90", "screen", "screen planted over an area"),
    ],
)  # fmt: skip
def test_a_planting_is_drawn_as_what_it_is_planted_for(
    drawn: Callable[[str], Drawing], place: str, kind: str, legend: str
) -> None:
    drawing = drawn(f"{BOUNDARY}planting oaks\n  {place}\n  kind {kind}\n")
    (mark,) = (mark for mark in drawing.marks if mark.layer == "trees")
    assert SIGNS[mark.sign].legend == legend and SIGNS[mark.sign].kind == place.split()[0].replace("outline", "area")


def test_a_line_of_rubs_is_no_trail(drawn: Callable[[str], Drawing]) -> None:
    for kind, signs in (("rub", ["sign-line", "sign-rub"]), ("trail", ["sign-trail"])):
        drawing = drawn(f"{BOUNDARY}sign old\n  kind {kind}\n  line 50,50 90,50\n")
        marks = [mark for mark in drawing.marks if mark.layer == "notes"]
        assert [mark.sign for mark in marks] == signs
        assert [mark.shape.centroid.x for mark in marks] == pytest.approx([70 * YARD] * len(marks))


def test_an_as_built_shows_what_is_not_cut_yet_as_standing(report_of: Reports) -> None:
    row = "row poles\n  method hinge\n  stumps 100,100 150,100\n  count 5\n  fall N\n  dbh 8in\n"
    for said, sign in (("", "uncut"), ("  done 2026-01-10\n", "hinge")):
        text = f"{HEAD}  stage as-built\n  date 2026-02-01\n{BOUNDARY}{row}{said}"
        signs = {mark.sign for mark in draw(report_of(text, fragment=False)).marks if mark.layer == "trees"}
        assert sign in signs and ({"uncut", "hinge"} - {sign}).isdisjoint(signs)


def test_a_fallen_tree_is_drawn_at_its_true_size_where_it_lies(drawn: Callable[[str], Drawing]) -> None:
    tree = "tree one\n  at 100,100\n  method fell\n  fall E\n  dbh 8in\n  tree-height 50ft\n  cut-height 1ft\n  crown-width 12ft\n"
    drawing = drawn(BOUNDARY + tree)
    mark = next(mark for mark in drawing.marks if mark.sign == "fell")
    stems, tops = mark.shape.geoms
    reach = (49**2 - 1) ** 0.5 * FOOT  # sqrt((H - h)^2 - h^2)
    west, south, east, north = stems.bounds
    assert (west, south, east, north) == pytest.approx((100 * YARD, 100 * YARD, 100 * YARD + reach, 100 * YARD))
    assert tops.bounds[2] == pytest.approx(east) and tops.bounds[3] - tops.bounds[1] == pytest.approx(12 * FOOT)
    # 1 in on paper is 50 ft on the ground
    window = Window(0, 0, 600, 600, 600)
    start, end = window.on_paper(west, south), window.on_paper(east, north)
    assert (end[0] - start[0]) / 25.4 == pytest.approx(reach / FOOT / 50)
    x, y = start
    assert f'd="M{figure(x)} {figure(y)}l{figure(end[0] - x)} 0"' in frame(drawing, window).svg


def test_the_arc_of_a_bed_is_as_wide_as_its_open_arc(drawn: Callable[[str], Drawing]) -> None:
    pen = "hazard pen\n  kind fence\n  barrier yes\n  line 145,143 145,158 156,158 156,143\n"
    drawing = drawn(BOUNDARY + BLOCKS["pocket"] + BLOCKS["row"] + pen)
    spans = [mark.span for mark in drawing.marks if mark.sign == "open-arc"]
    scene = drawing.report.scene
    bed = bed_of(scene, 0, Point(150 * YARD, 150 * YARD), Bars(3 * FOOT))
    assert bed is not None and 0 < bed.arc < 360
    assert sum(last - first for first, last in spans) == pytest.approx(bed.arc)  # type: ignore[misc]


@pytest.mark.parametrize(
    "cut",
    [
        "row few\n  in thicket\n  method hinge\n  stumps 125,130 175,130\n  spacing 10\n  dbh 7in\n",
        "patch few\n  in thicket\n  method hinge\n  density 50 per acre\n",
    ],
)
def test_no_arc_is_shown_open_where_nobody_knows_how_trees_will_lie(drawn: Callable[[str], Drawing], cut: str) -> None:
    drawing = drawn(BOUNDARY + BLOCKS["pocket"] + cut)
    said = {finding.rule for finding in drawing.report.findings}
    assert "record/not-judged" in said
    assert "bed" in {mark.sign for mark in drawing.marks} and "open-arc" not in {mark.sign for mark in drawing.marks}


def test_a_finding_stands_at_its_place_or_at_what_it_is_on(drawn: Callable[[str], Drawing]) -> None:
    hinges = "row live\n  method hinge\n  stumps 20,204 60,204\n  spacing 10\n  fall N\n  dbh 7in\n"
    drawing = drawn(BOUNDARY + BLOCKS["path"] + BLOCKS["stand"] + hinges)
    assert [one.number for one in drawing.numbered] == list(range(1, len(drawing.report.findings) + 1))
    entry = next(one for one in drawing.numbered if one.finding.rule == "entry/live-hinge-near-entry")
    assert entry.place == entry.finding.place
    made = frame(drawing, windowed(drawing))
    assert entry.number in made.numbers
    assert [one.number for one in drawing.numbered if one.place is not None] == list(made.numbers)


def test_what_is_whole_of_a_broken_plan_is_drawn(drawn: Callable[[str], Drawing]) -> None:
    broken = "pocket thicket\n  outline 120,120 180,120 oops 180,180\nfood clover\n  outline 0,0 10,10 0,10 10,0\n"
    drawing = drawn(BOUNDARY + broken + BLOCKS["path"])
    assert {mark.sign for mark in drawing.marks} == {"boundary", "core", "entry"}
    assert drawing.report.findings


def test_a_plan_with_nothing_placed_has_no_bounds(drawn: Callable[[str], Drawing]) -> None:
    assert drawn("crew saws\n  people 2\n").bounds is None


def test_a_far_road_does_not_shrink_the_property(drawn: Callable[[str], Drawing]) -> None:
    near = drawn(BOUNDARY)
    far = drawn(BOUNDARY + "hazard highway\n  kind road\n  line -9000,-40 9000,-40\n")
    assert far.bounds == near.bounds


def test_the_teeth_of_a_bank_stand_on_its_side(drawn: Callable[[str], Drawing]) -> None:
    for side, first in (("right", (0.0, 0.0)), ("left", (0.0, 200 * YARD))):
        drawing = drawn(f"{BOUNDARY}hazard scarp\n  kind bank\n  side {side}\n  line 0,0 0,200\n")
        bank = next(mark for mark in drawing.marks if mark.sign == "bank")
        assert bank.shape.coords[0] == pytest.approx(first)
    untold = drawn(f"{BOUNDARY}hazard scarp\n  kind bank\n  line 0,0 0,200\n")
    assert "bank" not in {mark.sign for mark in untold.marks} and "bank-untold" in {mark.sign for mark in untold.marks}


@pytest.mark.parametrize("more", ["line 50,-50 100,0 150,-50", "line -50,-50 50,-50 50,0"])
def test_a_path_that_only_touches_the_sheet_is_named_there(drawn: Callable[[str], Drawing], more: str) -> None:
    drawing = drawn(f'{BOUNDARY}path lane "The lane"\n  use entry\n  {more}\n')
    assert ">The lane<" in frame(drawing, Window(0, 0, 200, 200, 1000)).svg


def test_a_row_that_leaves_the_sheet_is_named_on_it(drawn: Callable[[str], Drawing]) -> None:
    """Its middle tree stands beyond the edge, where the panel is."""
    row = 'row long "Long"\n  method hinge\n  stumps 58,20 75,20 75,60\n  spacing 3\n  fall N\n  dbh 7in\n'
    svg = frame(drawn(BOUNDARY + row), Window(0, 0, 60, 60, 1000)).svg
    (x,) = (float(found) for found in re.findall(r'<text[^>]* x="([^"]+)"[^>]*>Long<', svg))
    assert 0 < x < 60 - advance("Long", 2.83)


def test_a_row_whose_tops_alone_reach_the_sheet_is_drawn(drawn: Callable[[str], Drawing]) -> None:
    row = "row low\n  method fell\n  stumps 20,-3 100,-3\n  spacing 4\n  fall N\n  dbh 7in\n"
    made = frame(drawn(BOUNDARY + row), Window(0, 0, 60, 60, 1000))
    assert "fell" in made.signs


def test_a_line_that_runs_on_for_ever_has_marks_on_the_sheet_only(drawn: Callable[[str], Drawing]) -> None:
    """A coordinate with digits too many: 600 miles of teeth would be 35 MB."""
    bank = "hazard scarp\n  kind bank\n  side right\n  line 10,{} {},{}\n"
    for live in (False, True):
        made = [
            frame(drawing, windowed(drawing), live=live).svg
            for drawing in (drawn(BOUNDARY + bank.format(10, far, 10)) for far in (390, 999999))
        ]
        assert made[0].count("m0 0v1.4") > 50 and len(made[1]) < 4 * len(made[0])


def test_marks_along_a_line_stand_where_they_would_without_an_edge(drawn: Callable[[str], Drawing]) -> None:
    drawing = drawn(BOUNDARY + "hazard wall\n  kind fence\n  line 10,10 150,60 20,90 380,390 10,395\n")
    whole = windowed(drawing)
    part = whole._replace(width=whole.width / 2, height=whole.height / 2, south=whole.south + 200 * YARD)

    def fences(window: Window) -> list[Point]:
        """Those well within the part, on the ground."""
        found = re.findall(r"translate\(([-.0-9]+) ([-.0-9]+)\)[^>]*><path d=\"m-.6-.6l1.2", frame(drawing, window).svg)
        metre = window.per_metre
        places = [
            Point(window.west + float(x) / metre, window.south + (window.height - float(y)) / metre) for x, y in found
        ]
        return sorted((place for place in places if part.box(-1).covers(place)), key=lambda place: (place.x, place.y))

    here, there = fences(part), fences(whole)
    assert len(here) == len(there) > 10
    assert all(a.distance(b) < 0.05 for a, b in zip(here, there, strict=True))


# -- signs -------------------------------------------------------------------------------------------------


def in_grey(sign: Sign) -> tuple[object, ...]:
    """A sign without its hues: strokes, patterns, shapes, and whether it is filled dark, light or not."""
    dark = sign.fill != "none" and sum(bytes.fromhex(sign.fill[1:])) < 200
    return (
        sign.weight, sign.dash, sign.hatch and sign.hatch[1:], sign.scatter and sign.scatter[1:], dark,
        sign.along and sign.along.mark, sign.casing and sign.casing[1], sign.glyph, sign.fill == "none",
        sign.stroke == "none", sign.fill_opacity > 0.5,
    )  # fmt: skip


def test_signs_are_told_apart_without_their_colour() -> None:
    """A grey print reads: two signs of a kind differ in pattern, weight or shape."""
    for kind in {sign.kind for sign in SIGNS.values()}:
        of_kind = {name: sign for name, sign in SIGNS.items() if sign.kind == kind}
        for (one, a), (other, b) in combinations(of_kind.items(), 2):
            assert in_grey(a) != in_grey(b), (one, other)


def test_every_sign_has_a_legend_and_a_sample() -> None:
    for name, sign in SIGNS.items():
        sample = ElementTree.fromstring(swatch(name))
        assert sign.legend and len(list(sample.iter())) > 1
    twice = [legend for legend in (sign.legend for sign in SIGNS.values()) if legend]
    assert len({*twice} - {"hazard", "building"}) == len([one for one in twice if one not in ("hazard", "building")])


# -- labels ------------------------------------------------------------------------------------------------


def test_widths_of_words_are_those_of_the_type() -> None:
    for cut, bold in (("Regular", False), ("Bold", True)):
        font = TTFont(FONTS / f"AtkinsonHyperlegibleNext-{cut}.ttf")
        letters_of, widths = font.getBestCmap(), font["hmtx"]
        for code in range(32, 127):
            assert advance(chr(code), 1000, bold) == pytest.approx(widths[letters_of[code]][0])
        assert font["OS/2"].sCapHeight / font["head"].unitsPerEm == pytest.approx(CAPITALS, abs=0.001)


wanted = st.builds(
    Wanted, text=st.text("abcdefgh -", min_size=1, max_size=40), x=st.floats(0, 120), y=st.floats(0, 90),
    room=st.floats(0.5, 12), inside=st.booleans(), bold=st.booleans(), rank=st.integers(0, 9),
)  # fmt: skip


@given(st.lists(wanted, max_size=60))
def test_labels_keep_off_each_other_and_within_the_window(asked: list[Wanted]) -> None:
    placed = place(asked, 120, 90, Crowd())
    assert len(placed) == len(asked)
    boxes = []
    for one in placed:
        wide = advance(one.text, one.size, one.bold)
        box = shapely.box(
            one.x - CLEAR, one.y - CAPITALS * one.size - CLEAR, one.x + wide + CLEAR, one.y + 0.22 * one.size + CLEAR
        )
        if one.text.isupper():  # letters of the key stand at the thing itself where all else is taken
            continue
        assert shapely.box(0, 0, 120, 90).covers(box)
        boxes.append(box)
    assert all(a.intersection(b).area < 1e-9 for a, b in combinations(boxes, 2))


def test_what_finds_no_place_gets_letters_and_a_key() -> None:
    placed = place([Wanted("a thicket of a name", 10, 5) for _ in range(40)], 60, 12, Crowd())
    keyed = [one for one in placed if one.keyed]
    assert keyed and [one.text for one in keyed] == [letters(number) for number in range(len(keyed))]
    assert (letters(0), letters(25), letters(26), letters(701), letters(702)) == ("A", "Z", "AA", "ZZ", "AAA")


def test_the_letters_of_the_key_are_nobodys_name() -> None:
    crowded = [Wanted("a thicket of a name", 10, 5) for _ in range(40)]
    placed = place([Wanted("B", 50, 6, rank=-1), *crowded], 60, 12, Crowd())
    stand, *keyed = [one for one in placed if one.keyed or one.text == "B"]
    assert stand.wanted.text == "B" and [one.text for one in keyed[:3]] == ["A", "C", "D"]


# -- hostile words -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "title",
    ["<script>alert(1)</script>", "]]>&amp;\"'", "x" * 4000, "\u202eevil", "\u05e9\u05dc\u05d5\u05dd", "a\x07b"],
)
def test_a_title_is_text_and_nothing_else(drawn: Callable[[str], Drawing], title: str) -> None:
    said = title.replace('"', '\\"')
    drawing = drawn(f'{BOUNDARY}pocket thicket "{said}"\n  outline 20,20 300,20 300,300 20,300\n')
    for live in (False, True):
        svg = frame(drawing, windowed(drawing), live=live).svg
        ElementTree.fromstring(svg)
        assert "<script" not in svg and "\u202e" not in svg and "\x07" not in svg


def test_lines_go_on_from_sheet_to_sheet(drawn: Callable[[str], Drawing]) -> None:
    """A hatch is set off from the plan's origin, not from the window."""
    drawing = drawn(BOUNDARY + BLOCKS["food"])
    one = frame(drawing, Window(0, 0, 120, 60, 1000)).svg
    other = frame(drawing, Window(20, 0, 100, 60, 1000)).svg  # 20 m is 20 mm here

    def hatch(svg: str) -> list[float]:
        found = next(line for line in svg.split("<path") if 'stroke="#8A8100"' in line and 'stroke-width=".14"' in line)
        return sorted(
            {float(part.split("l")[0].split()[1]) for part in found.split('d="')[1].split('"')[0].split("M")[1:]}
        )

    assert hatch(one) == hatch(other)


def test_marks_far_off_the_window_are_not_drawn(drawn: Callable[[str], Drawing]) -> None:
    drawing = drawn(BOUNDARY + BLOCKS["row"] + BLOCKS["pocket"])
    svg = frame(drawing, Window(300, 300, 20, 20, 1000)).svg
    assert 'class="tops"' not in svg
    assert 'class="tops"' in frame(drawing, windowed(drawing)).svg


def signs_at(svg: str, letters: str) -> dict[str, tuple[float, float]]:
    """Where signs with these letters stand, in millimetres."""
    found: dict[str, tuple[float, float]] = {}

    def walk(one: ElementTree.Element, x: float, y: float) -> None:
        moved = re.match(r"translate\(([-.0-9]+) ([-.0-9]+)\)", one.get("transform", ""))
        x, y = (x + float(moved[1]), y + float(moved[2])) if moved else (x, y)
        if one.text and one.text.strip() in set(letters):
            found[one.text.strip()] = (x, y)
        for inner in one:
            walk(inner, x, y)

    walk(ElementTree.fromstring(svg), 0, 0)
    return found


@pytest.mark.parametrize("live", [False, True])
def test_signs_of_places_that_would_lie_on_one_another_stand_apart(drawn: Callable[[str], Drawing], live: bool) -> None:
    places = "".join(
        f"place {kind}\n  at {at}\n  kind {kind}\n"
        for kind, at in (("gate", "200,200"), ("parking", "203,201"), ("meeting", "201,204"))
    )
    window = Window(0, 0, 120, 120, 4800)
    found = signs_at(frame(drawn(BOUNDARY + places), window, live=live).svg, "GPM")
    assert set(found) == {"G", "P", "M"}
    for one, other in combinations(found.values(), 2):
        assert max(abs(one[0] - other[0]), abs(one[1] - other[1])) >= 2 * ROOM.get("gate", 1.8) - 0.02
    assert sum(math.dist(at, window.on_paper(200 * 0.9144, 200 * 0.9144)) < 0.02 for at in found.values()) == 1
    # at a scale at which they do not touch, each stands where it is
    near = Window(175, 175, 120, 120, 200)
    alone = signs_at(frame(drawn(BOUNDARY + places), near, live=live).svg, "GPM")
    assert math.dist(alone["P"], near.on_paper(203 * 0.9144, 201 * 0.9144)) < 0.02
