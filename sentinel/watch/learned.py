"""What a watch has learned over days: small enough to be written every few minutes, complete enough that a
new watch goes on as the old one.

Whatever reaches back no further than an hour is not in here: it comes back when the latest decodes are fed
again. The two overlap, so everything here bears being told again: hours are bits of a mask, moments only
grow, and what is counted of before ``as_of_s`` is not counted again. Read back it is believed only if all of
it is well formed.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from math import isfinite
from typing import Any, TypeVar

from sentinel.trade.locator import is_locator

VERSION = 1
DAY_S = 86_400
HOUR_S = 3_600
MOST_FAR, MOST_NEAR, MOST_LOCATORS, MOST_TOLD = 1_000, 500, 1_000, 500
"""A full table of each is some 120 kB of JSON, a fifth of that compressed; a usual station has a few kB."""
MOST_DAYS = 16
LONGEST_TEXT = 64
ALL_HOURS = (1 << 24) - 1

Key = TypeVar("Key")
Value = TypeVar("Value")
HoursByDay = Mapping[int, int]
"""Day (number since 1970 UTC) to the hours of it, a bit each."""


@dataclass(frozen=True, slots=True)
class Learned:
    """What was learned by ``as_of_s``. Times are seconds since 1970 UTC; calls stand in order of last use.

    ``far_hours`` holds the far stations that are heard for hours, ``near_hours`` the neighbours, each with
    the days and hours in which it was heard; ``watched_hours`` those in which the watch ran, ``watched_days``
    the days on which lines came. ``silence`` is the neighbours' present one: its least chance, and of how
    many. ``pings_per_min`` goes by hour of the day; ``pings_in_hour`` counts those of ``ping_hour`` (hours
    since 1970) so far. ``locators`` are the neighbours'. ``told`` are the last notable
    things, ``told_count`` how many there were. ``clock`` is when (in minutes since 1970) the error of our
    clock was last worked out, and the error; ``is_clock_stale`` says that nothing has shown it since.
    """

    as_of_s: float
    far_hours: Mapping[str, HoursByDay] = field(default_factory=dict)
    near_hours: Mapping[str, HoursByDay] = field(default_factory=dict)
    watched_days: tuple[int, ...] = ()
    watched_hours: HoursByDay = field(default_factory=dict)
    near_last_at_s: float | None = None
    silence: tuple[float, int] = (1.0, 0)
    pings_per_min: Mapping[int, float] = field(default_factory=dict)
    ping_hour: int | None = None
    pings_in_hour: int = 0
    lines_since_s: float | None = None
    last_line_at_s: float | None = None
    last_decode_at_s: float | None = None
    locators: Mapping[str, str] = field(default_factory=dict)
    told: tuple[str, ...] = ()
    told_count: int = 0
    clock: tuple[int, float | None] = (-1, None)
    is_clock_stale: bool = False

    def as_json(self) -> dict[str, Any]:
        """Numbers, texts, lists and objects only."""
        return {"v": VERSION, **{each.name: getattr(self, each.name) for each in fields(self)}}

    @staticmethod
    def from_json(data: Any) -> "Learned | None":
        """None for what no watch of ours has written, also if only a part of it is so."""
        try:
            if data["v"] != VERSION:
                return None
            return Learned(**{name: check(data[name]) for name, check in CHECKS.items()})
        except (KeyError, TypeError, ValueError, AttributeError):
            return None

    def moved(self, by_s: float) -> "Learned":
        """As it would be had the clock stood ``by_s`` later all along, as far as that can be said.

        Hours of the day were those of the clock: they stay, except days that have not come yet.
        """
        as_of_s = self.as_of_s + by_s
        today = int(as_of_s // DAY_S)
        return replace(
            self,
            as_of_s=as_of_s,
            far_hours={call: _until(days, today) for call, days in self.far_hours.items()},
            near_hours={call: _until(days, today) for call, days in self.near_hours.items()},
            watched_days=tuple(day for day in self.watched_days if day <= today),
            watched_hours=_until(self.watched_hours, today),
            near_last_at_s=_later(self.near_last_at_s, by_s),
            ping_hour=None if self.ping_hour is None else int(as_of_s // HOUR_S),
            lines_since_s=_later(self.lines_since_s, by_s),
            last_line_at_s=_later(self.last_line_at_s, by_s),
            last_decode_at_s=_later(self.last_decode_at_s, by_s),
            clock=(int(as_of_s // 60) if self.clock[0] >= 0 else -1, self.clock[1]),
        )


def newest(table: Mapping[Key, Value], most: int) -> dict[Key, Value]:
    """The last ``most`` of a table."""
    return dict(list(table.items())[-most:])


def _until(days: HoursByDay, today: int) -> dict[int, int]:
    return {day: mask for day, mask in days.items() if day <= today}


def _later(at_s: float | None, by_s: float) -> float | None:
    return None if at_s is None else at_s + by_s


# --- what is read back --------------------------------------------------------------------------------------


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise ValueError("no number")
    return float(value)


def _count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise ValueError("no count")
    return value


def _text(value: Any) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_TEXT:
        raise ValueError("no short text")
    return value


def _hours(value: Any) -> int:
    if not 0 < _count(value) <= ALL_HOURS:
        raise ValueError("no hours of a day")
    return int(value)


def _locator(value: Any) -> str:
    if not is_locator(_text(value)):
        raise ValueError("no locator")
    return str(value)


def _truth(value: Any) -> bool:
    if not isinstance(value, bool):
        raise ValueError("neither true nor false")
    return value


def _maybe(check: Callable[[Any], Value]) -> Callable[[Any], Value | None]:
    return lambda value: None if value is None else check(value)


def _whole(key: str) -> int:
    return _count(int(key))


def _table(
    key: Callable[[Any], Key], check: Callable[[Any], Value], most: int
) -> Callable[[Any], dict[Key, Value]]:
    def checked(value: Any) -> dict[Key, Value]:
        if len(value) > most:
            raise ValueError("too much")
        return {key(each): check(inner) for each, inner in value.items()}

    return checked


def _list(check: Callable[[Any], Value], most: int) -> Callable[[Any], tuple[Value, ...]]:
    def checked(value: Any) -> tuple[Value, ...]:
        if not isinstance(value, list | tuple) or len(value) > most:
            raise ValueError("no list, or too long a one")
        return tuple(map(check, value))

    return checked


def _silence(value: Any) -> tuple[float, int]:
    chance, stations = value
    return _number(chance), _count(stations)


def _clock(value: Any) -> tuple[int, float | None]:
    minute, error_s = value
    return max(-1, int(_number(minute))), _maybe(_number)(error_s)


_days = _table(_whole, _hours, MOST_DAYS)

CHECKS: Mapping[str, Callable[[Any], Any]] = {
    "as_of_s": _number,
    "far_hours": _table(_text, _days, MOST_FAR),
    "near_hours": _table(_text, _days, MOST_NEAR),
    "watched_days": _list(_count, MOST_DAYS),
    "watched_hours": _days,
    "near_last_at_s": _maybe(_number),
    "silence": _silence,
    "pings_per_min": _table(_whole, _number, 24),
    "ping_hour": _maybe(_count),
    "pings_in_hour": _count,
    "lines_since_s": _maybe(_number),
    "last_line_at_s": _maybe(_number),
    "last_decode_at_s": _maybe(_number),
    "locators": _table(_text, _locator, MOST_LOCATORS),
    "told": _list(_text, MOST_TOLD),
    "told_count": _count,
    "clock": _clock,
    "is_clock_stale": _truth,
}
