"""What may be written at a place of a plan: the words that the grammar lets stand there, and the names that fit."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import NamedTuple

from habitatlint.editor.names import block_at
from habitatlint.ground.curves import KNOWN
from habitatlint.language.blocks import BLOCKS, BY_NOUN, PLACED, SINGLES, Block, Single
from habitatlint.language.plan import LAYOUT, PlanText
from habitatlint.language.properties import Property
from habitatlint.language.reference import SINGLE_LINES, written
from habitatlint.reading.grammar import Grammar
from habitatlint.reading.values import WINDS
from habitatlint.rulebook.book import Rulebook
from habitatlint.rulebook.versions import is_version


class Offer(NamedTuple):
    """What may be written: the text, what kind of thing it is, and what is said of it; lower `rank` stands first."""

    text: str
    kind: str
    says: str = ""
    rank: int = 5


class Packs(NamedTuple):
    """Packs that a plan may take in: paths from its folder, names of those that are installed, and the version of one
    by either, "" where it has none or there is no such."""

    paths: Iterable[str] = ()
    installed: Iterable[str] = ()
    version_of: Callable[[str], str] = lambda name: ""


#: ways along which something may lie, and what stations may be on
_WAYS, _STATIONS = ("path", "drain"), ("path", "drain", "row", "planting")
#: word before a name -> the blocks that may stand there, where the property alone does not say it
_AFTER: Mapping[str, Iterable[str]] = {
    "along": _WAYS, "against": _WAYS, "beside": _WAYS, "toward": PLACED, "around": PLACED, "off": ("food",),
    "by": ("crew",),
}  # fmt: skip
#: property -> what makes a thing of the right kind the likelier one
_LIKELIER: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "reach": ("use", ("entry",)),
    "leave": ("use", ("exit", "entry")),
}
#: uses of a path that nobody walks to a stand on
_NOT_WALKED = ("travel", "corridor")
_WORD = re.compile(r"[^\s\"(),]*$")
#: the line of a pack up to where its path, its name or its version stands, within quotes or before them
_USE = re.compile(r"""use\s+pack\s+(?:(")([^"]*)|[^\s"]*)""")
_VERSION = re.compile(r"""use\s+pack\s+("[^"]+"|[^\s"]+)\s+version\s+("?)[^\s"]*""")


def offers(
    plan: PlanText, path: str, text: str, offset: int, grammar: Grammar, book: Rulebook,
    packs: Callable[[], Packs] = Packs,
) -> list[Offer]:  # fmt: skip
    """What may be written at a place, in the order in which it is likely."""
    start = text.rfind("\n", 0, offset) + 1
    line = text[start:offset]
    closed = text.startswith('"', offset)
    if use := _USE.fullmatch(line):
        # what is offered takes the place of the last piece of what is written: a path may have blanks
        return _sorted(_packs(packs(), Quotes(bool(use[1]), closed), _WORD.sub("", use[2] or "")))
    if version := _VERSION.fullmatch(line):
        return _sorted(versions(packs().version_of(version[1].strip('"')), Quotes(bool(version[2]), closed)))
    if _in_comment_or_text(line):
        return []
    partial = _WORD.search(line)
    assert partial
    before = line[: partial.start()]
    if not before.strip():
        block = _block_above(plan, path, start)
        found = _properties(block, grammar) if before and block is not None else _nouns()
    elif not line[:1].isspace():
        found = _of_single(plan, before.split(), grammar, book)
    else:
        block = _block_above(plan, path, start)
        found = _values(plan, block, before, grammar) if block is not None else iter(())
    return _sorted(found)


def _sorted(found: Iterable[Offer]) -> list[Offer]:
    """Offers in the order in which they are likely, each text once."""
    unique = {offer.text: offer for offer in sorted(found, key=lambda offer: offer.rank, reverse=True)}
    return sorted(unique.values(), key=lambda offer: (offer.rank, offer.text))


def _in_comment_or_text(line: str) -> bool:
    quoted = False
    for number, letter in enumerate(line):
        if letter == '"' and line[number - 1 : number] != "\\":
            quoted = not quoted
        elif letter == "#" and not quoted:
            return True
    return quoted


def _block_above(plan: PlanText, path: str, start: int) -> Block | None:
    """The block that a line beginning at `start` belongs to."""
    block = block_at(plan, path, start)
    if block is not None and block.placed.offset == start:  # a block begins here: the one above goes on to it
        above = [one for one in plan.blocks if one.placed.source.name == path and one.placed.offset < start]
        return above[-1] if above else None
    return block


def _nouns() -> Iterator[Offer]:
    for block in BLOCKS:
        yield Offer(block.noun, "noun", block.says)
    for line, says in SINGLE_LINES:
        yield Offer(line.split()[0], "noun", f"{says}: {line}", 6)


def _properties(block: Block, grammar: Grammar) -> Iterator[Offer]:
    """Properties that the block may still be given; those it must have first."""
    kind = type(block)
    if issubclass(kind, Single):
        return
    needed = {word for words in kind.must for word in words}
    for word, prop in kind.properties.items():
        if prop.repeats or not block.has(word):
            rank = 1 if prop.required and not block.has(word) else 3 if word in needed else 5
            yield Offer(word, "property", f"{prop.says}\n\n{written(kind, prop, grammar)}", rank)


def _values(plan: PlanText, block: Block, before: str, grammar: Grammar) -> Iterator[Offer]:
    """What may stand on a property's line behind what is written of it."""
    words = before.split()
    word, last = words[0], words[-1]
    prop = block.properties.get(word)
    if prop is None:
        return
    head = LAYOUT.heads.get(block.noun, block.noun)
    for choice in grammar.words_after(f"{head}\n  {before.strip()}"):
        if choice not in block.properties or choice in _choices(prop, last):
            yield Offer(choice, "word", prop.says, 4)
    yield from _names(plan, block, prop, words)
    if (
        prop.takes in ("bearing", "bearings", "fall")
        or word in ("toward", "lean", "falls")
        or (word, block.noun) == ("from", "winds")
    ):
        taken = words[1:] if prop.takes == "bearings" else ()
        if len(words) == 1 or prop.takes == "bearings":
            yield from (Offer(wind, "value", "a bearing", 6) for wind in WINDS if wind not in taken)


def _choices(prop: Property[object], last: str) -> tuple[str, ...]:
    """Words of values that are called as a property of the block is."""
    if prop.takes in ("word", "words"):
        return tuple(LAYOUT.any_word)
    if prop.takes in ("line", "outline"):
        return ("from", "to", "left", "right")
    return ("from", "by", "width", "at", "to", "done") if last != prop.word or prop.takes in ("fall", "special") else ()


def _names(plan: PlanText, block: Block, prop: Property[object], words: list[str]) -> Iterator[Offer]:
    word, last = words[0], words[-1]
    if word == "species" or word in ("keep", "controls"):
        yield from (Offer(name, "value", "a kind of tree") for name in KNOWN if name not in words)
        return
    if (last in _AFTER and last != word) or (last == "toward" and word == "toward"):
        yield from _things(plan, block, _AFTER[last], words)
    elif last == "from" and words[-2:-1] == ["away"]:
        yield from _things(plan, block, PLACED, words)
    elif last == "by" and block.noun == "work":
        yield from _things(plan, block, ("crew",), words)
    elif prop.of and (len(words) == 1 or prop.takes == "names"):
        yield from _things(plan, block, prop.of, words)
    elif block.noun == "tree" and word == "of" and len(words) == 1:
        yield from _things(plan, block, ("row",), words)
    elif prop.takes in ("line", "outline", "place", "places") and (len(words) == 1 or last == "from"):
        yield from (offer._replace(rank=7) for offer in _things(plan, block, _STATIONS, words))


def _things(plan: PlanText, block: Block, nouns: Iterable[str], words: list[str]) -> Iterator[Offer]:
    """Names of blocks of some kinds, but the block's own and those on the line already."""
    wanted = frozenset(nouns)
    likelier = _LIKELIER.get(words[0])
    for name, there in plan.names.items():
        if there.noun not in wanted or there is block or name in words:
            continue
        rank = 2
        if likelier is not None:
            use = plan.word(there, likelier[0])
            if use in _NOT_WALKED:
                continue
            rank = 1 if use in likelier[1] else 3
        title = f" {there.title}" if there.title else ""
        yield Offer(name, "name", f"{there.noun}{title}", rank)


class Quotes(NamedTuple):
    """Quotes that stand about the place already: one before it, and one right behind."""

    opened: bool = False
    closed: bool = False

    def around(self, text: str) -> str:
        """A text with those that are missing."""
        return f"{'' if self.opened else _QUOTE}{text}{'' if self.opened and self.closed else _QUOTE}"


_QUOTE = '"'


def _packs(packs: Packs, quotes: Quotes, before: str = "") -> Iterator[Offer]:
    """Packs beside the plan by their paths, in quotes, of those that begin with what is written `before` the rest; and
    installed ones by their names, without."""
    for path in packs.paths:
        if path.startswith(before):
            yield Offer(quotes.around(path.removeprefix(before)), "pack", "a pack beside this plan")
    if not quotes.opened:
        yield from (Offer(name, "pack", "an installed pack", 6) for name in packs.installed)


def versions(version: str, quotes: Quotes = Quotes()) -> Iterator[Offer]:
    """Ways to ask for a pack that has a version: any that begins as it does, that or newer, it alone."""
    if is_version(version):
        short = ".".join(version.split(".")[:2])
        yield Offer(quotes.around(short), "value", f"any {short}", 1)
        yield Offer(quotes.around(f"{short}.."), "value", f"{short} or newer", 2)
        yield Offer(quotes.around(version), "value", f"{version} alone", 3)


def _of_single(plan: PlanText, words: list[str], grammar: Grammar, book: Rulebook) -> Iterator[Offer]:
    """What may stand behind the first words of a line at the margin: rules, limits, levels, names."""
    noun, last = words[0], words[-1]
    if noun not in BY_NOUN or BY_NOUN[noun] not in SINGLES:
        return
    if len(words) == 1 and noun in ("level", "waive"):
        yield from (Offer(rule.slug, "rule", rule.title) for rule in book.rules)
    elif len(words) == 1 and noun == "set":
        for rule in book.rules:
            for limit in rule.limits.values():
                yield Offer(f"{rule.slug}.{limit.name}", "rule", rule.title)
    elif noun == "waive" and last in ("on", "and"):
        yield from (Offer(name, "name", there.label) for name, there in plan.names.items() if name not in words)
    else:
        yield from (Offer(word, "word") for word in grammar.words_after(" ".join(words)))
