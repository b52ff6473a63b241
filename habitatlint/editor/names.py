"""Names of a plan: where each is given, and where it is used."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from habitatlint.language.blocks import RESERVED, Block, Waive
from habitatlint.language.plan import PlanText, references
from habitatlint.source import Span


class Use(NamedTuple):
    """A name where it stands; `defines` where a block is given it."""

    name: str
    span: Span
    defines: bool


class Unnamed(Exception):
    """A name that cannot be given: why, in a sentence."""


#: a name as the grammar has it; a test holds it to that
NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


def uses(plan: PlanText) -> Iterator[Use]:
    """Every name of the plan and of what it includes, where it is given and where it is used."""
    for block in plan.blocks:
        if block.broken:
            continue
        if block.name and plan.names.get(block.name) is block:
            yield Use(block.name, block.name_span, True)
        for value, _, _ in references(block):
            yield Use(str(value.value), block.span(value), False)
        if isinstance(block, Waive):
            for value in [value for value in block.head if value.kind == "name"][1:]:
                yield Use(str(value.value), block.span(value), False)


def use_at(plan: PlanText, path: str, offset: int) -> Use | None:
    """The name that stands at a place, or ends there."""
    block = block_at(plan, path, offset)
    near = [block] if block else []
    for use in uses(PlanText(plan.source, tuple(near), plan.names, plan.ghosts, ())):
        if use.span.start <= offset <= use.span.end:
            return use
    return None


def block_at(plan: PlanText, path: str, offset: int) -> Block | None:
    """The block whose text a place is in; its end counts where no other begins."""
    found = None
    for block in plan.blocks:
        placed = block.placed
        if placed.source.name == path and placed.offset <= offset <= placed.offset + placed.length:
            found = block
    return found


def all_uses(plan: PlanText, name: str) -> list[Use]:
    return [use for use in uses(plan) if use.name == name]


def renamed(plan: PlanText, name: str, new: str) -> list[Span]:
    """Every stretch that a renaming rewrites; raises Unnamed where the new name cannot be."""
    if not NAME.fullmatch(new):
        raise Unnamed(f"`{new}` is no name: a name is lower-case words with hyphens, such as `south-lane`")
    if new in RESERVED:
        raise Unnamed(f"`{new}` is a word of the language, and cannot be a name")
    if new != name and new in plan.names:
        raise Unnamed(f"`{new}` names a {plan.names[new].noun} already")
    if name not in plan.names:
        raise Unnamed(f"nothing is called `{name}` in this plan")
    if line := _unread(plan, name):
        raise Unnamed(f"`{name}` stands on a line that cannot be read ({line}): mend that first")
    return [use.span for use in all_uses(plan, name)]


def _unread(plan: PlanText, name: str) -> str:
    """A line that cannot be read and has the name on it; "" for none."""
    whole = re.compile(rf"(?<![\w-]){re.escape(name)}(?![\w-])")
    for block in plan.blocks:
        for trouble in block.parsed.troubles:
            if trouble.kind != "mixed-indent":
                span = block.placed.span(trouble.start, trouble.end)
                if whole.search(span.source.line(span.line).partition("#")[0]):
                    return f"line {span.line}"
    return ""
