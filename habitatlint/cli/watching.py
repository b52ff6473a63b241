"""`watch`: judges a plan at each save, tells what is found, and keeps its page fresh."""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple, TypeVar

import click

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.assembly import page_assets, picture_beneath
from habitatlint.cli.project import forget, project_of
from habitatlint.cli.serving import Server, Shown
from habitatlint.language.blocks import Block
from habitatlint.outputs import Style, render
from habitatlint.outputs.map.drawing import Drawing, draw
from habitatlint.outputs.map.picture import Picture
from habitatlint.outputs.page import page, policy
from habitatlint.outputs.sentences import clean
from habitatlint.reading.blocks import Memory
from habitatlint.reading.grammar import listed
from habitatlint.settings import places_for
from habitatlint.source import Source

#: slips on what is written and cannot be read, or not yet, so that the map lacks it
UNREAD = frozenset({"syntax", "unknown-word", "bad-value", "include-trouble"})
#: so many of the lines that cannot be read are named
MOST_NAMED = 5
#: so many blocks are kept as read, of all that a day's edits bring
MOST_KEPT = 50_000
#: milliseconds: how long nothing changes once a save is over, how long a save may take, and when the files are
#: looked at though no change was told of, for disks of a network tell of none
SETTLED, LONGEST_SAVE, LOOK_ANYWAY = 50, 400, 500

Found = TypeVar("Found")


class Drawn(NamedTuple):
    """A plan as it was drawn: with the picture beneath, its time of day, its day, and where it could not be read
    (file and line)."""

    drawing: Drawing
    picture: Picture | None
    time: str
    today: date
    unread: tuple[tuple[str, int], ...]


class Look(NamedTuple):
    """What a look at the plan gave: its time of day, the report, a notice where something stands in the way, and
    what to show. There is no report where the plan could not be read or judged; the notice then tells why."""

    time: str
    report: Report | None
    notice: str
    shown: Shown


class Desk:
    """A plan on the desk, looked at anew after each save. Not for several threads at once."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._memory: Memory = {}
        #: what was read, and how it stood on the disk just before
        self._read: dict[str, object] = {}
        #: the last good map, and what was shown last
        self._good: Drawn | None = None
        self._last: Drawn | None = None
        self._run, self._looks = secrets.token_hex(4), 0

    def look(self) -> Look:
        """Reads, judges and draws the plan.

        Raises FileTrouble where the plan cannot be read the first time; later its page stays, and the notice
        tells why.
        """
        now = time.strftime("%H:%M:%S")
        try:
            report, today = self._report()
            drawing = draw(report)
            picture, notice = picture_beneath(drawing, self._noting(files.find_picture))
            drawn, good = Drawn(drawing, picture, now, today, _unread(report)), self._good
            if good is None or len(drawn.unread) <= len(good.unread):
                good = drawn
            else:
                drawn = drawn._replace(drawing=_on_map_of(good.drawing, drawing), picture=good.picture)
                lines = _named(drawn.unread, report.source)
                notice = f"the map is of {good.time}: {lines} cannot be read yet; findings are of the text as it stands"
            shown = self._page(drawn, notice)
        except Exception as error:
            if self._last is None:
                raise
            notice = f"{_told(error)}; the page is of {self._last.time}"
            return Look(now, None, notice, self._page(self._last, notice))
        self._good, self._last = good, drawn
        return Look(now, report, notice, shown)

    def changes(self) -> Iterator[None]:
        """Comes whenever something that was read is no longer as it was, and never ends."""
        while True:
            folders = self._folders()
            with contextlib.closing(_stirs(folders)) as stirs:
                for _ in stirs:
                    if any(_state(path) != before for path, before in self._read.items()):
                        yield
                    if self._folders() != folders:
                        break

    def _report(self) -> tuple[Report, date]:
        """The plan judged by the settings as they now are, and the day it was judged by."""
        self._read = {}
        self._note(self._path)
        for path in places_for(self._path):
            self._note(path)
        forget()
        project = project_of(self._path)
        policy = project.policy()
        source = files.read_source(self._path)
        if self._last is not None and not source.text.strip():
            raise files.FileTrouble(f"{source.name}: nothing is in it")  # a save is under way, or went wrong
        if len(self._memory) > MOST_KEPT:
            self._memory.clear()
        find, find_pack = self._noting(project.review.find), self._noting(project.review.find_pack)
        judge = replace(project.review, find=find, find_pack=find_pack, memory=self._memory)
        return judge.check(source, policy), policy.today

    def _page(self, drawn: Drawn, notice: str) -> Shown:
        self._looks += 1
        mark, assets = f"{self._run}-{self._looks}", page_assets()
        text = page(drawn.drawing, assets, today=drawn.today, picture=drawn.picture, live=mark, notice=notice)
        return Shown(mark, text, policy(assets, live=True))

    def _noting(self, find: Callable[[str, Source], Found]) -> Callable[[str, Source], Found]:
        """The same, which notes what it is asked for, whether it finds it or not."""

        def noted(path: str, source: Source) -> Found:
            self._note(os.path.join(os.path.dirname(source.name), path))
            return find(path, source)

        return noted

    def _note(self, path: str) -> None:
        # before it is read, so that what changes meanwhile is seen to have changed
        self._read[path] = _state(path)

    def _folders(self) -> set[str]:
        """Folders in which a change may be one of what was read; a link's own folder and that of its target."""
        near = {folder for path in self._read for folder in (path, os.path.dirname(path) or ".")}
        far = {os.path.dirname(os.path.realpath(path)) for path in self._read}
        return {folder for folder in near | far if os.path.isdir(folder)}


def watch(path: str, form: str, *, colour: bool, port: int = 0) -> None:
    """Looks at a plan after each save until it is interrupted: findings to standard output, the rest to standard error.

    Raises FileTrouble where the plan cannot be read at the start, PortTrouble where the port cannot be had.
    """
    server = Server(port)
    desk = Desk(path)
    look = desk.look()
    server.start(look.shown)
    click.echo(f"the page of {clean(path)} (Ctrl-C ends this): {server.address}", err=True)
    _tell(look, form, colour)
    for _ in desk.changes():
        look = desk.look()
        server.show(look.shown)
        _tell(look, form, colour)


def _tell(look: Look, form: str, colour: bool) -> None:
    click.echo(f"{look.time} {'checked' if look.report is not None else 'not checked'}", err=True)
    if look.notice:
        click.echo(look.notice, err=True)
    if look.report is not None:
        click.echo(render(form, [look.report.verdict], Style(colour)), nl=False)


def _told(error: Exception) -> str:
    """What stood in the way of a look: of the file, of its text, or of our own making."""
    if isinstance(error, files.FileTrouble):
        return clean(str(error))
    if isinstance(error, RecursionError):
        return "the text nests too deeply to be read; simplify it"
    fault = clean(f"{type(error).__name__}: {error}")
    return f"a fault of this program, not of your plan: {fault}; please report it with the plan"


def _unread(report: Report) -> tuple[tuple[str, int], ...]:
    """File and line of all that is written in a plan and cannot be read."""
    slips = (slip for slip in report.plan.slips if slip.kind in UNREAD)
    return tuple(sorted({(slip.span.source.name, slip.span.line) for slip in slips}))


def _named(places: Sequence[tuple[str, int]], source: Source) -> str:
    """`lines 12 and 40`; of another file than the plan's own with the file's name."""
    names = [str(line) if name == source.name else f"{clean(name)}:{line}" for name, line in places]
    if len(names) > MOST_NAMED:
        names[MOST_NAMED:] = [f"{len(names) - MOST_NAMED} more"]
    return f"{'line' if len(places) == 1 else 'lines'} {listed(names, 'and')}"


def _on_map_of(good: Drawing, now: Drawing) -> Drawing:
    """The present text and findings on the good map, whose marks lead to where their blocks stand now."""
    present = {_kept_by(block): block for block in now.report.plan.blocks}
    marks = tuple(
        mark._replace(block=present.get(_kept_by(mark.block)) if mark.block is not None else None)
        for mark in good.marks
    )
    return now._replace(marks=marks, bounds=good.bounds)


def _kept_by(block: Block) -> str:
    """What a block is known by though lines are put before it: its name, else its text."""
    placed = block.placed
    return block.name or placed.source.text[placed.offset : placed.offset + placed.length].strip()


def _state(path: str) -> object:
    """How a file, or a folder of rules, stands on the disk; None where it is not there."""
    try:
        held = os.stat(path)
        if stat.S_ISDIR(held.st_mode):
            names = sorted(name for name in os.listdir(path) if name.endswith(files.RULE_ENDING))
            return [(name, _state(os.path.join(path, name))) for name in names]
    except OSError:
        return None
    return held.st_ino, held.st_size, held.st_mtime_ns


def _stirs(folders: set[str]) -> Generator[None, None, None]:
    """Comes at once, when something in the folders has changed, and now and then besides."""
    import watchfiles

    yield
    try:
        for _ in watchfiles.watch(
            *folders, watch_filter=None, recursive=False, step=SETTLED, debounce=LONGEST_SAVE,
            rust_timeout=LOOK_ANYWAY, yield_on_timeout=True, ignore_permission_denied=True,
        ):  # fmt: skip
            yield
    except (OSError, RuntimeError):  # a folder has just gone, or the system has no more watches to give
        pass
    while True:
        time.sleep(LOOK_ANYWAY / 1000)
        yield
