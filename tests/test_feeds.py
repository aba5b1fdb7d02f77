"""Reports by others, of any shape: mapped by pointers, doubted, and told by shape where that fails."""

import json
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nights import seconds

from sentinel.errors import ConfigError
from sentinel.intake.feed_listener import CLOCK_SLACK_S, FeedListener
from sentinel.intake.feeds import FeedMap, MapFault, Spot, check_topic_filter, matches, shape_of
from sentinel.watch.neighbours import LIFE_S, NeighbourHeard, squares_within

NOON_S = seconds("2026-06-14T12:00:00")
POINTERS = {
    "call": "/heard/call",
    "locator": "/heard/loc",
    "receiver": "/by/0",
    "receiver_locator": "/by/1",
    "frequency": "/hz",
    "snr": "/snr",
    "time": "/t",
}
REPORT: dict[str, Any] = {
    "heard": {"call": "W4QAA", "loc": "EM83ab"},
    "by": ["ve1qbb", "FN84cd99xx"],
    "hz": 50_313_900,
    "snr": "-12",
    "t": "2026-06-14T11:59:30Z",
}


def a_map(**changes: Any) -> FeedMap:
    options = {"frequency_unit": "Hz", **changes}
    return FeedMap(options.pop("topic", "spots/#"), options.pop("pointers", POINTERS), **options)


def read(report: object, feed: FeedMap | None = None) -> list[Spot | MapFault]:
    return list((feed or a_map()).read(json.dumps(report).encode(), NOON_S))


def changed(path: str, value: object) -> dict[str, Any]:
    """The report with another value there; an ellipsis takes the value out."""
    report = json.loads(json.dumps(REPORT))
    *way, last = path.split("/")
    inner = report
    for step in way:
        inner = inner[step]
    if value is ...:
        del inner[last]
    else:
        inner[last] = value
    return report


# --- mapping ----------------------------------------------------------------------------------------


def test_every_value_is_found_where_its_pointer_says() -> None:
    [spot] = read(REPORT)
    assert isinstance(spot, Spot)
    assert (spot.call.text, spot.locator) == ("W4QAA", "EM83ab")
    assert (spot.receiver, spot.receiver_locator) == ("VE1QBB", "FN84cd99xx")
    assert (spot.freq_mhz, spot.snr_db) == (pytest.approx(50.3139), -12.0)
    assert spot.at_s == NOON_S - 30


@pytest.mark.parametrize(("unit", "value"), [("Hz", 50_313_900), ("kHz", 50_313.9), ("MHz", "50.3139")])
def test_frequencies_are_read_in_the_unit_that_the_feed_uses(unit: str, value: object) -> None:
    [spot] = read({**REPORT, "hz": value}, a_map(frequency_unit=unit))
    assert isinstance(spot, Spot)
    assert spot.freq_mhz == pytest.approx(50.3139)


@pytest.mark.parametrize(
    ("time_format", "value"),
    [
        (None, "2026-06-14T11:59:30Z"),
        (None, "2026-06-14T13:59:30.000+02:00"),
        (None, 1781438370),
        (None, 1781438370000),
        (None, "1781438370.0"),
        (None, "11:59:30"),
        ("epoch", 1781438370),
        ("%H%M%S", "115930"),
        ("%d.%m.%Y %H:%M:%S", "14.06.2026 11:59:30"),
    ],
)
def test_times_are_read_as_they_come(time_format: str | None, value: object) -> None:
    """1781438370 by ``date -u -d 2026-06-14T11:59:30Z +%s``."""
    [spot] = read({**REPORT, "t": value}, a_map(time_format=time_format))
    assert isinstance(spot, Spot)
    assert spot.at_s == NOON_S - 30


def test_a_time_of_day_is_the_nearest_one() -> None:
    midnight_s = seconds("2026-06-14T00:00:10")
    [spot] = a_map().read(json.dumps({**REPORT, "t": "23:59:50"}).encode(), midnight_s)
    assert isinstance(spot, Spot)
    assert spot.at_s == midnight_s - 20


def test_a_message_may_hold_several_reports() -> None:
    batch = {"list": [REPORT, changed("heard/call", "K4QAB"), changed("heard/call", 7)]}
    found = read(batch, a_map(each="/list"))
    assert [type(each) for each in found] == [Spot, Spot, MapFault]
    assert [spot.call.text for spot in found if isinstance(spot, Spot)] == ["W4QAA", "K4QAB"]


def test_what_a_feed_does_not_tell_may_be_left_out() -> None:
    needed = {name: POINTERS[name] for name in ("call", "receiver", "receiver_locator")}
    [spot] = read(REPORT, a_map(pointers=needed))
    assert isinstance(spot, Spot)
    assert (spot.locator, spot.freq_mhz, spot.snr_db, spot.at_s) == (None, None, None, None)


def test_a_locator_with_more_characters_than_we_read_still_tells_the_place() -> None:
    [spot] = read(changed("heard/loc", "EM83ab12cd34"))
    assert isinstance(spot, Spot)
    assert spot.locator == "EM83ab12cd"


@pytest.mark.parametrize(
    ("report", "sentence"),
    [
        (
            changed("heard/call", ...),
            '; the message is {"heard": {"loc": text}, "by": [text, ... 2 in all], "hz": number, "snr": text',
        ),
        (changed("heard", "W4QAA"), 'call = "/heard/call" leads nowhere'),
        (changed("heard/call", "hello world"), 'call = "/heard/call" leads to text and not to a call sign'),
        (changed("heard/call", 7), "leads to a number and not to a call sign"),
        (changed("by", []), 'receiver = "/by/0" leads nowhere'),
        (changed("by", ["a b", "FN84"]), "leads to text and not to the receiver's call sign"),
        (changed("by", ["VE1QBB", "J062"]), 'receiver_locator = "/by/1" leads to text and not to a locator'),
        (changed("hz", ...), 'frequency = "/hz" leads nowhere'),
        (changed("hz", None), 'frequency = "/hz" leads to null and not to a number'),
        (changed("hz", True), "leads to true or false and not to a number"),
        (changed("t", "yesterday"), 'time = "/t" leads to text and not to a time'),
        (changed("t", {}), 'time = "/t" leads to an object and not to a time'),
        ([], 'call = "/heard/call" leads nowhere; the message is []'),
        (7, "the message is number"),
    ],
)
def test_a_fault_tells_the_key_the_pointer_and_the_shape_of_the_message(
    report: object, sentence: str
) -> None:
    [fault] = read(report)
    assert isinstance(fault, MapFault)
    assert sentence in str(fault)


def test_a_report_without_place_or_ratio_is_used_and_the_pointer_that_leads_nowhere_told() -> None:
    for path, words in (("heard/loc", 'locator = "/heard/loc" leads nowhere'), ("snr", 'snr = "/snr" leads')):
        fault, spot = read(changed(path, ...))
        assert isinstance(spot, Spot)
        assert words in str(fault)
        assert [type(each) for each in read(changed(path, None))] == [Spot]


def test_what_is_no_json_is_told_by_its_size() -> None:
    [fault] = a_map().read(b"W4QAA de VE1QBB", NOON_S)
    assert str(fault) == "topic has a message that is not JSON; the message is 15 bytes"
    [fault] = a_map(each="/list").read(b'{"list": 7}', NOON_S)
    assert str(fault) == (
        'each = "/list" leads to a number and not to a list; the message is {"list": number}'
    )


def test_a_shape_holds_no_value_and_nothing_that_a_terminal_obeys() -> None:
    hostile = {
        "\x1b[2J" + "k" * 90: "\x1b[31msecret",
        "a": {"b": {"c": {"d": {"e": "secret"}}}},
        "f": [["x"]],
    }
    shape = shape_of(hostile)
    assert shape.isascii()
    assert shape.isprintable()
    assert "secret" not in shape
    assert '"d": {...}' in shape
    assert '"f": [[text]]' in shape


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=40), inner, max_size=14),
    max_leaves=30,
)


@given(JSON)
def test_every_document_has_a_short_printable_shape(document: object) -> None:
    shape = shape_of(document)
    assert len(shape) <= 300
    assert shape.isascii()
    assert shape.isprintable()


@given(st.binary(max_size=200) | JSON.map(lambda document: json.dumps(document).encode()))
def test_any_message_is_answered_by_faults_alone(payload: bytes) -> None:
    assert all(isinstance(each, MapFault) for each in a_map().read(payload, NOON_S))


REPORT_LEAVES = ["heard/call", "heard/loc", "hz", "snr", "t", "by", "heard"]


@given(st.sampled_from(REPORT_LEAVES), JSON)
def test_any_value_in_any_place_is_read_or_told(path: str, value: object) -> None:
    found = read(changed(path, value))
    assert found
    assert sum(isinstance(each, Spot) for each in found) <= 1


def test_a_nest_without_end_and_a_number_without_end_are_faults() -> None:
    for payload in (b"[" * 10_000, b'{"heard":{"call":' + b"9" * 9_000 + b"}}", b'{"hz": NaN}', b"\xff\xfe"):
        [fault] = a_map().read(payload, NOON_S)
        assert "not JSON" in str(fault)


# --- the configuration --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"pointers": {**POINTERS, "call": "heard/call"}}, 'did you mean "/heard/call"?'),
        ({"pointers": {"call": "/a", "receiver": "/b"}}, "receiver_locator is missing"),
        ({"time_format": "%Q"}, "%Q"),
        ({"topic": "#"}, "no topic"),
        ({"topic": "spots/#/x"}, "no topic"),
        ({"topic": "spots/a+"}, "no topic"),
        ({"topic": "$SYS/#"}, "no topic"),
        ({"topic": ""}, "no topic"),
        ({"topic": "a\x00b"}, "no topic"),
    ],
)
def test_a_feed_that_cannot_work_is_refused_with_the_mend(changes: Mapping[str, Any], words: str) -> None:
    with pytest.raises(ConfigError, match=words.replace("?", r"\?")):
        a_map(**changes)


@pytest.mark.parametrize(
    ("topic_filter", "topic", "is_match"),
    [
        # MQTT 5.0 (OASIS), section 4.7.1: its examples of wildcards
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True),
        ("sport/tennis/+", "sport/tennis/player1", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport", False),
        ("sport/+", "sport/", True),
        ("+/+", "/finance", True),
        ("/+", "/finance", True),
        ("+", "/finance", False),
    ],
)
def test_a_topic_belongs_to_a_filter_as_the_standard_says(
    topic_filter: str, topic: str, is_match: bool
) -> None:
    assert matches(check_topic_filter(topic_filter), topic) is is_match


# --- believing ----------------------------------------------------------------------------------------


def listener(said: list[str] | None = None, own_call: str | None = "VE1QZZ") -> FeedListener:
    say = (lambda _sentence: None) if said is None else said.append
    squares = squares_within("FN84ab", 300.0)
    return FeedListener("[[neighbours.feed]] 1", a_map(), squares, 50.0, 54.0, own_call, say)


def heard(report: object, feed: FeedListener | None = None) -> list[NeighbourHeard]:
    return (feed or listener()).receive(json.dumps(report).encode(), NOON_S)


def test_a_report_from_within_reach_says_who_was_heard_where_and_when() -> None:
    [word] = heard(REPORT)
    assert word == NeighbourHeard(
        at_s=NOON_S, receiver="VE1QBB", receiver_locator="FN84cd99xx", call="W4QAA",
        lat_deg=pytest.approx(33.0625), lon_deg=pytest.approx(-83.9583, abs=1e-3), heard_at_s=NOON_S - 30,
        uncertainty_km=0.0,
    )  # fmt: skip


def test_without_a_locator_the_prefix_tells_the_area_and_what_it_leaves_open() -> None:
    [word] = heard({**REPORT, "heard": {"call": "DL5QAB", "loc": None}})
    assert (round(word.lat_deg), round(word.lon_deg)) in {(50, 9), (51, 9), (51, 10), (50, 10)}
    assert word.uncertainty_km > 100


@pytest.mark.parametrize(
    "report",
    [
        changed("by", ["VE1QBB", "IO91wm"]),  # out of reach
        changed("by", ["VE1QZZ", "FN84ab"]),  # our own reports, sent on by another program
        changed("by", ["VE1QZZ/P", "FN84ab"]),
        changed("by", ["VE1QZZ-2", "FN84ab"]),
        changed("hz", 14_074_000),
    ],
)
def test_reports_from_elsewhere_and_our_own_are_counted_and_no_more(report: object) -> None:
    feed = listener()
    assert heard(report, feed) == []
    assert (feed.used, feed.elsewhere, feed.doubted, feed.unmapped) == (0, 1, 0, 0)


@pytest.mark.parametrize(
    ("report", "reason"),
    [
        (changed("t", NOON_S - LIFE_S - 1), "too old"),
        (changed("t", NOON_S + CLOCK_SLACK_S + 1), "future"),
        (changed("snr", 400), "ratio"),
        (changed("by", ["W4QAA", "FN84"]), "itself"),
        (changed("heard/loc", "JN58"), "prefix and locator"),
        ({**REPORT, "heard": {"call": "VE1QBD/MM", "loc": ""}}, "nobody knows where"),
    ],
)
def test_what_cannot_be_so_is_doubted_with_its_reason(report: object, reason: str) -> None:
    feed = listener()
    assert heard(report, feed) == []
    assert (feed.used, feed.doubted) == (0, 1)
    assert reason in feed.last_doubt
    assert reason in feed.summary()


def test_a_huge_message_is_not_even_read() -> None:
    feed = listener()
    assert feed.receive(b" " * 16_385, NOON_S) == []
    assert "16384 bytes" in feed.last_doubt


def test_each_kind_of_mapping_fault_is_said_once() -> None:
    said: list[str] = []
    feed = listener(said)
    for number in range(100):
        heard(changed("heard/call", number), feed)
        heard({f"key{number}": 1}, feed)
    assert len(said) == 2
    assert said[0].startswith(
        '[[neighbours.feed]] 1 call = "/heard/call" leads to a number and not to a call sign; the message'
    )
    assert feed.unmapped == 200
    assert "200 not mapped" in feed.summary()


def test_a_feed_knows_its_own_topics() -> None:
    assert listener().wants("spots/6m/VE1QBB")
    assert not listener().wants("sentinel/v1/net/6m/FN/FN84/x")
