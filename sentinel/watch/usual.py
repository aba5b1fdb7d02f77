"""What is usual here: how often far stations are newly heard, and how often false calls appear.

The state follows from evidence against this background. A newcomer that has not come back counts as a ping;
the rate of pings is estimated from those of the last twenty minutes, from the same hour of other days, and
from a published prior: the daily rhythm of meteors and the year's showers. Stations that come back do not
count, so an opening that builds up does not raise its own bar.
"""

from collections import OrderedDict, deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from sentinel.watch.track import Track

RECENT_S = 20 * 60.0
RETURN_S = 95.0
"""Three transmission periods of FT8 and a slot's delay: who is still there has been heard again by then."""
PRIOR_WEIGHT_MIN = 10.0
"""The prior counts like ten minutes of watching, so a shower is believed after its first few pings."""
START_S = 20 * 60.0
START_PER_MIN = 0.1
"""For the first twenty minutes nothing is known of this night, and it may be a shower's."""
LEAST_PER_MIN = 0.03
"""Two pings an hour: what a modest antenna hears on a dead band outside the showers (common practice)."""
PRIOR_EVERY_S = 600.0
FALSE_MEMORY_S = 60 * 60.0
KEPT_EVENTS = 5_000
KEPT_RUNS = 32
REMEMBERED_STATIONS = 2_000
RUNS_LEFT_OUT_S = 10 * 60.0
"""The newest minutes of a station may already be the opening that it is asked about."""
HOUR_MEMORY = 0.2
"""Weight of the newest day in an hour's learned rate: a week of memory."""


@dataclass(frozen=True, slots=True)
class PingHabits:
    """Pings a minute by hour of the day; the count of ``hour`` (since 1970) so far; since when lines come."""

    per_min: Mapping[int, float]
    hour: int | None
    in_hour: int
    lines_since_s: float | None


class Usual:
    """Rates of pings and of false calls, from event time alone."""

    def __init__(self, prior_per_min: Callable[[float], float]) -> None:
        self._prior_per_min = prior_per_min
        self._newcomers: deque[Track] = deque(maxlen=KEPT_EVENTS)
        self._false: deque[float] = deque(maxlen=KEPT_EVENTS)
        self._runs: OrderedDict[str, deque[float]] = OrderedDict()
        self._by_hour: dict[int, float] = {}
        self._prior_step: int | None = None
        self._prior_now = 0.0
        self._started_s: float | None = None
        self._hour: int | None = None
        self._count_in_hour = 0
        self._known_until_s = float("-inf")

    def hear_lines(self, at_s: float) -> None:
        """The decoder prints: an hour with lines counts, even if it brings no ping."""
        if self._started_s is None:
            self._started_s = at_s
        self._turn_hour(at_s)

    @property
    def habits(self) -> PingHabits:
        """What the days have taught of this."""
        return PingHabits(dict(self._by_hour), self._hour, self._count_in_hour, self._started_s)

    def take_up(self, habits: PingHabits, as_of_s: float) -> None:
        """Go on from what a watch before this one knew ``as_of_s``; pings before that do not count again."""
        self._by_hour = dict(habits.per_min)
        self._hour, self._count_in_hour = habits.hour, habits.in_hour
        self._started_s = habits.lines_since_s
        self._known_until_s = as_of_s

    def newcomer(self, track: Track) -> None:
        """A far station was newly heard outside any opening."""
        self._newcomers.append(track)

    def false_call(self, at_s: float) -> None:
        """A call was printed that nobody can believe."""
        self._false.append(at_s)

    def pings_per_min(self, at_s: float) -> float:
        """The rate of far pings to expect at ``at_s``, a minute; never below ``LEAST_PER_MIN``."""
        oldest_s = at_s - RECENT_S
        pings = sum(1 for t in self._newcomers if oldest_s < t.first_at_s < at_s and not t.is_repeated)
        started_s = at_s if self._started_s is None else self._started_s
        watched_min = min(RECENT_S, max(0.0, at_s - started_s)) / 60.0
        prior = max(self._prior(at_s), self._by_hour.get(int(at_s // 3600) % 24, 0.0))
        if at_s - started_s < START_S:
            prior = max(prior, START_PER_MIN)
        return max(LEAST_PER_MIN, (prior * PRIOR_WEIGHT_MIN + pings) / (PRIOR_WEIGHT_MIN + watched_min))

    def _prior(self, at_s: float) -> float:
        """The published prior, worked out once in ``PRIOR_EVERY_S``: it changes with the hour."""
        step = int(at_s // PRIOR_EVERY_S)
        if step != self._prior_step:
            self._prior_step, self._prior_now = step, self._prior_per_min(step * PRIOR_EVERY_S)
        return self._prior_now

    def run_began(self, call: str, at_s: float) -> None:
        """A station was newly heard, or heard again after a pause."""
        runs = self._runs.setdefault(call, deque(maxlen=KEPT_RUNS))
        runs.append(at_s)
        self._runs.move_to_end(call)
        if len(self._runs) > REMEMBERED_STATIONS:
            self._runs.popitem(last=False)

    def runs_per_hour(self, call: str, at_s: float) -> float:
        """How often this very station came up in the hour before the last ten minutes."""
        runs = self._runs.get(call, ())
        return float(sum(1 for t in runs if at_s - RUNS_LEFT_OUT_S - 3600.0 < t <= at_s - RUNS_LEFT_OUT_S))

    def false_per_hour(self, at_s: float) -> float:
        """False calls counted in the hour before ``at_s``."""
        return float(sum(1 for t in self._false if t > at_s - FALSE_MEMORY_S))

    def was_ping(self, at_s: float) -> None:
        """One more newcomer turned out to be a ping."""
        if at_s < self._known_until_s:
            return
        self._turn_hour(at_s)
        self._count_in_hour += 1

    def forget_before(self, at_s: float) -> None:
        """Drop what no rate looks at any more after ``at_s``."""
        while self._newcomers and self._newcomers[0].first_at_s <= at_s - RECENT_S:
            self._newcomers.popleft()
        while self._false and self._false[0] <= at_s - FALSE_MEMORY_S:
            self._false.popleft()

    def _turn_hour(self, at_s: float) -> None:
        hour = int(at_s // 3600)
        if self._hour is None:
            self._hour = hour
        if hour <= self._hour:
            return
        self._learn(self._hour % 24, self._count_in_hour / 60.0)
        self._hour, self._count_in_hour = hour, 0

    def _learn(self, hour_of_day: int, per_min: float) -> None:
        before = self._by_hour.get(hour_of_day, per_min)
        self._by_hour[hour_of_day] = before + HOUR_MEMORY * (per_min - before)
