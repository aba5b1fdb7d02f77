"""What is usual is learned from pings alone: never from the opening that it is to be told from."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nights import SOUTH_WEST
from tracks import heard_at

from sentinel.watch.track import Track
from sentinel.watch.usual import LEAST_PER_MIN, RECENT_S, START_PER_MIN, START_S, Usual

DAY_S = 86_400.0
MONDAY_S = 20_608 * DAY_S
HOUR_S = 3_600.0


def watching(prior_per_min: float = 0.0, *, since_s: float = MONDAY_S) -> Usual:
    usual = Usual(lambda at_s: prior_per_min)
    usual.hear_lines(since_s)
    return usual


def ping(at_s: float) -> Track:
    return heard_at(SOUTH_WEST[0], at_s)


def pinged(usual: Usual, times_s: list[float]) -> Usual:
    for at_s in sorted(times_s):
        usual.newcomer(ping(at_s))
    return usual


AFTER_S = MONDAY_S + START_S
TIMES = st.lists(st.floats(AFTER_S - RECENT_S + 1.0, AFTER_S - 1.0), max_size=20)


@given(TIMES, st.floats(AFTER_S - RECENT_S + 1.0, AFTER_S - 1.0), st.floats(0.0, 2.0))
def test_each_ping_raises_the_rate_and_the_rate_has_a_floor(
    times_s: list[float], one_more_s: float, prior: float
) -> None:
    fewer = pinged(watching(prior), times_s).pings_per_min(AFTER_S)
    more = pinged(watching(prior), [*times_s, one_more_s]).pings_per_min(AFTER_S)
    assert LEAST_PER_MIN <= fewer <= more
    assert more > LEAST_PER_MIN


@given(TIMES, st.floats(0.0, 2.0), st.floats(0.0, 2.0))
def test_a_shower_that_is_due_raises_the_rate(times_s: list[float], prior: float, more: float) -> None:
    ordinary = pinged(watching(prior), times_s).pings_per_min(AFTER_S)
    assert pinged(watching(prior + more), times_s).pings_per_min(AFTER_S) >= ordinary


@given(st.integers(1, 40), st.floats(0.0, 2.0))
def test_stations_that_come_back_raise_no_bar(stations: int, prior: float) -> None:
    usual = watching(prior)
    for number in range(stations):
        usual.newcomer(heard_at(SOUTH_WEST[0], AFTER_S - 300.0 + number, AFTER_S - 200.0 + number))
    assert usual.pings_per_min(AFTER_S) == watching(prior).pings_per_min(AFTER_S)


def test_the_rate_is_the_mean_of_prior_and_pings_weighed_by_minutes() -> None:
    """The gamma-Poisson mean: (10 min x 0.1 + 5 pings) / (10 + 20 min)."""
    usual = pinged(watching(0.1), [AFTER_S - 60.0 * n for n in range(1, 6)])
    assert usual.pings_per_min(AFTER_S) == pytest.approx((1.0 + 5.0) / 30.0)


def test_pings_of_more_than_twenty_minutes_ago_are_forgotten() -> None:
    usual = pinged(watching(), [MONDAY_S + 60.0 * n for n in range(1, 20)])
    busy = usual.pings_per_min(MONDAY_S + RECENT_S)
    usual.forget_before(MONDAY_S + 3 * RECENT_S)
    assert usual.pings_per_min(MONDAY_S + 3 * RECENT_S) == LEAST_PER_MIN < busy


def test_the_instant_itself_does_not_count() -> None:
    """A newcomer must not raise the bar for itself."""
    usual = watching()
    before = usual.pings_per_min(AFTER_S)
    usual.newcomer(ping(AFTER_S))
    assert usual.pings_per_min(AFTER_S) == before
    assert usual.pings_per_min(AFTER_S + 1.0) > before


def test_for_the_first_twenty_minutes_a_showers_night_is_assumed() -> None:
    usual = watching()
    assert usual.pings_per_min(MONDAY_S) == pytest.approx(START_PER_MIN)
    assert usual.pings_per_min(MONDAY_S + START_S - 1.0) > usual.pings_per_min(MONDAY_S + START_S)
    assert usual.pings_per_min(MONDAY_S + START_S) == LEAST_PER_MIN


def test_the_same_hour_of_other_days_is_remembered_and_other_hours_are_not() -> None:
    usual = watching()
    for day in range(5):
        for minute in range(0, 60, 3):
            usual.was_ping(MONDAY_S + day * DAY_S + 6 * HOUR_S + 60.0 * minute)
        usual.hear_lines(MONDAY_S + day * DAY_S + 7 * HOUR_S)
        usual.hear_lines(MONDAY_S + day * DAY_S + 18 * HOUR_S)
    saturday_s = MONDAY_S + 5 * DAY_S
    at_six, at_eighteen = (usual.pings_per_min(saturday_s + h * HOUR_S + 900.0) for h in (6, 18))
    assert at_six == pytest.approx(20 / 60 * 10 / 30)
    assert at_eighteen == LEAST_PER_MIN


def test_an_hour_with_lines_and_no_ping_lowers_what_is_remembered_of_it() -> None:
    usual = watching()
    rates = []
    for day in range(4):
        start_s = MONDAY_S + day * DAY_S + 6 * HOUR_S
        usual.hear_lines(start_s)
        if day == 0:
            for minute in range(60):
                usual.was_ping(start_s + 60.0 * minute)
        usual.hear_lines(start_s + HOUR_S)
        rates.append(usual.habits.per_min[6])
    assert rates[0] == 1.0
    assert rates == sorted(rates, reverse=True)
    assert rates[-1] == pytest.approx(0.8**3)  # a week of memory: a fifth is forgotten a day


def test_a_station_that_keeps_coming_up_is_counted_but_not_its_newest_ten_minutes() -> None:
    usual = watching()
    for minute in range(0, 60, 10):
        usual.run_began("W4QAA", MONDAY_S + 60.0 * minute)
    assert usual.runs_per_hour("W4QAA", MONDAY_S + HOUR_S) == 6.0
    assert usual.runs_per_hour("W4QAA", MONDAY_S + 30 * 60.0) == 3.0
    assert usual.runs_per_hour("W4QAA", MONDAY_S + 9 * 60.0) == 0.0
    assert usual.runs_per_hour("W4QAA", MONDAY_S + 3 * HOUR_S) == 0.0
    assert usual.runs_per_hour("K4QAB", MONDAY_S + HOUR_S) == 0.0


def test_false_calls_are_those_of_the_last_hour() -> None:
    usual = watching()
    for minute in range(0, 120, 2):
        usual.false_call(MONDAY_S + 60.0 * minute)
    at_s = MONDAY_S + 2 * HOUR_S
    assert usual.false_per_hour(at_s) == 29.0  # the one of an hour ago to the second is out
    usual.forget_before(at_s)
    assert usual.false_per_hour(at_s) == 29.0
    assert usual.false_per_hour(at_s + HOUR_S) == 0.0


def test_a_flood_stays_within_its_memory() -> None:
    usual = watching()
    for number in range(20_000):
        usual.false_call(MONDAY_S + 0.01 * number)
        usual.run_began(f"W4Q{number}", MONDAY_S + 0.01 * number)
    assert usual.false_per_hour(MONDAY_S + 200.0) == 5_000.0
    assert usual.runs_per_hour("W4Q0", MONDAY_S + 1_000.0) == 0.0
    assert usual.runs_per_hour("W4Q19999", MONDAY_S + 1_000.0) == 1.0
