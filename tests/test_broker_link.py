"""The link against a real broker, against one that speaks only 3.1.1, and against scripted misbehaviour."""

import logging
import os
import shutil
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from broker import Listener, RealBroker, TlsFiles, free_port
from scripted_broker import (
    CONNACK_V5,
    CONNACK_V311,
    REFUSED_BY_V5_BROKER,
    REFUSED_BY_V311_BROKER,
    ScriptedBroker,
)

from sentinel.errors import ConfigError
from sentinel.outputs import mqtt_messages as m
from sentinel.outputs.broker_link import (
    BrokerLink,
    BrokerSettings,
    Patience,
    Protocol,
    Received,
    Subscription,
)
from sentinel.outputs.broker_settings import connect_fault, refusal_fault
from sentinel.outputs.discovery import HUB_BIRTH, discovery_message

TOPICS = m.Topics("7f3a9c01d2e4")
EAGER = Patience(first_delay_s=0.05, answer_s=0.3, farewell_s=0.3)
STATE = TOPICS.state("6m")
EVENT = TOPICS.event("6m")


def settings_for(broker: RealBroker | ScriptedBroker, **changes: object) -> BrokerSettings:
    return BrokerSettings(**{"host": broker.host, "port": broker.port, "node": TOPICS.node, **changes})  # type: ignore[arg-type]


@contextmanager
def running(settings: BrokerSettings, **options: object) -> Iterator[BrokerLink]:
    birth, will = m.status_message(TOPICS, True), m.will_message(TOPICS)
    link = BrokerLink(settings, birth=birth, will=will, **{"patience": EAGER, **options})  # type: ignore[arg-type]
    link.start()
    try:
        yield link
    finally:
        link.stop()


def state(payload: bytes) -> m.MqttMessage:
    return m.MqttMessage(STATE, payload, 1, True, 180)


def event(payload: bytes) -> m.MqttMessage:
    return m.MqttMessage(EVENT, payload, 1, False, 600)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[RealBroker]:
    with RealBroker(tmp_path) as running_broker:
        yield running_broker


# a broker that works


def test_a_connection_begins_with_online_and_messages_keep_their_properties(broker: RealBroker) -> None:
    with Listener(broker) as listener, running(settings_for(broker)) as link:
        assert link.wait_connected(10)
        link.publish(state(b"{}"))
        link.publish(event(b"{}"))
        sent_event, sent_state = listener.wait_for(EVENT), listener.wait_for(STATE)
        assert listener.payloads()[0] == (TOPICS.status, b"online")
        assert (sent_state.qos, sent_state.retain) == (1, True)
        assert (sent_event.qos, sent_event.retain) == (1, False)
        assert 170 <= sent_state.properties.MessageExpiryInterval <= 180
        assert 590 <= sent_event.properties.MessageExpiryInterval <= 600
        assert not hasattr(listener.wait_for(TOPICS.status).properties, "MessageExpiryInterval")
        health = link.health()
    assert (health.is_connected, health.protocol, health.dropped_events) == (True, Protocol.V5, 0)


def test_a_clean_stop_delivers_what_waits_then_offline_and_leaves_no_thread(broker: RealBroker) -> None:
    before = set(threading.enumerate())
    with Listener(broker) as listener:
        others = set(threading.enumerate()) - before
        with running(settings_for(broker)) as link:
            assert link.wait_connected(10)
            for i in range(50):
                link.publish(event(b"%d" % i))
        listener.wait_for(TOPICS.status, b"offline")
        assert [p for _, p in listener.payloads(EVENT)] == [b"%d" % i for i in range(50)]
        assert listener.payloads()[-1] == (TOPICS.status, b"offline")
        assert set(threading.enumerate()) - before <= others
    assert link.health().reason == "stopped"


CRASHES = """
import os, sys
from sentinel.outputs import broker_link, mqtt_messages as m
broker_link.WILL_DELAY_S = 1
topics = m.Topics(sys.argv[2])
link = broker_link.BrokerLink(
    broker_link.BrokerSettings("127.0.0.1", sys.argv[2], port=int(sys.argv[1])),
    birth=m.status_message(topics, True), will=m.will_message(topics),
)
link.start()
assert link.wait_connected(10)
os._exit(1)
"""


def test_after_a_crash_the_broker_says_offline(broker: RealBroker) -> None:
    with Listener(broker) as listener:
        done = subprocess.run(
            [sys.executable, "-c", CRASHES, str(broker.port), TOPICS.node], capture_output=True, text=True
        )
        assert done.returncode == 1, done.stderr
        assert listener.wait_for(TOPICS.status, b"offline").retain


def test_an_outage_keeps_the_latest_state_and_every_event(broker: RealBroker) -> None:
    with running(settings_for(broker)) as link:
        assert link.wait_connected(10)
        broker.stop()
        for i in range(3):
            link.publish(state(b"state %d" % i))
            link.publish(event(b"event %d" % i))
        broker.start()
        with Listener(broker) as listener:
            listener.wait_for(STATE)
            link.publish(event(b"the last"))
            listener.wait_for(EVENT, b"the last")
            assert [p for _, p in listener.payloads(STATE)] == [b"state 2"]
            assert listener.wait_for(TOPICS.status).payload == b"online"


def test_events_handed_in_while_offline_arrive_once_and_in_order(broker: RealBroker) -> None:
    birth, will = m.status_message(TOPICS, True), m.will_message(TOPICS)
    link = BrokerLink(settings_for(broker), birth=birth, will=will, patience=EAGER)
    for i in range(3):
        link.publish(event(b"%d" % i))
    with Listener(broker) as listener:
        link.start()
        assert link.wait_connected(10)
        link.publish(event(b"the last"))
        listener.wait_for(EVENT, b"the last")
        link.stop()
        assert [p for _, p in listener.payloads(EVENT)] == [b"0", b"1", b"2", b"the last"]


def test_a_broker_that_forgot_everything_gets_every_retained_value_again(broker: RealBroker) -> None:
    with running(settings_for(broker)) as link:
        link.publish(state(b"kept"))
        with Listener(broker) as listener:
            listener.wait_for(STATE)
        broker.stop()
        broker.start()
        with Listener(broker) as listener:
            assert listener.wait_for(STATE, b"kept").retain
            assert listener.wait_for(TOPICS.status, b"online").retain


def test_on_connected_is_called_at_every_connection(broker: RealBroker) -> None:
    calls = threading.Semaphore(0)
    with running(settings_for(broker), on_connected=calls.release):
        assert calls.acquire(timeout=10)
        broker.stop()
        broker.start()
        assert calls.acquire(timeout=10)


def test_a_failing_on_connected_does_not_end_the_connection(
    broker: RealBroker, caplog: pytest.LogCaptureFixture
) -> None:
    def fail() -> None:
        raise ZeroDivisionError

    with Listener(broker) as listener, running(settings_for(broker), on_connected=fail) as link:
        link.publish(event(b"x"))
        listener.wait_for(EVENT, b"x")
        assert link.health().is_connected
    assert len(broker_connections(broker)) == 1
    assert "ZeroDivisionError" in caplog.text


def broker_connections(broker: RealBroker) -> list[str]:
    """The link's connections, in the broker's log."""
    return [line for line in broker.log if "New client connected" in line and " as sentinel-" in line]


def test_a_live_command_arrives_and_a_retained_one_does_not_come_at_connection(broker: RealBroker) -> None:
    received: list[Received] = []
    arrived = threading.Semaphore(0)

    def note(message: Received) -> None:
        received.append(message)
        arrived.release()

    with Listener(broker) as other:
        other.publish(TOPICS.command, b"retained before", retain=True)
        subscriptions = [Subscription(TOPICS.command)]
        with running(settings_for(broker), subscriptions=subscriptions, on_received=note) as link:
            assert link.wait_connected(10)
            broker.wait_for_log("Sending SUBACK to sentinel-")
            other.publish(TOPICS.command, b"live")
            other.publish(TOPICS.command, b"live and retained", retain=True)
            assert arrived.acquire(timeout=10)
            assert arrived.acquire(timeout=10)
    assert received == [
        Received(TOPICS.command, b"live", False),
        Received(TOPICS.command, b"live and retained", True),
    ]


def test_a_hub_that_starts_gets_its_description_and_then_the_state_again_twice(broker: RealBroker) -> None:
    quick = Patience(first_delay_s=0.05, hub_s=0.05, farewell_s=0.3)
    description = discovery_message(TOPICS, ["6m"], "0.1.0")
    with Listener(broker) as hub, running(settings_for(broker), hub_birth=HUB_BIRTH, patience=quick) as link:
        link.publish(state(b"{}"))
        link.publish(description)
        broker.wait_for_log("Sending SUBACK to sentinel-")
        hub.wait_for(description.topic)
        hub.publish(HUB_BIRTH.topic, b"offline")
        hub.publish(HUB_BIRTH.topic, HUB_BIRTH.payload)
        hub.wait_for_count(STATE, 3)
        heard = [topic for topic, _ in hub.payloads()]
    again = heard[heard.index(HUB_BIRTH.topic) + 2 :]
    assert again == 2 * [TOPICS.status, description.topic, STATE]


def test_a_failing_callback_does_not_end_the_link(
    broker: RealBroker, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(_received: Received) -> None:
        raise ZeroDivisionError

    subscriptions = [Subscription(TOPICS.command)]
    with (
        Listener(broker) as other,
        running(settings_for(broker), subscriptions=subscriptions, on_received=fail) as link,
    ):
        assert link.wait_connected(10)
        broker.wait_for_log("Sending SUBACK to sentinel-")
        other.publish(TOPICS.command, b"x")
        link.publish(event(b"before"))
        other.wait_for(EVENT, b"before")
        other.publish(TOPICS.command, b"x")
        link.publish(event(b"after"))
        other.wait_for(EVENT, b"after")
    assert "callback" in caplog.text


def test_two_links_with_one_node_id_learn_of_each_other(broker: RealBroker) -> None:
    with running(settings_for(broker)) as first:
        assert first.wait_connected(10)
        with running(settings_for(broker)) as second:
            assert second.wait_connected(10)
            with first._changed:
                suspects = "does another client use this node id?"
                assert first._changed.wait_for(
                    lambda: any(suspects in f"{link._book.health(0).reason}" for link in (first, second)), 10
                )


def await_reason(link: BrokerLink, text: str) -> str:
    """The link's reason, as soon as it contains ``text``."""
    with link._changed:
        link._changed.wait_for(lambda: text in link._book.health(0).reason, 10)
    assert text in link.health().reason
    return link.health().reason


# access


def test_a_wrong_password_is_said_once_and_shown_nowhere(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    with RealBroker(tmp_path, users={"home": "right"}) as broker:
        settings = settings_for(broker, user="home", password="hunter2-wrong")
        with running(settings) as link:
            await_reason(link, "refuses this user or the password")
            assert not link.wait_connected(0.5), "several attempts"
            shown = f"{settings!r} {link.health()!r} {caplog.text} {broker.log}"
    assert "hunter2" not in shown
    warnings = [r for r in caplog.records if r.levelno >= logging.WARNING]
    assert len(warnings) == 1, "one line, however often it was tried"


def test_the_right_password_is_accepted(tmp_path: Path) -> None:
    with (
        RealBroker(tmp_path, users={"home": "right"}) as broker,
        running(settings_for(broker, user="home", password="right")) as link,
    ):
        assert link.wait_connected(10)


def test_a_forbidden_topic_is_said_once_and_the_rest_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    acl = f"user home\ntopic readwrite {TOPICS.status}\ntopic readwrite {EVENT}\n"
    with RealBroker(tmp_path, users={"home": "right"}, acl=acl) as broker:
        login = {"user": "home", "password": "right"}
        with Listener(broker, **login) as listener, running(settings_for(broker, **login)) as link:
            for i in range(3):
                link.publish(state(b"%d" % i))
                link.publish(event(b"%d" % i))
                listener.wait_for(EVENT, b"%d" % i)
    forbidden = [r for r in caplog.records if "forbids publishing" in r.message]
    assert len(forbidden) == 1
    assert STATE in forbidden[0].message


# absence and misbehaviour


def test_nothing_listening_is_said_and_publishing_goes_on() -> None:
    settings = BrokerSettings("127.0.0.1", TOPICS.node, port=free_port())
    with running(settings) as link:
        for i in range(150):
            link.publish(event(b"%d" % i))
        assert "nothing listens on 127.0.0.1" in await_reason(link, "nothing listens")
        assert not link.wait_connected(0)
        assert link.health().dropped_events == 50


def test_a_host_name_that_cannot_be_one_is_a_reason_like_any_other() -> None:
    with running(BrokerSettings("bad..name", TOPICS.node)) as link:
        await_reason(link, "'bad..name' cannot be used")


def answer_by_level(v5: bytes, v311: bytes) -> object:
    def answer(connection: socket.socket, level: int) -> None:
        connection.sendall(v5 if level == 5 else v311)
        if level == 5:
            connection.close()

    return answer


@pytest.mark.parametrize("v5_answer", [REFUSED_BY_V5_BROKER, REFUSED_BY_V311_BROKER, b""])
def test_a_broker_that_refuses_mqtt_5_or_closes_on_it_gets_3_1_1(v5_answer: bytes) -> None:
    with ScriptedBroker(answer_by_level(v5_answer, CONNACK_V311)) as broker:  # type: ignore[arg-type]
        with running(settings_for(broker)) as link:
            assert link.wait_connected(10)
            assert link.health().protocol is Protocol.V311
        assert broker.levels == [5, 4]


def test_a_broker_that_never_answers_mqtt_5_gets_3_1_1() -> None:
    def answer(connection: socket.socket, level: int) -> None:
        if level == 4:
            connection.sendall(CONNACK_V311)

    with ScriptedBroker(answer) as broker, running(settings_for(broker)) as link:
        assert link.wait_connected(10)
        assert broker.levels == [5, 4]


def test_a_broker_that_stops_acknowledging_gets_a_new_session_and_the_event_again() -> None:
    packets: list[bytes] = []
    seen_again = threading.Semaphore(0)

    def answer(connection: socket.socket, _level: int) -> None:
        connection.sendall(CONNACK_V5)
        received = b""
        while b"the event" not in received:
            received += connection.recv(4096)
        packets.append(received)
        seen_again.release()

    impatient = Patience(first_delay_s=0.05, ack_s=0.2, farewell_s=0.3)
    with ScriptedBroker(answer) as broker, running(settings_for(broker), patience=impatient) as link:
        link.publish(event(b"the event"))
        assert seen_again.acquire(timeout=10)
        assert seen_again.acquire(timeout=10)
    assert broker.levels[:2] == [5, 5]


@pytest.mark.parametrize("garbage", [b"\xff\xff\xff\xff\xff", b"\x40\x00", b"\x30\x02\x00\xff", b"\xf0\x00"])
def test_what_cannot_be_read_makes_a_new_connection_and_ends_nothing(garbage: bytes) -> None:
    connections = threading.Semaphore(0)

    def answer(connection: socket.socket, _level: int) -> None:
        connection.sendall(CONNACK_V5)
        if len(broker.levels) == 1:
            connection.sendall(garbage)
            connection.close()
        connections.release()

    with ScriptedBroker(answer) as broker, running(settings_for(broker)) as link:
        assert connections.acquire(timeout=10)
        assert connections.acquire(timeout=10)
        assert link.wait_connected(10)


def test_the_demos_broker_which_speaks_only_3_1_1_is_used() -> None:
    """amqtt 0.11 and later takes the start of an MQTT 5 connection for an unfinished one of 3.1.1."""
    with AmqttBroker() as broker, running(settings_for(broker)) as link:  # type: ignore[arg-type]
        assert link.wait_connected(20)
        assert link.health().protocol is Protocol.V311
    told = {"first_protocol": Protocol.V311}
    with AmqttBroker() as broker, running(settings_for(broker), **told) as link:  # type: ignore[arg-type]
        assert link.wait_connected(20)


class AmqttBroker:
    """amqtt in a thread with an event loop of its own."""

    host = "127.0.0.1"

    def __init__(self) -> None:
        self.port = free_port()
        self._up = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> "AmqttBroker":
        self._thread.start()
        assert self._up.wait(20)
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(self._leave.set)
        self._thread.join(20)

    def _run(self) -> None:
        import asyncio

        asyncio.run(self._serve())

    async def _serve(self) -> None:
        import asyncio

        from amqtt.broker import Broker

        self._loop, self._leave = asyncio.get_running_loop(), asyncio.Event()
        listener = {"type": "tcp", "bind": f"{self.host}:{self.port}"}
        anonymous = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}
        broker = Broker({"listeners": {"default": listener}, "plugins": anonymous})
        await broker.start()
        self._up.set()
        await self._leave.wait()
        await broker.shutdown()


# TLS


def openssl(directory: Path, *arguments: str) -> None:
    subprocess.run(["openssl", *arguments], cwd=directory, check=True, capture_output=True)


def make_authority(directory: Path, name: str) -> None:
    openssl(
        directory, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
        "-keyout", f"{name}.key", "-out", f"{name}.pem", "-days", "2", "-subj", f"/CN={name}",
        "-addext", "keyUsage=critical,keyCertSign,cRLSign",
    )  # fmt: skip


def make_certificate(directory: Path, name: str, address: str, days: int) -> None:
    openssl(
        directory, "req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
        "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={name}",
    )  # fmt: skip
    (directory / f"{name}.ext").write_text(
        f"subjectAltName=IP:{address}\nauthorityKeyIdentifier=keyid\n", "ascii"
    )
    openssl(
        directory, "x509", "-req", "-in", f"{name}.csr", "-CA", "authority.pem", "-CAkey", "authority.key",
        "-CAcreateserial", "-out", f"{name}.pem", "-days", str(days), "-extfile", f"{name}.ext",
    )  # fmt: skip


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    if shutil.which("openssl") is None:
        reason = "openssl is not installed (Debian: apt-get install openssl)"
        if os.environ.get("SENTINEL_REQUIRE_BROKER") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    directory = tmp_path_factory.mktemp("tls")
    make_authority(directory, "authority")
    make_authority(directory, "stranger")
    make_certificate(directory, "good", "127.0.0.1", 2)
    make_certificate(directory, "elsewhere", "127.9.9.9", 2)
    make_certificate(directory, "expired", "127.0.0.1", -1)
    return directory


def tls_broker(directory: Path, certificates: Path, name: str) -> RealBroker:
    files = TlsFiles(
        certificates / "authority.pem", certificates / f"{name}.pem", certificates / f"{name}.key"
    )
    return RealBroker(directory, tls=files)


def test_a_trusted_certificate_is_accepted(tmp_path: Path, certificates: Path) -> None:
    authority = str(certificates / "authority.pem")
    with (
        tls_broker(tmp_path, certificates, "good") as broker,
        running(settings_for(broker, tls=True, ca=authority)) as link,
    ):
        assert link.wait_connected(10)


@pytest.mark.parametrize(
    ("certificate", "ca", "reason"),
    [
        ("good", "stranger.pem", "not trusted"),
        ("good", None, "not trusted"),
        ("elsewhere", "authority.pem", "not trusted"),
        ("expired", "authority.pem", "expired"),
    ],
)
def test_a_wrong_certificate_is_refused_with_its_reason_and_nothing_is_sent(
    tmp_path: Path, certificates: Path, certificate: str, ca: str | None, reason: str,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    caplog.set_level(logging.DEBUG)
    with tls_broker(tmp_path, certificates, certificate) as broker:
        settings = settings_for(
            broker, tls=True, ca=ca and str(certificates / ca), user="home", password="hunter2"
        )
        with running(settings) as link:
            sentence = await_reason(link, reason)
            assert not link.wait_connected(0.3)
        assert not any("New client connected" in line for line in broker.log)
    assert "mqtt.ca" in sentence
    assert "hunter2" not in f"{caplog.text} {settings!r} {broker.log}"


def test_a_broker_that_asks_for_a_client_certificate_knows_the_node_by_it(
    tmp_path: Path, certificates: Path
) -> None:
    authority, cert, key = (str(certificates / name) for name in ("authority.pem", "good.pem", "good.key"))
    files = TlsFiles(certificates / "authority.pem", certificates / "good.pem", certificates / "good.key")
    asks = "require_certificate true\nuse_identity_as_username true\n"
    with RealBroker(tmp_path, tls=files, options=asks, acl=f"user good\ntopic write {STATE}\n") as broker:
        known = settings_for(broker, tls=True, ca=authority, cert=cert, key=key)
        with running(known) as link:
            assert link.wait_connected(10)
            link.publish(state(b"{}"))
            broker.wait_for_log(f"'{STATE}'")
        assert any("u'good'" in line for line in broker.log)
        broker.log.clear()
        with running(settings_for(broker, tls=True, ca=authority)) as link:
            broker.wait_for_log("peer did not return a certificate")
            assert not link.wait_connected(0.3)


def test_tls_on_a_plain_port_is_a_reason_and_falls_back_to_nothing(broker: RealBroker) -> None:
    with running(settings_for(broker, tls=True)) as link:
        await_reason(link, "no TLS with")
        assert not link.wait_connected(0.3)
    assert not any("New client connected" in line for line in broker.log)


@pytest.mark.parametrize("key", ["ca", "cert"])
def test_a_tls_file_that_is_none_is_named_with_its_key(tmp_path: Path, key: str) -> None:
    not_pem = tmp_path / "not.pem"
    not_pem.write_text("no certificate", "ascii")
    for path in (str(not_pem), str(tmp_path / "missing.pem")):
        settings = BrokerSettings("127.0.0.1", TOPICS.node, tls=True, **{key: path})  # type: ignore[arg-type]
        with pytest.raises(ConfigError, match=rf"^mqtt\.{key} = '.*{Path(path).name}'.* PEM file"):
            BrokerLink(settings, birth=m.status_message(TOPICS, True), will=m.will_message(TOPICS))


# sentences


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (socket.gaierror(-2, "Name or service not known"), "cannot be found: see mqtt.host"),
        (ConnectionRefusedError(111, "Connection refused"), "nothing listens on broker:1883"),
        (TimeoutError("timed out"), "does not answer"),
        (OSError(101, "Network is unreachable"), "cannot be reached (Network is unreachable)"),
    ],
)
def test_each_failure_to_connect_has_a_sentence(error: OSError, words: str) -> None:
    assert words in connect_fault(error, BrokerSettings("broker", TOPICS.node, password="hunter2"))


def test_each_reason_code_has_a_sentence() -> None:
    settings = BrokerSettings("broker", TOPICS.node)
    assert "mqtt.password_file" in refusal_fault(134, settings)
    assert "reason code 199" in refusal_fault(199, settings)
