"""`format`: plans laid out in the standard form, in place, or what that would change."""

from __future__ import annotations

import codecs
import os
import sys
from collections.abc import Iterable

import click

from habitatlint import files
from habitatlint.language.formatting import formatted
from habitatlint.language.plan import plan_grammar
from habitatlint.outputs.sentences import clean
from habitatlint.settings import plans_in
from habitatlint.source import Source

#: what a plan read from standard input is called
STANDARD_INPUT = "standard-input.habitat"


def format_plans(plans: Iterable[str], *, check: bool) -> tuple[int, list[str]]:
    """Lays plans out, or with `check` shows what that would change; gives how many it changed or would change, and
    a line for each that cannot be read or written. A plan from standard input goes to standard output."""
    grammar = files.grammar("plan", plan_grammar)
    troubles: list[str] = []
    changed = 0
    for path in each_plan(plans, troubles):
        try:
            before = sys.stdin.buffer.read(files.LARGEST_FILE + 1) if path == "-" else files.read_bytes(path)
            name = STANDARD_INPUT if path == "-" else files.shown(path)
            source = Source(name, files.decode(before, name))
            text = formatted(source, grammar)
            changed += text != source.text
            if check:
                mark = "\ufeff" if before.startswith(codecs.BOM_UTF8) else ""
                show_diff(name, mark + source.text, mark + text)
            elif path == "-":
                click.echo(files.encode(text, before), nl=False)
            elif files.rewrite(path, before, files.encode(text, before)):
                click.echo(f"{clean(name)}: laid out", err=True)
        except files.FileTrouble as trouble:
            troubles.append(str(trouble))
    return changed, troubles


def each_plan(plans: Iterable[str], troubles: list[str]) -> list[str]:
    """Every plan once: files, and those in folders; but for those that the settings exclude."""
    paths: list[str] = []
    for plan in plans:
        try:
            paths += [plan] if plan == "-" else plans_in(plan)
        except files.FileTrouble as trouble:
            troubles.append(str(trouble))
    return list(dict.fromkeys(paths))


def show_diff(name: str, before: str, after: str) -> None:
    """What would change, as a diff by the path from here; for a terminal without what could act on it."""
    from habitatlint.outputs.diff import diff  # felt at every start, and wanted only here

    if os.path.isabs(name):  # git takes no path from the root
        here = files.shown(os.path.relpath(name))
        name = name if here.startswith("../") else here
    for line in diff(name, before, after):
        click.echo(f"{clean(line.rstrip())}\n" if sys.stdout.isatty() else line, nl=False)
