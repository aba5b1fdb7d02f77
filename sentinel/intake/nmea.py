"""NMEA 0183 sentences of a satellite receiver: where the station is, and how good its clock is.

    $GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47
           time   latitude   longitude   |  |  dilution of precision           checksum
                                         |  satellites
                                         0 none, 1 and up a fix

RMC adds the date and says A (valid) or V (warning). A sentence without its checksum is refused: on a serial
line a lost byte would move the station.
"""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time

import pynmea2

from sentinel.trade.locator import locator_of

# Four satellites give position and time; below it the receiver guesses one of them.
LEAST_SATELLITES = 4
# A unit of dilution is about 5 m (common practice, no source), so this is 100 m or 0.3 us: far better than
# anything here needs, but a receiver that says so is about to lose its fix.
MOST_DILUTION = 20.0


@dataclass(frozen=True, slots=True)
class Fix:
    """What the receiver said last. ``locator`` has six characters; ``at_s`` is seconds since 1970 UTC."""

    has_fix: bool = False
    locator: str | None = None
    at_s: float | None = None
    satellites: int | None = None
    dilution: float | None = None

    @property
    def is_good_clock(self) -> bool:
        """True if the time can set a clock."""
        return (
            self.has_fix
            and self.at_s is not None
            and (self.satellites or 0) >= LEAST_SATELLITES
            and (self.dilution is None or self.dilution <= MOST_DILUTION)
        )


class NmeaReader:
    """Follows one receiver, sentence by sentence."""

    def __init__(self) -> None:
        self.fix = Fix()
        self.refused = 0
        """Sentences without a checksum, with a wrong one, or that make no sense."""

    def read(self, line: str) -> Fix:
        """The state after one line; lines of other kinds change nothing."""
        if not line.startswith("$"):
            return self.fix
        try:
            self.fix = _after(self.fix, pynmea2.parse(line.strip(), check=True))
        except (pynmea2.ParseError, ValueError, TypeError, AttributeError):  # as its fields are malformed
            self.refused += 1
        return self.fix


def _after(fix: Fix, sentence: object) -> Fix:
    if isinstance(sentence, pynmea2.GGA):
        if not sentence.gps_qual:
            return replace(fix, has_fix=False, satellites=None, dilution=None)
        return replace(
            fix,
            has_fix=True,
            locator=_locator(sentence),
            satellites=int(sentence.num_sats),
            dilution=float(sentence.horizontal_dil) if sentence.horizontal_dil else None,
        )
    if isinstance(sentence, pynmea2.RMC):
        if sentence.status != "A":
            return replace(fix, has_fix=False, at_s=None)
        return replace(fix, has_fix=True, locator=_locator(sentence), at_s=_at_s(sentence))
    return fix


def _locator(sentence: object) -> str:
    lat_deg, lon_deg = sentence.latitude, sentence.longitude  # type: ignore[attr-defined]
    if not (-90.0 <= lat_deg <= 90.0 and -180.0 <= lon_deg <= 180.0):
        raise ValueError("no place on earth")
    return locator_of(lat_deg, lon_deg)


def _at_s(sentence: object) -> float | None:
    day, clock = sentence.datestamp, sentence.timestamp  # type: ignore[attr-defined]
    if not isinstance(day, date) or not isinstance(clock, time):
        return None
    return datetime.combine(day, clock.replace(tzinfo=None), UTC).timestamp()
