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
TOGETHER_S = 45.0
CROWD = 5
"""No opening without a station that outlives a ping, three at once that are each heard again, or a crowd at
once: on a shower night three pings in a minute happen, three that last at the same time do not."""
DX_KM = 4_000.0
DX_SLOTS = 3
"""No ping comes from beyond 4,000 km, so one station heard in three slots is an opening by itself."""
SHORT_KM = 750.0
SHORT_SPAN_S = 20 * 60.0
SHORT_STATIONS = 4
"""Within 300-700 km an aircraft reflects for some minutes (common practice): nearer than ``SHORT_KM``,
an area must have been heard for longer than any flight takes."""
SCATTERED_STATIONS = 3
SCATTERED_NATS = 6.5
"""Stations in different directions make an opening together when each alone is beyond a ping: one ping in
e^6.5 = 650 looks so persistent."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """The state, and what decided it."""

    state: State
    blindness: Blindness | None = None


def decide(blindness: Blindness | None, *, has_opening: bool, coming_through: int) -> Verdict:
    """Blind before open before stirring before quiet."""
    if blindness is not None:
        return Verdict(State.BLIND, blindness)
    if has_opening:
        return Verdict(State.OPEN)
    if coming_through:
        return Verdict(State.STIRRING)
    return Verdict(State.QUIET)


def is_opening(area: Area, live: list[Track], at_s: float, usual_per_min: float) -> bool:
    """Whether ``area``, with these believed stations coming through, is an opening from now on."""
    if any(is_dx(track, area.closed_at_s) for track in live):
        return True
    if len(live) < LEAST_STATIONS or len(area.slots) < LEAST_SLOTS:
        return False
    if not is_sustained(live, at_s):
        return False
    if max(track.place.distance_km for track in live) < SHORT_KM and (
        len(live) < SHORT_STATIONS or area.span_s() < SHORT_SPAN_S
    ):
        return False
    return area.evidence_by(at_s) >= bar(usual_per_min)


def is_sustained(live: list[Track], at_s: float) -> bool:
    """Whether these stations last longer than pings do."""
    now = [track for track in live if track.last_at_s >= at_s - TOGETHER_S]
    again = [track for track in live if len(track.slots) >= LEAST_SLOTS]
    if len(now) >= CROWD or sum(track in again for track in now) >= LEAST_STATIONS:
        return True
    return any(
        len(track.slots) >= SUSTAINED_SLOTS and track.slots[-1] - track.slots[0] >= SUSTAINED_SPAN_S
        for track in again
    )


def is_dx(track: Track, since_s: float) -> bool:
    """One station so far away, and so often heard since ``since_s``, that it is an opening by itself."""
    return track.place.is_beyond(DX_KM) and sum(1 for slot in track.slots if slot > since_s) >= DX_SLOTS


def is_beyond_a_ping(track: Track) -> bool:
    """A station whose persistence alone no ping explains, and that no aircraft does either."""
    return track.persistence >= SCATTERED_NATS and track.place.is_beyond(SHORT_KM)
