"""Ways out of a pocket: what is to be expected of the open arc and of dead ends, and what must never happen."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, box

from habitatlint.check import Report
from habitatlint.measures.free_ground import SWEEPS, FreeGround
from habitatlint.measures.triangles import _tiled
from habitatlint.measures.ways_out import Bars, bed_of, dead_end_of, ground_of, ways_out
from habitatlint.units import FOOT, YARD

WAY = Bars(3 * FOOT)
Reports = Callable[..., Report]

POCKET = """
pocket thicket
  outline 0,0 60,0 60,60 0,60
  bed 30,30
tree corner
  at 1,1
  method hinge
  fall S
  dbh 6in
"""


def fence(name: str, line: str) -> str:
    return f"hazard {name}\n  line {line}\n  kind fence\n  barrier yes\n"


def arc(report: Report, bars: Bars = WAY) -> float:
    place = report.scene.table("beds").column("at").values[0]
    bed = bed_of(report.scene, 0, place, bars)
    assert bed is not None
    return bed.arc


def ways(report: Report) -> int:
    return ways_out(report.scene, 0, report.scene.table("beds").column("at").values[0], WAY)


#: a wall of 40 yd square about the bed, with gaps of 3 yd in the middle of these sides: the arcs to expect
GAPS = {
    "": (0, 0), "N": (190, 215), "NE": (275, 305), "NS": (360, 360), "NESW": (360, 360),
}  # fmt: skip
CORNERS = {"N": ((50, 50), (10, 50)), "E": ((50, 10), (50, 50)), "S": ((10, 10), (50, 10)), "W": ((10, 50), (10, 10))}


def wall(gaps: str, wide: float = 3) -> str:
    lines = []
    for side, (start, end) in CORNERS.items():
        a, b = np.array(start, float), np.array(end, float)
        half = (b - a) / np.hypot(*(b - a)) * wide / 2
        middle = (a + b) / 2
        pieces = [(a, middle - half), (middle + half, b)] if side in gaps else [(a, b)]
        for number, (one, other) in enumerate(pieces):
            lines.append(fence(f"wall-{side.lower()}{number}", f"{one[0]:g},{one[1]:g} {other[0]:g},{other[1]:g}"))
    return "".join(lines)


@pytest.mark.parametrize("gaps", GAPS)
def test_a_walled_bed_has_the_arc_of_its_gaps(report_of: Reports, gaps: str) -> None:
    least, most = GAPS[gaps]
    report = report_of(POCKET + wall(gaps))
    assert least <= arc(report) <= most
    assert ways(report) == len(gaps)


def test_one_gap_however_wide_is_one_way_out(report_of: Reports) -> None:
    report = report_of(POCKET + wall("N", wide=25))
    assert arc(report) <= 250
    assert ways(report) == 1


def test_a_gap_narrower_than_a_way_is_none(report_of: Reports) -> None:
    assert arc(report_of(POCKET + wall("N", wide=0.98))) == 0
    assert arc(report_of(POCKET + wall("N", wide=1.04))) > 0


def test_a_wall_beyond_the_margin_is_not_seen(report_of: Reports) -> None:
    assert arc(report_of(POCKET + fence("far", "-25,-25 85,-25 85,85 -25,85 -25,-25"))) == 360
    assert arc(report_of(POCKET + fence("near", "-12,-12 72,-12 72,72 -12,72 -12,-12"))) == 0


def test_an_opening_saws_tops_and_no_fence(report_of: Reports) -> None:
    opening = "opening gap\n  at 30,50\n  width 3yd\n  toward N\n"
    assert arc(report_of(POCKET + wall("") + opening)) == 0


def test_a_bed_under_a_top_has_no_way_out_unless_an_opening_clears_it(report_of: Reports) -> None:
    tree = (
        "tree over\n  at 30,18\n  method hinge\n  fall N\n  tree-height 45ft\n  crown-ratio 60%\n"
        "  crown-width 18ft\n  dbh 8in\n"
    )
    report = report_of(POCKET + tree)
    place = report.scene.table("beds").column("at").values[0]
    bed = bed_of(report.scene, 0, place, WAY)
    assert bed is not None and bed.under and bed.arc == 0
    assert arc(report_of(POCKET + tree + "opening gap\n  at 30,30\n  width 4ft\n  toward E\n")) == 360


def scattered(random: np.random.Generator, number: int) -> list[str]:
    return [
        f"tree t{index}\n  at {random.uniform(4, 56):.2f},{random.uniform(4, 56):.2f}\n  method hinge\n"
        f"  fall {random.uniform(0, 360):.0f}deg\n  tree-height 40ft\n  crown-ratio 60%\n  crown-width 16ft\n  dbh 8in\n"
        for index in range(number)
    ]


@pytest.mark.parametrize("seed", range(6))
def test_an_added_top_never_raises_the_arc(report_of: Reports, seed: int) -> None:
    random = np.random.default_rng(seed)
    trees = scattered(random, 24)
    arcs = [arc(report_of(POCKET + "".join(trees[:number]))) for number in (6, 12, 18, 24)]
    assert arcs == sorted(arcs, reverse=True)


@pytest.mark.parametrize("seed", range(6))
def test_an_added_opening_never_lowers_the_arc(report_of: Reports, seed: int) -> None:
    random = np.random.default_rng(100 + seed)
    plan = POCKET + "".join(scattered(random, 30)) + wall("NE")
    openings = [
        f"opening o{index}\n  at {random.uniform(15, 45):.1f},{random.uniform(15, 45):.1f}\n  width 4ft\n"
        f"  toward {random.uniform(0, 360):.0f}deg\n"
        for index in range(3)
    ]
    arcs = [arc(report_of(plan + "".join(openings[:number]))) for number in range(4)]
    assert arcs == sorted(arcs)


def test_bare_stems_bar_as_high_as_it_is_said(report_of: Reports) -> None:
    stem = (
        "tree bridge\n  at 24,50\n  method hinge\n  fall E\n  cut-height 5ft\n  tree-height 50ft\n"
        "  crown-ratio 5%\n  crown-width 2ft\n"
    )
    walls = wall("NS", wide=4)
    report = report_of(POCKET + walls + stem)
    assert arc(report) == 360
    assert arc(report, WAY._replace(under=42 * FOOT / 12)) < 240


# -- dead ends ---------------------------------------------------------------------------------------------


def depth(report: Report) -> float:
    found = dead_end_of(report.scene, 0, WAY)
    assert found is not None
    return found.depth / YARD


def test_a_trough_is_as_deep_as_it_is_long(report_of: Reports) -> None:
    report = report_of(POCKET + fence("trough", "28,30 28,50 32,50 32,30"))
    found = dead_end_of(report.scene, 0, WAY)
    assert found is not None and found.place is not None
    # from its end, half a way off, to its mouth, where half a way more is barred round each corner
    assert depth(report) == pytest.approx(20, abs=0.6)
    assert found.place.distance(Point(30 * YARD, 49.5 * YARD)) <= 1.6 * YARD
    assert found.cut is None  # no saw goes through a fence


def test_the_way_out_of_a_trough_goes_through_its_tops_and_not_its_fences(report_of: Reports) -> None:
    head = "tree head\n  at 28,50\n  method fell\n  fall E\n  tree-height 12ft\n  crown-ratio 100%\n  crown-width 1ft\n"
    sides = fence("west", "28,30 28,50") + fence("east", "32,30 32,50")
    found = dead_end_of(report_of(POCKET + sides + head).scene, 0, WAY)
    assert found is not None and found.cut is not None
    across = LineString([(28 * YARD, 50 * YARD), (32 * YARD, 50 * YARD)])
    # the top, and half a way and half its width on both its sides
    assert found.cut.crosses(across) and found.cut.length == pytest.approx(4 / 3 * YARD, abs=0.4 * YARD)


def test_a_straight_wall_and_open_ground_have_no_dead_end(report_of: Reports) -> None:
    assert depth(report_of(POCKET)) == 0
    assert depth(report_of(POCKET + fence("straight", "10,30 50,30"))) == pytest.approx(0, abs=0.2)


def test_a_corner_is_as_deep_as_it_is_from_the_line_between_its_ends(report_of: Reports) -> None:
    """Two walls of 14.1 yd at right angles: the point lies 10 yd behind the line between their ends. Less what
    the growth takes at the point (0.7 yd), and what the nearest sweep, 7.5 degrees off, makes the way shorter."""
    report = report_of(POCKET + fence("corner-wall", "20,30 30,40 40,30"))
    assert depth(report) == pytest.approx(10 - 0.7 - 10 * np.tan(np.radians(7.5)) + 0.5, abs=0.5)


def test_ground_that_nothing_leads_out_of_is_no_bay(report_of: Reports) -> None:
    report = report_of(POCKET + fence("pen", "20,20 30,20 30,40 20,40 20,20"))
    found = dead_end_of(report.scene, 0, WAY)
    assert found is not None
    assert found.depth / YARD == pytest.approx(0, abs=0.2)
    assert found.sealed / YARD == pytest.approx(10, abs=0.05)
    assert found.cut is None


def test_sealed_ground_is_opened_through_the_tops_that_shut_it(report_of: Reports) -> None:
    gate = "tree gate\n  at 20,40\n  method fell\n  fall E\n  tree-height 30ft\n  crown-ratio 100%\n  crown-width 1ft\n"
    report = report_of(POCKET + fence("pen", "20,40 20,20 30,20 30,40") + gate)
    found = dead_end_of(report.scene, 0, WAY)
    assert found is not None and found.cut is not None
    assert found.cut.crosses(LineString([(20 * YARD, 40 * YARD), (30 * YARD, 40 * YARD)]))


def test_a_dead_end_is_the_pockets_whose_tree_shuts_it(report_of: Reports) -> None:
    vee = (
        "tree left\n  in {0}\n  at 20,{1}\n  method hinge\n  fall N30E\n  tree-height 40ft\n  crown-ratio 80%\n"
        "  crown-width 12ft\ntree right\n  in {0}\n  at 32,{1}\n  method hinge\n  fall N30W\n  tree-height 40ft\n"
        "  crown-ratio 80%\n  crown-width 12ft\n"
    )
    other = "pocket neighbour\n  outline 0,62 60,62 60,100 0,100\ntree mark\n  at 50,90\n  method hinge\n  fall N\n"
    report = report_of(POCKET + other + vee.format("thicket", 45))
    mine, next_door = (dead_end_of(report.scene, row, WAY) for row in (0, 1))
    assert mine is not None and next_door is not None
    assert mine.depth > 3 * YARD and next_door.depth < 1 * YARD


def test_the_opening_that_is_offered_ends_the_dead_end(report_of: Reports) -> None:
    trees = "".join(
        f"tree {name}\n  in thicket\n  at {x},20\n  method hinge\n  fall N30{side}\n  tree-height 50ft\n"
        "  crown-ratio 90%\n  crown-width 14ft\n"
        for name, x, side in (("left", 20, "E"), ("right", 34, "W"))
    )
    before = report_of(POCKET + trees)
    found = dead_end_of(before.scene, 0, WAY)
    assert found is not None and found.cut is not None and found.depth > 3 * YARD
    place = found.cut.interpolate(0.5, normalized=True)
    (x, y), (to_x, to_y) = found.cut.coords
    toward = np.degrees(np.arctan2(to_x - x, to_y - y)) % 360
    opening = f"opening gap\n  at {place.x / YARD:.3f},{place.y / YARD:.3f}\n  width 3ft\n  toward {toward:.2f}deg\n"
    assert depth(report_of(POCKET + trees + opening)) < found.depth / YARD - 2


def test_open_ground_is_joined_everywhere() -> None:
    ground = FreeGround(box(0, 0, 100, 100), box(0, 0, 100, 100))
    assert ground.open_directions(Point(50, 50), 0.0).all()
    depths = ground.depths(0.0)
    assert depths.depth.shape[1] == SWEEPS
    assert depths.depth.max() == 0
    assert ground.sealed == []


def test_no_ground_at_all_leaves_no_way(report_of: Reports) -> None:
    ground = FreeGround(shapely.Polygon(), box(0, 0, 10, 10))
    assert not ground.open_directions(Point(5, 5), 0.0).any()
    assert ground.depths(0.0).depth.shape == (0, SWEEPS)


def test_a_pocket_all_of_whose_trees_stand_at_one_point_is_judged(report_of: Reports) -> None:
    trees = "".join(f"tree t{number}\n  at 30,20\n  method hinge\n  fall N\n  dbh 8in\n" for number in range(30))
    report = report_of(POCKET + trees)
    assert ground_of(report.scene, 0, WAY) is not None
    assert arc(report) in range(0, 365, 5)


def test_a_patch_alone_is_not_judged_and_says_so(told: Callable[..., list[str]]) -> None:
    plan = (
        "pocket thicket\n  outline 0,0 60,0 60,60 0,60\n  bed 30,30\n"
        "patch brush\n  in thicket\n  method hinge\n  density 50 per acre\n  fall N\n  dbh 7in\n"
    )
    lines = [line for line in told(plan) if "not-judged" in line]
    assert any("open-arc" in line for line in lines)
    assert any("dead-end" in line for line in lines)


def test_ground_cut_in_tiles_gives_what_it_gives_whole(report_of: Reports, monkeypatch: pytest.MonkeyPatch) -> None:
    report = report_of(POCKET + "".join(scattered(np.random.default_rng(3), 60)))
    spots = [Point(x, y) for x, y in np.random.default_rng(4).uniform(0, 55, (20, 2))]

    def worked(most_holes: int) -> tuple[int, list[int], np.ndarray, list[float]]:
        monkeypatch.setattr("habitatlint.measures.triangles._EAR_HOLES", most_holes)
        report.scene.memo.clear()
        ground = ground_of(report.scene, 0, WAY)
        assert ground is not None
        arcs = [int(ground.open_directions(spot, 10.0).sum()) for spot in spots]
        depths = ground.depths(10.0)
        deepest = np.where(np.isfinite(depths.depth) & depths.lows, depths.depth, 0.0).max(axis=0)
        return len(ground.triangles), arcs, deepest, sorted(round(piece.area, 3) for piece in ground.sealed)

    whole, tiled = worked(10_000), worked(2)
    assert tiled[0] > whole[0]
    assert tiled[1] == whole[1]
    assert tiled[2] == pytest.approx(whole[2])
    assert tiled[3] == whole[3]


def test_ground_with_many_holes_is_cut_into_triangles_tile_by_tile() -> None:
    whole = box(0, 0, 300, 300)
    holes = shapely.MultiPolygon([box(x, y, x + 3, y + 4) for x in range(5, 295, 9) for y in range(5, 295, 11)])
    ground = FreeGround(whole.difference(holes), whole)
    tiles, of, _ = _tiled(shapely.get_parts(ground.free), 100)
    assert shapely.get_num_interior_rings(tiles).max() <= 200  # else it takes the square of them
    assert not of.any()
    assert shapely.area(tiles).sum() == pytest.approx(ground.free.area)
    assert ground.open_directions(Point(151, 4), 0.0).all()
    assert ground.depths(0.0).depth.max() == 0


def test_a_pocket_without_free_ground_leaves_the_others_judged(told: Callable[..., list[str]]) -> None:
    pond = "hazard pond\n  outline -50,-50 110,-50 110,110 -50,110\n  kind water\n  barrier yes\n"
    other = "pocket other\n  outline 300,0 360,0 360,60 300,60\n  bed 330,30\ntree t\n  at 301,1\n  method hinge\n  fall S\n"
    pen = fence("pen", "310,10 350,10 350,50 310,50 310,10")
    lines = told(POCKET + pond + other + pen)
    assert not [line for line in lines if "cannot be worked out" in line]
    assert any("bed 1 of other has no way out" in line for line in lines)


def test_a_corridor_that_stops_in_the_last_tip_is_sawn_through_it(report_of: Reports) -> None:
    # tops of 17.3 yd reach 0.3 yd beyond where corridors end, 3 yd beyond the outline
    plan = (
        "food clover\n  outline 0,-60 120,-60 120,-20 0,-20\n"
        "pocket thicket\n  outline 0,0 120,0 120,100 0,100\n  bed 30,50\n  corridors every 20yd off clover width {}\n"
        "row last\n  method hinge\n  stumps 8,86 118,86\n  spacing 7\n  fall N\n  dbh 6in..10in\n"
    )
    for width in ("3ft", "4ft"):
        end = dead_end_of(report_of(plan.format(width)).scene, 0, WAY)
        assert end is not None and end.depth == 0


def test_trees_without_a_fall_leave_ways_out_unknown(told: Callable[..., list[str]]) -> None:
    row = "row last\n  method hinge\n  stumps 8,20 52,20\n  spacing 7\n  dbh 8in\n"
    lines = [line for line in told(POCKET + row) if "not-judged" in line and "no `fall` is given" in line]
    assert any("escape/dead-end" in line for line in lines)
    assert any("escape/open-arc" in line for line in lines)
    assert not [line for line in told(POCKET + row + "  fall N\n") if "escape/open-arc" in line]


def test_a_pocket_without_beds_in_which_no_top_lies_is_no_matter_of_ways_out(told: Callable[..., list[str]]) -> None:
    pocket = POCKET.replace("  bed 30,30\n", "").split("tree corner")[0]
    girdled = "row dying\n  method girdle\n  stumps 8,20 52,20\n  spacing 7\n  dbh 8in\n"
    assert not [line for line in told(pocket + girdled) if "open-arc" in line]
