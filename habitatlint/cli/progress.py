"""How far a long piece of work is, on one line of a terminal that is gone when it is done."""

from __future__ import annotations

import sys
import time
from typing import TextIO

#: seconds before the first is shown, and between two
PATIENCE, PAUSE = 1.0, 0.1


class Progress:
    """Shows `12 of 500 plans judged` on standard error, where that is a terminal, once the work takes long."""

    def __init__(self, what: str, stream: TextIO | None = None) -> None:
        self._what = what
        self._stream = stream or sys.stderr
        self._next = time.monotonic() + PATIENCE
        self._width = 0

    def __call__(self, done: int, total: int) -> None:
        now = time.monotonic()
        if total < 2 or now < self._next or not self._stream.isatty():
            return
        self._next = now + PAUSE
        line = f"{done} of {total} {self._what}"
        self._stream.write(f"\r{line:<{self._width}}")
        self._stream.flush()
        self._width = max(self._width, len(line))

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *error: object) -> None:
        if self._width:
            self._stream.write(f"\r{'':<{self._width}}\r")
            self._stream.flush()
