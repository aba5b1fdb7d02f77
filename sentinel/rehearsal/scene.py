"""Composes a stretch of band time at one home: traffic, propagation and noise together become what is heard.

Only what can be heard is generated: the traffic of stations that a mechanism can reach while it lasts, the
locals, the pings, the false decodes. So a dead day costs little.
"""

import random
from collections.abc import Iterable, Sequence

from sentinel.rehearsal.exchanges import Style, Voice, cq, qso
from sentinel.rehearsal.failures import Failure
from sentinel.rehearsal.false_decodes import false_audio_hz, false_dt_s, false_message, false_snr_db
from sentinel.rehearsal.habits import SLOT_S, Operator, Transmission, sittings, traffic
from sentinel.rehearsal.heard import Heard, Home, Scenario, Settings
from sentinel.rehearsal.openings import Ground
from sentinel.rehearsal.paths import HomePath, Mechanism, candidates, home_paths, paths_from, true_path
from sentinel.rehearsal.physics import decode_probability, printed_snr_db
from sentinel.rehearsal.population import Station, invented_call, stations_around
from sentinel.rehearsal.scatter import AircraftPass, pings
from sentinel.rehearsal.truth import true_openings

# How many stations of an area a decoder shows in an evening at most; beyond it slots overflow (practice).
_MOST_OPERATORS = 60
# Decoders look for signals within about 2.5 s of the slot's start (practice).
_SEARCH_RANGE_S = 2.5
# One message in three hundred is printed twice, by two passes of the decoder over the same slot (practice).
_PRINTED_TWICE = 1 / 300
# Aircraft on one corridor follow each other minutes apart (they are kept apart; an assumption).
_BETWEEN_AIRCRAFT_S = 360.0


class Scene:
    """Built up call by call, in any order; ``finish`` sorts what is heard and works out the truth."""

    def __init__(self, kind: str, seed: int, home: Home, began_s: float, ended_s: float) -> None:
        self.kind, self.seed, self.home = kind, seed, home
        self.began_s = int(began_s // SLOT_S) * SLOT_S
        self.ended_s = int(ended_s // SLOT_S) * SLOT_S
        self.rng = random.Random(f"{kind} {seed}")
        self.paths = self._everybody = paths_from(home, seed)
        self.clock_error_s = self.rng.gauss(0.0, 0.1)
        self.clock_drift_s_per_h = 0.0
        self.settings = Settings(callsign=home.call)
        self.heard: list[Heard] = []
        self._modes: dict[str, str] = {}
        self._outages: list[Failure] = []
        self._used: set[str] = {home.call}

    def around(self, nearest_km: float, farthest_km: float, count: int) -> tuple[Station, ...]:
        """New stations in a ring around home, with calls that nobody in the scene has."""
        place = self.home.place
        stations = stations_around(*place, nearest_km, farthest_km, count, self.rng, self._used)
        self._used.update(station.call for station in stations)
        return stations

    # -- who is on the air

    def add_locals(
        self,
        count: int,
        activity: float = 0.3,
        style: Style = Style.PLAIN,
        answered: float = 0.45,
        reach_km: float = 150.0,
        hours: tuple[float, float] | None = None,
    ) -> tuple[Station, ...]:
        """Neighbours by ground wave, working each other and far stations that home does not hear.

        ``hours`` bounds their presence; without it they are there all the time.
        """
        stations = self.around(8.0, reach_km, count)
        began_s, ended_s = hours or (self.began_s, self.ended_s)
        operators = [self._operator(station, began_s, ended_s, activity, style) for station in stations]
        self._hear(operators, Ground(), "ground", home_paths(stations, self.home.place), answered)
        return stations

    def add_neighbours(self, count: int, activity: float) -> None:
        """Locals who come and go as people do, so that most of the night is silent."""
        rng = self.rng
        stations = self.around(8.0, 150.0, count)
        operators = [
            self._operator(station, *times, activity)
            for station in stations
            for times in sittings(self.began_s, self.ended_s, self.home.place[1], rng)
        ]
        self._hear(operators, Ground(), "ground", home_paths(stations, self.home.place), 0.45)

    def add_opening(
        self, mechanism: Mechanism, active: float, most: int = _MOST_OPERATORS, fewest: int = 3
    ) -> None:
        """The traffic of a share ``active`` of the stations that ``mechanism`` brings."""
        rng = self.rng
        reached = [p for p in candidates(mechanism, self.paths) if p.station.call not in self._used]
        rng.shuffle(reached)
        chosen = reached[: min(most, max(fewest, round(active * len(reached))))]
        self._used.update(path.station.call for path in chosen)
        self._modes[mechanism.name] = mechanism.mode
        operators = []
        for path in chosen:
            began = mechanism.began_s - rng.uniform(0.0, 900.0)
            if rng.random() < 0.4:  # some come in when word gets round
                began = rng.uniform(mechanism.began_s, (mechanism.began_s + mechanism.ended_s) / 2.0)
            operators.append(self._operator(path.station, began, mechanism.ended_s, rng.uniform(0.4, 0.9)))
        locals_at_it = self._add_pursuers(mechanism, chosen)
        self._hear(operators, mechanism, mechanism.name, chosen, 0.45, locals_at_it)

    def _add_pursuers(self, mechanism: Mechanism, chosen: Sequence[HomePath]) -> list[str]:
        """Up to three neighbours who work the opening, as heard by ground wave; returns their calls."""
        stations = self.around(8.0, 150.0, self.rng.randint(0, 3))
        late_s = mechanism.began_s + 0.2 * (mechanism.ended_s - mechanism.began_s)
        operators = [self._operator(station, late_s, mechanism.ended_s, 0.7) for station in stations]
        partners = [path.station.call for path in chosen]
        self._hear(operators, Ground(), "ground", home_paths(stations, self.home.place), 0.5, partners)
        return [station.call for station in stations]

    def add_regular(self, path: HomePath, mechanism: Mechanism, activity: float = 0.8) -> None:
        """One far station that comes through by an everyday path; not an opening."""
        self._used.add(path.station.call)
        began, ended = max(self.began_s, mechanism.began_s), min(self.ended_s, mechanism.ended_s)
        operator = self._operator(path.station, began, ended, activity)
        self._hear([operator], mechanism, "regular", [path], 0.45)

    def add_beacon(self, station: Station, every_slots: int, snr_db: float) -> None:
        """An unattended transmitter, heard by an everyday path all the time."""
        self._used.add(station.call)
        path = home_paths([station], self.home.place)[0]
        for at_s in range(self.began_s, self.ended_s, every_slots * SLOT_S):
            sent = Transmission(at_s, station, station.audio_hz, f"CQ {station.call} {station.square}")
            self._print(sent, path, snr_db + self.rng.gauss(0.0, 1.5), "beacon")

    def add_own_transmissions(self, partners: Sequence[str], began_s: float, ended_s: float) -> None:
        """Home's own QSOs with far stations, as decoders print them; the far ends are not heard."""
        me = Voice(self.home.call, self.around(0.0, 1.0, 1)[0], 1500)
        at_s = int(began_s // SLOT_S) * SLOT_S
        while at_s < ended_s:
            for voice, message in [(me, cq(me, Style.PLAIN, self.rng)), *self._own_qso(me, partners)]:
                if voice is me:
                    self.heard.append(Heard(at_s, message, 0, 0.0, 1500, is_own=True))
                at_s += SLOT_S
            at_s += SLOT_S * self.rng.randint(1, 20)

    # -- what comes and goes in seconds or minutes

    def add_pings(self, per_hour: float) -> None:
        """Meteor pings at this mean rate over the day."""
        rng = self.rng
        free = [path for path in self.paths if path.station.call not in self._used]
        for ping in pings(free, self.began_s, self.ended_s, per_hour, self.home.place[1], rng):
            self.add_ping(ping.path, ping.at_s, ping.snrs_db)

    def add_ping(self, path: HomePath, at_s: float, snrs_db: Sequence[float]) -> None:
        """One station, heard in as many of its own slots as there are SNRs, saying the same in each."""
        rng, station = self.rng, path.station
        voice = Voice(station.call, station, station.audio_hz)
        lines = [(voice, cq(voice, Style.PLAIN, rng))]
        if rng.random() < 0.4:  # in a QSO with somebody who is not heard
            lines = qso(Voice(rng.choice(self._everybody).station.call, None, 0), voice, Style.PLAIN, rng)
        message = rng.choice([text for sender, text in lines if sender is voice])
        first_s = int(at_s // SLOT_S) * SLOT_S
        for k, snr in enumerate(snrs_db):
            sent = Transmission(first_s + 2 * k * SLOT_S, station, station.audio_hz, message)
            self._print(sent, path, snr, "meteor")

    def add_aircraft(self, count: int) -> None:
        """Passes over paths of 300-700 km, of one station or of two neighbours, one pass at a time."""
        rng = self.rng
        within = [p for p in self.paths if 300.0 <= p.arc_km <= 700.0 and p.station.call not in self._used]
        if not within:
            return
        favourites = rng.sample(within, min(12, len(within)))  # the corridor passes the same few
        free_s = self.began_s + 300.0
        for middle in sorted(rng.uniform(self.began_s, self.ended_s) for _ in range(count)):
            half_width_s = rng.uniform(90.0, 240.0)
            if middle - half_width_s < free_s:
                continue
            free_s = middle + half_width_s + _BETWEEN_AIRCRAFT_S
            served = rng.sample(favourites, min(2 if rng.random() < 0.15 else 1, len(favourites)))
            self._add_pass(
                AircraftPass(frozenset(p.station.call for p in served), middle, half_width_s), served
            )

    def _add_pass(self, flight: AircraftPass, served: Sequence[HomePath]) -> None:
        operators = [
            self._operator(path.station, flight.began_s - 60.0, flight.ended_s, 0.95) for path in served
        ]
        self._hear(operators, flight, "aircraft", served, 0.3)

    def add_false_decodes(
        self, per_hour: float, began_s: float | None = None, ended_s: float | None = None
    ) -> None:
        """Decodes of nothing, by a Poisson process."""
        rng = self.rng
        at_s = self.began_s if began_s is None else began_s
        until = self.ended_s if ended_s is None else ended_s
        while (at_s := at_s + rng.expovariate(per_hour / 3600.0)) < until:
            self.heard.append(
                Heard(
                    int(at_s // SLOT_S) * SLOT_S,
                    false_message(rng, self.home.call),
                    false_snr_db(rng),
                    round(false_dt_s(rng), 1),
                    false_audio_hz(rng),
                )
            )

    def add_ghosts(self, count: int, began_s: float, ended_s: float) -> None:
        """False decodes of the worst sort: an allocated call with a locator of its area, once each."""
        rng = self.rng
        for path in rng.sample(self._everybody, count):
            at_s = int(rng.uniform(began_s, ended_s) // SLOT_S) * SLOT_S
            message = f"CQ {invented_call(path.station.call[:-3], rng)} {path.station.square}"
            self.heard.append(
                Heard(at_s, message, false_snr_db(rng), round(false_dt_s(rng), 1), false_audio_hz(rng))
            )

    def add_stall(self, began_s: float, ended_s: float) -> None:
        """The decoder prints no line at all between these times."""
        self._outages.append(Failure(began_s, ended_s, ""))

    def add_deafness(self, began_s: float, ended_s: float, canary: str) -> None:
        """The receiver hears nobody between these times; false decodes go on. The canary's silence tells."""
        self._outages.append(Failure(began_s, ended_s, canary))

    # -- the end

    def finish(self, must_not_open: Iterable[tuple[float, float]] = ()) -> Scenario:
        """Everything in order of time, and the openings that it amounts to."""
        kept = [
            line
            for line in self.heard
            if self.began_s <= line.at_s < self.ended_s and not any(out.loses(line) for out in self._outages)
        ]
        kept.sort(key=lambda line: (line.at_s, line.audio_hz, line.message))
        return Scenario(
            self.kind,
            self.seed,
            self.home,
            self.began_s,
            self.ended_s,
            tuple(kept),
            true_openings(kept, self._modes),
            tuple(out.as_heard(kept) for out in self._outages),
            self.settings,
            tuple((int(a), int(b)) for a, b in must_not_open),
            self.clock_drift_s_per_h != 0.0,
        )

    def _operator(
        self, station: Station, began_s: float, ended_s: float, activity: float, style: Style = Style.PLAIN
    ) -> Operator:
        transmits = ""
        if self.rng.random() < 0.02:
            transmits = station.call + "/P"
        return Operator(station, began_s, ended_s, activity, style, transmits)

    def _hear(
        self,
        operators: Sequence[Operator],
        mechanism: Mechanism,
        area: str,
        paths: Sequence[HomePath],
        answered: float,
        partners: Sequence[str] = (),
    ) -> None:
        """What of the operators' traffic is printed; one stranger in five is one of ``partners``."""
        by_call = {path.station.call: path for path in paths}
        strangers = [path.station.call for path in self.rng.sample(self._everybody, 200)]
        if partners:
            strangers += self.rng.choices(partners, k=50)
        sent = sorted(traffic(operators, strangers, self.rng, answered), key=lambda each: each.at_s)
        for each in sent:
            path = by_call[each.station.call]
            self._print(each, path, mechanism.snr_db(path, each.at_s, self.rng), area)

    def _print(self, sent: Transmission, path: HomePath, snr: float, area: str) -> None:
        rng = self.rng
        if rng.random() >= decode_probability(snr):
            return
        truth = true_path(self.home.place, path.station)
        drift = self.clock_drift_s_per_h * (sent.at_s - self.began_s) / 3600.0
        dt_s = path.station.clock_error_s + self.clock_error_s + drift + rng.gauss(0.0, 0.03)
        if abs(dt_s) > _SEARCH_RANGE_S:
            return
        line = Heard(
            sent.at_s,
            sent.message,
            printed_snr_db(snr, rng),
            round(dt_s, 1),
            sent.audio_hz + rng.randint(-1, 1),
            path.station,
            area,
            truth.distance_km,
            truth.bearing_deg,
        )
        self.heard.append(line)
        if rng.random() < _PRINTED_TWICE:
            self.heard.append(line)

    def _own_qso(self, me: Voice, partners: Sequence[str]) -> list[tuple[Voice, str]]:
        return qso(me, Voice(self.rng.choice(partners), None, 0), Style.PLAIN, self.rng)
