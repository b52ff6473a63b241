"""What a pocket leads to: chains of travel lines and corridors, to food or to a stand.

Every distance here is common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Food, Path, Pocket, Stand
from habitatlint.measures.core import core_ground, food_side
from habitatlint.measures.scent import plume
from habitatlint.measures.vocabulary import Rows, measure
from habitatlint.measures.walk import ways_of
from habitatlint.units import TOLERANCE, YARD

#: how far is shot from a stand that does not say
USUAL_RANGE = 30 * YARD


@measure("leads-to", ("pockets", "length"), "truth")
def leads_to(scene: Scene, pockets: Rows, gap: Column) -> Column:
    """Whether a chain of travel lines and corridors, with gaps up to `gap`, runs from a pocket to a
    food-side pocket, to food, or into the range of a stand that lies outside the core, is walked to
    outside it, and has a listed wind whose scent keeps off the pocket.

    The chain begins within `gap` of the pocket and ends within it of the food or cover; a stand's
    range is its own, 30 yd where it does not say. A link counts by its nearest place, whichever way
    it is drawn. A stand without `reach` is not known to be walked to, and so is no goal; nor is one
    without listed winds. A pocket without a place leads nowhere."""
    every = scene.plan.of(Pocket)
    pairs = zip(pockets.rows, gap.values, strict=True)
    return column("truth", [leads(scene, every[int(row)], float(reach)) for row, reach in pairs])


def leads(scene: Scene, pocket: Pocket, gap: float) -> bool:
    """Whether a chain of links no more than `gap` metres apart leads from a pocket to a goal."""
    start = scene.shape_of(pocket)
    key = ("chains", gap)
    chains = scene.memo.get(key)
    if chains is None:
        chains = scene.memo[key] = _Chains(scene, gap)
    return start is not None and chains.lead(pocket, start)


class _Stand(NamedTuple):
    """A stand that a chain may lead to: its place, its range, and where its scent goes on each wind."""

    place: BaseGeometry
    reach: float
    plumes: tuple[BaseGeometry, ...]


class _Chains:
    """The links of a plan, and what each of them may lead to; looked up, never all with all."""

    def __init__(self, scene: Scene, gap: float) -> None:
        self.gap = gap + TOLERANCE
        #: what has been worked out, by the pocket's identity
        self.told: dict[int, bool] = {}
        self.links: list[BaseGeometry] = [
            shape
            for path in scene.plan.of(Path)
            if scene.plan.word(path, "use") in ("travel", "corridor") and (shape := scene.shape_of(path)) is not None
        ]
        self.links += [line for lines in scene.corridors for _, line in lines]
        self.goals: list[tuple[Block, BaseGeometry]] = [
            (other, shape)
            for other, beside_food in zip(scene.plan.of(Pocket), food_side(scene), strict=True)
            if beside_food and (shape := scene.shape_of(other)) is not None
        ]
        self.goals += [(food, shape) for food in scene.plan.of(Food) if (shape := scene.shape_of(food)) is not None]
        self.stands = _stands(scene)
        self.link_index = shapely.STRtree(self.links)
        self.goal_index = shapely.STRtree([shape for _, shape in self.goals])
        self.stand_index = shapely.STRtree([stand.place for stand in self.stands])
        self.widest = max((stand.reach for stand in self.stands), default=0.0) + TOLERANCE

    def lead(self, pocket: Pocket, start: BaseGeometry) -> bool:
        known = self.told.get(id(pocket))
        if known is None:
            known = self.told[id(pocket)] = self._lead(pocket, start)
        return known

    def _lead(self, pocket: Pocket, start: BaseGeometry) -> bool:
        reached: set[int] = set()
        frontier = [start]
        while frontier:
            shape = frontier.pop()
            for number in self.link_index.query(shape, predicate="dwithin", distance=self.gap):
                link = self.links[int(number)]
                if int(number) in reached:
                    continue
                if self._ends_well(link, pocket, start):
                    return True
                reached.add(int(number))
                frontier.append(link)
        return False

    def _ends_well(self, link: BaseGeometry, pocket: Pocket, start: BaseGeometry) -> bool:
        """Whether a link comes to food, to other food-side cover, or into range of a stand that a wind
        keeps off the pocket."""
        near = self.goal_index.query(link, predicate="dwithin", distance=self.gap)
        if any(self.goals[int(number)][0] is not pocket for number in near):
            return True
        for number in self.stand_index.query(link, predicate="dwithin", distance=self.widest):
            stand = self.stands[int(number)]
            in_range = link.distance(stand.place) <= stand.reach + TOLERANCE
            if in_range and any(not plume.intersects(start) for plume in stand.plumes):
                return True
        return False


def _stands(scene: Scene) -> list[_Stand]:
    """Stands outside the core that are walked to outside it."""
    core = core_ground(scene)
    found = []
    for stand in scene.plan.of(Stand):
        place, ways = scene.shape_of(stand), ways_of(scene, stand)
        if place is None or not ways:
            continue
        if core is not None and (core.covers(place) or any(way.intersects(core) for way in ways)):
            continue
        reach = scene.placer.metres(stand.range) if stand.range else USUAL_RANGE
        plumes = tuple(plume(place.x, place.y, scene.placer.bearing(stand, wind)) for wind in stand.winds)
        found.append(_Stand(place, reach, plumes))
    return found
