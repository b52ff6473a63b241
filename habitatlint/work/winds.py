"""What the scent of every stand reaches on each of sixteen winds, at each sit.

The figures are those of the rules about scent, worked out by the same measures and limits: on a wind that a stand
lists, what is reached here is what they find fault with.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from habitatlint.check import Report
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Block, Food, Path, Pocket, Stand
from habitatlint.measures.clean import turns_to_deer
from habitatlint.measures.drift import drifts, haunt_blocks
from habitatlint.measures.scent import Asked, airs_in, bearings, carried, deer_come, listed_winds, reached
from habitatlint.measures.walk import way_of
from habitatlint.measures.winds import WINDS, Unrecorded, air_in
from habitatlint.units import MILE, YARD

#: when a stand may be sat in
SITS = ("morning", "evening", "all")
#: the limits that are gone by, by the rules that have them, and what they are where no such rule is in the book
_LIMITS = {
    "bedding": ("wind/scent-on-bedding.near", 150 * YARD),
    "faint": ("wind/scent-on-bedding.far", 300 * YARD),
    "food": ("wind/scent-on-food.reach", 150 * YARD),
    "travel": ("wind/scent-on-travel.reach", 150 * YARD),
    "calm": ("wind/few-clean-hours.calm", 4 * MILE / 3600),
    "hours": ("wind/few-clean-hours.reach", 150 * YARD),
    "beside": ("wind/evening-drain.near", 30 * YARD),
    "drift": ("wind/evening-drain.far", 300 * YARD),
}


class Reaches(NamedTuple):
    """How far scent is followed, in metres: to beds, faintly to beds, to food, to lines of travel; beside a drain or
    slope and along it; under which speed (metres a second) a wind counts as calm; and the reach by which the rule
    about hours counts."""

    bedding: float
    faint: float
    food: float
    travel: float
    calm: float
    hours: float
    beside: float
    drift: float

    @property
    def one(self) -> bool:
        """Whether all but faint scent is followed equally far."""
        return len({self.bedding, self.food, self.travel, self.hours}) == 1


class Met(NamedTuple):
    """A thing that scent comes to: from which part of the stand (0 the stand, 1 the walk in, 2 the walk out), how far
    it is carried, where it first comes to the thing (metres), and whether it is but faint there."""

    thing: Block
    part: int
    gap: float
    place: tuple[float, float]
    faint: bool


class OnWind(NamedTuple):
    """One of the sixteen winds at a stand: its bearing from true north, its share of the sit's hours at a speed that
    counts (None where no record tells), whether the stand lists it, what scent comes to, the nearest of each thing
    first, and the least angle to the way deer go within its range (0 in their face; None without such a line)."""

    wind: int
    bearing: float
    share: float | None
    listed: bool
    met: tuple[Met, ...]
    deer: float | None

    @property
    def name(self) -> str:
        return WINDS[self.wind]

    @property
    def reaches(self) -> tuple[Met, ...]:
        """What scent comes to, what it comes to faintly left out."""
        return tuple(one for one in self.met if not one.faint)

    @property
    def clean(self) -> bool:
        """Scent comes to nothing, not even faintly."""
        return not self.met


class Light(NamedTuple):
    """Where light air takes scent whatever wind was forecast: from which part of the stand, how far along which drain
    or slope, to what, and where it comes to; down it in the evening, up it in the morning."""

    thing: Block
    part: int
    run: float
    course: Block
    evening: bool
    place: tuple[float, float]


class Hours(NamedTuple):
    """Shares of a sit's hours, which add up to one: on a wind on which scent comes to nothing, or but faintly; on
    another; calm, or under the speed that counts."""

    clean: float
    carried: float
    calm: float


class Sit(NamedTuple):
    """A stand at one sit.

    `said` is whether the plan says that it is sat in then; `ways` are the walk in and, where it is another, the walk
    out, in metres; `hours` is None where they cannot be counted, and `why` says why; `records` are the wind records
    gone by.
    """

    stand: Stand
    sit: str
    said: bool
    ways: tuple[LineString | None, LineString | None]
    winds: tuple[OnWind, ...]
    light: tuple[Light, ...]
    records: tuple[str, ...]
    hours: Hours | None
    why: str

    @property
    def clean(self) -> tuple[OnWind, ...]:
        """The winds on which scent comes to nothing, or but faintly."""
        return tuple(one for one in self.winds if not one.reaches)

    @property
    def listed(self) -> tuple[OnWind, ...]:
        return tuple(one for one in self.winds if one.listed)


class WindTable(NamedTuple):
    """Every stand at its sits, in the order of the plan; those without a place, and the neighbours', apart."""

    sits: tuple[Sit, ...]
    unplaced: tuple[Stand, ...]
    offsite: tuple[Stand, ...]
    reaches: Reaches


def wind_table(report: Report, sits: Iterable[str] = ()) -> WindTable:
    """What the scent of every stand reaches. Of `sits` none means those that the plan says: one a stand, and morning
    and evening for a stand that says none."""
    scene = report.scene
    reaches = Reaches(**{name: _limit(report, *of) for name, of in _LIMITS.items()})
    asked = tuple(sits)
    found: list[Sit] = []
    unplaced, offsite = [], []
    for row, stand in enumerate(scene.plan.of(Stand)):
        if scene.plan.word(stand, "offsite") == "yes":
            offsite.append(stand)
        elif scene.shape_of(stand) is None:
            unplaced.append(stand)
        else:
            own = scene.plan.word(stand, "sit")
            for sit in asked or ((own,) if own else ("morning", "evening")):
                found.append(_sit(scene, row, stand, sit, reaches))
    return WindTable(tuple(found), tuple(unplaced), tuple(offsite), reaches)


def _limit(report: Report, name: str, usual: float) -> float:
    fact = report.limits.get(name)
    return float(fact.value) if fact is not None and isinstance(fact.value, int | float) else usual


def _sit(scene: Scene, row: int, stand: Stand, sit: str, reaches: Reaches) -> Sit:
    met = _met(scene, row, stand, sit, reaches)
    turns = turns_to_deer(scene, row, sit)
    listed, from_ = set(listed_winds(scene, stand)), bearings(scene)
    shares: npt.NDArray[np.float64] | None = None
    records: tuple[str, ...] = ()
    why = ""
    try:
        air = air_in(scene, sit)
    except Unrecorded as error:
        why = str(error) or "the `winds` record cannot be read"
    else:
        records, why = air.records, air.uneven
        brisk = air.blowing.speeds >= reaches.calm - 1e-9
        shares = np.bincount(air.blowing.winds[brisk], air.blowing.shares[brisk], len(WINDS)).astype(np.float64)
    winds = tuple(
        OnWind(
            wind, float(from_[wind]), None if shares is None or why else float(shares[wind]), wind in listed,
            met[wind], None if turns is None else float(turns[wind]),
        )
        for wind in range(len(WINDS))
    )  # fmt: skip
    hours = None
    if shares is not None and not why:
        fine = np.array([not one.reaches for one in winds], bool)
        clean, whole = float(shares[fine].sum()), float(shares.sum())
        hours = Hours(clean, whole - clean, max(0.0, 1.0 - whole))
    own = scene.plan.word(stand, "sit")
    light = _light(scene, row, own, sit, reaches)
    ways = (way_of(scene, stand, "reach"), _way_out(scene, stand))
    return Sit(stand, sit, own == sit, ways, winds, light, records, hours, why)


def _way_out(scene: Scene, stand: Stand) -> LineString | None:
    """The walk from a stand, where it is another than the walk to it."""
    out = way_of(scene, stand, "leave") if stand.has("leave") else None
    into = way_of(scene, stand, "reach")
    return None if out is None or (into is not None and out.equals(into)) else out


def _met(scene: Scene, row: int, stand: Stand, sit: str, reaches: Reaches) -> list[tuple[Met, ...]]:
    """What scent comes to, wind by wind."""
    airs = np.tile(airs_in(scene, sit), (len(scene.plan.of(Stand)), 1))
    of_kind: list[tuple[list[Block], float, bool]] = [
        (list(scene.plan.of(Pocket)), reaches.bedding, False),
        (list(scene.plan.of(Pocket)), reaches.faint, True),
        (list(scene.plan.of(Food)) if sit != "morning" else [], reaches.food, False),
        ([path for path in scene.plan.of(Path) if scene.plan.word(path, "use") == "travel"], reaches.travel, False),
    ]
    found: list[dict[int, list[Met]]] = [{} for _ in WINDS]
    for blocks, reach, faint in of_kind:
        things: list[tuple[Block, object]] = []
        for block in blocks:
            shape = scene.shape_of(block)
            if shape is None:
                continue
            parts = parts_that_count(scene, stand, shape, sit) if isinstance(block, Path) else [shape]
            things += [(block, part) for part in parts]
        if not things:
            continue
        shapes = np.full(len(things), None, object)
        shapes[:] = [shape for _, shape in things]
        asked = Asked(np.full(len(things), row, np.intp), shapes)
        index, part, wind = np.nonzero(reached(scene, asked, reach, airs))
        run = carried(scene, Asked(asked.stands[index], shapes[index]), part, wind, reach, airs)
        for number, (at, of, on) in enumerate(zip(index.tolist(), part.tolist(), wind.tolist(), strict=True)):
            block, place = things[at][0], run.places[number]
            held = found[on].setdefault(id(block), [])
            if faint and any(not one.faint for one in held):
                continue  # it is carried there plainly, and no fainter scent counts
            held.append(Met(block, of, float(run.gaps[number]), (float(place.x), float(place.y)), faint))
    return [tuple(sorted(map(_nearest, of.values()), key=_by_distance)) for of in found]


def _by_distance(met: Met) -> tuple[bool, float, str]:
    return met.faint, met.gap, met.thing.label


def parts_that_count(scene: Scene, stand: Stand, line: BaseGeometry, sit: str) -> list[BaseGeometry]:
    """The parts of a line of travel by which deer come to a stand at a sit: from one end, or all day from both."""
    ways = (True,) if sit == "evening" else (False,) if sit == "morning" else (True, False)
    return [part for way in ways if (part := deer_come(scene, stand, line, evening=way)) is not None]


def _nearest(met: list[Met]) -> Met:
    return min(met, key=lambda one: (one.gap, one.part))


def _light(scene: Scene, row: int, own: str, sit: str, reaches: Reaches) -> tuple[Light, ...]:
    """Where light air takes scent at a sit that the plan says; both hours are told of one that it does not say."""
    if own not in ("", sit):
        return ()
    haunts = haunt_blocks(scene)
    found = []
    for (stand, haunt), one in drifts(scene, reaches.beside, reaches.drift).items():
        fits = stand == row and one.course is not None and one.place is not None and one.run < reaches.drift
        if fits and sit in ("all", "evening" if one.evening else "morning"):
            assert one.course is not None and one.place is not None
            x, y = one.place.coords[0]
            found.append(Light(haunts[haunt], one.part, one.run, one.course, one.evening, (float(x), float(y))))
    return tuple(sorted(found, key=lambda one: one.run))
