"""What a rule can never say, and what two rules say against each other, worked out from their text alone.

A comparison is never so if no value of what it measures, and no value of its limits within their ranges, makes it so.
Quantities are known as stretches from a least to a largest: a limit by its range, a length, area, count or duration
that is measured from nought on, a share from nought to one. What cannot be known is taken as anything, so that nothing
is called unreachable that is not; much that is may pass.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import inf
from typing import NamedTuple

from habitatlint.measures.vocabulary import Vocabulary
from habitatlint.reading.values import Written
from habitatlint.rulebook.expressions import (
    Aggregate,
    Both,
    Call,
    Compare,
    Constant,
    Either,
    Is,
    Negation,
    Quantified,
    Ref,
    Sum,
)
from habitatlint.rulebook.rules import Report, Rule

#: kinds that are never below nought where a measure gives them
_FROM_NOUGHT = frozenset({"length", "area", "count", "duration", "density", "basal-area", "volume", "dose", "speed"})
_OPPOSITE = {"<": ">=", "<=": ">", ">": "<=", ">=": "<"}
_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}


class Stretch(NamedTuple):
    """What a quantity may be, in base units."""

    least: float
    largest: float


ANYTHING = Stretch(-inf, inf)


class Never(NamedTuple):
    """A report of a rule that is never made: its number from 0, and why; `ever` says that other limits within their
    ranges would let it."""

    report: int
    why: str
    ever: bool


class Bound(NamedTuple):
    """A quantity, as text that is the same for the same quantity, held to a stretch: `gap < 20yd`."""

    of: str
    sign: str
    to: Stretch


class Reader:
    """Reads a rule's expressions as text that is alike in all rules, and as stretches; `fixed` takes limits as they
    stand, else each may be anything in its range."""

    def __init__(self, rule: Rule, vocabulary: Vocabulary, fixed: bool) -> None:
        self.rule, self.vocabulary, self.fixed = rule, vocabulary, fixed
        self.measured = {measure.name: measure.value for measure in rule.measures}
        self.plurals: dict[str, str] = {}
        for each in rule.each:
            self._bind(each.variable, each.plural)

    def _bind(self, variable: str, plural: Written) -> None:
        parts = plural.value.parts
        name = parts[0] if len(parts) == 1 else self.text(plural)  # a measure may be called as a plural is
        while name in self.plurals.values():
            name += "'"
        self.plurals[variable] = name

    # -- as text --------------------------------------------------------------------------------------

    def text(self, node: Written | None) -> str:
        thing = node.value if node is not None else None
        match thing:
            case Ref(parts):
                return self._ref(parts)
            case Constant():
                return f"{thing.value!r}"
            case Call(name, arguments):
                return f"{name}({', '.join(self.text(one) for one in arguments)})"
            case Sum(sign, left, right):
                return f"({self.text(left)} {sign} {self.text(right)})"
            case Compare(left, sign, right):
                return f"{self.text(left)} {sign} {self.text(right)}"
            case Is(operand, negated, words):
                said = " or ".join(sorted(str(word.value) for word in words))
                return f"{self.text(operand)} is{' not' if negated else ''} {said}"
            case Both(conditions) | Either(conditions):
                joint = " and " if isinstance(thing, Both) else " or "
                return "(" + joint.join(sorted(self.text(one) for one in conditions)) + ")"
            case Negation(condition):
                return f"not {self.text(condition)}"
            case Aggregate() | Quantified():
                before = dict(self.plurals)
                self._bind(thing.variable, thing.plural)
                bound = (
                    f" within {self.text(thing.bound.distance)} of {self.text(thing.bound.of)}" if thing.bound else ""
                )
                value = self.text(thing.value) if isinstance(thing, Aggregate) and thing.value is not None else ""
                said = f"{thing.word} {value} {self.plurals[thing.variable]}{bound} ({self.text(thing.condition)})"
                self.plurals = before
                return said
        return str(thing)

    def _ref(self, parts: tuple[str, ...]) -> str:
        first, *fields = parts
        if first in self.measured:
            return ".".join((self.text(self.measured[first]), *fields))
        if first in self.rule.limits and not fields:
            return f"{self.rule.limits[first].value!r}"
        if first in self.rule.lists and not fields:
            return " ".join(self.rule.lists[first].words)
        return ".".join((self.plurals.get(first, first), *fields))

    # -- as stretches ---------------------------------------------------------------------------------

    def stretch(self, node: Written) -> Stretch:
        thing = node.value
        match thing:
            case Constant():
                return _point(thing.value)
            case Ref((first,)) if first in self.rule.limits:
                limit = self.rule.limits[first]
                if self.fixed or limit.least is None or limit.largest is None:
                    return _point(limit.value)
                return Stretch(limit.least, limit.largest)
            case Ref((first,)) if first in self.measured:
                return self.stretch(self.measured[first])
            case Call(name, _):
                signature = self.vocabulary.measures.get(name)
                return _of_kind(signature.gives) if signature is not None else ANYTHING
            case Aggregate("count" | "share" as word):
                return _of_kind(word)
            case Aggregate("smallest" | "largest", value) if value is not None:
                return self.stretch(value)
            case Sum("+", left, right):
                one, other = self.stretch(left), self.stretch(right)
                return Stretch(one.least + other.least, one.largest + other.largest)
            case Sum("-", left, right):
                one, other = self.stretch(left), self.stretch(right)
                return Stretch(one.least - other.largest, one.largest - other.least)
        return ANYTHING

    # -- what is asked --------------------------------------------------------------------------------

    def bounds(self, node: Written | None, held: bool = True) -> Iterator[Bound]:
        """A comparison as bounds of either side; where it is not `held`, of its opposite."""
        if node is None or not isinstance(node.value, Compare):
            return
        left, sign, right = node.value
        sign = sign if held else _OPPOSITE[sign]
        yield Bound(self.text(left), sign, self.stretch(right))
        yield Bound(self.text(right), _TURNED[sign], self.stretch(left))

    def kind(self, node: Written) -> str:
        """The kind of what a reference or a measure gives; "" where it is not known."""
        thing = node.value
        if isinstance(thing, Call):
            signature = self.vocabulary.measures.get(thing.name)
            return "word" if signature is not None and signature.words else ""
        if not isinstance(thing, Ref):
            return ""
        first, *fields = thing.parts
        if first in self.measured:
            return self.kind(self.measured[first]) if not fields else ""
        plural: tuple[str, ...] = next(
            (each.plural.value.parts for each in self.rule.each if each.variable == first), ()
        )
        kind = f"thing:{plural[0]}" if len(plural) == 1 else ""
        for field in fields:
            kind = self.vocabulary.fields.get(kind.removeprefix("thing:"), {}).get(field, "")
        return kind


def _point(value: object) -> Stretch:
    return Stretch(value, value) if isinstance(value, int | float) and not isinstance(value, bool) else ANYTHING


def _of_kind(kind: str) -> Stretch:
    if kind == "share":
        return Stretch(0.0, 1.0)
    return Stretch(0.0, inf) if kind in _FROM_NOUGHT else ANYTHING


def never(rule: Rule, vocabulary: Vocabulary) -> list[Never]:
    """The reports of a rule that are never made, each with why."""
    found = []
    ever, now = Reader(rule, vocabulary, fixed=False), Reader(rule, vocabulary, fixed=True)
    for number in range(len(rule.reports)):
        why = _against(rule, number, ever)
        if why or (why := _against(rule, number, now)):
            found.append(Never(number, why, ever=not _against(rule, number, ever)))
    return found


def _against(rule: Rule, number: int, reader: Reader) -> str:
    """Why a report is never made, as a clause; "" where it may be."""
    if why := _words_at_odds(rule, reader):
        return why
    filters = [*_pairs(rule, reader)]
    for condition in rule.where:
        filters += reader.bounds(condition)
    own = [*reader.bounds(rule.reports[number].when)]
    if why := _impossible([*filters, *own], reader, rule):
        return why
    above = [bound for report in rule.reports[:number] for bound in reader.bounds(report.when, held=False)]
    return (
        "a `report` above it is made first, whatever is measured"
        if _impossible([*filters, *above, *own], reader, rule)
        else ""
    )


def _pairs(rule: Rule, reader: Reader) -> Iterator[Bound]:
    """That pairs are looked for only within a distance bounds that distance."""
    for each in rule.each:
        if each.bound is not None:
            one, other = reader.text(each.bound.of), reader.plurals[each.variable]
            reach = reader.stretch(each.bound.distance)
            yield Bound(f"distance({one}, {other})", "<=", reach)
            yield Bound(f"distance({other}, {one})", "<=", reach)


def _impossible(bounds: list[Bound], reader: Reader, rule: Rule) -> str:
    """Why no value meets all bounds of one quantity; "" where some may."""
    own = {reader.text(measure.value): reader.stretch(measure.value) for measure in rule.measures}
    for of in dict.fromkeys(bound.of for bound in bounds):
        least, largest = own.get(of, ANYTHING)
        open_below = open_above = False
        for bound in (one for one in bounds if one.of == of):
            if bound.sign in (">", ">="):
                if bound.to.least > least or (bound.to.least == least and bound.sign == ">"):
                    least, open_below = bound.to.least, bound.sign == ">"
            elif bound.to.largest < largest or (bound.to.largest == largest and bound.sign == "<"):
                largest, open_above = bound.to.largest, bound.sign == "<"
        if least > largest or (least == largest and (open_below or open_above) and abs(least) != inf):
            return "no value that is measured makes it so, within what the lines above it let through"
    return ""


def _words_at_odds(rule: Rule, reader: Reader) -> str:
    """Why two filters let nothing through together: they ask one thing to be two words, or to be and not to be."""
    allowed: dict[str, set[str]] = {}
    barred: dict[str, set[str]] = {}
    for condition in rule.where:
        test = condition.value
        if not isinstance(test, Is) or any("." in str(word.value) for word in test.words):
            continue
        of, words = reader.text(test.operand), {str(word.value) for word in test.words}
        single = reader.kind(test.operand) == "word" or "missing" in words
        if test.negated:
            barred.setdefault(of, set()).update(words)
        elif single and of in allowed:
            allowed[of] &= words
        elif single or len(words) == 1:
            allowed.setdefault(of, set()).update(words)
        for name in (name for name in (of,) if name in allowed):
            left = allowed[name] - barred.get(name, set())
            if not left or (not single and allowed[name] & barred.get(name, set())):
                return "two `where` lines ask what cannot be at once"
    return ""


class Clash(NamedTuple):
    """Two reports that cannot both be content: each measures the same of the same things, one wants more than the other
    lets be."""

    report: Report
    rule: Rule
    other: Rule


def clashes(rule: Rule, others: Mapping[str, Rule], vocabulary: Vocabulary) -> Iterator[Clash]:
    """Where a rule and others (by name) stand against each other, with limits as they stand."""
    mine = _demands(rule, vocabulary)
    filters = _filters(rule, vocabulary)
    for other in others.values():
        if other.name == rule.name:
            continue
        theirs = _filters(other, vocabulary)
        if not (filters <= theirs or theirs <= filters):
            continue  # on things that may be quite others
        for report, of, sign, limit in mine:
            if any(_at_odds((sign, limit), (s, at)) for _, o, s, at in _demands(other, vocabulary) if o == of):
                yield Clash(report, rule, other)
                break


def _at_odds(one: tuple[str, float], other: tuple[str, float]) -> bool:
    """Whether whatever is measured one of two finds fault: the first below a figure, the second above a lower one."""
    (sign, at), (other_sign, other_at) = one, other
    if sign[0] == other_sign[0]:
        return False
    below, above = (at, other_at) if sign[0] == "<" else (other_at, at)
    return above < below


def _demands(rule: Rule, vocabulary: Vocabulary) -> list[tuple[Report, str, str, float]]:
    """What a rule finds fault with: (report, quantity, sign, figure), where the figure is known."""
    reader = Reader(rule, vocabulary, fixed=True)
    found = []
    for report in rule.reports:
        for bound in list(reader.bounds(report.when))[:1]:
            if bound.to.least == bound.to.largest:
                found.append((report, bound.of, bound.sign, bound.to.least))
    return found


def _filters(rule: Rule, vocabulary: Vocabulary) -> frozenset[str]:
    reader = Reader(rule, vocabulary, fixed=True)
    things = (f"each {reader.plurals[each.variable]}" for each in rule.each)
    return frozenset([*things, *(reader.text(condition) for condition in rule.where)])
