"""The paper of two plans side by side: what became of a design on the ground, or of last year's ground."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date
from typing import NamedTuple

from habitatlint.check import Report
from habitatlint.findings import Fact, Finding, Level
from habitatlint.language.blocks import Block, Cutting, Inspection, Single, Storm, Tree
from habitatlint.measures.winds import WINDS, sector
from habitatlint.outputs.map.drawing import draw
from habitatlint.outputs.map.picture import FindPicture
from habitatlint.outputs.map.sheets import Unprintable, lay_out
from habitatlint.outputs.papers.both_maps import drawing_of_both, pockets_touched
from habitatlint.outputs.papers.finding_changes import FindingChange, finding_changes
from habitatlint.outputs.papers.heading import heading
from habitatlint.outputs.papers.paper import Cautions, Column, Items, Paper, Part, Section, Sheets, Table, Words
from habitatlint.outputs.sentences import CAUTION, clean, lines_unread, measured_and_wanted, message, shown
from habitatlint.reading.grammar import listed
from habitatlint.units import plain
from habitatlint.work.comparison import Change, Comparison, Done, Shape, Trees, sector_of

_COUNTED = (Level.error, Level.warning, Level.note)
#: longest stretch of a property that is shown
_LONGEST = 90
#: what a tree's state is called
_STATES = {
    "blown": "blown over", "hung": "hung up", "dead": "dead and standing", "down": "down", "standing": "standing",
    "": "not said",
}  # fmt: skip


class Compared(NamedTuple):
    """Two reports and what differs between them."""

    before: Report
    after: Report
    comparison: Comparison
    findings: tuple[FindingChange, ...]

    @property
    def planned(self) -> str:
        """What the earlier plan is to the later, for sentences about trees."""
        return "planned" if self.before.scene.design and not self.after.scene.design else "before"

    @property
    def otherwise(self) -> str:
        return "than planned" if self.planned == "planned" else "than before"

    @property
    def same(self) -> bool:
        """Whether there is nothing to tell at all."""
        steady = all(one.what == "stayed" and not one.graver and not one.lighter for one in self.findings)
        return self.comparison.nothing and steady


def compared(before: Report, after: Report, comparison: Comparison) -> Compared:
    return Compared(before, after, comparison, finding_changes(before, after, comparison.names))


def paper(two: Compared, today: date, find: FindPicture) -> Paper:
    """The whole paper."""
    head = heading(two.after, today, "What became of the plan" if two.planned == "planned" else "What changed")
    facts = [
        ("Before", _of(two.before)), ("After", _of(two.after)), ("Laid over each other", _laid(two)),
        ("Judged as of", f"{today.isoformat()}, both of them"),
    ]  # fmt: skip
    for word, report in (("before", two.before), ("after", two.after)):
        if unread := lines_unread(report):
            facts.append((f"Not read {word}", f"{unread}, and what they say is not in this paper"))
    return Paper(head.title, head.subtitle, tuple(facts), sections(two, today, find), CAUTION)


def _of(report: Report) -> str:
    head = report.plan.head
    stage = "a design" if report.scene.design else "as built"
    day = f", of {head.date.value.isoformat()}" if head is not None and head.date else ""
    return f"{clean(report.source.name)}, {stage}{day}"


def _laid(two: Compared) -> str:
    laid, units = two.comparison.laid, two.after.units
    if laid.on_earth and laid.apart == 0:
        return "on the earth, by the anchor of both"
    if laid.on_earth and laid.apart is not None:
        return f"on the earth, by their anchors, which lie {shown(Fact(laid.apart, 'length'), units)} apart"
    if laid.apart is not None:
        return (
            f"by their own places: their anchors lie {shown(Fact(laid.apart, 'length'), units, 0)} apart, as no two "
            "plans of one property do"
        )
    why = ", for only one of them has an anchor" if laid.one_anchor else ""
    return f"by their own places{why}"


def sections(two: Compared, today: date, find: FindPicture) -> tuple[Section, ...]:
    """In short, with what could hurt people first; trees, storms, findings, blocks, work; and a map of both."""
    found = [_in_short(two)]
    if two.same:
        return tuple(found)
    found += [part for part in (_trees(two), _events(two), _findings(two), _blocks(two), _work(two)) if part]
    return (*found, *_map(two, today, find))


# -- in short ----------------------------------------------------------------------------------------------


def _in_short(two: Compared) -> Section:
    if two.same:
        count = len(two.findings)
        stayed = f"; {_count(count, 'finding')} stayed" if count else ""
        return Section("compare", "In short", (Words(f"Nothing changed{stayed}.", "lead"),))
    parts: list[Part] = [Words(_sentence(two), "lead")]
    if two.comparison.laid.strangers or _far_apart(two):
        parts.insert(0, Words(
            "These are not two plans of one place: their properties have no ground in common. Look whether both files, "
            "and both anchors, are the ones you mean.", "lead",
        ))  # fmt: skip
    if people := list(_people(two)):
        parts.insert(0, Cautions("People first", tuple(people)))
    return Section("compare", "In short", tuple(parts))


def _far_apart(two: Compared) -> bool:
    """Their anchors lie farther apart than those of one property do, so that they are laid by their own places."""
    return two.comparison.laid.apart is not None and not two.comparison.laid.on_earth


def _sentence(two: Compared) -> str:
    counts = Counter(one.kind for one in two.comparison.changes)
    blocks = [f"{counts[kind]} {word}" for kind, word in (("added", "new"), ("gone", "gone"), ("changed", "changed"))]
    of = Counter(one.what for one in two.findings)
    told = [f"Blocks: {', '.join(blocks)}."]
    trees = sum(len(one.numbers) or 1 for one in two.comparison.trees)
    if trees:
        told.append(f"Trees: {trees} came out otherwise {two.otherwise}.")
    told.append(f"Findings: {', '.join(f'{of[what]} {what}' for what in ('came', 'went', 'stayed'))}.")
    return " ".join(told)


def _people(two: Compared) -> Iterator[str]:
    """What hurts people first: findings about their safety that the later plan has, new ones ahead, and trees that the
    wind or the saw left under tension."""
    safety = [one for one in two.findings if one.after is not None and one.after.safety]
    for one in sorted(safety, key=lambda one: (one.what != "came", -one.finding.level)):
        finding = one.finding
        since = "new" if one.what == "came" else "as before"
        waived = f", waived: {clean(finding.waived)}" if finding.waived else ""
        yield f"{finding.level.name}, {since}: {message(finding, two.after.units)} ({_at_line(finding, two)}){waived}"
    if off := ", ".join(rule.slug for rule in two.after.silenced):
        yield f"Switched off or lowered in the later plan: {off}."
    plan = two.after.plan
    held = [
        clean(block.name or block.noun) for block in plan.blocks
        if isinstance(block, Cutting) and not block.broken and plan.word(block, "state") in ("hung", "blown")
    ]  # fmt: skip
    if held:
        yield (
            f"{listed(held, 'and')}: hung and blown trees lie under tension, and roll or spring when they are cut. "
            "Nobody works under or near one before a trained feller has looked at it (common practice)."
        )


# -- trees -------------------------------------------------------------------------------------------------


def _trees(two: Compared) -> Section | None:
    trees = two.comparison.trees
    if not trees:
        return None
    columns = (Column("Of"), Column("Trees"), Column("What came of them", share=1), Column("Line", right=True))
    rows = tuple(
        (clean(one.block.label), numbers_of(one.numbers), tree_words(one, two), line_of(one.block, two.after))
        for one in trees
    )
    return Section("compare-trees", f"Trees that came out otherwise {two.otherwise}", (Table(columns, rows),))


def tree_words(one: Trees, two: Compared) -> str:
    """What became of trees, in words."""
    if one.what == "state":
        before = "" if one.before == "" else f", {two.planned} {_STATES.get(one.before, one.before)}"
        return f"{_STATES.get(one.after, one.after)}{before}"
    if one.what == "method":
        return f"{one.after or 'no method'}, {two.planned} {one.before or 'no method'}"
    if one.what in ("more", "fewer"):
        return f"not {two.planned}, and there now" if one.what == "more" else f"{two.planned}, and not there now"
    assert one.fell is not None and one.planned is not None and one.turns is not None
    least, largest = one.turns
    turn = f"off by {_turn(largest, 0)}" if abs(largest - least) < 1 else f"off by up to {_turn(largest, 0)}"
    return f"fell toward {_bearings(one.fell)}, {two.planned} {_bearings(one.planned)}: {turn}"


def _bearings(of: tuple[float, float]) -> str:
    """A bearing from true north, or the sector of several: `12 deg (NNE)`."""
    first, last = of
    if abs((last - first + 180) % 360 - 180) < 1:
        return f"{plain(round(first) % 360, 0)} deg ({WINDS[sector(first)]})"
    return f"{plain(round(first) % 360, 0)} to {plain(round(last) % 360, 0)} deg"


def _turn(degrees: float, places: int = 1) -> str:
    """A turn in degrees, with its sense but for one right round."""
    way = " clockwise" if degrees > 0 else " anticlockwise"
    return f"{plain(abs(degrees), places)} deg{way if abs(degrees) < 179.5 else ''}"


def numbers_of(numbers: Sequence[int]) -> str:
    """Numbers with runs of three and more as one: `1 to 4, 7`."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)


# -- storms and inspections --------------------------------------------------------------------------------


def _events(two: Compared) -> Section | None:
    events = two.comparison.events
    if not events:
        return None
    ordered = sorted(events, key=lambda one: (day_of(one), one.span().start))
    return Section("compare-events", "Storms and inspections since", (Items(tuple(map(event_words, ordered))),))


def day_of(block: Block) -> str:
    return next((str(value.value) for value in block.head if value.kind == "date"), "")


def event_words(block: Block) -> str:
    if isinstance(block, Storm):
        title = clean(block.title)
        return f"{day_of(block)}, storm{': ' + title if title else ''}"
    assert isinstance(block, Inspection)
    of = listed([clean(str(one.value)) for one in block.of], "and") if block.of else "no place named"
    after = f" after {block.after.value}" if block.after is not None else ""
    told = [f"{day_of(block)}, looked at{after}: {of}"]
    if block.alive is not None:
        told.append(f"{plain(block.alive.value.number)} of {plain(block.alive.value.whole)} hinges alive")
    if block.found is not None:
        told.append(f"found: {clean(str(block.found.value))}")
    return "; ".join(told)


# -- findings ----------------------------------------------------------------------------------------------


def _findings(two: Compared) -> Section | None:
    if not two.findings:
        return None
    inner = []
    for what, title in (("came", "Came"), ("went", "Went"), ("stayed", "Stayed")):
        ones = [one for one in two.findings if one.what == what]
        if not ones:
            continue
        gravest = sorted(ones, key=lambda one: (not one.finding.safety, -one.finding.level))
        columns = (
            Column("Level"),
            Column("Found", share=4),
            Column("Measured, wanted", share=2),
            Column("Rule", share=2),
        )
        rows = tuple(_finding_row(one, two) for one in gravest)
        inner.append(Section("", f"{title}: {len(ones)}", (Table(columns, rows),)))
    words = Words(
        "A finding is known by its rule and the blocks it is on, so that a figure may change in one that stayed. Both "
        "plans are judged by the same day, rules and settings.",
        "small",
    )
    return Section("compare-findings", "Findings", (words,), tuple(inner))


def _finding_row(one: FindingChange, two: Compared) -> tuple[str, ...]:
    finding, report = one.finding, two.after if one.after is not None else two.before
    level = finding.level.name
    if (one.graver or one.lighter) and one.before is not None:
        level = f"{level}, was {one.before.level.name}"
    waived = f"; waived: {clean(finding.waived)}" if finding.waived else ""
    if one.before is not None and one.after is not None and one.before.waived and not one.after.waived:
        waived = "; waived before"
    measured, wanted = measured_and_wanted(finding, report.units)
    told = f"{message(finding, report.units)} ({_at_line(finding, two)}){waived}"
    return level, told, clean(", ".join(part for part in (measured, wanted) if part)), finding.rule


def _at_line(finding: Finding, two: Compared) -> str:
    span = finding.span
    known = (two.before.source.name, two.after.source.name)
    other = "" if span.source.name in known else f"{clean(span.source.name)}:"
    return f"{other}line {span.line}"


# -- blocks ------------------------------------------------------------------------------------------------


def _blocks(two: Compared) -> Section | None:
    comparison = two.comparison
    parts: list[Part] = []
    groups = (
        ("New", [one for one in comparison.changes if one.kind == "added"]),
        ("Gone", [one for one in comparison.changes if one.kind == "gone"]),
        ("Changed", [one for one in comparison.changes if one.kind == "changed"]),
    )
    for title, ones in groups:
        if ones:
            report = two.before if title == "Gone" else two.after
            columns = (Column("Block"), Column("What changed" if title == "Changed" else "What it is", share=1),
                       Column("Line", right=True))  # fmt: skip
            rows = tuple(
                (called(one.block), "; ".join(change_words(one, two)), line_of(one.block, report)) for one in ones
            )
            parts.append(Table(columns, rows, title))
    if comparison.slight:
        least = shown(Fact(comparison.least, "length"), two.after.units)
        many = "one block lies" if comparison.slight == 1 else f"{comparison.slight} blocks lie"
        parts.append(Words(f"As was asked, it is not told that {many} less than {least} off.", "small"))
    return Section("compare-blocks", "Blocks of the plan", tuple(parts)) if parts else None


def called(block: Block) -> str:
    """A block as a person would call it; a line that stands by itself by its words."""
    if isinstance(block, Single):
        return clean(_cut(" ".join([block.noun, *(str(one.value) for one in block.head if one.kind != "text")])))
    day = day_of(block) if isinstance(block, Storm | Inspection) else ""
    return clean(f"{block.label} {day}".strip())


def change_words(one: Change, two: Compared) -> list[str]:
    """All that became of a block, each in a few words."""
    if one.before is None or one.after is None:
        return [what_it_is(one, two)]
    told = [f"was called {clean(one.before.name)}"] if one.renamed else []
    if one.shape is not None:
        told += shape_words(one.shape, two.after.units)
    for prop in one.properties:
        before, after = clean(_cut(prop.before)), clean(_cut(prop.after))
        word = prop.word
        if not before:
            told.append(f"{word} {after}, before not said")
        elif not after:
            told.append(f"{word} no longer said, before {before}")
        else:
            told.append(f"{word} {after}, before {before}")
    return told


def shape_words(shape: Shape, units: str) -> list[str]:
    """What became of a place and shape: how far it moved, how it turned, its size, and how far its parts are off."""
    told = []
    if shape.rigid and shape.turned is not None and abs(shape.turned) == 180 and shape.moved == 0:
        return ["runs the other way"]
    far = shown(Fact(shape.moved, "length"), units)
    if shape.moved > 0.05:
        middle = "" if shape.rigid and shape.turned is None and not shape.resized else "its middle "
        told.append(f"{middle}moved {far} {WINDS[sector(shape.toward)]}")
    if shape.turned is not None:
        told.append(f"turned {_turn(shape.turned)}")
    if shape.resized:
        sizes = (shown(Fact(size, shape.kind), units) for size in (shape.after, shape.before))
        told.append("{}, before {}".format(*sizes))
    if not shape.rigid:
        told.append(f"of another shape, {shown(Fact(shape.off, 'length'), units)} off at the most")
    return told


def what_it_is(one: Change, two: Compared) -> str:
    """A new or a lost block in a few words."""
    block = one.block
    report = two.before if one.after is None else two.after
    plan = report.plan
    title = clean(block.title)
    words = [
        plan.word(block, word) for word in ("kind", "use", "purpose", "method", "state") if word in block.properties
    ]
    told = [title] if title else []
    told += [" ".join(word for word in words if word)] if any(words) else []
    if isinstance(block, Single):
        told = [clean(_cut(" ".join(str(value.value) for value in block.head if value.kind == "text")))]
    of = block.first("of") if isinstance(block, Tree) else None
    if of is not None:
        told.append(f"tree {plain(of.values[1].value.number)} of {of.values[0].value}")
    rows = report.scene.trees.rows_of(block)
    if isinstance(block, Cutting) and len(rows):
        trees = report.scene.trees
        if len(rows) > 1:
            told.append(_count(len(rows), "tree"))
        if trees.lies[rows[0]]:
            told.append(f"toward {_bearings(sector_of(float(trees.bearing[row]) for row in rows))}")
        if trees.dbh_written[rows[0]]:
            told.append(f"dbh {shown(Fact(float(trees.dbh[rows[0]]), 'length', 'in'), report.units)}")
    elif one.was is not None or report.scene.shape_of(block) is not None:
        shape = report.scene.shape_of(block)
        if shape is not None and shape.length:
            told.append(shown(Fact(shape.area or shape.length, "area" if shape.area else "length"), report.units))
    return ", ".join(part for part in told if part) or block.noun


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1].rstrip() + "…"


# -- work --------------------------------------------------------------------------------------------------


def _work(two: Compared) -> Section | None:
    parts: list[Part] = []
    if two.comparison.done:
        columns = (Column("Block"), Column("Done", share=1))
        rows = tuple((called(one.block), _done(one)) for one in two.comparison.done)
        parts.append(Table(columns, rows, "Done since"))
    if two.comparison.left:
        left = ", ".join(called(block) for block in two.comparison.left)
        parts.append(Words(f"Not called done in the later plan: {left}."))
    return Section("compare-work", "Work", tuple(parts)) if parts else None


def _done(one: Done) -> str:
    if not one.after:
        return f"no longer called done, before {one.before}"
    return one.after if not one.before else f"{one.after}, before {one.before}"


# -- the map of both ---------------------------------------------------------------------------------------


def _map(two: Compared, today: date, find: FindPicture) -> tuple[Section, ...]:
    """Both plans on one map, where anything that is drawn changed, and the pockets in which it did, enlarged: as it was
    dashed and grey beneath what is, with the findings that came by their numbers."""
    came = {id(one.after) for one in two.findings if one.what == "came"}
    drawing = drawing_of_both(draw(two.after), two.comparison, came)
    if drawing is None:
        return ()
    words = "the later plan, and dashed in grey what lay or stood otherwise before; findings that came, by number"
    sheets: list[Part] = []
    for pocket in ("", *pockets_touched(drawing)):
        try:
            layout = lay_out(drawing, pocket=pocket)
        except Unprintable as trouble:
            return (Section("compare-map", "Map of both", (Words(str(trouble)),)),)
        said = f"pocket {clean(pocket)} enlarged: {words}" if pocket else words
        sheets.append(Sheets(drawing, layout, today, find, said))
    return (Section("compare-map", "Map of both", tuple(sheets), apart=True),)


def line_of(block: Block, report: Report) -> str:
    """The line of a block's head; its file is named where it is another than the plan's."""
    span = block.span()
    other = "" if span.source.name == report.source.name else f"{clean(span.source.name)}:"
    return f"{other}{span.line}"


def _count(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
