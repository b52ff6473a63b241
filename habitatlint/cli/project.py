"""What a project asks, joined with what ships: a review and a policy for each plan, by the settings it stands under."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from os.path import isdir, join

from habitatlint import files
from habitatlint.check import asked, of_a_pack
from habitatlint.cli.assembly import pack_texts_reader, review, with_measures
from habitatlint.findings import Level, Policy, Slip
from habitatlint.language.plan import IncludeTrouble
from habitatlint.measures.vocabulary import Vocabulary
from habitatlint.outputs.in_force import InForce, Said
from habitatlint.outputs.sentences import clean
from habitatlint.review import Review
from habitatlint.rulebook.book import below, beneath
from habitatlint.rulebook.rules import Pack
from habitatlint.settings import Settings, SettingsTrouble, as_lines, place_of, settings_for
from habitatlint.settings import forget as forget_settings
from habitatlint.source import Source


@dataclass(frozen=True)
class Project:
    """The settings that plans stand under, and the review with the packs that they name."""

    settings: Settings
    review: Review
    _policy: Policy

    def policy(self, today: date | None = None, failing: Level | None = None) -> Policy:
        """How plans are judged: by what the command line says, else by the settings, else as is usual."""
        day = today or self.settings.today or date.today()
        level = failing if failing is not None else self.settings.failing
        return self._policy._replace(today=day, failing=Level.error if level is None else level)

    @property
    def in_force(self) -> InForce:
        """The rules that ship and those of the settings' packs, with what the settings say of them and on which
        lines."""
        settings, book, policy = self.settings, self.review.rulebook, self._policy
        places: dict[str, str] = {}
        for key in settings.levels:
            if (rule := book.find(key)) is not None:
                places[rule.name] = place_of(settings.path, key)
        for key in settings.limits:
            slug, _, limit = key.rpartition(".")
            if (rule := book.find(slug)) is not None:
                places[f"{rule.name}.{limit}"] = place_of(settings.path, key)
        return InForce(book, Said(policy.levels, policy.limits, places))


def project_of(plan: str) -> Project:
    """The project of a plan, by its path. Raises SettingsTrouble for settings that cannot be read, and for what they
    name that there is not."""
    settings, pins = settings_for(plan), files.pins_for(plan)
    key = (settings.path, pins)
    if key not in _projects:
        made = _made(settings)
        if pins:
            held = replace(made.review, rulebook=made.review.rulebook.pinned(files.read_pins(pins)))
            made = replace(made, review=held)
        _projects[key] = made
    return _projects[key]


_projects: dict[tuple[str, str], Project] = {}


def forget() -> None:
    """Forgets projects, for those that run on while settings change."""
    forget_settings()
    _projects.clear()


@cache
def _shipped() -> Review:
    return review()


def without_settings() -> Project:
    """What is usual."""
    return Project(Settings(), _shipped(), Policy(date.min))


def pack_among_others(path: str, beside: Iterable[str]) -> tuple[Pack, Review]:
    """A pack by its path, and what it is looked at with: measures and packs of the settings it stands under, and others
    by paths or names from here, which go before those.

    It stands in the place of the pack of its name that the settings may name, and beneath those that build on it or
    change it. Pins, limits and levels are of a project's plans, and no part of it. Raises FileTrouble; for packs of the
    settings only where it builds on them."""
    name, sources = files.pack_texts(path)
    settings = settings_for(join(path, "plan") if isdir(path) else path)
    checker = _with_measures(settings)
    pack = pack_texts_reader(checker)(name, sources)
    given = _given(checker, beside)
    first = {other.name for other in given.values()}
    needed = {saying.name for saying in pack.said("builds-on")}
    needed -= {other.name for other in (*checker.rulebook.packs, *given.values(), pack)}
    found: list[Pack] = []
    absent: SettingsTrouble | None = None
    twice: dict[str, SettingsTrouble] = {}
    for named in settings.packs:
        try:
            other = checker.find_pack(named, Source(settings.shown, ""))
        except IncludeTrouble as trouble:
            absent = absent or _of_a_pack(settings, named, str(trouble))
            continue
        if other.name in needed and other.slips:
            raise _of_a_slip(other.slips[0])
        if other.name in (pack.name, *first):
            continue
        if why := checker.rulebook.with_packs(found).in_the_way(other):
            twice[other.name] = _of_a_pack(settings, named, why)
        else:
            found.append(other)
    if absent is not None and not needed <= {other.name for other in found}:
        raise absent
    others = (*checker.rulebook.packs, *found, *given.values())
    under = beneath(others, pack)
    for name in under:
        if name in twice:
            raise twice[name]
    # what it stands on stays, though that stood on it too: the look tells of a circle, and of another pack of its name
    kept = {*under, pack.name, *(other.name for other in below((*others, pack), pack.name))}
    for named, other in given.items():
        if other.name not in kept:
            raise files.FileTrouble(
                f"{clean(named)}: builds on {pack.name} or changes a rule of it, so that {pack.name} is looked at "
                f"without it; leave it out here, or look at {other.name} itself, with {pack.name} beside it"
            )
    held = [other for other in (*found, *given.values()) if other.name in kept]
    return pack, replace(checker, rulebook=checker.rulebook.with_packs(held))


def _given(checker: Review, names: Iterable[str]) -> dict[str, Pack]:
    """Packs by paths or names from here, by these."""
    packs: dict[str, Pack] = {}
    for name in names:
        try:
            pack = checker.find_pack(name, Source("here", ""))
        except IncludeTrouble as trouble:
            raise files.FileTrouble(f"{clean(name)}: {trouble}") from None
        for slip in pack.slips:
            told = of_a_pack(slip)
            raise files.FileTrouble(clean(f"{slip.span.source.name}:{slip.span.line}: {told.why}{told.hint}"))
        if why := checker.rulebook.with_packs(packs.values()).in_the_way(pack):
            raise files.FileTrouble(f"{clean(name)}: {clean(why)}")
        packs[name] = pack
    return packs


def measures_for(plan: str) -> Vocabulary:
    """What rules may measure where a plan stands, by its path: what ships, and what its settings bring."""
    return _with_measures(settings_for(plan)).vocabulary


def _with_measures(settings: Settings) -> Review:
    """What ships, with the measures that settings name."""
    try:
        return with_measures(_shipped(), settings.measures)
    except files.FileTrouble as trouble:
        raise SettingsTrouble(f"{place_of(settings.path, 'measures')}: {trouble}") from None


def _made(settings: Settings) -> Project:
    if not settings.path:
        return without_settings()
    checker = _with_measures(settings)
    packs: list[Pack] = []
    for name in settings.packs:
        try:
            pack = checker.find_pack(name, Source(settings.shown, ""))
        except IncludeTrouble as trouble:
            raise _of_a_pack(settings, name, str(trouble)) from None
        if why := checker.rulebook.with_packs(packs).in_the_way(pack):
            raise _of_a_pack(settings, name, why)
        packs.append(pack)
    book = checker.rulebook.with_packs(packs)
    for slip in (slip for pack in packs for slip in (*pack.slips, *book.faults(pack))):
        raise _of_a_slip(slip)
    keyed = list(as_lines(settings))
    said = asked(Source(settings.shown, "".join(f"{line}\n" for _, line in keyed)), checker.plan_grammar, book)
    for slip in said.slips:
        key, _ = keyed[slip.span.line - 1]
        raise SettingsTrouble(f"{place_of(settings.path, key.partition('.')[2])}: `{key}`: {_words(slip)}")
    # blocks read are read alike whatever the rules
    return Project(settings, replace(checker, rulebook=book), Policy(date.min, said.levels, said.limits))


def _of_a_pack(settings: Settings, name: str, why: str) -> SettingsTrouble:
    return SettingsTrouble(f"{place_of(settings.path, 'packs')}: pack `{clean(name)}`: {clean(why)}")


def _of_a_slip(slip: Slip) -> SettingsTrouble:
    return SettingsTrouble(f"{slip.span.source.name}:{slip.span.line}: {_words(slip)}")


def _words(slip: Slip) -> str:
    """A slip in one line; what is out of a range is told with the range. What a name is expected to be its reason says
    already."""
    why = slip.why or f"`{slip.found}` is not known here"
    expected = "" if slip.why and slip.kind == "unknown-name" else slip.expected
    return clean(f"{why}{f': {expected}' if expected else ''}{slip.hint}")
