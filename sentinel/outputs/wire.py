"""From the core's types to the published JSON: every MQTT payload and every record of the replay.

Each function makes one JSON object, a dict in a fixed field order; ``values.to_json`` makes its line.
Nothing about the band is decided here. Numbers are rounded to what they can mean: bearings to 0.1 degree,
distances to the kilometre, frequencies to 0.1 MHz, times to the second.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sentinel.outputs import payloads as p
from sentinel.outputs import pieces
from sentinel.outputs.bulletin_reader import bulletin_from_payload
from sentinel.outputs.replay_records import notable_record, opening_record, state_record, summary_record
from sentinel.outputs.schema import schemas
from sentinel.outputs.shapes import BandHealthPayload, Phase
from sentinel.outputs.values import (
    JsonObject,
    dump,
    iso_z,
    maybe_locator,
    rounded,
    rounded_bearing_deg,
    to_json,
)
from sentinel.watch import sentences
from sentinel.watch.bulletin import Bulletin, Notable, Opening, Part, State

__all__ = [
    "Envelope",
    "NodeHealth",
    "bulletin_from_payload",
    "bulletin_payload",
    "command_result_payload",
    "health_payload",
    "net_summary_payload",
    "notable_event_payload",
    "notable_record",
    "opening_event_payload",
    "opening_record",
    "schemas",
    "state_record",
    "stations_payload",
    "summary_record",
    "to_json",
]

# Bounds on the lists of one message: see ``pieces``.
MAX_OPENINGS = 6
MAX_NOTABLES = 5


@dataclass(frozen=True, slots=True)
class Envelope:
    """What every message says of itself: when it was made (seconds since 1970 UTC), by which start of the
    program (a random word) and which message since then."""

    t_s: float
    boot: str
    seq: int


@dataclass(frozen=True, slots=True)
class NodeHealth:
    """What the daemon knows of itself and no bulletin holds."""

    version: str
    uptime_s: float
    parts: tuple[Part, ...] = ()
    is_muted: bool = False
    dropped_events: int = 0


def bulletin_payload(bulletin: Bulletin, envelope: Envelope, with_stations: bool = False) -> JsonObject:
    """The bulletin as published on ``.../<band>/state``.

    ``with_stations`` adds the station list, which over MQTT has its own topic.
    """
    is_blind = bulletin.state is State.BLIND
    return dump(
        p.StatePayload(
            **_enveloped(envelope),
            band=bulletin.band,
            at=iso_z(bulletin.at_s),
            **pieces.verdict_fields(bulletin),
            since=iso_z(bulletin.since_s),
            blind_reason=bulletin.blind_reason,
            mode=None if is_blind else bulletin.mode,
            openings=[]
            if is_blind
            else [pieces.opening_payload(o) for o in _most_telling(bulletin.openings)],
            notables=[pieces.notable_payload(n) for n in bulletin.notables[-MAX_NOTABLES:]],
            acknowledged=bulletin.is_acknowledged,
            receiver=pieces.receiver_payload(bulletin.receiver, envelope.t_s),
            parts=pieces.parts_payload(bulletin.parts),
            outlook=[pieces.chance_payload(c) for c in bulletin.outlook[: pieces.MAX_REMARKS]],
            station_locator=maybe_locator(bulletin.station_locator),
            stations=[pieces.station_payload(s) for s in bulletin.stations] if with_stations else None,
        )
    )


def stations_payload(bulletin: Bulletin, envelope: Envelope, limit: int) -> JsonObject:
    """The ``limit`` stations heard last, newest first."""
    newest_first = sorted(bulletin.stations, key=lambda s: (-s.last_at_s, s.call))
    return dump(
        p.StationsPayload(
            **_enveloped(envelope),
            band=bulletin.band,
            at=iso_z(bulletin.at_s),
            far_stations=None if bulletin.state is State.BLIND else bulletin.far_stations,
            omitted=max(0, len(newest_first) - limit),
            stations=[pieces.station_payload(s) for s in newest_first[:limit]],
        )
    )


def health_payload(node: NodeHealth, bulletins: Iterable[Bulletin], envelope: Envelope) -> JsonObject:
    """The node's health with that of each band's receiver."""
    latest = {b.band: b for b in bulletins}
    problem = _first_problem(node, latest.values())
    return dump(
        p.HealthPayload(
            **_enveloped(envelope),
            version=node.version,
            uptime_s=max(0, math.floor(node.uptime_s)),
            well=problem is None,
            problem=problem,
            muted=node.is_muted,
            dropped_events=node.dropped_events,
            parts=pieces.parts_payload(node.parts),
            bands={
                band: BandHealthPayload(
                    state=b.state,
                    blind_reason=b.blind_reason,
                    receiver=pieces.receiver_payload(b.receiver, envelope.t_s),
                )
                for band, b in latest.items()
            },
        )
    )


def opening_event_payload(
    band: str, phase: Phase, opening: Opening, at_s: float, envelope: Envelope
) -> JsonObject:
    """An opening began or ended."""
    event_type = p.EventType.OPENING_BEGAN if phase == "began" else p.EventType.OPENING_ENDED
    return dump(
        p.EventPayload(
            **_enveloped(envelope),
            band=band,
            event_type=event_type,
            at=iso_z(at_s),
            id=opening.id,
            sentence=_opening_sentence(band, phase, opening),
            opening=pieces.opening_payload(opening),
            notable=None,
        )
    )


def notable_event_payload(band: str, notable: Notable, envelope: Envelope) -> JsonObject:
    """Something worth a notification."""
    return dump(
        p.EventPayload(
            **_enveloped(envelope),
            band=band,
            event_type=p.EventType.NOTABLE,
            at=iso_z(notable.at_s),
            id=notable.id,
            sentence=notable.sentence,
            opening=None,
            notable=pieces.notable_payload(notable),
        )
    )


def net_summary_payload(bulletin: Bulletin, square: str, envelope: Envelope) -> JsonObject:
    """What neighbours may know: the state and the direction with most stations."""
    is_blind = bulletin.state is State.BLIND
    headings = () if is_blind else bulletin.headings
    leading = max(headings, key=lambda h: h.stations, default=None)
    mufs = [o.muf_mhz for o in bulletin.openings if o.ended_at_s is None and o.muf_mhz is not None]
    return dump(
        p.NetSummaryPayload(
            **_enveloped(envelope),
            band=bulletin.band,
            square=square,
            state=bulletin.state,
            far_stations=None if is_blind else bulletin.far_stations,
            mode=None if is_blind else bulletin.mode,
            bearing_deg=None if leading is None else rounded_bearing_deg(leading.bearing_deg),
            nearest_km=None if leading is None else leading.nearest_km,
            farthest_km=None if leading is None else leading.farthest_km,
            muf_mhz=None if is_blind else rounded(max(mufs, default=None), 1),
        )
    )


def command_result_payload(
    command_id: str | None, command: str | None, is_done: bool, message: str, envelope: Envelope
) -> JsonObject:
    """The answer to one command."""
    return dump(
        p.CommandResultPayload(
            **_enveloped(envelope), id=command_id, command=command, done=is_done, message=message
        )
    )


def _enveloped(envelope: Envelope) -> JsonObject:
    return {"t": iso_z(envelope.t_s), "boot": envelope.boot, "seq": envelope.seq}


def _first_problem(node: NodeHealth, bulletins: Iterable[Bulletin]) -> str | None:
    for part in node.parts:
        if part.is_well is False:
            return f"{part.name}: {part.note}" if part.note else f"{part.name} has failed"
    for bulletin in bulletins:
        if bulletin.state is State.BLIND:
            return bulletin.because
    return None


def _most_telling(openings: Sequence[Opening]) -> list[Opening]:
    """Those that live, then those that ended last, when there are too many; else all, in their order."""
    if len(openings) <= MAX_OPENINGS:
        return list(openings)
    return sorted(openings, key=lambda o: (o.ended_at_s is not None, -o.last_at_s))[:MAX_OPENINGS]


def _opening_sentence(band: str, phase: Phase, opening: Opening) -> str:
    heard = sentences.stations(pieces.stations_to_tell(phase, opening))
    point, bearing_deg = sentences.compass_point(opening.bearing_deg), round(opening.bearing_deg) % 360
    reach = sentences.between_km(opening.nearest_km, opening.farthest_km)
    where = f"towards the {point} ({bearing_deg} degrees), {reach}, {sentences.MODE_WORDS[opening.mode]}"
    if phase == "began":
        return f"{band} is opening {where}: {heard}."
    lasted = sentences.minutes(opening.last_at_s - opening.began_at_s)
    return f"The {band} opening {where} has ended after {lasted}: {heard} in all."
