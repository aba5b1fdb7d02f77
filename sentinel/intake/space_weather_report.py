"""What is known of the sun and the field: values with the time at which they were measured, pure.

Times are seconds since 1970 UTC.
"""

from dataclasses import dataclass

from sentinel.watch.mode import SpaceWeather

FLUX_GOOD_S = 4 * 86_400.0
"""Flux is measured at noon in Penticton and turns with the sun in 27 days: after four days it has drifted by
about a tenth (common practice, no source)."""
KP_GOOD_S = 9 * 3600.0
"""By its stamp a three-hour value is six hours old when the next one appears, and one may be missing."""
AHEAD_S = 86_400.0
"""A value stamped further ahead of the clock is wrong, or the clock is: its age is not known."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and when it was measured."""

    value: float
    at_s: float

    def age_s(self, now_s: float) -> float:
        """Its age in seconds, never below 0."""
        return max(0.0, now_s - self.at_s)

    def is_good(self, now_s: float, good_s: float) -> bool:
        """Whether it is known to be no older than ``good_s``."""
        return -AHEAD_S <= now_s - self.at_s <= good_s


@dataclass(frozen=True, slots=True)
class SpaceWeatherReport:
    """What a product said: F10.7 in solar flux units, sunspots of the day, planetary K from 0 to 9."""

    flux: Measured | None = None
    sunspots: Measured | None = None
    kp: Measured | None = None

    def then(self, other: "SpaceWeatherReport") -> "SpaceWeatherReport":
        """Both reports as one, the newer value of each."""
        return SpaceWeatherReport(
            _newer(self.flux, other.flux), _newer(self.sunspots, other.sunspots), _newer(self.kp, other.kp)
        )

    def as_of(self, now_s: float) -> SpaceWeather:
        """What of it is still good at ``now_s``."""
        flux = self.flux.value if self.flux and self.flux.is_good(now_s, FLUX_GOOD_S) else None
        kp = self.kp.value if self.kp and self.kp.is_good(now_s, KP_GOOD_S) else None
        return SpaceWeather(flux, kp)


def _newer(one: Measured | None, other: Measured | None) -> Measured | None:
    known = [each for each in (one, other) if each is not None]
    return max(known, key=lambda each: each.at_s, default=None)
