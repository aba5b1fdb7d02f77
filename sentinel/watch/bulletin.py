"""The bulletin: the single source of truth for everything that a person or a machine sees.

MQTT, panel, page, terminal and diary read it and compute nothing about the band themselves.
Times are seconds since 1970 UTC (``at_s``); bearings in [0, 360), 0 true north, 90 east.
"""

from dataclasses import dataclass, field
from enum import StrEnum


class State(StrEnum):
    """What the watch says of the band."""

    QUIET = "quiet"
    STIRRING = "stirring"
    OPEN = "open"
    BLIND = "blind"


class Mode(StrEnum):
    """How the signals come: the trade's propagation modes."""

    SPORADIC_E = "sporadic-e"
    MULTI_HOP_SPORADIC_E = "multi-hop-sporadic-e"
    F2 = "f2"
    TRANSEQUATORIAL = "transequatorial"
    METEOR_SCATTER = "meteor-scatter"
    AURORA = "aurora"
    TROPO = "tropo"
    UNKNOWN = "unknown"


class BlindReason(StrEnum):
    """Why the receiver cannot be judged; a stable code, the sentence stands in ``because``."""

    CANARY_SILENT = "canary-silent"
    SOURCE_GONE = "source-gone"
    NO_LINES = "no-lines"
    DECODER_GONE = "decoder-gone"
    CLOCK_OFF = "clock-off"
    LOCALS_SILENT = "locals-silent"
    STARTING = "starting"


class LocationSource(StrEnum):
    """Where a station's place is known from, best first."""

    MESSAGE = "message"
    HEARD_BEFORE = "heard-before"
    LOG = "log"
    PREFIX = "prefix"


@dataclass(frozen=True, slots=True)
class Station:
    """A far station in the window. ``uncertainty_km`` is the radius that its locator or area leaves open."""

    call: str
    locator: str | None
    location_source: LocationSource
    uncertainty_km: float
    bearing_deg: float
    distance_km: float
    first_at_s: float
    last_at_s: float
    slots: int
    best_snr_db: float | None
    last_snr_db: float | None
    audio_hz: float | None
    trust: float
    reasons: tuple[str, ...] = ()
    lat_deg: float = 0.0
    lon_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Heading:
    """One live direction. ``spread_deg`` is the circular standard deviation weighted by trust."""

    bearing_deg: float
    spread_deg: float
    stations: int
    nearest_km: int
    farthest_km: int
    mode: Mode


@dataclass(frozen=True, slots=True)
class Likelihood:
    """One mode's share of the evidence, 0 to 1, and the plain reason for it."""

    mode: Mode
    share: float
    reason: str


@dataclass(frozen=True, slots=True)
class Reflection:
    """A reflection point: the midpoint of one path."""

    lat_deg: float
    lon_deg: float
    call: str


@dataclass(frozen=True, slots=True)
class Drift:
    """How the reflecting cloud moves: towards ``bearing_deg`` at ``speed_m_s``."""

    bearing_deg: float
    speed_m_s: float


@dataclass(frozen=True, slots=True)
class Opening:
    """One opening: an area that comes through, with an identity that lives while the area does.

    ``ended_at_s`` is None while it lives. ``muf_mhz`` is what the shortest skip implies ("up to about"),
    None where the mode has none. ``locators`` are four-character squares, sorted.
    """

    id: str
    began_at_s: float
    peak_at_s: float
    ended_at_s: float | None
    last_at_s: float
    bearing_deg: float
    spread_deg: float
    stations: int
    peak_stations: int
    total_stations: int
    locators: tuple[str, ...]
    nearest_km: int
    farthest_km: int
    best_snr_db: float | None
    mode: Mode
    likelihoods: tuple[Likelihood, ...] = ()
    muf_mhz: float | None = None
    reflections: tuple[Reflection, ...] = ()
    drift: Drift | None = None


@dataclass(frozen=True, slots=True)
class Notable:
    """Something worth a notification. ``what`` is a stable code, ``sentence`` is for people."""

    id: str
    at_s: float
    what: str
    station: str | None
    sentence: str
    opening_id: str | None = None


@dataclass(frozen=True, slots=True)
class ReceiverHealth:
    """What the core knows of the receiver, from event time alone."""

    lines: int = 0
    decodes: int = 0
    rejected: int = 0
    late: int = 0
    last_decode_at_s: float | None = None
    clock_error_s: float | None = None
    canary_last_at_s: float | None = None
    near_stations: int = 0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """One moving part outside the core: a source, the broker, the display, the diary, the clock.

    ``is_well`` None means not configured or not known yet. ``note`` is one short sentence for people.
    """

    name: str
    is_well: bool | None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Chance:
    """The outlook for one mode: chances between 0 and 1 for the next 1, 6 and 24 hours, with the reason."""

    mode: Mode
    next_1_h: float
    next_6_h: float
    next_24_h: float
    reason: str


@dataclass(frozen=True, slots=True)
class OtherBand:
    """How another band that is watched too stands, to be marked beside the one that is shown."""

    band: str
    state: State


@dataclass(frozen=True, slots=True)
class Bulletin:
    """Everything there is to say about one band at one moment.

    When ``state`` is blind, ``far_stations`` is None and the lists are empty: measurements are unknown,
    not zero. ``parts``, ``outlook`` and ``other_bands`` (ascending) are filled in by the daemon, everything
    else by the core.
    """

    band: str
    at_s: float
    state: State
    since_s: float
    previous: State | None
    because: str
    blind_reason: BlindReason | None
    far_stations: int | None
    headings: tuple[Heading, ...] = ()
    mode: Mode | None = None
    stations: tuple[Station, ...] = ()
    openings: tuple[Opening, ...] = ()
    notables: tuple[Notable, ...] = ()
    receiver: ReceiverHealth = field(default_factory=ReceiverHealth)
    station_locator: str | None = None
    parts: tuple[Part, ...] = ()
    outlook: tuple[Chance, ...] = ()
    is_acknowledged: bool = False
    other_bands: tuple[OtherBand, ...] = ()
