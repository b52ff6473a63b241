"""Features become the text of a plan, or are added to one: placed, thinned, named, laid out in a steady order."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.exchange.exporting import said_of
from habitatlint.exchange.features import Contents, ExchangeTrouble, Feature, counted, few, plain_text, polygons_of
from habitatlint.exchange.naming import (
    Meaning,
    Names,
    form_of_a_closed_walk,
    in_order,
    is_name,
    meaning_of,
    name_for,
    title_for,
    words_of,
)  # fmt: skip
from habitatlint.ground.frame import Frame, FrameUnavailable, declination
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import BLOCKS, BY_NOUN, PLACED, Block, Pocket
from habitatlint.language.formatting import formatted
from habitatlint.language.plan import LAYOUT, fit, references
from habitatlint.language.properties import Property
from habitatlint.reading.blocks import read
from habitatlint.reading.grammar import Grammar
from habitatlint.reading.values import Bearing, EarthPoint
from habitatlint.source import Source
from habitatlint.units import MILE, TOLERANCE, UNITS, plain, show

#: lines and outlines are thinned by this unless told otherwise: about how well a hand-held receiver knows its place
#: (common practice, no source); in metres
USUAL_TOLERANCE = 3 * 0.9144
#: what lies farther from a plan's anchor than this is no part of its property, in metres
FAR = 10 * MILE
#: no line of a plan that a person reads has more points than this; it is thinned by twice as much until it has fewer
_MOST_IN_A_LINE, _FINEST = 2000, 0.25
#: sides of an outline that are met by more others than this, on average, make a scribble, which is unravelled with no
#: more points than so many
_MET = 40
_MOST_THAT_CROSS = 100
#: an outline smaller than the tolerance keeps so many of its points
_MOST_OF_A_SPECK = 24
#: so many things that had to be guessed are told one by one
_MOST_TOLD = 20
#: decimals of a point in the plan's unit: half of the last is under a centimetre, whatever the unit
_PLACES = 2
#: what comes in again is the same thing within this, in metres: rounding, and the 1.1 mm of a degree's decimals
_SAME = 2 * TOLERANCE
#: a walk that ends as near to its start as this, in metres and as a share of its length, came back to it
_CLOSED, _CLOSED_SHARE = 20.0, 0.05
#: a food source given as one point, in the plan's unit of yards or metres (common practice, no source)
_FOOD_RADIUS = 10 * 0.9144
#: a repaired outline that lost more of its ground than this is told
_LOST = 0.01
#: how a walk round a thing is called
_EDGE = re.compile(r"(?i)\s+(edge|loop|outline|track|walk)$")
#: words of a feature that are no property of a block
_ABOUT = frozenset({"noun", "name", "title", "derived", "placed-by", "pocket", "form"})
#: properties that say where a thing is
_PLACES_OF = frozenset({"outline", "line", "stumps", "at", "bed"})
#: properties by which two things at one place are not the same
_MEANING = ("kind", "use", "method", "basal-area", "density", "of", "distance")
#: nouns that a feature may say of itself: what has a place, and what is measured from it
_SAID = frozenset({*PLACED, "setback"})
_ORDER = {block.noun: number for number, block in enumerate(BLOCKS)}


class Brought(NamedTuple):
    """What an import gives: the text (a whole plan, or what is to stand at the end of one), its lines to be told, and
    how many blocks came in and were there already."""

    text: str
    told: tuple[str, ...]
    added: int
    already: int


class _Draft:
    """A block while it is made."""

    __slots__ = (
        "beds", "comments", "file", "guess", "lines", "name", "named", "noun", "own", "said", "shape", "title",
        "where",
    )  # fmt: skip

    def __init__(self, noun: str, shape: BaseGeometry | None, feature: Feature, file: int) -> None:
        self.noun = noun
        #: in metres of the plan's frame, as it is written; None where something else places it
        self.shape = shape
        self.where = feature.where
        self.file = file
        #: what its own file calls it, by which other things of that file mean it
        self.said = feature.properties.get("name", "")
        #: it says itself what it is
        self.own = "noun" in feature.properties
        self.name = ""
        self.named = feature.name
        self.title = ""
        self.lines: list[tuple[str, str]] = []
        self.comments: list[str] = []
        #: what nobody told of it, to be told at the prompt; "" for nothing
        self.guess = ""
        self.beds: list[Point] = []

    @property
    def label(self) -> str:
        return f"{self.noun} {self.name}".strip()


class _Head(NamedTuple):
    """What the plan that is written to says in its head."""

    units: str
    north: str
    declination: str


def into_new(
    files: Sequence[tuple[str, Contents]],
    grammar: Grammar,
    *,
    tolerance: float = USUAL_TOLERANCE,
    units: str = "",
    title: str = "",
    day: date | None = None,
) -> Brought:
    """A whole plan of what is in files (each with the name it is told by).

    Its head is that of the first file that `export` wrote, else it has the stage, the `units` (yd), an anchor at a
    round place at the south-west corner, and where a `day` is given that day and its declination there, for the
    compass on the map. Raises ExchangeTrouble where nothing can be placed.
    """
    head = next((dict(contents.head) for _, contents in files if contents.head), {})
    title = title or next((contents.title for _, contents in files if contents.title), "")
    title = title or plain_text(re.sub("[-_.]+", " ", files[0][0].rpartition(".")[0]), 80).capitalize() or "My farm"
    said = _anchor_of(head, grammar)
    anchor = said or _corner(files)
    units = units or head.get("units", "yd")
    units = units if units in ("yd", "ft", "m") else "yd"
    lines = {
        "stage": "design",
        **head,
        "units": units,
        "anchor": head["anchor"] if said else _written_anchor(anchor),
    }
    if day is not None and not head:
        lines |= _of_the_day(day, anchor)
    maker = _Maker(grammar, Frame(*anchor), _Head(units, lines.get("north", "true"), lines.get("declination", "")))
    maker.take(files, tolerance)
    body = maker.text()
    if not maker.drafts:
        raise ExchangeTrouble("nothing in it can be placed" + _because(maker.told))
    plan = _Draft("plan", None, Feature(Point()), 0)
    plan.lines = [
        (word, _quoted(said) if one.takes == "text" else said)
        for word, one in BY_NOUN["plan"].properties.items() for said in lines.get(word, "").splitlines()
    ]  # fmt: skip
    if not any(draft.noun == "boundary" for draft in maker.drafts):
        maker.told.append("no boundary came in: add `boundary` with its `outline`, or walk the line and import that")
    opening = _comment(f"From {few([name for name, _ in files])}.")
    text = f"{opening}\n{maker.block(plan, [_quoted(title)])}\n{body}"
    return Brought(formatted(Source("new", text), grammar), tuple(maker.told), len(maker.drafts), 0)


def into_plan(
    scene: Scene, files: Sequence[tuple[str, Contents]], grammar: Grammar, *, tolerance: float = USUAL_TOLERANCE
) -> Brought:
    """What is to stand at the end of a plan's text, with that text's line ends; "" where all is there already.

    Raises ExchangeTrouble for a plan without an anchor, and where the text could not be added without changing how
    the plan reads."""
    plan = scene.plan
    name = plan.source.name
    if scene.placer.frame is None:
        raise ExchangeTrouble(
            f"{name}: says nowhere on the earth that it lies; add to its head, below `plan`, a line such as `anchor "
            "43.7120N,90.6210W`: the place of its 0,0"
        )
    head = plan.head
    north = plan.word(head, "north", "true") if head else "true"
    declination = head.first("declination") if head else None
    said = head.span(declination).text.partition(" ")[2].strip() if head and declination else ""
    maker = _Maker(grammar, scene.placer.frame, _Head(scene.units, north, said), scene)
    maker.take(files, tolerance)
    body = maker.text()
    told = tuple(maker.told)
    if not maker.drafts:
        if not maker.already:
            raise ExchangeTrouble("nothing in it can be placed" + _because(maker.told))
        return Brought("", told, 0, maker.already)
    opening = _comment(f"From {few([name for name, _ in files])}.")
    piece = formatted(Source("new", f"{opening}\n\n{body}"), grammar)
    text = _at_the_end(plan.source.text, piece)
    _hold_still(plan.source, text, len(maker.drafts), grammar)
    return Brought(text, told, len(maker.drafts), maker.already)


def _because(told: Sequence[str]) -> str:
    return f": {told[0]}" if told else "; look whether it is the file you mean"


def _comment(text: str) -> str:
    return f"# {plain_text(text, 300)}"


def _at_the_end(before: str, piece: str) -> str:
    carriage_returns = before.count("\r\n")
    end = "\r\n" if 2 * carriage_returns > before.count("\n") else "\n"
    gap = "" if not before.strip() else end if before.endswith("\n") else 2 * end
    return gap + piece.replace("\n", end)


def _hold_still(source: Source, addition: str, blocks: int, grammar: Grammar) -> None:
    """Every block before reads as it did, and so many more come after; anything else is refused."""
    before = read(source, grammar, LAYOUT)
    after = read(Source(source.name, source.text + addition), grammar, LAYOUT)
    same = len(after) == len(before) + blocks and all(
        (one.parsed.noun, one.offset, len(one.parsed.statements), len(one.parsed.troubles))
        == (other.parsed.noun, other.offset, len(other.parsed.statements), len(other.parsed.troubles))
        for one, other in zip(before, after, strict=False)
    )
    if not same:
        raise ExchangeTrouble(
            f"{source.name}: what came in would change how its last lines read; see what `check` says of them, or end "
            "the file with an empty line"
        )


# -- the frame -------------------------------------------------------------------------------------------------


def _anchor_of(head: Mapping[str, str], grammar: Grammar) -> tuple[float, float] | None:
    said = plain_text(head.get("anchor", ""), 60)
    for placed in read(Source("head", f'plan "x"\n  anchor {said}\n'), grammar, LAYOUT) if said else []:
        for statement in placed.parsed.statements:
            value = statement.values[0].value if statement.values else None
            if isinstance(value, EarthPoint):
                return value.latitude, value.longitude
    return None


def _corner(files: Iterable[tuple[str, Contents]]) -> tuple[float, float]:
    """A round place at the south-west corner of what lies together; latitude and longitude."""
    shapes = [shapely.get_coordinates(feature.shape) for _, contents in files for feature in contents.features]
    if not any(len(points) for points in shapes):
        raise ExchangeTrouble("nothing in it has a place" + _because([line for _, one in files for line in one.told]))
    # each thing counts as much as any other, however often its track was recorded
    middles = np.array([points.mean(axis=0) for points in shapes if len(points)])
    turned = (middles[:, 0] - middles[0, 0] + 180) % 360 - 180 + middles[0, 0]
    longitude, latitude = float(np.median(turned)), float(np.median(middles[:, 1]))
    close = [points for points in shapes if len(points) and _far(points, latitude, longitude) <= FAR]
    if not close:
        raise ExchangeTrouble("its things lie so far apart that no property can be made of them; take one at a time")
    west, south = (float(value) for value in np.vstack(close).min(axis=0))
    # four decimals of a degree are some 11 m; what lies a centimetre below one counts as on it
    return math.floor(south * 1e4 + 1e-3) / 1e4, math.floor(west * 1e4 + 1e-3) / 1e4


def _far(points: np.ndarray[tuple[int, ...], np.dtype[np.float64]], latitude: float, longitude: float) -> float:
    """How far the farthest of points lies from a place, in metres, by the sphere: near enough to tell a country."""
    to = np.radians(points)
    here = math.radians(latitude)
    half = np.sin((to[:, 1] - here) / 2) ** 2
    half = half + np.cos(to[:, 1]) * math.cos(here) * np.sin((to[:, 0] - math.radians(longitude)) / 2) ** 2
    return float(2 * 6_371_000.0 * np.arcsin(np.sqrt(np.clip(half, 0, 1))).max())


def _of_the_day(day: date, anchor: tuple[float, float]) -> dict[str, str]:
    """The day, and by how much magnetic lies off true north on it, where that can be worked out."""
    try:
        off = round(declination(*anchor, day), 1)
    except FrameUnavailable:
        return {"date": day.isoformat()}
    return {"date": day.isoformat(), "declination": f"{plain(abs(off), 1)}{'E' if off >= 0 else 'W'}"}


def _written_anchor(anchor: tuple[float, float]) -> str:
    latitude, longitude = anchor
    north, east = "N" if latitude >= 0 else "S", "E" if longitude >= 0 else "W"
    return f"{plain(abs(latitude), 8)}{north},{plain(abs(longitude), 8)}{east}"


# -- drafts ----------------------------------------------------------------------------------------------------


class _Maker:
    """Makes blocks of features, one after another, and keeps count of what is to be told."""

    def __init__(self, grammar: Grammar, frame: Frame, head: _Head, scene: Scene | None = None) -> None:
        self.grammar = grammar
        self.frame = frame
        self.head = head
        self.unit = UNITS[head.units][1]
        self.told: list[str] = []
        self.already = 0
        self.drafts: list[_Draft] = []
        self._there: dict[str, Block] = dict(scene.plan.names) if scene else {}
        self._scene = scene
        self._standing = _standing(scene) if scene else []
        self._grounds = {id(block): shape for block, shape in self._standing}
        self._where = shapely.STRtree([shape for _, shape in self._standing])
        self._names = Names(self._there)
        #: what the plan has already, by its label
        self._passed: list[str] = []
        #: of each file, what a name in it stands for now
        self._meant: dict[tuple[int, str], str] = {}
        #: files whose bearings are off another north
        self._other_north: set[int] = set()

    def take(self, files: Sequence[tuple[str, Contents]], tolerance: float) -> None:
        drafts: list[_Draft] = []
        for number, (name, contents) in enumerate(files):
            here = name if len(files) > 1 else ""
            north, declination = contents.head.get("north", "true"), contents.head.get("declination", "")
            if contents.head and (north, declination if north != "true" else "") != (
                self.head.north, self.head.declination if self.head.north != "true" else ""
            ):  # fmt: skip
                self._other_north.add(number)
            self._tell(here, contents.told)
            drafts += self._of_file(number, here, contents, tolerance)
        drafts = self._one_boundary(drafts)
        self.drafts = [draft for draft in drafts if not self._there_already(draft)]
        if self._passed:
            self.told.append(f"there already, and left as they stand: {few(self._passed, _MOST_TOLD)}")
        for draft in self.drafts:
            self._name(draft)
        self._tell_guesses(dict(enumerate([name if len(files) > 1 else "" for name, _ in files])))
        self.drafts.sort(key=lambda draft: (_ORDER[draft.noun], in_order(draft.name)))

    def _tell(self, file: str, lines: Iterable[str]) -> None:
        self.told += [f"{file}: {line}" if file else line for line in lines]

    def _tell_guesses(self, names: Mapping[int, str]) -> None:
        """Each thing that had to be guessed, and what was made of it."""
        guessed = [draft for draft in self.drafts if draft.guess]
        for draft in guessed[:_MOST_TOLD]:
            self._tell(names[draft.file], [f"{draft.where or draft.named}: {draft.guess}: {draft.label}"])
        if len(guessed) > _MOST_TOLD:
            more = counted(len(guessed) - _MOST_TOLD, "thing")
            self.told.append(f"{more} more had to be guessed: look for `# Came in as` and `radius` in the plan")

    def _of_file(self, number: int, file: str, contents: Contents, tolerance: float) -> Iterator[_Draft]:
        told: list[str] = []
        far: list[Feature] = []
        before = after = 0
        pockets: dict[str, _Draft] = {}
        beds: list[tuple[str, Feature, Point]] = []
        strange: set[str] = set()
        for feature in contents.features:
            if _far(shapely.get_coordinates(feature.shape), self.frame.latitude, self.frame.longitude) > FAR:
                far.append(feature)
                continue
            shape = shapely.transform(feature.shape, self._to_local)
            noun = feature.properties.get("noun", "")
            if noun == "bed" and isinstance(shape, Point):
                beds.append((feature.properties.get("pocket", ""), feature, self._rounded(shape)))
            elif noun in _SAID and ("placed-by" in feature.properties or _word_for(noun, shape)):
                draft = self._said(feature, self._rounded(shape), number, strange)
                pockets.setdefault(draft.said, draft)
                yield draft
            else:
                if noun in PLACED:
                    form = {"Point": "point", "LineString": "line"}.get(shape.geom_type, "area")
                    told.append(f"{feature.where or feature.name}: no {noun} is given by a {form}, so it is guessed at")
                for part in _parts(shape, feature, told):
                    before += len(shapely.get_coordinates(part))
                    guessed = self._guessed(feature, part, number, tolerance, told)
                    after += len(shapely.get_coordinates(guessed.shape)) if guessed.shape is not None else 0
                    yield guessed
        for pocket, feature, place in beds:
            draft_ = pockets.get(pocket)
            if draft_ is not None and draft_.noun == "pocket":
                draft_.beds.append(place)
            else:
                lone = _Draft("sign", place, feature._replace(properties={}), number)
                lone.lines = [("kind", "bed")]
                yield lone
        if strange:
            told.append(f"no properties of their blocks, and passed over: {few(sorted(strange))}")
        if before > after and not any(" so: it is thinned by " in line for line in told):
            told.append(f"{before} points thinned to {after}, each within {show(tolerance, 'length', self.head.units)}")
        self._tell(file, [*told, *self._of_far(far)])

    def _to_local(self, points: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> object:
        east, north = self.frame.to_local(points[:, 1], points[:, 0])
        return np.column_stack([east, north])

    def _of_far(self, far: Sequence[Feature]) -> Iterator[str]:
        """What lies too far off, with a likely reason."""
        if not far:
            return
        names = few([feature.where or feature.name for feature in far])
        middle = shapely.get_coordinates(far[0].shape).mean(axis=0, keepdims=True)
        place = (self.frame.latitude, self.frame.longitude)
        distance = _far(middle, *place) / MILE
        turned = {
            "east and west look swapped (a minus is missing or too many)": (-1, 1),
            "north and south look swapped (a minus is missing or too many)": (1, -1),
            "its signs of longitude and latitude look swapped": (-1, -1),
        }
        why = next((why for why, signs in turned.items() if _far(middle * signs, *place) <= FAR), "")
        if not why and _far(middle[:, ::-1], *place) <= FAR:
            why = "latitude and longitude look swapped"
        remedy = why or "look whether it is the right file, and the right anchor in the plan's head"
        yield (
            f"{counted(len(far), 'thing')} not placed, {distance:,.0f} miles from the plan's anchor and so no part of "
            f"the property: {names}; {remedy}"
        )

    def _rounded(self, shape: BaseGeometry) -> BaseGeometry:
        """A shape as it will be written: to a hundredth of the plan's unit."""
        return shapely.transform(shape, lambda points: np.round(points / self.unit, _PLACES) * self.unit)

    # -- what says itself what it is -------------------------------------------------------------

    def _said(self, feature: Feature, shape: BaseGeometry, file: int, strange: set[str]) -> _Draft:
        said = feature.properties
        noun = said["noun"]
        draft = _Draft(noun, None if "placed-by" in said else shape, feature, file)
        title = plain_text(said.get("title", ""), 200)
        own = said.get("name", "")
        draft.named = own if is_name(own) else own or feature.name
        draft.title = title or ("" if is_name(own) else plain_text(own, 200))
        known = BY_NOUN[noun].properties
        for word, lines in said.items():
            if word in _ABOUT or word in _PLACES_OF:
                continue
            if word not in known:
                strange.add(f"`{plain_text(word, 30)}`")
                continue
            for at, line in enumerate(lines.splitlines()):
                text = _quoted(line) if known[word].takes == "text" else line.strip().rstrip("\\ ")
                if not text:
                    continue
                if at and not known[word].repeats:
                    draft.comments.append(f"{word} {text}")
                else:
                    draft.lines.append((word, text))
        if noun == "food" and "radius" in said and isinstance(shape, Polygon):
            draft.shape = self._rounded(shape.centroid)
        return draft

    # -- what has to be guessed ------------------------------------------------------------------

    def _guessed(self, feature: Feature, shape: BaseGeometry, file: int, tolerance: float, told: list[str]) -> _Draft:
        form = {"Point": "point", "LineString": "line"}.get(shape.geom_type, "area")
        if form == "line" and _closed(shape):
            form = form_of_a_closed_walk(feature)
        meaning = meaning_of(feature, form)
        note = comment = guess = ""
        text = feature.name
        if form == "line" and (meaning.noun == "boundary" or (not meaning.sure and meaning_of(feature, "area").sure)):
            gap = math.dist(shape.coords[0], shape.coords[-1])
            short = show(gap, "length", self.head.units)
            told.append(f"{feature.where} ends {short} from its start, so it is no outline: it comes in as a task")
            text = f"{feature.name}: an edge that was not walked to its end ({short} are missing)"
            meaning = Meaning("task")
        elif not meaning.sure:
            comment = f"Came in as {feature.where or form}; no word of it says what it is."
            guess = "no word says what it is"
            text = f"Say what this is: {feature.name or feature.where}"
        thinned = self._rounded(self._thinned(shape, form, tolerance, feature, told))
        draft = _Draft(meaning.noun, thinned, feature, file)
        draft.said, draft.own, draft.guess = "", False, guess
        draft.comments += [plain_text(comment, 300)] if comment else []
        if form == "area":  # what was walked is its edge, and what it is called the thing
            draft.named = _EDGE.sub("", feature.name) or feature.name
        draft.lines = [*meaning.properties]
        if meaning.noun == "food" and form == "point":
            radius = round(_FOOD_RADIUS / self.unit)
            draft.lines.append(("radius", f"{radius}{self.head.units}"))
            note = "The radius is a guess: walk its edge."
            draft.guess = f"one point, so that its radius of {radius} {self.head.units} is a guess"
        if meaning.noun == "task":
            draft.lines.append(("text", _quoted(plain_text(text, 200) or "Say what this is.")))
        draft.lines += [("note", _quoted(one)) for one in (feature.description, note) if one]
        if meaning.noun == "boundary":
            draft.title = "" if len(words_of(draft.named)) == 1 else draft.named
        return draft

    def _thinned(
        self, shape: BaseGeometry, form: str, tolerance: float, feature: Feature, told: list[str]
    ) -> BaseGeometry:
        if form == "point":
            return shape
        line = LineString(shapely.get_coordinates(shape.exterior if isinstance(shape, Polygon) else shape))
        ring = self._kept(line, tolerance, feature, told)
        if form == "line":
            return ring
        corners = shapely.get_coordinates(ring)
        while len(corners) > 3 and math.dist(corners[0], corners[-1]) <= max(tolerance, TOLERANCE):
            corners = corners[:-1]  # the walk's end beside its start
        if len(corners) < 3 or len(np.unique(corners, axis=0)) < 3:
            # nothing of it is larger than the tolerance: some of its points as they are
            corners = shapely.get_coordinates(line)
            corners = corners[:: -(-len(corners) // _MOST_OF_A_SPECK)]
        return self._sound(Polygon(corners), feature, told)

    def _kept(self, line: LineString, tolerance: float, feature: Feature, told: list[str]) -> LineString:
        """A line thinned by a tolerance; by a coarser one, and told, where more is left than a person could read."""
        kept = line.simplify(tolerance, preserve_topology=False) if tolerance > 0 else line
        coarser = max(tolerance, _FINEST)
        while len(kept.coords) > _MOST_IN_A_LINE:
            coarser *= 2
            kept = kept.simplify(coarser, preserve_topology=False)
        if coarser > max(tolerance, _FINEST):
            told.append(
                f"{feature.where} still has more than {_MOST_IN_A_LINE} points so: it is thinned by "
                f"{show(coarser, 'length', self.head.units)}"
            )
        return kept

    def _sound(self, polygon: Polygon, feature: Feature, told: list[str]) -> BaseGeometry:
        """An outline that crosses itself without its lesser loops."""
        if len(polygon.exterior.coords) > _MOST_THAT_CROSS and not polygon.is_valid and _is_scribble(polygon):
            corners = shapely.get_coordinates(polygon.exterior)[:-1]
            polygon = Polygon(corners[:: -(-len(corners) // _MOST_THAT_CROSS)])
            told.append(f"{feature.where} crosses itself too often to be followed: look at its outline")
        rounded = self._rounded(polygon)
        if rounded.is_valid and rounded.area > 0:
            return polygon
        made = shapely.make_valid(rounded)
        parts = [part for part in shapely.get_parts(made) if isinstance(part, Polygon)]
        parts = parts or [part for whole in shapely.get_parts(made) for part in polygons_of(whole)]
        if not parts:
            return polygon  # it encloses nothing, and `check` tells it at its place
        largest = max(parts, key=lambda part: float(part.area))
        lost = sum(float(part.area) for part in parts) - float(largest.area)
        if lost > _LOST * float(largest.area):
            told.append(f"{feature.where} crosses itself: the largest of what it encloses is taken, "
                        f"{show(lost, 'area', self.head.units)} are not")  # fmt: skip
        return Polygon(largest.exterior)

    # -- together ----------------------------------------------------------------------------------

    def _one_boundary(self, drafts: list[_Draft]) -> list[_Draft]:
        """One boundary at most: parcels that lie apart, or one in another, are its outlines; a second walk of the same
        line is a task, to be looked at."""
        standing = next((shape for block, shape in self._standing if block.noun == "boundary"), None)
        kept: list[_Draft] = []
        first: _Draft | None = None
        for draft in drafts:
            if draft.noun != "boundary" or draft.shape is None:
                kept.append(draft)
                continue
            if standing is not None and not _same(standing, draft.shape):
                kept.append(self._as_task(draft, "The plan has a boundary already: take this outline, or leave it."))
            elif first is None or first.shape is None:
                first = draft
                kept.append(draft)
            elif _together(first.shape, draft.shape):
                first.shape = _parcels(first.shape, draft.shape)
            else:
                kept.append(self._as_task(draft, "The boundary walked once more: take this outline, or leave it."))
        return kept

    def _as_task(self, draft: _Draft, text: str) -> _Draft:
        self.told.append(f"{draft.where or 'a boundary'} is another boundary: it comes in as a task")
        shape = draft.shape
        parts = polygons_of(shape) if shape is not None else []
        draft.noun = "task"
        draft.shape = Polygon(max(parts, key=lambda part: float(part.area)).exterior) if parts else shape
        draft.lines = [("text", _quoted(text))]
        draft.named = draft.named or "boundary walk"
        return draft

    def _there_already(self, draft: _Draft) -> bool:
        """The plan has it: a thing of its noun, its place and its meaning; or, of what had to be guessed, of its name
        there, for a person may have said since what it is."""
        name = draft.said if is_name(draft.said) else name_for(draft.named, draft.noun)
        near = [] if draft.shape is None else self._where.query(shapely.box(*draft.shape.bounds).buffer(_SAME))
        there = [block for block, shape in (self._standing[at] for at in sorted(near)) if _same(shape, draft.shape)]
        if draft.shape is None and name in self._there:
            there = [self._there[name]]
        for block in there:
            named = not draft.own and block.name == name
            if (named and (draft.guess or block.noun == draft.noun)) or self._means(draft, block):
                self.already += 1
                self._meant[draft.file, draft.said] = block.name
                self._passed.append(block.label)
                self._tell_difference(draft, block)
                return True
        return False

    def _means(self, draft: _Draft, block: Block) -> bool:
        """A block of the draft's noun that says nothing else of what it is."""
        if block.noun != draft.noun:
            return False
        for word in _MEANING:
            said = [text for one, text in draft.lines if one == word]
            stands = self._lines(block, word)
            if said and stands and _alike(said) != _alike(stands):
                return False
        return True

    def _lines(self, block: Block, word: str) -> list[str]:
        """What a block of the plan says by a property, as a draft would."""
        assert self._scene is not None
        if word not in block.properties:
            return []
        lines = said_of(self._scene, block, word).splitlines()
        return [_quoted(line) for line in lines] if block.properties[word].takes == "text" else lines

    def _tell_difference(self, draft: _Draft, block: Block) -> None:
        """What a file says of a thing besides, which the plan keeps as it stands."""
        words = dict.fromkeys(word for word, _ in draft.lines) if draft.own else {}
        more = []
        for word in words:
            said = [text for one, text in draft.lines if one == word]
            stands = _alike(self._lines(block, word))
            more += [f"`{plain_text(f'{word} {text}', 80)}`" for text in said if not _alike([text]) <= stands]
        beds = self._beds(block)
        more += [f"`bed {self._point(bed)}`" for bed in draft.beds if all(bed.distance(one) > _SAME for one in beds)]
        if more:
            self.told.append(f"{block.label} stands as it is; not taken over: {', '.join(more)}")

    def _beds(self, block: Block) -> list[Point]:
        if self._scene is None or not isinstance(block, Pocket):
            return []
        return [Point(place) for place in self._scene.placer.points(block, block.bed)]

    def _name(self, draft: _Draft) -> None:
        if draft.noun == "boundary":
            return
        kind = next((said for word, said in draft.lines if word in ("kind", "use")), draft.noun)
        wanted = draft.said if is_name(draft.said) else name_for(draft.named, kind)
        own = bool(draft.said)
        if own and is_name(wanted) and wanted not in self._names.taken:
            draft.name = wanted
            self._names.taken.add(wanted)
        else:
            draft.name = self._names.free(wanted)
        if wanted in self._there:
            here = self._there[wanted]
            there = self._grounds.get(id(here))
            off = there.distance(draft.shape) if there is not None and draft.shape is not None else None
            where = (
                "of another kind" if off is None or (off < TOLERANCE and here.noun != draft.noun)
                else "drawn otherwise" if off < TOLERANCE
                else f"{show(off, 'length', self.head.units)} from where this lies"
            )  # fmt: skip
            self.told.append(f"the plan has {here.label} already, {where}: what came in is {draft.noun} {draft.name}")
        if not draft.title and not own:
            draft.title = title_for(draft.named, wanted)
        if own:
            self._meant.setdefault((draft.file, draft.said), draft.name)

    # -- text --------------------------------------------------------------------------------------

    def text(self) -> str:
        """The blocks, each with a line for each property, before they are laid out."""
        known = {**{name: block.noun for name, block in self._there.items()},
                 **{draft.name: draft.noun for draft in self.drafts if draft.name}}  # fmt: skip
        nameless: list[str] = []
        blocks = []
        for draft in self.drafts:
            head = [draft.name] if draft.name else []
            head += [_quoted(draft.title)] if draft.title else []
            blocks.append(self.block(draft, head, known, nameless))
        if nameless:
            self.told.append(
                f"{counted(len(nameless), 'line')} stand as comments, for what they name is not here: {few(nameless)}"
            )
        return "\n".join(blocks)

    def block(
        self,
        draft: _Draft,
        head: Sequence[str],
        known: Mapping[str, str] | None = None,
        nameless: list[str] | None = None,
    ) -> str:
        lines = [*self._places(draft), *draft.lines]
        order = {word: number for number, word in enumerate(_in_order_of(BY_NOUN[draft.noun]))}
        lines.sort(key=lambda line: order[line[0]])
        start = " ".join([draft.noun, *head])
        lines, unread = self._readable(start, lines, draft)
        if known is not None and nameless is not None:
            lines, lost = self._resolved(start, lines, draft, known)
            nameless += [f"`{line}` of {draft.label}" for line in lost]
            unread += lost
        comments = [f"  # {line}" for line in (*draft.comments, *unread)]
        return "\n".join([start, *(f"  {word} {said}" for word, said in lines), *comments, ""])

    def _places(self, draft: _Draft) -> Iterator[tuple[str, str]]:
        for bed in draft.beds:
            yield "bed", self._point(bed)
        shape = draft.shape
        if shape is None:
            return
        word = _word_for(draft.noun, shape)
        if isinstance(shape, Point | LineString):
            yield word, self._points(shapely.get_coordinates(shape))
        else:
            for polygon in polygons_of(shape):
                yield word, self._points(shapely.get_coordinates(polygon.exterior)[:-1])
                for hole in polygon.interiors if draft.noun == "boundary" else ():
                    yield word, self._points(shapely.get_coordinates(hole)[:-1])

    def _point(self, point: Point) -> str:
        return self._points(shapely.get_coordinates(point))

    def _points(self, points: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> str:
        # a sum with nought makes 0 of -0
        rounded = np.round(points / self.unit, _PLACES) + 0.0
        return " ".join(f"{plain(east, _PLACES)},{plain(north, _PLACES)}" for east, north in rounded)

    def _read(self, start: str, lines: Iterable[tuple[str, str]]) -> Block | None:
        """A block of these lines; None where it does not read whole."""
        text = "\n".join([start, *(f"  {word} {said}" for word, said in lines), ""])
        blocks = [fit(placed) for placed in read(Source("import", text), self.grammar, LAYOUT)]
        if len(blocks) != 1 or blocks[0].parsed.head is None or blocks[0].parsed.troubles:
            return None
        return BY_NOUN[blocks[0].parsed.noun](blocks[0])

    def _readable(
        self, start: str, lines: list[tuple[str, str]], draft: _Draft
    ) -> tuple[list[tuple[str, str]], list[str]]:
        """The lines that read, and the others: what a file says is not always of the language."""
        if self._read(start, lines) is not None:
            return lines, []
        kept = [line for line in lines if line[0] in _PLACES_OF or self._read(start, [line]) is not None]
        unread = [f"{word} {said}" for word, said in lines if (word, said) not in kept]
        if unread:
            shown = few([f"`{plain_text(line, 40)}`" for line in unread])
            self.told.append(f"{draft.label}: stands as a comment, for it is not of the plan language: {shown}")
        return kept, unread

    def _resolved(
        self, start: str, lines: list[tuple[str, str]], draft: _Draft, known: Mapping[str, str]
    ) -> tuple[list[tuple[str, str]], list[str]]:
        """The lines with the names that things have now; and those that name what is not here."""
        block = self._read(start, lines)
        if block is None or not draft.said:
            return lines, []
        offsets = _offsets(start, lines)
        changed: dict[int, str] = {}
        lost: set[int] = set()
        for value, nouns, _ in sorted(references(block), key=lambda one: -one[0].start):
            at = max(index for index, offset in enumerate(offsets) if offset <= value.start - block.parsed.base)
            name = self._meant.get((draft.file, str(value.value)), str(value.value))
            if name not in known or (nouns and known[name] not in nouns):
                lost.add(at)
                continue
            word, said = lines[at]
            line = changed.get(at, f"{word} {said}")
            begin = value.start - block.parsed.base - offsets[at]
            changed[at] = line[:begin] + name + line[begin + value.end - value.start :]
        if draft.file in self._other_north:
            for statement in block.parsed.statements:
                if any(_has_bearing(value.value) for value in statement.values):
                    lost.add(
                        max(i for i, offset in enumerate(offsets) if offset <= statement.start - block.parsed.base)
                    )
        kept = [_parted(changed[at]) if at in changed else line for at, line in enumerate(lines) if at not in lost]
        return kept, [" ".join(lines[at]) for at in sorted(lost)]


def _has_bearing(value: object) -> bool:
    return isinstance(value, Bearing)


def _parted(line: str) -> tuple[str, str]:
    word, _, said = line.partition(" ")
    return word, said


def _offsets(start: str, lines: Sequence[tuple[str, str]]) -> list[int]:
    """Where each property's word begins in a block's text."""
    found, at = [], len(start) + 1
    for word, said in lines:
        found.append(at + 2)
        at += len(word) + len(said) + 4
    return found


def _in_order_of(block: type[Block]) -> Iterator[str]:
    """A block's properties as they are written: its own first, those of every block last."""
    common = ("step", "by", "done", "offsite", "why", "note")
    own = [prop.word for prop in vars(block).values() if isinstance(prop, Property)]
    yield from (word for word in dict.fromkeys((*own, *block.properties)) if word not in common or word in own)
    yield from (word for word in common if word in block.properties and word not in own)


def _quoted(text: str) -> str:
    plain = plain_text(text, 4000).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{plain}"'


def _alike(lines: Iterable[str]) -> set[str]:
    """Lines as they are compared: whatever blanks stand in them."""
    return {" ".join(line.split()) for line in lines}


# -- shapes ----------------------------------------------------------------------------------------------------


def _parts(shape: BaseGeometry, feature: Feature, told: list[str]) -> list[BaseGeometry]:
    """The pieces of a shape that a block can have: an area without its holes."""
    if shape.geom_type in ("Point", "LineString"):
        return [shape]
    polygons = polygons_of(shape)
    boundary = meaning_of(feature, "area").noun == "boundary"
    if boundary:
        rings = [ring for polygon in polygons for ring in (polygon.exterior, *polygon.interiors)]
        return [Polygon(ring) for ring in rings]
    holes = sum(len(polygon.interiors) for polygon in polygons)
    if holes:
        told.append(f"{feature.where} has {counted(holes, 'hole')}, which only a boundary can have: left out")
    return [Polygon(polygon.exterior) for polygon in polygons]


def _word_for(noun: str, shape: BaseGeometry) -> str:
    """The property by which a block has such a shape, "" where it has none."""
    known = BY_NOUN[noun].properties
    words = {"Point": ("at",), "LineString": ("stumps", "line")}.get(shape.geom_type, ("outline",))
    return next((word for word in words if word in known), "")


def _is_scribble(polygon: Polygon) -> bool:
    """Its sides lie across each other everywhere, and not only where a walk strayed or came back over itself."""
    corners = shapely.get_coordinates(polygon.exterior)
    sides = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    met = shapely.STRtree(sides).query(sides)
    return bool(met.shape[1] > _MET * len(sides))


def _closed(line: BaseGeometry) -> bool:
    """A walk that came back to its start, and went round something."""
    points = shapely.get_coordinates(line)
    if len(points) < 4:
        return False
    gap = math.dist(points[0], points[-1])
    length = float(line.length)
    encloses = abs(float(Polygon(points).area)) > 0
    return gap <= min(max(_CLOSED, _CLOSED_SHARE * length), length / 4) and encloses


def _standing(scene: Scene) -> list[tuple[Block, BaseGeometry]]:
    placed = [(block, scene.shape_of(block)) for block in scene.plan.blocks if block.noun in PLACED]
    return [(block, shape) for block, shape in placed if shape is not None]


def _same(one: BaseGeometry, other: BaseGeometry | None) -> bool:
    """The same ground, within what rounding can move."""
    if other is None:
        return False
    if isinstance(one, Polygon) and isinstance(other, Point):  # a food about its middle
        one = one.centroid
    if shapely.get_dimensions(one) != shapely.get_dimensions(other):
        return False
    if isinstance(one, LineString) and isinstance(other, LineString):
        ends = zip((one.coords[0], one.coords[-1]), (other.coords[0], other.coords[-1]), strict=True)
        if any(math.dist(first, second) > _SAME for first, second in ends):
            return False
    a, b = one.bounds, other.bounds
    if any(abs(first - second) > _SAME for first, second in zip(a, b, strict=True)):
        return False
    return float(shapely.hausdorff_distance(one, other)) <= _SAME


def _together(one: BaseGeometry, other: BaseGeometry) -> bool:
    """Two outlines of one boundary: apart, or one well within the other; else they are one line walked twice."""
    if min(one.area, other.area) > 0.8 * max(one.area, other.area) and one.intersects(other):
        return False
    return not one.intersects(other) or one.covers(other) or other.covers(one) or one.touches(other)


def _parcels(one: BaseGeometry, other: BaseGeometry) -> BaseGeometry:
    larger, smaller = (one, other) if one.area >= other.area else (other, one)
    return larger.difference(smaller) if larger.covers(smaller) else larger.union(smaller)
