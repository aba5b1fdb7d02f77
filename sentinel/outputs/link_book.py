"""What a link to a broker knows: pure bookkeeping, no thread, no socket, no clock.

Which messages are out and unacknowledged, which version of MQTT to try next, whether a new session is due,
and the one sentence that says how the link is. ``broker_link`` calls it under its lock.

MQTT 5 is tried first. A broker that only speaks 3.1.1 may say so, may close the connection on the unknown
packet, or may wait for ever for the rest of what it takes for a longer packet; so a connection that ends
before any answer, or brings none, makes the next attempt use the other version.
"""

from dataclasses import dataclass
from enum import StrEnum

from sentinel.outputs.broker_settings import FIRST_FAILURE_CODE, UNSUPPORTED_PROTOCOL
from sentinel.outputs.outbox import Held, Outbox

# As many as the client library sends unacknowledged; what waits beyond that can still be replaced.
MAX_OUTSTANDING = 20
# A broker acknowledges within a second; the keepalive of 30 s has had two chances to notice.
ACK_PATIENCE_S = 60.0
# How long a clean stop waits for the broker to have our last word.
FAREWELL_S = 2.0
# A hub that has just started is busy; the second time is for what it has only begun to read after the first.
HUB_DELAY_S = 2.0
HUB_SECOND_TIME = 5
# An answer needs one turn on the line; a busy small broker gets twice as long each time, up to the keepalive.
ANSWER_PATIENCE_S = 5.0
MAX_ANSWER_PATIENCE_S = 30.0
MAX_DELAY_S = 120.0
# Shorter connections, like refused ones, mean that something ends them: a wrong password, another client with
# our id, a message that the broker does not like. They are made ever more seldom.
SHORT_LIFE_S = 60.0
BAD_CLOSES_BEFORE_DOUBT = 3
SILENT_CLOSES_BEFORE_DOUBT = 3
_MAX_REFUSED_TOPICS = 32


class Protocol(StrEnum):
    """The versions of MQTT that we speak."""

    V5 = "MQTT 5"
    V311 = "MQTT 3.1.1"


OTHER = {Protocol.V5: Protocol.V311, Protocol.V311: Protocol.V5}


@dataclass(frozen=True, slots=True)
class LinkHealth:
    """How the link is. ``reason`` is one sentence; ``lasting_s`` how long it has been so."""

    is_connected: bool
    protocol: Protocol
    reason: str
    lasting_s: float
    dropped_events: int


@dataclass(frozen=True, slots=True)
class _Sent:
    held: Held
    at_s: float


@dataclass(frozen=True, slots=True)
class Patience:
    """How long to wait, seconds. ``first_delay_s`` between sessions, then doubling to two minutes."""

    first_delay_s: float
    answer_s: float = ANSWER_PATIENCE_S
    ack_s: float = ACK_PATIENCE_S
    farewell_s: float = FAREWELL_S
    hub_s: float = HUB_DELAY_S


class LinkBook:
    """The books of one link."""

    def __init__(
        self,
        now_s: float,
        patience: Patience,
        first_protocol: Protocol = Protocol.V5,
        table: str = "mqtt",
    ) -> None:
        self._mend = f"see {table}.port and {table}.tls"
        self.outbox = Outbox()
        self.protocol = first_protocol
        self.is_connected = False
        self._patience = patience
        self._answer_due_s: float | None = None
        self._reason = "not connected yet"
        self._since_s = now_s
        self._session_due_s: float | None = now_s
        self._failed_sessions = 0
        self._was_answered = False
        self._silent_closes = 0
        self._bad_closes = 0
        self._proven: Protocol | None = None
        self._resends_due_s: list[float] = []
        self._outstanding: dict[int, _Sent] = {}
        self._early_acks: dict[int, int] | None = None
        self._refused_topics: dict[str, None] = {}

    def health(self, now_s: float) -> LinkHealth:
        """How the link is."""
        return LinkHealth(
            self.is_connected,
            self.protocol,
            self._reason,
            max(0.0, now_s - self._since_s),
            self.outbox.dropped_events,
        )

    # the session

    def is_session_due(self, now_s: float) -> bool:
        """True when a new session should be opened in place of the present one."""
        return (
            self._is_stuck(now_s)
            or _is_past(self._answer_due_s, now_s)
            or _is_past(self._session_due_s, now_s)
        )

    def next_deadline_s(self) -> float | None:
        """When ``is_session_due`` may become true without anything else happening."""
        acks = (sent.at_s + self._patience.ack_s for sent in self._outstanding.values() if self.is_connected)
        others = (due_s for due_s in (self._answer_due_s, self._session_due_s) if due_s is not None)
        return min((*acks, *others, *self._resends_due_s), default=None)

    def open_session(self, now_s: float) -> None:
        """A new session replaces the old one, whose unacknowledged events must be sent again."""
        if self._is_stuck(now_s):
            self._note_loss("the broker stopped acknowledging; connecting anew", now_s)
        elif _is_past(self._answer_due_s, now_s):
            self._note_loss(f"the broker does not answer: {self._mend}", now_s)
            self._try_the_other_protocol(now_s)
        for sent in reversed(self._outstanding.values()):
            self.outbox.put_back(sent.held)
        self._outstanding.clear()
        self._session_due_s = self._answer_due_s = None
        self.is_connected = self._was_answered = False

    def opened(self, now_s: float) -> None:
        """The connection is open and the broker's answer is awaited."""
        patience_s = self._patience.answer_s * 2.0 ** min(self._failed_sessions, 16)
        self._answer_due_s = now_s + min(patience_s, max(self._patience.answer_s, MAX_ANSWER_PATIENCE_S))

    def connected(self, where: str, now_s: float) -> None:
        """The broker has accepted us."""
        self.is_connected = self._was_answered = True
        self._answer_due_s = None
        self._failed_sessions = self._silent_closes = 0
        self._proven = self.protocol
        self._reason = f"connected to {where} by {self.protocol}"
        self._since_s = now_s
        # The client library sends these again by itself.
        self._outstanding = {mid: _Sent(sent.held, now_s) for mid, sent in self._outstanding.items()}
        self.outbox.resend_all()

    def refused(self, code: int, reason: str, now_s: float) -> None:
        """The broker has answered, and refused us."""
        self._was_answered = True
        self._answer_due_s = None
        self._note_loss(reason, now_s)
        if code == UNSUPPORTED_PROTOCOL:
            self._try_the_other_protocol(now_s)

    def unreachable(self, reason: str, now_s: float) -> None:
        """No connection came about."""
        self._note_loss(reason, now_s)

    def closed(self, reason: str, now_s: float) -> None:
        """The connection has ended."""
        has_lived = self.is_connected and now_s - self._since_s >= SHORT_LIFE_S
        self._bad_closes = 0 if has_lived else self._bad_closes + 1
        if not self._was_answered:
            self._note_loss(f"the broker closed the connection without an answer: {self._mend}", now_s)
            self._silent_closes += 1
            # A version that has worked is not given up at once: proxies close so while their broker starts.
            if self._proven is not self.protocol or self._silent_closes >= SILENT_CLOSES_BEFORE_DOUBT:
                self._try_the_other_protocol(now_s)
        elif self.is_connected:
            if self._bad_closes >= BAD_CLOSES_BEFORE_DOUBT:
                reason += " soon after connecting, again and again: does another client use this node id?"
            self._note_loss(reason, now_s)
        self._was_answered = False
        self._answer_due_s = None

    @property
    def reconnect_delay_s(self) -> float:
        """How long a session should wait before it connects again, the first time."""
        return self._doubled(self._bad_closes)

    def session_died(self, reason: str, now_s: float) -> None:
        """The session cannot go on by itself."""
        self._note_loss(reason, now_s)
        self._plan_session(now_s)

    def stopped(self, now_s: float) -> None:
        """We are leaving."""
        self._note_loss("stopped", now_s)
        self._session_due_s = self._answer_due_s = None

    def hub_was_born(self, now_s: float, jitter: float) -> None:
        """The hub has started: it gets everything again soon, and once more. ``jitter`` scales the wait."""
        delay_s = self._patience.hub_s * jitter
        self._resends_due_s = [now_s + delay_s, now_s + HUB_SECOND_TIME * delay_s]

    def is_resend_due(self, now_s: float) -> bool:
        """True when ``take`` would make everything due first."""
        return any(due_s <= now_s for due_s in self._resends_due_s)

    # messages

    def take(self, now_s: float) -> Held | None:
        """The next message to publish; None while not connected or too many are unacknowledged."""
        if self.is_resend_due(now_s):
            self._resends_due_s = [due_s for due_s in self._resends_due_s if due_s > now_s]
            self.outbox.resend_all()
        if not self.is_connected or len(self._outstanding) >= MAX_OUTSTANDING:
            return None
        held = self.outbox.take(now_s)
        # The broker may acknowledge before the call that publishes has returned the message's number.
        self._early_acks = None if held is None else {}
        return held

    @property
    def can_take(self) -> bool:
        """True when ``take`` would look for a message."""
        return self.is_connected and bool(self.outbox) and len(self._outstanding) < MAX_OUTSTANDING

    def sent(self, mid: int, held: Held, now_s: float) -> str | None:
        """The message taken last is on its way with number ``mid``. Returns as ``acknowledged``."""
        early_acks, self._early_acks = self._early_acks or {}, None
        if mid in early_acks:
            return self._newly_refused(held.message.topic, early_acks[mid])
        if held.message.qos > 0:
            self._outstanding[mid] = _Sent(held, now_s)
        return None

    def acknowledged(self, mid: int, code: int) -> str | None:
        """The broker has answered ``mid`` with ``code``. Returns the topic if its refusal is news."""
        sent = self._outstanding.pop(mid, None)
        if sent is not None:
            return self._newly_refused(sent.held.message.topic, code)
        if self._early_acks is not None:
            self._early_acks[mid] = code
        return None

    def _newly_refused(self, topic: str, code: int) -> str | None:
        is_news = code >= FIRST_FAILURE_CODE and topic not in self._refused_topics
        if not is_news or len(self._refused_topics) >= _MAX_REFUSED_TOPICS:
            return None
        self._refused_topics[topic] = None
        return topic

    def _is_stuck(self, now_s: float) -> bool:
        return self.is_connected and any(
            now_s - sent.at_s >= self._patience.ack_s for sent in self._outstanding.values()
        )

    def _note_loss(self, reason: str, now_s: float) -> None:
        if self.is_connected or reason != self._reason:
            self._since_s = now_s
        self.is_connected = False
        self._reason = reason

    def _try_the_other_protocol(self, now_s: float) -> None:
        self.protocol = OTHER[self.protocol]
        self._silent_closes = 0
        self._plan_session(now_s)

    def _plan_session(self, now_s: float) -> None:
        """At once after the first failure, then at doubling intervals."""
        delay_s = self._doubled(self._failed_sessions - 1) if self._failed_sessions else 0.0
        self._failed_sessions += 1
        self._session_due_s = now_s + delay_s

    def _doubled(self, times: int) -> float:
        return min(self._patience.first_delay_s * 2.0 ** min(times, 16), MAX_DELAY_S)


def _is_past(due_s: float | None, now_s: float) -> bool:
    return due_s is not None and now_s >= due_s
