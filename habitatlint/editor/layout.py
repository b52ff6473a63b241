"""The standard form as small edits, so that an editor keeps its cursor and its marks."""

from __future__ import annotations

from difflib import SequenceMatcher

from habitatlint.findings import Edit
from habitatlint.language.formatting import formatted
from habitatlint.reading.grammar import Grammar
from habitatlint.source import Source, Span

#: of a stretch of more lines than this, all at once is replaced: comparing costs more than it spares
MOST_LINES = 5_000


def edits(source: Source, grammar: Grammar) -> list[Edit]:
    """Edits, sorted and disjoint, that lay a plan out; each replaces whole lines."""
    return differences(source, formatted(source, grammar))


def differences(source: Source, after: str) -> list[Edit]:
    """Edits of whole lines that make one text of another."""
    old, new = source.text.splitlines(keepends=True), after.splitlines(keepends=True)
    first = 0
    while first < min(len(old), len(new)) and old[first] == new[first]:
        first += 1
    last = 0
    while last < min(len(old), len(new)) - first and old[-1 - last] == new[-1 - last]:
        last += 1
    middle, middle_new = old[first : len(old) - last], new[first : len(new) - last]
    starts = [sum(map(len, old[:first]))]
    for line in middle:
        starts.append(starts[-1] + len(line))
    if max(len(middle), len(middle_new)) > MOST_LINES:
        return [Edit(Span(source, starts[0], starts[-1]), "".join(middle_new))]
    return [
        Edit(Span(source, starts[begin], starts[end]), "".join(middle_new[begin_new:end_new]))
        for word, begin, end, begin_new, end_new in SequenceMatcher(
            None, middle, middle_new, autojunk=False
        ).get_opcodes()
        if word != "equal"
    ]
