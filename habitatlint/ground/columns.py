"""Things of a plan as tables of columns: how rules see a scene.

A table is one plural of the rule language (`trees`, `paths`, `walks` ...). A
column holds one value a row, with its kind, what is known of it, and whether
it rests on an estimate. Columns are worked out when first asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from habitatlint.findings import Related
from habitatlint.source import Span

Array = npt.NDArray[Any]
Mask = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Column:
    """Values of one kind, one a row.

    Kinds: "length" (m), "area" (sq m), "share" (fraction), "count", "number", "angle" and
    "bearing" (degrees), "speed", "density", "basal-area", "volume", "dose", "duration" (hours),
    "date" (ordinal day), "window", "word", "text", "name", "truth", "shape" (shapely geometry),
    "place" (point), "list" (tuples of words or names), "thing:PLURAL" (row numbers, -1 for none)
    and "things:PLURAL" (arrays of row numbers). `known` and `estimated` are None where all are known
    and none estimated; `why` says what is missing where a value is unknown.
    """

    kind: str
    values: Array
    known: Mask | None = None
    estimated: Mask | None = None
    why: str = ""
    #: the unit a person wrote such values in, for showing them ("in" for diameters)
    unit: str = ""

    def __len__(self) -> int:
        return len(self.values)

    def take(self, rows: Indices) -> Column:
        return Column(
            self.kind,
            self.values[rows],
            None if self.known is None else self.known[rows],
            None if self.estimated is None else self.estimated[rows],
            self.why,
            self.unit,
        )

    @property
    def mask(self) -> Mask:
        """Where the value is known, as an array."""
        return np.ones(len(self.values), bool) if self.known is None else self.known


def column(kind: str, values: list[Any], why: str = "", unit: str = "") -> Column:
    """A column from a list in which None is unknown."""
    known = np.array([value is not None for value in values], bool)
    if kind in NUMBERS:
        filled: Array = np.array([np.nan if value is None else float(value) for value in values], float)
    elif kind.startswith("thing:"):
        filled = np.array([-1 if value is None else value for value in values], np.intp)
    elif kind == "truth":
        filled = np.array([bool(value) for value in values], bool)
    else:
        filled = np.empty(len(values), object)
        filled[:] = values
    return Column(kind, filled, None if known.all() else known, None, why, unit)


def either_estimated(first: Column, second: Column) -> Mask | None:
    """Where a figure made of two columns rests on an estimate; None where nothing does."""
    masks = [one.estimated for one in (first, second) if one.estimated is not None]
    return np.logical_or.reduce(masks) if masks else None


NUMBERS = frozenset(
    {
        "length", "area", "share", "count", "number", "angle", "bearing", "speed", "density",
        "basal-area", "volume", "dose", "duration", "date",
    }
)  # fmt: skip


def distinct(values: Array) -> Array:
    """The different values of a flat array, in order. (numpy's own `unique` imports masked arrays,
    which would be felt at every start of the command.)"""
    ordered = np.sort(values)
    keep = np.ones(len(ordered), bool)
    keep[1:] = ordered[1:] != ordered[:-1]
    return np.asarray(ordered[keep])


def alike(values: Array) -> Iterator[tuple[Any, Indices]]:
    """The different values of a flat array, in order, each with the rows that have it, in theirs."""
    order = np.argsort(values, kind="stable")
    ordered = values[order]
    edges = np.flatnonzero(ordered[1:] != ordered[:-1]) + 1
    for rows in np.split(order, edges) if len(order) else []:
        yield values[rows[0]], rows


class Place(NamedTuple):
    """Where a field's value is written; `shared` where another block says it for this one."""

    span: Span
    shared: bool


class Table:
    """One plural: its size, its columns, and how its rows are called and found in the text."""

    def __init__(
        self,
        plural: str,
        size: int,
        label: Callable[[int], str],
        name: Callable[[int], str],
        span: Callable[[int], Span],
    ) -> None:
        self.plural = plural
        self.size = size
        self.label = label
        self.name = name
        self.span = span
        self._makers: dict[str, Callable[[], Column]] = {}
        self._made: dict[str, Column] = {}
        #: row, field -> where the field's value is written; None where it is not
        self.written: Callable[[int, str], Place | None] = lambda row, field: None
        #: other places in the text that a row speaks of
        self.related: Callable[[int], tuple[Related, ...]] = lambda row: ()
        #: rows that should have a place on the ground and have none: their own slip has told it
        self.unplaced: Mask | None = None
        #: the names of the blocks that a row stands for, for waivers
        self.names: Callable[[int], frozenset[str]] = lambda row: frozenset({name(row)} - {""})

    def add(self, field: str, maker: Callable[[], Column]) -> None:
        self._makers[field] = maker

    @property
    def fields(self) -> list[str]:
        return list(self._makers)

    def has(self, field: str) -> bool:
        return field in self._makers

    def column(self, field: str) -> Column:
        made = self._made.get(field)
        if made is None:
            made = self._made[field] = self._makers[field]()
        return made
