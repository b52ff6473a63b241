"""What would change in a text, as a unified diff."""

from __future__ import annotations

import difflib


def diff(name: str, before: str, after: str) -> list[str]:
    """A unified diff that `git apply` takes; nothing where nothing changes."""
    found = difflib.unified_diff(_lines(before), _lines(after), _path(f"a/{name}"), _path(f"b/{name}"))
    return [line if line.endswith("\n") else f"{line}\n\\ No newline at end of file\n" for line in found]


def _path(path: str) -> str:
    """A path as git reads it: in quotes where a tab or a line end in it would end it."""
    if all(character >= " " for character in path):
        return path
    marked = path.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(one if one >= " " else f"\\{ord(one):03o}" for one in marked) + '"'


def _lines(text: str) -> list[str]:
    """Lines as git counts them: by line feeds alone, their ends kept."""
    found = text.split("\n")
    return [f"{line}\n" for line in found[:-1]] + ([found[-1]] if found[-1] else [])
