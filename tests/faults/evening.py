"""An evening for the faults: an opening that goes on, of which every line must reach the diary."""

import json
import signal
import sqlite3
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from faults.row import written_by
from nights import LOCAL, SLOT_S, SOUTH_WEST, Heard, seconds
from running import daemon

START_S = seconds("2026-06-14T20:00:00")
SETTLING_SLOTS = 8
"""In these the opening is not yet believed: what they bring may reach the diary or not."""


READING_S = 1.5
"""A daemon that goes on after a fault gets so long for each bite of the log."""


@dataclass(frozen=True, slots=True)
class Slot:
    """What is heard in one slot: a local station and half of the far ones."""

    number: int

    @property
    def at_s(self) -> float:
        return START_S + SLOT_S * self.number

    @property
    def far(self) -> tuple[tuple[str, str], ...]:
        return SOUTH_WEST[self.number % 2 :: 2]

    def text(self) -> bytes:
        """The decoder's lines of the slot."""
        heard = [Heard(self.at_s, f"CQ {call} {square[:4]}", -7) for call, square in (LOCAL, *self.far)]
        return "".join(one.line() + "\n" for one in heard).encode("ascii")

    def sightings(self) -> Iterator[tuple[str, int]]:
        """Call and time, ms, of each row that the diary must hold of this slot."""
        if self.number >= SETTLING_SLOTS:
            yield from ((call, int(self.at_s * 1000)) for call, _ in self.far)


def kept(diary: Path) -> Counter[tuple[str, int]]:
    """How often each call and time, ms, stands in the diary."""
    with closing(sqlite3.connect(diary)) as connection:
        return Counter(connection.execute("SELECT call, at_ms FROM sighting").fetchall())


def lost_and_doubled(slots: int, diary: Path) -> tuple[int, int]:
    """Of so many slots: sightings that are not in the diary, and those that are in it more than once."""
    found = kept(diary)
    due = [each for number in range(slots) for each in Slot(number).sightings()]
    return sum(found[each] == 0 for each in due), sum(count > 1 for count in found.values())


def place_in_log(diary: Path) -> int:
    """Up to which byte of the log the diary stands for all that was read; 0 before its first word."""
    if not diary.exists():
        return 0
    with closing(sqlite3.connect(diary)) as connection:
        found = connection.execute("SELECT value FROM memory WHERE kind = 'checkpoint'").fetchone()
    return int(json.loads(found[0])["offset"]) if found else 0


def read_to_the_end(folder: Path) -> int:
    """Start and stop the daemon until the diary stands for the whole log; the bytes that it wrote."""
    written = 0
    while place_in_log(folder / "state" / "diary.sqlite") < (folder / "decodes.log").stat().st_size:
        with daemon(folder, None) as running:
            running.says("watching 6m")
            pause(READING_S)
            written += written_by(running.process.pid)
            running.stop(signal.SIGTERM)
    return written


def pause(seconds: float) -> None:
    """Let other processes live for a while."""
    threading.Event().wait(seconds)
