"""`settings`: what holds for a plan, and where each value comes from."""

from __future__ import annotations

import os
from collections.abc import Iterator

from habitatlint import files
from habitatlint.cli.project import project_of
from habitatlint.outputs.sentences import clean, shown
from habitatlint.rulebook.book import limit_fact
from habitatlint.settings import NAME, SHARED, Settings, place_of

#: what is said of a value that no settings give
USUAL = "as is usual"


def show_settings(plan: str) -> str:
    """Every setting that holds for a plan, a line each, with the file and line that says so. Raises FileTrouble."""
    project = project_of(plan)
    settings = project.settings
    whence = settings.shown or f"none: no {NAME}, and no {SHARED} with a table for it, here or above"
    pins = files.pins_for(plan)
    rows = [("settings", whence, ""), ("pins", clean(files.shown(os.path.relpath(pins))) if pins else "none", "")]
    rows += [(key, value, _origin(settings, key, given)) for key, value, given in _values(settings)]
    rows += list(_of_rules(plan))
    wide = max(len(key) for key, _, _ in rows)
    long = max(len(value) for _, value, origin in rows if origin)
    return "".join(
        f"{key:<{wide}}  {value:<{long}}  {origin}".rstrip() + "\n" if origin else f"{key:<{wide}}  {value}\n"
        for key, value, origin in rows
    )


def _values(settings: Settings) -> Iterator[tuple[str, str, bool]]:
    """Each setting by its key: its value in words, and whether the settings give it."""
    yield "fail-on", settings.failing.name if settings.failing is not None else "error", settings.failing is not None
    yield "today", settings.today.isoformat() if settings.today else "the day it is", settings.today is not None
    for key, names in (("packs", settings.packs), ("measures", settings.measures), ("exclude", settings.exclude)):
        yield key, clean(", ".join(names)) or "none", bool(names)
    hand = settings.handover
    yield (
        "handover.sections",
        ", ".join(hand.sections) if hand.sections is not None else "all",
        hand.sections is not None,
    )
    yield "handover.preface", clean(os.path.basename(hand.preface)) or "none", bool(hand.preface)
    yield "handover.paper", hand.paper or "letter, a4 for a plan in metres", bool(hand.paper)


def _origin(settings: Settings, key: str, given: bool) -> str:
    return place_of(settings.path, key.rpartition(".")[2]) if given else USUAL


def _of_rules(plan: str) -> Iterator[tuple[str, str, str]]:
    """Levels and limits that settings or packs change, each with what the rule itself says."""
    project = project_of(plan)
    settings, book, policy = project.settings, project.review.rulebook, project.policy()
    keys = {
        rule.name: key for key in settings.levels if (rule := book.find(key)) is not None
    }  # fmt: skip
    for name, level in sorted({**book.changed_levels, **policy.levels}.items()):
        rule = book.find(name)
        own = f"; its own is {rule.worst.name}" if rule is not None else ""
        place = place_of(settings.path, keys[name]) if name in keys else "a pack"
        yield f"levels.{name}", level.name, place + own
    limits = {}
    for key in settings.limits:
        slug, _, limit = key.rpartition(".")
        if (rule := book.find(slug)) is not None:
            limits[f"{rule.name}.{limit}"] = key
    for name, fact in sorted({**book.changed_limits, **policy.limits}.items()):
        slug, _, limit = name.rpartition(".")
        rule = book.find(slug)
        own = f"; its own is {shown(limit_fact(rule.limits[limit]))}" if rule and limit in rule.limits else ""
        place = place_of(settings.path, limits[name]) if name in limits else "a pack"
        yield f"limits.{name}", shown(fact), place + own
