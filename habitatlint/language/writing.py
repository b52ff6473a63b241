"""Values as a plan writes them: places, lengths and bearings from metres and degrees."""

from __future__ import annotations

from habitatlint.units import UNITS, plain


def point(east: float, north: float, units: str) -> str:
    """A place in metres as a point in the plan's unit, to a tenth of it."""
    one = UNITS[units][1]
    return f"{plain(east / one, 1)},{plain(north / one, 1)}"


def length(size: float, unit: str) -> str:
    """A length in metres in a unit, to a hundredth: `3ft`."""
    return f"{plain(size / UNITS[unit][1], 2)}{unit}"


def angle(degrees: float) -> str:
    """A bearing in whole degrees: `135deg`."""
    return f"{plain(round(degrees) % 360, 0)}deg"


def station(path: str, along: float, units: str) -> str:
    """A place on a way, so many metres from its first point, to a whole unit of the plan: `south-lane 40yd`."""
    return f"{path} {plain(along / UNITS[units][1], 0)}{units}"
