"""The watch on one band: decodes and the time in, changes out. No clock, no file, no socket, no thread.

Time is event time. Everything stamped alike is one instant, judged as a whole once time has passed it;
between instants only what falls due is judged, at the moment it falls due. So neither the order of lines
within a slot nor how often anyone calls ``tick`` changes a verdict.
"""

from dataclasses import replace
from itertools import chain

from sentinel.trade.locator import center_of
from sentinel.watch import sentences
from sentinel.watch.bulletin import Bulletin, Notable, ReceiverHealth, State, Station
from sentinel.watch.changes import Change, NotableHappened, StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.handover import learned_by, take_up
from sentinel.watch.hearing import FarDecode, Hearing
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.learned import Learned
from sentinel.watch.lower_band import LowerBand, LowerBandSkip, SkipFinder
from sentinel.watch.mode import SpaceWeather
from sentinel.watch.neighbours import NeighbourHeard, Neighbourhood, NeighbourReport
from sentinel.watch.notable import NotableFinder
from sentinel.watch.openings import Openings, best_mode, counted, mean_bearing_deg
from sentinel.watch.receiver import Blindness, Receiver, ReceiverFact
from sentinel.watch.settings import WatchSettings
from sentinel.watch.track import Track
from sentinel.watch.verdict import Verdict, decide

LATE_S = 60.0
"""A line may be stamped this much earlier than the newest one: late passes of a decoder, two sources."""
PUBLISHED_STATIONS = 64
KEPT_NOTABLES = 20
LOOK_EVERY_S = 60.0
"""How often a live opening is asked what is notable about it."""
JUST_S = 90.0
"""So long after it began, an opening is explained by what decided; later by how it stands."""


class Watch:
    """Feed it, tick it, read its bulletin."""

    def __init__(self, settings: WatchSettings, knowledge: Knowledge | None = None) -> None:
        self.settings = settings
        self.receiver = Receiver(settings.receiver)
        self.hearing = Hearing(settings, knowledge or Knowledge(), self.receiver)
        self.openings = Openings(center_of(settings.home_locator), settings.low_mhz)
        self.notables = NotableFinder(settings.band, knowledge or Knowledge())
        if knowledge is not None and knowledge.learned is not None:
            take_up(knowledge.learned, self.hearing, self.receiver, self.notables)
        self.neighbours = Neighbourhood(settings.home_locator, settings.neighbours_km, settings.far_km)
        self.lower_band = LowerBand()
        self._skip_finder: SkipFinder | None = None
        self.counts = {"lines": 0, "decodes": 0, "rejected": 0, "late": 0, "other_band": 0}
        self._now_s = float("-inf")
        self._pending_s: float | None = None
        self._pending: list[FarDecode] = []
        self._must_judge = True
        self._due_s = float("inf")
        self._judged_at_s = float("-inf")
        self._judged: tuple[Blindness | None, int] = None, 0
        self._since_s = 0.0
        self._previous: State | None = None
        self._blindness: Blindness | None = None
        self._last_far_at_s: float | None = None
        self._state: State | None = None
        self._bulletin: Bulletin | None = None
        self._notables: tuple[Notable, ...] = ()

    # --- in ---------------------------------------------------------------------------------------

    def feed(
        self, event: Decode | ReceiverFact | SpaceWeather | NeighbourReport | NeighbourHeard | LowerBandSkip
    ) -> list[Change]:
        """Take one event; returns what changed before it. Its own instant is judged once time passes it."""
        if isinstance(event, Decode):
            return self._feed_decode(event)
        if isinstance(event, SpaceWeather):
            self.openings.weather = event
            return []
        if isinstance(event, NeighbourReport | NeighbourHeard | LowerBandSkip):
            return self._feed_hint(event)
        changes = self._pass_time(event.at_s)
        self.receiver.start(event.at_s)
        self.receiver.tell(event)
        self._open_instant(max(event.at_s, self._now_s))
        self._must_judge = True
        return changes

    def tick(self, now_s: float) -> list[Change]:
        """Time has reached ``now_s``: judge all instants and all that fell due before it."""
        if self._state is None and self._pending_s is None:
            self.receiver.start(now_s)
            self._open_instant(now_s)
            return []
        return self._pass_time(now_s)

    def find_skip(self, finder: SkipFinder | None) -> None:
        """From now on ``finder`` looks at every judgement, for a higher band that is watched too."""
        self._skip_finder = finder
        if finder is not None and self.has_verdict:
            finder.look(self.openings, self._judged_at_s, is_blind=self._judged[0] is not None)

    def reject(self, lines: int = 1) -> None:
        """Count lines that the layout could not read."""
        self.counts["lines"] += lines
        self.counts["rejected"] += lines

    def _feed_decode(self, decode: Decode) -> list[Change]:
        if decode.freq_mhz is not None and not self.settings.covers(decode.freq_mhz):
            self._count("lines", "other_band")
            return []
        is_late = decode.at_s < self._now_s
        if is_late and self._now_s - decode.at_s > LATE_S:
            self._count("lines", "late")
            return []
        at_s = max(decode.at_s, self._now_s)
        changes = [] if at_s == self._pending_s else self._begin_instant(at_s)
        self._count("lines", "decodes", *(("late",) if is_late else ()))  # not in what was said before it
        message, far = self.hearing.hear(decode)
        if message.sender is None:
            self.counts["rejected"] += 1
        if far is not None:
            self._pending.append(far)
            self._must_judge = True
        if self._state is State.BLIND:
            self._must_judge = True
        return changes

    def _count(self, *names: str) -> None:
        for name in names:
            self.counts[name] += 1

    def _feed_hint(self, event: NeighbourReport | NeighbourHeard | LowerBandSkip) -> list[Change]:
        """A word from outside opens no instant: what is heard here is judged when it would be without it."""
        has_begun = self._state is not None or self._pending_s is not None
        changes = self._pass_time(event.at_s) if has_begun else []
        now_s = max(event.at_s, self._now_s)
        if isinstance(event, LowerBandSkip):
            self.lower_band.hear(event, now_s)
        else:
            self.neighbours.hear(event, now_s)
        return changes

    @property
    def now_s(self) -> float:
        """Event time: the newest moment that the watch knows of; minus infinity before the first."""
        return self._now_s

    @property
    def state(self) -> State | None:
        """The verdict; None before the first."""
        return self._state

    @property
    def has_verdict(self) -> bool:
        return self._state is not None

    # --- time -------------------------------------------------------------------------------------

    def _open_instant(self, at_s: float) -> None:
        self._pending_s = at_s
        self._now_s = max(self._now_s, at_s)

    def _begin_instant(self, at_s: float) -> list[Change]:
        """The first decode of an instant: what lies before it is complete."""
        changes = self._pass_time(at_s)
        self._open_instant(at_s)
        self.receiver.start(at_s)
        self.receiver.line(at_s)
        self.hearing.usual.hear_lines(at_s)
        self.hearing.habits.watched(at_s)
        self.receiver.locals.watched(at_s)
        return changes

    def _pass_time(self, until_s: float) -> list[Change]:
        """Close the pending instant if ``until_s`` is past it, then judge what falls due before that."""
        changes: list[Change] = []
        if self._pending_s is not None and until_s > self._pending_s:
            at_s, self._pending_s = self._pending_s, None
            if self._pending:
                self.hearing.forget_before(at_s)
                self.hearing.settle(at_s, self._pending)
                if any(far.sender.text in self.hearing.tracks for far in self._pending):
                    self._last_far_at_s = at_s
                self._pending = []
            if self._must_judge or self._must_look(at_s):
                changes += self._judge(at_s)
        if self._state is not None:
            while (due_s := min(ours_s := self._next_due_s(), self._next_hint_s())) < until_s:
                self._now_s = max(self._now_s, due_s)
                changes += self._judge(due_s) if ours_s <= due_s else self._conclude(due_s)
        self._now_s = max(self._now_s, until_s)
        return changes

    def _must_look(self, at_s: float) -> bool:
        """Whether near stations, heard in this instant, are a reason to judge although nothing far was heard:
        while something far is coming through, it may have left the window; else only if our clock is off."""
        near_s = self.receiver.locals.last_at_s
        if near_s is None or near_s <= self._judged_at_s:
            return False
        if self._state is not State.QUIET or any(tracks for _, tracks in self.openings.live):
            return True
        self.hearing.forget_before(at_s)
        return self.receiver.is_clock_off(at_s)

    def _next_due_s(self) -> float:
        return min(self._due_s, self.receiver.due_s(self._judged_at_s))

    def _next_hint_s(self) -> float:
        return min(self.neighbours.due_s, self.lower_band.due_s)

    # --- verdict ----------------------------------------------------------------------------------

    def _judge(self, at_s: float) -> list[Change]:
        self._must_judge = False
        self._judged_at_s = at_s
        hearing = self.hearing
        hearing.forget_before(at_s)
        self.receiver.locals.watched(at_s)
        changes: list[Change] = list(self.openings.update(hearing, at_s))
        live = [track for area, tracks in self.openings.live for track in counted(area, tracks)]
        self._judged = self.receiver.blindness(at_s, hears_far=bool(live)), len(live)
        if self._skip_finder is not None:
            self._skip_finder.look(self.openings, at_s, is_blind=self._judged[0] is not None)
        self._due_s = self._find_due_s(at_s)
        self.notables.rarity.pass_time(at_s, self.receiver.locals.watched_hours)
        found = self._find_notables(at_s)
        return [*changes, *self._conclude(at_s), *found]

    def _conclude(self, at_s: float) -> list[StateChanged]:
        """The verdict: what is heard here, as last judged, and what neighbours and a lower band say now."""
        blindness, coming_through = self._judged
        has_opening = bool(self.openings)
        hint = self.neighbours.judge(
            at_s, hears_far=has_opening or coming_through > 0, is_blind=blindness is not None
        )
        skip = self.lower_band.judge()
        verdict = decide(
            blindness,
            has_opening=has_opening,
            coming_through=coming_through,
            is_hinted_at=hint is not None or skip is not None,
        )
        if verdict.state is self._state:
            self._blindness = verdict.blindness  # still blind, maybe for a better reason
            return []
        return [self._change_state(verdict, at_s)]

    def _find_notables(self, at_s: float) -> list[NotableHappened]:
        found = []
        for area, tracks in self.openings.live:
            if not area.is_open or at_s - area.looked_at_s < LOOK_EVERY_S:
                continue
            area.looked_at_s = at_s
            if (opening := self.openings.opening_of(area)) is not None:
                found += self.notables.find(at_s, opening, tracks)
        self._notables = (*self._notables, *found)[-KEPT_NOTABLES:]
        return [NotableHappened(at_s, notable) for notable in found]

    def _change_state(self, verdict: Verdict, at_s: float) -> StateChanged:
        previous, self._state = self._state, verdict.state
        self._since_s, self._previous = at_s, previous
        self._blindness = verdict.blindness
        return StateChanged(at_s, self.bulletin(at_s))

    def _coming_through(self, at_s: float) -> list[Track]:
        return [
            track
            for area in self.hearing.grouping.areas
            for track in counted(area, self.hearing.coming_through(area, at_s))
        ]

    def _find_due_s(self, at_s: float) -> float:
        areas = self.hearing.grouping.areas
        ends = self.openings.next_end_s(areas)
        looks = (area.looked_at_s + LOOK_EVERY_S for area in areas if area.is_open)
        lives = (track.until_s for area in areas for track in area.members.values() if track.until_s > at_s)
        return min(chain(lives, ends, (look_s for look_s in looks if look_s > at_s)), default=float("inf"))

    def _explain(self, at_s: float) -> str:
        """One sentence with the numbers that decided, as they stand now."""
        if self._blindness is not None:
            return self._blindness.sentence
        areas = [(counted(a, self.hearing.coming_through(a, at_s)), a) for a in self.hearing.grouping.areas]
        live, area = max(
            ((tracks, a) for tracks, a in areas if tracks or a.is_open),
            key=lambda row: (row[1].is_open, len(row[0]), -row[1].number),
            default=([], None),
        )
        if self._state is State.STIRRING and not live and (hint := self._hint()):
            return hint
        if self._state is State.QUIET or area is None:
            return sentences.quiet(at_s, self.hearing.near_stations(at_s), self._last_far_at_s)
        bearing_deg = mean_bearing_deg(live) if live else area.bearing_deg()
        if self._state is State.STIRRING:
            return sentences.stirring(live, bearing_deg, at_s)
        mode = self.openings.mode_of(area)
        if live and at_s - self._since_s < JUST_S:
            usual_per_hour = 60.0 * self.hearing.usual.pings_per_min(at_s)
            return sentences.opened(live, bearing_deg, at_s, usual_per_hour, mode)
        return sentences.still_open(live, bearing_deg, at_s - self._since_s, at_s - area.last_at_s, mode)

    def _hint(self) -> str | None:
        """Why to look although nothing far is coming through, if there is a reason."""
        if (hint := self.neighbours.hint) is not None:
            within_km = self.settings.neighbours_km
            return sentences.neighbours_hear(hint.open, hint.of, within_km, hint.bearing_deg)
        if (skip := self.lower_band.skip) is not None:
            return sentences.lower_band_reaches(
                skip.freq_mhz, skip.distance_km, skip.muf_mhz, skip.bearing_deg
            )
        return None

    # --- out --------------------------------------------------------------------------------------

    def bulletin(self, at_s: float | None = None) -> Bulletin:
        """Everything there is to say as of ``at_s`` (event time), by default of the newest event."""
        now_s = self._now_s if at_s is None else at_s
        if self._state is None:
            raise ValueError("no verdict yet: feed or tick the watch first")
        is_blind = self._state is State.BLIND
        live = self._coming_through(now_s)
        openings = () if is_blind else self.openings.published()
        headings = () if is_blind else self.openings.headings(self.hearing, now_s)
        return Bulletin(
            band=self.settings.band,
            at_s=now_s,
            state=self._state,
            since_s=self._since_s,
            previous=self._previous,
            because=self._explain(now_s),
            blind_reason=self._blindness.reason if self._blindness else None,
            far_stations=None if is_blind else len(live),
            headings=headings,
            mode=best_mode(openings) or (headings[0].mode if headings else None),
            stations=() if is_blind else _newest(live),
            openings=openings,
            notables=self._notables,
            receiver=self._health(now_s),
            station_locator=self.settings.home_locator,
        )

    def learned(self) -> Learned:
        """What it has learned over days, for the ``Knowledge`` of a watch that is to go on from here."""
        return learned_by(self._now_s, self.hearing, self.receiver, self.notables)

    def known(self) -> Knowledge:
        """All that it knows, for a watch that takes its place in the same process."""
        return replace(
            self.notables.known(),
            locators=self.hearing.gazetteer.remembered(),
            days_heard=self.hearing.habits.days_heard(),
            watched_days=frozenset(self.hearing.habits.watched_days),
            learned=self.learned(),
        )

    def _health(self, at_s: float) -> ReceiverHealth:
        health = self.receiver.health(at_s, self.hearing.near_stations(at_s), self.counts)
        return replace(health, notes=(*health.notes, *self.neighbours.notes(at_s)))


def _newest(live: list[Track]) -> tuple[Station, ...]:
    newest = sorted(live, key=lambda t: (-t.last_at_s, t.call))[:PUBLISHED_STATIONS]
    return tuple(track.published() for track in newest)
