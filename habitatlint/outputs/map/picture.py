"""The owner's own picture beneath the map: an aerial or a scanned map, placed and paled.

It is placed by two points of the plan, or by its own georeference: the tags of a GeoTIFF (OGC GeoTIFF 1.1,
19-008r4), or a world file (six lines; common practice) with the coordinate system in a .prj beside it.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from io import BytesIO
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from habitatlint.ground.frame import FrameUnavailable, System, system
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import IncludeTrouble
from habitatlint.outputs.sentences import clean
from habitatlint.reading.values import Written
from habitatlint.source import Source, Span
from habitatlint.units import TOLERANCE, show

Floats = npt.NDArray[np.float64]
Affine = tuple[float, float, float, float, float, float]

#: formats that are read, as Pillow names them
FORMATS = ("PNG", "JPEG", "TIFF")
#: most pixels of a picture: 9,000 by 9,000, some 600 MB while it is read
MOST_PIXELS = 81_000_000
#: pixels that differ more than this in width and height are told: the two points are probably amiss
STRETCHED = 0.05
#: how much of a picture's own tone is kept. On the darkest grey that is left, black has a contrast of 9:1; type
#: should have 7:1 or more (WCAG 2.2, 1.4.6)
KEPT = 0.33
#: how much of its own colour is kept, so that the plan's colours stay the plan's
COLOUR = 0.5
#: of a pixel: no row of pixels is taken in for a rounding
_HAIR = 1e-6
#: of JPEG, 0 to 95: the picture is a background
QUALITY = 78

# GeoTIFF 1.1: tags, keys, and codes
_SCALE, _TIES, _MATRIX, _KEYS = 33550, 33922, 34264, 34735
_MODEL, _RASTER, _GEODETIC, _PROJECTED = 1024, 1025, 2048, 3072
_IS_PROJECTED, _IS_GEOGRAPHIC, _IS_POINT, _USERS_OWN = 1, 2, 2, 32767

_REMEDY = "place it by two points: `at`, its lower left and its upper right corner"
_ELSEWHERE = "it lies elsewhere on the earth; look at where it is placed"
_TOO_LARGE = (
    f"more pixels than {math.isqrt(MOST_PIXELS):,} by {math.isqrt(MOST_PIXELS):,}; "
    "cut it to the property, or make it smaller"
)


class Picture(NamedTuple):
    """A picture ready to be drawn: JPEG or PNG bytes with their media type, its size in pixels, and where it
    lies, as the affine (a, b, c, d, e, f) that takes a pixel (column, row) counted from the upper left corner
    to metres of the plan's frame: east = a column + b row + c, north = d column + e row + f."""

    data: bytes
    media: str
    columns: int
    rows: int
    affine: Affine


class PictureFile(NamedTuple):
    """A picture's bytes, and the texts of the world file and the .prj beside it, "" where there are none."""

    data: bytes
    world: str = ""
    projection: str = ""


#: finds the picture that a plan names, seen from the plan; raises IncludeTrouble
FindPicture = Callable[[str, Source], PictureFile]


class PictureTrouble(Exception):
    """What is wrong with a picture, and the remedy; `span` is where the plan names it."""

    def __init__(self, span: Span, text: str) -> None:
        super().__init__(text)
        self.span, self.text = span, text

    def __str__(self) -> str:
        return f"{clean(self.span.source.name)}:{self.span.line}:{self.span.column}: warning: {clean(self.text)}"


class Laid(NamedTuple):
    """A picture, and what is told of it although it is drawn."""

    picture: Picture
    told: PictureTrouble | None = None


class _Unusable(Exception):
    """Why a picture cannot be drawn; where the plan names it is added outside."""


class _Ground(NamedTuple):
    """Where a picture lies: from pixels, counted from the upper left corner, to metres of the plan's frame, and
    back; and how much wider its pixels are than high (1.1 for a tenth) where two points say so, else 1."""

    to_ground: Callable[[Floats, Floats], tuple[Floats, Floats]]
    to_pixels: Callable[[Floats, Floats], tuple[Floats, Floats]]
    stretch: float = 1.0


def beneath(scene: Scene, find: FindPicture, near: tuple[float, float, float, float], longest: int) -> Laid | None:
    """The picture that a plan names, cropped to the ground `near` (west, south, east, north in metres), reduced to
    at most `longest` pixels either way, and paled. None where the plan names none.

    A picture with its own georeference is laid by the affine that fits the cropped part best. In a projection of
    the neighbourhood (UTM, a state's plane) that is exact to 3 cm over 3 km; in degrees or on the web's
    Mercator to half a metre.

    Raises PictureTrouble for a picture that cannot be drawn; the map is drawn without it."""
    head = scene.plan.head
    statement = head.picture[0] if head is not None and head.picture else None
    if head is None or statement is None:
        return None
    name, places = statement.values[0], [value for value in statement.values[1:] if value.kind != "word"]
    span, title = head.span(name), f'picture "{name.value}"'
    try:
        file = find(str(name.value), head.placed.source)
        image = _read(file.data, upright=bool(places))
        ground = _by_points(scene, places, image) if places else _by_itself(scene, file, image)
        picture = _drawn(image, ground, near, longest, scene.units)
    except (IncludeTrouble, _Unusable, FrameUnavailable) as trouble:
        raise PictureTrouble(span, f"{title}: {trouble}; the map is drawn without it") from None
    told = None
    if abs(math.log(ground.stretch)) > math.log(1 + STRETCHED):
        by = show(max(ground.stretch, 1 / ground.stretch) - 1, "share", places=0)
        way = "wider" if ground.stretch > 1 else "higher"
        told = PictureTrouble(span, f"{title}: its two points draw it {by} {way} than it is; look at both points")
    return Laid(picture, told)


# -- reading ------------------------------------------------------------------------------------------------


def _read(data: bytes, *, upright: bool) -> Any:
    """A picture of one of the formats, of several frames or pages the first; `upright` turns it as the camera was
    held (Exif 2.3, tag 0x0112), else its pixels lie as they are stored."""
    from PIL import Image, ImageOps

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the size is looked at here, and odd tags do no harm
        try:
            image: Any = Image.open(BytesIO(data), formats=FORMATS)
        except Image.DecompressionBombError:
            raise _Unusable(_TOO_LARGE) from None
        except Exception:  # whatever a decoder stumbles over in foreign bytes, it is the picture's fault
            raise _Unusable("not a picture that can be read; give a PNG, a JPEG or a GeoTIFF") from None
        if image.width * image.height > MOST_PIXELS:
            raise _Unusable(_TOO_LARGE)
        try:
            if not upright:
                image.getexif().pop(0x0112, None)
            image.load()
            return ImageOps.exif_transpose(image) if upright else image
        except Exception:  # as above
            raise _Unusable("the file is cut short or damaged; fetch or save it again") from None


# -- where it lies ----------------------------------------------------------------------------------------------


def _by_points(scene: Scene, places: list[Written], image: Any) -> _Ground:
    """As two points of the plan say: the lower left and the upper right corner, of a picture held upright."""
    head = scene.plan.head
    assert head is not None
    told = len(scene.placer.slips)
    points = scene.placer.points(head, places)
    if len(points) < 2:
        why = [slip.why for slip in scene.placer.slips[told:] if slip.why]
        raise _Unusable(why[0] if why else "one of its two points has no place")
    (west, south), (east, north) = points
    if math.dist(*points) <= TOLERANCE:
        raise _Unusable("its two points are one; give its lower left and its upper right corner")
    if east - west <= TOLERANCE or north - south <= TOLERANCE:
        raise _Unusable("the first point is its lower left corner, the second its upper right: the second lies "
                        "north and east of the first")  # fmt: skip
    wide, high = (east - west) / image.width, (north - south) / image.height
    affine = (wide, 0.0, west, 0.0, -high, north)
    return _Ground(_turn(affine), _turn(_inverse(affine)), wide / high)


def _by_itself(scene: Scene, file: PictureFile, image: Any) -> _Ground:
    """As its own georeference says, which counts pixels as they are stored."""
    try:
        affine, code = _of_tags(getattr(image, "tag_v2", {}))
    except (TypeError, ValueError, IndexError):
        raise _Unusable(f"its GeoTIFF tags cannot be read; {_REMEDY}") from None
    affine = affine or _of_world_file(file.world)
    if affine is None:
        raise _Unusable(f"it says nowhere where it lies; {_REMEDY}")
    if scene.placer.frame is None:
        raise _Unusable("to lie by its own georeference it needs the plan's `anchor`, such as `anchor 43.7N,90.6W`; "
                        f"or {_REMEDY}")  # fmt: skip
    if code is None and not file.projection:
        raise _Unusable(f"it does not say which coordinate system it is in; put its .prj file beside it, or {_REMEDY}")
    try:
        turns: System = system(scene.placer.frame, file.projection if code is None else code)
        whole, back = _turn(affine), _turn(_inverse(affine))
    except ValueError as error:
        raise _Unusable(f"{error}; {_REMEDY}") from None
    return _Ground(lambda columns, rows: turns.to_local(*whole(columns, rows)),
                   lambda east, north: back(*turns.from_local(east, north)))  # fmt: skip


def _of_tags(tags: Any) -> tuple[Affine | None, int | None]:
    """The affine of a GeoTIFF, from the corner of its upper left pixel to its coordinate system, and the system's
    EPSG code; None for what its tags do not say."""
    ties, scale, matrix = (tuple(map(float, tags.get(tag, ()))) for tag in (_TIES, _SCALE, _MATRIX))
    affine: Affine | None = None
    if len(matrix) >= 8:
        affine = (matrix[0], matrix[1], matrix[3], matrix[4], matrix[5], matrix[7])
    elif len(ties) >= 6 and len(scale) >= 2:
        column, row, _, x, y = ties[:5]
        affine = (scale[0], 0.0, x - column * scale[0], 0.0, -scale[1], y + row * scale[1])
    directory = tuple(map(int, tags.get(_KEYS, ())))
    entries = [directory[start : start + 4] for start in range(4, len(directory) - 3, 4)]
    keys = {key: value for key, place, _, value in entries if place == 0}
    if affine is not None and keys.get(_RASTER) == _IS_POINT:
        affine = _of_middles(affine)
    named = {_IS_PROJECTED: _PROJECTED, _IS_GEOGRAPHIC: _GEODETIC}.get(keys.get(_MODEL, 0), 0)
    code = keys.get(named, _USERS_OWN)
    return affine, code if 0 < code != _USERS_OWN else None


def _of_world_file(text: str) -> Affine | None:
    """The affine of a world file, which places the middle of the upper left pixel; None where there is none."""
    if not text.strip():
        return None
    try:
        a, d, b, e, c, f = map(float, text.split()[:6])
    except ValueError:
        raise _Unusable("its world file is not six numbers, one a line; save it again") from None
    return _of_middles((a, b, c, d, e, f))


def _of_middles(affine: Affine) -> Affine:
    """An affine of whole pixels' middles, for pixels counted from a corner."""
    a, b, c, d, e, f = affine
    return a, b, c - (a + b) / 2, d, e, f - (d + e) / 2


def _turn(affine: Affine) -> Callable[[Floats, Floats], tuple[Floats, Floats]]:
    a, b, c, d, e, f = affine

    def turned(x: Floats, y: Floats) -> tuple[Floats, Floats]:
        with np.errstate(all="ignore"):  # what is beyond all numbers is told as elsewhere
            return a * x + b * y + c, d * x + e * y + f

    return turned


def _inverse(affine: Affine) -> Affine:
    """The affine back; raises ValueError for one that squeezes the picture to nothing."""
    a, b, c, d, e, f = affine
    size = a * e - b * d
    if not all(map(math.isfinite, affine)) or size == 0 or not math.isfinite(1 / size):
        raise ValueError("its georeference gives its pixels no size")
    return e / size, -b / size, (b * f - c * e) / size, -d / size, a / size, (c * d - a * f) / size


# -- cropped, reduced and paled ---------------------------------------------------------------------------------


def _drawn(image: Any, ground: _Ground, near: tuple[float, float, float, float], longest: int, units: str) -> Picture:
    """The part of a picture that lies on the ground `near`, ready to be drawn."""
    from PIL import Image

    left, upper, right, lower = box = _box(image.size, ground, near, units)
    share = min(1.0, longest / max(right - left, lower - upper))
    columns, rows = (max(1, round(size * share)) for size in (right - left, lower - upper))
    part = image if box == (0, 0, *image.size) else image.crop(box)
    small = _toned(part).resize((columns, rows), Image.Resampling.LANCZOS, reducing_gap=2.0)
    affine = _fitted(ground, box, columns, rows)
    return Picture(*_encoded(_paled(_on_white(small))), columns, rows, affine)


def _box(
    size: tuple[int, int], ground: _Ground, near: tuple[float, float, float, float], units: str
) -> tuple[int, int, int, int]:
    """The pixels (left, upper, right, lower) that lie on the ground `near`; raises _Unusable where none does."""
    west, south, east, north = near
    x, y = (axis.ravel() for axis in np.meshgrid(np.linspace(west, east, 5), np.linspace(south, north, 5)))
    columns, rows = ground.to_pixels(x, y)
    if not (np.isfinite(columns).all() and np.isfinite(rows).all()):
        raise _Unusable(_ELSEWHERE)
    left, right = math.floor(max(0, columns.min() + _HAIR)), math.ceil(min(size[0], columns.max() - _HAIR))
    upper, lower = math.floor(max(0, rows.min() + _HAIR)), math.ceil(min(size[1], rows.max() - _HAIR))
    if columns.max() < 0 or rows.max() < 0 or left >= size[0] or upper >= size[1]:
        middle = ground.to_ground(np.array([size[0] / 2]), np.array([size[1] / 2]))
        off = math.hypot(float(middle[0][0]) - (west + east) / 2, float(middle[1][0]) - (south + north) / 2)
        away = f", its middle {show(off, 'length', units, places=0)} from the property's" if math.isfinite(off) else ""
        raise _Unusable(f"it lies elsewhere{away}; look at where it is placed")
    return left, upper, max(right, left + 1), max(lower, upper + 1)


def _fitted(ground: _Ground, box: tuple[int, int, int, int], columns: int, rows: int) -> Affine:
    """The affine that fits the box of a picture best (least squares over nine points), for the box in so many
    columns and rows."""
    left, upper, right, lower = box
    u, v = (axis.ravel() for axis in np.meshgrid([0.0, 0.5, 1.0], [0.0, 0.5, 1.0]))
    east, north = ground.to_ground(left + u * (right - left), upper + v * (lower - upper))
    if not (np.isfinite(east).all() and np.isfinite(north).all()):
        raise _Unusable(_ELSEWHERE)
    terms = np.stack([u * columns, v * rows, np.ones(9)], axis=1)
    found, *_ = np.linalg.lstsq(terms, np.stack([east, north], axis=1), rcond=None)
    (a, d), (b, e), (c, f) = found.tolist()
    return a, b, c, d, e, f


def _toned(image: Any) -> Any:
    """A picture whose neighbouring pixels can be mixed: no palette, no colour that stands for clear, eight bits. Of
    deeper greys the middle 98 of 100 are spread over black to white: such pictures seldom fill their depth."""
    from PIL import Image

    if image.mode[0] in "IF":  # 16 or 32 bits, or fractions
        values = np.asarray(image, np.float32)
        held = values[np.isfinite(values)]
        least, most = np.percentile(held, [1, 99]) if held.size else (0.0, 1.0)
        spread = (np.nan_to_num(values, nan=most) - least) / max(most - least, 1e-9)
        return Image.fromarray((np.clip(spread, 0, 1) * 255).astype(np.uint8))
    if image.has_transparency_data:
        return image if image.mode in ("RGBA", "LA") else image.convert("RGBA")
    return image if image.mode in ("L", "RGB", "CMYK") else image.convert("RGB")


def _on_white(image: Any) -> Any:
    """In red, green and blue, and white where it is clear."""
    from PIL import Image

    if image.has_transparency_data:
        image = Image.alpha_composite(Image.new("RGBA", image.size, "white"), image.convert("RGBA"))
    return image.convert("RGB")


def _paled(image: Any) -> Any:
    """A picture as a background: full range, half its colour, blended to white."""
    from PIL import Image, ImageEnhance, ImageOps

    ranged = ImageOps.autocontrast(image, cutoff=0.5, preserve_tone=True)
    greyed = ImageEnhance.Color(ranged).enhance(COLOUR)
    return Image.blend(Image.new("RGB", image.size, "white"), greyed, KEPT)


def _encoded(image: Any) -> tuple[bytes, str]:
    """JPEG; for a picture of few colours PNG where that is smaller, as line drawings are. The same at every run."""
    jpeg = BytesIO()
    image.save(jpeg, "JPEG", quality=QUALITY, optimize=True)
    if image.getcolors(256):
        png = BytesIO()
        image.save(png, "PNG", optimize=True)
        if png.tell() < jpeg.tell():
            return png.getvalue(), "image/png"
    return jpeg.getvalue(), "image/jpeg"
