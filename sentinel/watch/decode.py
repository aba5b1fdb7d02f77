"""One decode: what the layout template read from one line of the decoder's output.

This is the only thing the core is ever fed. It says what was printed, not yet who was heard.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Decode:
    """One printed decode.

    ``at_s`` is seconds since 1970 UTC as the decoder stamped it (usually the start of the slot);
    ``snr_db`` refers to 2500 Hz; ``dt_s`` is the decoder's time offset; ``audio_hz`` the audio
    frequency; ``freq_mhz`` the radio frequency. ``None`` stands for what the line does not say.
    ``has_low_confidence`` is the decoder's own marker, where a layout names one.
    """

    at_s: float
    message: str
    snr_db: float | None = None
    dt_s: float | None = None
    audio_hz: float | None = None
    freq_mhz: float | None = None
    mode: str | None = None
    source: str = ""
    has_low_confidence: bool = False
