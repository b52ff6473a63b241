"""What GDAL reads besides: shapefiles, GeoPackage, FlatGeobuf and more, by the library pyogrio (an extra)."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from io import BytesIO
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habitatlint.exchange.features import (
    Contents,
    ExchangeTrouble,
    Feature,
    FloatArray,
    Gathering,
    area_of,
    line_of,
    plain_text,
    rings_of,
)  # fmt: skip
from habitatlint.exchange.geojson import described
from habitatlint.ground.frame import Frame, FrameUnavailable, system

#: forms by their ending, and the endings of what must lie beside
FORMS: Mapping[str, tuple[str, ...]] = {
    ".shp": (".shx", ".dbf", ".prj", ".cpg"), ".gpkg": (), ".fgb": (), ".gml": (), ".gdb.zip": (), ".zip": (),
    ".dxf": (), ".tab": (".dat", ".map", ".id"), ".mif": (".mid",),
}  # fmt: skip
#: degrees are turned to metres and back here: a frame has a place
_ANYWHERE = Frame(0.0, 0.0)


def read(name: str, ending: str, parts: Mapping[str, bytes]) -> Contents:
    """Everything in a file of another form: its `name`, and its bytes and those of what lies beside it, by their
    endings.

    Raises ExchangeTrouble where the library is missing, or cannot read it."""
    try:
        from pyogrio import list_layers
        from pyogrio.errors import DataLayerError, DataSourceError, FieldError
        from pyogrio.raw import read as read_layer
    except ImportError:
        raise ExchangeTrouble(
            f"files that end in {ending} need one part more: pip install 'habitatlint[gdal]'; or save it as GPX, KML "
            "or GeoJSON"
        ) from None
    data = _packed(ending, parts)
    gathering = Gathering()
    failures = (DataSourceError, DataLayerError, FieldError, ValueError, OSError, RuntimeError, IndexError)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of GDAL, about what the file says besides
            names = [str(layer) for layer, _ in list_layers(data)]
            for number, layer in enumerate(names):
                # in memory a file has no name of its own, and so by its number
                meta, _, shapes, columns = read_layer(data, layer=number, force_2d=True)
                if shapes is not None:
                    _layer(gathering, name if len(names) == 1 else layer, meta, shapes, columns)
    except FrameUnavailable as error:
        raise ExchangeTrouble(str(error)) from None
    except failures as error:
        said = plain_text(str(error).splitlines()[0] if str(error) else "no reason given", 120)
        raise ExchangeTrouble(f"GDAL cannot read it ({said}); save it as GPX, KML or GeoJSON") from None
    return gathering.contents("")


def _packed(ending: str, parts: Mapping[str, bytes]) -> bytes:
    """The bytes of a file, or of several that lie beside each other packed into one."""
    if len(parts) == 1:
        return next(iter(parts.values()))
    import zipfile

    packed = BytesIO()
    with zipfile.ZipFile(packed, "w") as file:
        for one, data in sorted(parts.items()):
            file.writestr(f"layer{one}", data)
    return packed.getvalue()


def _layer(gathering: Gathering, layer: str, meta: Mapping[str, Any], shapes: Any, columns: Any) -> None:
    crs = str(meta.get("crs") or "")
    if not crs:
        raise ExchangeTrouble(
            f"layer `{plain_text(layer, 40)}` does not say its coordinate system (a shapefile's stands in its .prj); "
            "save it in WGS 84 degrees"
        )
    turn = _turn(crs)
    fields = [str(field) for field in meta["fields"]]
    for at, shape in enumerate(shapely.from_wkb(shapes, on_invalid="ignore")):
        said = {field: _plain(column[at]) for field, column in zip(fields, columns, strict=True)}
        feature = described(said, f"{plain_text(layer, 40)} {at + 1}")
        feature = feature._replace(folder=feature.folder or plain_text(layer, 80))
        if shape is None or shape.is_empty:
            gathering.told.append(f"{feature.where} has no place, and is left out")
            continue
        for part in _parts(shape):
            placed = _on_earth(part, turn, gathering, feature)
            if placed is not None:
                gathering.add(feature._replace(shape=placed))


def _turn(crs: str) -> Any:
    try:
        said: int | str = int(crs[5:]) if crs.upper().startswith("EPSG:") else crs
        inward = system(_ANYWHERE, said).to_local
    except ValueError as error:
        raise ExchangeTrouble(f"{error}; save it in WGS 84 degrees") from None

    def to_earth(points: FloatArray) -> FloatArray:
        latitude, longitude = _ANYWHERE.to_earth(*inward(points[:, 0], points[:, 1]))
        return np.column_stack([longitude, latitude])

    return to_earth


def _plain(value: Any) -> Any:
    value = value.item() if isinstance(value, np.generic) else value
    return None if isinstance(value, float) and not np.isfinite(value) else value


def _parts(shape: BaseGeometry) -> list[BaseGeometry]:
    if shape.geom_type in ("MultiPoint", "MultiLineString", "GeometryCollection"):
        return [part for one in shape.geoms for part in _parts(one)]
    return [shape]


def _on_earth(shape: BaseGeometry, turn: Any, gathering: Gathering, feature: Feature) -> BaseGeometry | None:
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return area_of([gathering.points(turn(ring).tolist(), feature.where) for ring in rings_of(shape)])
    if shape.geom_type in ("Point", "LineString"):
        return line_of(gathering.points(turn(shapely.get_coordinates(shape)).tolist(), feature.where))
    gathering.told.append(f"{feature.where} is a {shape.geom_type}, and is left out")
    return None
