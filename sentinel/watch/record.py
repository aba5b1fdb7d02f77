"""The station's own past as the outlook takes it: hours watched and openings begun. The diary fills it in."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from sentinel.watch.bulletin import Mode

Cell = tuple[int, int]
"""A month (1 to 12) and an hour of the day (0 to 23), UTC, all years together."""


RECENT_DAYS = 30
"""So long the sun's flux, which turns in 27 days, is much like today's."""


@dataclass(frozen=True, slots=True)
class Record:
    """Counts by cell, and the last days as they were. Times are seconds since 1970 UTC.

    ``watched_h`` holds the hours in which the receiver could be judged; a cell without them says nothing.
    ``openings`` holds how many began in each cell. ``recent_openings`` says when each of the last
    ``RECENT_DAYS`` began, ``recent_watched`` which spans (start, end) of those days were watched.
    """

    watched_h: Mapping[Cell, float] = field(default_factory=dict)
    openings: Mapping[Mode, Mapping[Cell, int]] = field(default_factory=dict)
    recent_watched: tuple[tuple[float, float], ...] = ()
    recent_openings: tuple[tuple[Mode, float], ...] = ()
