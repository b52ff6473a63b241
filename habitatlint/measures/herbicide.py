"""Herbicide: how many cuts a tree takes, how much goes in, what a mix's label says, who waits how long.

The label is the law: every figure of a product is the plan's own, as its label says, and none is a
default here. Without a label's figure there is no quantity.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Any

import numpy as np

from habitatlint.ground.columns import Array, Column, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Cutting, Mix, Patch, Treatment
from habitatlint.measures.jobs import finished_on, is_done, jobs_of
from habitatlint.measures.season import DAY, steps_of
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural
from habitatlint.units import INCH

#: hacks round the stem of the smallest tree
LEAST_HACKS = 2
#: a label that begins so, and has no figure in it, says that there is none (common practice, no source)
NO_LABEL = (
    "none", "nothing", "no", "not", "n a", "na", "unknown", "unlabelled", "unlabeled", "unregistered", "todo", "tbd",
    "home made", "homemade", "home mixed", "own",
)  # fmt: skip
#: words of a label's list that stand for any broad-leaved tree (common practice, no source)
ANY_HARDWOOD = frozenset({"hardwood", "hardwoods", "brush", "woody-brush", "woody-plants", "trees"})


def hacks(dbh: Array) -> Array:
    """Cuts round the stems of trees of shape (n,), DBH in metres: one for each inch of diameter, a part of
    an inch as a whole one, and two at least. NaN in gives NaN. Source: Penn State Extension, *Using
    Hack-and-Squirt Herbicide Applications to Control Unwanted Trees* (read in a mirror): "one per inch
    of diameter (two cuts minimum)"."""
    inches = np.ceil(np.round(np.asarray(dbh, float) / INCH, 6))
    return np.asarray(np.where(np.isfinite(inches), np.maximum(inches, LEAST_HACKS), np.nan))


def longest(intervals: Iterable[float]) -> float:
    """The time that people stay out, in hours, where several products are used: the longest of theirs.
    Source: 40 CFR 170.112 (its number before 2017): "the restricted-entry interval shall be the longest
    of the applicable intervals"; the times themselves are each label's. ValueError for none."""
    return max(intervals)


# -- quantities ------------------------------------------------------------------------------------------


def _counts(scene: Scene) -> Array:
    """Trees of each job that is a cut; NaN for other jobs and where nobody knows."""
    found = scene.memo.get("trees of jobs")
    if found is None:
        found = np.array([_count(scene, job.block) for job in jobs_of(scene)], float)
        scene.memo["trees of jobs"] = found
    return np.asarray(found)


def _count(scene: Scene, block: Block) -> float:
    if isinstance(block, Patch):
        shape = scene.shape_of(block)
        pocket = scene.plan.names.get(scene.plan.word(block, "in"))
        ground = shape if shape is not None or pocket is None else scene.shape_of(pocket)
        density = block.density
        return np.nan if ground is None or density is None else float(density.value.size * ground.area)
    rows = scene.trees.rows_of(block) if isinstance(block, Cutting) else ()
    return float(len(rows)) if len(rows) else np.nan


@of_plural("jobs", "trees", "count")
def _trees(scene: Scene) -> Column:
    """How many trees a job cuts or kills: those a row lays out; of a patch its density times its area."""
    counts = _counts(scene)
    return Column("count", counts, np.isfinite(counts), None, "its trees are not counted")


def _hacks(scene: Scene) -> tuple[Array, str]:
    """Cuts of each job by hack-and-squirt, all its trees at their middle DBH; NaN elsewhere."""
    values = np.full(len(jobs_of(scene)), np.nan)
    counts = _counts(scene)
    for index, job in enumerate(jobs_of(scene)):
        size = scene.plan.value(job.block, "dbh") if job.method == "hack-and-squirt" else None
        if size is not None and isinstance(job.block, Cutting):
            middle = getattr(size.value, "middle", None) or size.value.size
            values[index] = float(hacks(np.array([middle]))[0]) * counts[index]
    return values, "it is no hack-and-squirt, or no `dbh` is given"


@of_plural("jobs", "hacks", "count")
def _hacks_of_jobs(scene: Scene) -> Column:
    """Cuts that a job by hack-and-squirt takes in all: for each tree one an inch of its middle DBH, two at
    least (Penn State Extension). Unknown without a DBH."""
    values, why = _hacks(scene)
    return Column("count", values, np.isfinite(values), None, why)


@of_plural("jobs", "volume", "volume")
def _volume(scene: Scene) -> Column:
    """How much mix a job by hack-and-squirt takes: its cuts times the mix's own `per-hack`. Unknown where
    the mix does not say, for the dose is the label's."""
    values, _ = _hacks(scene)
    for index, job in enumerate(jobs_of(scene)):
        mix = _mix_of(scene, job.block)
        dose = mix.per_hack if mix is not None and mix.has("label") else None
        values[index] *= dose.value.size if dose is not None else np.nan
    why = "no label's `per-hack`, or no `dbh`, is given for it"
    return Column("volume", values, np.isfinite(values), None, why)


def _mix_of(scene: Scene, block: Block) -> Mix | None:
    found = scene.plan.names.get(scene.plan.word(block, "mix"))
    return found if isinstance(found, Mix) else None


def _stays_out(scene: Scene, block: Block) -> float | None:
    """How long others stay out after a job, in hours, as its mix says."""
    mix = _mix_of(scene, block)
    return None if mix is None or mix.reentry is None else float(mix.reentry.value.size)


@of_plural("jobs", "reentry", "duration")
def _reentry(scene: Scene) -> Column:
    """How long others stay out after it, as its mix says."""
    return column("duration", [_stays_out(scene, job.block) if job.herbicide else None for job in jobs_of(scene)],
                  "its mix gives no `reentry`")  # fmt: skip


@of_plural("steps", "reentry", "duration")
def _reentry_of_steps(scene: Scene) -> Column:
    """How long others stay out after a step with herbicide: the longest of what its mixes say (40 CFR
    170.112, its number before 2017). Unknown where one of them does not say."""
    jobs = jobs_of(scene)
    values: list[float | None] = []
    for rows in scene.table("steps").column("jobs").values:
        used = [_stays_out(scene, jobs[row].block) for row in rows if jobs[row].herbicide]
        known = [one for one in used if one is not None]
        values.append(longest(known) if known and len(known) == len(used) else None)
    return column("duration", values, "a mix used in it gives no `reentry`")


# -- what a label says -----------------------------------------------------------------------------------


def _label(mix: Mix) -> str:
    return str(mix.label_.value) if mix.label_ is not None else ""


def has_registration(label: str) -> bool:
    """A label's text gives a registration: it has a figure in it, for agencies register by number."""
    return any(character.isdecimal() for character in label)


def says_none(label: str) -> bool:
    """A label's text says that there is no registration, or says nothing."""
    words = " ".join(re.findall(r"[^\W_]+", label.lower()))
    return not has_registration(label) and (not words or f"{words} ".startswith(tuple(f"{one} " for one in NO_LABEL)))


@of_plural("mixes", "unregistered", "truth")
def _unregistered(scene: Scene) -> Column:
    """Its `label` says that there is no registration: `none`, `unknown`, `home-made` and the like. Words
    that only point to the label are none of these."""
    mixes = scene.plan.of(Mix)
    return column("truth", [mix.label_ is not None and says_none(_label(mix)) for mix in mixes])


@of_plural("mixes", "registered", "truth")
def _registered(scene: Scene) -> Column:
    """Its `label` gives a registration: it has a figure in it."""
    return column("truth", [has_registration(_label(mix)) for mix in scene.plan.of(Mix)])


@of_plural("plans", "mix", "thing:mixes")
def _only_mix(scene: Scene) -> Column:
    """The mix of a plan that has one and no more, those left out whose `label` says that there is none."""
    labelled = [row for row, mix in enumerate(scene.plan.of(Mix)) if mix.name and not says_none(_label(mix))]
    only = labelled[0] if len(labelled) == 1 else None
    rows = scene.table("plans").size
    return column("thing:mixes", [only] * rows, "the plan has no mix with a label, or several")


def covers(control: str, species: str) -> bool:
    """A name of a label's list stands for a species: the same, its genus (`maple` for `red-maple`, and
    `maple` in a plan for any maple of the label), or any hardwood."""
    same = species == control or species.endswith(f"-{control}") or control.endswith(f"-{species}")
    return same or (control in ANY_HARDWOOD and not _is_conifer(species))


def _is_conifer(species: str) -> bool:
    kinds = ("pine", "spruce", "fir", "hemlock", "cedar", "redcedar", "tamarack", "baldcypress")
    return species.split("-")[-1] in kinds


@of_plural("jobs", "unlisted", "list")
def _unlisted(scene: Scene) -> Column:
    """Species that a job treats and its mix does not name under `controls`. Unknown where the mix has no
    such line, or no species is given."""
    species = scene.table("jobs").column("species").values
    values: list[Any] = []
    for index, job in enumerate(jobs_of(scene)):
        mix = _mix_of(scene, job.block) if job.herbicide else None
        controls = [str(name.value) for name in mix.controls] if mix is not None else []
        if controls and species[index]:
            missed = [one for one in species[index] if not any(covers(control, one) for control in controls)]
            values.append(tuple(missed))
        else:
            values.append(None)
    known = np.array([one is not None for one in values], bool)
    found = np.empty(len(values), object)
    found[:] = [one if one is not None else () for one in values]
    return Column("list", found, known, None, "its mix has no `controls`, or it has no `species`")


# -- in time ---------------------------------------------------------------------------------------------


def _treated_apart(scene: Scene) -> set[str]:
    """Names of cuts whose stumps go by a `treatment`: one that is done, or is in a step with dates."""
    found: set[str] = set()
    for treatment in scene.plan.of(Treatment):
        if scene.plan.finished(treatment) or finished_on(scene, treatment) is not None:
            found |= {str(name.value) for name in treatment.of}
    return found


@measure("treatment-late", ("jobs", "date", "duration"), "duration", parts={"due": "date", "next": "number"})
def treatment_late(scene: Scene, jobs: Rows, today: Column, grace: Column) -> Measured:
    """How long a treatment is past due: nothing where it is not. Stumps that are still `planned` are due at
    the end of the step of a cut that is done, and so long after its day at the latest; a treatment that
    is not done, at the end of its step. Stumps that such a treatment names go by it. Nothing for what is
    not cut yet, and for a treatment in no dated step. `due` is that day, `next` the first step of the order
    of work that begins on the day given or after it. Unknown for a cut that is `done yes` and in no dated
    step."""
    every, plan = jobs_of(scene), scene.plan
    last_day = scene.table("steps").column("last")
    during = scene.table("jobs").column("during")
    apart = _treated_apart(scene)
    due, known = np.full(len(jobs), np.nan), np.ones(len(jobs), bool)
    for index, row in enumerate(jobs.rows):
        block, step = every[row].block, int(during.values[row])
        ends = float(last_day.values[step]) if step >= 0 and last_day.mask[step] else np.nan
        if isinstance(block, Treatment):
            due[index] = np.nan if plan.finished(block) else ends
            continue
        of = block.first("of") if block.noun == "tree" else None
        names = {block.name, *([str(of.values[0].value)] if of is not None else [])}
        waits = plan.word(block, "stump-treatment") == "planned" and is_done(scene, block)
        if not waits or names & apart:
            continue
        cut = finished_on(scene, block)
        if cut is None:
            known[index] = False
            continue
        latest = cut.toordinal() + round(float(grace.values[index]) / DAY)
        due[index] = min(ends, latest) if ends >= cut.toordinal() else latest
    late = np.maximum(np.where(np.isfinite(due), today.values - due, 0.0), 0.0) * DAY
    mask = None if known.all() else known
    value = Column("duration", late, mask, None, "it is `done yes`, without a day")
    days = Column("date", due, np.isfinite(due))
    coming = np.array([_step_to_come(scene, int(day)) for day in today.values], float)
    steps = Column("number", coming, np.isfinite(coming), None, "the order of work has no step still to come")
    return Measured(value, {"due": lambda rows: days.take(rows), "next": lambda rows: steps.take(rows)})


def _step_to_come(scene: Scene, today: int) -> float:
    """The first step by its days that begins on a day or after it; NaN for none."""
    steps = [step for _, step in steps_of(scene).values()]
    coming = [(step.first, step.number) for step in steps if step.first and step.first.toordinal() >= today]
    return float(min(coming)[1]) if coming else math.nan
