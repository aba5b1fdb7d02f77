"""Bearings on a circle: the laws of the mean and the spread."""

import math
import random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sentinel.sky.circular import (
    angle_between_deg,
    circular_mean_deg,
    circular_std_deg,
    signed_difference_deg,
    wrap_360,
)

bearings = st.floats(0, 360, exclude_max=True)
weighted_bearings = st.lists(st.tuples(bearings, st.floats(0.01, 10)), min_size=1, max_size=30)


def resultant(pairs: list[tuple[float, float]]) -> float:
    total = sum(w * complex(math.cos(math.radians(b)), math.sin(math.radians(b))) for b, w in pairs)
    return abs(total) / sum(w for _, w in pairs)


def split(pairs: list[tuple[float, float]]) -> tuple[list[float], list[float]]:
    return [b for b, _ in pairs], [w for _, w in pairs]


def test_bearings_either_side_of_north_average_to_north() -> None:
    assert angle_between_deg(circular_mean_deg([350, 10]), 0.0) < 1e-9
    assert circular_mean_deg([359, 1, 2]) == pytest.approx(0.6667, abs=1e-3)
    assert circular_std_deg([350, 10]) == pytest.approx(circular_std_deg([80, 100]))


def test_the_weighted_mean_and_spread_follow_their_closed_forms() -> None:
    # two unit vectors at right angles, weights 3 and 1: atan(1/3), R = sqrt(10)/4
    assert circular_mean_deg([0, 90], [3, 1]) == pytest.approx(math.degrees(math.atan(1 / 3)))
    assert circular_std_deg([0, 90], [3, 1]) == pytest.approx(
        math.degrees(math.sqrt(-2 * math.log(math.sqrt(10) / 4)))
    )


def test_a_narrow_bundle_has_the_ordinary_standard_deviation() -> None:
    draw = random.Random(50)
    sample = [draw.gauss(0, 1e-3) for _ in range(2000)]
    ordinary = math.sqrt(sum((x - sum(sample) / 2000) ** 2 for x in sample) / 2000)
    assert circular_std_deg([x + 123.0 for x in sample]) == pytest.approx(ordinary, rel=1e-6)


@given(bearings, st.integers(1, 9), st.floats(1e-300, 1e300))
def test_one_bearing_is_its_own_mean_and_has_no_spread(bearing: float, times: int, weight: float) -> None:
    assert circular_mean_deg([bearing] * times, [weight] * times) == bearing
    assert circular_std_deg([bearing] * times, [weight] * times) == 0.0


@given(weighted_bearings, st.floats(-720, 720))
def test_turning_every_bearing_turns_the_mean_and_leaves_the_spread(
    pairs: list[tuple[float, float]], turn: float
) -> None:
    assume(resultant(pairs) > 0.05)
    angles, weights = split(pairs)
    turned = [angle + turn for angle in angles]
    assert angle_between_deg(
        circular_mean_deg(turned, weights), circular_mean_deg(angles, weights) + turn
    ) == pytest.approx(0.0, abs=1e-9)
    assert circular_std_deg(turned, weights) == pytest.approx(circular_std_deg(angles, weights), abs=1e-6)


@given(weighted_bearings, st.randoms(use_true_random=False))
def test_the_order_of_the_stations_does_not_show(
    pairs: list[tuple[float, float]], shuffler: random.Random
) -> None:
    other = list(pairs)
    shuffler.shuffle(other)
    assert circular_mean_deg(*split(other)) == circular_mean_deg(*split(pairs))
    assert circular_std_deg(*split(other)) == pytest.approx(circular_std_deg(*split(pairs)), abs=1e-9)


@given(weighted_bearings)
def test_a_station_of_weight_zero_is_not_there(pairs: list[tuple[float, float]]) -> None:
    angles, weights = split(pairs)
    assert circular_mean_deg([*angles, 77.0], [*weights, 0.0]) == circular_mean_deg(angles, weights)
    assert circular_std_deg([*angles, 77.0], [*weights, 0.0]) == circular_std_deg(angles, weights)


@given(st.lists(st.floats(-1e9, 1e9), min_size=1, max_size=40))
def test_results_are_always_in_range(angles: list[float]) -> None:
    assert 0.0 <= circular_mean_deg(angles) < 360.0
    assert 0.0 <= circular_std_deg(angles) <= 180.0


@pytest.mark.parametrize("angles", [[0, 180], [0, 90, 180, 270], [30, 150, 270]])
def test_directions_that_cancel_give_the_lowest_and_the_widest_spread(angles: list[float]) -> None:
    assert circular_mean_deg(angles) == min(angles)
    assert circular_mean_deg(angles[::-1]) == min(angles)
    assert circular_std_deg(angles) == 180.0


@pytest.mark.parametrize(
    ("angles", "weights"),
    [
        ([], None),
        ([], []),
        ([1.0], [0.0]),
        ([1.0], []),
        ([1.0, 2.0], [1.0]),
        ([1.0], [-1.0]),
        ([1.0], [math.nan]),
        ([1.0], [math.inf]),
        ([math.nan], None),
        ([math.inf], None),
    ],
)
def test_nothing_to_average_is_an_error(angles: list[float], weights: list[float] | None) -> None:
    with pytest.raises(ValueError, match=r"bearing|weight|angle"):
        circular_mean_deg(angles, weights)
    with pytest.raises(ValueError, match=r"bearing|weight|angle"):
        circular_std_deg(angles, weights)


@given(bearings, st.floats(-179.999, 180))
def test_the_signed_difference_is_the_shortest_turn(start: float, turn: float) -> None:
    signed = signed_difference_deg(start, start + turn)
    assert -180.0 < signed <= 180.0
    assert abs(signed) == pytest.approx(abs(turn), abs=1e-9)
    assert angle_between_deg(start + signed, start + turn) < 1e-9  # at 180 either side may win by rounding
    assert angle_between_deg(start + turn, start) == pytest.approx(abs(turn), abs=1e-9)


@pytest.mark.parametrize(
    ("angle", "wrapped"), [(0, 0), (360, 0), (-90, 270), (725, 5), (-1e-20, 0), (-360, 0), (359.5, 359.5)]
)
def test_an_angle_wraps_into_one_turn(angle: float, wrapped: float) -> None:
    assert wrap_360(angle) == wrapped
