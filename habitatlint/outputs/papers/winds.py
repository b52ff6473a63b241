"""The paper of winds: every stand by every wind, and what its scent comes to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from habitatlint.check import Report
from habitatlint.findings import Fact
from habitatlint.language.blocks import Block
from habitatlint.measures.winds import WINDS
from habitatlint.outputs.papers.heading import heading
from habitatlint.outputs.papers.paper import Column, Items, Paper, Part, Section, Table, Terms, Words
from habitatlint.outputs.papers.wind_maps import small_maps
from habitatlint.outputs.sentences import at, clean, shown
from habitatlint.reading.grammar import listed
from habitatlint.units import TOLERANCE, UNITS, plain
from habitatlint.work.winds import Light, Met, OnWind, Sit, WindTable

_PARTS = ("the stand", "the walk in", "the walk out")
_SITS = {"morning": "in the morning", "evening": "in the evening", "all": "all day"}
#: to this angle a wind is in the deer's face (common practice, no source); from behind it is by the rule's limit
_IN_FACE = 45.0
_FROM_BEHIND = ("wind/wind-wrong-for-deer.across", 135.0)


def paper(table: WindTable, report: Report, today: date) -> Paper:
    """The whole paper."""
    head = heading(report, today, "Winds: where scent goes from every stand")
    foot = "No distance of scent for deer has been published. Woods, hills and still air bend what is told here."
    return Paper(head.title, head.subtitle, head.facts, sections(table, report), foot)


def sections(table: WindTable, report: Report) -> tuple[Section, ...]:
    """All stands at a glance, each by itself with its sixteen maps, and how it was worked out."""
    parts: list[Part] = [Words(_lead(table, report), "lead")]
    if table.sits:
        parts.append(_overview(table, report))
    if missing := list(_missing(table, report)):
        parts.append(Items(tuple(missing)))
    glance = Section("winds-glance", "Every stand at a glance", tuple(parts))
    if not table.sits:
        return (glance,)
    stands = (_of_sit(sit, table, report) for sit in table.sits)
    return (glance, *stands, Section("winds-how", "How this was worked out", (Items(tuple(_how(table, report))),)))


def as_table(table: WindTable, report: Report) -> Table:
    """The table that its CSV holds: a row for each stand, sit and wind, figures apart from their units."""
    columns = ("stand", "line", "sit", "plan says this sit", "wind", "bearing (deg true)", "hours (%)",
               "hunted", "clean", "reaches", "scent comes to", "nearest", "distance", "unit", "from", "east", "north",
               "wind to deer (deg)")  # fmt: skip
    rows = tuple(_csv_row(sit, one, report) for sit in table.sits for one in sit.winds)
    return Table(tuple(Column(title) for title in columns), rows)


def _csv_row(sit: Sit, one: OnWind, report: Report) -> tuple[str, ...]:
    units = report.units
    return (
        sit.stand.name, str(sit.stand.span().line), sit.sit, "yes" if sit.said else "no", one.name,
        plain(one.bearing, 1), "" if one.share is None else plain(100 * one.share, 2), "yes" if one.listed else "no",
        "yes" if one.clean else "no" if one.reaches else "faint", str(len(one.reaches)),
        _told(one.met, report),
        *_csv_nearest(one.met[0] if one.met else None, units), "" if one.deer is None else plain(one.deer, 0),
    )  # fmt: skip


def _csv_nearest(met: Met | None, units: str) -> tuple[str, ...]:
    """The nearest thing that scent comes to: its label, how far off, the unit, whence, and where it comes to it."""
    if met is None:
        return ("",) * 6
    unit = UNITS[units][1]
    figures = [plain(value / unit, 1) for value in (met.gap, *met.place)]
    return met.thing.label, figures[0], units, _PARTS[met.part], *figures[1:]


# -- all stands at a glance ----------------------------------------------------------------------------------


def _lead(table: WindTable, report: Report) -> str:
    stands = list(dict.fromkeys(sit.stand.name for sit in table.sits))
    if not stands:
        return "The plan has no stand of its own that has a place, so that there is nothing to tell of winds."
    far = shown(Fact(table.reaches.bedding, "length"), report.units, 0)
    of = "One stand" if len(stands) == 1 else f"{len(stands)} stands"
    if table.reaches.one:
        return (
            f"{of} by sixteen winds: what the scent of the stand, the walk in and the walk out comes to within {far}. "
            "That distance is common practice; none has been published for deer."
        )
    others = ", ".join(
        f"{shown(Fact(size, 'length'), report.units, 0)} to {what}"
        for size, what in ((table.reaches.bedding, "bedding"), (table.reaches.food, "food"),
                           (table.reaches.travel, "the deer's way"))
    )  # fmt: skip
    return (
        f"{of} by sixteen winds: what the scent of the stand, the walk in and the walk out comes to, followed as far "
        f"as this plan's limits say: {others}. No distance has been published for deer."
    )


def _overview(table: WindTable, report: Report) -> Table:
    columns = (
        Column("Stand"), Column("Sat in"), Column("Hunted on", share=2), Column("Of these clean", share=2),
        Column("Clean on", share=3), Column("Hours clean", right=True), Column("Scent carried", right=True),
        Column("Calm, lost", right=True),
    )  # fmt: skip
    rows = []
    for sit in table.sits:
        hunted = [one.wind for one in sit.listed]
        fine = [one.wind for one in sit.listed if not one.reaches]
        hours = (
            ("not known",) * 3 if sit.hours is None
            else tuple(shown(Fact(share, "share"), report.units) for share in sit.hours)
        )  # fmt: skip
        rows.append((
            clean(sit.stand.name), _sat(sit), named(hunted) if hunted else "none listed",
            (named(fine) if fine else "none") if hunted else "", named([one.wind for one in sit.clean]), *hours,
        ))  # fmt: skip
    return Table(columns, tuple(rows))


def _sat(sit: Sit) -> str:
    return {"all": "all day"}.get(sit.sit, sit.sit) + ("" if sit.said else ", not said")


def named(winds: Sequence[int]) -> str:
    """Winds of the sixteen in words, runs of three and more round the compass as one: `S to NNE`."""
    among = sorted(set(winds))
    if len(among) == len(WINDS):
        return "all sixteen"
    if not among:
        return "none"
    runs: list[list[int]] = []
    for wind in among:
        if runs and wind == runs[-1][-1] + 1:
            runs[-1].append(wind)
        else:
            runs.append([wind])
    if len(runs) > 1 and runs[0][0] == 0 and runs[-1][-1] == len(WINDS) - 1:  # it goes on past north
        runs[0] = runs.pop() + runs[0]
    said = [f"{WINDS[run[0]]} to {WINDS[run[-1]]}" if len(run) > 2 else ", ".join(WINDS[one] for one in run)
            for run in runs]  # fmt: skip
    return ", ".join(said)


def _missing(table: WindTable, report: Report) -> Iterator[str]:
    """What is not in the table, and what is in it with something left out."""
    for stand in table.unplaced:
        yield f"{clean(stand.label)} (line {_line(stand, report)}) has no place, and is not in the table."
    for stand in table.offsite:
        yield f"{clean(stand.label)} (line {_line(stand, report)}) is a neighbour's, and is not in the table."
    seen: set[str] = set()
    for sit in table.sits:
        label = clean(sit.stand.label)
        if sit.ways == (None, None) and label not in seen:
            yield f"{label}: no walk to it is drawn, so that only scent from the stand itself is followed."
        if not sit.stand.has("sit") and label not in seen:
            yield f"{label}: the plan does not say when it is sat in (`sit`), so both hours are told."
        if sit.why and (why := f"{label}: hours are not counted, because {clean(sit.why)}.") not in seen:
            yield why
            seen.add(why)
        seen.add(label)


# -- one stand -----------------------------------------------------------------------------------------------


def _of_sit(sit: Sit, table: WindTable, report: Report) -> Section:
    title = clean(sit.stand.title or sit.stand.name)
    own = f"{title} ({clean(sit.stand.name)})" if sit.stand.title else title
    parts: list[Part] = [Terms(tuple(_facts(sit, report))), _by_wind(sit, report)]
    if sit.light:
        parts.append(Items(tuple(_light(one, report) for one in sit.light)))
    if sit.said or not sit.stand.has("sit"):
        picture = small_maps(sit, report, table.reaches)
        if picture is not None:
            parts.append(picture)
    return Section("", f"{own}, {_SITS[sit.sit]}", tuple(parts))


def _facts(sit: Sit, report: Report) -> Iterator[tuple[str, str]]:
    scene, units = report.scene, report.units
    place = scene.shape_of(sit.stand)
    if place is not None:
        yield "Place", f"{at((place.x, place.y), units)} (line {_line(sit.stand, report)})"
    into, out = sit.ways
    for word, way, names in (("Walk in", into, sit.stand.reach), ("Walk out", out, sit.stand.leave)):
        if way is not None:
            paths = listed([clean(str(name.value)) for name in names], "and")
            yield word, f"{paths}, {shown(Fact(way.length, 'length'), units, 0)}"
        elif word == "Walk in":
            yield word, "none is drawn"
        else:
            yield word, "as the walk in" if into is not None else "none is drawn"
    if sit.records:
        yield "Hours by", listed([clean(one) for one in sit.records], "and")


def _by_wind(sit: Sit, report: Report) -> Table:
    deer = any(one.deer is not None for one in sit.winds)
    columns = [Column("Wind"), Column("Hours", right=True), Column("Hunted")]
    columns += [Column("To the deer")] if deer else []
    columns.append(Column("What scent comes to", share=1))
    rows = []
    for one in sit.winds:
        share = "" if one.share is None else shown(Fact(one.share, "share"), report.units)
        row = [one.name, share, "hunted" if one.listed else ""]
        row += [_to_deer(one, report)] if deer else []
        rows.append((*row, _told(one.met, report) or "clean"))
    return Table(tuple(columns), tuple(rows))


def _to_deer(one: OnWind, report: Report) -> str:
    """How a wind meets deer on the line of travel in range, where it suits them best."""
    if one.deer is None:
        return ""
    name, usual = _FROM_BEHIND
    limit = report.limits.get(name)
    behind = float(limit.value) if limit is not None and isinstance(limit.value, int | float) else usual
    return "in their face" if one.deer <= _IN_FACE else "across" if one.deer <= behind else "from behind"


def _told(met: Sequence[Met], report: Report) -> str:
    """What scent comes to, by what it comes from: `the walk in: plot-head 84 yd (line 55), ...; faintly: ...`."""
    groups = [(part, [one for one in met if one.part == of and not one.faint]) for of, part in enumerate(_PARTS)]
    groups.append(("faintly", [one for one in met if one.faint]))
    told = []
    for word, ones in groups:
        if ones:
            told.append(f"{word}: {', '.join(_far(one, report) for one in ones)}")
    return "; ".join(told)


def _far(met: Met, report: Report) -> str:
    """A thing that scent comes to, how far off it is, and its line."""
    name = clean(met.thing.name or met.thing.noun)
    far = shown(Fact(met.gap, "length"), report.units, 0) if met.gap > TOLERANCE else "at hand"
    return f"{name} {far} (line {_line(met.thing, report)})"


def _light(one: Light, report: Report) -> str:
    goes, hour = ("drains down", "evening") if one.evening else ("climbs", "morning")
    far = shown(Fact(one.run, "length"), report.units, 0)
    return (
        f"In light {hour} air, whatever wind was forecast, scent from {_PARTS[one.part]} {goes} "
        f"{clean(one.course.label)} to {clean(one.thing.label)}, {far} along it (line {_line(one.thing, report)})."
    )


def _line(block: Block, report: Report) -> str:
    """The line of a block's head; its file is named where it is another than the plan's."""
    span = block.span()
    other = "" if span.source.name == report.source.name else f"{clean(span.source.name)}:"
    return f"{other}{span.line}"


# -- how it was worked out -----------------------------------------------------------------------------------


def _how(table: WindTable, report: Report) -> Iterator[str]:
    units, reaches = report.units, table.reaches

    def far(size: float) -> str:
        return shown(Fact(size, "length"), units, 0)

    yield (
        "Scent lies in a plume downwind: half as wide as 2.15 standard deviations (Briggs 1973, open country, "
        "doi 10.2172/5118833) or as half of one of sixteen winds, whichever is more. The curves are for open country; "
        "here they are used nearer than they are stated for, and over woods. What lies within "
        f"{shown(Fact(5 * UNITS['yd'][1], 'length'), units, 0)} of a person is not carried to, but simply there."
    )
    yield (
        f"It is followed {far(reaches.bedding)} to beds, {far(reaches.food)} to food and {far(reaches.travel)} to the "
        f"deer's way, and faintly to beds as far as {far(reaches.faint)}. These are common practice: no distance has "
        "been published for deer. Clean means that it comes to none of these; what it comes to faintly counts among "
        "the clean hours, as in the rule about them."
    )
    yield (
        "Food counts for a sit in the evening or all day, for deer feed there when the hunter leaves. Of a line of "
        "travel the part counts by which deer come to the stand: in the evening from bed to food, as it is drawn; in "
        "the morning the other way."
    )
    yield (
        "Hours are those of the wind record in the hunted season; winds under "
        f"{shown(Fact(reaches.calm, 'speed'), units)} and calm hours are lost, for light air goes where it likes. A "
        "record of eight winds is spread over sixteen."
    )
    if reaches.hours != reaches.bedding:
        yield f"The rule few-clean-hours follows scent {far(reaches.hours)} in this plan, and so counts other hours."
    if report.scene.placer.to_true:
        yield "Winds are named by the plan's own compass, from magnetic north."
    if any(one.deer is not None for sit in table.sits for one in sit.winds):
        yield (
            "To the deer: how the wind meets deer on a line of travel in the stand's range, by the leg that suits them "
            "best. They like to smell what lies ahead; across and in the face will do."
        )
    if any(sit.light for sit in table.sits):
        yield (
            f"Light air is followed {far(reaches.drift)} along a drain or slope that comes within "
            f"{far(reaches.beside)} of stand or walk. How far it carries nobody has published."
        )
