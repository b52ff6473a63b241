"""Mutation testing by a seeded sample: `python tests/fuzz/mutants.py volume season --each 60`.

A mutant is one of our files with one small thing changed (a comparison, a sign, a number, a condition, a statement left
out). Each is loaded in place of the file, in a process of its own, and the tests of that file are run: a mutant that
they do not notice has survived, and shows what they do not hold. The file on disk is never touched.

Why a sampler of our own: mutmut 3 (as of 3.8.1) leaves out functions with decorators but for `staticmethod` and
`classmethod`, and most measures stand under one.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib.abc
import importlib.machinery
import importlib.util
import os
import random
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parents[2]
#: seconds after which a mutant counts as noticed: its tests do not come to an end
LONGEST = 240


class Target(NamedTuple):
    """A file of ours, and the tests that are to notice what is changed in it, quick ones first."""

    file: str
    tests: str
    #: tests that are left out for their length, as pytest's -k takes it
    without: str = ""


TARGETS = {
    "volume": Target("measures/volume.py", "measures/test_volume.py outside/test_log_rules.py outside/test_cord.py "
                                           "outside/test_basal_area.py"),
    "herbicide": Target("measures/herbicide.py", "measures/test_herbicide.py outside/test_hacks.py outside/test_reentry.py"),
    "season": Target("measures/season.py", "measures/test_season.py"),
    "dispersion": Target("measures/dispersion.py", "outside/test_dispersion.py"),
    "scent": Target("measures/scent.py", "measures/test_scent.py outside/test_dispersion.py"),
    "trees": Target("ground/trees.py", "ground/test_trees.py outside/test_fallen_reach.py outside/test_crown_and_height.py"),
    "mending": Target("mending.py", "test_mending.py"),
    "formatting": Target("language/formatting.py", "language/test_formatting.py",
                         "every_example or takes_time"),
    "editing": Target("language/editing.py", "language/test_editing.py rulebook/test_mend_actions.py test_mending.py",
                      "adds_a_finding or makes_every or git_takes or odd_line_ends or asks or at_the_cost or tried_together"),
}  # fmt: skip

_SWAPPED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Add: ast.Sub, ast.Sub: ast.Add,
    ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Div, ast.Mod: ast.Mult, ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.And: ast.Or, ast.Or: ast.And, ast.USub: ast.UAdd,
}  # fmt: skip
_NAMES = {"min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum",
          "sin": "cos", "cos": "sin", "floor": "ceil", "ceil": "floor"}  # fmt: skip


class Mutant(NamedTuple):
    """One change: where, what it makes of what, and the file's tree with it."""

    line: int
    before: str
    after: str
    tree: ast.Module


class Change(NamedTuple):
    """A change that could be made: the number of the place, and of what may stand there instead."""

    line: int
    place: int
    way: int


def changes(text: str) -> list[Change]:
    """Every change that could be made to a file's text, in the order of the places."""
    found, line = [], 1
    for number, (parent, name, index) in enumerate(_places(ast.parse(text))):
        node = _at(parent, name, index)
        line = getattr(node, "lineno", getattr(parent, "lineno", line))
        found += [Change(line, number, way) for way, _ in enumerate(_others(node, parent))]
    return found


def made(text: str, change: Change) -> Mutant:
    """A file's text with one change."""
    tree = ast.parse(text)
    parent, name, index = list(_places(tree))[change.place]
    node = _at(parent, name, index)
    whole = isinstance(node, ast.operator | ast.cmpop | ast.boolop | ast.unaryop)  # shown with what they stand between
    other = list(_others(node, parent))[change.way]
    before = _short(parent if whole else node)
    if index is None:
        setattr(parent, name, other)
    else:
        getattr(parent, name)[index] = other
    return Mutant(change.line, before, _short(parent if whole else other), ast.fix_missing_locations(tree))


def _at(parent: ast.AST, name: str, index: int | None) -> ast.AST:
    held = getattr(parent, name)
    return held if index is None else held[index]


def _short(node: ast.AST) -> str:
    return ast.unparse(ast.fix_missing_locations(copy.deepcopy(node))).partition("\n")[0][:90]


def _places(parent: ast.AST) -> Iterator[tuple[ast.AST, str, int | None]]:
    """What could be changed in a tree, but for types: the node it is in, the field, the index there."""
    for name, value in ast.iter_fields(parent):
        if name in ("annotation", "returns", "decorator_list", "type_comment", "bases"):
            continue
        for index, one in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if isinstance(one, ast.AST):
                yield parent, name, index
                yield from _places(one)


def _is_type(node: ast.AST) -> bool:
    """Types in a row, as `isinstance` takes them."""
    return isinstance(node, ast.BinOp) and all(
        _is_type(side) or (isinstance(side, ast.Name) and (side.id[0].isupper() or side.id in ("int", "float", "str")))
        or (isinstance(side, ast.Attribute) and side.attr[0].isupper())
        for side in (node.left, node.right)
    )  # fmt: skip


def _others(node: ast.AST, parent: ast.AST) -> Iterator[ast.AST]:
    """What a mutant has in the place of a node."""
    if type(node) in _SWAPPED:
        if not _is_type(parent):
            yield _SWAPPED[type(node)]()
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        yield ast.Constant(node.value + 1)
        if node.value not in (0, 1):
            yield ast.Constant(node.value * 1.1 if isinstance(node.value, float) else node.value - 1)
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield ast.Constant(not node.value)
    elif isinstance(node, ast.Name) and node.id in _NAMES:
        yield ast.Name(_NAMES[node.id], node.ctx)
    elif isinstance(node, ast.Attribute) and node.attr in _NAMES:
        yield ast.Attribute(node.value, _NAMES[node.attr], node.ctx)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield node.operand
    elif isinstance(node, ast.If | ast.IfExp | ast.While):
        changed = copy.deepcopy(node)
        changed.test = ast.UnaryOp(ast.Not(), changed.test)
        yield changed
    elif isinstance(node, ast.AugAssign) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)):
        yield ast.Pass()
    elif isinstance(node, ast.Continue):
        yield ast.Break()
    elif isinstance(node, ast.comprehension) and node.ifs:
        yield ast.comprehension(node.target, node.iter, [], node.is_async)


class _Loader(importlib.machinery.SourceFileLoader):
    def __init__(self, name: str, path: str, tree: ast.Module) -> None:
        super().__init__(name, path)
        self._tree = tree

    def get_code(self, fullname: str) -> CodeType:
        return compile(self._tree, self.path, "exec")


class _Finder(importlib.abc.MetaPathFinder):
    """Finds one module as its mutant."""

    def __init__(self, name: str, path: str, tree: ast.Module) -> None:
        self._name, self._path, self._tree = name, path, tree

    def find_spec(self, fullname: str, path: Any, target: ModuleType | None = None) -> Any:
        if fullname != self._name:
            return None
        loader = _Loader(fullname, self._path, self._tree)
        return importlib.util.spec_from_file_location(fullname, self._path, loader=loader)


def survives(mutant: Mutant | None, target: Target, tests: Sequence[str]) -> bool:
    """Whether tests pass with a mutant in the place of its file; with None, of the file as it is."""
    child = os.fork()
    if child == 0:
        os.setsid()
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        status = 99
        try:
            if mutant is not None:
                name = "habitatlint." + target.file.removesuffix(".py").replace("/", ".")
                sys.meta_path.insert(0, _Finder(name, str(ROOT / "habitatlint" / target.file), mutant.tree))
            import pytest

            status = int(
                pytest.main(
                    [
                        "-x",
                        "-q",
                        "-p",
                        "no:cacheprovider",
                        *tests,
                        *(["-k", f"not ({target.without})"] if target.without else []),
                    ]
                )
            )
        finally:
            os._exit(status)
    end = time.monotonic() + LONGEST
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) == 0
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def main() -> None:
    parser = argparse.ArgumentParser(description="mutation testing by a seeded sample")
    parser.add_argument(
        "targets", nargs="*", default=list(TARGETS), help=f"of {', '.join(TARGETS)}; all if none is named"
    )
    parser.add_argument("--each", type=int, default=60, help="how many mutants of each file")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--line", type=int, help="only mutants of this line")
    asked = parser.parse_args()
    os.environ["CI"] = "1"  # the same examples at every run
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    os.chdir(ROOT)
    for library in (
        "numpy",
        "shapely",
        "lark",
        "hypothesis",
        "pytest",
        "pyproj",
        "scipy.spatial",
        "click",
    ):  # not again for every mutant
        importlib.import_module(library)
    for name in asked.targets:
        target = TARGETS[name]
        tests = [f"tests/{test}" for test in target.tests.split()]
        if not survives(None, target, tests):
            raise SystemExit(f"{name}: its tests fail as it is")
        text = (ROOT / "habitatlint" / target.file).read_text(encoding="utf-8")
        every = changes(text)
        chosen = [one for one in every if asked.line in (None, one.line)]
        chosen = sorted(
            random.Random(asked.seed).sample(chosen, min(asked.each, len(chosen))), key=lambda one: one.place
        )
        begun, left = time.monotonic(), []
        for change in chosen:
            mutant = made(text, change)
            if survives(mutant, target, tests):
                left.append(mutant)
                print(f"  {target.file}:{mutant.line}: {mutant.before}  ->  {mutant.after}", flush=True)
        killed = len(chosen) - len(left)
        share = killed / len(chosen) if chosen else 0.0
        print(f"{name}: {killed} of {len(chosen)} noticed ({share:.0%}), of {len(every)} mutants in all; "
              f"{time.monotonic() - begun:.0f} s", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
