"""The outline of a text: its blocks and their names, what folds, what leads elsewhere, and sizes beside lines."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from typing import NamedTuple

from habitatlint.editor.knowing import size_of, trees_of
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Include, Plan, UsePack, Work
from habitatlint.language.plan import PlanText
from habitatlint.source import Source, Span

#: properties that say a block's shape, beside which its size is shown
_SHAPES = ("outline", "line", "stumps", "radius")


class Entry(NamedTuple):
    """A block in the outline: what it is called, what is said beside it, where it stands whole and where its head."""

    label: str
    detail: str
    noun: str
    whole: Span
    head: Span
    below: tuple[Entry, ...] = ()


class Fold(NamedTuple):
    """Lines from 0, first to last, that fold into the first; of comments or of a block."""

    first: int
    last: int
    comment: bool


class Link(NamedTuple):
    """A stretch that leads to a file, by its path."""

    span: Span
    path: str


class Beside(NamedTuple):
    """A size to be shown beside a line, at an offset."""

    offset: int
    text: str


def entries(plan: PlanText, path: str) -> list[Entry]:
    """The blocks of one file of a plan, and the steps of its work, in order."""
    found = []
    for block in plan.blocks:
        if block.placed.source.name != path or block.broken or not block.parsed.noun:
            continue
        head = block.name_span if block.name else block.span()
        found.append(
            Entry(_label(block), block.title if block.name else "", block.noun, _whole(block), head, _steps(block))
        )
    return found


def _label(block: Block) -> str:
    if isinstance(block, Plan):
        return block.title or "plan"
    return block.span().text if not block.properties else block.label


def _whole(block: Block) -> Span:
    placed = block.placed
    return _trimmed(Span(placed.source, placed.offset, placed.offset + placed.length))


def _trimmed(span: Span) -> Span:
    """A stretch without the blank lines and comments at its end, which speak of what follows."""
    lines = span.text.splitlines(keepends=True)
    while lines and (not lines[-1].strip() or lines[-1].startswith("#")):
        lines.pop()
    return Span(span.source, span.start, span.start + len("".join(lines).rstrip("\r\n")))


def _steps(block: Block) -> tuple[Entry, ...]:
    if not isinstance(block, Work):
        return ()
    return tuple(
        Entry(f"step {step.number:g}", step.title, "step", block.span(step.line), block.span(step.line))
        for step in block.steps
    )


def folds(source: Source, heads: Iterator[tuple[int, int]] | list[tuple[int, int]]) -> list[Fold]:
    """What folds: blocks (their first and last lines from 0) and comments of several lines."""
    found = [Fold(first, last, False) for first, last in heads if last > first]
    begun = None
    lines = source.text.split("\n")
    for number, line in enumerate([*lines, ""]):
        if line.startswith("#"):
            begun = number if begun is None else begun
        elif begun is not None:
            if number - 1 > begun:
                found.append(Fold(begun, number - 1, True))
            begun = None
    return sorted(found)


def block_lines(plan: PlanText, path: str) -> list[tuple[int, int]]:
    """First and last line, from 0, of every block of one file."""
    spans = [_whole(block) for block in plan.blocks if block.placed.source.name == path]
    return [(span.line - 1, span.source.line_column(span.end)[0] - 1) for span in spans]


def links(plan: PlanText, path: str) -> list[Link]:
    """What leads to other files: includes, packs and pictures."""
    folder = os.path.dirname(path)
    found = []
    for block in plan.blocks:
        if block.placed.source.name != path or block.broken:
            continue
        values = []
        if isinstance(block, Include | UsePack):
            values = [block.head[1] if isinstance(block, UsePack) else block.head[0]]
        elif isinstance(block, Plan):
            values = [statement.values[0] for statement in block.picture]
        for value in values:
            if re.match(r"[\w./ -]+$", str(value.value)) and not os.path.isabs(str(value.value)):
                found.append(Link(block.span(value), os.path.normpath(os.path.join(folder, str(value.value)))))
    return found


def sizes(plan: PlanText, scene: Scene, path: str, start: int, end: int) -> list[Beside]:
    """Lengths, areas and numbers of trees beside the lines that say them, between two offsets."""
    found = []
    for block in plan.blocks:
        placed = block.placed
        outside = placed.offset > end or placed.offset + placed.length < start
        if placed.source.name != path or block.broken or outside:
            continue
        said = next((statement for word in _SHAPES if (statement := block.first(word))), None)
        if said is None or len(block.all(said.word)) > 1:
            continue
        parts = size_of(scene.shape_of(block), scene.units)
        if said.word == "stumps" and (trees := trees_of(block, scene)):
            parts.append(f"{trees} tree{'s' if trees > 1 else ''}")
        if parts:
            found.append(Beside(block.span(said).end, ", ".join(parts)))
    return found
