"""What of a bulletin is news to the diary, pure: two bulletins in, one batch of rows out.

Meant to be called once a slot or tick with the bulletin before. After a restart there is none: then
everything is told again, under the same keys, so that nothing is counted twice.
"""

from collections.abc import Callable

from sentinel.outputs.diary_rows import (
    DiaryBatch,
    HealthRow,
    NotableRow,
    OpeningRow,
    SightingRow,
    SlotRow,
    StateRow,
    Watched,
)
from sentinel.watch.bulletin import Bulletin

CountryOf = Callable[[str], str | None]


def news(now: Bulletin, before: Bulletin | None, country_of: CountryOf = lambda _: None) -> DiaryBatch:
    """The rows that ``now`` adds to what ``before``, of the same band, has told already."""
    return DiaryBatch(
        sightings=_sightings(now, before, country_of),
        slots=_slots(now, before),
        states=_states(now, before),
        openings=_openings(now, before),
        notables=_notables(now, before),
        health=_health(now, before),
        watched=(Watched(now.band, now.at_s),),
    )


def _sightings(now: Bulletin, before: Bulletin | None, country_of: CountryOf) -> tuple[SightingRow, ...]:
    told = {station.call: station.last_at_s for station in before.stations} if before else {}
    return tuple(
        SightingRow(
            station.last_at_s,
            now.band,
            station.call,
            station.locator,
            station.distance_km,
            station.bearing_deg,
            station.last_snr_db,
            station.trust,
            station.audio_hz,
            country_of(station.call),
        )
        for station in now.stations
        if told.get(station.call) != station.last_at_s
    )


def _slots(now: Bulletin, before: Bulletin | None) -> tuple[SlotRow, ...]:
    at_s = now.receiver.last_decode_at_s
    if before is None or at_s is None or now.receiver.decodes <= before.receiver.decodes:
        return ()
    decodes = now.receiver.decodes - before.receiver.decodes
    rejected = max(0, now.receiver.rejected - before.receiver.rejected)
    return (SlotRow(at_s, now.band, decodes, rejected, now.receiver.near_stations, now.far_stations or 0),)


def _states(now: Bulletin, before: Bulletin | None) -> tuple[StateRow, ...]:
    if before and (now.state, now.blind_reason) == (before.state, before.blind_reason):
        return ()
    is_another_reason = before is not None and now.state is before.state
    at_s = now.at_s if is_another_reason else now.since_s
    return (StateRow(at_s, now.band, now.state, now.because, now.blind_reason),)


def _openings(now: Bulletin, before: Bulletin | None) -> tuple[OpeningRow, ...]:
    told = {opening.id: opening for opening in before.openings} if before else {}
    return tuple(OpeningRow(now.band, each) for each in now.openings if told.get(each.id) != each)


def _notables(now: Bulletin, before: Bulletin | None) -> tuple[NotableRow, ...]:
    told = {notable.id for notable in before.notables} if before else set()
    return tuple(NotableRow(now.band, each) for each in now.notables if each.id not in told)


def _health(now: Bulletin, before: Bulletin | None) -> tuple[HealthRow, ...]:
    told = {part.name: part.is_well for part in before.parts} if before else {}
    return tuple(
        HealthRow(now.at_s, part.name, part.is_well, part.note)
        for part in now.parts
        if told.get(part.name) is not part.is_well
    )
