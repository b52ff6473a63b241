"""When work is done, by the calendar: windows of the year, leaf-out, spring sap, the hunted season.

Which months matter stands in the rules, not here: no date here is built in but the usual leaf-out.
"""

from __future__ import annotations

from calendar import isleap
from collections.abc import Callable, Iterable, Iterator
from datetime import date, timedelta
from typing import Any

import numpy as np

from habitatlint.ground.columns import Column, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Step, Work
from habitatlint.measures.vocabulary import Measured, measure, of_plural
from habitatlint.reading.values import Day, Period, Window

#: hours of a day: durations are in hours
DAY = 24.0
#: leaf-out where the plan does not say (common practice, no source)
USUAL_LEAF_OUT = Day(5, 15)


def in_year(day: Day, year: int) -> date:
    """A day of each year in one of them; 29 February is the 28th where there is none."""
    short = (day.month, day.day) == (2, 29) and not isleap(year)
    return date(year, day.month, 28 if short else day.day)


def _periods(season: Window | Period, first: int, last: int) -> Iterator[tuple[date, date]]:
    """A season's periods that touch these years, in order; one over the new year belongs to its first year."""
    if isinstance(season, Period):
        yield season.first, season.last
        return
    over = season.last < season.first
    for year in range(first - 1, last + 1):
        yield in_year(season.first, year), in_year(season.last, year + over)


def days_of(first: date, last: date, seasons: Iterable[Window | Period]) -> int:
    """How many days from `first` to `last`, both included, fall in any of the seasons; each counts once."""
    found: set[tuple[int, int]] = set()
    for season in seasons:
        for begins, ends in _periods(season, first.year, last.year):
            start, stop = max(begins, first), min(ends, last)
            if start <= stop:
                found.add((start.toordinal(), stop.toordinal()))
    days, reached = 0, 0
    for start_day, stop_day in sorted(found):
        days += max(0, stop_day - max(start_day, reached + 1) + 1)
        reached = max(reached, stop_day)
    return days


def leaf_out(scene: Scene) -> Day:
    """The day on which the leaves come: the plan's own, else 15 May."""
    head = scene.plan.head
    return head.leaf_out.value if head is not None and head.leaf_out is not None else USUAL_LEAF_OUT


def steps_of(scene: Scene) -> dict[float, tuple[int, Step]]:
    """Each step of the order of work by its number, with its row; of two of one number the first."""
    found: dict[float, tuple[int, Step]] | None = scene.memo.get("steps by number")
    if found is None:
        found = scene.memo["steps by number"] = {}
        every = [step for work in scene.plan.of(Work) for step in work.steps]
        for row, step in enumerate(every):
            found.setdefault(step.number, (row, step))
    return found


def hunted(scene: Scene) -> list[Window | Period]:
    """When the property is hunted, as the plan says."""
    head = scene.plan.head
    return [value.value for value in head.hunted] if head is not None else []


def _spans(first: Column, last: Column) -> Iterator[tuple[int, date, date]]:
    """The askings whose days are known, with both."""
    for index in np.flatnonzero(first.mask & last.mask):
        yield int(index), date.fromordinal(int(first.values[index])), date.fromordinal(int(last.values[index]))


def _days(first: Column, last: Column, seasons: Callable[[int], Iterable[Window | Period]]) -> Column:
    """Days of each span in its seasons, as hours; `seasons` takes the asking's number."""
    values = np.full(len(first), np.nan)
    for index, begins, ends in _spans(first, last):
        values[index] = days_of(begins, ends, seasons(index)) * DAY
    known = np.isfinite(values)
    return Column("duration", values, None if known.all() else known, None, first.why or last.why)


@measure("days-in", ("date", "date", "window"), "duration")
def days_in(scene: Scene, first: Column, last: Column, season: Column) -> Column:
    """How many days, from a first to a last, both included, fall in a season that comes each year
    (`04-01..09-30`, both ends included; it may run over the new year). In hours, shown in days."""
    return _days(first, last, lambda index: [_window(season.values[index])])


def _window(value: Any) -> Window:
    """A season of a rule; a single day is one of that day."""
    return value if isinstance(value, Window) else Window(value, value)


@measure("days-in-leaf", ("date", "date", "window"), "duration")
def days_in_leaf(scene: Scene, first: Column, last: Column, leaf_fall: Column) -> Column:
    """How many days, from a first to a last, both included, fall in the time of leaves: from the plan's
    `leaf-out` (15 May where it gives none) up to the day before the leaves fall, which is given. In
    hours, shown in days. Common practice, no source."""
    comes = leaf_out(scene)

    def leafy(index: int) -> list[Window]:
        falls = _window(leaf_fall.values[index]).first
        before = date(2024, falls.month, falls.day) - timedelta(days=1)
        return [Window(comes, Day(before.month, before.day))] if comes != falls else []

    return _days(first, last, leafy)


@measure("days-of-sap", ("date", "date", "duration"), "duration")
def days_of_sap(scene: Scene, first: Column, last: Column, before: Column) -> Column:
    """How many days, from a first to a last, both included, fall in the time of heavy sap in spring: so
    long before the plan's `leaf-out` (15 May where it gives none), up to the day before it. In hours,
    shown in days. Sources say only `early spring`: how long is common practice, no source."""
    comes = leaf_out(scene)
    values = np.full(len(first), np.nan)
    for index, begins, ends in _spans(first, last):
        lasts = timedelta(days=round(float(before.values[index]) / DAY))
        flows = [
            Period(leaves - lasts, leaves - timedelta(days=1))
            for leaves in (in_year(comes, year) for year in range(begins.year, ends.year + 2))
        ]
        values[index] = days_of(begins, ends, flows if lasts else []) * DAY
    known = np.isfinite(values)
    return Column("duration", values, None if known.all() else known, None, first.why or last.why)


@of_plural("plans", "hunted", "truth")
def _hunted(scene: Scene) -> Column:
    """It says when the property is hunted."""
    return column("truth", [bool(hunted(scene))] * scene.table("plans").size)


@measure("hunted-days", ("date", "date"), "duration")
def hunted_days(scene: Scene, first: Column, last: Column) -> Column:
    """How many days, from a first to a last, both included, fall in a season of the plan's `hunted`. In
    hours, shown in days; none where the plan has no such line."""
    return _days(first, last, lambda index: hunted(scene))


@measure("until-hunting", ("date",), "duration", parts={"season": "date"})
def until_hunting(scene: Scene, day: Column) -> Measured:
    """How long from a day to the first day of the next season of the plan's `hunted` after it; without end
    where none comes after. `season` is the day on which it begins."""
    opens = np.full(len(day), np.inf)
    for index in np.flatnonzero(day.mask):
        here = date.fromordinal(int(day.values[index]))
        later = [
            begins.toordinal()
            for season in hunted(scene)
            for begins, _ in _periods(season, here.year, here.year + 1)
            if begins > here
        ]
        opens[index] = min(later, default=np.inf)
    hours = np.where(day.mask, (opens - day.values) * DAY, np.nan)
    value = Column("duration", hours, day.known, None, day.why)
    return Measured(value, {"season": lambda rows: Column("date", opens, np.isfinite(opens)).take(rows)})
