"""Large invented plans for the benchmarks: the same make of ground at any size."""

from __future__ import annotations

import math


def grown_blocks(number: int) -> str:
    """A design of so many stands with walks, timbers, releases and rows of one place each: what grows
    is the number of blocks, not of trees."""
    across = math.ceil(math.sqrt(number))
    side = across * 60 + 60
    lines = ['plan "Blocks"', "boundary", f"  outline 0,0 {side},0 {side},{side} 0,{side}"]
    for cell in range(number):
        x, y = 30 + cell % across * 60, 30 + cell // across * 60
        square = f"{x},{y} {x + 40},{y} {x + 40},{y + 40} {x},{y + 40}"
        lines += [
            f"path lane-{cell}", "  use entry", f"  line {x},{y - 10} {x + 45},{y - 10}",
            f"stand stand-{cell}", f"  at {x + 45},{y - 8}", f"  reach lane-{cell}",
            f"timber wood-{cell}", f"  outline {square}", "  class 12in..20in 80 sqft/ac",
            f"release open-{cell}", f"  outline {square}", "  basal-area 80 to 50 sqft/ac", "  step 1",
            f"row row-{cell}", "  method hinge", f"  stumps {x + 5},{y + 20} {x + 35},{y + 20}", "  spacing 10",
            "  fall N", "  dbh 8in", "  step 2",
        ]  # fmt: skip
    return "\n".join(lines) + "\n"


def grown_plan(trees: int, per_row: int = 20) -> str:
    """A design of about so many trees at constant density: rows of hinges in pockets, walks and a screen.

    A cell of 200 by 200 yd holds one pocket with ten rows; every fourth cell has a walk with a
    screen beside it.
    """
    cells = max(1, math.ceil(trees / (10 * per_row)))
    across = math.ceil(math.sqrt(cells))
    side = across * 200 + 100
    lines = [
        'plan "Bench"', "  units yd", "", "boundary", f"  outline 0,0 {side},0 {side},{side} 0,{side}", "",
        "timber woods", f"  outline 0,0 {side},0 {side},{side} 0,{side}", "  species red-maple",
        "  class 6in..11in 50 sqft/ac", "",
    ]  # fmt: skip
    left = trees
    for cell in range(cells):
        x, y = 50 + cell % across * 200, 50 + cell // across * 200
        lines += [
            f"pocket pocket-{cell}", f"  outline {x},{y} {x + 170},{y} {x + 170},{y + 120} {x},{y + 120}",
            f"  bed {x + 85},{y + 60}", "",
            f"path run-{cell}", "  use travel", f"  line {x},{y + 130} {x + 170},{y + 130}", "",
        ]  # fmt: skip
        if cell % 4 == 0:
            lines += [f"path lane-{cell}", "  use entry", f"  line {x},{y + 180} {x + 170},{y + 180}", "",
                      f"stand stand-{cell}", f"  at {x + 168},{y + 178}", f"  reach lane-{cell}", ""]  # fmt: skip
        for row in range(10):
            count = min(per_row, left)
            if count <= 0:
                break
            left -= count
            at = y + 8 + row * 11
            lines += [
                f"row row-{cell}-{row}", f"  in pocket-{cell}", "  method hinge", f"  stumps {x + 5},{at} {x + 165},{at}",
                f"  count {count}", f"  fall {('S', 'S10E', 'S10W')[row % 3]}", "  dbh 6in..9in", "  step 1", "",
            ]  # fmt: skip
    return "\n".join(lines)
