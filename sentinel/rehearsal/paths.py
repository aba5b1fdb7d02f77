"""Stations as seen from home, and what every way for signals to come has in common."""

import random
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

from sentinel.rehearsal.heard import Home
from sentinel.rehearsal.physics import HALF_DECODED_DB, Vector, arc_km, between, unit_vector
from sentinel.rehearsal.population import Station, world
from sentinel.sky import geodesy

# Worlds of stations, by seed: more would only cost time.
WORLDS = 8


@dataclass(frozen=True, slots=True)
class HomePath:
    """A station as seen from home. ``arc_km`` is the sphere's; the truth is ``distance_km``."""

    station: Station
    home: Vector
    there: Vector
    arc_km: float

    def reflection(self, hop: int, hops: int) -> Vector:
        """Where hop number ``hop`` (from 0) of ``hops`` equal hops is reflected."""
        return between(self.home, self.there, (hop + 0.5) / hops)


def home_paths(stations: Iterable[Station], home: tuple[float, float]) -> list[HomePath]:
    """The paths from ``home`` (latitude, longitude) to every station."""
    here = unit_vector(*home)
    places = ((station, unit_vector(station.lat_deg, station.lon_deg)) for station in stations)
    return [HomePath(station, here, there, arc_km(here, there)) for station, there in places]


def true_path(home: tuple[float, float], station: Station) -> geodesy.Path:
    """Distance and bearing as they are, on the ellipsoid and from the station's true place."""
    return geodesy.path_between(*home, station.lat_deg, station.lon_deg)


class Mechanism(Protocol):
    """One way for signals to come, with the mode that the trade calls it by."""

    name: str
    mode: str

    @property
    def began_s(self) -> float:
        """Nothing is heard before."""
        ...

    @property
    def ended_s(self) -> float:
        """Nothing is heard from here on."""
        ...

    def may_reach(self, path: HomePath) -> bool:
        """A cheap test that is never false for a station that could be heard."""
        ...

    def mean_snr_db(self, path: HomePath, at_s: float) -> float:
        """SNR without fading; far below any decoder where there is no path."""
        ...

    def snr_db(self, path: HomePath, at_s: float, rng: random.Random) -> float:
        """SNR in this slot, fading included."""
        ...


def paths_from(home: Home, seed: int) -> tuple[HomePath, ...]:
    """Every station of the world of a seed, as seen from home."""
    return _paths(home, seed % WORLDS)


@lru_cache(maxsize=64)
def _paths(home: Home, world_seed: int) -> tuple[HomePath, ...]:
    return tuple(home_paths(world(world_seed), home.place))


def candidates(mechanism: Mechanism, paths: Iterable[HomePath]) -> list[HomePath]:
    """The stations that the mechanism brings above the decoder's threshold at some time."""
    span_s = mechanism.ended_s - mechanism.began_s
    samples = [mechanism.began_s + span_s * (k + 0.5) / 12.0 for k in range(12)]
    return [
        path
        for path in paths
        if mechanism.may_reach(path)
        and any(mechanism.mean_snr_db(path, at_s) > HALF_DECODED_DB + 1.0 for at_s in samples)
    ]
