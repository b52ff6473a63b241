"""Herbicide: cuts and quantities by the label's own figures, what a label says, and what is overdue."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.herbicide import covers, has_registration, says_none, treatment_late
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.units import GALLON

ReportOf = Callable[..., Report]

KILL = "row kill\n  method hack-and-squirt\n  stumps 10,10 50,10\n  spacing 10\n  species red-maple\n"
STUMPS = "row screen\n  method fell\n  stumps 10,30 50,30\n  spacing 10\n  fall E\n  dbh 8in\n  species red-maple\n"
MIX = 'mix stem-mix\n  label "as the product\'s label says"\n'


def told(report: Report, rule: str) -> list[str]:
    return [finding.level.name for finding in report.findings if finding.rule == f"order/{rule}"]


def one(report: Report, field: str, plural: str = "jobs") -> float | None:
    column: Column = report.scene.table(plural).column(field)
    return float(column.values[0]) if column.mask[0] else None


def unjudged(report: Report) -> str:
    return " ".join(str(finding.facts["x.found"].value) for finding in report.findings
                    if finding.rule == "record/not-judged")  # fmt: skip


# -- quantities ------------------------------------------------------------------------------------------


def test_cuts_of_a_row_are_those_of_its_trees(report_of: ReportOf) -> None:
    # five trees of 8 in, the middle of 6 to 10: eight cuts each
    assert one(report_of(KILL + "  dbh 6in..10in\n"), "hacks") == 40
    assert one(report_of(KILL), "hacks") is None


def test_cuts_of_a_patch_go_by_its_density(report_of: ReportOf) -> None:
    # 48.4 by 100 yd are an acre
    acre = "patch brush\n  outline 0,0 48.4,0 48.4,100 0,100\n  method hack-and-squirt\n  density 250 per acre\n  dbh 3in\n"
    assert one(report_of(acre), "trees") == pytest.approx(250)
    assert one(report_of(acre), "hacks") == pytest.approx(750)


def test_a_patch_without_its_own_outline_is_all_of_its_pocket(report_of: ReportOf) -> None:
    acre = "pocket thick\n  outline 0,0 48.4,0 48.4,100 0,100\n"
    patch = "patch brush\n  in {pocket}\n  method hack-and-squirt\n  density 250 per acre\n  dbh 3in\n"
    assert one(report_of(acre + patch.format(pocket="thick")), "trees") == pytest.approx(250)
    half = patch.format(pocket="thick") + "  outline 0,0 48.4,0 48.4,50 0,50\n"
    assert one(report_of(acre + half), "trees") == pytest.approx(125)
    assert one(report_of(acre + patch.format(pocket="thin")), "trees") is None


def test_the_volume_is_the_labels_dose_a_cut_and_nothing_without_it(report_of: ReportOf) -> None:
    dosed = MIX + "  per-hack 1 mL\n"
    kill = KILL + "  dbh 8in\n  mix stem-mix\n"
    assert one(report_of(kill + dosed), "volume") == pytest.approx(0.040)  # litres
    assert one(report_of(kill + MIX + "  per-hack 0.01 gal\n"), "volume") == pytest.approx(0.4 * GALLON)
    assert one(report_of(kill + MIX), "volume") is None
    assert one(report_of(KILL + "  dbh 8in\n" + dosed), "volume") is None
    assert one(report_of(kill + "mix stem-mix\n  per-hack 1 mL\n"), "volume") is None


def test_people_stay_out_of_a_step_as_long_as_its_longest_label_says(report_of: ReportOf) -> None:
    plan = (
        KILL + "  dbh 8in\n  mix short\n  step 1\n" + STUMPS + "  stump-treatment planned\n  mix long\n  step 1\n"
        'mix short\n  label "a"\n  reentry 12 hours\nmix long\n  label "b"\n  {more}\n'
        'work\n  step 1 "Spray" 2026-02-20\n'
    )  # fmt: skip
    assert one(report_of(plan.format(more="reentry 48 hours")), "reentry", "steps") == 48
    # one that does not say may be the longest
    assert one(report_of(plan.format(more="aquatic no")), "reentry", "steps") is None


# -- labels ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("label", "none", "registered"),
    [
        ("Reg. 00000-000", False, True),
        ("No. 00000-000", False, True),
        ("as the product's label says", False, False),
        ("see the label on the jug", False, False),
        ("", True, False),
        ("???", True, False),
        ("None", True, False),
        ("not yet chosen", True, False),
        ("home-made", True, False),
        ("nonesuch stump killer, as its label says", False, False),
    ],
)
def test_what_a_label_says_of_its_registration(label: str, none: bool, registered: bool) -> None:
    assert says_none(label) is none
    assert has_registration(label) is registered


def test_a_label_still_to_be_read_off_the_product_is_no_fault(report_of: ReportOf) -> None:
    assert told(report_of(KILL + "  dbh 8in\n  mix stem-mix\n" + MIX), "mix-without-label") == []


def test_no_mix_is_a_warning_and_no_label_an_error(report_of: ReportOf) -> None:
    assert told(report_of(KILL + "  dbh 8in\n"), "mix-without-label") == ["warning"]
    none = KILL + '  dbh 8in\n  mix stem-mix\nmix stem-mix\n  label "none"\n'
    assert told(report_of(none), "mix-without-label") == ["error"]
    # a mix that is nowhere is told as a slip; that nobody uses one is no matter
    assert told(report_of('mix stem-mix\n  label "none"\n'), "mix-without-label") == []


@pytest.mark.parametrize(
    ("control", "species", "stands"),
    [("red-maple", "red-maple", True), ("maple", "red-maple", True), ("red-maple", "maple", True),
     ("red-maple", "sugar-maple", False), ("maple", "apple", False), ("hardwoods", "white-ash", True),
     ("hardwoods", "white-pine", False), ("oak", "northern-red-oak", True)],
)  # fmt: skip
def test_what_a_name_on_a_label_stands_for(control: str, species: str, stands: bool) -> None:
    assert covers(control, species) is stands


def test_species_are_compared_where_the_label_is_known(report_of: ReportOf) -> None:
    kill = KILL + "  dbh 8in\n  mix stem-mix\n"
    assert told(report_of(kill + MIX + "  controls white-ash\n"), "mix-not-for-species") == ["warning"]
    settled = report_of(kill + 'mix stem-mix\n  label "Reg. 00000-000"\n')
    assert told(settled, "mix-not-for-species") == [] and "mix-not-for-species" in unjudged(settled)
    open_ = report_of(kill + MIX)
    assert told(open_, "mix-not-for-species") == [] and "mix-not-for-species" not in unjudged(open_)


def test_each_species_a_label_leaves_out_is_told(report_of: ReportOf) -> None:
    both = KILL.replace("red-maple", "red-maple american-beech white-ash") + "  dbh 8in\n  mix stem-mix\n"
    assert len(told(report_of(both + MIX + "  controls red-maple\n"), "mix-not-for-species")) == 2


# -- water -----------------------------------------------------------------------------------------------

CREEK = "hazard creek\n  kind water\n  line 0,0 100,0\n"


def test_near_water_the_label_must_say_so(report_of: ReportOf) -> None:
    kill = KILL + "  dbh 8in\n  mix stem-mix\n"
    assert told(report_of(CREEK + kill + MIX + "  aquatic no\n"), "mix-near-water") == ["error"]
    assert told(report_of(CREEK + kill + MIX), "mix-near-water") == ["error"]
    assert told(report_of(CREEK + KILL + "  dbh 8in\n"), "mix-near-water") == ["error"]
    assert told(report_of(CREEK + kill + MIX + "  aquatic yes\n"), "mix-near-water") == []
    assert told(report_of(CREEK.replace("water", "road") + kill + MIX), "mix-near-water") == []


def test_a_label_that_asks_more_is_set_as_the_limit(report_of: ReportOf) -> None:
    kill = KILL.replace(",10", ",20") + "  dbh 8in\n  mix stem-mix\n"  # 60 ft off
    assert told(report_of(CREEK + kill + MIX), "mix-near-water") == []
    assert told(report_of("set mix-near-water.near 100ft\n" + CREEK + kill + MIX), "mix-near-water") == ["error"]


def test_a_row_is_as_near_as_its_stumps(report_of: ReportOf) -> None:
    # the line runs into the creek, the last stump stands 30 yd short of it
    row = "row kill\n  method hack-and-squirt\n  stumps 50,90 50,0\n  spacing 60\n  dbh 8in\n  mix stem-mix\n"
    assert told(report_of(CREEK + row + MIX), "mix-near-water") == []


def test_a_mix_that_is_named_and_nowhere_is_told_as_a_slip_alone(report_of: ReportOf) -> None:
    for mix in ("  mix gone\n", "  mix\n"):
        report = report_of(CREEK + KILL + "  dbh 8in\n" + mix)
        assert any(finding.firm for finding in report.findings)
        for rule in ("mix-without-label", "mix-near-water", "mix-not-for-species"):
            assert told(report, rule) == []
    report = report_of(STUMPS + "treatment again\n  of screen\n")
    assert any(finding.firm for finding in report.findings) and told(report, "mix-without-label") == []


# -- in time ---------------------------------------------------------------------------------------------


def late(report: Report) -> list[str]:
    return [
        date.fromordinal(int(finding.facts["late.due"].value)).isoformat()  # type: ignore[call-overload]
        for finding in report.findings
        if finding.rule == "order/treatment-late"
    ]


def waiting(done: str, more: str = "") -> str:
    return STUMPS + f"  stump-treatment planned\n  mix stem-mix\n  done {done}\n{more}" + MIX


def test_what_was_cut_after_its_step_has_its_thirty_days(report_of: ReportOf) -> None:
    work = 'work\n  step 1 "Fell" 2026-01-05..2026-01-10\n'
    plan = waiting("2026-01-12", "  step 1\n") + work
    assert late(report_of(plan, today=date(2026, 2, 11))) == []
    assert late(report_of(plan, today=date(2026, 2, 12))) == ["2026-02-11"]


def test_a_cut_done_on_no_day_and_in_no_step_is_not_judged(report_of: ReportOf) -> None:
    report = report_of(waiting("yes"))
    assert late(report) == [] and "treatment-late" in unjudged(report)
    work = 'work\n  step 1 "Fell" 2026-01-05..2026-01-10\n'
    assert late(report_of(waiting("yes", "  step 1\n") + work)) == ["2026-01-10"]


def test_a_treatment_without_days_excuses_no_stump(report_of: ReportOf) -> None:
    someday = "treatment again\n  of screen\n  mix stem-mix\n"
    assert late(report_of(waiting("2025-12-01") + someday)) == ["2025-12-31"]
    assert late(report_of(waiting("2025-12-01") + someday + "  done 2026-01-02\n")) == []


def test_a_treatment_is_due_at_the_end_of_its_step_until_it_is_done(report_of: ReportOf) -> None:
    treatment = "treatment again\n  of screen\n  mix stem-mix\n  step 1\n{done}"
    plan = STUMPS + MIX + treatment + 'work\n  step 1 "Spray" 2026-01-05..2026-01-10\n'
    assert late(report_of(plan.format(done=""))) == ["2026-01-10"]
    assert late(report_of(plan.format(done="  done 2026-02-01\n"))) == []


def test_each_of_several_stumps_is_looked_at(report_of: ReportOf) -> None:
    others = [
        STUMPS.replace("screen", name).replace(",30", f",{north}")
        for name, north in (("standing", 50), ("unknown", 70), ("apart", 90))
    ]
    others[1] += "  stump-treatment planned\n  mix stem-mix\n  done yes\n"
    others[2] += "  stump-treatment planned\n  mix stem-mix\n  done 2025-12-01\n"
    treated = "treatment again\n  of apart\n  mix stem-mix\n  done 2026-01-02\n"
    report = report_of("".join(others) + treated + waiting("2025-12-01"))
    assert late(report) == ["2025-12-31"] and "treatment-late" in unjudged(report)


def test_a_stump_whose_state_is_none_waits_for_nothing(report_of: ReportOf) -> None:
    assert late(report_of(waiting("2025-01-01").replace("planned", "none"))) == []
    assert np.isnan(report_of(STUMPS).scene.table("jobs").column("volume").values[0])


@pytest.mark.parametrize(
    ("mixes", "only"),
    [
        (MIX, True),
        ("", False),
        (MIX + MIX.replace("stem-mix", "stump-mix"), False),
        ('mix shed-mix\n  label "none (home-made)"\n', False),
    ],
)
def test_a_plan_has_one_mix_where_it_has_no_other_and_that_has_a_label(
    report_of: ReportOf, mixes: str, only: bool
) -> None:
    assert (one(report_of(KILL + mixes), "mix", "plans") == 0) is only


WORK = 'work\n  step 1 "a" 2026-01-05..2026-01-20\n  step 3 "c" 2026-06-10..2026-06-20\n  step 2 "b" 2026-05-01\n'


@pytest.mark.parametrize(
    ("today", "step"), [(date(2026, 2, 10), 2), (date(2026, 5, 1), 2), (date(2026, 5, 2), 3), (date(2026, 6, 11), None)]
)
def test_the_next_step_is_the_first_that_is_still_to_begin(report_of: ReportOf, today: date, step: int | None) -> None:
    scene = report_of(STUMPS + WORK).scene
    days, grace = Column("date", np.array([today.toordinal()])), Column("duration", np.array([30 * 24.0]))
    found = treatment_late(scene, Rows("jobs", np.array([0])), days, grace)
    assert isinstance(found, Measured)
    following = found.parts["next"](np.array([0]))
    assert (following.values[0] if following.mask[0] else None) == step
