"""Strangers who come from one region together are believed; so are fewer who come alone."""

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nights import HOME, seconds

from sentinel.watch.decode import Decode
from sentinel.watch.settings import WatchSettings
from sentinel.watch.trust import COMPANY_CAP, company_nats
from sentinel.watch.watch import Watch

START_S = seconds("2026-06-14T20:00:00")
STRANGERS = ("CE3QAA KP4QBC R-08", "CE3QAB HI8QCD -12", "CE3QAC KP4QDE RR73")
"""No locator in any of them: each alone might be a false decode."""


@given(st.integers(0, 10_000), st.floats(0.0, 5_000.0))
def test_company_never_speaks_against_a_station_nor_louder_than_its_locator(
    companions: int, false_per_hour: float
) -> None:
    assert 0.0 <= company_nats(companions, false_per_hour) <= COMPANY_CAP


@given(st.integers(1, 1_000), st.floats(0.0, 70.0), st.floats(1.0, 1_000.0))
def test_more_company_says_no_less_and_more_false_calls_make_it_say_no_more(
    companions: int, false_per_hour: float, more: float
) -> None:
    nats = company_nats(companions, false_per_hour)
    assert company_nats(companions + 1, false_per_hour) >= nats
    assert company_nats(companions, false_per_hour + more) <= nats


def test_in_a_flood_company_says_nothing() -> None:
    assert company_nats(3, 1_000.0) == 0.0


def believed(*messages: str, every_s: float = 0.0) -> set[str]:
    """The far stations that are believed after these messages, ``every_s`` apart."""
    watch = Watch(WatchSettings(home_locator=HOME))
    for number, message in enumerate(messages):
        watch.feed(Decode(START_S + every_s * number, message, mode="FT8", snr_db=-17.0))
    watch.tick(START_S + every_s * len(messages) + 1.0)
    return {call for call, track in watch.hearing.tracks.items() if track.is_credible}


def test_one_stranger_without_a_locator_is_doubted_and_three_of_a_region_are_not() -> None:
    assert believed(STRANGERS[0]) == set()
    assert believed(*STRANGERS) == {"KP4QBC", "HI8QCD", "KP4QDE"}


@pytest.mark.parametrize("messages", list(permutations(STRANGERS)))
def test_who_came_first_is_believed_with_the_others_whatever_the_order(messages: tuple[str, ...]) -> None:
    assert believed(*messages, every_s=15.0) == {"KP4QBC", "HI8QCD", "KP4QDE"}


def test_strangers_from_all_over_the_world_are_no_company() -> None:
    assert believed("CE3QAA ZS6QBC R-08", "CE3QAB JA1QCD -12", "CE3QAC EA7QDE RR73") == set()


def test_company_that_came_minutes_apart_is_none() -> None:
    assert believed(*STRANGERS, every_s=120.0) == set()


def test_a_crowd_that_comes_at_once_is_believed_and_stops_nothing() -> None:
    """Two hundred in one slot: the chance of that by false decodes is smaller than a float can hold."""
    calls = [f"KP4Q{first}{second}" for first in "ABCDEFGHIJKLMN" for second in "ABCDEFGHIJKLMN"]
    assert believed(*(f"CE3QAA {call} -12" for call in calls)) == set(calls)
