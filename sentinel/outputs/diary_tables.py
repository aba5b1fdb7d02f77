"""The diary's answers as plain text for a terminal, pure: ASCII, no colour, for 110 columns."""

from collections.abc import Sequence

from sentinel.outputs.diary_rows import OpeningRow
from sentinel.outputs.diary_statistics import DaySummary, HourOfMonth
from sentinel.outputs.direction import point_of
from sentinel.outputs.values import iso_z

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
MOST_SQUARES = 4
"""Squares named in a line of the table; the exports have them all."""


def format_openings_table(rows: Sequence[OpeningRow]) -> str:
    """One opening a line, the oldest first; one still going on has a ``+`` behind its length."""
    if not rows:
        return "No openings.\n"
    head = ("began, UTC", "lasted", "from", "mode", "km", "stations", "MUF, MHz", "squares")
    return _columns([head, *(_opening_line(row) for row in rows)], right={1, 4, 5, 6})


def format_days_table(rows: Sequence[DaySummary]) -> str:
    """One day a line: hours watched, stirring, open, blind; openings; stations; the farthest, km."""
    if not rows:
        return "No days.\n"
    head = ("day, UTC", "watched", "stirring", "open", "blind", "openings", "stations", "farthest, km")
    lines = [
        (
            iso_z(row.day_s)[:10],
            *(_length(each) for each in (row.watched_s, row.stirring_s, row.open_s, row.blind_s)),
            str(row.openings),
            str(row.stations),
            "" if row.farthest_km is None else str(row.farthest_km),
        )
        for row in rows
    ]
    return _columns([head, *lines], right=set(range(1, 8)))


def format_hours_table(cells: Sequence[HourOfMonth]) -> str:
    """Months down, hours of the day (UTC) across: how much of the watched time the band was open."""
    by_place = {(cell.month, cell.hour): cell for cell in cells}
    lines = ["UTC " + "".join(f"{hour:>4}" for hour in range(24))]
    for month, name in enumerate(MONTHS, start=1):
        lines.append(f"{name} " + "".join(f"{_share(by_place[month, hour]):>4}" for hour in range(24)))
    lines.append("Per cent of the watched time that was open; . watched and never open; blank: not watched.")
    return "\n".join(lines) + "\n"


def _opening_line(row: OpeningRow) -> tuple[str, ...]:
    opening = row.opening
    end_s = opening.last_at_s if opening.ended_at_s is None else opening.ended_at_s
    squares = " ".join(opening.locators[:MOST_SQUARES])
    more = len(opening.locators) - MOST_SQUARES
    return (
        iso_z(opening.began_at_s)[:16].replace("T", " "),
        _length(end_s - opening.began_at_s) + ("+" if opening.ended_at_s is None else ""),
        f"{round(opening.bearing_deg) % 360:03d} {point_of(opening.bearing_deg)}",
        opening.mode.value,
        f"{opening.nearest_km}-{opening.farthest_km}",
        str(opening.total_stations),
        "" if opening.muf_mhz is None else f"{opening.muf_mhz:.0f}",
        squares + (f" and {more} more" if more > 0 else ""),
    )


def _share(cell: HourOfMonth) -> str:
    if cell.open_share is None:
        return ""
    if cell.open_s == 0:
        return "."
    per_cent = round(100 * cell.open_share)
    return str(per_cent) if per_cent else "<1"


def _length(seconds: float) -> str:
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours}:{minutes:02d}"


def _columns(lines: Sequence[tuple[str, ...]], right: set[int]) -> str:
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    shown = (
        "  ".join(
            cell.rjust(width) if index in right else cell.ljust(width)
            for index, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    )
    return "\n".join(shown) + "\n"
