"""How unusual an opening is: on how many of the days watched within a year it was as good as this.

"Good" is the most stations at once, or the farthest. A day counts when the watch ran for half of it, and one
without an opening counts as well: that is what makes a record honest. Today is compared, never counted. From
a record that does not cover the seasons nothing is worked out for the year.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from sentinel.watch.bulletin import Opening

DAY_S = 86_400
YEAR_DAYS = 365
LEAST_DAYS = 30
"""A month: with less, "never before" says nothing."""
WHOLE_YEAR_DAYS = 300
"""From so many days on all seasons are in the record, and a rate a year can be told."""
RARE_SHARE = 1.0 / 30.0
"""About once a month: rarer than that is worth leaving dinner for (a choice, no source)."""
LEAST_HOURS = 12
"""Of a day: in half a day watched most openings of the day are seen."""
GATHERING_S = 300.0
"""An opening is judged when it has had time to gather its stations."""
SAME_KM = 50.0
"""What a square leaves open: so much nearer is as far."""


@dataclass(frozen=True, slots=True)
class DayBest:
    """The best that a day had: most stations at once, and the farthest, km; zero for no opening."""

    stations: int = 0
    farthest_km: int = 0

    def with_opening(self, opening: Opening) -> "DayBest":
        return DayBest(
            max(self.stations, opening.peak_stations), max(self.farthest_km, round(opening.farthest_km))
        )


@dataclass(slots=True)
class Rarity:
    """The record, by day number since 1970 UTC, and what it says of an opening.

    ``days`` are those that count. ``_bests`` are the bests of days whose hours are not known yet.
    """

    days: dict[int, DayBest] = field(default_factory=dict)
    _bests: dict[int, DayBest] = field(default_factory=dict)
    _today: int = 0

    @staticmethod
    def of(record: Mapping[int, DayBest]) -> "Rarity":
        return Rarity(dict(sorted(record.items())[-YEAR_DAYS:]))

    def pass_time(self, at_s: float, watched_hours: Mapping[int, int]) -> None:
        """It is ``at_s``; ``watched_hours`` gives the hours of the last days, a bit each."""
        today = int(at_s // DAY_S)
        if today <= self._today:
            return
        self._today = today
        for day, mask in sorted(watched_hours.items()):
            if day < today and mask.bit_count() >= LEAST_HOURS:
                best = self._bests.get(day, DayBest())
                before = self.days.get(day, DayBest())
                self.days[day] = DayBest(
                    max(best.stations, before.stations), max(best.farthest_km, before.farthest_km)
                )
        self.days = {day: best for day, best in self.days.items() if day >= today - YEAR_DAYS}
        self._bests = {day: best for day, best in self._bests.items() if day >= today - 1}

    def note(self, opening: Opening) -> None:
        """An opening as it stands counts for the day on which it began."""
        day = int(opening.began_at_s // DAY_S)
        self._bests[day] = self._bests.get(day, DayBest()).with_opening(opening)

    def sentence(self, at_s: float, opening: Opening) -> str | None:
        """What is rare about an opening, in a sentence; None where nothing is, or too little is known."""
        record = [best for day, best in self.days.items() if day not in _days_of(opening, at_s)]
        if len(record) < LEAST_DAYS or at_s - opening.began_at_s < GATHERING_S:
            return None
        as_many = sum(best.stations >= opening.peak_stations for best in record)
        as_far = sum(best.farthest_km >= opening.farthest_km - SAME_KM for best in record)
        if min(as_many, as_far) > RARE_SHARE * len(record):
            return None
        if as_many <= as_far:
            return _told(f"{opening.peak_stations} stations at once", "so many", as_many, len(record))
        return _told(f"{opening.farthest_km} km", "so far", as_far, len(record))


def _days_of(opening: Opening, at_s: float) -> range:
    return range(int(opening.began_at_s // DAY_S), int(at_s // DAY_S) + 1)


def _told(what: str, so: str, days: int, of: int) -> str:
    if days == 0:
        return f"{what}: not {so} on any of the {of} days watched within a year."
    a_year = f", about {YEAR_DAYS * days / of:.0f} days a year" if of >= WHOLE_YEAR_DAYS else ""
    return f"{what}: {so} only on {days} of the {of} days watched within a year{a_year}."
