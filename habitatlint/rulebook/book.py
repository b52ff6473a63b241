"""The rules in force: packs put together, limits and levels set, rules held to their pins and found by name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

from habitatlint import __version__
from habitatlint.findings import Fact, Level, Slip
from habitatlint.reading.grammar import did_you_mean, near
from habitatlint.rulebook.pinning import Pins, Since, own_text, pins_of, since
from habitatlint.rulebook.rules import Limit, Pack, Rule, Saying
from habitatlint.rulebook.versions import WRITTEN, is_stretch, is_version, older, takes
from habitatlint.source import Span


@dataclass(frozen=True)
class Rulebook:
    """Packs in the order they were taken in; a rule's name is `slug`, or `pack/slug` where two packs
    have one of the same slug.

    A pack may build on others: take some of their rules and no more, leave some, change limits and
    levels. Of two packs that say something of one rule the later counts.

    Held to pins, a rule that is new since is judged as a note at most, until it is pinned too or a project or plan
    gives it a level; what the reader tells of slips of writing is told as ever.
    """

    packs: tuple[Pack, ...]
    pins: Pins | None = None

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
        return replace(self, packs=tuple(
            pack._replace(rules=tuple(rule for rule in pack.rules if rule.name == name)) for pack in self.packs
        ))  # fmt: skip

    @cached_property
    def _by_name(self) -> Mapping[str, Rule]:
        """Rules by every name they go by. A rule in force goes before one that is left, its own name before one it had
        formerly; what a left rule was called leads to the rule that has taken its place."""
        every = sorted((rule for pack in self.packs for rule in pack.rules), key=lambda rule: rule.name)
        gone = {rule.name for rule in self._left()}
        left, held = [one for one in every if one.name in gone], [one for one in every if one.name not in gone]
        formerly = {former: rule for rule in held for former in rule.formerly}
        for _ in left:  # a left rule that had another name before hands it on, and so forth
            formerly.update({
                former: formerly[rule.slug]
                for rule in left if rule.slug in formerly
                for former in rule.formerly if former not in formerly
            })  # fmt: skip
        names = {former: rule for rule in left for former in rule.formerly}
        names.update({rule.slug: rule for rule in left})
        names.update(formerly)
        names.update({rule.slug: rule for rule in held})
        names.update({f"{rule.pack}/{former}": rule for rule in held for former in rule.formerly})
        names.update({rule.name: rule for rule in every})
        return names

    def find(self, name: str) -> Rule | None:
        """A rule by slug, by pack/slug, or by a name it had formerly; one that is left too."""
        return self._by_name.get(name)

    def now_called(self, name: str) -> str:
        """The rule in force that had a name (`pack/slug`) before, by the name it has now; "" where none had. A rule of
        a pack may have had it, or one of a pack that builds on that pack: an unrelated pack may well call another rule
        so, or say that one was called so."""
        called, _, slug = name.rpartition("/")
        in_force = {rule.name for rule in self.rules}
        heirs = [
            rule for pack in self.packs if called in ("", pack.name, *beneath(self.packs, pack)) for rule in pack.rules
        ]
        # of several the last, as `find` has it, but a rule of the pack itself before others
        heirs.sort(key=lambda rule: (rule.pack == called, rule.name), reverse=True)
        names = [] if name in in_force else [slug]
        for one in names:  # a left rule that had the name hands it on
            for rule in (rule for rule in heirs if one in rule.formerly):
                if rule.name in in_force:
                    return rule.name
                names += [rule.slug] if rule.slug not in names else []
        return ""

    def changed_by(self, pack: Pack) -> Iterator[Rule]:
        """The rules whose limits or level a pack sets."""
        for saying in pack.said("set", "level"):
            rule = self.find(saying.name.rpartition(".")[0] if saying.word == "set" else saying.name)
            if rule is not None:
                yield rule

    def like(self, name: str) -> str:
        """The rule that a name was probably meant for, or ""."""
        return near(name, self._by_name)

    def with_packs(self, packs: Iterable[Pack]) -> Rulebook:
        """A rulebook with further packs; a pack that is in force already is not taken twice."""
        taken = {pack.name: pack for pack in self.packs}
        for pack in packs:
            taken.setdefault(pack.name, pack)
        return replace(self, packs=tuple(taken.values()))

    def in_the_way(self, pack: Pack) -> str:
        """Why a pack cannot be taken in beside those in force, "" where it can, or is in force already."""
        other = next((one for one in self.packs if one.name == pack.name), None)
        if other is None or (other.version == pack.version and _texts(other) == _texts(pack)):
            return ""
        return f"another pack called `{pack.name}` is in force; give this one another name in its `pack` line"

    def pinned(self, pins: Pins) -> Rulebook:
        """The rulebook held to pins."""
        return replace(self, pins=pins)

    @cached_property
    def as_pins(self) -> Pins:
        """The pins of all that is in force."""
        return pins_of(self.packs, self.rules, self.changed_limits, self._asked_levels)

    @cached_property
    def since_pins(self) -> Since:
        """What differs from the pins it is held to; nothing where it is held to none."""
        return since(self.pins, self.rules, self.as_pins, self.now_called) if self.pins is not None else Since()

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
        """Levels that packs change, by rule name; for rules that are new since the pins, a note at most."""
        asked = self._asked_levels
        return {**asked, **{name: min(asked.get(name, Level.note), Level.note) for name in self.since_pins.new}}

    @cached_property
    def _asked_levels(self) -> Mapping[str, Level]:
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
            elif saying.name == pack.name:
                yield _bad(saying.span, pack, saying.name, "a pack cannot build on itself: take its name off this line")
            elif circle := _circle(below, pack.name, saying.name):
                said = ", ".join(f"{one} builds on {other}" for one, other in pairwise(circle))
                yield _bad(saying.span, pack, saying.name, f"a circle: {said}; take one of these `builds-on` away")
            elif why := misfit(saying.stretch, below[saying.name]):
                yield _bad(saying.span, pack, saying.name, why)
        slugs = {rule.slug for one in pack.said("builds-on") if one.name in below for rule in below[one.name].rules}
        for saying in pack.said("takes", "leaves"):
            if saying.name not in slugs:
                yield _no(saying, pack, "no pack it builds on has such a rule", near(saying.name, slugs))
        leaves = {saying.name for saying in pack.said("leaves")}
        for saying in pack.said("takes"):
            if saying.name in leaves:
                yield _bad(saying.span, pack, saying.name, "the pack takes this rule, and leaves it too")
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
                yield _bad(saying.span, pack, saying.name, f"the value lies outside the range of {saying.name}")
        yield from _called_alike(pack)
        if pack.span is None:
            return
        if pack.version and not is_version(pack.version):
            yield _bad(pack.span, pack, pack.version, "a version is numbers with dots, such as `1.2.0`")
        if pack.requires and not is_version(pack.requires):
            yield _bad(pack.span, pack, pack.requires, "what it requires is a version of habitatlint, such as `0.1`")
        elif pack.requires and older(__version__, pack.requires):
            yield Slip("include-trouble", pack.span, thing=f"pack {pack.name}", found=pack.name,
                       why=f"it needs habitatlint {pack.requires} or newer, and this is {__version__}")  # fmt: skip


def below(packs: Iterable[Pack], name: str) -> tuple[Pack, ...]:
    """Packs that one of a name may stand upon: without itself, and without those that have a say in it, or in one that
    has: that build on it, or change a rule of it."""
    every = tuple(packs)
    book, gone = Rulebook(every), {name}
    changed = {pack.name: {rule.pack for rule in book.changed_by(pack)} for pack in every}
    left = [pack for pack in every if pack.name != name]
    on = {pack.name: changed[pack.name].union(one.name for one in pack.said("builds-on")) for pack in left}
    while above := {pack.name for pack in left if gone & on[pack.name]}:
        gone |= above
        left = [pack for pack in left if pack.name not in gone]
    return tuple(left)


def beneath(packs: Iterable[Pack], pack: Pack) -> tuple[str, ...]:
    """The names of packs that one builds on among some, and that those build on, and so forth, the nearest first."""
    named = {one.name: one for one in packs} | {pack.name: pack}
    found: dict[str, None] = {}
    names = [saying.name for saying in pack.said("builds-on")]
    for name in names:
        if name not in found:
            found[name] = None
            names += [saying.name for saying in named[name].said("builds-on")] if name in named else []
    return tuple(found)


def _called_alike(pack: Pack) -> Iterator[Slip]:
    """Rules of a pack that say they were called what another says it was."""
    first: dict[str, Rule] = {}
    for rule in pack.rules:
        for former in dict.fromkeys(rule.formerly):
            other = first.setdefault(former, rule)
            if other is not rule:
                why = f"{other.slug} and {rule.slug} both say `formerly {former}`: take that line off one of them"
                yield _bad(rule.span(), pack, former, why)


def _circle(packs: Mapping[str, Pack], name: str, on: str) -> list[str]:
    """The shortest way along which a pack stands on itself by one that it builds on: `a b a`; none where there is
    none."""
    ways, seen = [[name, on]], {on}
    for way in ways:
        if way[-1] == name:
            return way
        for saying in packs[way[-1]].said("builds-on"):
            if saying.name in packs and saying.name not in seen:
                seen.add(saying.name)
                ways.append([*way, saying.name])
    return []


def misfit(stretch: str, pack: Pack) -> str:
    """Why a pack is not of the versions that are asked for; "" where it is, or none are."""
    if not stretch:
        return ""
    if not is_stretch(stretch):
        return f"`{stretch}` is no version; write {WRITTEN}"
    if not pack.version:
        return f"version {stretch} is asked for, and the pack states none"
    return "" if takes(stretch, pack.version) else f"version {stretch} is asked for, and this is {pack.version}"


def _texts(pack: Pack) -> dict[str, str]:
    """The rules of a pack as they count, by slug."""
    return {rule.slug: own_text(rule) for rule in pack.rules}


def _no(saying: Saying, pack: Pack, why: str, likely: str) -> Slip:
    hint = did_you_mean(likely)
    return Slip(
        "unknown-name", saying.span, thing=f"pack {pack.name}", found=saying.name, expected=why, why=why, hint=hint
    )


def _bad(span: Span, pack: Pack, found: str, why: str) -> Slip:
    return Slip("bad-value", span, thing=f"pack {pack.name}", found=found, why=why)


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
