"""The thin layer over a sphere, against tables worked with R = 6371.009 km (ITU-R P.533) and P.1240."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sentinel.sky import hop
from sentinel.sky.hop import EARTH_RADIUS_KM as R

heights = st.floats(80, 500)


# closed form, R = 6371.009 km
@pytest.mark.parametrize(
    ("height_km", "longest_km"), [(100, 2243), (105, 2298), (110, 2351), (120, 2454), (350, 4130)]
)
def test_the_longest_hop_grows_with_the_layer(height_km: float, longest_km: float) -> None:
    assert hop.longest_hop_km(height_km) == pytest.approx(longest_km, abs=0.6)


# closed form, h = 110 km
@pytest.mark.parametrize(
    ("hop_km", "elevation", "incidence", "secant"),
    [(1000, 10.050, 75.453, 3.981), (2000, 1.715, 79.292, 5.382)],
)
def test_angles_of_a_hop_match_the_table(
    hop_km: float, elevation: float, incidence: float, secant: float
) -> None:
    assert hop.elevation_deg(hop_km, 110) == pytest.approx(elevation, abs=6e-4)
    assert hop.incidence_deg(hop_km, 110) == pytest.approx(incidence, abs=6e-4)
    assert hop.secant(hop_km, 110) == pytest.approx(secant, abs=6e-4)


@given(heights, st.floats(0.001, 0.999))
def test_the_ray_meets_the_layer_half_way(height_km: float, part: float) -> None:
    # by coordinates: the station on the sphere, the reflection at half the hop, angles from dot products
    hop_km = part * hop.longest_hop_km(height_km)
    half = hop_km / (2 * R)
    ray = ((R + height_km) * math.sin(half), (R + height_km) * math.cos(half) - R)
    elevation = math.degrees(math.atan2(ray[1], ray[0]))
    cos_incidence = (ray[0] * math.sin(half) + ray[1] * math.cos(half)) / math.hypot(*ray)
    assert hop.elevation_deg(hop_km, height_km) == pytest.approx(elevation, abs=1e-8)
    assert hop.secant(hop_km, height_km) == pytest.approx(1 / cos_incidence, rel=1e-8)


@given(heights)
def test_the_longest_hop_leaves_along_the_horizon_and_no_hop_goes_straight_up(height_km: float) -> None:
    assert hop.elevation_deg(hop.longest_hop_km(height_km), height_km) == pytest.approx(0.0, abs=1e-9)
    assert hop.elevation_deg(0.0, height_km) == 90.0
    assert hop.secant(0.0, height_km) == pytest.approx(1.0)


# Recommendation ITU-R P.1240-2 (from memory)
@pytest.mark.parametrize(
    ("hop_km", "factor"), [(0, 1.00), (500, 2.021), (1000, 3.547), (1150, 3.94), (2000, 5.125), (2300, 5.40)]
)
def test_the_m_factor_matches_the_fit(hop_km: float, factor: float) -> None:
    assert hop.m_factor(hop_km) == pytest.approx(factor, abs=6e-4)


# closed form, h = 110 km
@pytest.mark.parametrize(
    ("skip_km", "vertical", "by_secant", "by_m_factor"),
    [
        (500, 20.89, 113.8, 133.6),
        (600, 18.18, 99.1, 116.0),
        (800, 14.66, 79.9, 91.4),
        (1000, 12.56, 68.5, 76.1),
        (1500, 10.09, 55.0, 58.4),
    ],
)
def test_skip_at_50_mhz_tells_the_muf(
    skip_km: float, vertical: float, by_secant: float, by_m_factor: float
) -> None:
    assert hop.implied_vertical_mhz(50, skip_km) == pytest.approx(vertical, abs=6e-3)
    assert hop.muf_mhz(50, skip_km) == pytest.approx(by_secant, abs=0.06)
    assert hop.muf_mhz(50, skip_km, law="m-factor") == pytest.approx(by_m_factor, abs=0.06)


@given(heights, st.floats(0, 1), st.floats(0, 1))
def test_shorter_skip_never_means_a_lower_muf(height_km: float, a: float, b: float) -> None:
    near, far = sorted((a * hop.longest_hop_km(height_km), b * hop.longest_hop_km(height_km)))
    assert hop.muf_mhz(50, near, height_km) >= hop.muf_mhz(50, far, height_km) - 1e-9
    assert hop.muf_mhz(50, far, height_km) >= 50 - 1e-6


def test_the_longest_skip_means_a_muf_just_above_the_frequency_heard() -> None:
    assert hop.muf_mhz(50, hop.longest_hop_km()) == pytest.approx(50)
    assert hop.muf_mhz(50, hop.longest_hop_km(), law="m-factor") == pytest.approx(50)


@pytest.mark.parametrize(
    ("distance_km", "hops"), [(0, 1), (500, 1), (2350, 1), (2353, 2), (4700, 2), (4705, 3), (10000, 5)]
)
def test_the_least_number_of_hops(distance_km: float, hops: int) -> None:
    assert hop.es_hops(distance_km) == hops


def test_what_geometry_forbids_is_refused_in_plain_words() -> None:
    with pytest.raises(ValueError, match="spans 0 to 2351 km, not 2400"):
        hop.elevation_deg(2400, 110)
    with pytest.raises(ValueError, match="spans 0 to 2351 km, not nan"):
        hop.muf_mhz(50, math.nan)
    with pytest.raises(ValueError, match="height"):
        hop.longest_hop_km(0)
    with pytest.raises(ValueError, match="frequency"):
        hop.muf_mhz(0, 1000)
    with pytest.raises(ValueError, match="M-factor"):
        hop.m_factor(2301)
    for bad in (-1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="distance"):
            hop.es_hops(bad)
