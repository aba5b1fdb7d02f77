"""One band's share of the diary: what is news goes into its queue, and a start gets back what it needs."""

import json
import logging
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from sentinel.outputs.diary import Diary, DiaryUnavailable
from sentinel.outputs.diary_news import news
from sentinel.outputs.diary_queue import DiaryQueue
from sentinel.outputs.diary_recall import Recall
from sentinel.outputs.diary_rows import (
    Checkpoint,
    DiaryBatch,
    DowntimeRow,
    NotableRow,
    OpeningRow,
    Recent,
    Snapshot,
    Struck,
)
from sentinel.recent import from_lines
from sentinel.restart import Memory, Standing
from sentinel.trade.callsign import parse_call
from sentinel.trade.prefixes import area_of
from sentinel.watch.bulletin import Bulletin, Station
from sentinel.watch.changes import Change, NotableHappened, OpeningChanged
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.learned import Learned

LEARNED_EVERY_S, LEARNED_AT_LEAST_S = 600.0, 2_700.0
"""How often what was learned is written, and how often even when it is much: the decodes that are fed again
after a start (``recent``) reach back farther."""
LEARNED_BYTES_A_DAY = 4_000_000
"""Of text; packed it is a quarter and less. The whole diary's budget is 10 MB a day."""
STRAY_LEARNED_S = 3_600.0
"""What was learned by later than the diary knows the watch to have run was stamped by another clock."""

log = logging.getLogger("sentinel.diary")


@dataclass(frozen=True, slots=True)
class Remembered:
    """What a start gets back: the watch's memory, the sources' places, and what others keep (``notes``)."""

    memory: Memory = field(default_factory=Memory)
    checkpoints: Mapping[str, str] = field(default_factory=dict)
    notes: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Place:
    """From where a start goes on: the decodes fed lately (``RecentDecodes.take_lines``), where each source
    stands, what the daemon's parts want back as ``notes`` (JSON), and how to get at what the core has
    ``learned``, which is asked for now and then."""

    recent: tuple[tuple[str, ...], bool]
    checkpoints: Mapping[str, str]
    notes: Mapping[str, Any]
    learned: Callable[[], Learned] | None = None


class BandDiary:
    """``recall`` and ``follow``, then ``note``. The queue is the whole diary's."""

    def __init__(self, diary: Diary, queue: DiaryQueue, band: str) -> None:
        self._diary, self._queue, self._band = diary, queue, band
        self._before: Bulletin | None = None
        self._snapshot = ""
        self._learned_at_s, self._learned_every_s = -math.inf, LEARNED_EVERY_S
        self.recall_fault = ""
        """Why nothing could be recalled."""

    def recall(self) -> Remembered:
        """What the last watch left; nothing where the diary cannot be read. Call it before it is written."""
        try:
            recalled, checkpoints = self._diary.recall(self._band), self._diary.checkpoints()
        except DiaryUnavailable as error:
            log.error("the watch begins without its memory: %s", error)
            self.recall_fault = str(error)
            return Remembered()
        if self._diary.note:
            log.warning("%s", self._diary.note)
        back = remembered(recalled, checkpoints)
        if (learned := back.memory.knowledge.learned) is not None:
            self._learned_at_s = learned.as_of_s
        return back

    def follow(self, bulletin: Bulletin, heard: Iterable[Station]) -> None:
        """This much the diary knows already: how the last watch stood."""
        self._before = replace(bulletin, stations=tuple(heard))

    def note(
        self,
        bulletin: Bulletin,
        heard: Iterable[Station],
        changes: Iterable[Change] = (),
        place: Place | None = None,
        struck_after_s: float | None = None,
    ) -> None:
        """Take what is new since the last call: ``changes``, and ``heard``, the far stations of late.

        With ``place``, a start goes on from there; it must stand for all that was noted until now. What was
        noted of later than ``struck_after_s`` was noted by a wrong clock.
        """
        told = replace(bulletin, stations=tuple(heard))
        if struck_after_s is not None:
            self._queue.put(DiaryBatch(struck=(Struck(self._band, struck_after_s),)))
            self._before, self._learned_at_s = None, -math.inf
        batch = _happened(told.band, changes).then(news(told, self._before, country_of))
        self._before = told
        self._queue.put(batch if place is None else batch.then(self._kept(place, told.at_s)))

    def _kept(self, place: Place, at_s: float) -> DiaryBatch:
        lines, is_whole = place.recent
        snapshot = json.dumps({"v": 1, **place.notes})
        is_news = snapshot != self._snapshot
        self._snapshot = snapshot
        return DiaryBatch(
            checkpoints=tuple(Checkpoint(source, text) for source, text in place.checkpoints.items()),
            snapshots=((Snapshot(self._band, snapshot),) if is_news else ()) + self._learned(place, at_s),
            recents=(Recent(self._band, lines, is_whole),) if lines or is_whole else (),
        )

    def _learned(self, place: Place, at_s: float) -> tuple[Snapshot, ...]:
        if place.learned is None or abs(at_s - self._learned_at_s) < self._learned_every_s:
            return ()
        text = json.dumps(place.learned().as_json(), separators=(",", ":"))
        affordable_s = len(text) * 86_400.0 / LEARNED_BYTES_A_DAY
        self._learned_at_s = at_s
        self._learned_every_s = min(max(LEARNED_EVERY_S, affordable_s), LEARNED_AT_LEAST_S)
        return (Snapshot(self._band, text, "learned"),)

    def note_downtime(self, since_s: float, until_s: float) -> None:
        """The watch did not run in between."""
        self._queue.put(DiaryBatch(downtimes=(DowntimeRow(self._band, since_s, until_s),)))


def _happened(band: str, changes: Iterable[Change]) -> DiaryBatch:
    """What a bulletin no longer shows once it is over: an opening at its end, events that others outdated."""
    openings, notables = [], []
    for change in changes:
        if isinstance(change, OpeningChanged):
            openings.append(OpeningRow(band, change.opening))
        elif isinstance(change, NotableHappened):
            notables.append(NotableRow(band, change.notable))
    return DiaryBatch(openings=tuple(openings), notables=tuple(notables))


def remembered(recalled: Recall, checkpoints: Mapping[str, str]) -> Remembered:
    """What the diary knows, for the parts that ask."""
    try:
        notes = json.loads(recalled.snapshot or "{}")
    except ValueError:
        notes = {}
    if not isinstance(notes, dict):
        notes = {}
    memory = Memory(
        Knowledge(
            locators=recalled.locators,
            days_heard=recalled.days_heard,
            watched_days=recalled.watched_days,
            squares=recalled.squares,
            countries=recalled.countries,
            farthest_km={mode.value: float(km) for mode, km in recalled.farthest_km.items()},
            day_bests=recalled.day_bests,
            learned=_learned(recalled),
        ),
        tuple(from_lines(recalled.recent)),
        Standing.from_json(notes.get("watch")),
        recalled.live_openings,
        recalled.watched_until_s,
    )
    return Remembered(memory, checkpoints, notes)


def _learned(recalled: Recall) -> Learned | None:
    """What the last watch had learned. What is damaged is not believed: then only the days are known."""
    if recalled.learned is None:
        return None
    try:
        learned = Learned.from_json(json.loads(recalled.learned))
    except (ValueError, RecursionError):
        learned = None
    latest_s = -math.inf if recalled.watched_until_s is None else recalled.watched_until_s + STRAY_LEARNED_S
    if learned is not None and learned.as_of_s <= latest_s:
        return learned
    log.warning("what the watch had learned of habits cannot be read; it learns them anew")
    return None


def country_of(call: str) -> str | None:
    """The stable code of the country, or of the part of one that the trade counts apart."""
    parsed = parse_call(call)
    area = area_of(parsed.place) if parsed and parsed.place else None
    return area.code if area else None
