"""A paper as plain text for a terminal or a file: no wider than a page, tables laid out in columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from habitatlint.outputs.papers.paper import Cautions, Items, Paper, Part, Picture, Section, Sheets, Table, Terms, Words
from habitatlint.outputs.sentences import clean, width

#: the page, and the narrowest that a column of words becomes
WIDTH, NARROWEST = 110, 10
#: what stands between two columns, and a box to tick
_GAP, _BOX = "  ", "[ ] "


def as_text(paper: Paper) -> str:
    """The whole paper, closed by a line end."""
    lines = [*_wrapped(paper.title)]
    if paper.subtitle:
        lines += _wrapped(paper.subtitle)
    lines += [line for word, value in paper.facts for line in _wrapped(value, f"{clean(word)}: ")]
    for section in paper.sections:
        lines += _section(section, 0)
    if paper.foot:
        lines += ["", *_wrapped(paper.foot)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _section(section: Section, depth: int) -> Iterator[str]:
    title = clean(section.title)
    yield ""
    yield title
    yield ("=", "-")[min(depth, 1)] * width(title)
    for number, part in enumerate(section.parts):
        if number:
            yield ""
        yield from _part(part)
    for inner in section.sections:
        yield from _section(inner, depth + 1)


def _part(part: Part) -> Iterator[str]:
    match part:
        case Words(text):
            yield from _wrapped(text)
        case Table():
            yield from _table(part)
        case Items(items, ticks, numbered):
            for number, item in enumerate(items, 1):
                lead = _BOX if ticks else f"{number}. " if numbered else "- "
                yield from _wrapped(item, lead)
        case Terms(pairs):
            wide = min(max((width(clean(word)) for word, _ in pairs), default=0), 28)
            for word, told in pairs:
                lead = clean(word)
                yield from _wrapped(told, lead + " " * max(2, wide + 2 - width(lead)), wide + 2)
        case Cautions(title, items):
            yield from _wrapped(title)
            for item in items:
                yield from _wrapped(item, "! ")
        case Picture() | Sheets():
            yield from _wrapped(f"[picture: {part.words}]")


def _wrapped(text: str, lead: str = "", indent: int | None = None) -> list[str]:
    """Text after a lead, its further lines indented as wide as the lead or by `indent`."""
    margin = " " * (width(lead) if indent is None else indent)
    room = max(20, WIDTH - len(margin))
    first = max(10, WIDTH - width(lead))
    words = " ".join(clean(text).split())
    if not words:
        return [lead.rstrip()]
    if width(words) <= first:
        return [lead + words]
    lines = textwrap.wrap(words, room, initial_indent=" " * max(0, width(lead) - len(margin)), break_on_hyphens=False)
    return [lead + lines[0].lstrip(), *(margin + line for line in lines[1:])]


def _table(table: Table) -> Iterator[str]:
    if table.title:
        yield from _wrapped(table.title)
    rows = [tuple(" ".join(clean(cell).split()) for cell in row) for row in table.rows]
    total = [tuple(" ".join(clean(cell).split()) for cell in table.total)] if table.total else []
    heads = tuple(clean(column.title) for column in table.columns)
    lead = _BOX if table.ticks else ""
    wide = _widths([heads, *rows, *total], WIDTH - len(lead) - len(_GAP) * (len(heads) - 1))
    right = [column.right for column in table.columns]

    def laid(row: Sequence[str], first: str) -> Iterator[str]:
        cells = [_cell(cell, room) for cell, room in zip(row, wide, strict=True)]
        for number in range(max(map(len, cells), default=0)):
            shown = (cell[number] if number < len(cell) else "" for cell in cells)
            padded = (
                " " * (room - width(text)) + text if on_right else text + " " * (room - width(text))
                for text, room, on_right in zip(shown, wide, right, strict=True)
            )
            yield (first if number == 0 else " " * len(first)) + _GAP.join(padded)

    yield from laid(heads, " " * len(lead))
    yield " " * len(lead) + _GAP.join("-" * room for room in wide)
    for row in rows:
        yield from laid(row, lead)
    for row in total:
        yield " " * len(lead) + _GAP.join("-" * room for room in wide)
        yield from laid(row, " " * len(lead))


def _cell(text: str, room: int) -> list[str]:
    if width(text) <= room:
        return [text]
    return textwrap.wrap(text, room, break_on_hyphens=False) or [""]


def _widths(rows: Sequence[Sequence[str]], room: int) -> list[int]:
    """A width for each column: as wide as its words, the widest made narrower until all fit."""
    wide = [max((width(cell) for cell in column), default=0) for column in zip(*rows, strict=True)]
    while sum(wide) > room:
        widest = max(range(len(wide)), key=lambda column: wide[column])
        if wide[widest] <= NARROWEST:
            break
        wide[widest] -= 1
    return wide
