"""Keeping the diary within its age and its size.

Detail (sightings, slots, health, the days of each call) goes first; openings go last of all, since they are
what the diary is for. The squares and countries ever heard are never dropped: there are only so many of them.

A wrong clock must not empty the diary: age is counted from the newest row if that is earlier than the clock
says, and one pruning never takes more than a month of days from a table. Rows are dropped in short
transactions, so that a power cut or a reader never waits for a long one.
"""

import sqlite3
from dataclasses import dataclass
from typing import NamedTuple

from sentinel.outputs.diary_file import error_code
from sentinel.outputs.diary_schema import PAGE_BYTES, SEQUENCE_BITS
from sentinel.outputs.diary_statements import DAY_MS

CHUNK_ROWS = 2000
LONGEST_STEP_DAYS = 31
FULL_SHARE = 0.9
"""A diary too large is pruned to this share of its limit, so that it need not be pruned again tomorrow."""
BLOAT = 1.25
"""A file larger than this many times its limit, the limit having been lowered, is rewritten smaller."""


@dataclass(frozen=True, slots=True)
class PruneRule:
    """``keep_days``: of detail; 400 days show the same weeks of last year. ``keep_summary_days``: of
    openings, states and events; 11 years are one solar cycle. ``max_mb``: of the file, 10^6 bytes."""

    keep_days: int = 400
    keep_summary_days: int = 4018
    max_mb: float = 200.0


class _Aged(NamedTuple):
    """A table and the column that its rows age by, which holds ``unit_per_day`` units a day."""

    table: str
    column: str
    unit_per_day: int


DETAIL = (
    _Aged("sighting", "id", DAY_MS << SEQUENCE_BITS),
    _Aged("slot", "id", DAY_MS << SEQUENCE_BITS),
    _Aged("health", "at_ms", DAY_MS),
    _Aged("heard_day", "day", 1),
)
SUMMARY = (
    _Aged("station", "last_day", 1),
    _Aged("state_change", "at_ms", DAY_MS),
    _Aged("downtime", "until_ms", DAY_MS),
    _Aged("notable", "at_ms", DAY_MS),
    _Aged("opening", "last_ms", DAY_MS),
)


def prune(connection: sqlite3.Connection, now_s: float, rule: PruneRule) -> int:
    """Drop what is older or more than ``rule`` allows; returns the rows dropped. Raises ``sqlite3.Error``."""
    today = min(now_s * 1000, newest_ms(connection) + DAY_MS) / DAY_MS
    dropped = 0
    for tables, keep_days in ((DETAIL, rule.keep_days), (SUMMARY, rule.keep_summary_days)):
        for aged in tables:
            dropped += _drop_before(connection, aged, today - keep_days)
    dropped += _prune_to_size(connection, rule.max_mb * 1e6)
    _shrink_if_bloated(connection, rule.max_mb * 1e6)
    return dropped


def newest_ms(connection: sqlite3.Connection) -> int:
    """The time of the newest row of any band, 0 in an empty diary."""
    newest = connection.execute(
        "SELECT max(coalesce((SELECT max(id) FROM sighting), 0) >> :bits,"
        " coalesce((SELECT max(id) FROM slot), 0) >> :bits,"
        " coalesce((SELECT max(at_ms) FROM state_change), 0),"
        " coalesce((SELECT max(value) FROM memory WHERE kind = 'watched'), 0))",
        {"bits": SEQUENCE_BITS},
    )
    return int(newest.fetchone()[0])


def _oldest_day(connection: sqlite3.Connection, aged: _Aged) -> float | None:
    oldest = connection.execute(f"SELECT min({aged.column}) FROM {aged.table}").fetchone()[0]
    return None if oldest is None else oldest / aged.unit_per_day


def _drop_before(connection: sqlite3.Connection, aged: _Aged, day: float) -> int:
    oldest_day = _oldest_day(connection, aged)
    if oldest_day is None:
        return 0
    bound = {"bound": int(min(day, oldest_day + LONGEST_STEP_DAYS) * aged.unit_per_day)}
    dropped = 0
    while True:
        edge = connection.execute(
            f"SELECT {aged.column} FROM {aged.table} WHERE {aged.column} < :bound"
            f" ORDER BY {aged.column} LIMIT 1 OFFSET {CHUNK_ROWS}",
            bound,
        ).fetchone()
        if edge is None:
            done = connection.execute(f"DELETE FROM {aged.table} WHERE {aged.column} < :bound", bound)
            return dropped + done.rowcount
        done = connection.execute(f"DELETE FROM {aged.table} WHERE {aged.column} <= :edge", {"edge": edge[0]})
        dropped += done.rowcount


def _prune_to_size(connection: sqlite3.Connection, limit_bytes: float) -> int:
    dropped = 0
    if _used_bytes(connection) <= limit_bytes:
        return dropped
    for group in (DETAIL, *((aged,) for aged in SUMMARY)):
        while _used_bytes(connection) > FULL_SHARE * limit_bytes:
            days = [day for day in (_oldest_day(connection, aged) for aged in group) if day is not None]
            if not days:
                break
            dropped += sum(_drop_before(connection, aged, min(days) + 1) for aged in group)
    return dropped


def _shrink_if_bloated(connection: sqlite3.Connection, limit_bytes: float) -> None:
    if _pages(connection, "page_count") * PAGE_BYTES <= BLOAT * limit_bytes:
        return
    try:
        connection.execute("VACUUM")
    except sqlite3.Error as error:  # no room for the second copy: free pages are used again anyway
        if error_code(error) != sqlite3.SQLITE_FULL:
            raise


def _used_bytes(connection: sqlite3.Connection) -> int:
    return (_pages(connection, "page_count") - _pages(connection, "freelist_count")) * PAGE_BYTES


def _pages(connection: sqlite3.Connection, pragma: str) -> int:
    return int(connection.execute(f"PRAGMA {pragma}").fetchone()[0])
