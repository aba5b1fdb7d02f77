"""One far station in the window: when it was heard, how strongly, and how far that is to be believed."""

from collections import deque
from dataclasses import dataclass, field
from math import ceil

from sentinel.trade.callsign import Call
from sentinel.watch.bulletin import Station
from sentinel.watch.place import Place

KEPT_SLOTS = 128
"""Slots remembered for a station: 32 minutes of FT8 transmissions, twice the usual window."""
LIFE_PER_SLOT_S = 150.0
"""How long one decode counts as 'coming through'. A station that calls is on the air every 30 s, so five
of its transmissions missed in a row mean that it is gone; what was heard often is given up later."""


@dataclass(slots=True)
class Track:
    """What was heard of one station. ``slots`` are the distinct slot starts, oldest first.

    ``credit`` is the best single decode's evidence in nats, ``reasons`` what it rests on. ``run`` counts the
    transmissions heard in a row up to ``counted_s``; ``persistence`` sums the nats of all repetitions. From
    ``until_s`` on the station does not count as coming through.
    """

    sender: Call
    place: Place
    slot_s: float
    window_s: float
    first_at_s: float
    last_at_s: float
    slots: deque[float] = field(default_factory=lambda: deque(maxlen=KEPT_SLOTS))
    heard: int = 0
    best_snr_db: float | None = None
    last_snr_db: float | None = None
    audio_hz: float | None = None
    credit: float = float("-inf")
    reasons: tuple[str, ...] = ()
    trust: float = 0.0
    run: int = 1
    counted_s: float = float("-inf")
    persistence: float = 0.0
    is_repeated: bool = False
    is_credible: bool = False
    until_s: float = float("-inf")

    @property
    def call(self) -> str:
        return self.sender.text

    def hear(self, slot_start_s: float, at_s: float, snr_db: float | None, audio_hz: float | None) -> bool:
        """Note a decode; True when it is the station's first in that slot."""
        if snr_db is not None:
            self.last_snr_db = snr_db
            if self.best_snr_db is None or snr_db > self.best_snr_db:
                self.best_snr_db = snr_db
        if slot_start_s in self.slots:
            return False
        if not self.slots:
            self.counted_s = slot_start_s
        if self.slots and slot_start_s < self.slots[-1]:
            self.slots = deque(sorted((*self.slots, slot_start_s)), maxlen=KEPT_SLOTS)
        else:
            self.slots.append(slot_start_s)
        self.heard += 1
        self.first_at_s = min(self.first_at_s, at_s)
        self.last_at_s = max(self.last_at_s, at_s)
        if audio_hz is not None:
            self.audio_hz = audio_hz
        self._find_until()
        return True

    def forget_before(self, at_s: float) -> None:
        """Drop slots that have left the window; the newest always stays."""
        while len(self.slots) > 1 and self.slots[0] <= at_s:
            self.slots.popleft()

    def _find_until(self) -> None:
        """Each slot earns the station some life, for as long as it stays in the window."""
        slots = list(self.slots)[-ceil(self.window_s / LIFE_PER_SLOT_S) :]
        began_s = float("-inf")
        for left, slot in zip(range(len(slots), 0, -1), slots, strict=True):
            self.until_s = max(began_s, self.last_at_s + min(self.window_s, LIFE_PER_SLOT_S * left))
            began_s = slot + self.window_s  # from then on one slot fewer counts
            if self.until_s <= began_s:
                break

    def published(self) -> Station:
        """The station as the bulletin shows it."""
        place = self.place
        return Station(
            call=self.call,
            locator=place.locator,
            location_source=place.source,
            uncertainty_km=round(place.uncertainty_km, 1),
            bearing_deg=round(place.bearing_deg, 1) % 360.0,
            distance_km=round(place.distance_km, 1),
            first_at_s=self.first_at_s,
            last_at_s=self.last_at_s,
            slots=len(self.slots),
            best_snr_db=self.best_snr_db,
            last_snr_db=self.last_snr_db,
            audio_hz=self.audio_hz,
            trust=round(self.trust, 4),
            reasons=self.reasons,
            lat_deg=round(place.lat_deg, 4),
            lon_deg=round(place.lon_deg, 4),
        )
