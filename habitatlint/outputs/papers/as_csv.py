"""A table as CSV (RFC 4180), for a spreadsheet: cells that it would take for a formula are guarded."""

from __future__ import annotations

import csv

from habitatlint.outputs.papers.paper import Table
from habitatlint.outputs.sentences import clean

#: a cell that begins so is worked out by a spreadsheet, unless an apostrophe stands before it
_FORMULA = ("=", "+", "-", "@")


class _Lines:
    """What a CSV writer writes to."""

    def __init__(self) -> None:
        self.written: list[str] = []

    def write(self, line: str) -> None:
        self.written.append(line)


def as_csv(table: Table) -> str:
    """A table with its heads as the first row, and without its total; lines end in CR LF, as RFC 4180 has it."""
    lines = _Lines()
    writer = csv.writer(lines)
    writer.writerow([column.title for column in table.columns])
    writer.writerows([guarded(cell) for cell in row] for row in table.rows)
    return "".join(lines.written)


def guarded(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula; a plain negative number stays one."""
    text = " ".join(clean(cell).split())
    if not text.startswith(_FORMULA):
        return text
    try:
        float(text)
    except ValueError:
        return f"'{text}"
    return text
