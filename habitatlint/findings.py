"""What is told of a plan, as facts: slips, findings, edits and mends. No prose here.

Named tuples and not dataclasses, here and in the rulebook: a cold start makes the classes each time,
and these take a tenth as long.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from enum import IntEnum
from typing import NamedTuple

from habitatlint.source import Span


class Level(IntEnum):
    """How grave a finding is; `off` finds nothing."""

    off = 0
    note = 1
    warning = 2
    error = 3


class Fact(NamedTuple):
    """A value with its kind, in base units (metres, fractions, degrees ...).

    Kinds are those of `units`, and "text", "word", "date", "window", "place" (an east and a
    north in metres), "count" and "truth". `unit` is the unit a person wrote it in, "" for the
    plan's. `estimated` says that it rests on a published curve or a default.
    """

    value: object
    kind: str
    unit: str = ""
    estimated: bool = False


class Related(NamedTuple):
    """Another place in the text that a finding speaks of, and what stands there."""

    span: Span
    what: str


class Slip(NamedTuple):
    """A slip of writing, told by the reader or the ground as facts; the record pack words it.

    `kind` is the slip's kind ("syntax", "crossed-outline" ...). `thing` is what it is on
    ("path south-lane"), `found` and `expected` are in the plan language's own words, `hint` an
    offered name, `why` a reason. `size` and `limit` are facts where something was measured.
    """

    kind: str
    span: Span
    thing: str = ""
    found: str = ""
    expected: str = ""
    hint: str = ""
    why: str = ""
    size: Fact | None = None
    limit: Fact | None = None
    place: tuple[float, float] | None = None
    related: tuple[Related, ...] = ()
    #: the block it is on, for waivers that name it
    name: str = ""


#: slips of reading and naming: neither waived nor lowered
FIRM = frozenset(
    {
        "syntax", "unknown-word", "unknown-name", "name-used-twice", "bad-value", "missing-property",
        "crossed-outline", "open-outline", "spacing-or-count", "include-trouble", "pack-trouble", "mixed-indent",
        "traverse-misclosure", "limit-out-of-range", "waiver-stale", "waiver-idle", "not-judged",
    }
)  # fmt: skip


#: every kind of slip that the reader, the ground and the pipeline tell
SLIPS = FIRM | {
    "cut-too-high", "off-property", "cut-pocket-without-cut", "row-outside-pocket", "bed-outside-pocket",
    "dates-out-of-order", "winds-do-not-add", "unused-entry", "work-without-step", "step-without-work",
    "unknown-species",
}  # fmt: skip


class Change(NamedTuple):
    """What a mend does to one block, as facts: the rule's action with its values worked out.

    `word` is "set", "remove" or "add". `span` is the head of the block it is on (for "add" of the block it comes
    after; for a slip what the slip marks). `texts` are the ways to write the property, best first, to be tried in
    turn. `number` is the tree of the row that alone is meant, 0 for the whole block. Of a block that is added,
    `noun` and `name`, and its `lines` (a property's word and what follows).
    """

    word: str
    span: Span
    property: str = ""
    texts: tuple[str, ...] = ()
    number: int = 0
    noun: str = ""
    name: str = ""
    lines: tuple[tuple[str, str], ...] = ()


class Edit(NamedTuple):
    """A stretch of text and what is to stand there instead."""

    span: Span
    text: str


class Mend(NamedTuple):
    """A way to mend a finding: words, what it would change, and the edits that do it.

    `proof` is "advice" for words alone, "untried", "clears" once the edits were tried, and "withheld" where they
    failed it: `why` says at what.
    """

    say: str
    edits: tuple[Edit, ...] = ()
    proof: str = "untried"
    why: str = ""
    changes: tuple[Change, ...] = ()


class Finding(NamedTuple):
    """One thing a rule found, as facts.

    `say`, `because` and the mends are the rule's own words with places for `facts` in braces. `measured` and `wanted`
    are missing where the rule's filters decide. `sense` is the comparison that made it a
    finding ("<", "<=", ">", ">="); what is wanted is its opposite.
    """

    rule: str
    level: Level
    span: Span
    say: str
    facts: Mapping[str, Fact] = {}
    measured: Fact | None = None
    place: tuple[float, float] | None = None
    place_of: str = ""
    sense: str = ""
    wanted: Fact | None = None
    evidence: str = ""
    source: str = ""
    because: str = ""
    related: tuple[Related, ...] = ()
    mends: tuple[Mend, ...] = ()
    #: names of the blocks it is on, for waivers
    names: frozenset[str] = frozenset()
    safety: bool = False
    firm: bool = False
    #: the waiver's reason, where it was waived
    waived: str = ""

    @property
    def order(self) -> tuple[object, ...]:
        return (self.span.source.name, self.span.start, self.span.end, self.rule, self.say)


class Policy(NamedTuple):
    """What a project asks of every plan: levels, limits, today, and what counts as failing."""

    today: date
    levels: Mapping[str, Level] = {}
    limits: Mapping[str, Fact] = {}
    failing: Level = Level.error
    #: a fragment needs no head: examples in rule files are fragments
    fragment: bool = False
