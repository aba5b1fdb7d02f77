"""What neighbours share: small, without names, and believed only as far as it can be checked."""

import json
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wire_samples import NOON_S, any_bulletin, blind_bulletin, crowded_bulletin, open_bulletin, quiet_bulletin

from sentinel.outputs import mqtt_messages as m
from sentinel.outputs import wire
from sentinel.outputs.net import (
    MAX_NODES,
    MAX_SUMMARY_BYTES,
    Departure,
    Disbelief,
    Neighbour,
    Neighbours,
    net_filters,
)
from sentinel.watch.bulletin import Bulletin, Mode, State

OWN, OTHER = m.Topics("7f3a9c01d2e4"), m.Topics("0123456789ab")


def summary(
    bulletin: Bulletin | None = None, at_s: float = NOON_S, topics: m.Topics = OTHER, square: str = "FN84"
) -> m.MqttMessage:
    envelope = wire.Envelope(t_s=at_s, boot="b00t", seq=3)
    return m.net_message(topics, bulletin or open_bulletin(), square, envelope)


def neighbours() -> Neighbours:
    return Neighbours(OWN.node, "FN84ab", ["6m"], 300.0)


def heard(message: m.MqttMessage, now_s: float = NOON_S) -> Neighbour | Departure | Disbelief:
    return neighbours().receive(message.topic, message.payload, now_s, 0.0)


def test_a_summary_stands_under_its_square_as_the_table_says() -> None:
    message = summary()
    assert message.topic == "sentinel/v1/net/6m/FN/FN84/0123456789ab"
    assert (message.qos, message.is_retained, message.expiry_s) == (1, True, 900)


def test_a_finer_locator_never_leaves() -> None:
    message = summary(square="FN84ab")
    assert message.topic == summary(square="FN84").topic
    assert b"FN84ab" not in message.payload
    assert b"fn84ab" not in message.payload.lower()


@settings(deadline=None)
@given(any_bulletin())
def test_a_summary_is_small_and_names_nobody(bulletin: Bulletin) -> None:
    message = summary(bulletin)
    assert len(message.payload) <= MAX_SUMMARY_BYTES
    assert set(json.loads(message.payload)) == {
        "v", "t", "boot", "seq", "band", "square", "state", "far_stations", "mode", "bearing_deg",
        "nearest_km", "farthest_km", "muf_mhz",
    }  # fmt: skip


def test_the_direction_with_most_stations_is_told() -> None:
    first = open_bulletin().headings[0]
    more = replace(first, bearing_deg=232.0, stations=9, nearest_km=700, farthest_km=2100)
    told = json.loads(summary(replace(open_bulletin(), headings=(first, more))).payload)
    assert (told["bearing_deg"], told["nearest_km"], told["farthest_km"]) == (232.0, 700, 2100)


def test_the_squares_within_reach_are_read_across_field_edges() -> None:
    """The squares around FN89, by hand from the definition of the locator (IARU, Lillehammer 1999).

    At 49.5 degrees a square is 111 by 145 km: corners are 183 km away, the next to the north 222.
    """
    around = {"FN78", "FN88", "FN98", "FN79", "FN99", "FO70", "FO80", "FO90"}
    assert set(net_filters("6m", "FN89xx", 200.0)) == {
        f"sentinel/v1/net/6m/{square[:2]}/{square}/+" for square in around | {"FN89"}
    }


def test_what_a_neighbour_says_is_read() -> None:
    assert heard(summary()) == Neighbour(
        node=OTHER.node, square="FN84", band="6m", at_s=NOON_S, state=State.OPEN, far_stations=5,
        mode=Mode.SPORADIC_E, bearing_deg=95.2, nearest_km=812, farthest_km=1950, muf_mhz=79.9,
    )  # fmt: skip


@settings(deadline=None)
@given(any_bulletin().filter(lambda b: b.state is not State.OPEN).map(lambda b: replace(b, headings=())))
def test_whatever_a_node_publishes_of_a_band_without_direction_its_neighbour_believes(b: Bulletin) -> None:
    assert isinstance(heard(summary(b)), Neighbour)


@pytest.mark.parametrize(
    "bulletin", [open_bulletin(), quiet_bulletin(), blind_bulletin(), crowded_bulletin()]
)
def test_each_kind_of_bulletin_is_believed(bulletin: Bulletin) -> None:
    read = heard(summary(bulletin))
    assert isinstance(read, Neighbour)
    assert read.state is bulletin.state


def changed(**fields: object) -> m.MqttMessage:
    message = summary()
    payload = {**json.loads(message.payload), **fields}
    return replace(message, payload=json.dumps(payload).encode())


def moved(topic: str) -> m.MqttMessage:
    return replace(summary(), topic=topic)


@pytest.mark.parametrize(
    ("message", "reason"),
    [
        (replace(summary(), payload=b" " * (MAX_SUMMARY_BYTES + 1)), "more than 512"),
        (replace(summary(), payload=b"{"), "not JSON"),
        (replace(summary(), payload=b"[" * 500), "not JSON"),
        (replace(summary(), payload=b"[]"), "schema"),
        (replace(summary(), payload=b"\xff"), "not JSON"),
        (changed(v=2), "schema"),
        (changed(bearing_deg=360), "schema"),
        (changed(far_stations=-1), "schema"),
        (changed(mode="telepathy"), "schema"),
        (changed(t="noon"), "schema"),
        (changed(square="IO91"), "differ"),
        (changed(band="4m"), "differ"),
        (changed(nearest_km=3000), "no path on Earth"),
        (changed(farthest_km=25_000), "no path on Earth"),
        (changed(bearing_deg=None), "together"),
        (changed(bearing_deg=None, nearest_km=None, farthest_km=None), "without a direction"),
        (changed(far_stations=0), "without a far station"),
        (changed(far_stations=None), "exactly when blind"),
        (changed(state="blind"), "exactly when blind"),
        (summary(at_s=NOON_S - 901), "too old"),
        (summary(at_s=NOON_S + 121), "future"),
        (summary(topics=OWN), "our own"),
        (summary(square="IO91"), "none of those asked for"),
        (moved("sentinel/v1/net/4m/FN/FN84/x"), "none of those asked for"),
        (moved("sentinel/v1/net/6m/FN/FN84/x/y"), "none of those asked for"),
        (moved("sentinel/v1/net/6m/FN/FN84/\x00"), "none of those asked for"),
        (moved("kitchen/door"), "none of those asked for"),
    ],
)
def test_what_cannot_be_believed_is_refused_with_its_reason(message: m.MqttMessage, reason: str) -> None:
    net = neighbours()
    answer = net.receive(message.topic, message.payload, NOON_S, 0.0)
    assert isinstance(answer, Disbelief)
    assert reason in answer.reason
    assert net.disbelieved == 1
    assert net.fresh("6m", NOON_S) == ()


@settings(deadline=None)
@given(st.binary(max_size=600), st.text(max_size=80))
def test_any_bytes_on_any_topic_are_answered(payload: bytes, topic: str) -> None:
    net = neighbours()
    assert isinstance(net.receive(topic, payload, NOON_S, 0.0), Disbelief)
    net.receive(summary().topic, payload, NOON_S, 0.0)
    assert net.fresh("6m", NOON_S) == ()


def test_a_word_counts_until_it_is_too_old() -> None:
    net = neighbours()
    message = summary()
    net.receive(message.topic, message.payload, NOON_S, 0.0)
    assert [n.node for n in net.fresh("6m", NOON_S + 900)] == [OTHER.node]
    assert net.fresh("6m", NOON_S + 901) == ()
    assert net.fresh("4m", NOON_S) == ()


def test_an_older_word_does_not_replace_a_newer_one_and_a_hasty_node_is_slowed() -> None:
    net = neighbours()

    def say(at_s: float, monotonic_s: float) -> Neighbour | Departure | Disbelief:
        message = summary(at_s=at_s)
        return net.receive(message.topic, message.payload, NOON_S + 100, monotonic_s)

    assert isinstance(say(NOON_S, 0.0), Neighbour)
    assert say(NOON_S, 60.0) == Disbelief("it is not newer than the last one")
    assert say(NOON_S + 10, 29.9) == Disbelief("the node publishes too often")
    assert isinstance(say(NOON_S + 30, 30.0), Neighbour)


def test_an_empty_message_takes_the_summary_back() -> None:
    net = neighbours()
    message, gone = summary(), m.net_removal_message(OTHER, "6m", "FN84")
    net.receive(message.topic, message.payload, NOON_S, 0.0)
    assert (gone.topic, gone.is_retained) == (message.topic, True)
    assert net.receive(gone.topic, gone.payload, NOON_S, 1.0) == Departure(OTHER.node, "FN84", "6m")
    assert net.fresh("6m", NOON_S) == ()


def test_an_impostor_with_many_names_fills_no_memory_and_drives_nobody_out() -> None:
    net = neighbours()

    def say(node: str, at_s: float) -> Neighbour | Departure | Disbelief:
        message = summary(topics=m.Topics(node), at_s=at_s)
        return net.receive(message.topic, message.payload, at_s, at_s)

    assert isinstance(say("honest", NOON_S), Neighbour)
    answers = [say(f"node{i:04d}", NOON_S + i) for i in range(MAX_NODES + 50)]
    assert answers[-1] == Disbelief("there are more neighbours than are listened to")
    assert sum(isinstance(answer, Neighbour) for answer in answers) == MAX_NODES - 1
    assert isinstance(say("honest", NOON_S + 300), Neighbour)
    assert isinstance(say("late", NOON_S + 901), Neighbour)
    assert len(net.fresh("6m", NOON_S + 300)) == MAX_NODES


@pytest.mark.parametrize(
    "build", [lambda: net_filters("6m", "nowhere", 300.0), lambda: Neighbours("n", "", ["6m"], 300.0)]
)
def test_what_is_no_locator_is_refused(build: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match="locator"):
        build()
