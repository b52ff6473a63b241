"""The flat frame of a plan, on the earth.

A plan is worked in metres east and north of its anchor. Earth points come in
and go out through an azimuthal equidistant projection on the WGS 84 ellipsoid
centred there, in which the distance and bearing of every point from the anchor
are those of the geodesic. Within 3 km of the anchor the distance between any
two points agrees with the geodesic to better than 1 part in a million.

The libraries are loaded only when they are needed: a plan in local points
needs neither.
"""

from __future__ import annotations

import calendar
import datetime
import importlib
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple, overload

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

#: First and last year of each World Magnetic Model, and the module that holds it.
MODELS = (
    (2025.0, 2030.0, "wmm_2025"),
    (2020.0, 2025.0, "wmm_2020"),
    (2015.0, 2020.0, "wmm_2015v2"),
    (2010.0, 2015.0, "wmm_2010"),
)


class FrameUnavailable(Exception):
    """A frame or a declination cannot be had; the message says what to do, in one line."""


@dataclass(frozen=True)
class Frame:
    """The flat frame around an anchor, latitude and longitude in WGS 84 degrees.

    Raises ValueError where the anchor is no place on the earth, and
    FrameUnavailable, at the first point turned, where pyproj is missing.
    """

    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        if not (-90 <= self.latitude <= 90 and -180 <= self.longitude <= 180):
            raise ValueError(f"no place on the earth: latitude {self.latitude}, longitude {self.longitude}")

    @cached_property
    def _projection(self) -> Any:
        try:
            from pyproj import Proj
        except ImportError as missing:
            raise FrameUnavailable(
                "points in latitude and longitude need the library pyproj: install it, or write the plan "
                "in local points"
            ) from missing
        return Proj(proj="aeqd", lat_0=self.latitude, lon_0=self.longitude, datum="WGS84", units="m")

    @overload
    def to_local(self, latitude: float, longitude: float) -> tuple[float, float]: ...
    @overload
    def to_local(self, latitude: FloatArray, longitude: FloatArray) -> tuple[FloatArray, FloatArray]: ...
    def to_local(self, latitude: Any, longitude: Any) -> tuple[Any, Any]:
        """Metres east and north of the anchor, from WGS 84 degrees; numbers or arrays of one shape.

        Degrees that are no place on the earth give infinity. What lies within
        0.64 mm of the anchor is taken for the anchor.
        """
        east, north = self._projection(longitude, latitude)
        return east, north

    @overload
    def to_earth(self, x: float, y: float) -> tuple[float, float]: ...
    @overload
    def to_earth(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]: ...
    def to_earth(self, x: Any, y: Any) -> tuple[Any, Any]:
        """Latitude and longitude in WGS 84 degrees, from metres east and north; as `to_local`."""
        longitude, latitude = self._projection(x, y, inverse=True)
        return latitude, longitude


#: turns coordinates, two arrays of one shape, into others
Turn = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]


class System(NamedTuple):
    """Another coordinate system: from its x (east, longitude) and y to metres of a plan's frame, and back."""

    to_local: Turn
    from_local: Turn


def system(frame: Frame, said: int | str) -> System:
    """A projected or geographic system, by its EPSG code or its well-known text (as a .prj holds it).

    Shifts between datums are those that pyproj has at hand, without any grid from the network: from NAD 83 to
    WGS 84 good to a metre or two. Points outside a system's reach come out as infinity.

    Raises ValueError, with a reason, for a system that is not known or not of the ground; FrameUnavailable
    where pyproj is missing."""
    local = frame._projection
    from pyproj import CRS, Transformer
    from pyproj.exceptions import ProjError

    name = f"EPSG:{said}" if isinstance(said, int) else "of its .prj"
    try:
        crs = CRS.from_epsg(said) if isinstance(said, int) else CRS.from_wkt(said)
        if not (crs.is_projected or crs.is_geographic):
            raise ValueError(f"the coordinate system {name} is not one of the ground")
        inward = Transformer.from_crs(crs, local.crs, always_xy=True)
        outward = Transformer.from_crs(local.crs, crs, always_xy=True)
    except ProjError:
        raise ValueError(f"the coordinate system {name} is not known") from None
    return System(inward.transform, outward.transform)


def declination(latitude: float, longitude: float, day: datetime.date) -> float:
    """Degrees from true to magnetic north, east positive, at sea level on `day`.

    By the World Magnetic Model of the day (2010 to the end of 2029). A bearing
    off true north is one off magnetic north plus this. Close to a magnetic pole
    a compass is of no use and neither is the figure.

    Raises FrameUnavailable where no model spans the day, or pygeomag is missing;
    ValueError for a place that is not on the earth.
    """
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise ValueError(f"no place on the earth: latitude {latitude}, longitude {longitude}")
    time = day.year + (day.timetuple().tm_yday - 1) / (366 if calendar.isleap(day.year) else 365)
    module = next((name for first, last, name in MODELS if first <= time <= last), None)
    if module is None:
        raise FrameUnavailable(
            f"no magnetic model spans {day.isoformat()} (2010 to 2029): write the declination in the plan, "
            "such as `declination 2.5W`"
        )
    try:
        geomag = importlib.import_module("pygeomag")
        coefficients = importlib.import_module(f"pygeomag.wmm.{module}")
    except ImportError as missing:
        raise FrameUnavailable(
            "the declination is worked out by the library pygeomag: install it, or write the declination "
            "in the plan, such as `declination 2.5W`"
        ) from missing
    # from the model's module, not its file: nothing is read from disk but code
    model = geomag.GeoMag(coefficients_data=getattr(coefficients, module.upper().replace("V", "v")))
    degrees = float(model.calculate(glat=latitude, glon=longitude, alt=0, time=time).d)
    return math.remainder(degrees, 360.0)
