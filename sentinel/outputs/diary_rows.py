"""What the diary is handed: one frozen row for each kind of thing worth remembering.

Rows come from the bulletin (``diary_news`` makes them) and say nothing about SQL (``diary_statements``
does). Every row has a natural key, given below: writing a row twice is the same as writing it once, so a
batch may be retried, and a log read again after a restart, without counting anything twice.
Times are seconds since 1970 UTC, kept to the millisecond.
"""

from collections.abc import Callable, Hashable
from dataclasses import dataclass, fields, replace
from typing import TypeVar

from sentinel.watch.bulletin import Notable, Opening, State

Row = TypeVar("Row")

NOT_RUNNING = "not-running"
"""The blind reason of downtime: the watch itself was off. The other codes are ``BlindReason``."""


@dataclass(frozen=True, slots=True)
class SightingRow:
    """One far station heard in one slot. Key: time, band, call.

    ``trust`` runs from 0 to 1; ``snr_db`` refers to 2500 Hz; ``country`` only feeds "never heard before".
    """

    at_s: float
    band: str
    call: str
    locator: str | None
    distance_km: float
    bearing_deg: float
    snr_db: float | None
    trust: float
    audio_hz: float | None = None
    country: str | None = None


@dataclass(frozen=True, slots=True)
class SlotRow:
    """What one slot, or one span of slots, brought in all. Key: time, band; the fuller row wins."""

    at_s: float
    band: str
    decodes: int
    rejected: int
    near_stations: int
    far_stations: int


@dataclass(frozen=True, slots=True)
class StateRow:
    """From ``at_s`` on the band is in ``state``, until the next row. Key: band, time; the last row wins."""

    at_s: float
    band: str
    state: State
    because: str
    blind_reason: str | None = None


@dataclass(frozen=True, slots=True)
class DowntimeRow:
    """The watch was not running from ``since_s`` to ``until_s``: blind, whatever stands beside it."""

    band: str
    since_s: float
    until_s: float


@dataclass(frozen=True, slots=True)
class OpeningRow:
    """An opening as it stands now. Key: band, opening id; the later row wins."""

    band: str
    opening: Opening


@dataclass(frozen=True, slots=True)
class NotableRow:
    """A notable event. Key: band, event id; the first row wins."""

    band: str
    notable: Notable


@dataclass(frozen=True, slots=True)
class HealthRow:
    """A part became well, unwell or unknown (None). Key: time, part; the last row wins."""

    at_s: float
    part: str
    is_well: bool | None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """Where a source stands (JSON text of its own making), written with the rows read up to there."""

    source: str
    json: str


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The core of one band as JSON text of its own making, from which it goes on after a restart.

    ``kind`` tells how it stood (``snapshot``, with every flush) from what it has learned (``learned``, seldom
    written).
    """

    band: str
    json: str
    kind: str = "snapshot"


@dataclass(frozen=True, slots=True)
class Recent:
    """What the core of one band was fed of late, a JSON text a decode: beside what is kept, or in its place.

    Appended, because writing an hour of a crowded band anew with every flush would wear the card out.
    """

    band: str
    lines: tuple[str, ...]
    is_whole: bool = False

    def then(self, later: "Recent") -> "Recent":
        """Both as one."""
        return later if later.is_whole else Recent(self.band, self.lines + later.lines, self.is_whole)


@dataclass(frozen=True, slots=True)
class Watched:
    """The watch of a band was alive until ``until_s``; what follows is unknown, not quiet."""

    band: str
    until_s: float


@dataclass(frozen=True, slots=True)
class Struck:
    """The clock was wrong: no state and no health of later than ``after_s`` has been known until now."""

    band: str
    after_s: float


@dataclass(frozen=True, slots=True)
class DiaryBatch:
    """Rows and checkpoints that are written together or not at all, what is struck out first."""

    struck: tuple[Struck, ...] = ()
    sightings: tuple[SightingRow, ...] = ()
    slots: tuple[SlotRow, ...] = ()
    states: tuple[StateRow, ...] = ()
    downtimes: tuple[DowntimeRow, ...] = ()
    openings: tuple[OpeningRow, ...] = ()
    notables: tuple[NotableRow, ...] = ()
    health: tuple[HealthRow, ...] = ()
    checkpoints: tuple[Checkpoint, ...] = ()
    snapshots: tuple[Snapshot, ...] = ()
    recents: tuple[Recent, ...] = ()
    watched: tuple[Watched, ...] = ()

    @property
    def rows(self) -> int:
        """Rows that add to the diary; the others are overwritten before long."""
        adding = (self.sightings, self.slots, self.states, self.downtimes, self.openings, self.notables)
        return sum(map(len, adding)) + len(self.health)

    @property
    def is_empty(self) -> bool:
        """Nothing at all to write."""
        return not any(getattr(self, each.name) for each in fields(self))

    def _without(self, struck: tuple[Struck, ...]) -> "DiaryBatch":
        after_s = {each.band: each.after_s for each in struck}
        until_s = min(after_s.values())
        return replace(
            self,
            struck=self.struck + struck,
            states=tuple(row for row in self.states if row.at_s <= after_s.get(row.band, row.at_s)),
            health=tuple(row for row in self.health if row.at_s <= until_s),
        )

    def then(self, later: "DiaryBatch") -> "DiaryBatch":
        """Both batches as one. Of what replaces (an opening, a checkpoint ...) only the later is kept."""
        if later.struck:
            return self._without(later.struck).then(replace(later, struck=()))
        return DiaryBatch(
            struck=self.struck,
            sightings=self.sightings + later.sightings,
            slots=self.slots + later.slots,
            states=self.states + later.states,
            downtimes=self.downtimes + later.downtimes,
            openings=_latest(self.openings + later.openings, lambda row: (row.band, row.opening.id)),
            notables=self.notables + later.notables,
            health=self.health + later.health,
            checkpoints=_latest(self.checkpoints + later.checkpoints, lambda row: row.source),
            snapshots=_latest(self.snapshots + later.snapshots, lambda row: (row.band, row.kind)),
            recents=_joined(self.recents + later.recents),
            watched=_latest(self.watched + later.watched, lambda row: row.band),
        )


def _joined(rows: tuple[Recent, ...]) -> tuple[Recent, ...]:
    joined: dict[str, Recent] = {}
    for row in rows:
        joined[row.band] = joined[row.band].then(row) if row.band in joined else row
    return tuple(joined.values())


def _latest(rows: tuple[Row, ...], key: Callable[[Row], Hashable]) -> tuple[Row, ...]:
    return tuple({key(row): row for row in rows}.values())
