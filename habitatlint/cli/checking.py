"""`check`: plans gathered, judged, held to a baseline, and shown."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Callable, Iterable
from collections.abc import Set as AbstractSet
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.formatting import plans_in
from habitatlint.cli.project import Project, project_of
from habitatlint.findings import Level, Policy
from habitatlint.outputs import Run, Style, render
from habitatlint.source import Source

if TYPE_CHECKING:  # most runs have no baseline
    from habitatlint.outputs.baseline import Entry

#: exit status: nothing at or above the failing level; findings; the command could not do its work
CLEAN, FOUND, FAILED = 0, 1, 2


class Wanted(NamedTuple):
    """What was asked of `check`: how findings are shown, by which day and level, and against which baseline.

    `name` is what a plan read from standard input is called; `changed` says that the plans named are files that
    changed, of which those without a head are judged in the plans that include them.
    """

    form: str = "text"
    name: str = "standard-input.habitat"
    today: date | None = None
    failing: Level | None = None
    changed: bool = False
    baseline: str = ""
    write_baseline: str = ""
    colour: bool = False
    timed: bool = False


class Outcome(NamedTuple):
    """What is printed, what is told on standard error, and the exit status."""

    page: str
    troubles: tuple[str, ...]
    status: int


class _Gathered(NamedTuple):
    """Sources by name, the names of those that were named as files, and what cannot be read."""

    sources: dict[str, Source]
    named: set[str]
    troubles: list[str]


def check_plans(plans: Iterable[str], wanted: Wanted) -> Outcome:
    """Checks plans. Raises FileTrouble for a baseline that cannot be read or written."""
    start = time.perf_counter()
    gathered = _gather(plans, wanted)
    reports = _reports(gathered, wanted)
    troubles = tuple(gathered.troubles)
    run = Run(baseline=wanted.baseline or wanted.write_baseline, troubles=troubles)
    if wanted.write_baseline and not troubles:  # what could not be read would be missing in it
        _write_baseline(wanted.write_baseline, reports)
    if run.baseline and not (wanted.write_baseline and troubles):
        reports, gone = _held(run.baseline, reports)
        run = run._replace(gone=gone)
    run = run._replace(status=_status(reports, run, wanted))
    if wanted.form == "sarif":  # its fixes are mends that were tried
        reports = [_project(report).review.tried(report, _policy(report, wanted)) for report in reports]
    style = Style(wanted.colour, time.perf_counter() - start if wanted.timed else None, run)
    # a log says of what could not be read that the run failed; the other forms have nothing to show
    page = render(wanted.form, reports, style) if reports or wanted.form == "sarif" else ""
    return Outcome(page, troubles, run.status)


def _project(report: Report) -> Project:
    return project_of(report.source.name)


def _policy(report: Report, wanted: Wanted) -> Policy:
    return _project(report).policy(wanted.today, wanted.failing)


def _status(reports: Iterable[Report], run: Run, wanted: Wanted) -> int:
    if run.troubles:
        return FAILED
    failing = [(report.worst(), _policy(report, wanted).failing) for report in reports]
    stale = bool(run.gone) and any(least <= Level.note for _, least in failing)
    return FOUND if stale or any(worst >= least for worst, least in failing) else CLEAN


def _gather(plans: Iterable[str], wanted: Wanted) -> _Gathered:
    gathered = _Gathered({}, set(), [])
    for plan in dict.fromkeys(plans):
        try:
            if plan == "-":
                text = files.decode(sys.stdin.buffer.read(files.LARGEST_FILE + 1), wanted.name)
                gathered.sources[wanted.name] = Source(wanted.name, text)
                continue
            paths = plans_in(plan)
            read = [files.read_source(path) for path in paths]
            gathered.sources.update({source.name: source for source in read})
            if paths == [plan]:  # a plan that is named, and not passed over by the settings
                gathered.named.add(read[0].name)
        except files.FileTrouble as trouble:
            gathered.troubles.append(str(trouble))
    return gathered


def _reports(gathered: _Gathered, wanted: Wanted) -> list[Report]:
    """The plans' reports by name, each judged by the settings that it stands under. A file that is included, and that
    has no head of its own, is judged in the plan that includes it; by itself too where it was named, unless the files
    named are those that changed."""
    sources, named = gathered.sources, gathered.named

    def judged(source: Source) -> Report:
        project = project_of(source.name)
        return project.review.check(source, project.policy(wanted.today, wanted.failing))

    reports = [judged(source) for source in sources.values()]
    if wanted.changed:
        others = [judged(source) for source in _naming(sources.keys())]
        reports += [report for report in others if report.plan.head is not None and report.included & sources.keys()]
        named = set()
    reports.sort(key=lambda report: report.source.name)
    included = {name for report in reports for name in report.included}
    return [
        report
        for report in reports
        if report.source.name in named or report.source.name not in included or report.plan.head is not None
    ]


def _naming(names: AbstractSet[str]) -> list[Source]:
    """Other plans here and below that may include one of these files, by way of others too: those whose text has its
    name."""
    here = []
    with contextlib.suppress(files.FileTrouble):  # no plans here
        for path in files.plans_in(os.curdir):
            with contextlib.suppress(files.FileTrouble):  # not one that was asked for
                here.append(files.read_source(path))
    found: dict[str, Source] = {}
    wanted = names
    while wanted:
        ends = {os.path.basename(name) for name in wanted}
        more = {one.name: one for one in here if one.name not in found and any(end in one.text for end in ends)}
        found.update(more)
        wanted = more.keys()
    return [source for name, source in found.items() if name not in names]


def _held(path: str, reports: list[Report]) -> tuple[list[Report], int]:
    """Reports without what a baseline has, and how many of its findings are gone."""
    from habitatlint.outputs import baseline

    entries = _read_baseline(path)
    folder = os.path.dirname(path)
    missing = {plan for plan in {entry.plan for entry in entries} if not _is_there(folder, plan)}
    sifted = baseline.held(reports, entries, _seen_from(path), missing)
    return list(sifted.reports), len(sifted.gone)


def _write_baseline(path: str, reports: list[Report]) -> None:
    """Writes what was found over what a baseline said of the same plans. It is no plan that is written over: a file
    that is no baseline is left alone."""
    from habitatlint.outputs import baseline

    seen_from, folder = _seen_from(path), os.path.dirname(path)
    looked_at = {seen_from(report.source.name) for report in reports}
    held = _read_baseline(path) if os.path.lexists(path) else []
    kept = [one for one in held if one.plan not in looked_at and _is_there(folder, one.plan)]
    text = baseline.written([*baseline.entries_of(reports, seen_from), *kept])
    files.write_files({os.path.realpath(path): text.encode()})


def _read_baseline(path: str) -> list[Entry]:
    from habitatlint.outputs.baseline import BaselineTrouble, read

    remedy = "take the file away and write it with --write-baseline"
    shown = path.replace(os.sep, "/")
    if not os.path.lexists(path):
        raise files.FileTrouble(f"{shown}: no such baseline; write it with --write-baseline")
    try:
        return read(files.read_source(path).text)
    except files.FileTrouble as trouble:
        raise files.FileTrouble(f"{str(trouble).partition(';')[0]}; {remedy}") from None
    except BaselineTrouble as trouble:
        line = f":{trouble.line}" if trouble.line else ""
        raise files.FileTrouble(f"{shown}{line}: {trouble}; {remedy}") from None


def _is_there(folder: str, plan: str) -> bool:
    """Whether a plan of a baseline is still there."""
    try:
        return os.path.exists(os.path.join(folder, plan))
    except ValueError:  # no path at all
        return False


def _seen_from(path: str) -> Callable[[str], str]:
    """Gives plans' paths as seen from a baseline's folder, whatever folder the command is run in."""
    folder = os.path.dirname(os.path.abspath(path))
    return lambda name: os.path.relpath(os.path.abspath(name), folder).replace(os.sep, "/")
