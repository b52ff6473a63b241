"""What a rule's mends would change: their actions with every value worked out for the things at fault."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from habitatlint.findings import Change, Fact
from habitatlint.ground.columns import Column
from habitatlint.language.blocks import Block, Path, Row
from habitatlint.language.editing import Unwritable
from habitatlint.language.writing import angle, length, point, station
from habitatlint.reading.grammar import Statement
from habitatlint.reading.values import Beside, Written
from habitatlint.rulebook.evaluation import Context, Frame, Unjudgeable, value
from habitatlint.rulebook.expressions import Aim, Constant, Ref
from habitatlint.rulebook.rules import Action, Remedy, Rule, placeholders
from habitatlint.source import Span
from habitatlint.units import YARD

#: a stand is moved along its way by such steps, and so often each way
_STEP, _STEPS = 5 * YARD, 10
#: a row is moved so much farther than the limit asks, and to whole units
_SPARE = 0.5 * YARD


class Changes:
    """The changes of a rule's remedies for the bindings of one finding, the worst binding first."""

    def __init__(self, rule: Rule, context: Context, frame: Frame) -> None:
        self.rule, self.context, self.frame = rule, context, frame
        self.scene = context.scene

    def of(self, remedy: Remedy) -> tuple[Change, ...]:
        """Raises Unwritable where a value is not known, or a thing has no block of its own."""
        apart = {str(action.values[0].value.parts[0]) for action in remedy.actions if action.word == "split"}
        try:
            found = [change for action in remedy.actions for change in self._changes(action, apart)]
        except Unjudgeable as error:
            raise Unwritable(str(error)) from None
        return tuple(dict.fromkeys(found))

    def _changes(self, action: Action, apart: set[str]) -> Iterator[Change]:
        if action.word == "add":
            yield from self._added(action)
        elif action.word in ("set", "remove", "turn"):
            yield from self._set(action, apart)
        elif action.word == "move":
            yield from self._moved(action)

    # -- the things a change is on -------------------------------------------------------------------

    def _set(self, action: Action, apart: set[str]) -> Iterator[Change]:
        variable, *fields = action.values[0].value.parts
        word = "remove" if action.word == "remove" else "set"
        for binding, span, number in self._things(variable, variable in apart or action.word == "turn"):
            if word == "set" and action.word == "turn":
                texts = tuple(self._text(value, binding) for value in action.values[1:])
            else:
                texts = (" ".join(self._text(value, binding) for value in action.values[1:]),) if word == "set" else ()
            of_slip = variable in self.frame.rows and self.frame.rows[variable].plural == "slips"
            yield Change(word, span, fields[0] if fields and not of_slip else "", texts, number)

    def _things(self, variable: str, alone: bool) -> Iterator[tuple[Frame, Span, int]]:
        """Each different block that a variable is bound to, with the first binding that is on it and, where its
        trees are meant one by one and not all are at fault, the tree's number."""
        rows = self.frame.rows.get(variable)
        if rows is None:
            raise Unwritable(f"`{variable}` is no thing of the plan")
        table, trees = self.context.table(rows.plural), self.scene.trees
        of_trees = rows.plural == "trees"
        whole: set[int] = set()
        if of_trees and alone:
            at_fault = np.unique(rows.rows)
            blocks, counts = np.unique(trees.block[at_fault], return_counts=True)
            sizes = {int(block): len(trees.rows_of(trees.blocks[int(block)])) for block in blocks}
            whole = {int(block) for block, count in zip(blocks, counts, strict=True) if count == sizes[int(block)]}
        seen: set[tuple[int, int]] = set()
        for index, row in enumerate(rows.rows.tolist()):
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
            lines = tuple((line.word, self._line(line, binding)) for line in action.filled)
            yield Change("add", self._after(after[-1], binding), noun=str(noun.value), name=said, lines=lines)

    def _after(self, node: Written, binding: Frame) -> Span:
        """The block after which one is added; where that is not known, the first thing's own."""
        try:
            return self._block(node, binding).span()
        except Unwritable:
            first = next(
                variable for variable in (each.variable for each in self.rule.each) if variable in binding.rows
            )
            return next(span for _, span, _ in self._things(first, False))

    def _line(self, line: Statement, binding: Frame) -> str:
        return " ".join(self._text(value, binding) for value in line.values)

    # -- things that are moved -----------------------------------------------------------------------

    def _moved(self, action: Action) -> Iterator[Change]:
        thing, *others = [one for one in action.values if isinstance(one.value, Ref)]
        variable, *fields = thing.value.parts
        if fields == ["at"]:
            yield from self._along_its_way(variable, others[0])
        elif fields == ["stumps"]:
            yield from self._off(variable, others[0])

    def _along_its_way(self, variable: str, way: Written) -> Iterator[Change]:
        """A thing's other places along the paths that a field of it names, nearest first."""
        for _, span, _ in self._things(variable, False):
            block = next(one for one in self.scene.plan.blocks if one.span() == span)
            place = self.scene.shape_of(block)
            names = [str(one.value) for one in self.scene.plan.values(block, way.value.parts[-1])]
            paths = [path for name in names if isinstance(path := self.scene.plan.names.get(name), Path)]
            lines = [(path, line) for path in paths if isinstance(line := self.scene.shape_of(path), LineString)]
            if not lines or not isinstance(place, Point):
                raise Unwritable("no path leads by it")
            path, line = min(lines, key=lambda one: one[1].distance(place))
            here = line.project(place)
            offs = [off * _STEP for step in range(1, _STEPS + 1) for off in (-step, step)]
            texts = [station(path.name, here + off, self.scene.units) for off in offs if 0 <= here + off <= line.length]
            yield Change("set", span, "at", tuple(texts))

    def _off(self, variable: str, from_: Written) -> Iterator[Change]:
        """A row's stumps moved straight away from a thing, by what is measured too little."""
        report = next((one for one in self.rule.reports if one.when is not None), None)
        if report is None or report.when is None:
            raise Unwritable("nobody knows how far it is to be moved")
        first = self.frame.take(np.array([0]))
        left, right = (value(self.context, first, side) for side in (report.when.value.left, report.when.value.right))
        missing = float(right.values[0]) - float(left.values[0]) + _SPARE
        thing = value(self.context, first, from_)
        shape = self._shape(thing)
        for _, span, _ in self._things(variable, False):
            block = next(one for one in self.scene.plan.blocks if one.span() == span)
            yield Change("set", span, "stumps", (self._stumps_off(block, shape, missing),))

    def _shape(self, thing: Column) -> BaseGeometry:
        table = self.context.table(thing.kind.removeprefix("thing:"))
        field = next((name for name in ("shape", "line", "at") if table.has(name)), "")
        shape = table.column(field).values[int(thing.values[0])] if field else None
        if shape is None:
            raise Unwritable("it is off nothing that has a place")
        return shape

    def _stumps_off(self, block: Block, shape: BaseGeometry, by: float) -> str:
        statement = block.first("stumps")
        line = self.scene.shape_of(block)
        if statement is None or not isinstance(line, LineString):
            raise Unwritable("its stumps are not written there")
        units = self.scene.units
        start, end = (np.array(one.coords[0]) for one in shapely.get_parts(_ends(shape, line)))
        away = end - start
        far = float(np.hypot(*away))
        if far < 0.01:
            raise Unwritable("it stands on the very line")
        first = statement.values[0]
        if len(statement.values) == 1 and isinstance(first.value, Beside):
            raise Unwritable("its stumps follow another line: widen their distance from it")
        if any(one.kind != "point" for one in statement.values):
            raise Unwritable("its stumps are not written as points")
        moved = [
            np.array([one.value.east, one.value.north]) * self.scene.placer.unit + away / far * by
            for one in statement.values
        ]
        return " ".join(point(float(east), float(north), units) for east, north in moved)

    # -- values as a plan writes them ----------------------------------------------------------------

    def _text(self, node: Written, binding: Frame) -> str:
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
        return self._written(Fact(one.item() if isinstance(one, np.generic) else one, found.kind, found.unit))

    def _is_known(self, ref: Ref) -> bool:
        first = ref.parts[0]
        return first in self.frame.rows or first in self.frame.measured or first in self.context.limits

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
        for rows in binding.rows.values():
            if rows.plural == "trees":
                place: BaseGeometry = self.scene.trees.stump[int(rows.rows[0])]
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
        if fact.kind == "length":
            return length(float(size), fact.unit or units)
        if isinstance(size, float) and size == int(size):
            return str(int(size))
        return str(size)


def _ends(shape: BaseGeometry, line: LineString) -> BaseGeometry:
    """The two ends of the shortest line from a shape to a row, as points."""
    ends = shapely.get_coordinates(shapely.shortest_line(shape, line))
    return shapely.multipoints(ends)
