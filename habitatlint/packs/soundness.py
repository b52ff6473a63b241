"""A pack looked at by itself, before anybody judges a plan by it.

Told are: lines that cannot be read or do not fit together; examples that do not show what they should; reports that are
never made, and rules that stand against each other; rules that are taken and left; figures on nobody's word; mends that
clear no example; what a begun pack says until its maker does; and a table of which rule has which examples.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

from habitatlint.check import of_a_pack
from habitatlint.findings import Fact, Finding, Level
from habitatlint.measures.vocabulary import Vocabulary
from habitatlint.mending import proven
from habitatlint.outputs.packs import Cover, Looked, Remark
from habitatlint.outputs.sentences import shown
from habitatlint.packs.examples import Fault, policy_of, prove
from habitatlint.packs.reach import clashes, never
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook, limit_fact
from habitatlint.rulebook.expressions import Ref
from habitatlint.rulebook.rules import Example, Limit, Pack, Remedy, Rule, WordList
from habitatlint.source import Source, Span

#: what the head of a begun pack says until its maker says it, and what that is
UNSAID = {
    "author": ("your name", "who made the pack"),
    "licence": ("on what terms others may use it", "on what terms others may use it, such as `free to use and change`"),
    "about": ("what kind of ground it is for, and where its figures come from", "for what ground it is"),
}
#: how near a figure a plan is just either side of it: by this share of the figure, and by one where it counts
_NEAR = 0.1
_COUNTED = frozenset({"count", "number"})
_SIZES = frozenset(
    {
        "length", "area", "share", "number", "count", "angle", "speed", "density", "basal-area", "volume", "dose",
        "duration",
    }
)  # fmt: skip


class Context(NamedTuple):
    """What a pack is looked at with: the review of all packs in force, it among them, and what rules may name."""

    review: Review
    vocabulary: Vocabulary


def look(pack: Pack, others: Review, vocabulary: Vocabulary) -> Looked:
    """All that is to be told of a pack among the packs of a review, in the order of its files."""
    if why := others.rulebook.in_the_way(pack):
        remarks = [Remark(pack.span or _first(pack), Level.error, "name", why)]
        return Looked(pack.name, pack.version, len(pack.rules), tuple(remarks), ())
    book = others.rulebook.with_packs([pack])
    context = Context(replace(others, rulebook=book), vocabulary)
    found = [*_of_text(pack, book), *_of_others(pack, book)]
    if pack.span is None and pack.rules:
        words = 'the pack has no head: write `pack NAME "What it is about"` in a file pack.rules'
        found.append(Remark(_first(pack), Level.warning, "head", words))
    found += unsaid(pack)
    covers = []
    for rule in pack.rules:
        span = rule.placed.source
        faults = prove(rule, context.review)
        found += [Remark(_place(span, fault), Level.error, "example", fault.why) for fault in faults]
        found += [*_of_reach(rule, context), *_of_evidence(rule)]
        cover = _cover(rule, context)
        if not faults:  # what examples do not show follows from what is wrong with them
            found += [*_of_mends(rule, context), *_uncovered(rule, cover)]
        covers.append(cover)
    ordered = tuple(sorted(dict.fromkeys(found), key=lambda remark: remark.order))
    return Looked(pack.name, pack.version, len(pack.rules), ordered, tuple(covers))


def _first(pack: Pack) -> Span:
    """The first place of a pack that has any."""
    spans = [*(rule.span() for rule in pack.rules), *(slip.span for slip in pack.slips)]
    return min(spans, key=lambda span: span.order) if spans else Span(Source(pack.name, ""), 0, 0)


def _place(source: Source, fault: Fault) -> Span:
    """What a fault means of a line of a rule file; else the line, without its indent."""
    number = min(fault.line, len(source.line_starts))
    text, start = source.line(number), source.line_starts[number - 1]
    if fault.start < fault.end <= len(text):
        return Span(source, start + fault.start, start + fault.end)
    return Span(source, start + len(text) - len(text.lstrip()), start + len(text))


# -- its text, and what it says of others ----------------------------------------------------------------------


def _of_text(pack: Pack, book: Rulebook) -> Iterator[Remark]:
    for slip in pack.slips:
        told = of_a_pack(slip)
        others = "".join(f" ({one.what}: {one.span.source.name}:{one.span.line})" for one in slip.related)
        yield Remark(slip.span, Level.error, "text", f"{told.thing}: {told.why}{told.hint}{others}")
    for slip in book.faults(pack):
        yield Remark(slip.span, Level.error, "builds-on", f"{slip.why}{slip.hint}")


def unsaid(pack: Pack) -> Iterator[Remark]:
    """Lines of a pack's head that still say what a begun pack says."""
    if pack.span is None:
        return
    for word, (begun, meant) in UNSAID.items():
        line = re.search(rf'(?m)^[ \t]+{word}[ \t]+("{re.escape(begun)}")', pack.span.source.text)
        if line and getattr(pack, word) == begun:
            yield Remark(Span(pack.span.source, line.start(1), line.end(1)), Level.note, "unsaid",
                         f"`{word}` says what `pack new` wrote there: say {meant}")  # fmt: skip


def _of_others(pack: Pack, book: Rulebook) -> Iterator[Remark]:
    """What a pack takes that another leaves, changes of what is left, and names that two rules share."""
    in_force = {rule.name for rule in book.rules}
    for saying in pack.said("takes"):
        rule = book.find(saying.name)
        if rule is not None and rule.name not in in_force and saying.name not in _names(pack, "leaves"):
            yield Remark(saying.span, Level.warning, "left", f"{saying.name} is taken here, and left by another pack")
    for saying in pack.said("set", "level"):
        rule = book.find(saying.name.rpartition(".")[0] if saying.word == "set" else saying.name)
        if rule is not None and rule.name not in in_force:
            yield Remark(saying.span, Level.warning, "left", f"{rule.slug} is left, so that this changes nothing")
        elif rule is not None and rule.safety and saying.level is not None and saying.level < rule.worst:
            yield Remark(saying.span, Level.warning, "safety",
                         f"{rule.slug} is about people's safety, and this pack lowers it for every plan")  # fmt: skip
    for rule in pack.rules:
        shared = sorted(other.pack for other in book.rules if other.slug == rule.slug and other.pack != rule.pack)
        if shared:
            yield Remark(rule.span(), Level.warning, "name",
                         f"{shared[0]} has a rule of that name too: plans must say {rule.name}, or give this one "
                         "another name")  # fmt: skip


def _names(pack: Pack, word: str) -> set[str]:
    return {saying.name for saying in pack.said(word)}


# -- what its rules can say ------------------------------------------------------------------------------------


def _of_reach(rule: Rule, context: Context) -> Iterator[Remark]:
    for one in never(rule, context.vocabulary):
        level, with_what = (Level.warning, "with its limits as they stand") if one.ever else (Level.error, "ever")
        yield Remark(rule.reports[one.report].span, level, "reach", f"this is not reported {with_what}: {one.why}")
    others = {other.name: other for other in context.review.rulebook.rules}
    for clash in clashes(rule, others, context.vocabulary):
        yield Remark(clash.report.span, Level.warning, "clash",
                     f"this stands against {clash.other.name}: they measure the same, and what one wants the other "
                     "finds fault with")  # fmt: skip


def _of_evidence(rule: Rule) -> Iterator[Remark]:
    said: list[tuple[str, Limit | WordList]] = [
        *((f"the limit {name}", limit) for name, limit in rule.limits.items()),
        *((f"the list {name}", words) for name, words in rule.lists.items()),
    ]
    for what, one in said:
        if one.evidence == "common-practice" and not one.source:
            words = (
                "is common practice on nobody's word: say in double quotes whose it is, or that nothing is published"
            )
            yield Remark(one.span, Level.note, "evidence", f"{what} {words}")


# -- its mends and examples ------------------------------------------------------------------------------------


def _of_mends(rule: Rule, context: Context) -> Iterator[Remark]:
    """Mends with edits that clear none of the rule's broken examples. For people's safety no fall or method is changed,
    and such a mend is not asked to."""
    editing = [remedy for remedy in rule.remedies if remedy.actions and not (rule.safety and _is_of_cuts(remedy))]
    # what other rules say of so small a plan is not asked here; what slips tell is
    others = [one.name for one in context.review.rulebook.rules if one.name != rule.name and one.pack != "record"]
    cleared: set[str] = set()
    failed: dict[str, str] = {}
    for example in rule.examples:
        if example.kind != "broken" or len(cleared) == len(editing):
            continue
        policy = policy_of(rule, example)._replace(levels=dict.fromkeys(others, Level.off))
        report = context.review.check(Source("example.habitat", example.text), policy)
        judges = context.review.judges(policy)
        for finding in (one for one in report.findings if one.rule == rule.name):
            left = finding._replace(mends=tuple(one for one in finding.mends if one.say not in cleared))
            for mend in proven(report, left, judges):
                if mend.proof == "clears":
                    cleared.add(mend.say)
                elif mend.why:
                    failed.setdefault(mend.say, mend.why)
    for remedy in editing:
        if remedy.say not in cleared:
            why = f" ({failed[remedy.say]})" if remedy.say in failed else ""
            yield Remark(
                remedy.span, Level.warning, "mend", f"this mend clears none of the rule's broken examples{why}"
            )


def _is_of_cuts(remedy: Remedy) -> bool:
    """Whether a mend would write a fall or a method."""
    targets = (action.values[0].value for action in remedy.actions)
    return any(isinstance(target, Ref) and target.parts[-1] in ("fall", "method") for target in targets)


def _cover(rule: Rule, context: Context) -> Cover:
    judge = _Judge(rule, context.review)
    broken = [example for example in rule.examples if example.kind == "broken"]
    kept = [example for example in rule.examples if example.kind == "kept"]
    seen = {finding.level for example in broken for finding in judge.found(example)}
    levels = dict.fromkeys(report.level for report in rule.reports)
    limits = tuple(
        (limit.name, judge.is_either_side(limit, broken, kept))
        for limit in rule.limits.values()
        if limit.kind in _SIZES
    )
    mended = sum(bool(example.mended) for example in broken)
    return Cover(rule.slug, len(broken), len(kept), mended,
                 tuple((level.name, level in seen) for level in levels), limits)  # fmt: skip


def _uncovered(rule: Rule, cover: Cover) -> Iterator[Remark]:
    for name, there in cover.levels:
        if not there:
            report = next(report for report in rule.reports if report.level.name == name)
            yield Remark(report.span, Level.note, "cover", f"no example shows the {name} that is reported here")
    for name, there in cover.limits:
        if not there:
            limit = rule.limits[name]
            value = shown(limit_fact(limit))
            yield Remark(limit.span, Level.note, "cover",
                         f"no pair of examples stands just either side of {name}, {value}: one that it breaks, one "
                         "that it keeps")  # fmt: skip


class _Judge:
    """Judges examples of one rule by that rule alone, as the packs in force have it."""

    def __init__(self, rule: Rule, review: Review) -> None:
        self.rule = rule
        self.review = replace(review, rulebook=review.rulebook.only(rule.name))

    def found(self, example: Example, changed: Mapping[str, Fact] | None = None) -> list[Finding]:
        policy = policy_of(self.rule, example)
        policy = policy._replace(limits={**policy.limits, **(changed or {})})
        report = self.review.check(Source("example.habitat", example.text), policy)
        return [finding for finding in report.findings if finding.rule == self.rule.name]

    def is_either_side(self, limit: Limit, broken: Iterable[Example], kept: Iterable[Example]) -> bool:
        """Whether with the limit a little other than it is some broken plan would be kept, or less gravely broken, and
        some other broken, or more gravely."""
        return any(self._moves(example, limit, -1) for example in broken) and any(
            self._moves(example, limit, 1) for example in (*kept, *broken)
        )

    def _moves(self, example: Example, limit: Limit, way: int) -> bool:
        policy = policy_of(self.rule, example)
        name = f"{self.rule.name}.{limit.name}"
        fact = policy.limits.get(name) or self.review.rulebook.changed_limits.get(name) or limit_fact(limit)
        if not isinstance(fact.value, int | float):
            return False
        step = abs(fact.value) * _NEAR or ((limit.largest or 0) - (limit.least or 0)) * _NEAR
        if limit.kind in _COUNTED and float(fact.value).is_integer():
            step = max(1, round(step))
        before = self._gravity(example)
        moved = (self._gravity(example, {name: fact._replace(value=fact.value + by)}) for by in (-step, step))
        return any((after - before) * way > 0 for after in moved)

    def _gravity(self, example: Example, changed: Mapping[str, Fact] | None = None) -> int:
        return sum(finding.level for finding in self.found(example, changed))
