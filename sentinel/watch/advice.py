"""Where to listen now: heading, kind of emission and frequency, from what comes through and the band plans.

Pure. A digital signal's report is in 2500 Hz, and the same power would arrive just so on CW or voice; so its
strength says what else is worth a try. The frequencies and their sources are ``trade.bandplan``'s.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sentinel.sky.circular import angle_between_deg
from sentinel.trade.bandplan import BANDS, ActivityCentre, Emission, Region, activity_centre
from sentinel.trade.locator import center_of, is_locator
from sentinel.trade.regions import region_of
from sentinel.watch.bulletin import Bulletin, Heading, Mode, State

CW_BY_EAR_DB = -15.0
"""A skilled ear copies Morse from here, in 2500 Hz (voacap.com, "Understanding REL": 19 dB-Hz)."""
CW_EASY_DB = -10.0
"""Most ears do (the same: 24 dB-Hz)."""
VOICE_MARGINAL_DB = 4.0
"""Upper sideband is marginal from here (from memory)."""
VOICE_GOOD_DB = 10.0
"""And good from here (voacap.com, "Understanding REL": 45 dB-Hz are +11)."""
BETWEEN_CONTINENTS_KM = 4000
"""From here on the frequencies that are kept for contacts between continents (common practice, no source)."""
WIDEST_DEG = 45.0
"""A station counts for the nearest heading within so much of it."""
HISSES_OR_PINGS = frozenset({Mode.AURORA, Mode.METEOR_SCATTER})
"""Aurora leaves a hiss of every voice, and a ping is over before a call is spoken (common practice)."""


@dataclass(frozen=True, slots=True)
class Direction:
    """What comes through from one direction; the strongest signal in dB in 2500 Hz, None where not known."""

    bearing_deg: float
    farthest_km: int
    mode: Mode
    stations: int
    best_snr_db: float | None


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to try. ``bearing_deg`` None: any. ``freq_mhz`` is the dial's, ``source`` the band plan."""

    bearing_deg: float | None
    emission: Emission
    freq_mhz: float
    reason: str
    source: str


def advise(bulletin: Bulletin) -> tuple[Advice, ...]:
    """Where to listen now, best first; nothing while blind, or where the station's place is not known."""
    home = bulletin.station_locator
    if bulletin.state is State.BLIND or home is None or not is_locator(home):
        return ()
    directions = [_direction(heading, bulletin) for heading in bulletin.headings]
    return advise_on(directions, bulletin.band, home)


def in_words(advice: Advice) -> str:
    """The advice in a line: ``50.110 MHz, SSB, at 239°: the strongest is at +15 dB: voice should carry``."""
    where = "" if advice.bearing_deg is None else f", at {round(advice.bearing_deg) % 360:03d}°"
    return f"{advice.freq_mhz:.3f} MHz, {advice.emission.value}{where}: {advice.reason}"


def advise_on(directions: Sequence[Direction], band: str, home_locator: str) -> tuple[Advice, ...]:
    """The same from the directions alone, best heading first; without any, where openings show themselves.

    The best heading is the one with the strongest signal that carries voice, then Morse, then the busiest.
    """
    if band not in BANDS:
        return ()
    region = region_of(*center_of(home_locator))
    best_first = sorted(directions, key=lambda d: (-_step(d.best_snr_db), -d.stations, d.bearing_deg))
    found = [advice for direction in best_first for advice in _along(direction, band, region)]
    return tuple(found) or tuple(_while_quiet(band, region))


def _direction(heading: Heading, bulletin: Bulletin) -> Direction:
    """A heading with the strongest of its stations as last heard: what was strong once may have faded."""
    snrs = [
        station.last_snr_db
        for station in bulletin.stations
        if station.last_snr_db is not None and _nearest(bulletin.headings, station.bearing_deg) is heading
    ]
    return Direction(
        heading.bearing_deg, heading.farthest_km, heading.mode, heading.stations, max(snrs, default=None)
    )


def _nearest(headings: Sequence[Heading], bearing_deg: float) -> Heading | None:
    nearest = min(headings, key=lambda h: angle_between_deg(h.bearing_deg, bearing_deg))
    return nearest if angle_between_deg(nearest.bearing_deg, bearing_deg) <= WIDEST_DEG else None


def _step(snr_db: float | None) -> int:
    """How much a signal carries: 3 voice, 2 marginal voice, 1 Morse, 0 neither."""
    if snr_db is None:
        return 0
    return sum(snr_db >= limit for limit in (CW_BY_EAR_DB, VOICE_MARGINAL_DB, VOICE_GOOD_DB))


def _along(direction: Direction, band: str, region: Region) -> Iterator[Advice]:
    snr_db, is_dx = direction.best_snr_db, direction.farthest_km >= BETWEEN_CONTINENTS_KM
    for emission, reason in _worth_trying(direction.mode, snr_db):
        for centre in _centres(band, emission, region, is_dx):
            yield Advice(direction.bearing_deg, emission, centre.freq_mhz, reason, centre.source)


def _worth_trying(mode: Mode, snr_db: float | None) -> Iterator[tuple[Emission, str]]:
    """What the strongest signal would carry, the most direct contact first."""
    strength = "" if snr_db is None else f"the strongest is at {snr_db:+.0f} dB"
    if snr_db is not None and mode not in HISSES_OR_PINGS:
        if snr_db >= VOICE_GOOD_DB:
            yield Emission.SSB, f"{strength}: voice should carry"
        elif snr_db >= VOICE_MARGINAL_DB:
            yield Emission.SSB, f"{strength}: voice may just carry"
    if snr_db is not None and snr_db >= CW_BY_EAR_DB and mode is not Mode.METEOR_SCATTER:
        ear = "Morse is easy to copy" if snr_db >= CW_EASY_DB else "a skilled ear copies Morse"
        yield Emission.CW, f"{strength}: {ear}"
    yield Emission.FT8, strength or "this is what is heard"


def _centres(band: str, emission: Emission, region: Region, is_dx: bool) -> Iterator[ActivityCentre]:
    """The usual place, and first the one kept for other continents when the signals come from there."""
    for for_dx in (True, False) if is_dx else (False,):
        centre = activity_centre(band, emission, region, is_for_dx=for_dx)
        if centre is not None and (not for_dx or centre.is_for_dx):
            yield centre


def _while_quiet(band: str, region: Region) -> Iterator[Advice]:
    """Where an opening shows itself first while nothing far comes through."""
    for emission, reason in (
        (Emission.FT8, "weak signals show here first"),
        (Emission.SSB, "calling frequency, for when it opens"),
        (Emission.CW, "calling frequency, for when it opens"),
    ):
        for centre in _centres(band, emission, region, is_dx=False):
            yield Advice(None, emission, centre.freq_mhz, reason, centre.source)
