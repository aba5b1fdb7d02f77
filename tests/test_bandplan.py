"""Bands, where to listen on them, and the region that decides it."""

import math
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sentinel.trade.bandplan import (
    BANDS,
    Emission,
    Limits,
    Region,
    activity_centre,
    activity_centres,
    band_of,
    limits_of,
    next_up,
)
from sentinel.trade.regions import region_of

R1, R2, R3 = Region


@pytest.mark.parametrize(
    ("freq_mhz", "band"),
    [
        (28.0, "10m"), (29.7, "10m"), (50.313, "6m"), (50.0, "6m"), (54.0, "6m"), (70.154, "4m"),
        (144.174, "2m"), (148.0, "2m"), (27.999, None), (49.999, None), (54.001, None), (71.0, None),
        (0.0, None), (-50.0, None), (math.nan, None), (math.inf, None),
    ],
)  # fmt: skip
def test_a_frequency_belongs_to_its_band(freq_mhz: float, band: str | None) -> None:
    assert band_of(freq_mhz) == band


def test_limits_differ_by_region() -> None:
    # ITU Radio Regulations Article 5 (from memory); WRC-19 for 50 MHz in Region 1
    assert [limits_of("6m", region) for region in Region] == [Limits(50, 52), Limits(50, 54), Limits(50, 54)]
    assert [limits_of("2m", region) for region in Region] == [Limits(144, 146), *[Limits(144, 148)] * 2]
    assert [limits_of("10m", region) for region in Region] == [Limits(28, 29.7)] * 3
    assert [limits_of("4m", region) for region in Region] == [Limits(69.9, 70.5), None, None]
    assert limits_of("6m") == Limits(50, 54)


def test_each_band_leads_to_the_next_higher_one() -> None:
    assert [next_up(band) for band in BANDS] == [*BANDS[1:], None]
    lows_mhz = [limits.low_mhz for band in BANDS if (limits := limits_of(band))]
    assert lows_mhz == sorted(lows_mhz)
    assert len(lows_mhz) == 4


@pytest.mark.parametrize("region", Region)
@pytest.mark.parametrize("band", BANDS)
def test_every_activity_centre_lies_in_its_band_and_names_its_source(band: str, region: Region) -> None:
    centres, limits = activity_centres(band, region), limits_of(band, region)
    assert bool(centres) == (limits is not None)
    assert [centre.freq_mhz for centre in centres] == sorted(centre.freq_mhz for centre in centres)
    for centre in centres:
        assert limits is not None
        assert limits.low_mhz <= centre.freq_mhz <= limits.high_mhz
        assert centre.source


@pytest.mark.parametrize(
    ("band", "emission", "region", "is_for_dx", "freq_mhz"),
    [
        # RSGB band plan, effective 1 January 2018, 50 MHz: 50.050, 50.090, 50.110, 50.150
        ("6m", Emission.CW, R1, False, 50.050),
        ("6m", Emission.CW, R1, True, 50.090),
        ("6m", Emission.SSB, R1, False, 50.150),
        ("6m", Emission.SSB, R1, True, 50.110),
        # ARRL band plan: 50.125 SSB calling
        ("6m", Emission.SSB, R2, False, 50.125),
        ("6m", Emission.SSB, R2, True, 50.110),
        # Wireless Institute of Australia: 50.313 worldwide
        ("6m", Emission.FT8, R3, False, 50.313),
        # common practice, no source
        ("6m", Emission.FT8, R1, True, 50.323),
        ("6m", Emission.WSPR, R2, False, 50.293),
        ("6m", Emission.WSPR, R2, True, 50.293),  # none is kept for other continents
        ("10m", Emission.FT8, R2, False, 28.074),
        ("4m", Emission.FT8, R1, False, 70.154),
        ("4m", Emission.FT8, R2, False, None),
        ("4m", Emission.FT4, R1, False, None),
        # IARU Region 1 conference 1996, annex F: 144.050 telegraphy calling, 144.300 SSB calling
        ("2m", Emission.CW, R1, False, 144.050),
        ("2m", Emission.SSB, R1, False, 144.300),
        # ARRL band plan (from memory)
        ("2m", Emission.SSB, R2, False, 144.200),
    ],
)
def test_each_emission_has_its_place(
    band: str, emission: Emission, region: Region, is_for_dx: bool, freq_mhz: float | None
) -> None:
    centre = activity_centre(band, emission, region, is_for_dx=is_for_dx)
    assert (centre and centre.freq_mhz) == freq_mhz


def test_an_unknown_band_is_refused_with_the_known_ones() -> None:
    for ask in (limits_of, next_up, partial(activity_centres, region=R1)):
        with pytest.raises(ValueError, match="'6' is not a band known here: use one of 10m, 6m, 4m, 2m"):
            ask("6")


@pytest.mark.parametrize(
    ("place", "lat_deg", "lon_deg", "region"),
    [
        # ITU Radio Regulations 5.3 to 5.5: lines A, B, C
        ("Reykjavik", 64.1, -21.9, R1), ("Azores", 38.7, -27.2, R1), ("Cape Verde", 15.0, -23.5, R1),
        ("Svalbard", 78.0, 15.0, R1), ("Cape Town", -34.0, 18.0, R1), ("Baghdad", 33.3, 44.4, R1),
        ("Muscat", 23.6, 58.4, R1), ("Mauritius", -20.2, 57.5, R1), ("St Helena", -16.0, -5.7, R1),
        ("Nuuk", 64.2, -51.7, R2), ("Scoresbysund", 70.5, -22.0, R2), ("Halifax", 44.6, -63.6, R2),
        ("Recife", -8.0, -34.9, R2), ("Trindade", -20.5, -29.3, R2), ("Honolulu", 21.3, -157.9, R2),
        ("Adak", 51.9, -176.6, R2), ("Midway", 28.2, -177.4, R2), ("Easter Island", -27.1, -109.4, R2),
        ("Tokyo", 35.7, 139.7, R3), ("Sydney", -33.9, 151.2, R3), ("Auckland", -36.9, 174.8, R3),
        ("Tahiti", -17.5, -149.5, R3), ("Pitcairn", -25.1, -130.1, R3), ("Wake", 19.3, 166.6, R3),
        ("Karachi", 24.9, 67.0, R3), ("Delhi", 28.6, 77.2, R3), ("Tehran", 35.7, 51.4, R3),
        # 5.3: countries of Region 1 east of line A, and their neighbours
        ("Van", 38.5, 43.4, R1), ("Baku", 40.4, 49.9, R1), ("Tashkent", 41.3, 69.3, R1),
        ("Ulan Bator", 47.9, 106.9, R1), ("Vladivostok", 43.2, 132.0, R1), ("Petropavlovsk", 53.0, 158.6, R1),
        ("Chukotka", 66.0, -172.0, R1), ("Franz Josef Land", 80.0, 55.0, R1),
        ("Kabul", 34.5, 69.2, R3), ("Urumqi", 43.8, 87.6, R3), ("Harbin", 45.8, 126.5, R3),
        ("Sapporo", 43.0, 141.3, R3),
    ],
)  # fmt: skip
def test_places_lie_in_their_itu_region(place: str, lat_deg: float, lon_deg: float, region: Region) -> None:
    assert region_of(lat_deg, lon_deg) == region


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_every_place_has_a_region_and_turns_with_the_globe(lat_deg: float, lon_deg: float) -> None:
    assert region_of(lat_deg, lon_deg) in Region
    assert region_of(lat_deg, 180) == region_of(lat_deg, -180)
