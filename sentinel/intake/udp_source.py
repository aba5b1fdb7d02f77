"""Datagrams of text as a source: each holds whole lines."""

import logging
import socket
import time
from dataclasses import replace

from sentinel.intake.checkpoint import FileCheckpoint
from sentinel.intake.line import LineBatch
from sentinel.intake.line_buffer import LineBuffer
from sentinel.intake.source import Deliver, SourceHealth
from sentinel.intake.source_thread import Backoff, SourceThread

_LONGEST_DATAGRAM = 65_535
# One batch takes at most so many datagrams, so that a flood does not grow in memory before it is delivered.
_MOST_DATAGRAMS = 200

_log = logging.getLogger(__name__)


class UdpSource:
    """Listens on ``host`` and ``port``. Anyone who can reach the port can feed lines: keep it on loopback."""

    def __init__(self, name: str, host: str, port: int) -> None:
        self.name = name
        self._address = (host, port)
        self._buffer = LineBuffer()
        self._health = SourceHealth()
        self._thread = SourceThread(name)

    @property
    def port(self) -> int:
        """The port listened on; the system's choice once bound, if 0 was asked for."""
        return self._address[1]

    def start(self, deliver: Deliver) -> None:
        """Begin to deliver batches from a thread of its own."""
        self._thread.start(lambda: self._run(deliver))

    def stop(self, timeout_s: float = 2.0) -> bool:
        """End the thread; true if it ended in time."""
        return self._thread.stop(timeout_s)

    def health(self) -> SourceHealth:
        """The health after the last datagram."""
        if self._thread.has_died:
            return replace(self._health, trouble=f"the thread of source {self.name} has ended")
        return self._health

    def checkpoint(self) -> FileCheckpoint | None:
        """Always ``None``: a datagram cannot be read again."""
        return None

    def _run(self, deliver: Deliver) -> None:
        backoff = Backoff()
        while not self._thread.is_stopping:
            try:
                with self._bound() as listening:
                    backoff.reset()
                    self._listen(listening, deliver)
            except OSError as error:  # the address is not ours yet, or another program has the port
                self._fail(error)
                self._thread.wait(backoff.next_s())

    def _bound(self) -> socket.socket:
        family, kind, protocol, _, address = socket.getaddrinfo(*self._address, type=socket.SOCK_DGRAM)[0]
        listening = socket.socket(family, kind, protocol)
        try:
            listening.bind(address)
        except OSError:
            listening.close()
            raise
        listening.setblocking(False)
        return listening

    def _listen(self, listening: socket.socket, deliver: Deliver) -> None:
        self._address = (self._address[0], listening.getsockname()[1])
        if self._health.trouble is not None:
            _log.warning("source %s: listens again", self.name)
        self._health = replace(self._health, is_there=True, trouble=None)
        while not self._thread.is_stopping:
            if self._thread.wait(None, listening.fileno()):
                self._deliver(self._texts(listening), deliver)

    def _texts(self, listening: socket.socket) -> list[str]:
        texts: list[str] = []
        for _ in range(_MOST_DATAGRAMS):
            try:
                datagram = listening.recv(_LONGEST_DATAGRAM)
            except BlockingIOError:
                break
            texts += self._buffer.feed(datagram) + self._buffer.finish()
        return texts

    def _deliver(self, texts: list[str], deliver: Deliver) -> None:
        if texts:
            deliver(LineBatch(self.name, tuple(texts)))
            self._health = replace(
                self._health, last_line_s=time.monotonic(), lines=self._health.lines + len(texts)
            )
        self._health = replace(self._health, discarded=self._buffer.discarded, replaced=self._buffer.replaced)

    def _fail(self, error: OSError) -> None:
        host, port = self._address
        sentence = f"cannot listen on {host} port {port}: {error.strerror}"
        if self._health.trouble is None:
            _log.warning("source %s: %s", self.name, sentence)
        self._health = replace(self._health, is_there=False, trouble=sentence)
