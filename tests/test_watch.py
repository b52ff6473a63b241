"""`watch` as people use it: a plan is saved, and the page and the terminal tell of it; nobody else is answered."""

from __future__ import annotations

import contextlib
import http.client
import os
import queue
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from habitatlint.cli import serving

ROOT = Path(__file__).resolve().parent.parent
#: seconds in which a save is to be seen on the page, and in which whatever else comes if it comes at all
SOON, EVER = 2.0, 10.0

PLAN = """\
plan "Two faults"

boundary
  outline 0,0 400,0 400,400 0,400

path lane "Lane"
  use entry
  line 0,20 300,20

stand seat
  at 302,22
  reach lane

pocket cover
  outline 60,60 160,60 160,120 60,120

row screen
  method hinge
  stumps 40,28 120,28
  spacing 20
  fall N
  dbh 8in
  step 1
"""
ROW = "  stumps 40,28 120,28\n"


class Watch:
    """The command in a process of its own, off a terminal, with what it tells."""

    def __init__(self, plan: Path, *arguments: str) -> None:
        self.plan = plan
        self.process = subprocess.Popen(
            [sys.executable, "-m", "habitatlint", "watch", plan.name, *arguments], cwd=plan.parent, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        self.found, self.said = self._lines("stdout"), self._lines("stderr")
        first = self.hear(self.said, "", 3 * EVER)
        address = re.search(r"http://127\.0\.0\.1:(\d+)/", first)
        assert address, first
        self.port = int(address[1])
        self.hear(self.said, "checked")

    def _lines(self, stream: str) -> queue.SimpleQueue[str]:
        lines: queue.SimpleQueue[str] = queue.SimpleQueue()

        def read() -> None:
            for line in getattr(self.process, stream):
                lines.put(line.rstrip("\n"))

        threading.Thread(target=read, daemon=True).start()
        return lines

    @staticmethod
    def hear(lines: queue.SimpleQueue[str], words: str, seconds: float = EVER) -> str:
        """The next line with these words; fails where none comes in time."""
        until = time.monotonic() + seconds
        heard = []
        while True:
            try:
                heard.append(lines.get(timeout=max(0.0, until - time.monotonic())))
            except queue.Empty:
                raise AssertionError(f"nothing of {words!r} in {heard}") from None
            if words in heard[-1]:
                return heard[-1]

    def ask(self, path: str = "/", method: str = "GET", **headers: str) -> http.client.HTTPResponse:
        """An answer with its whole body read, as `answer.body`."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=EVER)
        connection.request(method, path, headers={name.replace("_", "-"): value for name, value in headers.items()})
        answer = connection.getresponse()
        answer.body = answer.read().decode()  # type: ignore[attr-defined]
        connection.close()
        return answer

    def page(self) -> str:
        return self.ask().body  # type: ignore[attr-defined,no-any-return]

    @contextlib.contextmanager
    def events(self) -> Iterator[Iterator[str]]:
        """The marks that the server sends, as they come."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=EVER)
        connection.request("GET", "/events")
        answer = connection.getresponse()
        assert answer.status == 200 and answer.getheader("Content-Type") == "text/event-stream"
        lines = iter(answer.readline, b"")
        yield (line[6:].decode().strip() for line in lines if line.startswith(b"data: "))
        answer.close()
        connection.close()

    def save(self, text: str | bytes) -> None:
        """As many editors save: another file is put in the old one's place."""
        put(self.plan, text)

    def end(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(EVER)


def put(path: Path, text: str | bytes) -> None:
    """Puts a file, or a folder with it where there is none yet, in its place at one stroke."""
    made = path.parent.with_name("made")
    made.mkdir()
    (made / path.name).write_bytes(text.encode() if isinstance(text, str) else text)
    if path.parent.exists():
        (made / path.name).replace(path)
        made.rmdir()
    else:
        made.rename(path.parent)


@contextlib.contextmanager
def watching(folder: Path, *arguments: str) -> Iterator[Watch]:
    plan = folder / "farm.habitat"
    if not plan.exists():
        plan.write_text(PLAN, encoding="utf-8")
    watch = Watch(plan, *arguments)
    try:
        yield watch
    finally:
        watch.process.kill()
        watch.process.wait(EVER)


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Watch]:
    """A watch over a plan that nobody saves."""
    with watching(tmp_path_factory.mktemp("still")) as watch:
        yield watch


def refused(arguments: list[str], cwd: Path) -> str:
    """What a watch says that does not begin."""
    done = subprocess.run(
        [sys.executable, "-m", "habitatlint", "watch", *arguments], cwd=cwd, capture_output=True, text=True,
        check=False, timeout=30, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    return done.stderr


# -- saves -----------------------------------------------------------------------------------------------------


def test_a_save_is_seen_on_the_page_and_on_the_terminal_at_once(tmp_path: Path) -> None:
    with watching(tmp_path, "--as", "gnu") as watch, watch.events() as marks:
        assert re.fullmatch(r"farm\.habitat:18:3: error: .+ \(entry/[a-z-]+\)", watch.hear(watch.found, ":18:3:"))
        before = next(marks)
        assert before in watch.page()
        saved = time.monotonic()
        watch.save(PLAN.replace("Two faults", "Mended").replace(ROW, "\n  stumps 70,80 150,80\n"))
        after = next(marks)
        assert time.monotonic() - saved < SOON
        page = watch.page()
        assert after != before and after in page and "<h1>Mended</h1>" in page
        watch.hear(watch.said, "checked")
        # as other editors save: into the file that is there
        watch.plan.write_text(PLAN.replace("Two faults", "Written over"), encoding="utf-8")
        watch.hear(watch.said, "checked")
        assert "<h1>Written over</h1>" in watch.page()


def test_a_line_half_typed_keeps_the_last_good_map_under_the_present_text(tmp_path: Path) -> None:
    with watching(tmp_path) as watch, watch.events() as marks:
        next(marks)
        assert 'data-block="screen" data-line="17"' in watch.page()
        watch.save(PLAN.replace("boundary", "# so it goes on\nboundary", 1).replace(ROW, "  stumps 40,28 12\n"))
        next(marks)
        notice = watch.hear(watch.said, "the map is of ")
        assert re.fullmatch(r"the map is of \d\d:\d\d:\d\d: line 20 cannot be read yet; findings .+", notice)
        page = watch.page()
        assert f'<p class="notice" role="status">{notice}</p>' in page and "so it goes on" in page
        # the row is on the map still, and leads to where its block stands now
        assert 'data-block="screen" data-line="18"' in page
        watch.save(PLAN)
        next(marks)
        page = watch.page()
        assert 'class="notice"' not in page and 'data-block="screen" data-line="17"' in page


def test_a_plan_whose_first_reading_is_broken_has_a_map_of_what_is_whole(tmp_path: Path) -> None:
    (tmp_path / "farm.habitat").write_text(PLAN.replace(ROW, "  stumps 40,\n"), encoding="utf-8")
    with watching(tmp_path) as watch, watch.events() as marks:
        next(marks)
        assert 'class="notice"' not in watch.page() and 'data-block="lane"' in watch.page()
        # no more is unreadable than before: the map follows
        watch.save(PLAN.replace(ROW, "  stumps 40,\n").replace("path lane", "path avenue").replace("reach lane", ""))
        next(marks)
        page = watch.page()
        assert 'class="notice"' not in page and 'data-block="avenue"' in page and 'data-block="lane"' not in page
        watch.save("")
        next(marks)
        assert "farm.habitat: nothing is in it" in watch.page() and 'data-block="avenue"' in watch.page()


def test_a_file_that_is_gone_or_no_plan_is_told_in_a_line_and_the_page_stays(tmp_path: Path) -> None:
    with watching(tmp_path) as watch, watch.events() as marks:
        next(marks)
        watch.plan.unlink()
        next(marks)
        told = watch.hear(watch.said, "no such file")
        assert re.fullmatch(r"farm\.habitat: no such file; .+; the page is of [\d:]{8}", told)
        assert "farm.habitat: no such file" in watch.page() and 'data-block="screen"' in watch.page()
        watch.plan.mkdir()
        next(marks)
        watch.hear(watch.said, "farm.habitat: a folder, not a file")
        watch.plan.rmdir()
        watch.save("plan \u201cCaf\u00e9\u201d".encode("latin-1", "replace"))
        watch.hear(watch.said, "farm.habitat:1: not UTF-8 text")
        assert "not UTF-8 text" in watch.page() and "<h1>Two faults</h1>" in watch.page()
        watch.save(b" " * (8 * 1024 * 1024 + 1))
        watch.hear(watch.said, "farm.habitat: larger than 8 MB")
        watch.save(PLAN)
        watch.hear(watch.said, "checked")
        assert 'class="notice"' not in watch.page()


def test_what_a_plan_includes_and_uses_is_watched_with_it(tmp_path: Path) -> None:
    head = (
        'plan "Two faults"\n  picture "aerial.png" at 0,0 400,400\n\ninclude "more/stands.habitat"\n\nuse pack "ours"\n'
    )
    (tmp_path / "farm.habitat").write_text(PLAN.replace('plan "Two faults"\n', head), encoding="utf-8")
    with watching(tmp_path) as watch:
        page = watch.page()
        assert "there is no such file" in page and "there is no such folder" in page and "data:image/" not in page
        put(tmp_path / "more" / "stands.habitat", "stand far\n  at 100,300\n")
        watch.hear(watch.said, "checked")
        assert 'data-block="far"' in watch.page()
        put(tmp_path / "more" / "stands.habitat", "stand further\n  at 100,300\n")
        watch.hear(watch.said, "checked")
        assert 'data-block="further"' in watch.page()
        put(tmp_path / "ours" / "one.rules", "rule nonsense\n")
        watch.hear(watch.said, "checked")
        assert "ours/one.rules" in watch.page()
        aerial = BytesIO()
        Image.new("RGB", (80, 80), (90, 120, 60)).save(aerial, "PNG")
        put(tmp_path / "aerial.png", aerial.getvalue())
        watch.hear(watch.said, "checked")
        assert "data:image/" in watch.page()


def test_the_watch_ends_cleanly_when_it_is_interrupted(tmp_path: Path) -> None:
    with watching(tmp_path) as watch, watch.events() as marks:
        next(marks)
        assert watch.end() == 0
        assert watch.process.stderr is not None
        with pytest.raises(AssertionError):
            watch.hear(watch.said, "", 0.1)


# -- what does not begin ---------------------------------------------------------------------------------------


def test_a_port_that_is_taken_is_told_with_a_remedy(tmp_path: Path) -> None:
    (tmp_path / "farm.habitat").write_text(PLAN, encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        said = refused(["farm.habitat", "--port", str(port)], tmp_path)
    assert re.fullmatch(rf"habitatlint: port {port} cannot be had: .+; give another with --port, or .+\n", said)


def test_a_plan_that_is_not_there_is_told_at_once(tmp_path: Path) -> None:
    said = refused(["farm.habitat"], tmp_path)
    assert said == "habitatlint: farm.habitat: no such file; give the path of a plan or a folder of plans\n"


# -- who is answered -------------------------------------------------------------------------------------------


def test_the_page_comes_with_headers_that_keep_it_to_itself(still: Watch) -> None:
    answer = still.ask()
    assert answer.status == 200 and answer.getheader("Content-Type") == "text/html; charset=utf-8"
    for name, value in {
        "Cache-Control": "no-store",
        "X-Content-Type-Options": "nosniff",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Referrer-Policy": "no-referrer",
    }.items():
        assert answer.getheader(name) == value
    policy = answer.getheader("Content-Security-Policy") or ""
    assert "default-src 'none'" in policy and "connect-src 'self'" in policy and "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy and re.search(r"script-src 'sha256-[^']+';", policy)
    headless = still.ask(method="HEAD")
    assert headless.status == 200 and headless.body == ""  # type: ignore[attr-defined]
    assert headless.getheader("Content-Length") == answer.getheader("Content-Length")


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost", "[::1]", "LOCALHOST"])
def test_the_server_answers_under_its_own_names(still: Watch, name: str) -> None:
    assert still.ask(Host=f"{name}:{still.port}", Sec_Fetch_Site="none").status == 200


@pytest.mark.parametrize("path", ["/", "/events", "/elsewhere"])
@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "elsewhere.example:{port}"},
        {"Host": "127.0.0.1.elsewhere.example:{port}"},
        {"Host": "127.0.0.1"},
        {"Host": "127.0.0.1:1"},
        {"Host": ""},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": "https://127.0.0.1:{port}"},
    ],
)
def test_no_other_host_or_site_is_answered(still: Watch, path: str, headers: dict[str, str]) -> None:
    answer = still.ask(path, **{name: value.format(port=still.port) for name, value in headers.items()})
    assert answer.status == 403
    assert "farm" not in answer.body and not answer.getheader("Access-Control-Allow-Origin")  # type: ignore[attr-defined]


def test_nothing_else_is_there_and_nothing_can_be_sent(still: Watch) -> None:
    for path in ("/farm.habitat", "/../farm.habitat", "//", "/?a", "*", "/events/"):
        assert still.ask(path).status == 404, path
    for method in ("POST", "PUT", "DELETE", "OPTIONS", "TRACE", "get"):
        answer = still.ask(method=method)
        assert (answer.status, answer.getheader("Allow")) == (405, "GET, HEAD"), method


def raw(port: int, data: bytes, seconds: float = EVER) -> bytes:
    """What is answered to bytes."""
    with socket.create_connection(("127.0.0.1", port), timeout=seconds) as call:
        call.sendall(data)
        parts = []
        while part := call.recv(65536):
            parts.append(part)
    return b"".join(parts)


def test_what_is_no_request_is_refused(still: Watch) -> None:
    host = f"Host: 127.0.0.1:{still.port}\r\n".encode()
    for data, status in {
        b"GET / HTTP/1.1\r\n\r\n": 403,
        b"GET / HTTP/1.1\r\n" + host + host + b"\r\n": 403,
        b"GET /\r\n\r\n": 400,
        b"GET / HTTP/9\r\n" + host + b"\r\n": 400,
        b"\x16\x03\x01\x02\x00\x01\r\n\r\n": 400,
        b"\xff\xfe / HTTP/1.1\r\n\r\n": 400,
        b"GET / HTTP/1.1\r\n" + b"A: b\r\n" * 200 + host + b"\r\n": 400,
        b"GET / HTTP/1.1\r\nA: " + b"b" * 20_000 + b"\r\n\r\n": 431,
    }.items():
        assert raw(still.port, data).startswith(f"HTTP/1.1 {status} ".encode()), data[:40]
    assert still.ask().status == 200


def test_callers_that_wait_or_flood_neither_hang_nor_end_it(still: Watch) -> None:
    slow = [socket.create_connection(("127.0.0.1", still.port)) for _ in range(20)]
    for call in slow:
        call.sendall(b"GET / HTTP/1.1\r\nHost: ")
    with socket.create_connection(("127.0.0.1", still.port)) as flood, pytest.raises(OSError):
        for _ in range(2000):  # a head without end
            flood.sendall(b"A: b\r\n" * 2000)
    assert still.ask().status == 200
    for call in slow:
        call.close()


def test_a_request_that_is_never_whole_is_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serving, "TO_ASK", 0.3)
    server = serving.Server()
    server.start(serving.Shown("1", "<p>page", "default-src 'none'"))
    with socket.create_connection(("127.0.0.1", server.port), timeout=EVER) as call:
        call.sendall(b"GET / HTTP/1.1\r\n")
        began = time.monotonic()
        assert call.recv(1) == b""
    assert 0.2 < time.monotonic() - began < 2


def test_some_dozens_of_pages_may_be_open_and_one_that_closes_makes_room(still: Watch) -> None:
    ask = f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{still.port}\r\n\r\n".encode()
    streams = []
    for _ in range(serving.MOST_STREAMS + 1):
        stream = socket.create_connection(("127.0.0.1", still.port), timeout=EVER)
        stream.sendall(ask)
        streams.append((stream, stream.recv(12)))
    assert [said for _, said in streams] == [b"HTTP/1.1 200"] * serving.MOST_STREAMS + [b"HTTP/1.1 503"]
    assert still.ask().status == 200
    for stream, _ in streams:
        stream.close()
    time.sleep(0.2)
    with still.events() as marks:
        assert next(marks)


# -- in a browser ----------------------------------------------------------------------------------------------


def test_a_browser_shows_the_map_anew_after_a_save_and_keeps_its_zoom(browser: Any, tmp_path: Path) -> None:
    with watching(tmp_path) as watch:
        tab = browser.new_page()
        errors: list[str] = []
        tab.on("console", lambda word: errors.append(word.text) if word.type == "error" else None)
        tab.on("pageerror", lambda error: errors.append(str(error)))
        tab.goto(f"http://127.0.0.1:{watch.port}/")
        seen = "document.querySelector('#sheet svg').getAttribute('viewBox')"
        whole = tab.evaluate(seen)
        for _ in range(3):
            tab.click("[data-do=in]")
        tab.wait_for_function(f"{seen} !== {whole!r}")
        tab.wait_for_timeout(100)
        near = tab.evaluate(seen)
        watch.save(PLAN.replace("Two faults", "Seen anew").replace("pocket cover", "pocket thicket"))
        tab.wait_for_selector("h1:text('Seen anew')", timeout=EVER * 1000)
        assert tab.locator('#sheet [data-block="thicket"]').count() and not tab.locator('[data-block="cover"]').count()
        tab.wait_for_function(f"{seen} !== {whole!r}")
        as_before = [float(number) for number in tab.evaluate(seen).split()]
        assert as_before == pytest.approx([float(number) for number in near.split()], abs=0.01)
        watch.save(PLAN.replace(ROW, "  stumps 40,28 12\n"))
        tab.wait_for_selector(".notice", timeout=EVER * 1000)
        assert "line 19 cannot be read yet" in tab.inner_text(".notice")
        assert tab.locator('#sheet [data-block="screen"]').count()
        assert errors == []
        tab.close()
