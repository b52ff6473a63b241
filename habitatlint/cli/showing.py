"""`settings`: what holds for a plan, and where each value comes from."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import NamedTuple

from habitatlint import files
from habitatlint.check import Library, Standing, standing
from habitatlint.cli.project import project_of
from habitatlint.language.blocks import UsePack
from habitatlint.outputs.in_force import InForce, Said, own_levels
from habitatlint.outputs.sentences import clean, shown
from habitatlint.rulebook.book import limit_fact
from habitatlint.settings import NAME, SHARED, Settings, place_of
from habitatlint.source import Span

#: what is said of a value that no settings give
USUAL = "as is usual"


class _Row(NamedTuple):
    key: str
    value: str
    origin: str = ""


def show_settings(plan: str) -> str:
    """Everything that holds for a plan, or for the plans of a folder, a line each, with the file and line that says
    so: what a plan says of packs, levels and limits itself stands above its settings. Raises FileTrouble."""
    one = None if os.path.isdir(plan) else files.read_source(plan)
    place = plan if one is not None else os.path.join(plan, "plan")
    project = project_of(place)
    settings, held, taken, units = project.settings, project.in_force, list[_Row](), "yd"
    if one is not None:
        review = project.review
        said = standing(one, Library(review.plan_grammar, review.vocabulary, review.find, review.find_pack), held.book)
        held, taken = InForce(said.rulebook, _of_plan(said).over(held.said)), [*_packs(said)]
        units = said.plan.units
    whence = settings.shown or f"none: no {NAME}, and no {SHARED} with a table for it, here or above"
    pins = files.pins_for(place)
    rows = [_Row("settings", whence), _Row("pins", clean(files.shown(os.path.relpath(pins))) if pins else "none")]
    for key, value, given in _values(settings):
        ours = taken if key == "packs" else []
        rows += [_Row(key, value, _origin(settings, key, given))] if given or not ours else []
        rows += ours
    rows += _of_rules(held, units)
    wide = max(len(row.key) for row in rows)
    long = max(len(row.value) for row in rows if row.origin)
    return "".join(
        f"{row.key:<{wide}}  {row.value:<{long if row.origin else 0}}  {row.origin}".rstrip() + "\n" for row in rows
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


def _packs(said: Standing) -> Iterator[_Row]:
    """The packs that a plan takes in, a row each."""
    missing = {(slip.span.source.name, slip.span.line) for slip in said.asked.slips if slip.kind == "pack-trouble"}
    for use in said.plan.of(UsePack):
        span = use.span()
        note = "; not as it should be, which `check` tells" if (span.source.name, span.line) in missing else ""
        yield _Row("packs", clean(str(use.head[1].value)), f"{_line(span)}{note}")


def _of_plan(said: Standing) -> Said:
    """What a plan says of rules, with its lines."""
    return Said(said.asked.levels, said.asked.limits, {name: _line(span) for name, span in said.asked.lines.items()})


def _line(span: Span) -> str:
    return f"{clean(span.source.name)}:{span.line}"


def _of_rules(held: InForce, units: str) -> Iterator[_Row]:
    """Levels and limits that are not the rules' own, each with what the rule itself says."""
    for rule in held.book.rules:
        level, by = held.level(rule)
        if level is not None:
            yield _Row(f"levels.{rule.name}", level.name, f"{by}; its own is {own_levels(rule)}")
    for rule in held.book.rules:
        for name, limit in sorted(rule.limits.items()):
            fact, by = held.limit(rule, limit)
            if by:
                own = shown(limit_fact(limit), units)
                yield _Row(f"limits.{rule.name}.{name}", shown(fact, units), f"{by}; its own is {own}")
