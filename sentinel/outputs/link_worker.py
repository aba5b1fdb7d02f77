"""The mailbox and thread of a link to a broker, whatever client library moves the bytes.

``LinkWorker.publish`` hands a message to a mailbox and returns; the worker thread takes it from there while
the broker is connected. It sleeps without a timeout unless an acknowledgement or a new session is due. What
is known of the link stands in ``link_book``; the library and its traps are in ``broker_link``, which gives
this class its sessions. A session reports back from its own thread by the ``session_*`` methods; what a
replaced session still says is ignored.
"""

import logging
import random
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol as StructuralType

from sentinel.outputs.broker_settings import BrokerSettings, refusal_fault, tls_context
from sentinel.outputs.link_book import LinkBook, LinkHealth, Patience, Protocol
from sentinel.outputs.mqtt_messages import MqttMessage
from sentinel.outputs.outbox import Held, as_sent

log = logging.getLogger("sentinel.mqtt")

# Each link draws its first delay, so that the nodes of a restarted broker do not return in step.
FIRST_DELAY_S = (1.0, 5.0)
STOP_PATIENCE_S = 10.0
# A connection this old has been well: when it is lost, that is news again.
WELL_S = 600.0


@dataclass(frozen=True, slots=True)
class Received:
    """A message that came in: untrusted."""

    topic: str
    payload: bytes
    is_retained: bool


@dataclass(frozen=True, slots=True)
class Subscription:
    """A topic filter; ``wants_retained`` asks for what the broker holds already."""

    topic_filter: str
    wants_retained: bool = False


class Session(StructuralType):
    """One client of the library, for one version of MQTT, which reconnects by itself."""

    def start(self) -> None:
        """Begin to connect, in the background."""

    def publish(self, message: MqttMessage) -> int | None:
        """Queue the message; its number, or None if it has to be tried again."""

    def publish_last(self, message: MqttMessage, timeout_s: float) -> None:
        """Publish and wait until the broker has it, or for ``timeout_s``."""

    def close(self) -> None:
        """Disconnect and end the session's thread; bounded in time."""


class LinkWorker(ABC):
    """A link that connects, reconnects and keeps the latest values until the broker has them.

    ``birth`` is published first at every connection; ``will`` by ``stop``, and by the broker when we vanish;
    None for a link that says nothing of itself.
    ``on_connected`` runs in the worker thread after every connection, ``on_received`` in the library's
    thread: both must return soon. ``first_protocol`` spares the wait where a broker is known to speak only
    3.1.1. ``hub_birth`` is the message by which a home-automation hub says that it has started: then it gets
    every retained value again, its own description first. Raises ConfigError for TLS files that cannot be
    used.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        *,
        birth: MqttMessage | None,
        will: MqttMessage | None,
        subscriptions: Sequence[Subscription] = (),
        on_connected: Callable[[], None] | None = None,
        on_received: Callable[[Received], None] | None = None,
        patience: Patience | None = None,
        first_protocol: Protocol = Protocol.V5,
        hub_birth: Received | None = None,
    ) -> None:
        self.settings = settings
        self.tls = tls_context(settings) if settings.tls else None
        self.will = will
        hub = () if hub_birth is None else (Subscription(hub_birth.topic),)
        self.subscriptions = (*subscriptions, *hub)
        self.patience = patience or Patience(first_delay_s=random.uniform(*FIRST_DELAY_S))
        self._on_connected = on_connected
        self._on_received = on_received
        self._hub_birth = hub_birth
        self._changed = threading.Condition()
        self._book = LinkBook(time.monotonic(), self.patience, first_protocol, settings.table)
        if birth is not None:
            self._book.outbox.put(birth, time.monotonic())
        self._said: set[str] = set()
        self._session: Session | None = None
        self._is_fresh = False
        self._is_stopping = False
        self._worker = threading.Thread(target=self._work, name="sentinel-mqtt", daemon=True)

    @abstractmethod
    def new_session(self, protocol: Protocol) -> Session:
        """A session that is not started yet."""

    def start(self) -> None:
        """Begin to connect, in the background; a broker that is not there yet is waited for."""
        self._worker.start()

    def publish(self, message: MqttMessage) -> None:
        """Hand in a message from any thread; never blocks, never raises for an absent broker."""
        with self._changed:
            self._book.outbox.put(message, time.monotonic())
            self._changed.notify_all()

    def health(self) -> LinkHealth:
        """How the link is, and why."""
        with self._changed:
            return self._book.health(time.monotonic())

    def wait_connected(self, timeout_s: float) -> bool:
        """True as soon as the broker has accepted us, False after ``timeout_s``: then see ``health``."""
        with self._changed:
            return self._changed.wait_for(lambda: self._book.is_connected, timeout_s)

    def stop(self) -> None:
        """Publish what waits and ``offline``, wait for it for a moment, disconnect."""
        with self._changed:
            self._is_stopping = True
            self._changed.notify_all()
        if self._worker.is_alive():
            self._worker.join(STOP_PATIENCE_S)

    # what a session reports, from its own thread

    def session_opened(self, session: Session) -> None:
        """The connection is open; the broker has not answered yet."""
        with self._changed:
            if session is self._session:
                self._book.opened(time.monotonic())
                self._changed.notify_all()

    def session_connected(self, session: Session) -> None:
        """The broker has accepted the session."""
        with self._changed:
            if session is not self._session:
                return
            self._book.connected(self.settings.where, time.monotonic())
            self._is_fresh = True
            self._changed.notify_all()
        self._say_change()

    def session_refused(self, session: Session, code: int) -> None:
        """The broker has answered with a refusal."""
        self._lose(session, lambda now_s: self._book.refused(code, refusal_fault(code, self.settings), now_s))

    def session_unreachable(self, session: Session, reason: str) -> None:
        """No connection came about; the session tries again by itself."""
        self._lose(session, lambda now_s: self._book.unreachable(reason, now_s))

    def session_closed(self, session: Session, reason: str) -> None:
        """The connection has ended; the session tries again by itself."""
        self._lose(session, lambda now_s: self._book.closed(reason, now_s))

    def reconnect_delay_s(self) -> float:
        """How long a session should wait before it connects again, the first time."""
        with self._changed:
            return self._book.reconnect_delay_s

    def session_died(self, session: Session, reason: str) -> None:
        """The session cannot go on."""
        self._lose(session, lambda now_s: self._book.session_died(reason, now_s))

    def session_acknowledged(self, session: Session, mid: int, code: int) -> None:
        """The broker has answered for message ``mid``."""
        with self._changed:
            if session is not self._session:
                return
            refused_topic = self._book.acknowledged(mid, code)
            self._changed.notify_all()
        self._say_refused(refused_topic)

    def session_received(self, session: Session, received: Received) -> None:
        """A message came in."""
        if session is not self._session:
            return
        if self._hub_birth is not None and received.topic == self._hub_birth.topic:
            if received.payload == self._hub_birth.payload:
                with self._changed:
                    self._book.hub_was_born(time.monotonic(), jitter=random.uniform(0.5, 1.5))
                    self._changed.notify_all()
        elif self._on_received is not None:
            self._on_received(received)

    def _lose(self, session: Session, note: Callable[[float], None]) -> None:
        with self._changed:
            if session is not self._session or self._is_stopping:
                return
            if self._book.is_connected and self._book.health(time.monotonic()).lasting_s > WELL_S:
                self._said.clear()
            note(time.monotonic())
            self._changed.notify_all()
        self._say_change()

    def _say_change(self) -> None:
        """Each state of the link once until it has been well for a while, not a line for every attempt."""
        with self._changed:
            health = self._book.health(time.monotonic())
            is_news = health.reason not in self._said
            self._said.add(health.reason)
        if is_news and health.is_connected:
            log.info("%s", health.reason)
        elif is_news:
            log.warning("not connected to the broker: %s", health.reason)

    def _say_refused(self, topic: str | None) -> None:
        if topic is not None:
            log.warning("the broker forbids publishing to %a: see its access rules", topic)

    # the worker thread

    def _work(self) -> None:
        while True:
            with self._changed:
                while not self._has_work():
                    self._changed.wait(self._wait_s())
                if self._is_stopping:
                    break
            try:
                self._work_once()
            except Exception as error:
                log.exception("the link to the broker stumbled")
                with self._changed:
                    self._book.session_died(f"internal error ({type(error).__name__})", time.monotonic())
        self._say_farewell()

    def _has_work(self) -> bool:
        now_s = time.monotonic()
        is_due = self._book.is_session_due(now_s) or self._book.is_resend_due(now_s)
        return self._is_stopping or self._is_fresh or self._book.can_take or is_due

    def _wait_s(self) -> float | None:
        deadline_s = self._book.next_deadline_s()
        return None if deadline_s is None else max(0.0, deadline_s - time.monotonic())

    def _work_once(self) -> None:
        with self._changed:
            is_session_due = self._book.is_session_due(time.monotonic())
            is_fresh, self._is_fresh = self._is_fresh, False
            held = None if is_session_due else self._book.take(time.monotonic())
        if is_session_due:
            self._replace_session()
        elif held is not None:
            self._send(held)
        if is_fresh and self._on_connected is not None:
            try:
                self._on_connected()
            except Exception:
                log.exception("what should follow a connection to the broker failed")

    def _replace_session(self) -> None:
        old, self._session = self._session, None
        if old is not None:
            old.close()
        with self._changed:
            self._book.open_session(time.monotonic())
            self._session = session = self.new_session(self._book.protocol)
        if old is not None:
            self._say_change()
        session.start()

    def _send(self, held: Held) -> None:
        session = self._session
        mid = None if session is None else session.publish(as_sent(held, time.monotonic()))
        with self._changed:
            if mid is None:
                self._book.outbox.put_back(held)
                return
            refused_topic = self._book.sent(mid, held, time.monotonic())
        self._say_refused(refused_topic)

    def _say_farewell(self) -> None:
        session, self._session = self._session, None
        if session is None:
            return
        with self._changed:
            was_connected = self._book.is_connected
            self._book.stopped(time.monotonic())
        if was_connected:
            # Bounded: a latest value a topic and so many events.
            while (held := self._book.outbox.take(time.monotonic())) is not None:
                session.publish(as_sent(held, time.monotonic()))
            if self.will is not None:
                session.publish_last(self.will, self.patience.farewell_s)
        session.close()
