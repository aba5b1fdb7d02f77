"""From evidence to one of four words. The rules of DESIGN.md, in one place and in the order that counts."""

from dataclasses import dataclass

from sentinel.watch.area import Area
from sentinel.watch.bulletin import State
from sentinel.watch.evidence import bar
from sentinel.watch.receiver import Blindness
from sentinel.watch.track import Track

HOLD_S = 7 * 60.0 + 50.0
"""How long an opening outlives its last decode. Fades of seven minutes belong to the trade's openings;
eight minutes are the most that an operator should be told 'open' about a dead band."""
LEAST_STATIONS = 3
LEAST_SLOTS = 2
SUSTAINED_SLOTS = 3
SUSTAINED_SPAN_S = 60.0
SUSTAINED_WITHIN_S = 300.0
TOGETHER_S = 45.0
CROWD = 5
"""No opening without a station that outlives a ping, three at once that are each heard again, or a crowd at
once: on a shower night three pings in a minute happen, three that last at the same time do not."""
LEAST_REPETITION = 4
SHOWER_REPETITION = 7
FEW_PER_MIN = 0.12
SHOWER_PER_MIN = 0.6
"""Where pings are frequent, three stations in one area are soon together by chance, and big ones return: at
one ping in 100 s an opening has to show three stations heard three times each, and two more decodes."""
CHORUS_WITHIN_S = 30.0
CHORUS_S = 75.0
"""Both parities of FT8; two transmission periods and a slot. One trail that carries three stations twice is
unheard of, except where a shower's pings are many."""
CHORUS_PER_MIN = 0.16
"""At ten pings an hour three pairs of them do meet, once in some hundred nights: from there on evidence must
speak. More than is assumed of a night of which nothing is known yet."""
DX_KM = 4_000.0
DX_SLOTS = 3
"""No ping comes from beyond 4,000 km, so one station heard in three slots is an opening by itself."""
METEOR_KM = 2_400.0
LONG_SLOT_S = 60.0
"""No trail at 95 km is seen from both ends of a longer path, and none lasts through a slot of two minutes:
three such stations need no further proof."""
SHORT_KM = 700.0
SHORT_SPAN_S = 5 * 60.0
SHORT_SLOTS = 6
SHORT_STATIONS = 4
LEAST_BEYOND = 2
"""Within 300-700 km an aircraft reflects for some minutes (common practice): where no two stations are beyond
``SHORT_KM``, several must have been heard for longer than a flight takes."""
SCATTERED_STATIONS = 3
SCATTERED_NATS = 6.5
"""Stations in different directions make an opening together when each alone is beyond a ping: one ping in
e^6.5 = 650 looks so persistent."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """The state, and what decided it."""

    state: State
    blindness: Blindness | None = None


def decide(
    blindness: Blindness | None, *, has_opening: bool, coming_through: int, is_hinted_at: bool = False
) -> Verdict:
    """Blind before open before stirring before quiet. What neighbours hear, or what a lower band's skip
    implies, is never more than stirring."""
    if blindness is not None:
        return Verdict(State.BLIND, blindness)
    if has_opening:
        return Verdict(State.OPEN)
    if coming_through or is_hinted_at:
        return Verdict(State.STIRRING)
    return Verdict(State.QUIET)


def is_opening(area: Area, live: list[Track], at_s: float, usual_per_min: float) -> bool:
    """Whether ``area``, with these believed stations coming through, is an opening from now on."""
    live = [track for track in live if track.last_at_s > area.closed_at_s]
    if any(is_dx(track, area.closed_at_s) for track in live):
        return True
    if len(area.slots) < LEAST_SLOTS:
        return False
    no_pings = [t for t in live if t.place.is_beyond(METEOR_KM) or t.slot_s >= LONG_SLOT_S]
    if len(no_pings) >= LEAST_STATIONS and any(len(track.slots) >= LEAST_SLOTS for track in no_pings):
        return True
    beyond = [track for track in live if track.place.distance_km >= SHORT_KM]
    if len(beyond) < LEAST_BEYOND:
        return sum(_outlives_a_flight(track, area.closed_at_s) for track in live) >= SHORT_STATIONS
    if _stations(area, live) < LEAST_STATIONS:
        return False
    if usual_per_min < CHORUS_PER_MIN and _is_chorus(live, at_s):
        return True
    if not is_sustained(beyond, at_s):
        return False
    if _repetition(beyond, at_s) < _repetition_needed(usual_per_min):
        return False
    return area.evidence_by(at_s) >= bar(usual_per_min)


def _stations(area: Area, live: list[Track]) -> int:
    """How many stations count: those coming through, or once two of the area have lasted, all of the window.

    One that lasts proves nothing for the pings beside it.
    """
    lately = [track for track in area.members.values() if track.last_at_s > area.closed_at_s]
    lasting = sum(len(track.slots) >= SUSTAINED_SLOTS for track in lately)
    return len(lately if lasting >= 2 else live)


def is_sustained(live: list[Track], at_s: float) -> bool:
    """Whether these stations last longer than pings do."""
    now = [track for track in live if track.last_at_s >= at_s - TOGETHER_S]
    again = [track for track in live if len(track.slots) >= LEAST_SLOTS]
    if len(now) >= CROWD or sum(track in again for track in now) >= LEAST_STATIONS:
        return True
    return any(_outlives_a_ping(track, at_s) for track in again)


def _repetition(live: list[Track], at_s: float) -> int:
    """How often these stations were heard lately, each counted up to ``SUSTAINED_SLOTS`` times."""
    since_s = at_s - SUSTAINED_WITHIN_S
    return sum(min(SUSTAINED_SLOTS, sum(slot > since_s for slot in track.slots)) for track in live)


def _repetition_needed(usual_per_min: float) -> float:
    share = min(1.0, usual_per_min / SHOWER_PER_MIN) if usual_per_min > FEW_PER_MIN else 0.0
    return LEAST_REPETITION + SHOWER_REPETITION * share


def _outlives_a_ping(track: Track, at_s: float) -> bool:
    lately = [slot for slot in track.slots if slot > at_s - SUSTAINED_WITHIN_S]
    return len(lately) >= SUSTAINED_SLOTS and lately[-1] - lately[0] >= SUSTAINED_SPAN_S


def _outlives_a_flight(track: Track, since_s: float) -> bool:
    slots = [slot for slot in track.slots if slot > since_s]
    return len(slots) >= SHORT_SLOTS and slots[-1] - slots[0] >= SHORT_SPAN_S


def _is_chorus(live: list[Track], at_s: float) -> bool:
    """Three stations here now, each of which was there a moment ago."""
    here_again = (
        track.last_at_s > at_s - CHORUS_WITHIN_S
        and len(track.slots) >= LEAST_SLOTS
        and track.slots[-1] - track.slots[-2] <= CHORUS_S
        for track in live
    )
    return sum(here_again) >= LEAST_STATIONS


def is_dx(track: Track, since_s: float) -> bool:
    """One station so far away, and so often heard since ``since_s``, that it is an opening by itself."""
    return track.place.is_beyond(DX_KM) and sum(1 for slot in track.slots if slot > since_s) >= DX_SLOTS


def is_beyond_a_ping(track: Track, at_s: float) -> bool:
    """A station, heard lately, whose persistence alone no ping explains, and that no aircraft does either."""
    is_heard_lately = track.last_at_s > at_s - HOLD_S
    return is_heard_lately and track.persistence >= SCATTERED_NATS and track.place.is_beyond(SHORT_KM)
