"""The land of an area against towns of the world and a geodesic library, and its power to tell noise."""

import csv
import random
from collections import defaultdict
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from sentinel.trade.land import NEAR_KM, is_plausible, off_area_km
from sentinel.trade.locator import center_of
from sentinel.trade.prefixes import all_areas, area_of, expand, rows_of

WGS84 = Geod(ellps="WGS84")
LETTERS, DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ", "0123456789"


def a_call_of_each_area() -> dict[str, str]:
    """Code of an area to one call (or prefix) that the tables put there."""
    calls: dict[str, str] = {}
    for row in rows_of("areas.csv"):
        for pattern in row["prefixes"].split():
            call = expand(pattern)[0].replace("#", "1").replace("?", "Q").rstrip(".")
            calls.setdefault(row["code"], call)
    for row in rows_of("itu_series.csv"):
        for call in (row["first"] + middle for middle in ("", "1QA", "9QA")):
            area = area_of(call)
            if area is not None:
                calls.setdefault(area.code, call)
    return calls


CALLS = a_call_of_each_area()


def test_every_area_can_be_reached_by_some_call() -> None:
    assert set(CALLS) == {area.code for area in all_areas()}
    for code, call in CALLS.items():
        area = area_of(call)
        assert area is not None and area.code == code, call


def test_the_centre_of_every_area_lies_on_its_land() -> None:
    for area in all_areas():
        assert off_area_km(CALLS[area.code], area.lat_deg, area.lon_deg) == 0.0, area


def squares_of(text: str) -> list[str]:
    """The squares that one cell of ``area_land.csv`` lists; ``JO22x3`` is JO22, JO32 and JO42."""
    squares = []
    for token in text.split():
        first, _, count = token.partition("x")
        for step in range(int(count or 1)):
            field, digit = divmod(int(first[2]) + step, 10)
            squares.append(chr(ord(first[0]) + field) + first[1] + str(digit) + first[3])
    return squares


def test_every_square_of_an_area_suits_its_calls() -> None:
    for row in rows_of("area_land.csv"):
        if row["squares"][0] not in "=*":
            for square in squares_of(row["squares"]):
                assert off_area_km(CALLS[row["code"]], *center_of(square)) == 0.0, (row["code"], square)


def test_the_towns_of_every_country_lie_on_its_land() -> None:
    # Towns of GeoNames (geonames.org, CC BY 4.0), independent of the map that the squares are made from:
    # the ten largest of each country and the outermost ones
    calls_of = defaultdict(set)
    for code, call in CALLS.items():
        area = area_of(call)
        if area is not None and not area.is_anywhere:
            calls_of[code[:2]].add(call)
    with (Path(__file__).parent / "data/towns.csv").open(encoding="utf-8", newline="") as file:
        towns = [
            (t["country"], t["town"], float(t["lat_deg"]), float(t["lon_deg"])) for t in csv.DictReader(file)
        ]
    countries_without_calls = {"GS"}  # South Georgia shares VP8 with the Falklands
    astray = [
        (country, town)
        for country, town, *place in towns
        if country not in countries_without_calls
        and not any(off_area_km(call, *place) == 0 for call in calls_of[country])
    ]
    assert len(towns) > 2000
    assert astray == []


@pytest.mark.parametrize(
    ("call", "locator"),
    [
        ("VE1QZZ", "FN84ab"),
        ("K1QAB", "DM03"),  # keeps its call in California
        ("KH6QA", "DM03"),
        ("K1QAB", "BL11"),
        ("DL5QAB", "JN58td"),
        ("JA1QAB", "PM95"),
        ("UA9QA", "KO85"),  # keeps its call in Moscow
        ("VK9XQ", "OH29"),
        ("GM4QAB", "IO91"),
        ("UA6QA", "KN75"),
        ("4U9ITU", "JN36"),
        ("VE0QAB", "HK34"),
    ],
)
def test_a_true_pair_is_plausible(call: str, locator: str) -> None:
    assert is_plausible(call, *center_of(locator))


@pytest.mark.parametrize(
    ("call", "locator"),
    [
        ("DL5QAB", "FN84"),
        ("EA8QA", "IN80"),
        ("IT9QA", "FN31"),
        ("F5QAB", "GJ34"),  # French Guiana is FY
        ("ZL1QA", "JO22"),
        ("VE1QZZ", "RR73"),  # the acknowledgement that looks like a square
        ("Q1QAB", "JO22"),
        ("KG4QA", "EM73"),
    ],
)
def test_a_call_far_from_its_country_is_not_plausible(call: str, locator: str) -> None:
    assert not is_plausible(call, *center_of(locator))


def test_a_call_of_nobody_has_no_land() -> None:
    assert off_area_km("Q1QAB", 50.0, 10.0) is None
    assert not is_plausible("", 50.0, 10.0)


def test_the_distance_is_that_to_the_nearest_corner_or_side() -> None:
    # OJ0 has the one square JP90: 18 to 20 E, 60 to 61 N
    (row,) = (row for row in rows_of("area_land.csv") if row["code"] == "AX-MR")
    assert row["squares"] == "JP90"
    for lat_deg, lon_deg, nearest in (
        (62.0, 19.5, (61.0, 19.5)),
        (59.2, 18.1, (60.0, 18.1)),
        (58.0, 22.0, (60.0, 20.0)),
        (-33.0, 151.0, (61.0, 20.0)),
    ):
        km = WGS84.inv(lon_deg, lat_deg, nearest[1], nearest[0])[2] / 1000
        assert off_area_km("OJ0Q", lat_deg, lon_deg) == pytest.approx(km, rel=0.006)


@given(st.floats(-89, 89), st.floats(-180, 180))
def test_no_point_of_a_square_is_nearer_than_the_distance_said(lat_deg: float, lon_deg: float) -> None:
    said_km = off_area_km("OJ0Q", lat_deg, lon_deg)
    assert said_km is not None
    corners_km = [
        WGS84.inv(lon_deg, lat_deg, lon, lat)[2] / 1000 for lat in (60, 60.5, 61) for lon in (18, 19, 20)
    ]
    assert said_km <= min(corners_km) * 1.006 + 1e-6
    assert said_km >= min(corners_km) * 0.994 - 70  # no point of the square is farther from all nine


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_going_round_the_earth_changes_nothing(lat_deg: float, lon_deg: float) -> None:
    here, round_about = off_area_km("3D2QA", lat_deg, lon_deg), off_area_km("3D2QA", lat_deg, lon_deg + 360)
    assert here == pytest.approx(round_about, abs=1e-6)


def random_call(rng: random.Random) -> str:
    """A text as noise makes it: every value of the five fields of a standard call is as likely."""
    return (
        rng.choice(" " + DIGITS + LETTERS)
        + rng.choice(DIGITS + LETTERS)
        + rng.choice(DIGITS)
        + "".join(rng.choice(" " + LETTERS) for _ in range(3))
    ).replace(" ", "")


def test_noise_that_reads_like_a_call_with_a_locator_is_rarely_plausible() -> None:
    # measured over 200,000 pairs: 79 % of the calls are in some area, 1.8 % of the pairs plausible
    rng = random.Random(50_313)
    pairs = plausible = 0
    while pairs < 20_000:
        call = random_call(rng)
        locator = (
            rng.choice(LETTERS[:18]) + rng.choice(LETTERS[:18]) + rng.choice(DIGITS) + rng.choice(DIGITS)
        )
        if area_of(call) is not None:
            pairs += 1
            plausible += is_plausible(call, *center_of(locator))
    assert 0.005 < plausible / pairs < 0.03


def test_near_is_less_than_half_a_square() -> None:
    assert NEAR_KM < 111.2 / 2
