"""Feathered edges against the job sheets.

USDA-NRCS Ohio, *Edge Feathering Job Sheet (647)*, January 2015: 30 to 50 ft in, 50 to 100 ft long, 100 to 150 ft
apart. USDA-NRCS New Hampshire, *Feathered Edge Job Sheet NH-647*: 50 ft wide at least, and for light 1.5 times
the height of the trees at least.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.measures.edge import DEPTH, LENGTH, depth_for_light, edge_feathering, feathering
from habitatlint.measures.vocabulary import Rows
from habitatlint.units import ACRE, FOOT


def patch(name: str, x: float, deep: float, long: float) -> str:
    corners = f"{x},0 {x + long},0 {x + long},{deep} {x},{deep}"
    return f"patch {name}\n  purpose edge\n  method fell\n  outline {corners}\n  density 100 per acre\n"


def words(report_of: Callable[..., Report], text: str) -> list[str]:
    report = report_of('plan "Edges"\n  units ft\n' + text)
    number = report.scene.table("patches").size
    found = feathering(report.scene, Rows("patches", np.arange(number)))
    return list(found.value.values)


@pytest.mark.parametrize(
    ("deep", "long", "word"),
    [(40, 75, "sized"), (20, 75, "shallow"), (40, 130, "long"), (30, 50, "sized"), (50, 100, "sized"),
     (29.9, 75, "shallow"), (50.1, 75, "deep"), (40, 49.9, "short"), (40, 100.1, "long")],
)  # fmt: skip
def test_one_patch_by_the_ohio_sheet(report_of: Callable[..., Report], deep: float, long: float, word: str) -> None:
    assert words(report_of, patch("edge", 0, deep, long)) == [word]
    assert edge_feathering(deep * FOOT, long * FOOT, np.inf) == word


@pytest.mark.parametrize(("apart", "word"), [(90, "close"), (99.9, "close"), (100, "sized"), (120, "sized")])
def test_two_patches(report_of: Callable[..., Report], apart: float, word: str) -> None:
    assert words(report_of, patch("one", 0, 40, 75) + patch("two", 75 + apart, 40, 75)) == [word, word]


def test_the_least_patch_is_a_twenty_ninth_of_an_acre() -> None:
    assert DEPTH[0] * LENGTH[0] / FOOT**2 == pytest.approx(1500)
    assert DEPTH[0] * LENGTH[0] / ACRE == pytest.approx(0.03444, abs=1e-4)


@pytest.mark.parametrize(("tall", "deep"), [(60, 90), (70, 105), (30, 50), (33, 50), (34, 51)])
def test_for_light_by_the_new_hampshire_sheet(tall: float, deep: float) -> None:
    assert depth_for_light(tall * FOOT) / FOOT == pytest.approx(deep)


def test_other_patches_and_patches_without_a_place_are_not_known(report_of: Callable[..., Report]) -> None:
    text = patch("one", 0, 40, 75).replace("purpose edge", "purpose bedding")
    assert words(report_of, text) == [""]
    assert words(report_of, patch("one", 0, 40, 75) + patch("two", 0, 40, 75)) == ["close", "close"]
