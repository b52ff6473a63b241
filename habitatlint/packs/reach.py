"""What a rule can never say, and what two rules say against each other, worked out from their text alone.

A comparison is never so if no value of what it measures, and no value of its limits within their ranges, makes it so.
Quantities are known as stretches from a least to a largest: a limit by its range, a length, area, count or duration
that is measured from nought on, a share from nought to one. What cannot be known is taken as anything, so that nothing
is called unreachable that is not; much that is may pass.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import ceil, floor, inf
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
#: so many `or` conditions of a rule, and ways in each, are looked into: no rule that a person writes has more
MOST_CHOICES = 20
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
        self.outer = dict(self.plurals)

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
                said = " or ".join(sorted(self._word(str(word.value)) for word in words))
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
            within, self.plurals = (
                self.plurals,
                dict(self.outer),
            )  # it was measured outside of what binds things anew here
            said = ".".join((self.text(self.measured[first]), *fields))
            self.plurals = within
            return said
        if first in self.plurals:
            return ".".join((self.plurals[first], *fields))
        if first in self.rule.limits and not fields:
            # two limits that may be set apart are two, though both stand at one figure
            return f"{self.rule.limits[first].value!r}" if self.fixed else f"limit {first}"
        if first in self.rule.lists and not fields:
            return " ".join(self.rule.lists[first].words)
        return ".".join(parts)

    def names(self, word: str) -> bool:
        """Whether what stands after `is` is a thing or a measure of the rule, and no word."""
        first = word.split(".")[0]
        return first in self.plurals or first in self.measured

    def _word(self, word: str) -> str:
        return self._ref(tuple(word.split("."))) if self.names(word) else word

    # -- as stretches ---------------------------------------------------------------------------------

    def stretch(self, node: Written) -> Stretch:
        thing = node.value
        match thing:
            case Constant():
                return _point(thing.value)
            case Ref((first,)) if first in self.measured:
                return self.stretch(self.measured[first])
            case Ref((first,)) if first in self.rule.limits and first not in self.plurals:
                limit = self.rule.limits[first]
                if self.fixed:
                    return _point(limit.value)
                if limit.least is None or limit.largest is None:
                    return ANYTHING
                return Stretch(limit.least, limit.largest)
            case Call(name, _):
                signature = self.vocabulary.measures.get(name)
                return _of_kind(signature.gives) if signature is not None else ANYTHING
            case Aggregate("count" | "share" as word):
                return _of_kind(word)
            case Aggregate("smallest" | "largest", value) if value is not None:
                return self.stretch(value)
            case Aggregate("sum", value) if value is not None and self.stretch(value).least >= 0:
                return Stretch(0.0, inf)
            case Sum("+", left, right):
                one, other = self.stretch(left), self.stretch(right)
                return Stretch(one.least + other.least, one.largest + other.largest)
            case Sum("-", left, right):
                one, other = self.stretch(left), self.stretch(right)
                return Stretch(one.least - other.largest, one.largest - other.least)
            case Sum("*", left, right):
                one, other = self.stretch(left), self.stretch(right)
                if one.least >= 0 and other.least >= 0:
                    nothing = 0 in (one.largest, other.largest)
                    return Stretch(one.least * other.least, 0.0 if nothing else one.largest * other.largest)
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
    *before, own = [report.when for report in rule.reports[: number + 1]]
    asked = [part for one in (*rule.where, own) if one is not None for part in _parts(one, reader)]
    if why := _at_odds_with(asked, reader):
        return why
    above = [part for one in before if one is not None for part in _parts(one, reader, held=False)]
    return "a `report` above it is made first, whatever is measured" if _at_odds_with([*asked, *above], reader) else ""


class Part(NamedTuple):
    """A condition that must hold, or must not: as it stands and as text, with what it bounds, and what either side of
    it may be where it is a comparison."""

    node: Written
    held: bool
    text: str
    bounds: tuple[Bound, ...]
    sides: Mapping[str, Stretch]


def _parts(node: Written, reader: Reader, held: bool = True) -> Iterator[Part]:
    """A condition as those that must all hold, or not hold. `no` thing is the contrary of `any`."""
    thing = node.value
    if isinstance(thing, Negation):
        yield from _parts(thing.condition, reader, not held)
    elif isinstance(thing, Both if held else Either):
        for condition in thing.conditions:
            yield from _parts(condition, reader, held)
    elif isinstance(thing, Quantified) and thing.word == "no":
        yield from _parts(node._replace(value=thing._replace(word="any")), reader, not held)
    else:
        sides = (thing.left, thing.right) if isinstance(thing, Compare) else ()
        stretches = {reader.text(side): reader.stretch(side) for side in sides}
        yield Part(node, held, reader.text(node), tuple(reader.bounds(node, held)), stretches)


def _at_odds_with(asked: list[Part], reader: Reader) -> str:
    """Why what is asked of things cannot all be so at once; "" where it may. Of alternatives each by itself is tried
    with all the rest."""
    choices = [part for part in asked if isinstance(part.node.value, Both | Either)]
    rest = [part for part in asked if not isinstance(part.node.value, Both | Either)]
    if why := _impossible(rest, reader) or _contrary(rest, reader):
        return why
    for part in choices[:MOST_CHOICES]:
        ways = ([*rest, *_parts(one, reader, part.held)] for one in part.node.value.conditions[:MOST_CHOICES])
        whys = [_impossible(way, reader) or _contrary(way, reader) for way in ways]
        if all(whys) and len(whys) == len(part.node.value.conditions):
            return whys[0]
    return ""


def _pairs(rule: Rule, reader: Reader) -> Iterator[Bound]:
    """That pairs are looked for only within a distance bounds that distance."""
    for each in rule.each:
        if each.bound is not None:
            one, other = reader.text(each.bound.of), reader.plurals[each.variable]
            reach = reader.stretch(each.bound.distance)
            yield Bound(f"distance({one}, {other})", "<=", reach)
            yield Bound(f"distance({other}, {one})", "<=", reach)


def _impossible(asked: list[Part], reader: Reader) -> str:
    """Why no value meets all comparisons of one quantity; "" where some may."""
    why = "no value that is measured makes it so, within what the lines above it let through"
    own: dict[str, Stretch] = {}
    bounds: dict[str, list[Bound]] = {}
    for part in asked:
        own.update(part.sides)
        if len(part.sides) == 1 and (part.node.value.sign in "<>") is part.held:  # never less than itself
            return why
    for bound in (*_pairs(reader.rule, reader), *(bound for part in asked for bound in part.bounds)):
        bounds.setdefault(bound.of, []).append(bound)
    for of, held in bounds.items():
        least, largest = own.get(of, ANYTHING)
        open_below = open_above = False
        for bound in held:
            if bound.sign in (">", ">="):
                if bound.to.least > least or (bound.to.least == least and bound.sign == ">"):
                    least, open_below = bound.to.least, bound.sign == ">"
            elif bound.to.largest < largest or (bound.to.largest == largest and bound.sign == "<"):
                largest, open_above = bound.to.largest, bound.sign == "<"
        if of.startswith("count ") and abs(least) != inf:  # whole numbers: the next one above
            least, open_below = (floor(least) + 1 if open_below else ceil(least)), False
        if least > largest or (least == largest and (open_below or open_above) and abs(least) != inf):
            return why
    return ""


def _contrary(asked: list[Part], reader: Reader) -> str:
    """Why tests let nothing through together: they ask one thing to be two words, or to be and not to be."""
    why = "its `where` and `needs` lines ask what cannot be at once"
    so, not_so = ({part.text for part in asked if part.held is held} for held in (True, False))
    if so & not_so:
        return why
    # what is needed or compared must be there
    barred = {reader.text(need): {"missing"} for need in reader.rule.needs}
    for part in asked:
        if part.held:
            barred.update((side, {"missing"}) for side in part.sides)
    wanted: dict[str, list[set[str]]] = {}
    single: set[str] = set()
    for node, held, *_ in asked:
        test = node.value
        if not isinstance(test, Is):
            continue
        of, words = reader.text(test.operand), {str(word.value) for word in test.words}
        if any("." in word or reader.names(word) for word in words):
            continue  # one of the rule's own things or measures: any word
        if reader.kind(test.operand) == "word":
            single.add(of)
        if test.negated is held:
            barred.setdefault(of, set()).update(words)
        else:
            wanted.setdefault(of, []).append(words)
    return why if any(_none(several, barred.get(of, set()), of in single) for of, several in wanted.items()) else ""


def _none(wanted: list[set[str]], barred: set[str], single: bool) -> bool:
    """Whether nothing is a word of each of several sets and none that is barred. What is `missing` is nothing else;
    what is `single` is one word, a list or a thing may be several."""
    if "missing" not in barred and all("missing" in words for words in wanted):
        return False
    left = [words - barred - {"missing"} for words in wanted]
    return not (set.intersection(*left) if single else all(left))


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
