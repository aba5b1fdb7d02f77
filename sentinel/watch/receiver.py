"""Can the receiver be judged? A deaf receiver and a dead band look the same on every display.

Blind never follows from a dead band alone: without a canary or a limit on silence, the notes say that
silence cannot be told from deafness, and how to mend that. With one of them, quiet has to be earned: until
the first line after the very first start it is blind, starting.
"""

from collections import OrderedDict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from sentinel.watch.bulletin import BlindReason, ReceiverHealth
from sentinel.watch.locals import IMPROBABLE, SILENCE_S, Locals
from sentinel.watch.settings import ReceiverSettings

CLOCK_WARN_S = 0.7
CLOCK_BLIND_S = 2.0
"""Offsets beyond about 2.5 s are not decoded at all (QEX, July 2020, from memory); a margin to that."""
CLOCK_DEAF_S = 1.6
"""Stations' clocks differ by a second: with ours off by this much, some are beyond the decoder's reach. When
nobody is heard after that, the clock is taken for the reason until decodes show otherwise."""
CLOCK_WINDOW_S = 30 * 60.0
CLOCK_STATIONS = 3
"""One station's clock proves nothing; the median of three is ours unless two of them are wrong alike."""
KEPT_STATIONS = 500
DISORDER_S = 120.0
"""Lines come in the order of their time but for late ones, of which the watch takes none that is older."""
HALF_HOUR_S = SILENCE_S / 2
"""How often the neighbours' silence is judged anew: what is usual changes with the hour."""


class FactKind(StrEnum):
    """What the daemon knows of the receiver and the core cannot see."""

    SOURCE_GONE = "source-gone"
    DECODER_GONE = "decoder-gone"
    CLOCK_UNSYNCHRONISED = "clock-unsynchronised"
    LINE = "line"


@dataclass(frozen=True, slots=True)
class ReceiverFact:
    """A fact from outside: ``is_so`` from ``at_s`` on, until told otherwise. ``note`` is for people."""

    at_s: float
    kind: FactKind
    is_so: bool = True
    note: str = ""


@dataclass(frozen=True, slots=True)
class Blindness:
    """Why the receiver cannot be judged."""

    reason: BlindReason
    sentence: str


@dataclass(slots=True)
class Receiver:
    """Keeps what tells a working receiver from a deaf one.

    ``clock`` is the minute (since 1970) in which the clock's error was last worked out, and the error;
    ``is_clock_stale`` says that nothing has shown it since.
    """

    settings: ReceiverSettings
    started_at_s: float | None = None
    last_line_at_s: float | None = None
    last_decode_at_s: float | None = None
    canary_at_s: float | None = None
    facts: dict[FactKind, ReceiverFact] = field(default_factory=dict)
    offsets: OrderedDict[str, tuple[float, float]] = field(default_factory=OrderedDict)
    locals: Locals = field(default_factory=Locals)
    clock: tuple[int, float | None] = (-1, None)
    is_clock_stale: bool = False

    def start(self, at_s: float) -> None:
        if self.started_at_s is None:
            self.started_at_s = at_s

    def line(self, at_s: float) -> None:
        """A line came: the decoder lives."""
        self.last_line_at_s = at_s if self.last_line_at_s is None else max(self.last_line_at_s, at_s)

    def heard(self, call: str, at_s: float) -> None:
        """A station was heard, near or far."""
        if self.last_decode_at_s is None or at_s > self.last_decode_at_s:
            self.last_decode_at_s = at_s
        if call in self.settings.canaries:
            self.canary_at_s = at_s if self.canary_at_s is None else max(self.canary_at_s, at_s)

    def offset(self, call: str, at_s: float, dt_s: float | None) -> None:
        """A believed station's time offset; false decodes come with any offset and would drag the median."""
        if dt_s is not None:
            before_at_s, before_s = self.offsets.get(call, (None, dt_s))
            self.offsets[call] = (at_s, min(dt_s, before_s) if at_s == before_at_s else dt_s)  # in any order
            self.offsets.move_to_end(call)
            if len(self.offsets) > KEPT_STATIONS:
                self.offsets.popitem(last=False)

    def tell(self, fact: ReceiverFact) -> None:
        if fact.kind is FactKind.LINE:
            self.line(fact.at_s)
        elif fact.is_so:
            self.facts[fact.kind] = fact
        else:
            self.facts.pop(fact.kind, None)

    def clock_error_s(self, at_s: float) -> float | None:
        """Our clock's error: the median time offset over distinct stations; None with fewer than three.

        Worked out once a minute of event time: clocks drift slowly and the median is not free.
        """
        minute = int(at_s // 60)
        if minute != self.clock[0]:
            error_s, self.is_clock_stale = self._clock_error(at_s)
            self.clock = minute, error_s
        return self.clock[1]

    def shown_clock_error_s(self, at_s: float) -> float | None:
        """The same for who only looks: a minute's error must not depend on whether anyone looked."""
        is_worked_out = int(at_s // 60) == self.clock[0]
        return self.clock[1] if is_worked_out else self._clock_error(at_s)[0]

    def _clock_error(self, at_s: float) -> tuple[float | None, bool]:
        """The clock's error as of ``at_s``, and whether it is stale: nothing has shown it since."""
        fresh = sorted(self._offsets_since(at_s - CLOCK_WINDOW_S))
        if len(fresh) >= CLOCK_STATIONS:
            return _median(fresh), False
        before_s = self.clock[1]
        is_stale = before_s is not None and abs(before_s) > CLOCK_DEAF_S
        return (before_s if is_stale else None), is_stale

    def is_clock_off(self, at_s: float) -> bool:
        """Whether our clock is off by so much that the receiver cannot be judged."""
        error_s = self.clock_error_s(at_s)
        return error_s is not None and (abs(error_s) > CLOCK_BLIND_S or self.is_clock_stale)

    def _offsets_since(self, since_s: float) -> Iterator[float]:
        """The stations' time offsets, the newest first."""
        for heard_at_s, dt_s in reversed(self.offsets.values()):
            if heard_at_s <= since_s - DISORDER_S:
                return
            if heard_at_s > since_s:
                yield dt_s

    def blindness(self, at_s: float, *, hears_far: bool) -> Blindness | None:
        """The first reason for which the receiver cannot be judged at ``at_s``, or None.

        ``hears_far``: far stations are coming through now, which no silent canary can gainsay.
        """
        return next(self._reasons(at_s, hears_far=hears_far), None)

    def _reasons(self, at_s: float, *, hears_far: bool) -> Iterator[Blindness]:
        if fact := self.facts.get(FactKind.SOURCE_GONE):
            yield Blindness(BlindReason.SOURCE_GONE, fact.note or "The decoder's output cannot be read.")
        if fact := self.facts.get(FactKind.DECODER_GONE):
            yield Blindness(BlindReason.DECODER_GONE, fact.note or "The decoder is not running.")
        silence_s = self.settings.line_silence_s
        last_line = self._since(self.last_line_at_s)
        if silence_s > 0 and last_line is not None and at_s - last_line >= silence_s:
            yield Blindness(
                BlindReason.NO_LINES, f"The decoder has printed nothing for {_minutes(at_s - last_line)}."
            )
        if fact := self.facts.get(FactKind.CLOCK_UNSYNCHRONISED):
            yield Blindness(BlindReason.CLOCK_OFF, fact.note or "The clock is not synchronised.")
        if self.is_clock_off(at_s):
            error_s = self.clock_error_s(at_s)
            yield Blindness(
                BlindReason.CLOCK_OFF, f"Our clock is off by {error_s:+.1f} s, so most signals are missed."
            )
        chance, neighbours = self.locals.chance_of_silence(at_s)
        if chance < IMPROBABLE and not hears_far and self.locals.last_at_s is not None:
            yield Blindness(
                BlindReason.LOCALS_SILENT,
                f"None of {neighbours} usual neighbours has been heard for "
                f"{_minutes(at_s - self.locals.last_at_s)}: by chance once in {1 / chance:,.0f} such hours.",
            )
        last_canary = self._since(self.canary_at_s)
        if (
            self.settings.canaries
            and not hears_far
            and last_canary is not None
            and at_s - last_canary >= self.settings.canary_silence_s
        ):
            names = " or ".join(sorted(self.settings.canaries))
            yield Blindness(
                BlindReason.CANARY_SILENT,
                f"{names} has not been heard for {_minutes(at_s - last_canary)}, "
                "so the receiver may be deaf.",
            )
        if self.last_line_at_s is None and (self.settings.canaries or silence_s > 0):
            yield Blindness(
                BlindReason.STARTING, "The decoder has printed nothing yet, so nothing shows that it hears."
            )

    def due_s(self, after_s: float) -> float:
        """The first time after ``after_s`` at which silence alone changes what can be judged, or infinity."""
        due = []
        line_s, canary_s, local_s = self.last_line_at_s, self.canary_at_s, self.locals.last_at_s
        if self.settings.line_silence_s > 0 and (since_s := self._since(line_s)) is not None:
            due.append(since_s + self.settings.line_silence_s)
        if self.settings.canaries and (since_s := self._since(canary_s)) is not None:
            due.append(since_s + self.settings.canary_silence_s)
        if local_s is not None:
            half_hours = max(0.0, (after_s - local_s) // HALF_HOUR_S)
            due.append(local_s + HALF_HOUR_S * (1 + half_hours))
        return min((due_s for due_s in due if due_s > after_s), default=float("inf"))

    def notes(self, at_s: float) -> tuple[str, ...]:
        """What an operator should mend, in plain sentences."""
        notes = []
        if not self.settings.canaries and self.settings.line_silence_s == 0:
            notes.append(
                "Silence can't be told from deafness: name a station that is always heard "
                "under [receiver] canaries, or set line_silence_min."
            )
        error_s = self.shown_clock_error_s(at_s)
        if error_s is not None and abs(error_s) >= CLOCK_WARN_S:
            notes.append(f"Our clock is off by {error_s:+.1f} s: check its synchronisation.")
        return tuple(notes)

    def health(self, at_s: float, near_stations: int, counts: dict[str, int]) -> ReceiverHealth:
        return ReceiverHealth(
            lines=counts["lines"],
            decodes=counts["decodes"],
            rejected=counts["rejected"],
            late=counts["late"],
            last_decode_at_s=self.last_decode_at_s,
            clock_error_s=self.shown_clock_error_s(at_s),
            canary_last_at_s=self.canary_at_s,
            near_stations=near_stations,
            notes=self.notes(at_s),
        )

    def _since(self, heard_at_s: float | None) -> float | None:
        return self.started_at_s if heard_at_s is None else heard_at_s


def _median(ordered: Sequence[float]) -> float:
    """``statistics`` would load two modules for this into a daemon that has no room for them."""
    return (ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2]) / 2.0


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f} min"
