"""Work on many pockets at once: shapely lets other threads run while it computes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

Thing = TypeVar("Thing")
Result = TypeVar("Result")

#: so few are done one after another: to start threads would take longer
FEW = 8
#: more threads than this wait for each other, for what is not shapely's runs one at a time
WORKERS = 2


def for_each(work: Callable[[Thing], Result], things: Sequence[Thing]) -> list[Result]:
    """What a work gives for each of some things, in their order. The work must not depend on the order in
    which they are done, and index trees that it asks must have been asked once before."""
    if len(things) <= FEW:
        return [work(thing) for thing in things]
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(WORKERS) as pool:
        return list(pool.map(work, things))
