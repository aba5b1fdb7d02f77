"""How many openings an hour to expect at 50 MHz before anything is known of the station: the prior.

The seasons' curves (``sky.season``) give the shape; the rates here give the scale: an average station with a
small beam in a populated part of the world. Where no source is named they are common practice, no source, and
the outlook treats them as known within a factor of about two and a half.

Es elsewhere than at 50 MHz is scaled by frequency. F2 and transequatorial are given at six metres alone.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from functools import lru_cache
from math import exp, log, sqrt

from sentinel.sky.geodesy import point_along
from sentinel.sky.magnetics import dip_latitude_deg
from sentinel.sky.season import f2_weight, sporadic_e_weight, transequatorial_weight
from sentinel.watch.bulletin import Mode
from sentinel.watch.record import Cell

Place = tuple[float, float]

ES_MODES = (Mode.SPORADIC_E, Mode.MULTI_HOP_SPORADIC_E)
SIX_METRES_MHZ = (45.0, 60.0)
HOUR_S = 3600.0
HOURS_A_YEAR = 8766.0

ES_PER_YEAR = 300.0
"""Openings by sporadic E a year at 45 degrees north: three a day, in as many directions, about midsummer, one
in three days at New Year, a few out of season."""
MULTI_HOP_PER_YEAR = 60.0
"""A fifth as many reach beyond one hop."""
F2_PER_H = 0.25
"""Openings by F2 in a best hour (winter noon, flux over 200): about one on a good day."""
TRANSEQUATORIAL_PER_H = 0.12
"""Openings across the equator in a best hour (equinox evening, high flux): about one on a good day."""
ES_SLOPE = 3.2
"""Es at 144 MHz is about thirty times rarer than at 50 MHz."""
MOST_ES = 3.0
"""At 28 MHz it is no more than some three times as frequent, since there it often lasts all day."""

ES_MIDPOINT_KM = 900.0
"""Half of the commonest hop, 1,800 to 2,200 km (Whitehead 1989)."""
MULTI_HOP_MIDPOINTS_KM = (1000.0, 3000.0)
F2_MIDPOINT_KM = 1750.0
"""Half of a hop of 3,000 to 4,000 km (ITU-R P.533 caps it at 4,000)."""
TRANSEQUATORIAL_KM = (4500.0, 6500.0, 8500.0)
TRANSEQUATORIAL_TURN_DEG = (-30.0, -15.0, 0.0, 15.0, 30.0)
"""Either side of due south or north: within 30 degrees of square to the dip equator (Harrison)."""
LEAST_PATH = 0.1
"""A path that never weighs more, in the best month at high flux, is none."""

ES_BEARINGS_DEG = (0.0, 90.0, 180.0, 270.0)
MORE_BEARINGS_DEG = (0.0, 60.0, 120.0, 180.0, 240.0, 300.0)

YEAR = 2026
"""Any year serves to draw a cell of the calendar: the seasons move by a day between them."""
CELL_DAYS = (8, 23)
REMEMBERED = 2048
"""Cells: 288 a mode, and again for each flux that comes up."""


class PriorRates:
    """The prior at one station. ``home`` is (lat, lon), degrees north and east."""

    def __init__(self, home: Place, freq_mhz: float = 50.0) -> None:
        self._es_scale = min(MOST_ES, exp(ES_SLOPE * log(50.0 / freq_mhz)))
        self._is_six_metres = SIX_METRES_MHZ[0] <= freq_mhz <= SIX_METRES_MHZ[1]
        self._home = home
        self._es_points = [point_along(*home, bearing, ES_MIDPOINT_KM) for bearing in ES_BEARINGS_DEG]
        self._double_hops = [
            tuple(point_along(*home, bearing, km) for km in MULTI_HOP_MIDPOINTS_KM)
            for bearing in MORE_BEARINGS_DEG
        ]
        self._f2_points = [point_along(*home, bearing, F2_MIDPOINT_KM) for bearing in MORE_BEARINGS_DEG]
        self._far_ends = list(self._transequatorial_ends()) if self._is_six_metres else []
        self._cell_rate = lru_cache(maxsize=REMEMBERED)(self._mean_over_cell)

    def modes(self) -> tuple[Mode, ...]:
        """The modes that this prior knows of here."""
        across = (Mode.TRANSEQUATORIAL,) if self._far_ends else ()
        return (*ES_MODES, Mode.F2, *across) if self._is_six_metres else ES_MODES

    def per_hour(self, mode: Mode, at_s: float, flux: float | None = None) -> float:
        """Openings an hour by one of ``modes``; ``flux`` (F10.7) matters to F2 and transequatorial."""
        if mode is Mode.SPORADIC_E:
            weights = [sporadic_e_weight(at_s, *point) for point in self._es_points]
            return self._es_scale * ES_PER_YEAR / HOURS_A_YEAR * sum(weights) / len(weights)
        if mode is Mode.MULTI_HOP_SPORADIC_E:
            # both hops must be there: the geometric mean of their weights
            pairs = [
                sqrt(sporadic_e_weight(at_s, *near) * sporadic_e_weight(at_s, *far))
                for near, far in self._double_hops
            ]
            return self._es_scale * MULTI_HOP_PER_YEAR / HOURS_A_YEAR * sum(pairs) / len(pairs)
        if mode is Mode.F2:
            return F2_PER_H * max(f2_weight(at_s, *point, flux) for point in self._f2_points)
        paths = (transequatorial_weight(at_s, *self._home, *end, flux) for end in self._far_ends)
        return TRANSEQUATORIAL_PER_H * max(paths)

    def per_hour_in(self, mode: Mode, cell: Cell, flux: float | None = None) -> float:
        """Openings an hour in a cell of the calendar, with the flux to the nearest ten; remembered."""
        is_of_sun = flux is not None and mode not in ES_MODES
        return self._cell_rate(mode, cell, max(10.0, round(flux, -1)) if flux and is_of_sun else None)

    def _mean_over_cell(self, mode: Mode, cell: Cell, flux: float | None) -> float:
        month, hour = cell
        moments = [datetime(YEAR, month, day, hour, 30, tzinfo=UTC).timestamp() for day in CELL_DAYS]
        return sum(self.per_hour(mode, at_s, flux) for at_s in moments) / len(moments)

    def _transequatorial_ends(self) -> Iterator[Place]:
        """Places across the dip equator that a path from here may reach."""
        across_deg = 180.0 if dip_latitude_deg(*self._home) >= 0.0 else 0.0
        equinox = [datetime(YEAR, 3, 20, hour, tzinfo=UTC).timestamp() for hour in range(24)]
        for turn_deg in TRANSEQUATORIAL_TURN_DEG:
            for distance_km in TRANSEQUATORIAL_KM:
                end = point_along(*self._home, across_deg + turn_deg, distance_km)
                if (
                    max(transequatorial_weight(at_s, *self._home, *end, 250.0) for at_s in equinox)
                    > LEAST_PATH
                ):
                    yield end
