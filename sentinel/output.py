"""What every output of the daemon has in common: it is handed the news and never makes anybody wait."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from sentinel.watch.bulletin import Bulletin, Part
from sentinel.watch.changes import Change


@dataclass(frozen=True, slots=True)
class News:
    """The bulletin as it stands. ``changes`` are what people are to be told; ``has_changed`` means that the
    state or an opening is another one since the last news. ``page`` is the one asked for at the panel;
    ``now_s`` is monotonic."""

    bulletin: Bulletin
    now_s: float
    changes: Sequence[Change] = ()
    has_changed: bool = False
    is_muted: bool = False
    page: int = 1


class Output(Protocol):
    """Takes the news at every change and every few seconds."""

    def take(self, news: News) -> None:
        """Hand it on to a thread of its own."""

    def parts(self) -> Sequence[Part]:
        """How it is, for people."""

    def stop(self) -> None:
        """Say what is still to be said, then end; bounded in time."""
