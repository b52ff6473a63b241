"""What stands at the head of every paper: which plan it is of, how old, and as of which day it was judged."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from habitatlint.check import Report
from habitatlint.outputs.sentences import clean, lines_unread


class Heading(NamedTuple):
    """The title of a plan, what its paper is, and facts about plan and day as (word, value)."""

    title: str
    subtitle: str
    facts: tuple[tuple[str, str], ...]


def heading(report: Report, today: date, subtitle: str) -> Heading:
    """The head of a paper of a report. `today` is the day by which the plan was judged. Lines of the plan that could
    not be read are told here, for what they say is in no paper."""
    head = report.plan.head
    name = clean(report.source.name)
    facts = [("Plan", name if head is None or not head.date else f"{name}, of {head.date.value.isoformat()}")]
    facts.append(("Stage", "a design" if report.scene.design else "the ground as it was built"))
    if head is not None and head.drawn_by:
        facts.append(("Drawn by", clean(str(head.drawn_by.value))))
    facts.append(("Judged as of", today.isoformat()))
    if unread := lines_unread(report):
        facts.append(("Not read", f"{unread}, and what they say is not in this paper; `check` tells which"))
    return Heading(clean(head.title if head else "") or name, subtitle, tuple(facts))
