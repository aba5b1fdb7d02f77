"""What the own record says of one mode, against what the prior expected: station, hours and spell.

Each is a factor, one on average, that learns from the record (``gamma_poisson``). In hours of watching: where
the prior expects l openings an hour, it weighs ``HOURS_SHAPE`` / l hours against what was seen there.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from math import exp

from sentinel.watch.bulletin import Mode
from sentinel.watch.gamma_poisson import Factor, about_one
from sentinel.watch.prior_rates import ES_MODES, HOUR_S, PriorRates
from sentinel.watch.record import RECENT_DAYS, Cell, Record

STATION_SHAPE = 1.5
"""Antennas, noise and neighbours differ: a station has between 0.4 and 2.3 times what the prior expects."""
IN_SEASON_SHAPE, OUT_OF_SEASON_SHAPE = 4.0, 2.0
"""The season's curve is good to a factor of about 1.6 either way at its height, and of two out of season:
before and after it openings grow tenfold within weeks, at other dates every year and at every latitude."""
HOURS_SHAPE = 4.0
"""The curve of the hours is good to a factor of about 1.6 either way; so the prior of an hour counts like
four openings seen then."""
SPELL_SHAPE = 1.5
"""Days differ: in season dead days and days of many openings are both usual (common practice, no source)."""
SPELL_H = 24.0
"""A spell outlives the night, not the week (common practice, no source)."""
SPELL_MEMORY_H = 48
WEIGHT_OF_EVENT = 0.5
"""Openings of one spell are no independent witnesses: they count half for station and hours."""
SHARED_BY_MONTH = {-1: 0.5, 0: 1.0, 1: 0.5}
SHARED_BY_HOUR = {0: 1.0, -1: 0.7, 1: 0.7, -2: 0.4, 2: 0.4}
"""How much a cell learns from others, by months and hours apart. What a month has more or less than the curve
it has at every hour, so that is learned from whole days."""
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
        self._in_month: dict[int, Factor] = {}
        self._locals: dict[Cell, float] = {}
        self.station = self._station()
        self.spell = self._spell()

    def month(self, month: int) -> Factor:
        """How many times what the station usually has comes in this month, at any hour."""
        if month not in self._in_month:
            shape, by_hour = self._month_shape(month), self._around_month(month)
            self._in_month[month] = _learned(shape, by_hour, self.station.mean)
        return self._in_month[month]

    def local(self, cell: Cell) -> float:
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

    def _local(self, cell: Cell) -> float:
        month, hour = cell
        in_month, by_hour = self.month(month).mean, self._around_month(month)
        near = [(share, by_hour[(hour + hours) % 24]) for hours, share in SHARED_BY_HOUR.items()]
        shared = [(share * seen, share * usual) for share, (seen, usual) in near]
        return in_month * _learned(HOURS_SHAPE, shared, self.station.mean * in_month).mean

    def _month_shape(self, month: int) -> float:
        if not self._is_es:
            return IN_SEASON_SHAPE
        usual = [sum(self._per_hour_in((each, hour)) for hour in range(24)) for each in range(1, 13)]
        best = max(usual)
        share = usual[month - 1] / best if best > 0.0 else 0.0
        return OUT_OF_SEASON_SHAPE + share * (IN_SEASON_SHAPE - OUT_OF_SEASON_SHAPE)

    def _around_month(self, month: int) -> list[tuple[float, float]]:
        """For each hour of the day the openings seen and those expected, a month either side shared.

        A neighbour with ten times the openings does not speak ten times as loud: else May would judge April.
        """
        if month not in self._months:
            by_hour = []
            for hour in range(24):
                count = expected = 0.0
                for months, share in SHARED_BY_MONTH.items():
                    cell = _shifted(month, hour, months, 0)
                    usual = self._per_hour_in(cell)
                    if usual > 0.0 and (watched_h := self._watched_h.get(cell, 0.0)):
                        weight = share * min(1.0, self._per_hour_in((month, hour)) / usual)
                        count += weight * self._openings.get(cell, 0)
                        expected += weight * usual * watched_h
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
                rate = self._per_hour_in(cell) * self.local(cell) * self.station.mean
                expected += watched * rate * exp(-(k + 0.5) / SPELL_H)
        return about_one(SPELL_SHAPE).after(count, expected)

    def _per_hour_in(self, cell: Cell) -> float:
        return self._prior.per_hour_in(self._mode, cell, self._flux)

    def _ages_h(self) -> list[float]:
        ages = [(self._at_s - s) / HOUR_S for mode, s in self._record.recent_openings if mode is self._mode]
        return [age for age in ages if age > 0.0]


def _learned(shape: float, seen_and_usual: Iterable[tuple[float, float]], factor: float) -> Factor:
    """How many times what is usual by ``factor`` was seen."""
    counts = list(seen_and_usual)
    count, usual = sum(seen for seen, _ in counts), sum(usual for _, usual in counts)
    return about_one(shape).after(WEIGHT_OF_EVENT * count, WEIGHT_OF_EVENT * usual * factor)


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
