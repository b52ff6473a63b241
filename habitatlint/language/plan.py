"""A plan as read: its blocks, its names, and the slips of writing in it."""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

from habitatlint.findings import Related, Slip
from habitatlint.language.blocks import (
    BLOCKS,
    BY_NOUN,
    PLACED,
    RESERVED,
    SINGLES,
    Block,
    Boundary,
    Cutting,
    Plan,
    Trees,
)  # fmt: skip
from habitatlint.language.properties import Property
from habitatlint.reading.blocks import Layout, Memory, Placed, read
from habitatlint.reading.grammar import (
    MOST_HINTS,
    Grammar,
    Guesses,
    Shape,
    Statement,
    Trouble,
    did_you_mean,
    listed,
    near,
)
from habitatlint.reading.values import (
    FIRST_YEAR,
    LAST_YEAR,
    Around,
    Beside,
    Direction,
    Station,
    Traverse,
    Written,
    written,
)
from habitatlint.source import IncludeTrouble as IncludeTrouble
from habitatlint.source import Source, Span
from habitatlint.units import Quantity, Range

Kind = TypeVar("Kind", bound=Block)


class PlanShape(Shape):
    """Builders for the plan grammar's pieces of lines and directions."""

    def station(self, children: list[Any]) -> Written:
        way, distance = written(children[0]), written(children[1])
        return Written(Station(way, distance), "station", way.start, distance.end)

    def traverse(self, children: list[Any]) -> Written:
        parts = [child if type(child) is Written else written(child) for child in children[1:]]
        legs = tuple((parts[i + 1], parts[i + 2]) for i in range(1, len(parts), 3))
        return Written(Traverse(parts[0], legs), "traverse", children[0].start_pos, parts[-1].end)

    def beside(self, children: list[Any]) -> Written:
        way, offset, start, end = (written(children[index]) for index in (1, 3, 5, 7))
        piece = Beside(way, children[2].value, offset, start, end)
        return Written(piece, "beside", children[0].start_pos, end.end)

    def beside_open(self, children: list[Any]) -> Written:
        way, offset = written(children[1]), written(children[3])
        piece = Beside(way, children[2].value, offset, None, None)
        return Written(piece, "beside", children[0].start_pos, offset.end)

    def around(self, children: list[Any]) -> Written:
        thing, distance = written(children[1]), written(children[2])
        return Written(Around(thing, distance), "around", children[0].start_pos, distance.end)

    def direction(self, children: list[Any]) -> Written:
        thing = written(children[-1])
        return Written(Direction(children[0].value, thing), "direction", children[0].start_pos, thing.end)


def plan_grammar(texts: dict[str, str], cache: str | None = None) -> Grammar:
    """The plan language's grammar from the texts of `plan.lark` and `values.lark`."""
    return Grammar("plan", texts, PlanShape(), cache)


def _runs_on(noun: str, word: str) -> bool:
    prop = BY_NOUN[noun].properties.get(word) if noun in BY_NOUN else None
    return prop is not None and prop.runs_on


LAYOUT = Layout(
    nouns=frozenset(BY_NOUN),
    singles=frozenset(single.noun for single in SINGLES),
    words={block.noun: frozenset(block.properties) for block in BLOCKS},
    runs_on=_runs_on,
    heads={
        **{block.noun: f"{block.noun} x" for block in (*BLOCKS, *SINGLES)},
        "plan": 'plan "x"',
        "boundary": "boundary",
        "work": "work",
        "trees": "trees",
        "storm": "storm 2000-01-01",
        "inspection": "inspection 2000-01-01",
    },
    wanted="a word that begins a block (`pocket`, `path`, `row` and others)",
)


#: finds the source that an include names, seen from the including source
Find = Callable[[str, Source], Source]


def find_nothing(path: str, source: Source) -> Source:
    raise IncludeTrouble("no other file can be read here")


#: states of a tree that lies already
LYING = ("down", "blown")
#: after so many names that stand for nothing no more are told one by one: such a text is no plan
MOST_UNKNOWN = 1_000
#: so many words of a broken head may be the name that it was to give
MOST_GHOSTS = 20
#: deepest chain of includes
DEEPEST_INCLUDE = 8


@dataclass(frozen=True)
class PlanText:
    """A plan read and its names resolved; nothing in it has a place on the ground yet."""

    source: Source
    blocks: tuple[Block, ...]
    names: dict[str, Block]
    #: names of blocks whose heads are broken: they exist, and are placed nowhere
    ghosts: frozenset[str]
    slips: tuple[Slip, ...]

    def of(self, kind: type[Kind]) -> list[Kind]:
        """Every whole block of a kind, in order."""
        return self._by_kind.get(kind, [])  # type: ignore[return-value]

    @cached_property
    def _by_kind(self) -> dict[type[Block], list[Block]]:
        kinds: dict[type[Block], list[Block]] = {}
        for block in self.blocks:
            if not block.broken:
                kinds.setdefault(type(block), []).append(block)
        return kinds

    @cached_property
    def _by_place(self) -> dict[int, tuple[list[int], list[Block]]]:
        """For each source, by its identity, where its blocks begin, and the blocks in that order."""
        found: dict[int, list[Block]] = {}
        for block in self.blocks:
            found.setdefault(id(block.placed.source), []).append(block)
        for held in found.values():
            held.sort(key=lambda block: block.span().start)
        return {key: ([block.span().start for block in held], held) for key, held in found.items()}

    def block_at(self, span: Span) -> Block | None:
        """The block that a span begins in; None for one that begins in none."""
        starts, held = self._by_place.get(id(span.source), ([], []))
        block = held[at] if (at := bisect_right(starts, span.start) - 1) >= 0 else None
        if block is None or span.start >= max(starts[at] + 1, block.placed.offset + block.placed.length):
            return None
        return block

    @property
    def head(self) -> Plan | None:
        heads = self.of(Plan)
        return heads[0] if heads else None

    @property
    def shared(self) -> list[Trees]:
        return self.of(Trees)

    @cached_property
    def _shared(self) -> dict[str, tuple[Trees, Statement]]:
        """The first of the shared `trees` to say each property, and how."""
        found: dict[str, tuple[Trees, Statement]] = {}
        for shared in self.shared:
            for statement in shared.parsed.statements:
                found.setdefault(statement.word, (shared, statement))
        return found

    @cached_property
    def _given_by_all(self) -> frozenset[str]:
        """The properties that the shared `trees` give, though perhaps on broken lines."""
        return frozenset(self._shared).union(*(shared.parsed.broken for shared in self.shared))

    def owner(self, block: Block, word: str) -> tuple[Block, Statement] | None:
        """Who says a property of a block: itself, the row it is a tree of, or the shared `trees`."""
        statement = block.first(word)
        if statement is not None:
            return block, statement
        of = block.first("of") if block.noun == "tree" else None
        if of is not None and not block.has(word):
            row = self.names.get(str(of.values[0].value))
            return self.owner(row, word) if row is not None and row.noun == "row" else None
        return self._shared.get(word) if isinstance(block, Cutting) and not block.has(word) else None

    def value(self, block: Block, word: str) -> Written | None:
        """The first value of a property, the shared `trees` counted."""
        owner = self.owner(block, word)
        return owner[1].values[0] if owner and owner[1].values else None

    def values(self, block: Block, word: str) -> tuple[Written, ...]:
        owner = self.owner(block, word)
        if owner is None:
            return ()
        return tuple(value for statement in owner[0].all(word) for value in statement.values)

    def word(self, block: Block, word: str, otherwise: str = "") -> str:
        """A property's word as text."""
        value = self.value(block, word)
        return str(value.value) if value else otherwise

    def gives(self, block: Block, word: str) -> bool:
        """A property is given, though perhaps on a broken line: by the block, its row or the shared `trees`."""
        if block.has(word):
            return True
        of = block.first("of") if block.noun == "tree" else None
        if of is not None:
            row = self.names.get(str(of.values[0].value))
            return row is not None and row.noun == "row" and self.gives(row, word)
        return isinstance(block, Cutting) and word in self._given_by_all

    def finished(self, block: Block) -> bool:
        """The work on it is done: it has `done`, though perhaps on a broken line or by the shared `trees`."""
        return self.gives(block, "done")

    def counted(self, block: Block) -> bool:
        """The plan's stage counts the work on it: all of it in a design, what is done in an as-built.

        A tree that lies already, cut or blown, counts in both.
        """
        lies = isinstance(block, Cutting) and self.word(block, "state") in LYING
        return self.stage == "design" or lies or self.finished(block)

    @property
    def stage(self) -> str:
        return self.word(self.head, "stage", "design") if self.head else "design"

    @property
    def units(self) -> str:
        return self.word(self.head, "units", "yd") if self.head else "yd"


def read_plan(
    source: Source,
    grammar: Grammar,
    find: Find = find_nothing,
    memory: Memory | None = None,
    *,
    fragment: bool = False,
) -> PlanText:
    """Reads a plan and all it includes. Whatever is wrong in the text becomes a slip, never an error."""
    reader = _Reader(grammar, find, memory)
    reader.take(source, ())
    blocks = tuple(reader.blocks)
    names, ghosts = reader.name_blocks()
    plan = PlanText(source, blocks, names, ghosts, ())
    slips = [*reader.slips, *_whole(plan, fragment)]
    hints = Hints(plan)
    for block in blocks:
        slips += slips_of_properties(plan, block)
        slips += unknown_names(plan, block, hints)
    slips += hints.untold
    return PlanText(source, blocks, names, ghosts, tuple(slips))


class _Reader:
    def __init__(self, grammar: Grammar, find: Find, memory: Memory | None) -> None:
        self.grammar, self.find, self.memory = grammar, find, memory
        self.blocks: list[Block] = []
        self.slips: list[Slip] = []
        self.taken: dict[str, Source] = {}

    def take(self, source: Source, above: tuple[str, ...], include: Block | None = None) -> None:
        self.taken[source.name] = source
        for placed in map(fit, read(source, self.grammar, LAYOUT, self.memory)):
            block = BY_NOUN.get(placed.parsed.noun, Block)(placed)
            for trouble in placed.parsed.troubles:
                self.slips.append(
                    Slip(trouble.kind, placed.span(trouble.start, trouble.end), thing=block.label, found=trouble.found,
                         expected="" if trouble.suggestion else trouble.expected, why=trouble.told,
                         hint=trouble.way_out, name=block.name)
                )  # fmt: skip
            if include is not None and isinstance(block, Plan):
                self._second_head(block, include)
                continue
            self.blocks.append(block)
            if block.noun == "include" and not block.broken:
                self._include(block, source, above)

    def _second_head(self, block: Plan, include: Block) -> None:
        """An included file has no head of its own, or one with the same units or none: its lengths are the plan's."""
        main = next((one for one in self.blocks if isinstance(one, Plan)), None)
        units = block.first("units")
        ours = main.first("units") if main else None
        wanted = str(ours.values[0].value) if ours else "yd"
        own = str(units.values[0].value) if units else wanted
        if own != wanted:
            path = include.head[0]
            why = f"its units are {own} and the plan's {wanted}, so its lengths without a unit are read in {wanted}"
            related = Related(block.span(units), "its own head")
            self.slips.append(Slip("include-trouble", include.span(path), thing="include", found=str(path.value),
                                   hint=" as it is", why=why, related=(related,)))  # fmt: skip

    def _include(self, block: Block, source: Source, above: tuple[str, ...]) -> None:
        value = block.head[0]
        path = str(value.value)

        def trouble(why: str) -> None:
            self.slips.append(Slip("include-trouble", block.span(value), thing="include", found=path, why=why))

        if len(above) >= DEEPEST_INCLUDE:
            return trouble("includes lie too deep in one another")
        try:
            found = self.find(path, source)
        except IncludeTrouble as error:
            return trouble(str(error))
        if found.name in (*above, source.name):
            return trouble("the files include each other in a circle")
        if found.name not in self.taken:
            self.take(found, (*above, source.name), block)
        return None

    def name_blocks(self) -> tuple[dict[str, Block], frozenset[str]]:
        names: dict[str, Block] = {}
        ghosts: set[str] = set()
        for block in self.blocks:
            if block.broken:
                ghosts |= _words_of_broken_head(block)
                continue
            name = block.name
            if not name or block.noun in ("use", "level", "waive"):
                continue
            if name in RESERVED:
                why = f"expected a name that is no word of the language, not `{name}`"
                self.slips.append(Slip("syntax", block.name_span, thing=block.label, found=f"`{name}`", why=why))
            elif name in names:
                first = names[name]
                related = Related(first.name_span, f"the first `{name}`, {_one(first.noun)}")
                self.slips.append(
                    Slip("name-used-twice", block.name_span, thing=block.label, found=name,
                         why=f"it names {_one(first.noun)} already", related=(related,), name=name)
                )  # fmt: skip
            else:
                names[name] = block
        return names, frozenset(ghosts)


def fit(placed: Placed) -> Placed:
    """A block without the lines whose values cannot be; those become troubles of bad values."""
    statements = placed.parsed.statements
    unfit = {index: why for index, statement in enumerate(statements) if (why := _unfit(statement)) is not None}
    if not unfit:
        return placed
    troubles = [Trouble("bad-value", value.start, value.end, "", why, "") for value, why in unfit.values()]
    parsed = placed.parsed
    return placed._replace(
        parsed=parsed._replace(
            statements=tuple(statement for index, statement in enumerate(statements) if index not in unfit),
            troubles=tuple(sorted((*parsed.troubles, *troubles), key=lambda trouble: trouble.start)),
            broken=parsed.broken | {statements[index].word for index in unfit},
        )
    )


#: lines whose share is one of a whole
_OF_A_WHOLE = frozenset({"crown_ratio", "wind_share", "calm", "part", "alive"})
#: lines whose size cannot be nothing
_MORE_THAN_NOTHING = frozenset(
    {"width", "radius", "spacing", "dbh", "tree_height", "crown_width", "crown_ratio", "distance", "people", "height"}
)
#: lines whose range is one of lengths
_OF_LENGTHS = frozenset({"dbh", "tree_height", "class_"})


def _unfit(statement: Statement) -> tuple[Written, str] | None:
    """The value of a line that cannot be, and why."""
    if statement.rule == "residual":
        return _upside_down(statement)
    if statement.rule == "year":
        return _no_year(statement.values[0])
    for value in statement.values:
        size = value.value
        if isinstance(size, Quantity):
            if size.number < 0:
                return value, f"`{size}` is less than nothing"
            if size.number == 0 and statement.rule in _MORE_THAN_NOTHING:
                return value, f"`{size}` is nothing: a {statement.word} is more"
            if size.size > 1 and statement.rule in _OF_A_WHOLE and value.kind in ("share", "number"):
                return value, f"`{size}` is more than the whole: at most `100%`"
        elif isinstance(size, Range):
            if statement.rule in _OF_LENGTHS and size.least.kind != "length":
                return value, f"`{size}` needs a unit of length, as in `6in..10in`"
            if size.least.number < 0:
                return value, f"`{size}` is less than nothing"
            if size.largest.number == 0 and statement.rule in _MORE_THAN_NOTHING:
                return value, f"`{size}` is nothing: a {statement.word} is more"
    return None


def _no_year(value: Written) -> tuple[Written, str] | None:
    number = value.value.number
    if number == int(number) and FIRST_YEAR <= number <= LAST_YEAR:
        return None
    return value, f"`{value.value}` is no year: write all of it, as in `2026`"


def _upside_down(release: Statement) -> tuple[Written, str] | None:
    """A release that leaves more than there was; a bare first figure is in the unit of the second."""
    quantities = [value for value in release.values if isinstance(value.value, Quantity)]
    before, left = quantities
    for value in quantities:
        if value.value.number < 0:
            return value, f"`{value.value}` is less than nothing"
    had = before.value.size_in(left.value.unit)
    if had < left.value.size:
        return left, f"`{left.value}` is more than the `{before.value}` there was: a release leaves less"
    return None


def _words_of_broken_head(block: Block) -> set[str]:
    """What a broken head may have meant to name: any word on it."""
    text = block.placed.source.text[block.placed.offset : block.placed.offset + block.placed.length]
    line = text.lstrip().split("\n", 1)[0].split("#", 1)[0]
    plain = unicodedata.normalize("NFKD", line).encode("ascii", "ignore").decode().lower()
    named = plain.partition('"')[0].split()[1 : 1 + MOST_GHOSTS]
    words = [re.sub(r"[^a-z0-9]+", "-", word).strip("-") for word in named]
    return {*words, "-".join(words)} - {""}


def _whole(plan: PlanText, fragment: bool) -> Iterator[Slip]:
    """Slips of the plan as a whole: its head."""
    heads = [block for block in plan.blocks if isinstance(block, Plan)]
    if not heads and not fragment:
        start = Span(plan.source, 0, min(len(plan.source.text), len(plan.source.line(1))))
        empty = not plan.source.text.strip()
        yield Slip(
            "missing-property", start, thing="this file, which is empty," if empty else "this file",
            expected='a head that begins it: `plan "TITLE"`',
            why="a plan begins with its head",
        )  # fmt: skip
    for head in heads[1:]:
        related = Related(heads[0].span(), "the first head")
        yield Slip("name-used-twice", head.span(), thing="plan", found="plan", why="a plan has one head",
                   related=(related,))  # fmt: skip
    boundaries = plan.of(Boundary)
    for boundary in boundaries[1:]:
        related = Related(boundaries[0].span(), "the first boundary")
        why = "a plan has one boundary, and each further parcel is one more `outline` in it"
        yield Slip("name-used-twice", boundary.span(), thing="boundary", found="boundary", why=why,
                   related=(related,))  # fmt: skip
    if heads and plan.blocks and plan.blocks[0] is not heads[0] and not plan.blocks[0].broken:
        why = "expected the head `plan` before every other block, not after one"
        yield Slip("syntax", heads[0].span(), thing="plan", found="after one", why=why)


def slips_of_properties(plan: PlanText, block: Block) -> Iterator[Slip]:
    """Properties that are missing, or stand twice."""
    if block.broken:
        return
    for word, prop in block.properties.items():
        statements = block.all(word)
        if len(statements) > 1 and not prop.repeats:
            first = Related(block.span(statements[0]), "the first")
            for again in statements[1:]:
                yield Slip(
                    "name-used-twice", block.span(again), thing=block.label, found=word,
                    why=f"{_one(block.noun)} has one", related=(first,), name=block.name,
                )  # fmt: skip
        if prop.required and not plan.gives(block, word):
            yield _missing(block, f"`{word}`, {prop.says}")
    if block.must and not any(all(plan.gives(block, word) for word in words) for words in block.must):
        ways = listed([" and ".join(f"`{word}`" for word in words) for words in block.must], "or")
        yield _missing(block, ways)
    if block.noun == "tree" and not (plan.gives(block, "method") or plan.gives(block, "state")):
        yield _missing(block, "`method`, how it is cut, or `state`, how it stands or lies")
    of, at = (block.first("of"), block.first("at")) if block.noun == "tree" else (None, None)
    if of is not None and at is not None:
        why = "`of` puts this tree where its row lays it, so it has no `at` of its own"
        yield Slip("bad-value", block.span(at), thing=block.label, why=why, name=block.name)
    if block.noun == "row":
        given = [word for word in ("spacing", "count") if block.has(word)]
        if len(given) != 1:
            found = "both" if given else "neither"
            yield Slip("spacing-or-count", block.span(block.first("count") if given else None), thing=block.label,
                       found=found, expected="`spacing` or `count`, one of the two", name=block.name)  # fmt: skip


def _missing(block: Block, expected: str) -> Slip:
    return Slip("missing-property", block.span(), thing=block.label, expected=expected, name=block.name)


def references(block: Block) -> Iterator[tuple[Written, frozenset[str], str]]:
    """Every name a block uses, the nouns it may stand for, and the word before it that takes it."""
    for word, prop in block.properties.items():
        for statement in block.all(word):
            for value in statement.values:
                yield from _names_in(value, prop, word)
            if word == "corridors":
                yield from ((value, frozenset({"food"}), "off") for value in statement.values if value.kind == "name")
            if block.noun == "work":
                yield from ((value, frozenset({"crew"}), "by") for value in statement.values if value.kind == "name")
            if block.noun == "tree" and word == "of":
                yield statement.values[0], frozenset({"row"}), word


ANYTHING = frozenset(PLACED)


def _names_in(value: Written, prop: Property[Any], word: str) -> Iterator[tuple[Written, frozenset[str], str]]:
    if value.kind == "name" and prop.of:
        yield value, prop.of, word
    elif value.kind == "station":
        yield value.value.way, frozenset({"path", "drain", "row", "planting"}), word
    elif value.kind == "traverse" and value.value.start.kind == "station":
        yield value.value.start.value.way, frozenset({"path", "drain", "row", "planting"}), word
    elif value.kind == "beside":
        yield value.value.way, frozenset({"path", "drain"}), "beside"
    elif value.kind == "around":
        yield value.value.thing, ANYTHING, "around"
    elif value.kind == "direction":
        nouns = frozenset({"path", "drain"}) if value.value.word in ("along", "against") else ANYTHING
        yield value.value.thing, nouns, "away from" if value.value.word == "away" else value.value.word


class Hints:
    """What the unknown names of a plan were probably meant to be, and how many there are."""

    def __init__(self, plan: PlanText) -> None:
        self.plan = plan
        self.guesses = Guesses()
        self.looked_for: dict[str, bool] = {}
        self.unknown = 0
        #: the first unknown name that is not told, and the block it is in
        self.first_untold: tuple[Block, Written] | None = None

    def of_broken_head(self, name: str) -> bool:
        """It looks like the name of a block whose head is broken."""
        if name not in self.looked_for:
            ask = len(self.looked_for) < MOST_HINTS
            self.looked_for[name] = name in self.plan.ghosts or (ask and bool(near(name, self.plan.ghosts)))
        return self.looked_for[name]

    def among(self, nouns: frozenset[str], name: str, block: Block) -> str:
        if not self.guesses.another():
            return ""
        names = self.plan.names.items()
        return near(name, [other for other, there in names if there.noun in nouns and other != block.name])

    def told(self, block: Block, value: Written) -> bool:
        """Whether an unknown name is told by itself: the first thousand are."""
        self.unknown += 1
        if self.unknown > MOST_UNKNOWN and self.first_untold is None:
            self.first_untold = block, value
        return self.unknown <= MOST_UNKNOWN

    @property
    def untold(self) -> list[Slip]:
        """One slip for all the names that are not told, on the first of them."""
        if self.first_untold is None:
            return []
        block, value = self.first_untold
        more = self.unknown - MOST_UNKNOWN
        names = f"{more:,} more names stand" if more > 1 else "one more name stands"
        why = f"so many names above stand for nothing that no more are told: {names} for nothing from here on"
        found = str(value.value)
        return [Slip("bad-value", block.span(value), thing=block.label, found=found, why=why, name=block.name)]


def unknown_names(plan: PlanText, block: Block, hints: Hints) -> list[Slip]:
    """The slips of a block's names; its lines that name what is not there count as broken from then on."""
    slips: list[Slip] = []
    starts: list[int] = []
    for value, nouns, word in references(block):
        name = str(value.value)
        known = plan.names.get(name)
        if (known is not None and (known.noun in nouns or not nouns)) or hints.of_broken_head(name):
            continue
        starts.append(value.start)
        if hints.told(block, value):
            slips.append(_unknown(block, value, known, nouns, word, hints))
    if starts and block.noun != "work":
        starts.sort()
        block.breaks(
            statement.word
            for statement in block.parsed.statements
            if bisect_left(starts, statement.start) < bisect_left(starts, statement.end)
        )
    return slips


def _unknown(block: Block, value: Written, known: Block | None, nouns: frozenset[str], word: str, hints: Hints) -> Slip:
    """A name that stands for nothing, or for something of another kind."""
    name = str(value.value)
    wanted = _of_kinds(nouns)
    why = f"it is {_one(known.noun)}, and `{word}` takes {wanted}" if known else f"`{word}` takes {wanted}"
    related = (Related(known.name_span, f"the {known.noun} of that name"),) if known else ()
    return Slip("unknown-name", block.span(value), thing=block.label, found=name, why=why,
                hint=did_you_mean(hints.among(nouns, name, block)), expected=wanted, related=related,
                name=block.name)  # fmt: skip


def _one(noun: str) -> str:
    """A block's noun with its article; `winds`, `rates` and `work` have none."""
    if noun in ("winds", "rates", "work", "trees"):
        return noun
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def _of_kinds(nouns: Iterable[str]) -> str:
    nouns = sorted(nouns)
    if len(nouns) > 6:
        return "the name of a thing that has a place"
    return "the name of a " + listed(nouns, "or")
