"""A picture's own georeference against another library: rasterio (GDAL) writes the files and says where each pixel
lies, by its own reading of the GeoTIFF tags (OGC 19-008r4, GeoTIFF 1.1) and world files, and by its own projecting."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from real_parts import library

from habitatlint.check import Report
from habitatlint.files import find_picture
from habitatlint.ground.frame import Frame
from habitatlint.outputs.map.picture import Picture, PictureTrouble, beneath

if os.environ.get("CI"):
    import rasterio
else:
    rasterio = library("rasterio")
from rasterio.crs import CRS
from rasterio.transform import Affine
from rasterio.warp import transform

ReportOf = Callable[..., Report]
ANCHOR = (43.1, -89.4)
EVERYWHERE = (-3000.0, -3000.0, 3000.0, 3000.0)
#: the pixel that is marked, and the size of the picture
ROW, COLUMN, ROWS, COLUMNS = 210, 330, 400, 500


def corner(system: CRS, east: float = -600.0, north: float = 500.0) -> tuple[float, float]:
    """Where a place in the plan's frame lies in another system."""
    latitude, longitude = Frame(*ANCHOR).to_earth(east, north)
    (x,), (y,) = transform(CRS.from_epsg(4326), system, [longitude], [latitude])
    return x, y


def scaled(place: tuple[float, float], wide: float, high: float, turn: float = 0.0) -> Affine:
    """Pixels so wide and high, the upper left one's corner at a place, turned so many degrees to the left."""
    sine, cosine = math.sin(math.radians(turn)), math.cos(math.radians(turn))
    return Affine(wide * cosine, high * sine, place[0], wide * sine, -high * cosine, place[1])


def write(path: Path, system: CRS | None, turned: Affine | None, of: str = "Area", **how: Any) -> None:
    """A white picture with one pixel marked black, as rasterio writes it."""
    tones = np.full((3, ROWS, COLUMNS), 255, np.uint8)
    tones[:, ROW, COLUMN] = 0
    placed = {} if system is None else {"crs": system, "transform": turned}
    with rasterio.open(path, "w", width=COLUMNS, height=ROWS, count=3, dtype="uint8", **placed, **how) as file:
        file.update_tags(AREA_OR_POINT=of)
        file.write(tones)


def expected(path: Path) -> tuple[float, float]:
    """Where rasterio says that the middle of the marked pixel lies, in the plan's frame."""
    with rasterio.open(path) as file:
        x, y = file.xy(ROW, COLUMN)
        (longitude,), (latitude,) = transform(file.crs, CRS.from_epsg(4326), [x], [y])
    return Frame(*ANCHOR).to_local(latitude, longitude)


def drawn(report_of: ReportOf, path: Path, near: tuple[float, float, float, float] = EVERYWHERE) -> Picture:
    text = f'plan "P"\n  anchor {ANCHOR[0]}N,{-ANCHOR[1]}W\n  picture "{path.name}"\n'
    report = report_of(text, str(path.parent / "p.habitat"), fragment=False)
    found = beneath(report.scene, find_picture, near, 2000)
    assert found is not None and found.told is None
    return found.picture


def marked(picture: Picture) -> tuple[float, float]:
    """Where the picture that is drawn puts the middle of its darkest pixel."""
    tones = np.asarray(Image.open(BytesIO(picture.data)).convert("L"))
    row, column = np.unravel_index(int(tones.argmin()), tones.shape)
    a, b, c, d, e, f = picture.affine
    x, y = float(column) + 0.5, float(row) + 0.5
    return a * x + b * y + c, d * x + e * y + f


#: EPSG code, and a pixel of about 2 m in its unit, wide and high
SYSTEMS = {
    "UTM 16N, NAD 83": (26916, 2.0, 2.0),
    "UTM 16N, WGS 84": (32616, 2.0, 2.0),
    "a state plane, in US survey feet": (2289, 6.5, 6.5),
    "a state's transverse Mercator": (3071, 2.0, 2.0),
    "UTM 15N, beside its zone": (26915, 2.0, 2.0),
    "the web's Mercator": (3857, 2.7, 2.7),
    "degrees, WGS 84": (4326, 2.4e-5, 1.8e-5),
    "degrees, NAD 83": (4269, 2.4e-5, 1.8e-5),
}


@pytest.mark.parametrize("name", SYSTEMS)
@pytest.mark.parametrize("of", ["Area", "Point"])
def test_a_pixel_lies_where_the_other_library_says(report_of: ReportOf, tmp_path: Path, name: str, of: str) -> None:
    code, wide, high = SYSTEMS[name]
    system, path = CRS.from_epsg(code), tmp_path / "air.tif"
    write(path, system, scaled(corner(system), wide, high), of)
    with Image.open(path) as tags:
        keys = tags.tag_v2[34735]  # type: ignore[attr-defined]
        assert (1025, 0, 1, {"Area": 1, "Point": 2}[of]) in zip(*[iter(keys)] * 4, strict=True)
    assert marked(drawn(report_of, path)) == pytest.approx(expected(path), abs=0.1)


@pytest.mark.parametrize("turn", [10.0, -75.0, 180.0])
def test_a_turned_picture_lies_by_its_matrix(report_of: ReportOf, tmp_path: Path, turn: float) -> None:
    system, path = CRS.from_epsg(26916), tmp_path / "air.tif"
    write(path, system, scaled(corner(system, 0, 0), 2.0, 1.5, turn))
    with Image.open(path) as tags:
        assert 34264 in tags.tag_v2 and 33550 not in tags.tag_v2  # type: ignore[attr-defined]
    assert marked(drawn(report_of, path)) == pytest.approx(expected(path), abs=0.05)


def test_a_cropped_picture_lies_where_the_whole_did(report_of: ReportOf, tmp_path: Path) -> None:
    system, path = CRS.from_epsg(26916), tmp_path / "air.tif"
    write(path, system, scaled(corner(system), 2.0, 2.0))
    east, north = expected(path)
    picture = drawn(report_of, path, (east - 50, north - 30, east + 70, north + 40))
    # 120 by 70 m in pixels of 2 m, and a little for the grid's turn
    assert 60 <= picture.columns <= 66 and 35 <= picture.rows <= 41
    assert marked(picture) == pytest.approx((east, north), abs=0.05)


@pytest.mark.parametrize("how", [{"tiled": True, "compress": "lzw", "blockxsize": 64, "blockysize": 64},
                                 {"compress": "deflate", "predictor": 2}, {"BIGTIFF": "YES"},
                                 {"interleave": "band"}, {"ENDIANNESS": "BIG"}])  # fmt: skip
def test_every_usual_way_of_writing_is_read(report_of: ReportOf, tmp_path: Path, how: dict[str, Any]) -> None:
    system, path = CRS.from_epsg(26916), tmp_path / "air.tif"
    write(path, system, scaled(corner(system), 2.0, 2.0), **how)
    assert marked(drawn(report_of, path)) == pytest.approx(expected(path), abs=0.05)


@pytest.mark.parametrize("ending", ["png", "tif"])
@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
@pytest.mark.parametrize("dialect", ["WKT1_ESRI", "WKT1_GDAL", "WKT2_2019"])
def test_a_world_file_with_its_prj_lies_the_same(
    report_of: ReportOf, tmp_path: Path, ending: str, dialect: str
) -> None:
    from pyproj import CRS as OfProj

    system, path = CRS.from_epsg(26916), tmp_path / f"air.{ending}"
    x, y = corner(system)
    write(path, None, None, driver={"png": "PNG", "tif": "GTiff"}[ending])
    # turned a little, as a scanned sheet is
    path.with_suffix(f".{ending[0]}{ending[-1]}w").write_text(f"2.0\n0.1\n-0.2\n-2.0\n{x:.4f}\n{y:.4f}\n")
    path.with_suffix(".prj").write_text(OfProj.from_epsg(26916).to_wkt(dialect))
    with rasterio.open(path) as file:
        x, y = file.xy(ROW, COLUMN)
    (longitude,), (latitude,) = transform(system, CRS.from_epsg(4326), [x], [y])
    assert marked(drawn(report_of, path)) == pytest.approx(Frame(*ANCHOR).to_local(latitude, longitude), abs=0.05)


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
@pytest.mark.parametrize("form", ["JPEG", "TIFF"])
def test_a_world_file_counts_pixels_as_they_are_stored(report_of: ReportOf, tmp_path: Path, form: str) -> None:
    system, path = CRS.from_epsg(26916), tmp_path / {"JPEG": "air.jpg", "TIFF": "air.tif"}[form]
    image, exif = Image.new("L", (COLUMNS, ROWS), 255), Image.Exif()
    image.paste(0, (COLUMN, ROW, COLUMN + 1, ROW + 1))
    exif[0x0112] = 6  # the camera was held on its side
    image.save(path, form, exif=exif, **({"quality": 100} if form == "JPEG" else {}))
    x, y = corner(system)
    path.with_suffix(f".{path.suffix[1]}{path.suffix[-1]}w").write_text(f"2.0\n0\n0\n-2.0\n{x:.4f}\n{y:.4f}\n")
    path.with_suffix(".prj").write_text(system.to_wkt())
    with rasterio.open(path) as file:
        assert (file.width, file.height) == (COLUMNS, ROWS)
        (longitude,), (latitude,) = transform(system, CRS.from_epsg(4326), *([one] for one in file.xy(ROW, COLUMN)))
    assert marked(drawn(report_of, path)) == pytest.approx(Frame(*ANCHOR).to_local(latitude, longitude), abs=0.05)


def test_a_system_of_somebody_s_own_is_told(report_of: ReportOf, tmp_path: Path) -> None:
    own = CRS.from_string("+proj=tmerc +lat_0=43 +lon_0=-89.41 +k=1.00003 +x_0=1234 +y_0=5678 +ellps=GRS80 +units=m")
    path = tmp_path / "air.tif"
    write(path, own, scaled((1500.0, 16000.0), 2.0, 2.0))
    with pytest.raises(PictureTrouble, match="does not say which coordinate system it is in"):
        drawn(report_of, path)
    # and its .prj says it after all
    path.with_suffix(".prj").write_text(own.to_wkt())
    assert marked(drawn(report_of, path, (-9e4, -9e4, 9e4, 9e4))) == pytest.approx(expected(path), abs=0.05)


def test_a_picture_of_elsewhere_is_told(report_of: ReportOf, tmp_path: Path) -> None:
    system, path = CRS.from_epsg(26916), tmp_path / "air.tif"
    write(path, system, scaled(corner(system, 90_000, -40_000), 2.0, 2.0))
    with pytest.raises(PictureTrouble, match=r"it lies elsewhere, its middle \d+ yd from the property's"):
        drawn(report_of, path)


@pytest.mark.parametrize(
    ("code", "wide", "high", "within"),
    [(26916, 6.0, 7.5, 0.03), (2289, 19.7, 24.6, 0.03), (4326, 7.4e-5, 6.75e-5, 0.5), (3857, 8.2, 10.3, 0.5)],
)
def test_over_three_kilometres_the_affine_is_as_good_as_it_says(
    report_of: ReportOf, tmp_path: Path, code: int, wide: float, high: float, within: float
) -> None:
    system, path = CRS.from_epsg(code), tmp_path / "air.tif"
    write(path, system, scaled(corner(system, -1500, 1500), wide, high))
    picture = drawn(report_of, path)
    assert (picture.columns, picture.rows) == (COLUMNS, ROWS)
    columns, rows = (axis.ravel() for axis in np.meshgrid(np.arange(0, 501, 50.0), np.arange(0, 401, 50.0)))
    with rasterio.open(path) as file:
        x, y = file.xy(rows, columns, offset="ul")
    longitude, latitude = transform(system, CRS.from_epsg(4326), x, y)
    east, north = Frame(*ANCHOR).to_local(np.array(latitude), np.array(longitude))
    a, b, c, d, e, f = picture.affine
    off = np.hypot(a * columns + b * rows + c - east, d * columns + e * rows + f - north)
    assert off.max() < within


def test_the_trouble_is_told_at_the_line_that_names_the_picture(report_of: ReportOf, tmp_path: Path) -> None:
    report = report_of('plan "P"\n  picture "gone.tif"\n', str(tmp_path / "p.habitat"), fragment=False)
    with pytest.raises(PictureTrouble, match="there is no such file") as told:
        beneath(report.scene, find_picture, EVERYWHERE, 100)
    assert (told.value.span.line, told.value.span.text) == (2, '"gone.tif"')
