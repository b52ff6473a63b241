"""Messages off the standard streams and onto them, for as long as an editor wants."""

from __future__ import annotations

import asyncio
import gc
import json
import logging
import os
import re
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from functools import partial

from pygls.io_ import StdoutWriter

from habitatlint.editor.features import register
from habitatlint.editor.server import Server
from habitatlint.findings import Policy
from habitatlint.review import Review

#: bytes of the largest message, and of the longest header; what is larger is passed over
LARGEST_MESSAGE, LONGEST_HEADER = 64 * 1024 * 1024, 4096
#: so often threads change places, in seconds: a key is answered while a plan is judged
SWITCH = 0.0005
_LENGTH = re.compile(rb"^content-length:[ \t]*([0-9]{1,15})[ \t]*\r?$", re.IGNORECASE | re.MULTILINE)


def messages(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """The bodies of messages in a stream that comes in pieces; what is no message is passed over."""
    held, length, left = bytearray(), -1, 0
    for piece in pieces:
        held += piece
        while held:
            if left:  # of a message too large to be taken
                passed = min(left, len(held))
                del held[:passed]
                left -= passed
            elif length >= 0:
                if len(held) < length:
                    break
                yield bytes(held[:length])
                del held[:length]
                length = -1
            else:
                end = held.find(b"\r\n\r\n")
                if end < 0:
                    if len(held) > LONGEST_HEADER:
                        del held[:-4]
                    break
                found = _LENGTH.findall(held[:end])
                del held[: end + 4]
                size = int(found[-1]) if found else -1
                length, left = (-1, size) if size > LARGEST_MESSAGE else (size, 0)


def serve(review: Review, policy: Callable[[], Policy]) -> int:
    """Serves an editor on standard streams until it has done, judging plans by a policy asked for each time; the exit
    status is 0 where it said goodbye first."""
    # read past Python's own buffer, whose lock a thread that waits for more would hold for ever
    pieces = iter(partial(os.read, sys.stdin.fileno(), 1 << 16), b"")
    stdout, sys.stdout = sys.stdout.buffer, sys.stderr  # nothing but messages goes to the editor
    logging.getLogger("pygls").setLevel(logging.CRITICAL)
    gc.set_threshold(200_000, 20, 20)
    sys.setswitchinterval(SWITCH)
    server = Server(review, policy)
    register(server)
    server.protocol.set_writer(StdoutWriter(stdout))
    try:
        return asyncio.run(_serve(server, pieces))
    except BrokenPipeError:
        return 1


async def _serve(server: Server, pieces: Iterable[bytes]) -> int:
    loop = asyncio.get_running_loop()
    ended = asyncio.Event()
    status = 0

    def take(body: bytes) -> None:
        nonlocal status
        try:
            message = json.loads(body, object_hook=server.protocol.structure_message)
            if hasattr(message, "jsonrpc"):
                server.protocol.handle_message(message)
        except (ValueError, RecursionError) as error:
            server.log(f"a message that cannot be read: {error}")
        except BrokenPipeError:
            ended.set()
        except SystemExit as leave:  # so the library takes leave
            status = leave.code if isinstance(leave.code, int) else 0
            ended.set()
        except Exception as error:
            server.log(f"a message that cannot be understood: {type(error).__name__}: {error}")

    def read() -> None:
        try:
            for body in messages(pieces):
                loop.call_soon_threadsafe(take, body)
        except (OSError, ValueError):  # the stream is closed beneath us
            pass
        try:
            loop.call_soon_threadsafe(ended.set)
        except RuntimeError:  # all is over already
            pass

    gc.collect()
    gc.freeze()  # what was loaded stays: it need not be looked through again
    threading.Thread(target=read, daemon=True, name="reading").start()
    server.bench.begin()
    try:
        await ended.wait()
    finally:
        server.shut()
        await server.bench.stopped()
    return status
