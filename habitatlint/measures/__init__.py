"""What a rule may ask of a scene, one file a question; pure functions over its arrays."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from pkgutil import iter_modules

from habitatlint.measures.vocabulary import VOCABULARY, Vocabulary


@cache
def every_measure() -> Vocabulary:
    """The vocabulary with every measure of this folder; a new file's measures are found by themselves."""
    for module in sorted(module.name for module in iter_modules(__path__)):
        import_module(f"{__name__}.{module}")
    return VOCABULARY
