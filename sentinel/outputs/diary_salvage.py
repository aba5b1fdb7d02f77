"""Out of a damaged diary into a new one: whatever of its small tables can still be read.

A worn card mostly spoils a page of the large tables; years of openings, the known locators and the core's
snapshot should not go with it. Sightings and slots are left behind: they are many, and matter least.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

from sentinel.outputs.diary_queries import opening_row
from sentinel.outputs.diary_schema import roll_back, schema_version
from sentinel.outputs.diary_statements import OPENING_COLUMNS

TABLES = ("memory", "opening", "notable", "state_change", "downtime", "station", "heard_day", "first_heard")

Row = tuple[object, ...]


def salvage(damaged: Path, into: sqlite3.Connection) -> int:
    """Copy what is readable of ``damaged`` into the new diary; returns the rows saved, 0 if none can be."""
    saved = 0
    try:
        with closing(sqlite3.connect(f"{damaged.resolve().as_uri()}?mode=ro", uri=True)) as source:
            if schema_version(source) != schema_version(into):
                return 0
            into.execute("BEGIN IMMEDIATE")
            saved = sum(_copy(source, into, table) for table in TABLES)
            into.execute("COMMIT")
    except sqlite3.Error:  # the new diary works without; whatever ails the card shows at the next write
        with suppress(sqlite3.Error):
            roll_back(into)
        return 0
    return saved


def _copy(source: sqlite3.Connection, into: sqlite3.Connection, table: str) -> int:
    columns = [name for _, name, *_ in into.execute(f"PRAGMA table_info({table})")]
    marks = ", ".join("?" * len(columns))
    saved = 0
    for row in _readable(source, f"SELECT {', '.join(columns)} FROM {table}"):
        if table == "opening" and not _is_sound_opening(row):
            continue
        with suppress(sqlite3.IntegrityError):  # of another type than its column: damaged
            saved += into.execute(f"INSERT OR IGNORE INTO {table} VALUES ({marks})", row).rowcount
    return saved


def _readable(source: sqlite3.Connection, sql: str) -> Iterator[Row]:
    """Rows up to the first that cannot be read."""
    with suppress(sqlite3.DatabaseError):
        yield from source.execute(sql)


def _is_sound_opening(row: Row) -> bool:
    try:
        opening_row(dict(zip(OPENING_COLUMNS, row, strict=True)))
    except (ValueError, KeyError, TypeError):
        return False
    return True
