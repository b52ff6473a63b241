"""`map`: a plan read, judged and drawn, and its files written."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

import click

from habitatlint import files
from habitatlint.cli.assembly import page_assets, picture_beneath, print_assets
from habitatlint.cli.project import project_of
from habitatlint.measures.scent import bearings
from habitatlint.measures.winds import WINDS
from habitatlint.outputs.map import press, sheets
from habitatlint.outputs.map.drawing import Drawing, draw
from habitatlint.outputs.map.sheets import Unprintable
from habitatlint.outputs.sentences import clean, lines_unread
from habitatlint.reading.grammar import did_you_mean, near

#: what is printed, by the ending of its file
PRINTED = (".pdf", ".svg", ".png")
PAGE = ".html"
_WIND_WORDS = re.compile("north|east|south|west")


class Wanted(NamedTuple):
    """What is asked of a map; "" and None are for the command to choose."""

    output: str
    paper: str = ""
    landscape: bool | None = None
    scale: str | None = None
    pocket: str = ""
    wind: str | None = None
    today: date | None = None


def draw_map(plan: str, wanted: Wanted) -> Iterator[str]:
    """Writes the map of a plan, and gives a line for each thing to be told.

    Raises Unprintable or FileTrouble, with one line, before any file is written; should a disk give out half-way
    through several sheets, FileTrouble says which are written.
    """
    ending = os.path.splitext(wanted.output)[1].lower()
    if os.path.isdir(wanted.output):
        raise Unprintable(f"{_shown(wanted.output)}: a folder; give the file in it that the map is written to")
    if ending not in (*PRINTED, PAGE):
        raise Unprintable(f"{_shown(wanted.output)}: no map is written so; end the file in .pdf, .svg, .png or .html")
    on_paper = (wanted.paper, wanted.scale, wanted.pocket, wanted.landscape is not None)
    if ending == PAGE and any(on_paper):
        raise Unprintable("a page has no sheets: leave out paper, scale and pocket, or end the file in .pdf")
    scale = sheets.read_scale(wanted.scale) if wanted.scale is not None else None
    wind = _wind(wanted.wind) if wanted.wind is not None else None
    project = project_of(plan)
    policy = project.policy(wanted.today)
    report = project.review.check(files.read_source(plan), policy)
    drawing = draw(report, bearings(report.scene)[wind] if wind is not None else None)
    if ending == PAGE:
        yield _page(drawing, wanted, policy.today)
        return
    layout = sheets.lay_out(drawing, wanted.paper, wanted.landscape, scale, wanted.pocket)
    printed = press.press(drawing, layout, ending[1:], print_assets(), policy.today, files.find_picture)
    for trouble in printed.told:
        click.echo(str(trouble), err=True)
    if unread := lines_unread(report):
        click.echo(f"{_shown(plan)}: warning: {unread}, and what they say is not drawn; `check` tells which", err=True)
    names = _names(wanted.output, len(printed.pages))
    files.write_files(dict(zip(names, printed.pages, strict=True)))
    paper = f"{layout.page.paper}, {'landscape' if layout.page.landscape else 'portrait'}"
    found = f"{printed.numbered} of {_findings(len(drawing.numbered))} numbered on the map"
    count = f"{len(layout.sheets)} sheet{'s' if len(layout.sheets) > 1 else ''}"
    if len(names) > len(layout.sheets):
        paper += ", and the key"
    file = _shown(names[0]) + (f" to {_shown(names[-1])}" if len(names) > 1 else "")
    yield f"{file}: {count} of {paper}, {sheets.scale_words(layout.scale, report.units)}; {found}"


def _page(drawing: Drawing, wanted: Wanted, today: date) -> str:
    from habitatlint.outputs.page import page

    picture, told = picture_beneath(drawing, files.find_picture)
    if told:
        click.echo(told, err=True)
    text = page(drawing, page_assets(), today=today, picture=picture)
    files.write_files({wanted.output: text.encode()})
    return f"{_shown(wanted.output)}: a page; {_findings(len(drawing.numbered))}"


def _wind(wind: str) -> int:
    """A wind by its name: its place among the sixteen."""
    name = _WIND_WORDS.sub(lambda word: word[0][0], wind.strip().lower()).replace("-", "").replace(" ", "").upper()
    if name not in WINDS:
        hint = did_you_mean(near(wind, WINDS)) or "; it is one of sixteen: N, NNE, NE, ENE, E and so on round to NNW"
        raise Unprintable(f"no wind is called `{clean(wind)[:60]}`{hint}")
    return WINDS.index(name)


def _names(output: str, count: int) -> list[str]:
    """A name for each file: the one given, or numbered where there are several."""
    stem, ending = os.path.splitext(output)
    return [output] if count == 1 else [f"{stem}-{number}{ending}" for number in range(1, count + 1)]


def _findings(count: int) -> str:
    return f"{count} finding{'' if count == 1 else 's'}"


def _shown(path: str) -> str:
    return clean(path.replace(os.sep, "/"))
