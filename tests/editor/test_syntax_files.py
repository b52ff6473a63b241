"""Syntax files for editors without a server are what the language's own words make."""

from __future__ import annotations

import subprocess
from pathlib import Path
from xml.etree import ElementTree

import pytest
from editor.syntax_files import every_file
from real_parts import program

EDITORS = Path(__file__).resolve().parents[2] / "examples" / "editors"


def test_the_files_that_ship_are_those_that_are_made() -> None:
    shipped = {str(path.relative_to(EDITORS)) for folder in ("vim", "emacs", "kate") for path in (EDITORS / folder).rglob("*") if path.is_file()}  # fmt: skip
    made = every_file()
    assert shipped == set(made)
    stale = [path for path, text in made.items() if (EDITORS / path).read_text(encoding="utf-8") != text]
    assert stale == [], "run `python tests/editor/syntax_files.py`"


@pytest.mark.parametrize("name", ["habitat", "habitat-rules"])
def test_kates_definitions_are_whole(name: str) -> None:
    tree = ElementTree.parse(EDITORS / "kate" / f"{name}.xml").getroot()
    styles = {item.get("name") for item in tree.iter("itemData")}
    contexts = {context.get("name") for context in tree.iter("context")} | {"#stay", "#pop"}
    rules = [rule for context in tree.iter("context") for rule in context]
    assert rules and {rule.get("attribute") for rule in rules} <= styles
    assert {rule.get("context") for rule in rules} <= contexts


def test_vim_colours_a_plan_by_them(tmp_path: Path) -> None:
    nvim = program("nvim")
    plan = tmp_path / "one.habitat"
    plan.write_text(
        'row edge "A use" # use\n  method hinge\n  spacing 10.5yd\n  stump-treatment none\n', encoding="utf-8"
    )
    looks = {(1, 1): "Noun", (1, 11): "Text", (1, 18): "Comment", (2, 3): "Property", (2, 10): "Value",
             (3, 11): "Number", (3, 15): "Number", (4, 8): "Property", (4, 19): "Value"}  # fmt: skip
    asked = " ".join(f"synIDattr(synID({line},{column},1),'name')," for line, column in looks)
    script = [f"edit {plan}", f"echo join([{asked}])", "qa!"]
    commands = [word for line in script for word in ("-c", line)]
    done = subprocess.run([nvim, "--headless", "--clean", "--cmd", f"set rtp+={EDITORS}/vim", *commands], capture_output=True, text=True, timeout=20,
                          check=False)  # fmt: skip
    assert done.stderr.split() == [f"habitat{group}" for group in looks.values()]


def test_emacs_colours_a_plan_by_them(tmp_path: Path) -> None:
    emacs = program("emacs")
    plan = tmp_path / "one.habitat"
    plan.write_text('row edge "A use" # use\n  method hinge\n  spacing 10.5yd\n', encoding="utf-8")
    looks = {1: "keyword", 12: "string", 21: "comment", 26: "variable-name", 34: "constant", 49: "constant"}
    asked = " ".join(f'(princ (format "%s\\n" (get-text-property {at} \'face)))' for at in looks)
    script = f'(progn (find-file "{plan}") (font-lock-ensure) (princ (format "%s\\n" major-mode)) {asked})'
    done = subprocess.run([emacs, "--batch", "-q", "-L", str(EDITORS / "emacs"), "-l", "habitat-mode", "--eval", script],
                          capture_output=True, text=True, timeout=20, check=False)  # fmt: skip
    assert done.stdout.split() == ["habitat-mode", *(f"font-lock-{face}-face" for face in looks.values())], done.stderr
