"""`export`: all that a plan places, and what was found, to GPX, KML or GeoJSON."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from datetime import date
from typing import NamedTuple

import click

from habitatlint import files
from habitatlint.cli.project import project_of
from habitatlint.exchange.exporting import KINDS, Told, contents, left_behind, summary
from habitatlint.exchange.features import ExchangeTrouble
from habitatlint.exchange.forms import MARKS, WRITTEN
from habitatlint.language.blocks import PLURALS
from habitatlint.outputs.map.drawing import Drawing, draw
from habitatlint.outputs.sentences import clean, lines_unread, message
from habitatlint.reading.grammar import did_you_mean, near

#: so much of a file is looked at for the mark of its writer
_HEAD = 65_536


class Wanted(NamedTuple):
    """What is asked of an export: the file it is written to, the kinds that are wanted (none: all), whether findings
    are, and the day to judge by."""

    output: str
    only: tuple[str, ...] = ()
    findings: bool = True
    today: date | None = None


def export_plan(plan: str, wanted: Wanted) -> None:
    """Writes what a plan places, over what stood in the file; raises FileTrouble with one line before that."""
    shown = clean(files.shown(wanted.output))
    ending = os.path.splitext(wanted.output)[1].lower()
    if ending not in WRITTEN:
        raise files.FileTrouble(f"{shown}: nothing is exported so; end the file in {', '.join(WRITTEN)}")
    only = kinds(wanted.only)
    _spare(wanted.output, ending, shown)
    project = project_of(plan)
    report = project.review.check(files.read_source(plan), project.policy(wanted.today))
    told = tuple(_findings(draw(report))) if wanted.findings and (not only or "findings" in only) else ()
    try:
        exported = contents(report.scene, told, only)
    except ExchangeTrouble as trouble:
        raise files.FileTrouble(clean(str(trouble))) from None
    if unread := lines_unread(report):
        name = clean(files.shown(plan))
        click.echo(f"{name}: warning: {unread}, and what they say is not written; `check` tells which", err=True)
    files.write_files({wanted.output: WRITTEN[ending](exported).encode()})
    click.echo(f"{shown}: {summary(exported)}")
    if behind := left_behind(report.scene):
        click.echo(f"{shown}: without {', '.join(behind)}, which have no place and stay in the plan alone")


def _spare(path: str, ending: str, shown: str) -> None:
    """What this program did not write is not written over: it may be the only record of a walk."""
    if os.path.lexists(path) and MARKS[ending].encode() not in files.read_bytes(path, most=_HEAD):
        raise files.FileTrouble(
            f"{shown}: is there already, and `export` did not write it; give another name, or take the file away"
        )


def kinds(said: Iterable[str]) -> frozenset[str]:
    """The kinds that a person asked for, by noun or plural, parted by commas or not."""
    plurals = {plural: noun for noun, plural in PLURALS.items()} | {"beds": "bed", "corridors": "corridor"}
    found = set()
    for word in (word.strip().lower() for one in said for word in one.split(",")):
        kind = word if word in KINDS else plurals.get(word, word)
        if kind not in KINDS:
            hint = did_you_mean(near(word, KINDS)) or f"; it is one of {', '.join(KINDS)}"
            raise files.FileTrouble(f"nothing of a kind `{clean(word)[:40]}` is exported{hint}")
        found.add(kind)
    return frozenset(found)


def _findings(drawing: Drawing) -> Iterator[Told]:
    """The findings that have a place, by their numbers on the map."""
    report = drawing.report
    for number, finding, place in drawing.numbered:
        if place is not None:
            span = finding.span
            line = str(span.line) if span.source is report.source else f"{span.source.name}:{span.line}"
            yield Told(number, finding.level.name, message(finding, report.units), finding.rule, line, place)
