"""What waits to be sent: the latest value of each retained topic, and a bounded queue of events.

The client library would queue without limit while the broker is away, and would then deliver hours of stale
states; and the expiry of a message does not count down in its queue. So messages wait here, and only the
latest value of a topic is ever sent. Pure: the caller passes the monotonic time.
"""

import math
from collections import deque
from dataclasses import dataclass, replace

from sentinel.outputs.mqtt_messages import ROOT, MqttMessage

# An opening makes a handful of events, so a hundred are days of absence; older ones nobody would read.
MAX_EVENTS = 100
# One node has about five topics a band.
MAX_TOPICS = 256


@dataclass(frozen=True, slots=True)
class Held:
    """A message and the monotonic time, seconds, at which it was handed in."""

    message: MqttMessage
    since_s: float


class Outbox:
    """Retained messages replace the earlier one of their topic; others queue, the oldest dropped."""

    def __init__(self) -> None:
        self._latest: dict[str, Held] = {}
        self._due: dict[str, None] = {}
        self._events: deque[Held] = deque()
        self.dropped_events = 0

    def __bool__(self) -> bool:
        return bool(self._due or self._events)

    def put(self, message: MqttMessage, now_s: float) -> None:
        """Hand in a message."""
        held = Held(message, now_s)
        if message.is_retained:
            self._keep(held)
        else:
            self._events.append(held)
            self._shed_events()

    def put_back(self, held: Held) -> None:
        """Return a message that was taken but not delivered, in front of those that came later."""
        topic = held.message.topic
        if not held.message.is_retained:
            self._events.appendleft(held)
            self._shed_events()
        elif self._latest.get(topic) == held:
            self._due[topic] = None

    def take(self, now_s: float) -> Held | None:
        """The next message to send, None when there is none that still means anything."""
        while self._due:
            topic = next(iter(self._due))
            del self._due[topic]
            if is_expired(self._latest[topic], now_s):
                del self._latest[topic]
            else:
                return self._latest[topic]
        while self._events:
            held = self._events.popleft()
            if not is_expired(held, now_s):
                return held
            self.dropped_events += 1
        return None

    def resend_all(self) -> None:
        """Every retained value again, in the order of ``rank``: the broker or the hub may have lost them."""
        self._due = dict.fromkeys(sorted(self._latest, key=rank))

    def _keep(self, held: Held) -> None:
        topic = held.message.topic
        self._latest[topic] = held
        self._due[topic] = None
        if len(self._latest) > MAX_TOPICS:
            oldest = min(self._latest, key=lambda t: self._latest[t].since_s)
            del self._latest[oldest]
            self._due.pop(oldest, None)

    def _shed_events(self) -> None:
        while len(self._events) > MAX_EVENTS:
            self._events.popleft()
            self.dropped_events += 1


def rank(topic: str) -> int:
    """First that we are there, then what the hub must know to make sense of the rest."""
    if topic.endswith("/status"):
        return 0
    return 2 if topic.startswith(f"{ROOT}/") else 1


def is_expired(held: Held, now_s: float) -> bool:
    """True when the message no longer means anything."""
    return held.message.expiry_s is not None and now_s - held.since_s >= held.message.expiry_s


def as_sent(held: Held, now_s: float) -> MqttMessage:
    """The message with the rest of its life, whole seconds, at least one."""
    if held.message.expiry_s is None:
        return held.message
    return replace(held.message, expiry_s=max(1, math.ceil(held.message.expiry_s - (now_s - held.since_s))))
