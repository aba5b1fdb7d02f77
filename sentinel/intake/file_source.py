"""A text file as a source: a thread that sleeps until the file changes and delivers its new lines.

The file rules live in ``file_tail``; here is only when to look. Where inotify is not to be had, or is deaf (a
network share does not tell what other machines write), the file is looked at once a second instead.
"""

import errno
import logging
import time
from contextlib import closing, suppress
from dataclasses import replace
from pathlib import Path

from inotify_simple import INotify, flags

from sentinel.intake.checkpoint import FileCheckpoint
from sentinel.intake.file_tail import BACKLOG_BYTES, FileTail
from sentinel.intake.source import Deliver, SourceHealth
from sentinel.intake.source_thread import SourceThread

# Finds what inotify cannot tell, such as a share that was mounted over the directory.
STAT_EVERY_S = 30.0
# Without inotify: half the wake-ups that the daemon may have (2 a second), a small part of the shortest slot.
POLL_EVERY_S = 1.0

_FILE_EVENTS = flags.MODIFY | flags.ATTRIB | flags.MOVE_SELF | flags.DELETE_SELF
_DIRECTORY_EVENTS = flags.CREATE | flags.MOVED_TO | flags.MOVED_FROM | flags.DELETE | flags.ONLYDIR

_log = logging.getLogger(__name__)


class FileSource:
    """Tails ``path`` from ``checkpoint``, or at first from its last ``backlog_bytes``."""

    def __init__(
        self,
        name: str,
        path: Path,
        *,
        checkpoint: FileCheckpoint | None = None,
        backlog_bytes: int = BACKLOG_BYTES,
        uses_inotify: bool = True,
    ) -> None:
        self.name = name
        self._path = path
        self._tail = FileTail(path, name, checkpoint=checkpoint, backlog_bytes=backlog_bytes, say=self._say)
        self._uses_inotify = uses_inotify
        self._health = SourceHealth()
        self._checkpoint = checkpoint
        self._thread = SourceThread(name)

    def start(self, deliver: Deliver) -> None:
        """Begin to deliver batches from a thread of its own."""
        self._thread.start(lambda: self._run(deliver))

    def stop(self, timeout_s: float = 2.0) -> bool:
        """End the thread; true if it ended in time. A ``deliver`` that blocks keeps it."""
        return self._thread.stop(timeout_s)

    def health(self) -> SourceHealth:
        """The health after the last look."""
        if self._thread.has_died:
            return replace(self._health, trouble=f"the thread of source {self.name} has ended")
        return self._health

    def checkpoint(self) -> FileCheckpoint | None:
        """The place behind the last batch delivered."""
        return self._checkpoint

    def _run(self, deliver: Deliver) -> None:
        try:
            if self._uses_inotify:
                self._run_on_alarm(deliver)
            while not self._thread.is_stopping:
                self._look(deliver)
                self._thread.wait(POLL_EVERY_S)
        finally:
            self._tail.close()

    def _run_on_alarm(self, deliver: Deliver) -> None:
        """Until stopped, or until inotify turns out to be of no use."""
        try:
            with closing(_Alarm(self._path)) as alarm:
                while not self._thread.is_stopping:
                    alarm.watch()  # before looking, so that nothing falls between
                    is_unheard = self._look(deliver) and not alarm.has_rung
                    if is_unheard and not self._thread.wait(0, alarm.fd):
                        self._say(f"{self._path} changes unannounced; looking every {POLL_EVERY_S:g} s")
                        return
                    self._thread.wait(STAT_EVERY_S, alarm.fd)
                    alarm.hear()
        except OSError as error:
            self._say(f"no inotify ({error.strerror}); looking every {POLL_EVERY_S:g} s")

    def _look(self, deliver: Deliver) -> bool:
        found_lines = False
        last_line_s = self._health.last_line_s
        for batch in self._tail.poll():
            found_lines = True
            deliver(batch)
            self._checkpoint = batch.checkpoint
            last_line_s = time.monotonic()
            if self._thread.is_stopping:
                break
        else:
            self._checkpoint = self._tail.checkpoint()
        tail = self._tail
        self._health = SourceHealth(
            tail.is_there, last_line_s, tail.lines, tail.discarded, tail.replaced, tail.trouble
        )
        return found_lines

    def _say(self, sentence: str) -> None:
        _log.warning("source %s: %s", self.name, ascii(sentence)[1:-1])


class _Alarm:
    """inotify on the file and on its directory."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._inotify = INotify()
        self.fd: int = self._inotify.fileno()
        self._file_watch: int | None = None
        self.has_rung = True

    def close(self) -> None:
        self._inotify.close()

    def watch(self) -> None:
        """Watch what the path leads to now; OSError if the kernel has no watches left."""
        self._added(self._path.parent, _DIRECTORY_EVENTS)
        watch = self._added(self._path, _FILE_EVENTS)
        if watch is None or watch == self._file_watch:
            return
        if self._file_watch is not None:
            with suppress(OSError):  # gone by itself when the old file was deleted
                self._inotify.rm_watch(self._file_watch)
        self._file_watch = watch

    def _added(self, path: Path, events: int) -> int | None:
        try:
            return int(self._inotify.add_watch(path, events))
        except OSError as error:
            if error.errno in (errno.ENOSPC, errno.ENOMEM):
                raise
            return None  # not there, or not ours to read: the next stat tells

    def hear(self) -> None:
        """Take the events that have come."""
        self.has_rung = bool(self._inotify.read(timeout=0))
