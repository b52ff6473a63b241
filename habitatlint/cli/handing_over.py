"""`handover`: everything a plan has to give on one paper."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from typing import NamedTuple

import click

from habitatlint import files
from habitatlint.cli.papers import Given, Unwritten, give
from habitatlint.cli.project import project_of
from habitatlint.cli.tallying import worth_by
from habitatlint.outputs.map.drawing import draw
from habitatlint.outputs.papers.handover import SECTIONS, Wanted, handover
from habitatlint.outputs.sentences import clean
from habitatlint.reading.grammar import did_you_mean, near


class Asked(NamedTuple):
    """What the command was asked; None and "" leave it to the settings."""

    output: str = ""
    sections: str | None = None
    preface: str = ""
    paper: str = ""
    today: date | None = None


def hand_over(plan: str, asked: Asked) -> None:
    """Makes the handover of a plan and gives it out. Raises Unwritten or FileTrouble, before any file is written."""
    project = project_of(plan)
    settings, policy = project.settings.handover, project.policy(asked.today)
    chosen = asked.sections.split(",") if asked.sections is not None else settings.sections
    names = _known(chosen)
    preface = asked.preface or settings.preface
    said = files.read_source(preface).text if preface else ""
    report = project.review.check(files.read_source(plan), policy)
    on = asked.paper or settings.paper
    wanted = Wanted(
        report, draw(report, None), policy.today, files.find_picture,
        lambda tally: worth_by(project.review, report, tally, policy), on, said,
    )  # fmt: skip
    with _progress(len(names if names is not None else SECTIONS)) as tell:
        paper = handover(wanted, names, tell)
    give(Given(paper), asked.output, paper=on, units=report.units)


@contextlib.contextmanager
def _progress(sections: int) -> Iterator[Callable[[str], None]]:
    """Tells on a terminal which section is made; elsewhere nothing."""
    if not sys.stderr.isatty():
        yield lambda name: None
        return
    bar = click.progressbar(length=sections, file=sys.stderr, label="handover", item_show_func=lambda name: name)
    with bar as progress:
        yield lambda name: progress.update(1, name)


def _known(chosen: Sequence[str] | None) -> list[str] | None:
    """The names of sections as written, each once; raises Unwritten for one that is not known."""
    if chosen is None:
        return None
    names = list(dict.fromkeys(name.strip() for name in chosen if name.strip()))
    for name in names:
        if name not in SECTIONS:
            hint = did_you_mean(near(name, SECTIONS)) or f"; known are {', '.join(SECTIONS)}"
            raise Unwritten(f"no section of a handover is called `{clean(name)[:60]}`{hint}")
    if not names:
        raise Unwritten(f"no section is named; known are {', '.join(SECTIONS)}")
    return names
