"""How air spreads what it carries: Pasquill's classes of stability, and Briggs' plume over open country.

Sources: the classes, NOAA Air Resources Laboratory, ready.noaa.gov/READYpgclass.php; the sun's strength by its
height, EPA meteorological monitoring guidance 6.4.1; the spread, Briggs 1973, open country, doi 10.2172/5118833,
stated from some 100 m to 10 km (the range from memory). Nearer, and in woods, the curves are extended.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: Briggs 1973, open country: sigma-y = a x / sqrt(1 + 0.0001 x), by class
_SIDEWAYS = {"A": 0.22, "B": 0.16, "C": 0.11, "D": 0.08, "E": 0.06, "F": 0.04}
#: sigma-z = a x (1 + b x)^p, by class
_UPWARD = {
    "A": (0.20, 0.0, 0.0), "B": (0.12, 0.0, 0.0), "C": (0.08, 0.0002, -0.5), "D": (0.06, 0.0015, -0.5),
    "E": (0.03, 0.0003, -1.0), "F": (0.016, 0.0003, -1.0),
}  # fmt: skip

#: Pasquill's classes (NOAA Air Resources Laboratory, ready.noaa.gov/READYpgclass.php) by what heats or cools
#: the ground, for winds under 2, 3, 5 and 6 m/s and over; an overcast sky is D by day and by night
_CLASSES = {
    "strong": ("A", "A-B", "B", "C", "C"),
    "moderate": ("A-B", "B", "B-C", "C-D", "D"),
    "slight": ("B", "C", "C", "D", "D"),
    "cloudy night": ("E", "E", "D", "D", "D"),
    "clear night": ("F", "F", "E", "D", "D"),
    "overcast": ("D", "D", "D", "D", "D"),
}
USUAL_CLASS = "D"


def stability(speed: float, sky: str) -> str:
    """Pasquill's class of the air, such as `D` or `A-B`, for a wind in metres a second and what heats or
    cools the ground: the sun's strength as `insolation` tells it, `cloudy night`, `clear night`, or
    `overcast`. Raises KeyError for another sky. Source: NOAA Air Resources Laboratory."""
    row = 4 if speed > 6 else sum(speed >= bound for bound in (2, 3, 5))
    return _CLASSES[sky][row]


def insolation(altitude: float) -> str:
    """How strongly a sun so many degrees high heats the ground: over 60 strong, over 35 moderate, over 15
    slight (EPA meteorological monitoring guidance, 6.4.1). A lower sun counts as an overcast sky: the table
    has no column between slight sun and night."""
    return next((word for least, word in ((60, "strong"), (35, "moderate"), (15, "slight")) if altitude > least),
                "overcast")  # fmt: skip


def noon(latitude: float, day: int) -> float:
    """How high the sun stands at noon, in degrees, on a day of the year counted from 1: 90 less the distance of
    the latitude from the sun's declination, by the short series of NOAA's Global Monitoring Division (within
    half a degree)."""
    year = 2 * math.pi / 365 * (day - 1)
    declination = (
        0.006918 - 0.399912 * math.cos(year) + 0.070257 * math.sin(year) - 0.006758 * math.cos(2 * year)
        + 0.000907 * math.sin(2 * year) - 0.002697 * math.cos(3 * year) + 0.00148 * math.sin(3 * year)
    )  # fmt: skip
    return 90 - abs(latitude - math.degrees(declination))


def _of_class(table: Callable[[str], Any], air: str) -> Any:
    """A figure by class; between two classes, the mean."""
    return sum(table(one) for one in air.split("-")) / (air.count("-") + 1)


def sideways(air: str = USUAL_CLASS) -> float:
    """Briggs' coefficient a of sigma-y for a class, or for one between two (`A-B`)."""
    return float(_of_class(lambda one: _SIDEWAYS[one], air))


def spread(distance: float | Floats, air: str = USUAL_CLASS) -> Floats:
    """Sideways standard deviation of a plume in metres, `distance` metres downwind, in a class of air:
    a x / sqrt(1 + 0.0001 x) (Briggs 1973, open country)."""
    x = np.asarray(distance, dtype=float)
    return np.asarray(sideways(air) * x / np.sqrt(1 + 0.0001 * x))


def rise(distance: float | Floats, air: str = USUAL_CLASS) -> Floats:
    """Upward standard deviation of a plume in metres, `distance` metres downwind, in a class of air
    (Briggs 1973, open country)."""
    x = np.asarray(distance, dtype=float)

    def of(one: str) -> Floats:
        a, b, power = _UPWARD[one]
        return np.asarray(a * x * (1 + b * x) ** power)

    return np.asarray(_of_class(of, air))


def strength(distance: float | Floats, compared: float | Floats, air: str = USUAL_CLASS) -> Floats:
    """How strong scent is in the middle of a plume at one distance, as a share of its strength at
    another: a ground-level plume thins with sigma-y times sigma-z."""
    return np.asarray(spread(compared, air) * rise(compared, air) / (spread(distance, air) * rise(distance, air)))
