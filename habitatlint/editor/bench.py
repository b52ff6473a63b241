"""The bench: where plans are judged while the server answers keys. A process of its own, begun again where it ends
before its time; a thread of the server's where no process can be had."""

from __future__ import annotations

import asyncio
import contextlib
import subprocess
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from habitatlint.editor.desk import Desk, Judgement, Mended
from habitatlint.editor.judging import LENGTH, READY, Answer, Job, Order, command, done, packed, unpacked
from habitatlint.editor.telling import Told
from habitatlint.findings import Policy
from habitatlint.review import Review
from habitatlint.source import Source

#: seconds within which a process is ready, and after which one that goes on with what was dropped is ended
BEGIN, HANG = 60.0, 30.0
#: so often an order is given to a process that ends over it
TRIES = 2


class Ended(Exception):
    """The process has ended, and the order with it."""


class Unjudged(Exception):
    """A job that cannot be done, and why."""


class Bench:
    """Does jobs, one after the other, on the texts of a desk; `tell` is told in words what becomes of the process.

    A job is dropped where the task that waits for it is cancelled.
    """

    def __init__(self, desk: Desk, tell: Callable[[str], None]) -> None:
        self._desk, self._tell = desk, tell
        self._beginning: asyncio.Task[None] | None = None
        self._process: Process | None = None
        self._thread: ThreadPoolExecutor | None = None
        self._stopped = False

    def begin(self) -> None:
        """Begins the process, that it be ready when it is first needed."""
        if self._beginning is None:
            self._beginning = asyncio.get_running_loop().create_task(self._begun())

    @property
    def number(self) -> int | None:
        """The number by which the system knows the process; None where there is none now."""
        return None if self._process is None or self._process.over else self._process.number

    async def judge(self, source: Source, rules: bool, policy: Policy) -> Judgement:
        """A plan, or a file of rules, judged; raises Unjudged."""
        judgement: Judgement = await self._do(Job("rules" if rules else "plan", source.name, policy), source)
        return judgement

    async def mends(self, source: Source, told: Told, policy: Policy) -> tuple[Mended, ...]:
        """The mends of what was told of a plan, those that were tried and clear it; raises Unjudged."""
        mends: tuple[Mended, ...] = await self._do(Job("mends", source.name, policy, told), source)
        return mends

    def stop(self) -> None:
        """Nothing more is done."""
        self._stopped = True
        if self._beginning is not None:
            self._beginning.cancel()
        if self._process is not None:
            self._process.kill()
        if self._thread is not None:
            self._thread.shutdown(wait=False, cancel_futures=True)

    async def stopped(self) -> None:
        """Waits until what was stopped has ended."""
        if self._beginning is not None:
            await asyncio.gather(self._beginning, return_exceptions=True)
        if self._process is not None:
            await self._process.ended()

    async def _do(self, job: Job, source: Source) -> Any:
        for _ in range(TRIES):
            process = await self._ready()
            if process is None:
                return await self._in_thread(job, source)
            with contextlib.suppress(Ended):
                return await process.do(job, source, self._desk.open)
        raise Unjudged("the process that judges ends over this text; `habitatlint check` may tell why")

    async def _ready(self) -> Process | None:
        """A process that is there; None where none can be had."""
        if self._stopped:
            raise Unjudged("the server is leaving")
        if self._process is not None and self._process.over:
            self._tell(f"the process that judges has ended ({self._process.status}); another is begun")
            self._process = self._beginning = None
        self.begin()
        assert self._beginning is not None
        await asyncio.shield(self._beginning)
        return self._process

    async def _begun(self) -> None:
        try:
            self._process = await Process.begin(self._desk.review)
        except Exception as error:
            why = str(error) or "it was not ready in time"
            self._tell(f"no process of its own can be had to judge in: {why}; keys may wait while plans are judged")
            self._thread = ThreadPoolExecutor(1, "judging")

    async def _in_thread(self, job: Job, source: Source) -> Any:
        stale = threading.Event()
        loop = asyncio.get_running_loop()
        try:
            return await loop.run_in_executor(self._thread, done, self._desk, job, source, stale.is_set)
        except asyncio.CancelledError:
            stale.set()
            raise
        except Exception as error:
            raise Unjudged(f"{type(error).__name__}: {error}") from error


class Process:
    """A process that judges, and the orders that it has not answered yet, in the order in which it does them."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        assert process.stdin is not None and process.stdout is not None
        self._process, self._orders, self._answers = process, process.stdin, process.stdout
        self._waiting: dict[int, asyncio.Future[Any]] = {}
        #: open texts as it knows them
        self._known: dict[str, Source] = {}
        self._number = 0
        self._listening: asyncio.Task[None] | None = None

    @classmethod
    async def begin(cls, review: Review) -> Process:
        """A process that is ready; whatever this raises tells why there is none."""
        begun = await asyncio.create_subprocess_exec(
            *command(), stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )  # fmt: skip
        process = cls(begun)
        try:
            process._orders.write(packed((review.rulebook, review.brought)))
            if (said := await asyncio.wait_for(process._next(), BEGIN)) != READY:
                raise Ended(said)
        except BaseException:
            process.kill()
            await process.ended()
            raise
        process._listening = asyncio.get_running_loop().create_task(process._listen())
        return process

    @property
    def number(self) -> int:
        """The number by which the system knows it."""
        return self._process.pid

    @property
    def over(self) -> bool:
        """It answers no more."""
        return self._listening is None or self._listening.done()

    @property
    def status(self) -> int | None:
        """Its exit status; None while it goes on."""
        return self._process.returncode

    async def do(self, job: Job, source: Source, texts: Mapping[str, Source]) -> Any:
        """Has a job done; raises Unjudged, and Ended. Where the task that waits is cancelled the job is dropped."""
        if self.over:
            raise Ended
        loop = asyncio.get_running_loop()
        self._number = number = self._number + 1
        changed: dict[str, str | None] = {path: None for path in self._known if path not in texts}
        changed |= {path: one.text for path, one in texts.items() if self._known.get(path) is not one}
        self._known = dict(texts)
        held = texts.get(source.name) is source
        self._waiting[number] = loop.create_future()
        self._orders.write(packed(Order(number, job, changed, None if held else source.text)))
        try:
            return await self._waiting[number]
        except asyncio.CancelledError:
            if not self.over:
                self._orders.write(packed(number))
                loop.call_later(HANG, self._end_if_stuck, number)
            raise

    def kill(self) -> None:
        """Ends it at once: it holds nothing that could be lost."""
        if self._process.returncode is None:
            self._process.kill()

    async def ended(self) -> None:
        """Waits until it has."""
        await self._process.wait()

    def _end_if_stuck(self, number: int) -> None:
        """Ends it where an order that was dropped long ago is still the one that it works on."""
        if next(iter(self._waiting), None) == number:
            self.kill()

    async def _next(self) -> Any:
        """The next message from it; raises Ended."""
        try:
            length = int.from_bytes(await self._answers.readexactly(LENGTH), "big")
            return unpacked(await self._answers.readexactly(length))
        except (asyncio.IncompleteReadError, OSError):
            raise Ended("it ended before it was ready") from None

    async def _listen(self) -> None:
        try:
            while True:
                answer: Answer = await self._next()
                waiting = self._waiting.pop(answer.number)
                if waiting.done():  # it was dropped
                    continue
                if answer.fault:
                    waiting.set_exception(Unjudged(answer.fault))
                else:
                    waiting.set_result(answer.outcome)
        except Ended:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._process.wait(), 1)
        finally:
            self.kill()
            for waiting in self._waiting.values():
                if not waiting.done():
                    waiting.set_exception(Ended())
