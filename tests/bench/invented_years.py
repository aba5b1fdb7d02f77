"""Invented years of openings for the outlook's reliability table: nature's side, which knows nothing of the
outlook.

Nothing here is shared with ``sentinel.sky.season`` or the outlook's formula: seasons are humps between dates,
hours are tables, days follow a log-normal weather that remembers the day before, and openings come in bursts.
Stations differ, years differ, and the sun has a cycle of its own. Deterministic for a seed.
"""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

from sentinel.watch.bulletin import Mode

HOUR_S = 3600.0
START_S = datetime(2024, 1, 1, tzinfo=UTC).timestamp()

# by local mean solar time: how an hour compares with the day's mean
ES_HOURS = (
    *[0.2] * 6,
    0.5,
    0.9,
    1.4,
    1.9,
    2.1,
    1.9,
    1.5,
    1.1,
    1.0,
    1.0,
    1.3,
    1.6,
    1.6,
    1.2,
    0.9,
    0.6,
    0.4,
    0.3,
)
EVENING = {15: 0.5, 16: 0.8, 17: 0.8, 18: 0.7, 19: 0.9, 20: 1.0, 21: 1.0, 22: 0.7, 23: 0.4}
# sporadic meteors by month in the north: fewest in spring, most in early autumn; in the south the reverse
MONTHS = (0.9, 0.7, 0.65, 0.65, 0.8, 1.0, 1.2, 1.35, 1.35, 1.3, 1.15, 1.0)
# first and last day of the year of each shower, and how it multiplies the pings at its height
SHOWER_DAYS = (
    (2, 4, 5.0),
    (110, 113, 1.4),
    (122, 132, 1.8),
    (154, 163, 2.2),
    (220, 227, 3.2),
    (293, 298, 1.4),
)
SHOWER_DAYS += ((319, 323, 1.3), (345, 349, 4.2))  # fmt: skip


STORM_EVERY_DAYS = 3.0
"""With the peaks drawn below about as many days of K 5, 6, 7 and 8 as NOAA's Space Weather Scales count in a
cycle: 900, 360, 130 and 60."""


@dataclass(frozen=True, slots=True)
class Site:
    """Where an invented station is; ``hears`` is how many times the average station's openings it has."""

    locator: str
    lat_deg: float
    lon_deg: float
    magnetic_lat_deg: float
    is_tep_site: bool
    hears: float


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour of nature: openings that began in it by mode, and what the outlook may know at its start."""

    at_s: float
    began: dict[Mode, int]
    is_aurora_heard: bool
    pings: int
    flux: float
    kp: float


def years(site: Site, count: int, chance: random.Random) -> Iterator[Hour]:
    """Every hour of so many years from a random point of the sun's cycle."""
    phase = chance.random()
    weather = dict.fromkeys((Mode.SPORADIC_E, Mode.MULTI_HOP_SPORADIC_E, Mode.F2, Mode.TRANSEQUATORIAL), 0.0)
    year_factor = 1.0
    bursts: list[tuple[int, Mode]] = []
    storm_peak, storm_left, is_storm_heard, noise = 0.0, 0, False, 0.0
    hears_pings = 2.0 * math.exp(chance.gauss(-0.18, 0.6))
    for hour in range(count * 8766):
        at_s = START_S + hour * HOUR_S
        day_of_year = (hour / 24.0) % 365.25
        if hour % 24 == 0:
            for mode in weather:
                weather[mode] = 0.6 * weather[mode] + 0.8 * chance.gauss(0.0, 0.75)
        if hour % 8766 == 0:
            year_factor = math.exp(chance.gauss(-0.06, 0.35))
        flux = _flux(hour, phase, chance)
        began = dict.fromkeys(weather, 0)
        local_h = int((hour % 24 + site.lon_deg / 15.0) % 24.0)
        for mode in weather:
            usual = _rate(mode, site, day_of_year, local_h, flux)
            rate = usual * math.exp(weather[mode] - 0.28) * (year_factor if "sporadic" in mode.value else 1.0)
            began[mode] = _poisson(rate * site.hears, chance)
            for _ in range(began[mode]):  # a burst: some openings bring others in the next hours
                bursts += [(hour + 1 + chance.randrange(3), mode) for _ in range(_poisson(0.35, chance))]
        for due, mode in [b for b in bursts if b[0] <= hour]:
            began[mode] += 1
            bursts.remove((due, mode))
        noise = 0.8 * noise + 0.5 * chance.gauss(0.0, 1.0)
        if storm_left == 0 and chance.random() < 1.0 / (24.0 * STORM_EVERY_DAYS):
            storm_peak, storm_left = (
                4.3 + chance.expovariate(1.0 / 1.1),
                3 + int(chance.expovariate(1.0 / 9.0)),
            )
            is_storm_heard = chance.random() < 0.6
        storm_left = max(0, storm_left - 1)
        kp = min(9.0, storm_peak if storm_left else max(0.0, 1.8 + noise))
        reach_deg = 66.0 - 2.0 * kp - 10.0
        is_heard = storm_left > 0 and round(kp) >= 5 and is_storm_heard and site.magnetic_lat_deg >= reach_deg
        pings = _poisson(hears_pings * _meteors(site, day_of_year, local_h), chance)
        yield Hour(at_s, began, is_heard, pings, flux, kp)


def _rate(mode: Mode, site: Site, day_of_year: float, local_h: int, flux: float) -> float:
    """Openings an hour at an average station."""
    day = day_of_year if site.lat_deg >= 0.0 else (day_of_year + 182.6) % 365.25
    if mode is Mode.SPORADIC_E:
        return 2.9 / 24.0 * (_hump(day, 118, 172, 248) + 0.12 * _minor(day) + 0.015) * ES_HOURS[local_h]
    if mode is Mode.MULTI_HOP_SPORADIC_E:
        return 0.7 / 24.0 * (_hump(day, 140, 175, 225) + 0.03 * _minor(day) + 0.003) * ES_HOURS[local_h]
    sun = 1.0 / (1.0 + math.exp((170.0 - flux) / 14.0))
    if mode is Mode.F2:
        winter = _hump((day + 182.6) % 365.25, 80, 165, 270) ** 1.5 + 0.05
        return 0.3 * winter * sun * max(0.0, 1.0 - abs(local_h + 0.5 - 12.5) / 4.0)
    if not site.is_tep_site:
        return 0.0
    equinox = max(_hump(day_of_year, 40, 82, 130), _hump(day_of_year, 225, 268, 315)) + 0.1
    return (
        0.13 * equinox * (0.25 + 0.75 / (1.0 + math.exp((115.0 - flux) / 18.0))) * EVENING.get(local_h, 0.0)
    )


def _hump(day: float, first: float, top: float, last: float) -> float:
    """Nothing before the first day, 1 at the top, nothing after the last; raised cosines between."""
    if not first < day < last:
        return 0.0
    far = (top - day) / (top - first) if day < top else (day - top) / (last - top)
    return 0.5 * (1.0 + math.cos(math.pi * far))


def _minor(day: float) -> float:
    return max(_hump(day, 330, 362, 400), _hump(day + 365.25, 330, 362, 400))


def _meteors(site: Site, day_of_year: float, local_h: int) -> float:
    month = int(day_of_year / 30.45) if site.lat_deg >= 0.0 else int(day_of_year / 30.45 + 6.0) % 12
    rate = MONTHS[min(11, month)] * (1.0 + 0.5 * math.cos(2.0 * math.pi * (local_h + 0.5 - 6.5) / 24.0))
    for first, last, height in SHOWER_DAYS:
        if first <= day_of_year <= last + 1:
            middle, half = (first + last + 1) / 2.0, (last + 1 - first) / 2.0
            rate += (height - 1.0) * (1.0 - abs(day_of_year - middle) / half)
    return rate


def _flux(hour: int, phase: float, chance: random.Random) -> float:
    cycle = math.sin(math.pi * ((hour / (11.0 * 8766.0) + phase) % 1.0)) ** 2
    rotation = 1.0 + 0.15 * cycle * math.sin(2.0 * math.pi * hour / (27.0 * 24.0))
    return (68.0 + 130.0 * cycle) * rotation + chance.gauss(0.0, 2.0)


def _poisson(expected: float, chance: random.Random) -> int:
    limit, count, product = math.exp(-expected), 0, chance.random()
    while product > limit:
        product *= chance.random()
        count += 1
    return count
