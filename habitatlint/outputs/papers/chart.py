"""Small charts of a paper: bars in the map's palette, told apart by pattern as well as by colour, so that a grey
print reads; every bar has its figure beside it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from habitatlint.outputs.map.lettering import FAMILY, advance
from habitatlint.outputs.map.signs import BLACK, GREEN, GREY, ORANGE, SKY, VERMILION, WHITE
from habitatlint.outputs.map.tags import figure, group, path, tag, words
from habitatlint.outputs.papers.paper import Picture
from habitatlint.outputs.sentences import clean

#: width of a chart, of the names on its left and of the figures on its right, in millimetres
WIDTH, NAMES, FIGURES = 170.0, 46.0, 24.0
#: height of a bar, room between two, the strip of the legend, and the size of letters (8 points)
BAR, BETWEEN, LEGEND, LETTERS = 4.6, 1.9, 7.0, 2.83


class Look(NamedTuple):
    """How one kind of bar is filled: the ground's colour, and strokes over it in a square of some millimetres."""

    ground: str
    strokes: str = ""
    ink: str = BLACK
    square: float = 1.6
    weight: float = 0.3


#: what lives is green, what is dead black, as on the map; what is taken for its light orange and sky blue
LOOKS = {
    "hinged": Look(WHITE, "M-.4 2L2-.4M-.4 .4L.4-.4M1.2 2L2 1.2", GREEN, weight=0.55),
    "felled": Look(BLACK),
    "killed standing": Look(WHITE, "M0 .8H1.6M.8 0V1.6", VERMILION, weight=0.3),
    "released": Look(SKY, "M0 .8H1.6", BLACK, weight=0.25),
    "before": Look(WHITE, "M-.4-.4L2 2M-.4 1.2L.4 2M1.2-.4L2 .4", GREY, weight=0.35),
    "after": Look(ORANGE),
}


class Bar(NamedTuple):
    """A bar: its name, its parts as (kind, size), and the figure that stands beside it."""

    name: str
    parts: tuple[tuple[str, float], ...]
    shown: str


def chart(bars: Sequence[Bar], words_for_it: str) -> Picture | None:
    """Bars from the top down, each part as long as its share of the longest bar; a legend of the kinds beneath.

    None where no bar has a length."""
    longest = max((sum(size for _, size in bar.parts) for bar in bars), default=0.0)
    if longest <= 0:
        return None
    room = WIDTH - NAMES - FIGURES
    rows = []
    for number, bar in enumerate(bars):
        x, inner = NAMES, []
        for kind, size in bar.parts:
            wide = size / longest * room
            if wide > 0:
                inner.append(_box(kind, x, wide, BAR))
                x += wide
        name = words(_fitted(clean(bar.name), NAMES - 2), x=NAMES - 2, y=3.3, font_size=LETTERS, text_anchor="end")
        inner += [name, words(bar.shown, x=x + 1.5, y=3.3, font_size=LETTERS)]
        rows.append(group("".join(inner), 0, number * (BAR + BETWEEN)))
    kinds = [kind for kind in LOOKS if any(kind == one and size > 0 for bar in bars for one, size in bar.parts)]
    foot = len(bars) * (BAR + BETWEEN)
    high = foot + LEGEND
    axis = path(f"M{figure(NAMES)}-1V{figure(foot - BETWEEN + 1)}", stroke=BLACK, stroke_width=0.3)
    patterns = tag("defs", "".join(_pattern(kind) for kind in kinds if LOOKS[kind].strokes))
    svg = tag(
        "svg", patterns + "".join(rows) + axis + group(_legend(kinds), NAMES, foot + 2),
        xmlns="http://www.w3.org/2000/svg", width=f"{figure(WIDTH)}mm", height=f"{figure(high + 1)}mm",
        viewBox=f"0 -1 {figure(WIDTH)} {figure(high + 1)}", font_family=f"{FAMILY}, sans-serif",
    )  # fmt: skip
    return Picture(svg, WIDTH, high + 1, words_for_it)


def _name(kind: str) -> str:
    return "bar-" + kind.replace(" ", "-")


def _box(kind: str, x: float, wide: float, high: float) -> str:
    """A box of a kind: its ground, and over it what is drawn in squares, which would show seams by themselves."""
    box = tag("rect", x=x, width=wide, height=high, fill=LOOKS[kind].ground, stroke=BLACK, stroke_width=0.2)
    if LOOKS[kind].strokes:
        box += tag("rect", x=x, width=wide, height=high, fill=f"url(#{_name(kind)})")
    return box


def _pattern(kind: str) -> str:
    look = LOOKS[kind]
    inner = path(look.strokes, stroke=look.ink, stroke_width=look.weight)
    return tag("pattern", inner, id=_name(kind), width=look.square, height=look.square, patternUnits="userSpaceOnUse")


def _legend(kinds: Sequence[str]) -> str:
    x, drawn = 0.0, []
    for kind in kinds:
        drawn.append(_box(kind, x, 6, 3.4) + words(kind, x=x + 7.2, y=2.7, font_size=LETTERS))
        x += 7.2 + advance(kind, LETTERS) + 5
    return "".join(drawn)


def _fitted(text: str, room: float) -> str:
    """A text cut to a room, with a sign that it is."""
    if advance(text, LETTERS) <= room:
        return text
    while text and advance(f"{text}…", LETTERS) > room:
        text = text[:-1]
    return f"{text}…"
