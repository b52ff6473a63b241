"""The core of a property, food-side cover, and what a pocket leads to.

Every distance and share here is common practice, no source.
"""

from __future__ import annotations

import shapely
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from habitatlint.ground.columns import Column, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Core, Food, Hazard, Pocket
from habitatlint.measures.vocabulary import of_plural
from habitatlint.units import TOLERANCE, YARD

#: a pocket is food-side when this share of it lies within this of a plot or crop
FOOD_SIDE = 60 * YARD
FOOD_SHARE = 0.25
#: core from this share of the way to the middle, and from this far in
CORE_DEPTH = 0.5
CORE_IN = 100 * YARD
#: why nobody can say what lies in the core
NO_CORE = "without a `boundary` or a `core` nobody knows what is core"


def core_ground(scene: Scene) -> BaseGeometry | None:
    """The core: the plan's own, else the ground at least half as deep in as the deepest place and at
    least 100 yd in; None without boundary or own core. Roads count as edge, paths do not."""
    found = scene.memo.get("core")
    if found is None:
        found = scene.memo["core"] = (_core_ground(scene),)
    return found[0]


def _core_ground(scene: Scene) -> BaseGeometry | None:
    own = [shape for core in scene.plan.of(Core) if (shape := scene.shape_of(core)) is not None]
    if own:
        return shapely.union_all(own)
    ground = scene.property_
    if ground is None:
        return None
    depth = max(CORE_DEPTH * _inradius(scene, ground), CORE_IN)
    inner = ground.buffer(-depth, quad_segs=16)
    for road in _roads(scene):
        inner = inner.difference(road.buffer(depth, quad_segs=16))
    return inner


def _inradius(scene: Scene, ground: BaseGeometry) -> float:
    """Radius of the greatest circle within the property, in metres."""
    found = scene.memo.get("inradius")
    if found is None:
        found = scene.memo["inradius"] = float(shapely.length(shapely.maximum_inscribed_circle(ground, TOLERANCE)))
    return float(found)


def _roads(scene: Scene) -> list[BaseGeometry]:
    return [
        shape
        for hazard in scene.plan.of(Hazard)
        if scene.plan.word(hazard, "kind") == "road" and (shape := scene.shape_of(hazard)) is not None
    ]


def _edges(scene: Scene, ground: BaseGeometry) -> shapely.STRtree:
    """The property line and the roads, to be asked for the nearest."""
    if "edges" not in scene.memo:
        scene.memo["edges"] = shapely.STRtree([ground.boundary, *_roads(scene)])
    found: shapely.STRtree = scene.memo["edges"]
    return found


def is_field(scene: Scene, food: Food) -> bool:
    """A plot or a crop: food that deer come out to. Without a kind, a food is taken for a plot."""
    return scene.plan.word(food, "kind", "plot") in ("plot", "crop")


def food_side(scene: Scene) -> list[bool]:
    """For each pocket, whether a quarter or more of it lies within 60 yd of a plot or crop."""
    found = scene.memo.get("food side")
    if found is not None:
        return found  # type: ignore[no-any-return]
    fields = [
        shape for food in scene.plan.of(Food) if is_field(scene, food) and (shape := scene.shape_of(food)) is not None
    ]
    near = shapely.union_all([shape.buffer(FOOD_SIDE, quad_segs=16) for shape in fields]) if fields else None
    sides = []
    for pocket in scene.plan.of(Pocket):
        shape = scene.shape_of(pocket)
        share = shape.intersection(near).area / shape.area if shape is not None and near is not None else 0.0
        sides.append(share >= FOOD_SHARE)
    scene.memo["food side"] = sides
    return sides


@of_plural("pockets", "food-side", "truth")
def _food_side(scene: Scene) -> Column:
    """A quarter or more of it lies within 60 yd of a plot or crop."""
    return column("truth", food_side(scene))


def lies_in_core(scene: Scene, shape: BaseGeometry) -> bool | None:
    """Whether a thing lies in the core: its middle, or the place in it nearest its middle. None where
    neither boundary nor core is given."""
    core, ground = core_ground(scene), scene.property_
    if core is None:
        return None
    middle = shape.centroid if shape.covers(shape.centroid) else nearest_points(shape, shape.centroid)[0]
    own = any(scene.shape_of(one) is not None for one in scene.plan.of(Core))
    if own or ground is None:
        return bool(core.buffer(TOLERANCE).covers(middle))
    depth = 0.0
    if ground.covers(middle):
        _, (depth,) = _edges(scene, ground).query_nearest(middle, return_distance=True, all_matches=False)
    return bool(depth / _inradius(scene, ground) >= CORE_DEPTH and depth >= CORE_IN - TOLERANCE)


def core_pockets(scene: Scene) -> list[bool | None]:
    """For each pocket, whether it lies in the core; None where neither boundary nor core is given."""
    found: list[bool | None] = []
    for pocket, beside_food in zip(scene.plan.of(Pocket), food_side(scene), strict=True):
        shape = scene.shape_of(pocket)
        found.append(False if beside_food else None if shape is None else lies_in_core(scene, shape))
    return found


@of_plural("pockets", "core", "truth")
def _core(scene: Scene) -> Column:
    """It lies in the core and is not food-side: its middle is at least half as far in as the deepest
    place of the property and at least 100 yd from boundary and roads, or in the plan's own core."""
    return column("truth", core_pockets(scene), NO_CORE)


@of_plural("foods", "core", "truth")
def _core_food(scene: Scene) -> Column:
    """Its middle lies in the core, as a pocket's does."""
    shapes = [scene.shape_of(food) for food in scene.plan.of(Food)]
    return column("truth", [None if shape is None else lies_in_core(scene, shape) for shape in shapes], NO_CORE)
