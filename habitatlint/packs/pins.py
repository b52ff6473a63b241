"""Pins as a file, `habitatlint.pins`: JSON, sorted, one rule a line, so that a change of one shows as one line.

`{"format": "habitatlint-pins 1", "packs": {NAME: VERSION}, "rules": {"pack/slug": HASH}}`; what a hash is of stands in
`rulebook.pinning`.
"""

from __future__ import annotations

import json
import re
from typing import Any

from habitatlint.rulebook.pinning import Pins

FORMAT = "habitatlint-pins 1"
_HASH = re.compile(r"[0-9a-f]{32}")


class PinsTrouble(Exception):
    """A text that holds no pins: why, in one line."""


def written(pins: Pins) -> str:
    """Pins as text, the same every time."""
    told = {"format": FORMAT, "packs": dict(sorted(pins.packs.items())), "rules": dict(sorted(pins.rules.items()))}
    return json.dumps(told, indent=1) + "\n"


def read(text: str) -> Pins:
    """Pins from a text; raises PinsTrouble."""
    try:
        told: Any = json.loads(text)
    except RecursionError:
        raise PinsTrouble("it nests too deeply") from None
    except ValueError as error:
        line = getattr(error, "lineno", 0)
        raise PinsTrouble(f"not JSON{f' (line {line})' if line else ''}") from None
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        raise PinsTrouble(f"its form is not `{FORMAT}`")
    packs, rules = _texts(told.get("packs")), _texts(told.get("rules"))
    if packs is None or rules is None:
        raise PinsTrouble("it lacks `packs` or `rules`, which give a text for each name")
    if any(not _HASH.fullmatch(one) for one in rules.values()):
        raise PinsTrouble("a hash in it is none")
    return Pins(packs, rules)


def _texts(table: Any) -> dict[str, str] | None:
    """A table of texts by name; None for anything else."""
    return table if isinstance(table, dict) and all(isinstance(value, str) for value in table.values()) else None
