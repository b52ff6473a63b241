"""The hooks that a repository of plans points at, run by the real pre-commit in real git repositories.

pre-commit clones, builds and installs this project for its hooks. What the project depends on is lent to them from the
environment that the tests run in, for fetching it takes a minute; `test_packaging.py` installs it whole.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from real_parts import missing, program

from habitatlint.cli.main import main

ROOT = Path(__file__).resolve().parent.parent
HEAD = 'plan "Invented"\n\nboundary\n  outline 0,0 400,0 400,400 0,400\n'
CREW = "crew ridge-crew\n  people 2\n"
#: a word misspelt, which is mended by itself
MISSPELT = HEAD + '\ntask fence\n  txet "Mend the fence."\n'
#: what the hooks' own environment has itself
OWN = ("habitatlint", "_editable_impl_habitatlint", "__editable__", "pip", "setuptools", "_virtualenv")
Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """A program in a folder, with git and pre-commit as on a machine of their own."""
    program("git")
    if not (Path(sys.executable).parent / "pre-commit").exists():
        program("pre-commit")
    lent = tmp_path_factory.mktemp("lent")
    for path in Path(sysconfig.get_path("purelib")).iterdir():
        if not path.name.lower().startswith(OWN):
            (lent / path.name).symlink_to(path)
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("GIT_", "PRE_COMMIT", "PYTHON"))}
    environment = {
        **kept,
        "PATH": os.pathsep.join([str(Path(sys.executable).parent), kept["PATH"]]),
        "PRE_COMMIT_HOME": str(tmp_path_factory.mktemp("pre-commit")),
        "PYTHONPATH": str(lent),
        "PIP_NO_DEPS": "1",
        "PIP_NO_BUILD_ISOLATION": "0",  # pip reads it as the option's value: no isolation
        "GIT_CONFIG_GLOBAL": os.devnull,
        **{f"GIT_{who}_NAME": "Invented" for who in ("AUTHOR", "COMMITTER")},
        **{f"GIT_{who}_EMAIL": "invented@farm.example" for who in ("AUTHOR", "COMMITTER")},
    }

    def command(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
        done = subprocess.run(arguments, cwd=cwd, env=environment, capture_output=True, text=True, check=False)
        told = done.stdout + done.stderr
        unreached = ("Failed to establish", "No matching distribution", "Temporary failure", "ConnectionError")
        if any(words in told for words in unreached):
            missing("what a hook is built of (no package index can be reached)")
        return done

    return command


@pytest.fixture(scope="module")
def tool(tmp_path_factory: pytest.TempPathFactory, run: Run) -> Path:
    """A repository of this project as it stands, committed or not."""
    folder = tmp_path_factory.mktemp("tool")
    for name in (".pre-commit-hooks.yaml", "pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, folder)
    for name in ("habitatlint", "grammar", "rules"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    _commit_all(folder, run)
    return folder


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory, run: Run, tool: Path) -> Path:
    """A repository of plans that points at the hooks, with a plan and a file that it includes."""
    folder = tmp_path_factory.mktemp("plans")
    (folder / "shared").mkdir()
    (folder / "farm.habitat").write_text(HEAD + 'include "shared/crews.habitat"\n', encoding="utf-8")
    (folder / "shared" / "crews.habitat").write_text(CREW, encoding="utf-8")
    revision = run("git", "rev-parse", "HEAD", cwd=tool).stdout.strip()
    (folder / ".pre-commit-config.yaml").write_text(
        f"repos:\n- repo: {tool}\n  rev: {revision}\n  hooks:\n  - id: habitatlint-check\n  - id: habitatlint-mend\n"
        "    stages: [manual]\n  - id: habitatlint-format\n    stages: [manual]\n",
        encoding="utf-8",
    )
    _commit_all(folder, run)
    installed = run("pre-commit", "install", cwd=folder)
    assert installed.returncode == 0, installed.stdout + installed.stderr
    return folder


def _commit_all(folder: Path, run: Run) -> None:
    for arguments in (["init", "-q", "."], ["add", "-A"], ["commit", "-q", "-m", "Begin"]):
        done = run("git", *arguments, cwd=folder)
        assert done.returncode == 0, done.stderr


def _commit(folder: Path, run: Run, name: str, text: str) -> subprocess.CompletedProcess[str]:
    """A file written and committed, through the hook; where the hook refuses, the file is taken back."""
    (folder / name).write_text(text, encoding="utf-8")
    assert run("git", "add", name, cwd=folder).returncode == 0
    done = run("git", "commit", "-m", f"Change {name}", cwd=folder)
    if done.returncode:
        run("git", "reset", "-q", "--hard", cwd=folder)
    return done


def _manual(folder: Path, run: Run, hook: str, name: str) -> subprocess.CompletedProcess[str]:
    """One hook on one file that git knows of."""
    assert run("git", "add", name, cwd=folder).returncode == 0
    return run("pre-commit", "run", "--hook-stage", "manual", hook, "--files", name, cwd=folder)


def test_try_repo_tells_what_is_wrong_with_a_plan(plans: Path, tool: Path, run: Run) -> None:
    (plans / "tried.habitat").write_text(MISSPELT, encoding="utf-8")
    (plans / "notes.txt").write_text("no plan", encoding="utf-8")
    files = ["--files", "tried.habitat", "farm.habitat", "shared/crews.habitat", "notes.txt"]
    done = run("pre-commit", "try-repo", str(tool), "habitatlint-check", *files, "--verbose", cwd=plans)
    (plans / "tried.habitat").unlink()
    assert done.returncode == 1, done.stdout + done.stderr
    assert "tried.habitat:7:3: error: `txet` is not a word known here" in done.stdout
    assert "2 plans, 1 error" in done.stdout


def test_a_commit_goes_through_or_not_by_what_is_found(plans: Path, run: Run) -> None:
    sound = _commit(plans, run, "new.habitat", HEAD)
    assert sound.returncode == 0 and "Passed" in sound.stderr, sound.stdout + sound.stderr
    broken = _commit(plans, run, "new.habitat", MISSPELT)
    assert broken.returncode == 1 and "new.habitat:7:3: error: " in broken.stderr
    assert run("git", "status", "--porcelain", cwd=plans).stdout == "?? notes.txt\n"


def test_an_included_file_is_judged_in_the_plan_that_includes_it(plans: Path, run: Run) -> None:
    sound = _commit(plans, run, "shared/crews.habitat", CREW.replace("2", "3"))
    assert sound.returncode == 0, sound.stdout + sound.stderr
    broken = _commit(plans, run, "shared/crews.habitat", CREW.replace("people", "peopel"))
    assert broken.returncode == 1
    assert "shared/crews.habitat:2:3: error: `peopel` is not a word known here" in broken.stderr
    assert "1 plan, 1 error" in broken.stderr


def test_the_mend_hook_mends_and_says_that_it_did(plans: Path, run: Run) -> None:
    plan = plans / "mended.habitat"
    plan.write_text(MISSPELT, encoding="utf-8")
    first = _manual(plans, run, "habitatlint-mend", plan.name)
    assert first.returncode == 1 and "files were modified by this hook" in first.stdout, first.stdout
    assert plan.read_text(encoding="utf-8") == MISSPELT.replace("txet", "text")
    assert _manual(plans, run, "habitatlint-mend", plan.name).returncode == 0


def test_the_mend_hook_leaves_an_included_file_that_is_right_in_its_plan_alone(plans: Path, run: Run) -> None:
    # by itself this file has a name too few, and one that is much like it
    part = CREW.replace("ridge-crew", "ridge-crews") + "task fence\n  by ridge-crew\n"
    (plans / "part.habitat").write_text(part, encoding="utf-8")
    whole = HEAD + CREW + 'include "part.habitat"\n'
    (plans / "whole.habitat").write_text(whole, encoding="utf-8")
    assert run("habitatlint", "check", "whole.habitat", cwd=plans).returncode == 0
    done = _manual(plans, run, "habitatlint-mend", "part.habitat")
    assert (plans / "part.habitat").read_text(encoding="utf-8") == part
    assert done.returncode == 0, done.stdout


def test_the_format_hook_formats_and_says_that_it_did(plans: Path, run: Run) -> None:
    plan = plans / "ragged.habitat"
    plan.write_text(HEAD.replace("  outline 0,0", "      outline    0,0"), encoding="utf-8")
    first = _manual(plans, run, "habitatlint-format", plan.name)
    assert first.returncode == 1 and "files were modified by this hook" in first.stdout, first.stdout
    assert "\n  outline 0,0" in plan.read_text(encoding="utf-8")
    assert _manual(plans, run, "habitatlint-format", plan.name).returncode == 0


CHANGED = {
    "farm.habitat": HEAD + 'include "shared/all.habitat"\n',
    "other.habitat": HEAD,
    "shared/all.habitat": 'include "crews.habitat"\ntask fence\n  text "Mend it."\n',
    "shared/crews.habitat": CREW,
    "lone.habitat": CREW,
    "headed.habitat": 'plan "Crews"\n' + CREW,
    "with-headed.habitat": HEAD + 'include "headed.habitat"\n',
}


@pytest.mark.parametrize(
    ("changed", "judged"),
    [
        (["other.habitat"], {"other.habitat"}),
        (["shared/crews.habitat"], {"farm.habitat"}),
        (["shared/all.habitat", "shared/crews.habitat"], {"farm.habitat"}),
        (["shared/crews.habitat", "other.habitat"], {"farm.habitat", "other.habitat"}),
        (["lone.habitat"], {"lone.habitat"}),  # no plan includes it: it must be one itself
        (["headed.habitat"], {"headed.habitat", "with-headed.habitat"}),
    ],
)
def test_what_changed_is_judged_where_it_counts(changed: list[str], judged: set[str], tmp_path: Path) -> None:
    for name, text in CHANGED.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "junk.habitat").write_bytes(b"\0 shared/crews.habitat")  # was not asked for
    with contextlib.chdir(tmp_path):
        done = CliRunner().invoke(main, ["check", "--changed", "--as", "json", *changed])
    assert {plan["path"] for plan in json.loads(done.stdout)["plans"]} == judged
    assert (done.exit_code, done.stderr) == (1 if judged == {"lone.habitat"} else 0, "")


def test_hooks_look_at_plans_only_and_name_commands_that_are_there() -> None:
    hooks = (ROOT / ".pre-commit-hooks.yaml").read_text(encoding="utf-8")
    entries = re.findall(r"^  entry: habitatlint (\w+)", hooks, re.MULTILINE)
    assert entries == ["check", "mend", "format"] and set(entries) <= set(main.commands)
    assert hooks.count("files: '\\.habitat$'") == hooks.count("types: [text]") == len(entries)
