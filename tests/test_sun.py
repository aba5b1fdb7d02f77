"""The sun against a published worked example, an ephemeris, the almanac, and its own symmetries."""

import math
from datetime import UTC, datetime

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sentinel.sky.circular import angle_between_deg
from sentinel.sky.sun import (
    is_daylight,
    local_solar_hour,
    season_angle_deg,
    solar_longitude_deg,
    sun_elevation_deg,
    sun_position,
)

times = st.floats(-946771200, 4102444800)  # 1940 to 2100
latitudes = st.floats(-89, 89)
longitudes = st.floats(-180, 180)


def seconds(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def test_the_worked_example_of_the_nrel_report_comes_out() -> None:
    # Reda and Andreas, Solar Position Algorithm, NREL/TP-560-34302: zenith 50.11162 with refraction at 820
    # mbar and 11 degrees C, azimuth 194.340. Refraction by the formula that the report uses (Meeus 16.4).
    sun = sun_position(seconds("2003-10-17T19:30:30"), 39.742476, -105.1786)
    e = sun.elevation_deg
    refraction = 820 / 1010 * 283 / 284 * 1.02 / (60 * math.tan(math.radians(e + 10.3 / (e + 5.11))))
    assert 90 - (e + refraction) == pytest.approx(50.11162, abs=0.02)
    assert sun.azimuth_deg == pytest.approx(194.340, abs=0.02)


# JPL DE421 by skyfield
@pytest.mark.parametrize(
    ("when", "lat", "lon", "elevation"),
    [
        ("2025-06-21T12:00:00", 51.4779, 0.0, 61.957),
        ("2025-03-20T18:00:00", 0.0, 0.0, 1.819),
        ("2025-01-15T03:00:00", -33.87, 151.21, 72.296),
    ],
)
def test_the_elevation_agrees_with_an_ephemeris(when: str, lat: float, lon: float, elevation: float) -> None:
    assert sun_elevation_deg(seconds(when), lat, lon) == pytest.approx(elevation, abs=0.02)


# equinoxes and solstices of the almanac, to the minute (US Naval Observatory, from memory)
@pytest.mark.parametrize(
    ("when", "angle"),
    [
        ("2024-03-20T03:06:00", 0),
        ("2024-06-20T20:51:00", 90),
        ("2024-09-22T12:44:00", 180),
        ("2024-12-21T09:20:00", 270),
        ("2025-03-20T09:01:00", 0),
    ],
)
def test_the_seasons_begin_when_the_almanac_says(when: str, angle: float) -> None:
    assert angle_between_deg(season_angle_deg(seconds(when)), angle) < 0.02
    # J2000 lags by 50.3 arcseconds of precession a year
    assert angle_between_deg(solar_longitude_deg(seconds(when)), angle - 0.34) < 0.03


@given(times, latitudes, longitudes)
def test_the_sun_stands_in_the_meridian_at_solar_noon(at_s: float, lat: float, lon: float) -> None:
    for _ in range(2):  # the equation of time moves by up to 30 s a day
        at_s += (12 - local_solar_hour(at_s, lon)) * 3600
    noon = sun_position(at_s, lat, lon)
    assume(noon.elevation_deg < 85)
    assert min(angle_between_deg(noon.azimuth_deg, 0), angle_between_deg(noon.azimuth_deg, 180)) < 0.02
    for hours in (-5, -1, 1, 5):
        assert sun_elevation_deg(at_s + hours * 3600, lat, lon) < noon.elevation_deg + 0.02


@given(times, latitudes, longitudes)
def test_the_antipode_sees_the_sun_as_deep_as_we_see_it_high(at_s: float, lat: float, lon: float) -> None:
    there = sun_elevation_deg(at_s, -lat, lon + 180)
    assert there == pytest.approx(-sun_elevation_deg(at_s, lat, lon), abs=1e-6)


@given(times, latitudes, longitudes)
def test_results_are_in_range(at_s: float, lat: float, lon: float) -> None:
    sun = sun_position(at_s, lat, lon)
    assert -90 <= sun.elevation_deg <= 90
    assert 0 <= sun.azimuth_deg < 360
    assert 0 <= local_solar_hour(at_s, lon) < 24


def test_the_sun_is_in_the_east_in_the_morning_and_daylight_follows_it() -> None:
    assert 45 < sun_position(seconds("2026-06-21T08:00:00"), 50, 0).azimuth_deg < 135
    assert 225 < sun_position(seconds("2026-06-21T16:00:00"), 50, 0).azimuth_deg < 315
    assert is_daylight(seconds("2026-06-21T12:00:00"), 70, 0)
    assert is_daylight(seconds("2026-06-21T00:00:00"), 70, 0)
    assert not is_daylight(seconds("2026-12-21T12:00:00"), 70, 0)
    # Greenwich, 20 March 2025: sunrise 06:03, sunset 18:13 (almanac, from memory)
    assert not is_daylight(seconds("2025-03-20T06:00:00"), 51.48, 0)
    assert is_daylight(seconds("2025-03-20T06:07:00"), 51.48, 0)
    assert is_daylight(seconds("2025-03-20T18:10:00"), 51.48, 0)
    assert not is_daylight(seconds("2025-03-20T18:17:00"), 51.48, 0)


# the equation of time at its extremes in minutes (almanac, from memory)
@pytest.mark.parametrize(("when", "minutes"), [("2025-02-11T12:00:00", -14.2), ("2025-11-03T12:00:00", 16.5)])
def test_the_true_sun_runs_ahead_and_behind_the_clock(when: str, minutes: float) -> None:
    assert local_solar_hour(seconds(when), 0.0) == pytest.approx(12 + minutes / 60, abs=0.1 / 60)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_a_number_that_is_not_finite_is_refused(bad: float) -> None:
    for call in (
        lambda: sun_elevation_deg(bad, 0, 0),
        lambda: sun_elevation_deg(0, bad, 0),
        lambda: sun_elevation_deg(0, 0, bad),
        lambda: local_solar_hour(0, bad),
        lambda: solar_longitude_deg(bad),
    ):
        with pytest.raises(ValueError, match=r"finite|latitude"):
            call()
