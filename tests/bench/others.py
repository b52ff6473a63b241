"""The same four checks as one would write them in an afternoon: with loops over shapely's shapes, and with the joins of
geopandas. They get trees, walks and pockets as shapes and give how many they find fault with; what a rule adds (the
deer's side, which tops lie, what a V traps, the worst corner of a pocket) they leave out."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

import geopandas
import numpy as np
import shapely

from habitatlint.units import FOOT, YARD

#: how near a hinge may lie to a walk, how wide a way is, and how much of a pocket may be roofed over
CLEARANCE, WAY, ROOFED = 20 * YARD, 3 * FOOT, 0.3
#: seconds of loops after which what is left is reckoned from what was done
PATIENCE = 4.0


class Shapes(NamedTuple):
    """What lies on a property, each an array of shapes in metres."""

    fallen: Any
    tops: Any
    barriers: Any
    walks: Any
    pockets: Any


class Took(NamedTuple):
    """Seconds, how many were found, and whether they are reckoned from a part."""

    seconds: float
    found: int
    reckoned: bool = False


def _looped(things: Sequence[Any], found: Callable[[int, Any], int]) -> Took:
    """Goes through things one by one, as long as patience lasts."""
    start, count = time.perf_counter(), 0
    for number, thing in enumerate(things, 1):
        count += found(number - 1, thing)
        taken = time.perf_counter() - start
        if taken > PATIENCE and number < len(things):
            whole = len(things) / number
            return Took(taken * whole, round(count * whole), True)
    return Took(time.perf_counter() - start, count)


def loops_near_walk(of: Shapes) -> Took:
    walks = list(of.walks)
    return _looped(of.fallen, lambda _, shape: any(shape.distance(walk) < CLEARANCE for walk in walks))


def loops_on_walk(of: Shapes) -> Took:
    walks = list(of.walks)
    return _looped(of.tops, lambda _, shape: any(shape.intersects(walk) for walk in walks))


def loops_pairs(of: Shapes) -> Took:
    shapes = list(of.barriers)
    # half of the pairs, one tree with all after it; of the first trees of many that is nearly all
    return _looped(shapes, lambda at, shape: sum(shape.distance(other) < WAY for other in shapes[at + 1 :]))


def loops_roofed(of: Shapes) -> Took:
    tops = list(of.tops)

    def roofed(_: int, pocket: Any) -> int:
        here = [top for top in tops if top.intersects(pocket)]
        over = [
            one.intersection(other) for at, one in enumerate(here) for other in here[at + 1 :] if one.intersects(other)
        ]
        return shapely.union_all(over).intersection(pocket).area > ROOFED * pocket.area if over else False

    return _looped(of.pockets, roofed)


def _frame(shapes: Any) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(geometry=list(shapes))


def _timed(work: Callable[[], int]) -> Took:
    start = time.perf_counter()
    found = work()
    return Took(time.perf_counter() - start, found)


def joins_near_walk(of: Shapes) -> Took:
    def work() -> int:
        joined = geopandas.sjoin(_frame(of.fallen), _frame(of.walks), predicate="dwithin", distance=CLEARANCE)
        return int(joined.index.nunique())

    return _timed(work)


def joins_on_walk(of: Shapes) -> Took:
    return _timed(lambda: int(geopandas.sjoin(_frame(of.tops), _frame(of.walks)).index.nunique()))


def joins_pairs(of: Shapes) -> Took:
    def work() -> int:
        frame = _frame(of.barriers)
        joined = geopandas.sjoin(frame, frame, predicate="dwithin", distance=WAY)
        return int((joined.index < joined["index_right"]).sum())

    return _timed(work)


def joins_roofed(of: Shapes) -> Took:
    def work() -> int:
        tops, pockets = _frame(of.tops), _frame(of.pockets)
        pairs = geopandas.sjoin(tops, tops)
        pairs = pairs[pairs.index < pairs["index_right"]]
        over = pairs.geometry.values.intersection(tops.geometry.values[pairs["index_right"].to_numpy()])
        parts = geopandas.sjoin(geopandas.GeoDataFrame(geometry=over), pockets)
        united = parts.dissolve(by="index_right")
        inside = united.geometry.values.intersection(pockets.geometry.values[united.index.to_numpy()])
        share = np.asarray(inside.area) / np.asarray(pockets.geometry.values[united.index.to_numpy()].area)
        return int((share > ROOFED).sum())

    return _timed(work)


class Check(NamedTuple):
    """What is joined with what, the rule that judges so, and the other two ways."""

    what: str
    rule: str
    loops: Callable[[Shapes], Took]
    joins: Callable[[Shapes], Took]


CHECKS: Iterable[Check] = (
    Check("tree with path, how near", "entry/live-hinge-near-entry", loops_near_walk, joins_near_walk),
    Check("tree with path, whether it lies on it", "entry/tops-on-entry", loops_on_walk, joins_on_walk),
    Check("tree with tree, pairs that leave no way", "escape/closed-v", loops_pairs, joins_pairs),
    Check("tree with tree by pocket, tops over tops", "escape/roofed-pocket", loops_roofed, joins_roofed),
)
