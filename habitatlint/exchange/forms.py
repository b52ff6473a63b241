"""The forms of exchange, by the ending of a file."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from habitatlint.exchange import geojson, gpx, kml, others
from habitatlint.exchange.features import LARGEST_FILE, NAMESPACE, PREFIX, Contents, ExchangeTrouble

_READ: Mapping[str, Callable[[bytes], Contents]] = {
    ".gpx": gpx.read,
    ".kml": kml.read,
    ".kmz": kml.read_kmz,
    ".geojson": geojson.read,
    ".json": geojson.read,
}
WRITTEN: Mapping[str, Callable[[Contents], str]] = {
    ".gpx": gpx.write,
    ".kml": kml.write,
    ".geojson": geojson.write,
}
#: what is found at the beginning of each file that `export` wrote
MARKS: Mapping[str, str] = {
    ".gpx": f'xmlns:habitatlint="{NAMESPACE}"',
    ".kml": f'"{PREFIX}',
    ".geojson": '"habitatlint": {',
}


def ending_of(name: str) -> str:
    """The ending by which a file is read, in lower case; raises ExchangeTrouble for one that nothing reads."""
    lower = name.lower()
    for ending in (*_READ, *others.FORMS):
        if lower.endswith(ending):
            return ending
    raise ExchangeTrouble("it is not known what this is; end it in .gpx, .kml, .kmz or .geojson, or .shp or .gpkg")


def beside(name: str) -> tuple[str, ...]:
    """The endings of the files that belong to one of this name."""
    return others.FORMS.get(ending_of(name), ())


def read(name: str, parts: Mapping[str, bytes]) -> Contents:
    """What is in a file: its bytes, and of what belongs to it, by their endings. Raises ExchangeTrouble."""
    ending = ending_of(name)
    if any(len(data) > LARGEST_FILE for data in parts.values()):
        raise ExchangeTrouble(
            f"larger than {LARGEST_FILE // 2**20} MB; cut it down to the property first, or save the tracks one by one"
        )
    if ending in _READ:
        return _READ[ending](parts[ending])
    return others.read(name.replace("\\", "/").rpartition("/")[2][: -len(ending)], ending, parts)
