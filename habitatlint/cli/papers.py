"""A paper given out: as text or CSV on standard output, or to a file in the form that its ending says."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from typing import NamedTuple

import click

from habitatlint import files
from habitatlint.outputs.papers.paper import Paper, Table
from habitatlint.outputs.sentences import clean


class Unwritten(Exception):
    """A paper cannot be given out as asked; the message says why and what to do, in one line."""


class Given(NamedTuple):
    """A paper, the table that its CSV holds (None: it has none), and further forms by their ending (".ics")."""

    paper: Paper
    table: Table | None = None
    others: Mapping[str, Callable[[], bytes]] = {}


def give(given: Given, output: str, form: str = "text", paper: str = "", units: str = "yd") -> None:
    """Prints a paper as `form` (text, csv), or writes it to the file `output` by its ending.

    `paper` is the paper it is printed on ("letter", "a4"), "" for the usual one of the plan's `units`. Raises
    Unwritten or FileTrouble with one line, before any file is written."""
    if not output:
        click.echo(_text(given, form), nl=False)
        return
    ending = os.path.splitext(output)[1].lower()
    shown = clean(output.replace(os.sep, "/"))
    forms = _forms(given, paper, units)
    if os.path.isdir(output):
        raise Unwritten(f"{shown}: a folder; give the file in it that is to be written")
    if ending not in forms:
        raise Unwritten(f"{shown}: it is not written so; end the file in {_either(list(forms))}")
    files.write_files({output: forms[ending]()})
    click.echo(f"{shown}: written")


def _text(given: Given, form: str) -> str:
    from habitatlint.outputs.papers.as_csv import as_csv
    from habitatlint.outputs.papers.as_text import as_text

    if form == "csv":
        if given.table is None:
            raise Unwritten("this has no one table, and so no CSV")
        return as_csv(given.table)
    return as_text(given.paper)


def _forms(given: Given, paper: str, units: str) -> dict[str, Callable[[], bytes]]:
    forms: dict[str, Callable[[], bytes]] = {".txt": lambda: _text(given, "text").encode()}
    if given.table is not None:
        forms[".csv"] = lambda: _text(given, "csv").encode()
    forms[".pdf"] = lambda: _printed(given.paper, paper, units)
    forms[".html"] = lambda: _page(given.paper)
    return forms | dict(given.others)


def _printed(paper: Paper, on: str, units: str) -> bytes:
    from habitatlint.cli.assembly import paper_assets
    from habitatlint.outputs.papers.as_print import as_print

    return as_print(paper, paper_assets(), on or ("a4" if units == "m" else "letter"))


def _page(paper: Paper) -> bytes:
    from habitatlint.cli.assembly import paper_page_assets
    from habitatlint.outputs.papers.as_page import as_page

    return as_page(paper, paper_page_assets()).encode()


def _either(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
