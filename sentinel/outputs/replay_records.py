"""The records of ``sentinel replay --json``: one JSON object a line, in event-time order.

Fields and their order are a contract: other programs read them.
"""

from typing import Literal

from pydantic import ConfigDict, Field

from sentinel.outputs.pieces import stations_to_tell, verdict_fields
from sentinel.outputs.shapes import (
    Band,
    Bearing,
    Call,
    Count,
    HeadingPayload,
    Km,
    Payload,
    Phase,
    Text,
    Time,
)
from sentinel.outputs.values import JsonObject, dump, iso_z, rounded, rounded_bearing_deg
from sentinel.watch.bulletin import Bulletin, Mode, Notable, Opening, State


def _without_null(schema: JsonObject) -> None:
    """The band is there where several are watched; else the field is left out."""
    band = schema["properties"]["band"]
    band |= next(form for form in band.pop("anyOf") if form.get("type") != "null")
    del band["default"]
    schema["required"].remove("band")


class BandRecord(Payload):
    """What the records about one band have in common."""

    model_config = ConfigDict(json_schema_extra=_without_null)

    kind: str = Field(description="Which record this is")
    band: Band | None = Field(default=None, description="The band; only there where several are watched")


class StateRecord(BandRecord):
    """A line of ``sentinel replay --json``: the state at the first line's time, then each change."""

    kind: Literal["state"] = Field(default="state", description="Which record this is")
    at: Time = Field(description="When, UTC")
    state: State = Field(description="quiet, stirring, open; or blind: the receiver cannot be judged")
    previous: State | None = Field(description="The state before; null at first")
    because: Text = Field(description="Why, in one sentence")
    far_stations: Count | None = Field(description="Far stations heard within the window; null when blind")
    headings: list[HeadingPayload] = Field(description="Live directions; none are known when blind")


class OpeningRecord(BandRecord):
    """A line of ``sentinel replay --json``: an opening began or ended."""

    kind: Literal["opening"] = Field(default="opening", description="Which record this is")
    phase: Phase = Field(description="began or ended")
    at: Time = Field(description="When it was declared, UTC")
    id: Text = Field(description="Stable name of the opening")
    began_at: Time = Field(description="When it began, UTC")
    bearing_deg: Bearing = Field(description="Middle of the area: degrees from true north, clockwise")
    stations: Count = Field(description="When it began: stations heard then; when it ended: in all")
    nearest_km: Km = Field(description="Distance of the nearest station, km")
    farthest_km: Km = Field(description="Distance of the farthest station, km")
    mode: Mode = Field(description="The most likely propagation mode")
    muf_mhz: float | None = Field(description="Maximum usable frequency that the shortest skip implies, MHz")


class NotableRecord(BandRecord):
    """A line of ``sentinel replay --json``: something worth a notification."""

    kind: Literal["notable"] = Field(default="notable", description="Which record this is")
    at: Time = Field(description="When, UTC")
    what: Text = Field(description="What, as a stable code")
    station: Call | None = Field(description="Call sign it is about, if about one station")


class SummaryRecord(Payload):
    """The last line of ``sentinel replay --json``."""

    kind: Literal["summary"] = Field(default="summary", description="Which record this is")
    lines: Count = Field(description="Lines read")
    decodes: Count = Field(description="Lines that were decodes")
    rejected: Count = Field(description="Lines that did not fit the layout or were not believed")
    far_stations: Count = Field(description="Distinct far stations heard in all")


def state_record(bulletin: Bulletin, band: str | None = None) -> JsonObject:
    """The replay's record of a state; ``band`` is None where only one is watched."""
    return _dump(StateRecord(band=band, at=iso_z(bulletin.at_s), **verdict_fields(bulletin)))


def opening_record(phase: Phase, opening: Opening, at_s: float, band: str | None = None) -> JsonObject:
    """The replay's record of an opening that began or ended; ``at_s`` is when it was declared."""
    return _dump(
        OpeningRecord(
            band=band,
            phase=phase,
            at=iso_z(at_s),
            id=opening.id,
            began_at=iso_z(opening.began_at_s),
            bearing_deg=rounded_bearing_deg(opening.bearing_deg),
            stations=stations_to_tell(phase, opening),
            nearest_km=opening.nearest_km,
            farthest_km=opening.farthest_km,
            mode=opening.mode,
            muf_mhz=rounded(opening.muf_mhz, 1),
        )
    )


def notable_record(notable: Notable, band: str | None = None) -> JsonObject:
    """The replay's record of a notable."""
    return _dump(NotableRecord(band=band, at=iso_z(notable.at_s), what=notable.what, station=notable.station))


def summary_record(*, lines: int, decodes: int, rejected: int, far_stations: int) -> JsonObject:
    """The replay's last record; ``far_stations`` counts distinct calls in all."""
    return dump(SummaryRecord(lines=lines, decodes=decodes, rejected=rejected, far_stations=far_stations))


def _dump(record: BandRecord) -> JsonObject:
    return {name: value for name, value in dump(record).items() if name != "band" or value is not None}
