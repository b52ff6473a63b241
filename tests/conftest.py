"""What tests share: the review of the shipped packs, and short ways to check a text."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest
from hypothesis import settings
from real_parts import missing, program

from habitatlint.check import Report
from habitatlint.cli.assembly import review as assembled
from habitatlint.findings import Policy
from habitatlint.outputs.sentences import message
from habitatlint.review import Review
from habitatlint.source import Source

TODAY = date(2026, 2, 10)

# the same examples at every run on the build machine; new ones at every run elsewhere
settings.register_profile("build", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("build")


@pytest.fixture(scope="session")
def review() -> Review:
    """The review that every command uses."""
    return assembled()


@pytest.fixture
def report_of(review: Review) -> Callable[..., Report]:
    """The report of a plan's text; a fragment needs no head."""

    def check(text: str, name: str = "plan.habitat", *, fragment: bool = True, today: date = TODAY) -> Report:
        return review.check(Source(name, text), Policy(today, fragment=fragment))

    return check


@pytest.fixture
def told(report_of: Callable[..., Report]) -> Callable[..., list[str]]:
    """What is told of a text, a line each: `line:column slug: message`."""

    def lines(text: str, **how: object) -> list[str]:
        report = report_of(text, **how)
        return [
            f"{finding.span.line}:{finding.span.column} {finding.rule.split('/')[1]}: {message(finding, report.units)}"
            for finding in report.findings
        ]

    return lines


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Debian's Chromium without a head, driven by playwright."""
    path = program("chromium", "chromium-browser")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield opened
        opened.close()
