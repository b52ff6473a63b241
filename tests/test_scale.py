"""Many plans at once: shared out among processes, remembered from run to run, and told as one by one."""

from __future__ import annotations

import errno
import io
import json
import os
import pickle
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli import judging, many, project, remembering
from habitatlint.cli.judging import Job
from habitatlint.cli.main import main
from habitatlint.cli.many import Way, judge_all
from habitatlint.cli.progress import Progress
from habitatlint.cli.remembering import Memory
from habitatlint.outputs import Style, render
from habitatlint.source import Source
from habitatlint.verdict import packed, unpacked

ROOT = Path(__file__).resolve().parent.parent
TODAY = date(2026, 2, 10)
#: a row too near a walk, so that each plan has something to tell
PLAN = """\
plan "Field {number}"
  units yd

boundary
  outline 0,0 400,0 400,400 0,400

path lane-{number}
  use entry
  line 10,{y} 390,{y}

row screen
  method hinge
  stumps 40,{near} 120,{near}
  spacing 20
  fall N
  dbh 8in
  step 1
"""
RULE = """\
rule tree-by-walk
  title "Trees some way off the walks"
  limit near 90yd  1yd..900yd  common-practice
  each t in trees, w in walks within near of t.fallen
  measure gap = distance(t.fallen, w)
  per t.block, w
  report warning when gap < near
    say "a tree lies by {w}"
  mark t.method
  because "the group's own"
"""


def plan(number: int) -> str:
    return PLAN.format(number=number, y=20 + number, near=28 + number)


@pytest.fixture(scope="session")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cache with what every run keeps of this program itself, and no verdict."""
    place = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(place))
        project.review()
    return place


@pytest.fixture
def folder(tmp_path: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder of seven files, one of which another includes, and a cache of its own."""
    shutil.copytree(cache, tmp_path / "cache")
    plans = tmp_path / "plans"
    plans.mkdir()
    for number in range(5):
        (plans / f"field-{number}.habitat").write_text(plan(number), encoding="utf-8")
    (plans / "shared.habitat").write_text(PLAN[PLAN.index("row") :].format(near=40), encoding="utf-8")
    whole = plan(5)
    (plans / "whole.habitat").write_text(whole[: whole.index("row")] + 'include "shared.habitat"\n', encoding="utf-8")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.chdir(plans)
    project.forget()
    yield plans
    project.forget()


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """The command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "habitatlint", "check", *arguments], capture_output=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )  # fmt: skip


def check(*arguments: str) -> Result:
    """The command in this process, as a run of its own."""
    project.forget()
    return CliRunner().invoke(main, ["check", "--today", "2026-02-10", *arguments])


def shelf_of(folder: Path) -> list[Path]:
    return sorted((folder.parent / "cache" / "habitatlint" / "verdicts").iterdir())


@pytest.fixture
def judged(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the plans that this process judges, as it does."""
    names: list[str] = []
    judge = judging.judge

    def noted(job: Job) -> Any:
        names.append(job.source.name)
        return judge(job)

    monkeypatch.setattr(many, "judge", noted)
    return names


# -- the same whatever does it ---------------------------------------------------------------------------------------


def test_any_number_of_processes_any_order_and_any_seed_of_hashes_tell_the_same(folder: Path) -> None:
    names = sorted(os.listdir(folder))
    runs = [
        run("--as", "json", "--jobs", "1", "--no-cache", *names, PYTHONHASHSEED="0"),
        run("--as", "json", "--jobs", "2", "--no-cache", *reversed(names), PYTHONHASHSEED="1"),
        run("--as", "json", "--jobs", "3", *names[3:], *names[:3], PYTHONHASHSEED="2"),  # into the cache
        run("--as", "json", "--jobs", "2", *names, PYTHONHASHSEED="3"),  # out of it
        run("--as", "json", *reversed(names), PYTHONHASHSEED="4"),
    ]
    assert len({(one.returncode, one.stdout, one.stderr) for one in runs}) == 1
    assert len(json.loads(runs[0].stdout)["plans"]) == 7  # each file that was named


def test_a_verdict_is_the_same_after_its_way_through_bytes(report_of: Callable[..., Report]) -> None:
    text = (ROOT / "examples" / "ondrey-knob.habitat").read_text(encoding="utf-8")
    report = report_of(text, "ondrey-knob.habitat", fragment=False)
    verdict = report.verdict
    assert any(one.mends for one in verdict.findings) and any(one.related for one in verdict.findings)
    data = packed(verdict)
    assert text[:200].encode() not in data  # the plan's own text stays where it is
    again = unpacked(data, verdict.source)
    for form in ("text", "gnu", "json"):
        assert render(form, [again], Style()) == render(form, [verdict], Style())


def test_settings_that_cannot_be_are_told_alike_by_one_process_and_by_many(folder: Path) -> None:
    (folder / "habitatlint.toml").write_text('[levels]\n"no-such-rule" = "off"\n', encoding="utf-8")
    alone, crew = (run("--jobs", number, *sorted(os.listdir("."))[:4]) for number in "12")
    assert (alone.returncode, alone.stdout, alone.stderr) == (crew.returncode, crew.stdout, crew.stderr)
    assert alone.returncode == 2 and b"no-such-rule" in alone.stderr


def test_a_fault_of_the_program_is_told_as_one_whoever_finds_it(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(judging, "COMMAND", dying("raise ZeroDivisionError('nothing')"))
    monkeypatch.setattr(many, "judge", lambda job: 1 // 0)
    result = check("--jobs", "2", "--no-cache", "field-0.habitat", "field-1.habitat")
    assert result.exit_code == 2
    assert "a fault of this program, not of your plan: ZeroDivisionError" in result.stderr


# -- processes that end ----------------------------------------------------------------------------------------------


def dying(what: str) -> tuple[str, ...]:
    """How a process is begun that does something else on the first field."""
    own = f"""
import sys
sys.path[:] = sys.argv[1:]
import os, signal
from habitatlint.cli import judging
judge = judging.judge
def judged(job):
    if job.source.name == "field-0.habitat":
        {what}
    return judge(job)
judging.judge = judged
judging.main()
"""
    return ("-P", "-c", own)


@pytest.mark.skipif(os.name != "posix", reason="signals are told otherwise there")
def test_a_process_that_dies_is_told_with_its_plan_and_the_others_are_judged(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(judging, "COMMAND", dying("os.kill(os.getpid(), signal.SIGKILL)"))
    names = [f"field-{number}.habitat" for number in range(4)]
    result = check("--jobs", "2", "--as", "json", *names)
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()
    assert line.startswith("habitatlint: field-0.habitat: not judged, for the process that judged it ended (signal 9)")
    assert [one["path"] for one in json.loads(result.stdout)["plans"]] == names[1:]


def test_where_no_process_can_be_had_the_plans_are_judged_here(
    folder: Path, judged: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = check("--no-cache", ".")
    judged.clear()
    for command in (("-P", "-c", "raise SystemExit(3)"), ("-P", "-c", "import sys; print('an idle word')")):
        monkeypatch.setattr(judging, "COMMAND", command)
        result = check("--no-cache", "--jobs", "2", ".")
        assert (result.exit_code, result.output) == (plain.exit_code, plain.output)
    monkeypatch.setattr(sys, "executable", "")
    assert check("--no-cache", "--jobs", "2", ".").output == plain.output
    assert len(judged) == 3 * len(os.listdir("."))


@pytest.mark.skipif(not os.path.isdir("/proc/self/task"), reason="children are told by Linux")
def test_an_interruption_ends_every_process(folder: Path, tmp_path: Path) -> None:
    lines = ['plan "Wide"', "boundary", "  outline 0,0 9000,0 9000,9000 0,9000"]
    for number in range(60):
        lines += [f"row row-{number}", "  method hinge", f"  stumps 10,{10 + 50 * number} 8000,{10 + 50 * number}",
                  "  count 400", "  fall N", "  dbh 8in", "  step 1"]  # fmt: skip
    for name in "ab":
        (folder / f"slow-{name}.habitat").write_text("\n".join(lines) + "\n", encoding="utf-8")
    begun = subprocess.Popen(
        [sys.executable, "-m", "habitatlint", "check", "--jobs", "2", "--no-cache", "slow-a.habitat", "slow-b.habitat"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    told = Path(f"/proc/{begun.pid}/task/{begun.pid}")
    children: list[str] = []
    until = time.monotonic() + 30
    while len(children) < 2 and time.monotonic() < until:
        time.sleep(0.02)
        children = [child for task in told.parent.iterdir() for child in (task / "children").read_text().split()]
    begun.send_signal(signal.SIGINT)
    out, error = begun.communicate(timeout=30)
    assert len(children) == 2
    assert (begun.returncode, out) == (1, b"") and b"Traceback" not in error
    assert not any(Path(f"/proc/{child}").exists() for child in children)


# -- what is remembered ----------------------------------------------------------------------------------------------


def test_what_was_judged_is_not_judged_again_until_something_it_hangs_on_changes(
    folder: Path, judged: list[str]
) -> None:
    first = check(".")
    assert sorted(judged) == sorted(os.listdir("."))
    assert check(".").output == first.output and len(judged) == 7
    assert check(".", "--no-cache").output == first.output and len(judged) == 14
    judged.clear()
    (folder / "field-3.habitat").write_text(plan(3) + "# a remark\n", encoding="utf-8")
    assert check(".").output == first.output and judged == ["field-3.habitat"]
    judged.clear()
    shared = folder / "shared.habitat"
    shared.write_text(shared.read_text(encoding="utf-8").replace("8in", "9in"), encoding="utf-8")
    check(".")
    assert sorted(judged) == ["shared.habitat", "whole.habitat"]  # and the plan that includes it
    judged.clear()
    shared.unlink()
    assert "there is no such file" in check("whole.habitat").output and judged == ["whole.habitat"]
    judged.clear()
    (folder / "habitatlint.toml").write_text('[levels]\nlive-hinge-near-entry = "note"\n', encoding="utf-8")
    assert ": note: " in check("field-0.habitat", "--as", "gnu").output and judged == ["field-0.habitat"]
    judged.clear()
    (folder / "habitatlint.toml").write_text("", encoding="utf-8")
    check("field-0.habitat", "--today", "2027-02-10")
    check("field-0.habitat", "--as", "sarif")  # its mends are tried
    assert judged == ["field-0.habitat"] * 2


def test_a_pack_that_changes_is_judged_by(folder: Path, judged: list[str]) -> None:
    pack = folder / "own"
    pack.mkdir()
    (pack / "tree-by-walk.rules").write_text(RULE, encoding="utf-8")
    (folder / "with-pack.habitat").write_text(plan(0) + '\nuse pack "own"\n', encoding="utf-8")
    logs = [check("with-pack.habitat", "--as", "sarif").stdout for _ in range(2)]
    assert logs[0] == logs[1] and judged == ["with-pack.habitat"]
    (driver,) = [one["tool"]["driver"] for one in json.loads(logs[0])["runs"]]
    assert "own/tree-by-walk" in [rule["id"] for rule in driver["rules"]]
    assert "own/tree-by-walk" in check("with-pack.habitat", "--as", "gnu").stdout
    (pack / "tree-by-walk.rules").write_text(RULE.replace("90yd", "1yd"), encoding="utf-8")
    assert "own/tree-by-walk" not in check("with-pack.habitat", "--as", "gnu").stdout
    (folder / "habitatlint.toml").write_text('packs = ["own"]\n', encoding="utf-8")
    assert "own/tree-by-walk" not in check("field-0.habitat", "--as", "gnu").stdout
    (pack / "tree-by-walk.rules").write_text(RULE, encoding="utf-8")
    assert "own/tree-by-walk" in check("field-0.habitat", "--as", "gnu").stdout


def test_another_version_judges_anew(folder: Path, judged: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    check("field-0.habitat")
    monkeypatch.setattr(files, "fingerprint", lambda: "of another version")
    check("field-0.habitat")
    assert len(judged) == 2


def spoil(path: Path, how: str) -> None:
    data = path.read_bytes()
    if how == "cut short":
        path.write_bytes(data[:-7])
    elif how == "changed":
        path.write_bytes(data[:-9] + bytes([data[-9] ^ 1]) + data[-8:])
    elif how == "empty":
        path.write_bytes(b"")
    elif how == "writable by others":
        path.chmod(0o666)
    elif how == "a link":
        path.rename(path.with_suffix(".there"))
        path.symlink_to(path.with_suffix(".there"))
    elif how == "of two names":
        os.link(path, path.with_suffix(".there"))
    else:
        path.unlink()
        path.mkdir()


@pytest.mark.skipif(os.name != "posix", reason="modes and links are otherwise there")
@pytest.mark.parametrize(
    "how", ["cut short", "changed", "empty", "writable by others", "a link", "of two names", "a folder"]
)
def test_what_was_not_put_there_whole_by_this_user_is_not_believed(folder: Path, judged: list[str], how: str) -> None:
    first = check("field-0.habitat")
    (entry,) = shelf_of(folder)
    spoil(entry, how)
    assert check("field-0.habitat").output == first.output and len(judged) == 2


def test_what_was_kept_of_one_plan_is_not_believed_of_another(folder: Path, judged: list[str]) -> None:
    check("field-0.habitat")
    (zero,) = shelf_of(folder)
    check("field-1.habitat")
    (one,) = set(shelf_of(folder)) - {zero}
    one.write_bytes(zero.read_bytes())
    assert "lane-1" in check("field-1.habitat").output and len(judged) == 3


@pytest.mark.skipif(os.name != "posix", reason="modes are otherwise there")
def test_a_shelf_that_others_may_look_into_is_not_used(folder: Path, judged: list[str]) -> None:
    check("field-0.habitat")
    (entry,) = shelf_of(folder)
    entry.parent.chmod(0o755)
    check("field-0.habitat")
    assert len(judged) == 2


class Planted:
    """What would run a command where it is read back as any object may be."""

    def __reduce__(self) -> Any:
        return os.mkdir, ("planted",)


def test_bytes_that_ask_for_more_than_a_verdict_make_nothing(folder: Path, judged: list[str]) -> None:
    first = check("field-0.habitat")
    (entry,) = shelf_of(folder)
    shelf = files.Shelf("verdicts", remembering.MOST_KEPT)
    shelf.put(entry.name, (2).to_bytes(8, "big") + b"[]" + pickle.dumps(Planted()))
    assert shelf.get(entry.name) is not None  # it is sealed as it should be
    assert check("field-0.habitat").output == first.output
    assert len(judged) == 2 and not os.path.exists("planted")


def test_a_full_disk_ends_no_run(folder: Path, judged: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    first = check(".", "--no-cache")
    tries: list[str] = []

    def full(path: str, data: bytes) -> None:
        tries.append(path)
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(files, "replace_file", full)
    result = check(".")
    assert (result.exit_code, result.output) == (first.exit_code, first.output)
    assert len(tries) == 1  # the next would fare no better
    assert shelf_of(folder) == []


def test_two_runs_at_once_share_a_cache_and_lose_nothing(folder: Path) -> None:
    plain = run("--as", "json", "--no-cache", "--jobs", "1", ".")
    command = [sys.executable, "-m", "habitatlint", "check", "--as", "json", "--jobs", "1", "."]
    both = [subprocess.Popen(command, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)})
            for _ in range(2)]  # fmt: skip
    assert [one.communicate()[0] for one in both] == [plain.stdout] * 2
    assert len(shelf_of(folder)) == 7
    assert not [path for path in shelf_of(folder) if path.name.startswith(files.TEMPORARY)]


def test_a_shelf_holds_no_more_than_it_may_and_throws_out_what_was_used_longest_ago(folder: Path) -> None:
    shelf = files.Shelf("small", 4000)
    old = time.time() - 3 * 86_400
    for number in range(10):
        shelf.put(f"key-{number}", bytes(500))
        path = folder.parent / "cache" / "habitatlint" / "small" / f"key-{number}"
        os.utime(path, (old + number, old + number))
    shelf.put("large", bytes(1001))  # of more than a quarter nothing is kept
    assert shelf.get("key-0") == bytes(500)  # used again
    shelf.tidy()
    left = {path.name for path in path.parent.iterdir()}
    assert left == {"key-0", "key-6", "key-7", "key-8", "key-9"}
    assert sum(one.stat().st_size for one in path.parent.iterdir()) <= 3000


def test_measures_that_others_bring_are_not_remembered(folder: Path) -> None:
    (folder / "habitatlint.toml").write_text('measures = ["no-such"]\n', encoding="utf-8")
    project.forget()
    assert Memory().key(Source("field-0.habitat", plan(0)), TODAY, False) == ""


# -- how many, and how far -------------------------------------------------------------------------------------------


def test_few_plans_are_judged_here_and_many_by_all_processors(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(many, "processors", lambda: 4)

    def processes(number: int, asked: int | None = None) -> int:
        return many._processes([Job(Source("a", "x" * 8000), TODAY, False)] * number, asked)

    assert [processes(number) < 2 for number in (1, 4, 9)] == [True, True, True]
    assert processes(500) == 4
    assert processes(2, asked=8) == 2 and processes(500, asked=1) == 1


def test_no_plan_takes_no_process() -> None:
    assert judge_all([], Way(jobs=4)) == ([], [])


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_is_shown_on_a_terminal_and_gone_at_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [0.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    shown, elsewhere = Terminal(), io.StringIO()
    for stream in (shown, elsewhere):
        with Progress("plans judged", stream) as progress:
            progress(0, 500)  # not yet
            now[0] += 2
            progress(12, 500)
            progress(13, 500)  # too soon after the last
            now[0] += 1
            progress(500, 500)
    assert shown.getvalue() == f"\r12 of 500 plans judged\r500 of 500 plans judged\r{'':23}\r"
    assert elsewhere.getvalue() == ""
