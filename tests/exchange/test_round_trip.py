"""What goes out comes back: the same things, under the same names, within a centimetre."""

from __future__ import annotations

from pathlib import Path

import pytest
from exchange.round_trip import GRAMMAR, anchored, farthest_moved, out_and_in, scene_of, things
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from habitatlint.exchange import forms
from habitatlint.exchange.exporting import contents, left_behind
from habitatlint.exchange.importing import into_new, into_plan
from habitatlint.units import TOLERANCE

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
#: planted with slips of the record: two things of one name, things that lie nowhere
PLANTED = "lesson-quarter"
SOUND = sorted(path for path in EXAMPLES.glob("*.habitat") if path.stem != PLANTED)


@pytest.mark.parametrize("path", SOUND, ids=[path.stem for path in SOUND])
def test_every_example_comes_back_to_the_centimetre(path: Path) -> None:
    before = scene_of(anchored(path.read_text(encoding="utf-8")), str(path))
    ending = list(forms.WRITTEN)[SOUND.index(path) % len(forms.WRITTEN)]
    after = out_and_in(before, ending)
    assert farthest_moved(before, after) <= TOLERANCE
    lost = things(before.plan).items() - things(after.plan).items()
    assert not [label for label, _ in lost if before.shape_of(_block(before, label)) is not None]
    assert things(after.plan).items() <= things(before.plan).items()
    assert after.plan.slips == () and len(after.trees) == len(before.trees)


def _block(scene, label):  # type: ignore[no-untyped-def]
    return next(block for block in scene.plan.blocks if block.label == label)


PLAN = """\
plan "Kitchen Sink"
  stage as-built
  date 2026-03-01
  units ft
  north magnetic
  anchor 41.8830N,91.2260W
  declination 2.5W
  hunted 11-07..01-18
  hunted 2026-09-15..2026-10-01
  leaf-out 05-10

boundary "Both parcels"
  outline 0,0 900,0 900,900 0,900
  outline 300,300 350,300 350,350 300,350
  outline 1200,0 1400,0 1400,200 1200,200
  accuracy 3

food clover "Clover & \\"rye\\""
  at 200,200
  radius 30
  kind plot
  crop "white clover"

pocket thicket
  outline 100,400 250,400 250,550 100,550
  for does
  bed 150,450 160,460
  bed 200,500
  corridors every 60 off clover width 3ft
  why "Cover."
  note "one"
  note "two"

path run
  line 60,560 60,380 \\
    400,380   # past it
  use travel
  width 2
  from thicket
  to clover

stand seat
  at run 40
  reach lane
  shoot N20E S
  winds NW N

path lane
  line from 600,0 then N10W 400 then W 100
  use entry

trees
  species red-maple
  dbh 6in..9in
  by crew-one

row hinges
  purpose bedding
  in thicket
  method hinge
  stumps beside run left 15 from 20 to 150
  spacing 20
  fall away from run
  cut-height 3ft

tree bad-one
  of hinges 2
  lean N20E 15deg

patch rough
  in thicket
  method fell
  density 20 per acre

opening gap
  at 120,420
  width 4
  toward run

task walk
  text "Walk it after leaf-out; open \\"dead ends\\"."
  outline around thicket 10

crew crew-one
  people 2
"""


@pytest.mark.parametrize("ending", forms.WRITTEN)
def test_who_drew_it_and_setbacks_come_back(ending: str) -> None:
    text = PLAN.replace(
        "\ncrew crew-one",
        """
setback strip
  from clover
  distance 35
  source "made up"
  forbids fell

crew crew-one""",
    ).replace("\n  anchor", '\n  drawn-by "A. \\"Tess\\" Tester"\n  anchor', 1)
    before = scene_of(text)
    after = out_and_in(before, ending)
    assert after.plan.slips == () and str(after.plan.head.drawn_by.value) == str(before.plan.head.drawn_by.value)  # type: ignore[union-attr]
    (strip,) = (block for block in after.plan.blocks if block.noun == "setback")
    assert strip.name == "strip" and after.plan.word(strip, "from") == "clover"
    assert strip.distance.value.size_in("yd") == pytest.approx(35 * 0.3048)
    (ground,) = (one for one in contents(before).features if one.folder == "setback")
    assert ground.shape.geom_type == "Polygon"
    assert left_behind(before) == ["crews"]


@pytest.mark.parametrize("ending", forms.WRITTEN)
def test_a_plan_of_every_way_of_writing_comes_back_as_it_was(ending: str) -> None:
    before = scene_of(PLAN)
    assert before.plan.slips == () and before.slips == []
    after = out_and_in(before, ending)
    assert farthest_moved(before, after) <= TOLERANCE
    text = after.plan.source.text
    for lines in (
        "  north magnetic\n  anchor 41.8830N,91.2260W\n  declination 2.5W\n  hunted 11-07..01-18\n  hunted 2026-09-15..2026-10-01",
        "  accuracy 3ft\n",
        'food clover "Clover & \\"rye\\""\n  at 200,200\n  radius 30ft\n',
        "  bed 150,450\n  bed 160,460\n  bed 200,500\n  corridors every 60ft off clover width 3ft\n",
        '  why "Cover."\n  note "one"\n  note "two"\n',
        "  width 2ft\n  from thicket\n  to clover\n",
        "  shoot N20E S\n",
        "  fall away from run\n",
        "tree bad-one\n  of hinges 2\n  lean N20E 15deg\n",
        "patch rough\n  method fell\n  density 20 per acre\n",
        "  width 4ft\n  toward run\n",
        '  text "Walk it after leaf-out; open \\"dead ends\\"."\n',
        "  # by crew-one\n",
    ):
        assert lines in text
    # what rows and trees share is written into each
    assert text.count("dbh 6in..9in") == 2
    parcels = before.property_
    assert parcels is not None and after.property_ is not None
    assert after.property_.symmetric_difference(parcels).area < 0.01 * parcels.length


@pytest.mark.parametrize("ending", forms.WRITTEN)
def test_the_same_plan_gives_the_same_bytes_and_its_import_adds_nothing(ending: str) -> None:
    scene = scene_of(PLAN)
    written = forms.WRITTEN[ending](contents(scene))
    assert written == forms.WRITTEN[ending](contents(scene_of(PLAN)))
    brought = into_plan(scene, [("a" + ending, forms.read("a" + ending, {ending: written.encode()}))], GRAMMAR)
    assert brought.text == "" and brought.added == 0 and brought.already == 11


def test_bearings_off_another_north_stand_as_comments() -> None:
    exported = forms.WRITTEN[".gpx"](contents(scene_of(PLAN))).encode()
    brought = into_plan(
        scene_of('plan "Other"\n  anchor 41.8830N,91.2260W\n'),
        [("a.gpx", forms.read("a.gpx", {".gpx": exported}))],
        GRAMMAR,
    )
    assert "# shoot N20E S\n" in brought.text and "# lean N20E 15deg" in brought.text
    assert "\n  fall away from run\n" in brought.text
    assert "  accuracy 3ft\n" in brought.text and "  outline 33.33,133.33 " in brought.text


NUMBERS = st.floats(-2000, 2000, allow_nan=False).map(lambda number: round(number, 3))
POINTS = st.lists(st.tuples(NUMBERS, NUMBERS), min_size=2, max_size=6, unique=True)
TITLES = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=12)


def written(points: list[tuple[float, float]]) -> str:
    return " ".join(f"{east},{north}" for east, north in points)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.floats(-70, 70), st.floats(-179, 179), st.sampled_from(["yd", "ft", "m"]), POINTS, st.tuples(NUMBERS, NUMBERS),
    st.floats(1, 300), TITLES, st.sampled_from(sorted(forms.WRITTEN)),
)  # fmt: skip
def test_anything_anywhere_comes_back_to_the_centimetre(
    latitude: float, longitude: float, units: str, line: list[tuple[float, float]], place: tuple[float, float],
    size: float, title: str, ending: str,
) -> None:  # fmt: skip
    anchor = (f"{abs(latitude):.5f}{'N' if latitude >= 0 else 'S'},"
              f"{abs(longitude):.5f}{'E' if longitude >= 0 else 'W'}")  # fmt: skip
    east, north = place
    side = round(size, 2)
    square = [(east, north), (round(east + side, 3), north), (east, round(north + side, 3))]
    quoted = " ".join(title.split()).replace("\\", "\\\\").replace('"', '\\"')
    text = (
        f'plan "Anywhere"\n  units {units}\n  anchor {anchor}\n\nfood plot-1 "{quoted}"\n  outline {written(square)}\n\n'
        f'path lane\n  line {written(line)}\n  use entry\n\nplace gate\n  at {written([place])}\n  note "{quoted}"\n'
    )
    before = scene_of(text)
    if before.slips or before.plan.slips:  # points on one line
        return
    after = out_and_in(before, ending)
    assert farthest_moved(before, after) <= TOLERANCE
    assert after.units == units and after.plan.head and after.plan.head.first("anchor") is not None
    assert [block.label for block in after.plan.blocks] == [block.label for block in before.plan.blocks]


def test_geometry_by_other_programs_is_kept_to_the_centimetre_where_nothing_is_thinned() -> None:
    outline = [[-93.4, 40.0], [-93.399123456, 40.000123456], [-93.3995, 40.0012], [-93.4, 40.0]]
    feature = {
        "type": "Feature",
        "properties": {"name": "Clover"},
        "geometry": {"type": "Polygon", "coordinates": [outline]},
    }
    import json

    from habitatlint.exchange.features import rings_of

    read = forms.read("a.geojson", {".geojson": json.dumps(feature).encode()})
    scene = scene_of(into_new([("a.geojson", read)], GRAMMAR, tolerance=0).text)
    again = contents(scene).features[0]
    assert again.properties["noun"] == "food"
    for one, other in zip(rings_of(read.features[0].shape)[0], rings_of(again.shape)[0], strict=True):
        assert abs(one - other).max() < 1e-7  # degrees: 1.1 cm of latitude
