"""Direct sun on plots and floors: worked out a second way, and by what must hold of any woods."""

from __future__ import annotations

import sys
from collections.abc import Callable
from time import perf_counter

import numpy as np
import pytest
import shapely

from habitatlint.check import Report
from habitatlint.ground.columns import Column
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import read_plan
from habitatlint.measures import every_measure
from habitatlint.measures.light import Rays, Shade, day_hours, hours_of_sun, sun_track, sun_with_edge_cut
from habitatlint.measures.vocabulary import Measured, Rows
from habitatlint.review import Review
from habitatlint.source import Source
from habitatlint.units import FOOT

ReportOf = Callable[..., Report]

HEAD = 'plan "Light"\n  units yd\n  anchor 43.7120N,90.6210W\n'
PLOT = "food clover\n  outline 180,180 220,180 220,220 180,220\n"
WOODS = "timber woods\n  outline 0,0 400,0 400,400 0,400\n  height 70ft\n"


def asked(scene: Scene, plural: str = "foods", month: int = 6, enough: float = 24.0) -> Measured:
    ground = scene.table(plural).column("shape")
    full = np.full(len(ground), 1.0)
    return hours_of_sun(scene, ground, Column("number", full * month), Column("duration", full * enough))  # type: ignore[return-value]


def hours(report: Report, plural: str = "foods", month: int = 6) -> float:
    found = asked(report.scene, plural, month).value
    assert found.mask[0], found.why
    return float(found.values[0])


def edge(report: Report) -> Measured:
    return sun_with_edge_cut(report.scene, Rows("foods", np.array([0])), Column("number", np.array([6.0])))  # type: ignore[return-value]


def told(report: Report) -> list[str]:
    return [finding.rule.split("/")[1] for finding in report.findings]


def not_judged(report: Report) -> str:
    found = [str(fact.value) for f in report.findings if f.rule == "record/not-judged" for fact in f.facts.values()]
    return " ".join(found) if any("plot-shaded" in one for one in found) else ""


# -- a second way --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("latitude", [30.0, 43.7, 50.0])
@pytest.mark.parametrize("month", [1, 4, 6, 9])
@pytest.mark.parametrize(("bearing", "away"), [(180, 10.0), (180, 40.0), (90, 15.0), (270, 15.0), (0, 5.0)])
def test_a_long_wall_shades_as_the_angle_to_its_top_says(
    latitude: float, month: int, bearing: float, away: float
) -> None:
    # a wall on one side, square to a bearing: the ray is over it where tan(altitude) d > H cos(turn from the bearing)
    tall, far = 21.0, 1e5
    track = sun_track(latitude, month)
    turn = np.radians(track[:, 1] - bearing)
    free = np.tan(np.radians(track[:, 0])) * away > tall * np.cos(turn)
    angle = np.radians(bearing)
    ahead, aside = np.array([np.sin(angle), np.cos(angle)]), np.array([np.cos(angle), -np.sin(angle)])
    corners = [ahead * a + aside * b for a, b in ((away, -far), (far, -far), (far, far), (away, far))]
    rays = Rays(np.zeros((1, 2)), track)
    found = rays.hours(rays.light([Shade(shapely.Polygon(corners), tall, 0.0)]))
    # the long wall has ends, and the sun at its very end may fall either way
    assert found == pytest.approx(free.sum() * 0.25, abs=0.26)


def test_in_a_round_clearing_the_sun_counts_from_the_height_of_the_trees() -> None:
    # 60-ft trees 90 ft off all round stand 33.7 degrees high
    ring = shapely.Point(0, 0).buffer(1000).difference(shapely.Point(0, 0).buffer(90 * FOOT, quad_segs=90))
    track = sun_track(43.7, 6)
    rays = Rays(np.zeros((1, 2)), track)
    over = (track[:, 0] > np.degrees(np.arctan(60 / 90))).sum() * 0.25
    assert rays.hours(rays.light([Shade(ring, 60 * FOOT, 0.0)])) == pytest.approx(over, abs=0.26)


# -- what must hold ------------------------------------------------------------------------------------------


def test_a_plot_without_timber_has_the_whole_day(report_of: ReportOf) -> None:
    assert hours(report_of(HEAD + PLOT)) == pytest.approx(day_hours(43.712, 6)) == pytest.approx(14.1, abs=0.3)
    # trees 70 ft tall reach 800 ft at most, while the sun is 5 degrees up
    far = WOODS.replace("0,0 400,0 400,400 0,400", "490,0 800,0 800,400 490,400")
    assert hours(report_of(HEAD + PLOT + far)) == pytest.approx(day_hours(43.712, 6))


def test_a_plot_drawn_in_woods_is_no_woods(report_of: ReportOf) -> None:
    around = WOODS.replace("0,0 400,0 400,400 0,400", "0,0 400,0 400,180 0,180")
    assert 3 < hours(report_of(HEAD + PLOT + WOODS)) < hours(report_of(HEAD + PLOT + around)) < 14
    # browse grows under the trees
    assert hours(report_of(HEAD + PLOT + "  kind browse\n" + WOODS)) == 0


def test_taller_trees_give_less_sun(report_of: ReportOf) -> None:
    found = [hours(report_of(HEAD + PLOT + WOODS.replace("70ft", f"{tall}ft"))) for tall in (10, 30, 50, 70, 90, 120)]
    assert found == sorted(found, reverse=True) and len(set(found)) == 6


def test_summer_has_more_sun_than_winter(report_of: ReportOf) -> None:
    report = report_of(HEAD + PLOT + WOODS)
    found = [hours(report, month=month) for month in (12, 2, 4, 6)]
    assert found == sorted(found) and found[0] < 0.5


def test_woods_to_the_east_take_the_morning_and_those_to_the_west_the_evening(report_of: ReportOf) -> None:
    sides = {
        "east": "220,0 400,0 400,400 220,400",
        "west": "0,0 180,0 180,400 0,400",
        "south": "0,0 400,0 400,180 0,180",
        "north": "0,220 400,220 400,400 0,400",
    }
    found = {
        side: hours(report_of(HEAD + PLOT + f"timber woods\n  outline {line}\n  height 70ft\n"))
        for side, line in sides.items()
    }
    assert found["east"] == pytest.approx(found["west"], abs=0.3)
    # the June sun rises and sets north of east and west, and stands high in the south
    assert found["east"] < found["south"] and found["east"] < found["north"]


RELEASE = "release canopy\n  outline 0,0 400,0 400,400 0,400\n  basal-area 100 to {left} sqft/ac\n  method fell\n"


def test_a_release_lets_through_the_share_it_takes(report_of: ReportOf) -> None:
    pocket = "pocket thicket\n  outline 60,60 100,60 100,100 60,100\n"
    whole = len(sun_track(43.71, 6)) * 0.25
    for left, share in ((100, 0.0), (60, 0.4), (20, 0.8)):
        report = report_of(HEAD + WOODS + pocket + RELEASE.format(left=left))
        assert hours(report, "pockets") == pytest.approx(whole * share, rel=1e-6)
        before = asked(report.scene, "pockets").parts["before"](np.array([0]))
        assert before.values[0] == 0
    cleared = report_of(HEAD + WOODS + pocket + RELEASE.format(left=0))
    assert hours(cleared, "pockets") == pytest.approx(whole, abs=0.3)
    assert asked(cleared.scene, "pockets").parts["open"](np.array([0])).values[0] == pytest.approx(whole, abs=0.3)


def test_of_two_releases_on_one_ground_that_which_opens_more_counts(report_of: ReportOf) -> None:
    both = RELEASE.format(left=60) + RELEASE.format(left=20).replace("canopy", "again")
    one = RELEASE.format(left=20)
    assert hours(report_of(HEAD + PLOT + WOODS + both)) == pytest.approx(hours(report_of(HEAD + PLOT + WOODS + one)))


PATCH = "patch feathered\n  purpose {purpose}\n  method {method}\n  outline 140,140 260,140 260,260 140,260\n  density 100 per acre\n"


def test_only_edge_cuts_open_the_edge(report_of: ReportOf) -> None:
    closed = hours(report_of(HEAD + PLOT + WOODS))
    for purpose, method, opens in (("edge", "fell", True), ("edge", "girdle", True), ("edge", "leave", False),
                                   ("bedding", "hinge", False)):  # fmt: skip
        report = report_of(HEAD + PLOT + WOODS + PATCH.format(purpose=purpose, method=method))
        assert (hours(report) > closed + 1) is opens
        assert hours(report) >= closed


def test_a_row_of_edge_opens_a_crowns_width(report_of: ReportOf) -> None:
    row = "row feathered\n  purpose edge\n  method fell\n  stumps 180,176 220,176\n  spacing 4\n  fall S\n  crown-width {wide}ft\n"
    found = [hours(report_of(HEAD + PLOT + WOODS + row.format(wide=wide))) for wide in (1, 12, 24)]
    assert found == sorted(found) and found[0] < found[2]


def test_an_as_built_counts_what_is_done(report_of: ReportOf) -> None:
    head = HEAD + "  stage as-built\n"
    patch = PATCH.format(purpose="edge", method="fell")
    closed = hours(report_of(head + PLOT + WOODS))
    assert hours(report_of(head + PLOT + WOODS + patch)) == pytest.approx(closed)
    done = report_of(head + PLOT + WOODS + patch + "  done 2026-01-10\n")
    assert hours(done) > closed + 1
    assert asked(done.scene).parts["before"](np.array([0])).values[0] == pytest.approx(hours(done))


# -- what is not known ---------------------------------------------------------------------------------------


def test_without_an_anchor_it_is_told_but_only_where_it_matters(report_of: ReportOf) -> None:
    unplaced = report_of(PLOT + WOODS)
    assert "anchor" in not_judged(unplaced) and "plot-shaded" not in told(unplaced)
    # woods on one side leave sun enough at any latitude
    aside = WOODS.replace("0,0 400,0 400,400 0,400", "0,0 400,0 400,170 0,170")
    for text in (PLOT, PLOT + aside, PLOT.replace("clover\n", "clover\n  kind mast\n") + WOODS, WOODS):
        assert not not_judged(report_of(text)) and "plot-shaded" not in told(report_of(text))


def test_timber_of_no_known_height_is_told_but_only_where_it_matters(report_of: ReportOf) -> None:
    bare = WOODS.replace("  height 70ft\n", "")
    assert "`height`" in not_judged(report_of(HEAD + PLOT + bare))
    aside = bare.replace("0,0 400,0 400,400 0,400", "0,0 400,0 400,170 0,170")
    assert not not_judged(report_of(HEAD + PLOT + aside))
    # a class or a DBH tells it, and it is an estimate
    for line in ("  class 12in..22in 60 sqft/ac\n", "  dbh 8in..14in\n"):
        report = report_of(HEAD + PLOT + bare + line)
        assert "plot-shaded" in told(report) and not not_judged(report)
        found = next(f for f in report.findings if f.rule == "layout/plot-shaded")
        assert found.measured is not None and found.measured.estimated


def test_a_release_that_does_not_say_what_it_takes_is_told(report_of: ReportOf) -> None:
    silent = "release canopy\n  outline 140,140 260,140 260,260 140,260\n  method fell\n"
    assert "basal-area" in not_judged(report_of(HEAD + PLOT + WOODS + silent))


def test_without_the_library_it_is_not_judged(report_of: ReportOf, monkeypatch: pytest.MonkeyPatch) -> None:
    sun_track.cache_clear()
    monkeypatch.setitem(sys.modules, "ephem", None)
    report = report_of(HEAD + PLOT + WOODS)
    assert "ephem" in not_judged(report) and "plot-shaded" not in told(report)


def test_plans_without_plots_or_timber_are_told_nothing(report_of: ReportOf) -> None:
    for text in ("", HEAD, HEAD + PLOT, HEAD + WOODS, PATCH.format(purpose="edge", method="fell")):
        report = report_of(text)
        assert "plot-shaded" not in told(report) and not not_judged(report)


# -- what an edge cut would gain -----------------------------------------------------------------------------


def test_an_edge_cut_is_as_deep_as_the_sheet_asks_and_gains_on_the_shaded_side(report_of: ReportOf) -> None:
    east = "timber woods\n  outline 220,0 400,0 400,400 220,400\n  height 60ft\n"
    report = report_of(HEAD + PLOT + east)
    found = edge(report)
    row = np.array([0])
    assert found.parts["depth"](row).values[0] == pytest.approx(90 * FOOT)
    assert found.parts["side"](row).values[0] == "east"
    assert found.parts["one-side"](row).values[0] == pytest.approx(found.value.values[0], abs=0.5)
    assert found.value.values[0] > hours(report) + 1


def test_the_deepest_is_for_the_tallest_timber_that_stands_so_near(report_of: ReportOf) -> None:
    near = "timber low\n  outline 220,180 240,180 240,220 220,220\n  height 20ft\n"
    tall = "timber tall\n  outline {x},0 400,0 400,400 {x},400\n  height 80ft\n"
    for x, feet in ((255, 120), (265, 50)):
        found = edge(report_of(HEAD + PLOT + near + tall.format(x=x)))
        assert found.parts["depth"](np.array([0])).values[0] == pytest.approx(feet * FOOT)


def test_what_is_not_the_owners_is_not_cut(report_of: ReportOf) -> None:
    offsite = report_of(HEAD + PLOT + WOODS + "  offsite yes\n")
    found = edge(offsite)
    assert found.value.values[0] == pytest.approx(hours(offsite)) and found.parts["depth"](np.array([0])).values[0] == 0
    line = "boundary\n  outline 175,175 225,175 225,225 175,225\n"
    assert (
        edge(report_of(HEAD + PLOT + WOODS + line)).value.values[0]
        < edge(report_of(HEAD + PLOT + WOODS)).value.values[0]
    )


def test_an_edge_cut_never_takes_sun(report_of: ReportOf) -> None:
    for side in (10, 20, 35):
        corners = (
            f"{200 - side},{190 - side} {200 + side},{190 - side} {200 + side},{190 + side} {200 - side},{190 + side}"
        )
        report = report_of(HEAD + f"food clover\n  outline {corners}\n" + WOODS + RELEASE.format(left=70))
        found = edge(report)
        one_side = found.parts["one-side"](np.array([0])).values[0]
        assert hours(report) <= one_side <= found.value.values[0] <= 15


def test_six_plots_and_ten_timbers_are_quick(review: Review) -> None:
    parts = [HEAD]
    for number in range(6):
        x = number * 150 + 100
        parts.append(f"food f{number}\n  outline {x},100 {x + 40},100 {x + 40},140 {x},140\n")
    for number in range(10):
        angle = np.linspace(0, 2 * np.pi, 41)[:-1]
        ring = " ".join(f"{number * 100 + 50 + 50 * np.cos(a):.1f},{120 + 110 * np.sin(a):.1f}" for a in angle)
        parts.append(f"timber w{number}\n  outline {ring}\n  height 70ft\n")
    scene = Scene(read_plan(Source("plan", "".join(parts)), review.plan_grammar, fragment=True))
    every_measure().attach(scene)
    sun_track(43.71, 6)
    start = perf_counter()
    found = asked(scene)
    assert perf_counter() - start < 0.5  # some 0.06 s
    assert found.value.mask.all()


def test_what_no_ray_can_meet_is_not_looked_at_and_what_is_cut_down_shades_alike(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rays = Rays(np.zeros((1, 2)), sun_track(43.0, 6))
    # woods of 20 m that ring the place and go on for a kilometre, of many corners; and others a kilometre off
    woods = shapely.Point(0, 0).buffer(1000, quad_segs=64).difference(shapely.Point(0, 0).buffer(20, quad_segs=64))
    far = [Shade(shapely.box(1000 + east, 0, 1010 + east, 10), 20.0, 0.0) for east in range(0, 200, 20)]
    alone = np.where(shapely.intersects(woods, rays.over(20.0)), 0.0, 1.0)
    looked: list[object] = []
    intersects = shapely.intersects

    def noted(ground: object, lines: object) -> object:
        looked.append(ground)
        return intersects(ground, lines)

    monkeypatch.setattr(shapely, "intersects", noted)
    light = rays.light([Shade(woods, 20.0, 0.0), *far])
    assert (light == alone).all() and 0 < light.sum() < len(light)
    assert len(looked) == 1
