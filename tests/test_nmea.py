"""A satellite receiver's sentences: place and clock, never from a sentence that lost a byte."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sentinel.intake.nmea import Fix, NmeaReader

# Two sentences that most introductions to NMEA 0183 quote (from memory); their checksums are their own proof.
GGA = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
RMC = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"


def with_checksum(body: str) -> str:
    """NMEA 0183: the exclusive or of everything between $ and *, in hexadecimal."""
    total = 0
    for mark in body:
        total ^= ord(mark)
    return f"${body}*{total:02X}"


def test_place_satellites_and_time_are_read() -> None:
    reader = NmeaReader()
    reader.read(GGA)
    fix = reader.read(RMC + "\r\n")
    at_s = datetime(1994, 3, 23, 12, 35, 19, tzinfo=UTC).timestamp()
    # 48 07.038' N 11 31' E: longitude 191.5167 + 180 gives J, 5, s; latitude 138.1173 gives N, 8, c
    assert fix == Fix(True, "JN58sc", at_s, 8, 0.9)
    assert fix.is_good_clock
    assert reader.refused == 0


@pytest.mark.parametrize(
    "line",
    [GGA[:-3], GGA[:-2] + "48", GGA.replace("4807", "4907"), "$GPGGA*56", "$", "$GPRMC,1*", "$\x00\xff"],
)
def test_a_sentence_without_its_right_checksum_is_refused(line: str) -> None:
    reader = NmeaReader()
    assert reader.read(line) == Fix()
    assert reader.refused == 1


def test_a_lost_fix_is_no_clock_and_keeps_the_last_place() -> None:
    reader = NmeaReader()
    reader.read(GGA)
    reader.read(RMC)
    fix = reader.read(with_checksum("GPRMC,123520,V,,,,,,,230394,,"))
    assert (fix.has_fix, fix.locator, fix.at_s) == (False, "JN58sc", None)
    assert not fix.is_good_clock


def test_three_satellites_are_no_clock() -> None:
    reader = NmeaReader()
    reader.read(RMC)
    assert not reader.read(with_checksum(GGA[1:-3].replace(",08,", ",03,"))).is_good_clock


def test_lines_of_other_kinds_change_nothing() -> None:
    reader = NmeaReader()
    before = reader.read(GGA)
    assert reader.read("120000 -7 CQ VE1QZZ FN84") == before
    assert reader.read(with_checksum("GPGSV,1,1,00")) == before
    assert reader.refused == 0


@given(st.text("$GPRMCGA,.0123456789NSEWAV-*", max_size=70))
def test_any_sentence_with_a_right_checksum_is_read_or_refused(body: str) -> None:
    reader = NmeaReader()
    for kind in ("GPGGA,", "GPRMC,"):
        reader.read(with_checksum(kind + body.replace("*", "").replace("$", "")))
    assert reader.refused <= 2
