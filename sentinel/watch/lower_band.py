"""What the skip of a lower band says about this one: a hint to look, never proof of an opening here.

The shorter the skip on a lower band, the higher the frequency that the same patch of sporadic E reflects on a
longer path (``sky.hop``). So while a lower band is open with skip so short that the implied MUF reaches this
band, it is stirring here, whatever is heard. The lower band's watch finds its skip (``SkipFinder``) and tells
it when it changes (``LowerBandSkip``); the watch above weighs what it was told (``LowerBand``).
"""

from collections.abc import Iterator
from dataclasses import dataclass

from sentinel.sky.hop import muf_mhz
from sentinel.watch.bulletin import Mode
from sentinel.watch.notable import POSSIBLE_2M_SKIP_KM
from sentinel.watch.opening import ES_MODES, shows_skip
from sentinel.watch.openings import Openings
from sentinel.watch.track import Track

SHORTWAVE_MHZ = 30.0
"""Below, nothing but sporadic E carries strong signals over 500 to 700 km: troposphere and aurora are for VHF
(common practice), and F2 would have to reflect 20 MHz straight up. So there the distance alone may tell."""
DOUBTED_ON_SHORTWAVE = frozenset({Mode.UNKNOWN, Mode.TROPO})
TWO_METRES_MHZ, SIX_METRES_MHZ = 144.0, 50.0
"""From six metres on, skip says by practice, not by the MUF of a thin layer, whether 144 MHz is possible."""


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

    def __init__(self, freq_mhz: float, above_mhz: float) -> None:
        self._freq_mhz, self._above_mhz = freq_mhz, above_mhz
        self._told: Skip | None = None
        self._news: list[LowerBandSkip] = []

    def look(self, openings: Openings, at_s: float, is_blind: bool) -> None:
        """Note how the band stands at ``at_s``. A blind watch knows of no skip."""
        skip = None if is_blind else self._shortest(openings)
        if skip != self._told:
            self._told = skip
            self._news.append(LowerBandSkip(at_s, skip))

    def take(self) -> list[LowerBandSkip]:
        """What has changed since the last call."""
        news, self._news = self._news, []
        return news

    def _shortest(self, openings: Openings) -> Skip | None:
        nearest = min(self._reaching(openings), key=lambda t: (t.place.distance_km, t.call), default=None)
        if nearest is None:
            return None
        distance_km = round(nearest.place.distance_km)
        mhz = round(muf_mhz(self._freq_mhz, distance_km), 1)
        return Skip(self._freq_mhz, distance_km, round(nearest.place.bearing_deg, 1), mhz)

    def _reaching(self, openings: Openings) -> Iterator[Track]:
        """The stations that show such skip now, in openings by sporadic E."""
        for area, live in openings.live:
            if not area.is_open:
                continue
            near = [track for track in live if shows_skip(track) and self._reaches(track.place.distance_km)]
            if near and self._is_sporadic_e(openings.mode_of(area)):
                yield from near

    def _reaches(self, skip_km: float) -> bool:
        if self._above_mhz >= TWO_METRES_MHZ and self._freq_mhz >= SIX_METRES_MHZ:
            return skip_km <= POSSIBLE_2M_SKIP_KM
        return muf_mhz(self._freq_mhz, skip_km) >= self._above_mhz

    def _is_sporadic_e(self, mode: Mode) -> bool:
        return mode in ES_MODES or (self._freq_mhz < SHORTWAVE_MHZ and mode in DOUBTED_ON_SHORTWAVE)


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
