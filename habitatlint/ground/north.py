"""Magnetic north: how far a compass is off true north, by what the plan says or by the model."""

from __future__ import annotations

from typing import NamedTuple

from habitatlint.ground.frame import Frame, FrameUnavailable, declination
from habitatlint.language.plan import PlanText


class North(NamedTuple):
    """Degrees from true to magnetic north, east positive, and whether the plan states them itself."""

    declination: float
    stated: bool

    def magnetic(self, bearing: float) -> float:
        """A bearing from true north as a compass reads it, from 0 up to 360 degrees."""
        return (bearing - self.declination) % 360


def magnetic_north(plan: PlanText, frame: Frame | None) -> North | None:
    """Magnetic north where the plan states its declination, or asks that it be computed (by `declination computed`, or
    by bearings from magnetic north) and gives an anchor and a date; None for another plan, and where no model can
    be had."""
    head = plan.head
    if head is None:
        return None
    written = head.declination
    if written is not None and written.kind == "declination":
        return North(float(written.value), True)
    asked = written is not None or plan.word(head, "north", "true") == "magnetic"
    if not asked or frame is None or head.date is None:
        return None
    try:
        return North(declination(frame.latitude, frame.longitude, head.date.value), False)
    except FrameUnavailable:
        return None
