"""Mends proven: a mend is shown as clearing its finding only after it was tried.

A trial makes the edits on the text as written, reads and judges it again, and asks: is the finding gone? Is there
none new at its level or above? Are all comments still there? Nothing outside the edits is touched, for only they
are made; what is done is not changed, nor for people's safety any fall or method; and once the finding is gone its
mend is not offered again, so that twice is once. What fails is withheld, and says at what.

Findings are told apart by their rule and the blocks they are on, not by their lines, which edits move.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from habitatlint.check import Report
from habitatlint.findings import Change, Edit, Finding, Level, Mend
from habitatlint.language.editing import Unwritable, applied, comments, edits_of, overlap
from habitatlint.source import Source


class Judges(NamedTuple):
    """How a plan is judged: at a glance by one rule alone, which is quick, and whole by all."""

    glance: Callable[[Source, str], Report]
    whole: Callable[[Source], Report]


#: the pack of slips, which are told of what is written
_RECORD = "record/"
#: what tells that a rule could not be judged: no finding goes by that
_NOT_JUDGED = "record/not-judged"
#: rules of slips that leave lines unread: such a text is mended by hand first, but for words misspelt
_UNREAD = frozenset({"record/syntax", "record/unknown-word"})
#: what a mend changes of a cut, and never does for people's safety
_OF_CUTS = frozenset({"fall", "method"})
_STAYS = "the finding would stay"
#: so many ways of one mend are tried, until so many that clear their finding fail alike: what they bring, the others
#: mostly bring too
MOST_WAYS, MOST_ALIKE = 20, 3

Told = tuple[str, str, frozenset[str], str, str]
_Key = tuple[str, str, frozenset[str]]


class Trial(NamedTuple):
    """A text with mends made, as judged; and what it fails, "" for nothing."""

    text: str
    report: Report
    failed: str


def proven(report: Report, finding: Finding, judges: Judges) -> tuple[Mend, ...]:
    """The mends of one finding, each tried by itself: every way of it until one clears."""
    return tuple(_proven(report, finding, mend, judges)[0] for mend in finding.mends)


def _proven(report: Report, finding: Finding, mend: Mend, judges: Judges) -> tuple[Mend, Trial | None]:
    why, failed = mend.why, Counter[str]()
    for way in range(MOST_WAYS):
        try:
            edits = written(report, finding, mend, way)
        except IndexError:
            break
        except Unwritable as error:
            return mend._replace(proof="withheld" if mend.changes else mend.proof, why=str(error)), None
        if not _goes(report, finding, edits, judges):
            why = why or _STAYS
            continue
        trial = tried(report, [(finding, edits)], judges)
        if not trial.failed:
            return mend._replace(edits=edits, proof="clears", why=_brings(report, trial.report, finding)), trial
        why = why or trial.failed  # the best way's failure is the one to be told
        failed[trial.failed] += 1
        if failed[trial.failed] == MOST_ALIKE:
            break
    return (mend._replace(proof="withheld", why=why) if mend.changes else mend), None


def _brings(before: Report, after: Report, target: Finding) -> str:
    """What a mend that clears brings all the same, below its finding's level: the rules, in words; "" for nothing."""
    was, now = _counted(before, Level.note), _counted(after, Level.note)
    fresh = _without_regrouped(was, now, Counter([_key(target)]))
    rules = sorted({rule for _, rule, _ in fresh})
    return f"it brings what is less grave: {', '.join(rules)}" if rules else ""


def written(report: Report, finding: Finding, mend: Mend, way: int = 0) -> tuple[Edit, ...]:
    """The edits of one way of a mend. Raises Unwritable with why, IndexError where it has no such way."""
    if not mend.changes:
        raise Unwritable(mend.why)
    if finding.rule not in _UNREAD and any(one.rule in _UNREAD for one in report.findings):
        raise Unwritable("the plan has lines that cannot be read: mend them first")
    if finding.safety and any(_OF_CUTS & _words(change) for change in mend.changes):
        raise Unwritable("it would change a cut, which for people's safety a trained person decides")
    edits = edits_of(report.plan, mend.changes, way)
    if not edits:
        raise Unwritable("it would change nothing")
    return edits


def _words(change: Change) -> set[str]:
    """The properties that a change writes."""
    return {change.property, *(word for word, _ in change.lines)}


def _goes(report: Report, finding: Finding, edits: Sequence[Edit], judges: Judges) -> bool:
    """Whether a finding goes, judged by its own rule alone: most ways that fail, fail at this."""
    if finding.rule.startswith(_RECORD):
        return True
    after = judges.glance(Source(report.source.name, applied(report.source.text, edits)), finding.rule)
    return _counted(after, finding.level)[_key(finding)] < _counted(report, finding.level)[_key(finding)]


def tried(report: Report, mends: Sequence[tuple[Finding, Sequence[Edit]]], judges: Judges) -> Trial:
    """Disjoint mends made at once, judged, and what they fail together."""
    edits = sorted((edit for _, some in mends for edit in some), key=lambda edit: edit.span.order)
    text = applied(report.source.text, edits)
    after = judges.whole(Source(report.source.name, text))
    return Trial(text, after, _failed(report, after, text, [finding for finding, _ in mends]))


def _failed(before: Report, after: Report, text: str, targets: Sequence[Finding]) -> str:
    if comments(before.source.text) != comments(text):
        return "it would lose a comment"
    aims = Counter(_key(target) for target in targets)
    slips = all(target.firm for target in targets)  # what they hide is judged once it can be read
    # a finding that was there may have become graver: each level from the lowest of them on is looked at
    for level in range(min(target.level for target in targets), Level.error + 1):
        was, now = _counted(before, Level(level)), _counted(after, Level(level))
        gone = Counter(_key(target) for target in targets if target.level >= level)
        if any(now[key] > was[key] - count for key, count in gone.items()):
            return _STAYS
        fresh = _without_regrouped(was, now, aims)
        if slips:
            fresh = Counter({key: count for key, count in fresh.items() if key[1].startswith(_RECORD)})
        if fresh:
            return f"it would bring another finding: {min(fresh)[1]}"
    if not slips and any(key[1] == _NOT_JUDGED for key in _counted(after, Level.note) - _counted(before, Level.note)):
        return "it could no longer be judged"
    dangers, left = _dangers(before), _dangers(after)
    worse = next((key for key, one in dangers.items() if key in left and _is_worse(one, left[key])), None)
    return f"it would make a danger worse: {worse[1]}" if worse else ""


def _dangers(report: Report) -> dict[_Key, tuple[str, float]]:
    """What findings about people's safety measured, and the sense of it: the gravest by each key."""
    found: dict[_Key, tuple[str, float]] = {}
    for finding in report.findings:
        if not finding.safety or finding.measured is None or not isinstance(finding.measured.value, int | float):
            continue
        sense, size = finding.sense[:1], float(finding.measured.value)
        key = _key(finding)
        if key not in found or (found[key][0] == sense and _beyond(sense, size, found[key][1])):
            found[key] = (sense, size)
    return found


def _is_worse(was: tuple[str, float], now: tuple[str, float]) -> bool:
    return now[0] == was[0] and _beyond(was[0], now[1], was[1])


def _beyond(sense: str, size: float, other: float) -> bool:
    """Whether a size is farther the wrong way than another, by more than reckoning is off."""
    spare = 1e-6 * max(abs(size), abs(other))
    return {"<": size < other - spare, ">": size > other + spare}.get(sense, False)


def _without_regrouped(was: Counter[_Key], now: Counter[_Key], aims: Counter[_Key]) -> Counter[_Key]:
    """Findings that are new, but for those that gather what others of their rule told of one by one. What is aimed
    at goes, and is not only told in other groups: as many fewer are left of its rule."""
    fresh, gone = now - was, was - now
    kept = Counter[_Key]()
    for (file, rule, names), count in fresh.items():
        before = [key for key in gone if key[:2] == (file, rule)]
        covered = names and names <= frozenset().union(*(key[2] for key in before))
        many = sum(some for key, some in fresh.items() if key[:2] == (file, rule))
        if not covered or many > sum(max(gone[key] - aims[key], 0) for key in before):
            kept[(file, rule, names)] = count
    return kept


def _counted(report: Report, level: Level) -> Counter[_Key]:
    return Counter(_key(finding) for finding in report.findings if finding.level >= level)


def _key(finding: Finding) -> _Key:
    return finding.span.source.name, finding.rule, finding.names


# -- many at once ------------------------------------------------------------------------------------------


def together(report: Report, judges: Judges, most: int) -> Report:
    """The report with the first mend of each finding tried, all at once and then by halves where that fails, in so
    many trials at most; what they leave open stays untried. Mends that clear were tried with the others."""
    known: dict[int, Mend] = {}
    asked = _first_mends(report, known, judges)
    for batch, _ in _batches(report, asked, judges, most):
        for number, mend, _ in batch:
            known[number] = mend
    findings = tuple(
        finding._replace(mends=(*finding.mends[: at], known[number], *finding.mends[at + 1 :]))
        if number in known and (at := _first(finding)) is not None
        else finding
        for number, finding in enumerate(report.findings)
    )  # fmt: skip
    return report._replace(findings=findings)


_Asked = tuple[int, Mend, Finding]


def _first(finding: Finding) -> int | None:
    return next((at for at, mend in enumerate(finding.mends) if mend.changes), None)


def _first_mends(report: Report, withheld: dict[int, Mend], judges: Judges) -> list[_Asked]:
    """The first mend with changes of each finding, with its edits, where the finding goes at a glance; those that meet
    another's are left out."""
    taken: list[_Asked] = []
    for number, finding in sorted(enumerate(report.findings), key=lambda one: -one[1].level):  # the gravest first
        at = _first(finding)
        if at is None:
            continue
        mend = finding.mends[at]
        try:
            edits = written(report, finding, mend)
        except (Unwritable, IndexError) as error:
            withheld[number] = mend._replace(proof="withheld", why=str(error))
            continue
        if not any(overlap(edits, other.edits) for _, other, _ in taken) and _goes(report, finding, edits, judges):
            taken.append((number, mend._replace(edits=edits, proof="clears"), finding))
    return taken


def _batches(report: Report, asked: list[_Asked], judges: Judges, most: int) -> Iterable[tuple[list[_Asked], Trial]]:
    """Batches of mends that pass together, found by halving those that do not, in so many trials at most."""
    waiting = [asked] if asked else []
    trials = 0
    while waiting and trials < most:
        batch = waiting.pop(0)
        trial = tried(report, [(finding, mend.edits) for _, mend, finding in batch], judges)
        trials += 1
        if not trial.failed:
            yield batch, trial
        elif len(batch) > 1:
            half = len(batch) // 2
            waiting += [batch[:half], batch[half:]]


def mended(report: Report, judges: Judges, chosen: Callable[[Finding], bool] = lambda finding: True) -> Report:
    """The plan with all its proven mends made, over and over until none is left, as it is then judged.

    Each round makes the mends that pass together, then of the others each that passes by itself. As every mend takes
    a finding away and brings none at its level or above, it ends, no worse than it began; what a slip hid may come
    to light and bring the slip back, so that a text that was there before ends it too.
    """
    texts = set[str]()
    while report.source.text not in texts:
        texts.add(report.source.text)
        # first what is misspelt: all else is judged on what it hides
        report = _one_by_one(report, judges, lambda finding: finding.firm and chosen(finding))
        asked = [one for one in _first_mends(report, {}, judges) if chosen(one[2])]
        passed = next(iter(_batches(report, asked, judges, 4)), None)
        report = _one_by_one(passed[1].report if passed else report, judges, chosen)
    return report


def _one_by_one(report: Report, judges: Judges, chosen: Callable[[Finding], bool]) -> Report:
    """The plan with each mend made that passes by itself, every finding looked at once."""
    seen: set[Told] = set()
    while True:
        left = (one for one in report.findings if chosen(one) and told(one) not in seen)
        finding = max(left, key=lambda one: one.level, default=None)  # the first of the gravest
        if finding is None:
            return report
        seen.add(told(finding))
        for mend in finding.mends:
            found, trial = _proven(report, finding, mend, judges) if mend.changes else (mend, None)
            if trial is not None and found.proof == "clears":
                report = trial.report
                break


def told(finding: Finding) -> Told:
    """What a finding is known by while others are mended: a slip, or what is on nothing named, by its words too."""
    words = finding.span.text if finding.firm or not finding.names else ""
    return finding.span.source.name, finding.rule, finding.names, finding.say, words
