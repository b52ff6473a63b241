"""Findings as a person reads them."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from habitatlint.check import Report
from habitatlint.findings import Fact, Finding, Level
from habitatlint.outputs import Style, render
from habitatlint.outputs.sentences import at, clean, measured_and_wanted, shown, width
from habitatlint.source import Source, Span
from habitatlint.units import show

PLAN = """\
plan "Öak"
boundary
  outline 0,0 400,0 400,400 0,400
path lane
  use entry
  line 0,20 400,20
row cover
\tmethod hinge
\tstumps 100,38 200,38
\tspacing 20
\tfall N
\tdbh 8in
"""


@pytest.mark.parametrize(
    ("size", "kind", "units", "text"),
    [
        (18.288, "length", "yd", "20 yd"),
        (18.288, "length", "ft", "60 ft"),
        (18.288, "length", "m", "18.3 m"),
        (4046.8564224, "area", "yd", "1 ac"),
        (10000, "area", "m", "1 ha"),
        (0.25, "share", "yd", "25%"),
        (30, "angle", "yd", "30 deg"),
        (48, "duration", "yd", "2 days"),
        (24, "duration", "yd", "1 day"),
        (12, "duration", "yd", "12 hours"),
        (3, "count", "yd", "3"),
    ],
)
def test_sizes_are_shown_in_the_unit_of_the_plan(size: float, kind: str, units: str, text: str) -> None:
    assert show(size, kind, units) == text


def test_a_diameter_is_shown_in_inches_or_in_a_metric_plan_in_centimetres() -> None:
    assert shown(Fact(0.3048, "length", "in"), "yd") == "12 in"
    assert shown(Fact(0.3048, "length", "in"), "m") == "30.5 cm"


def test_a_place_is_written_as_the_plan_would() -> None:
    assert at((9.144, 4.572), "yd") == "10,5"
    assert at((9.144, -4.572), "ft") == "30,-15"


def finding(measured: float, sense: str, wanted: float) -> Finding:
    span = Span(Source("x", "text"), 0, 4)
    return Finding(
        "a/b",
        Level.error,
        span,
        "x",
        measured=Fact(measured, "length", "yd"),
        sense=sense,
        wanted=Fact(wanted, "length", "yd"),
    )


def test_what_is_wanted_is_the_opposite_of_what_was_found() -> None:
    yard = 0.9144
    assert measured_and_wanted(finding(5 * yard, "<", 20 * yard), "yd") == ("5 yd", "20 yd or more")
    assert measured_and_wanted(finding(5 * yard, ">", 2 * yard), "yd") == ("5 yd", "2 yd or less")
    assert measured_and_wanted(finding(5 * yard, "<=", 5 * yard), "yd")[1].startswith("more than")


def test_what_should_not_be_there_at_all_is_wanted_none() -> None:
    assert measured_and_wanted(finding(0.9144, ">", 0), "yd") == ("1 yd", "0 yd")
    some = finding(0.9144, ">", 0)._replace(measured=Fact(2, "count"), wanted=Fact(0, "count"))
    assert measured_and_wanted(some, "yd") == ("2", "none")
    assert measured_and_wanted(some._replace(sense=">=", wanted=Fact(1, "count")), "yd") == ("2", "none")
    assert measured_and_wanted(some._replace(sense="<", wanted=Fact(1, "count")), "yd") == ("2", "1 or more")


def test_figures_that_look_alike_get_more_places() -> None:
    yard = 0.9144
    assert measured_and_wanted(finding(19.98 * yard, "<", 20 * yard), "yd") == ("19.98 yd", "20 yd or more")
    lie = finding(0.3996, "<", 0.4)._replace(measured=Fact(0.3996, "number"), wanted=Fact(0.4, "number"))
    assert measured_and_wanted(lie, "yd") == ("0.3996", "0.4 or more")


def test_what_could_steer_a_terminal_is_taken_out() -> None:
    assert clean("a\x1b[31mb\u202ec\x9bd\x00") == "a?[31mb?c?d?"
    assert width("añ中") == 4


def test_carets_stand_under_what_is_marked_whatever_the_indent(report_of: Callable[..., Report]) -> None:
    page = render("text", [report_of(PLAN, "öak.habitat").verdict], Style())
    lines = page.splitlines()
    row = next(index for index, line in enumerate(lines) if "live hinges lie too near" in line)
    assert lines[row].startswith("öak.habitat:8:2: error: ")
    assert lines[row + 1 : row + 3] == ["    method hinge", "    ^^^^^^^^^^^^"]
    words = [line.split()[0] for line in lines[row + 3 :] if line.startswith("    ") and line[4] != " "]
    assert words[:3] == ["measured", "wanted", "because"]


def test_a_line_of_a_megabyte_is_shown_in_part(report_of: Callable[..., Report]) -> None:
    text = 'plan "x"\nrow r\n  method hing' + "e" * 1_000_000 + "\n"
    page = render("text", [report_of(text).verdict], Style())
    assert max(len(line) for line in page.splitlines()) < 300
