"""Solar flux, sunspot number and planetary K from the open text and JSON of NOAA (public domain), pure.

Read are, by what they say and not by their names::

    Solar-terrestrial indices for 13 March follow.                     the text that time signals speak
    Solar flux 175 and estimated planetary A-index 42.                 at 10.7 cm, in solar flux units
    The estimated planetary K-index at 1200 UTC on 14 March was 3.00.  an integer in older issues

    2024 10 09  220    107     1920 ...                                daily solar data: flux, sunspots

    [["time_tag", "Kp", ...], ["2024-10-09 00:00:00.000", "3.33", ...]]    JSON with a header row
    [{"time_tag": "2024-10-09T00:00:00", "Kp": 3.33, ...}]                 JSON objects

Whatever is missing (-1, -999, ``*``, words), out of range, predicted or stamped in the future is left out.
Anything larger than ``LARGEST_BYTES`` is refused. Times are seconds since 1970 UTC.
"""

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from sentinel.errors import RunError
from sentinel.intake.space_weather_report import AHEAD_S, Measured, SpaceWeatherReport

LARGEST_BYTES = 1 << 20
"""The largest of these products, a month of K by the minute, has some 600 kB (from memory)."""

FLUX_RANGE = (50.0, 600.0)
"""Solar flux units: 50 is the theoretical minimum (NIST's text on the broadcasts); no daily value has yet
reached 500 (from memory)."""
SUNSPOTS_RANGE = (0.0, 700.0)
KP_RANGE = (0.0, 9.0)

K_INTERVAL_S = 3 * 3600.0
FLUX_TIME = "2000"
"""The flux of a day is measured at 20 UTC (NIST's text on the broadcasts)."""


def read_space_weather(raw: bytes, near_s: float) -> SpaceWeatherReport:
    """What a product says. ``near_s``, when it was fetched, gives a date without a year its year.

    Raises RunError for what says nothing of flux, sunspots or planetary K up to a day after ``near_s``.
    """
    if len(raw) > LARGEST_BYTES:
        raise RunError(f"is larger than {LARGEST_BYTES >> 20} MiB, so it is no space weather product")
    text = raw.decode("utf-8-sig", errors="replace")
    is_json = text.lstrip()[:1] in ("[", "{")
    until_s = near_s + AHEAD_S
    report = _from_json(text, until_s) if is_json else _from_text(text, near_s, until_s)
    if report == SpaceWeatherReport():
        raise RunError("says nothing of solar flux, sunspot number or planetary K in a form known here")
    return report


# --- text -----------------------------------------------------------------------------------------

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAY_MONTH = r"(?P<d>\d{1,2}) (?P<m>[a-z]{3})[a-z]{0,6}"
_ISSUED = (
    re.compile(r":issued: (?P<y>\d{4}) (?P<m>[a-z]{3}) (?P<d>\d{1,2}) (?P<t>\d{4}) ut", re.ASCII),
    re.compile(rf":issued: (?P<t>\d{{4}}) ut {_DAY_MONTH} (?P<y>\d{{4}})", re.ASCII),
)
_INDICES_FOR = re.compile(rf"indices for {_DAY_MONTH} follow", re.ASCII)
_FLUX = re.compile(r"solar flux (?P<value>\d{2,3}(?:\.\d)?)(?!\d)", re.ASCII)
_KP = re.compile(
    rf"estimated planetary k-index at (?P<t>\d{{4}}) utc on {_DAY_MONTH}"
    r" was (?P<value>\d(?:\.\d{1,2})?)(?!\d)",
    re.ASCII,
)
_DAY_ROW = re.compile(r"(\d{4}) (\d\d) (\d\d)\s+(\S{1,8})\s+(\S{1,8})(?:\s|$)", re.ASCII)
_OTHER_DAYS = re.compile(r"geomagnetic|particle|predicted|forecast|outlook")


def _from_text(text: str, near_s: float, until_s: float) -> SpaceWeatherReport:
    words = " ".join(text.lower().split())
    issued_s = _issued_s(words)
    near_s = near_s if issued_s is None else issued_s
    flux, kp = _spoken_flux(words, near_s), _spoken_kp(words, near_s)
    spoken = SpaceWeatherReport(
        flux=flux if flux and flux.at_s <= until_s else None, kp=kp if kp and kp.at_s <= until_s else None
    )
    return spoken.then(_daily(text, until_s))


def _issued_s(words: str) -> float | None:
    found = next((found for pattern in _ISSUED if (found := pattern.search(words))), None)
    return None if found is None else _moment_s(int(found["y"]), found["m"], int(found["d"]), found["t"])


def _spoken_flux(words: str, near_s: float) -> Measured | None:
    found, day = _FLUX.search(words), _INDICES_FOR.search(words)
    value = _in_range(float(found["value"]), FLUX_RANGE) if found else None
    if value is None:
        return None
    at_s = _nearest_year_s(day, FLUX_TIME, near_s) if day else None
    return Measured(value, near_s if at_s is None else at_s)


def _spoken_kp(words: str, near_s: float) -> Measured | None:
    found = _KP.search(words)
    if found is None:
        return None
    at_s, value = _nearest_year_s(found, found["t"], near_s), _in_range(float(found["value"]), KP_RANGE)
    return None if at_s is None or value is None else Measured(value, at_s)


def _daily(text: str, until_s: float) -> SpaceWeatherReport:
    """The newest values of a table of days, which may be missing on the newest day itself."""
    lines = text.splitlines()
    heading = " ".join(line for line in lines if line.startswith((":", "#"))).lower()
    if _OTHER_DAYS.search(heading):
        return SpaceWeatherReport()
    flux: list[Measured] = []
    sunspots: list[Measured] = []
    for line in lines:
        if (row := _DAY_ROW.match(line.strip())) is None:
            continue
        month = int(row[2])
        name = _MONTHS[month - 1] if 1 <= month <= 12 else ""
        at_s = _moment_s(int(row[1]), name, int(row[3]), FLUX_TIME)
        if at_s is not None and at_s <= until_s:
            flux += _measured(row[4], FLUX_RANGE, at_s)
            sunspots += _measured(row[5], SUNSPOTS_RANGE, at_s)
    return SpaceWeatherReport(_newest(flux), _newest(sunspots))


def _nearest_year_s(day: re.Match[str], hhmm: str, near_s: float) -> float | None:
    """A date without a year, in the year that brings it nearest to ``near_s``."""
    try:
        year = datetime.fromtimestamp(near_s, UTC).year
    except (ValueError, OverflowError, OSError):
        return None
    moments = (_moment_s(each, day["m"], int(day["d"]), hhmm) for each in (year - 1, year, year + 1))
    return min((m for m in moments if m is not None), key=lambda m: abs(m - near_s), default=None)


def _moment_s(year: int, month_name: str, day: int, hhmm: str) -> float | None:
    """Seconds since 1970, None for a date or time that does not exist; 2400 is the end of the day."""
    hour, minute = int(hhmm[:2]), int(hhmm[2:])
    if month_name not in _MONTHS or hour > 24 or minute > 59:
        return None
    try:
        midnight = datetime(year, _MONTHS.index(month_name) + 1, day, tzinfo=UTC)
        return (midnight + timedelta(hours=hour, minutes=minute)).timestamp()
    except (ValueError, OverflowError):
        return None


# --- JSON -----------------------------------------------------------------------------------------

_TIME_KEYS = ("time_tag", "timestamp", "obsdate")
_KP_KEYS = ("kp", "estimated_kp", "kp_index")
_FLUX_KEYS = ("flux",)
_SUNSPOT_KEYS = ("swpc_ssn", "ssn")
_FLUX_MHZ = 2800.0


def _from_json(text: str, until_s: float) -> SpaceWeatherReport:
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        raise RunError("begins like JSON but is not; was it cut off?") from None
    flux: list[Measured] = []
    sunspots: list[Measured] = []
    kp: list[Measured] = []
    for row in _rows(data):
        at_s = _row_time_s(row)
        if at_s is None or at_s > until_s or row.get("observed") == "predicted":
            continue
        kp += _first(row, _KP_KEYS, KP_RANGE, at_s)
        sunspots += _first(row, _SUNSPOT_KEYS, SUNSPOTS_RANGE, at_s)
        if "satellite" not in row and row.get("frequency", _FLUX_MHZ) == _FLUX_MHZ:
            flux += _first(row, _FLUX_KEYS, FLUX_RANGE, at_s)
    return SpaceWeatherReport(_newest(flux), _newest(sunspots), _kp_of_interval(kp))


def _rows(data: object) -> Iterator[Mapping[str, Any]]:
    """Rows as mappings with lower-case keys, whichever of the shapes they came in."""
    rows = data if isinstance(data, list) else [data]
    header = rows[0] if rows and isinstance(rows[0], list) else None
    for row in rows:
        if isinstance(row, dict):
            pairs: Iterable[tuple[object, object]] = row.items()
        elif isinstance(row, list) and header is not None and row is not header:
            pairs = zip(header, row, strict=False)
        else:
            continue
        yield {key.lower().replace("-", "_"): value for key, value in pairs if isinstance(key, str)}


def _row_time_s(row: Mapping[str, Any]) -> float | None:
    text = next((row[key] for key in _TIME_KEYS if isinstance(row.get(key), str)), "")
    try:
        moment = datetime.fromisoformat(text[:40])
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    except (ValueError, OverflowError):
        return None


def _first(
    row: Mapping[str, Any], keys: Iterable[str], limits: tuple[float, float], at_s: float
) -> list[Measured]:
    """The value of the first key that holds one."""
    return next((found for key in keys if (found := _measured(row.get(key), limits, at_s))), [])


def _kp_of_interval(readings: list[Measured]) -> Measured | None:
    """The newest K; of running estimates, which start low in each interval, the highest of three hours."""
    newest = _newest(readings)
    if newest is None:
        return None
    lately = [each.value for each in readings if each.at_s > newest.at_s - K_INTERVAL_S]
    return Measured(max(lately), newest.at_s)


# --- numbers --------------------------------------------------------------------------------------

_NUMBER = re.compile(r"\s*\d{1,4}(?:\.\d{1,6})?\s*", re.ASCII)


def _measured(value: object, limits: tuple[float, float], at_s: float) -> list[Measured]:
    """One value or none, from a number or its text."""
    if isinstance(value, str):
        value = float(value) if len(value) < 20 and _NUMBER.fullmatch(value) else None
    if isinstance(value, bool) or not isinstance(value, int | float):
        return []
    kept = _in_range(value, limits)
    return [] if kept is None else [Measured(kept, at_s)]


def _in_range(value: float, limits: tuple[float, float]) -> float | None:
    return float(value) if limits[0] <= value <= limits[1] else None


def _newest(readings: list[Measured]) -> Measured | None:
    return max(readings, key=lambda each: each.at_s, default=None)
