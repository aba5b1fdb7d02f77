"""What operators do: call CQ, answer, exchange, say 73, over and over, in their own half of the slots.

A QSO is written down whole when it starts: who sends what in which slot, repeats included. Both ends keep
their audio frequency; the caller keeps its parity (even or odd 15 s slots), the answerer takes the other.
Nothing here knows of propagation: what is sent is one matter, what is heard at home another.
"""

import heapq
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from sentinel.rehearsal.exchanges import Line, Style, Voice, cq, qso
from sentinel.rehearsal.population import Station

SLOT_S = 15  # FT8
DAY_S = 86400.0
# A message is sent again when the other end did not copy it: one in seven (practice).
_REPEAT_CHANCE = 0.15
_MOST_REPEATS = 3
# Operators come back to the band after 1 to 6 minutes of listening (an assumption).
_PAUSE_SLOTS = (4, 24)
_CALLS_IN_A_RUN = (2, 14)
# Of the turns that are not spent listening, this share answers somebody who is not heard here.
_PURSUIT_SHARE = 0.4


@dataclass(frozen=True, slots=True)
class Transmission:
    """One message sent by ``station`` in the slot that starts at ``at_s``."""

    at_s: int
    station: Station
    audio_hz: int
    message: str


@dataclass(frozen=True, slots=True)
class Operator:
    """Who sits at a station, when, and how they work.

    ``activity`` is the chance that a free turn is spent transmitting instead of listening. ``transmits`` is
    the call on the air where it differs from the station's own: /P behind it, or a prefix in front.
    """

    station: Station
    began_s: float
    ended_s: float
    activity: float = 0.6
    style: Style = Style.PLAIN
    transmits: str = ""


@dataclass(slots=True)
class _Chair:
    """An operator between two transmissions."""

    operator: Operator
    voice: Voice
    parity: int
    busy_until: int = 0
    calls_left: int = 0
    worked: set[str] = field(default_factory=set)

    def own_slot(self, slot: int) -> int:
        """The first slot from ``slot`` on that has the chair's parity."""
        return slot + (slot + self.parity) % 2


def sittings(
    began_s: float, ended_s: float, lon_deg: float, rng: random.Random
) -> Iterator[tuple[float, float]]:
    """When one operator sits at the radio: on most days once or twice, for half an hour to four hours.

    Most often in the evening, less in the morning, local time; hardly ever at night (an assumption).
    """
    midnight_s = began_s - (began_s + lon_deg * 240.0) % DAY_S
    while midnight_s < ended_s:
        for hour in (rng.gauss(9.5, 2.0), rng.gauss(19.5, 1.8)):
            start_s = midnight_s + hour * 3600.0
            end_s = start_s + rng.uniform(0.5, 4.0) * 3600.0
            if rng.random() < 0.5 and start_s < ended_s and end_s > began_s:
                yield max(began_s, start_s), min(ended_s, end_s)
        midnight_s += DAY_S


def traffic(
    operators: Sequence[Operator], strangers: Sequence[str], rng: random.Random, answered: float = 0.45
) -> Iterator[Transmission]:
    """Everything that the operators send, about in order of time.

    ``strangers`` are calls that answer them, or that they answer, without being heard here themselves.
    ``answered`` is the chance that one CQ gets an answer.
    """
    pool = _Pool([_chair(operator, rng) for operator in operators], strangers, rng, answered)
    starts = ((int(-(-chair.operator.began_s // SLOT_S)), chair) for chair in pool.chairs)
    queue = [(chair.own_slot(slot + rng.randint(0, 12)), n) for n, (slot, chair) in enumerate(starts)]
    heapq.heapify(queue)
    while queue:
        slot, index = heapq.heappop(queue)
        chair = pool.chairs[index]
        if slot * SLOT_S >= chair.operator.ended_s:
            continue
        if slot >= chair.busy_until:
            chair.busy_until, sent = pool.turn(slot, chair)
            yield from sent
        heapq.heappush(queue, (chair.own_slot(max(slot + 1, chair.busy_until)), index))


def _chair(operator: Operator, rng: random.Random) -> _Chair:
    audio_hz = min(2900, max(200, operator.station.audio_hz + rng.randint(-60, 60)))
    voice = Voice(operator.transmits or operator.station.call, operator.station, audio_hz)
    return _Chair(operator, voice, rng.randint(0, 1))


@dataclass(slots=True)
class _Pool:
    """The operators who can work one another."""

    chairs: list[_Chair]
    strangers: Sequence[str]
    rng: random.Random
    answered: float

    def turn(self, slot: int, chair: _Chair) -> tuple[int, list[Transmission]]:
        """A free operator listens, answers a stranger or calls CQ; returns when they are free again."""
        if chair.calls_left == 0:
            if self.rng.random() > chair.operator.activity:
                return slot + self.rng.randint(*_PAUSE_SLOTS), []
            if self.strangers and self.rng.random() < _PURSUIT_SHARE:
                return self._play(slot, qso(self._stranger(), chair.voice, chair.operator.style, self.rng))
            chair.calls_left = self.rng.randint(*_CALLS_IN_A_RUN)
        chair.calls_left -= 1
        call = (chair.voice, cq(chair.voice, chair.operator.style, self.rng))
        answerer = self._answerer(slot, chair) if self.rng.random() < self.answered else None
        if answerer is None:
            return slot + 2, self._play(slot, [call])[1]
        end, sent = self._play(slot, [call, *qso(chair.voice, answerer, chair.operator.style, self.rng)])
        for other in self.chairs:
            if other.voice is answerer:
                other.busy_until, other.parity = end, 1 - chair.parity
        return end, sent

    def _stranger(self) -> Voice:
        return Voice(self.rng.choice(self.strangers), None, 0)

    def _answerer(self, slot: int, chair: _Chair) -> Voice | None:
        """Somebody of the pool who is free, there and not worked yet, else a stranger, else nobody."""
        for _ in range(3):
            other = self.rng.choice(self.chairs)
            is_there = other.operator.began_s <= slot * SLOT_S < other.operator.ended_s - 90
            is_free = other is not chair and other.busy_until <= slot and other.calls_left == 0
            if is_there and is_free and other.voice.call not in chair.worked:
                chair.worked.add(other.voice.call)
                other.worked.add(chair.voice.call)
                return other.voice
        return self._stranger() if self.strangers else None

    def _play(self, slot: int, script: list[Line]) -> tuple[int, list[Transmission]]:
        """Send line by line in alternating slots; a line that is not copied costs a pair of slots."""
        sent: list[Transmission] = []
        before: Line | None = None
        for line in script:
            _send(sent, slot, line)
            slot += 1
            repeats = 0
            while before is not None and repeats < _MOST_REPEATS and self.rng.random() < _REPEAT_CHANCE:
                _send(sent, slot, before)
                _send(sent, slot + 1, line)
                slot, repeats = slot + 2, repeats + 1
            before = line
        return slot + self.rng.randint(0, 3), sent


def _send(sent: list[Transmission], slot: int, line: Line) -> None:
    voice, message = line
    if voice.station is not None:
        sent.append(Transmission(slot * SLOT_S, voice.station, voice.audio_hz, message))
