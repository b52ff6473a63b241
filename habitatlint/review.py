"""What every surface calls: one rulebook and a library, ready to check plan after plan."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from habitatlint.check import FindPack, Library, Report, check, find_no_pack
from habitatlint.findings import Finding, Mend, Policy
from habitatlint.language.plan import Find, find_nothing
from habitatlint.measures import every_measure
from habitatlint.measures.vocabulary import Vocabulary
from habitatlint.mending import Judges, proven, together
from habitatlint.reading.blocks import Memory
from habitatlint.reading.grammar import Grammar
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.rules import Pack
from habitatlint.source import Source

if TYPE_CHECKING:  # few ask why
    from habitatlint.rulebook.explaining import Inquiry

#: so often at most a plan is judged again to try its mends, where they are only shown
TRIALS = 3
#: a pack from its name and its texts, read and checked
ReadPack = Callable[[str, Iterable[Source]], Pack]


@dataclass(frozen=True)
class Review:
    """Checks plans with one rulebook. `memory` keeps blocks read, so that of an edited plan only what changed is read
    again. `vocabulary` is every measure; `brought` names the distributions that brought some of them."""

    plan_grammar: Grammar = field(repr=False)
    rulebook: Rulebook = field(repr=False)
    find: Find = find_nothing
    find_pack: FindPack = find_no_pack
    memory: Memory = field(default_factory=dict, repr=False)
    vocabulary: Vocabulary = field(default_factory=every_measure, repr=False)
    brought: tuple[str, ...] = ()

    def mends(self, report: Report, finding: Finding, policy: Policy) -> tuple[Mend, ...]:
        """The mends of one finding of a report, each tried by itself."""
        return proven(report, finding, self.judges(policy))

    def tried(self, report: Report, policy: Policy) -> Report:
        """A report with the first mend of each finding tried, all together, in a few trials."""
        return together(report, self.judges(policy), TRIALS)

    def judges(self, policy: Policy) -> Judges:
        """How mends are judged: at a glance by the rule that found fault, and whole by all."""
        narrow: dict[str, Review] = {}

        def glance(source: Source, rule: str) -> Report:
            if rule not in narrow:
                narrow[rule] = replace(self, rulebook=self.rulebook.only(rule))
            return narrow[rule].check(source, policy)

        return Judges(glance, lambda source: self.check(source, policy))

    def check(self, source: Source, policy: Policy) -> Report:
        library = Library(self.plan_grammar, self.vocabulary, self.find, self.find_pack)
        return check(source, library, self.rulebook, policy, self.memory)

    def inquired(self, source: Source, policy: Policy, inquiry: Inquiry) -> Report:
        """Checks a plan and lets an inquiry hear it: of what it does not ask about, not all is judged. Raises
        Unanswerable."""
        library = Library(self.plan_grammar, self.vocabulary, self.find, self.find_pack)
        return check(source, library, self.rulebook, policy, self.memory, inquiry)


def pack_reader(
    plan_grammar: Grammar, rule_grammar: Callable[[], Grammar], vocabulary: Vocabulary | None = None
) -> ReadPack:
    """Reads packs and checks them against every measure, ours if no vocabulary is given; the rule grammar is built when
    first needed."""

    def read(name: str, sources: Iterable[Source]) -> Pack:
        # packs are kept as read: most runs need neither
        from habitatlint.rulebook.checking import checked
        from habitatlint.rulebook.rules import read_pack

        return checked(read_pack(name, sources, rule_grammar()), vocabulary or every_measure(), plan_grammar)

    return read
