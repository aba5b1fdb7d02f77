"""Chances that follow from the sky alone: meteors by the calendar, aurora by the planetary K index, pure."""

from collections.abc import Sequence
from math import exp, floor, log1p

from sentinel.sky.season import aurora_weight, meteor_weight

# --- meteors --------------------------------------------------------------------------------------

PINGS_PER_H = 2.0
"""Far pings an hour on an average day: what a modest antenna hears (common practice, no source)."""
BUSY_PINGS = 10
"""One in six minutes: from here on calling by scatter is worth the time (common practice, no source)."""
STATIONS = ((0.15, 0.3), (0.2, 0.6), (0.3, 1.0), (0.2, 1.6), (0.15, 2.7))
"""Share of stations, and how many times the average they hear: within three either way."""


def pings_per_hour(at_s: float, lat_deg: float, lon_deg: float) -> float:
    """Far pings an hour that an average station hears over a place, showers included."""
    return PINGS_PER_H * meteor_weight(at_s, lat_deg, lon_deg)


def chance_of_busy_hour(pings: Sequence[float]) -> float:
    """The chance that in one of these hours, of so many expected pings each, ``BUSY_PINGS`` or more come."""
    return sum(share * (1.0 - _none_is_busy(pings, factor)) for share, factor in STATIONS)


def _none_is_busy(pings: Sequence[float], factor: float) -> float:
    none = 1.0
    for expected in pings:
        none *= _at_most(BUSY_PINGS - 1, factor * expected)
    return none


def _at_most(count: int, expected: float) -> float:
    """The Poisson chance of ``count`` or fewer where ``expected`` are expected."""
    term = total = exp(-expected)
    for k in range(1, count + 1):
        term *= expected / k
        total += term
    return total


# --- aurora ---------------------------------------------------------------------------------------

INTERVALS_A_CYCLE = 11 * 365.25 * 8
STORM_SHARES = {
    kp: events / INTERVALS_A_CYCLE for kp, events in {5: 1700, 6: 600, 7: 200, 8: 100, 9: 4}.items()
}
"""Share of the three-hour intervals with each K, from NOAA's Space Weather Scales: events in 11 years."""
K_STAYS = 0.6
"""Share of intervals whose K stays what it was; else it is drawn anew. With it 27 % of days have a K of 5 or
more; the Scales' 900 days of K 5 a cycle are 22 %, and 36 % with those of 6 to 9 on top."""
HEARD = 0.5
"""Of the storms within reach, those in which a station is also on the air where it can be heard (common
practice, no source)."""
K_INTERVAL_H = 3.0
LEAST_KP = 5
REACH_DEG, REACH_PER_KP = 56.0, 2.0
"""The oval's edge at 66 - 2 Kp degrees (NOAA), and ten degrees over which it is above the horizon."""


def usual_aurora(magnetic_lat_deg: float) -> float:
    """Share of three-hour intervals in which a station hears aurora, over a whole solar cycle."""
    return HEARD * sum(share * aurora_weight(kp, magnetic_lat_deg) for kp, share in STORM_SHARES.items())


def chance_of_aurora(hours: float, magnetic_lat_deg: float, kp: float | None) -> float:
    """The chance that a station hears aurora within some hours, with K as it is now, or not known."""
    usual = usual_aurora(magnetic_lat_deg)
    now = usual if kp is None else HEARD * aurora_weight(kp, magnetic_lat_deg)
    none_later = exp(hours / K_INTERVAL_H * log1p(-(1.0 - K_STAYS) * usual))
    return 1.0 - (1.0 - now) * none_later


def kp_needed(magnetic_lat_deg: float) -> int | None:
    """The least K at which the station is within reach of aurora; None where not even 9 suffices."""
    needed = max(LEAST_KP, floor((REACH_DEG - abs(magnetic_lat_deg)) / REACH_PER_KP) + 1)
    return needed if needed <= 9 else None
