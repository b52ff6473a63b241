"""Folders of many plans: the examples again and again, each moved a little, so that no two are alike."""

from __future__ import annotations

import re
from pathlib import Path

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
_PLACE = re.compile(r"(?<![\w.,])(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)(?![\w.,])")


def farms(number: int) -> dict[str, str]:
    """So many plans by their names."""
    texts = [path.read_text(encoding="utf-8") for path in sorted(EXAMPLES.glob("*.habitat"))]
    return {f"farm-{one:04}.habitat": moved(texts[one % len(texts)], one // len(texts) / 10) for one in range(number)}


def moved(text: str, by: float) -> str:
    """A plan with every place so far to the east, in its own unit."""
    return _PLACE.sub(lambda place: f"{float(place[1]) + by:g},{place[2]}", text)
