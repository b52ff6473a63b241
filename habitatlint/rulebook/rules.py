"""Rules and packs as read from `.rules` texts: lines assembled into rules, examples kept as texts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import NamedTuple

from habitatlint.findings import Level, Related, Slip
from habitatlint.reading.blocks import Layout, Placed, read
from habitatlint.reading.grammar import Grammar, Guesses, Statement, did_you_mean, near
from habitatlint.reading.values import Written
from habitatlint.rulebook.expressions import Constant, Each, RuleShape, Setting, conjuncts, plurals_in
from habitatlint.source import Source, Span
from habitatlint.units import Quantity, Range, show

EXAMPLES = ("broken", "kept", "mended")
RULE_WORDS = frozenset(
    [
        "title",
        "limit",
        "list",
        "each",
        "where",
        "needs",
        "measure",
        "per",
        "report",
        "say",
        "many",
        "mark",
        "also",
        "because",
        "mend",
        "set",
        "remove",
        "turn",
        "move",
        "split",
        "add",
        "formerly",
        "safety",
    ]
)
PACK_WORDS = frozenset(
    ["version", "author", "licence", "requires", "builds-on", "takes", "leaves", "set", "level", "about"]
)
EVIDENCE = ("regulation", "extension", "journal", "analogue", "common-practice")


class Limit(NamedTuple):
    """A rule's limit: its default, its permitted range, and who says so. Sizes in base units."""

    name: str
    kind: str
    value: object
    unit: str
    least: float | None
    largest: float | None
    evidence: str
    source: str
    span: Span


class WordList(NamedTuple):
    """A rule's `list`: words, and who says so."""

    words: tuple[str, ...]
    evidence: str
    source: str
    span: Span


class Report(NamedTuple):
    """At which level, when, and in what words; `many` for several."""

    level: Level
    when: Written | None
    say: str
    many: str
    span: Span
    #: where its words stand: on the line of `report` itself, or on that of its `say`
    words: Span


class Measure(NamedTuple):
    name: str
    value: Written
    span: Span


class Action(NamedTuple):
    """One line of a mend: its word (`set`, `add` ...), the values, and for `add` its properties."""

    word: str
    values: tuple[Written, ...]
    filled: tuple[Statement, ...]
    span: Span


class Remedy(NamedTuple):
    """A `mend` of a rule: words, and what it does; nothing below it is advice."""

    say: str
    actions: tuple[Action, ...]
    span: Span


class Also(NamedTuple):
    thing: Written
    what: str


class Caret(NamedTuple):
    """What an example's caret line says of the line above it: columns count from 0 in the plan. `start` and `end` are
    the same where the words stand there without carets; `at` is the line of the caret line itself."""

    line: int
    start: int
    end: int
    says: str
    at: int = 0


class Example(NamedTuple):
    """A plan that a rule breaks or keeps. `text` is dedented, its caret lines blank; `first_line`
    is the line of the rule file on which it begins, `indent` what was taken from each line. `left`
    says of a broken plan why no mend clears it; "" where the mends do."""

    kind: str
    text: str
    carets: tuple[Caret, ...]
    span: Span
    first_line: int
    indent: int
    today: date | None = None
    settings: tuple[tuple[str, Written], ...] = ()
    mended: str = ""
    left: str = ""
    #: the line of the rule file on which `mended` stands
    mended_line: int = 0
    #: lines of the rule file whose indent has a tab: where the plan's text begins, nobody can tell
    tabs: tuple[int, ...] = ()


class Rule(NamedTuple):
    """One rule as read; `placed` gives spans to what stands in it."""

    slug: str
    pack: str
    placed: Placed
    title: str = ""
    limits: Mapping[str, Limit] = {}
    lists: Mapping[str, WordList] = {}
    each: tuple[Each, ...] = ()
    where: tuple[Written, ...] = ()
    needs: tuple[Written, ...] = ()
    measures: tuple[Measure, ...] = ()
    per: tuple[Written, ...] = ()
    reports: tuple[Report, ...] = ()
    mark: Written | None = None
    also: tuple[Also, ...] = ()
    because: str = ""
    remedies: tuple[Remedy, ...] = ()
    formerly: tuple[str, ...] = ()
    safety: bool = False
    examples: tuple[Example, ...] = ()

    @property
    def name(self) -> str:
        return f"{self.pack}/{self.slug}"

    def span(self, part: Statement | Written | None = None) -> Span:
        if part is None:
            head = self.placed.parsed.head
            start = self.placed.parsed.base
            return self.placed.span(head.start, head.end) if head else self.placed.span(start, start + 4)
        return self.placed.span(part.start, part.end)

    @property
    def worst(self) -> Level:
        return max((report.level for report in self.reports), default=Level.note)

    @property
    def plurals(self) -> set[str]:
        """Every plural that the rule looks at, in `each`, quantifiers and aggregates."""
        nodes = (*self.where, *(measure.value for measure in self.measures))
        return {each.plural.value.parts[0] for each in self.each}.union(*(plurals_in(node) for node in nodes))

    @property
    def evidence(self) -> tuple[str, str]:
        """The evidence and source of the first limit or list, that of what is compared."""
        said: list[Limit | WordList] = [*self.limits.values(), *self.lists.values()]
        return (said[0].evidence, said[0].source) if said else ("", "")


class Saying(NamedTuple):
    """What a pack says of other packs: `builds-on`, `takes`, `leaves`, `set` or `level`, of what, and
    the limit's value or the level."""

    word: str
    name: str
    value: Constant | None
    level: Level | None
    span: Span
    #: the versions of a pack that it builds on, "" for any
    stretch: str = ""


class Pack(NamedTuple):
    """A folder of rules. Slips are those of reading and of the checker."""

    name: str
    title: str = ""
    version: str = ""
    author: str = ""
    licence: str = ""
    requires: str = ""
    about: str = ""
    says: tuple[Saying, ...] = ()
    rules: tuple[Rule, ...] = ()
    slips: tuple[Slip, ...] = ()
    span: Span | None = None

    def said(self, *words: str) -> list[Saying]:
        """What the pack says in lines of these words, in order."""
        return [saying for saying in self.says if saying.word in words]


LAYOUT = Layout(
    nouns=frozenset({"rule", "pack", *EXAMPLES}),
    singles=frozenset(),
    words={"rule": RULE_WORDS, "pack": PACK_WORDS},
    runs_on=lambda noun, word: False,
    heads={"rule": "rule x", "pack": "pack x", **{kind: kind for kind in EXAMPLES}},
    nested=True,
    wanted="`rule`, `pack`, `broken`, `kept` or `mended`",
)


def rule_grammar(texts: dict[str, str], cache: str | None = None) -> Grammar:
    """The rule language's grammar from the texts of `rules.lark` and `values.lark`."""
    return Grammar("rules", texts, RuleShape(), cache)


def read_pack(name: str, sources: Iterable[Source], grammar: Grammar) -> Pack:
    """A pack from its texts, in the order given. Whatever is wrong becomes a slip of the pack.

    It is called as its head says, wherever it is kept; without a head by `name`.
    """
    rules: list[Rule] = []
    slips: list[Slip] = []
    texts: list[tuple[Source, list[_Body], list[Placed]]] = []
    for source in sources:
        body, examples = _without_examples(source)
        placed = [one._replace(source=source) for one in read(Source(source.name, body), grammar, LAYOUT)]
        texts.append((source, examples, placed))
    heads = [one for _, _, placed in texts for one in placed if one.parsed.noun == "pack" and one.parsed.head]
    head = _head(Pack(name), heads[0]) if heads else Pack(name)
    for other in heads[1:]:
        at, first = _head(head, other).span, head.span
        assert at is not None and first is not None
        slips.append(Slip("name-used-twice", at, thing="pack", found=head.name,
                          why="a pack has one head, and this is its second",
                          related=(Related(first, "the first"),)))  # fmt: skip
    for source, examples, placed in texts:
        for one in placed:
            slips += _slips(one)
        for one in placed:
            if one.parsed.noun == "rule" and one.parsed.head is not None:
                found = _examples(source, examples, placed, slips)
                rules.append(_rule(head.name, one, found, slips))
                examples = []
    seen: dict[str, Rule] = {}
    for rule in rules:
        if rule.slug in seen:
            related = Related(seen[rule.slug].span(), "the first rule of that name")
            slips.append(Slip("name-used-twice", rule.span(), thing=f"rule {rule.slug}", found=rule.slug,
                              why="the pack has a rule of that name", related=(related,)))  # fmt: skip
        seen.setdefault(rule.slug, rule)
    return head._replace(rules=tuple(seen.values()), slips=tuple(slips))


def _slips(placed: Placed) -> Iterator[Slip]:
    noun = placed.parsed.noun
    for trouble in placed.parsed.troubles:
        found = trouble.found if trouble.kind != "unknown-word" else f"`{trouble.found}`"
        # of a word like one that fits, that one is offered and nothing else
        why = f"{found} is not a word known here" if trouble.suggestion else trouble.told
        if trouble.kind == "unknown-word" and not trouble.suggestion:
            why = f"expected {trouble.expected}, not {found}"
        yield Slip(trouble.kind, placed.span(trouble.start, trouble.end), thing=noun or "pack", found=trouble.found,
                   why=why, hint=trouble.way_out if trouble.suggestion else "")  # fmt: skip


class _Body(NamedTuple):
    """Where an example's plan stands in the rule file."""

    head: int
    first_line: int
    last_line: int


_EXAMPLE_HEAD = re.compile(r"[^\s#\"(),]+")


def _without_examples(source: Source) -> tuple[str, list[_Body]]:
    """The text with the bodies of examples blank, of the same length, and where those bodies are."""
    kept: list[str] = []
    bodies: list[_Body] = []
    inside, guesses = False, Guesses()
    for number, line in enumerate(source.text.splitlines(keepends=True), 1):
        margin = bool(line.strip()) and line[0] not in " \t#"
        if margin:
            inside = _begins_an_example(line, guesses)
            if inside:
                bodies.append(_Body(number, number + 1, number))
        elif inside:
            bodies[-1] = bodies[-1]._replace(last_line=number)
            end = len(line) - len(line.rstrip("\r\n"))
            line = " " * (len(line) - end) + line[len(line) - end :]
        kept.append(line)
    return "".join(kept), bodies


def _begins_an_example(line: str, guesses: Guesses) -> bool:
    """Whether a line at the margin is the head of an example, be it misspelt: what stands below is no rule then."""
    word = _EXAMPLE_HEAD.match(line)
    if word is None or word[0] in LAYOUT.nouns:
        return word is not None and word[0] in EXAMPLES
    return word[0] not in LAYOUT.any_word and guesses.another() and near(word[0], LAYOUT.nouns) in EXAMPLES


_CARET = re.compile(r"^(\s*)(\^+)\s*(.*?)\s*$")
#: the words of a caret line without its carets
_NO_CARET = re.compile(r"^(\s+)((?:error|warning|note)(?:\s*,.*)?|measured\s.*\bwanted\s.*)\s*$")
#: an indent with a tab, before what is no comment
_TAB = re.compile(r" *\t\s*[^\s#]")


def _examples(source: Source, bodies: list[_Body], placed: list[Placed], slips: list[Slip]) -> tuple[Example, ...]:
    heads = {one.span(one.parsed.base, one.parsed.base).line: one for one in placed if one.parsed.noun in EXAMPLES}
    found: list[Example] = []
    for body in bodies:
        head = heads.get(body.head)
        if head is None or head.parsed.head is None:
            continue
        example = _example(source, body, head)
        if example.kind != "mended":
            found.append(example)
        elif found and found[-1].kind == "broken":
            found[-1] = found[-1]._replace(
                mended=example.text, mended_line=example.span.line, tabs=(*found[-1].tabs, *example.tabs)
            )
        else:
            slips.append(Slip("syntax", example.span, thing="mended", found="mended",
                              expected="`mended` below the `broken` plan it mends"))  # fmt: skip
    return tuple(found)


def _example(source: Source, body: _Body, head: Placed) -> Example:
    lines = [source.line(number) for number in range(body.first_line, body.last_line + 1)]
    # a comment at the margin speaks of the examples, and is no part of one
    lines = ["" if line.startswith("#") else line for line in lines]
    indents = [len(line) - len(line.lstrip(" ")) for line in lines if line.strip()]
    indent = min(indents, default=0)
    carets: list[Caret] = []
    kept: list[str] = []
    marked = 0
    for number, line in enumerate(lines, 1):
        line = line[indent:] if line.strip() else ""
        caret, bare = _CARET.match(line), _NO_CARET.match(line)
        if caret:
            carets.append(Caret(marked, len(caret[1]), len(caret[1]) + len(caret[2]), caret[3], number))
            line = ""
        elif bare and marked:
            carets.append(Caret(marked, len(bare[1]), len(bare[1]), bare[2], number))
            line = ""
        elif line.strip():
            marked = number
        kept.append(line)
    assert head.parsed.head is not None
    values = head.parsed.head.values
    today = next((value.value for value in values if value.kind == "date"), None)
    settings = tuple((value.value.limit, value.value.value) for value in values if isinstance(value.value, Setting))
    left = next((str(value.value) for value in values if value.kind == "text"), "")
    where = head.span(head.parsed.head.start, head.parsed.head.end)
    tabs = tuple(body.first_line + number for number, line in enumerate(lines) if _TAB.match(line))
    return Example(
        head.parsed.noun, "\n".join(kept) + "\n", tuple(carets), where, body.first_line, indent, today, settings,
        left=left, tabs=tabs,
    )  # fmt: skip


class _Assembly:
    """A rule's lines put together, in the order they were written."""

    def __init__(self, placed: Placed, slips: list[Slip]) -> None:
        self.placed = placed
        self.slips = slips
        self.limits: dict[str, Limit] = {}
        self.lists: dict[str, WordList] = {}
        self.each: list[Each] = []
        self.where: list[Written] = []
        self.needs: list[Written] = []
        self.measures: list[Measure] = []
        self.per: list[Written] = []
        self.reports: list[Report] = []
        self.also: list[Also] = []
        self.remedies: list[Remedy] = []
        self.once: dict[str, Written] = {}
        self.formerly: list[str] = []
        self.safety = False

    def take(self, statement: Statement) -> None:
        handler = getattr(self, "_" + statement.rule, None)
        if handler is None:
            self.once[statement.word] = statement.values[0]
        else:
            handler(statement)

    def told(self, kind: str, statement: Statement, why: str) -> None:
        span = self.placed.span(statement.start, statement.end)
        likely = near(statement.word, RULE_WORDS) if kind == "unknown-word" else ""
        hint = did_you_mean(likely)
        self.slips.append(Slip(kind, span, thing="rule", found=statement.word, why=why, hint=hint))

    def lacks(self, statement: Statement, above: str, line: str) -> None:
        """Tells that a line has nothing to stand below, unless what it belongs to is there and could not be read: that
        is told already."""
        if above not in self.placed.parsed.broken:
            self.told("syntax", statement, f"`{statement.word}` stands below a line `{above}`, and none is above it: "
                                           f"write one, such as `{line}`")  # fmt: skip

    @property
    def usual_report(self) -> str:
        """A `report` that the rule could have, in its own names."""
        if self.measures and self.limits:
            return f"report warning when {self.measures[0].name} < {next(iter(self.limits))}"
        return "report warning"

    def _limit(self, statement: Statement) -> None:
        name, value, *rest = statement.values
        bounds = next((one.value for one in rest if isinstance(one.value, Range)), None)
        evidence = next(str(one.value) for one in rest if one.kind == "word")
        source = next((str(one.value) for one in rest if one.kind == "text"), "")
        least = bounds.least.size if bounds else None
        largest = bounds.largest.size if bounds else None
        constant = value.value
        if bounds is not None and (why := _misfit(self._text(value), constant, bounds)):
            ranged = next(one for one in rest if one.value is bounds)
            at = ranged if bounds.least.kind == "number" != constant.kind else value
            span = self.placed.span(at.start, at.end)
            self.slips.append(Slip("bad-value", span, thing="rule", found=str(name.value), why=why))
        self.limits[str(name.value)] = Limit(
            str(name.value), constant.kind, constant.value, constant.unit, least, largest, evidence, source,
            self.placed.span(statement.start, statement.end),
        )  # fmt: skip

    def _text(self, part: Written) -> str:
        """A part of the rule as it is written."""
        return self.placed.span(part.start, part.end).text

    def _list(self, statement: Statement) -> None:
        words = [str(value.value) for value in statement.values if value.kind == "name"]
        evidence = next(str(value.value) for value in statement.values if value.value in EVIDENCE)
        source = next((str(value.value) for value in statement.values if value.kind == "text"), "")
        self.lists[words[0]] = WordList(
            tuple(words[1:]), evidence, source, self.placed.span(statement.start, statement.end)
        )

    def _each(self, statement: Statement) -> None:
        name, _, plural, *others = statement.values
        self.each.append(Each(str(name.value), plural, None))
        self.each += [other.value for other in others if isinstance(other.value, Each)]

    def _where(self, statement: Statement) -> None:
        self.where += conjuncts(statement.values[0])

    def _needs(self, statement: Statement) -> None:
        self.needs.append(statement.values[0])

    def _measure(self, statement: Statement) -> None:
        name, _, value = statement.values
        self.measures.append(Measure(str(name.value), value, self.placed.span(statement.start, statement.end)))

    def _per(self, statement: Statement) -> None:
        self.per += [value for value in statement.values if value.kind not in ("word",) and value.value != ","]

    def _report(self, statement: Statement) -> None:
        level = Level[str(statement.values[0].value)]
        when = next((value for value in statement.values if value.kind == "compare"), None)
        texts = [str(value.value) for value in statement.values if value.kind == "text"]
        say, many = (*texts, "", "")[:2]
        span = self.placed.span(statement.start, statement.end)
        self.reports.append(Report(level, when, say, many, span, span))

    def _say(self, statement: Statement) -> None:
        texts = [str(value.value) for value in statement.values if value.kind == "text"]
        if not self.reports:
            self.lacks(statement, "report", self.usual_report)
        elif texts:
            last = self.reports[-1]
            span = self.placed.span(statement.start, statement.end)
            many = texts[1] if len(texts) > 1 else last.many
            self.reports[-1] = last._replace(say=texts[0], many=many, words=span)

    def _many(self, statement: Statement) -> None:
        if not self.reports:
            self.lacks(statement, "report", self.usual_report)
        else:
            self.reports[-1] = self.reports[-1]._replace(many=str(statement.values[0].value))

    def _also(self, statement: Statement) -> None:
        thing, *what = statement.values
        self.also.append(Also(thing, str(what[0].value) if what else ""))

    def _safety(self, statement: Statement) -> None:
        self.safety = True

    def _formerly(self, statement: Statement) -> None:
        self.formerly.append(str(statement.values[0].value))

    def _mend(self, statement: Statement) -> None:
        self.remedies.append(
            Remedy(str(statement.values[0].value), (), self.placed.span(statement.start, statement.end))
        )

    def _action(self, statement: Statement) -> None:
        if not self.remedies:
            return self.lacks(statement, "mend", 'mend "what to do about it"')
        last = self.remedies[-1]
        # `to`, `along`, `clear of`: what is between the things
        values = tuple(one for one in statement.values if one.kind != "word" or statement.word not in ("turn", "move"))
        action = Action(statement.word, values, (), self.placed.span(statement.start, statement.end))
        self.remedies[-1] = last._replace(actions=(*last.actions, action))
        return None

    _set_property = _remove_property = _turn = _move = _split = _add = _action

    def _filled(self, statement: Statement) -> None:
        """A property of a block that a mend adds."""
        last = self.remedies[-1] if self.remedies else None
        if last is None or not last.actions or last.actions[-1].word != "add":
            word = statement.word
            why = f"expected a word of the rule language, or a property below `add`, not `{word}`"
            if near(word, RULE_WORDS):
                why = f"`{word}` is not a word known here"
            return self.told("unknown-word", statement, why)
        add = last.actions[-1]
        grown = add._replace(filled=(*add.filled, statement))
        self.remedies[-1] = last._replace(actions=(*last.actions[:-1], grown))
        return None


def _misfit(written: str, value: Constant, bounds: Range) -> str:
    """Why a limit does not fit its range; "" where it does."""
    least, largest = bounds.least, bounds.largest
    if value.kind == least.kind:
        inside = least.size - 1e-9 <= value.value <= largest.size + 1e-9
        size = show(value.value, value.kind, unit=least.unit if value.kind == "length" else "")
        other = f" ({size})" if value.unit != least.unit and value.kind == "length" else ""
        return "" if inside else f"the limit `{written}`{other} lies outside its own range `{bounds}`"
    if value.kind == "number":
        meant = Quantity(value.value, least.unit)
        return f"the limit `{written}` has no unit, and its range `{bounds}` has: write `{meant}`"
    if least.kind == "number":
        unit = value.unit or "%"
        meant_range = Range(Quantity(least.number, unit), Quantity(largest.number, unit))
        return f"the range `{bounds}` has no unit, and the limit `{written}` has: write `{meant_range}`"
    return f"the limit `{written}` and its range `{bounds}` measure different things: write both in one unit"


def _rule(pack: str, placed: Placed, examples: tuple[Example, ...], slips: list[Slip]) -> Rule:
    assembly = _Assembly(placed, slips)
    for statement in placed.parsed.statements:
        assembly.take(statement)
    head = placed.parsed.head
    assert head is not None
    once = assembly.once
    return Rule(
        slug=str(head.values[0].value),
        pack=pack,
        # what its lines say is in the rule; kept packs need not hold it twice
        placed=placed._replace(parsed=placed.parsed._replace(statements=())),
        title=str(once["title"].value) if "title" in once else "",
        limits=assembly.limits,
        lists=assembly.lists,
        each=tuple(assembly.each),
        where=tuple(assembly.where),
        needs=tuple(assembly.needs),
        measures=tuple(assembly.measures),
        per=tuple(assembly.per),
        reports=tuple(assembly.reports),
        mark=once.get("mark"),
        also=tuple(assembly.also),
        because=str(once["because"].value) if "because" in once else "",
        remedies=tuple(assembly.remedies),
        formerly=tuple(assembly.formerly),
        safety=assembly.safety,
        examples=examples,
    )


def _head(pack: Pack, placed: Placed) -> Pack:
    """What a pack says of itself and of the packs it builds on."""
    head = placed.parsed.head
    assert head is not None
    texts = {line.word: str(line.values[0].value) for line in placed.parsed.statements if line.values[0].kind == "text"}
    says: list[Saying] = []
    for line in placed.parsed.statements:
        span = placed.span(line.start, line.end)
        first = line.values[0]
        if line.word in ("builds-on", "takes", "leaves"):
            names = [value for value in line.values if value.kind == "name"]
            stretch = next((str(value.value) for value in line.values if value.kind == "text"), "")
            says += [
                Saying(line.word, str(name.value), None, None, placed.span(name.start, name.end), stretch)
                for name in names
            ]
        elif line.word == "set":
            says.append(Saying("set", str(first.value), line.values[1].value, None, span))
        elif line.word == "level":
            says.append(Saying("level", str(first.value), None, Level[str(line.values[1].value)], span))
    title = next((str(value.value) for value in head.values if value.kind == "text"), "")
    return pack._replace(
        name=str(head.values[0].value), title=title,
        version=texts.get("version", ""), author=texts.get("author", ""), licence=texts.get("licence", ""),
        requires=texts.get("requires", ""), about=texts.get("about", ""), says=tuple(says),
        span=placed.span(head.start, head.end),
    )  # fmt: skip


def placeholders(say: str) -> list[tuple[str, ...]]:
    """The references in braces of a rule's words."""
    return [tuple(found.split(".")) for found in re.findall(r"\{([a-z][a-z0-9.-]*)\}", say)]
