"""Danger trees on the sheets of work: what they can come down on stands first."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from habitatlint.check import Report
from habitatlint.outputs.papers.paper import Table
from habitatlint.outputs.papers.work import paper
from habitatlint.work.order import order_of

PLAN = """
hazard north-line
  kind wire
  line 0,30 100,30
hazard barn
  kind building
  outline 60,0 70,0 70,10 60,10
tree elm
  at 50,10
  state hung
  tree-height 60ft
tree far-elm
  at 50,200
  state hung
  tree-height 60ft
row poles
  method fell
  stumps 10,100 20,100
  spacing 10
  fall N
"""


def test_a_danger_tree_by_a_wire_is_for_the_lines_owner(report_of: Callable[..., Report]) -> None:
    report = report_of(PLAN)
    sections = paper(order_of(report), report, date(2026, 2, 10)).sections
    rows = next(part for part in next(one for one in sections if one.name == "danger-trees").parts
                if isinstance(part, Table)).rows  # fmt: skip
    near, far = (str(row[-1]) for row in rows)
    assert near.startswith(
        "within reach of wire north-line and building barn: call the line's owner; nobody works at it but qualified people"
    )
    assert "within reach" not in far
