"""Odd ground and missing words: each is judged, or told as not judged, and nothing raises."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from habitatlint.check import Report
from habitatlint.outputs.sentences import message

Reports = Callable[..., Report]
EXAMPLES = Path(__file__).resolve().parents[2] / "examples"

BOUNDARY = "boundary\n  outline 0,0 400,0 400,400 0,400\n"
CLOVER = "food clover\n  kind plot\n  outline 20,20 100,20 100,60 20,60\n"
LANE = "path lane\n  use entry\n  line 0,200 180,200\n"
STAND = "stand oak\n  at 182,201\n  reach lane\n  winds NW\n  sit evening\n  range 30yd\n"
POCKET = "pocket thicket\n  for does\n  outline 120,120 180,120 180,180 120,180\n  bed 150,150\n"
ROW = "row hinges\n  in thicket\n  method hinge\n  stumps 125,130 175,130\n  spacing 10\n  fall N\n  dbh 7in\n"
RUN = "path run\n  use travel\n  line 110,110 110,250\n"
WINDS = "winds autumn\n  from NW 60% 8mph\n  from S 35% 8mph\n  calm 5%\n"


def notes(report: Report, rule: str = "") -> list[str]:
    """What was not judged, of one rule or of all."""
    told = [message(one, report.units) for one in report.findings if one.rule == "record/not-judged"]
    return [one for one in told if rule in one]


def told(report: Report) -> set[str]:
    return {finding.rule for finding in report.findings}


def test_a_pocket_without_beds_is_judged_by_its_ground(report_of: Reports) -> None:
    without = POCKET.replace("  bed 150,150\n", "")
    report = report_of(BOUNDARY + without + ROW + RUN)
    assert "record/syntax" not in told(report)
    assert not notes(report, "open-arc")
    wall = "hazard pen\n  line 130,140 170,140 170,170 130,170 130,140\n  kind fence\n  barrier yes\n"
    assert "escape/dead-end" in told(report_of(BOUNDARY + without + ROW + RUN + wall))


def test_a_pocket_without_cuts_is_not_told_of_ways_out(report_of: Reports) -> None:
    wall = "hazard pen\n  line 130,140 170,140 170,170 130,170 130,140\n  kind fence\n  barrier yes\n"
    report = report_of(BOUNDARY + POCKET + RUN + wall)
    assert not {rule for rule in told(report) if rule.startswith("escape/")}
    assert not notes(report)


def test_a_pocket_that_covers_the_whole_property(report_of: Reports) -> None:
    whole = "pocket all-of-it\n  outline 0,0 400,0 400,400 0,400\n  bed 200,200\n"
    report = report_of(BOUNDARY + whole + ROW.replace("in thicket", "in all-of-it") + LANE + STAND + WINDS)
    assert "escape/far-from-corridor" in told(report)
    assert "entry/entry-through-cover" in told(report)


def test_a_bed_outside_its_pocket_is_told_as_that_alone(report_of: Reports) -> None:
    report = report_of(BOUNDARY + POCKET.replace("150,150", "250,250") + ROW + RUN)
    assert "record/bed-outside-pocket" in told(report)
    assert "escape/open-arc" not in told(report)
    assert not notes(report, "open-arc")


def test_a_bed_under_a_top_says_so(report_of: Reports) -> None:
    report = report_of(BOUNDARY + POCKET.replace("150,150", "145,144") + ROW + RUN)
    (finding,) = [one for one in report.findings if one.rule == "escape/open-arc"]
    assert "lies under a top" in message(finding, "yd")


def test_without_a_boundary_core_is_not_judged_and_says_so(report_of: Reports) -> None:
    report = report_of(POCKET + ROW + RUN)
    assert any("`boundary`" in note for note in notes(report))
    assert not notes(report_of(BOUNDARY + POCKET + ROW + RUN), "boundary")


def test_without_a_wind_record_hours_are_not_judged_and_say_so(report_of: Reports) -> None:
    plan = BOUNDARY + CLOVER + POCKET + ROW + RUN + LANE + STAND
    assert any("`winds` record" in note for note in notes(report_of(plan)))
    assert not any("`winds` record" in note for note in notes(report_of(plan + WINDS)))
    assert not notes(report_of(BOUNDARY + POCKET + ROW + RUN), "wind")


def test_a_record_of_130_percent_is_told_and_its_hours_are_not_counted(report_of: Reports) -> None:
    plan = BOUNDARY + CLOVER + POCKET + ROW + RUN + LANE + STAND
    report = report_of(plan + WINDS.replace("60%", "90%"))
    assert "record/winds-do-not-add" in told(report)
    assert any("few-clean-hours" in note or "no-clean-wind" in note for note in notes(report))


def test_without_species_and_dbh_what_needs_them_says_so(report_of: Reports) -> None:
    report = report_of(BOUNDARY + POCKET + ROW.replace("  dbh 7in\n", "") + RUN)
    assert any("`dbh`" in note for note in notes(report))
    # cover and ways out rest on the usual tree, and say that sizes are estimated
    estimated = [one for one in report.findings if one.measured is not None and one.measured.estimated]
    assert all(one.rule.split("/")[0] in ("escape", "entry", "felling", "order") for one in estimated)


@pytest.mark.parametrize("cut", [
    "row none\n  in thicket\n  method hinge\n  stumps 130,130 130.2,130\n  count 1\n  fall N\n",
    "patch brush\n  in thicket\n  method hinge\n  density 0 per acre\n  fall N\n",
    "",
])  # fmt: skip
def test_next_to_no_trees_raise_nothing(report_of: Reports, cut: str) -> None:
    report = report_of(BOUNDARY + CLOVER + POCKET + RUN + LANE + STAND + WINDS + cut)
    assert report.plan.of


def test_everything_on_one_point(report_of: Reports) -> None:
    trees = "".join(
        f"tree t{number}\n  at 150,150\n  method hinge\n  fall {number * 30}deg\n  dbh 8in\n" for number in range(12)
    )
    here = (
        "stand oak\n  at 150,150\n  winds NW\n  sit evening\nhazard wire\n  at 150,150\n  kind wire\n"
        "place gate\n  at 150,150\n  kind gate\nopening gap\n  at 150,150\n  width 3ft\n  toward N\n"
    )
    report = report_of(BOUNDARY + POCKET + RUN + trees + here)
    assert "escape/no-lie" in told(report)
    assert "felling/fall-onto-hazard" in told(report)


def test_a_stand_without_a_path_is_told(report_of: Reports) -> None:
    report = report_of(BOUNDARY + CLOVER + POCKET + ROW + RUN + STAND.replace("  reach lane\n", "") + WINDS)
    assert "entry/stand-not-reached" in told(report)


def test_a_plan_of_patches_alone_is_told_what_it_can_be(report_of: Reports) -> None:
    patch = "patch brush\n  in thicket\n  method hinge\n  density 300 per acre\n  fall N\n  dbh 8in\n"
    report = report_of(BOUNDARY + CLOVER + POCKET + RUN + LANE + STAND + WINDS + patch)
    assert "escape/roofed-pocket" in told(report)  # by expectation
    for rule in ("open-arc", "dead-end", "closed-v"):
        assert notes(report, rule), rule
    assert len(notes(report)) <= 6  # notes of one reason are told together


def test_a_road_across_everything_and_a_pond_that_is_a_point(report_of: Reports) -> None:
    hazards = (
        "hazard road\n  kind road\n  line -50,150 450,150\nhazard pond\n  kind water\n  at 150,140\n  barrier yes\n"
    )
    report = report_of(BOUNDARY + CLOVER + POCKET + ROW + RUN + hazards)
    assert "felling/fall-onto-hazard" in told(report)


def test_a_name_borne_by_two_blocks_is_told_and_breaks_nothing(report_of: Reports) -> None:
    """A head typed twice leaves an empty block of the same name before the whole one."""
    sample = (EXAMPLES / "fallow-ridge.habitat").read_text(encoding="utf-8").splitlines()
    heads = [number for number, line in enumerate(sample) if line[:1].isalpha() and len(line.split()) > 1]
    assert len(heads) > 12
    for number in heads:
        report = report_of("\n".join([*sample[: number + 1], *sample[number:]]))
        assert any(finding.rule.startswith("record/") and finding.span.line >= number for finding in report.findings), (
            sample[number]
        )
