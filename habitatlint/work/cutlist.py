"""The cut list: every piece of work of a plan with what a crew must know of it, and its box to tick."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.check import Report
from habitatlint.ground import curves
from habitatlint.ground.cuts import CUT_HEIGHTS, LAYING, USUAL_DBH, falls_by
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import (
    Block,
    Boundary,
    Crew,
    Cutting,
    Drain,
    Food,
    Hazard,
    Opening,
    Patch,
    Path,
    Pocket,
    Release,
    Row,
    Stand,
    Treatment,
    Tree,
)  # fmt: skip
from habitatlint.language.blocks import Place as Spot
from habitatlint.language.plan import LYING, PlanText
from habitatlint.measures.crews import WORK
from habitatlint.measures.jobs import ground_of_work, jobs_of, pockets_of, takes_herbicide
from habitatlint.measures.reach import (
    AROUND,
    DANGEROUS,
    FELLING,
    PEOPLED,
    Tall,
    Target,
    fall_over,
    tallest,
    targets_of,
)
from habitatlint.measures.season import steps_of
from habitatlint.measures.timber import basal_areas
from habitatlint.measures.winds import mean_direction
from habitatlint.reading.values import Direction
from habitatlint.rulebook.rules import Rule
from habitatlint.units import FOOT, INCH, TOLERANCE, YARD, Range

#: a thing lies ahead of a fall whose nearest place is no farther off, and no more degrees off the fall (common
#: practice, no source)
AHEAD, ASIDE = 100 * YARD, 30.0
#: falls of one piece that differ by more are told tree by tree (common practice, no source)
ALIKE = 45.0
#: what stands within so many heights is told as within reach: roads, buildings and where people are, and all else
#: (common practice, no source); a wire within the height and 10 ft (29 CFR 1910.333(c)(3), seen in an excerpt only)
NEAR_PEOPLE, NEAR_OTHERS, NEAR_WIRES = 1.5, 1.0, 10 * FOOT
#: over these no stem is hinged where the rule of that name says nothing else (common practice, no source)
HINGE_MOST, HINGE_LEAN = 12 * INCH, 10.0

Point = tuple[float, float]


class Sizes(NamedTuple):
    """The least and the largest of some trees, in metres; estimated where the plan gives none."""

    least: float
    largest: float
    estimated: bool


class Fall(NamedTuple):
    """Which way trees are to fall: how the plan says it ("away", "doe-run"; "" for a bearing), the bearing of each
    tree in degrees from true north, and what lies ahead of them and how far off in metres ("" and 0 for nothing)."""

    word: str
    of: str
    bearings: tuple[float, ...]
    ahead: str = ""
    off: float = 0.0

    @property
    def middle(self) -> float:
        return mean_direction(self.bearings).bearing

    @property
    def spread(self) -> float:
        """By how many degrees the farthest differ from the middle."""
        turned = np.abs((np.asarray(self.bearings) - self.middle + 180) % 360 - 180)
        return float(turned.max())

    @property
    def alike(self) -> bool:
        return 2 * self.spread <= ALIKE


class Near(NamedTuple):
    """What trees can reach that must not be hit: its name, its kind ("" unsaid), and how far it stands from them in
    metres."""

    name: str
    kind: str
    distance: float


class Piece(NamedTuple):
    """A piece of work, whole or none of it done. `box` is its number on the sheet, `stumps_box` that of the treatment
    of its stumps, 0 for none."""

    block: Block
    box: int
    stumps_box: int
    method: str
    step: float | None
    crew: str
    #: it is done, and on which day where that is written
    finished: bool
    day: date | None
    ground: BaseGeometry | None
    #: first and last stump, ends of a line, or the one place; none where nobody knows
    places: tuple[Point, ...]
    pockets: tuple[str, ...]
    #: trees, laid out one by one or only reckoned, None for no trees or where nobody knows
    trees: float | None
    laid_out: bool
    spacing: float | None
    species: tuple[str, ...]
    #: species that are left, and trees of the row that stay, by their numbers
    keep: tuple[str, ...]
    stays: tuple[int, ...]
    dbh: Sizes | None
    height: Sizes | None
    #: the tallest of it and a tenth more, which people's distance goes by
    tall: Tall
    fells: bool
    cut_height: float | None
    cut_height_given: bool
    fall: Fall | None
    state: str
    stump_treatment: str
    herbicide: bool
    mix: str
    hacks: float | None
    volume: float | None
    basal_area: tuple[float, float] | None
    #: why a trained feller does it and not who hinges: words such as "big", "leans", "hollow", "dead", "hung"
    feller: tuple[str, ...]
    near: tuple[Near, ...]

    @property
    def area(self) -> float | None:
        """Its ground in square metres, where it is an area."""
        return float(self.ground.area) if self.ground is not None and self.ground.area > 0 else None

    @property
    def length(self) -> float | None:
        """In metres, where it is a line."""
        line = self.ground is not None and self.ground.geom_type == "LineString"
        return float(self.ground.length) if line and self.ground is not None else None

    @property
    def dangerous(self) -> bool:
        """It brings down a tree that can come down by itself, or what lies under load: one that hung is `down` once it
        is done, and keeps its place in the order."""
        return self.state in (*DANGEROUS, "down") and self.method in LAYING


def said_name(plan: PlanText, block: Block) -> str:
    """A thing as people say it: `water mill-creek`, `path doe-run`, `the boundary`."""
    if isinstance(block, Boundary):
        return "the property line"
    kind = plan.word(block, "kind") if isinstance(block, Hazard) else ""
    return f"{kind} {block.name}" if kind else block.label


def rule_of(report: Report, slug: str) -> Rule | None:
    """A rule in force, or one of people's safety that is switched off or lowered."""
    return next((rule for rule in (*report.rules, *report.silenced) if rule.slug == slug), None)


def limit_of(report: Report, slug: str, name: str, otherwise: float) -> float:
    """A rule's limit as it ships, in base units."""
    rule = rule_of(report, slug)
    value = rule.limits[name].value if rule is not None and name in rule.limits else otherwise
    return float(value) if isinstance(value, int | float) else otherwise


def words_of(report: Report, slug: str, name: str) -> tuple[str, ...]:
    """A rule's list of words; none where it has none."""
    rule = rule_of(report, slug)
    return tuple(rule.lists[name].words) if rule is not None and name in rule.lists else ()


def pieces_of(report: Report) -> tuple[Piece, ...]:
    """Every piece of work that is ours, done or not, in the order of work: by step, in a step first what brings down
    dangerous trees, then releases, then as the plan has it; last what is in no step.

    Boxes are numbered in this order over all of them, whatever is done already and whatever is printed, so that one
    plan has one number for each box."""
    return _Lister(report).pieces()


def mark_of(pieces: Iterable[Piece]) -> str:
    """Four signs that tell one numbering of boxes from another, for a sheet and the plan that it is ticked into."""
    said = "\n".join(f"{one.box} {one.stumps_box} {one.block.label}" for one in pieces)
    return hashlib.sha256(said.encode()).hexdigest()[:4].upper()


class _Lister:
    def __init__(self, report: Report) -> None:
        self.report, self.plan, self.scene = report, report.plan, report.scene
        self.jobs = {id(job.block): row for row, job in enumerate(jobs_of(self.scene))}
        self.landmarks = list(_landmarks(self.scene))
        self.index = shapely.STRtree([shape for _, shape in self.landmarks])
        targets = targets_of(self.scene)
        self.targets, self.near = targets, shapely.STRtree([target.shape for target in targets])
        self.of_rows: dict[str, list[tuple[int, Tree]]] = {}
        for tree in self.plan.of(Tree):
            if (of := tree.first("of")) is not None:
                number = int(of.values[1].value.number)
                self.of_rows.setdefault(str(of.values[0].value), []).append((number, tree))
        self.most = limit_of(report, "hinge-too-big", "most", HINGE_MOST)
        self.lean = limit_of(report, "hinge-leaner", "leaning", HINGE_LEAN)
        self.splits = frozenset(words_of(report, "hinge-splitter", "splits"))

    def pieces(self) -> tuple[Piece, ...]:
        found = [self._piece(block) for block in self.plan.blocks if self._is_work(block)]
        found.sort(key=_order)  # sorting keeps the plan's order where it says nothing
        numbered, box = [], 0
        for piece in found:
            box += 1
            stumps = box + 1 if _has_stumps(piece) else 0
            numbered.append(piece._replace(box=box, stumps_box=stumps))
            box = max(box, stumps)
        return tuple(numbered)

    def _is_work(self, block: Block) -> bool:
        if not isinstance(block, WORK) or block.broken or self.plan.word(block, "offsite") == "yes":
            return False
        return not isinstance(block, Cutting) or self.plan.word(block, "method") not in ("leave", "")

    def _piece(self, block: Block) -> Piece:
        plan, scene = self.plan, self.scene
        cuts = isinstance(block, Cutting)
        method = plan.word(block, "method", "fell" if isinstance(block, Release) else "")
        step, done = plan.value(block, "step"), plan.value(block, "done")
        number = step.value.number if step is not None else None
        ground = ground_of_work(scene, block) or scene.shape_of(block)
        state = plan.word(block, "state") if cuts else ""
        fells = (method in FELLING if isinstance(block, Release) else method in LAYING) and state not in LYING
        cut_height = plan.value(block, "cut-height") if cuts else None
        dbh, height = (_dbh(plan, block), _height(plan, block)) if cuts else (None, None)
        tall = tallest(scene, block) if isinstance(block, Cutting | Release) else Tall(0.0, False)
        trees = self._of_job(block, "trees")
        piece = Piece(
            block, 0, 0, method, number, self._crew(block, number),
            # what hangs is not down, whatever day is written: it is still to do
            plan.finished(block) and not (state == "hung" and method in LAYING),
            done.value if done is not None and done.kind == "date" else None,
            ground, self._places(block, ground), self._pockets(block), trees,
            laid_out=isinstance(block, Row | Tree),
            spacing=scene.placer.metres(block.spacing) if isinstance(block, Row) and block.spacing else None,
            species=_names(plan, block, "species"),
            keep=_names(plan, block, "keep"),
            stays=self._stays(block),
            dbh=dbh, height=height, tall=tall, fells=fells,
            cut_height=cut_height.value.size if cut_height is not None else CUT_HEIGHTS.get(method),
            cut_height_given=cut_height is not None,
            fall=self._fall(block, ground),
            state=state,
            stump_treatment=plan.word(block, "stump-treatment") if cuts else "",
            herbicide=isinstance(block, Treatment) or takes_herbicide(plan, block, method),
            mix=plan.word(block, "mix"),
            hacks=self._of_job(block, "hacks"), volume=self._of_job(block, "volume"),
            basal_area=basal_areas(block) if isinstance(block, Release) else None,
            feller=self._feller(block, method, state, dbh),
            near=(),
        )  # fmt: skip
        return piece._replace(near=self._near(piece)) if fells and tall.height > 0 else piece

    def _of_job(self, block: Block, field: str) -> float | None:
        row = self.jobs.get(id(block))
        if row is None:
            return None
        column = self.scene.table("jobs").column(field)
        return float(column.values[row]) if column.mask[row] else None

    def _crew(self, block: Block, step: float | None) -> str:
        """The crew that its block names, else its step's."""
        own = self.plan.word(block, "by")
        steps = steps_of(self.scene)
        return own or (steps[step][1].crew or "" if step in steps else "")

    def _pockets(self, block: Block) -> tuple[str, ...]:
        names = [pocket.name for pocket in self.plan.of(Pocket)]
        return tuple(names[row] for row in pockets_of(self.scene).get(id(block), ()))

    def _stays(self, block: Block) -> tuple[int, ...]:
        """Trees of a row that a block of their own leaves standing."""
        own = self.of_rows.get(block.name, []) if isinstance(block, Row) else []
        return tuple(sorted(number for number, tree in own if self.plan.word(tree, "method") == "leave"))

    def _places(self, block: Block, ground: BaseGeometry | None) -> tuple[Point, ...]:
        rows, trees = self.scene.trees.rows_of(block), self.scene.trees
        if len(rows):
            ends = dict.fromkeys((int(rows[0]), int(rows[-1])))
            return tuple((float(trees.x[row]), float(trees.y[row])) for row in ends)
        if ground is None or ground.is_empty:
            return ()
        if ground.geom_type == "LineString":
            corners = shapely.get_coordinates(ground)
            return tuple((float(x), float(y)) for x, y in (corners[0], corners[-1]))
        middle = ground.representative_point()
        return ((float(middle.x), float(middle.y)),)

    # -- falls ---------------------------------------------------------------------------------

    def _fall(self, block: Block, ground: BaseGeometry | None) -> Fall | None:
        """Its fall, or the way that an opening runs; None where nobody says."""
        if isinstance(block, Opening):
            return self._way(block, ground)
        owner = self.plan.owner(block, "fall") if isinstance(block, Cutting) else None
        if owner is None:
            return None
        rows = self.scene.trees.rows_of(block)
        if len(rows):
            bearings = self.scene.trees.bearing[rows]
        else:
            bearings = np.array([fall_over(self.scene, block, ground)] if ground is not None else [])
        known = tuple(float(one) for one in bearings if np.isfinite(one))
        if not known:
            return None
        written = owner[1].values[0].value
        word, of = (written.word, str(written.thing.value)) if isinstance(written, Direction) else ("", "")
        return self._with_ahead(Fall(word, of, known), block, ground)

    def _way(self, opening: Opening, ground: BaseGeometry | None) -> Fall | None:
        toward = opening.first("toward")
        if toward is None or ground is None:
            return None
        value = toward.values[0]
        if value.kind != "name":
            return self._with_ahead(Fall("", "", (self.scene.placer.bearing(opening, value),)), opening, ground)
        way = falls_by("toward", self.scene.placer.reached(opening, value), shapely.get_coordinates(ground.centroid))
        return Fall("toward", str(value.value), (float(way[0]),)) if np.isfinite(way[0]) else None

    def _with_ahead(self, fall: Fall, block: Block, ground: BaseGeometry | None) -> Fall:
        """The fall with what lies ahead of it, unless the plan says that itself or the trees fall every way."""
        if fall.word == "toward" or not fall.alike or ground is None or ground.is_empty:
            return fall
        stump, middle = ground.centroid, fall.middle
        best: tuple[float, str] | None = None
        for row in sorted(self.index.query(stump, predicate="dwithin", distance=AHEAD).tolist()):
            thing, shape = self.landmarks[row]
            # what the trees stand in, or are turned along or away from, does not tell which way is ahead
            off = float(shape.distance(stump))
            if thing is block or thing.name == fall.of or off <= TOLERANCE or (best is not None and off >= best[0]):
                continue
            way = float(falls_by("toward", shape, shapely.get_coordinates(stump))[0])
            if abs((way - middle + 180) % 360 - 180) <= ASIDE:
                best = off, said_name(self.plan, thing)
        return fall if best is None else fall._replace(ahead=best[1], off=best[0])

    # -- people --------------------------------------------------------------------------------

    def _feller(self, block: Block, method: str, state: str, dbh: Sizes | None) -> tuple[str, ...]:
        """Why a piece is work for a trained feller and not for who hinges."""
        if not isinstance(block, Cutting):
            return ()
        plan = self.plan
        found = [state] if state in DANGEROUS else []
        lean = block.first("lean")
        if lean is not None and lean.values[1].value.degrees >= self.lean:
            found.append("leans")
        condition = plan.word(block, "condition")
        found += [condition] if condition in ("hollow", "split") else []
        if method == "hinge":
            found += ["big"] if dbh is not None and not dbh.estimated and dbh.largest > self.most + 1e-9 else []
            found += ["splits"] if self.splits & set(_names(plan, block, "species")) else []
        return tuple(found)

    def _near(self, piece: Piece) -> tuple[Near, ...]:
        """What the trees of a piece can reach whichever way they go, the nearest first."""
        assert piece.ground is not None or not piece.places
        if piece.ground is None or piece.ground.is_empty:
            return ()
        tall = piece.tall.height
        widest = max(NEAR_PEOPLE * tall, tall + NEAR_WIRES)
        found = []
        for row in sorted(self.near.query(piece.ground, predicate="dwithin", distance=widest).tolist()):
            target = self.targets[row]
            distance = float(piece.ground.distance(target.shape))
            if distance <= _reach_to(target, tall):
                found.append(Near(said_name(self.plan, target.block), target.kind, distance))
        return tuple(sorted(found, key=lambda near: (near.distance, near.name)))


def _reach_to(target: Target, tall: float) -> float:
    if target.kind == "wire":
        return tall + NEAR_WIRES
    return tall * (NEAR_PEOPLE if target.kind in (*AROUND, *PEOPLED, "") else NEAR_OTHERS)


def _order(piece: Piece) -> tuple[float, int]:
    rank = 0 if piece.dangerous else 1 if isinstance(piece.block, Release) else 2
    return (float("inf") if piece.step is None else piece.step, rank)


def _has_stumps(piece: Piece) -> bool:
    """Its stumps are treated as part of it: a thing to do of its own, on a day of its own."""
    return piece.method in LAYING and piece.stump_treatment in ("planned", "done")


def _landmarks(scene: Scene) -> Iterator[tuple[Block, BaseGeometry]]:
    """What people know the ground by."""
    for block in scene.plan.blocks:
        if block.broken or not isinstance(block, Path | Hazard | Food | Pocket | Stand | Spot | Drain | Boundary):
            continue
        shape = scene.shape_of(block)
        if shape is not None and not shape.is_empty:
            yield block, shape.boundary if isinstance(block, Boundary) else shape


def _names(plan: PlanText, block: Block, word: str) -> tuple[str, ...]:
    if word not in block.properties:
        return ()
    return tuple(dict.fromkeys(str(name.value) for name in plan.values(block, word)))


def _dbh(plan: PlanText, block: Block) -> Sizes:
    written = plan.value(block, "dbh")
    if written is None:
        return Sizes(USUAL_DBH, USUAL_DBH, True)
    return Sizes(*_ends(written.value), False)


def _height(plan: PlanText, block: Block) -> Sizes:
    """Heights as the plan gives them, else by the published curves from the least and the largest DBH."""
    written = plan.value(block, "tree-height")
    if written is not None:
        return Sizes(*_ends(written.value), False)
    dbh = _dbh(plan, block)
    heights = curves.height(_names(plan, block, "species"), np.array([dbh.least, dbh.largest]))
    return Sizes(float(heights[0]), float(heights[1]), True)


def _ends(size: object) -> tuple[float, float]:
    if isinstance(size, Range):
        return size.least.size, size.largest.size
    return size.size, size.size  # type: ignore[attr-defined]


def crews_of(plan: PlanText, pieces: Sequence[Piece]) -> list[str]:
    """The crews that do some pieces, in the order of the plan; names of no crew last."""
    named = {piece.crew for piece in pieces if piece.crew}
    known = [crew.name for crew in plan.of(Crew) if crew.name in named]
    return [*known, *sorted(named - set(known))]


def is_patch(piece: Piece) -> bool:
    """Its trees are reckoned from a density, and none is laid out."""
    return isinstance(piece.block, Patch)
