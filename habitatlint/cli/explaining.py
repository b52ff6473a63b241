"""`rules --at`: why rules did or did not fire at a line of a plan."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

from habitatlint import files
from habitatlint.cli.project import project_of
from habitatlint.outputs.explanations import as_json, listing, whole
from habitatlint.outputs.sentences import clean
from habitatlint.rulebook.explaining import Inquiry, Unanswerable
from habitatlint.source import Source

#: so many folders above a file are looked in for the plan that includes it
_HIGHEST = 8


class Place(NamedTuple):
    """A line of a file, as `check` writes it."""

    path: str
    line: int


def place_of(written: str) -> Place:
    """PLAN:LINE, or with a column behind, as a finding begins. Raises Unanswerable."""
    found = re.fullmatch(r"(?s)(.+?):(\d{1,9})(?::\d*)?:?", written)
    if found is None or not int(found[2]):
        raise Unanswerable(f"`{clean(written)}` is no place; give a plan and a line of it, such as my-farm.habitat:12")
    return Place(found[1], int(found[2]))


def explain(name: str, written: str, form: str, today: date | None) -> str:
    """Why a rule, or every rule where none is named, did or did not fire at a place: the page that says so. Raises
    Unanswerable, and FileTrouble for what cannot be read."""
    place = place_of(written)
    asked = files.read_source(place.path)
    inquiry = Inquiry(name, asked.name, place.line)
    plan = _plan_of(place.path, asked)
    project = project_of(plan.name)
    try:
        report = project.review.inquired(plan, project.policy(today), inquiry)
    except Unanswerable as trouble:
        raise Unanswerable(clean(str(trouble))) from None
    (block,) = inquiry.blocks
    every = inquiry.answers(block)
    shown = f"{clean(asked.name)}:{place.line}"
    if form == "json":
        return as_json(every, asked.name, place.line, block.label, report.units)
    if name:
        return whole(every[0], shown, report.units)
    return listing(every, shown, block.label, report.units)


def _plan_of(path: str, asked: Source) -> Source:
    """The plan that a file is judged in: itself where it has a head, else the first plan in its folder or above that
    includes it, else itself."""
    project = project_of(path)
    today = project.policy()
    itself = project.review.check(asked, today)
    if itself.plan.head is not None:
        return asked
    for other in _above(path):
        if os.path.basename(path) in other.text:
            report = project.review.check(other, today)
            if asked.name in report.included:
                return other
    return asked


def _above(path: str) -> Iterator[Source]:
    """The plans of a file's folder, then of those above it."""
    folder = os.path.dirname(path)
    for _ in range(_HIGHEST):
        try:
            names = sorted(name for name in os.listdir(folder or os.curdir) if name.endswith(files.PLAN_ENDING))
        except OSError:
            return
        for name in names:
            other = os.path.join(folder, name)
            if files.shown(other) != files.shown(path):
                try:
                    yield files.read_source(other)
                except files.FileTrouble:
                    continue
        above = os.path.normpath(os.path.join(folder, os.pardir)) if folder else os.pardir
        if os.path.realpath(above or os.curdir) == os.path.realpath(folder or os.curdir):
            return
        folder = "" if above == os.curdir else above
