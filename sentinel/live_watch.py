"""The watch as it lives: fed line by line, its time carried on between lines, and begun again where need be.

It begins again after a restart, where lines turn out to come from before the time that was taken from the
wall clock, and once a clock that was set during an opening may be followed. It then says nothing twice. No
thread and no file: the caller passes the monotonic time, in seconds.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from sentinel.event_clock import EventClock
from sentinel.line_time import STRAY_S, LineTime
from sentinel.recent import MEMORY_S, Beginning, RecentDecodes
from sentinel.restart import ODD_WALL_S, Continuity, Memory, Standing, begin_again, moved
from sentinel.watch.bulletin import Bulletin, State, Station
from sentinel.watch.changes import Change, OpeningChanged, Phase
from sentinel.watch.decode import Decode
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.learned import Learned
from sentinel.watch.lower_band import LowerBand, LowerBandSkip, SkipFinder
from sentinel.watch.mode import SpaceWeather
from sentinel.watch.neighbours import NeighbourHeard, Neighbourhood, NeighbourReport
from sentinel.watch.receiver import FactKind, ReceiverFact
from sentinel.watch.settings import WatchSettings
from sentinel.watch.verdict import HOLD_S
from sentinel.watch.watch import LATE_S, Watch


class LiveWatch:
    """One band's watch. What may change something returns what has changed, in order.

    ``skip_finder`` is given where a higher band is watched too: it finds what that band is to be told.
    """

    def __init__(
        self,
        settings: WatchSettings,
        clock: EventClock,
        memory: Memory | None = None,
        skip_finder: SkipFinder | None = None,
    ) -> None:
        self.settings = settings
        self.clock = clock
        self._facts: dict[FactKind, ReceiverFact] = {}
        self._weather = SpaceWeather()
        self._neighbours = Neighbourhood(settings.home_locator, settings.neighbours_km, settings.far_km)
        self._lower_band = LowerBand()
        self.skip_finder = skip_finder
        self._far_call: str | None = None
        self._struck_after_s: float | None = None
        # How far stamps lag the wall clock, but for a constant: those of this computer's clock, and as seen.
        self._lags_s = (-clock.now_s(0.0), -clock.now_s(0.0))
        memory = memory or Memory()
        self._begin_from(moved(memory, -memory.standing.shift_s if memory.standing else 0.0))
        self._fed_before = {_key(each) for each in self.recent}

    def _begin_from(self, memory: Memory) -> None:
        standing = memory.standing
        self._memory = memory
        self._line_time = LineTime()
        self._beginnings = dict(standing.beginnings) if standing else {}
        self._wall_ahead_s = standing.wall_ahead_s if standing else 0.0
        self._newest_s = max((each.at_s for each in memory.decodes), default=-math.inf)
        self.recent = RecentDecodes(self.settings, memory.decodes)
        self._begin_again()

    def _begin_again(self, at_s: float = math.inf) -> None:
        """A new core, fed what the old one was fed, without the time that has passed since; lines go on at
        ``at_s``."""
        standing = self._memory.standing
        started_s = standing.started_s if standing else None
        self._continuity = Continuity(standing, self._memory.live_openings)
        self._neighbours.move_clock(not_after_s=at_s)
        self._watch: Watch = begin_again(self.settings, self._memory.knowledge, self.recent, started_s)
        self._watch.neighbours = self._neighbours
        self._neighbours.look_again(self._watch.now_s)
        self._lower_band.look_again(self._watch.now_s)
        self._watch.lower_band = self._lower_band
        self._watch.find_skip(self.skip_finder)
        self._watch.feed(self._weather)
        for fact in self._facts.values():
            self._watch.feed(replace(fact, at_s=max(min(fact.at_s, at_s), self._watch.now_s)))

    # --- what it says -----------------------------------------------------------------------------

    @property
    def now_s(self) -> float:
        """Event time: the newest moment that the core knows of; minus infinity before the first."""
        return self._watch.now_s

    @property
    def state(self) -> State | None:
        """The verdict; None before the first."""
        return self._watch.state

    @property
    def has_verdict(self) -> bool:
        return self._watch.has_verdict

    @property
    def last_decode_at_s(self) -> float | None:
        """Event time of the last decode with a sender."""
        return self._watch.receiver.last_decode_at_s

    @property
    def clock_error_s(self) -> float | None:
        """What the stations' time offsets say of our clock."""
        return self._watch.receiver.shown_clock_error_s(self.now_s) if self.has_verdict else None

    def bulletin(self) -> Bulletin:
        """As of the newest event."""
        return self._continuity.bulletin(self._watch.bulletin())

    def heard_lately(self) -> tuple[Station, ...]:
        """The believed far stations of the last minutes, also those that do not count: pings and regulars."""
        tracks = self._watch.hearing.tracks.values()
        return tuple(track.published() for track in tracks if track.last_at_s > self.now_s - 2.0 * LATE_S)

    def learned(self) -> Learned:
        """What the core has learned over days, for the next start."""
        return self._watch.learned()

    def take_struck(self) -> float | None:
        """Event time after which all that was said until now was said by a wrong clock, if it was; once."""
        after_s, self._struck_after_s = self._struck_after_s, None
        return after_s

    def standing(self, now_s: float, wall_s: float) -> Standing:
        """How it stands, for the next start."""
        ahead_s = wall_s - self.clock.now_s(now_s)
        if self.clock.follows_lines and abs(ahead_s - self._wall_ahead_s) > LATE_S:  # else it is no news
            self._wall_ahead_s = ahead_s
        return self._stand()

    def _stand(self) -> Standing:
        now = self.bulletin()
        return Standing(
            now.state,
            now.since_s,
            now.previous,
            self._watch.receiver.started_at_s,
            self._line_time.shift_s,
            self._wall_ahead_s,
            dict(self._beginnings),
        )

    # --- lines and facts --------------------------------------------------------------------------

    def feed(
        self, decode: Decode, is_live: bool, now_s: float, wall_moved_s: float | None = None
    ) -> list[Change]:
        """Take a decode, as it was written (live) or from a backlog.

        ``wall_moved_s``: how far the wall clock has run away from the monotonic one, where known.
        """
        changes: list[Change] = []
        for each in self._believed(decode, is_live, now_s, wall_moved_s):
            if is_live:
                self.clock.saw_live(each.at_s, now_s)
            self._newest_s = max(self._newest_s, each.at_s)
            self.recent.add(each)
            changes += self._watch.feed(each)
        return self._noted(changes)

    def was_written(self, at_s: float, ago_s: float, now_s: float) -> None:
        """The last line of a backlog, stamped ``at_s``, was written so long ago by the wall clock.

        After a restart this tells how far apart the two are where no live line has told it yet. A log that is
        read for the first time may have been copied: when it was written says nothing.
        """
        is_odd = abs(self.clock.now_s(now_s) - ago_s - at_s) > ODD_WALL_S
        if self._memory.watched_until_s is not None and not self.clock.follows_lines and is_odd:
            self.clock.saw_written(at_s, now_s - max(0.0, ago_s))

    def reject(self) -> None:
        """A line could not be read."""
        self._watch.reject()

    def tell(self, kind: FactKind, is_so: bool, note: str, at_s: float) -> list[Change]:
        """A fact about the receiver; it stays until the contrary is told."""
        fact = ReceiverFact(max(at_s, self.now_s), kind, is_so, note)
        self._facts[kind] = fact
        return self._noted(self._watch.feed(fact))

    def hear_of(self, word: NeighbourReport | NeighbourHeard | LowerBandSkip) -> list[Change]:
        """Something that neighbours hear, or how the skip of a lower band stands."""
        return self._noted(self._watch.feed(replace(word, at_s=max(word.at_s, self.now_s))))

    def learn_weather(self, weather: SpaceWeather) -> None:
        """What is known of space weather now."""
        if weather != self._weather:
            self._weather = weather
            self._watch.feed(weather)

    def learn_log(
        self, locators: Mapping[str, str], countries: frozenset[str], squares: frozenset[str]
    ) -> None:
        """What the operator has worked, when it is read for the first time and when it has changed."""
        is_first = self._memory.knowledge.worked_countries is None

        def with_log(known: Knowledge) -> Knowledge:
            return replace(known, log_locators=locators, worked_countries=countries, worked_squares=squares)

        self._memory = replace(self._memory, knowledge=with_log(self._memory.knowledge))
        self._watch.notables.knowledge = with_log(self._watch.notables.knowledge)
        if is_first:
            self._begin_from(self._here())  # also the places of stations come from the log
            self.recent.rewrite()

    def _here(self) -> Memory:
        """All that it takes to begin again as things stand."""
        if not self.has_verdict:
            return replace(self._memory, decodes=tuple(self.recent))
        openings = tuple(map(self._continuity.opening, self._watch.openings.published()))
        return replace(
            self._memory,
            knowledge=self._watch.known(),
            decodes=tuple(self.recent),
            standing=self._stand(),
            live_openings=openings,
        )

    def _believed(
        self, decode: Decode, is_live: bool, now_s: float, wall_moved_s: float | None
    ) -> Sequence[Decode]:
        if not is_live:
            return self._from_backlog(self._line_time.shifted(decode))
        self._fed_before.clear()  # from here on, a line that comes again is the decoder's own doing
        lag_s = None if wall_moved_s is None else wall_moved_s + now_s - decode.at_s
        is_first = not self.clock.follows_lines
        if self.clock.rate != 1.0 or (is_first and decode.at_s >= self._newest_s - LATE_S):
            self._learn_lag(lag_s)
            return self._in_time(decode)
        expected_s = self.clock.now_s(now_s)
        if is_first:
            expected_s = max(expected_s, self._newest_s)
        is_by_wall = lag_s is not None and any(abs(lag_s - each) <= STRAY_S for each in self._lags_s)
        is_jump = abs(self._line_time.shifted(decode).at_s - expected_s) > STRAY_S
        believed = self._line_time.believed(decode, expected_s, is_by_wall=is_by_wall)
        if believed and is_jump and not is_by_wall:
            self._learn_lag(lag_s)  # the decoder has a clock of its own, or it paused
        return believed

    def _learn_lag(self, lag_s: float | None) -> None:
        if lag_s is not None:
            self._lags_s = (self._lags_s[0], lag_s)

    def _from_backlog(self, decode: Decode) -> Sequence[Decode]:
        """After a power cut a file may give once more what was read before."""
        return () if _key(decode) in self._fed_before else self._in_time(decode)

    def _in_time(self, decode: Decode) -> Sequence[Decode]:
        """The decode; where the wall clock has let time pass beyond it, the core goes back for it first."""
        if not self.clock.follows_lines and self._newest_s - LATE_S <= decode.at_s < self.now_s - LATE_S:
            self._struck_after_s = decode.at_s
            self._begin_again(decode.at_s)
        elif self._is_first_of_all() and decode.at_s > self.now_s + ODD_WALL_S:
            self._struck_after_s = 0.0  # nobody watched the time up to the first line: the clock was slow
            self._begin_again(decode.at_s)
        return (decode,)

    def _is_first_of_all(self) -> bool:
        """No line has ever come, yet the watch has spoken, by the wall clock."""
        return self.has_verdict and self._memory.watched_until_s is None and not len(self.recent)

    # --- time -------------------------------------------------------------------------------------

    def settle(self) -> list[Change]:
        """The newest instant is complete: judge it, if there is one."""
        if not math.isfinite(self._watch.now_s):
            return []  # nothing has come on this band
        changes = self._noted(self._watch.tick(math.nextafter(self._watch.now_s, math.inf)))
        self._tidy_up()
        return changes

    def let_pass(self, until_s: float) -> list[Change]:
        """Event time has come to ``until_s``; what was fed until then is complete.

        Of a decoder that plays in compressed time only the lines tell when its time begins.
        """
        if self.clock.rate != 1.0 and not self.clock.follows_lines:
            return []
        until_s = max(until_s, self._watch.now_s)
        changes = self._watch.tick(until_s)
        if not self._watch.has_verdict:
            changes += self._watch.tick(math.nextafter(until_s, math.inf))
        return self._noted(changes)

    def _noted(self, changes: Iterable[Change]) -> list[Change]:
        noted = self._continuity.changes(changes) + self._lost()
        for change in noted:
            if not isinstance(change, OpeningChanged):
                continue
            if change.phase is Phase.BEGAN:
                since_s = min(change.opening.began_at_s, change.at_s - MEMORY_S)
                self._beginnings[change.opening.id] = Beginning(since_s, change.at_s)
            else:
                self._beginnings.pop(change.opening.id, None)
        return noted

    def _lost(self) -> list[Change]:
        """The end of openings that lived before the restart and have not been seen again since."""
        if not self._continuity.lost_openings:
            return []
        for opening in self._watch.openings.published():
            self._continuity.opening(opening)
        over = [each for each in self._continuity.lost_openings if each.last_at_s + HOLD_S <= self.now_s]
        ended = []
        for opening in over:
            at_s = opening.last_at_s + HOLD_S
            ended.append(OpeningChanged(at_s, Phase.ENDED, replace(opening, stations=0, ended_at_s=at_s)))
            self._continuity.let_go(opening)
        return list(ended)

    def _tidy_up(self) -> None:
        tracks = self._watch.hearing.tracks.values()
        if newest := max(tracks, key=lambda track: track.last_at_s, default=None):
            self._far_call = newest.sender.base
        self.recent.thin(self.now_s, list(self._beginnings.values()), self._far_call)
        if self._line_time.shift_s and not self._watch.openings and self._watch.has_verdict:
            self._follow_the_set_clock()

    def _follow_the_set_clock(self) -> None:
        """No opening's name hangs on the time any more: from now on the stamps count as they are."""
        by_s = -self._line_time.shift_s
        if by_s < 0.0:
            self._struck_after_s = self.now_s + by_s
        self._neighbours.move_clock(by_s)
        self._begin_from(moved(self._here(), by_s))
        self.recent.rewrite()
        self.clock.move(by_s)


def _key(decode: Decode) -> tuple[float, str, str]:
    return decode.at_s, decode.message, decode.source
