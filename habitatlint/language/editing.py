"""Edits of a plan's text that carry out changes: small, sorted, disjoint, in the plan's own indents and line ends."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import pairwise

from habitatlint.findings import Change, Edit
from habitatlint.language.blocks import BY_NOUN, Block, Cutting, Row, Tree
from habitatlint.language.plan import LYING, PlanText
from habitatlint.source import Span

#: what a tree that is down or blown has got, and no mend changes
OF_A_LYING_TREE = frozenset({"at", "stumps", "spacing", "count", "method", "fall", "cut-height"})


class Unwritable(Exception):
    """A change that cannot be written into this text: why, in a few words."""


def edits_of(plan: PlanText, changes: Iterable[Change], way: int = 0, *, recorded: bool = False) -> tuple[Edit, ...]:
    """The edits that carry out changes, sorted and disjoint; `way` picks among the ways to write a property. With
    `recorded` they write down what was done on the ground, and so may be on what is done.

    Raises Unwritable for what is done already, stands in an included file, or gets in another change's way, and
    IndexError where no change has so many ways.
    """
    writer = _Writer(plan, recorded)
    ways = [len(change.texts) for change in changes if len(change.texts) > 1]
    if way >= max(ways, default=1):
        raise IndexError
    for change in changes:
        writer.take(change, way)
    return writer.edits()


def applied(text: str, edits: Sequence[Edit]) -> str:
    """A text with sorted, disjoint edits made."""
    parts, at = [], 0
    for edit in edits:
        parts += [text[at : edit.span.start], edit.text]
        at = edit.span.end
    return "".join([*parts, text[at:]])


def overlap(one: Sequence[Edit], other: Sequence[Edit]) -> bool:
    """Whether two sets of edits touch the same text; two that insert at one place do."""
    return any(
        (a.span.start < b.span.end and b.span.start < a.span.end) or a.span.start == b.span.start
        for a in one
        for b in other
    )


#: a comment; prose in quotes, which may go on in the next line; a word, in which the sign of seconds opens no quotes
_COMMENT = re.compile(r"""#([^\n]*)|"(?:[^"\\\n]|\\[ \t\r]*\n|\\.)*"?|[^\s"#][^\s#]*""")


def comments(text: str) -> list[str]:
    """The comments of a plan in their order, without the blanks about them."""
    return [found[1].strip() for found in _COMMENT.finditer(text) if found[1] is not None]


class _Writer:
    def __init__(self, plan: PlanText, recorded: bool) -> None:
        self.plan = plan
        self.recorded = recorded
        self.source = plan.source
        #: what is put in the place of a stretch, and what is added at a place, in the order of the changes
        self._put: dict[tuple[int, int], str] = {}
        self._added: dict[int, list[str]] = {}
        self._names = set(plan.names)
        #: blocks for single trees of rows, made once and filled by several changes
        self._trees: dict[tuple[int, int], tuple[int, int]] = {}

    def take(self, change: Change, way: int) -> None:
        if change.span.source is not self.source:
            raise Unwritable(f"it would change {change.span.source.name}, an included file")
        if change.word == "set" and not change.property:  # a slip: what it marks is written otherwise
            self._put[(change.span.start, change.span.end)] = change.texts[min(way, len(change.texts) - 1)]
            return
        block = self._block(change.span)
        if change.word == "add":
            self._add(block, change)
            return
        if change.number:
            block_or_new = self._tree_of(block, change.number)
            if block_or_new is None:
                self._set_in_new(block, change, way)
                return
            block = block_or_new
            if block.placed.source is not self.source:
                raise Unwritable(f"it would change {block.placed.source.name}, an included file")
        self._open(block, change)
        if change.word == "remove":
            self._remove(block, change.property)
        else:
            self._set(block, change.property, change.texts[min(way, len(change.texts) - 1)])

    def _open(self, block: Block, change: Change) -> None:
        """Raises Unwritable for what is done, and for the lie of what lies."""
        if self.plan.finished(block) and not self.recorded:
            raise Unwritable(f"{block.label} is done already")
        if change.property in OF_A_LYING_TREE and self.plan.word(block, "state") in LYING:
            raise Unwritable(f"{block.label} lies already")

    def edits(self) -> tuple[Edit, ...]:
        found = [Edit(Span(self.source, *place), text) for place, text in self._put.items()]
        found += [Edit(Span(self.source, at, at), "".join(texts)) for at, texts in self._added.items()]
        found.sort(key=lambda edit: (edit.span.start, edit.span.end))
        if any(one.span.end > other.span.start for one, other in pairwise(found)):
            raise Unwritable("two of its changes meet in one place")
        return tuple(edit for edit in found if edit.text != edit.span.text)

    # -- blocks and their lines ----------------------------------------------------------------

    def _block(self, span: Span) -> Block:
        block = self.plan.block_at(span)
        if block is None or block.broken:
            raise Unwritable("its block cannot be read")
        return block

    def _indent(self, block: Block) -> str:
        first = next(iter(block.parsed.statements), None)
        if first is None:
            return "  "
        start = block.span(first).start
        return self.source.text[self.source.text.rfind("\n", 0, start) + 1 : start]

    def _end(self, block: Block) -> int:
        """The end of the line on which a block's last property ends, before its line end."""
        statements = block.parsed.statements
        last = max((block.span(one).end for one in statements), default=block.span().end)
        text = self.source.text
        end = text.find("\n", last)
        while end >= 0 and text[last:end].strip() == "\\":  # it goes on, though in an empty line
            last, end = end + 1, text.find("\n", end + 1)
        end = len(text) if end < 0 else end
        return end - 1 if text[end - 1 : end] == "\r" else end

    def _line_end(self, at: int) -> str:
        """The line end at a place; at the end of a file without a last one, that of the line above."""
        text = self.source.text
        newline = text.find("\n", at)
        if newline < 0:
            newline = text.rfind("\n")
        return "\r\n" if text[max(newline - 1, 0) : newline] == "\r" else "\n"

    def _insert(self, at: int, text: str) -> None:
        self._added.setdefault(at, []).append(text)

    # -- properties ----------------------------------------------------------------------------

    def _says(self, block: Block, word: str, text: str) -> bool:
        """Whether a property is so already, by the block, its row or the shared `trees`."""
        owner = self.plan.owner(block, word) if block.noun == "tree" or word in Cutting.properties else None
        return owner is not None and owner[0].span(owner[1]).text == f"{word} {text}"

    def _set(self, block: Block, word: str, text: str) -> None:
        if self._says(block, word, text):
            return
        statement = block.first(word)
        if statement is not None:
            span = block.span(statement)
            self._put[(span.start, span.end)] = f"{word} {text}"
            return
        if word in block.parsed.broken:
            raise Unwritable(f"its `{word}` cannot be read")
        at = self._end(block)
        self._insert(at, f"{self._line_end(at)}{self._indent(block)}{word} {text}")

    def _remove(self, block: Block, word: str) -> None:
        statement = block.first(word) if word else None
        if word and statement is None:
            return
        start, end = self._lines(block.span(statement)) if statement else self._lines(self._whole(block))
        if comments(self.source.text[start:end]):
            raise Unwritable("a comment stands there")
        self._put[(start, end)] = ""

    def _whole(self, block: Block) -> Span:
        return Span(self.source, block.span().start, self._end(block))

    def _lines(self, span: Span) -> tuple[int, int]:
        """Whole lines, with the line end of the last."""
        text = self.source.text
        end = text.find("\n", span.end)
        return text.rfind("\n", 0, span.start) + 1, len(text) if end < 0 else end + 1

    # -- new blocks ----------------------------------------------------------------------------

    def _add(self, after: Block, change: Change) -> None:
        if change.noun not in BY_NOUN:
            raise Unwritable(f"there is no block `{change.noun}`")
        lines = [f"{change.noun} {self._free(change.name)}", *(f"  {word} {said}" for word, said in change.lines)]
        at = self._end(after)
        end = self._line_end(at)
        self._insert(at, "".join(f"{end}{line}" for line in ("", *lines)))

    def _free(self, name: str) -> str:
        """A name that nothing bears yet: itself, or with a number."""
        wanted, number = name, 1
        while wanted in self._names:
            number += 1
            wanted = f"{name}-{number}"
        self._names.add(wanted)
        return wanted

    def _tree_of(self, row: Block, number: int) -> Tree | None:
        """The block that is the tree of a row, if the plan has one."""
        if not isinstance(row, Row) or not row.name:
            raise Unwritable(f"a tree of {row.label} cannot be named")
        for tree in self.plan.of(Tree):
            of = tree.first("of")
            if of is not None and str(of.values[0].value) == row.name and of.values[1].value.number == number:
                return tree
        return None

    def _set_in_new(self, row: Block, change: Change, way: int) -> None:
        """A property of one tree of a row, in a block of its own: `tree hinges-3` `of hinges 3`."""
        self._open(row, change)
        if change.word == "remove":
            raise Unwritable("a tree cannot leave out what its row says")
        said = change.texts[min(way, len(change.texts) - 1)]
        if self._says(row, change.property, said):
            return
        key = (id(row), change.number)
        at = self._end(row)
        end = self._line_end(at)
        if key not in self._trees:
            head = f"{end}{end}tree {self._free(f'{row.name}-{change.number}')}{end}  of {row.name} {change.number}"
            self._insert(at, head)
            self._trees[key] = (at, len(self._added[at]) - 1)
        place, index = self._trees[key]
        self._added[place][index] += f"{end}  {change.property} {said}"
