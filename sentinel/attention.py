"""What the operator has asked for: quiet for a while, or nothing more of what is known. Pure.

Times are event time, seconds since 1970 UTC.
"""

import math
from dataclasses import dataclass
from typing import Any

from sentinel.watch.bulletin import State


@dataclass(slots=True)
class Attention:
    """``muted_until_s`` is infinite for "until unmute"; ``is_acknowledged`` lasts until the state changes."""

    muted_until_s: float = -math.inf
    is_acknowledged: bool = False

    def is_muted(self, now_s: float) -> bool:
        return now_s < self.muted_until_s

    def mute(self, now_s: float, minutes: float | None = None) -> None:
        """Say nothing for so many minutes, by default until ``unmute``."""
        self.muted_until_s = math.inf if minutes is None else now_s + 60.0 * minutes

    def unmute(self) -> None:
        self.muted_until_s = -math.inf

    def acknowledge(self, state: State) -> bool:
        """Somebody knows; False where there is nothing to know of."""
        self.is_acknowledged = state is not State.QUIET
        return self.is_acknowledged

    def state_changed(self) -> None:
        """What was acknowledged is over."""
        self.is_acknowledged = False

    def as_json(self) -> dict[str, Any]:
        """For the next start; None stands for no end."""
        until_s = self.muted_until_s
        return {
            "muted": until_s > -math.inf,
            "muted_until_s": until_s if math.isfinite(until_s) else None,
            "acknowledged": self.is_acknowledged,
        }

    @staticmethod
    def from_json(data: Any) -> "Attention":
        """As before the restart; nothing asked for where that cannot be read."""
        try:
            until_s = math.inf if data["muted_until_s"] is None else float(data["muted_until_s"])
            return Attention(until_s if data["muted"] else -math.inf, bool(data["acknowledged"]))
        except (KeyError, TypeError, ValueError):
            return Attention()
