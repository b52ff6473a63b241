"""Measures that an installed distribution brings: taken in beside ours, and never in the place of one.

A distribution names, in its entry point group `habitatlint.measures`, a function that takes a `Vocabulary` and notes
its measures, fields and plurals there, with the same decorators as ours:

    def measures(vocabulary: Vocabulary) -> None:
        @vocabulary.measure("flood-depth", ("pockets",), "length")
        def flood_depth(scene, pockets): ...

That is code, and it runs: so it is loaded only where a project's settings name the distribution, and never because a
plan or a pack asks.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from habitatlint.measures.vocabulary import Vocabulary

#: the group of entry points, and what each of them is
GROUP = "habitatlint.measures"
Notes = Callable[[Vocabulary], object]
_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


class MeasureTrouble(Exception):
    """Measures that cannot be taken in, in one line."""


def joined(ours: Vocabulary, brought: Mapping[str, Notes]) -> Vocabulary:
    """A new vocabulary: ours, and what each distribution (by name) notes. Ours is left as it is.

    Raises MeasureTrouble for a name that is ours or another's already, for one that no rule could write, and for
    whatever the distribution's own code raises.
    """
    whole = Vocabulary(
        dict(ours.measures), {plural: dict(fields) for plural, fields in ours.fields.items()}, dict(ours.makers),
        dict(ours.tables),
    )  # fmt: skip
    owners: dict[str, str] = {}
    for name, notes in sorted(brought.items()):
        own = Vocabulary(fields={})
        try:
            notes(own)
        except Exception as error:
            raise MeasureTrouble(f"{name}: its measures cannot be taken in: {type(error).__name__}: {error}") from None
        for what, thing in _names(own):
            if not all(_NAME.fullmatch(part) for part in thing.split(".")):
                raise MeasureTrouble(f"{name}: `{thing}` is no name that a rule could write")
            owner = owners.get(thing) or ("habitatlint itself" if _has(whole, what, thing) else "")
            if owner:
                raise MeasureTrouble(f"{name}: {what} `{thing}` is there already, from {owner}")
            owners[thing] = name
        _take(whole, own)
    return whole


def _names(own: Vocabulary) -> list[tuple[str, str]]:
    """What a vocabulary notes: measures, plurals, and fields of plurals that are not its own, as `plural.field`."""
    fields = [f"{plural}.{name}" for plural, name in own.makers]
    return [
        *(("the measure", name) for name in sorted(own.measures)),
        *(("the plural", name) for name in sorted(own.tables)),
        *(("the field", name) for name in sorted(fields)),
    ]


def _has(whole: Vocabulary, what: str, name: str) -> bool:
    plural, _, field = name.partition(".")
    if what == "the measure":
        return name in whole.measures
    return field in whole.fields.get(plural, {}) if field else plural in whole.fields


def _take(whole: Vocabulary, own: Vocabulary) -> None:
    whole.measures.update(own.measures)
    whole.makers.update(own.makers)
    whole.tables.update(own.tables)
    for plural, fields in own.fields.items():
        whole.fields.setdefault(plural, {}).update(fields)
