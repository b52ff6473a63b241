"""What is told of a pack by itself: remarks at their places, and which rule has which examples.

As JSON, version 1: `{"version", "pack", "pack-version", "rules", "remarks": [...], "coverage": [...]}`. A remark has
`path`, `line`, `column` (from 1, in code points), `level`, `kind` and `message`; of a rule's coverage `broken`, `kept`
and `mended` are counts of examples, `levels` and `limits` say of each whether an example shows it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from habitatlint.findings import Level
from habitatlint.outputs.sentences import clean, json_text, width
from habitatlint.outputs.text import excerpt
from habitatlint.source import Span

VERSION = 1
FORMS = ("text", "gnu", "json")
_COLOURS = {Level.error: "31", Level.warning: "33", Level.note: "36"}


class Remark(NamedTuple):
    """One thing told of a pack: where, how grave, of which kind ("text", "example" ...), and in what words."""

    span: Span
    level: Level
    kind: str
    words: str

    @property
    def order(self) -> tuple[object, ...]:
        return (*self.span.order, -self.level, self.words)


class Cover(NamedTuple):
    """What the examples of a rule show: how many are broken, kept and mended; of each level that it may report and of
    each figure it is held to, whether an example shows it. A limit is shown by a plan just either side of it."""

    rule: str
    broken: int
    kept: int
    mended: int
    levels: tuple[tuple[str, bool], ...]
    limits: tuple[tuple[str, bool], ...]


class Looked(NamedTuple):
    """A pack that was looked at."""

    pack: str
    version: str
    rules: int
    remarks: tuple[Remark, ...]
    covers: tuple[Cover, ...]

    @property
    def worst(self) -> Level:
        return max((remark.level for remark in self.remarks), default=Level.off)


def render(form: str, looked: Looked, colour: bool = False) -> str:
    """A pack in a form: text, gnu or json."""
    if form == "json":
        return _json(looked)
    if form == "gnu":
        return "".join(f"{line(remark)} (pack/{remark.kind})\n" for remark in looked.remarks)
    blocks = [_block(remark, colour) for remark in looked.remarks]
    return "\n".join([*blocks, *([_table(looked.covers)] if looked.covers else []), _summary(looked)])


def line(remark: Remark) -> str:
    """`path:line:column: level: message`."""
    span = remark.span
    return f"{clean(span.source.name)}:{span.line}:{span.column}: {remark.level.name}: {clean(remark.words)}"


def _block(remark: Remark, colour: bool) -> str:
    head = line(remark)
    if colour:
        level = remark.level.name
        head = head.replace(f" {level}: ", f" \x1b[1;{_COLOURS[remark.level]}m{level}\x1b[0m: ", 1)
    return "".join(f"{one}\n" for one in (head, *excerpt(remark.span)))


def _table(covers: Sequence[Cover]) -> str:
    """The coverage table: a line a rule."""
    heads = ("rule", "broken", "kept", "mended", "levels shown", "a plan just either side of")
    rows = [
        (one.rule, str(one.broken), str(one.kept), str(one.mended), _shown(one.levels), _shown(one.limits))
        for one in covers
    ]
    widths = [max(width(row[column]) for row in (heads, *rows)) for column in range(len(heads))]
    lines = []
    for row in (heads, *rows):
        cells = (
            cell.rjust(wide) if column in (1, 2, 3) else cell + " " * (wide - width(cell))
            for column, (cell, wide) in enumerate(zip(row, widths, strict=True))
        )
        lines.append("  ".join(cells).rstrip())
    return "".join(f"{clean(one)}\n" for one in lines)


def _shown(things: Iterable[tuple[str, bool]]) -> str:
    return ", ".join(name if shown else f"not {name}" for name, shown in things) or "-"


def _summary(looked: Looked) -> str:
    counts = ((level, sum(remark.level is level for remark in looked.remarks)) for level in reversed(Level))
    found = ", ".join(_number(count, level.name) for level, count in counts if count) or "nothing to tell"
    called = f"{looked.pack} {looked.version}".strip()
    return f"pack {clean(called)}, {_number(looked.rules, 'rule')}: {found}\n"


def _number(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _json(looked: Looked) -> str:
    told = {
        "version": VERSION,
        "pack": looked.pack,
        "pack-version": clean(looked.version),
        "rules": looked.rules,
        "remarks": [
            {
                "path": remark.span.source.name,
                "line": remark.span.line,
                "column": remark.span.column,
                "level": remark.level.name,
                "kind": remark.kind,
                "message": clean(remark.words),
            }
            for remark in looked.remarks
        ],
        "coverage": [
            {**one._asdict(), "levels": dict(one.levels), "limits": dict(one.limits)} for one in looked.covers
        ],
    }
    return json_text(told)
