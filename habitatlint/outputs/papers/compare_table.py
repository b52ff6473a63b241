"""What changed between two plans as a table, for a spreadsheet: figures apart from their units."""

from __future__ import annotations

from collections.abc import Iterator

from habitatlint.outputs.papers.compare import (
    Compared,
    called,
    day_of,
    event_words,
    line_of,
    numbers_of,
    tree_words,
    what_it_is,
)
from habitatlint.outputs.papers.paper import Column, Table
from habitatlint.outputs.sentences import message
from habitatlint.units import UNITS, plain
from habitatlint.work.comparison import Shape


def as_table(two: Compared) -> Table:
    """The table that its CSV holds: a row for each thing that changed, figures apart from their units."""
    columns = ("what", "kind", "name", "name before", "change", "property", "trees", "before", "after", "amount",
               "unit", "toward (deg true)", "level", "rule", "line", "line before", "words")  # fmt: skip
    rows = [*_block_rows(two), *_tree_rows(two), *_done_rows(two), *_finding_rows(two)]
    return Table(tuple(Column(title) for title in columns), tuple(rows))


def _row(**cells: str) -> tuple[str, ...]:
    names = ("what", "kind", "name", "former", "change", "property", "trees", "before", "after", "amount", "unit",
             "toward", "level", "rule", "line", "line_before", "words")  # fmt: skip
    return tuple(cells.get(name, "") for name in names)


def _block_rows(two: Compared) -> Iterator[tuple[str, ...]]:
    units = two.after.units
    for one in two.comparison.changes:
        block = one.block
        own = {
            "what": "block", "kind": block.noun, "name": block.name or called(block),
            "line": "" if one.after is None else line_of(one.after, two.after),
            "line_before": "" if one.before is None else line_of(one.before, two.before),
        }  # fmt: skip
        if one.kind != "changed" or one.before is None:
            yield _row(**own, change=one.kind, words=what_it_is(one, two))
            continue
        if one.renamed:
            yield _row(**own, change="renamed", former=one.before.name)
        if one.shape is not None:
            yield from (_row(**own, **cells) for cells in _shape_rows(one.shape, units))
        for prop in one.properties:
            yield _row(**own, change="property", property=prop.word, before=prop.before, after=prop.after)


def _shape_rows(shape: Shape, units: str) -> Iterator[dict[str, str]]:
    unit = UNITS[units][1]
    if shape.moved > 0.05:
        yield {"change": "moved", "amount": plain(shape.moved / unit, 1), "unit": units,
               "toward": plain(shape.toward, 0)}  # fmt: skip
    if shape.turned is not None:
        yield {"change": "turned", "amount": plain(shape.turned, 1), "unit": "deg"}
    if shape.resized:
        name = units if shape.kind == "length" else "ha" if units == "m" else "ac"
        one = UNITS[name][1]
        yield {"change": "resized", "property": shape.kind, "before": plain(shape.before / one, 3),
               "after": plain(shape.after / one, 3), "unit": name}  # fmt: skip
    if not shape.rigid:
        yield {"change": "reshaped", "amount": plain(shape.off / unit, 1), "unit": units}


def _tree_rows(two: Compared) -> Iterator[tuple[str, ...]]:
    for one in two.comparison.trees:
        amount = "" if one.turns is None else plain(one.turns[1], 1)
        fell = "" if one.fell is None else plain(one.fell[0], 1)
        planned = "" if one.planned is None else plain(one.planned[0], 1)
        yield _row(
            what="tree", kind=one.block.noun, name=one.block.name, change=one.what, trees=numbers_of(one.numbers),
            before=one.before or planned, after=one.after or fell, amount=amount, unit="deg" if amount else "",
            line=line_of(one.block, two.after), words=tree_words(one, two),
        )  # fmt: skip


def _done_rows(two: Compared) -> Iterator[tuple[str, ...]]:
    for one in two.comparison.done:
        yield _row(what="work", kind=one.block.noun, name=one.block.name, change="done", before=one.before,
                   after=one.after, line=line_of(one.block, two.after))  # fmt: skip
    for block in two.comparison.left:
        yield _row(what="work", kind=block.noun, name=block.name, change="not done", line=line_of(block, two.after))
    for block in two.comparison.events:
        yield _row(what="event", kind=block.noun, name=day_of(block), change="since", line=line_of(block, two.after),
                   words=event_words(block))  # fmt: skip


def _finding_rows(two: Compared) -> Iterator[tuple[str, ...]]:
    for one in two.findings:
        finding = one.finding
        report = two.after if one.after is not None else two.before
        line = str(finding.span.line)
        yield _row(
            what="finding", name=" ".join(sorted(finding.names)), change=one.what, level=finding.level.name,
            rule=finding.rule, line=line if one.after is not None else "",
            line_before=str(one.before.span.line) if one.before is not None else "",
            words=message(finding, report.units),
        )  # fmt: skip
