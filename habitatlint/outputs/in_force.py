"""What holds of rules where plans stand: the limits and levels in force, who sets them, and what the rules say
themselves."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from habitatlint.findings import FIRM, Fact, Level
from habitatlint.outputs.sentences import clean, shown
from habitatlint.rulebook.book import Rulebook, limit_fact
from habitatlint.rulebook.rules import Limit, Rule

#: who lowers the level of a rule that came after the pins
PINS = "the pins, for it is new since"


class Said(NamedTuple):
    """What settings, or a plan above them, say of rules: levels by `pack/rule`, limits by `pack/rule.limit`, and for
    each of these names the line that says so, `habitatlint.toml:7`."""

    levels: Mapping[str, Level] = {}
    limits: Mapping[str, Fact] = {}
    places: Mapping[str, str] = {}

    def over(self, below: Said) -> Said:
        """Both together; where both speak of one thing this counts, and says above what it stands."""
        places = {
            name: f"{place}, above {below.places[name]}" if name in below.places else place
            for name, place in self.places.items()
        }
        return Said({**below.levels, **self.levels}, {**below.limits, **self.limits}, {**below.places, **places})


class InForce(NamedTuple):
    """Rules, with what is said of them where they are in force."""

    book: Rulebook
    said: Said = Said()

    def limit(self, rule: Rule, limit: Limit) -> tuple[Fact, str]:
        """A limit as it holds, and who sets it: "" for the rule itself."""
        name = f"{rule.name}.{limit.name}"
        if name in self.said.limits:
            return self.said.limits[name], self.said.places.get(name, "the settings")
        if name in self.book.changed_limits:
            return self.book.changed_limits[name], self._pack("set", name)
        return limit_fact(limit), ""

    def level(self, rule: Rule) -> tuple[Level | None, str]:
        """The level that is set of a rule, and by whom; None and "" where the rule's own hold. What tells of slips of
        reading and naming is told at its own level whatever is set."""
        if rule.slug in FIRM:
            return None, ""
        if rule.name in self.said.levels:
            return self.said.levels[rule.name], self.said.places.get(rule.name, "the settings")
        if rule.name in self.book.changed_levels:
            by = PINS if rule.name in self.book.since_pins.new else self._pack("level", rule.name)
            return self.book.changed_levels[rule.name], by
        return None, ""

    def graded(self, rule: Rule, own: Level) -> Level:
        """What becomes of a report's own level: the level that is set, which caps a rule of several."""
        level, _ = self.level(rule)
        if level is None:
            return own
        return min(level, own) if len({report.level for report in rule.reports}) > 1 else level

    def worst(self, rule: Rule) -> Level:
        """The gravest level at which a rule reports here."""
        return self.graded(rule, rule.worst)

    def limit_in_words(self, rule: Rule, limit: Limit) -> str:
        """`25 yd, by habitatlint.toml:7; the rule's own 20 yd`; the figure alone where it is the rule's own."""
        fact, by = self.limit(rule, limit)
        return _in_words(shown(fact), by, shown(limit_fact(limit)))

    def level_in_words(self, rule: Rule) -> str:
        """`off, by habitatlint.toml:8; the rule's own note`; "" where no level is set."""
        level, by = self.level(rule)
        return _in_words(level.name, by, own_levels(rule)) if level is not None else ""

    def _pack(self, word: str, name: str) -> str:
        """The pack that sets a limit or a level: the last of those that do."""
        for pack in reversed(self.book.packs):
            for saying in pack.said(word):
                slug, dot, limit = saying.name.rpartition(".") if word == "set" else (saying.name, "", "")
                rule = self.book.find(slug)
                if rule is not None and f"{rule.name}{dot}{limit}" == name:
                    return f"pack {clean(pack.name)}"
        return "a pack"


def own_levels(rule: Rule) -> str:
    """The levels that a rule itself reports at: `error or note`."""
    return " or ".join(dict.fromkeys(report.level.name for report in rule.reports)) or rule.worst.name


def _in_words(value: str, by: str, own: str) -> str:
    return f"{value}, by {by}; the rule's own {own}" if by else value
