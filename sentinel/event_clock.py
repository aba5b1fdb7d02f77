"""Event time of a live watch: what the decoder stamps, carried on through silence by the monotonic clock.

The wall clock is only asked before the first line. A decoder that runs in compressed time (the demo) says
so by ``rate``. Pure: the caller passes the monotonic time.
"""


class EventClock:
    """Tells event time (seconds since 1970 UTC) for a monotonic time in seconds."""

    def __init__(self, wall_s: float, monotonic_s: float, rate: float = 1.0) -> None:
        self._base_s = wall_s
        self._at_monotonic_s = monotonic_s
        self._rate = rate
        self.has_seen_line = False

    def saw(self, at_s: float, monotonic_s: float) -> None:
        """A line stamped ``at_s`` arrived. Time never runs backwards for it."""
        if not self.has_seen_line or at_s >= self.now_s(monotonic_s):
            self._base_s, self._at_monotonic_s = at_s, monotonic_s
        self.has_seen_line = True

    def now_s(self, monotonic_s: float) -> float:
        """Event time at a monotonic time."""
        return self._base_s + self._rate * (monotonic_s - self._at_monotonic_s)
