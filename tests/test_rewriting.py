"""Rewriting a file never hurts it: killed at any moment, changed meanwhile, linked, read-only, or no plain file."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import random
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from habitatlint import files
from habitatlint.files import FileTrouble, rewrite
from habitatlint.language.formatting import formatted
from habitatlint.language.plan import plan_grammar
from habitatlint.source import Source

ROOT = Path(__file__).resolve().parent.parent
OLD = b"\n".join(b"place  p-%d\n\tat 0,%d\n" % (n, n) for n in range(2000))


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "farm.habitat"
    path.write_bytes(b"old\n")
    return path


def trouble(path: Path | str, before: bytes = b"old\n") -> str:
    """What is told where a file cannot be rewritten: one line with its name first."""
    with pytest.raises(FileTrouble) as raised:
        rewrite(str(path), before, b"new\n")
    said = str(raised.value)
    assert "\n" not in said and said.startswith(f"{path}: ") and ";" in said
    return said.removeprefix(f"{path}: ")


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def leftovers(folder: Path) -> list[str]:
    return [name for name in names(folder) if name.startswith(".habitatlint-")]


def test_a_file_is_replaced_and_nothing_lies_beside_it(plan: Path) -> None:
    assert rewrite(str(plan), b"old\n", b"new\n") is True
    assert plan.read_bytes() == b"new\n" and names(plan.parent) == ["farm.habitat"]


def test_a_file_that_is_so_already_is_not_touched(plan: Path) -> None:
    os.utime(plan, ns=(1, 1))
    inode = plan.stat().st_ino
    assert rewrite(str(plan), b"old\n", b"old\n") is False
    assert plan.stat().st_mtime_ns == 1 and plan.stat().st_ino == inode


@pytest.mark.parametrize("mode", [0o600, 0o604, 0o640, 0o664, 0o755])
def test_the_mode_is_kept(plan: Path, mode: int) -> None:
    plan.chmod(mode)
    rewrite(str(plan), b"old\n", b"new\n")
    assert stat.S_IMODE(plan.stat().st_mode) == mode


def test_the_owner_is_kept(plan: Path) -> None:
    if os.geteuid():
        pytest.skip("only root may give files away")
    os.chown(plan, 65534, 65533)
    rewrite(str(plan), b"old\n", b"new\n")
    held = plan.stat()
    assert (held.st_uid, held.st_gid) == (65534, 65533)


def test_links_are_followed_and_stay(plan: Path) -> None:
    (plan.parent / "below").mkdir()
    link, further = plan.parent / "link.habitat", plan.parent / "below" / "further.habitat"
    link.symlink_to("farm.habitat")
    further.symlink_to("../link.habitat")
    rewrite(str(further), b"old\n", b"new\n")
    assert further.is_symlink() and link.is_symlink() and not plan.is_symlink()
    assert plan.read_bytes() == b"new\n" and not leftovers(plan.parent) and names(further.parent) == [further.name]


def test_a_file_with_other_names_is_refused(plan: Path) -> None:
    os.link(plan, plan.parent / "other.habitat")
    said = "has other names (hard links) that would keep the old text; give it one name"
    assert trouble(plan) == said
    assert plan.read_bytes() == b"old\n" and not leftovers(plan.parent)


def test_what_is_no_plain_file_is_refused(plan: Path) -> None:
    pipe, loop = plan.parent / "pipe", plan.parent / "loop"
    os.mkfifo(pipe)
    loop.symlink_to("loop")
    assert trouble(pipe).startswith("not a plain file")  # and does not wait for a writer
    assert trouble("/dev/null").startswith("not a plain file")
    with pytest.raises(FileTrouble, match="a folder, not a file"):
        rewrite(str(plan.parent), b"", b"new\n")
    with pytest.raises(FileTrouble, match="cannot be read: too many levels of symbolic links"):
        rewrite(str(loop), b"", b"new\n")


def test_a_file_that_may_not_be_written_is_refused(plan: Path) -> None:
    plan.chmod(0o444)
    assert trouble(plan) == "may not be written; make it writable, or work on a copy"
    assert plan.read_bytes() == b"old\n" and names(plan.parent) == ["farm.habitat"]


def test_a_folder_that_may_not_be_written_is_told() -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        plan = folder / "farm.habitat"
        plan.write_bytes(b"old\n")
        plan.chmod(0o666)
        folder.chmod(0o555)
        with not_as_root():
            said = trouble(plan)
        assert "cannot be made beside it (permission denied); make the folder writable, or work on a copy" in said
        assert plan.read_bytes() == b"old\n" and names(folder) == ["farm.habitat"]
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)


@contextlib.contextmanager
def not_as_root() -> Iterator[None]:
    """As another user where this is root, who may write everywhere."""
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)


CHANGED = "was changed by another program meanwhile and is left as it is; run this again"


def test_a_file_changed_since_it_was_read_is_left(plan: Path) -> None:
    plan.write_bytes(b"old and new words\n")
    assert trouble(plan) == CHANGED
    assert plan.read_bytes() == b"old and new words\n" and not leftovers(plan.parent)


@pytest.mark.parametrize("how", ["written", "replaced", "linked", "locked", "taken away"])
def test_a_file_changed_while_the_new_one_is_written_is_left(
    plan: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    fill = files._fill

    def and_meanwhile(*arguments: object) -> None:
        fill(*arguments)  # type: ignore[arg-type]
        if how == "written":
            plan.write_bytes(b"words of another program\n")
        elif how == "replaced":  # by a file of the same bytes, as a version control program does
            plan.rename(plan.parent / "elsewhere")
            plan.write_bytes(b"old\n")
        elif how == "linked":
            os.link(plan, plan.parent / "other")
        elif how == "locked":
            plan.chmod(0o400)
        else:
            plan.unlink()

    monkeypatch.setattr(files, "_fill", and_meanwhile)
    said = trouble(plan)
    wanted = {"linked": "has other names", "locked": "may not be written", "taken away": "no such file"}
    assert said.startswith(wanted.get(how, CHANGED))
    after = {"written": b"words of another program\n", "taken away": None}.get(how, b"old\n")
    assert (plan.read_bytes() if plan.exists() else None) == after and not leftovers(plan.parent)


def test_a_full_disk_leaves_the_file(plan: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(FileTrouble, match=r"farm\.habitat: cannot be written: no space left on device"):
        rewrite(str(plan), b"old\n", b"new\n")
    assert plan.read_bytes() == b"old\n" and names(plan.parent) == ["farm.habitat"]


def test_where_there_are_no_locks_a_file_is_replaced_whole(plan: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "POSIX", False)
    assert rewrite(str(plan), b"old\n", b"new\n") is True
    assert plan.read_bytes() == b"new\n" and names(plan.parent) == ["farm.habitat"]


def temporary_of(plan: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The temporary file that a rewriting uses."""
    seen: list[str] = []
    own = files._own
    with monkeypatch.context() as patched:
        patched.setattr(files, "_own", lambda path, *rest: (seen.append(path), own(path, *rest))[1])
        rewrite(str(plan), plan.read_bytes(), plan.read_bytes() + b"\n")
        rewrite(str(plan), plan.read_bytes(), plan.read_bytes()[:-1])
    return Path(seen[0])


def test_what_a_killed_run_left_is_taken_up_by_the_next(plan: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    temporary = temporary_of(plan, monkeypatch)
    temporary.write_bytes(b"half of something much longer than what comes")
    assert rewrite(str(plan), b"old\n", b"new\n") is True
    assert plan.read_bytes() == b"new\n" and not temporary.exists()
    temporary.write_bytes(b"half")
    assert rewrite(str(plan), b"new\n", b"new\n") is False
    assert plan.read_bytes() == b"new\n" and not temporary.exists()


def test_what_stands_in_the_way_is_neither_followed_nor_written_over(
    plan: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    temporary, dear = temporary_of(plan, monkeypatch), plan.parent / "dear"
    dear.write_bytes(b"dear to somebody\n")
    temporary.symlink_to(dear)
    assert "cannot be made beside it" in trouble(plan)
    temporary.unlink()
    os.link(dear, temporary)
    assert trouble(plan).endswith("beside it is in the way; take it away")
    assert dear.read_bytes() == b"dear to somebody\n" and temporary.exists() and plan.read_bytes() == b"old\n"


def test_two_runs_do_not_meet(plan: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    temporary = temporary_of(plan, monkeypatch)
    with open(temporary, "wb") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        assert trouble(plan) == "is being rewritten by another run; wait for it and run this again"
        assert temporary.exists() and plan.read_bytes() == b"old\n"
    assert rewrite(str(plan), b"old\n", b"new\n") is True


def start(work: Callable[[], None]) -> int:
    """A process of its own that works on until it is killed; it has begun when this returns."""
    ready, begun = os.pipe()
    child = os.fork()
    if child:
        os.close(begun)
        assert os.read(ready, 1) == b"."
        os.close(ready)
        return child
    try:
        os.write(begun, b".")
        while True:
            work()
    finally:
        os._exit(70)


def kill(child: int) -> None:
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "it ended by itself"


def test_a_kill_at_any_moment_leaves_the_old_file_or_the_new_one(plan: Path) -> None:
    old, new = OLD * 20, OLD[:-1] * 21
    plan.write_bytes(old)
    chance = random.Random(5)
    halves = 0
    seen = set()

    def work() -> None:
        before = plan.read_bytes()
        rewrite(str(plan), before, new if before == old else old)

    for _ in range(60):
        child = start(work)
        time.sleep(chance.uniform(0, 0.03))
        kill(child)
        now = plan.read_bytes()
        assert now in (old, new)
        seen.add(now == new)
        assert len(leftovers(plan.parent)) <= 1
        halves += len(leftovers(plan.parent))
    print(f"\nkilled 60 times, {halves} times with a temporary file left")
    assert seen == {True, False} and halves  # the kills did come at different moments
    rewrite(str(plan), plan.read_bytes(), b"new\n")
    assert names(plan.parent) == ["farm.habitat"]


def test_runs_at_the_same_time_leave_a_whole_file(plan: Path) -> None:
    texts = [b"%d\n" % number * 50_000 for number in range(4)]
    plan.write_bytes(texts[0])

    def work() -> None:
        with contextlib.suppress(FileTrouble):
            before = plan.read_bytes()
            rewrite(str(plan), before, texts[(texts.index(before) + 1) % 4])

    children = [start(work) for _ in range(3)]
    seen = set()
    for _ in range(300):
        now = plan.read_bytes()
        assert now in texts
        seen.add(now)
        time.sleep(0.002)
    for child in children:
        kill(child)
    assert len(seen) > 1
    rewrite(str(plan), plan.read_bytes(), b"new\n")
    assert names(plan.parent) == ["farm.habitat"]


def test_the_command_killed_at_any_moment_leaves_the_old_plan_or_the_new_one(plan: Path) -> None:
    new = formatted(Source("x", OLD.decode()), files.grammar("plan", plan_grammar)).encode()
    command = [sys.executable, "-m", "habitatlint", "format", "farm.habitat"]
    where = {"cwd": plan.parent, "env": {**os.environ, "PYTHONPATH": str(ROOT)}}
    chance = random.Random(9)
    plan.write_bytes(OLD)
    begin = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True, **where)  # type: ignore[call-overload]
    whole = time.perf_counter() - begin
    assert plan.read_bytes() == new != OLD
    for _ in range(12):
        plan.write_bytes(OLD)
        running = subprocess.Popen(command, stderr=subprocess.DEVNULL, **where)  # type: ignore[call-overload]
        time.sleep(chance.uniform(0.5, 1.05) * whole)
        running.kill()
        running.wait()
        assert plan.read_bytes() in (OLD, new)
    subprocess.run(command, check=True, capture_output=True, **where)  # type: ignore[call-overload]
    assert plan.read_bytes() == new and names(plan.parent) == ["farm.habitat"]
