"""Puts together what commands share from what ships on disk: the review, and what map and page are made with."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

from habitatlint import __version__, files
from habitatlint.language.plan import plan_grammar
from habitatlint.measures import every_measure
from habitatlint.reading.grammar import Grammar
from habitatlint.review import ReadPack, Review, pack_reader
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import rule_grammar

if TYPE_CHECKING:  # most commands draw nothing
    from habitatlint.outputs.map import press
    from habitatlint.outputs.map.drawing import Drawing
    from habitatlint.outputs.map.picture import FindPicture, Picture
    from habitatlint.outputs.page import Assets
    from habitatlint.outputs.papers import as_page, as_print

#: the type of maps and pages, as browsers take it
_TYPE = tuple(f"fonts/AtkinsonHyperlegibleNext-{weight}.woff2" for weight in ("Regular", "Bold"))
#: most pixels across a picture beneath the map of a page
_WIDEST_PICTURE = 1600


def review() -> Review:
    """The review that every command uses: the shipped packs, and files looked up on disk."""

    @cache
    def rules() -> Grammar:
        return files.grammar("rules", rule_grammar)

    plans = files.grammar("plan", plan_grammar)
    read = pack_reader(plans, rules)
    packs = files.shipped_packs(read, f"{__version__} {every_measure().fingerprint}")
    for slip in (slip for pack in packs for slip in pack.slips):
        where = f"{slip.span.source.name}:{slip.span.line}"
        raise RuntimeError(f"a rule that ships cannot be read: {where}: {slip.kind} {slip.found} {slip.why}")
    return Review(plans, Rulebook(packs), files.find_beside, lambda path, source: files.find_pack(path, source, read))


def pack_texts_reader(checker: Review) -> ReadPack:
    """Reads packs from their texts, by the grammars and the measures of a review."""
    return pack_reader(checker.plan_grammar, lambda: files.grammar("rules", rule_grammar), checker.vocabulary)


def with_measures(checker: Review, names: tuple[str, ...]) -> Review:
    """A review that has the measures of installed distributions too, which runs their code. Raises FileTrouble."""
    if not names:
        return checker
    wider = replace(checker, vocabulary=files.load_measures(names, checker.vocabulary), brought=names)
    read = pack_texts_reader(wider)
    return replace(wider, find_pack=lambda path, source: files.find_pack(path, source, read))


def print_assets() -> press.Assets:
    """What ships for the print of a map."""
    from habitatlint.outputs.map import press

    regular, bold = (files.asset(name) for name in _TYPE)
    return press.Assets(files.asset("sheet.typ"), files.fonts_folder(), regular, bold)


@cache
def page_assets() -> Assets:
    """What ships for the page."""
    from habitatlint.outputs.page import Assets

    style, script = (files.asset(name).decode() for name in ("page.css", "page.js"))
    regular, bold = (files.asset(name) for name in _TYPE)
    return Assets(style, script, regular, bold)


def paper_assets() -> as_print.Assets:
    """What ships for the print of a paper."""
    from habitatlint.outputs.papers import as_print

    return as_print.Assets(files.asset("paper.typ"), print_assets())


def paper_page_assets() -> as_page.Assets:
    """What ships for a paper as a page."""
    from habitatlint.outputs.papers import as_page

    regular, bold = (files.asset(name) for name in _TYPE)
    return as_page.Assets(files.asset("paper.css").decode(), regular, bold, print_assets())


def picture_beneath(drawing: Drawing, find: FindPicture) -> tuple[Picture | None, str]:
    """The picture beneath the map of a page, and what is to be told of it, "" for nothing."""
    from habitatlint.outputs.map.picture import PictureTrouble, beneath

    if drawing.bounds is None:
        return None, ""
    try:
        laid = beneath(drawing.report.scene, find, drawing.bounds, _WIDEST_PICTURE)
    except PictureTrouble as trouble:
        return None, str(trouble)
    return (laid.picture, str(laid.told or "")) if laid else (None, "")
