"""One page on the loopback address, for browsers of this machine only, and word to them when it has changed.

A page on loopback is within reach of every page that a browser shows, so a request is answered only where it
names this very server (which stops names of others that lead here) and comes from this page itself or from the
person's own address bar. Requests are read by RFC 9112, the stream of events is that of the HTML standard
("Server-sent events"), `Sec-Fetch-Site` that of the W3C's "Fetch Metadata Request Headers".
"""

from __future__ import annotations

import asyncio
import socket
import threading
from email.message import Message
from http import HTTPStatus
from http.client import HTTPException, parse_headers
from io import BytesIO
from typing import NamedTuple

from habitatlint.outputs.page import EVENTS

ADDRESS = "127.0.0.1"
#: connections at one time, and of them those that wait for word of a change
MOST_CALLS, MOST_STREAMS = 96, 32
#: seconds for a request to be whole, for an answer to be taken, and between two signs of life on a stream
TO_ASK, TO_TAKE, TO_WAIT = 5.0, 30.0, 15.0
#: largest head of a request, in bytes
LARGEST_HEAD = 16 * 1024

_ALWAYS = (
    "Cache-Control: no-store",
    "X-Content-Type-Options: nosniff",
    "Cross-Origin-Resource-Policy: same-origin",
    "Cross-Origin-Opener-Policy: same-origin",
    "Referrer-Policy: no-referrer",
    "Connection: close",
)


class PortTrouble(Exception):
    """A port that cannot be had, in one line with the remedy."""


class Shown(NamedTuple):
    """A page, its content security policy, and the mark that tells it from the page before."""

    mark: str
    page: str
    policy: str


class Refused(Exception):
    """A request that is not answered: its status and why."""

    def __init__(self, status: HTTPStatus, why: str) -> None:
        super().__init__(why)
        self.status = status


class Server:
    """Serves what is shown from a thread of its own; nothing of a plan is worked out there."""

    def __init__(self, port: int = 0) -> None:
        """Takes the port, or any free one for 0; raises PortTrouble."""
        try:
            self._socket = socket.create_server((ADDRESS, port))
        except OSError as error:
            why = (error.strerror or str(error)).lower()
            remedy = "give another with --port, or leave it out for a free one"
            raise PortTrouble(f"port {port} cannot be had: {why}; {remedy}") from None
        self.port: int = self._socket.getsockname()[1]
        self.address = f"http://{ADDRESS}:{self.port}/"
        names = [f"{name}:{self.port}" for name in (ADDRESS, "localhost", "[::1]")]
        self._hosts = {*names, *(name.rpartition(":")[0] for name in names if self.port == 80)}
        self._shown = Shown("", "", "")
        self._calls = self._streams = 0
        self._loop = asyncio.new_event_loop()
        self._changed = asyncio.Event()

    def start(self, shown: Shown) -> None:
        """Begins to serve; ends with the process."""
        self._shown = shown
        threading.Thread(target=self._run, name="page server", daemon=True).start()

    def show(self, shown: Shown) -> None:
        """Shows another page, and sends word of it."""
        self._loop.call_soon_threadsafe(self._show, shown)

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(asyncio.start_server(self._call, sock=self._socket, limit=LARGEST_HEAD))
        self._loop.run_forever()

    def _show(self, shown: Shown) -> None:
        self._shown = shown
        self._changed.set()
        self._changed = asyncio.Event()

    async def _call(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection, which carries one request; whatever it does, it does to itself alone."""
        self._calls += 1
        try:
            if self._calls <= MOST_CALLS:
                await self._answer(reader, writer)
                async with asyncio.timeout(TO_TAKE):
                    writer.close()
                    await writer.wait_closed()
        except (OSError, EOFError, TimeoutError):
            pass  # it has gone away, or is too slow to be waited for
        finally:
            self._calls -= 1
            writer.transport.abort()

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        method = "GET"
        try:
            async with asyncio.timeout(TO_ASK):
                method, path, headers = await _request(reader)
            self._look_over(headers)
            if method not in ("GET", "HEAD"):
                raise Refused(HTTPStatus.METHOD_NOT_ALLOWED, "this page is only read")
            if path == "/":
                body = self._shown.page.encode()
                writer.write(_head(HTTPStatus.OK, "text/html; charset=utf-8", len(body), self._shown.policy))
                writer.write(b"" if method == "HEAD" else body)
            elif path == f"/{EVENTS}":
                await self._stream(method, reader, writer)
            else:
                raise Refused(HTTPStatus.NOT_FOUND, "there is nothing here; the page is at /")
        except Refused as refused:
            body = f"{refused}\n".encode()
            writer.write(_head(refused.status, "text/plain; charset=utf-8", len(body)))
            writer.write(b"" if method == "HEAD" else body)

    def _look_over(self, headers: Message) -> None:
        """Raises Refused unless the request is meant for this server and comes from its page or its person."""
        hosts = headers.get_all("Host", [])
        if len(hosts) != 1 or hosts[0].strip().lower() not in self._hosts:
            raise Refused(HTTPStatus.FORBIDDEN, f"this page is at {self.address} and under no other name")
        sites = headers.get_all("Sec-Fetch-Site", [])
        origins = headers.get_all("Origin", [])
        own = {f"http://{host}" for host in self._hosts}
        if any(site not in ("none", "same-origin") for site in sites) or any(one not in own for one in origins):
            raise Refused(HTTPStatus.FORBIDDEN, "this page is not for other sites; type its address yourself")

    async def _stream(self, method: str, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Sends the mark of what is shown, now and at each change, until the page has gone."""
        if self._streams >= MOST_STREAMS:
            raise Refused(HTTPStatus.SERVICE_UNAVAILABLE, "too many pages are open; close some, and load this again")
        writer.write(_head(HTTPStatus.OK, "text/event-stream"))
        if method == "HEAD":
            return
        writer.write(b"retry: 500\n\n")
        self._streams += 1
        gone = asyncio.ensure_future(reader.read(1))
        try:
            sent = ""
            while not gone.done():
                changed = self._changed
                word = f"data: {self._shown.mark}\n\n" if self._shown.mark != sent else ": still here\n\n"
                sent = self._shown.mark
                async with asyncio.timeout(TO_TAKE):
                    writer.write(word.encode())
                    await writer.drain()
                change = asyncio.ensure_future(changed.wait())
                await asyncio.wait({gone, change}, timeout=TO_WAIT, return_when=asyncio.FIRST_COMPLETED)
                change.cancel()
        finally:
            gone.cancel()
            self._streams -= 1


async def _request(reader: asyncio.StreamReader) -> tuple[str, str, Message]:
    """Method, path and headers of a request; raises Refused for what is none."""
    try:
        first, _, rest = (await reader.readuntil(b"\r\n\r\n")).partition(b"\r\n")
        method, path, version = first.decode("ascii").split(" ")
        headers = parse_headers(BytesIO(rest))
    except asyncio.LimitOverrunError:
        raise Refused(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE, "too long a request") from None
    except (ValueError, HTTPException):
        raise Refused(HTTPStatus.BAD_REQUEST, "no request of HTTP/1.1") from None
    if version not in ("HTTP/1.0", "HTTP/1.1"):
        raise Refused(HTTPStatus.BAD_REQUEST, "no request of HTTP/1.1")
    return method, path, headers


def _head(status: HTTPStatus, media: str, length: int | None = None, policy: str = "default-src 'none'") -> bytes:
    """Status and headers; that nobody may frame a page is said here, for only a header can say it."""
    lines = [
        f"HTTP/1.1 {status.value} {status.phrase}",
        f"Content-Type: {media}",
        f"Content-Security-Policy: {policy}; frame-ancestors 'none'",
    ]
    if length is not None:
        lines.append(f"Content-Length: {length}")
    if status is HTTPStatus.METHOD_NOT_ALLOWED:
        lines.append("Allow: GET, HEAD")
    return "\r\n".join((*lines, *_ALWAYS, "", "")).encode()
