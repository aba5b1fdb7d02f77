"""The broker's example files, in a real broker: what each user may do there, and nothing else."""

import json
import re
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import jinja2
import pytest
import yaml
from broker import Listener, RealBroker, password_line
from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from sentinel.outputs import mqtt_messages as m
from sentinel.outputs.broker_link import BrokerLink, BrokerSettings
from sentinel.outputs.discovery import discovery_message

CONFIG = Path(__file__).parents[1] / "config"
A, B = "7f3a9c01d2e4", "0123456789ab"
USERS = ["sentinel", "hub", "reader", A, B, "everything"]
NOT_AUTHORIZED = 135  # OASIS MQTT 5.0, table 3-4


def own(node: str) -> set[str]:
    """What a node says of itself."""
    below = ["status", "health", "6m/state", "6m/stations", "6m/event", "6m/event/last", "cmd/result"]
    return {f"sentinel/v1/{node}/{topic}" for topic in below}


COMMAND_A, COMMAND_B = f"sentinel/v1/{A}/cmd", f"sentinel/v1/{B}/cmd"
ABOUT_A, ABOUT_B = (f"homeassistant/device/sentinel_{node}/config" for node in (A, B))
NET_A, NET_B = (f"sentinel/v1/net/6m/FN/FN84/{node}" for node in (A, B))
HUB_STATUS, OTHER_DEVICE = "homeassistant/status", "homeassistant/light/kitchen/config"
SENTINEL = own(A) | own(B) | {COMMAND_A, COMMAND_B, NET_A, NET_B, "sentinel/v1", f"sentinel/v1/{A}"}
EVERY_TOPIC = sorted(
    SENTINEL
    | {ABOUT_A, ABOUT_B, HUB_STATUS, OTHER_DEVICE, "homeassistant", "kitchen/door", "sentinel/v2/x/status"}
    | {f"sentinel/v1/{A}/x", f"sentinel/v1/{A}/6m/state/x", f"sentinel/v1/{A}/cmd/x"}
)

# user -> what it may publish, what it may read
HOME: dict[str, tuple[set[str], set[str]]] = {
    "sentinel": (
        own(A) | own(B) | {ABOUT_A, ABOUT_B},
        {COMMAND_A, COMMAND_B, HUB_STATUS},
    ),
    "hub": (
        {COMMAND_A, COMMAND_B, ABOUT_A, ABOUT_B, HUB_STATUS, OTHER_DEVICE, "homeassistant"},
        {t for t in EVERY_TOPIC if t.startswith(("sentinel/v1", "homeassistant"))},
    ),
    "reader": (set(), {t for t in EVERY_TOPIC if t.startswith("sentinel/v1")} | {HUB_STATUS}),
    A: (own(A) | {ABOUT_A}, {COMMAND_A, HUB_STATUS}),
    B: (own(B) | {ABOUT_B}, {COMMAND_B, HUB_STATUS}),
}
SHARED: dict[str, tuple[set[str], set[str]]] = {
    A: ({NET_A}, {NET_A, NET_B}),
    B: ({NET_B}, {NET_A, NET_B}),
    "hub": (set(), {NET_A, NET_B}),
}


@contextmanager
def example_broker(directory: Path, rules: str) -> Iterator[RealBroker]:
    """mosquitto with the example configuration: only port, host and paths are changed, and a user added."""
    accounts = directory / "passwords"
    accounts.write_text("".join(password_line(user, f"of {user}") for user in USERS), "utf-8")
    acl = directory / "acl"
    acl.write_text(f"{(CONFIG / rules).read_text('utf-8')}\nuser everything\ntopic readwrite #\n", "utf-8")
    example = (CONFIG / "mosquitto.conf").read_text("utf-8")

    def config(port: int) -> str:
        changed = (
            ("listener 1883\n", f"listener {port} 127.0.0.1\n"),
            ("/etc/mosquitto/sentinel.passwords\nacl", f"{accounts}\nacl"),
            ("/etc/mosquitto/sentinel.acl\n", f"{acl}\n"),
        )
        text = example
        for old, new in changed:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        return f"{text}\nlog_type all\nuser root\n"

    with RealBroker(directory, config=config) as broker:
        yield broker


def allowed_to_publish(broker: RealBroker, user: str) -> set[str]:
    """The topics of EVERY_TOPIC that the broker takes from this user, by its acknowledgements."""
    codes: dict[int, int] = {}
    changed = threading.Condition()

    def note(_client: object, _data: object, mid: int, code: Any, _properties: object) -> None:
        with changed:
            codes[mid] = code.value
            changed.notify_all()

    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.username_pw_set(user, f"of {user}")
    client.on_publish = note
    connected = threading.Event()
    client.on_connect = lambda *_: connected.set()
    client.connect(broker.host, broker.port)
    client.loop_start()
    assert connected.wait(10)
    mids = {client.publish(topic, f"from {user}", 1).mid: topic for topic in EVERY_TOPIC}
    with changed:
        assert changed.wait_for(lambda: len(codes) == len(mids), 10)
    client.disconnect()
    client.loop_stop()
    client.on_publish = client.on_connect = None
    assert set(codes.values()) <= {0, 16, NOT_AUTHORIZED}
    return {topic for mid, topic in mids.items() if codes[mid] != NOT_AUTHORIZED}


def allowed_to_read(broker: RealBroker, user: str) -> set[str]:
    """The topics that reach this user when everything is asked for and everything is said."""
    with (
        Listener(broker, qos=0, user=user, password=f"of {user}") as listener,
        Listener(broker, user="everything", password="of everything") as teller,
    ):
        for topic in EVERY_TOPIC:
            teller.publish(topic, b"said")
        teller.wait_for(EVERY_TOPIC[-1], b"said")
        # What is delivered at QoS 0 waits for nothing, so the answer to a later question comes after it.
        listener.ask()
        return {topic for topic, payload in listener.payloads() if payload == b"said"}


@pytest.mark.parametrize(
    ("rules", "users"), [("mosquitto.acl", HOME), ("mosquitto-shared.acl", SHARED)], ids=["home", "shared"]
)
def test_each_user_may_do_what_its_part_needs_and_nothing_else(
    tmp_path: Path, rules: str, users: dict[str, tuple[set[str], set[str]]]
) -> None:
    with example_broker(tmp_path, rules) as broker:
        for user, (may_publish, may_read) in users.items():
            assert allowed_to_publish(broker, user) == may_publish, user
            assert allowed_to_read(broker, user) == may_read, user


def test_nobody_enters_the_example_broker_without_a_password(tmp_path: Path) -> None:
    with example_broker(tmp_path, "mosquitto.acl") as broker:
        for login in (
            {},
            {"user": A},
            {"user": A, "password": "wrong"},
            {"user": "stranger", "password": ""},
        ):
            settings = BrokerSettings(broker.host, A, port=broker.port, **login)  # type: ignore[arg-type]
            topics = m.Topics(A)
            link = BrokerLink(settings, birth=m.status_message(topics, True), will=m.will_message(topics))
            link.start()
            broker.wait_for_log("not authorised")
            assert not link.wait_connected(0)
            link.stop()
            broker.log.clear()


# The automations for the hub.

AUTOMATIONS = sorted((CONFIG / "home-assistant").glob("*.yaml"))


def test_there_are_three_automations() -> None:
    assert len(AUTOMATIONS) == 3


def texts_in(value: object) -> Iterator[str]:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for child in value:
            yield from texts_in(child)
    elif isinstance(value, str):
        yield value


@pytest.mark.parametrize("path", AUTOMATIONS, ids=lambda p: p.stem)
def test_an_automation_uses_only_entities_that_the_node_describes(path: Path) -> None:
    description = json.loads(discovery_message(m.Topics(A), ["6m"], "0.1.0").payload)
    described = {c["default_entity_id"] for c in description["components"].values()}
    used = {
        name
        for text in texts_in(yaml.safe_load(path.read_text("utf-8")))
        for name in re.findall(r"\b(?:sensor|event|switch|button|binary_sensor)\.sentinel\w+", text)
    }
    assert used
    assert used <= described


def test_the_morning_message_says_state_reason_and_the_last_event() -> None:
    [automation] = yaml.safe_load((CONFIG / "home-assistant" / "morning-summary.yaml").read_text("utf-8"))
    template = jinja2.Environment().from_string(automation["actions"][0]["data"]["message"])

    def said(state: str, **attributes: str) -> str:
        of: Callable[[str, str], str | None] = lambda _entity, name: attributes.get(name)  # noqa: E731
        return template.render(states=lambda _entity: state, state_attr=of)

    assert said("quiet", because="Nothing far in 15 minutes.", sentence="6m has closed.") == (
        "The band is quiet. Nothing far in 15 minutes. Last: 6m has closed."
    )
    assert said("unavailable") == "Sentinel does not answer."


HUB = "the hub's package (homeassistant 2024.3.3, Python 3.11, 340 MB) is not installed"


def in_the_older_words(value: Any) -> Any:
    """The hub renamed these keys in 2024.8 and 2024.10 and takes both; the package checks the older."""
    if isinstance(value, list):
        return [in_the_older_words(child) for child in value]
    if not isinstance(value, dict):
        return value
    renamed = {"triggers": "trigger", "conditions": "condition", "actions": "action"}
    is_call = isinstance(value.get("action"), str)
    out = {}
    for key, child in value.items():
        if key == "trigger" and isinstance(child, str):
            key = "platform"
        elif key == "action" and is_call:
            key = "service"
        elif key in renamed and ("alias" in value):
            key = renamed[key]
        out[key] = in_the_older_words(child)
    return out


@pytest.mark.parametrize("path", AUTOMATIONS, ids=lambda p: p.stem)
def test_the_hubs_validator_accepts_each_automation(path: Path) -> None:
    pytest.importorskip("homeassistant", reason=HUB)
    from homeassistant.helpers import config_validation as cv

    for automation in yaml.safe_load(path.read_text("utf-8")):
        older = in_the_older_words(automation)
        cv.TRIGGER_SCHEMA(older["trigger"])
        cv.CONDITIONS_SCHEMA(older.get("condition", []))
        cv.SCRIPT_SCHEMA(older["action"])
        assert set(older) <= {"id", "alias", "mode", "trigger", "condition", "action"}
