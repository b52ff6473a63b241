"""GPX: what hand-held receivers and phones record and show. Versions 1.0 and 1.1 are read, 1.1 is written.

Source: "GPX 1.1 Schema Documentation", topografix.com/GPX/1/1 (2004): names and order of elements.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from xml.etree.ElementTree import Element

from shapely import get_coordinates
from shapely.geometry.base import BaseGeometry

from habitatlint.exchange import xml
from habitatlint.exchange.features import (
    DECIMALS,
    NAMESPACE,
    Contents,
    ExchangeTrouble,
    Feature,
    FloatArray,
    Gathering,
    area_of,
    counted,
    joined,
    line_of,
    plain_lines,
    plain_text,
    rings_of,
)  # fmt: skip

_GPX = "http://www.topografix.com/GPX/1/1"


def read(data: bytes) -> Contents:
    """Everything in a GPX file. Raises ExchangeTrouble for what is none."""
    gathering = Gathering()
    title, head = "", dict[str, str]()
    waypoints = tracks = routes = 0
    segments: list[list[tuple[str, str]]] = []
    for event, element, above in xml.elements(data):
        name = xml.local(element)
        if event == "start":
            if not above and name != "gpx":
                raise ExchangeTrouble(f"no GPX: it begins with `{plain_text(name, 40)}`; give it its own ending")
            if name in ("trk", "rte"):
                segments = []
            if name == "trkseg" or name == "rte":
                segments.append([])
            continue
        if name in ("trkpt", "rtept"):
            if segments:
                segments[-1].append((element.get("lon", ""), element.get("lat", "")))
            xml.drop(element, above)
        elif name == "wpt":
            waypoints += 1
            where = _called(f"waypoint {waypoints}", element)
            point = gathering.point((element.get("lon", ""), element.get("lat", "")), where)
            if point is not None:
                gathering.add(_feature(element, point, where))
            xml.drop(element, above)
        elif name in ("trk", "rte"):
            track = name == "trk"
            tracks, routes = tracks + track, routes + (not track)
            where = _called(f"track {tracks}" if track else f"route {routes}", element)
            for shape in _shapes(element, gathering, segments, where):
                gathering.add(_feature(element, shape, where)._replace(walked=track))
            xml.drop(element, above)
        elif name == "metadata":
            title = xml.child(element, "name")
            head = xml.own_properties(_extensions(element))
            xml.drop(element, above)
        elif len(above) == 1 and name == "name":  # GPX 1.0 has no metadata
            title = element.text or ""
    return gathering.contents(title, head)


def _called(where: str, element: Element) -> str:
    name = plain_text(xml.child(element, "name"), 60)
    return f"{where} `{name}`" if name else where


def _extensions(element: Element) -> Element | None:
    return next((one for one in element if xml.local(one) == "extensions"), None)


def _shapes(
    element: Element, gathering: Gathering, segments: list[list[tuple[str, str]]], where: str
) -> Iterator[BaseGeometry]:
    """The shapes of a track or route: an area, where this program wrote one; else its walks."""
    pieces: list[FloatArray] = []
    for segment in segments:
        pieces.append(gathering.points(segment, where))
    if xml.own_properties(_extensions(element)).get("form") == "area":
        area = area_of(pieces)
        if area is not None:
            yield area
        else:
            gathering.told.append(f"{where} encloses nothing, and is left out")
        return
    walks = list(joined(pieces))
    if len(walks) > 1:
        gathering.told.append(f"{where} is {counted(len(walks), 'walk')} that do not meet: each comes in by itself")
    for walk in walks:
        line = line_of(walk)
        if line is not None:
            yield line
    if not walks:
        gathering.told.append(f"{where} has no points, and is left out")


def _feature(element: Element, shape: BaseGeometry, where: str) -> Feature:
    words = {name: plain_text(xml.child(element, name)) for name in ("name", "type", "sym", "cmt", "desc")}
    own = {word: plain_lines(said) for word, said in xml.own_properties(_extensions(element)).items() if word != "form"}
    kinds = tuple(word for word in (words["type"], words["sym"]) if word)
    description = words["desc"] or words["cmt"]
    return Feature(shape, words["name"], kinds, "", "" if "noun" in own else description, own, where=where)


# -- out -----------------------------------------------------------------------------------------------------


def write(contents: Contents) -> str:
    """A GPX 1.1 file: points as waypoints, lines as tracks, areas as closed tracks, each ring a segment. It holds no
    time of day, so that the same plan gives the same bytes."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<gpx version="1.1" creator="habitatlint" xmlns="{_GPX}" xmlns:habitatlint="{NAMESPACE}">',
        "  <metadata>",
        f"    <name>{xml.text(contents.title)}</name>",
        *_own(contents.head, "    "),
        "  </metadata>",
    ]
    points = [feature for feature in contents.features if feature.form == "point"]
    for feature in points:
        (longitude, latitude), *_ = get_coordinates(feature.shape)
        lines.append(f'  <wpt lat="{latitude:.{DECIMALS}f}" lon="{longitude:.{DECIMALS}f}">')
        lines += [*_words(feature), *_own(feature.properties, "    "), "  </wpt>"]
    for feature in contents.features:
        if feature.form == "point":
            continue
        area = feature.form == "area"
        own = {**feature.properties, **({"form": "area"} if area else {})}
        lines += ["  <trk>", *_words(feature), *_own(own, "    ")]
        for piece in rings_of(feature.shape) if area else [get_coordinates(feature.shape)]:
            lines.append("    <trkseg>")
            lines += [f'      <trkpt lat="{north:.{DECIMALS}f}" lon="{east:.{DECIMALS}f}"/>' for east, north in piece]
            lines.append("    </trkseg>")
        lines.append("  </trk>")
    return "\n".join([*lines, "</gpx>", ""])


def _words(feature: Feature) -> Iterator[str]:
    yield f"    <name>{xml.text(feature.name)}</name>"
    if feature.description:
        yield f"    <desc>{xml.text(feature.description)}</desc>"
    if feature.kinds:
        yield f"    <type>{xml.text(feature.kinds[0])}</type>"


def _own(properties: Mapping[str, str], indent: str) -> Iterator[str]:
    if not properties:
        return
    yield f"{indent}<extensions>"
    for word, said in properties.items():
        yield f"{indent}  <habitatlint:{word}>{xml.text(said)}</habitatlint:{word}>"
    yield f"{indent}</extensions>"
