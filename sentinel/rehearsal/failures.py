"""Failures of the receiving side, and what a listener could know of them."""

from collections.abc import Sequence
from dataclasses import dataclass

from sentinel.rehearsal.heard import Heard, Outage


@dataclass(frozen=True, slots=True)
class Failure:
    """Between two times lines are lost: all of them, or, with a canary named, all but the false ones."""

    began_s: float
    ended_s: float
    canary: str

    def loses(self, line: Heard) -> bool:
        """Whether the line is never printed."""
        return self.began_s <= line.at_s < self.ended_s and (line.is_true or not self.canary)

    def as_heard(self, kept: Sequence[Heard]) -> Outage:
        """The last line before and the first after it, of the canary where one is named."""
        times = [
            line.at_s
            for line in kept
            if not self.canary or (line.station is not None and line.station.call == self.canary)
        ]
        last = max((at_s for at_s in times if at_s < self.began_s), default=int(self.began_s))
        first = min((at_s for at_s in times if at_s >= self.ended_s), default=int(self.ended_s))
        return Outage(last, first, bool(self.canary))
