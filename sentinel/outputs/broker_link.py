"""The link to a broker over paho-mqtt, the one file that imports it, with its traps:

- an exception in a callback ends the library's thread while it still claims to be connected, so every
  callback is wrapped, and ``link_book`` watches for acknowledgements that stop coming;
- ``connect`` raises where ``connect_async`` retries; why an attempt failed is not handed on;
- a host name that cannot be encoded raises ValueError, which would end the thread;
- the version of MQTT is fixed at construction, so falling back to 3.1.1 means a new client;
- a message must be acknowledged before ``disconnect``, or it may never have left.
"""

import contextlib
import logging
import threading
from collections.abc import Callable
from typing import Any, cast

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from sentinel.outputs.broker_settings import (
    BrokerSettings,
    connect_fault,
    refusal_fault,
)
from sentinel.outputs.link_book import MAX_DELAY_S, LinkHealth, Patience, Protocol
from sentinel.outputs.link_worker import LinkWorker, Received, Session, Subscription
from sentinel.outputs.mqtt_messages import WILL_DELAY_S, MqttMessage

__all__ = ["BrokerLink", "BrokerSettings", "LinkHealth", "Patience", "Protocol", "Received", "Subscription"]

# Longer than the will delay, or the broker discards the will together with the session.
SESSION_EXPIRY_S = 3600
# The library's thread wakes by itself when there is something to send or read; this only paces its checks
# of the keepalive, and 30 + 5 s is well within the 45 s after which a broker gives a client up.
NETWORK_WAIT_S = 5.0
# Nothing that we read is larger; a broker of MQTT 5 does not even send it.
MAX_RECEIVED_BYTES = 16_384
CLOSE_PATIENCE_S = 7.0

log = logging.getLogger("sentinel.mqtt")

_PAHO_VERSION = {Protocol.V5: mqtt.MQTTv5, Protocol.V311: mqtt.MQTTv311}


class BrokerLink(LinkWorker):
    """The link: see ``LinkWorker``."""

    def new_session(self, protocol: Protocol) -> Session:
        return _PahoSession(self, protocol)


class _Client(mqtt.Client):
    """The library's client, which also tells why it could not connect and why its thread ended."""

    on_thread_died: Callable[[Exception], None] | None = None
    on_opened: Callable[[], None] | None = None
    connect_error: str = ""
    settings: BrokerSettings

    def reconnect(self) -> MQTTErrorCode:
        try:
            code = super().reconnect()
        except OSError as error:
            # Kept as a sentence: the exception would keep its frames alive, and the socket in them.
            self.connect_error = connect_fault(error, self.settings)
            raise
        except ValueError as error:
            self.connect_error = (
                f"the name {self.settings.host!a} cannot be used: see {self.settings.table}.host"
            )
            raise OSError(self.connect_error) from error
        if self.on_opened is not None:
            self.on_opened()
        return code

    def loop_forever(
        self, timeout: float = NETWORK_WAIT_S, retry_first_connection: bool = False
    ) -> MQTTErrorCode:
        try:
            return super().loop_forever(timeout, retry_first_connection)
        except Exception as error:
            log.exception("the MQTT client's thread ended")
            if self.on_thread_died is not None:
                self.on_thread_died(error)
            return MQTTErrorCode.MQTT_ERR_UNKNOWN


class _PahoSession:
    """One client of the library: see ``link_worker.Session``."""

    def __init__(self, link: BrokerLink, protocol: Protocol) -> None:
        self._link = link
        self._is_v5 = protocol is Protocol.V5
        settings = link.settings
        client = self._client = _Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"{settings.client}-{settings.node}",
            protocol=_PAHO_VERSION[protocol],
            clean_session=None if self._is_v5 else True,
        )
        client.settings = settings
        client.suppress_exceptions = True
        client.enable_logger(_library_log())
        if settings.user is not None:
            client.username_pw_set(settings.user, settings.password)
        if link.tls is not None:
            client.tls_set_context(link.tls)
        self._set_delay(link.reconnect_delay_s())
        if link.will is not None:
            self._set_will(link.will)
        self._set_callbacks()

    def start(self) -> None:
        settings = self._link.settings
        properties = None
        if self._is_v5:
            properties = _properties(
                PacketTypes.CONNECT,
                SessionExpiryInterval=SESSION_EXPIRY_S,
                MaximumPacketSize=MAX_RECEIVED_BYTES,
            )
        self._client.connect_async(
            settings.host, settings.port, keepalive=settings.keepalive_s, properties=properties
        )
        self._client.loop_start()

    def publish(self, message: MqttMessage) -> int | None:
        info = self._publish(message)
        return None if info.rc == MQTTErrorCode.MQTT_ERR_QUEUE_SIZE else info.mid

    def publish_last(self, message: MqttMessage, timeout_s: float) -> None:
        with contextlib.suppress(ValueError, RuntimeError):  # the connection was lost just now
            self._publish(message).wait_for_publish(timeout_s)

    def close(self) -> None:
        client = self._client
        client.disconnect()
        # The library's thread may hang in a connection attempt; then it is left to die by itself.
        stopper = threading.Thread(target=_stop_loop, args=(client,), daemon=True)
        stopper.start()
        stopper.join(CLOSE_PATIENCE_S)
        client.on_connect = client.on_connect_fail = client.on_disconnect = None
        client.on_publish = client.on_subscribe = client.on_message = client.on_thread_died = (
            client.on_opened
        ) = None

    def _publish(self, message: MqttMessage) -> mqtt.MQTTMessageInfo:
        properties = None
        if self._is_v5 and message.expiry_s is not None:
            properties = _properties(PacketTypes.PUBLISH, MessageExpiryInterval=message.expiry_s)
        return self._client.publish(
            message.topic, message.payload, message.qos, message.is_retained, properties
        )

    def _set_delay(self, first_delay_s: float) -> None:
        # Annotated as whole seconds, but the library only ever adds and doubles it.
        self._client.reconnect_delay_set(cast(int, first_delay_s), cast(int, MAX_DELAY_S))

    def _set_will(self, will: MqttMessage) -> None:
        properties = None
        if self._is_v5:
            properties = _properties(PacketTypes.WILLMESSAGE, WillDelayInterval=WILL_DELAY_S)
        self._client.will_set(will.topic, will.payload, will.qos, will.is_retained, properties)

    def _set_callbacks(self) -> None:
        link, client = self._link, self._client
        client.on_connect = _wrapped(self._connected)
        client.on_disconnect = _wrapped(self._disconnected)
        client.on_connect_fail = _wrapped(self._connect_failed)
        client.on_subscribe = _wrapped(self._subscribed)
        client.on_publish = _wrapped(
            lambda _client, _data, mid, code, _properties: link.session_acknowledged(self, mid, code.value)
        )
        client.on_message = _wrapped(self._received)
        client.on_opened = lambda: link.session_opened(self)
        client.on_thread_died = lambda error: link.session_died(
            self, f"the broker sent what cannot be read ({type(error).__name__})"
        )

    # callbacks, in the library's thread

    def _connected(
        self, client: mqtt.Client, _data: object, _flags: object, code: ReasonCode, _properties: object
    ) -> None:
        if code.is_failure:
            self._link.session_refused(self, code.value)
            return
        filters = [(s.topic_filter, self._options(s)) for s in self._link.subscriptions]
        if filters:
            client.subscribe(cast(Any, filters))
        self._link.session_connected(self)

    def _options(self, subscription: Subscription) -> SubscribeOptions | int:
        if not self._is_v5:
            return 1
        return SubscribeOptions(
            qos=1,
            retainAsPublished=True,
            retainHandling=(
                SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE
                if subscription.wants_retained
                else SubscribeOptions.RETAIN_DO_NOT_SEND
            ),
        )

    def _disconnected(
        self,
        _client: mqtt.Client,
        _data: object,
        flags: mqtt.DisconnectFlags,
        code: ReasonCode,
        _properties: object,
    ) -> None:
        settings = self._link.settings
        is_told = flags.is_disconnect_packet_from_server and code.is_failure
        reason = refusal_fault(code.value, settings) if is_told else f"lost {settings.where}"
        self._link.session_closed(self, reason)
        self._set_delay(self._link.reconnect_delay_s())

    def _connect_failed(self, client: mqtt.Client, _data: object) -> None:
        self._link.session_unreachable(self, cast(_Client, client).connect_error)

    def _subscribed(
        self, _client: mqtt.Client, _data: object, _mid: int, codes: list[ReasonCode], _properties: object
    ) -> None:
        for subscription, code in zip(self._link.subscriptions, codes, strict=False):
            if code.is_failure:
                log.warning("the broker forbids reading %a: see its access rules", subscription.topic_filter)

    def _received(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        if len(message.payload) <= MAX_RECEIVED_BYTES:
            self._link.session_received(self, Received(message.topic, bytes(message.payload), message.retain))


def _properties(packet_type: int, **values: int) -> Properties:
    properties = Properties(packet_type)  # type: ignore[no-untyped-call]
    for name, value in values.items():
        setattr(properties, name, value)
    return properties


def _wrapped(callback: Callable[..., None]) -> Callable[..., None]:
    """The callback, which logs an exception of its own instead of ending the library's thread."""

    def guarded(*args: Any) -> None:
        try:
            callback(*args)
        except Exception:
            log.exception("a callback of the link to the broker failed")

    return guarded


def _stop_loop(client: mqtt.Client) -> None:
    # The library forgets its thread while this waits for it.
    with contextlib.suppress(AttributeError):
        client.loop_stop()


def _library_log() -> logging.Logger:
    """The library's own log, without its line for every failed attempt (ours is said once), and without its
    debug lines, which show topics as they came."""
    library_log = logging.getLogger(f"{log.name}.paho")
    library_log.setLevel(logging.INFO)
    library_log.addFilter(_is_worth_a_line)
    return library_log


def _is_worth_a_line(record: logging.LogRecord) -> bool:
    return not str(record.msg).startswith("Client is not connected")
