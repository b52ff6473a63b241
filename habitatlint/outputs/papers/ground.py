"""What is done where on the property, and why: pocket by pocket, in the plan's own words."""

from __future__ import annotations

from collections.abc import Iterator

from habitatlint.check import Report
from habitatlint.findings import Fact
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Cutting, Food, Opening, Path, Pocket, Release, Row, Stand, Treatment
from habitatlint.measures.jobs import jobs_of, pockets_of
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
    read = tuple(Words(_sentence(line)) for line in overview(report).splitlines())
    return Section("property", "The property", (Terms(tuple(pairs)), *read))


def pocket(report: Report, block: Pocket) -> Section:
    """One pocket: what it is for, why, and what is cut in it."""
    scene, plan = report.scene, report.plan
    row = next(number for number, one in enumerate(plan.of(Pocket)) if one is block)
    shape = scene.shape_of(block)
    facts = [("For", _FOR.get(plan.word(block, "for", "any"), "any deer"))]
    if shape is not None:
        facts.append(("Ground", shown(Fact(shape.area, "area"), report.units, 2)))
    beds = sum(len(statement.values) for statement in block.all("bed"))
    if beds:
        facts.append(("Beds", str(beds)))
    pockets = pockets_of(scene)
    works = [number for number, job in enumerate(jobs_of(scene)) if row in pockets.get(id(job.block), ())]
    parts: list[Part] = [Terms(tuple(facts)), *_why(block)]
    if works:
        parts.append(_works(report, works))
    return Section(f"pocket-{block.name}", named(block), tuple(parts))


def elsewhere(report: Report) -> Section | None:
    """What is cut outside of pockets, and whatever else the plan gives a reason for; None where nothing is."""
    scene, pockets = report.scene, pockets_of(report.scene)
    works = [number for number, job in enumerate(jobs_of(scene)) if not pockets.get(id(job.block))]
    parts: list[Part] = [_works(report, works)] if works else []
    columns = (Column("What", share=1), Column("Why", share=3))
    cut = (Cutting, Release, Opening, Treatment, Pocket)
    rows = tuple(
        (f"{block.noun} {named(block)}" if block.name else block.noun, " ".join(_reasons(block)))
        for block in report.plan.blocks
        if not block.broken and not isinstance(block, cut) and any(_reasons(block))
    )
    if rows:
        parts.append(Table(columns, rows, "Why it lies as it does"))
    return Section("elsewhere", "Along the ways and elsewhere", tuple(parts)) if parts else None


def _works(report: Report, works: list[int]) -> Table:
    columns = (Column("Step", right=True), Column("Work", share=3), Column("How", share=2), Column("Trees", right=True),
               Column("Why", share=4))  # fmt: skip
    scene = report.scene
    counts = scene.table("jobs").column("trees")
    rows = []
    for number in works:
        job = jobs_of(scene)[number]
        step = report.plan.value(job.block, "step")
        count = f"{counts.values[number]:.0f}" if counts.mask[number] else ""
        rows.append((
            f"{step.value.number:g}" if step is not None else "", f"{job.block.noun} {named(job.block)}",
            _how(scene, job.block, job.method), count, " ".join(_reasons(job.block)),
        ))  # fmt: skip
    return Table(columns, tuple(rows), "What is done")


def _how(scene: Scene, block: Block, method: str) -> str:
    said = [method or {"treatment": "treat with herbicide", "opening": "saw a way through"}.get(block.noun, "")]
    purpose = scene.plan.word(block, "purpose")
    if purpose:
        said.append(f"for {purpose}")
    if scene.plan.finished(block):
        said.append("done")
    return ", ".join(part for part in said if part)


def _why(block: Block) -> Iterator[Words]:
    for reason in _reasons(block):
        yield Words(reason, "why")


def _reasons(block: Block) -> list[str]:
    """The plan's own `why`, and its notes."""
    return [clean(str(value.value)) for word in ("why", "note") for one in block.all(word) for value in one.values]


def named(block: Block) -> str:
    """A block's title, and its name where it has one: `Clover-side thicket (clover-side)`."""
    title = clean(block.title)
    return f"{title} ({block.name})" if title and block.name else title or block.name or block.noun


def _listed(names: list[str], most: int = 12) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def _sentence(line: str) -> str:
    return f"{line[0].upper()}{line[1:]}."
