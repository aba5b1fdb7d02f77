"""The one queue into the main loop: bounded, and woken without polling, also from a signal handler."""

import os
import select
import threading
from collections import deque
from typing import Generic, TypeVar

Item = TypeVar("Item")

MOST_WAITING = 1_000
"""Batches. Each is a slot's lines or one block of a backlog (256 KiB): a file then waits, nothing is lost."""


class Inbox(Generic[Item]):
    """Many threads put, one takes."""

    def __init__(self, most_waiting: int = MOST_WAITING) -> None:
        self._items: deque[Item] = deque()
        self._room = threading.Semaphore(most_waiting)
        self._bell = os.eventfd(0, os.EFD_CLOEXEC | os.EFD_NONBLOCK)

    def put(self, item: Item) -> None:
        """Hand in an item; waits while the inbox is full."""
        self._room.acquire()
        self._items.append(item)
        self.ring()

    def offer(self, item: Item) -> None:
        """Hand in an item that is lost while the inbox is full; never waits."""
        if self._room.acquire(blocking=False):
            self._items.append(item)
            self.ring()

    def ring(self) -> None:
        """Wake the taker without an item; safe in a signal handler."""
        os.eventfd_write(self._bell, 1)

    def take(self, timeout_s: float) -> Item | None:
        """The oldest item; None after ``timeout_s`` or when somebody rang."""
        if not self._items:
            if not select.select([self._bell], [], [], max(0.0, timeout_s))[0]:
                return None
            os.eventfd_read(self._bell)
        if not self._items:
            return None
        item = self._items.popleft()
        self._room.release()
        return item
