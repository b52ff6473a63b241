"""GeoJSON by RFC 7946 (2016): longitude first, WGS 84, outlines counter-clockwise.

Read with more patience than it is written: outlines either way round (section 3.1.6 asks that), heights passed over,
features without a geometry told, a bare geometry taken as a feature.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from shapely import get_coordinates
from shapely.geometry.base import BaseGeometry

from habitatlint.exchange.features import (
    DECIMALS,
    DERIVED,
    Contents,
    ExchangeTrouble,
    Feature,
    FloatArray,
    Gathering,
    area_of,
    counted,
    few,
    line_of,
    plain_lines,
    plain_text,
    polygons_of,
    rings_of,
)  # fmt: skip

#: collections nested deeper than this are no map
DEEPEST = 20
#: coordinate systems that are WGS 84 with the longitude first, by how the old standard of 2008 named them
_WGS_84 = ("CRS84", "EPSG::4326", "EPSG:4326")
#: attributes that say what a thing is
_KINDS = ("type", "kind", "symbol", "sym", "category", "class", "layer")


def read(data: bytes) -> Contents:
    """Everything in a GeoJSON text. Raises ExchangeTrouble for what is none."""
    try:
        whole = json.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise ExchangeTrouble(f"not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    except json.JSONDecodeError as error:
        raise ExchangeTrouble(f":{error.lineno} cannot be read: no whole JSON; save it anew") from None
    except (RecursionError, ValueError):
        raise ExchangeTrouble("cannot be read: its JSON nests too deeply, or holds a number without end") from None
    if not isinstance(whole, dict) or not isinstance(whole.get("type"), str):
        raise ExchangeTrouble("no GeoJSON: it has no `type` such as `FeatureCollection`")
    _hold_to_wgs_84(whole)
    reader = _Reader()
    reader.take(whole, 0)
    own = whole.get("habitatlint")
    head = {str(word): plain_lines(said) for word, said in own.items()} if isinstance(own, dict) else {}
    title = head.pop("title", "") or (whole["name"] if isinstance(whole.get("name"), str) else "")
    return reader.contents(title, head)


def _hold_to_wgs_84(whole: dict[str, Any]) -> None:
    crs = whole.get("crs")
    if not isinstance(crs, dict):
        return
    properties = crs.get("properties")
    name = str(properties.get("name", "")) if isinstance(properties, dict) else ""
    if not name.endswith(_WGS_84):
        raise ExchangeTrouble(
            f"its coordinates are of `{plain_text(name, 60)}`; save it in WGS 84 degrees (EPSG:4326), as RFC 7946 asks"
        )


class _Reader:
    def __init__(self) -> None:
        self.gathering = Gathering()
        self.number = 0
        self.placeless: list[str] = []
        self.unknown: set[str] = set()

    def contents(self, title: str, head: dict[str, str]) -> Contents:
        if self.placeless:
            what = f"{counted(len(self.placeless), 'feature')} without a place left out: {few(self.placeless)}"
            self.gathering.told.append(what)
        if self.unknown:
            self.gathering.told.append(f"no GeoJSON types, and passed over: {few(sorted(self.unknown))}")
        return self.gathering.contents(title, head)

    def take(self, one: Any, depth: int) -> None:
        if depth > DEEPEST:
            raise ExchangeTrouble(f"its collections nest deeper than {DEEPEST}; save it anew from a map program")
        kind = one.get("type") if isinstance(one, dict) else None
        if kind == "FeatureCollection":
            features = one.get("features")
            for feature in features if isinstance(features, list) else []:
                self.take(feature, depth + 1)
        elif kind == "Feature":
            properties = one.get("properties")
            self._feature(one.get("geometry"), properties if isinstance(properties, dict) else {}, depth)
        else:
            self._feature(one, {}, depth)

    def _feature(self, geometry: Any, properties: dict[str, Any], depth: int) -> None:
        self.number += 1
        feature = described(properties, f"feature {self.number}")
        found, bad = False, self.gathering.without_place
        for shape in self._shapes(geometry, feature.where, depth):
            found = True
            self.gathering.add(feature._replace(shape=shape))
        if not found and self.gathering.without_place == bad:  # else its points are told
            self.placeless.append(feature.where)

    def _shapes(self, geometry: Any, where: str, depth: int) -> Iterator[BaseGeometry]:
        if not isinstance(geometry, dict):
            return
        if depth > DEEPEST:
            raise ExchangeTrouble(f"its collections nest deeper than {DEEPEST}; save it anew from a map program")
        kind, held = geometry.get("type"), geometry.get("coordinates")
        shape: BaseGeometry | None
        if kind == "GeometryCollection":
            members = geometry.get("geometries")
            for one in members if isinstance(members, list) else []:
                yield from self._shapes(one, where, depth + 1)
        elif kind == "Point":
            shape = self.gathering.point(held if isinstance(held, list) else [], where)
            if shape is not None:
                yield shape
        elif kind == "MultiPoint":
            for point in self._line(held, where):
                shape = line_of(point.reshape(1, 2))
                if shape is not None:
                    yield shape
        elif kind in ("LineString", "MultiLineString"):
            for line in [held] if kind == "LineString" else _list(held):
                shape = line_of(self._line(line, where))
                if shape is not None:
                    yield shape
        elif kind in ("Polygon", "MultiPolygon"):
            polygons = [held] if kind == "Polygon" else _list(held)
            rings = [self._line(ring, where) for polygon in polygons for ring in _list(polygon)]
            shape = area_of(rings)
            if shape is not None:
                yield shape
        elif kind is not None:
            self.unknown.add(f"`{plain_text(kind, 30)}`")

    def _line(self, held: Any, where: str) -> FloatArray:
        return self.gathering.points([pair if isinstance(pair, list) else [] for pair in _list(held)], where)


def _list(held: Any) -> list[Any]:
    return held if isinstance(held, list) else []


def described(properties: dict[str, Any], where: str) -> Feature:
    """A feature without its shape, by its attributes as plain text. With a `noun` among them they are of the plan
    language; else one called name, one of what it is, and one that describes it count, whatever their case."""
    from shapely.geometry import Point

    said = {
        str(word).strip(): value for word, value in properties.items() if isinstance(value, str | int | float | bool)
    }
    lower = {word.lower(): plain_text(value) for word, value in said.items()}
    name = lower.get("name") or lower.get("title") or lower.get("label") or ""
    where = f"{where} `{plain_text(name, 60)}`" if name else where
    if lower.get("noun") or lower.get("derived") in DERIVED:
        own = {word.lower().replace("_", "-"): plain_lines(value) for word, value in said.items()}
        return Feature(Point(), lower.get("title") or name, (), "", "", own, where=where)
    kinds = tuple(lower[word] for word in _KINDS if lower.get(word))
    folder = lower.get("folder", "")
    description = lower.get("description") or lower.get("desc") or lower.get("comment") or ""
    return Feature(Point(), name, kinds, folder, description, where=where)


# -- out -----------------------------------------------------------------------------------------------------


def write(contents: Contents) -> str:
    """A FeatureCollection, a feature a line, so that two of them can be compared line by line."""
    head = json.dumps({"title": contents.title, **contents.head}, ensure_ascii=False)
    features = [json.dumps(_written(feature), ensure_ascii=False, allow_nan=False) for feature in contents.features]
    body = ",\n".join(features)
    return f'{{"type": "FeatureCollection", "habitatlint": {head}, "features": [\n{body}\n]}}\n'


def _written(feature: Feature) -> dict[str, Any]:
    properties = dict(feature.properties)
    for word, said in (
        ("title", feature.name),
        ("kind", " ".join(feature.kinds)),
        ("description", feature.description),
    ):
        if said and word not in properties and "noun" not in properties:
            properties[word] = said
    return {"type": "Feature", "properties": properties, "geometry": _geometry(feature.shape)}


def _geometry(shape: BaseGeometry) -> dict[str, Any]:
    if shape.geom_type == "Point":
        return {"type": "Point", "coordinates": _places(get_coordinates(shape))[0]}
    if shape.geom_type == "LineString":
        return {"type": "LineString", "coordinates": _places(get_coordinates(shape))}
    polygons = [[_places(ring) for ring in rings_of(polygon)] for polygon in polygons_of(shape)]
    if len(polygons) == 1:
        return {"type": "Polygon", "coordinates": polygons[0]}
    return {"type": "MultiPolygon", "coordinates": polygons}


def _places(points: FloatArray) -> list[list[float]]:
    return [[round(float(east), DECIMALS), round(float(north), DECIMALS)] for east, north in points]
