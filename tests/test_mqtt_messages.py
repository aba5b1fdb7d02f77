"""The messages that leave over MQTT and the commands that come in, without a broker."""

import json
from dataclasses import replace

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wire_samples import (
    NOON_S,
    blind_bulletin,
    crowded_bulletin,
    hostile_text,
    notable,
    open_bulletin,
    opening,
)

from sentinel.errors import ConfigError
from sentinel.outputs import mqtt_messages as m
from sentinel.outputs import wire
from sentinel.outputs.mqtt_commands import (
    MAX_COMMAND_BYTES,
    REMEMBERED_IDS,
    Command,
    CommandGate,
    CommandName,
    Refusal,
    parse_command,
)

TOPICS = m.Topics("7f3a9c01d2e4")
ENVELOPE = wire.Envelope(t_s=NOON_S, boot="b00t", seq=0)
BEGAN = wire.opening_event_payload("6m", "began", opening(), NOON_S, ENVELOPE)
RESULT = wire.command_result_payload("a1", "mute", True, "Muted.", ENVELOPE)

# topic below sentinel/v1/<node>/, QoS, retained, expiry: the published table
TABLE = [
    (m.status_message(TOPICS, True), "status", 1, True, None),
    (m.will_message(TOPICS), "status", 1, True, None),
    (m.state_message(TOPICS, open_bulletin(), ENVELOPE), "6m/state", 1, True, 180),
    (m.health_message(TOPICS, wire.NodeHealth("0.1", 1.0), [], ENVELOPE), "health", 1, True, 180),
    (m.stations_message(TOPICS, open_bulletin(), ENVELOPE), "6m/stations", 0, True, 300),
    (m.event_message(TOPICS, BEGAN), "6m/event", 1, False, 600),
    (m.event_last_message(TOPICS, BEGAN), "6m/event/last", 1, True, None),
    (m.command_result_message(TOPICS, RESULT), "cmd/result", 1, False, 60),
]


@pytest.mark.parametrize(
    ("message", "topic", "qos", "is_retained", "expiry_s"), TABLE, ids=lambda v: str(v)[:40]
)
def test_each_message_keeps_the_published_table(
    message: m.MqttMessage, topic: str, qos: int, is_retained: bool, expiry_s: int | None
) -> None:
    assert message.topic == f"sentinel/v1/7f3a9c01d2e4/{topic}"
    assert (message.qos, message.is_retained, message.expiry_s) == (qos, is_retained, expiry_s)
    assert message.payload.isascii()


def test_the_status_is_a_bare_word_and_the_will_says_offline() -> None:
    assert m.status_message(TOPICS, True).payload == b"online"
    assert m.status_message(TOPICS, False) == m.will_message(TOPICS)
    assert m.will_message(TOPICS).payload == b"offline"


def test_a_notable_is_an_event_with_its_type_and_sentence() -> None:
    event = json.loads(m.event_message(TOPICS, wire.notable_event_payload("6m", notable(), ENVELOPE)).payload)
    assert (event["event_type"], event["sentence"]) == ("notable", notable().sentence)
    assert event["notable"]["station"] == "DL5QAB"


def test_an_opening_event_tells_a_person_where_how_far_and_by_which_mode() -> None:
    where = "towards the east (95 degrees), 812 to 1950 km, sporadic E"
    ended = wire.opening_event_payload("6m", "ended", opening(), NOON_S, ENVELOPE)
    assert BEGAN["sentence"] == f"6m is opening {where}: 5 far stations."
    assert ended["sentence"] == f"The 6m opening {where} has ended after 20 min: 9 far stations in all."


@pytest.mark.parametrize("count", [0, 1, 20, 25, 48, 49, 400])
def test_the_station_list_fills_its_cap_and_never_passes_it(count: int) -> None:
    bulletin = crowded_bulletin(count)
    message = m.stations_message(TOPICS, bulletin, ENVELOPE)
    shown = json.loads(message.payload)
    assert len(message.payload) <= m.MAX_STATIONS_BYTES
    assert len(shown["stations"]) + shown["omitted"] == count
    if shown["omitted"]:
        one = len(json.dumps(shown["stations"][0], separators=(",", ":")))
        assert len(message.payload) + one + 2 > m.MAX_STATIONS_BYTES, "one more would have fitted"


def test_a_blind_band_lists_no_station_and_no_count() -> None:
    shown = json.loads(m.stations_message(TOPICS, blind_bulletin(), ENVELOPE).payload)
    assert (shown["stations"], shown["far_stations"]) == ([], None)


@settings(deadline=None)
@given(hostile_text)
def test_no_text_but_the_allowed_ever_enters_a_topic(text: str) -> None:
    for build in (lambda: m.Topics(text).status, lambda: TOPICS.state(text)):
        try:
            topic = build()
        except ConfigError as error:
            assert str(error).isprintable()
        else:
            assert topic.isascii()
            assert topic.isprintable()
            assert not set(topic) & set("+#\0 $")
            assert topic.count("/") in (3, 4)


@pytest.mark.parametrize("band", ["6m", "4m", "1.25m", "70cm", "lower-6m"])
def test_the_trades_band_names_may_stand_in_a_topic(band: str) -> None:
    assert TOPICS.state(band) == f"sentinel/v1/7f3a9c01d2e4/{band}/state"


@pytest.mark.parametrize("band", ["", "6m/state", "6M", "+", "#", "6m\n", "6m\0", "net" * 6])
def test_other_band_names_are_refused_with_the_key_and_the_mend(band: str) -> None:
    with pytest.raises(ConfigError, match=r"^band\.name = .* such as 6m$"):
        m.state_message(TOPICS, replace(open_bulletin(), band=band), ENVELOPE)


def test_no_node_may_take_the_place_of_the_neighbours_summaries() -> None:
    with pytest.raises(ConfigError, match="not 'net'"):
        m.Topics("net")


def test_a_new_node_id_is_random_and_fits_a_topic() -> None:
    ids = {m.new_node_id() for _ in range(50)}
    assert len(ids) == 50
    assert all(m.Topics(node).node == node for node in ids)


@pytest.mark.parametrize(
    ("payload", "command"),
    [
        (b'{"id": "a1", "command": "mute"}', Command("a1", CommandName.MUTE)),
        (b'{"command": "mute", "minutes": 90}', Command(None, CommandName.MUTE, minutes=90)),
        (b'{"id": "a2", "command": "unmute"}', Command("a2", CommandName.UNMUTE)),
        (b'{"command": "acknowledge", "band": "6m"}', Command(None, CommandName.ACKNOWLEDGE, band="6m")),
    ],
)
def test_commands_are_read(payload: bytes, command: Command) -> None:
    assert parse_command(payload) == command
    jsonschema.validate(json.loads(payload), wire.schemas()["command"])


@pytest.mark.parametrize(
    ("payload", "because"),
    [
        (b"", "not JSON"),
        (b"mute", "not JSON"),
        (b"\xff\xfe", "not JSON"),
        (b"[" * 1000, "not JSON"),
        (b'["mute"]', "not a JSON object"),
        (b"{}", "command: field required"),
        (b'{"command": "dance"}', "command: input should be 'mute'"),
        (b'{"command": "mute", "minuts": 5}', "minuts: extra inputs"),
        (b'{"command": "mute", "minutes": 0}', "minutes: "),
        (b'{"command": "mute", "minutes": true}', "minutes: "),
        (b'{"command": "unmute", "minutes": 5}', "only with the command mute"),
        (b'{"command": "mute", "band": "6m"}', "only with the command acknowledge"),
        (b'{"command": "mute", "id": "a\\u0000"}', "id"),
        (b'{"command": "mute"}' + b" " * MAX_COMMAND_BYTES, "at most 1024"),
    ],
)
def test_what_is_no_command_is_refused_with_a_reason(payload: bytes, because: str) -> None:
    refusal = parse_command(payload)
    assert isinstance(refusal, Refusal)
    assert because in refusal.reason


@settings(deadline=None)
@given(st.binary(max_size=1100) | hostile_text.map(lambda t: json.dumps({"id": t, "command": t}).encode()))
def test_any_bytes_get_an_answer_that_can_be_published(payload: bytes) -> None:
    answer = CommandGate().receive(payload, is_retained=False)
    if isinstance(answer, Refusal):
        result = wire.command_result_payload(answer.id, answer.command, False, answer.reason, ENVELOPE)
        assert m.command_result_message(TOPICS, result).payload.isascii()


def test_a_retained_command_is_refused() -> None:
    answer = CommandGate().receive(b'{"id": "a1", "command": "mute"}', is_retained=True)
    assert answer == Refusal(
        "a1", "mute", "A retained command is not carried out; publish it without retain."
    )


def test_a_command_is_carried_out_once_whoever_repeats_it() -> None:
    gate = CommandGate()
    payload = b'{"id": "a1", "command": "mute"}'
    assert isinstance(gate.receive(payload, False), Command)
    assert isinstance(gate.receive(payload, False), Refusal)
    assert isinstance(gate.receive(b'{"command": "mute"}', False), Command)
    assert isinstance(gate.receive(b'{"command": "mute"}', False), Command)


def test_only_so_many_ids_are_remembered() -> None:
    gate = CommandGate()
    for i in range(REMEMBERED_IDS + 1):
        assert isinstance(gate.receive(b'{"id": "%d", "command": "mute"}' % i, False), Command)
    assert isinstance(gate.receive(b'{"id": "0", "command": "mute"}', False), Command), "forgotten"
    assert isinstance(gate.receive(b'{"id": "2", "command": "mute"}', False), Refusal), "remembered"
