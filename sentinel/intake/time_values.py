"""What the groups of a matched time say: days since 1970 and seconds of the day."""

import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import NamedTuple

from sentinel.intake.time_codes import MONTHS

DAY_S = 86400
EPOCH_ORDINAL = date(1970, 1, 1).toordinal()
_MONTH_NUMBERS: Mapping[str, int] = {name[:3]: number for number, name in enumerate(MONTHS, start=1)}


class Reading(NamedTuple):
    """What a text says: days since 1970-01-01, seconds of that day; ``None`` for what it does not say."""

    day: int | None
    second_of_day: float | None


Read = Callable[[str, int | None], Reading | None]
"""Reads a text; the day (since 1970) completes a missing year."""


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


def read_by_groups(named: str) -> Read:
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
    near_year = date.fromordinal(near_day + EPOCH_ORDINAL).year
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
        return ordinal - EPOCH_ORDINAL
    month_name = codes.b or codes.B
    month = _MONTH_NUMBERS[month_name[:3].lower()] if month_name else int(codes.m or 0)
    return date(year, month, int(codes.d or 0)).toordinal() - EPOCH_ORDINAL


def _offset_s(zone: str) -> int:
    if zone[0] not in "+-":
        return 0
    digits = zone[1:].replace(":", "")
    seconds = int(digits[:2]) * 3600 + int(digits[2:] or 0) * 60
    return -seconds if zone[0] == "-" else seconds
