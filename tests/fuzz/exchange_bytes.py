"""Fuzzes files of exchange by bytes, guided by what lines of the program they reach: `python tests/fuzz/exchange_bytes.py --minutes 10`."""

from __future__ import annotations

import sys
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

with atheris.instrument_imports(include=["habitatlint"], enable_loader_override=False):
    from fuzz import seeds, truths

    for seed in seeds.exchange_seeds()[::9] if "--inner" in sys.argv else ():  # what is imported late is wanted too
        truths.exchanged(seed)

from fuzz.running import by_bytes

if __name__ == "__main__":
    by_bytes(truths.exchanged, "exchange", seeds.exchange_seeds(), seeds.exchange_words(), __file__)
