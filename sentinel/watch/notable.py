"""What is worth leaving dinner for: firsts, records, rarities and signals strong enough for more than data.

Each finding is told once: by its opening, by its square, by its record. Firsts and records need something to
be first against, so they keep silent until the watch has known the band for ``LEAST_DAYS_KNOWN`` days.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from sentinel.sky.season import sporadic_e_weight
from sentinel.trade.bandplan import BANDS, limits_of, next_up
from sentinel.trade.locator import square_of
from sentinel.trade.prefixes import area_of
from sentinel.watch.bulletin import LocationSource, Mode, Notable, Opening
from sentinel.watch.knowledge import Knowledge
from sentinel.watch.rarity import DAY_S, Rarity
from sentinel.watch.sentences import MODE_WORDS, compass_point
from sentinel.watch.track import Track

LEAST_DAYS_KNOWN = 7
"""A week: with less, everything is a first."""
CW_SNR_DB = -10.0
VOICE_SNR_DB = 10.0
"""Signal to noise in 2500 Hz: Morse by ear from -15 (skilled) to -10, good voice from +10 (VOACAP's
'Understanding REL': 45 dB-Hz of carrier to noise density, less 34 dB)."""
RARE_SEASON = 0.08
"""A twelfth of the yearly mean at mid-latitudes: sporadic E as in March or at night in winter."""
RECORD_KM = 50.0
"""A record is beaten by more than what a square leaves open."""
POSSIBLE_2M_SKIP_KM, LIKELY_2M_SKIP_KM = 700.0, 450.0
"""144 MHz is possible below the first, likely only below the second (common practice, no source)."""
MOST_TOLD = 5_000


@dataclass(slots=True)
class NotableFinder:
    """Finds what is notable about live openings. ``band`` is the watch's own."""

    band: str
    knowledge: Knowledge
    _told: dict[str, None] = field(default_factory=dict)
    _squares: set[str] = field(default_factory=set)
    _countries: set[str] = field(default_factory=set)
    _farthest_km: dict[Mode, float] = field(default_factory=dict)
    _watched_days: int = 0
    told_count: int = 0
    rarity: Rarity = field(default_factory=Rarity)

    def __post_init__(self) -> None:
        self._squares = set(self.knowledge.squares)
        self._countries = set(self.knowledge.countries)
        self._farthest_km = {Mode(mode): km for mode, km in self.knowledge.farthest_km.items()}
        self._watched_days = len(self.knowledge.watched_days)
        self.rarity = Rarity.of(self.knowledge.day_bests)

    def find(self, at_s: float, opening: Opening, live: list[Track]) -> list[Notable]:
        """What is new about an opening as it stands, with the stations that come through now."""
        found = []
        for what, key, station, sentence in self._findings(at_s, opening, live):
            if key in self._told:
                continue
            self._told[key] = None
            if len(self._told) > MOST_TOLD:
                del self._told[next(iter(self._told))]
            self.told_count += 1
            found.append(
                Notable(f"{opening.id}-{what}-{self.told_count}", at_s, what, station, sentence, opening.id)
            )
        return found

    def known(self) -> Knowledge:
        """The knowledge it began with, and what came since."""
        return replace(
            self.knowledge,
            squares=frozenset(self._squares),
            countries=frozenset(self._countries),
            farthest_km={mode.value: km for mode, km in self._farthest_km.items()},
            day_bests=dict(self.rarity.days),
        )

    @property
    def told(self) -> tuple[str, ...]:
        """What is not told again, the latest at the end."""
        return tuple(self._told)

    def take_up(self, told: Sequence[str], told_count: int) -> None:
        """Go on from what a watch before this one has told."""
        self._told = dict.fromkeys(told)
        self.told_count = told_count

    def _findings(
        self, at_s: float, opening: Opening, live: list[Track]
    ) -> Iterator[tuple[str, str, str | None, str]]:
        """(code, key that tells it apart, station, sentence)."""
        for track in sorted(live, key=lambda t: t.call):
            if track.is_repeated:
                yield from self._station(track)
        yield from self._record(opening)
        yield from self._rarity(at_s, opening)
        yield from self._strength(opening, live)
        if opening.mode is Mode.SPORADIC_E:
            yield from self._season(at_s, opening)
            yield from self._higher_bands(opening)

    def _station(self, track: Track) -> Iterator[tuple[str, str, str | None, str]]:
        place = track.place
        area = area_of(track.sender.place) if track.sender.place else None
        country = area.code if area is not None else None
        square = square_of(place.locator) if place.locator else None
        km = f"{place.distance_km:.0f} km to the {compass_point(place.bearing_deg)}"
        if country is not None and area is not None:
            if self._is_experienced and country not in self._countries:
                yield (
                    "new-country",
                    f"country {country}",
                    track.call,
                    f"{area.name} is heard here for the first time: {track.call}, {km}.",
                )
            self._countries.add(country)
            if self.knowledge.worked_countries is not None and country not in self.knowledge.worked_countries:
                yield (
                    "not-worked-country",
                    f"worked {country}",
                    track.call,
                    f"{track.call} is in {area.name}, which is not in the log yet.",
                )
        if square is None or place.source is LocationSource.PREFIX:
            return
        if self._is_experienced and square not in self._squares:
            if not any(known.startswith(square[:2]) for known in self._squares):
                yield (
                    "new-field",
                    f"field {square[:2]}",
                    track.call,
                    f"The field {square[:2]} is heard here for the first time: {track.call}, {km}.",
                )
            else:
                yield (
                    "new-square",
                    f"square {square}",
                    track.call,
                    f"The square {square} is heard here for the first time: {track.call}, {km}.",
                )
        self._squares.add(square)
        if self.knowledge.worked_squares is not None and square not in self.knowledge.worked_squares:
            yield (
                "not-worked-square",
                f"worked {square}",
                track.call,
                f"{track.call} is in {square}, which is not in the log yet.",
            )

    def _record(self, opening: Opening) -> Iterator[tuple[str, str, str | None, str]]:
        before_km = self._farthest_km.get(opening.mode)
        if before_km is not None and self._is_experienced and opening.farthest_km > before_km + RECORD_KM:
            yield (
                "farthest",
                f"farthest {opening.id}",
                None,
                (
                    f"{opening.farthest_km} km is the farthest by {MODE_WORDS[opening.mode]} so far "
                    f"(before: {before_km:.0f} km)."
                ),
            )
        self._farthest_km[opening.mode] = max(before_km or 0.0, float(opening.farthest_km))

    def _rarity(self, at_s: float, opening: Opening) -> Iterator[tuple[str, str, str | None, str]]:
        """At most one a day, so at most one an opening."""
        self.rarity.note(opening)
        if (sentence := self.rarity.sentence(at_s, opening)) is not None:
            yield "rare", f"rare {int(opening.began_at_s // DAY_S)}", None, sentence

    def _strength(self, opening: Opening, live: list[Track]) -> Iterator[tuple[str, str, str | None, str]]:
        heard = [t for t in live if t.best_snr_db is not None and t.is_repeated]
        if not heard:
            return
        best = max(heard, key=lambda t: (t.best_snr_db or 0.0, t.call))
        snr_db = best.best_snr_db or 0.0
        where = f"{best.call} to the {compass_point(best.place.bearing_deg)}"
        if snr_db >= VOICE_SNR_DB:
            yield (
                "voice",
                f"voice {opening.id}",
                best.call,
                f"{where} is {snr_db:+.0f} dB: strong enough for voice.",
            )
        elif snr_db >= CW_SNR_DB:
            yield (
                "cw",
                f"cw {opening.id}",
                best.call,
                f"{where} is {snr_db:+.0f} dB: strong enough for Morse by ear.",
            )

    def _season(self, at_s: float, opening: Opening) -> Iterator[tuple[str, str, str | None, str]]:
        if not opening.reflections:
            return
        middle = opening.reflections[len(opening.reflections) // 2]
        if sporadic_e_weight(at_s, middle.lat_deg, middle.lon_deg) < RARE_SEASON:
            yield (
                "unusual",
                f"unusual {opening.id}",
                None,
                f"Sporadic E to the {compass_point(opening.bearing_deg)} is unusual at this season and hour.",
            )

    def _higher_bands(self, opening: Opening) -> Iterator[tuple[str, str, str | None, str]]:
        if opening.muf_mhz is None or self.band not in BANDS:
            return
        band = self.band
        while (band := next_up(band) or "") != "":
            limits = limits_of(band)
            if limits is None or not self._reaches(band, limits.low_mhz, opening):
                return
            yield (
                "higher-band",
                f"higher {band} {opening.id}",
                None,
                (
                    f"Skip of {opening.nearest_km} km: the MUF is up to about {opening.muf_mhz:.0f} MHz, "
                    f"so try {limits.low_mhz:.0f} MHz to the {compass_point(opening.bearing_deg)}."
                ),
            )

    def _reaches(self, band: str, low_mhz: float, opening: Opening) -> bool:
        if band == "2m":
            return opening.nearest_km <= POSSIBLE_2M_SKIP_KM
        return opening.muf_mhz is not None and opening.muf_mhz >= low_mhz

    @property
    def _is_experienced(self) -> bool:
        return max(self._watched_days, len(self.rarity.days)) >= LEAST_DAYS_KNOWN
