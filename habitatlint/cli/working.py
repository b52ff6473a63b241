"""`work`: the order of work and the cut list given out, and what was ticked put into a copy of the plan."""

from __future__ import annotations

import codecs
import os
import shlex
from datetime import date
from typing import NamedTuple

import click

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.papers import Given, Unwritten, give
from habitatlint.cli.project import project_of
from habitatlint.language.blocks import Crew, Include, UsePack
from habitatlint.language.editing import applied
from habitatlint.measures.season import steps_of
from habitatlint.outputs.papers.work import paper, table
from habitatlint.outputs.sentences import clean
from habitatlint.reading.grammar import did_you_mean, near
from habitatlint.reading.values import FIRST_YEAR
from habitatlint.source import Source
from habitatlint.work.cutlist import mark_of, pieces_of
from habitatlint.work.order import Wanted, order_of
from habitatlint.work.ticks import Tick, Untickable, as_built, ticks_of


class Asked(NamedTuple):
    """What is asked of the sheets of work; "" and None are for the command to choose."""

    output: str = ""
    form: str = "text"
    paper: str = ""
    today: date | None = None
    step: float | None = None
    crew: str = ""
    left: bool = False


def give_work(plan: str, asked: Asked) -> None:
    """Prints the order of work of a plan, or writes it to a file. Raises Unwritten or FileTrouble."""
    if asked.output.lower().endswith(files.PLAN_ENDING):
        raise Unwritten(f"{_shown(asked.output)}: a plan is written of ticks; say which boxes, such as --ticked 3,7-9")
    project = project_of(plan)
    policy = project.policy(asked.today)
    report = project.review.check(files.read_source(plan), policy)
    order = order_of(report, _wanted(report, asked))

    def calendar() -> bytes:
        from habitatlint.outputs.papers.calendar import as_calendar

        return as_calendar(order, report, policy.today)

    given = Given(paper(order, report, policy.today), table(order, report), {".ics": calendar})
    give(given, asked.output, asked.form, asked.paper, report.units)


def _wanted(report: Report, asked: Asked) -> Wanted:
    """What is wanted of the plan; raises Unwritten for a step or a crew that it does not have."""
    pieces = pieces_of(report)
    steps = sorted({*steps_of(report.scene), *(piece.step for piece in pieces if piece.step is not None)})
    if asked.step is not None and asked.step not in steps:
        there = f"its steps are {', '.join(f'{one:g}' for one in steps)}" if steps else "it has no steps"
        raise Unwritten(f"the plan has no step {asked.step:g}: {there}")
    crews = {crew.name for crew in report.plan.of(Crew)} | {piece.crew for piece in pieces if piece.crew}
    if asked.crew and asked.crew not in crews:
        there = f"; its crews are {', '.join(sorted(crews))}" if crews else "; it names none"
        hint = did_you_mean(near(asked.crew, crews)) or there
        raise Unwritten(f"no crew of the plan is called `{clean(asked.crew)[:60]}`{hint}")
    return Wanted(asked.step, asked.crew, asked.left)


# -- ticks -----------------------------------------------------------------------------------------------


def tick(plan: str, asked: Asked, ticked: str, done_on: date | None, sheet: str) -> None:
    """Writes a copy of a plan in which what was ticked is done, on a day or on that judged by, and tells what that is.
    Raises Unwritten or FileTrouble, and then nothing is written."""
    if not asked.output.lower().endswith(files.PLAN_ENDING):
        raise Unwritten(f"ticks are written into a copy of the plan: give it with -o, ending in {files.PLAN_ENDING}")
    before = files.read_bytes(plan)
    source = Source(files.shown(plan), files.decode(before, files.shown(plan)))
    project = project_of(plan)
    policy = project.policy(asked.today)
    day = done_on or policy.today
    if day > policy.today:
        raise Unwritten(
            f"--on {day}: that day is after {policy.today}, the day judged by: give the day on which it was done"
        )
    if day.year < FIRST_YEAR:
        raise Unwritten(f"--on {day}: a plan has no day before {FIRST_YEAR}: give the day on which it was done")
    report = project.review.check(source, policy)
    _stays_beside(plan, asked.output, report)
    pieces = pieces_of(report)
    mark = mark_of(pieces)
    if sheet and sheet.strip().upper() != mark:
        raise Unwritten(
            f"the boxes of sheet {clean(sheet)[:12]} are not those of this plan, which is {mark} now: print the sheet "
            "again, or give names in place of numbers and leave out --sheet"
        )
    try:
        ticks = ticks_of(pieces, ticked)
        built = as_built(report.plan, ticks, day)
    except Untickable as trouble:
        raise Unwritten(clean(str(trouble))) from None
    text = applied(source.text, built.edits)
    _proven(project.review.check(Source(source.name, text), policy), built.done)
    mark_of_encoding = codecs.BOM_UTF8.decode() if before.startswith(codecs.BOM_UTF8) else ""
    files.write_new(asked.output, mark_of_encoding + text)
    click.echo(f"by the boxes of sheet {mark}")
    for one in built.done:
        # the plan has no day for the treatment of stumps
        when = "" if one.stumps else f" {day.isoformat()}"
        hung = "; it hung, and is written as down" if one.brings_down else ""
        click.echo(f"box {one.box}: {one.label}, done{when}{hung}")
    for one in built.before:
        click.echo(f"box {one.box}: {one.label} was done before, and stays as it is")
    for piece in built.along:
        click.echo(
            f"{piece.block.label} has trees in blocks of their own that were not ticked: they count as done with their "
            "row; write `state standing` in those that still stand"
        )
    for piece in built.uncut:
        click.echo(
            f"{piece.block.label}: its stumps are treated, and nothing says that it is cut; if it is, tick box "
            f"{piece.box} too"
        )
    shown = _shown(asked.output)
    click.echo(f"{shown}: written, as built; look at it with: habitatlint check {shlex.quote(shown)}")


def _stays_beside(plan: str, output: str, report: Report) -> None:
    """A copy in another folder would not find what the plan takes in from beside it."""
    folders = {os.path.realpath(os.path.dirname(path) or ".") for path in (plan, output)}
    plan_ = report.plan
    takes = plan_.of(Include) or bool(plan_.of(UsePack)) or (plan_.head is not None and bool(plan_.head.picture))
    if len(folders) > 1 and takes:
        raise Unwritten(f"{_shown(output)}: the plan takes in files from its own folder: write the copy there")


def _proven(report: Report, done: tuple[Tick, ...]) -> None:
    """The copy was read again: what was ticked is done in it. Anything else is a fault of ours."""
    built = {piece.box: piece for piece in pieces_of(report)}
    for one in done:
        piece = built.get(one.piece.box)
        if piece is None or piece.block.name != one.piece.block.name or not Tick(one.box, piece, one.stumps).done:
            raise RuntimeError(f"{one.label} was ticked and is not done in the copy")


def _shown(path: str) -> str:
    return clean(path.replace(os.sep, "/"))
