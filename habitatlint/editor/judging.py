"""What is worked out while an editor waits for it, as jobs, and the process of its own that does them.

Judging a plan keeps Python busy for seconds, and within one process each key would wait for it. So it is done in
another, begun by `bench`, which hands it the rulebook first and then orders: a job with the texts that changed since
the last. It keeps what it has read and judged by itself; only words and places come back. It ends with the server,
however that ends: then nothing more comes down its pipe.
"""

from __future__ import annotations

import gc
import os
import pickle
import queue
import signal
import sys
import threading
from collections.abc import Callable, Mapping
from typing import Any, BinaryIO, NamedTuple

from habitatlint import files
from habitatlint.editor.desk import Desk, Dropped
from habitatlint.editor.telling import Told
from habitatlint.findings import Policy
from habitatlint.language.plan import plan_grammar
from habitatlint.measures import every_measure
from habitatlint.review import Review
from habitatlint.source import Source

#: bytes that tell how long a message between the processes is
LENGTH = 8
#: so little is the process worth beside the one that answers keys, where the system can be told so
NICE = 5
#: said by the process once it is ready for its first order; else why it cannot be
READY = "ready"


class Job(NamedTuple):
    """What is to be worked out of a text: "plan" and "rules" judge it, "mends" tries those of what is `told`."""

    work: str
    path: str
    policy: Policy
    told: Told | None = None


class Order(NamedTuple):
    """A job by its number, and what has become of the open texts since the order before: None for one that was
    closed. `text` is that of the job itself, None where it is open."""

    number: int
    job: Job
    texts: Mapping[str, str | None]
    text: str | None


class Answer(NamedTuple):
    """What came of an order: its outcome, None where it was dropped, or why there is none."""

    number: int
    outcome: Any = None
    fault: str = ""


def done(desk: Desk, job: Job, source: Source, stale: Callable[[], bool]) -> Any:
    """Does a job; raises Dropped once it is stale."""
    if job.told is not None:
        return desk.mends(source, job.told, job.policy, stale)
    judge = desk.judge_rules if job.work == "rules" else desk.judge
    return judge(source, job.policy, stale)


def packed(message: object) -> bytes:
    """A message as it goes from one process to the other."""
    body = pickle.dumps(message, pickle.HIGHEST_PROTOCOL)
    return len(body).to_bytes(LENGTH, "big") + body


def unpacked(body: bytes) -> Any:
    """A message that came from the other process; nothing else is ever read so."""
    return pickle.loads(body)


def main() -> None:
    """Does what is ordered on standard input, one after the other, until it ends."""
    orders, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what else may be printed is no answer
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # a key in the server's terminal; it ends with the server
    if hasattr(os, "nice"):
        os.nice(NICE)
    gc.set_threshold(200_000, 20, 20)
    rulebook, brought = _received(orders)
    try:
        known = files.load_measures(brought, every_measure()) if brought else every_measure()
        desk = Desk(Review(files.grammar("plan", plan_grammar), rulebook, vocabulary=known, brought=brought))
    except Exception as error:
        _say(answers, f"{type(error).__name__}: {error}")
        return
    gc.collect()
    gc.freeze()  # what was loaded stays: it need not be looked through again
    waiting: queue.SimpleQueue[Order] = queue.SimpleQueue()
    dropped: set[int] = set()
    threading.Thread(target=_take, args=(orders, waiting, dropped), daemon=True, name="reading").start()
    _say(answers, READY)
    while True:
        _say(answers, answered(desk, waiting.get(), dropped))
        gc.collect()  # a plan on the ground is large, and hangs together in circles


def _received(stream: BinaryIO) -> Any:
    """The next message; the process ends where there is none."""
    try:
        length = stream.read(LENGTH)
        body = stream.read(int.from_bytes(length, "big"))
        if len(length) == LENGTH and len(body) == int.from_bytes(length, "big"):
            return unpacked(body)
    except OSError:
        pass
    os._exit(0)  # whatever is being worked out, nobody waits for it


def _say(stream: BinaryIO, message: object) -> None:
    try:
        stream.write(packed(message))
        stream.flush()
    except OSError:
        os._exit(0)


def _take(stream: BinaryIO, waiting: queue.SimpleQueue[Order], dropped: set[int]) -> None:
    """Takes orders as they come; a number alone drops the order of that number, which may be under way."""
    while True:
        message = _received(stream)
        if isinstance(message, int):
            dropped.add(message)
        else:
            waiting.put(message)


def answered(desk: Desk, order: Order, dropped: set[int]) -> Answer:
    for path, text in order.texts.items():
        if text is None:
            desk.open.pop(path, None)
        else:
            desk.open[path] = Source(path, text)
    path = order.job.path
    source = desk.open[path] if order.text is None else Source(path, order.text)
    try:
        return Answer(order.number, done(desk, order.job, source, lambda: order.number in dropped))
    except Dropped:
        return Answer(order.number)
    except Exception as error:
        return Answer(order.number, fault=f"{type(error).__name__}: {error}")
    finally:
        dropped.discard(order.number)


#: how the process is begun: with the server's own ways of finding modules, and not the folder that it stands in
COMMAND = ("-P", "-c", f"import sys; sys.path[:] = sys.argv[1:]; from {__name__} import main; main()")


def command() -> list[str]:
    """The command that begins the process; raises OSError where there is none."""
    if not sys.executable:
        raise OSError("it is not known which Python this is")
    return [sys.executable, *COMMAND, *sys.path]
