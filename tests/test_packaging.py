"""The package as people get it: a wheel and an sdist, installed in a clean environment, used from elsewhere."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


def run(*command: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sdist, and the wheel built from it."""
    folder = tmp_path_factory.mktemp("dist")
    done = run(sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(ROOT), cwd=folder)
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def test_wheel_and_sdist_hold_the_grammar_and_every_rule(built: Path) -> None:
    (wheel,) = built.glob("*.whl")
    (sdist,) = built.glob("*.tar.gz")
    names = set(zipfile.ZipFile(wheel).namelist())
    rules = {path.relative_to(ROOT).as_posix() for path in (ROOT / "rules").rglob("*.rules")}
    assert rules
    assert {f"habitatlint/_data/{name}" for name in rules} <= names
    assert {f"habitatlint/_data/grammar/{name}.lark" for name in ("plan", "rules", "values")} <= names
    assert "habitatlint/py.typed" in names
    with tarfile.open(sdist) as archive:
        inside = {name.partition("/")[2] for name in archive.getnames()}
    assert rules <= inside and {"grammar/plan.lark", "examples/fallow-ridge.habitat", "LICENSE"} <= inside


def test_the_wheel_checks_an_example_from_another_folder(built: Path, tmp_path: Path) -> None:
    (wheel,) = built.glob("*.whl")
    made = run(sys.executable, "-m", "venv", "clean", cwd=tmp_path)
    assert made.returncode == 0, made.stderr
    scripts = tmp_path / "clean" / ("Scripts" if os.name == "nt" else "bin")
    installed = run(str(scripts / "python"), "-m", "pip", "install", "-q", str(wheel), cwd=tmp_path)
    unreached = ("Failed to establish", "No matching distribution", "Temporary failure", "ConnectionError")
    if any(words in installed.stderr for words in unreached) and not os.environ.get("CI"):
        pytest.skip(f"no package index can be reached: {installed.stderr[-200:]}")
    assert installed.returncode == 0, installed.stderr
    plan = tmp_path / "elsewhere.habitat"
    plan.write_text((ROOT / "examples" / "thrennow-poles.habitat").read_text(encoding="utf-8"), encoding="utf-8")
    program = str(scripts / "habitatlint")
    checked = run(program, "check", "elsewhere.habitat", "--today", "2026-01-20", cwd=tmp_path)
    assert checked.returncode == 0, checked.stdout + checked.stderr
    assert "1 plan, nothing found" in checked.stdout
    listed = run(program, "rules", cwd=tmp_path)
    assert listed.returncode == 0 and "live-hinge-near-entry" in listed.stdout
    # earth points need a library that is imported only then: it must have come with the package
    earth = tmp_path / "earth.habitat"
    earth.write_text(
        'plan "Earth"\n  anchor 43.7120N,90.6210W\n\nboundary\n'
        "  outline 43.7120N,90.6210W 43.7120N,90.6170W 43.7150N,90.6170W\n",
        encoding="utf-8",
    )
    assert run(program, "check", "earth.habitat", cwd=tmp_path).returncode == 0
    for name in ("map.pdf", "map.html"):  # what is drawn needs the template, the type, style and script that ship
        drawn = run(program, "map", "elsewhere.habitat", "-o", name, "--today", "2026-01-20", cwd=tmp_path)
        assert drawn.returncode == 0, drawn.stdout + drawn.stderr
    assert (tmp_path / "map.pdf").read_bytes()[:5] == b"%PDF-"
