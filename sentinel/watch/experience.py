"""What the own record says of one mode, against what the prior expected: station, hours and spell.

Each is a factor, one on average, that learns from the record (``gamma_poisson``). In hours of watching: where
the prior expects l openings an hour, it weighs ``HOURS_SHAPE`` / l hours against what was seen there.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from math import exp

from sentinel.watch.bulletin import Mode
from sentinel.watch.gamma_poisson import Factor, about_one
from sentinel.watch.prior_rates import ES_MODES, HOUR_S, PriorRates
from sentinel.watch.record import RECENT_DAYS, Cell, Record

STATION_SHAPE = 1.5
"""Antennas, noise and neighbours differ: a station has between 0.4 and 2.3 times what the prior expects."""
HOURS_SHAPE = 4.0
"""The curves of season and hour are good to a factor of about 1.6 either way; so the prior of a cell counts
like four openings seen there."""
SPELL_SHAPE = 1.5
"""Days differ: in season dead days and days of many openings are both usual (common practice, no source)."""
SPELL_H = 24.0
"""A spell outlives the night, not the week (common practice, no source)."""
SPELL_MEMORY_H = 48
WEIGHT_OF_EVENT = 0.5
"""Openings of one spell are no independent witnesses: they count half for station and hours."""
SHARED_BY_MONTH = {-1: 0.5, 0: 1.0, 1: 0.5}
SHARED_BY_HOUR = {hour: {0: 1.0, 1: 0.7, 2: 0.4}.get(abs(hour), 0.2) for hour in range(-11, 13)}
"""How much a cell learns from others, by months and hours apart: an hour from the next two, and less from the
whole day, since a month that is better than the curve is so at every hour."""
NEAR_H = range(-2, 3)
"""Hours, with a month either side, that make "such hours" in a reason."""


class Experience:
    """One mode's record as of ``at_s``. For F2 and transequatorial only the last month counts, and only for
    the station: what they did before was another sun's doing."""

    def __init__(
        self, prior: PriorRates, mode: Mode, at_s: float, flux: float | None, record: Record
    ) -> None:
        self._prior = prior
        self._mode = mode
        self._at_s = at_s
        self._flux = flux
        self._record = record
        self._is_es = mode in ES_MODES
        self._openings: Mapping[Cell, int] = record.openings.get(mode, {}) if self._is_es else {}
        self._watched_h: Mapping[Cell, float] = record.watched_h if self._is_es else {}
        self._months: dict[int, list[tuple[float, float]]] = {}
        self._locals: dict[Cell, Factor] = {}
        self.station = self._station()
        self.spell = self._spell()

    def local(self, cell: Cell) -> Factor:
        """How many times what the station usually has comes at this hour and month."""
        if cell not in self._locals:
            self._locals[cell] = self._local(cell)
        return self._locals[cell]

    def near(self, cell: Cell) -> tuple[int, float]:
        """Openings seen and hours watched at such hours, as they are."""
        cells = [_shifted(*cell, months, hours) for months in SHARED_BY_MONTH for hours in NEAR_H]
        return (
            sum(self._openings.get(each, 0) for each in cells),
            sum(self._watched_h.get(each, 0.0) for each in cells),
        )

    def recent(self, hours: float) -> int:
        """How many openings began in the last hours."""
        return sum(1 for age_h in self._ages_h() if age_h <= hours)

    def _station(self) -> Factor:
        if self._is_es:
            watched_h, count = self._watched_h, sum(self._openings.values())
        else:
            watched_h, count = _by_cell(self._record.recent_watched), self.recent(24.0 * RECENT_DAYS)
        expected = sum(self._per_hour_in(cell) * hours for cell, hours in watched_h.items())
        return about_one(STATION_SHAPE).after(WEIGHT_OF_EVENT * count, WEIGHT_OF_EVENT * expected)

    def _local(self, cell: Cell) -> Factor:
        count = expected = 0.0
        if self._watched_h:
            month, hour = cell
            by_hour = self._around_month(month)
            for hours, share in SHARED_BY_HOUR.items():
                seen, usual = by_hour[(hour + hours) % 24]
                count += share * seen
                expected += share * usual * self.station.mean
        return about_one(HOURS_SHAPE).after(WEIGHT_OF_EVENT * count, WEIGHT_OF_EVENT * expected)

    def _around_month(self, month: int) -> list[tuple[float, float]]:
        """For each hour of the day the openings seen and those expected, a month either side shared."""
        if month not in self._months:
            by_hour = []
            for hour in range(24):
                count = expected = 0.0
                for months, share in SHARED_BY_MONTH.items():
                    cell = _shifted(month, hour, months, 0)
                    if watched_h := self._watched_h.get(cell, 0.0):
                        count += share * self._openings.get(cell, 0)
                        expected += share * self._per_hour_in(cell) * watched_h
                by_hour.append((count, expected))
            self._months[month] = by_hour
        return self._months[month]

    def _spell(self) -> Factor:
        """What the last days say of today, the older the less."""
        count = sum(exp(-age_h / SPELL_H) for age_h in self._ages_h() if age_h <= SPELL_MEMORY_H)
        oldest_s = self._at_s - SPELL_MEMORY_H * HOUR_S
        lately = [span for span in self._record.recent_watched if span[1] > oldest_s]
        expected = 0.0
        for k in range(SPELL_MEMORY_H):
            until_s = self._at_s - k * HOUR_S
            if watched := _overlap_h(lately, until_s - HOUR_S, until_s):
                cell = cell_of(until_s - HOUR_S / 2.0)
                rate = self._per_hour_in(cell) * self.local(cell).mean * self.station.mean
                expected += watched * rate * exp(-(k + 0.5) / SPELL_H)
        return about_one(SPELL_SHAPE).after(count, expected)

    def _per_hour_in(self, cell: Cell) -> float:
        return self._prior.per_hour_in(self._mode, cell, self._flux)

    def _ages_h(self) -> list[float]:
        ages = [(self._at_s - s) / HOUR_S for mode, s in self._record.recent_openings if mode is self._mode]
        return [age for age in ages if age > 0.0]


def cell_of(at_s: float) -> Cell:
    """The month and hour of the record that a time falls into."""
    moment = datetime.fromtimestamp(at_s, UTC)
    return moment.month, moment.hour


def _shifted(month: int, hour: int, months: int, hours: int) -> Cell:
    """A cell so many months and hours away, over the turns of year and day."""
    return (month - 1 + months) % 12 + 1, (hour + hours) % 24


def _by_cell(spans: Sequence[tuple[float, float]]) -> dict[Cell, float]:
    """The hours of some spans, by cell."""
    watched_h: dict[Cell, float] = defaultdict(float)
    for start_s, end_s in spans:
        at_s = start_s
        while at_s < end_s:
            next_s = min(end_s, (at_s // HOUR_S + 1.0) * HOUR_S)
            watched_h[cell_of(at_s)] += (next_s - at_s) / HOUR_S
            at_s = next_s
    return watched_h


def _overlap_h(spans: Sequence[tuple[float, float]], since_s: float, until_s: float) -> float:
    """Hours of the spans within ``since_s`` to ``until_s``."""
    return sum(max(0.0, min(end, until_s) - max(start, since_s)) for start, end in spans) / HOUR_S
