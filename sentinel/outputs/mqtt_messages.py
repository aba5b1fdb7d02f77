"""Every message that may leave over MQTT, as a value: topic, payload, quality of service, retention, expiry.

Pure: ``broker_link`` sends these, it decides nothing about them. Topics are built here and nowhere else,
from a node id and a band name that pass an allow-list; nothing received off the air ever enters one, since a
topic with a NUL or a wildcard in it is accepted by the client library, dropped by the broker and then
retried for ever.
"""

import re
import secrets
from collections.abc import Iterable
from dataclasses import dataclass

from sentinel.errors import ConfigError
from sentinel.outputs import wire
from sentinel.outputs.values import JsonObject, to_json
from sentinel.trade.locator import square_of
from sentinel.watch.bulletin import Bulletin

ROOT = "sentinel/v1"
# Below it stand the summaries of all nodes, so no node may have this id.
NEIGHBOURS = "net"

# Republished every 60 s, so three may be lost before a reader must stop believing the last one.
STATE_EXPIRY_S = 180
HEALTH_EXPIRY_S = 180
STATIONS_EXPIRY_S = 300
# An opening that began ten minutes ago is history: the state says what is now.
EVENT_EXPIRY_S = 600
RESULT_EXPIRY_S = 60
# Sent every 300 s, so two may be lost.
NET_EXPIRY_S = 900
MAX_STATIONS_BYTES = 8192
# A short break of the network is not the end of the daemon.
WILL_DELAY_S = 15

ONLINE, OFFLINE = b"online", b"offline"

_NODE = re.compile(r"[A-Za-z0-9_-]{1,64}")
_BAND = re.compile(r"[a-z0-9][a-z0-9.-]{0,15}")
# About 330 bytes a station: more than this never fit.
_MOST_STATIONS = 48


@dataclass(frozen=True, slots=True)
class MqttMessage:
    """One message. ``expiry_s`` is how long it means anything, None for as long as it is kept."""

    topic: str
    payload: bytes
    qos: int
    is_retained: bool
    expiry_s: int | None


def new_node_id() -> str:
    """A node id for the first start: random, so that a topic names neither operator nor place."""
    return secrets.token_hex(6)


def check_band(band: str) -> str:
    """``band``, if it may stand in a topic. Raises ConfigError."""
    if _BAND.fullmatch(band) is None:
        raise ConfigError(
            f"band.name = {band[:40]!a} cannot be part of an MQTT topic: use a to z, 0 to 9, '.' and '-', "
            "at most 16 characters, such as 6m"
        )
    return band


@dataclass(frozen=True, slots=True)
class Topics:
    """The topics of one node. Raises ConfigError for a node id that may not stand in a topic."""

    node: str

    def __post_init__(self) -> None:
        if _NODE.fullmatch(self.node) is None or self.node == NEIGHBOURS:
            raise ConfigError(
                f"mqtt node id {self.node[:40]!a} cannot be part of an MQTT topic: use letters, digits, "
                f"'_' and '-', at most 64 characters, not {NEIGHBOURS!r}"
            )

    @property
    def status(self) -> str:
        """``online`` or ``offline``."""
        return f"{ROOT}/{self.node}/status"

    @property
    def health(self) -> str:
        """The node's health."""
        return f"{ROOT}/{self.node}/health"

    @property
    def command(self) -> str:
        """Commands to the node."""
        return f"{ROOT}/{self.node}/cmd"

    @property
    def command_result(self) -> str:
        """The node's answers."""
        return f"{ROOT}/{self.node}/cmd/result"

    def state(self, band: str) -> str:
        """The bulletin of a band."""
        return f"{ROOT}/{self.node}/{check_band(band)}/state"

    def stations(self, band: str) -> str:
        """The far stations of a band."""
        return f"{ROOT}/{self.node}/{check_band(band)}/stations"

    def event(self, band: str) -> str:
        """What happens on a band, as it happens."""
        return f"{ROOT}/{self.node}/{check_band(band)}/event"

    def last_event(self, band: str) -> str:
        """What happened last on a band."""
        return f"{ROOT}/{self.node}/{check_band(band)}/event/last"


def status_message(topics: Topics, is_online: bool) -> MqttMessage:
    """The node is there, or has left."""
    return MqttMessage(topics.status, ONLINE if is_online else OFFLINE, 1, True, None)


def will_message(topics: Topics) -> MqttMessage:
    """What the broker says for the node when it is gone without a word, ``WILL_DELAY_S`` later."""
    return status_message(topics, is_online=False)


def state_message(topics: Topics, bulletin: Bulletin, envelope: wire.Envelope) -> MqttMessage:
    """The bulletin."""
    topic = topics.state(bulletin.band)
    payload = _encoded(wire.bulletin_payload(bulletin, envelope))
    return MqttMessage(topic, payload, 1, True, STATE_EXPIRY_S)


def health_message(
    topics: Topics, node: wire.NodeHealth, bulletins: Iterable[Bulletin], envelope: wire.Envelope
) -> MqttMessage:
    """Whether the watch itself is well."""
    payload = _encoded(wire.health_payload(node, bulletins, envelope))
    return MqttMessage(topics.health, payload, 1, True, HEALTH_EXPIRY_S)


def stations_message(topics: Topics, bulletin: Bulletin, envelope: wire.Envelope) -> MqttMessage:
    """The far stations, the last heard first, as many as fit in ``MAX_STATIONS_BYTES``."""
    topic = topics.stations(bulletin.band)
    limit = min(len(bulletin.stations), _MOST_STATIONS)
    payload = _encoded(wire.stations_payload(bulletin, envelope, limit))
    while len(payload) > MAX_STATIONS_BYTES:
        limit = min(limit - 1, limit * MAX_STATIONS_BYTES // len(payload))
        payload = _encoded(wire.stations_payload(bulletin, envelope, limit))
    return MqttMessage(topic, payload, 0, True, STATIONS_EXPIRY_S)


def event_message(topics: Topics, event: JsonObject) -> MqttMessage:
    """An event as it happens; not retained, so that nobody takes yesterday's for news.

    ``event`` is made by ``wire.opening_event_payload`` or ``wire.notable_event_payload``.
    """
    return MqttMessage(topics.event(event["band"]), _encoded(event), 1, False, EVENT_EXPIRY_S)


def event_last_message(topics: Topics, event: JsonObject) -> MqttMessage:
    """The same event, kept for who comes later."""
    return MqttMessage(topics.last_event(event["band"]), _encoded(event), 1, True, None)


def net_message(topics: Topics, bulletin: Bulletin, square: str, envelope: wire.Envelope) -> MqttMessage:
    """The summary for neighbours. ``square`` is the node's four-character square."""
    topic = f"{net_square(bulletin.band, square)}/{topics.node}"
    payload = _encoded(wire.net_summary_payload(bulletin, square_of(square), envelope))
    return MqttMessage(topic, payload, 1, True, NET_EXPIRY_S)


def net_removal_message(topics: Topics, band: str, square: str) -> MqttMessage:
    """Takes the summary back: the node no longer shares, or has moved to another square."""
    return MqttMessage(f"{net_square(band, square)}/{topics.node}", b"", 1, True, None)


def net_square(band: str, square: str) -> str:
    """Where the nodes of one square stand. Raises ConfigError for a band, ValueError for no square."""
    square = square_of(square)
    return f"{ROOT}/{NEIGHBOURS}/{check_band(band)}/{square[:2]}/{square}"


def command_result_message(topics: Topics, result: JsonObject) -> MqttMessage:
    """The answer to a command, made by ``wire.command_result_payload``."""
    return MqttMessage(topics.command_result, _encoded(result), 1, False, RESULT_EXPIRY_S)


def _encoded(payload: JsonObject) -> bytes:
    return to_json(payload).encode("ascii")
