"""What the page was last told of each band: handed in by the daemon's thread, read in the page's.

The latest value wins; nobody ever waits in ``put``. A bulletin that says nothing new only moves the clock on.
"""

import asyncio
import threading
import time
from dataclasses import dataclass, replace

from sentinel.watch.bulletin import Bulletin


@dataclass(frozen=True, slots=True)
class Told:
    """``number`` is another one as soon as there is something new to show; ``came_s`` is monotonic."""

    bulletin: Bulletin
    is_muted: bool
    number: int
    came_s: float

    def age_s(self) -> float:
        """For how long nothing has come in: seconds, growing when the watch itself stands still."""
        return max(0.0, time.monotonic() - self.came_s)


class Mailbox:
    """The latest bulletin of each band."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._told: dict[str, Told] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._waiting: set[asyncio.Event] = set()

    def put(self, bulletin: Bulletin, is_muted: bool = False) -> None:
        """Hand in a bulletin; from any thread."""
        with self._lock:
            before = self._told.get(bulletin.band)
            is_news = before is None or not _same(before, bulletin, is_muted)
            number = (before.number if before else 0) + is_news
            self._told[bulletin.band] = Told(bulletin, is_muted, number, time.monotonic())
            loop = self._loop if is_news else None
            if loop is not None:
                loop.call_soon_threadsafe(self._wake)

    def latest(self, band: str) -> Told | None:
        """None as long as the band has had no bulletin."""
        with self._lock:
            return self._told.get(band)

    # --- in the page's own loop ---------------------------------------------------------------------

    def attach(self, loop: asyncio.AbstractEventLoop | None) -> None:
        """From now on news wakes those who wait in this loop; None before the loop is closed."""
        with self._lock:
            self._loop = loop

    def _wake(self) -> None:
        for event in self._waiting:
            event.set()

    async def news(self, timeout_s: float) -> None:
        """Return at the next news of any band, or after ``timeout_s``."""
        event = asyncio.Event()
        self._waiting.add(event)
        try:
            async with asyncio.timeout(timeout_s):
                await event.wait()
        except TimeoutError:
            return
        finally:
            self._waiting.discard(event)


def _same(before: Told, bulletin: Bulletin, is_muted: bool) -> bool:
    return before.is_muted == is_muted and replace(bulletin, at_s=before.bulletin.at_s) == before.bulletin
