"""What of a feed's reports is believed, and what it says of neighbours. Pure: the caller passes the time.

Anybody may write on a public broker. Each report is judged by place, band, age and plausibility. What cannot
be mapped or believed is counted, and each kind of mapping fault is said once.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass, field

from sentinel.intake.feeds import FeedMap, MapFault, Spot, matches
from sentinel.trade.callsign import parse_call
from sentinel.trade.land import is_plausible
from sentinel.trade.locator import LatLon, center_of, square_of
from sentinel.trade.prefixes import area_of
from sentinel.watch.neighbours import LIFE_S, NeighbourHeard

CLOCK_SLACK_S = 120.0
"""Clocks of small computers without a network may be off by this much and still be of use."""
LEAST_SNR_DB, MOST_SNR_DB = -60.0, 100.0
"""Narrow modes go down to -50 dB in 2500 Hz; a neighbour's carrier may reach the top of the scale."""
LARGEST_MESSAGE_BYTES = 16_384
MOST_FAULTS_SAID = 16


@dataclass(slots=True)
class FeedListener:
    """One feed as heard from home. ``name`` is the feed's in the configuration; ``squares`` are those within
    reach, ``own_call`` is our base call; ``say`` takes a sentence about a kind of fault when it is new."""

    name: str
    feed: FeedMap
    squares: Collection[str]
    low_mhz: float
    high_mhz: float
    own_call: str | None
    say: Callable[[str], None]
    used: int = 0
    elsewhere: int = 0
    doubted: int = 0
    unmapped: int = 0
    last_doubt: str = ""
    last_fault: str = ""
    _said: set[tuple[str, str]] = field(default_factory=set)

    def wants(self, topic: str) -> bool:
        """Whether a topic is this feed's."""
        return matches(self.feed.topic_filter, topic)

    def receive(self, payload: bytes, now_s: float) -> list[NeighbourHeard]:
        """What one message says of neighbours, in wall-clock time; ``now_s`` is the wall clock's."""
        if len(payload) > LARGEST_MESSAGE_BYTES:
            self._doubt(f"a message has more than {LARGEST_MESSAGE_BYTES} bytes")
            return []
        believed = []
        for found in self.feed.read(payload, now_s):
            if isinstance(found, MapFault):
                self._note(found)
            elif not self._is_ours(found):
                self.elsewhere += 1
            elif (doubt := _doubt_about(found, now_s)) is not None:
                self._doubt(doubt)
            elif (place := _place(found)) is None:
                self._doubt("nobody knows where the station is")
            else:
                self.used += 1
                believed.append(_as_heard(found, *place, now_s))
        return believed

    def summary(self) -> str:
        """How the feed goes, for people."""
        counts = f"{self.used} reports used, {self.elsewhere} from elsewhere"
        doubts = f", {self.doubted} not believed ({self.last_doubt})" if self.doubted else ""
        faults = f", {self.unmapped} not mapped ({self.last_fault})" if self.unmapped else ""
        return f"{self.name}: {counts}{doubts}{faults}"

    def _is_ours(self, spot: Spot) -> bool:
        receiver = parse_call(spot.receiver.partition("-")[0])
        is_own = receiver is not None and receiver.base == self.own_call
        if is_own or square_of(spot.receiver_locator) not in self.squares:
            return False
        return spot.freq_mhz is None or self.low_mhz <= spot.freq_mhz <= self.high_mhz

    def _doubt(self, reason: str) -> None:
        self.doubted += 1
        self.last_doubt = reason

    def _note(self, fault: MapFault) -> None:
        self.unmapped += 1
        self.last_fault = f"{fault.key} {fault.claim}"
        kind = (fault.key, fault.claim)
        if kind not in self._said and len(self._said) < MOST_FAULTS_SAID:
            self._said.add(kind)
            self.say(f"{self.name} {fault}")


def _doubt_about(spot: Spot, now_s: float) -> str | None:
    if spot.at_s is not None and now_s - spot.at_s > LIFE_S:
        return "it is too old"
    if spot.at_s is not None and spot.at_s - now_s > CLOCK_SLACK_S:
        return "it comes from the future: a clock is wrong"
    if spot.snr_db is not None and not LEAST_SNR_DB <= spot.snr_db <= MOST_SNR_DB:
        return "no signal has such a ratio to the noise"
    if spot.receiver in (spot.call.text, spot.call.base):
        return "a station reports itself"
    if spot.locator and spot.call.place and not is_plausible(spot.call.place, *center_of(spot.locator)):
        return "prefix and locator of the station disagree"
    return None


def _place(spot: Spot) -> tuple[LatLon, float] | None:
    """Where the station is, and what its prefix leaves open, km; None for nowhere."""
    if spot.locator is not None:
        return center_of(spot.locator), 0.0
    area = area_of(spot.call.place) if spot.call.place else None
    if area is None or area.is_anywhere:
        return None
    return LatLon(area.lat_deg, area.lon_deg), area.radius_km


def _as_heard(spot: Spot, place: LatLon, uncertainty_km: float, now_s: float) -> NeighbourHeard:
    return NeighbourHeard(
        at_s=now_s,
        receiver=spot.receiver,
        receiver_locator=spot.receiver_locator,
        call=spot.call.text,
        lat_deg=place.lat_deg,
        lon_deg=place.lon_deg,
        heard_at_s=now_s if spot.at_s is None else min(spot.at_s, now_s),
        uncertainty_km=uncertainty_km,
    )
