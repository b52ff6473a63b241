"""The cut list in words, a row for each box, and as a table of numbers for a spreadsheet."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from habitatlint.check import Report
from habitatlint.findings import Fact
from habitatlint.ground.cuts import LAYING
from habitatlint.ground.frame import Frame, FrameUnavailable
from habitatlint.ground.north import North
from habitatlint.language.blocks import Block, Opening, Planting, Release, Task, Treatment
from habitatlint.measures.winds import WINDS, sector
from habitatlint.outputs.papers.paper import Column, Table
from habitatlint.outputs.sentences import at, clean, shown
from habitatlint.reading.values import Written
from habitatlint.units import UNITS, plain, show
from habitatlint.work.cutlist import Fall, Piece, Sizes, said_name
from habitatlint.work.order import LENGTHS, Order, StepWork

#: a line to write on by hand
BLANK = "____________________"
#: so many falls at most are told tree by tree, and falls that differ by no more degrees are told as one
_EACH, _AS_ONE = 12, 2.0


def cut_table(step: StepWork, north: North | None, report: Report) -> Table:
    """What is still to be done of a step, a row and a box for each."""
    columns = (Column("Box", right=True), Column("What and where", share=5), Column("Trees and sizes", share=4),
               Column("How", share=4), Column("Fall", share=4))  # fmt: skip
    rows: list[tuple[str, ...]] = []
    for piece in step.pieces:
        how = _how(piece, report)
        if piece.crew != step.crew:
            how += f"; by {piece.crew}" if piece.crew else ""
        if gaps := [gap.number for gap in step.gaps if piece.box in gap.boxes]:
            how += f"; NOT JUDGED, see People first, {numbers(gaps)}"
        rows.append((str(piece.box), _where(piece, report), _trees(piece, report), how,
                     _fall(piece, north, report)))  # fmt: skip
        if piece.stumps_box:
            rows.append(_stumps(piece))
    rows += [_stumps(piece) for piece in step.waiting]
    return Table(columns, tuple(rows), ticks=True)


def _stumps(piece: Piece) -> tuple[str, ...]:
    """The row of stumps that are treated after the cut."""
    by = f"with mix {piece.mix}, as its label says" if piece.mix else f"by label (the plan names no mix): {BLANK}"
    how = "done already" if piece.stump_treatment == "done" else f"treat {by}"
    since = f", cut on {piece.day}" if piece.day else ", cut already" if piece.finished else ""
    return str(piece.stumps_box), f"stumps of {piece.block.label}{since}", "", how, ""


def _where(piece: Piece, report: Report) -> str:
    units, told = report.units, [called(piece.block)]
    if piece.pockets:
        told.append(f"in {joined(list(piece.pockets))}")
    if len(piece.places) > 1:
        told.append(f"from {at(piece.places[0], units)} to {at(piece.places[1], units)}")
    elif piece.places:
        told.append(f"{'about ' if piece.area else ''}{at(piece.places[0], units)}")
    if piece.spacing:
        told.append(f"{length(piece.spacing, units)} apart")
    if piece.area:
        told.append(show(piece.area, "area", units, 2))
    elif piece.length:
        told.append(length(piece.length, units, 0))
    return ", ".join(told)


def _trees(piece: Piece, report: Report) -> str:
    """How many, which, how thick and how tall, and what is left of them."""
    units, told = report.units, []
    if piece.trees is not None:
        about = "" if piece.laid_out else "some "
        told.append(f"{about}{counted(round(piece.trees), 'tree')}")
    elif piece.dbh is not None:
        told.append("nobody knows how many")
    if piece.species:
        told.append(joined([plainly(one) for one in piece.species]))
    if piece.dbh is not None:
        told.append(f"{_sizes(piece.dbh, 'in', units)} thick{' (taken: none given)' if piece.dbh.estimated else ''}")
    if piece.height is not None:
        told.append(f"{_sizes(piece.height, 'ft', units)} tall{' (estimated)' if piece.height.estimated else ''}")
    if piece.basal_area is not None:
        before, left = (show(one, "basal-area", units, 0) for one in piece.basal_area)
        told.append(f"basal area {before.partition(' ')[0]} to {left}")
    elif isinstance(piece.block, Release):
        told.append("the plan does not say how much is taken")
    if piece.keep:
        told.append(f"leave {joined([plainly(one) for one in piece.keep])}")
    if piece.stays:
        told.append(f"tree {numbers(piece.stays)} stays")
    return "; ".join(told)


def _how(piece: Piece, report: Report) -> str:
    block, units = piece.block, report.units
    if isinstance(block, Task):
        return clean(str(block.text.value)).rstrip(". ") if block.text is not None else "the plan does not say what"
    if isinstance(block, Treatment):
        named = [report.plan.names.get(str(name.value)) for name in block.of]
        of = joined([one.label for one in named if one is not None])
        return f"treat the stumps of {of} with mix {piece.mix}, as its label says"
    if isinstance(block, Opening):
        width = report.scene.placer.metres(block.width) if block.width is not None else None
        return "saw a way through the tops" + (f", {length(width, units)} wide" if width else "")
    if isinstance(block, Planting):
        kind = report.plan.word(block, "kind")
        grown = block.first("height")
        tall = f", to stand {_grown(grown.values, units)}" if grown is not None else ""
        return f"plant{f' as a {kind}' if kind == 'screen' else ''}{tall}"
    told = [_METHODS.get(piece.method, piece.method)]
    if piece.cut_height is not None and piece.method in LAYING and not isinstance(block, Release):
        given = "" if piece.cut_height_given else " (usual)"
        told[0] += f" at {shown(Fact(piece.cut_height, 'length', 'ft'), units)}{given}"
    if isinstance(block, Release) and (wood := report.plan.word(block, "wood")):
        told.append("leave the wood" if wood == "leave" else f"wood: {wood}")
    purpose = report.plan.word(block, "purpose") if "purpose" in block.properties else ""
    told += [f"for a {purpose}"] if purpose in ("screen", "block") else [f"for {purpose}"] if purpose else []
    if piece.hacks is not None:
        told.append(f"some {piece.hacks:.0f} cuts in all")
    if piece.herbicide and not piece.stumps_box:
        told.append(f"with mix {piece.mix}, as its label says" if piece.mix else f"the plan names no mix: {BLANK}")
    return "; ".join(told)


_METHODS = {
    "hinge": "hinge", "fell": "fell", "girdle": "girdle, left standing", "frill": "frill, left standing",
    "hack-and-squirt": "hack and squirt, left standing", "logger": "by a logger",
}  # fmt: skip


def _grown(values: Sequence[Written], units: str) -> str:
    """`7 ft from 2032`."""
    tall = next(shown(Fact(one.value.size, "length", "ft"), units) for one in values if one.kind == "length")
    years = [one.value.number for one in values if one.kind == "number"]
    return f"{tall} from {years[0]:g}" if years else tall


def _fall(piece: Piece, north: North | None, report: Report) -> str:
    """Which way trees fall, in words and by compass."""
    fall = piece.fall
    if fall is None:
        if isinstance(piece.block, Release) and piece.fells:
            return "as the feller decides, tree by tree"
        return "none is given: the feller decides at the tree" if piece.fells else ""
    told = [_direction(fall, report)] if fall.word or fall.ahead else []
    if not fall.alike:
        each = ", ".join(f"{number} {_bearing(one)}" for number, one in enumerate(fall.bearings, 1))
        many = len(fall.bearings) > _EACH
        told.append("each its own way, as the map shows" if many else f"each its own way, true, by tree: {each}")
        return "; ".join(told)
    if isinstance(piece.block, Opening):
        told.insert(0, "runs")
    told.append(_compass(fall, north))
    return " ".join(told[:-1]) + (": " if len(told) > 1 else "") + told[-1]


def _direction(fall: Fall, report: Report) -> str:
    """`away from path doe-run, toward water mill-creek, 40 yd off`."""
    thing = report.plan.names.get(fall.of)
    of = said_name(report.plan, thing) if thing is not None else fall.of
    told = [f"{'away from' if fall.word == 'away' else fall.word} {of}"] if fall.word else []
    if fall.ahead:
        told.append(f"toward {fall.ahead}, {length(fall.off, report.units, 0)} off")
    return ", ".join(told)


def _compass(fall: Fall, north: North | None) -> str:
    """`345° true (NNW), 348° magnetic`; of several bearings both ends."""
    middle = fall.middle
    turned = [(one - middle + 180) % 360 - 180 for one in fall.bearings]
    ends = [middle + min(turned), middle + max(turned)] if max(turned) - min(turned) > _AS_ONE else [middle]
    true = _bearings(ends)
    wind = WINDS[sector(middle)]
    if north is None:
        return f"{true} true ({wind})"
    return f"{true} true ({wind}), {_bearings([north.magnetic(one) for one in ends])} magnetic"


def _bearings(ends: Sequence[float]) -> str:
    return " to ".join(dict.fromkeys(_bearing(one) for one in ends))


def _bearing(degrees: float) -> str:
    """To a whole degree, halves up, whatever the last digit of a sum is."""
    return f"{math.floor(degrees + 0.5 + 1e-6) % 360:03d}°"


def turned(north: North) -> str:
    return f"{plain(abs(north.declination), 1)}° {'west' if north.declination < 0 else 'east'}"


# -- the cut list as a table ----------------------------------------------------------------------------------

_HEADS = (
    "box", "stumps box", "step", "step title", "first day", "last day", "crew", "kind", "name", "title", "pockets",
    "method", "purpose", "state", "trees", "trees are", "species", "keep", "stays",
    "dbh least", "dbh largest", "dbh unit", "dbh is", "height least", "height largest", "height unit", "height is",
    "cut height", "cut height unit", "cut height is",
    "fall", "fall ahead", "fall true degrees", "fall spread degrees", "fall magnetic degrees",
    "stump treatment", "mix", "cuts for herbicide", "mix volume", "mix volume unit",
    "two tree lengths", "two tree lengths unit", "within reach", "for a trained feller",
    "area", "area unit", "length", "length unit", "from east", "from north", "to east", "to north", "grid unit",
    "from latitude", "from longitude", "done", "done on", "why",
)  # fmt: skip


def table(order: Order, report: Report) -> Table:
    """The cut list with a row for each piece of work, numbers and their units in columns of their own."""
    steps = {step.number: step for step in order.steps}
    rows = tuple(
        _csv_row(piece, steps[piece.step], order, report)
        for step in order.steps
        for piece in sorted(
            {one.box: one for one in (*step.pieces, *step.waiting, *step.done)}.values(), key=lambda one: one.box
        )
    )
    return Table(tuple(Column(head) for head in _HEADS), rows)


def _csv_row(piece: Piece, step: StepWork, order: Order, report: Report) -> tuple[str, ...]:
    units, plan, block = report.units, report.plan, piece.block
    metric = units == "m"
    thick, tall, far, acres, bottle = ("cm", "m", "m", "ha", "L") if metric else ("in", "ft", units, "ac", "floz")
    fall, cut = piece.fall, piece.cut_height if piece.method in LAYING and piece.dbh is not None else None
    even = fall is not None and fall.alike
    middle = fall.middle if fall is not None else 0.0
    earth = on_earth(piece.places[0], report.scene.placer.frame) if piece.places else None
    lengths = LENGTHS * piece.tall.height if piece.fells else None
    why = getattr(block, "why", None)
    return (
        str(piece.box), str(piece.stumps_box or ""), "" if piece.step is None else f"{piece.step:g}", step.title,
        step.first.isoformat() if step.first else "", step.last.isoformat() if step.last else "", piece.crew,
        block.noun, block.name, block.title, " ".join(piece.pockets), piece.method,
        plan.word(block, "purpose") if "purpose" in block.properties else "", piece.state,
        "" if piece.trees is None else plain(piece.trees, 1),
        "" if piece.trees is None else "laid out" if piece.laid_out else "reckoned",
        " ".join(piece.species), " ".join(piece.keep), " ".join(map(str, piece.stays)),
        *_csv_sizes(piece.dbh, thick), *_csv_sizes(piece.height, tall),
        *_csv_size(cut, tall), "" if cut is None else "given" if piece.cut_height_given else "usual",
        "" if fall is None else f"{fall.word}{' from' if fall.word == 'away' else ''} {fall.of}".strip(),
        "" if fall is None else fall.ahead,
        plain(middle, 1) if even else "", "" if fall is None else plain(fall.spread, 1),
        plain(order.north.magnetic(middle), 1) if even and order.north is not None else "",
        piece.stump_treatment, piece.mix, "" if piece.hacks is None else plain(piece.hacks, 0),
        *_csv_size(piece.volume, bottle), *_csv_size(lengths, far),
        "; ".join(f"{near.name} {length(near.distance, units)}" for near in piece.near), " ".join(piece.feller),
        *_csv_size(piece.area, acres, 3), *_csv_size(piece.length, far),
        *_csv_place(piece.places[:1], units), *_csv_place(piece.places[1:], units), units if piece.places else "",
        *((f"{one:.6f}" for one in earth) if earth is not None else ("", "")),
        "yes" if piece.finished else "no", piece.day.isoformat() if piece.day else "",
        str(why.value) if why is not None else "",
    )  # fmt: skip


def _csv_size(size: float | None, unit: str, places: int = 1) -> tuple[str, str]:
    return ("", "") if size is None else (plain(size / UNITS[unit][1], places), unit)


def _csv_place(places: Sequence[tuple[float, float]], units: str) -> tuple[str, ...]:
    return tuple(plain(one / UNITS[units][1], 1) for one in places[0]) if places else ("", "")


def _csv_sizes(sizes: Sizes | None, unit: str) -> tuple[str, str, str, str]:
    if sizes is None:
        return ("", "", "", "")
    one = UNITS[unit][1]
    return (
        plain(sizes.least / one, 1),
        plain(sizes.largest / one, 1),
        unit,
        "estimated" if sizes.estimated else "given",
    )


# -- words ------------------------------------------------------------------------------------------------------


def step_name(step: StepWork) -> str:
    if step.number is None:
        return "In no step"
    title = clean(step.title)
    return f"Step {step.number:g}{f': {title}' if title else ''}"


def called(block: Block) -> str:
    """`row thicket-1 "First row"`."""
    return clean(f'{block.label} "{block.title}"' if block.title else block.label)


def length(size: float, units: str, places: int = 1) -> str:
    return show(size, "length", units, places)


def volume(litres: float, units: str) -> str:
    """A volume as it is measured out: gallons above one, fluid ounces below; litres in a metric plan."""
    if units != "m" and litres >= UNITS["gal"][1]:
        return show(litres, "volume", units, 2, "gal")
    if units == "m" and litres < 1:
        return show(litres, "volume", units, 0, "mL")
    return show(litres, "volume", units)


def _sizes(sizes: Sizes, unit: str, units: str) -> str:
    """`6 to 9 in`."""
    least, largest = (shown(Fact(one, "length", unit), units, 0 if sizes.estimated else 1) for one in sizes[:2])
    return largest if least == largest else f"{least.rpartition(' ')[0]} to {largest}"


def plainly(word: str) -> str:
    return clean(word.replace("-", " "))


def counted(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def joined(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def numbers(numbers: Iterable[int]) -> str:
    """`3, 4, 7 to 9`."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)


def box_numbers(step: StepWork) -> Iterator[int]:
    for piece in step.pieces:
        yield piece.box
    for piece in (*step.pieces, *step.waiting):
        if piece.stumps_box:
            yield piece.stumps_box


def on_earth(place: tuple[float, float], frame: Frame | None) -> tuple[float, float] | None:
    if frame is None:
        return None
    try:
        latitude, longitude = frame.to_earth(*place)
    except FrameUnavailable:
        return None
    return float(latitude), float(longitude)
