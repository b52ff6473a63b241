"""Invented layouts of some 60 acres, made at random: what property tests judge, move and mend."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from hypothesis import strategies as st

from habitatlint.units import UNITS


@dataclass(frozen=True)
class Motion:
    """A way to lay the same ground on paper: mirrored in the north line, turned, shifted, in a unit."""

    turn: float = 0.0
    east: float = 0.0
    north: float = 0.0
    mirrored: bool = False
    unit: str = "yd"
    scale: float = 1.0

    def point(self, x: float, y: float) -> str:
        x, y = (-x if self.mirrored else x) * self.scale, y * self.scale
        angle = math.radians(self.turn)
        east = x * math.cos(angle) + y * math.sin(angle) + self.east
        north = -x * math.sin(angle) + y * math.cos(angle) + self.north
        return f"{self._number(east)},{self._number(north)}"

    def bearing(self, degrees: float) -> str:
        return f"{((-degrees if self.mirrored else degrees) + self.turn) % 360:.6f}deg"

    def length(self, yards: float) -> str:
        return self._number(yards)

    def side(self, side: str) -> str:
        return {"left": "right", "right": "left"}[side] if self.mirrored else side

    def _number(self, yards: float) -> str:
        return f"{yards * UNITS['yd'][1] / UNITS[self.unit][1]:.6f}"


@dataclass(frozen=True)
class Hinges:
    x: float
    y: float
    across: bool
    fall: float
    method: str
    inches: int
    spacing: float
    named: bool


@dataclass(frozen=True)
class Layout:
    """An invented 60 acres: a lane along the south, food, pockets, a line of travel, rows."""

    pockets: tuple[tuple[float, float], ...]
    rows: tuple[Hinges, ...]
    run_end: tuple[float, float]
    lane_bend: float
    stand: float
    beside: tuple[str, float]
    released: int
    road: bool
    wind: int = 0
    extra: tuple[str, ...] = field(default=())

    def text(self, motion: Motion) -> str:
        return "\n".join(self._lines(motion)) + "\n"

    def _lines(self, motion: Motion) -> Iterator[str]:
        point = motion.point
        yield from ('plan "Turned"', f"  units {motion.unit}", "boundary")
        yield "  outline " + " ".join(point(*corner) for corner in ((0, 0), (560, 0), (560, 520), (0, 520)))
        yield from ("food plot", "  kind plot")
        yield "  outline " + " ".join(point(*corner) for corner in ((60, 90), (160, 90), (160, 150), (60, 150)))
        yield from ("path lane", "  use entry")
        yield f"  line {point(560, 30)} {point(320, 30 + self.lane_bend)} {point(120, 40)}"
        yield from ("stand seat", f"  at {point(124, 40 + self.stand)}", "  reach lane")
        yield "  sit evening"
        yield from ("path run", "  use travel", f"  line {point(300, 300)} {point(*self.run_end)}")
        if self.road:
            yield from ("hazard road", "  kind road", f"  line {point(-5, 530)} {point(565, 530)}")
        yield "timber woods"
        yield "  outline " + " ".join(point(*corner) for corner in ((0, 160), (560, 160), (560, 520), (0, 520)))
        yield from ("  class 6in..11in 40 sqft/ac", "  class 12in..22in 90 sqft/ac")
        for number, (x, y) in enumerate(self.pockets):
            yield f"pocket pocket-{number}"
            yield "  outline " + " ".join(point(x + dx, y + dy) for dx, dy in ((0, 0), (80, 0), (80, 50), (0, 50)))
            yield f"  bed {point(x + 40, y + 25)}"
            if number == 0 and self.released:
                yield "release open"
                yield "  outline " + " ".join(
                    point(x + dx, y + dy) for dx, dy in ((-10, -10), (90, -10), (90, 60), (-10, 60))
                )
                yield from ("  basal-area 130 to 50 sqft/ac", f"  step {self.released}")
        for number, row in enumerate(self.rows):
            end = (row.x, row.y + 60) if row.across else (row.x + 60, row.y)
            yield from (f"row row-{number}", f"  method {row.method}", f"  stumps {point(row.x, row.y)} {point(*end)}")
            yield from (f"  spacing {motion.length(row.spacing)}", f"  fall {motion.bearing(row.fall)}")
            yield from (f"  dbh {row.inches}in", "  step 2")
        side, offset = self.beside
        yield from ("row screen", "  purpose screen", "  method fell")
        yield f"  stumps beside lane {motion.side(side)} {motion.length(offset)} from {motion.length(20)} to {motion.length(150)}"
        yield from (f"  spacing {motion.length(7)}", "  fall along lane", "  dbh 7in", "  step 2")


layouts = st.builds(
    Layout,
    pockets=st.lists(
        st.tuples(st.floats(20, 440), st.floats(170, 440)), min_size=1, max_size=3
    ).map(tuple),
    rows=st.lists(
        st.builds(
            Hinges,
            x=st.floats(20, 480), y=st.floats(45, 440), across=st.booleans(), fall=st.floats(0, 359),
            method=st.sampled_from(["hinge", "hinge", "hinge", "fell"]), inches=st.sampled_from([7, 9, 11, 14]),
            spacing=st.floats(6, 12), named=st.booleans(),
        ),
        min_size=1, max_size=4,
    ).map(tuple),
    run_end=st.tuples(st.floats(20, 300), st.floats(60, 260)),
    lane_bend=st.floats(0, 40),
    stand=st.sampled_from([1.0, 4.0, 30.0]),
    beside=st.tuples(st.sampled_from(["left", "right"]), st.floats(4, 18)),
    released=st.sampled_from([0, 1, 2]),
    road=st.booleans(),
)  # fmt: skip
