"""Log rules against published formulas and tables.

Doyle: Purdue Extension FNR-191, and a printed table of board feet (12 in by 16 ft 64, 16 in 144, 20 in 256, 30
in 676; 10 in by 8 ft 18). Scribner's formula: U. Missouri, Forestry Functions; its table: factors of USDA Forest
Service FVS, `base/scalef.f`, by 16 ft, and a printed Decimal C table (a log of 30 in by 16 ft "given as 66, or a
total scale of 660"). International 1/4-inch: Michigan Compiled Laws 290.401; the closed form for 16 ft stands in
the same Forest Service code. What is marked so is from memory.
"""

from __future__ import annotations

import pytest

from habitatlint.measures.volume import doyle, international, scribner


@pytest.mark.parametrize(
    ("inches", "feet", "board"),
    [(12, 16, 64), (16, 16, 144), (20, 16, 256), (30, 16, 676), (10, 8, 18), (4, 16, 0), (3, 16, 0), (24, 16, 400)],
)
def test_doyle_as_printed(inches: float, feet: float, board: float) -> None:
    assert doyle(inches, feet) == board


@pytest.mark.parametrize(
    ("inches", "board"),
    [(8, 30.56), (10, 55.00), (12, 85.76), (16, 166.24), (20, 272.00), (24, 403.04), (28, 559.36), (30, 647.00)],
)
def test_scribners_formula(inches: float, board: float) -> None:
    assert scribner(inches, 16) == pytest.approx(board, abs=0.005)


@pytest.mark.parametrize(
    ("inches", "table"), [(12, 78.4), (16, 160.0), (20, 279.98), (24, 403.49), (28, 582.02), (30, 656.96)]
)
def test_scribners_formula_is_near_the_table_and_is_not_it(inches: float, table: float) -> None:
    formula = scribner(inches, 16)
    assert formula == pytest.approx(table, rel=0.1) and abs(formula - table) > 0.4


def test_decimal_c_is_a_table_and_not_the_rounded_formula() -> None:
    # tens of board feet: the table says 8 and 66, the formula would give 9 and 65
    assert [round(78.4 / 10), round(656.96 / 10)] == [8, 66]
    assert [round(scribner(12, 16) / 10), round(scribner(30, 16) / 10)] == [9, 65]


@pytest.mark.parametrize(
    ("inches", "board"),
    [(8, 38.7), (10, 64.6), (12, 96.9), (16, 180.6), (20, 289.7), (24, 424.3), (28, 584.4), (30, 674.0)],
)
def test_international_quarter_inch_by_the_law(inches: float, board: float) -> None:
    # the figures are printed to a tenth, from 24 in on a rounding of the closed form below the law's
    assert international(inches, 16) == pytest.approx(board, abs=0.1)


def test_international_of_twelve_inches_section_by_section() -> None:
    # small end first: 12, 12.5, 13 and 13.5 in
    sections = sum((0.22 * d * d - 0.71 * d) * 0.904762 for d in (12, 12.5, 13, 13.5))
    assert international(12, 16) == pytest.approx(sections) == pytest.approx(96.92, abs=0.05)
    assert international(12, 4) == pytest.approx((0.22 * 144 - 0.71 * 12) * 0.904762)
    assert international(12, 6) == pytest.approx(international(12, 4) + (0.22 * 12.5**2 - 0.71 * 12.5) * 0.904762 / 2)


@pytest.mark.parametrize("inches", [8, 10, 12, 16, 20, 24, 28, 30])
def test_international_against_the_closed_form(inches: float) -> None:
    assert international(inches, 16) == pytest.approx(0.796 * inches**2 - 1.375 * inches - 1.230, abs=0.25)


def test_a_page_of_the_eighth_inch_rule_does_not_pass_for_the_quarter_inch() -> None:
    # a published page headed 1/4 prints 0.88 D^2 - 1.52 D - 1.36, the 1/8-inch rule: 71.44 for 10 in
    eighth = 0.88 * 100 - 1.52 * 10 - 1.36
    assert eighth == pytest.approx(71.44)
    assert international(10, 16) == pytest.approx(eighth * 0.904762, abs=0.05)
    assert abs(international(10, 16) - eighth) > 6


@pytest.mark.parametrize(("inches", "board"), [(12, 95), (16, 180), (20, 290)])
def test_international_to_the_nearest_five(inches: float, board: float) -> None:
    # the official table, from memory
    assert round(international(inches, 16) / 5) * 5 == board


def test_no_rule_gives_less_than_nothing() -> None:
    for rule in (doyle, scribner, international):
        assert rule(0, 16) == 0 and rule(1, 16) == 0 and rule(12, 0) == 0
