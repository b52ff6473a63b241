"""A plan read again after a change within one block: all else of it is taken over as it was.

Reading a plan of 2,000 lines whole costs some 20 ms though no block is parsed anew; this costs a tenth. It belongs to
`language.plan.read_plan`, whose outcome it has to the slip: tests hold the two to each other.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator

from habitatlint.editor.places import Change, difference
from habitatlint.findings import Slip
from habitatlint.language.blocks import SINGLES, Block, Plan, Tree, Trees
from habitatlint.language.plan import LAYOUT, Hints, PlanText, fit, slips_of_properties, unknown_names
from habitatlint.reading.blocks import Placed, read
from habitatlint.reading.grammar import Grammar
from habitatlint.source import Source, Span

#: kinds of slips on a block's head that come of other blocks
_OF_OTHERS = frozenset({"name-used-twice", "syntax", "unknown-word"})
#: a plan with more slips than this is read whole
MOST_SLIPS = 200


def reread(before: PlanText, source: Source, grammar: Grammar) -> PlanText | None:
    """The plan as its text stands now; None where it must be read whole: more than the lines below one block's head
    has changed, or other blocks hang on that one."""
    change = difference(before.source.text, source.text)
    at = _block_of(before, change)
    if at is None or len(before.slips) > MOST_SLIPS:
        return None
    old = before.blocks[at]
    placed = _read_alone(old, source, change, grammar)
    if placed is None:
        return None
    new = type(old)(fit(placed))
    blocks = (*_moved_blocks(before, source, change, at, new),)
    by_old = {id(one): other for one, other in zip(before.blocks, blocks, strict=True)}
    names = {name: by_old[id(block)] for name, block in before.names.items()}
    plan = PlanText(source, blocks, names, before.ghosts, ())
    hints = Hints(plan)
    kept = [_moved_slip(slip, before.source, source, change) for slip in before.slips if not _is_in(slip.span, old)]
    slips = [*kept, *_troubles(new), *slips_of_properties(plan, new), *unknown_names(plan, new, hints)]
    if len(slips) > MOST_SLIPS:
        return None
    return PlanText(source, blocks, names, before.ghosts, tuple(slips))


def _block_of(plan: PlanText, change: Change) -> int | None:
    """The block below whose head alone the change lies, where none hangs on what it says there."""
    own = [number for number, block in enumerate(plan.blocks) if block.placed.source is plan.source]
    offsets = [plan.blocks[number].placed.offset for number in own]
    index = bisect_right(offsets, change.start) - 1
    if index < 0:
        return None
    block = plan.blocks[own[index]]
    start, end = block.placed.offset, block.placed.offset + block.placed.length
    head_end = plan.source.text.find("\n", block.span().end)
    if head_end < 0 or not head_end < change.start <= change.end < end or block.broken:
        return None
    if isinstance(block, (Plan, Trees, *SINGLES)) or (block.noun == "row" and _has_trees(plan, block.name)):
        return None
    told = (slip for slip in plan.slips if _is_in(slip.span, block) and start <= slip.span.start <= head_end)
    return None if any(slip.kind in _OF_OTHERS for slip in told) else own[index]


def _has_trees(plan: PlanText, row: str) -> bool:
    firsts = (tree.first("of") for tree in plan.blocks if isinstance(tree, Tree))
    return any(first is not None and str(first.values[0].value) == row for first in firsts)


def _read_alone(old: Block, source: Source, change: Change, grammar: Grammar) -> Placed | None:
    """The block that changed, read by itself; None where it is no longer one block with the head it had."""
    start = old.placed.offset
    length = old.placed.length + change.length - (change.end - change.start)
    body = source.text[start : start + length]
    if body.rstrip().endswith("\\"):
        return None  # it may go on in the next block's head
    found = read(Source(source.name, body), grammar, LAYOUT, {})
    if len(found) != 1 or found[0].offset or found[0].length != length:
        return None
    parsed, was = found[0].parsed, old.parsed
    if parsed.head is None or was.head is None or parsed.noun != was.noun:
        return None
    same = [(one.value, one.kind) for one in parsed.head.values] == [(one.value, one.kind) for one in was.head.values]
    return Placed(parsed._replace(base=0), source, start, length) if same else None


def _moved_blocks(plan: PlanText, source: Source, change: Change, at: int, new: Block) -> Iterator[Block]:
    by = change.length - (change.end - change.start)
    for number, block in enumerate(plan.blocks):
        placed = block.placed
        if number == at:
            yield new
        elif placed.source is not plan.source:
            yield block
        else:
            copy = object.__new__(type(block))
            offset = placed.offset + (by if placed.offset > change.start else 0)
            copy.placed = placed._replace(source=source, offset=offset)
            copy._by_word = block._by_word
            yield copy


def _is_in(span: Span, block: Block) -> bool:
    placed = block.placed
    return span.source is placed.source and placed.offset <= span.start < placed.offset + placed.length


def _moved_slip(slip: Slip, before: Source, source: Source, change: Change) -> Slip:
    related = tuple(one._replace(span=_moved(one.span, before, source, change)) for one in slip.related)
    return slip._replace(span=_moved(slip.span, before, source, change), related=related)


def _moved(span: Span, before: Source, source: Source, change: Change) -> Span:
    if span.source is not before:
        return span
    by = change.length - (change.end - change.start)
    if span.start >= change.end:
        return Span(source, span.start + by, span.end + by)
    return Span(source, span.start, span.end + by if span.end >= change.end else span.end)


def _troubles(block: Block) -> Iterator[Slip]:
    for trouble in block.parsed.troubles:
        yield Slip(trouble.kind, block.placed.span(trouble.start, trouble.end), thing=block.label, found=trouble.found,
                   expected="" if trouble.suggestion else trouble.expected, why=trouble.told, hint=trouble.way_out,
                   name=block.name)  # fmt: skip
