"""Sixteen small maps of one stand: where its scent goes on each wind, and what it comes to.

No map is coloured good or bad: the scent is hatched as on the large map, what it comes to has a heavy black edge, and
words beneath say which it is.
"""

from __future__ import annotations

import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from habitatlint.check import Report
from habitatlint.findings import Fact
from habitatlint.language.blocks import Block, Food, Path, Pocket, Stand
from habitatlint.measures.scent import ground_reached
from habitatlint.outputs.map.drawing import Mark
from habitatlint.outputs.map.lettering import FAMILY, advance
from habitatlint.outputs.map.pen import Pen
from habitatlint.outputs.map.sheets import bar
from habitatlint.outputs.map.signs import BLACK, BLUE, GREY, SIGNS, WHITE, Along, Hatch, Sign
from habitatlint.outputs.map.tags import figure, group, path, tag, words
from habitatlint.outputs.map.window import Window
from habitatlint.outputs.papers.paper import Picture
from habitatlint.outputs.sentences import clean, shown
from habitatlint.units import plain
from habitatlint.work.winds import OnWind, Reaches, Sit, parts_that_count

#: how many maps stand side by side, the side of one and the room between two, in millimetres
ACROSS, SIDE, BETWEEN = 4, 43.5, 2.0
#: the strips for words over and under a map, the foot, and the size of letters (8 points)
_STRIP, _FOOT, _LETTERS = 4.4, 13.0, 2.83
#: room about all for half of the heaviest frame
_EDGE = 0.5
WIDTH = ACROSS * SIDE + (ACROSS - 1) * BETWEEN + 2 * _EDGE
HEIGHT = 4 * (2 * _STRIP + SIDE + BETWEEN) + _FOOT

#: the large map's signs, lighter; what scent comes to has a heavy edge
_POCKET = SIGNS["pocket"]._replace(weight=0.3)
_SMALL: dict[str, Sign] = {
    "boundary": SIGNS["boundary"]._replace(weight=0.3, dash=(3, 0.7, 0.6, 0.7)),
    "food": SIGNS["plot"]._replace(weight=0.2, hatch=Hatch("#8A8100", 90, 1.3, 0.1)),
    "pocket": _POCKET,
    "travel": SIGNS["travel"]._replace(weight=0.55, dash=(0.01, 1.1), along=Along("m-.7-.6l1.3 .6l-1.3 .6", 12)),
    "walk": SIGNS["entry"]._replace(weight=0.5, casing=(WHITE, 0.9), along=None),
    "walk-out": SIGNS["exit"]._replace(weight=0.5, casing=(WHITE, 0.9), dash=(1.6, 0.7), along=None),
    "scent": SIGNS["scent"]._replace(weight=0.2, dash=(), hatch=Hatch(BLUE, 45, 1.5, 0.1)),
    "met-area": Sign("", "area", stroke=BLACK, weight=0.75),
    "met-line": Sign("", "line", stroke=BLACK, weight=0.45, casing=(WHITE, 0.8)),
}
_STAND = '<path d="M0-1.7L1.55 1.05H-1.55Z" fill="#000000" stroke="#FFFFFF" stroke-width=".3"/>'


def small_maps(sit: Sit, report: Report, reaches: Reaches) -> Picture | None:
    """The sixteen maps of a stand at a sit; None for a stand without a place."""
    scene = report.scene
    place = scene.shape_of(sit.stand)
    if not isinstance(place, Point):
        return None
    rows = [row for row, stand in enumerate(scene.plan.of(Stand)) if stand is sit.stand]
    scented = scene.table("stands").column("scented").values[rows[0]]
    window = _window(scented, reaches.bedding)
    base = _base(sit, report, window)
    cells = []
    for number, one in enumerate(sit.winds):
        x = (number % ACROSS) * (SIDE + BETWEEN)
        y = (number // ACROSS) * (2 * _STRIP + SIDE + BETWEEN)
        grounds = [
            reached.ground for reached in ground_reached(scene, one.bearing, reaches.bedding)
            if reached.stand is sit.stand and not reached.ground.is_empty
        ]  # fmt: skip
        cells.append(group(_cell(one, sit, grounds, base, report, window), x, y))
    clip = tag("clipPath", tag("rect", x=0, y=0, width=SIDE, height=SIDE), id="map")
    svg = tag(
        "svg", clip + "".join(cells) + group(_foot(report, window), 0, HEIGHT - _FOOT),
        xmlns="http://www.w3.org/2000/svg", width=f"{figure(WIDTH)}mm", height=f"{figure(HEIGHT)}mm",
        viewBox=f"{figure(-_EDGE)} 0 {figure(WIDTH)} {figure(HEIGHT)}", font_family=f"{FAMILY}, sans-serif",
    )  # fmt: skip
    said = f"sixteen small maps of {clean(sit.stand.label)}, one a wind, with where its scent goes"
    return Picture(svg, WIDTH, HEIGHT, said)


def _window(scented: BaseGeometry, reach: float) -> Window:
    """A square of ground about the stand and its walks, as far round as scent is followed."""
    west, south, east, north = scented.buffer(1.15 * reach).bounds
    side = max(east - west, north - south)
    return Window((west + east - side) / 2, (south + north - side) / 2, SIDE, SIDE, side * 1000 / SIDE)


def _base(sit: Sit, report: Report, window: Window) -> tuple[str, str]:
    """What all sixteen have alike: the ground beneath the scent, and the ways over it."""
    scene, pen, box = report.scene, Pen(window, live=False), window.box(2)

    def drawn(sign: str, shape: BaseGeometry | None) -> str:
        if shape is None or not shape.intersects(box):
            return ""
        return "".join(pen.drawn(Mark(sign, "", shape), _SMALL[sign]))

    whole = scene.property_
    beneath = drawn("boundary", whole.boundary) if whole is not None else ""
    beneath += "".join(drawn("food", scene.shape_of(food)) for food in scene.plan.of(Food))
    beneath += "".join(drawn("pocket", scene.shape_of(pocket)) for pocket in scene.plan.of(Pocket))
    over = "".join(
        drawn("travel", scene.shape_of(one)) for one in scene.plan.of(Path) if scene.plan.word(one, "use") == "travel"
    )
    over += "".join(drawn(sign, way) for sign, way in zip(("walk", "walk-out"), sit.ways, strict=True))
    place = scene.shape_of(sit.stand)
    return beneath, over + (pen.at(place, _STAND) if isinstance(place, Point) else "")


def _cell(
    one: OnWind, sit: Sit, grounds: list[BaseGeometry], base: tuple[str, str], report: Report, window: Window
) -> str:
    """One map: the wind's name and hours over it, what scent comes to beneath."""
    pen = Pen(window, live=False)
    scent = shapely.union_all(grounds) if grounds else None
    plume = "".join(pen.drawn(Mark("scent", "", scent), _SMALL["scent"])) if scent is not None else ""
    edges = "".join(_edge(pen, met.thing, sit, report) for met in one.reaches)
    inner = tag("rect", width=SIDE, height=SIDE, fill=WHITE) + base[0] + plume + edges + base[1]
    frame = tag("rect", width=SIDE, height=SIDE, fill="none", stroke=BLACK, stroke_width=0.9 if one.listed else 0.25)
    hours = "" if one.share is None else f"{shown(Fact(one.share, 'share'), report.units)} of hours"
    head = words(one.name, y=3.3, font_size=_LETTERS + 0.4, font_weight="700")
    note = ", ".join(part for part in (hours, "hunted" if one.listed else "") if part)
    head += words(note, x=SIDE, y=3.3, font_size=_LETTERS, text_anchor="end") if note else ""
    said = words(_fitted(told(one), SIDE), y=_STRIP + SIDE + 3.2, font_size=_LETTERS)
    map_ = tag("g", inner, clip_path="url(#map)") + frame
    return head + group(map_, 0, _STRIP) + said


def told(one: OnWind) -> str:
    """What scent comes to on a wind, in a few words: names only, the nearest first."""
    if one.reaches:
        return f"to {', '.join(_short(met.thing) for met in one.reaches)}"
    return f"faintly to {', '.join(_short(met.thing) for met in one.met)}" if one.met else "clean"


def _short(block: Block) -> str:
    return clean(block.name or block.noun)


def _edge(pen: Pen, thing: Block, sit: Sit, report: Report) -> str:
    """The heavy edge of what scent comes to; of a line of travel the part by which deer come."""
    shape = report.scene.shape_of(thing)
    if shape is None:
        return ""
    if isinstance(thing, Path):
        parts = parts_that_count(report.scene, sit.stand, shape, sit.sit)
        return "".join("".join(pen.drawn(Mark("met", "", part), _SMALL["met-line"])) for part in parts)
    return "".join(pen.drawn(Mark("met", "", shape), _SMALL["met-area"]))


def _fitted(text: str, room: float) -> str:
    """A text cut with an ellipsis where it is too long for its room."""
    if advance(text, _LETTERS) <= room:
        return text
    while text and advance(text + "…", _LETTERS) > room:
        text = text[:-1]
    return text.rstrip(" ,") + "…"


def _foot(report: Report, window: Window) -> str:
    """The legend and the scale under the maps."""
    pen = Pen(Window(0, 0, 8, 4, 1000), live=False)
    line, area = shapely.LineString([(0, 2), (7, 2)]), shapely.box(0.3, 0.4, 6.7, 3.6)
    entries = [
        ("stand", group(_STAND, 3.5, 2.3)),
        ("walk", "".join(pen.drawn(Mark("", "", line), _SMALL["walk"]))),
        ("pocket", "".join(pen.drawn(Mark("", "", area), _SMALL["pocket"]))),
        ("food", "".join(pen.drawn(Mark("", "", area), _SMALL["food"]))),
        ("deer's way", "".join(pen.drawn(Mark("", "", line), _SMALL["travel"]._replace(along=None)))),
        ("scent", "".join(pen.drawn(Mark("", "", area), _SMALL["scent"]))),
        ("scent comes to it", "".join(pen.drawn(Mark("", "", area), _SMALL["met-area"]))),
    ]
    x, drawn = 0.0, []
    for said, sample in entries:
        drawn.append(group(sample + words(said, x=8.4, y=3.0, font_size=_LETTERS), x, 0))
        x += 8.4 + advance(said, _LETTERS) + 3.6
    part, length = bar(window.scale, report.units, longest=SIDE * 0.8)
    ruler = path(f"M0 0H{figure(4 * length)}M0-1V1M{figure(4 * length)}-1V1", stroke=BLACK, stroke_width=0.35)
    size = f"{plain(4 * part, 2)} {report.units}"
    drawn.append(group(ruler + words(size, x=4 * length + 1.5, y=1.0, font_size=_LETTERS), 0.3, 8.6))
    said = "North is up. The wind blows from where its name says. A heavy frame: the plan hunts it on that wind."
    drawn.append(words(said, x=4 * length + 20, y=9.6, font_size=_LETTERS, fill=GREY))
    return "".join(drawn)
