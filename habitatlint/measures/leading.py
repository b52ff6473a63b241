"""What a pocket leads to: chains of travel lines and corridors, to food or to a stand.

Every distance here is common practice, no source.
"""

from __future__ import annotations

import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.ground.columns import Column, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Food, Path, Pocket, Stand
from habitatlint.measures.core import core_ground, food_side
from habitatlint.measures.scent import plume
from habitatlint.measures.vocabulary import of_plural
from habitatlint.measures.walk import walks_of
from habitatlint.units import TOLERANCE, YARD

#: largest gap in a chain of travel lines and corridors
CHAIN_GAP = 20 * YARD
#: how far is shot from a stand that does not say
USUAL_RANGE = 30 * YARD


@of_plural("pockets", "leading", "truth")
def _leading(scene: Scene) -> Column:
    """A chain of travel lines and corridors, with gaps up to 20 yd, runs from it to a food-side
    pocket, to food, or into the range of a stand that lies outside the core, is walked to outside
    it, and has a listed wind that keeps off the pocket."""
    return column("truth", [_leads(scene, pocket) for pocket in scene.plan.of(Pocket)])


def _leads(scene: Scene, pocket: Pocket) -> bool:
    start = scene.shape_of(pocket)
    if start is None:
        return False
    links = [
        shape
        for path in scene.plan.of(Path)
        if scene.plan.word(path, "use") in ("travel", "corridor") and (shape := scene.shape_of(path)) is not None
    ]
    links += [line for lines in scene.corridors.values() for line in lines]
    goals = _goals(scene, pocket)
    if not links or not goals:
        return False
    index = shapely.STRtree(links)
    reached: set[int] = set()
    frontier: list[BaseGeometry] = [start]
    while frontier:
        shape = frontier.pop()
        for number in index.query(shape, predicate="dwithin", distance=CHAIN_GAP + TOLERANCE):
            if int(number) in reached:
                continue
            link = links[int(number)]
            if any(link.distance(goal) <= reach + TOLERANCE for goal, reach in goals):
                return True
            reached.add(int(number))
            frontier.append(link)
    return False


def _goals(scene: Scene, pocket: Pocket) -> list[tuple[BaseGeometry, float]]:
    """What a chain may lead to, and how near it must come."""
    goals: list[tuple[BaseGeometry, float]] = []
    for other, beside_food in zip(scene.plan.of(Pocket), food_side(scene), strict=True):
        shape = scene.shape_of(other)
        if beside_food and other is not pocket and shape is not None:
            goals.append((shape, CHAIN_GAP))
    goals += [(shape, CHAIN_GAP) for food in scene.plan.of(Food) if (shape := scene.shape_of(food)) is not None]
    for stand in scene.plan.of(Stand):
        place = scene.shape_of(stand)
        if place is not None and _sits_well(scene, stand, pocket):
            reach = scene.placer.metres(stand.range) if stand.range else USUAL_RANGE
            goals.append((place, reach))
    return goals


def _sits_well(scene: Scene, stand: Stand, pocket: Pocket) -> bool:
    """Outside the core, walked to outside it, and with a listed wind that keeps off the pocket."""
    core, place, cover = core_ground(scene), scene.shape_of(stand), scene.shape_of(pocket)
    if place is None or cover is None:
        return False
    ways = [walk.whole for walk in walks_of(scene) if walk.stand is stand]
    if core is not None and (core.covers(place) or any(way.intersects(core) for way in ways)):
        return False
    east, north = place.x, place.y
    return any(not plume(east, north, scene.placer.bearing(stand, wind)).intersects(cover) for wind in stand.winds)
