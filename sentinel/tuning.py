"""Which band a receiver is on that hears one at a time. Pure: the caller passes the monotonic time."""

from collections.abc import Iterable

NO_BAND_OF_OURS = "a band that is not watched"
AWAY_S = 600.0
"""A receiver that goes round its bands is back sooner; one that was left on another is missed by then."""


class Tuning:
    """Follows one receiver through its bands by the lines that it brings."""

    def __init__(self, bands: Iterable[str]) -> None:
        self._bands = tuple(bands)
        self._away_since_s: dict[str, float] = {}
        self.on: str | None = None
        """The band of the newest line."""

    def hear(self, band: str, now_s: float) -> None:
        """A line came on ``band``: on every other band nobody listens from now on."""
        if band == self.on:
            return
        self.on = band
        self._away_since_s.pop(band, None)
        for other in self._bands:
            if other != band:
                self._away_since_s.setdefault(other, now_s)

    def away_s(self, band: str, now_s: float) -> float | None:
        """For how long it has been elsewhere, when that is too long to say that the band is watched."""
        since_s = self._away_since_s.get(band)
        return None if since_s is None or now_s - since_s < AWAY_S else now_s - since_s
