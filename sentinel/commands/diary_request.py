"""What ``sentinel diary`` was asked, and the diary's answers to it."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from sqlite3 import Connection

from sentinel.outputs.diary_how_often import between, hours_of
from sentinel.outputs.diary_queries import OpeningFilter, openings
from sentinel.outputs.diary_rows import OpeningRow
from sentinel.outputs.diary_schema import LATEST_MS
from sentinel.outputs.diary_spans import DAY_S, Span
from sentinel.outputs.diary_statistics import HourOfMonth, hour_by_month, spans

DEFAULT_DAYS = {"days": 30, "sightings": 1, "notables": 30}
"""How far back these go where nothing says since when."""


@dataclass(frozen=True, slots=True)
class Request:
    """What was asked, and of which diary. ``place`` is the station's locator, if known."""

    connection: Connection
    band: str
    wanted: OpeningFilter
    place: str

    def openings(self) -> Sequence[OpeningRow]:
        """The openings asked for, the oldest first."""
        return openings(self.connection, self.wanted)

    def spans(self) -> list[Span]:
        """The spans of the band's states within the time asked for."""
        return between(spans(self.connection, self.band), self.wanted.since_s, self.wanted.until_s)

    @property
    def is_filtered(self) -> bool:
        """Whether only some of the openings are asked for."""
        wanted = self.wanted
        bounds = (wanted.since_s, wanted.until_s, wanted.bearing_deg, wanted.mode)
        return any(bound is not None for bound in bounds) or wanted.min_stations > 0

    def hours(self) -> Sequence[HourOfMonth]:
        """Hour by month, of all openings or of those asked for."""
        if not self.is_filtered:
            return hour_by_month(self.connection, self.band)
        return hours_of(self.spans(), self.openings())

    def time(self, what: str) -> tuple[float, float]:
        """From when until when, where a list needs bounds; never beyond what a diary can hold."""
        until_s = min(LATEST_MS / 1000, time.time() if self.wanted.until_s is None else self.wanted.until_s)
        since_s = until_s - DEFAULT_DAYS[what] * DAY_S if self.wanted.since_s is None else self.wanted.since_s
        return max(0.0, since_s), max(0.0, until_s)
