"""What serial lines, named pipes and standard input share: an open descriptor, lost and opened again.

The bytes cannot be read a second time, so there is no checkpoint, and half a line that a loss cuts off is
dropped and counted.
"""

import logging
import os
import time
from abc import ABC, abstractmethod
from dataclasses import replace

from sentinel.errors import RunError
from sentinel.intake.checkpoint import FileCheckpoint
from sentinel.intake.line import LineBatch
from sentinel.intake.line_buffer import LineBuffer
from sentinel.intake.source import Deliver, SourceHealth
from sentinel.intake.source_thread import Backoff, SourceThread

# As much as a pipe holds by default on Linux, and a second of the fastest serial line.
_CHUNK_BYTES = 65_536

_log = logging.getLogger(__name__)


class StreamLostError(RunError):
    """The stream is gone, with one sentence for the operator; it is opened again after a wait."""


class StreamEndedError(RunError):
    """The stream is over for good."""


class StreamSource(ABC):
    """Reads lines from one descriptor at a time, in a thread of its own."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._buffer = LineBuffer()
        self._health = SourceHealth()
        self._cut_off = 0
        self._thread = SourceThread(name)

    @abstractmethod
    def _open(self) -> int:
        """Open the stream and return its descriptor, not blocking; raises StreamLostError."""

    @abstractmethod
    def _close(self) -> None:
        """Close what ``_open`` opened; harmless if nothing is open."""

    def _at_end(self) -> None:
        """What an end of file means: raises one of the errors above, or returns to open again at once."""
        raise StreamLostError(f"source {self.name} has ended")

    def start(self, deliver: Deliver) -> None:
        """Begin to deliver batches from a thread of its own."""
        self._thread.start(lambda: self._run(deliver))

    def stop(self, timeout_s: float = 2.0) -> bool:
        """End the thread; true if it ended in time."""
        return self._thread.stop(timeout_s)

    def health(self) -> SourceHealth:
        """The health after the last read."""
        if self._thread.has_died and self._health.trouble is None:
            return replace(self._health, trouble=f"the thread of source {self.name} has ended")
        return self._health

    def checkpoint(self) -> FileCheckpoint | None:
        """Always ``None``: a stream cannot be read again."""
        return None

    def _run(self, deliver: Deliver) -> None:
        backoff = Backoff()
        try:
            while not self._thread.is_stopping:
                try:
                    self._read_until_lost(deliver, backoff)
                except StreamLostError as loss:
                    self._lose(str(loss))
                    self._thread.wait(backoff.next_s())
        except StreamEndedError as end:
            self._deliver(self._buffer.finish(), deliver)
            self._lose(str(end))
        finally:
            self._close()

    def _read_until_lost(self, deliver: Deliver, backoff: Backoff) -> None:
        fd = self._open()
        self._find()
        while not self._thread.is_stopping:
            if not self._thread.wait(None, fd):
                continue
            try:
                chunk = os.read(fd, _CHUNK_BYTES)
            except BlockingIOError:
                continue
            except OSError as error:  # a serial adapter was pulled out
                raise StreamLostError(f"source {self.name} is gone: {error.strerror}") from error
            if not chunk:
                self._at_end()
                return self._close()
            backoff.reset()
            self._deliver(self._buffer.feed(chunk), deliver)
        return None

    def _deliver(self, texts: list[str], deliver: Deliver) -> None:
        if texts:
            deliver(LineBatch(self.name, tuple(texts)))
            self._health = replace(
                self._health, last_line_s=time.monotonic(), lines=self._health.lines + len(texts)
            )
        self._count()

    def _count(self) -> None:
        discarded = self._buffer.discarded + self._cut_off
        self._health = replace(self._health, discarded=discarded, replaced=self._buffer.replaced)

    def _find(self) -> None:
        if self._health.trouble is not None:
            _log.warning("source %s: is there again", self.name)
        self._health = replace(self._health, is_there=True, trouble=None)

    def _drop_half_line(self) -> None:
        self._cut_off += self._buffer.is_waiting
        self._buffer.clear()
        self._count()

    def _lose(self, sentence: str) -> None:
        self._close()
        self._drop_half_line()
        if self._health.trouble is None:
            _log.warning("source %s: %s", self.name, ascii(sentence)[1:-1])
        self._health = replace(self._health, is_there=False, trouble=sentence)
