"""A machine that means harm, or fails: a planted cache, a full disk, a kill, a folder that may not be written, a file
that is gone, two runs on one cache. Nothing is lost, nothing half-written, and what comes out is the same.

Rewriting a plan under the same is in `test_rewriting`.
"""

from __future__ import annotations

import os
import pickle
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from habitatlint import files
from habitatlint.files import FileTrouble

ROOT = Path(__file__).resolve().parents[2]
PLAN = "fallow-ridge.habitat"


@pytest.fixture(scope="module")
def warm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cache as a first run leaves it."""
    place = tmp_path_factory.mktemp("warm") / "cache"
    environment = {**os.environ, "XDG_CACHE_HOME": str(place), "PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, "-m", "habitatlint", "rules"], env=environment, check=True, capture_output=True)
    return place


@pytest.fixture
def folder(warm: Path) -> Iterator[Path]:
    """A folder that any user may enter, with a plan and a warm cache of its own."""
    place = Path(tempfile.mkdtemp())
    place.chmod(0o755)
    shutil.copytree(warm, place / "cache")
    for name in ("fallow-ridge.habitat", "shared"):
        source = ROOT / "examples" / name
        shutil.copytree(source, place / name) if source.is_dir() else shutil.copy(source, place / name)
    yield place
    subprocess.run(["chmod", "-R", "u+rwX", str(place)], check=True)
    shutil.rmtree(place)


Command = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def begin(folder: Path) -> Command:
    """Begins the real command in the folder, with its cache there; `most` is the largest file it may write."""

    def start(*arguments: str, most: int | None = None, cache: Path | None = None) -> subprocess.Popen[str]:
        def held() -> None:
            if most is not None:
                signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # as a full disk: an error, and no signal
                resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

        environment = {**os.environ, "XDG_CACHE_HOME": str(cache or folder / "cache"), "PYTHONPATH": str(ROOT),
                       "PYTHONDONTWRITEBYTECODE": "1"}  # fmt: skip
        return subprocess.Popen(
            [sys.executable, "-m", "habitatlint", *arguments], cwd=folder, env=environment, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, preexec_fn=held,
        )  # fmt: skip

    return start


CHECK = ("check", "--as", "gnu", "--today", "2026-02-10", PLAN)


def ended(running: subprocess.Popen[str]) -> tuple[int, str, str]:
    out, told = running.communicate(timeout=60)
    assert "Traceback" not in told and "a fault of this program" not in told, told
    return running.returncode, out, told


# -- a planted cache --------------------------------------------------------------------------------------------


class Planted:
    """What does its harm as soon as it is unpickled."""

    def __init__(self, trace: Path) -> None:
        self.trace = trace

    def __reduce__(self) -> tuple[object, tuple[str]]:
        return os.mkdir, (str(self.trace),)


@pytest.mark.parametrize("how", ["others may write", "others may read", "another's", "a file in its place", "relative"])
def test_a_cache_that_is_not_ones_own_is_never_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    trace, cache = tmp_path / "harm", tmp_path / "habitatlint"
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    if how == "a file in its place":
        cache.write_bytes(b"")
    else:
        cache.mkdir(mode=0o700)
        (cache / "packs-1").write_bytes(pickle.dumps(Planted(trace)))
    if how == "another's":
        if os.geteuid() != 0:
            pytest.skip("only root can give a folder away")
        os.chown(cache, 65534, 65534)
    elif how == "relative":
        monkeypatch.chdir(tmp_path)
        monkeypatch.setenv("XDG_CACHE_HOME", ".")
    elif how.startswith("others"):
        cache.chmod(0o722 if "write" in how else 0o744)
    assert files.kept("packs-1", lambda: "made") == "made"
    assert not trace.exists()


def test_the_same_cache_of_ones_own_is_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that the test above cannot pass by nothing ever being opened."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    (tmp_path / "habitatlint").mkdir(mode=0o700)
    (tmp_path / "habitatlint" / "packs-1").write_bytes(pickle.dumps("kept"))
    assert files.kept("packs-1", lambda: "made") == "kept"


@pytest.mark.parametrize("damage", ["cut short", "empty", "junk", "a folder", "a pipe"])
def test_what_was_kept_and_is_damaged_is_made_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, damage: str
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    path = tmp_path / "habitatlint" / "packs-1"
    path.parent.mkdir(mode=0o700)
    whole = pickle.dumps(["kept"] * 1000)
    if damage == "a folder":
        path.mkdir()
    elif damage == "a pipe":
        os.mkfifo(path)
    else:
        path.write_bytes({"cut short": whole[: len(whole) // 2], "empty": b"", "junk": b"\x80\x05junk" * 9}[damage])
    assert files.kept("packs-1", lambda: "made") == "made"


def test_a_damaged_cache_changes_no_finding(folder: Path, begin: Command) -> None:
    _, whole, _ = ended(begin(*CHECK))
    kept = [path for path in (folder / "cache").rglob("*") if path.is_file()]
    assert len(kept) >= 2
    for path in kept:
        path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    assert ended(begin(*CHECK))[1] == whole != ""


# -- a full disk, a folder that may not be written, what is gone -----------------------------------------------------


def test_a_full_disk_costs_the_cache_and_nothing_else(folder: Path, begin: Command) -> None:
    _, whole, _ = ended(begin(*CHECK))
    _, out, told = ended(begin(*CHECK, most=1000, cache=folder / "other"))
    assert (out, told) == (whole, "")
    assert not list((folder / "other").rglob("packs-*"))
    assert ended(begin(*CHECK, cache=folder / "other"))[1] == whole  # what lies there cut short misleads nobody


@pytest.mark.parametrize("command", ["map", "work"])
def test_a_full_disk_leaves_the_old_output(folder: Path, begin: Command, command: str) -> None:
    name = "old.html"
    (folder / name).write_text("dear to somebody\n")
    status, _, told = ended(begin(command, PLAN, "-o", name, "--today", "2026-02-10", most=1000))
    assert status == 2 and told.startswith(f"habitatlint: {name}: cannot be written: file too large")
    assert told.count("\n") == 1
    assert (folder / name).read_text() == "dear to somebody\n"
    assert not [path.name for path in folder.iterdir() if path.name.startswith(".habitatlint-")]


def test_a_folder_that_may_not_be_written_is_told_and_checked_all_the_same(folder: Path) -> None:
    if os.geteuid() == 0:
        os.seteuid(65534)  # root may write everywhere
    try:
        with pytest.raises(FileTrouble, match=r"cannot be written: permission denied; give another folder or name"):
            files.write_files({str(folder / "out.html"): b"x"})
        os.environ["XDG_CACHE_HOME"], old = str(folder / "cache"), os.environ.get("XDG_CACHE_HOME")
        try:
            assert files.kept("packs-1", lambda: "made") == "made"
        finally:
            os.environ.pop("XDG_CACHE_HOME") if old is None else os.environ.update(XDG_CACHE_HOME=old)
    finally:
        if os.getuid() == 0:
            os.seteuid(0)
    assert sorted(path.name for path in folder.iterdir()) == ["cache", PLAN, "shared"]


@pytest.mark.parametrize("make", [os.mkfifo, os.mkdir, lambda path: os.symlink("/dev/null", path)],
                         ids=["pipe", "folder", "device"])  # fmt: skip
def test_no_output_takes_the_place_of_what_is_no_plain_file(tmp_path: Path, make: Callable[[str], None]) -> None:
    path = tmp_path / "out.html"
    make(str(path))
    before = os.lstat(path)
    with pytest.raises(FileTrouble, match=r"out\.html: (not a plain file; give another name|a folder; give)"):
        files.write_files({str(path): b"x"})
    assert os.path.samestat(os.lstat(path), before) and list(tmp_path.iterdir()) == [path]


def test_a_plan_that_is_gone_before_it_is_read_costs_itself_alone(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from click.testing import CliRunner

    from habitatlint.cli.main import FAILED, main

    (folder / "gone.habitat").write_text('plan "Gone"\n')
    listed = files.plans_in

    def and_gone(path: str) -> list[str]:
        found = listed(path)
        (folder / "gone.habitat").unlink(missing_ok=True)
        return found

    monkeypatch.setattr(files, "plans_in", and_gone)
    monkeypatch.chdir(folder)
    result = CliRunner().invoke(main, ["check", "--as", "gnu", "--today", "2026-02-10", "."])
    assert result.exit_code == FAILED
    assert "gone.habitat: no such file" in result.stderr and result.stderr.count("\n") == 1


# -- runs at the same time, and runs that are killed ------------------------------------------------------------------


def test_runs_on_one_cold_cache_tell_the_same_and_leave_it_whole(folder: Path, begin: Command) -> None:
    shutil.rmtree(folder / "cache")
    together = [begin(*CHECK) for _ in range(2)]
    outcomes = {ended(running) for running in together}
    assert len(outcomes) == 1
    assert {ended(begin(*CHECK))} == outcomes  # by the cache that they left
    names = [path.name for path in (folder / "cache").rglob("*") if path.is_file()]
    assert not [name for name in names if name.startswith(".habitatlint-")]


def test_a_kill_while_the_cache_is_made_leaves_nothing_that_misleads(folder: Path, begin: Command) -> None:
    shutil.rmtree(folder / "cache")
    started = time.perf_counter()
    outcome = ended(begin(*CHECK))
    whole = time.perf_counter() - started
    chance = random.Random(3)
    for _ in range(2):
        shutil.rmtree(folder / "cache", ignore_errors=True)
        running = begin(*CHECK)
        time.sleep(whole * chance.uniform(0.3, 0.95))
        running.kill()
        running.communicate()
        assert ended(begin(*CHECK)) == outcome


def test_an_output_killed_at_any_moment_is_the_old_one_or_the_new_one(folder: Path, begin: Command) -> None:
    write = ("map", PLAN, "-o", "page.html", "--today", "2026-02-10")
    started = time.perf_counter()
    assert ended(begin(*write))[0] == 0
    whole = time.perf_counter() - started
    new, chance = (folder / "page.html").read_bytes(), random.Random(4)
    for _ in range(2):
        (folder / "page.html").write_bytes(b"old\n")
        running = begin(*write)
        time.sleep(whole * chance.uniform(0.6, 1.0))
        running.kill()
        running.communicate()
        assert (folder / "page.html").read_bytes() in (b"old\n", new)
