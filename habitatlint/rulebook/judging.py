"""One rule judged on one scene: what it finds, and what it could not judge.

Filters that concern one variable are applied before pairs are made, pairs come
from the spatial index, and everything is worked out over all things at once.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from habitatlint.findings import FIRM, Fact, Finding, Mend, Related
from habitatlint.ground.columns import Column, Indices, Mask, distinct
from habitatlint.ground.tables import patches_as_trees
from habitatlint.language.editing import Unwritable
from habitatlint.measures.vocabulary import Rows
from habitatlint.reading.values import Written
from habitatlint.rulebook.evaluation import (
    Context,
    Frame,
    Truth,
    Unjudgeable,
    compare,
    expand,
    holds,
    measured,
    value,
)  # fmt: skip
from habitatlint.rulebook.expressions import Call, Compare, Each, Ref, names_in, parts_of, plurals_in
from habitatlint.rulebook.remedies import Changes
from habitatlint.rulebook.rules import Remedy, Report, Rule, placeholders
from habitatlint.source import Span

_NO_TREES = "a patch lays no trees, so nobody knows where they come to lie"


class NotJudged(NamedTuple):
    """A thing that a rule could not judge, and what it would need."""

    rule: str
    label: str
    name: str
    span: Span
    why: str


class Judgement(NamedTuple):
    """What a rule found, and what it could not judge."""

    findings: list[Finding]
    not_judged: list[NotJudged]


class Witness:
    """Whom judging tells what it does, as it does it. This one hears nothing; `explaining` has one that notes."""

    def began(self, context: Context) -> None:
        """Judging begins, against this context."""

    def lacked(self, each: Each) -> None:
        """There is no thing at all of the plural that a variable runs over."""

    def looked(self, each: Each, before: Frame, frame: Frame) -> None:
        """A variable was bound: the bindings before, and those with it."""

    def asked(self, node: Written, frame: Frame, truth: Truth) -> None:
        """A condition was put to every binding of a frame."""

    def compared(self, report: Report, frame: Frame, left: Column, right: Column, truth: Truth, open_: Mask) -> None:
        """A report's figures were compared for the bindings that no report before it decided."""

    def found(self, finding: Finding, frame: Frame, group: Indices) -> None:
        """A finding was made of a group of a frame's bindings."""

    def ended(self, judgement: Judgement) -> None:
        """All is judged."""


#: hears nothing
NOBODY = Witness()


def judge(rule: Rule, context: Context, witness: Witness = NOBODY) -> Judgement:
    """A rule's findings on a scene, in order of their places. A rule that cannot be worked out is
    told as not judged on the plan as a whole."""
    judging = _Judging(rule, context, witness)
    witness.began(context)
    try:
        findings = judging.findings()
    except Unjudgeable as error:
        start = Span(context.scene.plan.source, 0, len(context.scene.plan.source.line(1)))
        judgement = Judgement([], [NotJudged(rule.name, "the plan", "", start, str(error))])
    else:
        judging.tell_patches()
        judgement = Judgement(sorted(findings, key=lambda finding: finding.order), judging.not_judged)
    witness.ended(judgement)
    return judgement


class _Judging:
    def __init__(self, rule: Rule, context: Context, witness: Witness) -> None:
        self.rule = rule
        self.context = context
        self.witness = witness
        self.not_judged: list[NotJudged] = []
        self._told: set[tuple[str, str, str]] = set()
        self.variables = [each.variable for each in rule.each]
        #: rows of the first variable that passed the filters that concern it alone
        self.candidates: Frame | None = None
        #: how many of them share a value of the first `per`, once anybody asks
        self._alike: Counter[Any] | None = None

    # -- binding and filtering ------------------------------------------------------------------------

    def findings(self) -> list[Finding]:
        frame = self._bound()
        if frame is None or not frame.size:
            return []
        return self._reported(frame)

    def _bound(self) -> Frame | None:
        """Every binding of the rule's variables that passes its filters, with its measures."""
        rule, context = self.rule, self.context
        pending = list(rule.where)
        needs = list(rule.needs)
        measures = list(rule.measures)
        frame = Frame(1)
        bound: set[str] = set()
        for number, each in enumerate(rule.each):
            lacking = next((later for later in rule.each[number:] if not self._any(later.plural)), None)
            if lacking is not None:
                self.witness.lacked(lacking)
                return None
            before = frame
            frame, _ = expand(context, frame, each.variable, each.plural, each.bound)
            frame = self._once(frame, each.variable, number)
            self.witness.looked(each, before, frame)
            bound.add(each.variable)
            frame, pending, needs = self._filter(frame, pending, needs, bound, measures)
            if number == 0:
                self.candidates = frame
            if not frame.size:
                return None
        while measures:
            one = measures.pop(0)
            frame.measured[one.name] = measured(context, frame, one.value)
            frame, pending, needs = self._filter(frame, pending, needs, bound, measures)
        frame, pending, needs = self._filter(frame, pending, needs, bound, [])
        return frame

    def _any(self, plural: Written) -> bool:
        """Whether there is any thing of a plural at all; fields of things are seen when they come."""
        parts = plural.value.parts
        if len(parts) > 1 or parts[0] in self.context.lists:
            return True
        return self.context.table(parts[0]).size > 0

    def _once(self, frame: Frame, variable: str, number: int) -> Frame:
        """Two things of one plural give each pair once."""
        if variable not in frame.rows:
            return frame
        mine = frame.rows[variable]
        unplaced = self.context.table(mine.plural).unplaced
        if unplaced is not None and unplaced.any():  # a slip has told of it: nothing more is said
            frame = frame.take(np.flatnonzero(~unplaced[mine.rows]))
            mine = frame.rows[variable]
        for other in self.variables[:number]:
            if other in frame.rows and frame.rows[other].plural == mine.plural:
                frame = frame.take(np.flatnonzero(frame.rows[other].rows < mine.rows))
                mine = frame.rows[variable]
        return frame

    def _filter(
        self, frame: Frame, pending: list[Written], needs: list[Written], bound: set[str], measures: list[Any]
    ) -> tuple[Frame, list[Written], list[Written]]:
        """Applies the filters whose names are all bound; those that can always be told come first."""
        unmeasured = {one.name for one in measures}
        free = set(self.variables) - bound
        ready = [node for node in pending if not names_in(node) & (unmeasured | free)]
        ready.sort(key=lambda node: node.kind in ("compare", "quantified"))
        for node in ready:
            if frame.size:
                frame = self._kept(frame, node, holds(self.context, frame, node))
        for node in [need for need in needs if not names_in(need) & (unmeasured | free)]:
            if frame.size:
                found = value(self.context, frame, node)
                frame = self._kept(frame, node, Truth(found.mask, found.mask, [(~found.mask, found.why)]))
        return (
            frame,
            [node for node in pending if node not in ready],
            [need for need in needs if names_in(need) & (unmeasured | free)],
        )

    def _kept(self, frame: Frame, node: Written, truth: Truth) -> Frame:
        """The bindings for which a condition holds; those for which nobody knows are told."""
        self.witness.asked(node, frame, truth)
        self._tell(frame, ~truth.known, truth)
        passed = truth.holds & truth.known
        return frame if passed.all() else frame.take(np.flatnonzero(passed))

    def _tell(self, frame: Frame, unknown: Mask, truth: Truth) -> None:
        for index in np.flatnonzero(unknown):
            why = truth.reason(int(index))
            if not why:
                continue  # it is placed nowhere, and a slip has told that
            label, name, span = self._first_thing(frame, int(index))
            if (name, label, why) not in self._told:
                self._told.add((name, label, why))
                self.not_judged.append(NotJudged(self.rule.name, label, name, span, why))

    def _first_thing(self, frame: Frame, index: int) -> tuple[str, str, Span]:
        """The thing that a binding is about: its block for a tree, so that it is told once."""
        for variable in self.variables:
            if variable in frame.rows:
                rows = frame.rows[variable]
                table, row = self.context.table(rows.plural), int(rows.rows[index])
                if rows.plural == "trees":
                    name = table.name(row)
                    block = self.context.scene.plan.names.get(name)
                    return (block.label if block else table.label(row)), name, table.span(row)
                return table.label(row), table.name(row), table.span(row)
        source = self.context.scene.plan.source
        return "the plan", "", Span(source, 0, len(source.line(1)))

    def tell_patches(self) -> None:
        """Tells of the patches that a rule over trees might find fault with: a patch lays no trees, and
        what needs their places is not judged there. Those that the rule's filters leave out, or that come
        near nothing the rule looks at, are passed over."""
        if not self.variables:
            return
        plural = self.rule.each[0].plural.value.parts
        if plural not in (("trees",), ("cuttings",)):
            return
        table = patches_as_trees(self.context.scene)
        if not table.size:
            return
        context = self.context._replace(tables={**self.context.tables, "trees": table})
        frame = Frame(table.size, {self.variables[0]: Rows("trees", np.arange(table.size))})
        if plural == ("cuttings",):  # judged by the hinges of a pocket or row
            frame = frame.take(np.flatnonzero(table.column("method").values == "hinge"))
        else:
            frame = self._near_patches(context, self._likely_patches(context, frame))
        for row in map(int, distinct(frame.rows[self.variables[0]].rows)):
            told = NotJudged(self.rule.name, table.label(row), table.name(row), table.span(row), _NO_TREES)
            self.not_judged.append(told)

    def _likely_patches(self, context: Context, frame: Frame) -> Frame:
        """Patches that pass the filters on trees alone, or of which nobody knows."""
        others = {*self.variables[1:], *(one.name for one in self.rule.measures)}
        for node in self.rule.where:
            if frame.size and not (names_in(node) & others or plurals_in(node) & {"trees", "cuttings"} or _calls(node)):
                truth = holds(context, frame, node)
                frame = frame.take(np.flatnonzero((truth.holds & truth.known) | ~truth.known))
        return frame

    def _near_patches(self, context: Context, frame: Frame) -> Frame:
        """Patches that come within the bound of what the rule pairs trees with."""
        for each in self.rule.each[1:]:
            known = each.bound is not None and not names_in(each.bound.of) & set(self.variables[1:])
            if known and frame.size and each.plural.value.parts not in (("trees",), ("cuttings",)):
                _, outer = expand(context, frame, each.variable, each.plural, each.bound)
                frame = frame.take(distinct(outer))
        return frame

    # -- reporting ------------------------------------------------------------------------------------

    def _reported(self, frame: Frame) -> list[Finding]:
        """The first report of each binding that is true; groups told once with their worst."""
        which = np.full(frame.size, -1)
        comparisons: dict[int, tuple[Column, Column]] = {}
        undecided = np.ones(frame.size, bool)
        for number, report in enumerate(self.rule.reports):
            if report.when is None:
                true, known = np.ones(frame.size, bool), np.ones(frame.size, bool)
            else:
                node: Compare = report.when.value
                left, right = value(self.context, frame, node.left), value(self.context, frame, node.right)
                truth = compare(left, node.sign, right)
                true, known = truth.holds, truth.known
                comparisons[number] = (left, right)
                self.witness.compared(report, frame, left, right, truth, undecided.copy())
                self._tell(frame, ~known & undecided, truth)
            which[undecided & true & known] = number
            undecided &= ~true & known
        found = np.flatnonzero(which >= 0)
        if not len(found):
            return []
        findings = []
        for group in self._groups(frame, found):
            findings.append(self._finding(frame, group, which, comparisons))
            self.witness.found(findings[-1], frame, group)
        return findings

    def _groups(self, frame: Frame, found: Indices) -> list[Indices]:
        """Bindings told together: those alike in every `per`; without it, each by itself."""
        if not self.rule.per:
            return [found[index : index + 1] for index in range(len(found))]
        keys: dict[tuple[Any, ...], list[int]] = {}
        columns = [self._key(frame, node) for node in self.rule.per]
        for index in found:
            keys.setdefault(tuple(column[index] for column in columns), []).append(int(index))
        return [np.array(group, np.intp) for group in keys.values()]

    def _key(self, frame: Frame, node: Written) -> Any:
        found = value(self.context, frame, node)
        keys = found.values.astype(object)
        keys[~found.mask] = None
        return keys

    def _finding(
        self, frame: Frame, group: Indices, which: Any, comparisons: Mapping[int, tuple[Column, Column]]
    ) -> Finding:
        rule = self.rule
        levels = {int(which[index]) for index in group}
        number = max(levels, key=lambda one: (rule.reports[one].level, -one))
        report = rule.reports[number]
        told = group[which[group] == number]
        worst = int(told[0])
        measured_fact = wanted_fact = None
        sense = ""
        if report.when is not None:
            left, right = comparisons[number]
            sense = report.when.value.sign
            sizes = np.asarray(left.values, float)[told]
            worst = int(told[int(np.argmin(sizes) if sense in ("<", "<=") else np.argmax(sizes))])
            measured_fact, wanted_fact = _fact(left, worst), _fact(right, worst)
            unit = measured_fact.unit or wanted_fact.unit
            measured_fact, wanted_fact = measured_fact._replace(unit=unit), wanted_fact._replace(unit=unit)
        one = frame.take(np.array([worst]))
        count = self._count(frame, group)
        say = report.many if report.many and count > 1 else report.say
        words = " ".join((say, rule.because, *(remedy.say for remedy in rule.remedies)))
        facts = {".".join(parts): self._said(one, parts, count) for parts in placeholders(words)}
        span, related = self._marked(one)
        related += self._also(one)
        place, place_of = self._place(one, report)
        firm = self._firm(one)
        limit = self._limit(report)
        return Finding(
            rule=rule.name,
            level=report.level,
            span=span,
            say=say,
            facts=facts,
            measured=measured_fact,
            place=place,
            place_of=place_of,
            sense=sense,
            wanted=wanted_fact,
            evidence=limit[0],
            source=limit[1],
            because=rule.because,
            related=tuple(related),
            mends=tuple(self._mend(frame, told, worst, remedy) for remedy in rule.remedies),
            names=self._names(frame, group),
            safety=rule.safety,
            firm=firm,
        )

    def _mend(self, frame: Frame, group: Indices, worst: int, remedy: Remedy) -> Mend:
        """A remedy with its changes worked out for a group; what cannot be worked out is advice."""
        if not remedy.actions:
            return Mend(remedy.say, proof="advice")
        ordered = np.concatenate([[worst], group[group != worst]])
        try:
            changes = Changes(self.rule, self.context, frame.take(ordered)).of(remedy)
        except Unwritable as error:
            return Mend(remedy.say, proof="withheld", why=str(error))
        return Mend(remedy.say, changes=changes)

    def _count(self, frame: Frame, group: Indices) -> int:
        """How many different things of the first variable a group has; of two of one plural, the pairs."""
        first = next((name for name in self.variables if name in frame.rows), None)
        if first is None or self._paired(first):
            return len(group)
        return len(distinct(frame.rows[first].rows[group]))

    def _paired(self, first: str) -> bool:
        """Whether a rule looks at two things of one plural, each pair once."""
        plurals = [each.plural.value.parts for each in self.rule.each]
        return first == self.variables[0] and len(plurals) == 2 and plurals[0] == plurals[1]

    def _all(self, one: Frame, count: int) -> int:
        """How many things there are like those of a group, found at fault or not: those of the first
        variable that pass the filters on it alone and share the group's first `per`."""
        if self.candidates is None or not self.rule.per:
            return count
        node = self.rule.per[0]
        if names_in(node) - {self.variables[0]}:
            return count
        if self._alike is None:
            self._alike = Counter(self._key(self.candidates, node).tolist())
        return max(count, self._alike[self._key(one, node)[0]])

    def _said(self, one: Frame, parts: tuple[str, ...], count: int) -> Fact:
        """The fact that stands for a place in braces."""
        if parts == ("count",):
            return Fact(count, "count")
        if parts == ("all",):
            return Fact(self._all(one, count), "count")
        found = value(self.context, one, Written(Ref(parts), "ref", 0, 0))
        return named(self.context, found, 0) or Fact("none", "text")

    def _marked(self, one: Frame) -> tuple[Span, list[Related]]:
        """Where a finding is marked: the field that `mark` names, else the first thing's head."""
        mark = self.rule.mark.value if self.rule.mark else None
        parts: tuple[str, ...] = mark.parts if mark is not None else ()
        if parts and parts[0] in one.measured:
            found = value(self.context, one, Written(Ref(parts[:2]), "ref", 0, 0))
            return self._written_at(found.kind.removeprefix("thing:"), int(found.values[0]), parts[2:])
        variable = parts[0] if parts else next((name for name in self.variables if name in one.rows), None)
        if variable is None or variable not in one.rows:
            source = self.context.scene.plan.source
            head = self.context.scene.plan.head
            return (head.span() if head else Span(source, 0, len(source.line(1)))), []
        rows = one.rows[variable]
        return self._written_at(rows.plural, int(rows.rows[0]), parts[1:])

    def _written_at(self, plural: str, row: int, fields: tuple[str, ...]) -> tuple[Span, list[Related]]:
        """Where a thing's field is written, and the thing where another block says it; else its head."""
        table = self.context.table(plural)
        if fields:
            place = table.written(row, fields[0])
            if place is not None:
                here = [Related(table.span(row), f"{table.label(row)} shares it")] if place.shared else []
                return place.span, here
        return table.span(row), []

    def _also(self, one: Frame) -> list[Related]:
        related = [
            one for rows in one.rows.values() for one in self.context.table(rows.plural).related(int(rows.rows[0]))
        ]
        for also in self.rule.also:
            first, *fields = also.thing.value.parts
            if first not in one.rows:
                continue
            rows = one.rows[first]
            table, row = self.context.table(rows.plural), int(rows.rows[0])
            place = table.written(row, fields[0]) if fields else None
            related.append(Related(place.span if place else table.span(row), also.what or table.label(row)))
        return related

    def _place(self, one: Frame, report: Report) -> tuple[tuple[float, float] | None, str]:
        """Where the worst was measured: the place its measure gives, else its stump or middle; none where
        its measure gives places, but found none."""
        label = ""
        first = next((name for name in self.variables if name in one.rows), None)
        if first is not None and one.rows[first].plural == "trees":
            label = self.context.table("trees").label(int(one.rows[first].rows[0]))
        placing = [found for found in one.measured.values() if "place" in found.parts]
        if placing:
            for found in placing:
                point = found.parts["place"](np.array([0])).values[0]
                if point is not None and not point.is_empty:
                    return (float(point.x), float(point.y)), label
            return None, label
        if first is None:
            return None, label
        rows = one.rows[first]
        table = self.context.table(rows.plural)
        field_name = next((name for name in ("stump", "at", "shape", "place") if table.has(name)), "")
        if not field_name:
            return None, label
        shape = table.column(field_name).take(rows.rows).values[0]
        if shape is None or not hasattr(shape, "is_empty") or shape.is_empty:
            return None, label
        middle = shape.centroid
        return (float(middle.x), float(middle.y)), label

    def _limit(self, report: Report) -> tuple[str, str]:
        """Evidence of the limit that a report compares with, or of the list that its measure was handed, else
        of the rule's first."""
        if report.when is not None:
            right, left = (sorted(names_in(side)) for side in (report.when.value.right, report.when.value.left))
            for name in (*right, *left):
                if name in self.rule.limits:
                    limit = self.rule.limits[name]
                    return limit.evidence, limit.source
            handed = [names_in(one.value) for one in self.rule.measures if one.name in (*right, *left)]
            for name, words in self.rule.lists.items():
                if any(name in names for names in handed):
                    return words.evidence, words.source
        return self.rule.evidence

    def _names(self, frame: Frame, group: Indices) -> frozenset[str]:
        """The blocks that a finding is on, for waivers: every thing of its binding. Of a group, what all
        its bindings share, so that a waiver on one of them accepts no other; where they share nothing
        (several pockets of a plan), all that they are on."""
        things = [frame.rows[variable] for variable in self.variables if variable in frame.rows]
        bindings = {tuple(int(rows.rows[index]) for rows in things) for index in group}
        known = [
            {row: self._names_of(rows.plural, row) for row in {binding[at] for binding in bindings}}
            for at, rows in enumerate(things)
        ]
        named = [frozenset().union(*(known[at][row] for at, row in enumerate(binding))) for binding in bindings]
        return frozenset.intersection(*named) or frozenset().union(*named)

    def _names_of(self, plural: str, row: int) -> frozenset[str]:
        """The blocks that a thing stands for, and the pocket it is in."""
        table = self.context.table(plural)
        names = table.names(row)
        if table.has("pocket"):
            pocket = table.column("pocket")
            if pocket.mask[row]:
                names |= {self.context.table("pockets").name(int(pocket.values[row]))}
        return names

    def _firm(self, one: Frame) -> bool:
        """Slips of reading and naming are neither waived nor lowered."""
        for rows in one.rows.values():
            if rows.plural == "slips":
                kind = self.context.table("slips").column("kind").values[int(rows.rows[0])]
                return kind in FIRM
        return False


def _calls(node: Written) -> bool:
    """Whether a condition asks a measure, which would look at trees on the ground."""
    return isinstance(node.value, Call) or any(_calls(part) for part in parts_of(node))


def named(context: Context, found: Column, index: int) -> Fact | None:
    """One value of a column as a person would say it, things and names by what they are called; None where it is
    not known."""
    if not found.mask[index]:
        return None
    if found.kind.startswith("thing:"):
        row = int(found.values[index])
        return Fact(context.table(found.kind.removeprefix("thing:")).label(row), "text")
    if found.kind == "name":
        block = context.scene.plan.names.get(str(found.values[index]))
        return Fact(block.label if block else str(found.values[index]), "text")
    return _fact(found, index)


def _fact(found: Column, index: int) -> Fact:
    """One value of a column as a fact."""
    one = found.values[index]
    if hasattr(one, "geom_type"):
        middle = one.centroid
        return Fact((float(middle.x), float(middle.y)), "place")
    estimated = bool(found.estimated[index]) if found.estimated is not None else False
    if isinstance(one, np.generic):
        one = one.item()
    return Fact(one, found.kind, found.unit, estimated)
