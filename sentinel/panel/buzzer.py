"""The buzzer, silent unless the configuration asks for it: once for an opening, never at night.

It announces beginnings. An opening that was already under way when the watch started, or that began at night
or behind an acknowledgement, is not announced later.
"""

from collections import deque

from sentinel.watch.bulletin import Bulletin, State

BEEP_S, PAUSE_S, BEEPS = 0.08, 0.12, 2
FRESH_S = 600.0  # an opening older than this is no news, for instance after a restart
REMEMBERED = 100  # openings; more than a day has


class BuzzerRule:
    """Decides whether a bulletin is worth a sound. Feed it every bulletin, in order."""

    def __init__(self, is_enabled: bool = False) -> None:
        self._is_enabled = is_enabled
        self._known: deque[str] = deque(maxlen=REMEMBERED)

    def should_sound(self, bulletin: Bulletin, is_night: bool) -> bool:
        living = [opening for opening in bulletin.openings if opening.ended_at_s is None]
        new = [opening for opening in living if opening.id not in self._known]
        self._known.extend(opening.id for opening in new)
        is_fresh = any(bulletin.at_s - opening.began_at_s <= FRESH_S for opening in new)
        may_sound = self._is_enabled and not is_night and not bulletin.is_acknowledged
        return may_sound and is_fresh and bulletin.state is State.OPEN
