"""Runs a fuzzer for some minutes, keeps what it broke, and distils what it reached into a small corpus.

A fuzzer is begun as its own file: `python tests/fuzz/plan_bytes.py --minutes 10`. It starts from the corpus and from
seeds, and works in a folder of its own (`--work`). With `--keep` the corpus becomes, of all it came upon, the smallest files
that between them reach every line that any of them reaches (`distilled`).
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterable
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

Truth = Callable[[bytes], None]
#: lines of the program that nothing has reached yet, of each piece of code that was entered
Reached = dict[CodeType, set[int]]

HERE = Path(__file__).resolve().parent
CORPUS = HERE / "corpus"
#: most files of a corpus, most bytes of one, and room that is left for what broke something
MOST, LARGEST, ROOM = 200, 2048, 20
#: seconds after which one input is a hang
HANG = 20


class Catch:
    """Keeps inputs that broke a truth, one for each place in the program that they broke at, and goes on."""

    def __init__(self, truth: Truth, folder: Path) -> None:
        self.truth, self.folder = truth, folder
        self.ran, self.slowest = 0, 0.0
        self.seen: set[str] = set()
        self.begun = time.monotonic()

    def __call__(self, data: bytes) -> None:
        self.ran += 1
        begun = time.monotonic()
        try:
            self.truth(data)
        except Exception as error:
            self._keep(error, data)
        took = time.monotonic() - begun
        if took > max(1.0, self.slowest):
            self.slowest = took
            (self.folder / "slowest").write_bytes(data)
        if self.ran % 50 == 0:
            self.tell()

    def tell(self) -> None:
        minutes = (time.monotonic() - self.begun) / 60
        said = f"{self.ran} inputs in {minutes:.1f} minutes, {len(self.seen)} broken, slowest {self.slowest:.1f} s\n"
        (self.folder / "told.txt").write_text(said)

    def _keep(self, error: Exception, data: bytes) -> None:
        frames = traceback.extract_tb(error.__traceback__)
        at = [f"{Path(frame.filename).name}:{frame.lineno}" for frame in frames if "habitatlint" in frame.filename]
        kind = (
            f"{type(error).__name__} {' '.join(at[-3:])} {str(error)[:40] if isinstance(error, AssertionError) else ''}"
        )
        if kind in self.seen:
            return
        self.seen.add(kind)
        name = hashlib.sha256(data).hexdigest()[:12]
        (self.folder / f"broke-{name}").write_bytes(data)
        (self.folder / f"broke-{name}.txt").write_text("".join(traceback.format_exception(error)))


def by_bytes(truth: Truth, kind: str, seeds: Iterable[bytes], words: Iterable[str], file: str) -> None:
    """The command of a fuzzer of bytes: atheris in a process of its own, begun again where an input hangs."""
    parser = argparse.ArgumentParser(description=f"fuzzes {kind} by bytes, guided by what lines they reach")
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--work", type=Path, help="the folder to work in, a new one if none is given")
    parser.add_argument("--keep", action="store_true", help="distil what was reached into the corpus")
    parser.add_argument("--inner", type=float, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.inner is not None:
        _within(truth, asked.work, asked.inner)
        return
    work = asked.work or Path(tempfile.mkdtemp(prefix="fuzz-"))
    grown = work / "grown"
    grown.mkdir(parents=True, exist_ok=True)
    for data in (*seeds, *(path.read_bytes() for path in (CORPUS / kind).glob("*"))):
        if len(data) <= LARGEST:
            (grown / hashlib.sha256(data).hexdigest()[:16]).write_bytes(data)
    quoted = ("".join(f"\\x{byte:02x}" for byte in word.encode()) for word in sorted(set(words)))
    (work / "words.dict").write_text("".join(f'"{word}"\n' for word in quoted))
    end = time.monotonic() + asked.minutes * 60
    while (left := end - time.monotonic()) > 5:
        subprocess.run([sys.executable, file, "--work", str(work), "--inner", str(left)], check=False)
    end_of(truth, kind, work, asked.keep)


def _within(truth: Truth, work: Path, seconds: float) -> None:
    import atheris

    catch = Catch(truth, Path(tempfile.mkdtemp(prefix="run-", dir=work)))
    atheris.Setup(
        [
            sys.argv[0], f"-max_total_time={int(seconds)}", f"-max_len={LARGEST}", f"-timeout={HANG}",
            "-rss_limit_mb=3000", f"-dict={work / 'words.dict'}", f"-artifact_prefix={catch.folder}/hang-",
            "-verbosity=0", str(work / "grown"),
        ],
        catch,
    )  # fmt: skip
    atheris.Fuzz()


def end_of(truth: Truth, kind: str, work: Path, keep: bool) -> None:
    """Tells what a run came to, and distils what it reached into the corpus where that is to be kept."""
    for told in sorted(work.glob("run-*/told.txt")):
        print(f"{kind}: {told.read_text().strip()}")
    broken = sorted([*work.glob("run-*/broke-*.txt"), *work.glob("run-*/hang-*")])
    print(f"{kind}: {len(broken)} broken, in {work}" if broken else f"{kind}: nothing broken")
    if keep:
        kept = distilled(truth, [path.read_bytes() for path in (work / "grown").glob("*")])
        put(kind, kept)
        print(f"{kind}: {len(kept)} files kept in the corpus")


def put(kind: str, kept: Iterable[bytes]) -> None:
    """Makes these the corpus, beside the inputs that once broke something (`broke-...`)."""
    folder = CORPUS / kind
    for path in folder.glob("*"):
        if not path.name.startswith("broke-"):
            path.unlink()
    for data in kept:
        (folder / hashlib.sha256(data).hexdigest()[:12]).write_bytes(data)


def distilled(truth: Truth, inputs: Iterable[bytes], seconds: float = 240.0) -> list[bytes]:
    """Of inputs the smallest that between them reach every line that they reach, smallest first; it looks no longer than
    so many seconds, and of larger ones left over keeps none."""
    end = time.monotonic() + seconds
    reached: Reached = {}
    kept = []
    for data in sorted({one for one in inputs if len(one) <= LARGEST}, key=lambda one: (len(one), one)):
        if len(kept) == MOST - ROOM or time.monotonic() > end:
            break
        if new_lines(truth, data, reached):
            kept.append(data)
    return kept


def new_lines(truth: Truth, data: bytes, reached: Reached) -> int:
    """How many lines of the program an input reaches that none reached before."""
    found = 0

    def line(frame: FrameType, event: str, _: Any) -> Any:
        nonlocal found
        if event == "line" and frame.f_lineno not in left[frame.f_code]:
            return line
        if event == "line":
            left[frame.f_code].discard(frame.f_lineno)
            found += 1
        return line if left[frame.f_code] else None

    def call(frame: FrameType, event: str, _: Any) -> Any:
        code = frame.f_code
        if "/habitatlint/" not in code.co_filename.replace("\\", "/"):
            return None
        if code not in left:
            left[code] = {number for _, _, number in code.co_lines() if number and number != code.co_firstlineno}
        return line if left[code] else None

    left = reached
    sys.settrace(call)
    try:
        with contextlib.suppress(Exception):  # what breaks is told by the run itself: here only lines are counted
            truth(data)
    finally:
        sys.settrace(None)
    return found
