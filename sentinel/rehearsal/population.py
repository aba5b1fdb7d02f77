"""An invented world of six-metre stations: who could be heard, from where, with how much power.

A station's call belongs to the area that it lives in and its suffix begins with Q (QAA to QZZ: well formed,
never issued), so call and locator agree, as they do for almost every real station. The four-character
locator goes into messages; the true place lies anywhere inside that square, so a listener cannot know it
better than a real one could. ``areas.csv`` says where people live and how many of them are on six metres.
"""

import csv
import math
import random
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from string import ascii_uppercase

from sentinel.sky.geodesy import point_along
from sentinel.trade.locator import locator_of

# Six stations in ten live in or near one of their area's towns (an assumption; people cluster).
_TOWN_SHARE = 0.6
_TOWNS_PER_AREA = 5
_TOWN_SPREAD_DEG = 0.35
# Visitors put the prefix of the area that they are in before their own call: one in 250 (an assumption).
_VISITORS = 0.004
# Draws of a place before the sea is accepted; a ring that is one part in ten land is missed once in 60.
_TRIES = 40


@dataclass(frozen=True, slots=True)
class Area:
    """One row of ``areas.csv``: a box that a few prefixes live in."""

    prefixes: tuple[str, ...]
    south_deg: float
    north_deg: float
    west_deg: float
    east_deg: float
    stations: int

    def off_deg(self, lat_deg: float, lon_deg: float) -> float:
        """How far outside the box a place lies, roughly; 0 inside."""
        north = max(self.south_deg - lat_deg, lat_deg - self.north_deg, 0.0)
        middle_deg, half_deg = (self.west_deg + self.east_deg) / 2.0, (self.east_deg - self.west_deg) / 2.0
        east = max(abs((lon_deg - middle_deg + 180.0) % 360.0 - 180.0) - half_deg, 0.0)
        return math.hypot(north, east * math.cos(math.radians(lat_deg)))


@dataclass(frozen=True, slots=True)
class Station:
    """One invented station. ``eirp_dbm`` is power plus antenna gain towards home, averaged over headings.

    ``clock_error_s`` is how late the station's own clock is; ``audio_hz`` where its operator likes to sit.
    """

    call: str
    lat_deg: float
    lon_deg: float
    locator: str
    eirp_dbm: float
    clock_error_s: float
    audio_hz: int

    @property
    def square(self) -> str:
        """The four characters that messages carry."""
        return self.locator[:4]


@lru_cache(maxsize=1)
def areas() -> tuple[Area, ...]:
    """Every area of the world, read from ``areas.csv``."""
    text = resources.files("sentinel.rehearsal").joinpath("areas.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return tuple(
        Area(
            tuple(row["prefixes"].split()),
            float(row["lat_min"]),
            float(row["lat_max"]),
            float(row["lon_min"]),
            float(row["lon_max"]),
            int(row["weight"]),
        )
        for row in rows
    )


@lru_cache(maxsize=8)
def world(seed: int) -> tuple[Station, ...]:
    """About 7,800 stations all over the world; the same for the same seed."""
    rng = random.Random(f"world {seed}")
    calls: set[str] = set()
    return tuple(
        station
        for area in areas()
        for place in _places(area, rng)
        if (station := _station(area, place, rng, calls)) is not None
    )


def stations_around(
    lat_deg: float,
    lon_deg: float,
    nearest_km: float,
    farthest_km: float,
    count: int,
    rng: random.Random,
    taken: Collection[str] = (),
) -> tuple[Station, ...]:
    """``count`` stations in a ring around a place, with calls of the areas that they live in.

    They live in the world's areas where the ring touches any, else anywhere in it (on a boat, say) with a
    call of the nearest area. None has a call that is ``taken``.
    """
    calls = set(taken)
    found: list[Station] = []
    while len(found) < count:
        places = (_place_in_ring(lat_deg, lon_deg, nearest_km, farthest_km, rng) for _ in range(_TRIES))
        place = min(places, key=lambda place: area_of(*place).off_deg(*place) > 0.0)
        station = _station(area_of(*place), place, rng, calls)
        if station is not None:
            found.append(station)
    return tuple(found)


def area_of(lat_deg: float, lon_deg: float) -> Area:
    """The area that holds a place, else the nearest one."""
    return min(areas(), key=lambda area: area.off_deg(lat_deg, lon_deg))


def _place_in_ring(
    lat_deg: float, lon_deg: float, nearest_km: float, farthest_km: float, rng: random.Random
) -> tuple[float, float]:
    distance_km = math.sqrt(rng.uniform(nearest_km**2, farthest_km**2))
    return point_along(lat_deg, lon_deg, rng.uniform(0.0, 360.0), distance_km)


def invented_call(prefix: str, rng: random.Random) -> str:
    """A call whose suffix begins with Q: prefix, area digit included, and QAA to QZZ."""
    return prefix + "Q" + rng.choice(ascii_uppercase) + rng.choice(ascii_uppercase)


def _places(area: Area, rng: random.Random) -> list[tuple[float, float]]:
    def anywhere() -> tuple[float, float]:
        return rng.uniform(area.south_deg, area.north_deg), rng.uniform(area.west_deg, area.east_deg)

    def in_town() -> tuple[float, float]:
        lat, lon = rng.choice(towns)
        lat, lon = rng.gauss(lat, _TOWN_SPREAD_DEG), rng.gauss(lon, _TOWN_SPREAD_DEG)
        return (lat, lon) if area.off_deg(lat, lon) == 0.0 else anywhere()

    towns = [anywhere() for _ in range(_TOWNS_PER_AREA)]
    return [in_town() if rng.random() < _TOWN_SHARE else anywhere() for _ in range(area.stations)]


def _station(area: Area, place: tuple[float, float], rng: random.Random, calls: set[str]) -> Station | None:
    call = invented_call(rng.choice(area.prefixes), rng)
    if call in calls:
        return None
    calls.add(call)
    lat, lon = place
    return Station(call, lat, lon, locator_of(lat, lon), _eirp_dbm(rng), _clock_error_s(rng), _audio_hz(rng))


def _eirp_dbm(rng: random.Random) -> float:
    """Mostly 50-100 W to a dipole, vertical or small yagi; one in ten has a kilowatt or a stack."""
    power_dbm = rng.choice((40.0, 44.0, 47.0, 47.0, 50.0, 50.0, 50.0, 53.0))
    gain_dbi = rng.uniform(-3.0, 8.0)
    big_gun_db = rng.uniform(6.0, 12.0) if rng.random() < 0.1 else 0.0
    return power_dbm + gain_dbi + big_gun_db


def _clock_error_s(rng: random.Random) -> float:
    """Clocks disciplined over the network agree within 0.2 s; one in thirty is left to itself."""
    return rng.uniform(-1.6, 1.8) if rng.random() < 1 / 30 else rng.gauss(0.1, 0.15)


def _audio_hz(rng: random.Random) -> int:
    return rng.randint(250, 2750)
