"""How a replay is shown: JSON Lines for programs, a readable timeline for people."""

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Protocol, TextIO

from sentinel.outputs.wire import notable_record, opening_record, state_record, summary_record, to_json
from sentinel.watch.bulletin import Mode
from sentinel.watch.changes import Change, OpeningChanged, Phase, StateChanged
from sentinel.watch.sentences import MODE_WORDS, between_km, compass_point, minutes


class View(Protocol):
    """Shows changes as they come, and a summary at the end."""

    def show(self, changes: Iterable[Change], band: str | None = None) -> None:
        """``band`` is None where only one is watched."""

    def summary(self, *, lines: int, decodes: int, rejected: int, far_stations: int) -> None: ...


class JsonView:
    """The records of the contract, one a line."""

    def __init__(self, out: TextIO) -> None:
        self._out = out

    def show(self, changes: Iterable[Change], band: str | None = None) -> None:
        for change in changes:
            if isinstance(change, StateChanged):
                record = state_record(change.bulletin, band)
            elif isinstance(change, OpeningChanged):
                record = opening_record(change.phase.value, change.opening, change.at_s, band)
            else:
                record = notable_record(change.notable, band)
            self._out.write(to_json(record) + "\n")

    def summary(self, *, lines: int, decodes: int, rejected: int, far_stations: int) -> None:
        record = summary_record(lines=lines, decodes=decodes, rejected=rejected, far_stations=far_stations)
        self._out.write(to_json(record) + "\n")


class TextView:
    """A timeline: a new day has a heading, each change a line."""

    def __init__(self, out: TextIO) -> None:
        self._out = out
        self._day = ""

    def show(self, changes: Iterable[Change], band: str | None = None) -> None:
        for change in changes:
            self._turn_day(change.at_s)
            on_band = "" if band is None else f"{band:<4} "
            self._out.write(f"{_time(change.at_s)}  {on_band}{_line(change)}\n")

    def summary(self, *, lines: int, decodes: int, rejected: int, far_stations: int) -> None:
        self._out.write(
            f"{lines:,} lines, {decodes:,} decodes, {rejected:,} rejected, "
            f"{far_stations:,} far stations in all\n"
        )

    def _turn_day(self, at_s: float) -> None:
        day = datetime.fromtimestamp(at_s, UTC).strftime("%A %d %B %Y, UTC")
        if day != self._day:
            self._out.write(f"{day}\n")
            self._day = day


def _time(at_s: float) -> str:
    return datetime.fromtimestamp(at_s, UTC).strftime("%H:%M:%S")


def _line(change: Change) -> str:
    if isinstance(change, StateChanged):
        return f"{change.bulletin.state.value.upper():<9} {change.bulletin.because}"
    if not isinstance(change, OpeningChanged):
        return f"{'  notable':<9} {change.notable.sentence}"
    opening = change.opening
    where = f"{compass_point(opening.bearing_deg)} ({opening.bearing_deg:.0f}°)"
    if change.phase is Phase.BEGAN:
        return f"{'  began':<9} an opening to the {where}"
    how = MODE_WORDS[opening.mode] if opening.mode is not Mode.UNKNOWN else "of unknown mode"
    muf = "" if opening.muf_mhz is None else f", MUF up to about {opening.muf_mhz:.0f} MHz"
    return (
        f"{'  ended':<9} the opening to the {where} after "
        f"{minutes(opening.last_at_s - opening.began_at_s)}: {opening.total_stations} stations, "
        f"{between_km(opening.nearest_km, opening.farthest_km)}, {how}{muf}"
    )
