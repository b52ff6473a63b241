"""`compare`: two plans read, judged by one day, laid over each other, and given out."""

from __future__ import annotations

import re
from datetime import date
from typing import NamedTuple

from habitatlint import files
from habitatlint.cli.papers import Given, Unwritten, give
from habitatlint.cli.project import project_of
from habitatlint.outputs.papers.compare import compared, paper
from habitatlint.outputs.papers.compare_table import as_table
from habitatlint.outputs.sentences import clean
from habitatlint.units import UNITS
from habitatlint.work.comparison import compare

_LENGTH = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*(yd|ft|in|m|cm)?")


class Asked(NamedTuple):
    """What is asked of a comparison; "" is for the command to choose."""

    output: str = ""
    form: str = "text"
    paper: str = ""
    today: date | None = None
    least: str = ""


def give_comparison(before: str, after: str, asked: Asked) -> None:
    """Prints what became of a plan in another, or writes it to a file. Raises Unwritten or FileTrouble."""
    # both by the settings that the later plan stands under, or the rules would have changed too
    project = project_of(after)
    policy = project.policy(asked.today)
    reports = [project.review.check(files.read_source(plan), policy) for plan in (before, after)]
    least = _length(asked.least, reports[1].units) if asked.least else 0.0
    two = compared(reports[0], reports[1], compare(reports[0], reports[1], least))
    given = Given(paper(two, policy.today, files.find_picture), as_table(two))
    give(given, asked.output, asked.form, asked.paper, reports[1].units)


def _length(text: str, units: str) -> float:
    """A length in metres as a person writes it, a bare one in the plan's unit."""
    found = _LENGTH.fullmatch(text.strip())
    if found is None:
        raise Unwritten(f"`{clean(text)[:60]}` is no length: write it as 5 or 5yd")
    return float(found[1]) * UNITS[found[2] or units][1]
