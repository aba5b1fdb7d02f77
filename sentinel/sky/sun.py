"""Where the sun stands, and what the clock says by it.

The short series of Meeus, Astronomical Algorithms (2nd ed. 1998, from memory), chapters 25 and 28, which the
solar calculator of NOAA's Global Monitoring Laboratory uses too: within 0.02 degrees from 1901 to 2099.
Elevation is geometric, without refraction. Times are seconds since 1970 UTC; UTC stands for dynamical time
(a minute moves the sun's place among the stars by 0.0007 degrees). Latitudes are degrees north, longitudes
degrees east.

Many places are asked about for one moment, so what depends on the moment alone is remembered.
"""

import math
from functools import lru_cache
from typing import NamedTuple

from sentinel.sky.geodesy import check_place

_J2000_S = 946728000.0  # 2000-01-01 12:00 UTC
_CENTURY_S = 36525.0 * 86400.0
# Refraction 34' and the sun's half diameter 16': the conventional centre of the disc at sunrise
SUNRISE_ELEVATION_DEG = -0.833
# One judgement of the band asks about one moment, or two; several threads may judge.
_MOMENTS = 16
# General precession in longitude, degrees a century (Meeus, chapter 21)
_PRECESSION_DEG = 1.397


class SunPosition(NamedTuple):
    """Elevation above the horizon, in [-90, 90], and azimuth in [0, 360), 0 north, 90 east."""

    elevation_deg: float
    azimuth_deg: float


def sun_position(at_s: float, lat_deg: float, lon_deg: float) -> SunPosition:
    """Where the sun stands in a place's sky; ValueError for a place off the Earth or a time not finite."""
    check_place(lat_deg, lon_deg)
    declination, equation_min = _declination_and_equation(at_s)
    hour_angle = math.radians(15.0 * (_solar_hour(at_s, lon_deg, equation_min) - 12.0))
    latitude = math.radians(lat_deg)
    up = math.sin(latitude) * math.sin(declination)
    up += math.cos(latitude) * math.cos(declination) * math.cos(hour_angle)
    north = math.cos(latitude) * math.sin(declination)
    north -= math.sin(latitude) * math.cos(declination) * math.cos(hour_angle)
    east = -math.cos(declination) * math.sin(hour_angle)
    azimuth = math.degrees(math.atan2(east, north)) % 360.0
    return SunPosition(math.degrees(math.asin(max(-1.0, min(1.0, up)))), 0.0 if azimuth == 360.0 else azimuth)


def sun_elevation_deg(at_s: float, lat_deg: float, lon_deg: float) -> float:
    """Geometric elevation of the sun's centre, in [-90, 90] degrees."""
    return sun_position(at_s, lat_deg, lon_deg).elevation_deg


def is_daylight(at_s: float, lat_deg: float, lon_deg: float) -> bool:
    """Whether the sun's upper edge stands over a level horizon, refraction allowed for."""
    return sun_elevation_deg(at_s, lat_deg, lon_deg) > SUNRISE_ELEVATION_DEG


def local_solar_hour(at_s: float, lon_deg: float) -> float:
    """Hour of the day by the true sun, in [0, 24): 12 when it stands highest."""
    check_place(0.0, lon_deg)
    return _solar_hour(at_s, lon_deg, _declination_and_equation(at_s)[1])


@lru_cache(maxsize=_MOMENTS)
def solar_longitude_deg(at_s: float) -> float:
    """Ecliptic longitude of the sun for the equinox of J2000, in [0, 360): the calendar of meteor showers."""
    century = _century(at_s)
    return (_true_longitude_deg(century) - _PRECESSION_DEG * century) % 360.0


@lru_cache(maxsize=_MOMENTS)
def season_angle_deg(at_s: float) -> float:
    """Ecliptic longitude of the sun for the equinox of date: 0 March equinox, 90 June solstice, 180, 270."""
    return _true_longitude_deg(_century(at_s)) % 360.0


def _century(at_s: float) -> float:
    """Julian centuries since J2000."""
    if not math.isfinite(at_s):
        raise ValueError(f"a time must be finite, not {at_s}")
    return (at_s - _J2000_S) / _CENTURY_S


def _mean_longitude_deg(century: float) -> float:
    return 280.46646 + century * (36000.76983 + century * 0.0003032)


def _mean_anomaly_deg(century: float) -> float:
    return 357.52911 + century * (35999.05029 - century * 0.0001537)


def _true_longitude_deg(century: float) -> float:
    """Mean longitude and the equation of the centre (Meeus 25.2 and after)."""
    anomaly = math.radians(_mean_anomaly_deg(century) % 360.0)
    centre = (1.914602 - century * (0.004817 + century * 0.000014)) * math.sin(anomaly)
    centre += (0.019993 - century * 0.000101) * math.sin(2.0 * anomaly) + 0.000289 * math.sin(3.0 * anomaly)
    return _mean_longitude_deg(century) % 360.0 + centre


@lru_cache(maxsize=_MOMENTS)
def _declination_and_equation(at_s: float) -> tuple[float, float]:
    """Declination in radians and the equation of time, true minus mean sun, in minutes (Meeus 25.8, 28.3)."""
    century = _century(at_s)
    node = math.radians((125.04 - 1934.136 * century) % 360.0)
    apparent = math.radians(_true_longitude_deg(century) - 0.00569 - 0.00478 * math.sin(node))
    obliquity = math.radians(23.4392911 - 0.0130042 * century + 0.00256 * math.cos(node))
    declination = math.asin(math.sin(obliquity) * math.sin(apparent))
    anomaly = math.radians(_mean_anomaly_deg(century) % 360.0)
    twice = math.radians(2.0 * (_mean_longitude_deg(century) % 360.0))
    e = 0.016708634 - century * (0.000042037 + century * 0.0000001267)
    y = math.tan(obliquity / 2.0) ** 2
    equation = y * math.sin(twice) - 2.0 * e * math.sin(anomaly)
    equation += 4.0 * e * y * math.sin(anomaly) * math.cos(twice)
    equation -= 0.5 * y * y * math.sin(2.0 * twice) + 1.25 * e * e * math.sin(2.0 * anomaly)
    return declination, 4.0 * math.degrees(equation)


def _solar_hour(at_s: float, lon_deg: float, equation_min: float) -> float:
    hour = (at_s % 86400.0 / 3600.0 + lon_deg / 15.0 + equation_min / 60.0) % 24.0
    return 0.0 if hour == 24.0 else hour
