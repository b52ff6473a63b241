"""What the wind threw over ways that were sawn before: on the ground as built it lies there until it is sawn."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.measures.openings import strips
from habitatlint.measures.ways_out import Bars, bed_of
from habitatlint.units import FOOT

WAY = Bars(3 * FOOT)
Reports = Callable[..., Report]

POCKET = """
plan "As it was cut"
  stage {stage}
  units yd
food clover
  outline 0,-40 60,-40 60,-10 0,-10
pocket thicket
  outline 0,0 60,0 60,60 0,60
  bed 30,30
  corridors every 20yd off clover width 4ft
path ride
  use corridor
  line -3,25 63,25
  width 4ft
  done 2026-02-20
row cover
  method hinge
  stumps 8,6 52,6
  spacing 11
  fall N
  dbh 8in
  done 2026-02-20
"""
STORM = 'storm 2026-05-14 "straight winds"\n'


def thrown(random: np.random.Generator, number: int) -> list[str]:
    return [
        f"tree t{index}\n  at {random.uniform(10, 50):.2f},{random.uniform(10, 50):.2f}\n  state blown\n"
        f"  fall {random.uniform(0, 360):.0f}deg\n  tree-height 40ft\n  crown-ratio 60%\n  crown-width 16ft\n  dbh 8in\n"
        for index in range(number)
    ]


def arc(report: Report) -> float:
    bed = bed_of(report.scene, 0, report.scene.table("beds").column("at").values[0], WAY)
    assert bed is not None
    return bed.arc


@pytest.mark.parametrize("seed", range(4))
def test_a_thrown_top_never_raises_the_arc(report_of: Reports, seed: int) -> None:
    trees = thrown(np.random.default_rng(seed), 40)
    plan = POCKET.format(stage="as-built")
    arcs = [arc(report_of(plan + STORM + "".join(trees[:number]))) for number in (0, 10, 20, 30, 40)]
    assert arcs == sorted(arcs, reverse=True)
    assert arcs[0] == 360 > arcs[-1]


RING = "".join(
    f"tree ring{index}\n  at {east},{north}\n  state blown\n  fall {fall}\n  tree-height 60ft\n  crown-width 30ft\n"
    for index, (east, north, fall) in enumerate(
        [(10, 40, "E"), (50, 40, "W"), (20, 50, "S"), (40, 10, "N"), (10, 20, "E"), (50, 20, "W"), (22, 10, "N"),
         (40, 50, "S")]
    )
)  # fmt: skip


def test_a_corridor_sawn_before_a_storm_does_not_open_what_it_threw(report_of: Reports) -> None:
    """The same trees laid by the plan's own work, or a design, whose corridors are still to be sawn, leave ways."""
    built, design = (POCKET.format(stage=stage) for stage in ("as-built", "design"))
    shut = arc(report_of(built + STORM + RING))
    assert shut < 240
    assert arc(report_of(design + STORM + RING)) == 360
    laid = RING.replace("state blown", "method fell\n  cut-height 0ft\n  done 2026-02-21")
    assert arc(report_of(built + STORM + laid)) == 360


@pytest.mark.parametrize(
    ("storms", "opens"), [("", False), (STORM, True), (STORM + "storm 2026-08-02\n", False)]
)  # fmt: skip
def test_a_ride_opens_what_fell_before_it_was_sawn(report_of: Reports, storms: str, opens: bool) -> None:
    """Where no storm is told of, nobody knows when a tree was thrown; after the day, it lies over the ride."""
    plan = POCKET.format(stage="as-built").replace("  done 2026-02-20\nrow", "  done 2026-06-01\nrow")
    assert (arc(report_of(plan + storms + RING)) > arc(report_of(POCKET.format(stage="as-built") + RING))) is opens


@pytest.mark.parametrize(
    ("done", "through"), [("yes", True), ("2026-05-20", True), ("2026-02-20", False)]
)  # fmt: skip
def test_an_opening_goes_through_what_was_thrown_before_its_day(report_of: Reports, done: str, through: bool) -> None:
    opening = f"opening gap\n  at 30,35\n  width 4ft\n  toward N\n  done {done}\n"
    report = report_of(POCKET.format(stage="as-built") + STORM + RING + opening)
    assert strips(report.scene, WAY.way).through.any() == through
