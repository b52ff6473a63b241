"""A plan on the ground: everything placed, indexed, and open to rules as tables."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from habitatlint.findings import Slip
from habitatlint.ground.columns import Array, Column, Table
from habitatlint.ground.cuts import lay_out
from habitatlint.ground.placing import WIDTHS, Placer
from habitatlint.language.blocks import BY_NOUN, PLURALS, Block, Boundary, Food, Path, Pocket
from habitatlint.language.plan import PlanText
from habitatlint.reading.grammar import Statement
from habitatlint.units import YARD


class Scene:
    """Everything of a plan on the ground, in metres of one flat frame.

    `shape_of` gives the geometry of a block, `trees` the cut trees as arrays, `table` a plural
    of the rule language. `slips` are those of placing; more come from `document`.
    """

    def __init__(self, plan: PlanText) -> None:
        self.plan = plan
        self.placer = Placer(plan)
        for block in plan.blocks:
            self.placer.shape(block)
        self.trees, slips = lay_out(plan, self.placer)
        self.slips: list[Slip] = [*self.placer.slips, *slips]
        self._tables: dict[str, Table] = {}
        self._makers: dict[str, Callable[[Scene], Table]] = {}
        self._fields: dict[str, dict[str, Callable[[Scene], Column]]] = {}
        #: results of measures, by the measure and what it was asked
        self.memo: dict[Any, Any] = {}

    @property
    def units(self) -> str:
        return self.plan.units

    @property
    def design(self) -> bool:
        return self.plan.stage == "design"

    def shape_of(self, block: Block) -> BaseGeometry | None:
        shape = self.placer.shape(block)
        return shape if shape is None or isinstance(shape, BaseGeometry) else None

    def corners_of(self, block: Block, outline: BaseGeometry) -> Array:
        """The corners of a block's outline (n, 2) in metres, in the order in which they are written, the first
        again at the end; so what begins at its first side does so however the ground is mirrored."""
        corners = shapely.get_coordinates(outline)
        return np.asarray(corners[::-1] if id(block) in self.placer.clockwise else corners)

    @cached_property
    def property_(self) -> BaseGeometry | None:
        """The property: the boundary's parcels without their holes; None where there is no boundary."""
        for boundary in self.plan.of(Boundary):
            shape = self.shape_of(boundary)
            if shape is not None:
                return shape
        return None

    def width_of(self, path: Path) -> float:
        """A path's width in metres, the usual one of its use where none is given."""
        width = path.width
        if width is not None:
            return self.placer.metres(width)
        return WIDTHS.get(self.plan.word(path, "use"), YARD)

    @cached_property
    def corridors(self) -> list[list[tuple[Statement, LineString]]]:
        """For each pocket, by its row, the lines of its `corridors every ...`, each with what says it. Names do not
        serve here: two pockets may bear one."""
        return [_corridors(self, pocket) for pocket in self.plan.of(Pocket)]

    def table(self, plural: str) -> Table:
        """A plural of the rule language; KeyError for one that nobody has added."""
        made = self._tables.get(plural)
        if made is None:
            made = self._tables[plural] = self._makers[plural](self)
            for field, function in self._fields.get(plural, {}).items():
                made.add(field, lambda function=function: function(self))  # type: ignore[misc]
        return made

    def add_table(self, plural: str, maker: Callable[[Scene], Table]) -> None:
        """Makes a plural known: a function of the scene that gives its table when it is first asked for."""
        self._makers[plural] = maker

    def add_field(self, plural: str, field: str, function: Callable[[Scene], Column]) -> None:
        """A field of a plural that a measure works out."""
        self._fields.setdefault(plural, {})[field] = function

    def blocks_of(self, plural: str) -> list[Block]:
        """Every whole block of a plural of blocks, in order; KeyError for another plural."""
        noun = next((noun for noun, of_noun in PLURALS.items() if of_noun == plural), None)
        if noun is None:
            raise KeyError(plural)
        return list(self.plan.of(BY_NOUN[noun]))

    def row_of(self, plural: str, name: str) -> int | None:
        """The row of a block in its table."""
        rows = self.memo.get(("rows", plural))
        if rows is None:
            rows = self.memo[("rows", plural)] = {
                block.name: index for index, block in enumerate(self.blocks_of(plural))
            }
        row = rows.get(name)
        return row if isinstance(row, int) else None


def _corridors(scene: Scene, pocket: Pocket) -> list[tuple[Statement, LineString]]:
    """Lines square to the pocket's side nearest the food, a spacing apart, the first half a spacing
    from that side's end, through the pocket and 3 yd beyond its outline at both ends."""
    shape = scene.shape_of(pocket)
    lines: list[tuple[Statement, LineString]] = []
    if not isinstance(shape, Polygon):
        return lines
    for statement in pocket.corridors:
        names = [value for value in statement.values if value.kind == "name"]
        lengths = [value for value in statement.values if value.kind in ("length", "number")]
        food = scene.plan.names.get(str(names[0].value)) if names else None
        target = scene.shape_of(food) if isinstance(food, Food) else None
        spacing = scene.placer.metres(lengths[0]) if lengths else 0.0
        if target is None or spacing < YARD:
            continue
        corners = scene.corners_of(pocket, shape)
        sides = [LineString(corners[index : index + 2]) for index in range(len(corners) - 1)]
        side = min(sides, key=lambda one: (round(one.distance(target), 3), round(one.centroid.distance(target), 3)))
        (east, north), (east_end, north_end) = side.coords
        along = np.array([east_end - east, north_end - north]) / side.length
        across = np.array([-along[1], along[0]])
        far = np.hypot(*(corners.max(axis=0) - corners.min(axis=0))) * 2 + spacing
        for distance in np.arange(spacing / 2, side.length, spacing):
            foot = np.array([east, north]) + along * distance
            cut = LineString([foot - across * far, foot + across * far]).intersection(shape)
            pieces = [piece for piece in shapely.get_parts(cut) if isinstance(piece, LineString)]
            lines += [(statement, _beyond(piece, 3 * YARD)) for piece in pieces]
    return lines


def _beyond(line: LineString, by: float) -> LineString:
    start, end = np.array(line.coords[0]), np.array(line.coords[-1])
    along = (end - start) / np.hypot(*(end - start))
    return LineString([start - along * by, end + along * by])
