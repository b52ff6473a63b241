"""Where scent goes from a hunter: the ground downwind of a stand and of the walk to it and from it.

Scent reaches what lies in a plume: at a distance x downwind its half-width is the larger of 2.15
standard deviations (Briggs 1973, open country, doi 10.2172/5118833; stability class D unless a sit's
hour tells another) and x tan(11.25 degrees), half of one of sixteen winds. The curves are stated from
some 100 m on (from memory) and for open country: nearer, and in woods, they are extended, and no
published distance of scent for deer exists. That wind matters is published: roe and fallow deer fled at 65 m
from people who walked with the wind, at 42 m from those who walked into it (flight distances, Netherlands,
2004, abstract). Reaches are common practice, no source.

What lies within 5 yd of a person is not carried to: a stand at the very edge of a plot, on a wind that
blows off it, leaves the plot clean.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from habitatlint.ground.columns import Array, Column, Indices, Mask, column, distinct
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Stand
from habitatlint.measures.dispersion import USUAL_CLASS, insolation, noon, sideways, stability, strength
from habitatlint.measures.sweep import grouped, least_along, smoothed, swept
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural, shapes
from habitatlint.measures.walk import way_of
from habitatlint.measures.winds import SECTOR, WINDS, hunted_days, named, sector, speeds_in
from habitatlint.units import TOLERANCE, YARD

Floats = npt.NDArray[np.float64]

REACH = 150 * YARD
#: edge of a plume in standard deviations: a tenth of the middle's strength
EDGE = 2.15
#: what lies this near a person is not carried to, but simply there
AT_HAND = 5 * YARD
#: walks are looked up in pieces no longer than this
_PIECE = 75 * YARD
#: the widest a plume may be, as a share of its length (class A), with a little to spare
_WIDEST = 0.5
#: outlines of ground reached are drawn within this, in metres: a fifth of a millimetre at 1:2400
_FINE = 0.5

#: a year that has every day of the year
LEAP_YEAR = 2028
YEAR = timedelta(days=366)

WITHOUT_WINDS = "no `winds` are listed"
WITHOUT_SIT = "no `sit` is given"
ALL_CARRY = "every wind it lists carries scent there"


# -- plumes ------------------------------------------------------------------------------------------------


def _offsets(winds: Array, near: Array, far: Array, coefficients: Array) -> Floats:
    """Outlines of plumes about their sources, from `near` to `far` metres downwind, as (n, 2k, 2); `winds`
    are the bearings they blow from."""
    x = near[:, None] + (far - near)[:, None] * np.linspace(0, 1, 5)
    sigma = coefficients[:, None] * x / np.sqrt(1 + 0.0001 * x)
    half = np.maximum(EDGE * sigma, x * math.tan(math.radians(SECTOR / 2)))
    toward = np.radians(winds + 180)
    ahead = np.stack([np.sin(toward), np.cos(toward)], axis=1)
    aside = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1)
    middle, edge = x[:, :, None] * ahead[:, None, :], half[:, :, None] * aside[:, None, :]
    return np.concatenate([middle + edge, (middle - edge)[:, ::-1]], axis=1)


def plume(east: float, north: float, wind: float, reach: float = REACH, air: str = USUAL_CLASS) -> Polygon:
    """The ground that scent from a place reaches on a wind, a polygon in metres.

    `wind` is the bearing it blows from, in degrees. The place itself is the polygon's point.
    """
    outline = _offsets(*(np.full(1, one) for one in (wind, 0.0, reach, sideways(air))))[0]
    return Polygon(np.array([east, north]) + outline[1:])


# -- whence: the stand and its walks ------------------------------------------------------------------------

_WORDS = ("{}", "the walk to {}", "the walk from {}")


def whence(stand: Stand, part: int) -> str:
    """What scent comes from, in words: the stand, the walk to it or the walk from it."""
    return _WORDS[part].format(stand.label)


class Sources(NamedTuple):
    """Where hunters are: stands (points) and the walks to and from them (lines), each with the row of its stand
    and what it is: 0 the stand, 1 the walk to it, 2 a walk from it that is another; pieces of these that are
    short enough to look up, with the source of each; and each stand's whole ground."""

    shapes: Array
    stand: Indices
    part: Indices
    pieces: Array
    of_piece: Indices
    grounds: Array


def sources(scene: Scene) -> Sources:
    """The stands and their walks. A stand that names no `reach` or `leave` has no such walk; `leave` left
    out is the way in."""
    found: Sources | None = scene.memo.get("sources of scent")
    if found is None:
        found = scene.memo["sources of scent"] = _sources(scene)
    return found


def _sources(scene: Scene) -> Sources:
    shapes_: list[BaseGeometry] = []
    rows: list[int] = []
    parts: list[int] = []
    stands = scene.plan.of(Stand)
    grounds = np.full(len(stands), None, object)
    for row, stand in enumerate(stands):
        place = scene.shape_of(stand)
        if place is None:
            continue
        way_in = way_of(scene, stand, "reach")
        out = way_of(scene, stand, "leave") if stand.has("leave") else None
        if out is not None and way_in is not None and out.equals(way_in):
            out = None
        grounds[row] = shapely.geometrycollections([one for one in (place, way_in, out) if one is not None])
        for part, shape in enumerate((place, way_in, out)):
            if shape is not None:
                shapes_.append(smoothed(shape))
                rows.append(row)
                parts.append(part)
    pieces: list[BaseGeometry] = []
    of_piece: list[int] = []
    for index, shape in enumerate(shapes_):
        count = max(1, math.ceil(shape.length / _PIECE))
        cuts = np.linspace(0, shape.length, count + 1)
        pieces += [substring(shape, *pair) for pair in pairwise(cuts)] if shape.length else [shape]
        of_piece += [index] * count
    return Sources(_objects(shapes_), np.array(rows, np.intp), np.array(parts, np.intp), _objects(pieces),
                   np.array(of_piece, np.intp), grounds)  # fmt: skip


def _objects(values: list[BaseGeometry]) -> Array:
    found = np.empty(len(values), object)
    found[:] = values
    return found


@of_plural("stands", "scented", "shape")
def _scented(scene: Scene) -> Column:
    """The stand with the walks to it and from it: where the hunter's scent comes from."""
    return column("shape", list(sources(scene).grounds))


def listed_winds(scene: Scene, stand: Stand) -> list[int]:
    """The winds that a stand lists, by their place among the sixteen, in the order written."""
    return list(dict.fromkeys(sector(wind.value.degrees) for wind in stand.winds))


@of_plural("stands", "listed", "list")
def _listed(scene: Scene) -> Column:
    """The winds a stand is hunted on; not known where none is listed."""
    said = [tuple(WINDS[wind] for wind in listed_winds(scene, stand)) for stand in scene.plan.of(Stand)]
    values = np.empty(len(said), object)
    values[:] = said
    return Column("list", values, np.array([bool(winds) for winds in said], bool), None, WITHOUT_WINDS)


def bearings(scene: Scene) -> Floats:
    """The bearings, from true north, that the sixteen winds blow from."""
    return np.array([scene.placer.true(index * SECTOR) for index in range(len(WINDS))])


# -- what it reaches ----------------------------------------------------------------------------------------


class Asked(NamedTuple):
    """m askings, each of a stand (its row) and a thing (a geometry, None for nothing)."""

    stands: Indices
    things: Array


def reached(scene: Scene, asked: Asked, reach: float, airs: Floats) -> Mask:
    """For m askings, whether scent from the stand, from the walk to it and from the walk from it comes to the
    thing within `reach` metres on each of the sixteen winds, as (m, 3, 16). `airs` (stands, 16) are
    coefficients of the spread.

    Looked at from the things: the ground from which scent comes to a thing on a wind is the thing swept by a
    plume turned about; it is the same for all stands with the same air."""
    found = np.zeros((len(asked.stands), 3, len(WINDS)), bool)
    source = sources(scene)
    widest = reach * math.hypot(1, _WIDEST)
    placed = np.flatnonzero(shapely.dwithin(source.grounds[asked.stands], asked.things, widest)).tolist()
    if reach <= AT_HAND or not placed:
        return found
    index = shapely.STRtree(source.pieces)
    shapely.prepare(source.pieces)
    same_air: dict[bytes, list[int]] = {}
    for one in placed:
        same_air.setdefault(airs[asked.stands[one]].tobytes(), []).append(one)
    stands = len(source.grounds)
    for air, members in same_air.items():
        numbers: dict[int, int] = {}
        zones = [numbers.setdefault(id(asked.things[one]), len(numbers)) for one in members]
        things = _objects([smoothed(thing) for thing in {id(one): one for one in asked.things[members]}.values()])
        outlines = _offsets(bearings(scene) + 180, np.full(16, AT_HAND), np.full(16, reach), np.frombuffer(air))
        met = np.zeros((len(things), stands, 3, len(WINDS)), bool)
        pieces, thing, wind = swept(grouped(things), outlines)
        wanted = np.zeros((len(things), stands), bool)
        wanted[zones, asked.stands[members]] = True
        # by their boxes first: the walks are prepared for the closer look, the many pieces are not
        piece, here = index.query(pieces)
        kept = np.flatnonzero(wanted[thing[piece], source.stand[source.of_piece[here]]])
        piece, here = piece[kept], here[kept]
        kept = np.flatnonzero(shapely.intersects(source.pieces[here], pieces[piece]))
        piece, leg = piece[kept], source.of_piece[here[kept]]
        met[thing[piece], source.stand[leg], source.part[leg], wind[piece]] = True
        found[members] = met[zones, asked.stands[members]]
    return found


class Reached(NamedTuple):
    """The ground, in metres, that scent from one part of a stand reaches: 0 the stand, 1 the walk to it, 2 a walk
    from it that is another."""

    stand: Stand
    part: int
    ground: BaseGeometry


def ground_reached(scene: Scene, wind: float, reach: float = REACH) -> tuple[Reached, ...]:
    """The ground that scent from every stand and each of its walks reaches on a wind, for the map.

    `wind` is the bearing from true north that it blows from, `reach` in metres. A place's ground is its plume
    from 5 yd to `reach` downwind; a walk's is the union, over its straight lengths, of the hull of the plumes of
    both ends: the sum of the walk and the plume. So a point lies in it exactly where `reached` says that scent
    comes to it on that one of the sixteen winds (with the air of each stand, `airs_of`), but for points within
    half a metre of its edge, for the outline is simplified by that much.

    A stand that has no place has no ground, nor has a walk that is not drawn; a way out that is the way in is
    told once; where a walk turns back on itself its ground may have a hole. Nothing within a reach of 5 yd."""
    if reach <= AT_HAND:
        return ()
    source, stands = sources(scene), scene.plan.of(Stand)
    airs = airs_of(scene)[source.stand, sector(wind - scene.placer.to_true)]
    found = np.full(len(source.shapes), None, object)
    for air in distinct(airs):
        mine = np.flatnonzero(airs == air)
        outline = _offsets(np.full(1, wind), np.full(1, AT_HAND), np.full(1, reach), np.full(1, air))
        pieces, thing, _ = swept(grouped(source.shapes[mine]), outline)
        for number, index in enumerate(mine.tolist()):
            found[index] = shapely.union_all(pieces[thing == number])
    grounds = shapely.simplify(found, _FINE)
    return tuple(
        Reached(stands[row], part, ground)
        for row, part, ground in zip(source.stand.tolist(), source.part.tolist(), grounds, strict=True)
    )


class Carried(NamedTuple):
    """How far scent is carried from one part of a stand on one wind, for n askings, in metres; and the first
    place of the thing that it comes to."""

    gaps: Floats
    places: Array


def carried(scene: Scene, asked: Asked, parts: Indices, winds: Indices, reach: float, airs: Floats) -> Carried:
    """How far downwind scent from a stand or one of its walks (`parts`) first comes to a thing to which it is
    carried. Where a person comes within 5 yd of the thing it is the distance between them, 0 inside it."""
    count = len(asked.stands)
    if not count:
        return Carried(np.zeros(0), np.zeros(0, object))
    source = sources(scene)
    of = {(int(row), int(part)): index for index, (row, part) in enumerate(zip(source.stand, source.part, strict=True))}
    legs = source.shapes[[of[pair] for pair in zip(asked.stands.tolist(), parts.tolist(), strict=True)]]
    blows = bearings(scene)[winds]
    outlines = _offsets(blows, np.zeros(count), np.full(count, reach), airs[asked.stands, winds])
    toward = np.radians(blows + 180)
    things = _objects([smoothed(thing) for thing in asked.things])
    run = least_along(legs, things, outlines, np.stack([np.sin(toward), np.cos(toward)], axis=1))
    lines = shapely.shortest_line(legs, things)
    beside = shapely.length(lines)
    at_hand = beside < AT_HAND
    gaps = np.where(at_hand, beside, np.maximum(run.sizes, AT_HAND))
    places = np.where(at_hand, shapely.get_point(lines, 1), shapely.points(run.places))
    return Carried(gaps, places)


def airs_of(scene: Scene) -> Floats:
    """Coefficients of the spread, for every stand and each of the sixteen winds. Morning and evening sits lie
    about sunrise and sunset, where the class is D or, under a sky that no plan tells, narrower; for a sit all
    day it is that of clear noon in the hunted season, where a record gives the wind's speed and an `anchor`
    and `hunted` the sun."""
    found: Floats | None = scene.memo.get("airs")
    if found is None:
        found = scene.memo["airs"] = _airs(scene)
    return found


def _airs(scene: Scene) -> Floats:
    found = [airs_in(scene, scene.plan.word(stand, "sit")) for stand in scene.plan.of(Stand)]
    return np.array(found, float).reshape(-1, len(WINDS))


def airs_in(scene: Scene, sit: str) -> Floats:
    """As `airs_of`, for each of the sixteen winds at one sit: "morning", "evening", "all" or, not said, ""."""
    found: Floats | None = scene.memo.get(("airs in", sit))
    if found is None:
        found = scene.memo[("airs in", sit)] = np.full(len(WINDS), sideways())
        sky = _noon_sky(scene) if sit == "all" else None
        if sky is not None:
            for wind, speed in speeds_in(scene, sit).items():
                found[wind] = sideways(stability(speed, sky))
    return found


def _noon_sky(scene: Scene) -> str | None:
    """How strongly the sun heats the ground at clear noon on the middle day of the hunted season; None where
    the plan has no anchor or no season."""
    days = sorted(date(LEAP_YEAR, month, day) for month, day in hunted_days(scene))
    if scene.placer.frame is None or not days:
        return None
    # a season may run over the new year: its middle is counted from the day after the longest pause
    pauses = [(after - before).days for before, after in zip(days, [*days[1:], days[0] + YEAR], strict=True)]
    start = (pauses.index(max(pauses)) + 1) % len(days)
    middle = [*days[start:], *days[:start]][len(days) // 2]
    return insolation(noon(scene.placer.frame.latitude, middle.timetuple().tm_yday))


# -- measures ---------------------------------------------------------------------------------------------


def deer_come(scene: Scene, stand: Stand, line: BaseGeometry, *, evening: bool) -> BaseGeometry | None:
    """The part of a line of travel by which deer come to a stand: up to the place nearest it. Travel is drawn
    from bed to food, which is the evening's way; in the morning they come from its end. None where there is
    no such part."""
    place = scene.shape_of(stand)
    if place is None or not isinstance(line, LineString):
        return None
    at = line.project(place)
    part = substring(line, 0, at) if evening else substring(line, at, line.length)
    return part if part.length > TOLERANCE else None


class _Found(NamedTuple):
    """What was found for n askings over the winds that their stands list: the least distance, infinite where
    none carries there, with its wind, part and place; the winds that do; whether that is known."""

    gaps: Floats
    winds: list[int]
    parts: Indices
    places: Array
    carrying: list[list[int]]
    known: Mask


def _over_listed(scene: Scene, asked: Asked, reach: float) -> _Found:
    """What the winds that the stands list carry to things within `reach` metres. Not known for a stand that
    lists none and lies as near, for on some wind it would be carried there."""
    stands, airs = scene.plan.of(Stand), airs_of(scene)
    count = len(asked.stands)
    matrix = reached(scene, asked, reach, airs)
    of_stand = {row: listed_winds(scene, stands[row]) for row in set(asked.stands.tolist())}
    lists = [of_stand[row] for row in asked.stands.tolist()]
    carrying = [[wind for wind in winds if matrix[index, :, wind].any()] for index, winds in enumerate(lists)]
    triples = [
        (index, part, wind) for index, winds in enumerate(carrying) for wind in winds
        for part in np.flatnonzero(matrix[index, :, wind]).tolist()
    ]  # fmt: skip
    rows, whose, blows = np.array(triples, np.intp).reshape(-1, 3).T
    each = carried(scene, Asked(asked.stands[rows], asked.things[rows]), whose, blows, reach, airs)
    gaps, parts = np.full(count, np.inf), np.zeros(count, np.intp)
    places = np.full(count, None, object)
    winds = [-1] * count
    for number, (index, part, wind) in enumerate(triples):
        if each.gaps[number] < gaps[index] - TOLERANCE / 2:
            gaps[index], parts[index], places[index], winds[index] = each.gaps[number], part, each.places[number], wind
    near = shapely.dwithin(sources(scene).grounds[asked.stands], asked.things, reach)
    unlisted = np.array([not one for one in lists], bool) & near
    return _Found(gaps, winds, parts, places, carrying, ~unlisted)


def _told(scene: Scene, stands: Rows, found: _Found, unsaid: Mask | None = None) -> Measured:
    every = scene.plan.of(Stand)

    def winds(rows: Indices) -> Column:
        return column("text", [named(found.carrying[row]) for row in rows.tolist()])

    def from_(rows: Indices) -> Column:
        return column("text", [whence(every[stands.rows[row]], int(found.parts[row])) for row in rows.tolist()])

    def wind(rows: Indices) -> Column:
        return column("word", [WINDS[found.winds[row]] if found.winds[row] >= 0 else None for row in rows.tolist()])

    def thinned(rows: Indices) -> Column:
        return Column("share", np.round(strength(np.maximum(found.gaps[rows], AT_HAND), REACH), 2))

    def place(rows: Indices) -> Column:
        return Column("place", found.places[rows])

    def sit(rows: Indices) -> Column:
        said = [scene.plan.word(every[stands.rows[row]], "sit", "all") for row in rows.tolist()]
        known = np.ones(len(rows), bool) if unsaid is None else ~(unsaid & found.known)[rows]
        return Column("word", np.array(said, object), known, None, WITHOUT_SIT)

    def clean(rows: Indices) -> Column:
        values = np.empty(len(rows), object)
        values[:] = [_not_among(found.carrying[row], every[stands.rows[row]]) for row in rows.tolist()]
        return Column("list", values, np.array([bool(one) for one in values], bool), None, ALL_CARRY)

    value = Column("length", found.gaps, None if found.known.all() else found.known, None, WITHOUT_WINDS)
    parts = {"place": place, "winds": winds, "wind": wind, "from": from_, "strength": thinned, "sit": sit}
    return Measured(value, {**parts, "clean": clean})


def _not_among(winds: list[int], stand: Stand) -> tuple[str, ...]:
    """The winds that a stand lists, as it writes them, without some of the sixteen."""
    written = [wind.value for wind in stand.winds]
    return tuple(dict.fromkeys(one.text for one in written if sector(one.degrees) not in winds))


_PARTS = {
    "place": "place", "winds": "text", "wind": "word", "from": "text", "strength": "share", "sit": "word",
    "clean": "list",
}  # fmt: skip


@measure("scent", ("stands", "shape", "length"), "length", parts=_PARTS)
def scent(scene: Scene, stands: Rows, things: Column, reach: Column) -> Measured:
    """How far scent is carried to a thing on a wind that a stand lists, in metres downwind: from the stand or
    the walk to it and from it, wherever on them it is least. Infinite where no listed wind carries it there
    within `reach`.

    The ground downwind is a plume: half as wide as 2.15 sigma-y (Briggs 1973, open country, class D; the
    noon's class for a sit all day where record, anchor and season tell it) or x tan(11.25 degrees). What lies
    within 5 yd is not carried to. `wind` is the wind of that distance, `winds` all listed ones that reach the
    thing, `clean` the others it lists (not known where there are none), `from` what it comes from, `place` where
    it first comes to the thing, `strength` how strong it is there beside its strength 150 yd downwind (class D),
    `sit` when the stand is sat in. Unknown for a stand that lists no winds and lies, or is walked to, within
    `reach`."""
    return _told(scene, stands, _by_reach(scene, Asked(stands.rows, shapes(things)), reach))


@measure("scent-by-sit", ("stands", "foods", "length"), "length", parts=_PARTS)
def scent_by_sit(scene: Scene, stands: Rows, foods: Rows, reach: Column) -> Measured:
    """As `scent`, to food for a stand that is sat in in the evening or all day: deer feed there when the
    hunter leaves. Infinite for a morning stand. Its part `sit` is not known for a stand that does not say when
    it is sat in and from which scent would come there."""
    every = scene.plan.of(Stand)
    grounds = scene.table(foods.plural).column("shape").values[foods.rows]
    sits = np.array([scene.plan.word(every[row], "sit") for row in stands.rows], object)
    things = without(grounds, sits == "morning")
    found = _by_reach(scene, Asked(stands.rows, things), reach)
    return _told(scene, stands, found, (sits == "") & np.isfinite(found.gaps))


@measure("scent-above", ("stands", "paths", "length"), "length", parts=_PARTS)
def scent_above(scene: Scene, stands: Rows, paths: Rows, reach: Column) -> Measured:
    """As `scent`, to the part of a line of travel by which deer come to the stand: up to the place nearest it,
    from bed to food in the evening, the other way in the morning, either for a sit all day. Its part `sit` is
    not known for a stand that does not say when it is sat in, where by one sit scent comes there and by the
    other not."""
    every = scene.plan.of(Stand)
    lines = scene.table(paths.plural).column("shape").values[paths.rows]
    sits = np.array([scene.plan.word(every[row], "sit") for row in stands.rows], object)
    by_sit = []
    for evening, other in ((True, "morning"), (False, "evening")):
        parts = np.full(len(lines), None, object)
        parts[:] = [
            deer_come(scene, every[row], line, evening=evening) if sit != other else None
            for row, line, sit in zip(stands.rows, lines, sits, strict=True)
        ]
        by_sit.append(_by_reach(scene, Asked(stands.rows, parts), reach))
    one, two = by_sit
    unsaid = (sits == "") & (np.isfinite(one.gaps) != np.isfinite(two.gaps))
    return _told(scene, stands, _merged(one, two), unsaid)


def without(things: Array, gone: Mask) -> Array:
    """Things of which some are nothing."""
    kept = things.copy()
    kept[gone] = None
    return kept


def _by_reach(scene: Scene, asked: Asked, reach: Column) -> _Found:
    """`_over_listed` for askings of several reaches."""
    far = reach.values.astype(float)
    whole: _Found | None = None
    for one in distinct(far):
        mine = far == one
        found = _over_listed(scene, Asked(asked.stands, without(asked.things, ~mine)), float(one))
        whole = found if whole is None else _merged(whole, found)
    return whole if whole is not None else _over_listed(scene, asked, 0.0)


def _merged(one: _Found, two: _Found) -> _Found:
    """For each asking the nearer of two, and what is known of both."""
    nearer = two.gaps < one.gaps
    rows = range(len(nearer))
    return _Found(
        np.where(nearer, two.gaps, one.gaps),
        [two.winds[row] if nearer[row] else one.winds[row] for row in rows],
        np.where(nearer, two.parts, one.parts),
        np.where(nearer, two.places, one.places),
        [list(dict.fromkeys([*one.carrying[row], *two.carrying[row]])) for row in rows],
        one.known & two.known,
    )
