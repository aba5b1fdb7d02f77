"""The broker that neighbours share: our summaries go out, theirs and what feeds report come in.

A link of its own, with credentials of its own: an outage of one broker never stalls the other. What comes is
checked in the link's thread and waits, bounded, for the main loop, which takes it every few seconds: no flood
from outside delays a line of the decoder.
"""

import logging
import secrets
import threading
import time
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from sentinel.config import Config
from sentinel.intake.feed_listener import FeedListener
from sentinel.output import News
from sentinel.outputs.broker_link import BrokerLink, Received, Subscription
from sentinel.outputs.mqtt_messages import NEIGHBOURS, ROOT, Topics, net_removal_message
from sentinel.outputs.net import Departure, Disbelief, Neighbour, Neighbours, net_filters
from sentinel.outputs.net_share import Sharing
from sentinel.outputs.wire import Envelope
from sentinel.trade.locator import square_of
from sentinel.watch.bulletin import Part, State
from sentinel.watch.neighbours import NeighbourHeard, NeighbourReport, squares_within
from sentinel.wiring import broker_settings

MOST_WAITING = 2_000
"""Words between two looks of the main loop; in a flood the oldest go."""
NET_PER_S, NET_BURST = 10.0, 500.0
"""200 nodes that speak every minute are 3 a second; at the start the broker sends all that it holds."""
FEED_PER_S, FEED_BURST = 50.0, 500.0
"""About what a small computer maps with half a per cent of its time; a narrower topic brings less."""
MOST_REASONS_LOGGED = 32

Word = NeighbourReport | NeighbourHeard

log = logging.getLogger("sentinel.neighbours")


class Allowance:
    """So many messages a second, and a burst of them; what is beyond is not even read. Not thread-safe."""

    def __init__(self, per_s: float, burst: float) -> None:
        self._per_s, self._burst = per_s, burst
        self._left, self._at_s = burst, float("-inf")
        self.refused = 0

    def takes(self, now_s: float) -> bool:
        """True if a message at ``now_s`` (monotonic) is within the allowance."""
        self._left = min(self._burst, self._left + self._per_s * max(0.0, now_s - self._at_s))
        self._at_s = now_s
        if self._left < 1.0:
            self.refused += 1
            return False
        self._left -= 1.0
        return True


class NeighboursOutput:
    """The link to the shared broker. Raises ConfigError for TLS files or a password that cannot be used."""

    def __init__(self, config: Config, node: str) -> None:
        section = config.neighbours
        assert section is not None, "only made with [neighbours]"
        self._bands, locator = config.band.names, config.station.locator
        self._reach_km, self._boot, self._seq = section.reach_km, secrets.token_hex(4), 0
        topics = Topics(node)
        removal, *self._removals = (net_removal_message(topics, band, locator) for band in self._bands)
        self._own_topics = {each.topic for each in (removal, *self._removals)}
        self._sharing = {
            band: Sharing(topics, square_of(locator), self._envelope)
            for band in (self._bands if section.share else ())
        }
        self._nodes = Neighbours(node, locator, self._bands, section.reach_km)
        self._feeds = tuple(_feed_listeners(config))
        self._net_allowance = Allowance(NET_PER_S * len(self._bands), NET_BURST * len(self._bands))
        self._feed_allowances = [Allowance(FEED_PER_S, FEED_BURST) for _ in self._feeds]
        self._lock = threading.Lock()
        self._waiting: dict[str, deque[Word]] = {band: deque(maxlen=MOST_WAITING) for band in self._bands}
        self._reasons: set[str] = set()
        self._last_reason = ""
        net = [each for band in self._bands for each in net_filters(band, locator, section.reach_km)]
        self._link = BrokerLink(
            broker_settings(config, node, "neighbours"),
            birth=removal,  # the first summary replaces it
            will=removal,  # whoever goes without a word leaves those of other bands to expire
            subscriptions=(
                *(Subscription(each, wants_retained=True) for each in net),
                *(Subscription(feed.feed.topic_filter) for feed in self._feeds),
            ),
            on_received=self._received,
        )
        self._link.start()

    # --- out --------------------------------------------------------------------------------------

    def take(self, news: News) -> None:
        """Tell the neighbours, when it is time."""
        sharing = self._sharing.get(news.bulletin.band)
        message = sharing.due(news.bulletin, news.now_s) if sharing is not None else None
        if message is not None:
            self._link.publish(message)

    def parts(self) -> Sequence[Part]:
        """The link, and each feed."""
        health = self._link.health()
        with self._lock:
            now_s = time.time()
            nodes = len({each.node for band in self._bands for each in self._nodes.fresh(band, now_s)})
            doubted = self._nodes.disbelieved + self._net_allowance.refused
            feeds = tuple(_feed_part(number, feed) for number, feed in enumerate(self._feeds, 1))
        if not health.is_connected:
            return Part("neighbours", False, health.reason), *feeds
        doubts = f", {doubted} messages not believed ({self._last_reason})" if doubted else ""
        known = "1 node" if nodes == 1 else f"{nodes} nodes"
        told = f"{health.reason}, {known} within {self._reach_km:.0f} km{doubts}"
        return Part("neighbours", True, told), *feeds

    def wait_connected(self, timeout_s: float) -> bool:
        """True as soon as the broker has accepted us."""
        return self._link.wait_connected(timeout_s)

    def stop(self) -> None:
        """Take our summaries back and leave."""
        for removal in self._removals if self._sharing else ():
            self._link.publish(removal)
        self._link.stop()

    def _envelope(self) -> Envelope:
        self._seq += 1
        return Envelope(time.time(), self._boot, self._seq)

    # --- in ---------------------------------------------------------------------------------------

    def words(self, at_s: float, band: str | None = None) -> Sequence[Word]:
        """What has come of a band, by default of the main one, since the last call, in event time, of which
        ``at_s`` is now."""
        with self._lock:
            waiting = self._waiting[band or self._bands[0]]
            words = list(waiting)
            waiting.clear()
        return [_in_event_time(word, at_s) for word in words]

    def _received(self, received: Received) -> None:
        """In the link's thread."""
        now_s, monotonic_s = time.time(), time.monotonic()
        with self._lock:
            if received.topic.startswith(f"{ROOT}/{NEIGHBOURS}/") and received.topic not in self._own_topics:
                for band, word in self._from_node(received, now_s, monotonic_s):
                    self._waiting[band].append(word)
            for feed, allowance in zip(self._feeds, self._feed_allowances, strict=True):
                if feed.wants(received.topic) and allowance.takes(monotonic_s):
                    self._waiting[self._bands[0]] += feed.receive(received.payload, now_s)

    def _from_node(
        self, received: Received, now_s: float, monotonic_s: float
    ) -> Iterable[tuple[str, NeighbourReport]]:
        if not self._net_allowance.takes(monotonic_s):
            self._last_reason = "there are too many of them"
            return
        found = self._nodes.receive(received.topic, received.payload, now_s, monotonic_s)
        if isinstance(found, Disbelief):
            self._doubt(found, received.topic)
        elif isinstance(found, Departure):
            yield found.band, NeighbourReport(now_s, found.node, found.square, State.BLIND, now_s)
        else:
            yield found.band, _as_report(found, now_s)

    def _doubt(self, found: Disbelief, topic: str) -> None:
        self._last_reason = found.reason
        if found.reason not in self._reasons and len(self._reasons) < MOST_REASONS_LOGGED:
            self._reasons.add(found.reason)
            log.warning("a message on %a is not believed: %s", topic[:120], found.reason)


def _feed_listeners(config: Config) -> Iterator[FeedListener]:
    section = config.neighbours
    assert section is not None
    low_mhz, high_mhz = config.band.limits_mhz()
    squares = frozenset(squares_within(config.station.locator, section.reach_km))
    for number, feed in enumerate(section.feed, 1):
        yield FeedListener(
            name=f"[[neighbours.feed]] {number}",
            feed=feed.compiled,
            squares=squares,
            low_mhz=low_mhz,
            high_mhz=high_mhz,
            own_call=config.station.callsign,
            say=lambda sentence: log.warning("%s", sentence),
        )


def _feed_part(number: int, feed: FeedListener) -> Part:
    """A feed of which nothing can be mapped is not well; one that is silent may be."""
    is_mapped = feed.used + feed.elsewhere + feed.doubted > 0
    return Part(f"feed {number}", True if is_mapped else False if feed.unmapped else None, feed.summary())


def _as_report(found: Neighbour, now_s: float) -> NeighbourReport:
    return NeighbourReport(now_s, found.node, found.square, found.state, found.at_s, found.bearing_deg)


def _in_event_time(word: Word, at_s: float) -> Word:
    """Of what came and was said by the wall clock only the ages count."""
    if isinstance(word, NeighbourReport):
        return replace(word, at_s=at_s, said_at_s=at_s - max(0.0, word.at_s - word.said_at_s))
    return replace(word, at_s=at_s, heard_at_s=at_s - max(0.0, word.at_s - word.heard_at_s))
