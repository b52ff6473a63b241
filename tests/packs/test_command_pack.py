"""The commands of packs, run as a person runs them, and the pages that show rules."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from habitatlint import files
from habitatlint.cli.assembly import review as assembled
from habitatlint.cli.main import main
from habitatlint.cli.ruling import page_of
from habitatlint.findings import Fact, Level
from habitatlint.outputs.in_force import Said
from habitatlint.packs.archive import unwrapped
from habitatlint.packs.soundness import UNSAID
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook

PLAN = """plan "Small"
use pack "creek-bottoms"
boundary
  outline 0,0 400,0 400,400 0,400
path lane
  use entry
  line 0,100 200,100
pocket oak
  outline 80,120 160,120 160,190 80,190
  bed 120,130
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def fill_in(pack: Path) -> None:
    """Says in the head of a begun pack what only its maker can say."""
    head = pack / "pack.rules"
    text = head.read_text(encoding="utf-8")
    for begun, _ in UNSAID.values():
        text = text.replace(begun, "ours")
    head.write_text(text, encoding="utf-8")


def test_a_begun_pack_passes_its_own_check_and_is_taken_in(here: Path) -> None:
    begun = run("pack", "new", "creek-bottoms")
    assert begun.exit_code == 0 and "habitatlint pack check creek-bottoms" in begun.stdout
    assert sorted(path.name for path in (here / "creek-bottoms").iterdir()) == ["bed-near-walk.rules", "pack.rules"]
    assert run("pack", "check", "creek-bottoms", "--fail-on", "warning").exit_code == 0
    fill_in(here / "creek-bottoms")
    looked = run("pack", "check", "creek-bottoms", "--fail-on", "note")
    assert looked.exit_code == 0 and looked.stdout.endswith("pack creek-bottoms 0.1.0, 1 rule: nothing to tell\n")
    (here / "farm.habitat").write_text(PLAN, encoding="utf-8")
    found = run("check", "farm.habitat", "--as", "gnu", "--today", "2026-02-10")
    assert "farm.habitat:10:7: warning: a bed of pocket oak lies too near entry path lane (creek-bottoms/bed-near-walk)" in found.stdout  # fmt: skip


def test_a_begun_pack_speaks_to_who_has_never_programmed(here: Path) -> None:
    run("pack", "new", "creek-bottoms")
    text = (here / "creek-bottoms" / "bed-near-walk.rules").read_text(encoding="utf-8")
    lines = text.splitlines()
    assert sum(line.lstrip().startswith("#") for line in lines) * 4 > len(lines)  # a comment for each few lines
    assert "To copy it" in text and all(len(line) <= 120 for line in lines)


@pytest.mark.parametrize("name", ["Creek", "creek bottoms", "2creek", "entry", "..", "creek/../x y", "-"])
def test_a_name_that_no_pack_can_have_is_refused_and_nothing_made(here: Path, name: str) -> None:
    done = run("pack", "new", "--", name)
    assert done.exit_code == 2 and done.stderr.count("\n") == 1
    assert list(here.iterdir()) == []


def test_a_pack_is_begun_over_nothing_that_is_there(here: Path) -> None:
    (here / "creek-bottoms").mkdir()
    done = run("pack", "new", "creek-bottoms")
    assert done.exit_code == 2 and "is there already" in done.stderr and not list((here / "creek-bottoms").iterdir())
    assert run("pack", "new", "nowhere/creek").exit_code == 2


def test_a_wrapped_pack_is_the_same_bytes_whatever_the_line_ends_and_the_day(here: Path) -> None:
    run("pack", "new", "creek-bottoms")
    first = run("pack", "wrap", "creek-bottoms")
    assert first.exit_code == 0 and re.search(r"^content  [0-9a-f]{64}$", first.stdout, re.MULTILINE)
    data = (here / "creek-bottoms-0.1.0.pack").read_bytes()
    for path in (here / "creek-bottoms").iterdir():
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    run("pack", "wrap", "creek-bottoms", "-o", "again.pack")
    assert (here / "again.pack").read_bytes() == data
    assert unwrapped(data).manifest.content in first.stdout


def test_an_archive_is_looked_at_and_taken_in_as_its_folder_is(here: Path) -> None:
    run("pack", "new", "creek-bottoms")
    fill_in(here / "creek-bottoms")
    (here / "creek-bottoms" / "LICENSE").write_text("anybody may use it\n", encoding="utf-8")
    run("pack", "wrap", "creek-bottoms", "-o", "c.pack")
    assert run("pack", "check", "c.pack").stdout == run("pack", "check", "creek-bottoms").stdout
    assert unwrapped((here / "c.pack").read_bytes()).texts["LICENSE"] == "anybody may use it\n"
    (here / "a.habitat").write_text(PLAN, encoding="utf-8")
    (here / "b.habitat").write_text(PLAN.replace('"creek-bottoms"', '"c.pack" version "0.1"'), encoding="utf-8")
    a, b = (run("check", name, "--as", "gnu", "--today", "2026-02-10").stdout for name in ("a.habitat", "b.habitat"))
    assert a.replace("a.habitat", "b.habitat") == b and "bed-near-walk" in b


def test_a_version_that_went_out_is_not_wrapped_over_with_other_content(here: Path) -> None:
    run("pack", "new", "creek-bottoms")
    assert run("pack", "wrap", "creek-bottoms").exit_code == 0
    out = here / "creek-bottoms-0.1.0.pack"
    data = out.read_bytes()
    assert run("pack", "wrap", "creek-bottoms").exit_code == 0 and out.read_bytes() == data  # the same once more
    rule = next(path for path in (here / "creek-bottoms").iterdir() if path.name != "pack.rules")
    rule.write_text(rule.read_text(encoding="utf-8") + "# a word more\n", encoding="utf-8")
    done = run("pack", "wrap", "creek-bottoms")
    assert done.exit_code == 2 and "raise the `version` of the pack" in done.stderr and out.read_bytes() == data
    head = here / "creek-bottoms" / "pack.rules"
    head.write_text(head.read_text(encoding="utf-8").replace("0.1.0", "0.1.1"), encoding="utf-8")
    assert run("pack", "wrap", "creek-bottoms").exit_code == 0 and out.read_bytes() == data
    (here / "notes.pack").write_text("mine", encoding="utf-8")
    assert "is no pack" in run("pack", "wrap", "creek-bottoms", "-o", "notes.pack").stderr


def test_a_pack_with_faults_is_not_wrapped(here: Path) -> None:
    run("pack", "new", "creek-bottoms")
    path = here / "creek-bottoms" / "bed-near-walk.rules"
    path.write_text(path.read_text(encoding="utf-8").replace("bed 120,38", "bed 120,20"), encoding="utf-8")
    done = run("pack", "wrap", "creek-bottoms")
    assert done.exit_code == 1 and "not wrapped: mend what is wrong first" in done.stdout
    assert not list(here.glob("*.pack"))
    for arguments in (("wrap", "nowhere"), ("wrap", "creek-bottoms/pack.rules"), ("check", "nowhere"), ("check", ".")):
        done = run("pack", *arguments)
        assert done.exit_code == 2 and done.stderr.startswith("habitatlint: ") and done.stderr.count("\n") == 1


def test_a_pack_is_told_as_lines_for_editors_and_as_json_for_programs(here: Path) -> None:
    run("pack", "new", "creek-bottoms")
    fill_in(here / "creek-bottoms")
    path = here / "creek-bottoms" / "bed-near-walk.rules"
    path.write_text(
        path.read_text(encoding="utf-8").replace('"our own; no figure for this is published"', ""), encoding="utf-8"
    )
    line = run("pack", "check", "creek-bottoms", "--as", "gnu").stdout
    assert re.fullmatch(r"creek-bottoms/bed-near-walk\.rules:\d+:3: note: the limit room .* \(pack/evidence\)\n", line)
    told = json.loads(run("pack", "check", "creek-bottoms", "--as", "json").stdout)
    assert told["remarks"][0]["kind"] == "evidence" and told["coverage"][0]["limits"] == {"room": True}
    assert run("pack", "check", "creek-bottoms", "--fail-on", "note").exit_code == 1


def test_a_pack_is_looked_at_with_the_one_it_builds_on(here: Path) -> None:
    run("pack", "new", "creek-bottoms")
    (here / "over").mkdir()
    (here / "over" / "pack.rules").write_text(
        'pack over "Over"\n  version "1"\n  builds-on creek-bottoms "0.1"\n  set bed-near-walk.room 60yd\n',
        encoding="utf-8",
    )
    alone = run("pack", "check", "over", "--as", "gnu")
    assert alone.exit_code == 1 and "no pack of that name is in force" in alone.stdout
    assert run("pack", "check", "over", "--with", "creek-bottoms").exit_code == 0


# -- pins ------------------------------------------------------------------------------------------------------


def test_the_rules_in_force_are_pinned_and_what_comes_later_is_shown(here: Path) -> None:
    run("pack", "new", "creek-bottoms")
    (here / "farm.habitat").write_text(PLAN, encoding="utf-8")
    assert run("pack", "pin", "--show").exit_code == 2
    done = run("pack", "pin")
    assert done.exit_code == 0 and done.stdout.startswith("habitatlint.pins: pins ")
    pins = files.read_pins(str(here / files.PINS))
    assert pins.packs["creek-bottoms"] == "0.1.0" and "creek-bottoms/bed-near-walk" in pins.rules
    assert run("pack", "pin", "--show").stdout.count("\n") == len(pins.packs) + 1
    path = here / "creek-bottoms" / "bed-near-walk.rules"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("limit room 40yd", "limit room 45yd"), encoding="utf-8")
    (here / "creek-bottoms" / "b.rules").write_text(
        text.replace("rule bed-near-walk", "rule bed-far"), encoding="utf-8"
    )
    shown = run("pack", "pin", "--show").stdout
    assert shown.endswith("new: creek-bottoms/bed-far\nchanged: creek-bottoms/bed-near-walk\n")


def test_pins_go_beside_the_settings(here: Path) -> None:
    (here / "plans").mkdir()
    (here / "habitatlint.toml").write_text('fail-on = "warning"\n', encoding="utf-8")
    (here / "plans" / "farm.habitat").write_text(PLAN.replace('use pack "creek-bottoms"\n', ""), encoding="utf-8")
    assert run("pack", "pin", "plans").exit_code == 0
    assert (here / files.PINS).exists() and not (here / "plans" / files.PINS).exists()


# -- the page of rules -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def few() -> Review:
    """A review of three rules that ship, for a page that is made quickly."""
    whole = assembled()
    kept = {"entry/live-hinge-near-entry", "layout/pocket-unconnected", "record/unknown-name"}
    packs = (
        pack._replace(rules=tuple(rule for rule in pack.rules if rule.name in kept)) for pack in whole.rulebook.packs
    )
    return Review(whole.plan_grammar, Rulebook(tuple(packs)), whole.find, whole.find_pack)


def test_the_page_has_each_rule_at_its_name_with_its_figures_and_what_its_examples_measure(few: Review) -> None:
    page = page_of(few)
    assert page == page_of(few)
    for rule in few.rulebook.rules:
        assert page.count(f'id="{rule.name}"') == 1 and f'href="#{rule.name}"' in page
    assert "<td>clearance</td><td>20 yd</td><td>5 yd to 60 yd</td><td>common practice</td></tr>" in page  # no source
    entry = page.partition('<a href="#entry/live-hinge-near-entry">')[0].rpartition("<li>")[2]
    assert entry == '<span class="level error">error</span> '
    assert "9 of 9 live hinges lie too near entry path lane; measured 5 yd, wanted 20 yd or more" in page
    assert re.search(r"<mark><span class=\"na\">method</span></mark>", page)
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids)) and set(re.findall(r'href="#([^"]+)"', page)) <= set(ids)


def test_the_page_has_what_is_in_force_and_beside_it_the_rules_own(few: Review) -> None:
    name = "entry/live-hinge-near-entry"
    said = Said(
        {name: Level.warning, "layout/pocket-unconnected": Level.off},
        {f"{name}.clearance": Fact(25 * 0.9144, "length", "yd")},
        {f"{name}.clearance": "habitatlint.toml:7", name: "habitatlint.toml:9"},
    )
    page = page_of(few, said)
    told = "by habitatlint.toml:7; the rule&#x27;s own 20 yd"
    assert f'<td>clearance</td><td>25 yd <span class="small">{told}</span></td><td>5 yd to 60 yd</td>' in page
    own = page.partition(f'id="{name}"')[2].partition("</section>")[0]
    assert '<span class="level warning">warning</span> a live hinge' in own and "level error" not in own
    assert "its level is warning, by habitatlint.toml:9; the rule&#x27;s own error" in own
    assert '<span class="level off">off</span> <a href="#layout/pocket-unconnected">' in page


def test_the_page_runs_nothing_and_asks_nothing_of_a_network(few: Review) -> None:
    page = page_of(few)
    assert "<script" not in page and not re.search(r'(src|href)="(?!#)', page) and "style=" not in page
    assert "default-src 'none'" in page and not re.search(r"url\((?!data:)", page)


def test_what_a_strangers_pack_says_is_no_markup_on_the_page(here: Path, few: Review) -> None:
    run("pack", "new", "creek-bottoms")
    path = here / "creek-bottoms" / "bed-near-walk.rules"
    text = path.read_text(encoding="utf-8").replace("Bed too near", "<script>alert(1)</script> \u202ebed & near")
    path.write_text(text.replace('because "a deer', 'because "<img src=x onerror=y> a deer'), encoding="utf-8")
    (here / "habitatlint.toml").write_text('packs = ["creek-bottoms"]\n', encoding="utf-8")
    pack = few.find_pack("creek-bottoms", files.Source("x.habitat", ""))
    page = page_of(Review(few.plan_grammar, few.rulebook.with_packs([pack]), few.find, few.find_pack))
    assert "&lt;script&gt;alert(1)" in page and "<script" not in page and "<img" not in page and "\u202e" not in page


def test_the_page_is_written_to_a_page_alone(here: Path) -> None:
    done = run("rules", "--page", "rules.pdf")
    assert done.exit_code == 2 and "end the file in .html" in done.stderr and not (here / "rules.pdf").exists()
    assert run("rules", "open-arc", "--page", "rules.html").exit_code == 2
