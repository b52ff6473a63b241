"""Puts a review together from what ships on disk."""

from __future__ import annotations

from habitatlint import files
from habitatlint.language.plan import plan_grammar
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import rule_grammar


def review() -> Review:
    """The review that every command uses: the shipped packs, and files looked up on disk."""
    bare = Review(files.grammar("plan", plan_grammar), files.grammar("rules", rule_grammar), Rulebook(()))
    book = Rulebook(tuple(files.shipped_packs(bare.read_pack)))
    return Review(
        bare.plan_grammar, bare.rule_grammar, book, files.find_beside,
        lambda path, source: files.find_pack(path, source, bare.read_pack),
    )  # fmt: skip
