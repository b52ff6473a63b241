"""What rules see: every field of every plural has a value for each of its rows."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.measures.vocabulary import VOCABULARY

ReportOf = Callable[..., Report]

HEAD = 'plan "Whole"\n  anchor 43N,90W\n  hunted 11-07..01-18\n  date 2026-01-10\n'
GROUND = """boundary
  outline 0,0 400,0 400,400 0,400
pocket thicket
  outline 100,100 200,100 200,200 100,200
  bed 150,150
row cover
  method hinge
  stumps 110,110 190,110
  spacing 10
  fall N
  dbh 8in
  step 1
food clover
  outline 300,300 340,300 340,340 300,340
path lane
  use entry
  line 0,40 300,40
stand oak
  at 302,42
  reach lane
  winds S SW
mix stumps
  label "EPA 000-000"
work
  step 1 "Cut" 2026-02-01..2026-02-20
"""


@pytest.mark.parametrize("text", ["", HEAD, GROUND, HEAD + GROUND], ids=["nothing", "a head", "no head", "a plan"])
def test_every_field_has_a_value_for_each_row_of_its_plural(report_of: ReportOf, text: str) -> None:
    scene = report_of(text).scene
    fields = 0
    for plural, kinds in VOCABULARY.fields.items():
        if plural == "slips":  # no things on the ground
            continue
        table = scene.table(plural)
        assert set(kinds) <= set(table.fields)
        for field, kind in kinds.items():
            column = table.column(field)
            assert len(column) == len(column.mask) == table.size, f"{plural}.{field}"
            assert column.kind == kind, f"{plural}.{field}"
            fields += 1
    assert fields > 400 and scene.table("plans").size == 1
