"""A window: a stretch of ground on a stretch of paper."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon

Floats = npt.NDArray[np.float64]


class Window(NamedTuple):
    """A stretch of ground on paper: its south-west corner in metres, its size in millimetres, and the
    denominator of its scale (2400 for 1:2400)."""

    west: float
    south: float
    width: float
    height: float
    scale: float

    @property
    def per_metre(self) -> float:
        """Millimetres on paper of one metre on the ground."""
        return 1000 / self.scale

    def on_paper(self, east: float, north: float) -> tuple[float, float]:
        """A place in metres as millimetres right and down from the window's upper left corner."""
        return (east - self.west) * self.per_metre, self.height - (north - self.south) * self.per_metre

    def points(self, places: Floats) -> Floats:
        """Places (n, 2) in metres as millimetres right and down from the window's upper left corner."""
        per_metre = self.per_metre
        return np.column_stack(
            [(places[:, 0] - self.west) * per_metre, self.height - (places[:, 1] - self.south) * per_metre]
        )

    def box(self, more: float = 0.0) -> Polygon:
        """Its ground in metres, and so many millimetres more all round."""
        far = more / self.per_metre
        east, north = self.west + self.width / self.per_metre, self.south + self.height / self.per_metre
        return shapely.box(self.west - far, self.south - far, east + far, north + far)
