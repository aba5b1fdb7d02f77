"""The past as the outlook takes it: hours watched and openings begun, and the last month as it was.

Hours are UTC; an opening's mode is the one that it ended with. One that began while the watch was off (a log
read later) does not count, since the hours that it fell into were not watched.
"""

import sqlite3
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from sentinel.outputs.diary_spans import DAY_S, HOUR_S, Span, pieces
from sentinel.outputs.diary_statistics import WATCHED, spans
from sentinel.watch.bulletin import Mode
from sentinel.watch.experience import cell_of
from sentinel.watch.record import RECENT_DAYS, Cell, Record

Number = TypeVar("Number", int, float)
Began = Sequence[tuple[Mode, float]]


def record_of(connection: sqlite3.Connection, band: str, now_s: float) -> Record:
    """What the diary knew of ``band`` at ``now_s``; nothing later counts. Raises ``sqlite3.Error``."""
    return RecordReader(band).read(connection, now_s)


class RecordReader:
    """Reads the record again and again at little cost: years, which take seconds, only once a day."""

    def __init__(self, band: str) -> None:
        self._band = band
        self._past_until_s: float | None = None
        self._past = Record()

    def read(self, connection: sqlite3.Connection, now_s: float) -> Record:
        """As ``record_of``."""
        today_s = now_s // DAY_S * DAY_S
        if self._past_until_s != today_s:
            self._past = _counts(*_between(connection, self._band, 0.0, today_s))
            self._past_until_s = today_s
        since_s = today_s - RECENT_DAYS * DAY_S
        watched, began = _between(connection, self._band, since_s, now_s)
        today = _counts(_cut(watched, today_s, now_s), [each for each in began if each[1] >= today_s])
        return Record(
            _added(self._past.watched_h, today.watched_h),
            {
                mode: _added(self._past.openings.get(mode, {}), today.openings.get(mode, {}))
                for mode in {**self._past.openings, **today.openings}
            },
            tuple((span.since_s, span.until_s) for span in watched),
            tuple(began),
        )


def _between(
    connection: sqlite3.Connection, band: str, since_s: float, until_s: float
) -> tuple[list[Span], Began]:
    """Spans watched in ``since_s`` to ``until_s``, and the openings that began in them, the oldest first."""
    known = (span for span in spans(connection, band, since_s) if span.state in WATCHED)
    watched = _cut(known, since_s, until_s)
    found = connection.execute(
        "SELECT mode, began_ms FROM opening WHERE band = ? AND began_ms >= ? AND began_ms < ?"
        " ORDER BY began_ms",
        (band, since_s * 1000, until_s * 1000),
    )
    began, k = [], 0
    for mode, began_ms in found:
        at_s = began_ms / 1000
        while k < len(watched) and watched[k].until_s <= at_s:
            k += 1
        if k < len(watched) and watched[k].since_s <= at_s:
            began.append((Mode(mode), at_s))
    return watched, began


def _cut(found: Iterable[Span], since_s: float, until_s: float) -> list[Span]:
    cut = (replace(s, since_s=max(s.since_s, since_s), until_s=min(s.until_s, until_s)) for s in found)
    return [span for span in cut if span.lasts_s > 0]


def _counts(watched: Iterable[Span], began: Began) -> Record:
    """Hours and openings by cell, without the last month."""
    watched_h: dict[Cell, float] = defaultdict(float)
    for start_s, piece in pieces(watched, HOUR_S):
        watched_h[cell_of(start_s)] += piece.lasts_s / HOUR_S
    openings: dict[Mode, Counter[Cell]] = defaultdict(Counter)
    for mode, at_s in began:
        openings[mode][cell_of(at_s)] += 1
    return Record(watched_h, openings)


def _added(one: Mapping[Cell, Number], other: Mapping[Cell, Number]) -> dict[Cell, Number]:
    """Cell by cell."""
    both = {**one}
    for cell, value in other.items():
        both[cell] = both[cell] + value if cell in both else value
    return both
