"""The server over the protocol, as an editor meets it."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from random import Random
from typing import Any

import pytest
from editor.client import Client, at, codes, stretch

from habitatlint.findings import Policy
from habitatlint.review import Review
from habitatlint.source import Source

PUSHES: dict[str, Any] = {
    "textDocument": {
        "publishDiagnostics": {"relatedInformation": True},
        "hover": {"contentFormat": ["markdown", "plaintext"]},
    }
}
PULLS: dict[str, Any] = {"textDocument": {"diagnostic": {}}}
REFRESHES: dict[str, Any] = {**PULLS, "workspace": {"diagnostics": {"refreshSupport": True}}}
URI = "untitled:lane"
LANE = """plan "Lane"
path lane "South \U0001f98c lane"
  use entry
  line 0,0 100,0
row cover
  method hinge
  stumps 10,5 90,5
  spacing 10
  fall N
  dbh 8in
"""
NEAR = "entry/live-hinge-near-entry"
Start = Callable[..., Client]


@pytest.fixture
def start() -> Iterator[Start]:
    """Starts servers, and ends them."""
    begun: list[Client] = []

    def begin(**how: Any) -> Client:
        begun.append(Client(**how))
        return begun[-1]

    yield begin
    for client in begun:
        client.kill()


@pytest.fixture(scope="module")
def shared() -> Iterator[Client]:
    """One server for what leaves it as it was."""
    client = Client(capabilities=PUSHES)
    yield client
    client.kill()


def has(*rules: str) -> Callable[[list[dict[str, Any]]], bool]:
    return lambda found: set(rules) <= set(codes(found))


def lacks(*rules: str) -> Callable[[list[dict[str, Any]]], bool]:
    return lambda found: not set(rules) & set(codes(found))


def document(uri: str = URI) -> dict[str, Any]:
    return {"textDocument": {"uri": uri}}


# -- findings --------------------------------------------------------------------------------------------------


def test_findings_come_as_one_types_and_go_when_they_are_mended(shared: Client) -> None:
    shared.open(URI, LANE)
    one = next(one for one in shared.found(URI, has(NEAR)) if one["code"] == NEAR)
    assert one["range"] == stretch(5, 2, 14)
    assert one["severity"] == 1 and one["source"] == "habitatlint"
    assert "measured: 5 yd" in one["message"] and "wanted: 20 yd or more" in one["message"]
    assert one["relatedInformation"][0]["location"]["range"]["start"]["line"] == 1
    shared.change(URI, {"range": stretch(6, 2, 18), "text": "stumps 10,25 90,25"})
    shared.found(URI, lacks(NEAR))


def test_findings_keep_their_words_until_the_next_judgement(start: Start) -> None:
    client = start(capabilities=PUSHES, options={"settle": 60_000})
    client.open(URI, LANE)  # what is opened is judged at once
    client.found(URI, has(NEAR))
    client.change(URI, {"range": stretch(0, 0, 0), "text": "# a line above\n# and another\n"})
    moved = next(one for one in client.found(URI, has(NEAR)) if one["code"] == NEAR)
    assert moved["range"] == stretch(7, 2, 14)
    assert moved["relatedInformation"][0]["location"]["range"]["start"]["line"] == 3
    client.change(URI, {"range": stretch(7, 9, 14), "text": "hnge"})
    slip = next(one for one in client.found(URI, has("record/unknown-word")) if one["code"] == "record/unknown-word")
    assert slip["range"] == stretch(7, 9, 13)


def test_columns_are_utf16_unless_another_unit_is_agreed_on(start: Start) -> None:
    """The deer in the title is one code point, two UTF-16 units and four bytes."""
    text = LANE.replace('lane"\n  use', 'lane" wrong\n  use')
    for encoding, column in ((None, 26), ("utf-32", 25), ("utf-8", 28)):
        general = {"positionEncodings": [encoding]} if encoding else {}
        client = start(capabilities={**PUSHES, "general": general})
        assert client.said["positionEncoding"] == (encoding or "utf-16")
        client.open(URI, text)
        found = [one for one in client.found(URI, has("record/syntax")) if one["code"] == "record/syntax"]
        assert found[0]["range"]["start"] == at(1, column)
        client.change(URI, {"range": {"start": at(1, column - 1), "end": at(1, column + 5)}, "text": ""})
        client.found(URI, lacks("record/syntax"))


def test_an_editor_that_asks_is_told_nothing_unasked(start: Start) -> None:
    client = start(capabilities=REFRESHES)
    assert client.said["diagnosticProvider"]["interFileDependencies"] is True
    client.open(URI, LANE)
    first = client.ask("textDocument/diagnostic", document())
    assert first["kind"] == "full"
    end = time.monotonic() + 20
    while not client.asked and time.monotonic() < end:
        time.sleep(0.02)
    assert client.asked[0]["method"] == "workspace/diagnostic/refresh"
    whole = client.ask("textDocument/diagnostic", document())
    assert NEAR in codes(whole["items"])
    again = client.ask("textDocument/diagnostic", {**document(), "previousResultId": whole["resultId"]})
    assert again == {"kind": "unchanged", "resultId": whole["resultId"]}
    assert client.notices.empty()


def test_an_editor_that_cannot_be_asked_to_ask_again_gets_all_at_once(start: Start) -> None:
    client = start(capabilities=PULLS)
    client.open(URI, LANE)
    assert NEAR in codes(client.ask("textDocument/diagnostic", document())["items"])


def test_an_editor_that_is_told_is_not_asked(shared: Client) -> None:
    assert "diagnosticProvider" not in shared.said
    assert "executeCommandProvider" not in shared.said


def test_only_the_newest_text_is_judged(start: Start) -> None:
    client = start(capabilities=PUSHES)
    client.open(URI, LANE)
    for number in range(30):
        client.change(URI, {"range": stretch(6, 2, 18), "text": f"stumps 10,{10 + number} 90,{10 + number}"})
    last = client.change(URI, {"text": LANE.replace("10,5 90,5", "10,30 90,30")})
    end, told = time.monotonic() + 20, 0
    while time.monotonic() < end:
        notice = client.notices.get(timeout=20)["params"]
        told += 1
        if notice["version"] == last and "entry/entry-in-view" not in codes(notice["diagnostics"]) and told > 1:
            break
    assert (
        client.ask("textDocument/codeAction", {**document(), "range": stretch(6, 0, 0), "context": {"diagnostics": []}})
        == []
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_is_told_in_the_end_is_what_the_command_tells(shared: Client, review: Review, seed: int) -> None:
    """However it was typed: a text edited at random, beyond the basic plane too, is told of as if read anew."""
    random, uri = Random(seed), f"untitled:random-{seed}"
    text = (Path(__file__).resolve().parents[2] / "examples" / "fallow-ridge.habitat").read_text(encoding="utf-8")
    shared.open(uri, text)
    for _ in range(40):
        start = random.randrange(len(text))
        end = min(len(text), start + random.choice([0, 0, 0, 1, 2, 12]))
        new = random.choice(["7", "x", " ", "\n", '"', "#", "\\\n", "\U0001f98c", "\n  by nobody", "\nrow a\n", "0,0 "])
        place = {"start": at(*_units(text, start)), "end": at(*_units(text, end))}
        shared.change(uri, {"range": place, "text": new})
        text = text[:start] + new + text[end:]
        shared.ask("textDocument/hover", {**document(uri), "position": place["start"]})
    shared.ask(
        "textDocument/codeAction", {**document(uri), "range": stretch(9999, 0, 0), "context": {"diagnostics": []}}
    )
    told: list[dict[str, Any]] = []
    while not shared.notices.empty():
        notice = shared.notices.get()["params"]
        told = notice["diagnostics"] if notice.get("uri") == uri else told
    report = review.check(Source(uri, text), Policy(date.today()))
    wanted = {(one.rule, *_units(text, one.span.start)) for one in report.findings}
    assert {(one["code"], *one["range"]["start"].values()) for one in told} == wanted


def _units(text: str, offset: int) -> tuple[int, int]:
    """Line and UTF-16 column, both from 0."""
    before = text[:offset].rpartition("\n")[2]
    return text[:offset].count("\n"), len(before.encode("utf-16-le")) // 2


# -- mends -----------------------------------------------------------------------------------------------------


def test_only_mends_that_were_tried_are_offered(start: Start) -> None:
    client = start(capabilities={**PUSHES, "workspace": {"workspaceEdit": {"documentChanges": True}}})
    client.open(URI, LANE)
    one = next(one for one in client.found(URI, has(NEAR)) if one["code"] == NEAR)
    actions = client.ask(
        "textDocument/codeAction", {**document(), "range": one["range"], "context": {"diagnostics": [one]}}
    )
    first = actions[0]
    assert first["title"] == "cut them through, along the path, and treat the stumps"
    assert first["kind"] == "quickfix" and first["isPreferred"] is True
    assert first["diagnostics"][0]["code"] == NEAR
    (change,) = first["edit"]["documentChanges"]
    assert change["textDocument"] == {"uri": URI, "version": 1}
    for edit in sorted(change["edits"], key=lambda edit: -edit["range"]["start"]["line"]):
        client.change(URI, {"range": edit["range"], "text": edit["newText"]})
    client.found(URI, lacks(NEAR))
    nowhere = {**document(), "range": stretch(0, 0, 0), "context": {"diagnostics": [], "only": ["refactor"]}}
    assert client.ask("textDocument/codeAction", nowhere) is None


# -- what is asked of a place ----------------------------------------------------------------------------------


def test_a_name_leads_to_its_block_and_is_renamed_in_closed_files_too(shared: Client, tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    crews = tmp_path / "sub" / "crews.habitat"
    crews.write_text("crew hands\n  people 2\n", encoding="utf-8")
    plan = tmp_path / "main.habitat"
    text = LANE.replace("  dbh 8in", "  dbh 8in\n  by hands").replace(
        "path lane", 'include "sub/crews.habitat"\npath lane'
    )
    plan.write_text(text, encoding="utf-8")
    client = shared
    uri = plan.as_uri()
    client.open(uri, text)
    client.found(uri, has(NEAR))
    place = {**document(uri), "position": at(11, 6)}
    assert client.ask("textDocument/definition", place) == {"uri": crews.as_uri(), "range": stretch(0, 5, 10)}
    everywhere = client.ask("textDocument/references", {**place, "context": {"includeDeclaration": True}})
    assert {one["uri"] for one in everywhere} == {uri, crews.as_uri()}
    assert client.ask("textDocument/prepareRename", place) == {"range": stretch(11, 5, 10), "placeholder": "hands"}
    edit = client.ask("textDocument/rename", {**place, "newName": "ridge-crew"})["changes"]
    assert edit == {
        uri: [{"range": stretch(11, 5, 10), "newText": "ridge-crew"}],
        crews.as_uri(): [{"range": stretch(0, 5, 10), "newText": "ridge-crew"}],
    }
    refused = client.answer(client.begin("textDocument/rename", {**place, "newName": "Ridge Crew"}))
    assert "lower-case words with hyphens" in refused["error"]["message"]
    links = client.ask("textDocument/documentLink", document(uri))
    assert [link["target"] for link in links] == [crews.as_uri()]


def test_an_included_file_is_judged_within_its_plan_and_open_before_it_is_saved(shared: Client, tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    crews = tmp_path / "sub" / "crews.habitat"
    crews.write_text("crew hands\n  people 2\n", encoding="utf-8")
    plan = tmp_path / "main.habitat"
    text = LANE.replace("  dbh 8in", "  dbh 8in\n  by hands").replace(
        "path lane", 'include "sub/crews.habitat"\npath lane'
    )
    plan.write_text(text, encoding="utf-8")
    client = shared
    client.open(crews.as_uri(), crews.read_text(encoding="utf-8"))
    assert "record/missing-property" not in codes(client.found(crews.as_uri()))  # it needs no head of its own
    client.open(plan.as_uri(), text)
    client.found(plan.as_uri(), has(NEAR))
    client.change(crews.as_uri(), {"range": stretch(0, 5, 10), "text": "others"})
    client.found(plan.as_uri(), has("record/unknown-name"))
    client.tell("textDocument/didClose", document(crews.as_uri()))  # what is on disk counts again
    client.found(plan.as_uri(), lacks("record/unknown-name"))


def test_a_rule_file_that_is_written_on_is_the_one_that_judges_once_it_is_saved(shared: Client, tmp_path: Path) -> None:
    (tmp_path / "own").mkdir()
    rule = tmp_path / "own" / "no-rows.rules"
    body = 'rule no-rows\n  title "No rows"\n  each r in rows\n  report warning say "{}"\n  because "none"\n'
    rule.write_text(body.format("a row"), encoding="utf-8")
    plan = (tmp_path / "main.habitat").as_uri()
    client = shared
    client.open(plan, LANE.replace("path lane", 'use pack "own"\npath lane'))
    client.found(plan, has("own/no-rows"))
    client.open(rule.as_uri(), body.format("another word"), "habitat-rules")
    client.tell("textDocument/didSave", document(rule.as_uri()))
    client.found(plan, lambda found: any("another word" in one["message"] for one in found))


def test_a_part_opened_first_is_judged_with_its_plan_from_when_that_is_written(shared: Client, tmp_path: Path) -> None:
    crews, plan = (tmp_path / "crews.habitat").as_uri(), (tmp_path / "main.habitat").as_uri()
    client = shared
    client.open(crews, "crew hands\n  people 2\n")
    client.found(crews, has("record/missing-property"))
    client.open(plan, 'plan "Main"\n')
    client.change(plan, {"range": stretch(1, 0, 0), "text": 'include "crews.habitat"\n'})
    client.found(crews, lacks("record/missing-property"))


def test_a_request_can_be_taken_back(start: Start) -> None:
    client = start(capabilities=PUSHES, options={"settle": 60_000})
    client.open(URI, LANE)
    client.change(URI, {"range": stretch(9, 6, 7), "text": "7"})
    wanted = {**document(), "range": stretch(5, 0, 9), "context": {"diagnostics": []}}
    number = client.begin("textDocument/codeAction", wanted)  # waits for a judgement that is far off
    client.tell("$/cancelRequest", {"id": number})
    assert client.answer(number)["error"]["code"] == -32800


def test_what_a_plan_takes_in_is_watched(start: Start, tmp_path: Path) -> None:
    pack = tmp_path / "own"
    pack.mkdir()
    rule = pack / "no-rows.rules"
    body = 'rule no-rows\n  title "No rows"\n  each r in rows\n  report {} say "a row"\n  because "none"\n'
    rule.write_text(body.format("warning"), encoding="utf-8")
    plan = tmp_path / "main.habitat"
    text = LANE.replace("path lane", 'use pack "own"\npath lane')
    client = start(capabilities={**PUSHES, "workspace": {"didChangeWatchedFiles": {"dynamicRegistration": True}}})
    client.open(plan.as_uri(), text)
    client.found(plan.as_uri(), has("own/no-rows"))
    registered = client.asked[0]["params"]["registrations"][0]
    assert registered["method"] == "workspace/didChangeWatchedFiles"
    rule.write_text(body.format("error"), encoding="utf-8")
    client.tell("workspace/didChangeWatchedFiles", {"changes": [{"uri": rule.as_uri(), "type": 2}]})
    client.found(
        plan.as_uri(), lambda found: any(one["code"] == "own/no-rows" and one["severity"] == 1 for one in found)
    )


def test_what_else_an_editor_shows(shared: Client) -> None:
    uri = "untitled:shown"
    shared.open(uri, LANE)
    shared.found(uri, has(NEAR))
    hover = shared.ask("textDocument/hover", {**document(uri), "position": at(1, 6)})
    assert "100 yd" in hover["contents"]["value"] and hover["range"] == stretch(1, 5, 9)
    items = shared.ask("textDocument/completion", {**document(uri), "position": at(2, 6)})["items"]
    assert items[0]["textEdit"]["range"] == stretch(2, 6, 6)
    assert "entry" in [item["label"] for item in items]
    symbols = shared.ask("textDocument/documentSymbol", document(uri))
    assert [one["name"] for one in symbols] == ["Lane", "path lane", "row cover"]
    folds = shared.ask("textDocument/foldingRange", document(uri))
    assert [(one["startLine"], one["endLine"]) for one in folds] == [(1, 3), (4, 9)]
    hints = shared.ask("textDocument/inlayHint", {**document(uri), "range": {"start": at(0, 0), "end": at(9, 0)}})
    assert [hint["label"] for hint in hints] == ["100 yd", "80 yd, 9 trees"]
    untidy = {"range": stretch(8, 0, 8), "text": "  fall   N"}
    shared.change(uri, untidy)
    options = {"tabSize": 2, "insertSpaces": True}
    edits = shared.ask("textDocument/formatting", {**document(uri), "options": options})
    assert {"range": {"start": at(8, 0), "end": at(9, 0)}, "newText": "  fall N\n"} in edits
    line = {**document(uri), "range": stretch(8, 0, 5), "options": options}
    assert shared.ask("textDocument/rangeFormatting", line) == [edits[-1]]


def test_packs_beside_a_plan_are_offered_where_it_takes_one_in(shared: Client, tmp_path: Path) -> None:
    (tmp_path / "packs" / "creek").mkdir(parents=True)
    (tmp_path / "packs" / "creek" / "pack.rules").write_text('pack creek\n  version "1.2.0"\n', encoding="utf-8")
    uri = (tmp_path / "main.habitat").as_uri()
    shared.open(uri, 'plan "Main"\nuse pack "packs/cr"\nuse pack "packs/creek" version \n')
    (item,) = shared.ask("textDocument/completion", {**document(uri), "position": at(1, 18)})["items"]
    assert item["textEdit"] == {"range": stretch(1, 10, 18), "newText": "packs/creek"}
    items = shared.ask("textDocument/completion", {**document(uri), "position": at(2, 31)})["items"]
    assert [one["label"] for one in items] == ['"1.2"', '"1.2.."', '"1.2.0"'] and items[0]["detail"] == "any 1.2"


def test_colours_stand_where_the_words_do(shared: Client) -> None:
    uri = "untitled:colours"
    shared.open(uri, LANE)
    legend = shared.said["semanticTokensProvider"]["legend"]["tokenTypes"]
    data = shared.ask("textDocument/semanticTokens/full", document(uri))["data"]
    lines, found, line, column = LANE.encode("utf-16-le").decode("utf-16-le").split("\n"), [], 0, 0
    for down, along, length, kind, _ in zip(*[iter(data)] * 5, strict=True):
        line, column = line + down, along if down else column + along
        units = lines[line].encode("utf-16-le")[column * 2 : (column + length) * 2].decode("utf-16-le")
        found.append((units, legend[kind]))
    assert found[:5] == [("plan", "keyword"), ('"Lane"', "string"), ("path", "keyword"), ("lane", "variable"),
                         ('"South \U0001f98c lane"', "string")]  # fmt: skip
    assert ("hinge", "enumMember") in found and ("10", "number") in found
    part = {**document(uri), "range": {"start": at(5, 0), "end": at(5, 9)}}
    assert shared.ask("textDocument/semanticTokens/range", part)["data"] == [5, 2, 6, legend.index("property"), 0,
                                                                             0, 7, 5, legend.index("enumMember"), 0]  # fmt: skip


# -- files of rules ----------------------------------------------------------------------------------------------


def test_rules_are_judged_and_their_examples_proven_as_one_types(shared: Client, tmp_path: Path) -> None:
    shipped = Path(__file__).resolve().parents[2] / "rules" / "entry" / "live-hinge-near-entry.rules"
    text = shipped.read_text(encoding="utf-8")
    uri = (tmp_path / "own" / "near.rules").as_uri()
    client = shared
    client.open(uri, text.replace("measured 5 yd", "measured 6 yd", 1), "habitat-rules")
    found = client.found(uri, has("own/live-hinge-near-entry example"))
    assert "measured 5 yd, not 6 yd" in found[0]["message"]
    assert text.splitlines()[found[0]["range"]["start"]["line"]].strip() == "method hinge"
    client.change(uri, {"text": text.replace("t.method is", "t.methd is")})
    slip = next(one for one in client.found(uri, has("record/unknown-name")))
    assert "did you mean `method`" in slip["message"]
    client.change(uri, {"text": text})
    client.found(uri, lambda found: found == [])
    where = next(number for number, line in enumerate(text.splitlines()) if "= distance(" in line)
    column = text.splitlines()[where].index("distance") + 2
    hover = client.ask("textDocument/hover", {**document(uri), "position": at(where, column)})
    assert "a length (`20yd`" in hover["contents"]["value"]
    symbols = client.ask("textDocument/documentSymbol", document(uri))
    assert symbols[0]["name"] == "rule live-hinge-near-entry"


# -- bad input ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "garbage",
    [
        b"hello?\r\n\r\n",
        b"Content-Length: 7\r\n\r\n{{{{{{{",
        b"Content-Length: 2\r\n\r\n[]",
        b"Content-Length: 4\r\n\r\nnull",
        b"Content-Length: 4\r\n\r\n\xff\xfe\xfd\xfc",
        b"\x00" * 20_000 + b"\r\n\r\n",
        b'Content-Length: 40\r\n\r\n{"jsonrpc":"2.0","method":7,"params":{}}',
        b'Content-Length: 50\r\n\r\n{"jsonrpc":"2.0","id":[],"result":{"a":[1,2,3,4]}}',
    ],
)
def test_garbage_is_passed_over(shared: Client, garbage: bytes) -> None:
    assert shared.process.stdin
    shared.process.stdin.write(garbage)
    shared.process.stdin.flush()
    assert shared.ask("textDocument/hover", {**document("untitled:none"), "position": at(0, 0)}) is None


def test_what_makes_no_sense_is_answered(shared: Client) -> None:
    shared.open("untitled:sense", LANE)
    for method, params in (
        ("textDocument/hover", {**document("untitled:sense"), "position": at(9999, 9999)}),
        ("textDocument/hover", {**document("no uri at all"), "position": at(0, 0)}),
        ("textDocument/codeAction", {**document("file:///%00"), "range": stretch(0, 0, 0), "context": {"diagnostics": []}}),
        ("textDocument/documentSymbol", document("http://[")),
        ("no/such-thing", {}),
        ("textDocument/hover", {"nothing": "here"}),
    ):  # fmt: skip
        if method == "textDocument/hover" and "nothing" in params:
            shared.begin(method, params)  # it need not be answered, for it cannot be understood
        else:
            assert "id" in shared.answer(shared.begin(method, params))
    shared.tell("textDocument/didChange", {**document("untitled:closed"), "contentChanges": [{"text": "x"}]})
    backwards = {"start": at(5, 5), "end": at(1, 1)}
    shared.change("untitled:sense", {"range": backwards, "text": "#"})
    assert shared.ask("textDocument/documentSymbol", document("untitled:sense"))


def test_it_leaves_as_the_protocol_has_it(start: Start) -> None:
    polite = start(capabilities=PUSHES)
    polite.open(URI, LANE)
    assert polite.leave() == 0
    rude = start(capabilities=PUSHES)
    rude.tell("exit", None)
    assert rude.process.wait(20) == 1


def test_without_its_library_one_line_says_how_to_get_it() -> None:
    script = "import sys; sys.modules['pygls'] = None; from habitatlint.cli.main import main; main(['language-server'])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr == "habitatlint: an editor needs one part more: pip install 'habitatlint[editor]'\n"


def test_an_editor_that_goes_mid_request_takes_the_server_with_it(start: Start) -> None:
    client = start(capabilities=PUSHES)
    client.open(URI, LANE)
    client.begin("textDocument/codeAction", {**document(), "range": stretch(5, 0, 9), "context": {"diagnostics": []}})
    assert client.process.stdin and client.process.stderr
    client.process.stdin.write(b"Content-Length: 500\r\n\r\n{")
    client.process.stdin.close()
    client.process.wait(20)
    assert b"Traceback" not in client.process.stderr.read()
    client.process.stdin = None


def test_a_text_of_five_megabytes_is_told_of_and_judged_by_the_command_alone(start: Start) -> None:
    client = start(capabilities=PUSHES)
    client.open(URI, 'plan "Long"\n' + "# \U0001f98c a comment of no meaning at all\n" * 130_000)
    (told,) = client.found(URI)
    assert "habitatlint check" in told["message"] and told["severity"] == 3
    begun = time.monotonic()
    client.change(URI, {"range": stretch(120_000, 0, 0), "text": "x"})
    client.found(URI)
    assert client.ask("textDocument/hover", {**document(), "position": at(120_000, 0)}) is None
    assert time.monotonic() - begun < 10
    client.change(URI, {"text": LANE})
    client.found(URI, has(NEAR))


def test_a_text_too_long_to_be_read_at_every_key_is_read_with_its_judgement(shared: Client) -> None:
    uri = "untitled:long"
    shared.open(uri, LANE + "# a comment of no meaning at all\n" * 8_000)
    (one,) = (one for one in shared.found(uri, has(NEAR)) if one["code"] == NEAR)
    assert shared.ask("textDocument/hover", {**document(uri), "position": at(1, 6)})["range"] == stretch(1, 5, 9)
    wanted = {**document(uri), "range": one["range"], "context": {"diagnostics": [one]}}
    assert shared.ask("textDocument/codeAction", wanted)


def test_a_plan_outside_any_folder_asks_to_be_saved_before_it_takes_anything_in(shared: Client) -> None:
    uri = "untitled:alone"
    shared.open(uri, 'plan "Alone"\ninclude "crews.habitat"\nuse pack "own"\n')
    found = shared.found(uri, has("record/include-trouble", "record/pack-trouble"))
    assert sum("save this text first" in one["message"] for one in found) == 2
    assert json.dumps(found)
