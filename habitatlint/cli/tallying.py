"""`tally`: what a plan takes and gives, counted and given out."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from typing import NamedTuple

import click

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.papers import Given, give
from habitatlint.cli.project import project_of
from habitatlint.findings import Policy
from habitatlint.outputs.papers.tally import paper
from habitatlint.outputs.papers.tally_table import as_table
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook
from habitatlint.source import Source
from habitatlint.work.tally import Tally, tally_of
from habitatlint.work.worth import Worth, of_the_ground, worth_of


class Asked(NamedTuple):
    """What is asked of a tally; "" is for the command to choose."""

    output: str = ""
    form: str = "text"
    paper: str = ""
    today: date | None = None
    #: whether the plan is judged after each step
    worth: bool = True


def give_tally(plan: str, asked: Asked) -> None:
    """Prints the tally of a plan, or writes it to a file. Raises Unwritten or FileTrouble."""
    project = project_of(plan)
    policy = project.policy(asked.today)
    report = project.review.check(files.read_source(plan), policy)
    tally = tally_of(report)
    worth = worth_by(project.review, report, tally, policy) if asked.worth else None
    given = Given(paper(tally, worth, report, policy.today), as_table(tally, worth, report))
    give(given, asked.output, asked.form, asked.paper, report.units)


def worth_by(judges: Review, report: Report, tally: Tally, policy: Policy) -> Worth:
    """What each step clears, by the rules of the ground alone; told on a terminal as it goes on, for it takes a
    judgement a step."""
    packs = judges.rulebook.packs
    ground = replace(judges, rulebook=Rulebook(tuple(
        pack._replace(rules=tuple(rule for rule in pack.rules if of_the_ground(rule.name))) for pack in packs
    )))  # fmt: skip

    def judge(source: Source) -> Report:
        return ground.check(source, policy)

    def tell(what: str) -> None:
        if sys.stderr.isatty():
            click.echo(f"\r\x1b[Kjudging {what}", nl=False, err=True)

    worth = worth_of(report, tally, judge, tell)
    if sys.stderr.isatty():
        click.echo("\r\x1b[K", nl=False, err=True)
    return worth
