"""The thread of a source: it sleeps until a descriptor has something, or until it is told to stop."""

import os
import select
import threading
from collections.abc import Callable

# After a loss the wait doubles from the first to the last: soon enough for a replug, and a port that stays
# away costs one wake-up a minute.
FIRST_RETRY_S = 1.0
LAST_RETRY_S = 60.0


class SourceThread:
    """Runs one function in a thread until ``stop``; the function waits only here."""

    def __init__(self, name: str) -> None:
        self.is_stopping = False
        self._name = name
        self._wake_fd = os.eventfd(0, os.EFD_CLOEXEC | os.EFD_NONBLOCK)
        self._thread: threading.Thread | None = None

    @property
    def has_died(self) -> bool:
        """True if the function ended although nobody told it to: a fault of ours."""
        return self._thread is not None and not self._thread.is_alive() and not self.is_stopping

    def start(self, run: Callable[[], None]) -> None:
        """Begin to run."""
        self._thread = threading.Thread(target=run, name=f"source {self._name}", daemon=True)
        self._thread.start()

    def stop(self, timeout_s: float) -> bool:
        """End every wait, for good; true if the thread ended in time."""
        self.is_stopping = True
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

    def wait(self, timeout_s: float | None, *fds: int) -> bool:
        """Sleep until one of ``fds`` is readable or hung up (true), ``timeout_s`` passes, or ``stop``."""
        poll = select.poll()  # not select(), which fails on descriptors from 1024 up
        for fd in (self._wake_fd, *fds):
            poll.register(fd, select.POLLIN)
        ready = poll.poll(None if timeout_s is None else timeout_s * 1000)
        return any(fd in fds for fd, _ in ready)


class Backoff:
    """The waits between attempts: doubling, and short again after ``reset``."""

    def __init__(self) -> None:
        self._next_s = FIRST_RETRY_S

    def reset(self) -> None:
        """The attempt succeeded."""
        self._next_s = FIRST_RETRY_S

    def next_s(self) -> float:
        """How long to wait before the next attempt."""
        wait_s, self._next_s = self._next_s, min(2 * self._next_s, LAST_RETRY_S)
        return wait_s
