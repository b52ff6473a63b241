"""A drawing on one window of paper, as SVG: one unit is one millimetre."""

from __future__ import annotations

import base64
import math
from collections.abc import Iterator, Mapping
from typing import NamedTuple

import shapely
from shapely.geometry import LineString, MultiLineString, MultiPoint, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.language.blocks import Block
from habitatlint.outputs.map import labels
from habitatlint.outputs.map.drawing import LAYERS, Drawing, Mark
from habitatlint.outputs.map.labels import Crowd, Wanted
from habitatlint.outputs.map.lettering import CAPITALS, FAMILY, advance
from habitatlint.outputs.map.pen import ARC, BADGE, Pen, arc, badge, half_badge
from habitatlint.outputs.map.picture import Picture
from habitatlint.outputs.map.signs import BLACK, GREY, ORDER, SIGNS, WHITE, Sign
from habitatlint.outputs.map.tags import figure, group, haloed, path, tag, words
from habitatlint.outputs.map.window import Window
from habitatlint.outputs.sentences import clean
from habitatlint.units import UNITS, plain

#: room around a window for the grid's figures, in millimetres
EDGE = 5.0
#: size of the grid's figures: 8 points
_FIGURES = 2.83
#: how far apart the grid's lines stand at the least, in millimetres
_LEAST_GRID = 22.0


class Keyed(NamedTuple):
    """A label that found no place: the letters that stand on the map for it, and the label."""

    letters: str
    label: str


class Frame(NamedTuple):
    """A window drawn: an SVG `EDGE` larger all round than the window, the signs that are on it in the order of
    the legend, the labels that found no place, and the numbers of the findings on it."""

    svg: str
    signs: tuple[str, ...]
    keyed: tuple[Keyed, ...]
    numbers: tuple[int, ...]


def frame(
    drawing: Drawing,
    window: Window,
    *,
    joins: Mapping[str, int] = {},
    lap: float = 0.0,
    picture: Picture | None = None,
    live: bool = False,
) -> Frame:
    """Draws a window.

    `joins` says by side ("north", "east", "south", "west") which sheet goes on there; the match line runs `lap`
    millimetres within the window. `live` makes it for the page: a group a layer (`<g class="layer"
    data-layer="trees">`), what belongs to a block in `<g data-block="NAME" data-line="12">` (with `data-file` where
    an included file has it), findings in `<g class="finding" data-finding="3">`, lines that keep their weight at
    any zoom, and signs in `<g class="sign">` inside a translated group, to be scaled about its own origin.
    """
    return _Frame(drawing, window, joins, lap, picture, live).whole()


def swatch(sign: str) -> str:
    """A sample of a sign for the legend, an SVG of 12 by 6 mm."""
    one = SIGNS[sign]
    inner = ""
    if one.kind in ("area", "line", "tree", "dots"):
        close = one._replace(
            scatter=one.scatter._replace(apart=3) if one.scatter else None,
            along=one.along._replace(apart=min(one.along.apart, 5.5)) if one.along else None,
        )
        inner = "".join(Pen(Window(0, 0, 12, 6, 1000), live=False).drawn(Mark(sign, "", _sample(one)), close))
    elif one.kind == "point":
        inner = group(one.glyph, 6, {"stand-wind": 8.4, "inspection": 5.2}.get(sign, 3))
    elif one.kind == "arc":
        inner = group(SIGNS["bed"].glyph + arc(one, (-70, 70)), 6, 4.5)
    elif one.kind == "badge":
        inner = group(badge(sign, 7), 6, 3)
    return _svg(inner, 12, 6, 0)


def _sample(sign: Sign) -> BaseGeometry:
    if sign in (SIGNS["corridor"], SIGNS["opening"]):  # a strip
        return shapely.box(0.6, 2.2, 11.4, 3.8)
    if sign.kind == "tree":
        top = Polygon([(4.5, 3), (6, 4.5), (8.5, 4.9), (10.4, 4), (11, 3), (10.4, 2), (8.5, 1.1), (6, 1.5)])
        return shapely.geometrycollections([MultiLineString([[(0.8, 3), (11, 3)]]), MultiPolygon([top])])
    if sign.kind == "dots":
        return MultiPoint([(3, 3), (6, 3), (9, 3)])
    if sign.kind == "line":
        return LineString([(0.4, 2.4), (4, 3.4), (8, 2.6), (11.6, 3.4)])
    return shapely.box(0.6, 0.6, 11.4, 5.4)


def _svg(inner: str, width: float, height: float, edge: float) -> str:
    """A whole SVG of so many millimetres, with room about its origin."""
    wide, high = figure(width + 2 * edge), figure(height + 2 * edge)
    view = f"{figure(-edge)} {figure(-edge)} {wide} {high}"
    return tag("svg", inner, xmlns="http://www.w3.org/2000/svg", width=f"{wide}mm", height=f"{high}mm", viewBox=view,
               font_family=f"{FAMILY}, sans-serif")  # fmt: skip


class _Frame:
    """One window while it is drawn: what is on it gathers here."""

    def __init__(
        self, drawing: Drawing, window: Window, joins: Mapping[str, int], lap: float, picture: Picture | None,
        live: bool,
    ) -> None:  # fmt: skip
        self.drawing, self.window, self.joins, self.lap = drawing, window, joins, lap
        self.picture, self.live = picture, live
        self.pen = Pen(window, live)
        #: the window's ground, and with what a sign at its edge reaches
        self.ground, self.about = window.box(), window.box(10)
        shapely.prepare(self.ground)
        shapely.prepare(self.about)
        self.signs: set[str] = set()
        self.wanted: list[Wanted] = []
        self.crowd = Crowd()
        #: how far signs of places are moved off others that they would lie on, right and down in millimetres
        self.moved = dict(self._apart())
        #: left, top, right and bottom of what is this sheet's own: beyond a match line is the next sheet's
        self.own = (
            lap if "west" in joins else 0.0, lap if "north" in joins else 0.0,
            window.width - (lap if "east" in joins else 0.0), window.height - (lap if "south" in joins else 0.0),
        )  # fmt: skip

    def whole(self) -> Frame:
        marks = [self._layered(layer.name, "".join(self._marks(layer.name))) for layer in LAYERS]
        # badges keep off match lines and what stands at a place, and labels off all of these
        matches = self._matches()
        badges, numbers = self._findings()
        placed = labels.place(self.wanted, self.window.width, self.window.height, self.crowd)
        names = self._layered("labels", "".join(self._label(one) for one in placed))
        grid, figures = self._grid()
        drawn = self._paper() + grid + "".join(marks)
        if not self.live:
            clip = tag("clipPath", self._rect(), id="window")
            neat = self._rect(fill="none", stroke=BLACK, stroke_width=0.5)
            drawn = clip + tag("g", drawn, clip_path="url(#window)") + matches + neat + figures
        inner = drawn + names + self._layered("findings", badges)
        svg = _svg(inner, self.window.width, self.window.height, EDGE)
        keyed = tuple(Keyed(one.text, one.wanted.text) for one in placed if one.keyed)
        return Frame(svg, tuple(sorted(self.signs, key=ORDER.__getitem__)), keyed, numbers)

    def _layered(self, name: str, inner: str) -> str:
        """What belongs to a layer, as the page's group of that layer."""
        return tag("g", inner, class_="layer", data_layer=name) if self.live and inner else inner

    def _rect(self, **attributes: object) -> str:
        return tag("rect", width=self.window.width, height=self.window.height, **attributes)

    # -- marks ---------------------------------------------------------------------------------

    def _paper(self) -> str:
        """The paper; what lies off the property is dimmed, so that the property stands out."""
        paper = self._rect(class_="paper", fill=WHITE)
        whole = self.drawing.report.scene.property_
        off = self.ground.difference(whole) if whole is not None else Polygon()
        return paper + "".join(self.pen.drawn(Mark("outside", "", off)))

    def _marks(self, layer: str) -> Iterator[str]:
        if layer == "picture" and self.picture is not None:
            yield self._beneath(self.picture)
        for mark in self.drawing.marks:
            if mark.layer != layer or not self.about.intersects(mark.shape):
                continue
            if not self.live:  # on the page the ground beyond can be moved into view
                mark = mark._replace(shape=_within(mark, self.about))
            if self.ground.intersects(mark.shape):
                self.signs.add(mark.sign)
                self._want(mark)
            drawn = "".join(self.pen.drawn(mark))
            if (off := self.moved.get(id(mark.block))) is not None and mark.layer == "people":
                drawn = self._led(mark, *off)
            yield self._of_block(mark.block, drawn) if self.live and mark.block is not None else drawn

    def _apart(self) -> Iterator[tuple[int, tuple[float, float]]]:
        """Places (a gate, parking, where people meet) whose signs would lie on one another or on a stand, by the
        identity of their blocks: the first stays where it is, the next moves to the nearest spot that is free."""
        taken = Crowd()
        people = [
            mark for mark in self.drawing.marks
            if mark.layer == "people" and mark.label and mark.block is not None and self.ground.intersects(mark.shape)
            and mark.shape.geom_type == "Point"
        ]  # fmt: skip
        people.sort(key=lambda mark: mark.block is None or mark.block.noun == "place")  # stands stay
        for mark in people:
            half = ROOM.get(mark.sign, 1.8)
            x, y = self.window.on_paper(mark.shape.x, mark.shape.y)
            for off_x, off_y in ((0.0, 0.0), *_rings(2 * half)):
                box = (x + off_x - half, y + off_y - half, x + off_x + half, y + off_y + half)
                if mark.block is None or mark.block.noun != "place" or taken.is_free(box):
                    break
            else:
                off_x, off_y = 0.0, 0.0
            taken.take((x + off_x - half, y + off_y - half, x + off_x + half, y + off_y + half))
            if off_x or off_y:
                yield id(mark.block), (off_x, off_y)

    def _led(self, mark: Mark, off_x: float, off_y: float) -> str:
        """A sign beside its place, with a line to it."""
        lead = path(f"M0 0L{figure(off_x)} {figure(off_y)}", stroke=BLACK, stroke_width=0.25) + tag("circle", r=0.5)
        glyph = group(SIGNS[mark.sign].glyph, off_x, off_y)
        return group(self.pen.fixed(lead + glyph), *self.window.on_paper(mark.shape.x, mark.shape.y))

    def _of_block(self, block: Block, drawn: str) -> str:
        span = block.span()
        other = span.source.name != self.drawing.report.source.name
        return tag("g", drawn, data_block=block.name, data_line=str(span.line),
                   data_file=clean(span.source.name) if other else None)  # fmt: skip

    def _beneath(self, picture: Picture) -> str:
        a, b, c, d, e, f = picture.affine
        x, y = self.window.on_paper(c, f)
        by = self.window.per_metre
        matrix = " ".join(f"{value:.8g}" for value in (a * by, -d * by, b * by, -e * by, x, y))
        data = base64.b64encode(picture.data).decode("ascii")
        return tag("image", width=str(picture.columns), height=str(picture.rows), preserveAspectRatio="none",
                   transform=f"matrix({matrix})", href=f"data:{picture.media};base64,{data}")  # fmt: skip

    # -- labels --------------------------------------------------------------------------------

    def _want(self, mark: Mark) -> None:
        """What of a mark labels keep off, and the label it wants."""
        sign = SIGNS[mark.sign]
        seen = mark.shape if sign.kind == "tree" else mark.shape.intersection(self.ground)
        room = ROOM.get(mark.sign, 1.8) if sign.kind in ("point", "arc") else 0.0
        off_x, off_y = self.moved.get(id(mark.block), (0.0, 0.0)) if mark.layer == "people" else (0.0, 0.0)
        if room:
            if off_x or off_y:
                x, y = self.window.on_paper(seen.x, seen.y)
                self.crowd.take((x + off_x - room, y + off_y - room, x + off_x + room, y + off_y + room))
            for x, y in self.window.points(shapely.get_coordinates(seen)).tolist():
                self.crowd.take((x - room, y - room, x + room, y + room))
        if mark.sign == "stand-wind" and mark.turn is not None and not seen.is_empty:
            x, y = self.window.on_paper(seen.x, seen.y)
            turned = math.radians(mark.turn)
            for far in (4.2, 5.6, 7.0):  # along the arrow
                at_x, at_y = x + far * math.sin(turned), y - far * math.cos(turned)
                self.crowd.take((at_x - 0.7, at_y - 0.7, at_x + 0.7, at_y + 0.7))
        if mark.label and not seen.is_empty:
            wanted = self._wanted(mark, sign, seen)
            self.wanted.append(wanted._replace(x=wanted.x + off_x, y=wanted.y + off_y))

    def _wanted(self, mark: Mark, sign: Sign, seen: BaseGeometry) -> Wanted:
        more: tuple[tuple[float, float], ...] = ()
        inside = False
        room = ROOM.get(mark.sign, 1.8)
        if sign.kind == "area":
            place = _middle(seen)
            west, south, east, north = seen.bounds
            inside, room = True, min(min(east - west, north - south) / 2 * self.window.per_metre, 12)
        elif sign.kind == "line":
            part = max(shapely.get_parts(seen), key=lambda part: part.length)  # a point where it only touches
            line = LineString([*part.coords, part.coords[-1]])
            spots = [line.interpolate(share, normalized=True).coords[0] for share in (0.5, 0.3, 0.7, 0.15, 0.85)]
            place, room = spots[0], 0.6
            more = tuple(self.window.on_paper(*spot) for spot in spots[1:])
        else:  # of trees the stump of one in their midst
            places = shapely.get_coordinates(seen)
            if sign.kind == "tree":
                stumps = shapely.get_coordinates(seen.geoms[0])[::2]
                here = stumps[shapely.contains_xy(self.ground, stumps)]
                parts = shapely.get_parts(shapely.get_parts(seen))
                places = here if len(here) else shapely.get_coordinates(shapely.intersection(parts, self.ground))
            place = places[len(places) // 2]
        bold = mark.rank <= 1
        return Wanted(mark.label, *self.window.on_paper(*place), room, inside, bold, mark.rank, sign.ink, more)

    def _label(self, placed: labels.Placed) -> str:
        one = placed.wanted
        style = {"font_size": placed.size, "font_weight": "700" if placed.bold else None, "fill": one.colour}
        if not self.live:
            return haloed(placed.text, 1.1, x=placed.x, y=placed.y, **style)
        # the label stands off the place it names, so that it keeps by it at any zoom
        return group(self.pen.fixed(haloed(placed.text, 1.1, x=placed.x - one.x, y=placed.y - one.y, **style)),
                     one.x, one.y)  # fmt: skip

    # -- findings ------------------------------------------------------------------------------

    def _findings(self) -> tuple[str, tuple[int, ...]]:
        """Badges by the places of findings, and their numbers: none hides another, the gravest stand nearest."""
        drawn, numbers = [], []
        left, top, right, bottom = self.own
        for one in sorted(self.drawing.numbered, key=lambda one: (-one.finding.level, one.number)):
            if one.place is None:
                continue
            x, y = self.window.on_paper(*one.place)
            if not (left <= x <= right and top <= y <= bottom):
                continue
            level = one.finding.level.name
            self.signs.add(level)
            numbers.append(one.number)
            off_x, off_y = self._beside(x, y, half_badge(one.number))
            lead = path(f"M0 0L{figure(off_x)} {figure(off_y)}", stroke=BLACK, stroke_width=0.25) + tag("circle", r=0.5)
            shown = self.pen.fixed(lead + group(badge(level, one.number), off_x, off_y))
            about: dict[str, object] = {"class_": "finding", "data_finding": str(one.number)} if self.live else {}
            drawn.append(group(shown, x, y, **about))
        return "".join(reversed(drawn)), tuple(sorted(numbers))

    def _beside(self, x: float, y: float, half: float) -> tuple[float, float]:
        """How far from its place a badge stands: the first free spot on rings about it."""
        for ring in range(1, 9):
            far = 3.0 * ring + 0.4
            for turn in range(6 * ring):
                angle = math.radians(50 + 360 * turn / (6 * ring))
                off_x, off_y = far * math.sin(angle), -far * math.cos(angle)
                box = (x + off_x - half, y + off_y - BADGE, x + off_x + half, y + off_y + BADGE)
                inside = box[0] > 0 and box[1] > 0 and box[2] < self.window.width and box[3] < self.window.height
                if inside and self.crowd.is_free(box):
                    self.crowd.take(box)
                    return off_x, off_y
        return 0.0, -3.4

    # -- the grid and the match lines ----------------------------------------------------------

    def _grid(self) -> tuple[str, str]:
        """Lines a round number of the plan's units apart, and their figures about the window: as in the plan."""
        window = self.window
        unit = UNITS[self.drawing.report.units][1]
        apart = _round_up(_LEAST_GRID / window.per_metre / unit) * unit
        west, south, east, north = self.ground.bounds
        strokes, figures = [], []
        for value in _multiples(west, east, apart):
            x, _ = window.on_paper(value, south)
            strokes.append(f"M{figure(x)} 0V{figure(window.height)}")
            if 4 < x < window.width - 4:
                for y in (-1.2, window.height + 1.4 + CAPITALS * _FIGURES):
                    figures.append(words(plain(value / unit, 1), x=x, y=y))
        for value in _multiples(south, north, apart):
            _, y = window.on_paper(west, value)
            strokes.append(f"M0 {figure(y)}H{figure(window.width)}")
            if 4 < y < window.height - 4:
                for x in (-1.2, window.width + 1.4 + CAPITALS * _FIGURES):
                    figures.append(group(words(plain(value / unit, 1)), x, y, -90))
        lines = path("".join(strokes), class_="grid", stroke="#BDBDBD", **self.pen.line(0.15))
        return lines, tag("g", "".join(figures), font_size=_FIGURES, text_anchor="middle", fill="#333333")

    def _matches(self) -> str:
        """Match lines: a double line where the next sheet goes on, unlike any property line, what lies beyond it
        paled, and its number."""
        wide, high, lap = self.window.width, self.window.height, self.lap
        left, top, right, bottom = self.own
        # of each side: the strip beyond the line (x, y, width, height), and the line
        sides = {
            "north": ((0.0, 0.0, wide, lap), ((0.0, top), (wide, top))),
            "south": ((0.0, bottom, wide, lap), ((0.0, bottom), (wide, bottom))),
            "west": ((0.0, 0.0, lap, high), ((left, 0.0), (left, high))),
            "east": ((right, 0.0, lap, high), ((right, 0.0), (right, high))),
        }
        parts = []
        for side, sheet in sorted(self.joins.items()):
            (x, y, across, down), (start, end) = sides[side]
            said = f"match line: goes on at sheet {sheet}"
            along, off = advance(said, _FIGURES) / 2 + 2, lap / 2
            upright = side in ("west", "east")
            half_x, half_y = (off, along) if upright else (along, off)
            middle_x, middle_y = x + across / 2, y + down / 2
            self.crowd.take((middle_x - half_x, middle_y - half_y, middle_x + half_x, middle_y + half_y))
            d = f"M{figure(start[0])} {figure(start[1])}L{figure(end[0])} {figure(end[1])}"
            parts += [
                tag("rect", x=x, y=y, width=across, height=down, fill=WHITE, fill_opacity=0.55),
                path(d, stroke=GREY, stroke_width=1.3),
                path(d, stroke=WHITE, stroke_width=0.7),
                group(haloed(said, 1.4, y=1.0, font_size=_FIGURES, text_anchor="middle"), middle_x, middle_y,
                      -90 if upright else 0),
            ]  # fmt: skip
        return "".join(parts)


#: how far signs at a place reach about it, in millimetres, where it is not 1.8; labels stand upon stumps
ROOM = {
    "stand": 2.4, "stand-wind": 0.0, "bed": ARC, "open-arc": ARC, "stump": 0.0, "stump-treated": 0.0, "uncut": 0.0,
    "down": 0.0,
}  # fmt: skip


def _round_up(least: float) -> float:
    """The next of 1, 2, 5, 10 ... from a size on."""
    power = 10.0 ** math.floor(math.log10(least)) if least > 0 else 1.0
    return next(step * power for step in (1, 2, 5, 10) if step * power >= least * (1 - 1e-9))


def _multiples(first: float, last: float, apart: float) -> Iterator[float]:
    for number in range(math.ceil(first / apart - 1e-9), math.floor(last / apart + 1e-9) + 1):
        yield number * apart


def _within(mark: Mark, ground: Polygon) -> BaseGeometry:
    """What of many things of one mark lies on a ground, each whole; lines and areas are left whole, so that their
    dashes go on from sheet to sheet."""
    kind = SIGNS[mark.sign].kind
    if kind == "tree":
        stems, tops = mark.shape.geoms
        lying, bushy = ([part for part in many.geoms if ground.intersects(part)] for many in (stems, tops))
        return shapely.geometrycollections([MultiLineString(lying), MultiPolygon(bushy)])
    return mark.shape.intersection(ground) if kind == "point" else mark.shape


def _middle(shape: BaseGeometry) -> tuple[float, float]:
    """The middle of the widest place of an area, in metres; of what has no area a point on it."""
    polygons = [part for part in shapely.get_parts(shape) if isinstance(part, Polygon)]
    if not polygons:
        point = shape.representative_point()
        return float(point.x), float(point.y)
    widest = shapely.maximum_inscribed_circle(max(polygons, key=lambda part: part.area))
    east, north = widest.coords[0]
    return float(east), float(north)


def _rings(apart: float) -> Iterator[tuple[float, float]]:
    """Spots about a place, the nearest first, on rings so many millimetres apart; right and down."""
    for ring in range(1, 6):
        for turn in range(8 * ring):
            angle = math.radians(45 + 360 * turn / (8 * ring))
            yield apart * ring * math.sin(angle), -apart * ring * math.cos(angle)
