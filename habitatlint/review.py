"""What every surface calls: the shipped rules and measures joined with a library, ready to check."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from habitatlint.check import FindPack, Library, Report, check, find_no_pack
from habitatlint.findings import Policy
from habitatlint.language.plan import Find, find_nothing
from habitatlint.measures import every_measure
from habitatlint.reading.blocks import Memory
from habitatlint.reading.grammar import Grammar
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.checking import checked
from habitatlint.rulebook.rules import Pack, read_pack
from habitatlint.source import Source


@dataclass(frozen=True)
class Review:
    """Checks plans with one rulebook. Grammars and packs' texts are handed in; `memory` keeps blocks
    read, so that an edited plan is read where it changed."""

    plan_grammar: Grammar
    rule_grammar: Grammar
    rulebook: Rulebook
    find: Find = find_nothing
    find_pack: FindPack = find_no_pack
    memory: Memory = field(default_factory=dict)

    def check(self, source: Source, policy: Policy) -> Report:
        library = Library(self.plan_grammar, every_measure(), self.find, self.find_pack)
        return check(source, library, self.rulebook, policy, self.memory)

    def read_pack(self, name: str, sources: Iterable[Source]) -> Pack:
        return checked(read_pack(name, sources, self.rule_grammar), every_measure(), self.plan_grammar)
