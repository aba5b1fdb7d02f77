"""Times and dates as text, by strptime codes. All times are UTC unless the text itself carries an offset.

``datetime.strptime`` costs 6 us a line, more than everything else together, so the usual codes become one
regular expression with a group a code, and the result is kept by its text: the lines of one slot share it.
"""

import difflib
import re
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from typing import NamedTuple

from sentinel.errors import ConfigError

DAY_S = 86400
_EPOCH_ORDINAL = date(1970, 1, 1).toordinal()
# One slot's lines share their time text; a few thousand texts cover every source's recent slots.
_CACHE_SIZE = 4096
# Seconds since 1970 reach 1e11 in the year 5138, so larger numbers are milliseconds (1e14: microseconds ...).
_LARGEST_EPOCH_S = 1e11

_MONTHS = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def _either(words: tuple[str, ...], length: int | None = None) -> str:
    return "|".join(word[:length] for word in words)


# what each code reads; the digits as the Python documentation of strptime gives them (leading zero optional)
_CODES: Mapping[str, str] = {
    "Y": "[0-9]{4}",
    "y": "[0-9]{2}",
    "m": "1[0-2]|0[1-9]|[1-9]",
    "d": "3[01]|[12][0-9]|0[1-9]| ?[1-9]",
    "j": "36[0-6]|3[0-5][0-9]|[12][0-9]{2}|0[1-9][0-9]|00[1-9]|[1-9][0-9]|0?[1-9]",
    "H": "2[0-3]|[01][0-9]|[0-9]",
    "I": "1[0-2]|0[1-9]| ?[1-9]",
    "M": "[0-5][0-9]|[0-9]",
    "S": "6[01]|[0-5][0-9]|[0-9]",
    "f": "[0-9]{1,9}",
    "p": "am|pm",
    "z": "z|[+-][0-9]{2}:?[0-5][0-9]",
    "Z": "utc|gmt|z",
    "b": _either(_MONTHS, 3),
    "B": _either(_MONTHS),
    "a": _either(_WEEKDAYS, 3),
    "A": _either(_WEEKDAYS),
    "U": "5[0-3]|[0-4][0-9]|[0-9]",
    "W": "5[0-3]|[0-4][0-9]|[0-9]",
    "w": "[0-6]",
    "u": "[1-7]",
    "G": "[0-9]{4}",
    "V": "5[0-3]|0[1-9]|[1-4][0-9]|[0-9]",
}
# codes that stand for several others, in the C locale
_SHORTHANDS: Mapping[str, str] = {
    "T": "%H:%M:%S",
    "R": "%H:%M",
    "F": "%Y-%m-%d",
    "D": "%m/%d/%y",
    "e": "%d",
    "h": "%b",
    "c": "%a %b %d %H:%M:%S %Y",
    "x": "%m/%d/%y",
    "X": "%H:%M:%S",
}
# dates by week number: rare enough to leave to the standard library
_BY_WEEK = frozenset("UWwuGV")

_ISO_DATE = "(?P<Y>[0-9]{4})-(?P<m>0[1-9]|1[0-2])-(?P<d>0[1-9]|[12][0-9]|3[01])"
_ISO_TIME = "(?P<H>[01][0-9]|2[0-3]):(?P<M>[0-5][0-9])(?::(?P<S>[0-5][0-9]|60)(?:[.,](?P<f>[0-9]{1,9}))?)?"
_ISO_ZONE = "(?:[ ]?(?P<z>z|utc|[+-][0-9]{2}(?::?[0-5][0-9])?))?"
_ISO_BASIC = (
    "(?P<Y>[0-9]{4})(?P<m>0[1-9]|1[0-2])(?P<d>0[1-9]|[12][0-9]|3[01])t"
    "(?P<H>[01][0-9]|2[0-3])(?P<M>[0-5][0-9])(?:(?P<S>[0-5][0-9]|60)(?:[.,](?P<f>[0-9]{1,9}))?)?"
)
_EPOCH = "[0-9]{1,20}(?:[.][0-9]*)?(?:e[+]?[0-9]{1,2})?"


class Reading(NamedTuple):
    """What a text says: days since 1970-01-01, seconds of that day; ``None`` for what it does not say."""

    day: int | None
    second_of_day: float | None


class TimeFormat:
    """One way of writing times. ``pattern``, a regular expression without groups, matches its texts."""

    def __init__(
        self, pattern: str, read: Callable[[str, int | None], Reading | None], *, cached: bool
    ) -> None:
        self.pattern = pattern
        self._read = read
        self._is_cached = cached
        self._cache: dict[str, Reading | None] = {}

    def read(self, text: str, near_day: int | None = None) -> Reading | None:
        """What ``text`` says, or ``None`` if there is no such time; ``near_day`` completes a missing year."""
        try:
            return self._cache[text]
        except KeyError:
            pass
        reading = self._read(text, near_day)
        if self._is_cached:
            if len(self._cache) >= _CACHE_SIZE:
                self._cache.clear()
            self._cache[text] = reading
        return reading


def expand(text: str) -> str:
    """The format with its shorthands (``%T`` and the like) written out."""
    return re.sub("%(.)", lambda found: _SHORTHANDS.get(found[1], found[0]), text, flags=re.DOTALL)


def compile_format(text: str) -> TimeFormat:
    """A format of strptime codes, or ``epoch``; raises ConfigError with one sentence.

    ``epoch`` is seconds since 1970, fractions allowed; numbers from 1e11 on are milli-, micro- or
    nanoseconds.
    """
    if text == "epoch":
        return TimeFormat(_EPOCH, lambda value, _: _epoch_reading(value), cached=True)
    named = _named_pattern(expand(text))
    codes = frozenset(re.findall("[(][?]P<(.)>", named))
    _check_whole(text, codes)
    if codes & _BY_WEEK:
        return TimeFormat(_unnamed(named), _by_week(expand(text)), cached=True)
    read = _by_groups(named)
    return TimeFormat(_unnamed(named), read, cached=not _lacks_year(codes))


def iso_time() -> TimeFormat:
    """ISO 8601, date and time or time alone, basic form with ``T``; a bare number is seconds since 1970."""
    extended = f"(?:{_ISO_DATE}[t ])?{_ISO_TIME}{_ISO_ZONE}"
    basic = _ISO_BASIC + _ISO_ZONE
    readers = [_by_groups(named) for named in (extended, basic)]

    def read(text: str, near_day: int | None) -> Reading | None:
        found = readers[0](text, near_day) or readers[1](text, near_day)
        return found if found is not None else _epoch_reading(text)

    return TimeFormat(f"(?i:{_unnamed(extended)}|{_unnamed(basic)}|{_EPOCH})", read, cached=True)


def iso_date() -> TimeFormat:
    """ISO 8601 date, ``2026-06-01``."""
    return TimeFormat(_unnamed(_ISO_DATE), _by_groups(_ISO_DATE), cached=True)


def codes_in(text: str) -> frozenset[str]:
    """The strptime codes of a format, shorthands expanded."""
    return frozenset(re.findall("%(.)", expand(text).replace("%%", "")))


def _unnamed(named: str) -> str:
    return "(?i:" + re.sub("[(][?]P<.>", "(?:", named) + ")"


def _named_pattern(text: str) -> str:
    pattern, seen = "", set()
    for code, blanks, other in re.findall(r"%(.|$)|([ \t]+)|([^% \t]+)", text):
        if blanks:
            pattern += "[ \t]+"
        elif other:
            pattern += re.escape(other)
        elif code == "%":
            pattern += "%"
        elif code not in _CODES:
            raise ConfigError(f'"%{code}" is no strptime code{_nearest_code(code)}')
        elif code in seen:
            raise ConfigError(f'"%{code}" stands twice in "{text}"')
        else:
            seen.add(code)
            pattern += f"(?P<{code}>{_CODES[code]})"
    return pattern


def _nearest_code(code: str) -> str:
    near = [known for known in (code.upper(), code.lower()) if known in _CODES]
    return f'; did you mean "%{near[0]}"?' if near else "; a percent sign is written %%"


def _check_whole(text: str, codes: frozenset[str]) -> None:
    if not codes:
        near = difflib.get_close_matches(text, ["epoch"])
        mend = '; did you mean "epoch"?' if near else "; write codes such as %H:%M:%S, or epoch"
        raise ConfigError(f'"{text}" holds no strptime code{mend}')
    has_hour = "H" in codes or {"I", "p"} <= codes
    if codes & set("MSfIp") and not has_hour:
        raise ConfigError(f'"{text}" has no hour: add %H, or both %I and %p')
    is_whole_date = "j" in codes or (codes & set("mbB") and "d" in codes) or codes & _BY_WEEK
    if codes & set("YymbBd") and not is_whole_date:
        raise ConfigError(f'"{text}" is only part of a date: add month and day (%m and %d)')


def _lacks_year(codes: frozenset[str]) -> bool:
    return bool(codes & set("djbBm")) and not codes & set("YyG")


def _epoch_reading(text: str) -> Reading | None:
    try:
        at_s = float(text)
    except ValueError:
        return None
    if not 0.0 <= at_s < 1e21:
        return None
    while at_s >= _LARGEST_EPOCH_S:
        at_s /= 1000.0
    return Reading(int(at_s // DAY_S), at_s % DAY_S)


def _by_week(text: str) -> Callable[[str, int | None], Reading | None]:
    def read(value: str, _: int | None) -> Reading | None:
        try:
            at = datetime.strptime(value, text)  # UTC unless the text has an offset
            at_s = (at.replace(tzinfo=UTC) if at.tzinfo is None else at).timestamp()
        except (ValueError, OverflowError):
            return None
        return Reading(int(at_s // DAY_S), at_s % DAY_S)

    return read


class _Codes(NamedTuple):
    """The texts of the codes in one time; ``None`` for a code that is not there."""

    Y: str | None
    y: str | None
    m: str | None
    b: str | None
    B: str | None
    d: str | None
    j: str | None
    H: str | None
    I: str | None  # noqa: E741 - the code's own letter
    p: str | None
    M: str | None
    S: str | None
    f: str | None
    z: str | None


def _by_groups(named: str) -> Callable[[str, int | None], Reading | None]:
    # a group that can never match stands for each code that the format does not have
    absent = "".join(f"(?P<{code}>(?!))?" for code in _Codes._fields if f"(?P<{code}>" not in named)
    fullmatch = re.compile(named + absent, re.IGNORECASE).fullmatch

    def read(text: str, near_day: int | None) -> Reading | None:
        found = fullmatch(text)
        if found is None:
            return None
        codes = _Codes._make(found.group(*_Codes._fields))
        try:
            day = _day(codes, near_day)
        except ValueError:  # a 30th of February
            return None
        second = _second_of_day(codes)
        if codes.z is not None and second is not None:
            days, second = divmod(second - _offset_s(codes.z), DAY_S)
            day = None if day is None else day + int(days)
        return Reading(day, second)

    return read


def _second_of_day(codes: _Codes) -> float | None:
    if codes.H is not None:
        hour = int(codes.H)
    elif codes.p is not None:
        hour = int(codes.I or 0) % 12 + (12 if codes.p.lower() == "pm" else 0)
    else:
        return None
    seconds = float(hour * 3600 + int(codes.M or 0) * 60 + int(codes.S or 0))
    return seconds + float("." + codes.f) if codes.f else seconds


def _day(codes: _Codes, near_day: int | None) -> int | None:
    """Days since 1970, ``None`` for a time of day alone; ValueError if the calendar has no such day."""
    if codes.d is None and codes.j is None:
        return None
    if codes.Y is not None:
        return _day_in(int(codes.Y), codes)
    if codes.y is not None:
        short = int(codes.y)  # POSIX strptime: 69 to 99 are 1969 to 1999
        return _day_in(short + (1900 if short >= 69 else 2000), codes)
    if near_day is None:
        raise ValueError("no year is known")
    near_year = date.fromordinal(near_day + _EPOCH_ORDINAL).year
    days = []
    for year in (near_year - 1, near_year, near_year + 1):
        try:
            days.append(_day_in(year, codes))
        except ValueError:  # 29 February, or day 366, exists in some of them only
            continue
    return min(days, key=lambda day: abs(day - near_day))


def _day_in(year: int, codes: _Codes) -> int:
    if codes.j is not None:
        ordinal = date(year, 1, 1).toordinal() + int(codes.j) - 1
        if date.fromordinal(ordinal).year != year:
            raise ValueError("no day 366 in that year")
        return ordinal - _EPOCH_ORDINAL
    month_name = codes.b or codes.B
    month = _MONTH_NUMBERS[month_name[:3].lower()] if month_name else int(codes.m or 0)
    return date(year, month, int(codes.d or 0)).toordinal() - _EPOCH_ORDINAL


_MONTH_NUMBERS: Mapping[str, int] = {name[:3]: number for number, name in enumerate(_MONTHS, start=1)}


def _offset_s(zone: str) -> int:
    if zone[0] not in "+-":
        return 0
    digits = zone[1:].replace(":", "")
    seconds = int(digits[:2]) * 3600 + int(digits[2:] or 0) * 60
    return -seconds if zone[0] == "-" else seconds
