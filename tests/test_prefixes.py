"""Where a call is: the series against an independent copy, call areas against the trade's knowledge."""

import csv
import importlib.util
from collections import Counter
from pathlib import Path
from types import ModuleType

import pytest
from hamkit.itu._itu import ITU_PREFIXES
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from sentinel.trade.callsign import parse_call
from sentinel.trade.prefixes import ANYWHERE_KM, all_areas, area_of, expand, is_allocated, rows_of

ROOT = Path(__file__).parents[1]
ORDER = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
WGS84 = Geod(ellps="WGS84")


def make_itu_series() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_itu_series", ROOT / "tests/tools/make_itu_series.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def committed_series() -> dict[str, str]:
    """Prefix of two characters (three where a series is split) to administration, from the committed file."""
    found = {}
    for row in rows_of("itu_series.csv"):
        stem, first, last = row["first"][:-1], row["first"][-1], row["last"][-1]
        for character in ORDER[ORDER.index(first) : ORDER.index(last) + 1]:
            found[stem + character] = row["administration"]
    return found


def test_the_committed_series_are_what_the_script_makes() -> None:
    # ITU Radio Regulations, Appendix 42, as callsign-regex carries it
    text = (ROOT / "sentinel/trade/data/itu_series.csv").read_text("utf-8")
    assert text == make_itu_series().table()


def test_the_series_agree_with_an_independent_copy_but_for_known_slips() -> None:
    # hamkit-itu, made from an encyclopedia's list: lacks E6 (Niue), still has T9 (Bosnia, now E7), and takes
    # all of 2 where the ITU allots 2A to 2Z
    ours = committed_series()
    theirs = {row.prefix: row.country_code for row in ITU_PREFIXES}
    code_of = {row["administration"]: row["code"][:2] for row in rows_of("areas.csv")}
    only_one, other_country = Counter[str](), Counter[str]()
    for series in (a + b + c for a in ORDER for b in ORDER for c in ORDER[:26]):
        if series[0] in "BFGIKMNRW" and series[1].isdigit():
            continue  # the ITU writes one-letter nationals as KAA to KZZ only
        our_name = ours.get(series) or ours.get(series[:2])
        their_key = next((series[:n] for n in (3, 2, 1) if series[:n] in theirs), None)
        if (our_name is None) != (their_key is None):
            only_one[series[:2]] += 1
        elif our_name and their_key and code_of[our_name] != theirs[their_key]:
            other_country[our_name] += 1
    assert set(only_one) == {"E6", "T9", *(f"2{digit}" for digit in "0123456789")}
    assert set(only_one.values()) == {26}
    # organizations have no country there; Taiwan (BM-BQ, BU-BX) and Liechtenstein (HBL) are split off China
    # and Switzerland; the codes of Niger and the Democratic Republic of the Congo are slips
    organizations = {
        "United Nations",
        "World Meteorological Organization",
        "International Civil Aviation Organization",
    }
    slips = {"Niger", "Democratic Republic of the Congo"}
    assert {n for n in other_country if not n.startswith("Netherlands - ")} == organizations | slips | {
        "China",
        "Switzerland",
    }
    assert (other_country["China"], other_country["Switzerland"]) == (9 * 26, 1)


def test_every_allocated_series_has_an_area_and_no_other_has() -> None:
    allocated = committed_series()
    for series in (a + b + c for a in ORDER for b in ORDER for c in ORDER[:26]):
        is_national = series[0] in "BFGIKMNRW" and series[1].isdigit()
        expected = series in allocated or series[:2] in allocated or is_national
        assert is_allocated(series) == expected, series


def test_no_prefix_is_claimed_twice() -> None:
    claims = Counter(
        p for row in rows_of("areas.csv") for pattern in row["prefixes"].split() for p in expand(pattern)
    )
    assert [prefix for prefix, count in claims.items() if count > 1] == []


def test_every_area_has_one_row_in_each_table() -> None:
    areas = [(row["code"], row["part"]) for row in rows_of("areas.csv")]
    assert len(set(areas)) == len(areas)
    assert [(row["code"], row["part"]) for row in rows_of("area_centres.csv")] == areas
    assert [row["code"] for row in rows_of("area_land.csv")] == [code for code, part in areas if not part]
    assert len({area.name for area in all_areas()}) >= len(areas) - 1  # Russia 3 and 5 are one area


# Common practice of the trade, no source; the position is that of a chief town there, from memory.
KNOWN_CALLS = list(csv.DictReader((ROOT / "tests/data/known_calls.csv").read_text("utf-8").splitlines()))


@pytest.mark.parametrize("known", KNOWN_CALLS, ids=lambda known: known["place"])
def test_calls_lie_where_the_trade_knows_them(known: dict[str, str]) -> None:
    area = area_of(known["place"])
    assert area is not None
    assert area.code == known["code"]
    assert known["name_contains"] in area.name
    assert area.is_allocated
    there = float(known["lon_deg"]), float(known["lat_deg"])
    assert WGS84.inv(*there, area.lon_deg, area.lat_deg)[2] / 1000 <= area.radius_km + 10


# Compound calls: the part that tells where (common practice, no source).
@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("PJ4/K1QAB", "BQ-BO"),
        ("K1QAB/KH6", "US-HI"),
        ("KG4/DL5QAB", "CU-GB"),
        ("G/DL5QAB", "GB-ENG"),
        ("VP2E/VE1QZZ", "AI"),
        ("EA8/DL5QAB/P", "ES-CN"),
        ("DL5QAB/P", "DE"),
        ("K1QAB/QRP", "US"),
        ("EA3QA/6", "ES-IB"),
    ],
)
def test_a_compound_call_is_where_its_prefix_says(text: str, code: str) -> None:
    call = parse_call(text)
    assert call is not None and call.place is not None
    area = area_of(call.place)
    assert area is not None
    assert area.code == code


def test_a_portable_area_digit_moves_a_station_within_its_country() -> None:
    call = parse_call("K1QAB/6")
    assert call is not None and call.place is not None
    assert area_of(call.place) == area_of("K6QAB") != area_of("K1QAB")


def test_an_exception_beats_the_pattern_round_it() -> None:
    # EM1U is Antarctic though U behind the digit is Kyiv; KG4 and two letters is not the United States
    pairs = (
        ("EM1UQ", "AQ"),
        ("EM2UQ", "UA"),
        ("KG4QA", "CU-GB"),
        ("KG4QAB", "US"),
        ("KG4Q", "US"),
        ("KG4", "CU-GB"),
    )
    for place, code in pairs:
        area = area_of(place)
        assert area is not None and area.code == code, place


@pytest.mark.parametrize(
    ("place", "name"), [("1A0QA", "Malta"), ("S01QA", "Western Sahara"), ("Z60QA", "Kosovo")]
)
def test_calls_heard_without_an_allocation_have_a_place_all_the_same(place: str, name: str) -> None:
    area = area_of(place)
    assert area is not None
    assert name in area.name
    assert not area.is_allocated
    assert not is_allocated(place)


@pytest.mark.parametrize(
    "place",
    [
        "",
        "Q1QAB",
        "QA1QA",
        "T9QA",
        "A1QA",
        "X5QA",
        "0A1QA",
        "1B1QA",
        "E1QA",
        "K1QAB/P",
        "é1QA",
        "ß1QA",
        "K" * 99,
    ],
)
def test_what_nobody_holds_is_nowhere(place: str) -> None:
    assert area_of(place) is None
    assert not is_allocated(place)


@pytest.mark.parametrize("place", ["VE0QAB", "4U9QA", "C7QA", "TX5QA", "VQ4QA"])
def test_some_prefixes_say_nothing_of_the_place(place: str) -> None:
    area = area_of(place)
    assert area is not None
    assert area.is_anywhere
    assert area.radius_km == ANYWHERE_KM


def test_case_does_not_matter() -> None:
    assert area_of("ve1qzz") == area_of("VE1QZZ") is not None


@given(st.text())
def test_any_text_has_an_area_or_none(text: str) -> None:
    area = area_of(text)
    assert is_allocated(text) == (area is not None and area.is_allocated)


@given(st.from_regex(r"[A-Z0-9]{1,3}[0-9][A-Z]{1,4}", fullmatch=True))
def test_every_area_is_a_place_with_an_uncertainty(text: str) -> None:
    area = area_of(text)
    if area is not None:
        assert -90 <= area.lat_deg <= 90
        assert -180 <= area.lon_deg <= 180
        assert 10 <= area.radius_km <= ANYWHERE_KM
