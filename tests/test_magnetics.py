"""The magnetic grid against the models it was made from, known inclinations, and the laws of a crossing."""

import csv
import math
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sentinel.sky import magnetics
from sentinel.sky.circular import angle_between_deg
from sentinel.sky.geodesy import path_between
from sentinel.sky.magnetics import (
    crosses_dip_equator,
    dip_latitude_deg,
    inclination_deg,
    magnetic_latitude_deg,
)

latitudes = st.floats(-90, 90)
longitudes = st.floats(-180, 180)

with (Path(__file__).parent / "data/magnetic_golden.csv").open(encoding="utf-8") as table:
    GOLDEN = [{name: float(value) for name, value in row.items()} for row in csv.DictReader(table)]


def tolerance_deg(latitude_deg: float, below_70: float, below_80: float, above: float) -> float:
    """The bounds that the module states, by the magnetic latitude."""
    steep = abs(latitude_deg)
    return below_70 if steep < 70 else below_80 if steep < 80 else above


def test_the_grid_agrees_with_the_models_at_a_thousand_random_places() -> None:
    # apexpy (quasi-dipole) and ppigrf (dip latitude), IGRF-14 at 2026.0: tests/tools/make_magnetic_grid.py
    assert len(GOLDEN) == 1000
    for row in GOLDEN:
        place = row["lat_deg"], row["lon_deg"]
        quasi, dip = row["quasi_dipole_deg"], row["dip_latitude_deg"]
        assert abs(magnetic_latitude_deg(*place) - quasi) < tolerance_deg(quasi, 0.02, 0.05, 0.5)
        assert abs(dip_latitude_deg(*place) - dip) < tolerance_deg(dip, 0.08, 0.11, 0.5)


# ppigrf, IGRF-14, epoch 2025.0: a year of secular change (up to 0.1 degrees here) and the interpolation apart
@pytest.mark.parametrize(
    ("place", "inclination"),
    [
        ((37.98, 23.73), 54.89),
        ((35.68, 139.69), 49.52),
        ((-12.46, 130.84), -39.40),
        ((-25.75, 28.19), -61.75),
        ((-11.95, -76.87), -1.21),
    ],
)
def test_the_inclination_of_known_places(place: tuple[float, float], inclination: float) -> None:
    assert inclination_deg(*place) == pytest.approx(inclination, abs=0.2)


# the dip poles of the World Magnetic Model 2025 (from memory)
@pytest.mark.parametrize(("place", "latitude"), [((85.8, 139.3), 90), ((-63.9, 135.1), -90)])
def test_the_field_is_vertical_at_the_dip_poles(place: tuple[float, float], latitude: float) -> None:
    assert dip_latitude_deg(*place) == pytest.approx(latitude, abs=1.0)


@given(latitudes, longitudes)
def test_a_latitude_is_one_and_does_not_jump(lat: float, lon: float) -> None:
    for latitude in (magnetic_latitude_deg, dip_latitude_deg):
        here = latitude(lat, lon)
        assert -90 <= here <= 90
        assert latitude(lat, lon + 360) == pytest.approx(here, abs=1e-6)
        # the field turns at most a few times as fast as the place moves
        assert abs(latitude(min(90, lat + 1e-4), lon) - here) < 1e-3
        assert abs(latitude(lat, lon + 1e-4) - here) < 1e-3


def test_a_geographic_pole_has_one_latitude_whatever_its_longitude() -> None:
    for pole in (-90, 90):
        for latitude in (magnetic_latitude_deg, dip_latitude_deg):
            around = [latitude(pole, lon) for lon in range(-180, 180, 7)]
            assert max(around) - min(around) < 0.03


@given(latitudes, longitudes, latitudes, longitudes)
def test_a_crossing_lies_on_the_path_and_on_the_dip_equator(
    lat1: float, lon1: float, lat2: float, lon2: float
) -> None:
    path = path_between(lat1, lon1, lat2, lon2)
    assume(path.distance_km < 19000)
    crossing = crosses_dip_equator(lat1, lon1, lat2, lon2)
    is_opposite = (dip_latitude_deg(lat1, lon1) >= 0) != (dip_latitude_deg(lat2, lon2) >= 0)
    assert (crossing is not None) == is_opposite
    if crossing is None:
        return
    there = crossing.lat_deg, crossing.lon_deg
    assert abs(dip_latitude_deg(*there)) < 0.05
    legs = path_between(lat1, lon1, *there).distance_km + path_between(*there, lat2, lon2).distance_km
    assert legs == pytest.approx(path.distance_km, abs=1.0)
    assert 0 <= crossing.off_square_deg <= 90
    back = crosses_dip_equator(lat2, lon2, lat1, lon1)
    assert back is not None
    assert back.asymmetry_deg == pytest.approx(crossing.asymmetry_deg)


# closed form: the angle between the path and the line on which the dip latitude is zero, by stepping along it
@pytest.mark.parametrize(
    "ends",
    [((38.5, 23.0), (-33.5, 23.0)), ((35.5, 139.0), (-37.5, 145.0)), ((18.0, -66.0), (-34.5, -58.5))],
)
def test_the_angle_from_square_is_measured_against_the_dip_equator(
    ends: tuple[tuple[float, float], tuple[float, float]],
) -> None:
    crossing = crosses_dip_equator(*ends[0], *ends[1])
    assert crossing is not None
    west, east = ((equator_latitude(crossing.lon_deg + step), crossing.lon_deg + step) for step in (-1, 1))
    along = path_between(*west, *east).bearing_deg
    heading = path_between(crossing.lat_deg, crossing.lon_deg, *ends[1]).bearing_deg
    assert crossing.off_square_deg == pytest.approx(abs(90 - angle_between_deg(along, heading)), abs=1.5)


def equator_latitude(lon: float) -> float:
    """The geographic latitude of the dip equator, by bisection."""
    low, high = -40.0, 40.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if dip_latitude_deg(middle, lon) < 0 else (low, middle)
    return low


def test_a_path_from_crete_to_the_cape_is_square_and_one_along_the_andes_is_not() -> None:
    square = crosses_dip_equator(35.2, 25.1, -20.0, 28.6)
    assert square is not None
    assert square.off_square_deg < 15
    assert square.asymmetry_deg < 10
    oblique = crosses_dip_equator(8.0, -60.0, -13.0, -75.0)
    assert oblique is not None
    assert oblique.off_square_deg > 30
    assert crosses_dip_equator(48.0, 11.0, 44.0, -63.0) is None


def test_the_file_holds_both_layers_and_no_more() -> None:
    size = Path(magnetics.__file__).with_name("magnetic_grid.bin").stat().st_size
    assert size == 2 * 2 * magnetics.ROWS * magnetics.COLUMNS


@pytest.mark.parametrize("bad", [(91.0, 0.0), (math.nan, 0.0), (0.0, math.inf)])
def test_a_place_off_the_earth_is_refused(bad: tuple[float, float]) -> None:
    for call in (
        lambda: magnetic_latitude_deg(*bad),
        lambda: dip_latitude_deg(*bad),
        lambda: crosses_dip_equator(*bad, 0.0, 0.0),
    ):
        with pytest.raises(ValueError, match=r"latitude|longitude"):
            call()
