"""What a rule says, as nodes: each is the value of a `Written`, which has its place."""

from __future__ import annotations

from typing import Any, NamedTuple

from habitatlint.reading.grammar import Shape
from habitatlint.reading.values import Written, written


class Ref(NamedTuple):
    """A variable, limit, list or measure, and fields of it: `t.pocket.name`."""

    parts: tuple[str, ...]


class Constant(NamedTuple):
    """A quantity, date or window as written; `kind` as in columns."""

    kind: str
    value: Any
    unit: str = ""


class Call(NamedTuple):
    name: str
    arguments: tuple[Written, ...]


class Sum(NamedTuple):
    """`+`, `-` or `*` of two quantities."""

    sign: str
    left: Written
    right: Written


class Bound(NamedTuple):
    """`within DISTANCE of PLACE`."""

    distance: Written
    of: Written


class Aggregate(NamedTuple):
    """`count`, `share`, `smallest`, `largest` or `sum` over the things of a plural."""

    word: str
    value: Written | None
    variable: str
    plural: Written
    bound: Bound | None
    condition: Written | None


class Compare(NamedTuple):
    left: Written
    sign: str
    right: Written


class Is(NamedTuple):
    """`x is [not] a or b`; what stands after `is` is a word, or something to be the same as."""

    operand: Written
    negated: bool
    words: tuple[Written, ...]


class Quantified(NamedTuple):
    """`no`, `any` or `every` thing of a plural that meets a condition."""

    word: str
    variable: str
    plural: Written
    bound: Bound | None
    condition: Written


class Both(NamedTuple):
    conditions: tuple[Written, ...]


class Either(NamedTuple):
    conditions: tuple[Written, ...]


class Negation(NamedTuple):
    condition: Written


class Each(NamedTuple):
    """A variable and the plural it runs over, with the bound that pairs it to one before it."""

    variable: str
    plural: Written
    bound: Bound | None


class Aim(NamedTuple):
    """`along`, `against`, `toward` or `away`, and of what: a fall that a mend writes."""

    word: str
    thing: Written


class Setting(NamedTuple):
    """`with set RULE.LIMIT VALUE` of an example."""

    limit: str
    value: Written


def _node(child: Any) -> Written:
    return child if type(child) is Written else written(child)


def _word(child: Any) -> str:
    return str(child.value)


def _over(node: Any, kind: str, first: Any, last: Any) -> Written:
    start = first.start if type(first) is Written else first.start_pos
    end = last.end if type(last) is Written else last.end_pos
    return Written(node, kind, start, end)


class RuleShape(Shape):
    """Builders for the rule grammar's expressions."""

    def plural(self, children: list[Any]) -> Written:
        return self.ref(children)

    def ref(self, children: list[Any]) -> Written:
        (token,) = children
        return Written(Ref(tuple(token.value.split("."))), "ref", token.start_pos, token.end_pos)

    def limit_value(self, children: list[Any]) -> Written:
        value = _node(children[0])
        kind, size, unit = value.kind, value.value, ""
        if hasattr(size, "unit"):
            kind, unit, size = size.kind, size.unit, size.size
        elif kind in ("bearing", "wind"):
            kind, size = "angle", size.degrees
        elif kind == "date":
            size = size.toordinal()
        elif kind == "day":
            kind = "window"
        return Written(Constant(kind, size, unit), "constant", value.start, value.end)

    def plus(self, children: list[Any]) -> Written:
        return self._sum("+", children)

    def minus(self, children: list[Any]) -> Written:
        return self._sum("-", children)

    def times(self, children: list[Any]) -> Written:
        return self._sum("*", children)

    def _sum(self, sign: str, children: list[Any]) -> Written:
        left, right = children[0], children[-1]
        return _over(Sum(sign, left, right), "sum", left, right)

    def call(self, children: list[Any]) -> Written:
        arguments = tuple(child for child in children[2:-1] if type(child) is Written)
        return _over(Call(_word(children[0]), arguments), "call", children[0], children[-1])

    def aggregate(self, children: list[Any]) -> Written:
        word = _word(children[0])
        rest = children[1:]
        value = None
        if word in ("smallest", "largest", "sum"):
            value, rest = rest[0], rest[1:]
        variable, plural = _word(rest[1]), rest[3]
        bound, condition = _tail(rest[4:])
        node = Aggregate(word, value, variable, plural, bound, condition)
        return _over(node, "aggregate", children[0], children[-1])

    def quantified(self, children: list[Any]) -> Written:
        bound, condition = _tail(children[4:])
        assert condition is not None
        node = Quantified(_word(children[0]), _word(children[1]), children[3], bound, condition)
        return _over(node, "quantified", children[0], children[-1])

    def comparison(self, children: list[Any]) -> Written:
        left, sign, right = children
        return _over(Compare(left, _word(sign), right), "compare", left, right)

    def is_test(self, children: list[Any]) -> Written:
        words = [child for child in children[2:] if type(child) is not Written]
        negated = bool(words) and words[0].value == "not"
        words = [word for word in words if word.value not in ("not", "or")]
        node = Is(children[0], negated, tuple(written(word) for word in words))
        return _over(node, "is", children[0], children[-1])

    def negation(self, children: list[Any]) -> Written:
        return _over(Negation(children[-1]), "negation", children[-1], children[-1])

    def both(self, children: list[Any]) -> Written:
        return _over(Both(tuple(children)), "both", children[0], children[-1])

    def either(self, children: list[Any]) -> Written:
        return _over(Either(tuple(children)), "either", children[0], children[-1])

    def other(self, children: list[Any]) -> Written:
        bound, _ = _tail(children[3:])
        return _over(Each(_word(children[0]), children[2], bound), "each", children[0], children[-1])

    def direction(self, children: list[Any]) -> Written:
        return _over(Aim(_word(children[0]), children[-1]), "aim", children[0], children[-1])

    def set_here(self, children: list[Any]) -> Written:
        return _over(Setting(_word(children[2]), children[3]), "setting", children[0], children[-1])


def _tail(children: list[Any]) -> tuple[Bound | None, Written | None]:
    """The bound and the condition that may follow a plural."""
    nodes = [child for child in children if type(child) is Written]
    words = [child.value for child in children if type(child) is not Written]
    bound = None
    if "within" in words:
        bound, nodes = Bound(nodes[0], nodes[1]), nodes[2:]
    return bound, nodes[0] if nodes else None


def parts_of(node: Written) -> list[Written]:
    """The nodes directly inside a node."""
    value = node.value
    found: list[Written] = []
    for item in value if isinstance(value, tuple) else ():
        if isinstance(item, Written):
            found.append(item)
        elif isinstance(item, Bound):
            found += [item.distance, item.of]
        elif isinstance(item, tuple):
            found += [one for one in item if isinstance(one, Written)]
    return found


def names_in(node: Written) -> set[str]:
    """The variables, limits and measures that a node speaks of, those it binds itself left out."""
    value = node.value
    if isinstance(value, Ref):
        return {value.parts[0]}
    names: set[str] = set()
    for part in parts_of(node):
        names |= names_in(part)
    if isinstance(value, Is):
        names |= {str(word.value).split(".")[0] for word in value.words}
    if isinstance(value, Aggregate | Quantified):
        names.discard(value.variable)
    return names


def plurals_in(node: Written) -> set[str]:
    """The plurals that a node's quantifiers and aggregates run over."""
    value = node.value
    found = {value.plural.value.parts[0]} if isinstance(value, Aggregate | Quantified) else set()
    return found.union(*(plurals_in(part) for part in parts_of(node)))


def conjuncts(node: Written) -> list[Written]:
    """A condition as the list of those that must all hold."""
    if isinstance(node.value, Both):
        return [part for condition in node.value.conditions for part in conjuncts(condition)]
    return [node]
