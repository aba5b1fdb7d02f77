"""The mode is the one that the trade would name at that hour, season and distance, or unknown with two names.

The facts are those of the project's check values, table "Nature", with their sources beside each test.
"""

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nights import BEYOND_4000_KM, HOME, SCATTERED, SOUTH_WEST, seconds
from tracks import BEYOND_METEORS, SHORT, place_of

from sentinel.sky.geodesy import hop_midpoints
from sentinel.sky.sun import local_solar_hour
from sentinel.trade.locator import center_of
from sentinel.watch.bulletin import Mode
from sentinel.watch.mode import ENOUGH, NOTHING, ONE_HOP_ALONG, Clues, Judgement, SpaceWeather, judge

Stations = tuple[tuple[str, str], ...]

# 4,195 to 4,641 km from home, to the north-east.
EUROPE = (("EI2QAA", "IO63"), ("G3QAA", "IO91"), ("F5QAA", "IN88"), ("CT1QAA", "IN50"))
NORTH = (("VE2QAA", "FO70"), ("VE2QAB", "FO60"), ("VE2QAC", "FO80"))


def judged(
    stations: Stations,
    when: str,
    *,
    home: str = HOME,
    is_persistent: bool = True,
    has_one_hop_along: bool = False,
    flux: float | None = None,
    kp: float | None = None,
) -> Judgement:
    places = tuple(place_of(*station, home=home) for station in stations)
    weather = SpaceWeather(flux, kp)
    clues = Clues(center_of(home), seconds(when), places, is_persistent, has_one_hop_along, weather)
    return judge(clues)


def share(judgement: Judgement, mode: Mode) -> float:
    return next((each.share for each in judgement.likelihoods if each.mode is mode), 0.0)


# --- laws -------------------------------------------------------------------------------------------

ANYONE = st.lists(
    st.sampled_from((*SOUTH_WEST, *SCATTERED, *SHORT, *BEYOND_METEORS, *EUROPE, *NORTH, BEYOND_4000_KM)),
    min_size=1,
    max_size=6,
    unique=True,
).map(tuple)
MOMENTS = st.datetimes(datetime(2020, 1, 1), datetime(2035, 1, 1)).map(datetime.isoformat)
MAYBE_FLUX = st.none() | st.floats(60.0, 350.0)
MAYBE_KP = st.none() | st.floats(0.0, 9.0)


@given(ANYONE, MOMENTS, st.booleans(), st.booleans(), MAYBE_FLUX, MAYBE_KP)
def test_the_shares_are_those_of_one_whole_and_the_largest_is_named_if_it_is_large_enough(
    stations: Stations, when: str, persistent: bool, along: bool, flux: float | None, kp: float | None
) -> None:
    found = judged(stations, when, is_persistent=persistent, has_one_hop_along=along, flux=flux, kp=kp)
    shares = [each.share for each in found.likelihoods]
    rounding = 0.0005 * len(Mode)
    assert 0.9 < sum(shares) <= 1.0 + rounding
    assert all(0.01 <= each <= 1.0 for each in shares)
    assert shares == sorted(shares, reverse=True)
    assert len({each.mode for each in found.likelihoods}) == len(shares)
    assert all(each.reason for each in found.likelihoods)
    if shares[0] > ENOUGH:
        assert found.mode is found.likelihoods[0].mode
    assert found.mode in (Mode.UNKNOWN, found.likelihoods[0].mode)


@given(ANYONE, MOMENTS, st.randoms(use_true_random=False))
def test_the_order_of_the_stations_changes_nothing(stations: Stations, when: str, rng: object) -> None:
    shuffled = tuple(rng.sample(stations, len(stations)))  # type: ignore[attr-defined]
    one, other = judged(stations, when), judged(shuffled, when)
    for mode in Mode:
        assert share(one, mode) == pytest.approx(share(other, mode), abs=0.0011)


@given(ANYONE, MOMENTS)
def test_persistence_never_speaks_for_meteors(stations: Stations, when: str) -> None:
    brief, lasting = (judged(stations, when, is_persistent=lasts) for lasts in (False, True))
    assert share(lasting, Mode.METEOR_SCATTER) <= share(brief, Mode.METEOR_SCATTER)


@given(ANYONE, MOMENTS, st.floats(60.0, 350.0), st.floats(0.0, 200.0))
def test_more_flux_never_speaks_against_f2(stations: Stations, when: str, flux: float, more: float) -> None:
    """Against the rest of the field; a transequatorial path gains by flux too, so both count."""
    low, high = (judged(stations, when, flux=each) for each in (flux, flux + more))
    layer = (Mode.F2, Mode.TRANSEQUATORIAL)
    assert sum(share(high, m) for m in layer) >= sum(share(low, m) for m in layer) - 0.011 * len(layer)


@given(ANYONE, MOMENTS, st.floats(0.0, 9.0), st.floats(0.0, 9.0))
def test_a_stronger_storm_never_speaks_against_aurora(
    stations: Stations, when: str, kp_a: float, kp_b: float
) -> None:
    calm, storm = (judged(stations, when, kp=kp) for kp in sorted((kp_a, kp_b)))
    assert share(storm, Mode.AURORA) >= share(calm, Mode.AURORA) - 0.001


def test_without_stations_there_is_nothing_to_judge() -> None:
    assert judged((), "2026-06-21T15:00:00") == NOTHING


# --- sporadic E -------------------------------------------------------------------------------------


@pytest.mark.parametrize("stations", [SOUTH_WEST, SOUTH_WEST[3:4]], ids=["six", "one at 1,600 km"])
def test_a_summer_morning_at_one_hop_is_sporadic_e(stations: Stations) -> None:
    """Whitehead 1989; W3EP: 500 to 2,350 km in one hop; May to August, mid-morning at the midpoint."""
    found = judged(stations, "2026-06-21T15:00:00")
    assert found.mode is Mode.SPORADIC_E
    assert "in season" in found.likelihoods[0].reason


def test_several_hops_in_july_are_sporadic_e_in_several_hops() -> None:
    """2,350 to 10,000 km, with one-hop Es heard along the same bearing (common practice, no source)."""
    west = (SOUTH_WEST[0], ("W5QAA", "EM12"), ("W0QAA", "DM79"), ("W7QAA", "DM43"))  # 2,020 to 4,191 km
    found = judged(west, "2026-07-05T18:00:00", has_one_hop_along=True)
    assert found.mode is Mode.MULTI_HOP_SPORADIC_E
    assert judged(EUROPE, "2026-07-05T14:00:00").mode is Mode.MULTI_HOP_SPORADIC_E


def test_one_hop_open_along_the_bearing_speaks_for_several_hops() -> None:
    when = "2026-08-25T15:00:00"
    alone, along = (judged(EUROPE[1:2], when, has_one_hop_along=is_so) for is_so in (False, True))
    assert alone.mode is Mode.UNKNOWN
    assert along.mode is Mode.MULTI_HOP_SPORADIC_E
    odds, odds_along = (
        share(each, Mode.MULTI_HOP_SPORADIC_E) / share(each, Mode.F2) for each in (alone, along)
    )
    assert odds_along / odds == pytest.approx(ONE_HOP_ALONG**2, rel=0.05)  # so much for, so much against F2


# --- F2 and across the equator ----------------------------------------------------------------------


def test_a_november_noon_of_high_flux_is_f2() -> None:
    """3,000 to 4,000 km a hop, midpoint near noon, October to March in the north, flux about 150 to 200 and
    more (common practice; ITU-R P.533 caps a hop at 4,000 km)."""
    when = "2026-11-15T14:00:00"
    far = place_of(*EUROPE[1])
    (_, lon_deg), *_ = hop_midpoints(*center_of(HOME), far.lat_deg, far.lon_deg, 1)
    assert local_solar_hour(seconds(when), lon_deg) == pytest.approx(12.0, abs=0.5)
    assert judged(EUROPE, when, flux=200.0).mode is Mode.F2
    assert judged(EUROPE, when, flux=80.0).mode is not Mode.F2
    assert judged(EUROPE, "2026-11-15T03:00:00", flux=200.0).mode is not Mode.F2
    assert judged(EUROPE, "2026-07-05T14:00:00", flux=200.0).mode is not Mode.F2


@pytest.mark.parametrize("station", [*SOUTH_WEST[1:], *SHORT, SCATTERED[0]])
def test_f2_reaches_nobody_within_2000_km(station: tuple[str, str]) -> None:
    """Nothing at 500 to 2,000 km (common practice, no source)."""
    assert 500.0 < place_of(*station).distance_km < 2_000.0
    assert share(judged((station,), "2026-11-15T16:30:00", flux=250.0), Mode.F2) == 0.0


SOUTHERN_AFRICA = (("ZS6QAA", "KG44"), ("ZS6QAB", "KG33"), ("Z21QAA", "KH52"))  # 6,255 to 7,207 km
ATHENS = "KM18"


def test_an_equinox_evening_square_across_the_magnetic_equator_is_transequatorial() -> None:
    """Harrison: evening, 19 to 23 local, 3,000 to 8,000 km, within 15 degrees of square; equinoxes."""
    evening = "2026-03-20T18:00:00"
    assert 19.0 <= local_solar_hour(seconds(evening), 26.0) <= 23.0
    for flux in (None, 100.0, 200.0):
        assert judged(SOUTHERN_AFRICA, evening, home=ATHENS, flux=flux).mode is Mode.TRANSEQUATORIAL
    japan = (("JA1QAA", "PM95"), ("JA7QAA", "QM08"))  # 8,106 km from the south-east of Australia
    assert judged(japan, "2026-03-20T08:00:00", home="QF22").mode is Mode.TRANSEQUATORIAL


def test_what_crosses_no_magnetic_equator_or_crosses_it_aslant_is_not_transequatorial() -> None:
    assert share(judged(EUROPE, "2026-03-20T20:00:00", flux=200.0), Mode.TRANSEQUATORIAL) == 0.0
    aslant = (("PY2QAA", "GG66"),)  # from Athens 10,000 km to the south-west
    found = judged(aslant, "2026-03-20T20:00:00", home=ATHENS, flux=200.0)
    assert share(found, Mode.TRANSEQUATORIAL) < 0.1


# --- aurora and tropo -------------------------------------------------------------------------------


def test_in_a_great_storm_the_north_comes_by_aurora() -> None:
    """Kp 5 and more, poleward bearing (common practice); the oval's edge near 66 - 2 Kp degrees (NOAA)."""
    night = "2024-10-10T23:00:00"  # out of the season of sporadic E
    assert judged(NORTH, night, kp=8.0).mode is Mode.AURORA
    assert judged(NORTH, night, kp=2.0).mode is not Mode.AURORA
    assert share(judged(NORTH, night, kp=4.0), Mode.AURORA) < share(judged(NORTH, night, kp=6.0), Mode.AURORA)


def test_a_storm_makes_no_aurora_of_the_south() -> None:
    assert share(judged(SOUTH_WEST, "2024-10-10T23:00:00", kp=9.0), Mode.AURORA) == 0.0


def test_from_the_southern_hemisphere_the_pole_is_in_the_south() -> None:
    tasmania = (("VK7QAA", "QE37"), ("VK7QAB", "QE38"))
    assert judged(tasmania, "2024-10-10T10:00:00", home="QF22", kp=9.0).mode is Mode.AURORA


def test_what_lasts_within_800_km_out_of_season_is_tropo() -> None:
    """200 to 800 km, slow, hours (common practice, no source)."""
    assert judged(SHORT, "2026-09-20T01:00:00").mode is Mode.TROPO
    assert share(judged(SOUTH_WEST, "2026-09-20T01:00:00"), Mode.TROPO) == 0.0


# --- meteors ----------------------------------------------------------------------------------------


def test_persistence_and_not_distance_tells_sporadic_e_from_meteors() -> None:
    """Their ranges coincide (common practice, no source): the Geminids' morning, the same places."""
    when = "2026-12-14T09:00:00"
    assert judged(SOUTH_WEST, when, is_persistent=False).mode is Mode.METEOR_SCATTER
    assert judged(SOUTH_WEST, when, is_persistent=True).mode is Mode.SPORADIC_E


@pytest.mark.parametrize("station", [*BEYOND_METEORS, BEYOND_4000_KM])
def test_no_ping_reaches_beyond_2350_km(station: tuple[str, str]) -> None:
    """Pings: 500 to 2,250 km (common practice, no source)."""
    assert share(judged((station,), "2026-12-14T09:00:00", is_persistent=False), Mode.METEOR_SCATTER) == 0.0


# --- what nothing settles ---------------------------------------------------------------------------


def test_one_path_that_nothing_settles_is_unknown_with_its_two_candidates() -> None:
    """Between the seasons of Es and F2, at an hour that suits both."""
    found = judged(EUROPE[1:2], "2026-04-15T18:00:00")
    assert found.mode is Mode.UNKNOWN
    first, second, *others = found.likelihoods
    assert {first.mode, second.mode} == {Mode.MULTI_HOP_SPORADIC_E, Mode.F2}
    assert first.share < ENOUGH
    assert first.share + second.share > 0.95
    assert not [each for each in others if each.share > 0.05]


def test_more_stations_at_like_distances_settle_what_one_does_not() -> None:
    one, several = (judged(stations, "2026-08-25T15:00:00") for stations in (EUROPE[1:2], EUROPE))
    assert one.mode is Mode.UNKNOWN
    assert several.mode is not Mode.UNKNOWN
