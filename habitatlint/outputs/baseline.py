"""A baseline: findings that a project has accepted as they are, so that only what is new fails.

One finding a line, sorted, as JSON: `{"version": 1, "findings": [{"plan", "rule", "level", "on", "words"}]}`. `plan` is
the path of the plan as seen from the baseline's folder, `on` the names of the blocks the finding is on. Several of one
content stand as often as they are found.

A finding is known by its content: the rule and the names it is on. A slip of reading or naming, or what is on nothing
that has a name, is known by the words and dates in it too. Lines, columns and figures have no part in it, so lines may
move, blocks may change places, and more trees may lie nearer than was accepted; but a finding graver than the one that
was accepted is new. A note of what could not be judged names several things at once: each is an entry by itself, and
the note is known where all of them are.
A plan under another path is another plan; a rule that was renamed is the same one, if it says what it was called
`formerly`.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Sequence
from collections.abc import Set as AbstractSet
from typing import NamedTuple

from habitatlint.findings import Finding, Level
from habitatlint.outputs.sentences import shown
from habitatlint.verdict import Verdict

VERSION = 1
#: the rule whose findings each tell of several things
NOT_JUDGED = "record/not-judged"


class BaselineTrouble(Exception):
    """A text that is no baseline: `line` (from 1, 0 where it has none) and why."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(why)
        self.line = line


class Content(NamedTuple):
    """What makes two findings of one plan the same."""

    rule: str
    on: tuple[str, ...]
    words: tuple[str, ...]

    @property
    def fingerprint(self) -> str:
        """32 hexadecimal digits, the same in every run and on every machine."""
        return hashlib.sha256(json.dumps(self).encode()).hexdigest()[:32]


class Entry(NamedTuple):
    """One finding of a baseline."""

    plan: str
    content: Content
    level: Level


class Held(NamedTuple):
    """Verdicts held to a baseline, what it has is `known` there; and its entries that are found no more."""

    verdicts: tuple[Verdict, ...]
    gone: tuple[Entry, ...]


def content(finding: Finding) -> Content:
    words: list[str] = []
    if finding.firm or not finding.names:
        words = [
            shown(fact)
            for name, fact in sorted(finding.facts.items())
            # a hint hangs on what else the plan names
            if fact.kind in ("text", "word", "date") and not name.endswith(".hint")
        ]
    return Content(finding.rule, tuple(sorted(finding.names)), tuple(words))


def contents(finding: Finding) -> list[Content]:
    """What a finding is known by: its content, or, of one that names several things that could not be judged, that of
    each."""
    whole = content(finding)
    thing = finding.facts.get("x.thing")
    if finding.rule != NOT_JUDGED or not finding.related or thing is None:
        return [whole]
    others = list(dict.fromkeys(one.what for one in finding.related))
    first = re.split(", | and ", shown(thing))[0]
    return [_of_thing(whole, shown(thing), one) for one in dict.fromkeys((first, *others))]


def _of_thing(whole: Content, said: str, thing: str) -> Content:
    """A content that speaks of several things, of one of them."""
    name = thing.rpartition(" ")[2]
    return Content(whole.rule, (name,), tuple(thing if word == said else word for word in whole.words))


def entries_of(verdicts: Iterable[Verdict], path_of: Callable[[str], str]) -> list[Entry]:
    """What a baseline of these verdicts holds; `path_of` gives a plan's path as seen from the baseline's folder."""
    return [
        Entry(path_of(verdict.source.name), one, finding.level)
        for verdict in verdicts
        for finding in (*verdict.findings, *verdict.known)
        for one in contents(finding)
    ]


def held(
    verdicts: Sequence[Verdict], entries: Iterable[Entry], path_of: Callable[[str], str], missing: AbstractSet[str]
) -> Held:
    """Verdicts without what the baseline has, each entry for one finding at its level or below.

    Entries of plans that were not looked at are left aside, but for those of plans in `missing`, which are no more.
    """
    left: dict[tuple[str, Content], list[Level]] = {}
    looked_at = {path_of(verdict.source.name) for verdict in verdicts} | missing
    for entry in sorted(entries, key=lambda entry: entry.level, reverse=True):
        if entry.plan in looked_at:
            left.setdefault((entry.plan, entry.content), []).append(entry.level)
    sifted = []
    for verdict in verdicts:
        known: set[int] = set()
        # the gravest first, so that each entry serves where it is needed
        for finding in sorted(verdict.findings, key=lambda finding: finding.level, reverse=True):
            plan = path_of(verdict.source.name)
            each = [left.get((plan, one), []) for one in contents(finding)]
            has = [levels for levels in each if levels and levels[0] >= finding.level]
            if len(has) == len(each):
                known.add(id(finding))
            for levels in has:  # what is found beside something new is not gone
                levels.pop(0)
        sifted.append(
            verdict._replace(
                findings=tuple(one for one in verdict.findings if id(one) not in known),
                known=tuple(one for one in verdict.findings if id(one) in known),
            )
        )
    gone = [Entry(plan, what, level) for (plan, what), levels in left.items() for level in levels]
    return Held(tuple(sifted), tuple(sorted(gone)))


def written(entries: Iterable[Entry]) -> str:
    """A baseline as text, closed by a line end."""
    lines = [
        json.dumps(
            {
                "plan": entry.plan,
                "rule": entry.content.rule,
                "level": entry.level.name,
                "on": entry.content.on,
                **({"words": entry.content.words} if entry.content.words else {}),
            }
        )
        for entry in sorted(entries)
    ]
    body = ",\n".join(lines)
    return f'{{"version": {VERSION}, "findings": [\n{body}\n]}}\n'


def read(text: str) -> list[Entry]:
    """The entries of a baseline's text; raises BaselineTrouble where it is none."""
    try:
        whole = json.loads(text)
    except json.JSONDecodeError as error:
        raise BaselineTrouble(error.lineno, "no baseline: not JSON") from None
    except (ValueError, RecursionError):
        raise BaselineTrouble(0, "no baseline: a number or a nesting beyond measure") from None
    version = whole.get("version") if isinstance(whole, dict) else None
    if type(version) is not int or not isinstance(whole.get("findings"), list):
        raise BaselineTrouble(0, "no baseline")
    if version != VERSION:
        raise BaselineTrouble(0, f"a baseline of version {version}, and this program reads version {VERSION}")
    entries = []
    for number, one in enumerate(whole["findings"], 1):
        try:
            entries.append(_entry(one))
        except (KeyError, TypeError):
            raise BaselineTrouble(0, f"finding {number} of the baseline is not such as this program writes") from None
    return entries


def _entry(one: object) -> Entry:
    """Raises KeyError or TypeError for what is no entry."""
    if not isinstance(one, dict):
        raise TypeError
    plan, rule, level, on, words = one["plan"], one["rule"], Level[one["level"]], one["on"], one.get("words", [])
    if not all(isinstance(part, str) for part in (plan, rule, *on, *words)):
        raise TypeError
    if not (isinstance(on, list) and isinstance(words, list)):
        raise TypeError
    return Entry(plan, Content(rule, tuple(on), tuple(words)), level)
