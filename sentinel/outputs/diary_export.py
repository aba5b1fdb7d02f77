"""The diary's answers for spreadsheets, programs and terminals, pure: rows in, text out.

CSV follows RFC 4180 (CRLF, quotes doubled, one header line) and is safe to open in a spreadsheet. Times are
UTC in ISO 8601 with Z. Unknown is an empty cell in CSV and null in JSON.
"""

import csv
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Generic, TextIO, TypeVar

from sentinel.outputs.diary_rows import NotableRow, OpeningRow, SightingRow
from sentinel.outputs.diary_statistics import DaySummary, HourOfMonth
from sentinel.outputs.values import iso_z, maybe_iso_z, rounded, rounded_bearing_deg

Cell = str | int | float | None
Row = TypeVar("Row")

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A text cell that starts so is run as a formula by spreadsheets (OWASP, "CSV Injection", from memory)."""

FORMAT_VERSION = 1


@dataclass(frozen=True, slots=True)
class Table(Generic[Row]):
    """What an export holds: its name, its columns, and a row's cells in their order."""

    name: str
    columns: tuple[str, ...]
    cells: Callable[[Row], tuple[Cell, ...]]

    def records(self, rows: Iterable[Row]) -> Iterator[dict[str, Cell]]:
        """Each row as a mapping from column to cell."""
        return (dict(zip(self.columns, self.cells(row), strict=True)) for row in rows)


def _opening_cells(row: OpeningRow) -> tuple[Cell, ...]:
    opening = row.opening
    return (
        row.band,
        opening.id,
        iso_z(opening.began_at_s),
        maybe_iso_z(opening.ended_at_s),
        iso_z(opening.last_at_s),
        iso_z(opening.peak_at_s),
        opening.mode.value,
        rounded_bearing_deg(opening.bearing_deg),
        rounded(opening.spread_deg, 1),
        opening.peak_stations,
        opening.total_stations,
        opening.nearest_km,
        opening.farthest_km,
        rounded(opening.best_snr_db, 1),
        rounded(opening.muf_mhz, 1),
        " ".join(opening.locators),
    )


def _sighting_cells(row: SightingRow) -> tuple[Cell, ...]:
    return (
        row.band,
        iso_z(row.at_s),
        row.call,
        row.locator,
        rounded(row.distance_km, 0),
        rounded_bearing_deg(row.bearing_deg),
        rounded(row.snr_db, 1),
        rounded(row.trust, 2),
    )


def _notable_cells(row: NotableRow) -> tuple[Cell, ...]:
    notable = row.notable
    return (row.band, notable.id, iso_z(notable.at_s), notable.what, notable.station, notable.sentence)


def _hour_cells(row: HourOfMonth) -> tuple[Cell, ...]:
    minutes = (row.watched_s / 60, row.stirring_s / 60, row.open_s / 60)
    share = rounded(row.open_share, 4)
    return (row.month, row.hour, *(round(each, 1) for each in minutes), row.openings, share)


def _day_cells(row: DaySummary) -> tuple[Cell, ...]:
    lasted_s = (row.watched_s, row.stirring_s, row.open_s, row.blind_s, row.down_s)
    minutes = tuple(round(each / 60, 1) for each in lasted_s)
    return (iso_z(row.day_s)[:10], *minutes, row.openings, row.stations, row.farthest_km)


OPENINGS = Table(
    "openings",
    (
        *("band", "id", "began_at", "ended_at", "last_at", "peak_at", "mode", "bearing_deg", "spread_deg"),
        *("peak_stations", "total_stations", "nearest_km", "farthest_km", "best_snr_db", "muf_mhz"),
        "locators",
    ),
    _opening_cells,
)
SIGHTINGS = Table(
    "sightings",
    ("band", "at", "call", "locator", "distance_km", "bearing_deg", "snr_db", "trust"),
    _sighting_cells,
)
NOTABLES = Table("notables", ("band", "id", "at", "what", "station", "sentence"), _notable_cells)
HOURS = Table(
    "hour_by_month",
    ("month", "hour", "watched_min", "stirring_min", "open_min", "openings", "open_share"),
    _hour_cells,
)
DAYS = Table(
    "days",
    (
        *("date", "watched_min", "stirring_min", "open_min", "blind_min", "down_min"),
        *("openings", "stations", "farthest_km"),
    ),
    _day_cells,
)


def write_csv(out: TextIO, table: Table[Row], rows: Iterable[Row]) -> None:
    """Write a header and one record a row. Open the file with ``newline=""``. Raises OSError."""
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.columns)
    for row in rows:
        writer.writerow([_safe_cell(cell) for cell in table.cells(row)])


def write_json(out: TextIO, table: Table[Row], rows: Iterable[Row]) -> None:
    """Write one JSON object, a row a line, ASCII only: ``{"v": 1, "kind": "openings", "rows": [...]}``.

    Rows are written as they come, so that a year of them need not fit in memory. Raises OSError.
    """
    out.write(f'{{"v": {FORMAT_VERSION}, "kind": "{table.name}", "rows": [')
    separator = "\n"
    for record in table.records(rows):
        out.write(separator + json.dumps(record, allow_nan=False))
        separator = ",\n"
    out.write("\n]}\n")


def _safe_cell(cell: Cell) -> Cell:
    is_formula = isinstance(cell, str) and cell.startswith(FORMULA_STARTS)
    return f"'{cell}" if is_formula else cell
