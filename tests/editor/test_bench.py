"""The process in which plans are judged: what it finds, what becomes of it, and that it never outlives its server."""

from __future__ import annotations

import asyncio
import os
import signal
import sys
import time
from collections.abc import Awaitable, Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from editor.client import Client, stretch
from editor.test_protocol import LANE, NEAR, PUSHES, URI, has, lacks

from habitatlint.editor import bench as benches
from habitatlint.editor.bench import Bench, Process, Unjudged
from habitatlint.editor.desk import Desk
from habitatlint.editor.judging import Answer, Job, Order, answered
from habitatlint.findings import Policy
from habitatlint.review import Review
from habitatlint.source import Source

ROOT = Path(__file__).resolve().parents[2]
EXAMPLE = ROOT / "examples" / "kestering-seventy.habitat"
POLICY = Policy(date(2026, 2, 10))
NAME = "/plans/lane.habitat"
Work = Callable[[Bench, Desk], Awaitable[Any]]


def on_a_bench(review: Review, work: Work) -> tuple[Any, list[str]]:
    """What comes of some work on a bench, and what was said of its process meanwhile."""
    said: list[str] = []

    async def run() -> Any:
        desk = Desk(review)
        bench = Bench(desk, said.append)
        try:
            return await work(bench, desk)
        finally:
            bench.stop()
            await bench.stopped()

    return asyncio.run(run()), said


def opened(desk: Desk, text: str, path: str = NAME) -> Source:
    """A text that is open at a desk."""
    source = desk.open[path] = Source(path, text)
    return source


def feigned(monkeypatch: pytest.MonkeyPatch, at_its_first_order: str) -> None:
    """Processes that say they are ready, and do something else at their first order."""
    script = (
        "import os, sys, time; sys.path[:] = sys.argv[1:]; from habitatlint.editor.judging import *\n"
        "from habitatlint.editor import judging\n"
        f"judging.answered = lambda *order: {at_its_first_order}\nmain()"
    )
    monkeypatch.setattr(benches, "command", lambda: [sys.executable, "-P", "-c", script, *sys.path])


# -- what it finds ---------------------------------------------------------------------------------------------


def test_what_it_finds_is_what_a_desk_finds(review: Review, tmp_path: Path) -> None:
    """Of a plan, of one with an open part that is not saved and a pack that is, of rules, and of mends."""
    part, plan, pack = tmp_path / "rows.habitat", tmp_path / "main.habitat", tmp_path / "own"
    pack.mkdir()
    rules = 'rule no-rows\n  title "No rows"\n  each r in rows\n  report note say "a row"\n  because "none"\n'
    (pack / "no-rows.rules").write_text(rules, encoding="utf-8")
    part.write_text("# nothing yet\n", encoding="utf-8")
    head, row = LANE[: LANE.index("row")], LANE[LANE.index("row") :]

    async def work(bench: Bench, desk: Desk) -> None:
        texts = [
            opened(desk, EXAMPLE.read_text(encoding="utf-8"), str(EXAMPLE)),
            opened(desk, f'{head}include "rows.habitat"\nuse pack "own"\n', str(plan)),
        ]
        opened(desk, row, str(part))
        tried = False
        for source in texts:
            judgement = await bench.judge(source, False, POLICY)
            assert judgement == desk.judge(source, POLICY, lambda: False)
            mendable = [one for one in judgement.telling if one.mends]
            assert mendable
            for one in mendable[:2]:
                mends = await bench.mends(source, one, POLICY)
                assert mends == desk.mends(source, one, POLICY, lambda: False)
                assert all(mend.say and mend.edits for mend in mends)
                tried |= bool(mends)
        assert tried
        found = {(one.rule, one.where.path) for one in judgement.telling}
        assert {(NEAR, str(part)), ("own/no-rows", str(part))} <= found
        del desk.open[str(part)]  # closed: what is on disk counts again
        judgement = await bench.judge(texts[1], False, POLICY)
        assert judgement == desk.judge(texts[1], POLICY, lambda: False)
        assert NEAR not in {one.rule for one in judgement.telling}
        rule = Source(str(pack / "no-rows.rules"), rules)  # not open: the text goes with the order
        assert await bench.judge(rule, True, POLICY) == desk.judge_rules(rule, POLICY, lambda: False)

    assert on_a_bench(review, work)[1] == []


def test_a_plan_whose_report_is_not_kept_is_judged_again_for_its_mends(review: Review) -> None:
    desk = Desk(review)
    source = opened(desk, LANE)
    one = next(one for one in desk.judge(source, POLICY, lambda: False).telling if one.rule == NEAR)
    first = desk.mends(source, one, POLICY, lambda: False)
    assert first and Desk(review).mends(source, one, POLICY, lambda: False) == first
    changed = Source(NAME, LANE.replace("10,5 90,5", "10,25 90,25"))
    assert desk.mends(changed, one, POLICY, lambda: False) == ()  # it is found no more


# -- what becomes of it ----------------------------------------------------------------------------------------


@pytest.mark.skipif(sys.platform == "win32", reason="processes are killed by a signal")
def test_one_that_is_killed_comes_back(review: Review) -> None:
    async def work(bench: Bench, desk: Desk) -> None:
        lane, example = opened(desk, LANE), opened(desk, EXAMPLE.read_text(encoding="utf-8"), str(EXAMPLE))
        wanted = await bench.judge(lane, False, POLICY)
        first = bench.number
        assert first is not None
        under_way = asyncio.create_task(bench.judge(example, False, POLICY))
        await asyncio.sleep(0.05)
        os.kill(first, signal.SIGKILL)
        assert (await under_way).telling
        assert bench.number not in (None, first)
        assert await bench.judge(lane, False, POLICY) == wanted  # it knows the texts that were open before

    assert on_a_bench(review, work)[1] == ["the process that judges has ended (-9); another is begun"]


def test_a_text_over_which_it_ends_is_not_given_to_it_for_ever(review: Review, monkeypatch: pytest.MonkeyPatch) -> None:
    feigned(monkeypatch, "os._exit(3)")

    async def work(bench: Bench, desk: Desk) -> None:
        with pytest.raises(Unjudged, match="ends over this text"):
            await bench.judge(opened(desk, LANE), False, POLICY)

    assert on_a_bench(review, work)[1] == ["the process that judges has ended (3); another is begun"]


def test_where_none_can_be_had_a_thread_judges_and_it_is_said_once(
    review: Review, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(benches, "command", lambda: ["/no/such/python"])

    async def work(bench: Bench, desk: Desk) -> None:
        source = opened(desk, LANE)
        wanted = desk.judge(source, POLICY, lambda: False)
        assert await bench.judge(source, False, POLICY) == wanted
        dropped = asyncio.create_task(bench.judge(source, False, POLICY))
        await asyncio.sleep(0)
        dropped.cancel()
        assert await bench.judge(source, False, POLICY) == wanted

    _, said = on_a_bench(review, work)
    assert len(said) == 1 and "keys may wait while plans are judged" in said[0]


def test_one_that_cannot_load_what_it_needs_says_why(review: Review, monkeypatch: pytest.MonkeyPatch) -> None:
    script = "import sys; sys.path[:] = sys.argv[1:]; from habitatlint.editor import judging\n"
    script += "judging.every_measure = None\njudging.main()"
    monkeypatch.setattr(benches, "command", lambda: [sys.executable, "-P", "-c", script, *sys.path])

    async def work(bench: Bench, desk: Desk) -> None:
        assert (await bench.judge(opened(desk, LANE), False, POLICY)).telling

    _, said = on_a_bench(review, work)
    assert len(said) == 1 and "'NoneType' object is not callable; keys may wait" in said[0]


def test_a_stale_judgement_is_dropped(review: Review) -> None:
    desk = Desk(review)
    order = Order(7, Job("plan", NAME, POLICY), {NAME: LANE}, None)
    assert answered(desk, order, set()).outcome.telling
    dropped = {7}
    assert answered(desk, order._replace(texts={NAME: f"{LANE}# more\n"}), dropped) == Answer(7)
    assert desk.open[NAME].text.endswith("# more\n")  # what it told of the texts counts all the same
    asked = iter(range(100))

    async def work(bench: Bench, desk: Desk) -> None:
        example = EXAMPLE.read_text(encoding="utf-8")
        first = await bench.judge(opened(desk, example), False, POLICY)
        process = bench.number
        for _ in range(5):
            stale = asyncio.create_task(bench.judge(opened(desk, f"{example}# {next(asked)}\n"), False, POLICY))
            await asyncio.sleep(0.02)
            stale.cancel()
        assert await bench.judge(opened(desk, example), False, POLICY) == first
        assert bench.number == process  # it was not ended for it

    assert on_a_bench(review, work)[1] == []


def test_one_that_goes_on_with_what_was_dropped_is_ended(review: Review, monkeypatch: pytest.MonkeyPatch) -> None:
    feigned(monkeypatch, "time.sleep(60)")
    monkeypatch.setattr(benches, "HANG", 0.05)

    async def work(bench: Bench, desk: Desk) -> None:
        source = opened(desk, LANE)
        process = await Process.begin(review)
        stale = asyncio.create_task(process.do(Job("plan", NAME, POLICY), source, desk.open))
        await asyncio.sleep(0.05)
        stale.cancel()
        await asyncio.wait_for(process.ended(), 10)

    on_a_bench(review, work)


# -- with its server -------------------------------------------------------------------------------------------

pytestmark_of_linux = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="children are found in /proc")


def children(of: int) -> list[int]:
    """The processes that a process has begun and that go on."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, parent = stat.read_text(encoding="utf-8").rpartition(")")[2].split()[:2]
        except OSError:
            continue
        if int(parent) == of and state != "Z":
            found.append(int(stat.parent.name))
    return found


def lives(process: int) -> bool:
    try:
        return Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def child_of(client: Client) -> int:
    """The one process in which a server judges, that does so now."""
    client.open(URI, LANE)
    client.found(URI, has(NEAR))
    (child,) = children(client.process.pid)
    return child


@pytest.fixture
def client() -> Iterator[Client]:
    begun = Client(capabilities=PUSHES)
    yield begun
    begun.kill()


@pytestmark_of_linux
@pytest.mark.parametrize("end", ["goodbye", "closed", "killed"])
def test_it_ends_with_its_server(client: Client, end: str) -> None:
    child = child_of(client)
    example = EXAMPLE.read_text(encoding="utf-8")
    client.open("untitled:example", example)  # it is in the midst of work
    assert client.process.stdin and client.process.stderr
    if end == "goodbye":
        assert client.leave() == 0
    elif end == "closed":
        client.process.stdin.close()
        client.process.wait(20)
        client.process.stdin = None
    else:
        client.process.kill()
        client.process.wait()
    until = time.monotonic() + 10
    while lives(child) and time.monotonic() < until:
        time.sleep(0.02)
    assert not lives(child)
    assert client.process.stderr.read() == b""


@pytestmark_of_linux
def test_a_writer_is_told_as_before_when_it_was_killed(client: Client) -> None:
    os.kill(child_of(client), signal.SIGKILL)
    client.change(URI, {"range": stretch(6, 2, 18), "text": "stumps 10,25 90,25"})
    client.found(URI, lacks(NEAR))
    client.change(URI, {"text": LANE})
    client.found(URI, has(NEAR))
