"""The pieces of a message: each of the bulletin's dataclasses as its payload, rounded and bounded."""

import math
from collections.abc import Sequence

from sentinel.outputs import shapes as p
from sentinel.outputs.values import (
    JsonObject,
    iso_z,
    maybe_iso_z,
    maybe_locator,
    rounded,
    rounded_bearing_deg,
)
from sentinel.watch.bulletin import (
    Bulletin,
    Chance,
    Drift,
    Heading,
    Notable,
    Opening,
    Part,
    ReceiverHealth,
    State,
    Station,
)

# Bounds on the lists within one message, so that a crowded band cannot swell it: about what a person can
# take in, and what a map needs.
MAX_HEADINGS = 8
MAX_REFLECTIONS = 12
MAX_LOCATORS = 24
MAX_REMARKS = 8


def verdict_fields(bulletin: Bulletin) -> JsonObject:
    """What the bulletin and the replay's state record say in the same words."""
    is_blind = bulletin.state is State.BLIND
    return {
        "state": bulletin.state,
        "previous": bulletin.previous,
        "because": bulletin.because,
        "far_stations": None if is_blind else bulletin.far_stations,
        "headings": [] if is_blind else [heading_payload(h) for h in bulletin.headings[:MAX_HEADINGS]],
    }


def stations_to_tell(phase: p.Phase, opening: Opening) -> int:
    """At its end few are left; what interests then is how many it brought in all."""
    return opening.stations if phase == "began" else max(opening.stations, opening.total_stations)


def _spread_deg(spread_deg: float) -> float:
    """The circular standard deviation has no upper bound; past half a circle it means "all around"."""
    return round(min(spread_deg, 180.0), 1) if math.isfinite(spread_deg) else 180.0


def heading_payload(h: Heading) -> p.HeadingPayload:
    return p.HeadingPayload(
        bearing_deg=rounded_bearing_deg(h.bearing_deg),
        spread_deg=_spread_deg(h.spread_deg),
        stations=h.stations,
        nearest_km=h.nearest_km,
        farthest_km=h.farthest_km,
        mode=h.mode,
    )


def opening_payload(o: Opening) -> p.OpeningPayload:
    return p.OpeningPayload(
        id=o.id,
        began_at=iso_z(o.began_at_s),
        peak_at=iso_z(o.peak_at_s),
        last_at=iso_z(o.last_at_s),
        ended_at=maybe_iso_z(o.ended_at_s),
        bearing_deg=rounded_bearing_deg(o.bearing_deg),
        spread_deg=_spread_deg(o.spread_deg),
        stations=o.stations,
        peak_stations=o.peak_stations,
        total_stations=o.total_stations,
        nearest_km=o.nearest_km,
        farthest_km=o.farthest_km,
        best_snr_db=rounded(o.best_snr_db, 1),
        mode=o.mode,
        muf_mhz=rounded(o.muf_mhz, 1),
        locators=[place for text in o.locators[:MAX_LOCATORS] if (place := maybe_locator(text)) is not None],
        likelihoods=[
            p.LikelihoodPayload(mode=k.mode, share=round(k.share, 2), reason=k.reason)
            for k in o.likelihoods[:MAX_REMARKS]
        ],
        reflections=[
            p.ReflectionPayload(lat_deg=round(r.lat_deg, 2), lon_deg=round(r.lon_deg, 2), call=r.call)
            for r in o.reflections[:MAX_REFLECTIONS]
        ],
        drift=None if o.drift is None else _drift_payload(o.drift),
    )


def _drift_payload(d: Drift) -> p.DriftPayload:
    return p.DriftPayload(bearing_deg=rounded_bearing_deg(d.bearing_deg), speed_m_s=round(d.speed_m_s, 1))


def notable_payload(n: Notable) -> p.NotablePayload:
    return p.NotablePayload(
        id=n.id,
        at=iso_z(n.at_s),
        what=n.what,
        station=n.station,
        sentence=n.sentence,
        opening_id=n.opening_id,
    )


def receiver_payload(r: ReceiverHealth, now_s: float) -> p.ReceiverPayload:
    age_s = None if r.last_decode_at_s is None else max(0, math.floor(now_s - r.last_decode_at_s))
    return p.ReceiverPayload(
        lines=r.lines,
        decodes=r.decodes,
        rejected=r.rejected,
        late=r.late,
        last_decode_at=maybe_iso_z(r.last_decode_at_s),
        decoder_age_s=age_s,
        clock_error_s=rounded(r.clock_error_s, 2),
        canary_last_at=maybe_iso_z(r.canary_last_at_s),
        near_stations=r.near_stations,
        notes=list(r.notes[:MAX_REMARKS]),
    )


def parts_payload(parts: Sequence[Part]) -> list[p.PartPayload]:
    return [p.PartPayload(name=part.name, well=part.is_well, note=part.note) for part in parts]


def chance_payload(c: Chance) -> p.ChancePayload:
    return p.ChancePayload(
        mode=c.mode,
        within_1_h=round(c.next_1_h, 2),
        within_6_h=round(c.next_6_h, 2),
        within_24_h=round(c.next_24_h, 2),
        reason=c.reason,
    )


def station_payload(s: Station) -> p.StationPayload:
    return p.StationPayload(
        call=s.call,
        locator=maybe_locator(s.locator),
        location_source=s.location_source,
        uncertainty_km=round(s.uncertainty_km),
        bearing_deg=rounded_bearing_deg(s.bearing_deg),
        distance_km=round(s.distance_km),
        first_at=iso_z(s.first_at_s),
        last_at=iso_z(s.last_at_s),
        slots=s.slots,
        best_snr_db=rounded(s.best_snr_db, 1),
        last_snr_db=rounded(s.last_snr_db, 1),
        audio_hz=rounded(s.audio_hz, 1),
        trust=round(s.trust, 2),
        reasons=list(s.reasons[:MAX_REMARKS]),
        lat_deg=round(s.lat_deg, 3),
        lon_deg=round(s.lon_deg, 3),
    )
