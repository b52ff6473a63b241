"""Survey: traverses, and the ways of people and deer."""

import math
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely import LineString, affinity

from habitatlint.ground.survey import (
    along,
    angle_between,
    around,
    bearing_at,
    beside,
    close,
    side_of,
    turn,
    walk,
)
from habitatlint.units import YARD

bearings = st.floats(0, 360)
legs = st.lists(st.tuples(bearings, st.floats(1, 200)), min_size=3, max_size=12)

EAST = LineString([(0, 0), (100, 0)])
#: up 50 north, then 50 east
BEND = LineString([(0, 0), (0, 50), (50, 50)])


def test_a_walk_starts_where_it_starts_and_turns_by_the_compass() -> None:
    points = walk((10, 20), [(0, 5), (90, 5), (180, 5), (270, 5)])
    assert points == pytest.approx(np.array([[10, 20], [10, 25], [15, 25], [15, 20], [10, 20]]))
    assert walk((1, 2), []).tolist() == [[1, 2]]


def test_a_square_that_closes_is_left_as_it_was_walked() -> None:
    closed = close(np.array([[0, 0], [0, 30], [30, 30], [30, 0], [0, 0]]))
    assert closed.points.tolist() == [[0, 0], [0, 30], [30, 30], [30, 0]]
    assert closed.misclosure == 0 and closed.precision == math.inf and closed.perimeter == 120


def test_a_misclosure_is_shared_by_the_length_walked() -> None:
    closed = close(np.array([[0.0, 0], [0, 30], [30, 30], [30, 0], [0.4, 0.3]]))
    assert (closed.dx, closed.dy, closed.misclosure) == pytest.approx((0.4, 0.3, 0.5))
    share = 30 / closed.perimeter
    assert closed.points[1] == pytest.approx([0 - share * 0.4, 30 - share * 0.3])
    assert closed.points[0].tolist() == [0, 0]
    assert closed.precision == pytest.approx(closed.perimeter / 0.5)


def test_two_legs_enclose_nothing() -> None:
    with pytest.raises(ValueError, match="fewer than three legs"):
        close(np.array([[0, 0], [0, 30], [0, 0]]))
    with pytest.raises(ValueError, match="no length"):
        close(np.zeros((5, 2)))


@given(legs)
def test_an_adjusted_traverse_closes(legs: list[tuple[float, float]]) -> None:
    points = walk((3, 4), legs)
    closed = close(points)
    assert len(closed.points) == len(legs)
    lengths = np.array([distance for _, distance in legs])
    assert closed.perimeter == pytest.approx(lengths.sum())
    # leg for leg, the last one back to the first corner too: each gives way by its own length's share
    ring = np.vstack([closed.points, closed.points[:1]])
    gave_way = np.diff(points, axis=0) - np.diff(ring, axis=0)
    shares = lengths / lengths.sum()
    assert gave_way == pytest.approx(shares[:, None] * np.array([closed.dx, closed.dy]), abs=1e-6)
    # a traverse that walks straight away is drawn back onto its start; others can be closed again
    assume(closed.misclosure < 0.9 * closed.perimeter)
    again = close(ring)
    assert again.points == pytest.approx(closed.points, abs=1e-6) and again.misclosure < 1e-9


@given(legs, bearings)
def test_turning_a_traverse_turns_its_adjusted_corners(legs: list[tuple[float, float]], by: float) -> None:
    closed = close(walk((0, 0), legs))
    turned = close(walk((0, 0), [(bearing + by, distance) for bearing, distance in legs]))
    angle = math.radians(by)
    matrix = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    assert turned.points == pytest.approx(closed.points @ matrix.T, abs=1e-6)
    assert turned.misclosure == pytest.approx(closed.misclosure, abs=1e-6)


def test_a_place_on_a_way_is_counted_from_its_first_point() -> None:
    assert along(BEND, 60) == pytest.approx((10, 50))
    assert along(BEND, 0) == along(BEND, -0.005) == (0, 0)
    assert along(BEND, 100.005) == (50, 50)
    for distance in (-1, 101):
        with pytest.raises(ValueError, match="not on a way"):
            along(BEND, distance)


def test_a_straight_way_has_one_bearing_seen_from_anywhere() -> None:
    points = np.array([[-20, 5], [0, 0], [50, -90], [200, 3]])
    assert bearing_at(EAST, points).tolist() == pytest.approx([90] * 4)
    assert bearing_at(EAST.reverse(), points).tolist() == pytest.approx([270] * 4)


def test_in_a_bend_a_way_s_bearing_is_that_of_the_chord() -> None:
    chord = 5 * YARD
    at_corner, before, after = bearing_at(BEND, np.array([[0, 50], [0, 50 - chord], [chord, 50]]))
    assert at_corner == pytest.approx(45)
    assert before == pytest.approx(0) and after == pytest.approx(90)
    middle = bearing_at(BEND, np.array([[0, 50 - chord / 2]]))[0]
    assert middle == pytest.approx(math.degrees(math.atan2(0.5, 1.5)))


def test_at_an_end_the_chord_is_cut_short() -> None:
    hook = LineString([(0, 0), (0, 2), (50, 2)])
    # from the end itself to 5 yd on: 2 north, the rest east
    assert bearing_at(hook, np.array([[-3, -3]]))[0] == pytest.approx(math.degrees(math.atan2(5 * YARD - 2, 2)))


def test_where_a_chord_comes_back_on_itself_the_leg_s_bearing_counts() -> None:
    there_and_back = LineString([(0, 0), (0, 30), (0, 0)])
    assert bearing_at(there_and_back, np.array([[1, 40]]))[0] in (0, 180)
    ring = LineString([(0, 0), (0, 1), (1, 1), (1, 0), (0, 0)])
    assert bearing_at(ring, np.array([[0.5, 3]]))[0] == pytest.approx(90)
    assert np.isnan(bearing_at(LineString([(1, 1), (1, 1)]), np.array([[0, 0], [2, 2]]))).all()


def test_left_and_right_are_the_walker_s() -> None:
    left = beside(EAST, "left", 12, 20, 70)
    right = beside(EAST, "right", 12, 20, 70)
    assert shapely.get_coordinates(left) == pytest.approx(np.array([[20, 12], [70, 12]]))
    assert shapely.get_coordinates(right) == pytest.approx(np.array([[20, -12], [70, -12]]))
    assert shapely.get_coordinates(beside(EAST.reverse(), "left", 3)) == pytest.approx(np.array([[100, -3], [0, -3]]))


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_parallel_keeps_its_offset_through_a_bend_with_a_square_corner(
    side: Literal["left", "right"],
) -> None:
    parallel = beside(BEND, side, 8)
    corner = (-8, 58) if side == "left" else (8, 42)
    assert shapely.get_coordinates(parallel)[1] == pytest.approx(corner)
    assert parallel.coords[0] == pytest.approx((-8 if side == "left" else 8, 0))


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_parallel_runs_as_its_way_does_even_round_a_hairpin(side: Literal["left", "right"]) -> None:
    hairpin = LineString([(0, 0), (60, 5), (0, 40), (60, 70)])
    for way in (hairpin, hairpin.reverse()):
        ends = shapely.get_point(beside(way, side, 4), [0, -1])
        from_start, from_end = shapely.line_locate_point(way, ends)
        assert from_start < 20 and from_end > way.length - 20


def test_of_a_parallel_in_pieces_the_longest_counts() -> None:
    # the room between the two arms is 10 wide behind a mouth of 4
    flask = LineString([(0, 40), (0, 20), (-3, 20), (-3, 0), (7, 0), (7, 20), (4, 20), (4, 60)])
    inside = beside(flask, "left", 2.5)
    # round the room of 10 by 20, 2.5 in from its walls: 2 x (5 + 15); the mouth's own piece is shorter
    assert inside.geom_type == "LineString" and inside.length == pytest.approx(40)
    assert inside.bounds == pytest.approx((-0.5, 2.5, 4.5, 17.5))
    assert shapely.distance(flask, inside) == pytest.approx(2.5)


def test_a_way_may_be_followed_to_its_end_and_a_longer_reach_stops_there() -> None:
    assert beside(EAST, "left", 2, 40).length == pytest.approx(60)
    assert beside(EAST, "left", 2, 40, 400).length == pytest.approx(60)
    assert beside(EAST, "left", 0, 40, 60).equals(LineString([(40, 0), (60, 0)]))


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (("left", 2, 50, 50), "nothing of a way"),
        (("left", 2, 60, 50), "nothing of a way"),
        (("left", 2, 150), "nothing of a way"),
        (("left", -2), "not negative"),
        (("north", 2), "left or right"),
    ],
)
def test_where_nothing_lies_beside_a_way_the_reason_is_told(arguments: Any, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        beside(EAST, *arguments)


def test_inside_a_bend_tighter_than_the_offset_no_parallel_remains() -> None:
    ring = LineString([(10 * math.sin(a), 10 * math.cos(a)) for a in np.linspace(0, 6.2, 60)])
    with pytest.raises(ValueError, match="bends more tightly"):
        beside(ring, "right", 12)
    assert beside(ring, "left", 12).length == pytest.approx(6.2 * 22, rel=0.02)


@given(bearings, st.sampled_from(["left", "right"]), st.floats(1, 10))
def test_a_parallel_turns_with_its_way_and_mirrors_to_the_other_side(
    by: float, side: Literal["left", "right"], offset: float
) -> None:
    parallel = beside(BEND, side, offset, 10, 90)
    turned = beside(affinity.rotate(BEND, -by, origin=(0, 0)), side, offset, 10, 90)
    expected = shapely.get_coordinates(affinity.rotate(parallel, -by, origin=(0, 0)))
    assert shapely.get_coordinates(turned) == pytest.approx(expected, abs=1e-6)
    other: Literal["left", "right"] = "right" if side == "left" else "left"
    mirrored = beside(affinity.scale(BEND, -1, 1, origin=(0, 0)), other, offset, 10, 90)
    expected = shapely.get_coordinates(affinity.scale(parallel, -1, 1, origin=(0, 0)))
    assert shapely.get_coordinates(mirrored) == pytest.approx(expected, abs=1e-6)


def test_an_outline_grows_on_every_side_and_does_not_shrink_to_nothing_unsaid() -> None:
    field = shapely.box(0, 0, 40, 20)
    grown = around(field, 5)
    assert grown.bounds == pytest.approx((-5, -5, 45, 25))
    assert grown.area == pytest.approx(40 * 20 + 2 * 5 * 60 + math.pi * 25, rel=1e-3)
    assert around(field, -5).equals(shapely.box(5, 5, 35, 15))
    with pytest.raises(ValueError, match="nothing of the outline remains"):
        around(field, -11)
    waisted = shapely.union_all([shapely.box(0, 0, 40, 20), shapely.box(40, 9, 60, 11), shapely.box(60, 0, 90, 20)])
    # the waist is 2 wide and goes; of the two rooms left, the larger stays
    left = around(waisted, -2)
    assert left.covers(shapely.box(2, 2, 38, 18)) and left.within(shapely.box(2, 2, 40, 18))


def test_the_side_of_a_way_is_left_or_right_or_on_it() -> None:
    points = np.array([[10, 5], [10, -5], [10, 0.005], [10, 0.02]])
    assert side_of(EAST, points).tolist() == [1, -1, 0, 1]
    assert side_of(EAST.reverse(), points).tolist() == [-1, 1, 0, -1]


def test_what_lies_beyond_an_end_counts_on_the_side_of_the_end_leg_produced() -> None:
    points = np.array([[150, 3], [150, -3], [-40, 3], [-40, -3], [150, 0], [-40, 0.005]])
    assert side_of(EAST, points).tolist() == [1, -1, 1, -1, 0, 0]


def test_off_a_corner_the_outer_side_is_the_outer_side() -> None:
    sharp = LineString([(0, 0), (50, 0), (0, 10)])
    beyond_the_point = np.array([[55, 1], [55, -1], [55, 5], [51, -4]])
    assert side_of(sharp, beyond_the_point).tolist() == [-1] * 4
    assert side_of(sharp, np.array([[20, 3]])).tolist() == [1]


def test_a_loop_has_an_inside_and_an_outside() -> None:
    ring = LineString([(0, 0), (20, 0), (20, 20), (0, 20), (0, 0)])
    assert side_of(ring, np.array([[10, 10], [-5, -5], [-5, 10], [25, 25], [0, 0]])).tolist() == [
        1,
        -1,
        -1,
        -1,
        0,
    ]
    # a loop has no end legs to produce, not even off the sharp corner where it starts and ends
    wedge = LineString([(0, 0), (50, -10), (50, 10), (0, 0)])
    assert side_of(wedge, np.array([[-5, 1.5], [-5, -1.5], [-5, 0], [40, 0]])).tolist() == [-1, -1, -1, 1]
    assert side_of(LineString([(0, 0), (0, 0)]), np.array([[1, 1]])).tolist() == [0]


#: ways that never double back
ways = st.lists(st.tuples(st.floats(0, 120), st.floats(1, 60)), min_size=1, max_size=5)


@given(ways, st.tuples(st.floats(-100, 150), st.floats(-100, 150)), bearings)
def test_walked_the_other_way_or_mirrored_a_side_is_the_other_one(
    legs: list[tuple[float, float]], place: tuple[float, float], by: float
) -> None:
    points = walk((0, 0), legs)
    line = LineString(points)
    spot = np.array([place])
    # clear of the legs' own lines, and not as near to one part of the way as to another
    distances = []
    for one, other in pairwise(points):
        distances.append(LineString([one, other]).distance(shapely.Point(place)))
        across = np.cross(np.append(other - one, 0), np.append(place - one, 0))[2]
        assume(abs(across) / np.hypot(*(other - one)) > 0.1)
    nearest = int(np.argmin(distances))
    for leg, distance in enumerate(distances):
        assume(abs(leg - nearest) <= 1 or distance - distances[nearest] > 0.001)
    side = side_of(line, spot)
    assert side[0] in (-1, 1)
    assert side_of(line.reverse(), spot) == -side
    assert side_of(affinity.scale(line, -1, 1, origin=(0, 0)), spot * [-1, 1]) == -side
    turned = affinity.rotate(shapely.Point(place), -by, origin=(0, 0))
    assert side_of(affinity.rotate(line, -by, origin=(0, 0)), np.array([[turned.x, turned.y]])) == side


def test_an_angle_between_lines_is_at_most_a_right_one_and_a_turn_at_most_a_half() -> None:
    assert angle_between(10.0, 350.0) == 20 and angle_between(10.0, 190.0) == 0
    assert angle_between(0.0, 90.0) == 90 and turn(0.0, 270.0) == 90
    assert turn(10.0, 190.0) == 180 and turn(350.0, 10.0) == 20
    assert angle_between(np.array([0.0, 100.0, 200.0]), 0.0).tolist() == [0, 80, 20]
    assert turn(0.0, np.array([0.0, 100.0, 200.0])).tolist() == [0, 100, 160]
    assert isinstance(turn(1.0, 2.0), float)


@given(bearings, bearings, bearings)
def test_turning_both_changes_no_angle(one: float, other: float, by: float) -> None:
    assert angle_between(one + by, other + by) == pytest.approx(angle_between(one, other), abs=1e-6)
    assert turn(one + by, other + by) == pytest.approx(turn(one, other), abs=1e-6)
    assert turn(one, other) == pytest.approx(turn(other, one), abs=1e-9)
