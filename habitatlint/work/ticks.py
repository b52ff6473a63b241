"""Ticks on a sheet of work, put into the plan: the ground as it was built."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from habitatlint.findings import Change, Edit
from habitatlint.ground.cuts import LAYING
from habitatlint.language.blocks import Tree
from habitatlint.language.editing import Unwritable, edits_of
from habitatlint.language.plan import PlanText
from habitatlint.reading.grammar import did_you_mean, near
from habitatlint.work.cutlist import Piece

_RUN = re.compile(r"([0-9]{1,6})(?:(?:-|\.\.)([0-9]{1,6}))?")


class Untickable(Exception):
    """Ticks that cannot be put into the plan: why and what to do, in one line."""


class Tick(NamedTuple):
    """A ticked box: its number, its piece of work, and whether it is that of the stumps' treatment."""

    box: int
    piece: Piece
    stumps: bool

    @property
    def label(self) -> str:
        return f"stumps of {self.piece.block.label}" if self.stumps else self.piece.block.label

    @property
    def brings_down(self) -> bool:
        """It brings a tree down that hung: written as `state down`, or it would hang in the plan for ever."""
        return not self.stumps and self.piece.state == "hung" and self.piece.method in LAYING

    @property
    def done(self) -> bool:
        """It was done before."""
        return self.piece.stump_treatment == "done" if self.stumps else self.piece.finished


class Built(NamedTuple):
    """What ticks come to: the edits of the plan, boxes newly done and those done before, trees of a row that count as
    done with it though they were not ticked, and work whose stumps are treated though nothing says that it is cut."""

    edits: tuple[Edit, ...]
    done: tuple[Tick, ...]
    before: tuple[Tick, ...]
    along: tuple[Piece, ...]
    uncut: tuple[Piece, ...]


def ticks_of(pieces: Sequence[Piece], said: str) -> tuple[Tick, ...]:
    """The boxes that a list such as `3, 7-9, thicket-1` names, each once, in the order of the sheet; a name stands
    for the work on that block. Raises Untickable for a box or a name that is not there."""
    boxes = {piece.box: Tick(piece.box, piece, False) for piece in pieces}
    boxes |= {piece.stumps_box: Tick(piece.stumps_box, piece, True) for piece in pieces if piece.stumps_box}
    names: dict[str, list[int]] = {}
    for piece in pieces:
        if piece.block.name:
            names.setdefault(piece.block.name, []).append(piece.box)
    found: set[int] = set()
    for word in said.replace(",", " ").split():
        run = _RUN.fullmatch(word)
        if run is None and word not in names:
            hint = did_you_mean(near(word, names)) or "; give numbers such as 3,7-9, or names of the plan's work"
            raise Untickable(f"no work is called `{word[:60]}`{hint}")
        if run is None:
            if len(names[word]) > 1:
                own = " and ".join(str(box) for box in names[word])
                raise Untickable(f"the plan has `{word[:60]}` more than once, as boxes {own}: give the number")
            found.add(names[word][0])
            continue
        first, last = int(run[1]), int(run[2] or run[1])
        if first > last:
            raise Untickable(f"`{word}` runs backward: the lower number stands first")
        there = f"the sheet has boxes 1 to {max(boxes)}" if boxes else "the plan has no work, and so no boxes"
        if first not in boxes or last not in boxes:
            raise Untickable(f"there is no box {first if first not in boxes else last}: {there}")
        found |= set(range(first, last + 1))
    if not found:
        raise Untickable("no box is named; give numbers such as 3,7-9, or names of the plan's work")
    return tuple(boxes[box] for box in sorted(found))


def as_built(plan: PlanText, ticks: Sequence[Tick], day: date) -> Built:
    """The edits that write ticks into a plan: `done` with a day, `stump-treatment done`, and `stage as-built`.

    Raises Untickable where nothing is new, and where something cannot be written, such as work that an included file
    holds."""
    head = plan.head
    if head is None:
        raise Untickable('the plan has no head: begin it with `plan "TITLE"`')
    fresh = [tick for tick in ticks if not tick.done]
    if not fresh:
        raise Untickable("all of that is done in the plan already")
    changes = [Change("set", head.span(), "stage", ("as-built",))]
    for tick in fresh:
        word, said = ("stump-treatment", "done") if tick.stumps else ("done", day.isoformat())
        changes.append(Change("set", tick.piece.block.span(), word, (said,)))
        if tick.brings_down:
            changes.append(Change("set", tick.piece.block.span(), "state", ("down",)))
    try:
        edits = edits_of(plan, changes, recorded=True)
    except Unwritable as trouble:
        raise Untickable(f"it cannot be written: {trouble}; write `done {day.isoformat()}` there yourself") from None
    ticked = {id(tick.piece.block) for tick in ticks}
    cut = {tick.piece.box for tick in ticks if not tick.stumps}
    uncut = tuple(tick.piece for tick in fresh if tick.stumps and not tick.piece.finished and tick.piece.box not in cut)
    return Built(edits, tuple(fresh), tuple(tick for tick in ticks if tick.done), _along(plan, fresh, ticked), uncut)


def _along(plan: PlanText, fresh: Sequence[Tick], ticked: set[int]) -> tuple[Piece, ...]:
    """The rows with trees in a block of their own that were not ticked: they count as done with their row."""
    own: dict[str, list[Tree]] = {}
    for tree in plan.of(Tree):
        # one that hangs is still to do, by its own box
        stays = plan.word(tree, "method") == "leave" or plan.word(tree, "state") == "hung"
        if (of := tree.first("of")) is not None and not tree.has("done") and not stays:
            own.setdefault(str(of.values[0].value), []).append(tree)
    return tuple(
        tick.piece
        for tick in fresh
        if not tick.stumps and any(id(tree) not in ticked for tree in own.get(tick.piece.block.name, ()))
    )
