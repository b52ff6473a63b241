"""The worked pack and the group that uses it: `examples/packs/river-bottoms` and `examples/group`."""

from __future__ import annotations

from pathlib import Path

import pytest

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.packing import look_at, wrap
from habitatlint.cli.project import project_of
from habitatlint.findings import Level
from habitatlint.outputs import baseline

ROOT = Path(__file__).resolve().parents[2]
PACK, GROUP = ROOT / "examples" / "packs" / "river-bottoms", ROOT / "examples" / "group"
ARCHIVE = "river-bottoms-1.0.0.pack"


@pytest.fixture
def group(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(GROUP)


def report_of(name: str) -> Report:
    path = f"plans/{name}.habitat"
    project = project_of(path)
    return project.review.check(files.read_source(path), project.policy())


def found(report: Report) -> list[tuple[int, str, str]]:
    return [(one.span.line, one.level.name, one.rule) for one in report.findings]


def test_the_pack_has_six_rules_two_changed_figures_and_nothing_to_tell() -> None:
    looked = look_at(str(PACK), (), "text", Level.note)
    assert looked.status == 0, looked.page
    assert looked.page.endswith("pack river-bottoms 1.0.0, 6 rules: nothing to tell\n")
    assert (PACK / "pack.rules").read_text(encoding="utf-8").count("\n  set ") == 2


def test_the_groups_archive_is_the_pack_as_it_stands(tmp_path: Path) -> None:
    """After a change of the pack: `cd examples/group && habitatlint pack wrap ../packs/river-bottoms -o packs/...`."""
    wrap(str(PACK), str(tmp_path / ARCHIVE), ())
    assert (tmp_path / ARCHIVE).read_bytes() == (GROUP / "packs" / ARCHIVE).read_bytes()


def test_the_sound_plan_of_the_group_has_no_findings(group: None) -> None:
    report = report_of("sedge-bend")
    assert found(report) == []
    assert report.limits["escape/far-from-corridor.far"].value == pytest.approx(12 * 0.9144)
    assert report.limits["layout/pocket-unconnected.touch"].value == pytest.approx(30 * 0.9144)
    assert report.limits["river-bottoms/plot-by-water.strip"].value == pytest.approx(15 * 0.9144)  # the group's own


def test_the_other_has_what_its_comments_say_and_only_what_is_new_fails(group: None) -> None:
    report = report_of("withy-fork")
    assert found(report) == [
        (24, "warning", "river-bottoms/plot-by-water"),
        (29, "note", "river-bottoms/landing-in-flood-reach"),
        (53, "error", "river-bottoms/tops-at-water"),
        (56, "warning", "felling/fall-onto-hazard"),
    ]
    entries = baseline.read(Path("known.json").read_text(encoding="utf-8"))
    held = baseline.held([report.verdict], entries, lambda name: name, set())
    assert not held.gone
    assert [one.rule for one in held.verdicts[0].findings] == [
        "river-bottoms/tops-at-water",
        "felling/fall-onto-hazard",
    ]


def test_the_pins_of_the_group_hold_its_pack(group: None) -> None:
    """The rules that ship may have changed since; `habitatlint pack pin` in the folder pins them anew."""
    pins = files.read_pins(files.pins_for("plans/withy-fork.habitat"))
    book = project_of("plans/withy-fork.habitat").review.rulebook
    own = {name: value for name, value in book.as_pins.rules.items() if name.startswith("river-bottoms/")}
    assert len(own) == 6 and own.items() <= pins.rules.items()
    assert set(pins.packs) == {pack.name for pack in book.packs}


def test_the_group_has_settings_a_baseline_pins_and_hooks() -> None:
    names = {path.name for path in GROUP.iterdir()}
    assert names == {"habitatlint.toml", "known.json", "habitatlint.pins", ".pre-commit-config.yaml", "packs", "plans"}
    hooks = (GROUP / ".pre-commit-config.yaml").read_text(encoding="utf-8")
    shipped = (ROOT / ".pre-commit-hooks.yaml").read_text(encoding="utf-8")
    asked = {line.split("id: ")[1] for line in hooks.splitlines() if "id: " in line}
    assert asked <= {line.split("id: ")[1] for line in shipped.splitlines() if line.startswith("- id: ")}
