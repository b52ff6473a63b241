"""What a property of a block may be: its word, what it takes, and how a block hands it out."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Generic, Protocol, TypeVar, overload

from habitatlint.reading.grammar import Statement
from habitatlint.reading.values import Written

Given = TypeVar("Given")

#: kinds of property that go on in a deeper-indented line: points, names, bearings
RUNS_ON = frozenset({"outline", "line", "places", "names", "words", "bearings"})


class Says(Protocol):
    """What has properties: a block, by the statements of a word."""

    def all(self, word: str) -> tuple[Statement, ...]: ...


class Property(Generic[Given]):
    """One property of a kind of block.

    `takes` is its kind, in the words that rules and the reference page use: "length", "ground"
    (a length that may be bare), "sizes" (a length or a range), "share", "count", "number",
    "density", "basal-area", "volume", "dose", "duration", "bearing", "bearings", "fall", "date",
    "period", "window", "day", "text", "word", "words", "truth", "name", "names", "outline",
    "line", "place", "places", or "special" for one of a shape of its own. `of` names the blocks
    that a name may stand for.
    """

    many = False

    def __init__(
        self,
        takes: str,
        says: str,
        *,
        required: bool = False,
        repeats: bool = False,
        of: Iterable[str] = (),
        word: str = "",
    ) -> None:
        self.takes = takes
        self.says = says
        self.required = required
        self.repeats = repeats
        self.of = frozenset(of)
        self.word = word

    def __set_name__(self, owner: type, name: str) -> None:
        self.word = self.word or name.rstrip("_").replace("_", "-")

    @property
    def runs_on(self) -> bool:
        return self.takes in RUNS_ON

    @overload
    def __get__(self, block: None, owner: type) -> Property[Given]: ...
    @overload
    def __get__(self, block: Says, owner: type) -> Given: ...
    def __get__(self, block: Says | None, owner: type) -> Any:
        return self if block is None else self.given(block.all(self.word))

    def given(self, statements: tuple[Statement, ...]) -> Given:
        raise NotImplementedError


class One(Property[Written | None]):
    """A property with one value; None where the block has none."""

    def given(self, statements: tuple[Statement, ...]) -> Written | None:
        return statements[0].values[0] if statements else None


class Many(Property[tuple[Written, ...]]):
    """A property with several values, all its lines together."""

    many = True

    def given(self, statements: tuple[Statement, ...]) -> tuple[Written, ...]:
        return tuple(value for statement in statements for value in statement.values)


class Whole(Property[tuple[Statement, ...]]):
    """A property of a shape of its own, handed out as the statements that were written."""

    many = True

    def given(self, statements: tuple[Statement, ...]) -> tuple[Statement, ...]:
        return statements
