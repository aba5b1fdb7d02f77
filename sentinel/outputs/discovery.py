"""Home Assistant's MQTT discovery: one retained message that describes the node and its entities.

Pure. Entities only read what is published anyway (``mqtt_messages``); their value templates turn ``null``
into ``None``, which the hub shows as unknown, and never into an empty text, which it would ignore. The
device form and its rules: Home Assistant's documentation of MQTT discovery; the topic is outside ours.
"""

from collections.abc import Sequence

from sentinel.outputs.link_worker import Received
from sentinel.outputs.mqtt_messages import (
    HEALTH_EXPIRY_S,
    OFFLINE,
    ONLINE,
    STATE_EXPIRY_S,
    MqttMessage,
    Topics,
)
from sentinel.outputs.payloads import EventType
from sentinel.outputs.values import JsonObject, to_json
from sentinel.watch.bulletin import Mode, State

PREFIX = "homeassistant"
# By which the hub says that it has started, in its default configuration.
HUB_BIRTH = Received(f"{PREFIX}/status", b"online", is_retained=False)

_LIVE_HEADINGS = "value_json.headings"
_LIVE_MUFS = (
    "value_json.openings | selectattr('ended_at', 'none') | rejectattr('muf_mhz', 'none')"
    " | map(attribute='muf_mhz') | list"
)
# The recorder drops attributes over 16 KB, so the lists stay on their own topics.
_STATE_ATTRIBUTES = ("because", "since", "previous", "blind_reason", "acknowledged", "headings")


def discovery_topic(topics: Topics) -> str:
    """Where the hub looks for the node's description."""
    return f"{PREFIX}/device/sentinel_{topics.node}/config"


def discovery_message(topics: Topics, bands: Sequence[str], version: str) -> MqttMessage:
    """The node's description. Raises ConfigError for a band that may not stand in a topic."""
    components = _node_components(topics)
    for band in bands:
        components |= _band_components(topics, band, is_alone=len(bands) == 1)
    config = {
        "device": {
            "identifiers": [f"sentinel_{topics.node}"],
            "name": "Sentinel",
            "manufacturer": "Sentinel",
            "model": "Band watch",
            "sw_version": version,
        },
        "origin": {"name": "sentinel", "sw_version": version},
        "availability": [
            {
                "topic": topics.status,
                "payload_available": ONLINE.decode(),
                "payload_not_available": OFFLINE.decode(),
            }
        ],
        "qos": 1,
        "components": components,
    }
    return MqttMessage(discovery_topic(topics), to_json(config).encode("ascii"), 1, True, None)


def removal_message(topics: Topics) -> MqttMessage:
    """Takes the node and its entities out of the hub."""
    return MqttMessage(discovery_topic(topics), b"", 1, True, None)


def _band_components(topics: Topics, band: str, is_alone: bool) -> JsonObject:
    """The entities of one band, by a key that never changes: the hub's history hangs on ``unique_id``."""
    slug = band.replace(".", "_").replace("-", "_")
    entities = {
        "state": _state(topics, band, None if is_alone else band),
        "far_stations": _reading(topics, band, "far stations", "{{ value_json.far_stations }}")
        | {"icon": "mdi:account-multiple", "state_class": "measurement", "unit_of_measurement": "stations"},
        "bearing": _reading(
            topics, band, "bearing", _when(_LIVE_HEADINGS, f"{_LIVE_HEADINGS}[0].bearing_deg")
        )
        | {"icon": "mdi:compass", "state_class": "measurement_angle", "unit_of_measurement": "°"},
        "nearest": _distance(topics, band, "nearest", "nearest_km", "min"),
        "farthest": _distance(topics, band, "farthest", "farthest_km", "max"),
        "mode": _reading(topics, band, "mode", "{{ value_json.mode }}")
        | {"icon": "mdi:waveform", "device_class": "enum", "options": [m.value for m in Mode]},
        "muf": _reading(
            topics, band, "highest usable frequency", _when(f"({_LIVE_MUFS})", f"{_LIVE_MUFS} | max")
        )
        | {"device_class": "frequency", "state_class": "measurement", "unit_of_measurement": "MHz"},
        "clock_error": _diagnostic(topics, band, "clock error", "clock_error_s"),
        "decoder_age": _diagnostic(topics, band, "age of the last decode", "decoder_age_s"),
        "blind": _blind(topics, band),
        "event": _event(topics, band),
        "acknowledge": _acknowledge(topics, band),
    }
    return {f"{slug}_{key}": _named(topics, f"{slug}_{key}", entity) for key, entity in entities.items()}


def _node_components(topics: Topics) -> JsonObject:
    entities = {
        "problem": {
            "platform": "binary_sensor",
            "name": "problem",
            "device_class": "problem",
            "entity_category": "diagnostic",
            "state_topic": topics.health,
            "value_template": "{{ 'OFF' if value_json.well else 'ON' }}",
            "json_attributes_topic": topics.health,
            "json_attributes_template": _attributes(["problem", "parts", "version"]),
            "expire_after": HEALTH_EXPIRY_S,
        },
        "mute": {
            "platform": "switch",
            "name": "mute",
            "icon": "mdi:bell-off",
            "state_topic": topics.health,
            "value_template": "{{ 'ON' if value_json.muted else 'OFF' }}",
            "state_on": "ON",
            "state_off": "OFF",
            "command_topic": topics.command,
            "payload_on": to_json({"command": "mute"}),
            "payload_off": to_json({"command": "unmute"}),
            "optimistic": False,
            "retain": False,
        },
    }
    return {key: _named(topics, key, entity) for key, entity in entities.items()}


def _named(topics: Topics, key: str, entity: JsonObject) -> JsonObject:
    return entity | {
        "unique_id": f"sentinel_{topics.node}_{key}",
        "default_entity_id": f"{entity['platform']}.sentinel_{key}",
    }


def _reading(topics: Topics, band: str, name: str, template: str) -> JsonObject:
    """A sensor that reads the bulletin."""
    return {
        "platform": "sensor",
        "name": f"{band} {name}",
        "state_topic": topics.state(band),
        "value_template": template,
        "expire_after": STATE_EXPIRY_S,
    }


def _state(topics: Topics, band: str, name: str | None) -> JsonObject:
    return _reading(topics, band, "state", "{{ value_json.state }}") | {
        "name": name,  # None: the main entity takes the device's name
        "icon": "mdi:radio-tower",
        "device_class": "enum",
        "options": [s.value for s in State],
        "json_attributes_topic": topics.state(band),
        "json_attributes_template": _attributes(_STATE_ATTRIBUTES),
    }


def _distance(topics: Topics, band: str, name: str, field: str, best: str) -> JsonObject:
    value = f"{_LIVE_HEADINGS} | map(attribute='{field}') | {best}"
    return _reading(topics, band, f"{name} distance", _when(_LIVE_HEADINGS, value)) | {
        "device_class": "distance",
        "state_class": "measurement",
        "unit_of_measurement": "km",
    }


def _diagnostic(topics: Topics, band: str, name: str, field: str) -> JsonObject:
    return _reading(topics, band, name, f"{{{{ value_json.receiver.{field} }}}}") | {
        "device_class": "duration",
        "state_class": "measurement",
        "unit_of_measurement": "s",
        "entity_category": "diagnostic",
    }


def _blind(topics: Topics, band: str) -> JsonObject:
    return _reading(topics, band, "blind", "{{ 'ON' if value_json.state == 'blind' else 'OFF' }}") | {
        "platform": "binary_sensor",
        "device_class": "problem",
        "entity_category": "diagnostic",
    }


def _event(topics: Topics, band: str) -> JsonObject:
    return {
        "platform": "event",
        "name": f"{band} event",
        "icon": "mdi:bell-ring",
        "state_topic": topics.event(band),
        "event_types": [e.value for e in EventType],
    }


def _acknowledge(topics: Topics, band: str) -> JsonObject:
    return {
        "platform": "button",
        "name": f"acknowledge {band}",
        "icon": "mdi:check",
        "command_topic": topics.command,
        "payload_press": to_json({"command": "acknowledge", "band": band}),
        "retain": False,
    }


def _when(condition: str, value: str) -> str:
    return f"{{{{ ({value}) if {condition} else None }}}}"


def _attributes(fields: Sequence[str]) -> str:
    pairs = ", ".join(f"'{name}': value_json.{name}" for name in fields)
    return f"{{{{ {{{pairs}}} | tojson }}}}"
