"""Event time of a live watch: what the decoder stamps, carried on through silence by the monotonic clock.

The wall clock is only asked until the first line is seen as it is written; from then on the lines rule, so a
wall clock that steps changes nothing. A decoder that runs in compressed time (the demo) says so by ``rate``.
Pure: the caller passes the monotonic time.
"""


class EventClock:
    """Tells event time (seconds since 1970 UTC) for a monotonic time in seconds."""

    def __init__(self, wall_s: float, monotonic_s: float, rate: float = 1.0) -> None:
        self._base_s = wall_s
        self._at_monotonic_s = monotonic_s
        self.rate = rate
        self.follows_lines = False
        """True once a line was seen as it was written: stamps count, not the wall clock."""

    def saw_live(self, at_s: float, monotonic_s: float) -> None:
        """A line stamped ``at_s`` was just written. Event time never runs backwards for it."""
        if not self.follows_lines or at_s >= self.now_s(monotonic_s):
            self._base_s, self._at_monotonic_s = at_s, monotonic_s
        self.follows_lines = True

    def saw_written(self, at_s: float, monotonic_s: float) -> None:
        """A line stamped ``at_s`` was written then, before anybody watched."""
        self._base_s, self._at_monotonic_s = at_s, monotonic_s

    def move(self, by_s: float) -> None:
        """All that was stamped until now was stamped ``by_s`` too early."""
        self._base_s += by_s

    def now_s(self, monotonic_s: float) -> float:
        """Event time at a monotonic time."""
        rate = self.rate if self.follows_lines else 1.0
        return self._base_s + rate * (monotonic_s - self._at_monotonic_s)
