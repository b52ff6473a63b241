"""The picture beneath the map: where it lies, how pale it is, and what is told of one that will not do. Its own
georeference is held against another library in tests/outside/test_geotiff.py."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, TiffImagePlugin

from habitatlint.check import Report
from habitatlint.files import LARGEST_PICTURE, find_picture
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import IncludeTrouble
from habitatlint.outputs.map import picture as pictures
from habitatlint.outputs.map.picture import Laid, Picture, PictureFile, PictureTrouble, beneath
from habitatlint.source import Source, Span
from habitatlint.units import YARD

ReportOf = Callable[..., Report]
SceneOf = Callable[..., Scene]

HEAD = 'plan "P"\n{}  picture "aerial.png"{}\n'
#: a square of 100 by 100 yd whose south-west corner is the origin
NEAR = (0.0, 0.0, 100 * YARD, 100 * YARD)
WHOLE = " at 0,0 100,100"


def saved(image: Image.Image, form: str = "PNG", **how: Any) -> bytes:
    out = BytesIO()
    image.save(out, form, **how)
    return out.getvalue()


def quarters(mode: str = "RGB", size: tuple[int, int] = (80, 80)) -> Image.Image:
    """A picture in four quarters: upper left black, the others white."""
    image = Image.new("L", size, 255)
    image.paste(0, (0, 0, size[0] // 2, size[1] // 2))
    return image.convert(mode)


def shown(picture: Picture) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """The tones of a picture, as read back."""
    image = Image.open(BytesIO(picture.data))
    assert image.size == (picture.columns, picture.rows) and image.get_format_mimetype() == picture.media
    return np.asarray(image.convert("L"))


def corner_of(picture: Picture, column: float, row: float) -> tuple[float, float]:
    a, b, c, d, e, f = picture.affine
    return a * column + b * row + c, d * column + e * row + f


def dark_quarter(picture: Picture) -> tuple[float, float]:
    """Where on the ground, in yards, the middle of what is dark lies."""
    rows, columns = np.nonzero(shown(picture) < 200)
    east, north = corner_of(picture, columns.mean() + 0.5, rows.mean() + 0.5)
    return east / YARD, north / YARD


@pytest.fixture
def scene_of(report_of: ReportOf) -> SceneOf:
    """The scene of a plan whose picture is placed by `at`, with more in its head."""
    return lambda at=WHOLE, head="", rest="": report_of(HEAD.format(head, at) + rest, fragment=False).scene


@pytest.fixture
def laid(scene_of: SceneOf) -> Callable[..., Laid]:
    def lay(data: bytes, at: str = WHOLE, near: tuple[float, ...] = NEAR, longest: int = 400, **how: Any) -> Laid:
        file = PictureFile(data, how.pop("world", ""), how.pop("projection", ""))
        found = beneath(scene_of(at, **how), lambda name, source: file, near, longest)  # type: ignore[arg-type]
        assert found is not None
        return found

    return lay


@pytest.fixture
def trouble(laid: Callable[..., Laid]) -> Callable[..., str]:
    """What is told of a picture that cannot be drawn, or of one that is drawn all the same."""

    def tell(data: bytes, *args: Any, **how: Any) -> str:
        try:
            told = laid(data, *args, **how).told
        except PictureTrouble as error:
            assert "\n" not in str(error) and str(error).endswith("; the map is drawn without it")
            return str(error)
        return str(told) if told else ""

    return tell


# -- placed by two points -------------------------------------------------------------------------------------


def test_a_plan_without_a_picture_has_none(report_of: ReportOf) -> None:
    scene = report_of('plan "P"\n', fragment=False).scene
    assert beneath(scene, find_picture, NEAR, 400) is None


def test_the_first_point_is_its_lower_left_corner_and_the_second_its_upper_right(laid: Callable[..., Laid]) -> None:
    picture = laid(saved(quarters()), " at 10,20 90,100").picture
    assert corner_of(picture, 0, picture.rows) == pytest.approx((10 * YARD, 20 * YARD))
    assert corner_of(picture, picture.columns, 0) == pytest.approx((90 * YARD, 100 * YARD))
    assert dark_quarter(picture) == pytest.approx((30, 80), abs=1)


def test_points_may_be_degrees(laid: Callable[..., Laid]) -> None:
    from pyproj import Geod

    picture = laid(saved(quarters()), " at 43.7N,90.6W 43.701N,90.5988W", head="  anchor 43.7N,90.6W\n").picture
    east, north = corner_of(picture, picture.columns, 0)
    # the geodesic by another way: it is cropped to the near 100 yd, whose corner is less than this far off
    azimuth, _, length = Geod(ellps="WGS84").inv(-90.6, 43.7, -90.5988, 43.701)
    assert length > np.hypot(east, north) > 0
    whole = laid(saved(quarters()), " at 43.7N,90.6W 43.701N,90.5988W", (-900, -900, 900, 900),
                 head="  anchor 43.7N,90.6W\n").picture  # fmt: skip
    east, north = corner_of(whole, whole.columns, 0)
    assert (np.hypot(east, north), np.degrees(np.arctan2(east, north))) == pytest.approx((length, azimuth), abs=1e-3)


def test_it_is_cropped_to_what_is_near_and_stays_in_its_place(laid: Callable[..., Laid]) -> None:
    big = quarters(size=(1000, 1000))
    picture = laid(saved(big), " at -450,-450 550,550").picture
    assert (picture.columns, picture.rows) == (100, 100)
    assert corner_of(picture, 0, 100) == pytest.approx((0, 0), abs=1e-6)
    # the dark quarter ends at 50,50; of the near ground it covers the upper left
    assert dark_quarter(picture) == pytest.approx((25, 75), abs=1)


@pytest.mark.parametrize("size", [(1600, 1600), (1600, 400), (400, 1600)])
def test_it_is_reduced_to_the_pixels_asked_for_and_never_enlarged(
    laid: Callable[..., Laid], size: tuple[int, int]
) -> None:
    picture = laid(saved(quarters(size=size)), longest=200).picture
    assert max(picture.columns, picture.rows) == 200
    assert picture.columns / picture.rows == pytest.approx(size[0] / size[1])
    assert corner_of(picture, picture.columns, 0) == pytest.approx((100 * YARD, 100 * YARD))
    assert laid(saved(quarters(size=(30, 30))), longest=200).picture.columns == 30


def test_it_is_the_same_bytes_every_run(laid: Callable[..., Laid]) -> None:
    noise = Image.fromarray(np.random.default_rng(4).integers(0, 255, (300, 300, 3), np.uint8))
    assert laid(saved(noise)).picture == laid(saved(noise)).picture


# -- pale -----------------------------------------------------------------------------------------------------


def luminance(tones: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Relative luminance of sRGB (WCAG 2.2, its definition)."""
    share = tones / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ np.array([0.2126, 0.7152, 0.0722]))


def test_black_type_reads_on_the_darkest_of_it(laid: Callable[..., Laid]) -> None:
    noise = Image.fromarray(np.random.default_rng(4).integers(0, 90, (300, 300, 3), np.uint8))
    for image in (quarters(), noise, Image.new("RGB", (50, 50), "black"), Image.new("RGB", (50, 50), "#00f")):
        tones = np.asarray(Image.open(BytesIO(laid(saved(image)).picture.data)).convert("RGB"), float)
        contrast = (luminance(tones) + 0.05) / 0.05
        assert np.percentile(contrast, 1) >= 7  # WCAG 2.2, 1.4.6


def test_a_dark_picture_is_spread_over_the_whole_range(laid: Callable[..., Laid]) -> None:
    dark = Image.fromarray(np.random.default_rng(4).integers(10, 60, (300, 300, 3), np.uint8))
    tones = shown(laid(saved(dark)).picture)
    assert tones.min() < 180 and tones.max() > 240


def test_line_drawings_stay_sharp_and_aerials_small(laid: Callable[..., Laid]) -> None:
    assert laid(saved(quarters())).picture.media == "image/png"
    chance = np.random.default_rng(4)
    woods = Image.fromarray(chance.integers(20, 120, (350, 350, 3), np.uint8)).resize((2800, 2800))
    picture = laid(saved(woods, "JPEG"), longest=1400).picture
    assert picture.media == "image/jpeg" and len(picture.data) < 1_000_000


# -- every kind of picture --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("form", "mode", "how"),
    [("PNG", mode, {}) for mode in ("1", "L", "LA", "P", "RGB", "RGBA")]
    + [("JPEG", mode, {}) for mode in ("L", "RGB", "CMYK")]
    + [("TIFF", mode, {}) for mode in ("1", "L", "P", "RGB", "RGBA", "CMYK", "I", "F", "LAB")]
    + [("TIFF", "RGB", {"compression": squeezed}) for squeezed in ("tiff_lzw", "tiff_adobe_deflate", "jpeg", "packbits")],
)  # fmt: skip
def test_every_make_of_picture_is_drawn(laid: Callable[..., Laid], form: str, mode: str, how: dict[str, str]) -> None:
    if mode == "LAB":
        from PIL import ImageCms

        to_lab = ImageCms.buildTransform(ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB"), "RGB", "LAB")
        made = ImageCms.applyTransform(quarters(), to_lab)
        assert made is not None
    else:
        made = quarters(mode)
    picture = laid(saved(made, form, **how)).picture
    assert dark_quarter(picture) == pytest.approx((25, 75), abs=1)
    tones = shown(picture)
    assert tones[60, 60] > 250 and 160 < tones[20, 20] < 180


@pytest.mark.parametrize("form", ["PNG", "TIFF"])
def test_a_picture_of_sixteen_bits_is_spread_over_the_range_that_it_uses(laid: Callable[..., Laid], form: str) -> None:
    deep = np.full((80, 80), 2047, np.uint16)  # eleven bits of sixteen
    deep[:40, :40] = 300
    tones = shown(laid(saved(Image.fromarray(deep), form)).picture)
    assert tones[60, 60] > 250 and tones[20, 20] < 180


def test_what_is_clear_is_paper(laid: Callable[..., Laid]) -> None:
    clear = Image.new("RGBA", (80, 80), (0, 0, 0, 0))
    clear.paste((0, 0, 0, 255), (0, 0, 40, 40))
    assert dark_quarter(laid(saved(clear)).picture) == pytest.approx((25, 75), abs=1)
    palette = quarters("P")
    index = palette.getpixel((60, 60))
    inked = saved(palette, transparency=index)
    assert dark_quarter(laid(inked).picture) == pytest.approx((25, 75), abs=1)


def test_of_several_frames_the_first_is_drawn(laid: Callable[..., Laid]) -> None:
    for form in ("PNG", "TIFF"):
        moving = saved(quarters(), form, save_all=True, append_images=[Image.new("RGB", (80, 80), "black")] * 3)
        assert dark_quarter(laid(moving).picture) == pytest.approx((25, 75), abs=1)


@pytest.mark.parametrize("form", ["JPEG", "TIFF", "PNG"])
@pytest.mark.parametrize("held", range(1, 9))
def test_a_photograph_is_turned_as_the_camera_was_held(laid: Callable[..., Laid], form: str, held: int) -> None:
    # how what is stored looks for each value, Exif 2.3, 4.6.4: the 0th row and column are visually at ...
    stored = {
        1: None, 2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }[held]  # fmt: skip
    upright = quarters(size=(96, 48))
    turned = upright if stored is None else upright.transpose(stored)
    exif = Image.Exif()
    exif[0x0112] = held
    found = laid(saved(turned, form, exif=exif), " at 0,0 96,48")
    assert found.told is None and (found.picture.columns, found.picture.rows) == (96, 48)
    assert dark_quarter(found.picture) == pytest.approx((24, 36), abs=1)


# -- told ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (" at 0,0 0,0", "its two points are one"),
        (" at 100,100 0,0", "the second lies north and east of the first"),
        (" at 0,100 100,0", "the second lies north and east of the first"),
        (" at 0,0 100,0", "the second lies north and east of the first"),
        (" at 43N,90W 43.1N,89.9W", "a point in degrees needs `anchor` in the plan's head"),
        (" at 5000,5000 5100,5100", "it lies elsewhere, its middle 7071 yd from the property's"),
        (" at 0,0 100,110", "its two points draw it 10% higher than it is"),
        (" at 0,0 112,100", "its two points draw it 12% wider than it is"),
        (" at 0,0 100,104", ""),
        ("", "it says nowhere where it lies; place it by two points"),
    ],
)
def test_a_picture_that_is_placed_amiss_is_told_with_its_line(trouble: Callable[..., str], at: str, words: str) -> None:
    told = trouble(saved(quarters()), at)
    assert words in told and bool(words) == bool(told)
    if told:
        assert told.startswith('plan.habitat:2:11: warning: picture "aerial.png": ')


WORLD = "0.5\n0\n0\n-0.5\n700000\n4800000\n"


@pytest.mark.parametrize(
    ("world", "projection", "head", "words"),
    [
        (WORLD, "EPSG", "", "it needs the plan's `anchor`"),
        (WORLD, "", "  anchor 43N,90W\n", "it does not say which coordinate system it is in; put its .prj file"),
        (WORLD, "gibberish", "  anchor 43N,90W\n", "the coordinate system of its .prj is not known"),
        (WORLD, "+proj=utm +zone=15", "  anchor 43N,90W\n", "the coordinate system of its .prj is not known"),
        ("0.5\n0\nx\n", "EPSG", "  anchor 43N,90W\n", "its world file is not six numbers"),
        ("0\n0\n0\n0\n7\n4\n", "EPSG", "  anchor 43N,90W\n", "its georeference gives its pixels no size"),
        ("nan\n0\n0\ninf\n7\n4\n", "EPSG", "  anchor 43N,90W\n", "its georeference gives its pixels no size"),
        (WORLD, "EPSG", "  anchor 43N,90W\n", "it lies elsewhere"),
        (WORLD, "EPSG", "  anchor 43S,90E\n", "it lies elsewhere"),
        (WORLD, "VERTICAL", "  anchor 43N,90W\n", "is not one of the ground"),
    ],
)
def test_a_georeference_that_will_not_do_is_told(
    trouble: Callable[..., str], world: str, projection: str, head: str, words: str
) -> None:
    from pyproj import CRS

    code = {"EPSG": 26915, "VERTICAL": 5703}.get(projection)
    text = CRS.from_epsg(code).to_wkt() if code else projection
    assert words in trouble(saved(quarters()), "", world=world, projection=text, head=head)


def test_a_file_that_is_no_picture_is_told(trouble: Callable[..., str]) -> None:
    for data in (
        b"",
        b'plan "P"\n',
        b"\x89PNG\r\n\x1a\n",
        b"%PDF-1.7\n",
        saved(quarters(), "BMP"),
        saved(quarters(), "GIF"),
    ):
        assert "not a picture that can be read; give a PNG, a JPEG or a GeoTIFF" in trouble(data)


@pytest.mark.parametrize("form", ["PNG", "JPEG", "TIFF"])
def test_a_file_that_is_cut_short_is_told(trouble: Callable[..., str], form: str) -> None:
    noise = Image.fromarray(np.random.default_rng(4).integers(0, 255, (90, 90, 3), np.uint8))
    data = saved(noise, form)
    told = trouble(data[: len(data) // 2])
    assert "cut short or damaged" in told or "not a picture that can be read" in told


@pytest.mark.parametrize("side", [9_100, 12_000, 30_000])
def test_a_picture_of_too_many_pixels_is_told_before_it_is_read(trouble: Callable[..., str], side: int) -> None:
    small = saved(Image.new("1", (8, 8)))
    # the same file, its head saying another size: PNG (ISO/IEC 15948), IHDR at byte 16, its check at 29
    import zlib

    head = b"IHDR" + side.to_bytes(4, "big") * 2 + small[24:29]
    bomb = small[:12] + head + zlib.crc32(head).to_bytes(4, "big") + small[33:]
    start = time.process_time()
    assert "more pixels than 9,000 by 9,000" in trouble(bomb)
    assert time.process_time() - start < 1


def test_what_is_told_cannot_steer_the_terminal() -> None:
    trouble = PictureTrouble(Span(Source("a\x1b[31m.habitat", "picture"), 0, 7), 'picture "\u202eb.png": gone')
    assert str(trouble) == 'a?[31m.habitat:1:1: warning: picture "?b.png": gone'


def georeferenced() -> bytes:
    """A GeoTIFF of 24 by 24 pixels of 10 m, UTM 16 N, about 43N,90W."""
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    for tag, kind, values in (
        (33550, 12, (10.0, 10.0, 0.0)),
        (33922, 12, (0.0, 0.0, 0.0, 255_400.0, 4_765_400.0, 0.0)),
        (34735, 3, (1, 1, 0, 3, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, 32616)),
    ):
        tags.tagtype[tag] = kind
        tags[tag] = values
    return saved(quarters("RGB", (24, 24)), "TIFF", tiffinfo=tags)


DAMAGED = {
    "PNG": saved(quarters("RGB", (24, 24))),
    "JPEG": saved(quarters("RGB", (24, 24)), "JPEG"),
    "GeoTIFF": georeferenced(),
}


def test_what_is_damaged_below_is_drawn_when_whole(laid: Callable[..., Laid]) -> None:
    assert laid(DAMAGED["GeoTIFF"], "", head="  anchor 43N,90W\n").picture.columns > 5


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_damaged_bytes_are_drawn_or_told_and_never_a_fault(scene_of: SceneOf, data: st.DataObject) -> None:
    form = data.draw(st.sampled_from(sorted(DAMAGED)))
    whole = bytearray(DAMAGED[form])
    # a TIFF that is saved has its pixels last or first: most of what can go wrong stands in its tags
    places = [at for at in range(len(whole)) if form != "GeoTIFF" or whole[at] not in (0, 255)]
    for _ in range(data.draw(st.integers(1, 6))):
        whole[data.draw(st.sampled_from(places))] = data.draw(st.integers(0, 255))
    head = "  anchor 43N,90W\n"
    try:
        found = beneath(
            scene_of("" if form == "GeoTIFF" else WHOLE, head), lambda *_: PictureFile(bytes(whole)), NEAR, 50
        )
    except PictureTrouble as trouble:
        assert trouble.text
    else:
        assert found is not None and found.picture.columns <= 50


# -- beside the plan ------------------------------------------------------------------------------------------------


@pytest.fixture
def plan_in(tmp_path: Path) -> Source:
    folder = tmp_path / "plans"
    folder.mkdir()
    return Source(f"{folder}/ridge.habitat", "")


def test_a_picture_is_read_with_what_lies_beside_it(plan_in: Source) -> None:
    folder = Path(plan_in.name).parent
    (folder / "air").mkdir()
    (folder / "air/ridge.jpeg").write_bytes(b"data")
    assert find_picture("air/ridge.jpeg", plan_in) == PictureFile(b"data")
    for name in ("ridge.wld", "ridge.jpegw", "ridge.jgw"):  # each goes before those that are there already
        (folder / "air" / name).write_text(name)
        assert find_picture("air/ridge.jpeg", plan_in).world == name
    (folder / "air/ridge.prj").write_text("WKT")
    assert find_picture("air/ridge.jpeg", plan_in) == PictureFile(b"data", "ridge.jgw", "WKT")


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("gone.png", "there is no such file"),
        ("../secret.png", "it leads out of the plan's folder"),
        ("link.png", "it leads out of the plan's folder"),
        ("/etc/hostname", "a path from this file's folder"),
        ("c:\\air.png", "a path from this file's folder"),
        ("https://example.org/a.png", "a path from this file's folder"),
        (".", "not a plain file"),
        ("pipe.png", "not a plain file"),
        ("huge.tif", "larger than 64 MB"),
    ],
)
def test_no_other_file_is_read(plan_in: Source, path: str, words: str) -> None:
    folder = Path(plan_in.name).parent
    (folder.parent / "secret.png").write_bytes(b"secret")
    (folder / "link.png").symlink_to(folder.parent / "secret.png")
    os.mkfifo(folder / "pipe.png")
    with open(folder / "huge.tif", "wb") as file:
        file.truncate(LARGEST_PICTURE + 1)
    with pytest.raises(IncludeTrouble, match=words):
        find_picture(path, plan_in)


def test_a_link_to_elsewhere_is_no_world_file(plan_in: Source) -> None:
    folder = Path(plan_in.name).parent
    (folder.parent / "secret.txt").write_text("secret")
    (folder / "a.png").write_bytes(b"data")
    (folder / "a.pgw").symlink_to(folder.parent / "secret.txt")
    assert find_picture("a.png", plan_in) == PictureFile(b"data")


def test_the_largest_picture_is_laid_in_a_few_seconds(
    laid: Callable[..., Laid], monkeypatch: pytest.MonkeyPatch
) -> None:
    data = saved(quarters(size=(8000, 8000)), "JPEG")
    start = time.process_time()
    picture = laid(data, longest=2500).picture
    assert picture.columns == 2500 and time.process_time() - start < 8
    monkeypatch.setattr(pictures, "MOST_PIXELS", 7999 * 8000)
    with pytest.raises(PictureTrouble):
        laid(data)
