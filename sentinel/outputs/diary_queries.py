"""Questions to the diary about what came through: openings, sightings, notable events.

Each is a function of a connection (``reading`` gives a read-only one), binds every parameter and returns the
rows as they were written. Times are seconds since 1970 UTC.
"""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sentinel.outputs.diary_file import (
    DiaryUnavailable,
    error_code,
    file_identity,
    refuse_what_is_not_ours,
    unavailable,
)
from sentinel.outputs.diary_rows import NotableRow, OpeningRow, SightingRow
from sentinel.outputs.diary_schema import LATEST_MS
from sentinel.outputs.diary_statements import OPENING_COLUMNS, first_id
from sentinel.watch.bulletin import Drift, Likelihood, Mode, Notable, Opening, Reflection

OPENING_AS_IS = (
    *("bearing_deg", "spread_deg", "stations", "peak_stations", "total_stations"),
    *("nearest_km", "farthest_km", "best_snr_db", "muf_mhz"),
)
"""Columns that are fields of ``Opening`` as they stand."""


@dataclass(frozen=True, slots=True)
class OpeningFilter:
    """Which openings to list; None means any.

    An opening matches if part of it lies in ``since_s`` < t <= ``until_s``, and its bearing within
    ``width_deg`` either side of ``bearing_deg``, over north where need be.
    """

    since_s: float | None = None
    until_s: float | None = None
    bearing_deg: float | None = None
    width_deg: float = 22.5
    mode: Mode | None = None
    band: str | None = None
    min_stations: int = 0


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A read-only connection to the diary, also while the daemon writes it, also on a read-only card.

    Raises DiaryUnavailable, also for what goes wrong inside the ``with`` block.
    """
    if file_identity(path) is None:
        raise DiaryUnavailable(
            f"there is no diary {path}, or it may not be read: the first `sentinel run` begins it"
        )
    try:
        with closing(_read_only(path)) as connection:
            refuse_what_is_not_ours(connection, path)
            yield connection
    except sqlite3.Error as error:
        raise unavailable(path, error) from error


def _read_only(path: Path) -> sqlite3.Connection:
    address = path.resolve().as_uri()
    connection = sqlite3.connect(f"{address}?mode=ro", uri=True, isolation_level=None)
    try:
        connection.execute("SELECT 1 FROM sqlite_schema").fetchone()
    except sqlite3.Error as error:
        connection.close()
        if error_code(error) not in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY):
            raise
        # A read-only card has no room for the log's index; nobody can be writing there either.
        connection = sqlite3.connect(f"{address}?immutable=1", uri=True, isolation_level=None)
    return connection


OPENINGS = f"""SELECT {", ".join(OPENING_COLUMNS)} FROM opening
    WHERE (:since_ms IS NULL OR coalesce(ended_ms, last_ms) > :since_ms)
    AND (:until_ms IS NULL OR began_ms <= :until_ms)
    AND (:mode IS NULL OR mode = :mode) AND (:band IS NULL OR band = :band)
    AND peak_stations >= :min_stations
    AND (:low IS NULL OR CASE WHEN :low <= :high THEN bearing_deg BETWEEN :low AND :high
        ELSE bearing_deg >= :low OR bearing_deg <= :high END)
    AND (NOT :is_live OR ended_ms IS NULL)
    ORDER BY began_ms, band, id"""

SIGHTINGS = """SELECT at_ms, band, call, locator, distance_km, bearing_deg, snr_db, trust, audio_hz
    FROM sighting WHERE id > :since AND id <= :until
    AND (:band IS NULL OR band = :band) AND (:call IS NULL OR call = :call) ORDER BY id"""

NOTABLES = """SELECT band, id, at_ms, what, station, sentence, opening_id FROM notable
    WHERE at_ms > :since_ms AND at_ms <= :until_ms AND (:band IS NULL OR band = :band)
    ORDER BY at_ms, band, id"""


def openings(connection: sqlite3.Connection, wanted: OpeningFilter | None = None) -> tuple[OpeningRow, ...]:
    """The openings that match, the oldest first."""
    return _openings(connection, wanted or OpeningFilter(), is_live=False)


def live_openings(connection: sqlite3.Connection, band: str) -> tuple[Opening, ...]:
    """Openings of a band that had not ended when the diary was last written."""
    return tuple(row.opening for row in _openings(connection, OpeningFilter(band=band), is_live=True))


def _openings(connection: sqlite3.Connection, wanted: OpeningFilter, is_live: bool) -> tuple[OpeningRow, ...]:
    is_anywhere = wanted.bearing_deg is None or wanted.width_deg >= 180
    bearing_deg = wanted.bearing_deg or 0.0
    found = connection.execute(
        OPENINGS,
        {
            "since_ms": None if wanted.since_s is None else wanted.since_s * 1000,
            "until_ms": None if wanted.until_s is None else wanted.until_s * 1000,
            "mode": None if wanted.mode is None else wanted.mode.value,
            "band": wanted.band,
            "min_stations": wanted.min_stations,
            "low": None if is_anywhere else (bearing_deg - wanted.width_deg) % 360,
            "high": None if is_anywhere else (bearing_deg + wanted.width_deg) % 360,
            "is_live": is_live,
        },
    )
    return tuple(opening_row(dict(zip(OPENING_COLUMNS, row, strict=True))) for row in found)


def opening_row(column: dict[str, Any]) -> OpeningRow:
    """The row behind these columns. Raises ValueError, KeyError or TypeError for damaged ones."""
    detail = json.loads(column["detail"])
    opening = Opening(
        id=column["id"],
        began_at_s=column["began_ms"] / 1000,
        peak_at_s=column["peak_ms"] / 1000,
        ended_at_s=None if column["ended_ms"] is None else column["ended_ms"] / 1000,
        last_at_s=column["last_ms"] / 1000,
        locators=tuple(column["locators"].split()),
        mode=Mode(column["mode"]),
        likelihoods=tuple(Likelihood(Mode(each.pop("mode")), **each) for each in detail["likelihoods"]),
        reflections=tuple(Reflection(**each) for each in detail["reflections"]),
        drift=Drift(**detail["drift"]) if detail["drift"] else None,
        **{name: column[name] for name in OPENING_AS_IS},
    )
    return OpeningRow(column["band"], opening)


def sightings(
    connection: sqlite3.Connection,
    since_s: float,
    until_s: float,
    band: str | None = None,
    call: str | None = None,
) -> Iterator[SightingRow]:
    """Sightings in ``since_s`` < t <= ``until_s``, one by one: a year of them need not fit in memory."""
    span = {"since": _last_id(since_s), "until": _last_id(until_s), "band": band, "call": call}
    for at_ms, *rest in connection.execute(SIGHTINGS, span):
        yield SightingRow(at_ms / 1000, *rest)


def notables(
    connection: sqlite3.Connection, since_s: float, until_s: float, band: str | None = None
) -> tuple[NotableRow, ...]:
    """Notable events in ``since_s`` < t <= ``until_s``."""
    span = {"since_ms": since_s * 1000, "until_ms": until_s * 1000, "band": band}
    return tuple(
        NotableRow(row_band, Notable(id_, at_ms / 1000, what, station, sentence, opening_id))
        for row_band, id_, at_ms, what, station, sentence, opening_id in connection.execute(NOTABLES, span)
    )


def _last_id(at_s: float) -> int:
    """The highest sighting key up to a time, which is held within the diary's range."""
    return first_id(int(min(max(at_s * 1000, -1), LATEST_MS - 2)) + 1) - 1
