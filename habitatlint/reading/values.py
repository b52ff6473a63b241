"""What the terminals of `grammar/values.lark` mean: tokens become values with their place."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Any, NamedTuple

from habitatlint.units import UNITS, Quantity, Range

#: beyond these a number is told as out of range
LARGEST_NUMBER = 1_000_000.0
FIRST_YEAR, LAST_YEAR = 1900, 2200


class BadValue(Exception):
    """A value that looks right and cannot be: a date that does not exist, a range upside down."""

    def __init__(self, message: str, start: int = 0, end: int = 0) -> None:
        super().__init__(message)
        self.message, self.start, self.end = message, start, end


class Written(NamedTuple):
    """A value as it stands in a block's text, from `start` up to `end` (offsets in the block).

    `kind` is the terminal's name in lower case ("length", "name", "text", "word", "point" ...),
    or that of a piece of a line ("traverse", "beside", "around", "station", "direction").
    """

    value: Any
    kind: str
    start: int
    end: int


class Point(NamedTuple):
    """East and north of the plan's origin, in the plan's unit."""

    east: float
    north: float


class EarthPoint(NamedTuple):
    """WGS 84 degrees, north and east positive."""

    latitude: float
    longitude: float


class Bearing(NamedTuple):
    """Degrees clockwise from the plan's north, and the way it was written."""

    degrees: float
    text: str

    def __str__(self) -> str:
        return self.text


class Day(NamedTuple):
    """A day of every year."""

    month: int
    day: int

    def __str__(self) -> str:
        return f"{self.month:02d}-{self.day:02d}"


class Window(NamedTuple):
    """From one day to another of every year, both included; may run over the new year."""

    first: Day
    last: Day

    def __contains__(self, day: object) -> bool:
        if not isinstance(day, date):
            return False
        here = Day(day.month, day.day)
        if self.first <= self.last:
            return self.first <= here <= self.last
        return here >= self.first or here <= self.last

    def __str__(self) -> str:
        return f"{self.first}..{self.last}"


class Period(NamedTuple):
    """From one date to another, both included."""

    first: date
    last: date

    def __str__(self) -> str:
        return f"{self.first}..{self.last}"


class Part(NamedTuple):
    """`7 of 10`."""

    number: float
    whole: float


class Station(NamedTuple):
    """A place on a way, so far from its first point."""

    way: Written
    distance: Written


class Traverse(NamedTuple):
    """Legs by bearing and distance from a place."""

    start: Written
    legs: tuple[tuple[Written, Written], ...]


class Beside(NamedTuple):
    """A parallel of a path; `start` and `end` along it, None for the whole."""

    way: Written
    side: str
    offset: Written
    start: Written | None
    end: Written | None


class Around(NamedTuple):
    """The outline of something, grown by a distance."""

    thing: Written
    distance: Written


class Direction(NamedTuple):
    """`along`, `against`, `away` or `toward`, and of what."""

    word: str
    thing: Written


WINDS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
_WIND_DEGREES = {name: index * 22.5 for index, name in enumerate(WINDS)}
_QUANTITY = re.compile(r"(-?[0-9.]+)[ \t]*(.*)", re.DOTALL)
_RANGE = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?)[ \t]?(%|[a-zA-Z/]*)\.\.(-?[0-9]+(?:\.[0-9]+)?)[ \t]?(.*)", re.DOTALL)
_QUADRANT = re.compile(r"([NS])([0-9.]+)(?:[d°-]([0-9]+)'?(?:-?([0-9.]+)\"?)?|[d°])?([EW])")
_EARTH = re.compile(r"([0-9.]+)(?:[ \t]+([0-9.]+))?([NS]),([0-9.]+)(?:[ \t]+([0-9.]+))?([EW])")
_ESCAPE = re.compile(r"[ \t]*\\[ \t]*(\r?\n[ \t]*)|\\(.)", re.DOTALL)


def _number(text: str) -> float:
    number = float(text)
    if not -LARGEST_NUMBER <= number <= LARGEST_NUMBER:
        raise BadValue(f"`{_short(text)}` is out of range: numbers go up to a million")
    return number


def _short(text: str) -> str:
    return text if len(text) <= 24 else text[:21] + "..."


def _quantity(token: str) -> Quantity:
    found = _QUANTITY.match(token)
    assert found
    unit = " ".join(found[2].split())
    return Quantity(_number(found[1]), unit)


def _range(token: str) -> Range:
    found = _RANGE.match(token)
    assert found
    last = found[4].strip()
    first = found[2] or last
    for unit in (first, last):
        if unit not in UNITS:
            raise BadValue(f"`{_short(unit)}` is no unit; a range is written `6in..10in`")
    least, largest = Quantity(_number(found[1]), first), Quantity(_number(found[3]), last)
    if least.kind != largest.kind:
        raise BadValue(f"`{_short(token)}` needs one unit for both ends, as in `6in..10in`")
    if least.size > largest.size:
        raise BadValue(f"`{_short(token)}` is upside down: the smaller end comes first")
    return Range(least, largest)


def _date_of(text: str) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise BadValue(f"there is no day `{text}`") from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise BadValue(f"the year of `{text}` is out of range")
    return day


def _day_of(text: str) -> Day:
    month, day = int(text[:2]), int(text[3:])
    try:
        date(2024, month, day)
    except ValueError:
        raise BadValue(f"there is no day `{text}` in any year") from None
    return Day(month, day)


def _period(token: str) -> Period:
    first, last = _date_of(token[:10]), _date_of(token[12:])
    if last < first:
        raise BadValue(f"`{token}` is upside down: the earlier date comes first")
    return Period(first, last)


def _window(token: str) -> Window:
    return Window(_day_of(token[:5]), _day_of(token[7:]))


def _point(token: str) -> Point:
    east, _, north = token.partition(",")
    return Point(_number(east), _number(north))


def _earth(token: str) -> EarthPoint:
    found = _EARTH.match(token)
    assert found
    latitude = float(found[1]) + float(found[2] or 0) / 60
    longitude = float(found[4]) + float(found[5] or 0) / 60
    if latitude > 90 or longitude > 180 or float(found[2] or 0) >= 60 or float(found[5] or 0) >= 60:
        raise BadValue(f"`{token}` is no place on the earth")
    return EarthPoint(latitude if found[3] == "N" else -latitude, longitude if found[6] == "E" else -longitude)


def _wind(token: str) -> Bearing:
    return Bearing(_WIND_DEGREES[token], token)


def _degrees(token: str) -> Bearing:
    number = _number(token[:-3].strip())
    if not 0 <= number <= 360:
        raise BadValue(f"`{token}` is out of range: a bearing goes from 0 to 360 degrees")
    # 360 degrees are north as a bearing, and the whole round as an angle
    return Bearing(number, token)


def _quadrant(token: str) -> Bearing:
    """`N45E`, `S68d05'35"W`, `N68-05-35W`: so far from north or south toward east or west."""
    found = _QUADRANT.fullmatch(token)
    assert found
    minutes, seconds = float(found[3] or 0), float(found[4] or 0)
    angle = float(found[2]) + minutes / 60 + seconds / 3600
    if angle > 90 or minutes >= 60 or seconds >= 60:
        raise BadValue(f"`{token}` is no bearing: a quadrant has 90 degrees, a degree 60 minutes")
    north, east = found[1] == "N", found[5] == "E"
    degrees = angle if north else 180 - angle
    return Bearing((degrees if east else -degrees) % 360, token)


def _declination(token: str) -> float:
    """Degrees, east positive."""
    size = float(token[:-1])
    if size > 180:
        raise BadValue(f"`{token}` is out of range")
    return size if token[-1] == "E" else -size


def _text(token: str) -> str:
    body = token[1:-1]
    if "\\" not in body:
        return body
    return _ESCAPE.sub(lambda found: " " if found[1] else found[2], body)


def _part(token: str) -> Part:
    number, _, whole = token.partition("of")
    part = Part(_number(number), _number(whole))
    if not 0 <= part.number <= part.whole or part.whole == 0:
        raise BadValue(f"`{token}` is no part of a whole")
    return part


#: terminal -> (kind of the written value, how its text becomes a value)
CONVERTERS: dict[str, tuple[str, Callable[[Any], Any]]] = {
    "NAME": ("name", str),
    "PACKED": ("name", str),
    "RULE_LIMIT": ("dotted", str),
    "STRING": ("text", _text),
    "POINT": ("point", _point),
    "EARTH": ("earth", _earth),
    "NUMBER": ("number", _quantity),
    "LENGTH": ("length", _quantity),
    "AREA": ("area", _quantity),
    "SHARE": ("share", _quantity),
    "PART": ("part", _part),
    "DENSITY": ("density", _quantity),
    "BASAL_AREA": ("basal-area", _quantity),
    "VOLUME": ("volume", _quantity),
    "DOSE": ("dose", _quantity),
    "SPEED": ("speed", _quantity),
    "DURATION": ("duration", _quantity),
    "RANGE": ("range", _range),
    "DATE": ("date", _date_of),
    "PERIOD": ("period", _period),
    "DAY": ("day", _day_of),
    "WINDOW": ("window", _window),
    "WIND": ("wind", _wind),
    "QUADRANT": ("bearing", _quadrant),
    "DEGREES": ("bearing", _degrees),
    "DECLINATION": ("declination", _declination),
}


def written(token: Any) -> Written:
    """The value of a token; a keyword stands for itself.

    Raises BadValue where the value cannot be.
    """
    converter = CONVERTERS.get(token.type)
    if converter is None:
        return Written(token.value, "word", token.start_pos, token.end_pos)
    kind, convert = converter
    try:
        return Written(convert(token.value), kind, token.start_pos, token.end_pos)
    except BadValue as error:
        raise BadValue(error.message, token.start_pos, token.end_pos) from None


#: terminal -> what a person reads it as, with an example
PHRASES: dict[str, str] = {
    "NAME": "a name (lower-case words with hyphens)",
    "PACKED": "a rule's name",
    "RULE_LIMIT": "a rule and its limit such as `live-hinge-near-entry.clearance`",
    "STRING": 'words in double quotes such as `"South lane"`',
    "POINT": "a point such as `120,45`",
    "EARTH": "an earth point such as `43.7120N,90.6210W`",
    "NUMBER": "a number",
    "LENGTH": "a length with its unit such as `20yd` or `8in`",
    "AREA": "an area such as `2.5ac`",
    "SHARE": "a share such as `25%`",
    "PART": "a count of a whole such as `7 of 10`",
    "DENSITY": "a density such as `50 per acre`",
    "BASAL_AREA": "a basal area such as `110 sqft/ac`",
    "VOLUME": "a volume such as `12 floz`",
    "DOSE": "a dose such as `64 floz/ac`",
    "SPEED": "a speed such as `7mph`",
    "DURATION": "a duration such as `12 hours`",
    "RANGE": "a range such as `6in..10in`",
    "DATE": "a date such as `2026-02-10`",
    "PERIOD": "a period such as `2026-02-15..2026-03-10`",
    "DAY": "a day of the year such as `05-20`",
    "WINDOW": "a window of the year such as `11-01..03-31`",
    "WIND": "a wind such as `NW`",
    "QUADRANT": "a bearing such as `N45E` or `135deg`",
    "DEGREES": "an angle such as `15deg`",
    "DECLINATION": "a declination such as `2.5W`",
    "_NL": "nothing more on this line",
    "_MARGIN": "nothing more on this line",
    "$END": "nothing more on this line",
}
