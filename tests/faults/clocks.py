"""The clock is set, by 100 s to 10^8 s, forward and back, while the band is open.

First the core alone, over rehearsed days: states and openings must be those of the same day with a clock that
nobody touched. Then the real daemon, into which a library is preloaded that moves its wall clock; the decoder
on the same computer stamps its lines by that clock. Lost is a sighting that the diary does not hold.
"""

import math
import random
import signal
import struct
import tempfile
import time
from dataclasses import dataclass, replace
from functools import cache
from itertools import groupby
from pathlib import Path
from unittest import mock

from faults.evening import kept, pause
from faults.preload import environment
from faults.row import Faults, Row, written, written_by
from interrupted import Station
from nights import LOCAL, SLOT_S, SOUTH_WEST, Heard
from running import daemon

from sentinel.rehearsal.heard import Scenario
from sentinel.rehearsal.kinds import build

STEPS_S = tuple(sign * 10**power for power in range(2, 9) for sign in (1, -1))
"""What a Pi's clock does when at last it is set, and what wrong servers and flat batteries do to it."""
BACKLOG_SLOTS, SLOTS_EACH, SLOT_TAKES_S = 20, 3, 0.1
LAG_S, LOOK_EVERY_S = 5.0, 5.0
KINDS = ("es", "es-short", "es-two", "far-alone")


# --- the core ---------------------------------------------------------------------------------------


class Stepped(Station):
    """A watch on a computer whose clock is set at one moment of the day; ``at_s`` is by the true clock."""

    def __init__(self, scenario: Scenario, folder: Path, step_at_s: float, step_s: float) -> None:
        self.step_at_s, self.step_s = step_at_s, step_s
        super().__init__(scenario, folder)

    def live_through(self) -> None:
        """All lines as they come, a look every few seconds in between, to the end of the day."""
        now_s = self.scenario.began_s
        for at_s, slot in groupby(self.lines, key=lambda line: line.at_s):
            while (now_s := now_s + LOOK_EVERY_S) < at_s:
                self.look(now_s)
            now_s = at_s
            moved_s = self.moved_s(at_s)
            for line in slot:
                stamped = replace(line, at_s=line.at_s + moved_s)
                self._happened(self.live.feed(stamped, True, at_s, moved_s))
            self._happened(self.live.settle())
            self._keep(at_s)
        while (now_s := now_s + LOOK_EVERY_S) < self.scenario.ended_s:
            self.look(now_s)

    def look(self, now_s: float) -> None:
        """Silence passes."""
        self._happened(self.live.let_pass(max(self._clock.now_s(now_s) - LAG_S, self.live.now_s)))

    def moved_s(self, at_s: float) -> float:
        return self.step_s if at_s >= self.step_at_s else 0.0


@dataclass(frozen=True)
class Day:
    """What a day comes to: what people were told, the states, the sightings kept, the bytes written."""

    told: tuple[str, ...]
    states: tuple[str, ...]
    sightings: int
    written_bytes: int


@cache
def rehearsed(kind: str) -> Scenario:
    return build(kind, 3)


@cache
def day(kind: str, step_at_s: float = math.inf, step_s: float = 0.0) -> Day:
    with tempfile.TemporaryDirectory() as folder, written() as counted:
        station = Stepped(rehearsed(kind), Path(folder), step_at_s, step_s)
        station.live_through()
        station.stop()
        sightings = len(station.rows()["sighting"])
    told = tuple(phase for _, phase in station.told)
    # each once: what was said before the first line by a wrong clock is said again by the right one
    states = tuple(state for state, _ in groupby(state for _, state, _ in station.states))
    return Day(told, states, sightings, counted.bytes)


def under_the_core(is_long: bool) -> Row:
    """Each step at a random line of a day with an opening."""
    chance, kinds, steps = random.Random(6), KINDS, STEPS_S
    if not is_long:
        kinds, steps = ("es-short",), (10**2, -(10**4), 10**8)
    injected = survived = lost = bytes_written = 0
    for kind in kinds:
        still = day(kind)
        for step_s in steps:
            stepped = day(kind, chance.choice(rehearsed(kind).heard).at_s, step_s)
            injected += 1
            survived += (stepped.told, stepped.states) == (still.told, still.states)
            lost += max(0, still.sightings - stepped.sightings)
            bytes_written += stepped.written_bytes
    return Row(injected, survived, lost, bytes_written, "states and openings as with a clock nobody touched")


# --- the real daemon --------------------------------------------------------------------------------


class Clock:
    """The clocks of one daemon's computer: time passes when it is told to, and the wall clock can be set."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._passed_s = self._set_s = 0
        file.write_bytes(bytes(16))

    def set(self, step_s: int) -> None:
        """The wall clock, so far from the true time."""
        self._set_s = step_s
        self._write()

    def let_pass(self, seconds: int) -> None:
        self._passed_s += seconds
        self._write()

    def wall_s(self) -> float:
        return time.time() + self._passed_s + self._set_s

    def _write(self) -> None:
        with self._file.open("r+b") as opened:  # in place: it is mapped
            opened.write(struct.pack("=qq", self._passed_s, self._set_s))


def slot_text(at_s: float) -> bytes:
    """One slot: the local station, and all the far ones."""
    heard = [Heard(at_s, f"CQ {call} {square[:4]}", -7) for call, square in (LOCAL, *SOUTH_WEST)]
    return "".join(one.line() + "\n" for one in heard).encode("ascii")


def under_the_daemon(is_long: bool) -> Row:
    """One opening, through which the clock is set again and again, with some slots after each step."""
    steps = STEPS_S * 20 if is_long else STEPS_S[::3]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        clock = Clock(folder / "clock")
        preloaded = {**environment("wall_clock.c", folder), "WALL_CLOCK_FILE": str(folder / "clock")}
        log = folder / "decodes.log"
        began_s = SLOT_S * (time.time() // SLOT_S - BACKLOG_SLOTS)
        log.write_bytes(b"".join(slot_text(began_s + SLOT_S * number) for number in range(BACKLOG_SLOTS)))
        with mock.patch.dict("os.environ", preloaded), daemon(folder, None) as running:
            running.says("open: ")
            for step_s in (0, *steps):
                clock.set(step_s)
                for _ in range(SLOTS_EACH):
                    clock.let_pass(int(SLOT_S))
                    with log.open("ab") as file:
                        file.write(slot_text(SLOT_S * (clock.wall_s() // SLOT_S)))
                    pause(SLOT_TAKES_S)
            bytes_written = written_by(running.process.pid)
            running.stop(signal.SIGTERM)
            changes = running.log.read_text("utf-8").count(" INFO sentinel: ") - 2  # watching, open
        found = kept(folder / "state" / "diary.sqlite")
    live = sum(
        count for (_, at_ms), count in found.items() if at_ms >= (began_s + SLOT_S * BACKLOG_SLOTS) * 1000
    )
    due = len(SOUTH_WEST) * SLOTS_EACH * (1 + len(steps))
    note = f"{SLOTS_EACH * len(steps):,} slots heard in between, {changes} changes of state"
    return Row(len(steps), 0 if changes else len(steps), due - live, bytes_written, note)


FAULTS: Faults = {
    "the clock is set under the core": under_the_core,
    "the clock is set under the daemon": under_the_daemon,
}
