"""When to publish what: the timing of the topic table, for one node and its bands.

Holds the clocks of each topic and nothing of the broker: it makes messages and hands them to ``send``.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from sentinel.outputs import wire
from sentinel.outputs.mqtt_messages import (
    MqttMessage,
    Topics,
    event_last_message,
    event_message,
    health_message,
    state_message,
    stations_message,
    status_message,
)
from sentinel.watch.bulletin import Bulletin
from sentinel.watch.changes import Change, OpeningChanged, StateChanged

STATUS_EVERY_S = 30.0
STATE_EVERY_S = 60.0
HEALTH_EVERY_S = 60.0
STATIONS_EVERY_S = 15.0


@dataclass(slots=True)
class _Sent:
    """When a band's topics were last sent (monotonic seconds), and which stations."""

    state_s: float = float("-inf")
    stations_s: float = float("-inf")
    stations: object = None


@dataclass(slots=True)
class Publisher:
    """Publishes one node. ``wall_s`` tells the time for the envelope's label; nothing depends on it."""

    topics: Topics
    boot: str
    send: Callable[[MqttMessage], None]
    wall_s: Callable[[], float]
    _seq: int = 0
    _status_s: float = float("-inf")
    _health_s: float = float("-inf")
    _bands: dict[str, _Sent] = field(default_factory=dict)

    def envelope(self) -> wire.Envelope:
        """The next message's envelope."""
        self._seq += 1
        return wire.Envelope(self.wall_s(), self.boot, self._seq)

    def changed(self, band: str, changes: Iterable[Change], bulletin: Bulletin, monotonic_s: float) -> None:
        """Publish what changed, at once: the events, then the state."""
        for change in changes:
            if isinstance(change, StateChanged):
                continue
            if isinstance(change, OpeningChanged):
                event = wire.opening_event_payload(
                    band, change.phase.value, change.opening, change.at_s, self.envelope()
                )
            else:
                event = wire.notable_event_payload(band, change.notable, self.envelope())
            self.send(event_message(self.topics, event))
            self.send(event_last_message(self.topics, event))
        self._publish_state(bulletin, monotonic_s)

    def time_passed(
        self, monotonic_s: float, bulletins: Sequence[Bulletin], health: Callable[[], wire.NodeHealth]
    ) -> None:
        """Publish what is due again."""
        if monotonic_s - self._status_s >= STATUS_EVERY_S:
            self._status_s = monotonic_s
            self.send(status_message(self.topics, is_online=True))
        for bulletin in bulletins:
            sent = self._bands.setdefault(bulletin.band, _Sent())
            if monotonic_s - sent.state_s >= STATE_EVERY_S:
                self._publish_state(bulletin, monotonic_s)
            stations = tuple((s.call, s.slots, s.last_at_s) for s in bulletin.stations)
            if stations != sent.stations and monotonic_s - sent.stations_s >= STATIONS_EVERY_S:
                sent.stations, sent.stations_s = stations, monotonic_s
                self.send(stations_message(self.topics, bulletin, self.envelope()))
        if bulletins and monotonic_s - self._health_s >= HEALTH_EVERY_S:
            self._health_s = monotonic_s
            self.send(health_message(self.topics, health(), bulletins, self.envelope()))

    def resend(self) -> None:
        """Make everything due: the hub has come back, or asks."""
        self._status_s = self._health_s = float("-inf")
        self._bands.clear()

    def _publish_state(self, bulletin: Bulletin, monotonic_s: float) -> None:
        self._bands.setdefault(bulletin.band, _Sent()).state_s = monotonic_s
        self.send(state_message(self.topics, bulletin, self.envelope()))
