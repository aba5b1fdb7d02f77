"""Stamps that jump: a stray line is dropped, and a clock that was set does not disturb the watch.

Between two live lines about as much event time passes as the monotonic clock says. Where a line jumps and yet
agrees with the wall clock, the computer's clock was set, and from there on stamps are shifted, so that event
time goes on as if nothing had happened. Other jumps ahead are a decoder that paused, unless nobody agrees;
lines from the past are late, unless there is no end to them. Pure.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from sentinel.watch.decode import Decode

STRAY_S = 60.0
"""As far as the core bears late lines."""
LONGEST_PAUSE_S = 6 * 3600.0
"""A line farther ahead is only believed with others: one garbled date must not make all others late."""
AGREEING_LINES, AGREEING_STAMPS = 3, 2
"""A garbled line may be followed by others of its kind in one block, hardly by one of the next slot."""
LATE_LINES = 30
"""So many lines in a row from the past are no late ones: the clock that stamps them was set back."""
MOST_SUSPECTS = 1_000
GRID_S = 120.0
"""The longest slot. Shifts are multiples of it, so that slots stay where UTC puts them; and such that time
goes on by up to as much, never back: what comes late is heard, but moves nobody's last time."""


@dataclass(slots=True)
class LineTime:
    """``shift_s`` is added to every stamp."""

    shift_s: float = 0.0
    _suspects: list[Decode] = field(default_factory=list)
    _ahead_s: float = 0.0

    def believed(self, decode: Decode, expected_s: float, *, is_by_wall: bool = False) -> Sequence[Decode]:
        """The decodes to feed now, shifted: this one, none while it is doubted, or all that were doubted.

        ``expected_s`` is event time as the monotonic clock counts it; ``is_by_wall``: as it comes, the stamp
        agrees with the wall clock as stamps always did.
        """
        ahead_s = decode.at_s + self.shift_s - expected_s
        if abs(ahead_s) <= STRAY_S:
            self._suspects.clear()
            return (self.shifted(decode),)
        self._suspect(decode, ahead_s)
        if is_by_wall or (ahead_s < 0 and len(self._suspects) >= LATE_LINES):
            self.shift_s -= GRID_S * math.floor(ahead_s / GRID_S)
        elif ahead_s < 0 or (ahead_s > LONGEST_PAUSE_S and not self._agree()):
            return ()
        believed, self._suspects = self._suspects, []
        return tuple(self.shifted(each) for each in believed)

    def shifted(self, decode: Decode) -> Decode:
        """The decode with its stamp shifted."""
        return decode if self.shift_s == 0.0 else replace(decode, at_s=decode.at_s + self.shift_s)

    def _suspect(self, decode: Decode, ahead_s: float) -> None:
        if abs(ahead_s - self._ahead_s) > STRAY_S or len(self._suspects) >= MOST_SUSPECTS:
            self._suspects.clear()
            self._ahead_s = ahead_s
        self._suspects.append(decode)

    def _agree(self) -> bool:
        stamps = {each.at_s for each in self._suspects}
        return len(self._suspects) >= AGREEING_LINES and len(stamps) >= AGREEING_STAMPS
