"""Drifting ionisation that comes and goes: what reflects signals by sporadic E and by F2."""

import math
from dataclasses import dataclass

from sentinel.rehearsal.physics import Vector, arc_km, moved


@dataclass(frozen=True, slots=True)
class Swell:
    """How strength comes and goes: a rise, a plateau, a decline, and gaps in which it sinks away."""

    began_s: float
    ended_s: float
    rise_s: float
    decline_s: float
    gaps: tuple[tuple[float, float], ...] = ()

    def level(self, at_s: float) -> float:
        """0 outside, 1 on the plateau, smooth between; inside a gap 0.3 of that, too little for any path."""
        if not self.began_s < at_s < self.ended_s:
            return 0.0
        rising = min(1.0, (at_s - self.began_s) / self.rise_s)
        falling = min(1.0, (self.ended_s - at_s) / self.decline_s)
        level = math.sqrt(math.sin(math.pi / 2.0 * min(rising, falling)))
        return level * (0.3 if any(start <= at_s < end for start, end in self.gaps) else 1.0)


@dataclass(slots=True)
class Cloud:
    """A drifting patch of ionisation; ``peak_mhz`` is the vertical frequency that its middle reflects."""

    start: Vector
    radius_km: float
    peak_mhz: float
    drift_bearing_deg: float
    drift_m_s: float
    swell: Swell
    _at: tuple[float, Vector] | None = None

    def centre(self, at_s: float) -> Vector:
        """The middle of the cloud at a time; the last answer is kept, for all stations of a slot ask."""
        if self._at is None or self._at[0] != at_s:
            drift_km = self.drift_m_s * (at_s - self.swell.began_s) / 1000.0
            self._at = at_s, moved(self.start, self.drift_bearing_deg, drift_km)
        return self._at[1]

    def vertical_mhz(self, point: Vector, at_s: float) -> float:
        """The vertical frequency reflected at a point: falls off from the middle as a Gaussian does."""
        level = self.swell.level(at_s)
        if level == 0.0:
            return 0.0
        away = arc_km(point, self.centre(at_s)) / self.radius_km
        return 0.0 if away > 4.0 else self.peak_mhz * level * math.exp(-0.5 * away * away)
