"""Ground cut into triangles: proved each time, cut another way where the proof fails, and the same whichever way."""

from __future__ import annotations

import math

import mapbox_earcut
import numpy as np
import pytest
import shapely
from shapely.geometry import Point, box

from habitatlint.measures import triangles
from habitatlint.measures.free_ground import MARGIN, FreeGround, grown, grown_together, in_pieces
from habitatlint.measures.triangles import Triangles, even_triangles_of, triangles_of


def scattered(seed: int, number: int, side: float = 60.0) -> FreeGround:
    """Ground with boxes strewn over it, some turned and some set square to the ground's own sides."""
    rng = np.random.default_rng(seed)
    whole = box(0, 0, side, side).buffer(MARGIN, quad_segs=8)
    shapes = []
    for x, y, long, wide, turn in rng.uniform((0, 0, 4, 1, 0), (side, side, 14, 5, 180), (number, 5)):
        shape = box(round(x), round(y), round(x) + round(long), round(y) + math.ceil(wide))
        shapes.append(shape if turn < 60 else shapely.affinity.rotate(shape, turn))
    return FreeGround(in_pieces(whole.difference(grown(shapely.union_all(shapes), 0.45))), whole)


def outline_of(cut: Triangles) -> float:
    alone = cut.ends[cut.pairs[:, 1] < 0]
    return float(np.hypot(*(cut.places[alone[:, 0]] - cut.places[alone[:, 1]]).T).sum())


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("cut_by", [triangles_of, even_triangles_of])
def test_triangles_cover_the_ground_and_meet_side_to_side(cut_by, seed: int) -> None:  # type: ignore[no-untyped-def]
    ground = scattered(seed, 40).free
    cut = cut_by(shapely.get_parts(ground))
    shapes = shapely.polygons(cut.places[cut.corners])
    assert shapely.area(shapes).sum() == pytest.approx(ground.area)
    assert outline_of(cut) == pytest.approx(ground.length)
    assert shapely.union_all(shapes).symmetric_difference(ground).area < 1e-6


@pytest.mark.parametrize("seed", range(8))
def test_what_is_worked_out_does_not_hang_on_how_the_ground_is_cut(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    quick = scattered(seed, 40)
    even = FreeGround(quick.free, quick.whole)
    spots = [Point(x, y) for x, y in np.random.default_rng(seed).uniform(0, 60, (12, 2))]
    arcs = [quick.open_directions(spot, 10.0).tolist() for spot in spots]
    depths = quick.depths(10.0).depth
    monkeypatch.setattr("habitatlint.measures.free_ground.triangles_of", even_triangles_of)
    assert even.triangles.tolist() != quick.triangles.tolist()
    assert [even.open_directions(spot, 10.0).tolist() for spot in spots] == arcs
    assert np.array_equal(even.corners, quick.corners)  # in their order, by place
    assert even.depths(10.0).depth == pytest.approx(depths)
    assert sorted(piece.area for piece in even.sealed) == sorted(piece.area for piece in quick.sealed)


def test_a_straight_line_of_places_is_cut_without_dropping_one() -> None:
    comb = shapely.Polygon(
        [(0, 0), *((x, 0) for x in range(1, 12)), (12, 0), (12, 5), *((x, 5) for x in range(11, 0, -1)), (0, 5)]
    )
    cut = triangles_of(np.array([comb]))
    assert len(cut.places) == 26
    assert (cut.pairs[:, 1] < 0).sum() == 26


def test_pieces_that_touch_in_a_point_share_no_corner() -> None:
    cut = triangles_of(np.array([box(0, 0, 1, 1), box(1, 1, 2, 2)]))
    assert len(cut.places) == 8
    assert cut.piece.tolist() == [0, 0, 1, 1]


@pytest.mark.parametrize(
    "spoilt",
    [
        lambda cut: cut[:-3],  # a triangle is missing
        lambda cut: np.concatenate([cut, cut[:3]]),  # one is there twice
        lambda cut: np.concatenate([cut[:-3], cut[:3]]),  # one stands for another
        lambda cut: cut[:0],
    ],
)
def test_a_cut_that_is_not_the_ground_is_made_anew_by_geos(spoilt, monkeypatch: pytest.MonkeyPatch) -> None:  # type: ignore[no-untyped-def]
    ground = np.array([box(0, 0, 10, 10).difference(box(3, 3, 6, 6))])
    by_ears = mapbox_earcut.triangulate_float64
    made: list[int] = []

    def counted(*asked: object) -> Triangles:
        made.append(1)
        return by_geos(*asked)  # type: ignore[arg-type]

    by_geos = triangles._by_geos
    monkeypatch.setattr(triangles, "_by_geos", counted)
    assert len(triangles_of(ground).corners) == 8
    assert not made
    monkeypatch.setattr(mapbox_earcut, "triangulate_float64", lambda *asked: spoilt(by_ears(*asked)))
    cut = triangles_of(ground)
    assert made
    assert shapely.area(shapely.polygons(cut.places[cut.corners])).sum() == pytest.approx(91)


@pytest.mark.parametrize("x", range(100, 106))
def test_every_corner_of_the_ground_is_one_of_a_triangle(x: int) -> None:
    """Two squares of water side by side: where they meet is a corner on a straight line, which ears may leave out."""
    squares = shapely.union_all([box(x, 105, x + 1, 106), box(x + 1, 105, x + 2, 106)])
    whole = box(80, 80, 140, 130)
    ground = FreeGround(in_pieces(whole.difference(grown(squares, 0.45))), whole)
    assert set(ground.triangles.ravel().tolist()) == set(range(len(ground.corners)))
    assert np.isfinite(ground.depths(0.0).depth).all()


def test_a_cut_that_leaves_a_corner_out_is_made_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither area nor outline tells of a corner on a straight line that both its sides leave out."""
    ground = np.array([shapely.Polygon([(0, 0), (5, 0), (10, 0), (10, 10), (0, 10)])])
    monkeypatch.setattr(mapbox_earcut, "triangulate_float64", lambda *_: np.array([0, 2, 3, 0, 3, 4], np.uint32))
    cut = triangles_of(ground)
    assert (len(cut.corners), len(cut.places)) == (3, 5)


def test_where_the_margin_closes_round_a_yard_its_edge_is_rim_too() -> None:
    """A pocket round a yard with a mouth narrower than the margin: the ground that is looked at has a hole."""
    pocket = box(0, 0, 180, 180).difference(box(15, 15, 165, 165)).difference(box(80, 160, 100, 181))
    whole = pocket.buffer(MARGIN, quad_segs=8)
    assert shapely.get_num_interior_rings(whole) == 1
    ground = FreeGround(in_pieces(whole.difference(box(-30, 5, 20, 10))), whole)
    yard = Point(15 + MARGIN, 90)
    rim = shapely.linestrings(ground.corners[ground.sides[ground._rim]])
    assert shapely.distance(rim, yard).min() < 1
    assert ground.open_directions(Point(7, 90), 0.0).all()


def test_a_ring_of_ground_that_nothing_leads_out_of_is_one_piece() -> None:
    moat = box(20, 20, 40, 40).difference(box(25, 25, 35, 35))
    ground = FreeGround(shapely.multipolygons([moat, box(50, 0, 60, 60)]), box(0, 0, 60, 60))
    assert [piece.area for piece in ground.sealed] == [300]
    assert not ground.open_directions(Point(22, 22), 0.0).any()
    assert ground.open_directions(Point(55, 30), 0.0).any()


@pytest.mark.parametrize("spread", [100.0, 8.0])
def test_shapes_grow_together_as_they_grow_united(spread: float) -> None:
    places = np.random.default_rng(5).uniform(0, spread, (60, 2))
    shapes = shapely.buffer(shapely.points(places), 1.5, quad_segs=3)
    united = grown(shapely.union_all(shapes), 0.45)
    assert grown_together(shapes, 0.45).symmetric_difference(united).area < 1e-6
    assert grown_together(shapes[:0], 0.45).is_empty
