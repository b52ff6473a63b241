"""The rules in force: packs put together, limits and levels set, rules found by name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from habitatlint.findings import Fact, Level
from habitatlint.reading.grammar import near
from habitatlint.rulebook.rules import Limit, Pack, Rule


@dataclass(frozen=True)
class Rulebook:
    """Packs in the order they were taken in; a rule's name is `slug`, or `pack/slug` where two packs
    have one of the same slug."""

    packs: tuple[Pack, ...]

    @cached_property
    def rules(self) -> tuple[Rule, ...]:
        """Every rule in force, by pack and slug."""
        found = [rule for pack in self.packs for rule in pack.rules]
        return tuple(sorted(found, key=lambda rule: rule.name))

    @cached_property
    def _by_name(self) -> Mapping[str, Rule]:
        names: dict[str, Rule] = {}
        for rule in self.rules:
            for former in rule.formerly:
                names.setdefault(former, rule)
        for rule in self.rules:
            names[rule.slug] = rule
            names[rule.name] = rule
        return names

    def find(self, name: str) -> Rule | None:
        """A rule by slug, by pack/slug, or by a name it had formerly."""
        return self._by_name.get(name)

    def like(self, name: str) -> str:
        """The rule that a name was probably meant for, or ""."""
        return near(name, self._by_name)

    def with_packs(self, packs: Iterable[Pack]) -> Rulebook:
        """A rulebook with further packs; a pack that is in force already is not taken twice."""
        known = {pack.name for pack in self.packs}
        return Rulebook((*self.packs, *(pack for pack in packs if pack.name not in known)))

    @cached_property
    def changed_limits(self) -> Mapping[str, Fact]:
        """Limits that packs change in the packs they build on, by `pack/slug.limit`."""
        changed: dict[str, Fact] = {}
        for pack in self.packs:
            for name, value in pack.changes:
                slug, _, limit = name.rpartition(".")
                rule = self.find(slug)
                if rule is not None and limit in rule.limits:
                    constant = value.value
                    changed[f"{rule.name}.{limit}"] = Fact(constant.value, constant.kind, constant.unit)
        return changed

    @cached_property
    def changed_levels(self) -> Mapping[str, Level]:
        """Levels that packs change in the packs they build on, by rule name."""
        changed: dict[str, Level] = {}
        for pack in self.packs:
            for slug, level in pack.grades:
                rule = self.find(slug)
                if rule is not None:
                    changed[rule.name] = level
        return changed


def limit_fact(limit: Limit) -> Fact:
    """A limit's default as a fact."""
    return Fact(limit.value, limit.kind, limit.unit)


def within(limit: Limit, fact: Fact) -> bool:
    """Whether a value is of a limit's kind and in its permitted range."""
    if fact.kind != limit.kind:
        return False
    if limit.least is None or limit.largest is None:
        return True
    size = fact.value
    return isinstance(size, int | float) and limit.least - 1e-9 <= size <= limit.largest + 1e-9
