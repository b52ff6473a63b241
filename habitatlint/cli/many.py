"""Many plans judged: those that were judged before are remembered, the rest are shared out among processes."""

from __future__ import annotations

import contextlib
import gc
import os
import pickle
import queue
import subprocess
import threading
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from habitatlint.cli.judging import READY, Answer, Job, command, judge
from habitatlint.cli.remembering import Judged, Memory
from habitatlint.outputs.sentences import clean
from habitatlint.settings import SettingsTrouble
from habitatlint.verdict import Verdict, packed, unpacked

#: so many characters of plans are worth a further process: what it takes to begin one
WORTH = 40_000


class Way(NamedTuple):
    """How plans are judged: by how many processes (None: as many as are worth it), from memory too or not; `told` hears
    how many are done, of how many."""

    jobs: int | None = None
    remembered: bool = True
    told: Callable[[int, int], None] = lambda done, total: None


class Verdicts(NamedTuple):
    """Verdicts in the order of their jobs, and a line for each plan that has none."""

    verdicts: list[Verdict]
    troubles: list[str]


def judge_all(jobs: Sequence[Job], way: Way) -> Verdicts:
    """Judges plans, each by the project that it stands under. Raises SettingsTrouble."""
    memory = Memory() if way.remembered else None
    keys = [memory.key(*job) if memory is not None else "" for job in jobs]
    found: dict[int, Verdict] = {}
    if memory is not None:
        for number, (job, key) in enumerate(zip(jobs, keys, strict=True)):
            if (verdict := memory.recall(key, job.source)) is not None:
                found[number] = verdict
    left = {number: job for number, job in enumerate(jobs) if number not in found}
    troubles: list[str] = []
    way.told(len(found), len(jobs))
    processes = _processes(left.values(), way.jobs)
    with contextlib.closing(_outcomes(left, processes, keep=memory is not None)) as outcomes:
        for number, outcome in outcomes:
            if isinstance(outcome, str):
                troubles.append(outcome)
            else:
                found[number], judged = outcome
                if memory is not None and judged is not None:
                    memory.keep(keys[number], judged)
            way.told(len(found) + len(troubles), len(jobs))
    if memory is not None:
        memory.tidy()
    return Verdicts([found[number] for number in sorted(found)], sorted(troubles))


def processors() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _processes(jobs: Iterable[Job], asked: int | None) -> int:
    """How many processes plans are shared out among; one is this one."""
    every = list(jobs)
    if asked is not None:
        return min(asked, len(every))
    return min(processors(), len(every), sum(len(job.source.text) for job in every) // WORTH)


#: a verdict, with how it is kept if it is; or a line for a plan that has none
_Outcome = tuple[Verdict, Judged | None] | str


def _outcomes(jobs: Mapping[int, Job], processes: int, *, keep: bool) -> Generator[tuple[int, _Outcome], None, None]:
    if processes < 2:
        for number, job in jobs.items():
            yield number, _judged(job, keep)
            if len(jobs) > 1:
                gc.collect()  # a plan on the ground is large, and hangs together in circles
        return
    crew = _Crew(jobs, processes)
    failed: dict[int, str] = {}
    try:
        for number, answer in crew.answers():
            job = jobs[number]
            if isinstance(answer, str):
                yield number, answer
            elif answer.trouble:
                failed[number] = answer.trouble
                crew.hold()  # the plans before it may fail in their turn: the first of all is told
            elif answer.judged is None:
                yield number, _judged(job, keep)
            else:
                yield number, (unpacked(answer.judged.verdict, job.source), answer.judged)
    finally:
        crew.end()
    if failed:
        raise SettingsTrouble(failed[min(failed)])


def _judged(job: Job, keep: bool) -> _Outcome:
    """A plan judged in this process."""
    verdict, library = judge(job)
    return verdict, Judged(packed(verdict), library.asks) if keep else None


class _Crew:
    """Processes that judge plans, each with a thread that hands it one after the other."""

    def __init__(self, jobs: Mapping[int, Job], processes: int) -> None:
        self._jobs = jobs
        self._waiting = iter(jobs)
        self._lock = threading.Lock()
        self._running: set[subprocess.Popen[bytes]] = set()
        self._held = self._ended = False
        self._answers: queue.SimpleQueue[tuple[int, Answer | str] | None] = queue.SimpleQueue()
        self._threads = [threading.Thread(target=self._hand_out, daemon=True) for _ in range(processes)]

    def answers(self) -> Iterator[tuple[int, Answer | str]]:
        """Answers as they come, by the numbers of their jobs; in a line what became of a process that gave none."""
        for thread in self._threads:
            thread.start()
        working = len(self._threads)
        while working:
            told = self._answers.get()
            if told is None:
                working -= 1
            else:
                yield told

    def hold(self) -> None:
        """Hands out no more."""
        self._held = True

    def end(self) -> None:
        """Ends all processes at once: they hold nothing that could be lost."""
        with self._lock:
            self._held = self._ended = True
            for process in self._running:
                process.kill()
        for thread in self._threads:
            if thread.ident is not None:
                thread.join()

    def _next(self) -> int | None:
        with self._lock:
            return None if self._held else next(self._waiting, None)

    def _begun(self) -> subprocess.Popen[bytes] | None:
        with self._lock:
            if self._ended:
                return None
            process = subprocess.Popen(
                command(), stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                start_new_session=True,  # a key in the terminal ends this process, and this one ends them
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )  # fmt: skip
            self._running.add(process)
        assert process.stdout is not None
        try:
            said = pickle.load(process.stdout)
        except Exception:  # whatever comes down the pipe of a process that ends
            said = None
        if said != READY:
            raise OSError(f"it ended before it was ready ({self._gone(process)})")
        return process

    def _hand_out(self) -> None:
        process: subprocess.Popen[bytes] | None = None
        try:
            while (number := self._next()) is not None:
                job = self._jobs[number]
                try:
                    process = process or self._begun()
                except OSError:  # no process is to be had: this one does it
                    self._answers.put((number, Answer()))
                    continue
                if process is None:
                    return
                try:
                    assert process.stdin is not None and process.stdout is not None
                    pickle.dump(job, process.stdin, pickle.HIGHEST_PROTOCOL)
                    process.stdin.flush()
                    answer: Answer | str = pickle.load(process.stdout)
                except Exception:  # whatever comes down the pipe of a process that ends
                    answer = _ended(job, self._gone(process))
                    process = None
                self._answers.put((number, answer))
        finally:
            if process is not None:
                self._gone(process)
            self._answers.put(None)

    def _gone(self, process: subprocess.Popen[bytes]) -> int:
        """Ends a process, and gives its exit status."""
        with self._lock:
            self._running.discard(process)
        for pipe in (process.stdin, process.stdout):
            assert pipe is not None
            with contextlib.suppress(OSError):
                pipe.close()
        try:
            return process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            process.kill()
            return process.wait()


def _ended(job: Job, status: int) -> str:
    name = clean(job.source.name)
    why = f"signal {-status}" if status < 0 else f"exit status {status}"
    return (
        f"{name}: not judged, for the process that judged it ended ({why}); "
        "judge it with --jobs 1, or give it more memory"
    )
