"""Stems on a walk, stems in a corridor, and danger trees by a wire, worked out again by hand: plane geometry alone.

A blown tree lies from its root, its tip so far off as it is tall; the line to a straight way is across it.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.findings import Finding
from habitatlint.units import YARD

Reports = Callable[..., Report]


def told(report: Report, slug: str) -> Finding | None:
    return next((one for one in report.findings if one.rule.endswith(f"/{slug}")), None)


@pytest.mark.parametrize("seed", range(12))
def test_a_stem_bars_the_walk_by_how_near_its_bare_part_comes(report_of: Reports, seed: int) -> None:
    """Half the walk's width of 2 yd less the way of the bare stem (60% of 20 yd) from a walk along the axis."""
    random = np.random.default_rng(seed)
    north, fall = random.uniform(1.5, 18), random.uniform(100, 260)
    tree = (
        f"tree thrown\n  at 50,{north:.4f}\n  state blown\n  fall {fall:.4f}deg\n  dbh 8in\n  tree-height 60ft\n"
        "  crown-ratio 40%\n  crown-width 1ft\n"
    )
    report = report_of("path lane\n  use entry\n  line 0,0 100,0\n  width 2yd\n" + tree)
    bare = north + 12 * math.cos(math.radians(fall))  # how far north of the walk the bare stem ends
    tip = north + 20 * math.cos(math.radians(fall))
    onto = 1.0 - max(bare, 0.0)
    topped = tip <= 1.02 and bare >= -1.02  # its top is there too, or nearly
    found = told(report, "stem-on-entry")
    if onto > 0.02 and not topped:
        assert found is not None and found.measured is not None
        assert float(found.measured.value) / YARD == pytest.approx(onto, abs=0.01)  # type: ignore[arg-type]
    elif onto < -0.02:
        assert found is None


@pytest.mark.parametrize("angle", [5, 10, 20, 29])
def test_what_of_a_stem_lies_in_a_corridor_is_its_width_over_the_sine(report_of: Reports, angle: float) -> None:
    """A stem that runs through a strip w wide at an angle a lies w / sin a in it, or as far as it reaches."""
    ride = "pocket thicket\n  outline 0,0 80,0 80,80 0,80\npath ride\n  use corridor\n  line 30,-3 30,83\n  width 1yd\n"
    tree = f"tree maple\n  at 29.25,20\n  method hinge\n  fall {angle}deg\n  dbh 8in\n  tree-height 60ft\n  cut-height 1ft\n"
    found = told(report_of(ride + tree), "hinge-in-corridor")
    long = math.sqrt((60 - 1) ** 2 - 1) / 3
    enters = 0.25 / math.sin(math.radians(angle))
    within = min(long, 1.25 / math.sin(math.radians(angle))) - enters
    assert found is not None and found.measured is not None
    assert float(found.measured.value) / YARD == pytest.approx(within, abs=0.01)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("state", "off", "is_told"),
    [("dead", 76.5, False), ("dead", 75.5, True), ("hung", 75.5, True), ("blown", 70.5, False), ("blown", 69.5, True)],
)
def test_a_danger_tree_reaches_a_wire_by_its_height_and_ten_feet(
    report_of: Reports, state: str, off: float, is_told: bool
) -> None:
    """Sixty feet, a tenth added while it stands; one that lies has its own length. 29 CFR 1910.333(c)(3), seen in an
    excerpt only, has ten feet for unqualified people up to 50 kV."""
    plan = (
        'plan "P"\n  stage as-built\n  units ft\n'
        f"hazard line\n  kind wire\n  line -300,{off} 300,{off}\n"
        f"tree ash\n  at 0,0\n  state {state}\n  fall N\n  tree-height 60ft\n  dbh 14in\n"
    )
    assert (told(report_of(plan), "danger-tree-at-hazard") is not None) is is_told
