"""Where scent goes from a person: the ground downwind.

The half-width is the larger of 2.15 standard deviations of a plume over open country (Briggs 1973,
class D, doi 10.2172/5118833) and half the wind's sector of sixteen. The curves are stated from
some 100 m on and for open country: nearer, and in woods, they are extended, and no published
distance of scent for deer exists. The reach of 150 yd is common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
from shapely.geometry import Polygon

from habitatlint.units import YARD

REACH = 150 * YARD
SECTOR = 360 / 16
#: edge of a plume in standard deviations: a tenth of the middle's strength
EDGE = 2.15


def spread(distance: float | np.ndarray) -> np.ndarray:
    """Sideways standard deviation of a plume in metres, `distance` metres downwind: class D,
    0.08 x / sqrt(1 + 0.0001 x) (Briggs 1973, open country)."""
    x = np.asarray(distance, dtype=float)
    return np.asarray(0.08 * x / np.sqrt(1 + 0.0001 * x))


def plume(east: float, north: float, wind: float, reach: float = REACH) -> Polygon:
    """The ground that scent from a place reaches on a wind, a polygon in metres.

    `wind` is the bearing it blows from, in degrees. The place itself is the polygon's point.
    """
    x = np.linspace(0, reach, 13)
    half = np.maximum(EDGE * spread(x), x * math.tan(math.radians(SECTOR / 2)))
    toward = math.radians((wind + 180) % 360)
    ahead = np.array([math.sin(toward), math.cos(toward)])
    aside = np.array([-ahead[1], ahead[0]])
    middle = np.array([east, north]) + x[:, None] * ahead
    edge = half[:, None] * aside
    return Polygon(np.vstack([middle + edge, (middle - edge)[:0:-1]]))
