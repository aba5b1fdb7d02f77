"""Which of the ITU's three regions a place lies in: Radio Regulations 5.2 to 5.9.

Lines A, B and C are exact. The countries east of line A that belong to Region 1 (Turkey to Mongolia and
Russia) are cut off by a coarse southern border, good to some 200 km; Iran west of line A, which belongs to
Region 3, comes out as Region 1. Band plans need no better.
"""

import math
from itertools import pairwise

from sentinel.trade.bandplan import Region

_Point = tuple[float, float]  # latitude, longitude
_Vector = tuple[float, float, float]

# From pole to pole by great circles (5.7 to 5.9), each leg from its northern to its southern end.
_LINE_A: tuple[_Point, ...] = ((90, 40), (40, 40), (23.44, 60), (-90, 60))
_LINE_B: tuple[_Point, ...] = ((90, -10), (72, -10), (40, -50), (-10, -20), (-90, -20))
# 5.9 runs along 10 N from 170 W to 120 W; the Bering Strait's boundary stands at 168.97 W.
_LINE_C_NORTH: tuple[_Point, ...] = ((90, -168.97), (65.5, -168.97), (50, 165), (10, -170))
_LINE_C_SOUTH: tuple[_Point, ...] = ((10, -120), (-90, -120))

# Longitude and latitude along the southern border of Region 1 east of line A: Turkey, the Caucasus, central
# Asia, Mongolia, Russia's far east, between Japan and the Kurils, to line C. Read off a map.
_SOUTHERN_BORDER: tuple[_Point, ...] = (
    (40.0, 36.8), (44.5, 37.2), (45.0, 39.2), (48.9, 38.4), (54.0, 37.3), (57.0, 38.2), (61.2, 35.5),
    (66.5, 37.4), (71.5, 36.8), (75.0, 37.3), (75.5, 40.4), (80.2, 42.1), (82.5, 45.2), (87.5, 49.1),
    (91.0, 45.2), (96.4, 42.7), (105.0, 41.6), (111.5, 43.7), (116.0, 46.5), (117.5, 49.6), (120.5, 53.1),
    (126.0, 52.6), (131.0, 47.8), (131.1, 43.0), (134.0, 42.5), (140.0, 45.7), (145.5, 44.0), (158.0, 47.0),
    (165.0, 50.0), (191.0, 65.5),
)  # fmt: skip


def region_of(lat_deg: float, lon_deg: float) -> Region:
    """The ITU region of a place, coarse along the southern border of the former Soviet Union and Mongolia.

    Latitude -90 to 90, longitude -180 to 180 degrees.
    """
    line_c = _LINE_C_NORTH if lat_deg >= 10 else _LINE_C_SOUTH
    is_east_of_b = _is_east_of(_LINE_B, lat_deg, lon_deg)
    if not is_east_of_b and _is_east_of(line_c, lat_deg, lon_deg):
        return Region.AMERICAS
    if is_east_of_b and not _is_east_of(_LINE_A, lat_deg, lon_deg):
        return Region.EUROPE_AFRICA
    if lat_deg >= _southern_border_deg(lon_deg):
        return Region.EUROPE_AFRICA
    return Region.ASIA_PACIFIC


def _is_east_of(line: tuple[_Point, ...], lat_deg: float, lon_deg: float) -> bool:
    """True on the line and within half a turn east of it."""
    leg = next((leg for leg in pairwise(line) if leg[1][0] <= lat_deg), (line[-2], line[-1]))
    return (lon_deg - _longitude_on(*leg, lat_deg)) % 360 < 180


def _longitude_on(north: _Point, south: _Point, lat_deg: float) -> float:
    """Where the great circle through two points crosses a parallel between them, degrees."""
    (ax, ay, az), (bx, by, bz) = _vector(*north), _vector(*south)
    x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx  # the circle's pole
    cosine = -z * math.tan(math.radians(lat_deg)) / math.hypot(x, y)
    from_pole_deg = math.degrees(math.acos(max(-1.0, min(1.0, cosine))))
    pole_deg = math.degrees(math.atan2(y, x))
    crossings = (pole_deg - from_pole_deg, pole_deg + from_pole_deg)
    return min(crossings, key=lambda lon_deg: abs((lon_deg - south[1] + 180) % 360 - 180))


def _vector(lat_deg: float, lon_deg: float) -> _Vector:
    lat, lon = math.radians(lat_deg), math.radians(lon_deg)
    return math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat)


def _southern_border_deg(lon_deg: float) -> float:
    lon_deg %= 360
    for (west_deg, west_lat), (east_deg, east_lat) in pairwise(_SOUTHERN_BORDER):
        if west_deg <= lon_deg <= east_deg:
            return west_lat + (east_lat - west_lat) * (lon_deg - west_deg) / (east_deg - west_deg)
    return math.inf
