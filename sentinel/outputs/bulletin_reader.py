"""From published JSON back to a bulletin, as far as the panel needs it.

Reads what was published on ``.../<band>/state``, and a replay's state record, which is its core.
"""

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from sentinel.errors import ConfigError
from sentinel.outputs import shapes as p
from sentinel.outputs.payloads import StatePayload
from sentinel.outputs.values import from_iso_z
from sentinel.watch.bulletin import (
    Bulletin,
    Chance,
    Drift,
    Heading,
    Likelihood,
    Notable,
    Opening,
    Part,
    ReceiverHealth,
    Reflection,
    State,
    Station,
)

# What a replay's record does not say of itself.
_RECORD_DEFAULTS = {"t": "1970-01-01T00:00:00Z", "boot": "record", "seq": 0, "band": "6m"}


def bulletin_from_payload(data: object, source: str = "bulletin") -> Bulletin:
    """The bulletin that ``data``, parsed JSON, describes.

    ``source`` names the file in messages. Raises ConfigError, which names the key, its value and the mend.
    """
    if not isinstance(data, Mapping):
        raise ConfigError(f"{source}: expected a JSON object with state, at and because, got {_shown(data)}")
    try:
        payload = StatePayload.model_validate({**_RECORD_DEFAULTS, "since": data.get("at"), **data})
    except ValidationError as error:
        raise ConfigError(f"{source}: {_first_fault(error)}") from None
    if payload.far_stations is None and payload.state is not State.BLIND:
        raise ConfigError(
            f"{source}: far_stations is null, which only a blind bulletin may say; "
            f"give a number for state {payload.state.value}"
        )
    return _bulletin(payload)


def _shown(value: object) -> str:
    text = ascii(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _first_fault(error: ValidationError) -> str:
    fault = error.errors(include_url=False, include_context=False)[0]
    key = ".".join(str(step) for step in fault["loc"])
    if fault["type"] == "missing":
        return f"{key} is missing; see `sentinel schema` for the format"
    wanted = fault["msg"][:1].lower() + fault["msg"][1:]
    return f"{key} = {_shown(fault['input'])} does not fit: {wanted}; see `sentinel schema` for the format"


def _bulletin(s: StatePayload) -> Bulletin:
    is_blind = s.state is State.BLIND
    return Bulletin(
        band=s.band,
        at_s=from_iso_z(s.at),
        state=s.state,
        since_s=from_iso_z(s.since),
        previous=s.previous,
        because=s.because,
        blind_reason=s.blind_reason,
        far_stations=None if is_blind else s.far_stations,
        headings=() if is_blind else tuple(Heading(**_fields(h)) for h in s.headings),
        mode=None if is_blind else s.mode,
        stations=() if is_blind else tuple(_station(x) for x in s.stations or ()),
        openings=() if is_blind else tuple(_opening(o) for o in s.openings),
        notables=tuple(_notable(n) for n in s.notables),
        receiver=_receiver(s.receiver),
        station_locator=s.station_locator,
        parts=tuple(Part(name=x.name, is_well=x.well, note=x.note) for x in s.parts),
        outlook=tuple(Chance(c.mode, c.within_1_h, c.within_6_h, c.within_24_h, c.reason) for c in s.outlook),
        is_acknowledged=s.acknowledged,
    )


def _fields(piece: p.Payload) -> dict[str, Any]:
    """The piece's fields as they are: enumerations stay enumerations, pieces within stay models."""
    return {name: getattr(piece, name) for name in type(piece).model_fields}


def _maybe_s(time: str | None) -> float | None:
    return None if time is None else from_iso_z(time)


def _opening(o: p.OpeningPayload) -> Opening:
    fields = _fields(o)
    for name in ("began_at", "peak_at", "last_at", "ended_at"):
        fields[f"{name}_s"] = _maybe_s(fields.pop(name))
    fields["locators"] = tuple(o.locators)
    fields["likelihoods"] = tuple(Likelihood(**_fields(k)) for k in o.likelihoods)
    fields["reflections"] = tuple(Reflection(**_fields(r)) for r in o.reflections)
    fields["drift"] = None if o.drift is None else Drift(**_fields(o.drift))
    return Opening(**fields)


def _notable(n: p.NotablePayload) -> Notable:
    fields = _fields(n)
    fields["at_s"] = from_iso_z(fields.pop("at"))
    return Notable(**fields)


def _receiver(r: p.ReceiverPayload) -> ReceiverHealth:
    fields = _fields(r)
    del fields["decoder_age_s"]
    fields["last_decode_at_s"] = _maybe_s(fields.pop("last_decode_at"))
    fields["canary_last_at_s"] = _maybe_s(fields.pop("canary_last_at"))
    fields["notes"] = tuple(r.notes)
    return ReceiverHealth(**fields)


def _station(s: p.StationPayload) -> Station:
    fields = _fields(s)
    fields["first_at_s"] = from_iso_z(fields.pop("first_at"))
    fields["last_at_s"] = from_iso_z(fields.pop("last_at"))
    fields["reasons"] = tuple(s.reasons)
    return Station(**fields)
