"""What a broken line leaves without a place is told by its slip alone: no rule says that it could not judge."""

from __future__ import annotations

from collections.abc import Callable

import pytest

CUT = "row cover\n  in k\n  method hinge\n  stumps 10,20 30,20\n  count 2\n  fall N\n  dbh 8in\n"
POCKET = "pocket k\n  outline 0,0 40,0 40,40 0,40\n"


@pytest.mark.parametrize(
    ("plan", "rule"),
    [
        (POCKET + CUT + "path run\n  use travel\n  line 0,0\n", "pocket-unconnected"),
        ("path lane\n  use entry\n  line 0,0\nstand oak\n  at 5,5\n  reach lane\n", "stand-not-reached"),
        ("food clover\n  outline 0,0 60,0 60,40 0,40\npocket k\n  outline 0,50 60,50\n", "food-without-cover"),
    ],
)
def test_a_figure_that_hangs_on_a_broken_line_is_not_asked_for_again(
    told: Callable[..., list[str]], plan: str, rule: str
) -> None:
    lines = told(plan)
    assert any("open-outline" in line for line in lines)
    assert not any(rule in line for line in lines)


def test_a_figure_that_lacks_a_reason_of_its_own_is_still_asked_for(told: Callable[..., list[str]]) -> None:
    row = CUT.replace("  dbh 8in\n", "")
    assert any("hinge-too-big" in line and "no `dbh` is given" in line for line in told(POCKET + row))
