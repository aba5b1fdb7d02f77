"""What the skip of a lower band says about this one: a hint to look, never proof of an opening here.

The shorter the skip on a lower band, the higher the frequency that the same patch of sporadic E reflects on a
longer path (``sky.hop``). So while a lower band is open with skip so short that the implied MUF reaches this
band, it is stirring here, whatever is heard. The lower band's watch finds its skip (``SkipFinder``) and tells
it when it changes (``LowerBandSkip``); the watch above weighs what it was told (``LowerBand``).
"""

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sentinel.sky.geodesy import midpoint
from sentinel.sky.hop import muf_mhz
from sentinel.sky.season import sporadic_e_weight
from sentinel.watch.bulletin import Mode
from sentinel.watch.notable import POSSIBLE_2M_SKIP_KM
from sentinel.watch.opening import ES_MODES, shows_skip
from sentinel.watch.openings import Openings
from sentinel.watch.track import Track
from sentinel.watch.verdict import LEAST_STATIONS, SUSTAINED_SLOTS

SHORTWAVE_MHZ = 30.0
DOUBTED_ON_SHORTWAVE = frozenset({Mode.UNKNOWN, Mode.TROPO})
"""Below 30 MHz tropo is none where the distance suggests it (common practice), and F2 would have to reflect
20 MHz straight up to bridge 600 km. What is left is sporadic E, and backscatter from F2."""
IN_SEASON = 0.5
"""Half of the yearly mean of sporadic E, as ``mode`` counts it: when it is rarer, backscatter is likelier."""
TWO_METRES_MHZ, SIX_METRES_MHZ = 144.0, 50.0
"""From six metres on, skip says by practice, not by the MUF of a thin layer, whether 144 MHz is possible."""

MOST_NEWS = 1_000
"""Whoever asks so seldom wants to know how it stands, not how it came to that."""


@dataclass(frozen=True, slots=True)
class Skip:
    """The shortest skip of a band at ``freq_mhz``, by a station that is strong and beyond doubt, and the MUF
    that it implies ("about": signals also come from shorter skip than the law allows)."""

    freq_mhz: float
    distance_km: int
    bearing_deg: float
    muf_mhz: float


@dataclass(frozen=True, slots=True)
class LowerBandSkip:
    """From ``at_s`` (event time) on, ``skip`` is how the lower band stands; None: too long, or none."""

    at_s: float
    skip: Skip | None


class SkipFinder:
    """Watches one band's openings for skip that reaches the band that begins at ``above_mhz``."""

    def __init__(self, home: tuple[float, float], freq_mhz: float, above_mhz: float) -> None:
        """``home`` is (lat, lon) in degrees."""
        self._home, self._freq_mhz, self._above_mhz = home, freq_mhz, above_mhz
        self._told: Skip | None = None
        self._news: deque[LowerBandSkip] = deque(maxlen=MOST_NEWS)

    def look(self, openings: Openings, at_s: float, is_blind: bool) -> None:
        """Note how the band stands at ``at_s``. A blind watch knows of no skip."""
        skip = None if is_blind else self._shortest(openings, at_s)
        if skip != self._told:
            self._told = skip
            self._news.append(LowerBandSkip(at_s, skip))

    def take(self) -> list[LowerBandSkip]:
        """What has changed since the last call."""
        news = list(self._news)
        self._news.clear()
        return news

    def _shortest(self, openings: Openings, at_s: float) -> Skip | None:
        nearest = min(
            self._reaching(openings, at_s), key=lambda t: (t.place.distance_km, t.call), default=None
        )
        if nearest is None:
            return None
        distance_km = round(nearest.place.distance_km)
        mhz = round(muf_mhz(self._freq_mhz, distance_km), 1)
        return Skip(self._freq_mhz, distance_km, round(nearest.place.bearing_deg, 1) % 360.0, mhz)

    def _reaching(self, openings: Openings, at_s: float) -> Iterator[Track]:
        """The stations that show such skip now, in openings by sporadic E."""
        for area, live in openings.live:
            near = [track for track in live if shows_skip(track) and self._reaches(track.place.distance_km)]
            if near and (area.is_open or self._is_short_opening(near)):
                mode = openings.mode_of(area)
                yield from (track for track in near if self._is_sporadic_e(mode, track, at_s))

    def _reaches(self, skip_km: float) -> bool:
        if self._above_mhz >= TWO_METRES_MHZ and self._freq_mhz >= SIX_METRES_MHZ:
            return skip_km <= POSSIBLE_2M_SKIP_KM
        return muf_mhz(self._freq_mhz, skip_km) >= self._above_mhz

    def _is_short_opening(self, near: Sequence[Track]) -> bool:
        """What is no opening yet on VHF, for fear of aircraft, is one here if enough outlive a ping."""
        is_shortwave = self._freq_mhz < SHORTWAVE_MHZ
        return is_shortwave and sum(len(t.slots) >= SUSTAINED_SLOTS for t in near) >= LEAST_STATIONS

    def _is_sporadic_e(self, mode: Mode, track: Track, at_s: float) -> bool:
        if mode in ES_MODES:
            return True
        if self._freq_mhz >= SHORTWAVE_MHZ or mode not in DOUBTED_ON_SHORTWAVE:
            return False
        middle = midpoint(*self._home, track.place.lat_deg, track.place.lon_deg)
        return sporadic_e_weight(at_s, *middle) >= IN_SEASON


class LowerBand:
    """What the watch above knows of the band below."""

    def __init__(self) -> None:
        self.skip: Skip | None = None
        """The skip that reaches this band, as last told."""
        self.due_s = float("inf")
        """When the verdict is to be looked at again."""

    def hear(self, event: LowerBandSkip, now_s: float) -> None:
        """Take what the band below says at ``now_s``, event time."""
        self.skip = event.skip
        self.due_s = min(self.due_s, now_s)

    def look_again(self, now_s: float) -> None:
        """The core begins again at ``now_s``: what was said still counts."""
        if self.skip is not None:
            self.due_s = now_s

    def judge(self) -> Skip | None:
        """What counts now."""
        self.due_s = float("inf")
        return self.skip
