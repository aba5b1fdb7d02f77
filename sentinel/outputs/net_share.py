"""When a node tells its neighbours how its band stands: on a change, else every five minutes.

Pure: the caller passes the monotonic time and sends what comes back.
"""

import random
from collections.abc import Callable

from sentinel.outputs.mqtt_messages import MqttMessage, Topics, net_message
from sentinel.outputs.wire import Envelope
from sentinel.watch.bulletin import Bulletin, State

EVERY_S = 300.0
LEAST_GAP_S = 60.0
"""Readers take no more than two words a minute."""
JITTER = 0.1
"""So that the nodes of a broker that was away do not go on speaking in step."""


class Sharing:
    """One band's summary. ``jitter`` draws from -1 to 1."""

    def __init__(
        self,
        topics: Topics,
        square: str,
        envelope: Callable[[], Envelope],
        jitter: Callable[[], float] = lambda: random.uniform(-1.0, 1.0),
    ) -> None:
        self._topics, self._square = topics, square
        self._envelope, self._jitter = envelope, jitter
        self._told: object = None
        self._told_s = self._next_s = float("-inf")

    def due(self, bulletin: Bulletin, now_s: float) -> MqttMessage | None:
        """The summary, if it is to be sent now (monotonic seconds)."""
        leading = max(bulletin.headings, key=lambda heading: heading.stations, default=None)
        if bulletin.state is State.OPEN and leading is None:
            return None  # silent for a moment: neighbours would not believe an opening without a direction
        octant = None if leading is None else round(leading.bearing_deg / 45.0) % 8
        news = (bulletin.state, bulletin.mode, octant)
        due_s = self._told_s + LEAST_GAP_S if news != self._told else self._next_s
        if now_s < due_s:
            return None
        self._told, self._told_s = news, now_s
        self._next_s = now_s + EVERY_S * (1.0 + JITTER * self._jitter())
        return net_message(self._topics, bulletin, self._square, self._envelope())
