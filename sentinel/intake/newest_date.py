"""Which day a bare time of day belongs to. Pure: the caller says what the clock says, if it may be trusted.

The date comes from the newest date seen in the stream. From line to line it follows the time of day: a jump
back of more than twelve hours is midnight. A smaller jump back is a line that was printed late.
"""

from sentinel.intake.time_values import DAY_S

HALF_DAY_S = DAY_S / 2
# A late line belongs to the day before when midnight lies between: slots last at most 2 min, and no decoder
# holds a line back for several of them.
LATE_LINE_S = 600.0


class NewestDate:
    """Follows the date of one stream of lines. Days are counted from 1970-01-01."""

    def __init__(self) -> None:
        self.maybe_day: int | None = None
        self._last_s: float | None = None
        self._near_s: float | None = None

    @property
    def maybe_nearby_day(self) -> int | None:
        """The newest date, or at least the day of the clock: enough to complete a date without its year."""
        if self.maybe_day is None and self._near_s is not None:
            return int(self._near_s // DAY_S)
        return self.maybe_day

    def near(self, at_s: float) -> None:
        """The next bare time of day is the one nearest to this instant (seconds since 1970)."""
        self._near_s = at_s

    def see_day(self, day: int) -> None:
        """A header line, or the file's name, says that the lines below are of this day."""
        if self._last_s is not None and not 0 <= day - self._last_s // DAY_S <= 1:
            self._last_s = None  # another stretch of time: no line before it says anything
        self.maybe_day = day
        self._near_s = None

    def see(self, at_s: float) -> None:
        """A line said date and time."""
        self.maybe_day = int(at_s // DAY_S)
        self._last_s = at_s

    def place(self, second_of_day: float) -> float | None:
        """Seconds since 1970 of a line that holds only a time of day; ``None`` while no date is known."""
        if self._near_s is not None:
            self.maybe_day = round((self._near_s - second_of_day) / DAY_S)
            self._near_s = None
        elif self.maybe_day is None:
            return None
        elif self._last_s is not None:
            ahead_s = self.maybe_day * DAY_S + second_of_day - self._last_s
            if ahead_s < -HALF_DAY_S:
                self.maybe_day += 1
            elif ahead_s > DAY_S - LATE_LINE_S:
                self._last_s = (self.maybe_day - 1) * DAY_S + second_of_day
                return self._last_s
        self._last_s = self.maybe_day * DAY_S + second_of_day
        return self._last_s
