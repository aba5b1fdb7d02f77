"""What every source of lines has in common, for the daemon that runs them."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from sentinel.intake.checkpoint import FileCheckpoint
from sentinel.intake.line import LineBatch

Deliver = Callable[[LineBatch], None]
"""Takes a batch from the source's own thread. It may block: a file waits, a serial line or UDP then loses."""


@dataclass(frozen=True, slots=True)
class SourceHealth:
    """A source at one instant. ``last_line_s`` is on the monotonic clock; counts are since the start."""

    is_there: bool = False
    last_line_s: float | None = None
    lines: int = 0
    discarded: int = 0
    """Lines thrown away: overlong, or cut off by a rotation or an unplugged cable."""
    replaced: int = 0
    """Lines with bytes that are not UTF-8."""
    trouble: str | None = None
    """One sentence while something is wrong, else ``None``."""


class Source(Protocol):
    """Runs in its own thread between ``start`` and ``stop``; sleeps while nothing arrives."""

    name: str

    def start(self, deliver: Deliver) -> None:
        """Begin to deliver batches."""

    def stop(self, timeout_s: float = 2.0) -> bool:
        """End the thread; true if it ended within ``timeout_s``."""

    def health(self) -> SourceHealth:
        """How the source is doing; may be called from any thread."""

    def checkpoint(self) -> FileCheckpoint | None:
        """The place behind the last batch delivered, for a source that can be read again."""
