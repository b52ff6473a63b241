"""A finding's facts as sentences: the same words in every output."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from datetime import date

from habitatlint.findings import Fact, Finding, Related
from habitatlint.units import UNITS, plain, show

#: what is wanted, by the comparison that found fault
_WANTED = {"<": "{} or more", "<=": "more than {}", ">": "{} or less", ">=": "less than {}"}
_HIDDEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]")


def shown(fact: Fact, units: str = "yd", places: int = 1) -> str:
    """A fact as a person reads it, lengths in the plan's unit."""
    value = fact.value
    if fact.kind == "place" and isinstance(value, tuple):
        return at(value, units)
    if fact.kind == "date" and isinstance(value, int | float):
        return date.fromordinal(int(value)).isoformat()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        unit = fact.unit if fact.kind == "length" and fact.unit in ("in", "ft", "cm") else ""
        if units == "m":  # diameters and cut heights as a metric plan writes them
            unit = {"in": "cm", "ft": "m"}.get(unit, unit)
        return show(float(value), fact.kind, units, places, unit)
    return str(value)


def at(place: tuple[float, float], units: str) -> str:
    """A place as a plan would write it, to a tenth of the plan's unit."""
    one = UNITS[units][1]
    return f"{plain(place[0] / one, 1)},{plain(place[1] / one, 1)}"


def message(finding: Finding, units: str) -> str:
    """The finding in one sentence: the rule's words with its facts in their places."""
    return worded(finding.say, finding, units)


def worded(text: str, finding: Finding, units: str) -> str:
    """Words of a finding's rule (what it says, because, a mend) with the facts in their places."""

    def fill(found: re.Match[str]) -> str:
        fact = finding.facts.get(found[1])
        return shown(fact, units) if fact is not None else found[0]

    return clean(re.sub(r"\{([a-z][a-z0-9.-]*)\}", fill, text))


def measured_and_wanted(finding: Finding, units: str) -> tuple[str, str]:
    """What was measured and what is wanted; with as many places as it takes to tell them apart."""
    if finding.measured is None or finding.wanted is None:
        return "", ""
    for places in (1, 2, 3):
        measured, wanted = shown(finding.measured, units, places), shown(finding.wanted, units, places)
        if measured != wanted:
            break
    return measured, _wanted(finding.wanted, finding.sense, wanted)


def _wanted(fact: Fact, sense: str, wanted: str) -> str:
    """What is wanted as one would say it: of what should not be there at all `none`, or the bare nought."""
    counted = fact.kind in ("count", "number")
    if (sense == ">" and fact.value == 0) or (sense == ">=" and fact.value == 1 and counted):
        return "none" if counted else wanted
    return _WANTED[sense].format(wanted) if sense else wanted


def measured_line(finding: Finding, units: str) -> str:
    """The measured figure, where it was measured, and whether it rests on estimates."""
    measured, _ = measured_and_wanted(finding, units)
    parts = [measured] if measured else []
    if finding.place is not None:
        at_tree = f" ({finding.place_of})" if finding.place_of else ""
        parts.append(f"{'at ' if measured else ''}{at(finding.place, units)}{at_tree}")
    if finding.measured is not None and finding.measured.estimated:
        parts.append("tree sizes estimated")
    return clean(", ".join(parts))


def rule_and_evidence(finding: Finding) -> str:
    """The rule, and on whose word it stands: `entry/live-hinge-near-entry; common practice`."""
    parts = (finding.rule, finding.evidence.replace("-", " "), finding.source)
    return clean("; ".join(part for part in parts if part))


def wanted_line(finding: Finding, units: str) -> str:
    """The figure that is wanted, by which rule and on whose word; "" where there is no figure."""
    _, wanted = measured_and_wanted(finding, units)
    return f"{clean(wanted)} ({rule_and_evidence(finding)})" if wanted else ""


def related_line(related: Related, of: str) -> str:
    """Where else to look: `the way in, line 38`; the file is named where it is another one."""
    other = "" if related.span.source.name == of else f"{related.span.source.name}:"
    return clean(f"{related.what} ({other}line {related.span.line})")


def clean(text: str) -> str:
    """Text without what could steer a terminal: control and bidirectional characters become `?`."""
    return _HIDDEN.sub("?", text)


def wrapped(text: str, first: str, indent: int, page: int) -> list[str]:
    """A text as lines of a page, `first` before the first of them, the others indented."""
    return textwrap.wrap(text, page, initial_indent=first, subsequent_indent=" " * indent,
                         break_long_words=False, break_on_hyphens=False)  # fmt: skip


def width(text: str) -> int:
    """How many columns a text takes on a terminal."""
    return sum(
        0 if unicodedata.combining(character) else 2 if unicodedata.east_asian_width(character) in "WF" else 1
        for character in text
    )
