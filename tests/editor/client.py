"""A small client of the protocol for tests: starts the server, sends, and waits for what comes."""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

#: seconds after which what does not come is missed
PATIENCE = 20.0


class Client:
    """One server in a process of its own."""

    def __init__(self, *, capabilities: dict[str, Any] | None = None, options: dict[str, Any] | None = None,
                 root: str | None = None) -> None:  # fmt: skip
        self.process = subprocess.Popen(
            [sys.executable, "-m", "habitatlint", "language-server"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        self.notices: queue.Queue[dict[str, Any]] = queue.Queue()
        self.answers: dict[int, queue.Queue[dict[str, Any]]] = {}
        #: requests that the server made, answered with null
        self.asked: list[dict[str, Any]] = []
        self.versions: dict[str, int] = {}
        self._number = 0
        threading.Thread(target=self._read, daemon=True).start()
        if capabilities is not None:
            self.initialize(capabilities, options or {"settle": 20}, root)

    def initialize(self, capabilities: dict[str, Any], options: dict[str, Any], root: str | None) -> None:
        uri = f"file://{root}" if root else None
        self.said = self.ask("initialize", {"processId": None, "rootUri": uri, "capabilities": capabilities,
                                            "initializationOptions": options})["capabilities"]  # fmt: skip
        self.tell("initialized", {})

    # -- messages -------------------------------------------------------------------------------------

    def send(self, body: bytes) -> None:
        assert self.process.stdin
        self.process.stdin.write(b"Content-Length: %d\r\n\r\n" % len(body) + body)
        self.process.stdin.flush()

    def tell(self, method: str, params: Any) -> None:
        self.send(json.dumps({"jsonrpc": "2.0", "method": method, "params": params}).encode())

    def begin(self, method: str, params: Any) -> int:
        """Asks, and does not wait."""
        self._number += 1
        self.answers[self._number] = queue.Queue()
        self.send(json.dumps({"jsonrpc": "2.0", "id": self._number, "method": method, "params": params}).encode())
        return self._number

    def answer(self, number: int) -> dict[str, Any]:
        """The whole answer to a request, be it an error."""
        return self.answers[number].get(timeout=PATIENCE)

    def ask(self, method: str, params: Any) -> Any:
        answer = self.answer(self.begin(method, params))
        assert "error" not in answer, answer["error"]
        return answer.get("result")

    def _read(self) -> None:
        assert self.process.stdout
        stream = self.process.stdout
        while True:
            length = 0
            while (line := stream.readline()).strip():
                name, _, value = line.partition(b":")
                assert name.lower() in (b"content-length", b"content-type"), line  # nothing else is ever printed
                if name.lower() == b"content-length":
                    length = int(value)
            if not line:
                return
            message = json.loads(stream.read(length))
            if "method" not in message:
                self.answers[message["id"]].put(message)
            elif "id" in message:
                self.asked.append(message)
                self.send(json.dumps({"jsonrpc": "2.0", "id": message["id"], "result": None}).encode())
            else:
                self.notices.put(message)

    # -- texts ----------------------------------------------------------------------------------------

    def open(self, uri: str, text: str, language: str = "habitat") -> None:
        self.versions[uri] = 1
        document = {"uri": uri, "languageId": language, "version": 1, "text": text}
        self.tell("textDocument/didOpen", {"textDocument": document})

    def change(self, uri: str, *changes: dict[str, Any]) -> int:
        self.versions[uri] += 1
        document = {"uri": uri, "version": self.versions[uri]}
        self.tell("textDocument/didChange", {"textDocument": document, "contentChanges": list(changes)})
        return self.versions[uri]

    def found(
        self, uri: str, until: Callable[[list[dict[str, Any]]], bool] = lambda found: True
    ) -> list[dict[str, Any]]:
        """What is published of a text, once it is as wanted."""
        end = time.monotonic() + PATIENCE
        last: Any = None
        while (left := end - time.monotonic()) > 0:
            try:
                notice = self.notices.get(timeout=left)
            except queue.Empty:
                break
            if notice["method"] == "textDocument/publishDiagnostics" and notice["params"]["uri"] == uri:
                last = notice["params"]["diagnostics"]
                if until(last):
                    return list(last)
        raise AssertionError(
            f"not told in time; last told: {[one['code'] for one in last] if last is not None else None}"
        )

    # -- the end --------------------------------------------------------------------------------------

    def leave(self) -> int:
        """Says goodbye as the protocol has it; the server's exit status."""
        self.ask("shutdown", None)
        self.tell("exit", None)
        return self.process.wait(PATIENCE)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()
        for stream in (self.process.stdin, self.process.stdout, self.process.stderr):
            if stream:
                stream.close()


def at(line: int, character: int) -> dict[str, int]:
    return {"line": line, "character": character}


def stretch(line: int, start: int, end: int) -> dict[str, Any]:
    return {"start": at(line, start), "end": at(line, end)}


def codes(found: list[dict[str, Any]]) -> list[str]:
    return [one["code"] for one in found]
