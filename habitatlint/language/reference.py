"""The plan language told from its own grammar and classes: what each block is and may say."""

from __future__ import annotations

from typing import NamedTuple

from habitatlint.language.blocks import BLOCKS, CUTS, Block
from habitatlint.language.plan import LAYOUT
from habitatlint.language.properties import Property
from habitatlint.reading.grammar import Grammar, listed
from habitatlint.reading.values import PHRASES

#: how what a property takes is written, where the grammar alone would say it less plainly
_WRITTEN = {
    "ground": "a length along the ground: `20`, in the plan's unit, or `20yd`",
    "line": "a line: points, `from POINT then N85W 140 ...`, `beside PATH left 12 from 20 to 140`, `around NAME 30`",
    "outline": "an outline, as a line is written; it closes itself",
    "place": "a point such as `120,45`, or a place on a way: `south-lane 40yd`",
    "places": "points such as `60,176 112,182`",
    "fall": "a bearing such as `N20E`, or `along PATH`, `against PATH`, `toward NAME`, `away from NAME`",
    "names": "names, one or more",
    "sizes": "a length with its unit, or a range: `8in`, `6in..10in`",
    "truth": "`yes` or `no`",
    "share": "a share such as `40%`",
    "text": "words in double quotes",
    "day": "a day of the year: `05-20`",
    "bearings": "winds or bearings, one or more: `NW N`",
}
#: properties of a shape of their own, as they are written
_SHAPES = {
    ("plan", "anchor"): "`43.7120N,90.6210W`",
    ("plan", "declination"): "`2.5W`, or `computed` from the anchor and the date",
    ("plan", "hunted"): "`2026-11-07..2027-01-18`, or each year `11-07..01-18`",
    ("plan", "picture"): '`"aerial.png" at 0,0 440,880`',
    ("pocket", "corridors"): "`every 20yd off south-plot width 3ft`",
    ("timber", "class"): "`12in..22in 60 sqft/ac`",
    ("timber", "market"): "`yes`, `no` or `from 2031`",
    ("release", "basal-area"): "`110 to 50 sqft/ac`",
    ("tree", "of"): "`thicket-1 3`, the third tree of that row",
    ("tree", "lean"): "`S20E 15deg`",
    ("opening", "toward"): "a bearing, or a name",
    ("planting", "height"): "`6ft from 2028`",
    ("slope", "falls"): "`S20E 15%`",
    ("setback", "from"): "a name, or `boundary`",
    ("work", "step"): '`1 "Release the overstory" 2026-02-15..2026-03-10 by ridge-crew`',
    ("mix", "part"): "`concentrate 20%`",
    ("winds", "from"): "`NW 13% 9mph`",
    ("winds", "period"): "`2025-11-07..2026-01-18`, or each year `11-07..01-18`",
    ("rates", "cost"): "`65 per hour`, `4.50 per tree hinge fell`, `900 per acre release`, `95 per gal concentrate`",
    ("rates", "pays"): "`350 per thousand-board-feet`, `40 per cord`",
    ("inspection", "alive"): "`7 of 10`, or a share",
    ("boundary", "outline"): _WRITTEN["outline"],
}
#: single lines, as they are written
SINGLE_LINES = (
    ('use pack "packs/creek-bottoms"', "takes in a pack of rules: a folder, or an archive that ends in .pack"),
    ('use pack creek-bottoms version "1.2..2"', "takes in an installed one, from version 1.2 to any 2"),
    ('include "shared/crews.habitat"', "takes in another file's blocks"),
    ("set live-hinge-near-entry.clearance 25yd", "changes a rule's limit, within its permitted range"),
    ("level core-bedding warning", "changes how grave a rule's findings are; `off` too"),
    ('waive RULE on NAME until 2027-12-31 because "..."', "accepts a finding in the open, until that day"),
)


class Entry(NamedTuple):
    """A property: its word, how it is written, what it is, and whether the block must have it."""

    word: str
    written: str
    says: str
    required: bool
    repeats: bool


def entries(block: type[Block], grammar: Grammar) -> list[Entry]:
    """The properties of a kind of block, those of every block last."""
    own = [prop for prop in block.properties.values() if prop.word not in ANY or block.noun in ("plan", "work")]
    common = [prop for prop in block.properties.values() if prop not in own]
    own.sort(key=lambda prop: not prop.required)
    return [
        Entry(prop.word, written(block, prop, grammar), prop.says, prop.required, prop.repeats)
        for prop in (*own, *common)
    ]


#: what any block may say, and the blocks for which all of it matters: what is done on the ground
ANY = ("note", "why", "step", "by", "done", "offsite")
WORK = frozenset({"row", "patch", "tree", "trees", "opening", "planting", "release", "treatment", "task"})


def written(block: type[Block], prop: Property[object], grammar: Grammar) -> str:
    """How a property's value is written: choices by the grammar, kinds in words with an example."""
    shape = _SHAPES.get((block.noun, prop.word))
    if shape:
        return shape
    if prop.takes in ("word", "words"):
        choices = grammar.words_after(f"{LAYOUT.heads[block.noun]}\n  {prop.word}")
        return listed([f"`{word}`" for word in sorted(choices)], "or")
    if prop.takes == "name":
        return f"the name of a {listed(sorted(prop.of), 'or')}"
    if prop.takes == "names" and prop.of and len(prop.of) <= len(CUTS):
        return f"names of a {listed(sorted(prop.of), 'or')}, one or more"
    if prop.word == "done":
        return "a date such as `2026-02-20`, or `yes`"
    return _WRITTEN.get(prop.takes) or PHRASES.get(
        {"count": "NUMBER", "number": "NUMBER"}.get(prop.takes, prop.takes.upper().replace("-", "_")), prop.takes
    )


def block_of(noun: str) -> type[Block] | None:
    return next((block for block in BLOCKS if block.noun == noun), None)
