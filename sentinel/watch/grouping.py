"""Which area a station belongs to: areas are founded, joined, merged and given up here."""

from sentinel.sky.circular import angle_between_deg
from sentinel.watch.area import MERGE_DEG, QUIET_LIFE_S, Area, closeness_km
from sentinel.watch.track import Track

MOST_AREAS = 64
"""More live directions than this are noise; the stalest makes room."""
MOST_MEMBERS = 400


class Grouping:
    """The live areas, oldest first. Order of calls within one instant does not matter: callers sort."""

    def __init__(self) -> None:
        self.areas: list[Area] = []
        self._area_of: dict[str, Area] = {}
        self._founded = 0

    def area_of(self, call: str) -> Area | None:
        return self._area_of.get(call)

    def place(self, track: Track, at_s: float) -> tuple[Area, bool]:
        """The area ``track`` belongs to, joined or founded now; True when the station is new in it."""
        area = self._area_of.get(track.call)
        if area is not None:
            is_new = area.members.get(track.call) is not track
            area.members[track.call] = track
            return area, is_new
        area = self._nearest(track) or self._found(at_s)
        if len(area.members) >= MOST_MEMBERS:
            self._drop_stalest_member(area)
        area.join(track)
        self._area_of[track.call] = area
        return area, True

    def leave(self, call: str) -> None:
        """The station has not been heard for the whole window: its area no longer leans its way."""
        area = self._area_of.pop(call, None)
        if area is not None:
            del area.members[call]
            if not area.members:  # it lies nowhere now: no direction can be told, nobody can join
                self.areas.remove(area)

    def may_belong(self, track: Track) -> Area | None:
        """The area that ``track`` would join, without joining it."""
        return self._area_of.get(track.call) or self._nearest(track)

    def merge_neighbours(self) -> list[tuple[Area, Area]]:
        """Merge areas that have grown together; returns (kept, absorbed) pairs."""
        merged: list[tuple[Area, Area]] = []
        for kept in list(self.areas):
            for other in list(self.areas):
                if other.number <= kept.number or kept not in self.areas or not _are_one(kept, other):
                    continue
                self._absorb(kept, other)
                merged.append((kept, other))
        return merged

    def give_up_stale(self, at_s: float) -> list[Area]:
        """Forget areas that have been silent too long and are not open; returns those forgotten."""
        stale = [a for a in self.areas if not a.is_open and at_s - a.last_at_s >= QUIET_LIFE_S]
        for area in stale:
            self._forget(area)
        return stale

    def _nearest(self, track: Track) -> Area | None:
        near = [
            (apart, area.number, area)
            for area in self.areas
            if (apart := closeness_km(track.place, area)) is not None
        ]
        return min(near)[2] if near else None

    def _found(self, at_s: float) -> Area:
        if len(self.areas) >= MOST_AREAS:
            closed = [a for a in self.areas if not a.is_open]
            if closed:
                self._forget(min(closed, key=lambda a: (a.last_at_s, a.number)))
        self._founded += 1
        area = Area(self._founded, founded_at_s=at_s, evidence_at_s=at_s, last_at_s=at_s)
        self.areas.append(area)
        return area

    def _absorb(self, kept: Area, other: Area) -> None:
        at_s = max(kept.evidence_at_s, other.evidence_at_s)
        kept.evidence = kept.evidence_by(at_s) + other.evidence_by(at_s)
        kept.evidence_at_s = at_s
        kept.members.update(other.members)
        kept.slots |= other.slots
        kept.take_over_waiting(other)
        kept.last_at_s = max(kept.last_at_s, other.last_at_s)
        for call in other.members:
            self._area_of[call] = kept
        self.areas.remove(other)

    def _drop_stalest_member(self, area: Area) -> None:
        stalest = min(area.members.values(), key=lambda t: (t.last_at_s, t.call))
        del area.members[stalest.call]
        del self._area_of[stalest.call]

    def _forget(self, area: Area) -> None:
        for call in area.members:
            del self._area_of[call]
        self.areas.remove(area)


def _are_one(a: Area, b: Area) -> bool:
    if angle_between_deg(a.bearing_deg(), b.bearing_deg()) > MERGE_DEG:
        return False
    return any(closeness_km(track.place, b) is not None for track in a.members.values())
