"""Trees standing and down: reach, stem, top and what bars a deer."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon, affinity

from habitatlint.ground.trees import barriers, fallen, reach, stem_height_at, stems, tops
from habitatlint.units import FOOT, INCH

bearings = st.floats(0, 360)
places = st.floats(-500, 500)
heights = st.floats(4, 30)
ratios = st.floats(0.1, 0.9)
widths = st.floats(0.5, 12)


def one_top(
    x: float = 0.0,
    y: float = 0.0,
    bearing: float = 0.0,
    height: float = 15.0,
    ratio: float = 0.4,
    width: float = 5.0,
    cut: float = 0.9,
) -> Polygon:
    return tops(x, y, bearing, reach(height, cut), height, ratio, width)[0]


def same(one: Polygon, other: Polygon, within: float = 1e-6) -> bool:
    return float(shapely.hausdorff_distance(one, other)) < within


def test_a_tree_cut_at_the_ground_reaches_its_height_and_a_higher_cut_brings_the_tip_nearer() -> None:
    assert reach(15.0, 0.0) == pytest.approx(15)
    lengths = reach(15.0, np.array([0.0, 0.5, 1.0, 3.0, 7.0]))
    assert (np.diff(lengths) < 0).all()


def test_a_tree_cut_at_half_its_height_or_above_does_not_come_to_the_ground() -> None:
    assert reach(10.0, 5.0) == reach(10.0, 6.0) == reach(10.0, 12.0) == reach(0.0, 1.0) == 0
    assert reach(-3.0, -2.0) == 0


def test_a_stem_slopes_from_its_cut_to_its_tip() -> None:
    assert stem_height_at(np.array([0, 5, 10, 12]), 1.2, 10.0).tolist() == pytest.approx([1.2, 0.6, 0, 0])
    assert stem_height_at(-1.0, 1.2, 10.0) == pytest.approx(1.2)
    assert stem_height_at(np.array([0.0, 1.0]), 1.2, 0.0).tolist() == [1.2, 0]


def test_a_stem_falls_where_it_is_laid() -> None:
    laid = stems(10.0, 20.0, np.array([0.0, 90.0, 180.0, 270.0]), 5.0)
    tips = shapely.get_coordinates(shapely.get_point(laid, -1))
    assert tips == pytest.approx(np.array([[10, 25], [15, 20], [10, 15], [5, 20]]))
    assert shapely.get_coordinates(shapely.get_point(laid, 0)) == pytest.approx(np.full((4, 2), [10, 20]))


def test_a_top_has_twelve_corners_one_of_them_exactly_the_tip() -> None:
    for bearing in (0.0, 17.3, 45.0, 200.0, 359.0):
        top = one_top(3.7, -8.1, bearing)
        corners = shapely.get_coordinates(top)
        tip = shapely.get_coordinates(stems(3.7, -8.1, bearing, reach(15.0, 0.9))[0])[1]
        assert len(corners) == 13 and top.is_valid and top.exterior.is_ccw
        assert (corners == tip).all(axis=1).sum() == 2  # the ring's first and last corner
        # a fallen stem ends in its top and enters it at the crown's lower end
        inside = stems(3.7, -8.1, bearing, reach(15.0, 0.9))[0].intersection(top)
        assert inside.length == pytest.approx(0.4 * 15.0)


def test_a_top_is_as_long_as_the_crown_and_as_wide() -> None:
    west, south, east, north = one_top(height=15.0, ratio=0.4, width=5.0).bounds
    assert (east - west, north - south) == pytest.approx((5.0, 6.0))
    far = float(reach(15.0, 0.9))
    assert (north, south) == pytest.approx((far, far - 6.0))


@given(heights, ratios, widths)
def test_a_top_covers_three_half_axes_and_its_corners_lie_on_the_ellipse(
    height: float, ratio: float, width: float
) -> None:
    far = float(reach(height, 0.9))
    a, b = min(ratio * height, far) / 2, width / 2
    top = one_top(height=height, ratio=ratio, width=width)
    # a regular twelve-sided figure in a circle of radius 1 covers 12/2 sin(30 deg) = 3
    assert top.area == pytest.approx(3 * a * b)
    corners = shapely.get_coordinates(top)
    assert (corners[:, 0] / b) ** 2 + ((corners[:, 1] - (far - a)) / a) ** 2 == pytest.approx(np.ones(13))


def test_a_crown_longer_than_the_reach_is_cut_to_it() -> None:
    top = one_top(height=4.0, ratio=0.9, width=2.0, cut=1.5)
    assert reach(4.0, 1.5) < 0.9 * 4.0
    assert top.bounds[1] == pytest.approx(0, abs=1e-12)
    assert top.bounds[3] == pytest.approx(float(reach(4.0, 1.5)))


@given(places, places, bearings, st.floats(-360, 360), heights, ratios, widths)
def test_turning_the_ground_turns_the_top(
    x: float, y: float, bearing: float, by: float, height: float, ratio: float, width: float
) -> None:
    top = one_top(x, y, bearing, height, ratio, width)
    turned = affinity.rotate(top, -by, origin=(0, 0))  # a bearing turns clockwise, rotate does not
    stump = affinity.rotate(shapely.Point(x, y), -by, origin=(0, 0))
    assert same(turned, one_top(stump.x, stump.y, bearing + by, height, ratio, width))


@given(places, places, places, places, bearings, heights, ratios, widths)
def test_shifting_the_ground_shifts_the_top(
    x: float, y: float, dx: float, dy: float, bearing: float, height: float, ratio: float, width: float
) -> None:
    top = one_top(x, y, bearing, height, ratio, width)
    assert same(affinity.translate(top, dx, dy), one_top(x + dx, y + dy, bearing, height, ratio, width))


@given(places, places, bearings, heights, ratios, widths)
def test_mirroring_the_ground_mirrors_the_top(
    x: float, y: float, bearing: float, height: float, ratio: float, width: float
) -> None:
    top = one_top(x, y, bearing, height, ratio, width)
    mirrored = affinity.scale(top, -1, 1, origin=(0, 0))
    assert same(mirrored, one_top(-x, y, -bearing, height, ratio, width))


def test_a_tree_without_size_is_no_error_and_bars_nothing() -> None:
    length = reach(np.array([0.0, 2.0, 15.0, 15.0]), 1.5)
    width = np.array([3.0, 3.0, 0.0, np.nan])
    covered = tops(1.0, 2.0, 90.0, length, np.array([0.0, 2.0, 15.0, 15.0]), 0.4, width)
    assert [top.wkt for top in covered] == ["POLYGON EMPTY"] * 4
    lying = stems(1.0, 2.0, 90.0, length)
    assert lying[0].length == lying[1].length == 0
    assert lying[2].length == pytest.approx(float(length[2]))
    whole = fallen(lying, covered)
    assert shapely.distance(whole[:2], shapely.Point(4, 6)).tolist() == [5, 5]
    assert shapely.is_empty(barriers(1.0, 2.0, 90.0, length, 1.5, covered)).all()
    assert stems(np.nan, 0.0, 0.0, 5.0)[0].is_empty


def test_a_tree_is_near_by_its_stem_or_by_its_top() -> None:
    far = float(reach(15.0, 0.9))
    lying = stems(0.0, 0.0, np.array([0.0, 0.0]), far)
    covered = tops(0.0, 0.0, np.array([0.0, 0.0]), far, 15.0, 0.4, np.array([5.0, 8.0]))
    trees = fallen(lying, covered)
    assert shapely.distance(trees, shapely.Point(2, 3)).tolist() == pytest.approx([2, 2])
    assert shapely.distance(trees, shapely.Point(10, far - 3)).tolist() == pytest.approx([7.5, 6])


@pytest.mark.parametrize("cut", [0.3, 2 * FOOT, 4 * FOOT, 6 * FOOT])
def test_at_the_usual_limits_a_bare_stem_bars_nothing(cut: float) -> None:
    far = reach(15.0, cut)
    covered = tops(0.0, 0.0, 40.0, far, 15.0, 0.4, 5.0)
    assert barriers(0.0, 0.0, 40.0, far, cut, covered)[0] is covered[0]


def test_a_stem_bars_where_it_is_too_high_to_step_over_and_too_low_to_walk_under() -> None:
    cut, far = 48 * INCH, 16.0
    covered = tops(0.0, 0.0, 0.0, far, 16.5, 0.2, 4.0)
    barrier = barriers(0.0, 0.0, 0.0, far, cut, covered, step_over=24 * INCH, walk_under=36 * INCH)[0]
    stem, top = barrier.geoms
    # the stem stands 36 in high a quarter of the way along, 24 in half way
    assert shapely.get_coordinates(stem) == pytest.approx(np.array([[0, 4.0], [0, 8.0]]))
    assert top.equals(covered[0])


def test_branches_that_hang_shut_the_way_under_a_stem() -> None:
    cut, far = 60 * INCH, 20.0
    covered = tops(0.0, 0.0, 90.0, far, 20.5, 0.2, 4.0)
    barrier = barriers(0.0, 0.0, 90.0, far, cut, covered, hanging=15 * INCH)[0]
    # from 45 in, a quarter along, to 30 in, half way
    assert shapely.get_coordinates(barrier.geoms[0]) == pytest.approx(np.array([[5.0, 0], [10.0, 0]]), abs=1e-12)
    low = barriers(0.0, 0.0, 90.0, far, 29 * INCH, covered, hanging=15 * INCH)[0]
    assert low.equals(covered[0])


def test_the_bare_stem_ends_where_its_crown_begins_and_starts_at_its_stump() -> None:
    far = 10.0
    covered = tops(0.0, 0.0, 0.0, far, 10.5, 0.6, 4.0)
    barrier = barriers(0.0, 0.0, 0.0, far, 1.0, covered, step_over=0.1, walk_under=2.0)[0]
    assert shapely.get_coordinates(barrier.geoms[0]) == pytest.approx(np.array([[0, 0], [0, far - 6.3]]))
    crownless = tops(0.0, 0.0, 0.0, far, 10.5, 0.6, 0.0)
    barrier = barriers(0.0, 0.0, 0.0, far, 1.0, crownless, step_over=0.1, walk_under=2.0)[0]
    assert barrier.geom_type == "LineString" and barrier.length == pytest.approx(9.0)


@given(st.floats(0.1, 3), st.floats(0, 1), st.floats(0, 1), st.floats(0, 1), ratios)
def test_every_place_of_the_bare_stem_is_barred_by_its_height_there(
    cut: float, over: float, under: float, hanging: float, ratio: float
) -> None:
    far = 15.0
    covered = tops(0.0, 0.0, 0.0, far, 16.0, ratio, 3.0)
    barrier = barriers(0.0, 0.0, 0.0, far, cut, covered, over, under, hanging)[0]
    for distance in np.linspace(0, far, 61):
        place = shapely.Point(0, distance)
        high = float(stem_height_at(distance, cut, far))
        limits = (over, under + hanging)
        if min(abs(high - limit) for limit in limits) < 1e-6 or covered[0].distance(place) < 1e-6:
            continue
        assert (barrier.distance(place) < 1e-9) == (over <= high <= under + hanging)


def test_ten_thousand_tops_are_one_row_of_corners() -> None:
    number = np.random.default_rng(7)
    x, y = number.uniform(0, 1000, (2, 10_000))
    bearing = number.uniform(0, 360, 10_000)
    far = reach(number.uniform(10, 20, 10_000), 0.9)
    covered = tops(x, y, bearing, far, 15.0, 0.4, 5.0)
    assert covered.shape == (10_000,) and shapely.is_valid(covered).all()
    assert shapely.get_num_coordinates(covered).tolist() == [13] * 10_000


def test_of_several_trees_each_bars_by_its_own_stem() -> None:
    cuts = np.array([48 * INCH, 1 * INCH])
    covered = tops(np.array([0.0, 50.0]), 0.0, 0.0, 16.0, 16.5, 0.2, 4.0)
    high, low = barriers(np.array([0.0, 50.0]), 0.0, 0.0, 16.0, cuts, covered, 24 * INCH, 36 * INCH)
    assert high.geom_type == "GeometryCollection" and low is covered[1]


def test_where_nothing_is_stepped_over_a_stem_on_the_ground_bars_to_its_crown() -> None:
    covered = tops(0.0, 0.0, 0.0, 16.0, 16.0, 0.25, 4.0)
    barrier = barriers(0.0, 0.0, 0.0, 16.0, 0.0, covered, step_over=0.0, walk_under=1.0)[0]
    assert barrier.geoms[0].length == pytest.approx(12)


def test_a_top_lies_in_the_plane() -> None:
    assert not one_top().has_z
