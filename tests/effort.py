"""How long the slow tests look: briefly at every commit, long with HABITATLINT_THOROUGH set in the environment."""

from __future__ import annotations

import os

THOROUGH = bool(os.environ.get("HABITATLINT_THOROUGH"))


def times(usual: int, thorough: int) -> int:
    """How many random cases a test looks at."""
    return thorough if THOROUGH else usual
