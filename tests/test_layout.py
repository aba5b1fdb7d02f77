"""The template language, to the letter, and the dates of lines that hold only a time of day."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sentinel.errors import ConfigError
from sentinel.intake.json_pointer import MISSING, parse_pointer, resolve
from sentinel.intake.layout import Header, Layout, LayoutReader, Rejection
from sentinel.intake.layout_writer import compose, compose_header
from sentinel.intake.line import LineBatch
from sentinel.intake.time_format import compile_format
from sentinel.intake.time_values import DAY_S
from sentinel.watch.decode import Decode

JUNE_1 = date(2026, 6, 1)
JUNE_1_S = 1780272000.0  # date -u -d 2026-06-01 +%s
ISO = "{utc:%Y-%m-%dT%H:%M:%SZ} {snr_db} {dt_s} {audio_hz} {message}"


def read(template: object, *lines: str, hint: date | float | None = JUNE_1) -> list[object]:
    reader = LayoutReader(Layout.compile(template), "rx", hint)  # type: ignore[arg-type]
    return [reader.read(line) for line in lines]


def one(template: object, line: str) -> Decode:
    (found,) = read(template, line)
    assert isinstance(found, Decode), found
    return found


# --- the template ---


def test_each_field_of_the_design_is_read() -> None:
    template = "{date:%Y%m%d} {utc:%H%M%S} {skip} {snr_db} {dt_s} {audio_hz} {freq_mhz} {mode} {message}"
    line = "20260601 120015 rx -7 0.3 1523 50.313 FT8 CQ VE1QZZ FN84"
    assert one(template, line) == Decode(
        JUNE_1_S + 12 * 3600 + 15, "CQ VE1QZZ FN84", -7.0, 0.3, 1523.0, 50.313, "FT8", "rx"
    )


@pytest.mark.parametrize("blanks", [" ", "   ", "\t", " \t "])
def test_a_run_of_blanks_in_the_template_matches_one_or_more_blanks(blanks: str) -> None:
    line = blanks.join(["2026-06-01T12:00:00Z", "-7", "0.1", "900", "CQ VE1QZZ FN84"])
    assert one(ISO, line).message == "CQ VE1QZZ FN84"
    assert one(ISO.replace(" ", "    "), line).audio_hz == 900.0


def test_a_blank_in_the_template_does_not_match_no_blank() -> None:
    assert isinstance(read("{utc:%H%M%S} {mode} {message}", "120000FT8 CQ VE1QZZ FN84")[0], Rejection)


def test_the_message_runs_to_the_next_literal_or_to_the_end() -> None:
    assert one("{utc:%H%M}|{message}|{mode}", "1200|CQ DL5QAB JN58|FT8").message == "CQ DL5QAB JN58"
    assert one("[{message}] {utc:%H%M}", "[CQ DL5QAB JN58] 1200").message == "CQ DL5QAB JN58"
    assert one("{utc:%H%M} {message}", "1200 CQ DL5QAB JN58   \r\n").message == "CQ DL5QAB JN58"
    assert one("{message} {snr_db} {utc:%H%M}", "VE1QZZ DL5QAB -12 -7 1200") == Decode(
        JUNE_1_S + 12 * 3600, "VE1QZZ DL5QAB -12", -7.0, source="rx"
    )


def test_a_line_that_names_no_mode_is_of_the_mode_given_with_the_layout() -> None:
    layout = Layout.compile(["{utc:epoch} {mode} | {message}", "{utc:epoch} {message}"], mode="FT4")
    lines = ("1781467200 CQ VE1QZZ FN84", "1781467200 FT8 | CQ VE1QZZ FN84")
    found = [LayoutReader(layout).read(line) for line in lines]
    assert [each.mode for each in found if isinstance(each, Decode)] == ["FT4", "FT8"]


def test_skip_is_one_ignored_word() -> None:
    assert one("{utc:%H%M} {skip} {message}", "1200 ~~ CQ DL5QAB JN58").message == "CQ DL5QAB JN58"
    assert isinstance(
        read("{utc:%H%M} {skip} {snr_db} {message}", "1200 a b -7 CQ DL5QAB JN58")[0], Rejection
    )


def test_in_a_delimited_cell_numbers_may_be_missing_and_skip_skips_the_cell() -> None:
    template = "{utc:%H%M},{snr_db},{skip},{mode},{message}"
    assert one(template, "1200,,,,CQ DL5QAB JN58") == Decode(JUNE_1_S + 43200, "CQ DL5QAB JN58", source="rx")
    assert one(template, "1200, -7 ,two words,FT8, CQ DL5QAB JN58").snr_db == -7.0


def test_padded_numbers_in_fixed_columns_are_read_with_and_without_their_blanks() -> None:
    template = "{utc:%H%M%S}{snr_db}{dt_s} {message}"
    assert one(template, "120000 -7 0.2 CQ DL5QAB JN58").dt_s == 0.2
    assert one(template, "120000-17-0.2 CQ DL5QAB JN58").snr_db == -17.0


def test_braces_are_written_twice() -> None:
    assert one("{{{utc:%H%M}}} {message}", "{1200} CQ DL5QAB JN58").message == "CQ DL5QAB JN58"


def test_literal_text_has_no_second_meaning() -> None:
    assert one("({utc:%H%M}) .* {message}", "(1200) .* CQ DL5QAB JN58").message == "CQ DL5QAB JN58"
    assert isinstance(read("({utc:%H%M}) .* {message}", "(1200) ab CQ DL5QAB JN58")[0], Rejection)


def test_a_doubt_marker_may_stand_or_not_and_says_low_confidence() -> None:
    template = "{utc:%H%M} {message} {doubt:?}"
    assert one(template, "1200 CQ DL5QAB JN58") == Decode(JUNE_1_S + 43200, "CQ DL5QAB JN58", source="rx")
    assert one(template, "1200 CQ DL5QAB JN58   ?") == Decode(
        JUNE_1_S + 43200, "CQ DL5QAB JN58", source="rx", has_low_confidence=True
    )
    assert one("{utc:%H%M} {mode}{doubt:?} {message}", "1200 FT8? CQ DL5QAB JN58").mode == "FT8"
    leading = "{doubt:*} {utc:%H%M} {skip:new} {message}"
    assert one(leading, "* 1200 new CQ DL5QAB JN58").has_low_confidence
    assert one(leading, "1200 CQ DL5QAB JN58").message == "CQ DL5QAB JN58"


def test_a_remark_behind_two_blanks_can_be_skipped() -> None:
    template = "{utc:%H%M} {message} {skip:...}"
    assert one(template, "1200 CQ DL5QAB JN58   West Germany").message == "CQ DL5QAB JN58"
    assert one(template, "1200 CQ DL5QAB JN58\tGermany").message == "CQ DL5QAB JN58"
    assert one(template, "1200 CQ DL5QAB JN58").message == "CQ DL5QAB JN58"


def test_the_first_template_that_fits_wins() -> None:
    both = ["{utc:%H%M} {mode} > {message}", "{utc:%H%M} {message}"]
    found = read(both, "1200 FT8 > CQ DL5QAB JN58", "1200 CQ DL5QAB JN58")
    assert [(each.mode, each.message) for each in found if isinstance(each, Decode)] == [
        ("FT8", "CQ DL5QAB JN58"),
        (None, "CQ DL5QAB JN58"),
    ]


@pytest.mark.parametrize(
    ("template", "sentence"),
    [
        ("{time:%H%M} {message}", "unknown field {time}"),
        ("{utc:%H%M} {mesage}", "did you mean {message}?"),
        ("{utc:%H%M} {snr} {message}", "did you mean {snr_db}?"),
        ("{utc:%H%M} {snr_db}", "no {message}"),
        ("{snr_db} {message}", "no {utc}"),
        ("{utc:%H%Q} {message}", '"%Q" is no strptime code'),
        ("{utc:%H%H} {message}", '"%H" stands twice'),
        ("{utc:%M%S} {message}", "no hour"),
        ("{utc:%I:%M} {message}", "no hour"),
        ("{utc:%Y-%m-%d} {message}", "no hour"),
        ("{utc:%d %H%M} {message}", "only part of a date"),
        ("{utc:epok} {message}", 'did you mean "epoch"?'),
        ("{utc:} {message}", "gives no format"),
        ("{date:%H%M} {utc:%H%M} {message}", "holds no date"),
        ("{utc:%H%M} {snr_db} {snr_db} {message}", "{snr_db} stands twice"),
        ("{utc:%H%M {message}", "has no partner"),
        ("{utc:%H%M} message}", "has no partner"),
        ("{utc:%H%M} {mode}{message}", "nothing parts {mode} from {message}"),
        ("{utc:%H%M} {snr_db:%d} {message}", "takes nothing behind a colon"),
        ("{utc:%H%M} {skip:...} {message}", "put it at the end"),
        ("{utc:%H%M} {message} {doubt}", "needs the decoder's marker"),
        ("", "no {message}"),
        ("{date:%Y-%m-%d}", "no template with {message}"),
        ([], "empty list"),
        ("json", "needs a table of fields"),
        ({"jsn": {}}, "one key, json"),
        ({"json": {"utc": "/t", "message": "m"}}, 'did you mean "/m"?'),
        ({"json": {"utc": "/t", "message": "/m", "snr": "/s"}}, 'did you mean "snr_db"?'),
        ({"json": {"utc": "/t~2", "message": "/m"}}, "a tilde is written ~0"),
        ({"json": {"utc": "/t"}}, "no {message}"),
    ],
)
def test_a_bad_template_is_refused_in_one_sentence(template: object, sentence: str) -> None:
    with pytest.raises(ConfigError) as refused:
        Layout.compile(template)  # type: ignore[arg-type]
    assert sentence in str(refused.value)
    assert "\n" not in str(refused.value)


# --- values ---


@pytest.mark.parametrize(
    ("snr", "is_read"),
    [
        ("-7", True),
        ("+07", True),
        ("-7.5", True),
        ("-.5", True),
        ("7.", True),
        ("-7,5", True),
        ("60", True),
        ("61", False),
        ("-61", False),
        ("nan", False),
        ("inf", False),
        ("1e1", False),
        ("--7", False),
        ("٣", False),
        ("9" * 400, False),
    ],
)
def test_a_number_has_a_sign_and_decimals_and_lies_in_its_range(snr: str, is_read: bool) -> None:
    (found,) = read("{utc:%H%M} {snr_db} {message}", f"1200 {snr} CQ DL5QAB JN58")
    assert isinstance(found, Decode) is is_read


@pytest.mark.parametrize(
    ("field", "value", "reason"),
    [("dt_s", "10.1", "dt_s"), ("audio_hz", "-1", "audio_hz"), ("freq_mhz", "0", "freq_mhz")],
)
def test_a_value_out_of_range_is_rejected_by_its_name(field: str, value: str, reason: str) -> None:
    (found,) = read(f"{{utc:%H%M}} {{{field}}} {{message}}", f"1200 {value} CQ DL5QAB JN58")
    assert isinstance(found, Rejection)
    assert reason in found.reason


@pytest.mark.parametrize("written", ["50.313", "50313", "50313.0", "50313000"])
def test_a_radio_frequency_may_be_in_mhz_khz_or_hz(written: str) -> None:
    assert one("{utc:%H%M} {freq_mhz} {message}", f"1200 {written} CQ DL5QAB JN58").freq_mhz == 50.313


def test_control_characters_never_pass() -> None:
    (message,) = read("{utc:%H%M} {message}", "1200 CQ \x1b[31mDL5QAB")
    (mode,) = read("{utc:%H%M} {mode} {message}", "1200 F\u202eT8 CQ DL5QAB JN58")
    assert isinstance(message, Rejection)
    assert isinstance(mode, Rejection)


@given(st.text(max_size=80))
def test_any_text_is_a_decode_or_a_named_rejection_or_nothing(text: str) -> None:
    reader = LayoutReader(Layout.compile([ISO, "{utc} {message}", {"json": {"utc": "/t", "message": "/m"}}]))
    assert isinstance(reader.read(text), Decode | Rejection | None)


@pytest.mark.parametrize(
    ("template", "line"),
    [
        (
            "{utc:%H%M},{snr_db},{dt_s},{audio_hz},{freq_mhz},{mode},{message}",
            "1200" + "," + (" " * 150 + ",") * 5,
        ),
        ("{utc:%H%M}{snr_db}{dt_s}{audio_hz}{freq_mhz} {message}", "1" * 1000),
        ("{message} | {utc:%H%M}", "a" + " " * 1000 + "b"),
        ("{utc:%H%M} {message} {skip} {mode} {snr_db} {skip:x} {skip:y}", "1200 " + "x y " * 250),
    ],
)
def test_a_hostile_line_is_not_tried_in_a_million_ways(template: str, line: str) -> None:
    (found,) = read(template, line)
    assert isinstance(found, Rejection)


# --- times ---

CODE_SETS = [
    "%Y-%m-%dT%H:%M:%S",
    "%Y%m%d%H%M%S",
    "%y%m%d_%H%M%S",
    "%d.%m.%Y %H:%M:%S",
    "%m/%d/%Y %I:%M:%S %p",
    "%d-%b-%Y %H%M",
    "%A %d %B %Y %H:%M",
    "%Y %j %H:%M:%S.%f",
    "%a %b %d %H:%M:%S %Y",
    "%Y-%m-%d %H:%M:%S%z",
    "%Y-W%W-%w %H:%M",
    "%G-W%V-%u %H:%M:%S",
    "%H:%M:%S %d.%m.%y",
]


@pytest.mark.parametrize("text", CODE_SETS)
@given(at=st.datetimes(datetime(1970, 1, 2), datetime(2060, 1, 1)), zone_min=st.integers(-840, 840))
def test_strptime_codes_mean_what_the_standard_library_says(text: str, at: datetime, zone_min: int) -> None:
    aware = at.replace(tzinfo=UTC) + timedelta(minutes=zone_min)
    written = aware.strftime(text)
    expected = datetime.strptime(written, text)  # documentation of datetime.strptime
    expected_s = (expected.replace(tzinfo=UTC) if expected.tzinfo is None else expected).timestamp()
    reading = compile_format(text).read(written)
    assert reading is not None
    assert reading.day is not None
    assert reading.second_of_day is not None
    assert reading.day * DAY_S + reading.second_of_day == pytest.approx(expected_s, abs=1e-6)


@given(st.sampled_from(CODE_SETS), st.text("0123456789-:/ TJanpm.+", max_size=24))
def test_a_time_that_strptime_refuses_is_refused(text: str, written: str) -> None:
    assume("%f" not in text)
    try:
        datetime.strptime(written, text)
    except ValueError:
        assert compile_format(text).read(written) is None


@pytest.mark.parametrize(
    ("written", "at_s"),
    [
        ("2026-06-01T12:00:00Z", 43200.0),
        ("2026-06-01 12:00:00", 43200.0),
        ("2026-06-01T12:00:00.250Z", 43200.25),
        ("2026-06-01T14:00:00+02:00", 43200.0),
        ("2026-05-31T23:30:00-12:30", 43200.0),
        ("20260601T120000Z", 43200.0),
        ("12:00:00", 43200.0),
        ("2026-06-01T23:59:60Z", 86400.0),  # a leap second is the next minute's first
        ("1780315200", 43200.0),
        ("1780315200.5", 43200.5),
    ],
)
def test_utc_without_a_format_is_iso_8601_or_seconds(written: str, at_s: float) -> None:
    assert one("{utc} {message}", f"{written} CQ DL5QAB JN58").at_s == JUNE_1_S + at_s


def test_epoch_is_seconds_with_fractions_or_milliseconds() -> None:
    assert one("{utc:epoch} {message}", "1780315200.25 CQ DL5QAB JN58").at_s == 1780315200.25
    assert one("{utc:epoch} {message}", "1780315200250 CQ DL5QAB JN58").at_s == 1780315200.25


@pytest.mark.parametrize("written", ["20260230 1200", "20260601 2500", "20260601 1260", "22001231 1200"])
def test_a_time_that_does_not_exist_is_rejected(written: str) -> None:
    (found,) = read("{utc:%Y%m%d %H%M} {message}", f"{written} CQ DL5QAB JN58")
    assert isinstance(found, Rejection)


def test_a_missing_year_is_the_one_nearest_to_the_date_known() -> None:
    template = "{utc:%m-%d %H:%M} {message}"
    found = read(template, "12-31 23:59 CQ", "01-01 00:00 CQ", hint=date(2026, 12, 30))
    stamps = [datetime.fromtimestamp(each.at_s, UTC) for each in found if isinstance(each, Decode)]
    assert [at.year for at in stamps] == [2026, 2027]


# --- the date of a bare time of day ---

BARE = "{utc:%H:%M:%S} {message}"


def days_and_times(found: list[object]) -> list[str]:
    return [f"{datetime.fromtimestamp(d.at_s, UTC):%d %H:%M:%S}" for d in found if isinstance(d, Decode)]


def test_without_any_date_a_bare_time_is_rejected() -> None:
    (found,) = read(BARE, "12:00:00 CQ", hint=None)
    assert isinstance(found, Rejection)
    assert "no date" in found.reason


def test_midnight_adds_a_day_and_a_small_step_back_does_not() -> None:
    lines = ["23:59:30 CQ", "23:59:45 CQ", "23:59:30 CQ", "00:00:00 CQ", "00:00:15 CQ", "00:00:00 CQ"]
    assert days_and_times(read(BARE, *lines)) == [
        "01 23:59:30",
        "01 23:59:45",
        "01 23:59:30",
        "02 00:00:00",
        "02 00:00:15",
        "02 00:00:00",
    ]


def test_a_jump_back_of_over_twelve_hours_adds_a_day_and_one_of_less_does_not() -> None:
    assert days_and_times(read(BARE, "20:00:00 CQ", "07:59:59 CQ")) == ["01 20:00:00", "02 07:59:59"]
    assert days_and_times(read(BARE, "20:00:00 CQ", "08:00:01 CQ")) == ["01 20:00:00", "01 08:00:01"]


def test_a_line_printed_late_after_midnight_stays_in_its_day() -> None:
    lines = ["23:59:45 CQ", "00:00:00 CQ", "23:59:45 CQ", "00:00:00 CQ"]
    assert days_and_times(read(BARE, *lines)) == ["01 23:59:45", "02 00:00:00", "01 23:59:45", "02 00:00:00"]


HEADED = ["--- {date:%d %b %Y} ---", BARE]


def test_a_header_line_dates_the_lines_below_it() -> None:
    found = read(
        HEADED, "--- 05 Jun 2026 ---", "12:00:00 CQ", "--- 09 Jun 2026 ---", "11:00:00 CQ", hint=None
    )
    assert found[0] == Header(date(2026, 6, 5))
    assert days_and_times(found) == ["05 12:00:00", "09 11:00:00"]


def test_a_header_at_midnight_counts_the_day_once() -> None:
    lines = ["--- 05 Jun 2026 ---", "23:59:45 CQ", "--- 06 Jun 2026 ---", "00:00:00 CQ", "00:00:15 CQ"]
    assert days_and_times(read(HEADED, *lines)) == ["05 23:59:45", "06 00:00:00", "06 00:00:15"]
    late = ["--- 05 Jun 2026 ---", "23:59:30 CQ", "--- 06 Jun 2026 ---", "23:59:45 CQ", "00:00:00 CQ"]
    assert days_and_times(read(HEADED, *late)) == ["05 23:59:30", "05 23:59:45", "06 00:00:00"]


def test_a_header_that_goes_back_in_time_is_believed() -> None:
    lines = ["--- 05 Jun 2026 ---", "12:00:00 CQ", "--- 02 Jun 2026 ---", "12:00:00 CQ", "12:00:15 CQ"]
    assert days_and_times(read(HEADED, *lines)) == ["05 12:00:00", "02 12:00:00", "02 12:00:15"]


def test_a_clock_hint_chooses_the_nearest_day() -> None:
    just_after_midnight = JUNE_1_S + 30
    assert days_and_times(read(BARE, "23:59:45 CQ", "00:00:15 CQ", hint=just_after_midnight)) == [
        "31 23:59:45",
        "01 00:00:15",
    ]


def test_after_days_of_silence_the_clock_says_the_day() -> None:
    reader = LayoutReader(Layout.compile(BARE), "rx", JUNE_1)
    first = reader.read("11:00:00 CQ")
    reader.near(JUNE_1_S + 3 * DAY_S + 12 * 3600)
    later = reader.read("12:00:00 CQ")
    assert isinstance(first, Decode)
    assert isinstance(later, Decode)
    assert later.at_s - first.at_s == 3 * DAY_S + 3600
    assert reader.maybe_date == date(2026, 6, 4)


@given(st.lists(st.integers(1, 43_000), min_size=1, max_size=40))
def test_any_forward_steps_under_twelve_hours_are_followed_exactly(steps_s: list[int]) -> None:
    at_s = [JUNE_1_S]
    for step_s in steps_s:
        at_s.append(at_s[-1] + step_s)
    lines = [f"{datetime.fromtimestamp(at, UTC):%H:%M:%S} CQ" for at in at_s]
    assert [each.at_s for each in read(BARE, *lines) if isinstance(each, Decode)] == at_s


# --- JSON lines ---

POINTERS = {"utc": "/rx/time", "snr_db": "/rx/0~1snr", "message": "/texts/1", "doubt": "/low", "mode": "/m"}


def json_line(**changes: object) -> str:
    document = {"rx": {"time": "2026-06-01T12:00:00Z", "0/snr": -7}, "texts": ["", "CQ DL5QAB JN58"]}
    return json.dumps(document | changes)


def test_json_lines_are_read_by_pointers() -> None:
    expected = Decode(JUNE_1_S + 43200, "CQ DL5QAB JN58", -7.0, mode="FT8", source="rx")
    assert one({"json": POINTERS}, json_line(m="FT8", low=False)) == expected
    reader = LayoutReader(Layout.compile("json", POINTERS), "rx")
    assert reader.read(json_line(m="FT8", low=None)) == expected
    doubted = reader.read(json_line(low=True))
    assert isinstance(doubted, Decode)
    assert doubted.has_low_confidence


@pytest.mark.parametrize(
    ("time", "extra"),
    [
        (1780315200, {}),
        (1780315200.0, {}),
        ("1780315200", {}),
        (1780315200000, {}),
        ("01.06.2026 12:00", {"utc_format": "%d.%m.%Y %H:%M"}),
    ],
)
def test_a_json_time_is_iso_or_epoch_or_by_its_format(time: object, extra: dict[str, str]) -> None:
    fields = {"utc": "/t", "message": "/m"} | extra
    assert one({"json": fields}, json.dumps({"t": time, "m": "CQ"})).at_s == JUNE_1_S + 43200


@pytest.mark.parametrize(
    "line",
    [
        "no json",
        "[1]",
        '{"t": 1, "m": ',
        '{"t": "2026-06-01T12:00:00Z"}',
        '{"t": "2026-06-01T12:00:00Z", "m": ""}',
        '{"t": "2026-06-01T12:00:00Z", "m": ["CQ"]}',
        '{"t": "noon", "m": "CQ"}',
        '{"t": NaN, "m": "CQ"}',
        '{"t": 1780315200, "m": "CQ", "s": "loud"}',
        '{"t": 1780315200, "m": "CQ", "s": 1e400}',
        '{"a":' * 600 + "1" + "}" * 600,
        "{" * 4000,
    ],
)
def test_a_json_line_that_lacks_what_it_needs_is_rejected(line: str) -> None:
    (found,) = read({"json": {"utc": "/t", "message": "/m", "snr_db": "/s"}}, line)
    assert isinstance(found, Rejection)


# RFC 6901, section 5: the document and its pointers
RFC_6901 = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("", RFC_6901),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
        ("/foo/2", MISSING),
        ("/foo/01", MISSING),
        ("/foo/-", MISSING),
        ("/nothing", MISSING),
        ("/foo/0/1", MISSING),
    ],
)
def test_pointers_are_those_of_rfc_6901(text: str, value: object) -> None:
    assert resolve(RFC_6901, parse_pointer(text)) == value


# --- writing ---

DECODES = st.builds(
    Decode,
    at_s=st.integers(int(JUNE_1_S), int(JUNE_1_S) + 86399).map(float),
    message=st.lists(
        st.sampled_from(["CQ", "VE1QZZ", "DL5QAB", "JN58", "-12", "R+03"]), min_size=1, max_size=5
    ).map(" ".join),
    snr_db=st.integers(-60, 60).map(float),
    dt_s=st.integers(-100, 100).map(lambda tenths: tenths / 10),
    audio_hz=st.integers(0, 6000).map(float),
    freq_mhz=st.integers(28_000, 148_000).map(lambda khz: khz / 1000),
    mode=st.sampled_from(["FT8", "FT4", "~", "CW"]),
    source=st.just("rx"),
    has_low_confidence=st.booleans(),
)
JSON_FIELDS = ["utc", "snr_db", "dt_s", "audio_hz", "freq_mhz", "mode", "message", "doubt"]
EVERYTHING = "{mode} {snr_db} {skip} {dt_s} {audio_hz} {freq_mhz}"


@pytest.mark.parametrize(
    "template",
    [
        f"{{utc:%Y-%m-%dT%H:%M:%SZ}} {EVERYTHING} {{doubt:?}} {{message}}",
        f"{{utc:%H%M%S}} {EVERYTHING} {{doubt:?}} > {{message}}",
        f"{{utc:epoch}} {EVERYTHING} [{{message}}] {{doubt:low}}",
        "|".join(["{utc}", *EVERYTHING.split(), "{message}", "{doubt:low confidence}", ""]),
        "{message};" + ";".join([*EVERYTHING.split(), "{doubt:x}", "{date:%d.%m.%Y}", "{utc:%T}"]),
        {"json": {name: f"/a/{name}~1" for name in JSON_FIELDS}},
    ],
)
@given(decode=DECODES)
def test_what_is_composed_is_read_back(template: object, decode: Decode) -> None:
    layout = Layout.compile(template)  # type: ignore[arg-type]
    assert LayoutReader(layout, "rx", JUNE_1).read(compose(layout, decode)) == decode


def test_a_composed_header_is_read_back() -> None:
    layout = Layout.compile(HEADED)
    line = compose_header(layout, JUNE_1)
    assert line == "--- 01 Jun 2026 ---"
    assert LayoutReader(layout).read(line) == Header(JUNE_1)
    assert compose_header(Layout.compile(BARE), JUNE_1) is None


# --- batches of a source ---


def test_a_live_batch_is_dated_by_a_trusted_clock_and_a_backlog_by_its_end() -> None:
    reader = LayoutReader(Layout.compile(BARE), "rx")
    texts = ("23:00:00 CQ", "noise", "01:00:00 CQ", "22:00:00 CQ", "03:00:00 CQ")
    backlog = LineBatch("rx", texts, is_live=False, written_s=JUNE_1_S + 3 * 3600 + 300)
    live = LineBatch("rx", ("11:59:45 CQ", "12:00:00 CQ"))
    assert days_and_times(reader.read_batch(backlog, None)) == [
        "30 23:00:00",
        "31 01:00:00",
        "31 22:00:00",
        "01 03:00:00",
    ]
    assert days_and_times(reader.read_batch(live, JUNE_1_S + 3 * DAY_S + 43_205)) == [
        "04 11:59:45",
        "04 12:00:00",
    ]


def test_without_a_trusted_clock_a_live_batch_goes_on_from_the_date_known() -> None:
    reader = LayoutReader(Layout.compile(BARE), "rx", JUNE_1)
    assert days_and_times(reader.read_batch(LineBatch("rx", ("23:00:00 CQ", "00:10:00 CQ")), None)) == [
        "01 23:00:00",
        "02 00:10:00",
    ]
