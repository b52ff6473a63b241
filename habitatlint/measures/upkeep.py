"""What was looked at since leaf-out and since a storm, what lives, and what is due to be seen to again.

These look at what is `done`, in a design too. Ages are common practice, no source; where a rule leans on
a published figure, the rule says so.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from habitatlint.ground.columns import Array, Column, Indices, Table, column
from habitatlint.ground.cuts import LAYING
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Cutting, Inspection, Opening, Path, Pocket, Row, Storm
from habitatlint.measures.jobs import done_on, finished_on, is_done, jobs_of, pockets_of
from habitatlint.measures.reach import property_at
from habitatlint.measures.season import DAY, in_year, leaf_out
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural, plural
from habitatlint.reading.values import Day, Part
from habitatlint.units import UNITS

#: an inspection that says `after leaf-out` may be so much earlier than the day the plan gives: leaves come
#: early in some years (common practice, no source)
EARLY_LEAVES = timedelta(days=60)

_YEAR = UNITS["years"][1]


# -- what was looked at, and since when ------------------------------------------------------------------


@of_plural("inspections", "day", "date")
def _day_of_inspection(scene: Scene) -> Column:
    """The day on which it was made."""
    return column("date", [_head_day(one).toordinal() for one in scene.plan.of(Inspection)])


@of_plural("storms", "day", "date")
def _day_of_storm(scene: Scene) -> Column:
    """The day on which it blew."""
    return column("date", [_head_day(one).toordinal() for one in scene.plan.of(Storm)])


def _head_day(block: Block) -> date:
    day = next(value.value for value in block.head if value.kind == "date")
    assert isinstance(day, date)
    return day


def _alive(inspection: Inspection) -> float | None:
    """The share of hinges that an inspection found alive."""
    written = inspection.alive
    if written is None:
        return None
    found = written.value
    return found.number / found.whole if isinstance(found, Part) else float(found.size)


@of_plural("inspections", "alive", "share")
def _share_alive(scene: Scene) -> Column:
    """The share of the hinges looked at that were found alive."""
    return column("share", [_alive(one) for one in scene.plan.of(Inspection)], "no `alive` is given")


@of_plural("inspections", "latest", "truth")
def _latest(scene: Scene) -> Column:
    """No later one counts what lives of all that this one looked at."""
    counted = [one for one in scene.plan.of(Inspection) if _alive(one) is not None]
    last: dict[str, date] = {}
    everything = date.min
    for one in counted:
        day = _head_day(one)
        if not one.has("of"):
            everything = max(everything, day)
        for name in one.of:
            last[str(name.value)] = max(last.get(str(name.value), date.min), day)
    found = []
    for one in scene.plan.of(Inspection):
        day, names = _head_day(one), [str(name.value) for name in one.of]
        found.append(everything <= day and (not names or any(last.get(name, date.min) <= day for name in names)))
    return column("truth", found)


class _Seen(NamedTuple):
    """Inspections by what they were of: days, and what they were after."""

    by_name: dict[str, list[tuple[date, str]]]
    #: those of everything
    of_all: list[tuple[date, str]]

    def of(self, *names: str) -> list[tuple[date, str]]:
        """Those of any of these things, or of everything."""
        return [*self.of_all, *(one for name in dict.fromkeys(names) for one in self.by_name.get(name, ()))]


def _seen(scene: Scene) -> _Seen:
    found = scene.memo.get("inspections by name")
    if found is None:
        found = scene.memo["inspections by name"] = _Seen({}, [])
        for one in scene.plan.of(Inspection):
            entry = (_head_day(one), scene.plan.word(one, "after"))
            if not one.of:  # also one whose `of` cannot be read: a slip has told it
                found.of_all.append(entry)
            for name in one.of:
                found.by_name.setdefault(str(name.value), []).append(entry)
    return found


def _done_cuts(scene: Scene) -> list[list[Cutting]]:
    """For each pocket the cuts in it that are done."""
    found = scene.memo.get("done cuts of pockets")
    if found is None:
        found = scene.memo["done cuts of pockets"] = [[] for _ in scene.plan.of(Pocket)]
        pockets = pockets_of(scene)
        for job in jobs_of(scene):
            block = job.block
            thrown = scene.plan.word(block, "state") == "blown"
            if isinstance(block, Cutting) and is_done(scene, block) and not thrown:
                for pocket in pockets.get(id(block), ()):
                    found[pocket].append(block)
    return found


_UNDATED = "a cut in it is `done yes`, without a day"


def _unwalked(pockets: Rows, today: Column, judge: Callable[[int, date], tuple[date | None, bool]]) -> Measured:
    """What has not been walked since: hours, and since when; `judge` takes a pocket and the day, and
    gives the day since when (None where it has been walked), and whether that is known."""
    since = np.full(len(pockets), np.nan)
    known = np.ones(len(pockets), bool)
    for index, row in enumerate(pockets.rows):
        day, known[index] = judge(int(row), date.fromordinal(int(today.values[index])))
        if day is not None:
            since[index] = day.toordinal()
    hours = np.where(np.isfinite(since), (today.values - since) * DAY, 0.0)
    mask = None if known.all() else known
    when = Column("date", since, np.isfinite(since))
    return Measured(Column("duration", hours, mask, None, _UNDATED), {"since": lambda rows: when.take(rows)})


@measure("unwalked-leaf-out", ("pockets", "date"), "duration", parts={"since": "date"})
def unwalked_leaf_out(scene: Scene, pockets: Rows, today: Column) -> Measured:
    """How long a pocket with cuts that are `done` has gone unwalked since the leaves came: from the latest
    leaf-out before today that followed a cut in it, where no inspection of the pocket, of that cut or of
    everything has been made since; else nothing. An inspection `after leaf-out` of that spring counts
    though it is up to 60 days earlier than the day the plan gives. Leaf-out is the plan's, else 15 May.
    Unknown where it hangs on a cut that is `done yes` and in no dated step. `since` is that leaf-out.
    Common practice, no source."""
    seen, done, plan_pockets = _seen(scene), _done_cuts(scene), scene.plan.of(Pocket)
    comes = leaf_out(scene)

    def judge(pocket: int, day: date) -> tuple[date | None, bool]:
        leaves = in_year(comes, day.year)
        if leaves > day:
            leaves = in_year(comes, day.year - 1)
        unsure = False
        for cut in done[pocket]:
            looked = seen.of(plan_pockets[pocket].name, cut.name)
            if any(
                leaves <= on <= day or (after == "leaf-out" and leaves - EARLY_LEAVES <= on <= leaves)
                for on, after in looked
            ):
                continue
            cut_on = finished_on(scene, cut)
            if cut_on is not None and cut_on < leaves:
                return leaves, True
            unsure |= cut_on is None
        return None, not unsure

    return _unwalked(pockets, today, judge)


@measure("unwalked-storm", ("pockets", "date"), "duration", parts={"since": "date", "told": "text"})
def unwalked_storm(scene: Scene, pockets: Rows, today: Column) -> Measured:
    """How long a pocket with cuts that are `done` has gone unwalked since a storm: from the earliest storm,
    later than a cut in it, since which no inspection of the pocket, of that cut or of everything has
    been made; else nothing. One made on the day of the storm counts. Unknown where it hangs on a cut
    that is `done yes` and in no dated step. `since` is the day of that storm; `told` says the last storm that
    nobody has walked it since, and how many there were. Common practice, no source."""
    unseen_of: dict[int, set[date]] = {}
    seen, done, plan_pockets = _seen(scene), _done_cuts(scene), scene.plan.of(Pocket)
    storms = sorted(_head_day(storm) for storm in scene.plan.of(Storm))

    def judge(pocket: int, day: date) -> tuple[date | None, bool]:
        earliest: date | None = None
        unsure = False
        past = [storm for storm in storms if storm <= day]
        for cut in done[pocket] if past else ():
            last = max((on for on, _ in seen.of(plan_pockets[pocket].name, cut.name) if on <= day), default=date.min)
            cut_on = finished_on(scene, cut)
            unseen = [storm for storm in past if storm > last and (cut_on is None or storm > cut_on)]
            if unseen and cut_on is None:
                unsure = True
            elif unseen:
                unseen_of.setdefault(pocket, set()).update(unseen)
                earliest = unseen[0] if earliest is None else min(earliest, unseen[0])
        return earliest, earliest is not None or not unsure

    found = _unwalked(pockets, today, judge)

    def told(rows: Indices) -> Column:
        storms_of = (sorted(unseen_of.get(int(pockets.rows[row]), ())) for row in rows)
        return column("text", [_storms_told(storms) or None for storms in storms_of])

    return Measured(found.value, {**found.parts, "told": told})


def _storms_told(storms: list[date]) -> str:
    if len(storms) < 2:
        return f"the storm of {storms[0].isoformat()}" if storms else ""
    return f"{len(storms)} storms, the last of them on {storms[-1].isoformat()}"


# -- days and steps that do not fit today -------------------------------------------------------------------


@plural("done-works", {"name": "name", "shape": "shape", "day": "date"})
def _done_works_table(scene: Scene) -> Table:
    """Everything that is `done` on a day; `day` is that day."""
    blocks = [(block, day) for block in scene.plan.blocks if (day := _own_day(scene, block)) is not None]
    table = Table("done-works", len(blocks), lambda row: blocks[row][0].label, lambda row: blocks[row][0].name,
                  lambda row: blocks[row][0].span())  # fmt: skip
    table.written = lambda row, field: property_at(scene.plan, blocks[row][0], "done" if field == "day" else field)
    table.add("name", lambda: column("name", [block.name for block, _ in blocks]))
    table.add("shape", lambda: column("shape", [scene.shape_of(block) for block, _ in blocks]))
    table.add("day", lambda: column("date", [day.toordinal() for _, day in blocks]))
    return table


def _own_day(scene: Scene, block: Block) -> date | None:
    """The day of a block's own `done`; that of the shared `trees` is told at those."""
    owner = scene.plan.owner(block, "done") if not block.broken and "done" in block.properties else None
    return done_on(scene, block) if owner is not None and owner[0] is block else None


@measure("step-overdue", ("steps", "date"), "duration")
def step_overdue(scene: Scene, steps: Rows, today: Column) -> Column:
    """How long the last day of a step is past where nothing of its work is `done`; nothing for a step that has no
    work, without dates, or one of whose pieces is done. Work of a neighbour (`offsite`) counts for neither."""
    work: dict[float, list[bool]] = {}
    for block in scene.plan.blocks:
        if "step" in block.properties and not block.broken and scene.plan.word(block, "offsite") != "yes":
            number = scene.plan.value(block, "step")
            if number is not None:
                work.setdefault(float(number.value.number), []).append(is_done(scene, block))
    table = scene.table("steps")
    numbers, last = (table.column(word).values[steps.rows] for word in ("number", "last"))
    dated = table.column("last").mask[steps.rows]
    idle = np.array([bool(work.get(float(number))) and not any(work[float(number)]) for number in numbers], bool)
    past = np.where(dated & idle, today.values - np.where(dated, last, 0).astype(float), 0.0)
    return Column("duration", np.maximum(past, 0.0) * DAY)


# -- upkeep ----------------------------------------------------------------------------------------------


class _Kept(NamedTuple):
    """What is done and has to be kept: a corridor, an opening or a screen of tops."""

    kind: str
    block: Block
    label: str
    day: date | None


def _kept(scene: Scene) -> list[_Kept]:
    """Corridors, openings and screens of tops that are done, and the day each was last seen to."""
    plan, found = scene.plan, []
    for block in plan.blocks:
        kind = _kind_of_upkeep(scene, block)
        if kind and is_done(scene, block):
            found.append(_Kept(kind, block, block.label, finished_on(scene, block)))
    done = _done_cuts(scene)
    for pocket, cuts in zip(plan.of(Pocket), done, strict=True):
        if not pocket.corridors or plan.word(pocket, "offsite") == "yes":
            continue
        own = is_done(scene, pocket)
        days = [finished_on(scene, block) for block in ([pocket] if own else cuts)]
        if days:
            day = None if None in days else max(one for one in days if one is not None)
            found.append(_Kept("corridor", pocket, f"the corridors of {pocket.name}", day))
    return found


def _kind_of_upkeep(scene: Scene, block: Block) -> str:
    plan = scene.plan
    if block.broken or plan.word(block, "offsite") == "yes":
        return ""
    if isinstance(block, Opening):
        return "opening"
    if isinstance(block, Path):
        return "corridor" if plan.word(block, "use") == "corridor" else ""
    screens = isinstance(block, Row) and plan.word(block, "purpose") == "screen"
    return "screen" if screens and plan.word(block, "method") in LAYING else ""


@plural("upkeep", {"name": "name", "shape": "shape", "kind": "word", "day": "date", "pocket": "thing:pockets"})
def _upkeep_table(scene: Scene) -> Table:
    """Corridors, openings and screens of tops that are `done`. `day` is when each was last seen to: its
    own `done`, else its step; a pocket's corridors go by the pocket's `done`, else by its last cut."""
    kept = _kept(scene)
    table = Table("upkeep", len(kept), lambda row: kept[row].label, lambda row: kept[row].block.name,
                  lambda row: kept[row].block.span())  # fmt: skip
    table.written = lambda row, field: property_at(scene.plan, kept[row].block, field)
    table.add("name", lambda: column("name", [one.block.name for one in kept]))
    table.add("shape", lambda: column("shape", [scene.shape_of(one.block) for one in kept]))
    table.add("kind", lambda: column("word", [one.kind for one in kept]))
    days = [None if one.day is None else one.day.toordinal() for one in kept]
    table.add("day", lambda: column("date", days, "it is `done yes`, without a day"))
    pockets = pockets_of(scene)
    table.add("pocket", lambda: column("thing:pockets", [next(iter(pockets.get(id(one.block), ())), None)
                                                         for one in kept], "it belongs to no pocket"))  # fmt: skip
    return table


def _later(day: date, hours: float) -> date:
    """A day so long after another; whole years by the calendar, all else by days."""
    years = hours / _YEAR
    if abs(years - round(years)) < 1e-6 and 1 <= round(years) <= 100:
        return in_year(Day(day.month, day.day), day.year + round(years))
    return day + timedelta(days=hours / DAY)


@measure(
    "upkeep-late", ("upkeep", "date", "duration", "duration", "duration"), "duration",
    parts={"due": "date", "last": "date"},
)  # fmt: skip
def upkeep_late(
    scene: Scene, kept: Rows, today: Column, corridors: Column, openings: Column, screens: Column
) -> Measured:
    """How long upkeep is past due: nothing where it is not. Due is so long after a corridor, an opening or
    a screen of tops (three durations, in that order; whole years go by the calendar) was last seen to:
    done, or named by an inspection, or lying in what an inspection `after work` was of. `due` is that
    day, `last` when it was last seen to. Unknown for what is `done yes` and in no dated step, unless an
    inspection gives a day."""
    every, seen = _kept(scene), _seen(scene)
    pockets, names = pockets_of(scene), [pocket.name for pocket in scene.plan.of(Pocket)]
    lasts = {"corridor": corridors, "opening": openings, "screen": screens}
    due, last = np.full(len(kept), np.nan), np.full(len(kept), np.nan)
    for index, row in enumerate(kept.rows):
        one = every[row]
        now = date.fromordinal(int(today.values[index]))
        around = [names[pocket] for pocket in pockets.get(id(one.block), ())]
        looked = [
            *(on for on, after in seen.of(*around, one.block.name) if after == "work"),
            # a pocket that was walked is not yet one whose corridors were cleared
            *(on for on, _ in seen.by_name.get(one.block.name, ()) if not isinstance(one.block, Pocket)),
        ]
        days = [*([one.day] if one.day is not None else []), *(on for on in looked if on <= now)]
        if days:
            last[index] = max(days).toordinal()
            due[index] = _later(max(days), float(lasts[one.kind].values[index])).toordinal()
    late = np.maximum(np.where(np.isfinite(due), today.values - due, 0.0), 0.0) * DAY
    known = np.isfinite(due)
    value = Column("duration", late, None if known.all() else known, None, "it is `done yes`, without a day")
    parts = {"due": due, "last": last}
    return Measured(value, {name: _part(values) for name, values in parts.items()})


def _part(values: Array) -> Callable[[Indices], Column]:
    days = Column("date", values, np.isfinite(values))
    return lambda rows: days.take(rows)
