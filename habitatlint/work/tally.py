"""What a plan takes and gives, as facts: trees, basal area, cover, wood, herbicide, hours, money and sun.

All sizes are in base units: square metres, square metres of stems a square metre, litres, hours, board feet, cords.
What rests on no published figure is a spread or is not there, and `unknown` says what was not worked out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Food, Pocket, Timber
from habitatlint.measures.core import is_field
from habitatlint.measures.cover import cover_of
from habitatlint.measures.light import hours_of_sun
from habitatlint.measures.season import steps_of
from habitatlint.measures.vocabulary import Measured
from habitatlint.measures.volume import USUAL_RULE
from habitatlint.units import YARD
from habitatlint.work.cutlist import Piece, pieces_of
from habitatlint.work.pricing import Priced, priced
from habitatlint.work.stems import Standing, Stems, Unknown, standing, stems_of
from habitatlint.work.yields import MixUse, Wood, Worked, hours_of, mixes_of, wood_of

#: side of the cells by which a pocket's cover is looked at; the shares of the whole do not hang on it
_CELL = 20 * YARD
#: woods within this of a plot or pocket are its surroundings; where none are drawn, nobody knows what shades it
#: (common practice, no source)
_WOODS_NEAR = 100 * YARD
#: the month whose sun is told: the longest days, as the rule of plots in shade has it
JUNE = 6


class Covered(NamedTuple):
    """Shares of a pocket's ground under one top or more and under two or more: as it lies, and after the work."""

    pocket: Pocket
    shade_now: float
    roof_now: float
    shade: float
    roof: float
    estimated: bool


class Sun(NamedTuple):
    """Hours of direct sun a day in mid June on a plot, crop or pocket: as the woods stand now, and after the work that
    the plan's stage counts; None where they are not known, with `why`."""

    block: Food | Pocket
    now: float | None
    after: float | None
    why: str
    estimated: bool

    @property
    def gained(self) -> float | None:
        return None if self.now is None or self.after is None else self.after - self.now


class Tally(NamedTuple):
    """All that is counted of a plan."""

    pieces: tuple[Piece, ...]
    steps: tuple[tuple[float | None, str], ...]
    stems: tuple[Stems, ...]
    standing: tuple[Standing, ...]
    covered: tuple[Covered, ...]
    log_rule: str
    log_rule_given: bool
    wood: tuple[Wood, ...]
    mixes: tuple[MixUse, ...]
    worked: tuple[Worked, ...]
    sun: tuple[Sun, ...]
    priced: tuple[Priced, ...]
    unknown: tuple[Unknown, ...]


def tally_of(report: Report) -> Tally:
    """Everything that can be counted of a plan; reads only what its report holds."""
    scene = report.scene
    pieces = pieces_of(report)
    stems, unknown = stems_of(scene, pieces)
    head = report.plan.head
    rule = report.plan.word(head, "log-rule") if head is not None else ""
    wood = tuple(wood_of(report, pieces, stems, rule or USUAL_RULE))
    mixes = tuple(mixes_of(scene, pieces, stems))
    worked = tuple(hours_of(pieces, stems))
    return Tally(
        pieces, tuple(_steps(scene, pieces)), stems, standing(scene, stems), tuple(_covered(scene)),
        rule or USUAL_RULE, bool(rule), wood, mixes, worked, tuple(_sun(scene)),
        tuple(priced(report.plan, pieces, stems, wood, mixes, worked)), unknown,
    )  # fmt: skip


def _steps(scene: Scene, pieces: Sequence[Piece]) -> Iterator[tuple[float | None, str]]:
    """The steps with their titles, by number; None last where some work is in no step."""
    listed = {number: step.title for number, (_, step) in steps_of(scene).items()}
    numbers = {*listed, *(piece.step for piece in pieces if piece.step is not None)}
    yield from ((number, listed.get(number, "")) for number in sorted(numbers))
    if any(piece.step is None for piece in pieces):
        yield None, ""


# -- cover and sun ---------------------------------------------------------------------------------------


def _covered(scene: Scene) -> Iterator[Covered]:
    """The pockets of ours in which something lies or will lie."""
    trees = scene.trees
    guessed = {int(row) for row in trees.pocket[trees.estimated & trees.lies]}
    for row, pocket in enumerate(scene.plan.of(Pocket)):
        after, now = cover_of(scene, row, _CELL), cover_of(scene, row, _CELL, now=True)
        if after is None or now is None or scene.plan.word(pocket, "offsite") == "yes" or after.shade <= 0:
            continue
        yield Covered(pocket, now.shade, now.roof, after.shade, after.roof, row in guessed)


def _sun(scene: Scene) -> Iterator[Sun]:
    """Plots, crops and pockets of ours, each with its sun."""
    plan = scene.plan
    fields = [food for food in plan.of(Food) if is_field(scene, food)]
    every: list[Food | Pocket] = [*fields, *plan.of(Pocket)]
    blocks = [block for block in every if plan.word(block, "offsite") != "yes" and _area(scene, block) > 0]
    if not blocks:
        return
    shapes = np.empty(len(blocks), object)
    shapes[:] = [scene.shape_of(block) for block in blocks]
    # whatever is not known leaves the hours unknown, however many they are
    enough = Column("duration", np.full(len(blocks), math.inf))
    measured = hours_of_sun(scene, Column("shape", shapes), Column("number", np.full(len(blocks), JUNE)), enough)
    assert isinstance(measured, Measured)
    after = measured.value
    now = measured.parts["before"](np.arange(len(blocks), dtype=np.intp))
    woods = [shape for timber in plan.of(Timber) if (shape := scene.shape_of(timber)) is not None]
    for row, block in enumerate(blocks):
        drawn = any(shapes[row].distance(wood) <= _WOODS_NEAR for wood in woods)
        known = drawn and bool(after.mask[row] and now.mask[row])
        guessed = bool(after.estimated is not None and after.estimated[row])
        why = "" if known else (after.why or now.why) if drawn else "no `timber` is drawn on it or near it"
        yield Sun(
            block, float(now.values[row]) if known else None, float(after.values[row]) if known else None, why, guessed
        )


def _area(scene: Scene, block: Block) -> float:
    shape = scene.shape_of(block)
    return 0.0 if shape is None else float(shape.area)
