"""The whole page of an example plan, as `check` prints it, held by a snapshot: of the large properties two, which
between them are told what most of the others are.

A change here is a change of what the landowner reads: look it over before it is taken
(`pytest tests/test_example_pages.py --snapshot-update`).
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from syrupy.assertion import SnapshotAssertion

from habitatlint import files
from habitatlint.findings import Policy
from habitatlint.outputs import Style, render
from habitatlint.review import Review

ROOT = Path(__file__).parent.parent
PLANS = [
    ROOT / "examples" / f"{name}.habitat"
    for name in (
        "fallow-ridge",
        "kestwick-strip",
        "lesson-quarter",
        "marrowby-forty",
        "ondrey-knob",
        "quennick-hollow",
        "sallow-fork",
        "tavrish-road",
    )
]
TODAY = date(2026, 2, 10)


def day_of(plan: Path) -> date:
    """The day that the plan's key judges by, else the usual one."""
    key = plan.with_suffix(".key")
    lines = key.read_text(encoding="utf-8").splitlines() if key.exists() else []
    days = [line.removeprefix("today ") for line in lines if line.startswith("today ")]
    return date.fromisoformat(days[0]) if days else TODAY


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem)
def test_the_page_of_an_example(
    plan: Path, review: Review, snapshot: SnapshotAssertion, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)  # so that paths on the page are those of the checkout
    report = review.check(files.read_source(plan.relative_to(ROOT).as_posix()), Policy(day_of(plan)))
    assert render("text", [report.verdict], Style()) == snapshot
