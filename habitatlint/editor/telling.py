"""What is told of a text, with its place, and how it keeps its place while the text is written on."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import NamedTuple

from habitatlint.editor.places import Change
from habitatlint.findings import Finding, Level, Policy, Slip
from habitatlint.ground.scene import Scene
from habitatlint.ground.tables import slips_table
from habitatlint.language.plan import read_plan
from habitatlint.outputs.sentences import clean, message, rows
from habitatlint.reading.grammar import Grammar
from habitatlint.review import Review
from habitatlint.rulebook.book import limit_fact
from habitatlint.rulebook.evaluation import Context
from habitatlint.rulebook.judging import judge
from habitatlint.source import Source


class Where(NamedTuple):
    """A stretch of a file."""

    path: str
    start: int
    end: int


class Told(NamedTuple):
    """One thing told of a text: a finding in words, at its place. `mends`: it has some that can be tried."""

    where: Where
    level: Level
    rule: str
    words: str
    related: tuple[tuple[Where, str], ...] = ()
    mends: bool = False

    @property
    def key(self) -> tuple[object, ...]:
        """The same thing told twice has one key."""
        return self.where, self.rule, self.words


def told(finding: Finding, units: str) -> Told:
    """A finding as an editor shows it: its sentence, then what is measured, wanted, why, and advice. Mends that can
    be made are offered as such, and so are left out."""
    advice = tuple(mend for mend in finding.mends if mend.proof == "advice")
    span = finding.span
    lines = [message(finding, units)]
    lines += [f"{word}: {text}" for word, text in rows(finding._replace(mends=advice), units)]
    related = tuple(
        (Where(one.span.source.name, one.span.start, one.span.end), clean(one.what)) for one in finding.related
    )
    where = Where(span.source.name, span.start, span.end)
    return Told(
        where, finding.level, finding.rule, "\n".join(lines), related, any(one.changes for one in finding.mends)
    )


def moved(ones: Iterable[Told], path: str, change: Change) -> list[Told]:
    """What was told, where it stands after a change of one file; what was taken away is left out."""
    kept = []
    for one in ones:
        where = _moved(one.where, path, change)
        if where is not None:
            related = tuple((there, what) for place, what in one.related if (there := _moved(place, path, change)))
            kept.append(
                one if where is one.where and related == one.related else one._replace(where=where, related=related)
            )
    return kept


def _moved(where: Where, path: str, change: Change) -> Where | None:
    if where.path != path or where.end < change.start:
        return where
    at = change.moved(where.start, where.end)
    return None if at is None else Where(path, *at)


@cache
def _nowhere(grammar: Grammar) -> Scene:
    """A scene with nothing in it: slips of reading are worded by rules that look at no ground."""
    return Scene(read_plan(Source("", ""), grammar))


def of_slips(
    slips: Iterable[Slip], review: Review, policy: Policy, units: str = "yd", *, bare: bool = False
) -> list[Told]:
    """Slips of reading as the record pack words them, without anything else being judged; `bare` for those of rule
    files, whose reasons are not those of plans."""
    seen = list(slips)
    if not seen:
        return []
    scene = _nowhere(review.plan_grammar)
    table = slips_table(scene, seen)
    found: list[Finding] = []
    for rule in review.rulebook.rules:
        if any(each.plural.value.parts == ("slips",) for each in rule.each):
            limits = {name: limit_fact(limit) for name, limit in rule.limits.items()}
            lists = {name: words.words for name, words in rule.lists.items()}
            context = Context(scene, review.vocabulary, limits, lists, policy.today.toordinal(), {"slips": table})
            found += judge(rule, context).findings
    found.sort(key=lambda finding: finding.order)
    ones = [told(finding, units) for finding in found]
    if bare:
        ones = [one._replace(words=one.words.split("\n")[0]) for one in ones]
    return list({one.key: one for one in ones}.values())
