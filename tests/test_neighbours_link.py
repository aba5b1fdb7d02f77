"""Neighbours over a real broker: two daemons, and one node among honest, lying and flooding others."""

import json
import logging
import math
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from broker import Listener, RealBroker, TlsFiles
from nights import HOME, LOCAL, SOUTH_WEST, calling, lines, seconds
from running import Subscriber, daemon, eventually
from test_broker_link import certificates  # noqa: F401 - a fixture
from wire_samples import open_bulletin, quiet_bulletin

from sentinel.config import parse
from sentinel.event_clock import EventClock
from sentinel.live_watch import LiveWatch
from sentinel.neighbours_output import NET_BURST, Allowance, NeighboursOutput, Word
from sentinel.output import News
from sentinel.outputs import mqtt_messages as m
from sentinel.outputs import wire
from sentinel.outputs.broker_link import BrokerLink
from sentinel.outputs.net_share import EVERY_S, LEAST_GAP_S, Sharing
from sentinel.watch.bulletin import Bulletin, State
from sentinel.watch.decode import Decode
from sentinel.watch.neighbours import NeighbourHeard, NeighbourReport
from sentinel.watch.settings import WatchSettings
from sentinel.wiring import broker_settings

SHARED_ACL = Path(__file__).parents[1] / "config" / "mosquitto-shared.acl"
START_S = seconds("2026-06-14T20:00:00")
A, B = "7f3a9c01d2e4", "0123456789ab"
OWN_TOPIC = f"sentinel/v1/net/6m/FN/FN84/{A}"
EVENT_S = 1_000_000.0  # event time may be any: only ages are taken from the wall clock
FEED = {
    "topic": "spots/#",
    "call": "/call",
    "locator": "/loc",
    "receiver": "/by",
    "receiver_locator": "/by_loc",
    "frequency": "/mhz",
}
SPOT = {"call": "W4QAA", "loc": "EM83", "by": "VE1QBB", "by_loc": "FN84cd", "mhz": 50.313}


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[RealBroker]:
    with RealBroker(tmp_path) as running:
        yield running


@contextmanager
def node(folder: Path, broker: RealBroker, name: str = A, **keys: Any) -> Iterator[NeighboursOutput]:
    """One node's link, which listens."""
    table = {"station": {"locator": HOME}, "neighbours": {"port": broker.port, **keys}}
    output = NeighboursOutput(parse(table, folder / "sentinel.toml"), name)
    try:
        assert output.wait_connected(10)
        broker.wait_for_log(f"Sending SUBACK to sentnet-{name}")
        yield output
    finally:
        output.stop()


def words(output: NeighboursOutput, count: int, band: str | None = None) -> list[Word]:
    """The first words that come, so many, by default of the main band."""
    found: list[Word] = []

    def enough() -> bool:
        found.extend(output.words(EVENT_S, band))
        return len(found) >= count

    eventually(enough, f"{count} words")
    return found


def last_word(output: NeighboursOutput) -> NeighbourReport:
    """The next word of a node that does not only say that it has nothing to say yet."""
    while True:
        for word in words(output, 1):
            if isinstance(word, NeighbourReport) and word.state is not State.BLIND:
                return word


def summary(
    name: str, bulletin: Bulletin | None = None, age_s: float = 0.0, square: str = "FN84"
) -> m.MqttMessage:
    envelope = wire.Envelope(time.time() - age_s, "b00t", 1)
    return m.net_message(m.Topics(name), bulletin or open_bulletin(), square, envelope)


def say(listener: Listener, message: m.MqttMessage) -> None:
    listener.publish(message.topic, message.payload, retain=message.is_retained)


# --- two daemons --------------------------------------------------------------------------------------


def test_what_one_daemon_hears_makes_another_stir_and_say_why(broker: RealBroker, tmp_path: Path) -> None:
    extra = f'[neighbours]\nhost = "127.0.0.1"\nport = {broker.port}\n'
    hears, deaf = tmp_path / "hears", tmp_path / "deaf"
    now_s = math.floor(time.time())
    opening = lines(one for station in SOUTH_WEST for one in calling(station, now_s - 300, now_s))
    for folder, heard in ((hears, opening), (deaf, lines(calling(LOCAL, now_s - 300, now_s)))):
        folder.mkdir()
        (folder / "decodes.log").write_text("\n".join(heard) + "\n", "ascii")
    with (
        Subscriber(broker) as subscriber,
        daemon(deaf, broker.port, extra) as second,
        daemon(hears, None, extra) as first,
    ):
        told = subscriber.wait_for_state("stirring", second.log)
        assert told["because"] == (
            "Neighbours: 1 of 1 within 300 km is open to the south-west; you hear nothing."
        )
        assert (told["far_stations"], told["headings"], told["openings"]) == (0, [], [])
        parts = {part["name"]: part for part in told["parts"]}
        assert parts["neighbours"]["well"] is True
        first.stop(signal.SIGTERM)
        net = f"sentinel/v1/net/6m/FN/FN84/{(first.state / 'node-id').read_text('ascii').strip()}"
        eventually(lambda: subscriber.payloads(net)[-1][1] == b"", "an end to the summary of who has gone")
        assert subscriber.payloads(net)[-2][1]
        summaries = [payload for topic, payload in subscriber.payloads() if "/net/" in topic and payload]
        second.stop(signal.SIGTERM)
    assert {json.loads(payload)["state"] for payload in summaries} == {"open", "quiet"}
    assert max(map(len, summaries)) <= 512
    assert not any(call.encode() in payload for payload in summaries for call, _ in (LOCAL, *SOUTH_WEST))
    for running in (first, second):
        assert "Traceback" not in running.log.read_text("utf-8")


# --- one node among others ----------------------------------------------------------------------------


def test_summaries_of_within_reach_arrive_also_those_said_before_with_their_age(
    broker: RealBroker, tmp_path: Path
) -> None:
    with Listener(broker) as others:
        say(others, summary("before", age_s=300))
        say(others, summary("far-away", square="IO91"))
        with node(tmp_path, broker) as output:
            [before] = words(output, 1)
            say(others, summary("later", quiet_bulletin()))
            [later] = words(output, 1)
            assert [part.note.split(", ")[1] for part in output.parts()] == ["2 nodes within 300 km"]
    assert isinstance(before, NeighbourReport)
    assert isinstance(later, NeighbourReport)
    assert (before.node, before.state, before.locator, before.bearing_deg) == (
        "before", State.OPEN, "FN84", 95.2,
    )  # fmt: skip
    assert before.at_s == later.at_s == EVENT_S
    assert EVENT_S - before.said_at_s == pytest.approx(300, abs=20)
    assert EVENT_S - later.said_at_s == pytest.approx(0, abs=20)
    assert (later.node, later.state, later.bearing_deg) == ("later", State.QUIET, None)


def test_who_leaves_has_no_vote_any_more(broker: RealBroker, tmp_path: Path) -> None:
    with Listener(broker) as others, node(tmp_path, broker) as output:
        say(others, summary("b"))
        words(output, 1)
        say(others, m.net_removal_message(m.Topics("b"), "6m", "FN84"))
        [gone] = words(output, 1)
    assert isinstance(gone, NeighbourReport)
    assert (gone.node, gone.state) == ("b", State.BLIND)


def test_lies_are_refused_and_told_and_the_truth_beside_them_is_heard(
    broker: RealBroker, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    honest = summary("honest")
    with Listener(broker) as others, node(tmp_path, broker) as output:
        for lie in (
            replace(honest, payload=b"\x1b[2J" * 200),
            replace(honest, payload=b"{}"),
            replace(honest, payload=honest.payload.replace(b'"FN84"', b'"IO91"')),
            replace(summary("old", age_s=1000)),
            replace(honest, topic=honest.topic + "/x"),
        ):
            say(others, lie)
        say(others, honest)
        [word] = words(output, 1)
        [part] = output.parts()
    assert isinstance(word, NeighbourReport)
    assert word.node == "honest"
    assert "4 messages not believed (" in part.note  # the fifth topic is none that it asked for
    assert "is not believed: it does not fit the schema" in caplog.text
    assert "\x1b" not in caplog.text


def test_a_flood_is_dropped_unread_and_fills_nothing(broker: RealBroker, tmp_path: Path) -> None:
    count = int(NET_BURST) + 700
    with Listener(broker, "nothing") as others, node(tmp_path, broker) as output:
        message = summary("flood")
        for _ in range(count):
            others._client.publish(message.topic, b"x", 0)
        others.ask()

        def unread() -> int:
            [part] = output.parts()
            told = part.note.rpartition("km, ")[2]
            return int(told.split()[0]) if told[:1].isdigit() else 0

        eventually(lambda: unread() >= count - 5, "the whole flood")
        [part] = output.parts()
        assert "there are too many of them" in part.note
        assert output.words(EVENT_S) == []


def test_an_allowance_takes_a_burst_then_so_many_a_second() -> None:
    allowance = Allowance(10.0, 100.0)
    assert sum(allowance.takes(0.0) for _ in range(500)) == 100
    assert sum(allowance.takes(i / 100) for i in range(1000)) == pytest.approx(100, abs=1)
    assert allowance.refused == pytest.approx(1300, abs=1)


def test_each_band_has_neighbours_and_summaries_of_its_own(broker: RealBroker, tmp_path: Path) -> None:
    table = {
        "station": {"locator": HOME}, "band": {"also": ["10m"]}, "neighbours": {"port": broker.port},
    }  # fmt: skip
    ours = [f"sentinel/v1/net/{band}/FN/FN84/{A}" for band in ("6m", "10m")]
    on_ten = replace(open_bulletin(), band="10m")
    with Listener(broker) as others:
        output = NeighboursOutput(parse(table, tmp_path / "sentinel.toml"), A)
        try:
            assert output.wait_connected(10)
            say(others, summary("b", on_ten))
            say(others, summary("b", quiet_bulletin()))
            heard = {band: words(output, 1, band) for band in ("10m", "6m")}
            output.take(News(on_ten, 0.0))
            output.take(News(quiet_bulletin(), 0.0))
            eventually(
                lambda: all(others.payloads(each) and others.payloads(each)[-1][1] for each in ours), "both"
            )
            assert [json.loads(others.payloads(each)[-1][1])["state"] for each in ours] == ["quiet", "open"]
            assert output.parts()[0].note.split(", ")[1] == "1 node within 300 km"
        finally:
            output.stop()
        eventually(lambda: all(others.payloads(each)[-1][1] == b"" for each in ours), "both taken back")
    told = {
        band: (word.node, word.state) for band, [word] in heard.items() if isinstance(word, NeighbourReport)
    }
    assert told == {"10m": ("b", State.OPEN), "6m": ("b", State.QUIET)}


# --- what a node says ---------------------------------------------------------------------------------


def test_a_node_says_its_square_and_nothing_finer_and_takes_it_back_when_it_goes(
    broker: RealBroker, tmp_path: Path
) -> None:
    with Listener(broker) as others:
        with node(tmp_path, broker) as output:
            output.take(News(open_bulletin(), 0.0))
            told = others.wait_for(OWN_TOPIC)
            while not told.payload:  # first of all, what an earlier run may have left is taken back
                others.heard.remove(told)
                told = others.wait_for(OWN_TOPIC)
            assert json.loads(told.payload)["state"] == "open"
            assert (told.retain, told.qos) == (True, 1)
            assert 890 <= told.properties.MessageExpiryInterval <= 900
            others.heard.clear()
            assert output.words(EVENT_S) == []  # its own word is none of a neighbour
        assert others.wait_for(OWN_TOPIC, b"").retain
    with Listener(broker) as later:
        later.ask()
        assert later.payloads() == []


def test_a_node_that_only_listens_says_nothing(broker: RealBroker, tmp_path: Path) -> None:
    with Listener(broker) as others:
        with node(tmp_path, broker, share=False) as output:
            output.take(News(open_bulletin(), 0.0))
            say(others, summary("b"))
            words(output, 1)
        others.wait_for(OWN_TOPIC, b"")
        assert all(not payload for topic, payload in others.payloads() if topic == OWN_TOPIC)


def test_home_broker_and_shared_broker_may_be_one(broker: RealBroker, tmp_path: Path) -> None:
    table = {"station": {"locator": HOME}, "mqtt": {"port": broker.port}}
    topics = m.Topics(A)
    home = BrokerLink(
        broker_settings(parse(table, tmp_path / "x.toml"), A),
        birth=m.status_message(topics, is_online=True),
        will=m.will_message(topics),
    )
    home.start()
    try:
        with Listener(broker) as others, node(tmp_path, broker) as output:
            assert home.wait_connected(10)
            output.take(News(open_bulletin(), 0.0))
            others.wait_for(OWN_TOPIC)
            others.ask()
            assert home.health().is_connected
            assert output.parts()[0].is_well
        assert others.payloads(topics.status) == [(topics.status, b"online")]
    finally:
        home.stop()


def sharing(jitter: float = 0.0) -> Callable[[Bulletin, float], bool]:
    shared = Sharing(m.Topics(A), HOME, lambda: wire.Envelope(0.0, "b00t", 1), lambda: jitter)
    return lambda bulletin, now_s: shared.due(bulletin, now_s) is not None


def test_a_change_is_said_at_once_but_not_twice_a_minute_and_all_is_said_every_five() -> None:
    is_due = sharing()
    assert is_due(quiet_bulletin(), 0.0)
    assert not is_due(quiet_bulletin(), EVERY_S - 1)
    assert is_due(quiet_bulletin(), EVERY_S)
    assert not is_due(open_bulletin(), EVERY_S + LEAST_GAP_S - 1)
    assert is_due(open_bulletin(), EVERY_S + LEAST_GAP_S)
    turned = replace(
        open_bulletin(), headings=tuple(replace(h, bearing_deg=200.0) for h in open_bulletin().headings)
    )
    more = replace(open_bulletin(), far_stations=17)
    assert not is_due(more, EVERY_S + 2 * LEAST_GAP_S)  # a number alone is no news
    assert is_due(turned, EVERY_S + 2 * LEAST_GAP_S)


def test_nodes_that_begin_together_do_not_go_on_in_step() -> None:
    for jitter, due_s in ((-1.0, 0.9 * EVERY_S), (1.0, 1.1 * EVERY_S)):
        is_due = sharing(jitter)
        assert is_due(quiet_bulletin(), 0.0)
        assert not is_due(quiet_bulletin(), due_s - 1)
        assert is_due(quiet_bulletin(), due_s + 1)


def test_an_opening_that_is_silent_for_the_moment_leaves_the_last_word_standing() -> None:
    is_due = sharing()
    assert is_due(open_bulletin(), 0.0)
    assert not is_due(replace(open_bulletin(), headings=(), far_stations=0), 10 * EVERY_S)


# --- feeds ----------------------------------------------------------------------------------------------


def test_a_feeds_report_is_a_neighbours_hearing_and_what_does_not_fit_is_logged_by_its_shape(
    broker: RealBroker, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.WARNING)
    with Listener(broker) as others, node(tmp_path, broker, feed=[FEED]) as output:
        feed = output.parts()[1]
        assert (feed.name, feed.is_well) == ("feed 1", None)
        for payload in (b"[7]", json.dumps({**SPOT, "mhz": {"secret": "value"}}).encode()):
            others.publish("spots/6m/x", payload)
        eventually(lambda: "2 not mapped" in output.parts()[1].note, "the faults")
        assert output.parts()[1].is_well is False
        others.publish("spots/6m/x", json.dumps(SPOT).encode())
        [word] = words(output, 1)
        assert output.parts()[1].is_well is True
    assert isinstance(word, NeighbourHeard)
    assert (word.at_s, word.receiver, word.call) == (EVENT_S, "VE1QBB", "W4QAA")
    assert (
        '[[neighbours.feed]] 1 frequency = "/mhz" leads to an object and not to a number; the message is '
        '{"call": text, "loc": text, "by": text, "by_loc": text, "mhz": {"secret": text}}'
    ) in caplog.text
    assert "value" not in caplog.text


# --- rights and encryption ------------------------------------------------------------------------------


def test_over_tls_with_its_own_login_a_node_speaks_and_listens_and_may_do_no_more(
    tmp_path: Path,
    certificates: Path,  # noqa: F811
    caplog: pytest.LogCaptureFixture,
) -> None:
    (tmp_path / "secret").write_text("hunter2\n", "ascii")
    files = TlsFiles(certificates / "authority.pem", certificates / "good.pem", certificates / "good.key")
    users, acl = {A: "hunter2", B: "other"}, SHARED_ACL.read_text("utf-8")
    own = {"tls": True, "ca": str(files.ca), "user": A, "password_file": "secret"}
    other = {**own, "user": B, "password_file": "other"}
    (tmp_path / "other").write_text("other\n", "ascii")
    with (
        RealBroker(tmp_path, users=users, acl=acl, tls=files) as broker,
        node(tmp_path, broker, **own) as output,
        node(tmp_path, broker, B, **other) as neighbour,
    ):
        output.take(News(open_bulletin(), 0.0))
        neighbour.take(News(quiet_bulletin(), 0.0))
        word, answer = last_word(neighbour), last_word(output)
    assert (word.node, word.state) == (A, State.OPEN)
    assert (answer.node, answer.state) == (B, State.QUIET)
    assert "Denied" not in "".join(broker.log)
    assert "hunter2" not in caplog.text + "".join(broker.log)


def test_a_broker_with_the_wrong_certificate_gets_nothing_and_the_sentence_names_the_table(
    tmp_path: Path,
    certificates: Path,  # noqa: F811
) -> None:
    files = TlsFiles(certificates / "authority.pem", certificates / "good.pem", certificates / "good.key")
    table = {"tls": True, "ca": str(certificates / "stranger.pem")}
    with RealBroker(tmp_path, tls=files) as broker:
        config = parse(
            {"station": {"locator": HOME}, "neighbours": {"port": broker.port, **table}}, tmp_path / "x.toml"
        )
        output = NeighboursOutput(config, A)
        try:
            eventually(lambda: "neighbours.ca" in output.parts()[0].note, "the reason")
            assert output.parts()[0].is_well is False
        finally:
            output.stop()
        assert not any("New client connected" in line for line in broker.log)


# --- the watch as it lives ------------------------------------------------------------------------------


def test_what_neighbours_said_outlives_a_core_that_begins_again() -> None:
    live = LiveWatch(WatchSettings(HOME), EventClock(START_S, 0.0))
    for second in range(0, 60, 15):
        live.feed(Decode(START_S + second, f"CQ {LOCAL[0]} {LOCAL[1][:4]}", -5.0, 0.1), True, float(second))
    live.let_pass(START_S + 60)
    assert live.bulletin().state is State.QUIET
    for name in ("a", "b"):
        live.hear_of(NeighbourReport(START_S + 61, name, "FN84", State.OPEN, START_S + 61, 230.0))
    live.let_pass(START_S + 65)
    assert live.bulletin().state is State.STIRRING
    live.learn_log({}, frozenset(), frozenset())
    changes = live.let_pass(START_S + 70)
    assert live.bulletin().state is State.STIRRING
    assert "2 of 2 within 300 km" in live.bulletin().because
    assert changes == []


def test_a_link_leaves_no_thread_behind(broker: RealBroker, tmp_path: Path) -> None:
    before = set(threading.enumerate())
    with node(tmp_path, broker):
        pass
    assert set(threading.enumerate()) <= before
