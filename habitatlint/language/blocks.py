"""One class a block: its noun, its properties, what it must have.

The grammar says how a property is written; these classes say what it is for.
A test holds the two to the same words.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import ClassVar, NamedTuple

from habitatlint.language.properties import Many, One, Property, Whole
from habitatlint.reading.blocks import Parsed, Placed
from habitatlint.reading.grammar import Statement
from habitatlint.reading.values import Written
from habitatlint.source import Span

#: what may be laid, cut or grown, and can be referred to by `of`
CUTS = ("row", "patch", "tree")
#: anything with a place on the ground
PLACED = (
    "boundary", "core", "food", "pocket", "path", "stand", "timber", "release", "row", "patch", "tree",
    "opening", "planting", "hazard", "slope", "drain", "place", "sign", "task",
)  # fmt: skip


class Block:
    """A block of a plan, as written and where it stands."""

    noun: ClassVar[str] = ""
    says: ClassVar[str] = ""
    properties: ClassVar[dict[str, Property[object]]] = {}
    #: sets of properties of which one set must be whole
    must: ClassVar[tuple[tuple[str, ...], ...]] = ()

    __slots__ = ("_by_word", "placed")

    def __init_subclass__(cls) -> None:
        cls.properties = {
            prop.word: prop
            for owner in reversed(cls.__mro__)
            for prop in vars(owner).values()
            if isinstance(prop, Property)
        }
        cls.says = " ".join((cls.__doc__ or "").split())

    def __init__(self, placed: Placed) -> None:
        self.placed = placed
        by_word: dict[str, list[Statement]] = {}
        for statement in placed.parsed.statements:
            by_word.setdefault(statement.word, []).append(statement)
        self._by_word = {word: tuple(statements) for word, statements in by_word.items()}

    def __repr__(self) -> str:
        return f"<{self.label}>"

    @property
    def parsed(self) -> Parsed:
        return self.placed.parsed

    @property
    def broken(self) -> bool:
        """Its head cannot be read: it is placed nowhere."""
        return self.parsed.head is None

    @property
    def head(self) -> tuple[Written, ...]:
        return self.parsed.head.values if self.parsed.head else ()

    @property
    def name(self) -> str:
        return next((value.value for value in self.head if value.kind == "name"), "")

    @property
    def title(self) -> str:
        return next((value.value for value in self.head if value.kind == "text"), "")

    @property
    def label(self) -> str:
        """`path south-lane`, as a person would say it."""
        return f"{self.noun} {self.name}" if self.name else self.noun

    def all(self, word: str) -> tuple[Statement, ...]:
        """Every statement of a property."""
        return self._by_word.get(word, ())

    def first(self, word: str) -> Statement | None:
        statements = self._by_word.get(word)
        return statements[0] if statements else None

    def has(self, word: str) -> bool:
        """Given, though perhaps on a broken line."""
        return word in self._by_word or word in self.parsed.broken

    def breaks(self, words: Iterable[str]) -> None:
        """Lines of these properties name what is not there: they count as broken, for a slip has told them."""
        parsed = self.parsed._replace(broken=self.parsed.broken | frozenset(words))
        self.placed = self.placed._replace(parsed=parsed)

    def span(self, part: Statement | Written | None = None) -> Span:
        """Where a statement or value stands; the head by default."""
        if part is None:
            head = self.parsed.head
            start, end = (head.start, head.end) if head else (0, len(self.placed.parsed.noun))
            return self.placed.span(start, end)
        return self.placed.span(part.start, part.end)

    @property
    def name_span(self) -> Span:
        name = next((value for value in self.head if value.kind == "name"), None)
        return self.span(name)


class Common(Block):
    __slots__ = ()

    note = Many("text", "anything worth remembering", repeats=True)
    why = One("text", "why it is here; the owner reads it")
    step = One("number", "the step of the work in which it is done")
    by = One("name", "the crew that does it", of=("crew",))
    done = One("date", "the day it was done, or `yes`")
    offsite = One("truth", "a neighbour's: known, but not ours")


class Cutting(Common):
    """What rows, patches and trees share."""

    __slots__ = ()

    method = One("word", "how it is cut: hinged, felled, or killed standing")
    fall = One("fall", "where it falls: a bearing, or along, against, toward or away from something")
    species = Many("names", "the species cut", of=())
    dbh = One("sizes", "diameter at breast height, 4.5 ft above ground")
    tree_height = One("sizes", "height of the trees")
    crown_ratio = One("share", "the part of the height that bears the crown")
    crown_width = One("length", "how wide the crowns are")
    cut_height = One("length", "how high above ground the cut is made")
    purpose = One("word", "what the cut is for")
    in_ = One("name", "the pocket it belongs to", of=("pocket",))
    stump_treatment = One("word", "whether the stumps are treated so that they do not sprout")
    mix = One("name", "the herbicide mix used", of=("mix",))
    state = One("word", "how the trees stand or lie now")


class Plan(Block):
    """The file's head: what the property is called and how the plan is to be read."""

    noun = "plan"
    __slots__ = ()
    stage = One("word", "a design, or the ground as it was built")
    date = One("date", "the day of the plan")
    units = One("word", "the unit of bare lengths: yd, ft or m")
    north = One("word", "which north bearings are from")
    anchor = One("special", "the origin on the earth")
    declination = One("special", "magnetic from true north, or `computed`")
    hunted = Many("special", "when the property is hunted: a season by its dates, or each year", repeats=True)
    leaf_out = One("day", "when the leaves come")
    log_rule = One("word", "how board feet are reckoned")
    picture = Whole("special", "an aerial or a scanned map beneath the map")
    drawn_by = One("text", "who drew it")


class Boundary(Common):
    """The property line."""

    noun = "boundary"
    __slots__ = ()
    outline = Whole("outline", "the line; more outlines are more parcels, one inside another a hole",
                    required=True, repeats=True)  # fmt: skip
    accuracy = One("ground", "how well the line is known")


class Core(Common):
    """Ground the owner wants left alone; left out, it is worked out."""

    noun = "core"
    __slots__ = ()
    outline = Whole("outline", "its outline", required=True)


class Food(Common):
    """A food source."""

    noun = "food"
    must = (("outline",), ("at", "radius"))
    __slots__ = ()
    outline = Whole("outline", "its outline")
    at = One("place", "its middle, with `radius`")
    radius = One("ground", "how far it reaches around `at`")
    kind = One("word", "plot, mast, crop or browse")
    crop = One("text", "what grows there")


class Pocket(Common):
    """Bedding cover."""

    noun = "pocket"
    __slots__ = ()
    outline = Whole("outline", "its outline", required=True)
    for_ = One("word", "whose bed it is meant to be")
    cover = One("word", "whether the cover is cut, natural or planted")
    bed = Many("places", "where deer bed", repeats=True)
    corridors = Whole("special", "ways kept open through it, square to the side nearest a food")


class Path(Common):
    """A way through the ground, of people or of deer."""

    noun = "path"
    __slots__ = ()
    line = Whole("line", "its line, first point to last", required=True)
    use = One("word", "who goes there: hunters in or out, deer, vehicles, or a way through a pocket", required=True)
    width = One("ground", "how wide it is")
    from_ = One("name", "the pocket a line of travel comes from", of=("pocket",))
    to = One("name", "the food a line of travel goes to", of=("food",))


class Stand(Common):
    """Where a hunter sits."""

    noun = "stand"
    __slots__ = ()
    at = One("place", "its place", required=True)
    reach = Many("names", "the paths walked to it", of=("path",))
    leave = Many("names", "the paths walked from it; left out, those walked in", of=("path",))
    winds = Many("bearings", "the winds it is hunted on")
    sit = One("word", "morning, evening, or all day")
    range = One("ground", "how far is shot")
    height = One("length", "how high the seat is")
    shoot = Many("bearings", "which ways are shot")


class Timber(Common):
    """Standing trees."""

    noun = "timber"
    __slots__ = ()
    outline = Whole("outline", "where they stand", required=True)
    species = Many("names", "the main species", of=())
    height = One("length", "how tall they are")
    basal_area = One("basal-area", "basal area of all of them")
    class_ = Whole("special", "basal area in a range of diameters", repeats=True)
    dbh = One("sizes", "diameter at breast height")
    market = One("special", "whether it can be sold, and from when")


class Release(Common):
    """Where the overstory comes down to let light in."""

    noun = "release"
    __slots__ = ()
    outline = Whole("outline", "where", required=True)
    basal_area = Whole("special", "basal area from what to what is left")
    method = One("word", "who or what takes the trees down")
    wood = One("word", "what becomes of the wood")
    mix = One("name", "the herbicide mix used", of=("mix",))


class Row(Cutting):
    """A line of trees that are cut."""

    noun = "row"
    __slots__ = ()
    stumps = Whole("line", "the line the stumps stand on", required=True)
    method = One("word", "how it is cut: hinged, felled, or killed standing", required=True)
    spacing = One("ground", "from stump to stump")
    count = One("count", "how many, spread from end to end")


class Patch(Cutting):
    """An area in which trees are cut by a rule of thumb."""

    noun = "patch"
    must = (("outline",), ("in",))
    __slots__ = ()
    outline = Whole("outline", "where; or `in` a pocket")
    method = One("word", "how it is cut: hinged, felled, or killed standing", required=True)
    density = One("density", "how many are cut", required=True)
    keep = Many("names", "species that are left", of=())


class Tree(Cutting):
    """One tree."""

    noun = "tree"
    must = (("at",), ("of",))
    __slots__ = ()
    at = One("place", "where it stands")
    of = Whole("special", "which tree of a row: `of thicket-1 3`")
    lean = Whole("special", "which way it leans, and how far")
    condition = One("word", "sound, hollow or split")


class Opening(Common):
    """A way sawn through fallen tops."""

    noun = "opening"
    __slots__ = ()
    at = One("place", "where", required=True)
    width = One("ground", "how wide", required=True)
    toward = One("special", "which way it runs: a bearing, or something's name", of=PLACED)


class Planting(Common):
    """Cover that is grown, not cut."""

    noun = "planting"
    must = (("line",), ("outline",))
    __slots__ = ()
    line = Whole("line", "its line")
    outline = Whole("outline", "its outline")
    kind = One("word", "a screen, or cover")
    species = Many("names", "what is planted", of=())
    height = Whole("special", "how high it will stand, and from which year")


class Hazard(Common):
    """What can be hit, or must be kept off."""

    noun = "hazard"
    must = (("line",), ("outline",), ("at",))
    __slots__ = ()
    line = Whole("line", "its line")
    outline = Whole("outline", "its outline")
    at = One("place", "its place")
    kind = One("word", "what it is")
    side = One("word", "which side of its line it lies on")
    height = One("length", "how high it is")
    barrier = One("truth", "deer cannot pass")


class Slope(Common):
    """Ground that falls one way."""

    noun = "slope"
    __slots__ = ()
    outline = Whole("outline", "where", required=True)
    falls = Whole("special", "which way, and how steeply", required=True)


class Drain(Common):
    """A low line that air and water run down."""

    noun = "drain"
    __slots__ = ()
    line = Whole("line", "its line, downhill", required=True)


class Place(Common):
    """A point people need."""

    noun = "place"
    __slots__ = ()
    at = One("place", "where", required=True)
    kind = One("word", "gate, parking, landing or meeting place")


class Sign(Common):
    """What deer left."""

    noun = "sign"
    must = (("at",), ("line",))
    __slots__ = ()
    at = One("place", "where")
    line = Whole("line", "along which line")
    kind = One("word", "bed, rub, scrape, trail or crossing")
    date = One("date", "when it was seen")


class Setback(Common):
    """A distance some law or contract asks."""

    noun = "setback"
    __slots__ = ()
    from_ = One("special", "from what: a name, or the boundary", required=True, of=PLACED)
    distance = One("ground", "how far", required=True)
    source = One("text", "who asks it", required=True)
    forbids = Many("words", "which cuts it forbids")


class Crew(Common):
    """Who does the work."""

    noun = "crew"
    __slots__ = ()
    people = One("count", "how many")
    training = Many("names", "what they are trained in", of=())
    gear = Many("names", "protective gear they bring", of=())
    alone = One("truth", "whether one works alone")


class Step(NamedTuple):
    """A step of the work: None where dates or crew are left out."""

    number: float
    title: str
    first: date | None
    last: date | None
    crew: str | None
    line: Statement


def _step(line: Statement) -> Step:
    values = {value.kind: value.value for value in line.values}
    period = values.get("period")
    first, last = (period.first, period.last) if period else (values.get("date"), values.get("date"))
    return Step(values["number"].number, values["text"], first, last, values.get("name"), line)


class Work(Block):
    """The order of work."""

    noun = "work"
    __slots__ = ()
    step = Whole("special", "a step: its number, title, dates and crew", repeats=True)

    @property
    def steps(self) -> list[Step]:
        """The steps as they are written, in the order of their lines."""
        return [_step(line) for line in self.step]


class Task(Common):
    """Work that is not a cut."""

    noun = "task"
    __slots__ = ()
    at = One("place", "where")
    line = Whole("line", "along which line")
    outline = Whole("outline", "in which outline")
    text = One("text", "what is to be done")


class Mix(Common):
    """A herbicide mix, as its label says."""

    noun = "mix"
    __slots__ = ()
    label_ = One("text", "the product's registration, as on its label", required=True)
    part = Whole("special", "a part of the mix and its share", repeats=True)
    per_hack = One("volume", "how much goes into one cut, as the label says")
    controls = Many("names", "species the label names", of=())
    aquatic = One("truth", "whether the label permits it by water")
    gear = Many("names", "protective gear, as the label says", of=())
    reentry = One("duration", "how long others stay out, as the label says")
    most = One("dose", "the most in a year, as the label says")


class Treatment(Common):
    """Herbicide on cuts of an earlier year."""

    noun = "treatment"
    __slots__ = ()
    of = Many("names", "the rows, patches or trees treated", required=True, of=CUTS)
    mix = One("name", "the mix used", required=True, of=("mix",))


class Winds(Common):
    """A wind record."""

    noun = "winds"
    __slots__ = ()
    from_ = Whole("special", "a wind, its share of the hours and its speed", repeats=True)
    calm = One("share", "the share of hours without wind")
    hours = One("word", "which hours it is for")
    period = One("special", "which part of the year it is for")
    source = One("text", "who recorded it")


class Rates(Common):
    """What work costs and wood pays, as someone quoted it in some year."""

    noun = "rates"
    __slots__ = ()
    year = One("number", "the year of the figures", required=True)
    source = One("text", "whose figures they are", required=True)
    currency = One("text", "the money they are in", required=True)
    cost = Whole("special", "what work costs: by the hour, by the tree, by the ground, or a part of a mix",
                 repeats=True)  # fmt: skip
    pays = Whole("special", "what wood pays", repeats=True)


class Trees(Cutting):
    """What rows, patches and trees share unless they say otherwise."""

    noun = "trees"
    __slots__ = ()


class Storm(Common):
    """A wind that may have thrown trees."""

    noun = "storm"
    __slots__ = ()


class Inspection(Common):
    """What was looked at on a day."""

    noun = "inspection"
    __slots__ = ()
    of = Many("names", "what was looked at", of=PLACED)
    after = One("word", "after leaf-out, a storm, or the work")
    found = One("text", "what was found")
    alive = One("special", "how many of the hinges live: `7 of 10`")


class Single(Block):
    """A line that stands by itself at the margin."""

    noun = ""
    __slots__ = ()


class UsePack(Single):
    """Takes in a pack of rules."""

    noun = "use"
    __slots__ = ()


class Include(Single):
    """Takes in another file's blocks."""

    noun = "include"
    __slots__ = ()


class SetLimit(Single):
    """Changes a rule's limit, within its permitted range."""

    noun = "set"
    __slots__ = ()


class SetLevel(Single):
    """Changes how grave a rule's findings are."""

    noun = "level"
    __slots__ = ()


class Waive(Single):
    """Accepts findings in the open, with a reason and an end date."""

    noun = "waive"
    __slots__ = ()


BLOCKS: tuple[type[Block], ...] = (
    Plan, Boundary, Core, Food, Pocket, Path, Stand, Timber, Release, Row, Patch, Tree, Opening, Planting,
    Hazard, Slope, Drain, Place, Sign, Setback, Crew, Work, Task, Mix, Treatment, Winds, Rates, Trees, Storm,
    Inspection,
)  # fmt: skip
SINGLES: tuple[type[Single], ...] = (UsePack, Include, SetLimit, SetLevel, Waive)
BY_NOUN: dict[str, type[Block]] = {block.noun: block for block in (*BLOCKS, *SINGLES)}

#: noun -> the plural by which rules call such blocks; the shared `trees` is no thing to judge
PLURALS: dict[str, str] = {
    block.noun: {"core": "cores", "food": "foods", "boundary": "boundaries", "crew": "crews", "mix": "mixes",
                 "patch": "patches", "winds": "winds", "rates": "rates",
                 "work": "works"}.get(block.noun, block.noun + "s")
    for block in BLOCKS
    if block.noun not in ("trees", "tree")
}  # fmt: skip

#: words that no block may be called
RESERVED = frozenset(["from", "then", "to", "beside", "around", "of", "in", "on"])
