"""The plan on the ground: what is cut and done, which north is meant, and what leaves the property."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.findings import Fact
from habitatlint.ground.cuts import CutTrees
from habitatlint.units import YARD

ROW = "row r\n  method hinge\n  stumps 0,5 0,5.5\n  count 1\n  fall N\n  dbh 8in\n"


@pytest.fixture
def trees(report_of: Callable[..., Report]) -> Callable[[str], CutTrees]:
    return lambda text: report_of(text, fragment=False).scene.trees


@pytest.mark.parametrize(
    ("stage", "state", "lies", "live"),
    [
        ("design", "standing", True, True),
        ("design", "hung", True, True),
        ("design", "dead", True, False),
        ("design", "blown", True, False),
        ("as-built", "standing", False, False),
        ("as-built", "hung", False, True),
        ("as-built", "dead", False, False),
        ("as-built", "down", True, True),
        ("as-built", "blown", True, False),
    ],
)
def test_a_design_counts_a_cut_whatever_the_tree_is_now(
    trees: Callable[[str], CutTrees], stage: str, state: str, lies: bool, live: bool
) -> None:
    found = trees(f'plan "X"\n  stage {stage}\n{ROW}  state {state}\n  done yes\n')
    assert found.lies.tolist() == [lies] and found.live.tolist() == [live]


@pytest.mark.parametrize(
    ("text", "finished"),
    [
        (ROW, False),
        (ROW + "  done 2026-01-02\n", True),
        (ROW + "  done yes\n", True),
        (ROW + "  done 2026-02-30\n", True),
        (ROW + "trees\n  done yes\n", True),
        (ROW + "trees\n  done 2026-02-30\n", True),
    ],
    ids=["not", "date", "yes", "broken", "shared", "shared and broken"],
)
def test_done_is_decided_in_one_place(report_of: Callable[..., Report], text: str, finished: bool) -> None:
    report = report_of(f'plan "X"\n  stage as-built\n{text}', fragment=False)
    row = report.plan.names["r"]
    assert report.plan.finished(row) is report.plan.counted(row) is finished
    assert report.scene.trees.counted.tolist() == [finished]


def test_done_of_a_row_is_done_of_its_trees_and_a_tree_that_lies_counts(report_of: Callable[..., Report]) -> None:
    text = f'plan "X"\n  stage as-built\n{ROW}  done yes\ntree a\n  of r 1\ntree b\n  at 9,9\n  state blown\n'
    plan = report_of(text, fragment=False).plan
    assert plan.finished(plan.names["a"]) and not plan.finished(plan.names["b"]) and plan.counted(plan.names["b"])


def test_magnetic_north_is_turned_by_the_model_of_the_date(report_of: Callable[..., Report]) -> None:
    """Against the World Magnetic Model as the library pygeomag computes it from its own file of coefficients."""
    from pygeomag import GeoMag

    text = 'plan "X"\n  north magnetic\n  date 2026-02-10\n  anchor 43.7000N,70.6000W\npath p\n  line from 0,0 then N 100\n'
    expected = GeoMag().calculate(glat=43.7, glon=-70.6, alt=0, time=2026 + 40 / 365).d
    assert expected < -10
    for head in (text, text.replace("  date", "  declination computed\n  date")):
        report = report_of(head, fragment=False)
        (_, _), (east, north) = report.scene.shape_of(report.plan.names["p"]).coords  # type: ignore[union-attr]
        assert np.degrees(np.arctan2(east, north)) == pytest.approx(expected, abs=0.01)
    given = report_of(text.replace("  date", "  declination 3W\n  date"), fragment=False)
    assert given.scene.placer.to_true == -3


@pytest.mark.parametrize(
    ("boundary", "thing", "yards"),
    [
        # a notch 80 deep, crossed 10 below its mouth: the middle of its 100 is 50 from either side
        (["0,0 300,0 300,100 200,100 200,20 100,20 100,100 0,100"], "path p\n  use travel\n  line 50,90 250,90", 50),
        # a hole of 100 by 100 crossed through its middle
        (["0,0 300,0 300,300 0,300", "100,100 200,100 200,200 100,200"], "path p\n  line 50,150 250,150", 50),
        # the hole filled by an outline whose corners all lie inside the property
        (["0,0 300,0 300,300 0,300", "100,100 200,100 200,200 100,200"],
         "core c\n  outline 90,90 210,90 210,210 90,210", 50),
        # a corner is as far out as it was
        (["0,0 100,0 100,100 0,100"], "core c\n  outline 60,60 140,60 140,90 60,90", 40),
    ],
    ids=["notch", "hole", "hole filled", "corner"],
)  # fmt: skip
def test_what_leaves_the_property_between_its_corners(
    report_of: Callable[..., Report], boundary: list[str], thing: str, yards: float
) -> None:
    text = "boundary\n" + "".join(f"  outline {outline}\n" for outline in boundary) + f"{thing}\n"
    (found,) = [one for one in report_of(text).findings if one.rule == "record/off-property"]
    assert isinstance(found.measured, Fact)
    assert found.measured.value == pytest.approx(yards * YARD, abs=YARD)


def test_what_stays_inside_is_not_told(report_of: Callable[..., Report]) -> None:
    text = "boundary\n  outline 0,0 300,0 300,100 0,100\npath p\n  line 0,0 300,100\n"
    assert [one for one in report_of(text).findings if one.rule == "record/off-property"] == []
