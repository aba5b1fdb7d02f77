"""The demo's subscriber: an ordinary MQTT client that sees only what the broker delivers."""

import json
import threading
from collections.abc import Callable
from types import TracebackType
from typing import Any, Self

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from sentinel.errors import RunError

CONNECT_PATIENCE_S = 10.0
EXPECTED = ("quiet", "stirring", "open", "quiet")


class Subscriber:
    """Collects bulletins and events, and tells ``say`` a line for each change of state and each event."""

    def __init__(self, port: int, say: Callable[[str], None]) -> None:
        self._port = port
        self._say = say
        self._states: list[str] = []
        self._events: list[str] = []
        self._messages = 0
        self._is_subscribed = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, "demo-subscriber", protocol=mqtt.MQTTv311)
        self._client.on_connect = lambda client, *_rest: client.subscribe("sentinel/v1/#", 1)
        self._client.on_subscribe = lambda *_rest: self._is_subscribed.set()
        self._client.on_message = self._received

    def __enter__(self) -> Self:
        self._client.connect_async("127.0.0.1", self._port)
        self._client.loop_start()
        if not self._is_subscribed.wait(CONNECT_PATIENCE_S):
            raise RunError("the demo's subscriber could not reach the demo's broker")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _received(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        self._messages += 1
        level = message.topic.split("/")[-1]
        if level not in ("state", "event"):
            return
        payload = json.loads(message.payload)
        if level == "event":
            self._events.append(payload["event_type"])
            self._say(f"{payload['at'][11:16]} event: {payload['sentence']}")
        elif not self._states or payload["state"] != self._states[-1]:
            self._states.append(payload["state"])
            self._say(f"{payload['at'][11:16]} state: {payload['state']}. {payload['because']}")

    def has_seen_all(self) -> bool:
        """Whether the evening went through quiet, stirring, open and back, in this order."""
        wanted = iter(self._states)
        return all(state in wanted for state in EXPECTED)

    def summary(self) -> str:
        """One line about what arrived."""
        return (
            f"The subscriber received {self._messages} messages over MQTT: "
            f"{' > '.join(self._states)}; {self._events.count('opening-began')} opening began, "
            f"{self._events.count('opening-ended')} ended."
        )
