"""The bands around six metres: their limits, and where each mode gathers, by IARU region.

Limits are the ITU's allocations, Radio Regulations Article 5 (from memory); a country may allot less.
Where to listen comes from the band plans named beside each row, or from common practice.
"""

from enum import IntEnum, StrEnum
from typing import NamedTuple


class Region(IntEnum):
    """The IARU's regions, which follow the ITU's (``regions.region_of``)."""

    EUROPE_AFRICA = 1
    AMERICAS = 2
    ASIA_PACIFIC = 3


class Emission(StrEnum):
    """What is sent there."""

    CW = "CW"
    SSB = "SSB"
    FT8 = "FT8"
    FT4 = "FT4"
    WSPR = "WSPR"


class Limits(NamedTuple):
    """A band's edges in MHz, both included."""

    low_mhz: float
    high_mhz: float


class ActivityCentre(NamedTuple):
    """Where one emission gathers: a centre of activity or calling frequency of a band plan.

    ``freq_mhz`` is what the dial shows: CW's own frequency, else the carrier of upper sideband.
    ``is_for_dx`` marks a frequency kept for contacts between continents.
    """

    emission: Emission
    freq_mhz: float
    source: str
    is_for_dx: bool = False


# Ascending; a region that a band does not name has no allocation there.
_LIMITS: dict[str, dict[Region, Limits]] = {
    "10m": dict.fromkeys(Region, Limits(28.0, 29.7)),
    "6m": {
        Region.EUROPE_AFRICA: Limits(50.0, 52.0),  # WRC-19; up to 54 in parts of Africa
        Region.AMERICAS: Limits(50.0, 54.0),
        Region.ASIA_PACIFIC: Limits(50.0, 54.0),
    },
    "4m": {Region.EUROPE_AFRICA: Limits(69.9, 70.5)},  # national allocations only
    "2m": {
        Region.EUROPE_AFRICA: Limits(144.0, 146.0),
        Region.AMERICAS: Limits(144.0, 148.0),
        Region.ASIA_PACIFIC: Limits(144.0, 148.0),
    },
}
BANDS: tuple[str, ...] = tuple(_LIMITS)

_PRACTICE = "common practice, no source"
_R1_HF = "IARU Region 1 HF band plan, 2020 (from memory)"
_R1_50 = "RSGB band plan, 2018, after IARU Region 1"
_R1_70 = "IARU Region 1 VHF handbook (from memory)"
_R1_144 = "IARU Region 1 conference, 1996, annex F"
_US_50 = "ARRL band plan"
_US_144 = "ARRL band plan (from memory)"
_WIA = "Wireless Institute of Australia, band plan notes"
_WIA_144 = "Wireless Institute of Australia, band plan (from memory)"

_EVERYWHERE: dict[str, tuple[ActivityCentre, ...]] = {
    "10m": (
        ActivityCentre(Emission.CW, 28.060, _R1_HF),
        ActivityCentre(Emission.FT8, 28.074, _PRACTICE),
        ActivityCentre(Emission.WSPR, 28.1246, _PRACTICE),
        ActivityCentre(Emission.FT4, 28.180, _PRACTICE),
        ActivityCentre(Emission.SSB, 28.400, _PRACTICE),
    ),
    "6m": (
        ActivityCentre(Emission.CW, 50.090, _R1_50, is_for_dx=True),
        ActivityCentre(Emission.SSB, 50.110, _R1_50, is_for_dx=True),
        ActivityCentre(Emission.WSPR, 50.293, _PRACTICE),
        ActivityCentre(Emission.FT8, 50.313, _WIA),
        ActivityCentre(Emission.FT4, 50.318, _PRACTICE),
        ActivityCentre(Emission.FT8, 50.323, _PRACTICE, is_for_dx=True),
    ),
    "4m": (),
    "2m": (
        ActivityCentre(Emission.FT4, 144.170, _PRACTICE),
        ActivityCentre(Emission.FT8, 144.174, _PRACTICE),
        ActivityCentre(Emission.WSPR, 144.489, _PRACTICE),
    ),
}
_REGIONAL: dict[tuple[str, Region], tuple[ActivityCentre, ...]] = {
    ("6m", Region.EUROPE_AFRICA): (
        ActivityCentre(Emission.CW, 50.050, _R1_50),
        ActivityCentre(Emission.SSB, 50.150, _R1_50),
    ),
    ("6m", Region.AMERICAS): (
        ActivityCentre(Emission.CW, 50.095, _PRACTICE),
        ActivityCentre(Emission.SSB, 50.125, _US_50),
    ),
    ("6m", Region.ASIA_PACIFIC): (
        ActivityCentre(Emission.CW, 50.090, _PRACTICE),
        ActivityCentre(Emission.SSB, 50.110, _PRACTICE),
    ),
    ("4m", Region.EUROPE_AFRICA): (
        ActivityCentre(Emission.WSPR, 70.091, _PRACTICE),
        ActivityCentre(Emission.FT8, 70.154, _PRACTICE),
        ActivityCentre(Emission.CW, 70.200, _R1_70),
        ActivityCentre(Emission.SSB, 70.200, _R1_70),
    ),
    ("2m", Region.EUROPE_AFRICA): (
        ActivityCentre(Emission.CW, 144.050, _R1_144),
        ActivityCentre(Emission.SSB, 144.300, _R1_144),
    ),
    ("2m", Region.AMERICAS): (
        ActivityCentre(Emission.CW, 144.200, _US_144),
        ActivityCentre(Emission.SSB, 144.200, _US_144),
    ),
    ("2m", Region.ASIA_PACIFIC): (
        ActivityCentre(Emission.CW, 144.100, _WIA_144),
        ActivityCentre(Emission.SSB, 144.100, _WIA_144),
    ),
}


def limits_of(band: str, region: Region | None = None) -> Limits | None:
    """The band's edges in one region, or the widest anywhere; None where the region has no such band.

    Raises ValueError for a band that is not in ``BANDS``.
    """
    by_region = _by_region(band)
    if region is not None:
        return by_region.get(region)
    lows_mhz, highs_mhz = zip(*by_region.values(), strict=True)
    return Limits(min(lows_mhz), max(highs_mhz))


def band_of(freq_mhz: float) -> str | None:
    """The band that holds a frequency, by the widest limits of any region; None between the bands."""
    for band in BANDS:
        limits = limits_of(band)
        if limits is not None and limits.low_mhz <= freq_mhz <= limits.high_mhz:
            return band
    return None


def next_up(band: str) -> str | None:
    """The next higher band, None above the highest. Raises ValueError for a band that is not in ``BANDS``."""
    _by_region(band)
    higher = BANDS[BANDS.index(band) + 1 :]
    return higher[0] if higher else None


def activity_centres(band: str, region: Region) -> tuple[ActivityCentre, ...]:
    """Where to listen on a band, ascending; nothing where the region has no such band.

    Raises ValueError for a band that is not in ``BANDS``.
    """
    if region not in _by_region(band):
        return ()
    centres = (*_EVERYWHERE[band], *_REGIONAL.get((band, region), ()))
    return tuple(sorted(centres, key=lambda centre: centre.freq_mhz))


def activity_centre(
    band: str, emission: Emission, region: Region, *, is_for_dx: bool = False
) -> ActivityCentre | None:
    """Where to try one emission, or None where it has no usual place.

    With ``is_for_dx`` the frequency kept for contacts between continents, if there is one; without, never
    that one. Raises ValueError for a band that is not in ``BANDS``.
    """
    usual = [centre for centre in activity_centres(band, region) if centre.emission is emission]
    wanted = [centre for centre in usual if centre.is_for_dx is is_for_dx]
    return next(iter(wanted or (usual if is_for_dx else [])), None)


def _by_region(band: str) -> dict[Region, Limits]:
    try:
        return _LIMITS[band]
    except KeyError:
        raise ValueError(f"{band[:20]!a} is not a band known here: use one of {', '.join(BANDS)}") from None
