"""The pieces that published JSON is made of: field types with their ranges, and one model a piece.

Whole messages stand in ``payloads`` and ``replay_records``. ``null`` means unknown, never zero.
"""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from sentinel.outputs.hygiene import clean_call, clean_text
from sentinel.watch.bulletin import BlindReason, LocationSource, Mode, State


def _text(value: object) -> object:
    return clean_text(value) if isinstance(value, str) else value


def _call(value: object) -> object:
    return clean_call(value) if isinstance(value, str) else value


def _real_time(value: str) -> str:
    datetime.strptime(value, "%Y-%m-%dT%H:%M:%S%z")
    return value


Time = Annotated[
    str,
    Field(pattern=r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z$", json_schema_extra={"format": "date-time"}),
    AfterValidator(_real_time),
]
Text = Annotated[str, BeforeValidator(_text)]
Call = Annotated[str, BeforeValidator(_call)]
Locator = Annotated[str, Field(pattern=r"^[A-R]{2}[0-9]{2}([a-x]{2}([0-9]{2}([a-x]{2})?)?)?$")]
Square = Annotated[str, Field(pattern=r"^[A-R]{2}[0-9]{2}$")]
Band = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9.-]{0,15}$")]
Bearing = Annotated[float, Field(ge=0, lt=360)]
Share = Annotated[float, Field(ge=0, le=1)]
Count = Annotated[int, Field(ge=0)]
Km = Annotated[int, Field(ge=0)]
Latitude = Annotated[float, Field(ge=-90, le=90)]
Longitude = Annotated[float, Field(ge=-180, le=180)]
Phase = Literal["began", "ended"]


class Payload(BaseModel):
    """Common rules: unknown fields ignored, no NaN, every field always present when written."""

    model_config = ConfigDict(
        frozen=True,
        extra="ignore",
        allow_inf_nan=False,
        json_schema_serialization_defaults_required=True,
        defer_build=True,  # most messages hold others, and some are never sent
    )


class HeadingPayload(Payload):
    """One live direction."""

    bearing_deg: Bearing = Field(
        description="Where the signals come from: degrees from true north, clockwise"
    )
    spread_deg: float = Field(
        ge=0, description="Circular standard deviation of the stations' bearings, degrees"
    )
    stations: Count = Field(description="Stations heard in this direction")
    nearest_km: Km = Field(description="Distance of the nearest station in this direction, km")
    farthest_km: Km = Field(description="Distance of the farthest station in this direction, km")
    mode: Mode = Field(description="How the signals most likely come: the propagation mode")


class LikelihoodPayload(Payload):
    """One mode's share of the evidence."""

    mode: Mode = Field(description="The propagation mode")
    share: Share = Field(description="Its share of the evidence, 0 to 1")
    reason: Text = Field(description="Why, for people")


class ReflectionPayload(Payload):
    """A reflection point: the midpoint of one path."""

    lat_deg: Latitude = Field(description="Latitude, degrees, north positive")
    lon_deg: Longitude = Field(description="Longitude, degrees, east positive")
    call: Call = Field(description="Call sign of the station at the other end")


class DriftPayload(Payload):
    """How the reflecting cloud moves."""

    bearing_deg: Bearing = Field(description="Where it moves to: degrees from true north, clockwise")
    speed_m_s: float = Field(ge=0, description="Speed over ground, metres a second")


class OpeningPayload(Payload):
    """One opening: an area that comes through, with an identity that lives while the area does."""

    id: Text = Field(description="Stable name of this opening")
    began_at: Time = Field(description="When it began, UTC")
    peak_at: Time = Field(description="When most stations were heard at once, UTC")
    last_at: Time = Field(description="When a station in it was last heard, UTC")
    ended_at: Time | None = Field(description="When it ended, UTC; null while it lives")
    bearing_deg: Bearing = Field(description="Middle of the area: degrees from true north, clockwise")
    spread_deg: float = Field(
        ge=0, description="Circular standard deviation of the stations' bearings, degrees"
    )
    stations: Count = Field(description="Stations heard now")
    peak_stations: Count = Field(description="Most stations heard at once")
    total_stations: Count = Field(description="Stations heard since it began")
    nearest_km: Km = Field(description="Distance of the nearest station, km")
    farthest_km: Km = Field(description="Distance of the farthest station, km")
    best_snr_db: float | None = Field(description="Strongest signal-to-noise ratio, dB in 2500 Hz")
    mode: Mode = Field(description="The most likely propagation mode")
    muf_mhz: float | None = Field(
        description="Maximum usable frequency that the shortest skip implies: 'up to about', MHz"
    )
    locators: list[Locator] = Field(default=[], description="Four-character locator squares heard, sorted")
    likelihoods: list[LikelihoodPayload] = Field(default=[], description="The modes weighed, likeliest first")
    reflections: list[ReflectionPayload] = Field(default=[], description="Midpoints of the paths; at most 12")
    drift: DriftPayload | None = Field(
        default=None, description="Movement of the reflecting cloud, if measured"
    )


class NotablePayload(Payload):
    """Something worth a notification."""

    id: Text = Field(description="Stable name of this notable")
    at: Time = Field(description="When, UTC")
    what: Text = Field(description="What, as a stable code")
    station: Call | None = Field(description="Call sign it is about, if about one station")
    sentence: Text = Field(description="What, for people")
    opening_id: Text | None = Field(description="The opening it belongs to")


class ReceiverPayload(Payload):
    """What is known of the receiver and the decoder."""

    lines: Count = Field(default=0, description="Lines read")
    decodes: Count = Field(default=0, description="Lines that were decodes")
    rejected: Count = Field(default=0, description="Lines that did not fit the layout or were not believed")
    late: Count = Field(default=0, description="Decodes that came too late to count")
    last_decode_at: Time | None = Field(default=None, description="Time of the newest decode, UTC")
    decoder_age_s: Count | None = Field(default=None, description="Age of the newest decode, seconds")
    clock_error_s: float | None = Field(default=None, description="Estimated error of the clock, seconds")
    canary_last_at: Time | None = Field(default=None, description="When a canary was last heard, UTC")
    near_stations: Count = Field(default=0, description="Stations heard nearer than far_km")
    notes: list[Text] = Field(default=[], description="Remarks, for people")


class PartPayload(Payload):
    """One moving part of the station: a source, the broker, the display, the diary, the clock."""

    name: Text = Field(description="Which part")
    well: bool | None = Field(
        default=None, description="Whether it works; null if not configured or not known"
    )
    note: Text = Field(default="", description="One short sentence, for people")


class ChancePayload(Payload):
    """The outlook for one mode."""

    mode: Mode = Field(description="The propagation mode")
    within_1_h: Share = Field(description="Chance of an opening within 1 hour, 0 to 1")
    within_6_h: Share = Field(description="Chance of an opening within 6 hours, 0 to 1")
    within_24_h: Share = Field(description="Chance of an opening within 24 hours, 0 to 1")
    reason: Text = Field(description="Why, for people")


class StationPayload(Payload):
    """A far station that is being heard."""

    call: Call = Field(description="Call sign")
    locator: Locator | None = Field(description="Its locator, as far as known")
    location_source: LocationSource = Field(description="Where its place is known from")
    uncertainty_km: Km = Field(description="Radius that the locator or area leaves open, km")
    bearing_deg: Bearing = Field(description="Degrees from true north, clockwise")
    distance_km: Km = Field(description="Distance along the great circle, km")
    first_at: Time = Field(description="First heard within the window, UTC")
    last_at: Time = Field(description="Last heard, UTC")
    slots: Count = Field(description="Time slots of the mode in which it was heard")
    best_snr_db: float | None = Field(description="Strongest signal-to-noise ratio, dB in 2500 Hz")
    last_snr_db: float | None = Field(description="Latest signal-to-noise ratio, dB in 2500 Hz")
    audio_hz: float | None = Field(description="Audio frequency, Hz")
    trust: Share = Field(description="How far the decode is believed, 0 to 1")
    reasons: list[Text] = Field(default=[], description="Why it is believed or not, for people")
    lat_deg: Latitude = Field(description="Latitude, degrees, north positive")
    lon_deg: Longitude = Field(description="Longitude, degrees, east positive")


class BandHealthPayload(Payload):
    """One band's part of the health message."""

    state: State = Field(description="The band's state")
    blind_reason: BlindReason | None = Field(description="When blind: why, as a stable code")
    receiver: ReceiverPayload = Field(description="Receiver and decoder")
