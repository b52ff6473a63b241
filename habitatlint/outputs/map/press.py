"""The print of a map's sheets, by typst: PDF, PNG or SVG.

typst is handed the template that ships, the map's windows as pictures, and every word as JSON. Nothing of a plan
is typst source, so that nothing in a plan is ever run.
"""

from __future__ import annotations

import base64
import json
import math
import re
from collections.abc import Iterator
from datetime import date
from typing import Any, NamedTuple

import shapely

from habitatlint.check import Report
from habitatlint.findings import Fact, Finding
from habitatlint.ground.north import magnetic_north
from habitatlint.language.blocks import Pocket
from habitatlint.language.plan import IncludeTrouble
from habitatlint.outputs.map import svg
from habitatlint.outputs.map.drawing import Drawing, Numbered
from habitatlint.outputs.map.lettering import FAMILY
from habitatlint.outputs.map.picture import FindPicture, Picture, PictureFile, PictureTrouble, beneath
from habitatlint.outputs.map.sheets import LAP, STRIP, Layout, bar, scale_words
from habitatlint.outputs.map.signs import ORDER, SIGNS
from habitatlint.outputs.map.window import Window
from habitatlint.outputs.sentences import CAUTION, at, clean, lines_unread, message, shown
from habitatlint.outputs.text import safety
from habitatlint.source import Source
from habitatlint.units import plain

#: dots to the inch of a PNG, and most of a picture beneath
FINENESS, PICTURE_FINENESS = 200.0, 150.0
#: the magnetic arrow is drawn no nearer to the true one, in degrees, or the two could not be told apart
_LEAST_DRAWN = 12.0
#: longest words, in characters, before they may be broken, and longest title and finding
_LONGEST_WORD, _LONGEST_TITLE, _LONGEST_FINDING = 24, 90, 400
#: what the type that ships has letters for; other scripts are lent by the system's fonts
OUR_LETTERS = re.compile(r"[\n\x20-\x7e\xa0-\xac\xae-\xb4\xb6-\xff–—‘’“”•…−\u200b]*")


class Assets(NamedTuple):
    """What ships for the print: the template, the folder of the fonts, and the type for SVG in its two weights
    (WOFF2)."""

    template: bytes
    fonts: str
    regular: bytes
    bold: bytes


class Printed(NamedTuple):
    """The pages (one PDF holds them all), how many findings are numbered on them, and what is told of the picture
    beneath."""

    pages: tuple[bytes, ...]
    numbered: int
    told: tuple[PictureTrouble, ...] = ()


def find_no_picture(path: str, source: Source) -> PictureFile:
    raise IncludeTrouble("no picture can be read here")


def press(
    drawing: Drawing, layout: Layout, form: str, assets: Assets, today: date, find: FindPicture = find_no_picture
) -> Printed:
    """The sheets of a layout as "pdf", "png" or "svg"; the same bytes at every run. `today` is the day that the plan
    was judged by, `find` finds the picture that lies beneath."""
    import typst

    laid = lay(drawing, layout, assets, today, find, in_pdf=form == "pdf")
    set_in_type: Any = typst.compile  # its stub does not know sources by name
    made = set_in_type({"main.typ": _MAIN, **laid.files}, format=form, ppi=FINENESS, font_paths=[assets.fonts],
                       ignore_system_fonts=laid.own)  # fmt: skip
    pages = tuple(made) if isinstance(made, list) else (made,)
    if form == "svg":
        pages = tuple(_opened(page, assets) for page in pages)
    return Printed(pages, laid.numbered, laid.told)


#: what is set in type: the sheets, in a document of their own
_MAIN = b'#set document(title: json("data.json").title, date: none)\n#include "sheet.typ"\n'


class Laid(NamedTuple):
    """Sheets ready to be set in type: what typst reads by name, `sheet.typ` among it; whether our own type has all
    letters; how many findings are numbered on them, and what is told of the picture beneath."""

    files: dict[str, bytes]
    own: bool
    numbered: int
    told: tuple[PictureTrouble, ...]


def lay(
    drawing: Drawing, layout: Layout, assets: Assets, today: date, find: FindPicture = find_no_picture,
    *, in_pdf: bool = True,
) -> Laid:  # fmt: skip
    """The sheets of a layout before they are set, by themselves (`press`) or in a larger paper."""
    frames, told = [], {}
    for one in layout.sheets:
        picture, trouble = _beneath(drawing, one.window, find)
        frames.append(svg.frame(drawing, one.window, joins=one.joins, lap=LAP, picture=picture))
        if trouble is not None:
            told[str(trouble)] = trouble
    data = json.dumps(_words(drawing, layout, frames, today), ensure_ascii=False)
    files = {"sheet.typ": assets.template, "data.json": data.encode()}
    for sheet, frame in zip(layout.sheets, frames, strict=True):
        files[f"frame-{sheet.number}.svg"] = (halos_beneath(frame.svg) if in_pdf else frame.svg).encode()
        files |= {f"sign-{sign}.svg": svg.swatch(sign).encode() for sign in frame.signs}
    own = all(OUR_LETTERS.fullmatch(text) for text in (data, *(frame.svg for frame in frames)))
    numbered = {number for frame in frames for number in frame.numbers}
    return Laid(files, own, len(numbered), tuple(told.values()))


_HALOED = re.compile(r'<text([^>]*) paint-order="stroke"([^>]*)>([^<]*)</text>')


def halos_beneath(picture: str) -> str:
    """A picture whose texts with a halo are two: the halo, and the text over it. In a PDF a text's letters are
    stroked and filled one by one, and the halo of each would lie over the letter before it."""

    def parted(found: re.Match[str]) -> str:
        stroked = f"{found[1]}{found[2]}"
        plainly = re.sub(r' stroke[a-z-]*="[^"]*"', "", stroked)
        return f"<text{stroked}>{found[3]}</text><text{plainly}>{found[3]}</text>"

    return _HALOED.sub(parted, picture)


def _beneath(drawing: Drawing, window: Window, find: FindPicture) -> tuple[Picture | None, PictureTrouble | None]:
    """The picture beneath a window, and what is told of it."""
    longest = round(max(window.width, window.height) / 25.4 * PICTURE_FINENESS)
    west, south, east, north = window.box().bounds
    try:
        laid = beneath(drawing.report.scene, find, (west, south, east, north), longest)
    except PictureTrouble as trouble:
        return None, trouble
    return (laid.picture, laid.told) if laid else (None, None)


# -- the words of a sheet ----------------------------------------------------------------------------------


def _words(drawing: Drawing, layout: Layout, frames: list[svg.Frame], today: date) -> dict[str, Any]:
    """Everything that the template sets, as JSON takes it; lengths in millimetres."""
    report, units = drawing.report, drawing.report.units
    head = report.plan.head
    file = report.source.name.rpartition("/")[2]
    title = (head.title if head else "") or file
    drawn_by = str(head.drawn_by.value) if head and head.drawn_by else ""
    facts = [
        *_areas(report, layout.pocket),
        ("Stage", report.plan.stage.replace("-", " ")),
        ("Plan of", head.date.value.isoformat() if head and head.date else ""),
        ("Judged on", today.isoformat()),
        ("Drawn by", _set(drawn_by, 60)),
        ("File", _set(file, 60)),
    ]
    magnetic = _declination(report)
    on_sheets = {number for frame in frames for number in frame.numbers}
    rest = [one for one in drawing.numbered if one.number not in on_sheets] if not layout.pocket else []
    quiet = [] if layout.pocket else [line.partition(": ")[2] for line in safety(report.verdict)]
    page, (width, height) = layout.page, layout.page.size
    return {
        "font": FAMILY,
        "title": _set(title, _LONGEST_TITLE),
        "subtitle": _subtitle(drawing, layout, frames),
        "key-title": f"Key to the map: {_set(title, _LONGEST_TITLE)}",
        "facts": [fact for fact in facts if fact[1]],
        "scale": scale_words(layout.scale, units),
        "bars": [_bar(layout.scale, unit) for unit in ((units, "ft") if units == "m" else (units, "m"))],
        "magnetic": {"drawn": math.copysign(max(abs(magnetic), _LEAST_DRAWN), magnetic)} if magnetic else None,
        "north": _north(report, magnetic),
        "caution": CAUTION,
        "more": "Continued on the key.",
        "rest": [_finding(one, report) for one in rest]
        + [{"number": None, "level": "", "words": _set(line, _LONGEST_FINDING), "line": ""} for line in quiet],
        "page": {
            "width": width, "height": height, "frame": page.frame._asdict(), "panel": page.panel._asdict(),
            "columns": page.columns, "strip": STRIP,
        },
        "index": _index(report, layout) if len(layout.sheets) > 1 else None,
        "sheets": [
            _sheet(sheet.number, frame, drawing) for sheet, frame in zip(layout.sheets, frames, strict=True)
        ],
    }  # fmt: skip


def _areas(report: Report, pocket: str) -> Iterator[tuple[str, str]]:
    """The area of the property; on the map of a pocket its own, and which it is."""
    block = report.plan.names.get(pocket) if pocket else None
    shape = report.scene.shape_of(block) if block is not None else None
    if shape is not None:
        yield "Pocket", shown(Fact(shape.area, "area"), report.units, 2)
    if report.scene.property_ is not None:
        word = "Property" if shape is not None else "Area"
        yield word, shown(Fact(report.scene.property_.area, "area"), report.units)


def _sheet(number: int, frame: svg.Frame, drawing: Drawing) -> dict[str, Any]:
    by_number = {one.number: one for one in drawing.numbered}
    return {
        "number": number,
        "picture": f"frame-{number}.svg",
        # the key of findings shows their badges
        "legend": [
            {"order": ORDER[sign], "picture": f"sign-{sign}.svg", "words": SIGNS[sign].legend}
            for sign in frame.signs if SIGNS[sign].kind != "badge"
        ],
        # a label that is cut on the map is known by its first words, and stands after those that letters stand for
        "keyed": [
            {"letters": "…" if cut else one.letters, "label": _set(one.label, _LONGEST_TITLE)}
            for cut in (False, True) for one in frame.keyed if one.letters.endswith("…") == cut
        ],
        "findings": [_finding(by_number[one], drawing.report) for one in frame.numbers],
    }  # fmt: skip


def _finding(one: Numbered, report: Report) -> dict[str, Any]:
    finding = one.finding
    words = _set(message(finding, report.units), _LONGEST_FINDING)
    place = f"at\u00a0{at(one.place, report.units)}, " if one.place is not None else ""
    line = f"({place}{_line(finding, report)})"
    return {"number": one.number, "level": finding.level.name, "words": words, "line": line}


def _line(finding: Finding, report: Report) -> str:
    """Where in the plan it stands; the file is named where it is another one."""
    name = finding.span.source.name
    other = "" if name == report.source.name else f"{_set(name, 60)}, "
    return f"{other}line\u00a0{finding.span.line}"


def _subtitle(drawing: Drawing, layout: Layout, frames: list[svg.Frame]) -> str:
    """What of the property the map shows, where that is not all of it, whose scent is drawn, and what of the plan
    could not be read."""
    parts = []
    if layout.pocket:
        pocket = next(one for one in drawing.report.plan.of(Pocket) if one.name == layout.pocket)
        parts.append(f"Pocket {_set(pocket.title or pocket.name, 60)}")
    if drawing.wind_name:
        none = "" if any("scent" in frame.signs for frame in frames) else " (none of it reaches this ground)"
        parts.append(f"Scent on a wind from {drawing.wind_name}{none}")
    if unread := lines_unread(drawing.report):
        parts.append(f"{unread}, and what they say is not drawn")
    if drawing.bounds is None:
        parts.append("Nothing in this plan has a place yet")
    return ". ".join(parts)


def _bar(scale: float, unit: str) -> dict[str, Any]:
    part, length = bar(scale, unit)
    return {"unit": unit, "length": length, "marks": [plain(part * number, 3) for number in range(5)]}


def _declination(report: Report) -> float | None:
    """Degrees from true to magnetic north, to a tenth, east positive, where the plan gives it or has it worked
    out."""
    north = magnetic_north(report.plan, report.scene.placer.frame)
    return None if north is None else round(north.declination, 1)


def _north(report: Report, magnetic: float | None) -> str:
    """The words beside the arrows."""
    if magnetic is None:
        return "True north is up. Magnetic north is not drawn: the plan gives no declination."
    head = report.plan.head
    stated = head is not None and head.declination is not None and head.declination.kind == "declination"
    whose = "as the plan states" if stated else "by the World Magnetic Model for the plan's date"
    degrees = plain(abs(magnetic), 1)
    if magnetic == 0:
        return f"True north is up, and magnetic north with it, {whose}."
    side, turn = ("east", "less") if magnetic > 0 else ("west", "more")
    drawn = " (drawn wider)" if abs(magnetic) < _LEAST_DRAWN else ""
    return (
        f"True north is up. Magnetic north is {degrees}° {side} of it{drawn}, {whose}: "
        f"a compass reads {degrees}° {turn} than a bearing from true north."
    )


def _index(report: Report, layout: Layout, most: tuple[float, float] = (56.0, 26.0)) -> dict[str, Any]:
    """How the sheets lie, with the property's outline: no larger than `most`."""
    windows = [sheet.window for sheet in layout.sheets]
    metres = layout.scale / 1000
    west, south = min(one.west for one in windows), min(one.south for one in windows)
    east = max(one.west + one.width * metres for one in windows)
    north = max(one.south + one.height * metres for one in windows)
    small = min(most[0] / (east - west), most[1] / (north - south))
    shape = report.scene.property_
    rings = [] if shape is None else [
        [((x - west) * small, (north - y) * small) for x, y in part.exterior.simplify(0.1 / small).coords]
        for part in shapely.get_parts(shape) if part.geom_type == "Polygon"
    ]  # fmt: skip
    cells = [
        {
            "number": sheet.number, "x": (sheet.window.west - west) * small,
            "y": (north - sheet.window.south - sheet.window.height * metres) * small,
            "width": sheet.window.width * metres * small, "height": sheet.window.height * metres * small,
        }
        for sheet in layout.sheets
    ]  # fmt: skip
    return {"width": (east - west) * small, "height": (north - south) * small, "rings": rings, "cells": cells}


def _set(text: str, most: int) -> str:
    """Words as they are set: on one line, cut at `most` characters, with places to break where a word is long: at
    its own hyphens and strokes if it has any."""
    plainly = " ".join(clean(text).split())
    if len(plainly) > most:
        plainly = plainly[: most - 1].rstrip() + "…"
    return re.sub(
        rf"\S{{{_LONGEST_WORD},}}",
        lambda word: re.sub(r"([-/_])(?=\S)|(\S{12})(?=\S)", "\\g<0>\u200b", word[0]),
        plainly,
    )


# -- SVG ---------------------------------------------------------------------------------------------------

_PICTURE = re.compile(
    rb'<image transform="([^"]*)" xlink:href="data:image/svg\+xml;base64,([^"]*)" '
    rb'width="([^"]*)" height="([^"]*)"[^>]*/>'
)


def _opened(page: bytes, assets: Assets) -> bytes:
    """A page whose pictures in SVG stand in it as they are, with the type they are written in. typst leaves them shut,
    as addresses of data, and a viewer gives a shut picture no type from outside."""
    count = 0

    def open_(found: re.Match[bytes]) -> bytes:
        nonlocal count
        count += 1
        move, shut, width, height = found.groups()
        inner = base64.b64decode(shut).partition(b"<svg")[2]
        head, _, body = inner.partition(b">")
        head = re.sub(rb'\s(?:width|height|xmlns)="[^"]*"', b"", head)
        # names are a page's own: each picture keeps its own apart
        own = b"p%d-" % count
        body = re.sub(rb'(\sid="|="url\(#|href="#)', rb"\g<1>" + own, body)
        return b'<g transform="%b"><svg width="%b" height="%b"%b>%b</g>' % (move, width, height, head, body)

    page = _PICTURE.sub(open_, page)
    faces = "".join(
        f"@font-face{{font-family:'{FAMILY}';font-weight:{weight};"
        f"src:url(data:font/woff2;base64,{base64.b64encode(face).decode()})}}"
        for weight, face in ((400, assets.regular), (700, assets.bold))
    )
    head, _, body = page.partition(b">")
    return head + b"><style>" + faces.encode() + b"</style>" + body
