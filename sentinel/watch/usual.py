"""What is usual here: how often far stations are newly heard, and how often false calls appear.

The state follows from evidence against this background, so the background is learned where it can be:
from the half hour before (but not the last minutes, which may already be an opening), from the same hour
of other days, and until then from a published prior: the daily rhythm of meteor pings and the year's showers.
"""

from collections import deque
from collections.abc import Callable

RECENT_S = 30 * 60.0
LEFT_OUT_S = 5 * 60.0
"""The newest minutes do not count as usual: an opening that builds up must not raise its own bar."""
LEAST_PER_MIN = 0.03
"""Two pings an hour: what a modest antenna hears on a dead band outside the showers (common practice)."""
FALSE_MEMORY_S = 60 * 60.0
KEPT_EVENTS = 20_000
HOUR_MEMORY = 0.2
"""Weight of the newest day in an hour's learned rate: a week of memory."""


class Usual:
    """Rates of newcomers and of false calls, from event time alone."""

    def __init__(self, prior_per_min: Callable[[float], float]) -> None:
        self._prior_per_min = prior_per_min
        self._newcomers: deque[float] = deque(maxlen=KEPT_EVENTS)
        self._false: deque[float] = deque(maxlen=KEPT_EVENTS)
        self._by_hour: dict[int, float] = {}
        self._hour: int | None = None
        self._count_in_hour = 0

    def newcomer(self, at_s: float) -> None:
        """A far station was newly heard outside any opening."""
        self._turn_hour(at_s)
        self._count_in_hour += 1
        self._newcomers.append(at_s)

    def false_call(self, at_s: float) -> None:
        """A call was printed that nobody can believe."""
        self._false.append(at_s)

    def newcomers_per_min(self, at_s: float) -> float:
        """The rate of far newcomers to expect now, a minute; never below ``LEAST_PER_MIN``."""
        self._turn_hour(at_s)
        while self._newcomers and self._newcomers[0] <= at_s - RECENT_S - LEFT_OUT_S:
            self._newcomers.popleft()
        recent = sum(1 for t in self._newcomers if t <= at_s - LEFT_OUT_S) / (RECENT_S / 60.0)
        learned = self._by_hour.get(int(at_s // 3600) % 24, 0.0)
        return max(LEAST_PER_MIN, self._prior_per_min(at_s), learned, recent)

    def false_per_hour(self, at_s: float) -> float:
        """False calls counted in the last hour."""
        while self._false and self._false[0] <= at_s - FALSE_MEMORY_S:
            self._false.popleft()
        return float(len(self._false))

    def _turn_hour(self, at_s: float) -> None:
        hour = int(at_s // 3600)
        if self._hour is None:
            self._hour = hour
        if hour <= self._hour:
            return
        self._learn(self._hour % 24, self._count_in_hour / 60.0)
        for silent in range(self._hour + 1, min(hour, self._hour + 25)):
            self._learn(silent % 24, 0.0)
        self._hour, self._count_in_hour = hour, 0

    def _learn(self, hour_of_day: int, per_min: float) -> None:
        before = self._by_hour.get(hour_of_day, per_min)
        self._by_hour[hour_of_day] = before + HOUR_MEMORY * (per_min - before)
