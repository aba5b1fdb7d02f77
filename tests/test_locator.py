"""Locators against published places, another implementation, and their own laws."""

import math

import maidenhead
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from sentinel.trade.locator import (
    cell_size_deg,
    center_of,
    half_diagonal_km,
    is_locator,
    locator_of,
    neighbour_squares,
    normalize,
    square_of,
)

WGS84 = Geod(ellps="WGS84")
SIZES = (4, 6, 8, 10)
_FIELD, _DIGIT = st.sampled_from("ABCDEFGHIJKLMNOPQR"), st.sampled_from("0123456789")
_SUB = st.sampled_from("abcdefghijklmnopqrstuvwx")
_FULL = st.tuples(_FIELD, _FIELD, _DIGIT, _DIGIT, _SUB, _SUB, _DIGIT, _DIGIT, _SUB, _SUB).map("".join)
LOCATORS = st.builds(lambda full, size: full[:size], _FULL, st.sampled_from(SIZES))
LATITUDES = st.floats(-90, 90)
LONGITUDES = st.floats(-180, 180)


def minutes(degrees: int, arc_minutes: float, arc_seconds: float = 0) -> float:
    return math.copysign(abs(degrees) + arc_minutes / 60 + arc_seconds / 3600, degrees)


@pytest.mark.parametrize(
    ("lat_deg", "lon_deg", "locator"),
    [
        (minutes(40, 46.9), minutes(-74, 41.4), "FN20ps"),  # W2IOL, Usenet, 1984
        (minutes(-40, 46.9), minutes(74, 41.4), "ME79if"),  # the same
        (minutes(49, 14, 49), minutes(-2, 6), "IN89wf"),  # GJ7JHF
        (14.321, -32.123, "HK34wh"),  # computed; a widely copied example says GJ34wg, which is wrong
        (48.14666, 11.60833, "JN58td"),  # Tyson, QST, January 1989 (from memory), and the next four
        (-34.91, -56.21166, "GF15vc"),
        (38.92, -77.065, "FM18lw"),
        (-41.28333, 174.745, "RE78ir"),
    ],
)
def test_published_places_have_their_published_locators(lat_deg: float, lon_deg: float, locator: str) -> None:
    assert locator_of(lat_deg, lon_deg) == locator


@pytest.mark.parametrize(
    ("locator", "lat_deg", "lon_deg"),
    [
        ("JN58td", 48.1458, 11.6250),  # Tyson, QST, January 1989 (from memory)
        ("GF15vc", -34.8958, -56.2083),
        ("JO22", 52.5, 5.0),  # by hand
        ("RR73", 83.5, 175.0),
    ],
)
def test_centres_are_in_the_middle_of_the_cell(locator: str, lat_deg: float, lon_deg: float) -> None:
    assert center_of(locator) == pytest.approx((lat_deg, lon_deg), abs=5e-5)


@given(LOCATORS)
def test_the_centre_of_a_locator_lies_in_it(locator: str) -> None:
    assert locator_of(*center_of(locator), characters=len(locator)) == locator


@given(LATITUDES, LONGITUDES, st.sampled_from(SIZES))
def test_a_place_lies_in_its_cell(lat_deg: float, lon_deg: float, characters: int) -> None:
    locator = locator_of(lat_deg, lon_deg, characters)
    center, size = center_of(locator), cell_size_deg(locator)
    assert abs(lat_deg - center.lat_deg) <= size.lat_deg / 2 + 1e-9
    from_center = (lon_deg - center.lon_deg + 180) % 360 - 180
    assert abs(from_center) <= size.lon_deg / 2 + 1e-9


@given(LATITUDES, LONGITUDES)
def test_a_shorter_locator_is_the_beginning_of_a_longer_one(lat_deg: float, lon_deg: float) -> None:
    longest = locator_of(lat_deg, lon_deg, 8)
    assert [locator_of(lat_deg, lon_deg, size) for size in (4, 6)] == [longest[:4], longest[:6]]


@given(LOCATORS)
def test_centres_agree_with_the_maidenhead_package(locator: str) -> None:
    assert maidenhead.to_location(locator, center=True) == pytest.approx(center_of(locator), abs=1e-9)


@given(_FULL)
def test_locators_agree_with_the_maidenhead_package(full: str) -> None:
    # Ten characters at the centre of their cell: off it, that package rounds to the nearest smallest cell.
    assert maidenhead.to_maiden(*center_of(full), 5).upper() == locator_of(*center_of(full), 10).upper()


@pytest.mark.parametrize("characters", SIZES)
def test_a_boundary_belongs_to_the_cell_north_and_east_of_it(characters: int) -> None:
    # W2IOL, Usenet, 1984. Multiples of 2.5 minutes have no exact float, so every subsquare's corner counts.
    expected = normalize("JO22aa00aa"[:characters])
    assert locator_of(52.0, 4.0, characters) == expected
    for step in range(24):
        corner = locator_of(52 + step * 2.5 / 60, 4 + step * 5 / 60, 6)
        assert corner == f"JO22{chr(97 + step) * 2}"


@pytest.mark.parametrize(
    ("lat_deg", "lon_deg", "locator"),
    [
        (90, 0, "JR09ax"),
        (-90, 0, "JA00aa"),
        (0, 180, "AJ00aa"),
        (0, -180, "AJ00aa"),
        (90, 180, "AR09ax"),
        (0.0, 179.999999, "RJ90xa"),
    ],
)
def test_poles_and_the_date_line_have_locators(lat_deg: float, lon_deg: float, locator: str) -> None:
    assert locator_of(lat_deg, lon_deg) == locator


@pytest.mark.parametrize(
    ("lat_deg", "lon_deg"), [(90.001, 0), (0, 180.001), (math.nan, 0), (0, math.nan), (math.inf, 0)]
)
def test_what_is_no_place_is_refused_by_name(lat_deg: float, lon_deg: float) -> None:
    with pytest.raises(ValueError, match="is not a place"):
        locator_of(lat_deg, lon_deg)


def test_an_odd_number_of_characters_is_refused() -> None:
    with pytest.raises(ValueError, match="not 5"):
        locator_of(0, 0, 5)


@pytest.mark.parametrize("text", ["FN84", "fn84AB", "FN84ab", "RR73", "AA00aa00aa", "rr99XX99XX"])
def test_any_case_is_a_locator(text: str) -> None:
    assert is_locator(text)
    assert normalize(f" {text} ") == text[:4].upper() + text[4:].lower()


@pytest.mark.parametrize(
    "text",
    [
        "FN", "FN8", "FN84a", "FN84ab1", "SN84", "FS84", "FN84yb", "J062", "FN84ab12c", "FN84ab12cd3", "",
        "FN 84", "FN84\n", "\N{KELVIN SIGN}N84", "FN\N{ARABIC-INDIC DIGIT EIGHT}4",
        pytest.param("F" * 10**6, id="a million letters"),
    ],
)  # fmt: skip
def test_other_text_is_no_locator(text: str) -> None:
    assert not is_locator(text)
    if text.strip() != "FN84":
        with pytest.raises(ValueError, match=r"is not a locator: write 4, 6, 8 or 10 characters"):
            normalize(text)


@given(st.text(max_size=12))
def test_normalize_accepts_what_is_a_locator_and_nothing_else(text: str) -> None:
    try:
        accepted = is_locator(normalize(text))
    except ValueError:
        accepted = False
    assert accepted == is_locator(text.strip())


@given(LOCATORS)
def test_no_corner_is_farther_from_the_centre_than_the_half_diagonal(locator: str) -> None:
    center, size = center_of(locator), cell_size_deg(locator)
    corner_km = max(
        WGS84.inv(
            center.lon_deg,
            center.lat_deg,
            center.lon_deg + east * size.lon_deg / 2,
            center.lat_deg + north * size.lat_deg / 2,
        )[2]
        / 1000
        for north in (-1, 1)
        for east in (-1, 1)
    )
    assert half_diagonal_km(locator) == pytest.approx(corner_km, rel=0.0075)


@pytest.mark.parametrize(
    ("square", "around"),
    [
        ("JO22", "JO11 JO12 JO13 JO21 JO23 JO31 JO32 JO33"),  # inside a field
        ("JO29kk", "JO18 JO19 JO28 JO38 JO39 JP10 JP20 JP30"),  # the field's northern edge
        ("RE05", "QE94 QE95 QE96 RE04 RE06 RE14 RE15 RE16"),  # the field's western edge
        ("AJ05", "AJ04 AJ06 AJ14 AJ15 AJ16 RJ94 RJ95 RJ96"),  # 180 degrees
        ("AA00", "AA01 AA10 AA11 RA90 RA91"),  # the south pole
        ("RR99", "AR08 AR09 RR88 RR89 RR98"),  # the north pole
    ],
)
def test_squares_have_neighbours_across_every_edge(square: str, around: str) -> None:
    assert neighbour_squares(square) == tuple(around.split())


@given(LOCATORS)
def test_neighbours_are_neighbours_of_each_other(locator: str) -> None:
    square = square_of(locator)
    around = neighbour_squares(locator)
    assert len(set(around)) == len(around) == (5 if square[1] + square[3] in ("A0", "R9") else 8)
    assert all(square in neighbour_squares(other) for other in around)
