"""What the home-automation hub is told, checked by its own validators where they can be imported.

The hub's validators: the PyPI package homeassistant 2024.3.3 (Python 3.11), about 340 MB, so it is not among
the test dependencies. Without it the rules below stand alone; each names its source.
"""

import importlib
import json
import socket
from dataclasses import replace
from functools import cache
from typing import Any

import jinja2
import pytest
from hypothesis import given, settings
from wire_samples import NOON_S, any_bulletin, blind_bulletin, open_bulletin, opening, quiet_bulletin

from sentinel.outputs import mqtt_messages as m
from sentinel.outputs import wire
from sentinel.outputs.discovery import discovery_message, discovery_topic, removal_message
from sentinel.outputs.mqtt_commands import Command, CommandName, parse_command
from sentinel.watch.bulletin import Bulletin, Mode, Part, State

TOPICS = m.Topics("7f3a9c01d2e4")
MESSAGE = discovery_message(TOPICS, ["6m"], "0.1.0")
CONFIG: dict[str, Any] = json.loads(MESSAGE.payload)
COMPONENTS: dict[str, dict[str, Any]] = CONFIG["components"]
ENVELOPE = wire.Envelope(t_s=NOON_S, boot="b00t", seq=1)
JINJA = jinja2.Environment(undefined=jinja2.StrictUndefined)


def rendered(component: dict[str, Any], payload: dict[str, Any], key: str = "value_template") -> str:
    """As the hub renders it: the parsed payload is ``value_json``."""
    return compiled(component[key]).render(value_json=payload)


@cache
def compiled(template: str) -> jinja2.Template:
    return JINJA.from_string(template)


def shown(bulletin: Bulletin) -> dict[str, str]:
    """What each entity of the band would show."""
    payload = wire.bulletin_payload(bulletin, ENVELOPE)
    return {
        key.removeprefix("6m_"): rendered(component, payload)
        for key, component in COMPONENTS.items()
        if component.get("state_topic") == TOPICS.state("6m")
    }


def test_the_description_is_retained_on_the_hubs_topic() -> None:
    assert MESSAGE.topic == "homeassistant/device/sentinel_7f3a9c01d2e4/config"
    assert (MESSAGE.qos, MESSAGE.is_retained, MESSAGE.expiry_s) == (1, True, None)
    assert MESSAGE.payload.isascii()


def test_an_empty_retained_message_removes_the_node() -> None:
    assert removal_message(TOPICS) == m.MqttMessage(discovery_topic(TOPICS), b"", 1, True, None)


def test_the_open_band_is_shown() -> None:
    assert shown(open_bulletin()) == {
        "state": "open",
        "far_stations": "5",
        "bearing": "95.2",
        "nearest": "812",
        "farthest": "1950",
        "mode": "sporadic-e",
        "muf": "79.9",
        "clock_error": "0.12",
        "decoder_age": "15",
        "blind": "OFF",
    }


@pytest.mark.parametrize(("bulletin", "known"), [(quiet_bulletin(), "0"), (blind_bulletin(), "None")])
def test_what_is_unknown_is_none_which_the_hub_shows_as_unknown(bulletin: Bulletin, known: str) -> None:
    entities = shown(bulletin)
    assert entities.pop("state") == bulletin.state.value
    assert entities.pop("blind") == ("ON" if bulletin.state is State.BLIND else "OFF")
    assert entities.pop("far_stations") == known
    assert set(entities.values()) == {"None"}


def test_the_highest_of_the_living_openings_counts() -> None:
    openings = (
        replace(opening(), muf_mhz=61.0),
        replace(opening(), muf_mhz=99.0, ended_at_s=NOON_S),
        replace(opening(), muf_mhz=None),
        replace(opening(), muf_mhz=72.5),
    )
    assert shown(replace(open_bulletin(), openings=openings))["muf"] == "72.5"


@settings(deadline=None)
@given(any_bulletin())
def test_every_bulletin_gives_every_entity_a_text_that_is_not_empty(bulletin: Bulletin) -> None:
    """An empty text is ignored by the hub (mqtt/sensor.py), so the old value would stay."""
    entities = shown(bulletin)
    assert all(entities.values())
    assert entities["state"] in COMPONENTS["6m_state"]["options"]
    assert entities["mode"] in [*COMPONENTS["6m_mode"]["options"], "None"]


def test_the_state_brings_its_reason_but_not_the_lists() -> None:
    payload = wire.bulletin_payload(open_bulletin(), ENVELOPE)
    attributes = json.loads(rendered(COMPONENTS["6m_state"], payload, "json_attributes_template"))
    assert attributes["because"] == open_bulletin().because
    assert not {"stations", "openings", "notables"} & set(attributes)


def test_health_and_mute_are_read_from_the_health_message() -> None:
    ill = wire.NodeHealth("0.1.0", 1.0, (Part("display", False, "does not answer"),), is_muted=True)
    payload = wire.health_payload(ill, [], ENVELOPE)
    assert rendered(COMPONENTS["problem"], payload) == "ON"
    assert rendered(COMPONENTS["mute"], payload) == "ON"
    attributes = json.loads(rendered(COMPONENTS["problem"], payload, "json_attributes_template"))
    assert attributes["problem"] == "display: does not answer"
    well = wire.health_payload(wire.NodeHealth("0.1.0", 1.0), [], ENVELOPE)
    assert (rendered(COMPONENTS["problem"], well), rendered(COMPONENTS["mute"], well)) == ("OFF", "OFF")


def test_the_buttons_send_commands_that_are_understood() -> None:
    mute, acknowledge = COMPONENTS["mute"], COMPONENTS["6m_acknowledge"]
    assert parse_command(mute["payload_on"].encode()) == Command(None, CommandName.MUTE)
    assert parse_command(mute["payload_off"].encode()) == Command(None, CommandName.UNMUTE)
    assert parse_command(acknowledge["payload_press"].encode()) == Command(
        None, CommandName.ACKNOWLEDGE, band="6m"
    )
    assert mute["command_topic"] == acknowledge["command_topic"] == TOPICS.command
    assert mute["retain"] is acknowledge["retain"] is False


def test_the_event_entity_knows_every_event_that_is_published() -> None:
    kinds = {
        wire.opening_event_payload("6m", "began", opening(), NOON_S, ENVELOPE)["event_type"],
        wire.opening_event_payload("6m", "ended", opening(), NOON_S, ENVELOPE)["event_type"],
        wire.notable_event_payload("6m", open_bulletin().notables[0], ENVELOPE)["event_type"],
    }
    assert kinds == set(COMPONENTS["6m_event"]["event_types"])
    assert COMPONENTS["6m_event"]["state_topic"] == TOPICS.event("6m"), "the one that is not retained"


def test_every_topic_that_is_read_is_one_that_is_published() -> None:
    published = {TOPICS.health, TOPICS.state("6m"), TOPICS.event("6m")}
    for component in COMPONENTS.values():
        for key in ("state_topic", "json_attributes_topic"):
            assert component.get(key, TOPICS.health) in published
    assert CONFIG["availability"][0] == {
        "topic": TOPICS.status,
        "payload_available": m.status_message(TOPICS, True).payload.decode(),
        "payload_not_available": m.will_message(TOPICS).payload.decode(),
    }


def test_a_value_is_forgotten_when_its_message_expires() -> None:
    for key, component in COMPONENTS.items():
        if component["platform"] in ("sensor", "binary_sensor"):
            assert component["expire_after"] == 180, key


def test_identities_are_stable_and_apart_for_each_band() -> None:
    config = json.loads(discovery_message(TOPICS, ["6m", "1.25m"], "0.2.0").payload)["components"]
    assert {k: v["unique_id"] for k, v in COMPONENTS.items()}.items() <= {
        k: v["unique_id"] for k, v in config.items()
    }.items(), "a second band or a new version renames nothing"
    unique = [c["unique_id"] for c in config.values()]
    assert len(set(unique)) == len(unique) == 2 + 2 * 12
    assert unique[0].startswith("sentinel_7f3a9c01d2e4_")


def test_with_several_bands_each_state_tells_its_band() -> None:
    config = json.loads(discovery_message(TOPICS, ["6m", "4m"], "0.2.0").payload)["components"]
    assert [config["6m_state"]["name"], config["4m_state"]["name"]] == ["6m", "4m"]
    assert COMPONENTS["6m_state"]["name"] is None, "the main entity of a node with one band"


# Rules of the device form, from the hub's documentation of MQTT discovery and its mqtt/schemas.py (2025).


def test_the_device_form_is_complete() -> None:
    assert CONFIG["origin"]["name"]
    assert CONFIG["device"]["identifiers"]
    allowed = {"device", "origin", "components", "availability", "qos"}
    assert set(CONFIG) <= allowed
    for key, component in COMPONENTS.items():
        assert component["platform"] in {"sensor", "binary_sensor", "event", "switch", "button"}, key
        assert component["unique_id"], key
        assert component["default_entity_id"].startswith(f"{component['platform']}."), key
        assert component["default_entity_id"].replace(".", "_").replace("_", "a").isalnum(), key


def test_neither_abbreviations_nor_base_topics_are_used() -> None:
    def check(value: object) -> None:
        if isinstance(value, dict):
            assert "~" not in value
            assert "object_id" not in value
            for child in value.values():
                check(child)
        elif isinstance(value, str) and "/" in value:
            assert not value.startswith("~")
            assert not value.endswith("~")

    check(CONFIG)


def test_enumerations_list_all_their_values_and_have_no_unit() -> None:
    """sensor/__init__.py: an enum sensor with a unit or a state class, or a value not listed, raises."""
    for component in COMPONENTS.values():
        if component.get("device_class") == "enum":
            assert not {"unit_of_measurement", "state_class"} & set(component)
    assert set(COMPONENTS["6m_state"]["options"]) == {"quiet", "stirring", "open", "blind"}
    assert set(COMPONENTS["6m_mode"]["options"]) == {mode.value for mode in Mode}


def test_nobody_learns_call_locator_or_host_from_it() -> None:
    text = MESSAGE.payload.decode().lower()
    assert socket.gethostname().lower() not in text or len(socket.gethostname()) < 4
    assert "ve1q" not in text
    assert "fn84" not in text


# The hub's own validators.

HUB = "the hub's package (homeassistant 2024.3.3, Python 3.11, 340 MB) is not installed"


def as_the_hub_merges_it(component: dict[str, Any]) -> dict[str, Any]:
    """mqtt/discovery.py of 2025: device, origin and shared options are merged into every component."""
    shared = {key: CONFIG[key] for key in ("device", "origin", "availability", "qos")}
    return {**shared, **{k: v for k, v in component.items() if k != "platform"}}


@pytest.mark.parametrize("key", COMPONENTS)
def test_the_hubs_validator_accepts_each_entity(key: str) -> None:
    pytest.importorskip("homeassistant", reason=HUB)
    component = dict(COMPONENTS[key])
    # newer than this version of the hub, see the docstring: its own documentation is the source
    if component.get("state_class") == "measurement_angle":
        component["state_class"] = "measurement"
    platform = importlib.import_module(f"homeassistant.components.mqtt.{component['platform']}")
    validated = platform.DISCOVERY_SCHEMA(as_the_hub_merges_it(component))
    ignored = set(as_the_hub_merges_it(component)) - set(validated)
    assert ignored <= {"default_entity_id", "options"}


@pytest.mark.parametrize(
    "key", [k for k, c in COMPONENTS.items() if c["platform"] == "sensor" and "device_class" in c]
)
def test_unit_and_state_class_fit_the_device_class_in_the_hubs_tables(key: str) -> None:
    const = pytest.importorskip("homeassistant.components.sensor.const", reason=HUB)
    component = COMPONENTS[key]
    device_class = const.SensorDeviceClass(component["device_class"])
    units = const.DEVICE_CLASS_UNITS.get(device_class, {None})
    assert component.get("unit_of_measurement") in units
    if "state_class" in component:
        allowed = const.DEVICE_CLASS_STATE_CLASSES[device_class]
        assert const.SensorStateClass(component["state_class"]) in allowed
