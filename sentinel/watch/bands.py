"""Several bands watched at once: which band a decode belongs to, and what a band tells the next one up.

Each band has a watch of its own; the first is the main band. Nothing passes between them but a lower band's
skip (``lower_band``).
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Protocol, TypeVar

from sentinel.watch.changes import Change
from sentinel.watch.decode import Decode
from sentinel.watch.lower_band import SkipFinder
from sentinel.watch.settings import WatchSettings
from sentinel.watch.watch import Watch


class OnBand(Protocol):
    """A watch of any kind."""

    @property
    def settings(self) -> WatchSettings: ...


AnyWatch = TypeVar("AnyWatch", bound=OnBand)


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


def ascending(watches: Sequence[AnyWatch]) -> list[AnyWatch]:
    """The watches by frequency, so that each comes after the one below it."""
    return sorted(watches, key=lambda watch: watch.settings.low_mhz)


def skip_finders(watches: Sequence[AnyWatch]) -> Iterator[tuple[AnyWatch, SkipFinder, AnyWatch]]:
    """Each band but the highest, with what finds its skip, and the next band up."""
    for lower, upper in pairwise(ascending(watches)):
        yield lower, SkipFinder(lower.settings.low_mhz, upper.settings.low_mhz), upper


class Bands:
    """The watches of a replay, fed decodes of all bands in the order of their time.

    What changed comes back with its band, in the order of time.
    """

    def __init__(self, bands: Sequence[WatchSettings]) -> None:
        self.watches = [Watch(each) for each in bands]
        self._upwards = ascending(self.watches)
        self._by_band = {watch.settings.band: watch for watch in self.watches}
        for lower, finder, _ in skip_finders(self.watches):
            lower.skip_finder = finder
        self._now_s: float | None = None

    def feed(self, decode: Decode, band: str) -> list[tuple[str, Change]]:
        """Take a decode of ``band``."""
        if self._now_s is None:
            self._now_s = decode.at_s
        is_alone = len(self.watches) == 1
        changes = [] if is_alone or decode.at_s <= self._now_s else self.tick(decode.at_s)
        return changes + [(band, change) for change in self._by_band[band].feed(decode)]

    def tick(self, now_s: float) -> list[tuple[str, Change]]:
        """Time has reached ``now_s``. From the lowest band up, each hears of the one below first."""
        changes: list[tuple[str, Change]] = []
        lower: Watch | None = None
        for watch in self._upwards:
            found: list[Change] = []
            if lower is not None and lower.skip_finder is not None:
                for word in lower.skip_finder.take():
                    found += watch.feed(word)
            if not watch.has_verdict and self._now_s is not None:
                found += watch.tick(self._now_s)  # the first line's time is the first instant of all bands
            found += watch.tick(now_s)
            changes += [(watch.settings.band, change) for change in found]
            lower = watch
        self._now_s = now_s
        return sorted(changes, key=lambda each: each[1].at_s)
