"""What falls due on which days: steps, tasks, walks after leaf-out and storm, treatments, upkeep."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Cutting, Pocket, Task
from habitatlint.measures.herbicide import treatment_late
from habitatlint.measures.jobs import finished_on, jobs_of, pockets_of
from habitatlint.measures.season import DAY, in_year, leaf_out, steps_of
from habitatlint.measures.upkeep import unwalked_leaf_out, unwalked_storm, upkeep_late
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.units import UNITS
from habitatlint.work.cutlist import limit_of
from habitatlint.work.order import Order

#: a pocket is walked within so many days of leaf-out, and of a storm, where the rules say nothing else; upkeep by
#: years (common practice, no source)
LEAF_DAYS, STORM_DAYS = 30.0, 7.0
CORRIDOR_YEARS, OPENING_YEARS, SCREEN_YEARS = 2.0, 3.0, 5.0
_YEAR = UNITS["years"][1]


class Due(NamedTuple):
    """Something that falls due from a first day to a last, both included.

    `kind` is "step", "task", "leaf-out", "storm", "treatment" or "upkeep"; `names` what it is of, `since` the day
    that it counts from (the storm, the day last seen to). `overdue`: its days are over, and it stands on today."""

    kind: str
    first: date
    last: date
    names: tuple[str, ...]
    blocks: tuple[Block, ...] = ()
    step: float | None = None
    since: date | None = None
    overdue: bool = False


def due_of(report: Report, order: Order, today: date) -> tuple[Due, ...]:
    """Everything of a plan that has a day, by days. A step without dates has none, nor has work that is done. Where
    only one step or one crew is wanted, what is of neither is left out."""
    found = [*_steps(order), *_tasks(report.scene, order)]
    if order.wanted.step is None and not order.wanted.crew:
        found += [*_walks(report, today), *_treatments(report.scene, today), *_upkeep(report, today)]
    return tuple(sorted(found, key=lambda due: (due.first, due.last, due.kind, due.names)))


def _steps(order: Order) -> Iterator[Due]:
    for step in order.steps:
        if step.first is not None and step.last is not None and (step.pieces or not step.done):
            names = tuple(piece.block.name for piece in step.pieces)
            blocks = tuple(piece.block for piece in step.pieces)
            yield Due("step", step.first, step.last, names, blocks, step.number)


def _tasks(scene: Scene, order: Order) -> Iterator[Due]:
    """Tasks by themselves, on the days of their steps."""
    steps = steps_of(scene)
    for step in order.steps:
        for piece in step.pieces:
            written = steps.get(piece.step) if piece.step is not None else None
            if isinstance(piece.block, Task) and written is not None and written[1].first and written[1].last:
                first, last = written[1].first, written[1].last
                yield Due("task", first, last, (piece.block.name,), (piece.block,), piece.step)


# -- walks -----------------------------------------------------------------------------------------------


def _walks(report: Report, today: date) -> Iterator[Due]:
    """Walks of cut pockets, one by one: after the next leaf-out that follows their cuts, and after a storm not yet
    walked."""
    scene, pockets = report.scene, report.plan.of(Pocket)
    rows = Rows("pockets", np.arange(len(pockets), dtype=np.intp))
    day = Column("date", np.full(len(pockets), float(today.toordinal())))
    leaf_days = limit_of(report, "not-walked-after-leaf-out", "grace", LEAF_DAYS * DAY) / DAY
    storm_days = limit_of(report, "not-walked-after-storm", "grace", STORM_DAYS * DAY) / DAY
    unwalked, stormy = (_since(one(scene, rows, day)) for one in (unwalked_leaf_out, unwalked_storm))
    cut = _cut_days(scene)
    for row, pocket in enumerate(pockets):
        if report.plan.word(pocket, "offsite") == "yes":
            continue
        since = unwalked[row] or _next_leaf_out(scene, cut.get(row), today)
        if since is not None:
            first, last, overdue = _days(since, leaf_days, today)
            yield Due("leaf-out", first, last, (pocket.name,), (pocket,), None, since, overdue)
        if (storm := stormy[row]) is not None:
            first, last, overdue = _days(storm, storm_days, today)
            yield Due("storm", first, last, (pocket.name,), (pocket,), None, storm, overdue)


def _days(since: date, grace: float, today: date) -> tuple[date, date, bool]:
    last = since + timedelta(days=round(grace))
    return (today, today, True) if last < today else (since, last, False)


def _since(measured: object) -> list[date | None]:
    """By pocket the day since which it has not been walked; None where it has been."""
    assert isinstance(measured, Measured)
    rows = np.arange(len(measured.value), dtype=np.intp)
    since = measured.parts["since"](rows)
    return [
        date.fromordinal(int(day)) if there and idle > 0 else None
        for day, there, idle in zip(since.values, since.mask, measured.value.values, strict=True)
    ]


def _cut_days(scene: Scene) -> dict[int, date]:
    """By the row of a pocket, the last day on which it is cut in, by `done` or by the step."""
    found: dict[int, date] = {}
    pockets = pockets_of(scene)
    for job in jobs_of(scene):
        day = finished_on(scene, job.block) if isinstance(job.block, Cutting) else None
        for pocket in pockets.get(id(job.block), ()) if day is not None else ():
            assert day is not None
            found[pocket] = max(found.get(pocket, date.min), day)
    return found


def _next_leaf_out(scene: Scene, cut: date | None, today: date) -> date | None:
    """The first leaf-out after the last cut of a pocket that is still to come; None without a day of cutting."""
    if cut is None:
        return None
    after, comes = max(cut, today), leaf_out(scene)
    return min(day for year in (after.year, after.year + 1) if (day := in_year(comes, year)) > after)


# -- treatments and upkeep -------------------------------------------------------------------------------


def _treatments(scene: Scene, today: date) -> Iterator[Due]:
    """Stumps that are cut and wait for their herbicide, and treatments whose step is over."""
    jobs = jobs_of(scene)
    rows = Rows("jobs", np.arange(len(jobs), dtype=np.intp))
    day = Column("date", np.full(len(jobs), float(today.toordinal())))
    month = Column("duration", np.full(len(jobs), LEAF_DAYS * DAY))
    measured = treatment_late(scene, rows, day, month)
    assert isinstance(measured, Measured)
    due = measured.parts["due"](rows.rows)
    for job, last, known in zip(jobs, due.values, due.mask, strict=True):
        steps = steps_of(scene)
        number = scene.plan.value(job.block, "step")
        own = steps.get(number.value.number) if number is not None and job.block.noun == "treatment" else None
        if (
            not known
            or scene.plan.word(job.block, "offsite") == "yes"
            or (own and own[1].last and own[1].last >= today)
        ):
            continue
        by = date.fromordinal(int(last))
        when = max(by, today)
        yield Due("treatment", when, when, (job.block.name,), (job.block,), None, by, by < today)


def _upkeep(report: Report, today: date) -> Iterator[Due]:
    scene = report.scene
    table = scene.table("upkeep")
    rows = Rows("upkeep", np.arange(table.size, dtype=np.intp))
    day = Column("date", np.full(table.size, float(today.toordinal())))
    ages = [
        Column("duration", np.full(table.size, limit_of(report, "upkeep-due", name, years * _YEAR)))
        for name, years in (("corridors", CORRIDOR_YEARS), ("openings", OPENING_YEARS), ("screens", SCREEN_YEARS))
    ]
    measured = upkeep_late(scene, rows, day, *ages)
    assert isinstance(measured, Measured)
    due, last = measured.parts["due"](rows.rows), measured.parts["last"](rows.rows)
    for row in np.flatnonzero(due.mask):
        by, seen = (date.fromordinal(int(one.values[row])) for one in (due, last))
        when = max(by, today)
        yield Due("upkeep", when, when, (table.label(int(row)),), (), None, seen, by < today)
