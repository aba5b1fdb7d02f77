"""Openings: which areas are open, since when, and how each of them stands."""

from collections.abc import Sequence
from datetime import UTC, datetime

from sentinel.sky.circular import circular_mean_deg, circular_std_deg
from sentinel.watch.area import QUIET_LIFE_S, Area
from sentinel.watch.bulletin import Heading, Mode, Opening
from sentinel.watch.changes import OpeningChanged, Phase
from sentinel.watch.evidence import bar
from sentinel.watch.hearing import Hearing
from sentinel.watch.mode import LONGEST_ES_HOP_KM, NOTHING, Clues, Judgement, SpaceWeather, is_along, judge
from sentinel.watch.opening import OpeningLife, sure_of
from sentinel.watch.track import Track
from sentinel.watch.verdict import HOLD_S, SCATTERED_STATIONS, is_beyond_a_ping, is_opening


class Openings:
    """The live openings, one an area."""

    def __init__(self, home: tuple[float, float], freq_mhz: float) -> None:
        self._home = home
        self._freq_mhz = freq_mhz
        self._lives: dict[int, OpeningLife] = {}
        self.weather = SpaceWeather()
        self.live: list[tuple[Area, list[Track]]] = []

    def __bool__(self) -> bool:
        return bool(self._lives)

    def update(self, hearing: Hearing, at_s: float) -> list[OpeningChanged]:
        """Follow the areas to ``at_s``: merge, end, begin; returns what changed, ends first."""
        if not hearing.grouping.areas:
            self.live = []
            return []
        changes = self._merge(hearing, at_s)
        live = {area.number: hearing.coming_through(area, at_s) for area in hearing.grouping.areas}
        usual_per_min = hearing.usual.pings_per_min(at_s)
        self.live = [(area, live[area.number]) for area in hearing.grouping.areas]
        for area in hearing.grouping.areas:
            if area.is_open and at_s - area.last_at_s >= HOLD_S:
                changes.append(self._end(area, at_s))
        for area in hearing.grouping.areas:
            if not area.is_open and is_opening(area, live[area.number], at_s, usual_per_min):
                changes.append(self._begin(area, live[area.number], at_s))
        scattered = [
            a
            for a, tracks in self.live
            for track in tracks
            if track.last_at_s > a.closed_at_s and is_beyond_a_ping(track, at_s)
        ]
        if not self._lives and len(scattered) >= SCATTERED_STATIONS:
            best = max(scattered, key=lambda a: (len(live[a.number]), a.evidence_by(at_s), -a.number))
            changes.append(self._begin(best, live[best.number], at_s))
        for area in hearing.grouping.areas:
            if area.is_open:
                self._lives[area.number].note(at_s, live[area.number])
        return changes

    def next_end_s(self, areas: Sequence[Area]) -> list[float]:
        """When each live opening ends if nothing more is heard."""
        return [area.last_at_s + HOLD_S for area in areas if area.is_open]

    def published(self) -> tuple[Opening, ...]:
        """The live openings, oldest first."""
        return tuple(self._publish(life) for life in self._lives.values())

    def opening_of(self, area: Area) -> Opening | None:
        """The opening of an open area as it stands."""
        life = self._lives.get(area.number)
        return None if life is None else self._publish(life)

    def mode_of(self, area: Area) -> Mode:
        """The mode of an area's opening; unknown where it has none."""
        life = self._lives.get(area.number)
        return Mode.UNKNOWN if life is None else self.judge_life(life).mode

    def headings(self, hearing: Hearing, at_s: float) -> tuple[Heading, ...]:
        """The live directions, the busiest first."""
        rows = []
        for area in hearing.grouping.areas:
            live = counted(area, hearing.coming_through(area, at_s))
            if live:
                rows.append(self._heading(area, live, at_s))
        return tuple(sorted(rows, key=lambda h: (-h.stations, h.bearing_deg)))

    def _heading(self, area: Area, live: list[Track], at_s: float) -> Heading:
        sure = sure_of(live)
        bearings = [t.place.bearing_deg for t in sure]
        weights = [max(t.trust, 0.01) for t in sure]
        distances = [t.place.distance_km for t in sure]
        life = self._lives.get(area.number)
        mode = (self.judge_life(life) if life else self._judge_area(area, live, at_s)).mode
        return Heading(
            bearing_deg=round(mean_bearing_deg(live), 1) % 360.0,
            spread_deg=round(circular_std_deg(bearings, weights), 1),
            stations=len(live),
            nearest_km=round(min(distances)),
            farthest_km=round(max(distances)),
            mode=mode,
        )

    def _merge(self, hearing: Hearing, at_s: float) -> list[OpeningChanged]:
        changes = []
        for kept, absorbed in hearing.grouping.merge_neighbours():
            life = self._lives.pop(absorbed.number, None)
            if life is None:
                continue
            if kept.number in self._lives:
                self._lives[kept.number].heard.update(life.heard)
                changes.append(OpeningChanged(at_s, Phase.ENDED, self._publish(life, at_s)))
            else:
                kept.is_open = True
                self._lives[kept.number] = life
        return changes

    def _begin(self, area: Area, live: list[Track], at_s: float) -> OpeningChanged:
        area.is_open = True
        heard = (slot for track in live for slot in track.slots if slot > area.closed_at_s)
        began_at_s = min(heard, default=at_s)  # a slot may have begun before the last opening ended
        bearing = circular_mean_deg([t.place.bearing_deg for t in live])
        stamp = datetime.fromtimestamp(began_at_s, UTC).strftime("%Y%m%dT%H%M%SZ")
        life = OpeningLife(
            f"{stamp}-{round(bearing) % 360:03d}", self._home, began_at_s, area.last_at_s, at_s
        )
        life.note(at_s, live)
        self._lives[area.number] = life
        return OpeningChanged(at_s, Phase.BEGAN, self._publish(life))

    def _end(self, area: Area, at_s: float) -> OpeningChanged:
        area.close(at_s)
        life = self._lives.pop(area.number)
        life.live_stations = 0
        return OpeningChanged(at_s, Phase.ENDED, self._publish(life, at_s))

    def _publish(self, life: OpeningLife, ended_at_s: float | None = None) -> Opening:
        return life.published(self._freq_mhz, self.judge_life(life), ended_at_s)

    def judge_life(self, life: OpeningLife) -> Judgement:
        """The mode of an opening, from all that it brought."""
        places = tuple(h.place for h in life.sure())
        one_hop = (
            any(
                other is not life and _is_one_hop_along(other, places[0].bearing_deg)
                for other in self._lives.values()
            )
            if places
            else False
        )
        return judge(Clues(self._home, life.peak_at_s, places, True, one_hop, self.weather))

    def _judge_area(self, area: Area, live: list[Track], at_s: float) -> Judgement:
        if not live:
            return NOTHING
        places = tuple(t.place for t in live)
        was_open = at_s - area.closed_at_s < QUIET_LIFE_S  # what is left of an opening is no ping
        is_persistent = was_open or max(t.persistence for t in live) >= bar(0.0) / 2.0
        one_hop = any(_is_one_hop_along(life, places[0].bearing_deg) for life in self._lives.values())
        return judge(Clues(self._home, at_s, places, is_persistent, one_hop, self.weather))


def counted(area: Area, live: list[Track]) -> list[Track]:
    """The stations that count as coming through: heard again, or in the company of one that was."""
    if area.is_open or any(t.is_repeated for t in live):
        return live
    return []


def mean_bearing_deg(live: list[Track]) -> float:
    """Where these stations are, weighed by how far they are believed."""
    sure = sure_of(live)
    return circular_mean_deg([t.place.bearing_deg for t in sure], [max(t.trust, 0.01) for t in sure])


def _is_one_hop_along(life: OpeningLife, bearing_deg: float) -> bool:
    sure = life.sure()
    near = [h for h in sure if h.place.distance_km <= LONGEST_ES_HOP_KM]
    return len(near) * 2 >= len(sure) and any(is_along(h.place.bearing_deg, bearing_deg) for h in near)


def best_mode(openings: Sequence[Opening]) -> Mode | None:
    """The mode of the busiest live opening; None without one."""
    if not openings:
        return None
    return max(openings, key=lambda o: (o.stations, o.peak_stations, o.id)).mode
