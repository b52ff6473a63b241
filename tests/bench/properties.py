"""Large invented plans for the benchmarks: the same make of ground at any size."""

from __future__ import annotations

import math
from random import Random


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


def quarter_section() -> str:
    """160 acres with everything on it: 40 pockets, 200 rows and 5,000 trees, 3,000 of them in pockets; plots,
    timbers, releases, ten stands with walks and screens, lines of travel, hazards, winds, crews and steps."""
    lines = [
        'plan "Quarter"', "  units yd", "  date 2026-02-10", "  anchor 43.7000N,90.6000W",
        "  hunted 2026-11-07..2027-01-18", "  leaf-out 05-20", "boundary", "  outline 0,0 880,0 880,880 0,880",
        "crew saws", "  people 3", "  training felling herbicide",
        "  gear hard-hat face-screen eye-protection hearing-protection gloves high-vis leg-protection boots first-aid",
        "mix stumps", '  label "EPA 000-000"', "  part concentrate 20%", "  part water 80%", "  aquatic no",
        "winds fall-hours",
        *(f"  from {wind} {share}% 8mph" for wind, share in zip(
            ("N", "NE", "E", "SE", "S", "SW", "W", "NW"), (8, 6, 7, 9, 16, 18, 17, 13), strict=True)),
        "  calm 6%",
        "work", '  step 1 "Release" 2026-02-15..2026-02-28 by saws', '  step 2 "Cut" 2026-03-01..2026-03-31 by saws',
        "trees", "  species red-maple", "  by saws", "  dbh 6in..9in",
        "hazard road", "  kind road", "  line 0,-5 880,-5", "hazard creek", "  kind water", "  line 440,0 450,880",
        "slope hill", "  outline 500,500 800,500 800,800 500,800", "  falls S 15%",
    ]  # fmt: skip
    for plot in range(6):
        x, y = 20 + plot % 3 * 300, 20 + plot // 3 * 780
        lines += [f"food plot-{plot}", "  kind plot", f"  outline {x},{y} {x + 80},{y} {x + 80},{y + 50} {x},{y + 50}"]
    for wood in range(8):
        x, y = wood % 4 * 220, wood // 4 * 440
        square = f"{x},{y} {x + 220},{y} {x + 220},{y + 440} {x},{y + 440}"
        lines += [f"timber wood-{wood}", f"  outline {square}", "  species red-maple sugar-maple", "  height 70ft",
                  "  class 6in..11in 50 sqft/ac", "  class 12in..20in 50 sqft/ac"]  # fmt: skip
    for cell in range(40):
        x, y = 20 + cell % 8 * 108, 90 + cell // 8 * 140
        plot = cell % 3 + (3 if cell >= 20 else 0)
        lines += [
            f"pocket pocket-{cell}", "  for does", f"  outline {x},{y} {x + 72},{y} {x + 72},{y + 60} {x},{y + 60}",
            f"  bed {x + 20},{y + 24}", f"  bed {x + 52},{y + 36}", f"  corridors every 20yd off plot-{plot} width 3ft",
            f"release light-{cell}", f"  outline {x - 5},{y - 5} {x + 77},{y - 5} {x + 77},{y + 65} {x - 5},{y + 65}",
            "  basal-area 100 to 50 sqft/ac", "  method fell", "  step 1", "  by saws",
            f"path run-{cell}", "  use travel", f"  line {x - 8},{y + 72} {x + 90},{y + 72}", "  width 2",
        ]  # fmt: skip
        for row in range(3):
            lines += [
                f"row row-{cell}-{row}", f"  in pocket-{cell}", "  method hinge", "  purpose bedding",
                f"  stumps {x + 3},{y + 8 + row * 18} {x + 69},{y + 8 + row * 18}", "  count 25",
                f"  fall {('S', 'S20E', 'S20W')[row]}", "  step 2",
            ]  # fmt: skip
    for lane in range(10):
        y = 80 + lane * 80
        lines += [
            f"path lane-{lane}", "  use entry", f"  line 0,{y} 300,{y + 4}",
            f"stand stand-{lane}", f"  at 302,{y + 2}", f"  reach lane-{lane}", "  range 30yd", "  winds NW N W",
            f"  sit {('evening', 'morning')[lane % 2]}", "  height 18ft",
        ]  # fmt: skip
        for piece in range(8):
            side, start = ("left", "right")[piece % 2], 10 + piece // 2 * 70
            lines += [
                f"row screen-{lane}-{piece}", "  purpose screen", "  method fell",
                f"  stumps beside lane-{lane} {side} 8yd from {start}yd to {start + 60}yd", "  count 25",
                f"  fall along lane-{lane}", "  stump-treatment planned", "  mix stumps", "  step 2",
            ]  # fmt: skip
    return "\n".join(lines) + "\n"


def one_pocket(trees: int) -> str:
    """A pocket of 2 acres with so many hinges, in no order, and a bed in its middle."""
    random = Random(7)
    lines = ['plan "Pocket"', "pocket thicket", "  outline 0,0 98,0 98,98 0,98", "  bed 49,49"]
    for number in range(trees):
        lines += [
            f"tree t{number}", "  method hinge", f"  at {random.uniform(2, 96):.1f},{random.uniform(2, 96):.1f}",
            f"  fall {random.uniform(0, 360):.0f}deg", "  dbh 8in",
        ]  # fmt: skip
    return "\n".join(lines) + "\n"
