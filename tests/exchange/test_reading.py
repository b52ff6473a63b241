"""GPX, KML, KMZ and GeoJSON as others write them."""

from __future__ import annotations

import json
import zipfile
from io import BytesIO

import numpy as np
import pytest
from shapely.geometry import LineString, Point

from habitatlint.exchange import features, forms
from habitatlint.exchange.features import Contents


def read(name: str, text: str | bytes) -> Contents:
    ending = forms.ending_of(name)
    return forms.read(name, {ending: text.encode() if isinstance(text, str) else text})


def gpx(body: str, version: str = "1.1") -> Contents:
    space = f"http://www.topografix.com/GPX/{version.replace('.', '/')}"
    return read("walk.gpx", f'<?xml version="1.0"?><gpx version="{version}" creator="x" xmlns="{space}">{body}</gpx>')


def kml(body: str) -> Contents:
    return read("map.kml", f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{body}</Document></kml>')


def shown(contents: Contents) -> list[tuple[str, str, str, int]]:
    """Name, form, folder and number of points of each thing."""
    return [
        (one.name, one.form, one.folder, len(one.shape.__geo_interface__["coordinates"]) if one.form == "line" else 0)
        for one in contents.features
    ]


TRACK = "".join(
    f'<trkpt lat="40.{n}" lon="-93.4"><ele>200</ele><time>2026-02-01T10:0{n}:00Z</time></trkpt>' for n in range(5)
)


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_gpx_of_both_versions_has_waypoints_routes_and_tracks(version: str) -> None:
    contents = gpx(
        '<wpt lat="40.5" lon="-93.4"><ele>1</ele><name>Gate</name><desc>A &lt;wide&gt; one</desc><sym>Flag</sym></wpt>'
        '<rte><name>Way in</name><rtept lat="40" lon="-93"/><rtept lat="40.1" lon="-93"/></rte>'
        f"<trk><name>Creek</name><type>stream</type><trkseg>{TRACK}</trkseg></trk>",
        version,
    )
    assert shown(contents) == [("Gate", "point", "", 0), ("Way in", "line", "", 2), ("Creek", "line", "", 5)]
    gate, lane, creek = contents.features
    assert gate.shape == Point(-93.4, 40.5) and gate.kinds == ("Flag",) and gate.description == "A <wide> one"
    assert creek.kinds == ("stream",) and creek.walked and not lane.walked


def test_pieces_of_a_track_are_one_walk_unless_they_lie_apart() -> None:
    def segment(start: float) -> str:
        return "<trkseg>" + "".join(f'<trkpt lat="{start + n * 1e-4}" lon="-93.4"/>' for n in range(3)) + "</trkseg>"

    assert [one.form for one in gpx(f"<trk>{segment(40.0)}{segment(40.0003)}</trk>").features] == ["line"]
    apart = gpx(f"<trk><name>Two</name>{segment(40.0)}{segment(40.1)}</trk>")
    assert [one.name for one in apart.features] == ["Two", "Two"]
    assert apart.told == ("track 1 `Two` is 2 walks that do not meet: each comes in by itself",)


def test_a_track_of_one_point_is_a_point_and_one_of_none_is_told() -> None:
    contents = gpx('<trk><trkseg><trkpt lat="1" lon="2"/></trkseg></trk><trk><name>Empty</name></trk>')
    assert [one.shape for one in contents.features] == [Point(2, 1)]
    assert contents.told == ("track 2 `Empty` has no points, and is left out",)


def test_kml_with_folders_styles_and_many_geometries() -> None:
    contents = kml(
        "<name>The farm</name><Style id='s'><LineStyle><color>ff0000ff</color></LineStyle></Style>"
        "<Folder><name>Food</name><Folder><name>Plots</name><Placemark><name>Clover</name><styleUrl>#s</styleUrl>"
        "<description><![CDATA[<b>White</b> clover &amp; rye]]></description><Polygon><outerBoundaryIs><LinearRing>"
        "<coordinates>-93,40,0 -92.9,40,0 -92.9,40.1,0 -93,40,0</coordinates></LinearRing></outerBoundaryIs></Polygon>"
        "</Placemark></Folder></Folder>"
        "<Placemark><name>Both</name><MultiGeometry><Point><coordinates>-93, 40</coordinates></Point>"
        "<LineString><coordinates>\n-93,40 \n-93,41\n</coordinates></LineString></MultiGeometry></Placemark>"
        "<Placemark><name>Nowhere</name></Placemark><NetworkLink><Link><href>http://elsewhere/x.kml</href></Link></NetworkLink>"
    )
    assert contents.title == "The farm"
    assert shown(contents) == [("Clover", "area", "Plots", 0), ("Both", "point", "", 0), ("Both", "line", "", 2)]
    assert contents.features[0].description == "White clover & rye"
    assert contents.told == (
        "placemark 3 `Nowhere` has no place, and is left out",
        "1 link to another file passed over",
    )


def test_kml_tracks_and_data_of_a_schema() -> None:
    contents = kml(
        "<Placemark><ExtendedData><SchemaData schemaUrl='#a'><SimpleData name='kind'>gate</SimpleData></SchemaData>"
        "</ExtendedData><Point><coordinates>1,2,3</coordinates></Point></Placemark><Placemark>"
        "<gx:Track xmlns:gx='http://www.google.com/kml/ext/2.2'><when>2026-01-01</when><gx:coord>1 2 3</gx:coord>"
        "<gx:coord>1 2.1 3</gx:coord></gx:Track></Placemark>"
    )
    assert contents.features[0].kinds == ("gate",)
    assert contents.features[1].shape == LineString([(1, 2), (1, 2.1)]) and contents.features[1].walked


def test_a_kmz_is_read_in_memory() -> None:
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w") as file:
        file.writestr("files/icon.png", b"\x89PNG")
        file.writestr(
            "doc.kml",
            "<kml><Placemark><name>Gate</name><Point><coordinates>1,2</coordinates></Point></Placemark></kml>",
        )
    assert [one.name for one in read("map.kmz", packed.getvalue()).features] == ["Gate"]


@pytest.mark.parametrize(
    "whole",
    [
        {"type": "Point", "coordinates": [1, 2]},
        {"type": "Feature", "properties": None, "geometry": {"type": "Point", "coordinates": [1, 2, 300.5]}},
        {"type": "FeatureCollection", "features": [
            {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [1, 2]}}]},
        {"type": "GeometryCollection", "geometries": [{"type": "Point", "coordinates": [1, 2]}]},
        {"type": "MultiPoint", "coordinates": [[1, 2]]},
    ],
    ids=["bare geometry", "feature, three-dimensional", "collection", "geometry collection", "many points"],
)  # fmt: skip
def test_geojson_in_any_dress(whole: dict[str, object]) -> None:
    assert [one.shape for one in read("a.geojson", json.dumps(whole)).features] == [Point(1, 2)]


def test_geojson_outlines_are_read_either_way_round_with_their_holes() -> None:
    outer, hole = [[0, 0], [0, 4], [4, 4], [4, 0], [0, 0]], [[1, 1], [2, 1], [2, 2], [1, 2], [1, 1]]
    for ring in (outer, outer[::-1]):
        for inner in (hole, hole[::-1]):
            whole = {"type": "Polygon", "coordinates": [ring, inner]}
            (feature,) = read("a.geojson", json.dumps(whole)).features
            assert feature.shape.area == 15 and len(feature.shape.interiors) == 1


def test_a_null_geometry_is_told_by_its_name() -> None:
    whole = {"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {"Name": "Lost"}, "geometry": None},
        {"type": "Feature", "properties": {"NAME": "Gate"}, "geometry": {"type": "Point", "coordinates": [1, 2]}},
    ]}  # fmt: skip
    contents = read("a.geojson", "\ufeff" + json.dumps(whole))
    assert [one.name for one in contents.features] == ["Gate"]
    assert contents.told == ("1 feature without a place left out: feature 1 `Lost`",)


MULTI = """<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>Lane</name>
<ExtendedData><Data name="habitatlint:noun"><value>path</value></Data>
<Data name="habitatlint:name"><value>lane</value></Data><Data name="habitatlint:use"><value>entry</value></Data>
</ExtendedData><MultiGeometry>
<LineString><coordinates>-90.6200,43.7130 -90.6190,43.7130</coordinates></LineString>
<LineString><coordinates>-90.6190,43.7135 -90.6180,43.7135</coordinates></LineString></MultiGeometry></Placemark>
<Placemark><name>Nothing</name><LineString><coordinates/></LineString></Placemark></Document></kml>"""


def test_ways_of_one_placemark_come_in_one_by_one_and_what_gives_no_shape_is_told() -> None:
    found = forms.read("a.kml", {".kml": MULTI.encode()})
    assert [one.shape.geom_type for one in found.features] == ["LineString", "LineString"]
    assert any("placemark 2 `Nothing` has no place" in line for line in found.told)


def test_what_a_plan_works_out_does_not_count_toward_the_most_that_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(features, "MOST_FEATURES", 3)
    monkeypatch.setattr(features, "MOST_POINTS", 60)
    point = '{{"type":"Feature","properties":{{"{0}":"{1}"}},"geometry":{{"type":"Point","coordinates":[0,{2}]}}}}'
    trees = [point.format("derived", "trees", number / 1e4) for number in range(200)]
    signs = [point.format("noun", "sign", number / 1e4) for number in range(3)]
    text = '{"type":"FeatureCollection","features":[' + ",".join(trees + signs) + "]}"
    found = forms.read("a.geojson", {".geojson": text.encode()})
    assert len(found.features) == 3 and "200 things passed over that a plan works out itself" in found.told[0]
    with pytest.raises(features.ExchangeTrouble, match="more than 3 things"):
        forms.read("a.geojson", {".geojson": text.replace('"derived":"trees"', '"noun":"sign"').encode()})


def test_an_area_with_two_thousand_holes_is_read_at_once_and_with_more_refused() -> None:
    from time import perf_counter

    def square(east: float, north: float, side: float) -> features.FloatArray:
        corners = [(east, north), (east + side, north), (east + side, north + side), (east, north + side)]
        return np.array(corners, dtype=float)

    holes = [square(1 + 2 * (n % 50), 1 + 2 * (n // 50), 1) for n in range(1998)]
    began = perf_counter()
    area = features.area_of([square(0, 0, 200), *holes, square(1.2, 1.2, 0.5)])
    assert perf_counter() - began < 5
    assert area is not None and area.area == pytest.approx(200 * 200 - 1998 + 0.25)
    with pytest.raises(features.ExchangeTrouble, match="more than 2000 rings"):
        features.area_of([square(0, 0, 200), *holes, *holes])


def test_words_with_many_open_brackets_are_read_at_once() -> None:
    from time import perf_counter

    text = MULTI.replace("<name>Nothing</name>", f"<name>Gate</name><description>{'&lt;' * 20000}</description>")
    began = perf_counter()
    forms.read("a.kml", {".kml": text.encode()})
    assert perf_counter() - began < 1
