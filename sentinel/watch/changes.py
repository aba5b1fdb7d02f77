"""What the core hands back: the things that changed, in the order in which they happened."""

from dataclasses import dataclass
from enum import StrEnum

from sentinel.watch.bulletin import Bulletin, Notable, Opening


class Phase(StrEnum):
    """The ends of an opening's life."""

    BEGAN = "began"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class StateChanged:
    """The state is another one now; ``bulletin.previous`` is None for the first verdict."""

    at_s: float
    bulletin: Bulletin


@dataclass(frozen=True, slots=True)
class OpeningChanged:
    """An opening began or ended."""

    at_s: float
    phase: Phase
    opening: Opening


@dataclass(frozen=True, slots=True)
class NotableHappened:
    """Something worth a notification happened."""

    at_s: float
    notable: Notable


Change = StateChanged | OpeningChanged | NotableHappened
