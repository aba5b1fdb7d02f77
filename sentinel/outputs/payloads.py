"""The messages that leave over MQTT, one model each: what a subscriber reads.

Within one ``v`` fields are only ever added, so readers must ignore what they do not know.
"""

from enum import StrEnum
from typing import Literal

from pydantic import Field

from sentinel.outputs.shapes import (
    Band,
    BandHealthPayload,
    Bearing,
    ChancePayload,
    Count,
    HeadingPayload,
    Km,
    Locator,
    NotablePayload,
    OpeningPayload,
    PartPayload,
    Payload,
    ReceiverPayload,
    Square,
    StationPayload,
    Text,
    Time,
)
from sentinel.watch.bulletin import BlindReason, Mode, State


class Enveloped(Payload):
    """What every message says of itself."""

    v: Literal[1] = Field(default=1, description="Version of this format; within one v fields are only added")
    t: Time = Field(description="When the message was made, UTC")
    boot: str = Field(
        pattern=r"^[A-Za-z0-9_-]{1,32}$", description="Random; new at each start of the program"
    )
    seq: Count = Field(description="Counts the messages since boot, from 0")


class StatePayload(Enveloped):
    """The bulletin of one band: what the watch says now, and why. ``.../<band>/state``"""

    band: Band = Field(description="The band, as the trade names it: 6m")
    at: Time = Field(description="The moment that the bulletin speaks of, UTC")
    state: State = Field(description="quiet, stirring, open; or blind: the receiver cannot be judged")
    previous: State | None = Field(default=None, description="The state before")
    since: Time = Field(description="When the state began, UTC")
    because: Text = Field(description="Why, in one sentence")
    blind_reason: BlindReason | None = Field(default=None, description="When blind: why, as a stable code")
    far_stations: Count | None = Field(description="Far stations heard within the window; null when blind")
    headings: list[HeadingPayload] = Field(
        default=[], description="Live directions; none are known when blind"
    )
    mode: Mode | None = Field(default=None, description="The leading propagation mode; null when none")
    openings: list[OpeningPayload] = Field(default=[], description="Openings that live, and those just ended")
    notables: list[NotablePayload] = Field(default=[], description="What is worth a notification now")
    acknowledged: bool = Field(default=False, description="Whether a person has acknowledged this opening")
    receiver: ReceiverPayload = Field(default=ReceiverPayload(), description="Receiver and decoder")
    parts: list[PartPayload] = Field(default=[], description="Moving parts outside the receiver")
    outlook: list[ChancePayload] = Field(default=[], description="Chances of the next opening, by mode")
    station_locator: Locator | None = Field(default=None, description="The station's own locator")
    stations: list[StationPayload] | None = Field(
        default=None,
        description="The far stations, where included; over MQTT they have their own topic: null",
    )


class StationsPayload(Enveloped):
    """The far stations of one band, newest first, as many as fit in 8 KB. ``.../<band>/stations``"""

    band: Band = Field(description="The band")
    at: Time = Field(description="The moment that the list speaks of, UTC")
    far_stations: Count | None = Field(description="How many there are; null when blind")
    omitted: Count = Field(description="How many did not fit into this message")
    stations: list[StationPayload] = Field(description="The stations, last heard first")


class HealthPayload(Enveloped):
    """Whether the watch itself is well. ``.../health``"""

    version: Text = Field(description="Version of the program")
    uptime_s: Count = Field(description="Seconds since the program started")
    well: bool = Field(description="false when a band is blind or a part has failed")
    problem: Text | None = Field(description="The first thing that is wrong, for people; null when well")
    muted: bool = Field(description="Whether notifications are muted")
    dropped_events: Count = Field(description="Events lost because the broker was away too long")
    parts: list[PartPayload] = Field(description="The moving parts")
    bands: dict[Band, BandHealthPayload] = Field(description="By band")


class EventType(StrEnum):
    """What an event message announces."""

    OPENING_BEGAN = "opening-began"
    OPENING_ENDED = "opening-ended"
    NOTABLE = "notable"


class EventPayload(Enveloped):
    """Something happened. Sent once, not retained; the newest stays on ``.../event/last``."""

    band: Band = Field(description="The band")
    event_type: EventType = Field(description="What kind of event")
    at: Time = Field(description="When it happened, UTC")
    id: Text = Field(description="Stable name of the opening or notable: an event seen twice has the same")
    sentence: Text = Field(description="What happened, for people")
    opening: OpeningPayload | None = Field(description="The opening, for opening-began and opening-ended")
    notable: NotablePayload | None = Field(description="The notable, for notable")


class NetSummaryPayload(Enveloped):
    """What a node tells its neighbours: no call sign, and its place only to the four-character square.

    ``sentinel/v1/net/<band>/<field>/<square>/<node>``, at most 512 bytes. The measurements are those of the
    direction with most stations; null when there is none, or when blind.
    """

    band: Band = Field(description="The band")
    square: Square = Field(description="Four-character locator square of the node")
    state: State = Field(description="quiet, stirring, open; or blind: the receiver cannot be judged")
    far_stations: Count | None = Field(description="Far stations heard within the window; null when blind")
    mode: Mode | None = Field(description="The leading propagation mode; null when none")
    bearing_deg: Bearing | None = Field(description="Degrees from true north, clockwise")
    nearest_km: Km | None = Field(description="Distance of the nearest station, km")
    farthest_km: Km | None = Field(description="Distance of the farthest station, km")
    muf_mhz: float | None = Field(ge=0, description="Maximum usable frequency that the skip implies, MHz")


class CommandResultPayload(Enveloped):
    """The answer to a command; every command gets one. ``.../cmd/result``"""

    id: Text | None = Field(description="The command's id; null if it had none that could be read")
    command: Text | None = Field(description="The command; null if it could not be read")
    done: bool = Field(description="Whether it was carried out")
    message: Text = Field(description="What was done or why not, for people")
