"""Whether the receiver can be judged: each reason by itself to the second, and the clock by its stations."""

import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sentinel.watch.bulletin import BlindReason
from sentinel.watch.receiver import CLOCK_WARN_S, CLOCK_WINDOW_S, FactKind, Receiver, ReceiverFact
from sentinel.watch.settings import ReceiverSettings

START_S = 20_618 * 86_400.0
CANARY = "VE1QBC"
SILENCE_S = 1_200.0


def receiver(*, canaries: frozenset[str] = frozenset(), line_silence_s: float = 0.0) -> Receiver:
    started = Receiver(ReceiverSettings(canaries, SILENCE_S, line_silence_s))
    started.start(START_S)
    started.line(START_S)
    return started


def reason(watched: Receiver, at_s: float, *, hears_far: bool = False) -> BlindReason | None:
    blindness = watched.blindness(at_s, hears_far=hears_far)
    return None if blindness is None else blindness.reason


# --- silence ----------------------------------------------------------------------------------------


def test_a_silent_canary_blinds_to_the_second_and_any_one_of_several_is_enough() -> None:
    watched = receiver(canaries=frozenset({CANARY, "VE1QBD"}))
    watched.heard("VE1QBD", START_S + 60.0)
    due_s = START_S + 60.0 + SILENCE_S
    assert watched.due_s(START_S + 60.0) == due_s
    assert reason(watched, due_s - 1.0) is None
    assert reason(watched, due_s) is BlindReason.CANARY_SILENT
    assert reason(watched, due_s, hears_far=True) is None  # who hears far is not deaf
    watched.heard(CANARY, due_s)
    assert reason(watched, due_s) is None


def test_another_station_is_no_canary() -> None:
    watched = receiver(canaries=frozenset({CANARY}))
    watched.heard("VE1QAA", START_S + SILENCE_S - 1.0)
    assert reason(watched, START_S + SILENCE_S) is BlindReason.CANARY_SILENT


def test_lines_that_stay_away_blind_to_the_second_whatever_was_heard_far() -> None:
    """Unlike a canary: a decoder that prints nothing hears nothing far either."""
    watched = receiver(line_silence_s=600.0)
    assert watched.due_s(START_S) == START_S + 600.0
    assert reason(watched, START_S + 599.0) is None
    assert reason(watched, START_S + 600.0, hears_far=True) is BlindReason.NO_LINES
    watched.tell(ReceiverFact(START_S + 610.0, FactKind.LINE))
    assert reason(watched, START_S + 610.0) is None


def test_late_lines_and_voices_take_no_time_back() -> None:
    watched = receiver(canaries=frozenset({CANARY}), line_silence_s=600.0)
    watched.heard(CANARY, START_S + 100.0)
    watched.line(START_S + 100.0)
    watched.heard(CANARY, START_S + 40.0)
    watched.line(START_S + 40.0)
    assert (watched.canary_at_s, watched.last_line_at_s) == (START_S + 100.0, START_S + 100.0)


@given(st.floats(0.0, 1e9))
def test_without_a_canary_or_a_limit_no_silence_blinds_but_the_notes_say_what_quiet_is_worth(
    silence_s: float,
) -> None:
    watched = receiver()
    assert reason(watched, START_S + silence_s) is None
    assert watched.due_s(START_S) == float("inf")
    assert [note for note in watched.notes(START_S + silence_s) if "can't be told from deafness" in note]


# --- facts from outside -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "why"),
    [
        (FactKind.SOURCE_GONE, BlindReason.SOURCE_GONE),
        (FactKind.DECODER_GONE, BlindReason.DECODER_GONE),
        (FactKind.CLOCK_UNSYNCHRONISED, BlindReason.CLOCK_OFF),
    ],
)
def test_a_fact_blinds_until_it_is_taken_back_and_tells_its_note(kind: FactKind, why: BlindReason) -> None:
    watched = receiver()
    watched.tell(ReceiverFact(START_S, kind, note="The cable is out."))
    blindness = watched.blindness(START_S + 86_400.0, hears_far=True)
    assert blindness is not None
    assert (blindness.reason, blindness.sentence) == (why, "The cable is out.")
    watched.tell(ReceiverFact(START_S + 10.0, kind, is_so=False))
    assert reason(watched, START_S + 10.0) is None


def test_of_several_reasons_the_one_nearest_to_the_cause_is_told() -> None:
    """A source that is gone explains the silence; the silence does not explain the source."""
    watched = receiver(canaries=frozenset({CANARY}), line_silence_s=600.0)
    at_s = START_S + 10 * SILENCE_S
    told = []
    for kind in (FactKind.CLOCK_UNSYNCHRONISED, FactKind.DECODER_GONE, FactKind.SOURCE_GONE):
        told.append(reason(watched, at_s))
        watched.tell(ReceiverFact(at_s, kind))
    told.append(reason(watched, at_s))
    assert told == [
        BlindReason.NO_LINES,
        BlindReason.NO_LINES,
        BlindReason.DECODER_GONE,
        BlindReason.SOURCE_GONE,
    ]


# --- the clock --------------------------------------------------------------------------------------

OFFSETS = st.lists(st.floats(-3.0, 3.0), min_size=3, max_size=30)


def with_offsets(offsets: list[float]) -> Receiver:
    watched = receiver()
    for number, dt_s in enumerate(offsets):
        watched.offset(f"VE1Q{number}", START_S + 1.0, dt_s)
    return watched


@given(OFFSETS)
def test_the_clocks_error_is_the_median_of_the_stations(offsets: list[float]) -> None:
    """Against the standard library's median."""
    error_s = with_offsets(offsets).clock_error_s(START_S + 60.0)
    assert error_s == pytest.approx(statistics.median(offsets))


@given(OFFSETS.filter(lambda offsets: len(offsets) % 2 == 1), st.floats(-9.0, 9.0))
def test_one_station_with_a_wrong_clock_moves_it_no_further_than_to_a_neighbour(
    offsets: list[float], wrong_s: float
) -> None:
    middle = sorted(offsets)[len(offsets) // 2 - 1 : len(offsets) // 2 + 2]
    error_s = with_offsets([*offsets, wrong_s]).clock_error_s(START_S + 60.0)
    assert error_s is not None
    assert min(middle) <= error_s <= max(middle)


def test_two_stations_prove_nothing_nor_does_one_that_is_heard_three_times() -> None:
    assert with_offsets([2.4, 2.4]).clock_error_s(START_S + 60.0) is None
    watched = receiver()
    for number in range(3):
        watched.offset("VE1QAA", START_S + 15.0 * number, 2.4)
    assert watched.clock_error_s(START_S + 60.0) is None


def test_what_a_line_does_not_say_is_no_offset() -> None:
    watched = with_offsets([0.3, 0.3, 0.3])
    for number in range(10, 20):
        watched.offset(f"VE1Q{number}", START_S + 1.0, None)
    assert watched.clock_error_s(START_S + 60.0) == pytest.approx(0.3)


@pytest.mark.parametrize(("error_s", "is_noted", "is_blind"), [
    (CLOCK_WARN_S - 0.1, False, False),
    (CLOCK_WARN_S, True, False),
    (-1.9, True, False),
    (-2.1, True, True),
    (2.1, True, True),
])  # fmt: skip
def test_a_clock_off_is_noted_and_then_blinds_before_the_decoder_reads_nobody(
    error_s: float, is_noted: bool, is_blind: bool
) -> None:
    """Offsets beyond about 2.5 s are not decoded (QEX, July/August 2020, from memory): say so before that."""
    watched = with_offsets([error_s] * 3)
    at_s = START_S + 60.0
    assert any("Our clock is off" in note for note in watched.notes(at_s)) is is_noted
    assert (reason(watched, at_s) is BlindReason.CLOCK_OFF) is is_blind


def test_stations_of_more_than_half_an_hour_ago_say_nothing_of_the_clock() -> None:
    watched = with_offsets([0.9, 0.9, 0.9])
    assert watched.clock_error_s(START_S + CLOCK_WINDOW_S - 60.0) == pytest.approx(0.9)
    assert watched.clock_error_s(START_S + CLOCK_WINDOW_S + 60.0) is None


def test_a_clock_that_was_nearly_deaf_is_taken_for_the_reason_when_nobody_is_heard_any_more() -> None:
    """It drifts on: with nobody decoded there is nobody to show it."""
    later_s = START_S + 2 * CLOCK_WINDOW_S
    deaf, sound = with_offsets([1.8, 1.8, 1.8]), with_offsets([0.9, 0.9, 0.9])
    for watched in (deaf, sound):
        assert reason(watched, START_S + 60.0) is None
    assert reason(deaf, later_s) is BlindReason.CLOCK_OFF
    assert reason(sound, later_s) is None
    for number in range(3):
        deaf.offset(f"VE1Q{number}", later_s + 61.0, 0.1)
    assert reason(deaf, later_s + 120.0) is None


def test_looking_at_the_receivers_health_changes_no_verdict() -> None:
    """Three stations in one minute, of which the third decides; someone looks before it comes."""
    looked_at, left_alone = (with_offsets([2.4, 2.4]) for _ in range(2))
    looked_at.health(START_S + 70.0, 0, dict.fromkeys(("lines", "decodes", "rejected", "late"), 0))
    for watched in (looked_at, left_alone):
        watched.offset("VE1QZA", START_S + 75.0, 2.4)
    assert reason(looked_at, START_S + 90.0) is reason(left_alone, START_S + 90.0)
