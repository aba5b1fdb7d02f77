"""When each mode is to be expected before anything is heard: the published and the trade's seasons as curves.

==========================  ====================================================================
``sporadic_e_weight``       mean 1 over a year at 45 degrees north; about 8 on a late June morning
``meteor_weight``           mean 1 over a year at 45 degrees north
``f2_weight``               1 in the best hour of the best season at high flux, towards 0 otherwise
``transequatorial_weight``  the same, and 0 for a path that does not cross the dip equator
``aurora_weight``           1 in a great storm at high magnetic latitude, towards 0 otherwise
==========================  ====================================================================

The curves are continuous and never quite 0 in time, since nature keeps no calendar. They rank hours, days and
places; they are not probabilities. A place is where the signal is reflected (the middle of a hop) unless said
otherwise; times are seconds since 1970 UTC. A place off the Earth, or a number not finite, is a ValueError.

A season is placed by the sun's ecliptic longitude: 0 the March equinox, 90 the June solstice, a degree a day.
Where a constant names no source it is common practice, no source: chosen to draw the season named beside it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from sentinel.sky.geodesy import check_place, path_between
from sentinel.sky.magnetics import Crossing, crosses_dip_equator
from sentinel.sky.showers import shower_pings
from sentinel.sky.sun import local_solar_hour, season_angle_deg

_Peak = Callable[[float], float]


def _peak(centre: float, half_width: float, cycle: float) -> _Peak:
    """A smooth peak of height 1 on a cycle (von Mises), half as high ``half_width`` from its centre."""
    turn = 2.0 * math.pi / cycle
    narrowness = math.log(2.0) / (1.0 - math.cos(turn * half_width))

    def height(at: float) -> float:
        return math.exp(narrowness * (math.cos(turn * (at - centre)) - 1.0))

    return height


def _year(centre_deg: float, half_width_deg: float) -> _Peak:
    return _peak(centre_deg, half_width_deg, 360.0)


def _day(centre_h: float, half_width_h: float) -> _Peak:
    return _peak(centre_h, half_width_h, 24.0)


def _above(value: float, limit: float, softness: float) -> float:
    """From 0 to 1 as the value passes the limit; a half there."""
    return 0.5 * (1.0 + math.tanh((value - limit) / (2.0 * softness)))


def _below(value: float, limit: float, softness: float) -> float:
    return _above(-value, -limit, softness)


# Sporadic E. Seasons: May to August, minor December and January; in the south November to mid January, minor
# June and July (Whitehead, J. Atmos. Terr. Phys. 51, 1989, and common practice). The minor one is an eighth.
_ES_NORTH, _ES_NORTH_MINOR = _year(96.0, 34.0), _year(281.0, 22.0)
_ES_SOUTH, _ES_SOUTH_MINOR = _year(265.0, 34.0), _year(97.0, 22.0)
_ES_MINOR = 0.12
_ES_OUT_OF_SEASON = 0.02
# Solar time: most from mid-morning to noon, less in late afternoon, little at night (same sources).
_ES_MORNING, _ES_AFTERNOON = _day(10.5, 3.5), _day(18.0, 2.5)
_ES_AFTERNOON_SHARE = 0.6
_ES_NIGHT = 0.08
# Latitude: a belt about 40 degrees in either hemisphere, less towards equator and pole.
_ES_BELTS_DEG, _ES_BELT_WIDTH_DEG, _ES_BELT_FLOOR = (-40.0, 40.0), 20.0, 0.3
# How softly the seasons of the hemispheres change over at the equator.
_HEMISPHERE_DEG = 10.0
# The mean of the product over a year at 45 N; a test holds it.
_ES_YEARLY_MEAN = 0.13254

# F2 at 50 MHz: midpoint near noon, winter half-year at mid-latitudes, equinoxes near the equator, flux 150 to
# 200 and more.
_F2_NOON = _day(12.5, 2.5)
_F2_NORTH_WINTER, _F2_SOUTH_WINTER = _year(275.0, 65.0), _year(95.0, 65.0)
_F2_FLUX, _F2_FLUX_SOFTNESS = 175.0, 15.0
_F2_FLUX_UNKNOWN = 0.2  # about the share of a cycle's days above that flux (from memory)
_EQUATORIAL_DEG = 20.0

# Transequatorial (Harrison, Evening Transequatorial VHF Propagation, for angle, symmetry and evening hours).
_EQUINOX_FLOOR = 0.15
_TEP_FLUX, _TEP_FLUX_SOFTNESS, _TEP_FLUX_FLOOR, _TEP_FLUX_UNKNOWN = 120.0, 20.0, 0.2, 0.6

# Aurora. The oval's equatorward edge is near 66 - 2 Kp degrees of magnetic latitude (NOAA's tips on viewing
# it). A place 110 km up is above the horizon to 1,175 km, so the station may stand 10 degrees equatorward.
_OVAL_DEG, _OVAL_DEG_PER_KP, _OVAL_REACH_DEG, _OVAL_SOFTNESS_DEG = 66.0, 2.0, 10.0, 1.5
_AURORA_KP, _AURORA_KP_SOFTNESS = 4.5, 0.4  # "Kp 5 and more"

# Sporadic meteors: the leading side of the Earth meets more, so most near 6 and fewest near 18 solar time,
# four to one at the equator; the apex of the Earth's way stands highest in September in the north, in March
# in the south (McKinley, Meteor Science and Engineering, 1961, from memory).
_METEOR_DAILY_SWING, _METEOR_YEARLY_SWING = 0.6, 0.5
_METEOR_HOUR, _APEX_HIGHEST_DEG = 6.0, 180.0
# The mean of the sum over a year at 45 N; a test holds it.
_METEOR_YEARLY_MEAN = 1.0527


def sporadic_e_weight(at_s: float, lat_deg: float, lon_deg: float) -> float:
    """How usual 50 MHz sporadic E is over a place, relative to the yearly mean at 45 degrees north."""
    check_place(lat_deg, lon_deg)
    hour = local_solar_hour(at_s, lon_deg)
    in_north, in_south = _es_seasons(season_angle_deg(at_s))
    north = _above(lat_deg, 0.0, _HEMISPHERE_DEG / 2.0)
    yearly = _ES_OUT_OF_SEASON
    yearly += north * in_north
    yearly += (1.0 - north) * in_south
    daily = _ES_NIGHT + _ES_MORNING(hour) + _ES_AFTERNOON_SHARE * _ES_AFTERNOON(hour)
    return yearly * daily * _es_belt(lat_deg) / _ES_YEARLY_MEAN


def f2_weight(at_s: float, lat_deg: float, lon_deg: float, flux: float | None = None) -> float:
    """How likely the F2 layer bends 50 MHz over the middle of a hop, in [0, 1]; ``flux`` is F10.7."""
    check_place(lat_deg, lon_deg)
    season = season_angle_deg(at_s)
    equatorial = math.exp(-((lat_deg / _EQUATORIAL_DEG) ** 2))
    winter = _F2_NORTH_WINTER(season) if lat_deg > 0.0 else _F2_SOUTH_WINTER(season)
    yearly = equatorial * _equinox(season) + (1.0 - equatorial) * winter
    return yearly * _F2_NOON(local_solar_hour(at_s, lon_deg)) * _f2_flux(flux)


def transequatorial_weight(
    at_s: float, lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float, flux: float | None = None
) -> float:
    """How likely a path is carried across the dip equator, in [0, 1], by the afternoon or evening type."""
    crossing = crosses_dip_equator(lat1_deg, lon1_deg, lat2_deg, lon2_deg)
    if crossing is None:
        return 0.0
    distance_km = path_between(lat1_deg, lon1_deg, lat2_deg, lon2_deg).distance_km
    hour = local_solar_hour(at_s, crossing.lon_deg)
    likeliest = max(kind.weight(crossing, distance_km, hour) for kind in (_AFTERNOON, _EVENING))
    return likeliest * _equinox(season_angle_deg(at_s)) * _tep_flux(flux)


def aurora_weight(kp: float, magnetic_latitude_deg: float) -> float:
    """How likely a station at a magnetic latitude hears aurora at a planetary K index (0 to 9), in [0, 1]."""
    if not 0.0 <= kp <= 9.0:
        raise ValueError(f"Kp lies in 0 to 9, not {kp}")
    if not -90.0 <= magnetic_latitude_deg <= 90.0:
        raise ValueError(f"a magnetic latitude lies in -90 to 90 degrees, not {magnetic_latitude_deg}")
    within_reach_deg = _OVAL_DEG - _OVAL_DEG_PER_KP * kp - _OVAL_REACH_DEG
    near = _above(abs(magnetic_latitude_deg), within_reach_deg, _OVAL_SOFTNESS_DEG)
    return near * _above(kp, _AURORA_KP, _AURORA_KP_SOFTNESS)


def meteor_weight(at_s: float, lat_deg: float, lon_deg: float) -> float:
    """How many pings a place gives, showers included, relative to the yearly mean at 45 degrees north."""
    check_place(lat_deg, lon_deg)
    latitude = math.radians(lat_deg)
    after_six = math.radians(15.0 * (local_solar_hour(at_s, lon_deg) - _METEOR_HOUR))
    past_highest = math.radians(season_angle_deg(at_s) - _APEX_HIGHEST_DEG)
    daily = 1.0 + _METEOR_DAILY_SWING * math.cos(latitude) * math.cos(after_six)
    yearly = 1.0 + _METEOR_YEARLY_SWING * math.sin(latitude) * math.cos(past_highest)
    return (daily * yearly + shower_pings(at_s, lat_deg, lon_deg)) / _METEOR_YEARLY_MEAN


@dataclass(frozen=True, slots=True)
class _Transequatorial:
    """One of the two types: its hours at the crossing and the paths it serves."""

    hours: _Peak
    shortest_km: float
    longest_km: float
    widest_off_square_deg: float
    widest_asymmetry_deg: float

    def weight(self, crossing: Crossing, distance_km: float, hour: float) -> float:
        length = _above(distance_km, self.shortest_km, 300.0) * _below(distance_km, self.longest_km, 300.0)
        square = _below(crossing.off_square_deg, self.widest_off_square_deg, 3.0)
        mirrored = _below(crossing.asymmetry_deg, self.widest_asymmetry_deg, 5.0)
        return self.hours(hour) * length * square * mirrored


_AFTERNOON = _Transequatorial(_day(16.5, 3.0), 4000.0, 10000.0, 30.0, 20.0)
_EVENING = _Transequatorial(_day(21.0, 2.5), 3000.0, 8000.0, 15.0, 15.0)


def _equinox(season_deg: float) -> float:
    return _EQUINOX_FLOOR + (1.0 - _EQUINOX_FLOOR) * math.cos(math.radians(season_deg)) ** 2


@lru_cache(maxsize=16)  # one moment, many places
def _es_seasons(season_deg: float) -> tuple[float, float]:
    """The yearly curve of either hemisphere, the northern first."""
    in_north = _ES_NORTH(season_deg) + _ES_MINOR * _ES_NORTH_MINOR(season_deg)
    return in_north, _ES_SOUTH(season_deg) + _ES_MINOR * _ES_SOUTH_MINOR(season_deg)


def _es_belt(lat_deg: float) -> float:
    belts = (math.exp(-0.5 * ((lat_deg - centre) / _ES_BELT_WIDTH_DEG) ** 2) for centre in _ES_BELTS_DEG)
    return _ES_BELT_FLOOR + (1.0 - _ES_BELT_FLOOR) * sum(belts)


def _f2_flux(flux: float | None) -> float:
    return _F2_FLUX_UNKNOWN if flux is None else _above(_flux(flux), _F2_FLUX, _F2_FLUX_SOFTNESS)


def _tep_flux(flux: float | None) -> float:
    if flux is None:
        return _TEP_FLUX_UNKNOWN
    return _TEP_FLUX_FLOOR + (1.0 - _TEP_FLUX_FLOOR) * _above(_flux(flux), _TEP_FLUX, _TEP_FLUX_SOFTNESS)


def _flux(flux: float) -> float:
    if not (math.isfinite(flux) and flux > 0.0):
        raise ValueError(f"a solar flux (F10.7) is a positive number, not {flux}")
    return flux
