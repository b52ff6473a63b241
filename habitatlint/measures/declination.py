"""The declination that a plan states."""

from __future__ import annotations

from habitatlint.ground.columns import Column, column
from habitatlint.ground.scene import Scene
from habitatlint.measures.vocabulary import of_plural


@of_plural("plans", "declination", "angle")
def _stated(scene: Scene) -> Column:
    """How far the magnetic north that a plan states lies from true north, east or west alike, in degrees."""
    head = scene.plan.head
    written = head.declination if head is not None else None
    stated = None if written is None or written.kind != "declination" else abs(float(written.value))
    return column("angle", [stated] * scene.table("plans").size)
