"""What a rule's mends would change: their actions with every value worked out for the things at fault."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from habitatlint.findings import Change, Fact
from habitatlint.ground.columns import Column, Indices
from habitatlint.language.blocks import BY_NOUN, Block, Path, Row, Tree
from habitatlint.language.editing import Unwritable
from habitatlint.language.writing import angle, length, point, station
from habitatlint.reading.grammar import Statement
from habitatlint.reading.values import Beside, Written
from habitatlint.rulebook.evaluation import Context, Frame, Unjudgeable, holds, value
from habitatlint.rulebook.expressions import Aim, Constant, Ref
from habitatlint.rulebook.rules import Action, Remedy, Rule, placeholders
from habitatlint.source import Span
from habitatlint.units import UNITS, YARD, plain, show

#: a stand is moved along its way by so many times 5 yd, each way: close at hand first, farther off in longer steps
_STEP, _STEPS = 5 * YARD, (1, 2, 3, 4, 5, 6, 8, 11, 15, 20)
#: a row is moved so much farther than the limit asks, and to whole units
_SPARE = 0.5 * YARD
#: plurals of beds, which are marked by their points
_OF_BEDS = frozenset({"beds", "bed-places"})
#: lengths that are told of a tree and its parts
OF_TREES = frozenset({"tree-height", "crown-width", "cut-height"})


class Changes:
    """The changes of a rule's remedies for the bindings of one finding, the worst binding first."""

    def __init__(self, rule: Rule, context: Context, frame: Frame) -> None:
        self.rule, self.context, self.frame = rule, context, frame
        self.scene = context.scene

    def of(self, remedy: Remedy) -> tuple[Change, ...]:
        """Raises Unwritable where a value is not known, or a thing has no block of its own."""
        apart = {action.values[0].value.parts for action in remedy.actions if action.word == "split"}
        try:
            found = [change for action in remedy.actions for change in self._changes(action, apart)]
        except Unjudgeable as error:
            raise Unwritable(str(error)) from None
        if not found:
            raise Unwritable("it would change nothing")
        return tuple(dict.fromkeys(found))

    def _changes(self, action: Action, apart: set[tuple[str, ...]]) -> Iterator[Change]:
        if action.word == "add":
            yield from self._added(action)
        elif action.word in ("set", "remove", "turn"):
            yield from self._set(action, apart)
        elif action.word == "move":
            yield from self._moved(action)

    # -- the things a change is on -------------------------------------------------------------------

    def _set(self, action: Action, apart: set[tuple[str, ...]]) -> Iterator[Change]:
        parts = action.values[0].value.parts
        thing, field = (parts[:-1], parts[-1]) if len(parts) > 1 else (parts, "")
        if self._bound(thing)[0] == "slips":  # what a slip marks, written otherwise
            field = ""
        word = "remove" if action.word == "remove" else "set"
        for binding, span, number in self._things(thing, thing in apart or action.word == "turn"):
            texts: tuple[str, ...] = ()
            if action.word == "turn":
                texts = self._ways(action.values[1:], binding)
            elif word == "set":
                try:
                    texts = (" ".join(self._text(value, binding) for value in action.values[1:]),)
                except Unwritable:
                    # where no name fits, the one that the plan gives stays
                    if self._is_thing(action.values[1], binding) and self.scene.plan.gives(self._at(span), field):
                        continue
                    raise
            yield Change(word, span, field, texts, number)

    def _bound(self, parts: tuple[str, ...]) -> tuple[str, Indices, Indices]:
        """The plural of what a reference stands for, its rows there, and the number of each one's binding."""
        rows = self.frame.rows.get(parts[0]) if len(parts) == 1 else None
        if rows is not None:
            return rows.plural, rows.rows, np.arange(len(rows))
        found = value(self.context, self.frame, Written(Ref(parts), "ref", 0, 0))
        word, _, plural = found.kind.partition(":")
        at = np.flatnonzero(found.mask)
        if word == "thing":
            at = at[found.values[at].astype(np.intp) >= 0]
            some = found.values[at].astype(np.intp)
        elif word == "things":
            lists = [np.asarray(found.values[index], np.intp) for index in at]
            at = np.repeat(at, [len(one) for one in lists])
            some = np.concatenate([np.zeros(0, np.intp), *lists])
        else:
            raise Unwritable(f"`{'.'.join(parts)}` is no thing of the plan")
        if not len(some):
            raise Unwritable(found.why or "there is nothing that it would change")
        return plural, some, at

    def _things(self, parts: tuple[str, ...], alone: bool) -> Iterator[tuple[Frame, Span, int]]:
        """Each different block that a reference stands for, with the first binding that is on it and, where its
        trees are meant one by one and not all are at fault, the tree's number."""
        plural, rows, bindings = self._bound(parts)
        table, trees = self.context.table(plural), self.scene.trees
        of_trees = plural == "trees"
        whole: set[int] = set()
        if of_trees and alone:
            at_fault = np.unique(rows)
            blocks, counts = np.unique(trees.block[at_fault], return_counts=True)
            sizes = {int(block): len(trees.rows_of(trees.blocks[int(block)])) for block in blocks}
            whole = {int(block) for block, count in zip(blocks, counts, strict=True) if count == sizes[int(block)]}
        seen: set[tuple[int, int]] = set()
        for index, row in zip(bindings.tolist(), rows.tolist(), strict=True):
            number = 0
            if of_trees:
                at = int(trees.block[row])
                block = trees.blocks[at]
                span = block.span()
                number = int(trees.number[row]) if alone and at not in whole and isinstance(block, Row) else 0
            else:
                span = table.span(row)
            key = (span.start, number)
            if key not in seen:
                seen.add(key)
                yield self.frame.take(np.array([index])), span, number

    def _at(self, span: Span) -> Block:
        """The block that a span lies in."""
        block = self.scene.plan.block_at(span)
        if block is None:
            raise Unwritable("its block cannot be read")
        return block

    def _is_thing(self, node: Written, binding: Frame) -> bool:
        known = isinstance(node.value, Ref) and self._is_known(node.value)
        return known and value(self.context, binding, node).kind.startswith("thing:")

    def _block(self, node: Written, binding: Frame) -> Block:
        """The block that a reference stands for: a thing's, or one of that name."""
        found = value(self.context, binding, node)
        block = None
        if found.mask[0]:
            if found.kind.startswith("thing:"):
                table = self.context.table(found.kind.removeprefix("thing:"))
                name = table.name(int(found.values[0]))
            else:
                name = str(found.values[0])
            block = self.scene.plan.names.get(name)
        if block is None:
            raise Unwritable("the block it would follow has no name")
        return block

    # -- blocks that are added -----------------------------------------------------------------------

    def _added(self, action: Action) -> Iterator[Change]:
        """A block for each thing at fault; those alike are one."""
        noun, name, *after = action.values
        if not after:
            raise Unwritable("the rule does not say after what it is added")
        for index in range(self.frame.size):
            binding = self.frame.take(np.array([index]))
            said = str(name.value)
            for parts in placeholders(said):
                node = Written(Ref(parts), "ref", 0, 0)
                said = said.replace("{" + ".".join(parts) + "}", self._block(node, binding).name)
            lines = tuple(self._lines(str(noun.value), action.filled, binding))
            yield Change("add", self._after(after[-1], binding), noun=str(noun.value), name=said, lines=lines)

    def _after(self, node: Written, binding: Frame) -> Span:
        """The block after which one is added; where that is not known, the first thing's own."""
        try:
            return self._block(node, binding).span()
        except Unwritable:
            first = next(
                variable for variable in (each.variable for each in self.rule.each) if variable in binding.rows
            )
            return next(span for _, span, _ in self._things((first,), False))

    def _lines(self, noun: str, filled: Sequence[Statement], binding: Frame) -> Iterator[tuple[str, str]]:
        """The properties of a block that is added; what it need not say is left out where it is not known."""
        for line in filled:
            try:
                yield line.word, " ".join(self._text(value, binding, line.word) for value in line.values)
            except Unwritable:
                if BY_NOUN[noun].properties[line.word].required:
                    raise

    # -- things that are moved -----------------------------------------------------------------------

    def _moved(self, action: Action) -> Iterator[Change]:
        thing, *others = [one for one in action.values if isinstance(one.value, Ref)]
        variable, *fields = thing.value.parts
        if others[0].value.parts[0] in self.frame.measured:
            yield from self._to((variable,), others[0])
        elif fields == ["at"]:
            yield from self._along_its_way((variable,), others[0])
        elif fields == ["stumps"]:
            yield from self._off((variable,), others[0])

    def _to(self, thing: tuple[str, ...], where: Written) -> Iterator[Change]:
        """A thing set at places that a measure gives, nearest first; of a bed its point alone is written otherwise."""
        beds = self._bound(thing)[0] in _OF_BEDS
        for binding, span, _ in self._things(thing, False):
            if beds and self._at(span).span() == span:
                raise Unwritable("no bed is written that could be moved")
            found = value(self.context, binding, where)
            if not found.mask[0]:
                raise Unwritable(found.why or "no better place is found for it")
            places = shapely.get_coordinates(found.values[0]).tolist()
            texts = (point(east, north, self.scene.units) for east, north in places)
            yield Change("set", span, "" if beds else "at", tuple(dict.fromkeys(texts)))

    def _along_its_way(self, thing: tuple[str, ...], way: Written) -> Iterator[Change]:
        """A thing's other places along the paths that a field of it names, nearest first."""
        for _, span, _ in self._things(thing, False):
            block = self._at(span)
            place = self.scene.shape_of(block)
            names = [str(one.value) for one in self.scene.plan.values(block, way.value.parts[-1])]
            paths = [path for name in names if isinstance(path := self.scene.plan.names.get(name), Path)]
            lines = [(path, line) for path in paths if isinstance(line := self.scene.shape_of(path), LineString)]
            if not lines or not isinstance(place, Point):
                raise Unwritable("it names no path that is drawn (`reach`)")
            path, line = min(lines, key=lambda one: one[1].distance(place))
            here = line.project(place)
            offs = [off * _STEP for step in _STEPS for off in (-step, step)]
            texts = [station(path.name, here + off, self.scene.units) for off in offs if 0 <= here + off <= line.length]
            yield Change("set", span, "at", tuple(texts))

    def _off(self, things: tuple[str, ...], from_: Written) -> Iterator[Change]:
        """The stumps of rows and trees moved straight away from a thing, by what is measured too little."""
        first = self.frame.take(np.array([0]))
        missing = self._missing(first) + _SPARE
        shape = self._shape(value(self.context, first, from_))
        for _, span, _ in self._things(things, False):
            block = self._at(span)
            word = "at" if isinstance(block, Tree) else "stumps"
            yield Change("set", span, word, (self._stumps_off(block, word, shape, missing),))

    def _missing(self, first: Frame) -> float:
        """By how much a length is off its limit, by the comparison that made the finding."""
        for report in self.rule.reports:
            if report.when is not None and holds(self.context, first, report.when).holds[0]:
                sides = (value(self.context, first, side) for side in (report.when.value.left, report.when.value.right))
                left, right = sides
                if left.kind == "length":
                    return abs(float(right.values[0]) - float(left.values[0]))
        raise Unwritable("nobody knows how far it is to be moved")

    def _shape(self, thing: Column) -> BaseGeometry:
        table = self.context.table(thing.kind.removeprefix("thing:"))
        field = next((name for name in ("ground", "shape", "line", "at") if table.has(name)), "")
        shape = table.column(field).values[int(thing.values[0])] if field else None
        if shape is None:
            raise Unwritable("it is off nothing that has a place")
        return shape

    def _stumps_off(self, block: Block, word: str, shape: BaseGeometry, by: float) -> str:
        statement = block.first(word)
        line = self.scene.shape_of(block)
        if statement is None or not isinstance(line, LineString | Point):
            raise Unwritable("its stumps are not written there")
        units = self.scene.units
        first = statement.values[0]
        if len(statement.values) == 1 and isinstance(first.value, Beside):
            return self._farther(block, statement, first.value, by)
        if any(one.kind != "point" for one in statement.values):
            raise Unwritable("its stumps are not written as points")
        start, end = (np.array(one.coords[0]) for one in shapely.get_parts(_ends(shape, line)))
        away = end - start
        far = float(np.hypot(*away))
        if far < 0.01:
            raise Unwritable("it stands on the very line")
        moved = [
            np.array([one.value.east, one.value.north]) * self.scene.placer.unit + away / far * by
            for one in statement.values
        ]
        return " ".join(point(float(east), float(north), units) for east, north in moved)

    def _farther(self, block: Block, statement: Statement, beside: Beside, by: float) -> str:
        """A line beside a path, farther from it by a length, to half a unit of the plan."""
        units = self.scene.units
        wider = math.ceil((self.scene.placer.metres(beside.offset) + by) / UNITS[units][1] * 2 - 1e-6) / 2
        said, offset = block.span(statement), block.span(beside.offset)
        text = said.source.text
        return f"{text[said.start : offset.start]}{plain(wider, 1)}{units}{text[offset.end : said.end]}".removeprefix(
            f"{statement.word} "
        )

    # -- values as a plan writes them ----------------------------------------------------------------

    def _ways(self, nodes: Sequence[Written], binding: Frame) -> tuple[str, ...]:
        """Values that are tried in turn, each of a list by itself; those not known are none of them."""
        texts: list[str] = []
        why = ""
        for node in nodes:
            try:
                said = self._text(node, binding)
            except Unwritable as error:
                why = why or str(error)
            else:
                texts += said.split(" ") if self._is_list(node, binding) else [said]
        if not texts:
            raise Unwritable(why)
        return tuple(dict.fromkeys(texts))

    def _is_list(self, node: Written, binding: Frame) -> bool:
        thing = node.value
        return isinstance(thing, Ref) and self._is_known(thing) and value(self.context, binding, node).kind == "list"

    def _text(self, node: Written, binding: Frame, word: str = "") -> str:
        """A value as the plan writes it, of a property where that is known: what is told of a tree is in feet."""
        thing = node.value
        if isinstance(thing, Aim):
            return f"{thing.word.replace('away', 'away from')} {self._named(thing.thing, binding)}"
        if isinstance(thing, Ref) and not self._is_known(thing):
            return ".".join(thing.parts)  # a word of the plan language
        if isinstance(thing, str):
            return f'"{thing}"'
        if isinstance(thing, Constant):
            return self._written(Fact(thing.value, thing.kind, thing.unit))
        found = value(self.context, binding, node)
        if not found.mask[0]:
            raise Unwritable(found.why or "what it would write is not known")
        if found.kind == "name" or found.kind.startswith("thing:"):
            return self._block(node, binding).name
        one = found.values[0]
        unit = found.unit or ("ft" if word in OF_TREES and self.scene.units == "yd" else "")
        return self._written(Fact(one.item() if isinstance(one, np.generic) else one, found.kind, unit))

    def _is_known(self, ref: Ref) -> bool:
        first, *fields = ref.parts
        known = first in self.frame.rows or first in self.frame.measured or first in self.context.limits
        return known or (first == "plan" and bool(fields))

    def _named(self, node: Written, binding: Frame) -> str:
        """The name of what a fall is aimed by; of a walk, its path nearest the first thing at fault."""
        parts = node.value.parts if isinstance(node.value, Ref) else ()
        rows = binding.rows.get(parts[0]) if len(parts) == 1 else None
        if rows is None or rows.plural != "walks":
            return self._block(node, binding).name
        names = self.context.table("walks").names(int(rows.rows[0]))
        paths = [path for name in sorted(names) if isinstance(path := self.scene.plan.names.get(name), Path)]
        place = self._place(binding)
        lines = [(path, line) for path in paths if (line := self.scene.shape_of(path)) is not None]
        if not lines:
            raise Unwritable("the walk has no path of its own")
        return min(lines, key=lambda one: one[1].distance(place) if place is not None else 0.0)[0].name

    def _place(self, binding: Frame) -> BaseGeometry | None:
        """Where the first thing at fault stands."""
        for rows in binding.rows.values():
            table = self.context.table(rows.plural)
            field = next((name for name in ("stump", "shape") if table.has(name)), "")
            if rows.plural != "walks" and field:
                place: BaseGeometry | None = table.column(field).values[int(rows.rows[0])]
                return place
        return None

    def _written(self, fact: Fact) -> str:
        size: Any = fact.value
        units = self.scene.units
        if fact.kind == "place":
            if size is None or size.is_empty:
                raise Unwritable("the rule found no place for it")
            return point(float(size.x), float(size.y), units)
        if fact.kind in ("bearing", "angle"):
            return angle((float(size) - self.scene.placer.to_true) % 360)
        if fact.kind == "shape" and isinstance(size, LineString):
            return " ".join(point(east, north, units) for east, north in size.coords)
        if fact.kind in ("share", "density"):
            return show(float(size), fact.kind, units)
        if fact.kind == "length":
            return length(float(size), fact.unit or units)
        if fact.kind == "list":
            if not size:
                raise Unwritable("nothing is given that it could write")
            return " ".join(str(one) for one in size)
        if isinstance(size, float) and size == int(size):
            return str(int(size))
        return str(size)


def _ends(shape: BaseGeometry, line: LineString) -> BaseGeometry:
    """The two ends of the shortest line from a shape to a row, as points."""
    ends = shapely.get_coordinates(shapely.shortest_line(shape, line))
    return shapely.multipoints(ends)
