"""Expressions of the rule language worked out over many things at once.

A frame binds each variable to rows of its table, all of one length n; an
expression over it is a column of n values, a condition three masks of n: true,
known, and (where unknown) why. Only lists of words are looked into thing by thing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import shapely

from habitatlint.findings import Fact
from habitatlint.ground.columns import NUMBERS, Array, Column, Indices, Mask, Table, distinct, either_estimated
from habitatlint.ground.scene import Scene
from habitatlint.measures.vocabulary import Measured, Rows, Vocabulary, shapes
from habitatlint.reading.values import Written
from habitatlint.rulebook.expressions import (
    Aggregate,
    Both,
    Bound,
    Call,
    Compare,
    Constant,
    Either,
    Is,
    Negation,
    Quantified,
    Ref,
    Sum,
)  # fmt: skip
from habitatlint.units import TOLERANCE

#: most pairs that are looked at in one go
MOST_PAIRS = 4_000_000


class Unjudgeable(Exception):
    """What a rule asks cannot be worked out on this plan, and why: a finding, never silence."""


class Truth(NamedTuple):
    """A condition over n things: where it holds, and where that is known."""

    holds: Mask
    known: Mask
    why: Sequence[tuple[Mask, str]] = ()

    def reason(self, index: int) -> str:
        return next((text for mask, text in self.why if mask[index]), "something it needs is not given")


class Context(NamedTuple):
    """What expressions are worked out against: the scene, the limits in force, today."""

    scene: Scene
    vocabulary: Vocabulary
    limits: Mapping[str, Fact]
    lists: Mapping[str, tuple[str, ...]]
    today: int
    tables: Mapping[str, Table] = {}

    def table(self, plural: str) -> Table:
        return self.tables.get(plural) or self.scene.table(plural)


class Frame:
    """n bindings of variables to rows, and of measures to what was measured for each."""

    def __init__(
        self,
        size: int,
        rows: dict[str, Rows] | None = None,
        measured: dict[str, Measured] | None = None,
        items: dict[str, Column] | None = None,
    ) -> None:
        self.size = size
        self.rows = rows or {}
        self.measured = measured or {}
        #: items of a list that a variable runs over
        self.items = items or {}

    def take(self, which: Indices) -> Frame:
        return Frame(
            len(which),
            {name: Rows(rows.plural, rows.rows[which]) for name, rows in self.rows.items()},
            {name: _take(one, which) for name, one in self.measured.items()},
            {name: column.take(which) for name, column in self.items.items()},
        )


def _take(one: Measured, which: Indices) -> Measured:
    parts = {name: _at(part, which) for name, part in one.parts.items()}
    return Measured(one.value.take(which), parts)


def _at(part: Callable[[Indices], Column], which: Indices) -> Callable[[Indices], Column]:
    return lambda rows: part(which[rows])


def value(context: Context, frame: Frame, node: Written) -> Column:
    """The column of an expression."""
    return measured(context, frame, node).value


def measured(context: Context, frame: Frame, node: Written) -> Measured:
    """An expression's column with the parts a measure gives it."""
    thing = node.value
    if isinstance(thing, Ref):
        return _reference(context, frame, thing)
    if isinstance(thing, Constant):
        return Measured(_constant(thing.kind, thing.value, frame.size, thing.unit))
    if isinstance(thing, Call):
        return _call(context, frame, thing)
    if isinstance(thing, Sum):
        return Measured(_sum(context, frame, thing))
    if isinstance(thing, Aggregate):
        return Measured(_aggregate(context, frame, thing))
    raise TypeError(f"no expression: {type(thing).__name__}")


def _constant(kind: str, one: Any, size: int, unit: str = "") -> Column:
    if kind in NUMBERS:
        return Column(kind, np.full(size, float(one)), unit=unit)
    values = np.empty(size, object)
    values[:] = [one] * size
    return Column(kind, values, unit=unit)


def _reference(context: Context, frame: Frame, ref: Ref) -> Measured:
    first, *fields = ref.parts
    if first in frame.measured:
        one = frame.measured[first]
        if not fields:
            return one
        part = one.parts[fields[0]](np.arange(frame.size))
        return Measured(_fields(context, part, fields[1:]))
    if first in frame.items:
        return Measured(_fields(context, frame.items[first], fields))
    if first in frame.rows:
        rows = frame.rows[first]
        return Measured(_fields(context, Column(f"thing:{rows.plural}", rows.rows), fields))
    if first in context.limits:
        limit = context.limits[first]
        return Measured(_constant(limit.kind, limit.value, frame.size, limit.unit))
    if first in context.lists:
        return Measured(_constant("list", context.lists[first], frame.size))
    if first == "today":
        return Measured(_constant("date", context.today, frame.size))
    if first == "plan":
        return Measured(_fields(context, Column("thing:plans", np.zeros(frame.size, np.intp)), fields))
    raise Unjudgeable(f"nothing here is called `{first}`")


def _fields(context: Context, start: Column, fields: list[str]) -> Column:
    """A column, then fields of the things in it, one after another."""
    found = start
    for name in fields:
        plural = found.kind.removeprefix("thing:")
        whole = context.table(plural).column(name)
        if found.known is None and len(whole) and found.values.min(initial=0) >= 0:  # all are there: nothing to mask
            taken = whole.take(found.values)
            known = None if taken.known is None or taken.known.all() else taken.known
            found = Column(taken.kind, taken.values, known, taken.estimated, taken.why or found.why, taken.unit)
            continue
        rows = np.where(found.mask, found.values, 0).astype(np.intp)
        if not len(whole):
            return Column(whole.kind, np.full(len(rows), None, object), np.zeros(len(rows), bool), None, found.why)
        taken = whole.take(rows)
        known = taken.mask & found.mask & (found.values >= 0)
        found = Column(taken.kind, taken.values, None if known.all() else known, taken.estimated,
                       taken.why or found.why, taken.unit)  # fmt: skip
    return found


def _argument(context: Context, frame: Frame, node: Written, wanted: str) -> Any:
    """What a measure is handed: rows of a plural, shapes of anything placed, or a column."""
    found = value(context, frame, node)
    if not found.kind.startswith("thing:"):
        return found
    plural = found.kind.removeprefix("thing:")
    if wanted in ("shape", "place"):
        return _fields(context, found, ["shape"])
    return Rows(plural, found.values)


def _call(context: Context, frame: Frame, call: Call) -> Measured:
    signature = context.vocabulary.measures[call.name]
    arguments = [
        _argument(context, frame, argument, wanted)
        for argument, wanted in zip(call.arguments, signature.takes, strict=True)
    ]
    missing = [one.mask for one in arguments if isinstance(one, Column) and one.known is not None]
    try:
        found = signature.function(context.scene, *arguments)
    except (shapely.errors.GEOSException, ArithmeticError, ValueError) as error:
        raise Unjudgeable(f"`{call.name}` cannot be worked out here: {error}") from error
    result = found if isinstance(found, Measured) else Measured(found)
    if missing:
        whole = np.logical_and.reduce([result.value.mask, *missing])
        why = next((one.why for one in arguments if isinstance(one, Column) and one.why), result.value.why)
        column = result.value
        result = Measured(Column(column.kind, column.values, whole, column.estimated, why, column.unit), result.parts)
    return result


def _sum(context: Context, frame: Frame, node: Sum) -> Column:
    left, right = value(context, frame, node.left), value(context, frame, node.right)
    if node.sign == "*":
        kind = right.kind if left.kind in ("number", "count") else left.kind
        values = left.values * right.values
    else:
        kind = left.kind
        amount = right.values
        if left.kind == "date" and right.kind == "duration":
            amount = amount / 24
        values = left.values + amount if node.sign == "+" else left.values - amount
        if left.kind == right.kind == "date":
            kind, values = "duration", values * 24
    known = left.mask & right.mask
    return Column(kind, values, None if known.all() else known, either_estimated(left, right), left.why or right.why,
                  left.unit or right.unit)  # fmt: skip


# -- conditions ------------------------------------------------------------------------------------------


def holds(context: Context, frame: Frame, node: Written) -> Truth:
    """Where a condition holds, in three-valued logic."""
    thing = node.value
    if isinstance(thing, Both | Either):
        return _several(context, frame, thing)
    if isinstance(thing, Negation):
        inner = holds(context, frame, thing.condition)
        return Truth(~inner.holds & inner.known, inner.known, inner.why)
    if isinstance(thing, Is):
        return _is(context, frame, thing)
    if isinstance(thing, Compare):
        return compare(value(context, frame, thing.left), thing.sign, value(context, frame, thing.right))
    if isinstance(thing, Quantified):
        return _quantified(context, frame, thing)
    found = value(context, frame, node)
    return Truth(found.values.astype(bool) & found.mask, found.mask, [(~found.mask, found.why)])


def _several(context: Context, frame: Frame, node: Both | Either) -> Truth:
    truths = [holds(context, frame, condition) for condition in node.conditions]
    why = [reason for truth in truths for reason in truth.why]
    true = np.array([truth.holds & truth.known for truth in truths])
    false = np.array([~truth.holds & truth.known for truth in truths])
    if isinstance(node, Both):
        whole, none = np.logical_and.reduce(true), np.logical_or.reduce(false)
    else:
        whole, none = np.logical_or.reduce(true), np.logical_and.reduce(false)
    return Truth(np.asarray(whole), np.asarray(whole | none), why)


def compare(left: Column, sign: str, right: Column) -> Truth:
    """Two quantities compared; within a centimetre two lengths on the ground are the same. Diameters
    and what else is written in inches are not: a centimetre is 0.4 in."""
    known = left.mask & right.mask
    slack = TOLERANCE if left.kind == "length" and "in" not in (left.unit, right.unit) else 1e-9
    with np.errstate(invalid="ignore"):
        difference = np.where(known, left.values, 0).astype(float) - np.where(known, right.values, 0).astype(float)
    found = {
        "<": difference < -slack, "<=": difference <= slack, ">": difference > slack, ">=": difference >= -slack,
    }[sign]  # fmt: skip
    # without a reason it is placed nowhere, and a slip has told that: it stays without one
    why = [(~one.mask, one.why) for one in (left, right) if one.known is not None]
    return Truth(found & known, known, why)


def _is(context: Context, frame: Frame, node: Is) -> Truth:
    """`x is WORD`: an adjective of a thing, missing, a word, or the same thing. What is not given
    is missing and no word, so this is always known, but for adjectives that nobody can tell."""
    words = [str(word.value) for word in node.words]
    found = value(context, frame, node.operand)
    same = np.zeros(frame.size, bool)
    known = np.ones(frame.size, bool)
    why: list[tuple[Mask, str]] = []
    for word in words:
        one = _same(context, frame, found, word)
        same |= one.holds & one.known
        known &= one.known | same
        why += one.why
    return Truth((~same if node.negated else same) & known, known, why)


def _same(context: Context, frame: Frame, found: Column, word: str) -> Truth:
    everywhere = np.ones(frame.size, bool)
    if word == "missing":
        return Truth(~found.mask, everywhere)
    first = word.split(".")[0]
    if first in frame.rows or first in frame.items or first in frame.measured:
        other = _reference(context, frame, Ref(tuple(word.split(".")))).value
        same = _names(context, found) == _names(context, other)
        return Truth(np.asarray(same) & found.mask & other.mask, everywhere)
    if found.kind.startswith("thing:"):
        table = context.table(found.kind.removeprefix("thing:"))
        if found.kind == "thing:slips":
            kinds = _fields(context, found, ["kind"])
            return Truth(np.asarray(kinds.values == word), everywhere)
        if table.has(word):
            adjective = _fields(context, found, [word])
            true = np.where(adjective.mask, adjective.values, False).astype(bool)
            # a thing that is not there is nothing
            known = adjective.mask | ~found.mask | (found.values < 0)
            return Truth(true, known, [(~known, adjective.why)])
        return Truth(np.asarray(_names(context, found) == word), everywhere)
    if found.kind == "truth":
        wanted = word == "yes"
        return Truth((found.values.astype(bool) == wanted) & found.mask, everywhere)
    if found.kind == "list":
        given = zip(found.values, found.mask, strict=True)
        return Truth(np.array([bool(there) and word in one for one, there in given], bool), everywhere)
    return Truth(np.asarray(found.values == word) & found.mask, everywhere)


def _names(context: Context, found: Column) -> Array:
    """Things by their names, so that things of different tables can be told apart; trees by number."""
    if not found.kind.startswith("thing:"):
        return found.values
    plural = found.kind.removeprefix("thing:")
    table = context.table(plural)
    if not table.has("name"):
        return found.values
    names = np.array([*table.column("name").values, None], object)
    return names[np.where(found.mask, found.values, -1).astype(np.intp)]


# -- over other things -------------------------------------------------------------------------------------


def expand(
    context: Context, frame: Frame, variable: str, plural: Written, bound: Bound | None
) -> tuple[Frame, Indices]:
    """The frame with a further variable, one row for each pair; and the outer row of each."""
    parts = plural.value.parts
    if len(parts) > 1:
        return _over_field(context, frame, variable, parts)
    name = parts[0]
    if name in context.lists:
        words = context.lists[name]
        outer = np.repeat(np.arange(frame.size), len(words))
        grown = frame.take(outer)
        items = np.empty(len(outer), object)
        items[:] = list(words) * frame.size
        grown.items[variable] = Column("word", items)
        return grown, outer
    table = context.table(name)
    if bound is not None:
        outer, inner = _near(context, frame, name, bound)
    else:
        if frame.size * table.size > MOST_PAIRS:
            raise Unjudgeable(f"too many pairs of {name}: the rule needs a `within`")
        outer = np.repeat(np.arange(frame.size), table.size)
        inner = np.tile(np.arange(table.size), frame.size)
    keep = np.ones(len(outer), bool)
    for rows in frame.rows.values():
        if rows.plural == name:  # never a thing with itself
            keep &= rows.rows[outer] != inner
    outer, inner = outer[keep], inner[keep]
    grown = frame.take(outer)
    grown.rows[variable] = Rows(name, inner)
    return grown, outer


def _over_field(context: Context, frame: Frame, variable: str, parts: tuple[str, ...]) -> tuple[Frame, Indices]:
    """A variable over the several values of a field: `g in c.gear`, `t in k.trees`."""
    found = _reference(context, frame, Ref(parts)).value
    lists = [one if one is not None else () for one in found.values]
    counts = np.array([len(one) for one in lists], int)
    outer = np.repeat(np.arange(frame.size), counts)
    grown = frame.take(outer)
    if found.kind.startswith("things:"):
        inner = np.concatenate([np.asarray(one, np.intp) for one in lists]) if len(outer) else np.zeros(0, np.intp)
        grown.rows[variable] = Rows(found.kind.removeprefix("things:"), inner)
    else:
        items = np.empty(len(outer), object)
        items[:] = [item for one in lists for item in one]
        grown.items[variable] = Column("name", items)
    return grown, outer


def _near(context: Context, frame: Frame, plural: str, bound: Bound) -> tuple[Indices, Indices]:
    """Pairs of outer rows and rows of a plural that lie within a distance, by the spatial index."""
    here, limit, field_of = sides(context, frame, plural, bound)
    there = context.table(plural).column(field_of)
    distances = np.where(limit.mask, limit.values, 0).astype(float) + TOLERANCE
    if len(there) > frame.size:
        index = _index(context, plural, field_of, there)
        outer, inner = index.query(here, predicate="dwithin", distance=distances)
    else:
        # a few things against many: look the many up from the few
        index = shapely.STRtree(here)
        widest = float(distances.max()) if len(distances) else 0.0
        inner, outer = index.query(shapes(there), predicate="dwithin", distance=widest)
        if len(distinct(distances)) > 1:
            close = shapely.dwithin(here[outer], shapes(there)[inner], distances[outer])
            outer, inner = outer[close], inner[close]
    if len(outer) > MOST_PAIRS:
        raise Unjudgeable(f"more than {MOST_PAIRS // 1_000_000} million pairs lie so near each other")
    order = np.lexsort((inner, outer))
    return outer[order], inner[order]


def sides(context: Context, frame: Frame, plural: str, bound: Bound) -> tuple[Array, Column, str]:
    """What a bound runs from (a shape for each row of the frame), how far it reaches, and the field of the plural's
    things that it runs to."""
    limit = value(context, frame, bound.distance)
    place = _argument(context, frame, bound.of, "shape")
    if not isinstance(place, Column):
        raise Unjudgeable("a bound needs something with a place")
    return shapes(place), limit, _field_of(frame, bound.of, plural)


def _field_of(frame: Frame, of: Written, plural: str) -> str:
    """Of two of one plural the same field is paired: barriers with barriers."""
    parts = of.value.parts if isinstance(of.value, Ref) else ()
    same = len(parts) == 2 and parts[0] in frame.rows and frame.rows[parts[0]].plural == plural
    return parts[1] if same else "shape"


def _index(context: Context, plural: str, field_name: str, there: Column) -> shapely.STRtree:
    key = ("index", plural, field_name)
    found = context.scene.memo.get(key)
    if found is None:
        found = context.scene.memo[key] = shapely.STRtree(shapes(there))
    return found


def _quantified(context: Context, frame: Frame, node: Quantified) -> Truth:
    grown, outer = expand(context, frame, node.variable, node.plural, node.bound)
    inner = holds(context, grown, node.condition)
    true = np.bincount(outer[inner.holds & inner.known], minlength=frame.size) > 0
    unknown = np.bincount(outer[~inner.known], minlength=frame.size) > 0
    false = np.bincount(outer[~inner.holds & inner.known], minlength=frame.size) > 0
    why = [(_spread(mask, outer, frame.size), text) for mask, text in inner.why]
    if node.word == "every":
        return Truth(~false & ~unknown, false | ~unknown, why)
    found = Truth(true, true | ~unknown, why)
    if node.word == "any":
        return found
    return Truth(~found.holds & found.known, found.known, why)


def _spread(mask: Mask, outer: Indices, size: int) -> Mask:
    return np.asarray(np.bincount(outer[mask], minlength=size) > 0)


def _aggregate(context: Context, frame: Frame, node: Aggregate) -> Column:
    grown, outer = expand(context, frame, node.variable, node.plural, node.bound)
    of_all = np.bincount(outer, minlength=frame.size).astype(float)
    unknown = np.zeros(frame.size, bool)
    why = ""
    if node.condition is not None:
        inner = holds(context, grown, node.condition)
        unknown = np.bincount(outer[~inner.known], minlength=frame.size) > 0
        why = next((text for mask, text in inner.why if mask.any()), "")
        keep = np.flatnonzero(inner.holds & inner.known)
        grown, outer = grown.take(keep), outer[keep]
    counted = np.bincount(outer, minlength=frame.size).astype(float)
    if node.word == "count":
        return Column("count", counted, ~unknown if unknown.any() else None, None, why)
    if node.word == "share":
        with np.errstate(invalid="ignore", divide="ignore"):
            shares = counted / of_all
        known = (of_all > 0) & ~unknown
        return Column("share", shares, None if known.all() else known, None, why or "there is none")
    assert node.value is not None
    each = value(context, grown, node.value)
    known_each = each.mask
    numbers = np.where(known_each, each.values, 0).astype(float)
    if node.word == "sum":
        found = np.bincount(outer[known_each], weights=numbers[known_each], minlength=frame.size)
    else:
        least = node.word == "smallest"
        found = np.full(frame.size, np.inf if least else -np.inf)
        (np.minimum if least else np.maximum).at(found, outer[known_each], numbers[known_each])
    known = np.bincount(outer[known_each], minlength=frame.size) > 0
    known &= ~unknown
    return Column(each.kind, np.where(known, found, np.nan), None if known.all() else known,
                  None, why or each.why or "there is none", each.unit)  # fmt: skip
