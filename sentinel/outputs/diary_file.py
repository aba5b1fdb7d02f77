"""The diary as a file: opening and checking it, setting a damaged one aside, and saying what is wrong.

Failures come out as one error, ``DiaryUnavailable``, with one sentence for the operator.
"""

import os
import sqlite3
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from sentinel.errors import RunError
from sentinel.outputs.diary_schema import MIGRATIONS, PAGE_BYTES, is_foreign, migrate, schema_version

Connect = Callable[[Path], sqlite3.Connection]

FULL_CHECK_BYTES = 32 * 2**20
"""Larger diaries get the complete check with the daily pruning instead of at the start: a restart has 10 s,
and a worn SD card reads some 10 MB/s."""

SMALL_TABLES = ("memory", "opening", "state_change", "downtime", "notable", "station", "first_heard")
"""What a restart needs; checked at every start, however large the rest has grown."""

HEADER = b"SQLite format 3\0"
"""How every SQLite 3 file that is not empty begins (SQLite, "Database File Format", 1.3)."""

PRAGMAS = (
    f"PRAGMA page_size = {PAGE_BYTES}",  # takes effect on an empty file only
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA wal_autocheckpoint = 1000",  # pages: the log is written over again after 1 MB
    f"PRAGMA journal_size_limit = {4 * 2**20}",  # and cut back to this after a large pruning
    "PRAGMA trusted_schema = OFF",
)

DAMAGED = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
"""The file itself is broken: it is set aside at the next opening."""

PASSING = frozenset({sqlite3.SQLITE_FULL, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})
"""The open file is still good; after any other failure it is opened afresh."""

MENDS = {
    sqlite3.SQLITE_FULL: "the card is full: free some space, or lower max_mb in [diary]",
    sqlite3.SQLITE_READONLY: "it is read-only: look for card errors in the kernel's log, mount it writable",
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened: see that its directory exists and may be written to",
    sqlite3.SQLITE_PERM: "access is refused: give its directory to the user that Sentinel runs as",
    sqlite3.SQLITE_AUTH: "access is refused: give its directory to the user that Sentinel runs as",
    sqlite3.SQLITE_BUSY: "another program holds it locked: close that program",
    sqlite3.SQLITE_IOERR: "the card fails to read or write: look for its errors in the kernel's log",
    sqlite3.SQLITE_CORRUPT: "it is damaged: it will be set aside and a new diary begun",
    sqlite3.SQLITE_NOTADB: "it is damaged: it will be set aside and a new diary begun",
}


PARTS = ("-wal", "-shm", "")
"""A diary's files by the endings of their names; the main file last."""

READ_BYTES = 2**18

MOST_ASIDE = 9
"""Damaged diaries kept; a card that spoils more needs to be replaced, not filled with them."""


class DiaryUnavailable(RunError):  # noqa: N818 (a state that passes, more than an error)
    """The diary cannot be read or written just now; the watch goes on, and the next call tries again."""


def connect(path: Path) -> sqlite3.Connection:
    """A connection in autocommit mode: transactions are begun and ended by hand. For one thread at a time."""
    return sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=5.0)


def open_checked(path: Path, connector: Connect, is_suspect: bool) -> sqlite3.Connection:
    """Open, migrate and check the diary; a suspect one in full, whatever its size.

    Raises ``sqlite3.Error``, and DiaryUnavailable for a file that is sound but not for us.
    """
    _refuse_junk(path)
    connection = connector(path)
    try:
        refuse_what_is_not_ours(connection, path)
        for pragma in PRAGMAS:
            connection.execute(pragma)
        migrate(connection)
        is_checked_in_full = is_suspect or path.stat().st_size <= FULL_CHECK_BYTES
        for table in (None,) if is_checked_in_full else SMALL_TABLES:
            check(connection, table)
    except BaseException:
        with suppress(sqlite3.Error):
            connection.close()
        raise
    return connection


def check(connection: sqlite3.Connection, table: str | None = None) -> None:
    """Read one table, or the whole file, for damage. Raises ``sqlite3.DatabaseError``."""
    argument = f"({table})" if table else ""
    found = connection.execute(f"PRAGMA quick_check{argument}").fetchone()[0]
    if found != "ok":
        raise _damage(sqlite3.SQLITE_CORRUPT, found)


def refuse_what_is_not_ours(connection: sqlite3.Connection, path: Path) -> None:
    """Raises DiaryUnavailable for another program's database and for a diary of a newer Sentinel."""
    if is_foreign(connection):
        raise DiaryUnavailable(
            f"{path} is the database of another program: name another file as path in [diary]"
        )
    version = schema_version(connection)
    if version > len(MIGRATIONS):
        raise DiaryUnavailable(
            f"{path} was written by a newer Sentinel (diary version {version}, this one knows "
            f"{len(MIGRATIONS)}): upgrade, or name another file as path in [diary]"
        )


def set_aside(path: Path) -> Path:
    """Rename a damaged diary, its log with it, to the first free ``NAME.damaged-N``; nothing is deleted.

    The log goes first: should the power fail between, the main file is found damaged again and follows.
    Raises OSError, also when there are ``MOST_ASIDE`` of them already: then the card is worn out.
    """
    names = (f".damaged-{number}" for number in range(1, MOST_ASIDE + 1))
    free = (name for name in names if not any(_sibling(path, name + part).exists() for part in PARTS))
    aside = _sibling(path, next(free, ""))
    if aside == path:
        raise OSError(f"{MOST_ASIDE} damaged diaries lie beside it: replace the card, or remove them")
    for part in PARTS:
        with suppress(FileNotFoundError):
            _sibling(path, part).rename(_sibling(aside, part))
    return aside


def error_code(error: sqlite3.Error) -> int:
    """SQLite's primary result code, 0 where the error carries none."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def unavailable(path: Path, error: sqlite3.Error | OSError) -> DiaryUnavailable:
    """The sentence for the operator: which file, what is wrong, what to do."""
    code = error_code(error) if isinstance(error, sqlite3.Error) else sqlite3.SQLITE_IOERR
    if code == sqlite3.SQLITE_CANTOPEN and path.parent.is_dir() and not os.access(path.parent, os.W_OK):
        code = sqlite3.SQLITE_READONLY  # SQLite fails at the log's index and does not say why
    return DiaryUnavailable(
        f"the diary {path} cannot be used: {MENDS.get(code, 'SQLite refuses it')} ({error})"
    )


def is_readable(path: Path) -> bool:
    """True if the card gives every byte of the diary and its log, whatever they hold."""
    try:
        for part in ("-wal", ""):  # to close "-shm" would take away the locks of our own readers
            with suppress(FileNotFoundError), _sibling(path, part).open("rb") as file:
                while file.read(READ_BYTES):
                    pass
    except OSError:
        return False
    return True


def file_identity(path: Path) -> tuple[int, int] | None:
    """Device and inode, None where there is no file: tells whether the name still means the same file."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


def _refuse_junk(path: Path) -> None:
    """SQLite finds this out too, but takes the log away while it does."""
    with suppress(OSError), path.open("rb") as file:
        head = file.read(len(HEADER))
        if head not in (b"", HEADER):
            raise _damage(sqlite3.SQLITE_NOTADB, "file is not a database")


def _damage(code: int, found: str) -> sqlite3.DatabaseError:
    damage = sqlite3.DatabaseError(found)
    damage.sqlite_errorcode = code
    return damage


def _sibling(path: Path, suffix: str) -> Path:
    return path.with_name(path.name + suffix)
