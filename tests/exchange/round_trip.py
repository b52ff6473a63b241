"""What export and import give back, for tests: a plan out and in again, and how far its things moved."""

from __future__ import annotations

import re

import shapely

from habitatlint import files
from habitatlint.exchange import forms
from habitatlint.exchange.exporting import contents
from habitatlint.exchange.importing import into_new
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import PLACED
from habitatlint.language.plan import PlanText, plan_grammar, read_plan
from habitatlint.source import Source

GRAMMAR = files.grammar("plan", plan_grammar)
ANCHOR = "anchor 41.8830N,91.2260W"


def scene_of(text: str, name: str = "plan.habitat") -> Scene:
    return Scene(read_plan(Source(name, text), GRAMMAR, files.find_beside))


def anchored(text: str) -> str:
    """A plan's text with an anchor in its head."""
    return text if re.search(r"(?m)^\s+anchor ", text) else re.sub(r'(?m)^(plan ".*")$', rf"\1\n  {ANCHOR}", text)


def out_and_in(scene: Scene, ending: str) -> Scene:
    """A plan exported, read again by itself, and placed."""
    written = forms.WRITTEN[ending](contents(scene)).encode()
    return scene_of(into_new([(f"plan{ending}", forms.read(f"plan{ending}", {ending: written}))], GRAMMAR).text)


def things(plan: PlanText) -> dict[str, str]:
    """Every block with a place, by its label: the words of its properties that are not lost by way of a map."""
    return {block.label: block.title for block in plan.blocks if block.noun in PLACED}


def farthest_moved(before: Scene, after: Scene) -> float:
    """The farthest that any block's shape moved, in metres; things that went missing count as infinity."""
    moved = 0.0
    there = {block.label: block for block in after.plan.blocks}
    for block in before.plan.blocks:
        shape = before.shape_of(block)
        if block.noun not in PLACED or shape is None:
            continue
        again = after.shape_of(there[block.label]) if block.label in there else None
        if again is None or again.geom_type != shape.geom_type:
            return float("inf")
        moved = max(moved, float(shapely.hausdorff_distance(shape, again)))
    return moved
