"""The handover: the whole deliverable of a plan on one paper, from map to sources, in sections that can be chosen."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from typing import NamedTuple

from habitatlint.check import Report
from habitatlint.language.blocks import Pocket
from habitatlint.outputs.map import sheets
from habitatlint.outputs.map.drawing import Drawing
from habitatlint.outputs.map.picture import FindPicture
from habitatlint.outputs.papers import findings, ground, tally, winds, work
from habitatlint.outputs.papers.glossary import glossary
from habitatlint.outputs.papers.heading import heading
from habitatlint.outputs.papers.paper import Paper, Section, Sheets, Words, texts
from habitatlint.outputs.papers.sources import sources
from habitatlint.outputs.sentences import CAUTION
from habitatlint.work.order import order_of
from habitatlint.work.tally import Tally, tally_of
from habitatlint.work.winds import wind_table
from habitatlint.work.worth import Worth


class Wanted(NamedTuple):
    """What a handover is made of: the plan judged and drawn, the day it was judged by, where a picture beneath is
    found, what each step of a tally clears (None: left out), the paper of its map, and the consultant's own preface
    ("" for none; a blank line begins a paragraph)."""

    report: Report
    drawing: Drawing
    today: date
    find: FindPicture
    worth: Callable[[Tally], Worth | None] = lambda tally: None
    on: str = ""
    preface: str = ""


def _preface(wanted: Wanted) -> Iterator[Section]:
    paragraphs = [" ".join(one.split()) for one in wanted.preface.replace("\r\n", "\n").split("\n\n")]
    told = tuple(Words(one) for one in paragraphs if one)
    if told:
        yield Section("preface", "To the owner", told)


def _property(wanted: Wanted) -> Iterator[Section]:
    yield ground.the_property(wanted.report)


def _cautions(wanted: Wanted) -> Iterator[Section]:
    yield work.people_first(order_of(wanted.report), wanted.report)


def _map(wanted: Wanted) -> Iterator[Section]:
    layout = sheets.lay_out(wanted.drawing, wanted.on)
    words = f"map of the property, {sheets.scale_words(layout.scale, wanted.report.units)}"
    part = Sheets(wanted.drawing, layout, wanted.today, wanted.find, words)
    yield Section("map", "Map", (part,), apart=True)


def _ground(wanted: Wanted) -> Iterator[Section]:
    """Pockets in words, and what is done elsewhere."""
    report = wanted.report
    inner = [ground.pocket(report, pocket) for pocket in _pockets_of(report)]
    elsewhere = ground.elsewhere(report)
    inner += [elsewhere] if elsewhere is not None else []
    if inner:
        yield Section("ground", "What is done where, and why", (), tuple(inner))


def _pockets(wanted: Wanted) -> Iterator[Section]:
    """Each pocket's part of the map, enlarged."""
    report, parts = wanted.report, []
    for pocket in _pockets_of(report):
        if report.scene.shape_of(pocket) is not None:
            layout = sheets.lay_out(wanted.drawing, wanted.on, pocket=pocket.name)
            words = f"map of {ground.named(pocket)}, {sheets.scale_words(layout.scale, report.units)}"
            parts.append(Sheets(wanted.drawing, layout, wanted.today, wanted.find, words))
    if parts:
        yield Section("pockets", "Each pocket enlarged", tuple(parts), apart=True)


def _pockets_of(report: Report) -> list[Pocket]:
    return [pocket for pocket in report.plan.of(Pocket) if pocket.name and not pocket.broken]


def _work(wanted: Wanted) -> Iterator[Section]:
    # on a clipboard each step is a sheet of its own; bound together they follow one another
    inner = tuple(one._replace(apart=False) for one in work.sections(order_of(wanted.report), wanted.report))
    yield Section("work", "Order of work and cut list", (), inner, apart=True)


def _tally(wanted: Wanted) -> Iterator[Section]:
    counted = tally_of(wanted.report)
    inner = tally.sections(counted, wanted.worth(counted), wanted.report)
    yield Section("tally", "Tally", (), inner, apart=True)


def _winds(wanted: Wanted) -> Iterator[Section]:
    inner = winds.sections(wind_table(wanted.report), wanted.report)
    yield Section("winds", "Winds", (), inner, apart=True)


def _findings(wanted: Wanted) -> Iterator[Section]:
    yield findings.findings_left(wanted.report)


def _waivers(wanted: Wanted) -> Iterator[Section]:
    accepted = findings.waivers(wanted.report)
    if accepted is not None:
        yield accepted


def _sources(wanted: Wanted) -> Iterator[Section]:
    yield sources(wanted.report)


#: a section's name, by which it is chosen, and what makes it; the glossary is made last, of the words that were used
SECTIONS: dict[str, Callable[[Wanted], Iterator[Section]]] = {
    "preface": _preface,
    "property": _property,
    "cautions": _cautions,
    "map": _map,
    "ground": _ground,
    "pockets": _pockets,
    "work": _work,
    "tally": _tally,
    "winds": _winds,
    "findings": _findings,
    "waivers": _waivers,
    "glossary": lambda wanted: iter(()),
    "sources": _sources,
}
#: what is told of people's safety is in every handover, whatever sections are chosen
ALWAYS = "cautions"


def handover(
    wanted: Wanted, chosen: Sequence[str] | None = None, tell: Callable[[str], None] = lambda name: None
) -> Paper:
    """The sections of a handover in the order chosen, all where None is; `tell` hears each section's name before it is
    made. KeyError for a name that is not in `SECTIONS`. The cautions are there whether chosen or not."""
    names = list(SECTIONS if chosen is None else chosen)
    if ALWAYS not in names:
        names.insert(1 if names[:1] == ["preface"] else 0, ALWAYS)
    made: dict[str, list[Section]] = {}
    for name in names:
        tell(name)
        made[name] = list(SECTIONS[name](wanted))
    if "glossary" in names:
        words = glossary(text for sections in made.values() for text in texts(sections))
        made["glossary"] = [words] if words is not None else []
    head = heading(wanted.report, wanted.today, "Handover")
    return Paper(head.title, head.subtitle, head.facts, tuple(one for name in names for one in made[name]), CAUTION)
