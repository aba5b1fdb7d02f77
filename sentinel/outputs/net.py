"""What neighbours share: which topics to read, and what to believe of what comes.

Pure. Each node publishes a small summary under its four-character square (``mqtt_messages.net_message``), and
reads the squares within its reach, never everything: some 70 of 2,000 nodes over Europe are within 300 km.
Anyone on a shared broker may write anything within its rights, so nothing is believed unchecked: size, topic,
schema, agreement of topic and payload, age, plausibility, rate, and the number of nodes. What the neighbours
say together is weighed in ``sentinel.watch.neighbours``.
"""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass

from pydantic import ValidationError

from sentinel.outputs.mqtt_messages import NEIGHBOURS, NET_EXPIRY_S, ROOT, net_square
from sentinel.outputs.payloads import NetSummaryPayload
from sentinel.outputs.values import from_iso_z
from sentinel.watch.bulletin import Mode, State
from sentinel.watch.neighbours import squares_within

# Our largest summary has about 330 bytes.
MAX_SUMMARY_BYTES = 512
# Clocks of small computers without a network may be off by this much and still be of use.
CLOCK_SLACK_S = 120.0
# A node publishes at most once a minute; half of that leaves room for jitter.
MIN_INTERVAL_S = 30.0
# The squares within reach hold some dozens of nodes where they are dense. An impostor with many ids gains
# nothing beyond: who is known and speaks keeps its place.
MAX_NODES = 200
# Half the circumference of the Earth: no great circle is longer.
_LONGEST_PATH_KM = 20_040
_TOPIC = re.compile(
    rf"{ROOT}/{NEIGHBOURS}/(?P<band>[a-z0-9.-]{{1,16}})/[A-R]{{2}}/(?P<square>[A-R]{{2}}[0-9]{{2}})"
    r"/(?P<node>[A-Za-z0-9_-]{1,64})"
)


@dataclass(frozen=True, slots=True)
class Neighbour:
    """What one neighbour says of one band; ``at_s`` by its own clock, seconds since 1970 UTC."""

    node: str
    square: str
    band: str
    at_s: float
    state: State
    far_stations: int | None
    mode: Mode | None
    bearing_deg: float | None
    nearest_km: int | None
    farthest_km: int | None
    muf_mhz: float | None


@dataclass(frozen=True, slots=True)
class Departure:
    """A neighbour has taken its summary back: it no longer shares, or is gone."""

    node: str
    square: str
    band: str


@dataclass(frozen=True, slots=True)
class Disbelief:
    """Why a message is not believed, one sentence."""

    reason: str


def net_filters(band: str, locator: str, reach_km: float) -> tuple[str, ...]:
    """The topic filters to read: one a square within reach. Raises ValueError for what is no locator."""
    return tuple(f"{net_square(band, square)}/+" for square in squares_within(locator, reach_km))


class Neighbours:
    """The neighbours of one node on its bands, newest word of each. Not thread-safe; bounded by band."""

    def __init__(self, node: str, locator: str, bands: Sequence[str], reach_km: float) -> None:
        self._node = node
        self._bands = frozenset(bands)
        self._most = MAX_NODES * len(bands)
        self._squares = frozenset(squares_within(locator, reach_km))
        self._known: dict[tuple[str, str], Neighbour] = {}
        self._accepted_s: dict[tuple[str, str], float] = {}
        self.disbelieved = 0

    def receive(
        self, topic: str, payload: bytes, now_s: float, monotonic_s: float
    ) -> Neighbour | Departure | Disbelief:
        """What the message says, or why it is not believed.

        ``now_s`` is the wall clock, which must be synchronised: summaries are judged by their time.
        """
        place = _TOPIC.fullmatch(topic)
        if place is None or place["square"] not in self._squares or place["band"] not in self._bands:
            return self._disbelieve("the topic is none of those asked for")
        node, band = place["node"], place["band"]
        if node == self._node:
            return self._disbelieve("our own summary, or someone under our name")
        if not payload:
            self._known.pop((node, band), None)
            return Departure(node, place["square"], band)
        read = _read(payload, node)
        if isinstance(read, Disbelief):
            return self._disbelieve(read.reason)
        if (read.square, read.band) != (place["square"], band):
            return self._disbelieve("topic and payload differ in square or band")
        doubt = _implausible(read) or self._untimely(read, now_s, monotonic_s)
        if doubt is not None:
            return self._disbelieve(doubt)
        self._remember(read, monotonic_s)
        return read

    def fresh(self, band: str, now_s: float) -> tuple[Neighbour, ...]:
        """What the neighbours say of ``band`` now, by node; a word too old to mean anything is left out."""
        words = (n for n in self._known.values() if n.band == band and now_s - n.at_s <= NET_EXPIRY_S)
        return tuple(sorted(words, key=lambda n: n.node))

    def _disbelieve(self, reason: str) -> Disbelief:
        self.disbelieved += 1
        return Disbelief(reason)

    def _untimely(self, read: Neighbour, now_s: float, monotonic_s: float) -> str | None:
        key = (read.node, read.band)
        if now_s - read.at_s > NET_EXPIRY_S:
            return "it is too old"
        if read.at_s - now_s > CLOCK_SLACK_S:
            return "it comes from the future: a clock is wrong"
        known = self._known.get(key)
        if known is not None and read.at_s <= known.at_s:
            return "it is not newer than the last one"
        accepted_s = self._accepted_s.get(key)
        if accepted_s is not None and monotonic_s - accepted_s < MIN_INTERVAL_S:
            return "the node publishes too often"
        if known is None and len(self._known) >= self._most and now_s - self._oldest_s() <= NET_EXPIRY_S:
            return "there are more neighbours than are listened to"
        return None

    def _oldest_s(self) -> float:
        # In order of acceptance, so the first is the one not heard from for longest.
        return next(iter(self._known.values())).at_s

    def _remember(self, read: Neighbour, monotonic_s: float) -> None:
        key = (read.node, read.band)
        self._known.pop(key, None)
        self._accepted_s.pop(key, None)
        self._known[key] = read
        self._accepted_s[key] = monotonic_s
        for table in (self._known, self._accepted_s):
            while len(table) > self._most:
                del table[next(iter(table))]


def _read(payload: bytes, node: str) -> Neighbour | Disbelief:
    if len(payload) > MAX_SUMMARY_BYTES:
        return Disbelief(f"it has more than {MAX_SUMMARY_BYTES} bytes")
    try:
        summary = NetSummaryPayload.model_validate(json.loads(payload))
    except (ValueError, RecursionError) as error:  # a ValidationError is a ValueError
        return Disbelief(
            "it does not fit the schema" if isinstance(error, ValidationError) else "it is not JSON"
        )
    return Neighbour(
        node=node,
        square=summary.square,
        band=summary.band,
        at_s=from_iso_z(summary.t),
        state=summary.state,
        far_stations=summary.far_stations,
        mode=summary.mode,
        bearing_deg=summary.bearing_deg,
        nearest_km=summary.nearest_km,
        farthest_km=summary.farthest_km,
        muf_mhz=summary.muf_mhz,
    )


def _implausible(n: Neighbour) -> str | None:
    """What cannot be so, whoever says it."""
    if (n.state is State.BLIND) != (n.far_stations is None):
        return "far_stations must be null exactly when blind"
    if n.state is State.OPEN and not n.far_stations:
        return "open without a far station"
    has_direction = (n.bearing_deg is not None, n.nearest_km is not None, n.farthest_km is not None)
    if any(has_direction) != all(has_direction):
        return "bearing and distances must be given together"
    if n.state is State.OPEN and not all(has_direction):
        return "open without a direction"
    nearest_km, farthest_km = n.nearest_km or 0, n.farthest_km or 0
    return None if nearest_km <= farthest_km <= _LONGEST_PATH_KM else "distances that no path on Earth has"
