"""What is broken, hostile or somebody else's ends in one line with a remedy, or in what is told; never in a traceback."""

from __future__ import annotations

import json
import zipfile
from io import BytesIO

import pytest
from exchange.round_trip import GRAMMAR, scene_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from habitatlint.exchange import forms
from habitatlint.exchange.features import LARGEST_FILE, ExchangeTrouble
from habitatlint.exchange.importing import Brought, into_new

GPX = '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
ENDINGS = (".gpx", ".kml", ".kmz", ".geojson")


def brought(name: str, text: str | bytes) -> Brought:
    data = text.encode() if isinstance(text, str) else text
    return into_new([(name, forms.read(name, {forms.ending_of(name): data}))], GRAMMAR)


def trouble(name: str, text: str | bytes) -> str:
    with pytest.raises(ExchangeTrouble) as raised:
        brought(name, text)
    said = str(raised.value)
    assert "\n" not in said
    return said


def test_an_external_entity_is_refused_and_nothing_of_it_read() -> None:
    said = trouble(
        "map.kml",
        '<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
        "<kml><Placemark><name>&x;</name><Point><coordinates>1,2</coordinates></Point></Placemark></kml>",
    )
    assert said.startswith("has a DOCTYPE or entities") and "save it anew without" in said


def test_entities_that_swell_are_refused_at_once() -> None:
    bomb = '<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">' + "".join(
        f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(9)
    )
    assert "DOCTYPE" in trouble("walk.gpx", f"{bomb}]>{GPX}<wpt lat='1' lon='2'><name>&j;</name></wpt></gpx>")


def test_xml_that_nests_without_end_is_refused() -> None:
    assert "nest deeper than 60" in trouble("walk.gpx", GPX + "<extensions>" * 5000)


def test_json_that_nests_without_end_is_refused() -> None:
    assert "nests too deeply" in trouble("a.geojson", "[" * 200_000)
    deep: dict[str, object] = {"type": "Point", "coordinates": [1, 2]}
    for _ in range(60):
        deep = {"type": "GeometryCollection", "geometries": [deep]}
    assert "nest deeper than 20" in trouble("a.geojson", json.dumps(deep))


def test_a_file_of_200_mb_is_refused_by_its_size_and_told_what_to_do() -> None:
    held = bytes(LARGEST_FILE + 1)  # as much of it as is ever read
    assert trouble("walk.gpx", held) == (
        "larger than 32 MB; cut it down to the property first, or save the tracks one by one"
    )


def test_a_kmz_that_unpacks_to_more_than_a_file_may_be_is_refused() -> None:
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("doc.kml", b" " * (LARGEST_FILE + 10))
    assert len(packed.getvalue()) < 100_000
    assert "larger than 32 MB unpacked" in trouble("map.kmz", packed.getvalue())


def test_points_that_are_nowhere_are_left_out_and_counted_with_their_place() -> None:
    points = "".join(f'<trkpt lat="{40 + n / 1e4}" lon="-93.4"/>' for n in range(10))
    text = (
        f'{GPX}<wpt lat="NaN" lon="-93.4"><name>Gate</name></wpt><wpt lat="91" lon="0"/><wpt lon="3"/><trk><name>Lane</name>'
        f'<trkseg>{points}<trkpt lat="40" lon="inf"/><trkpt lat="" lon="1e999"/></trkseg></trk></gpx>'
    )
    made = brought("walk.gpx", text)
    assert made.told[0] == (
        "5 points left out, without a place on the earth: waypoint 1 `Gate`, waypoint 2, waypoint 3, "
        "point 11 of track 1 `Lane`, point 12 of track 1 `Lane`"
    )
    assert "path lane" in made.text


def test_two_thousand_points_a_track_without_names_are_thinned_and_named_by_what_they_are() -> None:
    points = "".join(f'<trkpt lat="{40 + n / 1e6:.7f}" lon="{-93.4 + (n % 3) * 1e-6:.7f}"/>' for n in range(2000))
    track = f"<trk><trkseg>{points}</trkseg></trk>"
    made = brought("walk.gpx", f'{GPX}{track}{track}<wpt lat="40" lon="-93.4"/></gpx>')
    assert "4001 points thinned to 5, each within 3 yd" in made.told
    assert made.text.count("\ntask task-") == 2 and "place place-1" in made.text


def test_the_same_name_forty_times_gives_forty_names_in_order() -> None:
    points = "".join(f'<wpt lat="{40 + n / 1e5}" lon="-93.4"><name>Gate</name></wpt>' for n in range(40))
    scene = scene_of(brought("walk.gpx", f"{GPX}{points}</gpx>").text)
    assert [block.name for block in scene.plan.blocks[1:]] == ["gate", *(f"gate-{n}" for n in range(2, 41))]
    assert scene.plan.slips == ()


def test_a_fix_at_nought_nought_does_not_move_the_anchor() -> None:
    points = "".join(f'<wpt lat="{40 + n / 1e4}" lon="-93.4"><name>Gate</name></wpt>' for n in range(5))
    made = brought("walk.gpx", f'{GPX}{points}<wpt lat="0" lon="0"><name>No fix</name></wpt></gpx>')
    assert "anchor 40N,93.4W" in made.text
    assert [line for line in made.told if "1 thing not placed" in line and "waypoint 6 `No fix`" in line]


def test_words_of_a_file_cannot_steer_a_terminal_or_break_out_of_their_quotes() -> None:
    name = 'a" \\ \x9b31m \u202e evil\u2028pocket x'
    made = brought("a.geojson", json.dumps({"type": "Feature", "properties": {"name": name, "desc": "\\"},
                                            "geometry": {"type": "Point", "coordinates": [1, 2]}}))  # fmt: skip
    scene = scene_of(made.text)
    assert not any(ord(letter) < 32 and letter != "\n" for letter in made.text)
    assert "\x9b" not in made.text and "\u202e" not in made.text
    assert scene.plan.slips == () and [block.noun for block in scene.plan.blocks] == ["plan", "place"]
    assert scene.plan.blocks[1].title == 'a" \\ 31m evil pocket x'


def test_properties_that_are_not_of_the_language_stand_as_comments_and_are_told() -> None:
    properties = {"noun": "path", "name": "lane", "use": "entry", "width": "12 thick\\", "why": "x\ny", "fid": 7,
                  "step": "1\n  use exit", "by": "nobody"}  # fmt: skip
    line = {"type": "LineString", "coordinates": [[1, 2], [1, 2.001]]}
    made = brought("a.geojson", json.dumps({"type": "Feature", "properties": properties, "geometry": line}))
    block = scene_of(made.text).plan.blocks[1]
    assert block.label == "path lane" and scene_of(made.text).plan.slips == ()
    assert sorted(statement.word for statement in block.parsed.statements) == ["line", "step", "use", "why"]
    for comment in ("# width 12 thick", '# why "y"', "# step use exit", "# by nobody"):
        assert comment in made.text
    assert "no properties of their blocks, and passed over: `fid`" in made.told


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("walk.gpx", "", "no whole XML"),
        ("walk.gpx", "not xml", ":1 cannot be read: no whole XML"),
        ("walk.gpx", "<kml/>", "no GPX: it begins with `kml`; give it its own ending"),
        ("walk.gpx", f"{GPX}</gpx>", "nothing in it has a place"),
        ("walk.gpx", f'{GPX}<wpt lat="1" lon="2">', "no whole XML"),
        ("map.kml", "<gpx/>", "no KML: it begins with `gpx`"),
        ("map.kmz", "PK\x03\x04 broken", "no KMZ that can be unpacked"),
        ("a.geojson", "{", ":1 cannot be read: no whole JSON"),
        ("a.geojson", "[1, 2]", "no GeoJSON: it has no `type`"),
        ("a.geojson", b"\xff\xfe{", "not UTF-8 text (byte 0)"),
        ("a.geojson", '{"type": "Topology"}', "nothing in it has a place"),
        (
            "a.geojson",
            '{"type": "FeatureCollection", "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26915"}}, "features": []}',
            "save it in WGS 84 degrees",
        ),
        (
            "a.geojson",
            '{"type": "Point", "coordinates": [470000.5, 4612000.0]}',
            "1 point left out, without a place on the earth: feature 1; they look like metres of a map grid: save it in WGS 84 degrees",
        ),
        ("walk.csv", "lat,lon", "it is not known what this is; end it in .gpx, .kml, .kmz or .geojson"),
    ],
)
def test_each_trouble_is_one_line_that_says_what_to_do(name: str, text: str | bytes, said: str) -> None:
    assert said in trouble(name, text)


SOUND = {
    ".gpx": f'{GPX}<wpt lat="1" lon="2"><name>Gate</name></wpt><trk><trkseg><trkpt lat="1" lon="2"/><trkpt lat="1.01" lon="2"/></trkseg></trk></gpx>'.encode(),
    ".kml": b"<kml><Document><Placemark><name>A</name><Point><coordinates>1,2</coordinates></Point></Placemark></Document></kml>",
    ".geojson": b'{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"name": "A"}, "geometry": {"type": "Polygon", "coordinates": [[[0, 0], [0.01, 0], [0, 0.01], [0, 0]]]}}]}',
}


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(ENDINGS), st.binary(max_size=300))
def test_random_bytes_are_read_or_refused(ending: str, data: bytes) -> None:
    try:
        brought(f"x{ending}", data)
    except ExchangeTrouble as error:
        assert "\n" not in str(error) and len(str(error)) < 400


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(sorted(SOUND)), st.data())
def test_sound_files_with_a_few_bytes_wrong_are_read_or_refused(ending: str, data: st.DataObject) -> None:
    whole = bytearray(SOUND[ending])
    for _ in range(data.draw(st.integers(0, 4))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    cut = bytes(whole[: data.draw(st.integers(0, len(whole)))])
    try:
        made = brought(f"x{ending}", cut)
    except ExchangeTrouble as error:
        assert "\n" not in str(error)
    else:
        assert scene_of(made.text).plan.blocks[0].noun == "plan"


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5)
    | st.sampled_from(["Point", "LineString", "Polygon", "MultiPolygon", "Feature", "GeometryCollection"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(
        st.sampled_from(["type", "coordinates", "geometry", "geometries", "features", "properties", "noun", "name", "crs"]),
        inner, max_size=5,
    ),
    max_leaves=12,
)  # fmt: skip


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_JSON)
def test_json_of_any_shape_is_read_or_refused(whole: object) -> None:
    try:
        brought("x.geojson", json.dumps(whole))
    except ExchangeTrouble as error:
        assert "\n" not in str(error)
