"""How each thing on the map is drawn: its sign, told apart by colour, pattern and weight alike.

Colours are the eight of Okabe & Ito, "Color Universal Design" (2008; also in Wong, Nature Methods 8:441,
2011), chosen to be told apart by colour-blind people; whatever colour says, a pattern, a weight or a shape
says too, so that a grey print reads. What is the deer's is purple, what is people's vermilion, what lives
green, what is dead black, air and water blue, food yellow. All sizes are millimetres on paper.
"""

from __future__ import annotations

from typing import NamedTuple

BLACK, ORANGE, SKY, GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
YELLOW, BLUE, VERMILION, PURPLE = "#F0E442", "#0072B2", "#D55E00", "#CC79A7"
#: the palette by its own names
PALETTE = {
    "black": BLACK, "orange": ORANGE, "sky blue": SKY, "bluish green": GREEN,
    "yellow": YELLOW, "blue": BLUE, "vermillion": VERMILION, "reddish purple": PURPLE,
}  # fmt: skip
WHITE, GREY, DIM = "#FFFFFF", "#6E6E6E", "#F1F0EC"


class Hatch(NamedTuple):
    """Parallel lines over an area: the bearing they run along, how far apart, and how heavy."""

    colour: str
    bearing: float
    apart: float
    weight: float


class Scatter(NamedTuple):
    """A small mark strewn over an area, in rows offset by half: its strokes about its own middle."""

    colour: str
    mark: str
    apart: float
    weight: float
    solid: bool = False


class Along(NamedTuple):
    """A small mark set along a line, its strokes with x along the line and y to its right."""

    mark: str
    apart: float
    solid: bool = False
    first: float = 0.5


class Sign(NamedTuple):
    """How one kind of thing is drawn. `legend` is what the legend calls it; `glyph` is SVG about the place
    itself, one unit a millimetre; `round` gives dashes round ends; `ink` is the colour of its label."""

    legend: str
    kind: str
    fill: str = "none"
    fill_opacity: float = 1.0
    stroke: str = "none"
    weight: float = 0.3
    dash: tuple[float, ...] = ()
    casing: tuple[str, float] | None = None
    hatch: Hatch | None = None
    scatter: Scatter | None = None
    along: Along | None = None
    glyph: str = ""
    round: bool = False
    ink: str = BLACK


# -- small marks -------------------------------------------------------------------------------------------

_RING = "m-.55 0a.55 .55 0 1 0 1.1 0a.55 .55 0 1 0-1.1 0"
_DOT = "m-.3 0a.3 .3 0 1 0 .6 0a.3 .3 0 1 0-.6 0"
_CROSS = "m-.6-.6l1.2 1.2m0-1.2l-1.2 1.2"
_TICK = "m0-.8v1.6"
_TOOTH = "m0 0v1.4"
_BAR = "m-.5 0h1"
_VEE = "m-.6-.4l.6 .9l.6-.9"
_TRIANGLE = "m-.8 .2l.8-1.6l.8 1.6z"
_ARROW = "m-1-.9l1.9 .9l-1.9 .9"
_WAVE = "m-1.2 .2q.6-.6 1.2 0t1.2 0"
_TUFT = "m0 .5v-1m-.5 .9l-.3-.7m1.3 .7l.3-.7"


def _shape(d: str, fill: str, stroke: str = BLACK, weight: float = 0.3) -> str:
    return f'<path d="{d}" fill="{fill}" stroke="{stroke}" stroke-width="{weight}" stroke-linejoin="round"/>'


def _disc(radius: float, fill: str, stroke: str = BLACK, weight: float = 0.3) -> str:
    return f'<circle r="{radius}" fill="{fill}" stroke="{stroke}" stroke-width="{weight}"/>'


def _stroke(d: str, colour: str = BLACK, weight: float = 0.3) -> str:
    return f'<path d="{d}" fill="none" stroke="{colour}" stroke-width="{weight}" stroke-linecap="round"/>'


def _lettered(letter: str, frame: str, colour: str = BLACK) -> str:
    """A framed letter: a place people need, or a sign that deer left."""
    return (
        f'{frame}<text y=".95" font-size="2.7" font-weight="700" text-anchor="middle" fill="{colour}">{letter}</text>'
    )


_BOX = _shape("M-1.8-1.8H1.8V1.8H-1.8Z", WHITE, BLACK, 0.4)
_DIAMOND = _shape("M0-2.2L2.2 0L0 2.2L-2.2 0Z", WHITE, PURPLE, 0.5)
_STANDING = _disc(1, WHITE, BLACK, 0.3)


def _place(letter: str, legend: str) -> Sign:
    return Sign(legend, "point", glyph=_lettered(letter, _BOX))


def _left(letter: str, legend: str) -> Sign:
    return Sign(legend, "point", glyph=_lettered(letter, _DIAMOND))


#: every sign, in the order of the legend
SIGNS: dict[str, Sign] = {
    "boundary": Sign("property line", "line", stroke=BLACK, weight=0.7, dash=(9, 1.4, 1.4, 1.4, 1.4, 1.4)),
    # what another plan has otherwise, on a map of both; first, for there the rest is known
    "was-area": Sign("where an area was before", "area", stroke=GREY, weight=0.4, dash=(0.9, 0.9)),
    "was-line": Sign("where a line was before", "line", stroke=GREY, weight=0.45, dash=(0.9, 0.9)),
    "was-tree": Sign("how a tree lay before", "tree", WHITE, 0.0, GREY, 0.2, (0.9, 0.6)),
    "was-point": Sign("where something stood before", "point",
                      glyph=_disc(1.4, "none", GREY, 0.35) + _disc(0.25, GREY, GREY, 0.1)),
    "moved": Sign("from where it was to where it is", "line", stroke=GREY, weight=0.25, along=Along(_ARROW, 5)),
    "added": Sign("new since", "point", glyph=_disc(1.7, BLACK, WHITE, 0.3) + _stroke("M-.9 0H.9M0-.9V.9", WHITE, 0.4)),
    "outside": Sign("off the property", "area", fill=DIM),
    "core": Sign("core", "area", stroke=GREY, weight=0.45, dash=(0.01, 1.5), round=True),
    # food
    "plot": Sign("food plot", "area", YELLOW, 0.45, "#8A8100", 0.35, hatch=Hatch("#8A8100", 90, 1.8, 0.14)),
    "crop": Sign("crop", "area", YELLOW, 0.45, "#8A8100", 0.35, hatch=Hatch("#8A8100", 0, 1.8, 0.14)),
    "mast": Sign("mast", "area", YELLOW, 0.25, "#8A8100", 0.35, scatter=Scatter("#8A8100", _DOT, 3, 0.1, True)),
    "browse": Sign("browse", "area", YELLOW, 0.25, "#8A8100", 0.35, scatter=Scatter("#8A8100", _VEE, 3.4, 0.2)),
    # deer
    "pocket": Sign("pocket, cut", "area", PURPLE, 0.12, PURPLE, 0.7),
    "pocket-natural": Sign("pocket, natural cover", "area", PURPLE, 0.08, PURPLE, 0.4, (2.4, 1.2)),
    "pocket-planted": Sign("pocket, planted", "area", PURPLE, 0.08, PURPLE, 0.4,
                           scatter=Scatter(GREEN, _TUFT, 4, 0.2)),
    "bed": Sign("bed", "point", glyph='<ellipse rx="1.5" ry="1" fill="#5B1F45" stroke="#FFFFFF" stroke-width=".3"/>'),
    "open-arc": Sign("open arc: pushed from there, deer get out", "arc", stroke="#5B1F45", weight=0.7),
    "travel": Sign("deer's line of travel", "line", stroke="#9C3F74", weight=1, dash=(0.01, 1.9), round=True,
                   along=Along(_ARROW, 24), ink="#7A2A57"),
    "corridor": Sign("corridor through a pocket", "area", WHITE, 0.6, PURPLE, 0.25),
    "sign-bed": _left("b", "bed found"),
    "sign-rub": _left("r", "rub"),
    "sign-scrape": _left("s", "scrape"),
    "sign-crossing": _left("x", "crossing"),
    "sign-trail": Sign("trail", "line", stroke="#9C3F74", weight=0.35, dash=(1.2, 0.8)),
    "sign-line": Sign("deer sign along a line", "line", stroke="#9C3F74", weight=0.35, dash=(0.3, 0.9)),
    "sign-other": _left("d", "deer sign"),
    # people
    "entry": Sign("way in", "line", stroke=VERMILION, weight=0.8, casing=(WHITE, 1.5), along=Along(_ARROW, 30),
                  ink="#A84A00"),
    "exit": Sign("way out of hunters", "line", stroke=VERMILION, weight=0.8, dash=(3.4, 1.4), casing=(WHITE, 1.5),
                 along=Along(_ARROW, 30), ink="#A84A00"),
    "vehicle": Sign("vehicle track", "line", stroke=WHITE, weight=0.7, casing=(BLACK, 1.2), dash=()),
    "way": Sign("path", "line", stroke=BLACK, weight=0.5, dash=(2, 1)),
    "stand": Sign("stand", "point", glyph=_shape("M0-2.4L2.2 1.5H-2.2Z", BLACK, WHITE, 0.4)),
    "stand-wind": Sign("wind that a stand is hunted on", "point",
                       glyph=_stroke("M0-7.4V-3.4M-.8-4.6L0-3.3L.8-4.6", WHITE, 1)
                       + _stroke("M0-7.4V-3.4M-.8-4.6L0-3.3L.8-4.6", BLACK, 0.4)),
    "range": Sign("range of a stand", "area", stroke=GREY, weight=0.25, dash=(0.8, 0.8)),
    "shoot": Sign("way that is shot", "line", stroke=GREY, weight=0.25),
    "scent": Sign("scent from stand and walk", "area", BLUE, 0.13, BLUE, 0.3, (1.6, 1),
                  hatch=Hatch(BLUE, 45, 2.6, 0.12)),
    "gate": _place("G", "gate"),
    "parking": _place("P", "parking"),
    "landing": _place("L", "landing"),
    "meeting": _place("M", "meeting place"),
    "place": _place("+", "place"),
    # timber
    "timber": Sign("standing timber", "area", GREEN, 0.09, GREEN, 0.2, scatter=Scatter("#7FBFA9", _RING, 4.4, 0.2)),
    "release": Sign("overstory comes down", "area", stroke="#A87400", weight=0.5, dash=(2.6, 1.2),
                    hatch=Hatch("#C98B00", 45, 3.2, 0.2)),
    # cuts
    "hinge": Sign("hinged tree, its top alive", "tree", "#7CC9B0", 0.6, "#00664A", 0.14),
    "hinge-dead": Sign("hinged tree, its top dead", "tree", "#E4EFEB", 0.7, "#00664A", 0.14, (0.5, 0.35)),
    "fell": Sign("felled tree", "tree", WHITE, 0.55, BLACK, 0.16, (0.5, 0.35)),
    "blown": Sign("blown tree", "tree", "#C8C8C8", 0.6, BLACK, 0.28),
    "girdle": Sign("girdled, a snag from then on", "point", glyph=_STANDING + _stroke("M-1 0H1", weight=0.5)),
    "frill": Sign("frilled, a snag from then on", "point",
                  glyph=_STANDING + _stroke("M0-.6V-1.7M0 .6V1.7M.6 0H1.7M-.6 0H-1.7", weight=0.4)),
    "hack-and-squirt": Sign("hacked and squirted, a snag from then on", "point",
                            glyph=_STANDING + _stroke("M-.7-.1L-.2 .5M.2-.5L.7 .1", weight=0.4)),
    "snag": Sign("snag: dead, standing", "point", glyph=_STANDING + _stroke("M-.6-.6L.6 .6M.6-.6L-.6 .6")),
    "hung": Sign("hung tree", "point", glyph=_STANDING + _stroke("M-1.6 1.6L1.6-1.6", VERMILION, 0.6)),
    "uncut": Sign("tree that stands", "point", glyph=_disc(0.6, WHITE, GREY, 0.25)),
    "down": Sign("tree down or to come down, no way said", "point",
                 glyph=_stroke("M-1.4 0H1.4M0-1.4V1.4M-1-1L1 1M1-1L-1 1", weight=0.25)),
    "dots": Sign("tree, one of too many to be told apart here", "dots", stroke=BLACK, weight=0.8),
    "stump": Sign("stump that sprouts unless treated", "point", glyph=_disc(0.42, WHITE, BLACK, 0.2)),
    "stump-treated": Sign("stump treated, or to be", "point", glyph=_shape("M-.5-.5H.5V.5H-.5Z", BLACK, WHITE, 0.1)),
    "patch-hinge": Sign("patch hinged here and there", "area", GREEN, 0.1, "#00664A", 0.4, (1.6, 0.8),
                        scatter=Scatter("#00664A", _TRIANGLE, 5, 0.2)),
    "patch-fell": Sign("patch felled here and there", "area", stroke=BLACK, weight=0.4, dash=(1.6, 0.8),
                       scatter=Scatter(BLACK, _CROSS, 5, 0.22)),
    "patch-kill": Sign("patch killed standing here and there", "area", stroke=BLACK, weight=0.4, dash=(1.6, 0.8),
                       scatter=Scatter(BLACK, _RING, 5, 0.22)),
    "patch-uncut": Sign("patch, nothing cut in it", "area", stroke=GREY, weight=0.3, dash=(1.6, 0.8)),
    "opening": Sign("opening sawn through tops", "area", WHITE, 0.95, BLACK, 0.3),
    "planting-screen": Sign("screen planted", "line", stroke=GREEN, weight=0.4, along=Along(_TRIANGLE, 3, True)),
    "planting-screen-area": Sign("screen planted over an area", "area", GREEN, 0.1, GREEN, 0.3,
                                 scatter=Scatter("#00664A", _TRIANGLE, 3.4, 0.2, True)),
    "planting-cover-line": Sign("cover planted along a line", "line", stroke=GREEN, weight=0.4, along=Along(_TUFT, 3)),
    "planting-cover": Sign("cover planted", "area", GREEN, 0.1, GREEN, 0.3,
                           scatter=Scatter("#00664A", _TUFT, 3.4, 0.2)),
    # hazards
    "road": Sign("road", "line", stroke="#D9D9D9", weight=1.2, casing=(BLACK, 1.9)),
    "building": Sign("building", "area", BLACK, 0.85, BLACK, 0.3),
    "building-point": Sign("building", "point", glyph=_shape("M-1.3-1.3H1.3V1.3H-1.3Z", BLACK)),
    "wire": Sign("wire overhead", "line", stroke=BLACK, weight=0.35, along=Along("m-1.2-.8l1.2 1.6l1.2-1.6", 9)),
    "water": Sign("water", "area", SKY, 0.45, BLUE, 0.5, scatter=Scatter(BLUE, _WAVE, 4.6, 0.2)),
    "stream": Sign("stream", "line", stroke=BLUE, weight=0.9),
    "fence": Sign("fence", "line", stroke=BLACK, weight=0.3, along=Along(_CROSS, 4.5)),
    "neighbour": Sign("neighbour", "line", stroke=GREY, weight=0.8, dash=(4, 1, 0.8, 1)),
    "bank": Sign("bank, teeth to its lower side", "line", stroke=BLACK, weight=0.4, along=Along(_TOOTH, 1.6)),
    "bank-untold": Sign("bank, its lower side not said", "line", stroke=BLACK, weight=0.4, along=Along(_TICK, 1.6)),
    "hazard": Sign("hazard", "line", stroke=BLACK, weight=0.6, along=Along(_TICK, 3)),
    "hazard-area": Sign("hazard", "area", stroke=BLACK, weight=0.5, hatch=Hatch(BLACK, 135, 2.4, 0.16)),
    "hazard-point": Sign("hazard", "point", glyph=_shape("M0-1.8L1.8 1.4H-1.8Z", WHITE, BLACK, 0.5)
                         + _stroke("M0-.7V.3M0 .8V.85", weight=0.4)),
    "setback": Sign("setback", "area", stroke=BLACK, weight=0.3, dash=(2, 0.7, 0.3, 0.7)),
    # the lie of the ground
    "slope": Sign("falls this way", "point", glyph=_stroke("M0 3.6V-3.2M-1.2-1.6L0-3.4L1.2-1.6", GREY, 0.5)),
    "slope-ground": Sign("ground that falls", "area", stroke=GREY, weight=0.25, dash=(0.4, 1.6)),
    "drain": Sign("drain, downhill", "line", stroke=BLUE, weight=0.45, dash=(4, 1, 0.4, 1), along=Along(_ARROW, 22)),
    # the work and what came of it
    "task": Sign("task", "point", glyph=_shape("M-1.5-1.7H1.5V.6L0 2L-1.5 .6Z", WHITE, BLACK, 0.35)),
    "task-line": Sign("task along a line", "line", stroke=BLACK, weight=0.4, dash=(0.3, 1.1)),
    "task-area": Sign("task in an area", "area", stroke=BLACK, weight=0.35, dash=(0.3, 1.1)),
    "inspection": Sign("looked at", "point", glyph=_stroke("M0 0V-4", weight=0.35)
                       + _shape("M0-4L2.6-3.2L0-2.4Z", BLACK)),
    # findings: the graver, the heavier, and each level its own shape
    "error": Sign("error, by its number in the key", "badge", BLACK, 1, WHITE, 0.4),
    "warning": Sign("warning", "badge", WHITE, 1, BLACK, 0.6),
    "note": Sign("note", "badge", WHITE, 1, GREY, 0.3),
}  # fmt: skip

#: the order of the legend
ORDER = {name: number for number, name in enumerate(SIGNS)}
