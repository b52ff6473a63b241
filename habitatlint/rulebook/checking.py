"""A pack checked before it runs: names, kinds and units, limits, words, and rules that cannot report."""

from __future__ import annotations

import re
from collections.abc import Iterable

from habitatlint.findings import SLIPS, Related, Slip
from habitatlint.language.blocks import BY_NOUN, PLURALS
from habitatlint.language.plan import LAYOUT
from habitatlint.measures.vocabulary import Vocabulary
from habitatlint.reading.grammar import Grammar, did_you_mean, listed, near
from habitatlint.reading.values import Written
from habitatlint.rulebook.expressions import (
    Aggregate,
    Aim,
    Both,
    Bound,
    Call,
    Compare,
    Constant,
    Each,
    Either,
    Is,
    Negation,
    Quantified,
    Ref,
    Sum,
)  # fmt: skip
from habitatlint.rulebook.rules import Action, Limit, Pack, Rule, WordList, placeholders
from habitatlint.source import Span
from habitatlint.units import plain

#: kinds that may be compared with each other
_ALIKE = {"count": "number", "bearing": "angle"}
_COMPARED = frozenset(
    {
        "length", "area", "share", "number", "angle", "speed", "density", "basal-area", "volume", "dose",
        "duration", "date",
    }
)  # fmt: skip


#: a unit for each kind that a limit may have, to show how one is written
_USUAL_UNITS = {
    "length": "yd", "area": "ac", "share": "%", "angle": "deg", "speed": "mph", "density": " per acre",
    "basal-area": " sqft/ac", "volume": " floz", "dose": " floz/ac", "duration": " days",
}  # fmt: skip


#: the words of every property that a block of a plan may have
_PROPERTIES = frozenset(word for block in BY_NOUN.values() for word in block.properties)


class _Told(Exception):
    """A fault that has been told; nothing more can be said of what holds it."""


def checked(pack: Pack, vocabulary: Vocabulary, plan_grammar: Grammar) -> Pack:
    """The pack with what is wrong in it added to its slips; rules that cannot run are left out."""
    slips = list(pack.slips)
    sound: list[Rule] = []
    broken = {slip.span.source.name for slip in slips}
    words = _Words(plan_grammar)
    for rule in pack.rules:
        if rule.placed.source.name in broken:
            continue  # a line of it cannot be read: what follows from that is not worth telling
        found = _Checker(rule, vocabulary, words).slips()
        slips += found
        if not found:
            sound.append(rule)
    return pack._replace(rules=tuple(sound), slips=tuple(slips))


class _Words:
    """The words of the plan language: all of them, and those that a property of a plural's things may have."""

    def __init__(self, plan_grammar: Grammar) -> None:
        self.grammar = plan_grammar
        self.every = frozenset(plan_grammar.words.values())
        self._known: dict[tuple[str, str], frozenset[str]] = {}

    def of(self, plural: str, field: str) -> frozenset[str]:
        """All of them, where the things are no blocks of one noun or it is no property of theirs."""
        if (plural, field) not in self._known:
            noun = next((noun for noun, one in PLURALS.items() if one == plural), "")
            given = noun and field in BY_NOUN[noun].properties
            text = f"{LAYOUT.heads.get(noun, noun)}\n  {field}"
            self._known[plural, field] = (self.grammar.words_after(text) if given else frozenset()) or self.every
        return self._known[plural, field]


class _Checker:
    def __init__(self, rule: Rule, vocabulary: Vocabulary, words: _Words) -> None:
        self.rule = rule
        self.vocabulary = vocabulary
        self.words = words
        self.variables: dict[str, str] = {}
        self.measures: dict[str, tuple[str, dict[str, str]]] = {}
        self.found: list[Slip] = []

    def slips(self) -> list[Slip]:
        rule = self.rule
        self._limits()
        for number, each in enumerate(rule.each):
            self._quietly(self._each, each, number)
        for measure in rule.measures:
            try:
                self.measures[measure.name] = self._measured(measure.value)
            except _Told:
                self.measures[measure.name] = ("", {})
        for condition in rule.where:
            self._quietly(self._condition, condition)
        for node in (
            *rule.needs,
            *rule.per,
        ):
            self._quietly(self._kind, node)
        for node in (*([rule.mark] if rule.mark else []), *(also.thing for also in rule.also)):
            self._quietly(self._written, node)
        self._reports()
        self._texts(rule.because, rule.span())
        for remedy in rule.remedies:
            for action in remedy.actions:
                self._quietly(self._action, action)
            self._texts(remedy.say, rule.span())
        return self.found

    def _quietly(self, judge: object, *arguments: object) -> None:
        try:
            judge(*arguments)  # type: ignore[operator]
        except _Told:
            pass

    def _tell(self, kind: str, node: Written | None, found: str, why: str, hint: str = "") -> _Told:
        shown = did_you_mean(hint)
        span, thing = self.rule.span(node), f"rule {self.rule.slug}"
        self.found.append(Slip(kind, span, thing=thing, found=found, expected=why, why=why, hint=shown))
        return _Told()

    # -- parts of a rule ------------------------------------------------------------------------------

    def _limits(self) -> None:
        said_of: list[Limit | WordList] = [*self.rule.limits.values(), *self.rule.lists.values()]
        for said in said_of:
            if said.evidence != "common-practice" and not said.source:
                wanted = f"the source in double quotes after `{said.evidence}`"
                thing = f"rule {self.rule.slug}"
                self.found.append(Slip("missing-property", said.span, thing=thing, expected=wanted, why=wanted))
        for limit in self.rule.limits.values():
            if limit.least is None and limit.kind in _COMPARED and limit.kind != "date":
                self.found.append(Slip("bad-value", limit.span, thing=f"rule {self.rule.slug}", found=limit.name,
                                       why="a limit has a permitted range, such as `5yd..60yd`"))  # fmt: skip

    def _each(self, each: Each, number: int) -> None:
        self.variables[each.variable] = ""  # of no known kind, until its plural is
        kind = self._plural(each.plural)
        self.variables[each.variable] = kind
        if each.bound is not None:
            self._bound(each.bound)
        elif number and "shape" in self.vocabulary.fields.get(kind.removeprefix("thing:"), {}):
            earlier = [self.variables[one.variable] for one in self.rule.each[:number]]
            if any("shape" in self.vocabulary.fields.get(one.removeprefix("thing:"), {}) for one in earlier):
                raise self._tell("syntax", each.plural, each.variable,
                                 "a bound for a pair of placed things: `within DISTANCE of ...`")  # fmt: skip

    def _bound(self, bound: Bound) -> None:
        kind = self._kind(bound.distance)
        if kind != "length":
            self._unitless(bound.distance, kind, "length")
            raise self._tell("bad-value", bound.distance, kind, "a length after `within`")
        self._shape(bound.of)

    def _plural(self, node: Written) -> str:
        """The kind of what a plural's things are."""
        ref: Ref = node.value
        if len(ref.parts) > 1:
            kind = self._kind(node)
            if kind.startswith("things:"):
                return "thing:" + kind.removeprefix("things:")
            if kind == "list":
                return "name"
            raise self._tell("bad-value", node, ".".join(ref.parts), "a field that holds several things")
        (name,) = ref.parts
        if name in self.rule.lists:
            return "word"
        if name not in self.vocabulary.fields:
            hint = near(name, (*self.vocabulary.fields, *self.rule.lists))
            raise self._tell("unknown-name", node, name, "a plural such as `trees`, `walks` or `pockets`", hint)
        return f"thing:{name}"

    def _reports(self) -> None:
        rule = self.rule
        if not rule.reports:
            self._tell(
                "missing-property",
                None,
                rule.slug,
                "a line `report` with a level: without it the rule finds nothing",
            )
        if not rule.title:
            self._tell("missing-property", None, rule.slug, "a line `title` with the rule's name in double quotes")
        if not rule.because:
            self._tell("missing-property", None, rule.slug, "a line `because` with the reason in double quotes")
        for number, report in enumerate(rule.reports):
            if report.when is not None:
                self._quietly(self._condition, report.when)
            if not report.say:
                wanted = "a line `say` below it, with the finding's words in double quotes"
                self.found.append(Slip("missing-property", report.span, thing=f"rule {rule.slug}", expected=wanted))
            for text in (report.say, report.many):
                self._texts(text, report.words)
            if number and rule.reports[number - 1].when is None:
                self.found.append(Slip("bad-value", report.span, thing=f"rule {rule.slug}", found="report",
                                       why="the `report` above it is always true, so this one never is"))  # fmt: skip

    def _written(self, node: Written) -> None:
        """What `mark` and `also` point at: a thing, or a property that stands in its block, be it one
        that has no value to compare (an `outline`)."""
        first, *fields = node.value.parts
        if first in self.variables and len(fields) == 1 and fields[0] in _PROPERTIES:
            return
        self._kind(node)

    def _texts(self, text: str, span: Span) -> None:
        if re.sub(r"\{[a-z][a-z0-9.-]*\}", "", text).count("{"):
            self.found.append(Slip("syntax", span, thing=f"rule {self.rule.slug}", found="{",
                                   expected="a name and a closing brace after `{`, such as `{t.block}`"))  # fmt: skip
        for parts in placeholders(text):
            if parts in (("count",), ("all",)):
                continue
            node = Written(Ref(parts), "ref", 0, 0)
            try:
                self._ref(node, span)
            except _Told:
                pass

    def _action(self, action: Action) -> None:
        if action.word == "add":
            noun = str(action.values[0].value)
            if noun not in BY_NOUN:
                raise self._tell("unknown-word", action.values[0], noun, "the noun of a block", near(noun, BY_NOUN))
            words = BY_NOUN[noun].properties
            for statement in action.filled:
                if statement.word not in words:
                    raise self._tell("unknown-word", Written("", "", statement.start, statement.end), statement.word,
                                     f"a property of a {noun}", near(statement.word, words))  # fmt: skip
                for value in statement.values:
                    self._value(value)
            return
        target = action.values[0]
        parts = target.value.parts if isinstance(target.value, Ref) else ()
        if not parts or parts[0] not in (*self.variables, *self.measures):
            hint = near(parts[0], (*self.variables, *self.measures)) if parts else ""
            raise self._tell("unknown-name", target, ".".join(parts), "a variable or a measure of the rule", hint)
        alone = action.word == "split" or len(parts) == 1
        thing = Written(Ref(parts if alone else parts[:-1]), "ref", target.start, target.end)
        if not self._kind(thing).startswith(("thing:", "things:")):
            raise self._tell("bad-value", target, ".".join(parts), "a thing of the plan, or a property of one")
        of_slip = parts[1:] == ("found",)  # what a slip marks, written otherwise
        if not alone and parts[-1] not in _PROPERTIES and not of_slip:
            hint = near(parts[-1], _PROPERTIES)
            raise self._tell("unknown-word", target, parts[-1], "a property of a plan's block", hint)
        for value in action.values[1:]:
            self._value(value)

    def _value(self, value: Written) -> None:
        """What a mend writes: an aim, a word of the plan language, or what the rule knows."""
        thing = value.value
        if isinstance(thing, Aim):
            self._kind(thing.thing)
        elif isinstance(thing, Ref) and (len(thing.parts) > 1 or thing.parts[0] in self.measures):
            self._kind(value)

    # -- kinds ----------------------------------------------------------------------------------------

    def _kind(self, node: Written) -> str:
        return self._measured(node)[0]

    def _measured(self, node: Written) -> tuple[str, dict[str, str]]:
        """The kind of an expression, and of the parts that its measure gives."""
        thing = node.value
        if isinstance(thing, Ref):
            return self._ref(node, None)
        if isinstance(thing, Constant):
            return thing.kind, {}
        if isinstance(thing, Call):
            return self._call(node, thing)
        if isinstance(thing, Sum):
            return self._sum(node, thing), {}
        if isinstance(thing, Aggregate):
            return self._aggregate(thing), {}
        raise self._tell("bad-value", node, "", "a quantity")

    def _ref(self, node: Written, span: object) -> tuple[str, dict[str, str]]:
        first, *fields = node.value.parts
        shown = ".".join(node.value.parts)

        def tell(found: str, why: str, hint: str = "") -> _Told:
            if span is None:
                return self._tell("unknown-name", node, found, why, hint)
            offered = did_you_mean(hint)
            self.found.append(Slip("unknown-name", span, thing=f"rule {self.rule.slug}", found=found, expected=why,  # type: ignore[arg-type]
                                   why=why, hint=offered))  # fmt: skip
            return _Told()

        parts: dict[str, str] = {}
        if first in self.measures:
            kind, parts = self.measures[first]
            if fields:
                if fields[0] not in parts:
                    raise tell(shown, f"a part of `{first}`: {_list(parts)}", near(fields[0], parts))
                kind, parts, fields = parts[fields[0]], {}, fields[1:]
        elif first in self.variables:
            kind = self.variables[first]
        elif first in self.rule.limits:
            kind = self.rule.limits[first].kind
        elif first in self.rule.lists:
            kind = "list"
        elif first == "today":
            kind = "date"
        elif first == "plan":
            kind = "thing:plans"
        else:
            known = (*self.measures, *self.variables, *self.rule.limits, *self.rule.lists, "today", "plan")
            raise tell(first, "a variable, a measure or a limit of the rule", near(first, known))
        if not kind:
            raise _Told
        for field in fields:
            known_fields = (
                self.vocabulary.fields.get(kind.removeprefix("thing:"), {}) if kind.startswith("thing:") else {}
            )
            if field not in known_fields:
                what = kind.removeprefix("thing:")
                raise tell(shown, f"a field of {what}: {_list(known_fields)}", near(field, known_fields))
            kind = known_fields[field]
        return kind, parts

    def _shape(self, node: Written) -> None:
        kind = self._kind(node)
        placed = kind in ("shape", "place") or (
            kind.startswith("thing:") and "shape" in self.vocabulary.fields.get(kind.removeprefix("thing:"), {})
        )
        if not placed:
            raise self._tell("bad-value", node, kind.removeprefix("thing:"), "something that has a place on the ground")

    def _call(self, node: Written, call: Call) -> tuple[str, dict[str, str]]:
        signature = self.vocabulary.measures.get(call.name)
        if signature is None:
            hint = near(call.name, self.vocabulary.measures)
            raise self._tell("unknown-name", node, call.name, "a measure", hint)
        if len(call.arguments) != len(signature.takes):
            takes = ", ".join(signature.takes)
            raise self._tell("bad-value", node, call.name, f"{call.name}({takes})")
        for argument, wanted in zip(call.arguments, signature.takes, strict=True):
            if wanted in ("shape", "place"):
                self._shape(argument)
                continue
            kind = self._kind(argument)
            wanted_kind = f"thing:{wanted}" if wanted in self.vocabulary.fields else wanted
            if _alike(kind) != _alike(wanted_kind):
                found = kind.removeprefix("thing:")
                raise self._tell(
                    "bad-value",
                    argument,
                    found,
                    f"{_a(wanted)} here, for {call.name}({', '.join(signature.takes)})",
                )
        return signature.gives, dict(signature.parts)

    def _sum(self, node: Written, thing: Sum) -> str:
        left, right = self._kind(thing.left), self._kind(thing.right)
        if thing.sign == "*":
            if _alike(left) == "number":
                return right
            if _alike(right) == "number":
                return left
            raise self._tell("bad-value", node, "*", f"a quantity times a number, not {_a(left)} times {_a(right)}")
        if left == "date" and right == "duration":
            return "date"
        if left == right == "date" and thing.sign == "-":
            return "duration"
        if _alike(left) != _alike(right) or _alike(left) not in _COMPARED:
            raise self._unlike(node, thing, left, right)
        return left

    def _aggregate(self, thing: Aggregate) -> str:
        with _Scope(self, thing.variable, thing.plural):
            if thing.bound is not None:
                self._bound(thing.bound)
            if thing.condition is not None:
                self._condition(thing.condition)
            if thing.word == "count":
                return "count"
            if thing.word == "share":
                return "share"
            assert thing.value is not None
            return self._kind(thing.value)

    # -- conditions -----------------------------------------------------------------------------------

    def _condition(self, node: Written) -> None:
        thing = node.value
        if isinstance(thing, Both | Either):
            for condition in thing.conditions:
                self._quietly(self._condition, condition)
        elif isinstance(thing, Negation):
            self._condition(thing.condition)
        elif isinstance(thing, Compare):
            left, right = self._kind(thing.left), self._kind(thing.right)
            if _alike(left) != _alike(right) or _alike(left) not in _COMPARED:
                raise self._unlike(node, thing, left, right)
        elif isinstance(thing, Is):
            self._is(node, thing)
        elif isinstance(thing, Quantified):
            with _Scope(self, thing.variable, thing.plural):
                if thing.bound is not None:
                    self._bound(thing.bound)
                self._condition(thing.condition)
        elif self._kind(node) != "truth":
            raise self._tell("bad-value", node, "", "a condition: a comparison, or `is` and a word")

    def _unlike(self, node: Written, thing: Sum | Compare, left: str, right: str) -> _Told:
        self._unitless(thing.left, left, right)
        self._unitless(thing.right, right, left)
        return self._tell("bad-value", node, "", f"two quantities of one kind, not {_a(left)} and {_a(right)}")

    def _unitless(self, node: Written, kind: str, wanted: str) -> None:
        """Tells, once, of a limit that was written without its unit, and raises _Told."""
        name = node.value.parts[0] if isinstance(node.value, Ref) else ""
        limit, unit = self.rule.limits.get(name), _USUAL_UNITS.get(wanted)
        if limit is None or kind != "number" or unit is None:
            return
        written = f"{plain(float(limit.value))}{unit}" if isinstance(limit.value, int | float) else unit
        span = self.rule.span(node)
        slip = Slip("bad-value", limit.span, thing=f"rule {self.rule.slug}", found=name,
                    why=f"the limit `{name}` has no unit, and {_a(wanted)} is wanted of it: write it with one, such as "
                        f"`{written}`, and its range too",
                    related=(Related(span, "where it is wanted"),))  # fmt: skip
        if all(one.why != slip.why for one in self.found):
            self.found.append(slip)
        raise _Told

    def _is(self, node: Written, thing: Is) -> None:
        kind = self._kind(thing.operand)
        for word in thing.words:
            text = str(word.value)
            if text == "missing" or text.split(".")[0] in (*self.variables, *self.measures):
                if "." in text:
                    self._kind(Written(Ref(tuple(text.split("."))), "ref", word.start, word.end))
                continue
            if kind == "thing:slips":
                known: Iterable[str] = SLIPS
            elif kind.startswith("thing:"):
                fields = self.vocabulary.fields.get(kind.removeprefix("thing:"), {})
                known = [name for name, of in fields.items() if of == "truth"]
            elif kind == "truth":
                known = ("yes", "no")
            elif isinstance(thing.operand.value, Call):
                known = self.vocabulary.measures[thing.operand.value.name].words
            elif kind == "text":
                known = ()
            elif kind in ("word", "name", "list"):
                known = self._words_of(thing.operand) if kind == "word" else (text,)
            else:
                raise self._tell("bad-value", node, _bare(kind), "a comparison with `<` or `>`: it is a quantity")
            if text not in known:
                hint = near(text, known)
                names = sorted(known) or ["missing"]
                why = (
                    listed([f"`{name}`" for name in names], "or")
                    if 0 < len(names) <= 12
                    else "a word of the plan language"
                )
                raise self._tell("unknown-word", word, text, why, hint)

    def _words_of(self, node: Written) -> frozenset[str]:
        """The words that something may be."""
        if isinstance(node.value, Ref) and len(node.value.parts) > 1:
            *before, field = node.value.parts
            of = self._kind(node._replace(value=Ref(tuple(before))))
            return self.words.of(of.removeprefix("thing:"), field)
        return self.words.every


class _Scope:
    """A variable that a quantifier binds, for as long as it is looked into."""

    def __init__(self, checker: _Checker, variable: str, plural: Written) -> None:
        self.checker, self.variable = checker, variable
        self.kind = checker._plural(plural)
        self.before = checker.variables.get(variable)

    def __enter__(self) -> None:
        self.checker.variables[self.variable] = self.kind

    def __exit__(self, *error: object) -> None:
        if self.before is None:
            del self.checker.variables[self.variable]
        else:
            self.checker.variables[self.variable] = self.before


def _alike(kind: str) -> str:
    return _ALIKE.get(kind, kind)


def _bare(kind: str) -> str:
    return kind.removeprefix("thing:") or "nothing"


def _a(kind: str) -> str:
    bare = _bare(kind)
    return f"{'an' if bare[0] in 'aeiou' else 'a'} {bare}"


def _list(names: Iterable[str]) -> str:
    shown = sorted(names)
    return listed([f"`{name}`" for name in shown], "or") if shown else "it has none"
