"""What is done where on the property, and why: pocket by pocket, in the plan's own words."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from habitatlint.check import Report
from habitatlint.findings import Fact
from habitatlint.language.blocks import Block, Cutting, Food, Path, Planting, Pocket, Release, Row, Stand, Task
from habitatlint.measures.crews import WORK
from habitatlint.measures.jobs import jobs_of, pockets_of
from habitatlint.outputs.papers.cut_list import plainly
from habitatlint.outputs.papers.paper import Column, Part, Section, Table, Terms, Words
from habitatlint.outputs.sentences import clean, shown
from habitatlint.outputs.text import overview

_FOR = {"does": "does", "bucks": "bucks", "any": "any deer"}


def the_property(report: Report) -> Section:
    """What lies on the property, counted, and what the plan is for."""
    scene, units = report.scene, report.units
    pairs = []
    if scene.property_ is not None:
        pairs.append(("Property", shown(Fact(scene.property_.area, "area"), units)))
    for word, kind in (("Food", Food), ("Pockets", Pocket), ("Stands", Stand), ("Rows", Row)):
        blocks = [block for block in report.plan.of(kind) if not block.broken]
        if blocks:
            pairs.append((word, f"{len(blocks)}: {_listed([named(block) for block in blocks])}"))
    walks = [block for block in report.plan.of(Path) if report.plan.word(block, "use") in ("entry", "exit")]
    if walks:
        pairs.append(("Ways in and out", f"{len(walks)}: {_listed([named(block) for block in walks])}"))
    read = tuple(Words(_sentence(line)) for line in overview(report.verdict).splitlines())
    return Section("property", "The property", (Terms(tuple(pairs)), *read))


def pocket(report: Report, block: Pocket) -> Section:
    """One pocket: what it is for, why, and what is done in it."""
    scene, plan = report.scene, report.plan
    row = next(number for number, one in enumerate(plan.of(Pocket)) if one is block)
    shape = scene.shape_of(block)
    facts = [("For", _FOR.get(plan.word(block, "for", "any"), "any deer"))]
    if shape is not None:
        facts.append(("Ground", shown(Fact(shape.area, "area"), report.units, 2)))
    beds = sum(len(statement.values) for statement in block.all("bed"))
    if beds:
        facts.append(("Beds", str(beds)))
    works = [work for work in _works_of(report) if row in work.pockets]
    parts: list[Part] = [Terms(tuple(facts)), *_why(block)]
    if works:
        parts.append(_works(report, works))
    return Section(f"pocket-{block.name}", named(block), tuple(parts))


def elsewhere(report: Report) -> Section | None:
    """What is done outside of pockets, and whatever else the plan gives a reason for; None where nothing is."""
    works = [work for work in _works_of(report) if not work.pockets]
    parts: list[Part] = [_works(report, works)] if works else []
    columns = (Column("What", share=1), Column("Why", share=3))
    told = (*WORK, Cutting, Pocket)
    rows = tuple(
        (f"{block.noun} {named(block)}" if block.name else block.noun, _together(_reasons(block)))
        for block in report.plan.blocks
        if not block.broken and not isinstance(block, told) and any(_reasons(block))
    )
    if rows:
        parts.append(Table(columns, rows, "Why it lies as it does"))
    return Section("elsewhere", "Along the ways and elsewhere", tuple(parts)) if parts else None


class _Work(NamedTuple):
    """A piece of work, how it is done, how many trees it takes (None where nobody knows, or none), and the pockets
    that it stands under, by their rows."""

    block: Block
    how: str
    trees: float | None
    pockets: tuple[int, ...]


def _works_of(report: Report) -> list[_Work]:
    """Everything that is done, by step, and in it as the plan has it: cuts, treatments, openings, plantings, tasks."""
    scene, plan = report.scene, report.plan
    inside = pockets_of(scene)
    counts = scene.table("jobs").column("trees")
    jobs = {id(job.block): (number, job) for number, job in enumerate(jobs_of(scene))}
    found = []
    for block in plan.blocks:
        method, trees = "", None
        if id(block) in jobs:
            number, job = jobs[id(block)]
            method = job.method
            trees = float(counts.values[number]) if counts.mask[number] else None
        elif not isinstance(block, Planting | Task) or block.broken:
            continue
        pockets = inside.get(id(block)) or _lies_over(report, block)
        found.append(_Work(block, _how(report, block, method), trees, pockets))
    return sorted(found, key=lambda work: _step(report, work.block))


def _step(report: Report, block: Block) -> float:
    """Sorts work by its step; what is in none comes last."""
    step = report.plan.value(block, "step")
    return math.inf if step is None else float(step.value.number)


def _lies_over(report: Report, block: Block) -> tuple[int, ...]:
    """The pockets that most of its ground (or of its line, or its place) lies in, or most of whose ground it covers."""
    ground = report.scene.shape_of(block) if isinstance(block, Release | Planting | Task) else None
    if ground is None:
        return ()
    found = []
    for row, pocket in enumerate(report.plan.of(Pocket)):
        shape = report.scene.shape_of(pocket)
        if shape is None or not shape.intersects(ground):
            continue
        both = shape.intersection(ground)
        share = both.area / shape.area if shape.area else 0.0
        for whole, part in ((ground.area, both.area), (ground.length, both.length)):
            if whole > 0:
                share = max(share, part / whole)
                break
        else:
            share = 1.0  # a point within it
        if share > 0.5:
            found.append(row)
    return tuple(found)


def _works(report: Report, works: list[_Work]) -> Table:
    columns = (Column("Step", right=True), Column("Work", share=3), Column("How", share=2), Column("Trees", right=True),
               Column("Why", share=4))  # fmt: skip
    rows = []
    for work in works:
        step = report.plan.value(work.block, "step")
        rows.append((
            f"{step.value.number:g}" if step is not None else "", f"{work.block.noun} {named(work.block)}", work.how,
            "" if work.trees is None else f"{work.trees:.0f}", _together(_reasons(work.block)),
        ))  # fmt: skip
    return Table(columns, tuple(rows), "What is done")


def _how(report: Report, block: Block, method: str) -> str:
    plan = report.plan
    said = [method or {"treatment": "treat with herbicide", "opening": "saw a way through"}.get(block.noun, "")]
    if isinstance(block, Planting):
        said = list(_planted(block, report))
    if isinstance(block, Task):
        said = [clean(str(value.value)).rstrip(".") for value in (plan.value(block, "text"),) if value is not None]
    purpose = plan.word(block, "purpose")
    if purpose:
        said.append(f"for {purpose}")
    if plan.finished(block):
        said.append("done")
    return ", ".join(part for part in said if part)


def _planted(block: Planting, report: Report) -> Iterator[str]:
    """`plant a screen of white spruce, 6 ft high from 2031`."""
    kind = report.plan.word(block, "kind", "cover")
    species = [plainly(str(value.value)) for one in block.all("species") for value in one.values]
    yield f"plant {'a screen' if kind == 'screen' else kind}" + (f" of {' and '.join(species)}" if species else "")
    for statement in block.height:
        high = f"{shown(Fact(statement.values[0].value.size, 'length', 'ft'), report.units)} high"
        years = [f"{value.value.number:g}" for value in statement.values if value.kind == "number"]
        yield f"{high} from {years[0]}" if years else high


def _why(block: Block) -> Iterator[Words]:
    for reason in _reasons(block):
        yield Words(reason, "why")


def _reasons(block: Block) -> list[str]:
    """The plan's own `why`, and its notes."""
    return [clean(str(value.value)) for word in ("why", "note") for one in block.all(word) for value in one.values]


def _together(reasons: list[str]) -> str:
    """Several reasons as sentences, one after another."""
    return " ".join(one if one.endswith((".", "!", "?")) or len(reasons) == 1 else f"{one}." for one in reasons)


def named(block: Block) -> str:
    """A block's title, and its name where it has one: `Clover-side thicket (clover-side)`."""
    title = clean(block.title)
    return f"{title} ({block.name})" if title and block.name else title or block.name or block.noun


def _listed(names: list[str], most: int = 12) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def _sentence(line: str) -> str:
    return f"{line[0].upper()}{line[1:]}."
