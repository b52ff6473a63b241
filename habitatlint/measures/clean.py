"""On which winds a stand is clean, what share of its hours that is, and which winds suit the deer.

Every distance, angle and speed here is common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString

from habitatlint.ground.columns import Column, Indices, Mask, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Food, Path, Pocket, Stand
from habitatlint.measures.approach import range_of
from habitatlint.measures.scent import WITHOUT_SIT, Asked, airs_of, bearings, deer_come, listed_winds, reached, sources
from habitatlint.measures.vocabulary import Measured, Rows, measure, of_plural
from habitatlint.measures.winds import WINDS, Unrecorded, air_of, named
from habitatlint.reading.grammar import listed
from habitatlint.units import TOLERANCE

#: how many things are named of those that scent reaches
_MOST_NAMED = 3


class _Fouled(NamedTuple):
    """What scent of one stand reaches: the things by their labels, with the winds that carry to each (k, 16),
    and which of them are reached whenever the stand is sat in; whether anything lies within reach, downwind or
    not."""

    labels: list[str]
    winds: Mask
    always: Mask
    near: bool

    def clean(self, *, strictly: bool) -> Mask:
        """The winds on which nothing is reached, of the sixteen; of what is reached at one sit and not at
        another, all (strictly) or nothing."""
        counted = self.winds if strictly else self.winds[self.always]
        return ~np.asarray(counted.any(axis=0), bool)


def _fouled(scene: Scene, reach: float) -> list[_Fouled]:
    """For every stand, the beds, lines of travel and food that its scent reaches within `reach` metres."""
    found: list[_Fouled] | None = scene.memo.get(("fouled", reach))
    if found is None:
        found = scene.memo[("fouled", reach)] = _work_out(scene, reach)
    return found


def _work_out(scene: Scene, reach: float) -> list[_Fouled]:
    stands, grounds = scene.plan.of(Stand), sources(scene).grounds
    things = [
        (thing, shape)
        for thing in (*scene.plan.of(Pocket), *scene.plan.of(Food), *scene.plan.of(Path))
        if (shape := scene.shape_of(thing)) is not None
        and (not isinstance(thing, Path) or scene.plan.word(thing, "use") == "travel")
    ]
    rows: list[int] = []
    shapes: list[object] = []
    labels: list[str] = []
    always: list[bool] = []
    if things and len(grounds):
        stand_of, thing_of = shapely.STRtree([shape for _, shape in things]).query(
            grounds, predicate="dwithin", distance=1.2 * reach
        )
        for row, index in sorted(zip(stand_of.tolist(), thing_of.tolist(), strict=True)):
            thing, shape = things[index]
            sit = scene.plan.word(stands[row], "sit")
            if isinstance(thing, Food) and sit == "morning":
                continue
            if isinstance(thing, Path) and sit in ("morning", "evening"):
                shape = deer_come(scene, stands[row], shape, evening=sit == "evening")
            if shape is not None:
                rows.append(row)
                shapes.append(shape)
                labels.append(thing.label)
                always.append(sit != "" or isinstance(thing, Pocket))
    array = np.full(len(shapes), None, object)
    array[:] = shapes
    matrix: Mask = reached(scene, Asked(np.array(rows, np.intp), array), reach, airs_of(scene)).any(axis=1)  # type: ignore[assignment]
    of = np.array(rows, np.intp)
    near = shapely.dwithin(grounds[of], array, reach)
    found = []
    for row in range(len(stands)):
        mine = np.flatnonzero(of == row)
        any_near = bool(near[mine].any())
        mine = mine[matrix[mine].any(axis=1)]
        found.append(_Fouled([labels[one] for one in mine], matrix[mine], np.array(always, bool)[mine], any_near))
    return found


class _Clean(NamedTuple):
    """What is known of one stand: how many winds blow, on how many of them it is clean and which these are,
    the share of its hours; whether count and share are known, and whether its sit must be."""

    blowing: int
    clean: tuple[int, ...]
    hours: float
    known: bool
    hours_known: bool
    sit_known: bool
    reached: str
    why: str = ""


def _of_stand(scene: Scene, stand: Stand, fouled: _Fouled, calm: float) -> _Clean:
    strict, loose = fouled.clean(strictly=True), fouled.clean(strictly=False)
    try:
        air = air_of(scene, stand)
    except Unrecorded as error:
        known = not fouled.near or not (stand.winds or stand.has("sit"))
        return _Clean(len(WINDS), tuple(range(len(WINDS))), 1.0, known, known, True, "nothing", str(error))
    blows = np.zeros(len(WINDS), bool)
    brisk = air.blowing.speeds >= calm - 1e-9
    blows[air.blowing.winds[brisk & (air.blowing.shares > 0)]] = True
    clean = tuple(np.flatnonzero(strict & blows).tolist())
    hours = float(air.blowing.shares[brisk & strict[air.blowing.winds]].sum())
    sit_known = bool((strict == loose)[blows].all() or stand.has("sit"))
    return _Clean(int(blows.sum()), clean, hours, True, not air.uneven, sit_known, _reached(fouled, blows), air.uneven)


def _reached(fouled: _Fouled, blows: Mask) -> str:
    """What scent reaches on the winds that blow, what is reached by most of them first."""
    counts = (fouled.winds & blows).sum(axis=1)
    order = sorted(range(len(counts)), key=lambda row: (-counts[row], fouled.labels[row]))
    named = [row for row in order if counts[row]][:_MOST_NAMED]
    texts = [f"{fouled.labels[row]} on {counts[row]} of {int(blows.sum())} winds" for row in named]
    left = sum(counts > 0) - len(named)
    if not texts:
        return "nothing, the other hours being calm"
    return listed([*texts, *([f"{left} more"] if left else [])], "and")


@measure(
    "clean-winds",
    ("stands", "length", "speed"),
    "count",
    parts={"blowing": "count", "hours": "share", "winds": "text", "reached": "text", "when": "text", "sit": "word"},
)
def clean_winds(scene: Scene, stands: Rows, reach: Column, calm: Column) -> Measured:
    """On how many winds of the record the stand, the walk to it and the walk from it carry no scent, within
    `reach`, to pockets, to the part of a line of travel by which deer come, or (but for a morning stand) to
    food. Winds under `calm` are no winds but lost hours, as calm hours are.

    The record is that of the stand's hours, else of all hours, in the hunted season; one of eight winds is
    spread over sixteen. `blowing` is how many winds there are, `hours` the share of all hours, calm ones
    among them, with a clean wind, `winds` which they are, `reached` what is reached, `when` the hours, `sit`
    when it is sat in: not known where the plan does not say and it matters.

    Unknown without a record, for a stand with `winds` or a `sit` and with something within `reach` of it or
    its walks; another has nothing to judge, and every wind is clean. The share is unknown for a record that does
    not add up to a whole within 1.5%; within that it is of what it adds up to."""
    every = scene.plan.of(Stand)
    pairs = zip(stands.rows.tolist(), reach.values.astype(float), calm.values.astype(float), strict=True)
    found = [_of_stand(scene, every[row], _fouled(scene, far)[row], slow) for row, far, slow in pairs]

    def masked(kind: str, values: list[object], known: list[bool], rows: Indices) -> Column:
        whole = column(kind, values)
        why = next((one.why for one, fine in zip(found, known, strict=True) if not fine and one.why), "")
        mask = np.array(known, bool)
        return Column(kind, whole.values, None if mask.all() else mask, None, why).take(rows)

    def sit(rows: Indices) -> Column:
        said: list[object] = [scene.plan.word(every[row], "sit", "all") for row in stands.rows]
        known = np.array([one.sit_known for one in found], bool)
        return Column("word", np.array(said, object), known, None, WITHOUT_SIT).take(rows)

    def when(rows: Indices) -> Column:
        sits = [scene.plan.word(every[stands.rows[row]], "sit", "all") for row in rows.tolist()]
        return column("text", ["hours" if one == "all" else f"{one} hours" for one in sits])

    known = [one.known for one in found]
    everything = np.arange(len(found))
    return Measured(
        masked("count", [len(one.clean) for one in found], known, everything),
        {
            "blowing": lambda rows: masked("count", [one.blowing for one in found], known, rows),
            "hours": lambda rows: masked("share", [one.hours for one in found],
                                         [one.hours_known for one in found], rows),
            "winds": lambda rows: column("text", [named(found[row].clean) for row in rows.tolist()]),
            "reached": lambda rows: column("text", [found[row].reached for row in rows.tolist()]),
            "when": when,
            "sit": sit,
        },
    )  # fmt: skip


# -- the deer's wind ---------------------------------------------------------------------------------------------


@of_plural("stands", "hunts", "things:paths")
def _hunts(scene: Scene) -> Column:
    """The lines of travel in its range, 30 yd where it does not say."""
    lines = [
        (row, shape)
        for row, path in enumerate(scene.plan.of(Path))
        if scene.plan.word(path, "use") == "travel" and isinstance(shape := scene.shape_of(path), LineString)
    ]
    index = shapely.STRtree([shape for _, shape in lines])
    values = np.full(len(scene.plan.of(Stand)), None, object)
    for number, stand in enumerate(scene.plan.of(Stand)):
        place = scene.shape_of(stand)
        near = index.query(place, predicate="dwithin", distance=range_of(scene, stand) + TOLERANCE) if place else []
        values[number] = np.array(sorted(lines[one][0] for one in near), np.intp)
    return Column("things:paths", values)


@measure("deer-wind", ("stands", "paths"), "angle")
def deer_wind(scene: Scene, stands: Rows, paths: Rows) -> Column:
    """The least angle between the way deer go on a line of travel in range of a stand and where a wind that
    the stand lists comes from: 0 in their face, 90 across, 180 from behind. They go as it is drawn, from bed to
    food, in the evening, and back in the morning; either way for a sit all day, or where none is given. Every
    leg of the line that comes into the stand's range (30 yd where it does not say) counts. Unknown where no
    winds are listed, and for a line out of range."""
    every, lines, from_ = scene.plan.of(Stand), scene.table(paths.plural).column("shape").values, bearings(scene)
    angles = np.full(len(stands), np.nan)
    for index, (row, path) in enumerate(zip(stands.rows, paths.rows, strict=True)):
        turns = _turns(scene, every[row], lines[path], from_, scene.plan.word(every[row], "sit"))
        winds = listed_winds(scene, every[row])
        if turns is not None and winds:
            angles[index] = turns[winds].min()
    known = np.isfinite(angles)
    return Column("angle", angles, None if known.all() else known, None, "")


def turns_to_deer(scene: Scene, row: int, sit: str) -> npt.NDArray[np.float64] | None:
    """For each of the sixteen winds, the least angle, as `deer-wind`, to the way deer go at a sit on any line of
    travel in range of a stand (its row); None where there is no such line."""
    stand, from_ = scene.plan.of(Stand)[row], bearings(scene)
    lines = scene.table("paths").column("shape").values
    hunted = scene.table("stands").column("hunts").values[row]
    found = [one for path in hunted if (one := _turns(scene, stand, lines[path], from_, sit)) is not None]
    return np.asarray(np.min(found, axis=0)) if found else None


def _turns(
    scene: Scene, stand: Stand, line: object, from_: npt.NDArray[np.float64], sit: str
) -> npt.NDArray[np.float64] | None:
    """For each bearing that a wind comes from, the least angle between it and the way deer go on a line in range
    of a stand at a sit; None where it has no leg in range."""
    place = scene.shape_of(stand)
    if place is None or not isinstance(line, LineString):
        return None
    headings = _headings(line, place, range_of(scene, stand))
    ways = {"evening": headings, "morning": headings + 180}.get(sit, np.concatenate([headings, headings + 180]))
    if not len(ways):
        return None
    return np.asarray(np.abs((from_[:, None] - ways[None, :] + 180) % 360 - 180).min(axis=1))


@measure("wind-to-hunt", ("stands", "angle", "length", "speed"), "word")
def wind_to_hunt(scene: Scene, stands: Rows, across: Column, reach: Column, calm: Column) -> Column:
    """The wind of the record that blows most of those on which a stand and its walks are clean (as for
    `clean-winds`) and which come from no more than `across` off the way deer go on a line of travel in its
    range (as for `deer-wind`). Not known where no such wind blows, or without a record."""
    every = scene.plan.of(Stand)
    values: list[str | None] = []
    why = ""
    asked = zip(stands.rows, *(column.values.astype(float) for column in (across, reach, calm)), strict=True)
    for row, widest, far, slow in asked:
        stand = every[row]
        found = _of_stand(scene, stand, _fouled(scene, far)[row], slow)
        turns = turns_to_deer(scene, row, scene.plan.word(stand, "sit"))
        try:
            blowing = air_of(scene, stand).blowing
        except Unrecorded as error:
            values.append(None)
            why = why or str(error)
            continue
        shares = np.bincount(blowing.winds, weights=blowing.shares, minlength=len(WINDS))
        fit = [wind for wind in found.clean if turns is not None and turns[wind] <= widest]
        values.append(WINDS[max(fit, key=lambda wind: shares[wind])] if fit else None)
    return column("word", values, why or "on no wind of the record that suits the deer is it clean")


def _headings(line: LineString, place: object, reach: float) -> npt.NDArray[np.float64]:
    """Bearings of the legs of a line that come within `reach` of a place."""
    points = shapely.get_coordinates(line)
    legs = shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))
    near = shapely.dwithin(legs, place, reach + TOLERANCE) & (shapely.length(legs) > 0)
    run = np.diff(points, axis=0)[near]
    return np.asarray(np.degrees(np.arctan2(run[:, 0], run[:, 1])) % 360)
