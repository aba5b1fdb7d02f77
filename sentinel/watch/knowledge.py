"""What is known from before: the diary and the operator's log, handed to the core when it starts."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from sentinel.watch.learned import Learned
from sentinel.watch.rarity import DayBest


@dataclass(frozen=True, slots=True)
class Knowledge:
    """Facts from earlier watches.

    ``locators``: the last locator each call gave. ``log_locators``: the operator's own log entries.
    ``days_heard``: for each call, the day numbers (days since 1970 UTC) on which it was heard.
    ``watched_days``: day numbers on which the watch ran. ``squares``, ``countries`` (codes) and
    ``farthest_km`` (by mode) are what was ever heard. ``day_bests`` are the days of the last year, by number,
    on which the watch ran for long enough to compare. ``worked_countries`` and ``worked_squares`` are the
    log's, None without a log. ``learned`` is what the watch before knew of habits.
    """

    locators: Mapping[str, str] = field(default_factory=dict)
    log_locators: Mapping[str, str] = field(default_factory=dict)
    days_heard: Mapping[str, frozenset[int]] = field(default_factory=dict)
    watched_days: frozenset[int] = frozenset()
    squares: frozenset[str] = frozenset()
    countries: frozenset[str] = frozenset()
    farthest_km: Mapping[str, float] = field(default_factory=dict)
    day_bests: Mapping[int, DayBest] = field(default_factory=dict)
    worked_countries: frozenset[str] | None = None
    worked_squares: frozenset[str] | None = None
    learned: Learned | None = None
