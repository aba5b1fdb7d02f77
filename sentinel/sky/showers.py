"""The year's meteor showers, and by how much each raises the rate of pings.

Peaks, rates and radiants follow the International Meteor Organization's working list, widths its calendars;
all from memory and rounded. A shower's activity halves with every half width of solar longitude from its
peak; a degree of solar longitude is about a day.

The rate of pings is given relative to the sporadic background. A visual rate of 50 an hour is taken to double
it, so that the Geminids, the year's best, about quadruple it (common practice, no source).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

from sentinel.sky.geodesy import check_place
from sentinel.sky.sun import solar_longitude_deg

_DOUBLING_RATE = 50.0
_NEGLIGIBLE_HALVINGS = 7.0  # under 1 %
_J2000_S = 946728000.0  # 2000-01-01 12:00 UTC


@dataclass(frozen=True, slots=True)
class Shower:
    """One shower: its peak in solar longitude (J2000), its zenithal hourly rate there, and its radiant."""

    name: str
    peak_longitude_deg: float
    hourly_rate: float
    half_width_deg: float
    right_ascension_deg: float
    declination_deg: float

    def strength(self, longitude_deg: float) -> float:
        """What it adds to a sporadic rate of 1 at a solar longitude, with the radiant overhead."""
        away = abs((longitude_deg - self.peak_longitude_deg + 180.0) % 360.0 - 180.0)
        halvings = away / self.half_width_deg
        if halvings > _NEGLIGIBLE_HALVINGS:
            return 0.0
        return self.hourly_rate / _DOUBLING_RATE * math.exp2(-halvings)


SHOWERS = (
    Shower("Quadrantids", 283.15, 110, 0.2, 230, 49),
    Shower("Lyrids", 32.3, 18, 0.8, 271, 34),
    Shower("eta-Aquariids", 45.5, 50, 4.0, 338, -1),
    Shower("Arietids", 76.6, 60, 4.0, 44, 24),  # by day: only radio sees them; rate of the radars
    Shower("Southern delta-Aquariids", 127.0, 25, 5.0, 340, -16),
    Shower("Perseids", 140.0, 100, 1.3, 48, 58),
    Shower("Orionids", 208.0, 20, 3.0, 95, 16),
    Shower("Leonids", 235.3, 15, 0.8, 152, 22),
    Shower("Geminids", 262.2, 150, 0.8, 112, 33),
    Shower("Ursids", 270.7, 10, 0.5, 217, 76),
)


def shower_factor(at_s: float) -> float:
    """The rate of pings over the sporadic one, with every radiant overhead; 1 on a day without showers."""
    longitude = solar_longitude_deg(at_s)
    return 1.0 + math.fsum(shower.strength(longitude) for shower in SHOWERS)


def shower_pings(at_s: float, lat_deg: float, lon_deg: float) -> float:
    """What the showers add to a sporadic rate of 1 over a place: nothing from a radiant below its horizon.

    Raises ValueError for a place off the Earth or a time not finite.
    """
    check_place(lat_deg, lon_deg)
    total = 0.0
    for shower, strength in _active(at_s):
        total += strength * max(0.0, _sin_elevation(shower, at_s, lat_deg, lon_deg))
    return total


@lru_cache(maxsize=16)  # one moment, many places
def _active(at_s: float) -> tuple[tuple[Shower, float], ...]:
    """The showers that add anything now, and how much with the radiant overhead."""
    longitude = solar_longitude_deg(at_s)
    strengths = ((shower, shower.strength(longitude)) for shower in SHOWERS)
    return tuple((shower, strength) for shower, strength in strengths if strength > 0.0)


def strongest_shower(at_s: float, least_strength: float = 0.2) -> Shower | None:
    """The shower that adds most now, or None where none adds a fifth (less is lost in the daily swing)."""
    longitude = solar_longitude_deg(at_s)
    best = max(SHOWERS, key=lambda shower: shower.strength(longitude))
    return best if best.strength(longitude) >= least_strength else None


def _sin_elevation(shower: Shower, at_s: float, lat_deg: float, lon_deg: float) -> float:
    # mean sidereal time at Greenwich (Meeus 12.4, without the terms of centuries squared)
    sidereal_deg = 280.46061837 + 360.98564736629 * ((at_s - _J2000_S) / 86400.0)
    hour_angle = math.radians((sidereal_deg + lon_deg - shower.right_ascension_deg) % 360.0)
    latitude, declination = math.radians(lat_deg), math.radians(shower.declination_deg)
    across = math.cos(latitude) * math.cos(declination) * math.cos(hour_angle)
    return math.sin(latitude) * math.sin(declination) + across
