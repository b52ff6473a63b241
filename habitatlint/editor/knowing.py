"""What is known of a word of a plan: of a thing its measures, of a keyword what it is, of a rule why. As Markdown."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from habitatlint.editor.names import block_at, use_at
from habitatlint.findings import Fact
from habitatlint.ground.columns import column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import SINGLES, Block, Pocket, SetLevel, SetLimit, Waive
from habitatlint.language.plan import PlanText
from habitatlint.language.reference import SINGLE_LINES, block_of, written
from habitatlint.measures.cover import cover_of
from habitatlint.outputs.rules import page
from habitatlint.outputs.sentences import clean, shown
from habitatlint.reading.grammar import Grammar, Statement
from habitatlint.reading.values import Written
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import Rule
from habitatlint.source import Span
from habitatlint.units import YARD

#: side of the cells by which a pocket's cover is looked at, as the rules do
_CELL = 20 * YARD


class Known(NamedTuple):
    """What is known of what stands there."""

    text: str
    span: Span


def known_at(
    plan: PlanText, scene: Callable[[], Scene], path: str, offset: int, grammar: Grammar, book: Rulebook
) -> Known | None:
    """What is known of the word at a place of a plan; None where there is nothing to say. The plan is put on the ground
    only where a thing's measures are asked."""
    block = block_at(plan, path, offset)
    if block is None:
        return None
    use = use_at(plan, path, offset)
    if use is not None and use.name in plan.names:
        return Known(of_thing(plan.names[use.name], scene()), use.span)
    head = block.parsed.head
    if head is not None and _holds(block.span(head), offset):
        return _of_head(block, head, offset, book)
    for statement in block.parsed.statements:
        span = block.span(statement)
        if _holds(span, offset):
            return Known(of_property(block, statement.word, grammar), Span(span.source, span.start, span.end))
    return None


def _holds(span: Span, offset: int) -> bool:
    return span.start <= offset <= span.end


def _of_head(block: Block, head: Statement, offset: int, book: Rulebook) -> Known | None:
    span = block.span(head)
    noun = Span(span.source, span.start, span.start + len(head.word))
    if isinstance(block, SetLimit | SetLevel | Waive) and head.values:
        value = head.values[0]
        rule = rule_named(value, book)
        if rule is not None and _holds(block.span(value), offset):
            return Known(of_rule(rule, book), block.span(value))
    return Known(of_noun(block.noun), noun) if _holds(noun, offset) else None


def rule_named(value: Written, book: Rulebook) -> Rule | None:
    """The rule that a `set`, `level` or `waive` names."""
    name = str(value.value)
    return book.find(name) or book.find(name.rpartition(".")[0])


def of_thing(block: Block, scene: Scene) -> str:
    """A thing of a plan: what it is, its measures, and why it is there."""
    title = f" {clean(block.title)}" if block.title else ""
    lines = [f"**{block.label}**{title}", block.says]
    if sizes := measures_of(block, scene):
        lines.append(", ".join(sizes))
    lines += [clean(str(statement.values[0].value)) for statement in block.all("why")]
    return "\n\n".join(lines)


def measures_of(block: Block, scene: Scene) -> list[str]:
    """A thing's sizes in words: length, bearing, area, trees, and how much of a pocket tops cover."""
    shape = scene.shape_of(block)
    found = size_of(shape, scene.units)
    if isinstance(shape, LineString) and not shape.is_ring:
        found.append(f"bears {bearing_of(shape):.0f} deg from its first point to its last")
    if trees := trees_of(block, scene):
        found.append(f"{trees} tree{'s' if trees > 1 else ''}")
    if isinstance(block, Pocket) and not block.broken:
        pocket = next(row for row, one in enumerate(scene.plan.of(Pocket)) if one is block)
        cover = cover_of(scene, pocket, _CELL)
        if cover is not None and cover.shade > 0:
            share = column("share", [cover.shade, cover.roof]).values
            under, twice = (shown(Fact(float(one), "share")) for one in share)
            found.append(f"tops over {under} of its ground, two or more over {twice}")
    return found


def size_of(shape: BaseGeometry | None, units: str) -> list[str]:
    """An area or a length in words; nothing for a point."""
    if shape is None or shape.is_empty:
        return []
    if shape.area > 0:
        return [shown(Fact(float(shape.area), "area"), units, 2)]
    return [shown(Fact(float(shape.length), "length"), units)] if shape.length > 0 else []


def bearing_of(line: LineString) -> float:
    """Degrees clockwise from the plan's north of the way from a line's first point to its last."""
    (east, north), (east_end, north_end) = shapely.get_coordinates(line)[[0, -1]]
    return math.degrees(math.atan2(east_end - east, north_end - north)) % 360


def trees_of(block: Block, scene: Scene) -> int:
    """How many trees a row, a tree or a pocket has that are laid out one by one."""
    cut = scene.trees
    if isinstance(block, Pocket):
        pocket = next((row for row, one in enumerate(scene.plan.of(Pocket)) if one is block), -1)
        return int(np.count_nonzero(cut.pocket == pocket))
    number = next((row for row, one in enumerate(cut.blocks) if one is block), -1)
    return int(np.count_nonzero(cut.block == number))


def of_noun(noun: str) -> str:
    """A block's noun, or a single line's word: what it is."""
    block = block_of(noun)
    if block is not None:
        needs = [f"`{prop.word}`" for prop in block.properties.values() if prop.required]
        must = f"\n\nIt must have {', '.join(needs)}." if needs else ""
        return f"**{noun}**: {block.says}{must}"
    lines = [f"`{line}`: {says}" for line, says in SINGLE_LINES if line.split()[0] == noun]
    return "\n\n".join([f"**{noun}**", *lines])


def of_property(block: Block, word: str, grammar: Grammar) -> str:
    """A property of a block: what it is and how it is written."""
    prop = block.properties.get(word)
    if prop is None or type(block) in SINGLES:
        return of_noun(block.noun)
    notes = [note for note, so in (("must be there", prop.required), ("repeats", prop.repeats)) if so]
    tail = f" ({', '.join(notes)})" if notes else ""
    return f"**{word}**: {prop.says}{tail}\n\nWritten {written(type(block), prop, grammar)}."


def of_rule(rule: Rule, book: Rulebook) -> str:
    """A rule: its page as `habitatlint rules` prints it, without the examples."""
    text = page(rule, book)
    for heading in ("\nA plan that breaks it:", "\nA plan that keeps it:"):
        text = text.partition(heading)[0]
    return f"```text\n{text.strip()}\n```"
