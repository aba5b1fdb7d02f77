"""Distances, bearings and points on the WGS 84 ellipsoid.

The solution is C. Karney's (Algorithms for geodesics, J. Geodesy 87, 2013) by ``geographiclib``: exact to
nanometres and convergent near the antipode, where a sphere errs up to 0.55 % and simpler methods fail.
Latitudes are degrees north in [-90, 90], longitudes degrees east (any turn), distances kilometres, bearings
degrees in [0, 360), 0 true north, 90 east. Longitudes come back in [-180, 180).

A geodesic costs about 60 microseconds and a station is heard in many slots, so answers are remembered.
"""

import math
from functools import lru_cache
from typing import NamedTuple

from geographiclib.geodesic import Geodesic

from sentinel.sky.circular import wrap_360

# Room for more stations than the watch ever holds (5,000); an entry takes about 300 bytes.
_REMEMBERED = 8192
_EARTH = Geodesic.WGS84


class Path(NamedTuple):
    """The shortest path between two places; ``back_bearing_deg`` looks back from the second to the first."""

    distance_km: float
    bearing_deg: float
    back_bearing_deg: float


def check_place(lat_deg: float, lon_deg: float) -> None:
    """ValueError unless the latitude lies in [-90, 90] and the longitude is finite."""
    if not -90.0 <= lat_deg <= 90.0:
        raise ValueError(f"a latitude lies in -90 to 90 degrees, not {lat_deg}")
    if not math.isfinite(lon_deg):
        raise ValueError(f"a longitude must be finite, not {lon_deg}")


@lru_cache(maxsize=_REMEMBERED)
def path_between(lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float) -> Path:
    """The path from the first place to the second; identical places have distance 0 and both bearings 0.

    Raises ValueError for a latitude outside [-90, 90] or a number that is not finite.
    """
    check_place(lat1_deg, lon1_deg)
    check_place(lat2_deg, lon2_deg)
    solved = _EARTH.Inverse(lat1_deg, lon1_deg, lat2_deg, lon2_deg, Geodesic.DISTANCE | Geodesic.AZIMUTH)
    if solved["s12"] == 0.0:
        return Path(0.0, 0.0, 0.0)
    return Path(solved["s12"] / 1000.0, wrap_360(solved["azi1"]), wrap_360(solved["azi2"] + 180.0))


def midpoint(lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float) -> tuple[float, float]:
    """Latitude and longitude half-way along the path; errors as for ``path_between``."""
    return hop_midpoints(lat1_deg, lon1_deg, lat2_deg, lon2_deg, 1)[0]


@lru_cache(maxsize=_REMEMBERED)
def hop_midpoints(
    lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float, hops: int
) -> tuple[tuple[float, float], ...]:
    """Where each of ``hops`` equal hops is reflected: the points (k + 1/2) / hops along the path.

    Raises ValueError for fewer than one hop, and as ``path_between``.
    """
    if hops < 1:
        raise ValueError(f"a path has at least one hop, not {hops}")
    fractions = tuple((k + 0.5) / hops for k in range(hops))
    return points_on_path(lat1_deg, lon1_deg, lat2_deg, lon2_deg, fractions)


def points_on_path(
    lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float, fractions: tuple[float, ...]
) -> tuple[tuple[float, float], ...]:
    """Latitude and longitude at each fraction of the path (0 the first place, 1 the second).

    Errors as for ``path_between``.
    """
    check_place(lat1_deg, lon1_deg)
    check_place(lat2_deg, lon2_deg)
    line = _EARTH.InverseLine(lat1_deg, lon1_deg, lat2_deg, lon2_deg)
    positions = (line.Position(fraction * line.s13) for fraction in fractions)
    return tuple((position["lat2"], _wrap_180(position["lon2"])) for position in positions)


@lru_cache(maxsize=_REMEMBERED)
def point_along(
    lat_deg: float, lon_deg: float, bearing_deg: float, distance_km: float
) -> tuple[float, float]:
    """Latitude and longitude at a distance along a bearing; errors as for ``path_between``."""
    check_place(lat_deg, lon_deg)
    if not math.isfinite(distance_km):
        raise ValueError(f"a distance must be finite, not {distance_km} km")
    there = _EARTH.Direct(lat_deg, lon_deg, wrap_360(bearing_deg), distance_km * 1000.0)
    return there["lat2"], _wrap_180(there["lon2"])


def _wrap_180(lon_deg: float) -> float:
    return wrap_360(lon_deg + 180.0) - 180.0
