"""Times and dates as text, by strptime codes. All times are UTC unless the text itself carries an offset.

``datetime.strptime`` costs 6 us a line, more than everything else together, so the usual codes become one
regular expression with a group a code, and the result is kept by its text: the lines of one slot share it.
"""

import re
from datetime import UTC, datetime

from sentinel.intake.time_codes import BY_WEEK, check_whole, expand, lacks_year, named_pattern
from sentinel.intake.time_values import DAY_S, Read, Reading, read_by_groups

# One slot's lines share their time text; a few thousand texts cover every source's recent slots.
_CACHE_SIZE = 4096
# Seconds since 1970 reach 1e11 in the year 5138, so larger numbers are milliseconds (1e14: microseconds ...).
_LARGEST_EPOCH_S = 1e11

_ISO_DATE = "(?P<Y>[0-9]{4})-(?P<m>0[1-9]|1[0-2])-(?P<d>0[1-9]|[12][0-9]|3[01])"
_ISO_TIME = "(?P<H>[01][0-9]|2[0-3]):(?P<M>[0-5][0-9])(?::(?P<S>[0-5][0-9]|60)(?:[.,](?P<f>[0-9]{1,9}))?)?"
_ISO_ZONE = "(?:[ ]?(?P<z>z|utc|[+-][0-9]{2}(?::?[0-5][0-9])?))?"
_ISO_BASIC = (
    "(?P<Y>[0-9]{4})(?P<m>0[1-9]|1[0-2])(?P<d>0[1-9]|[12][0-9]|3[01])t"
    "(?P<H>[01][0-9]|2[0-3])(?P<M>[0-5][0-9])(?:(?P<S>[0-5][0-9]|60)(?:[.,](?P<f>[0-9]{1,9}))?)?"
)
_EPOCH = "[0-9]{1,20}(?:[.][0-9]*)?(?:e[+]?[0-9]{1,2})?"


class TimeFormat:
    """One way of writing times. ``pattern``, a regular expression without groups, matches its texts.

    ``says_date`` is false for a bare time of day and for a date without its year.
    """

    def __init__(self, pattern: str, read: Read, codes: frozenset[str] | None = None) -> None:
        self.pattern = pattern
        self.says_date = codes is None or (bool(codes & set("djUWV")) and not lacks_year(codes))
        self._read = read
        self._is_cached = codes is None or not lacks_year(codes)
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


def compile_format(text: str) -> TimeFormat:
    """A format of strptime codes, or ``epoch``; raises ConfigError with one sentence.

    ``epoch`` is seconds since 1970, fractions allowed; numbers from 1e11 on are milli-, micro- or
    nanoseconds.
    """
    if text == "epoch":
        return TimeFormat(_EPOCH, lambda value, _: _epoch_reading(value))
    named = named_pattern(expand(text))
    codes = frozenset(re.findall("[(][?]P<(.)>", named))
    check_whole(text, codes)
    read = _by_week(expand(text)) if codes & BY_WEEK else read_by_groups(named)
    return TimeFormat(_unnamed(named), read, codes)


def iso_time() -> TimeFormat:
    """ISO 8601, date and time or time alone, basic form with ``T``; a bare number is seconds since 1970."""
    extended = f"(?:{_ISO_DATE}[t ])?{_ISO_TIME}{_ISO_ZONE}"
    basic = _ISO_BASIC + _ISO_ZONE
    readers = [read_by_groups(named) for named in (extended, basic)]

    def read(text: str, near_day: int | None) -> Reading | None:
        found = readers[0](text, near_day) or readers[1](text, near_day)
        return found if found is not None else _epoch_reading(text)

    return TimeFormat(f"(?i:{_unnamed(extended)}|{_unnamed(basic)}|{_EPOCH})", read)


def iso_date() -> TimeFormat:
    """ISO 8601 date, ``2026-06-01``."""
    return TimeFormat(_unnamed(_ISO_DATE), read_by_groups(_ISO_DATE))


def _unnamed(named: str) -> str:
    return "(?i:" + re.sub("[(][?]P<.>", "(?:", named) + ")"


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


def _by_week(text: str) -> Read:
    def read(value: str, _: int | None) -> Reading | None:
        try:
            at = datetime.strptime(value, text)  # UTC unless the text has an offset
            at_s = (at.replace(tzinfo=UTC) if at.tzinfo is None else at).timestamp()
        except (ValueError, OverflowError):
            return None
        return Reading(int(at_s // DAY_S), at_s % DAY_S)

    return read
