"""What is exported, read by libraries of others: GDAL (by pyogrio), gpxpy and fastkml; areas against the geodesic area of
PROJ (pyproj.Geod) on GDAL's reading.

KML is held to OGC 07-147r2 by the schema that fastkml carries (ogckml22.xsd). No package at hand carries gpx.xsd, so
GPX 1.1 is held to the order of elements that its schema documentation gives (topografix.com/GPX/1/1, wptType, trkType,
metadataType; from memory), and read by both libraries. GeoJSON is held to what RFC 7946 (2016) asks: sections 3.1.1
(longitude first), 3.1.6 (right-hand rule, closed rings), 4 (WGS 84, no `crs`).
"""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import shapely
from exchange.round_trip import GRAMMAR, anchored, scene_of
from pyproj import Geod
from real_parts import missing

from habitatlint.exchange import forms
from habitatlint.exchange.exporting import Told, contents
from habitatlint.exchange.importing import into_new
from habitatlint.ground.scene import Scene

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
FINDINGS = (Told(1, "error", "an error <&> of some kind", "escape/closed-v", "12", (100.0, 50.0)),)


@pytest.fixture(scope="module")
def scene() -> Scene:
    path = EXAMPLES / "sallow-fork.habitat"
    return scene_of(anchored(path.read_text(encoding="utf-8")), str(path))


@pytest.fixture(scope="module")
def written(scene: Scene) -> dict[str, str]:
    exported = contents(scene, FINDINGS)
    return {ending: write(exported) for ending, write in forms.WRITTEN.items()}


def gdal() -> Any:
    try:
        import pyogrio
    except ImportError:
        missing("pyogrio")
    return pyogrio


def layers(text: str) -> dict[str, list[Any]]:
    """Every layer as GDAL reads it: the shapes of each."""
    pyogrio = gdal()
    found = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # GDAL takes `112 to 48 sqft/ac` for a number at first
        for number, (layer, _) in enumerate(pyogrio.list_layers(text.encode())):
            _, _, shapes, _ = pyogrio.raw.read(text.encode(), layer=number, force_2d=True)
            found[str(layer)] = list(shapely.from_wkb(shapes))
    return found


def geodesic_acres(shape: Any) -> float:
    area, _ = Geod(ellps="WGS84").geometry_area_perimeter(shape)
    return abs(float(area)) / 4046.8564224


def test_gdal_reads_every_thing_of_every_form(scene: Scene, written: dict[str, str]) -> None:
    features = contents(scene, FINDINGS).features
    forms_of = [feature.form for feature in features]
    gpx = layers(written[".gpx"])
    assert len(gpx["waypoints"]) == forms_of.count("point")
    assert len(gpx["tracks"]) == forms_of.count("line") + forms_of.count("area")
    kml = layers(written[".kml"])
    assert sum(map(len, kml.values())) == len(features)
    assert set(kml) == {feature.folder for feature in features}
    (geojson,) = layers(written[".geojson"]).values()
    assert len(geojson) == len(features)
    for feature, shape in zip(features, geojson, strict=True):
        assert shapely.hausdorff_distance(feature.shape, shape) < 1e-8 and shape.is_valid


def test_areas_as_gdal_reads_them_are_those_of_the_plan(scene: Scene, written: dict[str, str]) -> None:
    """The geodesic area against the plane one of the frame: closer than 1 part in 100,000 on 160 acres, and on small
    outlines than what half of a degree's eighth decimal (0.6 mm) makes along their sides."""
    names = [
        feature.properties.get("name", feature.properties.get("noun", ""))
        for feature in contents(scene, FINDINGS).features
    ]
    (shapes,) = layers(written[".geojson"]).values()
    boundary = shapes[names.index("boundary")]
    assert geodesic_acres(boundary) == pytest.approx(160, rel=1e-5)
    for name in ("fork-middle", "creek-beans", "far-thicket", "bank-woods"):
        block = scene.plan.names[name]
        shape = scene.shape_of(block)
        assert shape is not None
        off = abs(geodesic_acres(shapes[names.index(name)]) * 4046.8564224 - shape.area)
        assert off < 1e-5 * shape.area + 0.0006 * shape.length


def test_gpxpy_reads_names_types_and_places(scene: Scene, written: dict[str, str]) -> None:
    try:
        import gpxpy
    except ImportError:
        missing("gpxpy")
    read = gpxpy.parse(written[".gpx"])
    assert read.version == "1.1" and read.name == "Sallow Fork" and read.time is None
    gate = next(point for point in read.waypoints if point.name == "Gate of the east lane")
    assert gate.type == "place gate"
    east, north = scene.placer.frame.to_local(gate.latitude, gate.longitude)  # type: ignore[union-attr]
    assert (east, north) == pytest.approx((782 * 0.9144, 2 * 0.9144), abs=0.01)
    lane = next(track for track in read.tracks if track.name == "East lane")
    assert len(lane.segments) == 1 and lane.length_2d() == pytest.approx(195.6 * 0.9144, rel=0.005)  # on a sphere
    beans = next(track for track in read.tracks if track.name == "Beans").segments[0].points
    assert (beans[0].latitude, beans[0].longitude) == (beans[-1].latitude, beans[-1].longitude)
    assert any(point.name == "error 1" and point.description == "an error <&> of some kind" for point in read.waypoints)


#: the children of each element in the order of the schema, those that are written
_IN_ORDER = {
    "gpx": ["metadata", "wpt", "rte", "trk", "extensions"],
    "metadata": ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions"],
    "wpt": ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "extensions"],
    "trk": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "trkseg"],
    "trkseg": ["trkpt", "extensions"],
    "trkpt": [],
}


def test_gpx_has_the_elements_of_its_schema_in_their_order(written: dict[str, str]) -> None:
    space = "{http://www.topografix.com/GPX/1/1}"
    root = ElementTree.fromstring(written[".gpx"])
    assert root.tag == f"{space}gpx" and root.attrib == {"version": "1.1", "creator": "habitatlint"}
    seen = 0
    for element in root.iter():
        name = element.tag.removeprefix(space)
        if name not in _IN_ORDER:
            continue
        children = [child.tag.removeprefix(space) for child in element]
        places = [_IN_ORDER[name].index(child) for child in children]  # an unknown one raises
        assert places == sorted(places)
        once = [child for child in children if child not in ("wpt", "trk", "trkseg", "trkpt")]
        assert len(once) == len(set(once))
        seen += 1
    for extensions in root.iter(f"{space}extensions"):
        assert all(not child.tag.startswith(space) for child in extensions)
    for point in (*root.iter(f"{space}wpt"), *root.iter(f"{space}trkpt")):
        assert -90 <= float(point.attrib["lat"]) <= 90 and -180 <= float(point.attrib["lon"]) < 180
    assert seen > 1000


def test_kml_is_valid_by_its_schema_and_fastkml_reads_folders_styles_and_shapes(
    scene: Scene, written: dict[str, str], tmp_path: Path
) -> None:
    try:
        from fastkml import KML, Folder, Placemark
        from fastkml.utils import find_all
        from fastkml.validator import validate
    except ImportError:
        missing("fastkml")
    read = KML.from_string(written[".kml"].partition("\n")[2])  # it takes no encoding in a text
    (tmp_path / "sound.kml").write_text(written[".kml"], encoding="utf-8")
    assert validate(file_to_validate=tmp_path / "sound.kml") is True
    (tmp_path / "wrong.kml").write_text(written[".kml"].replace("styleUrl", "styleURL"), encoding="utf-8")
    with pytest.raises(AssertionError):
        validate(file_to_validate=tmp_path / "wrong.kml")
    folders = list(find_all(read, of_type=Folder))
    assert [folder.name for folder in folders][:3] == ["boundary", "core", "food"]
    marks = list(find_all(read, of_type=Placemark))
    assert len(marks) == len(contents(scene, FINDINGS).features)
    thicket = next(mark for mark in marks if mark.name == "Thicket over the clover")
    assert thicket.style_url.url == "#pocket"
    outline = shapely.geometry.shape(thicket.geometry.__geo_interface__)
    assert geodesic_acres(outline) == pytest.approx(100 * 44 / 4840, rel=1e-4)
    assert outline.exterior.is_ccw  # OGC 07-147r2, 10.8.3.4: the outer boundary runs counter-clockwise (from memory)


def test_geojson_is_as_rfc_7946_asks(written: dict[str, str]) -> None:
    whole = json.loads(written[".geojson"])
    assert whole["type"] == "FeatureCollection" and "crs" not in whole

    def rings(geometry: dict[str, Any]) -> list[list[list[Any]]]:
        held = geometry["coordinates"]
        return [held] if geometry["type"] == "Polygon" else held if geometry["type"] == "MultiPolygon" else []

    seen = 0
    for feature in whole["features"]:
        assert feature["type"] == "Feature" and isinstance(feature["properties"], dict)
        for polygon in rings(feature["geometry"]):
            for number, ring in enumerate(polygon):
                assert ring[0] == ring[-1] and len(ring) >= 4
                assert shapely.LinearRing(ring).is_ccw == (number == 0)
                assert all(-91.3 < east < -91.2 and 41.8 < north < 41.9 for east, north in ring)
                seen += 1
    assert seen > 100


def test_what_gdal_writes_is_read_back(scene: Scene, tmp_path: Path) -> None:
    """A GeoPackage in UTM metres (EPSG:32615) and a shapefile beside its parts, as another program would save them."""
    pyogrio = gdal()
    import numpy as np
    from pyproj import Transformer

    from habitatlint.cli.importing import file_contents

    to_utm = Transformer.from_crs("EPSG:4326", "EPSG:32615", always_xy=True)
    feature = next(one for one in contents(scene).features if one.properties.get("name") == "far-thicket")
    shape = shapely.transform(
        feature.shape, lambda points: np.column_stack(to_utm.transform(points[:, 0], points[:, 1]))
    )
    shapes = np.array([shapely.to_wkb(shape)], object)
    for name, driver in (("farm.gpkg", "GPKG"), ("farm.shp", "ESRI Shapefile")):
        pyogrio.raw.write(
            str(tmp_path / name), shapes, [np.array(["Far thicket"], object)], ["Name"], driver=driver,
            crs="EPSG:32615", geometry_type="Polygon",
        )  # fmt: skip
        read = file_contents(str(tmp_path / name))[1]
        made = scene_of(into_new([(name, read)], GRAMMAR, tolerance=0).text)
        pocket = made.plan.names["far-thicket"]
        assert pocket.noun == "pocket"
        again = made.shape_of(pocket)
        assert again is not None and again.area / 4046.8564224 == pytest.approx(100 * 44 / 4840, rel=1e-4)
        assert shapely.hausdorff_distance(read.features[0].shape, feature.shape) < 1e-7


def test_without_the_extra_its_name_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    from habitatlint.exchange.features import ExchangeTrouble

    monkeypatch.setitem(sys.modules, "pyogrio", None)
    with pytest.raises(ExchangeTrouble, match=r"pip install 'habitatlint\[gdal\]'; or save it as GPX, KML or GeoJSON"):
        forms.read("farm.gpkg", {".gpkg": b"SQLite format 3"})


@pytest.mark.parametrize("name", ["farm.gpkg", "farm.shp", "farm.fgb", "farm.dxf"])
def test_what_gdal_cannot_read_is_one_line(name: str) -> None:
    gdal()
    from habitatlint.exchange.features import ExchangeTrouble

    with pytest.raises(ExchangeTrouble, match=r"GDAL cannot read it .* save it as GPX, KML or GeoJSON") as raised:
        forms.read(name, {forms.ending_of(name): b"nothing of the kind " * 20})
    assert "\n" not in str(raised.value)
