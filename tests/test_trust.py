"""One decode is believed by what speaks for it: each part by its share, and never with certainty."""

import math
from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from nights import HOME, SOUTH_WEST, seconds

from sentinel.watch import trust
from sentinel.watch.decode import Decode
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.settings import WatchSettings
from sentinel.watch.trust import CREDIBLE, REPEATED, Evidence, credit, prior_nats, probability
from sentinel.watch.watch import Watch

START_S = seconds("2026-06-14T20:00:00")
MAYBE = st.none() | st.booleans()
EVIDENCE = st.builds(
    Evidence,
    is_allocated=st.booleans(),
    agrees_with_prefix=MAYBE,
    snr_db=st.none() | st.floats(-30.0, 30.0),
    offset_from_usual_s=st.none() | st.floats(-5.0, 5.0),
    is_partner_known=st.booleans(),
    is_called_by_others=st.booleans(),
    was_heard_other_days=st.booleans(),
    has_low_confidence=st.booleans(),
)
FALSE_PER_HOUR = st.floats(0.0, 5_000.0)


def trusted(evidence: Evidence, false_per_hour: float = 0.0, *, is_repeated: bool = False) -> float:
    nats = prior_nats(false_per_hour) + credit(evidence)[0]
    return probability(nats + (REPEATED if is_repeated else 0.0))


# --- laws -------------------------------------------------------------------------------------------


@example(Evidence(True, True, 0.0, None, True, True, True, False), 0.0, True)
@given(EVIDENCE, FALSE_PER_HOUR, st.booleans())
def test_nothing_is_certain_and_nothing_impossible(
    evidence: Evidence, false_per_hour: float, is_repeated: bool
) -> None:
    assert 0.0 < trusted(evidence, false_per_hour, is_repeated=is_repeated) < 1.0


@given(EVIDENCE, FALSE_PER_HOUR, st.floats(1.0, 1_000.0))
def test_more_false_calls_an_hour_mean_less_trust(evidence: Evidence, few: float, more: float) -> None:
    assert trusted(evidence, few + more) < trusted(evidence, few)


@given(st.floats(-30.0, 30.0), st.floats(0.01, 30.0))
def test_more_evidence_is_more_trust(nats: float, more: float) -> None:
    assert probability(nats + more) > probability(nats)


@given(st.floats(0.001, 0.999))
def test_the_probability_is_that_of_the_odds(share: float) -> None:
    assert probability(math.log(share / (1.0 - share))) == pytest.approx(share)


@pytest.mark.parametrize("nats", [-1e6, 1e6, -math.inf, math.inf])
def test_no_odds_are_too_long_for_a_number(nats: float) -> None:
    assert 0.0 <= probability(nats) <= 1.0


SPEAKS_FOR = {
    "is_allocated": True,
    "agrees_with_prefix": True,
    "is_partner_known": True,
    "is_called_by_others": True,
    "was_heard_other_days": True,
}
SPEAKS_AGAINST = {"agrees_with_prefix": False, "has_low_confidence": True, "offset_from_usual_s": 1.5}
NEUTRAL = Evidence(is_allocated=False, agrees_with_prefix=None)


@given(EVIDENCE, st.sampled_from(sorted(SPEAKS_FOR)))
def test_what_speaks_for_a_decode_never_costs_it_trust(evidence: Evidence, name: str) -> None:
    without = replace(evidence, **{name: getattr(NEUTRAL, name)})
    assert trusted(replace(without, **{name: True})) > trusted(without)


@given(EVIDENCE, st.sampled_from(sorted(SPEAKS_AGAINST)))
def test_what_speaks_against_a_decode_never_earns_it_trust(evidence: Evidence, name: str) -> None:
    without = replace(evidence, **{name: getattr(NEUTRAL, name)})
    assert trusted(replace(without, **{name: SPEAKS_AGAINST[name]})) < trusted(without)


@given(EVIDENCE, st.floats(-30.0, 30.0), st.floats(0.0, 30.0))
def test_a_stronger_signal_is_no_less_believed(evidence: Evidence, snr_db: float, more_db: float) -> None:
    weaker, stronger = (replace(evidence, snr_db=db) for db in (snr_db, snr_db + more_db))
    assert credit(stronger)[0] >= credit(weaker)[0]


@given(EVIDENCE)
def test_each_part_has_its_reason_and_changes_the_order_of_no_others(evidence: Evidence) -> None:
    _, reasons = credit(evidence)
    assert len(set(reasons)) == len(reasons) >= 1
    for name in ("is_partner_known", "is_called_by_others", "was_heard_other_days", "has_low_confidence"):
        if getattr(evidence, name):
            _, without = credit(replace(evidence, **{name: False}))
            assert [reason for reason in reasons if reason in without] == list(without)
            assert len(reasons) == len(without) + 1


def test_the_reasons_of_an_answer_to_a_neighbour_stand_in_the_order_of_their_weight() -> None:
    answer = Evidence(True, False, snr_db=-10.0, is_partner_known=True)
    assert credit(answer)[1] == (
        "answers a station that is heard here",
        "locator far from its prefix's land",
        "well above the decoding threshold",
        "allocated prefix",
    )


# --- numbers ----------------------------------------------------------------------------------------


def test_over_random_patterns_the_likelihood_ratio_of_a_prefix_is_one_on_average() -> None:
    """As that of any test is under what it tests against. 72 % of random 28-bit values print with an
    allocated prefix (computed: the project's check values)."""
    allocated, other = (math.exp(credit(Evidence(is_so, None))[0]) for is_so in (True, False))
    assert 0.72 * allocated + 0.28 * other == pytest.approx(1.0)


def test_a_locator_says_at_most_as_much_as_the_share_of_squares_that_would_suit_by_chance() -> None:
    """From JO22 3.7 % of all squares lie within one hop (computed: the project's check values), and the land
    of one prefix is less than that; so a locator that agrees is worth 1 / 0.037 = 27 and more."""
    agrees = credit(Evidence(True, True))[0] - credit(Evidence(True, None))[0]
    assert math.log(1.0 / 0.037) < agrees < REPEATED


def test_weak_and_strong_stand_on_either_side_of_the_decoding_threshold() -> None:
    """FT8: half are decoded at -20.8 dB in 2500 Hz (PA3FWM, Electron 2015)."""
    at_threshold, well_above = (replace(NEUTRAL, snr_db=db) for db in (-20.8, -10.0))
    assert credit(at_threshold)[0] < credit(NEUTRAL)[0] < credit(well_above)[0]


def test_the_same_call_in_another_slot_outweighs_all_else_that_speaks_for_a_decode() -> None:
    """The strongest test there is: the project's check values on false decodes."""
    parts = (trust.AGREES, trust.KNOWN_PARTNER, trust.CALLED_BY_OTHERS, trust.HEARD_ON_OTHER_DAYS)
    assert max(*parts, trust.STRONG, trust.COMPANY_CAP) < REPEATED
    worst = Evidence(False, False, snr_db=-24.0, offset_from_usual_s=2.0)
    assert trusted(worst) < CREDIBLE < trusted(replace(worst, is_allocated=True), is_repeated=True)


# --- one decode, as the watch sees it ---------------------------------------------------------------


def trust_of(message: str, *, snr_db: float = -17.0, others: tuple[str, ...] = (), **known: object) -> float:
    """The trust in a far station heard once in ``message``, after ``others`` (a minute apart)."""
    watch = Watch(WatchSettings(HOME), Knowledge(**known))  # type: ignore[arg-type]
    for number, other in enumerate(others):
        watch.feed(Decode(START_S + 60.0 * number, other, -3.0, 0.1))
    at_s = START_S + 60.0 * len(others)
    watch.feed(Decode(at_s, message, snr_db, 0.1))
    watch.tick(at_s + 1.0)
    (track,) = [*watch.hearing.tracks.values(), *watch.hearing.candidates.values()]
    return track.trust


CALL, SQUARE = SOUTH_WEST[0]


def test_a_call_with_its_own_lands_locator_is_believed_at_once_and_with_a_strange_one_it_is_not() -> None:
    assert trust_of(f"CQ {CALL} {SQUARE}") > CREDIBLE
    assert trust_of(f"CQ {CALL} QF56") < 0.5  # New South Wales


def test_a_call_without_a_locator_is_doubted_until_someone_near_calls_it() -> None:
    message = f"DL5QAB {CALL} R-12"
    assert trust_of(message) < CREDIBLE
    assert trust_of(message, others=(f"{CALL} VE1QBC FN84",)) > CREDIBLE


def test_who_answers_a_neighbour_is_believed_sooner_than_who_answers_a_stranger() -> None:
    neighbour = "CQ VE1QBC FN84"
    answers = trust_of(f"VE1QBC {CALL} R-12", others=(neighbour,))
    assert answers > CREDIBLE > trust_of(f"DL5QAB {CALL} R-12", others=(neighbour,))


def test_a_call_heard_on_other_days_is_believed_sooner() -> None:
    yesterday = int(START_S // 86_400) - 1
    message = f"DL5QAB {CALL} R-12"
    known = trust_of(message, days_heard={CALL: frozenset({yesterday})})
    assert known > CREDIBLE > trust_of(message)


def test_false_calls_all_evening_make_the_next_stranger_doubtful() -> None:
    """A locator alone is enough on a clean night and not where a decoder dreams up a call a minute."""
    watch = Watch(WatchSettings(HOME))
    for number in range(60):
        letters = chr(65 + number // 26) + chr(65 + number % 26)
        watch.feed(Decode(START_S + 60.0 * number, f"CQ K4Q{letters} QF56", -20.0))
    message = Decode(START_S + 3_600.0, f"CQ {CALL} {SQUARE}", -17.0)
    watch.feed(message)
    watch.tick(START_S + 3_601.0)
    assert CALL not in watch.hearing.tracks
    assert trust_of(message.message) > CREDIBLE
