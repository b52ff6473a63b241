"""The rules in force: packs put together, limits and levels set, rules found by name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from habitatlint import __version__
from habitatlint.findings import Fact, Level, Slip
from habitatlint.reading.grammar import did_you_mean, near
from habitatlint.rulebook.rules import Limit, Pack, Rule, Saying


@dataclass(frozen=True)
class Rulebook:
    """Packs in the order they were taken in; a rule's name is `slug`, or `pack/slug` where two packs
    have one of the same slug.

    A pack may build on others: take some of their rules and no more, leave some, change limits and
    levels. Of two packs that say something of one rule the later counts.
    """

    packs: tuple[Pack, ...]

    @cached_property
    def rules(self) -> tuple[Rule, ...]:
        """Every rule in force, by pack and slug."""
        left = {rule.name for rule in self._left()}
        found = [rule for pack in self.packs for rule in pack.rules if rule.name not in left]
        return tuple(sorted(found, key=lambda rule: rule.name))

    def _left(self) -> Iterator[Rule]:
        """Rules that a pack leaves, or does not take, of those it builds on."""
        for pack in self.packs:
            below = {saying.name for saying in pack.said("builds-on")}
            rules = [rule for other in self.packs if other.name in below for rule in other.rules]
            taken = {saying.name for saying in pack.said("takes")}
            leaves = {saying.name for saying in pack.said("leaves")}
            for rule in rules:
                if rule.slug in leaves or (taken and rule.slug not in taken):
                    yield rule

    def only(self, name: str) -> Rulebook:
        """A rulebook of one rule, as its packs have it."""
        return Rulebook(tuple(
            pack._replace(rules=tuple(rule for rule in pack.rules if rule.name == name)) for pack in self.packs
        ))  # fmt: skip

    @cached_property
    def _by_name(self) -> Mapping[str, Rule]:
        names: dict[str, Rule] = {}
        every = sorted((rule for pack in self.packs for rule in pack.rules), key=lambda rule: rule.name)
        for rule in every:
            for former in rule.formerly:
                names.setdefault(former, rule)
        for rule in every:
            names[rule.slug] = rule
            names[rule.name] = rule
        return names

    def find(self, name: str) -> Rule | None:
        """A rule by slug, by pack/slug, or by a name it had formerly; one that is left too."""
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
        """Limits that packs change, by `pack/slug.limit`; those out of their range are not changed."""
        changed: dict[str, Fact] = {}
        for pack in self.packs:
            for saying in pack.said("set"):
                rule, limit, fact = self._limit_of(saying)
                if rule is not None and limit is not None and fact is not None and within(limit, fact):
                    changed[f"{rule.name}.{limit.name}"] = fact
        return changed

    def _limit_of(self, saying: Saying) -> tuple[Rule | None, Limit | None, Fact | None]:
        slug, _, name = saying.name.rpartition(".")
        rule, value = self.find(slug), saying.value
        fact = Fact(value.value, value.kind, value.unit) if value is not None else None
        return rule, rule.limits.get(name) if rule is not None else None, fact

    @cached_property
    def changed_levels(self) -> Mapping[str, Level]:
        """Levels that packs change, by rule name."""
        changed: dict[str, Level] = {}
        for pack in self.packs:
            for saying in pack.said("level"):
                rule = self.find(saying.name)
                if rule is not None and saying.level is not None:
                    changed[rule.name] = saying.level
        return changed

    def faults(self, pack: Pack) -> Iterator[Slip]:
        """What is wrong with what a pack says of others, seen among the packs in force."""
        below = {other.name: other for other in self.packs}
        for saying in pack.said("builds-on"):
            if saying.name not in below:
                yield _no(saying, pack, "no pack of that name is in force", near(saying.name, below))
        slugs = {rule.slug for one in pack.said("builds-on") if one.name in below for rule in below[one.name].rules}
        for saying in pack.said("takes", "leaves"):
            if saying.name not in slugs:
                yield _no(saying, pack, "no pack it builds on has such a rule", near(saying.name, slugs))
        for saying in pack.said("level"):
            if self.find(saying.name) is None:
                yield _no(saying, pack, "`level` takes the name of a rule", self.like(saying.name))
        for saying in pack.said("set"):
            slug, _, name = saying.name.rpartition(".")
            rule, limit, fact = self._limit_of(saying)
            if rule is None:
                yield _no(saying, pack, "`set` takes the name of a rule and its limit", self.like(slug))
            elif limit is None or fact is None:
                yield _no(saying, pack, f"{slug} has no limit of that name", near(name, rule.limits))
            elif not within(limit, fact):
                yield Slip("bad-value", saying.span, thing=f"pack {pack.name}", found=saying.name,
                           why=f"the value lies outside the range of {saying.name}")  # fmt: skip
        if pack.requires and _version(pack.requires) > _version(__version__) and pack.span is not None:
            yield Slip("include-trouble", pack.span, thing=f"pack {pack.name}", found=pack.name,
                       why=f"it needs habitatlint {pack.requires} or newer, and this is {__version__}")  # fmt: skip


def _no(saying: Saying, pack: Pack, why: str, likely: str) -> Slip:
    hint = did_you_mean(likely)
    return Slip(
        "unknown-name", saying.span, thing=f"pack {pack.name}", found=saying.name, expected=why, why=why, hint=hint
    )


def _version(text: str) -> tuple[int, ...]:
    return tuple(int(part) for part in text.split(".") if part.isdigit())


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
