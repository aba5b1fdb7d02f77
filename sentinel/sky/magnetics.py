"""The Earth's magnetic field as propagation needs it: quasi-dipole latitude, dip latitude, the dip equator.

Both latitudes are read from ``magnetic_grid.bin``, made by ``tests/tools/make_magnetic_grid.py`` with apexpy
and ppigrf from IGRF-14 at epoch 2026.0: two layers of 2 by 2 degrees, interpolated bilinearly.

=================  ==========================================  ====================================
layer              what it is                                  error of the interpolation, degrees
=================  ==========================================  ====================================
quasi-dipole       Richmond 1995; aurora follows it            0.02 below 70, 0.05 below 80, else 0.5
dip latitude       atan(tan(inclination)/2) at the ground      0.08 below 70, 0.11 below 80, else 0.5
=================  ==========================================  ====================================

By the end of 2029 secular change moves them by 0.1 degrees at the median place and 1.1 at the worst (the
Atlantic), so the grid serves to about 2030; then set the epoch in the script and run it.
"""

import math
import struct
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from sentinel.sky.circular import angle_between_deg
from sentinel.sky.geodesy import check_place, path_between, points_on_path

# The layout of the file, shared with its maker: little-endian hundredths of a degree, rows from 90 S,
# in each row columns from 180 W to 180 E inclusive, quasi-dipole first.
STEP_DEG = 2
ROWS = 180 // STEP_DEG + 1
COLUMNS = 360 // STEP_DEG + 1
_LAYER_BYTES = ROWS * COLUMNS * 2
_QUASI_DIPOLE, _DIP = 0, 1
_NEIGHBOURS = struct.Struct("<2h")

# The dip equator is smooth over hundreds of kilometres.
_SEARCH_STEP_KM = 200.0
_SLOPE_STEP_DEG = 1.0


def magnetic_latitude_deg(lat_deg: float, lon_deg: float) -> float:
    """Quasi-dipole latitude at 110 km height, in [-90, 90]; ValueError for a place off the Earth."""
    return _interpolate(_QUASI_DIPOLE, lat_deg, lon_deg)


def dip_latitude_deg(lat_deg: float, lon_deg: float) -> float:
    """Dip latitude at the ground, in [-90, 90], 0 on the dip equator; ValueError as above."""
    return _interpolate(_DIP, lat_deg, lon_deg)


def inclination_deg(lat_deg: float, lon_deg: float) -> float:
    """How steeply the field dips below the horizontal, in [-90, 90], positive downwards."""
    return math.degrees(math.atan(2.0 * math.tan(math.radians(dip_latitude_deg(lat_deg, lon_deg)))))


class Crossing(NamedTuple):
    """Where a path crosses the dip equator, and how.

    ``off_square_deg`` in [0, 90] is 0 where the path is perpendicular to the dip equator, 90 where it runs
    along it; the two dip latitudes are those of the path's ends.
    """

    lat_deg: float
    lon_deg: float
    off_square_deg: float
    start_dip_latitude_deg: float
    end_dip_latitude_deg: float

    @property
    def asymmetry_deg(self) -> float:
        """How much farther from the dip equator one end lies than the other; 0 for ends that mirror."""
        return abs(self.start_dip_latitude_deg + self.end_dip_latitude_deg)


@lru_cache(maxsize=2048)  # a millisecond each, and a station is asked about again in every slot
def crosses_dip_equator(
    lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float
) -> Crossing | None:
    """The crossing of the shortest path, or None where both ends lie on the same side of the dip equator.

    Of several crossings (a path that runs nearly along it) the one nearest the path's middle counts.
    Raises ValueError for a place off the Earth.
    """
    start, end = dip_latitude_deg(lat1_deg, lon1_deg), dip_latitude_deg(lat2_deg, lon2_deg)
    if (start >= 0.0) == (end >= 0.0):
        return None
    distance_km = path_between(lat1_deg, lon1_deg, lat2_deg, lon2_deg).distance_km
    steps = max(1, math.ceil(distance_km / _SEARCH_STEP_KM))
    fractions = tuple(k / steps for k in range(steps + 1))
    points = points_on_path(lat1_deg, lon1_deg, lat2_deg, lon2_deg, fractions)
    dips = [start, *(dip_latitude_deg(*point) for point in points[1:-1]), end]
    changes = [k for k in range(steps) if (dips[k] >= 0.0) != (dips[k + 1] >= 0.0)]
    k = min(changes, key=lambda change: abs(change + 0.5 - steps / 2))
    part = dips[k] / (dips[k] - dips[k + 1])
    (place,) = points_on_path(*points[k], *points[k + 1], (part,))
    heading_deg = path_between(*points[k], *points[k + 1]).bearing_deg
    off = angle_between_deg(heading_deg, _square_bearing_deg(*place))
    return Crossing(*place, min(off, 180.0 - off), start, end)


def _square_bearing_deg(lat_deg: float, lon_deg: float) -> float:
    """The bearing in which dip latitude rises fastest: on the dip equator, the perpendicular to it."""
    step = _SLOPE_STEP_DEG
    north = dip_latitude_deg(lat_deg + step, lon_deg) - dip_latitude_deg(lat_deg - step, lon_deg)
    east = dip_latitude_deg(lat_deg, lon_deg + step) - dip_latitude_deg(lat_deg, lon_deg - step)
    return math.degrees(math.atan2(east / math.cos(math.radians(lat_deg)), north))


@lru_cache(maxsize=1)
def _grid() -> bytes:
    return Path(__file__).with_name("magnetic_grid.bin").read_bytes()


def _interpolate(layer: int, lat_deg: float, lon_deg: float) -> float:
    check_place(lat_deg, lon_deg)
    y, x = (lat_deg + 90.0) / STEP_DEG, (lon_deg + 180.0) % 360.0 / STEP_DEG
    row, column = min(int(y), ROWS - 2), min(int(x), COLUMNS - 2)
    north, east = y - row, x - column
    offset = layer * _LAYER_BYTES + (row * COLUMNS + column) * 2
    south_west, south_east = _NEIGHBOURS.unpack_from(_grid(), offset)
    north_west, north_east = _NEIGHBOURS.unpack_from(_grid(), offset + COLUMNS * 2)
    low = south_west + (south_east - south_west) * east
    high = north_west + (north_east - north_west) * east
    return float(low + (high - low) * north) / 100.0
