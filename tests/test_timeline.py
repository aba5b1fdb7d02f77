"""A log's decodes in the order of their time, whatever order, repetition and nonsense the log has."""

import random
from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nights import seconds

from sentinel.intake.timeline import HORIZON_S, MOST_HELD, STEP_LINES, Timeline
from sentinel.watch.decode import Decode

START_S = seconds("2026-06-14T20:00:00")
HOUR_S = 3600.0


def at(*offsets_s: float) -> list[Decode]:
    """Decodes so many seconds after the start, each with a message of its own."""
    return [Decode(START_S + offset_s, f"CQ VE1QBC {number}") for number, offset_s in enumerate(offsets_s)]


def slots(count: int, first_s: float = 0.0) -> list[Decode]:
    return at(*(first_s + 15.0 * number for number in range(count)))


def offsets(decodes: Iterable[Decode]) -> list[float]:
    return [decode.at_s - START_S for decode in decodes]


@given(st.lists(st.integers(0, 2_000), max_size=80), st.randoms(use_true_random=False))
def test_what_is_a_little_out_of_order_is_sorted_and_nothing_is_lost(
    times: list[int], rng: random.Random
) -> None:
    heard = sorted(at(*map(float, times)), key=lambda one: one.at_s + rng.uniform(0.0, HORIZON_S - 1.0))
    timeline = Timeline()
    told = list(timeline.in_order(heard))
    assert sorted(map(repr, told)) == sorted(map(repr, heard))
    assert offsets(told) == sorted(offsets(told))
    assert (timeline.late, timeline.repeated, timeline.steps) == (0, 0, 0)


def test_lines_of_one_time_keep_their_order() -> None:
    heard = at(0, 15, 15, 0, 15)
    assert [one.message[-1] for one in Timeline().in_order(heard)] == ["0", "3", "1", "2", "4"]


@given(st.lists(st.floats(0, 4e9, allow_nan=False), max_size=60))
def test_time_never_runs_backwards_and_every_line_is_told_or_counted(times: list[float]) -> None:
    heard = [Decode(time, f"CQ VE1QBC {number}") for number, time in enumerate(times)]
    timeline = Timeline()
    told = [one.at_s for one in timeline.in_order(heard)]
    assert told == sorted(told)
    assert len(told) + timeline.late + timeline.repeated <= len(heard)


@pytest.mark.parametrize("place", [0, 1, 2, 30])
def test_one_line_from_the_far_future_is_left_out_and_counted(place: int) -> None:
    heard = slots(60)
    stray = Decode(START_S + 9e8, "CQ VE1QBC 99")
    timeline = Timeline()
    assert list(timeline.in_order([*heard[:place], stray, *heard[place:]])) == heard
    assert timeline.late == 1


@pytest.mark.parametrize("place", [1, 2, 30])
def test_one_line_from_the_far_past_is_left_out_and_counted(place: int) -> None:
    heard = slots(60)
    stray = Decode(START_S - 9e8, "CQ VE1QBC 99")
    timeline = Timeline()
    assert list(timeline.in_order([*heard[:place], stray, *heard[place:]])) == heard
    assert timeline.late <= 1


def test_a_pause_of_days_is_no_nonsense() -> None:
    heard = [*slots(5), *at(*(5 * 24 * HOUR_S + 15.0 * number for number in range(5)))]
    timeline = Timeline()
    assert list(timeline.in_order(heard)) == heard
    assert timeline.late == 0


def test_a_part_that_is_printed_once_more_is_left_out_and_counted() -> None:
    heard = slots(100)
    timeline = Timeline()
    assert list(timeline.in_order([*heard, *heard[10:80], *slots(5, 1500)])) == [*heard, *slots(5, 1500)]
    assert timeline.repeated == 70


def test_a_clock_that_was_set_back_does_not_stop_the_time() -> None:
    after = [Decode(one.at_s, f"CQ VE1QAB {n}") for n, one in enumerate(slots(STEP_LINES + 10, -HOUR_S))]
    timeline = Timeline()
    told = list(timeline.in_order([*slots(20), *after]))
    assert timeline.steps == 1
    assert offsets(told) == sorted(offsets(told))
    assert [one.message for one in told if "VE1QAB" in one.message] == [one.message for one in after]


def test_few_stragglers_from_earlier_are_no_clock_that_was_set() -> None:
    stragglers = [Decode(one.at_s, f"CQ VE1QAB {n}") for n, one in enumerate(slots(STEP_LINES - 1, -HOUR_S))]
    timeline = Timeline()
    assert list(timeline.in_order([*slots(20), *stragglers, *slots(20, 300)])) == [
        *slots(20),
        *slots(20, 300),
    ]
    assert (timeline.late, timeline.steps) == (STEP_LINES - 1, 0)


def test_a_slot_with_more_lines_than_are_held_loses_none() -> None:
    flood = [Decode(START_S, f"CQ VE1QBC {number}") for number in range(MOST_HELD + 50)]
    assert len(list(Timeline().in_order(flood))) == len(flood)


def test_what_follows_a_clock_that_was_set_back_is_sorted_though_it_spans_minutes() -> None:
    mixed = sorted(slots(STEP_LINES + 10, -HOUR_S), key=lambda one: -one.at_s % 120.0)
    after = [Decode(one.at_s, f"CQ VE1QAB {n}") for n, one in enumerate(mixed)]
    told = offsets(Timeline().in_order([*slots(20), *after]))
    assert told == sorted(told)
