"""`import`: waypoints, tracks and areas become a plan, or are added to one."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from typing import NamedTuple, TypeVar

import click

from habitatlint import files
from habitatlint.exchange import forms
from habitatlint.exchange.features import LARGEST_FILE, Contents, ExchangeTrouble
from habitatlint.exchange.importing import USUAL_TOLERANCE, into_new, into_plan
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import plan_grammar, read_plan
from habitatlint.outputs.sentences import clean
from habitatlint.source import Source
from habitatlint.units import UNITS

Made = TypeVar("Made")


class Wanted(NamedTuple):
    """What is asked of an import. `into` is the plan it is added to, `output` the new plan's file; both "" for a plan
    on standard output. `tolerance` is as a person writes it, "" for the usual one."""

    into: str = ""
    output: str = ""
    tolerance: str = ""
    units: str = ""
    title: str = ""


def import_files(paths: Sequence[str], wanted: Wanted) -> None:
    """Reads files and writes what they hold as a plan, or at the end of one.

    Raises FileTrouble with one line, before anything is written."""
    if wanted.into and wanted.output:
        raise files.FileTrouble("give --into or -o, not both: one adds to a plan, the other begins one")
    if wanted.into and (wanted.units or wanted.title):
        raise files.FileTrouble("the plan given by --into has its own units and title: leave out --units and --title")
    tolerance = read_tolerance(wanted.tolerance, wanted.units or "yd")
    contents = read_contents(paths)
    if wanted.into:
        _merge(wanted.into, contents, tolerance)
        return
    grammar = files.grammar("plan", plan_grammar)
    brought = told_by(
        contents, lambda: into_new(contents, grammar, tolerance=tolerance, units=wanted.units, title=wanted.title)
    )
    if not wanted.output:
        click.echo(brought.text, nl=False)
        tell(brought.told, [name for name, _ in contents])
        return
    path = wanted.output if wanted.output.endswith(files.PLAN_ENDING) else wanted.output + files.PLAN_ENDING
    files.write_new(path, brought.text)
    tell(brought.told, [name for name, _ in contents])
    click.echo(f"{clean(files.shown(path))}: begun with {_blocks(brought.added)}")


def _merge(path: str, contents: Sequence[tuple[str, Contents]], tolerance: float) -> None:
    before = files.read_bytes(path)
    source = Source(files.shown(path), files.decode(before, files.shown(path)))
    grammar = files.grammar("plan", plan_grammar)
    scene = Scene(read_plan(source, grammar, files.find_beside))
    brought = told_by(contents, lambda: into_plan(scene, contents, grammar, tolerance=tolerance))
    if brought.text:
        files.rewrite(path, before, before + brought.text.encode())
    tell(brought.told, [name for name, _ in contents])
    there = f"; {_blocks(brought.already)} of it stood there already" if brought.already else ""
    name = clean(source.name)
    click.echo(f"{name}: {_blocks(brought.added)} added{there}" if brought.added else f"{name}: nothing to add{there}")


def read_contents(paths: Sequence[str]) -> list[tuple[str, Contents]]:
    """What is in each of several files."""
    return [file_contents(path) for path in paths]


def file_contents(path: str) -> tuple[str, Contents]:
    """What is in a file, and the name it is told by; raises FileTrouble with its name."""
    name = files.shown(path)
    if not os.path.lexists(path):
        raise files.FileTrouble(f"{clean(name)}: no such file; give what a receiver, a phone or a map program saved")
    try:
        ending = forms.ending_of(path)
        parts = {ending: files.read_bytes(path, most=LARGEST_FILE)}
        for other in forms.beside(path):
            lies = path[: -len(ending)] + other
            if os.path.exists(lies):
                parts[other] = files.read_bytes(lies, most=LARGEST_FILE)
        return clean(os.path.basename(name)), forms.read(path, parts)
    except ExchangeTrouble as trouble:
        raise files.FileTrouble(_with_place(clean(name), str(trouble))) from None


def told_by(contents: Sequence[tuple[str, Contents]], make: Callable[[], Made]) -> Made:
    """What is made of files; their troubles are told by their names."""
    try:
        return make()
    except ExchangeTrouble as trouble:
        said = str(trouble)
        names = ", ".join(name for name, _ in contents)
        raise files.FileTrouble(clean(said if said.partition(":")[0].endswith(files.PLAN_ENDING)
                                      else f"{names}: {said}")) from None  # fmt: skip


def _with_place(name: str, said: str) -> str:
    return f"{name}{said}" if said.startswith(":") else f"{name}: {said}"


def tell(told: Sequence[str], names: Sequence[str]) -> None:
    """A line on standard error for each thing to be told, with the file it is of."""
    for line in told:
        of_one = any(line.startswith(f"{name}: ") for name in names)
        click.echo(clean(line if of_one else f"{', '.join(names)}: {line}"), err=True)


def _blocks(count: int) -> str:
    return f"{count} block{'' if count == 1 else 's'}"


_LENGTH = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*(yd|ft|in|m|cm)?\s*")


def read_tolerance(said: str, units: str) -> float:
    """A tolerance in metres, as a person writes it; a bare number is in the plan's unit."""
    if not said:
        return USUAL_TOLERANCE
    found = _LENGTH.fullmatch(said)
    size = float(found[1]) * UNITS[found[2] or units][1] if found else -1.0
    if not 0 <= size <= 100:
        raise files.FileTrouble(f"`{clean(said)[:40]}` is no tolerance; give a length such as 3yd or 2m, 0 for none")
    return size
