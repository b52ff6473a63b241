"""What would change in a text, as a unified diff."""

from __future__ import annotations

import difflib


def diff(name: str, before: str, after: str) -> list[str]:
    """A unified diff that `git apply` takes; nothing where nothing changes."""
    found = difflib.unified_diff(_lines(before), _lines(after), f"a/{name}", f"b/{name}")
    return [line if line.endswith("\n") else f"{line}\n\\ No newline at end of file\n" for line in found]


def _lines(text: str) -> list[str]:
    """Lines as git counts them: by line feeds alone, their ends kept."""
    found = text.split("\n")
    return [f"{line}\n" for line in found[:-1]] + ([found[-1]] if found[-1] else [])
