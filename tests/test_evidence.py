"""The running likelihood ratio: what Page, Lucas and Ville say of it, and what each decode adds."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nights import SOUTH_WEST
from tracks import area_of, heard_at

from sentinel.watch.area import Area
from sentinel.watch.evidence import (
    BAR,
    EVIDENCE_CAP,
    HEARD_AGAIN,
    LEAST_GAP,
    NO_RETURN,
    OPEN_PER_MIN,
    SHARED_TRAIL,
    USUAL_AGAIN,
    USUAL_RETURN_FLOOR,
    bar,
    combined,
    newcomer_nats,
    repetition_nats,
    usual_return,
)
from sentinel.watch.usual import LEAST_PER_MIN, RETURN_S

USUAL = st.floats(LEAST_PER_MIN, 5.0)
NATS = st.floats(-10.0, 10.0)
PERIOD_S = 30.0


# --- laws -------------------------------------------------------------------------------------------


@given(USUAL, st.floats(0.01, 5.0))
def test_more_pings_mean_a_higher_bar_and_newcomers_that_say_less(usual: float, more: float) -> None:
    assert bar(usual + more) > bar(usual) > BAR
    assert 0.0 < newcomer_nats(usual + more) < newcomer_nats(usual)


@given(USUAL, st.floats(0.1, 60.0), st.floats(0.1, 60.0))
def test_who_keeps_coming_up_is_hardly_new(usual: float, per_hour: float, more: float) -> None:
    assert newcomer_nats(usual, per_hour + more) <= newcomer_nats(usual, per_hour) <= newcomer_nats(usual)


@given(st.floats(1.0, 900.0), st.floats(0.0, 600.0), st.integers(1, 10))
def test_a_longer_gap_beyond_the_next_transmission_never_says_more(
    gap_s: float, more_s: float, run: int
) -> None:
    beyond = 1.5 * PERIOD_S + gap_s
    later = repetition_nats(beyond + more_s, PERIOD_S, run, USUAL_RETURN_FLOOR)
    assert later <= repetition_nats(beyond, PERIOD_S, run, USUAL_RETURN_FLOOR)


@given(st.floats(1.0, 900.0), st.integers(1, 10), st.floats(0.012, 0.5), st.floats(1.0, 2.0))
def test_who_is_often_pinged_anew_says_less_by_returning(
    gap_s: float, run: int, chance: float, times: float
) -> None:
    rare, frequent = (repetition_nats(gap_s, PERIOD_S, run, c) for c in (chance, chance * times))
    assert frequent <= rare


@given(st.lists(NATS, min_size=1, max_size=8), st.randoms(use_true_random=False))
def test_several_stations_in_one_slot_are_no_stronger_than_their_sum_and_no_weaker_than_the_best(
    nats: list[float], rng: random.Random
) -> None:
    gains = [abs(value) for value in nats]
    total = combined(gains)
    assert max(gains) <= total <= sum(gains) + 1e-9
    shuffled = rng.sample(gains, len(gains))
    assert combined(shuffled) == total
    # however many share the trail, the sum of the discounts is bounded: 1 / (1 - share)
    assert total <= max(gains) / (1.0 - SHARED_TRAIL) + 1e-9


@given(
    st.lists(
        st.tuples(st.floats(0.0, 300.0), st.lists(NATS, max_size=5), st.booleans()), min_size=1, max_size=40
    )
)
def test_evidence_never_falls_below_zero_nor_grows_without_bound(
    story: list[tuple[float, list[float], bool]],
) -> None:
    """A CUSUM restarts at zero (Page 1954; Lucas 1985), so that silence need not be made up for."""
    area, at_s = Area(1, founded_at_s=0.0), 0.0
    for pause_s, nats, is_given_up in story:
        at_s += pause_s
        area.hear(at_s, [at_s], nats)
        if is_given_up:
            area.join(newcomer := heard_at(SOUTH_WEST[0], at_s))
            area.await_return(newcomer)
            assert area.give_up_waiting(at_s + RETURN_S) == 1
        assert 0.0 <= area.evidence <= EVIDENCE_CAP
        assert 0.0 <= area.evidence_by(at_s + 60.0) <= area.evidence


# --- published figures ------------------------------------------------------------------------------


def test_the_bar_keeps_false_starts_to_the_figure_that_villes_inequality_gives() -> None:
    """P(sup likelihood ratio >= e^h) <= e^-h (Ville 1939, from memory): 1 start in 22,000, so at two starts
    an hour one in 460 days."""
    starts = math.exp(BAR)
    assert starts == pytest.approx(22_000, rel=0.01)
    assert starts / 2.0 / 24.0 == pytest.approx(460.0, rel=0.03)


def test_usual_nights_start_by_chance_no_oftener_than_villes_bound_allows() -> None:
    """Newcomers at the usual rate through the area's own sum: from each start (a rise from zero) the bound is
    e^-h, checked where it can be counted, at h = 3."""
    rng = random.Random(3)
    usual_per_min, h, starts, passes = 0.2, 3.0, 0, 0
    while starts < 3_000:
        area, at_s, starts = Area(1, founded_at_s=0.0), 0.0, starts + 1
        while True:
            area.hear(at_s, [at_s], [newcomer_nats(usual_per_min)])
            if area.evidence >= h:
                passes += 1
                break
            at_s += rng.expovariate(usual_per_min / 60.0)
            if area.evidence_by(at_s) == 0.0:
                break
    # The first newcomer is what a start begins with, so the bound holds for what comes after it.
    assert passes / starts <= math.exp(-h + newcomer_nats(usual_per_min))


def test_newcomers_at_the_rate_of_an_opening_are_found_as_soon_as_the_published_scheme_finds_them() -> None:
    """The scheme of Lucas (1985) for 1 a minute against 0.1, k = 0.4, h = 4: 7.5 min on average (by Markov
    chain, computed: the project's check values). It counts stations, ours nats, ln 10 a station."""
    rng = random.Random(4)
    usual_per_min, h = 0.1, 4.0 * math.log(10.0)
    delays_min = []
    for _ in range(400):
        area, at_s = Area(1, founded_at_s=0.0), 0.0
        while area.evidence < h:
            at_s += rng.expovariate(OPEN_PER_MIN / 60.0)
            area.hear(at_s, [at_s], [newcomer_nats(usual_per_min)])
        delays_min.append(at_s / 60.0)
    assert sum(delays_min) / len(delays_min) == pytest.approx(7.5, abs=1.0)


# --- what each decode adds --------------------------------------------------------------------------


def test_a_newcomer_counts_as_the_ratio_of_the_two_rates() -> None:
    """ln(1 + 1 / 0.1) = ln 11."""
    assert newcomer_nats(0.1) == pytest.approx(math.log(11.0))


def test_a_repetition_counts_as_the_ratio_of_the_two_chances() -> None:
    once, again = (repetition_nats(PERIOD_S, PERIOD_S, run, 0.5) for run in (1, 2))
    assert once == pytest.approx(math.log(HEARD_AGAIN / USUAL_AGAIN[0]))
    assert again == pytest.approx(math.log(HEARD_AGAIN / USUAL_AGAIN[1]))
    assert again > once > 0.0
    one_missed = repetition_nats(2 * PERIOD_S, PERIOD_S, 1, 0.05)
    assert one_missed == pytest.approx(math.log(HEARD_AGAIN * (1 - HEARD_AGAIN) / 0.05))


def test_a_pause_of_hours_is_blamed_no_more_than_one_of_minutes() -> None:
    """A station that paused for three minutes has said all that its silence can say."""
    minutes, hours = (repetition_nats(s, PERIOD_S, 1, 0.012) for s in (7 * PERIOD_S, 7_200.0))
    assert hours == minutes
    assert repetition_nats(6 * PERIOD_S, PERIOD_S, 1, 0.012) > minutes


def test_two_slots_in_a_row_are_one_witness() -> None:
    """A station leaves every other slot to its partner: what comes 15 s later does not count as again."""
    assert LEAST_GAP * PERIOD_S > 15.0
    assert LEAST_GAP * PERIOD_S <= PERIOD_S


@given(USUAL, st.integers(0, 500))
def test_the_chance_of_a_return_is_shared_out_among_the_stations(usual: float, stations: int) -> None:
    chance = usual_return(usual, stations)
    assert USUAL_RETURN_FLOOR <= chance <= usual
    assert usual_return(usual, stations + 100) <= chance


def test_a_minute_of_silence_costs_what_an_opening_would_have_brought() -> None:
    area = Area(1, founded_at_s=0.0, evidence=5.0, evidence_at_s=0.0)
    assert area.evidence_by(60.0) == 5.0 - OPEN_PER_MIN
    assert area.evidence_by(600.0) == 0.0


def test_a_newcomer_that_stays_away_counts_once_against_an_opening_and_one_that_returns_does_not() -> None:
    area = area_of([alone := heard_at(SOUTH_WEST[0], 0.0)], evidence=5.0)
    area.await_return(alone)
    assert area.give_up_waiting(RETURN_S - 1.0) == 0
    assert area.give_up_waiting(RETURN_S) == 1
    assert area.evidence == pytest.approx(5.0 + NO_RETURN)
    assert area.give_up_waiting(RETURN_S + 60.0) == 0
    area.await_return(again := heard_at(SOUTH_WEST[1], 0.0))
    area.join(again)
    again.is_repeated = True
    assert area.give_up_waiting(RETURN_S) == 0


def test_an_opening_that_ended_leaves_nothing_for_the_next_one() -> None:
    lasting, once = heard_at(SOUTH_WEST[0], 0.0, 30.0, 60.0), heard_at(SOUTH_WEST[1], 60.0)
    area = area_of([lasting, once], evidence=20.0)
    area.is_open, lasting.persistence = True, 9.0
    area.await_return(once)
    area.close(600.0)
    assert (area.is_open, area.evidence, area.slots, lasting.persistence) == (False, 0.0, set(), 0.0)
    assert area.give_up_waiting(1_000.0) == 0
