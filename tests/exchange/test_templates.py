"""`new`: templates that check clean, and a plan begun with what was walked."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from exchange.round_trip import scene_of

from habitatlint import files
from habitatlint.check import Report
from habitatlint.cli.starter import TEMPLATES, USUAL, listing, starter, template_text, walked
from habitatlint.findings import Level

WALK = Path(__file__).parent.parent.parent / "examples" / "withy-bend.gpx"


@pytest.mark.parametrize("today", [date(2026, 2, 10), date(2026, 11, 28), date(2032, 6, 1)])
@pytest.mark.parametrize("name", TEMPLATES)
def test_a_template_checks_clean_whenever_it_is_taken(report_of: Callable[..., Report], name: str, today: date) -> None:
    report = report_of(starter("My farm", name), fragment=False, today=today)
    assert [(one.rule, one.span.line) for one in report.findings if one.level >= Level.warning] == []
    assert report.scene.property_ is not None and report.scene.trees.lies.any()


@pytest.mark.parametrize("name", TEMPLATES)
def test_a_template_is_commented_and_whole(name: str) -> None:
    plan = scene_of(template_text(name)).plan
    nouns = {block.noun for block in plan.blocks}
    assert {"boundary", "food", "pocket", "path", "stand", "release", "row", "crew", "winds", "work", "timber"} <= nouns
    text = template_text(name)
    assert text.count("#") >= 10 and "trained feller decides" in text
    acres = scene_of(text).property_.area / 4046.8564224  # type: ignore[union-attr]
    assert acres == pytest.approx(40 if name == USUAL else 80, rel=0.001)


def test_templates_ship_with_the_package_and_none_is_left_unlisted() -> None:
    folder = Path(files.HERE) / "assets" / "templates"
    assert {path.stem for path in folder.iterdir()} == set(TEMPLATES)
    assert [line.split()[0] for line in listing().splitlines()] == list(TEMPLATES)


@pytest.mark.parametrize("name", TEMPLATES)
def test_the_title_stands_in_head_and_comment_whatever_it_holds(name: str) -> None:
    text = starter('Back\\slash "farm"\n{x}', name)
    head = scene_of(text).plan.head
    assert head is not None and head.title == "Back slash farm {x}"
    assert text.startswith("# Back slash farm {x}: a plan of habitat work.\n")


def test_an_unknown_template_is_told_with_what_is_near() -> None:
    with pytest.raises(files.FileTrouble, match=r"no template is called `rigde`.*ridge"):
        starter("x", "rigde")


# -- with what was walked --------------------------------------------------------------------------------------


def test_a_walk_becomes_blocks_and_the_rest_of_a_template_comments() -> None:
    begun = walked(str(WALK), "", "creek-bottom", date(2026, 3, 1))
    blocks, rest = begun.text.split("# What a plan needs besides")
    plan = scene_of(begun.text).plan
    assert plan.slips == () and plan.head is not None and plan.head.title == "Withy Bend"
    assert "  date 2026-03-01\n" in blocks
    assert re.search(r"(?m)^  declination [0-9.]+[EW]$", blocks)
    assert all(line.startswith("#") or not line for line in rest.splitlines()[1:])
    # what was not walked stands there, to be taken over; what was does not
    for noun in ("timber", "release", "row", "crew", "winds", "work", "planting"):
        assert re.search(rf"(?m)^# {noun}\b", rest)
    for noun in ("boundary", "food", "pocket", "stand", "hazard", "path"):
        assert not re.search(rf"(?m)^# {noun}\b", rest)


def test_comments_of_the_rest_taken_away_are_blocks_again() -> None:
    rest = walked(str(WALK), "", USUAL, date(2026, 3, 1)).text.split("what else there is.\n")[1]
    bare = "".join(
        line.removeprefix("# ") if line.startswith("# ") else line for line in rest.splitlines(keepends=True)
    )
    plan = scene_of(f'plan "x"\n{bare}').plan
    assert {"timber", "planting", "release", "row", "crew", "winds", "work"} == {
        block.noun for block in plan.blocks[1:]
    }
    # they name what the template has and the walk has not
    assert {slip.kind for slip in plan.slips} <= {"unknown-name"}
