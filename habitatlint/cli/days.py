"""A day given on the command line; without one the settings choose, and else it is today."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import click


def day(context: click.Context, parameter: click.Parameter, value: str | None) -> date | None:
    """The day that an option gives; None where it is left out."""
    if value is None:
        return None
    try:
        return date.fromisoformat(value)
    except ValueError:
        raise click.BadParameter(f"`{value}` is no date such as 2026-02-10") from None


def judged_by() -> Callable[[Any], Any]:
    """The option that says by which day plans are judged."""
    return click.option(
        "--today", callback=day, metavar="DATE",
        help="The day to judge by, such as 2026-02-10; that of the settings, or today, if left out.",
    )  # fmt: skip
