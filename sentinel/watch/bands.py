"""Several bands watched at once: which band a decode belongs to, and what a band tells the next one up.

Each band has a watch of its own; the first is the main band. Nothing passes between them but a lower band's
skip (``lower_band``).
"""

from collections.abc import Iterable, Sequence
from itertools import pairwise

from sentinel.trade.locator import center_of
from sentinel.watch.changes import Change
from sentinel.watch.decode import Decode
from sentinel.watch.lower_band import LowerBandSkip, SkipFinder
from sentinel.watch.settings import WatchSettings
from sentinel.watch.watch import Watch


def band_of(freq_mhz: float | None, bands: Sequence[WatchSettings]) -> str:
    """The band that holds a frequency.

    The main band, the first, gets what has none, and what lies in no band: its watch counts that and does not
    use it.
    """
    if freq_mhz is not None:
        for each in bands:
            if each.covers(freq_mhz):
                return each.band
    return bands[0].band


def ascending(bands: Iterable[WatchSettings]) -> list[str]:
    """The bands by frequency, so that each comes after the one below it."""
    return [each.band for each in sorted(bands, key=lambda each: each.low_mhz)]


def skip_finders(bands: Iterable[WatchSettings]) -> dict[str, SkipFinder]:
    """What finds the skip of each band but the highest, for the next one up."""
    upwards = sorted(bands, key=lambda each: each.low_mhz)
    return {
        lower.band: SkipFinder(center_of(lower.home_locator), lower.low_mhz, upper.low_mhz)
        for lower, upper in pairwise(upwards)
    }


class Bands:
    """The watches of a replay, fed decodes of all bands in the order of their time.

    What changed comes back with its band, in the order of time.
    """

    def __init__(self, bands: Sequence[WatchSettings]) -> None:
        self.watches = {each.band: Watch(each) for each in bands}
        self._upwards = ascending(bands)
        self._finders = skip_finders(bands)
        for band, finder in self._finders.items():
            self.watches[band].find_skip(finder)
        self._now_s: float | None = None

    def feed(self, decode: Decode, band: str) -> list[tuple[str, Change]]:
        """Take a decode of ``band``."""
        if self._now_s is None:
            self._now_s = decode.at_s
        is_alone = len(self.watches) == 1
        changes = [] if is_alone or decode.at_s <= self._now_s else self.tick(decode.at_s)
        return changes + [(band, change) for change in self.watches[band].feed(decode)]

    def tick(self, now_s: float) -> list[tuple[str, Change]]:
        """Time has reached ``now_s``. From the lowest band up, each hears of the one below first."""
        changes: list[tuple[str, Change]] = []
        words: list[LowerBandSkip] = []
        for band in self._upwards:
            watch = self.watches[band]
            found = [change for word in words for change in watch.feed(word)]
            if not watch.has_verdict and self._now_s is not None:
                found += watch.tick(self._now_s)  # the first line's time is the first instant of all bands
            found += watch.tick(now_s)
            changes += [(band, change) for change in found]
            words = self._finders[band].take() if band in self._finders else []
        self._now_s = now_s
        return sorted(changes, key=lambda each: each[1].at_s)
