"""Jobs: which pieces of work there are, on what, and when."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.measures.crews import duties_of
from habitatlint.measures.jobs import jobs_of, pockets_of, steps_around

ReportOf = Callable[..., Report]

ROW = "row {name}\n  method {method}\n  stumps 10,{y} 50,{y}\n  spacing 10\n  fall N\n  dbh 8in\n"


def row(name: str, method: str = "hinge", y: int = 10, more: str = "") -> str:
    return ROW.format(name=name, method=method, y=y) + more


def column(report: Report, field: str) -> Column:
    return report.scene.table("jobs").column(field)


def names(report: Report) -> list[str]:
    return [job.block.name for job in jobs_of(report.scene)]


def test_what_is_left_or_only_fell_is_no_job(report_of: ReportOf) -> None:
    report = report_of(
        row("hinges") + row("den", "leave", 20) + "tree thrown\n  at 5,5\n  state blown\n  fall W\n"
        "opening gate\n  at 20,12\n  width 3ft\n  toward N\n"
        "release light\n  outline 0,0 60,0 60,60 0,60\n  basal-area 110 to 50 sqft/ac\n"
        "treatment again\n  of hinges\n  mix m\nmix m\n  label \"as the product's label says\"\n"
    )  # fmt: skip
    assert names(report) == ["hinges", "gate", "light", "again"]
    assert list(column(report, "sawn").values) == [True, True, True, False]
    assert list(column(report, "treatment").values) == [False, False, False, True]


def test_herbicide_is_hack_and_squirt_a_treated_stump_or_a_girdle_with_a_mix(report_of: ReportOf) -> None:
    report = report_of(
        row("a", "hack-and-squirt") + row("b", "fell", 20, "  stump-treatment planned\n")
        + row("c", "fell", 30, "  stump-treatment none\n") + row("d", "girdle", 40) + row("e", "girdle", 50, "  mix m\n")
        + row("f", "fell", 60, "  mix m\n") + "mix m\n  label \"as the product's label says\"\n"
    )  # fmt: skip
    assert dict(zip(names(report), column(report, "herbicide").values, strict=True)) == {
        "a": True, "b": True, "c": False, "d": False, "e": True, "f": True,
    }  # fmt: skip


def test_a_shared_mix_is_for_what_is_treated_and_makes_no_herbicide_work_of_a_hinge(report_of: ReportOf) -> None:
    report = report_of(
        "trees\n  mix m\n" + row("a") + row("b", "fell", 20) + row("c", "fell", 30, "  stump-treatment planned\n")
        + row("d", "frill", 40) + "mix m\n  label \"as the product's label says\"\n"
    )  # fmt: skip
    assert dict(zip(names(report), column(report, "herbicide").values, strict=True)) == {
        "a": False, "b": False, "c": True, "d": True,
    }  # fmt: skip
    # who does it and what the label says are one question, asked in two places
    assert [duty.herbicide for duty in duties_of(report.scene)] == [False, False, True, True]


def test_a_release_takes_the_species_of_the_timber_it_stands_in_and_not_of_that_beside_it(report_of: ReportOf) -> None:
    report = report_of(
        "timber oaks\n  outline 100,0 200,0 200,100 100,100\n  species white-oak\n"
        "timber maples\n  outline 0,0 100,0 100,100 0,100\n  species sugar-maple\n"
        "release light\n  outline 20,20 100,20 100,80 20,80\n  method fell\n"
    )  # fmt: skip
    assert list(column(report, "species").values) == [("sugar-maple",)]


def test_a_row_whose_line_is_broken_is_nowhere_and_not_all_over_its_pocket(report_of: ReportOf) -> None:
    thicket = "pocket k\n  outline 0,0 60,0 60,60 0,60\n"
    row_ = "row a\n  method frill\n  in k\n  spacing 10\n  stumps 10,10 {end}\n"
    patch = "patch b\n  method frill\n  in k\n  density 40 per acre\n"
    report = report_of(thicket + row_.format(end="oops") + patch)
    assert [shape is None for shape in column(report, "shape").values] == [True, False]
    assert [duty.ground is None for duty in duties_of(report.scene)] == [True, False]


def test_days_are_those_of_done_else_of_the_step(report_of: ReportOf) -> None:
    work = 'work\n  step 1 "One" 2026-03-01..2026-03-10\n  step 2 "Two"\n'
    report = report_of(
        row("a", more="  step 1\n") + row("b", y=20, more="  step 1\n  done 2026-02-20\n")
        + row("c", y=30, more="  step 1\n  done yes\n") + row("d", y=40, more="  step 2\n") + row("e", y=50) + work
    )  # fmt: skip
    last = column(report, "last")
    assert [date.fromordinal(int(day)) if known else None for day, known in zip(last.values, last.mask, strict=True)] == [
        date(2026, 3, 10), date(2026, 2, 20), date(2026, 3, 10), None, None,
    ]  # fmt: skip
    assert list(column(report, "finished").values) == [False, True, True, False, False]
    steps = report.scene.table("steps").column("jobs").values
    assert [list(rows) for rows in steps] == [[0, 1, 2], [3]]


def test_a_treatment_is_on_the_ground_and_the_species_of_its_cuts(report_of: ReportOf) -> None:
    report = report_of(
        row("a", more="  species red-maple\n") + row("b", y=20, more="  species red-maple white-ash\n")
        + "treatment again\n  of a b\n  mix m\nmix m\n  label \"as the product's label says\"\n"
    )  # fmt: skip
    assert column(report, "species").values[2] == ("red-maple", "white-ash")
    shape = column(report, "shape").values[2]
    assert shape.bounds[1] == column(report, "shape").values[0].bounds[1]
    assert shape.bounds[3] == column(report, "shape").values[1].bounds[3]


def test_a_release_is_on_the_species_of_the_timber_it_stands_in(report_of: ReportOf) -> None:
    report = report_of(
        "timber near\n  outline 0,0 60,0 60,60 0,60\n  species red-oak\n"
        "timber far\n  outline 100,0 160,0 160,60 100,60\n  species white-ash\n"
        "release light\n  outline 10,10 50,10 50,50 10,50\n  method logger\n"
    )
    assert column(report, "species").values[0] == ("red-oak",)
    assert not column(report, "unnamed").values[0]


def test_a_cut_is_in_the_pocket_it_names_or_stands_in(report_of: ReportOf) -> None:
    report = report_of(
        "pocket west\n  outline 0,0 60,0 60,60 0,60\npocket east\n  outline 100,0 160,0 160,60 100,60\n"
        + row("stands") + row("named", y=20, more="  in east\n")
        + "patch brush\n  outline 105,5 150,5 150,50 105,50\n  method hinge\n  density 20 per acre\n"
        "opening gate\n  at 20,12\n  width 3ft\n  toward N\n" + row("outside", y=200)
    )  # fmt: skip
    pockets = pockets_of(report.scene)
    found = {job.block.name: pockets.get(id(job.block), ()) for job in jobs_of(report.scene)}
    assert found == {"stands": (0,), "named": (1,), "brush": (1,), "gate": (0,), "outside": ()}


def test_a_plan_of_nothing_has_no_jobs(report_of: ReportOf) -> None:
    report = report_of("")
    assert names(report) == []
    assert len(column(report, "first")) == 0
    assert np.all(report.scene.table("steps").column("jobs").mask)


# -- other steps -----------------------------------------------------------------------------------------

#: cuts in steps 1, 2, 4 and 7, and a walk in step 6
WORK = "".join(row(f"of-{step}", y=20 * step, more=f"  step {step}\n") for step in (1, 2, 4, 7)) + (
    'task walk\n  text "walk"\n  step 6\ncrew saws\ncrew others\n'
)
ORDER = "work\n" + "".join(
    f'  step {step} "{step}"{f" by {crew}" if crew else ""}\n'
    for step, crew in ((1, "saws"), (2, "others"), (3, "saws"), (4, "saws"), (6, "saws"), (7, "saws"))
)


@pytest.mark.parametrize(
    ("more", "rest", "earlier", "later"),
    [
        # in step 3 of the saw crew: not in step 2, which is another crew's, nor in step 6, in which nothing is cut
        ("  step 3\n", WORK + ORDER, ("1",), ("4", "7")),
        # it names its crew itself, and takes it along
        ("  step 3\n  by saws\n", WORK + ORDER, ("2", "1"), ("4", "7")),
        ("", WORK + ORDER, (), ()),
        # without an order of work
        ("  step 3\n", WORK, ("2", "1"), ("4", "7", "8")),
        ("  step 3\n", "", ("2", "1"), ("4",)),
        ("  step 1\n", "", (), ("2",)),
    ],
)
def test_work_can_be_done_in_another_step_in_which_its_crew_cuts(
    report_of: ReportOf, more: str, rest: str, earlier: tuple[str, ...], later: tuple[str, ...]
) -> None:
    scene = report_of(row("mine", more=more) + rest).scene
    assert steps_around(scene, scene.plan.names["mine"]) == (earlier, later)
    for plural, field, steps in (("tree-works", "earlier-steps", earlier), ("cuts", "later-steps", later)):
        found = scene.table(plural).column(field)
        assert (found.values[0] if found.mask[0] else ()) == steps
    other = scene.table("jobs").column("other-steps")
    assert (other.values[0] if other.mask[0] else ()) == ((*later, *earlier) if ORDER in rest else ())


def test_a_dead_tree_that_stays_has_no_earlier_step(report_of: ReportOf) -> None:
    tree = "tree {}\n  at {},0\n  state dead\n  tree-height 60ft\n  step 2\n"
    scene = report_of(tree.format("ash", 0) + "  method fell\n" + tree.format("elm", 50)).scene
    found = scene.table("snags").column("earlier-steps")
    assert found.values[0] == ("1",) and found.mask.tolist() == [True, False]
