"""The diary: what the watch remembers over a restart and for years, in one SQLite file.

A batch is written whole or not at all, and is on the card when ``write`` returns (write-ahead log, one sync
a commit). There is no thread, no clock and no retry in here: the daemon's diary thread calls ``write`` with
what ``DiaryQueue`` holds. Every failure of the card is the one ``DiaryUnavailable``, and the next call
simply tries afresh, so that writing resumes when the card does.

Use from one thread at a time. Readers (``diary_queries``) have connections of their own.
"""

import errno
import os
import sqlite3
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

from sentinel.outputs.diary_file import (
    DAMAGED,
    PASSING,
    Connect,
    DiaryUnavailable,
    check,
    connect,
    error_code,
    file_identity,
    is_readable,
    open_checked,
    set_aside,
    unavailable,
)
from sentinel.outputs.diary_prune import PruneRule, prune
from sentinel.outputs.diary_recall import Recall, checkpoints, recall
from sentinel.outputs.diary_rows import DiaryBatch
from sentinel.outputs.diary_salvage import salvage
from sentinel.outputs.diary_schema import roll_back
from sentinel.outputs.diary_statements import Statement, statements

__all__ = ["Diary", "DiaryUnavailable"]

UNREADABLE_LOOKS = 10
"""While the card fails to read, SQLite may call a sound file malformed. At a look a minute, ten minutes of it
are no passing weakness: then the diary is given up, and a new one begun."""

Result = TypeVar("Result")


class Diary:
    """The diary in the file ``path``, opened at the first call that needs it.

    ``note`` is one sentence about a damaged diary that was set aside, else empty. ``refused_rows`` counts
    rows that no diary can hold (a time before 1970, a bearing that is not a number).
    """

    def __init__(self, path: Path, connector: Connect = connect) -> None:
        self.path = path
        self.note = ""
        self.refused_rows = 0
        self._connector = connector
        self._connection: sqlite3.Connection | None = None
        self._identity: tuple[int, int] | None = None
        self._is_suspect = False
        self._unreadable_looks = 0

    def __enter__(self) -> Self:
        self.open()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def open(self) -> None:
        """Open, migrate and check the diary; set a damaged one aside and begin a new one.

        Every later call does this by itself where needed. Raises DiaryUnavailable.
        """
        self._opened()

    def write(self, batch: DiaryBatch) -> None:
        """Write the batch in one transaction; on return it is on the card. Raises DiaryUnavailable."""
        todo, refused = statements(batch)
        self._run(lambda connection: _transact(connection, todo))
        self.refused_rows += refused

    def prune(self, now_s: float, rule: PruneRule | None = None) -> int:
        """Check the whole file, then drop what is too old or too much; returns the number of rows dropped.

        Meant for once a day, with a wall clock known to be right. Raises DiaryUnavailable.
        """
        limits = rule or PruneRule()

        def check_and_prune(connection: sqlite3.Connection) -> int:
            check(connection)
            return prune(connection, now_s, limits)

        return self._run(check_and_prune)

    def recall(self, band: str) -> Recall:
        """What a watch of ``band`` needs to go on as if nothing had happened. Raises DiaryUnavailable."""
        return self._run(lambda connection: recall(connection, band))

    def checkpoints(self) -> dict[str, str]:
        """Where each source stood, as its own JSON text, at the last write. Raises DiaryUnavailable."""
        return self._run(checkpoints)

    def close(self) -> None:
        """Close the file. A later call opens it again."""
        connection, self._connection = self._connection, None
        if connection is not None:
            with suppress(sqlite3.Error):  # nothing is at stake: every batch is on the card already
                connection.close()

    def _run(self, work: Callable[[sqlite3.Connection], Result]) -> Result:
        connection = self._opened()
        try:
            return work(connection)
        except sqlite3.Error as error:
            self._is_suspect = error_code(error) in DAMAGED
            if error_code(error) not in PASSING or connection.in_transaction:
                self.close()
            raise unavailable(self.path, error) from error

    def _opened(self) -> sqlite3.Connection:
        if self._connection is not None and file_identity(self.path) != self._identity:
            self.close()  # somebody moved the file away: rows would go on into a file without a name
        if self._connection is None:
            self._connection = self._open_or_begin_anew()
            self._identity = file_identity(self.path)
            self._is_suspect, self._unreadable_looks = False, 0
        return self._connection

    def _open_or_begin_anew(self) -> sqlite3.Connection:
        try:
            connection = self._open_unless_damaged(self._is_suspect)
            if connection is not None:
                return connection
            self._bear_what_cannot_be_read()
            connection = self._open_unless_damaged(is_suspect=True)
            return self._begin_anew() if connection is None else connection
        except (sqlite3.Error, OSError) as error:
            raise unavailable(self.path, error) from error

    def _open_unless_damaged(self, is_suspect: bool) -> sqlite3.Connection | None:
        try:
            return open_checked(self.path, self._connector, is_suspect)
        except sqlite3.DatabaseError as error:
            if error_code(error) not in DAMAGED:
                raise
            return None

    def _bear_what_cannot_be_read(self) -> None:
        """Raises DiaryUnavailable the first times that the card fails to read, whatever SQLite calls it."""
        self._unreadable_looks = 0 if is_readable(self.path) else self._unreadable_looks + 1
        if 0 < self._unreadable_looks < UNREADABLE_LOOKS:
            raise unavailable(self.path, OSError(errno.EIO, os.strerror(errno.EIO)))

    def _begin_anew(self) -> sqlite3.Connection:
        aside = set_aside(self.path)
        connection = open_checked(self.path, self._connector, is_suspect=False)
        saved = salvage(aside, connection)
        self.note = f"the diary was damaged, is kept as {aside} and begun anew: {saved} rows saved"
        return connection


def _transact(connection: sqlite3.Connection, todo: list[Statement]) -> None:
    connection.execute("BEGIN IMMEDIATE")
    try:
        for sql, parameters in todo:
            connection.execute(sql, parameters)
        connection.execute("COMMIT")
    except BaseException:
        with suppress(sqlite3.Error):  # the first failure is the one to report
            roll_back(connection)
        raise
