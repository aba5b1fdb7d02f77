"""Paths that last for seconds or minutes: meteor trails and aircraft. They must never look like an opening.

A ping carries one transmission, sometimes the same station's next one, seldom two stations at once. An
aircraft carries one station, now and then its neighbour too, for a few minutes at 300-700 km.
"""

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from sentinel.rehearsal.paths import HomePath
from sentinel.rehearsal.physics import snr_db

# A meteor trail at 95 km is seen from both ends at 500-2,250 km; common practice, commonest about 1,300.
_NEAREST_PING_KM, _FARTHEST_PING_KM = 500.0, 2250.0
_COMMONEST_PING_KM = 1300.0
# A trail that carries one 12.6 s transmission carries the station's next one, 30 s later, one time in seven.
_SECOND_CHANCE = 0.14
# Two stations of one neighbourhood in the same slot: one burst in twenty-five (assumptions, both).
_COMPANION_CHANCE = 0.04


@dataclass(frozen=True, slots=True)
class Ping:
    """One station brought up by one trail, in this slot and perhaps in its next."""

    path: HomePath
    at_s: int
    snrs_db: tuple[float, ...]


def meteor_rate(at_s: float, lon_deg: float) -> float:
    """Sporadic meteors over the day, 1 on average: most about 06, fewest about 18 local time, four to one."""
    hour = at_s % 86400.0 / 3600.0 + lon_deg / 15.0
    return 1.0 + 0.6 * math.cos(2.0 * math.pi * (hour - 6.0) / 24.0)


def pings(
    paths: Sequence[HomePath],
    began_s: float,
    ended_s: float,
    per_hour: float,
    lon_deg: float,
    rng: random.Random,
) -> Iterator[Ping]:
    """Pings by a Poisson process whose rate follows the time of day; big stations answer more often."""
    within = [path for path in paths if _NEAREST_PING_KM <= path.arc_km <= _FARTHEST_PING_KM]
    if not within or per_hour <= 0.0:
        return
    weights = [_ping_weight(path) for path in within]
    peak = 1.6 * per_hour / 3600.0
    at_s = began_s
    while True:
        at_s += rng.expovariate(peak)
        if at_s >= ended_s:
            return
        if rng.random() < meteor_rate(at_s, lon_deg) / 1.6:
            first = rng.choices(within, weights)[0]
            yield _ping(first, at_s, rng)
            if rng.random() < _COMPANION_CHANCE:
                near = [
                    path for path in within if math.dist(path.there, first.there) < 0.04 and path is not first
                ]
                if near:
                    yield _ping(rng.choice(near), at_s, rng)


def _ping_weight(path: HomePath) -> float:
    off = (path.arc_km - _COMMONEST_PING_KM) / 500.0
    return math.pow(10.0, (path.station.eirp_dbm - 50.0) / 12.0) * math.exp(-0.5 * off * off)


def _ping(path: HomePath, at_s: float, rng: random.Random) -> Ping:
    slot_s = int(at_s // 15) * 15
    first = rng.uniform(-19.0, -2.0)
    later = (first - rng.uniform(2.0, 10.0),) if rng.random() < _SECOND_CHANCE else ()
    return Ping(path, slot_s, (first, *later))


@dataclass(slots=True)
class AircraftPass:
    """An aircraft near the middle of a path of 300-700 km: a hump of signal, 3 to 8 minutes long."""

    calls: frozenset[str]
    middle_s: float
    half_width_s: float
    name: str = "aircraft"
    mode: str = "aircraft"
    began_s: float = field(init=False)
    ended_s: float = field(init=False)

    def __post_init__(self) -> None:
        self.began_s = self.middle_s - self.half_width_s
        self.ended_s = self.middle_s + self.half_width_s

    def may_reach(self, path: HomePath) -> bool:
        """Only the stations that the aircraft happens to serve."""
        return path.station.call in self.calls

    def mean_snr_db(self, path: HomePath, at_s: float) -> float:
        """Scatter loss of a large aircraft, 50 dB beyond free space in the middle (an assumption)."""
        off = abs(at_s - self.middle_s) / self.half_width_s
        return -99.0 if off >= 1.0 else snr_db(path.station.eirp_dbm, path.arc_km, 58.0 + 22.0 * off**2)

    def snr_db(self, path: HomePath, at_s: float, rng: random.Random) -> float:
        """With a decibel or two of flutter."""
        return self.mean_snr_db(path, at_s) + rng.gauss(0.0, 2.0)
