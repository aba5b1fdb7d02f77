"""An evening that really went through FT8: who was heard, and what the watch made of it, against the truth.

The log is what a general signal-processing library demodulated; ``tests/tools/make_real_ft8.py`` says how.
Places are checked against pyproj (WGS 84).
"""

import json
import re
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path

import pytest
from pyproj import Geod

from sentinel.intake.layout import Layout, LayoutReader
from sentinel.trade.callsign import parse_call
from sentinel.trade.land import is_plausible
from sentinel.trade.locator import center_of
from sentinel.trade.message import parse_message
from sentinel.watch.bulletin import LocationSource, State
from sentinel.watch.changes import OpeningChanged, Phase, StateChanged
from sentinel.watch.decode import Decode
from sentinel.watch.settings import WatchSettings
from sentinel.watch.watch import Watch

DATA = Path(__file__).parent / "data"
LAYOUT = "{utc:%Y-%m-%d %H:%M:%S} | {audio_hz} Hz | {snr_db} dB | {dt_s} s | {message}"
FAR_KM = 500.0
SAME_SIGNAL_HZ = 10.0  # stations stand farther apart, and the search's grid is 3 Hz


@dataclass(frozen=True)
class Sent:
    """One message on the air; ``text`` has the hashed calls in angle brackets."""

    at_s: float
    sender: str
    is_named: bool
    text: str
    snr_db: float
    audio_hz: float
    dt_s: float

    @property
    def as_decoded(self) -> str:
        """What a receiver prints that resolves no hashes."""
        return re.sub("<[^>]+>", "<...>", self.text)


@cache
def truth() -> tuple[dict[str, str], tuple[Sent, ...]]:
    """The locator of each station, and all that was sent."""
    told = json.loads((DATA / "real_ft8.json").read_text("utf-8"))
    rows = (dict(row) for row in told["sent"])
    return told["stations"], tuple(
        Sent(datetime.fromisoformat(row.pop("at")).timestamp(), **row) for row in rows
    )


@cache
def decodes() -> tuple[Decode, ...]:
    """Every line of the log, read by its layout."""
    reader = LayoutReader(Layout.compile(LAYOUT))
    found = [reader.read(line) for line in (DATA / "real_ft8.log").read_text("utf-8").splitlines()]
    assert all(isinstance(each, Decode) for each in found)
    return tuple(each for each in found if isinstance(each, Decode))


@cache
def signal_behind(decode: Decode) -> Sent:
    """The transmission that a decode is of."""
    (sent,) = (
        sent
        for sent in truth()[1]
        if sent.at_s == decode.at_s and abs(sent.audio_hz - (decode.audio_hz or 0)) < SAME_SIGNAL_HZ
    )
    return sent


def path_from_home(locator: str) -> tuple[float, float]:
    """Bearing in degrees and distance in km, by pyproj between the centres of FN84 and ``locator``."""
    (lat, lon), (far_lat, far_lon) = center_of("FN84"), center_of(locator)
    bearing_deg, _, distance_m = Geod(ellps="WGS84").inv(lon, lat, far_lon, far_lat)
    return bearing_deg % 360, distance_m / 1000


@cache
def far_stations() -> dict[str, tuple[float, float]]:
    """Bearing and distance of each far station that gives its locator."""
    told = {sent.sender for sent in truth()[1] if sent.text.endswith(" " + truth()[0][sent.sender])}
    paths = {call: path_from_home(truth()[0][call]) for call in told}
    return {call: path for call, path in paths.items() if path[1] >= FAR_KM}


# --- the data -----------------------------------------------------------------------------------------------


def test_all_calls_are_invented_and_lie_in_their_own_country() -> None:
    for call, locator in truth()[0].items():
        assert re.search(r"\dQ[A-Z]{2}(/P)?$", call), call
        parsed = parse_call(call)
        assert parsed is not None
        assert parsed.place is not None
        assert is_plausible(parsed.place, *center_of(locator)), call


def test_the_evening_holds_every_kind_of_message_and_a_long_opening() -> None:
    patterns = {
        "CQ": r"CQ \w+ [A-R]{2}\d\d",
        "CQ DX": r"CQ DX \w+ [A-R]{2}\d\d",
        "locator": r"\w+ \w+ [A-R]{2}\d\d",
        "report": r"\w+ \w+ [+-]\d\d",
        "roger and report": r"\w+ \w+ R[+-]\d\d",
        "acknowledgement": r"\w+ \w+ RR73",
        "farewell": r"\w+ \w+ 73",
        "portable": r".*\w+/P.*",
        "call that does not fit": r"CQ K250QAJ",
        "sender hashed": r"\w+ <\.\.\.> [+-]\d\d",
        "addressee hashed": r"<\.\.\.> \w+ RR73",
        "free text": r"(TNX QSO|GL ES) 73|NICE EVENING",
    }
    texts = Counter(decode.message for decode in decodes())
    for kind, pattern in patterns.items():
        assert any(re.fullmatch(pattern, text) for text in texts), kind
    far = [signal_behind(decode) for decode in decodes() if signal_behind(decode).sender in far_stations()]
    assert len({sent.sender for sent in far}) >= 5
    assert len({sent.at_s for sent in far}) >= 10


def test_weak_signals_were_missed_and_strong_ones_heard_at_their_strength() -> None:
    heard = {id(signal_behind(decode)) for decode in decodes()}
    strong = [sent for sent in truth()[1] if sent.snr_db >= -10]
    missed = [sent for sent in truth()[1] if id(sent) not in heard]
    assert sum(id(sent) in heard for sent in strong) >= 0.9 * len(strong)
    assert missed
    assert min(sent.snr_db for sent in missed) < -14
    for decode in decodes():
        sent = signal_behind(decode)
        assert decode.snr_db == pytest.approx(sent.snr_db, abs=2.5)
        assert decode.dt_s == pytest.approx(sent.dt_s, abs=0.16)  # one symbol


# --- who was heard ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mode", ["FT8", None])
def test_the_sender_of_every_decoded_message_is_who_sent_it(mode: str | None) -> None:
    for decode in decodes():
        sent, message = signal_behind(decode), parse_message(decode.message, mode)
        assert decode.message == sent.as_decoded
        heard = message.sender.text if message.sender else None
        assert heard == (sent.sender if sent.is_named else None), sent
        if message.locator is not None:
            assert message.locator.upper() == truth()[0][sent.sender]


# --- the watch ----------------------------------------------------------------------------------------------


def watched() -> tuple[Watch, list[StateChanged], list[OpeningChanged]]:
    """The evening through the watch, and half an hour of silence behind it."""
    watch = Watch(WatchSettings(home_locator="FN84", far_km=FAR_KM))
    changes = [change for decode in decodes() for change in watch.feed(decode)]
    changes += watch.tick(decodes()[-1].at_s + 1800)
    states = [change for change in changes if isinstance(change, StateChanged)]
    return watch, states, [change for change in changes if isinstance(change, OpeningChanged)]


def first_heard() -> list[float]:
    """When each far station was first decoded by name, in order."""
    first: dict[str, float] = {}
    for decode in decodes():
        sent = signal_behind(decode)
        if sent.sender in far_stations() and sent.is_named:
            first.setdefault(sent.sender, decode.at_s)
    return sorted(first.values())


def test_the_band_is_quiet_then_stirs_then_opens_once_and_is_quiet_again() -> None:
    _, states, _ = watched()
    history = [change.bulletin.state for change in states]
    assert history == [State.QUIET, State.STIRRING, State.OPEN, State.STIRRING, State.QUIET]
    first, _, third = first_heard()[:3]
    assert first <= states[1].at_s <= first + 60
    assert third <= states[2].at_s <= third + 120
    last = max(decode.at_s for decode in decodes() if signal_behind(decode).sender in far_stations())
    assert last < states[3].at_s <= last + 600
    assert states[4].at_s <= last + 1200


def test_the_opening_points_where_its_stations_are() -> None:
    _, states, _ = watched()
    at_s = states[2].at_s
    paths = [
        far_stations()[sender]
        for sender in {signal_behind(decode).sender for decode in decodes() if decode.at_s <= at_s}
        if sender in far_stations()
    ]
    (heading,) = states[2].bulletin.headings
    assert heading.stations == len(paths)
    assert heading.bearing_deg == pytest.approx(sum(path[0] for path in paths) / len(paths), abs=2)
    assert heading.nearest_km == pytest.approx(min(path[1] for path in paths), abs=1)
    assert heading.farthest_km == pytest.approx(max(path[1] for path in paths), abs=1)


def test_one_opening_began_and_ended_with_every_far_station_in_it() -> None:
    _, _, openings = watched()
    assert [change.phase for change in openings] == [Phase.BEGAN, Phase.ENDED]
    ended = openings[-1].opening
    bearings = [bearing for bearing, _ in far_stations().values()]
    assert min(bearings) < ended.bearing_deg < max(bearings)
    # the call that does not fit never gives its locator: its prefix may or may not count it in
    assert ended.total_stations - len(far_stations()) in (0, 1)
    distances = [distance for _, distance in far_stations().values()]
    assert ended.nearest_km == pytest.approx(min(distances), abs=1)
    assert ended.farthest_km == pytest.approx(max(distances), abs=1)


def test_each_station_stands_where_pyproj_puts_it() -> None:
    watch = Watch(WatchSettings(home_locator="FN84", far_km=FAR_KM))
    all_heard_s = first_heard()[-1] + 180
    for decode in decodes():
        if decode.at_s <= all_heard_s:
            watch.feed(decode)
    watch.tick(all_heard_s)
    located = [s for s in watch.bulletin().stations if s.location_source is not LocationSource.PREFIX]
    assert {station.call for station in located} == set(far_stations())
    for station in located:
        bearing_deg, distance_km = far_stations()[station.call]
        assert station.bearing_deg == pytest.approx(bearing_deg, abs=0.06)  # published to 0.1 degrees
        assert station.distance_km == pytest.approx(distance_km, abs=0.6)  # and to 1 km


# --- live ---------------------------------------------------------------------------------------------------


def test_a_message_modulated_now_comes_back_and_names_its_sender() -> None:
    numpy = pytest.importorskip("numpy", reason="the modem's library works on numpy arrays")
    pytest.importorskip("orion_sdr", reason="the modem, orion-sdr, needs Python 3.12 or newer")
    from tools import ft8_air

    sent = ft8_air.Transmission(ft8_air.standard("CQ", "W4QAB", "EM73"), -5.0, 1234.0, 0.1)
    (heard,) = ft8_air.hear(ft8_air.play([sent], numpy.random.default_rng(6)))
    message = parse_message(heard.text, "FT8")
    assert message.sender is not None
    assert (message.sender.text, message.locator) == ("W4QAB", "EM73")
    assert heard.snr_db == pytest.approx(-5, abs=2.5)
    assert heard.audio_hz == pytest.approx(1234, abs=4)
