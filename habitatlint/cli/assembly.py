"""Puts a review together from what ships on disk."""

from __future__ import annotations

from functools import cache

from habitatlint import __version__, files
from habitatlint.language.plan import plan_grammar
from habitatlint.measures import every_measure
from habitatlint.reading.grammar import Grammar
from habitatlint.review import Review, pack_reader
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import rule_grammar


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
