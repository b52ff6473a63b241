"""What is done where and why, as the owner reads it: nothing that is done is left out, and it stands where it lies."""

from __future__ import annotations

from collections.abc import Callable

from habitatlint.check import Report
from habitatlint.language.blocks import Pocket
from habitatlint.outputs.papers import ground
from habitatlint.outputs.papers.paper import Section, Table

Check = Callable[..., Report]

PLAN = """\
plan "Withy"
  date 2026-02-10

pocket doe-side
  outline 50,130 150,130 150,200 50,200

release doe-light
  outline 45,125 155,125 155,205 45,205
  basal-area 90 to 50 sqft/ac
  step 1

release aside
  outline 145,130 300,130 300,200 145,200
  basal-area 90 to 50 sqft/ac
  step 1

row thicket
  in doe-side
  method hinge
  stumps 60,140 140,140
  spacing 20
  step 2

planting lane-hedge
  kind screen
  line 320,36 188,37
  species white-spruce balsam-fir
  height 6ft from 2031
  step 3

planting understory
  kind cover
  outline 60,140 90,140 90,170 60,170
  step 3

task mow
  at 300,300
  text "Mow it."

task look
  at 100,150
  text "Look after leaf-out"
  why "Tops shift."
  note "Bring the map"
"""


def table(section: Section | None) -> list[tuple[str, ...]]:
    assert section is not None
    return next(list(part.rows) for part in section.parts if isinstance(part, Table) and part.title == "What is done")


def test_what_lies_over_a_pocket_stands_under_it_in_the_order_of_work(report_of: Check) -> None:
    report = report_of(PLAN)
    (pocket,) = report.plan.of(Pocket)
    rows = table(ground.pocket(report, pocket))
    assert [row[:2] for row in rows] == [
        ("1", "release doe-light"), ("2", "row thicket"), ("3", "planting understory"), ("", "task look"),
    ]  # fmt: skip
    assert rows[-1][-1] == "Tops shift. Bring the map."


def test_plantings_and_tasks_are_told_with_what_is_planted(report_of: Check) -> None:
    rows = table(ground.elsewhere(report_of(PLAN)))
    assert rows == [
        ("1", "release aside", "fell", "", ""),
        ("3", "planting lane-hedge", "plant a screen of white spruce and balsam fir, 6 ft high from 2031", "", ""),
        ("", "task mow", "Mow it", "", ""),
    ]


def test_each_piece_of_work_stands_once(report_of: Check) -> None:
    report = report_of(PLAN)
    rows = table(ground.elsewhere(report)) + table(ground.pocket(report, report.plan.of(Pocket)[0]))
    assert sorted(row[1] for row in rows) == sorted(
        f"{block.noun} {block.name}" for block in report.plan.blocks if block.noun not in ("plan", "pocket")
    )
