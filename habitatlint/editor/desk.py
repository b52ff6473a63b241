"""The desk: texts that are open, what they take in, and their reading and judging. Knows no protocol."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, fields, replace
from functools import cache
from typing import Any, NamedTuple

from habitatlint import files
from habitatlint.check import Library, Report, check
from habitatlint.editor.completing import Packs
from habitatlint.editor.rereading import reread
from habitatlint.editor.telling import Told, Where, of_slips, told
from habitatlint.findings import Finding, Level, Mend, Policy
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import IncludeTrouble, PlanText, read_plan
from habitatlint.measures.vocabulary import Vocabulary
from habitatlint.outputs.sentences import worded
from habitatlint.packs.examples import prove
from habitatlint.reading.grammar import Grammar
from habitatlint.review import Review, pack_reader
from habitatlint.rulebook.book import Rulebook, below
from habitatlint.rulebook.rules import Pack, Rule, rule_grammar
from habitatlint.source import Source

#: so many blocks are kept as read, of all that a day's edits bring
MOST_KEPT = 50_000
#: so many packs are kept as checked
MOST_PACKS = 20
#: of so many plans the last report is kept, that mends of it can be tried
MOST_REPORTS = 3
#: a plan for an included file is looked for in its folder and so many above it, among so many plans
FOLDERS_ABOVE, MOST_PLANS = 3, 200
#: a text longer than this, in characters, is neither read nor judged while it is written
LONGEST_TEXT = 1_000_000


class Dropped(Exception):
    """The text has changed since: the work on it is not wanted any more."""


class _Memo(dict[Any, Any]):
    """What measures keep of a scene, which looks at every asking whether the work is still wanted: some measures ask
    for each pocket, and take seconds for all."""

    def __init__(self, stale: Callable[[], bool]) -> None:
        super().__init__()
        self.stale = stale

    def __contains__(self, key: object) -> bool:
        if self.stale():
            raise Dropped
        return super().__contains__(key)

    def get(self, key: object, otherwise: Any = None) -> Any:
        if self.stale():
            raise Dropped
        return super().get(key, otherwise)


@dataclass(frozen=True)
class _Wanted(Vocabulary):
    """The vocabulary, on scenes whose work is dropped once it is stale."""

    stale: Callable[[], bool] = lambda: False

    def attach(self, scene: Scene) -> None:
        super().attach(scene)
        scene.memo = _Memo(self.stale)


@dataclass(frozen=True)
class Droppable(Review):
    """A review whose work is dropped, by Dropped, once it is stale."""

    stale: Callable[[], bool] = field(default=lambda: False, repr=False)

    def check(self, source: Source, policy: Policy) -> Report:
        if self.stale():
            raise Dropped
        if len(self.memory) > MOST_KEPT:
            self.memory.clear()
        known = self.vocabulary
        vocabulary = _Wanted(known.measures, known.fields, known.makers, known.tables, self.stale)
        library = Library(self.plan_grammar, vocabulary, self.find, self.find_pack)
        return check(source, library, self.rulebook, policy, self.memory)


class Judgement(NamedTuple):
    """What was found of a text, all of it judged: what reading alone tells, and all else."""

    reading: list[Told]
    telling: list[Told]


class Mended(NamedTuple):
    """A mend that was tried and clears its finding: in words, and what is to stand where instead."""

    say: str
    edits: tuple[tuple[Where, str], ...]


class Desk:
    """Open texts by their paths, and what is read through them: a text that is open stands before its file."""

    def __init__(self, review: Review) -> None:
        self.open: dict[str, Source] = {}
        self._packs: dict[tuple[tuple[str, str], ...], Pack] = {}
        self._reports: dict[str, Report] = {}

        @cache
        def rules() -> Grammar:
            return files.grammar("rules", rule_grammar)

        self.rule_grammar = rules
        self._read_pack = pack_reader(review.plan_grammar, rules, review.vocabulary)
        self.review = replace(review, find=self.find, find_pack=self.find_pack, memory={})

    # -- what is read ---------------------------------------------------------------------------------

    def source(self, path: str) -> Source:
        """A text, open or on disk; raises FileTrouble."""
        return self.open.get(path) or files.read_source(path)

    def find(self, path: str, source: Source) -> Source:
        """The source that an include names, seen from the including one."""
        folder = _folder(source)
        wanted = os.path.normpath(os.path.join(folder, path))
        if wanted in self.open and wanted.startswith(folder + os.sep) and not os.path.isabs(path):
            return self.open[wanted]
        return files.find_beside(path, source)

    def find_pack(self, path: str, source: Source) -> Pack:
        """The pack that a `use pack` names, with rule files as they stand in the editor."""
        _folder(source)
        return files.find_pack(path, source, self._pack_of)

    def packs_near(self, path: str) -> Packs:
        """The packs that a plan by its path may take in."""

        def version_of(name: str) -> str:
            try:
                return self.find_pack(name, Source(path, "")).version
            except IncludeTrouble:
                return ""

        beside = files.packs_beside(os.path.dirname(path)) if os.path.isabs(path) else ()
        return Packs(beside, files.installed_packs(), version_of)

    def _pack_of(self, name: str, sources: Iterable[Source]) -> Pack:
        held = [self.open.get(os.path.normpath(source.name), source) for source in sources]
        key = ((name, ""), *((source.name, source.text) for source in held))
        if key not in self._packs:
            if len(self._packs) >= MOST_PACKS:
                self._packs.clear()
            self._packs[key] = self._read_pack(name, held)
        return self._packs[key]

    def shipped(self, name: str) -> str:
        """The path of a rule file by the name it goes by: that of one that ships, or of a pack beside a plan."""
        if os.path.isabs(name):
            return name
        room, _, rest = name.partition("/")
        return os.path.join(files.home(room), rest) if room == "rules" else ""

    # -- plans ----------------------------------------------------------------------------------------

    def read(self, source: Source, before: PlanText | None = None) -> PlanText:
        """A plan read, its names resolved. Only blocks that changed are read again; where `before` is the plan as it
        was, and nothing it takes in has changed, all else is taken over from it."""
        if before is not None and (plan := reread(before, source, self.review.plan_grammar)) is not None:
            return plan
        if len(self.review.memory) > MOST_KEPT:
            self.review.memory.clear()
        return read_plan(source, self.review.plan_grammar, self.find, self.review.memory)

    def read_told(self, plan: PlanText, policy: Policy) -> list[Told]:
        """What reading alone tells of a plan."""
        return of_slips(plan.slips, self.review, policy, plan.units)

    def judge(self, source: Source, policy: Policy, stale: Callable[[], bool]) -> Judgement:
        """A plan judged by every rule; raises Dropped once it is stale."""
        report = self._judged(source, policy, stale)
        reading = {one.key: one for one in self.read_told(report.plan, policy)}
        every = [told(finding, report.units) for finding in report.findings]
        reading.update((one.key, one) for one in every if one.key in reading)
        return Judgement([*reading.values()], [one for one in every if one.key not in reading])

    def _judged(self, source: Source, policy: Policy, stale: Callable[[], bool]) -> Report:
        self._reports.pop(source.name, None)
        report = self.droppable(stale).check(source, policy)
        while len(self._reports) >= MOST_REPORTS:
            del self._reports[next(iter(self._reports))]
        self._reports[source.name] = report
        return report

    def mends(self, source: Source, one: Told, policy: Policy, stale: Callable[[], bool]) -> tuple[Mended, ...]:
        """The mends of one thing told of a plan as it was judged last, those that clear it; raises Dropped once they
        are stale."""
        report = self._reports.get(source.name)
        if report is None or report.source.text != source.text:
            report = self._judged(source, policy, stale)
        alike = (other for other in report.findings if (_where(other), other.rule) == (one.where, one.rule))
        finding = next((other for other in alike if told(other, report.units).key == one.key), None)
        if finding is None:
            return ()
        tried = self.droppable(stale).mends(report, finding, policy)
        return tuple(_mended(mend, finding, report) for mend in tried if mend.proof == "clears")

    def droppable(self, stale: Callable[[], bool]) -> Droppable:
        review = self.review
        return Droppable(**{one.name: getattr(review, one.name) for one in fields(review)}, stale=stale)

    def mains(self, path: str) -> list[str]:
        """The plans that a text belongs to: those that include it, where it has no head of its own; else itself."""
        source = self.open[path]
        plan = self.read(source)
        if plan.head is not None or not os.path.isabs(path):
            return [path]
        return [other for other in self._plans_near(path) if path in self._files_of(other)] or [path]

    def _files_of(self, path: str) -> set[str]:
        """The files that a plan is made of, by their paths."""
        try:
            source = self.source(path)
        except files.FileTrouble:
            return set()
        if "include" not in source.text or len(source.text) > LONGEST_TEXT:
            return set()
        return {os.path.normpath(block.placed.source.name) for block in self.read(source).blocks}

    def _plans_near(self, path: str) -> list[str]:
        """Plans that may include a text: open ones, and those in its folder and the few above."""
        found = [other for other in self.open if other != path and other.endswith(files.PLAN_ENDING)]
        folder = os.path.dirname(path)
        for _ in range(FOLDERS_ABOVE + 1):
            try:
                names = sorted(os.listdir(folder))
            except OSError:
                break
            found += [os.path.join(folder, name) for name in names if name.endswith(files.PLAN_ENDING)]
            above = os.path.dirname(folder)
            if len(found) > MOST_PLANS or above == folder:
                break
            folder = above
        return [other for other in dict.fromkeys(found[:MOST_PLANS]) if other != path]

    # -- packs ----------------------------------------------------------------------------------------

    def read_rules(self, source: Source) -> Pack:
        """The rules of one file, read and checked by themselves."""
        return self._pack_of(_pack_name(source.name), [source])

    def rules_told(self, pack: Pack, path: str, policy: Policy) -> list[Told]:
        """What reading and checking tell of one file of a pack."""
        slips = [slip for slip in pack.slips if slip.span.source.name == path]
        return of_slips(slips, self.review, policy, bare=True)

    def judge_rules(self, source: Source, policy: Policy, stale: Callable[[], bool]) -> Judgement:
        """A file of rules within its pack: what the pack as a whole tells of it, and every example proven."""
        pack = self._whole_pack(source)
        reading = self.rules_told(self.read_rules(source), source.name, policy)
        alone = {one.key for one in reading}
        telling = [one for one in self.rules_told(pack, source.name, policy) if one.key not in alone]
        others = below(self.review.rulebook.packs, pack.name)
        review = replace(self.droppable(stale), rulebook=Rulebook((*others, pack)))
        for rule in pack.rules:
            if rule.placed.source.name == source.name:
                telling += _examples_told(rule, review)
        return Judgement(reading, telling)

    def _whole_pack(self, source: Source) -> Pack:
        name, folder = _pack_name(source.name), os.path.dirname(source.name)
        try:
            sources = files.pack_sources(folder, folder) if os.path.isabs(source.name) else []
        except (files.FileTrouble, OSError):
            sources = []
        others = [other for other in sources if os.path.normpath(other.name) != source.name]
        return self._pack_of(name, sorted((*others, source), key=lambda one: one.name))


def _where(finding: Finding) -> Where:
    return Where(finding.span.source.name, finding.span.start, finding.span.end)


def _mended(mend: Mend, finding: Finding, report: Report) -> Mended:
    edits = tuple((Where(span.source.name, span.start, span.end), text) for span, text in mend.edits)
    return Mended(worded(mend.say, finding, report.units), edits)


def _examples_told(rule: Rule, review: Review) -> list[Told]:
    source = rule.placed.source
    found = []
    for fault in prove(rule, review):
        line = min(max(fault.line, 1), len(source.line_starts))
        start, text = source.line_starts[line - 1], source.line(line)
        where = Where(source.name, start + len(text) - len(text.lstrip()), start + len(text))
        found.append(Told(where, Level.error, f"{rule.name} example", fault.why))
    return found


def _folder(source: Source) -> str:
    if not os.path.isabs(source.name):
        raise IncludeTrouble("save this text first: what it takes in is looked for in its folder")
    return os.path.dirname(source.name)


def _pack_name(path: str) -> str:
    return os.path.basename(os.path.dirname(path)) or "pack"


def is_rules(path: str, language: str = "") -> bool:
    """A text is one of rules by its path's ending, or by what the editor calls its language."""
    return path.endswith(files.RULE_ENDING) or (not path.endswith(files.PLAN_ENDING) and language == "habitat-rules")


def too_long(source: Source) -> Told | None:
    """What is told of a text that is too long to be judged while it is written, else None."""
    if len(source.text) <= LONGEST_TEXT:
        return None
    words = "this text is too long to be judged as it is written; `habitatlint check` judges it"
    return Told(Where(source.name, 0, min(len(source.text), len(source.line(1)))), Level.note, "editor", words)
