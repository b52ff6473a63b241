"""Who works where, when and with what: work at hand, crews on the same days, gear and training.

What is done is no work at hand. Work is of the crew that its block names, else of its step's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.findings import Related
from habitatlint.ground.columns import Array, Column, Indices, Place, Table, column, distinct
from habitatlint.ground.cuts import LAYING
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import (
    Block,
    Crew,
    Cutting,
    Mix,
    Opening,
    Patch,
    Planting,
    Release,
    Row,
    Slope,
    Task,
    Treatment,
    Tree,
    Work,
)  # fmt: skip
from habitatlint.language.plan import LYING
from habitatlint.measures.jobs import Around, earlier_steps, ground_of_work, steps_around, takes_herbicide
from habitatlint.measures.reach import (
    DANGEROUS,
    FELLING,
    Tall,
    comes_down,
    offsite,
    property_at,
    snags_of,
    swept,
    tallest,
)
from habitatlint.measures.season import steps_of
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural, plural
from habitatlint.units import TOLERANCE, YARD

#: blocks that are work
WORK = (Row, Patch, Tree, Release, Opening, Planting, Task, Treatment)
#: a girdle is cut by saw as well ("two parallel chain saw cuts", Woodland Stewardship, U. Minnesota Extension)
SAWN = (*LAYING, "girdle")
#: how far about an opening trees lie that are sawn through, in metres
SAWN_THROUGH = 15 * YARD
#: a point's number among the kinds of geometry
POINT = 0
#: other words for gear (common practice, no source)
GEAR = {
    "hard-hat": ("helmet", "hardhat", "head-protection", "chainsaw-helmet", "forestry-helmet"),
    "eye-protection": (
        "face-screen", "face-shield", "face-protection", "visor", "goggles", "safety-glasses", "eyewear",
        "protective-eyewear", "chainsaw-helmet", "forestry-helmet",
    ),
    "hearing-protection": (
        "ear-protection", "earmuffs", "ear-muffs", "earplugs", "ear-plugs", "ear-defenders", "muffs",
        "chainsaw-helmet", "forestry-helmet",
    ),
    "leg-protection": ("chaps", "chainsaw-chaps", "saw-chaps", "chainsaw-pants", "chainsaw-trousers", "saw-pants"),
    "boots": ("chainsaw-boots", "saw-boots", "cut-resistant-boots", "foot-protection", "logging-boots", "safety-boots"),
    "gloves": ("hand-protection", "chainsaw-gloves", "nitrile-gloves", "chemical-resistant-gloves", "work-gloves"),
    "first-aid": ("first-aid-kit", "trauma-kit"),
}  # fmt: skip
_NO_STEP = "it or the tree has no `step`, so nobody knows which comes first"


# -- work at hand ------------------------------------------------------------------------------------------


class Duty(NamedTuple):
    """A piece of work still to be done: where, when, by whom, and what it takes.

    `crew` is the crew's row, None for none that is known; `named` whether somebody is named at all."""

    block: Block
    ground: BaseGeometry | None
    step: float | None
    first: date | None
    last: date | None
    crew: int | None
    named: bool
    tall: Tall
    felling: bool
    saw: bool
    herbicide: bool
    sprung: bool
    mix: str


def duties_of(scene: Scene) -> list[Duty]:
    """Work that is not done and not a neighbour's, in the order of the plan; trees that are left are none."""
    found = scene.memo.get("duties")
    if found is None:
        found = scene.memo["duties"] = list(_duties(scene))
    return found


def _duties(scene: Scene) -> Iterator[Duty]:
    plan = scene.plan
    steps = steps_of(scene)
    unread = any("step" in work.parsed.broken for work in plan.blocks if isinstance(work, Work))
    for block in plan.blocks:
        if not isinstance(block, WORK) or block.broken or plan.finished(block) or offsite(plan, block):
            continue
        method, state = plan.word(block, "method"), plan.word(block, "state")
        if isinstance(block, Cutting) and method in ("leave", ""):
            continue
        written = plan.value(block, "step")
        number = written.value.number if written is not None else None
        step = steps[number][1] if number in steps else None
        own = plan.word(block, "by")
        name = own or (step.crew if step is not None else None) or ""
        named = bool(name) or plan.gives(block, "by") or (unread and step is None)
        lays = method in FELLING if isinstance(block, Release) else method in LAYING
        lies = isinstance(block, Cutting) and state in LYING
        mix = plan.word(block, "mix")
        treated = plan.word(block, "stump-treatment") == "done" and method in LAYING
        sprays = takes_herbicide(plan, block, method) and not treated
        yield Duty(
            block, ground_of_work(scene, block), number, step.first if step else None, step.last if step else None,
            scene.row_of("crews", name) if name else None, named, _tall(scene, block),
            felling=lays and not lies,
            saw=lays or method in SAWN or isinstance(block, Opening),
            herbicide=isinstance(block, Treatment) or sprays,
            sprung=isinstance(block, Opening) or (lays and isinstance(block, Cutting) and state in ("hung", *LYING)),
            mix=mix,
        )  # fmt: skip


def _tall(scene: Scene, block: Block) -> Tall:
    """The tallest tree that the work is on; for an opening, of those that lie within 15 yd of it."""
    if not isinstance(block, Opening):
        return tallest(scene, block) if isinstance(block, Cutting | Release) else Tall(0.0, False)
    trees, place = scene.trees, scene.shape_of(block)
    near = [] if place is None or not len(trees) else trees.fallen_index.query(place, "dwithin", SAWN_THROUGH)
    if not len(near):
        return tallest(scene, block)
    heights = trees.largest_height[near]
    return Tall(float(heights.max()), bool(~trees.height_written[near[int(np.argmax(heights))]]))


@plural(
    "duties",
    {"block": "name", "shape": "shape", "step": "number", "by": "thing:crews", "mix": "thing:mixes", "tree": "length",
     "sprung-tree": "length", "pocket": "thing:pockets", "method": "word", "named": "truth", "felling": "truth",
     "saw": "truth", "herbicide": "truth", "sprung": "truth"},
)  # fmt: skip
def _duties_table(scene: Scene) -> Table:
    """Work that is still to be done: cuts, releases, openings, plantings, treatments and tasks."""
    duties, plan = duties_of(scene), scene.plan
    table = Table("duties", len(duties), lambda row: duties[row].block.label, lambda row: duties[row].block.name,
                  lambda row: duties[row].block.span())  # fmt: skip
    table.written = lambda row, word: property_at(plan, duties[row].block, word)
    pockets = [scene.row_of("pockets", name) if (name := plan.word(duty.block, "in")) else None for duty in duties]
    mixes = [scene.row_of("mixes", duty.mix) if duty.mix else None for duty in duties]
    methods = [plan.word(duty.block, "method") or None for duty in duties]
    for field, kind, values, why in (
        ("block", "name", [duty.block.name for duty in duties], ""),
        ("shape", "shape", [duty.ground for duty in duties], ""),
        ("step", "number", [duty.step for duty in duties], "no `step` is given"),
        ("by", "thing:crews", [duty.crew for duty in duties], "no crew is named"),
        ("mix", "thing:mixes", mixes, "no `mix` is given"),
        ("pocket", "thing:pockets", pockets, "it belongs to no pocket"),
        ("method", "word", methods, "no `method` is given"),
    ):
        table.add(field, lambda kind=kind, values=values, why=why: column(kind, values, why))  # type: ignore[misc]
    for word in ("named", "felling", "saw", "herbicide", "sprung"):
        table.add(word, lambda word=word: column("truth", [getattr(duty, word) for duty in duties]))  # type: ignore[misc]
    heights = np.array([duty.tall.height for duty in duties], float)
    estimated = np.array([duty.tall.estimated for duty in duties], bool)
    table.add("tree", lambda: Column("length", heights, None, estimated))
    table.add("sprung-tree", lambda: _sprung_trees(duties))
    return table


def _sprung_trees(duties: list[Duty]) -> Column:
    """For each piece of work under load the largest tree of all such work of its step."""
    largest: dict[float | None, Tall] = {}
    for duty in duties:
        if duty.sprung:
            largest[duty.step] = max(duty.tall, largest.get(duty.step, duty.tall))
    talls = [largest.get(duty.step) if duty.sprung else None for duty in duties]
    sizes = column("length", [None if tall is None else tall.height for tall in talls], "it is under no load")
    estimated = np.array([tall is not None and tall.estimated for tall in talls], bool)
    return Column("length", sizes.values, sizes.known, estimated, sizes.why)


# -- trees that must come down first --------------------------------------------------------------------


@of_plural("snags", "earlier-steps", "list")
def _earlier_steps(scene: Scene) -> Column:
    """Earlier steps than that in which it comes down, the nearest first; not known for one that stays."""
    dead, plan = snags_of(scene), scene.plan
    around = [steps_around(scene, one) if comes_down(plan, one) else Around((), ()) for one in dead.blocks]
    return earlier_steps(around, "nothing brings it down, or no earlier step of its crew has cuts").take(dead.owner)


@measure("before-danger", ("snags", "duties"), "length", parts={"place": "place", "same": "length"})
def before_danger(scene: Scene, snags: Rows, duties: Rows) -> Measured:
    """How far, in metres, work is from a dead, hung or blown tree that is not down before it begins: one
    that nothing brings down, or that comes down in a later step. Endless where it is down by then.

    `same` is so for one that comes down in the same step, where nobody says which is first. The tree's own
    felling, the felling of another such tree, and an opening sawn at a blown one are no such work; nor
    is a task, of which nobody knows what it is. Unknown where the tree is to come down and it or the
    work has no step. `place` is the place of the work nearest the tree."""
    dead, work, plan = snags_of(scene), duties_of(scene), scene.plan
    downs = [comes_down(plan, block) for block in dead.blocks]
    blown = [plan.word(block, "state") == "blown" for block in dead.blocks]
    steps = [value.value.number if (value := plan.value(block, "step")) is not None else None for block in dead.blocks]
    late, same, unknown = (np.zeros(len(snags), bool) for _ in range(3))
    for index, (snag, row) in enumerate(zip(dead.owner[snags.rows], duties.rows, strict=True)):
        duty = work[row]
        clears = isinstance(duty.block, Cutting) and plan.word(duty.block, "state") in DANGEROUS
        if clears or isinstance(duty.block, Task) or (blown[snag] and isinstance(duty.block, Opening)):
            continue
        if not downs[snag]:
            late[index] = True
        elif steps[snag] is None or duty.step is None:
            unknown[index] = True
        else:
            late[index], same[index] = steps[snag] > duty.step, steps[snag] == duty.step
    trees = dead.shape[snags.rows]
    grounds = np.array([work[row].ground for row in duties.rows], object)
    distances = shapely.distance(trees, grounds)
    estimated = dead.estimated[snags.rows]

    def of(these: Array) -> Column:
        known = None if not unknown.any() else ~unknown
        return Column("length", np.where(these, distances, np.inf), known, estimated, _NO_STEP)

    def place(rows: Indices) -> Column:
        return Column("place", shapely.get_point(shapely.shortest_line(grounds[rows], trees[rows]), 0))

    return Measured(of(late), {"place": place, "same": lambda rows: of(same).take(rows)})


# -- crews on the same days ---------------------------------------------------------------------------------


class Shift(NamedTuple):
    """The work of one crew in one step: its placed duties, by their rows."""

    crew: int
    step: float
    first: date | None
    last: date | None
    duties: tuple[int, ...]


class Encounter(NamedTuple):
    """Two shifts that may be at work on the same days, the later step second. `days` is how many days
    they share, counted between the first and the last, None where dates are not given."""

    one: Shift
    other: Shift
    days: int | None


def encounters_of(scene: Scene) -> list[Encounter]:
    """Shifts of different crews on the same days, of which one at least brings trees down; and shifts of
    one crew in different steps whose days overlap. Days are the same by dates, or within one step."""
    found = scene.memo.get("encounters")
    if found is None:
        found = scene.memo["encounters"] = _encounters(scene)
    return found


def _encounters(scene: Scene) -> list[Encounter]:
    duties = duties_of(scene)
    members: dict[tuple[float, int], list[int]] = {}
    for row, duty in enumerate(duties):
        if duty.crew is not None and duty.step is not None and duty.ground is not None:
            members.setdefault((duty.step, duty.crew), []).append(row)
    shifts = [
        Shift(crew, step, duties[rows[0]].first, duties[rows[0]].last, tuple(rows))
        for (step, crew), rows in sorted(members.items())
    ]
    fells = [any(duties[row].felling for row in shift.duties) for shift in shifts]
    found = []
    for first, second, days in _together(shifts):
        one, other = shifts[first], shifts[second]
        if one.crew == other.crew or fells[first] or fells[second]:
            found.append(Encounter(one, other, days))
    return found


def _together(shifts: list[Shift]) -> Iterator[tuple[int, int, int | None]]:
    """Pairs of shifts on the same days, in the order of steps, and the days they share."""
    pairs: dict[tuple[int, int], int | None] = {}
    by_step: dict[float, list[int]] = {}
    for index, shift in enumerate(shifts):
        by_step.setdefault(shift.step, []).append(index)
    for same in by_step.values():
        pairs.update({(a, b): None for number, a in enumerate(same) for b in same[number + 1 :]})
    dated = [(shift.first, shift.last, index) for index, shift in enumerate(shifts) if shift.first and shift.last]
    dated.sort()
    for number, (_, last, index) in enumerate(dated):
        for later, ends, other in dated[number + 1 :]:
            if later > last:
                break
            pairs[min(index, other), max(index, other)] = (min(last, ends) - later).days + 1
    for (first, second), days in sorted(pairs.items(), key=lambda pair: pair[0]):
        yield first, second, days


@plural("encounters", {"one": "thing:crews", "other": "thing:crews", "step": "number", "days": "duration"})
def _encounters_table(scene: Scene) -> Table:
    """Two crews at work on the same days, or one crew in two steps; told at the later step."""
    met = encounters_of(scene)
    crews = scene.plan.of(Crew)

    def written(row: int, word: str) -> Place | None:
        if word != "step":
            return None
        for work in scene.plan.of(Work):
            for step in work.steps:
                if step.number == met[row].other.step:
                    return Place(work.span(step.line), False)
        return property_at(scene.plan, duties_of(scene)[met[row].other.duties[0]].block, "step")

    def span(row: int) -> Any:
        place = written(row, "step")
        return place.span if place is not None else crews[met[row].other.crew].span()

    table = Table("encounters", len(met), lambda row: crews[met[row].one.crew].label,
                  lambda row: crews[met[row].one.crew].name, span)  # fmt: skip
    table.written = written
    table.names = lambda row: frozenset({crews[met[row].one.crew].name, crews[met[row].other.crew].name})
    table.related = lambda row: tuple(
        Related(crews[crew].span(), crews[crew].label)
        for crew in dict.fromkeys((met[row].one.crew, met[row].other.crew))
    )
    table.add("one", lambda: column("thing:crews", [one.one.crew for one in met]))
    table.add("other", lambda: column("thing:crews", [one.other.crew for one in met]))
    table.add("step", lambda: column("number", [one.other.step for one in met]))
    days = [None if one.days is None else one.days * 24 for one in met]
    table.add("days", lambda: column("duration", days, "the step has no dates"))
    return table


class _Parts(NamedTuple):
    """The ground of a shift in parts: stumps by themselves, areas and lines whole; the row of each part's
    duty, the tallest tree of that duty, and whether it brings trees down."""

    shapes: Array
    duty: Indices
    height: Array
    felling: Array


def _parts(scene: Scene, shift: Shift) -> _Parts:
    found: dict[Shift, _Parts] = scene.memo.setdefault("parts of shifts", {})
    if shift not in found:
        duties = duties_of(scene)
        grounds = np.array([duties[row].ground for row in shift.duties], object)
        shapes, of = shapely.get_parts(grounds, return_index=True)
        rows = np.array(shift.duties, np.intp)[of]
        heights = np.array([duties[row].tall.height for row in rows], float)
        found[shift] = _Parts(shapes, rows, heights, np.array([duties[row].felling for row in rows], bool))
    return found[shift]


class _Near(NamedTuple):
    """The nearest that two shifts come to each other, by tree lengths: metres, the tallest tree there, the
    place, and the rows of the duties: the one that fells first."""

    apart: float
    tall: Tall
    place: BaseGeometry
    felling: int
    other: int


def _nearest(scene: Scene, one: Shift, other: Shift) -> _Near | None:
    """Where a shift's felling comes nearest the other's work, as a share of the tree's height; either way."""
    best: tuple[float, _Near] | None = None
    for ours, theirs in ((_parts(scene, one), _parts(scene, other)), (_parts(scene, other), _parts(scene, one))):
        rows = np.flatnonzero(ours.felling & (ours.height > 0))
        if not len(rows):
            continue
        index = shapely.STRtree(theirs.shapes)
        pairs, distances = index.query_nearest(ours.shapes[rows], return_distance=True, all_matches=False)
        shares = distances / ours.height[rows[pairs[0]]]
        at = int(np.argmin(shares))
        felling, met = int(rows[pairs[0, at]]), int(pairs[1, at])
        if best is None or shares[at] < best[0] - 1e-12:
            place = shapely.get_point(shapely.shortest_line(theirs.shapes[met], ours.shapes[felling]), 0)
            duty = int(ours.duty[felling])
            tall = duties_of(scene)[duty].tall
            best = float(shares[at]), _Near(float(distances[at]), tall, place, duty, int(theirs.duty[met]))
    return best[1] if best is not None else None


def _within(ours: Array, theirs: Array, distance: float) -> bool:
    """Whether any of ours comes within a distance of any of theirs."""
    _, distances = shapely.STRtree(theirs).query_nearest(ours, return_distance=True, all_matches=False)
    return bool((distances <= distance).any())


@measure(
    "apart", ("encounters", "number"), "length",
    parts={"place": "place", "tree": "length", "twice": "duration", "felling": "thing:duties",
           "beside": "thing:duties", "feller": "thing:crews", "neighbour": "thing:crews"},
)  # fmt: skip
def apart(scene: Scene, encounters: Rows, lengths: Column) -> Measured:
    """How near the felling of one crew comes to the work of another on the same days, in metres, where it
    is nearest by the height of its trees; endless for two steps of one crew. `tree` is the largest tree
    that is felled there, `felling` and `beside` the two pieces of work, `feller` and `neighbour` their crews,
    `place` the nearest place of the second.

    `twice` is how long one crew is at work in two steps at once, more than so many lengths of the largest
    tree apart; nothing for two crews, where no dates are given, and where the places lie together."""
    met, duties = encounters_of(scene), duties_of(scene)
    nears = [_nearest(scene, met[row].one, met[row].other) for row in encounters.rows]
    values, twice = np.full(len(nears), np.inf), np.zeros(len(nears))
    heights, estimated = np.zeros(len(nears)), np.zeros(len(nears), bool)
    for index, (row, near) in enumerate(zip(encounters.rows, nears, strict=True)):
        one, other, days = met[row]
        if near is not None:
            heights[index], estimated[index] = near.tall
        if one.crew != other.crew and near is not None:
            values[index] = near.apart
        elif one.crew == other.crew and days is not None:
            tall = max(duties[duty].tall.height for duty in (*one.duties, *other.duties))
            reach = float(lengths.values[index]) * tall + TOLERANCE
            far = not _within(_parts(scene, one).shapes, _parts(scene, other).shapes, reach)
            twice[index] = days * 24 if far else 0.0

    def place(rows: Indices) -> Column:
        found = [nears[row] for row in rows]
        return column("place", [None if near is None else near.place for near in found])

    def thing(word: str, crew: bool = False) -> Callable[[Indices], Column]:
        rows_of = [None if near is None else getattr(near, word) for near in nears]
        if crew:
            rows_of = [None if row is None else duties[row].crew for row in rows_of]
        plural_ = "crews" if crew else "duties"
        return lambda rows: column(f"thing:{plural_}", [rows_of[row] for row in rows], "none is known")

    return Measured(
        Column("length", values, None, estimated),
        {
            "place": place,
            "tree": lambda rows: Column("length", heights[rows], None, estimated[rows]),
            "twice": lambda rows: Column("duration", twice[rows]),
            "felling": thing("felling"),
            "beside": thing("other"),
            "feller": thing("felling", crew=True),
            "neighbour": thing("other", crew=True),
        },
    )


@measure(
    "below", ("encounters", "number", "length", "share"), "length",
    parts={"place": "place", "felling": "thing:duties", "beside": "thing:duties", "slope": "thing:slopes"},
)  # fmt: skip
def below(scene: Scene, encounters: Rows, lengths: Column, down: Column, steep: Column) -> Measured:
    """How far below the felling of one crew another is at work on the same days, in metres: within so
    many lengths of the largest tree to either side and `down` along the fall line of a `slope` that falls
    `steep` or more. Endless where nobody is below, for one crew, and where no slope is given.

    `felling` and `beside` are the two pieces of work, `slope` the slope, `place` the nearest place below.
    The fall line runs on beyond the slope's outline, as what rolls does."""
    met, duties = encounters_of(scene), duties_of(scene)
    slopes = [
        (row, shape, scene.placer.bearing(slope, line.values[0]), line.values[1].value.size)
        for row, slope in enumerate(scene.plan.of(Slope))
        if (shape := scene.shape_of(slope)) is not None and (line := slope.first("falls")) is not None
    ]
    outlines = shapely.STRtree([outline for _, outline, _, _ in slopes])
    upon = {shift: _slopes_of(_parts(scene, shift), outlines) for row in encounters.rows for shift in met[row][:2]}
    values, estimated = np.full(len(encounters), np.inf), np.zeros(len(encounters), bool)
    found: list[tuple[BaseGeometry, int, int, int] | None] = [None] * len(encounters)
    for index, row in enumerate(encounters.rows):
        one, other, _ = met[row]
        if one.crew == other.crew:
            continue
        for ours, theirs in ((one, other), (other, one)):
            for slope, outline, bearing, fall in (slopes[at] for at in upon[ours]):
                if fall < steep.values[index] - 1e-9:
                    continue
                wide, far = float(lengths.values[index]), float(down.values[index])
                under = _under(_parts(scene, ours), _parts(scene, theirs), outline, bearing, wide, far)
                if under is not None and under[0] < values[index]:
                    values[index], place, felling, beside = under
                    estimated[index] = duties[felling].tall.estimated
                    found[index] = (place, felling, beside, slope)

    def part(number: int, kind: str) -> Callable[[Indices], Column]:
        rows_of = [None if one is None else one[number] for one in found]
        return lambda rows: column(kind, [rows_of[row] for row in rows], "none is known")

    return Measured(
        Column("length", values, None, estimated),
        {
            "place": part(0, "place"),
            "felling": part(1, "thing:duties"),
            "beside": part(2, "thing:duties"),
            "slope": part(3, "thing:slopes"),
        },
    )


def _slopes_of(ours: _Parts, outlines: shapely.STRtree) -> list[int]:
    """Which of the slopes' outlines our felling is upon, in their order."""
    felled = ours.shapes[ours.felling & (ours.height > 0)]
    return [int(at) for at in distinct(outlines.query(felled, predicate="intersects")[1])]


def _under(
    ours: _Parts, theirs: _Parts, outline: BaseGeometry, bearing: float, lengths: float, down: float
) -> tuple[float, BaseGeometry, int, int] | None:
    """The nearest of their work that lies below our felling on a slope: metres, the place, both duties."""
    shapely.prepare(outline)
    rows = np.flatnonzero(ours.felling & (ours.height > 0) & shapely.intersects(outline, ours.shapes))
    if not len(rows):
        return None
    upon = ours.shapes[rows]
    areas = np.flatnonzero(shapely.get_type_id(upon) != POINT)
    upon[areas] = shapely.intersection(upon[areas], outline)
    strips: list[Array] = []
    owner: list[Indices] = []
    for height in distinct(ours.height[rows]):
        of = np.flatnonzero(ours.height[rows] == height)
        corners = _strip(bearing, lengths * float(height), down)
        stumps = shapely.get_type_id(upon[of]) == POINT
        strips.append(shapely.polygons(shapely.get_coordinates(upon[of[stumps]])[:, None, :] + corners))
        owner.append(of[stumps])
        for number in of[~stumps]:
            pieces = swept(upon[number], corners)
            strips.append(pieces)
            owner.append(np.full(len(pieces), number))
    pieces, owners = np.concatenate(strips), np.concatenate(owner)
    at, met = shapely.STRtree(theirs.shapes).query(pieces, predicate="intersects")
    if not len(at):
        return None
    there = theirs.shapes[met]
    areas = np.flatnonzero(shapely.get_type_id(there) != POINT)
    there[areas] = shapely.intersection(there[areas], pieces[at[areas]])
    distances = shapely.distance(there, upon[owners[at]])
    nearest = int(np.argmin(distances))
    ours_at = int(owners[at[nearest]])
    place = shapely.get_point(shapely.shortest_line(there[nearest], upon[ours_at]), 0)
    return float(distances[nearest]), place, int(ours.duty[rows[ours_at]]), int(theirs.duty[met[nearest]])


def _strip(bearing: float, wide: float, down: float) -> Array:
    """Corners of a strip below the origin: so wide to either side, so far down a bearing."""
    turned = np.radians(bearing)
    ahead, side = np.array([np.sin(turned), np.cos(turned)]), np.array([np.cos(turned), -np.sin(turned)])
    return np.array([side * wide, -side * wide, ahead * down - side * wide, ahead * down + side * wide])


# -- gear and training ------------------------------------------------------------------------------------


class Kit(NamedTuple):
    """What one crew needs for one kind of work: `saw` work, or herbicide of one mix (its name, or "")."""

    crew: int
    saw: bool
    mix: str
    duties: tuple[int, ...]


def kits_of(scene: Scene) -> list[Kit]:
    """For each crew that has work at hand: its saw work, and its work with each mix."""
    found = scene.memo.get("kits")
    if found is None:
        kinds: dict[tuple[int, bool, str], list[int]] = {}
        for row, duty in enumerate(duties_of(scene)):
            if duty.crew is None:
                continue
            if duty.saw:
                kinds.setdefault((duty.crew, True, ""), []).append(row)
            if duty.herbicide:
                kinds.setdefault((duty.crew, False, duty.mix), []).append(row)
        found = scene.memo["kits"] = [Kit(*key, tuple(rows)) for key, rows in sorted(kinds.items())]
    return found


@plural(
    "kits",
    {"crew": "thing:crews", "mix": "thing:mixes", "saw": "truth", "herbicide": "truth", "training": "list",
     "gear": "list", "hands": "count", "people": "count", "asks": "word", "work": "text"},
)  # fmt: skip
def _kits_table(scene: Scene) -> Table:
    """A crew with one kind of work at hand: by saw, or with one mix of herbicide."""
    kits, duties, crews = kits_of(scene), duties_of(scene), scene.plan.of(Crew)
    table = Table("kits", len(kits), lambda row: crews[kits[row].crew].label, lambda row: crews[kits[row].crew].name,
                  lambda row: crews[kits[row].crew].span())  # fmt: skip
    table.written = lambda row, word: property_at(scene.plan, crews[kits[row].crew], word)
    mixes = [scene.row_of("mixes", kit.mix) if kit.mix else None for kit in kits]
    hands = [_hands(scene, crews[kit.crew]) for kit in kits]
    people = [None if (value := crews[kit.crew].people) is None else value.value.number for kit in kits]
    for field, kind, values, why in (
        ("crew", "thing:crews", [kit.crew for kit in kits], ""),
        ("mix", "thing:mixes", mixes, "no `mix` is given"),
        ("saw", "truth", [kit.saw for kit in kits], ""),
        ("herbicide", "truth", [not kit.saw for kit in kits], ""),
        ("training", "list", [_words(scene, crews[kit.crew], "training") for kit in kits], ""),
        ("gear", "list", [_words(scene, crews[kit.crew], "gear") for kit in kits], ""),
        ("hands", "count", hands, "neither `people` nor `alone` is given"),
        ("people", "count", people, "no `people` is given"),
        ("asks", "word", ["felling" if kit.saw else "herbicide" for kit in kits], ""),
        ("work", "text", [_few([duties[row].block.label for row in kit.duties]) for kit in kits], ""),
    ):
        table.add(field, lambda kind=kind, values=values, why=why: column(kind, values, why))  # type: ignore[misc]
    return table


def _words(scene: Scene, block: Block, word: str) -> tuple[str, ...]:
    return tuple(str(name.value) for name in scene.plan.values(block, word))


def _hands(scene: Scene, crew: Crew) -> int | None:
    """How many of a crew work together: `alone yes` is one, `alone no` two at least."""
    alone, people = scene.plan.word(crew, "alone"), scene.plan.value(crew, "people")
    number = int(people.value.number) if people is not None else None
    if alone == "yes":
        return 1
    return max(number or 2, 2) if alone == "no" else number


def _few(labels: list[str], most: int = 3) -> str:
    """`row a, row b and 4 more`."""
    more = len(labels) - most
    return f"{', '.join(labels[:most])} and {more} more" if more > 0 else _and(labels)


def _and(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def lacks(gear: tuple[str, ...], wanted: tuple[str, ...]) -> list[str]:
    """What is wanted and not there, by any of its names."""
    return [one for one in wanted if not {one, *GEAR.get(one, ())} & set(gear)]


def _lacking(lists: list[list[str]]) -> Measured:
    texts = column("text", [_and(one) if one else "nothing" for one in lists])
    return Measured(column("count", [len(one) for one in lists]), {"what": texts.take})


@measure("lacking", ("kits", "list"), "count", parts={"what": "text"})
def lacking(scene: Scene, kits: Rows, wanted: Column) -> Measured:
    """How many things of a list a crew does not bring for its saw work, by its `gear`; none for herbicide.
    `what` names them. Gear is known by its usual names: `chaps` are leg protection."""
    every, crews = kits_of(scene), scene.plan.of(Crew)
    lists = [
        lacks(_words(scene, crews[every[row].crew], "gear"), needed) if every[row].saw else []
        for row, needed in zip(kits.rows, wanted.values, strict=True)
    ]
    return _lacking(lists)


@measure("lacking-by-label", ("kits",), "count", parts={"what": "text"})
def lacking_by_label(scene: Scene, kits: Rows) -> Measured:
    """How many things of a mix's `gear`, as its label says, a crew that uses it does not bring. `what` names
    them. None for saw work, and for a mix that says no gear."""
    every, crews = kits_of(scene), scene.plan.of(Crew)
    lists = []
    for row in kits.rows:
        mix = scene.plan.names.get(every[row].mix)
        needed = _words(scene, mix, "gear") if isinstance(mix, Mix) and not every[row].saw else ()
        lists.append(lacks(_words(scene, crews[every[row].crew], "gear"), needed))
    return _lacking(lists)
