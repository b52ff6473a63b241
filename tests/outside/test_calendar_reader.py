"""The calendar file read back by another library, and held to what RFC 5545 says of it.

Sources: RFC 5545 (Internet Calendaring and Scheduling): 3.1, lines end in CR LF and are folded at 75 octets; 3.6.1, an
event has a UID and a DTSTAMP, and its DTEND is not part of it; 3.8.4.7, a UID is unique. The reader is vobject, which
shares no code with the library that writes.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

from real_parts import library

from habitatlint.check import Report
from habitatlint.outputs.papers.calendar import as_calendar
from habitatlint.work.order import Wanted, order_of

vobject = library("vobject")

Check = Callable[..., Report]
TODAY = date(2026, 2, 10)

PLAN = """\
plan "Thörn; Hedge, \\"west\\""
  leaf-out 05-20
pocket cover
  outline 0,0 100,0 100,60 0,60
row thicket
  in cover
  method hinge
  stumps 5,30 95,30
  spacing 10
  fall N
  by saws
  step 1
task walk
  text "Walk it, all of it; open what has shut, count what lives, and look up at every tree that hangs or leans: 数えよ."
  step 2
crew saws
  people 2
work
  step 1 "Cut" 2026-03-01..2026-03-20 by saws
  step 2 "Walk" 2026-06-01
"""


def written(report: Report, today: date = TODAY) -> bytes:
    return as_calendar(order_of(report), report, today)


def events(data: bytes) -> dict[str, Any]:
    calendar = vobject.readOne(data.decode("utf-8"))
    return {event.summary.value.partition(": ")[2]: event for event in calendar.vevent_list}


def test_every_day_comes_back_as_another_library_reads_it(report_of: Check) -> None:
    read = events(written(report_of(PLAN)))
    days = {name.split(",")[0]: (event.dtstart.value, event.dtend.value) for name, event in read.items()}
    # an end of whole days is the day after the last
    assert days == {
        "step 1": (date(2026, 3, 1), date(2026, 3, 21)),
        "step 2": (date(2026, 6, 1), date(2026, 6, 2)),
        "Walk it": (date(2026, 6, 1), date(2026, 6, 2)),
        "walk after leaf-out: cover": (date(2026, 5, 20), date(2026, 6, 20)),
    }


def test_titles_and_texts_come_back_whole_whatever_letters_they_have(report_of: Check) -> None:
    read = events(written(report_of(PLAN)))
    task = next(event for name, event in read.items() if name.startswith("Walk it"))
    assert task.summary.value == (
        'Thörn; Hedge, "west": Walk it, all of it; open what has shut, count what lives, and look up at every tree '
        "that hangs or leans: 数えよ"
    )
    assert "On the sheet of work: 1 (row thicket)." in read["step 1, Cut"].description.value
    assert "a trained feller decides tree by tree" in read["step 1, Cut"].description.value


def test_lines_end_and_are_folded_as_the_standard_has_it(report_of: Check) -> None:
    data = written(report_of(PLAN))
    assert data.endswith(b"END:VCALENDAR\r\n")
    lines = data.split(b"\r\n")
    assert all(b"\n" not in line and b"\r" not in line and len(line) <= 75 for line in lines)
    assert any(line.startswith(b" ") for line in lines)  # there are some long enough to be folded


def test_each_event_has_a_stamp_and_a_name_of_its_own(report_of: Check) -> None:
    report = report_of(PLAN)
    read = events(written(report))
    assert len({event.uid.value for event in read.values()}) == len(read) == 4
    assert {event.dtstamp.value for event in read.values()} == {datetime(2026, 2, 10, tzinfo=UTC)}


def test_the_same_plan_gives_the_same_bytes_and_a_moved_step_keeps_its_name(report_of: Check) -> None:
    assert written(report_of(PLAN)) == written(report_of(PLAN))
    moved = events(written(report_of(PLAN.replace("2026-03-01..2026-03-20", "2026-03-05..2026-03-25"))))
    before = events(written(report_of(PLAN)))
    assert moved["step 1, Cut"].uid.value == before["step 1, Cut"].uid.value
    assert moved["step 1, Cut"].dtstart.value == date(2026, 3, 5)


TWO = PLAN.replace("row thicket", "pocket far\n  outline 300,0 400,0 400,60 300,60\nrow other\n  in far\n  method hinge\n"
                   "  stumps 305,30 395,30\n  spacing 10\n  fall N\n  stump-treatment planned\n  step 2\nrow thicket")  # fmt: skip


def test_a_later_file_moves_what_falls_due_and_doubles_none(report_of: Check) -> None:
    def names(text: str, today: date = TODAY) -> dict[str, str]:
        return {name: event.uid.value for name, event in events(written(report_of(text, today=today), today)).items()}

    one, both = "walk after leaf-out: cover", "walk after leaf-out: far"
    before = names(TWO.replace("  step 2\nrow thicket", "\nrow thicket"))
    # a second pocket that comes to be cut has an event of its own, and that of the first stays the same
    assert names(TWO)[one] == before[one] and both not in before and names(TWO)[both] != before[one]
    # leaves that come on another day move their walk
    assert names(TWO.replace("05-20", "05-28"))[one] == before[one]
    # a treatment whose day moves, and one that is overdue, are the same treatment
    done = TWO.replace("  step 2\nrow thicket", "  done 2026-01-{0}\nrow thicket")
    treated = {names(done.format(day))["treat stumps: other"] for day in (20, 25)}
    late = names(done.format(20), date(2026, 3, 10))["overdue: treat stumps: other"]
    assert treated == {late}


def test_an_upkeep_that_was_seen_to_moves_to_its_next_day(report_of: Check) -> None:
    gap = 'plan "P"\nopening gap\n  at 10,10\n  width 3ft\n  done {0}\n'
    first, second = (events(written(report_of(gap.format(day)))) for day in ("2024-02-20", "2025-02-20"))
    assert len(first) == len(second) == 1
    (one,), (other,) = first.values(), second.values()
    assert one.uid.value == other.uid.value and one.dtstart.value != other.dtstart.value


def test_words_of_a_plan_begin_no_line_of_the_file(report_of: Check) -> None:
    sly = PLAN.replace('"Cut"', '"Cut\\\nATTENDEE:mailto:someone@example.invalid"')
    data = written(report_of(sly))
    assert not [line for line in data.split(b"\r\n") if line.startswith(b"ATTENDEE")]
    assert len(events(data)) == 4


def test_a_plan_without_days_is_a_calendar_without_events(report_of: Check) -> None:
    report = report_of('plan "P"\ntask walk\n  text "Walk it."\n')
    calendar = vobject.readOne(as_calendar(order_of(report, Wanted()), report, TODAY).decode())
    assert not list(calendar.components())
