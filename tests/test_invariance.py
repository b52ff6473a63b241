"""Turning, shifting, mirroring and re-uniting a plan changes no finding.

Held for layouts in which no figure lies near its limit: those whose findings stay the same when the
ground is drawn 1% larger and smaller and when every limit is moved 1% either way.
"""

from __future__ import annotations

import math
from datetime import date

from effort import times
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from layouts import Hinges, Layout, Motion, layouts

from habitatlint.check import Report
from habitatlint.findings import Fact, Policy
from habitatlint.review import Review
from habitatlint.source import Source

TODAY = date(2026, 2, 10)


motions = st.builds(
    Motion,
    turn=st.floats(0, 359),
    east=st.floats(-3000, 3000),
    north=st.floats(-3000, 3000),
    mirrored=st.booleans(),
    unit=st.sampled_from(["yd", "ft", "m"]),
)


def told(report: Report) -> set[tuple[object, ...]]:
    """What a plan's findings say, without figures: rule, level, the blocks, counts."""
    return {
        (
            finding.rule,
            finding.level,
            finding.names,
            tuple(sorted((name, fact.value) for name, fact in finding.facts.items() if fact.kind in ("count", "text"))),
        )
        for finding in report.findings
    }


def figures(report: Report) -> list[tuple[str, float]]:
    return sorted(
        (finding.rule, round(float(finding.measured.value), 2))
        for finding in report.findings
        if finding.measured is not None and isinstance(finding.measured.value, int | float)
    )


def moved_limits(review: Review, by: float) -> dict[str, Fact]:
    return {
        f"{rule.name}.{limit.name}": Fact(limit.value * by, limit.kind, limit.unit)
        for rule in review.rulebook.rules
        for limit in rule.limits.values()
        if isinstance(limit.value, int | float) and limit.kind not in ("date", "count", "number")
    }


def check(review: Review, text: str, limits: dict[str, Fact] | None = None) -> Report:
    review.memory.clear()
    return review.check(Source("turned.habitat", text), Policy(TODAY, limits=limits or {}))


@settings(
    max_examples=times(16, 120),
    deadline=None,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
@given(layout=layouts, motion=motions)
def test_moving_a_plan_changes_no_finding(review: Review, layout: Layout, motion: Motion) -> None:
    plain = check(review, layout.text(Motion()))
    expected = told(plain)
    for scale in (0.99, 1.01):
        assume(told(check(review, layout.text(Motion(scale=scale)))) == expected)
        assume(told(check(review, layout.text(Motion()), moved_limits(review, scale))) == expected)
    moved = check(review, layout.text(motion))
    assert told(moved) == expected
    for (rule, before), (other, after) in zip(figures(plain), figures(moved), strict=True):
        assert rule == other
        assert math.isclose(before, after, rel_tol=1e-3, abs_tol=0.05), (rule, before, after)


def test_the_layouts_are_not_all_quiet(review: Review) -> None:
    """The property above is worth something only if its layouts break rules."""
    rows = (
        Hinges(200, 45, False, 100, "hinge", 14, 7, False),
        Hinges(210, 220, True, 260, "hinge", 9, 8, False),
    )
    layout = Layout(((200.0, 200.0),), rows, (110.0, 120.0), 10.0, 30.0, ("right", 6.0), 0, False)
    found = {finding.rule for finding in check(review, layout.text(Motion())).findings}
    assert {"entry/live-hinge-near-entry", "felling/hinge-too-big", "layout/travel-into-food"} <= found
