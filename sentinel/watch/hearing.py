"""From decodes to believed stations in areas: who was heard, where that is, and whether to believe it.

Near stations are noted as they come. Far ones wait until their instant is complete, so that the order of
lines within one slot changes nothing.
"""

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass

from sentinel.sky.season import meteor_weight
from sentinel.trade.callsign import Call
from sentinel.trade.locator import center_of
from sentinel.trade.message import Message, parse_message
from sentinel.watch.area import Area
from sentinel.watch.bulletin import LocationSource
from sentinel.watch.company import Company
from sentinel.watch.decode import Decode
from sentinel.watch.evidence import LEAST_GAP, newcomer_nats, repetition_nats, usual_return
from sentinel.watch.grouping import Grouping
from sentinel.watch.habits import Habits
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.place import Gazetteer, Place
from sentinel.watch.receiver import Receiver
from sentinel.watch.settings import MAX_CANDIDATES, MAX_FAR_TRACKS, WatchSettings
from sentinel.watch.slots import period_s, slot_s, slot_start_s
from sentinel.watch.track import Track
from sentinel.watch.trust import (
    CREDIBLE,
    REPEATED,
    SAME_REGION_LOCATOR,
    SAME_REGION_PREFIX,
    Evidence,
    company_nats,
    credit,
    prior_nats,
    probability,
)
from sentinel.watch.usual import Usual
from sentinel.watch.vague import Vague
from sentinel.watch.verdict import SHORT_KM

REPEATED_WITHIN_S = 15 * 60.0
"""Two decodes farther apart than this are two events, each as doubtful as one."""
BEYOND_DOUBT = 0.9999
"""From here on no further decode is weighed: heard twice is enough."""
PARTNER_MEMORY_S = 15 * 60.0
MOST_PARTNERS = 2_000
MOST_CALLS_COUNTED = 50_000
USUAL_PINGS_PER_MIN = 0.03
"""Far pings a minute of a yearly average hour: about two an hour (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class FarDecode:
    """A decode of a far station that waits for its instant to be complete."""

    decode: Decode
    message: Message
    sender: Call
    place: Place


class Hearing:
    """Everything heard: near stations, far tracks and the areas they form."""

    def __init__(self, settings: WatchSettings, knowledge: Knowledge, receiver: Receiver) -> None:
        self.settings = settings
        self.receiver = receiver
        self.gazetteer = Gazetteer(settings.home_locator, knowledge)
        self.habits = Habits(knowledge.days_heard, knowledge.watched_days)
        self.grouping = Grouping()
        home = center_of(settings.home_locator)
        self.usual = Usual(lambda at_s: USUAL_PINGS_PER_MIN * meteor_weight(at_s, *home))
        self.tracks: OrderedDict[str, Track] = OrderedDict()
        self.candidates: OrderedDict[str, Track] = OrderedDict()
        self.near: OrderedDict[str, float] = OrderedDict()
        self.far_calls: set[str] = set()
        self._called: OrderedDict[str, float] = OrderedDict()
        self._company = Company()
        self._vague = Vague()

    # --- one decode -------------------------------------------------------------------------------

    def hear(self, decode: Decode) -> tuple[Message, FarDecode | None]:
        """Read one decode. A far station comes back to be settled with its instant."""
        message = parse_message(decode.message, decode.mode)
        sender = message.sender
        if sender is None or sender.base == self.settings.own_call:
            return message, None
        place = self._locate(sender, message.locator)
        self.receiver.heard(sender.base, decode.at_s)
        if place is not None and place.distance_km >= self.settings.far_km:
            if place.is_beyond(self.settings.far_km):
                return message, FarDecode(decode, message, sender, place)
            self._vague.note(sender.text, decode)
            return message, None
        if place is not None:
            self._hear_near(decode, message, sender, place)
        return message, None

    def _locate(self, sender: Call, locator: str | None) -> Place | None:
        """Where the sender is; one that is not believed yet may have said so itself, a moment ago."""
        place = self.gazetteer.locate(sender, locator)
        if place is not None and place.source is not LocationSource.PREFIX:
            return place
        candidate = self.candidates.get(sender.text)
        if candidate is not None and candidate.place.agrees_with_prefix:
            return candidate.place
        return place

    def _hear_near(self, decode: Decode, message: Message, sender: Call, place: Place) -> None:
        at_s = decode.at_s
        if place.is_allocated and place.agrees_with_prefix is not False:
            self.receiver.offset(sender.base, at_s, decode.dt_s)
        _touch(self.near, sender.base, at_s)
        self.receiver.locals.heard(sender.base, at_s)
        if message.locator is not None:
            self.gazetteer.remember_near(sender, message.locator)
        if message.addressee is not None:
            _touch(self._called, message.addressee.base, at_s)

    # --- one instant ------------------------------------------------------------------------------

    def settle(self, at_s: float, pending: Iterable[FarDecode]) -> None:
        """Take in all far decodes of one instant: tracks, trust, areas, evidence."""
        self.usual.hear_lines(at_s)
        self.usual.forget_before(at_s)
        usual_per_min = self.usual.pings_per_min(at_s)
        false_per_hour = self.usual.false_per_hour(at_s)
        heard = {}
        pending = sorted(pending, key=_order)
        for far in pending:
            track = self._hear_far(at_s, far)
            heard[track.call] = track
        by_area: dict[int, tuple[Area, list[float], list[float]]] = {}
        self._company.note(heard.values(), at_s)
        looked_at = heard | {track.call: track for track in self._company.doubted()}
        for call, track in sorted(looked_at.items()):
            self._believe(track, false_per_hour, at_s)
            if not track.is_credible or self.habits.is_regular(call, track.place.distance_km, at_s):
                continue
            area, nats = self._join(track, usual_per_min, at_s)
            row = by_area.setdefault(area.number, (area, [], []))
            row[1].append(track.slots[-1])
            row[2].append(nats)
        for far in pending:
            if heard[far.sender.text].is_credible:
                self.receiver.offset(far.sender.base, at_s, far.decode.dt_s)
        for area in self.grouping.areas:
            for _ping in range(area.give_up_waiting(at_s)):
                self.usual.was_ping(at_s)
        for area, slots, nats_list in by_area.values():
            area.hear(at_s, slots, nats_list)

    def _hear_far(self, at_s: float, far: FarDecode) -> Track:
        """Note the decode on its track."""
        call = far.sender.text
        track = self.tracks.get(call) or self.candidates.get(call)
        if track is None:
            track = self._new_track(call, far)
        elif far.place.source is LocationSource.MESSAGE and far.place.agrees_with_prefix is not False:
            track.place = far.place
        previous = track.slots[-1] if track.slots else None
        start_s = slot_start_s(far.decode.at_s, far.decode.mode)
        is_new_slot = track.hear(start_s, far.decode.at_s, far.decode.snr_db, far.decode.audio_hz)
        if not track.is_repeated:
            nats, reasons = credit(self._evidence(at_s, far))
            if nats > track.credit:
                track.credit, track.reasons = nats, reasons
        if is_new_slot and previous is not None and abs(start_s - previous) <= REPEATED_WITHIN_S:
            track.is_repeated = True
        return track

    def _new_track(self, call: str, far: FarDecode) -> Track:
        at_s = far.decode.at_s
        track = Track(
            far.sender,
            far.place,
            slot_s(far.decode.mode),
            self.settings.window_s,
            first_at_s=at_s,
            last_at_s=at_s,
        )
        self.candidates[call] = track
        if len(self.candidates) > MAX_CANDIDATES:
            self.candidates.popitem(last=False)
        if not far.place.is_allocated or far.place.agrees_with_prefix is False:
            self.usual.false_call(at_s)
        for earlier in self._vague.take(call, at_s - REPEATED_WITHIN_S):
            slot = slot_start_s(earlier.at_s, earlier.mode)
            track.hear(slot, earlier.at_s, earlier.snr_db, earlier.audio_hz)
        return track

    def _evidence(self, at_s: float, far: FarDecode) -> Evidence:
        decode, addressee = far.decode, far.message.addressee
        error_s = self.receiver.clock_error_s(at_s)
        return Evidence(
            is_allocated=far.place.is_allocated,
            agrees_with_prefix=far.place.agrees_with_prefix,
            snr_db=decode.snr_db,
            offset_from_usual_s=None if decode.dt_s is None or error_s is None else decode.dt_s - error_s,
            is_partner_known=addressee is not None and self._is_heard(addressee.base, at_s),
            is_called_by_others=at_s - self._called.get(far.sender.base, float("-inf")) <= PARTNER_MEMORY_S,
            was_heard_other_days=self.habits.was_heard_other_days(far.sender.text, at_s),
            has_low_confidence=decode.has_low_confidence,
        )

    def _is_heard(self, base: str, at_s: float) -> bool:
        if base == self.settings.own_call:  # decoders try our own call on noise, so it proves nothing
            return False
        return at_s - self.near.get(base, float("-inf")) <= PARTNER_MEMORY_S or base in self.tracks

    def _believe(self, track: Track, false_per_hour: float, at_s: float) -> None:
        """Work out the station's trust and move it to the believed ones when it deserves that."""
        if track.is_credible and track.trust >= BEYOND_DOUBT:
            self.habits.heard(track.call, at_s)
            return
        nats = prior_nats(false_per_hour) + track.credit
        nats += REPEATED if track.is_repeated else self._company_nats(track, false_per_hour, at_s)
        track.trust = probability(nats)
        if track.trust < CREDIBLE and not track.is_repeated:
            return
        if not track.is_credible:
            track.is_credible = True
            self.candidates.pop(track.call, None)
            self.tracks[track.call] = track
            if len(self.tracks) > MAX_FAR_TRACKS:
                self.tracks.popitem(last=False)
        self.habits.heard(track.call, at_s)
        if len(self.far_calls) < MOST_CALLS_COUNTED:
            self.far_calls.add(track.call)
        if track.place.source is LocationSource.MESSAGE and track.place.agrees_with_prefix is not False:
            assert track.place.locator is not None
            self.gazetteer.remember(track.sender, track.place.locator)

    def _company_nats(self, track: Track, false_per_hour: float, at_s: float) -> float:
        """Evidence from the others that come from where this one says it is."""
        newly = company_nats(self._company.companions(track), false_per_hour)
        return max(newly, self._region_nats(track, at_s))

    def _region_nats(self, track: Track, at_s: float) -> float:
        """The same of those who have been coming from there for longer, and are believed."""
        area = self.grouping.may_belong(track)
        if area is None:
            return 0.0
        company = sum(
            1
            for other in area.members.values()
            if other is not track and other.is_repeated and other.until_s > at_s
        )
        if company < 2 and not (company and area.is_open):
            return 0.0
        return SAME_REGION_PREFIX if track.place.source is LocationSource.PREFIX else SAME_REGION_LOCATOR

    def _join(self, track: Track, usual_per_min: float, at_s: float) -> tuple[Area, float]:
        """Put a believed station into its area; returns the area and the evidence in nats."""
        area, is_new = self.grouping.place(track, at_s)
        if area.is_open:
            return area, 0.0
        nats = 0.0
        is_short = track.place.distance_km < SHORT_KM  # an aircraft explains it, so it is no evidence
        if is_new:
            nats += newcomer_nats(usual_per_min, self.usual.runs_per_hour(track.call, at_s))
            self.usual.newcomer(track)
            area.await_return(track)
        if len(track.slots) > 1:
            nats += self._repetition(track, usual_per_min, at_s)
        elif is_new:
            self.usual.run_began(track.call, at_s)
        return area, 0.0 if is_short else nats

    def _repetition(self, track: Track, usual_per_min: float, at_s: float) -> float:
        period = period_s(track.slot_s)
        gap_s = track.slots[-1] - track.counted_s
        if gap_s < LEAST_GAP * period:
            return 0.0
        track.counted_s = track.slots[-1]
        own_chance = self.usual.runs_per_hour(track.call, at_s) * period / 3600.0
        chance = max(own_chance, usual_return(usual_per_min, len(self.tracks)))
        nats = repetition_nats(gap_s, period, track.run, chance)
        if gap_s < 1.5 * period:
            track.run += 1
        else:
            track.run = 1
            self.usual.run_began(track.call, at_s)
        track.persistence = max(0.0, track.persistence + nats)
        return nats

    # --- time -------------------------------------------------------------------------------------

    def forget_before(self, at_s: float) -> None:
        """Drop what has left the window at ``at_s``: tracks outside open areas, near stations, partners."""
        oldest = at_s - self.settings.window_s
        for call in [c for c, t in self.candidates.items() if t.last_at_s <= oldest]:
            del self.candidates[call]
        for call, track in list(self.tracks.items()):
            area = self.grouping.area_of(call)
            if track.last_at_s <= oldest and not (area is not None and area.is_open):
                del self.tracks[call]
                self.grouping.leave(call)
            else:
                track.forget_before(oldest)
        for area in self.grouping.areas:
            area.forget_before(oldest)
        self.grouping.give_up_stale(at_s)

    def near_stations(self, at_s: float) -> int:
        """How many near stations were heard within the window."""
        return sum(1 for heard_s in self.near.values() if at_s - heard_s <= self.settings.window_s)

    def coming_through(self, area: Area, at_s: float) -> list[Track]:
        """The believed stations of ``area`` that are live."""
        return [track for track in area.members.values() if track.until_s > at_s]


def _order(far: FarDecode) -> tuple[str, float, str, str, tuple[float, ...]]:
    """Whatever a decode can say, so that no two that differ stand in the order in which they came."""
    decode = far.decode
    said = (decode.snr_db, decode.dt_s, decode.audio_hz)
    numbers = tuple(float("-inf") if each is None else each for each in said)
    return far.sender.text, decode.at_s, decode.message, decode.mode or "", numbers


def _touch(table: OrderedDict[str, float], key: str, at_s: float) -> None:
    before_s = table.get(key)
    if before_s is None or at_s > before_s:
        table[key] = at_s
    table.move_to_end(key)
    if before_s is None and len(table) > MOST_PARTNERS:
        table.popitem(last=False)
