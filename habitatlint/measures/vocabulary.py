"""The measures, fields and plurals that rules may use: their names, kinds and functions.

A measure is a function of a scene and columns or rows. `measure`, `of_plural`
and `plural` note it under the name that rules call it by; its docstring is what a
reader of the reference page sees.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from habitatlint.ground.columns import Column, Indices, Table
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import FIELDS, lay_tables


class Rows(NamedTuple):
    """Things of a plural, by their rows in its table."""

    plural: str
    rows: Indices

    def __len__(self) -> int:
        return len(self.rows)


class Measured(NamedTuple):
    """What a measure found for n askings: a column, and parts of it worked out when asked for.

    A part takes the askings for which it is wanted (row numbers) and gives a column for them.
    """

    value: Column
    parts: Mapping[str, Callable[[Indices], Column]] = {}


class Signature(NamedTuple):
    """A measure's face: what it takes (a plural, "shape" for anything placed, or a kind of
    quantity), the kind it gives, the kinds of its parts, the words it may answer with."""

    name: str
    takes: tuple[str, ...]
    gives: str
    parts: Mapping[str, str]
    words: frozenset[str]
    function: Callable[..., Measured | Column]

    @property
    def says(self) -> str:
        return " ".join((self.function.__doc__ or "").split())


@dataclass(frozen=True)
class Vocabulary:
    """Everything a rule may name."""

    measures: dict[str, Signature] = field(default_factory=dict)
    fields: dict[str, dict[str, str]] = field(default_factory=lambda: {k: dict(v) for k, v in FIELDS.items()})
    makers: dict[tuple[str, str], Callable[[Scene], Column]] = field(default_factory=dict)
    tables: dict[str, Callable[[Scene], Table]] = field(default_factory=dict)

    def measure(
        self, name: str, takes: tuple[str, ...], gives: str, *, parts: Mapping[str, str] | None = None,
        words: tuple[str, ...] = (),
    ) -> Callable[[Callable[..., Measured | Column]], Callable[..., Measured | Column]]:  # fmt: skip
        def note(function: Callable[..., Measured | Column]) -> Callable[..., Measured | Column]:
            self.measures[name] = Signature(name, takes, gives, parts or {}, frozenset(words), function)
            return function

        return note

    def field(
        self, plural: str, name: str, kind: str
    ) -> Callable[[Callable[[Scene], Column]], Callable[[Scene], Column]]:
        """A field of a plural that is worked out: a function of the scene that gives the whole column."""

        def note(function: Callable[[Scene], Column]) -> Callable[[Scene], Column]:
            self.fields.setdefault(plural, {})[name] = kind
            self.makers[(plural, name)] = function
            return function

        return note

    def plural(
        self, name: str, fields: Mapping[str, str]
    ) -> Callable[[Callable[[Scene], Table]], Callable[[Scene], Table]]:
        """A plural that is worked out: a function of the scene that gives its table."""

        def note(function: Callable[[Scene], Table]) -> Callable[[Scene], Table]:
            self.fields.setdefault(name, {}).update(fields)
            self.tables[name] = function
            return function

        return note

    @property
    def fingerprint(self) -> str:
        """Text that changes with what rules are checked against: fields, and the faces of measures."""
        faces = [(one.name, one.takes, one.gives, sorted(one.parts.items()), sorted(one.words))
                 for one in self.measures.values()]  # fmt: skip
        return repr((sorted((plural, sorted(kinds.items())) for plural, kinds in self.fields.items()), sorted(faces)))

    def attach(self, scene: Scene) -> None:
        """Makes the worked-out plurals and fields known to a scene."""
        lay_tables(scene)
        for plural, maker in self.tables.items():
            scene.add_table(plural, maker)
        for (plural, name), function in self.makers.items():
            scene.add_field(plural, name, function)


VOCABULARY = Vocabulary()
measure, of_plural, plural = VOCABULARY.measure, VOCABULARY.field, VOCABULARY.plural


def shapes(column: Column) -> Any:
    """The geometries of a column, None where unknown, as shapely takes them."""
    if column.known is None:
        return column.values
    found = column.values.copy()
    found[~column.known] = None
    return found
