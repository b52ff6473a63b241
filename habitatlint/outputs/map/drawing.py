"""What of a plan is drawn: marks on the ground in metres, and the findings numbered at their place."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point
from shapely.geometry.base import BaseGeometry

from habitatlint.check import Report
from habitatlint.findings import Fact, Finding
from habitatlint.ground.cuts import KILLING, LAYING
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import (
    Block,
    Core,
    Drain,
    Food,
    Hazard,
    Inspection,
    Opening,
    Patch,
    Path,
    Place,
    Planting,
    Pocket,
    Release,
    Setback,
    Sign,
    Slope,
    Stand,
    Task,
    Timber,
)
from habitatlint.language.plan import LYING
from habitatlint.measures.core import core_ground
from habitatlint.measures.openings import sawn
from habitatlint.measures.scent import ground_reached
from habitatlint.measures.ways_out import Bars, open_arcs, unlaid
from habitatlint.measures.winds import WINDS, sector
from habitatlint.outputs.sentences import clean, shown
from habitatlint.units import FOOT


class Layer(NamedTuple):
    """Marks that are shown or hidden together."""

    name: str
    title: str


#: from the bottom of the map to its top
LAYERS = (
    Layer("picture", "Picture beneath"),
    Layer("timber", "Timber and releases"),
    Layer("ground", "Slopes and drains"),
    Layer("food", "Food"),
    Layer("pockets", "Pockets, beds and core"),
    Layer("scent", "Scent on one wind"),
    Layer("hazards", "Hazards and setbacks"),
    Layer("before", "As it was before"),
    Layer("trees", "Trees that are cut"),
    Layer("ways", "Paths and openings"),
    Layer("boundary", "Boundary"),
    Layer("people", "Stands and places"),
    Layer("notes", "Signs, tasks and inspections"),
    Layer("findings", "Findings"),
)
#: the way a deer needs, by which open arcs and openings are drawn
_BARS = Bars(3 * FOOT)
#: an opening narrower than a way is drawn all the same, as wide as it is
_ANY_WIDTH = 0.1
#: ground shown about the property, as a share of its size, and at least so many metres
_ABOUT, _LEAST_ABOUT = 0.03, 2.0
#: what lies farther from the property than this share of its size is not made room for
_FAR = 0.25


class Mark(NamedTuple):
    """One thing on the map.

    `sign` names how it is drawn (`signs.SIGNS`); `shape` is in metres of the plan's frame: of trees a
    collection of their stems (MultiLineString) and tops (MultiPolygon), of an open arc its bed. `turn` is the
    bearing from true north of a sign that has a direction; `span` the two bearings of an arc; `label` wants to
    be written beside it, the lower `rank` first.
    """

    sign: str
    layer: str
    shape: BaseGeometry
    block: Block | None = None
    turn: float | None = None
    span: tuple[float, float] | None = None
    label: str = ""
    rank: int = 9


class Numbered(NamedTuple):
    """A finding with its number on the map, and its place in metres; None for one on the plan as a whole."""

    number: int
    finding: Finding
    place: tuple[float, float] | None


class Drawing(NamedTuple):
    """All that is drawn of a report. `bounds` are west, south, east, north in metres; None where nothing is placed.
    `wind` is the bearing from true north that the scent drawn comes on, None without."""

    report: Report
    marks: tuple[Mark, ...]
    numbered: tuple[Numbered, ...]
    bounds: tuple[float, float, float, float] | None
    wind: float | None = None

    @property
    def wind_name(self) -> str:
        """The wind by the plan's own compass, which may be off magnetic north; "" without."""
        return "" if self.wind is None else WINDS[sector(self.wind - self.report.scene.placer.to_true)]


def draw(report: Report, wind: float | None = None) -> Drawing:
    """The drawing of a report; `wind` is the bearing, from true north, that a wind blows from whose scent is
    drawn. What could not be placed is not drawn: findings tell it."""
    scene = report.scene
    marks = tuple(mark for part in _PARTS for mark in part(scene) if not mark.shape.is_empty)
    if wind is not None:
        marks += tuple(_scent(scene, wind))
    return Drawing(report, marks, _numbered(report), _bounds(scene, marks), wind)


def _bounds(scene: Scene, marks: Iterable[Mark]) -> tuple[float, float, float, float] | None:
    """The property with what lies on it or by it; of what is placed where there is no property."""
    whole = scene.property_
    if whole is None:
        shapes = [mark.shape for mark in marks]
    else:
        west, south, east, north = whole.bounds
        far = _FAR * max(east - west, north - south)
        near = shapely.box(west - far, south - far, east + far, north + far)
        shapes = [whole, *(mark.shape for mark in marks if mark.layer != "scent" and near.covers(mark.shape))]
    if not shapes:
        return None
    west, south, east, north = (float(value) for value in shapely.total_bounds(np.array(shapes, object)))
    about = max(_ABOUT * max(east - west, north - south), _LEAST_ABOUT)
    return west - about, south - about, east + about, north + about


def name_of(block: Block) -> str:
    """What a block is called on the map: its title if it has one, else its name."""
    return clean(block.title or block.name)


def _placed(scene: Scene, blocks: Iterable[Block]) -> Iterator[tuple[Block, BaseGeometry]]:
    for block in blocks:
        shape = scene.shape_of(block)
        if shape is not None and not shape.is_empty:
            yield block, shape


# -- the ground --------------------------------------------------------------------------------------------


def _timber(scene: Scene) -> Iterator[Mark]:
    for timber, shape in _placed(scene, scene.plan.of(Timber)):
        yield Mark("timber", "timber", shape, timber, label=name_of(timber), rank=7)
    for release, shape in _placed(scene, scene.plan.of(Release)):
        yield Mark("release", "timber", shape, release, label=name_of(release), rank=7)


def _lie(scene: Scene) -> Iterator[Mark]:
    for slope in scene.plan.of(Slope):
        shape, falls = scene.shape_of(slope), slope.first("falls")
        if shape is None or falls is None:
            continue
        share = shown(Fact(falls.values[1].value.size, "share"), scene.units, 0)
        yield Mark("slope-ground", "ground", shape, slope)
        bearing = scene.placer.bearing(slope, falls.values[0])
        label = f"{name_of(slope)} {share}".strip()
        yield Mark("slope", "ground", shape.representative_point(), slope, bearing, label=label, rank=6)
    for drain, shape in _placed(scene, scene.plan.of(Drain)):
        yield Mark("drain", "ground", shape, drain, label=name_of(drain), rank=8)


def _food(scene: Scene) -> Iterator[Mark]:
    for food, shape in _placed(scene, scene.plan.of(Food)):
        yield Mark(scene.plan.word(food, "kind", "plot"), "food", shape, food, label=name_of(food), rank=1)


def _pockets(scene: Scene) -> Iterator[Mark]:
    core = core_ground(scene)
    if core is not None:
        own = [name_of(one) for one in scene.plan.of(Core) if scene.shape_of(one) is not None]
        yield Mark("core", "pockets", core, label=own[0] if len(own) == 1 and own[0] else "core", rank=8)
    covers = scene.table("pockets").column("cut").values
    for row, pocket in enumerate(scene.plan.of(Pocket)):
        shape = scene.shape_of(pocket)
        if shape is not None:
            said = scene.plan.word(pocket, "cover", "cut" if covers[row] else "natural")
            sign = "pocket" if said == "cut" else f"pocket-{said}"
            yield Mark(sign, "pockets", shape, pocket, label=name_of(pocket), rank=0)
    beds, pockets = scene.table("beds"), scene.plan.of(Pocket)
    for row, place in zip(beds.column("pocket").values.tolist(), beds.column("at").values, strict=True):
        yield Mark("bed", "pockets", place, pockets[row])
        if covers[row]:
            spans = open_arcs(scene, row, place, _BARS)
            if spans == [(0.0, 360.0)] and unlaid(scene)[row]:
                continue  # nobody knows: trees may lie in its way that the plan does not lay out
            for span in spans:
                yield Mark("open-arc", "pockets", place, pockets[row], span=span)


# -- what is cut and grown ---------------------------------------------------------------------------------


def _trees(scene: Scene) -> Iterator[Mark]:
    cut = scene.trees
    signs = _tree_signs(scene)
    stumps_shown = (cut.lies | (signs == "down")) & ((cut.method == "fell") & (cut.state != "blown") | cut.treated)
    for block in dict.fromkeys(cut.blocks):
        rows = cut.rows_of(block)
        label = name_of(block)
        for sign in dict.fromkeys(signs[rows].tolist()):
            of_sign = rows[signs[rows] == sign]
            stems = np.array([stem for stem in cut.stem[of_sign] if not stem.is_empty], object)
            tops = np.array([top for top in cut.top[of_sign] if not top.is_empty], object)
            lying = sign in _LYING
            stumps = shapely.multipoints(np.column_stack([cut.x[of_sign], cut.y[of_sign]]))
            shape = shapely.geometrycollections([MultiLineString(list(stems)), MultiPolygon(list(tops))])
            yield Mark(sign, "trees", shape if lying else stumps, block, label=label, rank=5 if len(rows) > 1 else 7)
            label = ""  # once a block
        for sign, treated in (("stump-treated", True), ("stump", False)):
            at = rows[stumps_shown[rows] & (cut.treated[rows] == treated)]
            if len(at):
                yield Mark(sign, "trees", shapely.multipoints(np.column_stack([cut.x[at], cut.y[at]])), block)


#: signs of trees that lie
_LYING = ("hinge", "hinge-dead", "fell", "blown")


def _tree_signs(scene: Scene) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    """The sign of each tree, by its state, its method and whether its work is counted."""
    cut = scene.trees
    signs = np.full(len(cut), "uncut", object)
    killed = np.isin(cut.method, KILLING) & cut.counted
    signs[killed] = cut.method[killed]
    # it comes down or has, but nobody has said which way
    laid = np.isin(cut.method, LAYING) & cut.counted & ~cut.upright
    signs[(laid | np.isin(cut.state, LYING)) & ~cut.lies] = "down"
    signs[cut.state == "hung"] = "hung"
    signs[(cut.state == "dead") & ~cut.lies] = "snag"
    signs[cut.lies] = "fell"
    signs[cut.hinged] = np.where(cut.live[cut.hinged], "hinge", "hinge-dead")
    signs[cut.lies & (cut.state == "blown")] = "blown"
    return signs


def _grown(scene: Scene) -> Iterator[Mark]:
    methods = {"hinge": "patch-hinge", "fell": "patch-fell"}
    for patch in scene.plan.of(Patch):
        shape = scene.shape_of(patch)
        if shape is None and patch.in_ is not None:
            pocket = scene.plan.names.get(str(patch.in_.value))
            shape = scene.shape_of(pocket) if pocket is not None else None
        if shape is not None:
            method = scene.plan.word(patch, "method")
            cut = scene.plan.counted(patch) and method in (*LAYING, *KILLING)
            sign = methods.get(method, "patch-kill") if cut else "patch-uncut"
            yield Mark(sign, "trees", shape, patch, label=name_of(patch), rank=5)
    for planting, shape in _placed(scene, scene.plan.of(Planting)):
        line = isinstance(shape, LineString)
        kind = scene.plan.word(planting, "kind", "screen" if line else "cover")
        sign = f"planting-{kind}" if line == (kind == "screen") else f"planting-{kind}-{'line' if line else 'area'}"
        yield Mark(sign, "trees", shape, planting, label=name_of(planting), rank=5)


# -- ways and hazards --------------------------------------------------------------------------------------


def _ways(scene: Scene) -> Iterator[Mark]:
    for strip in sawn(scene, _ANY_WIDTH):
        sawn_ = isinstance(strip.block, Opening)
        sign, layer = ("opening", "ways") if sawn_ else ("corridor", "pockets")  # beneath the trees beside it
        label = name_of(strip.block) if isinstance(strip.block, Path) else ""
        yield Mark(sign, layer, strip.line.buffer(strip.width / 2, cap_style="flat"), strip.block, label=label, rank=8)
    for path, shape in _placed(scene, scene.plan.of(Path)):
        use = scene.plan.word(path, "use")
        if use != "corridor":
            sign = use if use in ("entry", "exit", "travel", "vehicle") else "way"
            yield Mark(sign, "ways", shape, path, label=name_of(path), rank=2)


def _hazards(scene: Scene) -> Iterator[Mark]:
    for hazard, shape in _placed(scene, scene.plan.of(Hazard)):
        kind = scene.plan.word(hazard, "kind", "hazard")
        mark = Mark(kind, "hazards", shape, hazard, label=name_of(hazard), rank=4)
        if isinstance(shape, Point):
            yield mark._replace(sign="building-point" if kind == "building" else "hazard-point")
        elif isinstance(shape, LineString):
            side = scene.plan.word(hazard, "side")
            sign = {"water": "stream", "building": "hazard", "bank": "bank" if side else "bank-untold"}.get(kind, kind)
            # teeth stand to the right of a line
            turned = sign == "bank" and side == "left"
            yield mark._replace(sign=sign, shape=shape.reverse() if turned else shape)
        elif kind not in ("water", "building"):
            yield mark._replace(sign="hazard-area")
        else:
            yield mark
    grounds = scene.table("setbacks")
    things, far = grounds.column("ground"), grounds.column("distance")
    for row, setback in enumerate(scene.plan.of(Setback)):
        if things.mask[row] and far.mask[row] and things.values[row] is not None:
            ring = things.values[row].buffer(float(far.values[row]), quad_segs=12)
            yield Mark("setback", "hazards", ring, setback, label=name_of(setback), rank=8)


def _boundary(scene: Scene) -> Iterator[Mark]:
    whole = scene.property_
    if whole is not None:
        yield Mark("boundary", "boundary", whole.boundary)


# -- people, and what was seen -----------------------------------------------------------------------------


def _people(scene: Scene) -> Iterator[Mark]:
    for stand in scene.plan.of(Stand):
        place = scene.shape_of(stand)
        if not isinstance(place, Point):
            continue
        if stand.range is not None:
            far = scene.placer.metres(stand.range)
            yield Mark("range", "people", place.buffer(far, quad_segs=24), stand)
            for bearing in stand.shoot:
                turned = math.radians(scene.placer.bearing(stand, bearing))
                tip = (place.x + far * math.sin(turned), place.y + far * math.cos(turned))
                yield Mark("shoot", "people", LineString([place, tip]), stand)
        for wind in stand.winds:
            yield Mark("stand-wind", "people", place, stand, scene.placer.bearing(stand, wind))
        yield Mark("stand", "people", place, stand, label=name_of(stand), rank=1)
    for place_, shape in _placed(scene, scene.plan.of(Place)):
        yield Mark(scene.plan.word(place_, "kind", "place"), "people", shape, place_, label=name_of(place_), rank=3)


def _notes(scene: Scene) -> Iterator[Mark]:
    for sign, shape in _placed(scene, scene.plan.of(Sign)):
        kind = scene.plan.word(sign, "kind", "trail" if isinstance(shape, LineString) else "other")
        if isinstance(shape, LineString):
            yield Mark("sign-trail" if kind == "trail" else "sign-line", "notes", shape, sign)
            shape = shape.interpolate(0.5, normalized=True)  # where its letter stands
            if kind == "trail":
                continue
        yield Mark(f"sign-{'other' if kind == 'trail' else kind}", "notes", shape, sign)
    for task, shape in _placed(scene, scene.plan.of(Task)):
        name = "task" if isinstance(shape, Point) else "task-line" if isinstance(shape, LineString) else "task-area"
        yield Mark(name, "notes", shape, task, label=name_of(task), rank=7)
    for inspection in scene.plan.of(Inspection):
        for named in inspection.of:
            block = scene.plan.names.get(str(named.value))
            shape = place_of(scene, block) if block is not None else None
            if shape is not None:
                yield Mark("inspection", "notes", shape, inspection)


def _scent(scene: Scene, wind: float) -> Iterator[Mark]:
    grounds = [reached.ground for reached in ground_reached(scene, wind)]
    if grounds:
        yield Mark("scent", "scent", shapely.union_all(grounds))


_PARTS = (_timber, _lie, _food, _pockets, _hazards, _trees, _grown, _ways, _boundary, _people, _notes)


# -- findings ----------------------------------------------------------------------------------------------


def place_of(scene: Scene, block: Block) -> Point | None:
    """A point that stands for a block: on it, in its middle; None for one without a place."""
    shape = scene.shape_of(block)
    if shape is None or shape.is_empty:
        rows = scene.trees.rows_of(block)
        return Point(scene.trees.x[rows[0]], scene.trees.y[rows[0]]) if len(rows) else None
    if isinstance(shape, LineString):
        return shape.interpolate(0.5, normalized=True)
    return shape if isinstance(shape, Point) else shape.representative_point()


def _numbered(report: Report) -> tuple[Numbered, ...]:
    """The findings in the order in which they are told, each at its own place, else at the block it is on."""
    scene = report.scene
    found = []
    for number, finding in enumerate(report.findings, 1):
        place = finding.place
        if place is None:
            block = scene.plan.block_at(finding.span)
            candidates = [block] if block is not None else []
            candidates += [scene.plan.names[name] for name in sorted(finding.names) if name in scene.plan.names]
            points = (place_of(scene, block) for block in candidates)
            point = next((point for point in points if point is not None), None)
            place = (point.x, point.y) if point is not None else None
        usable = place is not None and all(math.isfinite(value) for value in place)
        found.append(Numbered(number, finding, place if usable else None))
    return tuple(found)
