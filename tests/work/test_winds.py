"""Every stand by every wind, held to the rules about scent, and to a case worked by hand."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from habitatlint.check import Report
from habitatlint.findings import Finding, Policy
from habitatlint.ground.columns import Column
from habitatlint.language.blocks import Stand
from habitatlint.measures.clean import clean_winds
from habitatlint.measures.vocabulary import Rows
from habitatlint.measures.winds import WINDS
from habitatlint.review import Review
from habitatlint.rulebook.book import Rulebook
from habitatlint.source import Source
from habitatlint.units import YARD
from habitatlint.work.winds import SITS, Sit, WindTable, wind_table

Reports = Callable[..., Report]
TODAY = date(2026, 2, 10)
ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = sorted((ROOT / "examples").glob("*.habitat"))

#: rules that speak of one stand, one thing and the winds that carry to it
PAIRED = ("wind/scent-on-bedding", "wind/scent-on-food", "wind/scent-on-travel")


@pytest.fixture
def report_of(review: Review) -> Reports:
    """The report of a plan's text by the rules of wind alone, which is all that is looked at here."""
    only = replace(review, rulebook=Rulebook(tuple(pack for pack in review.rulebook.packs if pack.name == "wind")))

    def check(text: str, name: str = "plan.habitat", *, fragment: bool = True) -> Report:
        return only.check(Source(name, text), Policy(TODAY, fragment=fragment))

    return check


def of(table: WindTable, stand: str, sit: str = "") -> Sit:
    return next(one for one in table.sits if one.stand.name == stand and sit in ("", one.sit))


def told_by_rules(report: Report) -> dict[tuple[str, str], tuple[set[str], bool]]:
    """By stand and thing, on which listed winds rules say that scent comes there, and whether but faintly."""
    found: dict[tuple[str, str], tuple[set[str], bool]] = {}
    for finding in (*report.findings, *report.waived):
        if finding.rule in PAIRED:
            faint = finding.level.name == "note"
            winds = str(finding.facts["faint.winds" if faint else "gap.winds"].value)
            stand, thing = sorted(finding.names, key=lambda name: report.plan.names[name].noun != "stand")
            found[stand, thing] = (set(re.findall("[NESW]+", winds)), faint)
    return found


def told_by_table(table: WindTable) -> dict[tuple[str, str], tuple[set[str], bool]]:
    """The same, of the sits that the plan says: the winds of faint scent where it nowhere comes plainly."""
    plain: dict[tuple[str, str], set[str]] = {}
    faint: dict[tuple[str, str], set[str]] = {}
    for sit in table.sits:
        for wind in sit.listed if sit.said else ():
            for met in wind.met:
                into = faint if met.faint else plain
                into.setdefault((sit.stand.name, met.thing.name), set()).add(wind.name)
    told = {pair: (winds, False) for pair, winds in plain.items()}
    return {**{pair: (winds, True) for pair, winds in faint.items()}, **told}


def agree(report: Report) -> None:
    table = wind_table(report)
    assert told_by_table(table) == told_by_rules(report)
    stands = report.scene.plan.of(Stand)
    rows = Rows("stands", np.arange(len(stands)))
    far, calm = table.reaches.hours, table.reaches.calm
    clean = clean_winds(report.scene, rows, Column("length", np.full(len(rows), far)),
                        Column("speed", np.full(len(rows), calm)))  # fmt: skip
    hours, names = (clean.parts[part](np.arange(len(rows))) for part in ("hours", "winds"))
    for sit in table.sits:
        row = stands.index(sit.stand)
        if sit.said and sit.hours is not None:
            assert hours.mask[row] and sit.hours.clean == pytest.approx(hours.values[row])
            blowing = [one.name for one in sit.clean if one.share]
            assert set(blowing) == set(re.findall("[NESW]+", str(names.values[row]).replace("no side", "")))


@pytest.mark.parametrize("plan", EXAMPLES, ids=lambda plan: plan.stem)
def test_a_wind_is_clean_where_no_rule_finds_fault_with_it(plan: Path, report_of: Reports) -> None:
    report = report_of(plan.read_text(encoding="utf-8"), str(plan), fragment=False)
    agree(report)
    light = {(finding_stand(finding, report), finding.facts["run.course"].value) for finding in report.findings
             if finding.rule == "wind/evening-drain"}  # fmt: skip
    assert {(sit.stand.name, one.course.label) for sit in wind_table(report).sits for one in sit.light} == light


def finding_stand(finding: Finding, report: Report) -> str:
    return next(name for name in finding.names if report.plan.names[name].noun == "stand")


def layouts() -> Iterator[str]:
    """Forty invented lots with a stand each, everything round it strewn at random; the same at every run."""
    dice = random.Random(8)
    for _ in range(40):

        def spot() -> tuple[int, int]:
            return dice.randint(-260, 260), dice.randint(-260, 260)

        def box(size: int) -> str:
            x, y = spot()
            return f"{x},{y} {x + size},{y} {x + size},{y + size} {x},{y + size}"

        (x, y), (to_x, to_y) = spot(), spot()
        sit = dice.choice(("morning", "evening", "all"))
        listed = " ".join(dice.sample(WINDS, 3))
        yield (
            f"path lane\n  use entry\n  line {x},{y} 0,0\n"
            f"path run\n  use travel\n  line {to_x},{to_y} {-to_y},{to_x + 40}\n"
            f"pocket near\n  outline {box(40)}\npocket far\n  outline {box(60)}\n"
            f"food clover\n  outline {box(50)}\n"
            f"stand oak\n  at 0,0\n  reach lane\n  sit {sit}\n  winds {listed}\n"
            "winds record\n  from N 20% 9mph\n  from ESE 30% 8mph\n  from SW 40% 9mph\n  from W 5% 2mph\n  calm 5%\n"
        )


def test_it_agrees_with_the_rules_on_invented_lots(report_of: Reports) -> None:
    reached = 0
    for text in layouts():
        report = report_of(text)
        agree(report)
        reached += len(told_by_rules(report))
    assert reached > 20


BY_HAND = """\
pocket thicket
  outline -19,100 19,100 19,140 -19,140
food clover
  outline -200,-60 -100,-60 -100,60 -200,60
path run
  use travel
  line 60,200 60,-200
stand oak
  at 0,0
  winds S NE
  sit {sit}
winds november
  from S 20% 9mph
  from W 30% 8mph
  from NNE 25% 7mph
  from E 15% 3mph
  calm 10%
"""


def test_a_stand_worked_by_hand(report_of: Reports) -> None:
    """By hand: half of one of sixteen winds is 11.25 degrees, and its tangent .199. A wind from S goes north to the
    thicket, 100 yd off; on one from SSW the plume's near edge bears N11.25E and passes 19.9 yd east of the middle at
    100 yd, a yard clear of the thicket. From E it goes to the clover 100 yd west; from ENE and ESE 22.5 degrees off,
    so that of the plume's two edges (11.25 and 33.75 degrees) the nearer is 19.9 yd off the middle at 100 yd, within the
    60 that the clover lies either side. In the evening deer come down the run from the north to the place level with
    the stand: scent comes there on WSW and SW winds, and on W ones by the plume's northern half."""
    sit = of(wind_table(report_of(BY_HAND.format(sit="evening"))), "oak")
    met = {one.name: {each.thing.name: each.gap / YARD for each in one.met if not each.faint} for one in sit.winds}
    assert met["S"] == {"thicket": pytest.approx(100)}
    assert "thicket" not in met["SSW"] and "thicket" not in met["SSE"]
    assert met["E"] == {"clover": pytest.approx(100)}
    assert "clover" in met["ENE"] and "clover" in met["ESE"]
    assert met["W"] == {"run": pytest.approx(60)} and "run" in met["SW"]
    assert "run" not in met["NW"] and "run" not in met["N"]
    # 25% NNE blows clean; S 20% and W 30% carry; E at 3 mph and the calm are lost
    assert sit.hours is not None and tuple(sit.hours) == pytest.approx((0.25, 0.50, 0.25))
    assert [one.name for one in sit.listed] == ["NE", "S"]


def test_in_the_morning_food_does_not_count_and_deer_come_the_other_way(report_of: Reports) -> None:
    sit = of(wind_table(report_of(BY_HAND.format(sit="morning"))), "oak")
    met = {one.name: {each.thing.name for each in one.met if not each.faint} for one in sit.winds}
    assert not any("clover" in things for things in met.values())
    assert "run" in met["NW"] and "run" not in met["SW"]


def test_a_stand_that_does_not_say_when_it_is_sat_in_is_told_for_both(report_of: Reports) -> None:
    table = wind_table(report_of(BY_HAND.replace("  sit {sit}\n", "")))
    assert [(one.sit, one.said) for one in table.sits] == [("morning", False), ("evening", False)]


def test_every_sit_can_be_asked_for(report_of: Reports) -> None:
    table = wind_table(report_of(BY_HAND.format(sit="evening")), SITS)
    assert [(one.sit, one.said) for one in table.sits] == [("morning", False), ("evening", True), ("all", False)]
    morning, evening, whole = (
        {(one.name, met.thing.name) for one in sit.winds for met in one.met} for sit in table.sits
    )
    assert whole == morning | evening


def test_where_hours_cannot_be_counted_it_says_why(report_of: Reports) -> None:
    bare = of(wind_table(report_of("stand oak\n  at 0,0\n  sit evening\n")), "oak")
    assert bare.hours is None and bare.why == "the plan has no `winds` record"
    uneven = of(wind_table(report_of("stand oak\n  at 0,0\n  sit evening\nwinds w\n  from N 50% 9mph\n")), "oak")
    assert uneven.hours is None and uneven.why == "the shares of winds w do not add up"
    assert all(one.share is None for one in uneven.winds)


def test_a_plans_own_limits_are_gone_by(report_of: Reports) -> None:
    """The thicket lies 100 yd off: within 90 yd there is nothing, but faintly there is."""
    text = BY_HAND.format(sit="evening") + "set scent-on-bedding.near 90yd\n"
    report = report_of(text)
    sit = of(wind_table(report), "oak")
    (south,) = [one for one in sit.winds if one.name == "S"]
    assert [(one.thing.name, one.faint) for one in south.met] == [("thicket", True)]
    assert not south.reaches and not south.clean
    assert told_by_table(wind_table(report)) == told_by_rules(report)


def test_a_neighbours_stand_and_one_without_a_place_stand_apart(report_of: Reports) -> None:
    table = wind_table(report_of("stand theirs\n  at 0,0\n  offsite yes\nstand lost\n  at nowhere 20\n"))
    assert table.sits == ()
    assert [one.name for one in table.offsite] == ["theirs"] and [one.name for one in table.unplaced] == ["lost"]
