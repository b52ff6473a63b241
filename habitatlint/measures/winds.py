"""Wind records: which one a stand goes by, how its hours lie among sixteen winds, what wind prevails.

A record of eight winds is spread over sixteen: each of its sectors is twice as wide, so half of its hours
lie in the wind's own sixteenth and a quarter in each beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import timedelta
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from habitatlint.ground.columns import Column, Place, Table, column
from habitatlint.ground.scene import Scene
from habitatlint.language.blocks import Stand, Winds
from habitatlint.measures.season import in_year
from habitatlint.measures.vocabulary import of_plural, plural
from habitatlint.reading.grammar import Statement, listed
from habitatlint.reading.values import Period, Window

Floats = npt.NDArray[np.float64]

#: the sixteen winds, by the bearing they blow from
WINDS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
SECTOR = 360 / len(WINDS)
#: how far off a whole the shares of a record may add up and still be taken for rounding
ROUNDING = 0.015
#: a year that has every day of the year
_LEAP = 2028

WITHOUT_RECORD = "the plan has no `winds` record"


# -- directions ----------------------------------------------------------------------------------------------


def sector(degrees: float) -> int:
    """Which of the sixteen winds blows from a bearing, counted from N: the one whose middle is within
    11.25 degrees (NOAA NCDC: N is 349 to 011, NNE 012 to 033 ...)."""
    return round((degrees % 360) / SECTOR) % len(WINDS)


def named(winds: Iterable[int]) -> str:
    """Winds of the sixteen in words: `N, NE or NW`."""
    names = [WINDS[wind] for wind in winds]
    return listed(names, "or") if names else "no side"


class Mean(NamedTuple):
    """The mean of directions: a bearing in degrees, and how steady they are, from 0 to 1."""

    bearing: float
    steadiness: float


def mean_direction(bearings: Iterable[float], weights: Iterable[float] | None = None, width: float = 0.0) -> Mean:
    """The mean vector of directions in degrees (Zar 2010, Biostatistical Analysis, ch. 26).

    For directions grouped in classes `width` degrees wide its length is corrected by
    (w / 2) / sin(w / 2), and is 1 at most. NaN for both where nothing has a weight.
    """
    angles = np.radians(np.fromiter(bearings, float))
    shares = np.ones(len(angles)) if weights is None else np.fromiter(weights, float)
    total = shares.sum()
    if total <= 0:
        return Mean(math.nan, math.nan)
    east, north = float((shares * np.sin(angles)).sum() / total), float((shares * np.cos(angles)).sum() / total)
    half = math.radians(width) / 2
    correction = half / math.sin(half) if half else 1.0
    return Mean(math.degrees(math.atan2(east, north)) % 360, min(1.0, math.hypot(east, north) * correction))


# -- a record --------------------------------------------------------------------------------------------------


class Blowing(NamedTuple):
    """What a record says wind by wind: which of the sixteen (from true or magnetic north, as the plan says),
    its share of all the hours, its speed in metres a second."""

    winds: npt.NDArray[np.intp]
    shares: Floats
    speeds: Floats


def _lines(record: Winds) -> list[Statement]:
    """The lines `from WIND SHARE SPEED` of a record."""
    return list(record.from_)


def _width(record: Winds) -> float:
    """How wide the sectors of a record are, in degrees: of sixteen winds where it names any of the eight
    between the others, else of eight."""
    return SECTOR if any(len(str(line.values[0].value)) == 3 for line in _lines(record)) else 2 * SECTOR


def total(record: Winds) -> float:
    """What the shares of a record add up to, calm hours among them."""
    parts = [line.values[1].value.size for line in _lines(record)]
    return float(sum(parts)) + (float(record.calm.value.size) if record.calm else 0.0)


def blowing(record: Winds) -> Blowing:
    """A record's winds over sixteen sectors, as shares of what it adds up to."""
    spread = ((0, 1.0),) if _width(record) == SECTOR else ((-1, 0.25), (0, 0.5), (1, 0.25))
    whole = total(record)
    found = [
        ((sector(line.values[0].value.degrees) + step) % len(WINDS), part * line.values[1].value.size / whole,
         line.values[2].value.size)
        for line in _lines(record) if whole > 0
        for step, part in spread
    ]  # fmt: skip
    winds, shares, speeds = (list(one) for one in zip(*found, strict=True)) if found else ([], [], [])
    return Blowing(np.array(winds, np.intp), np.array(shares, float), np.array(speeds, float))


# -- the record that a stand goes by ----------------------------------------------------------------------------


class Air(NamedTuple):
    """The air in a stand's hours: what blows, with shares of all those hours, the names of the records, and
    why the shares cannot be counted ("" where they can)."""

    blowing: Blowing
    records: tuple[str, ...]
    uneven: str


class Unrecorded(Exception):
    """No record tells a stand's air, and why; "" where a slip has told it."""


def _days(season: Period | Window) -> frozenset[tuple[int, int]]:
    """The days of the year in a season."""
    if isinstance(season, Window):
        # one over the new year ends in the leap year, so that a 29 February in it is one of its days
        over = season.last < season.first
        first, last = in_year(season.first, _LEAP - over), in_year(season.last, _LEAP)
    else:
        first, last = season.first, season.last
    count = min((last - first).days + 1, 366)
    days = (first + timedelta(number) for number in range(count))
    return frozenset((day.month, day.day) for day in days)


def hunted_days(scene: Scene) -> frozenset[tuple[int, int]]:
    """The days of the year on which the property is hunted; none where the plan does not say."""
    head = scene.plan.head
    seasons = [one.value for one in head.hunted] if head is not None else []
    return frozenset().union(*(_days(one) for one in seasons if isinstance(one, Period | Window)))


def _recorded_days(record: Winds) -> frozenset[tuple[int, int]]:
    period = record.period
    if period is not None and isinstance(period.value, Period | Window):
        return _days(period.value)
    return frozenset()


def air_of(scene: Scene, stand: Stand) -> Air:
    """The air in the hours in which a stand is sat in.

    A record with those hours stands before one for all; for a sit all day, or where none is given, records
    of morning and evening are taken together where none is for all. Of several, those of the hunted season
    count, by their days in it. Raises Unrecorded where there is none.
    """
    return air_in(scene, scene.plan.word(stand, "sit", "all"))


def air_in(scene: Scene, hours: str) -> Air:
    """As `air_of`, in given hours: "morning", "evening" or "all"."""
    found: dict[str, Air | Unrecorded] = scene.memo.setdefault("air by hours", {})
    if hours not in found:
        try:
            found[hours] = _air(scene, hours)
        except Unrecorded as error:
            found[hours] = error
    one = found[hours]
    if isinstance(one, Unrecorded):
        raise one
    return one


def _air(scene: Scene, hours: str) -> Air:
    every = scene.plan.of(Winds)
    broken = any(block.noun == "winds" and block.broken for block in scene.plan.blocks)
    broken = broken or any(record.parsed.broken & {"from", "calm", "hours"} for record in every)
    if broken:
        raise Unrecorded("")
    by_hours: dict[str, list[Winds]] = {}
    for record in every:
        if total(record) > 0:
            by_hours.setdefault(scene.plan.word(record, "hours", "all"), []).append(record)
    if not by_hours:
        raise Unrecorded(WITHOUT_RECORD)
    chosen = by_hours.get(hours) or by_hours.get("all")
    if chosen is None and hours == "all" and {"morning", "evening"} <= by_hours.keys():
        chosen = by_hours["morning"] + by_hours["evening"]
    if chosen is None:
        raise Unrecorded("no `winds` record is for its hours")
    season = hunted_days(scene)
    weights = []
    for record in chosen:
        days = _recorded_days(record)
        weights.append(len(days & season) if days and season else len(days or season) or 366)
    if not any(weights):
        raise Unrecorded("no `winds` record is of the hunted season")
    kept = [(record, weight / sum(weights)) for record, weight in zip(chosen, weights, strict=True) if weight]
    parts = [blowing(record) for record, _ in kept]
    uneven = [record.label for record, _ in kept if abs(total(record) - 1) > ROUNDING + 1e-9]
    return Air(
        Blowing(
            np.concatenate([part.winds for part in parts]),
            np.concatenate([part.shares * weight for part, (_, weight) in zip(parts, kept, strict=True)]),
            np.concatenate([part.speeds for part in parts]),
        ),
        tuple(record.label for record, _ in kept),
        f"the shares of {uneven[0]} do not add up" if uneven else "",
    )


def speeds_in(scene: Scene, hours: str) -> dict[int, float]:
    """The mean speed of each wind in some hours, in metres a second; nothing where no record tells."""
    try:
        winds, shares, speeds = air_in(scene, hours).blowing
    except Unrecorded:
        return {}
    weights = np.bincount(winds, shares, len(WINDS))
    sums = np.bincount(winds, shares * speeds, len(WINDS))
    return {wind: float(sums[wind] / weights[wind]) for wind in range(len(WINDS)) if weights[wind] > 0}


# -- records as rules see them ------------------------------------------------------------------------------------


@plural(
    "recorded-winds",
    {"record": "thing:winds", "wind": "word", "bearing": "bearing", "share": "share", "speed": "speed",
     "time": "duration"},
)  # fmt: skip
def _recorded(scene: Scene) -> Table:
    """Every line `from WIND SHARE SPEED` of the wind records: the bearing it blows from, its share of the
    hours, its speed; `time` is that share of all the hours of the record's period, for a record of all hours."""
    records = scene.plan.of(Winds)
    rows = [(index, line) for index, record in enumerate(records) for line in _lines(record)]

    def of(row: int) -> Winds:
        return records[rows[row][0]]

    def wind(row: int) -> str:
        return str(rows[row][1].values[0].value)

    def time(row: int) -> float | None:
        days = len(_recorded_days(of(row)))
        every_hour = scene.plan.word(of(row), "hours", "all") == "all"
        return rows[row][1].values[1].value.size * days * 24 if days and every_hour else None

    table = Table("recorded-winds", len(rows), lambda row: f"{wind(row)} of {of(row).label}",
                  lambda row: of(row).name, lambda row: of(row).span(rows[row][1]))  # fmt: skip
    table.written = lambda row, field: Place(of(row).span(rows[row][1]), False)
    numbers = range(len(rows))
    table.add("record", lambda: column("thing:winds", [index for index, _ in rows]))
    table.add("wind", lambda: column("word", [wind(row) for row in numbers]))
    table.add(
        "bearing",
        lambda: column("bearing", [scene.placer.bearing(of(row), rows[row][1].values[0]) for row in numbers]),
    )
    table.add("share", lambda: column("share", [line.values[1].value.size for _, line in rows]))
    table.add("speed", lambda: column("speed", [line.values[2].value.size for _, line in rows]))
    table.add("time", lambda: column("duration", [time(row) for row in numbers], "no `period` of all hours is given"))
    return table


@of_plural("winds", "from", "things:recorded-winds")
def _from(scene: Scene) -> Column:
    """The winds of a record, with their bearings, shares and speeds."""
    records = scene.plan.of(Winds)
    of = scene.table("recorded-winds").column("record").values
    values = np.empty(len(records), object)
    values[:] = [np.flatnonzero(of == index) for index in range(len(records))]
    return Column("things:recorded-winds", values)


def _means(scene: Scene) -> list[Mean]:
    found: list[Mean] | None = scene.memo.get("prevailing winds")
    if found is None:
        found = []
        for record in scene.plan.of(Winds):
            lines = _lines(record)
            from_ = [scene.placer.bearing(record, line.values[0]) for line in lines]
            found.append(mean_direction(from_, [line.values[1].value.size for line in lines], _width(record)))
        scene.memo["prevailing winds"] = found
    return found


@of_plural("winds", "prevailing", "bearing")
def _prevailing(scene: Scene) -> Column:
    """The bearing that the wind of a record blows from in the mean: the mean vector of its winds by their
    shares, calm hours left out (Zar 2010, ch. 26). Unknown for a record without winds."""
    found = [None if math.isnan(one.bearing) else one.bearing for one in _means(scene)]
    return column("bearing", found, "the record has no `from`")


@of_plural("winds", "steadiness", "share")
def _steadiness(scene: Scene) -> Column:
    """How steady a record's wind is: the length of its mean vector, corrected for the width of its sectors;
    100% for one wind alone, 0 where all blow alike."""
    found = [None if math.isnan(one.steadiness) else one.steadiness for one in _means(scene)]
    return column("share", found, "the record has no `from`")
