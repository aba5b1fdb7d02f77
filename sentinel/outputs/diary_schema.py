"""The diary's tables and how an older diary becomes a newer one.

Every migration is a list of single statements, run in one transaction that also moves ``user_version``:
a power cut leaves the diary before or after it, never between. Migrations are only ever added.

What the layout owes to an SD card (figures: ``tests/bench/diary_bytes.py``): 1 KiB pages, because a flush
touches a handful of rows; sightings and slots keyed by ``time in ms << 20 | running number``, so that they
are appended to the last page, and need no index of their own to be found by time; one small table for
everything that is overwritten at each flush, with row ids, because a page of such a table takes a row of
900 bytes where one without takes 230 and chains the rest.
"""

import sqlite3
from collections.abc import Sequence

APPLICATION_ID = 0x53454E54
"""'SENT': written into the file's header, so that another program's database is never taken for a diary."""

PAGE_BYTES = 1024

SEQUENCE_BITS = 20
"""Rows of one millisecond that a key can tell apart: a million, far more than stations fit into a slot."""

LATEST_MS = 2**42
"""Times are kept below this (the year 2109), so that time and running number fit into 64 bits."""

FIRST_DIARY = (
    f"PRAGMA application_id = {APPLICATION_ID}",
    f"""CREATE TABLE sighting (
        id INTEGER PRIMARY KEY,
        at_ms INTEGER NOT NULL GENERATED ALWAYS AS (id >> {SEQUENCE_BITS}) VIRTUAL,
        band TEXT NOT NULL, call TEXT NOT NULL, locator TEXT,
        distance_km REAL NOT NULL, bearing_deg REAL NOT NULL,
        snr_db REAL, audio_hz REAL, trust REAL NOT NULL
    ) STRICT""",
    f"""CREATE TABLE slot (
        id INTEGER PRIMARY KEY,
        at_ms INTEGER NOT NULL GENERATED ALWAYS AS (id >> {SEQUENCE_BITS}) VIRTUAL,
        band TEXT NOT NULL, decodes INTEGER NOT NULL, rejected INTEGER NOT NULL,
        near_stations INTEGER NOT NULL, far_stations INTEGER NOT NULL
    ) STRICT""",
    """CREATE TABLE state_change (
        band TEXT NOT NULL, at_ms INTEGER NOT NULL,
        state TEXT NOT NULL, because TEXT NOT NULL, blind_reason TEXT,
        PRIMARY KEY (band, at_ms)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE downtime (
        band TEXT NOT NULL, since_ms INTEGER NOT NULL, until_ms INTEGER NOT NULL,
        PRIMARY KEY (band, since_ms)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE opening (
        band TEXT NOT NULL, id TEXT NOT NULL,
        began_ms INTEGER NOT NULL, peak_ms INTEGER NOT NULL, ended_ms INTEGER, last_ms INTEGER NOT NULL,
        bearing_deg REAL NOT NULL, spread_deg REAL NOT NULL,
        stations INTEGER NOT NULL, peak_stations INTEGER NOT NULL, total_stations INTEGER NOT NULL,
        nearest_km INTEGER NOT NULL, farthest_km INTEGER NOT NULL, best_snr_db REAL,
        mode TEXT NOT NULL, muf_mhz REAL, locators TEXT NOT NULL, detail TEXT NOT NULL,
        PRIMARY KEY (band, id)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX opening_by_time ON opening (began_ms)",
    """CREATE TABLE notable (
        band TEXT NOT NULL, id TEXT NOT NULL, at_ms INTEGER NOT NULL, what TEXT NOT NULL,
        station TEXT, sentence TEXT NOT NULL, opening_id TEXT,
        PRIMARY KEY (band, id)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE health (
        at_ms INTEGER NOT NULL, part TEXT NOT NULL, is_well INTEGER, note TEXT NOT NULL,
        PRIMARY KEY (at_ms, part)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE station (
        call TEXT PRIMARY KEY, locator TEXT, last_day INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE heard_day (
        band TEXT NOT NULL, call TEXT NOT NULL, day INTEGER NOT NULL,
        PRIMARY KEY (band, call, day)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE first_heard (
        band TEXT NOT NULL, kind TEXT NOT NULL, name TEXT NOT NULL,
        at_ms INTEGER NOT NULL, call TEXT NOT NULL,
        PRIMARY KEY (band, kind, name)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE memory (
        kind TEXT NOT NULL, name TEXT NOT NULL, value ANY NOT NULL,
        PRIMARY KEY (kind, name)
    ) STRICT""",
)

MIGRATIONS: tuple[tuple[str, ...], ...] = (FIRST_DIARY,)
"""``MIGRATIONS[n]`` turns a diary of version n into one of version n + 1; an empty file is version 0."""


def schema_version(connection: sqlite3.Connection) -> int:
    """The version of the diary behind ``connection``; 0 for an empty file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def is_foreign(connection: sqlite3.Connection) -> bool:
    """The file is a database of another program: it has content, and not our mark."""
    mark = connection.execute("PRAGMA application_id").fetchone()[0]
    has_content = connection.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchone() is not None
    return mark != APPLICATION_ID and has_content


def migrate(connection: sqlite3.Connection, migrations: Sequence[Sequence[str]] = MIGRATIONS) -> None:
    """Bring the diary to the newest version, one transaction a step. Raises ``sqlite3.Error``.

    ``connection`` must be in autocommit mode (``isolation_level=None``).
    """
    for number in range(schema_version(connection) + 1, len(migrations) + 1):
        connection.execute("BEGIN IMMEDIATE")
        try:
            if schema_version(connection) == number - 1:  # else another process was quicker
                for statement in migrations[number - 1]:
                    connection.execute(statement)
                connection.execute(f"PRAGMA user_version = {number}")
            connection.execute("COMMIT")
        except sqlite3.Error:
            roll_back(connection)
            raise


def roll_back(connection: sqlite3.Connection) -> None:
    """Leave the open transaction, if SQLite has not left it by itself already."""
    if connection.in_transaction:
        connection.execute("ROLLBACK")
