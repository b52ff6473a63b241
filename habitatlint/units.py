"""Quantities as people write them, read and printed.

Every quantity is kept as it was written (a number and a unit) and knows its
size in one base unit of its kind: metres, square metres, degrees, metres a
second, litres, hours. Shares are fractions of one.

Sources: the international foot (0.3048 m), yard (0.9144 m) and acre of 43,560
square feet; US fluid ounce and gallon (NIST Handbook 44, Appendix C).
"""

from __future__ import annotations

import math
from typing import NamedTuple

INCH = 0.0254
FOOT = 0.3048
YARD = 0.9144
ACRE = 43_560 * FOOT * FOOT
HECTARE = 10_000.0
MILE = 5280 * FOOT
FLUID_OUNCE = 0.0295735295625
GALLON = 3.785411784

#: One centimetre: the tolerance of every comparison on the ground, in metres.
TOLERANCE = 0.01

#: unit as written -> (kind, size of one in the kind's base unit)
UNITS: dict[str, tuple[str, float]] = {
    "yd": ("length", YARD),
    "ft": ("length", FOOT),
    "in": ("length", INCH),
    "m": ("length", 1.0),
    "cm": ("length", 0.01),
    "ac": ("area", ACRE),
    "ha": ("area", HECTARE),
    "sqft": ("area", FOOT * FOOT),
    "sqyd": ("area", YARD * YARD),
    "sqm": ("area", 1.0),
    "%": ("share", 0.01),
    "per acre": ("density", 1 / ACRE),
    "per ha": ("density", 1 / HECTARE),
    "sqft/ac": ("basal-area", FOOT * FOOT / ACRE),
    "sqm/ha": ("basal-area", 1 / HECTARE),
    "floz": ("volume", FLUID_OUNCE),
    "gal": ("volume", GALLON),
    "qt": ("volume", GALLON / 4),
    "pt": ("volume", GALLON / 8),
    "mL": ("volume", 0.001),
    "L": ("volume", 1.0),
    "floz/ac": ("dose", FLUID_OUNCE / ACRE),
    "gal/ac": ("dose", GALLON / ACRE),
    "qt/ac": ("dose", GALLON / 4 / ACRE),
    "pt/ac": ("dose", GALLON / 8 / ACRE),
    "mL/ha": ("dose", 0.001 / HECTARE),
    "L/ha": ("dose", 1 / HECTARE),
    "mph": ("speed", MILE / 3600),
    "m/s": ("speed", 1.0),
    "kmh": ("speed", 1 / 3.6),
    "kn": ("speed", 1852 / 3600),
    "deg": ("angle", 1.0),
    "hour": ("duration", 1.0),
    "hours": ("duration", 1.0),
    "day": ("duration", 24.0),
    "days": ("duration", 24.0),
    "week": ("duration", 168.0),
    "weeks": ("duration", 168.0),
    "year": ("duration", 8766.0),
    "years": ("duration", 8766.0),
    "": ("number", 1.0),
}


class Quantity(NamedTuple):
    """A number and its unit as written; `unit` is "" for a bare number."""

    number: float
    unit: str

    @property
    def kind(self) -> str:
        return UNITS[self.unit][0]

    @property
    def size(self) -> float:
        """In the base unit of its kind (metres, square metres, degrees ...)."""
        return self.number * UNITS[self.unit][1]

    def size_in(self, plan_unit: str) -> float:
        """As `size`, a bare number being a length in the plan's unit."""
        return self.number * UNITS[self.unit or plan_unit][1]

    def __str__(self) -> str:
        if not self.unit:
            return plain(self.number)
        gap = " " if self.unit[0].isalpha() and self.unit not in COMPACT else ""
        return f"{plain(self.number)}{gap}{self.unit}"


#: units that are written right against their number in a plan
COMPACT = {"yd", "ft", "in", "m", "cm", "ac", "ha", "sqft", "sqyd", "sqm", "mph", "kmh", "kn", "deg"}


class Range(NamedTuple):
    """A least and a largest quantity (`6in..10in`), in the unit written."""

    least: Quantity
    largest: Quantity

    @property
    def middle(self) -> float:
        return (self.least.size + self.largest.size) / 2

    def __str__(self) -> str:
        return f"{self.least}..{self.largest}"


def plain(number: float, places: int = 6) -> str:
    """A number without an exponent or needless zeros."""
    text = f"{number:.{places}f}".rstrip("0").rstrip(".") if places else f"{number:.0f}"
    return "0" if text in ("-0", "") else text


SINGULAR = {"days": "day", "hours": "hour", "years": "year", "weeks": "week"}

#: what a person reads each kind in, by the plan's unit: (unit shown, its size, separator)
_SHOWN = {
    "yd": {"length": ("yd", YARD), "area": ("ac", ACRE), "basal-area": ("sqft/ac", FOOT * FOOT / ACRE),
           "density": ("per acre", 1 / ACRE), "speed": ("mph", MILE / 3600), "volume": ("floz", FLUID_OUNCE),
           "dose": ("floz/ac", FLUID_OUNCE / ACRE)},
    "m": {"length": ("m", 1.0), "area": ("ha", HECTARE), "basal-area": ("sqm/ha", 1 / HECTARE),
          "density": ("per ha", 1 / HECTARE), "speed": ("m/s", 1.0), "volume": ("L", 1.0),
          "dose": ("L/ha", 1 / HECTARE)},
}  # fmt: skip
_SHOWN["ft"] = {**_SHOWN["yd"], "length": ("ft", FOOT)}


def show(size: float, kind: str, plan_unit: str = "yd", places: int = 1, unit: str = "") -> str:
    """A size in base units as a person reads it, in the plan's unit or in `unit`.

    >>> show(18.288, "length")
    '20 yd'
    >>> show(0.2540, "length", unit="in")
    '10 in'
    >>> show(0.25, "share")
    '25%'
    """
    if kind == "share":
        return f"{plain(round(size * 100, places), places)}%"
    if kind in ("angle", "bearing"):
        return f"{plain(size, places)} deg"
    if kind in ("count", "number"):
        return plain(size, 0 if kind == "count" else max(places, 2))
    if kind == "duration":
        return _show_duration(size)
    if unit:
        name, one = unit, UNITS[unit][1]
    else:
        name, one = _SHOWN[plan_unit][kind]
    return f"{plain(size / one, places)} {name}"


def _show_duration(hours: float) -> str:
    for name in ("years", "days", "hours"):
        one = UNITS[name][1]
        if abs(hours) >= one and math.isclose(hours / one, round(hours / one), abs_tol=1e-6):
            number = round(hours / one)
            return f"{number} {SINGULAR[name] if number == 1 else name}"
    return f"{plain(hours, 1)} hours"
