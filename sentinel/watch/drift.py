"""How the reflecting cloud moves: a straight line through the reflection points of all decodes against time.

Stations call at random times, so the points scatter as widely as the cloud reaches; only a slope well beyond
its own uncertainty is told. Decodes of one station are not independent, so a station counts once for the
uncertainty, however often it was heard.
"""

from dataclasses import dataclass, field
from math import atan2, cos, degrees, hypot, radians, sqrt

from sentinel.watch.bulletin import Drift

LEAST_STATIONS = 8
LEAST_SPAN_S = 20 * 60.0
LEAST_SIGMAS = 3.0
SLOWEST_M_S, FASTEST_M_S = 15.0, 200.0
"""Clouds move at 20-130 m/s (Maeda & Heki 2015); beyond some margin the line has caught something else, such
as one cloud fading while another forms."""
KM_PER_DEG = 111.195


@dataclass(slots=True)
class CloudTrack:
    """Sums for a least-squares line through (time, east, north) in s and km, relative to the first point."""

    _origin: tuple[float, float, float] | None = None
    _n: int = 0
    _t: float = 0.0
    _tt: float = 0.0
    _x: float = 0.0
    _y: float = 0.0
    _tx: float = 0.0
    _ty: float = 0.0
    _rr: float = 0.0
    _first_s: float = 0.0
    _last_s: float = 0.0
    _calls: set[str] = field(default_factory=set)

    def add(self, call: str, at_s: float, lat_deg: float, lon_deg: float) -> None:
        """One decode's reflection point."""
        if self._origin is None:
            self._origin = at_s, lat_deg, lon_deg
            self._first_s = at_s
        t0, lat0, lon0 = self._origin
        t = at_s - t0
        east = ((lon_deg - lon0 + 180.0) % 360.0 - 180.0) * KM_PER_DEG * cos(radians(lat0))
        north = (lat_deg - lat0) * KM_PER_DEG
        self._n += 1
        self._t += t
        self._tt += t * t
        self._x += east
        self._y += north
        self._tx += t * east
        self._ty += t * north
        self._rr += east * east + north * north
        self._last_s = max(self._last_s, at_s)
        self._calls.add(call)

    def drift(self) -> Drift | None:
        """Where the cloud goes and how fast; None while that cannot be told from scatter."""
        if len(self._calls) < LEAST_STATIONS or self._last_s - self._first_s < LEAST_SPAN_S:
            return None
        spread_tt = self._tt - self._t * self._t / self._n
        if spread_tt <= 0.0:
            return None
        east_km_s = (self._tx - self._t * self._x / self._n) / spread_tt
        north_km_s = (self._ty - self._t * self._y / self._n) / spread_tt
        scatter = self._rr - (self._x * self._x + self._y * self._y) / self._n
        residual = max(0.0, scatter - spread_tt * (east_km_s**2 + north_km_s**2))
        sigma_km_s = sqrt(residual / (2.0 * self._n) / (spread_tt * len(self._calls) / self._n))
        speed_km_s = hypot(east_km_s, north_km_s)
        if speed_km_s < LEAST_SIGMAS * sigma_km_s or not SLOWEST_M_S <= 1000.0 * speed_km_s <= FASTEST_M_S:
            return None
        bearing_deg = degrees(atan2(east_km_s, north_km_s)) % 360.0
        return Drift(round(bearing_deg, 0) % 360.0, round(1000.0 * speed_km_s, 0))
