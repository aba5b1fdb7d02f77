"""What a watch is given back at its start: where it stood, and what it has learned in years.

Functions of a connection; they raise ``sqlite3.Error``.
"""

import sqlite3
import zlib
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

from sentinel.outputs.diary_queries import live_openings
from sentinel.outputs.diary_spans import DAY_S, HOUR_S, pieces
from sentinel.outputs.diary_statements import DAY_MS
from sentinel.outputs.diary_statistics import spans
from sentinel.watch.bulletin import Mode, Opening, State
from sentinel.watch.rarity import LEAST_HOURS, YEAR_DAYS, DayBest

CALL_LIMIT = 5000
"""Most calls given back, the latest heard: as many as the core keeps."""

RECALL_DAYS = 60
"""Days of habits given back: a station is a regular by what it did these weeks, not last season."""


@dataclass(frozen=True, slots=True)
class Recall:
    """Everything that one band's watch needs from the diary at its start.

    ``snapshot`` and ``learned`` are the core's own JSON texts, None if there is none or it is damaged;
    ``recent`` are the texts of what it was fed of late, in order, without what is damaged;
    ``watched_until_s`` is the last moment the watch is known to have run; ``live_openings`` had not ended
    then. ``locators`` holds the last locator of each call. ``days_heard`` are the day numbers (days since
    1970 UTC) on which each call was heard, the calls heard last at the end, ``watched_days`` those on which
    the receiver could be judged, both of the last ``RECALL_DAYS``. ``squares`` and ``countries`` are whatever
    was ever heard with fair trust, ``farthest_km`` is the farthest of each mode. ``day_bests`` are the days
    watched within a year, with the best that each had.
    """

    snapshot: str | None
    recent: tuple[str, ...]
    watched_until_s: float | None
    live_openings: tuple[Opening, ...]
    locators: Mapping[str, str]
    days_heard: Mapping[str, frozenset[int]]
    watched_days: frozenset[int]
    squares: frozenset[str]
    countries: frozenset[str]
    farthest_km: Mapping[Mode, int]
    day_bests: Mapping[int, DayBest] = field(default_factory=dict)
    learned: str | None = None


def recall(connection: sqlite3.Connection, band: str) -> Recall:
    """Read all of it."""
    watched_ms = _memory(connection, "watched", band)
    watched_until_s = watched_ms / 1000 if isinstance(watched_ms, int) else None
    since_day = int((watched_until_s or 0.0) // DAY_S) - RECALL_DAYS
    return Recall(
        snapshot=_unpacked(_memory(connection, "snapshot", band)),
        recent=recent_lines(connection, band),
        watched_until_s=watched_until_s,
        live_openings=live_openings(connection, band),
        locators=known_locators(connection),
        days_heard=days_heard(connection, band, since_day),
        watched_days=watched_days(connection, band, since_day),
        squares=_ever_heard(connection, band, "square"),
        countries=_ever_heard(connection, band, "country"),
        farthest_km=farthest_by_mode(connection, band),
        day_bests=day_bests(connection, band, watched_until_s or 0.0),
        learned=_unpacked(_memory(connection, "learned", band)),
    )


def checkpoints(connection: sqlite3.Connection) -> dict[str, str]:
    """The last checkpoint of each source."""
    return dict(connection.execute("SELECT name, value FROM memory WHERE kind = 'checkpoint'"))


def recent_lines(connection: sqlite3.Connection, band: str) -> tuple[str, ...]:
    """What the core was fed of late, in order."""
    packed = connection.execute(
        "SELECT value FROM memory WHERE kind = 'recent' AND name BETWEEN ? AND ? ORDER BY name",
        (f"{band}/", f"{band}/~"),
    )
    texts = (_unpacked(value) for (value,) in packed)
    return tuple(line for text in texts if text for line in text.split("\n"))


def known_locators(connection: sqlite3.Connection, limit: int = CALL_LIMIT) -> dict[str, str]:
    """The last locator that each call sent, on any band."""
    return dict(
        connection.execute(
            "SELECT call, locator FROM station WHERE locator IS NOT NULL"
            " ORDER BY last_day DESC, call LIMIT ?",
            (limit,),
        )
    )


def days_heard(
    connection: sqlite3.Connection, band: str, since_day: int, limit: int = CALL_LIMIT
) -> dict[str, frozenset[int]]:
    """The days on which each call was heard, for the ``limit`` calls heard last; the latest at the end."""
    latest = connection.execute(
        "SELECT call, group_concat(day) FROM heard_day WHERE band = ? AND day >= ?"
        " GROUP BY call ORDER BY max(day) DESC, call LIMIT ?",
        (band, since_day, limit),
    ).fetchall()
    return {call: frozenset(map(int, days.split(","))) for call, days in reversed(latest)}


def watched_days(connection: sqlite3.Connection, band: str, since_day: int) -> frozenset[int]:
    """The days on which the receiver could be judged at least for a while."""
    cut = pieces(spans(connection, band, since_day * DAY_S), DAY_S)
    days = (start_s // DAY_S for start_s, piece in cut if piece.state is not State.BLIND)
    return frozenset(day for day in days if day >= since_day)


def farthest_by_mode(connection: sqlite3.Connection, band: str) -> dict[Mode, int]:
    """The farthest station of all openings, in kilometres, for each mode that has had one."""
    found = connection.execute(
        "SELECT mode, max(farthest_km) FROM opening WHERE band = ? GROUP BY mode ORDER BY mode", (band,)
    )
    return {Mode(mode): km for mode, km in found}


def day_bests(connection: sqlite3.Connection, band: str, until_s: float) -> dict[int, DayBest]:
    """The days of the year before ``until_s`` of which half was watched: most stations at once, and the
    farthest, of the openings that began on each; zero for none."""
    since_day = int(until_s // DAY_S) - YEAR_DAYS
    watched_s: dict[int, float] = defaultdict(float)
    for start_s, piece in pieces(spans(connection, band, since_day * DAY_S), DAY_S):
        if piece.state is not State.BLIND:
            watched_s[start_s // DAY_S] += piece.lasts_s
    found = connection.execute(
        "SELECT began_ms / :day_ms AS day, max(peak_stations), max(farthest_km) FROM opening"
        " WHERE band = :band AND began_ms >= :since_ms GROUP BY day",
        {"day_ms": DAY_MS, "band": band, "since_ms": since_day * DAY_MS},
    )
    bests = {day: DayBest(stations, round(km)) for day, stations, km in found}
    enough_s = LEAST_HOURS * HOUR_S
    return {
        day: bests.get(day, DayBest())
        for day, lasted_s in sorted(watched_s.items())
        if lasted_s >= enough_s and day >= since_day
    }


def _ever_heard(connection: sqlite3.Connection, band: str, kind: str) -> frozenset[str]:
    found = connection.execute("SELECT name FROM first_heard WHERE band = ? AND kind = ?", (band, kind))
    return frozenset(name for (name,) in found)


def _memory(connection: sqlite3.Connection, kind: str, name: str) -> str | bytes | int | None:
    row = connection.execute("SELECT value FROM memory WHERE kind = ? AND name = ?", (kind, name)).fetchone()
    value: str | bytes | int | None = row[0] if row else None
    return value


def _unpacked(packed: str | bytes | int | None) -> str | None:
    if not isinstance(packed, bytes):
        return None
    try:
        return zlib.decompress(packed).decode("utf-8")
    except (zlib.error, UnicodeDecodeError):
        return None
