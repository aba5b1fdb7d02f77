"""Rows to SQL: the statements and their bound parameters for each kind of row, and nothing else.

Received text reaches SQL only as a bound parameter. A row that no diary can hold (a time out of range, a
number that is not finite where one is needed) is left out and counted, instead of failing its batch for ever.
"""

import json
import math
import zlib
from dataclasses import asdict, fields
from functools import singledispatch

from sentinel.outputs.diary_rows import (
    Checkpoint,
    DiaryBatch,
    DowntimeRow,
    HealthRow,
    NotableRow,
    OpeningRow,
    Recent,
    SightingRow,
    SlotRow,
    Snapshot,
    StateRow,
    Struck,
    Watched,
)
from sentinel.outputs.diary_schema import LATEST_MS, SEQUENCE_BITS
from sentinel.outputs.hygiene import clean_text
from sentinel.outputs.values import rounded_bearing_deg

DAY_MS = 86_400_000

TEXT_LIMIT = 1000
"""Longest text of a row, characters; the longest sentence for people is far below it."""

TRUST_TO_REMEMBER = 0.5
"""From this trust on a place counts as heard before: a report more likely wrong than right must not
take the surprise from the first real one."""

Value = str | bytes | int | float | None
Statement = tuple[str, dict[str, Value]]

_IN_SLOT = "id BETWEEN :first AND :last AND band = :band"
_NEXT_ID = "coalesce((SELECT max(id) + 1 FROM {table} WHERE id BETWEEN :first AND :last), :first)"

SIGHTING = f"""INSERT INTO sighting
    (id, band, call, locator, distance_km, bearing_deg, snr_db, audio_hz, trust)
    SELECT {_NEXT_ID.format(table="sighting")}, :band, :call, :locator, :distance_km, :bearing_deg, :snr_db,
    :audio_hz, :trust WHERE NOT EXISTS (SELECT 1 FROM sighting WHERE {_IN_SLOT} AND call = :call)"""

STATION = """INSERT INTO station (call, locator, last_day) VALUES (:call, :locator, :day)
    ON CONFLICT DO UPDATE SET locator = coalesce(excluded.locator, locator), last_day = excluded.last_day
    WHERE excluded.last_day > last_day
    OR (excluded.last_day = last_day AND excluded.locator IS NOT NULL AND excluded.locator IS NOT locator)"""

HEARD_DAY = "INSERT INTO heard_day (band, call, day) VALUES (:band, :call, :day) ON CONFLICT DO NOTHING"

FIRST_HEARD = """INSERT INTO first_heard (band, kind, name, at_ms, call)
    VALUES (:band, :kind, :name, :at_ms, :call)
    ON CONFLICT DO UPDATE SET at_ms = excluded.at_ms, call = excluded.call WHERE excluded.at_ms < at_ms"""

SLOT = f"""INSERT INTO slot (id, band, decodes, rejected, near_stations, far_stations)
    SELECT {_NEXT_ID.format(table="slot")}, :band, :decodes, :rejected, :near_stations, :far_stations
    WHERE NOT EXISTS (SELECT 1 FROM slot WHERE {_IN_SLOT})"""

FULLER_SLOT = f"""UPDATE slot SET decodes = :decodes, rejected = :rejected, near_stations = :near_stations,
    far_stations = :far_stations WHERE {_IN_SLOT} AND decodes < :decodes"""

STATE = """INSERT INTO state_change (band, at_ms, state, because, blind_reason)
    VALUES (:band, :at_ms, :state, :because, :blind_reason)
    ON CONFLICT DO UPDATE SET state = excluded.state, because = excluded.because,
    blind_reason = excluded.blind_reason"""

DOWNTIME = """INSERT INTO downtime (band, since_ms, until_ms) VALUES (:band, :since_ms, :until_ms)
    ON CONFLICT DO UPDATE SET until_ms = max(until_ms, excluded.until_ms)"""

OPENING_COLUMNS = (
    *("band", "id", "began_ms", "peak_ms", "ended_ms", "last_ms", "bearing_deg", "spread_deg"),
    *("stations", "peak_stations", "total_stations", "nearest_km", "farthest_km", "best_snr_db"),
    *("mode", "muf_mhz", "locators", "detail"),
)

OPENING = f"""INSERT INTO opening ({", ".join(OPENING_COLUMNS)})
    VALUES ({", ".join(f":{name}" for name in OPENING_COLUMNS)})
    ON CONFLICT DO UPDATE SET {", ".join(f"{name} = excluded.{name}" for name in OPENING_COLUMNS[2:])}
    WHERE (excluded.last_ms, excluded.ended_ms IS NOT NULL) >= (last_ms, ended_ms IS NOT NULL)"""

NOTABLE = """INSERT INTO notable (band, id, at_ms, what, station, sentence, opening_id)
    VALUES (:band, :id, :at_ms, :what, :station, :sentence, :opening_id) ON CONFLICT DO NOTHING"""

HEALTH = """INSERT INTO health (at_ms, part, is_well, note) VALUES (:at_ms, :part, :is_well, :note)
    ON CONFLICT DO UPDATE SET is_well = excluded.is_well, note = excluded.note"""

MEMORY = """INSERT INTO memory (kind, name, value) VALUES (:kind, :name, :value)
    ON CONFLICT DO UPDATE SET value = excluded.value"""


FORGET_RECENT = "DELETE FROM memory WHERE kind = 'recent' AND name BETWEEN :band || '/' AND :band || '/~'"

RECENT = """INSERT INTO memory (kind, name, value) SELECT 'recent',
    :band || '/' || printf('%010d', coalesce(max(substr(name, -10) + 0), 0) + 1), :value
    FROM memory WHERE kind = 'recent' AND name BETWEEN :band || '/' AND :band || '/~'"""


STRIKE_STATES = "DELETE FROM state_change WHERE band = :band AND at_ms > :at_ms"
STRIKE_HEALTH = "DELETE FROM health WHERE at_ms > :at_ms"


def milliseconds(at_s: float) -> int:
    """Seconds since 1970 as whole milliseconds. Raises ValueError outside 1970 to 2109."""
    if not 0 <= at_s * 1000 < LATEST_MS - 1:
        raise ValueError(f"a time of {at_s} s is outside the diary's range, 1970 to 2109")
    return round(at_s * 1000)


def first_id(at_ms: int) -> int:
    """The lowest sighting or slot key that a time can have."""
    return at_ms << SEQUENCE_BITS


def statements(batch: DiaryBatch) -> tuple[list[Statement], int]:
    """Everything that writes the batch, in order, and the number of rows that no diary can hold."""
    done: list[Statement] = []
    refused = 0
    for each in fields(batch):
        for row in getattr(batch, each.name):
            try:
                done.extend(_write(row))
            except (ValueError, OverflowError):
                refused += 1
    return done, refused


@singledispatch
def _write(row: object) -> list[Statement]:
    raise TypeError(f"the diary has no place for a {type(row).__name__}")


@_write.register
def _(row: SightingRow) -> list[Statement]:
    at_ms = milliseconds(row.at_s)
    call, band, locator = _text(row.call), _text(row.band), _maybe_text(row.locator)
    day = at_ms // DAY_MS
    sighting: dict[str, Value] = {
        **_slot_key(at_ms),
        "band": band,
        "call": call,
        "locator": locator,
        "distance_km": round(_finite(row.distance_km)),
        "bearing_deg": rounded_bearing_deg(_finite(row.bearing_deg)),
        "snr_db": _maybe_finite(row.snr_db),
        "audio_hz": _maybe_finite(row.audio_hz),
        "trust": round(_finite(row.trust), 2),
    }
    places = {"square": locator[:4] if locator else None, "country": _maybe_text(row.country)}
    done: list[Statement] = [
        (SIGHTING, sighting),
        (STATION, {"call": call, "locator": locator, "day": day}),
        (HEARD_DAY, {"band": band, "call": call, "day": day}),
    ]
    if row.trust >= TRUST_TO_REMEMBER:
        done += [
            (FIRST_HEARD, {"band": band, "kind": kind, "name": name, "at_ms": at_ms, "call": call})
            for kind, name in places.items()
            if name
        ]
    return done


@_write.register
def _(row: SlotRow) -> list[Statement]:
    slot: dict[str, Value] = {
        **_slot_key(milliseconds(row.at_s)),
        "band": _text(row.band),
        "decodes": row.decodes,
        "rejected": row.rejected,
        "near_stations": row.near_stations,
        "far_stations": row.far_stations,
    }
    return [(FULLER_SLOT, slot), (SLOT, slot)]


@_write.register
def _(row: StateRow) -> list[Statement]:
    change: dict[str, Value] = {
        "band": _text(row.band),
        "at_ms": milliseconds(row.at_s),
        "state": row.state.value,
        "because": _text(row.because),
        "blind_reason": _maybe_text(row.blind_reason),
    }
    return [(STATE, change)]


@_write.register
def _(row: DowntimeRow) -> list[Statement]:
    span: dict[str, Value] = {
        "band": _text(row.band),
        "since_ms": milliseconds(row.since_s),
        "until_ms": milliseconds(row.until_s),
    }
    return [(DOWNTIME, span)]


@_write.register
def _(row: OpeningRow) -> list[Statement]:
    opening = row.opening
    detail = {
        "likelihoods": [asdict(each) for each in opening.likelihoods],
        "reflections": [asdict(each) for each in opening.reflections],
        "drift": asdict(opening.drift) if opening.drift else None,
    }
    columns: dict[str, Value] = {
        "band": _text(row.band),
        "id": _text(opening.id),
        "began_ms": milliseconds(opening.began_at_s),
        "peak_ms": milliseconds(opening.peak_at_s),
        "ended_ms": None if opening.ended_at_s is None else milliseconds(opening.ended_at_s),
        "last_ms": milliseconds(opening.last_at_s),
        "bearing_deg": _finite(opening.bearing_deg),
        "spread_deg": _finite(opening.spread_deg),
        "stations": opening.stations,
        "peak_stations": opening.peak_stations,
        "total_stations": opening.total_stations,
        "nearest_km": opening.nearest_km,
        "farthest_km": opening.farthest_km,
        "best_snr_db": _maybe_finite(opening.best_snr_db),
        "mode": opening.mode.value,
        "muf_mhz": _maybe_finite(opening.muf_mhz),
        "locators": _text(" ".join(opening.locators)),
        "detail": json.dumps(detail, allow_nan=False),
    }
    return [(OPENING, columns)]


@_write.register
def _(row: NotableRow) -> list[Statement]:
    notable = row.notable
    event: dict[str, Value] = {
        "band": _text(row.band),
        "id": _text(notable.id),
        "at_ms": milliseconds(notable.at_s),
        "what": _text(notable.what),
        "station": _maybe_text(notable.station),
        "sentence": _text(notable.sentence),
        "opening_id": _maybe_text(notable.opening_id),
    }
    return [(NOTABLE, event)]


@_write.register
def _(row: HealthRow) -> list[Statement]:
    change: dict[str, Value] = {
        "at_ms": milliseconds(row.at_s),
        "part": _text(row.part),
        "is_well": row.is_well,
        "note": _text(row.note),
    }
    return [(HEALTH, change)]


@_write.register
def _(row: Checkpoint) -> list[Statement]:
    (row.source + row.json).encode("utf-8")  # a lone surrogate raises ValueError here, not inside SQLite
    return [(MEMORY, {"kind": "checkpoint", "name": row.source, "value": row.json})]


@_write.register
def _(row: Snapshot) -> list[Statement]:
    packed = zlib.compress(row.json.encode("utf-8"))
    return [(MEMORY, {"kind": row.kind, "name": row.band, "value": packed})]


@_write.register
def _(row: Struck) -> list[Statement]:
    at_ms = milliseconds(row.after_s)
    return [(STRIKE_STATES, {"band": _text(row.band), "at_ms": at_ms}), (STRIKE_HEALTH, {"at_ms": at_ms})]


@_write.register
def _(row: Recent) -> list[Statement]:
    band = {"band": _text(row.band)}
    packed = zlib.compress("\n".join(row.lines).encode("utf-8"))
    forget: list[Statement] = [(FORGET_RECENT, {**band})] if row.is_whole else []
    return [*forget, (RECENT, {**band, "value": packed})] if row.lines else forget


@_write.register
def _(row: Watched) -> list[Statement]:
    return [(MEMORY, {"kind": "watched", "name": row.band, "value": milliseconds(row.until_s)})]


def _slot_key(at_ms: int) -> dict[str, Value]:
    return {"first": first_id(at_ms), "last": first_id(at_ms + 1) - 1}


def _text(value: str) -> str:
    return clean_text(value, TEXT_LIMIT)


def _maybe_text(value: str | None) -> str | None:
    return None if value is None else _text(value)


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise ValueError("not a finite number")
    return value


def _maybe_finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
