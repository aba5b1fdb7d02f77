"""The past as the outlook takes it: hours watched and openings begun, and the last month as it was.

A function of a connection; it raises ``sqlite3.Error``. Hours are UTC; an opening's mode is the one that it
ended with. One that began while the watch was off (a log read later) does not count, since the hours that it
fell into were not watched.
"""

import sqlite3
from collections import defaultdict
from collections.abc import Sequence

from sentinel.outputs.diary_spans import DAY_S, HOUR_S, Span, pieces
from sentinel.outputs.diary_statistics import WATCHED, spans
from sentinel.watch.bulletin import Mode
from sentinel.watch.experience import cell_of
from sentinel.watch.record import RECENT_DAYS, Cell, Record


def record_of(connection: sqlite3.Connection, band: str, now_s: float) -> Record:
    """What the diary knew of ``band`` at ``now_s``; nothing later counts."""
    watched = [_until(span, now_s) for span in spans(connection, band) if _counts(span, now_s)]
    began = _openings_began(connection, band, now_s, watched)
    watched_h: dict[Cell, float] = defaultdict(float)
    for start_s, piece in pieces(watched, HOUR_S):
        watched_h[cell_of(start_s)] += piece.lasts_s / HOUR_S
    openings: dict[Mode, dict[Cell, int]] = defaultdict(lambda: defaultdict(int))
    for mode, at_s in began:
        openings[mode][cell_of(at_s)] += 1
    since_s = now_s - RECENT_DAYS * DAY_S
    return Record(
        dict(watched_h),
        {mode: dict(cells) for mode, cells in openings.items()},
        tuple((max(span.since_s, since_s), span.until_s) for span in watched if span.until_s > since_s),
        tuple((mode, at_s) for mode, at_s in began if at_s > since_s),
    )


def _counts(span: Span, now_s: float) -> bool:
    return span.state in WATCHED and span.since_s < now_s


def _until(span: Span, now_s: float) -> Span:
    return Span(span.since_s, min(span.until_s, now_s), span.state)


def _openings_began(
    connection: sqlite3.Connection, band: str, now_s: float, watched: Sequence[Span]
) -> list[tuple[Mode, float]]:
    """Mode and beginning of each opening that began while the watch ran, the oldest first."""
    found = connection.execute(
        "SELECT mode, began_ms FROM opening WHERE band = ? AND began_ms < ? ORDER BY began_ms",
        (band, now_s * 1000),
    )
    began, k = [], 0
    for mode, began_ms in found:
        while k < len(watched) and watched[k].until_s <= began_ms / 1000:
            k += 1
        if k < len(watched) and watched[k].since_s <= began_ms / 1000:
            began.append((Mode(mode), began_ms / 1000))
    return began
