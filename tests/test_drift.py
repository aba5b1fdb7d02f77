"""The cloud's movement is found where it is plain, and nothing is said where it is not."""

import random
from math import cos, radians, sin

import pytest

from sentinel.sky.circular import angle_between_deg
from sentinel.watch.drift import KM_PER_DEG, CloudTrack


def followed(speed_m_s: float, bearing_deg: float, minutes: float, stations: int, seed: int) -> CloudTrack:
    """A cloud 150 km across, heard by stations that call at random times."""
    rng = random.Random(seed)
    track = CloudTrack()
    for slot in range(round(minutes * 4)):
        at_s = 15.0 * slot
        moved_km = speed_m_s * at_s / 1000.0
        east_km = moved_km * sin(radians(bearing_deg)) + rng.gauss(0.0, 75.0)
        north_km = moved_km * cos(radians(bearing_deg)) + rng.gauss(0.0, 75.0)
        lat_deg = 38.0 + north_km / KM_PER_DEG
        lon_deg = -70.0 + east_km / (KM_PER_DEG * cos(radians(38.0)))
        track.add(f"W{rng.randrange(stations)}QAA", at_s, lat_deg, lon_deg)
    return track


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("bearing_deg", [0.0, 90.0, 200.0, 315.0])
def test_a_cloud_at_eighty_metres_a_second_is_followed(bearing_deg: float, seed: int) -> None:
    """80 m/s is within what Maeda & Heki (2015) saw: 20-130 m/s."""
    drift = followed(80.0, bearing_deg, 90.0, 40, seed).drift()
    assert drift is not None
    assert angle_between_deg(drift.bearing_deg, bearing_deg) < 20.0
    assert 60.0 < drift.speed_m_s < 100.0


def test_a_cloud_that_stands_still_is_hardly_ever_said_to_move() -> None:
    told = sum(followed(0.0, 0.0, 60.0, 30, seed).drift() is not None for seed in range(200))
    assert told <= 6


def test_few_stations_or_minutes_are_not_enough() -> None:
    assert followed(80.0, 90.0, 10.0, 40, 1).drift() is None
    assert followed(80.0, 90.0, 90.0, 3, 1).drift() is None


def test_nothing_added_is_no_drift_and_no_error() -> None:
    assert CloudTrack().drift() is None
