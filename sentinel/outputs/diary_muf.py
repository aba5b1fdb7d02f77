"""The MUF of an evening, from what was heard: each strong station's skip tells how high the layer reflects.

The secant law of ``sky.hop``, and only where an opening by sporadic E came from that direction at that time.
What it gives is "up to about": the shortest skip heard bounds it from below, and a station may be missing.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sentinel.outputs.diary_rows import OpeningRow, SightingRow
from sentinel.sky.circular import angle_between_deg
from sentinel.sky.hop import muf_mhz
from sentinel.watch.bulletin import Opening
from sentinel.watch.mode import LONGEST_ES_HOP_KM
from sentinel.watch.opening import ES_MODES, SHORTEST_SKIP_KM, STRONG_SKIP_DB

STEP_S = 600
LEAST_TRUST = 0.9
"""One false decode from nearby would read as an opening of 144 MHz."""
WIDE_DEG, SPREADS = 20.0, 2.0
"""A station belongs to an opening within twice its spread, and always within 20 degrees, of its bearing."""


@dataclass(frozen=True, slots=True)
class MufPoint:
    """What one station heard at ``at_s``, ``skip_km`` away, implies."""

    at_s: float
    skip_km: float
    muf_mhz: float


def muf_points(
    rows: Sequence[OpeningRow], sightings: Iterable[SightingRow], freq_mhz: float
) -> tuple[MufPoint, ...]:
    """One point for each strong, trusted sighting of a located station that an Es opening brought."""
    es = [row.opening for row in rows if row.opening.mode in ES_MODES]
    points = [
        MufPoint(each.at_s, each.distance_km, muf_mhz(freq_mhz, each.distance_km))
        for each in sightings
        if _tells_skip(each) and any(_belongs(each, opening) for opening in es)
    ]
    return tuple(sorted(points, key=lambda point: point.at_s))


def highest_by_step(points: Iterable[MufPoint], step_s: int = STEP_S) -> list[tuple[float, float]]:
    """The highest of each step of time: (start of the step, MHz); steps without a point are left out."""
    highest: dict[float, float] = {}
    for point in points:
        start_s = point.at_s // step_s * step_s
        highest[start_s] = max(point.muf_mhz, highest.get(start_s, 0.0))
    return sorted(highest.items())


def _tells_skip(sighting: SightingRow) -> bool:
    return (
        sighting.locator is not None
        and sighting.snr_db is not None
        and sighting.snr_db >= STRONG_SKIP_DB
        and sighting.trust >= LEAST_TRUST
        and SHORTEST_SKIP_KM <= sighting.distance_km <= LONGEST_ES_HOP_KM
    )


def _belongs(sighting: SightingRow, opening: Opening) -> bool:
    is_then = opening.began_at_s <= sighting.at_s <= opening.last_at_s
    width_deg = max(WIDE_DEG, SPREADS * opening.spread_deg)
    return is_then and angle_between_deg(sighting.bearing_deg, opening.bearing_deg) <= width_deg
