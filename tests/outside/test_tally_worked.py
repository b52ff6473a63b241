"""A tally against a sheet worked by hand, figure by figure, each step from its source.

The sheet, of one acre (330 by 132 ft is 43,560 sq ft) each:
- Release from 100 to 70 sq ft: takes 30 sq ft an acre of the class 12 to 16 in. A stem of its middle, 14 in, has
  0.005454154 x 14^2 = 1.0690 sq ft (U. Missouri, Forestry Functions), so 30 / 1.0690 = 28.06 stems.
- Saw logs: of 60 ft half are 30 ft, one log of 16; its small end 0.78 x 14 = 10.92 in (form class 78, from memory);
  by Doyle (10.92 - 4)^2 = 47.89 board feet (Purdue Extension FNR-191), and 28.06 of them 1344.
- Firewood: 30 sq ft x 60 ft = 1800 cu ft as a cylinder; a cone is a third of it and a paraboloid half; a cord holds 79
  to 90 cu ft (pages that name no source): 600 / 90 = 6.67 to 900 / 79 = 11.39 cords.
- Hinges: 11 of 8 in, 0.3491 sq ft each: 3.84 sq ft, so that 100 - 30 - 3.84 = 66.16 stand.
- Hack-and-squirt: 50 trees an acre of 4 in, four cuts each (Penn State Extension: one an inch), 200 cuts of 1 mL are
  0.2 L, 6.763 US fl oz: 1.353 times a label's most of 5 fl oz an acre.
- Hours of injection: 0.2 to 0.5 acre an hour (Mississippi State University Extension P3673): 2 to 5 hours an acre.
- Money: 65 x 2..5 = 130..325; 11 x 4 = 44; 1 x 900 = 900; half of 0.2 L is 0.02642 gal, x 95 = 2.51; firewood
  6.67..11.39 x 40 = 267..456; logs 1.344 x 350 = 470. The prices are invented.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.findings import Level
from habitatlint.units import ACRE, FLUID_OUNCE, FOOT
from habitatlint.work.stems import Stems
from habitatlint.work.tally import Tally, tally_of

SQUARE_FOOT = FOOT**2
PLAN = """\
plan "Worked by hand"
  date 2026-02-10
  units ft
  log-rule doyle

timber woods
  outline 0,0 660,0 660,660 0,660
  species red-oak
  height 60ft
  class 12in..16in 60 sqft/ac
  class 6in..10in 40 sqft/ac
  market yes

pocket thicket
  outline 0,0 330,0 330,132 0,132

release light
  outline 0,0 330,0 330,132 0,132
  basal-area 100 to 70 sqft/ac
  method fell
  wood firewood
  step 1

row hinges
  method hinge
  stumps 10,20 300,20
  spacing 29
  dbh 8in
  fall N
  step 2

patch poles
  outline 0,132 330,132 330,264 0,264
  method hack-and-squirt
  density 50 per acre
  dbh 4in
  mix hack-mix
  step 3

mix hack-mix
  label "EPA Reg. No. 0-0, invented"
  part concentrate 50%
  part water 50%
  per-hack 1 mL
  most 5 floz/ac

work
  step 1 "Release" 2026-02-15..2026-02-20
  step 2 "Hinge" 2026-02-21..2026-02-25
  step 3 "Poles" 2026-09-01..2026-09-03

rates county
  year 2025
  source "an invented price list"
  currency "US dollars"
  cost 65 per hour
  cost 4 per tree hinge
  cost 900 per acre release
  cost 95 per gal concentrate
  pays 350 per thousand-board-feet
  pays 40 per cord
"""


@pytest.fixture
def tally(report_of: Callable[..., Report]) -> Tally:
    report = report_of(PLAN)
    assert not [one for one in report.findings if one.rule.startswith("record/") and one.level > Level.note]
    return tally_of(report)


def of(tally: Tally, name: str) -> list[Stems]:
    return [one for one in tally.stems if one.piece.block.name == name]


def test_stems_of_a_release(tally: Tally) -> None:
    (taken,) = of(tally, "light")
    assert taken.number == pytest.approx(28.063, abs=0.005)
    assert taken.basal_area / SQUARE_FOOT == pytest.approx(30.0, abs=0.001)


def test_logs_and_cords_of_a_release(tally: Tally) -> None:
    (wood,) = tally.wood
    assert wood.logs == pytest.approx(1343.9, abs=0.5)
    assert wood.log_trees == pytest.approx(28.063, abs=0.005)
    assert wood.cords == pytest.approx((6.667, 11.392), abs=0.001)
    assert wood.rest == (0.0, 0.0)
    assert wood.markets == (("woods", "yes"),)


def test_basal_area_before_and_after(tally: Tally) -> None:
    (hinges,) = of(tally, "hinges")
    assert (hinges.number, hinges.counted) == (11, True)
    assert hinges.basal_area / SQUARE_FOOT == pytest.approx(3.8397, abs=0.001)
    pocket = next(one for one in tally.standing if one.block.name == "thicket")
    assert pocket.before is not None and pocket.after is not None
    assert pocket.before * ACRE / SQUARE_FOOT == pytest.approx(100.0, abs=0.001)
    assert pocket.after * ACRE / SQUARE_FOOT == pytest.approx(66.160, abs=0.005)


def test_herbicide_against_the_label(tally: Tally) -> None:
    (mix,) = tally.mixes
    assert (mix.name, mix.year, mix.hacks) == ("hack-mix", 2026, pytest.approx(200))
    assert mix.volume == pytest.approx(0.2)
    assert mix.volume is not None and mix.volume / FLUID_OUNCE == pytest.approx(6.763, abs=0.001)
    assert [(name, volume) for name, _, volume in mix.parts] == [
        ("concentrate", pytest.approx(0.1)), ("water", pytest.approx(0.1)),
    ]  # fmt: skip
    (dose,) = mix.doses
    assert mix.most is not None and dose.volume / dose.area / mix.most == pytest.approx(1.3526, abs=0.001)
    assert mix.ground is not None and mix.ground / ACRE == pytest.approx(1.3526, abs=0.001)


def test_hours_with_their_spread(tally: Tally) -> None:
    hours = {one.piece.block.name: one.hours for one in tally.worked}
    assert hours["poles"] == pytest.approx((2.0, 5.0), abs=0.001)
    # of trees over 12 in, and of hinges, nobody has published any
    assert hours["light"] is None and hours["hinges"] is None


def test_money_by_the_plan_s_own_rates(tally: Tally) -> None:
    (priced,) = tally.priced
    assert (priced.year, priced.source, priced.currency) == (2025, "an invented price list", "US dollars")
    costs = {charge.what: charge.money for charge in priced.costs}
    assert costs["patch poles"] == pytest.approx((130, 325), abs=0.1)
    assert costs["row hinges"] == pytest.approx((44, 44))
    assert costs["release light"] == pytest.approx((900, 900), abs=0.1)
    assert costs["concentrate"] == pytest.approx((2.51, 2.51), abs=0.005)
    assert priced.cost == pytest.approx((1076.5, 1271.5), abs=0.3)
    assert priced.income == pytest.approx((266.7, 455.7), abs=0.1)
    (choice,) = priced.choices
    assert choice.logs == pytest.approx((470.4, 470.4), abs=0.2)
    assert choice.firewood == pytest.approx((266.7, 455.7), abs=0.1)
    assert priced.unpriced == () and priced.idle == ()


def test_a_worked_example_of_basal_area(report_of: Callable[..., Report]) -> None:
    """U. Missouri, Forestry Functions: trees of 8, 6, 8, 5, 4, 6 and 7 in, ten an acre each: 15.81705 sq ft an acre."""
    patches = "".join(
        f"patch p{number}\n  outline 0,0 660,0 660,66 0,66\n  method hinge\n  density 10 per acre\n  dbh {inches}in\n"
        for number, inches in enumerate((8, 6, 8, 5, 4, 6, 7))
    )
    tally = tally_of(report_of('plan "Ten an acre"\n  units ft\n' + patches))
    total = sum(one.basal_area for one in tally.stems)
    assert total / SQUARE_FOOT == pytest.approx(15.81705, abs=1e-4)
    assert sum(one.number or 0 for one in tally.stems) == pytest.approx(70)
