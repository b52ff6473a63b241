"""The house: a file imports only from lower floors or its own room, and each library has one door."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "habitatlint"

#: from top to bottom; rooms that share a line do not import each other
FLOORS = [
    ["cli"],
    ["editor"],
    ["settings"],
    ["files"],
    ["packs"],
    ["outputs"],
    ["exchange", "work"],
    ["review"],
    ["mending"],
    ["check"],
    ["verdict"],
    ["rulebook"],
    ["measures"],
    ["ground"],
    ["language"],
    ["reading"],
    ["findings"],
    ["source", "units"],
]
#: third-party library -> the rooms that may import it
DOORS = {
    "lark": {"reading"},
    "click": {"cli"},
    "pydantic": {"settings", "outputs"},
    "pyproj": {"ground"},
    "pygeomag": {"ground"},
    "pygments": {"language"},
    "scipy": {"measures"},
    "ephem": {"measures"},
    "mapbox_earcut": {"measures"},
    "typst": {"outputs"},
    "icalendar": {"outputs"},
    "PIL": {"outputs"},
    "watchfiles": {"cli"},
    "pygls": {"editor"},
    "lsprotocol": {"editor"},
    "defusedxml": {"exchange"},
    "pyogrio": {"exchange"},
}
FLOOR = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}


def imports_of(path: Path) -> set[str]:
    """Every module that a file imports, wherever in the file."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def rooms() -> list[tuple[Path, str, set[str]]]:
    return [
        (path, room_of(path), imports_of(path))
        for path in sorted(PACKAGE.rglob("*.py"))
        if path.parent != PACKAGE or path.stem not in ("__init__", "__main__")
    ]


def test_every_room_has_a_floor() -> None:
    assert {room for _, room, _ in rooms()} <= FLOOR.keys()


def test_imports_go_down() -> None:
    upward = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path, room, names in rooms()
        for name in sorted(names)
        if name.startswith("habitatlint.")
        and (other := name.split(".")[1]) in FLOOR
        and other != room
        and FLOOR[other] <= FLOOR[room]
    ]
    assert upward == []


def test_files_of_a_room_import_each_other_in_no_circle() -> None:
    graph: dict[str, set[str]] = {}
    modules = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path, _, _ in rooms()}
    for name, path in modules.items():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        quiet = {
            id(inner)
            for node in ast.walk(tree)
            if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
            for inner in ast.walk(node)
        }
        graph[name] = {
            module
            for node in ast.walk(tree)
            if isinstance(node, ast.ImportFrom) and node.module and id(node) not in quiet
            for module in (node.module, *(f"{node.module}.{alias.name}" for alias in node.names))
            if module in modules and module != name
        }
    done: set[str] = set()

    def visit(name: str, above: tuple[str, ...]) -> None:
        assert name not in above, " -> ".join((*above, name))
        if name not in done:
            for other in sorted(graph[name]):
                visit(other, (*above, name))
            done.add(name)

    for name in sorted(graph):
        visit(name, ())


def test_each_library_comes_in_by_its_door() -> None:
    strangers = [
        f"{path.relative_to(ROOT)} imports {library}"
        for path, room, names in rooms()
        for library, doors in DOORS.items()
        if any(name.split(".")[0] == library for name in names) and room not in doors
    ]
    assert strangers == []


def test_the_core_reads_no_disk_clock_or_environment() -> None:
    outer = {"cli", "editor", "files", "settings"}
    modules = {"os", "io", "pathlib", "time", "tempfile", "shutil", "subprocess", "socket"}
    memory = {"io", "io.BytesIO"}  # bytes that stay in memory, as pictures are read from
    calls = {"open", "date.today", "datetime.now", "datetime.today", "datetime.date.today", "datetime.datetime.now"}
    found = []
    for path, room, names in rooms():
        if room in outer:
            continue
        if {name for name in names if name.split(".")[0] == "io"} == memory:
            names -= memory
        found += [f"{path.relative_to(ROOT)} imports {name}" for name in names if name.split(".")[0] in modules]
        found += [
            f"{path.relative_to(ROOT)}:{node.lineno} calls {ast.unparse(node.func)}"
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call) and ast.unparse(node.func) in calls
        ]
    assert found == []


def test_the_guide_shows_these_floors() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = guide.split("<!-- floors -->")[1].strip().strip("`").strip().splitlines()
    shown = [re.findall(r"[a-z]+", line.split("  ")[0]) for line in block]
    assert shown == FLOORS


def test_the_top_level_is_fixed() -> None:
    allowed = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "habitatlint", "grammar", "rules", "tests", "examples",
        ".ci", ".gitignore", ".gitattributes", ".pre-commit-hooks.yaml", "LICENSE",
    }  # fmt: skip
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode == 0 and listed.stdout:
        assert {line.split("/")[0] for line in listed.stdout.splitlines()} <= allowed
    else:
        assert {"README.md", "LICENSE", "habitatlint", "grammar", "rules"} <= {path.name for path in ROOT.iterdir()}
