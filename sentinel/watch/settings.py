"""What the operator tells the core: where the station is, what counts as far, how to tell deaf from dead."""

from dataclasses import dataclass, field

MAX_CANDIDATES = 1_500
"""Most far stations that wait to be heard again: a quarter of an hour of the worst false decodes."""
MAX_FAR_TRACKS = 5_000
"""Most stations remembered at once. A busy contest hour shows some hundreds; ten times that is a flood."""


@dataclass(frozen=True, slots=True)
class ReceiverSettings:
    """How a dead band is told from a deaf receiver; everything is optional.

    ``canaries`` are base calls; hearing any one of them within ``canary_silence_s`` proves the receiver.
    ``line_silence_s`` 0 means that a decoder which prints nothing on a dead band is normal.
    """

    canaries: frozenset[str] = frozenset()
    canary_silence_s: float = 20 * 60.0
    line_silence_s: float = 0.0


@dataclass(frozen=True, slots=True)
class WatchSettings:
    """The settings of one band's watch. Distances in km, times in seconds, frequencies in MHz."""

    home_locator: str
    band: str = "6m"
    low_mhz: float = 50.0
    high_mhz: float = 54.0
    own_call: str | None = None
    far_km: float = 500.0
    window_s: float = 15 * 60.0
    neighbours_km: float = 300.0
    receiver: ReceiverSettings = field(default_factory=ReceiverSettings)

    def covers(self, freq_mhz: float) -> bool:
        """Whether a radio frequency lies in the band."""
        return self.low_mhz <= freq_mhz <= self.high_mhz
