"""What waits for the diary: batches from the main loop, kept while the card cannot be written to.

The main loop calls ``put`` and never waits for a card. The diary thread sleeps in ``wait`` and calls
``drain``; a failed drain keeps every row for the next one. The queue is bounded: beyond its limit the oldest
sightings go first, then slots, then health changes, all counted. Openings, notable events and state changes
stay: there are few of them, and they are what the diary is for.
"""

import threading
from dataclasses import replace
from typing import Protocol

from sentinel.outputs.diary_file import DiaryUnavailable
from sentinel.outputs.diary_rows import DiaryBatch
from sentinel.watch.bulletin import Part

FLUSH_ROWS = 100
FLUSH_S = 600.0
"""Every commit writes some forty kilobytes, however little is in it: 62 MB a day at one a minute, 13 MB at
one in five, measured. A power cut costs ten minutes at most, which are read again where the decoder writes a
file."""

QUEUE_ROWS = 5000
"""Most of a day at one row a slot; some 2 MB of memory."""


class Writer(Protocol):
    """The part of ``Diary`` that the queue needs."""

    def write(self, batch: DiaryBatch) -> None:
        """Write all of it, or raise DiaryUnavailable."""


class DiaryQueue:
    """Bounded, for one putting and one draining thread. ``dropped_rows`` counts what the bound cost."""

    def __init__(self, limit_rows: int = QUEUE_ROWS) -> None:
        self.dropped_rows = 0
        self._limit_rows = limit_rows
        self._pending = DiaryBatch()
        self._is_urgent = False
        self._is_woken = False
        self._failure = ""
        self._changed = threading.Condition()

    def put(self, batch: DiaryBatch) -> None:
        """Take a batch; a change of state, an event or an opening that ended wakes the thread at once."""
        has_ended = any(row.opening.ended_at_s is not None for row in batch.openings)
        with self._changed:
            self._pending = self._bounded(self._pending.then(batch))
            self._is_urgent |= bool(batch.states or batch.notables or batch.downtimes or has_ended)
            self._changed.notify()

    def wake(self) -> None:
        """Make ``wait`` return whatever holds it: at the end of the daemon, before the last ``drain``."""
        with self._changed:
            self._is_woken = True
            self._changed.notify()

    def wait(self, timeout_s: float = FLUSH_S) -> bool:
        """Sleep until a flush is due (True) or the time is up; while writing fails, only time counts."""
        with self._changed:
            return self._changed.wait_for(self._is_due, timeout_s)

    def drain(self, diary: Writer) -> int:
        """Write everything in one transaction; returns the rows written. On DiaryUnavailable all is kept."""
        with self._changed:
            batch, self._pending = self._pending, DiaryBatch()
            self._is_urgent = self._is_woken = False
        try:
            if not batch.is_empty:
                diary.write(batch)
        except DiaryUnavailable as error:
            with self._changed:
                self._pending = self._bounded(batch.then(self._pending))
                self._failure = str(error)
            raise
        with self._changed:
            self._failure = ""
        return batch.rows

    def part(self) -> Part:
        """The diary as a part of the station, for the panel and the health message."""
        with self._changed:
            lost = f"; {self.dropped_rows} rows lost" if self.dropped_rows else ""
            if self._failure:
                return Part("diary", False, f"{self._failure}; {self._pending.rows} rows wait{lost}")
            return Part("diary", True, lost.removeprefix("; "))

    def _is_due(self) -> bool:
        is_worth_it = self._is_urgent or self._pending.rows >= FLUSH_ROWS
        return self._is_woken or (is_worth_it and not self._failure)

    def _bounded(self, batch: DiaryBatch) -> DiaryBatch:
        excess = batch.rows - self._limit_rows
        for name in ("sightings", "slots", "health"):
            if excess <= 0:
                break
            rows = getattr(batch, name)
            batch = replace(batch, **{name: rows[excess:]})
            self.dropped_rows += min(excess, len(rows))
            excess -= len(rows)
        return batch
