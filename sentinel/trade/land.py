"""Is a place on or near the land that a call's prefix names?

The strongest single test of a decode: noise that passes for a call with a locator rarely puts the locator
into the call's own country. It knows the real shape of each area, in squares of 2 by 1 degrees (a
four-character locator): ``area_land.csv`` beside this file, made by ``tests/tools/make_area_places.py`` from
Natural Earth (public domain). Stations that keep their call when they move within a country are free of all
its land: any United States call may stand anywhere in the United States.
"""

import math
from collections.abc import Mapping
from functools import cache, lru_cache
from types import MappingProxyType
from typing import NamedTuple

from sentinel.trade.prefixes import area_of, rows_of

# Off the land by no more than this is still on it: reefs, piers and the map's own errors. Less than half a
# square's height (55.6 km), so that the square next to the land does not pass for land.
NEAR_KM = 50.0
_EARTH_KM = 6371.009  # mean radius, as in ITU-R P.533
_KM_PER_DEG = math.radians(_EARTH_KM)
_ANYWHERE = "*"


class _Run(NamedTuple):
    """Squares side by side, degrees; ``width_deg`` runs eastward from ``west_deg``."""

    south_deg: float
    west_deg: float
    width_deg: float


def off_area_km(place: str, lat_deg: float, lon_deg: float) -> float | None:
    """How far a position lies from the land of a call's area: 0 on it, kilometres to its nearest square.

    ``place`` is ``Call.place``: a call, or the prefix that tells where. 0 as well where the prefix says
    nothing of the place. None when the prefix is in no area. Latitudes lie in [-90, 90].
    """
    area = area_of(place)
    return None if area is None else _off_land_km(area.code, lat_deg, lon_deg)


def is_plausible(place: str, lat_deg: float, lon_deg: float) -> bool:
    """True when a station with this call may well be at this position: within ``NEAR_KM`` of its area.

    False also for a prefix that is in no area.
    """
    off_km = off_area_km(place, lat_deg, lon_deg)
    return off_km is not None and off_km <= NEAR_KM


@lru_cache(maxsize=4096)
def _off_land_km(code: str, lat_deg: float, lon_deg: float) -> float:
    squares = _squares_by_code()[code]
    if squares == _ANYWHERE:
        return 0.0
    nearest_km = math.inf
    for run in _runs(squares):
        lat_off_deg = max(run.south_deg - lat_deg, lat_deg - run.south_deg - 1, 0.0)
        if lat_off_deg * _KM_PER_DEG < nearest_km:
            nearest_km = min(nearest_km, _off_run_km(run, lat_deg, lon_deg, lat_off_deg))
    return nearest_km


def _off_run_km(run: _Run, lat_deg: float, lon_deg: float, lat_off_deg: float) -> float:
    """Distance to the nearest point of a run of squares, on a sphere."""
    east_of_west_deg = (lon_deg - run.west_deg) % 360
    if east_of_west_deg <= run.width_deg:
        return lat_off_deg * _KM_PER_DEG
    lat, lon_off = map(math.radians, (lat_deg, min(east_of_west_deg - run.width_deg, 360 - east_of_west_deg)))
    # where the great circle square to the meridian of the edge meets it, maybe beyond a pole
    foot_deg = math.degrees(math.atan2(math.sin(lat), math.cos(lat) * math.cos(lon_off)))
    if not run.south_deg <= foot_deg <= run.south_deg + 1:
        ends_deg = (run.south_deg, run.south_deg + 1)
        foot_deg = min(ends_deg, key=lambda end_deg: abs((end_deg - foot_deg + 180) % 360 - 180))
    edge = math.radians(foot_deg)
    haversine = math.sin((lat - edge) / 2) ** 2 + math.cos(lat) * math.cos(edge) * math.sin(lon_off / 2) ** 2
    return 2 * _EARTH_KM * math.asin(min(1.0, math.sqrt(haversine)))


@cache
def _squares_by_code() -> Mapping[str, str]:
    """Code of an area to its squares as the table writes them; ``=US`` stands for the squares of US."""
    written = {row["code"]: row["squares"] for row in rows_of("area_land.csv")}
    return MappingProxyType(
        {code: written[text[1:]] if text[:1] == "=" else text for code, text in written.items()}
    )


@cache
def _runs(squares: str) -> tuple[_Run, ...]:
    """``JO22x3``: the square JO22 and the two east of it."""
    runs = []
    for token in squares.split():
        first, _, count = token.partition("x")
        west = (ord(first[0]) - 65) * 20 + int(first[2]) * 2 - 180
        south = (ord(first[1]) - 65) * 10 + int(first[3]) - 90
        runs.append(_Run(south, west, 2 * int(count or 1)))
    return tuple(runs)
