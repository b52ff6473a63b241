"""What falls due, as a calendar file (iCalendar, RFC 5545) that any calendar takes in."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from habitatlint import __version__
from habitatlint.check import Report
from habitatlint.language.blocks import Task
from habitatlint.outputs.papers.cut_list import joined, numbers
from habitatlint.outputs.sentences import CAUTION, clean
from habitatlint.work.due import Due, due_of
from habitatlint.work.order import Order, StepWork

#: so many names at most stand in the title of an event, and below it
_NAMED, _LISTED = 4, 20


def as_calendar(order: Order, report: Report, today: date) -> bytes:
    """Steps, tasks, walks, treatments and upkeep with a day, each an event of whole days.

    The same bytes at every run: an event is stamped with the day that was judged by, and known by the plan's title and
    what it is, one for each step, task, pocket and thing to see to, so that a calendar that takes in a later file of a
    plan with the same title and names moves its events and doubles none."""
    from icalendar import Calendar, Event

    title = _title(report)
    calendar = Calendar()
    calendar.add("prodid", f"-//habitatlint//habitatlint {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", title)
    steps = {step.number: step for step in order.steps}
    known: set[str] = set()
    for due in due_of(report, order, today):
        uid, again = _uid(title, due), 1
        while uid in known:  # two tasks of one name: `check` has told that
            again += 1
            uid = _uid(title, due, again)
        known.add(uid)
        event = Event()
        event.add("uid", uid)
        event.add("dtstamp", datetime(today.year, today.month, today.day, tzinfo=UTC))
        event.add("dtstart", due.first)
        # the day after the last, as RFC 5545 has the end of whole days
        event.add("dtend", due.last + timedelta(days=1))
        event.add("summary", f"{title}: {_summary(due, steps)}")
        event.add("description", "\n".join([*_description(due, steps), CAUTION]))
        event.add("categories", [_CATEGORIES[due.kind]])
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    return bytes(calendar.to_ical())


_CATEGORIES = {
    "step": "Work", "task": "Task", "leaf-out": "Inspection", "storm": "Inspection", "treatment": "Treatment",
    "upkeep": "Upkeep",
}  # fmt: skip


def _title(report: Report) -> str:
    head = report.plan.head
    return _line((head.title if head is not None else "") or report.source.name)


def _uid(title: str, due: Due, again: int = 1) -> str:
    """Known by what it is and not by its days; a walk, which comes again, by the year of the leaves or of the storm."""
    what = [due.kind, f"{due.step:g}" if due.kind == "step" and due.step is not None else "+".join(due.names)]
    if due.kind in ("leaf-out", "storm") and due.since is not None:
        what.append(str(due.since.year))
    if again > 1:
        what.append(f"number {again}")
    mark = hashlib.sha256("\n".join((title, *what)).encode()).hexdigest()[:20]
    slug = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:40] or "plan"
    return f"{slug}-{due.kind}-{mark}@habitatlint"


def _summary(due: Due, steps: dict[float | None, StepWork]) -> str:
    late = "overdue: " if due.overdue else ""
    few = _few([_line(name) for name in due.names])
    match due.kind:
        case "step":
            step = steps[due.step]
            return f"step {due.step:g}{f', {_line(step.title)}' if step.title else ''}"
        case "task":
            task = due.blocks[0]
            said = _line(str(task.text.value)) if isinstance(task, Task) and task.text is not None else ""
            return said.rstrip(".") or f"task {few}"
        case "leaf-out":
            return f"{late}walk after leaf-out: {few}"
        case "storm":
            return f"{late}walk after the storm of {due.since}: {few}"
        case "treatment":
            return f"{late}treat stumps: {few}"
        case _:
            return f"{late}see to {few}"


def _description(due: Due, steps: dict[float | None, StepWork]) -> list[str]:
    told = []
    if due.step is not None and due.step in steps:
        step = steps[due.step]
        own = [piece for piece in step.pieces if piece.block in due.blocks]
        crews = dict.fromkeys(piece.crew for piece in own if piece.crew)
        told.append(f"Crew: {joined(list(crews)) if crews else step.crew or 'nobody is named'}.")
        if due.kind == "step" and own:
            boxes = numbers([piece.box for piece in own])
            labels = _few([_line(piece.block.label) for piece in own], _LISTED)
            told.append(f"On the sheet of work: {boxes} ({labels}).")
    match due.kind:
        case "leaf-out":
            told.append("Open what has shut, count what lives, and write an `inspection` into the plan.")
        case "storm":
            told.append("Once the wind is down, looking up; hung, blown and split trees are for a trained feller. "
                        "Write an `inspection` into the plan.")  # fmt: skip
        case "treatment":
            told.append(f"It was due by {due.since}; whether it still may, and how, the label says.")
        case "upkeep":
            told.append(f"Last seen to on {due.since}.")
    if due.overdue:
        told.append("Its day is past; it stands on the day that the plan was judged by.")
    return told


def _few(names: Sequence[str], most: int = _NAMED) -> str:
    more = len(names) - most
    return f"{', '.join(names[:most])} and {more} more" if more > 0 else joined(list(names))


def _line(text: str) -> str:
    return " ".join(clean(text).split())
