"""The emergency card: where to meet, where help comes in, and where each step's work is, by latitude and longitude."""

from __future__ import annotations

import math
from collections.abc import Iterator

import shapely

from habitatlint.check import Report
from habitatlint.language.blocks import Place as Spot
from habitatlint.outputs.papers.cut_list import BLANK, called, length, on_earth, step_name
from habitatlint.outputs.papers.paper import Column, Part, Section, Table, Terms, Words
from habitatlint.outputs.sentences import at, clean
from habitatlint.units import YARD
from habitatlint.work.cutlist import Piece
from habitatlint.work.order import Order, Way

#: so far at most from a place that help is sent to lies the work that the place stands for, in metres (common practice,
#: no source), and so near each other stand the places that a line of work is taken by
_NEAR_WORK, _ALONG = 100 * YARD, 20 * YARD
#: so many names at most stand beside a place
_NAMED = 6


def emergency_card(order: Order, report: Report) -> Section:
    frame = report.scene.placer.frame
    pairs = [
        ("Emergency number", f"{BLANK} (write it in, and try at the meeting place whether a telephone reaches it)"),
        ("Say", f"who is hurt and how, that it is felling work on {clean(_property(report))}, and where to meet"),
    ]
    meeting = [spot for spot in order.places if _kind(spot) == "meeting"]
    pairs += [("Meeting place", _spot(spot, report)) for spot in meeting]
    if not meeting:
        pairs.append(("Meeting place", f"{BLANK} (the plan has no `place` of `kind meeting`)"))
    # nothing else: a place that nobody said the kind of is no help, and may be mistaken for one
    for kind, word in (("gate", "Gate"), ("parking", "Parking"), ("landing", "Landing")):
        pairs += [(word, _spot(spot, report)) for spot in order.places if _kind(spot) == kind]
    pairs += [("Way in for the truck", _way(way, report)) for way in order.ways]
    if not order.ways:
        pairs.append(("Way in for the truck", f"{BLANK} (the plan has no `path` of `use vehicle`)"))
    pairs += [
        ("Hospital, and the way", BLANK),
        ("First aid and CPR", f"{BLANK} (who of the crew is trained)"),
    ]
    parts: list[Part] = [Terms(tuple(pairs))]
    where = tuple(_where_of_steps(order, report))
    if where:
        heads = ("Step", "Work", "On the plan", *(("Degrees", "Degrees, minutes") if frame is not None else ()))
        columns = tuple(Column(head, share=0.0 if number > 1 else 1.0) for number, head in enumerate(heads))
        parts.append(Table(columns, where, "Where the work is, each a place of work"))
    if any(_kind(spot) == "landing" for spot in order.places):
        parts.append(Words("A landing is for wood: nobody has judged whether anything can land there by air.", "small"))
    if frame is None:
        parts.append(Words(
            "The plan has no `anchor`, so that its places have no latitude and longitude to send help to: read them "
            f"off a telephone at the meeting place and write them here: {BLANK}", "lead",
        ))  # fmt: skip
    else:
        parts.append(Words(
            "Latitude and longitude in WGS 84, as telephones show them: in decimal degrees, and in degrees and "
            "minutes. They are as good as the plan's anchor; try one on the ground before you rely on it.", "small",
        ))  # fmt: skip
    return Section("emergency", "Emergency card", tuple(parts), apart=True)


def _property(report: Report) -> str:
    head = report.plan.head
    return (head.title if head is not None else "") or report.source.name


def _kind(spot: Spot) -> str:
    return str(spot.kind.value) if spot.kind is not None else ""


def _spot(spot: Spot, report: Report) -> str:
    shape = report.scene.shape_of(spot)
    assert shape is not None  # an order lists those that have a place
    notes = "".join(f"; {clean(str(note.value))}" for note in spot.note)
    return f"{called(spot)}, {_place((float(shape.x), float(shape.y)), report)}{notes}"


def _way(way: Way, report: Report) -> str:
    units = report.units
    told = [f"{called(way.block)}, {length(way.length, units, 0)} long, {length(way.width, units)} wide"]
    for word, end, (near, off) in zip(("from", "to"), way.ends, way.near, strict=True):
        by = f", {length(off, units, 0)} from {near}" if near and off < way.length else ""
        told.append(f"{word} {_place(end, report)}{by}")
    return "; ".join(told)


def _where_of_steps(order: Order, report: Report) -> Iterator[tuple[str, ...]]:
    """A line for each pocket with work of a step, and for each other place of it: help is sent to where there is work,
    and never to the middle of two places."""
    for step in order.steps:
        by_pocket: dict[str, list[tuple[Piece, tuple[float, float]]]] = {}
        for piece in (*step.pieces, *step.waiting):
            spots = by_pocket.setdefault(piece.pockets[0] if piece.pockets else "", [])
            spots += [(piece, spot) for spot in _spots(piece, report)]
        for pocket, spots in by_pocket.items():
            for place, pieces in _gathered(spots):
                names = [clean(piece.block.label) for piece in pieces]
                few = ", ".join(names[:_NAMED]) + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")
                earth = on_earth(place, report.scene.placer.frame)
                yield (
                    step_name(step), f"in {clean(pocket)}: {few}" if pocket else few, at(place, report.units),
                    *(_degrees(*earth) if earth is not None else ()),
                )  # fmt: skip


def _spots(piece: Piece, report: Report) -> list[tuple[float, float]]:
    """Places at which a piece of work is done: its stumps, places along its line, or one within its area."""
    trees, ground = report.scene.trees, piece.ground
    rows = trees.rows_of(piece.block)
    if len(rows):
        return [(float(trees.x[row]), float(trees.y[row])) for row in rows]
    if ground is None or ground.is_empty or ground.geom_type != "LineString":
        return list(piece.places)
    return [(float(x), float(y)) for x, y in shapely.get_coordinates(shapely.segmentize(ground, _ALONG))]


def _gathered(
    spots: list[tuple[Piece, tuple[float, float]]],
) -> Iterator[tuple[tuple[float, float], list[Piece]]]:
    """Places of work parted until all of a part lies near one of them, each with the pieces that have work there."""
    if not spots:
        return
    places = [place for _, place in spots]
    middle = tuple(sum(place[axis] for place in places) / len(places) for axis in (0, 1))
    place = min(places, key=lambda one: (round(math.dist(one, middle), 3), one))
    if all(math.dist(place, one) <= _NEAR_WORK for one in places):
        yield place, list({id(piece): piece for piece, _ in spots}.values())
        return
    wide = [max(one[axis] for one in places) - min(one[axis] for one in places) for axis in (0, 1)]
    axis = 0 if wide[0] >= wide[1] else 1
    half = (max(one[axis] for one in places) + min(one[axis] for one in places)) / 2
    yield from _gathered([spot for spot in spots if spot[1][axis] <= half])
    yield from _gathered([spot for spot in spots if spot[1][axis] > half])


def _place(place: tuple[float, float], report: Report) -> str:
    """A place by the plan's grid, and by latitude and longitude where there is an anchor."""
    local = f"{at(place, report.units)} on the plan"
    earth = on_earth(place, report.scene.placer.frame)
    if earth is None:
        return local
    decimal, minutes = _degrees(*earth)
    return f"{local}; {decimal} ({minutes})"


def _degrees(latitude: float, longitude: float) -> tuple[str, str]:
    """`44.10012N,92.29531W`, good to a metre, and `44°06.007'N, 92°17.719'W`, good to two."""
    decimal, minutes = [], []
    for degrees, signs in ((latitude, "NS"), (longitude, "EW")):
        sign = signs[degrees < 0]
        decimal.append(f"{abs(degrees):.5f}{sign}")
        whole, rest = divmod(round(abs(degrees) * 60_000), 60_000)
        minutes.append(f"{whole}°{rest / 1000:06.3f}'{sign}")
    return ",".join(decimal), ", ".join(minutes)
