"""What was judged before is not judged again: verdicts kept by all that they hang on.

A verdict hangs on the plan's name and text, the settings and pins it stands under with the packs that they name, the
day, this program, and on what the plan asked for while it was judged: files it includes, packs it uses. The first are
the key; the last are kept with the verdict, and asked again before it is believed.
"""

from __future__ import annotations

import hashlib
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from habitatlint import files
from habitatlint.settings import Settings, settings_for
from habitatlint.source import IncludeTrouble, Source
from habitatlint.verdict import Verdict, unpacked

if TYPE_CHECKING:  # what is remembered takes no rulebook
    from habitatlint.review import ReadPack
    from habitatlint.rulebook.rules import Pack

#: most bytes of verdicts that are kept
MOST_KEPT = 64 * 1024 * 1024


class Ask(NamedTuple):
    """What a plan asked for: an "include" or a "pack", as `asker`, a text by its name, names it; and what it was given,
    as a hash."""

    kind: str
    path: str
    asker: str
    given: str


class Judged(NamedTuple):
    """A plan's verdict as bytes, and what it asked for."""

    verdict: bytes
    asks: tuple[Ask, ...]


class Library:
    """Files and packs for one plan, looked up on disk; hears what it asks for."""

    def __init__(self, read: ReadPack) -> None:
        self._read = read
        self._asks: dict[Ask, None] = {}

    @property
    def asks(self) -> tuple[Ask, ...]:
        return tuple(self._asks)

    def find(self, path: str, source: Source) -> Source:
        try:
            found = files.find_beside(path, source)
        except IncludeTrouble as trouble:
            self._hear("include", path, source, str(trouble))
            raise
        self._hear("include", path, source, "", found)
        return found

    def find_pack(self, path: str, source: Source) -> Pack:
        try:
            name, found = files.find_pack_texts(path, source)
        except IncludeTrouble as trouble:
            self._hear("pack", path, source, str(trouble))
            raise
        self._hear("pack", path, source, name, *found)
        return self._read(name, found)

    def _hear(self, kind: str, path: str, source: Source, said: str, *found: Source) -> None:
        # asked twice and given another thing the second time, both stand here, and are never found together again
        self._asks[Ask(kind, path, source.name, _hash(said, *found))] = None


def _hash(said: str, *found: Source) -> str:
    return _digest((said, [(one.name, one.text) for one in found]))


def _digest(thing: object) -> str:
    return hashlib.sha256(repr(thing).encode("utf-8", "surrogateescape")).hexdigest()


class Memory:
    """Verdicts from one run to the next, in the user's own folder."""

    def __init__(self) -> None:
        self._shelf = files.Shelf("verdicts", MOST_KEPT)
        self._grounds: dict[tuple[str, str], str] = {}
        #: what was given in this run: many plans may include one file
        self._given: dict[tuple[str, str, str], str] = {}

    def recall(self, key: str, source: Source) -> Verdict | None:
        """The verdict on a plan by its key, if all it hangs on is as it was."""
        held = self._shelf.get(key) if key else None
        if held is None:
            return None
        try:
            asks, verdict = _parts(held)
            if all(self._gives(Ask(*ask)) for ask in asks):
                return unpacked(verdict, source)
        except Exception:  # whatever is wrong with what was kept, the plan is judged
            pass
        return None

    def keep(self, key: str, judged: Judged) -> None:
        if key:
            asks = repr([tuple(ask) for ask in judged.asks]).encode("utf-8", "surrogateescape")
            self._shelf.put(key, len(asks).to_bytes(8, "big") + asks + judged.verdict)

    def tidy(self) -> None:
        self._shelf.tidy()

    def key(self, source: Source, today: date, tried: bool) -> str:
        """By what a verdict is kept; "" where it is not: for measures that others bring, whose code may hang on
        anything. Raises SettingsTrouble."""
        settings, pins = settings_for(source.name), files.pins_for(source.name)
        if settings.measures:
            return ""
        ground = (settings.path, pins)
        if ground not in self._grounds:
            self._grounds[ground] = _digest((files.fingerprint(), *_said(settings), _pins(pins)))
        return _digest((self._grounds[ground], today, tried, source.name, source.text))

    def _gives(self, ask: Ask) -> bool:
        known = ask[:3]
        if known not in self._given:
            self._given[known] = _given(ask)
        return self._given[known] == ask.given


def _parts(held: bytes) -> tuple[list[tuple[str, str, str, str]], bytes]:
    from ast import literal_eval

    length = int.from_bytes(held[:8], "big")
    asks = literal_eval(held[8 : 8 + length].decode("utf-8", "surrogateescape")) if length > 2 else []
    return asks, held[8 + length :]


def _given(ask: Ask) -> str:
    """What is given today to who asks so."""
    source = Source(ask.asker, "")
    try:
        if ask.kind == "include":
            return _hash("", files.find_beside(ask.path, source))
        name, found = files.find_pack_texts(ask.path, source)
        return _hash(name, *found)
    except IncludeTrouble as trouble:
        return _hash(str(trouble))


def _said(settings: Settings) -> tuple[object, ...]:
    """What settings say of judging, with the packs that they name."""
    packs = [_given(Ask("pack", name, settings.shown, "")) for name in settings.packs]
    return settings.packs, packs, sorted(settings.levels.items()), sorted(settings.limits.items())


def _pins(path: str) -> bytes:
    return files.read_bytes(path) if path else b""
