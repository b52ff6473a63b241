"""Why a rule did or did not fire on a block: what judging did with the things that stand there, noted as it went.

Nothing is judged a second time here. An `Inquiry` hears judging (`judging.Witness`) and keeps the bindings that concern
the block; asked for a rule, it tells which of its things each filter passed and which it left out, which pairs were
looked at, and what was measured against which limit.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import shapely

from habitatlint.findings import Fact, Finding, Level, Policy
from habitatlint.ground.columns import Column, Indices, Mask, Table
from habitatlint.language.blocks import Block, Cutting, Plan, Waive
from habitatlint.language.plan import PlanText
from habitatlint.reading.grammar import did_you_mean
from habitatlint.reading.values import Written
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.evaluation import Context, Frame, Truth, Unjudgeable, sides, value
from habitatlint.rulebook.expressions import Both, Compare, Each, Either, Is, Negation, Quantified
from habitatlint.rulebook.judging import Judgement, NotJudged, Witness, named
from habitatlint.rulebook.rules import Report, Rule
from habitatlint.source import Source, Span

#: so many cases are told of each step
FEW = 3
#: of more pairs than this the nearest are not looked for
MOST_MEASURED = 200_000


class Unanswerable(Exception):
    """A question that has no answer, in one line with its remedy."""


class Said(NamedTuple):
    """A part of a rule as written, and its value for one binding; without a value, why."""

    part: Written
    fact: Fact | None
    why: str = ""


class Case(NamedTuple):
    """One binding: what its variables stand for, and what was found of it."""

    things: tuple[str, ...]
    said: tuple[Said, ...] = ()


class Looked(NamedTuple):
    """A variable bound: of the things of its plural in the plan, how many stand on the block (and of these how many
    are placed nowhere), and how many bindings there are with what stands there. `partners` says that nothing of the
    block is bound yet: what is told is of all that it may be paired with. Of a pair the nearest, or those that came
    nearest where none is within its `reach`."""

    each: Each
    size: int
    here: int
    unplaced: int
    bindings: int
    partners: bool
    reach: Fact | None = None
    nearest: tuple[Case, ...] = ()


class Asked(NamedTuple):
    """A `where` or `needs` put to the bindings: how many passed, some that failed, and some of which nobody knows."""

    node: Written
    needs: bool
    put: int
    passed: int
    unknown: int
    partners: bool
    failed: tuple[Case, ...] = ()
    unsure: tuple[Case, ...] = ()


class Compared(NamedTuple):
    """A report's comparison: how many bindings it was put to and is true of; those that come nearest to being at
    fault, or are most so, first. A case says what was measured, then the limit."""

    report: Report
    put: int
    true: int
    unknown: int
    cases: tuple[Case, ...]
    unsure: tuple[Case, ...] = ()


Step = Looked | Asked | Compared


class Origin(NamedTuple):
    """Who set a limit or level: "rule", "pack" (by its name), "pins", "settings", or "plan" (at a line)."""

    by: str
    name: str = ""
    span: Span | None = None


class Found(NamedTuple):
    """A finding and what became of it: "told", "waived" (with the waiver's line) or "off"."""

    finding: Finding
    fate: str
    waiver: Span | None = None


class Explanation(NamedTuple):
    """What a rule did on a block. `stands` says whether anything it runs over stands there; `lacking` is the variable
    for which the plan has no thing at all. Limits are those in force, by name, with who set them."""

    rule: Rule
    block: Block
    stands: bool
    steps: tuple[Step, ...]
    lacking: Each | None
    found: tuple[Found, ...]
    not_judged: tuple[NotJudged, ...]
    limits: Mapping[str, tuple[Fact, Origin]]
    level: Level | None
    level_by: Origin

    @property
    def unknown(self) -> bool:
        """Whether something on the block could not be judged."""
        return bool(self.not_judged) or any(
            isinstance(step, Asked | Compared) and step.unknown for step in self._own_steps
        )

    @property
    def verdict(self) -> str:
        """ "fires", "waived", "off" (it would fire), "not judged", "not", or "nothing here"."""
        for fate, word in (("told", "fires"), ("waived", "waived"), ("off", "off")):
            if any(one.fate == fate for one in self.found):
                return word
        if self.unknown:
            return "not judged"
        return "not" if self.stands else "nothing here"

    @property
    def _own_steps(self) -> list[Step]:
        return [step for step in self.steps if isinstance(step, Compared) or not step.partners]

    @property
    def last(self) -> Step | None:
        """The step at which nothing of the block was left, None where there is none."""
        for step in self.steps:
            if isinstance(step, Asked) and step.put and not step.passed:
                return step
            if isinstance(step, Looked) and not step.partners and not step.bindings:
                return step
            if isinstance(step, Compared) and step is self.steps[-1]:
                return step
        return None


# -- hearing ----------------------------------------------------------------------------------------------


class _Event(NamedTuple):
    """What was heard: of a frame only what may concern the blocks asked about, and how much it was in all."""

    what: Each | Written | Report
    frame: Frame
    size: int
    passed: int = 0
    truth: Truth | None = None
    sides: tuple[Column, Column] | None = None
    #: bindings that came to this comparison
    put: Mask | None = None
    before: Frame | None = None


class _Notes(Witness):
    """What was heard of one rule, judged once."""

    def __init__(self, rule: Rule, inquiry: Inquiry) -> None:
        self.rule = rule
        self.inquiry = inquiry
        self.events: list[_Event] = []
        self.lacking: Each | None = None
        self.made: list[tuple[Finding, Frame]] = []
        self.judgement = Judgement([], [])

    def began(self, context: Context) -> None:
        self.context = context

    def lacked(self, each: Each) -> None:
        self.lacking = each

    def looked(self, each: Each, before: Frame, frame: Frame) -> None:
        self.events.append(_Event(each, frame.take(self._which(frame)), frame.size, before=before))

    def asked(self, node: Written, frame: Frame, truth: Truth) -> None:
        which = self._which(frame)
        passed = int(np.count_nonzero(truth.holds & truth.known))
        self.events.append(_Event(node, frame.take(which), frame.size, passed, _taken(truth, which)))

    def compared(self, report: Report, frame: Frame, left: Column, right: Column, truth: Truth, open_: Mask) -> None:
        which = self._which(frame)
        self.events.append(_Event(report, frame.take(which), frame.size, 0, _taken(truth, which),
                                  (left.take(which), right.take(which)), open_[which]))  # fmt: skip

    def found(self, finding: Finding, frame: Frame, group: Indices) -> None:
        self.made.append((finding, frame.take(group)))

    def ended(self, judgement: Judgement) -> None:
        self.judgement = judgement

    def _which(self, frame: Frame) -> Indices:
        """The bindings that concern any of the blocks asked about."""
        if not self.inquiry.line:
            return np.arange(frame.size)
        mask = np.zeros(frame.size, bool)
        for block in self.inquiry.blocks:
            mask |= self.inquiry.concerns(self.context, frame, block)
        return np.flatnonzero(mask)


def _taken(truth: Truth, which: Indices) -> Truth:
    return Truth(truth.holds[which], truth.known[which], [(mask[which], why) for mask, why in truth.why])


class Inquiry:
    """A question why rules did or did not fire: put to `check`, which lets it hear. `rule` is the rule asked about, ""
    for all; `name` and `line` the place, line 0 for every block of the plan."""

    def __init__(self, rule: str = "", name: str = "", line: int = 0) -> None:
        self.rule, self.name, self.line = rule, name, line
        self.blocks: Sequence[Block] = ()
        self._notes: dict[str, list[_Notes]] = {}
        self._owners: dict[int, tuple[Table, list[tuple[Block | None, frozenset[str]]]]] = {}
        self._rows: dict[tuple[int, int], Mask] = {}

    # -- what check calls

    def begin(self, plan: PlanText, rulebook: Rulebook, rules: list[Rule]) -> list[Rule]:
        """The rules that are to be judged, of those in force. Raises Unanswerable."""
        self.plan, self.rulebook = plan, rulebook
        self.blocks = [self._block()] if self.line else plan.blocks
        if not self.rule:
            self.asked_of = rulebook.rules
            return rules
        rule = rulebook.find(self.rule)
        if rule is None:
            hint = did_you_mean(rulebook.like(self.rule)) or "; `habitatlint rules` lists them"
            raise Unanswerable(f"no rule is called `{self.rule}`{hint}")
        if rule not in rulebook.rules:
            raise Unanswerable(f"a pack leaves out the rule `{rule.slug}`, so that it is not judged here")
        self.asked_of = (rule,)
        over_slips = any(each.plural.value.parts == ("slips",) for each in rule.each)
        # what is told of slips may depend on what every other rule could not judge
        return rules if over_slips else [one for one in rules if one is rule]

    def besides(self, rules: Iterable[Rule]) -> list[Rule]:
        """Rules that are asked about and switched off: judged all the same, to say what they would find."""
        judged = {rule.name for rule in rules}
        return [rule for rule in self.asked_of if rule.name not in judged]

    def of(self, rule: Rule) -> Witness:
        if all(rule is not one for one in self.asked_of):
            return Witness()
        notes = _Notes(rule, self)
        self._notes.setdefault(rule.name, []).append(notes)
        return notes

    def end(self, policy: Policy, levels: Mapping[str, Level], lines: Mapping[str, Span],
            told: Sequence[Finding], waived: Sequence[Finding]) -> None:  # fmt: skip
        """What came of it all: levels in force, the plan's lines that set limits and levels, and the findings."""
        self.policy, self.levels, self.lines = policy, levels, lines
        self._told, self._waived = told, waived

    # -- the place

    def _block(self) -> Block:
        source = self._source()
        lines = len(source.line_starts)
        if self.line > lines or (self.line == lines and not source.line(lines) and lines > 1):
            raise Unanswerable(f"{source.name} has {lines - (not source.line(lines))} lines, and no line {self.line}")
        offset = source.line_starts[self.line - 1] + len(source.line(self.line))
        found = self.plan.block_at(Span(source, offset, offset))
        if found is None:
            heads = [block.span().line for block in self.plan.blocks if block.placed.source is source]
            near = min(heads, key=lambda line: (abs(line - self.line), line), default=0)
            remedy = f"; line {near} begins the nearest" if near else ""
            raise Unanswerable(f"{source.name}:{self.line}: no block stands on this line{remedy}")
        return found

    def _source(self) -> Source:
        if not self.name or self.name == self.plan.source.name:
            return self.plan.source
        held = (block.placed.source for block in self.plan.blocks)
        found = next((source for source in held if source.name == self.name), None)
        if found is None:
            raise Unanswerable(f"{self.plan.source.name} includes no file {self.name}")
        return found

    # -- what stands on a block

    def concerns(self, context: Context, frame: Frame, block: Block) -> Mask:
        """The bindings of a frame of which a thing stands on a block; a binding of nothing is the plan's."""
        if not frame.rows and not frame.items:
            return np.full(frame.size, isinstance(block, Plan))
        mask = np.zeros(frame.size, bool)
        for rows in frame.rows.values():
            here = self.here(context, rows.plural, block)
            known = rows.rows >= 0
            mask |= known & here[np.where(known, rows.rows, 0)] if len(here) else False
        return mask

    def here(self, context: Context, plural: str, block: Block) -> Mask:
        """Which rows of a plural stand on a block: those written in it, and those that stand for it by name."""
        table = context.table(plural)
        key = (id(table), id(block))
        if key not in self._rows:
            blocks = [block, *_spoken_for(self.plan, block)]
            names, ids = {one.name for one in blocks} - {""}, {id(one) for one in blocks}
            self._rows[key] = np.array([id(owner) in ids or bool(names & on) for owner, on in self._of(table)], bool)
        return self._rows[key]

    def _of(self, table: Table) -> list[tuple[Block | None, frozenset[str]]]:
        """For each row of a table, the block it is written in, and the names that it stands for."""
        if id(table) not in self._owners:
            at: dict[tuple[int, int], Block | None] = {}
            found = []
            for row in range(table.size):
                span = table.span(row)
                key = (id(span.source), span.start)
                if key not in at:
                    at[key] = self.plan.block_at(span)
                found.append((at[key], table.names(row)))
            self._owners[id(table)] = (table, found)  # the table is held, so that its id stays its own
        return self._owners[id(table)][1]

    # -- answering

    def answers(self, block: Block) -> list[Explanation]:
        """Every rule asked about that looked at something on a block or found fault there, by name; a single rule in
        any case."""
        every = [self.answer(rule, block) for rule in self.asked_of]
        if self.rule:
            return every
        return [one for one in every if one.stands or one.found or one.not_judged]

    def answer(self, rule: Rule, block: Block) -> Explanation:
        steps: list[Step] = []
        found: list[Found] = []
        not_judged: list[NotJudged] = []
        stands, lacking = False, None
        for notes in self._notes.get(rule.name, []):
            here = self._stands(notes, block)
            if here or (not stands and not steps):
                steps += _told(self, notes, block, here)
            stands |= here
            lacking = lacking or notes.lacking
            for finding, frame in notes.made:
                on = self.plan.block_at(finding.span) is block
                if on or self.concerns(notes.context, frame, block).any():
                    found.append(self._fate(finding))
            not_judged += [
                one for one in notes.judgement.not_judged
                if one.label == "the plan" or one.name == block.name != "" or self.plan.block_at(one.span) is block
            ]  # fmt: skip
        found.sort(key=lambda one: one.finding.order)
        limits = self._limits(rule)
        level = self.levels.get(rule.name)
        return Explanation(rule, block, stands, tuple(steps) if stands else (), lacking, tuple(found),
                           tuple(not_judged), limits, level, self._level_by(rule))  # fmt: skip

    def _stands(self, notes: _Notes, block: Block) -> bool:
        """Whether any variable of a rule can stand for a thing on a block."""
        if not notes.rule.each:
            return isinstance(block, Plan)
        if any(self.concerns(notes.context, event.frame, block).any() for event in notes.events):
            return True
        plurals = [each.plural.value.parts for each in notes.rule.each]
        single = [parts[0] for parts in plurals if len(parts) == 1 and parts[0] not in notes.context.lists]
        return any(self.here(notes.context, plural, block).any() for plural in single)

    def _fate(self, finding: Finding) -> Found:
        for told in self._told:
            if told._replace(level=finding.level) == finding:
                return Found(told, "told")
        for waived in self._waived:
            if waived._replace(level=finding.level, waived="") == finding:
                return Found(waived, "waived", self._waiver(waived))
        alike = next((told for told in self._told if _same(told, finding)), None)
        return Found(alike, "told") if alike is not None else Found(finding, "off")

    def _waiver(self, finding: Finding) -> Span | None:
        """The line that waives a finding."""
        for waiver in self.plan.of(Waive):
            names = [str(one.value) for one in waiver.head if one.kind == "name"]
            rule = self.rulebook.find(names[0])
            because = next(str(one.value) for one in waiver.head if one.kind == "text")
            on = set(names[1:]) <= finding.names if names[1:] else not finding.names
            if rule is not None and rule.name == finding.rule and because == finding.waived and on:
                return waiver.span()
        return None

    def _limits(self, rule: Rule) -> dict[str, tuple[Fact, Origin]]:
        notes = self._notes.get(rule.name)
        if not notes:
            return {}
        context = notes[-1].context
        return {name: (context.limits[name], self._limit_by(rule, name)) for name in rule.limits}

    def _limit_by(self, rule: Rule, name: str) -> Origin:
        key = f"{rule.name}.{name}"
        if key in self.lines:
            return Origin("plan", span=self.lines[key])
        if key in self.policy.limits:
            return Origin("settings")
        if key in self.rulebook.changed_limits:
            asked = {rule.slug, rule.name, *rule.formerly}
            packs = [pack.name for pack in self.rulebook.packs for saying in pack.said("set")
                     if saying.name.rpartition(".")[0] in asked and saying.name.rpartition(".")[2] == name]  # fmt: skip
            return Origin("pack", packs[-1] if packs else "")
        return Origin("rule", rule.pack)

    def _level_by(self, rule: Rule) -> Origin:
        if rule.name in self.lines:
            return Origin("plan", span=self.lines[rule.name])
        if rule.name in self.policy.levels:
            return Origin("settings")
        if rule.name in self.rulebook.since_pins.new:
            return Origin("pins")
        if rule.name in self.rulebook.changed_levels:
            asked = {rule.slug, rule.name, *rule.formerly}
            packs = [one.name for one in self.rulebook.packs for saying in one.said("level") if saying.name in asked]
            return Origin("pack", packs[-1] if packs else "")
        return Origin("rule", rule.pack)


def _same(one: Finding, other: Finding) -> bool:
    """Whether two findings say the same of the same place, so that one of them was left out."""
    return one.order == other.order and one.names == other.names and one.place == other.place


def _spoken_for(plan: PlanText, block: Block) -> list[Block]:
    """The blocks for which a shared `trees` says something."""
    if all(block is not one for one in plan.shared):
        return []
    words = {statement.word for statement in block.parsed.statements}
    cuts = [one for one in plan.blocks if isinstance(one, Cutting) and not one.broken]
    return [one for one in cuts if any((owner := plan.owner(one, word)) and owner[0] is block for word in words)]


# -- telling ----------------------------------------------------------------------------------------------


def _told(inquiry: Inquiry, notes: _Notes, block: Block, stands: bool) -> list[Step]:
    """The steps of one judging, as they concern a block, as far as anything of it is left."""
    steps: list[Step] = []
    if not stands:
        return steps
    bound: set[str] = set()  # plurals that stand on the block and are bound by now
    gone = False  # the last step left nothing of the block
    for event in notes.events:
        which = np.flatnonzero(inquiry.concerns(notes.context, event.frame, block))
        bound |= {
            rows.plural for rows in event.frame.rows.values()
            if inquiry.here(notes.context, rows.plural, block).any()
        }  # fmt: skip
        partners = not bound and bool(notes.rule.each)
        if isinstance(event.what, Each):
            looked = _looked(inquiry, notes, block, event, event.what, which, partners)
            if looked.here or len(which) or not gone:
                steps.append(looked)
                gone = not partners and not looked.bindings
        elif isinstance(event.what, Report):
            compared = _compared(notes, event, event.what, which)
            if compared.put:
                steps.append(compared)
        elif partners:
            needs = _is_need(notes.rule, event.what)
            steps.append(Asked(event.what, needs, event.size, event.passed, 0, True))
        elif len(which):
            asked = _asked(notes, event, event.what, which)
            steps.append(asked)
            gone = not asked.passed
    return steps


def _is_need(rule: Rule, node: Written) -> bool:
    return any(node is need for need in rule.needs)


def _looked(inquiry: Inquiry, notes: _Notes, block: Block, event: _Event, each: Each, which: Indices,
            partners: bool) -> Looked:  # fmt: skip
    context = notes.context
    rows = event.frame.rows.get(each.variable)
    if rows is None:  # words of a list, or what is written in a field
        return Looked(each, event.size, 0, 0, len(which), partners)
    table = context.table(rows.plural)
    here = inquiry.here(context, rows.plural, block)
    unplaced = int(np.count_nonzero(here & table.unplaced)) if table.unplaced is not None else 0
    looked = Looked(each, table.size, int(np.count_nonzero(here)), unplaced, len(which), partners and not here.any())
    if each.bound is None or looked.partners:
        return looked
    with contextlib.suppress(Unjudgeable):
        if len(which):
            return _near(notes, event.frame.take(which), each, looked)
        if event.before is not None and event.before.size:
            return _beyond(inquiry, notes, block, event.before, each, looked)
    return looked


def _near(notes: _Notes, frame: Frame, each: Each, looked: Looked) -> Looked:
    """The pairs that come nearest to each other."""
    assert each.bound is not None
    if frame.size > MOST_MEASURED:
        return looked
    context, rows = notes.context, frame.rows[each.variable]
    from_, limit, field = sides(context, frame, rows.plural, each.bound)
    to = context.table(rows.plural).column(field).values[rows.rows]
    gaps = np.asarray(shapely.distance(from_, to), float)
    nearest = np.argsort(gaps, kind="stable")[:FEW]
    cases = [Case(_things(notes, frame, int(row)), (_gap(each, gaps[row]),)) for row in nearest]
    return looked._replace(reach=named(context, limit, int(nearest[0])), nearest=tuple(cases))


def _beyond(inquiry: Inquiry, notes: _Notes, block: Block, before: Frame, each: Each, looked: Looked) -> Looked:
    """Where nothing lies within the bound, what comes nearest to it."""
    assert each.bound is not None
    context, plural = notes.context, each.plural.value.parts[0]
    own = np.flatnonzero(inquiry.concerns(context, before, block))
    frame = before.take(own) if len(own) else before
    from_, limit, field = sides(context, frame, plural, each.bound)
    there = context.table(plural).column(field)
    rows = np.flatnonzero(there.mask if len(own) else there.mask & inquiry.here(context, plural, block))
    placed = np.array([shape is not None and not shape.is_empty for shape in from_], bool)
    if not len(rows) or not placed.any():
        return looked._replace(reach=named(context, limit, 0))
    tree = shapely.STRtree(there.values[rows])
    itself = any(one.plural == plural for one in frame.rows.values())
    (outer, inner), gaps = tree.query_nearest(from_[placed], return_distance=True, all_matches=False, exclusive=itself)
    outer = np.flatnonzero(placed)[outer]
    nearest = np.argsort(gaps, kind="stable")[:FEW]
    label = context.table(plural).label
    cases = [
        Case((*_things(notes, frame, int(outer[row])), label(int(rows[inner[row]]))), (_gap(each, gaps[row]),))
        for row in nearest
    ]
    return looked._replace(reach=named(context, limit, 0), nearest=tuple(cases))


def _gap(each: Each, gap: float) -> Said:
    assert each.bound is not None
    return Said(each.bound.of, Fact(float(gap), "length"))


def _asked(notes: _Notes, event: _Event, node: Written, which: Indices) -> Asked:
    truth = event.truth
    assert truth is not None
    holds, known = truth.holds[which], truth.known[which]
    failed, unsure = which[~holds & known], which[~known]
    cases = _cases(notes, event.frame, failed[:FEW], _parts(node))
    return Asked(node, _is_need(notes.rule, node), len(which), int(np.count_nonzero(holds & known)),
                 len(unsure), False, cases, _unsure(notes, event, node, unsure))  # fmt: skip


def _unsure(notes: _Notes, event: _Event, node: Written, which: Indices) -> tuple[Case, ...]:
    assert event.truth is not None
    found: dict[str, Case] = {}  # one of each reason
    for row in map(int, which):
        why = event.truth.reason(row) or "it is placed nowhere"
        if why not in found:
            found[why] = Case(_things(notes, event.frame, row), (Said(node, None, why),))
        if len(found) == FEW:
            break
    return tuple(found.values())


def _compared(notes: _Notes, event: _Event, report: Report, which: Indices) -> Compared:
    truth, both = event.truth, event.sides
    assert truth is not None and both is not None and event.put is not None and report.when is not None
    which = which[event.put[which]]
    known, true = truth.known[which], truth.holds[which] & truth.known[which]
    left = both[0]
    comparison: Compare = report.when.value
    sizes = np.asarray(left.values, float)[which[known]]
    order = np.argsort(sizes if comparison.sign in ("<", "<=") else -sizes, kind="stable")
    # what is at fault stands before what is not, whatever limit each is held to
    order = order[np.argsort(~true[known][order], kind="stable")]
    cases = [_weighed(notes, event, comparison, int(row)) for row in which[known][order][:FEW]]
    unsure = _unsure(notes, event, report.when, which[~known])
    return Compared(
        report, len(which), int(np.count_nonzero(true)), int(np.count_nonzero(~known)), tuple(cases), unsure
    )


def _weighed(notes: _Notes, event: _Event, comparison: Compare, row: int) -> Case:
    """What was measured of a binding, and the limit, both in the unit that either is written in."""
    assert event.sides is not None
    measured, wanted = (named(notes.context, side, row) for side in event.sides)
    unit = next((one.unit for one in (measured, wanted) if one is not None and one.unit), "")
    said = [
        Said(part, fact._replace(unit=unit) if fact is not None else None)
        for part, fact in ((comparison.left, measured), (comparison.right, wanted))
    ]
    return Case(_things(notes, event.frame, row), tuple(said))


def _cases(notes: _Notes, frame: Frame, which: Indices, parts: Sequence[Written]) -> tuple[Case, ...]:
    """Bindings with the values of parts of a condition; what stands for things that the case names already, or cannot
    be worked out, is left out."""
    if not len(which):
        return ()
    few = frame.take(which)
    columns = []
    for part in parts:
        with contextlib.suppress(Unjudgeable):
            column = value(notes.context, few, part)
            if not column.kind.startswith("thing"):
                columns.append((part, column))
    return tuple(
        Case(_things(notes, few, row),
             tuple(Said(part, named(notes.context, column, row), column.why) for part, column in columns))
        for row in range(few.size)
    )  # fmt: skip


def _parts(node: Written) -> list[Written]:
    """The parts of a condition whose values say why it fails."""
    thing = node.value
    if isinstance(thing, Is):
        return [thing.operand]
    if isinstance(thing, Compare):
        return [thing.left, thing.right]
    if isinstance(thing, Negation):
        return _parts(thing.condition)
    if isinstance(thing, Both | Either):
        return [part for condition in thing.conditions for part in _parts(condition)]
    return [] if isinstance(thing, Quantified) else [node]


def _things(notes: _Notes, frame: Frame, row: int) -> tuple[str, ...]:
    """What the variables of a binding stand for."""
    found = []
    for variable in (each.variable for each in notes.rule.each):
        if variable in frame.rows:
            rows = frame.rows[variable]
            found.append(notes.context.table(rows.plural).label(int(rows.rows[row])))
        elif variable in frame.items:
            found.append(str(frame.items[variable].values[row]))
    return tuple(found)
