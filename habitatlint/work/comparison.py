"""What became of one plan in another, block by block and tree by tree: a design against what was cut, last year's
ground against this year's.

Everything is measured in the frame of the later plan, in metres. Two plans that both have an anchor are laid over each
other on the earth, others by their own places.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from habitatlint.check import Report
from habitatlint.ground.placing import MOST_DISTANT
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Inspection, Row, Single, Storm, Tree, Work
from habitatlint.language.plan import PlanText
from habitatlint.reading.values import Bearing, Direction, EarthPoint, Station, Written
from habitatlint.units import TOLERANCE, Quantity, Range

Floats = npt.NDArray[np.float64]

#: two places nearer than this are one: a projection and a rounded figure apart
SAME = 5 * TOLERANCE
#: a fall within this of the other is the same, in degrees: nobody reads a compass finer
SAME_FALL = 1.0
#: a turn within this is none, in degrees
SAME_TURN = 0.1
#: a size within this share of the other is the same
SAME_SIZE = 0.001
#: properties that say where a block lies: compared on the ground and not as text
_PLACES = frozenset({"outline", "line", "stumps", "at", "radius"})
#: properties whose values have no order
_UNORDERED = frozenset({"names", "words", "bearings", "places"})
#: blocks whose work is done or not
WORK = frozenset({"row", "patch", "tree", "opening", "planting", "release", "treatment", "task"})
#: from how many corners on two outlines are not laid over each other corner by corner
_MOST_CORNERS = 400


class Laid(NamedTuple):
    """How the earlier plan is laid over the later: on the earth, where both have an anchor, or by their own places.
    `apart` is how far apart the two anchors lie, in metres; None where one of them or both have none. `strangers` are
    two plans whose properties have no ground in common."""

    on_earth: bool
    apart: float | None
    one_anchor: bool = False
    strangers: bool = False


class Shape(NamedTuple):
    """How a thing's place and shape changed: how far its middle moved and on which bearing; by how many degrees it
    turned (clockwise; None where that has no meaning); its length or area before and after ("" for a point); how far
    its farthest part now lies from where it was; and whether it is the same shape, only moved or turned, or as
    straight a line."""

    moved: float
    toward: float
    turned: float | None
    kind: str
    before: float
    after: float
    off: float
    rigid: bool

    @property
    def resized(self) -> bool:
        largest = max(self.before, self.after)
        return bool(self.kind) and abs(self.after - self.before) > max(SAME_SIZE * largest, SAME)


class Property(NamedTuple):
    """A property that says another thing than before, as both plans write it; "" where one does not say it."""

    word: str
    before: str
    after: str


class Change(NamedTuple):
    """What became of a block. One is None for a block that came or went; `shape` is None for one that lies as it did;
    `was` is where it lay before, in the later plan's frame."""

    before: Block | None
    after: Block | None
    shape: Shape | None = None
    properties: tuple[Property, ...] = ()
    was: BaseGeometry | None = None

    @property
    def kind(self) -> str:
        """ "added", "gone" or "changed"."""
        return "added" if self.before is None else "gone" if self.after is None else "changed"

    @property
    def block(self) -> Block:
        """The block as it is, or as it was where it is gone."""
        block = self.after or self.before
        assert block is not None
        return block

    @property
    def renamed(self) -> bool:
        return self.before is not None and self.after is not None and self.before.name != self.after.name


class Trees(NamedTuple):
    """Trees of one block that came out alike, and otherwise than before: their numbers, and what became of them.

    `what` is "fall" (they fell another way), "state" (blown, hung, dead, down, standing), "method", "more" or "fewer"
    (there are trees that were not, or are none that were). For falls the bearings before and after, and the least and
    largest turn between them (clockwise; one for each tree, the farthest told).
    """

    block: Block
    numbers: tuple[int, ...]
    what: str
    before: str = ""
    after: str = ""
    fell: tuple[float, float] | None = None
    planned: tuple[float, float] | None = None
    turns: tuple[float, float] | None = None


class Done(NamedTuple):
    """Work whose `done` changed: what both plans say of it, "" for not done."""

    block: Block
    before: str
    after: str


class Comparison(NamedTuple):
    """All that differs.

    `slight` counts blocks that lie less than `least` metres otherwise than before; `left` is work that the later plan,
    if it is one of the ground as it was built, does not call done; `events` are storms and inspections that the earlier
    plan does not have; `names` leads from a block's name to the one it has now; `was` are places of trees (stems and
    tops) that lay otherwise, in the later plan's frame.
    """

    laid: Laid
    changes: tuple[Change, ...]
    trees: tuple[Trees, ...]
    done: tuple[Done, ...]
    left: tuple[Block, ...]
    events: tuple[Block, ...]
    slight: int
    least: float
    names: dict[str, str]
    was: tuple[tuple[BaseGeometry, BaseGeometry], ...]

    @property
    def nothing(self) -> bool:
        """Whether the plans say the same of the ground."""
        return not (self.changes or self.trees or self.done or self.events or self.slight)


def compare(before: Report, after: Report, least: float = 0.0) -> Comparison:
    """What became of a plan. Blocks are known by their names, then by place and shape; a change of place of less than
    `least` metres is only counted."""
    return _Comparer(before, after, least).whole()


class _Pair(NamedTuple):
    before: Block | None
    after: Block | None


@dataclass(frozen=True, eq=False)
class _Comparer:
    """Two plans while they are compared."""

    before: Report
    after: Report
    least: float

    def whole(self) -> Comparison:
        laid = _laid(self.before.scene, self.after.scene)
        turn = _Turn(self.before.scene, self.after.scene, laid)
        laid = laid._replace(strangers=_strangers(self.before.scene, self.after.scene, turn))
        pairs = _paired(self.before, self.after, turn)
        names = {pair.before.name: pair.after.name for pair in pairs
                 if pair.before is not None and pair.after is not None and pair.before.name}  # fmt: skip
        changes: list[Change] = []
        done: list[Done] = []
        events: list[Block] = []
        slight = 0
        for pair in pairs:
            if pair.before is None and isinstance(pair.after, Storm | Inspection):
                events.append(pair.after)
                continue
            change = self._change(pair, turn, names)
            if change.shape is not None and change.shape.off < self.least:
                slight += 1
                change = change._replace(shape=None)
            if pair.before is None or pair.after is None or change.shape or change.properties or change.renamed:
                changes.append(change)
            done += self._done(pair)
        trees, was = _trees(self.before.scene, self.after.scene, pairs, turn, names)
        return Comparison(
            laid, tuple(changes), trees, tuple(done), self._left(), tuple(events), slight, self.least, names, was
        )

    def _change(self, pair: _Pair, turn: _Turn, names: dict[str, str]) -> Change:
        before, after = pair
        was = turn.shape(before) if before is not None else None
        if before is None or after is None:
            return Change(before, after, was=was)
        here = self.after.scene.shape_of(after)
        shape = shape_change(was, here) if was is not None and here is not None else None
        properties = _properties(self.before, self.after, before, after, turn, names)
        if (was is None) != (here is None) and before.noun in _DRAWN:
            place = ("has a place", "has none") if here is None else ("has none", "has a place")
            properties.append(Property("place", *place))
        return Change(before, after, shape, tuple(properties), was)

    def _done(self, pair: _Pair) -> Iterator[Done]:
        of_row = isinstance(pair.after, Tree) and pair.after.has("of") and not pair.after.has("done")
        if pair.after is not None and pair.after.noun in WORK and not of_row:
            said = [
                "" if block is None else _done(report.plan, block)
                for report, block in ((self.before, pair.before), (self.after, pair.after))
            ]
            if said[0] != said[1]:
                yield Done(pair.after, *said)

    def _left(self) -> tuple[Block, ...]:
        """Work that a plan of the ground as it was built does not call done; trees that are only noted, or left, are
        no work."""
        plan = self.after.plan
        if self.after.scene.design:
            return ()
        return tuple(
            block for block in plan.blocks
            if block.noun in WORK and not block.broken and not plan.finished(block)
            and plan.word(block, "offsite") != "yes" and plan.word(block, "method", "work") != "leave"
            and not (isinstance(block, Tree) and not block.has("method"))
        )  # fmt: skip


#: nouns of blocks that are drawn with a place of their own
_DRAWN = frozenset(
    {"boundary", "core", "food", "pocket", "path", "stand", "timber", "release", "row", "opening", "planting", "hazard",
     "slope", "drain", "place", "sign"}
)  # fmt: skip


def _done(plan: PlanText, block: Block) -> str:
    written = plan.value(block, "done")
    return str(written.value) if written is not None else ""


# -- one plan over the other -------------------------------------------------------------------------------


def _laid(before: Scene, after: Scene) -> Laid:
    one, two = before.placer.frame, after.placer.frame
    if one is None or two is None:
        return Laid(False, None, (one is None) != (two is None))
    if one == two:
        return Laid(True, 0.0)
    apart = math.hypot(*two.to_local(one.latitude, one.longitude))
    return Laid(apart <= MOST_DISTANT, apart)


def _strangers(before: Scene, after: Scene, turn: _Turn) -> bool:
    """Both have a boundary, and the two have no ground in common."""
    one, two = before.property_, after.property_
    return one is not None and two is not None and float(turn.turned(one).intersection(two).area) <= 0.0


class _Turn:
    """Brings the earlier plan's places into the later one's frame."""

    def __init__(self, before: Scene, after: Scene, laid: Laid) -> None:
        self.before, self.after = before, after
        self.same = not laid.on_earth or before.placer.frame == after.placer.frame

    def points(self, places: Floats) -> Floats:
        """Places (n, 2) in metres."""
        one, two = self.before.placer.frame, self.after.placer.frame
        if self.same or one is None or two is None:
            return places
        latitude, longitude = one.to_earth(places[:, 0], places[:, 1])
        return np.column_stack(two.to_local(latitude, longitude))

    def turned(self, shape: BaseGeometry) -> BaseGeometry:
        return shape if self.same else shapely.transform(shape, self.points)

    def shape(self, block: Block) -> BaseGeometry | None:
        shape = self.before.shape_of(block)
        return None if shape is None else self.turned(shape)


# -- which block is which ----------------------------------------------------------------------------------


def _key(block: Block, seen: dict[tuple[object, ...], int]) -> tuple[object, ...]:
    """What a block is known by in both plans: its name, or its noun and day; one of several by its number."""
    if isinstance(block, Single):
        kinds = ("text",) if block.noun in ("use", "include") else ("name", "dotted")
        key: tuple[object, ...] = (block.noun, *(str(one.value) for one in block.head if one.kind in kinds))
    elif block.name:
        key = ("named", block.name)
    else:
        key = (block.noun, *(str(one.value) for one in block.head if one.kind == "date"))
    seen[key] = seen.get(key, 0) + 1
    return (*key, seen[key])


def _paired(before: Report, after: Report, turn: _Turn) -> list[_Pair]:
    """Blocks of both plans, in the later one's order with what is gone where it stood."""
    sides = []
    for report in (before, after):
        seen: dict[tuple[object, ...], int] = {}
        sides.append({_key(block, seen): block for block in report.plan.blocks if not block.broken})
    earlier, later = sides
    partner: dict[int, Block] = {id(later[key]): earlier[key] for key in later if key in earlier}
    gone = [block for key, block in earlier.items() if key not in later]
    come = [block for key, block in later.items() if key not in earlier]
    names = {block.name: later[key].name for key, block in earlier.items() if key in later and block.name}
    for old, new in _renamed(before, after, gone, come, turn, names):
        partner[id(new)] = old
    taken = {id(block) for block in partner.values()}
    pairs = [_Pair(partner.get(id(block)), block) for block in later.values()]
    lost = [block for block in earlier.values() if id(block) not in taken]
    return pairs + [_Pair(block, None) for block in lost]


def _renamed(
    before: Report, after: Report, gone: list[Block], come: list[Block], turn: _Turn, names: dict[str, str]
) -> list[tuple[Block, Block]]:
    """Blocks that bear another name than before: of the same kind, and of the same place and shape; without a place,
    saying the same."""
    found: list[tuple[Block, Block]] = []
    known = dict(names)
    new = [(block, _at(after.scene.shape_of(block))) for block in come if block.name]

    def take(old: Block, fit: list[Block]) -> None:
        # of several that lie alike the one that says the same
        best = min(fit, key=lambda block: len(_properties(before, after, old, block, turn, known)))
        found.append((old, best))
        known[old.name] = best.name
        new[:] = [one for one in new if one[0] is not best]

    bare = []
    for old in gone:
        was = turn.shape(old)
        here = _at(was)
        if not old.name:
            continue
        if was is None or here is None:
            bare.append(old)
            continue
        near = [block for block, at in new if block.noun == old.noun and at is not None and math.dist(at, here) <= SAME]
        if fit := [block for block in near if shape_change(was, after.scene.shape_of(block)) is None]:
            take(old, fit)
    # what has no place may name what bears another name too, so that one found may lead to the next
    while True:
        before_this = len(found)
        for old in [block for block in bare if block.parsed.statements]:
            same = [block for block, at in new if block.noun == old.noun and at is None]
            if fit := [block for block in same if not _properties(before, after, old, block, turn, known)]:
                take(old, fit)
                bare.remove(old)
        if len(found) == before_this:
            return found


def _at(shape: BaseGeometry | None) -> tuple[float, float] | None:
    return None if shape is None or shape.is_empty else _middle(shape)


# -- places and shapes -------------------------------------------------------------------------------------


def shape_change(was: BaseGeometry, here: BaseGeometry | None) -> Shape | None:
    """How a shape changed; None for one that lies as it did, within 5 cm."""
    if here is None or was.is_empty or here.is_empty:
        return None
    kind = "" if isinstance(here, Point) else "area" if here.area else "length"
    sizes = {"": (0.0, 0.0), "area": (was.area, here.area), "length": (was.length, here.length)}[kind]
    off = float(shapely.hausdorff_distance(was, here, densify=0.2)) if was.length else float(was.distance(here))
    reversed_ = off <= SAME and _runs_back(was, here)
    if off <= SAME and not reversed_:
        return None
    one, two = (_middle(shape) for shape in (was, here))
    moved, toward = math.dist(one, two), math.degrees(math.atan2(two[0] - one[0], two[1] - one[1])) % 360
    motion = _rigid(was, here)
    if reversed_:
        return Shape(0.0, 0.0, 180.0, kind, *sizes, off, True)
    turned = motion
    if motion is None and isinstance(was, LineString) and isinstance(here, LineString):
        turned = _chord_turn(was, here)
    if isinstance(here, Point) or (turned is not None and abs(turned) <= SAME_TURN):
        turned = None
    straight = all(isinstance(shape, LineString) and len(shape.coords) == 2 for shape in (was, here))
    return Shape(moved, toward, turned, kind, *sizes, off, motion is not None or straight)


def _middle(shape: BaseGeometry) -> tuple[float, float]:
    point = shape.interpolate(0.5, normalized=True) if isinstance(shape, LineString) else shape.centroid
    return float(point.x), float(point.y)


def _runs_back(was: BaseGeometry, here: BaseGeometry) -> bool:
    """Whether a line lies as it did and runs the other way."""
    if not (isinstance(was, LineString) and isinstance(here, LineString)):
        return False
    first, last = (Point(here.coords[at]) for at in (0, -1))
    start = Point(was.coords[0])
    return bool(start.distance(first) > SAME and start.distance(last) <= SAME)


def _chord_turn(was: LineString, here: LineString) -> float | None:
    """Between the bearings of two lines from end to end, in degrees clockwise; None for lines that come back."""
    chords = [np.subtract(line.coords[-1], line.coords[0]) for line in (was, here)]
    if min(float(np.hypot(*chord)) for chord in chords) < 10 * SAME:
        return None
    one, two = (math.degrees(math.atan2(chord[0], chord[1])) for chord in chords)
    return (two - one + 180) % 360 - 180


def _rigid(was: BaseGeometry, here: BaseGeometry) -> float | None:
    """By how many degrees a shape was turned, clockwise, where moving and turning alone lay it over the other, corner
    by corner (the least squares of Kabsch, Acta Crystallographica A32:922, 1976, in the plane; from memory); None for
    another shape."""
    one, two = shapely.get_coordinates(was), shapely.get_coordinates(here)
    if len(one) != len(two) or was.geom_type != here.geom_type or len(one) > _MOST_CORNERS:
        return None
    if len(one) == 1:
        return 0.0
    ring = bool(was.area)
    if ring:
        one, two = one[:-1], two[:-1]
    one, two = one - one.mean(axis=0), two - two.mean(axis=0)
    best: float | None = None
    # an outline may begin at another corner; nearest to no turn is what a person did
    for start in range(len(two)) if ring else (0,):
        other = np.roll(two, -start, axis=0)
        turn = math.atan2(float((one[:, 1] * other[:, 0] - one[:, 0] * other[:, 1]).sum()), float((one * other).sum()))
        cosine, sine = math.cos(turn), math.sin(turn)
        laid = np.column_stack([one[:, 0] * cosine + one[:, 1] * sine, one[:, 1] * cosine - one[:, 0] * sine])
        if np.hypot(*(laid - other).T).max() <= SAME:
            degrees = math.degrees(turn)
            best = degrees if best is None or abs(degrees) < abs(best) else best
    return best


# -- what blocks say ---------------------------------------------------------------------------------------


def _properties(
    before: Report, after: Report, old: Block, new: Block, turn: _Turn, names: dict[str, str]
) -> list[Property]:
    """Properties that say another thing. What the shared `trees`, or its row, says for a block is told there."""
    found = []
    if old.noun != new.noun:
        found.append(Property("kind of block", old.noun, new.noun))
    if isinstance(old, Single) or isinstance(new, Single):
        texts = [_head(block) for block in (old, new)]
        return found + ([Property("says", *texts)] if texts[0] != texts[1] else [])
    if old.title != new.title:
        found.append(Property("title", old.title, new.title))
    if isinstance(old, Work) and isinstance(new, Work):
        return found + list(_steps(old, new, names))
    ours, theirs = _Says(before, names, turn), _Says(after, {}, None)
    for word in dict.fromkeys((*old.properties, *new.properties)):
        if word in _PLACES or word == "done" or not (old.all(word) or new.all(word)):
            continue
        if not _alike(ours.meant(old, word), theirs.meant(new, word)):
            found.append(Property(word, ours.text(old, word), theirs.text(new, word)))
    return found


def _head(block: Block) -> str:
    """The words of a line that stands by itself."""
    return " ".join(_plain(block, block.span().start, block.span().end))


def _plain(block: Block, start: int, end: int) -> list[str]:
    """The words of a stretch of the block's source, without the backslashes of lines that go on."""
    return [word for word in block.placed.source.text[start:end].split() if word != "\\"]


def _steps(old: Work, new: Work, names: dict[str, str]) -> Iterator[Property]:
    """Steps of the order of work that came, went or say another thing, by their numbers."""
    ours, theirs = ({step.number: step for step in reversed(work.steps)} for work in (old, new))
    for number in sorted({*ours, *theirs}):
        one, two = ours.get(number), theirs.get(number)
        if one is not None and two is not None:
            crew = names.get(one.crew or "", one.crew)
            if (one.title, one.first, one.last, crew) == (two.title, two.first, two.last, two.crew):
                continue
        said = [
            "" if step is None else " ".join(_plain(work, work.span(step.line).start, work.span(step.line).end)[2:])
            for work, step in ((old, one), (new, two))
        ]
        yield Property(f"step {number:g}", *said)


#: the word before a place among values
_PLACE = "place"
#: places nearer to each other than this are one, in metres: what rounding to hundredths of a yard can move, on both
#: sides of a turn between anchors
_SPOT = 0.05


class _Says:
    """What the blocks of one plan mean: figures in base units, names as the later plan has them, places in its
    frame."""

    def __init__(self, report: Report, names: dict[str, str], turn: _Turn | None) -> None:
        self.plan, self.placer = report.plan, report.scene.placer
        self.names, self.turn = names, turn

    def _statements(self, block: Block, word: str) -> tuple[Block, tuple[Any, ...]]:
        """The statements of a property and whose they are: the block's own, else its row's or the shared `trees`'."""
        owner = self.plan.owner(block, word)
        of = block if owner is None else owner[0]
        return of, of.all(word)

    def text(self, block: Block, word: str) -> str:
        """A property as it is written, without its word."""
        of, statements = self._statements(block, word)
        spans = [of.span(statement) for statement in statements]
        return "; ".join(" ".join(_plain(of, span.start, span.end)[1:]) for span in spans)

    def meant(self, block: Block, word: str) -> object:
        """A property so that two that mean the same are equal."""
        of, statements = self._statements(block, word)
        prop = block.properties.get(word)
        takes = prop.takes if prop is not None else ""
        lines = [[self._value(of, value, takes, word, place) for place, value in enumerate(statement.values)]
                 for statement in statements]  # fmt: skip
        if takes in _UNORDERED:
            return sorted((value for line in lines for value in line), key=repr)
        return sorted(lines, key=repr)

    def _value(self, block: Block, written: Written, takes: str, word: str, place: int) -> object:
        value, kind = written.value, written.kind
        if kind == "name":
            return ("name", self.names.get(str(value), str(value)))
        if isinstance(value, Quantity):
            bare = takes == "ground" or word in ("corridors",)
            size = value.size_in(self.plan.units) if bare else value.size
            return ("length" if bare else value.kind, _figures(size))
        if isinstance(value, Range):
            return ("range", _figures(value.least.size), _figures(value.largest.size))
        if isinstance(value, Bearing):
            # what stands second is an angle, and has no north
            degrees = value.degrees if place and takes != "bearings" else self.placer.true(value.degrees)
            return ("degrees", round(degrees % 360, 3))
        if isinstance(value, Direction):
            return ("direction", value.word, self.names.get(str(value.thing.value), str(value.thing.value)))
        if word != "anchor" and (kind in ("point", "earth") or isinstance(value, Station | EarthPoint)):
            at = np.array(self.placer.points(block, [written]), float).reshape(-1, 2)
            return (_PLACE, *(float(round(part, 4)) for part in (self.turn.points(at) if self.turn else at).ravel()))
        return (kind, str(value))


def _alike(one: object, other: object) -> bool:
    """Two meanings of a property: the same but for places, and those at the same spots, in whatever order."""
    if one == other:
        return True
    (said, places), (told, spots) = (_parted(meaning) for meaning in (one, other))
    if said != told or len(places) != len(spots) or not places:
        return False
    apart = np.hypot(*(np.array(places)[:, None, :] - np.array(spots)[None, :, :]).transpose(2, 0, 1))
    return bool((apart.min(axis=0) <= _SPOT).all() and (apart.min(axis=1) <= _SPOT).all())


def _parted(meaning: object) -> tuple[list[str], list[tuple[float, float]]]:
    """What a meaning says without its places, sorted, and the places."""
    said: list[str] = []
    places: list[tuple[float, float]] = []

    def take(part: object) -> None:
        if isinstance(part, list):
            said.append(f"{len(part)}")
            for one in part:
                take(one)
        elif isinstance(part, tuple) and len(part) == 3 and part[0] == _PLACE:
            places.append((part[1], part[2]))
        else:
            said.append(repr(part))

    take(meaning)
    return sorted(said), places


def _figures(size: float) -> float:
    """A size to seven figures, so that one written in another unit is the same."""
    return float(f"{size:.6e}")


# -- trees -------------------------------------------------------------------------------------------------


class _Tree(NamedTuple):
    """One tree of a plan: its block, its number in it, and its row in the scene's trees."""

    block: Block
    number: int
    row: int


def _trees_by_key(scene: Scene, names: dict[str, str]) -> dict[tuple[str, int], _Tree]:
    """The trees of named blocks, by the name of their row or of themselves as the later plan has it, and by their
    number (0 for a single tree)."""
    found: dict[tuple[str, int], _Tree] = {}
    trees = scene.trees
    for row in range(len(trees)):
        block = trees.blocks[int(trees.block[row])]
        of = block.first("of") if isinstance(block, Tree) else None
        name = str(of.values[0].value) if of is not None else block.name
        number = 0 if isinstance(block, Tree) and of is None else int(trees.number[row])
        if name:
            found.setdefault((names.get(name, name), number), _Tree(block, number, row))
    return found


class _Outcome(NamedTuple):
    """What became of one tree; see `Trees`."""

    what: str
    before: str = ""
    after: str = ""
    fell: float = math.nan
    planned: float = math.nan


def _trees(
    before: Scene, after: Scene, pairs: Iterable[_Pair], turn: _Turn, names: dict[str, str]
) -> tuple[tuple[Trees, ...], tuple[tuple[BaseGeometry, BaseGeometry], ...]]:
    """What became of trees otherwise than before, and where those lay that lie otherwise."""
    ours, theirs = _trees_by_key(before, names), _trees_by_key(after, {})
    both = {pair.after.name for pair in pairs if pair.after is not None and isinstance(pair.before, Row | Tree)}
    grouped: dict[tuple[object, ...], list[tuple[_Tree, _Outcome]]] = {}
    was: list[tuple[BaseGeometry, BaseGeometry]] = []
    for key in sorted({*ours, *theirs}, key=lambda key: (key[0] not in after.plan.names, key)):
        if key[0] not in both:
            continue  # the block came or went whole
        one, two = ours.get(key), theirs.get(key)
        outcome = _outcome(before, one, after, two)
        if outcome is None:
            continue
        tree = two or one
        assert tree is not None
        grouped.setdefault((key[0], outcome.what, outcome.before, outcome.after), []).append((tree, outcome))
        if one is not None and before.trees.lies[one.row]:
            stem, top = before.trees.stem[one.row], before.trees.top[one.row]
            was.append((turn.turned(stem), turn.turned(top)))
    told = [_together(after, key, members) for key, members in grouped.items()]
    order = {id(block): place for place, block in enumerate(after.plan.blocks)}
    told.sort(key=lambda one: (order.get(id(one.block), len(order)), one.numbers, one.what))
    return tuple(told), tuple(was)


def _outcome(before: Scene, one: _Tree | None, after: Scene, two: _Tree | None) -> _Outcome | None:
    """What became of a tree; None for what came out as before."""
    if one is None or two is None:
        return _Outcome("more" if one is None else "fewer")
    ours, theirs = before.trees, after.trees
    states = str(ours.state[one.row]), str(theirs.state[two.row])
    if states[0] != states[1] and not (states[0] == "" and states[1] == "down" and theirs.method[two.row]):
        # a tree that was to be cut and is down is as planned; any other state is told
        return _Outcome("state", *states)
    methods = str(ours.method[one.row]), str(theirs.method[two.row])
    if methods[0] != methods[1]:
        return _Outcome("method", *methods)
    planned, fell = float(ours.bearing[one.row]), float(theirs.bearing[two.row])
    if theirs.lies[two.row] and abs(_between(planned, fell)) > SAME_FALL:
        return _Outcome("fall", fell=fell, planned=planned)
    return None


def _between(one: float, two: float) -> float:
    """From one bearing to another, in degrees clockwise from -180 to 180; 0 where either is not known."""
    turn = (two - one + 180) % 360 - 180
    return 0.0 if math.isnan(turn) else turn


def _together(after: Scene, key: tuple[object, ...], members: list[tuple[_Tree, _Outcome]]) -> Trees:
    """Trees of one block with the same outcome, told as one; the block is their row where they are of one."""
    name, what, before, was = str(key[0]), str(key[1]), str(key[2]), str(key[3])
    block = after.plan.names.get(name, members[0][0].block)
    numbers = tuple(sorted(tree.number for tree, _ in members if tree.number))
    if what != "fall":
        return Trees(block, numbers, what, before, was)
    fells, plans = [one.fell for _, one in members], [one.planned for _, one in members]
    turns = sorted((_between(one.planned, one.fell) for _, one in members), key=abs)
    return Trees(block, numbers, what, fell=sector_of(fells), planned=sector_of(plans), turns=(turns[0], turns[-1]))


def sector_of(bearings: Iterable[float]) -> tuple[float, float]:
    """The ends of the narrowest sector that holds bearings, clockwise."""
    ordered = sorted(one % 360 for one in bearings)
    gaps = [(ordered[(at + 1) % len(ordered)] - one) % 360 for at, one in enumerate(ordered)]
    widest = max(range(len(gaps)), key=lambda at: gaps[at]) if len(ordered) > 1 else 0
    return ordered[(widest + 1) % len(ordered)], ordered[widest]
