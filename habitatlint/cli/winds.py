"""`winds`: every stand by every wind, given out."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.papers import Given, Unwritten, give
from habitatlint.cli.project import project_of
from habitatlint.language.blocks import Stand
from habitatlint.outputs.papers.winds import as_table, paper
from habitatlint.outputs.sentences import clean
from habitatlint.reading.grammar import did_you_mean, listed, near
from habitatlint.work.winds import SITS, wind_table


class Asked(NamedTuple):
    """What is asked of the table of winds; "" is for the command to choose."""

    output: str = ""
    form: str = "text"
    paper: str = ""
    today: date | None = None
    stand: str = ""
    every_sit: bool = False


def give_winds(plan: str, asked: Asked) -> None:
    """Prints the winds of a plan, or writes them to a file. Raises Unwritten or FileTrouble."""
    project = project_of(plan)
    policy = project.policy(asked.today)
    report = project.review.check(files.read_source(plan), policy)
    table = wind_table(report, SITS if asked.every_sit else ())
    if asked.stand:
        _known(asked.stand, report)
        named = [tuple(one for one in of if one.name == asked.stand) for of in (table.unplaced, table.offsite)]
        table = table._replace(
            sits=tuple(sit for sit in table.sits if sit.stand.name == asked.stand), unplaced=named[0], offsite=named[1]
        )
    given = Given(paper(table, report, policy.today), as_table(table, report))
    give(given, asked.output, asked.form, asked.paper, report.units)


def _known(name: str, report: Report) -> None:
    names = [one.name for one in report.plan.of(Stand) if one.name]
    if name not in names:
        known = f"; the plan's stands are {listed(names, 'and')}" if names and len(names) <= 12 else ""
        raise Unwritten(f"no stand is called `{clean(name)[:60]}`{did_you_mean(near(name, names)) or known}")
