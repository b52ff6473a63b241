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
from habitatlint.cli.judging import Job
from habitatlint.cli.many import Way, judge_all
from habitatlint.findings import Level
from habitatlint.outputs import Run, Style, render
from habitatlint.settings import plans_in, settings_for
from habitatlint.source import IncludeTrouble, Source
from habitatlint.verdict import Verdict

if TYPE_CHECKING:  # most runs have no baseline, and show no rules
    from habitatlint.outputs.baseline import Entry
    from habitatlint.rulebook.book import Rulebook
    from habitatlint.rulebook.rules import Rule

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
    way: Way = Way()


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
    verdicts = _verdicts(gathered, wanted)
    troubles = tuple(gathered.troubles)
    run = Run(baseline=wanted.baseline or wanted.write_baseline, troubles=troubles)
    if wanted.write_baseline and not troubles:  # what could not be read would be missing in it
        _write_baseline(wanted.write_baseline, verdicts)
    if run.baseline and not (wanted.write_baseline and troubles):
        verdicts, gone = _held(run.baseline, verdicts)
        run = run._replace(gone=gone)
    run = run._replace(failing=_fails(verdicts, wanted))
    run = run._replace(status=_status(verdicts, run, wanted))
    if wanted.form == "sarif":
        run = run._replace(rules=_rules(verdicts))
    style = Style(wanted.colour, time.perf_counter() - start if wanted.timed else None, run)
    # a log says of what could not be read that the run failed; the other forms have nothing to show
    page = render(wanted.form, verdicts, style) if verdicts or wanted.form == "sarif" else ""
    return Outcome(page, troubles, run.status)


def _failing(verdict: Verdict, wanted: Wanted) -> Level:
    """The level from which a plan's findings fail the run: as the command line says, else as its settings do."""
    level = wanted.failing if wanted.failing is not None else settings_for(verdict.source.name).failing
    return Level.error if level is None else level


def _fails(verdicts: Iterable[Verdict], wanted: Wanted) -> bool:
    return any(verdict.worst() >= _failing(verdict, wanted) for verdict in verdicts)


def _status(verdicts: Iterable[Verdict], run: Run, wanted: Wanted) -> int:
    if run.troubles:
        return FAILED
    stale = bool(run.gone) and any(_failing(verdict, wanted) <= Level.note for verdict in verdicts)
    return FOUND if stale or run.failing else CLEAN


def _rules(verdicts: Iterable[Verdict]) -> dict[str, Rule]:
    """Rules by name: those in force where the plans stand, and those of the packs that the plans use."""
    found: dict[str, Rule] = {}
    for verdict in verdicts:
        found |= {rule.name: rule for pack in _book(verdict).packs for rule in pack.rules if rule.name not in found}
    return found


def _book(verdict: Verdict) -> Rulebook:
    """The rules that a plan was judged by."""
    from habitatlint.cli.project import project_of

    review = project_of(verdict.source.name).review
    packs = []
    for path, asker in verdict.packs:
        with contextlib.suppress(IncludeTrouble):
            packs.append(review.find_pack(path, Source(asker, "")))
    return review.rulebook.with_packs(packs)


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


def _verdicts(gathered: _Gathered, wanted: Wanted) -> list[Verdict]:
    """The verdicts on plans by name, each judged by the settings that it stands under. A file that is included, and
    that has no head of its own, is judged in the plan that includes it; by itself too where it was named, unless the
    files named are those that changed."""
    sources, named = gathered.sources, gathered.named

    def judged(every: Iterable[Source]) -> list[Verdict]:
        found = judge_all([_job(source, wanted) for source in every], wanted.way)
        gathered.troubles.extend(found.troubles)
        return found.verdicts

    verdicts = judged(sources.values())
    if wanted.changed:
        others = judged(_naming(sources.keys()))
        verdicts += [one for one in others if one.headed and not sources.keys().isdisjoint(one.included)]
        named = set()
    verdicts.sort(key=lambda verdict: verdict.source.name)
    included = {name for verdict in verdicts for name in verdict.included}
    return [
        verdict
        for verdict in verdicts
        if verdict.source.name in named or verdict.source.name not in included or verdict.headed
    ]


def _job(source: Source, wanted: Wanted) -> Job:
    today = wanted.today or settings_for(source.name).today or date.today()
    return Job(source, today, tried=wanted.form == "sarif")  # that form's fixes are mends that were tried


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


def _held(path: str, verdicts: list[Verdict]) -> tuple[list[Verdict], int]:
    """Verdicts without what a baseline has, and how many of its findings are gone."""
    from habitatlint.outputs import baseline

    entries = _called_anew(_read_baseline(path), verdicts, _seen_from(path))
    folder = os.path.dirname(path)
    missing = {plan for plan in {entry.plan for entry in entries} if not _is_there(folder, plan)}
    sifted = baseline.held(verdicts, entries, _seen_from(path), missing)
    return list(sifted.verdicts), len(sifted.gone)


def _called_anew(entries: Iterable[Entry], verdicts: Iterable[Verdict], path_of: Callable[[str], str]) -> list[Entry]:
    """Entries by the names that rules have now: one that was renamed, or stands in another's place, says what it was
    called formerly."""
    judged = {path_of(verdict.source.name): verdict for verdict in verdicts}
    books: dict[str, Rulebook] = {}
    found = []
    for entry in entries:
        plan, content, _ = entry
        if plan in judged and content.rule not in judged[plan].rules:
            if plan not in books:
                books[plan] = _book(judged[plan])
            if (now := books[plan].now_called(content.rule)) in judged[plan].rules:
                entry = entry._replace(content=content._replace(rule=now))
        found.append(entry)
    return found


def _write_baseline(path: str, verdicts: list[Verdict]) -> None:
    """Writes what was found over what a baseline said of the same plans. It is no plan that is written over: a file
    that is no baseline is left alone."""
    from habitatlint.outputs import baseline

    seen_from, folder = _seen_from(path), os.path.dirname(path)
    looked_at = {seen_from(verdict.source.name) for verdict in verdicts}
    held = _read_baseline(path) if os.path.lexists(path) else []
    kept = [one for one in held if one.plan not in looked_at and _is_there(folder, one.plan)]
    text = baseline.written([*baseline.entries_of(verdicts, seen_from), *kept])
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
