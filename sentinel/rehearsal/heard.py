"""What is heard in one slot, with the truth behind it, and what is to be known of a whole scenario."""

from dataclasses import dataclass, field

from sentinel.rehearsal.population import Station
from sentinel.trade.locator import center_of

FAR_KM = 500.0  # the verdict's default
# One station beyond this makes an opening alone, if it is heard in three slots (the meaning of "open").
VERY_FAR_KM = 4000.0
# Areas that are no opening however long they are heard; every other area's name is a mechanism's.
EVERYDAY = frozenset({"", "ground", "beacon", "regular", "meteor", "aircraft"})


@dataclass(frozen=True, slots=True)
class Home:
    """Where the listener sits. The true place is the centre of the locator's cell."""

    name: str
    locator: str
    call: str

    @property
    def place(self) -> tuple[float, float]:
        """Latitude and longitude in degrees."""
        return tuple(center_of(self.locator))  # type: ignore[return-value]


@dataclass(frozen=True, slots=True)
class Heard:
    """One printed decode and its truth.

    ``station`` is None for a false decode and for what home itself transmits. ``area`` names the opening's
    mechanism that brought it, or ground, meteor, aircraft; ``distance_km`` and ``bearing_deg`` are true.
    """

    at_s: int
    message: str
    snr_db: int
    dt_s: float
    audio_hz: int
    station: Station | None = None
    area: str = ""
    distance_km: float = 0.0
    bearing_deg: float = 0.0
    is_own: bool = False
    mode: str = "FT8"

    @property
    def is_true(self) -> bool:
        """Somebody really sent it."""
        return self.station is not None or self.is_own

    @property
    def is_far(self) -> bool:
        """A real station at least ``FAR_KM`` away."""
        return self.station is not None and self.distance_km >= FAR_KM


@dataclass(frozen=True, slots=True)
class TrueOpening:
    """One opening as it was, from the true decodes of one area.

    ``due_at_s`` is when it became an opening: the slot in which the third distinct far station within 15
    minutes was first heard, or the third slot of a station beyond 4,000 km. ``sustained_at_s`` is when three
    had each been heard twice, or that one thrice. ``modes`` are the acceptable answers. ``gaps`` are the
    silences of two minutes and more. ``nearest_km`` and ``farthest_km`` span the stations whose locator was
    heard; ``bearing_deg`` is the circular mean over all its stations.
    """

    area: str
    modes: frozenset[str]
    began_s: int
    due_at_s: int
    sustained_at_s: int
    ended_s: int
    calls: tuple[str, ...]
    decodes: int
    bearing_deg: float
    spread_deg: float
    nearest_km: float
    farthest_km: float
    gaps: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Outage:
    """A dead decoder (no line at all) or a deaf receiver (nothing true, nothing of the canary).

    ``last_s`` and ``first_s`` are the last line, or the canary's last, before it and the first after it.
    """

    last_s: int
    first_s: int
    is_deaf: bool


@dataclass(frozen=True, slots=True)
class Settings:
    """What the listener would have configured for this scenario."""

    callsign: str = ""
    canaries: tuple[str, ...] = ()
    canary_silence_min: int = 20
    line_silence_min: int = 0


@dataclass(frozen=True, slots=True)
class Scenario:
    """A stretch of band time: what is heard, and the truth about it."""

    kind: str
    seed: int
    home: Home
    began_s: int
    ended_s: int
    heard: tuple[Heard, ...]
    openings: tuple[TrueOpening, ...] = ()
    outages: tuple[Outage, ...] = ()
    settings: Settings = field(default_factory=Settings)
    must_not_open: tuple[tuple[int, int], ...] = ()
    has_drifting_clock: bool = False

    @property
    def days(self) -> float:
        """Length in days."""
        return (self.ended_s - self.began_s) / 86400.0
