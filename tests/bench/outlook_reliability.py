"""Whether "30 %" happens about 30 % of the time: the outlook against invented years. Prints, does not judge.

``python tests/bench/outlook_reliability.py`` lets stations in both hemispheres, good and bad ones, watch some
years from a first day without any record. Every few hours it asks the outlook, which knows the record so far,
the flux and the K of the moment, and looks up what then happened (``invented_years``).
"""

import argparse
import math
import random
from bisect import bisect_left, bisect_right
from collections import defaultdict, deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import cycle, islice

from invented_years import HOUR_S, Hour, Site, years

from sentinel.sky.magnetics import magnetic_latitude_deg
from sentinel.trade.locator import center_of
from sentinel.watch.bulletin import Mode
from sentinel.watch.experience import cell_of
from sentinel.watch.mode import SpaceWeather
from sentinel.watch.outlook import HORIZONS_H, Outlook
from sentinel.watch.outlook_sky import BUSY_PINGS
from sentinel.watch.record import RECENT_DAYS, Record

BINS = (0.0, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
SITES = (
    ("FN84ab", False),
    ("IO91wm", False),
    ("JN58td", True),
    ("KP20le", False),
    ("QF56od", True),
    ("GF15vc", True),
)
SPREAD_OF_STATIONS = 0.7
"""The standard deviation of the logarithm: one in six hears half the average or less, one in six double."""
WATCHED_SHARE = 0.9


@dataclass
class Bin:
    """Forecasts of about the same chance, and how many came true."""

    count: int = 0
    forecast: float = 0.0
    happened: int = 0

    def add(self, forecast: float, has_happened: bool) -> None:
        self.count += 1
        self.forecast += forecast
        self.happened += has_happened


@dataclass
class Table:
    """One mode's and horizon's forecasts, by bin."""

    bins: list[Bin] = field(default_factory=lambda: [Bin() for _ in BINS[1:]])
    squares: float = 0.0

    def add(self, forecast: float, has_happened: bool) -> None:
        self.bins[min(bisect_right(BINS, forecast), len(self.bins)) - 1].add(forecast, has_happened)
        self.squares += (forecast - has_happened) ** 2

    @property
    def count(self) -> int:
        return sum(each.count for each in self.bins)

    def brier(self) -> tuple[float, float]:
        """The mean squared error, and that of always forecasting what happened on average."""
        share = sum(each.happened for each in self.bins) / self.count
        return self.squares / self.count, share * (1.0 - share)

    def calibration_error(self) -> float:
        """Forecast less frequency, absolute, averaged over the forecasts."""
        return sum(abs(each.forecast - each.happened) for each in self.bins) / self.count


Tables = dict[tuple[Mode, int], Table]


class Diary:
    """The record of one station, as it grows."""

    def __init__(self) -> None:
        self._watched_h: dict[tuple[int, int], float] = defaultdict(float)
        self._openings: dict[Mode, dict[tuple[int, int], int]] = defaultdict(lambda: defaultdict(int))
        self._recent: deque[tuple[Hour, bool]] = deque(maxlen=24 * RECENT_DAYS)

    def note(self, hour: Hour, is_watched: bool) -> None:
        self._recent.append((hour, is_watched))
        if is_watched:
            self._watched_h[cell_of(hour.at_s)] += 1.0
            for mode, count in hour.began.items():
                if count:
                    self._openings[mode][cell_of(hour.at_s)] += count

    def record(self) -> Record:
        watched = [hour for hour, is_watched in self._recent if is_watched]
        return Record(
            self._watched_h,
            self._openings,
            tuple((hour.at_s, hour.at_s + HOUR_S) for hour in watched),
            tuple(
                (mode, hour.at_s + HOUR_S / 2.0)
                for hour in watched
                for mode, count in hour.began.items()
                for _ in range(count)
            ),
        )


def sites(count: int, chance: random.Random) -> Iterator[Site]:
    """So many stations, each as good as luck made it."""
    for locator, is_tep_site in islice(cycle(SITES), count):
        lat_deg, lon_deg = center_of(locator)
        magnetic = abs(magnetic_latitude_deg(lat_deg, lon_deg))
        hears = math.exp(chance.gauss(-0.5 * SPREAD_OF_STATIONS**2, SPREAD_OF_STATIONS))
        yield Site(locator, lat_deg, lon_deg, magnetic, is_tep_site, hears)


def forecasts(site: Site, count: int, step_h: int, chance: random.Random, knows_record: bool) -> Tables:
    """What the outlook said at one station, and what came of it."""
    hours = list(years(site, count, chance))
    happened = {mode: [h for h, hour in enumerate(hours) if hour.began[mode]] for mode in hours[0].began}
    happened[Mode.AURORA] = [h for h, hour in enumerate(hours) if hour.is_aurora_heard]
    happened[Mode.METEOR_SCATTER] = [h for h, hour in enumerate(hours) if hour.pings >= BUSY_PINGS]
    outlook, diary, tables = Outlook(site.locator), Diary(), defaultdict(Table)
    for h, hour in enumerate(hours[: -HORIZONS_H[-1]]):
        if h % step_h == 0:
            weather = SpaceWeather(hour.flux, hour.kp)
            for chances in outlook.chances(hour.at_s, weather, diary.record() if knows_record else None):
                within = (chances.next_1_h, chances.next_6_h, chances.next_24_h)
                for horizon_h, forecast in zip(HORIZONS_H, within, strict=True):
                    first = bisect_left(happened[chances.mode], h)
                    is_true = (
                        first < len(happened[chances.mode]) and happened[chances.mode][first] < h + horizon_h
                    )
                    tables[chances.mode, horizon_h].add(forecast, is_true)
        diary.note(hour, chance.random() < WATCHED_SHARE)
    return tables


def merged(parts: Iterable[Tables]) -> Tables:
    """The tables of all stations as one."""
    whole: Tables = defaultdict(Table)
    for tables in parts:
        for key, table in tables.items():
            whole[key].squares += table.squares
            for into, each in zip(whole[key].bins, table.bins, strict=True):
                into.count += each.count
                into.forecast += each.forecast
                into.happened += each.happened
    return whole


def tables_of(stations: int, count: int, step_h: int, seed: int, knows_record: bool = True) -> Tables:
    """So many stations over so many years."""
    chance = random.Random(seed)
    return merged(forecasts(site, count, step_h, chance, knows_record) for site in sites(stations, chance))


def print_tables(tables: Tables) -> None:
    for (mode, horizon_h), table in sorted(tables.items()):
        ours, constant = table.brier()
        print(f"\n{mode.value}, next {horizon_h} h: {table.count} forecasts")
        print(f"  off by {table.calibration_error():.1%}; Brier {ours:.4f}, of a constant {constant:.4f}")
        print("  forecast  happened     of")
        for each in table.bins:
            if each.count:
                share = each.happened / each.count
                error = math.sqrt(max(share * (1.0 - share), 0.25 / each.count) / each.count)
                print(
                    f"    {each.forecast / each.count:6.1%}    {share:6.1%}  {each.count:5}  +- {error:.1%}"
                )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--stations", type=int, default=18)
    parser.add_argument("--years", type=int, default=2)
    parser.add_argument("--step-h", type=int, default=29, help="hours between forecasts")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--without-record", action="store_true", help="ask the prior alone")
    given = parser.parse_args()
    print_tables(tables_of(given.stations, given.years, given.step_h, given.seed, not given.without_record))


if __name__ == "__main__":
    main()
