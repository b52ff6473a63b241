"""How long work takes, by published rates: spreads to plan by, never targets, and never for pay or a race.

Nobody has published how many trees an hour are hinged, and no rate here is one of hinging.
"""

from __future__ import annotations

from typing import NamedTuple

from habitatlint.units import ACRE, HECTARE


class Hours(NamedTuple):
    """The least and the most hours of one worker or crew, as the source has them."""

    least: float
    most: float


class Rate(NamedTuple):
    """Work done in an hour, the slowest and the fastest seen: square metres, or metres of length."""

    slowest: float
    fastest: float
    source: str

    def hours(self, amount: float) -> Hours:
        """Hours for an amount of work in the rate's unit. ValueError for less than nothing."""
        if amount < 0:
            raise ValueError("work is no less than nothing")
        return Hours(amount / self.fastest, amount / self.slowest)


#: herbicide by tree injection, by area: 0.2 to 0.5 acre an hour
INJECTION = Rate(0.2 * ACRE, 0.5 * ACRE, "Mississippi State University Extension P3673")
#: crop trees released with a saw in young hardwoods, by area: 0.22 to 0.47 ha an hour
CROP_TREE_RELEASE = Rate(0.22 * HECTARE, 0.47 * HECTARE, "Silva Fennica 54(3), 10205 (2020)")
#: walls of logging slash, by length, with machines: 32 to 77 m an hour
SLASH_WALL = Rate(32.0, 77.0, "Cornell slash-wall study, abstract")
