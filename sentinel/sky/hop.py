"""One reflection by a thin layer over a round Earth: take-off angle, incidence, and the MUF a skip implies.

A hop of ground length d is reflected at height h above a sphere of radius R::

    elevation  e = atan(cot(d/2R) - (R/(R+h)) / sin(d/2R))   triangle of centre, station and layer
    incidence  i = asin(R cos e / (R+h))
    longest hop  = 2 R acos(R/(R+h))                         where the ray leaves along the horizon

Distances and heights in kilometres, frequencies in MHz, angles in degrees. A hop longer than the layer
allows, or a number out of range, is a ValueError.

What the skip implies is soft: weak signals arrive from shorter skip than the secant law allows (attachment G
of ITU-R P.2001-4 gives a loss, not a limit). Take the skip from strong stations, and say "up to about".
"""

import math
from functools import lru_cache
from typing import Literal

EARTH_RADIUS_KM = 6371.009  # Recommendation ITU-R P.533
E_LAYER_KM = 110.0  # where sporadic E is commonly taken to reflect; 100 to 120 is observed (common practice)
M_FACTOR_LIMIT_KM = 2300.0  # the fit of P.1240 ends where x = 1

Law = Literal["secant", "m-factor"]


@lru_cache(maxsize=16)  # a handful of heights
def longest_hop_km(height_km: float = E_LAYER_KM) -> float:
    """Ground length of the hop whose ray leaves along the horizon: 2,351 km for 110 km."""
    return 2.0 * EARTH_RADIUS_KM * math.acos(EARTH_RADIUS_KM / (EARTH_RADIUS_KM + _height(height_km)))


def elevation_deg(hop_km: float, height_km: float = E_LAYER_KM) -> float:
    """Take-off angle above the horizon, 90 for no hop at all down to 0 for the longest."""
    longest = longest_hop_km(height_km)
    if not 0.0 <= hop_km <= longest:
        raise ValueError(f"a hop by a layer at {height_km:g} km spans 0 to {longest:.0f} km, not {hop_km:g}")
    if hop_km == 0.0:
        return 90.0
    half = hop_km / (2.0 * EARTH_RADIUS_KM)
    ratio = EARTH_RADIUS_KM / (EARTH_RADIUS_KM + height_km)
    return max(0.0, math.degrees(math.atan2(math.cos(half) - ratio, math.sin(half))))


def incidence_deg(hop_km: float, height_km: float = E_LAYER_KM) -> float:
    """Angle between the ray and the vertical at the layer."""
    elevation = math.radians(elevation_deg(hop_km, height_km))
    return math.degrees(math.asin(EARTH_RADIUS_KM * math.cos(elevation) / (EARTH_RADIUS_KM + height_km)))


def secant(hop_km: float, height_km: float = E_LAYER_KM) -> float:
    """sec i: how many times the vertical frequency the layer reflects at this hop; 1 straight up."""
    return 1.0 / math.cos(math.radians(incidence_deg(hop_km, height_km)))


def m_factor(hop_km: float) -> float:
    """MUF over the vertical frequency for an E-layer hop of 0 to 2,300 km, ITU-R P.1240-2 (from memory)."""
    if not 0.0 <= hop_km <= M_FACTOR_LIMIT_KM:
        raise ValueError(
            f"the M-factor is fitted for hops of 0 to {M_FACTOR_LIMIT_KM:.0f} km, not {hop_km:g}"
        )
    x = (hop_km - 1150.0) / 1150.0
    return 3.94 + 2.80 * x - 1.70 * x**2 - 0.60 * x**3 + 0.96 * x**4


def implied_vertical_mhz(freq_mhz: float, skip_km: float, height_km: float = E_LAYER_KM) -> float:
    """The vertical frequency that the layer must reflect for ``skip_km`` to be bridged at ``freq_mhz``."""
    return _frequency(freq_mhz) / secant(skip_km, height_km)


def muf_mhz(freq_mhz: float, skip_km: float, height_km: float = E_LAYER_KM, law: Law = "secant") -> float:
    """The highest frequency that the same patch of layer bridges on its longest hop, by the shortest heard.

    ``secant`` is plain geometry. ``m-factor`` uses the E-layer fit of P.1240 (``height_km`` then only bounds
    the skip, and skip over 2,300 km counts as 2,300); at 500 to 1,500 km it reads 6 to 17 % higher.
    """
    longest = longest_hop_km(height_km)
    vertical = implied_vertical_mhz(freq_mhz, skip_km, height_km)
    if law == "secant":
        return vertical * secant(longest, height_km)
    return freq_mhz * m_factor(M_FACTOR_LIMIT_KM) / m_factor(min(skip_km, M_FACTOR_LIMIT_KM))


def es_hops(distance_km: float) -> int:
    """The least number of sporadic E hops that bridge a distance; 1 up to 2,351 km."""
    if not (math.isfinite(distance_km) and distance_km >= 0.0):
        raise ValueError(f"a distance is a number of km from 0, not {distance_km}")
    return max(1, math.ceil(distance_km / longest_hop_km(E_LAYER_KM)))


def _height(height_km: float) -> float:
    if not (math.isfinite(height_km) and height_km > 0.0):
        raise ValueError(f"a layer's height is a positive number of km, not {height_km}")
    return height_km


def _frequency(freq_mhz: float) -> float:
    if not (math.isfinite(freq_mhz) and freq_mhz > 0.0):
        raise ValueError(f"a frequency is a positive number of MHz, not {freq_mhz}")
    return freq_mhz
