"""The lamps: what lights when, as data, and the player that turns it into levels on pins.

Four states must be told apart by one white LED and by an eye that sees no colour, so they differ in rhythm
first, then in place, and in colour only last. The rhythms are those of navigation lights, which solve the
same task (characters of lights as in IALA recommendation R0110, from memory):

    quiet     Fl 10s     a wink every ten seconds: nothing, but the watch is alive
    stirring  Fl(2) 4s   two flashes, then a pause
    open      Oc 3s      lit, with a short eclipse every three seconds
    blind     Mo(N) 4s   one long, one short: limping, like nothing else

No rhythm changes more than four times in four seconds, so the player sleeps nearly always. A watch that no
longer reports makes the lamps play blind: the wink is the watch's, not the lamp's.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from threading import Condition
from typing import Protocol

from sentinel.watch.bulletin import State

Rhythm = tuple[tuple[float, bool], ...]  # (seconds, lit), repeated for ever

RHYTHMS: Mapping[State, Rhythm] = {
    State.QUIET: ((0.06, True), (9.94, False)),
    State.STIRRING: ((0.3, True), (0.3, False), (0.3, True), (3.1, False)),
    State.OPEN: ((2.7, True), (0.3, False)),
    State.BLIND: ((1.2, True), (0.4, False), (0.2, True), (2.2, False)),
}

MOST_LAMPS = 8
EDGE_S = 0.0005  # a time this close before a change counts as the change: waits never shrink to nothing
CALM = 0.1  # brightness once somebody has acknowledged
GAMMA = 2.2  # the eye's: a duty of 0.5 looks like 0.73 (sRGB's overall exponent)
# Bulletins come every 60 s at least; three missed ones are no accident.
SILENT_WATCH_S = 180.0


class Arrangement(StrEnum):
    """How the lamps are built: one LED, three, one of three colours, or a bar of up to eight."""

    ONE = "one"
    THREE = "three"
    RGB = "rgb"
    BAR = "bar"


# Colours of an RGB lamp as red, green, blue, brightest when open; the rhythm carries the meaning.
COLOURS: Mapping[State, tuple[float, float, float]] = {
    State.QUIET: (0.0, 0.25, 1.0),
    State.STIRRING: (1.0, 0.6, 0.0),
    State.OPEN: (1.0, 1.0, 1.0),
    State.BLIND: (1.0, 0.0, 0.15),
}


def places(state: State, arrangement: Arrangement, count: int) -> tuple[float, ...]:
    """How much of each lamp belongs to a state, 0 to 1: its place in a row, or its colour."""
    if arrangement is Arrangement.RGB:
        return COLOURS[state]
    if arrangement is Arrangement.THREE:
        lit = {State.QUIET: {0}, State.STIRRING: {1}, State.OPEN: {2}, State.BLIND: {0, 2}}[state]
    else:
        half, whole = set(range(max(1, count // 2))), set(range(count))
        lit = {State.QUIET: {0}, State.STIRRING: half, State.OPEN: whole, State.BLIND: {0, count - 1}}[state]
    return tuple(1.0 if index in lit else 0.0 for index in range(count))


def is_lit_at(state: State, since_s: float) -> tuple[bool, float]:
    """Whether the rhythm is lit ``since_s`` seconds after it began, and how long that lasts from there."""
    rhythm = RHYTHMS[state]
    left_s = (max(0.0, since_s) + EDGE_S) % sum(seconds for seconds, _ in rhythm)
    for seconds, is_lit in rhythm:
        if left_s < seconds:
            return is_lit, seconds - left_s + EDGE_S
        left_s -= seconds
    return rhythm[0][1], rhythm[0][0]  # rounding at the very end of a period


def levels_at(
    state: State, since_s: float, arrangement: Arrangement, count: int, brightness: float
) -> tuple[tuple[float, ...], float]:
    """The duty of each lamp, 0 to 1, and the seconds it holds; ``brightness`` is as the eye sees it."""
    is_lit, lasts_s = is_lit_at(state, since_s)
    share = min(1.0, max(0.0, brightness)) if is_lit else 0.0
    return tuple(round((share * place) ** GAMMA, 4) for place in places(state, arrangement, count)), lasts_s


@dataclass(frozen=True, slots=True)
class Night:
    """When it is night for the lamps: between two minutes of the local day, or while the sun is down.

    ``below_deg`` is the sun's elevation under which it counts as night (-6: the end of civil twilight).
    """

    from_min: int = 22 * 60
    to_min: int = 7 * 60
    by_sun: bool = False
    below_deg: float = -6.0

    def is_night(self, local_min: int, sun_deg: float | None) -> bool:
        """``sun_deg`` None (no locator): the clock decides even if the sun should."""
        if self.by_sun and sun_deg is not None:
            return sun_deg < self.below_deg
        if self.from_min <= self.to_min:
            return self.from_min <= local_min < self.to_min
        return local_min >= self.from_min or local_min < self.to_min


@dataclass(frozen=True, slots=True)
class Signal:
    """What the lamps are to show."""

    state: State
    brightness: float = 1.0
    is_acknowledged: bool = False

    @property
    def eye_level(self) -> float:
        """Brightness, calmed down once somebody has acknowledged."""
        return min(self.brightness, CALM) if self.is_acknowledged else self.brightness


class LampRow(Protocol):
    """The pins of the lamps."""

    def set(self, levels: Sequence[float]) -> None:
        """One duty, 0 to 1, for each lamp."""

    def close(self) -> None:
        """Dark, and release the pins."""


class LampPlayer:
    """Plays signals on a row of lamps. ``show`` may be called from any thread, ``run`` has its own.

    ``step`` is one turn of ``run`` and all of its logic: apply what holds at a time, say how long it holds.
    """

    def __init__(
        self, row: LampRow, arrangement: Arrangement, count: int, clock: Callable[[], float]
    ) -> None:
        self._row, self._arrangement, self._count, self._clock = row, arrangement, count, clock
        self._changed = Condition()
        self._signal = Signal(State.BLIND)
        self._told_s = self._began_s = clock()
        self._levels: tuple[float, ...] | None = None
        self._is_ended = False

    def show(self, signal: Signal) -> None:
        """From now on play this; call it at every bulletin. A rhythm begins anew when the state changes."""
        with self._changed:
            now_s = self._clock()
            if signal.state is not self._signal.state or now_s - self._told_s > SILENT_WATCH_S:
                self._began_s = now_s
            is_new = signal != self._signal
            self._signal, self._told_s = signal, now_s
            if is_new:
                self._changed.notify()

    def step(self) -> float:
        """Set the lamps as they are to be now; returns the seconds until they change by themselves."""
        now_s = self._clock()
        signal, since_s = self._signal, now_s - self._began_s
        silent_from_s = self._told_s + SILENT_WATCH_S
        if now_s > silent_from_s:
            signal, since_s = Signal(State.BLIND, self._signal.brightness), now_s - silent_from_s
        levels, lasts_s = levels_at(signal.state, since_s, self._arrangement, self._count, signal.eye_level)
        if levels != self._levels:
            self._row.set(levels)
            self._levels = levels
        return lasts_s if now_s > silent_from_s else min(lasts_s, silent_from_s - now_s + 0.001)

    def run(self) -> None:
        """Play until ``end`` is called; then dark."""
        with self._changed:
            while not self._is_ended:
                self._changed.wait(self.step())
        self._row.close()

    def end(self) -> None:
        with self._changed:
            self._is_ended = True
            self._changed.notify()
