"""The sheets of work as people read them: people first, the emergency card, the cut list, and the same as numbers."""

from __future__ import annotations

import csv
import io
import re
import subprocess
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from real_parts import program

from habitatlint.check import Report
from habitatlint.cli.assembly import paper_assets
from habitatlint.outputs.papers.as_csv import as_csv
from habitatlint.outputs.papers.as_print import as_print
from habitatlint.outputs.papers.as_text import as_text
from habitatlint.outputs.papers.paper import Cautions, Items, Section, Table, Terms
from habitatlint.outputs.papers.work import paper, table
from habitatlint.work.order import Wanted, order_of

ROOT = Path(__file__).resolve().parent.parent.parent
Check = Callable[..., Report]
TODAY = date(2026, 2, 10)

PLAN = """\
plan "Thorn Hedge"
  date 2026-02-10
  anchor 44.1000N,92.3000W
  declination 2.5W

path doe-run
  use travel
  line 0,0 200,0

hazard mill-creek
  kind water
  line 0,90 200,90

place old-barn "The old barn"
  at 100,-100
  kind meeting
  note "Telephones reach out from the ramp."

row thicket "First row"
  purpose bedding
  method hinge
  stumps 40,20 120,20
  spacing 20
  fall away from doe-run
  species red-maple
  dbh 6in..9in
  tree-height 45ft..55ft
  why "Cover for the does."
  step 1

row screen-tops
  method fell
  stumps 40,60 120,60
  spacing 20
  fall N80E
  dbh 14in
  tree-height 60ft
  stump-treatment planned
  mix stump-mix
  step 1

task walk
  text "Walk it."

crew saws
  people 2
  training felling herbicide
  gear hard-hat face-screen hearing-protection gloves leg-protection boots first-aid

mix stump-mix
  label "an invented label, 0000-0"
  part concentrate 20%
  reentry 12 hours

work
  step 1 "Cut" 2026-03-01..2026-03-20 by saws
"""


def shown(report: Report, wanted: Wanted = Wanted()) -> str:
    return as_text(paper(order_of(report, wanted), report, TODAY))


def flat(text: str) -> str:
    return " ".join(text.split())


def numbers(report: Report, wanted: Wanted = Wanted()) -> list[dict[str, str]]:
    page = as_csv(table(order_of(report, wanted), report))
    return list(csv.DictReader(io.StringIO(page)))


def section(report: Report, name: str) -> Section:
    return next(one for one in paper(order_of(report), report, TODAY).sections if one.name == name)


# -- what stands where ---------------------------------------------------------------------------------------------


def test_people_stand_first_then_the_card_the_steps_and_how_the_figures_were_had(report_of: Check) -> None:
    report = report_of(PLAN)
    names = [one.name for one in paper(order_of(report), report, TODAY).sections]
    assert names == ["people", "emergency", "order", "step-1", "no-step", "figures"]


def test_each_step_begins_a_page_of_its_own(report_of: Check) -> None:
    report = report_of(PLAN)
    apart = {one.name: one.apart for one in paper(order_of(report), report, TODAY).sections}
    assert apart["step-1"] and apart["no-step"] and not apart["people"]


def test_a_waived_finding_stands_with_its_reason_and_one_switched_off_by_its_rule(report_of: Check) -> None:
    big = PLAN.replace("dbh 6in..9in", "dbh 13in")
    waived = big + 'waive hinge-too-big on thicket until 2026-12-31 because "the feller looked at each"\n'
    text = flat(shown(report_of(waived)))
    assert "Error [waived: the feller looked at each]: row thicket hinges stems up to 13 in thick" in text
    off = flat(shown(report_of(big + "level hinge-too-big off\n")))
    assert "Error [switched off]: row thicket hinges stems up to 13 in thick" in off
    assert "Switched off or lowered in the plan or its settings: hinge-too-big." in off
    assert "(too big to hinge)" in off


def test_a_plan_that_hurts_nobody_on_paper_says_so_and_no_more(report_of: Check) -> None:
    text = flat(shown(report_of('plan "P"\ntask walk\n  text "Walk it."\n')))
    assert "`check` finds nothing in this plan that could hurt people. It looks at paper, not at trees." in text
    assert "barber chair" not in text and "herbicide" not in text.lower()


NOTHING = "`check` finds nothing in this plan that could hurt people"


@pytest.mark.parametrize(
    ("was", "now", "told"),
    [
        ("", 'include "hazards.habitat"\n', "Not read: `hazards.habitat` cannot be brought in: "),
        ("line 0,90 200,90", "line beside pole-lane left 10yd from 0yd to 100yd",
         "Not read: hazard mill-creek: nothing that fits here is called `pole-lane`"),
        ("  dbh 6in..9in\n", "", "Not judged [box 1]: felling/hinge-too-big could not judge row thicket: no `dbh` is given"),
    ],
)  # fmt: skip
def test_what_was_not_read_or_not_judged_is_never_told_as_nothing(
    report_of: Check, was: str, now: str, told: str
) -> None:
    safe = PLAN.replace("gear hard-hat", "gear eye-protection hard-hat").replace("80 60", "80 60")
    text = flat(shown(report_of(safe.replace(was, now) if was else safe + now)))
    assert told in text and NOTHING not in text
    assert "What is not read or not judged may hide a wire, a road, people or a bad tree" in text
    assert "hide a wire" not in flat(shown(report_of(safe)))


def test_an_area_that_crosses_itself_is_marked_at_its_box(report_of: Check) -> None:
    crossed = 'plan "P"\nrelease light\n  outline 0,0 90,90 90,0 0,90\n  basal-area 90 to 40 sqft/ac\n  method fell\n'
    report = report_of(crossed)
    text = flat(shown(report))
    assert "1. Not read [box 1]: the outline of release light crosses itself" in text and NOTHING not in text
    assert "Not read or not judged whole: box 1." in text
    (listed,) = (part for part in section(report, "no-step").parts if isinstance(part, Table) and part.ticks)
    assert listed.rows[0][3] == "fell; NOT JUDGED, see People first, 1"


def test_a_missing_file_is_told_at_the_head_of_the_paper(report_of: Check) -> None:
    head = dict(paper(order_of(report := report_of(PLAN + 'include "hazards.habitat"\n')), report, TODAY).facts)
    assert head["Not read"].startswith("1 file that it takes in cannot be read")


def test_cautions_of_the_trade_name_where_they_stand(report_of: Check) -> None:
    (framed,) = (part for part in section(report_of(PLAN), "people").parts if isinstance(part, Cautions))
    of_rules = [item for item in framed.items if re.search(r"\((29 CFR|North Carolina|Oregon|OSHA|Washington)", item)]
    assert len(of_rules) == 8
    # each says no more than its source: who comes near by North Carolina, who looks on by Michigan, between places of
    # work by Washington; a clause that nobody read is one from memory
    (near,) = (item for item in framed.items if item.startswith("Nobody comes nearer"))
    assert "North Carolina" in near and "looks on" in near and "Michigan MIOSHA R 408.15336" in near
    assert "1910" not in near
    (apart,) = (item for item in framed.items if item.startswith("Between one place of work"))
    assert "Washington WAC 296-305-07016" in apart and "on a slope at all (common practice, no source)" in apart
    assert [item for item in framed.items if "1910.266(d)(6)" in item] == [apart]
    assert any(item.startswith("Danger trees first") and "(h)(1)(vi), seen in an excerpt only" in item
               for item in framed.items)  # fmt: skip
    assert any("Each who works there is trained in first aid and CPR" in item for item in framed.items)
    assert any("label is the law" in item for item in framed.items)


def test_a_tree_that_hangs_is_cautioned_of_though_no_work_is_left(report_of: Check) -> None:
    text = flat(shown(report_of("tree hung-oak\n  at 0,0\n  state hung\n  fall N\n")))
    assert "Nobody works beneath a hung tree or cuts the tree that holds it" in text
    assert "nothing in the plan brings it down: ribbon it, and keep off" in text


def test_wires_are_cautioned_of_where_there_are_some_in_reach(report_of: Check) -> None:
    wire = "hazard line\n  kind wire\n  line {0},-50 {0},150\n"
    near, far = PLAN + wire.format(140), PLAN + wire.format(180)
    assert "keep 10 ft off at least (29 CFR 1910.333(c)(3), seen in an excerpt only" in flat(shown(report_of(near)))
    assert "1910.333" not in shown(report_of(far))


# -- the emergency card ---------------------------------------------------------------------------------------------


def test_the_card_gives_the_meeting_place_in_degrees_and_in_minutes(report_of: Check) -> None:
    card = flat(shown(report_of(PLAN)))
    # a minute of latitude is 1852 m within half a per cent here: 91.44 m south of 44.1 N are 0.0494 of them
    found = re.search(r"44\.(\d{5})N,92\.(\d{5})W \(44°(\d\d\.\d{3})'N, 92°(\d\d\.\d{3})'W\); Telephones reach", card)
    assert found is not None
    latitude, longitude = 44 + int(found[1]) / 1e5, 92 + int(found[2]) / 1e5
    assert latitude == pytest.approx(44.1 - 91.44 / 1852 / 60, abs=1e-5)
    # the same place both ways, to the last figure of the minutes
    assert (latitude - 44) * 60 == pytest.approx(float(found[3]), abs=0.0009)
    assert (longitude - 92) * 60 == pytest.approx(float(found[4]), abs=0.0009)


def test_a_minute_that_rounds_up_to_sixty_is_the_next_degree(report_of: Check) -> None:
    at_anchor = PLAN.replace("44.1000N,92.3000W", "43.999999N,92.3000W").replace("at 100,-100", "at 0,0")
    assert "44.00000N,92.30000W (44°00.000'N, 92°18.000'W)" in flat(shown(report_of(at_anchor)))


def test_south_and_east_are_told_as_that(report_of: Check) -> None:
    south = PLAN.replace("44.1000N,92.3000W", "35.5000S,140.2500E").replace("at 100,-100", "at 0,0")
    assert "35.50000S,140.25000E (35°30.000'S, 140°15.000'E)" in flat(shown(report_of(south)))


def test_without_an_anchor_the_card_says_that_nobody_can_be_sent_to_its_places(report_of: Check) -> None:
    text = flat(shown(report_of(PLAN.replace("  anchor 44.1000N,92.3000W\n", ""))))
    assert "The plan has no `anchor`, so that its places have no latitude and longitude to send help to" in text
    assert "100,-100 on the plan; Telephones reach out from the ramp." in text and "44°" not in text


def places(report: Report) -> list[tuple[str, ...]]:
    listed = next(part for part in section(report, "emergency").parts if isinstance(part, Table))
    return [row[1:3] for row in listed.rows]


def test_each_steps_work_has_a_place_on_the_card_at_which_there_is_work(report_of: Check) -> None:
    listed = next(part for part in section(report_of(PLAN), "emergency").parts if isinstance(part, Table))
    ((step, work, local, decimal, minutes),) = listed.rows
    # two rows from 40 to 120 east, at 20 and at 60 north: the stump in the middle of one; the walk has no place
    assert (step, work, local) == ("Step 1: Cut", "row thicket, row screen-tops", "80,20")
    assert re.fullmatch(r"44\.\d{5}N,92\.\d{5}W", decimal) and re.fullmatch(
        r"44°\d\d\.\d{3}'N, 92°\d\d\.\d{3}'W", minutes
    )


def test_places_of_work_that_lie_apart_are_told_apart_and_never_as_the_middle_of_both(report_of: Check) -> None:
    far = PLAN.replace("stumps 40,60 120,60", "stumps 400,800 440,800")
    assert places(report_of(far)) == [("row thicket", "80,20"), ("row screen-tops", "420,800")]
    # a line of work longer than help is seen and heard along has more than one
    long = places(report_of(PLAN.replace("stumps 40,60 120,60", "stumps 40,60 540,60")))
    assert len(long) > 1 and {tuple(place.split(","))[1] for _, place in long} <= {"20", "60"}


def test_each_pocket_with_work_has_a_place_of_its_own(report_of: Check) -> None:
    pockets = PLAN.replace("row thicket", "pocket cover\n  outline 30,10 130,10 130,30 30,30\n\nrow thicket").replace(
        '"First row"\n', '"First row"\n  in cover\n'
    )
    assert places(report_of(pockets)) == [("in cover: row thicket", "80,20"), ("row screen-tops", "80,60")]


def test_what_only_people_there_know_is_left_to_be_written(report_of: Check) -> None:
    (terms,) = (part for part in section(report_of(PLAN), "emergency").parts if isinstance(part, Terms))
    blank = [word for word, told in terms.pairs if told.startswith("____")]
    assert blank == ["Emergency number", "Way in for the truck", "Hospital, and the way", "First aid and CPR"]


# -- the cut list -----------------------------------------------------------------------------------------------------


def test_a_row_of_the_cut_list_says_what_a_crew_must_know(report_of: Check) -> None:
    report = report_of(PLAN)
    listed = next(part for part in section(report, "step-1").parts if isinstance(part, Table) and part.ticks)
    assert listed.rows[0] == (
        "1",
        'row thicket "First row", from 40,20 to 120,20, 20 yd apart',
        "5 trees; red maple; 6 to 9 in thick; 45 to 55 ft tall",
        "hinge at 3 ft (usual); for bedding",
        # a compass 2.5 degrees west of true reads 2.5 more: 002.5, told as 003
        "away from path doe-run, toward water mill-creek, 70 yd off: 000° true (N), 003° magnetic",
    )
    assert listed.rows[1][4] == "080° true (E), 083° magnetic"
    assert listed.rows[2] == ("3", "stumps of row screen-tops", "", "treat with mix stump-mix, as its label says", "")


def test_the_plans_own_why_stands_below(report_of: Check) -> None:
    assert "row thicket: Cover for the does." in shown(report_of(PLAN))


def test_gear_is_asked_for_by_clause_and_what_the_plan_does_not_name_is_told(report_of: Check) -> None:
    text = flat(shown(report_of(PLAN.replace("leg-protection boots", "boots"))))
    assert "leg protection (29 CFR 1910.266(d)(1)(iv)), boots (29 CFR 1910.266(d)(1)(v))" in text
    assert "eye protection (29 CFR 1910.266(d)(1)(vii)); asked of employers, good practice for you" in text
    assert "Not in the plan leg protection: nobody works without" in text


def test_what_nobody_published_is_left_blank_and_what_is_usual_says_so(report_of: Check) -> None:
    items = [
        item for part in section(report_of(PLAN), "step-1").parts if isinstance(part, Items) for item in part.items
    ]
    assert any(item.startswith("fuel and bar oil: ____") for item in items)
    assert any(
        "saws: 3 at most (one for each who saws, and a spare; common practice, no source)" in one for one in items
    )


def test_a_metric_plan_is_told_in_metres_and_centimetres(report_of: Check) -> None:
    text = """\
plan "P"
  units m
row poles
  method fell
  stumps 0,0 20,0
  spacing 5
  fall N
  dbh 15cm..25cm
  tree-height 14m
"""
    (listed,) = (part for part in section(report_of(text), "no-step").parts if isinstance(part, Table))
    assert listed.rows[0][2:4] == ("5 trees; 15 to 25 cm thick; 14 m tall", "fell at 0.3 m (usual)")
    page = flat(shown(report_of(text)))
    assert "7.6 m (25 ft) at least" in page and " yd" not in page
    (row,) = numbers(report_of(text))
    assert (row["dbh largest"], row["dbh unit"], row["height largest"], row["height unit"]) == ("25", "cm", "14", "m")


def test_numbers_and_units_stand_in_columns_of_their_own(report_of: Check) -> None:
    rows = numbers(report_of(PLAN))
    assert [row["name"] for row in rows] == ["thicket", "screen-tops", "walk"]
    first, second, walk = rows
    assert (first["box"], first["stumps box"], second["box"], second["stumps box"], walk["box"]) == (
        "1",
        "",
        "2",
        "3",
        "4",
    )
    assert (first["trees"], first["trees are"], first["species"]) == ("5", "laid out", "red-maple")
    assert (first["dbh least"], first["dbh largest"], first["dbh unit"], first["dbh is"]) == ("6", "9", "in", "given")
    assert (first["fall"], first["fall ahead"]) == ("away from doe-run", "water mill-creek")
    assert (second["fall true degrees"], second["fall magnetic degrees"]) == ("80", "82.5")
    # two of sixty feet and a tenth are 44 yd
    assert (second["two tree lengths"], second["two tree lengths unit"]) == ("44", "yd")
    assert (first["from east"], first["from north"], first["to east"], first["grid unit"]) == ("40", "20", "120", "yd")
    assert (walk["step"], walk["trees"], walk["done"]) == ("", "", "no")


def test_only_what_is_left_leaves_out_what_is_done(report_of: Check) -> None:
    done = PLAN.replace('  why "Cover', '  done 2026-02-01\n  why "Cover')
    assert [row["name"] for row in numbers(report_of(done))] == ["thicket", "screen-tops", "walk"]
    assert [row["name"] for row in numbers(report_of(done), Wanted(left=True))] == ["screen-tops", "walk"]
    assert "Done already" in shown(report_of(done)) and "Done already" not in shown(report_of(done), Wanted(left=True))


def test_words_of_a_plan_steer_no_terminal_and_no_spreadsheet(report_of: Check) -> None:
    wild = PLAN.replace('"First row"', '"=1+1\x1b[31m"').replace('"Cover for', '"\x1b]0;\x07Cover for')
    report = report_of(wild)
    assert "\x1b" not in shown(report) and "\x07" not in shown(report)
    assert numbers(report)[0]["title"] == "'=1+1?[31m"


@pytest.mark.parametrize("name", ["quennick-hollow", "tavrish-road"])
def test_every_piece_of_work_of_an_example_stands_on_its_sheet_once(report_of: Check, name: str) -> None:
    from habitatlint.language.blocks import Cutting
    from habitatlint.measures.crews import WORK

    path = ROOT / "examples" / f"{name}.habitat"
    report = report_of(path.read_text(encoding="utf-8"), f"examples/{name}.habitat", fragment=False)
    plan = report.plan
    work = [
        block.name
        for block in plan.blocks
        if isinstance(block, WORK) and not block.broken and plan.word(block, "offsite") != "yes"
        and not (isinstance(block, Cutting) and plan.word(block, "method") in ("", "leave"))
    ]  # fmt: skip
    rows = numbers(report)
    assert sorted(row["name"] for row in rows) == sorted(work) and work
    boxes = [int(row[word]) for row in rows for word in ("box", "stumps box") if row[word]]
    assert sorted(boxes) == list(range(1, len(boxes) + 1))
    text = shown(report)
    safety = [one for one in (*report.findings, *report.waived) if one.safety]
    assert text.count("(line ") == len([one for one in safety if one.span.source is report.source])


# -- on a clipboard -----------------------------------------------------------------------------------------------------


def test_the_pdf_has_a_page_for_each_step_upright_on_letter(report_of: Check, tmp_path: Path) -> None:
    report = report_of(PLAN)
    file = tmp_path / "work.pdf"
    file.write_bytes(as_print(paper(order_of(report), report, TODAY), paper_assets(), "letter"))
    pages = subprocess.run(
        [program("pdftotext"), "-layout", file, "-"], capture_output=True, text=True, check=True
    ).stdout
    sheets = pages.rstrip("\f").split("\f")
    begins = [
        next((word for word in ("Step 1: Cut", "In no step") if re.search(rf"^ *{word}$", sheet, re.M)), "")
        for sheet in sheets
    ]
    assert [word for word in begins if word] == ["Step 1: Cut", "In no step"]
    size = subprocess.run([program("pdfinfo"), file], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Page size: +612 x 792 pts", size) or re.search(r"Page size: +611\.9\d+ x 79[12]", size)


def test_a_plan_that_is_half_typed_still_gives_its_sheets(report_of: Check) -> None:
    lines = PLAN.split("\n")
    for number in range(2, len(lines), 10):  # a head, names, places, sizes
        half = "\n".join([*lines[:number], lines[number][: len(lines[number]) // 2], *lines[number + 1 :]])
        report = report_of(half)
        assert "People first" in shown(report) and numbers(report)
