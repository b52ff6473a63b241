"""Files of rules while they are written: what a word of one is, and what may be written at a place."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from habitatlint.editor.completing import Offer, offers, versions
from habitatlint.editor.knowing import Known
from habitatlint.editor.outline import Entry
from habitatlint.language.blocks import BLOCKS
from habitatlint.language.plan import read_plan
from habitatlint.measures.vocabulary import Signature, Vocabulary
from habitatlint.outputs.sentences import shown
from habitatlint.reading.grammar import Grammar, listed
from habitatlint.rulebook.book import Rulebook, limit_fact
from habitatlint.rulebook.rules import EVIDENCE, EXAMPLES, Pack, Rule
from habitatlint.source import Source, Span

#: each word that a line of a rule may begin with: what it is
RULE_LINES: Mapping[str, str] = {
    "title": "the rule's name in words",
    "limit": "a number of the rule: its name, value, permitted range, evidence and source",
    "list": "a list of words: its name, the words, evidence and source",
    "each": "what is looked at: `each t in trees`, a pair with the distance that bounds it",
    "where": "what must be so of it; several lines must all be so",
    "needs": "what the plan must say of it; where it does not, the rule is not judged there, and says so",
    "measure": "a figure, worked out by a measure: `measure gap = distance(t.fallen, w)`",
    "per": "findings that are told once, with the worst of them",
    "report": "at which level and when: the first of several that is so counts",
    "say": "the finding's words; figures and names stand in braces",
    "many": "the finding's words where several are told at once",
    "mark": "where in the plan the finding points",
    "also": "another place of the plan that it speaks of, and what stands there",
    "because": "why, in a sentence",
    "mend": "a way to mend it, in words; lines below it are what it does, none are advice",
    "set": "a mend: gives a property a value; in a pack, changes a limit of a rule it builds on",
    "remove": "a mend: takes a property away",
    "turn": "a mend: turns a fall",
    "move": "a mend: moves a thing along its path, clear of something",
    "split": "a mend: splits a row, so that only the trees at fault change",
    "add": "a mend: adds a block, its properties below",
    "formerly": "a name the rule had before",
    "safety": "it is about people's safety: told on the work sheet though waived, and no mend of it changes a cut",
}
PACK_LINES: Mapping[str, str] = {
    "version": "the pack's version, which pins its rules",
    "author": "who wrote it",
    "licence": "on what terms it may be used",
    "requires": "the version of habitatlint it needs",
    "builds-on": "a pack whose rules it changes",
    "takes": "rules that it takes of those it builds on, and no others",
    "leaves": "rules that it leaves of those it builds on",
    "set": "changes a limit of a rule it builds on",
    "level": "changes the level of a rule it builds on",
    "about": "what the pack is for",
}
HEADS: Mapping[str, str] = {
    "rule": "a rule, its lines below",
    "pack": "what the pack is called, and what it builds on",
    "broken": "a plan that breaks the rule above; carets say where and what is measured, `left` why no mend clears it",
    "kept": "a plan that keeps the rule above",
    "mended": "the blocks of the broken plan above that its first mend changes",
}
_EACH = re.compile(r"([a-z][a-z0-9-]*) in ([a-z][a-z0-9.-]*)")
_DOTTED = re.compile(r"[a-z][a-z0-9./-]*")
_AT_END = re.compile(r"[a-z0-9./-]*$")


class _Here(NamedTuple):
    """The block of a rule file in which a place is: its noun, and its text from its first line on."""

    noun: str
    start: int
    text: str


def _here(text: str, offset: int) -> _Here:
    """The block that holds the line of a place."""
    end = text.find("\n", offset)
    above = text[: end if end >= 0 else len(text)]
    heads = list(re.finditer(r"^([a-z]+)\b", above, re.MULTILINE))
    if not heads:
        return _Here("", 0, "")
    after = re.compile(r"^[a-z]", re.MULTILINE).search(text, heads[-1].end())
    return _Here(heads[-1][1], heads[-1].start(), text[heads[-1].start() : after.start() if after else len(text)])


def _variables(here: _Here, vocabulary: Vocabulary) -> dict[str, str]:
    """Variables of a rule and the plurals they stand for; a field that holds things gives their plural."""
    found: dict[str, str] = {"plan": "plans"}
    for name, plural in _EACH.findall(here.text):
        first, *fields = plural.split(".")
        kind = found.get(first, first)
        for field in fields:
            kind = vocabulary.fields.get(kind, {}).get(field, "").partition(":")[2]
        found.setdefault(name, kind)
    return found


# -- what a word is --------------------------------------------------------------------------------------------


def known_at(source: Source, offset: int, vocabulary: Vocabulary, book: Rulebook) -> Known | None:
    """What is known of the word at a place of a rule file; None where there is nothing to say."""
    text, here = source.text, _here(source.text, offset)
    line = text.rfind("\n", 0, offset) + 1
    word = next((one for one in _DOTTED.finditer(text, line) if one.start() <= offset <= one.end()), None)
    if here.noun in EXAMPLES and offset > here.start + len(here.text.partition("\n")[0]):
        return None
    end = text.find("\n", line)
    if word is None or word.start() > (end if end >= 0 else len(text)):
        return None
    first = not text[line : word.start()].strip()
    said = _said(word[0], first, here, vocabulary)
    return Known(said, Span(source, word.start(), word.end())) if said else None


def _said(word: str, first: bool, here: _Here, vocabulary: Vocabulary) -> str:
    if first:
        lines = {**(PACK_LINES if here.noun == "pack" else RULE_LINES), **HEADS}
        return f"**{word}**: {lines[word]}" if word in lines else ""
    if word in vocabulary.measures:
        return of_measure(vocabulary.measures[word])
    if word in vocabulary.fields:
        return _of_plural(word, vocabulary)
    name, *fields = word.split(".")
    variables = _variables(here, vocabulary)
    if name not in variables:
        return ""
    kind = variables[name]
    for field in fields:
        kind = vocabulary.fields.get(kind.removeprefix("thing:"), {}).get(field, "")
    if not fields:
        return _of_plural(kind, vocabulary)
    shown = kind.replace(":", " of ").replace("things of", "several of").replace("thing of", "one of")
    return f"**{word}**: {shown}" if kind else ""


def of_measure(one: Signature) -> str:
    """A measure: what it takes, what it gives and in which unit, and how it is worked out."""
    gives = listed([f"`{word}`" for word in sorted(one.words)], "or") if one.words else f"a {_unit(one.gives)}"
    parts = "".join(f"\n- `{name}`: a {_unit(kind)}" for name, kind in sorted(one.parts.items()))
    tail = f"\n\nIts parts:{parts}" if parts else ""
    return f"**{one.name}**({', '.join(one.takes)}): {gives}\n\n{one.says}{tail}"


def _unit(kind: str) -> str:
    """A kind of quantity with how a limit of it is written."""
    return f"{kind} ({_UNITS[kind]})" if kind in _UNITS else kind.replace("thing:", "one of ")


_UNITS = {
    "length": "`20yd`, `60ft`, `18m`", "area": "`2ac`, `1ha`", "share": "`25%`", "angle": "`30deg`",
    "bearing": "`135deg`", "duration": "`2 hours`, `60 days`", "speed": "`7mph`", "basal-area": "`60 sqft/ac`",
    "density": "`50 per acre`", "volume": "`12 floz`", "dose": "`64 floz/ac`", "count": "`3`", "number": "`0.4`",
}  # fmt: skip


def _of_plural(name: str, vocabulary: Vocabulary) -> str:
    fields = vocabulary.fields.get(name, {})
    words = sorted(field for field, kind in fields.items() if kind == "truth")
    others = sorted(field for field, kind in fields.items() if kind != "truth")
    lines = [f"**{name}**: {', '.join(f'`{one}`' for one in others)}"] if others else []
    if words:
        lines.append(f"`is` {listed([f'`{one}`' for one in words], 'or')}")
    return "\n\n".join(lines)


# -- what may be written ---------------------------------------------------------------------------------------


def rule_offers(
    source: Source, offset: int, vocabulary: Vocabulary, grammars: tuple[Grammar, Grammar], book: Rulebook
) -> list[Offer]:
    """What may be written at a place of a rule file; in an example what a plan may say there. `grammars` are those of
    rules and of plans."""
    text, here = source.text, _here(source.text, offset)
    start = text.rfind("\n", 0, offset) + 1
    line = text[start:offset]
    partial = _AT_END.search(line)
    assert partial
    before = line[: partial.start()]
    if line.count('"') % 2 or "#" in line:
        return []
    if not line[:1].isspace() and not before.strip():
        found: Iterator[Offer] = (Offer(word, "noun", says) for word, says in HEADS.items())
    elif here.noun in EXAMPLES and line[:1].isspace():
        return _example_offers(source, offset, here, grammars[1], book)
    elif not before.strip():
        lines = PACK_LINES if here.noun == "pack" else RULE_LINES
        found = (Offer(word, "property", says) for word, says in lines.items())
    elif here.noun == "pack":
        found = _of_pack(before.split(), here, grammars[0], book)
    else:
        found = _values(before, partial[0], here, vocabulary, grammars[0])
    unique = {offer.text: offer for offer in found}
    return sorted(unique.values(), key=lambda offer: (offer.rank, offer.text))


def _values(before: str, partial: str, here: _Here, vocabulary: Vocabulary, grammar: Grammar) -> Iterator[Offer]:
    variables, words = _variables(here, vocabulary), before.split()
    name, dot, _ = partial.rpartition(".")
    if dot:
        first, *fields = name.split(".")
        kind = variables.get(first, "")
        for field in fields:
            kind = vocabulary.fields.get(kind, {}).get(field, "").partition(":")[2]
        yield from (Offer(f"{name}.{field}", "property", of) for field, of in vocabulary.fields.get(kind, {}).items())
        return
    if words[-1] == "in":
        yield from (Offer(plural, "name", ", ".join(sorted(of))) for plural, of in vocabulary.fields.items())
        return
    if words[0] in (
        "set",
        "remove",
        "turn",
        "move",
        "split",
        "mark",
        "also",
        "needs",
        "per",
        "where",
        "measure",
        "report",
    ):
        yield from (Offer(name, "name", plural, 3) for name, plural in variables.items() if plural)
    if words[0] == "add" and len(words) == 1:
        yield from (Offer(block.noun, "noun", block.says) for block in BLOCKS)
        return
    if words[0] in ("limit", "list") and len(words) > 2:
        yield from (Offer(word, "word", "on whose word the limit stands") for word in EVIDENCE)
    if words[0] in ("where", "measure", "report"):
        yield from (Offer(name, "function", of_measure(one), 4) for name, one in vocabulary.measures.items())
        yield from (Offer(limit, "name", "a limit of this rule", 3) for limit in _limits(here))
    if words[-1] in ("is", "or", "not") and words[0] in ("where", "measure", "report"):
        yield from _tests(words, variables, vocabulary)
    yield from (Offer(word, "word", "", 6) for word in grammar.words_after(f"rule x\n  {before.strip()}"))


def _of_pack(words: list[str], here: _Here, grammar: Grammar, book: Rulebook) -> Iterator[Offer]:
    """What a pack's line may say behind its first words: packs in force, and their rules and limits; of those that it
    builds on first."""
    word, *said = words
    below = set(re.findall(r"^\s+builds-on ([a-z][a-z0-9-]*)", here.text, re.MULTILINE))
    rules = [(rule, 3 if rule.pack in below else 5) for pack in book.packs for rule in pack.rules]
    if word == "builds-on":
        packs = {pack.name: pack for pack in book.packs}
        if not said:
            yield from (Offer(pack.name, "pack", pack.title) for pack in packs.values())
        elif len(said) == 1 and said[0] in packs:
            yield from versions(packs[said[0]].version)
    elif word in ("takes", "leaves"):
        yield from (
            Offer(rule.slug, "rule", rule.title) for rule, _ in rules if rule.pack in below and rule.slug not in said
        )
    elif word == "level" and not said:
        yield from (Offer(rule.slug, "rule", rule.title, rank) for rule, rank in rules)
    elif word == "set" and not said:
        for rule, rank in rules:
            for limit in rule.limits.values():
                yield Offer(f"{rule.slug}.{limit.name}", "rule", f"{rule.title}: {shown(limit_fact(limit))}", rank)
    elif said:
        yield from (Offer(one, "word", "", 6) for one in grammar.words_after(f"pack x\n  {' '.join(words)}"))


def _limits(here: _Here) -> list[str]:
    return re.findall(r"^\s+(?:limit|list) ([a-z][a-z0-9-]*)", here.text, re.MULTILINE)


def _tests(words: list[str], variables: Mapping[str, str], vocabulary: Vocabulary) -> Iterator[Offer]:
    """What may stand after `is`: what a thing may be, or what a measure may answer."""
    subject = words[max(index for index, word in enumerate(words) if word == "is") - 1] if "is" in words else ""
    of = vocabulary.fields.get(variables.get(subject.strip("("), ""), {})
    yield from (Offer(field, "word", "", 1) for field, kind in of.items() if kind == "truth")
    called = re.search(r"([a-z][a-z-]*)\([^()]*\)$", " ".join(words).rpartition(" is")[0])
    if called and called[1] in vocabulary.measures:
        yield from (Offer(word, "word", "", 1) for word in sorted(vocabulary.measures[called[1]].words))
    yield Offer("missing", "word", "the plan does not say it", 5)


def _example_offers(source: Source, offset: int, here: _Here, grammar: Grammar, book: Rulebook) -> list[Offer]:
    """What a plan may say at this place of an example, whose text is indented."""
    body = here.start + len(here.text.partition("\n")[0]) + 1
    lines = source.text[body : here.start + len(here.text)].split("\n")
    indent = min((len(line) - len(line.lstrip(" ")) for line in lines if line.strip()), default=2)
    kept: list[str] = []
    at, mapped = body, 0
    for line in lines:
        plain = line[indent:] if not re.match(r"\s*\^+", line) else ""
        if at <= offset:
            mapped = sum(len(one) + 1 for one in kept) + max(0, min(offset - at - indent, len(plain)))
        kept.append(plain)
        at += len(line) + 1
    text = "\n".join(kept)
    plan = read_plan(Source("example", text), grammar, fragment=True)
    return offers(plan, "example", text, mapped, grammar, book)


# -- the outline -----------------------------------------------------------------------------------------------


def entries(source: Source, pack: Pack) -> list[Entry]:
    """The rules of a file with their examples."""
    return [_entry(rule) for rule in pack.rules if rule.placed.source.name == source.name]


def _entry(rule: Rule) -> Entry:
    source, head = rule.placed.source, rule.span()
    below = tuple(
        Entry(example.kind, example.text.strip().partition("\n")[0], "example", example.span, example.span)
        for example in rule.examples
    )
    end = max([rule.placed.offset + rule.placed.length, *(one.span.end for one in rule.examples)])
    text = source.text[head.start : end].rstrip()
    return Entry(f"rule {rule.slug}", rule.title, "rule", Span(source, head.start, head.start + len(text)), head, below)


def block_lines(source: Source) -> list[tuple[int, int]]:
    """First and last line, from 0, of every block of a rule file."""
    lines = source.text.split("\n")
    heads = [number for number, line in enumerate(lines) if line[:1].isalpha()]
    found = []
    for head, after in zip(heads, [*heads[1:], len(lines)], strict=True):
        last = after - 1
        while last > head and (not lines[last].strip() or lines[last].startswith("#")):
            last -= 1
        found.append((head, last))
    return found
