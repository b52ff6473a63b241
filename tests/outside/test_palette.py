"""The map's colours against their publication, and told apart by eyes without one kind of cone.

Sources: Okabe & Ito, "Color Universal Design" (2008), the eight colours as in Wong, "Color blindness", Nature
Methods 8:441 (2011). Colour blindness is simulated by Machado, Oliveira & Fernandes (2009) and differences
are measured in CAM02-UCS, both as `colorspacious` computes them. That 10 units are told apart at a glance is
common practice, no source.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from colorspacious import cspace_converter

from habitatlint.outputs.map.signs import PALETTE

#: red, green and blue of the eight as Nature Methods 8:441 prints them
PUBLISHED = {
    "black": (0, 0, 0), "orange": (230, 159, 0), "sky blue": (86, 180, 233), "bluish green": (0, 158, 115),
    "yellow": (240, 228, 66), "blue": (0, 114, 178), "vermillion": (213, 94, 0), "reddish purple": (204, 121, 167),
}  # fmt: skip


def rgb(colour: str) -> tuple[int, ...]:
    return tuple(bytes.fromhex(colour[1:]))


def test_the_colours_are_those_published() -> None:
    assert {name: rgb(colour) for name, colour in PALETTE.items()} == PUBLISHED


@pytest.mark.parametrize("kind", ["protanomaly", "deuteranomaly", "tritanomaly"])
def test_any_two_colours_are_told_apart_without_one_kind_of_cone(kind: str) -> None:
    seen = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    see, measure = cspace_converter(seen, "sRGB1"), cspace_converter("sRGB1", "CAM02-UCS")
    places = {name: measure(np.clip(see(np.array(rgb(colour)) / 255), 0, 1)) for name, colour in PALETTE.items()}
    apart = {pair: float(np.linalg.norm(places[pair[0]] - places[pair[1]])) for pair in combinations(places, 2)}
    nearest = min(apart, key=lambda pair: apart[pair])
    assert apart[nearest] > 10, (nearest, apart[nearest])
