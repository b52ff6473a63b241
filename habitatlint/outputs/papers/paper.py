"""A paper: sections of words, tables, lists, pictures and cautions, as data that any form can show.

All text in it is plain: nothing of a plan is ever markup. Forms clean and escape it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import date
from typing import Literal, NamedTuple

from habitatlint.outputs.map.drawing import Drawing
from habitatlint.outputs.map.picture import FindPicture
from habitatlint.outputs.map.sheets import Layout

#: how words are set: as they are; the first words of a section, larger; the plan's own `why`; small print
Tone = Literal["plain", "lead", "why", "small"]


class Words(NamedTuple):
    """A paragraph."""

    text: str
    tone: Tone = "plain"


class Column(NamedTuple):
    """A column of a table: its title, whether its figures stand to the right, and its share of the width where
    the table does not fit as it is (0: no wider than its words)."""

    title: str
    right: bool = False
    share: float = 0.0


class Table(NamedTuple):
    """Rows of as many cells as there are columns; with `ticks` each begins with a box to tick. `total` closes it."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    title: str = ""
    ticks: bool = False
    total: tuple[str, ...] = ()


class Items(NamedTuple):
    """A list; with `ticks` each begins with a box to tick, with `numbered` with its number."""

    items: tuple[str, ...]
    ticks: bool = False
    numbered: bool = False


class Terms(NamedTuple):
    """Words and what is said of each: facts of a plan, a glossary."""

    pairs: tuple[tuple[str, str], ...]


class Cautions(NamedTuple):
    """What must be read before work; in a frame, never small."""

    title: str
    items: tuple[str, ...]


class Picture(NamedTuple):
    """A drawing in SVG (made here, all text of a plan in it escaped; `outputs.map.tags` does) with its natural size in
    millimetres; `words` says what it shows where no picture can be."""

    svg: str
    width: float
    height: float
    words: str


class Sheets(NamedTuple):
    """Sheets of a map, printed on pages of their own: what is drawn, how it is laid out, and where a picture beneath
    is found; `words` says what they show."""

    drawing: Drawing
    layout: Layout
    today: date
    find: FindPicture
    words: str


Part = Words | Table | Items | Terms | Cautions | Picture | Sheets


class Section(NamedTuple):
    """A heading and what stands under it. `name` is what settings call it; `apart` begins a page of its own."""

    name: str
    title: str
    parts: tuple[Part, ...] = ()
    sections: tuple[Section, ...] = ()
    apart: bool = False


class Paper(NamedTuple):
    """A title, facts about plan and day as (word, value), sections, and a line for the foot of every page."""

    title: str
    subtitle: str
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    foot: str = ""


def texts(sections: Iterable[Section]) -> Iterator[str]:
    """Every stretch of text in sections, headings among it."""
    for section in sections:
        yield section.title
        for part in section.parts:
            match part:
                case Words(text):
                    yield text
                case Table():
                    yield part.title
                    yield from (column.title for column in part.columns)
                    yield from (cell for row in (*part.rows, part.total) for cell in row)
                case Items(items) | Cautions(_, items):
                    yield from items
                case Terms(pairs):
                    yield from (text for pair in pairs for text in pair)
                case Picture() | Sheets():
                    yield part.words
        yield from texts(section.sections)


def quoted(text: str) -> str:
    """Text for print: what is typed, between backticks on a terminal, stands in quotes."""
    return re.sub(r"`([^`\n]+)`", "‘\\1’", text)
