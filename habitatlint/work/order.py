"""The order of work, as facts: what each step does, who does it, what it needs, and who could be hurt."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple

import numpy as np
import shapely

from habitatlint.check import Report
from habitatlint.findings import Finding
from habitatlint.ground.columns import distinct
from habitatlint.ground.cuts import LAYING
from habitatlint.ground.north import North, magnetic_north
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import (
    Block,
    Boundary,
    Crew,
    Hazard,
    Include,
    Mix,
    Path,
    Plan,
    Pocket,
    Release,
    SetLevel,
    SetLimit,
    Slope,
    Stand,
    Trees,
    UsePack,
    Waive,
    Work,
)  # fmt: skip
from habitatlint.language.blocks import Cutting as Cut
from habitatlint.language.blocks import Place as Spot
from habitatlint.language.plan import PlanText
from habitatlint.measures.crews import SAWN, lacks
from habitatlint.measures.herbicide import longest
from habitatlint.measures.openings import corridor_width
from habitatlint.measures.reach import Tall, comes_down, reached_by, snags_of
from habitatlint.measures.season import steps_of
from habitatlint.rulebook.judging import NotJudged
from habitatlint.rulebook.rules import Rule
from habitatlint.work.cutlist import Piece, crews_of, mark_of, pieces_of, said_name, words_of

#: nobody comes nearer to a felling than so many of its heights (North Carolina Department of Labor, Tree Harvesting),
#: nor works nearer to a tree that can come down by itself (29 CFR 1910.266(h)(1)(vi), seen in an excerpt only)
LENGTHS = 2.0
#: gear for saw work where no rule lists any: by clause of 29 CFR 1910.266(d)(1), and what is usual besides
BY_CLAUSE = ("leg-protection", "boots", "eye-protection")
#: slips that leave out of the plan what they are on: a line, a file, a shape, a name
UNREAD = frozenset(
    f"record/{kind}"
    for kind in (
        "syntax", "unknown-word", "bad-value", "missing-property", "include-trouble", "pack-trouble",
        "crossed-outline", "open-outline", "unknown-name", "spacing-or-count",
    )
)  # fmt: skip
#: the same where the thing has no shape for it
UNDRAWN = frozenset({"record/traverse-misclosure"})
#: where such a slip may hide what lies beside any work: a wire, a road, people, the ground itself
LIES_BESIDE = (Boundary, Hazard, Include, Path, Plan, Slope, Spot, Stand, Trees, UsePack, Work)
USUAL_GEAR = ("hard-hat", "hearing-protection", "gloves", "first-aid")


class Wanted(NamedTuple):
    """Of what an order of work is made: one step, one crew ("" for all), and whether only what is left."""

    step: float | None = None
    crew: str = ""
    left: bool = False


class Concern(NamedTuple):
    """A finding about people's safety, its number on the sheet, why it is kept quiet in `check` ("" for one that is
    not), and the steps it bears on."""

    number: int
    finding: Finding
    quiet: str
    steps: frozenset[float]


class Gap(NamedTuple):
    """What nobody read or judged, so that what could hurt people there is not known: a finding of the record about it,
    or what rules of people's safety could not judge for one reason, or (neither) a piece of work without a place. Its
    number follows those of the concerns; `boxes` are those of the work it is on, and `steps` (None for work in no step)
    those whose people it concerns."""

    number: int
    finding: Finding | None
    unjudged: tuple[NotJudged, ...]
    blocks: tuple[Block, ...]
    boxes: tuple[int, ...]
    steps: frozenset[float | None]


class Danger(NamedTuple):
    """Trees that can come down by themselves: dead, hung or thrown, and not down. `nearest` is how far off in metres
    the work of the step stands that it is listed for; `step` when the plan brings it down, None where it does not;
    `reached` the wires, roads and buildings that it can come down on or near, each once, by its noun and name."""

    block: Block
    state: str
    trees: int
    tall: Tall
    place: tuple[float, float]
    comes_down: bool
    step: float | None
    nearest: float = 0.0
    reached: tuple[str, ...] = ()


class Hands(NamedTuple):
    """A crew at work in a step: what it is trained in and brings, and what it lacks of what the step asks for."""

    name: str
    block: Crew | None
    people: int | None
    alone: str
    training: tuple[str, ...]
    gear: tuple[str, ...]
    saw: bool
    herbicide: bool
    by_clause: tuple[str, ...]
    usual: tuple[str, ...]
    by_label: tuple[str, ...]
    lacking: tuple[str, ...]


class Share(NamedTuple):
    """A part of a mix: its name, its share, and its volume in litres; None where the volume is not known."""

    name: str
    share: float
    volume: float | None


class Bottle(NamedTuple):
    """A mix that a step uses: how much of it in litres, as far as that can be worked out from its label's own figure,
    and the boxes of the work that nobody can reckon it for."""

    name: str
    block: Mix | None
    hacks: float
    volume: float | None
    parts: tuple[Share, ...]
    unreckoned: tuple[int, ...]
    reentry: float | None


class Open(NamedTuple):
    """Ways that are kept open through a pocket: how many, how wide in metres, off which food."""

    pocket: str
    off: str
    ways: int
    width: float


class StepWork(NamedTuple):
    """A step with its work: what is to be done, and what is done already. `number` is None for work in no step."""

    number: float | None
    title: str
    first: date | None
    last: date | None
    crew: str
    #: it stands in the plan's order of work
    listed: bool
    pieces: tuple[Piece, ...]
    #: cut already, and its stumps still wait for their treatment
    waiting: tuple[Piece, ...]
    done: tuple[Piece, ...]
    tall: Tall
    saws: bool
    dangers: tuple[Danger, ...]
    hands: tuple[Hands, ...]
    bottles: tuple[Bottle, ...]
    #: how long people stay out after its herbicide, in hours; None where a mix does not say
    reentry: float | None
    herbicide: bool
    open: tuple[Open, ...]
    #: what is told first of all and bears on it, by its numbers, and of that what is not known
    concerns: tuple[int, ...]
    gaps: tuple[Gap, ...]


class Way(NamedTuple):
    """A way in for the truck: its ends, how long and wide it is in metres, and for each end what is near it ("" for
    nothing) and how far off."""

    block: Path
    ends: tuple[tuple[float, float], tuple[float, float]]
    length: float
    width: float
    near: tuple[tuple[str, float], tuple[str, float]]


class Order(NamedTuple):
    """Everything that the sheets of work say of a plan."""

    wanted: Wanted
    #: every piece of the plan, whatever is wanted of it
    pieces: tuple[Piece, ...]
    steps: tuple[StepWork, ...]
    concerns: tuple[Concern, ...]
    gaps: tuple[Gap, ...]
    silenced: tuple[Rule, ...]
    dangers: tuple[Danger, ...]
    places: tuple[Spot, ...]
    ways: tuple[Way, ...]
    north: North | None
    mark: str


def order_of(report: Report, wanted: Wanted = Wanted()) -> Order:
    """The order of work of a plan. Steps go by their numbers; what is in no step stands last, under None."""
    scene, plan = report.scene, report.plan
    pieces = pieces_of(report)
    concerns = _concerns(report, pieces)
    gaps = tuple(_gaps(report, pieces, len(concerns)))
    dangers = dangers_of(scene)
    numbers: dict[float | None, None] = dict.fromkeys(sorted(steps_of(scene)))
    numbers |= dict.fromkeys(sorted({piece.step for piece in pieces if piece.step is not None} - numbers.keys()))
    ordered = [*sorted(one for one in numbers if one is not None), None]
    steps = []
    for number in ordered:
        own = [piece for piece in pieces if piece.step == number and wanted.crew in ("", piece.crew)]
        step = _step(report, number, own, dangers, concerns, gaps, wanted)
        if wanted.left and own and not (step.pieces or step.waiting):
            continue
        named = wanted.crew in ("", step.crew) and step.listed
        if wanted.step not in (None, number) or not (step.pieces or step.waiting or step.done or named):
            continue
        steps.append(step)
    return Order(
        wanted, pieces, tuple(steps), concerns, gaps, report.silenced, dangers,
        tuple(spot for spot in plan.of(Spot) if plan.word(spot, "offsite") != "yes" and scene.shape_of(spot)),
        tuple(_ways(scene)), magnetic_north(plan, scene.placer.frame), mark_of(pieces),
    )  # fmt: skip


def _step(
    report: Report,
    number: float | None,
    own: Sequence[Piece],
    dangers: Sequence[Danger],
    concerns: Sequence[Concern],
    gaps: Sequence[Gap],
    wanted: Wanted,
) -> StepWork:
    scene = report.scene
    written = steps_of(scene).get(number) if number is not None else None
    step = written[1] if written is not None else None
    left = tuple(piece for piece in own if not piece.finished)
    waiting = tuple(
        piece for piece in own if piece.finished and piece.stumps_box and piece.stump_treatment == "planned"
    )
    sprayed = (*left, *waiting)
    tall = max((piece.tall for piece in left if piece.fells), default=Tall(0.0, False))
    bottles = tuple(_bottles(report.plan, sprayed))
    entries = [bottle.reentry for bottle in bottles]
    known = [one for one in entries if one is not None]
    own_gaps = tuple(one for one in gaps if number in one.steps)
    return StepWork(
        number, step.title if step else "", step.first if step else None, step.last if step else None,
        (step.crew or "") if step else "", step is not None, left, waiting,
        () if wanted.left else tuple(piece for piece in own if piece.finished),
        tall, any(_saws(piece) for piece in left), tuple(_nearby(dangers, sprayed)),
        tuple(_hands(report, name, sprayed) for name in crews_of(report.plan, sprayed)), bottles,
        longest(known) if known and len(known) == len(entries) else None,
        any(piece.herbicide for piece in sprayed), tuple(_open(scene, left)),
        (*(one.number for one in concerns if number in one.steps), *(one.number for one in own_gaps)), own_gaps,
    )  # fmt: skip


def _saws(piece: Piece) -> bool:
    return piece.method in (*SAWN, "logger") or piece.block.noun == "opening"


# -- people's safety -------------------------------------------------------------------------------------


def _concerns(report: Report, pieces: Sequence[Piece]) -> tuple[Concern, ...]:
    """Findings about people's safety, also those that are waived or switched off, the gravest first."""
    told = [(finding, "") for finding in report.findings if finding.safety]
    told += [(finding, f"waived: {finding.waived}") for finding in report.waived if finding.safety]
    told += [(finding, "switched off") for finding in report.silenced_findings]
    told.sort(key=lambda one: (-one[0].level, one[0].order))
    steps: dict[str, set[float]] = {}
    for piece in pieces:
        if piece.step is not None and not piece.finished:
            for name in {piece.block.name, piece.crew} - {""}:
                steps.setdefault(name, set()).add(piece.step)
    by_line = {id(line.line): line.number for work in report.plan.of(Work) for line in work.steps}
    found = []
    for number, (finding, quiet) in enumerate(told, 1):
        # what marks a step is of that step, though it is on a crew that has others
        bears = _step_marked(report.plan, finding, by_line)
        bears = bears or {step for name in finding.names for step in steps.get(name, ())}
        found.append(Concern(number, finding, quiet, frozenset(bears)))
    return tuple(found)


def _gaps(report: Report, pieces: Sequence[Piece], after: int) -> Iterable[Gap]:
    """What was not read or not judged, numbered from the one after; last what has no place at all."""
    plan, own = report.plan, {id(piece.block): piece for piece in pieces}
    found: list[tuple[Finding | None, tuple[NotJudged, ...], tuple[Block, ...]]] = []
    for finding in report.findings:
        block = plan.block_at(finding.span)
        undrawn = finding.rule in UNDRAWN and (block is None or report.scene.shape_of(block) is None)
        # a name that a waiver or a level has wrong hides nothing
        if (finding.rule in UNREAD or undrawn) and not isinstance(block, Waive | SetLevel | SetLimit):
            found.append((finding, (), (block,) if block is not None else ()))
    for ones in _alike(report.unjudged_safety):
        named = (plan.names.get(one.name) or plan.block_at(one.span) for one in ones)
        found.append((None, ones, tuple({id(block): block for block in named if block is not None}.values())))
    told = {id(block) for _, _, blocks in found for block in blocks}
    for piece in pieces:
        cuts = isinstance(piece.block, Cut | Release) and not piece.finished
        if cuts and (piece.ground is None or piece.ground.is_empty) and id(piece.block) not in told:
            found.append((None, (), (piece.block,)))
    everywhere = {piece.step for piece in pieces}
    for number, (slip, unjudged, blocks) in enumerate(found, after + 1):
        left = [own[id(block)] for block in blocks if id(block) in own and not own[id(block)].finished]
        steps = {piece.step for piece in left}
        crews = {block.name for block in blocks if isinstance(block, Crew)}
        steps |= {piece.step for piece in pieces if piece.crew in crews}
        # a tree that is no work may hang, and its line about that be the one that nobody could read
        beside = any(isinstance(one, LIES_BESIDE) or (isinstance(one, Cut) and id(one) not in own) for one in blocks)
        boxes = tuple(piece.box for piece in left)
        yield Gap(number, slip, unjudged, blocks, boxes, frozenset(everywhere if beside or not blocks else steps))


def _alike(unjudged: Iterable[NotJudged]) -> Iterable[tuple[NotJudged, ...]]:
    """What was not judged for one reason, together: things of one rule, and rules on the same things."""
    by_rule: dict[tuple[str, str], list[NotJudged]] = {}
    for one in unjudged:
        by_rule.setdefault((one.why, one.rule), []).append(one)
    groups: dict[tuple[object, ...], list[NotJudged]] = {}
    for (why, _), ones in by_rule.items():
        groups.setdefault((why, *sorted(one.span.order for one in ones)), []).extend(ones)
    return (tuple(ones) for ones in groups.values())


def _step_marked(plan: PlanText, finding: Finding, by_line: dict[int, float]) -> set[float]:
    """The step of the order of work whose line a finding marks."""
    block = plan.block_at(finding.span)
    if not isinstance(block, Work):
        return set()
    return {
        by_line[id(line.line)]
        for line in block.steps
        if block.span(line.line).start <= finding.span.start < block.span(line.line).end
    }


def dangers_of(scene: Scene) -> tuple[Danger, ...]:
    """Trees that are dead, hung or thrown and not down, block by block."""
    snags, plan = snags_of(scene), scene.plan
    found = []
    dangerous = np.flatnonzero(snags.danger)
    for owner in distinct(snags.owner[dangerous]):
        block, rows = snags.blocks[int(owner)], dangerous[snags.owner[dangerous] == owner]
        tallest = int(rows[np.argmax(snags.height[rows])])
        step = plan.value(block, "step")
        # what hangs is still to be brought down, whatever day is written
        hangs = plan.word(block, "state") == "hung" and isinstance(block, Cut)
        down = comes_down(plan, block) or (hangs and plan.word(block, "method") in LAYING)
        at = shapely.centroid(snags.shape[tallest])
        found.append(Danger(
            block, plan.word(block, "state"), len(rows),
            Tall(float(snags.height[tallest]), bool(snags.estimated[tallest])), (float(at.x), float(at.y)),
            down, step.value.number if down and step is not None else None, reached=reached_by(scene, rows),
        ))  # fmt: skip
    return tuple(found)


def _nearby(dangers: Iterable[Danger], pieces: Sequence[Piece]) -> Iterable[Danger]:
    """Dangerous trees within two of their heights of some work, with how near that comes; the work on them is
    left out."""
    for danger in dangers:
        tree = shapely.Point(danger.place)
        gaps = [
            float(piece.ground.distance(tree))
            for piece in pieces
            if piece.ground is not None and not piece.ground.is_empty and piece.block is not danger.block
        ]
        if gaps and min(gaps) <= LENGTHS * danger.tall.height:
            yield danger._replace(nearest=min(gaps))


# -- crews -----------------------------------------------------------------------------------------------


def _hands(report: Report, name: str, pieces: Sequence[Piece]) -> Hands:
    plan = report.plan
    block = plan.names.get(name)
    crew = block if isinstance(block, Crew) else None
    own = [piece for piece in pieces if piece.crew == name]
    saw = any(_saws(piece) for piece in own if not piece.finished)
    herbicide = any(piece.herbicide for piece in own)
    by_clause = (words_of(report, "gear-missing", "by-clause") or BY_CLAUSE) if saw else ()
    usual = (words_of(report, "gear-missing", "usual") or USUAL_GEAR) if saw else ()
    mixes = [plan.names.get(piece.mix) for piece in own if piece.herbicide]
    by_label = tuple(dict.fromkeys(
        str(one.value) for mix in mixes if isinstance(mix, Mix) for one in mix.gear
    ))  # fmt: skip
    gear = tuple(str(one.value) for one in crew.gear) if crew is not None else ()
    lacking = tuple(dict.fromkeys(lacks(gear, (*by_clause, *usual, *by_label))))
    return Hands(
        name, crew, int(crew.people.value.number) if crew is not None and crew.people is not None else None,
        plan.word(crew, "alone") if crew is not None else "",
        tuple(str(one.value) for one in crew.training) if crew is not None else (),
        gear, saw, herbicide, by_clause, usual, by_label, lacking,
    )  # fmt: skip


# -- herbicide -------------------------------------------------------------------------------------------


def _bottles(plan: PlanText, pieces: Sequence[Piece]) -> Iterable[Bottle]:
    """The mixes of some work, with the volume as far as the plan and the label's figure tell."""
    named: dict[str, list[Piece]] = {}
    for piece in pieces:
        if piece.herbicide and not (piece.stump_treatment == "done" and piece.method in LAYING):
            named.setdefault(piece.mix, []).append(piece)
    for name, own in named.items():
        block = plan.names.get(name)
        mix = block if isinstance(block, Mix) else None
        reckoned = [piece.volume for piece in own if piece.volume is not None]
        volume = sum(reckoned) if reckoned else None
        parts = tuple(
            Share(str(line.values[0].value), share, None if volume is None else volume * share)
            for line in (mix.part if mix is not None else ())
            for share in (float(line.values[1].value.size),)
        )
        yield Bottle(
            name, mix, sum(piece.hacks or 0.0 for piece in own), volume, parts,
            tuple(piece.stumps_box or piece.box for piece in own if piece.volume is None),
            float(mix.reentry.value.size) if mix is not None and mix.reentry is not None else None,
        )  # fmt: skip


def _open(scene: Scene, pieces: Sequence[Piece]) -> Iterable[Open]:
    """The corridors of pockets that are cut in: what comes down there keeps clear of them."""
    cut = {name for piece in pieces if piece.fells for name in piece.pockets}
    for pocket, corridors in zip(scene.plan.of(Pocket), scene.corridors, strict=True):
        if pocket.name not in cut or not corridors:
            continue
        for statement in dict.fromkeys(id(said) for said, _ in corridors):
            lines = [(said, line) for said, line in corridors if id(said) == statement]
            said = lines[0][0]
            off = next((str(value.value) for value in said.values if value.kind == "name"), "")
            yield Open(pocket.name, off, len(lines), corridor_width(scene, said))


# -- the way in ------------------------------------------------------------------------------------------


def _ways(scene: Scene) -> Iterable[Way]:
    """Ways that a truck can take, from the end that is nearer to a gate or a road."""
    plan = scene.plan
    doors: list[Block] = [spot for spot in plan.of(Spot) if plan.word(spot, "kind") in ("gate", "parking", "landing")]
    doors += [hazard for hazard in plan.of(Hazard) if plan.word(hazard, "kind") == "road"]
    shapes = [(door, shape) for door in doors if (shape := scene.shape_of(door)) is not None]
    for path in plan.of(Path):
        line = scene.shape_of(path)
        if plan.word(path, "use") != "vehicle" or line is None or plan.word(path, "offsite") == "yes":
            continue
        corners = shapely.get_coordinates(line)
        ends = [(float(x), float(y)) for x, y in (corners[0], corners[-1])]
        near = []
        for end in ends:
            offs = [(float(shape.distance(shapely.Point(end))), said_name(plan, door)) for door, shape in shapes]
            near.append(min(offs, default=(float("inf"), "")))
        if near[1][0] < near[0][0]:
            ends.reverse()
            near.reverse()
        yield Way(
            path, (ends[0], ends[1]), float(line.length), scene.width_of(path),
            ((near[0][1], near[0][0]), (near[1][1], near[1][0])),
        )  # fmt: skip
