"""Areas: far stations grouped by where they are, each area with its own evidence and, when open, its opening.

A station joins the area whose nearest member is close to it on the ground or in bearing and of like
distance; else it founds an area of its own. Areas that turn out to be one are merged, the older wins.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from sentinel.sky.circular import angle_between_deg, circular_mean_deg, circular_std_deg
from sentinel.watch.evidence import EVIDENCE_CAP, NO_RETURN, OPEN_PER_MIN, combined
from sentinel.watch.place import Place, separation_km
from sentinel.watch.track import Track
from sentinel.watch.usual import RETURN_S

JOIN_KM = 550.0
"""Stations this near to each other share a cloud: their midpoints lie within 275 km."""
JOIN_DEG = 20.0
JOIN_DISTANCE_RATIO = 1.8
SEVERAL_HOPS_KM = 2_500.0
SEVERAL_HOPS_RATIO = 2.6
"""Beyond one Es hop the same layer serves one hop's landfall and the next."""
WIDEST_DEG = 50.0
"""No member lies farther than this from the area's mean bearing, or chains would join opposite horizons."""
MERGE_DEG = 15.0
QUIET_LIFE_S = 15 * 60.0


@dataclass(slots=True)
class Area:
    """Stations that come from one place. ``evidence`` is in nats, as of ``evidence_at_s``."""

    number: int
    founded_at_s: float
    members: dict[str, Track] = field(default_factory=dict)
    evidence: float = 0.0
    evidence_at_s: float = 0.0
    slots: set[float] = field(default_factory=set)
    last_at_s: float = 0.0
    is_open: bool = False
    closed_at_s: float = float("-inf")
    looked_at_s: float = float("-inf")
    _awaited: dict[str, float] = field(default_factory=dict)

    def join(self, track: Track) -> None:
        self.members[track.call] = track

    def await_return(self, track: Track) -> None:
        """A newcomer: an opening would bring it back soon."""
        self._awaited[track.call] = track.last_at_s + RETURN_S

    def take_over_waiting(self, other: "Area") -> None:
        self._awaited.update(other._awaited)

    def give_up_waiting(self, at_s: float) -> int:
        """Count the newcomers that have not come back in time against an opening; returns how many."""
        late = [call for call, due_s in self._awaited.items() if due_s <= at_s]
        pings = 0
        for call in late:
            del self._awaited[call]
            track = self.members.get(call)
            if track is not None and not track.is_repeated:
                pings += 1
        self.evidence = max(0.0, self.evidence + NO_RETURN * pings)
        return pings

    def hear(self, at_s: float, slots: Iterable[float], nats: Iterable[float]) -> None:
        """Note one instant's decodes: the slots they fell in and the evidence of each."""
        self.evidence = self.evidence_by(at_s)
        self.evidence = min(EVIDENCE_CAP, max(0.0, self.evidence + combined(nats)))
        self.evidence_at_s = max(self.evidence_at_s, at_s)
        self.slots.update(slots)
        self.last_at_s = max(self.last_at_s, at_s)

    def evidence_by(self, at_s: float) -> float:
        """The evidence after the silence until ``at_s``."""
        minutes = max(0.0, at_s - self.evidence_at_s) / 60.0
        return max(0.0, self.evidence - OPEN_PER_MIN * minutes)

    def close(self, at_s: float) -> None:
        """The opening is over: what was heard until now does not count towards the next one."""
        self.is_open = False
        self.evidence = 0.0
        self.closed_at_s = at_s
        self.slots.clear()
        self._awaited.clear()
        for track in self.members.values():
            track.persistence = 0.0

    def bearing_deg(self) -> float:
        tracks = list(self.members.values())
        return circular_mean_deg([t.place.bearing_deg for t in tracks], [max(t.trust, 0.01) for t in tracks])

    def spread_deg(self) -> float:
        tracks = list(self.members.values())
        return circular_std_deg([t.place.bearing_deg for t in tracks], [max(t.trust, 0.01) for t in tracks])

    def forget_before(self, at_s: float) -> None:
        """Drop slots that have left the window."""
        self.slots = {slot for slot in self.slots if slot > at_s}


def closeness_km(place: Place, area: Area) -> float | None:
    """How near ``place`` is to its nearest neighbour in ``area``, km; None when it does not belong there."""
    nearest: float | None = None
    for track in area.members.values():
        apart = separation_km(place.unit, track.place.unit)
        if not are_neighbours(place, track.place, apart):
            continue
        if nearest is None or apart < nearest:
            nearest = apart
    if nearest is None:
        return None
    if angle_between_deg(place.bearing_deg, area.bearing_deg()) > WIDEST_DEG:
        return None
    return nearest


def are_neighbours(a: Place, b: Place, apart_km: float) -> bool:
    """Whether two places, ``apart_km`` from each other, may be served by one path."""
    if apart_km <= JOIN_KM:
        return True
    shorter, longer = sorted((max(a.distance_km, 1.0), max(b.distance_km, 1.0)))
    ratio = SEVERAL_HOPS_RATIO if shorter >= SEVERAL_HOPS_KM else JOIN_DISTANCE_RATIO
    return longer / shorter <= ratio and angle_between_deg(a.bearing_deg, b.bearing_deg) <= JOIN_DEG
