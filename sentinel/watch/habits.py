"""Regulars: stations that are heard here on most days, so that hearing them means nothing unusual.

A neighbour with a big antenna at 600 km, heard by troposcatter every evening, or a permanent beacon: both are
beyond ``far_km`` and neither makes an opening. Days and hours are counted in event time.
"""

from collections import OrderedDict
from collections.abc import Mapping, Sequence

REMEMBERED_DAYS = 14
REMEMBERED_CALLS = 3_000
LEAST_DAYS = 3
"""Earlier days on which a regular was heard: two may be one long opening."""
SHARE_OF_DAYS = 0.6
TROPO_KM = 900.0
"""Troposcatter reaches some 800 km (common practice); beyond, being heard on most days is not enough:
in its season sporadic E comes on most days too."""
HOURS_A_DAY = 10
"""Beyond ``TROPO_KM`` a regular is heard in so many hours a day on average: no opening lasts so long."""
BUSY_HOURS = 3
"""Of a day: who was heard in fewer was far from ``HOURS_A_DAY``, and of those the days alone are kept over a
restart, in the diary. There are thousands of them in a season."""
DAY_S = 86_400


class Habits:
    """Counts the days and hours in which each far station was heard."""

    def __init__(self, days_heard: Mapping[str, frozenset[int]], watched_days: frozenset[int]) -> None:
        self._heard: OrderedDict[str, dict[int, int]] = OrderedDict(
            (call, dict.fromkeys(sorted(days)[-REMEMBERED_DAYS:], 1))
            for call, days in list(days_heard.items())[-REMEMBERED_CALLS:]
        )
        self._noted: OrderedDict[str, int] = OrderedDict()
        self._judged: OrderedDict[tuple[str, int], bool] = OrderedDict()
        self._watched: list[int] = sorted(watched_days)[-REMEMBERED_DAYS:]

    def busy(self) -> dict[str, dict[int, int]]:
        """Call to day to hours, a bit each, of who was heard for hours, or lately; the latest at the end."""
        yesterday = self._watched[-1] - 1 if self._watched else 0
        return {
            call: dict(days)
            for call, days in self._heard.items()
            if max(days) >= yesterday or max(mask.bit_count() for mask in days.values()) >= BUSY_HOURS
        }

    def days_heard(self) -> dict[str, frozenset[int]]:
        """The days on which each station was heard, the latest heard at the end."""
        return {call: frozenset(days) for call, days in self._heard.items()}

    @property
    def watched_days(self) -> tuple[int, ...]:
        return tuple(self._watched)

    def take_up(self, busy: Mapping[str, Mapping[int, int]], watched_days: Sequence[int]) -> None:
        """Go on from what a watch before this one knew."""
        for call, days in busy.items():
            if days:
                self._heard[call] = dict(days)
                self._heard.move_to_end(call)
        while len(self._heard) > REMEMBERED_CALLS:
            self._heard.popitem(last=False)
        self._watched = sorted(watched_days)

    def watched(self, at_s: float) -> None:
        """The watch was running at this time."""
        day = int(at_s // DAY_S)
        if not self._watched or day > self._watched[-1]:
            self._watched.append(day)
            del self._watched[: -REMEMBERED_DAYS - 1]

    def heard(self, call: str, at_s: float) -> None:
        """A believed far station was heard."""
        hours = int(at_s // 3600)
        if self._noted.get(call) == hours:
            return
        self._noted[call] = hours
        if len(self._noted) > REMEMBERED_CALLS:
            self._noted.popitem(last=False)
        day, hour = hours // 24, hours % 24
        days = self._heard.setdefault(call, {})
        days[day] = days.get(day, 0) | 1 << hour
        self._heard.move_to_end(call)
        if len(days) > REMEMBERED_DAYS + 1:
            del days[min(days)]
        if len(self._heard) > REMEMBERED_CALLS:
            self._heard.popitem(last=False)

    def was_heard_other_days(self, call: str, at_s: float) -> bool:
        today = int(at_s // DAY_S)
        return any(day < today for day in self._heard.get(call, ()))

    def is_regular(self, call: str, distance_km: float, at_s: float) -> bool:
        """Whether hearing ``call`` now is no news, judged by the days before today."""
        key = call, int(at_s // DAY_S)
        if (known := self._judged.get(key)) is None:
            known = self._judged[key] = self._judge(call, distance_km, key[1])
            if len(self._judged) > REMEMBERED_CALLS:
                self._judged.popitem(last=False)
        return known

    def _judge(self, call: str, distance_km: float, today: int) -> bool:
        days = self._heard.get(call)
        if days is None:
            return False
        earlier = [day for day in self._watched if today - REMEMBERED_DAYS <= day < today]
        heard = [days[day] for day in earlier if day in days]
        if len(heard) < LEAST_DAYS or len(heard) < SHARE_OF_DAYS * len(earlier):
            return False
        hours = sum(mask.bit_count() for mask in heard) / len(heard)
        return distance_km <= TROPO_KM or hours >= HOURS_A_DAY
