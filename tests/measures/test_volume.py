"""Saw logs about to be killed, worked by hand; and what a tree's logs are taken to be."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.ground import curves
from habitatlint.ground.columns import Column
from habitatlint.language.blocks import Timber
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.measures.volume import _rounded, board_feet, doyle, height_in, logs, saw_logs, stacked_cords
from habitatlint.units import FOOT, INCH

ReportOf = Callable[..., Report]

WOODS = (
    "timber woods\n  outline 0,0 200,0 200,200 0,200\n  height 70ft\n  class 6in..12in 40 sqft/ac\n"
    "  class 12in..22in 60 sqft/ac\n  market yes\n"
)
#: 4840 square yards: an acre
RELEASE = "release canopy\n  outline 40,40 95,40 95,128 40,128\n  basal-area 100 to {left} sqft/ac\n  method {method}\n"


def measure(report: Report, row: int = 0, sawlog: float = 12) -> Measured:
    found = saw_logs(report.scene, Rows("tree-works", np.array([row])), Column("length", np.array([sawlog * INCH])))
    assert isinstance(found, Measured)
    return found


def board(report: Report, row: int = 0, sawlog: float = 12) -> float:
    found = measure(report, row, sawlog).value
    assert found.mask[0], found.why
    return float(found.values[0])


def told(report: Report) -> bool:
    return any(finding.rule == "order/market-timber" for finding in report.findings)


def test_the_logs_of_a_tree() -> None:
    # 16 in at breast height is 12.5 in at the top of the first log, and 10.5 and 8.5 at the next two
    assert logs(16 * INCH, 100 * FOOT) == pytest.approx([12.48, 10.48, 8.48])
    # half of 70 ft gives two of them, half of 40 one, half of 30 none
    assert [len(logs(16 * INCH, tall * FOOT)) for tall in (70, 40, 30)] == [2, 1, 0]
    assert logs(10 * INCH, 70 * FOOT) == []
    assert board_feet(16 * INCH, 70 * FOOT, "doyle") == pytest.approx(doyle(12.48, 16) + doyle(10.48, 16))


def test_a_log_of_just_8_inches_counts() -> None:
    assert logs(8 / 0.78 * INCH, 40 * FOOT) == pytest.approx([8.0])


def test_cords_of_stems_are_between_a_cones_well_stowed_and_a_paraboloids_loosely() -> None:
    # 10 sq ft of stems 60 ft tall: 200 cu ft as cones, at 90 to the cord; 300 as paraboloids, at 79
    found = stacked_cords(10 * FOOT**2, 60 * FOOT)
    assert (found.least, found.most) == pytest.approx((200 / 90, 300 / 79))


def test_two_places_of_a_figure_under_ten_are_whole_feet() -> None:
    assert [_rounded(number) for number in (0.0, 9.4, 9.6, 10.4, 99.6, 7768.0)] == [0, 9, 10, 10, 100, 7800]


def test_a_class_of_no_thickness_has_no_stems(report_of: ReportOf) -> None:
    report = report_of("timber woods\n  outline 0,0 200,0 200,200 0,200\n  class 0in..0in 40 sqft/ac\n")
    assert report.scene.table("timbers").column("stems").values.tolist() == [0]


def test_an_acre_of_saw_logs_girdled(report_of: ReportOf) -> None:
    # 60 sq ft of trees of 17 in, 1.5763 sq ft each, are 38.06 trees
    trees = 60 / (0.005454154 * 17**2)
    report = report_of('plan "Doyle"\n  log-rule doyle\n' + WOODS + RELEASE.format(left=40, method="girdle"))
    each = (17 * 0.78 - 4) ** 2 + (17 * 0.78 - 2 - 4) ** 2
    assert board(report) == pytest.approx(trees * each, rel=1e-6)
    assert told(report)


def test_the_largest_go_first_and_what_is_left_is_not_lost(report_of: ReportOf) -> None:
    whole = board(report_of(WOODS + RELEASE.format(left=40, method="girdle")))
    assert board(report_of(WOODS + RELEASE.format(left=70, method="girdle"))) == pytest.approx(whole / 2)
    assert board(report_of(WOODS + RELEASE.format(left=0, method="girdle"))) == pytest.approx(whole)
    assert board(report_of(WOODS + RELEASE.format(left=100, method="girdle"))) == 0


@pytest.mark.parametrize(
    ("method", "wood", "lost"),
    [("girdle", "", True), ("frill", "", True), ("hack-and-squirt", "", True), ("fell", "", False),
     ("fell", "logs", False), ("fell", "firewood", True), ("fell", "leave", True), ("logger", "logs", False)],
)  # fmt: skip
def test_what_loses_the_logs(report_of: ReportOf, method: str, wood: str, lost: bool) -> None:
    text = WOODS + RELEASE.format(left=40, method=method) + (f"  wood {wood}\n" if wood else "")
    assert told(report_of(text)) is lost


@pytest.mark.parametrize(
    ("market", "lost"), [("yes", True), ("no", False), ("from 2026", True), ("from 2027", False), ("", False)]
)
def test_the_plan_says_what_can_be_sold_and_from_when(report_of: ReportOf, market: str, lost: bool) -> None:
    woods = WOODS.replace("  market yes\n", f"  market {market}\n" if market else "")
    work = 'work\n  step 1 "Girdle" 2025-12-01..2026-02-20\n'
    assert told(report_of(woods + RELEASE.format(left=40, method="girdle") + "  step 1\n" + work)) is lost
    # without a step, by the plan's date
    head = 'plan "Dated"\n  date 2026-01-10\n'
    assert told(report_of(head + woods + RELEASE.format(left=40, method="girdle"))) is lost
    undated = measure(report_of(woods + RELEASE.format(left=40, method="girdle"))).value
    assert undated.mask[0] is np.bool_("from" not in market)


def test_rows_patches_and_trees_of_saw_log_size(report_of: ReportOf) -> None:
    each = board_feet(16 * INCH, 70 * FOOT, "international")
    row = "row big\n  method girdle\n  stumps 10,10 100,10\n  spacing 10\n  dbh 16in\n"
    assert board(report_of(WOODS + row)) == pytest.approx(10 * each)
    # half of it beyond the timber that can be sold
    out = row.replace("10,10 100,10", "-45,10 45,10")
    assert board(report_of(WOODS + out)) == pytest.approx(5 * each)
    patch = "patch big\n  method hinge\n  outline 40,40 95,40 95,128 40,128\n  density 20 per acre\n  dbh 16in\n"
    assert board(report_of(WOODS + patch)) == pytest.approx(20 * each)
    # of 8 to 16 in the half over 12, which are 14 in the middle
    ranged = row.replace("16in", "8in..16in")
    assert board(report_of(WOODS + ranged)) == pytest.approx(5 * board_feet(14 * INCH, 70 * FOOT, "international"))
    assert board(report_of(WOODS + row.replace("16in", "8in"))) == 0


def test_what_is_not_known_is_told(report_of: ReportOf) -> None:
    silent = "release canopy\n  outline 40,40 95,40 95,128 40,128\n  method girdle\n"
    found = measure(report_of(WOODS + silent)).value
    assert not found.mask[0] and "basal-area" in found.why
    bare = "timber woods\n  outline 0,0 200,0 200,200 0,200\n  market yes\n"
    found = measure(report_of(bare + RELEASE.format(left=40, method="girdle"))).value
    assert not found.mask[0] and "class" in found.why
    row = "row big\n  method girdle\n  stumps 10,10 100,10\n  spacing 10\n"
    found = measure(report_of(WOODS + row)).value
    assert not found.mask[0] and "dbh" in found.why
    # where nothing can be sold, nothing is asked
    unsold = WOODS.replace("market yes", "market no")
    assert measure(report_of(unsold + silent)).value.mask[0] and not told(report_of(unsold + silent))


def test_the_figure_is_told_to_two_places(report_of: ReportOf) -> None:
    report = report_of(WOODS + RELEASE.format(left=40, method="girdle"))
    about = measure(report).parts["about"](np.array([0])).values[0]
    assert about == 7800 and board(report) == pytest.approx(7800, abs=60)


def test_a_release_beside_timber_that_can_be_sold_takes_nothing_of_it(report_of: ReportOf) -> None:
    beside = "release canopy\n  outline -50,0 0,0 0,50 -50,50\n  method girdle\n"
    assert board(report_of(WOODS + beside)) == 0


def test_the_height_of_a_timbers_trees_is_as_written_or_by_the_published_curve(report_of: ReportOf) -> None:
    tall = WOODS.replace("70ft", "100ft")
    (written,) = report_of(tall).scene.plan.of(Timber)
    assert height_in(written, 16 * INCH) == height_in(written, 8 * INCH) == pytest.approx(100 * FOOT)
    # three logs of 16 ft in half of 100 ft
    row = "row big\n  method girdle\n  stumps 10,10 100,10\n  spacing 10\n  dbh 16in\n"
    assert board(report_of(tall + row)) == pytest.approx(10 * board_feet(16 * INCH, 100 * FOOT, "international"))
    (bare,) = report_of(WOODS.replace("  height 70ft\n", "  species red-oak\n")).scene.plan.of(Timber)
    for dbh in (8 * INCH, 16 * INCH):
        assert height_in(bare, dbh) == pytest.approx(float(curves.height(("red-oak",), np.array(dbh))))


def test_what_a_release_takes_of_a_corner_of_timber_goes_by_the_corners_ground(report_of: ReportOf) -> None:
    # of a strip 4 yd wide a tenth of a yard lies in the timber: a third of a square metre, of an acre's 4840 sq yd
    strip = (
        "release canopy\n  outline 40,-50 44,-50 44,{end} 40,{end}\n  basal-area 100 to 40 sqft/ac\n  method girdle\n"
    )
    whole = board(report_of(WOODS + RELEASE.format(left=40, method="girdle")))
    assert board(report_of(WOODS + strip.format(end=0.1))) == pytest.approx(whole * 0.4 / 4840, rel=1e-6)
    # timber that it only touches is not asked for its classes
    bare = "timber woods\n  outline 0,0 200,0 200,200 0,200\n  market yes\n"
    assert not measure(report_of(bare + strip.format(end=0.1))).value.mask[0]
    assert measure(report_of(bare + strip.format(end=0))).value.mask[0]
