"""A finding's facts as sentences: the same words in every output."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from datetime import date
from typing import TYPE_CHECKING

from habitatlint.findings import Fact, Finding, Related
from habitatlint.units import UNITS, plain, show

if TYPE_CHECKING:  # words of a finding take no plan
    from habitatlint.check import Report

#: what is wanted, by the comparison that found fault
_WANTED = {"<": "{} or more", "<=": "more than {}", ">": "{} or less", ">=": "less than {}"}
#: rules that tell of lines that cannot be read, so that what they say is not there
_UNREAD = frozenset({"record/syntax", "record/unknown-word", "record/bad-value", "record/missing-property"})
#: and those that tell of files that it takes in and that cannot be had
_ABSENT = frozenset({"record/include-trouble", "record/pack-trouble"})
#: what every paper of a plan bears
CAUTION = (
    "Paper only: a trained feller decides tree by tree. The label is the law. Local codes and licensed foresters "
    "and applicators stand above this paper. Call before cutting near lines. Not a survey: property lines are as "
    "the plan gives them."
)
#: characters that steer a terminal, turn or hide their neighbours; the last few are bytes of a file's name that do
_HIDDEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff\udc80-\udc9f]")
#: and bytes of a file's name that are no text
_NO_TEXT = re.compile(r"[\ud800-\udfff]")


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
    return figures(finding.measured, finding.wanted, finding.sense, units)


def figures(measured: Fact, wanted: Fact, sense: str, units: str) -> tuple[str, str]:
    """A figure, and what is wanted by the comparison that finds fault, with places enough to tell them apart."""
    for places in range(1, 7):  # a pure number has two at least
        found, limit = shown(measured, units, places), shown(wanted, units, places)
        if found != limit:
            break
    return found, _wanted(wanted, sense, limit)


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


def rows(finding: Finding, units: str, others: str = "") -> list[tuple[str, str]]:
    """What is told of a finding after its message, each with its word: measured (or place), wanted, because, and
    its mends. `others` are the other lines it speaks of, told with what was measured, else with why."""
    measured, wanted = measured_line(finding, units), wanted_line(finding, units)
    because = worded(finding.because, finding, units)
    told = []
    if measured:
        word = "measured" if finding.measured is not None else "place"
        told.append((word, f"{measured}; {others}" if others else measured))
    elif others:
        because = f"{because}; {others}"
    if wanted:
        told.append(("wanted", wanted))
    # the rule that finds fault is always named: with what it wants, or with why
    told.append(("because", because if wanted else f"{because} ({rule_and_evidence(finding)})"))
    # what failed its proof is not shown: `mend --why` tells of it
    for number, mend in enumerate((one for one in finding.mends if one.proof != "withheld"), 1):
        proof = "" if mend.proof == "advice" else f"     {'clears it' if mend.proof == 'clears' else mend.proof}"
        told.append((f"mend {number}", worded(mend.say, finding, units) + proof))
    return told


def lines_unread(report: Report) -> str:
    """How many lines of a plan, and how many files that it takes in, cannot be read, in words; "" where all can."""
    lines, files = (
        len({(one.span.source.name, one.span.line) for one in report.findings if one.rule in rules})
        for rules in (_UNREAD, _ABSENT)
    )
    told = [f"{lines} line{'' if lines == 1 else 's'} of the plan"] if lines else []
    told += [f"{files} file{'' if files == 1 else 's'} that it takes in"] if files else []
    return f"{' and '.join(told)} cannot be read" if told else ""


def related_line(related: Related, of: str) -> str:
    """Where else to look: `the way in, line 38`; the file is named where it is another one."""
    other = "" if related.span.source.name == of else f"{related.span.source.name}:"
    return clean(f"{related.what} ({other}line {related.span.line})")


def clean(text: str) -> str:
    """Text without what could steer a terminal: control and bidirectional characters become `?`."""
    return _HIDDEN.sub("?", text)


def json_text(thing: object) -> str:
    """JSON, laid out and closed by a line end. Nothing in it is lost: what would steer a terminal, and bytes of a
    file's name that are no text, stand as their numbers."""
    import json  # few runs show any

    text = json.dumps(thing, indent=2, ensure_ascii=False)
    for hidden in (_HIDDEN, _NO_TEXT):
        text = hidden.sub(lambda found: f"\\u{ord(found[0]):04x}", text)
    return f"{text}\n"


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
