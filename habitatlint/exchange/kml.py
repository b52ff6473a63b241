"""KML 2.2, and its packed form KMZ: what map programs and phones show.

Source: OGC 07-147r2, "OGC KML" (2008): names and order of elements, colours as aabbggrr.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Mapping
from io import BytesIO
from typing import NamedTuple
from xml.etree.ElementTree import Element

import numpy as np
from shapely import get_coordinates
from shapely.geometry.base import BaseGeometry

from habitatlint.exchange import xml
from habitatlint.exchange.features import (
    DECIMALS,
    LARGEST_FILE,
    PREFIX,
    Contents,
    ExchangeTrouble,
    Feature,
    FloatArray,
    Gathering,
    area_of,
    counted,
    line_of,
    plain_lines,
    plain_text,
    polygons_of,
    rings_of,
)  # fmt: skip

_KML = "http://www.opengis.net/kml/2.2"
_FOLDERS = frozenset({"Folder", "Document"})
#: what has no place of its own in a plan, in words
_PASSED_BY = {
    "NetworkLink": "link to another file, which is not followed",
    "GroundOverlay": "picture on the ground",
    "PhotoOverlay": "photo",
    "ScreenOverlay": "picture on the screen",
}
_TAG = re.compile(r"<[^<>]*>")


def read_kmz(data: bytes) -> Contents:
    """The first KML file of a KMZ, unpacked in memory and held to the size of any other."""
    import zipfile
    import zlib

    try:
        with zipfile.ZipFile(BytesIO(data)) as packed:
            name = next((one for one in packed.namelist() if one.lower().endswith(".kml")), None)
            if name is None:
                raise ExchangeTrouble("a KMZ without a KML file in it")
            with packed.open(name) as file:
                unpacked = file.read(LARGEST_FILE + 1)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError, ValueError):
        raise ExchangeTrouble("no KMZ that can be unpacked; save it anew, or as KML") from None
    if len(unpacked) > LARGEST_FILE:
        raise ExchangeTrouble(f"larger than {LARGEST_FILE // 2**20} MB unpacked; cut it down to the property first")
    return read(unpacked)


def read(data: bytes) -> Contents:
    """Everything in a KML file that has a place. Raises ExchangeTrouble for what is none."""
    gathering = Gathering()
    title, head = "", dict[str, str]()
    passed: dict[str, int] = {}
    marks = 0
    for event, element, above in xml.elements(data):
        name = xml.local(element)
        if event == "start":
            if not above and name not in ("kml", "Placemark", *_FOLDERS):
                raise ExchangeTrouble(f"no KML: it begins with `{plain_text(name, 40)}`; give it its own ending")
            continue
        if name == "Placemark":
            marks += 1
            _placemark(element, above, gathering, marks)
            xml.drop(element, above)
        elif name in _PASSED_BY:
            passed[name] = passed.get(name, 0) + 1
            xml.drop(element, above)
        elif name in ("Style", "StyleMap", "Schema"):
            xml.drop(element, above)
        elif name == "Document":
            title = title or xml.child(element, "name")
            head = head or {
                word.removeprefix(PREFIX): said for word, said in _data(element).items() if word.startswith(PREFIX)
            }
        elif name == "Folder":
            xml.drop(element, above)
    gathering.told += [f"{counted(count, _PASSED_BY[name].split(',')[0].split(' which')[0])} passed over"
                       for name, count in sorted(passed.items())]  # fmt: skip
    return gathering.contents(title, head)


def _placemark(element: Element, above: list[Element], gathering: Gathering, number: int) -> None:
    name = plain_text(xml.child(element, "name"))
    where = f"placemark {number} `{plain_text(name, 60)}`" if name else f"placemark {number}"
    data = _data(element)
    own = {word.removeprefix(PREFIX): plain_lines(said) for word, said in data.items() if word.startswith(PREFIX)}
    if not own and data.get("noun"):
        own = {word: plain_lines(said) for word, said in data.items()}
    folder = next((xml.child(one, "name") for one in reversed(above) if xml.local(one) == "Folder"), "")
    kinds = tuple(plain_text(data[word], 80) for word in ("type", "kind", "category", "symbol") if data.get(word))
    description = plain_text(html.unescape(_TAG.sub(" ", xml.child(element, "description")[:20_000])))
    found = list(_shapes(element, gathering, where))
    if "noun" in own and len(found) > 1:  # the parcels of one boundary
        areas = [shape for shape, _ in found if shape is not None and "olygon" in shape.geom_type]
        others = [one for one in found if one[0] is not None and "olygon" not in one[0].geom_type]
        found = [(area_of([ring for shape in areas for ring in rings_of(shape)]), False)] if areas else []
        found += others
    shapes = [(shape, walked) for shape, walked in found if shape is not None]
    for shape, walked in shapes:
        gathering.add(Feature(shape, name, kinds, plain_text(folder, 80), "" if "noun" in own else description,
                              own, walked, where))  # fmt: skip
    if not shapes:
        gathering.told.append(f"{where} has no place, and is left out")


def _data(element: Element) -> dict[str, str]:
    """The named data of a placemark or document: `Data` with a value, and `SimpleData` of a schema."""
    found: dict[str, str] = {}
    for extended in element:
        if xml.local(extended) != "ExtendedData":
            continue
        for one in extended.iter():
            kind, word = xml.local(one), one.get("name", "")
            if kind == "Data" and word:
                found[word] = xml.child(one, "value")
            elif kind == "SimpleData" and word:
                found[word] = one.text or ""
    return found


def _shapes(element: Element, gathering: Gathering, where: str) -> Iterator[tuple[BaseGeometry | None, bool]]:
    """Every shape below an element, and whether it was recorded point by point."""
    for one in element:
        kind = xml.local(one)
        if kind == "Point":
            points = gathering.points(_coordinates(xml.child(one, "coordinates")), where)
            if len(points):
                yield line_of(points[:1]), False
        elif kind in ("LineString", "LinearRing"):
            points = gathering.points(_coordinates(xml.child(one, "coordinates")), where)
            shape = area_of([points]) if kind == "LinearRing" else line_of(points)
            if shape is not None:
                yield shape, False
        elif kind == "Polygon":
            rings = [
                gathering.points(_coordinates(xml.child(ring, "coordinates")), where)
                for ring in one.iter()
                if xml.local(ring) == "LinearRing"
            ]
            shape = area_of(rings)
            if shape is not None:
                yield shape, False
        elif kind == "Track":
            said = [coord.text or "" for coord in one if xml.local(coord) == "coord"]
            shape = line_of(gathering.points([words.split() for words in said], where))
            if shape is not None:
                yield shape, True
        elif kind in ("MultiGeometry", "MultiTrack"):
            yield from _shapes(one, gathering, where)


def _coordinates(words: str) -> Iterator[list[str]]:
    # some write a blank behind the comma
    for triple in re.sub(r"\s*,\s*", ",", words).split():
        yield triple.split(",")


# -- out -----------------------------------------------------------------------------------------------------


class Look(NamedTuple):
    """How a kind of thing is shown: the colour of its line and fill (#rrggbb), and how heavy its line is."""

    colour: str
    weight: float = 2.5
    fill: str = "40"


# the eight of Okabe & Ito, "Color Universal Design" (2008), as on the map
_BLACK, _ORANGE, _SKY, _GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
_YELLOW, _BLUE, _VERMILION, _PURPLE = "#F0E442", "#0072B2", "#D55E00", "#CC79A7"
_LOOKS = {
    "boundary": Look(_BLACK, 4, "00"), "core": Look(_BLACK, 1.5, "00"), "food": Look(_YELLOW), "pocket": Look(_PURPLE),
    "bed": Look(_PURPLE), "path": Look(_VERMILION, 3), "stand": Look(_VERMILION), "timber": Look(_GREEN, 1.5, "20"),
    "release": Look(_GREEN, 2, "20"), "row": Look(_ORANGE), "patch": Look(_ORANGE), "tree": Look(_ORANGE),
    "trees": Look(_ORANGE, 1, "60"), "opening": Look(_SKY), "planting": Look(_GREEN), "hazard": Look(_BLACK),
    "slope": Look(_SKY, 1), "drain": Look(_BLUE, 1.5), "place": Look(_VERMILION), "sign": Look(_PURPLE, 1.5),
    "task": Look(_BLUE), "findings": Look(_VERMILION),
}  # fmt: skip


def write(contents: Contents) -> str:
    """A KML 2.2 document: a folder and a simple style a kind of thing, longitude first."""
    groups: dict[str, list[Feature]] = {}
    for feature in contents.features:
        groups.setdefault(feature.folder, []).append(feature)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<kml xmlns="{_KML}">',
        "<Document>",
        f"  <name>{xml.text(contents.title)}</name>",
    ]
    for folder in groups:
        look = _LOOKS.get(folder, Look(_BLACK))
        line, fill = _colour(look.colour, "ff"), _colour(look.colour, look.fill)
        lines.append(
            f"  <Style id={xml.attribute(folder)}><IconStyle><color>{line}</color></IconStyle>"
            f"<LineStyle><color>{line}</color><width>{look.weight}</width></LineStyle>"
            f"<PolyStyle><color>{fill}</color></PolyStyle></Style>"
        )
    lines += _own(contents.head, "  ")
    for folder, features in groups.items():
        lines += ["  <Folder>", f"    <name>{xml.text(folder)}</name>"]
        for feature in features:
            lines += ["    <Placemark>", f"      <name>{xml.text(feature.name)}</name>"]
            if feature.description:
                lines.append(f"      <description>{xml.text(feature.description)}</description>")
            lines.append(f"      <styleUrl>#{xml.text(folder)}</styleUrl>")
            lines += [*_own(feature.properties, "      "), *_geometry(feature.shape, "      "), "    </Placemark>"]
        lines.append("  </Folder>")
    return "\n".join([*lines, "</Document>", "</kml>", ""])


def _colour(colour: str, opacity: str) -> str:
    red, green, blue = colour[1:3], colour[3:5], colour[5:7]
    return f"{opacity}{blue}{green}{red}".lower()


def _own(properties: Mapping[str, str], indent: str) -> Iterator[str]:
    if not properties:
        return
    yield f"{indent}<ExtendedData>"
    for word, said in properties.items():
        yield f"{indent}  <Data name={xml.attribute(PREFIX + word)}><value>{xml.text(said)}</value></Data>"
    yield f"{indent}</ExtendedData>"


def _geometry(shape: BaseGeometry, indent: str) -> Iterator[str]:
    if shape.geom_type in ("Point", "LineString"):
        kind = shape.geom_type
        yield f"{indent}<{kind}><coordinates>{_written(get_coordinates(shape))}</coordinates></{kind}>"
        return
    polygons = polygons_of(shape)
    if len(polygons) > 1:
        yield f"{indent}<MultiGeometry>"
    for polygon in polygons:
        first, *holes = (_written(ring) for ring in rings_of(polygon))
        inner = "".join(f"<innerBoundaryIs>{_ring(hole)}</innerBoundaryIs>" for hole in holes)
        yield f"{indent}<Polygon><outerBoundaryIs>{_ring(first)}</outerBoundaryIs>{inner}</Polygon>"
    if len(polygons) > 1:
        yield f"{indent}</MultiGeometry>"


def _ring(coordinates: str) -> str:
    return f"<LinearRing><coordinates>{coordinates}</coordinates></LinearRing>"


def _written(points: FloatArray) -> str:
    return " ".join(f"{east:.{DECIMALS}f},{north:.{DECIMALS}f}" for east, north in np.asarray(points))
