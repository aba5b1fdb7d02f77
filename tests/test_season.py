"""Seasons and showers: the published and the trade's statements, read off the curves."""

import math
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sentinel.sky.season import (
    aurora_weight,
    f2_weight,
    meteor_weight,
    sporadic_e_weight,
    transequatorial_weight,
)
from sentinel.sky.showers import SHOWERS, shower_factor, shower_pings, strongest_shower
from sentinel.sky.sun import local_solar_hour, solar_longitude_deg

HOUR_S = 3600.0
DAY_S = 24 * HOUR_S
times = st.floats(1577836800, 2208988800)  # 2020 to 2040
latitudes = st.floats(-90, 90)
longitudes = st.floats(-180, 180)

ATHENS, HARARE = (38.0, 23.7), (-17.8, 31.0)


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def year(start: int, step_s: float) -> list[float]:
    return [at(f"{start}-01-01") + k * step_s for k in range(int(365 * DAY_S / step_s))]


def months(lat: float) -> list[float]:
    """The sporadic E weight of the best hour in the middle of each month."""
    return [
        max(sporadic_e_weight(at(f"2026-{month:02}-15") + hour * HOUR_S, lat, 0.0) for hour in range(24))
        for month in range(1, 13)
    ]


def by_solar_hour(day: str, lat: float) -> list[float]:
    """The sporadic E weight at each full solar hour."""
    midnight = at(day) - local_solar_hour(at(day), 0.0) * HOUR_S
    return [sporadic_e_weight(midnight + hour * HOUR_S, lat, 0.0) for hour in range(24)]


def test_the_yearly_mean_at_mid_latitude_is_one() -> None:
    hours = year(2027, 1.5 * HOUR_S)
    for lon in (-95.0, 10.0):
        for weight in (sporadic_e_weight, meteor_weight):
            assert sum(weight(t, 45.0, lon) for t in hours) / len(hours) == pytest.approx(1.0, abs=0.02)


def test_sporadic_e_has_its_northern_season_from_may_to_august_and_a_minor_one_at_new_year() -> None:
    jan, feb, mar, apr, may, jun, jul, aug, sep, octo, nov, dec = months(45.0)
    assert min(jun, jul) > max(may, aug) > 2 * max(jan, feb, mar, apr, sep, octo, nov, dec)
    assert min(may, aug) > max(apr, sep)
    assert min(jan, dec) > 2 * max(feb, mar, octo, nov)
    assert max(jan, dec) < 0.2 * jun


def test_the_southern_seasons_are_mirrored() -> None:
    jan, feb, mar, apr, may, jun, jul, aug, sep, _, nov, dec = months(-35.0)
    assert dec > max(nov, jan) >= min(nov, jan) > 2 * max(feb, mar, apr, may, jun, jul, aug, sep)
    assert min(jun, jul) > 2 * max(apr, aug, sep)


def test_the_seasons_rank_as_the_climatology_of_foes_does() -> None:
    # PyIRI, solar minimum, 50 N: daily-max median foEs 2.65 MHz in January, 4.56 in June, 2.61 in December
    january, june, december = (months(50.0)[k] for k in (0, 5, 11))
    assert june > max(january, december)
    assert january / december == pytest.approx(2.65 / 2.61, rel=0.25)


@pytest.mark.parametrize(("day", "lat"), [("2026-06-21", 45.0), ("2026-12-21", -35.0)])
def test_sporadic_e_peaks_before_noon_and_again_less_in_late_afternoon(day: str, lat: float) -> None:
    hours = by_solar_hour(day, lat)
    assert 9 <= hours.index(max(hours)) <= 12
    peaks = [h for h in range(1, 23) if hours[h - 1] < hours[h] > hours[h + 1]]
    assert len(peaks) == 2
    assert 16 <= peaks[1] <= 19
    assert hours[peaks[1]] < hours[peaks[0]]
    assert max(hours[0:5]) < 0.25 * max(hours)


def test_sporadic_e_follows_the_local_sun_and_the_middle_latitudes() -> None:
    noon_utc = at("2026-06-21T12:00")
    assert sporadic_e_weight(noon_utc, 45, 0) > 4 * sporadic_e_weight(noon_utc, 45, 180)
    midsummer = [sporadic_e_weight(noon_utc, lat, 0) for lat in (0, 20, 40, 60, 80)]
    assert midsummer.index(max(midsummer)) == 2
    assert midsummer[2] > midsummer[3] > midsummer[4]


@given(times, latitudes, longitudes)
def test_the_curves_are_smooth_in_time_and_place_and_in_range(at_s: float, lat: float, lon: float) -> None:
    here = sporadic_e_weight(at_s, lat, lon)
    assert 0 < here < 10
    assert sporadic_e_weight(at_s + 600, lat, lon) == pytest.approx(here, rel=0.15)
    assert sporadic_e_weight(at_s, max(-90, lat - 0.5), lon) == pytest.approx(here, rel=0.25)
    assert 0 < meteor_weight(at_s, lat, lon) < 6
    assert 0 <= f2_weight(at_s, lat, lon, 180.0) <= 1
    assert f2_weight(at_s + 600, lat, lon, 180.0) == pytest.approx(f2_weight(at_s, lat, lon, 180.0), abs=0.05)


def test_f2_belongs_to_winter_noons_of_high_flux() -> None:
    noon, midnight, summer = at("2026-11-15T12:00"), at("2026-11-15T00:00"), at("2026-07-01T12:00")
    assert f2_weight(noon, 45, 0, 220) > 0.5
    assert f2_weight(noon, 45, 0, 220) > 10 * f2_weight(midnight, 45, 0, 220)
    assert f2_weight(noon, 45, 0, 220) > 4 * f2_weight(summer, 45, 0, 220)
    assert f2_weight(summer, -45, 0, 220) > 4 * f2_weight(noon, -45, 0, 220)
    assert f2_weight(at("2026-03-20T12:00"), 0, 0, 220) > 4 * f2_weight(at("2026-06-21T12:00"), 0, 0, 220)
    by_flux = [f2_weight(noon, 45, 0, flux) for flux in (70, 120, 150, 175, 200, 250)]
    assert by_flux == sorted(by_flux)
    assert by_flux[0] < 0.01 < by_flux[2] < 0.5 * by_flux[4]
    assert by_flux[1] < f2_weight(noon, 45, 0) < by_flux[3]


def test_transequatorial_paths_are_square_mirrored_and_of_equinox_evenings() -> None:
    evening = at("2026-03-21T17:00")  # about 19 by the sun in the middle of the path
    good = transequatorial_weight(evening, *ATHENS, *HARARE, 200.0)
    assert good > 0.2
    assert transequatorial_weight(evening, *HARARE, *ATHENS, 200.0) == pytest.approx(good, rel=0.05)
    assert transequatorial_weight(at("2026-03-21T03:00"), *ATHENS, *HARARE, 200.0) < 0.05 * good
    assert transequatorial_weight(at("2026-06-21T17:00"), *ATHENS, *HARARE, 200.0) < 0.3 * good
    assert transequatorial_weight(evening, *ATHENS, *HARARE, 70.0) < good
    assert transequatorial_weight(evening, *ATHENS, *HARARE) < good
    oblique = transequatorial_weight(evening, 38.0, -10.0, -25.0, 45.0, 200.0)
    lopsided = transequatorial_weight(evening, 60.0, 23.7, -5.0, 25.0, 200.0)
    assert max(oblique, lopsided) < 0.1 * good
    assert transequatorial_weight(evening, *ATHENS, 52.0, 5.0, 200.0) == 0.0


@given(st.floats(0, 9), st.floats(0, 9), st.floats(0, 90), st.floats(0, 90))
def test_aurora_grows_with_kp_and_towards_the_pole(kp1: float, kp2: float, lat1: float, lat2: float) -> None:
    (low_kp, high_kp), (low, high) = sorted((kp1, kp2)), sorted((lat1, lat2))
    assert 0 <= aurora_weight(low_kp, low) <= aurora_weight(high_kp, low) <= 1
    assert aurora_weight(low_kp, low) <= aurora_weight(low_kp, high)
    assert aurora_weight(kp1, lat1) == aurora_weight(kp1, -lat1)


def test_aurora_needs_kp_5_and_comes_south_in_storms() -> None:
    assert aurora_weight(3, 60) < 0.05
    assert aurora_weight(6, 60) > 0.8
    assert aurora_weight(5, 40) < 0.05
    assert aurora_weight(9, 40) > 0.5
    for kp, latitude in ((-1, 50), (9.1, 50), (math.nan, 50), (5, 91), (5, math.nan)):
        with pytest.raises(ValueError, match=r"Kp|latitude"):
            aurora_weight(kp, latitude)


@pytest.mark.parametrize("lat", [0.0, 45.0, -35.0])
def test_most_pings_come_near_six_and_fewest_near_eighteen(lat: float) -> None:
    day = at("2026-03-05")  # no shower
    by_hour = {hour: meteor_weight(day + hour * HOUR_S, lat, 0.0) for hour in range(24)}
    assert max(by_hour, key=by_hour.__getitem__) in (6, 7)
    assert min(by_hour, key=by_hour.__getitem__) in (18, 19)
    assert by_hour[6] > 2 * by_hour[18]


# the International Meteor Organization's dates (from memory)
@pytest.mark.parametrize(
    ("name", "first", "last"),
    [
        ("Quadrantids", "01-03", "01-04"),
        ("Lyrids", "04-22", "04-22"),
        ("eta-Aquariids", "05-06", "05-06"),
        ("Arietids", "06-07", "06-07"),
        ("Perseids", "08-12", "08-13"),
        ("Orionids", "10-21", "10-21"),
        ("Leonids", "11-17", "11-17"),
        ("Geminids", "12-14", "12-14"),
        ("Ursids", "12-22", "12-22"),
    ],
)
def test_each_shower_peaks_on_its_date(name: str, first: str, last: str) -> None:
    shower = next(s for s in SHOWERS if s.name == name)
    for start in range(2024, 2032):
        hours = year(start, HOUR_S)
        peak = max(hours, key=lambda t: shower.strength(solar_longitude_deg(t)))
        date = datetime.fromtimestamp(peak, UTC)
        day = timedelta(days=1)  # the calendar slips by up to a day in the cycle of leap years
        assert datetime.fromisoformat(f"{start}-{first}").replace(tzinfo=UTC) - day <= date
        assert date < datetime.fromisoformat(f"{start}-{last}").replace(tzinfo=UTC) + 2 * day


def test_showers_raise_the_rate_and_are_named() -> None:
    assert shower_factor(at("2026-03-05")) == 1.0
    assert strongest_shower(at("2026-03-05")) is None
    geminids = strongest_shower(at("2026-12-14T06:00"))
    assert geminids is not None
    assert geminids.name == "Geminids"
    factors = [shower_factor(t) for t in year(2026, 6 * HOUR_S)]
    assert max(factors) == pytest.approx(4, abs=0.5)
    assert meteor_weight(at("2026-12-14T02:00"), 45, 0) > 2 * meteor_weight(at("2026-12-05T02:00"), 45, 0)


def test_a_radiant_below_the_horizon_brings_nothing() -> None:
    # the Ursids' radiant, 76 degrees north, never rises at 35 south
    night = [at("2026-12-22T12:00") + k * HOUR_S for k in range(24)]
    ursids = next(s for s in SHOWERS if s.name == "Ursids")
    assert max(ursids.strength(solar_longitude_deg(t)) for t in night) > 0.1
    assert max(shower_pings(t, -35.0, 0.0) for t in night) < 0.02
    assert min(shower_pings(t, 60.0, 0.0) for t in night) > 0.0


def test_the_radiant_of_the_perseids_culminates_when_the_almanac_says() -> None:
    # right ascension 3 h 12 min; sidereal time at Greenwich midnight of 13 August is about 21 h 27 min
    # (almanac, from memory), so the radiant culminates at Greenwich near 05:44
    start = at("2026-08-13T00:00")
    best = max(
        range(0, 24 * 60, 5), key=lambda m: shower_pings(start + m * 60, 50.0, 0.0) / activity(start, m)
    )
    assert best == pytest.approx(5 * 60 + 44, abs=15)


def activity(start_s: float, minutes: int) -> float:
    return shower_factor(start_s + minutes * 60) - 1.0


@pytest.mark.parametrize("bad", [(math.nan, 0.0, 0.0), (0.0, 91.0, 0.0), (0.0, 0.0, math.inf)])
def test_a_place_off_the_earth_or_no_time_is_refused(bad: tuple[float, float, float]) -> None:
    for weight in (sporadic_e_weight, f2_weight, meteor_weight, shower_pings):
        with pytest.raises(ValueError, match=r"finite|latitude"):
            weight(*bad)


@pytest.mark.parametrize("flux", [0.0, -1.0, math.nan, math.inf])
def test_a_missing_flux_is_none_and_not_a_strange_number(flux: float) -> None:
    with pytest.raises(ValueError, match="F10"):
        f2_weight(0.0, 0.0, 0.0, flux)
    with pytest.raises(ValueError, match="F10"):
        transequatorial_weight(0.0, *ATHENS, *HARARE, flux)
