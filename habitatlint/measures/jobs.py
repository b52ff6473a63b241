"""Work on trees as jobs: what each is done to, in which step and on which days.

A job's day is that of `done`, else those of its step in the order of work; `done yes` has no day of its
own. Jobs are cuts, releases, openings and treatments.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, Table, column, distinct
from habitatlint.ground.cuts import KILLING, LAYING
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import (
    Block,
    Cutting,
    Opening,
    Pocket,
    Release,
    Step,
    Treatment,
    Work,
)  # fmt: skip
from habitatlint.language.plan import LYING, PlanText
from habitatlint.measures.reach import ground_of, property_at
from habitatlint.measures.season import days_in, steps_of
from habitatlint.measures.timber import timbers_over
from habitatlint.measures.vocabulary import Rows, measure, of_plural, plural

#: methods, of cuts and of releases, that need a saw; a girdle is two saw cuts round the stem (Woodland
#: Stewardship guide, U. Minnesota Extension and others, ch. 5)
SAWN = (*LAYING, "girdle", "logger")
#: so many other steps are looked at where work is to be done in another
MOST_STEPS = 10


def _step_of(scene: Scene, block: Block) -> tuple[int, Step] | None:
    """The step of the order of work that a block belongs to."""
    step = scene.plan.value(block, "step")
    return steps_of(scene).get(step.value.number) if step is not None else None


def done_on(scene: Scene, block: Block) -> date | None:
    """The day that `done` gives; None for `done yes`, or none."""
    done = scene.plan.value(block, "done")
    return done.value if done is not None and done.kind == "date" else None


def is_done(scene: Scene, block: Block) -> bool:
    """It has a `done` that can be read: what stands on a broken line has been told as a slip."""
    return scene.plan.value(block, "done") is not None


def finished_on(scene: Scene, block: Block) -> date | None:
    """The day on which finished work was done: that of `done`, else the last of its step; None where
    neither says."""
    day = done_on(scene, block)
    if day is not None:
        return day
    step = _step_of(scene, block)
    return step[1].last if step is not None else None


class Job(NamedTuple):
    """A piece of work on trees: a row, patch, tree or release, an opening sawn, or a treatment."""

    block: Block
    method: str
    herbicide: bool


def jobs_of(scene: Scene) -> list[Job]:
    """Every job of a plan, in order. What is left standing, and a tree that only fell, is none."""
    found = scene.memo.get("jobs")
    if found is None:
        found = scene.memo["jobs"] = [job for block in scene.plan.blocks if (job := _job(scene, block)) is not None]
    return found


def _job(scene: Scene, block: Block) -> Job | None:
    if block.broken:
        return None
    if isinstance(block, Treatment):
        return Job(block, "", True)
    if isinstance(block, Opening):
        return Job(block, "", False)
    if not isinstance(block, Cutting | Release) or block.noun == "trees":
        return None
    # a release that does not say how fells
    fells = isinstance(block, Release) and not block.has("method")
    method = scene.plan.word(block, "method", "fell" if fells else "")
    if method not in (*LAYING, *KILLING, "logger"):
        return None
    return Job(block, method, takes_herbicide(scene.plan, block, method))


def takes_herbicide(plan: PlanText, block: Block, method: str) -> bool:
    """Whether herbicide goes with a cut or release: by its method, by what it says of its stumps, or, where it
    says nothing of them, by the mix that it or its row names. A mix of the shared `trees` is for those that are
    treated, girdled or frilled: it makes no herbicide work of a hinge."""
    stumps, mix = plan.word(block, "stump-treatment"), plan.owner(block, "mix")
    if method == "hack-and-squirt" or stumps in ("planned", "done"):
        return True
    if mix is None:
        return False
    return method in ("girdle", "frill") or (not stumps and mix[0].noun != "trees")


@plural(
    "jobs",
    {
        "name": "name", "shape": "shape", "method": "word", "species": "list", "step": "number",
        "during": "thing:steps", "first": "date", "last": "date", "mix": "thing:mixes", "pocket": "thing:pockets",
        "stump-treatment": "word", "finished": "truth", "offsite": "truth", "sawn": "truth", "herbicide": "truth",
        "treatment": "truth", "unnamed": "truth", "unmixed": "truth",
    },
)  # fmt: skip
def _jobs_table(scene: Scene) -> Table:
    """Work on trees: rows, patches and trees that are cut or killed, releases, openings, treatments.
    `first` and `last` are its days, `during` its step; `unnamed` where no species is given, `unmixed`
    where no mix is."""
    jobs, plan = jobs_of(scene), scene.plan
    blocks = [job.block for job in jobs]
    table = Table("jobs", len(jobs), lambda row: blocks[row].label, lambda row: blocks[row].name,
                  lambda row: blocks[row].span())  # fmt: skip
    table.written = lambda row, field: property_at(plan, blocks[row], field)
    table.names = lambda row: frozenset({blocks[row].name, *_treated(blocks[row])}) - {""}
    table.add("name", lambda: column("name", [block.name for block in blocks]))
    table.add("shape", lambda: column("shape", [ground_of_work(scene, block) for block in blocks]))
    table.add("method", lambda: column("word", [job.method or None for job in jobs], "no `method` is given"))
    species = [_species(scene, block) for block in blocks]
    table.add("species", lambda: column("list", species))
    # what is given on a broken line has been told as a slip
    without = [not one and not _gives(scene, block, "species") for block, one in zip(blocks, species, strict=True)]
    table.add("unnamed", lambda: column("truth", without))
    table.add("step", lambda: column("number", [_number(scene, block) for block in blocks], "no `step` is given"))
    during = [_step_of(scene, block) for block in blocks]
    table.add("during", lambda: column("thing:steps", [one[0] if one else None for one in during],
                                       "it is in no step of the order of work"))  # fmt: skip
    for field in ("first", "last"):
        table.add(field, lambda field=field: _job_days(scene, jobs, field))  # type: ignore[misc]
    table.add("finished", lambda: column("truth", [_finished(scene, block) for block in blocks]))
    table.add("offsite", lambda: column("truth", [plan.word(block, "offsite") == "yes" for block in blocks]))
    table.add("sawn", lambda: column("truth", [job.method in SAWN or isinstance(job.block, Opening) for job in jobs]))
    table.add("treatment", lambda: column("truth", [isinstance(block, Treatment) for block in blocks]))
    table.add("herbicide", lambda: column("truth", [job.herbicide for job in jobs]))
    unmixed = [not isinstance(block, Treatment) and not plan.gives(block, "mix") for block in blocks]
    table.add("unmixed", lambda: column("truth", unmixed))
    mixes = [scene.row_of("mixes", plan.word(block, "mix")) for block in blocks]
    table.add("mix", lambda: column("thing:mixes", mixes, "no `mix` is given"))
    pockets = pockets_of(scene)
    table.add("pocket", lambda: column("thing:pockets", [next(iter(pockets.get(id(block), ())), None)
                                                         for block in blocks], "it belongs to no pocket"))  # fmt: skip
    table.add("stump-treatment", lambda: column("word", [plan.word(block, "stump-treatment") or None
                                                         for block in blocks]))  # fmt: skip
    return table


def _finished(scene: Scene, block: Block) -> bool:
    """The work is over: it is `done`, or the tree lies already."""
    lies = isinstance(block, Cutting) and scene.plan.word(block, "state") in LYING
    return lies or scene.plan.finished(block)


def _number(scene: Scene, block: Block) -> float | None:
    step = scene.plan.value(block, "step")
    return float(step.value.number) if step is not None else None


def _treated(block: Block) -> list[str]:
    """The names of what a treatment is of."""
    return [str(name.value) for name in block.of] if isinstance(block, Treatment) else []


def _named_cuts(scene: Scene, block: Block) -> list[Block]:
    """What a job is done to: of a treatment the cuts it names, else itself."""
    if not isinstance(block, Treatment):
        return [block]
    return [scene.plan.names[name] for name in _treated(block) if name in scene.plan.names]


def ground_of_work(scene: Scene, block: Block) -> BaseGeometry | None:
    """Where work is done: at its stumps, in its area, or, for a treatment, on the cuts it names; None where
    nobody knows."""
    shapes = [shape for one in _named_cuts(scene, block) if (shape := ground_of(scene, one)) is not None]
    return None if not shapes else shapes[0] if len(shapes) == 1 else shapely.geometrycollections(shapes)


def _gives(scene: Scene, block: Block, word: str) -> bool:
    """A property is given, though perhaps on a broken line, by what a job is done to."""
    return any(scene.plan.gives(one, word) for one in _named_cuts(scene, block))


def _species(scene: Scene, block: Block) -> tuple[str, ...]:
    """The species a job is done to; of a release those of the timber it stands in."""
    if isinstance(block, Release):
        return _species_under(scene, block)
    if isinstance(block, Opening):
        return ()
    names = [str(name.value) for one in _named_cuts(scene, block) for name in scene.plan.values(one, "species")]
    return tuple(dict.fromkeys(names))


def _species_under(scene: Scene, release: Release) -> tuple[str, ...]:
    shape = scene.shape_of(release)
    over = [] if shape is None else timbers_over(scene, shape)
    return tuple(dict.fromkeys(str(name.value) for timber in over for name in timber.species))


def _job_days(scene: Scene, jobs: list[Job], field: str) -> Column:
    values: list[int | None] = []
    for job in jobs:
        day = done_on(scene, job.block)
        if day is None and (step := _step_of(scene, job.block)) is not None:
            day = step[1].first if field == "first" else step[1].last
        values.append(None if day is None else day.toordinal())
    return column("date", values, "it has no `done` with a day, and no step with dates")


@of_plural("steps", "jobs", "things:jobs")
def _jobs_of_steps(scene: Scene) -> Column:
    """The jobs of each step, in the order of the plan."""
    count = sum(len(work.steps) for work in scene.plan.of(Work))
    rows: list[list[int]] = [[] for _ in range(count)]
    for index, job in enumerate(jobs_of(scene)):
        step = _step_of(scene, job.block)
        if step is not None:
            rows[step[0]].append(index)
    return column("things:jobs", [np.array(one, np.intp) for one in rows])


# -- other steps -----------------------------------------------------------------------------------------

_EARLIER, _LATER = "no earlier step of its crew has cuts", "no later step of its crew has cuts"


class Around(NamedTuple):
    """The steps before a block's own and after it, nearest first, as a plan writes them."""

    earlier: tuple[str, ...]
    later: tuple[str, ...]


def steps_around(scene: Scene, block: Block) -> Around:
    """Other steps in which a block's work could be done: steps with cuts in them, of the crew of its own step,
    or of any where the block itself names its crew. Without an order of work any whole number before its step,
    and after it those that work is in and one more. None for what is in no step."""
    value, steps = scene.plan.value(block, "step"), steps_of(scene)
    if value is None:
        return Around((), ())
    own, cut = value.value.number, _steps_with_cuts(scene)
    if steps:
        crew = steps[own][1].crew if own in steps else None
        free = bool(scene.plan.word(block, "by"))
        some = sorted(one for one in cut & steps.keys() if free or steps[one][1].crew == crew)
        earlier, later = [one for one in some if one < own], [one for one in some if one > own]
    else:
        earlier = [float(one) for one in range(max(1, int(own) - MOST_STEPS), int(own))]
        later = sorted({one for one in cut if one > own} | {max(cut | {own}) + 1})
    return Around(tuple(f"{one:g}" for one in reversed(earlier[-MOST_STEPS:])),
                  tuple(f"{one:g}" for one in later[:MOST_STEPS]))  # fmt: skip


def _steps_with_cuts(scene: Scene) -> set[float]:
    found: set[float] | None = scene.memo.get("steps with cuts")
    if found is None:
        numbers = (_number(scene, job.block) for job in jobs_of(scene) if job.method)
        found = scene.memo["steps with cuts"] = {one for one in numbers if one is not None}
    return found


def earlier_steps(around: Iterable[Around], why: str = _EARLIER) -> Column:
    """The steps before those of many blocks, as lists; not known where there are none."""
    return _lists([one.earlier for one in around], why)


def later_steps(around: Iterable[Around]) -> Column:
    """The steps after those of many blocks, as lists; not known where there are none."""
    return _lists([one.later for one in around], _LATER)


@of_plural("jobs", "other-steps", "list")
def _other_steps(scene: Scene) -> Column:
    """Other steps in which its crew cuts, those after its own first; without an order of work none, for dates."""
    dated = bool(steps_of(scene))
    around = [steps_around(scene, job.block) if dated else Around((), ()) for job in jobs_of(scene)]
    return _lists([(*one.later, *one.earlier) for one in around], "no other step of its crew has cuts")


def _lists(said: list[tuple[str, ...]], why: str) -> Column:
    values = np.empty(len(said), object)
    values[:] = said
    return Column("list", values, np.array([bool(one) for one in said], bool), None, why)


@measure("wound-days", ("jobs", "date", "date", "window"), "duration")
def wound_days(scene: Scene, jobs: Rows, first: Column, last: Column, season: Column) -> Column:
    """As `days-in`, for a season that matters to some species: not known for a job of which no species is
    given, where any of its days fall in the season."""
    days = days_in(scene, first, last, season)
    assert isinstance(days, Column)
    unnamed = scene.table("jobs").column("unnamed").take(jobs.rows).values
    unsure = unnamed & days.mask & (np.where(days.mask, days.values, 0) > 0)
    known = days.mask & ~unsure
    why = "no `species` is given for what is cut in it" if unsure.any() else days.why
    return Column("duration", days.values, None if known.all() else known, None, why)


def pockets_of(scene: Scene) -> dict[int, tuple[int, ...]]:
    """By the identity of a block, the pockets that a cut or an opening is in: the one it names, else
    those its stumps, its middle or its place stand in."""
    found = scene.memo.get("pockets of cuts")
    if found is None:
        found = scene.memo["pockets of cuts"] = _pockets_of(scene)
    return found


def _pockets_of(scene: Scene) -> dict[int, tuple[int, ...]]:
    found: dict[int, tuple[int, ...]] = {}
    loose: list[tuple[Block, Any]] = []
    for block in scene.plan.blocks:
        if block.broken or not isinstance(block, Cutting | Opening) or block.noun == "trees":
            continue
        named = scene.row_of("pockets", scene.plan.word(block, "in"))
        rows = scene.trees.rows_of(block)
        if named is not None:
            found[id(block)] = (named,)
        elif len(rows):
            pockets = scene.trees.pocket[rows]
            found[id(block)] = tuple(int(pocket) for pocket in distinct(pockets[pockets >= 0]))
        elif (shape := scene.shape_of(block)) is not None:
            loose.append((block, shape.centroid))
    grounds = [scene.shape_of(pocket) for pocket in scene.plan.of(Pocket)]
    placed = [index for index, ground in enumerate(grounds) if ground is not None]
    if loose and placed:
        index = shapely.STRtree([grounds[row] for row in placed])
        which, where = index.query([middle for _, middle in loose], predicate="intersects")
        for one, pocket in sorted(zip(which.tolist(), where.tolist(), strict=True)):
            key = id(loose[one][0])
            found[key] = (*found.get(key, ()), placed[pocket])
    return found
