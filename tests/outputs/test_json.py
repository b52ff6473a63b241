"""JSON loses nothing of what a plan says, and shown on a terminal it steers nothing."""

from __future__ import annotations

import contextlib
import json
import sys
import unicodedata
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from habitatlint.check import Report
from habitatlint.cli.main import main
from habitatlint.outputs import Style, render
from habitatlint.outputs.sentences import clean, json_text

#: what sets the reading direction, by the Unicode character database that Python holds: the embeddings, overrides and
#: isolates of UAX #9, and its three marks
TURNING = [one for one in map(chr, range(sys.maxunicode + 1)) if unicodedata.bidirectional(one) in
           ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")] + ["\u200e", "\u200f", "\u061c"]  # fmt: skip
STEERING = [*TURNING, *(one for one in map(chr, range(256)) if unicodedata.category(one) == "Cc")]
NAME = "a\u202eb\u009b31m.habitat"
TEXT = 'task fence "Öak \u2067fence\u2069 🌲"\n  txet "x"\n'


def test_nothing_that_steers_a_terminal_stands_in_it_as_it_is() -> None:
    assert len(TURNING) == 12 and len(STEERING) == 12 + 65
    for one in STEERING:
        told = {"path": f"a{one}b", one: [one]}
        text = json_text(told)
        assert not set(text) & ({*STEERING} - {"\n"}) and json.loads(text) == told
        assert one in "\t\n" or clean(one) == "?"


def test_all_else_stands_as_it_is_written() -> None:
    assert json_text({"b": "Öak 🌲 ~ é"}) == '{\n  "b": "Öak 🌲 ~ é"\n}\n'
    byte = b"s\xff.habitat".decode("utf-8", "surrogateescape")
    assert json_text(byte) == '"s\\udcff.habitat"\n' and json.loads(json_text(byte)) == byte


def test_findings_keep_the_path_and_the_words_of_the_plan(report_of: Callable[..., Report]) -> None:
    text = render("json", [report_of(TEXT, NAME).verdict], Style())
    assert not set(text) & ({*STEERING} - {"\n"})
    (plan,) = json.loads(text)["plans"]
    assert plan["path"] == NAME and {one["path"] for one in plan["findings"]} == {NAME}


def test_packs_and_explanations_are_shown_as_safely(tmp_path: Path) -> None:
    folder = tmp_path / "own\u202e"
    folder.mkdir()
    (folder / "pack.rules").write_text("pack own\n  builds-on nowhere\n", encoding="utf-8")
    plan = tmp_path / NAME
    plan.write_text('plan "A"\npath lane "A\u202e"\n  use entry\n  line 0,0 9,9\n', encoding="utf-8")
    with contextlib.chdir(tmp_path):
        looked = CliRunner().invoke(main, ["pack", "check", folder.name, "--as", "json"]).stdout
        asked = CliRunner().invoke(main, ["rules", "--at", f"{NAME}:3", "--as", "json"]).stdout
    assert json.loads(looked)["remarks"][0]["path"] == f"{folder.name}/pack.rules"
    assert json.loads(asked)["path"] == NAME
    assert not set(looked + asked) & ({*STEERING} - {"\n"})


@pytest.mark.parametrize("form", ["text", "gnu"])
def test_bytes_of_a_name_that_steer_are_hidden(form: str, report_of: Callable[..., Report]) -> None:
    name = b"s\x9b31m\xff.habitat".decode("utf-8", "surrogateescape")
    shown = render(form, [report_of(TEXT, name).verdict], Style())
    assert shown.startswith("s?31m\udcff.habitat:2:3: error:")
