"""What is told of a judged plan: its findings and a few figures, without the plan and the ground that they came from.

It is what outputs show, what goes from one process to another, and what is kept from one run to the next.
"""

from __future__ import annotations

import pickle
from io import BytesIO
from typing import TYPE_CHECKING, Any, NamedTuple

from habitatlint.findings import Fact, Finding, Level
from habitatlint.source import Source

if TYPE_CHECKING:  # to show what was found takes no rulebook
    from habitatlint.rulebook.pinning import Since


class Extent(NamedTuple):
    """What was read of a plan: its area, and of each noun how many, with their length in metres where it is told."""

    area: Fact | None = None
    counts: tuple[tuple[str, int, float | None], ...] = ()


class Verdict(NamedTuple):
    """What was found in one plan; findings and waived ones in the order of their places."""

    source: Source
    #: the unit that lengths are told in
    units: str
    findings: tuple[Finding, ...]
    waived: tuple[Finding, ...]
    #: findings that a baseline holds, where the plan is held to one: no longer among `findings`
    known: tuple[Finding, ...]
    #: the rules that were judged, by `pack/slug`
    rules: tuple[str, ...]
    #: rules about people's safety that a level switches off or lowers, by slug
    silenced: tuple[str, ...]
    #: what differs from the pins that the rules are held to; None for nothing
    since: Since | None
    #: the plan has a head of its own
    headed: bool
    #: the names of the files that it includes, sorted
    included: tuple[str, ...]
    #: the packs that it uses: as it names them, and the name of the text that does
    packs: tuple[tuple[str, str], ...]
    extent: Extent
    #: nouns that the plan has, and that no rule in force looks at
    unjudged: tuple[str, ...]

    def worst(self) -> Level:
        return max((finding.level for finding in self.findings), default=Level.off)


#: what a verdict is made of, by module and name: nothing else is made of bytes that are read back
_PARTS = {
    "habitatlint.verdict": {"Verdict", "Extent"},
    "habitatlint.findings": {"Change", "Edit", "Fact", "Finding", "Level", "Mend", "Related"},
    "habitatlint.source": {"Source", "Span"},
    "habitatlint.rulebook.pinning": {"Since"},
    "datetime": {"date"},
}


class _Packer(pickle.Pickler):
    """Leaves the plan's own text out, which whoever reads a verdict has; of others takes name and text."""

    def __init__(self, file: BytesIO, plan: Source) -> None:
        super().__init__(file, pickle.HIGHEST_PROTOCOL)
        self._plan = plan

    def persistent_id(self, thing: Any) -> str | None:
        return "plan" if thing is self._plan else None

    def reducer_override(self, thing: Any) -> Any:
        return (Source, (thing.name, thing.text)) if type(thing) is Source else NotImplemented


class _Unpacker(pickle.Unpickler):
    """Makes nothing but what a verdict is made of, whatever the bytes ask for."""

    def __init__(self, file: BytesIO, plan: Source) -> None:
        super().__init__(file)
        self._plan = plan

    def persistent_load(self, name: Any) -> Any:
        if name != "plan":
            raise pickle.UnpicklingError("no such text")
        return self._plan

    def find_class(self, module: str, name: str) -> Any:
        if name not in _PARTS.get(module, ()):
            raise pickle.UnpicklingError(f"{module}.{name} is no part of a verdict")
        return super().find_class(module, name)


def packed(verdict: Verdict) -> bytes:
    """A verdict as bytes, without the plan's own text."""
    file = BytesIO()
    _Packer(file, verdict.source).dump(verdict)
    return file.getvalue()


def unpacked(data: bytes, plan: Source) -> Verdict:
    """The verdict that was packed, on the plan's text as it was then. Raises some exception for other bytes."""
    verdict = _Unpacker(BytesIO(data), plan).load()
    if not isinstance(verdict, Verdict) or verdict.source is not plan:
        raise pickle.UnpicklingError("no verdict on this plan")
    return verdict
