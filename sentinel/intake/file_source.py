"""A text file as a source: a thread that sleeps until the file changes and delivers its new lines.

The file rules live in ``file_tail``; here is only when to look. Where inotify is not to be had, or is deaf (a
network share does not tell what other machines write), the file is looked at once a second instead.
"""

import errno
import logging
import os
import select
import threading
import time
from contextlib import closing, suppress
from dataclasses import replace
from pathlib import Path

from inotify_simple import INotify, flags

from sentinel.intake.checkpoint import FileCheckpoint
from sentinel.intake.file_tail import BACKLOG_BYTES, FileTail
from sentinel.intake.source import Deliver, SourceHealth

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
        self._wake_fd = os.eventfd(0, os.EFD_CLOEXEC | os.EFD_NONBLOCK)
        self._is_stopping = False
        self._thread: threading.Thread | None = None

    def start(self, deliver: Deliver) -> None:
        """Begin to deliver batches from a thread of its own."""
        self._thread = threading.Thread(
            target=self._run, args=(deliver,), name=f"source {self.name}", daemon=True
        )
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> bool:
        """End the thread; true if it ended in time. A ``deliver`` that blocks keeps it."""
        self._is_stopping = True
        if self._wake_fd < 0:
            return True
        os.eventfd_write(self._wake_fd, 1)
        if self._thread is not None:
            self._thread.join(timeout_s)
            if self._thread.is_alive():
                return False
        os.close(self._wake_fd)
        self._wake_fd = -1
        return True

    def health(self) -> SourceHealth:
        """The health after the last look."""
        thread = self._thread
        if thread is not None and not thread.is_alive() and not self._is_stopping:
            return replace(self._health, trouble=f"the thread of source {self.name} has ended")
        return self._health

    def checkpoint(self) -> FileCheckpoint | None:
        """The place behind the last batch delivered."""
        return self._checkpoint

    def _run(self, deliver: Deliver) -> None:
        try:
            if self._uses_inotify:
                self._run_on_alarm(deliver)
            wake = select.poll()
            wake.register(self._wake_fd, select.POLLIN)
            while not self._is_stopping:
                self._look(deliver)
                wake.poll(POLL_EVERY_S * 1000)
        finally:
            self._tail.close()

    def _run_on_alarm(self, deliver: Deliver) -> None:
        """Until stopped, or until inotify turns out to be of no use."""
        try:
            with closing(_Alarm(self._path, self._wake_fd)) as alarm:
                while not self._is_stopping:
                    alarm.watch()  # before looking, so that nothing falls between
                    if self._look(deliver) and alarm.is_deaf():
                        self._say(f"{self._path} changes unannounced; looking every {POLL_EVERY_S:g} s")
                        return
                    alarm.wait()
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
            if self._is_stopping:
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
    """inotify on the file and on its directory, together with the descriptor that ends the wait."""

    def __init__(self, path: Path, wake_fd: int) -> None:
        self._path = path
        self._inotify = INotify()
        self._poll = select.poll()
        self._poll.register(wake_fd, select.POLLIN)
        self._poll.register(self._inotify.fileno(), select.POLLIN)
        self._file_watch: int | None = None
        self._has_rung = True

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

    def wait(self) -> None:
        """Sleep until something changes, the source is stopped, or it is time for a stat."""
        self._poll.poll(STAT_EVERY_S * 1000)
        self._has_rung = bool(self._inotify.read(timeout=0))

    def is_deaf(self) -> bool:
        """True if the last wait ended without an event and none has come since."""
        return not self._has_rung and not self._poll.poll(0)
