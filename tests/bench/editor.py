"""Keystroke to findings over the protocol, printed and not asserted: `python tests/bench/editor.py`."""

from __future__ import annotations

import os
import re
import statistics
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "editor"), str(Path(__file__).parent)]

from client import Client, stretch  # noqa: E402
from properties import grown_plan  # noqa: E402

#: keys a minute of a quick writer, at which edits come
PAUSE, EDITS = 0.12, 200
URI = "file:///bench/plan.habitat"


def edit(lines: list[str], random: Random) -> dict[str, Any]:
    """One key: four times of five a digit of a figure in a row, else a letter put at the end of a block's name,
    or taken away again."""
    heads = [number for number, line in enumerate(lines) if re.match(r"(row|pocket|path|stand) ", line)]
    rows = [number for number, line in enumerate(lines) if re.match(r"  (spacing|dbh|stumps) ", line)]
    if random.random() < 0.8:
        number = random.choice(rows)
        digits = [found.start() for found in re.finditer(r"\d(?!\d*\.\d)", lines[number])]
        at, new = random.choice(digits), random.choice("123456789")
        end = at + 1
    else:
        touched = [number for number in heads if lines[number].endswith("q")]
        number = touched[0] if touched else random.choice(heads)
        end = len(lines[number])
        at, new = (end - 1, "") if touched else (end, "q")
    lines[number] = lines[number][:at] + new + lines[number][end:]
    return {"range": stretch(number, at, end), "text": new}


def timed(client: Client, change: dict[str, Any]) -> float:
    """Milliseconds from a key to the first findings of its text."""
    start = time.perf_counter()
    version = client.change(URI, change)
    while True:
        told = client.notices.get(timeout=60)["params"]
        if told.get("version") == version:
            return (time.perf_counter() - start) * 1000


def judged(client: Client) -> float:
    """Milliseconds from a key to the findings of the whole judgement: an answer that waits for it."""
    start = time.perf_counter()
    place = {"textDocument": {"uri": URI}, "range": stretch(0, 0, 0), "context": {"diagnostics": []}}
    client.ask("textDocument/codeAction", place)
    return (time.perf_counter() - start) * 1000


def at_work(client: Client) -> float:
    """Milliseconds for which the server's own thread has been at work so far; 0 where the system does not say."""
    try:
        told = Path(f"/proc/{client.process.pid}/schedstat").read_text(encoding="ascii")
    except OSError:
        return 0.0
    return int(told.split()[0]) / 1e6


def percentile(times: list[float], share: float) -> float:
    return sorted(times)[min(len(times) - 1, int(share * len(times)))]


def latencies() -> Iterator[tuple[str, list[float]]]:
    """Milliseconds from each of many keys to its first findings, by how fast they are typed."""
    random = Random(5)
    lines = (text := grown_plan(4000)).split("\n")
    client = Client(capabilities={"textDocument": {"publishDiagnostics": {"relatedInformation": True}}}, options={})
    client.open(URI, text)
    judged(client)
    for name, pause in (("one after the other", 0.0), ("as a quick writer types", PAUSE)):
        times = []
        for _ in range(EDITS // 2):
            times.append(timed(client, edit(lines, random)))
            time.sleep(pause)
        yield name, times
    client.kill()


def main() -> None:
    random = Random(5)
    text = grown_plan(4000)
    lines = text.split("\n")
    client = Client(capabilities={"textDocument": {"publishDiagnostics": {"relatedInformation": True}}}, options={})
    client.open(URI, text)
    if hasattr(os, "getloadavg"):
        print(f"{os.getloadavg()[0]:.1f} processes wanted one of {os.cpu_count()} processors before this began")
    print(f"{len(lines)} lines over the protocol; from opening to the whole judgement {judged(client):.0f} ms")
    for name, pause in (
        ("one after the other", 0.0),
        ("as a quick writer types", PAUSE),
        ("with pauses to think", 0.6),
    ):
        times, work = [], []
        for _ in range(EDITS if pause < 0.5 else EDITS // 5):
            change, before = edit(lines, random), at_work(client)
            times.append(timed(client, change))
            work.append(at_work(client) - before)
            time.sleep(pause)
        print(f"keys {name}: first findings after {statistics.median(times):.1f} ms, of twenty the slowest "
              f"{percentile(times, 0.95):.1f} ms, at most {max(times):.0f} ms; the server at work for "
              f"{statistics.median(work):.1f} and {percentile(work, 0.95):.1f} ms of it")  # fmt: skip
    waits = []
    for _ in range(3):
        timed(client, edit(lines, random))
        waits.append(judged(client))
    print(f"from the last key to the whole judgement {statistics.median(waits):.0f} ms (0.25 s of it stillness)")
    client.kill()


if __name__ == "__main__":
    main()
