"""How often this happens, and where the hours of a day went.

"Watched" means that the receiver could be judged: neither blind nor switched off. Every rate has the watched
time as its denominator and is None where there was none: not watched is not the same as quiet.
Months, days and hours are UTC. Functions of a connection; they raise ``sqlite3.Error``.
"""

import sqlite3
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from sentinel.outputs.diary_rows import DowntimeRow, StateRow
from sentinel.outputs.diary_spans import DAY_S, HOUR_S, Span, pieces, spans_of
from sentinel.outputs.diary_statements import DAY_MS, TRUST_TO_REMEMBER, first_id
from sentinel.watch.bulletin import State

WATCHED = (State.QUIET, State.STIRRING, State.OPEN)


@dataclass(frozen=True, slots=True)
class HourOfMonth:
    """One hour of the day (0 to 23) in one month (1 to 12), all years together."""

    month: int
    hour: int
    watched_s: float
    stirring_s: float
    open_s: float
    openings: int

    @property
    def open_share(self) -> float | None:
        """The share of the watched time in which the band was open; None if it was never watched."""
        return self.open_s / self.watched_s if self.watched_s else None


@dataclass(frozen=True, slots=True)
class DaySummary:
    """One day from midnight. Its hours were watched or blind; what is missing from 24 was not recorded.

    ``down_s`` is the part of ``blind_s`` in which the watch itself was off. ``openings`` began on this day;
    ``stations`` were sighted on it, the farthest of them (with fair trust) at ``farthest_km``.
    """

    day_s: float
    watched_s: float
    stirring_s: float
    open_s: float
    blind_s: float
    down_s: float
    openings: int
    stations: int
    farthest_km: int | None


CHANGES = """SELECT at_ms, state, because, blind_reason FROM state_change WHERE band = :band
    AND at_ms >= coalesce((SELECT max(at_ms) FROM state_change WHERE band = :band AND at_ms <= :since_ms), 0)
    ORDER BY at_ms"""

DOWNTIMES = "SELECT since_ms, until_ms FROM downtime WHERE band = :band AND until_ms > :since_ms"


def spans(connection: sqlite3.Connection, band: str, since_s: float = 0.0) -> list[Span]:
    """Every span of one state that ends after ``since_s``; what lies in no span was not recorded."""
    scope = {"band": band, "since_ms": since_s * 1000}
    changes = connection.execute(CHANGES, scope)
    downtimes = connection.execute(DOWNTIMES, scope)
    alive = connection.execute(
        "SELECT value FROM memory WHERE kind = 'watched' AND name = ?", (band,)
    ).fetchone()
    return spans_of(
        [StateRow(at_ms / 1000, band, State(state), why, code) for at_ms, state, why, code in changes],
        [DowntimeRow(band, since_ms / 1000, until_ms / 1000) for since_ms, until_ms in downtimes],
        alive[0] / 1000 if alive else 0.0,
    )


def hour_by_month(connection: sqlite3.Connection, band: str) -> tuple[HourOfMonth, ...]:
    """How often this happens: always 288 cells, January's hour 0 first."""
    lasted: dict[tuple[int, int], dict[State, float]] = defaultdict(_no_time)
    for start_s, piece in pieces(spans(connection, band), HOUR_S):
        lasted[_month_and_hour(start_s)][piece.state] += piece.lasts_s
    began = Counter(_month_and_hour(at_s) for at_s in _openings_began(connection, band))
    return tuple(
        HourOfMonth(
            month,
            hour,
            _watched_s(lasted[month, hour]),
            lasted[month, hour][State.STIRRING],
            lasted[month, hour][State.OPEN],
            began[month, hour],
        )
        for month in range(1, 13)
        for hour in range(24)
    )


def days(connection: sqlite3.Connection, band: str, since_s: float, until_s: float) -> tuple[DaySummary, ...]:
    """The days that lie at least in part in ``since_s`` <= t < ``until_s``, if anything is known of them."""
    first_day, end_day = int(since_s // DAY_S), int(-(-until_s // DAY_S))
    lasted: dict[int, dict[State, float]] = defaultdict(_no_time)
    down_s: dict[int, float] = defaultdict(float)
    for start_s, piece in pieces(spans(connection, band, since_s), DAY_S):
        lasted[start_s // DAY_S][piece.state] += piece.lasts_s
        down_s[start_s // DAY_S] += piece.lasts_s if piece.is_downtime else 0
    began = Counter(int(at_s // DAY_S) for at_s in _openings_began(connection, band))
    heard = _stations_by_day(connection, band, first_day, end_day)
    known = sorted(day for day in {*lasted, *began, *heard} if first_day <= day < end_day)
    return tuple(
        DaySummary(
            day * DAY_S,
            _watched_s(lasted[day]),
            lasted[day][State.STIRRING],
            lasted[day][State.OPEN],
            lasted[day][State.BLIND],
            down_s[day],
            began[day],
            *heard.get(day, (0, None)),
        )
        for day in known
    )


def _no_time() -> dict[State, float]:
    return dict.fromkeys(State, 0.0)


def _watched_s(lasted: Mapping[State, float]) -> float:
    return sum(lasted[state] for state in WATCHED)


def _month_and_hour(at_s: float) -> tuple[int, int]:
    moment = datetime.fromtimestamp(at_s, UTC)
    return moment.month, moment.hour


def _openings_began(connection: sqlite3.Connection, band: str) -> list[float]:
    return [ms / 1000 for (ms,) in connection.execute("SELECT began_ms FROM opening WHERE band = ?", (band,))]


def _stations_by_day(
    connection: sqlite3.Connection, band: str, first_day: int, end_day: int
) -> dict[int, tuple[int, int | None]]:
    found = connection.execute(
        "SELECT at_ms / :day_ms AS day, count(DISTINCT call),"
        " CAST(max(CASE WHEN trust >= :trust THEN distance_km END) AS INTEGER)"
        " FROM sighting WHERE id >= :first AND id < :end AND band = :band GROUP BY day",
        {
            "day_ms": DAY_MS,
            "trust": TRUST_TO_REMEMBER,
            "first": first_id(max(first_day, 0) * DAY_MS),
            "end": first_id(max(end_day, 0) * DAY_MS),
            "band": band,
        },
    )
    return {day: (stations, farthest_km) for day, stations, farthest_km in found}
