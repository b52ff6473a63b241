"""Rules held as they were: what each said on the day it was pinned, and what has come, changed or gone since.

A rule is known by a hash of what it judges and says: its own lines without comments, blanks and examples, and the
limits and the level that packs in force set of it. A better example, a comment or another layout changes nothing;
another limit, word or level does.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

from habitatlint.findings import Fact, Level
from habitatlint.rulebook.rules import Pack, Rule

_PIECE = re.compile(r'"(?:[^"\\]|\\.)*"|#[^\n]*|[^\s"#]+|"', re.DOTALL)
_JOINED = re.compile(r"[ \t]*\\[ \t]*\r?\n[ \t]*")


class Pins(NamedTuple):
    """Versions by the names of packs, and hashes by the names of rules (`pack/slug`)."""

    packs: Mapping[str, str]
    rules: Mapping[str, str]


class Since(NamedTuple):
    """What rules differ from their pins, by name and sorted; and packs as (name, version then, version now), "" for a
    pack that was not there or is no more."""

    new: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()
    packs: tuple[tuple[str, str, str], ...] = ()

    def __bool__(self) -> bool:
        return any(self)


def pins_of(
    packs: Iterable[Pack], rules: Iterable[Rule], limits: Mapping[str, Fact], levels: Mapping[str, Level]
) -> Pins:
    """Pins of rules in force, with the limits (by `pack/slug.limit`) and levels that packs set of them."""
    return Pins(
        {pack.name: pack.version for pack in packs},
        {rule.name: hash_of(rule, limits, levels) for rule in rules},
    )


def hash_of(rule: Rule, limits: Mapping[str, Fact], levels: Mapping[str, Level]) -> str:
    """32 hexadecimal digits of a rule as it is in force, the same in every run and on every machine."""
    said = [own_text(rule)]
    for name in rule.limits:
        fact = limits.get(f"{rule.name}.{name}")
        if fact is not None:
            said.append(f"set {name} {fact.value!r} {fact.kind}")
    if rule.name in levels:
        said.append(f"level {levels[rule.name].name}")
    return hashlib.sha256("\n".join(said).encode()).hexdigest()[:32]


def own_text(rule: Rule) -> str:
    """A rule's lines as they count: one blank between words, no comments, no empty lines."""
    start = rule.placed.offset
    text = _JOINED.sub(" ", rule.placed.source.text[start : start + rule.placed.length])
    lines = ([piece for piece in _PIECE.findall(line) if piece[0] != "#"] for line in text.split("\n"))
    return "\n".join(" ".join(pieces) for pieces in lines if pieces)


def since(pins: Pins, rules: Sequence[Rule], now: Pins, now_called: Callable[[str], str]) -> Since:
    """What differs from pins; a rule that was renamed is held to what was pinned by its old name, which `now_called`
    tells."""
    new, changed, known = [], [], set()
    gone = pins.rules.keys() - {rule.name for rule in rules}
    renamed = {now_called(name): name for name in sorted(gone)}
    for rule in rules:
        old = rule.name if rule.name in pins.rules else renamed.get(rule.name, "")
        known.add(old)
        if not old:
            new.append(rule.name)
        elif pins.rules[old] != now.rules[rule.name]:
            changed.append(rule.name)
    names = sorted({*pins.packs, *now.packs})
    versions = [(name, pins.packs.get(name, ""), now.packs.get(name, "")) for name in names]
    return Since(
        tuple(sorted(new)), tuple(sorted(changed)), tuple(sorted(pins.rules.keys() - known)),
        tuple(one for one in versions if one[1] != one[2]),
    )  # fmt: skip
