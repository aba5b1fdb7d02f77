"""The diary as the daemon uses it: what is news goes to its own thread, and a start gets back what it needs.

A card that is full, read-only or broken is a part that is not well; the watch goes on, what is to be written
waits in the queue, and writing resumes when the card does.
"""

import logging
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import replace

from sentinel.band_diary import BandDiary
from sentinel.outputs.diary import Diary, DiaryUnavailable
from sentinel.outputs.diary_prune import PruneRule
from sentinel.outputs.diary_queue import FLUSH_S, DiaryQueue
from sentinel.watch.bulletin import Part

PRUNE_EVERY_S = 86_400.0
FIRST_PRUNE_S = 3_600.0
"""Not with the start: a restart has better things to do, and a crash loop must not read the card all day."""
STOP_PATIENCE_S = 8.0

log = logging.getLogger("sentinel.diary")


class DiaryOutput:
    """The diary of all bands, ``bands`` by their names: each recalls, then ``start``, and ``stop``."""

    def __init__(self, diary: Diary, bands: Iterable[str], rule: PruneRule, flush_s: float = FLUSH_S) -> None:
        self._diary, self._rule, self._flush_s = diary, rule, flush_s
        self._queue = DiaryQueue()
        self.bands = {band: BandDiary(diary, self._queue, band) for band in bands}
        self._is_stopping = self._has_failed = False
        self._right_time_s: Callable[[], float | None] = lambda: None
        self._next_prune_s = time.monotonic() + FIRST_PRUNE_S
        self._thread = threading.Thread(target=self._run, name="diary", daemon=True)

    def start(self, right_time_s: Callable[[], float | None]) -> None:
        """Begin to write. ``right_time_s`` tells the time of day, seconds since 1970, or None while that is
        doubtful, for the daily pruning."""
        self._right_time_s = right_time_s
        self._thread.start()

    def part(self) -> Part:
        """The diary as a part of the station."""
        part = self._queue.part()
        if part.is_well and any(band.recall_fault for band in self.bands.values()):
            return Part("diary", part.is_well, part.note or "it could not be read at the start")
        return replace(part, note=part.note or self._diary.note)

    def stop(self) -> bool:
        """Write what waits, then end; true if that took no longer than a moment."""
        self._is_stopping = True
        self._queue.wake()
        if self._thread.is_alive():
            self._thread.join(STOP_PATIENCE_S)
        elif self._thread.ident is None:  # never started
            self._diary.close()
        return not self._thread.is_alive()

    # --- the thread -------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._is_stopping:
            self._queue.wait(self._flush_s)
            self.write()
            self._prune()
        self.write()  # what came while the last was being written
        self._diary.close()

    def write(self) -> None:
        """Write what waits, in the calling thread. The first failure in a row is logged, and the recovery."""
        try:
            self._queue.drain(self._diary)
        except DiaryUnavailable as error:
            if not self._has_failed:
                log.error("%s; the watch goes on, and what is to be written waits", error)
            self._has_failed = True
            return
        if self._has_failed:
            log.warning("the diary can be written again")
        self._has_failed = False

    def _prune(self) -> None:
        now_s = time.monotonic()
        right_time_s = self._right_time_s() if now_s >= self._next_prune_s else None
        if self._is_stopping or right_time_s is None:
            return
        self._next_prune_s = now_s + PRUNE_EVERY_S
        try:
            if dropped := self._diary.prune(right_time_s, self._rule):
                log.info("%d old rows have left the diary", dropped)
        except DiaryUnavailable as error:
            log.warning("the diary was not pruned: %s", error)
