"""Call signs against the Radio Regulations and the trade's habits."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sentinel.trade.callsign import Call, parse_call


@pytest.mark.parametrize(
    "text",
    [
        # ITU Radio Regulations 19.68: one of B F G I K M N R W and a digit, then up to four, a letter last
        "K1Q", "B7QA", "F5QZZ", "G4QAB", "I2QQ", "M0QAA", "N0QZZ", "R1QAB", "W9QABC", "K1ABC",
        # two characters, at most one a digit
        "VE1QZZ", "DL5QAB", "2E0QAA", "4X1QA", "9A2QB", "E51QA", "A22QA", "S01QS", "1A0QA", "4U1QTU", "D44QC",
        # 19.68.1: half series take three
        "3DA0QA", "SSA1QA", "3D2QA",
        # 19.68A: longer for events
        "GB100QAB", "TM2024QA", "OE2024QABC", "II110QM", "8J1QAMFEST",
        # letters behind the digit of the series (common practice, no source)
        "C6QAB", "T6QA", "D2QA", "E7Q", "S9QQ", "U5QA",
    ],
)  # fmt: skip
def test_well_formed_calls_are_calls(text: str) -> None:
    assert parse_call(text) == Call(text=text, base=text, place=text, suffix=None)
    assert parse_call(text.lower()) == parse_call(text)
    assert parse_call(f"<{text}>") == parse_call(text)


NO_CALLS = """
    CQ QRZ DE TEST DX RRR RR73 73 R TU; 599 5NN R-15 -15 +03 R+03 6A 17B 32F 579 570007 0013 EMA
    R570007 FN42 JO22 RR99 FN42ab JN58td77 <...> ... <> < / // K1ABC/ /K1ABC K1//P K1 VE1 1ABC
    123ABC 12ABC Q1ABC QZ1ABC 0A1ABC K1ABC1 ABCDEF K1ABC; K1-ABC A/B/C/D PJ4/K1ABC/P/QRP
    PJ4X9/K1ABC 44/K1ABC TEST/K1ABC VE1QABCDEFGHI
"""


@pytest.mark.parametrize(
    "text",
    [
        *NO_CALLS.split(),
        "", " ", "K 1ABC", "K1ABC\n", "K1ABC\0",
        "\N{KELVIN SIGN}1ABC", "K\N{SUPERSCRIPT ONE}ABC", "K1ABC/\N{ARABIC-INDIC DIGIT FOUR}",
        pytest.param("K" * 10**6, id="a million letters"), pytest.param("/" * 10**6, id="a million slashes"),
    ],
)  # fmt: skip
def test_other_text_is_no_call(text: str) -> None:
    assert parse_call(text) is None


@pytest.mark.parametrize(
    ("text", "base", "place", "suffix"),
    [
        # the prefix before the call tells the place (common practice, no source; CEPT T/R 61-01 for Europe)
        ("PJ4/K1ABC", "K1ABC", "PJ4", None),
        ("KH1/KH7Z", "KH7Z", "KH1", None),
        ("HB9/DL5QAB/P", "DL5QAB", "HB9", "P"),
        ("F/DL5QAB", "DL5QAB", "F", None),
        ("M/DL5QAB", "DL5QAB", "M", None),
        ("MM/DL5QAB", "DL5QAB", "MM", None),  # in front it is Scotland
        ("VP2E/K1ABC", "K1ABC", "VP2E", None),  # VP2E has the form of a call itself
        ("3DA0/VE1QZZ", "VE1QZZ", "3DA0", None),
        # so does a prefix behind it
        ("VE1QZZ/W4", "VE1QZZ", "W4", None),
        ("VE1QZZ/KH6", "VE1QZZ", "KH6", None),
        ("DL5QAB/VP2E", "DL5QAB", "VP2E", None),
        ("LA1QA/JW", "LA1QA", "JW", None),
        # a digit changes the area and nothing else
        ("K1ABC/4", "K1ABC", "K4ABC", None),
        ("EA3QQ/8", "EA3QQ", "EA8QQ", None),
        ("VE1QZZ/7/P", "VE1QZZ", "VE7QZZ", "P"),
        ("3DA0QA/2", "3DA0QA", "3DA2QA", None),
        ("C6QAB/2", "C6QAB", "C6QAB", None),  # its digit names the country
        # what does not move the station
        ("DL5QAB/P", "DL5QAB", "DL5QAB", "P"),
        ("DL5QAB/M", "DL5QAB", "DL5QAB", "M"),
        ("K1ABC/R", "K1ABC", "K1ABC", "R"),
        ("DL5QAB/QRP", "DL5QAB", "DL5QAB", "QRP"),
        ("DL5QAB/P/QRP", "DL5QAB", "DL5QAB", "P/QRP"),
        ("DL5QAB/LH", "DL5QAB", "DL5QAB", "LH"),
        ("DL5QAB/100", "DL5QAB", "DL5QAB", "100"),
        ("VE1QBC/B", "VE1QBC", "VE1QBC", "B"),
        # at sea and in the air
        ("DL5QAB/MM", "DL5QAB", None, "MM"),
        ("DL5QAB/AM", "DL5QAB", None, "AM"),
        ("PJ4/K1ABC/MM", "K1ABC", None, "MM"),
    ],
)
def test_compound_calls_tell_home_place_and_suffix(
    text: str, base: str, place: str | None, suffix: str | None
) -> None:
    assert parse_call(text) == Call(text, base, place, suffix)


def test_only_a_beacon_calls_itself_one() -> None:
    calls = [parse_call(text) for text in ("VE1QBC/B", "VE1QBC/BCN", "VE1QBC/P", "B7QA")]
    assert [call and call.is_beacon for call in calls] == [True, True, False, False]


def test_six_characters_may_be_a_call_or_a_locator_by_their_case() -> None:
    assert parse_call("FN42AB") is not None
    assert parse_call("FN42ab") is None


@given(st.text() | st.text(alphabet="ABKQ019/<>.", max_size=24))
def test_any_text_is_a_call_or_none(text: str) -> None:
    call = parse_call(text)
    if call is not None:
        assert call.text == text.strip("<>").upper()
        assert parse_call(call.text) == call
        assert parse_call(call.base) == Call(call.base, call.base, call.base, None)


ARTICLE_19_68 = r"([BFGIKMNRW]|[A-PR-Z][A-Z]|[1-9][A-Z]|[A-PR-Z][0-9])[0-9][A-Z0-9]{0,3}[A-Z]"


@given(st.from_regex(ARTICLE_19_68, fullmatch=True))
def test_every_call_of_article_19_68_is_well_formed(text: str) -> None:
    assert parse_call(text) == Call(text, text, text, None)
