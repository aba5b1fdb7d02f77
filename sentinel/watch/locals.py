"""All usual neighbours silent at once: how improbable that is, learned hour by hour.

For each near station and hour of the day the watch counts on how many days it was heard in that hour, of the
days on which the watch ran then. If none of them is heard for an hour, the chance of that is the product of
their chances to be silent, (missed + 1/2) / (watched + 1) each (Jeffreys' estimate). Neighbours sleep, hence
the hour of the day; they are on holiday, hence several of them or several days are needed.
"""

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field

SILENCE_S = 3600.0
IMPROBABLE = 0.001
"""Once in a thousand such hours by chance: about once in a year and a half of evenings."""
LEAST_DAYS = 3
KEPT_DAYS = 10
KEPT_STATIONS = 500
DAY_S = 86_400


@dataclass(slots=True)
class Locals:
    """Learns when each neighbour is usually heard; in event time."""

    _heard: OrderedDict[str, dict[int, int]] = field(default_factory=OrderedDict)
    _watched: dict[int, int] = field(default_factory=dict)
    last_at_s: float | None = None
    _worst: tuple[float, int] = (1.0, 0)
    _judged: tuple[int, float, int] = (-1, 1.0, 0)

    def watched(self, at_s: float) -> None:
        """The watch ran in this hour."""
        day, hour = int(at_s // DAY_S), int(at_s // 3600) % 24
        mask = self._watched.get(day, 0)
        if not mask >> hour & 1:
            self._watched[day] = mask | 1 << hour
            for old in [d for d in self._watched if d <= day - KEPT_DAYS]:
                del self._watched[old]

    def heard(self, call: str, at_s: float) -> None:
        """A near station was heard."""
        if self.last_at_s is None or at_s > self.last_at_s:
            self.last_at_s = at_s
        self._worst = 1.0, 0
        day, hour = divmod(int(at_s // 3600), 24)
        days = self._heard.get(call)
        if days is None:
            days = self._heard[call] = {}
        self._heard.move_to_end(call)
        mask = days.get(day, 0)
        if mask >> hour & 1:
            return
        days[day] = mask | 1 << hour
        for old in [d for d in days if d <= day - KEPT_DAYS]:
            del days[old]
        if len(self._heard) > KEPT_STATIONS:
            self._heard.popitem(last=False)

    def habits(self) -> dict[str, dict[int, int]]:
        """Call to day to hours, a bit each, of the days that still count; the latest heard at the end."""
        oldest = max(self._watched, default=0) - KEPT_DAYS
        found = (
            (call, {day: mask for day, mask in days.items() if day > oldest})
            for call, days in self._heard.items()
        )
        return {call: days for call, days in found if days}

    @property
    def watched_hours(self) -> Mapping[int, int]:
        """Day to the hours of it in which the watch ran, a bit each; of the last days, as it goes on."""
        return self._watched

    @property
    def silence(self) -> tuple[float, int]:
        """The least chance that an hour of the present silence had, as last judged."""
        return self._worst

    def take_up(
        self,
        habits: Mapping[str, Mapping[int, int]],
        watched_hours: Mapping[int, int],
        last_at_s: float | None,
        silence: tuple[float, int],
    ) -> None:
        """Go on from what a watch before this one knew."""
        self._heard = OrderedDict((call, dict(days)) for call, days in habits.items())
        self._watched = dict(watched_hours)
        self.last_at_s, self._worst = last_at_s, silence

    def chance_of_silence(self, at_s: float) -> tuple[float, int]:
        """The least chance that an hour of the present silence had, and how many stations say so.

        1 while somebody was heard in the hour before ``at_s``, or while too little is known. It does not rise
        again until somebody is heard: bedtime mends no receiver.
        """
        self._worst = min(self._worst, self._chance_in_hour(at_s))
        return self._worst

    def _chance_in_hour(self, at_s: float) -> tuple[float, int]:
        if self.last_at_s is None or at_s - self.last_at_s < SILENCE_S:
            return 1.0, 0
        hours = int((at_s - SILENCE_S / 2) // 3600)
        if hours != self._judged[0]:  # nobody was heard since, or it would not be silent
            self._judged = hours, *self._chance(hours // 24, hours % 24)
        return self._judged[1:]

    def _chance(self, today: int, hour: int) -> tuple[float, int]:
        days = [day for day, mask in self._watched.items() if day < today and mask >> hour & 1]
        if len(days) < LEAST_DAYS:
            return 1.0, 0
        chance, stations = 1.0, 0
        for masks in self._heard.values():
            present = sum(masks.get(day, 0) >> hour & 1 for day in days)
            if 2 * present > len(days):
                stations += 1
                chance *= (len(days) - present + 0.5) / (len(days) + 1)
        return chance, stations
