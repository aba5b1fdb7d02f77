"""Paths on the Earth against published and computed values, pyproj, and the laws of geometry."""

import math
import random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pyproj import Geod

from sentinel.sky.circular import angle_between_deg
from sentinel.sky.geodesy import hop_midpoints, midpoint, path_between, point_along, points_on_path

latitudes = st.floats(-89, 89)
longitudes = st.floats(-180, 180)

# centres of locator cells, worked out by hand from the grid's definition
FN84AB, JN58TD, IO91WM, FN31PR = (
    (44.0625, -63.9583333333),
    (48.1458333333, 11.625),
    (51.5208333333, -0.125),
    (41.7291666667, -72.7083333333),
)
QF22, PM95, KF16, KM18, RE78, BL11 = (
    (-37.5, 145.0),
    (35.5, 139.0),
    (-33.5, 23.0),
    (38.5, 23.0),
    (-41.5, 175.0),
    (21.5, -157.0),
)


# pyproj.Geod, WGS 84, cell centres
@pytest.mark.parametrize(
    ("start", "end", "bearing_deg", "back_deg", "distance_km"),
    [
        (FN84AB, JN58TD, 57.0050, 295.4390, 5620.539),
        (FN84AB, IO91WM, 56.3769, 286.0080, 4698.357),
        (FN84AB, FN31PR, 253.0834, 67.1200, 759.773),
        (QF22, PM95, 354.8749, 175.0054, 8105.800),
        (KF16, KM18, 0.0, 180.0, 7971.201),
        (RE78, BL11, 28.1973, 202.3797, 7549.473),
    ],
)
def test_known_paths_come_out_to_the_metre(
    start: tuple[float, float],
    end: tuple[float, float],
    bearing_deg: float,
    back_deg: float,
    distance_km: float,
) -> None:
    path = path_between(*start, *end)
    assert path.distance_km == pytest.approx(distance_km, abs=1e-3)
    assert path.bearing_deg == pytest.approx(bearing_deg, abs=1e-4)
    assert path.back_bearing_deg == pytest.approx(back_deg, abs=1e-4)


def test_a_nearly_antipodal_path_is_solved() -> None:
    # GeographicLib's documentation, Wellington to Salamanca (from memory)
    assert path_between(-41.32, 174.81, 40.96, -5.50).distance_km == pytest.approx(19959.679267, abs=1e-6)


def test_a_thousand_random_paths_agree_with_pyproj() -> None:
    draw, other = random.Random(1958), Geod(ellps="WGS84")
    for _ in range(1000):
        lat1, lat2 = (math.degrees(math.asin(draw.uniform(-1, 1))) for _ in range(2))
        lon1, lon2 = draw.uniform(-180, 180), draw.uniform(-180, 180)
        bearing, back, metres = other.inv(lon1, lat1, lon2, lat2)
        path = path_between(lat1, lon1, lat2, lon2)
        assert path.distance_km == pytest.approx(metres / 1000, abs=1e-3)
        assert angle_between_deg(path.bearing_deg, bearing) < 1e-3
        assert angle_between_deg(path.back_bearing_deg, back) < 1e-3


@given(latitudes, longitudes, latitudes, longitudes)
def test_the_path_back_swaps_the_bearings(lat1: float, lon1: float, lat2: float, lon2: float) -> None:
    there, back = path_between(lat1, lon1, lat2, lon2), path_between(lat2, lon2, lat1, lon1)
    assume(1e-3 < there.distance_km < 19900)  # nearer the antipode the shortest path need not be unique
    assert back.distance_km == pytest.approx(there.distance_km, abs=1e-6)
    assert angle_between_deg(back.bearing_deg, there.back_bearing_deg) < 1e-4
    assert angle_between_deg(back.back_bearing_deg, there.bearing_deg) < 1e-4
    assert 0 <= there.bearing_deg < 360
    assert 0 <= there.back_bearing_deg < 360


@given(latitudes, longitudes, latitudes, longitudes)
def test_the_midpoint_is_half_way_to_either_end(lat1: float, lon1: float, lat2: float, lon2: float) -> None:
    whole = path_between(lat1, lon1, lat2, lon2).distance_km
    middle = midpoint(lat1, lon1, lat2, lon2)
    assert path_between(lat1, lon1, *middle).distance_km == pytest.approx(whole / 2, abs=1e-6)
    assert path_between(*middle, lat2, lon2).distance_km == pytest.approx(whole / 2, abs=1e-6)
    assert -180 <= middle[1] < 180


@given(latitudes, longitudes, st.floats(0, 359.99), st.floats(1, 19000))
def test_a_point_along_a_bearing_lies_there(
    lat: float, lon: float, bearing: float, distance_km: float
) -> None:
    path = path_between(lat, lon, *point_along(lat, lon, bearing, distance_km))
    assert path.distance_km == pytest.approx(distance_km, abs=1e-5)
    assert angle_between_deg(path.bearing_deg, bearing) < 1e-3


def test_hops_are_reflected_in_their_middles() -> None:
    first, second, third = hop_midpoints(*RE78, *BL11, 3)
    whole = path_between(*RE78, *BL11).distance_km
    distances = [path_between(*RE78, *point).distance_km for point in (first, second, third)]
    assert distances == pytest.approx([whole / 6, whole / 2, whole * 5 / 6])
    assert midpoint(*RE78, *BL11) == second
    ends = points_on_path(*RE78, *BL11, (0.0, 1.0))
    assert [value for end in ends for value in end] == pytest.approx([*RE78, *BL11])
    with pytest.raises(ValueError, match="at least one hop"):
        hop_midpoints(*RE78, *BL11, 0)


@pytest.mark.parametrize("place", [(45.0, 7.0), (90.0, 0.0), (-90.0, 12.0), (0.0, 180.0)])
def test_a_place_has_no_distance_and_no_bearing_to_itself(place: tuple[float, float]) -> None:
    assert path_between(*place, *place) == (0.0, 0.0, 0.0)
    assert path_between(*place, place[0], place[1] - 360) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("bad", [(90.001, 0.0), (-91.0, 0.0), (math.nan, 0.0), (0.0, math.inf)])
def test_a_place_off_the_earth_is_refused(bad: tuple[float, float]) -> None:
    for call in (
        lambda: path_between(*bad, 0.0, 0.0),
        lambda: path_between(0.0, 0.0, *bad),
        lambda: midpoint(*bad, 0.0, 0.0),
        lambda: point_along(*bad, 0.0, 1.0),
    ):
        with pytest.raises(ValueError, match=r"latitude|longitude"):
            call()
