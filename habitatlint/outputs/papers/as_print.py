"""A paper as a PDF, by typst, in type that can be read on a clipboard at arm's length.

typst is handed the template that ships, and all words as JSON: nothing of a plan is typst source, so that nothing in
a plan is ever run.
"""

from __future__ import annotations

import json
import re
from typing import Any, NamedTuple

from habitatlint.outputs.map import press
from habitatlint.outputs.map.lettering import FAMILY
from habitatlint.outputs.map.press import OUR_LETTERS, halos_beneath
from habitatlint.outputs.papers.paper import (
    Cautions,
    Items,
    Paper,
    Part,
    Picture,
    Section,
    Sheets,
    Table,
    Terms,
    Words,
    quoted,
)
from habitatlint.outputs.sentences import clean

#: papers to print on, with width and height in millimetres (ISO 216; ASME Y14.1)
PAPERS = {"letter": (215.9, 279.4), "a4": (210.0, 297.0), "legal": (215.9, 355.6)}
#: longest words, in characters, before they may be broken
_LONGEST_WORD = 24


class Assets(NamedTuple):
    """What ships for the print of a paper: its template, and what ships for the print of a map."""

    template: bytes
    map: press.Assets


def as_print(paper: Paper, assets: Assets, on: str = "letter") -> bytes:
    """The whole paper as one PDF, the same bytes at every run. `on` is one of `PAPERS`; KeyError for another."""
    import typst

    kept = _Kept({}, assets.map)
    words = {
        "title": _set(paper.title), "subtitle": _set(paper.subtitle), "foot": _set(paper.foot), "font": FAMILY,
        "facts": [[_set(word), _set(value)] for word, value in paper.facts],
        "sections": [_section(section, kept) for section in paper.sections],
        "page": dict(zip(("width", "height"), PAPERS[on], strict=True)),
    }  # fmt: skip
    data = json.dumps(words, ensure_ascii=False)
    own = OUR_LETTERS.fullmatch(data) is not None and kept.own
    set_in_type: Any = typst.compile  # its stub does not know sources by name
    made = set_in_type(
        {"main.typ": assets.template, "data.json": data.encode(), **kept.files},
        format="pdf", font_paths=[assets.map.fonts], ignore_system_fonts=own,
    )  # fmt: skip
    return bytes(made)


class _Kept:
    """The files that typst is to find, and whether our own type has all letters of them."""

    def __init__(self, files: dict[str, bytes], assets: press.Assets) -> None:
        self.files, self.assets, self.own = files, assets, True

    def picture(self, svg: str) -> str:
        """The name of a picture; the same picture has one name."""
        data = halos_beneath(svg).encode()
        for name, held in self.files.items():
            if held == data:
                return name
        name = f"picture-{len(self.files) + 1}.svg"
        self.files[name] = data
        self.own &= OUR_LETTERS.fullmatch(svg) is not None
        return name

    def sheets(self, part: Sheets) -> str:
        """The name of a file that sets the sheets; what it reads stands beside it."""
        laid = press.lay(part.drawing, part.layout, self.assets, part.today, part.find)
        folder = f"sheets-{len(self.files) + 1}"
        self.files |= {f"{folder}/{name}": data for name, data in laid.files.items()}
        self.own &= laid.own
        return f"{folder}/sheet.typ"


def _section(section: Section, kept: _Kept) -> dict[str, Any]:
    return {
        "title": _set(section.title), "apart": section.apart,
        "parts": [_part(part, kept) for part in section.parts],
        "sections": [_section(inner, kept) for inner in section.sections],
    }  # fmt: skip


def _part(part: Part, kept: _Kept) -> dict[str, Any]:
    """A part as the template takes it: its kind, and what belongs to it."""
    match part:
        case Words(text, tone):
            return {"kind": "words", "text": _set(text), "tone": tone}
        case Table():
            return {
                "kind": "table", "title": _set(part.title), "ticks": part.ticks,
                "heads": [_set(column.title) for column in part.columns],
                "right": [column.right for column in part.columns],
                "shares": [column.share for column in part.columns],
                "rows": [[_set(cell) for cell in row] for row in part.rows],
                "total": [_set(cell) for cell in part.total],
            }  # fmt: skip
        case Items(items, ticks, numbered):
            return {"kind": "items", "items": [_set(item) for item in items], "ticks": ticks, "numbered": numbered}
        case Terms(pairs):
            return {"kind": "terms", "pairs": [[_set(word), _set(told)] for word, told in pairs]}
        case Cautions(title, items):
            return {"kind": "cautions", "title": _set(title), "items": [_set(item) for item in items]}
        case Picture(svg, width, height, words):
            return {"kind": "picture", "file": kept.picture(svg), "width": width, "height": height,
                    "words": _set(words)}  # fmt: skip
        case Sheets():
            return {"kind": "sheets", "file": kept.sheets(part)}


def _set(text: str) -> str:
    """Words as they are set: on one line, commands and words of a plan in quotes, with places to break where a word
    is long."""
    plainly = " ".join(quoted(clean(text)).split())
    return re.sub(
        rf"\S{{{_LONGEST_WORD},}}",
        lambda word: re.sub(r"([-/_.])(?=\S)|(\S{12})(?=\S)", "\\g<0>\u200b", word[0]),
        plainly,
    )
