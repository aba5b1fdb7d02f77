"""One band of the daemon: its live watch, its clock, its share of the diary, and who is told of it.

Each band has its own event time, since each may be heard by another decoder with another clock. The daemon's
loop owns them all; nothing passes between them but a lower band's skip.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sentinel.band_diary import BandDiary, Place, Remembered
from sentinel.event_clock import EventClock
from sentinel.live_watch import LiveWatch
from sentinel.restart import starting_time_s
from sentinel.telling import Telling
from sentinel.watch.decode import Decode
from sentinel.watch.lower_band import LowerBandSkip, SkipFinder
from sentinel.watch.neighbours import NeighbourHeard, NeighbourReport
from sentinel.watch.settings import WatchSettings

LAG_S = 5.0
"""Event time trails the clock by this much, so that lines of a slow decoder are not late; in compressed time
by more, since a moment of waiting is much there."""


@dataclass(frozen=True, slots=True)
class Start:
    """The start of the program: on the monotonic clock, how far the wall clock was ahead of that, how fast
    the bands' time runs, and whether the wall clock was known to be doubtful."""

    monotonic_s: float
    wall_minus_monotonic_s: float
    rate: float = 1.0
    is_clock_doubtful: bool = False


class BandWatch:
    """Fed by the loop; times are monotonic unless they are said to be event time."""

    def __init__(
        self,
        settings: WatchSettings,
        diary: BandDiary,
        start: Start,
        make_telling: Callable[[LiveWatch, BandDiary, Remembered], Telling],
        skip_finder: SkipFinder | None = None,
    ) -> None:
        self.band = settings.band
        self._start, self._diary = start, diary
        self._lag_s = max(LAG_S, 0.15 * start.rate)
        self.remembered = diary.recall() if start.rate == 1.0 else Remembered()
        memory = self.remembered.memory
        start_s = starting_time_s(memory, time.time(), start.is_clock_doubtful)
        self._clock = EventClock(start_s, start.monotonic_s, start.rate)
        self.live = LiveWatch(settings, self._clock, memory, skip_finder)
        self.telling = make_telling(self.live, diary, self.remembered)
        self._is_downtime_noted = False

    def follow(self) -> None:
        """What the diary knows already is how the last watch stood."""
        if self.live.has_verdict:
            self._diary.follow(self.live.bulletin(), self.live.heard_lately())

    def event_s(self, now_s: float) -> float:
        """Event time: up to where everything may be taken for complete."""
        return max(self._clock.now_s(now_s) - self._lag_s, self.live.now_s)

    # --- what comes in ----------------------------------------------------------------------------

    def feed(self, decode: Decode, is_live: bool, now_s: float) -> None:
        """Take a decode, as it was written (live) or from a backlog."""
        if decode.at_s > self.live.now_s and self.live.has_verdict:
            self.judge(is_live, now_s)
        wall_moved_s = time.time() - now_s - self._start.wall_minus_monotonic_s
        has_changed = self.telling.happened(self.live.feed(decode, is_live, now_s, wall_moved_s))
        if has_changed and is_live:
            self.telling.tell(now_s)

    def judge(self, is_told: bool, now_s: float) -> None:
        """The instant fed last is complete; ``is_told``: what it changed is told at once."""
        if self.telling.happened(self.live.settle()) and is_told:
            self.telling.tell(now_s)
        self.telling.note()

    def hear_of(self, words: Sequence[NeighbourReport | NeighbourHeard]) -> None:
        """What neighbours say, in event time."""
        for word in words:
            self.telling.happened(self.live.hear_of(word))

    def hear_from_below(self, words: Sequence[LowerBandSkip], now_s: float) -> None:
        """How the skip of the band below stands: only the last word counts, and it counts from now on."""
        if words:
            self.judge(False, now_s)  # time passes now: what was heard last must be noted before
            word = LowerBandSkip(self.event_s(now_s), words[-1].skip)
            self.telling.happened(self.live.hear_of(word))

    # --- time -------------------------------------------------------------------------------------

    def settle(self) -> None:
        """Everything that has come is fed."""
        self.telling.happened(self.live.settle())

    def let_pass(self, now_s: float) -> None:
        """Silence passes."""
        self.telling.happened(self.live.let_pass(self.event_s(now_s)))

    def keep_place(self, checkpoints: Mapping[str, str], now_s: float) -> None:
        """From here a start goes on, with the places of the sources."""

        def place(notes: Mapping[str, Any]) -> Place:
            standing = self.live.standing(now_s, time.time()).as_json()
            lines = self.live.recent.take_lines()
            return Place(lines, checkpoints, {**notes, "watch": standing}, self.live.learned)

        self.telling.note(place)

    def note_downtime(self, now_s: float) -> None:
        """Once the time of the start is known: from the last sign of life to it, nobody watched."""
        since_s = self.remembered.memory.watched_until_s
        if self._is_downtime_noted or since_s is None:
            return
        self._is_downtime_noted = True
        until_s = self._clock.now_s(self._start.monotonic_s)
        if self._start.is_clock_doubtful:  # event time went on from where it stood; only now can be compared
            wall_s = time.time() - now_s + self._start.monotonic_s
            until_s = starting_time_s(self.remembered.memory, wall_s, False)
        if until_s > since_s:
            self._diary.note_downtime(since_s, until_s)
