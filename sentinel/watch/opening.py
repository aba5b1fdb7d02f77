"""The life of one opening, from the stations that its area brought.

Distances and bearing come from stations that are beyond doubt, so that one stray decode neither stretches
the opening nor turns it.
"""

from collections.abc import Collection
from dataclasses import dataclass, field

from sentinel.sky.circular import circular_mean_deg, circular_std_deg
from sentinel.sky.geodesy import midpoint
from sentinel.sky.hop import muf_mhz
from sentinel.trade.locator import square_of
from sentinel.watch.bulletin import LocationSource, Mode, Opening, Reflection
from sentinel.watch.drift import CloudTrack
from sentinel.watch.mode import LONGEST_ES_HOP_KM, Judgement
from sentinel.watch.track import Track

SURE = 0.98
"""Trust from which a station heard once may set the nearest or farthest distance."""
LEAST_SURE = 3
"""So many make an opening; fewer do not speak for the others, as in its first seconds."""
FRESH_S = 95.0
"""Three transmission periods: who was heard once before that, and has not come back, speaks for nobody."""
OUTLIER_KM = 150.0
"""More than the diagonal of a square: the next station stands in another one, not beside it."""
OUTLIER_SLOTS = 2
OUTLIER_COMPANY = 4
STRONG_SKIP_DB = -10.0
"""Skip is taken from stations this strong: weak signals come from shorter skip than the law allows."""
SHORTEST_SKIP_KM = 400.0
"""Shorter paths are tropo or aircraft, whatever else is open (common practice)."""
ES_MODES = frozenset({Mode.SPORADIC_E, Mode.MULTI_HOP_SPORADIC_E})
MOST_STATIONS = 1_000
MOST_SQUARES = 100


def sure_of(tracks: Collection[Track]) -> list[Track]:
    """Those of one area that may set distances and bearing: located and believed, without lone outliers."""
    located = [track for track in tracks if track.place.source is not LocationSource.PREFIX]
    believed = located or list(tracks)
    repeated = [track for track in believed if track.heard >= 2]
    if len(repeated) >= LEAST_SURE:
        return _without_outliers([track for track in believed if track.heard >= 2 or track.trust >= SURE])
    newest_s = max((track.last_at_s for track in believed), default=0.0)
    may_return = [t for t in believed if t.heard >= 2 or t.last_at_s > newest_s - FRESH_S]
    return _without_outliers(may_return if len(may_return) >= LEAST_SURE else repeated or believed)


def _without_outliers(tracks: list[Track]) -> list[Track]:
    """Leave out the nearest and the farthest while they stand apart and were hardly heard: pings from the
    same direction, and what is left of false decodes."""
    kept = sorted(tracks, key=lambda track: (track.place.distance_km, track.call))
    while len(kept) > OUTLIER_COMPANY and _stands_apart(kept[0], kept[1]):
        del kept[0]
    while len(kept) > OUTLIER_COMPANY and _stands_apart(kept[-1], kept[-2]):
        del kept[-1]
    return kept


def _stands_apart(outer: Track, inner: Track) -> bool:
    apart_km = abs(outer.place.distance_km - inner.place.distance_km)
    return outer.heard <= OUTLIER_SLOTS and apart_km > OUTLIER_KM


def shows_skip(track: Track) -> bool:
    """Whether skip may be taken from the station: strong, heard again, and its place known."""
    return track.heard >= 2 and _is_strong_hop(track)


def _is_strong_hop(track: Track) -> bool:
    return (
        track.best_snr_db is not None
        and track.best_snr_db >= STRONG_SKIP_DB
        and track.place.source in (LocationSource.MESSAGE, LocationSource.HEARD_BEFORE)
        and SHORTEST_SKIP_KM <= track.place.distance_km <= LONGEST_ES_HOP_KM
    )


def _is_one_hop(track: Track) -> bool:
    return track.place.locator is not None and track.place.distance_km <= LONGEST_ES_HOP_KM


@dataclass(slots=True)
class OpeningLife:
    """An opening while it lives.

    ``home`` is (lat, lon) in degrees; ``heard`` keeps the stations that came through, also those gone again.
    """

    id: str
    home: tuple[float, float]
    began_at_s: float
    last_at_s: float
    peak_at_s: float
    peak_stations: int = 0
    live_stations: int = 0
    heard: dict[str, Track] = field(default_factory=dict)
    cloud: CloudTrack = field(default_factory=CloudTrack)

    def note(self, at_s: float, live: list[Track]) -> None:
        """Take over the area's believed stations as of ``at_s``."""
        for track in live:
            if track.call not in self.heard and len(self.heard) >= MOST_STATIONS:
                continue
            self.heard[track.call] = track
            if track.last_at_s > self.last_at_s:
                self.last_at_s = track.last_at_s
            if track.last_at_s >= at_s and _is_one_hop(track):
                point = midpoint(*self.home, track.place.lat_deg, track.place.lon_deg)
                self.cloud.add(track.call, at_s, *point)
        self.live_stations = len(live)
        if len(live) > self.peak_stations:
            self.peak_stations, self.peak_at_s = len(live), at_s

    def sure(self) -> list[Track]:
        """The stations that may set distances and bearing."""
        return sure_of(self.heard.values())

    def published(
        self,
        freq_mhz: float,
        judgement: Judgement,
        ended_at_s: float | None = None,
    ) -> Opening:
        """The opening as the bulletin shows it."""
        sure = self.sure()
        bearings = [h.place.bearing_deg for h in sure]
        weights = [max(h.trust, 0.01) for h in sure]
        distances = sorted(h.place.distance_km for h in sure)
        snrs = [h.best_snr_db for h in self.heard.values() if h.best_snr_db is not None]
        squares = sorted({square_of(h.place.locator) for h in self.heard.values() if h.place.locator})
        is_es = judgement.mode in ES_MODES
        return Opening(
            id=self.id,
            began_at_s=self.began_at_s,
            peak_at_s=self.peak_at_s,
            ended_at_s=ended_at_s,
            last_at_s=self.last_at_s,
            bearing_deg=round(circular_mean_deg(bearings, weights), 1) % 360.0,
            spread_deg=round(circular_std_deg(bearings, weights), 1),
            stations=self.live_stations,
            peak_stations=self.peak_stations,
            total_stations=len(self.heard),
            locators=tuple(squares[:MOST_SQUARES]),
            nearest_km=round(distances[0]),
            farthest_km=round(distances[-1]),
            best_snr_db=max(snrs, default=None),
            mode=judgement.mode,
            likelihoods=judgement.likelihoods,
            muf_mhz=self._muf_mhz(freq_mhz) if is_es else None,
            reflections=self._reflections() if is_es else (),
            drift=self.cloud.drift() if judgement.mode is Mode.SPORADIC_E else None,
        )

    def _muf_mhz(self, freq_mhz: float) -> float | None:
        """What the shortest strong skip implies ("up to about"), by the secant law; None without one."""
        skips = [h.place.distance_km for h in self.sure() if _is_strong_hop(h)]
        return round(muf_mhz(freq_mhz, min(skips)), 1) if skips else None

    def _reflections(self) -> tuple[Reflection, ...]:
        points = []
        for call, h in sorted(self.heard.items()):
            if not _is_one_hop(h):
                continue
            lat_deg, lon_deg = midpoint(*self.home, h.place.lat_deg, h.place.lon_deg)
            points.append(Reflection(round(lat_deg, 2), round(lon_deg, 2), call))
        return tuple(points[:MOST_SQUARES])
